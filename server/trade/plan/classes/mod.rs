//! The search by classes: branch and bound, first over how much of what goes where and on which terms, then over lots.

mod branch;
mod class;
mod counter;
mod fix;
mod levels;
mod linear;
mod master;
mod whole;

use std::cmp::Ordering;
use std::collections::BinaryHeap;
use std::rc::Rc;

use super::improve::{Assignment, Improver};
use super::model::Model;
use super::node::{Node, Scope};
use super::search::{Budget, Goal, Outcome, Start, decided, first_plan};

pub(super) use class::Kinds;

use class::Classes;
use counter::{Delivery, Desk};
use fix::{fix, fix_each_lot};
use master::{Outlook, Relaxation};
use whole::Remembered;

/// How often bound and fixing alternate at the root.
const ROUNDS_AT_ROOT: u32 = 6;

struct OpenNode {
    node: Node,
    bound: f64,
    depth: u32,
    from: Rc<Known>,
    /// Whether tiers and lots are to be looked at: the gap has fallen since they were.
    gap: f64,
}

/// What a state hands on to those that follow from it: the lots of its classes, and deliveries of them.
#[derive(Debug, Default)]
struct Known {
    classes: Option<Classes>,
    deliveries: Vec<Delivery>,
}

struct Search<'m> {
    model: &'m Model<'m>,
    scope: &'m Scope,
    best: Option<Assignment>,
    open: BinaryHeap<OpenNode>,
    desk: Desk,
    remembered: Remembered,
}

pub(super) fn search(
    model: &Model<'_>,
    scope: &Scope,
    mut root: Node,
    start: &Start<'_>,
    goal: Goal,
    budget: &mut Budget<'_>,
) -> Outcome {
    let mut search = Search {
        model,
        scope,
        best: None,
        open: BinaryHeap::new(),
        desk: Desk::default(),
        remembered: Remembered::default(),
    };
    if !root.settle(scope) {
        return Outcome::NONE;
    }
    search.best = first_plan(model, scope, &root, start);
    let from = Rc::new(Known::default());
    search.open.push(OpenNode { node: root, bound: f64::INFINITY, depth: 0, from, gap: f64::INFINITY });
    let mut bound = f64::NEG_INFINITY;
    let mut finished = true;
    while let Some(next) = search.open.pop() {
        if next.bound <= search.enough() || (goal == Goal::Any && search.best.is_some()) {
            break;
        }
        if !budget.spend() {
            bound = if next.bound.is_finite() { next.bound } else { search.first_bound(&next) };
            finished = false;
            break;
        }
        search.explore(next);
    }
    let found = search.best.as_ref().map_or(f64::NEG_INFINITY, |best| best.total);
    Outcome { best: search.best, bound: bound.max(found), finished, prices: None }
}

impl Search<'_> {
    /// Only what is worth more than this is of interest.
    fn enough(&self) -> f64 {
        self.best.as_ref().map_or(f64::NEG_INFINITY, |best| best.total + self.model.tolerance)
    }

    fn offer_plan(&mut self, plan: Option<Assignment>) {
        if let Some(plan) = plan
            && self.best.as_ref().is_none_or(|best| plan.total > best.total)
        {
            self.best = Some(plan);
        }
    }

    /// A bound of a root that is not explored.
    fn first_bound(&mut self, root: &OpenNode) -> f64 {
        Outlook::new(self.model, self.scope, &root.node, &self.remembered)
            .and_then(|outlook| outlook.relax([], f64::NEG_INFINITY, &mut self.desk))
            .map_or(f64::NEG_INFINITY, |relaxation| relaxation.bound)
    }

    fn explore(&mut self, OpenNode { mut node, mut bound, depth, mut from, mut gap }: OpenNode) {
        let rounds = if depth == 0 { ROUNDS_AT_ROOT } else { 2 };
        for round in 1..=rounds {
            if !node.settle(self.scope) {
                return;
            }
            if let Some(plan) = decided(self.model, self.scope, &node) {
                self.offer_plan(plan);
                return;
            }
            let Some(outlook) = Outlook::new(self.model, self.scope, &node, &self.remembered) else { return };
            let known = match &from.classes {
                Some(classes) => outlook.adapt(classes, &from.deliveries),
                None => Vec::new(),
            };
            let Some(relaxation) = outlook.relax(known, self.enough(), &mut self.desk) else { return };
            bound = bound.min(relaxation.bound);
            if bound <= self.enough() {
                return;
            }
            self.offer_plan(self.round(&outlook, &relaxation));
            if bound <= self.enough() {
                return;
            }
            let mut fixed = node.clone();
            let room = bound - self.enough();
            let thorough = room < 0.5 * gap;
            if thorough {
                gap = room;
            }
            let mut changes = fix(&outlook, &relaxation, &mut fixed, self.enough(), thorough, &mut self.desk);
            let known = relaxation.known.clone();
            let split = if changes == 0 {
                let split = branch::split(&outlook, &relaxation, &fixed, self.enough());
                if split.is_none() {
                    let enough = self.enough();
                    let Some(decided) =
                        fix_each_lot(&outlook, &relaxation, &mut fixed, enough, &mut self.desk)
                    else {
                        return;
                    };
                    changes = decided;
                }
                split
            } else {
                None
            };
            if changes == 0 || round == rounds {
                if fixed.settle(self.scope) {
                    let children = branch::children(&outlook, &relaxation, &fixed, split);
                    let from = Rc::new(Known { classes: Some(outlook.classes), deliveries: known });
                    for node in children {
                        self.open.push(OpenNode { node, bound, depth: depth + 1, from: from.clone(), gap });
                    }
                }
                return;
            }
            from = Rc::new(Known { classes: Some(outlook.classes), deliveries: known });
            node = fixed;
        }
    }

    /// A plan near the mixture: of each class as much to each place as goes there.
    fn round(&self, outlook: &Outlook<'_>, relaxation: &Relaxation) -> Option<Assignment> {
        let (place, torn) = branch::rounded(outlook, relaxation);
        let alike: Vec<&[usize]> = torn.iter().map(|&class| &outlook.classes.list[class].lots[..]).collect();
        Improver::new(self.model, self.scope, outlook.node, place).run(&alike)
    }
}

/// The highest bound first; among equal ones the deepest.
impl Ord for OpenNode {
    fn cmp(&self, other: &Self) -> Ordering {
        self.bound.total_cmp(&other.bound).then(self.depth.cmp(&other.depth))
    }
}

impl PartialOrd for OpenNode {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for OpenNode {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for OpenNode {}
