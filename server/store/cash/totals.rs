//! Sums of the book by month, made with the entries, so that a page costs the same after ten years as after one.

use std::collections::BTreeMap;

use iso_currency::Currency;
use sqlx::FromRow;
use trade::cash::{Kind, Month};

use super::Row;
use crate::store::{RowError, Store, StoreError, Tx};

/// By what the book is added up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Facet {
    All,
    Outlet,
    Grade,
    /// The pickup.
    Source,
    Partner,
}

impl Facet {
    pub const ALL: [Facet; 5] = [Facet::All, Facet::Outlet, Facet::Grade, Facet::Source, Facet::Partner];

    pub const fn code(self) -> &'static str {
        match self {
            Facet::All => "all",
            Facet::Outlet => "outlet",
            Facet::Grade => "grade",
            Facet::Source => "source",
            Facet::Partner => "partner",
        }
    }
}

/// A sum in one currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KindTotal {
    pub kind: Kind,
    pub currency: Currency,
    /// Minor units of `currency`, signed.
    pub amount: i64,
    /// What of it has a rate, in minor units of home currency.
    pub home_amount: i64,
    pub entries: i64,
    /// Entries that still want a rate.
    pub unrated: i64,
}

/// The same in one month.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MonthTotal {
    pub month: Month,
    pub total: KindTotal,
}

/// What an outlet, grade, pickup or partner comes to, in minor units of home currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FacetTotal {
    pub key: String,
    /// What it is called; of a pickup, where it was.
    pub name: Option<String>,
    pub came_in: i64,
    pub went_out: i64,
    pub entries: i64,
    pub unrated: i64,
}

#[derive(FromRow)]
struct MonthRow {
    month: String,
    kind: String,
    currency: String,
    amount: i64,
    home_amount: i64,
    entries: i64,
    unrated: i64,
}

#[derive(FromRow)]
struct FacetRow {
    key: String,
    name: Option<String>,
    came_in: i64,
    went_out: i64,
    entries: i64,
    unrated: i64,
}

impl TryFrom<MonthRow> for MonthTotal {
    type Error = RowError;

    fn try_from(row: MonthRow) -> Result<MonthTotal, RowError> {
        Ok(MonthTotal {
            month: RowError::read("cash_totals", "month", &row.month, |month| month.parse().ok())?,
            total: KindTotal {
                kind: RowError::read("cash_totals", "kind", &row.kind, Kind::from_code)?,
                currency: RowError::read("cash_totals", "currency", &row.currency, Currency::from_code)?,
                amount: row.amount,
                home_amount: row.home_amount,
                entries: row.entries,
                unrated: row.unrated,
            },
        })
    }
}

/// Adds a row to the sums that it belongs to.
pub(super) async fn add(tx: &mut Tx, shop_id: &str, row: &Row<'_>) -> Result<(), StoreError> {
    let sql = "INSERT INTO cash_totals (shop_id, facet, month, key, kind, currency, amount, home_amount, entries, unrated) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 1, $9) \
               ON CONFLICT (shop_id, facet, month, key, kind, currency) DO UPDATE SET \
               amount = cash_totals.amount + excluded.amount, \
               home_amount = cash_totals.home_amount + excluded.home_amount, \
               entries = cash_totals.entries + 1, unrated = cash_totals.unrated + excluded.unrated";
    let month = Month::of(row.day).to_string();
    for facet in Facet::ALL {
        let key = match facet {
            Facet::All => Some(""),
            Facet::Outlet => row.outlet_id,
            Facet::Grade => row.grade_id,
            Facet::Source => row.source_id,
            Facet::Partner => row.partner_id,
        };
        let Some(key) = key else { continue };
        sqlx::query(sql)
            .bind(shop_id)
            .bind(facet.code())
            .bind(&month)
            .bind(key)
            .bind(row.kind.code())
            .bind(row.currency.code())
            .bind(row.amount)
            .bind(row.home_amount.unwrap_or(0))
            .bind(row.unrated)
            .execute(&mut **tx)
            .await?;
    }
    Ok(())
}

