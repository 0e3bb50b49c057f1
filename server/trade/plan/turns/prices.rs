//! At which price of a grade the plan turns.

use rust_decimal::{Decimal, RoundingStrategy, dec};

use super::{Ask, Base, Miss, Other, Turns};
use crate::ids::{GradeId, OutletId};
use crate::money::{Price, PriceUnit};
use crate::net::{Ladder, Load, deliver};
use crate::outlet::Outlet;
use crate::plan::model::{Site, float};
use crate::plan::node::Reach;
use crate::plan::{Place, Planner, Problem, lots_at};
use crate::quote::{Quote, Quotes};

/// Plans that differ by less are worth the same.
const SAME: Decimal = dec!(0.000001);

/// Steps of Newton's method; one or two lead to the turn nearly always.
const STEPS: u32 = 16;

/// Prices are told to so many decimals.
const PLACES: u32 = 4;

/// So many grades are looked at, those that are nearest to going elsewhere at a guess.
const NEAREST: usize = 6;

/// Whether a price goes up or down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    Up,
    Down,
}

/// The price of a grade at an outlet at which another plan is worth as much as this one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceTurn {
    pub grade: GradeId,
    pub outlet: OutletId,
    pub way: Way,
    /// What the sheet says, at the tier that counts.
    pub now: Price,
    /// Where the plan turns, all tiers of the grade moved by as much: rounded away from what it is now.
    pub then: Price,
    /// Where most of the grade goes then.
    pub to: Place,
}

/// Fills in the turns of the prices of the grades that are priced by mass and nearest to turning, at a guess: how far the
/// price may fall where the grade goes, and how far it has to rise at the outlet that is nearest to getting it.
pub(super) fn turns(base: &Base<'_, '_>, others: &[Option<(Other, Decimal)>], turns: &mut Turns) {
    let stocks = stocks(base);
    // A grade that nobody else takes comes last.
    let share = |rival: Option<(usize, f64)>| rival.map_or(f64::INFINITY, |(_, share)| share);
    let mut near: Vec<(&Stock<'_>, Option<(usize, f64)>)> =
        stocks.iter().map(|stock| (stock, stock.rival(base, others))).collect();
    near.sort_by(|a, b| share(a.1).total_cmp(&share(b.1)));
    for (stock, rival) in near.into_iter().take(NEAREST) {
        if base.stopped() {
            turns.complete = false;
            return;
        }
        let mut seek = |found: Result<PriceTurn, Miss>| match found {
            Ok(turn) => turns.prices.push(turn),
            Err(Miss::Unfinished) => turns.complete = false,
            Err(Miss::None) => {}
        };
        if stock.place < base.planner.model.sites.len() {
            seek(stock.falls(base));
        }
        if let Some((site, share)) = rival {
            seek(stock.rises(base, site, share));
        }
    }
}

/// All lots of a grade, and where most of it goes.
pub(super) struct Stock<'a> {
    pub grade: &'a GradeId,
    pub lots: Vec<usize>,
    pub place: usize,
    /// Grams.
    pub mass: f64,
    /// What a gram brings where most of it goes, in home currency; shared costs aside.
    pub value: f64,
}

/// The grades on the shelf that have mass, worth most first.
pub(super) fn stocks<'a>(base: &Base<'_, 'a>) -> Vec<Stock<'a>> {
    let model = &base.planner.model;
    let mut stocks: Vec<Stock<'a>> = Vec::new();
    for (index, lot) in model.problem.lots.iter().enumerate() {
        if model.lots[index].mass > 0.0 {
            match stocks.iter_mut().find(|stock| *stock.grade == lot.load.grade) {
                Some(stock) => stock.lots.push(index),
                None => {
                    let grade = &lot.load.grade;
                    stocks.push(Stock { grade, lots: vec![index], place: 0, mass: 0.0, value: 0.0 });
                }
            }
        }
    }
    for stock in &mut stocks {
        let mass = |lots: &[usize]| lots.iter().map(|&lot| model.lots[lot].mass).sum::<f64>();
        let there = |place: usize| -> Vec<usize> {
            stock.lots.iter().copied().filter(|&lot| base.place[lot] == place).collect()
        };
        let places = 0..=model.keep_place();
        stock.place =
            places.max_by(|&a, &b| mass(&there(a)).total_cmp(&mass(&there(b)))).unwrap_or(model.keep_place());
        let here = there(stock.place);
        stock.value = match model.sites.get(stock.place) {
            None => here.iter().map(|&lot| model.lots[lot].keep).sum::<f64>() / mass(&here),
            Some(site) => brings(base, site, &here) / mass(&here),
        };
        stock.mass = mass(&stock.lots);
    }
    stocks.sort_by(|a, b| (b.value * b.mass).total_cmp(&(a.value * a.mass)));
    stocks
}

