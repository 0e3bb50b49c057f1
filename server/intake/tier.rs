//! Masses from which, or up to which, a price holds: `<100 lb`, `100-500`, `500+ lb`, `over 1,000 kg`.

use rust_decimal::{Decimal, dec};
use trade::mass::{HEAVIEST_GRAMS, Mass, MassUnit};
use trade::money::PriceUnit;

use crate::number::Marks;
use crate::price::{UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};

/// A span of masses as written; its unit may stand elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct TierText {
    pub from: Option<Decimal>,
    pub to: Option<Decimal>,
    pub unit: Option<TierUnit>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum TierUnit {
    Mass(MassUnit),
    /// A ton of one of three kinds.
    Ton,
}

/// A span with decimals ends at no more tons than this (common practice, no source).
const LARGEST_BROKEN: Decimal = dec!(10);

impl TierUnit {
    fn is_ton(self) -> bool {
        use MassUnit::{GrossTon, ShortTon, Tonne};
        matches!(self, TierUnit::Ton | TierUnit::Mass(GrossTon | ShortTon | Tonne))
    }
}

impl TierText {
    /// Whether a number without a unit bounds masses: it is round, and neither a share of copper nor a year.
    fn is_surely_a_mass(self) -> bool {
        let year = |bound: Decimal| bound >= dec!(1990) && bound < dec!(2100);
        match (self.from, self.to) {
            (Some(bound), None) | (None, Some(bound)) => {
                bound >= dec!(100) && (bound % dec!(50)).is_zero() && !year(bound)
            }
            _ => false,
        }
    }

    /// Whether it is bounded by a number alone, in the unit of the price: of pieces, where that is for each.
    pub fn takes_unit_of_price(self) -> bool {
        self.unit.is_none() && (self.from.is_some() || self.to.is_some())
    }

    /// The masses, in the tier's own unit or else `usual`; a bare ton is the usual one if that is a ton, or else `ton`.
    /// `None` without any unit, and beyond what a lot can weigh.
    pub fn masses(self, usual: Option<MassUnit>, ton: MassUnit) -> Option<(Option<Mass>, Option<Mass>)> {
        if self.from.is_none() && self.to.is_none() {
            return Some((None, None));
        }
        let unit = match self.unit {
            Some(TierUnit::Mass(unit)) => unit,
            Some(TierUnit::Ton) => usual.filter(|unit| TierUnit::Mass(*unit).is_ton()).unwrap_or(ton),
            None => usual?,
        };
        let most = HEAVIEST_GRAMS / unit.grams();
        let fits = |number: Option<Decimal>| number.is_none_or(|n| n <= most);
        (fits(self.from) && fits(self.to))
            .then(|| (self.from.map(|n| Mass::of(n, unit)), self.to.map(|n| Mass::of(n, unit))))
    }
}

/// No piece of scrap that comes through a door weighs more grams than this (common practice, no source).
const HEAVIEST_PIECE: Decimal = dec!(100_000);

