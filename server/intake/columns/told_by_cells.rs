//! Names of columns that nobody knows, told by the cells below them.

use rust_decimal::{Decimal, dec};

use super::Named;
use super::shown::{Below, Shown};
use crate::context::Context;
use crate::date::is_day;
use crate::document::{Cell, GridRow};
use crate::vocabulary::{Column, Use, VOCABULARY};

/// A name of a column has no more words.
const MOST_WORDS: usize = 6;
/// Fewer rows show nothing.
const FEWEST_ROWS: usize = 3;
/// How much more than the least the most that is paid can be.
const WIDEST_RANGE: Decimal = dec!(3);
/// Ratios that differ by no more than their rounding, as a share.
const ALIKE: Decimal = dec!(0.02);

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
                && (!text.contains(|c: char| c.is_ascii_digit()) || is_day(text) || name_of_a_unit(text))
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
    let called = all().any(|at| is(at, &[Column::Price, Column::Low]) && priced(&at));
    let strange: Vec<usize> = all().filter(|&at| names[at].is_none()).filter(priced).collect();
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
    let starts = Shown::of(&below.rows[..FEWEST_ROWS - 1], price, below.marks).priced > 0;
    let again =
        |at: usize| below.rows[..FEWEST_ROWS].iter().any(|other| other.cells.get(at) == row.cells.get(at));
    let says = row.cells[price].seen().chars().any(|c| c.is_alphabetic() || !c.is_ascii_punctuation());
    if !there(wording) || !there(price) || !starts || !says || all().any(again) {
        return None;
    }
    let mut told = names.to_vec();
    let plain = |column| Some(Named { column, context: Context::default(), tier: None });
    told[wording] = plain(Column::Wording);
    for at in all().filter(|&at| at != wording && is(at, &[Column::Wording])) {
        told[at] = None;
    }
    if !called {
        match strange.as_slice() {
            [low, high, ..] if are_ends(below.rows, *low, *high) => {
                told[*low] = plain(Column::Low);
                told[*high] = plain(Column::High);
            }
            several => several.iter().for_each(|&at| told[at] = plain(Column::Price)),
        }
    }
    Some(told)
}

/// `CHF les 100 kg`, `prec. 13/11`
fn name_of_a_unit(text: &str) -> bool {
    let first = text.split([' ', '.', '/']).next().unwrap_or_default();
    first.chars().all(char::is_alphabetic)
        && (!Context::of(text, true).is_empty() || VOCABULARY.has(first, Use::Former))
}

/// Whether two columns hold the least and the most that is paid: in no row is the first more, and in most it is less.
fn are_ends(rows: &[GridRow], low: usize, high: usize) -> bool {
    let amount = |row: &GridRow, at: usize| match row.cells.get(at) {
        Some(Cell::Number { value, percent: false, .. }) => Some(*value),
        Some(Cell::Text(text)) => text.trim().replace(',', ".").parse().ok(),
        _ => None,
    };
    let pairs: Vec<_> = rows.iter().filter_map(|row| Some((amount(row, low)?, amount(row, high)?))).collect();
    // The same price per kilo and per pound is so many times as much in each row.
    let ratios = || pairs.iter().filter(|(low, _)| !low.is_zero()).map(|(low, high)| high / low);
    let (Some(least), Some(most)) = (ratios().min(), ratios().max()) else { return false };
    if most - least <= most * ALIKE {
        return false;
    }
    let within = pairs.iter().all(|(low, high)| low <= high && *high <= *low * WIDEST_RANGE);
    let apart = pairs.iter().filter(|(low, high)| low < high).count();
    pairs.len() > FEWEST_ROWS && within && apart * 5 >= pairs.len() * 4
}
