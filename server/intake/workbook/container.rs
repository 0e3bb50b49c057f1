//! The container of an old workbook and the stream of records in it, measured before their reader sets memory aside for
//! what they declare (Microsoft's published [MS-CFB] and [MS-XLS]).

use std::io::{Cursor, Read};

use cfb::CompoundFile;

use crate::format::Unreadable;

/// Sectors are no longer than this.
const LONGEST_SECTOR: usize = 4096;
/// Cells that all sheets together may span, empty ones as well: their reader lays each sheet out as a whole.
const MOST_CELLS: u64 = 1_500_000;
/// Records that are looked at; a sheet of 10,000 rows has some tens of thousands.
const MOST_RECORDS: u64 = 3_000_000;

/// The bytes to read, filled up to whole sectors; refused where they would take more memory than a price sheet can need.
pub(super) fn check(bytes: &[u8]) -> Result<Vec<u8>, Unreadable> {
    // A header that counts more sectors than there are: offsets by [MS-CFB] 2.2.
    let number =
        |at: usize| bytes.get(at..at + 4).and_then(|four| four.try_into().ok()).map(u32::from_le_bytes);
    let sector = match bytes.get(30) {
        Some(9) => 512,
        Some(12) => 4096,
        _ => return Err(damaged("its container has no proper beginning")),
    };
    let fits = |at| number(at).is_some_and(|count| u64::from(count) * sector <= bytes.len() as u64);
    if ![44, 64, 72].into_iter().all(fits) {
        return Err(damaged("its container counts more than it holds"));
    }
    let mut whole = bytes.to_vec();
    whole.resize(bytes.len().next_multiple_of(LONGEST_SECTOR), 0);
    let mut file = CompoundFile::open(Cursor::new(&whole)).map_err(|_| damaged("its container is broken"))?;
    let name = ["/Workbook", "/Book"].into_iter().find(|name| file.is_stream(name));
    let name = name.ok_or_else(|| damaged("it holds no workbook"))?;
    let mut stream = Vec::new();
    let opened = file.open_stream(name).map_err(|_| damaged("its container is broken"))?;
    let read = opened.take(bytes.len() as u64 + 1).read_to_end(&mut stream);
    read.map_err(|_| damaged("its container is broken"))?;
    measure(&stream)?;
    Ok(whole)
}

/// Adds up what every sheet spans, each from where the workbook says that it begins.
fn measure(stream: &[u8]) -> Result<(), Unreadable> {
    let mut left = Left { cells: MOST_CELLS, records: MOST_RECORDS };
    let mut sheets = Vec::new();
    for record in Records(stream) {
        left.record()?;
        match record.kind {
            BOUND_SHEET => sheets.extend(record.long(0)),
            END => break,
            _ => {}
        }
    }
    for begins in sheets {
        let sheet = usize::try_from(begins).ok().and_then(|at| stream.get(at..));
        let sheet = sheet.ok_or_else(|| damaged("a sheet of it begins beyond its end"))?;
        left.sheet(sheet)?;
    }
    Ok(())
}

struct Left {
    cells: u64,
    records: u64,
}

impl Left {
    fn record(&mut self) -> Result<(), Unreadable> {
        self.records = self.records.checked_sub(1).ok_or(Unreadable::TooManyCells)?;
        Ok(())
    }

    fn span(&mut self, rows: u64, columns: u64) -> Result<(), Unreadable> {
        self.cells = self.cells.checked_sub(rows.saturating_mul(columns)).ok_or(Unreadable::TooManyCells)?;
        Ok(())
    }

    fn sheet(&mut self, sheet: &[u8]) -> Result<(), Unreadable> {
        let mut span: Option<[u16; 4]> = None;
        let mut depth = 0;
        for record in Records(sheet) {
            self.record()?;
            match record.kind {
                BEGIN => depth += 1,
                END if depth <= 1 => break,
                END => depth -= 1,
                DIMENSIONS => {
                    let long = record.data.len() >= 14;
                    let at = |short: usize, wide: usize| {
                        if long { record.long(wide) } else { record.short(short).map(u32::from) }
                    };
                    let ends = (at(0, 0), at(2, 4));
                    let columns = if long {
                        (record.short(8), record.short(10))
                    } else {
                        (record.short(4), record.short(6))
                    };
                    if let ((Some(top), Some(bottom)), (Some(first), Some(last))) = (ends, columns) {
                        // Each end stands one behind the last, or is the first itself where nothing is there.
                        let rows = u64::from(bottom.saturating_sub(top)) + 1;
                        self.span(rows, u64::from(last.saturating_sub(first)) + 1)?;
                    }
                }
                kind if CELLS.contains(&kind) => {
                    let (Some(row), Some(first)) = (record.short(0), record.short(2)) else { continue };
                    // A run of numbers ends with the column of its last.
                    let last = match kind {
                        RUN => record.short(record.data.len().saturating_sub(2)).unwrap_or(first).max(first),
                        _ => first,
                    };
                    let [top, bottom, left, right] = span.unwrap_or([row, row, first, last]);
                    span = Some([top.min(row), bottom.max(row), left.min(first), right.max(last)]);
                }
                _ => {}
            }
        }
        if let Some([top, bottom, left, right]) = span {
            // Values and formulas are laid out apart.
            self.span(2 * (u64::from(bottom - top) + 1), u64::from(right - left) + 1)?;
        }
        Ok(())
    }
}

// Kinds of records ([MS-XLS] 2.3.2).
const BEGIN: u16 = 0x0809;
const END: u16 = 0x000a;
const BOUND_SHEET: u16 = 0x0085;
const DIMENSIONS: u16 = 0x0200;
const RUN: u16 = 0x00bd;
const CELLS: [u16; 8] = [0x0006, RUN, 0x00d6, 0x00fd, 0x0203, 0x0204, 0x0205, 0x027e];

struct Record<'a> {
    kind: u16,
    data: &'a [u8],
}

impl Record<'_> {
    fn short(&self, at: usize) -> Option<u16> {
        Some(u16::from_le_bytes(self.data.get(at..at + 2)?.try_into().ok()?))
    }

    fn long(&self, at: usize) -> Option<u32> {
        Some(u32::from_le_bytes(self.data.get(at..at + 4)?.try_into().ok()?))
    }
}

/// The records from the beginning of the bytes on; one that is cut short ends them.
struct Records<'a>(&'a [u8]);

impl<'a> Iterator for Records<'a> {
    type Item = Record<'a>;

    fn next(&mut self) -> Option<Record<'a>> {
        let (head, rest) = self.0.split_at_checked(4)?;
        let length = usize::from(u16::from_le_bytes([head[2], head[3]]));
        let (data, rest) = rest.split_at_checked(length)?;
        self.0 = rest;
        Some(Record { kind: u16::from_le_bytes([head[0], head[1]]), data })
    }
}

fn damaged(why: &str) -> Unreadable {
    Unreadable::Damaged(why.into())
}
