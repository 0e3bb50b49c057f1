//! Prices inside a scanned line or cell: amount, range, sign, currency and unit.

mod range;
mod sign;
mod unit;

use rust_decimal::Decimal;
use trade::mass::MassUnit;
use trade::money::{Currency, LARGEST_AMOUNT, PriceUnit};

use crate::number::{self, Habit, Marks};
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};
use range::{range, small_change};
use sign::{before, brackets};
use unit::{apiece, is_per_thing};
pub(crate) use unit::{is_pounds, is_sterling, unit_words};

/// A price as it stands in a text, before the rest of the sheet says what its currency sign or missing unit means.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PriceText {
    /// Its tokens, from `first` up to, not including, `last`.
    pub first: usize,
    pub last: usize,
    pub low: Decimal,
    pub high: Option<Decimal>,
    /// What its sign or code can mean; empty where it has none.
    pub currencies: Vec<Currency>,
    pub unit: Option<UnitText>,
    pub sign: Sign,
    pub strength: Strength,
    /// The marks of a number can be read in two ways.
    pub unclear: bool,
}

/// How sure it is that a number is a price at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Strength {
    /// A bare number.
    Weak,
    /// Decimals as prices have them.
    Decimals,
    /// A currency, cents or a unit beside it.
    Marked,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sign {
    Plain,
    /// A dash directly before the number, which may only set it apart from the name.
    Dashed,
    /// Brackets around it, which are a minus in bookkeeping and decoration elsewhere.
    Bracketed,
    /// Nothing else than a minus.
    Minus,
}

/// What follows `/` or `per`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum UnitText {
    Unit(PriceUnit),
    /// A ton of one of three kinds.
    Ton,
}

impl PriceText {
    pub fn per_ton(&self) -> bool {
        use MassUnit::{GrossTon, ShortTon, Tonne};
        matches!(
            self.unit,
            Some(UnitText::Ton | UnitText::Unit(PriceUnit::Mass(GrossTon | ShortTon | Tonne)))
        )
    }

    pub fn too_large(&self) -> bool {
        self.low > LARGEST_AMOUNT || self.high.is_some_and(|high| high > LARGEST_AMOUNT)
    }
}

/// Whether a text has a price in it that is marked as one: by decimals, a sign or a unit.
pub(crate) fn is_within(text: &str, marks: Marks) -> bool {
    prices(&Scan::of(text), marks).iter().any(|price| price.strength > Strength::Weak)
}

/// Whether a text tells a price, before the marks of the whole sheet are known, or that one has to be asked for.
pub(crate) fn is_told(text: &str) -> bool {
    is_within(text, Marks::of([], Habit::Point)) || VOCABULARY.has(text, Use::OnRequest)
}

/// `7.250`, `3.800 – 4.200`: a number or a span of two that nothing marks as a price.
pub(crate) fn is_bare_number(text: &str) -> bool {
    let sign = |c: char| matches!(c, '.' | ',' | ' ' | '\u{a0}' | '\'' | '’' | '-' | '–');
    let begins = |c: char| c.is_ascii_digit();
    text.trim_start_matches(['-', '–']).starts_with(begins) && text.chars().all(|c| begins(c) || sign(c))
}

/// All numbers of the text that could be a price, in order; each takes its currency and unit with it.
pub(crate) fn prices(scan: &Scan<'_>, marks: Marks) -> Vec<PriceText> {
    let mut found = Vec::new();
    let mut at = 0;
    let mut free_from = 0;
    while at < scan.tokens.len() {
        match price_at(scan, marks, at, free_from) {
            Some(price) => {
                at = price.last;
                free_from = price.last;
                found.push(price);
            }
            None => at += 1,
        }
    }
    found
}

