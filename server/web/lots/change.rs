//! Splitting a lot, merging it into another one, and giving it another grade.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use trade::ids::GradeId;

use super::{Offered, explain, kind_options, target};
use crate::store::lots::{Lot, LotState, Part};
use crate::store::{StoreError, new_id};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

#[derive(Template)]
#[template(path = "lots/split.html")]
struct SplitPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    form: Form,
    containers: Offered,
    kinds: Vec<(String, String)>,
}

pub async fn split_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    let form = Form::filled([
        ("lot_id", new_id()),
        ("container_id", new_id()),
        ("container", "new".to_string()),
        ("kind", lot.container_kind.code().to_string()),
    ]);
    split_page(&app, visitor, lot, form).await
}

async fn split_page(app: &App, visitor: Visitor, lot: Lot, form: Form) -> Result<Response, Failure> {
    let containers = Offered::load(app, &visitor, &form).await?;
    let page = visitor.page(Screen::Lots, format!("Split {}", lot.container_label));
    html(&SplitPage { page, visitor, lot, form, containers, kinds: kind_options() })
}

/// Moves part of the lot into another container.
pub async fn split(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot_id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot_id).await?;
    let new_lot_id = form.once("lot_id")?;
    if app.store.lot(&visitor.shop.id, &new_lot_id).await.is_ok() {
        // Sent twice: the first one has moved it.
        return Ok(Redirect::to(&format!("/lots/{new_lot_id}")).into_response());
    }
    let mass = form.mass("mass");
    let pieces = form.count("pieces", 100_000);
    let target = target(&mut form)?;
    if let Some(mass) = mass
        && (!mass.is_positive() || mass >= lot.net)
    {
        let problem = format!(
            "It has to be more than nothing and less than the {} in the lot. To move all of it, merge instead.",
            visitor.mass(lot.net)
        );
        form.refuse("mass", problem);
    }
    if let (Some(mass), Some(pieces), Some(container), true) = (mass, pieces, target, form.is_good()) {
        let part = Part { lot_id: &lot_id, new_lot_id: &new_lot_id, mass, pieces, typed: form.value("mass") };
        match app.store.split(&visitor.by(), &part, container).await {
            Ok(()) => return Ok(Redirect::to(&format!("/lots/{new_lot_id}")).into_response()),
            Err(error) => explain(&mut form, error)?,
        }
    }
    split_page(&app, visitor, lot, form).await
}

#[derive(Template)]
#[template(path = "lots/merge.html")]
struct MergePage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    others: Vec<Lot>,
    form: Form,
}

pub async fn merge_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    merge_page(&app, visitor, lot, Form::default()).await
}

async fn merge_page(app: &App, visitor: Visitor, lot: Lot, form: Form) -> Result<Response, Failure> {
    let mut others = app.store.open_lots(&visitor.shop.id).await?;
    others.retain(|other| {
        other.id != lot.id && other.grade_id == lot.grade_id && other.state == LotState::Open
    });
    let page = visitor.page(Screen::Lots, format!("Merge {}", lot.container_label));
    html(&MergePage { page, visitor, lot, others, form })
}

/// Puts all of the lot on another one.
pub async fn merge(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot_id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let into = form.value("into").to_string();
    if into.is_empty() {
        form.refuse("into", "Choose the lot that it goes on.");
    } else {
        match app.store.merge(&visitor.by(), &lot_id, &into).await {
            Ok(()) => return Ok(Redirect::to(&format!("/lots/{into}")).into_response()),
            Err(error) => explain(&mut form, error)?,
        }
    }
    let lot = app.store.lot(&visitor.shop.id, &lot_id).await?;
    merge_page(&app, visitor, lot, form).await
}

#[derive(Template)]
#[template(path = "lots/regrade.html")]
struct RegradePage {
    page: Page,
    lot: Lot,
    form: Form,
    grades: Vec<(String, String)>,
}

pub async fn regrade_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    let form = grade_form(&lot);
    regrade_page(&app, visitor, lot, form).await
}

fn grade_form(lot: &Lot) -> Form {
    Form::filled([("grade", lot.grade_id.to_string()), ("version", lot.version.to_string())])
}

async fn regrade_page(app: &App, visitor: Visitor, lot: Lot, form: Form) -> Result<Response, Failure> {
    let mut grades = app.store.grade_names(&visitor.shop.id).await?;
    if lot.grade_retired {
        // Its grade is not on the list any more, and a list that shows none as chosen would send its first.
        grades.insert(0, (String::new(), "Choose a grade".to_string()));
    }
    let page = visitor.page(Screen::Lots, format!("Regrade {}", lot.container_label));
    html(&RegradePage { page, lot, form, grades })
}

pub async fn regrade(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot_id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    if let Some(grade) = form.text("grade", 80) {
        let grade = GradeId::new(grade);
        let done = app.store.regrade(&visitor.by(), &lot_id, form.version(), &grade).await;
        match done {
            Ok(()) => return Ok(Redirect::to(&format!("/lots/{lot_id}")).into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.lot(&visitor.shop.id, &lot_id).await?;
                if now.grade_id == grade {
                    // Sent twice: the first one has done it.
                    return Ok(Redirect::to(&format!("/lots/{lot_id}")).into_response());
                }
                form.overtaken_by(&grade_form(&now));
            }
            Err(error) => explain(&mut form, error)?,
        }
    }
    let lot = app.store.lot(&visitor.shop.id, &lot_id).await?;
    regrade_page(&app, visitor, lot, form).await
}
