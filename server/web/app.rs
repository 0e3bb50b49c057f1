//! What every handler can reach.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;

use super::page::Visitor;
use crate::backup::Backups;
use crate::certificate::Root;
use crate::matchers::Matchers;
use crate::shelf::{Answer, Answers, Depth, Known, Shelf};
use crate::shelves::{Loaded, Shelves};
use crate::store::{Store, StoreError};

/// The running program, shared by all requests.
#[derive(Debug, Clone)]
pub struct App {
    pub store: Store,
    pub config: Arc<Config>,
    pub answers: Arc<Answers>,
    pub shelves: Arc<Shelves>,
    pub matchers: Arc<Matchers>,
    /// Told when the program is to stop, for what would otherwise go on without end.
    pub closing: watch::Sender<bool>,
}

/// How long a page that only mentions the sell plan waits for it.
const PATIENCE: Duration = Duration::from_millis(150);

/// How long the next answer is waited for where there is none yet, and how often, before a page insists on its own.
const NEXT: Duration = Duration::from_secs(5);
const MOST_WAITS: usize = 12;

impl App {
    pub fn new(store: Store, config: Config) -> App {
        let (closing, _) = watch::channel(false);
        let answers = Arc::new(Answers::new(store.news().clone()));
        App {
            store,
            config: Arc::new(config),
            answers,
            shelves: Arc::default(),
            matchers: Arc::default(),
            closing,
        }
    }
}

/// An answer to draw a page from.
#[derive(Debug)]
pub struct Answered {
    /// What it is about.
    pub shelf: Arc<Shelf>,
    pub answer: Arc<Answer>,
    /// Whether the shelf is as it stands. Otherwise something was put on it a moment ago, and open pages are told when
    /// the answer to that is there.
    pub is_current: bool,
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
        self.answers.soon(shop_id, shelf, Depth::Margins, self.config.patience).await
    }

    /// The sell plans, without margins, of a shelf as it is and as it would be, if both are very soon found: the page of
    /// a sheet's review has more to show than these.
    pub async fn plans_soon(
        &self,
        now: &Arc<Shelf>,
        then: &Arc<Shelf>,
        shop_id: &str,
    ) -> Option<(Arc<Answer>, Arc<Answer>)> {
        let patience = self.config.patience / 3;
        let plan = |shelf| self.answers.soon(shop_id, shelf, Depth::Plan, patience);
        let (now, then) = tokio::join!(plan(now), plan(then));
        Some((now?, then?))
    }

    /// The answer for a shelf; or, so that a page does not wait while one weighing comes in after the other, the last one
    /// of this minute with the shelf that it is about.
    pub async fn answered(&self, shelf: Arc<Shelf>, shop_id: &str) -> Answered {
        for _ in 0..MOST_WAITS {
            let mut found = self.answers.found();
            if let Some(answer) = self.answer_soon(&shelf, shop_id).await {
                return Answered { shelf, answer, is_current: true };
            }
            // The plan is there before the margins are; open pages are told of those.
            if let Some(answer) = self.answers.plan_at_hand(&shelf).await {
                return Answered { shelf, answer, is_current: true };
            }
            if let Some(Known { shelf, answer }) = self.answers.last(shop_id, &shelf) {
                return Answered { shelf, answer, is_current: false };
            }
            // There is nothing to show in its place yet: whatever is found next may do.
            drop(tokio::time::timeout(NEXT, found.changed()).await);
        }
        let answer = self.answers.about(&shelf).await;
        Answered { shelf, answer, is_current: true }
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
    /// The folder where large files are put together before they are sent.
    pub scratch: PathBuf,
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
            scratch: std::env::temp_dir(),
        }
    }
}
