//! What can go wrong, as problem details (RFC 9457).

use std::collections::BTreeMap;

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use crate::store::StoreError;
use crate::web::failure::RETRY_AFTER;

/// Why a request was not done.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Problem {
    /// The kind of problem, to tell them apart by: `missing`, `refused`, `unsure`, `stale`, `signed-out` …
    #[serde(rename = "type")]
    pub kind: &'static str,
    pub title: String,
    pub status: u16,
    /// What to do.
    pub detail: String,
    /// What is wrong with each field, by its name.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub fields: BTreeMap<String, String>,
    /// What a reading may mean, where it means more than one thing: each can be sent as the reading.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub meanings: Vec<String>,
}

impl Problem {
    pub fn new(status: StatusCode, kind: &'static str, title: &str, detail: impl Into<String>) -> Problem {
        Problem {
            kind,
            title: title.to_string(),
            status: status.as_u16(),
            detail: detail.into(),
            fields: BTreeMap::new(),
            meanings: Vec::new(),
        }
    }

    pub fn missing(what: &str) -> Problem {
        Problem::new(
            StatusCode::NOT_FOUND,
            "missing",
            &format!("There is no such {what}"),
            "It may have been removed.",
        )
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let mut response = (status, Json(&self)).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if status == StatusCode::SERVICE_UNAVAILABLE {
            headers.insert(header::RETRY_AFTER, RETRY_AFTER);
        }
        if status == StatusCode::UNAUTHORIZED {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        response
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Problem {
        let (status, kind, title) = match &error {
            StoreError::Missing => return Problem::missing("thing here"),
            StoreError::Stale => (StatusCode::CONFLICT, "stale", "Changed meanwhile"),
            StoreError::Duplicate => (StatusCode::CONFLICT, "duplicate", "There is one like it already"),
            StoreError::Lot(_)
            | StoreError::Sheet(_)
            | StoreError::Settlement(_)
            | StoreError::Shop(_)
            | StoreError::Partner(_) => (StatusCode::CONFLICT, "refused", "That cannot be done"),
            StoreError::Busy => (StatusCode::SERVICE_UNAVAILABLE, "busy", "The shop's record is busy"),
            StoreError::Away(_) => {
                tracing::error!(%error, "request failed");
                let words =
                    "Whether it was saved is not known: send it again in a moment, under the same id.";
                return Problem::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "away",
                    "The shop's database is away",
                    words,
                );
            }
            StoreError::Full => (StatusCode::INSUFFICIENT_STORAGE, "full", "The disk is full"),
            _ => {
                tracing::error!(%error, "request failed");
                let words =
                    "It was not your doing, and nothing was half saved. The log on the shop's box says why.";
                return Problem::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "broken",
                    "Something went wrong here",
                    words,
                );
            }
        };
        Problem::new(status, kind, title, error.to_string())
    }
}
