//! Sell plan: where every lot goes now, all at once, so that the most money is left.
//!
//! # The problem
//! Every lot goes to one outlet or is kept. A plan is worth `Σ net(o, S_o) + Σ keep(i)`: the exact net of one
//! delivery for every outlet `o` that gets a set of lots `S_o`, by [`net::deliver`], and the keep value of what stays.
//! Trips, shipments and flat fees are paid once per delivery; tiers, minimums and freight depend on its totals; a
//! delivery that `deliver` refuses may not be in a plan. Yards with roads between them are driven to at once: a plan is worth
//! what the best drive to all of its yards saves on top (`tour`). Uncapacitated facility location is the special case where
//! the only shared cost is a fixed one, so the problem is NP-hard, and a search it is.
//!
//! # The method
//! Two searches share one model; both end with the same proof, and only their speed differs ([`Method`]).
//!
//! **By classes** (`classes`). Lots that no outlet can tell apart but by their mass are a class, and a delivery is how much
//! of each class goes to one outlet, each grade at a tier, under a level of the freight. The master program mixes
//! deliveries at will so that no class goes out more than there is of it (Dantzig and Wolfe 1960). It is solved by
//! generating columns: its prices `π` go to the outlets, and each answers with the delivery that gains most at them. For any
//! prices
//!
//! ```text
//! optimum ≤ Σ_k max over what is kept of class k + π_k · the rest + Σ_o max(0, max_D net(o, D) − Σ_k π_k · D_k)
//! ```
//!
//! (Lagrange: each lot goes once). An outlet's maximum is not found exactly but from above, level by level: at a tier a
//! grade gains along straight pieces, only the corners of the concave hull over all tiers count, and the pieces of all
//! grades, steepest first, fill the level. That is the linear relaxation of a knapsack, solved by sorting. Where room counts
//! besides mass, a toll per volume is sought that makes the level's bound least. Where few lots are undecided, all their
//! sets are tried with their exact nets instead.
//!
//! What the prices prove is used at once: a site, a level, a tier or a class that cannot be part of a better plan is struck
//! out. What is left undecided in the mixture is split in two: an outlet open or shut; a grade's tier; the cost of freight;
//! the density of a shipment; and when nothing but lots is undecided, one lot at one place or not. Plans come from rounding
//! the mixture, moving lots, and swapping lots of one class until a level is as full as it can be.
//!
//! **Yards on one drive** (`rounds`). What a set of yards saves by one drive is shared among them by a price each, and the drive
//! chooses its set at those prices; in the master program each set is a column.
//!
//! **By lots** (`lots`). Every lot has a price of its own, improved by subgradient steps; an outlet's relaxed problem knows
//! whole lots (all sets of a grade with few, a multiple-choice knapsack over the grades). Where room counts the freight floor
//! is the true cost of the same mass at the highest density that the shipment can have, or of the same volume at the lowest.
//! This is tighter and slower: it serves small shelves whose freight depends on volumes.
//!
//! **Margins** (`margins`). A margin is the same search with one lot barred from its place. The searches help each other: a plan
//! that has several lots elsewhere is a second plan for each of them; all start from the deliveries of one relaxation; and a lot
//! that is proved to cost at least `m` elsewhere stays where it is in every plan that leaves less than `m` on the table, so the
//! largest margins are sought first.
//!
//! **What would change it** (`turns`). The same searches with an outlet forced in or out, a price moved, more of a grade.
//!
//! # Why it is exact
//! A part of the search is dropped only when its bound does not exceed the best plan by more than the tolerance (10⁻¹⁰ of
//! the home currency, plus 10⁻¹³ of all amounts in play: their rounding errors as floats). A part
//! without open choices is evaluated, and every other part is split in two that together hold all its plans; every split
//! decides one of finitely many things or halves a doubt about freight that is given up below a cent. So when no part is
//! left, no plan is better. Bounds are floats, and each is at least the true value by construction:
//! every comparison of a relaxed total with a minimum, a maximum or a freight step leaves room for rounding on the safe
//! side, and a real delivery whose float total is too near a threshold to call is decided by exact decimals. The bound is
//! worked out anew from the prices, so it does not rest on the linear program having been solved well. The plan that is
//! returned is priced again by `deliver`; its total is that exact sum, and it is called optimal only if the two agree.

