//! Tables that were copied with a cell a line.

use std::collections::{HashMap, HashSet};

use super::FEWEST_CARDS;
use crate::context::{Context, speaks_of_goods};
use crate::document::Line;
use crate::number::{Habit, Marks, is_serial, looks_like_price};
use crate::price::{self, Strength};
use crate::scan::Scan;
use crate::vocabulary::{Column, Use, VOCABULARY};

/// Digits of a price by the tonne.
const MOST_DIGITS: usize = 6;
/// So many changes below prices are a column of them.
const FEWEST_CHANGES: usize = 3;

/// The prices with the unit that stands in the line below each, and without what else a page has below them: buttons, and by how
/// much they changed.
pub(super) fn joined(lines: Vec<Line>, joined: &mut Vec<Line>, aside: &mut Vec<Line>) -> Vec<Line> {
    let lines = without_labels(without_buttons(lines, aside), aside);
    let lines = without_changes(lines, aside);
    with_numbers(with_units(lines, joined), joined)
}

fn tells_a_price(line: &Line) -> bool {
    price::is_told(&line.text)
}

/// Lines without what stands below the prices of many cards in the same words: `View details`.
fn without_buttons(lines: Vec<Line>, aside: &mut Vec<Line>) -> Vec<Line> {
    let mut counts: HashMap<&str, usize> = HashMap::new();
    for line in &lines {
        *counts.entry(line.text.trim()).or_default() += 1;
    }
    let is_button = |text: &str| {
        !text.contains(|c: char| c.is_ascii_digit())
            && text.split_whitespace().count() > 1
            && !VOCABULARY.has(text, Use::OnRequest)
            && Context::of(text, true).is_empty()
            && !speaks_of_goods(text)
    };
    counts.retain(|text, count| *count >= FEWEST_CARDS && is_button(text));
    let mut below: HashMap<&str, usize> = HashMap::new();
    for pair in lines.windows(2) {
        let text = pair[1].text.trim();
        if counts.contains_key(text) && tells_a_price(&pair[0]) {
            *below.entry(text).or_default() += 1;
        }
    }
    let buttons: HashSet<String> = below
        .into_iter()
        .filter(|(text, below)| counts.get(text).is_some_and(|count| below * 2 > *count))
        .map(|(text, _)| text.to_string())
        .collect();
    let (pressed, kept): (Vec<Line>, Vec<Line>) =
        lines.into_iter().partition(|line| buttons.contains(line.text.trim()));
    aside.extend(pressed);
    kept
}

/// Lines without what stands above the prices of many cards in the same words, their numbers aside: `Art. no. 1012`.
pub(crate) fn without_labels(lines: Vec<Line>, aside: &mut Vec<Line>) -> Vec<Line> {
    let words =
        |text: &str| text.trim().trim_end_matches(|c: char| c.is_ascii_digit()).trim_end().to_string();
    let is_label = |text: &str| {
        text.chars().filter(|c| c.is_alphabetic()).count() >= 3
            && !text.contains(|c: char| c.is_ascii_digit())
            && !VOCABULARY.has(text, Use::OnRequest)
    };
    // `Item no. 1012` is one, whatever its words say elsewhere; what only its number tells apart may be a name.
    let is_label = |line: &Line, words: &str| {
        let numbered = line.text.trim().len() > words.len();
        let plain = !numbered && !speaks_of_goods(words) && Context::of(words, true).is_empty();
        is_label(words) && (plain || VOCABULARY.column(words) == Some(Column::Other))
    };
    // By words: how often they stand, and how often right above a price.
    let mut counts: HashMap<String, (usize, usize)> = HashMap::new();
    for (at, line) in lines.iter().enumerate() {
        let words = words(&line.text);
        if is_label(line, &words) && !tells_a_price(line) {
            let (all, above) = counts.entry(words).or_default();
            *all += 1;
            // Something else above it is named.
            let named = at > 0 && !tells_a_price(&lines[at - 1]);
            *above += usize::from(named && lines.get(at + 1).is_some_and(tells_a_price));
        }
    }
    counts.retain(|_, (all, above)| *all >= FEWEST_CARDS && *above * 2 > *all);
    if counts.is_empty() {
        return lines;
    }
    let above_a_price: Vec<bool> =
        lines.windows(2).map(|pair| tells_a_price(&pair[1])).chain([false]).collect();
    let mut kept = Vec::with_capacity(lines.len());
    for (line, above) in lines.into_iter().zip(above_a_price) {
        let label = above && !tells_a_price(&line) && counts.contains_key(&words(&line.text));
        if label { aside.push(line) } else { kept.push(line) }
    }
    kept
}

/// The cells without those of a column of changes: `+0.04` below `$4.12`.
fn without_changes(lines: Vec<Line>, aside: &mut Vec<Line>) -> Vec<Line> {
    let is_raise = |text: &str| text.starts_with(['+', '▲']) && is_signed(text);
    if lines.iter().filter(|line| is_raise(line.text.trim())).count() < FEWEST_CHANGES {
        return lines;
    }
    let mut kept: Vec<Line> = Vec::with_capacity(lines.len());
    for line in lines {
        let text = line.text.trim();
        let change = is_signed(text) || matches!(text, "–" | "-" | "—" | "=" | "0" | "0.00" | "0,00");
        if change && kept.last().is_some_and(tells_a_price) { aside.push(line) } else { kept.push(line) }
    }
    kept
}

