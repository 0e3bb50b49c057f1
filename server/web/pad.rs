//! The pad: the one page that works with no network. It holds nothing of the shop, so that a browser may keep it.

use askama::Template;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::failure::Failure;
use super::page::html;

#[derive(Template)]
#[template(path = "pad/show.html")]
struct PadPage;

/// A browser that finds no network shows the page as it was last fetched; its script fetches the newest when it can.
pub async fn show() -> Result<Response, Failure> {
    let page = html(&PadPage)?;
    Ok(([(header::CACHE_CONTROL, "private, max-age=2592000")], page).into_response())
}
