//! The search behind [`super::cheapest`]: partial choices, dominance, and the Lagrangian bound.

use std::cmp::Reverse;
use std::rc::Rc;

use super::{Kind, MOST_TAKEN, ratio};

/// Partial choices after which the search ends with the best found. Real freight tables need some thousands; the limit
/// is there because the problem is NP-hard and a hostile table could be made to need billions.
const MOST_PARTIAL: usize = 1_000_000;

/// Fractional bits of a price and of everything that is multiplied by one.
const SCALE: u32 = 32;

/// A ceiling that leaves nothing out.
pub(super) const NO_CEILING: i128 = i128::MAX >> SCALE;

/// The cost of one more unit of mass, scaled, if boxes could be filled in part: the price at which the bound is best.
pub(super) fn price_of_mass(demand: i128, kinds: &[Kind], limits: &[Option<u32>]) -> i128 {
    // Each group's lower convex hull from nothing upward: by how much mass and cost rise from one corner to the next.
    let mut rises: Vec<(usize, i128, i128)> = Vec::new();
    for group in 0..limits.len() {
        let (start, mut mass, mut cost) = (rises.len(), 0, 0);
        for kind in kinds.iter().rev().filter(|kind| kind.group == group) {
            let (mut more_mass, mut more_cost) = (kind.mass - mass, kind.cost - cost);
            while let Some(&(_, before_mass, before_cost)) = rises[start..].last()
                && ratio(before_cost, before_mass) >= ratio(more_cost, more_mass)
            {
                rises.pop();
                more_mass += before_mass;
                more_cost += before_cost;
            }
            rises.push((group, more_mass, more_cost));
            (mass, cost) = (kind.mass, kind.cost);
        }
    }
    rises.sort_by(|a, b| ratio(a.2, a.1).total_cmp(&ratio(b.2, b.1)));
    let mut left = demand;
    let last = rises.iter().find(|(group, mass, _)| {
        left -= limits[*group].map_or(demand, |limit| mass.saturating_mul(i128::from(limit)));
        left <= 0
    });
    let scaled = |cost: i128, mass: i128| (cost << SCALE) / mass;
    let mut price = last.map_or(0, |&(_, mass, cost)| scaled(cost, mass));
    // The bound wants that nothing that is unlimited costs less than it is worth, and that sums stay inside `i128`.
    for kind in kinds.iter().filter(|kind| limits[kind.group].is_none()) {
        if (kind.cost << SCALE) < price.saturating_mul(kind.mass) {
            price = scaled(kind.cost, kind.mass);
        }
    }
    price.min((1 << 92) / demand)
}

/// Boxes chosen so far.
#[derive(Debug, Clone, Copy)]
pub(super) struct Partial {
    pub(super) mass: i128,
    pub(super) cost: i128,
    /// Scaled cost less what the mass is worth at the price.
    over: i128,
    node: usize,
}

/// The box that was taken last, and the node before it.
#[derive(Debug, Clone, Copy)]
struct Node {
    before: usize,
    kind: usize,
}

const ROOT: usize = usize::MAX;

/// Kinds that are decided on together: a group with its limit, or one kind of a group without.
#[derive(Debug)]
struct Stage {
    limit: Option<u32>,
    kinds: Vec<usize>,
    /// The least a box of the stage can cost over its worth; 0 where leaving it is better. Scaled.
    least_over: i128,
    /// The least that all later stages can add. Scaled.
    later: i128,
}

pub(super) struct Search<'a> {
    demand: i128,
    kinds: &'a [Kind],
    price: i128,
    stages: Rc<[Stage]>,
    nodes: Vec<Node>,
    pub(super) best: Option<Partial>,
    /// What a cover has to cost less than.
    ceiling: i128,
}

