//! Teardowns: a unit on the bench, from its cautions to its balance. Anybody can go on with it on their own phone.

mod finish;
mod log;
mod show;

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};

pub use finish::{finish, give_up, reopen};
pub use log::{EntrySent, put_entry, take_back, turn_timer, weigh_part, weigh_waste, weigh_whole};
pub use show::{index, keep_first, show};

use super::App;
use super::bench::{self, Bench};
use super::failure::Failure;
use super::form::Form;
use super::page::Visitor;
use crate::catalogue::kinds::CatalogueKind;
use crate::store::teardowns::{Expectation, NewTeardown};

/// Expects of a kind what the bench shows now.
pub fn expected(bench: &Bench, kind: &CatalogueKind, visitor: &Visitor) -> Expectation {
    let rate = visitor.shop.costs.labour_per_hour;
    let tree = bench.learned(kind).tree;
    let depth = bench.depth(&tree, rate);
    Expectation::of(&tree, &bench.nets, &depth, rate)
}

/// Begins one, once its cautions were seen.
pub async fn create(
    State(app): State<App>,
    visitor: Visitor,
    Path(kind): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let there = format!("/teardowns/{id}");
    if app.store.teardown(&visitor.shop.id, &id).await.is_ok() {
        // Sent twice: the first one counted.
        return Ok(Redirect::to(&there).into_response());
    }
    let kind = bench::find(&kind)?;
    let Ok(kind) = kind else { return Err(Failure::missing("kind")) };
    if kind.tree.pieces().len() < 2 {
        form.refuse("form", "This kind has no part that comes off here.");
    }
    let source = form.optional_text("source", 200);
    if !kind.cautions.is_empty() && form.value("seen") != "yes" {
        form.refuse("seen", "Read what can hurt first, and tick this: then it begins.");
    }
    let Some(source) = source.filter(|_| form.is_good()) else {
        return bench::kind_page(&app, visitor, kind, Form::default(), Some(form)).await;
    };
    let bench = Bench::load(&app, &visitor).await?;
    let expected = expected(&bench, kind, &visitor);
    let teardown =
        NewTeardown { id: &id, kind: &kind.id, kind_name: &kind.name, expected: &expected, source: &source };
    app.store.begin_teardown(&visitor.by(), &teardown).await?;
    Ok(Redirect::to(&there).into_response())
}
