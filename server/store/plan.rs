//! What partners have told the sell plan: pins, bars and outlets closed for it.

use sqlx::FromRow;
use trade::ids::{LotId, OutletId};
use trade::plan::{Choices, Place};

use super::activity::Noun;
use super::{By, Store, StoreError, Tx, stamp};

#[derive(FromRow)]
struct PinRow {
    lot_id: String,
    outlet_id: Option<String>,
}

impl Store {
    /// The choices that stand, of lots that are still here.
    pub async fn plan_choices(&self, shop_id: &str) -> Result<Choices, StoreError> {
        let sql = "SELECT p.lot_id, p.outlet_id FROM plan_pins p JOIN lots l ON l.id = p.lot_id \
                   WHERE p.shop_id = $1 AND l.closed_at IS NULL";
        let pins: Vec<PinRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let sql = "SELECT b.lot_id, b.outlet_id FROM plan_bars b JOIN lots l ON l.id = b.lot_id \
                   WHERE b.shop_id = $1 AND l.closed_at IS NULL";
        let bars: Vec<(String, String)> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let sql = "SELECT outlet_id FROM plan_closures WHERE shop_id = $1";
        let closed: Vec<(String,)> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let place =
            |outlet: Option<String>| outlet.map_or(Place::Keep, |id| Place::Outlet(OutletId::new(id)));
        Ok(Choices {
            pins: pins.into_iter().map(|row| (LotId::new(row.lot_id), place(row.outlet_id))).collect(),
            bars: bars.into_iter().map(|(lot, outlet)| (LotId::new(lot), OutletId::new(outlet))).collect(),
            closed: closed.into_iter().map(|(outlet,)| OutletId::new(outlet)).collect(),
        })
    }

    /// Says where a lot has to go; a pin that stood before is replaced.
    pub async fn pin(&self, by: &By, lot: &LotId, place: &Place) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let outlet = match place {
            Place::Outlet(outlet) => Some(outlet.as_str()),
            Place::Keep => None,
        };
        let mut tx = self.begin().await?;
        // The SELECT makes sure that lot and outlet are this shop's own.
        let sql = "INSERT INTO plan_pins (lot_id, shop_id, outlet_id, partner_id, at) \
                   SELECT l.id, l.shop_id, $3, $4, $5 FROM lots l WHERE l.shop_id = $1 AND l.id = $2 \
                   AND (CAST($3 AS TEXT) IS NULL OR EXISTS (SELECT 1 FROM outlets o WHERE o.shop_id = $1 AND o.id = $3)) \
                   ON CONFLICT (lot_id) DO UPDATE SET outlet_id = excluded.outlet_id, \
                   partner_id = excluded.partner_id, at = excluded.at";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(lot.as_str())
            .bind(outlet)
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        there_was_one(done.rows_affected())?;
        let to = match outlet {
            Some(outlet) => format!("to {}", outlet_name(&mut tx, outlet).await?),
            None => "to be kept".to_string(),
        };
        tx.note(by, Noun::Plan, lot.as_str(), "pinned", &to).await?;
        tx.commit().await
    }

    /// Keeps a lot from going to an outlet.
    pub async fn bar(&self, by: &By, lot: &LotId, outlet: &OutletId) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let sql = "INSERT INTO plan_bars (lot_id, outlet_id, shop_id, partner_id, at) \
                   SELECT l.id, o.id, l.shop_id, $4, $5 FROM lots l JOIN outlets o ON o.shop_id = l.shop_id \
                   WHERE l.shop_id = $1 AND l.id = $2 AND o.id = $3 \
                   ON CONFLICT (lot_id, outlet_id) DO UPDATE SET at = excluded.at";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(lot.as_str())
            .bind(outlet.as_str())
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        there_was_one(done.rows_affected())?;
        let from = format!("from {}", outlet_name(&mut tx, outlet.as_str()).await?);
        tx.note(by, Noun::Plan, lot.as_str(), "barred", &from).await?;
        tx.commit().await
    }

    /// Takes back what was said about a lot.
    pub async fn free_lot(&self, by: &By, lot: &LotId) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        for sql in [
            "DELETE FROM plan_pins WHERE shop_id = $1 AND lot_id = $2",
            "DELETE FROM plan_bars WHERE shop_id = $1 AND lot_id = $2",
        ] {
            sqlx::query(sql).bind(shop_id).bind(lot.as_str()).execute(&mut *tx).await?;
        }
        tx.note(by, Noun::Plan, lot.as_str(), "left to the plan", "").await?;
        tx.commit().await
    }

    /// Takes back where lots have to go; what they are barred from stands. A pin that is taken back already is no fault.
    pub async fn unpin(&self, by: &By, lots: &[LotId]) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        for lot in lots {
            let sql = "DELETE FROM plan_pins WHERE shop_id = $1 AND lot_id = $2";
            let done = sqlx::query(sql).bind(&by.shop_id).bind(lot.as_str()).execute(&mut *tx).await?;
            if done.rows_affected() > 0 {
                tx.note(by, Noun::Plan, lot.as_str(), "unpinned", "").await?;
            }
        }
        tx.commit().await
    }

    /// Leaves an outlet out of the plan.
    pub async fn close_for_plan(&self, by: &By, outlet: &OutletId) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let sql = "INSERT INTO plan_closures (outlet_id, shop_id, partner_id, at) \
                   SELECT o.id, o.shop_id, $3, $4 FROM outlets o WHERE o.shop_id = $1 AND o.id = $2 \
                   ON CONFLICT (outlet_id) DO UPDATE SET at = excluded.at";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(outlet.as_str())
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        there_was_one(done.rows_affected())?;
        tx.note(by, Noun::Plan, outlet.as_str(), "left out of the plan", "").await?;
        tx.commit().await
    }

    /// Lets an outlet into the plan again.
    pub async fn open_for_plan(&self, by: &By, outlet: &OutletId) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "DELETE FROM plan_closures WHERE shop_id = $1 AND outlet_id = $2";
        sqlx::query(sql).bind(shop_id).bind(outlet.as_str()).execute(&mut *tx).await?;
        tx.note(by, Noun::Plan, outlet.as_str(), "let into the plan", "").await?;
        tx.commit().await
    }
}

async fn outlet_name(tx: &mut Tx, id: &str) -> Result<String, StoreError> {
    let (name,): (String,) =
        sqlx::query_as("SELECT name FROM outlets WHERE id = $1").bind(id).fetch_one(&mut **tx).await?;
    Ok(name)
}

/// An insert from a SELECT that found nothing was about something that is not there.
fn there_was_one(rows: u64) -> Result<(), StoreError> {
    if rows == 1 { Ok(()) } else { Err(StoreError::Missing) }
}
