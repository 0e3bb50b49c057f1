//! The book as a workbook (Office Open XML, ECMA-376).

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Seek};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use futures_util::{StreamExt, TryStreamExt, stream};
use iso_currency::Currency;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook, Worksheet, XlsxError};
use tokio::sync::{Semaphore, mpsc};
use tracing::error;
use trade::money::places;

use super::{COLUMNS, Row, attachment, pieces};
use crate::store::cash::CashEntry;
use crate::web::App;
use crate::web::download::chunks;
use crate::web::failure::Failure;
use crate::web::page::Visitor;

/// Rows of one sheet: a workbook's has room for 1,048,576 (common practice, no source; the standard leaves it open).
const SHEET_ROWS: u32 = 1_000_000;
/// How long the answer waits for a workbook. One that takes longer comes as it is ready, and cannot fail with a page.
const PATIENCE: Duration = Duration::from_secs(20);
/// A workbook at a time: each is put together on the disk.
static ONE_WORKBOOK: Semaphore = Semaphore::const_new(1);

/// The book as a workbook: numbers are numbers, days are days.
pub async fn workbook(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let last = app.store.cash_count(&visitor.shop.id).await?;
    let pieces = pieces(app.store.clone(), visitor.shop.id.clone(), last);
    let (scratch, home) = (Arc::clone(&app.config), visitor.home());
    let mut work = tokio::spawn(async move {
        let _one = ONE_WORKBOOK.acquire().await.map_err(io::Error::other)?;
        let (give, take) = mpsc::channel(2);
        let writing = tokio::task::spawn_blocking(move || written(take, home, &scratch.scratch));
        let mut pieces = std::pin::pin!(pieces);
        while let Some(piece) = pieces.next().await {
            // Nobody takes it where writing has failed, which is told below.
            if give.send(piece.map_err(io::Error::other)?).await.is_err() {
                break;
            }
        }
        drop(give);
        writing.await.map_err(io::Error::other)?.map_err(io::Error::other)
    });
    let ready = tokio::time::timeout(PATIENCE, &mut work).await;
    let file = match ready {
        Ok(done) => {
            let made = done.map_err(io::Error::other).and_then(|made| made);
            Some(made.map_err(|error| {
                error!(%error, "a workbook could not be made");
                Failure::refused(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "The workbook could not be made",
                    "Nothing was changed. The log on the shop's box says why; there may be no room on its disk.",
                )
            })?)
        }
        Err(_) => None,
    };
    let file = async move {
        match file {
            Some(file) => Ok(file),
            None => work.await.map_err(io::Error::other)?,
        }
    };
    let body = stream::once(file).map_ok(chunks).try_flatten();
    let body = Body::from_stream(body.inspect_err(|error| error!(%error, "a workbook broke off")));
    let kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
    Ok(attachment(&visitor, kind, "xlsx", body))
}

/// Writes the workbook into a file that has no name, and gives it back at its start.
fn written(
    mut take: mpsc::Receiver<Vec<CashEntry>>,
    home: Currency,
    scratch: &Path,
) -> Result<File, Box<dyn std::error::Error + Send + Sync>> {
    let mut workbook = Workbook::new();
    workbook.set_tempdir(scratch)?;
    let mut formats = Formats::default();
    let mut sheets = 0;
    let mut row = SHEET_ROWS;
    let mut sheet = None;
    while let Some(piece) = take.blocking_recv() {
        for entry in &piece {
            if row >= SHEET_ROWS || sheet.is_none() {
                sheets += 1;
                let new = begun(&mut workbook, sheets)?;
                if let Some(full) = sheet.replace(new) {
                    workbook.push_worksheet(full);
                }
                row = 1;
            }
            if let Some(sheet) = &mut sheet {
                write_cells(sheet, row, &Row { entry, home }, &mut formats)?;
            }
            row += 1;
        }
    }
    let last = match sheet {
        Some(sheet) => sheet,
        None => begun(&mut workbook, 1)?,
    };
    workbook.push_worksheet(last);
    let mut file = tempfile::tempfile_in(scratch)?;
    workbook.save_to_writer(&mut file)?;
    file.rewind()?;
    Ok(file)
}

/// How numbers are shown: a format for each number of decimals.
#[derive(Default)]
struct Formats {
    amounts: BTreeMap<u32, Format>,
}

impl Formats {
    fn amount(&mut self, currency: Currency) -> &Format {
        let places = places(currency);
        self.amounts.entry(places).or_insert_with(|| {
            let decimals =
                if places == 0 { String::new() } else { format!(".{}", "0".repeat(places as usize)) };
            Format::new().set_num_format(format!("#,##0{decimals}"))
        })
    }

    fn day() -> Format {
        Format::new().set_num_format("yyyy-mm-dd")
    }

    fn head() -> Format {
        Format::new().set_bold()
    }
}

fn begun(workbook: &mut Workbook, number: u32) -> Result<Worksheet, XlsxError> {
    let mut sheet = workbook.new_worksheet_with_constant_memory()?;
    let name = if number == 1 { "Cash book".to_string() } else { format!("Cash book {number}") };
    sheet.set_name(name)?;
    for (column, width) in
        (0..).zip([8, 11, 12, 12, 8, 14, 8, 10, 20, 20, 12, 12, 12, 12, 30, 12, 12, 12, 12])
    {
        sheet.set_column_width(column, width)?;
    }
    sheet.set_freeze_panes(1, 0)?;
    for (column, name) in (0..).zip(COLUMNS) {
        sheet.write_with_format(0, column, name, &Formats::head())?;
    }
    Ok(sheet)
}

fn write_cells(
    sheet: &mut Worksheet,
    row: u32,
    cells: &Row<'_>,
    formats: &mut Formats,
) -> Result<(), XlsxError> {
    let entry = cells.entry;
    // A workbook keeps numbers in binary; to the minor unit, amounts of up to a thousand million come back the same.
    let float = |number: Decimal| number.to_f64().unwrap_or(f64::NAN);
    sheet.write_number(row, 0, entry.n as f64)?;
    let day = ExcelDateTime::from_ymd(
        entry.day.year().unsigned_abs(),
        entry.day.month() as u8,
        entry.day.day() as u8,
    )?;
    sheet.write_datetime_with_format(row, 1, &day, &Formats::day())?;
    sheet.write_string(row, 2, entry.kind.code())?;
    if let Some(amount) = cells.amount() {
        sheet.write_number_with_format(row, 3, float(amount), formats.amount(entry.amount.currency))?;
    }
    sheet.write_string(row, 4, entry.amount.currency.code())?;
    if let Some(worth) = cells.worth() {
        sheet.write_number_with_format(row, 5, float(worth), formats.amount(cells.home))?;
    }
    sheet.write_string(row, 6, cells.home.code())?;
    if let Some(rate) = entry.rate {
        sheet.write_number(row, 7, float(rate))?;
    }
    for (column, text) in (8..).zip(cells.texts()) {
        if !text.is_empty() {
            // A cell holds 32,767 characters.
            let text: String = text.chars().take(32_000).collect();
            sheet.write_string(row, column, text)?;
        }
    }
    Ok(())
}
