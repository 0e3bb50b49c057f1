//! Codes that let somebody in once, for a short while. Only their hashes are kept.

use jiff::{SignedDuration, Timestamp};
use sqlx::FromRow;

use super::{By, RowError, Store, StoreError, Tx, stamp};

/// What a code lets somebody do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Set up a shop.
    SetUp,
    /// Sign in on another phone; whoever has no passphrase yet chooses one.
    Join,
    /// Choose a new passphrase.
    Reset,
}

impl Purpose {
    const ALL: [Purpose; 3] = [Purpose::SetUp, Purpose::Join, Purpose::Reset];

    pub const fn code(self) -> &'static str {
        match self {
            Purpose::SetUp => "set-up",
            Purpose::Join => "join",
            Purpose::Reset => "reset",
        }
    }

    /// How long such a code is good for. One that stands on a screen in the shop is short-lived; one for somebody who
    /// has to walk to their own phone first lasts an hour, and a new record waits a day for its shop.
    pub const fn lasts(self) -> SignedDuration {
        match self {
            Purpose::SetUp => SignedDuration::from_hours(24),
            Purpose::Join => SignedDuration::from_mins(10),
            Purpose::Reset => SignedDuration::from_hours(1),
        }
    }
}

/// A code that is good now.
#[derive(Debug, Clone)]
pub struct GoodCode {
    pub purpose: Purpose,
    /// The shop and the person that it is for; `None` for one that sets up a shop.
    pub whose: Option<(String, String)>,
}

#[derive(FromRow)]
struct CodeRow {
    purpose: String,
    shop_id: Option<String>,
    partner_id: Option<String>,
}

impl Store {
    /// Keeps a new code, for a person of a shop or for setting one up.
    pub async fn make_code(
        &self,
        code_sha256: &str,
        purpose: Purpose,
        whose: Option<(&str, &str)>,
        at: Timestamp,
        lasts: SignedDuration,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        // What nobody used is of no use to anybody after a while.
        sqlx::query("DELETE FROM codes WHERE expires_at < $1").bind(stamp(at)).execute(&mut *tx).await?;
        let sql = "INSERT INTO codes (code_sha256, purpose, shop_id, partner_id, made_at, expires_at) \
                   VALUES ($1, $2, $3, $4, $5, $6)";
        sqlx::query(sql)
            .bind(code_sha256)
            .bind(purpose.code())
            .bind(whose.map(|(shop, _)| shop))
            .bind(whose.map(|(_, partner)| partner))
            .bind(stamp(at))
            .bind(stamp(at + lasts))
            .execute(&mut *tx)
            .await?;
        tx.commit().await
    }

    /// The code with this hash, if it is good at `now`.
    pub async fn code(&self, code_sha256: &str, now: Timestamp) -> Result<Option<GoodCode>, StoreError> {
        let sql = "SELECT purpose, shop_id, partner_id FROM codes \
                   WHERE code_sha256 = $1 AND expires_at > $2 AND used_at IS NULL";
        let row: Option<CodeRow> =
            sqlx::query_as(sql).bind(code_sha256).bind(stamp(now)).fetch_optional(self.readers()).await?;
        let good = |row: CodeRow| {
            let find = |code: &str| Purpose::ALL.into_iter().find(|purpose| purpose.code() == code);
            Ok(GoodCode {
                purpose: RowError::read("codes", "purpose", &row.purpose, find)?,
                whose: row.shop_id.zip(row.partner_id),
            })
        };
        row.map(good).transpose()
    }
}

/// Uses a code up inside `tx`; [`StoreError::Missing`] if it is not good any more: of two phones, the first is let in.
pub async fn use_code(tx: &mut Tx, code_sha256: &str, now: Timestamp) -> Result<(), StoreError> {
    let sql = "UPDATE codes SET used_at = $2 WHERE code_sha256 = $1 AND expires_at > $2 AND used_at IS NULL";
    let done = sqlx::query(sql).bind(code_sha256).bind(stamp(now)).execute(&mut **tx).await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(StoreError::Missing) }
}

/// Makes what is left of somebody's codes worthless inside `tx`.
pub async fn drop_codes_of(tx: &mut Tx, by: &By, partner_id: &str) -> Result<(), StoreError> {
    let sql = "DELETE FROM codes WHERE shop_id = $1 AND partner_id = $2 AND used_at IS NULL";
    sqlx::query(sql).bind(&by.shop_id).bind(partner_id).execute(&mut **tx).await?;
    Ok(())
}
