//! The shelves that were loaded last. As long as nothing has been saved since, a page is drawn from these.

use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;
use jiff::civil::Date;

use crate::shelf::Shelf;
use crate::store::lots::Lot;
use crate::store::shops::Shop;
use crate::store::{Store, StoreError};

/// How many shops' shelves are kept.
const KEPT: usize = 8;

/// A shelf with the lots of the shop, those among them that are reserved as well.
#[derive(Debug)]
pub struct Loaded {
    pub lots: Vec<Lot>,
    pub shelf: Arc<Shelf>,
}

/// All that a shelf depends on.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Seen {
    shop_id: String,
    /// Of the shop's own row, which the caller has read before.
    shop_version: i64,
    today: Date,
    /// Of the whole store.
    version: i64,
}

#[derive(Debug, Default)]
pub struct Shelves {
    last: Mutex<Vec<(Seen, Arc<Loaded>)>>,
}

impl Shelves {
    /// The shelf as it stands: the one that was loaded last, or loaded now.
    pub async fn load(&self, store: &Store, shop: &Shop, now: Timestamp) -> Result<Arc<Loaded>, StoreError> {
        // Asked before anything is read: what is saved meanwhile makes the next one ask anew.
        let version = store.version().await;
        let seen = version.map(|version| Seen {
            shop_id: shop.id.clone(),
            shop_version: shop.version,
            today: now.to_zoned_datetime(shop.zone.clone()).date(),
            version,
        });
        if let Some(loaded) = seen.as_ref().and_then(|seen| self.found(seen)) {
            return Ok(loaded);
        }
        let lots = store.open_lots(&shop.id).await?;
        let shelf = Arc::new(Shelf::of_lots(store, shop, now, lots.clone(), None).await?);
        let loaded = Arc::new(Loaded { lots, shelf });
        if let Some(seen) = seen {
            self.keep(seen, &loaded);
        }
        Ok(loaded)
    }

    fn found(&self, seen: &Seen) -> Option<Arc<Loaded>> {
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        last.iter().find(|(known, _)| known == seen).map(|(_, loaded)| Arc::clone(loaded))
    }

    fn keep(&self, seen: Seen, loaded: &Arc<Loaded>) {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        last.retain(|(known, _)| known.shop_id != seen.shop_id);
        if last.len() >= KEPT {
            last.remove(0);
        }
        last.push((seen, Arc::clone(loaded)));
    }
}
