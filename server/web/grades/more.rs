//! Grades of the catalogue that the shop has not got: it was begun before they were there, or never had them. They are
//! added as they are; nothing that the shop has is touched.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use crate::catalogue::{CatalogueGrade, GRADES};
use crate::store::StoreError;
use crate::store::grades::Grade;
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

#[derive(Template)]
#[template(path = "grades/more.html")]
struct MorePage {
    page: Page,
    form: Form,
    missing: Vec<Missing>,
}

struct Missing {
    grade: &'static CatalogueGrade,
    /// Another grade of the shop that has its name.
    called_alike: Option<String>,
    is_chosen: bool,
}

/// What the shop has not got of the catalogue; a grade that it has retired it has.
pub fn missing(grades: &[Grade]) -> impl Iterator<Item = &'static CatalogueGrade> {
    GRADES.iter().filter(|known| grades.iter().all(|grade| grade.id != known.slug))
}

pub async fn more(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    page(&app, visitor, Form::default()).await
}

async fn page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    let called = |known: &CatalogueGrade| {
        grades.iter().find(|grade| grade.details.name == known.details.name).map(|grade| grade.id.to_string())
    };
    let missing = missing(&grades).map(|grade| Missing {
        grade,
        called_alike: called(grade),
        is_chosen: form.values("grade").any(|slug| slug == grade.slug.as_str()),
    });
    let missing = missing.collect();
    html(&MorePage { page: visitor.page(Screen::Grades, "More grades"), form, missing })
}

/// Adds those that were chosen. What is there by now, from this form sent before or another, stays as it is.
pub async fn add(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let chosen: Vec<&CatalogueGrade> =
        GRADES.iter().filter(|known| form.values("grade").any(|slug| slug == known.slug.as_str())).collect();
    if chosen.is_empty() {
        form.refuse("form", "Choose a grade, then add it.");
        return page(&app, visitor, form).await;
    }
    let chosen: Vec<_> = chosen.into_iter().map(|grade| (&grade.slug, &grade.details)).collect();
    match app.store.add_grades(&visitor.by(), &chosen).await {
        // The other phone added one in this very moment: now it is seen.
        Err(StoreError::Duplicate) => app.store.add_grades(&visitor.by(), &chosen).await?,
        added => added?,
    }
    Ok(Redirect::to("/grades").into_response())
}
