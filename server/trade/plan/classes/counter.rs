//! What one outlet would take if every amount had its price: the relaxed problem of a single outlet.
//!
//! Lots are not looked at, only amounts of their classes. At a tier, a grade's best gain rises with the size that goes
//! there along straight pieces, dearest class first; over all tiers only the corners of the concave hull count. The
//! pieces of all grades, steepest first, give the most that each level of the freight can carry: with tiers and classes
//! mixed at will this is the linear relaxation of a knapsack for each level, and the levels are tried one by one. Where
//! room counts as well as mass, a toll on volume is sought by which the level is bounded lowest (Lagrange once more, for
//! one price). Never less than any real delivery: freight is a floor, what keeps a delivery from being taken is left out
//! or has a price (`Prices`), and thresholds leave room for rounding.

mod offer;

use super::class::Classes;
use super::levels::{Level, Levels};
use super::whole::{Remembered, Whole};
use crate::plan::model::{Model, Site};
use crate::plan::node::{Node, Opening, Reach, Scope};
use crate::plan::shipping::Band;

pub(super) use offer::Desk;

/// Room for rounding where a relaxed total is held against a minimum or a maximum.
const SLACK: f64 = 1e-9;

/// Of so few lots all sums are tried, to see which tiers they can reach.
const MOST_SUMMED: usize = 9;

/// What things are priced at, in home currency.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prices {
    /// By class, per amount.
    pub class: Vec<f64>,
    /// By site: per gram that a shipment has more, or less, than the band of its densities lets its volume have.
    pub dense: Vec<f64>,
    pub loose: Vec<f64>,
    /// By site: home currency per unit of payout above the least.
    pub payout: Vec<f64>,
    /// By site: what a drive pays for having the yard open.
    pub yard: Vec<f64>,
}

/// A delivery in amounts of classes, as the relaxation sees it.
#[derive(Debug, Clone, Default)]
pub(super) struct Delivery {
    pub site: usize,
    /// In home currency: never less than the net of a real delivery of these amounts.
    pub net: f64,
    pub freight: f64,
    /// Grams, and cubic centimetres at the least.
    pub mass: f64,
    pub volume: f64,
    pub amounts: Vec<(usize, f64)>,
    /// The grades that go, by the site's index, with how much of the delivery is at which tier; 0 is not at all.
    pub tiers: Vec<(usize, usize, f64)>,
    /// By how many grams it is denser, and looser, than its band: not positive for a real one.
    pub dense: f64,
    pub loose: f64,
    /// By how much its payout is under the least.
    pub short: f64,
}

/// What is asked of an offer beyond being the best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ask {
    Anything,
    /// The grade goes at this tier; 0 is not at all.
    Tier {
        grade: usize,
        tier: usize,
    },
    AtLeast {
        class: usize,
        amount: f64,
    },
    AtMost {
        class: usize,
        amount: f64,
    },
}

#[derive(Debug)]
pub(super) struct Counter<'m> {
    pub site: &'m Site<'m>,
    index: usize,
    stalls: Vec<Stall>,
    levels: Levels,
    band: Band,
    /// By class: `None` where nothing of it may go.
    alike: Vec<Option<Alike>>,
    /// Where few lots are undecided, they are asked about instead of their classes.
    whole: Option<Whole>,
}

/// The classes of one grade, and the tiers at which it may go.
#[derive(Debug)]
struct Stall {
    grade: usize,
    classes: Vec<usize>,
    tiers: Vec<StallTier>,
    optional: bool,
}

#[derive(Debug)]
struct StallTier {
    /// Counted from 1.
    tier: usize,
    from: f64,
    below: f64,
    /// By position among the classes: the payout of an amount.
    worth: Vec<f64>,
}

#[derive(Debug, Clone, Copy)]
struct Alike {
    amount: f64,
    /// It may go nowhere else.
    must: bool,
    mass: f64,
    volume: (f64, f64),
}

