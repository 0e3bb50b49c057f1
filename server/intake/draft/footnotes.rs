//! Footnotes, and the marks that lead to them.

use super::DraftRow;

/// A sheet has no more numbered footnotes.
const MOST_NUMBERED: u8 = 20;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    /// `*`, `²`
    Sign(char),
    /// `(2)`
    Number(u8),
}

impl Mark {
    pub fn number(self) -> Option<u8> {
        match self {
            Mark::Sign(_) => None,
            Mark::Number(number) => Some(number),
        }
    }

    /// Whether the row, or the heading that it stands under, is marked so.
    pub fn is_of(self, row: &DraftRow) -> bool {
        match self {
            Mark::Sign(sign) => row.source.trim_end().ends_with(sign) || row.wording.ends_with(sign),
            Mark::Number(number) => {
                let marked = |text: &str| marked(text).is_some_and(|(own, _)| own == number);
                marked(&row.source) || marked(&row.wording) || row.group.as_deref().is_some_and(marked)
            }
        }
    }
}

/// The sign at the beginning of a footnote.
pub(super) fn sign(text: &str) -> Option<char> {
    let mut chars = text.trim_start().chars();
    let mark = chars.next().filter(|c| matches!(c, '*' | '†' | '‡' | '§' | '¹' | '²' | '³'))?;
    // A run of stars is decoration.
    (chars.next() != Some(mark) && !text.trim_end().ends_with(mark)).then_some(mark)
}

/// The numbered footnotes of a line: `(1) per kg  (2) per tonne`. A line that tells the third begins with it.
pub(super) fn numbered(text: &str) -> impl Iterator<Item = (u8, &str)> {
    let mut rest = text.trim_start();
    let mut next = opened(rest).map(|(number, _)| number);
    std::iter::from_fn(move || {
        let number = next.filter(|number| (1..=MOST_NUMBERED).contains(number))?;
        let (_, note) = opened(rest).filter(|(opened, _)| *opened == number)?;
        let end = note.find(&format!("({})", number + 1)).unwrap_or(note.len());
        let (note, after) = note.split_at(end);
        (rest, next) = (after, Some(number + 1));
        Some((number, note.trim()))
    })
}

/// The number in brackets that a text begins with, and what is behind it.
fn opened(text: &str) -> Option<(u8, &str)> {
    let (number, rest) = text.strip_prefix('(')?.split_once(')')?;
    Some((number.parse().ok()?, rest)).filter(|(_, rest)| !rest.trim().is_empty())
}

/// The number in brackets that a text ends with, and what stands before it.
fn marked(text: &str) -> Option<(u8, &str)> {
    let (bare, number) = text.trim_end().strip_suffix(')')?.rsplit_once('(')?;
    let bare = bare.trim_end();
    Some((number.parse().ok()?, bare)).filter(|_| !bare.is_empty())
}

/// The row without the marks of the footnotes that the sheet has.
pub(super) fn without(mut row: DraftRow, numbers: &[u8]) -> DraftRow {
    for text in [Some(&mut row.wording), row.group.as_mut()].into_iter().flatten() {
        if let Some((_, bare)) = marked(text).filter(|(number, _)| numbers.contains(number)) {
            *text = bare.to_string();
        }
    }
    row
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbered_footnotes_of_a_line() {
        let notes: Vec<_> = numbered(" (1) per kg  (2) per tonne; (3) each").collect();
        assert_eq!(notes, [(1, "per kg"), (2, "per tonne;"), (3, "each")]);
        assert_eq!(numbered("(3) each, no toner").collect::<Vec<_>>(), [(3, "each, no toner")]);
        assert_eq!(
            numbered("(1)").count() + numbered("(no steel) 0.40").count() + numbered("Cu (1)").count(),
            0
        );
        assert_eq!(numbered("(0123) 555 0160 (0124) 555").count(), 0);
    }
}