/// What lots of one grade bring at a site, in home currency, shared costs aside.
fn brings(base: &Base<'_, '_>, site: &Site<'_>, lots: &[usize]) -> f64 {
    let model = &base.planner.model;
    let grade = lots.first().and_then(|&lot| site.spots[lot]).map(|spot| spot.grade);
    grade.and_then(|grade| model.payout_of(site, grade, lots)).map_or(0.0, |payout| site.gain * payout)
}

impl Stock<'_> {
    /// What a gram brings at the site at its highest tier, in home currency; `None` where it is not taken there by mass, for
    /// money, or where the partners do not let it go.
    pub fn value_at(&self, base: &Base<'_, '_>, index: usize) -> Option<f64> {
        let site = &base.planner.model.sites[index];
        by_mass(site.outlet.quotes.get(self.grade)?)?;
        let open = self.lots.iter().filter(|&&lot| base.root.at(index, lot) != Reach::No);
        let (mut mass, mut value) = (0.0, 0.0);
        for &lot in open {
            mass += base.planner.model.lots[lot].mass;
            value += site.highest(lot)?;
        }
        (value > 0.0).then_some(value / mass)
    }

    /// The outlet that gets nothing of the grade and is nearest to it, with how much its price would have to rise at a guess,
    /// as a share of it.
    fn rival(&self, base: &Base<'_, '_>, others: &[Option<(Other, Decimal)>]) -> Option<(usize, f64)> {
        let sites = 0..base.planner.model.sites.len();
        let gets = |site: usize| self.lots.iter().any(|&lot| base.place[lot] == site);
        let rivals = sites.filter(|&site| !gets(site)).filter_map(|site| {
            let value = self.value_at(base, site)?;
            // An outlet that is shut has to make up for its trip as well.
            let shut = lots_at(&base.place, site).is_empty();
            let missing = match (shut, &others[site]) {
                (false, _) => 0.0,
                (true, Some((_, by))) => float(*by),
                (true, None) => return None,
            };
            let share = (self.value / value - 1.0).max(0.0) + missing / (self.mass * value);
            Some((site, share))
        });
        rivals.min_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn falls(&self, base: &Base<'_, '_>) -> Result<PriceTurn, Miss> {
        let site = base.planner.model.sites[self.place].outlet;
        let least = site.quotes.get(self.grade).and_then(by_mass).ok_or(Miss::None)?;
        // The plan without the grade there: where it is worth as much, the price has fallen far enough.
        let mut root = base.root.clone();
        for &lot in &self.lots {
            root.set(self.place, lot, Reach::No);
        }
        let without = base.best(base.planner, &root, &base.place, Ask::about(self.place))?;
        let mut line = Line { base, stock: self, site: self.place };
        let furthest = -least;
        let start = line.meets(&without.place, furthest / dec!(2)).map_or(furthest, |by| by.max(furthest));
        line.turn(start, furthest, Way::Down)
    }

    fn rises(&self, base: &Base<'_, '_>, site: usize, share: f64) -> Result<PriceTurn, Miss> {
        let outlet = base.planner.model.sites[site].outlet;
        let least = outlet.quotes.get(self.grade).and_then(by_mass).ok_or(Miss::None)?;
        let share = Decimal::try_from(share * 1.1).unwrap_or(Decimal::ONE).clamp(dec!(0.02), Decimal::ONE);
        Line { base, stock: self, site }.turn(share * least, least, Way::Up)
    }
}

/// The lowest price, where all tiers are prices per one unit of mass, and something is paid.
fn by_mass(quotes: &Quotes) -> Option<Decimal> {
    let per = quotes.tiers()[0].price.per;
    let one = |quote: &Quote| quote.price.per == per && quote.price.amount > Decimal::ZERO;
    let alike = per != PriceUnit::Each && quotes.tiers().iter().all(one);
    alike.then(|| quotes.tiers().iter().map(|quote| quote.price.amount).min()).flatten()
}

/// What plans are worth along one price.
struct Line<'l, 'p, 'a> {
    base: &'l Base<'p, 'a>,
    stock: &'l Stock<'a>,
    site: usize,
}

