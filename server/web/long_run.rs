//! The long-run drawing: what a bag brings a week, by the weight that it is always shipped at.

use rust_decimal::{Decimal, dec};
use trade::cadence::{CurvePoint, ShipWeight};
use trade::mass::{Mass, MassStyle};
use trade::money::Currency;

use super::page::{DAYS_OF_WEEK, money, unbroken};
use super::thread::{Levels, Tick, along, shown};

/// The plot in drawing units: room for the scale on its left, for two rows of labels above, and for weights below.
const LEFT: Decimal = dec!(56);
const RIGHT: Decimal = dec!(346);
const TOP: Decimal = dec!(48);
const BOTTOM: Decimal = dec!(216);

/// Two points of the curve that lie this near are the two sides of a jump.
const JUMP: Mass = Mass::from_grams(dec!(0.000003));
/// How many freight steps are told in words.
const TOLD: usize = 8;

/// What is drawn beside the curve.
#[derive(Debug, Clone, Copy)]
pub struct Marks {
    /// What is in the bag now.
    pub now: Mass,
    pub break_even: Option<Mass>,
    /// The best weight if the bag fills as slowly, and as fast, as its interval has it.
    pub between: [Option<Mass>; 2],
}

/// The drawing, with the same in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LongRun {
    pub title: String,
    pub description: String,
    pub levels: Vec<Tick>,
    pub zero: Decimal,
    pub path: String,
    /// Left edge and width of the band of best weights, where both ends are known.
    pub band: Option<(Decimal, Decimal)>,
    pub ship: Mark,
    pub break_even: Option<Mark>,
    /// Where the bag is now.
    pub now: Decimal,
    pub last: String,
    /// Between which weights the best one lies, in a sentence.
    pub interval: String,
}

/// An upright line with its label, which stands on the side where there is room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    pub at: Decimal,
    pub text: String,
    pub is_right: bool,
}

impl LongRun {
    /// `None` for a curve with no more than a point.
    pub fn new(
        curve: &[CurvePoint],
        ship: &ShipWeight,
        marks: &Marks,
        style: MassStyle,
        home: Currency,
    ) -> Option<LongRun> {
        let mass = |mass: Mass| unbroken(&style.show(mass));
        let of_interest =
            [Some(ship.weight), Some(marks.now), marks.break_even, marks.between[0], marks.between[1]];
        let farthest = of_interest.into_iter().flatten().max()?.times(dec!(1.4));
        let last = curve.last()?.weight.min(farthest);
        let points: Vec<&CurvePoint> = curve.iter().filter(|point| point.weight <= last).collect();
        if points.len() < 2 {
            return None;
        }
        // Near nothing the rate falls without end: it is drawn down to as far below nothing as it gets above it, by half.
        let lowest = -ship.per_day / dec!(2);
        let weekly = |point: &CurvePoint| point.per_day * DAYS_OF_WEEK;
        let rates =
            || points.iter().map(|point| point.per_day.max(lowest) * DAYS_OF_WEEK).chain([Decimal::ZERO]);
        let levels = Levels::around(rates().min()?, rates().max()?);
        let x = |mass: Mass| along(LEFT, RIGHT, mass.min(last).grams(), last.grams());
        let y =
            |rate: Decimal| along(BOTTOM, TOP, rate.max(levels.low) - levels.low, levels.high - levels.low);
        let is_below = |nth: usize| points.get(nth).is_none_or(|point| weekly(point) < levels.low);
        let mut path = String::new();
        let mut letter = 'M';
        for (nth, point) in points.iter().enumerate() {
            // Below the drawing the line is left out, but for where it leaves and comes back.
            if is_below(nth) && is_below(nth + 1) && (nth == 0 || is_below(nth - 1)) {
                letter = 'M';
                continue;
            }
            path += &format!("{letter}{} {}", x(point.weight), y(weekly(point)));
            letter = 'L';
        }
        let mark = |mass: Mass, text: String| {
            let at = x(mass);
            Mark { at, text, is_right: at > (LEFT + RIGHT) / dec!(2) }
        };
        let band = match marks.between {
            [Some(low), Some(high)] => {
                let (low, high) = (x(low.min(high)), x(low.max(high)));
                (high > low).then(|| (low, high - low))
            }
            _ => None,
        };
        let interval = interval(marks.between, mass);
        let best = format!(
            "It brings most when it goes at {}: {} a week.",
            mass(ship.weight),
            money(ship.per_day * DAYS_OF_WEEK, home)
        );
        let pays = marks
            .break_even
            .map_or_else(String::new, |least| format!(" It pays to mail from {}.", mass(least)));
        let now = format!(" {} is in it now.", mass(marks.now));
        Some(LongRun {
            title: format!("What it brings a week, by the weight it goes at, up to {}", mass(last)),
            description: format!("{best} {interval}{pays}{now}{}", steps(&points, mass)),
            levels: levels.marks().map(|rate| Tick { at: y(rate), text: shown(rate) }).collect(),
            zero: y(Decimal::ZERO),
            path,
            band,
            ship: mark(ship.weight, format!("best {}", mass(ship.weight))),
            break_even: marks.break_even.map(|least| mark(least, format!("pays from {}", mass(least)))),
            now: x(marks.now),
            last: mass(last),
            interval,
        })
    }
}

