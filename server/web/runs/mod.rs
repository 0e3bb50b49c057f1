//! Yard runs: what goes on the truck, and what did each yard take and pay?

mod gate;
mod plan;
mod ticket;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use rust_decimal::{Decimal, dec};
use trade::ids::GradeId;
use trade::mass::Mass;
use trade::money::Money;
use trade::settlement::Promise;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html, unbroken};
use super::shop::Distance;
use super::stepped::stepped;
use crate::store::StoreError;
use crate::store::runs::{Homecoming, Run, RunHead, RunLot, RunState, RunStop, Trip};
use crate::store::settlements::{Delivery, SettlementHead};

pub use plan::{create, new};
pub use ticket::{find, show as show_stop, skip, take};

/// The farthest that an odometer counts, in its own unit.
const FARTHEST: Decimal = dec!(9_999_999);
/// The longest that a run takes, in hours.
const LONGEST_HOURS: Decimal = dec!(72);

#[derive(Template)]
#[template(path = "runs/index.html")]
struct RunsPage {
    page: Page,
    visitor: Visitor,
    runs: Vec<RunHead>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let runs = app.store.runs(&visitor.shop.id).await?;
    let page = visitor.page(Screen::Runs, "Yard runs");
    html(&RunsPage { page, visitor, runs })
}

/// A stop with what its page shows of it.
struct Stop {
    stop: RunStop,
    /// What goes there together.
    total: Mass,
    lines: Vec<LoadLine>,
    promised: String,
    /// What its ticket paid, by the settlement that holds.
    ticket: Option<SettlementHead>,
}

/// One grade of what goes to a yard, to compare with its ticket.
struct LoadLine {
    grade_name: String,
    price: String,
    mass: Mass,
    pieces: u32,
}

#[derive(Template)]
#[template(path = "runs/show.html")]
struct RunPage {
    page: Page,
    visitor: Visitor,
    run: RunHead,
    stops: Vec<Stop>,
    total: Mass,
    /// Whether every yard has been told of.
    is_told: bool,
    has_batteries: bool,
    distance: Distance,
    form: Form,
}

impl RunPage {
    /// A distance as the shop drives it.
    fn far(&self, km: &Decimal) -> String {
        let number = (km / self.distance.km()).round_dp(1).normalize();
        unbroken(&format!("{number} {}", self.distance.short()))
    }
}

/// One run; printed, it is the load list by yard.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    run_page(&app, visitor, &id, Form::default()).await
}

async fn run_page(app: &App, visitor: Visitor, id: &str, mut form: Form) -> Result<Response, Failure> {
    let Run { head, stops } = app.store.run(&visitor.shop.id, id).await?;
    let grades = app.store.grades(&visitor.shop.id).await?;
    let is_battery = |stop: &RunStop| {
        let battery = |grade: &GradeId| grades.iter().any(|g| g.id == *grade && g.details.is_of_batteries());
        stop.lots.iter().any(|lot| battery(&lot.grade_id))
    };
    let has_batteries = stops.iter().any(is_battery);
    let mut shown = Vec::new();
    for stop in stops {
        let delivery = Delivery::RunStop(stop.id.clone());
        let settlements = app.store.settlements_of(&visitor.shop.id, &delivery).await?;
        let ticket = settlements.into_iter().next().filter(|head| !head.is_withdrawal);
        // Once there is a ticket, what it is about: a lot of which the yard took a part came back, and the part is a lot
        // beside it.
        let counted = || stop.lots.iter().filter(|lot| ticket.is_none() || !lot.is_back);
        let lines = load_lines(&stop.promise, counted());
        let promised = match &ticket {
            Some(ticket) => Money::new(ticket.promised, ticket.currency),
            None => Money::new(stop.promise.payout(), stop.promise.currency),
        };
        let promised = unbroken(&promised.to_string());
        let total = counted().map(|lot| lot.net).sum();
        shown.push(Stop { total, lines, promised, ticket, stop });
    }
    if !form.has("version") {
        form.set("version", head.version.to_string());
    }
    let page = visitor.page(Screen::Runs, format!("Yard run: {}", head.yards.join(", ")));
    html(&RunPage {
        page,
        total: shown.iter().map(|stop| stop.total).sum(),
        is_told: shown.iter().all(|stop| stop.stop.ended_at.is_some()),
        distance: Distance::habit(visitor.style()),
        has_batteries,
        run: head,
        stops: shown,
        form,
        visitor,
    })
}

