//! Uploads as they came, by the SHA-256 of their bytes.

use jiff::Timestamp;
use sha2::{Digest, Sha256};
use sqlx::FromRow;

use super::{By, RowError, Store, StoreError, Tx, stamp};

/// A file somebody uploaded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredFile {
    pub sha256: String,
    /// What it was called where it came from.
    pub name: String,
    pub bytes: Vec<u8>,
    pub at: Timestamp,
}

#[derive(FromRow)]
struct FileRow {
    sha256: String,
    name: String,
    bytes: Vec<u8>,
    at: String,
}

impl TryFrom<FileRow> for StoredFile {
    type Error = RowError;

    fn try_from(row: FileRow) -> Result<StoredFile, RowError> {
        Ok(StoredFile {
            at: RowError::read("files", "at", &row.at, |at| at.parse().ok())?,
            sha256: row.sha256,
            name: row.name,
            bytes: row.bytes,
        })
    }
}

/// The SHA-256 (FIPS 180-4) of `bytes`, in lower-case hexadecimal: the name under which a file is kept.
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

impl Store {
    pub async fn file(&self, shop_id: &str, sha256: &str) -> Result<StoredFile, StoreError> {
        let sql = "SELECT sha256, name, bytes, at FROM files WHERE shop_id = $1 AND sha256 = $2";
        let row: FileRow = sqlx::query_as(sql).bind(shop_id).bind(sha256).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }
}

/// Keeps a file inside `tx`; one with the same bytes is kept once, under the name it first came with.
pub async fn add_file(
    tx: &mut Tx,
    by: &By,
    sha256: &str,
    name: &str,
    bytes: &[u8],
) -> Result<(), StoreError> {
    let By { shop_id, at, .. } = by;
    let sql = "INSERT INTO files (shop_id, sha256, name, bytes, at) VALUES ($1, $2, $3, $4, $5) \
               ON CONFLICT (shop_id, sha256) DO NOTHING";
    sqlx::query(sql)
        .bind(shop_id)
        .bind(sha256)
        .bind(name)
        .bind(bytes)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Lets go of a file inside `tx` that no sheet and no draft was read from.
pub(crate) async fn drop_unread_file(tx: &mut Tx, shop_id: &str, sha256: &str) -> Result<(), StoreError> {
    let sql = "DELETE FROM files WHERE shop_id = $1 AND sha256 = $2 \
               AND NOT EXISTS (SELECT 1 FROM sheets s WHERE s.shop_id = $1 AND s.sha256 = $2) \
               AND NOT EXISTS (SELECT 1 FROM sheet_drafts d WHERE d.shop_id = $1 AND d.sha256 = $2) \
               AND NOT EXISTS (SELECT 1 FROM settlements t WHERE t.shop_id = $1 AND t.sha256 = $2) \
               AND NOT EXISTS (SELECT 1 FROM settlement_drafts e WHERE e.shop_id = $1 AND e.sha256 = $2)";
    sqlx::query(sql).bind(shop_id).bind(sha256).execute(&mut **tx).await?;
    Ok(())
}
