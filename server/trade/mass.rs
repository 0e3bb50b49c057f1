//! Masses, the units they are read in, and what a person means by a reading typed off a scale.
//!
//! A mass is an exact decimal number of grams. Factors are exact: NIST SP 811 Appendix B.8 and NIST Handbook 44
//! Appendix C.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub};

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy, dec};
use serde::{Deserialize, Serialize};

/// The heaviest mass one entry may hold: a thousand tonnes. It keeps all later arithmetic far inside `Decimal`.
pub const HEAVIEST_GRAMS: Decimal = dec!(1_000_000_000);

/// A mass in exact decimal grams; negative where a ledger takes mass away.
///
/// ```
/// use trade::mass::{Mass, MassUnit};
/// let m = Mass::of(rust_decimal::dec!(1.5), MassUnit::Pound);
/// assert_eq!(m.grams(), rust_decimal::dec!(680.388555));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Mass(Decimal);

impl Mass {
    pub const ZERO: Mass = Mass(Decimal::ZERO);

    pub const fn from_grams(grams: Decimal) -> Self {
        Mass(grams)
    }

    /// `number` of `unit`.
    pub fn of(number: Decimal, unit: MassUnit) -> Self {
        Mass(number * unit.grams())
    }

    pub const fn grams(self) -> Decimal {
        self.0
    }

    /// How many of `unit` this mass is.
    pub fn in_unit(self, unit: MassUnit) -> Decimal {
        self.0 / unit.grams()
    }

    /// The mass as the ledger keeps it: whole micrograms, rounded half away from zero. No scale in a shop reads
    /// finer than a milligram, so the rounding is a thousandth of the last digit or less.
    pub fn micrograms(self) -> i64 {
        (self.0 * dec!(1_000_000))
            .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero)
            .to_i64()
            .unwrap_or(if self.0.is_sign_negative() { i64::MIN } else { i64::MAX })
    }

    /// This mass rounded as the ledger keeps it, so that what is compared, shown and kept is one mass.
    pub fn as_kept(self) -> Self {
        Mass::from_micrograms(self.micrograms())
    }

    pub fn from_micrograms(micrograms: i64) -> Self {
        Mass(Decimal::new(micrograms, 6).normalize())
    }

    pub fn is_zero(self) -> bool {
        self.0.is_zero()
    }

    pub fn is_negative(self) -> bool {
        self.0 < Decimal::ZERO
    }

    pub fn is_positive(self) -> bool {
        self.0 > Decimal::ZERO
    }

    /// This mass times a bare share or count.
    pub fn times(self, factor: Decimal) -> Self {
        Mass(self.0 * factor)
    }

    pub fn abs(self) -> Self {
        Mass(self.0.abs())
    }
}

impl Add for Mass {
    type Output = Mass;
    fn add(self, other: Mass) -> Mass {
        Mass(self.0 + other.0)
    }
}

impl AddAssign for Mass {
    fn add_assign(&mut self, other: Mass) {
        self.0 += other.0;
    }
}

impl Sub for Mass {
    type Output = Mass;
    fn sub(self, other: Mass) -> Mass {
        Mass(self.0 - other.0)
    }
}

impl Neg for Mass {
    type Output = Mass;
    fn neg(self) -> Mass {
        Mass(-self.0)
    }
}

impl Sum for Mass {
    fn sum<I: Iterator<Item = Mass>>(masses: I) -> Mass {
        masses.fold(Mass::ZERO, Add::add)
    }
}

/// A unit of mass that a scale shows or a price is quoted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum MassUnit {
    #[serde(rename = "gr")]
    Grain,
    #[serde(rename = "g")]
    Gram,
    #[serde(rename = "dwt")]
    Pennyweight,
    #[serde(rename = "oz")]
    Ounce,
    #[serde(rename = "ozt")]
    TroyOunce,
    #[serde(rename = "lb")]
    Pound,
    #[serde(rename = "kg")]
    Kilogram,
    #[serde(rename = "cwt")]
    Hundredweight,
    #[serde(rename = "100kg")]
    HundredKilograms,
    #[serde(rename = "short_ton")]
    ShortTon,
    #[serde(rename = "tonne")]
    Tonne,
    #[serde(rename = "gross_ton")]
    GrossTon,
}

impl MassUnit {
    pub const ALL: [MassUnit; 12] = [
        MassUnit::Grain,
        MassUnit::Gram,
        MassUnit::Pennyweight,
        MassUnit::Ounce,
        MassUnit::TroyOunce,
        MassUnit::Pound,
        MassUnit::Kilogram,
        MassUnit::Hundredweight,
        MassUnit::HundredKilograms,
        MassUnit::ShortTon,
        MassUnit::Tonne,
        MassUnit::GrossTon,
    ];

    /// Exact grams in one unit (NIST Handbook 44 Appendix C).
    pub const fn grams(self) -> Decimal {
        match self {
            MassUnit::Grain => dec!(0.06479891),
            MassUnit::Gram => dec!(1),
            MassUnit::Pennyweight => dec!(1.55517384),
            MassUnit::Ounce => dec!(28.349523125),
            MassUnit::TroyOunce => dec!(31.1034768),
            MassUnit::Pound => dec!(453.59237),
            MassUnit::Kilogram => dec!(1000),
            MassUnit::Hundredweight => dec!(45359.237),
            MassUnit::HundredKilograms => dec!(100_000),
            MassUnit::ShortTon => dec!(907184.74),
            MassUnit::Tonne => dec!(1_000_000),
            MassUnit::GrossTon => dec!(1016046.9088),
        }
    }

