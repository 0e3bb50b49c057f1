//! How much of a cable is conductor, from what it is made of.
//!
//! What is not conductor is plastic, paper and air. With the walls measured, the plastic is at least the walls and at most
//! everything; without them the least is a share of it that published cables have. So a recovery comes as three: the lowest
//! it can be, the likeliest, and the highest.

use rust_decimal::{Decimal, MathematicalOps, dec};

use super::{Gauge, Metal, NoRecovery, THICKEST_MM, circle};
use crate::money::Share;

/// How thick one conductor is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// As printed on it: stranded wire of a gauge holds the metal of that gauge.
    Gauge(Gauge),
    /// As printed on it, in mm2.
    Area(Decimal),
    /// As counted and measured.
    Strands { count: u32, diameter_mm: Decimal },
}

impl Size {
    pub fn area_mm2(self) -> Decimal {
        match self {
            Size::Gauge(gauge) => gauge.area_mm2(),
            Size::Area(area) => area,
            Size::Strands { count, diameter_mm } => circle(diameter_mm) * Decimal::from(count),
        }
    }
}

/// The outside of a cable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outside {
    Round {
        diameter_mm: Decimal,
    },
    /// A strip with round edges.
    Flat {
        width_mm: Decimal,
        height_mm: Decimal,
    },
}

impl Outside {
    fn area_mm2(self) -> Decimal {
        match self {
            Outside::Round { diameter_mm } => circle(diameter_mm),
            Outside::Flat { width_mm, height_mm } => {
                let (width, height) = (width_mm.max(height_mm), width_mm.min(height_mm));
                circle(height) + (width - height) * height
            }
        }
    }

    /// What lies inside of a sheath so thick.
    fn within(self, wall_mm: Decimal) -> Outside {
        let less = |side: Decimal| (side - wall_mm * dec!(2)).max(Decimal::ZERO);
        match self {
            Outside::Round { diameter_mm } => Outside::Round { diameter_mm: less(diameter_mm) },
            Outside::Flat { width_mm, height_mm } => {
                Outside::Flat { width_mm: less(width_mm), height_mm: less(height_mm) }
            }
        }
    }

    fn sides(self) -> [Decimal; 2] {
        match self {
            Outside::Round { diameter_mm } => [diameter_mm, diameter_mm],
            Outside::Flat { width_mm, height_mm } => [width_mm, height_mm],
        }
    }
}

/// What insulation and sheath are made of. Densities are from memory; PVC depends on its compound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plastic {
    Pvc,
    Polyethylene,
    Rubber,
    Teflon,
}

impl Plastic {
    pub const ALL: [Plastic; 4] = [Plastic::Pvc, Plastic::Polyethylene, Plastic::Rubber, Plastic::Teflon];

    pub const fn code(self) -> &'static str {
        match self {
            Plastic::Pvc => "pvc",
            Plastic::Polyethylene => "polyethylene",
            Plastic::Rubber => "rubber",
            Plastic::Teflon => "ptfe",
        }
    }

    /// The lightest, the usual and the heaviest, in g/cm3.
    const fn densities(self) -> [Decimal; 3] {
        match self {
            Plastic::Pvc => [dec!(1.20), dec!(1.35), dec!(1.50)],
            Plastic::Polyethylene => [dec!(0.91), dec!(0.93), dec!(0.97)],
            Plastic::Rubber => [dec!(1.15), dec!(1.35), dec!(1.55)],
            Plastic::Teflon => [dec!(2.13), dec!(2.17), dec!(2.20)],
        }
    }
}

/// How thick the plastic is: over each core, and around all of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Walls {
    pub insulation_mm: Decimal,
    pub sheath_mm: Decimal,
}

/// A cable as it can be measured with a calliper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Make {
    pub metal: Metal,
    pub size: Size,
    pub stranded: bool,
    /// Conductors in insulation of their own.
    pub cores: u32,
    /// Bare conductors of the same size beside them, as the ground of house cable.
    pub bare: u32,
    pub outside: Outside,
    pub plastic: Plastic,
    /// `None` where nobody has cut it open.
    pub walls: Option<Walls>,
}

/// The share of a cable that is conductor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Recovery {
    pub low: Share,
    pub likely: Share,
    pub high: Share,
    /// What a metre of the cable weighs, likely.
    pub grams_per_metre: Decimal,
}

/// Strands run around each other, so that a metre of cable holds more than a metre of each. ASTM B8 counts 2 % (from memory);
/// the published table of building wire that the tests read has 2 to 3 %.
const LAY: Decimal = dec!(1.02);
/// How much of its bundle a stranded conductor fills: seven strands 7/9, nineteen 19/25, thirty-seven 37/49.
const BUNDLE_FILL: Decimal = dec!(0.76);
/// The least part of what is not conductor that is plastic, where there are several cores and nobody has measured: of the
/// seven published house cables in the tests, walls make up 0.60 to 0.67.
const LEAST_PLASTIC: Decimal = dec!(0.6);

