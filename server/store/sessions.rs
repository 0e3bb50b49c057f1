//! Phones that somebody is signed in on.

use jiff::{SignedDuration, Timestamp};
use sqlx::FromRow;

use super::activity::Noun;
use super::partners::{Partner, Role};
use super::shops::{Shop, ShopRow};
use super::{By, RowError, Store, StoreError, Tx, stamp};

/// A phone that was not used for so long is signed out.
pub const IDLE: SignedDuration = SignedDuration::from_hours(24 * 90);
/// A phone is signed out after so long however much it was used.
pub const LASTS: SignedDuration = SignedDuration::from_hours(24 * 365);
/// How exactly it is kept when a phone was last used: not every page is a write.
const SEEN_TO: SignedDuration = SignedDuration::from_hours(1);

/// Who a phone's cookie stands for.
#[derive(Debug, Clone)]
pub struct SignedIn {
    pub session_id: String,
    pub shop: Shop,
    pub partner: Partner,
}

/// A phone in the list of phones.
#[derive(Debug, Clone)]
pub struct Session {
    pub id: String,
    pub partner_id: String,
    pub partner_name: String,
    pub phone: String,
    pub begun_at: Timestamp,
    pub seen_at: Timestamp,
}

/// A phone that is let in.
#[derive(Debug)]
pub struct NewSession<'a> {
    pub id: &'a str,
    pub token_sha256: &'a str,
    pub phone: &'a str,
}

#[derive(FromRow)]
struct SignedInRow {
    session_id: String,
    begun_at: String,
    seen_at: String,
    partner_id: String,
    partner_name: String,
    role: String,
    #[sqlx(flatten)]
    shop: ShopRow,
}

#[derive(FromRow)]
struct SessionRow {
    id: String,
    partner_id: String,
    partner_name: String,
    phone: String,
    begun_at: String,
    seen_at: String,
}

impl TryFrom<SessionRow> for Session {
    type Error = RowError;

    fn try_from(row: SessionRow) -> Result<Session, RowError> {
        Ok(Session {
            begun_at: moment("begun_at", &row.begun_at)?,
            seen_at: moment("seen_at", &row.seen_at)?,
            id: row.id,
            partner_id: row.partner_id,
            partner_name: row.partner_name,
            phone: row.phone,
        })
    }
}

fn moment(column: &'static str, text: &str) -> Result<Timestamp, RowError> {
    RowError::read("sessions", column, text, |at| at.parse().ok())
}

impl Store {
    /// Who the cookie with this hash stands for at `now`; `None` if it stands for nobody, or no longer.
    pub async fn signed_in(
        &self,
        token_sha256: &str,
        now: Timestamp,
    ) -> Result<Option<SignedIn>, StoreError> {
        let sql = "SELECT s.id AS session_id, s.begun_at, s.seen_at, p.id AS partner_id, p.name AS partner_name, \
                   p.role, h.id, h.name, h.zone, h.home_currency, h.mass_style, h.labour_per_hour, h.truck_per_km, \
                   h.capital_per_year, h.risk_per_year, h.version FROM sessions s \
                   JOIN partners p ON p.id = s.partner_id JOIN shops h ON h.id = s.shop_id \
                   WHERE s.token_sha256 = $1 AND s.ended_at IS NULL AND p.left_at IS NULL";
        let row: Option<SignedInRow> =
            sqlx::query_as(sql).bind(token_sha256).fetch_optional(self.readers()).await?;
        let Some(row) = row else { return Ok(None) };
        let (begun, seen) = (moment("begun_at", &row.begun_at)?, moment("seen_at", &row.seen_at)?);
        // A clock that was set back must not sign everybody out: only time that has passed counts.
        if now.duration_since(seen) > IDLE || now.duration_since(begun) > LASTS {
            return Ok(None);
        }
        if now.duration_since(seen) > SEEN_TO {
            // A page can be shown all the same where nothing can be written just now.
            if let Err(error) = self.seen(&row.session_id, now).await {
                tracing::debug!(%error, "when a phone was last used was not kept");
            }
        }
        Ok(Some(SignedIn {
            session_id: row.session_id,
            shop: row.shop.try_into()?,
            partner: Partner {
                id: row.partner_id,
                name: row.partner_name,
                role: RowError::read("partners", "role", &row.role, Role::from_code)?,
            },
        }))
    }

    async fn seen(&self, id: &str, now: Timestamp) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query("UPDATE sessions SET seen_at = $2 WHERE id = $1")
            .bind(id)
            .bind(stamp(now))
            .execute(&mut *tx)
            .await?;
        tx.commit().await
    }

    /// Phones that are signed in at `now`, the one used last first.
    pub async fn sessions(&self, shop_id: &str, now: Timestamp) -> Result<Vec<Session>, StoreError> {
        let sql = "SELECT s.id, s.partner_id, p.name AS partner_name, s.phone, s.begun_at, s.seen_at \
                   FROM sessions s JOIN partners p ON p.id = s.partner_id \
                   WHERE s.shop_id = $1 AND s.ended_at IS NULL AND p.left_at IS NULL AND s.seen_at > $2 \
                   AND s.begun_at > $3 ORDER BY s.seen_at DESC, s.id DESC";
        let rows: Vec<SessionRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(stamp(now - IDLE))
            .bind(stamp(now - LASTS))
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Session::try_from).collect::<Result<_, _>>()?)
    }

    /// Signs a phone out; one that is out already stays out.
    pub async fn end_session(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "UPDATE sessions SET ended_at = $3 WHERE shop_id = $1 AND id = $2 AND ended_at IS NULL \
                   RETURNING phone";
        let phone: Option<(String,)> = sqlx::query_as(sql)
            .bind(&by.shop_id)
            .bind(id)
            .bind(stamp(by.at))
            .fetch_optional(&mut *tx)
            .await?;
        if let Some((phone,)) = phone {
            tx.note(by, Noun::Session, id, "signed out", &phone).await?;
        }
        tx.commit().await
    }
}

/// Lets a phone in inside `tx`.
pub async fn begin_session(tx: &mut Tx, by: &By, session: &NewSession<'_>) -> Result<(), StoreError> {
    let sql = "INSERT INTO sessions (id, shop_id, partner_id, token_sha256, phone, begun_at, seen_at) \
               VALUES ($1, $2, $3, $4, $5, $6, $6)";
    sqlx::query(sql)
        .bind(session.id)
        .bind(&by.shop_id)
        .bind(&by.partner_id)
        .bind(session.token_sha256)
        .bind(session.phone)
        .bind(stamp(by.at))
        .execute(&mut **tx)
        .await?;
    tx.note(by, Noun::Session, session.id, "signed in", session.phone).await
}

/// Signs somebody's phones out inside `tx`, all but one of them where `but` names it.
pub async fn end_sessions_of(
    tx: &mut Tx,
    by: &By,
    partner_id: &str,
    but: Option<&str>,
) -> Result<(), StoreError> {
    let sql = "UPDATE sessions SET ended_at = $3 WHERE shop_id = $1 AND partner_id = $2 AND ended_at IS NULL \
               AND id <> $4";
    sqlx::query(sql)
        .bind(&by.shop_id)
        .bind(partner_id)
        .bind(stamp(by.at))
        .bind(but.unwrap_or_default())
        .execute(&mut **tx)
        .await?;
    Ok(())
}
