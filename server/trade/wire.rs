//! Wire: what of it is copper, and whether to strip it or sell it as it is.
//!
//! Diameters follow from the gauge by an irrational power, so they are rounded at 28 digits; that is geometry. Amounts
//! are computed exactly from the masses that come of it.

pub mod cable;
pub mod metal;

use rust_decimal::{Decimal, MathematicalOps, dec};
use serde::{Deserialize, Serialize};

use crate::mass::Mass;
use crate::money::Share;

pub use cable::{Make, Outside, Plastic, Recovery, Size, Stripped, Walls, class_of, stripped_as};
pub use metal::{Displacement, Metal, NotTold, Scratch, Told, told_by_scratch, told_by_water};

/// An American wire gauge, from 0000 (written as −3) to 50.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "i8", into = "i8")]
pub struct Gauge(i8);

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{0} is not a wire gauge. Type 4/0 to 50.")]
pub struct NotAGauge(pub i8);

impl Gauge {
    /// `number` is the gauge's number; 0, −1, −2 and −3 stand for 1/0, 2/0, 3/0 and 4/0.
    ///
    /// ```
    /// use trade::wire::Gauge;
    /// assert_eq!(Gauge::new(-3).unwrap().to_string(), "4/0 AWG");
    /// assert!(Gauge::new(51).is_err());
    /// ```
    pub fn new(number: i8) -> Result<Gauge, NotAGauge> {
        if (-3..=50).contains(&number) { Ok(Gauge(number)) } else { Err(NotAGauge(number)) }
    }

    /// Reads `14`, `#14`, `14 AWG`, `4/0` and `0000`.
    pub fn read(typed: &str) -> Option<Gauge> {
        let text = typed.trim().to_lowercase();
        let text = text.trim_start_matches('#').trim_end_matches("awg").trim_end_matches("ga").trim();
        if let Some(zeros) = text.strip_suffix("/0") {
            let zeros: i8 = zeros.trim().parse().ok()?;
            return (1..=4).contains(&zeros).then(|| Gauge(1 - zeros));
        }
        if (1..=4).contains(&text.len()) && text.bytes().all(|digit| digit == b'0') {
            return i8::try_from(text.len()).ok().map(|zeros| Gauge(1 - zeros));
        }
        Gauge::new(text.parse().ok()?).ok().filter(|gauge| gauge.0 > 0)
    }

    /// In millimetres: `0.127 × 92^((36 − n) / 39)` (ASTM B258).
    pub fn diameter_mm(self) -> Decimal {
        let exponent = Decimal::from(36 - i16::from(self.0)) / dec!(39);
        dec!(0.127) * dec!(92).powd(exponent)
    }

    /// Of the bare conductor, in square millimetres.
    pub fn area_mm2(self) -> Decimal {
        circle(self.diameter_mm())
    }

    /// Copper in a length of one solid conductor, in grams per metre.
    pub fn copper_grams_per_metre(self) -> Decimal {
        self.area_mm2() * COPPER_DENSITY
    }
}

/// `14 AWG`, `4/0 AWG`.
impl std::fmt::Display for Gauge {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.0 > 0 { write!(f, "{} AWG", self.0) } else { write!(f, "{}/0 AWG", 1 - self.0) }
    }
}

impl TryFrom<i8> for Gauge {
    type Error = NotAGauge;
    fn try_from(number: i8) -> Result<Gauge, NotAGauge> {
        Gauge::new(number)
    }
}

impl From<Gauge> for i8 {
    fn from(gauge: Gauge) -> i8 {
        gauge.0
    }
}

/// Annealed electrical copper, g/cm3: the International Annealed Copper Standard's, which the handbooks' tables of
/// weights per length are made with.
pub const COPPER_DENSITY: Decimal = dec!(8.89);

