//! The shop as JSON under `/api/v1`, for its own phones, scripts and scales: the same nouns as the pages, with the same
//! checks behind them. `/api/v1/openapi.json` describes it, made from this code.

mod caller;
mod cash;
mod catalogue;
mod lots;
mod market;
mod me;
mod photos;
mod pickups;
mod problem;
mod readings;
mod runs;
mod settlements;
mod shipments;
mod teardowns;
mod weighings;

use axum::Json;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{any, get};
use utoipa::openapi::security::{ApiKey, ApiKeyValue, Http, HttpAuthScheme, SecurityScheme};
use utoipa::openapi::{OpenApi as Description, RefOr};
use utoipa::{Modify, OpenApi};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::App;
use super::photos::LARGEST_PHOTO;

pub use caller::{Caller, Device};
pub use problem::Problem;

/// More than any request's JSON needs.
const LARGEST: usize = 64 * 1024;

#[derive(OpenApi)]
#[openapi(
    info(title = "Pennyweight", description = "A scrap shop's record, for its own scripts and scales."),
    modifiers(&Keys),
    security(("key" = []), ("session" = []))
)]
struct Document;

/// The two ways to come in.
struct Keys;

impl Modify for Keys {
    fn modify(&self, description: &mut Description) {
        let components = description.components.get_or_insert_default();
        components.add_security_scheme("key", SecurityScheme::Http(Http::new(HttpAuthScheme::Bearer)));
        let cookie =
            ApiKey::Cookie(ApiKeyValue::with_description("session", "By HTTPS it is called __Host-session."));
        components.add_security_scheme("session", SecurityScheme::ApiKey(cookie));
    }
}

/// Every address of the API, and the description of them all.
pub fn router() -> Router<App> {
    let (router, description) = described();
    router
        .route("/api/v1/openapi.json", get(async move || Json(description.clone())))
        .route("/api/{*elsewhere}", any(async || Problem::missing("address in the API")))
        .layer(DefaultBodyLimit::max(LARGEST))
}

fn described() -> (Router<App>, Description) {
    // Photos are the one thing here that is larger than JSON; each says itself how large one may be.
    let photos = OpenApiRouter::new()
        .routes(routes!(photos::add_to_lot))
        .routes(routes!(photos::add_to_pickup))
        .routes(routes!(photos::add_to_ticket))
        .layer(DefaultBodyLimit::max(LARGEST_PHOTO));
    let (router, mut description) = OpenApiRouter::with_openapi(Document::openapi())
        .merge(photos)
        .routes(routes!(me::show))
        .routes(routes!(lots::index))
        .routes(routes!(lots::show))
        .routes(routes!(weighings::create))
        .routes(routes!(weighings::undo))
        .routes(routes!(readings::create))
        .routes(routes!(teardowns::create))
        .routes(routes!(catalogue::grades))
        .routes(routes!(catalogue::outlets))
        .routes(routes!(market::prices))
        .routes(routes!(market::plan))
        .routes(routes!(runs::index))
        .routes(routes!(runs::show))
        .routes(routes!(pickups::index))
        .routes(routes!(pickups::show))
        .routes(routes!(shipments::index))
        .routes(routes!(shipments::show))
        .routes(routes!(settlements::index))
        .routes(routes!(settlements::show))
        .routes(routes!(shipments::activity))
        .routes(routes!(cash::index))
        .split_for_parts();
    problems_have_a_type_of_their_own(&mut description);
    (router, description)
}

/// Says of every answer that tells a problem that it is of the type for problems (RFC 9457).
fn problems_have_a_type_of_their_own(description: &mut Description) {
    let operations = description.paths.paths.values_mut().flat_map(|path| {
        [&mut path.get, &mut path.post, &mut path.put, &mut path.patch, &mut path.delete]
            .into_iter()
            .flatten()
    });
    for operation in operations {
        for (status, answer) in &mut operation.responses.responses {
            if let RefOr::T(answer) = answer
                && status.starts_with(['4', '5'])
                && let Some(content) = answer.content.shift_remove("application/json")
            {
                answer.content.insert("application/problem+json".into(), content);
            }
        }
    }
}
