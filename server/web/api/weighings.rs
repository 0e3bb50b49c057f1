//! Weighings from a phone that kept them while the wifi was away, from a script or from a scale.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use trade::mass::Mass;
use trade::reading::{self, Reading};
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::store::weighings::{WeighedIn, Weighing};
use crate::store::{By, StoreError, is_id};
use crate::web::App;
use crate::web::form::Form;
use crate::web::page::Visitor;
use crate::web::weigh::{Sent, overtaken, put_on};

/// A weighing that was kept longer than this gets the time it arrives at.
const KEPT: SignedDuration = SignedDuration::from_hours(24 * 30);

/// A reading to be put on a lot. The same `id` a second time changes nothing.
#[derive(Debug, Deserialize, ToSchema)]
pub struct NewWeighing {
    /// A UUID that the caller makes: of a weighing that is sent twice, one counts.
    #[schema(format = "uuid")]
    id: String,
    lot: String,
    /// What the scale showed, with its unit: `2 lb 5 oz`, `1.049 kg`.
    reading: String,
    /// The reading as it was typed, where one of its meanings was chosen since.
    #[serde(default)]
    typed: Option<String>,
    /// Whether the whole container was on the scale, with what was in it.
    #[serde(default)]
    whole_container: bool,
    /// What the lot held when the whole container was weighed, in micrograms.
    #[serde(default)]
    seen_micrograms: Option<i64>,
    /// Tare to take off, with its unit; left out, nothing, or the container itself where it was on the scale.
    #[serde(default)]
    tare: Option<String>,
    #[serde(default)]
    pieces: Option<u32>,
    /// The teardown that this is a part from, and which part of its kind.
    #[serde(default)]
    teardown: Option<String>,
    #[serde(default)]
    part: Option<String>,
    /// When it was weighed (RFC 3339), for one that was kept until the wifi was back.
    #[serde(default)]
    at: Option<String>,
    /// Whether the reading has been read back and found right. Without it, one with a point between pounds and ounces
    /// is asked about.
    #[serde(default)]
    confirmed: bool,
}

/// A weighing that is on its lot.
#[derive(Debug, Serialize, ToSchema)]
pub struct WeighingBody {
    id: String,
    lot: String,
    net_grams: String,
    /// What it added, as the shop spells masses.
    net: String,
    /// What the lot holds now.
    total: String,
    total_micrograms: i64,
    undone: bool,
}

/// Puts a reading on a lot.
#[utoipa::path(post, path = "/api/v1/weighings", tag = "weighings", request_body = NewWeighing,
    responses(
        (status = 200, description = "It is on the lot, now or since it was first sent.", body = WeighingBody),
        (status = 400, body = Problem), (status = 401, body = Problem), (status = 404, body = Problem),
        (status = 409, description = "It has to be looked at: the reading means more than one thing, or the lot has changed.", body = Problem),
        (status = 422, description = "Something in it cannot be.", body = Problem)))]
pub async fn create(
    State(app): State<App>,
    Caller(visitor): Caller,
    body: Result<Json<NewWeighing>, JsonRejection>,
) -> Result<Json<WeighingBody>, Problem> {
    let Json(new) = body.map_err(|error| malformed(error.body_text()))?;
    if !is_id(&new.id) {
        return Err(malformed("`id` has to be a UUID in lower case that the caller makes."));
    }
    match put(&app, &visitor, &new).await {
        // Of a weighing that is sent once more, what it did itself may be what stands in its way now.
        Err(problem) => match app.store.weighing(&visitor.shop.id, &new.id).await {
            Ok(weighing) => stored(&app, &visitor, weighing).await,
            Err(_) => Err(problem),
        },
        done => done,
    }
}

async fn put(app: &App, visitor: &Visitor, new: &NewWeighing) -> Result<Json<WeighingBody>, Problem> {
    let lot = app.store.lot(&visitor.shop.id, &new.lot).await.map_err(|error| match error {
        StoreError::Missing => Problem::missing("lot"),
        other => other.into(),
    })?;
    if !new.confirmed {
        sure(&new.reading)?;
    }
    let by = By { at: weighed_at(new.at.as_ref(), visitor.now), ..visitor.by() };
    match put_on(app, &by, &lot, &new.id, form(new)).await? {
        Sent::Stored { added, done: WeighedIn::Now { total } } => {
            let (id, lot) = (new.id.clone(), new.lot.clone());
            Ok(Json(WeighingBody::of(visitor, id, lot, added, total, false)))
        }
        Sent::Stored { done: WeighedIn::Before, .. } => {
            let weighing = app.store.weighing(&visitor.shop.id, &new.id).await?;
            stored(app, visitor, weighing).await
        }
        Sent::Unsure(form) => {
            Err(sure(form.value("reading")).err().unwrap_or_else(|| Problem::missing("reading")))
        }
        Sent::Refused(form) => Err(refused(&form)),
        Sent::Overtaken(_) => {
            let lot = app.store.lot(&visitor.shop.id, &new.lot).await?;
            let words = overtaken(visitor, &lot);
            Err(Problem::new(StatusCode::CONFLICT, "stale", "The lot has changed", words))
        }
    }
}

