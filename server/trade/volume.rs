//! Volumes and sizes, for boxes and for what is packed into them.

use std::ops::Add;

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use crate::mass::Mass;

/// Millimetres in an inch, exactly (NIST SP 811).
pub const MM_PER_INCH: Decimal = dec!(25.4);

/// A volume in exact cubic centimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Volume(Decimal);

impl Volume {
    pub const ZERO: Volume = Volume(Decimal::ZERO);

    pub const fn from_cm3(cm3: Decimal) -> Self {
        Volume(cm3)
    }

    pub const fn cm3(self) -> Decimal {
        self.0
    }

    pub fn litres(self) -> Decimal {
        self.0 / dec!(1000)
    }
}

impl Add for Volume {
    type Output = Volume;
    fn add(self, other: Volume) -> Volume {
        Volume(self.0 + other.0)
    }
}

impl std::iter::Sum for Volume {
    fn sum<I: Iterator<Item = Volume>>(volumes: I) -> Volume {
        volumes.fold(Volume::ZERO, Add::add)
    }
}

/// Grams per cubic centimetre as the pieces lie loose in a bag: packing needs this, not the metal's own density.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BulkDensity(Decimal);

impl BulkDensity {
    /// Circuit boards thrown loose into a bag, for a grade that nothing better is known of. Common practice, no source.
    pub const LOOSE_BOARDS: BulkDensity = BulkDensity(dec!(0.3));

    /// `None` unless it lies between 0.001 (foam) and 25 g/cm3 (nothing is denser).
    pub fn new(grams_per_cm3: Decimal) -> Option<Self> {
        (dec!(0.001)..=dec!(25)).contains(&grams_per_cm3).then_some(BulkDensity(grams_per_cm3))
    }

    pub const fn get(self) -> Decimal {
        self.0
    }

    pub fn volume_of(self, mass: Mass) -> Volume {
        Volume(mass.grams() / self.0)
    }
}

/// Length, width and height in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Size {
    pub length: Decimal,
    pub width: Decimal,
    pub height: Decimal,
}

impl Size {
    pub fn mm(length: impl Into<Decimal>, width: impl Into<Decimal>, height: impl Into<Decimal>) -> Self {
        Size { length: length.into(), width: width.into(), height: height.into() }
    }

    pub fn inches(length: Decimal, width: Decimal, height: Decimal) -> Self {
        Size { length: length * MM_PER_INCH, width: width * MM_PER_INCH, height: height * MM_PER_INCH }
    }

    pub fn volume(self) -> Volume {
        Volume(self.length * self.width * self.height / dec!(1000))
    }

    /// Whether all three sides are there, and none beyond 100 m.
    pub fn is_box(self) -> bool {
        self.sides().into_iter().all(|mm| mm > Decimal::ZERO && mm <= dec!(100_000))
    }

    /// The longest side first.
    pub fn sides(self) -> [Decimal; 3] {
        let mut sides = [self.length, self.width, self.height];
        sides.sort_by(|a, b| b.cmp(a));
        sides
    }

    /// Longest side plus the girth around the other two, as carriers limit it.
    pub fn length_plus_girth(self) -> Decimal {
        let [length, width, height] = self.sides();
        length + dec!(2) * (width + height)
    }
}
