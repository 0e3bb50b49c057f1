//! The cash book: every amount that came in or went out. Entries are only ever added; a mistake is undone by an entry that
//! names it, and a rate that was missing comes by an entry of its own.
//!
//! Whoever settles, drives or collects enters its amounts by [`enter`] in the transaction of the document itself.

mod check;
mod entry;
mod list;
mod totals;

use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::cash::{Kind, in_home};
use trade::exchange::RateBook;
use trade::ids::{GradeId, OutletId};
use trade::money::{LARGEST_AMOUNT, Money};

use super::activity::Noun;
use super::rates::rates_on;
use super::shipments::{follow, hold};
use super::{By, RowError, Store, StoreError, Tx, stamp};

pub use entry::{CashRefusal, Document, DocumentKind, Entered, NewEntry, RateUsed};
pub(super) use list::document;
pub use list::{CashEntry, Place, Wanted};
pub use totals::{Facet, FacetTotal, KindTotal, MonthTotal};

/// A row as it goes into the table.
struct Row<'a> {
    id: &'a str,
    day: Date,
    kind: Kind,
    amount: i64,
    currency: Currency,
    home_amount: Option<i64>,
    rate: Option<Decimal>,
    document: Option<&'a Document>,
    outlet_id: Option<&'a str>,
    grade_id: Option<&'a str>,
    source_id: Option<&'a str>,
    partner_id: Option<&'a str>,
    note: &'a str,
    reverses_id: Option<&'a str>,
    values_id: Option<&'a str>,
    /// What it adds to the number of entries that want a rate.
    unrated: i64,
}

/// Puts an entry into the book inside `tx`. The same id a second time changes nothing. Of a transaction that takes other
/// rows too, this comes last: entries of a shop are made one after the other.
pub async fn enter(tx: &mut Tx, by: &By, entry: &NewEntry) -> Result<Entered, StoreError> {
    let amount = entry.amount.rounded();
    if amount.amount.abs() > LARGEST_AMOUNT {
        return Err(CashRefusal::TooLarge.into());
    }
    if !entry.kind.is_trade() && entry.partner_id.is_none() {
        return Err(CashRefusal::Partner.into());
    }
    if amount.amount.is_zero() {
        return Ok(Entered::Nothing);
    }
    let home = home_currency(tx, &by.shop_id).await?;
    let rate = match entry.rate {
        _ if amount.currency == home => None,
        RateUsed::Got(rate) => Some(rate),
        RateUsed::OnFile => {
            let book = RateBook::new(rates_on(tx, &by.shop_id, entry.day).await?);
            book.mid(amount.currency, home, entry.day).map(|mid| mid.rate.normalize())
        }
    };
    let worth = match rate {
        None if amount.currency == home => Some(amount),
        rate => rate.map(|rate| in_home(amount, rate, home)),
    };
    if worth.is_some_and(|worth| worth.amount.abs() > LARGEST_AMOUNT * Decimal::from(1000)) {
        return Err(CashRefusal::TooLarge.into());
    }
    let row = Row {
        id: &entry.id,
        day: entry.day,
        kind: entry.kind,
        amount: amount.minor_units(),
        currency: amount.currency,
        home_amount: worth.map(Money::minor_units),
        rate,
        document: entry.document.as_ref(),
        outlet_id: entry.outlet_id.as_ref().map(OutletId::as_str),
        grade_id: entry.grade_id.as_ref().map(GradeId::as_str),
        source_id: entry.source_id.as_deref(),
        partner_id: entry.partner_id.as_deref(),
        note: &entry.note,
        reverses_id: None,
        values_id: None,
        unrated: i64::from(worth.is_none()),
    };
    let entered = add(tx, by, &row).await?;
    if entered == Entered::New {
        let detail = format!("{}: {amount}", entry.kind.label());
        told(tx, by, entry.document.as_ref(), &entry.id, "entered", &detail).await?;
    }
    Ok(entered)
}

