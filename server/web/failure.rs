//! Every way a page can fail, as a page: what was wrong, what to do, and whether anything was saved.

use std::any::Any;
use std::sync::Arc;

use askama::Template;
use axum::body::Body;
use axum::extract::Request;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};
use tracing::{error, warn};

use super::again::Sent;
use crate::store::StoreError;

/// When to try again where the record does not answer just now, in seconds.
pub const RETRY_AFTER: HeaderValue = HeaderValue::from_static("5");

/// A failure with the words for it.
#[derive(Debug)]
pub struct Failure {
    status: StatusCode,
    title: String,
    advice: String,
    cause: Option<StoreError>,
}

#[derive(Template)]
#[template(path = "failure.html")]
struct FailurePage<'a> {
    title: &'a str,
    advice: &'a str,
    /// Whether signing in is what helps.
    sign_in: bool,
    sent: Option<&'a Sent>,
}

/// The cause of a failure, carried to [`log_cause`] and never shown.
#[derive(Debug, Clone)]
struct Cause(Arc<StoreError>);

/// The words of a failure that is not the form's and may be over in a moment.
#[derive(Debug, Clone)]
struct MayPass {
    title: String,
    advice: String,
    sign_in: bool,
}

impl Failure {
    pub fn refused(status: StatusCode, title: impl Into<String>, advice: impl Into<String>) -> Self {
        Failure { status, title: title.into(), advice: advice.into(), cause: None }
    }

    /// There is no such thing in this shop.
    pub fn missing(what: &str) -> Self {
        Failure::refused(
            StatusCode::NOT_FOUND,
            format!("There is no such {what}"),
            "It may have been removed, or the address was cut off. Nothing is lost: find it from the menu.",
        )
    }

    /// What was sent did not all arrive.
    pub fn cut_short() -> Self {
        Failure::refused(
            StatusCode::BAD_REQUEST,
            "The form was cut short",
            "It did not arrive whole, so nothing was saved. Go back and send it again.",
        )
    }

    /// More was sent than the program takes.
    pub fn too_large() -> Self {
        Failure::refused(
            StatusCode::PAYLOAD_TOO_LARGE,
            "That is too large",
            "It is over 10 MB, so nothing of it was saved. Send a smaller file, or part of it.",
        )
    }

    pub fn page(self) -> Response {
        let sign_in = self.status == StatusCode::UNAUTHORIZED;
        let body = drawn(&self.title, &self.advice, sign_in, None);
        let mut response = (self.status, Html(body)).into_response();
        // A failure that the store caused may be over in a moment; one with no words of its own about that may not.
        let may_pass = sign_in || self.cause.is_some() && self.status.is_server_error();
        if self.status == StatusCode::SERVICE_UNAVAILABLE {
            response.headers_mut().insert(header::RETRY_AFTER, RETRY_AFTER);
        }
        if let Some(cause) = self.cause {
            response.extensions_mut().insert(Cause(Arc::new(cause)));
        }
        if may_pass {
            response.extensions_mut().insert(MayPass { title: self.title, advice: self.advice, sign_in });
        }
        response
    }
}

fn drawn(title: &str, advice: &str, sign_in: bool, sent: Option<&Sent>) -> String {
    FailurePage { title, advice, sign_in, sent }.render().unwrap_or_else(|_| format!("{title}. {advice}"))
}

/// Whether the same form may go through if it is sent once more.
pub fn may_pass(response: &Response) -> bool {
    response.extensions().get::<MayPass>().is_some()
}

/// The failure with the form that it happened to, to be sent once more.
pub fn with_form(response: Response, sent: &Sent) -> Response {
    let (head, body) = response.into_parts();
    let body = match head.extensions.get::<MayPass>() {
        Some(MayPass { title, advice, sign_in }) => Body::from(drawn(title, advice, *sign_in, Some(sent))),
        None => body,
    };
    Response::from_parts(head, body)
}

