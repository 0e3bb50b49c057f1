//! What one outlet would take if every lot had its price: the relaxed problem of a single outlet.
//!
//! The outlet pays a floor instead of the true freight, lots of a grade with many may go in part, and minimum payouts
//! are left out: so its gain is never less than that of any real delivery. It is bounded by a price μ per unit of size:
//! at a given μ every grade decides alone which lots to send; for a step of the freight floor that holds up to size
//! `cap`, the least over μ of `gain(μ) + μ·cap` bounds what fits, by linear programming duality. Where that mixes two
//! choices of a grade, the best whole choice is sought instead.

use std::cell::Cell;
use std::rc::Rc;

use super::dual::Prices;
use super::knapsack::{self, Piece, Step};
use super::piles::{Pile, SLACK, Terms};
use super::sets::{Brings, Set, Sets};
use crate::plan::model::{Model, Site, SiteGrade, Tier};
use crate::plan::node::Reach;
use crate::plan::shipping::{Band, Floor, Measure};

/// An outlet's best relaxed choice, if it opens.
#[derive(Debug, Clone, Default)]
pub(in crate::plan) struct Offer {
    /// Net minus the prices of what it takes; its fixed costs are paid, so it may be negative.
    pub gain: f64,
    /// The lots that it takes, and how much of each.
    pub take: Vec<(usize, f64)>,
}

impl Offer {
    /// How much of the lot it takes, between 0 and 1.
    pub fn share(&self, lot: usize) -> f64 {
        self.take.iter().filter(|(taken, _)| *taken == lot).map(|(_, share)| share).sum()
    }
}

/// An outlet made ready for many offers with the same lots in reach.
#[derive(Debug)]
pub(super) struct Relaxed<'a> {
    model: &'a Model<'a>,
    index: usize,
    site: &'a Site<'a>,
    reach: &'a [Reach],
    /// For what is shipped: its densities, floors under the cost, and what it costs at the least.
    band: Band,
    floors: Vec<Rc<Floor>>,
    least_packing: f64,
    /// By grade of the site: its sets, if they are few.
    sets: Vec<Option<Sets>>,
    /// Which floor of the freight was the least lately.
    nearest: Cell<usize>,
}

impl<'a> Relaxed<'a> {
    /// `None` where the outlet cannot take what it must, or can take nothing that pays its minimum.
    pub fn new(model: &'a Model<'a>, site: usize, reach: &'a [Reach], band: Band) -> Option<Self> {
        let index = site;
        let site = &model.sites[index];
        let must: Vec<usize> =
            (0..reach.len()).filter(|&lot| reach[lot] == Reach::Must && site.takes(lot)).collect();
        let floors = site.shipping.as_ref().map_or(Vec::new(), |shipping| shipping.floors(band));
        let least_packing = match &site.shipping {
            Some(shipping) if !must.is_empty() => shipping.cost(model.contents(&must))?,
            _ => 0.0,
        };
        let sets = site.grades.iter().enumerate().map(|(index, grade)| {
            let with = |reached| -> Vec<usize> {
                grade.lots.iter().copied().filter(|&lot| reach[lot] == reached).collect()
            };
            let may = with(Reach::May);
            (may.len() <= model.tries.of_grade).then(|| {
                Sets::new(with(Reach::Must), may, |lots| {
                    Some(Brings {
                        value: model.payout_of(site, index, lots)?,
                        mass: lots.iter().map(|&lot| model.lots[lot].mass).sum(),
                        volume: lots.iter().map(|&lot| model.lots[lot].volume).sum(),
                    })
                })
            })
        });
        let sets: Vec<Option<Sets>> = sets.collect();
        if let Some(least) = site.least_payout {
            let grades = site.grades.iter().zip(&sets);
            let most: f64 = grades.map(|(grade, sets)| most_paid(grade, sets.as_ref(), reach)).sum();
            if most - site.flat_fee < least - SLACK * least.abs().max(most.abs()) {
                return None;
            }
        }
        Some(Relaxed { model, index, site, reach, band, floors, least_packing, sets, nearest: Cell::new(0) })
    }

