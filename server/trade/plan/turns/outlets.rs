//! At which cost of its trip or shipment an outlet joins the plan, or drops out of it.

use rust_decimal::Decimal;

use super::{Ask, Base, Miss, Other, Turns};
use crate::ids::{LotId, OutletId};
use crate::net::{Ladder, StepKind};
use crate::plan::lots_at;
use crate::plan::model::Model;
use crate::plan::node::{Opening, Reach};

/// The cost at which an outlet opens or closes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutletTurn {
    pub outlet: OutletId,
    /// Whether the plan sends anything there.
    pub is_open: bool,
    /// What the trip costs, or the shipment with its boxes, its packing and the border, in home currency: of the plan's
    /// delivery or, where it sends nothing there, of the delivery that it would send first. On a drive to several yards, what
    /// going there as well costs.
    pub once: Decimal,
    /// How much more that may cost before the plan is better without, or how much less before it is better with the outlet.
    pub by: Decimal,
    /// What goes there, or would go first.
    pub lots: Vec<LotId>,
}

impl OutletTurn {
    /// The cost at which the plan turns; `None` where nothing but money on top would open the outlet.
    pub fn at(&self) -> Option<Decimal> {
        let at = if self.is_open { self.once + self.by } else { self.once - self.by };
        (at >= Decimal::ZERO).then_some(at)
    }
}

/// What is paid once for a delivery, whatever it is worth.
fn once(ladder: &Ladder) -> Decimal {
    let kinds = [StepKind::Trip, StepKind::Freight, StepKind::Boxes, StepKind::PackingTime, StepKind::Border];
    ladder.steps.iter().filter(|step| kinds.contains(&step.kind)).map(|step| -step.home).sum()
}

/// What the drive to the other yards saves by going to this one as well.
fn saved_at(model: &Model<'_>, place: &[usize], site: usize) -> Decimal {
    let with = model.tours.saved(|other| place.contains(&other));
    with - model.tours.saved(|other| other != site && place.contains(&other))
}

/// Fills in the outlets' turns; by site, the best plan that does otherwise there than the plan, and what it leaves less. None
/// where an outlet would not open if its trip or shipment cost nothing.
pub(super) fn turns(base: &Base<'_, '_>, turns: &mut Turns) -> Vec<Option<(Other, Decimal)>> {
    let sites = 0..base.planner.model.sites.len();
    sites.map(|site| turn(base, site, turns)).collect()
}

fn turn(base: &Base<'_, '_>, index: usize, turns: &mut Turns) -> Option<(Other, Decimal)> {
    let model = &base.planner.model;
    let site = &model.sites[index];
    // Nothing can go where no grade is taken, or where partners have closed it.
    if base.root.row(index).iter().all(|reach| *reach == Reach::No) {
        return None;
    }
    if base.stopped() {
        turns.complete = false;
        return None;
    }
    let here = lots_at(&base.place, index);
    let is_open = !here.is_empty();
    let mut root = base.root.clone();
    root.decide(index, if is_open { Opening::Shut } else { Opening::Open });
    let ask = Ask { site: index, opens_within: (!is_open).then(|| likely_cost(base, index)) };
    let other = match base.best(base.planner, &root, &base.place, ask) {
        Ok(other) => other,
        Err(miss) => {
            turns.complete &= miss == Miss::None;
            return None;
        }
    };
    let by = base.lead(&other.place)?;
    let lots = if is_open { here } else { lots_at(&other.place, index) };
    let ladder = model.deliver(site, &lots).ok()?;
    turns.outlets.push(OutletTurn {
        outlet: site.outlet.id.clone(),
        is_open,
        once: once(&ladder) - saved_at(model, if is_open { &base.place } else { &other.place }, index),
        by,
        lots: lots.iter().map(|&lot| model.problem.lots[lot].load.lot.clone()).collect(),
    });
    Some((other, by))
}

/// What a delivery to an outlet that gets none is likely to cost once: that of everything that fetches more there.
fn likely_cost(base: &Base<'_, '_>, index: usize) -> f64 {
    let model = &base.planner.model;
    let site = &model.sites[index];
    let now = |lot: usize| match model.sites.get(base.place[lot]) {
        Some(site) => site.highest(lot).unwrap_or(0.0),
        None => model.lots[lot].keep,
    };
    let more = |&lot: &usize| {
        base.root.at(index, lot) != Reach::No && site.highest(lot).is_some_and(|there| there > now(lot))
    };
    let lots: Vec<usize> = (0..model.lots.len()).filter(more).collect();
    let freight = site.shipping.as_ref().and_then(|shipping| shipping.cost(model.contents(&lots)));
    site.fixed + freight.unwrap_or(0.0)
}
