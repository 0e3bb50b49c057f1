//! Names of a ruled table that take two lines of their cell, with the price beside the first, the last or between them.

use std::ops::RangeInclusive;

use super::{Piece, Row};
use crate::document::Line;
use crate::price;

/// So many rows with a name and a price in these columns show that they are a table's.
const FEWEST_WHOLE: usize = 2;
/// A line is broken where the next word does not fit: it fills so much of its column.
const FULL: f32 = 0.75;
/// So many rows above and below are looked at for the columns that a name stands in.
const REACH: usize = 60;
/// How far left edges of one column may be apart, as a share of its width.
const ALIGNED: f32 = 0.05;

/// Joins such names, page by page. Gives the lines that were read with others.
pub(crate) fn with_whole_names(pages: &mut [Vec<Row>]) -> Vec<Line> {
    let mut joined = Vec::new();
    for rows in pages {
        let page = Page::of(std::mem::take(rows));
        rows.extend(page.whole(&mut joined));
    }
    joined
}

/// The rows of a page, and which pieces of them tell a price.
struct Page {
    rows: Vec<Row>,
    priced: Vec<Vec<bool>>,
}

impl Page {
    fn of(rows: Vec<Row>) -> Page {
        let priced = rows.iter().map(priced).collect();
        Page { rows, priced }
    }

    fn whole(mut self, joined: &mut Vec<Line>) -> Vec<Row> {
        let mut gone = vec![false; self.rows.len()];
        for at in 0..self.rows.len() {
            let Some((name, lines)) = self.whole_name(at) else { continue };
            if lines.clone().any(|line| gone[line]) {
                continue;
            }
            for line in lines.filter(|&line| line != at) {
                gone[line] = true;
                let row = &self.rows[line];
                joined.push(Line { place: row.place.clone(), text: row.text() });
            }
            let pieces = &mut self.rows[at].pieces;
            pieces.retain(|piece| !piece.overlaps(&name));
            pieces.push(name);
            pieces.sort_by(|a, b| a.left.total_cmp(&b.left));
            self.priced[at] = priced(&self.rows[at]);
        }
        self.rows.into_iter().zip(gone).filter(|(_, gone)| !gone).map(|(row, _)| row).collect()
    }

    /// The whole name of a row with a price, and the rows that it takes.
    fn whole_name(&self, at: usize) -> Option<(Piece, RangeInclusive<usize>)> {
        let pieces = &self.rows[at].pieces;
        let price = self.priced[at].iter().position(|priced| *priced)?;
        let above = at.checked_sub(1).and_then(|above| self.only(above));
        let below = self.only(at + 1);
        let column = |name: &Piece| self.column(at, name, &pieces[price]);
        let own = |column: &Column| pieces[..price].iter().find(|piece| column.holds(piece));
        // Nothing but the name itself stands where the name will.
        let alone = |name: &Piece, own: Option<&Piece>| {
            pieces.iter().all(|piece| Some(piece) == own || !piece.overlaps(name))
        };
        if let (Some(above), Some(below)) = (above, below)
            && let Some(column) = column(above).filter(|column| column.holds(below))
            && alone(&join(above, below), None)
            && column.is_full(above, below)
            // Names and prices by turns are a list of another kind.
            && !self.has_no_name(at + 2, &column)
            && !at.checked_sub(2).is_some_and(|before| self.has_no_name(before, &column))
        {
            return Some((join(above, below), at - 1..=at + 1));
        }
        let broken = |upper: &Piece, lower: &Piece, column: &Column| {
            column.is_full(upper, lower) && begins(&upper.text) && goes_on(&lower.text)
        };
        if let Some(below) = below
            && let Some(column) = column(below)
            && let Some(own) = own(&column)
            && broken(own, below, &column)
            && alone(&join(own, below), Some(own))
        {
            return Some((join(own, below), at..=at + 1));
        }
        if let Some(above) = above
            && let Some(column) = column(above)
            && let Some(own) = own(&column)
            && broken(above, own, &column)
            && alone(&join(above, own), Some(own))
        {
            return Some((join(above, own), at - 1..=at));
        }
        None
    }

    /// The one piece of a row that is a part of a name.
    fn only(&self, at: usize) -> Option<&Piece> {
        match self.rows.get(at)?.pieces.as_slice() {
            [piece] if piece.text.contains(char::is_alphabetic) && !self.priced[at][0] => Some(piece),
            _ => None,
        }
    }

    fn has_no_name(&self, at: usize, column: &Column) -> bool {
        self.rows.get(at).is_some_and(|row| {
            self.priced[at].contains(&true) && !row.pieces.iter().any(|piece| column.holds(piece))
        })
    }

