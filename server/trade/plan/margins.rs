//! What each lot's place is worth over its second choice, and where the lot would go then.

use std::rc::Rc;

use rust_decimal::Decimal;

use super::choices::Pin;
use super::classes::Base;
use super::improve::Assignment;
use super::lots::{self, Prices, Reduced};
use super::model::Model;
use super::node::{self, Node, Reach, Scope};
use super::search::{self, Budget, Goal, Outcome, Start};
use super::{Limits, Method, Place, Plan, Planner, Proof, lots_at};
use crate::ids::LotId;

/// Steps to find good prices for a plan whose prices are not known.
const STEPS: u32 = 200;

/// States of the search in which each lot is looked at before any is looked at in earnest.
const FIRST_LOOK: u64 = 3;

/// The money that depends on one lot going where the plan sends it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Margin {
    pub lot: LotId,
    /// The plan's total less the best total with this lot barred from its place, in home currency. Not negative in
    /// an optimal plan, except for a pinned lot: there it is what the pin gains, so a costly pin shows its cost.
    pub margin: Decimal,
    /// Where the lot goes then. Other lots may change their places as well.
    pub second: Place,
    /// Whether plan and second choice are proved best.
    pub exact: bool,
}

pub(super) fn margins(planner: &Planner<'_>, plan: &Plan, limits: &Limits<'_>) -> Vec<Margin> {
    let model = &planner.model;
    let place = places(model, plan);
    let pins: Vec<Pin> =
        planner.chosen.pins.iter().copied().filter(|pin| place[pin.lot] == pin.place).collect();
    let root = planner.chosen.pinned(&pins);
    let mut seconds: Vec<Option<Second>> = vec![None; model.lots.len()];
    for scope in node::components(model, &root) {
        let part = Part::new(planner, &root, scope, &place);
        let pinned = |lot: usize| pins.iter().any(|pin| pin.lot == lot);
        let rivals = Rivals::new(planner, &root, &part, &place, pinned);
        for (lot, second) in rivals.seek(limits) {
            seconds[lot] = Some(second);
        }
    }
    for pin in &pins {
        // With its pin lifted, a lot may join parts that were apart.
        let others: Vec<Pin> = pins.iter().copied().filter(|other| other.lot != pin.lot).collect();
        seconds[pin.lot] = without_pin(planner, pin.lot, planner.chosen.pinned(&others), &place, limits);
    }
    let told = seconds.into_iter().enumerate().filter_map(|(lot, second)| {
        let second = second?;
        Some(Margin {
            lot: model.problem.lots[lot].load.lot.clone(),
            margin: difference(model, &everything(model), &place, &second.place)?,
            second: planner.place_named(second.place[lot]),
            exact: second.proved && plan.proof == Proof::Optimal,
        })
    });
    told.collect()
}

/// The best plan known that has a lot elsewhere.
#[derive(Debug, Clone)]
struct Second {
    place: Rc<Vec<usize>>,
    proved: bool,
}

fn without_pin(
    planner: &Planner<'_>,
    lot: usize,
    mut barred: Node,
    place: &[usize],
    limits: &Limits<'_>,
) -> Option<Second> {
    let model = &planner.model;
    let scope = node::components(model, &barred).into_iter().find(|scope| scope.lots.contains(&lot))?;
    barred.set(place[lot], lot, Reach::No);
    let start = Start { place: Some(place), prices: Some(&planner.prices), ..Start::default() };
    let outcome = planner.search_part(&scope, barred, &start, Goal::Best, &mut Budget::new(limits));
    let best = outcome.best?;
    Some(Second { place: Rc::new(merged(&scope, place, &best.place)), proved: outcome.finished })
}

/// All places, those of the scope's lots as found.
fn merged(scope: &Scope, place: &[usize], found: &[usize]) -> Vec<usize> {
    let mut merged = place.to_vec();
    scope.lots.iter().for_each(|&lot| merged[lot] = found[lot]);
    merged
}

fn everything(model: &Model<'_>) -> Scope {
    Scope { lots: (0..model.lots.len()).collect(), sites: (0..model.sites.len()).collect(), opens: None }
}

/// The second plans of the lots of one part, which help each other. A plan that has several lots elsewhere is one for each
/// of them. And a lot that is proved to be worth at least so much where it is stays there in every plan that leaves less on
/// the table: so the largest margins are sought first, and the small ones with most lots settled.
struct Rivals<'p, 'a> {
    planner: &'p Planner<'a>,
    root: &'p Node,
    part: &'p Part,
    place: &'p [usize],
    total: f64,
    base: Option<Base>,
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
    done: bool,
}

