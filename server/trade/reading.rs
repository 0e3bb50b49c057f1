//! What a person means by a reading typed off a scale.
//!
//! A pound-and-ounce scale is misread all the time: it shows `2 5`, the hand types `2.5`, and three ounces are gone.
//! So nothing ambiguous passes silently: a reading is sure, or it is a question with its answers, or it is refused
//! with the reason.

use rust_decimal::{Decimal, dec};

use crate::fraction;
use crate::mass::{HEAVIEST_GRAMS, Mass, MassStyle, MassUnit, round};

/// One thing a reading can mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meaning {
    pub mass: Mass,
    /// The meaning spelled so that reading it again gives the same mass: `2 lb 5 oz`, `1.2 kg`.
    pub spelled: String,
}

impl Meaning {
    /// The mass in pounds and ounces and in kilograms, as the echo shows it.
    pub fn both_forms(&self) -> [String; 2] {
        [MassStyle::PoundsOunces.show(self.mass), MassStyle::Kilograms.show(self.mass)]
    }
}

/// The outcome of reading what was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reading {
    /// It means one thing. `else_meant` holds what the scale may have shown instead (a decimal pound entry typed for
    /// pounds and ounces), to be offered beside the echo.
    Sure { meaning: Meaning, else_meant: Vec<Meaning> },
    /// It may mean several things, and the person has to say which.
    Ask { why: String, meanings: Vec<Meaning> },
}

/// Why a reading is refused. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReadingError {
    #[error("Type what the scale shows, for example 2 lb 5 oz, 37 oz or 1.2 kg.")]
    Empty,
    #[error(
        "“{0}” does not read as a weight. Type it as the scale shows it, for example 2 lb 5 oz, 37 oz or 1.2 kg."
    )]
    NotAWeight(String),
    #[error("{0} oz is a pound or more: with pounds in front, the ounces go up to 15.99. Was it {1}?")]
    TooManyOunces(Decimal, String),
    #[error(
        "The pounds have a decimal part and ounces follow: {0}. Type whole pounds with ounces, or decimal pounds alone."
    )]
    DecimalPoundsWithOunces(String),
    #[error("A reading cannot be below zero. To take weight off a lot, undo the weighing that was wrong.")]
    Negative,
    #[error("A reading of zero adds nothing. Check that the scale is on and shows a weight.")]
    Zero,
    #[error("That is over a thousand tonnes. Check the unit and the decimal point.")]
    TooHeavy,
}

/// Reads `2 lb 5 oz`, `2lb5`, `2.5 lb`, `37 oz`, `4.25oz`, `1,2 kg`, `450g`, `3 dwt`, `1 ozt`, or asks.
///
/// ```
/// use trade::reading::{Reading, read};
/// assert!(matches!(read("2 lb 5 oz"), Ok(Reading::Sure { .. })));
/// assert!(matches!(read("2.5"), Ok(Reading::Ask { .. })));   // 2.5 what?
/// assert!(read("2 lb 17 oz").is_err());                      // sixteen ounces are a pound
/// ```
pub fn read(typed: &str) -> Result<Reading, ReadingError> {
    let text = typed.trim();
    if text.is_empty() {
        return Err(ReadingError::Empty);
    }
    // Longer than any reading; keeps what is echoed in the error short.
    if text.chars().count() > 40 {
        return Err(ReadingError::NotAWeight(text.chars().take(40).collect::<String>() + "…"));
    }
    let not_a_weight = || ReadingError::NotAWeight(text.to_string());
    let parts = split(&fraction::as_decimals(text)).ok_or_else(not_a_weight)?;
    if parts.iter().any(|part| part.number.starts_with(['-', '−'])) {
        return Err(ReadingError::Negative);
    }
    match parts.as_slice() {
        [one] => read_one(one, text),
        [pounds, ounces] if is_pounds(pounds) && is_ounces(ounces) => {
            read_pounds_ounces(pounds, ounces, text)
        }
        _ => Err(not_a_weight()),
    }
}

/// A number as typed, with the unit word behind it.
#[derive(Debug)]
struct Part {
    number: String,
    word: String,
}

