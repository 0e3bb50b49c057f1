//! How fast a bag fills, from its own ledger.

use jiff::civil::Date;
use rust_decimal::{Decimal, MathematicalOps, dec};

use crate::mass::{HEAVIEST_GRAMS, Mass};

/// Mass that comes in per day, with the interval in which the true rate lies four times out of five.
///
/// Assumed: weeks are alike and independent, and a week's sum is near enough to normal for Student's t. The first
/// weighing only opens the count, because it holds what was there before; since then, whole weeks back from today are
/// counted, the empty ones too, up to a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FillRate {
    pub per_day: Mass,
    pub low: Mass,
    pub high: Mass,
    /// Whole weeks that it was taken from.
    pub weeks: u32,
    /// The first day of these weeks; the last is today.
    pub from: Date,
}

/// Fewer weeks say nothing about the next one.
const FEWEST_WEEKS: usize = 3;
const MOST_WEEKS: usize = 52;

impl FillRate {
    /// From what was added on which day, in any order, reversals as negative masses; what was taken out to be sold is
    /// not to be in it. `None` with less than three whole weeks of history.
    pub fn estimate(additions: &[(Date, Mass)], today: Date) -> Option<FillRate> {
        let opened = additions.iter().map(|(date, _)| *date).min()?;
        let weeks = usize::try_from(days_between(opened, today) / 7).ok()?.min(MOST_WEEKS);
        if weeks < FEWEST_WEEKS {
            return None;
        }
        let mut sums = vec![Decimal::ZERO; weeks];
        for (date, mass) in additions {
            // Week 0 ends today. The day of the first weighing lies before the oldest week.
            let ago = days_between(*date, today);
            let week = usize::try_from(ago).ok().filter(|_| *date != opened).map(|ago| ago / 7);
            if let Some(sum) = week.and_then(|week| sums.get_mut(week)) {
                *sum += mass.grams().clamp(-HEAVIEST_GRAMS, HEAVIEST_GRAMS);
            }
        }
        let count = Decimal::from(weeks);
        let mean = sums.iter().sum::<Decimal>() / count;
        let squares: Decimal = sums.iter().map(|sum| (sum - mean) * (sum - mean)).sum();
        let variance_of_mean = squares / (count - Decimal::ONE) / count;
        let half = student_90(weeks - 1) * variance_of_mean.sqrt().unwrap_or_default();
        let per_day = |week: Decimal| Mass::from_grams((week.max(Decimal::ZERO) / dec!(7)).round_dp(6));
        let from = today.saturating_sub(jiff::Span::new().days(i64::try_from(weeks * 7 - 1).ok()?));
        Some(FillRate {
            per_day: per_day(mean),
            low: per_day(mean - half),
            high: per_day(mean + half),
            weeks: u32::try_from(weeks).ok()?,
            from,
        })
    }

    /// Days until a bag of `mass` reaches `weight`, at the estimated rate; `None` where it does not fill.
    pub fn days_until(&self, mass: Mass, weight: Mass) -> Option<Decimal> {
        let missing = (weight - mass).max(Mass::ZERO);
        missing.grams().checked_div(self.per_day.grams())
    }
}

fn days_between(from: Date, to: Date) -> i32 {
    from.duration_until(to).as_hours().try_into().map_or(0, |hours: i32| hours / 24)
}

/// The 90 % quantile of Student's t, which bounds 80 % on both sides; NIST/SEMATECH e-Handbook of Statistical Methods
/// 1.3.6.7.2 (from memory; the tests integrate the density again). Beyond 30 degrees of freedom it hardly falls any more.
fn student_90(degrees_of_freedom: usize) -> Decimal {
    const THOUSANDTHS: [i64; 30] = [
        3078, 1886, 1638, 1533, 1476, 1440, 1415, 1397, 1383, 1372, 1363, 1356, 1350, 1345, 1341, 1337, 1333,
        1330, 1328, 1325, 1323, 1321, 1319, 1318, 1316, 1315, 1314, 1313, 1311, 1310,
    ];
    Decimal::new(THOUSANDTHS[degrees_of_freedom.clamp(1, THOUSANDTHS.len()) - 1], 3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use rust_decimal::prelude::ToPrimitive;

    /// With x = √ν·tan θ the density of t becomes cos^(ν−1) θ, so that the quantile can be checked by a sum.
    #[test]
    fn table_is_students_t() {
        for degrees in 1..=30usize {
            let area = |to: f64| {
                let steps = 20_000;
                let width = to / f64::from(steps);
                (0..steps).map(|i| ((f64::from(i) + 0.5) * width).cos().powi(degrees as i32 - 1)).sum::<f64>()
                    * width
            };
            let below = |t: f64| {
                0.5 + 0.5 * area((t / (degrees as f64).sqrt()).atan()) / area(std::f64::consts::FRAC_PI_2)
            };
            let t = student_90(degrees).to_f64().unwrap();
            assert!(below(t - 0.00051) < 0.9 && below(t + 0.00051) > 0.9, "{degrees}");
        }
    }

    fn grams(grams: i64) -> Mass {
        Mass::from_grams(grams.into())
    }

    /// Worked by hand: weeks of 700, 1400 and 2100 g have the mean 1400 and the standard deviation 700, so that the
    /// interval is 1400 ± 1.886 · 700 / √3 = 1400 ± 762.23 a week.
    #[test]
    fn rate_and_interval_by_hand() {
        let today = date(2026, 5, 31);
        let additions = [
            (date(2026, 5, 10), grams(9000)), // opens the count, 21 days ago
            (date(2026, 5, 11), grams(700)),
            (date(2026, 5, 18), grams(1000)),
            (date(2026, 5, 24), grams(400)),
            (date(2026, 5, 25), grams(1100)),
            (date(2026, 5, 31), grams(1200)),
            (date(2026, 5, 31), grams(-200)),
        ];
        let rate = FillRate::estimate(&additions, today).unwrap();
        assert_eq!((rate.weeks, rate.from), (3, date(2026, 5, 11)));
        assert_eq!(rate.per_day, grams(200));
        let half = dec!(762.23) / dec!(7);
        assert!((rate.low.grams() - (dec!(200) - half)).abs() < dec!(0.01));
        assert!((rate.high.grams() - (dec!(200) + half)).abs() < dec!(0.01));
        assert_eq!(rate.days_until(grams(1000), grams(3000)), Some(dec!(10)));
        assert_eq!(rate.days_until(grams(4000), grams(3000)), Some(dec!(0)));
    }

    #[test]
    fn too_little_history_gives_no_rate() {
        let today = date(2026, 5, 31);
        assert_eq!(FillRate::estimate(&[], today), None);
        assert_eq!(FillRate::estimate(&[(date(2026, 5, 11), grams(5))], today), None);
        // In the future: a slip, and no history.
        assert_eq!(FillRate::estimate(&[(date(2027, 1, 1), grams(5))], today), None);
        // Opened, and nothing since: it does not fill.
        let rate = FillRate::estimate(&[(date(2026, 5, 10), grams(5))], today).unwrap();
        assert_eq!((rate.per_day, rate.low, rate.high), (Mass::ZERO, Mass::ZERO, Mass::ZERO));
        assert_eq!(rate.days_until(grams(1), grams(2)), None);
    }
}
