//! Proving that the record is sound.

use sqlx::FromRow;
use trade::mass::Mass;

use super::{Store, StoreError};

#[derive(FromRow)]
struct Suspect {
    id: String,
    net_ug: i64,
}

impl Store {
    /// What is wrong with the record, a line each; empty where all is well.
    ///
    /// Mass is conserved: a lot holds no less than nothing, a closed one nothing at all, what was split off or merged
    /// away arrived elsewhere, and an undone weighing was undone in full. So is money: see `cash/check.rs`.
    pub async fn check(&self) -> Result<Vec<String>, StoreError> {
        let sum = |row: &Suspect| Mass::from_micrograms(row.net_ug).grams();
        let mut findings = Vec::new();
        for (sql, what) in [
            (
                "SELECT lot_id AS id, CAST(SUM(net_ug) AS BIGINT) AS net_ug FROM weighings \
                 GROUP BY lot_id HAVING SUM(net_ug) < 0",
                "a lot that holds less than nothing",
            ),
            (
                "SELECT l.id, CAST(SUM(w.net_ug) AS BIGINT) AS net_ug FROM lots l \
                 JOIN weighings w ON w.lot_id = l.id WHERE l.closed_at IS NOT NULL \
                 GROUP BY l.id HAVING SUM(w.net_ug) <> 0",
                "a closed lot that still holds something",
            ),
            (
                "SELECT shop_id AS id, CAST(SUM(net_ug) AS BIGINT) AS net_ug FROM weighings \
                 WHERE kind IN ('split-out', 'split-in', 'merge-out', 'merge-in') \
                 GROUP BY shop_id HAVING SUM(net_ug) <> 0",
                "a shop whose splits and merges do not balance",
            ),
            (
                "SELECT u.id, CAST(u.net_ug + w.net_ug AS BIGINT) AS net_ug FROM weighings u \
                 JOIN weighings w ON w.id = u.reverses_id WHERE u.net_ug + w.net_ug <> 0 OR u.lot_id <> w.lot_id",
                "an undo that does not match its weighing",
            ),
        ] {
            let rows: Vec<Suspect> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
            findings.extend(rows.iter().map(|row| format!("{what}: {} ({} g)", row.id, sum(row))));
        }
        findings.extend(self.check_cash().await?);
        Ok(findings)
    }
}
