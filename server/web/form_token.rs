//! The token in every form, without which no form of a signed-in phone is taken.
//!
//! A page of another site can make a browser send a form here with the cookie, but cannot read the page that has the
//! token. It is put into each form, and asked of each, in this one place, so that no form can be forgotten.

use std::future::ready;

use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, header};
use axum::middleware::Next;
use axum::response::Response;
use futures_util::{StreamExt, stream};

use super::App;
use super::failure;
use super::session;

/// The field that carries it, first in each form.
pub const FIELD: &str = "form_token";
/// The header that carries it where a script sends the form.
const HEADER: &str = "x-form-token";
/// What stands before the first field's value is shorter than that, in either way a browser sends a form.
const ENOUGH: usize = 2048;
/// Pages are far smaller.
const LARGEST_PAGE: usize = 16 * 1024 * 1024;

/// Asks for the token where the request could change something, and puts it into the forms of the page in answer.
pub async fn layer(State(app): State<App>, request: Request, next: Next) -> Response {
    let Some(token) = session::token(&app, request.headers()).map(|token| token.form_token()) else {
        return next.run(request).await;
    };
    let is_safe = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    let request = if is_safe {
        request
    } else {
        match with_token(request, &token).await {
            Ok(request) => request,
            Err(refused) => return refused,
        }
    };
    let response = next.run(request).await;
    if is_page(&response) { in_forms(response, &token).await } else { response }
}

/// The request, if it carries the token.
async fn with_token(request: Request, token: &str) -> Result<Request, Response> {
    let refused = || failure::not_signed_in().page();
    if let Some(brought) = request.headers().get(HEADER) {
        return if brought.as_bytes() == token.as_bytes() { Ok(request) } else { Err(refused()) };
    }
    let (head, body) = request.into_parts();
    let mut rest = body.into_data_stream();
    let mut start = Vec::new();
    while start.len() < ENOUGH {
        match rest.next().await {
            Some(Ok(data)) => start.extend_from_slice(&data),
            Some(Err(_)) => return Err(failure::Failure::cut_short().page()),
            None => break,
        }
    }
    if !carries(&start, token) {
        return Err(refused());
    }
    let body = Body::from_stream(stream::once(ready(Ok(Bytes::from(start)))).chain(rest));
    Ok(Request::from_parts(head, body))
}

/// Whether a form starts with the token, sent as `form_token=…` or as the first part of a multipart body.
fn carries(start: &[u8], token: &str) -> bool {
    let text = String::from_utf8_lossy(&start[..start.len().min(ENOUGH)]);
    let plain = text.strip_prefix(FIELD).and_then(|rest| rest.strip_prefix('=')).map(|rest| (rest, "&"));
    let part = || {
        let (_, rest) = text.split_once(&format!("name=\"{FIELD}\"\r\n\r\n"))?;
        Some((rest, "\r\n"))
    };
    let Some((rest, end)) = plain.or_else(part) else { return false };
    rest.split(end).next() == Some(token)
}

fn is_page(response: &Response) -> bool {
    let kind = response.headers().get(header::CONTENT_TYPE);
    kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"))
}

async fn in_forms(response: Response, token: &str) -> Response {
    let (mut head, body) = response.into_parts();
    let Ok(page) = to_bytes(body, LARGEST_PAGE).await else {
        return failure::panicked(Box::new("a page could not be read back"));
    };
    let page = filled(&String::from_utf8_lossy(&page), token);
    if head.headers.contains_key(header::CONTENT_LENGTH) {
        head.headers.insert(header::CONTENT_LENGTH, HeaderValue::from(page.len()));
    }
    Response::from_parts(head, Body::from(page))
}

/// The page with the token first in each form that is posted. What somebody typed cannot pass for a form: templates
/// escape it.
fn filled(page: &str, token: &str) -> String {
    let field = format!("<input type=\"hidden\" name=\"{FIELD}\" value=\"{token}\">");
    let mut filled = String::with_capacity(page.len() + 8 * field.len());
    let mut rest = page;
    while let Some(at) = rest.find("<form") {
        let end = rest[at..].find('>').map_or(rest.len(), |end| at + end + 1);
        filled.push_str(&rest[..end]);
        if rest[at..end].contains("method=\"post\"") {
            filled.push_str(&field);
        }
        rest = &rest[end..];
    }
    filled.push_str(rest);
    filled
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_form_that_is_posted_gets_the_token() {
        let page =
            "<form method=\"get\"><b></form><form class=\"x\" method=\"post\" action=\"/a\">y</form><form";
        let field = "<input type=\"hidden\" name=\"form_token\" value=\"t0\">";
        let expected = format!(
            "<form method=\"get\"><b></form><form class=\"x\" method=\"post\" action=\"/a\">{field}y</form><form"
        );
        assert_eq!(filled(page, "t0"), expected);
        assert_eq!(filled("no form", "t0"), "no form");
    }

    #[test]
    fn the_token_is_found_first_in_a_form_and_nowhere_else() {
        let multipart = |value: &str| {
            format!("--x\r\nContent-Disposition: form-data; name=\"form_token\"\r\n\r\n{value}\r\n--x--\r\n")
        };
        assert!(carries(b"form_token=abc&name=1", "abc"));
        assert!(carries(b"form_token=abc", "abc"));
        assert!(carries(multipart("abc").as_bytes(), "abc"));
        for wrong in ["", "name=1&form_token=abc", "form_token=abcd", "form_token=", &multipart("abcd")] {
            assert!(!carries(wrong.as_bytes(), "abc"), "{wrong}");
        }
    }
}
