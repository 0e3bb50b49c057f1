//! What yards save by being on one drive, as the search sees it.
//!
//! Deliveries pay their trips one by one; a plan then gets back what one drive to all of its yards saves (`tour`). How much
//! depends on the whole set, so no yard can be told its part. Each gets a price instead: a yard that opens is paid it, and the
//! drive, which chooses its yards by itself, pays it. At any prices `Σ what opening gains, price included + max over sets of
//! (what the set saves − its prices)` is at least what the plan gets, since the set that is open is one of those tried; and
//! once it is decided which yards open, both sides are the same. More yards never save less, so no price is below nothing.

use super::node::{Node, Opening, Scope};
use crate::tour::Tours;

/// Yards that can be on one drive.
#[derive(Debug)]
pub(super) struct Round {
    /// By position, the site.
    pub sites: Vec<usize>,
    /// By set of positions, in home currency.
    saved: Vec<f64>,
}

/// The set of yards that a drive would choose, with what it then saves beyond their prices.
#[derive(Debug, Clone, Copy)]
pub(super) struct Chosen {
    pub round: usize,
    pub set: usize,
    pub gain: f64,
}

#[derive(Debug, Default)]
pub(super) struct Rounds {
    pub list: Vec<Round>,
    /// By site, its round and position.
    of_site: Vec<Option<(usize, usize)>>,
}

impl Rounds {
    pub fn new(tours: &Tours, sites: usize) -> Rounds {
        let mut rounds = Rounds { list: Vec::new(), of_site: vec![None; sites] };
        for (index, group) in tours.groups().iter().enumerate() {
            let sets = 0..1usize << group.yards.len();
            let saved = sets.map(|set| super::model::float(group.saved(set))).collect();
            for (position, &site) in group.yards.iter().enumerate() {
                rounds.of_site[site] = Some((index, position));
            }
            rounds.list.push(Round { sites: group.yards.clone(), saved });
        }
        rounds
    }

    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    pub fn has(&self, site: usize) -> bool {
        self.of_site.get(site).is_some_and(Option::is_some)
    }

    /// What one drive to the yards that are open saves.
    pub fn saved(&self, open: impl Fn(usize) -> bool) -> f64 {
        self.list.iter().map(|round| round.saved[round.set(&open)]).sum()
    }

    /// What each drive saves at most beyond the prices, by site, of its yards; those that can deliver may open.
    pub fn best(
        &self,
        scope: &Scope,
        node: &Node,
        prices: &[f64],
        delivers: impl Fn(usize) -> bool,
    ) -> Vec<Chosen> {
        let best = |(index, round): (usize, &Round)| {
            let with = |opening| {
                let so =
                    |site| scope.sites.contains(&site) && delivers(site) && node.opening(site) == opening;
                round.set(so)
            };
            let (must, may) = (with(Opening::Open), with(Opening::Undecided));
            let cost = |set: usize| -> f64 {
                let sites = round.sites.iter().enumerate().filter(|(at, _)| set >> at & 1 == 1);
                sites.map(|(_, &site)| prices[site]).sum()
            };
            let mut best = Chosen { round: index, set: must, gain: f64::NEG_INFINITY };
            // All sets of those that may open, with those that do.
            let mut more = may;
            loop {
                let set = must | more;
                let gain = round.saved[set] - cost(set);
                if gain > best.gain {
                    best = Chosen { set, gain, ..best };
                }
                if more == 0 {
                    return best;
                }
                more = (more - 1) & may;
            }
        };
        self.list.iter().enumerate().map(best).collect()
    }

    /// What all drives save: no less than any.
    pub fn most(&self) -> f64 {
        self.list.iter().filter_map(|round| round.saved.last()).sum()
    }
}

impl Round {
    pub fn set(&self, open: impl Fn(usize) -> bool) -> usize {
        self.sites.iter().enumerate().filter(|(_, site)| open(**site)).map(|(at, _)| 1 << at).sum()
    }

    pub fn saved(&self, set: usize) -> f64 {
        self.saved[set]
    }

    pub fn members(&self, set: usize) -> impl Iterator<Item = usize> {
        self.sites.iter().enumerate().filter(move |(at, _)| set >> at & 1 == 1).map(|(_, &site)| site)
    }
}
