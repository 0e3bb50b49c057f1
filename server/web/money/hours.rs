//! Hours: who worked how long, and at what?

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use jiff::ToSpan;
use trade::duration::{minutes, spelled};

use super::new_entry::FIRST_DAY;
use crate::store::hours::{Hours, NewHours, Work};
use crate::store::new_id;
use crate::store::partners::PartnerRecord;
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, unbroken};

/// How far back hours are listed, in days, and how many at most.
const LISTED_DAYS: i32 = 62;
const MOST: u32 = 30;
const LONGEST_NOTE: usize = 200;

struct Line {
    hours: Hours,
    duration: String,
    undo_id: String,
}

#[derive(Template)]
#[template(path = "money/hours.html")]
struct HoursPage {
    page: Page,
    visitor: Visitor,
    form: Form,
    people: Vec<(String, String)>,
    works: Vec<(String, String)>,
    lines: Vec<Line>,
}

async fn hours_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let today = visitor.today();
    let first = today.saturating_sub(LISTED_DAYS.days());
    let listed = app.store.hours(&visitor.shop.id, first, today, MOST).await?;
    let line = |hours: Hours| Line { duration: unbroken(&spelled(hours.minutes)), undo_id: new_id(), hours };
    let people = app.store.people(&visitor.shop.id).await?;
    let here = |person: &PartnerRecord| (person.partner.id.clone(), person.partner.name.clone());
    html(&HoursPage {
        page: visitor.page(Screen::Money, "Hours"),
        people: people.iter().filter(|person| !person.has_left).map(here).collect(),
        works: Work::ALL.map(|work| (work.code().to_string(), work.label().to_string())).to_vec(),
        lines: listed.into_iter().map(line).collect(),
        visitor,
        form,
    })
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let form = Form::filled([
        ("id", new_id()),
        ("who", visitor.partner.id.clone()),
        ("day", visitor.today().to_string()),
        ("work", Work::Teardown.code().to_string()),
    ]);
    hours_page(&app, visitor, form).await
}

fn new_hours(form: &mut Form, id: String, visitor: &Visitor) -> Option<NewHours> {
    let who = form.text("who", 40);
    let day = form.date("day", FIRST_DAY, visitor.today());
    let minutes = form.read("hours", |typed| minutes(typed).map_err(|problem| problem.to_string()));
    let work = form.choice("work", Work::from_code);
    let note = form.optional_text("note", LONGEST_NOTE);
    Some(NewHours {
        id,
        day: day?,
        partner_id: who?,
        minutes: minutes?,
        work: work?,
        document: None,
        note: note?,
    })
}

/// Writes hours down. Sent twice they are there once.
pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let Some(hours) = new_hours(&mut form, id, &visitor) else {
        return hours_page(&app, visitor, form).await;
    };
    app.store.write_hours(&visitor.by(), &hours).await?;
    Ok(Redirect::to("/money/hours").into_response())
}

/// Undoes hours by others.
pub async fn undo(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.undo_hours(&visitor.by(), &form.once("undo_id")?, &id).await?;
    Ok(Redirect::to("/money/hours").into_response())
}
