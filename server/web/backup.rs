//! Backups of the record, and the shop as one file to take along.

use std::io::{BufWriter, Seek};

use askama::Template;
use axum::body::Body;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};

use super::App;
use super::download::chunks;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html};
use crate::archive;
use crate::backup::Backup;

#[derive(Template)]
#[template(path = "backup/index.html")]
struct BackupPage {
    page: Page,
    visitor: Visitor,
    form: Form,
    /// `None` where the server keeps none.
    kept: Option<Kept>,
}

struct Kept {
    folder: String,
    backups: Vec<Backup>,
}

impl Kept {
    fn size(&self, backup: &Backup) -> String {
        match backup.bytes {
            bytes @ ..10_000 => format!("{bytes} bytes"),
            bytes @ ..10_000_000 => format!("{} kB", bytes / 1000),
            bytes => format!("{} MB", bytes / 1_000_000),
        }
    }
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    backup_page(&app, visitor, Form::default())
}

fn backup_page(app: &App, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let kept = app.config.backups.as_ref().map(|backups| Kept {
        folder: backups.folder().display().to_string(),
        backups: backups.list().unwrap_or_else(|error| {
            form.refuse("form", format!("The folder cannot be read: {error}."));
            Vec::new()
        }),
    });
    let page = visitor.page(Screen::Backup, "Backup");
    html(&BackupPage { page, visitor, form, kept })
}

/// Makes a backup now.
pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let Some(backups) = &app.config.backups else { return Err(Failure::missing("folder for backups")) };
    match backups.make(&app.store, visitor.now).await {
        Ok(_) => Ok(Redirect::to("/backup").into_response()),
        Err(error) => {
            tracing::error!(%error, "a backup could not be made");
            form.refuse("form", format!("No backup was made: {error}."));
            backup_page(&app, visitor, form)
        }
    }
}

/// The shop as one file.
pub async fn export(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let (store, shop, now) = (app.store.clone(), visitor.shop.id.clone(), visitor.now);
    let (handle, scratch) = (tokio::runtime::Handle::current(), app.config.scratch.clone());
    let work = tokio::task::spawn_blocking(move || {
        let mut file = tempfile::tempfile_in(scratch)?;
        handle.block_on(archive::write(&store, &[shop], now, BufWriter::new(&mut file)))?;
        file.rewind()?;
        Ok(file)
    });
    let file = match work.await {
        Ok(Ok(file)) => file,
        Ok(Err(archive::ArchiveError::Store(error))) => return Err(error.into()),
        Ok(Err(error)) => return Err(failed(&error)),
        Err(error) => return Err(failed(&error)),
    };
    let body = Body::from_stream(chunks(file));
    // The date, and nothing that was typed: a header takes no shop's name as it is.
    let name = format!("attachment; filename=\"shop-{}.zip\"", visitor.today());
    Ok(([(header::CONTENT_TYPE, "application/zip".to_string()), (header::CONTENT_DISPOSITION, name)], body)
        .into_response())
}

fn failed(error: &dyn std::error::Error) -> Failure {
    tracing::error!(%error, "the shop could not be exported");
    Failure::refused(
        axum::http::StatusCode::INTERNAL_SERVER_ERROR,
        "The file could not be made",
        "Nothing was changed. The log on the shop's box says why.",
    )
}
