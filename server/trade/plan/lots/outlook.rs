//! A node made ready to be asked for offers.

use super::dual::Prices;
use super::offer::{Offer, Relaxed};
use super::sets::{Brings, Sets};
use crate::plan::model::Model;
use crate::plan::node::{Node, Opening, Reach, Scope};
use crate::plan::shipping::{Band, Measure};

#[derive(Debug)]
pub(in crate::plan) struct Outlook<'n> {
    pub model: &'n Model<'n>,
    pub scope: &'n Scope,
    pub node: &'n Node,
    /// By site.
    counters: Vec<Counter<'n>>,
}

#[derive(Debug)]
enum Counter<'n> {
    Shut,
    /// All sets of what may go there, with their exact nets.
    Whole(Sets),
    Relaxed(Relaxed<'n>),
}

impl<'n> Outlook<'n> {
    /// `None` where an outlet cannot take what must go there.
    pub fn new(model: &'n Model<'n>, scope: &'n Scope, node: &'n Node) -> Option<Self> {
        let mut counters: Vec<Counter<'n>> = model.sites.iter().map(|_| Counter::Shut).collect();
        for &site in scope.sites.iter().filter(|&&site| node.opening(site) != Opening::Shut) {
            let with = |reach| -> Vec<usize> {
                scope.lots.iter().copied().filter(|&lot| node.at(site, lot) == reach).collect()
            };
            let (must, may) = (with(Reach::Must), with(Reach::May));
            counters[site] = if may.len() <= model.tries.of_outlet {
                Counter::Whole(whole(model, node, site, must, may))
            } else {
                let items = |lots: &[usize]| lots.iter().map(|&lot| &model.lots[lot]).collect::<Vec<_>>();
                let band = Band::reachable(&items(&must), items(&may)).within(node.band(site));
                match Relaxed::new(model, site, node.row(site), band) {
                    Some(relaxed) => Counter::Relaxed(relaxed),
                    None if node.opening(site) == Opening::Undecided => Counter::Shut,
                    None => return None,
                }
            };
        }
        Some(Outlook { model, scope, node, counters })
    }

    /// What the site would take at these prices if it opens; with `but`, one lot that may go must go, or must not.
    /// `None` where it can take nothing, or not what it must. If not `thorough`, the offer may be better than need be.
    pub fn offer(
        &self,
        site: usize,
        prices: &Prices,
        but: Option<(usize, Reach)>,
        thorough: bool,
    ) -> Option<Offer> {
        let mut offer = match &self.counters[site] {
            Counter::Shut => return None,
            Counter::Relaxed(relaxed) => relaxed.offer(prices, but, thorough)?,
            Counter::Whole(sets) => {
                let gains = sets.gains(&prices.lot, Measure::NOTHING, 1.0, but);
                let (gain, set) = gains.reduce(|best, next| if next.0 > best.0 { next } else { best })?;
                Offer { gain, take: sets.lots(set).map(|lot| (lot, 1.0)).collect() }
            }
        };
        offer.gain += prices.yard[site];
        Some(offer)
    }

    /// For a site whose shipment is relaxed: the band of its densities, and the grams of a typical lot.
    pub fn band(&self, site: usize) -> Option<(Band, f64)> {
        let shipping = self.model.sites[site].shipping.as_ref()?;
        match &self.counters[site] {
            Counter::Relaxed(relaxed) => Some((relaxed.band(), shipping.typical)),
            Counter::Shut | Counter::Whole(_) => None,
        }
    }

    /// By how much the cost of shipping so much there is bounded too low; nothing where it is not relaxed.
    pub fn doubt(&self, site: usize, mass: f64, volume: f64) -> f64 {
        match (&self.counters[site], &self.model.sites[site].shipping) {
            (Counter::Relaxed(relaxed), Some(shipping)) => {
                shipping.cost_of(mass, volume).map_or(0.0, |cost| cost - relaxed.floor_at(mass, volume))
            }
            _ => 0.0,
        }
    }
}

fn whole(model: &Model<'_>, node: &Node, site: usize, must: Vec<usize>, may: Vec<usize>) -> Sets {
    let shipped = model.sites[site].shipping.is_some();
    Sets::new(must, may, |lots| {
        let mass = lots.iter().map(|&lot| model.lots[lot].mass).sum();
        let volume = lots.iter().map(|&lot| model.lots[lot].volume).sum();
        if shipped && !node.band(site).holds(mass, volume) {
            return None;
        }
        Some(Brings { value: model.net(site, lots)?, mass, volume })
    })
}