mod choices;
mod classes;
pub mod habit;
mod improve;
mod lots;
mod margins;
mod model;
mod node;
mod rounds;
mod search;
mod shipping;
mod tally;
mod tree;
mod trouble;
mod turns;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::num::NonZeroUsize;

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use crate::costs::Facts;
use crate::ids::{LotId, OutletId};
use crate::net;
use crate::outlet::Outlet;
use crate::tour::{Roads, Tour};

pub use margins::Margin;
pub use trouble::{PinTrouble, Trouble};
pub use turns::{MassTurn, OutletTurn, PriceTurn, Reached, Turns, Way};

use choices::{Chosen, Pin};
use lots::Prices;
use model::{Model, Tries};
use node::{Node, Scope};
use search::{Budget, Goal, Outcome, Start};
use shipping::Shipping;

/// A lot to be planned. Ids are distinct within a problem.
#[derive(Debug, Clone)]
pub struct PlanLot {
    pub load: net::Load,
    /// What the lot is worth if it stays, in home currency; not negative.
    pub keep: Decimal,
}

/// Where a lot goes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    Outlet(OutletId),
    Keep,
}

/// What the partner has decided beforehand.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Choices {
    /// Lots that go to a certain place.
    pub pins: BTreeMap<LotId, Place>,
    /// Lots that do not go to a certain outlet.
    pub bars: BTreeSet<(LotId, OutletId)>,
    /// Outlets that get nothing.
    pub closed: BTreeSet<OutletId>,
}

#[derive(Debug, Clone, Copy)]
pub struct Problem<'a> {
    pub lots: &'a [PlanLot],
    pub outlets: &'a [Outlet],
    pub facts: &'a Facts,
    pub choices: &'a Choices,
    /// Between yards: several may be on one drive.
    pub roads: &'a Roads,
}

/// How much work a search may do. Counted in search nodes the result of one thread is the same on every machine; the crate has no
/// clock, so a caller who wants to stop by time says when.
#[derive(Clone, Copy)]
pub struct Limits<'l> {
    pub nodes: u64,
    /// Asked at every node.
    pub stop: Option<&'l (dyn Fn() -> bool + Sync)>,
    /// Margins are sought on so many threads. With several, what is found before the work is used up may differ from run to
    /// run; what is proved does not.
    pub threads: NonZeroUsize,
}

impl Limits<'_> {
    pub const fn nodes(nodes: u64) -> Self {
        Limits { nodes, stop: None, threads: NonZeroUsize::MIN }
    }
}

impl Default for Limits<'_> {
    fn default() -> Self {
        Limits::nodes(20_000)
    }
}

impl fmt::Debug for Limits<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Limits")
            .field("nodes", &self.nodes)
            .field("stop", &self.stop.is_some())
            .field("threads", &self.threads)
            .finish()
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// In the order of the problem's outlets; those that get nothing are left out.
    pub deliveries: Vec<Delivery>,
    /// The drives to several yards at once. Each delivery's net pays a drive of its own; what a tour saves comes on top.
    pub tours: Vec<Tour>,
    /// In the order of the problem's lots.
    pub kept: Vec<LotId>,
    /// Exact, in home currency: the nets of the deliveries, what tours save, and the keep values of the rest.
    pub total: Decimal,
    pub proof: Proof,
    pub trouble: Vec<Trouble>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Delivery {
    pub outlet: OutletId,
    pub lots: Vec<LotId>,
    pub ladder: net::Ladder,
}

/// How good the plan is known to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Proof {
    /// No plan leaves more.
    Optimal,
    /// The search ended at its limit: no plan leaves more than `bound`, in home currency.
    Gap { bound: Decimal },
}

/// The best plan. Pins that no plan can follow are dropped, and named among its troubles.
pub fn solve(problem: &Problem<'_>, limits: &Limits<'_>) -> Plan {
    Planner::new(problem).solve(limits)
}

/// What each lot's place in the plan is worth over its second choice, in the order of the problem's lots. Lots that
/// have no second choice are left out. `limits` hold for each lot.
pub fn margins(problem: &Problem<'_>, plan: &Plan, limits: &Limits<'_>) -> Vec<Margin> {
    Planner::new(problem).margins(plan, limits)
}

