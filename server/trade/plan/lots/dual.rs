//! The bound: every lot gets a price, and each outlet then chooses alone.
//!
//! Relaxing "each lot goes to one place" with a price per lot (Lagrange multipliers) leaves one small problem per
//! outlet. For any prices, `Σ prices + Σ what each outlet would gain at them` is at least the optimum; good prices
//! make it nearly equal. They are sought by subgradient steps: a lot that no outlet takes gets cheaper, one that
//! several take gets dearer.

use super::offer::Offer;
use super::outlook::Outlook;
use crate::plan::node::{Node, Opening, Reach, Scope};
use crate::plan::rounds::Chosen;
use crate::plan::shipping::{Band, Measure};

/// After so many steps without a better bound the step is halved.
const PATIENCE: u32 = 4;

/// Steps shorter than this share of the first are not worth making.
pub(super) const SHORTEST: f64 = 1e-3;

/// Every so many steps all bounds of an outlet are tried, not only the one that was best lately.
const THOROUGH: u32 = 8;

/// How much of the last direction goes on in the next.
const INERTIA: f64 = 0.3;

/// How much of each new choice enters the running mean.
const FRESH: f64 = 0.15;

/// What things are priced at, in home currency.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::plan) struct Prices {
    /// By lot.
    pub lot: Vec<f64>,
    /// By site: per gram that a shipment has more, or less, than the band of its densities lets its volume have.
    pub too_dense: Vec<f64>,
    pub too_loose: Vec<f64>,
    /// By site: what a drive pays for having the yard open.
    pub yard: Vec<f64>,
}

impl Prices {
    pub fn new(lot: Vec<f64>, sites: usize) -> Self {
        Prices { lot, too_dense: vec![0.0; sites], too_loose: vec![0.0; sites], yard: vec![0.0; sites] }
    }

    /// What the band costs per gram and per cubic centimetre: nothing on balance for what is inside it, at most.
    pub fn toll(&self, site: usize, band: Band) -> Measure {
        let (loosest, densest) = band.densities();
        let mut toll = Measure { mass: 0.0, volume: 0.0 };
        if densest.is_finite() {
            toll.mass += self.too_dense[site];
            toll.volume -= self.too_dense[site] * densest;
        }
        toll.mass -= self.too_loose[site];
        toll.volume += self.too_loose[site] * loosest;
        toll
    }
}

/// The best prices found, and what they say.
#[derive(Debug, Clone)]
pub(in crate::plan) struct Dual {
    /// No plan of the node is worth more.
    pub bound: f64,
    pub prices: Prices,
    /// By site: its offer at these prices.
    pub offers: Vec<Option<Offer>>,
    /// By site and lot: how often lately the site took the lot. Near a whole plan, this is the plan.
    pub mean: Vec<f64>,
    /// By site: how often lately it opened.
    pub mean_open: Vec<f64>,
    /// How long the last steps were, as a share of what would reach the target at once.
    pub length: f64,
}

struct Reading {
    bound: f64,
    offers: Vec<Option<Offer>>,
    drives: Vec<Chosen>,
}

