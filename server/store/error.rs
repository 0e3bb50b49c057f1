//! What can go wrong with the store, told apart as far as somebody can act on it.

use std::path::PathBuf;

use rust_decimal::Decimal;
use sqlx::error::ErrorKind;
use sqlx::migrate::MigrateError;

use super::lots::LotRefusal;
use super::partners::PartnerRefusal;
use super::settlements::SettlementRefusal;
use super::sheets::SheetRefusal;
use super::shops::ShopRefusal;

#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Somebody else changed the row since it was read.
    #[error("changed meanwhile by somebody else")]
    Stale,
    /// Something with this name or place is there already.
    #[error("there is one like it already")]
    Duplicate,
    #[error("not there")]
    Missing,
    #[error("the database is in use by another program; try again in a moment")]
    Busy,
    /// The database server went away in the middle, or another one is about to take its place.
    #[error("the database server is away ({0}); try again in a moment")]
    Away(sqlx::Error),
    #[error("the disk is full: nothing more can be saved until there is room")]
    Full,
    #[error("the database cannot be written to: check the rights of its file and folder")]
    ReadOnly,
    #[error("the database file is damaged or is not a database")]
    Damaged,
    #[error("the database server lets nobody in ({0}); check that it runs and that DATABASE_URL is right")]
    Unreachable(sqlx::Error),
    #[error("the database is from a newer version of this program; start that version, or restore a backup")]
    Newer,
    #[error("{} cannot be used: {cause}", path.display())]
    Folder { path: PathBuf, cause: std::io::Error },
    /// The lot is not in a state for it.
    #[error(transparent)]
    Lot(#[from] LotRefusal),
    /// The price sheet cannot be stored as it is.
    #[error(transparent)]
    Sheet(#[from] SheetRefusal),
    /// The settlement cannot be saved as it is.
    #[error(transparent)]
    Settlement(#[from] SettlementRefusal),
    /// The shop's settings cannot be changed like that.
    #[error(transparent)]
    Shop(#[from] ShopRefusal),
    /// Somebody cannot be changed like that.
    #[error(transparent)]
    Partner(#[from] PartnerRefusal),
    #[error(transparent)]
    Row(#[from] RowError),
    #[error("a value cannot be stored: {0}")]
    Encode(String),
    #[error("database: {0}")]
    Database(sqlx::Error),
    #[error("bringing the schema up to date: {0}")]
    Migration(MigrateError),
}

/// A stored value that this program could not have written.
#[derive(Debug, thiserror::Error)]
#[error("{table}.{column} holds “{value}”, which cannot be read")]
pub struct RowError {
    pub table: &'static str,
    pub column: &'static str,
    pub value: String,
}

impl RowError {
    /// Reads a stored text by `parse`, or says where it stands.
    pub(crate) fn read<T>(
        table: &'static str,
        column: &'static str,
        value: &str,
        parse: impl FnOnce(&str) -> Option<T>,
    ) -> Result<T, RowError> {
        parse(value).ok_or_else(|| RowError { table, column, value: value.to_string() })
    }

    pub(crate) fn decimal(
        table: &'static str,
        column: &'static str,
        value: &str,
    ) -> Result<Decimal, RowError> {
        RowError::read(table, column, value, |text| text.parse().ok())
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        match &error {
            sqlx::Error::RowNotFound => StoreError::Missing,
            sqlx::Error::PoolTimedOut => StoreError::Busy,
            // A proxy in front of a cluster that has no leader just now hangs up, which is a breach of protocol to sqlx.
            sqlx::Error::Io(_) | sqlx::Error::Tls(_) | sqlx::Error::Protocol(_) | sqlx::Error::PoolClosed => {
                StoreError::Away(error)
            }
            sqlx::Error::Database(cause) if cause.kind() == ErrorKind::UniqueViolation => {
                StoreError::Duplicate
            }
            sqlx::Error::Database(cause) => {
                // SQLite's result codes: 5 busy, 6 locked, 8 read-only, 11 corrupt, 13 full, 14 cannot open, 26 not a
                // database; the low byte holds them in an extended code. Postgres has five-character classes: 08 is a
                // broken connection, 57P01 to 57P03 a server that stops or starts, 53300 one that has no connection
                // left, and 25006 one that only follows another (PostgreSQL's manual, appendix A).
                let code = cause.code().unwrap_or_default();
                match code.parse::<u32>().ok().filter(|_| code.len() < 5).map(|code| code & 0xff) {
                    Some(5 | 6) => StoreError::Busy,
                    Some(8 | 14) => StoreError::ReadOnly,
                    Some(11 | 26) => StoreError::Damaged,
                    Some(13) => StoreError::Full,
                    _ if code == "53100" => StoreError::Full,
                    _ if code.starts_with("08") || code.starts_with("57P0") => StoreError::Away(error),
                    _ if code == "25006" || code == "53300" => StoreError::Away(error),
                    _ if code == "40001" || code == "40P01" || code == "55P03" => StoreError::Busy,
                    _ => StoreError::Database(error),
                }
            }
            _ => StoreError::Database(error),
        }
    }
}

impl From<MigrateError> for StoreError {
    fn from(error: MigrateError) -> Self {
        match error {
            MigrateError::VersionMissing(_) | MigrateError::VersionTooNew(..) => StoreError::Newer,
            MigrateError::Execute(error) => StoreError::from(error),
            other => StoreError::Migration(other),
        }
    }
}
