//! At the gate: what the yard's ticket says, what was refused, and what that is against what was promised.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use intake::{Format, Hints};
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::{GradeId, LotId, OutletId};
use trade::money::{Currency, Money};
use trade::settlement::{Comparison, Paper, Promise, Tolerance, compare};

use super::gate::{Entered, MOST_LINES, entered, line_count, part_fields, price_unit, promised_price};
use crate::reader;
use crate::store::photos::Subject;
use crate::store::runs::{Run, RunLot, RunState, RunStop, Ticket, promise_of_taken};
use crate::store::settlements::{Delivery, NewSettlement, Settlement};
use crate::store::{StoreError, is_id, new_id};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, unbroken};
use crate::web::photos::Album;
use crate::web::settlements::tolerance;
use crate::web::settlements::words::{Names, Row};

/// Lines that stand empty for what the yard calls otherwise.
const SPARE_LINES: usize = 1;
/// Where a stop stands for its page.
enum Standing {
    /// The truck has not left.
    Waiting,
    Open,
    /// Told, with what was paid where anything was.
    Told(Option<Box<Compared>>),
}

/// A paper beside its promise, as a page shows it.
struct Compared {
    rows: Vec<Row>,
    promised: String,
    paid: String,
    difference: String,
    is_less: bool,
    has_no_weights: bool,
    number: String,
}

#[derive(Template)]
#[template(path = "runs/stop.html")]
struct StopPage {
    page: Page,
    visitor: Visitor,
    run: Run,
    stop: RunStop,
    standing: Standing,
    /// The figures of the ticket that is being entered, where they make sense.
    look: Option<Compared>,
    lines: Vec<LineFields>,
    lots: Vec<LotField>,
    /// What each lot can be: on a line, or refused.
    fates: Vec<(String, String)>,
    grades: Vec<(String, String)>,
    /// Of the total, the fees and what is taken off, with the currency.
    labels: [String; 3],
    album: Album,
    /// Whether this box can read photos.
    can_read: bool,
    /// What a photo seems to say, line by line, or why it says nothing.
    reading: Option<Result<Vec<String>, String>>,
    form: Form,
}

/// The fields of one line, by their names, and the labels that name a unit.
struct LineFields {
    number: usize,
    grade: String,
    mass: String,
    price: String,
    price_label: String,
    amount: String,
    amount_label: String,
    pieces: String,
    wording: String,
}

/// The field that says what became of a lot.
struct LotField {
    name: String,
    label: String,
    /// Of a part of it, where the yard took no more: its weight, and its pieces where the lot is counted.
    part: String,
    part_pieces: Option<String>,
    is_part: bool,
}

/// Leads from a stop's own number to its page.
pub async fn find(
    State(app): State<App>,
    visitor: Visitor,
    Path(stop): Path<String>,
) -> Result<Response, Failure> {
    let run = app.store.run_of_stop(&visitor.shop.id, &stop).await?;
    Ok(Redirect::to(&format!("/runs/{run}/stops/{stop}")).into_response())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// The photo to be read.
    read: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path((run, stop)): Path<(String, String)>,
    Query(Asked { read }): Query<Asked>,
) -> Result<Response, Failure> {
    let (run, stop) = load(&app, &visitor, &run, &stop).await?;
    let form = opened(&stop, &visitor);
    let reading = if is_id(&read) { Some(read_photo(&app, &visitor, &stop, &read).await?) } else { None };
    drawn(&app, visitor, run, stop, form, None, reading).await
}

