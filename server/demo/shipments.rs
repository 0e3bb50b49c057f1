//! Shipments that were made before the day of loading, priced as they stood then.

use jiff::civil::Date;
use trade::costs::Facts;
use trade::net::{Load, deliver};

use super::scenario::ShipmentEntry;
use super::{DemoError, LoadedLot, Loader};
use crate::catalogue::GRADES;
use crate::store::new_id;
use crate::store::quotes::quotes_in_force;
use crate::store::shipments::{NewShipment, make_shipment, send_shipment};

impl Loader<'_> {
    pub(super) async fn shipments(&mut self) -> Result<(), DemoError> {
        for entry in &self.scenario.shipments {
            self.shipment(entry).await?;
        }
        Ok(())
    }

    async fn shipment(&mut self, entry: &ShipmentEntry) -> Result<(), DemoError> {
        let file = "shipments.toml";
        let day = self.day(entry.made.ago);
        let mut in_force = quotes_in_force(&mut *self.tx, &self.shop_id, day, None).await?;
        let outlet = self.outlet(file, &entry.outlet)?;
        let sheet = in_force.remove(&outlet.id);
        let sheet =
            sheet.ok_or_else(|| DemoError::of(file, format!("{} had no sheet then", entry.outlet)))?;
        let outlet = outlet.priced(&self.services, sheet.quotes, Some(sheet.valid_from));
        let facts = self.facts_of(day);
        let mut loads = Vec::new();
        for label in &entry.lots {
            let lot =
                self.lots.get(label).ok_or_else(|| DemoError::of(file, format!("{label} is no lot")))?;
            loads.push(lot.load().ok_or_else(|| DemoError::of(file, format!("{label} has no grade")))?);
        }
        let ladder = deliver(&outlet, &loads, &facts)
            .map_err(|closed| DemoError::of(file, format!("not to {}: {closed}", entry.outlet)))?;

        let id = new_id();
        let made = self.by(&entry.made)?;
        let shipment = NewShipment { id: &id, outlet_id: &outlet.id, loads: &loads, ladder: &ladder };
        make_shipment(&mut self.tx, &made, &shipment).await?;
        if let Some(sent) = &entry.sent {
            let sent = self.by(sent)?;
            send_shipment(&mut self.tx, &sent, &id, 1).await?;
        }
        Ok(())
    }

    pub(super) fn facts_of(&self, today: Date) -> Facts {
        Facts {
            costs: self.scenario.shop.costs,
            rates: self.rates(),
            cartons: self.scenario.boxes.clone(),
            today,
            style: self.scenario.shop.style,
        }
    }
}

impl LoadedLot {
    /// `None` where the catalogue does not have its grade.
    fn load(&self) -> Option<Load> {
        let grade = GRADES.iter().find(|grade| grade.slug == self.grade)?;
        Some(Load {
            lot: self.id.clone(),
            grade: self.grade.clone(),
            mass: self.net,
            pieces: self.pieces,
            volume: grade.details.bulk_density.volume_of(self.net),
        })
    }
}
