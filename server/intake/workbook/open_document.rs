//! Cells of an OpenDocument spreadsheet, streamed from its `content.xml` (OASIS OpenDocument 1.3, part 3, chapters 9 and
//! 19): a repeated row or cell is one that is counted, so that none is set aside in memory for it.

use std::collections::HashSet;
use std::io::{Cursor, Read};
use std::str::FromStr;

use calamine::DataRef;
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use zip::ZipArchive;

use crate::document::{MOST_CHARACTERS, MOST_COLUMNS};
use crate::format::Unreadable;

/// Tables inside cells of tables are passed over.
const OUTERMOST: u32 = 1;

/// A sheet of the workbook, told from the next by its name.
pub(super) struct Sheet {
    pub name: String,
    pub is_hidden: bool,
}

/// What is met in the order of the document.
pub(super) enum Met<'a> {
    Sheet(Sheet),
    Cell { row: u32, column: u32, value: DataRef<'a>, currency: Option<String>, percent: bool },
}

/// The text of `content.xml`.
pub(super) fn content(bytes: &[u8]) -> Result<String, Unreadable> {
    let mut archive =
        ZipArchive::new(Cursor::new(bytes)).map_err(|_| damaged("its archive has no proper end"))?;
    let mut part = |name: &str| {
        let mut text = String::new();
        let read = archive.by_name(name).ok()?.read_to_string(&mut text);
        read.is_ok().then_some(text)
    };
    // A part that a password protects is named in the manifest with how it is encrypted.
    if part("META-INF/manifest.xml").is_some_and(|manifest| manifest.contains("encryption-data")) {
        return Err(Unreadable::Encrypted);
    }
    part("content.xml").ok_or_else(|| damaged("it has no content"))
}

