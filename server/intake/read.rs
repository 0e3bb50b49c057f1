//! From a file's bytes to a [`Sheet`]: parse by format, decide what holds for the whole sheet, then read row by row.

use jiff::civil::Date;

use crate::cuts::Cuts;
use crate::document::{Block, Document};
use crate::draft::Draft;
use crate::format::{Format, LARGEST_FILE, Unreadable};
use crate::hints::Hints;
use crate::lines::LineReader;
use crate::number::{Habit, Marks, Votes};
use crate::scan::Scan;
use crate::sheet::{Sheet, Why};
use crate::{dashed, decode, delimited, layout, pdf, table, text, wall, web_page, workbook};

/// Reads a file that [`detect`](crate::detect) has told the format of.
pub fn read(format: Format, bytes: &[u8], hints: &Hints) -> Result<Sheet, Unreadable> {
    Ok(sheet(document(format, bytes)?, hints))
}

/// Reads a file of an outlet that is not known: the sheet itself has to show its currency.
pub fn read_alone(format: Format, bytes: &[u8], today: Date) -> Result<Sheet, Unreadable> {
    let document = document(format, bytes)?;
    let hints = Hints::shown_by(&document, today);
    Ok(sheet(document, &hints))
}

fn document(format: Format, bytes: &[u8]) -> Result<Document, Unreadable> {
    if bytes.len() > LARGEST_FILE {
        return Err(Unreadable::TooLarge);
    }
    Ok(match format {
        Format::Workbook(kind) => workbook::parse(kind, bytes)?,
        Format::WebPage => web_page::parse(bytes)?,
        // A picture has to be recognised first; see `photo`.
        Format::Photo => return Err(Unreadable::NoRecogniser),
        Format::Pdf => pages(pdf::parse(bytes)?),
        Format::Delimited | Format::Text => {
            let decoded =
                decode::text(bytes).ok_or_else(|| Unreadable::Damaged("it holds no text".into()))?;
            match delimited::delimiter(&decoded.text, true).filter(|_| format == Format::Delimited) {
                // `Bare bright  4.10  |  Network cards  4.25` is a line drawn between two lists.
                Some(b'|') if text::is_ruled(&decoded.text) => text::parse(&decoded),
                Some(mark) => delimited::parse(&decoded, mark),
                None => text::parse(&decoded),
            }
        }
    })
}

/// The blocks of all pages, one after the other.
fn pages(mut read: pdf::Pages) -> Document {
    let aside = layout::without_running_rows(&mut read.pages);
    let joined = layout::with_whole_names(&mut read.pages);
    let texts = read.pages.iter().flatten().flat_map(|row| &row.pieces).map(|piece| piece.text.as_str());
    let marks = Marks::of(texts.flat_map(|text| Scan::of(text).numbers().collect::<Vec<_>>()), Habit::Point);
    let blocks = read.pages.into_iter().flat_map(|rows| layout::blocks(rows, marks)).collect();
    // `Valid from November 4, 2026 - Page 1 of 2`
    let dates = aside.iter().map(|line| line.text.clone()).collect();
    Document { blocks, problems: read.problems, aside, joined, dates, ..Document::default() }
}

pub(crate) fn sheet(mut document: Document, hints: &Hints) -> Sheet {
    let problems = std::mem::take(&mut document.problems);
    wall::name_by_name(&mut document);
    dashed::as_decimals(&mut document);
    let cuts = Cuts::new();
    let marks = marks(&document, &cuts, hints);
    let mut draft = Draft::new(hints, marks, problems);
    document.dates.iter().for_each(|text| draft.look_for_date(text));
    for line in &document.aside {
        draft.leave_out(line.text.trim(), &line.place, Why::NoPrice);
    }
    for line in &document.joined {
        draft.leave_out(line.text.trim(), &line.place, Why::GoesOn);
    }
    let mut heading = None;
    for block in &document.blocks {
        match block {
            Block::Table(rows) => table::read(rows, heading.take(), &cuts, &mut draft),
            Block::Lines(lines) => {
                let mut reader = LineReader::of(lines, draft.marks);
                lines.iter().for_each(|line| reader.read(line, &mut draft));
                heading = reader.heading_of_table();
            }
        }
    }
    draft.put_right(&document.correcting);
    draft.finish()
}

/// The decimal mark of the whole document, by all its numbers that are text.
fn marks<'d>(document: &'d Document, cuts: &Cuts<'d>, hints: &Hints) -> Marks {
    // Only what has a digit in it can hold a number.
    let texts = document.texts().filter(|text| text.contains(|c: char| c.is_ascii_digit()));
    let mut votes = Votes::default();
    for text in texts {
        cuts.of(text).scan.numbers().for_each(|number| votes.add(number));
    }
    votes.marks(hints.usual_habit())
}
