//! What a price is per.

use trade::mass::MassUnit;
use trade::money::PriceUnit;

use super::UnitText;
use crate::context::speaks_of_goods;
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};

/// The unit that begins at token `at`, and the token behind it.
pub(crate) fn unit_words(scan: &Scan<'_>, at: usize) -> Option<(UnitText, usize)> {
    let numbered = matches!(scan.kind(at + 1), Some(Kind::Number | Kind::Fact)) && !scan.spaced(at + 1);
    if scan.kind(at) == Some(Kind::Hash) && !numbered {
        return Some((UnitText::Unit(PriceUnit::Mass(MassUnit::Pound)), at + 1));
    }
    if let Some(next) = apiece(scan, at) {
        return Some((UnitText::Unit(PriceUnit::Each), next));
    }
    // `130/to`, as tonnes are written in German.
    let slashed = || at.checked_sub(1).is_some_and(|before| scan.kind(before) == Some(Kind::Slash));
    if scan.word(at) == "to" && slashed() && !scan.spaced(at) {
        return Some((UnitText::Unit(PriceUnit::Mass(MassUnit::Tonne)), at + 1));
    }
    if let Some(ton) = marked_ton(scan, at) {
        return Some((UnitText::Unit(PriceUnit::Mass(ton)), at + 3));
    }
    let (times, at) = match scan.kind(at) {
        Some(Kind::Number) => (scan.word(at), at + 1),
        _ => ("1", at),
    };
    // `oltre 100 chili`, but `The chili was good`.
    let uncounted =
        scan.is(at, Use::Counted) && !at.checked_sub(1).is_some_and(|n| scan.kind(n) == Some(Kind::Number));
    if !(scan.is(at, Use::UnitStart) || scan.is(at, Use::Ton)) || uncounted || is_computer(scan, at) {
        return None;
    }
    for length in (1..=3).rev() {
        let words = (at..at + length).all(|i| scan.kind(i) == Some(Kind::Word));
        let run = scan.between(at, at + length);
        if !words || run.is_empty() {
            continue;
        }
        let last = at + length;
        if VOCABULARY.has(run, Use::Ton) && times == "1" {
            return Some((UnitText::Ton, last));
        }
        if let Some(unit) = VOCABULARY.unit(run).and_then(|unit| multiple(times, unit)) {
            return Some((UnitText::Unit(unit), last));
        }
    }
    None
}

/// `Schede madri per PC` are for computers, and not priced by the piece; so are `PC motherboards`.
fn is_computer(scan: &Scan<'_>, at: usize) -> bool {
    // `Motors 2.00 per pc`, `laptops 4.00 pc`
    let short = scan.word(at) == "pc" && at < 3 || scan.word(at) == "PC";
    let names = short && scan.kind(at + 1) == Some(Kind::Word) && speaks_of_goods(scan.word(at + 1));
    if names && at.checked_sub(1).is_none_or(|before| scan.kind(before) != Some(Kind::Slash)) {
        return true;
    }
    // `Price per PC` names a column.
    let goods = |word: usize| {
        let text = scan.word(word);
        scan.kind(word) == Some(Kind::Word)
            && VOCABULARY.column(text).is_none()
            && scan.currencies(word).is_none()
    };
    scan.word(at) == "PC"
        && at > 1
        && scan.is(at - 1, Use::Per)
        && goods(at - 2)
        && scan.text.contains(char::is_lowercase)
}

/// The token behind the Italian `cad.`, which without its dot is a currency, the Dutch `p/st`, whose first letter can be
/// pennies, or the Spanish `c/u`, whose first can be cents.
pub(super) fn apiece(scan: &Scan<'_>, at: usize) -> Option<usize> {
    let short = scan.word(at) == "cad" && scan.word(at + 1) == "." && !scan.spaced(at + 1);
    let parted = scan.kind(at + 1) == Some(Kind::Slash);
    let per_piece = parted
        && (scan.word(at) == "p" && VOCABULARY.unit(scan.word(at + 2)) == Some(PriceUnit::Each)
            || scan.word(at).eq_ignore_ascii_case("c") && scan.word(at + 2).eq_ignore_ascii_case("u"));
    if short { Some(at + 2) } else { per_piece.then_some(at + 3) }
}

/// `$15 per tube TV`: for each of what is named, where no foreign word is for it: `7 € per rame` is for copper.
pub(super) fn is_per_thing(scan: &Scan<'_>, at: usize) -> bool {
    let is_english = |at: usize| {
        let word = scan.word(at).to_lowercase();
        let foreign = || VOCABULARY.english(&word).is_some_and(|meaning| meaning != word);
        // Nobody sells a piece of `clean copper`.
        let metal = || VOCABULARY.has(&word, Use::Group);
        scan.kind(at) == Some(Kind::Word) && speaks_of_goods(&word) && !foreign() && !metal()
    };
    let named = || is_english(at + 1) || scan.kind(at + 1) == Some(Kind::Word) && is_english(at + 2);
    scan.word(at) == "per" && unit_words(scan, at + 1).is_none() && named()
}

/// `G/T` and `N/T`, as tons are marked in capitals: no grams per tonne.
fn marked_ton(scan: &Scan, at: usize) -> Option<MassUnit> {
    let whole = scan.word(at + 2) == "T" && scan.kind(at + 1) == Some(Kind::Slash);
    match scan.word(at) {
        "G" | "L" if whole => Some(MassUnit::GrossTon),
        "N" | "S" if whole => Some(MassUnit::ShortTon),
        _ => None,
    }
}

pub(crate) fn is_pounds(word: &str) -> bool {
    word.eq_ignore_ascii_case("pounds") || word.eq_ignore_ascii_case("pound")
}

/// Whether the pounds at this token are money: `pounds per tonne`, `pounds a tonne`.
pub(crate) fn is_sterling(scan: &Scan<'_>, at: usize) -> bool {
    let joined = scan.kind(at + 1) == Some(Kind::Slash) || scan.is(at + 1, Use::Per);
    // `2,000 pounds per ton`, `pounds a piece` are masses.
    let counted =
        at.checked_sub(1).is_some_and(|before| matches!(scan.kind(before), Some(Kind::Number | Kind::Fact)));
    let per_mass =
        || unit_words(scan, at + 2).is_some_and(|(unit, _)| unit != UnitText::Unit(PriceUnit::Each));
    is_pounds(scan.word(at)) && joined && !counted && per_mass()
}

/// The unit that so many of another are: `100 kg`, `2000 lb`.
fn multiple(times: &str, unit: PriceUnit) -> Option<PriceUnit> {
    let PriceUnit::Mass(mass) = unit else { return (times == "1").then_some(unit) };
    let digits: String = times.chars().filter(char::is_ascii_digit).collect();
    Some(PriceUnit::Mass(match (digits.as_str(), mass) {
        ("1", mass) => mass,
        ("100", MassUnit::Pound) => MassUnit::Hundredweight,
        ("100", MassUnit::Kilogram) => MassUnit::HundredKilograms,
        ("1000", MassUnit::Kilogram) => MassUnit::Tonne,
        ("2000", MassUnit::Pound) => MassUnit::ShortTon,
        ("2240", MassUnit::Pound) => MassUnit::GrossTon,
        _ => return None,
    }))
}