/// The lines that the recogniser makes of a photo of this stop. They are shown to type from, and fill in nothing: a scale's
/// print is read wrong too often.
async fn read_photo(
    app: &App,
    visitor: &Visitor,
    stop: &RunStop,
    photo: &str,
) -> Result<Result<Vec<String>, String>, Failure> {
    let photo = app.store.photo(&visitor.shop.id, photo).await?;
    if (photo.subject, photo.subject_id.as_str()) != (Subject::Ticket, stop.id.as_str()) {
        return Err(Failure::missing("photo of this ticket"));
    }
    let file = app.store.file(&visitor.shop.id, &photo.sha256).await?;
    let hints = Hints { currency: stop.promise.currency, unit: None, today: visitor.today() };
    Ok(match reader::read(&app.config.reader, Format::Photo, &file.bytes, &hints).await {
        Ok(sheet) => {
            let mut lines: Vec<String> = Vec::new();
            let rows = sheet.rows.into_iter().map(|row| row.source);
            for line in rows.chain(sheet.left_out.into_iter().map(|line| line.source)) {
                if !lines.contains(&line) {
                    lines.push(line);
                }
            }
            match lines.is_empty() {
                true => Err("Nothing could be read in it. Type what it shows.".to_string()),
                false => Ok(lines),
            }
        }
        Err(problem) => Err(problem.to_string()),
    })
}

async fn load(app: &App, visitor: &Visitor, run: &str, stop: &str) -> Result<(Run, RunStop), Failure> {
    let run = app.store.run(&visitor.shop.id, run).await?;
    let stop = run.stop(stop).cloned().ok_or_else(|| Failure::missing("yard on this run"))?;
    Ok((run, stop))
}

/// The form as it opens: a line for each grade, with its lots on it and the price that was promised.
fn opened(stop: &RunStop, visitor: &Visitor) -> Form {
    let mut form = Form::filled([
        ("id", new_id()),
        ("dated", visitor.today().to_string()),
        ("lines", (grades_of(stop).len() + SPARE_LINES).to_string()),
    ]);
    for (index, grade) in grades_of(stop).into_iter().enumerate() {
        form.set(&format!("grade-{}", index + 1), grade.as_str());
        if let Some(price) = promised_price(&stop.promise, &grade) {
            form.set(&format!("price-{}", index + 1), price.amount.normalize().to_string());
        }
        for lot in stop.lots.iter().filter(|lot| lot.grade_id == grade) {
            form.set(&format!("fate-{}", lot.lot_id), (index + 1).to_string());
        }
    }
    form
}

/// The grades of a load, each once.
fn grades_of(stop: &RunStop) -> Vec<GradeId> {
    let mut grades: Vec<GradeId> = Vec::new();
    for lot in &stop.lots {
        if !grades.contains(&lot.grade_id) {
            grades.push(lot.grade_id.clone());
        }
    }
    grades
}

async fn stop_page(
    app: &App,
    visitor: Visitor,
    run: Run,
    stop: RunStop,
    form: Form,
    look: Option<Compared>,
) -> Result<Response, Failure> {
    drawn(app, visitor, run, stop, form, look, None).await
}

