//! Entries of the book as they are read: a page of them, those of one document, or all of them in pieces for an export.

use iso_currency::Currency;
use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::cash::Kind;
use trade::ids::{GradeId, OutletId};
use trade::money::Money;

use super::{Document, DocumentKind};
use crate::store::{RowError, Store, StoreError};

/// An entry of the book with what it is called by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CashEntry {
    pub id: String,
    /// Counts the shop's entries from 1.
    pub n: i64,
    pub day: Date,
    pub kind: Kind,
    /// Signed: what came in is above zero. Of an entry that only gives a rate, nothing.
    pub amount: Money,
    /// What it is worth in home currency, in minor units, by now; `None` where it still wants a rate.
    pub worth: Option<i64>,
    /// The same as this row alone brought it.
    pub home_amount: Option<i64>,
    /// Home currency for one of the amount's, where it had to be exchanged.
    pub rate: Option<Decimal>,
    pub document: Option<Document>,
    pub outlet: Option<(OutletId, String)>,
    pub grade: Option<(GradeId, String)>,
    pub source_id: Option<String>,
    /// Id and name.
    pub partner: Option<(String, String)>,
    pub note: String,
    /// The entry that this one undoes.
    pub reverses_id: Option<String>,
    /// The entry that this one gives a rate.
    pub values_id: Option<String>,
    /// The entry that undid this one.
    pub reversed_by: Option<String>,
    pub entered_by: String,
    pub at: Timestamp,
}

impl CashEntry {
    /// Whether it counts in its own currency alone until somebody gives it a rate.
    pub fn wants_rate(&self) -> bool {
        self.worth.is_none() && self.reverses_id.is_none() && self.reversed_by.is_none()
    }

    /// Whether it only undoes or values another one.
    pub fn is_about_another(&self) -> bool {
        self.reverses_id.is_some() || self.values_id.is_some()
    }
}

/// Which entries are wanted. What is `None` does not matter.
#[derive(Debug, Clone, Default)]
pub struct Wanted<'a> {
    pub from: Option<Date>,
    pub to: Option<Date>,
    pub kind: Option<Kind>,
    pub outlet_id: Option<&'a str>,
    pub grade_id: Option<&'a str>,
    pub source_id: Option<&'a str>,
    pub partner_id: Option<&'a str>,
    pub currency: Option<Currency>,
}

/// A place in the book, by day and then by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    pub day: Date,
    pub n: i64,
}

#[derive(FromRow)]
struct EntryRow {
    id: String,
    n: i64,
    day: String,
    kind: String,
    amount: i64,
    currency: String,
    home_amount: Option<i64>,
    rate: Option<String>,
    document: Option<String>,
    document_id: Option<String>,
    outlet_id: Option<String>,
    outlet_name: Option<String>,
    grade_id: Option<String>,
    grade_name: Option<String>,
    source_id: Option<String>,
    partner_id: Option<String>,
    partner_name: Option<String>,
    note: String,
    reverses_id: Option<String>,
    values_id: Option<String>,
    valued: Option<i64>,
    valued_rate: Option<String>,
    reversed_by: Option<String>,
    entered_by: String,
    at: String,
}

/// What an entry belongs to, from its two columns.
pub(in crate::store) fn document(kind: Option<&str>, id: Option<&str>) -> Result<Option<Document>, RowError> {
    let (Some(kind), Some(id)) = (kind, id) else { return Ok(None) };
    let kind = RowError::read("cash_entries", "document", kind, DocumentKind::from_code)?;
    Ok(Some(Document::new(kind, id)))
}

impl TryFrom<EntryRow> for CashEntry {
    type Error = RowError;

