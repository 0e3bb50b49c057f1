//! Names of a ruled table that take two lines of their cell, with the price beside the first, the last or between them.

use super::{Piece, Row};
use crate::document::Line;
use crate::number::{Habit, Marks};
use crate::price;
use crate::vocabulary::{Use, VOCABULARY};

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
        let mut at = 0;
        while at < rows.len() {
            match whole(rows, at) {
                Some((name, lines)) => {
                    let gone = (lines.0..=lines.1).filter(|&line| line != at);
                    joined.extend(gone.clone().map(|line| line_of(&rows[line])));
                    rows[at].pieces = name;
                    let before = gone.clone().filter(|&line| line < at).count();
                    gone.rev().for_each(|line| drop(rows.remove(line)));
                    at = at + 1 - before;
                }
                None => at += 1,
            }
        }
    }
    joined
}

fn line_of(row: &Row) -> Line {
    Line { place: row.place.clone(), text: row.text() }
}

/// The pieces of a priced row with its whole name, and the first and last row that it takes.
fn whole(rows: &[Row], at: usize) -> Option<(Vec<Piece>, (usize, usize))> {
    let price = rows[at]
        .pieces
        .iter()
        .position(is_priced)
        .filter(|price| *price > 0 || rows[at].pieces.len() == 1)?;
    let above = at.checked_sub(1).and_then(|above| only(&rows[above]));
    let below = rows.get(at + 1).and_then(only);
    let with = |name: Piece, lines| {
        let mut pieces: Vec<Piece> =
            rows[at].pieces.iter().filter(|piece| !overlap(piece, &name)).cloned().collect();
        pieces.push(name);
        pieces.sort_by(|a, b| a.left.total_cmp(&b.left));
        Some((pieces, lines))
    };
    let around = &rows[at.saturating_sub(REACH)..rows.len().min(at + REACH)];
    let column = |name: &Piece| Column::of(around, name, &rows[at].pieces[price]);
    let own = |column: &Column| rows[at].pieces[..price].iter().find(|piece| column.holds(piece));
    if let (Some(above), Some(below)) = (above, below)
        && let Some(column) = column(above).filter(|column| column.holds(below))
        && !rows[at].pieces.iter().any(|piece| overlap(piece, above) || overlap(piece, below))
        && column.is_full(above)
        // Names and prices by turns are a list of another kind.
        && !has_no_name(rows.get(at + 2), &column)
        && !at.checked_sub(2).is_some_and(|before| has_no_name(rows.get(before), &column))
    {
        return with(join(above, below), (at - 1, at + 1));
    }
    if let Some(below) = below
        && let Some(column) = column(below)
        && let Some(own) = own(&column)
        && column.is_full(own)
        && goes_on(&below.text)
    {
        return with(join(own, below), (at, at + 1));
    }
    if let Some(above) = above
        && let Some(column) = column(above)
        && let Some(own) = own(&column)
        && column.is_full(above)
        && goes_on(&own.text)
    {
        return with(join(above, own), (at - 1, at));
    }
    None
}

/// The one piece of a row that is a part of a name.
fn only(row: &Row) -> Option<&Piece> {
    match row.pieces.as_slice() {
        [piece] if piece.text.contains(char::is_alphabetic) && !is_priced(piece) => Some(piece),
        _ => None,
    }
}

fn is_priced(piece: &Piece) -> bool {
    price::is_within(&piece.text, Marks::of([], Habit::Point)) || VOCABULARY.has(&piece.text, Use::OnRequest)
}

/// Whether a line begins amid a sentence.
fn goes_on(text: &str) -> bool {
    text.starts_with(|c: char| c.is_lowercase() || matches!(c, '(' | '&' | '/' | '+'))
}

fn has_no_name(row: Option<&Row>, column: &Column) -> bool {
    row.is_some_and(|row| {
        row.pieces.iter().any(is_priced) && !row.pieces.iter().any(|piece| column.holds(piece))
    })
}

fn overlap(one: &Piece, other: &Piece) -> bool {
    one.left < other.right && one.right > other.left
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
    /// `None` where too few rows have a name in line with this one and a price in line with that.
    fn of(rows: &[Row], name: &Piece, price: &Piece) -> Option<Column> {
        let mut column = Column { left: name.left, right: name.right };
        let mut whole = 0;
        for row in rows {
            let named = row
                .pieces
                .iter()
                .find(|piece| column.holds(piece) && piece.text.contains(char::is_alphabetic));
            let priced = row.pieces.iter().any(|piece| overlap(piece, price) && is_priced(piece));
            if let Some(named) = named.filter(|_| priced) {
                whole += 1;
                column.right = column.right.max(named.right);
            }
        }
        (whole >= FEWEST_WHOLE && column.right <= price.left).then_some(column)
    }

    fn holds(&self, piece: &Piece) -> bool {
        (piece.left - self.left).abs() <= ALIGNED * (self.right - self.left).max(1.0)
    }

    fn is_full(&self, piece: &Piece) -> bool {
        piece.right - self.left >= FULL * (self.right - self.left)
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
