//! Word of what was just saved, to every open page of the shop.
//!
//! One process with a file of its own tells its listeners directly. On Postgres the word goes through the database,
//! with the commit that it tells of, so that pages served by another process hear it too.

use serde::{Deserialize, Serialize};
use sqlx::AnyConnection;
use sqlx::postgres::PgListener;
use tokio::sync::broadcast;
use tokio::task::AbortHandle;
use tracing::{debug, warn};

use super::StoreError;
use super::activity::Noun;

/// The channel of Postgres that the word goes through.
const CHANNEL: &str = "pennyweight";
/// Words that a slow listener may be behind before it is told only that it missed some.
const BACKLOG: usize = 256;

/// Somebody changed something of a kind in a shop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Change {
    pub shop_id: String,
    pub partner_id: String,
    pub noun: Noun,
}

/// Where changes are told and heard.
#[derive(Debug, Clone)]
pub struct News {
    here: broadcast::Sender<Change>,
    /// The task that listens to Postgres; `None` on a file.
    listener: Option<AbortHandle>,
}

impl News {
    /// For a store that one process has for itself.
    pub fn of_one_process() -> News {
        News { here: broadcast::Sender::new(BACKLOG), listener: None }
    }

    /// For a store in Postgres, which any number of processes may serve.
    pub async fn through_postgres(address: &str) -> Result<News, sqlx::Error> {
        let here = broadcast::Sender::new(BACKLOG);
        let mut listener = PgListener::connect(address).await?;
        listener.listen(CHANNEL).await?;
        let tell = here.clone();
        let task = tokio::spawn(async move {
            loop {
                // It connects again by itself when the server was away.
                match listener.recv().await {
                    Ok(word) => match serde_json::from_str(word.payload()) {
                        Ok(change) => drop(tell.send(change)),
                        Err(error) => debug!(%error, "a word on the channel that is none of ours"),
                    },
                    Err(error) => {
                        warn!(%error, "open pages hear of no changes until the database answers again");
                        tokio::time::sleep(std::time::Duration::from_secs(1)).await;
                    }
                }
            }
        });
        Ok(News { here, listener: Some(task.abort_handle()) })
    }

    /// Everything that is saved from now on, of all shops.
    pub fn listen(&self) -> broadcast::Receiver<Change> {
        self.here.subscribe()
    }

    /// Hands the word to Postgres, which passes it on if and when the transaction commits.
    pub(super) async fn before_commit(
        &self,
        connection: &mut AnyConnection,
        changes: &[Change],
    ) -> Result<(), StoreError> {
        if self.listener.is_some() {
            for change in changes {
                let word =
                    serde_json::to_string(change).map_err(|cause| StoreError::Encode(cause.to_string()))?;
                sqlx::query("SELECT CAST(pg_notify($1, $2) AS TEXT)")
                    .bind(CHANNEL)
                    .bind(word)
                    .execute(&mut *connection)
                    .await?;
            }
        }
        Ok(())
    }

    /// Tells the pages that this process serves.
    pub fn tell_here(&self, change: Change) {
        // Nobody listening is no trouble.
        drop(self.here.send(change));
    }

    pub(super) fn after_commit(&self, changes: Vec<Change>) {
        if self.listener.is_none() {
            for change in changes {
                self.tell_here(change);
            }
        }
    }

    pub(super) fn close(&self) {
        if let Some(listener) = &self.listener {
            listener.abort();
        }
    }
}
