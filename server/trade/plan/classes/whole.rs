//! An outlet at which so few lots are undecided that all sets of them are tried, with their exact nets: no relaxation.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use super::class::{Classes, amount_of};
use super::counter::{Ask, Delivery, Prices};
use crate::plan::model::Model;
use crate::plan::node::{Node, Reach, Scope};

/// Undecided lots of which all sets are tried. Only speed depends on it.
const MOST: usize = 9;

/// So many sets are remembered.
const MOST_REMEMBERED: usize = 150_000;

/// The lots that must go to a site, and those that may.
type Lots = (usize, Vec<usize>, Vec<usize>);

/// The sets of the outlets that were asked about lately.
#[derive(Debug, Default)]
pub(super) struct Remembered(RefCell<Known>);

#[derive(Debug, Default)]
struct Known {
    by_lots: HashMap<Lots, Rc<Vec<Set>>>,
    sets: usize,
}

/// Some of the lots that may go, with all that must.
#[derive(Debug)]
struct Set {
    /// By position among those that may go.
    bits: usize,
    net: f64,
    freight: f64,
    mass: f64,
    volume: f64,
    /// By the site's grade; 0 is not going.
    tiers: Vec<u8>,
}

#[derive(Debug)]
pub(super) struct Whole {
    site: usize,
    sets: Rc<Vec<Set>>,
    /// Which of them the state allows.
    allowed: Vec<usize>,
    may: Vec<usize>,
    /// By position: the class and the amount of each lot that may go.
    parts: Vec<(usize, f64)>,
    /// What the lots that must go are of, by class.
    must: Vec<(usize, f64)>,
}

impl Whole {
    /// `None` where too many lots may go.
    pub fn new(
        model: &Model<'_>,
        remembered: &Remembered,
        scope: &Scope,
        node: &Node,
        classes: &Classes,
        site: usize,
    ) -> Option<Whole> {
        let with = |reach| scope.lots.iter().copied().filter(move |&lot| node.at(site, lot) == reach);
        if with(Reach::May).take(MOST + 1).count() > MOST {
            return None;
        }
        let (must, may): (Vec<usize>, Vec<usize>) = (with(Reach::Must).collect(), with(Reach::May).collect());
        let sets = remembered.sets(model, site, &must, &may);
        let (least, most) = node.freight(site);
        let shipped = model.sites[site].shipping.is_some();
        let allowed = |set: &Set| {
            (!shipped
                || (least <= set.freight
                    && set.freight <= most
                    && node.band(site).holds(set.mass, set.volume)))
                && set.tiers.iter().enumerate().all(|(grade, &tier)| {
                    let (lowest, highest) = node.tiers(site, grade);
                    (lowest..=highest).contains(&usize::from(tier))
                })
        };
        let allowed = sets.iter().enumerate().filter(|(_, set)| allowed(set)).map(|(at, _)| at).collect();
        let part = |lot: usize| (classes.of_lot[lot], amount_of(model, lot));
        let mut of_must: Vec<(usize, f64)> = Vec::new();
        for (class, amount) in must.iter().map(|&lot| part(lot)) {
            match of_must.iter_mut().find(|(other, _)| *other == class) {
                Some((_, known)) => *known += amount,
                None => of_must.push((class, amount)),
            }
        }
        let parts = may.iter().map(|&lot| part(lot)).collect();
        Some(Whole { site, sets, allowed, may, parts, must: of_must })
    }

    /// Whether some set may go at all.
    pub fn is_empty(&self) -> bool {
        self.allowed.is_empty()
    }

    /// The most that a set gains at the prices, and which.
    pub fn best(&self, prices: &Prices, ask: Ask) -> Option<(f64, usize)> {
        let mut costs = vec![0.0; 1 << self.may.len()];
        for bits in 1..costs.len() {
            let (class, amount) = self.parts[bits.trailing_zeros() as usize];
            costs[bits] = costs[bits & (bits - 1)] + prices.class[class] * amount;
        }
        let mut best: Option<(f64, usize)> = None;
        for &at in &self.allowed {
            let set = &self.sets[at];
            let gain = set.net + prices.yard[self.site] - costs[set.bits];
            if best.is_none_or(|(most, _)| gain > most) && self.answers(set, ask) {
                best = Some((gain, at));
            }
        }
        best
    }

