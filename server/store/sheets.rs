//! Price sheets and their quotes. A sheet is history: once stored it never changes, and of each outlet the newest one
//! that has come into force is what counts.

use std::collections::{BTreeMap, BTreeSet};

use iso_currency::Currency;
use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::{GradeId, OutletId};
use trade::mass::Mass;
use trade::money::{Price, PriceUnit};
use trade::quote::{Quote, Quotes};

use super::activity::Noun;
use super::{By, RowError, Store, StoreError, Tx, new_id, stamp};

/// A stored price sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceSheet {
    pub id: String,
    pub outlet_id: OutletId,
    pub outlet_name: String,
    /// The first day its prices hold.
    pub valid_from: Date,
    /// The file it was read from.
    pub sha256: String,
    pub file_name: String,
    /// Who confirmed it, and when.
    pub partner_name: String,
    pub at: Timestamp,
    pub quote_count: i64,
}

/// One line of a stored sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetQuote {
    /// As the sheet has it.
    pub wording: String,
    /// `None`: not one of the shop's grades.
    pub grade_id: Option<GradeId>,
    pub grade_name: Option<String>,
    /// The low end, and the high end where the sheet gives a range; `None` on request.
    pub price: Option<(Price, Option<Price>)>,
    pub from: Mass,
    /// The line or cells as they stood, and where.
    pub source: String,
    pub place: String,
}

/// A sheet that is about to be stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewSheet {
    pub id: String,
    pub outlet_id: OutletId,
    pub valid_from: Date,
    pub sha256: String,
    pub quotes: Vec<NewQuote>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewQuote {
    pub wording: String,
    pub grade_id: Option<GradeId>,
    /// The price, or a range's low and high end; negative where the outlet charges, `None` on request.
    pub price: Option<(Decimal, Option<Decimal>)>,
    pub currency: Currency,
    pub unit: PriceUnit,
    pub from: Mass,
    pub source: String,
    pub place: String,
}

/// What an outlet pays now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CurrentSheet {
    pub sheet_id: String,
    pub valid_from: Date,
    pub quotes: BTreeMap<GradeId, Quotes>,
}

/// What a sheet paid for one grade, in the tier for the smallest load.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PricePoint {
    pub outlet_id: OutletId,
    pub outlet_name: String,
    pub sheet_id: String,
    pub date: Date,
    pub price: Price,
    pub from: Mass,
}

/// Why a sheet cannot be stored. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetRefusal {
    #[error(
        "{0} has been closed meanwhile: nothing is sold there any more. Open it again first if it is back."
    )]
    OutletClosed(String),
    #[error("The grade {0} has been retired meanwhile. Choose another grade for the lines that name it.")]
    GradeRetired(GradeId),
    #[error("The same file has been saved for this outlet and this day already.")]
    SavedAlready { sheet_id: String },
}

#[derive(FromRow)]
struct SheetRow {
    id: String,
    outlet_id: String,
    outlet_name: String,
    valid_from: String,
    sha256: String,
    file_name: String,
    partner_name: String,
    at: String,
    quote_count: i64,
}

impl TryFrom<SheetRow> for PriceSheet {
    type Error = RowError;

    fn try_from(row: SheetRow) -> Result<PriceSheet, RowError> {
        Ok(PriceSheet {
            valid_from: date("sheets", &row.valid_from)?,
            at: RowError::read("sheets", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            outlet_id: OutletId::new(row.outlet_id),
            outlet_name: row.outlet_name,
            sha256: row.sha256,
            file_name: row.file_name,
            partner_name: row.partner_name,
            quote_count: row.quote_count,
        })
    }
}

fn date(table: &'static str, text: &str) -> Result<Date, RowError> {
    RowError::read(table, "valid_from", text, |text| text.parse().ok())
}

#[derive(FromRow)]
struct QuoteRow {
    wording: String,
    grade_id: Option<String>,
    grade_name: Option<String>,
    price: Option<String>,
    price_high: Option<String>,
    currency: String,
    unit: String,
    from_ug: i64,
    source: String,
    place: String,
}

impl TryFrom<QuoteRow> for SheetQuote {
    type Error = RowError;

