//! What a wording says is not there, or only comes along: `UPS, batteries out`, `Aluminium profilé, non laqué`, `Microwaves
//! w/ transformer`.

use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal_wording;

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
        let words: Vec<&str> = segment.split_whitespace().collect();
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
        assert_eq!(beside("Laptops (w/ screen)"), both("Laptops", "w/ screen"));
        check("Bleche, gummifrei", "Bleche", "gummifrei");
        assert_eq!(present("No. 2 copper"), None);
        assert_eq!(present("Copper, No. 2"), None);
        assert_eq!(present("Bare bright"), None);
        assert_eq!(present("no batteries"), None);
    }
}
