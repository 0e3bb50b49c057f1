//! What was paid for a shipment that was lost or broken on the way.

use super::{ShipmentRefusal, follow, hold};
use crate::store::cash::{NewEntry, enter};
use crate::store::{By, Store, StoreError, Tx};

impl Store {
    /// Puts it into the cash book; refused of a shipment that has not left. The same id a second time changes nothing.
    pub async fn pay_claim(&self, by: &By, shipment_id: &str, entry: &NewEntry) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        pay_claim(&mut tx, by, shipment_id, entry).await?;
        tx.commit().await
    }
}

/// Puts what was paid for a shipment into the cash book inside `tx`.
pub async fn pay_claim(tx: &mut Tx, by: &By, shipment_id: &str, entry: &NewEntry) -> Result<(), StoreError> {
    let held = hold(tx, &by.shop_id, shipment_id).await?.ok_or(StoreError::Missing)?;
    if !held.has_left {
        return Err(ShipmentRefusal::NotSent.into());
    }
    enter(tx, by, entry).await?;
    follow(tx, &by.shop_id, shipment_id).await
}
