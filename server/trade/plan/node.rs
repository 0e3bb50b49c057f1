//! One state of the search: where each lot may still go, and which outlets are decided.

use super::model::{Model, Site};
use super::shipping::Band;

/// Whether a lot goes to a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reach {
    No,
    May,
    Must,
}

/// Whether anything goes to an outlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Opening {
    Shut,
    Undecided,
    Open,
}

/// The lots and outlets that a search is about. Places are outlets by index, and after the last one: keep.
#[derive(Debug, Clone)]
pub(super) struct Scope {
    pub lots: Vec<usize>,
    pub sites: Vec<usize>,
    /// An outlet that has to get something in every plan.
    pub opens: Option<usize>,
}

#[derive(Debug, Clone)]
pub(super) struct Node {
    count: usize,
    /// By place, then by lot.
    reach: Vec<Reach>,
    opening: Vec<Opening>,
    /// By site: the densities that a shipment there may have, and what its packing and freight may cost.
    band: Vec<Band>,
    freight: Vec<(f64, f64)>,
    /// By site and its grade: the tiers that the grade may reach, counted from 1; 0 is not going at all.
    tiers: Vec<Vec<(usize, usize)>>,
}

impl Node {
    /// Every lot may go wherever its grade is taken, or be kept.
    pub fn free(model: &Model<'_>) -> Self {
        let count = model.lots.len();
        let at = |takes: bool| if takes { Reach::May } else { Reach::No };
        let mut reach = Vec::with_capacity(count * (model.sites.len() + 1));
        for site in &model.sites {
            reach.extend((0..count).map(|lot| at(site.takes(lot))));
        }
        reach.extend((0..count).map(|_| Reach::May));
        let sites = model.sites.len();
        let tiers = |site: &Site<'_>| site.grades.iter().map(|grade| (0, grade.tiers.len())).collect();
        Node {
            count,
            reach,
            opening: vec![Opening::Undecided; sites],
            band: vec![Band::ANY; sites],
            freight: vec![(0.0, f64::INFINITY); sites],
            tiers: model.sites.iter().map(tiers).collect(),
        }
    }

    pub fn row(&self, place: usize) -> &[Reach] {
        &self.reach[place * self.count..(place + 1) * self.count]
    }

    pub fn at(&self, place: usize, lot: usize) -> Reach {
        self.reach[place * self.count + lot]
    }

    pub fn set(&mut self, place: usize, lot: usize, reach: Reach) {
        self.reach[place * self.count + lot] = reach;
    }

    pub fn opening(&self, site: usize) -> Opening {
        self.opening[site]
    }

    pub fn decide(&mut self, site: usize, opening: Opening) {
        self.opening[site] = opening;
    }

    pub fn band(&self, site: usize) -> Band {
        self.band[site]
    }

    pub fn narrow(&mut self, site: usize, band: Band) {
        self.band[site] = band;
    }

    /// The least and the most that packing and freight may cost.
    pub fn freight(&self, site: usize) -> (f64, f64) {
        self.freight[site]
    }

    pub fn set_freight(&mut self, site: usize, least: f64, most: f64) {
        self.freight[site] = (least, most);
    }

    /// The lowest and the highest tier.
    pub fn tiers(&self, site: usize, grade: usize) -> (usize, usize) {
        self.tiers[site][grade]
    }

    pub fn set_tiers(&mut self, site: usize, grade: usize, lowest: usize, highest: usize) {
        self.tiers[site][grade] = (lowest, highest);
    }

    /// Whether lots may go where they may in the other state.
    pub fn reaches_as(&self, other: &Node) -> bool {
        self.reach == other.reach
    }

    /// Whether a delivery to the outlet may be what it may in the other state, its lots aside.
    pub fn opens_as(&self, other: &Node, site: usize) -> bool {
        let is_shut = |node: &Node| node.opening[site] == Opening::Shut;
        is_shut(self) == is_shut(other)
            && self.band[site] == other.band[site]
            && self.freight[site] == other.freight[site]
            && self.tiers[site] == other.tiers[site]
    }

    pub fn places(&self) -> usize {
        self.opening.len() + 1
    }

    /// The place where the lot must go, if that is decided.
    pub fn place_of(&self, lot: usize) -> Option<usize> {
        (0..self.places()).find(|&place| self.at(place, lot) == Reach::Must)
    }