/// How a plan is searched for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Lot by lot: with few lots, and freight that depends on room as well as on mass, this is faster.
    Lots,
    /// By how much of what goes where, and lots last.
    Classes,
}

/// Up to so many lots are searched lot by lot where room counts.
const MOST_BY_LOTS: usize = 70;

/// A problem made ready to be searched; what [`solve`](Planner::solve) learns speeds up
/// [`margins`](Planner::margins).
#[derive(Debug)]
pub struct Planner<'a> {
    model: Model<'a>,
    chosen: Chosen,
    method: Method,
    /// The prices at which the last search by lots ended.
    prices: Prices,
}

/// The best places found for all lots, by index.
struct Found {
    place: Vec<usize>,
    total: f64,
    bound: f64,
    finished: bool,
}

impl<'a> Planner<'a> {
    pub fn new(problem: &'a Problem<'a>) -> Self {
        let model = Model::new(problem);
        let chosen = Chosen::new(&model);
        let keeps = model.lots.iter().map(|lot| lot.keep).collect();
        let prices = Prices::new(keeps, model.sites.len());
        let roomy = model.sites.iter().any(|site| site.shipping.as_ref().is_some_and(Shipping::has_volume));
        let method = if roomy && model.lots.len() <= MOST_BY_LOTS { Method::Lots } else { Method::Classes };
        Planner { model, chosen, method, prices }
    }

    /// Tries all sets of lots only where so few are undecided at an outlet, and in a grade at an outlet. Only speed
    /// depends on it; with zeros all bounds are put to the test.
    #[must_use]
    pub fn trying_all_of(mut self, lots_of_outlet: usize, lots_of_grade: usize) -> Self {
        // A set is a bit pattern, and there are two to the power of the lots.
        let within = |lots: usize| lots.min(16);
        self.model.tries = Tries { of_outlet: within(lots_of_outlet), of_grade: within(lots_of_grade) };
        self
    }

    /// Searches in this way. Only speed depends on it.
    #[must_use]
    pub fn searching_by(mut self, method: Method) -> Self {
        self.method = method;
        self
    }

    /// See [`solve`].
    pub fn solve(&mut self, limits: &Limits<'_>) -> Plan {
        let mut budget = Budget::new(limits);
        let mut pins = self.chosen.pins.clone();
        let mut trouble = self.chosen.trouble.clone();
        loop {
            match self.search(&self.chosen.pinned(&pins), Goal::Best, &mut budget) {
                Ok((found, prices)) => {
                    self.prices = prices;
                    return self.plan(&found, trouble);
                }
                Err(stuck) => trouble.extend(self.drop_pins(&mut pins, stuck, &mut budget)),
            }
        }
    }

    /// See [`margins()`].
    pub fn margins(&self, plan: &Plan, limits: &Limits<'_>) -> Vec<Margin> {
        margins::margins(self, plan, limits)
    }

    /// What would change the plan. `limits` hold for each plan that is sought on the way, and stop it all.
    pub fn turns(&self, plan: &Plan, limits: &Limits<'_>) -> Turns {
        turns::turns(self, plan, limits)
    }

    /// The best places within a node, and the lots' last prices.
    fn search(&self, root: &Node, goal: Goal, budget: &mut Budget<'_>) -> Result<(Found, Prices), Stuck> {
        let keep = self.model.keep_place();
        let mut found =
            Found { place: vec![keep; self.model.lots.len()], total: 0.0, bound: 0.0, finished: true };
        let mut prices = self.prices.clone();
        for scope in node::components(&self.model, root) {
            let Outcome { best, bound, finished, prices: last } =
                self.search_part(&scope, root.clone(), &Start::default(), goal, budget);
            let Some(best) = best else { return Err(Stuck { finished }) };
            for &lot in &scope.lots {
                found.place[lot] = best.place[lot];
                if let Some(last) = &last {
                    prices.lot[lot] = last.lot[lot];
                }
            }
            found.total += best.total;
            found.bound += bound;
            found.finished &= finished;
        }
        Ok((found, prices))
    }