/// The price whose first number is token `at`. Tokens before `free_from` belong to an earlier price.
fn price_at(scan: &Scan<'_>, marks: Marks, at: usize, free_from: usize) -> Option<PriceText> {
    if scan.kind(at) != Some(Kind::Number) {
        return None;
    }
    // `(00) 95555-0147`
    let amount = marks.read(scan.word(at)).filter(|_| {
        let counted =
            || scan.is(at + 1, Use::Cents) || unit_words(scan, at + 1).is_some() || starts_unit(scan, at + 1);
        !number::is_serial(scan.word(at)) || counted()
    })?;
    let mut price = PriceText {
        first: at,
        last: at + 1,
        low: amount.value,
        high: None,
        currencies: Vec::new(),
        unit: None,
        sign: Sign::Plain,
        strength: if number::looks_like_price(scan.word(at)) { Strength::Decimals } else { Strength::Weak },
        unclear: amount.unclear,
    };
    // `£6.8k`
    if scan.is_thousand(price.last) {
        price.low = (price.low * Decimal::ONE_THOUSAND).normalize();
        price.last += 1;
    }
    let mut cents = false;
    before(scan, free_from, &mut price);
    behind(scan, &mut price, &mut cents);
    small_change(scan, &mut price);
    range(scan, marks, &mut price, &mut cents);
    if price.unit.is_none() {
        price.unit = unit_behind(scan, &mut price);
        // `$1.10/lb CAD`, `$1.10/lb - 1.20/lb`.
        behind(scan, &mut price, &mut cents);
        range(scan, marks, &mut price, &mut cents);
    }
    brackets(scan, free_from, &mut price);
    if cents {
        price.low /= Decimal::ONE_HUNDRED;
        price.high = price.high.map(|high| high / Decimal::ONE_HUNDRED);
    }
    if cents || !price.currencies.is_empty() {
        price.strength = Strength::Marked;
    }
    // `+0.05` and `up 5c` are changes since last week.
    let change = price.first.checked_sub(1).is_some_and(|before| {
        // `100 lbs and up 60c` is from 100 lb on.
        let onward = before > 0 && (scan.word(before - 1) == "&" || scan.is(before - 1, Use::SpanTo));
        (scan.kind(before) == Some(Kind::Plus) && !scan.spaced(price.first))
            || scan.is(before, Use::Change) && !onward
    });
    // `Freight R$ 2,50/km`
    let by_the_way =
        scan.kind(price.last) == Some(Kind::Slash) && scan.is(price.last + 1, Use::NoPriceBehind);
    let amount = by_the_way
        || [2, 1].into_iter().any(|length| {
            let words = (price.last..price.last + length).all(|i| scan.kind(i) == Some(Kind::Word));
            words && VOCABULARY.has(scan.between(price.last, price.last + length), Use::NoPriceBehind)
        });
    (!change && !amount).then_some(price)
}

/// Cents and currencies directly behind the number.
fn behind(scan: &Scan<'_>, price: &mut PriceText, cents: &mut bool) {
    while scan.kind(price.last) == Some(Kind::Word) && apiece(scan, price.last).is_none() {
        let word = scan.word(price.last);
        if let Some(currencies) = scan.currencies(price.last).filter(|_| !belongs_to_next(scan, price)) {
            // The sign of the next price: `20 lb $9.50`.
            // In the midst of `7€35` it is its own.
            let cents = !scan.spaced(price.last) && scan.word(price.last + 1).len() == 2;
            if scan.kind(price.last + 1) == Some(Kind::Number) && !scan.spaced(price.last + 1) && !cents {
                return;
            }
            narrow(&mut price.currencies, currencies);
        } else if !*cents && VOCABULARY.has(word, Use::Cents) && is_cents(scan, price, word) {
            *cents = true;
        } else {
            return;
        }
        price.last += 1;
    }
    // `0.05-`, as some bookkeeping programs write it.
    let ends = match scan.kind(price.last + 1) {
        None => true,
        Some(Kind::Gap) => price.strength > Strength::Weak,
        Some(Kind::Fact) => price.strength > Strength::Weak && scan.spaced(price.last + 1),
        _ => false,
    };
    let trailing =
        matches!(scan.kind(price.last), Some(Kind::Dash | Kind::Minus)) && !scan.spaced(price.last) && ends;
    if trailing && price.sign == Sign::Plain {
        price.sign = Sign::Dashed;
        price.last += 1;
    }
}

