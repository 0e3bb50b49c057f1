//! What stands around a number as its sign: a minus, a word for one, brackets, and currencies in front of it.

use super::{PriceText, Sign, narrow, unit_behind, unit_words};
use crate::number::looks_like_price;
use crate::scan::{Kind, Scan};
use crate::vocabulary::Use;

/// Signs and currencies directly before the number.
pub(super) fn before(scan: &Scan<'_>, free_from: usize, price: &mut PriceText) {
    let number = price.first;
    let mut first = number;
    while first > free_from {
        let i = first - 1;
        match scan.kind(i) {
            Some(Kind::Word) => {
                // `Swollen packs: minus €2.00`; what `LME minus 0.20` and `wire, minus 0.40 for wet` say is no price.
                let apart =
                    || i == free_from || scan.kind(i - 1) == Some(Kind::Gap) || scan.word(i - 1) == ":";
                // `cells minus kr 9,-`
                let of_money = || first < number && scan.is_currency(first);
                if scan.is(i, Use::Negative)
                    && price.sign == Sign::Plain
                    && (apart() || of_money() || ends(scan, number))
                {
                    price.sign = Sign::Dashed;
                    first = i;
                    break;
                }
                let Some(currencies) = scan.currencies(i) else { break };
                narrow(&mut price.currencies, currencies);
            }
            // `€    16,50`, as spreadsheets set the sign apart.
            Some(Kind::Gap)
                if i > free_from
                    && price.currencies.is_empty()
                    && scan.word(i).chars().all(char::is_whitespace)
                    && scan.currencies(i - 1).is_some() => {}
            Some(Kind::Minus) => price.sign = Sign::Minus,
            // `Monitors .... (-) 120,00`
            Some(Kind::Close)
                if i >= free_from + 2
                    && matches!(scan.kind(i - 1), Some(Kind::Dash | Kind::Minus))
                    && scan.kind(i - 2) == Some(Kind::Open) =>
            {
                price.sign = Sign::Minus;
                first = i - 2;
                break;
            }
            // A dash behind a gap, with a blank behind it as well: what most prices of the sheet have is decoration.
            Some(Kind::Dash)
                if scan.spaced(first)
                    && price.sign == Sign::Plain
                    && i > free_from
                    && scan.kind(i - 1) == Some(Kind::Gap) =>
            {
                price.sign = Sign::Dashed;
            }
            // A dash with a blank behind it, or a word before it, sets the name apart.
            Some(Kind::Dash) if !scan.spaced(first) && price.sign == Sign::Plain => {
                let after_currency = i > free_from && scan.currencies(i - 1).is_some();
                let touches = i > free_from && !scan.spaced(i) && scan.kind(i - 1) != Some(Kind::Gap);
                if after_currency {
                    price.sign = Sign::Minus;
                } else if !touches || scan.kind(i - 1) == Some(Kind::Open) {
                    price.sign = Sign::Dashed;
                } else {
                    break;
                }
            }
            _ => break,
        }
        first = i;
    }
    price.first = first;
}

/// Whether nothing but what it is per stands behind a number with decimals: `CRT minus 4.00 each`, but not `wire, minus 0.40 for wet`.
fn ends(scan: &Scan<'_>, number: usize) -> bool {
    let behind = unit_words(scan, number + 1).map_or(number + 1, |(_, next)| next);
    looks_like_price(scan.word(number)) && behind == scan.tokens.len()
}

/// `($0.05)`: brackets right around the number and its currency, before any unit, or behind a gap, where prices stand, with it:
/// `CRT monitors    ($8.00 ea)`.
pub(super) fn brackets(scan: &Scan<'_>, free_from: usize, price: &mut PriceText) {
    // `620 [640]` holds last week's.
    let opens = price.first > free_from && scan.word(price.first - 1) == "(";
    if opens && scan.kind(price.last) == Some(Kind::Close) {
        let bare = price.unit.is_none();
        price.first -= 1;
        price.last += 1;
        // `3,20 € (3,45 €)`: brackets right behind a price hold another one, and no charge.
        let behind_another = free_from > 0 && price.first == free_from;
        let columned = price.first > 0 && scan.kind(price.first - 1) == Some(Kind::Gap);
        if (bare || columned) && !behind_another && price.sign == Sign::Plain {
            price.sign = Sign::Bracketed;
        }
        if bare {
            price.unit = unit_behind(scan, price);
        }
    }
}
