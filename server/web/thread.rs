//! The price thread: a grade's price over time at each outlet, with the sheets as points.

use jiff::civil::Date;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::money::show_amount;

use super::page::day;

/// The plot in drawing units: room for the scale on its left, for the last prices on its right, for the days below.
const LEFT: Decimal = dec!(52);
const RIGHT: Decimal = dec!(302);
const TOP: Decimal = dec!(14);
const BOTTOM: Decimal = dec!(190);
/// Least distance between two labels that stand above each other.
const LABEL: Decimal = dec!(17);
/// Threads that can be told apart by their dashes and points.
pub const MOST_THREADS: usize = 4;

/// What one outlet paid: on each day from which a sheet held, oldest first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spun {
    pub name: String,
    pub points: Vec<(Date, Decimal)>,
    /// The day up to which its last price holds.
    pub until: Date,
}

/// A drawing of up to [`MOST_THREADS`] outlets' prices.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thread {
    pub title: String,
    /// The same in words, for those who hear it.
    pub description: String,
    pub lines: Vec<Line>,
    pub levels: Vec<Tick>,
    pub days: Vec<Tick>,
}

/// One outlet's line. A price holds until the next sheet, so it runs in steps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub name: String,
    /// From 1; it chooses the dashes.
    pub number: usize,
    pub path: String,
    pub points: Vec<String>,
    /// The point that stands beside its name, in a drawing of 40 × 16.
    pub sample: String,
    pub last: Tick,
}

/// A mark on a scale and its label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tick {
    pub at: Decimal,
    pub text: String,
}

impl Thread {
    /// `None` without a single point. `unit` is what the amounts are in, such as `USD per lb`.
    pub fn new(grade: &str, unit: &str, spun: &[Spun]) -> Option<Thread> {
        let spun = &spun[..spun.len().min(MOST_THREADS)];
        let dates =
            || spun.iter().flat_map(|one| one.points.iter().map(|(date, _)| *date).chain([one.until]));
        let amounts = || spun.iter().flat_map(|one| one.points.iter().map(|(_, amount)| *amount));
        let (first, last) = (dates().min()?, dates().max()?);
        let levels = Levels::around(amounts().min()?, amounts().max()?);
        let x = |date: Date| along(LEFT, RIGHT, days_between(first, date), days_between(first, last));
        let y = |amount: Decimal| along(BOTTOM, TOP, amount - levels.low, levels.high - levels.low);

        let mut lines: Vec<Line> =
            (1..).zip(spun).filter_map(|(number, one)| line(number, one, x, y)).collect();
        spread(&mut lines);
        let told: Vec<String> = spun.iter().filter_map(in_words).collect();
        Some(Thread {
            title: format!("{grade} over time, {unit}"),
            description: told.join(" "),
            lines,
            levels: levels.marks().map(|amount| Tick { at: y(amount), text: shown(amount) }).collect(),
            days: day_marks(first, last).map(|date| Tick { at: x(date), text: short(date) }).collect(),
        })
    }
}

fn line(
    number: usize,
    spun: &Spun,
    x: impl Fn(Date) -> Decimal,
    y: impl Fn(Decimal) -> Decimal,
) -> Option<Line> {
    let (_, newest) = *spun.points.last()?;
    let mut path = String::new();
    for (date, amount) in &spun.points {
        path += &match path.is_empty() {
            true => format!("M{} {}", x(*date), y(*amount)),
            false => format!("H{}V{}", x(*date), y(*amount)),
        };
    }
    path += &format!("H{}", x(spun.until));
    let points = spun.points.iter().map(|(date, amount)| point(number, x(*date), y(*amount))).collect();
    let last = Tick { at: y(newest), text: shown(newest) };
    let sample = point(number, dec!(20), dec!(8));
    Some(Line { name: spun.name.clone(), number, path, points, sample, last })
}

/// A point with a shape of its own for each thread: round, square, a triangle, a diamond.
fn point(number: usize, x: Decimal, y: Decimal) -> String {
    match number {
        1 => format!("M{x} {y}m-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0z"),
        2 => format!("M{x} {y}m-4-4h8v8h-8z"),
        3 => format!("M{x} {y}m0-5l5 9h-10z"),
        _ => format!("M{x} {y}m0-5l5 5l-5 5l-5-5z"),
    }
}

/// Moves the last prices apart where they would lie on each other, the highest first.
fn spread(lines: &mut [Line]) {
    let mut order: Vec<usize> = (0..lines.len()).collect();
    order.sort_by_key(|&i| lines[i].last.at);
    for pair in 1..order.len() {
        let above = lines[order[pair - 1]].last.at;
        let label = &mut lines[order[pair]].last;
        label.at = label.at.max(above + LABEL);
    }
}

fn in_words(spun: &Spun) -> Option<String> {
    let (first, last) = (spun.points.first()?, spun.points.last()?);
    let name = &spun.name;
    if spun.points.len() == 1 {
        return Some(format!("{name}: {} on {}.", shown(first.1), day(first.0)));
    }
    let amounts = || spun.points.iter().map(|(_, amount)| *amount);
    Some(format!(
        "{name}: from {} on {} to {} on {}, lowest {}, highest {}.",
        shown(first.1),
        day(first.0),
        shown(last.1),
        day(last.0),
        shown(amounts().min()?),
        shown(amounts().max()?)
    ))
}

