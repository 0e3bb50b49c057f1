//! What the shop's own time, truck and money cost, and what it has at hand to pack with.

use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use crate::exchange::RateBook;
use crate::mass::MassStyle;
use crate::money::Share;
use crate::packing::Carton;

/// The shop's own rates, in its home currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Costs {
    pub home: Currency,
    pub labour_per_hour: Decimal,
    pub truck_per_km: Decimal,
    /// What a year of waiting for money costs, as a share of it.
    pub capital_per_year: Share,
    /// What a year on the shelf costs beyond that: prices that fall, theft, damp, as a share of the goods' value.
    pub risk_per_year: Share,
}

impl Costs {
    pub fn labour(&self, minutes: Decimal) -> Decimal {
        minutes * self.labour_per_hour / dec!(60)
    }
}

/// Everything besides the lot and the outlet that a net value depends on.
#[derive(Debug, Clone)]
pub struct Facts {
    pub costs: Costs,
    pub rates: RateBook,
    pub cartons: Vec<Carton>,
    pub today: Date,
    /// How masses are spelled in the workings.
    pub style: MassStyle,
}
