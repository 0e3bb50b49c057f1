//! What one outlet would take if every lot had its price: the relaxed problem of a single outlet.
//!
//! The outlet may take lots in part (a linear program), it pays a floor instead of the true freight, and minimum
//! payouts are left out: so its gain is never less than that of any real delivery. It is solved by a price μ per
//! unit of size (mass or volume). At a given μ every grade decides alone which tier to aim at and which lots to take,
//! best gain per size first; for a step of the freight floor that holds up to size `cap`, the least over μ of
//! `gain(μ) + μ·cap` bounds what fits, by linear programming duality.

use super::model::{Item, Model, Site, SiteGrade, Tier};
use super::node::Reach;
use super::shipping::Floor;

/// Room for rounding where a relaxed total is held against a minimum or a maximum.
const SLACK: f64 = 1e-9;

/// An outlet's best relaxed choice, if it opens.
#[derive(Debug, Clone, Default)]
pub(super) struct Offer {
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

/// What an outlet is asked: which lots may and must come, at which prices, and what packing costs at least.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ask<'a> {
    pub model: &'a Model<'a>,
    pub site: &'a Site<'a>,
    /// By lot.
    pub reach: &'a [Reach],
    pub prices: &'a [f64],
    pub least_packing: f64,
}

impl Ask<'_> {
    /// `None` where the outlet can never deliver what it must.
    pub fn offer(&self) -> Option<Offer> {
        let offers = self.site.slopes().filter_map(|slope| self.at_slope(slope));
        offers.reduce(|best, next| if next.gain > best.gain { next } else { best })
    }

    fn at_slope(&self, slope: f64) -> Option<Offer> {
        let least_mass = self.site.least_mass;
        let by_mass = Relaxed::new(self, slope, Measure::Mass)?;
        let Some(shipping) = &self.site.shipping else {
            return by_mass.best(&[Step { cap: f64::INFINITY, cost: 0.0 }], least_mass);
        };
        // Both floors hold, so the smaller bound does.
        let by_mass = by_mass.best(&Step::all(&shipping.by_mass, self.least_packing), least_mass)?;
        let by_volume = Relaxed::new(self, slope, Measure::Volume)?
            .best(&Step::all(&shipping.by_volume, self.least_packing), 0.0)?;
        Some(if by_volume.gain < by_mass.gain { by_volume } else { by_mass })
    }
}

/// Which size the price μ is per.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Measure {
    Mass,
    Volume,
}

impl Measure {
    fn of(self, item: &Item) -> f64 {
        match self {
            Measure::Mass => item.mass,
            Measure::Volume => item.volume,
        }
    }

    /// The sizes between which a tier holds. A tier is set by mass; its volumes lie between those of the densest and
    /// the loosest lot.
    fn range(self, tier: &Tier, grade: &SiteGrade) -> (f64, f64) {
        let (loosest, densest) = grade.looseness;
        match self {
            Measure::Mass => (tier.from, tier.below),
            Measure::Volume if densest.is_finite() && loosest > 0.0 => {
                (tier.from * densest, tier.below * loosest)
            }
            Measure::Volume => (0.0, f64::INFINITY),
        }
    }
}

/// Up to `cap` in size, packing costs at least `cost`.
#[derive(Debug, Clone, Copy)]
struct Step {
    cap: f64,
    cost: f64,
}

impl Step {
    fn all(floor: &Floor, least: f64) -> Vec<Step> {
        let caps = floor.0.iter().skip(1).map(|next| next.from).chain([f64::INFINITY]);
        let steps = floor.0.iter().zip(caps).map(|(step, cap)| Step { cap, cost: step.cost.max(least) });
        steps.filter(|step| step.cost.is_finite()).collect()
    }
}

/// The outlet's grades with the ways in which each can be delivered.
struct Relaxed {
    grades: Vec<Ways>,
    /// What is paid once if anything goes.
    once: f64,
}

/// One grade: at one of its tiers, or left out unless some lot of it must go.
struct Ways {
    optional: bool,
    piles: Vec<Pile>,
}

/// One grade at one tier.
struct Pile {
    /// Gain and size of what is taken anyway: lots that must go, and lots of no size that gain.
    gain: f64,
    size: f64,
    anyway: Vec<usize>,
    least: f64,
    most: f64,
    /// The other lots, best gain per size first.
    slices: Vec<Slice>,
}

