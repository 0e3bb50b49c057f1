//! Proving that the cash book is sound: nothing is missing from it, sums are the sums of its entries, what was undone was
//! undone in full, and what an entry is worth at home is its amount at its rate.

mod sums;

use iso_currency::Currency;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::cash::in_home;
use trade::money::Money;

use crate::store::{RowError, Store, StoreError};

/// Entries whose worth is worked out again at a time.
const AT_ONCE: i64 = 2_000;

/// Statements that find nothing in a sound book: the id of what is wrong, and what that is.
const NOTHING_FOUND: [(&str, &str); 7] = [
    (
        "SELECT b.shop_id AS id FROM cash_books b \
         WHERE b.entries <> (SELECT COUNT(*) FROM cash_entries e WHERE e.shop_id = b.shop_id) \
         OR b.entries <> COALESCE((SELECT MAX(e.n) FROM cash_entries e WHERE e.shop_id = b.shop_id), 0)",
        "a cash book that entries are missing from",
    ),
    (
        "SELECT DISTINCT e.shop_id AS id FROM cash_entries e \
         WHERE NOT EXISTS (SELECT 1 FROM cash_books b WHERE b.shop_id = e.shop_id)",
        "entries of a cash book that is not there",
    ),
    (
        "SELECT r.id FROM cash_entries r JOIN cash_entries e ON e.id = r.reverses_id \
         WHERE r.shop_id <> e.shop_id OR r.amount + e.amount <> 0 OR r.currency <> e.currency OR r.kind <> e.kind \
         OR r.day <> e.day OR COALESCE(r.outlet_id, '') <> COALESCE(e.outlet_id, '') \
         OR COALESCE(r.grade_id, '') <> COALESCE(e.grade_id, '') \
         OR COALESCE(r.source_id, '') <> COALESCE(e.source_id, '') \
         OR COALESCE(r.partner_id, '') <> COALESCE(e.partner_id, '') \
         OR COALESCE(r.document_id, '') <> COALESCE(e.document_id, '') \
         OR e.reverses_id IS NOT NULL OR e.values_id IS NOT NULL \
         OR COALESCE(r.home_amount, 0) + COALESCE(e.home_amount, 0) \
         + COALESCE((SELECT SUM(v.home_amount) FROM cash_entries v WHERE v.values_id = e.id), 0) <> 0",
        "an entry that does not undo the one it names",
    ),
    (
        "SELECT v.id FROM cash_entries v JOIN cash_entries e ON e.id = v.values_id \
         WHERE v.amount <> 0 OR v.home_amount IS NULL OR v.rate IS NULL OR v.shop_id <> e.shop_id OR v.day <> e.day \
         OR v.kind <> e.kind OR v.currency <> e.currency OR e.reverses_id IS NOT NULL OR e.values_id IS NOT NULL",
        "an entry that gives another one no rate",
    ),
    (
        "SELECT e.id FROM cash_entries e JOIN shops s ON s.id = e.shop_id WHERE e.currency = s.home_currency \
         AND (e.home_amount IS NULL OR e.home_amount <> e.amount OR e.rate IS NOT NULL)",
        "an entry in home currency that is worth something else",
    ),
    (
        "SELECT e.document_id AS id FROM cash_entries e WHERE e.document = 'transfer' \
         GROUP BY e.document_id HAVING SUM(e.amount) <> 0",
        "a payment between partners of which a side is missing",
    ),
    (
        "SELECT r.id FROM hours r JOIN hours h ON h.id = r.reverses_id \
         WHERE r.minutes + h.minutes <> 0 OR r.partner_id <> h.partner_id OR r.day <> h.day OR r.work <> h.work",
        "hours that do not undo those they name",
    ),
];

