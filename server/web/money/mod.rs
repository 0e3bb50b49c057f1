//! Money: how are we doing? A year or a month of the cash book by what it was for, outlet, grade, source and hour worked.
//! Each figure leads to its entries, each entry to its document.

mod entries;
mod export;
mod hours;
mod months;
mod new_entry;
mod shares;

use std::borrow::Borrow;
use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde::Deserialize;
use trade::cash::{Kind, Month};
use trade::duration::spelled;
use trade::money::{Currency, Money};

use self::months::{MonthSum, Months};
use super::App;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, counted, html, money, unbroken};
use crate::store::cash::{Facet, FacetTotal, MonthTotal};
use crate::store::hours::HourTotal;

pub use entries::{give_rate, index as entries, reverse, show as entry, unrated};
pub use export::{csv, journal, workbook};
pub use hours::{create as write_hours, index as hours, undo as undo_hours};
pub(super) use new_entry::amount;
pub use new_entry::{create, new};
pub use shares::{pay, set_split, show as shares};

/// Lines of a list of outlets, grades or pickups.
const MOST_LINES: u32 = 12;

/// What part of the book a page is about: a year, or one month of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Period {
    from: Month,
    to: Month,
}

impl Period {
    fn year(year: i16) -> Period {
        let months = Month::all_of(year);
        Period { from: months[0], to: months[11] }
    }

    fn is_month(self) -> bool {
        self.from == self.to
    }

    fn holds(self, month: Month) -> bool {
        self.from <= month && month <= self.to
    }

    /// `2026`, or `May 2026`.
    fn name(self) -> String {
        if self.is_month() {
            format!("{} {}", self.from.name(), self.from.year())
        } else {
            self.from.year().to_string()
        }
    }

    /// The page of its entries, of those with this value of `field` alone.
    fn entries(self, field: &str, value: &str) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.append_pair("from", &self.from.to_string()).append_pair("to", &self.to.to_string());
        if !field.is_empty() {
            query.append_pair(field, value);
        }
        format!("/money/entries?{}", query.finish())
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    year: String,
    month: String,
}

/// What came in, went out and was left, in home currency.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Sum {
    came_in: i64,
    went_out: i64,
}

impl Sum {
    fn add(&mut self, amount: i64) {
        if amount >= 0 { self.came_in += amount } else { self.went_out += amount }
    }

    fn left(self) -> i64 {
        self.came_in + self.went_out
    }
}

/// A line of a list: a name with its amount, a bar to scale, and where its entries are.
struct Line {
    name: String,
    /// The address of its entries.
    entries: String,
    count: String,
    amount: String,
    soft: String,
    is_loss: bool,
    /// Start and width of the bar in thousandths.
    bar: (u32, u32),
}

struct List {
    heading: &'static str,
    /// Tells it from the other lists.
    code: &'static str,
    lines: Vec<Line>,
    is_cut: bool,
}

struct MonthLine {
    month: Month,
    name: String,
    came_in: String,
    went_out: String,
    left: String,
}

