//! The end of a teardown: whether the parts make up the whole, how long it took, and what it brought against what was
//! expected.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use jiff::Timestamp;
use trade::teardown::{Balance, Nets, Progress};

use super::show::{Trouble, page_with};
use crate::store::StoreError;
use crate::store::teardowns::{LogEntry, Outcome, Teardown};
use crate::web::App;
use crate::web::bench::Bench;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::Visitor;

/// What a teardown comes to as it stands.
pub fn outcome(teardown: &Teardown, log: &[LogEntry], now: Timestamp, today: &Nets) -> Outcome {
    let standing = log.iter().filter(|entry| !entry.is_taken_back);
    let graded = |entry: &LogEntry| {
        (entry.entry.clone(), entry.weighing.as_ref().map(|weighing| weighing.grade.clone()))
    };
    let entries: Vec<_> = standing.map(graded).collect();
    Outcome::of(&teardown.expected, &entries, now, today)
}

/// Finishes it. Parts that are heavier than the whole are told first, and a timer that runs is stopped with it.
pub async fn finish(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let teardown = app.store.teardown(&visitor.shop.id, &id).await?;
    let log = app.store.teardown_log(&visitor.shop.id, &id).await?;
    let entries: Vec<_> =
        log.iter().filter(|entry| !entry.is_taken_back).map(|entry| entry.entry.clone()).collect();
    let progress = Progress::of(&entries);
    if let (Balance::Heavier(by), false) = (progress.balance(), form.value("all_the_same") == "yes") {
        form.refuse(
            "all_the_same",
            format!(
                "The parts weigh {} more than the whole, so one of the readings is wrong. Look for it above, or tick \
                 this: then it is finished, and nothing is learned from it.",
                visitor.mass(by)
            ),
        );
    }
    if progress.forgotten(visitor.now).is_some() {
        form.refuse(
            "form",
            "The timer has been running for very long. Say above when you stopped, then finish.",
        );
    }
    if !form.is_good() {
        let trouble = Trouble { field: "finish", form, why: String::new(), meanings: Vec::new() };
        return page_with(&app, visitor, &id, Some(trouble)).await;
    }
    let bench = Bench::load(&app, &visitor).await?;
    let outcome = outcome(&teardown, &log, visitor.now, &bench.nets);
    match app.store.finish_teardown(&visitor.by(), &id, form.version(), &outcome).await {
        Ok(()) => Ok(Redirect::to(&format!("/teardowns/{id}")).into_response()),
        Err(StoreError::Stale) => {
            form.refuse(
                "form",
                "Something was entered meanwhile, on this phone or another. Look at it, then finish.",
            );
            let trouble = Trouble { field: "finish", form, why: String::new(), meanings: Vec::new() };
            page_with(&app, visitor, &id, Some(trouble)).await
        }
        // Sent twice, or finished on the other phone.
        Err(StoreError::Teardown(_)) => Ok(Redirect::to(&format!("/teardowns/{id}")).into_response()),
        Err(other) => Err(other.into()),
    }
}

pub async fn reopen(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.reopen_teardown(&visitor.by(), &id, form.version()).await?;
    Ok(Redirect::to(&format!("/teardowns/{id}")).into_response())
}

pub async fn give_up(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.drop_teardown(&visitor.by(), &id, form.version()).await?;
    Ok(Redirect::to(&format!("/teardowns/{id}")).into_response())
}