/// `+0.04`, `▼ 0.10`
fn is_signed(text: &str) -> bool {
    text.strip_prefix(['+', '-', '–', '−', '▲', '▼'])
        .is_some_and(|number| price::is_bare_number(number.trim_start()))
}

/// The prices with the unit that stands in the line below each.
fn with_units(lines: Vec<Line>, joined: &mut Vec<Line>) -> Vec<Line> {
    let pairs = lines.windows(2).filter(|pair| with_unit(&pair[0], &pair[1]).is_some()).count();
    if pairs < FEWEST_CARDS {
        return lines;
    }
    let mut cells: Vec<Line> = Vec::with_capacity(lines.len());
    for line in lines {
        match cells.last_mut().and_then(|above| with_unit(above, &line).map(|text| (above, text))) {
            Some((above, text)) => {
                above.text = text;
                joined.push(line);
            }
            None => cells.push(line),
        }
    }
    cells
}

/// The price and what it is per, where the lower line is nothing but a unit and the upper one has none. What has to be asked for
/// stays as it is.
fn with_unit(above: &Line, below: &Line) -> Option<String> {
    let unit = below.text.trim();
    let scan = Scan::of(unit);
    price::unit_words(&scan, 0).filter(|(_, end)| *end == scan.tokens.len())?;
    if VOCABULARY.has(&above.text, Use::OnRequest) {
        return Some(above.text.clone());
    }
    let prices = price::prices(&Scan::of(&above.text), Marks::of([], Habit::Point));
    let bare = matches!(prices.as_slice(), [only] if only.strength > Strength::Weak && only.unit.is_none());
    bare.then(|| format!("{} {unit}", above.text))
}

/// The names with the whole number that stands in the line below each, as lists by the tonne have them: nothing but where they
/// stand tells that they are prices.
fn with_numbers(lines: Vec<Line>, joined: &mut Vec<Line>) -> Vec<Line> {
    let amounts: Vec<Option<String>> = lines.iter().map(|line| amount(&line.text)).collect();
    let is_name = |at: usize| {
        let text = &lines[at].text;
        amounts[at].is_none() && text.contains(char::is_alphabetic) && !tells_a_price(&lines[at])
    };
    let of_today = |at: usize| {
        let name = &lines[at - 1].text;
        let about = [Use::Opening, Use::PhoneLabel, Use::Firm, Use::Service]
            .iter()
            .any(|is| VOCABULARY.has_within(name, *is));
        is_name(at - 1) && !about
    };
    let below: Vec<usize> = (1..lines.len()).filter(|&at| amounts[at].is_some() && of_today(at)).collect();
    let stands_below: HashSet<usize> = below.iter().copied().collect();
    let whole = below.iter().filter(|&&at| !looks_like_price(lines[at].text.trim())).count();
    let all = amounts.iter().flatten().count();
    let of_goods = below.iter().filter(|&&at| speaks_of_goods(&lines[at - 1].text)).count();
    if below.len() < FEWEST_CARDS
        || whole * 2 <= below.len()
        || below.len() * 3 < all * 2
        || of_goods * 2 < below.len()
        || !lines.iter().any(says_what_for)
    {
        return lines;
    }
    let mut cells: Vec<Line> = Vec::with_capacity(lines.len());
    for (at, line) in lines.iter().enumerate() {
        let asked = at > 0 && is_name(at - 1) && VOCABULARY.has(&line.text, Use::OnRequest);
        let amount = amounts[at].clone().filter(|_| stands_below.contains(&at));
        match (amount.or_else(|| asked.then(|| line.text.trim().to_string())), cells.last_mut()) {
            (Some(amount), Some(name)) => {
                name.text = format!("{}\t{amount}", name.text.trim());
                joined.push(line.clone());
            }
            _ => cells.push(line.clone()),
        }
    }
    cells
}

/// `in Euro pro Tonne`: without it, such numbers may be years, pieces or anything.
fn says_what_for(line: &Line) -> bool {
    let said = Context::of(&line.text, false);
    !tells_a_price(line) && said.unit.is_some() && (!said.currencies.is_empty() || said.cents)
}

/// The number that a line holds and nothing else, a plus left out: `+ 2.450`, `− 40`.
fn amount(text: &str) -> Option<String> {
    let text = text.trim();
    let bare = text.strip_prefix('+').unwrap_or(text).trim_start();
    let minus = bare.strip_prefix(['-', '−', '–']).map(str::trim_start);
    let number = minus.unwrap_or(bare);
    let digits = number.chars().filter(char::is_ascii_digit).count();
    let year = number.parse::<u32>().is_ok_and(|year| (1900..2100).contains(&year));
    let fits =
        (1..=MOST_DIGITS).contains(&digits) && !year && price::is_bare_number(number) && !is_serial(number);
    fits.then(|| if minus.is_some() { format!("-{number}") } else { number.to_string() })
}
