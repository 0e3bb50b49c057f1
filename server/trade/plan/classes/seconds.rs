//! The margins of many lots in one tree: for each lot, the best plan that has it elsewhere.
//!
//! A state of the search serves all lots that it may still hold a better second plan for. At the prices of its relaxation
//! the bound is read again with each of these lots kept from its place (reduced costs): the lot has to go somewhere else,
//! and what that costs at the prices is above what it truly costs. A lot for which that is not above its best second plan so
//! far is done with there. What is decided and struck out is what can be no part of a better second plan of any lot that is
//! left, and a plan that is found is offered to all lots that it has elsewhere. Where nothing but lots is undecided, or few
//! lots are left, each goes on by a search of its own from there.
//!
//! Lots with like margins share a tree, since how much can be struck out depends on the largest one.

use std::collections::BinaryHeap;
use std::rc::Rc;

use super::class::amount_of;
use super::counter::{Ask, Desk};
use super::fix::fix;
use super::master::{Outlook, Relaxation};
use super::whole::Remembered;
use super::{From, Known, ROUNDS_AT_ROOT, Search, branch};
use crate::plan::improve::Assignment;
use crate::plan::model::Model;
use crate::plan::node::{Node, Opening, Reach, Scope};
use crate::plan::search::{Budget, Goal, Start, decided, first_plan};
use crate::plan::tree::{State, Tree, grow};

/// With so few lots left each goes on by itself: its own prices bound it lower.
const FEW: usize = 2;

/// A lot's best plan that has it elsewhere.
#[derive(Debug)]
pub(in crate::plan) struct Second {
    pub lot: usize,
    /// `None` where no such plan was found: there is none if `finished`.
    pub best: Option<Rc<Assignment>>,
    pub finished: bool,
}

struct Seconds<'m> {
    model: &'m Model<'m>,
    scope: &'m Scope,
    /// By lot, where the plan has it.
    first: &'m [usize],
    seconds: Vec<Second>,
    desk: Desk,
    remembered: Remembered,
}

/// What a state hands on, and which of the seconds it may still hold.
#[derive(Debug, Clone)]
struct For {
    from: From,
    seconds: Rc<Vec<usize>>,
}

/// The second plans of these lots, none of which is where `root` says that it must be.
pub(in crate::plan) fn seconds(
    model: &Model<'_>,
    scope: &Scope,
    root: &Node,
    first: &[usize],
    lots: &[usize],
    budget: &mut Budget<'_>,
) -> Vec<Second> {
    let mut seconds = Vec::with_capacity(lots.len());
    let mut possible = Vec::with_capacity(lots.len());
    for &lot in lots {
        let mut barred = root.clone();
        barred.set(first[lot], lot, Reach::No);
        let start = Start { place: Some(first), ..Start::default() };
        let may = barred.settle(scope);
        let best = if may { first_plan(model, scope, &barred, &start) } else { None };
        seconds.push(Second { lot, best: best.map(Rc::new), finished: true });
        possible.push(may);
    }
    let mut search =
        Seconds { model, scope, first, seconds, desk: Desk::default(), remembered: Remembered::default() };
    search.share();
    let most = search.worths().fold(f64::NEG_INFINITY, f64::max);
    // By powers of two of what the second plan leaves less than the best of them.
    let rank = |worth: f64| if worth.is_finite() { (most - worth).max(1.0).log2() as i32 } else { i32::MAX };
    let ranks: Vec<i32> = search.worths().map(rank).collect();
    let mut groups: Vec<i32> = ranks.clone();
    groups.sort_unstable();
    groups.dedup();
    for group in groups {
        let members = (0..ranks.len()).filter(|&at| possible[at] && ranks[at] == group).collect();
        search.grow(root.clone(), members, budget);
    }
    search.seconds
}

