//! Price sheets. A sheet is history: once stored it never changes, and of each outlet the newest one that has come into
//! force is what counts.

use std::collections::BTreeSet;

use jiff::Timestamp;
use jiff::civil::Date;
use sqlx::FromRow;
use trade::ids::{GradeId, OutletId};

use super::activity::Noun;
use super::quotes::{NewQuote, add_quotes};
use super::{By, RowError, Store, StoreError, Tx, stamp};

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

/// A sheet that is about to be stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewSheet {
    pub id: String,
    pub outlet_id: OutletId,
    pub valid_from: Date,
    pub sha256: String,
    pub quotes: Vec<NewQuote>,
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

pub(super) fn date(table: &'static str, text: &str) -> Result<Date, RowError> {
    RowError::read(table, "valid_from", text, |text| text.parse().ok())
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
    add_quotes(tx, shop_id, &sheet.id, &sheet.quotes).await?;
    let prices = format!("{} prices from {}", sheet.quotes.len(), sheet.valid_from);
    tx.note(by, Noun::Sheet, &sheet.id, "saved", &prices).await
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