impl Make {
    pub fn recovery(&self) -> Result<Recovery, NoRecovery> {
        let conductors = self.cores.checked_add(self.bare).filter(|all| (1..=10_000).contains(all));
        let conductors = Decimal::from(conductors.ok_or(NoRecovery::NoConductor)?);
        let area = self.size.area_mm2();
        if area <= Decimal::ZERO || self.outside.sides().iter().any(|side| *side <= Decimal::ZERO) {
            return Err(NoRecovery::NotASize);
        }
        if area > circle(THICKEST_MM) || self.outside.sides().iter().any(|side| *side > THICKEST_MM) {
            return Err(NoRecovery::NotASize);
        }
        let rest = self.outside.area_mm2() - area * conductors;
        if rest < Decimal::ZERO {
            return Err(NoRecovery::CopperLargerThanCable);
        }
        let bundle = if self.stranded { area / BUNDLE_FILL } else { area };
        // Plastic may be pressed between the strands, or leave air there.
        let around = (self.outside.area_mm2() - bundle * conductors).max(Decimal::ZERO);
        let least = self.least_plastic(bundle, around)?;
        let lay = if self.stranded { LAY } else { Decimal::ONE };
        let metal = area * conductors * self.metal.density() * lay;
        let [light, usual, heavy] = self.plastic.densities();
        let likely = metal + (least + rest) / dec!(2) * usual;
        let share = |whole: Decimal| {
            Share::new((metal / whole).round_dp(6)).map_err(|_| NoRecovery::CopperLargerThanCable)
        };
        Ok(Recovery {
            low: share(metal + rest * heavy)?,
            likely: share(likely)?,
            high: share(metal + least * light)?,
            grams_per_metre: likely,
        })
    }

    /// The least plastic there can be `around` the bundles of strands, in mm2.
    fn least_plastic(&self, bundle: Decimal, around: Decimal) -> Result<Decimal, NoRecovery> {
        let Some(walls) = self.walls else {
            let is_single = self.cores + self.bare == 1;
            return Ok(if is_single { around } else { around * LEAST_PLASTIC });
        };
        if walls.insulation_mm < Decimal::ZERO || walls.sheath_mm < Decimal::ZERO {
            return Err(NoRecovery::NotASize);
        }
        let thickest = self.outside.sides().into_iter().min().unwrap_or_default() / dec!(2);
        if walls.insulation_mm + walls.sheath_mm > thickest {
            return Err(NoRecovery::WallsThickerThanCable);
        }
        let bundle_mm = (bundle * dec!(4) / Decimal::PI).sqrt().unwrap_or_default();
        let core = circle(bundle_mm + walls.insulation_mm * dec!(2)) - bundle;
        let sheath = self.outside.area_mm2() - self.outside.within(walls.sheath_mm).area_mm2();
        Ok((core * Decimal::from(self.cores) + sheath).min(around))
    }
}

/// What copper is when its jacket is off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stripped {
    /// Clean and thick: bare bright while it shines, No. 1 when it is dull.
    Bright,
    /// Thin, tinned or enamelled.
    NumberTwo,
}

/// Thinner strands than this are No. 2: the published specifications' older text, 16 B&S gauge; since 2017 as agreed.
pub const THINNEST_NUMBER_ONE: i8 = 16;

/// What stripping gives. Common practice: bare, uncoated copper, strand by strand not thinner than 16 AWG, is No. 1.
///
/// `strand_mm` is the thickness of one strand, or of the wire where it is solid.
pub fn stripped_as(strand_mm: Decimal, coated: bool) -> Stripped {
    let thinnest = Gauge(THINNEST_NUMBER_ONE).diameter_mm();
    // A calliper shows hundredths.
    if coated || strand_mm < (thinnest - dec!(0.005)) { Stripped::NumberTwo } else { Stripped::Bright }
}

/// Which of several classes, each with its nominal recovery, a wire is sold as: the best whose recovery it reaches, a little
/// below being let pass; the lowest where it reaches none. Common practice, no source.
pub fn class_of<T>(recovery: Share, classes: impl IntoIterator<Item = (T, Share)>) -> Option<T> {
    let mut classes: Vec<(T, Share)> = classes.into_iter().collect();
    classes.sort_by_key(|(_, nominal)| nominal.get());
    let reached = |nominal: &Share| nominal.get() <= recovery.get() + LET_PASS;
    let best = classes.iter().rposition(|(_, nominal)| reached(nominal)).unwrap_or(0);
    (!classes.is_empty()).then(|| classes.swap_remove(best).0)
}

/// How far below a class's nominal recovery a wire may lie: three points; common practice, no source.
const LET_PASS: Decimal = dec!(0.03);
