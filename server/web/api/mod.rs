//! The shop as JSON under `/api/v1`, for its own phones, scripts and scales: the same nouns as the pages, with the same
//! checks behind them. `/api/v1/openapi.json` describes it, made from this code.

mod caller;
mod lots;
mod me;
mod problem;
mod weighings;

use axum::Json;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::get;
use utoipa::OpenApi;
use utoipa::openapi::OpenApi as Description;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::App;

pub use caller::Caller;
pub use problem::Problem;

/// More than any request's JSON needs.
const LARGEST: usize = 64 * 1024;

#[derive(OpenApi)]
#[openapi(
    info(title = "Pennyweight", description = "A scrap shop's record, for its own scripts and scales."),
    tags((name = "lots"), (name = "weighings"), (name = "me"))
)]
struct Document;

/// Every address of the API, and the description of them all.
pub fn router() -> Router<App> {
    let (router, description) = described();
    router
        .route("/api/v1/openapi.json", get(async move || Json(description.clone())))
        .layer(DefaultBodyLimit::max(LARGEST))
}

fn described() -> (Router<App>, Description) {
    OpenApiRouter::with_openapi(Document::openapi())
        .routes(routes!(me::show))
        .routes(routes!(lots::index))
        .routes(routes!(lots::show))
        .routes(routes!(weighings::create))
        .split_for_parts()
}