/// A cable whose make is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cable {
    pub gauge: Gauge,
    /// Conductors of that gauge.
    pub conductors: u32,
    /// Over everything, in millimetres.
    pub outer_diameter_mm: Decimal,
    /// Of insulation and jacket, g/cm3: about 1.35 for PVC, 0.92 for polyethylene.
    pub jacket_density: Decimal,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoRecovery {
    #[error(
        "the outer diameter is smaller than the copper inside. Measure it over the jacket, in millimetres."
    )]
    CopperLargerThanCable,
    #[error("a cable has at least one conductor, and no more than 10,000.")]
    NoConductor,
    #[error("the jacket's density must lie between 0.5 and 3 g/cm3; PVC has about 1.35.")]
    NotAJacket,
    #[error("the stripped copper weighs more than the sample did. Weigh both again.")]
    HeavierThanSample,
    #[error("the sample weighs nothing. Weigh a length of it before stripping.")]
    NoSample,
    #[error("a size has to be above zero and below a metre. Check the unit and the decimal point.")]
    NotASize,
    #[error("insulation and sheath are thicker than half the cable. Measure one wall each, not both sides.")]
    WallsThickerThanCable,
}

impl Cable {
    /// The share of the mass that is copper, if what is not copper is jacket: for round cable without filler, air or
    /// screen. Flat cable and cord with filler come out too low or too high, so a weighed sample is better.
    ///
    /// Stranded wire of a gauge holds the copper of that gauge; its bundle is only thicker.
    pub fn recovery(self) -> Result<Share, NoRecovery> {
        if !(1..=10_000).contains(&self.conductors) {
            return Err(NoRecovery::NoConductor);
        }
        if !(dec!(0.5)..=dec!(3)).contains(&self.jacket_density) {
            return Err(NoRecovery::NotAJacket);
        }
        let copper_area = self.gauge.area_mm2() * Decimal::from(self.conductors);
        let jacket_area = circle(self.outer_diameter_mm.clamp(Decimal::ZERO, THICKEST_MM)) - copper_area;
        if jacket_area < Decimal::ZERO {
            return Err(NoRecovery::CopperLargerThanCable);
        }
        let copper = copper_area * COPPER_DENSITY;
        let share = copper / (copper + jacket_area * self.jacket_density);
        Share::new(share.round_dp(6)).map_err(|_| NoRecovery::CopperLargerThanCable)
    }
}

/// The share of copper of a sample that was weighed before and after it was stripped.
pub fn recovery_of_sample(whole: Mass, stripped: Mass) -> Result<Share, NoRecovery> {
    if !whole.is_positive() || stripped.is_negative() {
        return Err(NoRecovery::NoSample);
    }
    if stripped > whole {
        return Err(NoRecovery::HeavierThanSample);
    }
    Share::new(stripped.grams() / whole.grams()).map_err(|_| NoRecovery::HeavierThanSample)
}

/// Two ways to sell a lot of insulated wire. Prices are net of everything, per gram and in home currency; the jackets
/// bring nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StripOrSell {
    pub mass: Mass,
    pub recovery: Share,
    pub insulated_per_gram: Decimal,
    pub bare_per_gram: Decimal,
    /// Of stripping the whole lot: minutes × labour rate.
    pub labour: Decimal,
}

impl StripOrSell {
    pub fn as_it_is(&self) -> Decimal {
        self.insulated_per_gram * self.mass.grams()
    }

    pub fn stripped(&self) -> Decimal {
        self.bare_per_gram * self.mass.grams() * self.recovery.get() - self.labour
    }

    /// What stripping gains; negative where the wire is better sold as it is.
    pub fn gain(&self) -> Decimal {
        self.stripped() - self.as_it_is()
    }

    /// The recovery from which stripping pays; `None` where even bare copper would not pay for the work.
    pub fn break_even_recovery(&self) -> Option<Share> {
        let all_copper = self.bare_per_gram * self.mass.grams();
        let needed = (self.as_it_is() + self.labour).checked_div(all_copper)?;
        (all_copper > Decimal::ZERO).then(|| Share::new(needed.max(Decimal::ZERO)).ok()).flatten()
    }

    /// What an hour of stripping earns, in home currency, before it is paid for.
    pub fn earned_per_hour(&self, minutes: Decimal) -> Option<Decimal> {
        let earned = self.gain() + self.labour;
        (minutes > Decimal::ZERO).then(|| earned.checked_div(minutes)?.checked_mul(dec!(60))).flatten()
    }
}

/// No cable that a person cuts is thicker: a metre.
const THICKEST_MM: Decimal = dec!(1000);

fn circle(diameter: Decimal) -> Decimal {
    Decimal::PI / dec!(4) * diameter * diameter
}