fn interval([slow, fast]: [Option<Mass>; 2], mass: impl Fn(Mass) -> String) -> String {
    let words = match (slow, fast) {
        (Some(slow), Some(fast)) if slow == fast => {
            format!("the best weight is {}, however fast it fills", mass(slow))
        }
        (Some(slow), Some(fast)) => {
            format!("the best weight is {} if it fills slowly, {} if it fills fast", mass(slow), mass(fast))
        }
        (None, Some(fast)) => {
            format!("the best weight is {} if it fills fast, and less the slower it fills", mass(fast))
        }
        _ => return String::new(),
    };
    format!("In four cases of five {words}.")
}

/// The weights at which the rate drops: a heavier parcel costs a step more there.
fn steps(drawn: &[&CurvePoint], mass: impl Fn(Mass) -> String) -> String {
    let drops: Vec<String> = drawn
        .windows(2)
        .filter(|pair| pair[1].weight - pair[0].weight <= JUMP && pair[1].per_day < pair[0].per_day)
        // The rounding of a line beside an exact figure is no step.
        .filter(|pair| (pair[0].per_day - pair[1].per_day) * DAYS_OF_WEEK > dec!(0.0001))
        .map(|pair| mass(pair[0].weight))
        .collect();
    match drops.len() {
        0 => String::new(),
        many if many > TOLD => {
            format!(" The cost steps up {many} times, first at {}.", drops[..TOLD].join(", "))
        }
        _ => format!(" The cost steps up past {}.", drops.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trade::cadence::{Filling, ship_weight};

    fn grams(grams: i64) -> Mass {
        Mass::from_grams(grams.into())
    }

    /// A cent a gram; a parcel costs 2.00 up to 400 g, 4.00 up to 1 kg.
    fn net(mass: Mass) -> Option<Decimal> {
        let freight = match mass.grams() {
            light if light <= dec!(400) => dec!(2),
            heavy if heavy <= dec!(1000) => dec!(4),
            _ => return None,
        };
        Some(mass.grams() * dec!(0.01) - freight)
    }

    fn filling(breaks: &[Mass]) -> Filling<'_> {
        Filling { breaks, up_to: grams(1000), per_day: grams(10), holding: dec!(0.000001) }
    }

    #[test]
    fn the_freight_steps_show_and_the_marks_are_to_scale() {
        let breaks = [grams(400)];
        let ship = ship_weight(&net, &filling(&breaks)).expect("it pays");
        let marks = Marks {
            now: grams(500),
            break_even: Some(grams(200)),
            between: [Some(grams(400)), Some(grams(1000))],
        };
        let curve = trade::cadence::long_run(&net, &filling(&breaks));
        let drawn =
            LongRun::new(&curve, &ship, &marks, MassStyle::Kilograms, Currency::USD).expect("a drawing");
        // 10 g a day at 1 kg: (10.00 − 4.00) / 100 days less 0.000001 × 1000 / 2, or 0.0595 a day; at 400 g (4.00 −
        // 2.00) / 40 days less 0.0002, or 0.0498.
        assert_eq!((ship.weight, ship.per_day), (grams(1000), dec!(0.0595)));
        assert_eq!(drawn.ship.at, RIGHT, "1 kg is the end of the scale");
        assert!(drawn.ship.is_right);
        // 200 g of 1 kg: a fifth of 290 units from the left; 500 g half.
        assert_eq!(drawn.break_even.as_ref().map(|mark| mark.at), Some(dec!(114)));
        assert_eq!(drawn.now, dec!(201));
        assert_eq!(drawn.band, Some((dec!(172), dec!(174))));
        assert!(drawn.description.contains("The cost steps up past 400\u{a0}g."), "{}", drawn.description);
        assert!(
            drawn
                .description
                .starts_with("It brings most when it goes at 1.000\u{a0}kg: 0.42\u{a0}USD a week."),
            "{}",
            drawn.description
        );
        // The line falls straight down at the step: two points above each other.
        let places: Vec<(&str, &str)> =
            drawn.path[1..].split('L').filter_map(|place| place.split_once(' ')).collect();
        assert!(places.windows(2).any(|pair| pair[0].0 == pair[1].0 && pair[0].0 == "172"), "{}", drawn.path);
    }

    #[test]
    fn an_interval_says_what_is_known_of_it() {
        let show = |mass: Mass| format!("{} g", mass.grams());
        assert_eq!(
            interval([Some(grams(1)), Some(grams(2))], show),
            "In four cases of five the best weight is 1 g if it fills slowly, 2 g if it fills fast."
        );
        assert_eq!(
            interval([Some(grams(2)), Some(grams(2))], show),
            "In four cases of five the best weight is 2 g, however fast it fills."
        );
        assert_eq!(
            interval([None, Some(grams(2))], show),
            "In four cases of five the best weight is 2 g if it fills fast, and less the slower it fills."
        );
        assert_eq!(interval([None, None], show), "");
    }
}