fn split(text: &str) -> Option<Vec<Part>> {
    let mut parts: Vec<Part> = Vec::new();
    for ch in text.chars() {
        let in_number = ch.is_ascii_digit() || matches!(ch, '.' | ',' | '-' | '−' | '+');
        match parts.last_mut() {
            Some(part) if in_number && part.word.is_empty() => part.number.push(ch),
            // `37 oz.` and `2 lb. 5 oz`: a full stop straight behind a unit word belongs to the word.
            Some(part) if ch == '.' && !part.word.trim().is_empty() => part.word.push(ch),
            // `2 lb, 5 oz`: so does a comma.
            Some(part) if ch == ',' && !part.word.trim().is_empty() => part.word.push(' '),
            _ if in_number => parts.push(Part { number: ch.to_string(), word: String::new() }),
            Some(part) => part.word.push(ch),
            None => return None,
        }
    }
    for part in &mut parts {
        part.word = part.word.trim().to_lowercase();
    }
    Some(parts)
}

fn is_pounds(part: &Part) -> bool {
    MassUnit::from_word(&part.word) == Some(MassUnit::Pound)
}

fn is_ounces(part: &Part) -> bool {
    part.word.is_empty() || MassUnit::from_word(&part.word) == Some(MassUnit::Ounce)
}

fn read_one(part: &Part, text: &str) -> Result<Reading, ReadingError> {
    let numbers = number(&part.number).ok_or_else(|| ReadingError::NotAWeight(text.to_string()))?;
    if part.word.is_empty() {
        return ask_for_unit(&numbers, &part.number, text);
    }
    let unit = MassUnit::from_word(&part.word).ok_or_else(|| ReadingError::NotAWeight(text.to_string()))?;
    let mut meanings = numbers.iter().map(|n| meaning(*n, unit)).collect::<Result<Vec<_>, _>>()?;
    if meanings.len() > 1 {
        let why = format!("{} could be a decimal comma or a thousands mark.", part.number);
        return Ok(Reading::Ask { why, meanings });
    }
    let meaning = meanings.remove(0);
    let else_meant = match unit {
        MassUnit::Pound => digits_as_ounces(&part.number).into_iter().collect(),
        _ => Vec::new(),
    };
    Ok(Reading::Sure { meaning, else_meant })
}

fn read_pounds_ounces(pounds: &Part, ounces: &Part, text: &str) -> Result<Reading, ReadingError> {
    let not_a_weight = || ReadingError::NotAWeight(text.to_string());
    let one = |part: &Part| match number(&part.number).as_deref() {
        Some([n]) => Some(*n),
        _ => None,
    };
    let lb = one(pounds).ok_or_else(not_a_weight)?;
    let oz = one(ounces).ok_or_else(not_a_weight)?;
    if !lb.fract().is_zero() {
        return Err(ReadingError::DecimalPoundsWithOunces(text.to_string()));
    }
    if oz >= dec!(16) {
        let carried = spell_pounds_ounces(lb + (oz / dec!(16)).floor(), oz % dec!(16));
        return Err(ReadingError::TooManyOunces(oz.normalize(), carried));
    }
    let mass = checked(bounded(lb, MassUnit::Pound)? + bounded(oz, MassUnit::Ounce)?)?;
    let meaning = Meaning { mass, spelled: spell_pounds_ounces(lb, oz) };
    Ok(Reading::Sure { meaning, else_meant: Vec::new() })
}

/// A bare number: the unit has to be said. `2.5` may also be two pounds five ounces typed with a point.
fn ask_for_unit(numbers: &[Decimal], typed: &str, text: &str) -> Result<Reading, ReadingError> {
    let mut meanings = Vec::new();
    for n in numbers {
        meanings.push(meaning(*n, MassUnit::Pound)?);
        if *n == numbers[0] {
            meanings.extend(digits_as_ounces(typed));
        }
        for unit in [MassUnit::Ounce, MassUnit::Kilogram, MassUnit::Gram] {
            meanings.push(meaning(*n, unit)?);
        }
    }
    Ok(Reading::Ask { why: format!("{text} of what? The reading has no unit."), meanings })
}

