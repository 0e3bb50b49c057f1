//! Names side by side with their prices right below them, as on a board at the gate.

use crate::context::speaks_of_goods;
use crate::document::{Block, Cell, Document, GridRow};
use crate::price;

/// So many rows of names with prices below them are such a board.
const FEWEST_PAIRS: usize = 2;
/// Names of one row.
const FEWEST_NAMES: usize = 3;

/// Puts each name beside its price in the tables of a document where they stand so.
pub(crate) fn name_by_name(document: &mut Document) {
    for block in &mut document.blocks {
        if let Block::Table(rows) = block
            && let Some(stood) = side_by_side(rows)
        {
            *rows = stood;
        }
    }
}

/// The rows with each name beside its price, all others as they are; `None` where no names stand above prices.
fn side_by_side(rows: &[GridRow]) -> Option<Vec<GridRow>> {
    let above = |at: usize| {
        let below = |below: &GridRow| holds_names(&rows[at]) && prices(&rows[at], below);
        may_be_names(&rows[at]) && rows.get(at + 1).is_some_and(below)
    };
    let pairs: Vec<usize> = (0..rows.len()).filter(|&at| above(at)).collect();
    let full = rows.iter().filter(|row| filled(row).count() >= FEWEST_NAMES).count();
    // What heads a table of columns stands above many rows.
    if pairs.len() < FEWEST_PAIRS || pairs.len() * 5 < full * 2 {
        return None;
    }
    let mut stood = Vec::with_capacity(rows.len());
    let mut at = 0;
    while at < rows.len() {
        if pairs.binary_search(&at).is_ok() {
            let pair = |column: usize| GridRow {
                place: rows[at].place.clone(),
                cells: vec![rows[at].cells[column].clone(), rows[at + 1].cells[column].clone()],
            };
            stood.extend(filled(&rows[at]).map(pair));
            at += 2;
        } else {
            let row = &rows[at];
            stood.push(GridRow { place: row.place.clone(), cells: row.cells.clone() });
            at += 1;
        }
    }
    Some(stood)
}

fn filled(row: &GridRow) -> impl Iterator<Item = usize> + '_ {
    (0..row.cells.len()).filter(|&at| !row.cells[at].is_empty())
}

/// Whether each cell begins as a name does: most rows of most tables have one that does not.
fn may_be_names(row: &GridRow) -> bool {
    let begins = |text: &str| text.trim_start().starts_with(|c: char| c.is_alphabetic() || c == '#');
    row.cells.iter().all(|cell| matches!(cell, Cell::Text(text) if begins(text)) || cell.is_empty())
}

fn holds_names(row: &GridRow) -> bool {
    let is_name = |at: usize| matches!(&row.cells[at], Cell::Text(text) if !tells_a_price(text));
    let of_goods = |at: usize| matches!(&row.cells[at], Cell::Text(text) if speaks_of_goods(text));
    filled(row).count() >= FEWEST_NAMES && filled(row).all(|at| is_name(at) && of_goods(at))
}

/// Whether a price, or that one has to be asked for, stands below each name and nowhere else.
fn prices(names: &GridRow, below: &GridRow) -> bool {
    let priced = |at: usize| match below.cells.get(at) {
        Some(Cell::Number { percent: false, .. }) => true,
        Some(Cell::Text(text)) => tells_a_price(text),
        _ => false,
    };
    filled(names).all(priced) && filled(below).eq(filled(names))
}

fn tells_a_price(text: &str) -> bool {
    price::is_told(text) || price::is_bare_number(text)
}
