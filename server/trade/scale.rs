//! What a USB scale reports: bytes in, a reading out.
//!
//! Layout and values are those of the USB Implementers' Forum's HID Point of Sale Usage Tables 1.02, usage page 0x8D
//! (weighing devices; the HID Usage Tables 1.5 have it as “Scales”): units are the usages 0x51 to 0x5C and statuses 0x71
//! to 0x78, each sent as its place in its list, counted from one. That data reports are number 3 and lie as below is how the
//! document's example has it and scales do it (from memory).
//!
//! ```text
//! report number  status  unit  power of ten (signed)  weight, low byte  weight, high byte
//! ```

use rust_decimal::{Decimal, dec};

use crate::mass::{Mass, MassUnit};

/// The number of the report that carries a weight.
const DATA: u8 = 3;
/// How long a report with a weight is.
pub const LENGTH: usize = 6;
/// What powers of ten a weight in a shop can have: beyond that it is no scale that speaks.
const POWERS: std::ops::RangeInclusive<i8> = -9..=6;

/// A weight as the scale shows it. Never below zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shown {
    number: Decimal,
    unit: MassUnit,
}

impl Shown {
    pub fn mass(self) -> Mass {
        Mass::of(self.number, self.unit)
    }

    /// As [`crate::reading::read`] reads it: `1.24 kg`.
    pub fn spelled(self) -> String {
        format!("{} {}", self.number.normalize(), self.unit.code())
    }
}

/// What a scale says in one report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// Something lies still on it.
    Stable(Shown),
    /// Nothing is on it.
    Empty,
    /// What is on it still moves.
    Moving,
    /// It cannot weigh as it is.
    Unfit(Unfit),
}

/// Why a scale cannot weigh.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    #[error("the scale reports a fault")]
    Fault,
    #[error("the scale shows less than nothing: set it to zero with nothing on it")]
    UnderZero,
    #[error("more is on the scale than it can weigh")]
    OverLimit,
    #[error("the scale wants to be calibrated")]
    NeedsCalibration,
    #[error("the scale wants to be set to zero")]
    NeedsZeroing,
}

/// Why bytes are no report of a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReportError {
    #[error("a report of {0} bytes is too short for a weight")]
    TooShort(usize),
    #[error("report {0} is about something else than a weight")]
    NotAWeight(u8),
    #[error("no status has the number {0}")]
    Status(u8),
    #[error(
        "the scale weighs in a unit (number {0}) that is not the same everywhere; set it to grams, kilograms, ounces or pounds"
    )]
    Unit(u8),
    #[error("a weight times ten to the power of {0} cannot be meant")]
    Power(i8),
}

/// Reads one report.
pub fn read(report: &[u8]) -> Result<Said, ReportError> {
    let &[number, status, unit, power, low, high, ..] = report else {
        return Err(ReportError::TooShort(report.len()));
    };
    if number != DATA {
        return Err(ReportError::NotAWeight(number));
    }
    match status {
        1 => Ok(Said::Unfit(Unfit::Fault)),
        2 => Ok(Said::Empty),
        3 => Ok(Said::Moving),
        4 => {
            let weight = u16::from_le_bytes([low, high]);
            let shown = shown(weight, power.cast_signed(), unit)?;
            Ok(if shown.number.is_zero() { Said::Empty } else { Said::Stable(shown) })
        }
        5 => Ok(Said::Unfit(Unfit::UnderZero)),
        6 => Ok(Said::Unfit(Unfit::OverLimit)),
        7 => Ok(Said::Unfit(Unfit::NeedsCalibration)),
        8 => Ok(Said::Unfit(Unfit::NeedsZeroing)),
        other => Err(ReportError::Status(other)),
    }
}

fn shown(weight: u16, power: i8, unit: u8) -> Result<Shown, ReportError> {
    // A metric carat is a fifth of a gram. A tael, and a ton in pounds, are not the same everywhere.
    let (times, unit) = match unit {
        1 => (dec!(0.001), MassUnit::Gram),
        2 => (Decimal::ONE, MassUnit::Gram),
        3 => (Decimal::ONE, MassUnit::Kilogram),
        4 => (dec!(0.2), MassUnit::Gram),
        6 => (Decimal::ONE, MassUnit::Grain),
        7 => (Decimal::ONE, MassUnit::Pennyweight),
        8 => (Decimal::ONE, MassUnit::Tonne),
        10 => (Decimal::ONE, MassUnit::TroyOunce),
        11 => (Decimal::ONE, MassUnit::Ounce),
        12 => (Decimal::ONE, MassUnit::Pound),
        other => return Err(ReportError::Unit(other)),
    };
    if !POWERS.contains(&power) {
        return Err(ReportError::Power(power));
    }
    let weight = i64::from(weight);
    let number = match u32::try_from(-i16::from(power)) {
        Ok(places) => Decimal::new(weight, places),
        Err(_) => Decimal::from(weight * 10_i64.pow(power.unsigned_abs().into())),
    };
    Ok(Shown { number: number * times, unit })
}

/// Picks out of what a scale says over and over the readings that are new.
#[derive(Debug, Default)]
pub struct Watch {
    last: Option<Shown>,
}

impl Watch {
    /// The reading, where something lies still that was not weighed yet.
    pub fn new_reading(&mut self, said: Said) -> Option<Shown> {
        match said {
            Said::Stable(shown) if self.last == Some(shown) => None,
            Said::Stable(shown) => {
                self.last = Some(shown);
                Some(shown)
            }
            // Taken off: the same weight once more is another one.
            Said::Empty | Said::Unfit(_) => {
                self.last = None;
                None
            }
            Said::Moving => None,
        }
    }
}
