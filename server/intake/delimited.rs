//! Delimited text: which delimiter, and its cells.

mod unquoted;

use csv::{ReaderBuilder, StringRecord};

use crate::decode::Decoded;
use crate::document::{Block, Cell, Document, GridRow, MOST_CHARACTERS, MOST_COLUMNS, MOST_ROWS, cut};
use crate::sheet::{Place, Problem};

const DELIMITERS: [u8; 4] = [b'\t', b';', b'|', b','];
/// Lines that are looked at to find the delimiter.
const SAMPLE: usize = 60;
/// A quoted cell with more line breaks than this is an open quotation mark that swallows the file.
const MOST_BREAKS: usize = 8;

/// The delimiter that cuts most lines of the text into the same number of cells; `None` where it is no table.
///
/// A file that is `named` as delimited needs only one line that is cut; a comma in prose is told from a delimiter by
/// the blank after it.
pub(crate) fn delimiter(text: &str, named: bool) -> Option<u8> {
    let mut lines = text
        .lines()
        .map(|line| line.trim_end_matches(['\r', ' ']))
        .filter(|line| !line.trim().is_empty())
        .peekable();
    if let Some(&[b's', b'e', b'p', b'=', mark]) = lines.peek().map(|line| line.as_bytes()) {
        return Some(mark).filter(|mark| DELIMITERS.contains(mark));
    }
    let lines: Vec<&str> = lines.take(SAMPLE).collect();
    best(&lines, false).or_else(|| named.then(|| best(&lines, true)).flatten())
}

fn best(lines: &[&str], named: bool) -> Option<u8> {
    let best =
        DELIMITERS.into_iter().map(|mark| (agreement(lines, mark, named), mark)).reduce(|best, next| {
            // In the order of the list, so that a tab wins over a comma that does as well.
            if next.0 > best.0 { next } else { best }
        });
    let (agreeing, mark) = best?;
    let enough = if named { 1 } else { (lines.len() * 6).div_ceil(10).max(2) };
    (agreeing >= enough).then_some(mark)
}

/// How many of the lines this delimiter cuts into the commonest number of cells, and tabs into any.
fn agreement(lines: &[&str], mark: u8, named: bool) -> usize {
    let counts: Vec<usize> =
        lines.iter().map(|line| cuts(line, mark, named)).filter(|count| *count > 0).collect();
    // Nobody writes several tabs in prose, and empty cells at the end of a row may have lost theirs; but a page pasted as
    // text has one in many of its lines.
    if mark == b'\t' && counts.iter().filter(|count| **count > 1).count() * 2 > counts.len() {
        return counts.len();
    }
    counts.iter().map(|count| counts.iter().filter(|other| *other == count).count()).max().unwrap_or(0)
}

/// Delimiters of the line that stand outside quotation marks.
fn cuts(line: &str, mark: u8, named: bool) -> usize {
    let bytes = line.as_bytes();
    let mut quoted = false;
    let mut count = 0;
    for (at, &byte) in bytes.iter().enumerate() {
        let before = at.checked_sub(1).map(|i| bytes[i]);
        let after = bytes.get(at + 1);
        if byte == b'"' {
            quoted = !quoted;
        } else if byte == mark && !quoted {
            // `1,250` and `5,80` in a line of text, and a comma with a blank after it, are no delimiters.
            let digits = before.is_some_and(|b| b.is_ascii_digit()) && after.is_some_and(u8::is_ascii_digit);
            // `815,-`: a dash in the place of cents.
            let cents = before.is_some_and(|b| b.is_ascii_digit()) && after == Some(&b'-');
            let prose = after == Some(&b' ') || digits || cents;
            if mark != b',' || named || !prose {
                count += 1;
            }
        }
    }
    count
}

/// The table of a text that [`delimiter`] says is delimited.
pub(crate) fn parse(decoded: &Decoded, mark: u8) -> Document {
    let mut document = Document::default();
    if decoded.damaged {
        document.problems.push(Problem::Undecoded);
    }
    let text = match decoded.text.split_once('\n') {
        Some((first, rest)) if first.trim_end().strip_prefix("sep=").is_some_and(|m| m.len() == 1) => {
            Text { body: rest, skipped: 1 }
        }
        _ => Text { body: &decoded.text, skipped: 0 },
    };
    let mut rows = match text.rows(mark, true, &mut document.problems) {
        Ok(rows) => rows,
        Err(Swallowed { line }) => {
            document.problems.retain(|problem| *problem == Problem::Undecoded);
            document.problems.push(Problem::OpenQuote(Place::Line(line)));
            text.rows(mark, false, &mut document.problems).unwrap_or_default()
        }
    };
    if mark == b',' {
        unquoted::join(&mut rows);
    }
    document.blocks.push(Block::Table(rows));
    document
}

