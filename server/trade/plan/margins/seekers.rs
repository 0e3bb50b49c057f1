//! The searches for second plans, several at once. Each thread has the problem made ready for itself, because what a search
//! remembers serves one thread.

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Mutex, PoisonError};

use super::{Part, total};
use crate::plan::classes::Base;
use crate::plan::lots::Prices;
use crate::plan::model::Tries;
use crate::plan::node::{Node, Reach, Scope};
use crate::plan::search::{Budget, Goal, Outcome, Start};
use crate::plan::{Limits, Method, Planner, Problem};

/// A lot whose second plan is sought.
#[derive(Debug)]
pub(super) struct Task {
    pub lot: usize,
    /// Plans that leave more on the table are of no interest.
    pub loss: f64,
    pub nodes: u64,
    /// By position among the part's lots: no plan that has it elsewhere leaves less on the table.
    pub least: Vec<f64>,
}

/// One part of a plan made ready to be searched for second plans.
pub(super) struct Seeker<'p, 'a> {
    pub planner: &'p Planner<'a>,
    root: Node,
    pub part: Part,
    pub base: Option<Base>,
    pub place: &'p [usize],
    pub total: f64,
}

impl<'p, 'a> Seeker<'p, 'a> {
    pub fn new(planner: &'p Planner<'a>, root: &Node, scope: Scope, place: &'p [usize]) -> Self {
        let total = total(&planner.model, &scope, place);
        let part = Part::new(planner, root, scope, place);
        let base = match planner.method {
            Method::Classes => Base::new(&planner.model, &part.scope, root, place),
            Method::Lots => None,
        };
        Seeker { planner, root: root.clone(), part, base, place, total }
    }

    pub fn barred(&self, lot: usize) -> Node {
        let mut barred = self.root.clone();
        barred.set(self.place[lot], lot, Reach::No);
        barred
    }

    /// Leaves only plans that may leave less than `loss` on the table: lots that are proved to cost more elsewhere stay.
    fn stay(&self, node: &mut Node, loss: f64, task: &Task) {
        for (&lot, &least) in self.part.scope.lots.iter().zip(&task.least) {
            if lot != task.lot && least >= loss {
                for place in (0..node.places()).filter(|&place| place != self.place[lot]) {
                    node.set(place, lot, Reach::No);
                }
            }
        }
    }

    /// The best plan that has the lot elsewhere, if it leaves less on the table than is known.
    fn search(&self, task: &Task, limits: &Limits<'_>) -> Outcome {
        let mut barred = self.barred(task.lot);
        self.stay(&mut barred, task.loss, task);
        let firm = |node: &mut Node, enough: f64| self.stay(node, self.total - enough, task);
        let known = task.loss.is_finite();
        let start = Start {
            place: (!known).then_some(self.place),
            prices: Some(&self.part.prices),
            known: self.part.reduced.as_ref(),
            base: self.base.as_ref(),
            firm: Some(&firm),
            floor: known.then_some(self.total - task.loss + self.planner.model.tolerance),
        };
        let limits = Limits { nodes: task.nodes, ..*limits };
        self.planner.search_part(&self.part.scope, barred, &start, Goal::Best, &mut Budget::new(&limits))
    }
}

/// A search that came to its end, or what it broke off with.
type Ended = std::thread::Result<(usize, Outcome)>;

/// What a thread makes its own seeker from.
pub(super) struct Twin<'p, 'a> {
    problem: &'a Problem<'a>,
    tries: Tries,
    method: Method,
    prices: Prices,
    root: Node,
    scope: Scope,
    place: &'p [usize],
}

impl<'p, 'a> Twin<'p, 'a> {
    pub fn of(planner: &Planner<'a>, root: &Node, scope: &Scope, place: &'p [usize]) -> Self {
        Twin {
            problem: planner.model.problem,
            tries: planner.model.tries,
            method: planner.method,
            prices: planner.prices.clone(),
            root: root.clone(),
            scope: scope.clone(),
            place,
        }
    }

    fn work(&self, limits: &Limits<'_>, tasks: &Mutex<Receiver<(usize, Task)>>, done: &Sender<Ended>) {
        let mut planner = Planner::new(self.problem).searching_by(self.method);
        planner.model.tries = self.tries;
        planner.prices = self.prices.clone();
        let seeker = Seeker::new(&planner, &self.root, self.scope.clone(), self.place);
        loop {
            let task = tasks.lock().unwrap_or_else(PoisonError::into_inner).recv();
            let Ok((at, task)) = task else { return };
            // A search that breaks off is told as well: whoever waits for it would wait for ever.
            let ended = catch_unwind(AssertUnwindSafe(|| (at, seeker.search(&task, limits))));
            if done.send(ended).is_err() {
                return;
            }
        }
    }
}

/// Searches that are under way, by the lots' positions in the part.
pub(super) trait Seekers {
    /// How many may be under way at once.
    fn count(&self) -> usize;

    fn begin(&mut self, at: usize, task: Task);

    /// Waits for one of them; `None` where none is under way.
    fn end(&mut self) -> Option<(usize, Outcome)>;
}

/// Lets `with` make searches on as many threads as the limits grant.
pub(super) fn seek<R>(
    seeker: &Seeker<'_, '_>,
    twin: &Twin<'_, '_>,
    limits: &Limits<'_>,
    with: impl FnOnce(&mut dyn Seekers) -> R,
) -> R {
    let count = limits.threads.get().min(seeker.part.scope.lots.len());
    if count <= 1 {
        return with(&mut Alone { seeker, limits, task: None });
    }
    let (begin, tasks) = mpsc::channel();
    let (done, answers) = mpsc::channel();
    let tasks = Mutex::new(tasks);
    std::thread::scope(|scope| {
        for _ in 0..count {
            let (tasks, done) = (&tasks, done.clone());
            scope.spawn(move || twin.work(limits, tasks, &done));
        }
        drop(done);
        // The threads end when nobody is left who could ask for more.
        with(&mut Several { count, begin, answers, under_way: 0 })
    })
}

struct Alone<'s, 'p, 'a, 'l> {
    seeker: &'s Seeker<'p, 'a>,
    limits: &'s Limits<'l>,
    task: Option<(usize, Task)>,
}

impl Seekers for Alone<'_, '_, '_, '_> {
    fn count(&self) -> usize {
        1
    }

    fn begin(&mut self, at: usize, task: Task) {
        self.task = Some((at, task));
    }

    fn end(&mut self) -> Option<(usize, Outcome)> {
        self.task.take().map(|(at, task)| (at, self.seeker.search(&task, self.limits)))
    }
}

struct Several {
    count: usize,
    begin: Sender<(usize, Task)>,
    answers: Receiver<Ended>,
    under_way: usize,
}

impl Seekers for Several {
    fn count(&self) -> usize {
        self.count
    }

    fn begin(&mut self, at: usize, task: Task) {
        self.under_way += usize::from(self.begin.send((at, task)).is_ok());
    }

    fn end(&mut self) -> Option<(usize, Outcome)> {
        self.under_way = self.under_way.checked_sub(1)?;
        self.answers.recv().ok().map(|ended| ended.unwrap_or_else(|panic| resume_unwind(panic)))
    }
}