    fn try_from(row: EntryRow) -> Result<CashEntry, RowError> {
        let currency = RowError::read("cash_entries", "currency", &row.currency, Currency::from_code)?;
        let rate = row.valued_rate.as_ref().or(row.rate.as_ref());
        let worth = match (row.home_amount, row.valued) {
            (None, None) => None,
            (home, valued) => Some(home.unwrap_or(0) + valued.unwrap_or(0)),
        };
        Ok(CashEntry {
            day: RowError::read("cash_entries", "day", &row.day, |day| day.parse().ok())?,
            kind: RowError::read("cash_entries", "kind", &row.kind, Kind::from_code)?,
            amount: Money::from_minor_units(row.amount, currency),
            worth,
            home_amount: row.home_amount,
            rate: rate.map(|rate| RowError::decimal("cash_entries", "rate", rate)).transpose()?,
            document: document(row.document.as_deref(), row.document_id.as_deref())?,
            outlet: row.outlet_id.map(OutletId::new).zip(row.outlet_name),
            grade: row.grade_id.map(GradeId::new).zip(row.grade_name),
            partner: row.partner_id.zip(row.partner_name),
            at: RowError::read("cash_entries", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            n: row.n,
            source_id: row.source_id,
            note: row.note,
            reverses_id: row.reverses_id,
            values_id: row.values_id,
            reversed_by: row.reversed_by,
            entered_by: row.entered_by,
        })
    }
}

macro_rules! select_entries {
    ($($condition:literal),+) => {
        concat!(
            "SELECT e.id, e.n, e.day, e.kind, e.amount, e.currency, e.home_amount, e.rate, e.document, ",
            "e.document_id, e.outlet_id, o.name AS outlet_name, e.grade_id, g.name AS grade_name, e.source_id, ",
            "e.partner_id, p.name AS partner_name, e.note, e.reverses_id, e.values_id, ",
            "(SELECT CAST(SUM(v.home_amount) AS BIGINT) FROM cash_entries v WHERE v.values_id = e.id) AS valued, ",
            "(SELECT v.rate FROM cash_entries v WHERE v.values_id = e.id ORDER BY v.n DESC LIMIT 1) AS valued_rate, ",
            "(SELECT r.id FROM cash_entries r WHERE r.reverses_id = e.id) AS reversed_by, ",
            "b.name AS entered_by, e.at FROM cash_entries e JOIN partners b ON b.id = e.entered_by ",
            "LEFT JOIN outlets o ON o.id = e.outlet_id ",
            "LEFT JOIN grades g ON g.shop_id = e.shop_id AND g.id = e.grade_id ",
            "LEFT JOIN partners p ON p.id = e.partner_id ",
            $($condition),+
        )
    };
}

/// Days before and after all days that the book can hold, as text.
const FIRST: &str = "0000-01-01";
const LAST: &str = "9999-12-31";

impl Store {
    /// Entries of the book, newest first, at most `most`; only those before a place in it, if one is given.
    pub async fn cash_entries(
        &self,
        shop_id: &str,
        wanted: &Wanted<'_>,
        before: Option<Place>,
        most: u32,
    ) -> Result<Vec<CashEntry>, StoreError> {
        let sql = select_entries!(
            "WHERE e.shop_id = $1 AND e.day BETWEEN $2 AND $3 AND (e.day < $4 OR e.n < $5) ",
            "AND (CAST($6 AS TEXT) IS NULL OR e.kind = $6) AND (CAST($7 AS TEXT) IS NULL OR e.outlet_id = $7) ",
            "AND (CAST($8 AS TEXT) IS NULL OR e.grade_id = $8) AND (CAST($9 AS TEXT) IS NULL OR e.source_id = $9) ",
            "AND (CAST($10 AS TEXT) IS NULL OR e.partner_id = $10) ",
            "AND (CAST($11 AS TEXT) IS NULL OR e.currency = $11) ORDER BY e.day DESC, e.n DESC LIMIT $12"
        );
        let from = wanted.from.map_or_else(|| FIRST.to_string(), |day| day.to_string());
        let last = wanted.to.map_or_else(|| LAST.to_string(), |day| day.to_string());
        let (day, n) = before.map_or((last.clone(), i64::MAX), |place| (place.day.to_string(), place.n));
        let rows: Vec<EntryRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(from)
            // Where the page begins, so that what comes after that place is not looked through.
            .bind(last.min(day.clone()))
            .bind(day)
            .bind(n)
            .bind(wanted.kind.map(Kind::code))
            .bind(wanted.outlet_id)
            .bind(wanted.grade_id)
            .bind(wanted.source_id)
            .bind(wanted.partner_id)
            .bind(wanted.currency.map(|currency| currency.code()))
            .bind(i64::from(most))
            .fetch_all(self.readers())
            .await?;
        read(rows)
    }