    fn try_from(row: QuoteRow) -> Result<SheetQuote, RowError> {
        let price = priced(row.price.as_deref(), row.price_high.as_deref(), &row.currency, &row.unit)?;
        Ok(SheetQuote {
            wording: row.wording,
            grade_id: row.grade_id.map(GradeId::new),
            grade_name: row.grade_name,
            price,
            from: Mass::from_micrograms(row.from_ug),
            source: row.source,
            place: row.place,
        })
    }
}

fn priced(
    low: Option<&str>,
    high: Option<&str>,
    currency: &str,
    unit: &str,
) -> Result<Option<(Price, Option<Price>)>, RowError> {
    let currency = RowError::read("quotes", "currency", currency, Currency::from_code)?;
    let per = RowError::read("quotes", "unit", unit, PriceUnit::from_code)?;
    let price = |column, text| Ok(Price::new(RowError::decimal("quotes", column, text)?, currency, per));
    let Some(low) = low else { return Ok(None) };
    let high = high.map(|high| price("price_high", high)).transpose()?;
    Ok(Some((price("price", low)?, high)))
}

/// A sheet with its outlet, file and partner; the caller adds the condition.
macro_rules! select_sheets {
    ($condition:literal) => {
        concat!(
            "SELECT s.id, s.outlet_id, o.name AS outlet_name, s.valid_from, s.sha256, f.name AS file_name, ",
            "p.name AS partner_name, s.at, ",
            "(SELECT COUNT(*) FROM quotes q WHERE q.sheet_id = s.id) AS quote_count ",
            "FROM sheets s JOIN outlets o ON o.id = s.outlet_id ",
            "JOIN files f ON f.shop_id = s.shop_id AND f.sha256 = s.sha256 ",
            "JOIN partners p ON p.id = s.partner_id ",
            $condition
        )
    };
}

impl Store {
    /// Stored sheets, newest first; of one outlet where it is given.
    pub async fn sheets(
        &self,
        shop_id: &str,
        outlet_id: Option<&OutletId>,
    ) -> Result<Vec<PriceSheet>, StoreError> {
        let sql = select_sheets!(
            "WHERE s.shop_id = $1 AND ($2 = '' OR s.outlet_id = $2) ORDER BY s.valid_from DESC, s.at DESC, s.id DESC"
        );
        let outlet = outlet_id.map_or("", OutletId::as_str);
        let rows: Vec<SheetRow> =
            sqlx::query_as(sql).bind(shop_id).bind(outlet).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(PriceSheet::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn sheet(&self, shop_id: &str, id: &str) -> Result<PriceSheet, StoreError> {
        let sql = select_sheets!("WHERE s.shop_id = $1 AND s.id = $2");
        let row: SheetRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// The sheet that was confirmed last, of those in force on `today`.
    pub async fn latest_sheet(&self, shop_id: &str, today: Date) -> Result<Option<PriceSheet>, StoreError> {
        let current = self.current_quotes(shop_id, today, None).await?;
        let in_force: BTreeSet<&str> = current.values().map(|sheet| sheet.sheet_id.as_str()).collect();
        let mut sheets = self.sheets(shop_id, None).await?;
        sheets.retain(|sheet| in_force.contains(sheet.id.as_str()));
        Ok(sheets.into_iter().max_by(|a, b| (a.at, &a.id).cmp(&(b.at, &b.id))))
    }

    /// Sheets that were read from a file with these bytes, newest first.
    pub async fn sheets_of_file(&self, shop_id: &str, sha256: &str) -> Result<Vec<PriceSheet>, StoreError> {
        let sql = select_sheets!("WHERE s.shop_id = $1 AND s.sha256 = $2 ORDER BY s.at DESC");
        let rows: Vec<SheetRow> =
            sqlx::query_as(sql).bind(shop_id).bind(sha256).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(PriceSheet::try_from).collect::<Result<_, _>>()?)
    }

    /// The lines of a sheet, in its order.
    pub async fn sheet_quotes(&self, shop_id: &str, sheet_id: &str) -> Result<Vec<SheetQuote>, StoreError> {
        let sql = "SELECT q.wording, q.grade_id, g.name AS grade_name, q.price, q.price_high, q.currency, q.unit, \
                   q.from_ug, q.source, q.place FROM quotes q \
                   LEFT JOIN grades g ON g.shop_id = q.shop_id AND g.id = q.grade_id \
                   WHERE q.shop_id = $1 AND q.sheet_id = $2 ORDER BY q.position";
        let rows: Vec<QuoteRow> =
            sqlx::query_as(sql).bind(shop_id).bind(sheet_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(SheetQuote::try_from).collect::<Result<_, _>>()?)
    }

    /// See [`quotes_in_force`].
    pub async fn current_quotes(
        &self,
        shop_id: &str,
        today: Date,
        without_sheet: Option<&str>,
    ) -> Result<BTreeMap<OutletId, CurrentSheet>, StoreError> {
        quotes_in_force(self.readers(), shop_id, today, without_sheet).await
    }

    /// What each open outlet paid by the sheet before its current one.
    pub async fn previous_quotes(
        &self,
        shop_id: &str,
        today: Date,
    ) -> Result<BTreeMap<OutletId, CurrentSheet>, StoreError> {
        nth_newest_quotes(self.readers(), shop_id, today, None, 2).await
    }

    /// What every sheet so far paid for one grade, oldest first; of two sheets of an outlet for one day the later.
    pub async fn price_history(
        &self,
        shop_id: &str,
        grade_id: &GradeId,
    ) -> Result<Vec<PricePoint>, StoreError> {
        let sql = "SELECT s.outlet_id, o.name AS outlet_name, s.id AS sheet_id, s.valid_from, q.price, q.currency, \
                   q.unit, q.from_ug FROM quotes q JOIN sheets s ON s.id = q.sheet_id \
                   JOIN outlets o ON o.id = s.outlet_id AND o.currency = q.currency \
                   WHERE q.shop_id = $1 AND q.grade_id = $2 AND q.price IS NOT NULL \
                   AND NOT EXISTS (SELECT 1 FROM sheets n WHERE n.outlet_id = s.outlet_id \
                   AND n.valid_from = s.valid_from AND (n.at > s.at OR (n.at = s.at AND n.id > s.id))) \
                   ORDER BY s.valid_from, o.name, q.from_ug, q.position";
        let rows: Vec<PointRow> =
            sqlx::query_as(sql).bind(shop_id).bind(grade_id.as_str()).fetch_all(self.readers()).await?;
        let mut points: Vec<PricePoint> = Vec::new();
        for row in rows {
            let point = PricePoint::try_from(row)?;
            match points.last_mut().filter(|last| last.sheet_id == point.sheet_id) {
                // Two lines of one sheet for the grade: the shop counts on the lower one, as it does when it sells.
                Some(last) if point.from == last.from && lower(&point.price, &last.price) => *last = point,
                Some(_) => {}
                None => points.push(point),
            }
        }
        Ok(points)
    }
}

/// What each open outlet pays on `today`: its newest sheet that has come into force, and that sheet's prices by
/// grade. With `without_sheet`, what they paid had that sheet never come.
///
/// A price on request is no price. A price in another currency than the outlet pays in is kept as history but not
/// counted here: there is no saying what it pays.
pub async fn quotes_in_force<'e>(
    executor: impl sqlx::Executor<'e, Database = sqlx::Any>,
    shop_id: &str,
    today: Date,
    without_sheet: Option<&str>,
) -> Result<BTreeMap<OutletId, CurrentSheet>, StoreError> {
    nth_newest_quotes(executor, shop_id, today, without_sheet, 1).await
}

/// What each open outlet pays by its `nth` newest sheet of those in force on `today`.
async fn nth_newest_quotes<'e>(
    executor: impl sqlx::Executor<'e, Database = sqlx::Any>,
    shop_id: &str,
    today: Date,
    without_sheet: Option<&str>,
    nth: i64,
) -> Result<BTreeMap<OutletId, CurrentSheet>, StoreError> {
    let sql = "WITH ranked AS (SELECT s.id, s.outlet_id, s.valid_from, ROW_NUMBER() OVER \
               (PARTITION BY s.outlet_id ORDER BY s.valid_from DESC, s.at DESC, s.id DESC) AS nth \
               FROM sheets s WHERE s.shop_id = $1 AND s.valid_from <= $2 AND s.id <> $3) \
               SELECT r.id AS sheet_id, r.outlet_id, r.valid_from, q.grade_id, q.price, q.price_high, \
               q.currency, q.unit, q.from_ug FROM ranked r \
               JOIN outlets o ON o.id = r.outlet_id AND o.closed_at IS NULL \
               LEFT JOIN quotes q ON q.sheet_id = r.id AND q.grade_id IS NOT NULL AND q.price IS NOT NULL \
               AND q.currency = o.currency WHERE r.nth = $4 ORDER BY r.outlet_id, q.position";
    let rows: Vec<CurrentRow> = sqlx::query_as(sql)
        .bind(shop_id)
        .bind(today.to_string())
        .bind(without_sheet.unwrap_or_default())
        .bind(nth)
        .fetch_all(executor)
        .await?;
    Ok(by_outlet(rows)?)
}

/// Whether `a` pays less than `b` for the same mass.
fn lower(a: &Price, b: &Price) -> bool {
    match (a.per, b.per) {
        (PriceUnit::Mass(unit), PriceUnit::Mass(_)) => a.amount < b.per(unit).amount,
        (a_per, b_per) => a_per == b_per && a.amount < b.amount,
    }
}

#[derive(FromRow)]
struct CurrentRow {
    sheet_id: String,
    outlet_id: String,
    valid_from: String,
    grade_id: Option<String>,
    price: Option<String>,
    price_high: Option<String>,
    currency: Option<String>,
    unit: Option<String>,
    from_ug: Option<i64>,
}

fn by_outlet(rows: Vec<CurrentRow>) -> Result<BTreeMap<OutletId, CurrentSheet>, RowError> {
    let mut sheets: BTreeMap<OutletId, CurrentSheet> = BTreeMap::new();
    let mut quotes: BTreeMap<(OutletId, GradeId), Vec<Quote>> = BTreeMap::new();
    for row in rows {
        let outlet = OutletId::new(row.outlet_id);
        if !sheets.contains_key(&outlet) {
            let valid_from = date("sheets", &row.valid_from)?;
            let sheet = CurrentSheet { sheet_id: row.sheet_id, valid_from, quotes: BTreeMap::new() };
            sheets.insert(outlet.clone(), sheet);
        }
        let (Some(grade), Some(currency), Some(unit)) = (row.grade_id, row.currency, row.unit) else {
            continue;
        };
        if let Some((price, high)) =
            priced(row.price.as_deref(), row.price_high.as_deref(), &currency, &unit)?
        {
            let from = Mass::from_micrograms(row.from_ug.unwrap_or_default());
            quotes.entry((outlet, GradeId::new(grade))).or_default().push(Quote { price, high, from });
        }
    }
    for ((outlet, grade), of_grade) in quotes {
        if let (Some(sheet), Some(of_grade)) = (sheets.get_mut(&outlet), Quotes::new(of_grade)) {
            sheet.quotes.insert(grade, of_grade);
        }
    }
    Ok(sheets)
}

#[derive(FromRow)]
struct PointRow {
    outlet_id: String,
    outlet_name: String,
    sheet_id: String,
    valid_from: String,
    price: String,
    currency: String,
    unit: String,
    from_ug: i64,
}

impl TryFrom<PointRow> for PricePoint {
    type Error = RowError;

