//! Workbooks, XLSX, XLS and OpenDocument: every visible sheet, cell by cell.
//!
//! A workbook of a few kilobytes can name a cell in the farthest corner, or unpack to gigabytes. So its parts are
//! measured first ([`archive`], [`container`]), and its cells are streamed and bounded. The server reads workbooks in a child process
//! with limits of its own as well.

mod archive;
mod container;
mod open_document;

use std::collections::BTreeMap;
use std::io::Cursor;
use std::str::FromStr;

use calamine::{Data, DataRef, ExcelDateTime, Reader, Sheet, SheetVisible, Xls, XlsError, Xlsx, XlsxError};
use jiff::civil::Date;
use rust_decimal::Decimal;

use crate::context::Context;
use crate::decode;
use crate::document::{
    Block, Cell, Document, GridRow, MOST_CHARACTERS, MOST_COLUMNS, MOST_ROWS, MOST_TEXT, cut,
};
use crate::format::{Unreadable, WorkbookKind};
use crate::sheet::{Place, Problem};
use open_document::Met;

/// Workbooks keep binary fractions; beyond this many decimals they are noise of `0.1 + 0.2`.
const DECIMALS: u32 = 6;
/// A number beyond this is no amount; it is kept as text.
const LARGEST_NUMBER: f64 = 1e15;

pub(crate) fn parse(kind: WorkbookKind, bytes: &[u8]) -> Result<Document, Unreadable> {
    let mut reading = Reading { document: Document::default(), rows_left: MOST_ROWS, text_left: MOST_TEXT };
    match kind {
        WorkbookKind::Xlsx => {
            archive::check(bytes)?;
            let workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(unreadable)?;
            reading.xlsx(workbook)?;
        }
        WorkbookKind::Ods => {
            archive::check(bytes)?;
            reading.open_document(&open_document::content(bytes)?)?;
        }
        WorkbookKind::Xls => {
            let whole = container::check(bytes)?;
            let workbook: Xls<_> = Xls::new(Cursor::new(whole)).map_err(|error| match error {
                XlsError::Password => Unreadable::Encrypted,
                other => damaged(&other),
            })?;
            reading.whole(workbook)?;
        }
    }
    Ok(reading.document)
}

/// The cells of a sheet by their rows.
type Rows = BTreeMap<u32, Vec<Cell>>;

struct Reading {
    document: Document,
    /// What is left of the bounds on the whole workbook.
    rows_left: u32,
    text_left: usize,
}

impl Reading {
    fn xlsx(&mut self, mut workbook: Xlsx<Cursor<&[u8]>>) -> Result<(), Unreadable> {
        for sheet in workbook.sheets_metadata().to_vec() {
            if self.is_shown(&sheet) {
                self.sheet(&mut workbook, &sheet.name)?;
            }
        }
        Ok(())
    }

    /// A workbook whose reader takes each sheet as a whole.
    fn whole<R: Reader<Cursor<B>>, B: AsRef<[u8]>>(&mut self, mut workbook: R) -> Result<(), Unreadable>
    where
        R::Error: std::fmt::Display,
    {
        for sheet in workbook.sheets_metadata().to_vec() {
            if !self.is_shown(&sheet) {
                continue;
            }
            let range = workbook.worksheet_range(&sheet.name).map_err(|error| damaged(&error))?;
            let (top, left) = range.start().unwrap_or_default();
            let mut rows = Rows::default();
            for (row, column, value) in range.used_cells() {
                let (row, column) = (u32::try_from(row), u32::try_from(column));
                let (Ok(row), Ok(column)) = (row, column) else { continue };
                let cell = self.cell(&borrowed(value), None)?;
                self.place(&mut rows, row.saturating_add(top), column.saturating_add(left), cell);
            }
            self.finish(&sheet.name, rows);
        }
        Ok(())
    }

    fn open_document(&mut self, content: &str) -> Result<(), Unreadable> {
        let mut rows = Rows::default();
        // The sheet that the cells belong to, unless it is hidden.
        let mut shown: Option<String> = None;
        open_document::walk(content, |met| {
            match met {
                Met::Sheet(sheet) => {
                    if let Some(name) = shown.take() {
                        self.finish(&name, std::mem::take(&mut rows));
                    }
                    if sheet.is_hidden {
                        self.hidden(&sheet.name);
                    } else {
                        shown = Some(sheet.name);
                    }
                }
                Met::Cell { row, column, value, currency, percent } if shown.is_some() => {
                    let said = currency.map(|code| Context::of(&code, true)).unwrap_or_default();
                    let cell = self.cell(&value, Some(&NumberFormat { said, percent }))?;
                    self.place(&mut rows, row, column, cell);
                }
                Met::Cell { .. } => {}
            }
            Ok(())
        })?;
        if let Some(name) = shown {
            self.finish(&name, rows);
        }
        Ok(())
    }

