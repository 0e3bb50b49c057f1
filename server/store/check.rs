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
    /// away arrived elsewhere, an undone weighing was undone in full, and each part of a teardown is on its lot.
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
                "SELECT e.id, CAST(e.mass_ug - w.net_ug AS BIGINT) AS net_ug FROM teardown_entries e \
                 JOIN weighings w ON w.id = e.weighing_id \
                 WHERE e.mass_ug <> w.net_ug OR w.kind <> 'weigh-in' OR w.shop_id <> e.shop_id",
                "a part of a teardown that does not match its weighing",
            ),
            (
                "SELECT b.id, CAST(e.mass_ug AS BIGINT) AS net_ug FROM teardown_entries b \
                 JOIN teardown_entries e ON e.id = b.reverses_id \
                 WHERE b.kind <> 'undo' OR e.kind IN ('undo', 'part') OR b.teardown_id <> e.teardown_id",
                "an entry of a teardown that was taken back by another one's",
            ),
            (
                "SELECT e.id, CAST(e.mass_ug AS BIGINT) AS net_ug FROM teardown_entries e \
                 WHERE (e.kind = 'part' AND (e.weighing_id IS NULL OR e.part_id = '')) OR e.mass_ug < 0",
                "an entry of a teardown that says less than it has to",
            ),
        ] {
            let rows: Vec<Suspect> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
            findings.extend(rows.iter().map(|row| format!("{what}: {} ({} g)", row.id, sum(row))));
        }
        Ok(findings)
    }
}
