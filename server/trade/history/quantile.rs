//! Student's t and the beta distribution: how much lies below a value, and the value below which so much lies.
//!
//! In `f64`: areas to about twelve places, quantiles to nine significant ones. Arguments that no distribution has (a
//! parameter that is not above zero, or not a number) give an answer that is finite and never a panic.

use special::Beta as _;

/// What of Student's t with so many degrees of freedom lies below `t`.
pub fn student_below(t: f64, degrees: f64) -> f64 {
    if t.is_nan() || degrees.is_nan() || degrees <= 0.0 {
        return 0.5;
    }
    let degrees = degrees.min(LARGEST_PARAMETER);
    let square = t * t;
    // A share of the beta distribution; from the nearer end, so that the tail keeps its figures.
    let tail = if square < degrees {
        0.5 - 0.5 * beta_below(square / (degrees + square), 0.5, degrees / 2.0)
    } else {
        0.5 * beta_below(degrees / (degrees + square), degrees / 2.0, 0.5)
    };
    if t > 0.0 { 1.0 - tail } else { tail }
}

/// The value that the part `part` of Student's t lies below.
pub fn student(part: f64, degrees: f64) -> f64 {
    if part < 0.5 {
        return -student(1.0 - part, degrees);
    }
    quantile(part, 0.0, |t| student_below(t, degrees))
}

/// What of the beta distribution lies below `x`.
pub fn beta_below(x: f64, a: f64, b: f64) -> f64 {
    if !(x > 0.0 && a > 0.0 && b > 0.0) {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let scale = (LARGEST_PARAMETER / a.max(b)).min(1.0);
    let (a, b) = (a * scale, b * scale);
    x.inc_beta(a, b, a.ln_beta(b)).clamp(0.0, 1.0)
}

pub fn beta(part: f64, a: f64, b: f64) -> f64 {
    between(part, 0.0, 1.0, |x| beta_below(x, a, b))
}

/// The logarithm of the gamma function of a positive number.
pub fn ln_gamma(x: f64) -> f64 {
    special::Gamma::ln_gamma(x).0
}

/// The value from `least` on that the part `part` of a distribution lies below, by what lies `below` each value.
pub fn quantile(part: f64, least: f64, below: impl Fn(f64) -> f64) -> f64 {
    let mut width = 1.0;
    while below(least + width) < part && width < 1e12 {
        width *= 2.0;
    }
    between(part, least, least + width, below)
}

/// The same between two values, of a distribution of any shape: along the chord, and every third step by halving, so that
/// a jump is found as surely as a slope.
pub fn between(part: f64, mut low: f64, mut high: f64, below: impl Fn(f64) -> f64) -> f64 {
    let (mut at_low, mut at_high) = (below(low) - part, below(high) - part);
    if at_low >= 0.0 {
        return low;
    }
    if at_high <= 0.0 {
        return high;
    }
    for step in 0..200 {
        let middle = low + (high - low) / 2.0;
        if high - low <= 1e-11 * (low.abs() + high.abs()) {
            return middle;
        }
        let chord = low + (high - low) * (at_low / (at_low - at_high));
        let tried = if step % 3 == 2 || !(low < chord && chord < high) { middle } else { chord };
        let at = below(tried) - part;
        if at.abs() <= 1e-12 {
            return tried;
        }
        // The end that stays counts half, or the chord would creep up from one side (the Illinois rule).
        if at < 0.0 {
            (low, at_low, at_high) = (tried, at, at_high / 2.0);
        } else {
            (high, at_high, at_low) = (tried, at, at_low / 2.0);
        }
    }
    low + (high - low) / 2.0
}

/// Beyond this the distributions hardly change in any figure that is shown, and the series would be long.
const LARGEST_PARAMETER: f64 = 1e5;