impl<'m> Counter<'m> {
    /// `None` where nothing can go there, or not what must.
    pub fn new(
        model: &'m Model<'_>,
        scope: &Scope,
        node: &Node,
        classes: &Classes,
        remembered: &Remembered,
        index: usize,
    ) -> Option<Counter<'m>> {
        let site = &model.sites[index];
        if node.opening(index) == Opening::Shut {
            return None;
        }
        let mut alike = vec![None; classes.list.len()];
        let mut members: Vec<Vec<usize>> = vec![Vec::new(); site.grades.len()];
        for (class, alike) in classes.list.iter().zip(&mut alike) {
            let lot = class.lots[0];
            if node.at(index, lot) != Reach::No
                && let Some(spot) = site.spots[lot]
            {
                let must = class.decided.is_some();
                *alike = Some(Alike { amount: class.amount, must, mass: class.mass, volume: class.volume });
                members[spot.grade].push(classes.of_lot[lot]);
            }
        }
        let mut stalls = Vec::new();
        let mut payable = 0.0;
        for (grade, classes_here) in members.into_iter().enumerate() {
            let (mut fewest, most) = node.tiers(index, grade);
            if classes_here.iter().any(|&class| classes.list[class].decided.is_some()) {
                fewest = fewest.max(1);
            }
            if classes_here.is_empty() || most == 0 {
                if fewest > 0 {
                    return None;
                }
                for class in classes_here {
                    alike[class] = None;
                }
                continue;
            }
            let of = |class: usize| &classes.list[class];
            let whole: f64 = classes_here.iter().map(|&class| of(class).amount * of(class).mass).sum();
            let sums = sums(model, classes, &classes_here);
            // What must go does, and else no less than one lot.
            let first = classes_here
                .iter()
                .map(|&class| of(class).least * of(class).mass)
                .fold(f64::INFINITY, f64::min);
            let must = classes_here.iter().filter(|&&class| of(class).decided.is_some());
            let must: f64 = must.map(|&class| of(class).amount * of(class).mass).sum();
            let start = if must > 0.0 { must } else { first };
            let tiers = site.grades[grade].tiers.iter().enumerate().filter_map(|(at, tier)| {
                if at + 1 < fewest.max(1) || at + 1 > most || tier.from > whole * (1.0 + SLACK) {
                    return None;
                }
                let (mut from, mut below) =
                    (tier.from.max(start) * (1.0 - SLACK), tier.below * (1.0 + SLACK));
                if from > below {
                    return None;
                }
                if let Some(sums) = &sums {
                    let reached = sums.iter().copied().filter(|&sum| from <= sum && sum <= below);
                    let (least, most) = reached
                        .fold((f64::INFINITY, 0.0), |(least, most), sum| (sum.min(least), sum.max(most)));
                    if least > most {
                        return None;
                    }
                    (from, below) = (least * (1.0 - SLACK), most * (1.0 + SLACK));
                }
                let worth =
                    classes_here.iter().map(|&class| classes.worth(model, class, index)[at]).collect();
                Some(StallTier { tier: at + 1, from, below, worth })
            });
            let tiers: Vec<StallTier> = tiers.collect();
            if tiers.is_empty() {
                if fewest > 0 {
                    return None;
                }
                for class in classes_here {
                    alike[class] = None;
                }
                continue;
            }
            let paid = tiers.iter().map(|tier| -> f64 {
                let classes = classes_here.iter().zip(&tier.worth);
                classes.map(|(&class, worth)| (of(class).amount * worth).max(0.0)).sum()
            });
            payable += paid.fold(0.0, f64::max);
            stalls.push(Stall { grade, classes: classes_here, tiers, optional: fewest == 0 });
        }
        if stalls.is_empty() {
            return None;
        }
        if let Some(least) = site.least_payout
            && payable - site.flat_fee < least - SLACK * least.abs().max(payable)
        {
            return None;
        }
        let whole: f64 = alike.iter().flatten().map(|alike| alike.amount * alike.mass).sum();
        if whole < site.least_mass * (1.0 - SLACK) {
            return None;
        }
        let band = match &site.shipping {
            Some(shipping) if shipping.has_volume() => {
                let lots = scope.lots.iter().copied().filter(|&lot| node.at(index, lot) != Reach::No);
                let (must, may) = lots.partition::<Vec<_>, _>(|&lot| node.at(index, lot) == Reach::Must);
                let items =
                    |lots: Vec<usize>| lots.into_iter().map(|lot| &model.lots[lot]).collect::<Vec<_>>();
                Band::reachable(&items(must), items(may)).within(node.band(index))
            }
            _ => Band::ANY,
        };
        if band.loosest > band.densest {
            return None;
        }
        let (least_cost, most_cost) = node.freight(index);
        let levels = match &site.shipping {
            None => Levels::free(),
            Some(shipping) => Levels::new(shipping, band, least_cost, most_cost),
        };
        if levels.list.is_empty() {
            return None;
        }
        let whole = Whole::new(model, remembered, scope, node, classes, index);
        if whole.as_ref().is_some_and(Whole::is_empty) {
            return None;
        }
        Some(Counter { site, index, stalls, levels, band, alike, whole })
    }

    /// Whether the densities of what is shipped are bounded by prices.
    pub fn has_band(&self) -> bool {
        self.whole.is_none() && self.band != Band::ANY
    }

    /// Whether the least payout is bounded by a price.
    pub fn has_least_payout(&self) -> bool {
        self.whole.is_none() && self.site.least_payout.is_some()
    }

    pub fn band(&self) -> Band {
        self.band
    }

    pub fn takes(&self, class: usize) -> bool {
        self.alike[class].is_some()
    }

    /// The grades with the tiers at which each may go; 0 is not at all.
    pub fn tiers(&self) -> impl Iterator<Item = (usize, Vec<usize>)> {
        self.stalls.iter().map(|stall| {
            let tiers = stall.tiers.iter().map(|tier| tier.tier);
            (stall.grade, stall.optional.then_some(0).into_iter().chain(tiers).collect())
        })
    }

    /// The most that opening the outlet gains at the prices; `None` where it cannot deliver what is asked.
    pub fn gain(&self, prices: &Prices, ask: Ask, desk: &mut Desk) -> Option<f64> {
        match &self.whole {
            Some(whole) => whole.best(prices, ask).map(|(gain, _)| gain),
            None => self.end(prices, ask, desk).map(|end| end.gain),
        }
    }

    /// The best delivery at the prices, with its gain.
    pub fn best(&self, prices: &Prices, desk: &mut Desk) -> Option<(f64, Delivery)> {
        if let Some(whole) = &self.whole {
            return whole.best(prices, Ask::Anything).map(|(gain, set)| (gain, whole.delivery(set)));
        }
        let end = self.end(prices, Ask::Anything, desk)?;
        let mut delivery = self.delivery(end, end.tolls.0, prices, desk)?;
        if end.share < 1.0 {
            delivery.mix(end.share, &self.delivery(end, end.tolls.1, prices, desk)?);
        }
        Some((end.gain, delivery))
    }

    /// What is gained under each cost of packing and freight, into the desk.
    pub fn gains_by_freight(&self, prices: &Prices, desk: &mut Desk) {
        desk.under.clear();
        if self.whole.is_none() && self.end(prices, Ask::Anything, desk).is_some() {
            let levels = self.levels.list.iter().zip(&desk.least).filter(|(_, least)| least.is_finite());
            desk.under.extend(levels.map(|(level, &least)| (level.cost, least)));
        }
    }

    /// Whether what the levels say is what packing and freight cost.
    pub fn knows_freight(&self) -> bool {
        !self.levels.roomy
    }

    /// The delivery of these amounts, each grade at one tier; `None` where it could not be made.
    pub fn priced(&self, amounts: &[f64], tiers: &[(usize, usize, f64)]) -> Option<Delivery> {
        if self.whole.is_some() {
            return None;
        }
        let mut delivery = Delivery { site: self.index, ..Delivery::default() };
        let mut payout = -self.site.flat_fee;
        let (mut whole, mut volume) = (0.0, 0.0);
        for stall in &self.stalls {
            let mut mass = 0.0;
            for &class in &stall.classes {
                let alike = self.alike[class].as_ref()?;
                let amount = if alike.must { alike.amount } else { amounts[class].min(alike.amount) };
                if amount > 0.0 {
                    delivery.amounts.push((class, amount));
                    mass += amount * alike.mass;
                    volume += amount * alike.volume.0;
                }
            }
            whole += mass;
            let goes =
                stall.classes.iter().any(|&class| delivery.amounts.iter().any(|(other, _)| *other == class));
            let known =
                tiers.iter().find(|&&(grade, tier, share)| grade == stall.grade && tier > 0 && share > 0.5);
            let Some((_, tier, _)) = known.filter(|_| goes) else {
                if goes || !stall.optional {
                    return None;
                }
                delivery.tiers.push((stall.grade, 0, 1.0));
                continue;
            };
            let tier = stall.tiers.iter().find(|other| other.tier == *tier)?;
            if mass < tier.from || mass > tier.below {
                return None;
            }
            for (&class, worth) in stall.classes.iter().zip(&tier.worth) {
                let amount = delivery.amounts.iter().find(|(other, _)| *other == class);
                payout += amount.map_or(0.0, |(_, amount)| amount * worth);
            }
            delivery.tiers.push((stall.grade, tier.tier, 1.0));
        }
        if whole < self.least() {
            return None;
        }
        let fits =
            |level: &&Level| whole <= level.mass * (1.0 + SLACK) && volume <= level.volume * (1.0 + SLACK);
        delivery.freight = self.levels.list.iter().find(fits)?.cost;
        self.total(&mut delivery, payout);
        Some(delivery)
    }

    /// By how many grams an amount makes a shipment denser, and looser, than its band; not more than it does.
    fn excess(&self, alike: &Alike) -> (f64, f64) {
        let (loosest, densest) = self.band.densities();
        let dense = if densest.is_finite() { alike.mass - densest * alike.volume.1 } else { 0.0 };
        (dense, loosest * alike.volume.0 - alike.mass)
    }

    /// Works out what follows from a delivery's amounts, freight and payout.
    fn total(&self, delivery: &mut Delivery, payout: f64) {
        for &(class, amount) in &delivery.amounts {
            let Some(alike) = &self.alike[class] else { continue };
            let (dense, loose) = if self.has_band() { self.excess(alike) } else { (0.0, 0.0) };
            delivery.dense += amount * dense;
            delivery.loose += amount * loose;
            delivery.mass += amount * alike.mass;
            delivery.volume += amount * alike.volume.0;
        }
        let site = self.site;
        let home = site.slopes().map(|slope| slope * payout).fold(f64::NEG_INFINITY, f64::max);
        delivery.net = home - site.fixed - delivery.freight;
        delivery.short = site.least_payout.map_or(0.0, |least| least - payout);
    }
}

/// All masses to which lots of the classes can come; `None` where there are too many to try.
fn sums(model: &Model<'_>, classes: &Classes, among: &[usize]) -> Option<Vec<f64>> {
    let of = |class: &usize| &classes.list[*class];
    let free = || among.iter().map(of).filter(|class| class.decided.is_none());
    if free().map(|class| class.lots.len()).sum::<usize>() > MOST_SUMMED {
        return None;
    }
    let must: f64 = among
        .iter()
        .map(of)
        .filter(|class| class.decided.is_some())
        .map(|class| class.amount * class.mass)
        .sum();
    let mut sums = vec![must];
    for &lot in free().flat_map(|class| &class.lots) {
        let mass = model.lots[lot].mass;
        sums.extend_from_within(..);
        let half = sums.len() / 2;
        sums[half..].iter_mut().for_each(|sum| *sum += mass);
    }
    Some(sums)
}
