//! The second plans of the lots of one part, which help each other.

use std::rc::Rc;

use super::seekers::{Seeker, Seekers, Task};
use super::{Second, merged};
use crate::plan::Limits;
use crate::plan::improve::Assignment;
use crate::plan::search::{self, Outcome};

/// States of the search in which each lot is looked at before any is looked at in earnest.
const FIRST_LOOK: u64 = 1;

/// So few states are not worth beginning twice for.
const FEW: u64 = 4;

/// A plan that has several lots elsewhere is one for each of them. And a lot that is proved to be worth at least so much
/// where it is stays there in every plan that leaves less on the table: so the largest margins are sought first, and the
/// small ones with most lots settled.
pub(super) struct Rivals<'s, 'p, 'a> {
    seeker: &'s Seeker<'p, 'a>,
    /// By position among the part's lots.
    rivals: Vec<Rival>,
}

struct Rival {
    lot: usize,
    /// What the best plan known that has the lot elsewhere leaves less.
    loss: f64,
    best: Option<Rc<Vec<usize>>>,
    /// No plan that has it elsewhere leaves less on the table than this.
    least: f64,
    tries: u32,
    is_sought: bool,
    done: bool,
}

impl<'s, 'p, 'a> Rivals<'s, 'p, 'a> {
    pub fn new(seeker: &'s Seeker<'p, 'a>, pinned: impl Fn(usize) -> bool) -> Self {
        let Seeker { part, base, place, total, .. } = seeker;
        let rival = |&lot: &usize| {
            let most = match (base, &part.reduced) {
                (Some(base), _) => base.most[lot],
                (None, Some(reduced)) => reduced.elsewhere(place[lot], lot),
                (None, None) => f64::INFINITY,
            };
            Rival {
                lot,
                loss: f64::INFINITY,
                best: None,
                least: total - most,
                tries: 0,
                is_sought: false,
                done: pinned(lot),
            }
        };
        let mut rivals = Rivals { seeker, rivals: part.scope.lots.iter().map(rival).collect() };
        for at in 0..rivals.rivals.len() {
            if !rivals.rivals[at].done {
                rivals.offer(rivals.first_plan(rivals.rivals[at].lot));
            }
        }
        rivals
    }

    /// The plan without a lot in its place, made better by moving lots of its grade; all lots where an outlet would refuse.
    fn first_plan(&self, lot: usize) -> Option<Assignment> {
        let Seeker { planner, part, place, .. } = self.seeker;
        let (model, scope, barred) = (&planner.model, &part.scope, self.seeker.barred(lot));
        let grade = |lot: usize| &model.problem.lots[lot].load.grade;
        let alike: Vec<usize> =
            scope.lots.iter().copied().filter(|&other| grade(other) == grade(lot)).collect();
        let first_plan = |moving| search::first_plan(model, scope, &barred, Some(place), moving);
        first_plan(Some(&alike)).or_else(|| first_plan(None))
    }

    /// A plan is one for every lot that it has elsewhere.
    fn offer(&mut self, plan: Option<Assignment>) {
        let Some(plan) = plan else { return };
        let loss = self.seeker.total - plan.total;
        let found = Rc::new(plan.place);
        for rival in self.rivals.iter_mut().filter(|rival| !rival.done) {
            if found[rival.lot] != self.seeker.place[rival.lot] && loss < rival.loss {
                rival.loss = loss;
                rival.best = Some(found.clone());
            }
        }
    }

    /// The best second plan of each lot that has one.
    pub fn seek(mut self, limits: &Limits<'_>, seekers: &mut dyn Seekers) -> Vec<(usize, Second)> {
        let mut under_way = 0;
        loop {
            while under_way < seekers.count()
                && let Some((at, nodes)) = self.next(limits)
            {
                let least = self.rivals.iter().map(|rival| rival.least).collect();
                let Rival { lot, loss, .. } = self.rivals[at];
                seekers.begin(at, Task { lot, loss, nodes, least });
                self.rivals[at].is_sought = true;
                under_way += 1;
            }
            let Some((at, outcome)) = seekers.end() else { break };
            self.learn(at, outcome);
            under_way -= 1;
        }
        let Rivals { seeker, rivals } = self;
        let told = rivals.into_iter().filter_map(|rival| {
            let proved = rival.least >= rival.loss;
            let place = Rc::new(merged(&seeker.part.scope, seeker.place, &rival.best?));
            Some((rival.lot, Second { place, proved }))
        });
        told.collect()
    }

    /// The lot to be looked at next, that with the largest margin, and how many states are looked at for it.
    fn next(&mut self, limits: &Limits<'_>) -> Option<(usize, u64)> {
        let stopped = limits.stop.is_some_and(|stop| stop());
        loop {
            let open = self.rivals.iter().enumerate().filter(|(_, rival)| !rival.done && !rival.is_sought);
            let at = open.max_by(|(_, a), (_, b)| a.loss.total_cmp(&b.loss))?.0;
            let rival = &mut self.rivals[at];
            // A first look finds better plans, for this lot and others.
            let nodes = match rival.tries {
                _ if stopped || rival.least >= rival.loss => 0,
                0 if limits.nodes <= FEW => limits.nodes,
                0 => FIRST_LOOK,
                1 if limits.nodes > FEW => limits.nodes.saturating_sub(FIRST_LOOK),
                _ => 0,
            };
            if nodes > 0 {
                return Some((at, nodes));
            }
            rival.done = true;
        }
    }

    fn learn(&mut self, at: usize, outcome: Outcome) {
        self.offer(outcome.best);
        let total = self.seeker.total;
        let rival = &mut self.rivals[at];
        rival.is_sought = false;
        rival.tries += 1;
        let least = if outcome.finished { rival.loss } else { total - outcome.bound };
        rival.least = rival.least.max(least);
    }
}
