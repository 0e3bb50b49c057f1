//! Hours worked: they make no cash, but say what an hour brings and, where partners share by hours, who is owed what. Rows
//! are only ever added; a mistake is undone by a row that names it.

use jiff::Timestamp;
use jiff::civil::Date;
use sqlx::FromRow;
use trade::cash::Month;

use super::activity::Noun;
use super::cash::Document;
use super::{By, RowError, Store, StoreError, Tx, stamp};

/// What somebody was at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Work {
    Collecting,
    Teardown,
    Sorting,
    Packing,
    Driving,
    Other,
}

impl Work {
    pub const ALL: [Work; 6] =
        [Work::Collecting, Work::Teardown, Work::Sorting, Work::Packing, Work::Driving, Work::Other];

    pub const fn code(self) -> &'static str {
        match self {
            Work::Collecting => "collecting",
            Work::Teardown => "teardown",
            Work::Sorting => "sorting",
            Work::Packing => "packing",
            Work::Driving => "driving",
            Work::Other => "other",
        }
    }

    pub fn from_code(code: &str) -> Option<Work> {
        Self::ALL.into_iter().find(|work| work.code() == code)
    }

    pub const fn label(self) -> &'static str {
        match self {
            Work::Collecting => "collecting",
            Work::Teardown => "taking apart",
            Work::Sorting => "sorting",
            Work::Packing => "packing",
            Work::Driving => "driving",
            Work::Other => "something else",
        }
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewHours {
    /// Made by the page, or by [`Document::entry_id`].
    pub id: String,
    pub day: Date,
    pub partner_id: String,
    pub minutes: u32,
    pub work: Work,
    pub document: Option<Document>,
    pub note: String,
}

/// Hours as they were written down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hours {
    pub id: String,
    pub day: Date,
    pub partner_id: String,
    pub partner_name: String,
    /// Below zero where it undoes.
    pub minutes: i64,
    pub work: Work,
    pub is_of_document: bool,
    pub note: String,
    pub reverses_id: Option<String>,
    pub is_undone: bool,
    pub entered_by: String,
    pub at: Timestamp,
}

/// What somebody worked at one thing in one month.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HourTotal {
    pub month: Month,
    pub partner_id: String,
    pub work: Work,
    pub minutes: i64,
}

#[derive(FromRow)]
struct HoursRow {
    id: String,
    day: String,
    partner_id: String,
    partner_name: String,
    minutes: i64,
    work: String,
    document: Option<String>,
    note: String,
    reverses_id: Option<String>,
    undone: i64,
    entered_by: String,
    at: String,
}

impl TryFrom<HoursRow> for Hours {
    type Error = RowError;

    fn try_from(row: HoursRow) -> Result<Hours, RowError> {
        Ok(Hours {
            day: RowError::read("hours", "day", &row.day, |day| day.parse().ok())?,
            work: RowError::read("hours", "work", &row.work, Work::from_code)?,
            at: RowError::read("hours", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            partner_id: row.partner_id,
            partner_name: row.partner_name,
            minutes: row.minutes,
            is_of_document: row.document.is_some(),
            note: row.note,
            reverses_id: row.reverses_id,
            is_undone: row.undone > 0,
            entered_by: row.entered_by,
        })
    }
}

/// Writes hours down inside `tx`. The same id a second time changes nothing.
pub async fn add_hours(tx: &mut Tx, by: &By, hours: &NewHours) -> Result<(), StoreError> {
    if hours.minutes == 0 {
        return Ok(());
    }
    let row = Row { hours, minutes: i64::from(hours.minutes), reverses_id: None };
    if add(tx, by, &row).await? {
        let detail = format!("{} min {}", hours.minutes, hours.work.label());
        told(tx, by, hours.document.is_some(), &hours.id, "wrote down", &detail).await?;
    }
    Ok(())
}

/// Undoes hours inside `tx`. Done already, nothing changes.
pub async fn undo_hours(tx: &mut Tx, by: &By, new_id: &str, id: &str) -> Result<(), StoreError> {
    let sql = "SELECT h.day, h.partner_id, h.minutes, h.work, h.document, h.document_id, h.reverses_id, \
               (SELECT CAST(COUNT(*) AS BIGINT) FROM hours r WHERE r.reverses_id = h.id) AS undone \
               FROM hours h WHERE h.shop_id = $1 AND h.id = $2";
    let stored: Stored = sqlx::query_as(sql).bind(&by.shop_id).bind(id).fetch_one(&mut **tx).await?;
    if stored.undone > 0 || stored.reverses_id.is_some() {
        return Ok(());
    }
    let hours = NewHours {
        id: new_id.to_string(),
        day: RowError::read("hours", "day", &stored.day, |day| day.parse().ok())?,
        partner_id: stored.partner_id,
        minutes: 0,
        work: RowError::read("hours", "work", &stored.work, Work::from_code)?,
        document: super::cash::document(stored.document.as_deref(), stored.document_id.as_deref())?,
        note: String::new(),
    };
    let row = Row { hours: &hours, minutes: -stored.minutes, reverses_id: Some(id) };
    if add(tx, by, &row).await? {
        let detail = format!("{} min {}", stored.minutes, hours.work.label());
        told(tx, by, hours.document.is_some(), id, "undid", &detail).await?;
    }
    Ok(())
}

#[derive(FromRow)]
struct Stored {
    day: String,
    partner_id: String,
    minutes: i64,
    work: String,
    document: Option<String>,
    document_id: Option<String>,
    reverses_id: Option<String>,
    undone: i64,
}

struct Row<'a> {
    hours: &'a NewHours,
    minutes: i64,
    reverses_id: Option<&'a str>,
}

