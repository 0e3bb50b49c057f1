//! Work that is done once a day, however many servers there are.

use super::{Store, StoreError};

impl Store {
    /// Takes on a job of a day. False if it is taken: by another server, or by this one before it was started again.
    pub async fn take_job(&self, name: &str, day: &str) -> Result<bool, StoreError> {
        let mut tx = self.begin().await?;
        let sql = "INSERT INTO jobs (name, day) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET day = excluded.day \
                   WHERE jobs.day < excluded.day";
        let done = sqlx::query(sql).bind(name).bind(day).execute(&mut *tx).await?;
        tx.commit().await?;
        Ok(done.rows_affected() == 1)
    }

    /// Gives a job of a day back, for it was not done.
    pub async fn give_back_job(&self, name: &str, day: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query("DELETE FROM jobs WHERE name = $1 AND day = $2")
            .bind(name)
            .bind(day)
            .execute(&mut *tx)
            .await?;
        tx.commit().await
    }
}
