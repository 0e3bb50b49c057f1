//! The cash book to take along: as a workbook, as plain rows, and as a journal for plain-text accounting.
//!
//! The journal is in Beancount's format, because its checker is published for everybody and strict: every transaction has to
//! balance in every currency, every account has to be opened, and the balances at its end have to be what its entries add up
//! to. All three are read in pieces, so that ten years of a shop take no more memory than a week.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::io::{self, Read, Seek};
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use futures_util::{Stream, StreamExt, TryStreamExt, stream};
use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook, Worksheet, XlsxError};
use tokio::sync::{Semaphore, mpsc};
use tracing::error;
use trade::cash::{Account, Kind};
use trade::money::{Money, places};

use crate::store::cash::{CashEntry, Place};
use crate::store::partners::PartnerRecord;
use crate::store::{Store, StoreError};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::Visitor;

/// Entries that are read at a time.
const PIECE: u32 = 1_000;
/// Rows of one sheet: a workbook's has room for 1,048,576 (ECMA-376 leaves it to the program; that is what programs take).
const SHEET_ROWS: u32 = 1_000_000;
/// How long the answer waits for a workbook. One that takes longer comes as it is ready, and cannot fail with a page.
const PATIENCE: Duration = Duration::from_secs(20);
/// A workbook at a time: each is put together on the disk.
static ONE_WORKBOOK: Semaphore = Semaphore::const_new(1);

/// The columns of a row, in their order.
const COLUMNS: [&str; 19] = [
    "number",
    "day",
    "kind",
    "amount",
    "currency",
    "in home currency",
    "home currency",
    "rate",
    "outlet",
    "grade",
    "source",
    "partner",
    "document",
    "document id",
    "note",
    "undoes",
    "gives a rate to",
    "entered by",
    "entry id",
];

/// The book in pieces, up to the entry that is the last when it begins.
fn pieces(
    store: Store,
    shop_id: String,
    last: i64,
) -> impl Stream<Item = Result<Vec<CashEntry>, StoreError>> + Send {
    stream::try_unfold(None::<Place>, move |after| {
        let (store, shop_id) = (store.clone(), shop_id.clone());
        async move {
            let piece = store.cash_piece(&shop_id, after, last, PIECE).await?;
            Ok(piece.last().map(CashEntry::place).map(|place| (piece, Some(place))))
        }
    })
}

fn attachment(visitor: &Visitor, kind: &'static str, ending: &str, body: Body) -> Response {
    // The date, and nothing that was typed: a header takes no shop's name as it is.
    let name = format!("attachment; filename=\"cash-book-{}.{ending}\"", visitor.today());
    ([(header::CONTENT_TYPE, kind.to_string()), (header::CONTENT_DISPOSITION, name)], body).into_response()
}

/// A body made piece by piece. Where the record fails in the middle, the download breaks off and the log says why.
fn streamed(pieces: impl Stream<Item = Result<Vec<u8>, StoreError>> + Send + 'static) -> Body {
    Body::from_stream(pieces.map(|piece| {
        piece.map(Bytes::from).map_err(|error| {
            error!(%error, "an export broke off");
            io::Error::other(error)
        })
    }))
}

/// What the cells of a row are made of.
struct Row<'a> {
    entry: &'a CashEntry,
    home: Currency,
}

impl Row<'_> {
    fn amount(&self) -> Option<Decimal> {
        // One that gives a rate brings no cash.
        self.entry.values_id.is_none().then_some(self.entry.amount.amount)
    }

    /// What this row adds, so that the column adds up to what the book comes to.
    fn worth(&self) -> Option<Decimal> {
        self.entry.home_amount.map(|units| Money::from_minor_units(units, self.home).amount)
    }

    /// The texts of the columns from `outlet` on.
    fn texts(&self) -> [&str; 11] {
        let entry = self.entry;
        fn or_empty(text: Option<&String>) -> &str {
            text.map_or("", String::as_str)
        }
        let document = entry.document.as_ref();
        [
            or_empty(entry.outlet.as_ref().map(|(_, name)| name)),
            or_empty(entry.grade.as_ref().map(|(_, name)| name)),
            or_empty(entry.source_id.as_ref()),
            or_empty(entry.partner.as_ref().map(|(_, name)| name)),
            document.map_or("", |document| document.kind.code()),
            or_empty(document.map(|document| &document.id)),
            &entry.note,
            or_empty(entry.reverses_id.as_ref()),
            or_empty(entry.values_id.as_ref()),
            &entry.entered_by,
            &entry.id,
        ]
    }
}

/// The book as rows, separated by commas (RFC 4180).
pub async fn csv(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let last = app.store.cash_count(&visitor.shop.id).await?;
    let home = visitor.home();
    let head = rows(|writer| writer.write_record(COLUMNS));
    let pieces = pieces(app.store.clone(), visitor.shop.id.clone(), last);
    let body = stream::once(async move { head }).chain(pieces.map(move |piece| {
        let piece = piece?;
        rows(|writer| piece.iter().try_for_each(|entry| write_row(writer, &Row { entry, home })))
    }));
    Ok(attachment(&visitor, "text/csv; charset=utf-8", "csv", streamed(body)))
}

