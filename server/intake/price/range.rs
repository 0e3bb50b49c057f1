//! Where a price ends: its cents that are written apart, and the upper end of a range.

use rust_decimal::{Decimal, dec};

use super::{PriceText, Strength, behind, narrow, unit_words};
use crate::context::speaks_of_goods;
use crate::number::{self, Marks};
use crate::scan::{Kind, Scan};
use crate::vocabulary::Use;

/// A high end more than this many times the low end is no range but another number.
const WIDEST_RANGE: Decimal = dec!(5);
/// The same where one end has decimals and the other none, which is no number of a name: `Pentium 4 - 5.50`.
const NEAR_RANGE: Decimal = dec!(1.5);
const FEWEST_NEAR: Decimal = dec!(10);
/// A number no further above that of an alloy may be the upper end of a range that begins with it: `Brass 360 - 380`.
const NEAR_ALLOY: Decimal = dec!(1.15);
/// Letters of a sign or a code that stands for a currency; a longer one is its name.
const LONGEST_SIGN: usize = 3;

/// The cents of `1 euro 50`, as it is spoken; the mass of `4 euros 50 kg` is none.
pub(super) fn small_change(scan: &Scan<'_>, price: &mut PriceText) {
    let with_currency =
        price.last == price.first + 2 && price.low.scale() == 0 && scan.currencies(price.last - 1).is_some();
    let said = with_currency
        && price.strength == Strength::Weak
        && scan.word(price.last - 1).chars().filter(|c| c.is_alphabetic()).count() > LONGEST_SIGN
        && scan.spaced(price.last);
    let cents = two_digits(scan, price.last).filter(|_| said);
    if let Some(cents) =
        cents.filter(|_| unit_words(scan, price.last).is_none() && unit_words(scan, price.last + 1).is_none())
    {
        price.low += cents;
        price.last += 1;
    } else if let Some(cents) = joined_cents(scan, price.last - 1).filter(|_| with_currency) {
        price.low += cents;
        price.last += 1;
    }
}

/// The cents of `7€35`, whose currency is this token.
fn joined_cents(scan: &Scan<'_>, currency: usize) -> Option<Decimal> {
    let joined = scan.is_currency(currency) && !scan.spaced(currency) && !scan.spaced(currency + 1);
    two_digits(scan, currency + 1).filter(|_| joined)
}

/// Two digits as cents.
fn two_digits(scan: &Scan<'_>, at: usize) -> Option<Decimal> {
    let digits = scan.word(at);
    let two = digits.len() == 2 && digits.bytes().all(|digit| digit.is_ascii_digit());
    digits
        .parse()
        .ok()
        .filter(|_| two && scan.kind(at) == Some(Kind::Number))
        .map(|cents: i64| Decimal::new(cents, 2))
}

/// The upper end of a range: `3.80-3.95`, `$3.80 to $3.95`, `40–45¢`.
pub(super) fn range(scan: &Scan<'_>, marks: Marks, price: &mut PriceText, cents: &mut bool) {
    if price.high.is_some() {
        return;
    }
    let joint = price.last;
    let joins = match scan.kind(joint) {
        // ` -3.95` after a blank is a number of its own with a minus.
        Some(Kind::Dash) => scan.spaced(joint) == scan.spaced(joint + 1),
        // `between £820 and £860`
        Some(Kind::Word) => {
            let between = price.first.checked_sub(1).is_some_and(|before| scan.is(before, Use::SpanFrom));
            scan.is(joint, Use::Range) || between && scan.is(joint, Use::SpanTo)
        }
        _ => false,
    };
    if !joins {
        return;
    }
    // `Stainless 304 - 820`: an alloy behind the word for its metal begins no range.
    let low = scan.word(price.first);
    let alloy =
        price.last == price.first + 1 && low.len() == 3 && low.bytes().all(|digit| digit.is_ascii_digit());
    let named = price.first.checked_sub(1).is_some_and(|before| scan.kind(before) == Some(Kind::Word));
    let mut upper = joint + 1;
    let mut currencies = price.currencies.clone();
    while let Some(more) = scan.currencies(upper) {
        narrow(&mut currencies, more);
        upper += 1;
    }
    if scan.kind(upper) != Some(Kind::Number) {
        return;
    }
    let Some(amount) = marks.read(scan.word(upper)) else { return };
    // `Pentium 4 - $3.25` is a name and a price: both ends are written alike, or touch the dash.
    // `13 - 14,50`
    let near = price.low >= FEWEST_NEAR
        && price.low < amount.value
        && amount.value <= price.low.saturating_mul(NEAR_RANGE);
    let alike = near && currencies.is_empty()
        || number::looks_like_price(scan.word(upper)) == (price.strength >= Strength::Decimals)
        || *cents
        || !scan.spaced(upper)
        || !price.currencies.is_empty();
    let alike = alike && (currencies.len() == price.currencies.len() || !price.currencies.is_empty());
    // `1€50 à 1€90`
    let change = joined_cents(scan, upper + 1);
    let value = amount.value + change.unwrap_or_default();
    let near_alloy = value <= price.low.saturating_mul(NEAR_ALLOY);
    if alloy && named && !near_alloy && scan.spaced(joint) && speaks_of_goods(low) {
        return;
    }
    let end = upper + if change.is_some() { 3 } else { 1 };
    let (low, high) = (price.low.min(value), price.low.max(value));
    if !alike || low.is_zero() || high > low.saturating_mul(WIDEST_RANGE) {
        return;
    }
    (price.low, price.high) = (low, (high > low).then_some(high));
    price.currencies = currencies;
    price.unclear |= amount.unclear;
    price.last = end;
    behind(scan, price, cents);
}