    fn is_shown(&mut self, sheet: &Sheet) -> bool {
        let shown = sheet.visible == SheetVisible::Visible;
        if !shown {
            self.hidden(&sheet.name);
        }
        shown
    }

    fn hidden(&mut self, name: &str) {
        self.document.problems.push(Problem::HiddenSheet(decode::tidy(name)));
    }

    fn sheet(&mut self, workbook: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<(), Unreadable> {
        let mut cells = match workbook.worksheet_cells_reader(name) {
            Ok(cells) => cells,
            // A sheet that is only a chart has no cells.
            Err(XlsxError::NotAWorksheet(_)) => return Ok(()),
            Err(error) => return Err(unreadable(error)),
        };
        let formats: Vec<NumberFormat> = cells.styles().iter().map(NumberFormat::of).collect();
        let mut rows = Rows::default();
        while let Some((cell, style)) = cells.next_cell_with_style_id().map_err(unreadable)? {
            let (row, column) = cell.get_position();
            let cell = self.cell(cell.get_value(), formats.get(style))?;
            self.place(&mut rows, row, column, cell);
        }
        self.finish(name, rows);
        Ok(())
    }

    fn place(&mut self, rows: &mut Rows, row: u32, column: u32, cell: Cell) {
        if cell.is_empty() {
            return;
        }
        if column >= MOST_COLUMNS {
            return self.problem(Problem::ColumnsCut { read: MOST_COLUMNS });
        }
        if row >= MOST_ROWS || (rows.len() >= self.rows_left as usize && !rows.contains_key(&row)) {
            return self.problem(Problem::RowsCut { read: MOST_ROWS });
        }
        let cells = rows.entry(row).or_default();
        let at = column as usize;
        if cells.len() <= at {
            cells.resize(at + 1, Cell::Empty);
        }
        cells[at] = cell;
    }

    fn finish(&mut self, name: &str, rows: Rows) {
        self.rows_left = self.rows_left.saturating_sub(u32::try_from(rows.len()).unwrap_or(u32::MAX));
        let name = decode::tidy(name);
        let place = |row: u32| Place::Cell { sheet: name.clone(), row: row + 1, column: 1 };
        let rows = rows.into_iter().map(|(row, cells)| GridRow { place: place(row), cells }).collect();
        self.document.blocks.push(Block::Table(rows));
    }

    fn cell(&mut self, value: &DataRef<'_>, format: Option<&NumberFormat>) -> Result<Cell, Unreadable> {
        Ok(match value {
            DataRef::Empty => Cell::Empty,
            DataRef::Int(number) => number_cell(&number.to_string(), format),
            DataRef::Float(number) if number.abs() < LARGEST_NUMBER => {
                number_cell(&number.to_string(), format)
            }
            DataRef::Float(number) => Cell::Text(format!("{number:e}")),
            DataRef::DateTime(time) => date_cell(time),
            DataRef::DateTimeIso(text) => match Date::from_str(text.get(..10).unwrap_or(text)) {
                Ok(date) => Cell::Date(date),
                Err(_) => self.text(text)?,
            },
            DataRef::String(text) | DataRef::DurationIso(text) => self.text(text)?,
            DataRef::SharedString(text) => self.text(text)?,
            DataRef::Bool(truth) => Cell::Text(truth.to_string()),
            DataRef::Error(error) => Cell::Text(error.to_string()),
        })
    }

    fn text(&mut self, text: &str) -> Result<Cell, Unreadable> {
        let kept = cut(text, MOST_CHARACTERS);
        if kept.len() < text.len() {
            self.problem(Problem::CellsCut { characters: MOST_CHARACTERS as u32 });
        }
        self.text_left = self.text_left.checked_sub(kept.len()).ok_or(Unreadable::TooManyCells)?;
        // A line break inside a cell is a blank between its words.
        Ok(Cell::of(&decode::tidy(&kept.replace(['\r', '\n'], " "))))
    }

    fn problem(&mut self, problem: Problem) {
        if !self.document.problems.contains(&problem) {
            self.document.problems.push(problem);
        }
    }
}

fn borrowed(value: &Data) -> DataRef<'_> {
    match value {
        Data::Int(number) => DataRef::Int(*number),
        Data::Float(number) => DataRef::Float(*number),
        Data::String(text) => DataRef::SharedString(text),
        Data::Bool(truth) => DataRef::Bool(*truth),
        Data::DateTime(time) => DataRef::DateTime(*time),
        Data::DateTimeIso(text) => DataRef::DateTimeIso(text.clone()),
        Data::DurationIso(text) => DataRef::DurationIso(text.clone()),
        Data::Error(error) => DataRef::Error(error.clone()),
        _ => DataRef::Empty,
    }
}