impl<'p, 'a> Rivals<'p, 'a> {
    fn new(
        planner: &'p Planner<'a>,
        root: &'p Node,
        part: &'p Part,
        place: &'p [usize],
        pinned: impl Fn(usize) -> bool,
    ) -> Self {
        let model = &planner.model;
        let total = total(model, &part.scope, place);
        let rival = |&lot: &usize| Rival {
            lot,
            loss: f64::INFINITY,
            best: None,
            least: f64::NEG_INFINITY,
            tries: 0,
            done: pinned(lot),
        };
        let rivals = part.scope.lots.iter().map(rival).collect();
        let base = match planner.method {
            Method::Classes => Base::new(model, &part.scope, root, place),
            Method::Lots => None,
        };
        let mut rivals = Rivals { planner, root, part, place, total, base, rivals };
        for at in 0..rivals.rivals.len() {
            let lot = rivals.rivals[at].lot;
            let most = match (&rivals.base, &part.reduced) {
                (Some(base), _) => base.most[lot],
                (None, Some(reduced)) => reduced.elsewhere(place[lot], lot),
                (None, None) => f64::INFINITY,
            };
            rivals.rivals[at].least = total - most;
            if !rivals.rivals[at].done {
                let barred = rivals.barred(lot);
                let start = Start { place: Some(place), ..Start::default() };
                let plan = search::first_plan(model, &part.scope, &barred, &start);
                rivals.offer(plan);
            }
        }
        rivals
    }

    fn barred(&self, lot: usize) -> Node {
        let mut barred = self.root.clone();
        barred.set(self.place[lot], lot, Reach::No);
        barred
    }

    /// A plan is one for every lot that it has elsewhere.
    fn offer(&mut self, plan: Option<Assignment>) {
        let Some(plan) = plan else { return };
        let loss = self.total - plan.total;
        let found = Rc::new(plan.place);
        for rival in self.rivals.iter_mut().filter(|rival| !rival.done) {
            if found[rival.lot] != self.place[rival.lot] && loss < rival.loss {
                rival.loss = loss;
                rival.best = Some(found.clone());
            }
        }
    }

    fn seek(mut self, limits: &Limits<'_>) -> Vec<(usize, Second)> {
        let open = |rivals: &[Rival]| -> Option<usize> {
            let open = rivals.iter().enumerate().filter(|(_, rival)| !rival.done);
            open.max_by(|a, b| a.1.loss.total_cmp(&b.1.loss)).map(|(at, _)| at)
        };
        let mut found = Vec::new();
        while let Some(at) = open(&self.rivals) {
            let Rival { lot, loss, least, tries, .. } = self.rivals[at];
            let mut proved = least >= loss;
            // A first look finds better plans, for this lot and others.
            let nodes = if tries == 0 {
                limits.nodes.min(FIRST_LOOK)
            } else {
                limits.nodes.saturating_sub(FIRST_LOOK)
            };
            let stopped = limits.stop.is_some_and(|stop| stop());
            if !proved && nodes > 0 && !stopped {
                let outcome = self.search(lot, loss, &Limits { nodes, ..*limits });
                let rival = &mut self.rivals[at];
                rival.tries += 1;
                if outcome.finished {
                    proved = true;
                } else {
                    rival.least = rival.least.max(self.total - outcome.bound);
                }
                self.offer(outcome.best);
                let again =
                    limits.nodes > FIRST_LOOK && tries == 0 && !limits.stop.is_some_and(|stop| stop());
                if !proved && again {
                    continue;
                }
            }
            let rival = &mut self.rivals[at];
            rival.done = true;
            if proved {
                rival.least = rival.least.max(rival.loss);
            }
            if let Some(best) = &rival.best {
                let place = Rc::new(merged(&self.part.scope, self.place, best));
                found.push((lot, Second { place, proved: proved || rival.least >= rival.loss }));
            }
        }
        found
    }

    /// Leaves only plans that may leave less than `loss` on the table: lots that are proved to cost more elsewhere stay.
    fn stay(&self, node: &mut Node, loss: f64, but: usize) {
        for rival in self.rivals.iter().filter(|rival| rival.lot != but && rival.least >= loss) {
            for place in (0..node.places()).filter(|&place| place != self.place[rival.lot]) {
                node.set(place, rival.lot, Reach::No);
            }
        }
    }