/// Undoes an entry inside `tx` by one of the same size the other way, on the same day. Sent twice it is done once;
/// [`CashRefusal::Reversed`] if another one did it before.
pub async fn reverse(
    tx: &mut Tx,
    by: &By,
    new_id: &str,
    entry_id: &str,
    note: &str,
) -> Result<Entered, StoreError> {
    lock(tx, &by.shop_id).await?;
    if is_there(tx, &by.shop_id, new_id).await? {
        return Ok(Entered::Before);
    }
    let entry = stored(tx, &by.shop_id, entry_id).await?;
    if entry.reverses_id.is_some() || entry.values_id.is_some() {
        return Err(CashRefusal::NoEntryOfItsOwn.into());
    }
    if entry.reversed > 0 {
        return Err(CashRefusal::Reversed.into());
    }
    let document = entry.document()?;
    let worth = entry.worth();
    let row = Row {
        amount: -entry.amount,
        home_amount: worth.map(|worth| -worth),
        rate: entry.rate_now()?,
        note,
        reverses_id: Some(entry_id),
        // One that never had a rate wants none any more.
        unrated: -i64::from(worth.is_none()),
        ..entry.row(new_id, document.as_ref())?
    };
    let amount = Money::from_minor_units(row.amount, row.currency);
    let (kind, entered) = (row.kind, add(tx, by, &row).await?);
    told(tx, by, document.as_ref(), entry_id, "undid", &format!("{}: {amount}", kind.label())).await?;
    Ok(entered)
}

/// Gives an entry in a foreign currency a rate inside `tx`, the first or another one, by an entry that brings what it is
/// worth in home currency and no cash. It counts on the day of the entry itself.
pub async fn value(
    tx: &mut Tx,
    by: &By,
    new_id: &str,
    entry_id: &str,
    rate: Decimal,
) -> Result<Entered, StoreError> {
    lock(tx, &by.shop_id).await?;
    if is_there(tx, &by.shop_id, new_id).await? {
        return Ok(Entered::Before);
    }
    let home = home_currency(tx, &by.shop_id).await?;
    let entry = stored(tx, &by.shop_id, entry_id).await?;
    if entry.reverses_id.is_some() || entry.values_id.is_some() {
        return Err(CashRefusal::NoEntryOfItsOwn.into());
    }
    if entry.reversed > 0 {
        return Err(CashRefusal::Reversed.into());
    }
    let document = entry.document()?;
    let before = entry.worth();
    let plain = entry.row(new_id, document.as_ref())?;
    if plain.currency == home {
        return Err(CashRefusal::HomeCurrency.into());
    }
    let worth = in_home(Money::from_minor_units(entry.amount, plain.currency), rate, home);
    if worth.amount.abs() > LARGEST_AMOUNT * Decimal::from(1000) {
        return Err(CashRefusal::TooLarge.into());
    }
    let row = Row {
        amount: 0,
        home_amount: Some(worth.minor_units() - before.unwrap_or(0)),
        rate: Some(rate.normalize()),
        note: "",
        values_id: Some(entry_id),
        unrated: -i64::from(before.is_none()),
        ..plain
    };
    let detail = format!("1 {} = {} {}", row.currency.code(), rate.normalize(), home.code());
    let entered = add(tx, by, &row).await?;
    tx.note(by, Noun::Cash, entry_id, "gave a rate to", &detail).await?;
    Ok(entered)
}

/// A document's amounts are told by its own line of the activity; a payment between partners has no page of its own.
async fn told(
    tx: &mut Tx,
    by: &By,
    document: Option<&Document>,
    id: &str,
    deed: &str,
    detail: &str,
) -> Result<(), StoreError> {
    if document.is_none_or(|document| document.kind.is_by_hand()) {
        return tx.note(by, Noun::Cash, id, deed, detail).await;
    }
    tx.tell(by, Noun::Cash);
    Ok(())
}

async fn home_currency(tx: &mut Tx, shop_id: &str) -> Result<Currency, StoreError> {
    let sql = "SELECT home_currency FROM shops WHERE id = $1";
    let (home,): (String,) = sqlx::query_as(sql).bind(shop_id).fetch_one(&mut **tx).await?;
    Ok(RowError::read("shops", "home_currency", &home, Currency::from_code)?)
}