/// The tier that begins at token `at`, and the token behind it.
///
/// A plain span like `100-500` is a tier only with a unit of mass, or where `bare` says that one is expected.
pub(crate) fn tier_at(scan: &Scan<'_>, marks: Marks, at: usize, bare: bool) -> Option<(TierText, usize)> {
    if scan.is(at, Use::Starts) {
        for length in [3, 2] {
            let words = (at..at + length).all(|i| scan.kind(i) == Some(Kind::Word));
            if words && VOCABULARY.has(scan.between(at, at + length), Use::AnyTier) {
                return Some((TierText { from: None, to: None, unit: None }, at + length));
            }
        }
    }
    if scan.is(at, Use::SpanFrom)
        && let Some(span) = span(scan, marks, at + 1, true, bare)
    {
        return Some(span);
    }
    let (mut opening, number_at) = opening(scan, at);
    let first = bound(scan, marks, number_at)?;
    let (mut unit, mut next) = mass_unit(scan, number_at + 1);
    if opening.is_none() && joins(scan, next, false) {
        return span(scan, marks, number_at, false, bare);
    }
    if scan.kind(next) == Some(Kind::Plus) {
        opening = Some(End::From);
        next += 1;
        if unit.is_none() {
            (unit, next) = mass_unit(scan, next);
        }
    } else if opening.is_none() {
        // `500 lb & up`, `500 lb. and over`.
        next += usize::from(unit.is_some() && scan.word(next) == "." && scan.spaced(next + 1));
        next += usize::from(scan.word(next) == "&");
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

/// The span whose first mass is token `at`: `100-500 lb`; with a word `before` it, as in `between 100 and 500 lb`, more
/// words can join the two.
fn span(scan: &Scan<'_>, marks: Marks, at: usize, before: bool, bare: bool) -> Option<(TierText, usize)> {
    let first = bound(scan, marks, at)?;
    let (unit, joint) = mass_unit(scan, at + 1);
    if !joins(scan, joint, before) {
        return None;
    }
    let second = bound(scan, marks, joint + 1).filter(|second| *second > first)?;
    let (second_unit, end) = mass_unit(scan, joint + 2);
    let unit = second_unit.or(unit);
    // `3.8-3.9 lb` are prices; by the ton there are none so low.
    let whole = first.is_integer() && second.is_integer();
    let broken = unit.is_some_and(TierUnit::is_ton) && second <= LARGEST_BROKEN;
    if !whole && !broken {
        return None;
    }
    (unit.is_some() || bare).then_some((TierText { from: Some(first), to: Some(second), unit }, end))
}

fn joins(scan: &Scan<'_>, at: usize, before: bool) -> bool {
    scan.kind(at) == Some(Kind::Dash) || scan.is(at, Use::Range) || before && scan.is(at, Use::SpanTo)
}

/// A tier among the words of a name.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Within {
    pub tier: TierText,
    /// Its tokens, from `at` up to, not including, `next`.
    pub at: usize,
    pub next: usize,
    place: InBrackets,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum InBrackets {
    No,
    /// It is all that the brackets hold.
    Alone,
    /// Something else stands in them as well.
    Beside,
}

impl Within {
    /// The first tier of these tokens.
    pub fn find(scan: &Scan<'_>, marks: Marks, first: usize, last: usize) -> Option<Within> {
        (first..last).find_map(|at| {
            let opens = at > first && scan.kind(at - 1) == Some(Kind::Open);
            let closes = |next: usize| opens && next < last && scan.kind(next) == Some(Kind::Close);
            let (tier, next) =
                tier_at(scan, marks, at, false).filter(|(_, next)| *next <= last).or_else(|| {
                    // `Copper (100+)`: in the unit of the price.
                    let bare = if opens { tier_at(scan, marks, at, true) } else { None };
                    bare.filter(|(tier, next)| closes(*next) && tier.is_surely_a_mass())
                })?;
            let place = if closes(next) {
                InBrackets::Alone
            } else if brackets_around(scan, first, at, last).is_some() {
                InBrackets::Beside
            } else {
                InBrackets::No
            };
            Some(Within { tier, at, next, place })
        })
    }

    /// Whether it is the mass of one piece, and no tier: `Motors (under 50 lb)`, `Motors under 50 lb`.
    pub fn is_of_a_piece(&self, scan: &Scan<'_>) -> bool {
        let Some((from, to)) = self.tier.masses(None, MassUnit::Tonne) else { return false };
        let small = to.or(from).is_some_and(|mass| mass.grams() <= HEAVIEST_PIECE);
        let heavy = (0..scan.tokens.len()).any(|at| scan.is(at, Use::HeavyPiece));
        self.place != InBrackets::Beside && small && heavy
    }

    pub fn in_brackets(&self) -> bool {
        self.place != InBrackets::No
    }

    /// The name without the tier. What a load must weigh at least stays in it, and so do brackets whose other words go on
    /// from the tier.
    pub fn cut_from(&self, scan: &Scan<'_>, name: &str) -> Option<String> {
        let (at, next) = (self.at, self.next);
        let mark = |at: usize| matches!(scan.word(at), "," | ";" | "/") || scan.kind(at) == Some(Kind::Dash);
        let (from, to) = match self.place {
            InBrackets::No => (at, next),
            _ if self.speaks_of_a_load(scan) => return None,
            InBrackets::Alone => (at - 1, next + 1),
            InBrackets::Beside if mark(at - 1) && scan.kind(next) == Some(Kind::Close) => (at - 1, next),
            InBrackets::Beside if mark(next) => (at, next + 1),
            InBrackets::Beside => return None,
        };
        let (left, right) = name.split_once(scan.between(from, to))?;
        let name = joined(left, right);
        name.chars().any(char::is_alphabetic).then_some(name)
    }

    fn speaks_of_a_load(&self, scan: &Scan<'_>) -> bool {
        let (open, close) =
            brackets_around(scan, 0, self.at, scan.tokens.len()).unwrap_or((self.at, self.next));
        (open..close).any(|at| scan.is(at, Use::Least))
    }
}

/// The tier that a heading gives for the names below it, and whether the heading is nothing else.
pub(crate) fn of_heading(scan: &Scan<'_>, marks: Marks) -> Option<(Within, bool)> {
    let end = scan.tokens.len();
    let within = Within::find(scan, marks, 0, end)
        .filter(|within| within.tier.unit.is_some() && !within.is_of_a_piece(scan))?;
    // `Minimum 100 lb` is what the outlet takes at all.
    if (0..end).any(|at| scan.is(at, Use::Least)) {
        return None;
    }
    let says = |at: usize| matches!(scan.kind(at), Some(Kind::Word | Kind::Number | Kind::Fact));
    Some((within, !(0..within.at).chain(within.next..end).any(says)))
}

/// The brackets that a token stands in.
fn brackets_around(scan: &Scan<'_>, first: usize, at: usize, last: usize) -> Option<(usize, usize)> {
    let bracket = |i: &usize| matches!(scan.kind(*i), Some(Kind::Open | Kind::Close));
    let open = (first..at).rev().find(bracket).filter(|&i| scan.kind(i) == Some(Kind::Open))?;
    let close = (at..last).find(bracket).filter(|&i| scan.kind(i) == Some(Kind::Close))?;
    Some((open, close))
}

/// What stands left and right of something that was taken out, as one text.
fn joined(left: &str, right: &str) -> String {
    let apart = [' ', '\t', ',', ';', ':', '-', '–', '—', '/', '|'];
    let (left, right) = (left.trim_end(), right.trim_start());
    if right.trim_start_matches(apart).is_empty() {
        return left.trim_end_matches(apart).to_string();
    }
    if left.trim_end_matches(apart).is_empty() {
        return right.trim_start_matches(apart).to_string();
    }
    if right.starts_with([')', ']', ',', ';']) || left.ends_with(['(', '[']) {
        return format!("{}{right}", left.trim_end_matches([',', ';']));
    }
    format!("{left} {right}")
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
        // `Trade (+200 kg)`
        Some(Kind::Plus) if !scan.spaced(at + 1) && mass_unit(scan, at + 2).0.is_some() => {
            (Some(End::From), at + 1)
        }
        Some(Kind::Word) => {
            let longest = if scan.is(at, Use::Starts) { 3 } else { 1 };
            for length in (1..=longest).rev() {
                let words = (at..at + length).all(|i| scan.kind(i) == Some(Kind::Word));
                // `pow. 200 kg`
                let dot =
                    scan.word(at + length) == "." && !scan.spaced(at + length) && !scan.is(at, Use::Least);
                let dot = usize::from(dot);
                // Only what a number follows opens a tier.
                if !words || scan.kind(at + length + dot) != Some(Kind::Number) {
                    continue;
                }
                if let Some(end) = end_word(scan.between(at, at + length)) {
                    return (Some(end), at + length + dot);
                }
            }
            (None, at)
        }
        _ => (None, at),
    }
}

fn end_word(words: &str) -> Option<End> {
    if VOCABULARY.has(words, Use::TierTo) {
        Some(End::To)
    } else {
        VOCABULARY.has(words, Use::TierFrom).then_some(End::From)
    }
}

/// A number that a mass is given in: a whole one, or one with a single decimal, as no price has it: `2.5+ tons`.
fn bound(scan: &Scan<'_>, marks: Marks, at: usize) -> Option<Decimal> {
    if scan.kind(at) != Some(Kind::Number) {
        return None;
    }
    let single = |value: &Decimal| value.is_integer() || value.scale() == 1 && !value.is_zero();
    marks.read(scan.word(at)).map(|amount| amount.value).filter(single)
}

fn mass_unit(scan: &Scan<'_>, at: usize) -> (Option<TierUnit>, usize) {
    if scan.kind(at) == Some(Kind::Number) {
        return (None, at);
    }
    match unit_words(scan, at) {
        Some((UnitText::Unit(PriceUnit::Mass(unit)), next)) => (Some(TierUnit::Mass(unit)), next),
        Some((UnitText::Ton, next)) => (Some(TierUnit::Ton), next),
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
            let unit = match tier.unit {
                Some(TierUnit::Mass(unit)) => format!(" {}", unit.code()),
                Some(TierUnit::Ton) => " ton".to_string(),
                None => String::new(),
            };
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

    fn cut(text: &str, expect: &str) {
        let scan = Scan::of(text);
        let marks = Marks::of(scan.numbers(), Habit::Point);
        let within = Within::find(&scan, marks, 0, scan.tokens.len());
        let name = within.map(|within| within.cut_from(&scan, text).unwrap_or_else(|| "whole".to_string()));
        assert_eq!(name.as_deref().unwrap_or("none"), expect, "{text}");
    }

    #[test]
    fn names_without_their_tier() {
        cut("Copper #2 (500+ lb)", "Copper #2");
        cut("(500+ lb) Copper #2", "Copper #2");
        cut("Copper (500+ lb) #2", "Copper #2");
        cut("Copper [under 100 lb], clean", "Copper, clean");
        cut("Copper (clean, 500+ lb)", "Copper (clean)");
        cut("Copper (500+ lb; clean)", "Copper (clean)");
        cut("Copper - over 500 lb", "Copper");
        cut("Copper, 500+ lb, clean", "Copper, clean");
        cut("500+ lb: copper", "copper");
        cut("Copper (lots of 500+ lb only)", "whole");
        cut("Copper (min 50 lb)", "whole");
        cut("Copper (500 lb load or more)", "none");
        cut("Copper (min. 50 lb)", "none");
        cut("Copper (100+), clean", "Copper, clean");
        cut("Copper (over 500)", "Copper");
        cut("Insulated wire (60+)", "none");
        cut("Laptops (2012+)", "none");
        cut("Stainless (304-316)", "none");
        cut("Processors (386+)", "none");
        cut("Shred (5+ tons)", "Shred");
        cut("(500+ lb)", "whole");
        cut("Copper (clean", "none");
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
        check("500 lb & up", false, "500.. lb");
        check("a partir de 100 kg", false, "100.. kg");
        check("from 100 to 500 lb", false, "100..500 lb");
        check("between 100 and 500 lb", false, "100..500 lb");
        check("da 100 a 500 kg", false, "100..500 kg");
        check("od 100 do 500 kg", false, "100..500 kg");
        check("100 tot 500 kg", false, "100..500 kg");
        check("from 100 lb", false, "100.. lb");
        check("between 100 and copper", false, "none");
        check("100-500", true, "100..500");
        check("500+", true, "500..");
        check("100-500", false, "none");
        check("3.80-3.95 lb", false, "none");
        check("5+ tons", false, "5.. ton");
        check("over 20 tons 3.80", false, "20.. ton | 3.80");
        check("1-5 tons", false, "1..5 ton");
        check("2.5+ tons", false, "2.5.. ton");
        check("over 0.5 tonnes", false, "0.5.. tonne");
        check("from 1.5 to 3 tonnes", false, "1.5..3 tonne");
        check("under 2.5 kg", false, "..2.5 kg");
        check("0.5-2 t", false, "0.5..2 tonne");
        check("3.8-3.9 lb", false, "none");
        check("3.80 lb & up", false, "none");
        check("Copper", true, "none");
    }
}