/// Looks for good prices from `prices` on. Stops early when the bound is not above `enough`. `None` where the node
/// holds no plan at all.
pub(in crate::plan) fn descend(
    outlook: &Outlook<'_>,
    mut prices: Prices,
    mut length: f64,
    enough: f64,
    steps: u32,
) -> Option<Dual> {
    let (scope, node) = (outlook.scope, outlook.node);
    let count = outlook.model.lots.len();
    let sites = outlook.model.sites.len();
    settle_prices(outlook, &mut prices);
    let first = read(outlook, &prices, true)?;
    let mut mean = vec![0.0; count * sites];
    let mut mean_open = vec![0.0; sites];
    blend(outlook, &first, 1.0, &mut mean, &mut mean_open);
    let mut best =
        Dual { bound: first.bound, prices: prices.clone(), offers: first.offers, mean, mean_open, length };

    let loose: Vec<usize> = scope.lots.iter().copied().filter(|&lot| node.place_of(lot).is_none()).collect();
    let mut now = best.offers.clone();
    let mut drives = first.drives;
    let mut best_drives = drives.clone();
    let mut stale = 0;
    let mut direction = Prices::new(vec![0.0; count], sites);
    for step in 1..=steps {
        if best.bound <= enough || length < SHORTEST {
            break;
        }
        let norm = turn(outlook, &loose, &now, &drives, &prices, &mut direction);
        if norm == 0.0 {
            break;
        }
        // Where no plan is known, aim at a little less than the bound.
        let target = if enough.is_finite() { enough } else { best.bound - 0.05 * best.bound.abs() - 1.0 };
        let stride = length * (best.bound - target).max(0.0) / norm;
        go(outlook, &loose, stride, &direction, &mut prices);
        settle_prices(outlook, &mut prices);
        let reading = read(outlook, &prices, step % THOROUGH == 0)?;
        blend(outlook, &reading, FRESH, &mut best.mean, &mut best.mean_open);
        now.clone_from(&reading.offers);
        drives.clone_from(&reading.drives);
        if reading.bound < best.bound {
            let gained = best.bound - reading.bound;
            stale = if gained > 1e-3 * (best.bound - target) { 0 } else { stale + 1 };
            best.bound = reading.bound;
            best.prices.clone_from(&prices);
            best.offers = reading.offers;
            best_drives = reading.drives;
        } else {
            stale += 1;
        }
        if stale >= PATIENCE {
            (length, stale) = (length / 2.0, 0);
            best.length = length;
            prices.clone_from(&best.prices);
            now.clone_from(&best.offers);
            drives.clone_from(&best_drives);
            direction = Prices::new(vec![0.0; count], sites);
        }
    }
    let last = read(outlook, &best.prices, true)?;
    if last.bound < best.bound {
        (best.bound, best.offers) = (last.bound, last.offers);
    }
    Some(best)
}

/// Turns the direction toward the subgradient at these offers, and gives its squared length.
fn turn(
    outlook: &Outlook<'_>,
    loose: &[usize],
    offers: &[Option<Offer>],
    drives: &[Chosen],
    prices: &Prices,
    direction: &mut Prices,
) -> f64 {
    let model = outlook.model;
    let mut demand = vec![0.0; model.lots.len()];
    let mut norm = 0.0;
    for &site in &outlook.scope.sites {
        let offer = taken(outlook.node, site, &offers[site]);
        for &(lot, share) in offer.iter().flat_map(|offer| &offer.take) {
            demand[lot] += share;
        }
        let Some((band, typical)) = outlook.band(site) else { continue };
        let (loosest, densest) = band.densities();
        let take = || offer.iter().flat_map(|offer| &offer.take);
        let mass: f64 = take().map(|&(lot, share)| share * model.lots[lot].mass).sum();
        let volume: f64 = take().map(|&(lot, share)| share * model.lots[lot].volume).sum();
        let over = if densest.is_finite() { mass - densest * volume } else { 0.0 };
        let under = loosest * volume - mass;
        // In typical lots, so that a step weighs densities and lots alike.
        for (excess, toll, turned) in [
            (over / typical, prices.too_dense[site], &mut direction.too_dense[site]),
            (under / typical, prices.too_loose[site], &mut direction.too_loose[site]),
        ] {
            *turned = INERTIA * *turned - excess;
            if toll <= 0.0 && *turned > 0.0 {
                *turned = 0.0;
            }
            norm += *turned * *turned;
        }
    }
    // How often a yard opens, less how often a drive has it.
    for chosen in drives {
        let round = &model.rounds.list[chosen.round];
        for &site in round.sites.iter().filter(|site| outlook.scope.sites.contains(site)) {
            let opens = outlook.node.opening(site) != Opening::Shut
                && taken(outlook.node, site, &offers[site]).is_some();
            let driven = round.members(chosen.set).any(|other| other == site);
            let turned = &mut direction.yard[site];
            *turned = INERTIA * *turned + f64::from(i8::from(opens) - i8::from(driven));
            if prices.yard[site] <= 0.0 && *turned > 0.0 {
                *turned = 0.0;
            }
            norm += *turned * *turned;
        }
    }
    for &lot in loose {
        let turned = &mut direction.lot[lot];
        *turned = INERTIA * *turned + (1.0 - demand[lot]);
        let keepable = outlook.node.at(model.keep_place(), lot) != Reach::No;
        if keepable && prices.lot[lot] <= model.lots[lot].keep && *turned > 0.0 {
            *turned = 0.0;
        }
        norm += *turned * *turned;
    }
    norm
}

