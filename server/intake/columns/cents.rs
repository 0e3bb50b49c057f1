//! Prices in two columns, the money and its cents: `dollars | cents`.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::shown::Below;
use super::{Named, Panel, PriceColumn};
use crate::context::Context;
use crate::document::{Cell, GridRow};
use crate::vocabulary::{Column, Use, VOCABULARY};

/// `dollars | cents`: the second holds the cents of the first.
pub(super) fn dollars_and_cents(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    for at in 1..names.len() {
        let of_money = |name: &Named| {
            let bare = name.context.unit.is_none() && name.tier.is_none() && !name.context.cents;
            name.column == Column::Price && bare && !name.context.currencies.is_empty()
        };
        let called = matches!(&cells[at], Cell::Text(text) if VOCABULARY.has(text, Use::Cents));
        if called && names[at].is_none() && names[at - 1].as_ref().is_some_and(of_money) {
            let context = Context { cents: true, ..Context::default() };
            names[at] = Some(Named { column: Column::Price, context, tier: None });
        }
    }
    names
}

impl Panel {
    /// Takes in the cents of `dollars | cents`, below which nothing but whole numbers under a hundred stand.
    pub(super) fn join_cents(&mut self, below: &Below<'_>) {
        let [whole, cents, ..] = self.prices.as_slice() else { return };
        let plain = |column: &PriceColumn| column.tier.is_none() && column.context.unit.is_none();
        let of_money = plain(whole) && !whole.context.currencies.is_empty() && !whole.context.cents;
        let of_cents = plain(cents) && cents.context.cents && cents.context.currencies.is_empty();
        let at = cents.at;
        let cells = || below.rows.iter().filter_map(|row| row.cells.get(at)).filter(|cell| !cell.is_empty());
        let small = cells().filter(|cell| whole_number(cell).is_some_and(|cents| cents < 100)).count();
        if of_money && of_cents && at == whole.at + 1 && small > 1 && small * 10 >= cells().count() * 9 {
            self.cents = Some(at);
            self.prices.remove(1);
        }
    }

    /// A price in money and cents, from its two cells.
    pub fn whole_price(&self, row: &GridRow, column: &PriceColumn) -> Option<Cell> {
        let cents = self.cents.filter(|cents| *cents == column.at + 1)?;
        let part = |at: usize| match row.cells.get(at) {
            None | Some(Cell::Empty) => Some(None),
            Some(cell) => whole_number(cell).map(Some),
        };
        let (whole, cents) = (part(column.at)?, part(cents)?);
        let value = Decimal::from(whole.unwrap_or(0)) + Decimal::new(i64::from(cents.unwrap_or(0)), 2);
        (whole.is_some() || cents.is_some()).then(|| Cell::Number {
            value,
            said: Context::default(),
            percent: false,
        })
    }
}

/// `4`, `02`
fn whole_number(cell: &Cell) -> Option<u32> {
    match cell {
        Cell::Text(text) => text.trim().parse().ok(),
        Cell::Number { value, percent: false, .. } => value.is_integer().then(|| value.to_u32()).flatten(),
        _ => None,
    }
}
