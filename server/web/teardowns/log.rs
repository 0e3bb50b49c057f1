//! What is entered while a unit is taken apart: its weight, its parts, its waste, and the time.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use jiff::{SignedDuration, Timestamp};
use rust_decimal::dec;
use rust_decimal::prelude::ToPrimitive;
use trade::mass::Mass;
use trade::reading::{self, Meaning, Reading};
use trade::teardown::Progress;

use super::show::{Trouble, page_with};
use crate::store::teardowns::{NewEntry, NewEntryKind};
use crate::store::{By, StoreError};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Anyone, Visitor};
use crate::web::weigh;

/// The longest a spell at the bench may be said to have been.
const MOST_MINUTES: rust_decimal::Decimal = dec!(1440);
/// No reading is longer.
const LONGEST_TYPED: usize = 40;

fn there(teardown: &str) -> Response {
    Redirect::to(&format!("/teardowns/{teardown}")).into_response()
}

/// What became of an entry that was sent.
pub enum EntrySent {
    Stored,
    /// The reading means more than one thing.
    Unsure {
        why: String,
        meanings: Vec<Meaning>,
    },
    Refused(Form),
}

/// Weighs the unit whole, or its waste, or turns the timer: once for each id.
pub async fn put_entry(
    app: &App,
    by: &By,
    teardown: &str,
    id: &str,
    kind: &str,
    mut form: Form,
    at: Timestamp,
) -> Result<EntrySent, StoreError> {
    let kind = match kind {
        "start" => NewEntryKind::Start,
        "stop" => NewEntryKind::Stop,
        weighed => {
            let mass: Mass = match reading::read(form.value("reading")) {
                Ok(Reading::Sure { meaning, else_meant })
                    if else_meant.is_empty() || form.value("confirmed") == "yes" =>
                {
                    meaning.mass
                }
                Ok(Reading::Sure { meaning, else_meant }) => {
                    let meanings = std::iter::once(meaning).chain(else_meant).collect();
                    let why = "A point between pounds and ounces may be a decimal point.".to_string();
                    return Ok(EntrySent::Unsure { why, meanings });
                }
                Ok(Reading::Ask { why, meanings }) => return Ok(EntrySent::Unsure { why, meanings }),
                Err(problem) => {
                    form.refuse("reading", problem.to_string());
                    return Ok(EntrySent::Refused(form));
                }
            };
            match weighed {
                "whole" => NewEntryKind::Whole(mass.as_kept()),
                "waste" => NewEntryKind::Waste(mass.as_kept()),
                _ => {
                    form.refuse("kind", "There is no such entry: it is whole, waste, start or stop.");
                    return Ok(EntrySent::Refused(form));
                }
            }
        }
    };
    let typed = if form.has("typed") { form.value("typed") } else { form.value("reading") };
    let typed: String = typed.trim().chars().take(LONGEST_TYPED).collect();
    app.store.add_entry(by, &NewEntry { id, teardown_id: teardown, kind, typed: &typed, at }).await?;
    Ok(EntrySent::Stored)
}

async fn weigh_entry(
    app: App,
    visitor: Visitor,
    teardown: String,
    kind: &'static str,
    form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    match put_entry(&app, &visitor.by(), &teardown, &id, kind, form.clone(), visitor.now).await? {
        EntrySent::Stored => Ok(there(&teardown)),
        EntrySent::Unsure { why, meanings } => {
            let trouble = Trouble { field: kind, form, why, meanings };
            page_with(&app, visitor, &teardown, Some(trouble)).await
        }
        EntrySent::Refused(form) => {
            let trouble = Trouble { field: kind, form, why: String::new(), meanings: Vec::new() };
            page_with(&app, visitor, &teardown, Some(trouble)).await
        }
    }
}

pub async fn weigh_whole(
    State(app): State<App>,
    visitor: Visitor,
    Path(teardown): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    weigh_entry(app, visitor, teardown, "whole", form).await
}

pub async fn weigh_waste(
    State(app): State<App>,
    visitor: Visitor,
    Path(teardown): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    weigh_entry(app, visitor, teardown, "waste", form).await
}

/// Starts or stops the timer. One that ran on is stopped where the partner says that they stopped.
pub async fn turn_timer(
    State(app): State<App>,
    visitor: Visitor,
    Path(teardown): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let kind = if form.value("turn") == "start" { "start" } else { "stop" };
    let mut at = visitor.now;
    if kind == "stop" && form.has("worked") {
        let log = app.store.teardown_log(&visitor.shop.id, &teardown).await?;
        let standing: Vec<_> =
            log.into_iter().filter(|entry| !entry.is_taken_back).map(|entry| entry.entry).collect();
        let since = Progress::of(&standing).running_since;
        let worked = form.decimal("worked", rust_decimal::Decimal::ZERO, MOST_MINUTES);
        let Some(worked) = worked else {
            let trouble = Trouble { field: "worked", form, why: String::new(), meanings: Vec::new() };
            return page_with(&app, visitor, &teardown, Some(trouble)).await;
        };
        // Stopped on the other phone meanwhile: then there is nothing more to ask.
        let Some(since) = since else { return page_with(&app, visitor, &teardown, None).await };
        let seconds = (worked * dec!(60)).to_i64().unwrap_or(0);
        at = (since + SignedDuration::from_secs(seconds)).min(visitor.now);
    }
    match put_entry(&app, &visitor.by(), &teardown, &id, kind, form, at).await? {
        EntrySent::Stored => Ok(there(&teardown)),
        _ => Err(Failure::cut_short()),
    }
}

/// Reads a part's weight back, on the lot that was chosen; from there it goes the way of every weighing.
pub async fn weigh_part(
    State(app): State<App>,
    anyone: Anyone,
    Path(teardown): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let lot = form.value("lot").to_string();
    if lot.is_empty() {
        let trouble_form = {
            form.refuse(&format!("lot-{}", form.value("part")), "Choose the bag that it goes on.");
            form
        };
        let trouble = Trouble { field: "part", form: trouble_form, why: String::new(), meanings: Vec::new() };
        return page_with(&app, anyone.0, &teardown, Some(trouble)).await;
    }
    form.set("teardown", teardown);
    weigh::read(State(app), anyone, Path(lot), form).await
}

pub async fn take_back(
    State(app): State<App>,
    visitor: Visitor,
    Path((teardown, entry)): Path<(String, String)>,
) -> Result<Response, Failure> {
    app.store.take_back_entry(&visitor.by(), &teardown, &entry).await?;
    Ok(there(&teardown))
}