#[derive(Clone, Copy)]
struct Slice {
    lot: usize,
    size: f64,
    /// Gain per size.
    rate: f64,
    /// Size and gain of the pile up to this slice's end.
    size_to: f64,
    gain_to: f64,
}

#[derive(Clone, Copy)]
struct Choice<'a> {
    gain: f64,
    size: f64,
    pile: Option<&'a Pile>,
}

impl Relaxed {
    /// `None` where a grade that must go cannot.
    fn new(ask: &Ask<'_>, slope: f64, measure: Measure) -> Option<Self> {
        let mut grades = Vec::new();
        for grade in &ask.site.grades {
            let must = grade.lots.iter().any(|&lot| ask.reach[lot] == Reach::Must);
            if !must && grade.lots.iter().all(|&lot| ask.reach[lot] == Reach::No) {
                continue;
            }
            let piles = grade.tiers.iter().filter_map(|tier| Pile::new(ask, slope, grade, tier, measure));
            let piles: Vec<Pile> = piles.collect();
            match (piles.is_empty(), must) {
                (false, _) => grades.push(Ways { optional: !must, piles }),
                (true, true) => return None,
                (true, false) => {}
            }
        }
        Some(Relaxed { grades, once: -slope * ask.site.flat_fee - ask.site.fixed })
    }

    /// The best over all steps of what fits under each and comes to at least `least` in size.
    fn best(&self, steps: &[Step], least: f64) -> Option<Offer> {
        let largest: f64 = self.grades.iter().map(Ways::largest).sum();
        if largest < least * (1.0 - SLACK) {
            return None;
        }
        let (gain, size) = self.at(0.0);
        let free = Bound { gain, price: 0.0 };
        let mut rates = Rates::new(self);
        let reaching = if size < least { rates.reaching(least) } else { free };
        let mut best: Option<(Bound, f64)> = None;
        for step in steps.iter().filter(|step| step.cap >= least * (1.0 - SLACK)) {
            let highest = best.map_or(f64::NEG_INFINITY, |(bound, _)| bound.gain);
            if reaching.gain - step.cost <= highest {
                continue;
            }
            let under = if size > step.cap { rates.under(step.cap) } else { free };
            let (bound, target) =
                if under.gain < reaching.gain { (under, step.cap) } else { (reaching, least) };
            let gain = bound.gain - step.cost;
            if gain > highest {
                best = Some((Bound { gain, ..bound }, target));
            }
        }
        let (bound, target) = best?;
        Some(Offer { gain: bound.gain + self.once, take: self.taken(bound.price, target) })
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
        let (small, large) = (self.at(dearer).1, self.at(cheaper).1);
        let share = if large > small { ((target - small) / (large - small)).clamp(0.0, 1.0) } else { 0.0 };
        self.collect(dearer, 1.0 - share, &mut take);
        self.collect(cheaper, share, &mut take);
        take
    }

    fn collect(&self, price: f64, share: f64, take: &mut Vec<(usize, f64)>) {
        if share > 0.0 {
            for choice in self.grades.iter().map(|ways| ways.choose(price)) {
                if let Some(pile) = choice.pile {
                    pile.collect(choice.size, share, take);
                }
            }
        }
    }
}

impl Ways {
    fn choose(&self, price: f64) -> Choice<'_> {
        let mut best = Choice { gain: f64::NEG_INFINITY, size: 0.0, pile: None };
        if self.optional {
            best.gain = 0.0;
        }
        for pile in &self.piles {
            let size = pile.size_at(price);
            let gain = pile.gain_of(size) - price * size;
            if gain > best.gain {
                best = Choice { gain, size, pile: Some(pile) };
            }
        }
        best
    }

    fn largest(&self) -> f64 {
        self.piles.iter().map(|pile| pile.whole().min(pile.most)).fold(0.0, f64::max)
    }
}

