//! Shipments: lots packed for one mail-in buyer. Made, then sent or cancelled; a lot is in one at a time.

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use sqlx::FromRow;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::Money;
use trade::net::{Ladder, Load};

use super::activity::Noun;
use super::lots::{close_lot, lot_for_change};
use super::weighings::{NewWeighing, WeighingKind, add_weighing};
use super::{By, RowError, Store, StoreError, Tx, changed_one, stamp};

/// Where a shipment stands, and since when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShipmentState {
    Packed,
    Sent { at: Timestamp },
    Cancelled { at: Timestamp },
}

#[derive(Debug, Clone)]
pub struct Shipment {
    pub id: String,
    pub outlet_id: OutletId,
    pub outlet_name: String,
    pub expected: Expected,
    /// Exact, home currency.
    pub expected_net: Decimal,
    pub made_by: String,
    pub made_at: Timestamp,
    pub state: ShipmentState,
    pub version: i64,
}

/// What was promised when the shipment was made, kept as it stood: prices move on, the promise does not.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expected {
    pub lines: Vec<ExpectedLine>,
    pub steps: Vec<ExpectedStep>,
    pub parcels: Vec<ExpectedParcels>,
    pub service: String,
    pub payout: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedLine {
    pub grade: GradeId,
    pub mass: Mass,
    pub pieces: u32,
    pub price: String,
    /// In the outlet's currency, with its code.
    pub amount: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedStep {
    pub label: String,
    pub home: Decimal,
    pub working: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedParcels {
    pub count: u32,
    pub box_name: String,
    pub contents: Mass,
    pub gross: Mass,
}

impl From<&Ladder> for Expected {
    fn from(ladder: &Ladder) -> Expected {
        let packing = ladder.packing.as_ref();
        Expected {
            lines: ladder
                .lines
                .iter()
                .map(|line| ExpectedLine {
                    grade: line.grade.clone(),
                    mass: line.mass,
                    pieces: line.pieces,
                    price: line.quote.price.to_string(),
                    amount: Money::new(line.amount, ladder.payout.currency).to_string(),
                })
                .collect(),
            steps: ladder
                .steps
                .iter()
                .map(|step| ExpectedStep {
                    label: step.kind.label().to_string(),
                    home: step.home,
                    working: step.working.clone(),
                })
                .collect(),
            parcels: packing.map_or_else(Vec::new, |packing| {
                packing
                    .parcels
                    .iter()
                    .map(|parcels| ExpectedParcels {
                        count: parcels.count,
                        box_name: parcels.box_name.clone(),
                        contents: parcels.contents,
                        gross: parcels.gross,
                    })
                    .collect()
            }),
            service: packing.map_or_else(String::new, |packing| packing.service.clone()),
            payout: ladder.payout.to_string(),
        }
    }
}

/// A lot as it was packed.
#[derive(Debug, Clone)]
pub struct ShipmentLot {
    pub lot_id: LotId,
    pub container_label: String,
    pub grade_id: GradeId,
    pub grade_name: String,
    pub net: Mass,
    pub pieces: u32,
}

#[derive(FromRow)]
struct ShipmentRow {
    id: String,
    outlet_id: String,
    outlet_name: String,
    expected: String,
    expected_net: String,
    made_by: String,
    made_at: String,
    sent_at: Option<String>,
    cancelled_at: Option<String>,
    version: i64,
}

impl TryFrom<ShipmentRow> for Shipment {
    type Error = RowError;

    fn try_from(row: ShipmentRow) -> Result<Shipment, RowError> {
        let moment = |column, text: &str| RowError::read("shipments", column, text, |at| at.parse().ok());
        let state = match (&row.cancelled_at, &row.sent_at) {
            (Some(at), _) => ShipmentState::Cancelled { at: moment("cancelled_at", at)? },
            (None, Some(at)) => ShipmentState::Sent { at: moment("sent_at", at)? },
            (None, None) => ShipmentState::Packed,
        };
        Ok(Shipment {
            expected: RowError::read("shipments", "expected", &row.expected, |json| {
                serde_json::from_str(json).ok()
            })?,
            expected_net: RowError::decimal("shipments", "expected_net", &row.expected_net)?,
            made_at: moment("made_at", &row.made_at)?,
            id: row.id,
            outlet_id: OutletId::new(row.outlet_id),
            outlet_name: row.outlet_name,
            made_by: row.made_by,
            state,
            version: row.version,
        })
    }
}

#[derive(FromRow)]
struct ShipmentLotRow {
    lot_id: String,
    container_label: String,
    grade_id: String,
    grade_name: String,
    net_ug: i64,
    pieces: i64,
}

macro_rules! select_shipments {
    ($condition:literal) => {
        concat!(
            "SELECT s.id, s.outlet_id, o.name AS outlet_name, s.expected, s.expected_net, p.name AS made_by, ",
            "s.made_at, s.sent_at, s.cancelled_at, s.version ",
            "FROM shipments s JOIN outlets o ON o.id = s.outlet_id JOIN partners p ON p.id = s.made_by ",
            $condition
        )
    };
}

/// What a shipment is made of.
#[derive(Debug, Clone)]
pub struct NewShipment<'a> {
    pub id: &'a str,
    pub outlet_id: &'a OutletId,
    /// The lots as they were priced; [`StoreError::Stale`] if one is of another grade or holds something else by now.
    pub loads: &'a [Load],
    pub ladder: &'a Ladder,
}

impl Store {
    /// All shipments, newest first.
    pub async fn shipments(&self, shop_id: &str) -> Result<Vec<Shipment>, StoreError> {
        let sql = select_shipments!("WHERE s.shop_id = $1 ORDER BY s.made_at DESC, s.id DESC");
        let rows: Vec<ShipmentRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Shipment::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn shipment(&self, shop_id: &str, id: &str) -> Result<Shipment, StoreError> {
        let sql = select_shipments!("WHERE s.shop_id = $1 AND s.id = $2");
        let row: ShipmentRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// The lots of a shipment as they were packed.
    pub async fn shipment_lots(&self, shop_id: &str, id: &str) -> Result<Vec<ShipmentLot>, StoreError> {
        let sql = "SELECT x.lot_id, c.label AS container_label, l.grade_id, g.name AS grade_name, x.net_ug, x.pieces \
                   FROM shipment_lots x JOIN lots l ON l.id = x.lot_id JOIN containers c ON c.id = l.container_id \
                   JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
                   WHERE l.shop_id = $1 AND x.shipment_id = $2 ORDER BY g.position, c.label";
        let rows: Vec<ShipmentLotRow> =
            sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?;
        let lot = |row: ShipmentLotRow| {
            Ok(ShipmentLot {
                pieces: RowError::read("shipment_lots", "pieces", &row.pieces.to_string(), |p| {
                    p.parse().ok()
                })?,
                lot_id: LotId::new(row.lot_id),
                container_label: row.container_label,
                grade_id: GradeId::new(row.grade_id),
                grade_name: row.grade_name,
                net: Mass::from_micrograms(row.net_ug),
            })
        };
        rows.into_iter().map(lot).collect()
    }

    /// Makes a shipment and reserves its lots, all or nothing. The same id a second time changes nothing.
    pub async fn make_shipment(&self, by: &By, shipment: &NewShipment<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        make_shipment(&mut tx, by, shipment).await?;
        tx.commit().await
    }

    /// The parcels have left: each lot's ledger says so and the lot is closed.
    pub async fn send_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let By { partner_id: _, .. } = by;
        let mut tx = self.begin().await?;
        send_shipment(&mut tx, by, id, version).await?;
        tx.commit().await
    }

    /// Takes a shipment apart before it has left; its lots are free again.
    pub async fn cancel_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE shipments SET cancelled_at = $4, cancelled_by = $5, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND sent_at IS NULL AND cancelled_at IS NULL";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(id)
            .bind(version)
            .bind(stamp(*at))
            .bind(partner_id)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        let sql = "UPDATE shipment_lots SET released_at = $2 WHERE shipment_id = $1 AND released_at IS NULL";
        sqlx::query(sql).bind(id).bind(stamp(*at)).execute(&mut *tx).await?;
        tx.note(by, Noun::Shipment, id, "taken apart", "").await?;
        tx.commit().await
    }
}

/// Makes a shipment and reserves its lots inside `tx`. The same id a second time changes nothing.
pub async fn make_shipment(tx: &mut Tx, by: &By, shipment: &NewShipment<'_>) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let expected = serde_json::to_string(&Expected::from(shipment.ladder))
        .map_err(|cause| StoreError::Encode(cause.to_string()))?;
    let sql = "INSERT INTO shipments (id, shop_id, outlet_id, expected, expected_net, made_by, made_at, version) \
               SELECT $2, o.shop_id, o.id, $4, $5, $6, $7, 1 FROM outlets o \
               WHERE o.shop_id = $1 AND o.id = $3 AND o.closed_at IS NULL ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(shipment.id)
        .bind(shipment.outlet_id.as_str())
        .bind(expected)
        .bind(shipment.ladder.net.to_string())
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 0 {
        let sql = "SELECT id FROM shipments WHERE shop_id = $1 AND id = $2";
        let there: Option<(String,)> =
            sqlx::query_as(sql).bind(shop_id).bind(shipment.id).fetch_optional(&mut **tx).await?;
        return if there.is_some() { Ok(()) } else { Err(StoreError::Stale) };
    }
    // In the order of their ids, so that two shipments made at once cannot wait for each other.
    let mut loads: Vec<&Load> = shipment.loads.iter().collect();
    loads.sort_by_key(|load| &load.lot);
    for load in loads {
        reserve(tx, shop_id, shipment.id, load).await?;
    }
    tx.note(by, Noun::Shipment, shipment.id, "made", "").await
}

/// Lets a shipment leave inside `tx`; [`StoreError::Stale`] if it has changed since `version`.
pub async fn send_shipment(tx: &mut Tx, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "UPDATE shipments SET sent_at = $4, sent_by = $5, version = version + 1 WHERE shop_id = $1 \
               AND id = $2 AND version = $3 AND sent_at IS NULL AND cancelled_at IS NULL";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(id)
        .bind(version)
        .bind(stamp(*at))
        .bind(partner_id)
        .execute(&mut **tx)
        .await?;
    changed_one(done.rows_affected())?;
    let sql =
        "SELECT lot_id, net_ug, pieces FROM shipment_lots WHERE shipment_id = $1 AND released_at IS NULL";
    let lots: Vec<(String, i64, i64)> = sqlx::query_as(sql).bind(id).fetch_all(&mut **tx).await?;
    for (lot_id, net_ug, pieces) in &lots {
        let gone = NewWeighing {
            net: -Mass::from_micrograms(*net_ug),
            pieces: -pieces,
            ..NewWeighing::transfer(lot_id, WeighingKind::Sent)
        };
        add_weighing(tx, by, &gone).await?;
        close_lot(tx, by, lot_id).await?;
    }
    tx.note(by, Noun::Shipment, id, "sent", "").await
}

async fn reserve(tx: &mut Tx, shop_id: &str, shipment_id: &str, load: &Load) -> Result<(), StoreError> {
    let lot = lot_for_change(tx, shop_id, load.lot.as_str()).await?;
    let is_as_priced =
        lot.grade_id == load.grade.as_str() && lot.net == load.mass && lot.pieces == i64::from(load.pieces);
    if !is_as_priced {
        return Err(StoreError::Stale);
    }
    let sql = "INSERT INTO shipment_lots (shipment_id, lot_id, net_ug, pieces) VALUES ($1, $2, $3, $4)";
    sqlx::query(sql)
        .bind(shipment_id)
        .bind(&lot.id)
        .bind(lot.net.micrograms())
        .bind(lot.pieces)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