    /// The spelling used in storage and in forms.
    pub const fn code(self) -> &'static str {
        match self {
            MassUnit::Grain => "gr",
            MassUnit::Gram => "g",
            MassUnit::Pennyweight => "dwt",
            MassUnit::Ounce => "oz",
            MassUnit::TroyOunce => "ozt",
            MassUnit::Pound => "lb",
            MassUnit::Kilogram => "kg",
            MassUnit::Hundredweight => "cwt",
            MassUnit::HundredKilograms => "100kg",
            MassUnit::ShortTon => "short_ton",
            MassUnit::Tonne => "tonne",
            MassUnit::GrossTon => "gross_ton",
        }
    }

    /// The spelling shown to people.
    pub const fn label(self) -> &'static str {
        match self {
            MassUnit::Grain => "grain",
            MassUnit::TroyOunce => "troy oz",
            MassUnit::Hundredweight => "cwt (100 lb)",
            MassUnit::HundredKilograms => "100 kg",
            MassUnit::ShortTon => "short ton",
            MassUnit::GrossTon => "gross ton",
            other => other.code(),
        }
    }

    pub fn from_code(code: &str) -> Option<MassUnit> {
        Self::ALL.into_iter().find(|unit| unit.code() == code)
    }

    /// The unit that a word of ordinary writing means, in any case and with an optional full stop.
    ///
    /// `ton` alone is not here: it means three different masses, so a reader has to ask.
    pub fn from_word(word: &str) -> Option<MassUnit> {
        let word = word.trim().trim_end_matches('.');
        let means = |words: &[&str]| words.iter().any(|other| other.eq_ignore_ascii_case(word));
        Self::WORDS.iter().find(|(words, _)| means(words)).map(|(_, unit)| *unit)
    }

    /// All words that [`MassUnit::from_word`] knows.
    pub const WORDS: [(&[&str], MassUnit); 12] = [
        (&["gr", "grain", "grains"], MassUnit::Grain),
        (&["g", "gm", "gms", "gram", "grams", "gramme", "grammes"], MassUnit::Gram),
        (&["dwt", "pennyweight", "pennyweights"], MassUnit::Pennyweight),
        (&["oz", "ozs", "ounce", "ounces"], MassUnit::Ounce),
        (
            &["ozt", "oz t", "t oz", "toz", "troy oz", "oz troy", "troy ounce", "troy ounces"],
            MassUnit::TroyOunce,
        ),
        (&["lb", "lbs", "#", "pound", "pounds"], MassUnit::Pound),
        (
            &["kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes"],
            MassUnit::Kilogram,
        ),
        (&["cwt", "hundredweight", "100 lb", "100lb", "100 lbs", "100lbs"], MassUnit::Hundredweight),
        (&["100 kg", "100kg", "100 kgs", "100kgs"], MassUnit::HundredKilograms),
        (&["st", "short ton", "short_ton", "short tons", "net ton", "net tons", "nt"], MassUnit::ShortTon),
        (&["t", "mt", "tonne", "tonnes", "metric ton", "metric tons"], MassUnit::Tonne),
        (&["gt", "gross ton", "gross_ton", "gross tons", "long ton", "long tons"], MassUnit::GrossTon),
    ];
}

impl fmt::Display for MassUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.label())
    }
}

/// How the shop's screens spell a mass first; the other form stands beside it where a reading is echoed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MassStyle {
    #[default]
    PoundsOunces,
    Kilograms,
}

impl MassStyle {
    /// The unit that a price or a rate is shown per.
    pub const fn unit(self) -> MassUnit {
        match self {
            MassStyle::PoundsOunces => MassUnit::Pound,
            MassStyle::Kilograms => MassUnit::Kilogram,
        }
    }

    pub const fn other(self) -> MassStyle {
        match self {
            MassStyle::PoundsOunces => MassStyle::Kilograms,
            MassStyle::Kilograms => MassStyle::PoundsOunces,
        }
    }

    /// `2 lb 5.0 oz`, `0.7 oz`; or `1.049 kg`, `85 g`.
    ///
    /// Ounces are shown to a tenth below 100 lb and whole above; the rounding carries into the pounds, so that
    /// `15.96 oz` reads `1 lb 0.0 oz` and never `16.0 oz`.
    pub fn show(self, mass: Mass) -> String {
        let sign = if mass.is_negative() { "−" } else { "" };
        let mass = mass.abs();
        match self {
            MassStyle::PoundsOunces => {
                let places = if mass >= Mass::of(dec!(100), MassUnit::Pound) { 0 } else { 1 };
                let ounces = round(mass.in_unit(MassUnit::Ounce), places);
                let pounds = (ounces / dec!(16)).floor();
                let rest = ounces - pounds * dec!(16);
                if pounds.is_zero() {
                    format!("{sign}{rest:.places$} oz", places = places as usize)
                } else {
                    format!("{sign}{} lb {rest:.places$} oz", grouped(pounds), places = places as usize)
                }
            }
            MassStyle::Kilograms => {
                if mass < Mass::of(dec!(1), MassUnit::Kilogram) {
                    let grams = round(mass.grams(), 1).normalize();
                    if grams < dec!(1000) {
                        return format!("{sign}{grams} g");
                    }
                }
                format!("{sign}{:.3} kg", round(mass.in_unit(MassUnit::Kilogram), 3))
            }
        }
    }
}

/// Rounds half away from zero, the rule of every amount in this program.
pub(crate) fn round(number: Decimal, places: u32) -> Decimal {
    number.round_dp_with_strategy(places, RoundingStrategy::MidpointAwayFromZero)
}

fn grouped(whole: Decimal) -> String {
    let digits = whole.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}
