//! Lots: what do we have? The list, one lot with its ledger, and a new one.

mod change;

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::{GradeId, LotId};
use trade::mass::Mass;
use trade::net::deliver;
use trade::plan::Place;

pub use change::{merge, merge_form, regrade, regrade_form, split, split_form};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::kept_back::{KeepFirst, keep_first_of};
use super::ladder::LadderDrawing;
use super::page::{Folds, Page, Screen, Visitor, days_from, html};
use super::photos::Album;
use super::pickups;
use super::plan::{place_name, second_choice};
use super::unpriced::{Unpriced, wants_a_count};
use super::weigh;
use super::wire;
use crate::shelf::{Answer, Shelf};
use crate::store::containers::{Container, ContainerDetails, ContainerKind};
use crate::store::lots::{Lot, LotState, NewLot, Origin, Target};
use crate::store::photos::Subject;
use crate::store::reservations::Reservation;
use crate::store::weighings::{Weighing, WeighingKind};
use crate::store::{StoreError, new_id};

struct Family {
    name: String,
    net: Mass,
    worth: Decimal,
    lots: Vec<Listed>,
}

impl Family {
    /// Whether nothing in it has a price.
    fn is_unpriced(&self) -> bool {
        self.lots.iter().all(|listed| listed.unpriced.is_some())
    }
}

/// A lot in the list, with where the sell plan puts it.
struct Listed {
    lot: Lot,
    worth: Option<Decimal>,
    unpriced: Option<Unpriced>,
    place: String,
    age: String,
}

#[derive(Template)]
#[template(path = "lots/index.html")]
struct LotsPage {
    page: Page,
    visitor: Visitor,
    families: Vec<Family>,
    all_open: bool,
    total: Mass,
    /// `None` while the sell plan is being worked out.
    worth: Option<Decimal>,
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(folds): Query<Folds>,
) -> Result<Response, Failure> {
    let loaded = app.loaded(&visitor).await?;
    let (lots, shelf) = (loaded.lots.clone(), Arc::clone(&loaded.shelf));
    let all_open = folds.all_open(lots.len());
    let answer = app.answer_soon(&shelf, &visitor.shop.id).await;
    let today = visitor.today();
    let place = |lot: &Lot| match answer.as_ref().map(|answer| answer.delivery_of(&lot.id)) {
        Some(Some(delivery)) => shelf.outlet_name(&delivery.outlet),
        Some(None) if lot.state == LotState::Open => "keep".to_string(),
        _ => String::new(),
    };
    let listed = lots.into_iter().map(|lot| Listed {
        worth: answer.as_ref().and_then(|answer| answer.worth.get(&lot.id).copied()),
        unpriced: Unpriced::of(&lot, &shelf),
        place: place(&lot),
        age: days_from(today, visitor.day_of(lot.opened_at)),
        lot,
    });
    let families = by_family(listed);
    let page = visitor.page(Screen::Lots, "Lots");
    html(&LotsPage {
        page,
        visitor,
        all_open,
        total: families.iter().map(|family| family.net).sum(),
        worth: answer.as_ref().map(|answer| answer.total()),
        families,
    })
}

/// In the order the lots come in, which is the catalogue's.
fn by_family(lots: impl Iterator<Item = Listed>) -> Vec<Family> {
    let mut families: Vec<Family> = Vec::new();
    for listed in lots {
        if families.last().is_none_or(|family| family.name != listed.lot.family) {
            let name = listed.lot.family.clone();
            families.push(Family { name, net: Mass::ZERO, worth: Decimal::ZERO, lots: Vec::new() });
        }
        if let Some(family) = families.last_mut() {
            family.net += listed.lot.net;
            family.worth += listed.worth.unwrap_or_default();
            family.lots.push(listed);
        }
    }
    families
}

