//! What one outlet did with each family of grades, drawn toward what it does with all of them, and that toward the
//! terms.
//!
//! A family's own figure lies about the outlet's, the outlet's about the terms', and what is seen about the family's. Where these three spreads are
//! normal with variances in the ratios of the strengths, this is the exact posterior; for shares and days it is the
//! linear estimator with the least error (Jewell's hierarchical credibility).

use std::collections::BTreeMap;

use crate::ids::Family;

/// How much stands behind a figure before anything is seen, counted in observations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strength {
    /// Of the terms, for the outlet as a whole.
    pub outlet: f64,
    /// Of the outlet as a whole, for one family. Infinite where families are all one.
    pub family: f64,
}

impl Strength {
    /// For a family that is settled alone both come to four observations: 1/8 + 1/8 = 1/4.
    pub const STANDARD: Strength = Strength { outlet: 8.0, family: 8.0 };

    /// How many observations of one family alone the terms count as.
    pub fn for_one_family(self) -> f64 {
        1.0 / (1.0 / self.outlet + 1.0 / self.family)
    }

    /// What stays of the family's own strength beside `count` observations of it.
    fn kept(self, count: f64) -> f64 {
        1.0 / (1.0 + count / self.family)
    }
}

/// What was seen of one family: how often, and the mean of it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seen {
    pub count: f64,
    pub mean: f64,
}

impl Seen {
    /// Of values with their weights. They are put in order first, so that the sums do not depend on who came first.
    pub fn of(values: &[(f64, f64)]) -> Seen {
        let mut sorted = values.to_vec();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let count: f64 = sorted.iter().map(|(_, weight)| weight).sum();
        let sum: f64 = sorted.iter().map(|(value, weight)| value * weight).sum();
        if count > 0.0 { Seen { count, mean: sum / count } } else { Seen::default() }
    }
}

/// The pooled figures of one outlet.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    strength: Strength,
    pub terms: f64,
    /// The outlet's own mean, and how many observations stand behind it.
    pub outlet: Seen,
    families: BTreeMap<Family, Seen>,
}

impl Pooled {
    pub fn new(terms: f64, families: BTreeMap<Family, Seen>, strength: Strength) -> Pooled {
        // A family's observations say as much about the outlet as they do beside the families' own differences.
        let weight = |seen: &Seen| seen.count * strength.kept(seen.count);
        let count = strength.outlet + families.values().map(weight).sum::<f64>();
        let sum: f64 =
            strength.outlet * terms + families.values().map(|seen| weight(seen) * seen.mean).sum::<f64>();
        let mean = if count > 0.0 { sum / count } else { terms };
        Pooled { strength, terms, outlet: Seen { count, mean }, families }
    }

    fn seen(&self, family: Option<&Family>) -> Seen {
        family.and_then(|family| self.families.get(family)).copied().unwrap_or_default()
    }

    /// The figure of one family; of none that was seen, the outlet's.
    pub fn mean(&self, family: Option<&Family>) -> f64 {
        let seen = self.seen(family);
        let kept = self.kept(family);
        kept * self.outlet.mean + (1.0 - kept) * seen.mean
    }

    /// The part of a family's figure that comes from the outlet's.
    pub fn kept(&self, family: Option<&Family>) -> f64 {
        self.strength.kept(self.seen(family).count)
    }

    /// The variance of a family's figure about the outlet's, where one observation has the variance 1.
    pub fn own_variance(&self, family: Option<&Family>) -> f64 {
        1.0 / (self.strength.family + self.seen(family).count)
    }

    /// How many observations stand behind a family's figure, those of the terms among them.
    pub fn behind(&self, family: Option<&Family>) -> f64 {
        1.0 / (self.own_variance(family) + self.kept(family).powi(2) / self.outlet.count)
    }

    /// The sum of squares by which the families' means lie off the outlet's, and that off the terms'.
    pub fn squares(&self) -> f64 {
        let off = |mean: f64| (mean - self.outlet.mean).powi(2);
        let families =
            self.families.values().map(|seen| seen.count * self.strength.kept(seen.count) * off(seen.mean));
        families.sum::<f64>() + self.strength.outlet * off(self.terms)
    }

    /// Observations in all, those of the terms not among them.
    pub fn observations(&self) -> f64 {
        self.families.values().map(|seen| seen.count).sum()
    }
}
