//! The one model that every format is parsed into before prices are looked for: tables of cells, and loose lines.

use std::borrow::Cow;
use std::rc::Rc;

use iso_currency::Country;
use jiff::civil::Date;
use rust_decimal::Decimal;

use crate::context::Context;
use crate::cuts::{Cut, Cuts};
use crate::sheet::{Place, Problem};

/// Bounds on what is read; a price sheet is far inside them.
pub(crate) const MOST_ROWS: u32 = 20_000;
pub(crate) const MOST_COLUMNS: u32 = 64;
pub(crate) const MOST_CHARACTERS: usize = 2_000;
/// All text of a document together, in bytes.
pub(crate) const MOST_TEXT: usize = 16 * 1024 * 1024;

/// A file, parsed: its tables and runs of lines in their order.
#[derive(Debug, Default)]
pub(crate) struct Document {
    pub blocks: Vec<Block>,
    /// Lines that are known to hold no price, such as what a mail quotes.
    pub aside: Vec<Line>,
    /// Lines that were read with the one above.
    pub joined: Vec<Line>,
    /// Where lines stand that put earlier ones right.
    pub correcting: Vec<Place>,
    /// Texts that date the document from outside its lines.
    pub dates: Vec<String>,
    pub problems: Vec<Problem>,
    /// The country that a page names as its own.
    pub country: Option<Country>,
}

impl Document {
    pub fn cells(&self) -> impl Iterator<Item = &Cell> {
        self.blocks
            .iter()
            .flat_map(|block| match block {
                Block::Table(rows) => rows.as_slice(),
                Block::Lines(_) => &[],
            })
            .flat_map(|row| &row.cells)
    }

    /// All its text, but for rows whose first text is one of those that are left aside.
    pub fn texts_but<'d>(&'d self, aside: impl Fn(&str) -> bool + 'd) -> impl Iterator<Item = &'d str> {
        let lines = self.blocks.iter().flat_map(|block| match block {
            Block::Lines(lines) => lines.as_slice(),
            Block::Table(_) => &[],
        });
        let rows = self.blocks.iter().flat_map(|block| match block {
            Block::Table(rows) => rows.as_slice(),
            Block::Lines(_) => &[],
        });
        let texts = |row: &'d GridRow| {
            row.cells.iter().filter_map(|cell| match cell {
                Cell::Text(text) => Some(text.as_str()),
                _ => None,
            })
        };
        let kept = rows.filter(move |row| !texts(row).next().is_some_and(&aside));
        lines.map(|line| line.text.as_str()).chain(kept.flat_map(texts))
    }

    /// All its text: lines, and cells that are text.
    pub fn texts(&self) -> impl Iterator<Item = &str> {
        self.texts_but(|_| false)
    }
}

#[derive(Debug)]
pub(crate) enum Block {
    Table(Vec<GridRow>),
    Lines(Vec<Line>),
}

/// One row of a table that has something in it.
#[derive(Debug)]
pub(crate) struct GridRow {
    pub place: Place,
    pub cells: Vec<Cell>,
}

#[derive(Debug, Clone)]
pub(crate) struct Line {
    pub place: Place,
    pub text: String,
}

/// A cell as its format knows it: delimited text has only text, a workbook also numbers and dates.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    Empty,
    Text(String),
    /// `said` is what its number format says of it.
    Number {
        value: Decimal,
        said: Context,
        percent: bool,
    },
    Date(Date),
}

impl Cell {
    pub fn of(text: &str) -> Cell {
        let text = text.trim();
        if text.is_empty() { Cell::Empty } else { Cell::Text(text.to_string()) }
    }

    pub fn is_empty(&self) -> bool {
        *self == Cell::Empty
    }

    /// Whether nothing in it is a letter or a digit.
    pub fn says_nothing(&self) -> bool {
        match self {
            Cell::Empty => true,
            Cell::Text(text) => !text.chars().any(char::is_alphanumeric),
            Cell::Number { .. } | Cell::Date(_) => false,
        }
    }

    /// What a person sees in the cell.
    pub fn seen(&self) -> Cow<'_, str> {
        match self {
            Cell::Empty => Cow::Borrowed(""),
            Cell::Text(text) => Cow::Borrowed(text),
            Cell::Number { value, percent: true, .. } => {
                Cow::Owned(format!("{} %", (*value * Decimal::ONE_HUNDRED).normalize()))
            }
            Cell::Number { value, .. } => Cow::Owned(value.to_string()),
            Cell::Date(date) => Cow::Owned(date.to_string()),
        }
    }

    pub fn shown(&self) -> String {
        self.seen().into_owned()
    }
}

impl GridRow {
    /// The cells as they stood, in one line.
    pub fn source(&self) -> String {
        let mut source = String::with_capacity(64);
        for (at, cell) in self.cells.iter().enumerate() {
            source.push_str(if at > 0 { " | " } else { "" });
            source.push_str(cut(&cell.seen(), LONGEST_SHOWN));
        }
        match source.trim_matches([' ', '|']) {
            trimmed if trimmed.len() < source.len() => trimmed.to_string(),
            _ => source,
        }
    }

    /// It with its texts cut into tokens.
    pub fn cut<'r>(&'r self, cuts: &Cuts<'r>) -> CutRow<'r> {
        let text = |cell: &'r Cell| if let Cell::Text(text) = cell { text.as_str() } else { "" };
        CutRow { row: self, cuts: self.cells.iter().map(|cell| cuts.of(text(cell))).collect() }
    }
}

/// A row while it is read: what stands in it is cut once and looked at by many.
#[derive(Debug)]
pub(crate) struct CutRow<'r> {
    pub row: &'r GridRow,
    /// For each of its cells; without tokens for those that are no text.
    pub cuts: Vec<Rc<Cut<'r>>>,
}

/// A wording is at most this long, in characters; so is each cell in a row's source.
pub(crate) const LONGEST_SHOWN: usize = 200;

/// The first `characters` of the text.
pub(crate) fn cut(text: &str, characters: usize) -> &str {
    if text.len() <= characters {
        return text;
    }
    text.char_indices().nth(characters).map_or(text, |(end, _)| &text[..end])
}
