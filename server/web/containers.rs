//! Containers: bags, boxes, drums and crates, with their tare and a label whose code opens the lot on a phone.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use qrcode::render::svg;
use qrcode::{EcLevel, QrCode};
use trade::ids::LotId;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::lots::{container_details, kind_options};
use super::page::{Folds, Page, Screen, Visitor, html};
use crate::store::StoreError;
use crate::store::containers::{Container, ContainerKind};
use crate::store::lots::Lot;

#[derive(Template)]
#[template(path = "containers/index.html")]
struct ContainersPage {
    page: Page,
    visitor: Visitor,
    kinds: Vec<Kind>,
    all_open: bool,
}

/// All containers of a kind, each with the grade of what is in it.
struct Kind {
    name: &'static str,
    containers: Vec<(Container, Option<String>)>,
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(folds): Query<Folds>,
) -> Result<Response, Failure> {
    let mut containers = app.store.containers(&visitor.shop.id).await?;
    containers.sort_by_cached_key(|container| by_number(&container.label));
    let all_open = folds.all_open(containers.len());
    let lots = app.store.open_lots(&visitor.shop.id).await?;
    let mut grades: BTreeMap<LotId, String> = lots.into_iter().map(|lot| (lot.id, lot.grade_name)).collect();
    let mut kinds: Vec<Kind> =
        ContainerKind::ALL.map(|kind| Kind { name: kind.code(), containers: Vec::new() }).into();
    for container in containers {
        let grade = container.open_lot.clone().and_then(|lot| grades.remove(&LotId::new(lot)));
        if let Some(kind) = kinds.iter_mut().find(|kind| kind.name == container.kind.code()) {
            kind.containers.push((container, grade));
        }
    }
    kinds.retain(|kind| !kind.containers.is_empty());
    let page = visitor.page(Screen::Containers, "Containers");
    html(&ContainersPage { page, visitor, kinds, all_open })
}

/// Labels in the order that they are counted in: Bag 2 before Bag 12.
fn by_number(label: &str) -> (String, u64) {
    let words = label.trim_end_matches(|c: char| c.is_ascii_digit());
    (words.to_lowercase(), label[words.len()..].parse().unwrap_or_default())
}

/// Where a label's code leads: to the lot in the container, or to opening one in it.
pub async fn open(
    State(app): State<App>,
    visitor: Visitor,
    Path(container): Path<String>,
) -> Result<Response, Failure> {
    let container = app.store.container(&visitor.shop.id, &container).await?;
    let to = match container.open_lot {
        Some(lot) => format!("/lots/{lot}"),
        None => format!("/lots/new?container={}", container.id),
    };
    Ok(Redirect::to(&to).into_response())
}

#[derive(Template)]
#[template(path = "containers/edit.html")]
struct EditPage {
    page: Page,
    container: Container,
    form: Form,
    kinds: Vec<(String, String)>,
}

pub async fn edit(
    State(app): State<App>,
    visitor: Visitor,
    Path(container): Path<String>,
) -> Result<Response, Failure> {
    let container = app.store.container(&visitor.shop.id, &container).await?;
    let form = filled(&container, &visitor);
    edit_page(visitor, container, form)
}

fn filled(container: &Container, visitor: &Visitor) -> Form {
    Form::filled([
        ("label", container.label.clone()),
        ("kind", container.kind.code().to_string()),
        ("container_tare", visitor.spelled(container.tare)),
        ("version", container.version.to_string()),
    ])
}

fn edit_page(visitor: Visitor, container: Container, form: Form) -> Result<Response, Failure> {
    let page = visitor.page(Screen::Containers, container.label.clone());
    html(&EditPage { page, container, form, kinds: kind_options() })
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    if let Some(details) = container_details(&mut form) {
        match app.store.save_container(&visitor.by(), &id, form.version(), &details).await {
            Ok(()) => return Ok(Redirect::to("/containers").into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.container(&visitor.shop.id, &id).await?;
                if now.details() == details {
                    // Sent twice: the first one has saved it.
                    return Ok(Redirect::to("/containers").into_response());
                }
                form.overtaken_by(&filled(&now, &visitor));
            }
            Err(StoreError::Duplicate) => {
                form.refuse("label", "Another container has that label. Choose another.")
            }
            Err(other) => return Err(other.into()),
        }
    }
    let container = app.store.container(&visitor.shop.id, &id).await?;
    edit_page(visitor, container, form)
}

#[derive(Template)]
#[template(path = "containers/label.html")]
struct LabelPage {
    page: Page,
    visitor: Visitor,
    container: Container,
    lot: Option<Lot>,
    address: String,
    code: String,
}

/// A label to print: the name in large letters, what is in it, the tare, and a code that opens the lot.
pub async fn label(
    State(app): State<App>,
    visitor: Visitor,
    Path(container): Path<String>,
) -> Result<Response, Failure> {
    let container = app.store.container(&visitor.shop.id, &container).await?;
    let lot = match &container.open_lot {
        Some(lot) => Some(app.store.lot(&visitor.shop.id, lot).await?),
        None => None,
    };
    let address = format!("{}/containers/{}", app.config.base_url, container.id);
    let code = qr_svg(&address).ok_or_else(|| Failure::missing("label"))?;
    let page = visitor.page(Screen::Containers, format!("Label for {}", container.label));
    html(&LabelPage { page, visitor, container, lot, address, code })
}

/// A QR code (ISO/IEC 18004) as an SVG element; `None` if the text is too long for one.
pub fn qr_svg(text: &str) -> Option<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::Q).ok()?;
    let drawing = code.render::<svg::Color<'_>>().min_dimensions(240, 240).quiet_zone(true).build();
    // The declaration before the element has no place inside a page.
    drawing.find("<svg").map(|start| drawing[start..].to_string())
}