const HOURS: &str = "SELECT COALESCE(t.month, f.month) AS id FROM \
    (SELECT shop_id, SUBSTR(day, 1, 7) AS month, partner_id, work, SUM(minutes) AS minutes FROM hours \
    GROUP BY 1, 2, 3, 4) f FULL JOIN hour_totals t ON t.shop_id = f.shop_id AND t.month = f.month \
    AND t.partner_id = f.partner_id AND t.work = f.work \
    WHERE t.minutes IS NULL OR f.minutes IS NULL OR t.minutes <> f.minutes";

#[derive(FromRow)]
struct Valued {
    n: i64,
    id: String,
    amount: i64,
    currency: String,
    home_currency: String,
    home_amount: Option<i64>,
    rate: Option<String>,
    valued: Option<i64>,
    valued_rate: Option<String>,
}

impl Store {
    /// What is wrong with the cash book, a line each.
    pub(in crate::store) async fn check_cash(&self) -> Result<Vec<String>, StoreError> {
        let mut findings = Vec::new();
        let hours = (HOURS, "a month of hours whose sum is not that of its hours");
        for (sql, what) in NOTHING_FOUND.into_iter().chain([hours]) {
            let rows: Vec<(String,)> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
            findings.extend(rows.into_iter().map(|(id,)| format!("{what}: {id}")));
        }
        for month in self.months_unlike_their_entries().await? {
            findings.push(format!("a month of the cash book whose sum is not that of its entries: {month}"));
        }
        self.check_worth(&mut findings).await?;
        Ok(findings)
    }

    /// Works out again what each entry in a foreign currency is worth.
    async fn check_worth(&self, findings: &mut Vec<String>) -> Result<(), StoreError> {
        let sql = "SELECT e.n, e.id, e.amount, e.currency, s.home_currency, e.home_amount, e.rate, \
                   (SELECT CAST(SUM(v.home_amount) AS BIGINT) FROM cash_entries v WHERE v.values_id = e.id) AS valued, \
                   (SELECT v.rate FROM cash_entries v WHERE v.values_id = e.id ORDER BY v.n DESC LIMIT 1) AS valued_rate \
                   FROM cash_entries e JOIN shops s ON s.id = e.shop_id \
                   WHERE e.currency <> s.home_currency AND e.values_id IS NULL \
                   AND e.shop_id = $1 AND e.n > $2 ORDER BY e.n LIMIT $3";
        for shop_id in self.shop_ids().await? {
            let mut n = 0;
            loop {
                let query = sqlx::query_as(sql).bind(&shop_id).bind(n).bind(AT_ONCE);
                let rows: Vec<Valued> = query.fetch_all(self.readers()).await?;
                let Some(last) = rows.last() else { break };
                n = last.n;
                for row in &rows {
                    if !row.is_sound()? {
                        findings
                            .push(format!("an entry that is not worth its amount at its rate: {}", row.id));
                    }
                }
            }
        }
        Ok(())
    }

    /// An entry's place in the book counts within its shop, so they are read shop by shop.
    async fn shop_ids(&self) -> Result<Vec<String>, StoreError> {
        let rows: Vec<(String,)> =
            sqlx::query_as("SELECT id FROM shops ORDER BY id").fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(|(id,)| id).collect())
    }
}

impl Valued {
    fn is_sound(&self) -> Result<bool, RowError> {
        let currency = |code| RowError::read("cash_entries", "currency", code, Currency::from_code);
        let rate = |rate: &String| RowError::decimal("cash_entries", "rate", rate);
        let worth = |rate: Decimal| -> Result<i64, RowError> {
            let amount = Money::from_minor_units(self.amount, currency(&self.currency)?);
            Ok(in_home(amount, rate, currency(&self.home_currency)?).minor_units())
        };
        let first = match (&self.rate, self.home_amount) {
            (None, None) => true,
            (Some(first), Some(home)) => worth(rate(first)?)? == home,
            _ => false,
        };
        let now = match (&self.valued_rate, self.valued) {
            (None, None) => true,
            (Some(last), Some(valued)) => worth(rate(last)?)? == self.home_amount.unwrap_or(0) + valued,
            _ => false,
        };
        Ok(first && now)
    }
}
