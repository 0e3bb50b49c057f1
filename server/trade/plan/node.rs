//! One state of the search: where each lot may still go, and which outlets are decided.

use super::model::Model;
use super::offer::{Ask, Offer};

/// Outlets with at most this many undecided lots are solved by trying every set of them.
const TRY_ALL: usize = 6;

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
}

#[derive(Debug, Clone)]
pub(super) struct Node {
    count: usize,
    /// By place, then by lot.
    reach: Vec<Reach>,
    opening: Vec<Opening>,
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
        Node { count, reach, opening: vec![Opening::Undecided; model.sites.len()] }
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

/// The parts of a problem that share no outlet. A lot that can only be kept is a part by itself.
pub(super) fn components(node: &Node) -> Vec<Scope> {
    let sites = node.opening.len();
    let mut part_of_site: Vec<Option<usize>> = vec![None; sites];
    let mut parts: Vec<Option<Scope>> = Vec::new();
    for lot in 0..node.count {
        let reached = (0..sites).filter(|&site| node.at(site, lot) != Reach::No);
        let mut joined = Scope { lots: vec![lot], sites: Vec::new() };
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
    let mut parts: Vec<Scope> = parts.into_iter().flatten().collect();
    for part in &mut parts {
        part.lots.sort_unstable();
        part.sites.sort_unstable();
    }
    parts
}

/// A node made ready to be asked for offers.
#[derive(Debug)]
pub(super) struct Outlook<'n> {
    pub model: &'n Model<'n>,
    pub scope: &'n Scope,
    pub node: &'n Node,
    /// By site: all sets of its undecided lots with their exact nets, where they are few.
    tables: Vec<Option<Table>>,
    /// By site: what packing costs at least, because of the lots that must go.
    least_packing: Vec<f64>,
}

#[derive(Debug)]
struct Table {
    must: Vec<usize>,
    may: Vec<usize>,
    /// By set of `may`, as bits; −∞ where the outlet does not take it.
    nets: Vec<f64>,
}

impl<'n> Outlook<'n> {
    /// `None` where an outlet cannot take what must go there.
    pub fn new(model: &'n Model<'n>, scope: &'n Scope, node: &'n Node) -> Option<Self> {
        let mut tables: Vec<Option<Table>> = Vec::new();
        tables.resize_with(model.sites.len(), || None);
        let mut least_packing = vec![0.0; model.sites.len()];
        for &site in &scope.sites {
            let with = |reach| -> Vec<usize> {
                scope.lots.iter().copied().filter(|&lot| node.at(site, lot) == reach).collect()
            };
            let (must, may) = (with(Reach::Must), with(Reach::May));
            if node.opening(site) == Opening::Shut {
                continue;
            }
            if may.len() <= TRY_ALL {
                tables[site] = Some(Table::new(model, site, must, may));
            } else if let Some(shipping) = &model.sites[site].shipping
                && !must.is_empty()
            {
                least_packing[site] = shipping.cost(model.contents(&must))?;
            }
        }
        Some(Outlook { model, scope, node, tables, least_packing })
    }

    /// What the site would take at these prices if it opens; with `but`, one lot's reach is another than the node's.
    /// `None` where it can take nothing, or not what it must.
    pub fn offer(&self, site: usize, prices: &[f64], but: Option<(usize, Reach)>) -> Option<Offer> {
        if self.node.opening(site) == Opening::Shut {
            return None;
        }
        if let Some(table) = &self.tables[site] {
            return table.offer(prices, but);
        }
        let least_packing = self.least_packing[site];
        let ask = |reach| {
            let site = &self.model.sites[site];
            Ask { model: self.model, site, reach, prices, least_packing }.offer()
        };
        match but {
            None => ask(self.node.row(site)),
            Some((lot, reach)) => {
                let mut row = self.node.row(site).to_vec();
                row[lot] = reach;
                ask(&row)
            }
        }
    }
}

impl Table {
    fn new(model: &Model<'_>, site: usize, must: Vec<usize>, may: Vec<usize>) -> Self {
        let mut nets = Vec::with_capacity(1 << may.len());
        let mut lots = Vec::new();
        for set in 0..1usize << may.len() {
            lots.clone_from(&must);
            lots.extend(members(&may, set));
            nets.push(model.net(site, &lots).unwrap_or(f64::NEG_INFINITY));
        }
        Table { must, may, nets }
    }

    fn offer(&self, prices: &[f64], but: Option<(usize, Reach)>) -> Option<Offer> {
        let bit =
            but.and_then(|(lot, _)| self.may.iter().position(|&may| may == lot)).map_or(0, |at| 1 << at);
        let wanted = if but.is_some_and(|(_, reach)| reach == Reach::Must) { bit } else { 0 };
        let musts: f64 = self.must.iter().map(|&lot| prices[lot]).sum();
        // An outlet that opens gets something.
        let first = usize::from(self.must.is_empty());
        let mut best: Option<(f64, usize)> = None;
        for set in (first..self.nets.len()).filter(|set| set & bit == wanted) {
            let cost: f64 = members(&self.may, set).map(|lot| prices[lot]).sum();
            let gain = self.nets[set] - musts - cost;
            if gain > best.map_or(f64::NEG_INFINITY, |(gain, _)| gain) {
                best = Some((gain, set));
            }
        }
        let (gain, set) = best?;
        let take = self.must.iter().copied().chain(members(&self.may, set)).map(|lot| (lot, 1.0)).collect();
        Some(Offer { gain, take })
    }
}

fn members(lots: &[usize], set: usize) -> impl Iterator<Item = usize> {
    lots.iter().enumerate().filter(move |(at, _)| set >> at & 1 == 1).map(|(_, &lot)| lot)
}