    /// What it would take; with `but`, one lot must go or must not. `None` where it can never deliver what it must.
    ///
    /// All floors of the freight hold, so the least of their bounds does. Only if `thorough` all are tried; else the
    /// one that was least the last time.
    pub fn offer(&self, prices: &Prices, but: Option<(usize, Reach)>, thorough: bool) -> Option<Offer> {
        let floors = &self.floors;
        if floors.is_empty() {
            return self.offer_under(prices, but, None);
        }
        if !thorough {
            return self.offer_under(prices, but, Some(&floors[self.nearest.get()]));
        }
        let mut best: Option<Offer> = None;
        for (index, floor) in floors.iter().enumerate() {
            let offer = self.offer_under(prices, but, Some(floor))?;
            if best.as_ref().is_none_or(|best| offer.gain < best.gain) {
                best = Some(offer);
                self.nearest.set(index);
            }
        }
        best
    }

    fn offer_under(
        &self,
        prices: &Prices,
        but: Option<(usize, Reach)>,
        floor: Option<&Floor>,
    ) -> Option<Offer> {
        let free = [Step { cap: f64::INFINITY, cost: self.least_packing }];
        let steps = floor.map(|floor| steps_of(floor, self.least_packing));
        let steps = steps.as_deref().unwrap_or(&free);
        let measure = floor.map_or(Measure::MASS, |floor| floor.measure);
        let densest = self.site.grades.iter().map(|grade| grade.looseness.1).fold(f64::INFINITY, f64::min);
        let least = if densest.is_finite() { self.site.least_mass * measure.of(1.0, densest) } else { 0.0 };
        let offers = self.site.slopes().filter_map(|factor| {
            let counter = self.counter(prices, but, factor, measure)?;
            counter.best(steps, least)
        });
        offers.reduce(|best, next| if next.gain > best.gain { next } else { best })
    }

    /// The densities of what it may ship.
    pub fn band(&self) -> Band {
        self.band
    }

    /// The greatest of the floors under the cost of shipping so much.
    pub fn floor_at(&self, mass: f64, volume: f64) -> f64 {
        self.floors.iter().map(|floor| floor.at(mass, volume)).fold(self.least_packing, f64::max)
    }

    fn counter(
        &self,
        prices: &Prices,
        but: Option<(usize, Reach)>,
        factor: f64,
        measure: Measure,
    ) -> Option<Counter<'_>> {
        let changed = but.map(|(lot, reached)| {
            let mut reach = self.reach.to_vec();
            reach[lot] = reached;
            reach
        });
        let toll = prices.toll(self.index, self.band);
        let terms = Terms {
            model: self.model,
            reach: changed.as_deref().unwrap_or(self.reach),
            prices: &prices.lot,
            toll,
            factor,
            measure,
        };
        let sized = self.site.shipping.is_some() || self.site.least_mass > 0.0;
        let mut grades = Vec::with_capacity(self.sets.len());
        for (grade, sets) in self.site.grades.iter().zip(&self.sets) {
            let but = but.filter(|(lot, _)| grade.lots.contains(lot));
            let ways = match sets {
                Some(sets) => {
                    let must = sets.has_must() || but.is_some_and(|(_, reach)| reach == Reach::Must);
                    let gains = sets.gains(&prices.lot, toll, factor, but);
                    Ways::of_sets(sets, gains, measure, !must, sized)
                }
                None => {
                    let must = grade.lots.iter().any(|&lot| terms.reach[lot] == Reach::Must);
                    let piles = grade.tiers.iter().filter_map(|tier| Pile::new(&terms, grade, tier));
                    Ways::of_piles(piles.collect(), !must)
                }
            };
            // A grade that must go and cannot.
            grades.push(ways?);
        }
        Some(Counter { grades, once: -factor * self.site.flat_fee - self.site.fixed })
    }
}