    pub async fn cash_entry(&self, shop_id: &str, id: &str) -> Result<CashEntry, StoreError> {
        let sql = select_entries!("WHERE e.shop_id = $1 AND e.id = $2");
        let row: EntryRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// The entries that undo a given one or gave it a rate, in the order they were made.
    pub async fn cash_about(&self, shop_id: &str, id: &str) -> Result<Vec<CashEntry>, StoreError> {
        let sql = select_entries!(
            "WHERE e.shop_id = $1 AND e.id IN (SELECT v.id FROM cash_entries v WHERE v.values_id = $2 ",
            "UNION SELECT r.id FROM cash_entries r WHERE r.reverses_id = $2) ORDER BY e.n"
        );
        read(sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?)
    }

    /// The entries of a document, in the order they were made, with those that undo or value them.
    pub async fn cash_of(&self, shop_id: &str, document: &Document) -> Result<Vec<CashEntry>, StoreError> {
        let sql =
            select_entries!("WHERE e.shop_id = $1 AND e.document = $2 AND e.document_id = $3 ORDER BY e.n");
        let query = sqlx::query_as(sql).bind(shop_id).bind(document.kind.code()).bind(&document.id);
        read(query.fetch_all(self.readers()).await?)
    }

    /// Entries that want a rate, the oldest first, at most `most`.
    pub async fn cash_unrated(&self, shop_id: &str, most: u32) -> Result<Vec<CashEntry>, StoreError> {
        let sql = select_entries!(
            "WHERE e.shop_id = $1 AND e.home_amount IS NULL AND e.reverses_id IS NULL ",
            "AND NOT EXISTS (SELECT 1 FROM cash_entries x WHERE x.values_id = e.id) ",
            "AND NOT EXISTS (SELECT 1 FROM cash_entries x WHERE x.reverses_id = e.id) ",
            "ORDER BY e.day, e.n LIMIT $2"
        );
        let query = sqlx::query_as(sql).bind(shop_id).bind(i64::from(most));
        read(query.fetch_all(self.readers()).await?)
    }

    /// The book in pieces, the oldest day first: at most `most` entries after a place, of those that were made up to the
    /// number `last`. Nothing in it changes, so that pieces read one after the other are the book at one moment.
    pub async fn cash_piece(
        &self,
        shop_id: &str,
        after: Option<Place>,
        last: i64,
        most: u32,
    ) -> Result<Vec<CashEntry>, StoreError> {
        let sql = select_entries!(
            "WHERE e.shop_id = $1 AND e.day >= $2 AND (e.day > $2 OR e.n > $3) AND e.n <= $4 ",
            "ORDER BY e.day, e.n LIMIT $5"
        );
        let (day, n) = after.map_or((FIRST.to_string(), 0), |place| (place.day.to_string(), place.n));
        let rows: Vec<EntryRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(day)
            .bind(n)
            .bind(last)
            .bind(i64::from(most))
            .fetch_all(self.readers())
            .await?;
        read(rows)
    }

    /// How many entries the book has: the number of the last.
    pub async fn cash_count(&self, shop_id: &str) -> Result<i64, StoreError> {
        let sql = "SELECT entries FROM cash_books WHERE shop_id = $1";
        let book: Option<(i64,)> = sqlx::query_as(sql).bind(shop_id).fetch_optional(self.readers()).await?;
        Ok(book.map_or(0, |(entries,)| entries))
    }
}

fn read(rows: Vec<EntryRow>) -> Result<Vec<CashEntry>, StoreError> {
    Ok(rows.into_iter().map(CashEntry::try_from).collect::<Result<_, _>>()?)
}

impl CashEntry {
    pub fn place(&self) -> Place {
        Place { day: self.day, n: self.n }
    }
}
