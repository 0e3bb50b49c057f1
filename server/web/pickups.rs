//! Pickups: what was fetched where, from whom and for how much, and the log of them to print.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::ToSpan;
use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::LotId;
use trade::mass::Mass;
use trade::money::Money;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, day, html, unbroken};
use super::photos::Album;
use crate::store::photos::Subject;
use crate::store::pickups::{Pickup, PickupDetails, PickupLot};
use crate::store::{StoreError, new_id};

/// How long ago a pickup may have been, in years: records are kept no longer than that anywhere that was looked at.
const LONGEST_AGO: i64 = 20;
/// Pickups that a lot's page offers to choose from.
const MOST_OFFERED: u32 = 60;

/// Which days are looked at.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Span {
    from: String,
    to: String,
}

impl Span {
    /// The days asked for; what cannot be read is as if it had not been asked for. Without any, the year so far.
    fn days(&self, today: Date) -> (Date, Date) {
        let first = self.from.parse().unwrap_or_else(|_| today.first_of_year());
        let last: Date = self.to.parse().unwrap_or(today);
        (first, last.max(first))
    }
}

impl Pickup {
    /// What it cost, in words.
    fn cost(&self) -> String {
        unbroken(&self.details.cost.to_string())
    }
}

/// What was paid for some pickups, an amount for each currency.
fn totals<'a>(pickups: impl Iterator<Item = &'a Pickup>) -> Vec<String> {
    let mut totals: BTreeMap<&'static str, Money> = BTreeMap::new();
    for cost in pickups.map(|pickup| pickup.details.cost).filter(|cost| !cost.amount.is_zero()) {
        totals.entry(cost.currency.code()).or_insert(Money::zero(cost.currency)).amount += cost.amount;
    }
    totals.into_values().map(|total| unbroken(&total.to_string())).collect()
}

#[derive(Template)]
#[template(path = "pickups/index.html")]
struct PickupsPage {
    page: Page,
    visitor: Visitor,
    pickups: Vec<Pickup>,
    first: Date,
    last: Date,
    paid: Vec<String>,
    weighed_in: Mass,
    count: usize,
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(span): Query<Span>,
) -> Result<Response, Failure> {
    let (first, last) = span.days(visitor.today());
    let pickups = app.store.pickups(&visitor.shop.id, first, last).await?;
    let counting = || pickups.iter().filter(|pickup| pickup.withdrawn_at.is_none());
    let page = visitor.page(Screen::Pickups, "Pickups");
    html(&PickupsPage {
        page,
        paid: totals(counting()),
        weighed_in: counting().map(|pickup| pickup.weighed_in).sum(),
        count: counting().count(),
        first,
        last,
        pickups,
        visitor,
    })
}

#[derive(Template)]
#[template(path = "pickups/log.html")]
struct LogPage {
    page: Page,
    visitor: Visitor,
    pickups: Vec<Pickup>,
    first: Date,
    last: Date,
    paid: Vec<String>,
    weighed_in: Mass,
}

/// The log to print, oldest first, without what was struck out.
pub async fn log(
    State(app): State<App>,
    visitor: Visitor,
    Query(span): Query<Span>,
) -> Result<Response, Failure> {
    let (first, last) = span.days(visitor.today());
    let mut pickups = app.store.pickups(&visitor.shop.id, first, last).await?;
    pickups.retain(|pickup| pickup.withdrawn_at.is_none());
    pickups.reverse();
    let page = visitor.page(Screen::Pickups, "Pickup log");
    let (paid, weighed_in) = (totals(pickups.iter()), pickups.iter().map(|pickup| pickup.weighed_in).sum());
    html(&LogPage { page, visitor, pickups, first, last, paid, weighed_in })
}

#[derive(Template)]
#[template(path = "pickups/new.html")]
struct NewPickupPage {
    page: Page,
    form: Form,
}

pub async fn new(visitor: Visitor) -> Result<Response, Failure> {
    let form = Form::filled([
        ("id", new_id()),
        ("day", visitor.today().to_string()),
        ("currency", visitor.home().code().to_string()),
    ]);
    new_page(&visitor, form)
}

fn new_page(visitor: &Visitor, form: Form) -> Result<Response, Failure> {
    html(&NewPickupPage { page: visitor.page(Screen::Pickups, "Write a pickup down"), form })
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    match details(&mut form, &visitor) {
        Some(details) => {
            app.store.add_pickup(&visitor.by(), &id, &details).await?;
            Ok(Redirect::to(&format!("/pickups/{id}")).into_response())
        }
        None => new_page(&visitor, form),
    }
}

