//! Photos, from a phone that kept them while the wifi was away, or from a camera over the scale.

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, IntoResponses, ToSchema};

use super::weighings::{malformed, weighed_at};
use super::{Caller, Problem};
use crate::store::photos::Subject;
use crate::store::{By, is_id};
use crate::web::App;
use crate::web::photos::{NotKept, keep, problem_status};

/// Beside the bytes of a photo. The same `id` a second time changes nothing.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NewPhoto {
    /// A UUID in lower case that the caller makes: of a photo that is sent twice, one is kept.
    id: String,
    /// When it was taken (RFC 3339), for one that waited until the wifi was back.
    #[serde(default)]
    at: Option<String>,
}

/// A photo that is kept.
#[derive(Debug, Serialize, ToSchema)]
pub struct PhotoBody {
    id: String,
}

/// What a photo is answered with, for the description.
#[derive(IntoResponses)]
#[expect(dead_code, reason = "only its shape is used")]
enum PhotoAnswer {
    /// It is kept, now or since it was first sent.
    #[response(status = 200)]
    Kept(PhotoBody),
    /// Not everything that it takes came along.
    #[response(status = 400)]
    Malformed(Problem),
    /// Nobody is signed in.
    #[response(status = 401)]
    SignedOut(Problem),
    /// Helpers take no photos.
    #[response(status = 403)]
    ForPartners(Problem),
    /// There is no such thing to take a photo of.
    #[response(status = 404)]
    Missing(Problem),
    /// It is over 20 MB.
    #[response(status = 413)]
    TooLarge(Problem),
    /// It is no photo that can be read.
    #[response(status = 422)]
    NoPhoto(Problem),
}

/// Keeps a photo of a lot: made smaller, and without what the camera wrote into it.
#[utoipa::path(post, path = "/api/v1/lots/{lot}/photos", tag = "photos", params(("lot" = String, Path), NewPhoto),
    request_body(content_type = "image/jpeg", content = Vec<u8>),
    responses(PhotoAnswer))]
pub async fn add_to_lot(
    State(app): State<App>,
    caller: Caller,
    Path(lot): Path<String>,
    new: Result<Query<NewPhoto>, QueryRejection>,
    bytes: Result<Bytes, BytesRejection>,
) -> Result<Json<PhotoBody>, Problem> {
    add(&app, caller, Subject::Lot, &lot, new, bytes).await
}

/// Keeps a photo of a pickup: made smaller, and without what the camera wrote into it.
#[utoipa::path(post, path = "/api/v1/pickups/{pickup}/photos", tag = "photos",
    params(("pickup" = String, Path), NewPhoto),
    request_body(content_type = "image/jpeg", content = Vec<u8>),
    responses(PhotoAnswer))]
pub async fn add_to_pickup(
    State(app): State<App>,
    caller: Caller,
    Path(pickup): Path<String>,
    new: Result<Query<NewPhoto>, QueryRejection>,
    bytes: Result<Bytes, BytesRejection>,
) -> Result<Json<PhotoBody>, Problem> {
    add(&app, caller, Subject::Pickup, &pickup, new, bytes).await
}

/// Keeps a photo of what a yard gave at its gate: made smaller, and without what the camera wrote into it.
#[utoipa::path(post, path = "/api/v1/runs/stops/{stop}/photos", tag = "photos",
    params(("stop" = String, Path), NewPhoto),
    request_body(content_type = "image/jpeg", content = Vec<u8>),
    responses(PhotoAnswer))]
pub async fn add_to_ticket(
    State(app): State<App>,
    caller: Caller,
    Path(stop): Path<String>,
    new: Result<Query<NewPhoto>, QueryRejection>,
    bytes: Result<Bytes, BytesRejection>,
) -> Result<Json<PhotoBody>, Problem> {
    add(&app, caller, Subject::Ticket, &stop, new, bytes).await
}

async fn add(
    app: &App,
    caller: Caller,
    subject: Subject,
    subject_id: &str,
    new: Result<Query<NewPhoto>, QueryRejection>,
    bytes: Result<Bytes, BytesRejection>,
) -> Result<Json<PhotoBody>, Problem> {
    let visitor = caller.partner()?;
    let Query(new) = new.map_err(|error| malformed(error.body_text()))?;
    if !is_id(&new.id) {
        return Err(malformed("`id` has to be a UUID in lower case that the caller makes."));
    }
    let bytes = bytes.map_err(|error| match error.status() {
        StatusCode::PAYLOAD_TOO_LARGE => {
            let words =
                "It is over 20 MB. Set the camera to a smaller size, or send a screenshot of the photo.";
            Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", "That photo is too large", words)
        }
        _ => malformed(error.body_text()),
    })?;
    let by = By { at: weighed_at(new.at.as_ref(), visitor.now), ..visitor.by() };
    match keep(app, &by, subject, subject_id, &new.id, &bytes).await {
        Ok(()) => Ok(Json(PhotoBody { id: new.id })),
        Err(NotKept::Photo(problem)) => Err(Problem::new(
            problem_status(&problem),
            "no-photo",
            "The photo was not kept",
            problem.to_string(),
        )),
        Err(NotKept::Store(error)) => Err(error.into()),
    }
}
