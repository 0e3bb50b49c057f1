//! Shipments: lots for one mail-in buyer, from the plan to the money. A lot is in one at a time.

mod claims;
mod expected;
mod followed;
mod steps;
mod waybills;

use jiff::Timestamp;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::net::{Ladder, Load};
use trade::settlement::Promise;

use super::activity::Noun;
use super::containers::ContainerKind;
use super::lots::lot_for_change;
use super::{By, RowError, Store, StoreError, Tx, stamp};

pub use claims::pay_claim;
pub use expected::{Expected, ExpectedLine, ExpectedParcels, ExpectedStep};
pub(super) use followed::{follow, hold};
pub use steps::{Back, lose_shipment, pack_shipment, receive_shipment, send_shipment};
pub use waybills::{NewWaybill, PackedBox, Waybill, add_waybill};

/// Where a shipment stands, and since when. What is settled has its settlement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShipmentState {
    /// Its lots are reserved.
    Planned,
    Packed {
        at: Timestamp,
    },
    Sent {
        at: Timestamp,
    },
    Received {
        at: Timestamp,
    },
    Settled {
        at: Timestamp,
        settlement_id: String,
    },
    /// Settled by the buyer, and the shop does not agree.
    Disputed {
        at: Timestamp,
        settlement_id: String,
    },
    /// Its lots are on the shelf again.
    Returned {
        at: Timestamp,
    },
    /// The carrier or an insurer may still pay for it, until it is written off.
    Lost {
        at: Timestamp,
        written_off: Option<WrittenOff>,
    },
    Cancelled {
        at: Timestamp,
    },
}

/// That a lost shipment was given up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenOff {
    pub at: Timestamp,
    /// The partner's name.
    pub by: String,
}

impl ShipmentState {
    pub const fn label(&self) -> &'static str {
        match self {
            ShipmentState::Planned => "planned",
            ShipmentState::Packed { .. } => "packed",
            ShipmentState::Sent { .. } => "sent",
            ShipmentState::Received { .. } => "received",
            ShipmentState::Settled { .. } => "settled",
            ShipmentState::Disputed { .. } => "disputed",
            ShipmentState::Returned { .. } => "came back",
            ShipmentState::Lost { .. } => "lost",
            ShipmentState::Cancelled { .. } => "taken apart",
        }
    }

    /// How its stamp is coloured; the word says it too.
    pub const fn tone(&self) -> &'static str {
        match self {
            ShipmentState::Planned | ShipmentState::Packed { .. } => "attention",
            ShipmentState::Sent { .. } | ShipmentState::Received { .. } | ShipmentState::Settled { .. } => {
                "gain"
            }
            ShipmentState::Disputed { .. } | ShipmentState::Lost { .. } => "loss",
            ShipmentState::Returned { .. } | ShipmentState::Cancelled { .. } => "",
        }
    }

    /// Since when, but for a planned one.
    pub const fn since(&self) -> Option<Timestamp> {
        match self {
            ShipmentState::Planned => None,
            ShipmentState::Packed { at }
            | ShipmentState::Sent { at }
            | ShipmentState::Received { at }
            | ShipmentState::Settled { at, .. }
            | ShipmentState::Disputed { at, .. }
            | ShipmentState::Returned { at }
            | ShipmentState::Lost { at, .. }
            | ShipmentState::Cancelled { at } => Some(*at),
        }
    }

    /// Whether it can still be changed: it has not left.
    pub const fn is_here(&self) -> bool {
        matches!(self, ShipmentState::Planned | ShipmentState::Packed { .. })
    }

    /// Whether the buyer owes something for it that nobody has entered.
    pub const fn is_out(&self) -> bool {
        matches!(self, ShipmentState::Sent { .. } | ShipmentState::Received { .. })
    }

    pub fn settlement_id(&self) -> Option<&str> {
        match self {
            ShipmentState::Settled { settlement_id, .. } | ShipmentState::Disputed { settlement_id, .. } => {
                Some(settlement_id)
            }
            _ => None,
        }
    }
}

