//! Containers: bags, boxes, drums and crates, with their tare and a label whose code opens the lot on a phone.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use qrcode::render::svg;
use qrcode::{EcLevel, QrCode};
use serde::Deserialize;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::lots::{container_details, kind_options};
use super::page::{Folds, Page, Screen, Visitor, html};
use super::stepped::stepped;
use crate::store::StoreError;
use crate::store::containers::{Container, ContainerKind, Wanted};
use crate::store::lots::{Lot, LotRefusal};

/// Containers on one page.
const SHOWN: u32 = 100;
/// The last page that is looked for.
const LAST_PAGE: u32 = 100_000;
/// Letters of a label that are looked for.
const LONGEST_WORDS: usize = 40;

#[derive(Template)]
#[template(path = "containers/index.html")]
struct ContainersPage {
    page: Page,
    visitor: Visitor,
    /// What the address asks for.
    asked: Asked,
    kinds: Vec<Kind>,
    all_open: bool,
    /// The whole list stands on this page.
    is_all: bool,
    previous: Option<String>,
    next: Option<String>,
}

/// All containers of a kind.
struct Kind {
    name: &'static str,
    containers: Vec<Container>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// Words of the label.
    label: String,
    /// `out` for those out of use.
    view: String,
    page: String,
}

impl Asked {
    fn out_of_use(&self) -> bool {
        self.view == "out"
    }

    /// From 1.
    fn page(&self) -> u32 {
        self.page.parse().unwrap_or(1).clamp(1, LAST_PAGE)
    }

    fn address(&self, page: u32) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (name, value) in [("label", &self.label), ("view", &self.view)] {
            if !value.is_empty() {
                query.append_pair(name, value);
            }
        }
        format!("/containers?{}", query.append_pair("page", &page.to_string()).finish())
    }
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(asked): Query<Asked>,
    Query(folds): Query<Folds>,
) -> Result<Response, Failure> {
    let asked = Asked { label: asked.label.trim().chars().take(LONGEST_WORDS).collect(), ..asked };
    let wanted = Wanted {
        out_of_use: asked.out_of_use(),
        label: &asked.label,
        most: SHOWN + 1,
        after: (asked.page() - 1) * SHOWN,
    };
    let mut containers = app.store.containers(&visitor.shop.id, &wanted).await?;
    let next = (containers.len() > SHOWN as usize).then(|| asked.address(asked.page() + 1));
    let previous = (asked.page() > 1).then(|| asked.address(asked.page() - 1));
    containers.truncate(SHOWN as usize);
    let is_all = next.is_none() && previous.is_none() && asked.label.is_empty();
    let all_open = !is_all || asked.out_of_use() || folds.all_open(containers.len());
    let mut kinds: Vec<Kind> =
        ContainerKind::ALL.map(|kind| Kind { name: kind.code(), containers: Vec::new() }).into();
    for container in containers {
        if let Some(kind) = kinds.iter_mut().find(|kind| kind.name == container.kind.code()) {
            kind.containers.push(container);
        }
    }
    kinds.retain(|kind| !kind.containers.is_empty());
    let title = if asked.out_of_use() { "Containers out of use" } else { "Containers" };
    let page = visitor.page(Screen::Containers, title);
    html(&ContainersPage { page, visitor, asked, kinds, all_open, is_all, previous, next })
}

/// Where a label's code leads: to the lot in the container, or to opening one in it; of one that is out of use, to its own
/// page, which says so.
pub async fn open(
    State(app): State<App>,
    visitor: Visitor,
    Path(container): Path<String>,
) -> Result<Response, Failure> {
    let container = app.store.container(&visitor.shop.id, &container).await?;
    let to = match container.open_lot {
        Some(lot) => format!("/lots/{lot}"),
        None if container.retired_at.is_some() => format!("/containers/{}/edit", container.id),
        None => format!("/lots/new?container={}", container.id),
    };
    Ok(Redirect::to(&to).into_response())
}

#[derive(Template)]
#[template(path = "containers/edit.html")]
struct EditPage {
    page: Page,
    visitor: Visitor,
    container: Container,
    /// What is in it.
    lot: Option<Lot>,
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
    edit_page(&app, visitor, container, form).await
}

fn filled(container: &Container, visitor: &Visitor) -> Form {
    Form::filled([
        ("label", container.label.clone()),
        ("kind", container.kind.code().to_string()),
        ("container_tare", visitor.spelled(container.tare)),
        ("version", container.version.to_string()),
    ])
}

async fn edit_page(
    app: &App,
    visitor: Visitor,
    container: Container,
    form: Form,
) -> Result<Response, Failure> {
    let lot = match &container.open_lot {
        Some(lot) => Some(app.store.lot(&visitor.shop.id, lot).await?),
        None => None,
    };
    let page = visitor.page(Screen::Containers, container.label.clone());
    html(&EditPage { page, visitor, container, lot, form, kinds: kind_options() })
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
    edit_page(&app, visitor, container, form).await
}

/// Takes an empty container out of use. Where something is in it, its page comes back and says what.
pub async fn retire(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let done = app.store.retire_container(&visitor.by(), &id, form.version()).await;
    if let Err(StoreError::Lot(refusal @ LotRefusal::ContainerFull)) = done {
        let container = app.store.container(&visitor.shop.id, &id).await?;
        let mut form = filled(&container, &visitor);
        form.refuse("form", refusal.to_string());
        let page = edit_page(&app, visitor, container, form).await?;
        return Ok((StatusCode::CONFLICT, page).into_response());
    }
    let is_out = async { Ok(app.store.container(&visitor.shop.id, &id).await?.retired_at.is_some()) };
    stepped(done, is_out, "container", &format!("/containers/{id}/edit")).await
}

/// Takes it into use again.
pub async fn bring_back(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let done = app.store.return_container(&visitor.by(), &id, form.version()).await;
    let is_back = async { Ok(app.store.container(&visitor.shop.id, &id).await?.retired_at.is_none()) };
    stepped(done, is_back, "container", &format!("/containers/{id}/edit")).await
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