/// The most that a grade can add to the payout, in the outlet's currency.
fn most_paid(grade: &SiteGrade, sets: Option<&Sets>, reach: &[Reach]) -> f64 {
    if let Some(sets) = sets {
        return sets.highest();
    }
    let paid = |tier: &Tier| -> f64 {
        let lots = grade.lots.iter().zip(&tier.worth);
        let paid = lots.map(|(&lot, &worth)| match reach[lot] {
            Reach::No => 0.0,
            Reach::May => worth.max(0.0),
            Reach::Must => worth,
        });
        paid.sum()
    };
    let must = grade.lots.iter().any(|&lot| reach[lot] == Reach::Must);
    let left_out = if must { f64::NEG_INFINITY } else { 0.0 };
    grade.tiers.iter().map(paid).fold(left_out, f64::max)
}

fn steps_of(floor: &Floor, least: f64) -> Vec<Step> {
    let caps = floor.steps.iter().skip(1).map(|next| next.from).chain([f64::INFINITY]);
    floor.steps.iter().zip(caps).map(|(step, cap)| Step { cap, cost: step.cost.max(least) }).collect()
}

/// The outlet at given prices: its grades with the ways in which each can be delivered.
struct Counter<'a> {
    grades: Vec<Ways<'a>>,
    /// What is paid once if anything goes.
    once: f64,
}

/// The ways to deliver one grade, or to leave it out unless some lot of it must go.
enum Ways<'a> {
    /// The sets that are best at some price per size, by rising size: corners of the hull over all of them. The price
    /// between two neighbours is the gain per size of going from one to the next.
    /// In `front` are all sets that gain more than any smaller one.
    Sets {
        sets: &'a Sets,
        corners: Vec<Corner>,
        rates: Vec<f64>,
        front: Vec<Corner>,
    },
    Piles {
        piles: Vec<Pile>,
        optional: bool,
    },
}

#[derive(Debug, Clone, Copy)]
struct Corner {
    size: f64,
    gain: f64,
    /// `None` where the grade is left out.
    set: Option<Set>,
}

#[derive(Clone, Copy)]
struct Choice<'a> {
    gain: f64,
    size: f64,
    taken: Taken<'a>,
}

