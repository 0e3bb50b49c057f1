//! Columns without names, told by what their cells show.

use std::ops::Range;

use super::shown::Shown;
use super::{Panel, PriceColumn, TierColumn};
use crate::context::{Context, names_goods};
use crate::document::GridRow;
use crate::number::Marks;
use crate::vocabulary::{Use, VOCABULARY};

/// The panels that the cells themselves show, where no row names the columns.
pub(crate) fn shown(rows: &[GridRow], marks: Marks) -> Vec<Panel> {
    let width = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    let columns: Vec<Shown> = (0..width).map(|at| Shown::of(rows, at, marks)).collect();
    let Some(first) = shown_within(&columns, 0..width) else { return Vec::new() };
    let price = first.prices[0].at;
    // `No. 1 copper | 3.60 | | Cast | 0.61`: a second list beside the first, with rows of its own.
    let filled = |row: &GridRow, at: usize| row.cells.get(at).is_some_and(|cell| !cell.is_empty());
    let beside = shown_within(&columns, price + 1..width).filter(|panel| {
        let (name, other) = (panel.wording, panel.prices[0].at);
        // A row that only the second list has, or a heading in it, or headings of both.
        let own = |row: &GridRow| match filled(row, other) {
            true => !filled(row, first.wording),
            false => {
                VOCABULARY.has_within(&row.cells[name].shown(), Use::Group)
                    || filled(row, first.wording)
                        && !filled(row, price)
                        && [first.wording, name].iter().all(|at| names_goods(&row.cells[*at].shown()))
            }
        };
        name < other && first.wording < price && rows.iter().any(|row| filled(row, name) && own(row))
    });
    let Some(beside) = beside else { return vec![first] };
    let own = shown_within(&columns, 0..beside.wording).unwrap_or(first);
    vec![own, beside]
}

/// The panel that these columns show.
fn shown_within(columns: &[Shown], within: Range<usize>) -> Option<Panel> {
    let price = within.clone().filter(|&at| columns[at].mostly(columns[at].priced)).max_by_key(|&at| {
        // Of several, the surest, and of these the first.
        (columns[at].sure * 2 > columns[at].filled, std::cmp::Reverse(at))
    })?;
    let wording = within
        .clone()
        .filter(|&at| {
            at != price
                && columns[at].mostly(columns[at].words)
                && !columns[at].holds_codes()
                && !columns[at].holds_tiers()
        })
        // The name of a column counts as one of its cells, and that of the names is left blank at times.
        .max_by_key(|&at| (columns[at].distinct + usize::from(at < price), std::cmp::Reverse(at)))?;
    let mut panel = Panel {
        wording,
        prices: vec![PriceColumn { at: price, context: Context::default(), tier: None }],
        ..Panel::default()
    };
    for at in within.filter(|at| *at != price && *at != wording) {
        let column = &columns[at];
        if column.holds_tiers() {
            panel.tier_from.get_or_insert(TierColumn { at, unit: None });
        } else if column.mostly(column.units) {
            panel.unit.get_or_insert(at);
        } else if column.mostly(column.currencies) {
            panel.currency.get_or_insert(at);
        } else if at < wording && column.mostly(column.words) {
            panel.group.get_or_insert(at);
        } else if column.mostly(column.words) {
            panel.notes.push(at);
        }
    }
    Some(panel)
}
