//! Shipments that were made before the day of loading, priced as they stood then.

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::cash::Kind;
use trade::costs::Facts;
use trade::ids::{GradeId, OutletId};
use trade::mass::MassUnit;
use trade::money::{Money, Price, PriceUnit};
use trade::net::{Load, deliver};
use trade::reading::{Reading, read};
use trade::settlement::{Paper, PaperLine, Payment, Promise};

use super::scenario::{Moment, Weight};
use super::{DemoError, LoadedLot, Loader};
use crate::catalogue::GRADES;
use crate::store::cash::{Document, DocumentKind, NewEntry};
use crate::store::containers::let_go;
use crate::store::quotes::quotes_in_force;
use crate::store::settlements::{Delivery, NewSettlement, settle};
use crate::store::shipments::{
    NewShipment, NewWaybill, PackedBox, add_waybill, lose_shipment, make_shipment, pack_shipment, pay_claim,
    send_shipment,
};
use crate::store::{By, new_id};

const FILE: &str = "shipments.toml";

#[derive(Deserialize)]
pub struct ShipmentsFile {
    pub shipment: Vec<ShipmentEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShipmentEntry {
    pub outlet: String,
    /// Labels of the containers.
    lots: Vec<String>,
    made: Moment,
    /// Left out while its boxes are open.
    packed: Option<Moment>,
    /// Left out while it is waiting.
    sent: Option<Moment>,
    /// Labels of containers that do not go along.
    #[serde(default)]
    stays: Vec<String>,
    waybill: Option<WaybillEntry>,
    settlement: Option<SettlementEntry>,
    /// When the carrier had to own that it was gone.
    lost: Option<Moment>,
    /// What the carrier or an insurer paid for it.
    #[serde(default)]
    claim: Vec<ClaimEntry>,
}

/// Something that was paid for a parcel that was lost or broken, in home currency.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClaimEntry {
    entered: Moment,
    /// Days before the day of loading.
    paid_on: i16,
    paid: Decimal,
    note: String,
}

/// How a shipment was carried; costs in home currency.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WaybillEntry {
    carrier: String,
    tracking: String,
    freight: Decimal,
    /// Each with its weight, closed, as it was typed.
    boxes: Vec<(String, String)>,
}

/// What the buyer's paper says, in the buyer's currency.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SettlementEntry {
    entered: Moment,
    number: String,
    /// Days before the day of loading.
    dated: i16,
    paid_on: i16,
    paid: Decimal,
    line: Vec<SettlementLineEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SettlementLineEntry {
    wording: String,
    grade: GradeId,
    mass: Weight,
    /// Per pound.
    price: Decimal,
    amount: Decimal,
    /// Labels of the containers.
    lots: Vec<String>,
}

