//! What an outlet's newest price sheet says of one grade.

use serde::{Deserialize, Serialize};

use crate::mass::Mass;
use crate::money::Price;

/// One price of a sheet for a grade, and the least mass of that grade in one delivery from which it holds.
///
/// Where the sheet gives a range, `price` is its low end, which is what the shop counts on, and `high` its upper end,
/// which is only shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Quote {
    pub price: Price,
    pub high: Option<Price>,
    pub from: Mass,
}

impl Quote {
    pub const fn flat(price: Price) -> Self {
        Quote { price, high: None, from: Mass::ZERO }
    }
}

/// All prices of one grade at one outlet: tiers are *all-units*, so one quote prices the whole delivery of the grade.
///
/// Invariant: at least one quote, ascending by `from`, no two with the same `from`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quotes(Vec<Quote>);

impl Quotes {
    /// Of two quotes from the same mass the lower price is kept: the shop must not count on the better one.
    pub fn new(quotes: impl IntoIterator<Item = Quote>) -> Option<Quotes> {
        let mut quotes: Vec<Quote> = quotes.into_iter().collect();
        quotes.sort_by(|a, b| a.from.cmp(&b.from).then_with(|| a.price.by_what_it_pays(&b.price)));
        quotes.dedup_by_key(|quote| quote.from);
        if quotes.is_empty() { None } else { Some(Quotes(quotes)) }
    }

    /// The quote that prices a delivery of `total` of this grade; `None` below the least mass that is priced.
    pub fn at(&self, total: Mass) -> Option<&Quote> {
        self.0.iter().rev().find(|quote| quote.from <= total)
    }

    pub fn tiers(&self) -> &[Quote] {
        &self.0
    }
}
