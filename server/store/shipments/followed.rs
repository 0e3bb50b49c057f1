//! Whether something is still to be done about a shipment, as its row has it. It hangs on what was paid for it as well, so
//! it is looked up after each change of a shipment, its settlements or its claims, and `check` looks it all up again.

use crate::store::activity::Noun;
use crate::store::{By, Store, StoreError, Tx, changed_one, stamp};

/// Whether something is to be done about a row of `shipments`, as 1 or 0: it has not been paid, or not as it should have
/// been. One that was lost is done with when the carrier or an insurer has paid, or it was written off.
macro_rules! is_open {
    () => {
        "CASE WHEN shipments.cancelled_at IS NULL AND COALESCE(shipments.ended_as, '') <> 'returned' AND CASE \
         WHEN EXISTS (SELECT 1 FROM settlements t WHERE t.shipment_id = shipments.id AND t.kind = 'paper' \
         AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = t.id)) \
         THEN shipments.disputed_at IS NOT NULL \
         WHEN shipments.ended_as = 'lost' THEN shipments.written_off_at IS NULL \
         AND NOT EXISTS (SELECT 1 FROM cash_entries e WHERE e.document = 'claim' \
         AND e.document_id = shipments.id AND e.reverses_id IS NULL AND e.values_id IS NULL \
         AND NOT EXISTS (SELECT 1 FROM cash_entries u WHERE u.reverses_id = e.id)) \
         ELSE TRUE END THEN 1 ELSE 0 END"
    };
}

impl Store {
    /// Gives a lost shipment up: nothing will be paid for it. Or waits for it after all.
    pub async fn write_off_shipment(
        &self,
        by: &By,
        id: &str,
        version: i64,
        is_written_off: bool,
    ) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let (at, who) = (is_written_off.then(|| stamp(*at)), is_written_off.then_some(partner_id));
        let sql = "UPDATE shipments SET written_off_at = $4, written_off_by = $5, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND ended_as = 'lost' \
                   AND CASE WHEN CAST($4 AS TEXT) IS NULL THEN written_off_at IS NOT NULL ELSE written_off_at IS NULL END";
        let query = sqlx::query(sql).bind(shop_id).bind(id).bind(version).bind(at).bind(who);
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        follow(&mut tx, shop_id, id).await?;
        let deed = if is_written_off { "written off" } else { "waited for after all" };
        tx.note(by, Noun::Shipment, id, deed, "").await?;
        tx.commit().await
    }

    /// Shipments that do not say rightly whether something is to be done about them, a line each.
    pub(in crate::store) async fn check_followed(&self) -> Result<Vec<String>, StoreError> {
        let sql = concat!("SELECT id FROM shipments WHERE is_open <> ", is_open!());
        let rows: Vec<(String,)> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
        let told = |(id,): (String,)| format!("a shipment that is followed for nothing, or forgotten: {id}");
        Ok(rows.into_iter().map(told).collect())
    }
}

/// Holds a shipment's row until the transaction ends, so that what is about to change about it is changed by one alone.
/// `None` where there is none.
pub(in crate::store) async fn hold(tx: &mut Tx, shop_id: &str, id: &str) -> Result<Option<Held>, StoreError> {
    let sql = "UPDATE shipments SET version = version WHERE shop_id = $1 AND id = $2 RETURNING sent_at";
    let row: Option<(Option<String>,)> =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_optional(&mut **tx).await?;
    Ok(row.map(|(sent_at,)| Held { has_left: sent_at.is_some() }))
}

/// A shipment whose row is held.
pub(in crate::store) struct Held {
    pub has_left: bool,
}

/// Looks up again whether something is to be done about a shipment, after a change of it.
pub(in crate::store) async fn follow(tx: &mut Tx, shop_id: &str, id: &str) -> Result<(), StoreError> {
    let sql = concat!("UPDATE shipments SET is_open = ", is_open!(), " WHERE shop_id = $1 AND id = $2");
    sqlx::query(sql).bind(shop_id).bind(id).execute(&mut **tx).await?;
    Ok(())
}

impl Tx {
    /// What stands in a shop's rows because of other rows, made anew for an archive that may be older than it.
    pub async fn derive_anew(&mut self, shop_id: &str) -> Result<(), StoreError> {
        self.moved().count_anew(shop_id);
        let sql = concat!("UPDATE shipments SET is_open = ", is_open!(), " WHERE shop_id = $1");
        sqlx::query(sql).bind(shop_id).execute(&mut **self).await?;
        Ok(())
    }
}
