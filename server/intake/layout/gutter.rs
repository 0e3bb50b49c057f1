//! The empty strip that parts two columns of a page.

use super::{FEWEST_LINES, Row};
use crate::number::Marks;
use crate::price::{self, Strength};
use crate::scan::Scan;
use crate::tier::tier_at;
use crate::vocabulary::{Use, VOCABULARY};

/// So many places are tried.
const MOST_STRIPS: usize = 400;

/// What the part of a row on one side of the strip is.
#[derive(Debug, Clone, Copy, Default)]
struct Side {
    names_its_price: bool,
    only_a_price: bool,
}

/// What a row is when it is parted between two of its pieces, found out when it is first asked: most strips part a row
/// where others did.
struct Parted<'r> {
    row: &'r Row,
    sides: Vec<Option<[Side; 2]>>,
}

impl Parted<'_> {
    fn at(&mut self, x: f32, marks: Marks) -> [Side; 2] {
        let before = self.row.pieces.iter().filter(|piece| piece.right <= x).count();
        if let Some(known) = self.sides[before] {
            return known;
        }
        let side = |row: Row| Side {
            names_its_price: names_its_price(&row, marks),
            only_a_price: only_a_price(&row, marks),
        };
        let (left, right) = self.row.cut(x);
        let sides = [side(left), side(right)];
        self.sides[before] = Some(sides);
        sides
    }
}

/// The rows, and the middle of the empty strip between them, that part two columns which each name their prices.
pub(super) fn of(rows: &[Row], marks: Marks) -> Option<(usize, usize, f32)> {
    let mut candidates: Vec<f32> = Vec::new();
    for row in rows {
        for pair in row.pieces.windows(2) {
            candidates.push((pair[0].right + pair[1].left) / 2.0);
        }
    }
    candidates.sort_by(f32::total_cmp);
    candidates.dedup_by(|a, b| (*a - *b).abs() < 0.5);
    let mut parted: Vec<Parted> =
        rows.iter().map(|row| Parted { row, sides: vec![None; row.pieces.len() + 1] }).collect();
    let mut best: Option<(usize, usize, usize, f32)> = None;
    for x in candidates.into_iter().take(MOST_STRIPS) {
        let mut from = 0;
        while from < rows.len() {
            if rows[from].crosses(x) {
                from += 1;
                continue;
            }
            let to = (from..rows.len()).find(|&at| rows[at].crosses(x)).unwrap_or(rows.len());
            let (mut named, mut others) = ([0, 0], [0, 0]);
            for row in &mut parted[from..to] {
                for (at, side) in row.at(x, marks).into_iter().enumerate() {
                    named[at] += usize::from(side.names_its_price);
                    others[at] += usize::from(side.only_a_price);
                }
            }
            let least = named[0].min(named[1]);
            if least >= FEWEST_LINES
                && (0..2).all(|at| others[at] * 4 <= named[at])
                && best.is_none_or(|(count, ..)| least > count)
            {
                best = Some((least, from, to, x));
            }
            from = to;
        }
    }
    let (_, mut from, to, x) = best?;
    // Rows above that have nothing on the right belong to the page, not to its left column.
    while from < to && rows[from].cut(x).1.pieces.is_empty() && !names_its_price(&rows[from], marks) {
        from += 1;
    }
    Some((from, to, x))
}

/// Whether a row is a name and then its price, as one line of a list.
pub(super) fn names_its_price(row: &Row, marks: Marks) -> bool {
    let text = row.text();
    let scan = Scan::of(&text);
    let prices = price::prices(&scan, marks);
    let asks = row
        .pieces
        .last()
        .is_some_and(|last| row.pieces.len() > 1 && VOCABULARY.has(&last.text, Use::OnRequest));
    let priced = prices.iter().any(|price| price.first > 0 && price.strength > Strength::Weak)
        || row.pieces.len() > 1
            && prices.last().is_some_and(|price| price.first > 0 && price.last == scan.tokens.len());
    // `1-99 lb $2.50` names a tier, and nothing that is sold.
    let tiered = tier_at(&scan, marks, 0, true).is_some();
    !tiered
        && (priced || asks)
        && row
            .pieces
            .first()
            // `[Halvorsen 4.00]` is what somebody noted.
            .filter(|first| !first.text.starts_with('['))
            .is_some_and(|first| first.text.chars().filter(|c| c.is_alphabetic()).count() >= 2)
}

fn only_a_price(row: &Row, marks: Marks) -> bool {
    let Some(first) = row.pieces.first() else { return false };
    let scan = Scan::of(&first.text);
    price::prices(&scan, marks)
        .first()
        .is_some_and(|price| price.first == 0 && price.last == scan.tokens.len())
}
