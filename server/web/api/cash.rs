//! The cash book as JSON. Amounts are exact decimal strings.

use axum::Json;
use axum::extract::{Query, State};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use trade::money::{Currency, Money};
use utoipa::{IntoParams, ToSchema};

use super::{Caller, Problem};
use crate::store::cash::{CashEntry, Place};
use crate::web::App;

/// An entry of the cash book.
#[derive(Debug, Serialize, ToSchema)]
pub struct EntryBody {
    id: String,
    /// Counts the entries from 1.
    number: i64,
    /// The day that the money moved.
    day: String,
    /// `sale`, `purchase`, `fee`, `freight`, `box`, `trip`, `labour`, `border`, `other`, `payout` or `paid-in`.
    kind: &'static str,
    /// Above zero where it came in.
    amount: String,
    /// ISO 4217.
    currency: &'static str,
    /// What this entry adds in home currency; null while it wants a rate.
    home_amount: Option<String>,
    home_currency: &'static str,
    /// Home currency for one of the amount's.
    rate: Option<String>,
    outlet: Option<String>,
    grade: Option<String>,
    /// The pickup that it came from or went for.
    source: Option<String>,
    partner: Option<String>,
    /// `settlement`, `shipment`, `run`, `pickup` or `transfer`; null for one that was entered by hand.
    document: Option<&'static str>,
    document_id: Option<String>,
    note: String,
    /// The entry that this one undoes.
    undoes: Option<String>,
    /// The entry that this one gives a rate; it brings no cash.
    gives_rate_to: Option<String>,
    entered_by: String,
    entered_at: String,
}

impl EntryBody {
    fn of(entry: CashEntry, home: Currency) -> EntryBody {
        EntryBody {
            number: entry.n,
            day: entry.day.to_string(),
            kind: entry.kind.code(),
            amount: entry.amount.amount.to_string(),
            currency: entry.amount.currency.code(),
            home_amount: entry
                .home_amount
                .map(|units| Money::from_minor_units(units, home).amount.to_string()),
            home_currency: home.code(),
            rate: entry.rate.map(|rate| rate.normalize().to_string()),
            outlet: entry.outlet.map(|(id, _)| id.to_string()),
            grade: entry.grade.map(|(id, _)| id.to_string()),
            source: entry.source_id,
            partner: entry.partner.map(|(id, _)| id),
            document: entry.document.as_ref().map(|document| document.kind.code()),
            document_id: entry.document.map(|document| document.id),
            note: entry.note,
            undoes: entry.reverses_id,
            gives_rate_to: entry.values_id,
            entered_by: entry.entered_by,
            entered_at: entry.at.to_string(),
            id: entry.id,
        }
    }
}

/// Where to go on, and how far.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct After {
    /// The day and number of the last entry that is known already, as they stand in it: `2026-05-12` and 7.
    after_day: Option<String>,
    after_number: Option<i64>,
    /// Entries at most, up to 1000.
    #[serde(default = "hundred")]
    most: u32,
}

const fn hundred() -> u32 {
    100
}

/// The entries of the cash book in the order of their days, the oldest first. It is read to its end by asking again with the
/// day and number of the last entry that came.
#[utoipa::path(get, path = "/api/v1/cash", tag = "cash", params(After),
    responses((status = 200, body = Vec<EntryBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn index(
    State(app): State<App>,
    caller: Caller,
    Query(after): Query<After>,
) -> Result<Json<Vec<EntryBody>>, Problem> {
    let visitor = caller.partner()?;
    let day = after.after_day.as_deref().and_then(|day| day.parse::<Date>().ok());
    let place = day.map(|day| Place { day, n: after.after_number.unwrap_or(0) });
    let entries = app.store.cash_piece(&visitor.shop.id, place, i64::MAX, after.most.clamp(1, 1000)).await?;
    Ok(Json(entries.into_iter().map(|entry| EntryBody::of(entry, visitor.home())).collect()))
}
