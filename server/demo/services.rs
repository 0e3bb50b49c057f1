//! Carriers' services with their tables of charges.

use rust_decimal::Decimal;
use serde::Deserialize;
use trade::freight::{Dimensional, FlatBox, Surcharge, SurchargeWhen, WeightBreak};
use trade::mass::{Mass, MassUnit};
use trade::money::Currency;
use trade::volume::MM_PER_INCH;

use super::scenario::{Inches, Weight};
use super::{DemoError, Loader};
use crate::store::new_id;
use crate::store::services::{ServiceDetails, ServiceRecord, ZoneTable, add_service};

#[derive(Deserialize)]
pub struct ServicesFile {
    pub service: Vec<ServiceEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ServiceEntry {
    name: String,
    currency: Currency,
    dimensional: Option<Dimensional>,
    step: Weight,
    fuel_percent: Decimal,
    #[serde(default)]
    surcharge: Vec<SurchargeEntry>,
    /// The weights that every zone gives a charge for, in `unit`.
    unit: MassUnit,
    up_to: Vec<Decimal>,
    zone: Vec<ZoneEntry>,
    /// Boxes of the carrier's own, at one charge to every zone.
    #[serde(default)]
    flat_box: Vec<FlatBoxEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SurchargeEntry {
    name: String,
    charge: Decimal,
    heavier_than: Option<Weight>,
    longer_than_inches: Option<Decimal>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ZoneEntry {
    zone: String,
    charges: Vec<Decimal>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FlatBoxEntry {
    name: String,
    inner_inches: Inches,
    limit: Weight,
    charge: Decimal,
}

impl ServiceEntry {
    pub fn details(self) -> ServiceDetails {
        let flat_boxes: Vec<FlatBox> = self
            .flat_box
            .iter()
            .map(|flat| FlatBox {
                name: flat.name.clone(),
                inner: flat.inner_inches.size(),
                limit: flat.limit.0,
                charge: flat.charge,
            })
            .collect();
        let zones = self.zone.into_iter().map(|zone| ZoneTable {
            zone: zone.zone,
            breaks: self
                .up_to
                .iter()
                .zip(zone.charges)
                .map(|(up_to, charge)| WeightBreak { up_to: Mass::of(*up_to, self.unit), charge })
                .collect(),
            flat_boxes: flat_boxes.clone(),
        });
        ServiceDetails {
            name: self.name,
            currency: self.currency,
            dimensional: self.dimensional,
            step: self.step.0,
            fuel_percent: self.fuel_percent,
            surcharges: self.surcharge.into_iter().map(SurchargeEntry::surcharge).collect(),
            zones: zones.collect(),
        }
    }
}

impl SurchargeEntry {
    fn surcharge(self) -> Surcharge {
        let when = match (self.heavier_than, self.longer_than_inches) {
            (Some(mass), _) => SurchargeWhen::HeavierThan(mass.0),
            (None, Some(inches)) => SurchargeWhen::LongerThan(inches * MM_PER_INCH),
            (None, None) => SurchargeWhen::Always,
        };
        Surcharge { name: self.name, charge: self.charge, when }
    }
}

impl Loader<'_> {
    pub(super) async fn services(&mut self) -> Result<(), DemoError> {
        let by = self.by(&self.scenario.opened)?;
        for details in &self.scenario.services {
            let id = new_id();
            add_service(&mut self.tx, &by, &id, details).await?;
            self.services.push(ServiceRecord { id, details: details.clone(), retired: false, version: 1 });
        }
        Ok(())
    }
}