/// The grades of lots, in their order, each at the price that was promised for it.
fn load_lines<'a>(promise: &Promise, lots: impl Iterator<Item = &'a RunLot>) -> Vec<LoadLine> {
    let mut lines: Vec<LoadLine> = Vec::new();
    for lot in lots {
        match lines.iter_mut().find(|line| line.grade_name == lot.grade_name) {
            Some(line) => {
                line.mass += lot.net;
                line.pieces = line.pieces.saturating_add(lot.pieces);
            }
            None => {
                let sent = promise.sent.iter().find(|sent| sent.grade == lot.grade_id);
                lines.push(LoadLine {
                    grade_name: lot.grade_name.clone(),
                    price: sent.map_or_else(String::new, |sent| unbroken(&sent.price.to_string())),
                    mass: lot.net,
                    pieces: lot.pieces,
                });
            }
        }
    }
    lines
}

/// An odometer's reading, in km; empty where nobody read it.
fn odometer(form: &mut Form, name: &str, visitor: &Visitor) -> Option<Option<Decimal>> {
    if form.value(name).trim().is_empty() {
        return Some(None);
    }
    let reading = form.decimal(name, Decimal::ZERO, FARTHEST)?;
    Some(Some((reading * Distance::habit(visitor.style()).km()).round_dp(3)))
}

/// The truck has left.
pub async fn leave(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let Some(odometer) = odometer(&mut form, "odometer", &visitor) else {
        return run_page(&app, visitor, &id, form).await;
    };
    let left = app.store.leave_run(&visitor.by(), &id, form.version(), odometer).await;
    moved_on(&app, &visitor, &id, left, |state| matches!(state, RunState::Out { .. })).await
}

/// Takes it apart again before it has left.
pub async fn cancel(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let cancelled = app.store.cancel_run(&visitor.by(), &id, form.version()).await;
    moved_on(&app, &visitor, &id, cancelled, |state| matches!(state, RunState::Cancelled { .. })).await
}

/// The truck is back.
pub async fn end(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let run = app.store.run(&visitor.shop.id, &id).await?;
    let odometer = odometer(&mut form, "odometer", &visitor);
    let hours = form.decimal("hours", Decimal::ZERO, LONGEST_HOURS);
    let fuel = form.amount("fuel");
    if let (Some(Some(back)), Some(out)) = (odometer, run.head.odometer_out)
        && back < out
    {
        form.refuse("odometer", "That is less than it was when the truck left. Read it once more.");
    }
    let (Some(odometer), Some(hours), Some(fuel), true) = (odometer, hours, fuel, form.is_good()) else {
        return run_page(&app, visitor, &id, form).await;
    };
    let minutes = (hours * dec!(60)).round();
    let distance_km = odometer.zip(run.head.odometer_out).map(|(back, out)| back - out);
    let costs = &visitor.shop.costs;
    let cost = distance_km.unwrap_or_default() * costs.truck_per_km + costs.labour(minutes);
    let trip = Trip { distance_km, minutes: i64::try_from(minutes).unwrap_or_default(), cost };
    let home = Homecoming { day: visitor.today(), odometer, trip, fuel: Money::new(fuel, visitor.home()) };
    let ended = app.store.end_run(&visitor.by(), &id, form.version(), &home).await;
    moved_on(&app, &visitor, &id, ended, |state| matches!(state, RunState::Back { .. })).await
}

/// Where a step of a run leads.
async fn moved_on(
    app: &App,
    visitor: &Visitor,
    id: &str,
    step: Result<(), StoreError>,
    wanted: fn(&RunState) -> bool,
) -> Result<Response, Failure> {
    let stands_there = async { Ok(wanted(&app.store.run(&visitor.shop.id, id).await?.head.state)) };
    stepped(step, stands_there, "run", &format!("/runs/{id}")).await
}
