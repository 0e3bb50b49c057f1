//! The year's drawing: for each month what came in, upwards, what went out, downwards, and a mark at what was left.

use rust_decimal::{Decimal, dec};
use trade::cash::Month;
use trade::money::show_amount;

use crate::web::thread::{Levels, Tick, along};

/// The plot in drawing units: room for the scale on its left and for the months below.
const LEFT: Decimal = dec!(62);
const TOP: Decimal = dec!(12);
const BOTTOM: Decimal = dec!(190);
/// What a month takes of the width, and its bars of that.
const MONTH: Decimal = dec!(24);
const BAR: Decimal = dec!(9);

/// What one month came to, in home currency: what went out is below zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MonthSum {
    pub month: Month,
    pub came_in: Decimal,
    pub went_out: Decimal,
}

impl MonthSum {
    pub fn left(&self) -> Decimal {
        self.came_in + self.went_out
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Months {
    pub title: String,
    /// The same in words, for those who hear it.
    pub description: String,
    pub levels: Vec<Tick>,
    pub zero: Decimal,
    pub months: Vec<Drawn>,
}

/// The bars of a month.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawn {
    /// Where its label stands, and its first letter.
    pub label: Tick,
    pub x_in: Decimal,
    pub y_in: Decimal,
    pub height_in: Decimal,
    pub x_out: Decimal,
    pub height_out: Decimal,
    /// The mark at what was left.
    pub mark: String,
}

impl Months {
    /// `None` where nothing came in or went out.
    pub fn new(year: i16, unit: &str, sums: &[MonthSum]) -> Option<Months> {
        let most = sums.iter().map(|sum| sum.came_in).max()?;
        let least = sums.iter().map(|sum| sum.went_out).min()?;
        if most.is_zero() && least.is_zero() {
            return None;
        }
        let levels = Levels::around(least.min(Decimal::ZERO), most.max(Decimal::ZERO));
        let y = |amount: Decimal| along(BOTTOM, TOP, amount - levels.low, levels.high - levels.low);
        let zero = y(Decimal::ZERO);
        let drawn = |(nth, sum): (usize, &MonthSum)| {
            let x = LEFT + MONTH * Decimal::from(nth);
            let (top, bottom, left) = (y(sum.came_in), y(sum.went_out), y(sum.left()));
            Drawn {
                label: Tick { at: x + MONTH / dec!(2), text: sum.month.name().chars().take(1).collect() },
                x_in: x + dec!(3),
                y_in: top,
                height_in: zero - top,
                x_out: x + dec!(3) + BAR,
                height_out: bottom - zero,
                mark: format!("M{} {left}H{}", x + dec!(2), x + dec!(4) + BAR * dec!(2)),
            }
        };
        let told = sums.iter().filter(|sum| !(sum.came_in.is_zero() && sum.went_out.is_zero())).map(|sum| {
            format!(
                "{}: in {}, out {}, left {}.",
                sum.month.name(),
                whole(sum.came_in),
                whole(-sum.went_out),
                whole(sum.left())
            )
        });
        Some(Months {
            title: format!("{year} by month, {unit}"),
            description: told.collect::<Vec<_>>().join(" "),
            levels: levels.marks().map(|amount| Tick { at: y(amount), text: whole(amount) }).collect(),
            zero,
            months: sums.iter().enumerate().map(drawn).collect(),
        })
    }
}

/// An amount without its minor unit, or with it where it would be nothing.
fn whole(amount: Decimal) -> String {
    show_amount(amount, if !amount.is_zero() && amount.abs() < dec!(10) { 2 } else { 0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sums(amounts: &[(Decimal, Decimal)]) -> Vec<MonthSum> {
        let months = Month::all_of(2026);
        months
            .iter()
            .zip(amounts)
            .map(|(month, (came_in, went_out))| MonthSum {
                month: *month,
                came_in: *came_in,
                went_out: *went_out,
            })
            .collect()
    }

    #[test]
    fn bars_are_to_scale_and_read_aloud() {
        let drawn = Months::new(
            2026,
            "USD",
            &sums(&[(dec!(400), dec!(-100)), (dec!(0), dec!(-400)), (dec!(0), dec!(0))]),
        )
        .expect("a drawing");
        // From −400 to 400 over 178 units: 400 are 89, 100 are 22.25.
        let first = &drawn.months[0];
        assert_eq!((drawn.zero, first.y_in, first.height_in), (dec!(101), dec!(12), dec!(89)));
        assert_eq!(first.height_out, dec!(22.2));
        assert_eq!(first.mark, "M64 34.2H84");
        assert_eq!(drawn.months[1].height_out, dec!(89));
        assert_eq!((drawn.months[2].height_in, drawn.months[2].height_out), (dec!(0), dec!(0)));
        assert_eq!(
            drawn.description,
            "January: in 400, out 100, left 300. February: in 0, out 400, left −400."
        );
        assert_eq!(drawn.months[1].label.text, "F");
    }

    #[test]
    fn nothing_is_not_drawn_and_anything_else_is() {
        assert_eq!(Months::new(2026, "USD", &[]), None);
        assert_eq!(Months::new(2026, "USD", &sums(&[(dec!(0), dec!(0)); 12])), None);
        for (most, least) in
            [(dec!(0.01), dec!(0)), (dec!(0), dec!(-1_000_000_000)), (dec!(1_000_000_000), dec!(-0.01))]
        {
            let drawn = Months::new(2026, "USD", &sums(&[(most, least)])).expect("a drawing");
            assert!(drawn.months.iter().all(|m| m.height_in >= dec!(0) && m.height_out >= dec!(0)));
        }
    }
}
