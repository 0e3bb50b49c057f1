//! Lines that put an earlier one right: `Correction: No. 2 copper 3.60`, `woops brass 5.60`, `Server boards 5.30 not 5.80`.

use super::{Wrapped, names_a_price};
use crate::context::speaks_of_goods;
use crate::number::{Habit, Marks, looks_like_price};
use crate::price;
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};

/// So many words may stand before the colon.
const MOST_WORDS: usize = 6;
/// So many before the words that say so, and between these and the mark behind them: `correction to Lou, brass 5.60`.
const MOST_BEFORE: usize = 2;
const MOST_BETWEEN: usize = 4;
/// Words of the longest of them.
const LONGEST: usize = 4;
/// Nobody is wrong more often.
const MOST: usize = 500;
/// What stands in front of the price that was wrong.
const NOT: [&str; 11] =
    ["not", "nicht", "pas", "no", "non", "nao", "niet", "nie", "statt", "anstatt", "zamiast"];

/// Takes what says that something was wrong out of the lines, and remembers which ones are right instead.
pub(super) fn put_right(wrapped: &mut Wrapped) {
    for line in &mut wrapped.lines {
        if wrapped.correcting.len() == MOST {
            return;
        }
        if let Some(right) = corrected(&line.text) {
            line.text = right;
            wrapped.correcting.push(line.place.clone());
        }
    }
}

/// What a line tells that puts another one right, where that is a price.
fn corrected(text: &str) -> Option<String> {
    let said = behind_a_colon(text).or_else(|| behind_its_words(text));
    let right = said.unwrap_or(text);
    let bare = without_the_wrong(right);
    let told = bare.or_else(|| said.map(str::to_string)).filter(|told| names_a_price(told))?;
    Some(told.trim().to_string())
}

/// `Edit / correction: laptop boards 3.25`
fn behind_a_colon(text: &str) -> Option<&str> {
    let (before, right) = text.split_once(": ")?;
    let says = before.split_whitespace().count() <= MOST_WORDS
        && VOCABULARY.has_within(before, Use::Correction)
        // `Correction 8:10 am: brass 2.30`
        && !names_a_price(before);
    (says && right.contains(char::is_alphabetic) && names_a_price(right)).then_some(right)
}

/// `woops brass 5.60`, `correction to Lou, brass 5.60`, `Sorry, typo. Brass 5.60`
fn behind_its_words(text: &str) -> Option<&str> {
    let begins = text
        .char_indices()
        .filter(|&(at, c)| c.is_alphabetic() && !text[..at].ends_with(char::is_alphabetic));
    let begins: Vec<usize> = begins.map(|(at, _)| at).take(MOST_BEFORE + 1).collect();
    // `Copper pipe corrected 3.40` is a name.
    let talk = begins.into_iter().filter(|&begin| !speaks_of_goods(&text[..begin]));
    let rest = talk.into_iter().find_map(|begin| {
        let words = &text[begin..];
        let ends = words.char_indices().map(|(at, _)| at).chain([words.len()]).filter(|&at| {
            words[..at].ends_with(char::is_alphabetic) && !words[at..].starts_with(char::is_alphabetic)
        });
        let ends: Vec<usize> = ends.take(LONGEST).collect();
        ends.into_iter()
            .rev()
            .find(|&end| VOCABULARY.has(&words[..end], Use::Correction))
            .map(|end| &words[end..])
    })?;
    let figure = rest.find(|c: char| c.is_ascii_digit()).unwrap_or(rest.len());
    let mut marks = rest[..figure].match_indices([',', ':', '!', '.', '–']).map(|(at, mark)| at + mark.len());
    let near =
        |at: &usize| rest[..*at].split_whitespace().count() <= MOST_BETWEEN && rest[*at..].starts_with(' ');
    let behind = marks.rfind(near).unwrap_or(0);
    Some(rest[behind..].trim_start()).filter(|right| names_a_price(right))
}

/// `Server boards 5.30 not 5.80 per lb` without what it was not; what that is per goes with a price that has no unit.
fn without_the_wrong(text: &str) -> Option<String> {
    let scan = Scan::of(text);
    let says = |at: &usize| NOT.contains(&scan.word(*at).to_lowercase().as_str());
    let places: Vec<usize> = (1..scan.tokens.len()).filter(says).collect();
    if places.is_empty() {
        return None;
    }
    let prices = price::prices(&scan, Marks::of(scan.numbers(), Habit::Point));
    places.into_iter().find_map(|at| {
        let wrong = prices.iter().find(|price| price.first == at + 1)?;
        let right = prices.iter().rfind(|price| price.last <= at)?;
        let number = (wrong.first..wrong.last).find(|&at| scan.kind(at) == Some(Kind::Number))?;
        let sure = looks_like_price(scan.word(number)) || !wrong.currencies.is_empty();
        // `Copper no. 1` is not what it is not.
        let from = if right.unit.is_some() || wrong.unit.is_none() { wrong.last } else { number + 1 };
        let before = scan.between(0, at).trim_end_matches([' ', ',', '-', '–', '(']);
        sure.then(|| format!("{before} {}", scan.between(from, scan.tokens.len())).trim_end().to_string())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, right: Option<&str>) {
        assert_eq!(corrected(text).as_deref(), right, "{text}");
    }

    #[test]
    fn what_is_right_instead() {
        check(
            "Edit / correction: laptop mobos 3.25, not what I wrote",
            Some("laptop mobos 3.25, not what I wrote"),
        );
        check("woops Brass 5.60 and Ali extrusion 2.30", Some("Brass 5.60 and Ali extrusion 2.30"));
        check("correction to Lou, #2 copper 3.58 today not 3.62", Some("#2 copper 3.58 today"));
        check("Korrektur!! Erdkabel Kupfer 3,01", Some("Erdkabel Kupfer 3,01"));
        check("Me equivoqué arriba, Latón 4,25", Some("Latón 4,25"));
        check("Erreur de ma part : Cartes mères 3,60 €, pas 3,80 €", Some("Cartes mères 3,60 €"));
        check("Sorry fat thumbs. Server boards 5.30 not 5.80", Some("Server boards 5.30"));
        check("poprawka Miedź milbera 35,10", Some("Miedź milbera 35,10"));
        check("Server boards 5.30 not 5.80 per lb", Some("Server boards 5.30 per lb"));
        check("Laptop boards $3.30/lb not $3.80/lb", Some("Laptop boards $3.30/lb"));
        check("Wire 1.20 not 1.40 any more", Some("Wire 1.20 any more"));
    }

    #[test]
    fn what_puts_nothing_right() {
        check("No. 2 copper 3.60", None);
        check("Motors, not stripped 0.45", None);
        check("Copper 3.60, no 1 only", None);
        check("Steel (typo) 0.10", None);
        check("Aluminium scrap that is clean 0.70", None);
        check("Correction: see you at eight", None);
        check("", None);
    }
}