/// Takes the shop's book, and says how many entries it has.
async fn lock(tx: &mut Tx, shop_id: &str) -> Result<i64, StoreError> {
    let sql = "INSERT INTO cash_books (shop_id, entries) VALUES ($1, 0) \
               ON CONFLICT (shop_id) DO UPDATE SET entries = cash_books.entries RETURNING entries";
    let (entries,): (i64,) = sqlx::query_as(sql).bind(shop_id).fetch_one(&mut **tx).await?;
    Ok(entries)
}

async fn is_there(tx: &mut Tx, shop_id: &str, id: &str) -> Result<bool, StoreError> {
    let sql = "SELECT id FROM cash_entries WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_optional(&mut **tx).await?;
    Ok(there.is_some())
}

async fn add(tx: &mut Tx, by: &By, row: &Row<'_>) -> Result<Entered, StoreError> {
    let By { shop_id, partner_id, at } = by;
    let n = lock(tx, shop_id).await? + 1;
    // Only this shop's own people, outlets and grades get in: what is not there is a foreign key, or no row at all.
    let sql = "INSERT INTO cash_entries (id, shop_id, n, day, kind, amount, currency, home_amount, rate, document, \
               document_id, outlet_id, grade_id, source_id, partner_id, note, reverses_id, values_id, entered_by, at) \
               SELECT $2, s.id, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20 \
               FROM shops s WHERE s.id = $1 \
               AND (CAST($12 AS TEXT) IS NULL OR EXISTS (SELECT 1 FROM outlets o WHERE o.shop_id = s.id AND o.id = $12)) \
               AND (CAST($13 AS TEXT) IS NULL OR EXISTS (SELECT 1 FROM grades g WHERE g.shop_id = s.id AND g.id = $13)) \
               AND (CAST($15 AS TEXT) IS NULL OR EXISTS (SELECT 1 FROM partners p WHERE p.shop_id = s.id AND p.id = $15)) \
               ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(row.id)
        .bind(n)
        .bind(row.day.to_string())
        .bind(row.kind.code())
        .bind(row.amount)
        .bind(row.currency.code())
        .bind(row.home_amount)
        .bind(row.rate.map(|rate| rate.to_string()))
        .bind(row.document.map(|document| document.kind.code()))
        .bind(row.document.map(|document| document.id.as_str()))
        .bind(row.outlet_id)
        .bind(row.grade_id)
        .bind(row.source_id)
        .bind(row.partner_id)
        .bind(row.note)
        .bind(row.reverses_id)
        .bind(row.values_id)
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 0 {
        return if is_there(tx, shop_id, row.id).await? {
            Ok(Entered::Before)
        } else {
            Err(StoreError::Missing)
        };
    }
    sqlx::query("UPDATE cash_books SET entries = $2 WHERE shop_id = $1")
        .bind(shop_id)
        .bind(n)
        .execute(&mut **tx)
        .await?;
    totals::add(tx, shop_id, row).await?;
    Ok(Entered::New)
}

/// What an entry holds that another one is made from.
#[derive(FromRow)]
struct Stored {
    day: String,
    kind: String,
    amount: i64,
    currency: String,
    home_amount: Option<i64>,
    rate: Option<String>,
    document: Option<String>,
    document_id: Option<String>,
    outlet_id: Option<String>,
    grade_id: Option<String>,
    source_id: Option<String>,
    partner_id: Option<String>,
    reverses_id: Option<String>,
    values_id: Option<String>,
    /// Sum and last rate of the entries that gave it one later.
    valued: Option<i64>,
    valued_rate: Option<String>,
    reversed: i64,
}