impl Line<'_, '_, '_> {
    /// The outlet with the grade's price moved.
    fn moved(&self, by: Decimal) -> Outlet {
        let mut outlet = self.base.planner.model.sites[self.site].outlet.clone();
        if let Some(quotes) = outlet.quotes.get_mut(self.stock.grade) {
            let moved = quotes.tiers().iter().map(|quote| {
                let price = Price { amount: quote.price.amount + by, ..quote.price };
                Quote { price, high: None, ..*quote }
            });
            if let Some(moved) = Quotes::new(moved) {
                *quotes = moved;
            }
        }
        outlet
    }

    fn ladder(&self, place: &[usize], outlet: &Outlet) -> Option<Ladder> {
        let problem = self.base.planner.model.problem;
        let loads: Vec<Load> =
            lots_at(place, self.site).into_iter().map(|lot| problem.lots[lot].load.clone()).collect();
        deliver(outlet, &loads, problem.facts).ok()
    }

    /// What a plan gains by the price's being moved.
    fn gain(&self, place: &[usize], moved: &Outlet) -> Option<Decimal> {
        if !place.contains(&self.site) {
            return Some(Decimal::ZERO);
        }
        let now = self.ladder(place, self.base.planner.model.sites[self.site].outlet)?;
        Some(self.ladder(place, moved)?.net - now.net)
    }

    /// What a plan leaves more than the first one at a price moved so.
    fn ahead(&self, place: &[usize], by: Decimal) -> Option<Decimal> {
        let moved = self.moved(by);
        let gained = self.gain(place, &moved)? - self.gain(&self.base.place, &moved)?;
        Some(gained - self.base.lead(place)?)
    }

    /// By how much the price has to be moved until a plan is worth as much as the first one; `probe` is on the way.
    fn meets(&self, place: &[usize], probe: Decimal) -> Option<Decimal> {
        let lead = self.base.lead(place)?;
        let closer = self.ahead(place, probe)? + lead;
        (closer > Decimal::ZERO).then(|| probe.checked_mul(lead)?.checked_div(closer)).flatten()
    }

    /// From a price at which another plan is better, or may be, to the first one at which none is. Nothing beyond `furthest`
    /// is looked at.
    fn turn(&mut self, start: Decimal, furthest: Decimal, way: Way) -> Result<PriceTurn, Miss> {
        let base = self.base;
        let problem = base.planner.model.problem;
        let mut by = start;
        let mut other: Option<Other> = None;
        for _ in 0..STEPS {
            if base.stopped() {
                return Err(Miss::Unfinished);
            }
            let mut outlets = problem.outlets.to_vec();
            outlets[self.site] = self.moved(by);
            let moved = Problem { outlets: &outlets, ..*problem };
            let planner = Planner::new(&moved).searching_by(base.planner.method);
            let from = other.as_ref().map_or(&base.place, |other| &other.place);
            let best = base.best(&planner, &base.root, from, Ask::about(self.site))?;
            if self.ahead(&best.place, by).ok_or(Miss::None)? <= SAME {
                match other {
                    Some(other) => return self.told(&other.place, by, way),
                    None if by == furthest => return Err(Miss::None),
                    None => by = (by * dec!(2)).clamp(furthest.min(-furthest), furthest.max(-furthest)),
                }
                continue;
            }
            by = self.meets(&best.place, by).ok_or(Miss::None)?;
            other = Some(best);
        }
        Err(Miss::Unfinished)
    }

    fn told(&self, place: &[usize], by: Decimal, way: Way) -> Result<PriceTurn, Miss> {
        let model = &self.base.planner.model;
        let outlet = model.sites[self.site].outlet;
        let at = if way == Way::Up { place } else { &self.base.place };
        let ladder = self.ladder(at, outlet).ok_or(Miss::None)?;
        let line = ladder.lines.iter().find(|line| line.grade == *self.stock.grade).ok_or(Miss::None)?;
        let away = match way {
            Way::Up => RoundingStrategy::ToPositiveInfinity,
            Way::Down => RoundingStrategy::ToNegativeInfinity,
        };
        let now = line.quote.price;
        let then = Price { amount: (now.amount + by).round_dp_with_strategy(PLACES, away), ..now };
        let mass_at = |at: usize| -> f64 {
            let lots = self.stock.lots.iter().filter(|&&lot| place[lot] == at);
            lots.map(|&lot| model.lots[lot].mass).sum()
        };
        let most = (0..=model.keep_place()).max_by(|&a, &b| mass_at(a).total_cmp(&mass_at(b)));
        let to = self.base.planner.place_named(most.unwrap_or(model.keep_place()));
        Ok(PriceTurn { grade: self.stock.grade.clone(), outlet: outlet.id.clone(), way, now, then, to })
    }
}