impl<'a> Search<'a> {
    pub(super) fn new(demand: i128, price: i128, kinds: &'a [Kind], limits: &[Option<u32>]) -> Self {
        let over = |kind: &Kind| (kind.cost << SCALE) - price.saturating_mul(kind.mass);
        let mut stages: Vec<Stage> = Vec::new();
        let mut stage_of: Vec<Option<usize>> = vec![None; limits.len()];
        for (i, kind) in kinds.iter().enumerate() {
            match (limits[kind.group], stage_of[kind.group]) {
                (Some(_), Some(stage)) => stages[stage].kinds.push(i),
                (limit, _) => {
                    stage_of[kind.group] = Some(stages.len());
                    let limit = limit.map(|limit| limit.min(MOST_TAKEN));
                    stages.push(Stage { limit, kinds: vec![i], least_over: 0, later: 0 });
                }
            }
        }
        // What is clearly bad or clearly good comes first: it is taken hardly ever or nearly always, so the lists stay
        // short until the end, where what is neither fills up the rest.
        for stage in &mut stages {
            stage.kinds.sort_by_key(|&i| Reverse(over(&kinds[i])));
        }
        let least = |stage: &Stage| stage.kinds.iter().map(|&i| over(&kinds[i])).min().unwrap_or(0);
        stages.sort_by_key(|stage| Reverse(least(stage).abs()));
        let mut later = 0;
        for stage in stages.iter_mut().rev() {
            stage.later = later;
            stage.least_over = least(stage).min(0);
            later += stage.least_over * i128::from(stage.limit.unwrap_or(0));
        }
        Search { demand, kinds, price, stages: stages.into(), nodes: Vec::new(), best: None, ceiling: 0 }
    }

    /// No cover costs less.
    pub(super) fn bound(&self) -> i128 {
        let all: i128 =
            self.stages.first().map_or(0, |s| s.later + s.least_over * i128::from(s.limit.unwrap_or(0)));
        (self.price * self.demand + all) >> SCALE
    }

    /// Decides stage after stage on covers that cost less than `ceiling`. Gives the undominated partial choices that are left, ascending; `None` where the
    /// limit of the search ended it. The best whole choice is in `best`.
    pub(super) fn run(&mut self, ceiling: i128) -> Option<Vec<Partial>> {
        self.ceiling = ceiling;
        self.nodes.clear();
        let mut front = vec![Partial { mass: 0, cost: 0, over: 0, node: ROOT }];
        let stages = Rc::clone(&self.stages);
        for stage in stages.iter() {
            front = match stage.limit {
                None => self.any_number(front, stage)?,
                Some(limit) => self.up_to(limit, front, stage)?,
            };
        }
        Some(front)
    }

    /// The front with any number of the stage's one kind added to each.
    fn any_number(&mut self, front: Vec<Partial>, stage: &Stage) -> Option<Vec<Partial>> {
        let kind = stage.kinds[0];
        let mut out: Vec<Partial> = Vec::with_capacity(front.len());
        let mut old = front.into_iter().peekable();
        // Both the front and what grows from `out` ascend by mass, so one pass merges them.
        let mut grown = 0;
        loop {
            let mut next = None;
            while next.is_none() && grown < out.len() {
                next = self.with(out[grown], kind, stage.later);
                grown += usize::from(next.is_none());
            }
            let place = match (old.peek(), next) {
                (Some(&partial), next) if next.is_none_or(|next| partial.mass <= next.mass) => {
                    old.next();
                    if self.promising(partial.over + stage.later) { insert(&mut out, partial) } else { None }
                }
                (_, Some(next)) => {
                    let next = self.record(next, kind)?;
                    grown += 1;
                    insert(&mut out, next)
                }
                (_, None) => return Some(out),
            };
            // What was dropped from the end may have grown already; what took its place has not.
            grown = place.map_or(grown, |place| grown.min(place));
        }
    }