    fn search_part(
        &self,
        scope: &Scope,
        root: Node,
        start: &Start<'_>,
        goal: Goal,
        budget: &mut Budget<'_>,
    ) -> Outcome {
        match self.method {
            Method::Lots => lots::search(&self.model, scope, root, start, goal, budget),
            Method::Classes => classes::search(&self.model, scope, root, start, goal, budget),
        }
    }

    /// Drops pins that keep the problem from having a plan: each in turn stays if there is a plan with it and those that
    /// stayed before it.
    fn drop_pins(&self, pins: &mut Vec<Pin>, stuck: Stuck, budget: &mut Budget<'_>) -> Vec<Trouble> {
        let suspects = std::mem::take(pins);
        let mut good: Vec<Pin> = Vec::new();
        let mut trouble = Vec::new();
        for pin in suspects {
            good.push(pin);
            // With the work used up there is no telling which pins are good.
            let finished = stuck.finished
                && match self.search(&self.chosen.pinned(&good), Goal::Any, budget) {
                    Ok(_) => continue,
                    Err(stuck) => stuck.finished,
                };
            good.pop();
            let why = match finished.then(|| self.search(&self.chosen.pinned(&[pin]), Goal::Any, budget)) {
                Some(Ok(_)) => PinTrouble::Together,
                Some(Err(Stuck { finished: true })) => choices::refusal(&self.model, pin),
                Some(Err(_)) | None => PinTrouble::NotFound,
            };
            let lot = self.model.problem.lots[pin.lot].load.lot.clone();
            trouble.push(Trouble::Pin { lot, place: self.place_named(pin.place), why });
        }
        *pins = good;
        if trouble.is_empty() && !pins.is_empty() {
            // All pins together have a plan after all, or it is too near a threshold for floats to tell.
            return self.drop_pins(pins, Stuck { finished: false }, budget);
        }
        trouble
    }

    fn place_named(&self, place: usize) -> Place {
        match self.model.sites.get(place) {
            Some(site) => Place::Outlet(site.outlet.id.clone()),
            None => Place::Keep,
        }
    }

    /// The found places, priced exactly.
    fn plan(&self, found: &Found, mut trouble: Vec<Trouble>) -> Plan {
        let lots = self.model.problem.lots;
        let mut plan = Plan {
            deliveries: Vec::new(),
            tours: Vec::new(),
            kept: Vec::new(),
            total: Decimal::ZERO,
            proof: Proof::Optimal,
            trouble: Vec::new(),
        };
        let mut kept: Vec<usize> = lots_at(&found.place, self.model.keep_place());
        for (index, site) in self.model.sites.iter().enumerate() {
            let here = lots_at(&found.place, index);
            match self.model.deliver(site, &here) {
                Ok(ladder) => {
                    plan.total += ladder.net;
                    let lots = here.iter().map(|&lot| lots[lot].load.lot.clone()).collect();
                    plan.deliveries.push(Delivery { outlet: site.outlet.id.clone(), lots, ladder });
                }
                // Nothing goes there; a refused delivery would stay here, and the totals below would not agree.
                Err(_) => kept.extend(here),
            }
        }
        let open = |site: usize| {
            plan.deliveries.iter().any(|delivery| delivery.outlet == self.model.sites[site].outlet.id)
        };
        plan.tours = self.model.tours.tours(open);
        plan.total += plan.tours.iter().map(|tour| tour.saved).sum::<Decimal>();
        kept.sort_unstable();
        plan.total += kept.iter().map(|&lot| lots[lot].keep).sum::<Decimal>();
        plan.kept = kept.iter().map(|&lot| lots[lot].load.lot.clone()).collect();
        let agrees = (model::float(plan.total) - found.total).abs() <= 10.0 * self.model.tolerance;
        if !found.finished || !agrees {
            let bound = Decimal::from_f64(found.bound).unwrap_or(Decimal::MAX).max(plan.total);
            plan.proof = Proof::Gap { bound };
        }
        if plan.deliveries.is_empty() && self.model.sites.iter().any(|site| !site.grades.is_empty()) {
            trouble.push(Trouble::NothingPays);
        }
        plan.trouble = trouble;
        plan
    }
}

/// There is no plan, or, if the search did not finish, none was found.
struct Stuck {
    finished: bool,
}

fn lots_at(places: &[usize], place: usize) -> Vec<usize> {
    (0..places.len()).filter(|&lot| places[lot] == place).collect()
}