fn rows(write: impl FnOnce(&mut csv::Writer<Vec<u8>>) -> csv::Result<()>) -> Result<Vec<u8>, StoreError> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    write(&mut writer).map_err(|error| StoreError::Encode(error.to_string()))?;
    writer.into_inner().map_err(|error| StoreError::Encode(error.to_string()))
}

fn write_row(writer: &mut csv::Writer<Vec<u8>>, row: &Row<'_>) -> csv::Result<()> {
    let entry = row.entry;
    let number = |number: Option<Decimal>| number.map(|number| number.to_string()).unwrap_or_default();
    writer.write_field(entry.n.to_string())?;
    writer.write_field(entry.day.to_string())?;
    writer.write_field(entry.kind.code())?;
    writer.write_field(number(row.amount()))?;
    writer.write_field(entry.amount.currency.code())?;
    writer.write_field(number(row.worth()))?;
    writer.write_field(row.home.code())?;
    writer.write_field(number(entry.rate.map(|rate| rate.normalize())))?;
    for text in row.texts() {
        writer.write_field(not_a_formula(text).as_ref())?;
    }
    writer.write_record(None::<&[u8]>)
}

/// A text that no spreadsheet takes for a formula (OWASP, CSV injection): what begins like one gets an apostrophe.
fn not_a_formula(text: &str) -> std::borrow::Cow<'_, str> {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}").into() } else { text.into() }
}

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

/// A file in pieces.
fn chunks(file: std::fs::File) -> impl Stream<Item = io::Result<Bytes>> {
    stream::try_unfold(file, async |file| {
        tokio::task::spawn_blocking(move || {
            let mut file = file;
            let mut bytes = vec![0; 64 * 1024];
            let read = file.read(&mut bytes)?;
            bytes.truncate(read);
            Ok((read > 0).then(|| (Bytes::from(bytes), file)))
        })
        .await
        .map_err(io::Error::other)?
    })
}