fn go(outlook: &Outlook<'_>, loose: &[usize], stride: f64, direction: &Prices, prices: &mut Prices) {
    for &lot in loose {
        prices.lot[lot] -= stride * direction.lot[lot];
    }
    for &site in &outlook.scope.sites {
        prices.yard[site] = (prices.yard[site] - stride * direction.yard[site]).max(0.0);
        if let Some((_, typical)) = outlook.band(site) {
            let step = stride / typical;
            prices.too_dense[site] = (prices.too_dense[site] - step * direction.too_dense[site]).max(0.0);
            prices.too_loose[site] = (prices.too_loose[site] - step * direction.too_loose[site]).max(0.0);
        }
    }
}

/// No lot is priced below its keep value where it may be kept, and a lot that must be kept exactly at it: so keeping
/// gains nothing at any prices.
fn settle_prices(outlook: &Outlook<'_>, prices: &mut Prices) {
    let keep_place = outlook.model.keep_place();
    for &lot in &outlook.scope.lots {
        let keep = outlook.model.lots[lot].keep;
        match outlook.node.at(keep_place, lot) {
            Reach::No => {}
            Reach::May => prices.lot[lot] = prices.lot[lot].max(keep),
            Reach::Must => prices.lot[lot] = keep,
        }
    }
}

fn read(outlook: &Outlook<'_>, prices: &Prices, thorough: bool) -> Option<Reading> {
    let mut offers = vec![None; outlook.model.sites.len()];
    let mut bound: f64 = outlook.scope.lots.iter().map(|&lot| prices.lot[lot]).sum();
    for &site in &outlook.scope.sites {
        offers[site] = outlook.offer(site, prices, None, thorough);
        bound += value(outlook.node, site, &offers[site])?;
    }
    let drives =
        outlook.model.rounds.best(outlook.scope, outlook.node, &prices.yard, |site| offers[site].is_some());
    bound += drives.iter().map(|chosen| chosen.gain).sum::<f64>();
    Some(Reading { bound, offers, drives })
}

/// What the site adds to the bound: its offer, or nothing if it may stay shut. `None` where it must open and cannot.
fn value(node: &Node, site: usize, offer: &Option<Offer>) -> Option<f64> {
    match node.opening(site) {
        Opening::Shut => Some(0.0),
        Opening::Undecided => Some(gain(offer.as_ref()).max(0.0)),
        Opening::Open => offer.as_ref().map(|offer| offer.gain),
    }
}

fn taken<'o>(node: &Node, site: usize, offer: &'o Option<Offer>) -> Option<&'o Offer> {
    let open = node.opening(site) == Opening::Open;
    offer.as_ref().filter(|offer| open || offer.gain > 0.0)
}

fn blend(outlook: &Outlook<'_>, reading: &Reading, fresh: f64, mean: &mut [f64], mean_open: &mut [f64]) {
    let count = outlook.model.lots.len();
    for &site in &outlook.scope.sites {
        let row = &mut mean[site * count..(site + 1) * count];
        row.iter_mut().for_each(|share| *share *= 1.0 - fresh);
        mean_open[site] *= 1.0 - fresh;
        if let Some(offer) = taken(outlook.node, site, &reading.offers[site]) {
            mean_open[site] += fresh;
            for &(lot, share) in &offer.take {
                row[lot] += fresh * share;
            }
        }
    }
}