/// What the digits of `2.5` mean when the point stands for the gap between pounds and ounces: 2 lb 5 oz.
fn digits_as_ounces(typed: &str) -> Option<Meaning> {
    let (pounds, ounces) = typed.split_once(['.', ','])?;
    let lb = pounds.parse::<Decimal>().ok()?;
    let oz = ounces.parse::<Decimal>().ok()?;
    if ounces.len() > 2 || oz.is_zero() || oz >= dec!(16) {
        return None;
    }
    let mass = checked(Mass::of(lb, MassUnit::Pound) + Mass::of(oz, MassUnit::Ounce)).ok()?;
    Some(Meaning { mass, spelled: spell_pounds_ounces(lb, oz) })
}

fn meaning(number: Decimal, unit: MassUnit) -> Result<Meaning, ReadingError> {
    let mass = checked(bounded(number, unit)?)?;
    Ok(Meaning { mass, spelled: format!("{} {}", number.normalize(), unit.code()) })
}

/// `number` of `unit`; the number is bounded first, so that none that can be typed overflows the multiplication.
fn bounded(number: Decimal, unit: MassUnit) -> Result<Mass, ReadingError> {
    if number > HEAVIEST_GRAMS * dec!(1000) {
        Err(ReadingError::TooHeavy)
    } else {
        Ok(Mass::of(number, unit))
    }
}

/// A reading is the mass that the ledger will keep. Otherwise the same bag read twice would differ by a trace that
/// nobody sees, and "all of it" would not be all of it.
fn checked(mass: Mass) -> Result<Mass, ReadingError> {
    let mass = mass.as_kept();
    if mass.is_zero() {
        Err(ReadingError::Zero)
    } else if mass.grams() > HEAVIEST_GRAMS {
        Err(ReadingError::TooHeavy)
    } else {
        Ok(mass)
    }
}

fn spell_pounds_ounces(lb: Decimal, oz: Decimal) -> String {
    format!("{} lb {} oz", lb.normalize(), oz.normalize())
}

/// A mass spelled so that reading it gives the same mass again: what stands in a field that opens to be changed.
/// [`MassStyle::show`] rounds, and a form filled by it would change what it only meant to show.
///
/// ```
/// use trade::mass::{Mass, MassStyle};
/// use trade::reading::spell;
/// let tare = Mass::from_grams(rust_decimal::dec!(20));
/// assert_eq!(MassStyle::PoundsOunces.show(tare), "0.7 oz");
/// assert_eq!(spell(tare, MassStyle::PoundsOunces), "20 g");
/// ```
pub fn spell(mass: Mass, style: MassStyle) -> String {
    let spelled = match style {
        MassStyle::PoundsOunces => {
            let ounces = round(mass.in_unit(MassUnit::Ounce), 2);
            let pounds = (ounces / dec!(16)).floor();
            if pounds.is_zero() {
                format!("{} oz", ounces.normalize())
            } else {
                spell_pounds_ounces(pounds, ounces % dec!(16))
            }
        }
        MassStyle::Kilograms if mass < Mass::of(dec!(1), MassUnit::Kilogram) => grams(mass),
        MassStyle::Kilograms => format!("{} kg", mass.in_unit(MassUnit::Kilogram).normalize()),
    };
    let reads_back = match read(&spelled) {
        Ok(Reading::Sure { meaning, .. }) => meaning.mass == mass,
        Err(ReadingError::Zero) => mass.is_zero(),
        _ => false,
    };
    if reads_back { spelled } else { grams(mass) }
}

fn grams(mass: Mass) -> String {
    format!("{} g", mass.grams().normalize())
}

