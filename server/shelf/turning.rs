//! What would change each shelf's plan: sought after the answer, when a page asks for it, and remembered.
//!
//! One at a time. While one is sought the shelf may move on: of what waits, only each shop's newest shelf is worth it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use trade::plan::Turns;

use super::answers::{Answers, ShelfKey, be_less_urgent};
use super::{Answer, Shelf};

/// How many shelves' turns are remembered.
const REMEMBERED: usize = 16;

#[derive(Debug, Default)]
pub(super) struct Turning(Mutex<State>);

#[derive(Debug, Default)]
struct State {
    found: Vec<(ShelfKey, Arc<Turns>)>,
    /// What is sought just now.
    now: Option<ShelfKey>,
    /// Each shop's newest shelf, to be looked at next.
    next: BTreeMap<String, Job>,
}

#[derive(Debug)]
struct Job {
    key: ShelfKey,
    shelf: Arc<Shelf>,
    answer: Arc<Answer>,
}

impl Turning {
    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is known of the shelf; otherwise it is lined up.
    pub fn known_or_sought(
        &self,
        answers: &Arc<Answers>,
        shop_id: String,
        key: ShelfKey,
        shelf: Arc<Shelf>,
        answer: Arc<Answer>,
    ) -> Option<Arc<Turns>> {
        let mut state = self.state();
        if let Some((_, turns)) = state.found.iter().find(|(known, _)| *known == key) {
            return Some(Arc::clone(turns));
        }
        let job = Job { key, shelf, answer };
        match state.now {
            Some(now) if now == key => {}
            Some(_) => {
                state.next.insert(shop_id, job);
            }
            None => {
                state.now = Some(key);
                let answers = Arc::clone(answers);
                let seek = move || {
                    be_less_urgent();
                    seek(&answers, shop_id, job);
                };
                if let Err(error) = std::thread::Builder::new().name("turns".to_string()).spawn(seek) {
                    tracing::error!(%error, "what would change the plan cannot be sought just now");
                    state.now = None;
                }
            }
        }
        None
    }
}

/// Seeks what is lined up until nothing is.
fn seek(answers: &Answers, mut shop_id: String, mut job: Job) {
    let _open = Open(answers.turning());
    loop {
        let turns = Arc::new(job.shelf.turns(&job.answer));
        let mut state = answers.turning().state();
        if state.found.len() >= REMEMBERED {
            state.found.remove(0);
        }
        state.found.push((job.key, turns));
        let next = state.next.pop_first();
        state.now = next.as_ref().map(|(_, next)| next.key);
        drop(state);
        answers.tell(shop_id);
        let Some(next) = next else { return };
        (shop_id, job) = next;
    }
}

/// A search that a panic ends leaves the way open for the next one.
struct Open<'a>(&'a Turning);

impl Drop for Open<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.state().now = None;
        }
    }
}
