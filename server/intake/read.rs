//! From a file's bytes to a [`Sheet`]: parse by format, decide what holds for the whole sheet, then read row by row.

use crate::document::{Block, Cell, Document};
use crate::draft::{Draft, Hints};
use crate::format::{Format, LARGEST_FILE, Unreadable};
use crate::lines::LineReader;
use crate::number::Marks;
use crate::scan::Scan;
use crate::sheet::Sheet;
use crate::{decode, delimited, table, text, workbook};

/// Reads a file that [`detect`](crate::detect) has told the format of.
pub fn read(format: Format, bytes: &[u8], hints: &Hints) -> Result<Sheet, Unreadable> {
    if bytes.len() > LARGEST_FILE {
        return Err(Unreadable::TooLarge);
    }
    let document = match format {
        Format::Workbook => workbook::parse(bytes)?,
        Format::Delimited | Format::Text => {
            let decoded =
                decode::text(bytes).ok_or_else(|| Unreadable::Damaged("it holds no text".into()))?;
            match delimited::delimiter(&decoded.text, true).filter(|_| format == Format::Delimited) {
                Some(mark) => delimited::parse(&decoded, mark),
                None => text::parse(&decoded),
            }
        }
    };
    Ok(sheet(document, hints))
}

fn sheet(document: Document, hints: &Hints) -> Sheet {
    let marks = marks(&document.blocks, hints);
    let mut draft = Draft::new(hints, marks, document.problems);
    for block in &document.blocks {
        match block {
            Block::Table(rows) => table::read(rows, &mut draft),
            Block::Lines(lines) => {
                let mut reader = LineReader::default();
                lines.iter().for_each(|line| reader.read(line, &mut draft));
            }
        }
    }
    draft.finish()
}

/// The decimal mark of the whole document, by all its numbers that are text.
fn marks(blocks: &[Block], hints: &Hints) -> Marks {
    let texts = blocks.iter().flat_map(|block| -> Box<dyn Iterator<Item = &str> + '_> {
        match block {
            Block::Lines(lines) => Box::new(lines.iter().map(|line| line.text.as_str())),
            Block::Table(rows) => {
                Box::new(rows.iter().flat_map(|row| &row.cells).filter_map(|cell| match cell {
                    Cell::Text(text) => Some(text.as_str()),
                    _ => None,
                }))
            }
        }
    });
    let numbers = texts.flat_map(|text| Scan::of(text).numbers().collect::<Vec<_>>());
    Marks::of(numbers, hints.usual_habit())
}