/// `45c`, `45 ct` and `45 cents` are cents; the `c` in `12.50 c` of a name is not.
fn is_cents(scan: &Scan<'_>, price: &PriceText, word: &str) -> bool {
    // `9 ct gold` is of carats.
    let last = || word.chars().count() == 2 && scan.kind(price.last + 1) != Some(Kind::Word);
    let apart = scan.spaced(price.last);
    price.currencies.is_empty() && (!apart || word.chars().count() > 2 || word == "¢" || last())
}

/// Whether the sign behind a number is the next one's: `304 R$ 5,50`.
fn belongs_to_next(scan: &Scan<'_>, price: &PriceText) -> bool {
    let next = price.last + 1;
    price.high.is_none()
        && price.currencies.is_empty()
        && price.strength == Strength::Weak
        && scan.kind(next) == Some(Kind::Number)
        && number::looks_like_price(scan.word(next))
}

/// The unit behind the price: `/lb`, `per 100 kg`, ` lb`, ` each`.
fn unit_behind(scan: &Scan<'_>, price: &mut PriceText) -> Option<UnitText> {
    // An opening bracket may stand between, or the gap before the next column: `3.80 (per lb)`, `3.80     lb`.
    // `$20 fee each`.
    // `10 € à payer par pièce`
    let fee = (1..=3).find_map(|length| {
        let behind = price.last + length;
        let says = VOCABULARY.has(scan.between(price.last, behind), Use::Charge);
        let at = behind + usize::from(starts_unit(scan, behind));
        says.then(|| unit_words(scan, at)).flatten()
    });
    if let Some((unit, _)) = fee.filter(|_| !price.currencies.is_empty()) {
        return Some(unit);
    }
    let in_english =
        price.currencies.iter().any(|currency| matches!(currency, Currency::USD | Currency::GBP));
    if in_english && is_per_thing(scan, price.last) {
        return Some(UnitText::Unit(PriceUnit::Each));
    }
    let bracket = scan.kind(price.last) == Some(Kind::Open) && starts_unit(scan, price.last + 1);
    let column = scan.kind(price.last) == Some(Kind::Gap)
        && unit_words(scan, price.last + 1)
            .is_some_and(|(_, next)| next == scan.tokens.len() || scan.kind(next) == Some(Kind::Gap))
        // `SS 304    lb    0.56`: the unit stands before its price.
        && (price.strength > Strength::Weak
            || !(price.last..scan.tokens.len()).any(|at| scan.kind(at) == Some(Kind::Number)));
    if column && !starts_unit(scan, price.last + 1) {
        let (unit, last) = unit_words(scan, price.last + 1)?;
        price.last = last;
        price.strength = Strength::Marked;
        return Some(unit);
    }
    let skip = usize::from(bracket || column);
    let (unit, mut last) = if starts_unit(scan, price.last + skip) {
        let (unit, last) = unit_words(scan, price.last + skip + 1)?;
        price.strength = Strength::Marked;
        (unit, last)
    } else {
        let (unit, last) = unit_words(scan, price.last)?;
        let word = scan.between(price.last, last);
        // `12 t` may be anything; `12 lb` is a mass, and only decimals or a currency make it a price.
        let short =
            matches!(word.to_lowercase().as_str(), "t" | "st" | "gt" | "nt" | "gr" | "to" | "te" | "st.");
        if short && price.currencies.is_empty() {
            return None;
        }
        if price.strength == Strength::Decimals || unit == UnitText::Unit(PriceUnit::Each) {
            price.strength = Strength::Marked;
        }
        (unit, last)
    };
    last += usize::from(bracket && scan.kind(last) == Some(Kind::Close));
    price.last = last;
    Some(unit)
}

fn starts_unit(scan: &Scan<'_>, at: usize) -> bool {
    scan.kind(at) == Some(Kind::Slash) || (scan.is(at, Use::Per) && unit_words(scan, at + 1).is_some())
}