async fn drawn(
    app: &App,
    visitor: Visitor,
    run: Run,
    stop: RunStop,
    form: Form,
    look: Option<Compared>,
    reading: Option<Result<Vec<String>, String>>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let outlet = app.store.outlet(shop, stop.outlet_id.as_str()).await?;
    let names = app.store.grade_names(shop).await?;
    let standing = match (&run.head.state, stop.ended_at) {
        (_, Some(_)) => {
            let delivery = Delivery::RunStop(stop.id.clone());
            let held = app.store.settlements_of(shop, &delivery).await?.into_iter().next();
            let compared = match held.filter(|head| !head.is_withdrawal) {
                Some(head) => {
                    let Settlement { head, promise, paper, .. } =
                        app.store.settlement(shop, &head.id).await?;
                    let tolerance = tolerance(app, &visitor, &delivery, &outlet, Some(&head.id)).await?;
                    let mut compared = compared(&promise, &paper, &tolerance, &stop, &visitor, &names);
                    compared.number = head.number;
                    Some(Box::new(compared))
                }
                None => None,
            };
            Standing::Told(compared)
        }
        (RunState::Out { .. }, None) => Standing::Open,
        (_, None) => Standing::Waiting,
    };
    let count = line_count(&form);
    let currency = stop.promise.currency;
    let code = currency.code();
    let line = |number: usize| {
        let name = |what: &str| format!("{what}-{number}");
        let grade = GradeId::new(form.value(&name("grade")));
        let unit = price_unit(&stop.promise, &outlet, &grade).code();
        LineFields {
            number,
            grade: name("grade"),
            mass: name("mass"),
            price: name("price"),
            price_label: format!("Price, {code} per {unit}"),
            amount: name("amount"),
            amount_label: format!("Amount, {code}"),
            pieces: name("pieces"),
            wording: name("wording"),
        }
    };
    let lines = (1..=count).map(line).collect();
    let lot = |lot: &RunLot| {
        let [part, part_pieces] = part_fields(lot);
        LotField {
            name: format!("fate-{}", lot.lot_id),
            label: format!("{}: {}, {}", lot.container_label, lot.grade_name, visitor.mass(lot.net)),
            is_part: form.has(&part) || form.has(&part_pieces),
            part,
            part_pieces: (lot.pieces > 0).then_some(part_pieces),
        }
    };
    let lots = stop.lots.iter().map(lot).collect();
    let labels = ["Paid in all", "Fees", "Taken off for dirt or steel"].map(|what| format!("{what}, {code}"));
    let mut fates: Vec<(String, String)> =
        (1..=count).map(|line| (line.to_string(), format!("on line {line}"))).collect();
    fates.push(("refused".into(), "refused: it comes back".into()));
    let grades = grade_options(&names, &stop);
    let album = Album::of(app, &visitor, Subject::Ticket, &stop.id).await?;
    let page = visitor.page(Screen::Runs, format!("Ticket of {}", stop.outlet_name));
    html(&StopPage {
        page,
        visitor,
        run,
        stop,
        standing,
        look,
        lines,
        lots,
        fates,
        grades,
        labels,
        album,
        can_read: reader::RECOGNISER.is_some(),
        reading,
        form,
    })
}

/// What a line can be taken as, as (id, name): also as a grade that was retired since the load was made.
fn grade_options(names: &[(String, String)], stop: &RunStop) -> Vec<(String, String)> {
    let mut options = vec![(String::new(), "none of ours".to_string())];
    options.extend(names.iter().cloned());
    for lot in &stop.lots {
        if !options.iter().any(|(id, _)| id == lot.grade_id.as_str()) {
            options.push((lot.grade_id.to_string(), lot.grade_name.clone()));
        }
    }
    options
}

fn compared(
    promise: &Promise,
    paper: &Paper,
    tolerance: &Tolerance,
    stop: &RunStop,
    visitor: &Visitor,
    names: &[(String, String)],
) -> Compared {
    let comparison: Comparison = compare(promise, paper, tolerance);
    let grade = |grade: &GradeId| {
        let known = names.iter().find(|(id, _)| id == grade.as_str());
        known.map_or_else(|| grade.to_string(), |(_, name)| name.clone())
    };
    let lot = |id: &LotId| {
        let known = stop.lots.iter().find(|lot| lot.lot_id == *id);
        known.map_or_else(|| id.to_string(), |lot| lot.container_label.clone())
    };
    let money = |amount| unbroken(&Money::new(amount, paper.currency).to_string());
    let names = Names { grade: &grade, lot: &lot, visitor };
    // What arises on the way to the account is for the settlement's own page.
    let at_the_gate = comparison.differences.iter().filter(|difference| !difference.amount.is_zero());
    let rows = at_the_gate.map(|difference| names.row(difference, paper, visitor.home())).collect();
    let difference = comparison.paid - comparison.promised;
    Compared {
        rows,
        promised: money(comparison.promised),
        paid: money(comparison.paid),
        difference: money(difference),
        is_less: difference < Decimal::ZERO,
        has_no_weights: paper.lines.iter().any(|line| line.mass.is_none() && line.pieces.is_none()),
        number: String::new(),
    }
}

