//! Answers that were found, and those that are sought.
//!
//! Answers of the two depths are sought beside each other, one of each at a time; on a small box one after the other, so
//! that phones always find a core. While one is sought the shelf may move on again and again: of what waits for its turn,
//! only each shop's newest shelf is worth an answer.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::{Duration, Instant};

use sha2::{Digest, Sha256};
use tokio::sync::watch;
use tokio::task::JoinHandle;
use trade::plan::Turns;

use super::outlooks::Outlooks;
use super::turning::Turning;
use super::{Answer, Depth, Shelf, cores};
use crate::store::activity::Noun;
use crate::store::{Change, News};

/// How many answers are remembered.
const REMEMBERED: usize = 8;
/// Behind a search about another shelf, a page waits for this part of its patience.
const BEHIND_ANOTHER: u32 = 10;
/// How long the last answer may stand in for the one that is sought.
const FRESH: Duration = Duration::from_secs(60);

/// With no more cores than these, two searches at once would leave none to answer phones.
const CORES_OF_TWO: usize = 2;

/// How much less urgent a search is, by the system's measure (nice values).
const LESS_URGENT: i32 = 10;

pub(super) type ShelfKey = [u8; 32];
type Key = (ShelfKey, Depth);

/// An answer with the shelf that it is about.
#[derive(Debug, Clone)]
pub struct Known {
    pub shelf: Arc<Shelf>,
    pub answer: Arc<Answer>,
}

/// Answers that were found, by the shelf they are about.
#[derive(Debug)]
pub struct Answers {
    found: Mutex<Vec<(Key, Arc<Answer>)>>,
    /// Keys of shelves that are still about.
    keys: Mutex<Vec<(Weak<Shelf>, ShelfKey)>>,
    plans: Search,
    margins: Search,
    turning: Turning,
    outlooks: Outlooks,
    news: News,
}

