//! Plain text, pasted or from a file: lines, as they stand.

use crate::decode::Decoded;
use crate::document::{Block, Document, Line, MOST_CHARACTERS, MOST_ROWS, cut};
use crate::sheet::{Place, Problem};

pub(crate) fn parse(decoded: &Decoded) -> Document {
    let mut document = Document::default();
    if decoded.damaged {
        document.problems.push(Problem::Undecoded);
    }
    let mut lines = Vec::new();
    for (number, text) in (1u32..).zip(decoded.text.split('\n')) {
        if number > MOST_ROWS {
            document.problems.push(Problem::RowsCut { read: MOST_ROWS });
            break;
        }
        let text = text.trim_end();
        let kept = cut(text, MOST_CHARACTERS);
        if kept.len() < text.len() {
            document.problems.push(Problem::CellsCut { characters: MOST_CHARACTERS as u32 });
        }
        if !kept.trim().is_empty() {
            lines.push(Line { place: Place::Line(number), text: kept.to_string() });
        }
    }
    document.problems.dedup();
    document.blocks.push(Block::Lines(lines));
    document
}