/// Gives the framework's own bare refusals (a method that an address does not take, an address that is no text) a page.
pub async fn worded(response: Response) -> Response {
    let status = response.status();
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    if !status.is_client_error() || kind.is_some_and(|kind| !kind.starts_with("text/plain")) {
        return response;
    }
    match status {
        StatusCode::METHOD_NOT_ALLOWED => Failure::refused(
            status,
            "There is no page at this address",
            "It only takes a form that one of the pages sends. Nothing was changed: find your way from the menu.",
        ),
        StatusCode::NOT_FOUND => Failure::missing("page"),
        StatusCode::PAYLOAD_TOO_LARGE => Failure::too_large(),
        _ => Failure::refused(
            status,
            "That could not be read",
            "The address or the form came damaged, so nothing was saved. Go back and try again.",
        ),
    }
    .page()
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        self.page()
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        let (status, title, advice) = match &error {
            StoreError::Missing => return Failure::missing("thing here"),
            StoreError::Stale => (
                StatusCode::CONFLICT,
                "Changed meanwhile",
                "Somebody changed this while you had it open, so yours was not saved over it. Go back, reload the page \
                 and look at theirs first."
                    .to_string(),
            ),
            StoreError::Duplicate => (
                StatusCode::CONFLICT,
                "There is one like it already",
                "Something with that name is there already, so nothing was saved. Go back and choose another name."
                    .to_string(),
            ),
            StoreError::Lot(refusal) => (StatusCode::CONFLICT, "That cannot be done to the lot", refusal.to_string()),
            StoreError::Sheet(refusal) => (StatusCode::CONFLICT, "The sheet cannot be saved", refusal.to_string()),
            StoreError::Settlement(refusal) => {
                (StatusCode::CONFLICT, "The settlement cannot be saved", refusal.to_string())
            }
            StoreError::Shop(refusal) => {
                (StatusCode::CONFLICT, "That cannot be changed in the shop", refusal.to_string())
            }
            StoreError::Partner(refusal) => {
                (StatusCode::CONFLICT, "That cannot be changed in the shop", refusal.to_string())
            }
            StoreError::Busy => (
                StatusCode::SERVICE_UNAVAILABLE,
                "The shop's record is busy",
                "Another program holds the database, so nothing was saved. Try again in a moment."
                    .to_string(),
            ),
            StoreError::Away(_) => (
                StatusCode::SERVICE_UNAVAILABLE,
                "The shop's database is away",
                "It does not answer just now. Whether what you sent was saved is not known: send it again in a moment, \
                 and it counts once all the same."
                    .to_string(),
            ),
            StoreError::Full => (
                StatusCode::INSUFFICIENT_STORAGE,
                "The disk is full",
                "Nothing was saved, and nothing that was saved before is lost. Make room on the shop's box, then try \
                 again."
                    .to_string(),
            ),
            StoreError::ReadOnly => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "The shop's record cannot be written to",
                "Nothing was saved. Check the rights of the data folder on the shop's box, then try again."
                    .to_string(),
            ),
            StoreError::Newer
            | StoreError::Damaged
            | StoreError::Unreachable(_)
            | StoreError::Folder { .. } => {
                (StatusCode::INTERNAL_SERVER_ERROR, "The shop's record cannot be read", format!("{error}."))
            }
            StoreError::Row(_) | StoreError::Encode(_) | StoreError::Database(_) | StoreError::Migration(_) => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "Something went wrong here",
                "It was not your doing, and nothing was half saved. Try again; if it stays, the log on the shop's box \
                 says why."
                    .to_string(),
            ),
        };
        Failure { status, title: title.to_string(), advice, cause: Some(error) }
    }
}

/// Logs the cause of a failed request once, with the request's span around it.
pub async fn log_cause(request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    if let Some(Cause(cause)) = response.extensions().get() {
        if response.status().is_server_error() {
            error!(%cause, "request failed");
        } else {
            warn!(%cause, "request refused");
        }
    }
    response
}

/// A form that came from nobody: the session ended while the page was open, or it was opened before somebody else
/// signed in on this phone.
pub fn not_signed_in() -> Failure {
    Failure::refused(
        StatusCode::UNAUTHORIZED,
        "Sign in first",
        "This phone is not signed in any more, or somebody else is by now, so nothing was saved. Sign in, come back to \
         this page, and send it again.",
    )
}

/// A page that a helper may not open.
pub fn for_partners() -> Failure {
    Failure::refused(
        StatusCode::FORBIDDEN,
        "This is for partners",
        "A helper can weigh in. For anything else, ask a partner; nothing was changed.",
    )
}

pub async fn no_such_page() -> Failure {
    Failure::missing("page")
}

pub fn too_slow() -> Response {
    Failure::refused(
        StatusCode::GATEWAY_TIMEOUT,
        "That took too long",
        "The answer did not come within a minute. What you sent may still be saved: look at the lot or list before you \
         send it again.",
    )
    .page()
}

/// Turns a panic into a page; the panic itself has been logged by its hook.
pub fn panicked(_: Box<dyn Any + Send + 'static>) -> Response {
    error!("a handler panicked");
    Failure::refused(
        StatusCode::INTERNAL_SERVER_ERROR,
        "Something went wrong here",
        "It was not your doing, and nothing was half saved. Go back and try again.",
    )
    .page()
}