/// Walks through all cells that hold something.
pub(super) fn walk(
    content: &str,
    mut meet: impl FnMut(Met<'_>) -> Result<(), Unreadable>,
) -> Result<(), Unreadable> {
    let mut reader = Reader::from_str(content);
    let mut unshown: HashSet<String> = HashSet::new();
    let mut style = String::new();
    let mut tables = 0u32;
    let (mut row, mut next_row, mut column) = (0u32, 0u32, 0u32);
    let mut cell: Option<Cell> = None;
    // How deep inside a remark on a cell, which is no text of it.
    let mut aside = 0u32;
    loop {
        let event = reader.read_event().map_err(|error| damaged(&error.to_string()))?;
        match event {
            Event::Start(start) => match start.name().as_ref() {
                "office:annotation" => aside += 1,
                _ if aside > 0 => {}
                "style:style" => style = attribute(&start, "style:name")?.unwrap_or_default(),
                "style:table-properties" => hide(&start, &style, &mut unshown)?,
                "table:table" => {
                    tables += 1;
                    if tables == OUTERMOST {
                        (row, next_row) = (0, 0);
                        meet(Met::Sheet(sheet(&start, &unshown)?))?;
                    }
                }
                "table:table-row" if tables == OUTERMOST => {
                    (row, column) = (next_row, 0);
                    next_row = row.saturating_add(repeated(&start, "table:number-rows-repeated")?);
                }
                "table:table-cell" | "table:covered-table-cell" if tables == OUTERMOST => {
                    cell = Some(Cell::of(&start)?);
                }
                "text:p" => cell.iter_mut().for_each(Cell::paragraph),
                _ => {}
            },
            Event::Empty(start) => match start.name().as_ref() {
                _ if aside > 0 => {}
                "style:table-properties" => hide(&start, &style, &mut unshown)?,
                "table:table-row" if tables == OUTERMOST => {
                    next_row = next_row.saturating_add(repeated(&start, "table:number-rows-repeated")?);
                }
                "table:table-cell" | "table:covered-table-cell" if tables == OUTERMOST => {
                    let empty = Cell::of(&start)?;
                    column = empty.end(row, column, &mut meet)?;
                }
                "text:s" | "text:tab" | "text:line-break" => {
                    cell.iter_mut().for_each(|cell| cell.write(" "));
                }
                _ => {}
            },
            Event::Text(text) if aside == 0 => {
                let text = text.xml10_content();
                cell.iter_mut().for_each(|cell| cell.write(&text));
            }
            Event::GeneralRef(reference) if aside == 0 => {
                let name = reference.xml10_content();
                let c = match reference.resolve_char_ref() {
                    Ok(Some(c)) => Some(c.to_string()),
                    _ => quick_xml::escape::resolve_xml_entity(&name).map(str::to_string),
                };
                cell.iter_mut().for_each(|cell| cell.write(c.as_deref().unwrap_or_default()));
            }
            Event::End(end) => match end.name().as_ref() {
                "office:annotation" => aside = aside.saturating_sub(1),
                _ if aside > 0 => {}
                "table:table" => tables = tables.saturating_sub(1),
                "table:table-cell" | "table:covered-table-cell" if tables == OUTERMOST => {
                    if let Some(cell) = cell.take() {
                        column = cell.end(row, column, &mut meet)?;
                    }
                }
                _ => {}
            },
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

/// A cell while it is read.
struct Cell {
    kind: String,
    value: Option<String>,
    currency: Option<String>,
    repeated: u32,
    text: String,
}

impl Cell {
    fn of(start: &BytesStart<'_>) -> Result<Cell, Unreadable> {
        let kind = attribute(start, "office:value-type")?.unwrap_or_default();
        let value = match kind.as_str() {
            "date" => attribute(start, "office:date-value")?,
            "string" => attribute(start, "office:string-value")?,
            _ => attribute(start, "office:value")?,
        };
        let currency = attribute(start, "office:currency")?;
        let repeated = repeated(start, "table:number-columns-repeated")?;
        Ok(Cell { kind, value, currency, repeated, text: String::new() })
    }

    fn paragraph(&mut self) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
    }

    fn write(&mut self, text: &str) {
        // One character more than is kept, so that it shows that it was cut.
        if self.text.len() <= 4 * MOST_CHARACTERS {
            self.text.push_str(text);
        }
    }

    /// Hands the cell on as often as it is repeated, and says which column is next.
    fn end(
        &self,
        row: u32,
        column: u32,
        meet: &mut impl FnMut(Met<'_>) -> Result<(), Unreadable>,
    ) -> Result<u32, Unreadable> {
        let next = column.saturating_add(self.repeated);
        let number = || self.value.as_deref().and_then(|value| f64::from_str(value).ok());
        let value = || match self.kind.as_str() {
            "float" | "currency" | "percentage" => number().map(DataRef::Float),
            "date" => self.value.clone().map(DataRef::DateTimeIso),
            _ => None,
        };
        let text = || {
            let text = self.value.as_deref().filter(|_| self.kind == "string").unwrap_or(&self.text);
            (!text.trim().is_empty()).then_some(DataRef::SharedString(text))
        };
        if value().or_else(text).is_none() {
            return Ok(next);
        }
        // One column beyond the bound shows that there was more.
        for column in column..next.min(MOST_COLUMNS + 1) {
            let Some(value) = value().or_else(text) else { break };
            let currency = self.currency.clone();
            meet(Met::Cell { row, column, value, currency, percent: self.kind == "percentage" })?;
        }
        Ok(next)
    }
}

fn sheet(start: &BytesStart<'_>, unshown: &HashSet<String>) -> Result<Sheet, Unreadable> {
    let name = attribute(start, "table:name")?.unwrap_or_default();
    let is_hidden = attribute(start, "table:style-name")?.is_some_and(|style| unshown.contains(&style));
    Ok(Sheet { name, is_hidden })
}

fn hide(start: &BytesStart<'_>, style: &str, unshown: &mut HashSet<String>) -> Result<(), Unreadable> {
    if attribute(start, "table:display")?.as_deref() == Some("false") {
        unshown.insert(style.to_string());
    }
    Ok(())
}

fn repeated(start: &BytesStart<'_>, name: &str) -> Result<u32, Unreadable> {
    Ok(attribute(start, name)?.and_then(|count| count.trim().parse().ok()).unwrap_or(1))
}

fn attribute(start: &BytesStart<'_>, name: &str) -> Result<Option<String>, Unreadable> {
    let found = start.try_get_attribute(name).map_err(|error| damaged(&error.to_string()))?;
    match found {
        Some(found) => {
            let value = found.normalized_value(XmlVersion::Implicit1_0);
            Ok(Some(value.map_err(|error| damaged(&error.to_string()))?.into_owned()))
        }
        None => Ok(None),
    }
}

fn damaged(why: &str) -> Unreadable {
    Unreadable::Damaged(crate::document::cut(why, 120).to_string())
}
