//! The demo scenario: an invented shop in an invented lake town, loaded by the same code that serves a real one.

use jiff::Timestamp;
use rust_decimal::dec;
use trade::costs::Costs;
use trade::mass::MassStyle;
use trade::money::{Currency, Share};

use crate::catalogue;
use crate::store::shops::{Partner, ShopSettings, add_partner, add_shop};
use crate::store::{Store, StoreError, new_id};

#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Loads the demo into an empty store; a store that has a shop is left as it is.
pub async fn load(store: &Store, now: Timestamp) -> Result<(), DemoError> {
    if store.first_shop().await?.is_some() {
        return Ok(());
    }
    let mut tx = store.begin().await?;
    let shop_id = new_id();
    let settings = ShopSettings {
        name: "Kestrel Bay Salvage".into(),
        zone: "America/Detroit".into(),
        style: MassStyle::PoundsOunces,
        costs: Costs {
            home: Currency::USD,
            labour_per_hour: dec!(18),
            truck_per_km: dec!(0.42),
            capital_per_year: Share::new(dec!(0.10)).unwrap_or_default(),
            risk_per_year: Share::new(dec!(0.08)).unwrap_or_default(),
        },
    };
    add_shop(&mut tx, &shop_id, &settings, now).await?;
    for name in ["Imke", "Tobias"] {
        add_partner(&mut tx, &shop_id, &Partner { id: new_id(), name: name.into() }, now).await?;
    }
    catalogue::fill(&mut tx, &shop_id).await?;
    tx.commit().await.map_err(StoreError::from)?;
    Ok(())
}
