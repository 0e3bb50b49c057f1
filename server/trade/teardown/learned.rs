//! What the shop's own teardowns teach about a kind: masses of its parts, and its minutes.
//!
//! The library's figure is held as a normal prior for the mean of the kind, and counts as much as [`COUNTS_AS`]
//! teardowns; each teardown is an observation that differs by the spread from one unit to the next. The mean moves from the
//! library's figure to the shop's as teardowns come in (normal mean with known variance, the textbooks' conjugate case).

use std::collections::BTreeMap;

use rust_decimal::{Decimal, MathematicalOps, dec};

use super::Tree;
use crate::ids::PartId;
use crate::mass::Mass;

/// How many of the shop's own teardowns the library's figure counts as.
pub const COUNTS_AS: Decimal = dec!(2);
/// Where the library gives no spread: a twentieth of the mass. The project's estimate.
const LEAST_SPREAD: Decimal = dec!(0.05);
/// Times for one kind differ by about a third from one unit to the next. The project's estimate.
const SPREAD_OF_TIME: Decimal = dec!(0.35);
/// Of the standard normal distribution: four fifths lie within it on both sides of the mean.
const WITHIN_80: Decimal = dec!(1.2815515655);

/// A mean before anything was observed, and how sure it is: a standard deviation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prior {
    pub mean: Decimal,
    pub deviation: Decimal,
}

/// What is held after so many observations, as 80 % between `low` and `high`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Estimate {
    pub mean: Decimal,
    pub deviation: Decimal,
    pub low: Decimal,
    pub high: Decimal,
    pub n: usize,
}

/// Shrinks the mean of what was observed toward the prior. One observation differs from the mean by `deviation_of_one`.
///
/// `None` where a deviation is not above zero, or figures are too large.
pub fn shrink(prior: Prior, observed: &[Decimal], deviation_of_one: Decimal) -> Option<Estimate> {
    if prior.deviation <= Decimal::ZERO || deviation_of_one <= Decimal::ZERO {
        return None;
    }
    let sureness = |deviation: Decimal| Decimal::ONE.checked_div(deviation.checked_mul(deviation)?);
    let (before, each) = (sureness(prior.deviation)?, sureness(deviation_of_one)?);
    let n = Decimal::from(observed.len());
    let all = before.checked_add(each.checked_mul(n)?)?;
    let sum = observed.iter().try_fold(Decimal::ZERO, |sum, one| sum.checked_add(*one))?;
    let weighed = before.checked_mul(prior.mean)?.checked_add(each.checked_mul(sum)?)?;
    let mean = weighed.checked_div(all)?;
    let deviation = Decimal::ONE.checked_div(all)?.sqrt()?;
    let reach = deviation * WITHIN_80;
    Some(Estimate { mean, deviation, low: mean - reach, high: mean + reach, n: observed.len() })
}

/// A teardown that was finished, as far as it teaches.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Finished {
    pub whole: Option<Mass>,
    /// Of one of each part that was weighed.
    pub parts: BTreeMap<PartId, Mass>,
    /// How long it took, and how long the library says that what was taken off takes.
    pub minutes: Decimal,
    pub library_minutes: Decimal,
}

/// A kind with the shop's own figures in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LearnedKind {
    pub tree: Tree,
    /// By place in the tree, where anything was weighed: the mass of one, in grams.
    pub masses: BTreeMap<usize, Estimate>,
    /// What the library's minutes are multiplied by, if a time was taken.
    pub pace: Option<Estimate>,
    pub n: usize,
}

/// The library's tree with what the teardowns teach.
pub fn learn(library: &Tree, teardowns: &[Finished]) -> LearnedKind {
    let mut masses = BTreeMap::new();
    for (at, piece) in library.pieces().iter().enumerate() {
        let weighed = |done: &Finished| if at == 0 { done.whole } else { done.parts.get(&piece.id).copied() };
        let observed: Vec<Decimal> = teardowns.iter().filter_map(weighed).map(Mass::grams).collect();
        let spread = piece.spread.grams().max(piece.mass.grams() * LEAST_SPREAD);
        if let Some(estimate) = toward(piece.mass.grams(), spread, &observed) {
            masses.insert(at, estimate);
        }
    }
    let timed = |done: &&Finished| done.minutes > Decimal::ZERO && done.library_minutes > Decimal::ZERO;
    let paces: Vec<Decimal> =
        teardowns.iter().filter(timed).map(|done| done.minutes / done.library_minutes).collect();
    let pace = toward(Decimal::ONE, SPREAD_OF_TIME, &paces);
    let tree = library.with(|at, piece| {
        let mut piece = piece.clone();
        if let Some(estimate) = masses.get(&at) {
            piece.mass = Mass::from_grams(estimate.mean.round_dp(3).max(Decimal::ZERO));
        }
        if let Some(pace) = &pace {
            piece.minutes = (piece.minutes * pace.mean.max(Decimal::ZERO)).round_dp(2);
        }
        piece
    });
    LearnedKind { tree, masses, pace, n: teardowns.len() }
}

/// `None` without an observation.
fn toward(mean: Decimal, spread: Decimal, observed: &[Decimal]) -> Option<Estimate> {
    let deviation = spread.checked_div(COUNTS_AS.sqrt()?)?;
    if observed.is_empty() { None } else { shrink(Prior { mean, deviation }, observed, spread) }
}