/// The numbers that a run of digits and marks can stand for: one, or two where a comma is ambiguous (`1,250`).
fn number(typed: &str) -> Option<Vec<Decimal>> {
    let typed = typed.trim_start_matches('+');
    let commas = typed.matches(',').count();
    let points = typed.matches('.').count();
    let plain = |s: &str| -> Option<Decimal> {
        let s = if s.starts_with('.') { format!("0{s}") } else { s.to_string() };
        let s = s.strip_suffix('.').unwrap_or(&s);
        if s.is_empty() { None } else { s.parse().ok() }
    };
    match (commas, points) {
        (0, 0 | 1) => Some(vec![plain(typed)?]),
        (1, 0) => {
            let (whole, rest) = typed.split_once(',')?;
            let decimal = plain(&typed.replace(',', "."))?;
            if rest.len() == 3 && (1..=3).contains(&whole.len()) && whole != "0" {
                Some(vec![decimal, plain(&typed.replace(',', ""))?])
            } else {
                Some(vec![decimal])
            }
        }
        // `1,250.5` and `1.250,5`: thousands first, then the decimals behind the other mark.
        (_, 1) if typed.rfind(',') < typed.find('.') => Some(vec![plain(&grouped(typed, ',', '.')?)?]),
        (1, _) => Some(vec![plain(&grouped(typed, '.', ',')?)?]),
        _ => None,
    }
}

