//! The partner's choices turned into where each lot may go, and what is wrong with them.

use super::model::Model;
use super::node::{Node, Reach};
use super::shipping::Shipping;
use super::{PinTrouble, Place, Problem, Trouble};
use crate::exchange::Mid;
use crate::ids::{LotId, OutletId};
use crate::outlet::Way;

/// A pin by lot and place, as indices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pin {
    pub lot: usize,
    pub place: usize,
}

/// What the choices leave open.
#[derive(Debug)]
pub(super) struct Chosen {
    /// With bars and closed outlets, before pins.
    pub free: Node,
    /// The pins that can be looked at; whether a plan with all of them exists is for the search to say.
    pub pins: Vec<Pin>,
    pub trouble: Vec<Trouble>,
}

impl Chosen {
    pub fn new(model: &Model<'_>) -> Self {
        let problem = model.problem;
        let mut trouble = trouble_with_facts(model);
        let mut free = Node::free(model);
        for (site, outlet) in problem.outlets.iter().enumerate() {
            let closed = problem.choices.closed.contains(&outlet.id);
            for (lot, plan_lot) in problem.lots.iter().enumerate() {
                let barred = || {
                    let pair = (plan_lot.load.lot.clone(), outlet.id.clone());
                    problem.choices.bars.contains(&pair)
                };
                if closed || barred() {
                    free.set(site, lot, Reach::No);
                }
            }
        }
        let mut pins = Vec::new();
        for (lot_id, place) in &problem.choices.pins {
            match pin(problem, lot_id, place) {
                Ok(pin) => pins.push(pin),
                Err(why) => {
                    trouble.push(Trouble::Pin { lot: lot_id.clone(), place: place.clone(), why });
                }
            }
        }
        Chosen { free, pins, trouble }
    }

    /// Where each lot may go with these pins.
    pub fn pinned(&self, pins: &[Pin]) -> Node {
        let mut node = self.free.clone();
        for pin in pins {
            for place in 0..node.places() {
                // A pin to a place that cannot take the lot stays a contradiction, which settling the node finds.
                let reach = if place == pin.place { node.at(place, pin.lot) } else { Reach::No };
                node.set(place, pin.lot, reach);
            }
        }
        node
    }
}

fn pin(problem: &Problem<'_>, lot_id: &LotId, place: &Place) -> Result<Pin, PinTrouble> {
    let lot = problem.lots.iter().position(|lot| lot.load.lot == *lot_id).ok_or(PinTrouble::NoSuchLot)?;
    let place = match place {
        Place::Keep => problem.outlets.len(),
        Place::Outlet(id) => site_of(problem, lot_id, id)?,
    };
    Ok(Pin { lot, place })
}

fn site_of(problem: &Problem<'_>, lot: &LotId, id: &OutletId) -> Result<usize, PinTrouble> {
    let choices = problem.choices;
    let site = problem.outlets.iter().position(|outlet| outlet.id == *id).ok_or(PinTrouble::NoSuchOutlet)?;
    if choices.closed.contains(id) {
        return Err(PinTrouble::OutletClosed);
    }
    if choices.bars.contains(&(lot.clone(), id.clone())) {
        return Err(PinTrouble::Barred);
    }
    Ok(site)
}

/// Why the outlet does not take the lot of a pin that no plan can follow.
pub(super) fn refusal(model: &Model<'_>, pin: Pin) -> PinTrouble {
    let Some(site) = model.sites.get(pin.place) else { return PinTrouble::Together };
    if model.problem.lots[pin.lot].load.mass.is_negative() {
        return PinTrouble::NegativeMass;
    }
    model.deliver(site, &[pin.lot]).map_or_else(PinTrouble::Refused, |_| PinTrouble::Together)
}

fn trouble_with_facts(model: &Model<'_>) -> Vec<Trouble> {
    let (problem, facts) = (model.problem, model.problem.facts);
    let mut trouble = Vec::new();
    for outlet in problem.outlets {
        let services = match &outlet.way {
            Way::Drive(_) => &[][..],
            Way::Post(post) => &post.services,
        };
        let currencies = services.iter().map(|service| service.currency).chain([outlet.currency]);
        let home = facts.costs.home;
        let rate = |currency| -> Option<Mid> { facts.rates.mid(currency, home, facts.today) };
        if let Some(missing) = currencies.into_iter().find(|&currency| rate(currency).is_none()) {
            trouble.push(Trouble::NoRate {
                outlet: outlet.id.clone(),
                from: missing.code(),
                to: home.code(),
            });
        }
    }
    for (site, outlet) in model.sites.iter().zip(problem.outlets) {
        if !site.grades.is_empty()
            && let Some(why) = site.shipping.as_ref().and_then(Shipping::refusal)
        {
            trouble.push(Trouble::NoParcels { outlet: outlet.id.clone(), why });
        }
    }
    for lot in problem.lots {
        let load = &lot.load;
        if load.mass.is_negative() {
            trouble.push(Trouble::NegativeMass { lot: load.lot.clone(), mass: load.mass });
        } else if load.mass.is_zero() {
            trouble.push(Trouble::NoMass { lot: load.lot.clone() });
        }
        if !problem.outlets.iter().any(|outlet| outlet.quotes.contains_key(&load.grade)) {
            trouble.push(Trouble::NoOutlet { lot: load.lot.clone(), grade: load.grade.clone() });
        }
    }
    trouble
}
