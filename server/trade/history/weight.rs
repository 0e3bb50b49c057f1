//! Their weight by ours.
//!
//! Each settlement gives one ratio for each family in it. About a family's figure the ratios are normal with a variance
//! that is not known: the conjugate normal-inverse-gamma prior then gives Student's t for the next settlement, in
//! closed form. The ratio itself and not its logarithm, because money goes with the ratio, its mean is what the net
//! needs, and the exponential of a t has no mean; ratios lie so near 1 that the two hardly differ.

use std::collections::BTreeMap;

use super::pooled::{Pooled, Seen, Strength};
use super::quantile::student;
use crate::ids::Family;

/// What is believed of the spread of ratios before any is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// The standard deviation of one settlement's ratio.
    pub deviation: f64,
    /// How many observations that counts as.
    pub strength: f64,
}

impl Spread {
    /// Common practice, no source: a yard's scale reads to half a pound, buyers shake dirt and screws out; two in a
    /// hundred is what shops reckon with.
    pub const STANDARD: Spread = Spread { deviation: 0.02, strength: 4.0 };
}

/// The ratios of one outlet: where the next one is expected, and how far off it can be.
#[derive(Debug, Clone, PartialEq)]
pub struct Weights {
    pub pooled: Pooled,
    /// The posterior's scale for the ratio of one settlement.
    scale: f64,
    degrees: f64,
}

impl Weights {
    /// From the ratios of each family, in any order.
    pub fn learn(
        terms: f64,
        ratios: &BTreeMap<Family, Vec<f64>>,
        strength: Strength,
        spread: Spread,
    ) -> Weights {
        let mut squares = spread.strength * spread.deviation.powi(2);
        let mut families = BTreeMap::new();
        for (family, ratios) in ratios {
            let mut sorted: Vec<f64> = ratios.clone();
            sorted.sort_by(f64::total_cmp);
            let seen = Seen::of(&sorted.iter().map(|ratio| (*ratio, 1.0)).collect::<Vec<_>>());
            squares += sorted.iter().map(|ratio| (ratio - seen.mean).powi(2)).sum::<f64>();
            families.insert(family.clone(), seen);
        }
        let pooled = Pooled::new(terms, families, strength);
        let degrees = spread.strength + pooled.observations();
        let scale = ((squares + pooled.squares()) / degrees).sqrt();
        Weights { pooled, scale, degrees }
    }

    pub fn mean(&self, family: Option<&Family>) -> f64 {
        self.pooled.mean(family)
    }

    /// The degrees of freedom of Student's t for the next settlement.
    pub fn degrees(&self) -> f64 {
        self.degrees
    }

    /// The scale of the next settlement's total, where each family brings so much money for each unit of ratio: its
    /// own spread, what is not known of the family, and what is not known of the outlet, which all families share.
    pub fn scale_of(&self, stakes: &BTreeMap<Option<&Family>, f64>) -> f64 {
        let apart: f64 = stakes
            .iter()
            .map(|(family, stake)| stake.powi(2) * (1.0 + self.pooled.own_variance(*family)))
            .sum();
        let shared: f64 = stakes.iter().map(|(family, stake)| stake * self.pooled.kept(*family)).sum();
        self.scale * (apart + shared.powi(2) / self.pooled.outlet.count).sqrt()
    }

    /// Between which ratios the next settlement of a family lies four times out of five.
    pub fn next(&self, family: Option<&Family>) -> (f64, f64) {
        let half = student(0.9, self.degrees) * self.scale_of(&BTreeMap::from([(family, 1.0)]));
        let mean = self.mean(family);
        (mean - half, mean + half)
    }
}
