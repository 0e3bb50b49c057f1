//! The problem as the search sees it: lots and outlets by index, amounts as floats in home currency.
//!
//! `net::deliver` is the law; [`Model::net`] restates it for speed. With `x` the payout in the outlet's currency,
//! a delivery's net is `φ(x) − fixed − packing(mass, volume)`: the payout is a sum over the delivered grades (each at
//! the tier that its total reaches) less the flat fee, and φ is linear on either side of zero, because the bank's
//! spread and the insurance depend on the payout's sign.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::classes::Kinds;
use super::rounds::Rounds;
use super::shipping::Shipping;
use super::{PlanLot, Problem};
use crate::ids::GradeId;
use crate::mass::Mass;
use crate::money::PriceUnit;
use crate::net;
use crate::outlet::{Outlet, Way};
use crate::packing::Contents;
use crate::quote::{Quote, Quotes};
use crate::tour::Tours;

/// Two floats that should decide an order are only believed when they differ by more than this share of their size;
/// else the exact figures are asked.
const CLOSE: f64 = 1e-9;

#[derive(Debug)]
pub(super) struct Model<'a> {
    pub problem: &'a Problem<'a>,
    pub lots: Vec<Item>,
    pub sites: Vec<Site<'a>>,
    /// What yards save by being on one drive, exactly and as floats.
    pub tours: Tours,
    pub rounds: Rounds,
    /// Amounts that differ by less are one amount: far below a cent, well above the rounding errors of a search.
    pub tolerance: f64,
    pub kinds: Kinds,
    pub tries: Tries,
}

/// Where so few lots are undecided, all sets of them are tried. Only speed depends on it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tries {
    /// Of an outlet: then it is not relaxed.
    pub of_outlet: usize,
    /// Of a grade at an outlet that is relaxed: then no lot of it goes in part.
    pub of_grade: usize,
}

impl Default for Tries {
    fn default() -> Self {
        Tries { of_outlet: 10, of_grade: 7 }
    }
}

/// A lot. Mass in grams, volume in cubic centimetres, keep value in home currency. Where there is no mass the volume
/// is zero too: such a lot packs free of charge.
#[derive(Debug)]
pub(super) struct Item {
    pub mass: f64,
    pub volume: f64,
    pub keep: f64,
}

/// An outlet.
#[derive(Debug)]
pub(super) struct Site<'a> {
    pub outlet: &'a Outlet,
    /// Home currency that one unit of payout brings: of a payout above zero, and of one below.
    pub gain: f64,
    pub loss: f64,
    /// Trip or border, payout fee: paid once if anything goes there. Home currency.
    pub fixed: f64,
    /// In the outlet's currency.
    pub flat_fee: f64,
    pub least_payout: Option<f64>,
    /// Grams.
    pub least_mass: f64,
    pub grades: Vec<SiteGrade>,
    /// Where each lot stands in `grades`: the grade's index, and the lot's place in it.
    pub spots: Vec<Option<Spot>>,
    pub shipping: Option<Shipping>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub grade: usize,
    pub place: usize,
}

/// A grade at an outlet, with the lots of that grade.
#[derive(Debug)]
pub(super) struct SiteGrade {
    pub lots: Vec<usize>,
    /// Ascending and adjoining; below the first one the grade is not taken.
    pub tiers: Vec<Tier>,
    /// Most and least cubic centimetres per gram among the lots.
    pub looseness: (f64, f64),
}

#[derive(Debug)]
pub(super) struct Tier {
    /// Grams of the grade's total: from this on, and below that.
    pub from: f64,
    pub below: f64,
    exact_from: Mass,
    /// By the lot's place: its part of the payout after deductions, downgrades and percent fees, outlet's currency.
    pub worth: Vec<f64>,
}

impl<'a> Model<'a> {
    pub fn new(problem: &'a Problem<'a>) -> Self {
        let lots: Vec<Item> = problem.lots.iter().map(Item::new).collect();
        let sites: Vec<Site<'a>> =
            problem.outlets.iter().map(|outlet| Site::new(outlet, problem, &lots)).collect();
        let keeps: f64 = lots.iter().map(|lot| lot.keep.abs()).sum();
        let tours = Tours::new(problem.outlets, problem.roads, &problem.facts.costs);
        let rounds = Rounds::new(&tours, sites.len());
        let scale = keeps + sites.iter().map(Site::scale).sum::<f64>() + rounds.most();
        let mut model = Model {
            problem,
            lots,
            sites,
            tours,
            rounds,
            tolerance: 1e-10 + 1e-13 * scale,
            kinds: Kinds::default(),
            tries: Tries::default(),
        };
        model.kinds = Kinds::new(&model);
        model
    }

    pub fn keep_place(&self) -> usize {
        self.sites.len()
    }

