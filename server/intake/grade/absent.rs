//! What a wording says is not there, or only comes along: `UPS, batteries out`, `Aluminium profilé, non laqué`, `Microwaves
//! w/ transformer`.

use std::sync::Arc;

use super::met::Book;
use super::{Catalogue, How, Proposal};
use crate::vocabulary::{Rivals, Use, VOCABULARY};
use crate::wording::normal_wording;
use crate::words::Heading;

/// A wording with what is not there taken out of it.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Present {
    pub there: String,
    pub absent: String,
    /// It is there as well, and may be what tells the grade.
    pub beside: String,
}

/// `None` where nothing is said to be absent or beside, or nothing else is said.
pub(super) fn present(wording: &str) -> Option<Present> {
    let mut found = Present::default();
    for (at, segment) in segments(wording).enumerate() {
        let words: Vec<&str> = segment.split_whitespace().flat_map(with_apart).collect();
        let from = absent_from(&words, at == 0).unwrap_or(words.len());
        let beside =
            (usize::from(at == 0)..from).find(|&at| VOCABULARY.has(words[at], Use::Beside)).unwrap_or(from);
        for (text, words) in [
            (&mut found.there, &words[..beside]),
            (&mut found.beside, &words[beside..from]),
            (&mut found.absent, &words[from..]),
        ] {
            if !words.is_empty() {
                let mark = if text.is_empty() { "" } else { ", " };
                *text += &format!("{mark}{}", words.join(" "));
            }
        }
    }
    let says = |text: &str| text.chars().any(char::is_alphabetic);
    (says(&found.there) && says(&(found.absent.clone() + &found.beside))).then_some(found)
}

/// `w/leads` as `w/` and `leads`.
fn with_apart(word: &str) -> impl Iterator<Item = &str> {
    // `m/boards` is short for one word, though `m/` is “with” in Dutch.
    let is_short = || VOCABULARY.english(&normal_wording(word)).is_some();
    let apart = word
        .find('/')
        .filter(|&at| at + 1 < word.len() && VOCABULARY.has(&word[..at], Use::Beside) && !is_short());
    let (with, rest) = word.split_at(apart.map_or(0, |at| at + 1));
    [with, rest].into_iter().filter(|part| !part.is_empty())
}

/// The parts between commas, brackets and dashes that stand apart.
fn segments(wording: &str) -> impl Iterator<Item = &str> {
    wording
        .split([',', ';', '(', ')', '[', ']'])
        .flat_map(|part| part.split(" - "))
        .flat_map(|part| part.split(" – "))
        .map(str::trim)
        .filter(|part| !part.is_empty())
}

/// From which word on a segment speaks of something that is not there, or that comes with what is.
fn absent_from(words: &[&str], first: bool) -> Option<usize> {
    let is = |at: usize, is: Use| VOCABULARY.has(words[at], is);
    // `No. 2` is a number.
    let numbered =
        |at: usize| words.get(at + 1).is_some_and(|word| word.starts_with(|c: char| c.is_ascii_digit()));
    let begins = (0..words.len()).find(|&at| is(at, Use::Absent) && at + 1 < words.len() && !numbered(at));
    if let Some(begins) = begins {
        return (begins > 0 || !first).then_some(begins);
    }
    // `paint on` is a word of its own, for painted.
    let pair = words.len().checked_sub(2).map(|from| words[from..].join(" "));
    if pair.is_some_and(|pair| VOCABULARY.stand_in(&normal_wording(&pair)).is_some()) {
        return None;
    }
    // `ends cut off`, `batteries out`; `eisenfrei`, `copper free`.
    let removed = (0..words.len()).rev().take_while(|&at| is(at, Use::Removed)).count();
    // One that has a meaning of its own is that: `bleifrei`.
    let free = words.last().is_some_and(|last| {
        VOCABULARY.is_free_of_something(last) && VOCABULARY.english(&normal_wording(last)).is_none()
    });
    if !free && (removed == 0 || removed == words.len()) {
        return None;
    }
    let noun = words.len() - removed.max(1) - usize::from(removed > 0);
    match first {
        true => (noun > 0).then_some(noun),
        false => Some(if words.len() <= MOST_REMOVED { 0 } else { noun }),
    }
}

/// A segment of so many words that ends with `off` or `out` speaks of nothing else.
const MOST_REMOVED: usize = 5;

/// The score of a wording that means a grade without what it says is not there, at most.
const WHAT_IS_THERE: u8 = 88;

impl Catalogue {
    /// Whether some phrase has a word of this text.
    pub(super) fn tells(&self, book: &mut Book, text: &str) -> bool {
        book.words.words(text).iter().any(|word| !self.holding(*word).is_empty())
    }