#[derive(Clone, Copy)]
enum Taken<'a> {
    Nothing,
    Set(&'a Sets, Set),
    Pile(&'a Pile),
}

impl<'a> Counter<'a> {
    /// The best over all steps of what fits under each and comes to at least `least` in size.
    fn best(&self, steps: &[Step], least: f64) -> Option<Offer> {
        let (gain, size) = self.at(0.0);
        let free = Bound { gain, price: 0.0 };
        let mut rates = Rates::default();
        let mut reaching = free;
        if size < least {
            let largest: f64 = self.grades.iter().map(Ways::largest).sum();
            if largest < least * (1.0 - SLACK) {
                return None;
            }
            reaching = rates.of(self).reaching(self, least);
        }
        let mut best: Option<(Bound, f64)> = None;
        for step in steps.iter().filter(|step| step.cap >= least * (1.0 - SLACK)) {
            let highest = best.map_or(f64::NEG_INFINITY, |(bound, _)| bound.gain);
            if reaching.gain - step.cost <= highest {
                continue;
            }
            let under = if size > step.cap { rates.of(self).under(self, step.cap) } else { free };
            let (bound, target) =
                if under.gain < reaching.gain { (under, step.cap) } else { (reaching, least) };
            let gain = bound.gain - step.cost;
            if gain > highest {
                best = Some((Bound { gain, ..bound }, target));
            }
        }
        let (bound, target) = best?;
        // At no price nothing was mixed to fill a step.
        if bound.price > 0.0
            && let Some(whole) = self.in_whole_lots(steps, bound.price)
            && whole.gain < bound.gain + self.once
        {
            return Some(whole);
        }
        Some(Offer { gain: bound.gain + self.once, take: self.taken(bound.price, target) })
    }

    /// The best with no lot in part, any size. `None` where that takes too long, or some grade has too many lots.
    fn in_whole_lots(&self, steps: &[Step], price: f64) -> Option<Offer> {
        let fronts: Vec<(&Sets, &[Corner])> = self
            .grades
            .iter()
            .map(|ways| match ways {
                Ways::Sets { sets, front, .. } => Some((*sets, &front[..])),
                Ways::Piles { .. } => None,
            })
            .collect::<Option<_>>()?;
        let piece = |corner: &Corner| Piece { size: corner.size, gain: corner.gain };
        let pieces: Vec<Vec<Piece>> =
            fronts.iter().map(|(_, front)| front.iter().map(piece).collect()).collect();
        let pieces: Vec<&[Piece]> = pieces.iter().map(|pieces| &pieces[..]).collect();
        let (gain, picks) = knapsack::best(&pieces, steps, price)?;
        let picked =
            fronts.iter().zip(picks).filter_map(|((sets, front), pick)| Some((sets, front[pick].set?)));
        let take = picked.flat_map(|(sets, set)| sets.lots(set).map(|lot| (lot, 1.0))).collect();
        Some(Offer { gain: gain + self.once, take })
    }

    /// Gain and size of the best choice at a price per size.
    fn at(&self, price: f64) -> (f64, f64) {
        let choices = self.grades.iter().map(|ways| ways.choose(price));
        choices.fold((0.0, 0.0), |(gain, size), choice| (gain + choice.gain, size + choice.size))
    }

    /// The lots taken at the price. Where it is the price of a full cap or of a minimum, the choices on either side
    /// of it are mixed so that their size comes to `target`.
    fn taken(&self, price: f64, target: f64) -> Vec<(usize, f64)> {
        let mut take = Vec::new();
        if price == 0.0 {
            self.collect(price, 1.0, &mut take);
            return take;
        }
        let (dearer, cheaper) = (price + price.abs() * SLACK, price - price.abs() * SLACK);
        let size = |price: f64| self.grades.iter().map(|ways| ways.choose(price).size).sum::<f64>();
        let (small, large) = (size(dearer), size(cheaper));
        let share = if large > small { ((target - small) / (large - small)).clamp(0.0, 1.0) } else { 0.0 };
        self.collect(dearer, 1.0 - share, &mut take);
        self.collect(cheaper, share, &mut take);
        take
    }

    fn collect(&self, price: f64, share: f64, take: &mut Vec<(usize, f64)>) {
        if share <= 0.0 {
            return;
        }
        for choice in self.grades.iter().map(|ways| ways.choose(price)) {
            match choice.taken {
                Taken::Nothing => {}
                Taken::Set(sets, set) => take.extend(sets.lots(set).map(|lot| (lot, share))),
                Taken::Pile(pile) => pile.collect(choice.size, share, take),
            }
        }
    }
}

impl<'a> Ways<'a> {
    /// Where sizes do not matter (`sized` is false) only the set that gains most. `None` where nothing can go and
    /// something must.
    fn of_sets(
        sets: &'a Sets,
        gains: impl Iterator<Item = (f64, Set)>,
        measure: Measure,
        optional: bool,
        sized: bool,
    ) -> Option<Self> {
        let size = |set: &Set| measure.of(set.mass, set.volume);
        let out = optional.then_some(Corner { size: 0.0, gain: 0.0, set: None });
        let corners = gains.map(|(gain, set)| Corner { size: size(&set), gain, set: Some(set) });
        let all = out.into_iter().chain(corners);
        let mut front = Vec::new();
        let corners = if sized {
            let mut all: Vec<Corner> = all.collect();
            all.sort_unstable_by(|a, b| a.size.total_cmp(&b.size).then(b.gain.total_cmp(&a.gain)));
            for corner in &all {
                if front.last().is_none_or(|last: &Corner| last.gain < corner.gain) {
                    front.push(*corner);
                }
            }
            hull(&all)
        } else {
            all.reduce(|best, next| if next.gain > best.gain { next } else { best }).into_iter().collect()
        };
        let rate = |pair: &[Corner]| (pair[1].gain - pair[0].gain) / (pair[1].size - pair[0].size);
        let rates = corners.windows(2).map(rate).collect();
        (!corners.is_empty()).then_some(Ways::Sets { sets, corners, rates, front })
    }

    fn of_piles(piles: Vec<Pile>, optional: bool) -> Option<Self> {
        (optional || !piles.is_empty()).then_some(Ways::Piles { piles, optional })
    }

    fn choose(&self, price: f64) -> Choice<'_> {
        match self {
            Ways::Sets { sets, corners, rates, .. } => {
                let Corner { size, gain, set } = corners[rates.partition_point(|rate| *rate > price)];
                let taken = set.map_or(Taken::Nothing, |set| Taken::Set(sets, set));
                Choice { gain: gain - price * size, size, taken }
            }
            Ways::Piles { piles, optional } => {
                let out = if *optional { 0.0 } else { f64::NEG_INFINITY };
                let mut best = Choice { gain: out, size: 0.0, taken: Taken::Nothing };
                for pile in piles {
                    let size = pile.size_at(price);
                    let gain = pile.gain_of(size) - price * size;
                    if gain > best.gain {
                        best = Choice { gain, size, taken: Taken::Pile(pile) };
                    }
                }
                best
            }
        }
    }

    fn largest(&self) -> f64 {
        match self {
            Ways::Sets { corners, .. } => corners.last().map_or(0.0, |corner| corner.size),
            Ways::Piles { piles, .. } => piles.iter().map(Pile::largest).fold(0.0, f64::max),
        }
    }

    fn rates(&self, into: &mut Vec<f64>) {
        match self {
            Ways::Sets { rates, .. } => into.extend(rates),
            Ways::Piles { piles, .. } => into.extend(piles.iter().flat_map(Pile::rates)),
        }
    }
}