    /// The column that a name stands in; `None` where too few rows around have a name in line with this one and a price in line
    /// with that.
    fn column(&self, at: usize, name: &Piece, price: &Piece) -> Option<Column> {
        let mut column = Column { left: name.left, right: name.right };
        let mut whole = 0;
        for at in at.saturating_sub(REACH)..self.rows.len().min(at + REACH) {
            let pieces = &self.rows[at].pieces;
            let priced =
                pieces.iter().zip(&self.priced[at]).any(|(piece, priced)| *priced && piece.overlaps(price));
            let is_name = |piece: &&Piece| column.holds(piece) && piece.text.contains(char::is_alphabetic);
            if let Some(named) = pieces.iter().find(is_name).filter(|_| priced) {
                whole += 1;
                column.right = column.right.max(named.right);
            }
        }
        (whole >= FEWEST_WHOLE && column.right <= price.left).then_some(column)
    }
}

/// Which pieces of a row tell a price. A number alone does behind a name, or where nothing stands beside it; before one it is
/// that of the item.
fn priced(row: &Row) -> Vec<bool> {
    let mut named = row.pieces.len() == 1;
    let is_priced = |piece: &Piece| {
        named |= piece.text.contains(char::is_alphabetic);
        price::is_told(&piece.text) || named && price::is_bare_number(&piece.text)
    };
    row.pieces.iter().map(is_priced).collect()
}

/// Whether a line begins as names do.
fn begins(text: &str) -> bool {
    text.starts_with(|c: char| c.is_uppercase() || c.is_ascii_digit() || c == '#')
}

/// Whether a line begins amid a sentence.
fn goes_on(text: &str) -> bool {
    text.starts_with(|c: char| c.is_lowercase() || matches!(c, '(' | '&' | '/' | '+'))
}

fn join(upper: &Piece, lower: &Piece) -> Piece {
    Piece {
        text: format!("{} {}", upper.text, lower.text),
        left: upper.left.min(lower.left),
        right: upper.right.max(lower.right),
    }
}

/// The column that names stand in, left of prices.
struct Column {
    left: f32,
    right: f32,
}

impl Column {
    fn holds(&self, piece: &Piece) -> bool {
        (piece.left - self.left).abs() <= ALIGNED * (self.right - self.left).max(1.0)
    }

    /// Whether a name had to go on in the next line: its own fills the column, or there is no room for the first word of that.
    fn is_full(&self, upper: &Piece, lower: &Piece) -> bool {
        let letter = (upper.right - upper.left) / upper.text.chars().count().max(1) as f32;
        let next = lower.text.split_whitespace().next().unwrap_or_default().chars().count() + 1;
        let (filled, width) = (upper.right - self.left, self.right - self.left);
        filled >= FULL * width || filled + letter * next as f32 >= width
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Place;

    /// The lines of a page on which each letter is one wide, once names are whole.
    fn whole_lines(page: &[&str]) -> Vec<String> {
        let row = |(line, text): (u32, &&str)| {
            let mut pieces = Vec::new();
            let mut left = 0;
            for piece in text.split("   ") {
                let start = left + (piece.len() - piece.trim_start().len());
                let text = piece.trim().to_string();
                if !text.is_empty() {
                    pieces.push(Piece { left: start as f32, right: (start + text.len()) as f32, text });
                }
                left += piece.len() + 3;
            }
            Row { place: Place::Page { page: 1, line }, pieces }
        };
        let mut pages = [(1..).zip(page).map(row).collect::<Vec<Row>>()];
        with_whole_names(&mut pages);
        pages[0].iter().map(Row::text).collect()
    }

    #[test]
    fn a_name_takes_two_lines_of_its_cell() {
        let around = whole_lines(&[
            "Bare bright copper           3.90",
            "Copper pipe and cuttings,",
            "                             3.70",
            "no solder",
            "Yellow brass, clean          2.10",
        ]);
        assert_eq!(around[1], "Copper pipe and cuttings, no solder  3.70");
        assert_eq!(around.len(), 3);
        let above = whole_lines(&[
            "Bare bright copper           3.90",
            "Copper pipe and cuttings,    3.70",
            "no solder",
            "Yellow brass, clean          2.10",
            "Soft lead                    0.60",
        ]);
        assert_eq!(above[1], "Copper pipe and cuttings, no solder  3.70");
        assert_eq!(above.len(), 4);
    }

    #[test]
    fn remarks_and_names_that_take_turns_with_prices_stay_as_they_are() {
        let remark = [
            "Bare bright copper           3.90",
            "Soft lead                    0.60",
            "no solder",
            "Yellow brass, clean          2.10",
        ];
        assert_eq!(whole_lines(&remark).len(), 4);
        let turns = [
            "Bare bright copper           3.90",
            "Soft lead                    0.60",
            "Copper pipe and cuttings",
            "                             3.70",
            "Yellow brass, no steel",
            "                             2.10",
        ];
        assert_eq!(whole_lines(&turns).len(), 6);
    }
}
