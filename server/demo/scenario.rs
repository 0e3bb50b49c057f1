//! The scenario as its files tell it, and what stands in several of them. Masses are written as a person types them
//! (`2 lb 5 oz`, `0.5 kg`), exact numbers between quotation marks. What else stands in a file is beside its loading.

use jiff::civil::Time;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::costs::Costs;
use trade::mass::{Mass, MassStyle};
use trade::packing::Carton;
use trade::reading::{Reading, read};
use trade::volume::{MM_PER_INCH, Size};

use super::boxes::{BoxEntry, BoxesFile};
use super::cash::{CashFile, CashLine, HoursLine};
use super::lots::{LotEntry, LotsFile};
use super::outlets::{OutletEntry, OutletsFile, RoadEntry};
use super::pickups::{PickupEntry, PickupsFile};
use super::rates::{RateEntry, RatesFile};
use super::runs::{RunEntry, RunsFile};
use super::services::{ServiceEntry, ServicesFile};
use super::shipments::{ShipmentEntry, ShipmentsFile};
use super::teardowns::{TeardownEntry, TeardownsFile};
use super::{DemoError, files};
use crate::store::services::ServiceDetails;
use crate::store::shops::{ShopSettings, mass_style_from};

/// Everything but the price sheets themselves.
pub struct Scenario {
    pub shop: ShopSettings,
    pub opened: Moment,
    pub partners: Vec<String>,
    /// Of every partner: the demo keeps nothing that has to be kept from anybody.
    pub passphrase: String,
    pub boxes: Vec<Carton>,
    pub rates: Vec<RateEntry>,
    pub services: Vec<ServiceDetails>,
    pub outlets: Vec<OutletEntry>,
    pub roads: Vec<RoadEntry>,
    /// With the name of the file each stands in.
    pub lots: Vec<(String, LotEntry)>,
    pub pickups: Vec<PickupEntry>,
    pub runs: Vec<RunEntry>,
    pub shipments: Vec<ShipmentEntry>,
    pub cash: Vec<CashLine>,
    pub hours: Vec<HoursLine>,
    pub teardowns: Vec<TeardownEntry>,
}

impl Scenario {
    pub fn read() -> Result<Scenario, DemoError> {
        let shop: ShopFile = files::toml("shop.toml")?;
        let boxes: BoxesFile = files::toml("boxes.toml")?;
        let rates: RatesFile = files::toml("rates.toml")?;
        let services: ServicesFile = files::toml("services.toml")?;
        let outlets: OutletsFile = files::toml("outlets.toml")?;
        let pickups: PickupsFile = files::toml("pickups.toml")?;
        let runs: RunsFile = files::toml("runs.toml")?;
        let shipments: ShipmentsFile = files::toml("shipments.toml")?;
        let cash: CashFile = files::toml("cash.toml")?;
        let teardowns: TeardownsFile = files::toml("teardowns.toml")?;
        let mut lots = Vec::new();
        for name in files::names("lots") {
            let file: LotsFile = files::toml(&name)?;
            lots.extend(file.lot.into_iter().map(|lot| (name.clone(), lot)));
        }
        Ok(Scenario {
            opened: shop.opened.clone(),
            partners: shop.partners.clone(),
            passphrase: shop.passphrase.clone(),
            shop: shop.settings()?,
            boxes: boxes.carton.into_iter().map(BoxEntry::carton).collect(),
            rates: rates.rate,
            services: services.service.into_iter().map(ServiceEntry::details).collect(),
            outlets: outlets.outlet,
            roads: outlets.road,
            lots,
            pickups: pickups.pickup,
            runs: runs.run,
            shipments: shipments.shipment,
            cash: cash.entry,
            hours: cash.hours,
            teardowns: teardowns.teardown,
        })
    }
}

/// So many days before the day of loading, at this time on the shop's clock, by this partner.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Moment {
    pub ago: i16,
    pub at: Time,
    pub by: String,
}

/// A mass as a person types it; it has to mean one thing.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(try_from = "String")]
pub struct Weight(pub Mass);

impl TryFrom<String> for Weight {
    type Error = String;

    fn try_from(typed: String) -> Result<Weight, String> {
        match read(&typed) {
            Ok(Reading::Sure { meaning, .. }) => Ok(Weight(meaning.mass)),
            Ok(Reading::Ask { why, .. }) => Err(format!("{typed}: {why}")),
            Err(problem) => Err(problem.to_string()),
        }
    }
}

/// Length, width and height in inches.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Inches([Decimal; 3]);

impl Inches {
    pub fn size(self) -> Size {
        let [length, width, height] = self.0.map(|side| side * MM_PER_INCH);
        Size { length, width, height }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ShopFile {
    name: String,
    zone: String,
    weights: String,
    opened: Moment,
    partners: Vec<String>,
    passphrase: String,
    costs: Costs,
}

impl ShopFile {
    fn settings(self) -> Result<ShopSettings, DemoError> {
        let style: Option<MassStyle> = mass_style_from(&self.weights);
        let no_style = || DemoError::of("shop.toml", format!("{} is no spelling of weights", self.weights));
        let style = style.ok_or_else(no_style)?;
        Ok(ShopSettings { name: self.name, zone: self.zone, style, costs: self.costs })
    }
}

/// A weight with the reading as it was typed.
#[derive(Debug, Clone, Deserialize)]
#[serde(try_from = "String")]
pub struct Typed {
    pub typed: String,
    weight: Weight,
}

impl Typed {
    pub fn mass(&self) -> Mass {
        self.weight.0
    }
}

impl TryFrom<String> for Typed {
    type Error = String;

    fn try_from(typed: String) -> Result<Typed, String> {
        Ok(Typed { weight: Weight::try_from(typed.clone())?, typed })
    }
}
