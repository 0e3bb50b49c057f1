//! What every page of a document says again at its head or foot, with its own number.

use std::collections::HashMap;

use super::Row;
use crate::context::Context;
use crate::document::Line;
use crate::lines::is_number_of_a_page;

/// So many rows at the head and at the foot of a page may be of the page.
const DEPTH: usize = 2;

/// Takes out what two pages or more have in common but for their numbers: `Ashgrove Boards, Corliss Park, OH    2`.
pub(crate) fn without_running_rows(pages: &mut [Vec<Row>]) -> Vec<Line> {
    let mut counts: HashMap<String, usize> = HashMap::new();
    for (page, rows) in pages.iter().enumerate() {
        ends(rows).filter_map(|at| beside_number(&rows[at], page + 1)).for_each(|text| {
            *counts.entry(text).or_default() += 1;
        });
    }
    let mut aside = Vec::new();
    for (page, rows) in pages.iter_mut().enumerate() {
        let runs = |at: &usize| {
            beside_number(&rows[*at], page + 1)
                .is_some_and(|text| counts.get(&text).is_some_and(|count| *count > 1))
        };
        let running: Vec<usize> = ends(rows).filter(runs).collect();
        let mut at = 0;
        rows.retain(|row| {
            let runs = running.contains(&at);
            at += 1;
            if runs {
                aside.push(Line { place: row.place.clone(), text: row.text() });
            }
            !runs
        });
    }
    aside
}

/// The first and the last rows of a page, each once.
fn ends(rows: &[Row]) -> impl Iterator<Item = usize> + use<> {
    let count = rows.len();
    (0..count).filter(move |&at| at < DEPTH || at + DEPTH >= count)
}

/// What a row says beside the number of its page, with which it begins or ends, and how many there are.
fn beside_number(row: &Row, page: usize) -> Option<String> {
    let text = row.text();
    let (page, text) = (page.to_string(), text.trim());
    // `2 / 4`, `2 of 4`
    let bare = text.trim_end_matches(|c: char| c.is_ascii_digit());
    let of_all = ["/", "of", "von", "de", "di", "van", "z", "sur"]
        .iter()
        .find_map(|of| bare.trim_end().strip_suffix(of))
        .filter(|rest| rest.trim_end().ends_with(|c: char| c.is_ascii_digit()));
    let text = of_all.map_or(text, str::trim_end);
    // `Klasse 1` and `Klasse 2` at the heads of two pages are headings.
    let apart = row.pieces.len() > 1 || of_all.is_some() || is_number_of_a_page(text);
    let own = |rest: &&str| !rest.ends_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | ','));
    let rest = text
        .strip_suffix(page.as_str())
        .filter(own)
        .or_else(|| text.strip_prefix(page.as_str()).filter(|rest| rest.starts_with(char::is_whitespace)))?;
    // What says how prices are told is read like any other line.
    let of_prices = !Context::of(rest, false).is_empty();
    (apart && rest.contains(char::is_alphabetic) && !of_prices).then(|| rest.trim().to_string())
}
