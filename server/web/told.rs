//! What was paid against what had been expected, settlement by settlement, drawn.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::history::{Told, Track};
use trade::money::{Currency, Money};

use super::page::{counted, day};

const LEFT: Decimal = dec!(58);
const RIGHT: Decimal = dec!(352);
const TOP: Decimal = dec!(12);
const BOTTOM: Decimal = dec!(188);
/// More than these do not fit on a phone side by side: the newest are drawn.
const DRAWN: usize = 24;
/// Percent of what was expected beyond which a mark stands at the edge.
const LOWEST: Decimal = dec!(0);
const HIGHEST: Decimal = dec!(200);

/// The chart ready to draw.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToldChart {
    pub title: String,
    pub description: String,
    pub levels: Vec<Level>,
    pub marks: Vec<Mark>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Level {
    pub y: i32,
    pub text: String,
}

/// One settlement: the range it was expected in, and where it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    pub range: String,
    pub point: String,
    pub fell_inside: bool,
}

impl ToldChart {
    /// In percent of what was expected; `None` where nothing was expected that could be a hundred.
    pub fn new(track: &Track, name: &str, currency: Currency) -> Option<ToldChart> {
        let hundred = dec!(100);
        let told: Vec<&Told> = track.told.iter().filter(|told| told.expected >= Decimal::ONE).collect();
        let newest = &told[told.len().saturating_sub(DRAWN)..];
        let percent =
            |told: &Told, amount: Decimal| (amount * hundred / told.expected).clamp(LOWEST, HIGHEST);
        let ends = newest.iter().flat_map(|told| {
            [told.range.low, told.range.high, told.paid].map(|amount| percent(told, amount))
        });
        let (mut least, mut most) = (dec!(95), dec!(105));
        for end in ends {
            least = least.min(end);
            most = most.max(end);
        }
        if newest.is_empty() {
            return None;
        }
        let five = dec!(5);
        let (least, most) = ((least / five).floor() * five, (most / five).ceil() * five);
        let y = |percent: Decimal| round(BOTTOM - (BOTTOM - TOP) * (percent - least) / (most - least));
        let slot = (RIGHT - LEFT) / Decimal::from(newest.len());
        let mark = |(index, told): (usize, &&Told)| {
            let x = round(LEFT + slot * (Decimal::from(index) + dec!(0.5)));
            let (low, high) = (y(percent(told, told.range.low)), y(percent(told, told.range.high)));
            let at = y(percent(told, told.paid));
            Mark {
                range: format!("M{x} {low}V{high}M{} {low}h8M{} {high}h8", x - 4, x - 4),
                point: match told.fell_inside() {
                    true => format!("M{} {at}a5 5 0 1 0 10 0a5 5 0 1 0-10 0z", x - 5),
                    false => format!("M{x} {}l6 6-6 6-6-6z", at - 6),
                },
                fell_inside: told.fell_inside(),
            }
        };
        let level = |percent: Decimal| Level { y: y(percent), text: format!("{} %", percent.normalize()) };
        let mut levels: Vec<Decimal> = vec![least, hundred, most];
        levels.dedup();
        let all = track.told.len();
        let words = |told: &&Told| {
            let money = |amount| Money::new(amount, currency).to_string();
            format!(
                "{}: {} paid, {} expected, {}",
                day(told.left),
                money(told.paid),
                money(told.expected),
                if told.fell_inside() { "inside" } else { "outside" }
            )
        };
        Some(ToldChart {
            title: format!(
                "What {name} paid, in percent of what was expected: of {}, {} fell inside",
                counted(all, "settlement", "settlements"),
                track.inside()
            ),
            description: newest.iter().map(words).collect::<Vec<_>>().join(". "),
            levels: levels.into_iter().map(level).collect(),
            marks: newest.iter().enumerate().map(mark).collect(),
        })
    }
}

fn round(place: Decimal) -> i32 {
    place.round().to_i32().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use trade::history::Range;

    fn told(expected: Decimal, low: Decimal, high: Decimal, paid: Decimal) -> Told {
        let range = Range { low, high };
        Told { id: "s".into(), left: date(2026, 5, 12), promised: expected, expected, range, paid }
    }

    #[test]
    fn marks_are_to_scale_and_read_aloud() {
        let track = Track {
            told: vec![
                told(dec!(200), dec!(190), dec!(206), dec!(196)),
                told(dec!(100), dec!(95), dec!(103), dec!(90)),
            ],
        };
        let chart = ToldChart::new(&track, "Lakeside", Currency::USD).expect("a chart");
        // From 90 to 105 percent over 176 units; two slots of 147.
        let levels: Vec<(i32, &str)> =
            chart.levels.iter().map(|level| (level.y, level.text.as_str())).collect();
        assert_eq!(levels, [(188, "90 %"), (71, "100 %"), (12, "105 %")]);
        assert_eq!(chart.marks[0].range, "M132 129V35M128 129h8M128 35h8");
        assert!(chart.marks[0].fell_inside && !chart.marks[1].fell_inside);
        assert_eq!(chart.marks[1].point, "M278 182l6 6-6 6-6-6z");
        assert!(chart.title.ends_with("of 2 settlements, 1 fell inside"));
        assert!(chart.description.ends_with("90.00 USD paid, 100.00 USD expected, outside"));
    }

    #[test]
    fn nothing_absurd_leaves_the_drawing() {
        assert_eq!(ToldChart::new(&Track::default(), "x", Currency::USD), None);
        let owed = told(dec!(-20), dec!(-30), dec!(-10), dec!(-20));
        assert_eq!(ToldChart::new(&Track { told: vec![owed] }, "x", Currency::USD), None);
        let far = told(dec!(1), dec!(-900_000_000), dec!(900_000_000), dec!(1_000_000_000));
        let chart = ToldChart::new(&Track { told: vec![far; 60] }, "x", Currency::USD).expect("a chart");
        assert_eq!(chart.marks.len(), DRAWN);
        assert!(chart.levels.iter().all(|level| (12..=188).contains(&level.y)));
    }
}