#[derive(Template)]
#[template(path = "lots/show.html")]
struct LotPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    ledger: Vec<Weighing>,
    form: Form,
    age: String,
    planned: Option<Planned>,
    /// Whether the sell plan is being worked out.
    is_thinking: bool,
    ways: Vec<LotWay>,
    /// Pickups that it may have come from.
    pickups: Vec<(String, String)>,
    album: Album,
    /// What to keep back before it goes.
    first: Vec<KeepFirst>,
    /// For wire: where it is asked whether to strip it.
    strip_address: Option<String>,
}

/// What the sell plan does with the lot.
struct Planned {
    place: String,
    worth: Decimal,
    unpriced: Option<Unpriced>,
    second: Option<String>,
}

/// The lot alone at one outlet.
struct LotWay {
    name: String,
    net: Option<Decimal>,
    per_unit: Option<Decimal>,
    closed: String,
    /// It pays for each piece, and they are not counted.
    uncounted: bool,
    drawing: Option<LadderDrawing>,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    let form = details_form(&app, &visitor, &lot).await?;
    lot_page(&app, visitor, lot, form).await
}

async fn details_form(app: &App, visitor: &Visitor, lot: &Lot) -> Result<Form, StoreError> {
    let pickup = app.store.pickup_of_lot(&visitor.shop.id, lot.id.as_str()).await?;
    Ok(Form::filled([
        ("source", lot.source.clone()),
        ("pickup", pickup.map(|(id, ..)| id).unwrap_or_default()),
        ("note", lot.note.clone()),
        ("version", lot.version.to_string()),
    ]))
}

async fn lot_page(app: &App, visitor: Visitor, lot: Lot, form: Form) -> Result<Response, Failure> {
    let ledger = app.store.ledger(&visitor.shop.id, lot.id.as_str()).await?;
    let shelf = app.shelf(&visitor).await?;
    let answer = app.answer_soon(&shelf, &visitor.shop.id).await;
    let page = visitor.page(Screen::Lots, format!("{}: {}", lot.container_label, lot.grade_name));
    let age = days_from(visitor.today(), visitor.day_of(lot.opened_at));
    let is_thinking = answer.is_none();
    let first = match &answer {
        Some(answer) if lot.state == LotState::Open => {
            keep_first_of(app, &lot, &shelf, answer, &visitor).await?
        }
        _ => Vec::new(),
    };
    let planned = answer.and_then(|answer| planned(&shelf, &answer, &lot.id));
    let ways = ways(&shelf, &lot.id);
    let pickups = pickups::options(app, &visitor, Some(lot.id.as_str())).await?;
    let album = Album::of(app, &visitor, Subject::Lot, lot.id.as_str()).await?;
    let strip_address = (lot.family == "wire" && lot.net.is_positive())
        .then(|| wire::address(&lot.grade_id, &visitor.spelled(lot.net)));
    html(&LotPage {
        page,
        visitor,
        lot,
        ledger,
        form,
        age,
        planned,
        is_thinking,
        ways,
        pickups,
        album,
        first,
        strip_address,
    })
}

fn planned(shelf: &Shelf, answer: &Answer, lot: &LotId) -> Option<Planned> {
    let place =
        answer.delivery_of(lot).map_or(Place::Keep, |delivery| Place::Outlet(delivery.outlet.clone()));
    Some(Planned {
        place: place_name(shelf, &place),
        worth: *answer.worth.get(lot)?,
        unpriced: shelf.lot(lot).and_then(|lot| Unpriced::of(lot, shelf)),
        second: answer.margin(lot).map(|margin| second_choice(shelf, margin)),
    })
}

