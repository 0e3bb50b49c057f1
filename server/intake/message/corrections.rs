//! Lines that put an earlier one right: `Correction: No. 2 copper 3.60`.

use super::{Wrapped, names_a_price};
use crate::document::Line;
use crate::scan::Scan;
use crate::vocabulary::{Use, VOCABULARY};

/// So many words may stand before the colon.
const MOST_WORDS: usize = 6;

/// Takes what was said first out of the lines, and what says that it was wrong.
pub(super) fn put_right(wrapped: &mut Wrapped) {
    let mut at = 0;
    while at < wrapped.lines.len() {
        let Some(right) = corrected(&wrapped.lines[at].text).map(str::to_string) else {
            at += 1;
            continue;
        };
        let name = name_of(&right);
        let earlier = wrapped.lines[..at].iter().rposition(|line| is_of(line, &name));
        wrapped.lines[at].text = right;
        match earlier {
            Some(earlier) => wrapped.corrected.push(wrapped.lines.remove(earlier)),
            None => at += 1,
        }
    }
}

/// What stands behind `Correction:`, where that tells a price.
fn corrected(text: &str) -> Option<&str> {
    let (before, right) = text.split_once(": ")?;
    let says = before.split_whitespace().count() <= MOST_WORDS
        && VOCABULARY.has_within(before, Use::Correction)
        && !before.contains(|c: char| c.is_ascii_digit());
    (says && names_a_price(right)).then_some(right.trim())
}

/// The words before the first price.
fn name_of(text: &str) -> String {
    let name = text.split(|c: char| c.is_ascii_digit() || "$€£".contains(c)).next().unwrap_or_default();
    plain(name)
}

/// Whether a line gives a price for just this.
fn is_of(line: &Line, name: &str) -> bool {
    !name.is_empty() && names_a_price(&line.text) && name_of(&line.text) == name
}

/// Words alone, in one spelling.
fn plain(name: &str) -> String {
    let scan = Scan::of(name);
    let words =
        (0..scan.tokens.len()).map(|at| scan.word(at)).filter(|word| word.contains(char::is_alphanumeric));
    words.collect::<Vec<_>>().join(" ").to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Place;

    #[test]
    fn the_line_that_was_wrong_is_taken_out() {
        let lines = [
            "- laptop mobos 3.35",
            "- server mobos 3.15",
            "Edit / correction: laptop mobos 3.25, not what I wrote",
        ];
        let lines =
            lines.iter().zip(1..).map(|(text, at)| Line { text: text.to_string(), place: Place::Line(at) });
        let mut wrapped = Wrapped { lines: lines.collect(), ..Wrapped::default() };
        put_right(&mut wrapped);
        let texts: Vec<&str> = wrapped.lines.iter().map(|line| line.text.as_str()).collect();
        assert_eq!(texts, ["- server mobos 3.15", "laptop mobos 3.25, not what I wrote"]);
        assert_eq!(wrapped.corrected[0].text, "- laptop mobos 3.35");
    }
}