/// Why a shipment cannot be changed like that. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ShipmentRefusal {
    #[error("It has been sent: what is changed now is a correction. Say in a few words what was wrong.")]
    SayWhy,
    #[error("It has not left, so nothing was lost on the way. Look at where it stands.")]
    NotSent,
    #[error("It was taken apart, so there is nothing to pack.")]
    Apart,
    #[error("One of the lots is not in the shipment any more. Reload the page and look again.")]
    NotInIt,
    #[error("It is settled, so all of it cannot have come back. Take the settlement back first.")]
    Settled,
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
    pub sent_at: Option<Timestamp>,
    /// Whether something is still to be done about it.
    pub is_open: bool,
    pub version: i64,
}

/// A lot as it was packed.
#[derive(Debug, Clone)]
pub struct ShipmentLot {
    pub lot_id: LotId,
    pub container_id: String,
    pub container_kind: ContainerKind,
    pub container_label: String,
    pub grade_id: GradeId,
    pub grade_name: String,
    pub net: Mass,
    pub pieces: u32,
    /// It is not in the shipment any more: it came back, or the shipment was taken apart.
    pub is_back: bool,
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
    packed_at: Option<String>,
    sent_at: Option<String>,
    received_at: Option<String>,
    ended_at: Option<String>,
    ended_as: Option<String>,
    disputed_at: Option<String>,
    cancelled_at: Option<String>,
    settlement_id: Option<String>,
    settled_at: Option<String>,
    written_off_at: Option<String>,
    written_off_by: Option<String>,
    is_open: i64,
    version: i64,
}

impl ShipmentRow {
    fn state(&self) -> Result<ShipmentState, RowError> {
        let stamped =
            |column, text: &Option<String>| text.as_deref().map(|text| moment(column, text)).transpose();
        let ended = stamped("ended_at", &self.ended_at)?;
        let lost = |kind: &str| ended.filter(|_| self.ended_as.as_deref() == Some(kind));
        if let Some(at) = stamped("cancelled_at", &self.cancelled_at)? {
            return Ok(ShipmentState::Cancelled { at });
        }
        if let Some(at) = lost("returned") {
            return Ok(ShipmentState::Returned { at });
        }
        if let (Some(settlement_id), Some(settled)) =
            (self.settlement_id.clone(), stamped("settled_at", &self.settled_at)?)
        {
            return Ok(match stamped("disputed_at", &self.disputed_at)? {
                Some(at) => ShipmentState::Disputed { at, settlement_id },
                None => ShipmentState::Settled { at: settled, settlement_id },
            });
        }
        if let Some(at) = lost("lost") {
            let since = stamped("written_off_at", &self.written_off_at)?;
            let written_off = since.zip(self.written_off_by.clone()).map(|(at, by)| WrittenOff { at, by });
            return Ok(ShipmentState::Lost { at, written_off });
        }
        Ok(match (stamped("received_at", &self.received_at)?, stamped("sent_at", &self.sent_at)?) {
            (Some(at), _) => ShipmentState::Received { at },
            (None, Some(at)) => ShipmentState::Sent { at },
            (None, None) => match stamped("packed_at", &self.packed_at)? {
                Some(at) => ShipmentState::Packed { at },
                None => ShipmentState::Planned,
            },
        })
    }
}

fn moment(column: &'static str, text: &str) -> Result<Timestamp, RowError> {
    RowError::read("shipments", column, text, |at| at.parse().ok())
}

impl TryFrom<ShipmentRow> for Shipment {
    type Error = RowError;

    fn try_from(row: ShipmentRow) -> Result<Shipment, RowError> {
        let state = row.state()?;
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
            sent_at: row.sent_at.as_deref().map(|at| moment("sent_at", at)).transpose()?,
            is_open: row.is_open != 0,
            version: row.version,
        })
    }
}

#[derive(FromRow)]
struct ShipmentLotRow {
    lot_id: String,
    container_id: String,
    container_kind: String,
    container_label: String,
    grade_id: String,
    grade_name: String,
    net_ug: i64,
    pieces: i64,
    released_at: Option<String>,
}