    /// Net of delivering these lots together, in home currency; `None` where the outlet does not take the delivery.
    /// Nothing delivered is worth nothing.
    pub fn net(&self, site: usize, lots: &[usize]) -> Option<f64> {
        let site = &self.sites[site];
        if lots.is_empty() {
            return Some(0.0);
        }
        let mass: f64 = lots.iter().map(|&lot| self.lots[lot].mass).sum();
        if !self.reaches(mass, site.least_mass, site.outlet.terms.minimum_delivery, || self.exact_mass(lots))
        {
            return None;
        }
        let payout = self.payout(site, lots)?;
        match site.least_payout {
            Some(least) if close(payout, least) => return self.exact_net(site, lots),
            Some(least) if payout < least => return None,
            _ => {}
        }
        let packing = match &site.shipping {
            Some(shipping) => shipping.cost_of_lots(mass, || self.contents(lots))?,
            None => 0.0,
        };
        let rate = if payout < 0.0 { site.loss } else { site.gain };
        Some(payout * rate - site.fixed - packing)
    }

    /// What the outlet pays out, in its currency; `None` where it does not take one of the grades.
    fn payout(&self, site: &Site<'_>, lots: &[usize]) -> Option<f64> {
        let mut by_grade = vec![Vec::new(); site.grades.len()];
        for &lot in lots {
            by_grade[site.spots[lot]?.grade].push(lot);
        }
        let parts = by_grade.iter().enumerate().map(|(grade, lots)| self.payout_of(site, grade, lots));
        Some(parts.sum::<Option<f64>>()? - site.flat_fee)
    }

    /// The part of the payout that lots of one grade bring together; `None` where they are too little.
    pub fn payout_of(&self, site: &Site<'_>, grade: usize, lots: &[usize]) -> Option<f64> {
        if lots.is_empty() {
            return Some(0.0);
        }
        let tier = &site.grades[grade].tiers[self.tier_of(site, grade, lots)?];
        Some(lots.iter().filter_map(|&lot| site.spots[lot]).map(|spot| tier.worth[spot.place]).sum())
    }

    /// The tier that lots of one grade reach together; `None` where they are none or too little.
    pub fn tier_of(&self, site: &Site<'_>, grade: usize, lots: &[usize]) -> Option<usize> {
        if lots.is_empty() {
            return None;
        }
        let mass = lots.iter().map(|&lot| self.lots[lot].mass).sum();
        let reached = |tier: &Tier| self.reaches(mass, tier.from, tier.exact_from, || self.exact_mass(lots));
        site.grades[grade].tiers.iter().rposition(reached)
    }

    fn reaches(&self, mass: f64, least: f64, exact_least: Mass, exact: impl Fn() -> Mass) -> bool {
        if least <= 0.0 {
            return true;
        }
        if close(mass, least) { exact() >= exact_least } else { mass > least }
    }

    fn exact_mass(&self, lots: &[usize]) -> Mass {
        lots.iter().map(|&lot| self.problem.lots[lot].load.mass).sum()
    }

    pub fn contents(&self, lots: &[usize]) -> Contents {
        let volume = lots.iter().map(|&lot| self.problem.lots[lot].load.volume).sum();
        Contents { mass: self.exact_mass(lots), volume }
    }

    fn exact_net(&self, site: &Site<'_>, lots: &[usize]) -> Option<f64> {
        self.deliver(site, lots).ok().map(|ladder| float(ladder.net))
    }

    pub fn deliver(&self, site: &Site<'_>, lots: &[usize]) -> Result<net::Ladder, net::Closed> {
        let loads: Vec<net::Load> = lots.iter().map(|&lot| self.problem.lots[lot].load.clone()).collect();
        net::deliver(site.outlet, &loads, self.problem.facts)
    }
}

impl Item {
    fn new(lot: &PlanLot) -> Self {
        let mass = float(lot.load.mass.grams());
        let volume = if mass > 0.0 { float(lot.load.volume.cm3()) } else { 0.0 };
        Item { mass, volume, keep: float(lot.keep) }
    }
}

impl<'a> Site<'a> {
    /// An outlet without an exchange rate takes nothing.
    fn new(outlet: &'a Outlet, problem: &'a Problem<'a>, lots: &[Item]) -> Self {
        let (terms, facts) = (&outlet.terms, problem.facts);
        let costs = &facts.costs;
        let mid = facts.rates.mid(outlet.currency, costs.home, facts.today);
        let rate = mid.map_or(0.0, |mid| float(mid.rate));
        let spread = if outlet.currency == costs.home { 0.0 } else { float(terms.exchange_spread.get()) };
        let waiting = float(costs.capital_per_year.get() * outlet.days_to_pay()) / 365.0;
        let (insurance, once) = match &outlet.way {
            Way::Drive(drive) => (0.0, drive.cost(costs)),
            Way::Post(post) => (float(post.insurance.get()), post.border),
        };
        let shipping = match &outlet.way {
            Way::Drive(_) => None,
            Way::Post(post) => Shipping::new(post, facts),
        };
        let reachable = mid.is_some() && (shipping.is_some() || matches!(outlet.way, Way::Drive(_)));
        let grades = if reachable { grades_at(outlet, problem, lots) } else { Vec::new() };
        let mut spots = vec![None; lots.len()];
        for (index, grade) in grades.iter().enumerate() {
            for (place, &lot) in grade.lots.iter().enumerate() {
                spots[lot] = Some(Spot { grade: index, place });
            }
        }
        let mut site = Site {
            outlet,
            gain: rate * ((1.0 - waiting) * (1.0 - spread) - insurance),
            loss: rate * (1.0 - waiting) * (1.0 + spread),
            fixed: float(once) + float(terms.payout_fee) * (1.0 - waiting),
            flat_fee: float(terms.flat_fee),
            // No minimum is no condition: a delivery may cost more than it brings.
            least_payout: (!terms.minimum_payout.is_zero()).then(|| float(terms.minimum_payout)),
            least_mass: float(terms.minimum_delivery.grams()),
            grades,
            spots,
            shipping: None,
        };
        let taken: Vec<&Item> =
            lots.iter().zip(&site.spots).filter_map(|(lot, at)| at.map(|_| lot)).collect();
        site.shipping = shipping.map(|shipping| shipping.reaching(&taken));
        site
    }

