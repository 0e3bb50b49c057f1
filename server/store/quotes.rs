//! Quotes: the lines of price sheets, and what they say that each outlet pays.

use std::collections::BTreeMap;

use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::{GradeId, OutletId};
use trade::mass::Mass;
use trade::money::{Price, PriceUnit};
use trade::quote::{Quote, Quotes};

use super::insert::{AT_ONCE, Insert, Value};
use super::sheets::date;
use super::{RowError, Store, StoreError, Tx, new_id};

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

impl Store {
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

const INSERT: Insert = Insert {
    into: "INSERT INTO quotes (id, shop_id, sheet_id, position, wording, grade_id, price, price_high, currency, unit, \
           from_ug, source, place)",
    behind: "",
};

/// Stores the lines of a sheet in their order.
pub(super) async fn add_quotes(
    tx: &mut Tx,
    shop_id: &str,
    sheet_id: &str,
    quotes: &[NewQuote],
) -> Result<(), StoreError> {
    let mut position = 0..;
    let mut inserting = INSERT.begin();
    for some in quotes.chunks(AT_ONCE) {
        // In this order none of the positions is lost where the quotes end.
        let rows = some.iter().zip(position.by_ref());
        let rows = rows.map(|(quote, position)| row(shop_id, sheet_id, position, quote));
        inserting.add(tx, rows.collect()).await?;
    }
    Ok(())
}

fn row<'q>(shop_id: &'q str, sheet_id: &'q str, position: i64, quote: &'q NewQuote) -> [Value<'q>; 13] {
    [
        Value::Made(new_id()),
        Value::Text(shop_id),
        Value::Text(sheet_id),
        Value::Number(position),
        Value::Text(&quote.wording),
        quote.grade_id.as_ref().map(GradeId::as_str).into(),
        quote.price.map(|(low, _)| low.to_string()).into(),
        quote.price.and_then(|(_, high)| high).map(|high| high.to_string()).into(),
        Value::Text(quote.currency.code()),
        Value::Text(quote.unit.code()),
        Value::Number(quote.from.micrograms()),
        Value::Text(&quote.source),
        Value::Text(&quote.place),
    ]
}
