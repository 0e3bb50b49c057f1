//! The steps of a shipment, each from where it may stand to where it stands then. One that comes too late is
//! [`StoreError::Stale`].

use trade::ids::LotId;
use trade::mass::Mass;

use super::{ShipmentRefusal, follow};
use crate::store::activity::Noun;
use crate::store::cash::{Document, DocumentKind};
use crate::store::containers::{ContainerDetails, ContainerKind, add_container, let_go, take_back_container};
use crate::store::lots::{LotRefusal, close_lot, reopen_lot};
use crate::store::settlements::undo_entries;
use crate::store::weighings::{NewWeighing, WeighingKind, add_weighing};
use crate::store::{By, Store, StoreError, Tx, changed_one, new_id, stamp};

/// A lot that came back, and what it goes into where its container has another lot by now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Back {
    pub lot: LotId,
    /// The label of a new container.
    pub label: Option<String>,
}

impl Store {
    /// All boxes are closed.
    pub async fn pack_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        pack_shipment(&mut tx, by, id, version).await?;
        tx.commit().await
    }

    /// The parcels have left: each lot's ledger says so and the lot is closed.
    pub async fn send_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        send_shipment(&mut tx, by, id, version).await?;
        tx.commit().await
    }

    /// The same, and some of the lots' containers have gone with the parcels: they are out of use.
    pub async fn send_shipment_with(
        &self,
        by: &By,
        id: &str,
        version: i64,
        containers: &[String],
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        send_shipment(&mut tx, by, id, version).await?;
        let_go(&mut tx, by, id, containers).await?;
        tx.commit().await
    }

    /// The buyer has it.
    pub async fn receive_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        receive_shipment(&mut tx, by, id, version).await?;
        tx.commit().await
    }

    /// The carrier has lost it: nothing of it comes back.
    pub async fn lose_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        lose_shipment(&mut tx, by, id, version).await?;
        tx.commit().await
    }

    /// What was lost has turned up, and is on its way again.
    pub async fn find_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE shipments SET ended_at = NULL, ended_by = NULL, ended_as = NULL, written_off_at = NULL, \
                   written_off_by = NULL, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND ended_as = 'lost'";
        let query = sqlx::query(sql).bind(shop_id).bind(id).bind(version);
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        follow(&mut tx, shop_id, id).await?;
        tx.note(by, Noun::Shipment, id, "turned up", "").await?;
        tx.commit().await
    }

    /// Takes a shipment apart before it has left; its lots are free again.
    pub async fn cancel_shipment(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let By { at, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE shipments SET cancelled_at = $4, cancelled_by = $5, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND sent_at IS NULL AND cancelled_at IS NULL";
        step(&mut tx, by, sql, id, version).await?;
        let sql = "UPDATE shipment_lots SET released_at = $2 WHERE shipment_id = $1 AND released_at IS NULL";
        sqlx::query(sql).bind(id).bind(stamp(*at)).execute(&mut *tx).await?;
        tx.note(by, Noun::Shipment, id, "taken apart", "").await?;
        undo_entries(&mut tx, by, &Document::new(DocumentKind::Shipment, id), "taken apart").await?;
        tx.commit().await
    }

    /// The shop does not agree with its settlement, or does again.
    pub async fn dispute_shipment(
        &self,
        by: &By,
        id: &str,
        version: i64,
        is_disputed: bool,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let (sql, deed) = if is_disputed {
            let sql = "UPDATE shipments SET disputed_at = $4, disputed_by = $5, version = version + 1 \
                       WHERE shop_id = $1 AND id = $2 AND version = $3 AND disputed_at IS NULL AND EXISTS \
                       (SELECT 1 FROM settlements t WHERE t.shipment_id = shipments.id AND t.kind = 'paper' \
                       AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = t.id))";
            (sql, "disputed")
        } else {
            // Both values are named so that the statement takes the same ones.
            let sql = "UPDATE shipments SET disputed_at = NULL, disputed_by = NULL, version = version + 1 \
                       WHERE shop_id = $1 AND id = $2 AND version = $3 AND disputed_at IS NOT NULL \
                       AND disputed_at <= $4 AND CAST($5 AS TEXT) IS NOT NULL";
            (sql, "dispute ended")
        };
        step(&mut tx, by, sql, id, version).await?;
        tx.note(by, Noun::Shipment, id, deed, "").await?;
        tx.commit().await
    }

    /// Lots of it came back: each is on the shelf again by an entry in its ledger. Where that is all of them, the shipment
    /// has come back.
    pub async fn return_shipment(
        &self,
        by: &By,
        id: &str,
        version: i64,
        lots: &[Back],
    ) -> Result<(), StoreError> {
        let By { shop_id, at, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE shipments SET version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3 \
                   AND sent_at IS NOT NULL AND ended_at IS NULL";
        let query = sqlx::query(sql).bind(shop_id).bind(id).bind(version);
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        // In the order of their ids, as every change of several lots.
        let mut lots: Vec<&Back> = lots.iter().collect();
        lots.sort_by_key(|back| &back.lot);
        for back in lots {
            take_back(&mut tx, by, id, back).await?;
        }
        let sql = "SELECT COUNT(*) FROM shipment_lots WHERE shipment_id = $1 AND released_at IS NULL";
        let (left,): (i64,) = sqlx::query_as(sql).bind(id).fetch_one(&mut *tx).await?;
        if left == 0 {
            let sql = "UPDATE shipments SET ended_at = $3, ended_by = $4, ended_as = 'returned' \
                       WHERE shop_id = $1 AND id = $2 AND NOT EXISTS \
                       (SELECT 1 FROM settlements t WHERE t.shipment_id = shipments.id AND t.kind = 'paper' \
                       AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = t.id))";
            let query = sqlx::query(sql).bind(shop_id).bind(id).bind(stamp(*at)).bind(&by.partner_id);
            if query.execute(&mut *tx).await?.rows_affected() != 1 {
                return Err(ShipmentRefusal::Settled.into());
            }
            follow(&mut tx, shop_id, id).await?;
        }
        let deed = if left == 0 { "came back" } else { "came back in part" };
        tx.note(by, Noun::Shipment, id, deed, "").await?;
        tx.commit().await
    }
}

/// Runs a statement that takes shop, id, version, the moment and who, and has to find the shipment where it says.
async fn step(tx: &mut Tx, by: &By, sql: &'static str, id: &str, version: i64) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let query = sqlx::query(sql).bind(shop_id).bind(id).bind(version).bind(stamp(*at)).bind(partner_id);
    changed_one(query.execute(&mut **tx).await?.rows_affected())?;
    follow(tx, shop_id, id).await
}

/// Marks a shipment as packed inside `tx`.
pub async fn pack_shipment(tx: &mut Tx, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
    let sql = "UPDATE shipments SET packed_at = $4, packed_by = $5, version = version + 1 WHERE shop_id = $1 \
               AND id = $2 AND version = $3 AND packed_at IS NULL AND sent_at IS NULL AND cancelled_at IS NULL";
    step(tx, by, sql, id, version).await?;
    tx.note(by, Noun::Shipment, id, "packed", "").await
}

/// Lets a shipment leave inside `tx`. One that nobody called packed is packed by that.
pub async fn send_shipment(tx: &mut Tx, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
    let sql = "UPDATE shipments SET sent_at = $4, sent_by = $5, packed_at = COALESCE(packed_at, $4), \
               packed_by = COALESCE(packed_by, $5), version = version + 1 WHERE shop_id = $1 \
               AND id = $2 AND version = $3 AND sent_at IS NULL AND cancelled_at IS NULL";
    step(tx, by, sql, id, version).await?;
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

/// Marks a shipment as received inside `tx`.
pub async fn receive_shipment(tx: &mut Tx, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
    let sql = "UPDATE shipments SET received_at = $4, received_by = $5, version = version + 1 WHERE shop_id = $1 \
               AND id = $2 AND version = $3 AND sent_at IS NOT NULL AND received_at IS NULL AND ended_at IS NULL";
    step(tx, by, sql, id, version).await?;
    tx.note(by, Noun::Shipment, id, "received", "").await
}

/// Marks a shipment as lost inside `tx`.
pub async fn lose_shipment(tx: &mut Tx, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
    let sql = "UPDATE shipments SET ended_at = $4, ended_by = $5, ended_as = 'lost', version = version + 1 \
               WHERE shop_id = $1 AND id = $2 AND version = $3 AND sent_at IS NOT NULL AND ended_at IS NULL";
    step(tx, by, sql, id, version).await?;
    tx.note(by, Noun::Shipment, id, "lost", "").await
}

/// Puts a lot back on the shelf, in its own container or in a new one.
async fn take_back(tx: &mut Tx, by: &By, shipment_id: &str, back: &Back) -> Result<(), StoreError> {
    let By { shop_id, at, .. } = by;
    let lot_id = back.lot.as_str();
    let sql = "UPDATE shipment_lots SET released_at = $3 WHERE shipment_id = $1 AND lot_id = $2 \
               AND released_at IS NULL RETURNING net_ug, pieces";
    let row: Option<(i64, i64)> =
        sqlx::query_as(sql).bind(shipment_id).bind(lot_id).bind(stamp(*at)).fetch_optional(&mut **tx).await?;
    let Some((net_ug, pieces)) = row else { return Err(ShipmentRefusal::NotInIt.into()) };
    let sql = "SELECT c.id, c.kind, c.tare_ug, \
               (SELECT o.id FROM lots o WHERE o.container_id = c.id AND o.closed_at IS NULL) \
               FROM lots l JOIN containers c ON c.id = l.container_id WHERE l.shop_id = $1 AND l.id = $2";
    let (own, kind, tare_ug, taken): (String, String, i64, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(lot_id).fetch_one(&mut **tx).await?;
    let container_id = match &back.label {
        None if taken.is_none() => {
            take_back_container(tx, by, &own).await?;
            own
        }
        None => return Err(LotRefusal::ContainerTaken.into()),
        Some(label) => {
            let id = new_id();
            let details = ContainerDetails {
                label: label.clone(),
                kind: ContainerKind::stored(&kind)?,
                tare: Mass::from_micrograms(tare_ug),
            };
            add_container(tx, by, &id, &details).await?;
            id
        }
    };
    reopen_lot(tx, by, lot_id, &container_id).await?;
    let returned = NewWeighing {
        net: Mass::from_micrograms(net_ug),
        pieces,
        ..NewWeighing::transfer(lot_id, WeighingKind::Returned)
    };
    add_weighing(tx, by, &returned).await?;
    tx.note(by, Noun::Lot, lot_id, "came back", "").await
}