impl Loader<'_> {
    pub(super) async fn shipments(&mut self) -> Result<(), DemoError> {
        for entry in &self.scenario.shipments {
            self.shipment(entry).await?;
        }
        Ok(())
    }

    async fn shipment(&mut self, entry: &ShipmentEntry) -> Result<(), DemoError> {
        let file = FILE;
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
        let promise = Promise::of(&ladder, &loads, &outlet.terms, facts.costs.home);
        let shipment =
            NewShipment { id: &id, outlet_id: &outlet.id, loads: &loads, ladder: &ladder, promise: &promise };
        make_shipment(&mut self.tx, &made, &shipment).await?;
        let mut version = 1;
        if let Some(packed) = &entry.packed {
            let packed = self.by(packed)?;
            if let Some(waybill) = &entry.waybill {
                version = self.waybill(&packed, &id, version, waybill).await?;
            }
            pack_shipment(&mut self.tx, &packed, &id, version).await?;
            version += 1;
        }
        if let Some(sent) = &entry.sent {
            let sent = self.by(sent)?;
            send_shipment(&mut self.tx, &sent, &id, version).await?;
            let gone = entry.lots.iter().filter(|label| !entry.stays.contains(label));
            let gone: Vec<String> =
                gone.filter_map(|label| self.lots.get(label)).map(|lot| lot.container_id.clone()).collect();
            let_go(&mut self.tx, &sent, &id, &gone).await?;
            version += 1;
        }
        if let Some(lost) = &entry.lost {
            let lost = self.by(lost)?;
            lose_shipment(&mut self.tx, &lost, &id, version).await?;
        }
        for claim in &entry.claim {
            self.claim(&id, claim).await?;
        }
        if let Some(settlement) = &entry.settlement {
            self.settlement(settlement, &outlet.id, id, &promise).await?;
        }
        Ok(())
    }

    async fn claim(&mut self, shipment_id: &str, entry: &ClaimEntry) -> Result<(), DemoError> {
        let amount = Money::new(entry.paid, self.scenario.shop.costs.home);
        let paid = NewEntry {
            document: Some(Document::new(DocumentKind::Claim, shipment_id)),
            note: entry.note.clone(),
            ..NewEntry::new(new_id(), self.day(entry.paid_on), Kind::Claim, amount)
        };
        let by = self.by(&entry.entered)?;
        Ok(pay_claim(&mut self.tx, &by, shipment_id, &paid).await?)
    }

    /// The version that the shipment has with it.
    async fn waybill(
        &mut self,
        by: &By,
        shipment_id: &str,
        version: i64,
        entry: &WaybillEntry,
    ) -> Result<i64, DemoError> {
        let mut boxes = Vec::new();
        for (name, typed) in &entry.boxes {
            let Ok(Reading::Sure { meaning, .. }) = read(typed) else {
                return Err(DemoError::of(FILE, format!("“{typed}” is not a weight")));
            };
            boxes.push(PackedBox { name: name.clone(), gross: meaning.mass.as_kept(), typed: typed.clone() });
        }
        let waybill = NewWaybill {
            id: &new_id(),
            shipment_id,
            version,
            carrier: &entry.carrier,
            tracking: &entry.tracking,
            currency: self.scenario.shop.costs.home,
            freight: Some(entry.freight),
            boxes_cost: None,
            boxes: &boxes,
            why: "",
            day: by.at.to_zoned_datetime(self.zone.clone()).date(),
        };
        Ok(add_waybill(&mut self.tx, by, &waybill).await?)
    }

    async fn settlement(
        &mut self,
        entry: &SettlementEntry,
        outlet_id: &OutletId,
        shipment_id: String,
        promise: &Promise,
    ) -> Result<(), DemoError> {
        let currency = promise.currency;
        let mut lines = Vec::new();
        for line in &entry.line {
            let lot = |label: &String| {
                let lot = self.lots.get(label).map(|lot| lot.id.clone());
                lot.ok_or_else(|| DemoError::of(FILE, format!("{label} is no lot")))
            };
            lines.push(PaperLine {
                wording: line.wording.clone(),
                grade: Some(line.grade.clone()),
                mass: Some(line.mass.0.as_kept()),
                pieces: None,
                price: Some(Price::new(line.price, currency, PriceUnit::Mass(MassUnit::Pound))),
                amount: line.amount,
                pays_for: line.lots.iter().map(lot).collect::<Result<_, _>>()?,
            });
        }
        let payment = Payment {
            day: Some(self.day(entry.paid_on)),
            arrived: Some(entry.paid),
            bank_fee: Decimal::ZERO,
        };
        let dated = Some(self.day(entry.dated));
        let paper = Paper { currency, lines, charges: Vec::new(), paid: entry.paid, dated, payment };
        let settlement = NewSettlement {
            id: &new_id(),
            outlet_id,
            delivery: &Delivery::Shipment(shipment_id),
            replaces: None,
            promise,
            paper: &paper,
            number: &entry.number,
            rate: None,
            sha256: None,
            note: "",
        };
        let by = self.by(&entry.entered)?;
        Ok(settle(&mut self.tx, &by, &settlement).await?)
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
    pub(super) fn load(&self) -> Option<Load> {
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
