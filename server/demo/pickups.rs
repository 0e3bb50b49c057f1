//! Where some of the lots came from, as the partners wrote it down.

use rust_decimal::Decimal;
use serde::Deserialize;
use trade::money::Money;

use super::scenario::Moment;
use super::{DemoError, Loader};
use crate::store::new_id;
use crate::store::pickups::{PickupDetails, add_pickup, name_pickup};

#[derive(Deserialize)]
pub struct PickupsFile {
    pub pickup: Vec<PickupEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PickupEntry {
    pub place: String,
    pub what: String,
    #[serde(default)]
    pub from_whom: String,
    /// Home currency; left out where it was free.
    pub cost: Option<Decimal>,
    /// When it was; it was written down at once.
    pub made: Moment,
    /// Labels of the containers that it went into.
    #[serde(default)]
    pub lots: Vec<String>,
    #[serde(default)]
    pub note: String,
}

impl Loader<'_> {
    pub(super) async fn pickups(&mut self) -> Result<(), DemoError> {
        for entry in &self.scenario.pickups {
            self.pickup(entry).await?;
        }
        Ok(())
    }

    async fn pickup(&mut self, entry: &PickupEntry) -> Result<(), DemoError> {
        let (id, by) = (new_id(), self.by(&entry.made)?);
        let details = PickupDetails {
            day: self.day(entry.made.ago),
            place: entry.place.clone(),
            what: entry.what.clone(),
            from_whom: entry.from_whom.clone(),
            cost: Money::new(entry.cost.unwrap_or(Decimal::ZERO), self.scenario.shop.costs.home),
            note: entry.note.clone(),
        };
        add_pickup(&mut self.tx, &by, &id, &details).await?;
        for label in &entry.lots {
            let lot = self.lots.get(label);
            let lot = lot.ok_or_else(|| DemoError::of("pickups.toml", format!("{label} is no lot")))?;
            name_pickup(&mut self.tx, &self.shop_id, lot.id.as_str(), Some(&id)).await?;
        }
        Ok(())
    }
}
