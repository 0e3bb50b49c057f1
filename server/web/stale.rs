//! Prices and exchange rates that are too old to be leant on without a word.

use trade::ids::OutletId;
use trade::outlet::Way;

use super::page::{day, days_from};
use crate::shelf::Shelf;

/// A price sheet older than this is stale.
pub const STALE_SHEET_DAYS: i32 = 14;
/// An exchange rate older than this is stale: a week holds the longest row of bank holidays.
pub const STALE_RATE_DAYS: i32 = 7;

pub struct StaleSheet {
    pub outlet: String,
    pub outlet_id: OutletId,
    pub age: String,
    /// There is none at all.
    pub missing: bool,
}

pub struct StaleRate {
    pub words: String,
    /// There is none at all.
    pub missing: bool,
}

/// Outlets without a sheet, or whose newest one is old.
pub fn stale_sheets(shelf: &Shelf) -> Vec<StaleSheet> {
    shelf
        .outlets
        .iter()
        .filter_map(|outlet| {
            let age = match outlet.sheet_date {
                None => "no sheet yet".to_string(),
                Some(date) if (shelf.facts.today - date).get_days() > STALE_SHEET_DAYS => {
                    format!("from {}, {}", day(date), days_from(shelf.facts.today, date))
                }
                Some(_) => return None,
            };
            let missing = outlet.sheet_date.is_none();
            Some(StaleSheet { outlet: outlet.name.clone(), outlet_id: outlet.id.clone(), age, missing })
        })
        .collect()
}

/// Currencies the shop's outlets pay in or carriers charge in, whose newest rate is missing or old.
pub fn stale_rates(shelf: &Shelf) -> Vec<StaleRate> {
    let home = shelf.facts.costs.home;
    let mut currencies = Vec::new();
    for outlet in &shelf.outlets {
        currencies.push(outlet.currency);
        if let Way::Post(post) = &outlet.way {
            currencies.extend(post.services.iter().map(|service| service.currency));
        }
    }
    currencies.sort_by_key(|currency| currency.code());
    currencies.dedup();
    currencies
        .into_iter()
        .filter(|currency| *currency != home)
        .filter_map(|currency| match shelf.facts.rates.mid(currency, home, shelf.facts.today) {
            None => {
                let words = format!("There is no exchange rate for {}.", currency.code());
                Some(StaleRate { words, missing: true })
            }
            Some(mid) => {
                let date =
                    mid.date.filter(|date| (shelf.facts.today - *date).get_days() > STALE_RATE_DAYS)?;
                let (of, age) = (day(date), days_from(shelf.facts.today, date));
                let words = format!("The rate for {} is from {of}, {age}.", currency.code());
                Some(StaleRate { words, missing: false })
            }
        })
        .collect()
}

/// The old ones that the sell plan leans on: of outlets that are not left out of it. What is missing is no part of it.
pub fn leant_on(shelf: &Shelf) -> (Vec<StaleSheet>, Vec<StaleRate>) {
    let (mut sheets, mut rates) = (stale_sheets(shelf), stale_rates(shelf));
    sheets.retain(|sheet| !sheet.missing && !shelf.choices.closed.contains(&sheet.outlet_id));
    rates.retain(|rate| !rate.missing);
    (sheets, rates)
}