macro_rules! select_shipments {
    ($condition:literal) => {
        concat!(
            "SELECT s.id, s.outlet_id, o.name AS outlet_name, s.expected, s.expected_net, p.name AS made_by, ",
            "s.made_at, s.packed_at, s.sent_at, s.received_at, s.ended_at, s.ended_as, s.disputed_at, s.cancelled_at, ",
            "t.id AS settlement_id, t.at AS settled_at, s.written_off_at, w.name AS written_off_by, s.is_open, s.version ",
            "FROM shipments s JOIN outlets o ON o.id = s.outlet_id JOIN partners p ON p.id = s.made_by ",
            "LEFT JOIN partners w ON w.id = s.written_off_by ",
            "LEFT JOIN settlements t ON t.shipment_id = s.id AND t.kind = 'paper' ",
            "AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = t.id) ",
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
    pub promise: &'a Promise,
}

impl Store {
    /// All shipments, newest first.
    pub async fn shipments(&self, shop_id: &str) -> Result<Vec<Shipment>, StoreError> {
        let sql = select_shipments!("WHERE s.shop_id = $1 ORDER BY s.made_at DESC, s.id DESC");
        let rows: Vec<ShipmentRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Shipment::try_from).collect::<Result<_, _>>()?)
    }

    /// Shipments that something is still to be done about, newest first: not sent, not paid, disputed, or lost with a claim
    /// open.
    pub async fn open_shipments(&self, shop_id: &str) -> Result<Vec<Shipment>, StoreError> {
        let sql =
            select_shipments!("WHERE s.shop_id = $1 AND s.is_open = 1 ORDER BY s.made_at DESC, s.id DESC");
        let rows: Vec<ShipmentRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Shipment::try_from).collect::<Result<_, _>>()?)
    }

    /// The others, newest first, at most `most` of those made before the shipment `before`.
    pub async fn done_shipments(
        &self,
        shop_id: &str,
        before: Option<&str>,
        most: u32,
    ) -> Result<Vec<Shipment>, StoreError> {
        let sql = "SELECT made_at, id FROM shipments WHERE shop_id = $1 AND id = $2";
        let end: Option<(String, String)> = match before {
            Some(id) => sqlx::query_as(sql).bind(shop_id).bind(id).fetch_optional(self.readers()).await?,
            // After every moment.
            None => Some(("~".to_string(), String::new())),
        };
        let Some(end) = end else { return Ok(Vec::new()) };
        let sql = select_shipments!(
            "WHERE s.shop_id = $1 AND s.is_open = 0 AND (s.made_at, s.id) < ($2, $3) \
             ORDER BY s.made_at DESC, s.id DESC LIMIT $4"
        );
        let rows: Vec<ShipmentRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(end.0)
            .bind(end.1)
            .bind(i64::from(most))
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Shipment::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn shipment(&self, shop_id: &str, id: &str) -> Result<Shipment, StoreError> {
        let sql = select_shipments!("WHERE s.shop_id = $1 AND s.id = $2");
        let row: ShipmentRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// The lots of a shipment as they were packed.
    pub async fn shipment_lots(&self, shop_id: &str, id: &str) -> Result<Vec<ShipmentLot>, StoreError> {
        let sql = "SELECT x.lot_id, c.id AS container_id, c.kind AS container_kind, c.label AS container_label, l.grade_id, g.name AS grade_name, x.net_ug, x.pieces, x.released_at \
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
                container_kind: ContainerKind::stored(&row.container_kind)?,
                lot_id: LotId::new(row.lot_id),
                container_id: row.container_id,
                container_label: row.container_label,
                grade_id: GradeId::new(row.grade_id),
                grade_name: row.grade_name,
                net: Mass::from_micrograms(row.net_ug),
                is_back: row.released_at.is_some(),
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
}

/// Makes a shipment and reserves its lots inside `tx`. The same id a second time changes nothing.
pub async fn make_shipment(tx: &mut Tx, by: &By, shipment: &NewShipment<'_>) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let expected = Expected { promise: Some(shipment.promise.clone()), ..Expected::from(shipment.ladder) };
    let expected = serde_json::to_string(&expected).map_err(|cause| StoreError::Encode(cause.to_string()))?;
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
