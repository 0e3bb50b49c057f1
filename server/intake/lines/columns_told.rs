//! Lines that tell what the numbers behind each name below are: the names of columns, or prose like `First number is our
//! dock price, second one is if you bring 1,000 lb or more.`

use super::pieces;
use crate::columns::is_unit;
use crate::context::Context;
use crate::firm::is_contact;
use crate::number::Marks;
use crate::scan::{Kind, Scan};
use crate::tier::{TierText, Within};
use crate::vocabulary::{Use, VOCABULARY};

/// Words of the name of a column.
const MOST_OF_A_NAME: usize = 4;
/// So many lines the sentence may go on for.
const MOST_LINES: usize = 3;

/// What has been read of such a sentence, from the line that speaks of the first number on.
#[derive(Debug, Default)]
pub(super) struct ColumnsTold {
    text: String,
    lines: usize,
}

impl ColumnsTold {
    /// Takes in the next line without a price. The tiers of the two numbers, once the sentence has told that the second one
    /// has a tier.
    pub fn read(&mut self, line: &str, marks: Marks) -> Option<[TierText; 2]> {
        if VOCABULARY.has_within(line, Use::FirstNumber) {
            (self.text, self.lines) = (line.to_string(), 1);
        } else if self.lines > 0 && self.lines < MOST_LINES {
            self.text.push(' ');
            self.text.push_str(line);
            self.lines += 1;
        } else {
            self.lines = 0;
            return None;
        }
        let scan = Scan::of(&self.text);
        let second = (0..scan.tokens.len()).find(|&at| {
            (1..=2).any(|length| {
                let words = (at..at + length).all(|at| scan.kind(at).is_some_and(|kind| kind != Kind::Gap));
                words && VOCABULARY.has(scan.between(at, at + length), Use::SecondNumber)
            })
        })?;
        let tier = |from, to| Some(Within::find(&scan, marks, from, to)?.tier);
        let any = TierText { from: None, to: None, unit: None };
        let tiers = [tier(0, second).unwrap_or(any), tier(second, scan.tokens.len())?];
        self.lines = 0;
        Some(tiers)
    }
}

/// What the names of columns in a line say of the prices below it: `Item … Price/lb … Note`, or the units of two prices, of which
/// the first is read: `kilo    (lb)`. `None` where some piece between the gaps is no such name.
pub(super) fn column_names(scan: &Scan<'_>) -> Option<Context> {
    let pieces = pieces(scan);
    // `t 705-555-0119 | Sorted pays`
    if is_contact(scan.text) {
        return None;
    }
    let mut context = Context::default();
    let mut named = 0;
    for piece in &pieces {
        let said = Context::of(piece, true);
        match VOCABULARY.column(piece.trim_end_matches(['#', ' '])) {
            Some(_) => named += 1,
            // `From: Lionel T. / Teller & Sound` says more than what prices are per.
            None if said.is_empty() || piece.split_whitespace().count() > MOST_OF_A_NAME => return None,
            None => context = context.within(&said),
        }
    }
    let units = || pieces.iter().all(|piece| is_unit(piece));
    (pieces.len() > 1 && (named > 0 || units())).then_some(context)
}