/// A number whose thousands are in groups by `mark`, without them and with a point before its decimals.
fn grouped(typed: &str, mark: char, decimal: char) -> Option<String> {
    let (whole, rest) = typed.split_once(decimal)?;
    let mut groups = whole.split(mark);
    let first = groups.next()?;
    let well_formed = (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3);
    let plain_rest = rest.bytes().all(|digit| digit.is_ascii_digit());
    (well_formed && plain_rest).then(|| format!("{}.{rest}", whole.replace(mark, "")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Reads `typed` and writes the outcome as a line of text.
    fn outcome(typed: &str) -> String {
        let list = |ms: &[Meaning]| ms.iter().map(|m| m.spelled.clone()).collect::<Vec<_>>().join(" | ");
        match read(typed) {
            Ok(Reading::Sure { meaning, else_meant }) if else_meant.is_empty() => meaning.spelled,
            Ok(Reading::Sure { meaning, else_meant }) => {
                format!("{} (or {})", meaning.spelled, list(&else_meant))
            }
            Ok(Reading::Ask { meanings, .. }) => format!("ask: {}", list(&meanings)),
            Err(error) => format!("refused: {error}"),
        }
    }

    #[test]
    fn every_spelling_of_the_bench_is_read() {
        for (typed, expected) in [
            ("2 lb 5 oz", "2 lb 5 oz"),
            ("2lb5", "2 lb 5 oz"),
            ("2 LBS. 5 OZ.", "2 lb 5 oz"),
            ("2 pounds 5", "2 lb 5 oz"),
            ("0 lb 5.5 oz", "0 lb 5.5 oz"),
            ("37 oz", "37 oz"),
            ("4.25oz", "4.25 oz"),
            (".5 oz", "0.5 oz"),
            ("1,2 kg", "1.2 kg"),
            ("450g", "450 g"),
            ("3 dwt", "3 dwt"),
            ("1 ozt", "1 ozt"),
            ("2 troy oz", "2 ozt"),
            ("1,250.5 g", "1250.5 g"),
            ("1.250,5 g", "1250.5 g"),
            ("1.250.000,5 g", "1250000.5 g"),
            ("2½ lb", "2.5 lb"),
            ("2 lb 5 1/2 oz", "2 lb 5.5 oz"),
            ("12 lb", "12 lb"),
            // A decimal pound entry is taken, and what the scale may have shown stands beside it.
            ("2.5 lb", "2.5 lb (or 2 lb 5 oz)"),
            ("2.12 lb", "2.12 lb (or 2 lb 12 oz)"),
            ("2.75 lb", "2.75 lb"),
        ] {
            assert_eq!(outcome(typed), expected, "typed: {typed}");
        }
    }

    #[test]
    fn what_can_mean_two_things_is_asked() {
        assert_eq!(outcome("2.5"), "ask: 2.5 lb | 2 lb 5 oz | 2.5 oz | 2.5 kg | 2.5 g");
        assert_eq!(outcome("12"), "ask: 12 lb | 12 oz | 12 kg | 12 g");
        assert_eq!(outcome("1,250 g"), "ask: 1.25 g | 1250 g");
    }

    #[test]
    fn what_cannot_be_is_refused_with_the_reason() {
        for (typed, part) in [
            ("", "Type what the scale shows"),
            ("2 lb 16 oz", "Was it 3 lb 0 oz?"),
            ("2lb17.5", "Was it 3 lb 1.5 oz?"),
            ("2.5 lb 3 oz", "decimal part and ounces"),
            ("-4 oz", "below zero"),
            ("0 lb 0 oz", "zero adds nothing"),
            ("99999999999 kg", "thousand tonnes"),
            ("9999999999999999999999999999 lb 5 oz", "thousand tonnes"),
            ("9999999999999999999999999999.5", "thousand tonnes"),
            ("999999999999999999999999999999999999 lb", "does not read as a weight"),
            ("heavy", "does not read"),
            ("2 ton", "does not read"),
            ("1.2.3 lb", "does not read"),
            ("1.5,3 lb", "does not read"),
            ("1,2.5,3 lb", "does not read"),
            ("2.5 1/2 lb", "does not read"),
            ("2 oz 5 lb", "does not read"),
        ] {
            let said = outcome(typed);
            assert!(said.starts_with("refused") && said.contains(part), "typed: {typed}, said: {said}");
        }
    }

    #[test]
    fn a_mass_is_spelled_in_the_shops_style_where_that_is_exact() {
        use MassStyle::{Kilograms, PoundsOunces};
        for (typed, style, spelled) in [
            ("3.5 oz", PoundsOunces, "3.5 oz"),
            ("37 oz", PoundsOunces, "2 lb 5 oz"),
            ("1.2 kg", PoundsOunces, "1200 g"),
            ("1.2 kg", Kilograms, "1.2 kg"),
            ("450 g", Kilograms, "450 g"),
            ("2 lb", Kilograms, "907.18474 g"),
        ] {
            let Ok(Reading::Sure { meaning, .. }) = read(typed) else { panic!("{typed}") };
            assert_eq!(spell(meaning.mass, style), spelled, "{typed}");
        }
        assert_eq!(spell(Mass::ZERO, PoundsOunces), "0 oz");
    }

    proptest! {
        /// A mass that was read is a mass that the ledger can keep.
        #[test]
        fn what_is_read_is_what_is_kept(oz in 1u32..1_000_000) {
            let typed = format!("{} oz", Decimal::new(oz.into(), 3));
            let Ok(Reading::Sure { meaning, .. }) = read(&typed) else { panic!("{typed}") };
            prop_assert_eq!(Mass::from_micrograms(meaning.mass.micrograms()), meaning.mass);
        }

        /// A mass spelled into a field and read from it again is the same mass.
        #[test]
        fn what_is_spelled_into_a_field_reads_back(micrograms in 1i64..1_000_000_000_000_000, in_kilograms: bool) {
            let style = if in_kilograms { MassStyle::Kilograms } else { MassStyle::PoundsOunces };
            let mass = Mass::from_micrograms(micrograms);
            let spelled = spell(mass, style);
            let Ok(Reading::Sure { meaning, .. }) = read(&spelled) else { panic!("{spelled}") };
            prop_assert_eq!(meaning.mass, mass);
        }

        /// Spelling a meaning and reading it again gives the same mass.
        #[test]
        fn spelled_reads_back(lb in 0u32..5000, oz in 0u32..1600) {
            prop_assume!(lb + oz > 0);
            let typed = format!("{lb} lb {} oz", Decimal::new(oz.into(), 2));
            let Ok(Reading::Sure { meaning, .. }) = read(&typed) else { panic!("{typed}") };
            let Ok(Reading::Sure { meaning: again, .. }) = read(&meaning.spelled) else { panic!("{}", meaning.spelled) };
            prop_assert_eq!(meaning, again);
        }

        #[test]
        fn no_text_panics(typed in ".{0,60}") {
            let _ = read(&typed);
        }
    }
}
