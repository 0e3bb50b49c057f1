//! The cash book to take along: as a workbook, as plain rows, and as a journal for plain-text accounting. All three are read
//! in pieces, so that ten years of a shop take no more memory than a week.

mod journal;
mod rows;
mod workbook;

use std::io;

use axum::body::{Body, Bytes};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::{Stream, StreamExt, stream};
use iso_currency::Currency;
use rust_decimal::Decimal;
use tracing::error;
use trade::money::Money;

use crate::store::cash::{CashEntry, Place};
use crate::store::{Store, StoreError};
use crate::web::page::Visitor;

pub use journal::journal;
pub use rows::csv;
pub use workbook::workbook;

/// Entries that are read at a time.
const PIECE: u32 = 1_000;

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
