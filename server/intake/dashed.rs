//! Sheets that part the cents by a dash, as on boards and in South Africa: `BB 4-05`, `R152-00`.

use std::ops::Range;

use crate::document::{Block, Cell, Document};

/// So many such prices make it the habit of a sheet.
const FEWEST: usize = 4;
/// The upper end of a span is no more times the lower one than this.
const WIDEST_SPAN: u32 = 5;
/// Digits before the dash.
const MOST_DIGITS: usize = 5;

/// Writes points for the dashes of such a sheet.
pub(crate) fn as_decimals(document: &mut Document) {
    // Of all that look so, those that can be no span, and of these those of a few cents: tiers have such ends, but none of `05`.
    let (mut all, mut sure, mut few) = (0, 0, 0);
    for text in document.texts() {
        for number in dashed(text) {
            all += 1;
            sure += usize::from(!may_be_span(&text[number.clone()]));
            few += usize::from(text[number].contains("-0"));
        }
    }
    if sure < FEWEST || sure * 2 < all || few == 0 {
        return;
    }
    for text in texts_of(document) {
        for number in dashed(text) {
            let dash = number.start + text[number].find('-').unwrap_or_default();
            text.replace_range(dash..=dash, ".");
        }
    }
}

fn texts_of(document: &mut Document) -> impl Iterator<Item = &mut String> {
    document.blocks.iter_mut().flat_map(|block| -> Box<dyn Iterator<Item = &mut String>> {
        match block {
            Block::Lines(lines) => Box::new(lines.iter_mut().map(|line| &mut line.text)),
            Block::Table(rows) => {
                Box::new(rows.iter_mut().flat_map(|row| &mut row.cells).filter_map(|cell| match cell {
                    Cell::Text(text) => Some(text),
                    _ => None,
                }))
            }
        }
    })
}

/// Where digits, a dash and two digits stand apart from all else but a currency's sign before them.
fn dashed(text: &str) -> Vec<Range<usize>> {
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let found = text.match_indices('-').filter_map(|(dash, _)| {
        let before = text[..dash].bytes().rev().take_while(u8::is_ascii_digit).count();
        let start = dash - before;
        let end = dash + 3;
        let two = digits(&text[dash + 1..]) == 2;
        let opens = text[..start].chars().next_back().is_none_or(|c| {
            c.is_whitespace()
                || matches!(c, 'R' | '$' | '€' | '£' | ':' | '=' | '(' | '…')
                || c == '.' && text[..start].ends_with("..")
        });
        let ends = two
            && text[end..]
                .chars()
                .next()
                .is_none_or(|c| c.is_whitespace() || matches!(c, ',' | ';' | ')' | '/'));
        ((1..=MOST_DIGITS).contains(&before) && opens && ends).then_some(start..end)
    });
    found.collect()
}

/// `48-50`, but no `4-05` or `3-85`.
fn may_be_span(number: &str) -> bool {
    let Some((low, high)) = number.split_once('-') else { return false };
    let parsed = |text: &str| text.parse::<u32>().unwrap_or_default();
    let (low, upper) = (parsed(low), parsed(high));
    !high.starts_with('0') && low < upper && upper <= low.saturating_mul(WIDEST_SPAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_may_be_prices() {
        let found = |text: &str| dashed(text).into_iter().map(|at| text[at].to_string()).collect::<Vec<_>>();
        assert_eq!(found("BB ....... 4-05"), ["4-05"]);
        assert_eq!(found("R152-00 | R47-50"), ["152-00", "47-50"]);
        for other in ["555-0142", "12-11-2026", "A-12", "1-2", "100-500 lb", "7-301", "-05", "é-05", ""] {
            assert!(found(other).is_empty(), "{other}");
        }
        assert!(
            may_be_span("48-50") && !may_be_span("4-05") && !may_be_span("152-00") && !may_be_span("3-85")
        );
    }
}
