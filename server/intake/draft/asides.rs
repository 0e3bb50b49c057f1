//! What somebody says behind a name that is no part of it: `Server boards (new for us)`, `Ram – bring us your trays!`.

use super::DraftRow;
use crate::context::{is_all_of_goods, speaks_of_goods};
use crate::vocabulary::{Use, VOCABULARY};

/// Words of the longest that the vocabulary has.
const LONGEST: usize = 4;

/// The row without it; its note says it.
pub(super) fn without(mut row: DraftRow) -> DraftRow {
    let Some((name, aside)) = split(&row.wording) else { return row };
    let note = row.note.take().filter(|note| note != aside);
    row.note = Some(note.map_or(aside.to_string(), |note| format!("{aside}; {note}")));
    row.whole =
        row.whole.take().map(|whole| split(&whole).map_or(whole.clone(), |(name, _)| name.to_string()));
    row.wording = name.to_string();
    row
}

fn split(wording: &str) -> Option<(&str, &str)> {
    // `Cable (no prep needed, 80%)`, `Hard drives (board needed)` say what they are like.
    let says = |aside: &str| !aside.contains('%') && is_talk(aside);
    let (name, aside) = match wording.strip_suffix([')', ']']) {
        Some(inside) => inside.rsplit_once(['(', '[']).filter(|(_, aside)| says(aside))?,
        None => {
            let dashes = [" - ", " – ", " — "];
            let (name, aside) = dashes.iter().find_map(|dash| wording.rsplit_once(dash))?;
            let cries = aside.ends_with('!') && !is_all_of_goods(aside.trim_end_matches('!'));
            (cries || says(aside)).then_some((name, aside))?
        }
    };
    let name = name.trim_end();
    name.contains(char::is_alphabetic).then_some((name, aside.trim()))
}

/// Whether some words are such talk, and none of the others are of goods.
fn is_talk(text: &str) -> bool {
    let words: Vec<&str> = text.split_whitespace().collect();
    let runs = (1..=LONGEST.min(words.len()))
        .rev()
        .flat_map(|length| (0..=words.len() - length).map(move |at| at..at + length));
    let said = runs.into_iter().find(|run| VOCABULARY.has(&words[run.clone()].join(" "), Use::Aside));
    let goods = |word: &&str| speaks_of_goods(word);
    // What begins so is talk to its end: `promo on boards till Friday`.
    said.is_some_and(|said| {
        said.start == 0 || !words[..said.start].iter().chain(&words[said.end..]).any(goods)
    })
}
