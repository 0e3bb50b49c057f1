//! What history teaches: an outlet's settlements correct what its terms lead to expect (design 2.9).
//!
//! Three things are learned: what their scale finds of ours, how often a load is set to a lower grade, and the days to
//! payment. Each begins with the terms as so many settlements seen before ([`Strength`]), and each settlement moves it; the first two for every family of grades,
//! drawn toward the outlet as a whole ([`Pooled`]). Statistics are in `f64`; a figure enters the net as a decimal
//! of [`PLACES`]. With nothing settled there is nothing learned, and every figure is the terms'.

mod days;
mod downgrades;
mod forecast;
mod pooled;
pub mod quantile;
mod track;
mod weight;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::Date;
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};

pub use self::days::Days;
pub use self::downgrades::{Downgraded, Downgrades, share_of};
pub use self::forecast::Range;
pub use self::pooled::{Pooled, Seen, Strength};
pub use self::track::{Record, Told, Track, track};
pub use self::weight::{Spread, Weights};
use crate::ids::{Family, GradeId};
use crate::mass::Mass;
use crate::money::Share;
use crate::outlet::{PaidWeight, Terms};

/// Places to which a learned share or ratio enters the net: a hundredth of a percent.
pub const PLACES: u32 = 4;
/// Places of learned days.
const DAY_PLACES: u32 = 1;
/// As many payments as the terms' days count for.
pub const PAYMENTS: u32 = 4;
/// From so many settlements on, the range that was learned says more of an outlet's scale than what is usual anywhere.
pub const ENOUGH: u32 = 8;
/// A payment that took longer is counted as this long: somebody forgot to write it down.
const LONGEST: u32 = 3650;

/// What one settlement said.
#[derive(Debug, Clone, PartialEq)]
pub struct Settled {
    /// The day the goods left.
    pub left: Date,
    /// The day from which it was known.
    pub known: Date,
    pub days_to_pay: Option<u32>,
    pub loads: Vec<SettledLoad>,
}

/// What it said of one line of the delivery.
#[derive(Debug, Clone, PartialEq)]
pub struct SettledLoad {
    pub family: Family,
    /// What the outlet weighed, and what the shop had sent less what the terms take off; `None` for pieces.
    pub weights: Option<Weighed>,
    /// What of it was paid as a lower grade, and how much less of the price that was.
    pub downgraded: Share,
    pub drop: Share,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighed {
    pub ours: Mass,
    pub theirs: Mass,
}

/// A figure with what stands behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Estimate {
    pub mean: Decimal,
    /// Between these it lies four times out of five.
    pub low: Decimal,
    pub high: Decimal,
    /// Settlements it was learned from.
    pub settlements: u32,
}

/// What to expect of an outlet.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    weights: Weights,
    downgrades: Downgrades,
    days: Days,
    counts: Counts,
    terms: Terms,
    grades: Arc<BTreeMap<GradeId, Family>>,
    /// Of the families that were settled there, and of all others.
    families: BTreeMap<Family, Expected>,
    other: Expected,
    to_payment: Option<Estimate>,
}

/// Settlements that told of each thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Counts {
    weights: u32,
    loads: u32,
    days: u32,
}

/// What to expect of a family of grades. `None` is what nothing was settled about: there the terms stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Expected {
    /// Their weight by ours: that of the next settlement.
    pub paid_weight: Option<Estimate>,
    /// The share of loads that is downgraded.
    pub downgraded: Option<Estimate>,
    /// What of the price is lost on one that is; kept like the other figures, without an interval.
    pub drop: Decimal,
}

impl Learned {
    /// From all settlements of an outlet, in any order; `None` where there is none that says anything.
    ///
    /// Weights that no scale can have found, by [`PaidWeight`], are slips and left out.
    pub fn from_settlements(
        terms: &Terms,
        settled: &[Settled],
        grades: &Arc<BTreeMap<GradeId, Family>>,
    ) -> Option<Learned> {
        let lessons: Vec<Lesson<'_>> = settled.iter().map(Settled::lesson).collect();
        Some(Learned::with(terms, lessons.iter(), grades))
            .filter(|learned| learned.counts != Counts::default())
    }