/// Keeps what both the signs seen so far and this one can mean: `$` and `CAD` together mean CAD.
fn narrow(so_far: &mut Vec<Currency>, more: &[Currency]) {
    if so_far.is_empty() {
        so_far.extend_from_slice(more);
        return;
    }
    let both: Vec<Currency> = so_far.iter().copied().filter(|c| more.contains(c)).collect();
    if !both.is_empty() {
        *so_far = both;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Habit;

    /// Each price of the text as `low..high currency/unit`, with `-`, `(…)` or `~` for a sure, bracketed or dashed
    /// minus and `?` for a bare number.
    fn check(text: &str, expect: &str) {
        let scan = Scan::of(text);
        let marks = Marks::of(scan.numbers(), Habit::Point);
        let shown: Vec<String> = prices(&scan, marks).iter().map(show).collect();
        assert_eq!(shown.join("; "), expect, "{text}");
    }

    fn show(price: &PriceText) -> String {
        let sign = match price.sign {
            Sign::Plain => "",
            Sign::Dashed => "~",
            Sign::Bracketed => "()",
            Sign::Minus => "-",
        };
        let high = price.high.map(|high| format!("..{}", high.normalize())).unwrap_or_default();
        let currency = price.currencies.first().map(|c| format!(" {}", c.code())).unwrap_or_default();
        let unit = match price.unit {
            Some(UnitText::Unit(unit)) => format!("/{}", unit.code()),
            Some(UnitText::Ton) => "/ton".to_string(),
            None => String::new(),
        };
        let weak = if price.strength == Strength::Weak { "?" } else { "" };
        format!("{sign}{}{high}{currency}{unit}{weak}", price.low.normalize())
    }

    #[test]
    fn ways_to_write_one_price() {
        check("$1.10/lb", "1.1 USD/lb");
        check("1.10 lb", "1.1/lb");
        check("1.10lb", "1.1/lb");
        check("45¢", "0.45");
        check(".45", "0.45");
        check("45c/lb", "0.45/lb");
        check("45 cents per pound", "0.45/lb");
        check("1,250/MT", "1250/tonne");
        check("12.50 per 100 kg", "12.5/100kg");
        check("8.50/cwt", "8.5/cwt");
        check("$8.50/100 lb", "8.5 USD/cwt");
        check("180/gross ton", "180/gross_ton");
        check("$180 a ton", "180 USD/ton");
        check("€ 5,80", "5.8 EUR");
        check("5.80 EUR/kg", "5.8 EUR/kg");
        check("C$4.20 / lb", "4.2 CAD/lb");
        check("$4.20 CAD per lb", "4.2 CAD/lb");
        check("$3.00 each", "3 USD/each");
        check("2.25 ea.", "2.25/each");
        check("EUR5,80/kg", "5.8 EUR/kg");
        check("1 250 €/t", "1250 EUR/tonne");
        check("3.80 (per lb)", "3.8/lb");
        check("3.80/#", "3.8/lb");
        check("7€35", "7.35 EUR");
        check("1 euro 50 le kilo", "1.5 EUR/kg");
        check("4 euros 50 kg", "4 EUR; 50/kg?");
    }

    #[test]
    fn ranges() {
        check("3.80-3.95", "3.8..3.95");
        check("$3.80 - $3.95/lb", "3.8..3.95 USD/lb");
        check("$3.80/lb to $3.95/lb", "3.8..3.95 USD/lb");
        check("40–45¢", "0.4..0.45");
        check("3.80 -0.05", "3.8; ~0.05");
        check("3.80 +0.05", "3.8");
        check("3.80 up 5c", "3.8");
        check("13 - 14.50", "13..14.5?");
        check("Pentium 4 - $3.25/lb", "4?; 3.25 USD/lb");
    }

    #[test]
    fn charges() {
        check("-0.05", "~0.05");
        check("−0.05", "-0.05");
        check("$-0.05", "-0.05 USD");
        check("(0.05)", "()0.05");
        check("($5.00) each", "()5 USD/each");
        check("Copper - 3.80", "3.8");
        check("Copper-3.80", "3.8");
    }

    #[test]
    fn numbers_that_are_no_price() {
        check("#1 copper, 85 % recovery", "");
        check("No. 2 at 12V, 10/2 wire, 3/15/2026, 8:00, 5 pm, 2x4, 6063-T5, Cat5e, USB 3.0", "");
        check("12.03.2026", "");
        check("304", "304?");
    }
}
