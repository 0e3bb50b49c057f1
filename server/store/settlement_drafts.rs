//! Papers that are being entered. What was typed is kept as it was typed, so that it outlives the page, the phone and a
//! restart; a draft becomes a settlement, or is thrown away.

use jiff::Timestamp;
use sqlx::FromRow;
use trade::ids::OutletId;

use super::activity::Noun;
use super::files::{add_file, drop_unread_file};
use super::settlements::Delivery;
use super::{By, RowError, Store, StoreError, changed_one, stamp};

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettlementDraft {
    /// The settlement that is made of it will have the same id.
    pub id: String,
    pub outlet_id: OutletId,
    pub outlet_name: String,
    pub delivery: Delivery,
    /// The settlement that it corrects.
    pub replaces: Option<String>,
    /// JSON: the form.
    pub typed: String,
    /// The paper, where it was uploaded.
    pub sha256: Option<String>,
    pub partner_name: String,
    pub at: Timestamp,
    pub version: i64,
}

/// A paper that somebody begins to enter.
#[derive(Debug, Clone)]
pub struct NewSettlementDraft<'a> {
    /// From the form, so that a button pressed twice makes one draft.
    pub id: &'a str,
    pub outlet_id: &'a OutletId,
    pub delivery: &'a Delivery,
    pub replaces: Option<&'a str>,
    pub typed: &'a str,
    pub sha256: Option<&'a str>,
}

/// A paper as it came.
#[derive(Debug, Clone, Copy)]
pub struct NewPaper<'a> {
    pub sha256: &'a str,
    pub name: &'a str,
    pub bytes: &'a [u8],
}

#[derive(FromRow)]
struct DraftRow {
    id: String,
    outlet_id: String,
    outlet_name: String,
    shipment_id: Option<String>,
    run_stop_id: Option<String>,
    replaces_id: Option<String>,
    typed: String,
    sha256: Option<String>,
    partner_name: String,
    at: String,
    version: i64,
}

impl TryFrom<DraftRow> for SettlementDraft {
    type Error = RowError;

    fn try_from(row: DraftRow) -> Result<SettlementDraft, RowError> {
        let delivery = match (row.shipment_id, row.run_stop_id) {
            (Some(id), _) => Delivery::Shipment(id),
            (None, Some(id)) => Delivery::RunStop(id),
            (None, None) => {
                let value = "nothing".to_string();
                return Err(RowError { table: "settlement_drafts", column: "shipment_id", value });
            }
        };
        Ok(SettlementDraft {
            at: RowError::read("settlement_drafts", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            outlet_id: OutletId::new(row.outlet_id),
            outlet_name: row.outlet_name,
            delivery,
            replaces: row.replaces_id,
            typed: row.typed,
            sha256: row.sha256,
            partner_name: row.partner_name,
            version: row.version,
        })
    }
}

macro_rules! select_drafts {
    ($condition:literal) => {
        concat!(
            "SELECT d.id, d.outlet_id, o.name AS outlet_name, d.shipment_id, d.run_stop_id, d.replaces_id, d.typed, ",
            "d.sha256, p.name AS partner_name, d.at, d.version FROM settlement_drafts d ",
            "JOIN outlets o ON o.id = d.outlet_id JOIN partners p ON p.id = d.partner_id ",
            $condition
        )
    };
}

impl Store {
    /// Begins a draft. The same id a second time changes nothing.
    pub async fn add_settlement_draft(
        &self,
        by: &By,
        draft: &NewSettlementDraft<'_>,
    ) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let sql = "INSERT INTO settlement_drafts (id, shop_id, outlet_id, shipment_id, run_stop_id, replaces_id, typed, \
                   sha256, partner_id, at, version) \
                   SELECT $2, o.shop_id, o.id, $4, $5, $6, $7, $8, $9, $10, 1 FROM outlets o \
                   WHERE o.shop_id = $1 AND o.id = $3 AND NOT EXISTS (SELECT 1 FROM settlements t WHERE t.id = $2) \
                   ON CONFLICT (id) DO NOTHING";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(draft.id)
            .bind(draft.outlet_id.as_str())
            .bind(draft.delivery.shipment_id())
            .bind(draft.delivery.run_stop_id())
            .bind(draft.replaces)
            .bind(draft.typed)
            .bind(draft.sha256)
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 1 {
            tx.note(by, Noun::Settlement, draft.id, "begun", "").await?;
        }
        tx.commit().await
    }

    pub async fn settlement_draft(&self, shop_id: &str, id: &str) -> Result<SettlementDraft, StoreError> {
        let sql = select_drafts!("WHERE d.shop_id = $1 AND d.id = $2");
        let row: DraftRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// What is being entered about a delivery, newest first.
    pub async fn settlement_drafts_of(
        &self,
        shop_id: &str,
        delivery: &Delivery,
    ) -> Result<Vec<SettlementDraft>, StoreError> {
        let sql = select_drafts!(
            "WHERE d.shop_id = $1 AND (d.shipment_id = $2 OR d.run_stop_id = $3) ORDER BY d.at DESC, d.id DESC"
        );
        let rows: Vec<DraftRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(delivery.shipment_id())
            .bind(delivery.run_stop_id())
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(SettlementDraft::try_from).collect::<Result<_, _>>()?)
    }

    /// Keeps what was typed so far, and a paper that came with it; [`StoreError::Stale`] if somebody typed, saved or threw
    /// it away since `version`.
    pub async fn save_settlement_draft(
        &self,
        by: &By,
        id: &str,
        version: i64,
        typed: &str,
        paper: Option<NewPaper<'_>>,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        if let Some(paper) = paper {
            add_file(&mut tx, by, paper.sha256, paper.name, paper.bytes).await?;
        }
        let sql = "UPDATE settlement_drafts SET typed = $4, sha256 = COALESCE($5, sha256), version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(id)
            .bind(version)
            .bind(typed)
            .bind(paper.map(|paper| paper.sha256))
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        tx.note(by, Noun::Settlement, id, "typed", "").await?;
        tx.commit().await
    }

    /// Throws a draft away, and its paper unless something else has it.
    pub async fn discard_settlement_draft(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "DELETE FROM settlement_drafts WHERE shop_id = $1 AND id = $2 RETURNING sha256";
        let (sha256,): (Option<String>,) =
            sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut *tx).await?;
        if let Some(sha256) = sha256 {
            drop_unread_file(&mut tx, shop_id, &sha256).await?;
        }
        tx.note(by, Noun::Settlement, id, "thrown away", "").await?;
        tx.commit().await
    }
}
