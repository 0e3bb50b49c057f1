//! Names of columns that nobody knows, told by the cells below them.

use super::Named;
use super::column_name::name;
use super::meant::is_former;
use super::shown::{Below, Shown};
use crate::context::{Context, speaks_of_goods};
use crate::date::is_day;
use crate::document::{Cell, GridRow};
use crate::price;
use crate::vocabulary::{Column, Use, VOCABULARY};

/// A name of a column has no more words.
const MOST_WORDS: usize = 6;
/// Fewer rows show nothing.
const FEWEST_ROWS: usize = 3;

/// What the columns are for where the row stands right above rows of names and prices, whatever it calls them: those that
/// it names stay as they are, of the others one holds the names and the rest may hold prices. `None` where it is no such row.
pub(super) fn told_by_cells(
    row: &GridRow,
    names: &[Option<Named>],
    below: &Below<'_>,
) -> Option<Vec<Option<Named>>> {
    let filled = |at: usize| row.cells.get(at).is_some_and(|cell| !cell.is_empty());
    let is_name = |cell: &Cell| match cell {
        Cell::Text(text) => {
            let in_place_of_a_price = [Use::OnRequest, Use::Free];
            text.split_whitespace().count() <= MOST_WORDS
                && !in_place_of_a_price.iter().any(|is| VOCABULARY.has(text, *is))
                && (!text.contains(|c: char| c.is_ascii_digit()) || is_day(text) || counts(text))
        }
        cell => cell.is_empty(),
    };
    let is =
        |at: usize, columns: &[Column]| names[at].as_ref().is_some_and(|name| columns.contains(&name.column));
    if !row.cells.iter().all(is_name) || below.rows.len() < FEWEST_ROWS {
        return None;
    }
    let all = || (0..row.cells.len()).filter(|&at| filled(at));
    let holds_names = |at: &usize| {
        let shown = below.shown(*at);
        shown.reads_as_names() && shown.words >= FEWEST_ROWS && !shown.holds_codes() && !shown.holds_tiers()
    };
    // An item's number may be called by a word for its name.
    let named = all().find(|&at| is(at, &[Column::Wording]) && holds_names(&at));
    let strange = || all().filter(|&at| names[at].is_none()).filter(holds_names);
    let varied = |at: &usize| (below.shown(*at).distinct, std::cmp::Reverse(*at));
    let wording = named.or_else(|| strange().max_by_key(varied))?;
    let priced = |at: &usize| {
        let shown = below.shown(*at);
        shown.mostly(shown.sure) && *at != wording
    };
    let now = |at: &usize| !is_former(&row.cells[*at].seen());
    let strange: Vec<usize> = all().filter(|&at| names[at].is_none()).filter(priced).filter(now).collect();
    let first = all().find(|&at| is(at, &[Column::Price, Column::Low]) && priced(&at));
    let price = first.or(strange.first().copied())?;
    // Two lists side by side.
    let lists = all().filter(|at| holds_names(at) && priced(&(*at + 1)));
    if lists.count() > 1 {
        return None;
    }
    // What heads a list stands right above its rows, and is none of them.
    let next = below.rows.first()?;
    let there = |at: usize| next.cells.get(at).is_some_and(|cell| !cell.is_empty());
    // `Sable Creek Metals | 21 Nov` above `USD per pound | last week | this week` is the sheet's title.
    let named_below = next
        .cells
        .get(price)
        .and_then(|cell| name(cell, below.marks))
        .is_some_and(|name| name.column == Column::Other || name.context.unit.is_none());
    let starts = Shown::of(&below.rows[..FEWEST_ROWS - 1], price, below.marks).priced > 0;
    let again =
        |at: usize| below.rows[..FEWEST_ROWS].iter().any(|other| other.cells.get(at) == row.cells.get(at));
    // `Copper bright | see board`
    let of_goods = speaks_of_goods(&row.cells[wording].seen()) && names.iter().all(Option::is_none);
    let called = row.cells[price].seen().chars().any(|c| c.is_alphanumeric() || "€$£¢".contains(c));
    if named_below || !there(wording) || !there(price) || !starts || !called || of_goods || all().any(again) {
        return None;
    }
    let mut told = names.to_vec();
    let plain = |column| Some(Named { column, context: Context::default(), tier: None });
    told[wording] = plain(Column::Wording);
    for at in all().filter(|&at| at != wording && is(at, &[Column::Wording])) {
        told[at] = None;
    }
    // Of several, the first is read and the others are asked about: nobody knows which is of today.
    for at in strange.into_iter().filter(|_| first.is_none()) {
        told[at] = plain(Column::Price);
    }
    Some(told)
}

/// `CHF les 100 kg`, `prec. 13/11`, `Rentrée S-1`: words first, and no price behind them.
fn counts(text: &str) -> bool {
    text.starts_with(char::is_alphabetic) && !price::is_told(text)
}
