//! Sheets that have been read and are under review. A draft becomes a sheet, or is thrown away; until then it outlives
//! the page, the phone and a restart.

use jiff::Timestamp;
use sqlx::FromRow;
use trade::ids::{GradeId, OutletId};

use super::activity::Noun;
use super::files::{add_file, drop_unread_file};
use super::sheets::{NewSheet, add_sheet};
use super::wordings::learn;
use super::{By, RowError, Store, StoreError, changed_one, stamp};

/// A sheet under review. What was read and what was answered are JSON texts: they are read and written as a whole, and
/// their shapes belong to the review.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetDraft {
    /// The sheet that is made of it will have the same id.
    pub id: String,
    pub outlet_id: OutletId,
    pub outlet_name: String,
    pub sha256: String,
    pub file_name: String,
    pub reading: String,
    pub answers: String,
    pub partner_name: String,
    pub at: Timestamp,
    pub version: i64,
}

/// A file that was read for an outlet.
#[derive(Debug, Clone)]
pub struct NewDraft<'a> {
    /// From the form, so that an upload sent twice makes one draft.
    pub id: &'a str,
    pub outlet_id: &'a OutletId,
    pub sha256: &'a str,
    pub file_name: &'a str,
    pub bytes: &'a [u8],
    pub reading: &'a str,
    pub answers: &'a str,
}

#[derive(FromRow)]
struct DraftRow {
    id: String,
    outlet_id: String,
    outlet_name: String,
    sha256: String,
    file_name: String,
    reading: String,
    answers: String,
    partner_name: String,
    at: String,
    version: i64,
}

impl TryFrom<DraftRow> for SheetDraft {
    type Error = RowError;

    fn try_from(row: DraftRow) -> Result<SheetDraft, RowError> {
        Ok(SheetDraft {
            at: RowError::read("sheet_drafts", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            outlet_id: OutletId::new(row.outlet_id),
            outlet_name: row.outlet_name,
            sha256: row.sha256,
            file_name: row.file_name,
            reading: row.reading,
            answers: row.answers,
            partner_name: row.partner_name,
            version: row.version,
        })
    }
}

/// A draft in a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DraftHead {
    pub id: String,
    pub outlet_name: String,
    pub sha256: String,
    pub file_name: String,
    pub partner_name: String,
    pub at: Timestamp,
}

impl Store {
    /// Keeps a file and what was read in it, for review. The same id a second time changes nothing.
    pub async fn add_draft(&self, by: &By, draft: &NewDraft<'_>) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        add_file(&mut tx, by, draft.sha256, draft.file_name, draft.bytes).await?;
        let sql = "INSERT INTO sheet_drafts (id, shop_id, outlet_id, sha256, reading, answers, partner_id, at, \
                   version) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 1) ON CONFLICT (id) DO NOTHING";
        let done = sqlx::query(sql)
            .bind(draft.id)
            .bind(shop_id)
            .bind(draft.outlet_id.as_str())
            .bind(draft.sha256)
            .bind(draft.reading)
            .bind(draft.answers)
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 1 {
            tx.note(by, Noun::Draft, draft.id, "uploaded", draft.file_name).await?;
        }
        tx.commit().await
    }

    /// Sheets under review, newest first.
    pub async fn drafts(&self, shop_id: &str) -> Result<Vec<DraftHead>, StoreError> {
        let sql = "SELECT d.id, o.name, d.sha256, f.name, p.name, d.at FROM sheet_drafts d \
                   JOIN outlets o ON o.id = d.outlet_id JOIN partners p ON p.id = d.partner_id \
                   JOIN files f ON f.shop_id = d.shop_id AND f.sha256 = d.sha256 \
                   WHERE d.shop_id = $1 ORDER BY d.at DESC, d.id DESC";
        let rows: Vec<(String, String, String, String, String, String)> =
            sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let head = |(id, outlet_name, sha256, file_name, partner_name, at): (_, _, _, _, _, String)| {
            let at = RowError::read("sheet_drafts", "at", &at, |at| at.parse().ok())?;
            Ok(DraftHead { id, outlet_name, sha256, file_name, partner_name, at })
        };
        rows.into_iter().map(head).collect()
    }

    pub async fn draft(&self, shop_id: &str, id: &str) -> Result<SheetDraft, StoreError> {
        let sql = "SELECT d.id, d.outlet_id, o.name AS outlet_name, d.sha256, f.name AS file_name, d.reading, \
                   d.answers, p.name AS partner_name, d.at, d.version FROM sheet_drafts d \
                   JOIN outlets o ON o.id = d.outlet_id JOIN partners p ON p.id = d.partner_id \
                   JOIN files f ON f.shop_id = d.shop_id AND f.sha256 = d.sha256 \
                   WHERE d.shop_id = $1 AND d.id = $2";
        let row: DraftRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Keeps what was answered so far; [`StoreError::Stale`] if somebody answered, confirmed or threw it away since
    /// `version`.
    pub async fn save_answers(
        &self,
        by: &By,
        id: &str,
        version: i64,
        answers: &str,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE sheet_drafts SET answers = $4, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done =
            sqlx::query(sql).bind(shop_id).bind(id).bind(version).bind(answers).execute(&mut *tx).await?;
        changed_one(done.rows_affected())?;
        tx.note(by, Noun::Draft, id, "answered", "").await?;
        tx.commit().await
    }

    /// Makes the draft a sheet, all or nothing: its quotes, and what was learned of the outlet's wordings (each in its
    /// normal form). [`StoreError::Stale`] if somebody answered, confirmed or threw it away since `version`.
    pub async fn confirm_draft(
        &self,
        by: &By,
        version: i64,
        sheet: &NewSheet,
        learned: &[(String, Option<GradeId>)],
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "DELETE FROM sheet_drafts WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done = sqlx::query(sql).bind(shop_id).bind(&sheet.id).bind(version).execute(&mut *tx).await?;
        changed_one(done.rows_affected())?;
        add_sheet(&mut tx, by, sheet).await?;
        learn(&mut tx, by, &sheet.outlet_id, learned).await?;
        tx.commit().await
    }

    /// Throws a draft away, and its file unless something else was read from it.
    pub async fn discard_draft(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "DELETE FROM sheet_drafts WHERE shop_id = $1 AND id = $2 RETURNING sha256";
        let (sha256,): (String,) = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut *tx).await?;
        drop_unread_file(&mut tx, shop_id, &sha256).await?;
        tx.note(by, Noun::Draft, id, "thrown away", "").await?;
        tx.commit().await
    }
}
