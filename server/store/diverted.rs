//! What was kept out of landfill: the mass that left the shop to be used again.
//!
//! The ledger holds it. So that its page costs the same after ten years as after one, sums by month and family are kept
//! beside it: each transaction that lets something leave or takes it back adds to them as it commits, and where that would
//! not do, because a lot was regraded that had been out, a grade moved to another family or the shop to another zone, the
//! shop's sums are made anew from its ledger. `check` adds the ledger up again.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use sqlx::AnyConnection;
use trade::mass::Mass;

use super::insert::{AT_ONCE, Insert, Value};
use super::{By, RowError, Store, StoreError, Tx};

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

/// What left in a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YearOut {
    pub year: i16,
    /// The first of its months in which something left or came back.
    pub first: Date,
    pub total: Mass,
}

impl YearOut {
    pub fn last(&self) -> Date {
        self.first.last_of_year()
    }
}

/// What a transaction has to count before it commits.
#[derive(Debug, Default)]
pub(super) struct Moved {
    shops: BTreeMap<String, Vec<Out>>,
    anew: BTreeSet<String>,
}

/// Mass of a lot that left; below zero where it came back.
#[derive(Debug)]
struct Out {
    lot_id: String,
    at: Timestamp,
    mass: Mass,
}

impl Moved {
    pub(super) fn out(&mut self, by: &By, lot_id: &str, mass: Mass) {
        let out = Out { lot_id: lot_id.to_string(), at: by.at, mass };
        self.shops.entry(by.shop_id.clone()).or_default().push(out);
    }

    /// The shop's sums do not hold any more.
    pub(super) fn count_anew(&mut self, shop_id: &str) {
        self.look_at_zone(shop_id);
        self.anew.insert(shop_id.to_string());
    }

    /// They do not if the shop is in another zone now.
    pub(super) fn look_at_zone(&mut self, shop_id: &str) {
        self.shops.entry(shop_id.to_string()).or_default();
    }
}

/// Sums by month and family. A month is its first day.
type Sums = BTreeMap<(Date, String), Mass>;

impl Store {
    /// What was sent to buyers and taken by yards, less what came back, from one month to another, by family; the oldest
    /// first. Months in which nothing left are not in it.
    pub async fn diverted_months(
        &self,
        shop_id: &str,
        from: Date,
        to: Date,
    ) -> Result<Vec<MonthOut>, StoreError> {
        let sql = "SELECT month, family, net_ug FROM diverted_totals WHERE shop_id = $1 AND month BETWEEN $2 AND $3";
        let rows: Vec<(String, String, i64)> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(month_code(from))
            .bind(month_code(to))
            .fetch_all(self.readers())
            .await?;
        let mut months: BTreeMap<Date, BTreeMap<String, Mass>> = BTreeMap::new();
        for (month, family, net_ug) in rows {
            let families = months.entry(month_from(&month)?).or_default();
            families.insert(family, Mass::from_micrograms(net_ug));
        }
        Ok(months.into_iter().map(|(month, families)| MonthOut { month, families }).collect())
    }

    /// The same of all time, by family.
    pub async fn diverted_families(&self, shop_id: &str) -> Result<Vec<(String, Mass)>, StoreError> {
        let sql = "SELECT family, CAST(SUM(net_ug) AS BIGINT) FROM diverted_totals WHERE shop_id = $1 \
                   GROUP BY family ORDER BY family";
        let rows: Vec<(String, i64)> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(|(family, net_ug)| (family, Mass::from_micrograms(net_ug))).collect())
    }

    /// The same by year, the oldest first.
    pub async fn diverted_years(&self, shop_id: &str) -> Result<Vec<YearOut>, StoreError> {
        let sql = "SELECT MIN(month), CAST(SUM(net_ug) AS BIGINT) FROM diverted_totals WHERE shop_id = $1 \
                   GROUP BY substr(month, 1, 4) ORDER BY 1";
        let rows: Vec<(String, i64)> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let year = |(month, net_ug): (String, i64)| {
            let first = month_from(&month)?;
            Ok(YearOut { year: first.year(), first, total: Mass::from_micrograms(net_ug) })
        };
        rows.into_iter().map(year).collect()
    }

    /// Makes the sums of shops that have none of their zone yet: their record is older than the sums.
    pub(super) async fn count_diverted(&self) -> Result<(), StoreError> {
        let sql = "SELECT s.id FROM shops s WHERE NOT EXISTS \
                   (SELECT 1 FROM diverted_books b WHERE b.shop_id = s.id AND b.zone = s.zone)";
        let shops: Vec<(String,)> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
        for (shop_id,) in shops {
            let mut tx = self.begin().await?;
            tx.moved().look_at_zone(&shop_id);
            tx.commit().await?;
        }
        Ok(())
    }

    /// Months and families whose sum is not that of the ledger, a line each.
    pub(super) async fn check_diverted(&self) -> Result<Vec<String>, StoreError> {
        let mut findings = Vec::new();
        for shop in self.shops().await? {
            let mut connection = self.readers().acquire().await?;
            let right = add_up(&mut connection, &shop.id, &shop.zone).await?;
            let sql = "SELECT month, family, net_ug FROM diverted_totals WHERE shop_id = $1";
            let rows: Vec<(String, String, i64)> =
                sqlx::query_as(sql).bind(&shop.id).fetch_all(&mut *connection).await?;
            let mut kept = Sums::new();
            for (month, family, net_ug) in rows {
                kept.insert((month_from(&month)?, family), Mass::from_micrograms(net_ug));
            }
            let keys: BTreeSet<&(Date, String)> = right.keys().chain(kept.keys()).collect();
            for key in keys {
                let of = |sums: &Sums| sums.get(key).copied().unwrap_or(Mass::ZERO);
                let off = of(&kept) - of(&right);
                if !off.is_zero() {
                    let (month, family) = (month_code(key.0), &key.1);
                    findings.push(format!(
                        "a month whose sum of what left is not that of its ledgers: {month}, {family} ({} g)",
                        off.grams()
                    ));
                }
            }
        }
        Ok(findings)
    }
}

