//! A node made ready to be asked for offers.

use super::model::Model;
use super::node::{Node, Opening, Reach, Scope};
use super::offer::{Offer, Relaxed};
use super::sets::{Brings, Sets};

/// An outlet with at most this many undecided lots is not relaxed: every set of them is tried.
const TRY_ALL: usize = 8;

#[derive(Debug)]
pub(super) struct Outlook<'n> {
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
            counters[site] = if may.len() <= TRY_ALL {
                let brings = |lots: &[usize]| {
                    let value = model.net(site, lots)?;
                    Some(Brings { value, mass: 0.0, volume: 0.0 })
                };
                Counter::Whole(Sets::new(must, may, brings))
            } else {
                let least_packing = match &model.sites[site].shipping {
                    Some(shipping) if !must.is_empty() => shipping.cost(model.contents(&must))?,
                    _ => 0.0,
                };
                Counter::Relaxed(Relaxed::new(model, site, node.row(site), least_packing))
            };
        }
        Some(Outlook { model, scope, node, counters })
    }

    /// What the site would take at these prices if it opens; with `but`, one lot that may go must go, or must not.
    /// `None` where it can take nothing, or not what it must.
    pub fn offer(&self, site: usize, prices: &[f64], but: Option<(usize, Reach)>) -> Option<Offer> {
        match &self.counters[site] {
            Counter::Shut => None,
            Counter::Relaxed(relaxed) => relaxed.offer(prices, but),
            Counter::Whole(sets) => {
                let gains = sets.gains(prices, 1.0, but);
                let (gain, set) = gains.reduce(|best, next| if next.0 > best.0 { next } else { best })?;
                Some(Offer { gain, take: sets.lots(set).map(|lot| (lot, 1.0)).collect() })
            }
        }
    }
}