    /// The best plan that has the lot elsewhere, if it leaves less on the table than `loss`.
    fn search(&self, lot: usize, loss: f64, limits: &Limits<'_>) -> Outcome {
        let mut barred = self.barred(lot);
        self.stay(&mut barred, loss, lot);
        let firm = |node: &mut Node, enough: f64| self.stay(node, self.total - enough, lot);
        let known = loss.is_finite();
        let start = Start {
            place: (!known).then_some(self.place),
            prices: Some(&self.part.prices),
            known: self.part.reduced.as_ref(),
            base: self.base.as_ref(),
            firm: Some(&firm),
            floor: known.then_some(self.total - loss + self.planner.model.tolerance),
        };
        let mut budget = Budget::new(limits);
        self.planner.search_part(&self.part.scope, barred, &start, Goal::Best, &mut budget)
    }
}

/// What the searches that start from one part of a plan have in common.
pub(super) struct Part {
    pub scope: Scope,
    pub prices: Prices,
    /// Bounds of the whole part: barring a lot leaves fewer plans, so they hold for its margin too.
    pub reduced: Option<Reduced>,
}

impl Part {
    pub fn new(planner: &Planner<'_>, root: &Node, scope: Scope, place: &[usize]) -> Self {
        let model = &planner.model;
        let total = total(model, &scope, place);
        let mut part = Part { scope, prices: planner.prices.clone(), reduced: None };
        if planner.method == Method::Lots
            && let Some(outlook) = lots::Outlook::new(model, &part.scope, root)
            && let Some(dual) = lots::descend(&outlook, part.prices.clone(), 1.0, total, STEPS)
        {
            part.reduced = Some(Reduced::of(&outlook, &dual));
            part.prices = dual.prices;
        }
        part
    }
}

/// Where the plan has each lot, by index.
pub(super) fn places(model: &Model<'_>, plan: &Plan) -> Vec<usize> {
    let mut places = vec![model.keep_place(); model.lots.len()];
    for delivery in &plan.deliveries {
        let site = model.sites.iter().position(|site| site.outlet.id == delivery.outlet);
        for (lot, plan_lot) in model.problem.lots.iter().enumerate() {
            if let Some(site) = site
                && delivery.lots.contains(&plan_lot.load.lot)
            {
                places[lot] = site;
            }
        }
    }
    places
}

/// What the scope's lots are worth at these places.
pub(super) fn total(model: &Model<'_>, scope: &Scope, place: &[usize]) -> f64 {
    let at = |at: usize| scope.lots.iter().copied().filter(move |&lot| place[lot] == at);
    let kept: f64 = at(model.keep_place()).map(|lot| model.lots[lot].keep).sum();
    let nets = scope.sites.iter().filter_map(|&site| model.net(site, &at(site).collect::<Vec<_>>()));
    kept + nets.sum::<f64>() + model.rounds.saved(|site| at(site).next().is_some())
}

/// What the first places are worth more than the second ones, exactly.
pub(super) fn difference(
    model: &Model<'_>,
    scope: &Scope,
    first: &[usize],
    second: &[usize],
) -> Option<Decimal> {
    let mut difference = Decimal::ZERO;
    for &site in &scope.sites {
        let within = |place: &[usize]| -> Vec<usize> {
            lots_at(place, site).into_iter().filter(|lot| scope.lots.contains(lot)).collect()
        };
        let (before, after) = (within(first), within(second));
        if before != after {
            difference += exact_net(model, site, &before)? - exact_net(model, site, &after)?;
        }
    }
    let kept = |place: &[usize]| -> Decimal {
        let kept = scope.lots.iter().filter(|&&lot| place[lot] == model.keep_place());
        kept.map(|&lot| model.problem.lots[lot].keep).sum()
    };
    let saved = |place: &[usize]| model.tours.saved(|site| scope.lots.iter().any(|&lot| place[lot] == site));
    Some(difference + kept(first) - kept(second) + saved(first) - saved(second))
}

fn exact_net(model: &Model<'_>, site: usize, lots: &[usize]) -> Option<Decimal> {
    if lots.is_empty() {
        return Some(Decimal::ZERO);
    }
    model.deliver(&model.sites[site], lots).ok().map(|ladder| ladder.net)
}