/// The search for answers of one depth.
#[derive(Debug, Default)]
struct Search {
    /// Held while an answer is sought: who asks the same meanwhile waits and finds it remembered. Both depths hold the
    /// same one where there are too few cores for two searches and the phones.
    seeking: Arc<Mutex<()>>,
    queue: Mutex<Queue>,
    /// How many were found: it changes with each.
    found: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Queue {
    /// What is sought just now, and where its answer will be.
    now: Option<(Key, watch::Receiver<Option<Arc<Answer>>>)>,
    /// Each shop's newest shelf, to be sought next.
    next: BTreeMap<String, Job>,
    /// Each shop's last answer, and when it was found.
    last: BTreeMap<String, (Known, Instant)>,
    /// Shops with a page open that was not waited for.
    owed: BTreeSet<String>,
}

#[derive(Debug)]
struct Job {
    key: Key,
    shelf: Arc<Shelf>,
    answer: watch::Sender<Option<Arc<Answer>>>,
}

/// The answer to come, with whether it is sought at this moment.
struct LinedUp {
    answer: watch::Receiver<Option<Arc<Answer>>>,
    is_sought: bool,
}

impl Search {
    fn queue(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Answers {
    /// Pages that were not waited for are told by `news` when their answer is there.
    pub fn new(news: News) -> Answers {
        let margins = Search::default();
        let seeking = if cores::all() > CORES_OF_TWO { Arc::default() } else { Arc::clone(&margins.seeking) };
        let plans = Search { seeking, ..Search::default() };
        Answers {
            found: Mutex::default(),
            keys: Mutex::default(),
            plans,
            margins,
            turning: Turning::default(),
            outlooks: Outlooks::default(),
            news,
        }
    }

    fn search(&self, depth: Depth) -> &Search {
        match depth {
            Depth::Plan => &self.plans,
            Depth::Margins => &self.margins,
        }
    }

    /// The answer for `shelf`: remembered, or found now.
    pub async fn about(self: &Arc<Self>, shelf: &Arc<Shelf>) -> Arc<Answer> {
        let (answers, shelf) = (Arc::clone(self), Arc::clone(shelf));
        let work = tokio::task::spawn_blocking(move || {
            let key = (answers.key(&shelf), Depth::Margins);
            let known = answers.remembered(&key);
            known.unwrap_or_else(|| answers.remembered_or_found(key, &shelf, None))
        });
        done(work).await
    }

    /// The answer for the shelf of a shop, if it is at hand or found within `patience`. Otherwise it is found all the same,
    /// unless the shelf moves on before, and open pages are told.
    pub async fn soon(
        self: &Arc<Self>,
        shop_id: &str,
        shelf: &Arc<Shelf>,
        depth: Depth,
        patience: Duration,
    ) -> Option<Arc<Answer>> {
        let mut lined_up = match self.lined_up(shop_id, shelf, depth).await {
            Ok(answer) => return Some(answer),
            Err(lined_up) => lined_up,
        };
        let patience = if lined_up.is_sought { patience } else { patience / BEHIND_ANOTHER };
        let wait = lined_up.answer.wait_for(Option::is_some);
        if let Ok(Ok(answer)) = tokio::time::timeout(patience, wait).await {
            return answer.clone();
        }
        let mut queue = self.search(depth).queue();
        let answer = lined_up.answer.borrow().clone();
        if answer.is_none() {
            queue.owed.insert(shop_id.to_string());
        }
        answer
    }

    /// The plan of a shelf, as soon as it is there: margins may still be worked out.
    pub async fn plan_about(self: &Arc<Self>, shop_id: &str, shelf: &Arc<Shelf>) -> Arc<Answer> {
        let mut found = self.found();
        let mut lined_up = match self.lined_up(shop_id, shelf, Depth::Plan).await {
            Ok(answer) => return answer,
            Err(lined_up) => lined_up,
        };
        loop {
            if let Some(answer) = lined_up.answer.borrow().clone() {
                return answer;
            }
            tokio::select! {
                // Where a newer shelf took its place in the queue, nothing will come any more.
                sent = lined_up.answer.changed() => if sent.is_err() {
                    break;
                },
                _ = found.changed() => if let Some(answer) = self.plan_at_hand(shelf).await {
                    return answer;
                },
            }
        }
        self.about(shelf).await
    }

    /// The plan of a shelf, if it is known.
    pub async fn plan_at_hand(self: &Arc<Self>, shelf: &Arc<Shelf>) -> Option<Arc<Answer>> {
        let (answers, shelf) = (Arc::clone(self), Arc::clone(shelf));
        let work = tokio::task::spawn_blocking(move || {
            let key = (answers.key(&shelf), Depth::Plan);
            answers.remembered(&key)
        });
        done(work).await
    }

    /// Seeks the answer for the shelf of a shop ahead of its being asked for.
    pub async fn prepare(self: &Arc<Self>, shop_id: &str, shelf: &Arc<Shelf>, depth: Depth) {
        drop(self.lined_up(shop_id, shelf, depth).await);
    }

    /// What would change the plan of a shelf's answer, if it is known. Otherwise it is sought, and open pages are told.
    pub async fn turns(
        self: &Arc<Self>,
        shop_id: &str,
        shelf: &Arc<Shelf>,
        answer: &Arc<Answer>,
    ) -> Option<Arc<Turns>> {
        let (answers, shop_id) = (Arc::clone(self), shop_id.to_string());
        let (shelf, answer) = (Arc::clone(shelf), Arc::clone(answer));
        let work = tokio::task::spawn_blocking(move || {
            let key = answers.key(&shelf);
            answers.turning.known_or_sought(&answers, shop_id, key, shelf, answer)
        });
        done(work).await
    }

    pub(super) fn turning(&self) -> &Turning {
        &self.turning
    }

    pub(super) fn tell(&self, shop_id: String) {
        self.news.tell_here(Change { shop_id, partner_id: String::new(), noun: Noun::Plan });
    }

    /// Changes whenever an answer was found, of whichever shelf.
    pub fn found(&self) -> watch::Receiver<u64> {
        self.margins.found.subscribe()
    }

    /// The last answer for a shop, of the last minute, where the partners have chosen nothing else since.
    pub fn last(&self, shop_id: &str, shelf: &Shelf) -> Option<Known> {
        let queue = self.margins.queue();
        let (known, found) = queue.last.get(shop_id)?;
        (found.elapsed() < FRESH && known.shelf.choices == shelf.choices).then(|| known.clone())
    }

    /// The answer, if it is at hand; otherwise its place in the queue.
    async fn lined_up(
        self: &Arc<Self>,
        shop_id: &str,
        shelf: &Arc<Shelf>,
        depth: Depth,
    ) -> Result<Arc<Answer>, LinedUp> {
        let (answers, shop_id, shelf) = (Arc::clone(self), shop_id.to_string(), Arc::clone(shelf));
        let work = tokio::task::spawn_blocking(move || {
            let key = (answers.key(&shelf), depth);
            match answers.remembered(&key) {
                Some(answer) => Ok(answer),
                None => Err(answers.line_up(shop_id, key, shelf, depth)),
            }
        });
        done(work).await
    }

    fn line_up(self: &Arc<Self>, shop_id: String, key: Key, shelf: Arc<Shelf>, depth: Depth) -> LinedUp {
        let mut queue = self.search(depth).queue();
        if let Some((_, answer)) = queue.now.as_ref().filter(|(sought, _)| *sought == key) {
            return LinedUp { answer: answer.clone(), is_sought: true };
        }
        if let Some(job) = queue.next.get(&shop_id).filter(|job| job.key == key) {
            return LinedUp { answer: job.answer.subscribe(), is_sought: false };
        }
        let (sender, answer) = watch::channel(None);
        let job = Job { key, shelf, answer: sender };
        if queue.now.is_some() {
            queue.next.insert(shop_id, job);
            return LinedUp { answer, is_sought: false };
        }
        queue.now = Some((key, answer.clone()));
        let answers = Arc::clone(self);
        // A thread of its own, because it stays less urgent than whatever answers phones.
        let seek = move || {
            be_less_urgent();
            answers.seek(shop_id, job, depth);
        };
        if let Err(error) = std::thread::Builder::new().name("plan".to_string()).spawn(seek) {
            tracing::error!(%error, "no plan can be sought just now");
            queue.now = None;
        }
        LinedUp { answer, is_sought: true }
    }

    /// Seeks what is lined up until nothing is.
    fn seek(&self, mut shop_id: String, mut job: Job, depth: Depth) {
        let search = self.search(depth);
        let _open = Open(search);
        loop {
            let answer = self.remembered_or_found(job.key, &job.shelf, Some(&shop_id));
            let mut queue = search.queue();
            let known = Known { shelf: job.shelf, answer: Arc::clone(&answer) };
            queue.last.insert(shop_id.clone(), (known, Instant::now()));
            job.answer.send_replace(Some(answer));
            search.found.send_modify(|found| *found += 1);
            if queue.owed.remove(&shop_id) {
                self.tell(shop_id);
            }
            let Some((next_shop, next)) = queue.next.pop_first() else {
                queue.now = None;
                return;
            };
            queue.now = Some((next.key, next.answer.subscribe()));
            (shop_id, job) = (next_shop, next);
        }
    }

    fn remembered_or_found(&self, key: Key, shelf: &Shelf, shop_id: Option<&String>) -> Arc<Answer> {
        let (of_shelf, depth) = key;
        let search = self.search(depth);
        let _seeking = search.seeking.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(answer) = self.remembered(&key) {
            return answer;
        }
        let started = Instant::now();
        let is_outdated = || shop_id.is_some_and(|shop_id| search.queue().next.contains_key(shop_id));
        let answer = shelf.answer(depth, &is_outdated, &self.outlooks, |plan| {
            // Pages can be drawn from the plan while margins are worked out.
            self.remember((of_shelf, Depth::Plan), plan);
            search.found.send_modify(|found| *found += 1);
            if let Some(shop_id) = shop_id.filter(|shop_id| search.queue().owed.contains(*shop_id)) {
                self.tell(shop_id.clone());
            }
        });
        tracing::info!(lots = shelf.lots.len(), ?depth, took = ?started.elapsed(), "planned");
        self.remember(key, &answer);
        answer
    }

    /// What is remembered of the shelf. Who knows the margins knows the plan.
    fn remembered(&self, (shelf, depth): &Key) -> Option<Arc<Answer>> {
        let found = self.found.lock().unwrap_or_else(PoisonError::into_inner);
        let of = |depth: Depth| found.iter().find(|(known, _)| *known == (*shelf, depth));
        of(*depth).or_else(|| of(Depth::Margins)).map(|(_, answer)| Arc::clone(answer))
    }

    /// The key of the shelf, made once for each.
    fn key(&self, shelf: &Arc<Shelf>) -> ShelfKey {
        let keys = || self.keys.lock().unwrap_or_else(PoisonError::into_inner);
        // A shelf that is gone may have left its place to another one.
        keys().retain(|(other, _)| other.strong_count() > 0);
        let known = keys()
            .iter()
            .find(|(other, _)| std::ptr::eq(other.as_ptr(), Arc::as_ptr(shelf)))
            .map(|(_, key)| *key);
        known.unwrap_or_else(|| {
            // Every part of a shelf shows in its `Debug` form, so two with the same form are the same.
            let key = Sha256::digest(format!("{shelf:?}")).into();
            keys().push((Arc::downgrade(shelf), key));
            key
        })
    }

    fn remember(&self, key: Key, answer: &Arc<Answer>) {
        let mut found = self.found.lock().unwrap_or_else(PoisonError::into_inner);
        // The plan that was there first has its margins now.
        found.retain(|(known, other)| known.0 != key.0 || !Arc::ptr_eq(other, answer));
        if found.len() >= REMEMBERED {
            found.remove(0);
        }
        found.push((key, Arc::clone(answer)));
    }
}

/// Makes this thread give way to whatever answers phones.
pub(super) fn be_less_urgent() {
    if let Err(error) = rustix::process::nice(LESS_URGENT) {
        tracing::debug!(%error, "plans are sought as urgently as all else");
    }
}

/// A search that a panic ends leaves the queue open for the next one.
struct Open<'a>(&'a Search);

impl Drop for Open<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.queue().now = None;
        }
    }
}

/// What the work comes to. A blocking task that has begun is never cancelled, so only a panic in the search is no answer; the
/// layer around the handlers makes a page of it.
async fn done<T>(work: JoinHandle<T>) -> T {
    work.await.unwrap_or_else(|broken| std::panic::resume_unwind(broken.into_panic()))
}
