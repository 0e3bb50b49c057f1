//! What the two searches have in common. One decides lot by lot, for shelves whose freight depends on room as well as on
//! mass; the other decides how much of what goes where before it decides which lots, for large shelves.

use super::Limits;
use super::classes::Base;
use super::improve::{Assignment, Improver};
use super::lots::{Prices, Reduced};
use super::model::Model;
use super::node::{Node, Reach, Scope};

/// Strikes out of a state what no plan worth more than so much does.
pub(super) type Firm<'f> = &'f dyn Fn(&mut Node, f64);

/// Where a search starts: a known plan saves work, and so do what the search by lots knows from before.
#[derive(Default)]
pub(super) struct Start<'s> {
    pub place: Option<&'s [usize]>,
    pub prices: Option<&'s Prices>,
    /// Bounds of a problem that holds all plans of this one.
    pub known: Option<&'s Reduced>,
    /// What the search by classes knows from such a problem.
    pub base: Option<&'s Base>,
    /// What is known of plans that are worth more; only the search by classes asks.
    pub firm: Option<Firm<'s>>,
    /// Plans that are not worth more than this are not looked for. With it and no place, one as good is known.
    pub floor: Option<f64>,
}

impl Start<'_> {
    /// Whether a plan is known that is worth as much as what is looked for must be at the least.
    pub fn is_known(&self) -> bool {
        self.floor.is_some() && self.place.is_none()
    }
}

/// What a search ends with.
#[derive(Debug)]
pub(super) struct Outcome {
    /// `None` where no plan was found: there is none if `finished`.
    pub best: Option<Assignment>,
    /// No plan is worth more.
    pub bound: f64,
    pub finished: bool,
    /// Those at which the search by lots ended.
    pub prices: Option<Prices>,
}

impl Outcome {
    pub const NONE: Outcome = Outcome { best: None, bound: f64::NEG_INFINITY, finished: true, prices: None };
}

/// What the search is after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Goal {
    Best,
    /// Any plan at all.
    Any,
}

/// The work that may still be done.
#[derive(Debug)]
pub(super) struct Budget<'l> {
    limits: &'l Limits<'l>,
    used: u64,
}

impl<'l> Budget<'l> {
    pub fn new(limits: &'l Limits<'l>) -> Self {
        Budget { limits, used: 0 }
    }

    pub fn spend(&mut self) -> bool {
        self.used += 1;
        self.used <= self.limits.nodes && !self.limits.stop.is_some_and(|stop| stop())
    }
}

/// A first plan, unless one that is worth as much is known.
pub(super) fn first_plan_of(
    model: &Model<'_>,
    scope: &Scope,
    root: &Node,
    start: &Start<'_>,
) -> Option<Assignment> {
    (!start.is_known()).then(|| first_plan(model, scope, root, start.place, None)).flatten()
}

/// A first plan: from a known one, or from where each lot fetches most by itself. Only the lots in `moving` are moved to make it
/// better; all of them where none are named.
pub(super) fn first_plan(
    model: &Model<'_>,
    scope: &Scope,
    root: &Node,
    place: Option<&[usize]>,
    moving: Option<&[usize]>,
) -> Option<Assignment> {
    let keep = model.keep_place();
    let mut place = place.map_or_else(|| vec![keep; model.lots.len()], <[usize]>::to_vec);
    for &lot in &scope.lots {
        if root.at(place[lot], lot) == Reach::No {
            let value = |place: &usize| match model.sites.get(*place) {
                Some(site) => site.highest(lot).unwrap_or(f64::NEG_INFINITY),
                None => model.lots[lot].keep,
            };
            let open = (0..root.places()).filter(|&place| root.at(place, lot) != Reach::No);
            place[lot] = open.max_by(|a, b| value(a).total_cmp(&value(b))).unwrap_or(keep);
        }
    }
    let improver = Improver::new(model, scope, root, place);
    match moving {
        Some(lots) => improver.moving(&[lots]).run(&[]),
        None => improver.run(&[]),
    }
}

/// The plan of a node that leaves nothing open. `Some(None)` where an outlet does not take its delivery.
pub(super) fn decided(model: &Model<'_>, scope: &Scope, node: &Node) -> Option<Option<Assignment>> {
    let mut place = vec![model.keep_place(); model.lots.len()];
    for &lot in &scope.lots {
        place[lot] = node.place_of(lot)?;
    }
    let mut total = 0.0;
    for at in scope.sites.iter().copied() {
        let lots: Vec<usize> = scope.lots.iter().copied().filter(|&lot| place[lot] == at).collect();
        match model.net(at, &lots) {
            Some(net) => total += net,
            None => return Some(None),
        }
    }
    total += model.rounds.saved(|site| scope.lots.iter().any(|&lot| place[lot] == site));
    let keep = model.keep_place();
    let kept = scope.lots.iter().filter(|&&lot| place[lot] == keep);
    total += kept.map(|&lot| model.lots[lot].keep).sum::<f64>();
    Some(Some(Assignment { place, total }))
}
