//! Boxes that the shop ships in: their sizes, what they weigh and may hold, what they cost, how many are at hand.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::{Decimal, dec};
use trade::packing::Carton;
use trade::volume::Size;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::measure::{length, mass, size, spell_length, spell_mass, spell_size};
use super::page::{Page, Screen, Visitor, html};
use crate::store::cartons::CartonRecord;
use crate::store::{StoreError, new_id};

const MOST_AT_HAND: u32 = 100_000;

const TAKEN: &str = "Another box has that name, perhaps a retired one. Choose another.";

#[derive(Template)]
#[template(path = "cartons/form.html")]
struct CartonPage {
    page: Page,
    form: Form,
    /// `None` while it is being set up.
    record: Option<CartonRecord>,
    home: &'static str,
}

fn carton_page(visitor: &Visitor, form: Form, record: Option<CartonRecord>) -> Result<Response, Failure> {
    let title = record.as_ref().map_or("New box".to_string(), |record| record.carton.name.clone());
    let page = visitor.page(Screen::Freight, title);
    html(&CartonPage { page, form, record, home: visitor.home().code() })
}

pub async fn new(visitor: Visitor) -> Result<Response, Failure> {
    // Single-wall corrugated board is about 4 mm (common practice, no source).
    let form = Form::filled([("id", new_id()), ("wall", "4 mm".to_string())]);
    carton_page(&visitor, form, None)
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    if let Some(carton) = read_carton(&mut form) {
        match app.store.create_carton(&visitor.by(), &id, &carton).await {
            Ok(()) => return Ok(Redirect::to("/freight#boxes").into_response()),
            Err(error) => form.refuse_taken_name(error, TAKEN)?,
        }
    }
    carton_page(&visitor, form, None)
}

pub async fn edit(
    State(app): State<App>,
    visitor: Visitor,
    Path(carton): Path<String>,
) -> Result<Response, Failure> {
    let record = app.store.carton(&visitor.shop.id, &carton).await?;
    let form = filled(&record.carton, record.version);
    carton_page(&visitor, form, Some(record))
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let record = app.store.carton(&visitor.shop.id, &id).await?;
    if let Some(carton) = read_carton(&mut form) {
        match app.store.save_carton(&visitor.by(), &id, form.version(), &carton).await {
            Ok(()) => return Ok(Redirect::to("/freight#boxes").into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.carton(&visitor.shop.id, &id).await?;
                // Spelled alike on both sides, so that only what means something else stands out.
                form = filled(&carton, form.version());
                form.overtaken_by(&filled(&now.carton, now.version));
            }
            Err(error) => form.refuse_taken_name(error, TAKEN)?,
        }
    }
    carton_page(&visitor, form, Some(record))
}

fn read_carton(form: &mut Form) -> Option<Carton> {
    let name = form.text("name", 60);
    let inner = form.read("inner", size);
    let outer = if form.value("outer").trim().is_empty() {
        let wall = form.read("wall", length);
        inner.zip(wall).map(|(inner, wall)| with_wall(inner, wall))
    } else {
        form.read("outer", size)
    };
    if let (Some(inner), Some(outer)) = (inner, outer)
        && (outer.length < inner.length || outer.width < inner.width || outer.height < inner.height)
    {
        form.refuse(
            "outer",
            "A side is shorter than it is inside. Give the sides in the same order as inside.",
        );
    }
    let tare = form.mass("tare");
    let limit = form.read("limit", mass);
    let cost = form.amount("cost");
    let at_hand = match form.value("at_hand").trim() {
        "" => Some(None),
        _ => form.count("at_hand", MOST_AT_HAND).map(Some),
    };
    let carton = Carton {
        name: name?,
        inner: inner?,
        outer: outer?,
        tare: tare?,
        limit: limit?,
        cost: cost?,
        at_hand: at_hand?,
    };
    for problem in carton.problems() {
        form.refuse("form", problem);
    }
    form.is_good().then_some(carton)
}

/// The outside of a box with walls so thick all around.
fn with_wall(inner: Size, wall: Decimal) -> Size {
    let both = wall * dec!(2);
    Size { length: inner.length + both, width: inner.width + both, height: inner.height + both }
}

fn filled(carton: &Carton, version: i64) -> Form {
    let wall = (carton.outer.length - carton.inner.length) / dec!(2);
    // Walls that are not alike all around were measured, and have no one thickness.
    let wall = if with_wall(carton.inner, wall) == carton.outer && !wall.is_zero() {
        spell_length(wall)
    } else {
        String::new()
    };
    Form::filled([
        ("version", version.to_string()),
        ("name", carton.name.clone()),
        ("inner", spell_size(carton.inner)),
        ("wall", wall),
        ("outer", spell_size(carton.outer)),
        ("tare", if carton.tare.is_zero() { String::new() } else { spell_mass(carton.tare) }),
        ("limit", spell_mass(carton.limit)),
        ("cost", if carton.cost.is_zero() { String::new() } else { carton.cost.normalize().to_string() }),
        ("at_hand", carton.at_hand.map_or(String::new(), |count| count.to_string())),
    ])
}

/// Takes the box out of use.
pub async fn retire(
    State(app): State<App>,
    visitor: Visitor,
    Path(carton): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.retire_carton(&visitor.by(), &carton, form.version()).await?;
    Ok(Redirect::to("/freight#boxes").into_response())
}

pub async fn bring_back(
    State(app): State<App>,
    visitor: Visitor,
    Path(carton): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.return_carton(&visitor.by(), &carton, form.version()).await?;
    Ok(Redirect::to("/freight#boxes").into_response())
}
