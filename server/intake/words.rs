//! Wordings as sets of words, each in the one spelling and the one language in which names of grades are compared.

use std::collections::BTreeSet;

use crate::vocabulary::{Use, VOCABULARY, Vocabulary};
use crate::wording::normal_wording;

pub(crate) type Words = BTreeSet<String>;

/// The words of a text that say something about a grade, each in the one spelling that stands for all of its kind.
pub(crate) fn words(text: &str) -> Words {
    let normal = normal_wording(&without_elision(text));
    let plain: Vec<&str> = normal.split(' ').filter(|word| !word.is_empty()).collect();
    let mut stems: Vec<String> = translated(&plain).iter().map(|word| stem(word)).collect();
    drop_absent(&mut stems);
    let mut words = Words::new();
    let mut at = 0;
    while at < stems.len() {
        let (length, word) =
            longest_run(&stems[at..], VOCABULARY.starts_stand_in(&stems[at]), |run| VOCABULARY.stand_in(run))
                .unwrap_or((1, &stems[at]));
        // One word may stand for several: `romex` for `solid house wire`.
        words.extend(word.split(' ').filter(|word| !VOCABULARY.is_idle(word)).map(str::to_string));
        at += length;
    }
    words
}

/// The longest run of words from the first that `find` knows, and what it says of it. Nearly all runs of several mean
/// nothing together, which their first word shows.
fn longest_run<'v, W: AsRef<str>>(
    words: &[W],
    several: bool,
    find: impl Fn(&str) -> Option<&'v str>,
) -> Option<(usize, &'v str)> {
    let longest = if several { Vocabulary::LONGEST_STAND_IN.min(words.len()) } else { 1 };
    let mut runs = (2..=longest).rev();
    let run = |length: usize| words[..length].iter().map(AsRef::as_ref).collect::<Vec<&str>>().join(" ");
    runs.find_map(|length| find(&run(length)).map(|found| (length, found)))
        .or_else(|| find(words.first()?.as_ref()).map(|found| (1, found)))
}

/// Takes out what is said not to be there, if no name of a grade has it: `phone boards no shield` are phone boards.
fn drop_absent(stems: &mut Vec<String>) {
    let mut at = 0;
    while at + 1 < stems.len() {
        let strange =
            |word: &String| !VOCABULARY.is_own(word) && !word.starts_with(|c: char| c.is_ascii_digit());
        if at > 0 && VOCABULARY.has(&stems[at], Use::Absent) && strange(&stems[at + 1]) {
            stems.drain(at..at + 2);
        } else {
            at += 1;
        }
    }
}

/// The text without articles that are written together with their word: `batteries d'auto`, `fonte d’alu`.
fn without_elision(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut word = 0;
    for c in text.chars() {
        if matches!(c, '\'' | '’') && word == 1 && plain.ends_with(['d', 'l', 'D', 'L']) {
            plain.pop();
            plain.push(' ');
            word = 0;
            continue;
        }
        word = if c.is_alphanumeric() { word + 1 } else { 0 };
        plain.push(c);
    }
    plain
}

/// The words in English, where they are known in another language; the others as they stand.
fn translated(words: &[&str]) -> Vec<String> {
    let mut english = Vec::new();
    let mut at = 0;
    while at < words.len() {
        let several = words.len() - at > 1 && VOCABULARY.starts_english(words[at]);
        let found = longest_run(&words[at..], several, |run| VOCABULARY.english(run));
        let (length, meaning) = match found {
            Some((length, meaning)) => (length, meaning.to_string()),
            None => (1, compound(words[at]).unwrap_or_else(|| words[at].to_string())),
        };
        english.extend(meaning.split(' ').filter(|word| !word.is_empty()).map(str::to_string));
        at += length;
    }
    english
}

/// A word that is two known ones written together: `Serverplatinen`, `koperkabel`.
fn compound(word: &str) -> Option<String> {
    let known = VOCABULARY.is_own(&stem(word)) || VOCABULARY.is_loan(word);
    if known || word.len() < 7 || !word.bytes().all(|b| b.is_ascii_lowercase()) {
        return None;
    }
    (3..=word.len() - 4).rev().find_map(|at| {
        let (first, second) = word.split_at(at);
        let second = VOCABULARY.english_half(second).filter(|meaning| !VOCABULARY.is_idle(meaning))?;
        // Letters that only join the two: `Leitungsdraht`, `Platinenschrott`.
        let first = ["", "s", "n", "en", "e"].iter().find_map(|joint| {
            let first = first.strip_suffix(joint).filter(|first| first.len() >= 3)?;
            VOCABULARY.english(first).or_else(|| VOCABULARY.is_loan(first).then_some(first))
        })?;
        Some(format!("{first} {second}"))
    })
}

/// A word without its plural ending, so that `boards` and `board` are one.
pub(crate) fn stem(word: &str) -> String {
    if word.len() <= 3 || !word.is_ascii() || word.chars().any(|c| c.is_ascii_digit()) {
        return word.to_string();
    }
    if let Some(start) = word.strip_suffix("ies").filter(|start| start.len() > 2) {
        return format!("{start}y");
    }
    let plural =
        word.ends_with('s') && !word.ends_with("ss") && !word.ends_with("us") && !word.ends_with("is");
    if plural { word[..word.len() - 1].to_string() } else { word.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expect: &str) {
        let words: Vec<String> = words(text).into_iter().collect();
        assert_eq!(words.join(" "), expect, "{text}");
    }

    #[test]
    fn words_of_any_language() {
        check("Kupferkabel 60 %", "60pct copper wire");
        check("Serverplatinen", "board server");
        check("schede madri", "board main");
        check("Placas base", "board main");
        check("Kable miedziane", "copper wire");
        check("power cords w/ ends", "cord power");
        check("Telecom boards", "board telecom");
        check("cans", "can");
        check("die cast zinc", "cast die zinc");
        check("Placa de notebook", "board laptop");
        check("Batteries d'auto", "battery car");
        check("phone boards, no shields", "board phone");
    }
}
