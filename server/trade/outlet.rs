//! Anyone a lot can be sold to, and the standing conditions of selling to them.

use std::collections::BTreeMap;
use std::sync::Arc;

use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use crate::costs::Costs;
use crate::freight::Service;
use crate::history::Learned;
use crate::ids::{GradeId, OutletId};
use crate::mass::Mass;
use crate::money::Share;
use crate::quote::Quotes;

/// An outlet with its terms and what its newest sheet pays.
#[derive(Debug, Clone)]
pub struct Outlet {
    pub id: OutletId,
    pub name: String,
    /// The currency it quotes and pays in.
    pub currency: Currency,
    pub way: Way,
    pub terms: Terms,
    pub quotes: BTreeMap<GradeId, Quotes>,
    /// The day its current sheet is valid from.
    pub sheet_date: Option<Date>,
    /// What its settlements have taught; `None` while there are none, or where the shop goes by the terms alone.
    pub learned: Option<Arc<Learned>>,
}

impl Outlet {
    /// What its scale is expected to find of a grade, by ours.
    pub fn paid_weight(&self, grade: &GradeId) -> Decimal {
        let learned = self.learned.as_ref().and_then(|learned| learned.about(grade).paid_weight);
        learned.map_or(self.terms.paid_weight.get(), |learned| learned.mean)
    }

    /// The share of a grade's price that downgrades are expected to take.
    pub fn lost_to_downgrades(&self, grade: &GradeId) -> Decimal {
        let learned = self.learned.as_ref().map(|learned| learned.about(grade));
        let learned = learned.and_then(|about| Some(about.downgraded?.mean * about.drop));
        learned.unwrap_or_else(|| self.terms.downgrade_chance.get() * self.terms.downgrade_drop.get())
    }

    /// Days until it pays, as expected.
    pub fn days_to_pay(&self) -> Decimal {
        let learned = self.learned.as_ref().and_then(|learned| learned.days());
        learned.map_or(Decimal::from(self.terms.days_to_pay), |learned| learned.mean)
    }
}

/// How goods get there.
#[derive(Debug, Clone)]
pub enum Way {
    /// A yard: somebody drives.
    Drive(Drive),
    /// A mail-in buyer: a carrier takes parcels.
    Post(Post),
}

/// The trip to a yard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drive {
    /// One way, in kilometres.
    pub distance_km: Decimal,
    /// The whole trip with loading, the scale and the way back, in minutes.
    pub minutes: Decimal,
}

impl Drive {
    /// What the trip costs if nothing else is on the way, in home currency.
    pub fn cost(&self, costs: &Costs) -> Decimal {
        self.distance_km * dec!(2) * costs.truck_per_km + costs.labour(self.minutes)
    }
}

/// The parcels to a mail-in buyer.
#[derive(Debug, Clone)]
pub struct Post {
    /// Carriers' services that reach the buyer, each with its table for the buyer's zone. The cheapest is used.
    pub services: Vec<Service>,
    /// Brokerage, customs and paperwork of one shipment, in home currency.
    pub border: Decimal,
    /// Insurance, as a share of what the buyer is expected to pay.
    pub insurance: Share,
    /// Work to fill, close and label one parcel, in minutes.
    pub packing_minutes: Decimal,
}

/// An outlet's standing conditions. Amounts without a currency are in the outlet's own, except `payout_fee`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Terms {
    /// Taken off the net mass for tare or moisture.
    pub weight_deduction: Share,
    /// What the buyer's scale is expected to find of what the shop's scale found; 1 until history says otherwise.
    pub paid_weight: PaidWeight,
    /// How often a load is set to a lower grade, and by which share of the price: the shop's estimate until history
    /// says otherwise.
    pub downgrade_chance: Share,
    pub downgrade_drop: Share,
    /// Fee as a share of every line that pays.
    pub percent_fee: Share,
    pub flat_fee: Decimal,
    /// What the bank loses between the mid rate and the rate it gives.
    pub exchange_spread: Share,
    /// What it costs to receive the payment, in home currency.
    pub payout_fee: Decimal,
    pub days_to_pay: u32,
    /// Below these the outlet does not take the delivery; zero is no minimum. So an outlet that charges for a grade can
    /// be owed money.
    pub minimum_payout: Decimal,
    pub minimum_grade: Mass,
    pub minimum_delivery: Mass,
}

/// The ratio of the buyer's weight to the shop's. It lies above 0 and not above 2: beyond that it is a slip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PaidWeight(Decimal);

impl PaidWeight {
    pub fn new(ratio: Decimal) -> Option<Self> {
        (ratio > Decimal::ZERO && ratio <= Decimal::TWO).then_some(PaidWeight(ratio))
    }

    pub const fn get(self) -> Decimal {
        self.0
    }
}

impl Default for PaidWeight {
    fn default() -> Self {
        PaidWeight(Decimal::ONE)
    }
}
