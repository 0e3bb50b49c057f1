//! Lots in parts: split, merged, and of which a part has gone.

use trade::ids::GradeId;
use trade::mass::Mass;

use super::{LotRefusal, NewLot, Target, can_hold, close_lot, hold_lot, is_there, open_lot};
use crate::store::activity::Noun;
use crate::store::weighings::{NewWeighing, WeighingKind, add_weighing};
use crate::store::{By, Store, StoreError, Tx, changed_one, stamp};

/// Part of a lot, and the lot that it becomes.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    pub lot_id: &'a str,
    pub new_lot_id: &'a str,
    pub mass: Mass,
    pub pieces: u32,
    pub typed: &'a str,
}

impl Store {
    /// Moves part of a lot into a new lot of the same grade in another container.
    pub async fn split(&self, by: &By, part: &Part<'_>, container: Target) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let lot = hold_lot(&mut tx, shop_id, part.lot_id).await?;
        if is_there(&mut tx, shop_id, part.new_lot_id).await? {
            // The same form sent twice: the first one has done it.
            return Ok(());
        }
        let lot = lot?;
        if lot.net <= part.mass || lot.pieces < i64::from(part.pieces) {
            return Err(LotRefusal::BelowNothing.into());
        }
        let target =
            NewLot { id: part.new_lot_id, container, grade: GradeId::new(lot.grade_id), source: &lot.source };
        open_lot(&mut tx, by, &target).await?;
        // It came from where the lot did.
        let sql = "UPDATE lots SET pickup_id = (SELECT o.pickup_id FROM lots o WHERE o.shop_id = $1 AND o.id = $2) \
                   WHERE shop_id = $1 AND id = $3";
        sqlx::query(sql).bind(shop_id).bind(part.lot_id).bind(part.new_lot_id).execute(&mut *tx).await?;
        move_mass(&mut tx, by, part).await?;
        tx.note(by, Noun::Lot, part.lot_id, "split", part.typed).await?;
        tx.commit().await
    }

    /// Puts all of lot `from` on lot `into` and closes `from`.
    pub async fn merge(&self, by: &By, from: &str, into: &str) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        if from == into {
            return Err(LotRefusal::Itself.into());
        }
        let mut tx = self.begin().await?;
        // Always in the order of their ids, so that two merges the other way round cannot wait for each other.
        let (first, second) = if from < into { (from, into) } else { (into, from) };
        let a = hold_lot(&mut tx, shop_id, first).await?;
        let b = hold_lot(&mut tx, shop_id, second).await?;
        if is_merged(&mut tx, shop_id, from, into).await? {
            // The same form sent twice: the first one has done it.
            return Ok(());
        }
        let (a, b) = (a?, b?);
        if a.grade_id != b.grade_id {
            return Err(LotRefusal::OtherGrade.into());
        }
        can_hold(a.net + b.net, a.pieces + b.pieces)?;
        let moved = if a.id == from { a } else { b };
        for (lot, other, kind, sign) in
            [(from, into, WeighingKind::MergeOut, -1), (into, from, WeighingKind::MergeIn, 1)]
        {
            let weighing = NewWeighing {
                net: moved.net.times(sign.into()),
                pieces: moved.pieces * sign,
                other_lot_id: Some(other),
                ..NewWeighing::transfer(lot, kind)
            };
            add_weighing(&mut tx, by, &weighing).await?;
        }
        close_lot(&mut tx, by, from).await?;
        tx.note(by, Noun::Lot, into, "merged into", "").await?;
        tx.commit().await
    }
}

/// Makes a lot of the part of another one that has gone: in the same container, and closed from the start.
pub(crate) async fn split_off_gone(
    tx: &mut Tx,
    by: &By,
    lot_id: &str,
    new_lot_id: &str,
) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "INSERT INTO lots (id, shop_id, container_id, grade_id, source, note, opened_at, opened_by, closed_at, \
               version, pickup_id) SELECT $3, shop_id, container_id, grade_id, source, '', $4, $5, $4, 1, pickup_id \
               FROM lots WHERE shop_id = $1 AND id = $2";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(lot_id)
        .bind(new_lot_id)
        .bind(stamp(*at))
        .bind(partner_id)
        .execute(&mut **tx)
        .await?;
    changed_one(done.rows_affected())?;
    tx.note(by, Noun::Lot, lot_id, "split", "a part of it has gone").await
}

/// Whether lot `from` is gone because it was put on lot `into`.
async fn is_merged(tx: &mut Tx, shop_id: &str, from: &str, into: &str) -> Result<bool, StoreError> {
    let sql = "SELECT l.id FROM lots l JOIN weighings w ON w.lot_id = l.id AND w.at = l.closed_at \
               WHERE l.shop_id = $1 AND l.id = $2 AND w.kind = 'merge-out' AND w.other_lot_id = $3";
    let merged: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(from).bind(into).fetch_optional(&mut **tx).await?;
    Ok(merged.is_some())
}

/// Moves mass and pieces from a lot to the one that was made of it.
pub(crate) async fn move_mass(tx: &mut Tx, by: &By, part: &Part<'_>) -> Result<(), StoreError> {
    for (lot, other, kind, sign) in [
        (part.lot_id, part.new_lot_id, WeighingKind::SplitOut, -1),
        (part.new_lot_id, part.lot_id, WeighingKind::SplitIn, 1),
    ] {
        let weighing = NewWeighing {
            net: part.mass.times(sign.into()),
            pieces: i64::from(part.pieces) * sign,
            typed: part.typed,
            other_lot_id: Some(other),
            ..NewWeighing::transfer(lot, kind)
        };
        add_weighing(tx, by, &weighing).await?;
    }
    Ok(())
}