impl Seconds<'_> {
    fn worths(&self) -> impl Iterator<Item = f64> {
        self.seconds.iter().map(|second| second.best.as_ref().map_or(f64::NEG_INFINITY, |best| best.total))
    }

    /// Only what is worth more than this is of interest for a lot.
    fn enough(&self, second: usize) -> f64 {
        let best = self.seconds[second].best.as_ref();
        best.map_or(f64::NEG_INFINITY, |best| best.total + self.model.tolerance)
    }

    /// And for any of these.
    fn least(&self, seconds: &[usize]) -> f64 {
        seconds.iter().map(|&second| self.enough(second)).fold(f64::INFINITY, f64::min)
    }

    /// Offers every plan so far to all lots.
    fn share(&mut self) {
        let plans: Vec<Rc<Assignment>> =
            self.seconds.iter().filter_map(|second| second.best.clone()).collect();
        for plan in plans {
            self.offer_shared(&plan);
        }
    }

    fn offer(&mut self, plan: Option<Assignment>) {
        if let Some(plan) = plan {
            self.offer_shared(&Rc::new(plan));
        }
    }

    fn offer_shared(&mut self, plan: &Rc<Assignment>) {
        for second in &mut self.seconds {
            let elsewhere = plan.place[second.lot] != self.first[second.lot];
            if elsewhere && second.best.as_ref().is_none_or(|best| plan.total > best.total) {
                second.best = Some(Rc::clone(plan));
            }
        }
    }

    /// Searches one tree for some of the lots.
    fn grow(&mut self, root: Node, members: Vec<usize>, budget: &mut Budget<'_>) {
        let from = From { known: Rc::default(), gap: f64::INFINITY };
        let from = For { from, seconds: Rc::new(members) };
        let mut open = BinaryHeap::from([State { node: root, bound: f64::INFINITY, depth: 0, from }]);
        while let Some(mut state) = open.pop() {
            let left: Vec<usize> =
                state.from.seconds.iter().copied().filter(|&at| state.bound > self.enough(at)).collect();
            if left.is_empty() {
                continue;
            }
            if !budget.spend() {
                for at in left {
                    self.seconds[at].finished = false;
                }
                continue;
            }
            state.from.seconds = Rc::new(left);
            open.extend(self.explore(state, budget));
        }
    }

    /// The states that follow.
    fn explore(&mut self, state: State<For>, budget: &mut Budget<'_>) -> Vec<State<For>> {
        let State { mut node, mut bound, depth, from: For { from, seconds } } = state;
        let From { mut known, mut gap } = from;
        let mut seconds = Vec::clone(&seconds);
        let rounds = if depth == 0 { ROUNDS_AT_ROOT } else { 2 };
        let remembered = std::mem::take(&mut self.remembered);
        let mut follow = Vec::new();
        for round in 1..=rounds {
            if !node.settle(self.scope) {
                break;
            }
            if let Some(plan) = decided(self.model, self.scope, &node) {
                self.offer(plan);
                break;
            }
            let Some(outlook) = Outlook::new(self.model, self.scope, &node, &remembered) else { break };
            let deliveries = match &known.classes {
                Some(classes) => outlook.adapt(classes, &known.deliveries),
                None => Vec::new(),
            };
            let Some(relaxation) = outlook.relax(deliveries, self.least(&seconds), &mut self.desk) else {
                break;
            };
            bound = bound.min(relaxation.bound);
            self.offer(super::near_plan(&outlook, &relaxation));
            seconds.retain(|&at| bound > self.enough(at) && self.may_be_here(&outlook, &relaxation, at));
            if seconds.is_empty() {
                break;
            }
            let enough = self.least(&seconds);
            let room = bound - enough;
            let thorough = room < 0.5 * gap;
            if thorough {
                gap = room;
            }
            let mut fixed = node.clone();
            let few = seconds.len() <= FEW;
            let changes = if few {
                0
            } else {
                fix(&outlook, &relaxation, &mut fixed, enough, thorough, &mut self.desk)
            };
            let split = if changes == 0 && !few {
                branch::split(&outlook, &relaxation, &fixed, enough)
            } else {
                None
            };
            let alone = few || (changes == 0 && split.is_none());
            if alone || changes == 0 || round == rounds {
                let settled = fixed.settle(self.scope);
                if !settled {
                    break;
                }
                if alone {
                    let known =
                        Rc::new(Known { classes: Some(outlook.classes), deliveries: relaxation.known });
                    for at in seconds {
                        self.alone(at, &fixed, From { known: Rc::clone(&known), gap }, budget);
                    }
                    break;
                }
                let children = branch::children(&outlook, &relaxation, &fixed, split);
                let known = Rc::new(Known { classes: Some(outlook.classes), deliveries: relaxation.known });
                let from = For { from: From { known, gap }, seconds: Rc::new(seconds) };
                let child = |node| State { node, bound, depth: depth + 1, from: from.clone() };
                follow.extend(children.into_iter().map(child));
                break;
            }
            known = Rc::new(Known { classes: Some(outlook.classes), deliveries: relaxation.known });
            node = fixed;
        }
        self.remembered = remembered;
        follow
    }

    /// Whether the state may hold a better plan with the lot elsewhere, by the prices of its relaxation.
    fn may_be_here(&mut self, outlook: &Outlook<'_>, relaxation: &Relaxation, at: usize) -> bool {
        let Second { lot, .. } = self.seconds[at];
        let (place, keep) = (self.first[lot], self.model.keep_place());
        match outlook.node.at(place, lot) {
            Reach::No => return true,
            Reach::Must => return false,
            Reach::May => {}
        }
        let enough = self.enough(at);
        let class = outlook.classes.of_lot[lot];
        let (amount, whole) = (amount_of(self.model, lot), outlook.classes.list[class].amount);
        let desk = &mut self.desk;
        let mut gain = |site: usize, ask: Ask| {
            let counter = outlook.counters[site].as_ref().filter(|counter| counter.takes(class))?;
            counter.gain(&relaxation.prices, ask, desk)
        };
        let kept = self.model.lots[lot].keep - relaxation.prices.class[class] * amount;
        let value = |site: usize, gain: Option<f64>| outlook.value(site, gain).unwrap_or(f64::NEG_INFINITY);
        let without = if place == keep {
            relaxation.bound - kept.max(0.0)
        } else {
            let now = value(place, relaxation.gains[place]);
            relaxation.bound - now + value(place, gain(place, Ask::AtMost { class, amount: whole - amount }))
        };
        if without <= enough {
            return false;
        }
        if place != keep && outlook.node.at(keep, lot) != Reach::No && without + kept.min(0.0) > enough {
            return true;
        }
        outlook.scope.sites.iter().any(|&site| {
            let may = site != place
                && outlook.node.at(site, lot) != Reach::No
                && outlook.node.opening(site) != Opening::Shut;
            // With the lot there it is open, whatever it gains.
            may && gain(site, Ask::AtLeast { class, amount }).is_some_and(|gain| {
                let now = value(site, relaxation.gains[site]);
                without - now + gain > enough
            })
        })
    }

    /// Goes on from a state for one lot.
    fn alone(&mut self, at: usize, node: &Node, from: From, budget: &mut Budget<'_>) {
        let lot = self.seconds[at].lot;
        let mut barred = node.clone();
        barred.set(self.first[lot], lot, Reach::No);
        let best = self.seconds[at].best.as_deref().cloned();
        let tree = Tree::new(barred, from, best, self.model.tolerance, None);
        let mut search = Search {
            model: self.model,
            scope: self.scope,
            tree,
            desk: Desk::default(),
            remembered: Remembered::default(),
        };
        let (_, finished) = grow(&mut search, Goal::Best, budget);
        self.seconds[at].finished &= finished;
        self.offer(search.tree.best);
    }
}