struct PerHour {
    all: String,
    hours: String,
    by_partner: Vec<(String, String)>,
    by_work: Vec<(&'static str, String)>,
}

#[derive(Template)]
#[template(path = "money/index.html")]
struct MoneyPage {
    page: Page,
    visitor: Visitor,
    period: Period,
    /// The years that have entries, and this one.
    years: Vec<i16>,
    this_month: Option<Sum>,
    sum: Sum,
    is_empty: bool,
    drawing: Option<Months>,
    months: Vec<MonthLine>,
    lists: Vec<List>,
    /// In and out by foreign currency: its code, both amounts, and the address of its entries.
    currencies: Vec<(&'static str, String, String, String)>,
    unrated: i64,
    per_hour: Option<PerHour>,
    standings: Vec<shares::StandingLine>,
}

impl MoneyPage {
    fn home(&self, units: impl Borrow<i64>) -> String {
        in_home(*units.borrow(), self.visitor.home())
    }
}

/// Minor units of a currency in words.
fn in_home(units: i64, currency: Currency) -> String {
    money(Money::from_minor_units(units, currency).amount, currency)
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(chosen): Query<Chosen>,
) -> Result<Response, Failure> {
    let shop_id = &visitor.shop.id;
    let this_month = Month::of(visitor.today());
    let period = match (chosen.month.parse::<Month>(), chosen.year.parse::<i16>()) {
        (Ok(month), _) => Period { from: month, to: month },
        (Err(_), Ok(year)) if (1..=9999).contains(&year) => Period::year(year),
        _ => Period::year(this_month.year()),
    };
    let year = Period::year(period.from.year());
    let totals = app.store.cash_months(shop_id, year.from, year.to).await?;
    let span = app.store.cash_span(shop_id).await?;
    let mut years: Vec<i16> = span.map_or(Vec::new(), |(first, last)| (first.year()..=last.year()).collect());
    if !years.contains(&this_month.year()) {
        years.push(this_month.year());
    }
    let mut lists = vec![by_kind(&totals, period, visitor.home())];
    for (facet, heading) in
        [(Facet::Outlet, "By outlet"), (Facet::Grade, "By grade"), (Facet::Source, "By source")]
    {
        let found = app.store.cash_by(shop_id, facet, period.from, period.to, MOST_LINES + 1).await?;
        lists.push(by_facet(heading, facet, &found, period, visitor.home()));
    }
    lists.retain(|list| !list.lines.is_empty());
    let sum = sum_of(&totals, period);
    let hours = app.store.hour_totals(shop_id, period.from, period.to).await?;
    let people = app.store.people(shop_id).await?;
    let names: BTreeMap<&str, &str> =
        people.iter().map(|person| (person.partner.id.as_str(), person.partner.name.as_str())).collect();
    let per_hour = per_hour(&hours, &names, sum.left(), visitor.home());
    let standings = shares::standing_lines(&app, &visitor, &people).await?;
    let sums = month_sums(&totals, year, visitor.home());
    html(&MoneyPage {
        page: visitor.page(Screen::Money, "Money"),
        years,
        this_month: year
            .holds(this_month)
            .then(|| sum_of(&totals, Period { from: this_month, to: this_month })),
        is_empty: span.is_none() && hours.is_empty(),
        drawing: Months::new(period.from.year(), visitor.home().code(), &sums),
        months: month_lines(&sums, visitor.home()),
        currencies: currencies(&totals, period, visitor.home()),
        unrated: app.store.cash_unrated_count(shop_id).await?,
        period,
        sum,
        lists,
        per_hour,
        standings,
        visitor,
    })
}

fn sum_of(totals: &[MonthTotal], period: Period) -> Sum {
    let mut sum = Sum::default();
    for one in totals.iter().filter(|one| period.holds(one.month) && one.total.kind.is_trade()) {
        sum.add(one.total.home_amount);
    }
    sum
}

fn month_sums(totals: &[MonthTotal], year: Period, home: Currency) -> Vec<MonthSum> {
    let amount = |units| Money::from_minor_units(units, home).amount;
    let sum = |month| {
        let sum = sum_of(totals, Period { from: month, to: month });
        MonthSum { month, came_in: amount(sum.came_in), went_out: amount(sum.went_out) }
    };
    Month::all_of(year.from.year()).map(sum).to_vec()
}

fn month_lines(sums: &[MonthSum], home: Currency) -> Vec<MonthLine> {
    let line = |sum: &MonthSum| MonthLine {
        month: sum.month,
        name: sum.month.name(),
        came_in: money(sum.came_in, home),
        went_out: money(-sum.went_out, home),
        left: money(sum.left(), home),
    };
    sums.iter().filter(|sum| !(sum.came_in.is_zero() && sum.went_out.is_zero())).map(line).collect()
}

fn by_kind(totals: &[MonthTotal], period: Period, home: Currency) -> List {
    let mut kinds: BTreeMap<Kind, (i64, i64)> = BTreeMap::new();
    for one in totals.iter().filter(|one| period.holds(one.month)) {
        let (amount, entries) = kinds.entry(one.total.kind).or_default();
        *amount += one.total.home_amount;
        *entries += one.total.entries;
    }
    let lines = kinds.iter().map(|(kind, (amount, entries))| Line {
        name: kind.label().to_string(),
        entries: period.entries("kind", kind.code()),
        count: counted(entries, "entry", "entries"),
        amount: in_home(*amount, home),
        soft: String::new(),
        is_loss: *amount < 0,
        bar: (0, 0),
    });
    let amounts: Vec<i64> = kinds.values().map(|(amount, _)| *amount).collect();
    List {
        heading: "What it was for",
        code: "kind",
        lines: with_bars(lines.collect(), &amounts),
        is_cut: false,
    }
}

fn by_facet(
    heading: &'static str,
    facet: Facet,
    found: &[FacetTotal],
    period: Period,
    home: Currency,
) -> List {
    let shown = &found[..found.len().min(MOST_LINES as usize)];
    let lines = shown.iter().map(|total| {
        let left = total.came_in + total.went_out;
        let mut soft = Vec::new();
        if total.came_in != 0 && total.went_out != 0 {
            soft.push(format!("in {}, out {}", in_home(total.came_in, home), in_home(-total.went_out, home)));
        }
        if total.unrated > 0 {
            soft.push(format!("{} without a rate", counted(total.unrated, "entry", "entries")));
        }
        Line {
            name: total.name.clone().unwrap_or_else(|| "a pickup".to_string()),
            entries: period.entries(facet.code(), &total.key),
            count: counted(total.entries, "entry", "entries"),
            amount: in_home(left, home),
            soft: soft.join("; "),
            is_loss: left < 0,
            bar: (0, 0),
        }
    });
    let amounts: Vec<i64> = shown.iter().map(|total| total.came_in + total.went_out).collect();
    List {
        heading,
        code: facet.code(),
        lines: with_bars(lines.collect(), &amounts),
        is_cut: found.len() > shown.len(),
    }
}

/// Bars from one zero line, all to the same scale.
fn with_bars(mut lines: Vec<Line>, amounts: &[i64]) -> Vec<Line> {
    let low = amounts.iter().copied().min().unwrap_or(0).min(0);
    let high = amounts.iter().copied().max().unwrap_or(0).max(0);
    let place = |amount: i64| {
        let share = Decimal::from(amount - low) * Decimal::from(1000) / Decimal::from((high - low).max(1));
        share.round().to_u32().unwrap_or(0).min(1000)
    };
    for (line, amount) in lines.iter_mut().zip(amounts) {
        let (start, end) = (place((*amount).min(0)), place((*amount).max(0)));
        // A few cents are still seen.
        let width = (end - start).max(3);
        line.bar = (start.min(1000 - width), width);
    }
    lines
}

fn currencies(
    totals: &[MonthTotal],
    period: Period,
    home: Currency,
) -> Vec<(&'static str, String, String, String)> {
    let mut sums: BTreeMap<&'static str, (Currency, Sum)> = BTreeMap::new();
    for one in totals.iter().filter(|one| period.holds(one.month) && one.total.currency != home) {
        let (_, sum) = sums.entry(one.total.currency.code()).or_insert((one.total.currency, Sum::default()));
        sum.add(one.total.amount);
    }
    let line = |(code, (currency, sum)): (&'static str, (Currency, Sum))| {
        (
            code,
            in_home(sum.came_in, currency),
            in_home(-sum.went_out, currency),
            period.entries("currency", code),
        )
    };
    sums.into_iter().map(line).collect()
}

fn per_hour(hours: &[HourTotal], names: &BTreeMap<&str, &str>, left: i64, home: Currency) -> Option<PerHour> {
    let minutes: i64 = hours.iter().map(|total| total.minutes).sum();
    if minutes <= 0 {
        return None;
    }
    let an_hour = Money::from_minor_units(left, home).times(Decimal::from(60) / Decimal::from(minutes));
    let mut by_partner: BTreeMap<&str, i64> = BTreeMap::new();
    let mut by_work = BTreeMap::new();
    for total in hours {
        *by_partner.entry(names.get(total.partner_id.as_str()).copied().unwrap_or_default()).or_default() +=
            total.minutes;
        *by_work.entry(total.work).or_insert(0) += total.minutes;
    }
    let words = |minutes: i64| unbroken(&spelled(minutes));
    Some(PerHour {
        all: money(an_hour.amount, home),
        hours: words(minutes),
        by_partner: by_partner.into_iter().map(|(name, sum)| (name.to_string(), words(sum))).collect(),
        by_work: by_work.into_iter().map(|(work, sum)| (work.label(), words(sum))).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::cash::KindTotal;

    fn total(month: &str, kind: Kind, currency: Currency, amount: i64, home_amount: i64) -> MonthTotal {
        let total = KindTotal { kind, currency, amount, home_amount, entries: 2, unrated: 0 };
        MonthTotal { month: month.parse().expect("a month"), total }
    }

    #[test]
    fn what_partners_take_or_bring_is_neither_income_nor_cost() {
        use Currency::{CAD, USD};
        let totals = [
            total("2026-04", Kind::Sale, USD, 10_000, 10_000),
            total("2026-05", Kind::Sale, CAD, 20_000, 15_000),
            total("2026-05", Kind::Freight, USD, -2_500, -2_500),
            total("2026-05", Kind::Payout, USD, -9_000, -9_000),
            total("2026-05", Kind::PaidIn, USD, 1_000, 1_000),
        ];
        let may = Period { from: totals[1].month, to: totals[1].month };
        assert_eq!(sum_of(&totals, may), Sum { came_in: 15_000, went_out: -2_500 });
        assert_eq!(sum_of(&totals, Period::year(2026)).left(), 22_500);
        let lines = by_kind(&totals, may, USD).lines;
        // From −9,000 to 15,000: 24,000 are the whole width.
        assert_eq!(
            lines.iter().map(|line| line.bar).collect::<Vec<_>>(),
            [(375, 625), (271, 104), (0, 375), (375, 42)]
        );
        assert_eq!(currencies(&totals, may, USD)[0].1, "200.00\u{a0}CAD");
    }
}