    /// Draws what follows from what is decided; false where it contradicts itself.
    pub fn settle(&mut self, scope: &Scope) -> bool {
        loop {
            let mut changed = false;
            for &lot in &scope.lots {
                match self.settle_lot(lot, scope) {
                    None => return false,
                    Some(change) => changed |= change,
                }
            }
            for &site in &scope.sites {
                match self.settle_site(site, scope) {
                    None => return false,
                    Some(change) => changed |= change,
                }
            }
            if !changed {
                return true;
            }
        }
    }

    /// A lot is in one place: where it must be, or the only one left. `None` is a contradiction.
    fn settle_lot(&mut self, lot: usize, scope: &Scope) -> Option<bool> {
        let keep = self.places() - 1;
        let places = || scope.sites.iter().copied().chain([keep]);
        let must = places().find(|&place| self.at(place, lot) == Reach::Must);
        let mut left = places().filter(|&place| self.at(place, lot) != Reach::No);
        let first = left.next()?;
        if left.next().is_none() {
            let changed = self.at(first, lot) == Reach::May;
            self.set(first, lot, Reach::Must);
            return Some(changed);
        }
        let Some(must) = must else { return Some(false) };
        for place in scope.sites.iter().copied().chain([keep]).filter(|&place| place != must) {
            if self.at(place, lot) == Reach::Must {
                return None;
            }
            self.set(place, lot, Reach::No);
        }
        // More than one place was left, so at least one was struck out.
        Some(true)
    }

    /// An open outlet gets at least one lot, a shut one none.
    fn settle_site(&mut self, site: usize, scope: &Scope) -> Option<bool> {
        let has = |node: &Node, reach| scope.lots.iter().any(|&lot| node.at(site, lot) == reach);
        let (must, may) = (has(self, Reach::Must), has(self, Reach::May));
        match self.opening[site] {
            Opening::Shut if must => None,
            Opening::Shut => {
                for &lot in &scope.lots {
                    self.set(site, lot, Reach::No);
                }
                Some(may)
            }
            Opening::Open if !must && !may => None,
            Opening::Open => {
                let mut free = scope.lots.iter().filter(|&&lot| self.at(site, lot) == Reach::May);
                let (first, second) = (free.next().copied(), free.next());
                if let (false, Some(lot), None) = (must, first, second) {
                    self.set(site, lot, Reach::Must);
                    return Some(true);
                }
                Some(false)
            }
            Opening::Undecided if must => {
                self.opening[site] = Opening::Open;
                Some(true)
            }
            Opening::Undecided if !may => {
                self.opening[site] = Opening::Shut;
                Some(true)
            }
            Opening::Undecided => Some(false),
        }
    }
}

/// The parts of a problem that share no outlet and no drive. A lot that can only be kept is a part by itself.
pub(super) fn components(model: &Model<'_>, node: &Node) -> Vec<Scope> {
    let sites = node.opening.len();
    let mut part_of_site: Vec<Option<usize>> = vec![None; sites];
    let mut parts: Vec<Option<Scope>> = Vec::new();
    for lot in 0..node.count {
        let reached = (0..sites).filter(|&site| node.at(site, lot) != Reach::No);
        let mut joined = Scope { lots: vec![lot], sites: Vec::new(), opens: None };
        for site in reached {
            match part_of_site[site].and_then(|part| parts[part].take()) {
                Some(part) => {
                    joined.lots.extend(part.lots);
                    joined.sites.extend(part.sites);
                }
                None if joined.sites.contains(&site) => {}
                None => joined.sites.push(site),
            }
        }
        for &site in &joined.sites {
            part_of_site[site] = Some(parts.len());
        }
        parts.push(Some(joined));
    }
    for round in &model.rounds.list {
        let mut joined: Option<Scope> = None;
        for part in round.sites.iter().filter_map(|&site| part_of_site[site]) {
            match (&mut joined, parts[part].take()) {
                (Some(joined), Some(part)) => {
                    joined.lots.extend(part.lots);
                    joined.sites.extend(part.sites);
                }
                (None, part) => joined = part,
                (Some(_), None) => {}
            }
        }
        let Some(joined) = joined else { continue };
        for &site in &joined.sites {
            part_of_site[site] = Some(parts.len());
        }
        parts.push(Some(joined));
    }
    let mut parts: Vec<Scope> = parts.into_iter().flatten().collect();
    for part in &mut parts {
        part.lots.sort_unstable();
        part.sites.sort_unstable();
    }
    parts
}
