//! What the cells of a column look like, whatever its name says.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};
use std::rc::Rc;

use crate::context::Context;
use crate::cuts::Cut;
use crate::date::is_day;
use crate::document::{Cell, GridRow};
use crate::number::Marks;
use crate::price::{Strength, unit_words};
use crate::scan::{Kind, Scan};
use crate::tier::tier_at;
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal_wording;

/// The rows below a row of names, and what each of their columns looks like once that was asked.
#[derive(Debug)]
pub(super) struct Below<'r> {
    pub rows: &'r [GridRow],
    pub marks: Marks,
    columns: RefCell<HashMap<usize, Rc<Shown>>>,
}

impl<'r> Below<'r> {
    pub fn new(rows: &'r [GridRow], marks: Marks) -> Self {
        Below { rows, marks, columns: RefCell::default() }
    }

    /// Cells of the longest of the first rows.
    pub fn width(&self) -> usize {
        self.rows.iter().take(Shown::FIRST).map(|row| row.cells.len()).max().unwrap_or(0)
    }

    pub fn shown(&self, at: usize) -> Rc<Shown> {
        let mut columns = self.columns.borrow_mut();
        Rc::clone(columns.entry(at).or_insert_with(|| Rc::new(Shown::of(self.rows, at, self.marks))))
    }
}

/// What the cells of a column look like, counted.
#[derive(Debug, Default)]
pub(super) struct Shown {
    pub filled: usize,
    pub words: usize,
    pub distinct: usize,
    pub priced: usize,
    /// Of the priced, those with decimals, a sign or a unit.
    pub sure: usize,
    pub units: usize,
    pub currencies: usize,
    /// Masses from which, or up to which, a price holds.
    pub tiers: usize,
    /// Of the tiers, those that end somewhere.
    bounded: usize,
    /// Numbers and letters of an item's number: `101`, `C02`.
    pub codes: usize,
    /// Whole numbers, each one more than the one above.
    counted: usize,
}

impl Shown {
    /// Rows that are looked at.
    const SAMPLE: usize = 200;
    const FIRST: usize = 20;

    pub fn of(rows: &[GridRow], at: usize, marks: Marks) -> Shown {
        let mut shown = Shown::default();
        let mut seen: HashSet<&str> = HashSet::new();
        let mut above: Option<i64> = None;
        for cell in rows.iter().take(Self::SAMPLE).filter_map(|row| row.cells.get(at)) {
            let text = cell.seen();
            shown.codes += usize::from(is_code(&text));
            if let Ok(number) = text.trim_end_matches(['.', ')']).parse::<i64>() {
                shown.counted += usize::from(above.is_none_or(|above| number == above + 1));
                above = Some(number);
            }
            let text = match cell {
                Cell::Empty => continue,
                Cell::Number { percent: false, .. } => {
                    shown.filled += 1;
                    shown.priced += 1;
                    shown.sure += usize::from(
                        matches!(cell, Cell::Number { value, said, .. } if !said.is_empty() || value.scale() > 0),
                    );
                    continue;
                }
                Cell::Number { .. } | Cell::Date(_) => {
                    shown.filled += 1;
                    continue;
                }
                Cell::Text(text) => text,
            };
            shown.filled += 1;
            if VOCABULARY.currencies(text).is_some() {
                shown.currencies += 1;
                continue;
            }
            if is_unit(text) {
                shown.units += 1;
                continue;
            }
            let cut = Cut::of(text);
            let (tier, bounded) = tier_of(&cut.scan, marks);
            shown.tiers += usize::from(tier);
            shown.bounded += usize::from(bounded);
            let strength = cut.strength(marks).filter(|_| !is_day(text));
            if strength.is_some() || VOCABULARY.has(text, Use::OnRequest) {
                shown.priced += 1;
                shown.sure += usize::from(strength > Some(Strength::Weak));
            } else if text.chars().any(char::is_alphabetic) {
                shown.words += 1;
                seen.insert(text);
            }
        }
        shown.distinct = seen.len();
        // Rows that are counted are no prices.
        if shown.counted >= 3 && shown.counted + 1 >= shown.filled {
            (shown.priced, shown.sure) = (0, 0);
        }
        shown
    }

    /// The same of the first rows alone.
    pub fn at_first(rows: &[GridRow], at: usize, marks: Marks) -> Shown {
        Shown::of(&rows[..rows.len().min(Self::FIRST)], at, marks)
    }

    /// More than half of what is there; and at least two, because one cell shows nothing.
    pub fn mostly(&self, count: usize) -> bool {
        count >= 2 && count * 2 > self.filled
    }

    /// Items' numbers rather than names.
    pub fn holds_codes(&self) -> bool {
        self.filled > 0 && self.codes * 10 >= self.filled * 7
    }

    pub fn holds_tiers(&self) -> bool {
        self.mostly(self.tiers) && self.bounded > 0
    }

    pub fn reads_as_names(&self) -> bool {
        self.filled > 0 && self.words * 2 > self.filled
    }
}

/// Whether a cell is nothing but a tier, `under 50 kg`, and whether that ends somewhere: what a yard has in stock does not.
fn tier_of(scan: &Scan<'_>, marks: Marks) -> (bool, bool) {
    if VOCABULARY.has(scan.text, Use::AnyMass) {
        return (true, false);
    }
    let tier = scan.numbers().next().and_then(|_| tier_at(scan, marks, 0, false));
    match tier.filter(|(_, next)| *next == scan.tokens.len()) {
        Some((tier, _)) => (true, tier.to.is_some()),
        None => (false, false),
    }
}

/// Whether a cell is an item's number rather than its name: at most three letters beside its digits.
fn is_code(text: &str) -> bool {
    let letters = text.chars().filter(|c| c.is_alphabetic()).count();
    let digits = text.chars().filter(char::is_ascii_digit).count();
    digits >= 1
        && letters <= 3
        && digits + letters >= 2
        && text.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '.'))
        && !text.contains(['.', ','])
        && text.chars().count() <= 10
}

/// Whether a cell is surely a price, and so no name of a column.
pub(super) fn is_price(cell: &Cell, marks: Marks) -> bool {
    match cell {
        Cell::Number { percent, .. } => !percent,
        Cell::Text(text) => Cut::of(text).is_price(marks),
        _ => false,
    }
}

/// Whether a cell of text is nothing but a price, with its currency and unit.
pub(super) fn looks_priced(cell: &Cell, marks: Marks) -> bool {
    match cell {
        Cell::Number { percent, .. } => !percent,
        Cell::Text(text) => Cut::of(text).strength(marks).is_some(),
        _ => false,
    }
}

/// Whether a cell is nothing but a unit.
pub(crate) fn is_unit(text: &str) -> bool {
    // Most cells that are asked about hold a price.
    if text.contains(|c: char| c.is_ascii_digit()) {
        return text.contains("100")
            && matches!(normal_wording(text).as_str(), "100 lb" | "100 kg" | "100 lbs");
    }
    let scan = Scan::of(text);
    let context = Context::within_scan(&scan, true);
    context.unit.is_some()
        && context.currencies.is_empty()
        && !context.cents
        && scan.tokens.len() <= 4
        && !names_more(&scan)
}

/// `PC towers`, where a piece is short for the first word.
fn names_more(scan: &Scan<'_>) -> bool {
    let Some((_, next)) = unit_words(scan, 0) else { return false };
    (next..scan.tokens.len()).any(|at| scan.kind(at) == Some(Kind::Word) && unit_words(scan, at).is_none())
}
