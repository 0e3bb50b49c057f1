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
    /// away arrived elsewhere, an undone weighing was undone in full, what left is in the shipments and yard runs that left,
    /// and each part of a teardown is on its lot; sums of what left are those of the ledgers, and shipments are
    /// followed as long as something is open about them. So is money: see `cash/check.rs`.
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
                "SELECT l.id, CAST(0 AS BIGINT) AS net_ug FROM lots l JOIN containers c ON c.id = l.container_id \
                 WHERE l.closed_at IS NULL AND c.retired_at IS NOT NULL",
                "an open lot in a container that is out of use",
            ),
            (
                "SELECT r.one_id AS id, CAST(0 AS BIGINT) AS net_ug FROM roads r JOIN outlets a ON a.id = r.one_id \
                 JOIN outlets b ON b.id = r.other_id \
                 WHERE a.shop_id <> r.shop_id OR b.shop_id <> r.shop_id OR a.kind <> 'yard' OR b.kind <> 'yard'",
                "a road that does not lead from one of the shop's yards to another",
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
                "SELECT q.id, CAST(q.net_ug AS BIGINT) AS net_ug FROM (SELECT l.id, \
                 COALESCE((SELECT SUM(w.net_ug) FROM weighings w WHERE w.lot_id = l.id \
                 AND w.kind IN ('sent', 'returned')), 0) \
                 + COALESCE((SELECT SUM(x.net_ug) FROM shipment_lots x JOIN shipments s ON s.id = x.shipment_id \
                 WHERE x.lot_id = l.id AND x.released_at IS NULL AND s.sent_at IS NOT NULL), 0) \
                 + COALESCE((SELECT SUM(y.net_ug) FROM run_lots y JOIN run_stops p ON p.id = y.stop_id \
                 WHERE y.lot_id = l.id AND y.released_at IS NULL AND p.ended_at IS NOT NULL), 0) AS net_ug \
                 FROM lots l) q WHERE q.net_ug <> 0",
                "a lot of which something else left than its shipments and yard runs hold",
            ),
            (
                "SELECT x.settlement_id AS id, x.net_ug FROM settlement_lots x JOIN settlements t \
                 ON t.id = x.settlement_id WHERE t.shipment_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM shipment_lots y \
                 WHERE y.shipment_id = t.shipment_id AND y.lot_id = x.lot_id AND y.net_ug = x.net_ug)",
                "a settlement about a lot that its shipment does not hold like that",
            ),
            (
                "SELECT q.id, CAST(q.net_ug AS BIGINT) AS net_ug FROM (SELECT n.settlement_id AS id, \
                 n.mass_ug - SUM(y.mass_ug) AS net_ug FROM settlement_lines n JOIN settlement_portions y \
                 ON y.settlement_id = n.settlement_id AND y.position = n.position WHERE n.mass_ug IS NOT NULL \
                 GROUP BY n.settlement_id, n.position, n.mass_ug) q WHERE q.net_ug <> 0",
                "a settlement whose weights do not come to those of its lots",
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
        findings.extend(self.check_settlements().await?);
        findings.extend(self.check_cash().await?);
        findings.extend(self.check_diverted().await?);
        findings.extend(self.check_followed().await?);
        Ok(findings)
    }

    /// A settlement's lines come to what their lots got, and only what was sent is settled, once.
    async fn check_settlements(&self) -> Result<Vec<String>, StoreError> {
        let mut findings = Vec::new();
        for (sql, what) in [
            (
                "SELECT q.id, CAST(q.minor AS BIGINT) AS minor FROM (SELECT n.settlement_id AS id, \
                 n.amount_minor - SUM(y.amount_minor) AS minor FROM settlement_lines n JOIN settlement_portions y \
                 ON y.settlement_id = n.settlement_id AND y.position = n.position \
                 GROUP BY n.settlement_id, n.position, n.amount_minor) q WHERE q.minor <> 0",
                "a settlement whose lines do not come to what its lots got",
            ),
            (
                "SELECT t.id, t.paid_minor AS minor FROM settlements t JOIN shipments s ON s.id = t.shipment_id \
                 WHERE s.sent_at IS NULL OR s.shop_id <> t.shop_id OR s.outlet_id <> t.outlet_id",
                "a settlement of a shipment that was not sent there",
            ),
            (
                "SELECT t.id, t.paid_minor AS minor FROM settlements t WHERE t.kind = 'paper' \
                 AND NOT EXISTS (SELECT 1 FROM settlement_lines n WHERE n.settlement_id = t.id)",
                "a settlement without a line",
            ),
            (
                "SELECT t.id, t.paid_minor AS minor FROM settlements t JOIN settlements b ON b.id = t.replaces_id \
                 WHERE COALESCE(t.shipment_id, t.run_stop_id) <> COALESCE(b.shipment_id, b.run_stop_id)",
                "a settlement that takes the place of another delivery's",
            ),
            (
                "SELECT q.id, CAST(q.minor AS BIGINT) AS minor FROM (SELECT t.id, \
                 COALESCE((SELECT SUM(e.amount) FROM cash_entries e WHERE e.document = 'settlement' \
                 AND e.document_id = t.id AND e.currency = t.currency), 0) \
                 - CASE WHEN t.kind = 'paper' AND t.paid_on IS NOT NULL \
                 AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = t.id) THEN t.paid_minor \
                 - CASE WHEN t.currency = t.home_currency THEN t.bank_fee_minor ELSE 0 END ELSE 0 END AS minor \
                 FROM settlements t) q WHERE q.minor <> 0",
                "a settlement whose payment is not in the cash book as it is",
            ),
        ] {
            let rows: Vec<(String, i64)> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
            findings.extend(rows.iter().map(|(id, minor)| format!("{what}: {id} ({minor})")));
        }
        Ok(findings)
    }
}
