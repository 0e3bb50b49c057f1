//! Containers: bags, boxes, drums and crates, with their tare and a label whose code opens the lot on a phone.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use qrcode::render::svg;
use qrcode::{EcLevel, QrCode};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::lots::{container_details, kind_options};
use super::page::{Page, Screen, Visitor, html};
use crate::store::StoreError;
use crate::store::containers::Container;
use crate::store::lots::Lot;

#[derive(Template)]
#[template(path = "containers/index.html")]
struct ContainersPage {
    page: Page,
    visitor: Visitor,
    containers: Vec<Container>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let containers = app.store.containers(&visitor.shop.id).await?;
    let page = visitor.page(Screen::Containers, "Containers");
    html(&ContainersPage { page, visitor, containers })
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