/// Reads the ticket back, or takes it down.
pub async fn take(
    State(app): State<App>,
    visitor: Visitor,
    Path((run_id, stop_id)): Path<(String, String)>,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let there = Redirect::to(&format!("/runs/{run_id}/stops/{stop_id}")).into_response();
    let (run, stop) = load(&app, &visitor, &run_id, &stop_id).await?;
    if app.store.settlement(&visitor.shop.id, &id).await.is_ok() {
        // Sent twice: the first one was taken down.
        return Ok(there);
    }
    if stop.ended_at.is_some() {
        return Err(told_already());
    }
    if form.value("step") == "more" {
        let count = (line_count(&form) + 1).min(MOST_LINES);
        form.set("lines", count.to_string());
        return stop_page(&app, visitor, run, stop, form, None).await;
    }
    let outlet = app.store.outlet(&visitor.shop.id, stop.outlet_id.as_str()).await?;
    let names = app.store.grade_names(&visitor.shop.id).await?;
    let grades = grade_options(&names, &stop);
    let Some(entered) = entered(&mut form, &stop, &outlet, &grades, &visitor) else {
        return stop_page(&app, visitor, run, stop, form, None).await;
    };
    let delivery = Delivery::RunStop(stop.id.clone());
    let promise = promise_of_taken(&stop.promise, &entered.refused, &entered.parts);
    if form.value("step") != "save" {
        let tolerance = tolerance(&app, &visitor, &delivery, &outlet, None).await?;
        let compared = |paper| compared(&promise, paper, &tolerance, &stop, &visitor, &names);
        let look = entered.paper.as_ref().map(compared);
        // Nothing to compare where nothing was taken: it is read back all the same.
        let look = look.unwrap_or_else(|| nothing_taken(stop.promise.currency));
        return stop_page(&app, visitor, run, stop, form, Some(look)).await;
    }
    let outlet_id: &OutletId = &stop.outlet_id;
    let settlement = entered.paper.as_ref().map(|paper| NewSettlement {
        id: &id,
        outlet_id,
        delivery: &delivery,
        replaces: None,
        promise: &promise,
        paper,
        number: &entered.number,
        rate: None,
        sha256: None,
        note: &entered.note,
    });
    let Entered { refused, parts, .. } = &entered;
    let ticket = Ticket { run_id: &run_id, stop_id: &stop_id, refused, parts, settlement };
    match app.store.take_ticket(&visitor.by(), &ticket).await {
        Ok(()) => Ok(there),
        Err(StoreError::Stale) if app.store.settlement(&visitor.shop.id, &id).await.is_ok() => Ok(there),
        Err(StoreError::Stale) => Err(told_already()),
        Err(other) => Err(other.into()),
    }
}

fn nothing_taken(currency: Currency) -> Compared {
    let nothing = unbroken(&Money::zero(currency).to_string());
    Compared {
        rows: Vec::new(),
        promised: nothing.clone(),
        paid: nothing.clone(),
        difference: nothing,
        is_less: false,
        has_no_weights: false,
        number: String::new(),
    }
}

fn told_already() -> Failure {
    Failure::refused(
        StatusCode::CONFLICT,
        "This yard has been told of already",
        "Somebody entered its ticket meanwhile, or said that the truck did not go there. Nothing was changed by this. Look \
         at theirs on the run.",
    )
}

/// The truck did not go there, or the yard took nothing: all of it is on the shelf again.
pub async fn skip(
    State(app): State<App>,
    visitor: Visitor,
    Path((run_id, stop_id)): Path<(String, String)>,
) -> Result<Response, Failure> {
    let (_, stop) = load(&app, &visitor, &run_id, &stop_id).await?;
    let there = Redirect::to(&format!("/runs/{run_id}")).into_response();
    let all: Vec<LotId> = stop.lots.iter().filter(|lot| !lot.is_back).map(|lot| lot.lot_id.clone()).collect();
    let ticket = Ticket { run_id: &run_id, stop_id: &stop_id, refused: &all, parts: &[], settlement: None };
    match app.store.take_ticket(&visitor.by(), &ticket).await {
        Ok(()) => Ok(there),
        // Sent twice: the first one has done it.
        Err(StoreError::Stale) if all.is_empty() && stop.ended_at.is_some() => Ok(there),
        Err(StoreError::Stale) => Err(told_already()),
        Err(other) => Err(other.into()),
    }
}
