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
    /// away arrived elsewhere, and an undone weighing was undone in full. What a yard took has left by the ledger, and is in
    /// no shipment too. So is money: see `cash/check.rs`.
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
            (
                "SELECT x.lot_id AS id, CAST(x.net_ug + COALESCE((SELECT SUM(w.net_ug) FROM weighings w \
                 WHERE w.lot_id = x.lot_id AND w.kind IN ('sent', 'returned')), 0) AS BIGINT) AS net_ug \
                 FROM run_lots x JOIN run_stops s ON s.id = x.stop_id \
                 WHERE s.ended_at IS NOT NULL AND x.released_at IS NULL AND x.net_ug + COALESCE((SELECT SUM(w.net_ug) \
                 FROM weighings w WHERE w.lot_id = x.lot_id AND w.kind IN ('sent', 'returned')), 0) <> 0",
                "a lot that a yard took and whose ledger says otherwise",
            ),
            (
                "SELECT x.lot_id AS id, x.net_ug FROM run_lots x JOIN run_stops s ON s.id = x.stop_id \
                 JOIN lots l ON l.id = x.lot_id \
                 WHERE s.ended_at IS NULL AND x.released_at IS NULL AND l.closed_at IS NOT NULL",
                "a lot on a yard run that is gone before its ticket",
            ),
            (
                "SELECT x.lot_id AS id, x.net_ug FROM run_lots x JOIN shipment_lots p ON p.lot_id = x.lot_id \
                 WHERE x.released_at IS NULL AND p.released_at IS NULL",
                "a lot that is in a yard run and in a shipment",
            ),
            (
                "SELECT s.id, CAST(SUM(x.net_ug) AS BIGINT) AS net_ug FROM run_stops s \
                 JOIN run_lots x ON x.stop_id = s.id WHERE s.ended_at IS NOT NULL AND x.released_at IS NULL \
                 AND NOT EXISTS (SELECT 1 FROM settlements t WHERE t.run_stop_id = s.id) GROUP BY s.id",
                "a yard that took something without a ticket",
            ),
        ] {
            let rows: Vec<Suspect> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
            findings.extend(rows.iter().map(|row| format!("{what}: {} ({} g)", row.id, sum(row))));
        }
        findings.extend(self.check_cash().await?);
        Ok(findings)
    }
}
