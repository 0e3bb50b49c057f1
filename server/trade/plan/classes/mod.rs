//! The search by classes: branch and bound, first over how much of what goes where and on which terms, then over lots.

mod base;
mod branch;
mod class;
mod counter;
mod fix;
mod levels;
mod linear;
mod master;
mod whole;

use std::collections::HashSet;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::rc::Rc;

use super::improve::{Assignment, Improver};
use super::model::Model;
use super::node::{Node, Scope};
use super::search::{self, Budget, Firm, Goal, Outcome, Start, decided};
use super::tree::{Explore, State, Tree, grow};

pub(super) use base::Base;
pub(super) use class::Kinds;

use class::Classes;
use counter::{Delivery, Desk};
use fix::{fix, fix_each_lot};
use master::{Earlier, Outlook, Relaxation};
use whole::Remembered;

/// How often bound and fixing alternate at the root.
const ROUNDS_AT_ROOT: u32 = 6;

/// States with what they were made ready with, at the most: some hundred kilobytes each.
const MOST_KEPT: usize = 300;

/// What a state hands on to those that follow from it: the lots of its classes, and deliveries of them.
#[derive(Debug, Default)]
struct Known {
    classes: Option<Rc<Classes>>,
    deliveries: Vec<Delivery>,
}

#[derive(Debug, Clone)]
struct From<'m> {
    known: Rc<Known>,
    /// What the state before was made ready with, unless that is too much to keep.
    earlier: Option<Rc<Kept<'m>>>,
    /// What was left above the best plan when tiers and classes were looked at last.
    gap: f64,
}

#[derive(Debug)]
struct Kept<'m> {
    earlier: Earlier<'m>,
    /// One for each that is kept.
    _count: Rc<()>,
}

struct Search<'m> {
    model: &'m Model<'m>,
    scope: &'m Scope,
    tree: Tree<From<'m>>,
    /// How much is kept, see [`Kept`].
    kept: Rc<()>,
    desk: Desk,
    remembered: Rc<Remembered>,
    /// See [`Start::firm`].
    firm: Option<Firm<'m>>,
    /// What mixtures were rounded to before, hashed: one that was once changed for the better need not be again.
    rounded: HashSet<u64>,
    /// Whether a plan that is worth as much as `tree` asks for is known: then only what a mixture has in part is moved.
    is_known: bool,
}

pub(super) fn search<'m>(
    model: &'m Model<'_>,
    scope: &'m Scope,
    mut root: Node,
    start: &Start<'m>,
    goal: Goal,
    budget: &mut Budget<'_>,
) -> Outcome {
    if !root.settle(scope) {
        return Outcome::NONE;
    }
    let best = search::first_plan_of(model, scope, &root, start);
    let known = start.base.map_or_else(Rc::default, Base::known);
    let from = From { known, earlier: None, gap: f64::INFINITY };
    let tree = Tree::new(root, from, best, model.tolerance, start.floor);
    let mut search = Search {
        model,
        scope,
        tree,
        kept: Rc::default(),
        desk: Desk::default(),
        remembered: start.base.map_or_else(Rc::default, Base::remembered),
        firm: start.firm,
        rounded: HashSet::new(),
        is_known: start.floor.is_some(),
    };
    let (bound, finished) = grow(&mut search, goal, budget);
    Outcome { best: search.tree.best, bound, finished, prices: None }
}

impl<'m> Explore for Search<'m> {
    type From = From<'m>;

    fn tree(&mut self) -> &mut Tree<From<'m>> {
        &mut self.tree
    }

    fn explore(&mut self, State { mut node, mut bound, depth, from }: State<From<'m>>) {
        let From { mut known, mut earlier, mut gap } = from;
        if let Some(firm) = self.firm {
            firm(&mut node, self.tree.enough());
        }
        let rounds = if depth == 0 { ROUNDS_AT_ROOT } else { 2 };
        for round in 1..=rounds {
            if !node.settle(self.scope) {
                return;
            }
            if let Some(plan) = decided(self.model, self.scope, &node) {
                self.tree.offer(plan);
                return;
            }
            let before = earlier.as_ref().map(|kept| &kept.earlier);
            let outlook = Outlook::new(self.model, self.scope, &node, &self.remembered, before);
            let Some(outlook) = outlook else { return };
            let deliveries = match &known.classes {
                Some(classes) => outlook.adapt(classes, &known.deliveries),
                None => Vec::new(),
            };
            let Some(relaxation) = outlook.relax(deliveries, self.tree.enough(), &mut self.desk) else {
                return;
            };
            bound = bound.min(relaxation.bound);
            if bound <= self.tree.enough() {
                return;
            }
            let rounded = self.round(&outlook, &relaxation);
            self.tree.offer(rounded);
            if bound <= self.tree.enough() {
                return;
            }
            let mut fixed = node.clone();
            let room = bound - self.tree.enough();
            let thorough = room < 0.5 * gap;
            if thorough {
                gap = room;
            }
            let mut changes =
                fix(&outlook, &relaxation, &mut fixed, self.tree.enough(), thorough, &mut self.desk);
            let split = if changes == 0 {
                let split = branch::split(&outlook, &relaxation, &fixed, self.tree.enough());
                if split.is_none() {
                    let enough = self.tree.enough();
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
            let is_last = changes == 0 || round == rounds;
            let children = match is_last {
                true if !fixed.settle(self.scope) => return,
                true => branch::children(&outlook, &relaxation, &fixed, split),
                false => Vec::new(),
            };
            known = Rc::new(Known { classes: Some(outlook.classes.clone()), deliveries: relaxation.known });
            earlier = self.keep(outlook.into_earlier());
            if is_last {
                let from = From { known, earlier, gap };
                for node in children {
                    self.tree.push(State { node, bound, depth: depth + 1, from: from.clone() });
                }
                return;
            }
            node = fixed;
        }
    }

    fn first_bound(&mut self, root: &State<From<'m>>) -> f64 {
        Outlook::new(self.model, self.scope, &root.node, &self.remembered, None)
            .and_then(|outlook| outlook.relax([], f64::NEG_INFINITY, &mut self.desk))
            .map_or(f64::NEG_INFINITY, |relaxation| relaxation.bound)
    }
}

impl<'m> Search<'m> {
    fn keep(&self, earlier: Earlier<'m>) -> Option<Rc<Kept<'m>>> {
        let is_little = Rc::strong_count(&self.kept) < MOST_KEPT;
        is_little.then(|| Rc::new(Kept { earlier, _count: self.kept.clone() }))
    }

    /// A plan near the mixture: of each class as much to each place as goes there.
    fn round(&mut self, outlook: &Outlook<'_, '_>, relaxation: &Relaxation) -> Option<Assignment> {
        let (place, torn) = branch::rounded(outlook, relaxation);
        let mut hasher = DefaultHasher::new();
        place.hash(&mut hasher);
        if !self.rounded.insert(hasher.finish()) {
            return None;
        }
        let alike: Vec<&[usize]> = torn.iter().map(|&class| &outlook.classes.list[class].lots[..]).collect();
        let improver = Improver::new(self.model, self.scope, outlook.node, place);
        if self.is_known { improver.moving(&alike).run(&alike) } else { improver.run(&alike) }
    }
}
