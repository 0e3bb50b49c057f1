//! What partners tell the plan: pins, bars and outlets left out, each taken back again.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use trade::ids::{LotId, OutletId};
use trade::plan::Place;

use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::Visitor;

/// At most so many pins are taken back with one tap: more than any shelf has lots that are pinned.
const MOST_PINS: usize = 1000;

/// Pins a lot, bars it from an outlet, or takes back what was said about it.
pub async fn choose(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let lot = LotId::new(lot);
    let outlet = OutletId::new(form.value("place"));
    match form.value("choice") {
        "pin" => {
            let place = if form.value("place") == "keep" { Place::Keep } else { Place::Outlet(outlet) };
            app.store.pin(&visitor.by(), &lot, &place).await?;
        }
        "bar" if form.value("place") == "keep" => {
            return Err(Failure::refused(
                StatusCode::BAD_REQUEST,
                "A lot can always be kept",
                "Choose an outlet to bar the lot from, or pin it where it has to go. Nothing was changed.",
            ));
        }
        "bar" => app.store.bar(&visitor.by(), &lot, &outlet).await?,
        "free" => app.store.free_lot(&visitor.by(), &lot).await?,
        _ => return Err(not_a_choice()),
    }
    Ok(Redirect::to(&format!("/plan#lot-{lot}")).into_response())
}

/// Leaves an outlet out of the plan, or lets it in again.
pub async fn open_or_close(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let outlet = OutletId::new(outlet);
    match form.value("choice") {
        "close" => {
            app.store.close_for_plan(&visitor.by(), &outlet).await?;
        }
        "open" => app.store.open_for_plan(&visitor.by(), &outlet).await?,
        _ => return Err(not_a_choice()),
    }
    Ok(Redirect::to("/plan#closed").into_response())
}

fn not_a_choice() -> Failure {
    Failure::refused(
        StatusCode::BAD_REQUEST,
        "The form was cut short",
        "It does not say what to do, so nothing was changed. Go back to the plan and choose again.",
    )
}

/// Takes pins back, and nothing else that was said about their lots: those that no plan can follow, or those that keep
/// one from being followed.
pub async fn unpin(State(app): State<App>, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let lots: Vec<LotId> = form.values("lot").take(MOST_PINS).map(LotId::new).collect();
    if lots.is_empty() {
        return Err(not_a_choice());
    }
    app.store.unpin(&visitor.by(), &lots).await?;
    Ok(Redirect::to("/plan").into_response())
}
