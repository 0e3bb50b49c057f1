//! The net ladder: a delivery's steps from the sheet's price down to what reaches the account, to scale. It is drawn
//! from the very list that the net is the sum of.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::money::{Currency, show_amount};
use trade::net::{Ladder, StepKind};

use super::page::unbroken;
use crate::shelf::Shelf;

/// Units the bars are drawn in: the whole width.
const WIDTH: Decimal = dec!(1000);

#[derive(Debug, Clone)]
pub struct LadderDrawing {
    pub rungs: Vec<Rung>,
    pub net: String,
    pub net_is_loss: bool,
    pub net_bar: Bar,
}

#[derive(Debug, Clone)]
pub struct Rung {
    pub label: &'static str,
    pub amount: String,
    pub foreign: Option<String>,
    pub working: String,
    pub takes: bool,
    pub bar: Bar,
}

/// Where a bar starts and how long it is, in thousandths of the drawing's width.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bar {
    pub x: u32,
    pub width: u32,
}

impl LadderDrawing {
    pub fn new(ladder: &Ladder, shelf: &Shelf) -> Self {
        let home = shelf.facts.costs.home;
        let mut heights = vec![Decimal::ZERO];
        for step in &ladder.steps {
            heights.push(heights.last().copied().unwrap_or_default() + step.home);
        }
        let low = heights.iter().copied().min().unwrap_or_default();
        let high = heights.iter().copied().max().unwrap_or_default();
        let bar = |from: Decimal, to: Decimal| Bar::between(from, to, low, high);
        let amount = |amount: Decimal| signed(amount, home);
        let rungs = ladder
            .steps
            .iter()
            .zip(heights.windows(2))
            .map(|(step, pair)| Rung {
                label: step.kind.label(),
                amount: amount(step.home),
                foreign: step.foreign.map(|money| signed(money.amount, money.currency)),
                working: match step.kind {
                    StepKind::SheetPrice => at_the_sheets_price(ladder, shelf),
                    _ => step.working.clone(),
                },
                takes: step.home < Decimal::ZERO,
                bar: bar(pair[0], pair[1]),
            })
            .collect();
        LadderDrawing {
            rungs,
            net: amount(ladder.net),
            net_is_loss: ladder.net < Decimal::ZERO,
            net_bar: bar(Decimal::ZERO, ladder.net),
        }
    }
}

/// The working of the first step, with the grades by their names.
fn at_the_sheets_price(ladder: &Ladder, shelf: &Shelf) -> String {
    let lines = ladder.lines.iter().map(|line| line.working(&shelf.grade_name(&line.grade)));
    lines.collect::<Vec<_>>().join("; ")
}

impl Bar {
    fn between(from: Decimal, to: Decimal, low: Decimal, high: Decimal) -> Bar {
        if high <= low {
            return Bar { x: 0, width: 1 };
        }
        let place =
            |value: Decimal| ((value - low) * WIDTH / (high - low)).round().to_u32().unwrap_or(0).min(1000);
        let (left, right) = (place(from.min(to)), place(from.max(to)));
        // A step of a few cents is still seen.
        let width = (right - left).max(3);
        Bar { x: left.min(1000 - width), width }
    }
}

fn signed(amount: Decimal, currency: Currency) -> String {
    unbroken(&format!("{} {}", show_amount(amount, trade::money::places(currency)), currency.code()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_lie_within_the_drawing_and_are_to_scale() {
        let half = Bar::between(dec!(100), dec!(50), dec!(0), dec!(100));
        assert_eq!(half, Bar { x: 500, width: 500 });
        // A net below zero starts left of the zero line.
        let loss = Bar::between(dec!(0), dec!(-25), dec!(-25), dec!(75));
        assert_eq!(loss, Bar { x: 0, width: 250 });
        let sliver = Bar::between(dec!(100), dec!(99.99), dec!(0), dec!(100));
        assert!(sliver.x + sliver.width <= 1000 && sliver.width >= 3);
        assert_eq!(Bar::between(dec!(0), dec!(0), dec!(0), dec!(0)).width, 1);
    }
}
