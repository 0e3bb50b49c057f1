//! What is learned of a figure, drawn: the interval in which it lies four times out of five, what is expected, and what
//! the terms say.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::history::Estimate;

/// Units the drawing is wide, and what stays free at both ends.
const WIDTH: Decimal = dec!(340);
const EDGE: Decimal = dec!(10);

/// One interval ready to draw. `id` tells apart those of one page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Interval {
    pub id: String,
    /// What it shows, for those who hear it.
    pub title: String,
    pub low: i32,
    pub width: i32,
    pub mean: i32,
    pub terms: i32,
}

impl Interval {
    /// `show` spells a figure with its unit.
    pub fn new(
        id: String,
        what: &str,
        estimate: &Estimate,
        terms: Decimal,
        show: impl Fn(Decimal) -> String,
    ) -> Interval {
        let ends = [estimate.low, estimate.high, estimate.mean, terms];
        let least = ends.into_iter().min().unwrap_or_default();
        let most = ends.into_iter().max().unwrap_or_default();
        let at = |figure: Decimal| {
            let share = (figure - least).checked_div(most - least).unwrap_or(dec!(0.5));
            (EDGE + (WIDTH - EDGE * dec!(2)) * share).round().to_i32().unwrap_or(0)
        };
        let title = format!(
            "{what}: {} expected, between {} and {} four times out of five; the terms say {}",
            show(estimate.mean),
            show(estimate.low),
            show(estimate.high),
            show(terms)
        );
        let low = at(estimate.low);
        // An interval of nothing is still seen.
        let width = (at(estimate.high) - low).max(2);
        Interval { id, title, low, width, mean: at(estimate.mean), terms: at(terms) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(mean: Decimal, low: Decimal, high: Decimal) -> Estimate {
        Estimate { mean, low, high, settlements: 3 }
    }

    #[test]
    fn an_interval_is_to_scale_and_reads_aloud() {
        let shown = |figure: Decimal| format!("{} %", (figure * dec!(100)).normalize());
        let drawn = Interval::new(
            "a".into(),
            "Their scale",
            &estimate(dec!(0.96), dec!(0.92), dec!(1.00)),
            dec!(1.02),
            shown,
        );
        // 320 units for ten hundredths.
        assert_eq!((drawn.low, drawn.width, drawn.mean, drawn.terms), (10, 256, 138, 330));
        assert_eq!(
            drawn.title,
            "Their scale: 96 % expected, between 92 % and 100 % four times out of five; the terms say 102 %"
        );
        let nothing = Interval::new("b".into(), "Days", &estimate(dec!(0), dec!(0), dec!(0)), dec!(0), |d| {
            d.to_string()
        });
        assert_eq!((nothing.low, nothing.width, nothing.mean), (170, 2, 170));
    }
}
