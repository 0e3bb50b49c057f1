//! How often it was tried of late to sign in, so that nobody can guess for long.

use jiff::{SignedDuration, Timestamp};

use super::{RowError, Store, StoreError, stamp};
use crate::secret::sha256;

/// Tries are counted over so long.
const WINDOW: SignedDuration = SignedDuration::from_mins(15);

/// Whose tries are counted.
#[derive(Debug, Clone, Copy)]
pub enum Tried<'a> {
    /// Signing in to an account, whether there is one of that name or not.
    Account { shop_id: &'a str, name: &'a str },
    /// Signing in, or bringing a code, from an address.
    Address(&'a str),
}

impl Tried<'_> {
    /// The most within the window: OWASP ASVS 4.0, 2.2.1, allows an account a hundred an hour at the most.
    const fn most(self) -> i64 {
        match self {
            Tried::Account { .. } => 10,
            Tried::Address(_) => 30,
        }
    }

    /// The name it is counted under. Hashed: what was typed as a name may have been a passphrase.
    fn subject(self) -> String {
        match self {
            Tried::Account { shop_id, name } => {
                sha256(&format!("account {shop_id} {}", name.trim().to_lowercase()))
            }
            Tried::Address(address) => sha256(&format!("address {address}")),
        }
    }
}

impl Store {
    /// Counts one more try. `Err` with how long to wait if there were too many: then it must not be looked at.
    pub async fn count_try(
        &self,
        tried: Tried<'_>,
        now: Timestamp,
    ) -> Result<Result<(), SignedDuration>, StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query("DELETE FROM tries WHERE since < $1 OR since > $2")
            .bind(stamp(now - WINDOW))
            // Of a clock that has been set back since.
            .bind(stamp(now + WINDOW))
            .execute(&mut *tx)
            .await?;
        let sql = "INSERT INTO tries (subject_sha256, count, since) VALUES ($1, 1, $2) \
                   ON CONFLICT (subject_sha256) DO UPDATE SET count = tries.count + 1 RETURNING count, since";
        let (count, since): (i64, String) =
            sqlx::query_as(sql).bind(tried.subject()).bind(stamp(now)).fetch_one(&mut *tx).await?;
        tx.commit().await?;
        let since: Timestamp = RowError::read("tries", "since", &since, |at| at.parse().ok())?;
        Ok(if count > tried.most() { Err((since + WINDOW).duration_since(now)) } else { Ok(()) })
    }

    /// Forgets the tries: it was the right one.
    pub async fn forget_tries(&self, tried: Tried<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query("DELETE FROM tries WHERE subject_sha256 = $1")
            .bind(tried.subject())
            .execute(&mut *tx)
            .await?;
        tx.commit().await
    }
}