    fn try_from(row: PointRow) -> Result<PricePoint, RowError> {
        Ok(PricePoint {
            date: date("sheets", &row.valid_from)?,
            price: Price::new(
                RowError::decimal("quotes", "price", &row.price)?,
                RowError::read("quotes", "currency", &row.currency, Currency::from_code)?,
                RowError::read("quotes", "unit", &row.unit, PriceUnit::from_code)?,
            ),
            from: Mass::from_micrograms(row.from_ug),
            outlet_id: OutletId::new(row.outlet_id),
            outlet_name: row.outlet_name,
            sheet_id: row.sheet_id,
        })
    }
}

/// Stores a sheet inside `tx`. Its file has to be there already.
///
/// Refused with a [`SheetRefusal`] if the outlet has been closed, a grade has been retired, or the same file is stored
/// for the same outlet and day.
pub async fn add_sheet(tx: &mut Tx, by: &By, sheet: &NewSheet) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    outlet_for_sheet(tx, shop_id, &sheet.outlet_id).await?;
    grades_in_use(tx, shop_id, sheet).await?;
    let valid_from = sheet.valid_from.to_string();
    let sql = "SELECT id FROM sheets WHERE outlet_id = $1 AND sha256 = $2 AND valid_from = $3";
    let there: Option<(String,)> = sqlx::query_as(sql)
        .bind(sheet.outlet_id.as_str())
        .bind(&sheet.sha256)
        .bind(&valid_from)
        .fetch_optional(&mut **tx)
        .await?;
    if let Some((sheet_id,)) = there {
        return Err(SheetRefusal::SavedAlready { sheet_id }.into());
    }
    let sql = "INSERT INTO sheets (id, shop_id, outlet_id, valid_from, sha256, partner_id, at) \
               VALUES ($1, $2, $3, $4, $5, $6, $7)";
    sqlx::query(sql)
        .bind(&sheet.id)
        .bind(shop_id)
        .bind(sheet.outlet_id.as_str())
        .bind(valid_from)
        .bind(&sheet.sha256)
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    for (position, quote) in (0i64..).zip(&sheet.quotes) {
        add_quote(tx, shop_id, &sheet.id, position, quote).await?;
    }
    let prices = format!("{} prices from {}", sheet.quotes.len(), sheet.valid_from);
    tx.note(by, Noun::Sheet, &sheet.id, "saved", &prices).await
}

