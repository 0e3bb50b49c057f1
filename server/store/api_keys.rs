//! Keys that let a shop's own scripts and devices in, each under the name of a partner.

use jiff::{SignedDuration, Timestamp};
use sqlx::FromRow;

use super::activity::Noun;
use super::partners::{Partner, Role};
use super::sessions::SignedIn;
use super::shops::ShopRow;
use super::{By, RowError, Store, StoreError, stamp};

/// How exactly it is kept when a key was last used: not every request is a write.
const SEEN_TO: SignedDuration = SignedDuration::from_hours(1);

/// A key in the list of keys.
#[derive(Debug, Clone)]
pub struct ApiKey {
    pub id: String,
    pub name: String,
    pub partner_name: String,
    pub made_at: Timestamp,
    pub seen_at: Option<Timestamp>,
}

#[derive(FromRow)]
struct ApiKeyRow {
    id: String,
    name: String,
    partner_name: String,
    made_at: String,
    seen_at: Option<String>,
}

impl TryFrom<ApiKeyRow> for ApiKey {
    type Error = RowError;

    fn try_from(row: ApiKeyRow) -> Result<ApiKey, RowError> {
        let moment = |column, at: &str| RowError::read("api_keys", column, at, |at| at.parse().ok());
        Ok(ApiKey {
            made_at: moment("made_at", &row.made_at)?,
            seen_at: row.seen_at.as_deref().map(|at| moment("seen_at", at)).transpose()?,
            id: row.id,
            name: row.name,
            partner_name: row.partner_name,
        })
    }
}

#[derive(FromRow)]
struct HolderRow {
    key_id: String,
    seen_at: Option<String>,
    partner_id: String,
    partner_name: String,
    role: String,
    #[sqlx(flatten)]
    shop: ShopRow,
}

impl Store {
    /// Makes a key that works under the name of who makes it. The same id a second time changes nothing.
    pub async fn make_key(&self, by: &By, id: &str, name: &str, key_sha256: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "INSERT INTO api_keys (id, shop_id, partner_id, name, key_sha256, made_at) \
                   VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (id) DO NOTHING";
        let done = sqlx::query(sql)
            .bind(id)
            .bind(&by.shop_id)
            .bind(&by.partner_id)
            .bind(name)
            .bind(key_sha256)
            .bind(stamp(by.at))
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 1 {
            tx.note(by, Noun::Session, id, "made a key for", name).await?;
        }
        tx.commit().await
    }

    /// The keys that are good, the newest first.
    pub async fn api_keys(&self, shop_id: &str) -> Result<Vec<ApiKey>, StoreError> {
        let sql = "SELECT k.id, k.name, p.name AS partner_name, k.made_at, k.seen_at FROM api_keys k \
                   JOIN partners p ON p.id = k.partner_id \
                   WHERE k.shop_id = $1 AND k.ended_at IS NULL AND p.left_at IS NULL ORDER BY k.made_at DESC, k.id";
        let rows: Vec<ApiKeyRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(ApiKey::try_from).collect::<Result<_, _>>()?)
    }

    /// Whom a key stands for; `None` if it is not good, or no longer.
    pub async fn key_holder(&self, key_sha256: &str, now: Timestamp) -> Result<Option<SignedIn>, StoreError> {
        let sql = "SELECT k.id AS key_id, k.seen_at, p.id AS partner_id, p.name AS partner_name, p.role, h.id, \
                   h.name, h.zone, h.home_currency, h.mass_style, h.labour_per_hour, h.truck_per_km, \
                   h.capital_per_year, h.risk_per_year, h.version FROM api_keys k \
                   JOIN partners p ON p.id = k.partner_id JOIN shops h ON h.id = k.shop_id \
                   WHERE k.key_sha256 = $1 AND k.ended_at IS NULL AND p.left_at IS NULL";
        let row: Option<HolderRow> =
            sqlx::query_as(sql).bind(key_sha256).fetch_optional(self.readers()).await?;
        let Some(row) = row else { return Ok(None) };
        let seen = row.seen_at.as_deref().and_then(|at| at.parse::<Timestamp>().ok());
        if seen.is_none_or(|seen| now.duration_since(seen) > SEEN_TO)
            && let Err(error) = self.key_seen(&row.key_id, now).await
        {
            tracing::debug!(%error, "when a key was last used was not kept");
        }
        Ok(Some(SignedIn {
            session_id: row.key_id,
            shop: row.shop.try_into()?,
            partner: Partner {
                id: row.partner_id,
                name: row.partner_name,
                role: RowError::read("partners", "role", &row.role, Role::from_code)?,
            },
        }))
    }

    async fn key_seen(&self, id: &str, now: Timestamp) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query("UPDATE api_keys SET seen_at = $2 WHERE id = $1")
            .bind(id)
            .bind(stamp(now))
            .execute(&mut *tx)
            .await?;
        tx.commit().await
    }

    /// Makes a key worthless; one that is already stays so.
    pub async fn end_key(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "UPDATE api_keys SET ended_at = $3 WHERE shop_id = $1 AND id = $2 AND ended_at IS NULL \
                   RETURNING name";
        let name: Option<(String,)> = sqlx::query_as(sql)
            .bind(&by.shop_id)
            .bind(id)
            .bind(stamp(by.at))
            .fetch_optional(&mut *tx)
            .await?;
        if let Some((name,)) = name {
            tx.note(by, Noun::Session, id, "took back the key of", &name).await?;
        }
        tx.commit().await
    }
}
