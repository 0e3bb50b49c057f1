//! Grades: what is it, how do I tell it, and what is it mistaken for?

mod edit;
mod more;
mod recognise;

pub use edit::{create, edit, new, update};
pub use more::{add as add_more, more};
pub use recognise::recognise;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::{Decimal, dec};
use serde::Deserialize;
use trade::mass::{Mass, MassStyle};

use super::App;
use super::failure::Failure;
use super::page::{Folds, Page, Screen, Visitor, html};
use crate::store::StoreError;
use crate::store::grades::{Grade, SoldBy, is_slug};
use crate::store::lots::{Lot, LotState};

#[derive(Deserialize)]
pub struct Find {
    #[serde(default)]
    find: String,
    #[serde(flatten)]
    folds: Folds,
}

struct Family {
    name: String,
    grades: Vec<Listed>,
}

/// A grade in the list, with what the shop has of it.
struct Listed {
    grade: Grade,
    net: Mass,
    lots: usize,
}

#[derive(Template)]
#[template(path = "grades/index.html")]
struct GradesPage {
    page: Page,
    visitor: Visitor,
    find: String,
    families: Vec<Family>,
    all_open: bool,
    /// How many of the catalogue's the shop has not got.
    more: usize,
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(Find { find, folds }): Query<Find>,
) -> Result<Response, Failure> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    let lots = app.store.open_lots(&visitor.shop.id).await?;
    let more = more::missing(&grades).count();
    let find = find.trim().to_string();
    let mut families: Vec<Family> = Vec::new();
    for grade in grades.into_iter().filter(|grade| answers_to(grade, &find)) {
        let of_it = lots.iter().filter(|lot| lot.grade_id == grade.id);
        let listed = Listed { net: of_it.clone().map(|lot| lot.net).sum(), lots: of_it.count(), grade };
        let family = listed.grade.details.family.clone();
        match families.last_mut().filter(|last| last.name == family) {
            Some(last) => last.grades.push(listed),
            None => families.push(Family { name: family, grades: vec![listed] }),
        }
    }
    let page = visitor.page(Screen::Grades, "Grades");
    let all_open =
        !find.is_empty() || folds.all_open(families.iter().map(|family| family.grades.len()).sum());
    html(&GradesPage { page, visitor, find, families, all_open, more })
}

/// Whether somebody who looks for `words` may mean the grade: each word stands somewhere in what names it.
fn answers_to(grade: &Grade, words: &str) -> bool {
    let details = &grade.details;
    let code = details.notes.spec.as_ref().map_or("", |spec| spec.code.as_str());
    let said =
        [&details.name, grade.id.as_str(), &details.family, &details.summary, code].join(" ").to_lowercase();
    words.to_lowercase().split_whitespace().all(|word| said.contains(word))
}

/// All about one grade: shown on its own page and at the end of the recogniser.
struct About {
    grade: Grade,
    confused_with: Vec<Confused>,
    /// How much of it a known room holds, in words.
    room: String,
    /// Share of conductor in percent, for wire.
    recovery: Option<Decimal>,
    lots: Vec<Lot>,
}

struct Confused {
    id: String,
    /// As the shop calls it; `None` if the shop does not have it.
    name: Option<String>,
    tell: String,
}

async fn about(app: &App, visitor: &Visitor, grade: Grade) -> Result<About, StoreError> {
    let all = app.store.grades(&visitor.shop.id).await?;
    let mut lots = app.store.open_lots(&visitor.shop.id).await?;
    lots.retain(|lot| lot.grade_id == grade.id);
    let name_of = |id| all.iter().find(|other| other.id == id).map(|other| other.details.name.clone());
    let confused_with = grade
        .details
        .notes
        .confused_with
        .iter()
        .map(|confusion| Confused {
            id: confusion.grade.to_string(),
            name: name_of(confusion.grade.clone()),
            tell: confusion.tell.clone(),
        })
        .collect();
    let recovery = grade.details.notes.recovery.map(|share| (share * dec!(100)).normalize());
    Ok(About { confused_with, room: room(visitor, &grade), recovery, lots, grade })
}

/// Cubic centimetres in a cubic foot, exactly (NIST SP 811: a foot is 30.48 cm).
const CM3_PER_CUBIC_FOOT: Decimal = dec!(28316.846592);

/// The bulk density as a person can picture it.
fn room(visitor: &Visitor, grade: &Grade) -> String {
    let (room, cm3) = match visitor.style() {
        MassStyle::PoundsOunces => ("a cubic foot", CM3_PER_CUBIC_FOOT),
        MassStyle::Kilograms => ("ten litres", dec!(10000)),
    };
    let unit = visitor.style().unit();
    let weight = Mass::from_grams(grade.details.bulk_density.get() * cm3).in_unit(unit);
    // A bulk density is known to two figures at best.
    let weight = weight.round_sf(2).unwrap_or(weight).normalize();
    format!("Loose, {room} of it weighs about {weight} {}.", unit.label())
}

#[derive(Template)]
#[template(path = "grades/show.html")]
struct GradePage {
    page: Page,
    visitor: Visitor,
    about: About,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(grade): Path<String>,
) -> Result<Response, Failure> {
    let grade = find(&app, &visitor, &grade).await?;
    let about = about(&app, &visitor, grade).await?;
    let page = visitor.page(Screen::Grades, about.grade.details.name.clone());
    html(&GradePage { page, visitor, about })
}

async fn find(app: &App, visitor: &Visitor, id: &str) -> Result<Grade, Failure> {
    // What cannot be a slug never reaches a query: Postgres takes no NUL in a text.
    if !is_slug(id) {
        return Err(Failure::missing("grade"));
    }
    match app.store.grade(&visitor.shop.id, id).await {
        Err(StoreError::Missing) => Err(Failure::missing("grade")),
        other => Ok(other?),
    }
}

/// Takes a grade out of use. Its lots keep it; the page that follows says how many there are.
pub async fn retire(
    State(app): State<App>,
    visitor: Visitor,
    Path(grade): Path<String>,
) -> Result<Response, Failure> {
    let grade = find(&app, &visitor, &grade).await?;
    app.store.retire_grade(&visitor.by(), grade.id.as_str()).await?;
    Ok(Redirect::to(&format!("/grades/{}", grade.id)).into_response())
}

/// Brings a retired grade back into use.
pub async fn bring_back(
    State(app): State<App>,
    visitor: Visitor,
    Path(grade): Path<String>,
) -> Result<Response, Failure> {
    let grade = find(&app, &visitor, &grade).await?;
    app.store.return_grade(&visitor.by(), grade.id.as_str()).await?;
    Ok(Redirect::to(&format!("/grades/{}", grade.id)).into_response())
}