impl Pile {
    /// `None` where no delivery of the grade can end in this tier.
    fn new(ask: &Ask<'_>, slope: f64, grade: &SiteGrade, tier: &Tier, measure: Measure) -> Option<Self> {
        let (least, most) = measure.range(tier, grade);
        let mut pile = Pile { gain: 0.0, size: 0.0, anyway: Vec::new(), least, most, slices: Vec::new() };
        let (mut must_mass, mut may_mass) = (0.0, 0.0);
        for (&lot, worth) in grade.lots.iter().zip(&tier.worth) {
            let item = &ask.model.lots[lot];
            let (size, gain) = (measure.of(item), slope * worth - ask.prices[lot]);
            match ask.reach[lot] {
                Reach::No => continue,
                Reach::May => may_mass += item.mass,
                Reach::Must => must_mass += item.mass,
            }
            if ask.reach[lot] == Reach::Must || (size <= 0.0 && gain > 0.0) {
                pile.gain += gain;
                pile.size += size;
                pile.anyway.push(lot);
            } else if size > 0.0 {
                pile.slices.push(Slice { lot, size, rate: gain / size, size_to: 0.0, gain_to: gain });
            }
        }
        let reached = must_mass + may_mass >= tier.from * (1.0 - SLACK);
        if !reached || must_mass > tier.below * (1.0 + SLACK) {
            return None;
        }
        pile.slices.sort_by(|a, b| b.rate.total_cmp(&a.rate));
        let (mut size, mut gain) = (pile.size, pile.gain);
        for slice in &mut pile.slices {
            size += slice.size;
            gain += slice.gain_to;
            (slice.size_to, slice.gain_to) = (size, gain);
        }
        Some(pile)
    }

    fn whole(&self) -> f64 {
        self.slices.last().map_or(self.size, |slice| slice.size_to)
    }

    /// How much is best at a price per size: every slice that gains more, within the tier.
    fn size_at(&self, price: f64) -> f64 {
        let gaining = self.slices.partition_point(|slice| slice.rate > price);
        let best = if gaining == 0 { self.size } else { self.slices[gaining - 1].size_to };
        best.min(self.most).max(self.least).clamp(self.size, self.whole())
    }

    fn gain_of(&self, size: f64) -> f64 {
        let whole = self.slices.partition_point(|slice| slice.size_to <= size);
        let (size_to, gain_to) = match whole {
            0 => (self.size, self.gain),
            n => (self.slices[n - 1].size_to, self.slices[n - 1].gain_to),
        };
        gain_to + self.slices.get(whole).map_or(0.0, |slice| slice.rate * (size - size_to))
    }

    fn collect(&self, size: f64, share: f64, take: &mut Vec<(usize, f64)>) {
        take.extend(self.anyway.iter().map(|&lot| (lot, share)));
        for slice in &self.slices {
            let part = ((size - (slice.size_to - slice.size)) / slice.size).clamp(0.0, 1.0);
            if part <= 0.0 {
                break;
            }
            take.push((slice.lot, share * part));
        }
    }
}

#[derive(Clone, Copy)]
struct Bound {
    gain: f64,
    price: f64,
}

/// The relaxed gains at the prices where a choice can change, worked out when first asked for.
struct Rates<'r> {
    relaxed: &'r Relaxed,
    /// Descending, with zero among them.
    prices: Vec<f64>,
    gains: Vec<Option<f64>>,
    zero: usize,
}

impl<'r> Rates<'r> {
    fn new(relaxed: &'r Relaxed) -> Self {
        let piles = relaxed.grades.iter().flat_map(|ways| &ways.piles);
        let rates = piles.flat_map(|pile| &pile.slices).map(|slice| slice.rate);
        let mut prices: Vec<f64> = rates.chain([0.0]).collect();
        prices.sort_by(|a, b| b.total_cmp(a));
        let zero = prices.partition_point(|price| *price > 0.0);
        Rates { relaxed, gains: vec![None; prices.len()], prices, zero }
    }

    /// The most that choices of at most this size gain: the least bound over the prices from zero up.
    fn under(&mut self, cap: f64) -> Bound {
        self.least(0, self.zero, cap)
    }

    /// The most that choices of at least this size gain: the least bound over the prices from zero down.
    fn reaching(&mut self, size: f64) -> Bound {
        self.least(self.zero, self.prices.len() - 1, size)
    }

    /// `gain(μ) + μ·size` is convex in μ, so its least value over the prices is found by halving.
    fn least(&mut self, mut from: usize, mut to: usize, size: f64) -> Bound {
        while from < to {
            let middle = usize::midpoint(from, to);
            if self.bound(middle + 1, size) <= self.bound(middle, size) {
                from = middle + 1;
            } else {
                to = middle;
            }
        }
        Bound { gain: self.bound(from, size), price: self.prices[from] }
    }

    fn bound(&mut self, index: usize, size: f64) -> f64 {
        let price = self.prices[index];
        let relaxed = self.relaxed;
        *self.gains[index].get_or_insert_with(|| relaxed.at(price).0) + price * size
    }
}
