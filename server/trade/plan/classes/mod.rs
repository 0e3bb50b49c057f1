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

use std::collections::hash_map::DefaultHasher;
use std::collections::{HashSet, VecDeque};
use std::hash::{Hash, Hasher};
use std::rc::{Rc, Weak};

use super::improve::{Assignment, Improver};
use super::model::Model;
use super::node::{Node, Scope};
use super::search::{self, Budget, Firm, Goal, Outcome, Start, decided};
use super::tree::{Explore, State, Tree, grow};

pub(super) use base::Base;
pub(super) use class::Kinds;

use branch::Split;
use class::Classes;
use counter::{Delivery, Desk};
use fix::{fix, fix_each_lot};
use master::{Earlier, Outlook, Relaxation};
use whole::Remembered;

/// How often bound and fixing alternate at the root.
const ROUNDS_AT_ROOT: u32 = 6;

/// So many of the states looked at last have what they were made ready with kept for those that follow from them: a hundred
/// kilobytes each for a full shelf, half a megabyte for a thousand lots and more.
const KEPT: usize = 64;

/// What a state hands on to those that follow from it: the lots of its classes, and deliveries of them.
#[derive(Debug, Default)]
struct Known {
    classes: Option<Rc<Classes>>,
    deliveries: Vec<Delivery>,
}

#[derive(Debug, Clone)]
struct From<'m> {
    known: Rc<Known>,
    /// What the state before was made ready with, while that is kept.
    earlier: Weak<Earlier<'m>>,
    /// What was left above the best plan when tiers and classes were looked at last.
    gap: f64,
}

struct Search<'m> {
    model: &'m Model<'m>,
    scope: &'m Scope,
    tree: Tree<From<'m>>,
    /// What the last states were made ready with.
    kept: VecDeque<Rc<Earlier<'m>>>,
    desk: Desk,
    remembered: Rc<Remembered>,
    /// See [`Start::firm`].
    firm: Option<Firm<'m>>,
    /// Plans that mixtures were rounded to, with what was in part, hashed: to make each better once is enough.
    rounded: HashSet<u64>,
    /// See [`Start::is_known`]: only what a mixture has in part is moved then.
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
    let from = From { known, earlier: Weak::new(), gap: f64::INFINITY };
    let tree = Tree::new(root, from, best, model.tolerance, start.floor);
    let mut search = Search {
        model,
        scope,
        tree,
        kept: VecDeque::with_capacity(KEPT),
        desk: Desk::default(),
        remembered: start.base.map_or_else(Rc::default, Base::remembered),
        firm: start.firm,
        rounded: HashSet::new(),
        is_known: start.is_known(),
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
        let From { mut known, earlier, mut gap } = from;
        let mut earlier = earlier.upgrade();
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
            let outlook = Outlook::new(self.model, self.scope, &node, &self.remembered, earlier.as_deref());
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
            let thorough = bound - self.tree.enough() < 0.5 * gap;
            if thorough {
                gap = bound - self.tree.enough();
            }
            let Some((changes, split)) = self.decide(&outlook, &relaxation, &mut fixed, thorough) else {
                return;
            };
            let is_last = changes == 0 || round == rounds;
            if is_last && !fixed.settle(self.scope) {
                return;
            }
            let children =
                if is_last { branch::children(&outlook, &relaxation, &fixed, split) } else { Vec::new() };
            known = Rc::new(Known { classes: Some(outlook.classes.clone()), deliveries: relaxation.known });
            let made = Rc::new(outlook.into_earlier());
            if is_last {
                let from = From { known, earlier: Rc::downgrade(&made), gap };
                for node in children {
                    self.tree.push(State { node, bound, depth: depth + 1, from: from.clone() });
                }
                self.keep(made);
                return;
            }
            earlier = Some(made);
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
    /// Decides what the prices prove: how much that is and, where it is nothing, how the state is split best; without a split,
    /// at a lot. `None` where no plan is left. If `thorough`, tiers and classes are looked at too.
    fn decide(
        &mut self,
        outlook: &Outlook<'_, '_>,
        relaxation: &Relaxation,
        node: &mut Node,
        thorough: bool,
    ) -> Option<(usize, Option<Split>)> {
        let enough = self.tree.enough();
        let changes = fix(outlook, relaxation, node, enough, thorough, &mut self.desk);
        if changes > 0 {
            return Some((changes, None));
        }
        if let Some(split) = branch::split(outlook, relaxation, node, enough) {
            return Some((0, Some(split)));
        }
        let decided = fix_each_lot(outlook, relaxation, node, enough, &mut self.desk)?;
        Some((decided, None))
    }

    fn keep(&mut self, made: Rc<Earlier<'m>>) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(made);
    }

    /// A plan near the mixture: of each class as much to each place as goes there. `None` where some outlet refuses it, and where
    /// it was seen before.
    fn round(&mut self, outlook: &Outlook<'_, '_>, relaxation: &Relaxation) -> Option<Assignment> {
        let (place, torn) = branch::rounded(outlook, relaxation);
        let alike: Vec<&[usize]> = torn.iter().map(|&class| &outlook.classes.list[class].lots[..]).collect();
        let mut hasher = DefaultHasher::new();
        (&place, &alike).hash(&mut hasher);
        let hash = hasher.finish();
        if self.rounded.contains(&hash) {
            return None;
        }
        let improver = Improver::new(self.model, self.scope, outlook.node, place);
        let plan = if self.is_known { improver.moving(&alike).run(&alike) } else { improver.run(&alike) };
        // Where none is known yet, another state may mend what an outlet refuses here.
        if plan.is_some() || self.is_known {
            self.rounded.insert(hash);
        }
        plan
    }
}
