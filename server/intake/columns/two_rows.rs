//! Names of columns that take two rows.

use super::column_name::name;
use super::{Named, holds_price};
use crate::document::{Cell, GridRow};
use crate::number::Marks;
use crate::vocabulary::Column;

/// Names of columns in two rows, as one: `Material | Price` above ` | 1-99 lb | 100+ lb` or ` | min | max`. `None` where the
/// second row is none of names.
pub(crate) fn in_two_rows(above: &GridRow, below: &GridRow, marks: Marks) -> Option<GridRow> {
    if holds_price(below, marks) {
        return None;
    }
    let says_nothing = |cell: &Cell| !cell.seen().contains(char::is_alphanumeric);
    let names = |row: &GridRow| row.cells.iter().map(|cell| name(cell, marks)).collect::<Vec<_>>();
    let (upper, lower) = (names(above), names(below));
    let tiers = lower.iter().flatten().filter(|name| name.tier.is_some()).count();
    let ranges = ranges(&upper, &lower);
    let wording = upper.iter().flatten().any(|name| matches!(name.column, Column::Wording | Column::Group));
    // `NZ$ per kilo | Weight on the day` above ` | 0-100 kg | 100 kg and up`: the first says how all are priced.
    let priced = upper.first().and_then(Option::as_ref).is_some_and(|name| name.column == Column::Price);
    let wording = wording || priced && below.cells.first().is_none_or(says_nothing);
    let tiers_above = upper.iter().flatten().any(|name| name.tier.is_some());
    let first = below.cells.iter().position(|cell| !says_nothing(cell));
    let apart =
        first.is_some_and(|first| first > 0 && above.cells.iter().take(first).any(|cell| !cell.is_empty()));
    let all = lower.iter().zip(&below.cells).all(|(name, cell)| name.is_some() || says_nothing(cell));
    if (tiers < 2 && ranges.is_empty()) || !wording || tiers_above || !apart || !all {
        return None;
    }
    let width = above.cells.len().max(below.cells.len());
    let cell = |row: &GridRow, at: usize| row.cells.get(at).filter(|cell| !cell.is_empty()).cloned();
    // `Price, €/kg` above the least says what both are told in.
    let of_range = |at: usize| {
        let low = *ranges.iter().find(|low| at == **low || at == **low + 1)?;
        Some(Cell::of(&format!("{} {}", above.cells[low].shown(), cell(below, at)?.shown())))
    };
    let cells = (0..width).map(|at| {
        of_range(at).or_else(|| cell(below, at)).or_else(|| cell(above, at)).unwrap_or(Cell::Empty)
    });
    Some(GridRow { place: above.place.clone(), cells: cells.collect() })
}

/// Where the second row names the least, and right of it the most, of what the first calls a price: once, or for several of them,
/// `PER POUND | | PER KILO` above `low | high | low | high`.
fn ranges(upper: &[Option<Named>], lower: &[Option<Named>]) -> Vec<usize> {
    let is = |at: usize, columns: [Column; 2]| {
        let name = lower.get(at).and_then(Option::as_ref);
        name.is_some_and(|name| name.tier.is_none() && columns.contains(&name.column))
    };
    let column = |at: usize| upper.get(at).and_then(Option::as_ref).map(|name| name.column);
    let of_price =
        |at: usize| column(at) == Some(Column::Price) && column(at + 1).is_none_or(|of| of == Column::Price);
    let ends = |at: &usize| {
        is(*at, [Column::TierFrom, Column::Low])
            && is(at + 1, [Column::TierTo, Column::High])
            && of_price(*at)
    };
    let all =
        lower.iter().flatten().filter(|name| matches!(name.column, Column::TierFrom | Column::Low)).count();
    let found: Vec<usize> = (0..lower.len()).filter(ends).collect();
    if found.len() == all { found } else { Vec::new() }
}
