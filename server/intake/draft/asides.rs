//! What somebody says behind a name that is no part of it: `Server boards (new for us)`, `Ram – bring us your trays!`.

use super::DraftRow;
use crate::context::is_all_of_goods;
use crate::vocabulary::{Use, VOCABULARY};

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
    let says = |aside: &str| VOCABULARY.has_within(aside, Use::Aside);
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