/// Whether anything of a lot has ever left.
pub(super) async fn has_been_out(tx: &mut Tx, lot_id: &str) -> Result<bool, StoreError> {
    let sql =
        "SELECT CAST(COUNT(*) AS BIGINT) FROM weighings WHERE lot_id = $1 AND kind IN ('sent', 'returned')";
    let (times,): (i64,) = sqlx::query_as(sql).bind(lot_id).fetch_one(&mut **tx).await?;
    Ok(times > 0)
}

/// Adds what the transaction moved to the sums.
pub(super) async fn count(tx: &mut Tx, moved: Moved) -> Result<(), StoreError> {
    for (shop_id, outs) in &moved.shops {
        // Whoever counts takes the shop's book first, so that they come one after the other.
        let sql = "INSERT INTO diverted_books (shop_id, zone) VALUES ($1, '') \
                   ON CONFLICT (shop_id) DO UPDATE SET zone = diverted_books.zone RETURNING zone";
        let (counted,): (String,) = sqlx::query_as(sql).bind(shop_id).fetch_one(&mut **tx).await?;
        let sql = "SELECT zone FROM shops WHERE id = $1";
        let (zone,): (String,) = sqlx::query_as(sql).bind(shop_id).fetch_one(&mut **tx).await?;
        let calendar = RowError::read("shops", "zone", &zone, |zone| TimeZone::get(zone).ok())?;
        if zone != counted || moved.anew.contains(shop_id) {
            count_anew(tx, shop_id, &zone, &calendar).await?;
            continue;
        }
        let mut sums = Sums::new();
        for out in outs {
            let sql = "SELECT g.family FROM lots l JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
                       WHERE l.shop_id = $1 AND l.id = $2";
            let (family,): (String,) =
                sqlx::query_as(sql).bind(shop_id).bind(&out.lot_id).fetch_one(&mut **tx).await?;
            *sums.entry((month_of(out.at, &calendar), family)).or_insert(Mass::ZERO) += out.mass;
        }
        add(tx, shop_id, &sums).await?;
    }
    Ok(())
}

async fn count_anew(tx: &mut Tx, shop_id: &str, zone: &str, calendar: &TimeZone) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM diverted_totals WHERE shop_id = $1").bind(shop_id).execute(&mut **tx).await?;
    let sums = add_up(tx, shop_id, calendar).await?;
    add(tx, shop_id, &sums).await?;
    let sql = "UPDATE diverted_books SET zone = $2 WHERE shop_id = $1";
    sqlx::query(sql).bind(shop_id).bind(zone).execute(&mut **tx).await?;
    Ok(())
}

const ADD: Insert = Insert {
    into: "INSERT INTO diverted_totals (shop_id, month, family, net_ug)",
    behind: "ON CONFLICT (shop_id, month, family) DO UPDATE SET net_ug = diverted_totals.net_ug + excluded.net_ug",
};

async fn add(tx: &mut Tx, shop_id: &str, sums: &Sums) -> Result<(), StoreError> {
    let sums: Vec<(&(Date, String), &Mass)> = sums.iter().collect();
    let mut adding = ADD.begin();
    for some in sums.chunks(AT_ONCE) {
        let row = |((month, family), mass): &(&(Date, String), &Mass)| {
            [
                Value::Text(shop_id),
                Value::Made(month_code(*month)),
                Value::Made(family.clone()),
                Value::Number(mass.micrograms()),
            ]
        };
        adding.add(tx, some.iter().map(row).collect()).await?;
    }
    Ok(())
}

/// The sums as the ledger has them.
async fn add_up(
    connection: &mut AnyConnection,
    shop_id: &str,
    calendar: &TimeZone,
) -> Result<Sums, StoreError> {
    // Added up by the minute, which no zone's month begins within, so that few rows come however long the ledger is.
    let sql = "SELECT substr(w.at, 1, 16) AS minute, g.family, CAST(-SUM(w.net_ug) AS BIGINT) \
               FROM weighings w JOIN lots l ON l.id = w.lot_id \
               JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
               WHERE w.shop_id = $1 AND w.kind IN ('sent', 'returned') \
               GROUP BY substr(w.at, 1, 16), g.family";
    let rows: Vec<(String, String, i64)> = sqlx::query_as(sql).bind(shop_id).fetch_all(connection).await?;
    let mut sums = Sums::new();
    for (minute, family, net_ug) in rows {
        let at: Timestamp =
            RowError::read("weighings", "at", &minute, |minute| format!("{minute}:00Z").parse().ok())?;
        *sums.entry((month_of(at, calendar), family)).or_insert(Mass::ZERO) += Mass::from_micrograms(net_ug);
    }
    Ok(sums)
}

fn month_of(at: Timestamp, calendar: &TimeZone) -> Date {
    at.to_zoned_datetime(calendar.clone()).date().first_of_month()
}

fn month_code(month: Date) -> String {
    month.strftime("%Y-%m").to_string()
}

fn month_from(code: &str) -> Result<Date, RowError> {
    RowError::read("diverted_totals", "month", code, |code| format!("{code}-01").parse().ok())
}
