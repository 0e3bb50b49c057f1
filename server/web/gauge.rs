//! The bag gauge: a bag filling, with notches at the break-even weight and the ship weight.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::mass::{Mass, MassStyle};

/// Inside of the drawn bag, from its bottom up to its neck, in drawing units.
const BOTTOM: Decimal = dec!(142);
const HEIGHT: Decimal = dec!(118);
/// Least distance between two labels.
const LABEL: i32 = 42;

/// A label has two lines: below this the second would leave the drawing.
const LOWEST_LABEL: i32 = 130;

/// A gauge ready to draw. `id` tells apart the gauges of one page.
#[derive(Debug, Clone)]
pub struct Gauge {
    pub id: String,
    /// What it shows, for those who hear it.
    pub title: String,
    /// Top of the filling.
    pub level: i32,
    pub notches: Vec<Notch>,
    pub net: String,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notch {
    pub y: i32,
    pub label_y: i32,
    pub words: &'static str,
    pub mass: String,
}

impl Gauge {
    /// `break_even` and `ship` are left out where there is none.
    pub fn new(
        id: &str,
        label: &str,
        net: Mass,
        break_even: Option<Mass>,
        ship: Option<Mass>,
        style: MassStyle,
    ) -> Self {
        let full = [Some(net), break_even, ship].into_iter().flatten().max().unwrap_or(Mass::ZERO);
        // Headroom above the highest mark, so that a notch is never the rim.
        let full = full.grams() * dec!(1.12);
        let y = |mass: Mass| {
            let share = if full.is_zero() { Decimal::ZERO } else { mass.grams() / full };
            (BOTTOM - HEIGHT * share).round().to_i32().unwrap_or(0)
        };
        let mut notches: Vec<Notch> = [(break_even, "Pays to mail from"), (ship, "Best to ship at")]
            .into_iter()
            .filter_map(|(mass, words)| {
                let mass = mass?;
                Some(Notch { y: y(mass), label_y: y(mass), words, mass: style.show(mass) })
            })
            .collect();
        spread(&mut notches);
        let marks: String = notches.iter().map(|notch| format!("; {} {}", notch.words, notch.mass)).collect();
        Gauge {
            id: id.to_string(),
            title: format!("{label}: {}{marks}", style.show(net)),
            level: y(net),
            notches,
            net: style.show(net),
        }
    }
}

/// Moves labels apart that would lie on each other.
fn spread(notches: &mut [Notch]) {
    notches.sort_by_key(|notch| std::cmp::Reverse(notch.y));
    if let Some(lowest) = notches.first_mut() {
        lowest.label_y = lowest.label_y.min(LOWEST_LABEL);
    }
    for i in 1..notches.len() {
        let below = notches[i - 1].label_y;
        notches[i].label_y = notches[i].label_y.min(below - LABEL);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trade::mass::MassUnit;

    #[test]
    fn the_level_and_the_notches_are_to_scale_and_labels_do_not_overlap() {
        let lb = |n: Decimal| Mass::of(n, MassUnit::Pound);
        let gauge = Gauge::new(
            "g",
            "Bag 1",
            lb(dec!(10)),
            Some(lb(dec!(5))),
            Some(lb(dec!(5.2))),
            MassStyle::PoundsOunces,
        );
        // Half the mass, half the height.
        let filled = 142 - gauge.level;
        assert!((142 - gauge.notches[0].y - filled / 2).abs() <= 1);
        assert!(gauge.notches[0].label_y - gauge.notches[1].label_y >= LABEL);
        assert!(gauge.title.contains("Pays to mail from 5 lb 0.0 oz"));
        let empty = Gauge::new("g", "Bag 1", Mass::ZERO, None, None, MassStyle::Kilograms);
        assert_eq!(empty.level, 142);
    }
}
