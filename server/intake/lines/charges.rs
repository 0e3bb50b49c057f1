//! Which of the prices in a line the outlet charges.

use crate::draft::Charge;
use crate::number::{Habit, Marks};
use crate::parts::{Part, charge};
use crate::price::{self, PriceText};
use crate::scan::{Kind, Scan};

/// Which parts of a line are charges. Where it names several, words of a charge speak of the part they stand in, or of
/// all where they introduce the line: `We charge: tubes 0.40, toner 0.10`.
pub(super) fn charges(text: &str, scan: &Scan<'_>, prices: &[PriceText], parts: &[Part]) -> Vec<Charge> {
    if parts.len() < 2 {
        // `Litho .74 | COSTS YOU` heads what stands below on the right.
        let own = text.split('|').find(|piece| holds_an_amount(piece)).filter(|_| prices.len() == 1);
        // `Swollen packs 2.00 chg`; the same letters before a number are for a change.
        let short = prices.iter().any(|price| scan.word(price.last).eq_ignore_ascii_case("chg"));
        let said = if short { Charge::Sure } else { charge(own.unwrap_or(text)) };
        return vec![said; parts.len()];
    }
    let introduced = text
        .split_once(": ")
        .filter(|(before, _)| !holds_an_amount(before))
        .map_or(Charge::No, |(before, _)| charge(before));
    let names_first = prices.first().is_some_and(|price| price.first > 0);
    let mut charges = Vec::with_capacity(parts.len());
    let mut next = 0;
    for (at, part) in parts.iter().enumerate() {
        let first = next;
        next += part.prices.len();
        let last = at + 1 == parts.len();
        let (from, to) = if names_first {
            let from = first.checked_sub(1).map_or(0, |before| prices[before].last);
            // `tubes 0.40 (we charge), toner`: brackets behind a price speak of it.
            let to = prices.get(next - 1).map_or(0, |price| behind_brackets(scan, price.last));
            (if first == 0 { 0 } else { behind_brackets(scan, from) }, to)
        } else {
            (prices[first].first, prices.get(next).map_or(scan.tokens.len(), |price| price.first))
        };
        let to = if last { scan.tokens.len() } else { to };
        charges.push(charge(scan.between(from, to)).or(introduced));
    }
    charges
}

/// Whether any number of a text could be a price, marked as one or not.
fn holds_an_amount(text: &str) -> bool {
    !price::prices(&Scan::of(text), Marks::of([], Habit::Point)).is_empty()
}

/// The token behind the brackets that open at `at`, or `at` itself where none do.
fn behind_brackets(scan: &Scan<'_>, at: usize) -> usize {
    if scan.kind(at) != Some(Kind::Open) {
        return at;
    }
    let close = (at..scan.tokens.len()).find(|&i| scan.kind(i) == Some(Kind::Close));
    close.map_or(at, |close| close + 1)
}
