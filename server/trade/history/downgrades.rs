//! Loads that were set to a lower grade.
//!
//! Each load was, or was not, or in part: a share that the conjugate beta prior follows, with the terms' estimate as so
//! many loads seen before. The mean is that of Beta(s, n − s) over those loads and the settled ones, which with none
//! settled is the terms' figure and nothing else. Its interval is Jeffreys', with the end closed where nothing or everything was seen
//! (Brown, Cai, DasGupta, Interval Estimation for a Binomial Proportion, Statistical Science 16, 2001, from memory):
//! the plain posterior would call a thing that has not happened yet impossible.

use std::collections::BTreeMap;

use super::pooled::{Pooled, Seen, Strength};
use super::quantile::beta;
use crate::ids::Family;

/// One load that was settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Downgraded {
    /// The part of it that was paid as a lower grade.
    pub part: f64,
    /// The part of the price that was lost on that.
    pub drop: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Downgrades {
    pub chance: Pooled,
    drop: Pooled,
}

impl Downgrades {
    /// `terms` are the shop's own estimates of how often, and by how much.
    pub fn learn(
        terms: Downgraded,
        loads: &BTreeMap<Family, Vec<Downgraded>>,
        strength: Strength,
    ) -> Downgrades {
        let seen = |value: fn(&Downgraded) -> (f64, f64)| {
            let of = |loads: &Vec<Downgraded>| Seen::of(&loads.iter().map(value).collect::<Vec<_>>());
            loads.iter().map(|(family, loads)| (family.clone(), of(loads))).collect::<BTreeMap<_, _>>()
        };
        let chance = Pooled::new(terms.part, seen(|load| (load.part, 1.0)), strength);
        // A shop that named no drop has no estimate of it, and none that could stand against what is seen.
        let outlet = if terms.drop > 0.0 { strength.outlet } else { 0.0 };
        let drop = Pooled::new(
            terms.drop,
            seen(|load| (load.drop, load.part)),
            Strength { outlet, family: strength.family },
        );
        Downgrades { chance, drop }
    }

    /// How often a load of the family is downgraded.
    pub fn chance(&self, family: Option<&Family>) -> f64 {
        self.chance.mean(family).clamp(0.0, 1.0)
    }

    /// The part of the price that a downgrade costs.
    pub fn drop(&self, family: Option<&Family>) -> f64 {
        self.drop.mean(family).clamp(0.0, 1.0)
    }

    /// Between which shares the family's true one lies four times out of five.
    pub fn share(&self, family: Option<&Family>) -> (f64, f64) {
        let loads = self.chance.behind(family);
        share_of(self.chance(family) * loads, loads)
    }
}

/// Jeffreys' 80 % interval for `some` of `all`, which need not be whole.
pub fn share_of(some: f64, all: f64) -> (f64, f64) {
    let (a, b) = (some + 0.5, all - some + 0.5);
    let mean = if all > 0.0 { some / all } else { 0.5 };
    let low = if some <= 0.0 { 0.0 } else { beta(0.1, a, b).min(mean) };
    let high = if some >= all { 1.0 } else { beta(0.9, a, b).max(mean) };
    (low, high)
}