/// A round scale around the prices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Levels {
    pub low: Decimal,
    pub high: Decimal,
    step: Decimal,
}

impl Levels {
    /// Four steps or fewer of 1, 2, 2.5 or 5 times a power of ten that hold both.
    pub fn around(least: Decimal, most: Decimal) -> Levels {
        let spread = (most - least).max(most.abs() / dec!(20)).max(dec!(0.01));
        let mut power = dec!(0.001);
        loop {
            for round in [dec!(1), dec!(2), dec!(2.5), dec!(5)] {
                let step = round * power;
                // A large amount is only looked at with steps of its own size, whose count fits.
                if spread / step > dec!(4) {
                    continue;
                }
                let (low, high) = ((least / step).floor() * step, (most / step).ceil() * step);
                let high = if low == high { low + step } else { high };
                if (high - low) / step <= dec!(4) {
                    return Levels { low, high, step };
                }
            }
            power *= dec!(10);
        }
    }

    pub fn marks(self) -> impl Iterator<Item = Decimal> {
        let count = ((self.high - self.low) / self.step).round().to_u32().unwrap_or(1);
        (0..=count).map(move |nth| self.low + self.step * Decimal::from(nth))
    }
}

/// The first day, the last, and the middle one where there is room for its label.
fn day_marks(first: Date, last: Date) -> impl Iterator<Item = Date> {
    let days = (last - first).get_days();
    let middle = (days >= 4).then(|| first.saturating_add(jiff::Span::new().days(days / 2)));
    [Some(first), middle, (days > 0).then_some(last)].into_iter().flatten()
}

fn days_between(from: Date, to: Date) -> Decimal {
    Decimal::from((to - from).get_days())
}

/// Where `part` of `whole` lies between two ends, to a tenth of a drawing unit.
pub(super) fn along(start: Decimal, end: Decimal, part: Decimal, whole: Decimal) -> Decimal {
    // One day alone stands at the end.
    let share = if whole.is_zero() { Decimal::ONE } else { part / whole };
    (start + (end - start) * share).round_dp(1).normalize()
}

fn short(date: Date) -> String {
    date.strftime("%-d %b").to_string()
}

/// With two decimals, a third where it tells cheap grades apart, none where it is large.
pub fn shown(amount: Decimal) -> String {
    let third = amount.abs() < Decimal::ONE && amount.round_dp(3) != amount.round_dp(2);
    let decimals = match amount.abs() {
        large if large >= dec!(1000) => 0,
        _ if third => 3,
        _ => 2,
    };
    show_amount(amount, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn spun(name: &str, points: &[(i8, Decimal)]) -> Spun {
        let points = points.iter().map(|(day, amount)| (date(2026, 5, *day), *amount)).collect();
        Spun { name: name.into(), points, until: date(2026, 5, 21) }
    }

    #[test]
    fn a_thread_is_to_scale_and_runs_in_steps() {
        let drawn = Thread::new(
            "No. 2 copper",
            "USD per lb",
            &[spun("Lakeside", &[(1, dec!(3.00)), (11, dec!(4.00))]), spun("Harbor", &[(1, dec!(3.90))])],
        )
        .unwrap();
        // 20 days over 250 units: the second sheet is half-way. The scale runs from 3.00 to 4.00.
        assert_eq!(drawn.lines[0].path, "M52 190H177V14H302");
        let levels: Vec<&str> = drawn.levels.iter().map(|tick| tick.text.as_str()).collect();
        assert_eq!(levels, ["3.00", "3.25", "3.50", "3.75", "4.00"]);
        assert_eq!(
            drawn.days.iter().map(|d| d.text.as_str()).collect::<Vec<_>>(),
            ["1 May", "11 May", "21 May"]
        );
        assert_eq!(
            drawn.description,
            "Lakeside: from 3.00 on Fri\u{a0}1\u{a0}May\u{a0}2026 to 4.00 on Mon\u{a0}11\u{a0}May\u{a0}2026, lowest 3.00, \
             highest 4.00. Harbor: 3.90 on Fri\u{a0}1\u{a0}May\u{a0}2026."
        );
    }

    #[test]
    fn labels_of_the_last_prices_do_not_overlap() {
        let near = [dec!(3.00), dec!(3.01), dec!(3.00), dec!(3.02)];
        let all: Vec<Spun> = near.iter().map(|amount| spun("a", &[(1, *amount)])).collect();
        let mut at: Vec<Decimal> =
            Thread::new("g", "USD", &all).unwrap().lines.iter().map(|line| line.last.at).collect();
        at.sort();
        assert!(at.windows(2).all(|pair| pair[1] - pair[0] >= LABEL), "{at:?}");
    }

    #[test]
    fn every_price_has_a_scale() {
        for (least, most) in [
            (dec!(0), dec!(0)),
            (dec!(-0.05), dec!(0.10)),
            (dec!(0.0123), dec!(0.0124)),
            (dec!(999_999_999.99), dec!(1_000_000_000)),
            (dec!(-1_000_000_000), dec!(1_000_000_000)),
            (dec!(3.6), dec!(3.6)),
        ] {
            let levels = Levels::around(least, most);
            assert!(levels.low <= least && levels.high >= most && levels.low < levels.high, "{levels:?}");
            assert!((2..=5).contains(&levels.marks().count()), "{levels:?}");
        }
        assert_eq!(Thread::new("g", "USD", &[]), None);
    }
}
