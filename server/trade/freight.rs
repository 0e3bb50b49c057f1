//! What a carrier charges for a parcel: billable weight, the table of weight breaks, fuel and surcharges.
//!
//! Every rule that carriers differ in (divisor, when it applies, how sides and weights are rounded) is data of the
//! service, because carriers change them from year to year.

use iso_currency::Currency;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::mass::Mass;
use crate::volume::{Size, Volume};

/// One service of a carrier, with its table for the zone the parcel goes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Service {
    pub name: String,
    pub currency: Currency,
    /// `None` where the carrier bills actual weight only.
    pub dimensional: Option<Dimensional>,
    /// Billable weight is rounded up to whole steps of this.
    pub step: Mass,
    /// Fuel surcharge, in percent of the table's charge.
    pub fuel_percent: Decimal,
    pub surcharges: Vec<Surcharge>,
    /// Ascending by `up_to`; the last one is the heaviest parcel the service takes.
    pub breaks: Vec<WeightBreak>,
    pub flat_boxes: Vec<FlatBox>,
}

/// The charge for a parcel of up to this billable weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct WeightBreak {
    pub up_to: Mass,
    pub charge: Decimal,
}

/// How a carrier turns a parcel's size into a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dimensional {
    pub divisor: Divisor,
    pub sides: SideRounding,
    /// Parcels up to this volume are billed by actual weight.
    pub above: Option<Volume>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Divisor {
    /// Cubic inches per pound; sides are rounded in inches.
    CubicInchesPerPound(Decimal),
    /// Cubic centimetres per kilogram; sides are rounded in centimetres.
    Cm3PerKilogram(Decimal),
}

/// How each side is rounded, in the divisor's unit of length, before they are multiplied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SideRounding {
    Exact,
    Nearest,
    Up,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Surcharge {
    pub name: String,
    pub charge: Decimal,
    pub when: SurchargeWhen,
}

/// When a surcharge is added to a parcel. Lengths are in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SurchargeWhen {
    Always,
    HeavierThan(Mass),
    LongerThan(Decimal),
    LengthPlusGirthOver(Decimal),
}

/// A box of the carrier's own that goes at one charge, whatever it weighs up to its limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlatBox {
    pub name: String,
    pub inner: Size,
    pub limit: Mass,
    pub charge: Decimal,
}
