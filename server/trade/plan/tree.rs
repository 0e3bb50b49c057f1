//! The tree of a branch-and-bound search: the best plan so far, and the states that may still hold a better one. The
//! state with the highest bound is looked at first; what cannot beat the best plan is dropped.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::improve::Assignment;
use super::node::Node;
use super::search::{Budget, Goal};

/// A part of the search, with what the state before it handed on.
#[derive(Debug)]
pub(super) struct State<F> {
    pub node: Node,
    /// No plan of it is worth more.
    pub bound: f64,
    pub depth: u32,
    pub from: F,
}

#[derive(Debug)]
pub(super) struct Tree<F> {
    pub best: Option<Assignment>,
    open: BinaryHeap<State<F>>,
    tolerance: f64,
    /// Plans that are worth no more are of no interest.
    floor: f64,
}

/// What a search makes of a state: plans and further states, which it puts into its tree.
pub(super) trait Explore {
    type From;

    fn tree(&mut self) -> &mut Tree<Self::From>;

    fn explore(&mut self, state: State<Self::From>);

    /// A bound of a root that is not explored.
    fn first_bound(&mut self, root: &State<Self::From>) -> f64;
}

impl<F> Tree<F> {
    pub fn new(root: Node, from: F, best: Option<Assignment>, tolerance: f64, floor: Option<f64>) -> Self {
        let root = State { node: root, bound: f64::INFINITY, depth: 0, from };
        let floor = floor.unwrap_or(f64::NEG_INFINITY);
        Tree { best, open: BinaryHeap::from([root]), tolerance, floor }
    }

    /// Only what is worth more than this is of interest.
    pub fn enough(&self) -> f64 {
        self.best.as_ref().map_or(self.floor, |best| self.floor.max(best.total + self.tolerance))
    }

    pub fn offer(&mut self, plan: Option<Assignment>) {
        if let Some(plan) = plan
            && self.best.as_ref().is_none_or(|best| plan.total > best.total)
        {
            self.best = Some(plan);
        }
    }

    pub fn push(&mut self, state: State<F>) {
        if state.bound > self.enough() {
            self.open.push(state);
        }
    }
}

/// Explores until nothing is left that could be of interest, or the work is used up: then it is not finished. No plan is
/// worth more than the bound.
pub(super) fn grow<S: Explore>(search: &mut S, goal: Goal, budget: &mut Budget<'_>) -> (f64, bool) {
    let (mut bound, mut finished) = (f64::NEG_INFINITY, true);
    while let Some(next) = search.tree().open.pop() {
        let tree = search.tree();
        if next.bound <= tree.enough() || (goal == Goal::Any && tree.best.is_some()) {
            break;
        }
        if !budget.spend() {
            bound = if next.bound.is_finite() { next.bound } else { search.first_bound(&next) };
            finished = false;
            break;
        }
        search.explore(next);
    }
    let found = search.tree().best.as_ref().map_or(f64::NEG_INFINITY, |best| best.total);
    (bound.max(found), finished)
}

/// The highest bound first; among equal ones the deepest.
impl<F> Ord for State<F> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.bound.total_cmp(&other.bound).then(self.depth.cmp(&other.depth))
    }
}

impl<F> PartialOrd for State<F> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<F> PartialEq for State<F> {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl<F> Eq for State<F> {}