    /// The front with up to `limit` boxes of the stage's kinds added to each.
    fn up_to(&mut self, limit: u32, front: Vec<Partial>, stage: &Stage) -> Option<Vec<Partial>> {
        // One front for every number of boxes used, since more used is worse later.
        let mut fronts = vec![front];
        for &kind in &stage.kinds {
            for used in 1..=limit {
                let Some(before) = fronts.get(used as usize - 1).filter(|front| !front.is_empty()) else {
                    break;
                };
                let rest = stage.later + stage.least_over * i128::from(limit - used);
                let mut more = Vec::new();
                for &partial in before {
                    if let Some(with) = self.with(partial, kind, rest) {
                        more.push(self.record(with, kind)?);
                    }
                }
                if fronts.len() == used as usize {
                    fronts.push(Vec::new());
                }
                let place = &mut fronts[used as usize];
                *place = merged(std::mem::take(place), more);
            }
        }
        let mut all = fronts.into_iter().fold(Vec::new(), merged);
        all.retain(|partial| self.promising(partial.over + stage.later));
        Some(all)
    }

    /// `partial` with one more box (and still the node before it), if that can become a cover that is better than the
    /// best; a box that makes it a cover is noted and gives nothing to go on with. `rest` is the least that all later boxes add to `over`.
    fn with(&mut self, partial: Partial, kind: usize, rest: i128) -> Option<Partial> {
        let Kind { mass, cost, .. } = self.kinds[kind];
        let over = partial.over + (cost << SCALE) - self.price.saturating_mul(mass);
        let more = Partial { mass: partial.mass + mass, cost: partial.cost + cost, over, node: partial.node };
        if more.mass < self.demand {
            return self.promising(over + rest).then_some(more);
        }
        let better = match self.best {
            Some(best) => (more.cost, -more.mass) < (best.cost, -best.mass),
            None => more.cost < self.ceiling,
        };
        if better {
            self.best = Some(self.noted(more, kind));
            self.ceiling = more.cost;
        }
        None
    }

    /// Whether a choice that costs at least this much over its worth can still beat the ceiling.
    fn promising(&self, over: i128) -> bool {
        over + self.price * self.demand < self.ceiling << SCALE
    }

    /// Notes what was taken last, unless the search has come to its limit.
    fn record(&mut self, more: Partial, kind: usize) -> Option<Partial> {
        (self.nodes.len() < MOST_PARTIAL).then(|| self.noted(more, kind))
    }

    fn noted(&mut self, more: Partial, kind: usize) -> Partial {
        let node = self.nodes.len();
        self.nodes.push(Node { before: more.node, kind });
        Partial { node, ..more }
    }

    pub(super) fn taken(&self, partial: Partial) -> Vec<u32> {
        let mut counts = vec![0; self.kinds.len()];
        let mut node = partial.node;
        while let Some(&Node { before, kind }) = self.nodes.get(node) {
            counts[kind] += 1;
            node = before;
        }
        counts
    }
}

/// Adds `partial`, which covers no less than any before it, at the end, and drops what it dominates; gives its place.
/// Where the end dominates it, it is left out.
fn insert(front: &mut Vec<Partial>, partial: Partial) -> Option<usize> {
    if front.last().is_some_and(|last| last.mass == partial.mass && last.cost <= partial.cost) {
        return None;
    }
    while front.last().is_some_and(|last| last.cost >= partial.cost) {
        front.pop();
    }
    front.push(partial);
    Some(front.len() - 1)
}

fn merged(first: Vec<Partial>, second: Vec<Partial>) -> Vec<Partial> {
    if first.is_empty() || second.is_empty() {
        return if first.is_empty() { second } else { first };
    }
    let mut out = Vec::with_capacity(first.len() + second.len());
    let (mut first, mut second) = (first.into_iter().peekable(), second.into_iter().peekable());
    loop {
        let from_first = match (first.peek(), second.peek()) {
            (Some(a), Some(b)) => a.mass <= b.mass,
            (a, b) => {
                if a.is_none() && b.is_none() {
                    return out;
                }
                a.is_some()
            }
        };
        if let Some(partial) = if from_first { first.next() } else { second.next() } {
            insert(&mut out, partial);
        }
    }
}