    /// The same where there may be none: what is believed beforehand.
    fn with<'a>(
        terms: &Terms,
        lessons: impl Iterator<Item = &'a Lesson<'a>>,
        grades: &Arc<BTreeMap<GradeId, Family>>,
    ) -> Learned {
        let mut ratios: BTreeMap<Family, Vec<f64>> = BTreeMap::new();
        let mut loads: BTreeMap<Family, Vec<Downgraded>> = BTreeMap::new();
        let mut paid = Vec::new();
        let mut counts = Counts::default();
        for lesson in lessons {
            counts.weights += u32::from(!lesson.ratios.is_empty());
            counts.loads += u32::from(!lesson.loads.is_empty());
            counts.days += u32::from(lesson.days_to_pay.is_some());
            for (family, ratio) in &lesson.ratios {
                ratios.entry((*family).clone()).or_default().push(*ratio);
            }
            for (family, seen) in &lesson.loads {
                loads.entry((*family).clone()).or_default().push(*seen);
            }
            paid.extend(lesson.days_to_pay);
        }
        let estimate =
            Downgraded { part: float(terms.downgrade_chance.get()), drop: float(terms.downgrade_drop.get()) };
        let known: Vec<Family> = ratios.keys().chain(loads.keys()).cloned().collect();
        let mut learned = Learned {
            weights: Weights::learn(
                float(terms.paid_weight.get()),
                &ratios,
                Strength::STANDARD,
                Spread::STANDARD,
            ),
            downgrades: Downgrades::learn(estimate, &loads, Strength::STANDARD),
            days: Days::learn(f64::from(terms.days_to_pay), &paid, f64::from(PAYMENTS)),
            counts,
            terms: *terms,
            grades: Arc::clone(grades),
            families: BTreeMap::new(),
            other: Expected::default(),
            to_payment: None,
        };
        learned.to_payment = (counts.days > 0).then(|| learned.next_payment());
        learned.other = learned.expected(None);
        let of = |family: Family| {
            let expected = learned.expected(Some(&family));
            (family, expected)
        };
        learned.families = known.into_iter().map(of).collect();
        learned
    }

    fn expected(&self, family: Option<&Family>) -> Expected {
        let share = |figure: f64| decimal(figure, PLACES).clamp(Decimal::ZERO, Decimal::ONE);
        let (low, high) = self.weights.next(family);
        let mean = self.weights.mean(family);
        let paid_weight = (self.counts.weights > 0).then(|| Estimate {
            mean: ratio(mean),
            low: decimal(low.max(0.0), PLACES),
            high: decimal(high, PLACES),
            settlements: self.counts.weights,
        });
        let (low, high) = self.downgrades.share(family);
        let downgraded = (self.counts.loads > 0).then(|| Estimate {
            mean: share(self.downgrades.chance(family)),
            low: share(low),
            high: share(high),
            settlements: self.counts.loads,
        });
        Expected { paid_weight, downgraded, drop: share(self.downgrades.drop(family)) }
    }

    fn next_payment(&self) -> Estimate {
        let (low, high) = self.days.next();
        Estimate {
            mean: decimal(self.days.mean, DAY_PLACES),
            low: decimal(low, DAY_PLACES),
            high: decimal(high, DAY_PLACES),
            settlements: self.counts.days,
        }
    }

    /// What to expect of a grade.
    pub fn about(&self, grade: &GradeId) -> Expected {
        self.of_family(self.family_of(grade))
    }

    /// Between which shares of our weight theirs lies four times out of five, once enough was settled.
    pub fn usual_weight(&self, grade: &GradeId) -> Option<Range> {
        let weight = self.about(grade).paid_weight.filter(|weight| weight.settlements >= ENOUGH)?;
        Some(Range { low: weight.low, high: weight.high })
    }

    pub fn family_of(&self, grade: &GradeId) -> Option<&Family> {
        self.grades.get(grade)
    }

    /// What to expect of a family; of one that was never settled there, what the outlet as a whole leads to expect.
    pub fn of_family(&self, family: Option<&Family>) -> Expected {
        family.and_then(|family| self.families.get(family)).copied().unwrap_or(self.other)
    }

    /// The families that were settled there.
    pub fn families(&self) -> impl Iterator<Item = (&Family, Expected)> {
        self.families.iter().map(|(family, expected)| (family, *expected))
    }

    /// Days to the next payment; `None` where no payment was dated.
    pub fn days(&self) -> Option<Estimate> {
        self.to_payment
    }
}

/// The figures of one settlement that are learned from: worked out once, however many estimates it goes into.
#[derive(Debug)]
struct Lesson<'a> {
    ratios: Vec<(&'a Family, f64)>,
    loads: Vec<(&'a Family, Downgraded)>,
    days_to_pay: Option<f64>,
}

impl Settled {
    fn lesson(&self) -> Lesson<'_> {
        let load = |load: &SettledLoad| Downgraded {
            part: float(load.downgraded.get()),
            drop: float(load.drop.get()),
        };
        Lesson {
            ratios: self.ratios().into_iter().map(|(family, ratio)| (family, float(ratio.get()))).collect(),
            loads: self.loads.iter().map(|of| (&of.family, load(of))).collect(),
            days_to_pay: self.days_to_pay.map(|days| f64::from(days.min(LONGEST))),
        }
    }

    /// What the outlet's scale found of ours, family by family.
    fn ratios(&self) -> Vec<(&Family, PaidWeight)> {
        let mut sums: BTreeMap<&Family, (Mass, Mass)> = BTreeMap::new();
        for load in &self.loads {
            if let Some(weighed) = load.weights.filter(|weighed| weighed.ours.is_positive()) {
                let sum = sums.entry(&load.family).or_default();
                sum.0 += weighed.ours;
                sum.1 += weighed.theirs;
            }
        }
        let ratio = |(ours, theirs): (Mass, Mass)| {
            theirs.grams().checked_div(ours.grams()).map(|ratio| ratio.round_dp(12)).and_then(PaidWeight::new)
        };
        sums.into_iter().filter_map(|(family, sum)| Some((family, ratio(sum)?))).collect()
    }
}

/// The nearest float: every `Decimal` has one.
fn float(exact: Decimal) -> f64 {
    exact.to_f64().unwrap_or(0.0)
}

/// Rounded half away from zero to so many places.
fn decimal(figure: f64, places: u32) -> Decimal {
    crate::mass::round(Decimal::from_f64(figure).unwrap_or_default(), places).normalize()
}

fn ratio(mean: f64) -> Decimal {
    let least = Decimal::new(1, PLACES);
    decimal(mean, PLACES).clamp(least, Decimal::TWO)
}
