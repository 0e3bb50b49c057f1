//! How the partners share what the shop makes: by hours or in fixed parts, from a month on.

use std::collections::BTreeMap;

use trade::cash::{Month, Split};

use super::activity::Noun;
use super::{By, RowError, Store, StoreError, stamp};

/// All parts together: ten thousand, so that a part is typed in percent with two decimals.
pub const WHOLE: u64 = 10_000;

/// How they share from a month on, until the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SplitFrom {
    pub month: Month,
    pub split: Split,
}

/// The split that holds for a month, of those in the order of their months; before the first of them, in equal parts.
pub fn split_for(splits: &[SplitFrom], month: Month) -> Option<&Split> {
    splits.iter().rev().find(|one| one.month <= month).map(|one| &one.split)
}

impl Store {
    /// What was settled, in the order of the months from which it holds; of two words for one month the later.
    pub async fn splits(&self, shop_id: &str) -> Result<Vec<SplitFrom>, StoreError> {
        let sql = "SELECT s.id, s.from_month, s.basis, COALESCE(p.partner_id, '') AS partner_id, \
                   COALESCE(p.parts, 0) AS parts FROM splits s LEFT JOIN split_parts p ON p.split_id = s.id \
                   WHERE s.shop_id = $1 ORDER BY s.from_month, s.at, s.id, p.partner_id";
        let rows: Vec<(String, String, String, String, i64)> =
            sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let mut found: BTreeMap<Month, (String, Split)> = BTreeMap::new();
        for (id, month, basis, partner, parts) in rows {
            let month = RowError::read("splits", "from_month", &month, |month| month.parse().ok())?;
            let read = |basis: &str| match basis {
                "hours" => Some(Split::Hours),
                "fixed" => Some(Split::Fixed(BTreeMap::new())),
                _ => None,
            };
            if found.get(&month).is_none_or(|(last, _)| *last != id) {
                let split = RowError::read("splits", "basis", &basis, read)?;
                found.insert(month, (id, split));
            }
            if let Some((_, Split::Fixed(all))) = found.get_mut(&month)
                && !partner.is_empty()
            {
                let parts = RowError::read("split_parts", "parts", &parts.to_string(), |p| p.parse().ok())?;
                all.insert(partner, parts);
            }
        }
        Ok(found.into_iter().map(|(month, (_, split))| SplitFrom { month, split }).collect())
    }

    /// Settles how they share from a month on. The same id a second time changes nothing.
    pub async fn set_split(&self, by: &By, id: &str, from: Month, split: &Split) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let basis = match split {
            Split::Hours => "hours",
            Split::Fixed(_) => "fixed",
        };
        let sql = "INSERT INTO splits (id, shop_id, from_month, basis, set_by, at) VALUES ($1, $2, $3, $4, $5, $6) \
                   ON CONFLICT (id) DO NOTHING";
        let done = sqlx::query(sql)
            .bind(id)
            .bind(&by.shop_id)
            .bind(from.to_string())
            .bind(basis)
            .bind(&by.partner_id)
            .bind(stamp(by.at))
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 0 {
            return Ok(());
        }
        if let Split::Fixed(parts) = split {
            let sql = "INSERT INTO split_parts (split_id, partner_id, parts) SELECT $2, p.id, $4 FROM partners p \
                       WHERE p.shop_id = $1 AND p.id = $3";
            for (partner, parts) in parts {
                let parts = i64::try_from(*parts).map_err(|error| StoreError::Encode(error.to_string()))?;
                let query = sqlx::query(sql).bind(&by.shop_id).bind(id).bind(partner).bind(parts);
                if query.execute(&mut *tx).await?.rows_affected() == 0 {
                    return Err(StoreError::Missing);
                }
            }
        }
        tx.note(by, Noun::Shop, &by.shop_id, "settled how to share", &format!("{basis} from {from}")).await?;
        tx.commit().await
    }
}
