//! What each lot's place is worth over its second choice, and where the lot would go then.

mod rivals;
mod seekers;

use std::rc::Rc;

use rust_decimal::Decimal;

use super::choices::Pin;
use super::lots::{self, Prices, Reduced};
use super::model::Model;
use super::node::{self, Node, Reach, Scope};
use super::search::{Budget, Goal, Start};
use super::{Limits, Method, Place, Plan, Planner, Proof, lots_at};
use crate::ids::LotId;

use rivals::Rivals;
use seekers::{Seeker, Twin};

/// Steps to find good prices for a plan whose prices are not known.
const STEPS: u32 = 200;

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
        let pinned = |lot: usize| pins.iter().any(|pin| pin.lot == lot);
        let twin = Twin::of(planner, &root, &scope, &place);
        let seeker = Seeker::new(planner, &root, scope, &place);
        let rivals = Rivals::new(&seeker, pinned);
        let found = seekers::seek(&seeker, &twin, limits, |seekers| rivals.seek(limits, seekers));
        for (lot, second) in found {
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