/// The corners of the upper hull of points by rising size: gain per size falls from each to the next.
fn hull(points: &[Corner]) -> Vec<Corner> {
    let mut hull: Vec<Corner> = Vec::with_capacity(points.len());
    for &point in points {
        if hull.last().is_some_and(|last| last.size >= point.size) {
            continue;
        }
        while let [.., first, second] = hull[..] {
            let turn = (second.gain - first.gain) * (point.size - first.size);
            if turn > (point.gain - first.gain) * (second.size - first.size) {
                break;
            }
            hull.pop();
        }
        hull.push(point);
    }
    hull
}

#[derive(Clone, Copy)]
struct Bound {
    gain: f64,
    price: f64,
}

/// The relaxed gains at the prices where a choice can change, worked out when first asked for.
#[derive(Default)]
struct Rates {
    /// Descending, with zero among them.
    prices: Vec<f64>,
    gains: Vec<Option<f64>>,
    zero: usize,
}

impl Rates {
    fn of(&mut self, counter: &Counter<'_>) -> &mut Self {
        if self.prices.is_empty() {
            self.prices.push(0.0);
            counter.grades.iter().for_each(|ways| ways.rates(&mut self.prices));
            self.prices.sort_unstable_by(|a, b| b.total_cmp(a));
            self.zero = self.prices.partition_point(|price| *price > 0.0);
            self.gains = vec![None; self.prices.len()];
        }
        self
    }

    /// The most that choices of at most this size gain: the least bound over the prices from zero up.
    fn under(&mut self, counter: &Counter<'_>, cap: f64) -> Bound {
        self.least(counter, 0, self.zero, cap)
    }

    /// The most that choices of at least this size gain: the least bound over the prices from zero down.
    fn reaching(&mut self, counter: &Counter<'_>, size: f64) -> Bound {
        self.least(counter, self.zero, self.prices.len() - 1, size)
    }

    /// `gain(μ) + μ·size` is convex in μ, so its least value over the prices is found by halving.
    fn least(&mut self, counter: &Counter<'_>, mut from: usize, mut to: usize, size: f64) -> Bound {
        while from < to {
            let middle = usize::midpoint(from, to);
            if self.bound(counter, middle + 1, size) <= self.bound(counter, middle, size) {
                from = middle + 1;
            } else {
                to = middle;
            }
        }
        Bound { gain: self.bound(counter, from, size), price: self.prices[from] }
    }

    fn bound(&mut self, counter: &Counter<'_>, index: usize, size: f64) -> f64 {
        let price = self.prices[index];
        *self.gains[index].get_or_insert_with(|| counter.at(price).0) + price * size
    }
}