    fn answers(&self, set: &Set, ask: Ask) -> bool {
        let amount = |class: usize| -> f64 {
            let of = |&&(other, _): &&(usize, f64)| other == class;
            let must: f64 = self.must.iter().filter(of).map(|(_, amount)| amount).sum();
            let may = self
                .parts
                .iter()
                .enumerate()
                .filter(|(at, (other, _))| set.bits >> at & 1 == 1 && *other == class);
            must + may.map(|(_, (_, amount))| amount).sum::<f64>()
        };
        match ask {
            Ask::Anything => true,
            Ask::Tier { grade, tier } => usize::from(set.tiers[grade]) == tier,
            Ask::AtLeast { class, amount: least } => amount(class) >= least * (1.0 - 1e-9),
            Ask::AtMost { class, amount: most } => amount(class) <= most * (1.0 + 1e-9) + 1e-9,
        }
    }

    pub fn delivery(&self, at: usize) -> Delivery {
        let set = &self.sets[at];
        let mut amounts = self.must.clone();
        for (_, &(class, amount)) in self.parts.iter().enumerate().filter(|(at, _)| set.bits >> at & 1 == 1) {
            match amounts.iter_mut().find(|(other, _)| *other == class) {
                Some((_, known)) => *known += amount,
                None => amounts.push((class, amount)),
            }
        }
        Delivery {
            site: self.site,
            net: set.net,
            freight: set.freight,
            mass: set.mass,
            volume: set.volume,
            amounts,
            tiers: set
                .tiers
                .iter()
                .enumerate()
                .map(|(grade, &tier)| (grade, usize::from(tier), 1.0))
                .collect(),
            ..Delivery::default()
        }
    }
}

impl Remembered {
    /// All sets that the outlet takes.
    fn sets(&self, model: &Model<'_>, site: usize, must: &[usize], may: &[usize]) -> Rc<Vec<Set>> {
        let key = (site, must.to_vec(), may.to_vec());
        if let Some(known) = self.0.borrow().by_lots.get(&key) {
            return known.clone();
        }
        let at = &model.sites[site];
        let mut grades: Vec<usize> =
            must.iter().chain(may).filter_map(|&lot| at.spots[lot]).map(|spot| spot.grade).collect();
        grades.sort_unstable();
        grades.dedup();
        let mut sets = Vec::new();
        let mut lots = Vec::new();
        for bits in 0..1usize << may.len() {
            lots.clear();
            lots.extend_from_slice(must);
            lots.extend(may.iter().enumerate().filter(|(at, _)| bits >> at & 1 == 1).map(|(_, &lot)| lot));
            if lots.is_empty() {
                continue;
            }
            let Some(net) = model.net(site, &lots) else { continue };
            let mass = lots.iter().map(|&lot| model.lots[lot].mass).sum();
            let freight = at.shipping.as_ref();
            let freight = freight
                .and_then(|shipping| shipping.cost_of_lots(mass, || model.contents(&lots)))
                .unwrap_or(0.0);
            let mut tiers = vec![0; at.grades.len()];
            for &grade in &grades {
                let of_grade = |&&lot: &&usize| at.spots[lot].is_some_and(|spot| spot.grade == grade);
                let members: Vec<usize> = lots.iter().filter(of_grade).copied().collect();
                tiers[grade] = model
                    .tier_of(at, grade, &members)
                    .map_or(0, |tier| u8::try_from(tier + 1).unwrap_or(u8::MAX));
            }
            let volume = lots.iter().map(|&lot| model.lots[lot].volume).sum();
            sets.push(Set { bits, net, freight, mass, volume, tiers });
        }
        let sets = Rc::new(sets);
        let mut known = self.0.borrow_mut();
        known.sets += sets.len();
        if known.sets > MOST_REMEMBERED {
            *known = Known { sets: sets.len(), ..Known::default() };
        }
        known.by_lots.insert(key, sets.clone());
        sets
    }
}