/// The lot alone at every outlet that prices its grade, best first; those that do not take it now last.
fn ways(shelf: &Shelf, lot: &LotId) -> Vec<LotWay> {
    let Some((lot, load)) = shelf.lot(lot).zip(shelf.load_of(lot)) else { return Vec::new() };
    let mut ways: Vec<LotWay> = shelf
        .outlets
        .iter()
        .filter_map(|outlet| Some((outlet, outlet.quotes.get(&load.grade)?)))
        .map(|(outlet, quotes)| {
            let delivered = deliver(outlet, std::slice::from_ref(&load), &shelf.facts);
            let ladder = delivered.as_ref().ok();
            LotWay {
                name: outlet.name.clone(),
                net: ladder.map(|ladder| ladder.net),
                uncounted: wants_a_count(lot, quotes),
                per_unit: ladder.and_then(|ladder| ladder.net_per(shelf.facts.style.unit())),
                closed: delivered
                    .as_ref()
                    .err()
                    .map_or_else(String::new, |closed| shelf.closed_in_words(closed)),
                drawing: ladder.map(|ladder| LadderDrawing::new(ladder, shelf)),
            }
        })
        .collect();
    ways.sort_by_key(|way| std::cmp::Reverse(way.net));
    ways
}

/// Saves source and note.
pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot_id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let source = form.optional_text("source", 200);
    let note = form.optional_lines("note", 2000);
    let pickup = pickup(&mut form);
    if let (Some(source), Some(note), Some(pickup)) = (source, note, pickup) {
        let origin = Origin { source: &source, pickup_id: pickup.as_deref() };
        match app.store.save_lot(&visitor.by(), &lot_id, form.version(), origin, &note).await {
            Ok(()) => return Ok(Redirect::to(&format!("/lots/{lot_id}")).into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.lot(&visitor.shop.id, &lot_id).await?;
                let stored = details_form(&app, &visitor, &now).await?;
                if ["source", "note", "pickup"]
                    .iter()
                    .all(|field| stored.value(field) == form.value(field).trim())
                {
                    // Sent twice: the first one has saved it.
                    return Ok(Redirect::to(&format!("/lots/{lot_id}")).into_response());
                }
                form.overtaken_by(&stored);
            }
            Err(StoreError::Pickup(refusal)) => form.refuse("pickup", refusal.to_string()),
            Err(other) => return Err(other.into()),
        }
    }
    let lot = app.store.lot(&visitor.shop.id, &lot_id).await?;
    lot_page(&app, visitor, lot, form).await
}

/// The pickup that the form names, if any.
fn pickup(form: &mut Form) -> Option<Option<String>> {
    let id = form.value("pickup").trim().to_string();
    if id.is_empty() {
        return Some(None);
    }
    if !crate::store::is_id(&id) {
        form.refuse("pickup", "Choose one of the pickups, or none.");
        return None;
    }
    Some(Some(id))
}

/// Containers that a new lot can go into: one that is there and empty, or a new one.
struct Offered {
    options: Vec<(String, String)>,
    /// There are more than a list to choose from has room for.
    is_cut: bool,
}

/// Empty containers that a list offers. One that is not among them is opened from its own page.
const MOST_OFFERED: u32 = 200;

impl Offered {
    /// With the one that the form names, wherever it stands.
    async fn load(app: &App, visitor: &Visitor, form: &Form) -> Result<Offered, Failure> {
        let mut there = app.store.empty_containers(&visitor.shop.id, MOST_OFFERED + 1).await?;
        let is_cut = there.len() > MOST_OFFERED as usize;
        there.truncate(MOST_OFFERED as usize);
        let named = form.value("container");
        if is_cut && crate::store::is_id(named) && there.iter().all(|container| container.id != named) {
            match app.store.container(&visitor.shop.id, named).await {
                Ok(one) if one.open_lot.is_none() && one.retired_at.is_none() => there.insert(0, one),
                Ok(_) | Err(StoreError::Missing) => {}
                Err(other) => return Err(other.into()),
            }
        }
        let style = visitor.style();
        let words = |one: Container| (one.id, format!("{} (tare {})", one.label, style.show(one.tare)));
        let new = ("new".to_string(), "A new one, below".to_string());
        Ok(Offered { options: std::iter::once(new).chain(there.into_iter().map(words)).collect(), is_cut })
    }

    fn hint(&self) -> &'static str {
        if self.is_cut {
            "The first ones. Open any other from Containers, and take there out of use what is gone."
        } else {
            ""
        }
    }
}

