//! What was kept out of landfill: the mass that left the shop to be used again.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use trade::mass::Mass;

use super::{RowError, Store, StoreError};

/// What left in a month, by the family of its grade.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MonthOut {
    /// The first day of the month, on the shop's calendar.
    pub month: Date,
    pub families: BTreeMap<String, Mass>,
}

impl MonthOut {
    pub fn total(&self) -> Mass {
        self.families.values().copied().sum()
    }
}

impl Store {
    /// What was sent to buyers and taken by yards, less what came back, by month and family, oldest month first. Months in
    /// which nothing left are not in it.
    pub async fn diverted(&self, shop_id: &str, zone: &TimeZone) -> Result<Vec<MonthOut>, StoreError> {
        // Added up by the minute, which no zone's month begins within, so that few rows come however long the ledger is.
        let sql = "SELECT substr(w.at, 1, 16) AS minute, g.family, CAST(-SUM(w.net_ug) AS BIGINT) \
                   FROM weighings w JOIN lots l ON l.id = w.lot_id \
                   JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
                   WHERE w.shop_id = $1 AND w.kind IN ('sent', 'returned') \
                   GROUP BY substr(w.at, 1, 16), g.family ORDER BY substr(w.at, 1, 16)";
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let mut months: BTreeMap<Date, BTreeMap<String, Mass>> = BTreeMap::new();
        for (minute, family, micrograms) in rows {
            let at: Timestamp =
                RowError::read("weighings", "at", &minute, |minute| format!("{minute}:00Z").parse().ok())?;
            let month = at.to_zoned_datetime(zone.clone()).date().first_of_month();
            let sum = months.entry(month).or_default().entry(family).or_insert(Mass::ZERO);
            *sum += Mass::from_micrograms(micrograms);
        }
        Ok(months.into_iter().map(|(month, families)| MonthOut { month, families }).collect())
    }
}