struct Text<'t> {
    body: &'t str,
    /// Lines before the body.
    skipped: u32,
}

/// An open quotation mark in the record that begins at this line.
struct Swallowed {
    line: u32,
}

impl Text<'_> {
    /// The line that a record stands in; its position is before any blank lines above it.
    fn line(&self, position: &csv::Position) -> u32 {
        let at = usize::try_from(position.byte()).unwrap_or(usize::MAX);
        let blank = self
            .body
            .as_bytes()
            .get(at..)
            .unwrap_or_default()
            .iter()
            .take_while(|byte| **byte == b'\n')
            .count() as u64;
        u32::try_from(position.line() + blank).unwrap_or(u32::MAX).saturating_add(self.skipped)
    }

    fn rows(&self, mark: u8, quotes: bool, problems: &mut Vec<Problem>) -> Result<Vec<GridRow>, Swallowed> {
        let mut reader = ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(mark)
            .quoting(quotes)
            .from_reader(self.body.as_bytes());
        let mut record = StringRecord::new();
        let mut rows = Vec::new();
        let mut found = Vec::new();
        // Reading from a string in memory cannot fail, so an error is the end like any other.
        while let Ok(true) = reader.read_record(&mut record) {
            let line = record.position().map_or(0, |position| self.line(position));
            if quotes
                && record.iter().any(|field| field.matches('\n').take(MOST_BREAKS).count() == MOST_BREAKS)
            {
                return Err(Swallowed { line });
            }
            if rows.len() == MOST_ROWS as usize {
                found.push(Problem::RowsCut { read: MOST_ROWS });
                break;
            }
            if record.len() > MOST_COLUMNS as usize {
                found.push(Problem::ColumnsCut { read: MOST_COLUMNS });
            }
            let cells: Vec<Cell> = record
                .iter()
                .take(MOST_COLUMNS as usize)
                .map(|field| {
                    let kept = cut(field, MOST_CHARACTERS);
                    if kept.len() < field.len() {
                        found.push(Problem::CellsCut { characters: MOST_CHARACTERS as u32 });
                    }
                    Cell::of(if quotes { kept } else { kept.trim_matches('"') })
                })
                .collect();
            if cells.iter().any(|cell| !cell.is_empty()) {
                rows.push(GridRow { place: Place::Line(line), cells });
            }
        }
        for problem in found {
            if !problems.contains(&problem) {
                problems.push(problem);
            }
        }
        Ok(rows)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode;

    fn check(text: &str, named: bool, expect: Option<char>) {
        assert_eq!(delimiter(text, named).map(char::from), expect, "{text}");
    }

    #[test]
    fn the_delimiter_is_what_cuts_most_lines_alike() {
        check("Item,Price\nBare bright,4.10\n\"No. 2, mixed\",3.60\n", false, Some(','));
        check("Artikel;Preis\nKupfer;5,80\nMessing;4,10\n", false, Some(';'));
        check("Item\tPrice\nBare bright, clean\t4.10\n", false, Some('\t'));
        check(
            "Artikel\tNote\tPrijs\tMin\nBord\t\t3,40\t50\nKabel\tschoon\t5,10\nAccu\t\t0,48\t\n",
            true,
            Some('\t'),
        );
        check("| Item | Price |\n|---|---|\n| Brass | 2.10 |\n", false, Some('|'));
        check("sep=;\nx;y\n", false, Some(';'));
        check("Copper, bare bright 4.10\nBrass, yellow 2.20\n", false, None);
        check("Light iron 1,250\nCast iron 1,300\n", false, None);
        check("Messing € 498,-\nLood € 152,-\nRvs € 101,-\n", false, None);
        check("Bare bright,4.10", true, Some(','));
        check("Bare bright 4.10", true, None);
    }

    #[test]
    fn an_open_quote_does_not_swallow_the_file() {
        let text = format!("Item,Price\n\"Bare bright,4.10\n{}", "Brass,2.20\n".repeat(40));
        let document = parse(&decode::text(text.as_bytes()).unwrap(), b',');
        let Block::Table(rows) = &document.blocks[0] else { panic!("no table") };
        assert_eq!(rows.len(), 42);
        assert_eq!(rows[1].cells, [Cell::of("Bare bright"), Cell::of("4.10")]);
        assert_eq!(document.problems, [Problem::OpenQuote(Place::Line(2))]);
    }
}
