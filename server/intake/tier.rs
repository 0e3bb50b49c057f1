//! Masses from which, or up to which, a price holds: `<100 lb`, `100-500`, `500+ lb`, `over 1,000 kg`.

use rust_decimal::Decimal;
use trade::mass::{HEAVIEST_GRAMS, Mass, MassUnit};
use trade::money::PriceUnit;

use crate::number::Marks;
use crate::price::{UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::vocabulary::Use;

/// A span of masses as written; its unit may stand elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TierText {
    pub from: Option<Decimal>,
    pub to: Option<Decimal>,
    pub unit: Option<MassUnit>,
}

impl TierText {
    /// The masses, in the tier's own unit or else `usual`. `None` without any unit, and beyond what a lot can weigh.
    pub fn masses(self, usual: Option<MassUnit>) -> Option<(Option<Mass>, Option<Mass>)> {
        if self.from.is_none() && self.to.is_none() {
            return Some((None, None));
        }
        let unit = self.unit.or(usual)?;
        let most = HEAVIEST_GRAMS / unit.grams();
        let fits = |number: Option<Decimal>| number.is_none_or(|n| n <= most);
        (fits(self.from) && fits(self.to))
            .then(|| (self.from.map(|n| Mass::of(n, unit)), self.to.map(|n| Mass::of(n, unit))))
    }
}

/// The tier that begins at token `at`, and the token behind it.
///
/// A plain span like `100-500` is a tier only with a unit of mass, or where `bare` says that one is expected.
pub(crate) fn tier_at(scan: &Scan<'_>, marks: Marks, at: usize, bare: bool) -> Option<(TierText, usize)> {
    use crate::vocabulary::VOCABULARY;
    for length in [3, 2] {
        let words = (at..at + length).all(|i| scan.kind(i) == Some(Kind::Word));
        if words && VOCABULARY.has(scan.between(at, at + length), Use::AnyTier) {
            return Some((TierText { from: None, to: None, unit: None }, at + length));
        }
    }
    let (opening, number_at) = opening(scan, at);
    let first = whole_number(scan, marks, number_at)?;
    let (unit, mut next) = mass_unit(scan, number_at + 1);
    if opening.is_none() && (scan.kind(next) == Some(Kind::Dash) || scan.is(next, Use::Range)) {
        if let Some(second) = whole_number(scan, marks, next + 1).filter(|second| *second > first) {
            let (second_unit, end) = mass_unit(scan, next + 2);
            let unit = second_unit.or(unit);
            if unit.is_some() || bare {
                return Some((TierText { from: Some(first), to: Some(second), unit }, end));
            }
        }
        return None;
    }
    let (mut opening, mut unit) = (opening, unit);
    if scan.kind(next) == Some(Kind::Plus) {
        opening = Some(End::From);
        next += 1;
        if unit.is_none() {
            (unit, next) = mass_unit(scan, next);
        }
    } else if opening.is_none() {
        for length in [2, 1] {
            let words = scan.between(next, next + length);
            if words.is_empty() || !(next..next + length).all(|i| scan.kind(i) == Some(Kind::Word)) {
                continue;
            }
            opening = end_word(words);
            if opening.is_some() {
                next += length;
                break;
            }
        }
    }
    let tier = match opening? {
        End::From => TierText { from: Some(first), to: None, unit },
        End::To => TierText { from: None, to: Some(first), unit },
    };
    (tier.unit.is_some() || bare).then_some((tier, next))
}

#[derive(Clone, Copy)]
enum End {
    From,
    To,
}

/// `<`, `over`, `up to` in front of the number, and where the number then stands.
fn opening(scan: &Scan<'_>, at: usize) -> (Option<End>, usize) {
    match scan.kind(at) {
        Some(Kind::Less) => (Some(End::To), at + 1),
        Some(Kind::More) => (Some(End::From), at + 1),
        Some(Kind::Word) => {
            for length in [2, 1] {
                let words = (at..at + length).all(|i| scan.kind(i) == Some(Kind::Word));
                if let (true, Some(end)) = (words, end_word(scan.between(at, at + length))) {
                    return (Some(end), at + length);
                }
            }
            (None, at)
        }
        _ => (None, at),
    }
}

fn end_word(words: &str) -> Option<End> {
    use crate::vocabulary::VOCABULARY;
    if VOCABULARY.has(words, Use::TierTo) {
        Some(End::To)
    } else {
        VOCABULARY.has(words, Use::TierFrom).then_some(End::From)
    }
}

fn whole_number(scan: &Scan<'_>, marks: Marks, at: usize) -> Option<Decimal> {
    if scan.kind(at) != Some(Kind::Number) {
        return None;
    }
    marks.read(scan.word(at)).map(|amount| amount.value).filter(Decimal::is_integer)
}

fn mass_unit(scan: &Scan<'_>, at: usize) -> (Option<MassUnit>, usize) {
    if scan.kind(at) == Some(Kind::Number) {
        return (None, at);
    }
    match unit_words(scan, at) {
        Some((UnitText::Unit(PriceUnit::Mass(unit)), next)) => (Some(unit), next),
        _ => (None, at),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Habit;

    fn check(text: &str, bare: bool, expect: &str) {
        let scan = Scan::of(text);
        let marks = Marks::of(scan.numbers(), Habit::Point);
        let shown = tier_at(&scan, marks, 0, bare).map_or("none".to_string(), |(tier, next)| {
            let end = |n: Option<Decimal>| n.map(|n| n.to_string()).unwrap_or_default();
            let unit = tier.unit.map(|unit| format!(" {}", unit.code())).unwrap_or_default();
            let rest = scan.between(next, scan.tokens.len());
            format!(
                "{}..{}{unit}{}{rest}",
                end(tier.from),
                end(tier.to),
                if rest.is_empty() { "" } else { " | " }
            )
        });
        assert_eq!(shown, expect, "{text}");
    }

    #[test]
    fn forms_of_a_tier() {
        check("<100 lb", false, "..100 lb");
        check("under 100 lbs 3.80", false, "..100 lb | 3.80");
        check("up to 50 kg", false, "..50 kg");
        check("100-500 lb", false, "100..500 lb");
        check("100 to 499 lb: 3.90", false, "100..499 lb | : 3.90");
        check("500+ lb", false, "500.. lb");
        check("500 lb+", false, "500.. lb");
        check("1,000 lbs and up", false, "1000.. lb");
        check("over 2 tonnes", false, "2.. tonne");
        check("> 500 lb", false, "500.. lb");
        check("100-500", true, "100..500");
        check("500+", true, "500..");
        check("100-500", false, "none");
        check("3.80-3.95 lb", false, "none");
        check("Copper", true, "none");
    }
}
