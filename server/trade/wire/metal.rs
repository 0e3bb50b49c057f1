//! What a wire is made of, told by a scratch and a magnet, or by weighing it in water.

use rust_decimal::{Decimal, dec};

use crate::mass::Mass;

/// What conductors are made of, and what is taken for them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Metal {
    Copper,
    Aluminium,
    CopperCladAluminium,
    CopperCladSteel,
    Steel,
    Brass,
}

impl Metal {
    pub const ALL: [Metal; 6] = [
        Metal::Copper,
        Metal::Aluminium,
        Metal::CopperCladAluminium,
        Metal::CopperCladSteel,
        Metal::Steel,
        Metal::Brass,
    ];

    /// In g/cm3 at 20 °C: what lengths are weighed with.
    pub const fn density(self) -> Decimal {
        match self {
            Metal::Copper => super::COPPER_DENSITY,
            Metal::Aluminium => dec!(2.70),
            // A tenth of copper by volume; from memory (ASTM B566, class 10A).
            Metal::CopperCladAluminium => dec!(3.32),
            // 40 % of copper's conductivity; from memory (ASTM B869).
            Metal::CopperCladSteel => dec!(8.24),
            Metal::Steel => dec!(7.85),
            Metal::Brass => dec!(8.5),
        }
    }

    /// Within which its density lies, alloys and makes taken together.
    const fn range(self) -> (Decimal, Decimal) {
        match self {
            Metal::Copper => (dec!(8.89), dec!(8.96)),
            Metal::Aluminium => (dec!(2.64), dec!(2.80)),
            Metal::CopperCladAluminium => (dec!(3.2), dec!(4.0)),
            Metal::CopperCladSteel => (dec!(7.95), dec!(8.35)),
            Metal::Steel => (dec!(7.75), dec!(7.90)),
            Metal::Brass => (dec!(8.40), dec!(8.73)),
        }
    }

    pub const fn name(self) -> &'static str {
        match self {
            Metal::Copper => "copper",
            Metal::Aluminium => "aluminium",
            Metal::CopperCladAluminium => "aluminium with a copper skin",
            Metal::CopperCladSteel => "steel with a copper skin",
            Metal::Steel => "steel",
            Metal::Brass => "brass",
        }
    }
}

/// What a knife finds at a cut end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scratch {
    RedThrough,
    /// Red outside, silver-white inside.
    RedSkin,
    /// Silver-white outside, red inside: tinned.
    WhiteSkin,
    WhiteThrough,
    YellowThrough,
}

/// What scratch and magnet tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Told {
    pub metal: Metal,
    pub tinned: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotTold {
    #[error(
        "Red or yellow right through does not pull to a magnet. Look for a steel strand or a steel core, and scratch again."
    )]
    Contradicts,
    #[error("The piece weighs nothing. Weigh it dry, in air, first.")]
    NoMass,
    #[error(
        "The water shows no more weight with the piece hanging in it. Take a larger piece, wholly under water and off the bottom."
    )]
    NoWater,
    #[error(
        "It would be lighter than water or heavier than any metal. Weigh both again: the piece alone, and what the scale gains while it hangs in the water."
    )]
    NoMetal,
}

/// Common practice: copper and brass are red and yellow right through, aluminium silver-white; a skin shows what is under it;
/// only steel pulls.
pub fn told_by_scratch(scratch: Scratch, pulls: bool) -> Result<Told, NotTold> {
    let metal = match (scratch, pulls) {
        (Scratch::RedThrough | Scratch::WhiteSkin, false) => Metal::Copper,
        (Scratch::RedSkin, false) => Metal::CopperCladAluminium,
        (Scratch::WhiteThrough, false) => Metal::Aluminium,
        (Scratch::YellowThrough, false) => Metal::Brass,
        (Scratch::RedSkin, true) => Metal::CopperCladSteel,
        (Scratch::WhiteThrough, true) => Metal::Steel,
        (Scratch::RedThrough | Scratch::WhiteSkin | Scratch::YellowThrough, true) => {
            return Err(NotTold::Contradicts);
        }
    };
    Ok(Told { metal, tinned: scratch == Scratch::WhiteSkin })
}

/// Water at 20 °C, g/cm3 (published tables: 0.9982).
const WATER_DENSITY: Decimal = dec!(0.9982);

/// A bare piece that was weighed, and then hung in a cup of water on the scale: what the scale gains is the water that it
/// displaces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Displacement {
    /// g/cm3, from the readings as they are.
    pub density: Decimal,
    /// Within which it lies, the scale being off by half a step at each reading.
    pub low: Decimal,
    pub high: Decimal,
    /// Metals that it may be; several where the piece was too small to tell.
    pub metals: Vec<Metal>,
}

pub fn told_by_water(dry: Mass, gained: Mass, step: Mass) -> Result<Displacement, NotTold> {
    if !dry.is_positive() {
        return Err(NotTold::NoMass);
    }
    if !gained.is_positive() {
        return Err(NotTold::NoWater);
    }
    let half = step.grams().max(Decimal::ZERO) / dec!(2);
    let (dry, gained) = (dry.grams(), gained.grams());
    let of = |dry: Decimal, gained: Decimal| {
        dry.checked_div(gained).and_then(|ratio| ratio.checked_mul(WATER_DENSITY)).unwrap_or(Decimal::MAX)
    };
    let density = of(dry, gained);
    if density < dec!(1) || density > dec!(25) {
        return Err(NotTold::NoMetal);
    }
    let low = of((dry - half).max(Decimal::ZERO), gained + half);
    let high = if gained > half { of(dry + half, gained - half) } else { Decimal::MAX };
    let metals = Metal::ALL.into_iter().filter(|metal| {
        let (least, most) = metal.range();
        high >= least * (dec!(1) - BUBBLES) && low <= most * (dec!(1) + BUBBLES)
    });
    Ok(Displacement { density, low, high, metals: metals.collect() })
}

/// How far bubbles and the hanging thread put a careful reading off; common practice, no source.
const BUBBLES: Decimal = dec!(0.005);