    /// The grade that the wording means without what it says is not there, where that is nothing the grade is known by:
    /// `RAM, no gold` is no gold memory.
    pub(super) fn by_what_is_there(
        &self,
        book: &mut Book,
        present: &Present,
        group: &Arc<Heading>,
    ) -> Option<Proposal> {
        // Copper that comes along may be what tells the grade; a part does not.
        let beside = book.words.words(&present.beside);
        let rivals = book.words.rivals(&beside);
        let is_part = |list: &Rivals| list.whole && !list.origin;
        if rivals.iter().zip(&VOCABULARY.rivals).any(|(said, list)| !said.is_empty() && !is_part(list)) {
            return None;
        }
        let there = book.words.words(&present.there);
        // `Power supplies with cables` below “Cables”: the heading says what comes along.
        let nouns = present.beside.split_whitespace().filter(|word| !VOCABULARY.has(word, Use::Beside));
        let brought = book.words.words(&nouns.collect::<Vec<_>>().join(" "));
        let tells_more = group.words.is_empty() || group.words.iter().any(|word| !brought.contains(word));
        let none = book.heading(None);
        let met = self.met(book, &there, if tells_more { group } else { &none });
        let found = match met.named() {
            Some(grade) => {
                Proposal { grade: Some(self.grades[grade].clone()), score: WHAT_IS_THERE, why: How::Scored }
            }
            None => self
                .by_head(book, &present.there, group, &there, &met.said)
                .unwrap_or_else(|| met.closest.get_or_init(|| self.closest(&met.said)).clone()),
        };
        let grade = self.grades.iter().position(|grade| Some(grade) == found.grade.as_ref())?;
        let known_by = self.is_known_by_what_is_absent(book, present, grade);
        (found.is_sure() && !known_by).then(|| Proposal { score: found.score.min(WHAT_IS_THERE), ..found })
    }

    /// Whether the grade is called by something that the wording says is not there: `Hard drives without boards` are not
    /// whole, and no boards either.
    pub(super) fn is_known_by_what_is_absent(
        &self,
        book: &mut Book,
        present: &Present,
        grade: usize,
    ) -> bool {
        let said = |word: &&str| [Use::Absent, Use::Removed].iter().any(|is| VOCABULARY.has(word, *is));
        let nouns: Vec<&str> = present.absent.split_whitespace().filter(|word| !said(word)).collect();
        let with = format!("with {}", nouns.join(" "));
        let absent = [book.words.words(&present.absent), book.words.words(&with)].concat();
        let there = book.words.words(&present.there);
        let name = self.of_grade[grade].first().map_or(&[][..], |&at| &self.phrases[at].words);
        absent.iter().any(|word| name.contains(word) && !there.contains(word))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(wording: &str, there: &str, absent: &str) {
        let expect = Present { there: there.to_string(), absent: absent.to_string(), beside: String::new() };
        assert_eq!(present(wording), Some(expect), "{wording}");
    }

    #[test]
    fn what_is_not_there_is_told_from_what_is() {
        check("UPS, batteries out", "UPS", "batteries out");
        check("cords ends cut off", "cords", "ends cut off");
        check("Power supplies, wires on", "Power supplies", "wires on");
        check("Transformer steel, copper free", "Transformer steel", "copper free");
        check("Modems and routers no adapters", "Modems and routers", "no adapters");
        check(
            "Computer motherboards (no CPU, no batteries)",
            "Computer motherboards",
            "no CPU, no batteries",
        );
        check("Aluminium profilé, non laqué", "Aluminium profilé", "non laqué");
        check("Netzkabel ohne Stecker", "Netzkabel", "ohne Stecker");
        let beside = |wording| present(wording).map(|present| (present.there, present.beside));
        let both = |there: &str, beside: &str| Some((there.to_string(), beside.to_string()));
        assert_eq!(beside("Ribbon cable, with or without plugs"), both("Ribbon cable", "with or"));
        assert_eq!(beside("Microwaves, whole w/ transformer"), both("Microwaves, whole", "w/ transformer"));
        assert_eq!(beside("Power supply, ATX w/leads"), both("Power supply, ATX", "w/ leads"));
        assert_eq!(beside("Laptops (w/ screen)"), both("Laptops", "w/ screen"));
        check("Bleche, gummifrei", "Bleche", "gummifrei");
        assert_eq!(present("No. 2 copper"), None);
        assert_eq!(present("Copper, No. 2"), None);
        assert_eq!(present("Bare bright"), None);
        assert_eq!(present("no batteries"), None);
    }
}
