//! What each scale showed last, until it is put on a lot or old. A scale is known by the key of its bridge.

use jiff::{SignedDuration, Timestamp};
use sqlx::FromRow;

use super::activity::Noun;
use super::{By, RowError, Store, StoreError, Tx, stamp};

/// For so long a reading is offered: what lay on the scale before is something else by now.
pub const OFFERED: SignedDuration = SignedDuration::from_mins(2);

/// What a scale shows.
#[derive(Debug, Clone)]
pub struct ScaleReading {
    pub id: String,
    /// What the scale is called: the name of its key.
    pub scale: String,
    /// As it shows it: `1.24 kg`.
    pub reading: String,
    pub at: Timestamp,
}

#[derive(FromRow)]
struct ScaleReadingRow {
    id: String,
    scale: String,
    reading: String,
    at: String,
}

impl TryFrom<ScaleReadingRow> for ScaleReading {
    type Error = RowError;

    fn try_from(row: ScaleReadingRow) -> Result<ScaleReading, RowError> {
        Ok(ScaleReading {
            at: RowError::read("scale_readings", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            scale: row.scale,
            reading: row.reading,
        })
    }
}

impl Store {
    /// Keeps what the scale with a key shows now, in place of what it showed before. The same id a second time changes
    /// nothing; so does a key that has become worthless meanwhile.
    pub async fn keep_scale_reading(
        &self,
        by: &By,
        key_id: &str,
        id: &str,
        reading: &str,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "INSERT INTO scale_readings (key_id, shop_id, id, reading, at) \
                   SELECT k.id, k.shop_id, $3, $4, $5 FROM api_keys k \
                   WHERE k.id = $1 AND k.shop_id = $2 AND k.ended_at IS NULL \
                   ON CONFLICT (key_id) DO UPDATE SET id = excluded.id, reading = excluded.reading, \
                   at = excluded.at, taken_at = NULL WHERE scale_readings.id <> excluded.id";
        let done = sqlx::query(sql)
            .bind(key_id)
            .bind(&by.shop_id)
            .bind(id)
            .bind(reading)
            .bind(stamp(by.at))
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 1 {
            tx.tell(by, Noun::Scale);
        }
        tx.commit().await
    }

    /// What the shop's scales show: the newest reading of each that is not on a lot yet, newest first.
    pub async fn scale_readings(
        &self,
        shop_id: &str,
        now: Timestamp,
    ) -> Result<Vec<ScaleReading>, StoreError> {
        let sql = "SELECT r.id, k.name AS scale, r.reading, r.at FROM scale_readings r \
                   JOIN api_keys k ON k.id = r.key_id \
                   WHERE r.shop_id = $1 AND r.at >= $2 AND r.taken_at IS NULL AND k.ended_at IS NULL \
                   ORDER BY r.at DESC, r.id";
        let rows: Vec<ScaleReadingRow> =
            sqlx::query_as(sql).bind(shop_id).bind(stamp(now - OFFERED)).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(ScaleReading::try_from).collect::<Result<_, _>>()?)
    }
}

/// Notes inside `tx` that a reading is on a lot, so that it is not offered for another.
pub(super) async fn take(tx: &mut Tx, by: &By, id: &str) -> Result<(), StoreError> {
    sqlx::query(
        "UPDATE scale_readings SET taken_at = $3 WHERE shop_id = $1 AND id = $2 AND taken_at IS NULL",
    )
    .bind(&by.shop_id)
    .bind(id)
    .bind(stamp(by.at))
    .execute(&mut **tx)
    .await?;
    Ok(())
}