async fn add_quote(
    tx: &mut Tx,
    shop_id: &str,
    sheet_id: &str,
    position: i64,
    quote: &NewQuote,
) -> Result<(), StoreError> {
    let sql = "INSERT INTO quotes (id, shop_id, sheet_id, position, wording, grade_id, price, price_high, currency, \
               unit, from_ug, source, place) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)";
    sqlx::query(sql)
        .bind(new_id())
        .bind(shop_id)
        .bind(sheet_id)
        .bind(position)
        .bind(&quote.wording)
        .bind(quote.grade_id.as_ref().map(GradeId::as_str))
        .bind(quote.price.map(|(low, _)| low.to_string()))
        .bind(quote.price.and_then(|(_, high)| high).map(|high| high.to_string()))
        .bind(quote.currency.code())
        .bind(quote.unit.code())
        .bind(quote.from.micrograms())
        .bind(&quote.source)
        .bind(&quote.place)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Holds the outlet's row until the transaction ends, so that two sheets of one outlet come one after the other;
/// refused if it has been closed.
async fn outlet_for_sheet(tx: &mut Tx, shop_id: &str, outlet_id: &OutletId) -> Result<(), StoreError> {
    // A write that changes nothing locks the row on Postgres, as in `lot_for_change`.
    let sql = "UPDATE outlets SET note = note WHERE shop_id = $1 AND id = $2 RETURNING name, closed_at";
    let (name, closed_at): (String, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(outlet_id.as_str()).fetch_one(&mut **tx).await?;
    if closed_at.is_some() { Err(SheetRefusal::OutletClosed(name).into()) } else { Ok(()) }
}

async fn grades_in_use(tx: &mut Tx, shop_id: &str, sheet: &NewSheet) -> Result<(), StoreError> {
    let sql = "SELECT id FROM grades WHERE shop_id = $1 AND retired_at IS NULL";
    let in_use: Vec<(String,)> = sqlx::query_as(sql).bind(shop_id).fetch_all(&mut **tx).await?;
    let in_use: BTreeSet<String> = in_use.into_iter().map(|(id,)| id).collect();
    let named = sheet.quotes.iter().filter_map(|quote| quote.grade_id.as_ref());
    match named.into_iter().find(|grade| !in_use.contains(grade.as_str())) {
        Some(grade) => Err(SheetRefusal::GradeRetired(grade.clone()).into()),
        None => Ok(()),
    }
}