/// The number as the workbook shows it, taken through its shortest decimal text so that no binary fraction remains.
fn number_cell(text: &str, format: Option<&NumberFormat>) -> Cell {
    match Decimal::from_str(text) {
        Ok(value) => {
            let format = format.cloned().unwrap_or_default();
            Cell::Number {
                value: value.round_dp(DECIMALS).normalize(),
                said: format.said,
                percent: format.percent,
            }
        }
        Err(_) => Cell::Text(text.to_string()),
    }
}

fn date_cell(time: &ExcelDateTime) -> Cell {
    let (year, month, day, ..) = time.to_ymd_hms_milli();
    let date =
        || Date::new(i16::try_from(year).ok()?, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok();
    match date().filter(|_| time.is_datetime()) {
        Some(date) => Cell::Date(date),
        None => Cell::Text(time.as_f64().to_string()),
    }
}

/// What a number format says of the numbers it shows: `"$"#,##0.00`, `0.00 "€/kg"`, `0 %`.
#[derive(Debug, Clone, Default)]
struct NumberFormat {
    said: Context,
    percent: bool,
}

impl NumberFormat {
    fn of(style: &calamine::Style) -> NumberFormat {
        let code = style.number_format.as_ref().map_or("", |format| format.format_code.as_str());
        let (text, percent) = shown_by(cut(code, 200));
        NumberFormat { said: Context::of(&text, true), percent }
    }
}

/// The literal text in the first section of a format code, and whether it shows percentages.
fn shown_by(code: &str) -> (String, bool) {
    let mut text = String::new();
    let mut percent = false;
    let mut chars = code.chars();
    while let Some(c) = chars.next() {
        match c {
            ';' => break,
            '"' => text.extend(chars.by_ref().take_while(|c| *c != '"')),
            // `[$€-407]` is a currency with its locale; other brackets are colours and conditions.
            '[' => {
                let inside: String = chars.by_ref().take_while(|c| *c != ']').collect();
                if let Some(currency) = inside.strip_prefix('$') {
                    text.push_str(currency.split('-').next().unwrap_or_default());
                }
            }
            '\\' => text.extend(chars.next()),
            // The width of the next character, or that character repeated.
            '_' | '*' => {
                chars.next();
            }
            '%' => percent = true,
            '$' | '€' | '£' | '/' | ' ' => text.push(c),
            _ => {}
        }
    }
    (text, percent)
}

fn unreadable(error: XlsxError) -> Unreadable {
    match error {
        XlsxError::Password => Unreadable::Encrypted,
        other => damaged(&other),
    }
}

fn damaged(error: &impl std::fmt::Display) -> Unreadable {
    Unreadable::Damaged(cut(&error.to_string(), 120).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(code: &str, expect: &str) {
        let (text, percent) = shown_by(code);
        assert_eq!(format!("{text}{}", if percent { " percent" } else { "" }), expect, "{code}");
    }

    /// Codes as spreadsheet programs write them (ECMA-376 part 1, 18.8.31, number formats).
    #[test]
    fn number_formats() {
        check("General", "");
        check("0.00", "");
        check("\"$\"#,##0.00", "$");
        check("[$€-407] #,##0.00", "€ ");
        check("#,##0.00\\ [$CAD]", " CAD");
        check("_(\"$\"* #,##0.00_);_(\"$\"* (#,##0.00)", "$");
        check("0.00 \"€/kg\"", " €/kg");
        check("0.0%", " percent");
        check("[Red]\"unclosed", "unclosed");
    }
}
