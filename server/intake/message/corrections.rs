//! Lines that put an earlier one right: `Correction: No. 2 copper 3.60`.

use std::collections::{HashMap, HashSet};

use super::{Wrapped, names_a_price};
use crate::number::{Habit, Marks};
use crate::price;
use crate::scan::Scan;
use crate::vocabulary::{Use, VOCABULARY};

/// So many words may stand before the colon.
const MOST_WORDS: usize = 6;

/// Takes what was said first out of the lines, and what says that it was wrong.
pub(super) fn put_right(wrapped: &mut Wrapped) {
    if !wrapped.lines.iter().any(|line| corrected(&line.text).is_some()) {
        return;
    }
    // Where the only price of a name stands.
    let mut said: HashMap<String, usize> = HashMap::new();
    let mut wrong = HashSet::new();
    for (at, line) in wrapped.lines.iter_mut().enumerate() {
        let right = corrected(&line.text).map(str::to_string);
        let is_right = right.is_some();
        if let Some(right) = right {
            line.text = right;
        }
        if let Some(name) = name_of_only_price(&line.text)
            && let Some(before) = said.insert(name, at)
            && is_right
        {
            wrong.insert(before);
        }
    }
    for (at, line) in std::mem::take(&mut wrapped.lines).into_iter().enumerate() {
        if wrong.contains(&at) { wrapped.corrected.push(line) } else { wrapped.lines.push(line) }
    }
}

/// What stands behind `Correction:`, where that tells a price.
fn corrected(text: &str) -> Option<&str> {
    let (before, right) = text.split_once(": ")?;
    let says = before.split_whitespace().count() <= MOST_WORDS
        && !before.contains(|c: char| c.is_ascii_digit())
        && VOCABULARY.has_within(before, Use::Correction);
    (says && names_a_price(right)).then_some(right.trim())
}

/// The words in front of the price of a line that has one, in one spelling.
fn name_of_only_price(text: &str) -> Option<String> {
    let scan = Scan::of(text);
    let prices = price::prices(&scan, Marks::of(scan.numbers(), Habit::Point));
    let [only] = prices.as_slice() else { return None };
    let words = (0..only.first).map(|at| scan.word(at)).filter(|word| word.contains(char::is_alphanumeric));
    let name = words.collect::<Vec<_>>().join(" ").to_lowercase();
    (!name.is_empty()).then_some(name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::Line;
    use crate::sheet::Place;

    fn put(lines: &[&str]) -> (Vec<String>, Vec<String>) {
        let line = |(text, at): (&&str, u32)| Line { text: text.to_string(), place: Place::Line(at) };
        let mut wrapped = Wrapped { lines: lines.iter().zip(1..).map(line).collect(), ..Wrapped::default() };
        put_right(&mut wrapped);
        let texts = |lines: Vec<Line>| lines.into_iter().map(|line| line.text).collect();
        (texts(wrapped.lines), texts(wrapped.corrected))
    }

    #[test]
    fn the_line_that_was_wrong_is_taken_out() {
        let (lines, corrected) = put(&[
            "- laptop mobos 3.35",
            "- server mobos 3.15",
            "Edit / correction: laptop mobos 3.25, not what I wrote",
        ]);
        assert_eq!(lines, ["- server mobos 3.15", "laptop mobos 3.25, not what I wrote"]);
        assert_eq!(corrected, ["- laptop mobos 3.35"]);
    }

    #[test]
    fn numbers_are_parts_of_names_and_lines_with_more_prices_stay() {
        let (lines, corrected) =
            put(&["No. 2 copper 3.70", "No. 1 copper 3.80", "Correction: No. 2 copper 3.60"]);
        assert_eq!(lines, ["No. 1 copper 3.80", "No. 2 copper 3.60"]);
        assert_eq!(corrected, ["No. 2 copper 3.70"]);
        let (lines, corrected) = put(&["Copper 3.80, brass 2.10", "Correction: copper 3.75"]);
        assert_eq!(lines, ["Copper 3.80, brass 2.10", "copper 3.75"]);
        assert!(corrected.is_empty());
    }
}