impl Store {
    /// The book by month, kind and currency, from one month to another.
    pub async fn cash_months(
        &self,
        shop_id: &str,
        from: Month,
        to: Month,
    ) -> Result<Vec<MonthTotal>, StoreError> {
        let sql = "SELECT month, kind, currency, amount, home_amount, entries, unrated FROM cash_totals \
                   WHERE shop_id = $1 AND facet = 'all' AND month BETWEEN $2 AND $3 \
                   ORDER BY month, kind, currency";
        let rows: Vec<MonthRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(from.to_string())
            .bind(to.to_string())
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(MonthTotal::try_from).collect::<Result<_, _>>()?)
    }

    /// The book by outlet, grade, pickup or partner: those that moved most first, at most `most` of them.
    pub async fn cash_by(
        &self,
        shop_id: &str,
        facet: Facet,
        from: Month,
        to: Month,
        most: u32,
    ) -> Result<Vec<FacetTotal>, StoreError> {
        let sql = "SELECT t.key, COALESCE(o.name, g.name, p.name, k.place) AS name, t.came_in, t.went_out, t.entries, t.unrated \
                   FROM (SELECT key, CAST(SUM(CASE WHEN home_amount > 0 THEN home_amount ELSE 0 END) AS BIGINT) AS came_in, \
                   CAST(SUM(CASE WHEN home_amount < 0 THEN home_amount ELSE 0 END) AS BIGINT) AS went_out, \
                   CAST(SUM(entries) AS BIGINT) AS entries, CAST(SUM(unrated) AS BIGINT) AS unrated \
                   FROM cash_totals WHERE shop_id = $1 AND facet = $2 AND month BETWEEN $3 AND $4 \
                   AND kind NOT IN ('payout', 'paid-in') \
                   GROUP BY key ORDER BY ABS(SUM(home_amount)) DESC, key LIMIT $5) t \
                   LEFT JOIN outlets o ON $2 = 'outlet' AND o.id = t.key \
                   LEFT JOIN grades g ON $2 = 'grade' AND g.shop_id = $1 AND g.id = t.key \
                   LEFT JOIN partners p ON $2 = 'partner' AND p.id = t.key \
                   LEFT JOIN pickups k ON $2 = 'source' AND k.id = t.key \
                   ORDER BY ABS(t.came_in + t.went_out) DESC, t.key";
        let rows: Vec<FacetRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(facet.code())
            .bind(from.to_string())
            .bind(to.to_string())
            .bind(i64::from(most))
            .fetch_all(self.readers())
            .await?;
        let total = |row: FacetRow| FacetTotal {
            key: row.key,
            name: row.name,
            came_in: row.came_in,
            went_out: row.went_out,
            entries: row.entries,
            unrated: row.unrated,
        };
        Ok(rows.into_iter().map(total).collect())
    }

    /// What the shop made in each month, in minor units of home currency, without what went between it and its partners.
    pub async fn cash_made(&self, shop_id: &str) -> Result<BTreeMap<Month, i64>, StoreError> {
        let sql = "SELECT month, CAST(SUM(home_amount) AS BIGINT) AS made FROM cash_totals \
                   WHERE shop_id = $1 AND facet = 'all' AND kind NOT IN ('payout', 'paid-in') GROUP BY month";
        let rows: Vec<(String, i64)> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let read = |(month, made): (String, i64)| {
            Ok((RowError::read("cash_totals", "month", &month, |month| month.parse().ok())?, made))
        };
        rows.into_iter().map(read).collect()
    }

    /// What went between the shop and each partner in each month, in minor units of home currency: the month, the
    /// partner, and what it comes to, each way by itself.
    pub async fn cash_moved(&self, shop_id: &str) -> Result<Vec<(Month, String, i64)>, StoreError> {
        let sql = "SELECT month, key, CAST(SUM(home_amount) AS BIGINT) AS moved FROM cash_totals \
                   WHERE shop_id = $1 AND facet = 'partner' AND kind IN ('payout', 'paid-in') \
                   GROUP BY month, key, kind ORDER BY month, key, kind";
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let read = |(month, partner, moved): (String, String, i64)| {
            let month = RowError::read("cash_totals", "month", &month, |month| month.parse().ok())?;
            Ok((month, partner, moved))
        };
        rows.into_iter().map(read).collect()
    }

    /// How many entries want a rate.
    pub async fn cash_unrated_count(&self, shop_id: &str) -> Result<i64, StoreError> {
        let sql = "SELECT CAST(COALESCE(SUM(unrated), 0) AS BIGINT) FROM cash_totals \
                   WHERE shop_id = $1 AND facet = 'all'";
        let (count,): (i64,) = sqlx::query_as(sql).bind(shop_id).fetch_one(self.readers()).await?;
        Ok(count)
    }

    /// The first and the last month that the book has entries of.
    pub async fn cash_span(&self, shop_id: &str) -> Result<Option<(Month, Month)>, StoreError> {
        let sql = "SELECT MIN(month), MAX(month) FROM cash_totals WHERE shop_id = $1 AND facet = 'all'";
        let ends: (Option<String>, Option<String>) =
            sqlx::query_as(sql).bind(shop_id).fetch_one(self.readers()).await?;
        let month = |text: String| RowError::read("cash_totals", "month", &text, |month| month.parse().ok());
        match ends {
            (Some(first), Some(last)) => Ok(Some((month(first)?, month(last)?))),
            _ => Ok(None),
        }
    }
}
