//! Entries of a teardown, from a phone that kept them while the wifi was away.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::weighings::{malformed, refused, weighed_at};
use super::{Caller, Problem};
use crate::store::{By, is_id};
use crate::web::App;
use crate::web::form::Form;
use crate::web::teardowns::{EntrySent, put_entry};

/// Something to be entered into a teardown's log. The same `id` a second time changes nothing.
#[derive(Debug, Deserialize, ToSchema)]
pub struct NewTeardownEntry {
    /// A UUID that the caller makes: of an entry that is sent twice, one counts.
    #[schema(format = "uuid")]
    id: String,
    /// `whole` and `waste` are weights of the unit, `start` and `stop` turn the timer.
    kind: String,
    /// What the scale showed, with its unit: `21 lb 4 oz`, `9.6 kg`.
    #[serde(default)]
    reading: Option<String>,
    /// The reading as it was typed, where one of its meanings was chosen since.
    #[serde(default)]
    typed: Option<String>,
    /// When it was (RFC 3339), for one that was kept until the wifi was back.
    #[serde(default)]
    at: Option<String>,
    /// Whether the reading has been read back and found right.
    #[serde(default)]
    confirmed: bool,
}

/// An entry that is in the log.
#[derive(Debug, Serialize, ToSchema)]
pub struct TeardownEntryBody {
    id: String,
    teardown: String,
}

/// Enters a weight of the unit or its waste, or turns the timer.
#[utoipa::path(post, path = "/api/v1/teardowns/{teardown}/entries", tag = "teardowns",
    params(("teardown" = String, Path)), request_body = NewTeardownEntry,
    responses(
        (status = 200, description = "It is in the log, now or since it was first sent.", body = TeardownEntryBody),
        (status = 400, body = Problem), (status = 401, body = Problem), (status = 403, body = Problem),
        (status = 404, body = Problem),
        (status = 409, description = "It has to be looked at: the reading means more than one thing, or the teardown is closed.", body = Problem),
        (status = 422, description = "Something in it cannot be.", body = Problem)))]
pub async fn create(
    State(app): State<App>,
    caller: Caller,
    Path(teardown): Path<String>,
    body: Result<Json<NewTeardownEntry>, JsonRejection>,
) -> Result<Json<TeardownEntryBody>, Problem> {
    let visitor = caller.partner()?;
    let Json(new) = body.map_err(|error| malformed(error.body_text()))?;
    if !is_id(&new.id) {
        return Err(malformed("`id` has to be a UUID in lower case that the caller makes."));
    }
    let at = weighed_at(new.at.as_ref(), visitor.now);
    let reading = new.reading.unwrap_or_default();
    let form = Form::filled([
        ("typed", new.typed.unwrap_or_else(|| reading.clone())),
        ("reading", reading),
        ("confirmed", if new.confirmed { "yes".into() } else { String::new() }),
    ]);
    let by = By { at, ..visitor.by() };
    match put_entry(&app, &by, &teardown, &new.id, &new.kind, form, at).await? {
        EntrySent::Stored => Ok(Json(TeardownEntryBody { id: new.id, teardown })),
        EntrySent::Refused(form) => Err(refused(&form)),
        EntrySent::Unsure { why, meanings } => {
            let problem = Problem::new(StatusCode::CONFLICT, "unsure", "What did the scale show?", why);
            let meanings = meanings.into_iter().map(|meaning| meaning.spelled).collect();
            Err(Problem { meanings, ..problem })
        }
    }
}
