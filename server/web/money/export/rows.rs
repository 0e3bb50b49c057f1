//! The book as rows, for whatever reads CSV.

use std::borrow::Cow;

use axum::extract::State;
use axum::response::Response;
use futures_util::{StreamExt, stream};
use rust_decimal::Decimal;

use super::{COLUMNS, Row, attachment, pieces, streamed};
use crate::store::StoreError;
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::Visitor;

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
fn not_a_formula(text: &str) -> Cow<'_, str> {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}").into() } else { text.into() }
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
}