/// Container kinds as (code, words).
pub fn kind_options() -> Vec<(String, String)> {
    ContainerKind::ALL.map(|kind| (kind.code().to_string(), kind.code().to_string())).to_vec()
}

/// Reads the container part of a form.
fn target(form: &mut Form) -> Result<Option<Target>, Failure> {
    if form.value("container") != "new" {
        let id = form.value("container").to_string();
        return Ok(if crate::store::is_id(&id) {
            Some(Target::There(id))
        } else {
            form.refuse("container", "Choose an empty container or a new one.");
            None
        });
    }
    let id = form.once("container_id")?;
    Ok(container_details(form).map(|details| Target::New { id, details }))
}

/// Label, kind and tare of a container.
pub fn container_details(form: &mut Form) -> Option<ContainerDetails> {
    let label = form.text("label", 24);
    let kind = form.choice("kind", ContainerKind::from_code);
    let tare = form.mass("container_tare");
    Some(ContainerDetails { label: label?, kind: kind?, tare: tare? })
}

#[derive(Template)]
#[template(path = "lots/new.html")]
struct NewLotPage {
    page: Page,
    form: Form,
    grades: Vec<(String, String)>,
    containers: Offered,
    kinds: Vec<(String, String)>,
    pickups: Vec<(String, String)>,
}

#[derive(Default, Deserialize)]
#[serde(default)]
pub struct NewLotQuery {
    grade: String,
    container: String,
    pickup: String,
    /// A part of a unit on the bench that wants the bag.
    teardown: String,
    part: String,
}

/// A new bag: which grade, in what?
pub async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(query): Query<NewLotQuery>,
) -> Result<Response, Failure> {
    let container = if query.container.is_empty() { "new".to_string() } else { query.container };
    let form = Form::filled([
        ("lot_id", new_id()),
        ("container_id", new_id()),
        ("grade", query.grade),
        ("pickup", query.pickup),
        ("container", container),
        ("kind", "bag".to_string()),
        ("teardown", query.teardown),
        ("part", query.part),
    ]);
    new_page(&app, visitor, form).await
}

async fn new_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let mut grades = vec![(String::new(), "Choose a grade".to_string())];
    grades.extend(app.store.grade_names(&visitor.shop.id).await?);
    let containers = Offered::load(app, &visitor, &form).await?;
    let pickups = pickups::options(app, &visitor, None).await?;
    let page = visitor.page(Screen::Weigh, "New bag or grade");
    html(&NewLotPage { page, form, grades, containers, kinds: kind_options(), pickups })
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("lot_id")?;
    let grade = form.text("grade", 80);
    let source = form.optional_text("source", 200);
    let pickup = pickup(&mut form);
    let target = target(&mut form)?;
    if let (Some(grade), Some(source), Some(pickup), Some(container)) = (grade, source, pickup, target) {
        let lot = NewLot { id: &id, container, grade: GradeId::new(grade), source: &source };
        match app.store.open_lot_from(&visitor.by(), &lot, pickup.as_deref()).await {
            Ok(()) => {
                let along = weigh::along(form.value("teardown"), form.value("part"));
                return Ok(Redirect::to(&format!("/lots/{id}/weigh{along}")).into_response());
            }
            Err(error) => explain(&mut form, error)?,
        }
    }
    new_page(&app, visitor, form).await
}

/// Puts what the store refused beside the field it is about; anything else is a failure of its own.
fn explain(form: &mut Form, error: StoreError) -> Result<(), Failure> {
    match error {
        StoreError::Duplicate => {
            form.refuse(
                "label",
                "A container with that label is there already, in use or not. Labels are unique: choose another.",
            );
        }
        StoreError::Missing => {
            form.refuse("form", "The grade, container or pickup is not there any more. Choose another.");
        }
        StoreError::Lot(refusal) => form.refuse("form", refusal.to_string()),
        StoreError::Pickup(refusal) => form.refuse("pickup", refusal.to_string()),
        other => return Err(other.into()),
    }
    Ok(())
}
