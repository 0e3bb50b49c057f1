//! What every handler can reach.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;

use super::page::Visitor;
use crate::backup::Backups;
use crate::certificate::Root;
use crate::shelf::{Answer, Answers, Shelf};
use crate::shelves::{Loaded, Shelves};
use crate::store::activity::Noun;
use crate::store::{Change, Store, StoreError};

/// The running program, shared by all requests.
#[derive(Debug, Clone)]
pub struct App {
    pub store: Store,
    pub config: Arc<Config>,
    pub answers: Arc<Answers>,
    pub shelves: Arc<Shelves>,
    /// Told when the program is to stop, for what would otherwise go on without end.
    pub closing: watch::Sender<bool>,
}

/// How long a page that only mentions the sell plan waits for it.
const PATIENCE: Duration = Duration::from_millis(250);

impl App {
    pub fn new(store: Store, config: Config) -> App {
        let (closing, _) = watch::channel(false);
        App { store, config: Arc::new(config), answers: Arc::default(), shelves: Arc::default(), closing }
    }
}

impl App {
    /// The shop's shelf as it stands, with all its lots.
    pub async fn loaded(&self, visitor: &Visitor) -> Result<Arc<Loaded>, StoreError> {
        self.shelves.load(&self.store, &visitor.shop, visitor.now).await
    }

    /// The shop's shelf as it stands.
    pub async fn shelf(&self, visitor: &Visitor) -> Result<Arc<Shelf>, StoreError> {
        Ok(Arc::clone(&self.loaded(visitor).await?.shelf))
    }

    /// The answer for a shelf, if it is at hand or soon found. `None` where it takes longer: it is worked out all the
    /// same, and open pages are told when it is there.
    pub async fn answer_soon(&self, shelf: &Arc<Shelf>, shop_id: &str) -> Option<Arc<Answer>> {
        let (answers, shelf) = (Arc::clone(&self.answers), Arc::clone(shelf));
        self.soon(self.config.patience, shop_id, async move { answers.about(&shelf).await }).await
    }

    /// The sell plans, without margins, of a shelf as it is and as it would be, if both are very soon found: the page of
    /// a sheet's review has more to show than these.
    pub async fn plans_soon(
        &self,
        now: &Arc<Shelf>,
        then: &Arc<Shelf>,
        shop_id: &str,
    ) -> Option<(Arc<Answer>, Arc<Answer>)> {
        let (answers, now, then) = (Arc::clone(&self.answers), Arc::clone(now), Arc::clone(then));
        let both = async move { (answers.plan_for(&now).await, answers.plan_for(&then).await) };
        self.soon(self.config.patience / 5, shop_id, both).await
    }

    async fn soon<T: Send + 'static>(
        &self,
        patience: Duration,
        shop_id: &str,
        work: impl Future<Output = T> + Send + 'static,
    ) -> Option<T> {
        let mut work = tokio::spawn(work);
        if let Ok(answer) = tokio::time::timeout(patience, &mut work).await {
            return answer.ok();
        }
        let (news, shop_id) = (self.store.news().clone(), shop_id.to_string());
        tokio::spawn(async move {
            if work.await.is_ok() {
                news.tell_here(Change { shop_id, partner_id: String::new(), noun: Noun::Plan });
            }
        });
        None
    }
}

#[derive(Debug, Clone)]
pub struct Config {
    /// Names the shop's phones may call this machine by, besides its addresses.
    pub hosts: Vec<String>,
    /// The address that labels and QR codes point phones to, like `http://192.168.1.20:8080`.
    pub base_url: String,
    /// Whether a proxy in front says where requests come from, and has the certificate.
    pub behind_proxy: bool,
    /// How long a page that only mentions the sell plan waits for it.
    pub patience: Duration,
    /// Where backups are kept; `None` to keep none.
    pub backups: Option<Backups>,
    /// The shop's own root certificate, for phones to install; `None` where it serves without one.
    pub root: Option<Root>,
    /// This program's own file, which is started once more to read an upload.
    pub reader: PathBuf,
}

impl Config {
    /// Whether phones reach the shop by HTTPS, so that the cookie may go no other way.
    pub fn is_https(&self) -> bool {
        self.base_url.starts_with("https:")
    }
}

impl Default for Config {
    fn default() -> Config {
        Config {
            hosts: Vec::new(),
            base_url: String::new(),
            behind_proxy: false,
            patience: PATIENCE,
            backups: None,
            root: None,
            reader: std::env::current_exe().unwrap_or_else(|_| "pennyweight".into()),
        }
    }
}