/// A document's hours are told by its own line of the activity.
async fn told(
    tx: &mut Tx,
    by: &By,
    of_document: bool,
    id: &str,
    deed: &str,
    detail: &str,
) -> Result<(), StoreError> {
    if !of_document {
        return tx.note(by, Noun::Hours, id, deed, detail).await;
    }
    tx.tell(by, Noun::Hours);
    Ok(())
}

/// Adds a row and its sum; false if it is there already.
async fn add(tx: &mut Tx, by: &By, row: &Row<'_>) -> Result<bool, StoreError> {
    let hours = row.hours;
    let sql = "INSERT INTO hours (id, shop_id, day, partner_id, minutes, work, document, document_id, note, reverses_id, \
               entered_by, at) SELECT $2, p.shop_id, $3, p.id, $5, $6, $7, $8, $9, $10, $11, $12 FROM partners p \
               WHERE p.shop_id = $1 AND p.id = $4 ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(&by.shop_id)
        .bind(&hours.id)
        .bind(hours.day.to_string())
        .bind(&hours.partner_id)
        .bind(row.minutes)
        .bind(hours.work.code())
        .bind(hours.document.as_ref().map(|document| document.kind.code()))
        .bind(hours.document.as_ref().map(|document| document.id.as_str()))
        .bind(&hours.note)
        .bind(row.reverses_id)
        .bind(&by.partner_id)
        .bind(stamp(by.at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 0 {
        let sql = "SELECT id FROM hours WHERE shop_id = $1 AND id = $2";
        let there: Option<(String,)> =
            sqlx::query_as(sql).bind(&by.shop_id).bind(&hours.id).fetch_optional(&mut **tx).await?;
        return if there.is_some() { Ok(false) } else { Err(StoreError::Missing) };
    }
    let sql = "INSERT INTO hour_totals (shop_id, month, partner_id, work, minutes) VALUES ($1, $2, $3, $4, $5) \
               ON CONFLICT (shop_id, month, partner_id, work) DO UPDATE SET \
               minutes = hour_totals.minutes + excluded.minutes";
    sqlx::query(sql)
        .bind(&by.shop_id)
        .bind(Month::of(hours.day).to_string())
        .bind(&hours.partner_id)
        .bind(hours.work.code())
        .bind(row.minutes)
        .execute(&mut **tx)
        .await?;
    Ok(true)
}

impl Store {
    pub async fn write_hours(&self, by: &By, hours: &NewHours) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add_hours(&mut tx, by, hours).await?;
        tx.commit().await
    }

    /// Undoes hours that were written down by hand.
    pub async fn undo_hours(&self, by: &By, new_id: &str, id: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        undo_hours(&mut tx, by, new_id, id).await?;
        tx.commit().await
    }

    /// The hours that were written down, newest first, at most `most`.
    pub async fn hours(
        &self,
        shop_id: &str,
        from: Date,
        to: Date,
        most: u32,
    ) -> Result<Vec<Hours>, StoreError> {
        let sql = "SELECT h.id, h.day, h.partner_id, p.name AS partner_name, h.minutes, h.work, h.document, h.note, \
                   h.reverses_id, \
                   (SELECT CAST(COUNT(*) AS BIGINT) FROM hours r WHERE r.reverses_id = h.id) AS undone, \
                   b.name AS entered_by, h.at FROM hours h JOIN partners p ON p.id = h.partner_id \
                   JOIN partners b ON b.id = h.entered_by WHERE h.shop_id = $1 AND h.day BETWEEN $2 AND $3 \
                   ORDER BY h.day DESC, h.at DESC, h.id DESC LIMIT $4";
        let rows: Vec<HoursRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(from.to_string())
            .bind(to.to_string())
            .bind(i64::from(most))
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Hours::try_from).collect::<Result<_, _>>()?)
    }

    /// The minutes of each partner in each month, ever.
    pub async fn hour_months(&self, shop_id: &str) -> Result<Vec<(Month, String, i64)>, StoreError> {
        let sql = "SELECT month, partner_id, CAST(SUM(minutes) AS BIGINT) AS minutes FROM hour_totals \
                   WHERE shop_id = $1 GROUP BY month, partner_id ORDER BY month, partner_id";
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let read = |(month, partner, minutes): (String, String, i64)| {
            let month = RowError::read("hour_totals", "month", &month, |month| month.parse().ok())?;
            Ok((month, partner, minutes))
        };
        rows.into_iter().map(read).collect()
    }

    /// What was worked in each month, by partner and work.
    pub async fn hour_totals(
        &self,
        shop_id: &str,
        from: Month,
        to: Month,
    ) -> Result<Vec<HourTotal>, StoreError> {
        let sql = "SELECT month, partner_id, work, minutes FROM hour_totals \
                   WHERE shop_id = $1 AND month BETWEEN $2 AND $3 ORDER BY month, partner_id, work";
        let rows: Vec<(String, String, String, i64)> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(from.to_string())
            .bind(to.to_string())
            .fetch_all(self.readers())
            .await?;
        let total = |(month, partner_id, work, minutes): (String, String, String, i64)| {
            Ok(HourTotal {
                month: RowError::read("hour_totals", "month", &month, |month| month.parse().ok())?,
                work: RowError::read("hour_totals", "work", &work, Work::from_code)?,
                partner_id,
                minutes,
            })
        };
        rows.into_iter().map(total).collect()
    }
}
