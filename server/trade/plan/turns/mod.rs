//! What would change the plan: where it turns into another one.
//!
//! Three questions, each answered by plans that are proved best and start from the plan that is there:
//!
//! - **An outlet** (`outlets`): how much dearer may its trip or shipment get before the plan goes elsewhere, or how much
//!   cheaper before it goes there? A plan that goes to an outlet pays that cost once, so its worth moves against it one to
//!   one, and the turn lies exactly where the best plan with the outlet and the best one without it are worth the same.
//! - **A price** (`prices`): at which price of a grade is another plan worth as much? Along one price, every plan's worth is
//!   a line and the best plan's worth the highest of them. From a price at which another plan is best, the line of that plan
//!   leads back to where it meets the first one; there the best plan is asked for anew, until it is the first one (Newton's
//!   method, or Dinkelbach's for ratios, 1967).
//! - **A mass** (`masses`): how much more of a grade, and a tier, a minimum or an outlet is reached? Thresholds and the
//!   money that is missing say where to look, and the plan with that much more says whether it is so.
//!
//! Everything else is taken to stay as it is, keep values as well.

mod masses;
mod outlets;
mod prices;

use rust_decimal::Decimal;

use super::choices::Pin;
use super::margins::{Part, difference, places, total};
use super::node::{self, Node};
use super::search::{Budget, Goal, Start};
use super::{Limits, Plan, Planner, Proof};

pub use masses::{MassTurn, Reached};
pub use outlets::OutletTurn;
pub use prices::{PriceTurn, Way};

/// What would change a plan.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Turns {
    pub outlets: Vec<OutletTurn>,
    pub prices: Vec<PriceTurn>,
    pub masses: Vec<MassTurn>,
    /// Whether everything that is near was looked at; else the work was used up first.
    pub complete: bool,
}

/// The plan whose turns are sought.
struct Base<'p, 'a> {
    planner: &'p Planner<'a>,
    place: Vec<usize>,
    /// The pins that the plan follows.
    pins: Vec<Pin>,
    root: Node,
    parts: Vec<Part>,
    limits: &'p Limits<'p>,
}

/// Another plan, proved best for what was asked.
struct Other {
    place: Vec<usize>,
}

/// What is asked of another plan: something about this site.
#[derive(Debug, Clone, Copy)]
struct Ask {
    site: usize,
    opens_within: Option<f64>,
}

impl Ask {
    fn about(site: usize) -> Ask {
        Ask { site, opens_within: None }
    }
}

/// Why nothing was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Miss {
    /// There is no such plan.
    None,
    /// The work was used up.
    Unfinished,
}

pub(super) fn turns(planner: &Planner<'_>, plan: &Plan, limits: &Limits<'_>) -> Turns {
    let mut turns = Turns::default();
    if plan.proof != Proof::Optimal {
        return turns;
    }
    let place = places(&planner.model, plan);
    let pins: Vec<Pin> =
        planner.chosen.pins.iter().copied().filter(|pin| place[pin.lot] == pin.place).collect();
    let root = planner.chosen.pinned(&pins);
    let parts = node::components(&planner.model, &root);
    let parts = parts.into_iter().map(|scope| Part::new(planner, &root, scope, &place)).collect();
    let base = Base { planner, place, root, parts, pins, limits };
    turns.complete = true;
    let others = outlets::turns(&base, &mut turns);
    masses::turns(&base, &others, &mut turns);
    prices::turns(&base, &others, &mut turns);
    turns
}

impl Base<'_, '_> {
    fn stopped(&self) -> bool {
        self.limits.stop.is_some_and(|stop| stop())
    }

    /// The best plan of a state of a problem with the same lots first, and the same outlets, of which no other than `site`
    /// is touched by what is asked. If it `opens`, the site has to get something, by a plan that leaves no more than `within`
    /// less than the one that is there.
    fn best(&self, planner: &Planner<'_>, root: &Node, place: &[usize], ask: Ask) -> Result<Other, Miss> {
        let mut budget = Budget::new(self.limits);
        let part = self.parts.iter().find(|part| part.scope.sites.contains(&ask.site));
        // With the same lots, what is struck out in `root` does not part what the question is about.
        let same = part.filter(|_| place.len() == self.place.len());
        let joined = || {
            node::components(&planner.model, root).into_iter().find(|scope| scope.sites.contains(&ask.site))
        };
        let mut scope = same.map(|part| part.scope.clone()).or_else(joined).ok_or(Miss::None)?;
        scope.opens = ask.opens_within.map(|_| ask.site);
        let floor = ask.opens_within.map(|within| total(&planner.model, &scope, place) - within);
        // Bounds of the plan's own problem hold where some of its plans are struck out.
        let own = same.filter(|_| std::ptr::eq(planner, self.planner));
        let start = Start {
            place: Some(place),
            prices: same.map(|part| &part.prices),
            known: own.and_then(|part| part.reduced.as_ref()),
            floor,
            ..Start::default()
        };
        let outcome = planner.search_part(&scope, root.clone(), &start, Goal::Best, &mut budget);
        if !outcome.finished {
            return Err(Miss::Unfinished);
        }
        let best =
            outcome.best.filter(|best| floor.is_none_or(|floor| best.total > floor)).ok_or(Miss::None)?;
        let mut other = Other { place: place.to_vec() };
        for &lot in &scope.lots {
            other.place[lot] = best.place[lot];
        }
        Ok(other)
    }

    /// What the plan leaves more than another one, exactly.
    fn lead(&self, other: &[usize]) -> Option<Decimal> {
        let model = &self.planner.model;
        let everything = node::Scope {
            lots: (0..model.lots.len()).collect(),
            sites: (0..model.sites.len()).collect(),
            opens: None,
        };
        difference(model, &everything, &self.place, other)
    }
}