async fn stored(tx: &mut Tx, shop_id: &str, id: &str) -> Result<Stored, StoreError> {
    let sql = "SELECT e.day, e.kind, e.amount, e.currency, e.home_amount, e.rate, e.document, e.document_id, \
               e.outlet_id, e.grade_id, e.source_id, e.partner_id, e.reverses_id, e.values_id, \
               (SELECT CAST(SUM(v.home_amount) AS BIGINT) FROM cash_entries v WHERE v.values_id = e.id) AS valued, \
               (SELECT v.rate FROM cash_entries v WHERE v.values_id = e.id ORDER BY v.n DESC LIMIT 1) AS valued_rate, \
               (SELECT CAST(COUNT(*) AS BIGINT) FROM cash_entries r WHERE r.reverses_id = e.id) AS reversed \
               FROM cash_entries e WHERE e.shop_id = $1 AND e.id = $2";
    Ok(sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut **tx).await?)
}

impl Stored {
    fn worth(&self) -> Option<i64> {
        match (self.home_amount, self.valued) {
            (None, None) => None,
            (home, valued) => Some(home.unwrap_or(0) + valued.unwrap_or(0)),
        }
    }

    fn rate_now(&self) -> Result<Option<Decimal>, RowError> {
        let rate = self.valued_rate.as_ref().or(self.rate.as_ref());
        rate.map(|rate| RowError::decimal("cash_entries", "rate", rate)).transpose()
    }

    fn document(&self) -> Result<Option<Document>, RowError> {
        list::document(self.document.as_deref(), self.document_id.as_deref())
    }

    /// A row about the same thing.
    fn row<'a>(&'a self, id: &'a str, document: Option<&'a Document>) -> Result<Row<'a>, RowError> {
        Ok(Row {
            id,
            day: RowError::read("cash_entries", "day", &self.day, |day| day.parse().ok())?,
            kind: RowError::read("cash_entries", "kind", &self.kind, Kind::from_code)?,
            amount: self.amount,
            currency: RowError::read("cash_entries", "currency", &self.currency, Currency::from_code)?,
            home_amount: None,
            rate: None,
            document,
            outlet_id: self.outlet_id.as_deref(),
            grade_id: self.grade_id.as_deref(),
            source_id: self.source_id.as_deref(),
            partner_id: self.partner_id.as_deref(),
            note: "",
            reverses_id: None,
            values_id: None,
            unrated: 0,
        })
    }
}

impl Store {
    /// Makes entries, all or none.
    pub async fn enter_cash(&self, by: &By, entries: &[NewEntry]) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        for entry in entries {
            enter(&mut tx, by, entry).await?;
        }
        tx.commit().await
    }

    /// Undoes an entry that was made by hand, of what one partner paid another both; [`CashRefusal::OfDocument`] for one
    /// that a document made.
    pub async fn reverse_cash(
        &self,
        by: &By,
        new_id: &str,
        entry_id: &str,
        note: &str,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        match stored(&mut tx, &by.shop_id, entry_id).await?.document()? {
            Some(document) if document.kind == DocumentKind::Transfer => {
                let sql = "SELECT id FROM cash_entries WHERE shop_id = $1 AND document_id = $2 \
                           AND reverses_id IS NULL AND values_id IS NULL ORDER BY n";
                let sides: Vec<(String,)> =
                    sqlx::query_as(sql).bind(&by.shop_id).bind(&document.id).fetch_all(&mut *tx).await?;
                for (side,) in sides {
                    reverse(&mut tx, by, &document.entry_id(&format!("undo {side}")), &side, note).await?;
                }
            }
            Some(document) if document.kind == DocumentKind::Claim => {
                // Its shipment may have to be followed again. It is held first: the book's row is taken last.
                hold(&mut tx, &by.shop_id, &document.id).await?;
                reverse(&mut tx, by, new_id, entry_id, note).await?;
                follow(&mut tx, &by.shop_id, &document.id).await?;
            }
            Some(document) if !document.kind.is_by_hand() => return Err(CashRefusal::OfDocument.into()),
            None | Some(_) => {
                reverse(&mut tx, by, new_id, entry_id, note).await?;
            }
        }
        tx.commit().await
    }

    /// Gives an entry a rate.
    pub async fn value_cash(
        &self,
        by: &By,
        new_id: &str,
        entry_id: &str,
        rate: Decimal,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        value(&mut tx, by, new_id, entry_id, rate).await?;
        tx.commit().await
    }
}
