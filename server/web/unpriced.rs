//! Lots that nothing says a price for: they count as nothing, and the pages say why.

use trade::money::PriceUnit;
use trade::quote::Quotes;

use crate::shelf::Shelf;
use crate::store::lots::Lot;

/// Why a lot has no price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unpriced {
    /// No outlet's newest sheet has its grade.
    NotQuoted,
    /// All that price it count its pieces, and nobody has counted them.
    Uncounted,
    /// Its ledger is empty, or adds up to less than nothing.
    Unweighed,
}

impl Unpriced {
    pub fn of(lot: &Lot, shelf: &Shelf) -> Option<Unpriced> {
        if !lot.net.is_positive() {
            return Some(Unpriced::Unweighed);
        }
        let mut quotes =
            shelf.outlets.iter().filter_map(|outlet| outlet.quotes.get(&lot.grade_id)).peekable();
        if quotes.peek().is_none() {
            return Some(Unpriced::NotQuoted);
        }
        quotes.all(|quotes| wants_a_count(lot, quotes)).then_some(Unpriced::Uncounted)
    }

    pub const fn words(self) -> &'static str {
        match self {
            Unpriced::NotQuoted => "no outlet’s sheet has it",
            Unpriced::Uncounted => "priced each, and its pieces are not counted",
            Unpriced::Unweighed => "nothing weighed in yet",
        }
    }
}

/// Whether these prices say nothing about the lot until its pieces are counted.
pub fn wants_a_count(lot: &Lot, quotes: &Quotes) -> bool {
    lot.pieces == 0 && quotes.tiers().iter().all(|quote| quote.price.per == PriceUnit::Each)
}
