//! Photos of lots, pickups and tickets: sent from a phone, looked at, taken away.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::App;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, html};
use super::upload::Upload;
use crate::reader::{self, PhotoError};
use crate::store::photos::{NewPhoto, Photo, Subject};
use crate::store::{By, StoreError, is_id, new_id};

/// The largest photo that is taken in; the cameras of phones stay below it.
pub const LARGEST_PHOTO: usize = 20 * 1024 * 1024;

/// The photos of a thing, and the form that sends one more.
pub struct Album {
    /// The address of the thing's own page.
    pub address: String,
    /// The id that the next photo gets, so that sent twice it is kept once.
    pub next: String,
    pub photos: Vec<Photo>,
}

impl Album {
    pub async fn of(app: &App, visitor: &Visitor, subject: Subject, id: &str) -> Result<Album, StoreError> {
        let photos = app.store.photos(&visitor.shop.id, subject, id).await?;
        Ok(Album { address: address(subject, id), next: new_id(), photos })
    }
}

/// The page of the thing that a photo is of.
fn address(subject: Subject, id: &str) -> String {
    match subject {
        Subject::Lot => format!("/lots/{id}"),
        Subject::Pickup => format!("/pickups/{id}"),
        Subject::Ticket => format!("/runs/stops/{id}"),
    }
}

pub async fn add_to_lot(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
    upload: Upload<LARGEST_PHOTO>,
) -> Result<Response, Failure> {
    add(&app, &visitor, Subject::Lot, &lot, upload).await
}

pub async fn add_to_pickup(
    State(app): State<App>,
    visitor: Visitor,
    Path(pickup): Path<String>,
    upload: Upload<LARGEST_PHOTO>,
) -> Result<Response, Failure> {
    add(&app, &visitor, Subject::Pickup, &pickup, upload).await
}

pub async fn add_to_ticket(
    State(app): State<App>,
    visitor: Visitor,
    Path(stop): Path<String>,
    upload: Upload<LARGEST_PHOTO>,
) -> Result<Response, Failure> {
    add(&app, &visitor, Subject::Ticket, &stop, upload).await
}

/// Keeps the photo of a form.
async fn add(
    app: &App,
    visitor: &Visitor,
    subject: Subject,
    subject_id: &str,
    upload: Upload<LARGEST_PHOTO>,
) -> Result<Response, Failure> {
    let id = upload.form.once("id")?;
    let back = Redirect::to(&format!("{}#photos", address(subject, subject_id))).into_response();
    if upload.too_large.is_some() {
        let advice = "It is over 20 MB. Nothing was saved. Set the camera to a smaller size, or send a screenshot of the \
                      photo.";
        return Err(Failure::refused(StatusCode::PAYLOAD_TOO_LARGE, "That photo is too large", advice));
    }
    let Some(file) = upload.file else {
        return Err(not_kept(
            StatusCode::UNPROCESSABLE_ENTITY,
            "No photo was chosen. Go back and choose one.",
        ));
    };
    match keep(app, &visitor.by(), subject, subject_id, &id, &file.bytes).await {
        Ok(()) => Ok(back),
        Err(NotKept::Photo(problem)) => Err(not_kept(problem_status(&problem), &problem.to_string())),
        Err(NotKept::Store(error)) => Err(error.into()),
    }
}

/// Why a photo was not kept.
#[derive(Debug)]
pub enum NotKept {
    /// What was sent could not be made a photo of.
    Photo(PhotoError),
    Store(StoreError),
}

impl From<StoreError> for NotKept {
    fn from(error: StoreError) -> NotKept {
        NotKept::Store(error)
    }
}

/// The status of an answer that says so.
pub fn problem_status(problem: &PhotoError) -> StatusCode {
    match problem {
        PhotoError::NotStarted(_) => StatusCode::INTERNAL_SERVER_ERROR,
        PhotoError::NoPhoto(_) | PhotoError::BeyondLimits => StatusCode::UNPROCESSABLE_ENTITY,
    }
}

/// Makes a photo smaller, takes out what the camera wrote into it, and keeps it. Sent twice under one id, the first is
/// kept.
pub async fn keep(
    app: &App,
    by: &By,
    subject: Subject,
    subject_id: &str,
    id: &str,
    bytes: &[u8],
) -> Result<(), NotKept> {
    if app.store.photo(&by.shop_id, id).await.is_ok() {
        return Ok(());
    }
    // Before a photo is worked on for nothing.
    if !app.store.can_be_photographed(&by.shop_id, subject, subject_id).await? {
        return Err(StoreError::Missing.into());
    }
    let shrunk = reader::shrink(&app.config.reader, bytes).await.map_err(NotKept::Photo)?;
    let photo = NewPhoto {
        id,
        subject,
        subject_id,
        bytes: &shrunk.bytes,
        small: &shrunk.small,
        width: shrunk.width,
        height: shrunk.height,
    };
    Ok(app.store.add_photo(by, &photo).await?)
}

fn not_kept(status: StatusCode, advice: &str) -> Failure {
    Failure::refused(status, "The photo was not kept", advice)
}

#[derive(Template)]
#[template(path = "photos/show.html")]
struct PhotoPage {
    page: Page,
    visitor: Visitor,
    photo: Photo,
    /// The page of the thing, and what it is called.
    address: String,
    of: String,
}

/// A page to look at one photo.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let photo = app.store.photo(&visitor.shop.id, &id).await?;
    let (screen, of) = match photo.subject {
        Subject::Lot => {
            let lot = app.store.lot(&visitor.shop.id, &photo.subject_id).await?;
            (Screen::Lots, format!("{}: {}", lot.container_label, lot.grade_name))
        }
        Subject::Pickup => {
            let pickup = app.store.pickup(&visitor.shop.id, &photo.subject_id).await?;
            (Screen::Pickups, pickup.details.place)
        }
        Subject::Ticket => {
            let run = app.store.run_of_stop(&visitor.shop.id, &photo.subject_id).await?;
            let run = app.store.run(&visitor.shop.id, &run).await?;
            let yard = run.stop(&photo.subject_id).map_or("a yard", |stop| stop.outlet_name.as_str());
            (Screen::Runs, format!("Ticket of {yard}"))
        }
    };
    let page = visitor.page(screen, format!("Photo: {of}"));
    let address = address(photo.subject, &photo.subject_id);
    html(&PhotoPage { page, visitor, photo, address, of })
}

pub async fn file(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    picture(&app, &visitor, &id, |photo| &photo.sha256).await
}

pub async fn small(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    picture(&app, &visitor, &id, |photo| &photo.small_sha256).await
}

async fn picture(
    app: &App,
    visitor: &Visitor,
    id: &str,
    which: fn(&Photo) -> &String,
) -> Result<Response, Failure> {
    if !is_id(id) {
        return Err(Failure::missing("photo"));
    }
    let photo = app.store.photo(&visitor.shop.id, id).await?;
    let file = app.store.file(&visitor.shop.id, which(&photo)).await?;
    // Whatever is kept as a photo was written by this program, so it is what this says. It never changes under its id;
    // it stays in this phone's browser for a day, and in no proxy.
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("image/jpeg")),
        (header::CACHE_CONTROL, HeaderValue::from_static("private, max-age=86400, immutable")),
    ];
    Ok((headers, file.bytes).into_response())
}

/// Takes a photo away for good.
pub async fn remove(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let photo = app.store.remove_photo(&visitor.by(), &id).await?;
    Ok(Redirect::to(&format!("{}#photos", address(photo.subject, &photo.subject_id))).into_response())
}