/// Writes the workbook into a file that has no name, and gives it back at its start.
fn written(
    mut take: mpsc::Receiver<Vec<CashEntry>>,
    home: Currency,
    scratch: &std::path::Path,
) -> Result<std::fs::File, Box<dyn std::error::Error + Send + Sync>> {
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
                let new = begun(&mut workbook, sheets, &formats)?;
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
        None => begun(&mut workbook, 1, &formats)?,
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

fn begun(workbook: &mut Workbook, number: u32, _: &Formats) -> Result<Worksheet, XlsxError> {
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

/// The book as a journal.
pub async fn journal(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let shop_id = &visitor.shop.id;
    let last = app.store.cash_count(shop_id).await?;
    let people = app.store.people(shop_id).await?;
    let first = app.store.cash_piece(shop_id, None, last, 1).await?.first().map(|entry| entry.day);
    let accounts = Accounts::new(&people);
    let head = accounts.opened(&visitor.shop.name, visitor.home(), first.unwrap_or(visitor.today()));
    let home = visitor.home();
    let pieces = pieces(app.store.clone(), shop_id.clone(), last);
    let sums = Sums { by_currency: BTreeMap::new(), last: first };
    let body = stream::try_unfold((Box::pin(pieces), sums, accounts, false), move |state| async move {
        let (mut pieces, mut sums, accounts, ended) = state;
        if ended {
            return Ok(None);
        }
        let Some(piece) = pieces.next().await.transpose()? else {
            let end = sums.balances();
            return Ok(Some((end.into_bytes(), (pieces, sums, accounts, true))));
        };
        let mut text = String::new();
        for entry in piece.iter().filter(|entry| entry.values_id.is_none()) {
            sums.add(entry);
            accounts.write(&mut text, entry, home);
        }
        Ok(Some((text.into_bytes(), (pieces, sums, accounts, false))))
    });
    let body = stream::once(async move { Ok(head.into_bytes()) }).chain(body);
    Ok(attachment(&visitor, "text/plain; charset=utf-8", "beancount", streamed(body)))
}

/// What the journal's entries add up to.
struct Sums {
    by_currency: BTreeMap<&'static str, i64>,
    last: Option<Date>,
}

impl Sums {
    fn add(&mut self, entry: &CashEntry) {
        *self.by_currency.entry(entry.amount.currency.code()).or_default() += entry.amount.minor_units();
        self.last = Some(entry.day);
    }

    /// What is in the till in the morning after the last entry: the checker adds up again.
    fn balances(&self) -> String {
        let mut text = String::new();
        let Some(day) = self.last.and_then(|day| day.tomorrow().ok()) else { return text };
        for (code, units) in &self.by_currency {
            if let Some(currency) = Currency::from_code(code) {
                let amount = Money::from_minor_units(*units, currency).amount;
                let _ = writeln!(text, "{day} balance Assets:Cash  {amount} {code}");
            }
        }
        text
    }
}

/// The journal's accounts.
struct Accounts {
    /// A partner's account by their id.
    partners: BTreeMap<String, String>,
}

impl Accounts {
    fn new(people: &[PartnerRecord]) -> Accounts {
        let mut taken = BTreeSet::new();
        let mut partners = BTreeMap::new();
        for person in people {
            let plain = account_name(&person.partner.name);
            let name = (1..)
                .map(|nth| if nth == 1 { plain.clone() } else { format!("{plain}-{nth}") })
                .find(|name| !taken.contains(name))
                .unwrap_or_default();
            taken.insert(name.clone());
            partners.insert(person.partner.id.clone(), format!("Equity:Partners:{name}"));
        }
        Accounts { partners }
    }

    fn of(&self, entry: &CashEntry) -> &str {
        let partner = entry.partner.as_ref().and_then(|(id, _)| self.partners.get(id));
        match (entry.kind.account(), partner) {
            (Account::Partners, Some(account)) => account,
            (Account::Partners, None) => "Equity:Partners",
            _ => trade_account(entry.kind),
        }
    }

    fn opened(&self, shop: &str, home: Currency, day: Date) -> String {
        let mut text = format!(
            "option \"title\" {}\noption \"operating_currency\" \"{}\"\n\n",
            quoted(&format!("{shop}: cash book")),
            home.code()
        );
        let mut accounts = vec!["Assets:Cash", "Equity:Partners"];
        for kind in Kind::ALL.into_iter().filter(|kind| kind.is_trade()) {
            accounts.push(trade_account(kind));
        }
        accounts.extend(self.partners.values().map(String::as_str));
        for account in accounts {
            let _ = writeln!(text, "{day} open {account}");
        }
        text
    }

    /// A transaction: cash on one side, what it was for on the other. What had to be exchanged carries what it is worth.
    fn write(&self, text: &mut String, entry: &CashEntry, home: Currency) {
        let code = entry.amount.currency.code();
        let payee = entry.outlet.as_ref().map(|(_, name)| name.as_str());
        let payee = payee.or(entry.partner.as_ref().map(|(_, name)| name.as_str())).unwrap_or_default();
        let mut about = vec![entry.kind.label()];
        about.extend(entry.grade.as_ref().map(|(_, name)| name.as_str()));
        about.extend(Some(entry.note.as_str()).filter(|note| !note.is_empty()));
        let worth = match entry.worth {
            Some(units) if entry.amount.currency != home => {
                let worth = Money::from_minor_units(units, home).amount.abs();
                format!(" @@ {worth} {}", home.code())
            }
            _ => String::new(),
        };
        let _ = writeln!(text, "\n{} * {} {}", entry.day, quoted(payee), quoted(&about.join(", ")));
        let _ = writeln!(text, "  number: {}", entry.n);
        if let Some(document) = &entry.document {
            let _ = writeln!(
                text,
                "  document: {}",
                quoted(&format!("{} {}", document.kind.code(), document.id))
            );
        }
        if let Some(source) = &entry.source_id {
            let _ = writeln!(text, "  source: {}", quoted(source));
        }
        let amount = entry.amount.amount;
        let _ = writeln!(text, "  Assets:Cash  {amount} {code}{worth}");
        let _ = writeln!(text, "  {}  {} {code}{worth}", self.of(entry), -amount);
    }
}

fn trade_account(kind: Kind) -> &'static str {
    match kind {
        Kind::Sale => "Income:Sales",
        Kind::Purchase => "Expenses:Purchases",
        Kind::Fee => "Expenses:Fees",
        Kind::Freight => "Expenses:Freight",
        Kind::Box => "Expenses:Boxes",
        Kind::Trip => "Expenses:Trips",
        Kind::Labour => "Expenses:Wages",
        Kind::Border => "Expenses:Border",
        Kind::Other => "Expenses:Other",
        Kind::Payout | Kind::PaidIn => "Equity:Partners",
    }
}

/// A name as a part of an account: capital letters, small ones, digits and dashes.
fn account_name(name: &str) -> String {
    let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let mut letters = plain.trim_matches('-').chars();
    match letters.next() {
        Some(first) => first.to_ascii_uppercase().to_string() + letters.as_str(),
        None => "Partner".to_string(),
    }
}

/// A text in quotation marks, on one line.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_looks_like_a_formula_is_none() {
        for text in ["=1+1", "+49 30", "-x", "@SUM(A1)", "\t=1"] {
            assert_eq!(not_a_formula(text), format!("'{text}"));
        }
        assert_eq!(not_a_formula("tape = 2 rolls"), "tape = 2 rolls");
    }

    #[test]
    fn names_become_accounts_and_texts_stay_on_a_line() {
        assert_eq!(account_name("imke de Vries"), "Imke-de-Vries");
        assert_eq!(account_name("Łukasz"), "Ukasz");
        assert_eq!(account_name("株式"), "Partner");
        assert_eq!(quoted("a \"b\" \\ c\nd"), "\"a \\\"b\\\" \\\\ c d\"");
    }
}