    /// The slopes that bound φ from above as straight lines through zero. Where φ is concave (nearly always: a
    /// spread and an insurance only take away) the upper one alone is enough.
    pub fn slopes(&self) -> impl Iterator<Item = f64> {
        let convex = self.gain > self.loss;
        [Some(self.gain), convex.then_some(self.loss)].into_iter().flatten()
    }

    pub fn takes(&self, lot: usize) -> bool {
        self.spots[lot].is_some()
    }

    /// What the lot fetches here at the best tier, in home currency, shared costs aside.
    pub fn highest(&self, lot: usize) -> Option<f64> {
        let spot = self.spots[lot]?;
        let worths = self.grades[spot.grade].tiers.iter().map(|tier| self.gain * tier.worth[spot.place]);
        worths.reduce(f64::max)
    }

    /// All amounts in play at this outlet, in home currency.
    pub fn scale(&self) -> f64 {
        let slope = self.gain.abs().max(self.loss.abs());
        let worths = self.grades.iter().flat_map(|grade| &grade.tiers).flat_map(|tier| &tier.worth);
        self.fixed.abs() + slope * (self.flat_fee.abs() + worths.map(|worth| worth.abs()).sum::<f64>())
    }
}

fn grades_at(outlet: &Outlet, problem: &Problem<'_>, items: &[Item]) -> Vec<SiteGrade> {
    let mut by_grade: BTreeMap<&GradeId, Vec<usize>> = BTreeMap::new();
    for (lot, plan_lot) in problem.lots.iter().enumerate() {
        if !plan_lot.load.mass.is_negative() {
            by_grade.entry(&plan_lot.load.grade).or_default().push(lot);
        }
    }
    let priced = by_grade.into_iter().filter_map(|(grade, lots)| Some((outlet.quotes.get(grade)?, lots)));
    priced.map(|(quotes, lots)| SiteGrade::new(quotes, lots, outlet, problem, items)).collect()
}

impl SiteGrade {
    fn new(
        quotes: &Quotes,
        lots: Vec<usize>,
        outlet: &Outlet,
        problem: &Problem<'_>,
        items: &[Item],
    ) -> Self {
        let starts = quotes.tiers().iter().map(|quote| quote.from.max(outlet.terms.minimum_grade));
        let ends = starts.clone().skip(1).map(Some).chain([None]);
        let mut tiers = Vec::new();
        for ((quote, from), end) in quotes.tiers().iter().zip(starts).zip(ends) {
            // Tiers that end before the grade's minimum are never reached.
            if end != Some(from) {
                let worth = lots.iter().map(|&lot| worth(&problem.lots[lot], quote, outlet)).collect();
                let below = end.map_or(f64::INFINITY, |end| float(end.grams()));
                tiers.push(Tier { from: float(from.grams()), below, exact_from: from, worth });
            }
        }
        let massive = lots.iter().map(|&lot| &items[lot]).filter(|item| item.mass > 0.0);
        let ratios = massive.map(|item| item.volume / item.mass);
        let looseness = ratios.fold((0.0, f64::INFINITY), |(most, least): (f64, f64), ratio| {
            (most.max(ratio), least.min(ratio))
        });
        SiteGrade { lots, tiers, looseness }
    }
}

/// A lot's part of the payout at this quote, in the outlet's currency.
fn worth(lot: &PlanLot, quote: &Quote, outlet: &Outlet) -> f64 {
    let (load, terms) = (&lot.load, &outlet.terms);
    let amount = float(quote.price.of(load.mass, load.pieces).amount);
    let weighed = match quote.price.per {
        PriceUnit::Each => 1.0,
        PriceUnit::Mass(_) => float(terms.weight_deduction.rest() * outlet.paid_weight(&load.grade)),
    };
    let kept = if amount > 0.0 {
        let lost = outlet.lost_to_downgrades(&load.grade);
        float((Decimal::ONE - lost) * terms.percent_fee.rest())
    } else {
        1.0
    };
    amount * weighed * kept
}

pub(super) fn close(one: f64, other: f64) -> bool {
    (one - other).abs() <= CLOSE * one.abs().max(other.abs())
}

/// The nearest float: every `Decimal` has one.
pub(super) fn float(exact: Decimal) -> f64 {
    exact.to_f64().unwrap_or(0.0)
}
