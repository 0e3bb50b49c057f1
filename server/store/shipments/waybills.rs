//! How a shipment was packed and carried: its boxes with their weights, the carrier's number, what it cost. The last
//! waybill counts; one after sending is a correction and says why.

use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use sqlx::FromRow;
use trade::cash::Kind;
use trade::ids::OutletId;
use trade::mass::Mass;
use trade::money::{Currency, Money};

use super::ShipmentRefusal;
use crate::store::activity::Noun;
use crate::store::cash::{Document, DocumentKind, NewEntry, enter};
use crate::store::settlements::undo_entries;
use crate::store::{By, RowError, Store, StoreError, Tx, stamp};

/// A waybill as it was saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waybill {
    pub id: String,
    /// Counted from 1 for the first of a shipment.
    pub position: i64,
    pub carrier: String,
    /// The carrier's number.
    pub tracking: String,
    pub currency: Currency,
    /// `None` where nobody knows yet.
    pub freight: Option<Decimal>,
    pub boxes_cost: Option<Decimal>,
    pub boxes: Vec<PackedBox>,
    pub why: String,
    pub partner_name: String,
    pub at: Timestamp,
}

/// A closed box, as the shop's scale has it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackedBox {
    pub name: String,
    pub gross: Mass,
    /// The reading exactly as typed.
    pub typed: String,
}

#[derive(Debug, Clone)]
pub struct NewWaybill<'a> {
    /// From the form.
    pub id: &'a str,
    pub shipment_id: &'a str,
    /// The shipment's; [`StoreError::Stale`] if it has moved on.
    pub version: i64,
    pub carrier: &'a str,
    pub tracking: &'a str,
    pub currency: Currency,
    pub freight: Option<Decimal>,
    pub boxes_cost: Option<Decimal>,
    pub boxes: &'a [PackedBox],
    pub why: &'a str,
    /// That its costs are paid on.
    pub day: Date,
}

#[derive(FromRow)]
struct WaybillRow {
    id: String,
    position: i64,
    carrier: String,
    tracking: String,
    currency: String,
    freight_minor: Option<i64>,
    boxes_minor: Option<i64>,
    boxes: String,
    why: String,
    partner_name: String,
    at: String,
}

impl TryFrom<WaybillRow> for Waybill {
    type Error = RowError;

    fn try_from(row: WaybillRow) -> Result<Waybill, RowError> {
        let currency = RowError::read("waybills", "currency", &row.currency, Currency::from_code)?;
        let major = |minor: i64| Money::from_minor_units(minor, currency).amount;
        Ok(Waybill {
            boxes: RowError::read("waybills", "boxes", &row.boxes, |json| serde_json::from_str(json).ok())?,
            at: RowError::read("waybills", "at", &row.at, |at| at.parse().ok())?,
            freight: row.freight_minor.map(major),
            boxes_cost: row.boxes_minor.map(major),
            id: row.id,
            position: row.position,
            carrier: row.carrier,
            tracking: row.tracking,
            currency,
            why: row.why,
            partner_name: row.partner_name,
        })
    }
}

impl Store {
    /// Every waybill of a shipment, the one that counts first.
    pub async fn waybills(&self, shop_id: &str, shipment_id: &str) -> Result<Vec<Waybill>, StoreError> {
        let sql = "SELECT w.id, w.position, w.carrier, w.tracking, w.currency, w.freight_minor, w.boxes_minor, w.boxes, \
                   w.why, p.name AS partner_name, w.at FROM waybills w JOIN partners p ON p.id = w.partner_id \
                   WHERE w.shop_id = $1 AND w.shipment_id = $2 ORDER BY w.position DESC";
        let rows: Vec<WaybillRow> =
            sqlx::query_as(sql).bind(shop_id).bind(shipment_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Waybill::try_from).collect::<Result<_, _>>()?)
    }
}

