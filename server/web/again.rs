//! A form that could not be saved just now is offered again: the page that says why keeps what was typed.
//!
//! Going back would not do: browsers empty the fields of a page that is never stored.

use axum::body::{Body, to_bytes};
use axum::extract::{FromRequest, Request};
use axum::http::{Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::failure::{self, Failure};
use super::form::Form;

/// The largest form that is kept. What a person types is far below, and an upload is still on their phone.
const LARGEST: usize = 256 * 1024;

/// A form as it was sent.
#[derive(Debug)]
pub struct Sent {
    pub address: String,
    pub form: Form,
}

/// Keeps the form that a request brings until it is answered.
pub async fn keep_form(request: Request, next: Next) -> Response {
    if !is_small_form(&request) {
        return next.run(request).await;
    }
    let address = request.uri().to_string();
    let (head, body) = request.into_parts();
    let Ok(bytes) = to_bytes(body, LARGEST).await else {
        return Failure::cut_short().into_response();
    };
    let copy = Request::from_parts(head.clone(), Body::from(bytes.clone()));
    let response = next.run(Request::from_parts(head, Body::from(bytes))).await;
    if !failure::may_pass(&response) {
        return response;
    }
    match Form::from_request(copy, &()).await {
        Ok(form) => failure::with_form(response, &Sent { address, form }),
        Err(_) => response,
    }
}

fn is_small_form(request: &Request) -> bool {
    let header = |name| request.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    request.method() == Method::POST
        && header(header::CONTENT_TYPE).starts_with("application/x-www-form-urlencoded")
        && header(header::CONTENT_LENGTH).parse::<usize>().is_ok_and(|length| length <= LARGEST)
}