/// Takes a weighing back, by an entry that names it. A helper's key takes back only what came in under their name.
#[utoipa::path(post, path = "/api/v1/weighings/{weighing}/undo", tag = "weighings",
    params(("weighing" = String, Path)),
    responses((status = 200, body = WeighingBody), (status = 401, body = Problem), (status = 403, body = Problem),
        (status = 404, body = Problem), (status = 409, body = Problem)))]
pub async fn undo(
    State(app): State<App>,
    caller: Caller,
    Path(weighing): Path<String>,
) -> Result<Json<WeighingBody>, Problem> {
    let there = app.store.weighing(&caller.0.shop.id, &weighing).await?;
    let visitor = if there.partner_id == caller.0.partner.id { caller.0 } else { caller.partner()? };
    app.store.undo_weighing(&visitor.by(), &weighing).await?;
    let weighing = app.store.weighing(&visitor.shop.id, &weighing).await?;
    stored(&app, &visitor, weighing).await
}

async fn stored(app: &App, visitor: &Visitor, weighing: Weighing) -> Result<Json<WeighingBody>, Problem> {
    let lot = app.store.lot(&visitor.shop.id, &weighing.lot_id).await?;
    let undone = weighing.undone_by.is_some();
    Ok(Json(WeighingBody::of(visitor, weighing.id, weighing.lot_id, weighing.net, lot.net, undone)))
}

impl WeighingBody {
    fn of(visitor: &Visitor, id: String, lot: String, net: Mass, total: Mass, undone: bool) -> WeighingBody {
        WeighingBody {
            id,
            lot,
            net_grams: net.grams().normalize().to_string(),
            net: visitor.mass(net),
            total: visitor.mass(total),
            total_micrograms: total.micrograms(),
            undone,
        }
    }
}

/// A reading that means one thing; otherwise what it may mean, or what is wrong with it.
fn sure(typed: &str) -> Result<(), Problem> {
    let unsure = |why: String, meanings: Vec<String>| {
        let problem = Problem::new(StatusCode::CONFLICT, "unsure", "What did the scale show?", why);
        Err(Problem { meanings, ..problem })
    };
    match reading::read(typed) {
        Ok(Reading::Sure { else_meant, .. }) if else_meant.is_empty() => Ok(()),
        Ok(Reading::Sure { meaning, else_meant }) => {
            let meanings =
                std::iter::once(meaning).chain(else_meant).map(|meaning| meaning.spelled).collect();
            unsure("A point between pounds and ounces may be a decimal point.".into(), meanings)
        }
        Ok(Reading::Ask { why, meanings }) => {
            unsure(why.to_string(), meanings.into_iter().map(|meaning| meaning.spelled).collect())
        }
        Err(problem) => Err(refused_reading(problem.to_string())),
    }
}

/// What came is no JSON of the right shape.
pub(super) fn malformed(words: impl Into<String>) -> Problem {
    Problem::new(StatusCode::BAD_REQUEST, "malformed", "That could not be read", words)
}

/// The reading is no weight.
pub(super) fn refused_reading(words: String) -> Problem {
    let mut form = Form::default();
    form.refuse("reading", words);
    refused(&form)
}

/// When it was weighed, as far as that can be believed: not in the future, and not long ago.
pub(super) fn weighed_at(at: Option<&String>, now: Timestamp) -> Timestamp {
    let said = at.and_then(|at| at.parse::<Timestamp>().ok());
    said.filter(|at| *at <= now && now.duration_since(*at) < KEPT).unwrap_or(now)
}

fn form(new: &NewWeighing) -> Form {
    let optional = |value: &Option<String>| value.clone().unwrap_or_default();
    Form::filled([
        ("reading", new.reading.clone()),
        ("typed", new.typed.clone().unwrap_or_else(|| new.reading.clone())),
        ("holds", if new.whole_container { "container".into() } else { "pieces".to_string() }),
        ("tare", optional(&new.tare)),
        ("pieces", new.pieces.map_or_else(String::new, |pieces| pieces.to_string())),
        ("seen", new.seen_micrograms.map_or_else(String::new, |seen| seen.to_string())),
        ("teardown", optional(&new.teardown)),
        ("part", optional(&new.part)),
    ])
}

pub(super) fn refused(form: &Form) -> Problem {
    let fields = form.problems();
    let words = fields.values().cloned().collect::<Vec<_>>().join(" ");
    let problem =
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "refused", "It cannot be put on the lot", words);
    Problem { fields, ..problem }
}