/// What the bound becomes when one thing more is decided.
#[derive(Debug, Clone)]
pub(in crate::plan) struct Reduced {
    count: usize,
    /// By place and lot: the bound if the lot goes to the place, and if it does not.
    pub with: Vec<f64>,
    pub without: Vec<f64>,
    /// By site: the bound if it opens, and if it stays shut.
    pub open: Vec<f64>,
    pub shut: Vec<f64>,
}

impl Reduced {
    pub fn of(outlook: &Outlook<'_>, dual: &Dual) -> Self {
        let (model, scope, node) = (outlook.model, outlook.scope, outlook.node);
        let count = model.lots.len();
        let keep_place = model.keep_place();
        let mut reduced = Reduced {
            count,
            with: vec![dual.bound; count * node.places()],
            without: vec![dual.bound; count * node.places()],
            open: vec![dual.bound; model.sites.len()],
            shut: vec![dual.bound; model.sites.len()],
        };
        // What each outlet would lose by being without the lot; infinite where it then cannot deliver at all.
        let mut loss = vec![0.0; count * node.places()];
        for &site in &scope.sites {
            let now = value(node, site, &dual.offers[site]).unwrap_or(f64::NEG_INFINITY);
            reduced.open[site] += gain(dual.offers[site].as_ref()) - now;
            reduced.shut[site] -= now;
            for &lot in scope.lots.iter().filter(|&&lot| node.at(site, lot) == Reach::May) {
                let at = site * count + lot;
                let share = taken(node, site, &dual.offers[site]).map_or(0.0, |offer| offer.share(lot));
                let but = |reach| outlook.offer(site, &dual.prices, Some((lot, reach)), false);
                if share < 1.0 {
                    reduced.with[at] += gain(but(Reach::Must).as_ref()) - now;
                }
                if share > 0.0 {
                    loss[at] = now - value(node, site, &but(Reach::No)).unwrap_or(f64::NEG_INFINITY);
                    reduced.without[at] -= loss[at];
                }
            }
        }
        for &lot in &scope.lots {
            reduced.with[keep_place * count + lot] += model.lots[lot].keep - dual.prices.lot[lot];
            // Wherever the lot goes, the other outlets are without it.
            for place in scope.sites.iter().copied().chain([keep_place]) {
                let others = scope.sites.iter().filter(|&&site| site != place);
                reduced.with[place * count + lot] -= others.map(|site| loss[site * count + lot]).sum::<f64>();
            }
        }
        reduced
    }

    /// No plan that does not have the lot at the place is worth more.
    pub fn elsewhere(&self, place: usize, lot: usize) -> f64 {
        self.without[place * self.count + lot]
    }

    /// Strikes out what cannot be part of a plan worth more than `enough`, and fixes what must be. Counts the changes.
    pub fn fix(&self, node: &mut Node, scope: &Scope, enough: f64) -> usize {
        let mut changes = 0;
        for place in 0..node.places() {
            for &lot in scope.lots.iter() {
                let at = place * self.count + lot;
                let reach = match node.at(place, lot) {
                    Reach::May if self.with[at] <= enough => Reach::No,
                    Reach::May if self.without[at] <= enough => Reach::Must,
                    _ => continue,
                };
                node.set(place, lot, reach);
                changes += 1;
            }
        }
        for &site in &scope.sites {
            if node.opening(site) != Opening::Undecided {
                continue;
            }
            if self.open[site] <= enough {
                node.decide(site, Opening::Shut);
                changes += 1;
            } else if self.shut[site] <= enough {
                node.decide(site, Opening::Open);
                changes += 1;
            }
        }
        changes
    }
}

fn gain(offer: Option<&Offer>) -> f64 {
    offer.map_or(f64::NEG_INFINITY, |offer| offer.gain)
}