fn details(form: &mut Form, visitor: &Visitor) -> Option<PickupDetails> {
    let today = visitor.today();
    let day = form.date("day", today.saturating_sub(LONGEST_AGO.years()), today);
    let place = form.text("place", 120);
    let what = form.text("what", 300);
    let from_whom = form.optional_text("from_whom", 200);
    let cost = form.amount("cost");
    let currency = form.currency("currency");
    let note = form.optional_lines("note", 2000);
    Some(PickupDetails {
        day: day?,
        place: place?,
        what: what?,
        from_whom: from_whom?,
        cost: Money::new(cost?, currency?).rounded(),
        note: note?,
    })
}

fn details_form(pickup: &Pickup) -> Form {
    let details = &pickup.details;
    let cost = if details.is_free() { String::new() } else { details.cost.amount.normalize().to_string() };
    Form::filled([
        ("day", details.day.to_string()),
        ("place", details.place.clone()),
        ("what", details.what.clone()),
        ("from_whom", details.from_whom.clone()),
        ("cost", cost),
        ("currency", details.cost.currency.code().to_string()),
        ("note", details.note.clone()),
        ("version", pickup.version.to_string()),
    ])
}

/// A lot that came from the pickup, with what the sell plan has it bring.
struct Fetched {
    lot: PickupLot,
    worth: Option<Decimal>,
}

#[derive(Template)]
#[template(path = "pickups/show.html")]
struct PickupPage {
    page: Page,
    visitor: Visitor,
    pickup: Pickup,
    lots: Vec<Fetched>,
    /// What of it is on the shelf is worth, where the sell plan is at hand.
    worth: Option<Decimal>,
    album: Album,
    form: Form,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let pickup = app.store.pickup(&visitor.shop.id, &id).await?;
    let form = details_form(&pickup);
    pickup_page(&app, visitor, pickup, form).await
}

async fn pickup_page(app: &App, visitor: Visitor, pickup: Pickup, form: Form) -> Result<Response, Failure> {
    let shelf = app.shelf(&visitor).await?;
    let answer = app.answer_soon(&shelf, &visitor.shop.id).await;
    let worth = |lot: &PickupLot| answer.as_ref()?.worth.get(&LotId::new(&lot.id)).copied();
    let lots = app.store.pickup_lots(&visitor.shop.id, &pickup.id).await?;
    let lots: Vec<Fetched> = lots.into_iter().map(|lot| Fetched { worth: worth(&lot), lot }).collect();
    let worth = answer.is_some().then(|| lots.iter().filter_map(|fetched| fetched.worth).sum());
    let album = Album::of(app, &visitor, Subject::Pickup, &pickup.id).await?;
    let page = visitor.page(Screen::Pickups, format!("Pickup: {}", pickup.details.place));
    html(&PickupPage { page, visitor, pickup, lots, worth, album, form })
}

/// Saves what is written down of it.
pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let there = Redirect::to(&format!("/pickups/{id}")).into_response();
    if let Some(details) = details(&mut form, &visitor) {
        match app.store.save_pickup(&visitor.by(), &id, form.version(), &details).await {
            Ok(()) => return Ok(there),
            Err(StoreError::Stale) => {
                let now = app.store.pickup(&visitor.shop.id, &id).await?;
                if now.withdrawn_at.is_some() {
                    return Err(struck_out());
                }
                if now.details == details {
                    // Sent twice: the first one has saved it.
                    return Ok(there);
                }
                form.overtaken_by(&details_form(&now));
            }
            Err(other) => return Err(other.into()),
        }
    }
    let pickup = app.store.pickup(&visitor.shop.id, &id).await?;
    pickup_page(&app, visitor, pickup, form).await
}

/// Strikes it out.
pub async fn withdraw(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    match app.store.withdraw_pickup(&visitor.by(), &id, form.version()).await {
        Ok(()) => {}
        // Sent twice: the first one has done it.
        Err(StoreError::Stale) if app.store.pickup(&visitor.shop.id, &id).await?.withdrawn_at.is_some() => {}
        Err(other) => return Err(other.into()),
    }
    Ok(Redirect::to(&format!("/pickups/{id}")).into_response())
}

fn struck_out() -> Failure {
    Failure::refused(
        StatusCode::CONFLICT,
        "The pickup has been struck out",
        "Somebody struck it out meanwhile, so nothing was changed. If it did take place, write it down again.",
    )
}

/// The pickups that a lot can name, as (id, words), the one it names now among them.
pub async fn options(
    app: &App,
    visitor: &Visitor,
    lot: Option<&str>,
) -> Result<Vec<(String, String)>, StoreError> {
    let shop = &visitor.shop.id;
    let named = match lot {
        Some(lot) => app.store.pickup_of_lot(shop, lot).await?,
        None => None,
    };
    let mut pickups = app.store.pickup_names(shop, MOST_OFFERED).await?;
    if let Some(named) = named
        && !pickups.contains(&named)
    {
        pickups.push(named);
    }
    let words = |(id, date, place): (String, Date, String)| (id, format!("{}, {place}", day(date)));
    Ok([(String::new(), "None of the pickups".to_string())]
        .into_iter()
        .chain(pickups.into_iter().map(words))
        .collect())
}