/// Adds a waybill inside `tx`. The same id a second time changes nothing. The version that the shipment has then.
pub async fn add_waybill(tx: &mut Tx, by: &By, waybill: &NewWaybill<'_>) -> Result<i64, StoreError> {
    let By { shop_id, partner_id, at } = by;
    // A write that changes nothing holds the row until the end, so that a form sent twice at once is found here.
    let sql = "UPDATE shipments SET version = version WHERE shop_id = $1 AND id = $2 \
               RETURNING version, sent_at, cancelled_at";
    let (version, sent_at, cancelled_at): (i64, Option<String>, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(waybill.shipment_id).fetch_one(&mut **tx).await?;
    let sql = "SELECT id FROM waybills WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(waybill.id).fetch_optional(&mut **tx).await?;
    if there.is_some() {
        return Ok(version);
    }
    if version != waybill.version {
        return Err(StoreError::Stale);
    }
    if cancelled_at.is_some() {
        return Err(ShipmentRefusal::Apart.into());
    }
    if sent_at.is_some() && waybill.why.is_empty() {
        return Err(ShipmentRefusal::SayWhy.into());
    }
    let boxes =
        serde_json::to_string(waybill.boxes).map_err(|cause| StoreError::Encode(cause.to_string()))?;
    let before = last_costs(tx, waybill.shipment_id).await?;
    let minor = |amount: Option<Decimal>| amount.map(|a| Money::new(a, waybill.currency).minor_units());
    let sql = "INSERT INTO waybills (id, shop_id, shipment_id, position, carrier, tracking, currency, freight_minor, \
               boxes_minor, boxes, why, partner_id, at) \
               SELECT $2, $1, $3, COALESCE(MAX(w.position), 0) + 1, $4, $5, $6, $7, $8, $9, $10, $11, $12 \
               FROM waybills w WHERE w.shipment_id = $3";
    sqlx::query(sql)
        .bind(shop_id)
        .bind(waybill.id)
        .bind(waybill.shipment_id)
        .bind(waybill.carrier)
        .bind(waybill.tracking)
        .bind(waybill.currency.code())
        .bind(minor(waybill.freight))
        .bind(minor(waybill.boxes_cost))
        .bind(boxes)
        .bind(waybill.why)
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    let sql = "UPDATE shipments SET version = version + 1 WHERE shop_id = $1 AND id = $2";
    sqlx::query(sql).bind(shop_id).bind(waybill.shipment_id).execute(&mut **tx).await?;
    let deed = if sent_at.is_some() { "corrected" } else { "boxed" };
    tx.note(by, Noun::Shipment, waybill.shipment_id, deed, waybill.why).await?;
    let costs = Costs {
        currency: waybill.currency.code().to_string(),
        freight: minor(waybill.freight),
        boxes: minor(waybill.boxes_cost),
    };
    if before.as_ref() != Some(&costs) {
        enter_costs(tx, by, waybill).await?;
    }
    Ok(version + 1)
}

/// What a waybill costs, in whole minor units.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Costs {
    currency: String,
    freight: Option<i64>,
    boxes: Option<i64>,
}

/// What the last waybill of a shipment costs.
async fn last_costs(tx: &mut Tx, shipment_id: &str) -> Result<Option<Costs>, StoreError> {
    let sql = "SELECT currency, freight_minor, boxes_minor FROM waybills WHERE shipment_id = $1 \
               ORDER BY position DESC LIMIT 1";
    let last: Option<(String, Option<i64>, Option<i64>)> =
        sqlx::query_as(sql).bind(shipment_id).fetch_optional(&mut **tx).await?;
    Ok(last.map(|(currency, freight, boxes)| Costs { currency, freight, boxes }))
}

/// Puts what a waybill costs into the cash book, in the place of what the one before did.
async fn enter_costs(tx: &mut Tx, by: &By, waybill: &NewWaybill<'_>) -> Result<(), StoreError> {
    let document = Document::new(DocumentKind::Shipment, waybill.shipment_id);
    undo_entries(tx, by, &document, waybill.why).await?;
    let outlet = "SELECT outlet_id FROM shipments WHERE id = $1";
    let (outlet_id,): (String,) =
        sqlx::query_as(outlet).bind(waybill.shipment_id).fetch_one(&mut **tx).await?;
    for (kind, part, cost, note) in [
        (Kind::Freight, "freight", waybill.freight, waybill.carrier),
        (Kind::Box, "boxes", waybill.boxes_cost, ""),
    ] {
        let Some(cost) = cost else { continue };
        let id = document.entry_id(&format!("{} {part}", waybill.id));
        let entry = NewEntry {
            document: Some(document.clone()),
            outlet_id: Some(OutletId::new(outlet_id.clone())),
            note: note.to_string(),
            ..NewEntry::new(id, waybill.day, kind, Money::new(-cost, waybill.currency))
        };
        enter(tx, by, &entry).await?;
    }
    Ok(())
}
