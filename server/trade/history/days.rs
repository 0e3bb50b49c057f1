//! Days from the goods leaving to the money coming in.
//!
//! A payment is for a whole delivery, so days belong to the outlet and not to a family. They are taken as gamma: never
//! below nothing, skewed as late payers are, and with a mean to which the posterior is linear, so that with nothing settled it is the
//! terms' days exactly, zero among them. A log-normal could not hold the yard that pays at the scale, and with an unknown
//! spread it has no mean to reckon interest with. How regularly the outlet pays, the gamma's shape, is learned too: over
//! a few shapes, each weighed by how well it explains what was seen.

use super::quantile::{beta_below, ln_gamma, quantile};

/// From payments at random, as by a coin every day, to those that hardly vary.
const SHAPES: [f64; 7] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0];
/// Dates tell no finer than this.
const HALF_A_DAY: f64 = 0.5;

#[derive(Debug, Clone, PartialEq)]
pub struct Days {
    /// Payments, those of the terms among them.
    count: f64,
    pub mean: f64,
    /// Of each shape: how likely it is.
    likely: [f64; SHAPES.len()],
}

impl Days {
    pub fn learn(terms: f64, days: &[f64], strength: f64) -> Days {
        let mut sorted = days.to_vec();
        sorted.sort_by(f64::total_cmp);
        let count = strength + sorted.len() as f64;
        let mean = (strength * terms + sorted.iter().sum::<f64>()) / count;
        let fine: Vec<f64> = sorted.iter().map(|days| days.max(HALF_A_DAY)).collect();
        let evidence = SHAPES.map(|shape| evidence(shape, terms.max(HALF_A_DAY), &fine, strength));
        let most = evidence.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights = evidence.map(|evidence| (evidence - most).exp());
        let sum: f64 = weights.iter().sum();
        Days { count, mean, likely: weights.map(|weight| weight / sum) }
    }

    /// How likely the next payment comes within so many days.
    pub fn within(&self, days: f64) -> f64 {
        if self.mean <= 0.0 {
            return 1.0;
        }
        // The rate is gamma too, with the shape a and the rate b; the ratio of the two is a beta prime.
        let of = |shape: f64| {
            let (a, b) = (1.0 + shape * self.count, self.mean * self.count);
            beta_below(days / (days + b), shape, a)
        };
        SHAPES.iter().zip(self.likely).map(|(shape, likely)| likely * of(*shape)).sum()
    }

    /// The days within which the part `part` of next payments comes.
    pub fn quantile(&self, part: f64) -> f64 {
        if self.mean <= 0.0 { 0.0 } else { quantile(part, 0.0, |days| self.within(days)) }
    }

    /// Between which days the next payment comes four times out of five.
    pub fn next(&self) -> (f64, f64) {
        (self.quantile(0.1), self.quantile(0.9))
    }
}

/// The logarithm of how likely a shape makes these days.
fn evidence(shape: f64, terms: f64, days: &[f64], strength: f64) -> f64 {
    let count = days.len() as f64;
    let (a, b) = (1.0 + shape * strength, strength * terms);
    let (after_a, after_b) = (a + shape * count, b + days.iter().sum::<f64>());
    let each: f64 = days.iter().map(|days| (shape - 1.0) * days.ln()).sum();
    each - count * ln_gamma(shape) + ln_gamma(after_a) - ln_gamma(a) + a * b.ln() - after_a * after_b.ln()
}
