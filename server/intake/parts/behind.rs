//! Lines in which each name stands behind its price.

use crate::context::{Context, speaks_of_goods};
use crate::price::{PriceText, UnitText};
use crate::scan::Scan;
use crate::vocabulary::Use;

/// Whether each name stands behind its price, as somebody says it: `I can do 7.40 rame lucido, 6.70 rame misto.`
pub(super) fn names_behind(scan: &Scan<'_>, prices: &[PriceText]) -> bool {
    let [first, .., last] = prices else { return false };
    let opens = first.first.checked_sub(1).is_some_and(|before| {
        [Use::BeforePrice, Use::Paying, Use::Filler].iter().any(|is| scan.is(before, *is))
    });
    let parted = |pair: &[PriceText]| {
        let joint = pair[1].first.saturating_sub(1);
        let parts = matches!(scan.word(joint), "," | ";") || scan.is(joint, Use::SpanTo);
        parts && scan.may_name(pair[0].last) && pair[0].last < joint
    };
    let goods = scan.may_name(last.last) && speaks_of_goods(scan.between(last.last, scan.tokens.len()));
    opens && goods && prices.windows(2).all(parted)
}

/// What all prices of a line are per whose names stand behind them: `al kilo ti faccio euro 7.40 rame lucido, 6.70 rame misto.`
pub(crate) fn unit_before(scan: &Scan<'_>, prices: &[PriceText]) -> Option<UnitText> {
    let first = prices.first().filter(|_| names_behind(scan, prices))?;
    Context::of(scan.between(0, first.first), false).unit
}
