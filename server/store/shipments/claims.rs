//! What was paid for a shipment that was lost or broken on the way.

use super::ShipmentRefusal;
use crate::store::cash::{NewEntry, enter};
use crate::store::{By, Store, StoreError};

impl Store {
    /// Puts it into the cash book; refused of a shipment that has not left. The same id a second time changes nothing.
    pub async fn pay_claim(&self, by: &By, shipment_id: &str, entry: &NewEntry) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "SELECT sent_at FROM shipments WHERE shop_id = $1 AND id = $2";
        let (sent_at,): (Option<String>,) =
            sqlx::query_as(sql).bind(&by.shop_id).bind(shipment_id).fetch_one(&mut *tx).await?;
        if sent_at.is_none() {
            return Err(ShipmentRefusal::NotSent.into());
        }
        enter(&mut tx, by, entry).await?;
        tx.commit().await
    }
}
