//! Today: what wants doing?

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::App;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, html};

#[derive(Template)]
#[template(path = "today/show.html")]
struct TodayPage {
    page: Page,
}

pub async fn show(State(_app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let page = visitor.page(Screen::Today, "Today");
    html(&TodayPage { page })
}
