//! Whether anything was saved since: a SQLite file says so for a fraction of what reading it again takes.

use std::sync::Arc;

use sqlx::AnyConnection;
use tokio::sync::Mutex;

use super::Store;

/// A connection that only watches a file; none on Postgres.
#[derive(Debug, Clone, Default)]
pub(super) struct Watch(Arc<Mutex<Option<AnyConnection>>>);

impl Watch {
    pub fn by(connection: AnyConnection) -> Watch {
        Watch(Arc::new(Mutex::new(Some(connection))))
    }

    pub async fn close(&self) {
        if let Some(connection) = self.0.lock().await.take() {
            // It holds nothing that could be lost.
            drop(sqlx::Connection::close(connection).await);
        }
    }
}

impl Store {
    /// A number that is another one as soon as anybody has saved anything, this process or one beside it. `None` where
    /// the database does not tell.
    ///
    /// `PRAGMA data_version` is told of what *other* connections commit (SQLite's documentation of its pragmas), so the
    /// connection that asks never writes, and its numbers say nothing to any other connection.
    pub async fn version(&self) -> Option<i64> {
        let mut watch = self.watch.0.lock().await;
        let connection = watch.as_mut()?;
        match sqlx::query_scalar("PRAGMA data_version").fetch_one(connection).await {
            Ok(version) => Some(version),
            Err(error) => {
                tracing::debug!(%error, "the file can no longer be watched");
                *watch = None;
                None
            }
        }
    }
}
