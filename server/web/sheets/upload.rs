//! Upload a sheet: a file or pasted text, read into a draft that is reviewed before anything counts.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use intake::{Hints, Problem, Sheet, detect};
use jiff::ToSpan;
use jiff::civil::Date;
use serde::Deserialize;

use super::desk::to_json;
use crate::reader::{self, ReadError};
use crate::review::Answers;
use crate::store::drafts::{DraftHead, NewDraft};
use crate::store::files::sha256;
use crate::store::outlets::Outlet;
use crate::store::{StoreError, is_id, new_id};
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};
use crate::web::upload::{File, Upload};
use crate::web::{App, LARGEST_UPLOAD, failure::Failure};

#[derive(Deserialize)]
pub struct For {
    #[serde(default)]
    outlet: String,
}

#[derive(Template)]
#[template(path = "sheets/new.html")]
struct UploadPage {
    page: Page,
    visitor: Visitor,
    form: Form,
    outlets: Vec<(String, String)>,
    drafts: Vec<DraftHead>,
    file_kinds: &'static str,
    /// The same for the browser's own list of files.
    accept: &'static str,
}

/// What can be uploaded: photos only where the program that recognises them is installed.
fn file_kinds() -> &'static str {
    if reader::RECOGNISER.is_some() {
        "A spreadsheet (XLSX, XLS, ODS, CSV), PDF, saved web page, plain text or photo, up to 10 MB."
    } else {
        "A spreadsheet (XLSX, XLS, ODS, CSV), PDF, saved web page or plain text, up to 10 MB. This box cannot read \
         photos: type or paste what they show."
    }
}

/// Ends of names, and kinds of files by their registered names (IANA media types), because phones know only these.
fn accept() -> &'static str {
    const TEXTS: &str = concat!(
        ".csv,.tsv,.txt,.xlsx,.xls,.ods,.pdf,.html,.htm,text/csv,text/plain,text/html,application/pdf,",
        "application/vnd.ms-excel,application/vnd.openxmlformats-officedocument.spreadsheetml.sheet,",
        "application/vnd.oasis.opendocument.spreadsheet",
    );
    const WITH_PHOTOS: &str = concat!(
        "image/png,image/jpeg,image/webp,image/gif,image/tiff,",
        ".csv,.tsv,.txt,.xlsx,.xls,.ods,.pdf,.html,.htm,text/csv,text/plain,text/html,application/pdf,",
        "application/vnd.ms-excel,application/vnd.openxmlformats-officedocument.spreadsheetml.sheet,",
        "application/vnd.oasis.opendocument.spreadsheet",
    );
    if reader::RECOGNISER.is_some() { WITH_PHOTOS } else { TEXTS }
}

/// The form for a file or pasted text.
pub async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(For { outlet }): Query<For>,
) -> Result<Response, Failure> {
    let form = Form::filled([("id", new_id()), ("outlet", outlet)]);
    upload_page(&app, visitor, form).await
}

async fn upload_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let outlets = outlets.into_iter().filter(|outlet| !outlet.is_closed());
    let outlets = outlets.map(|outlet| (outlet.id.to_string(), outlet.details.name)).collect();
    let drafts = app.store.drafts(&visitor.shop.id).await?;
    let page = visitor.page(Screen::Prices, "Upload a price sheet");
    html(&UploadPage { page, visitor, form, outlets, drafts, file_kinds: file_kinds(), accept: accept() })
}

/// Reads what came, and keeps it as a draft.
pub async fn create(
    State(app): State<App>,
    visitor: Visitor,
    upload: Upload<LARGEST_UPLOAD>,
) -> Result<Response, Failure> {
    let Upload { mut form, file, too_large } = upload;
    let id = form.once("id")?;
    let draft_page = format!("/sheets/drafts/{id}");
    if is_there(&app, &visitor, &id).await? {
        // Sent twice: the first one was read.
        return Ok(Redirect::to(&draft_page).into_response());
    }
    let file_name = file.as_ref().map(|file| file.name.clone());
    let outlet = outlet(&app, &visitor, &mut form).await?;
    // Left empty, it is the day that the sheet names, or today.
    let typed_date = match form.value("valid_from").trim() {
        "" => Some(None),
        _ => day_typed(&mut form, "valid_from", visitor.today()).map(Some),
    };
    let source = source(&mut form, file, too_large);
    if let (Some(outlet), Some(typed_date), Some(source)) = (outlet, typed_date, source)
        && let Some(sheet) = read(&app, &visitor, &mut form, &source, &outlet).await
    {
        let valid_from = typed_date.or(sheet.valid_from).unwrap_or(visitor.today());
        let draft = NewDraft {
            id: &id,
            outlet_id: &outlet.id,
            sha256: &sha256(&source.bytes),
            file_name: &source.name,
            bytes: &source.bytes,
            reading: &to_json(&sheet)?,
            answers: &to_json(&Answers::new(valid_from))?,
        };
        app.store.add_draft(&visitor.by(), &draft).await?;
        return Ok(Redirect::to(&draft_page).into_response());
    }
    if let Some(name) = file_name {
        // A browser never fills a file field in again.
        form.refuse("file", format!("Choose {name} again: a browser does not keep a chosen file."));
    }
    let page = upload_page(&app, visitor, form).await?;
    Ok(if too_large.is_some() { (StatusCode::PAYLOAD_TOO_LARGE, page).into_response() } else { page })
}

async fn is_there(app: &App, visitor: &Visitor, id: &str) -> Result<bool, Failure> {
    match app.store.draft(&visitor.shop.id, id).await {
        Ok(_) => Ok(true),
        Err(StoreError::Missing) => match app.store.sheet(&visitor.shop.id, id).await {
            Ok(_) => Ok(true),
            Err(StoreError::Missing) => Ok(false),
            Err(other) => Err(other.into()),
        },
        Err(other) => Err(other.into()),
    }
}

async fn outlet(app: &App, visitor: &Visitor, form: &mut Form) -> Result<Option<Outlet>, Failure> {
    let id = form.value("outlet").to_string();
    if !is_id(&id) {
        form.refuse("outlet", "Choose whose prices these are.");
        return Ok(None);
    }
    match app.store.outlet(&visitor.shop.id, &id).await {
        Ok(outlet) if outlet.is_closed() => {
            form.refuse(
                "outlet",
                format!(
                    "{} has been closed meanwhile. Open it again first if it is back.",
                    outlet.details.name
                ),
            );
            Ok(None)
        }
        Ok(outlet) => Ok(Some(outlet)),
        Err(StoreError::Missing) => {
            form.refuse("outlet", "That outlet is not there any more. Choose another.");
            Ok(None)
        }
        Err(other) => Err(other.into()),
    }
}

/// The day from which a sheet's prices hold. One ahead is only questioned, and later, beside the sheet; a slip in the
/// year is refused here.
pub(super) fn day_typed(form: &mut Form, name: &str, today: Date) -> Option<Date> {
    form.date(name, today.saturating_sub(20.years()), today.saturating_add(1.year()))
}

/// What is to be read.
struct Source {
    /// The field it came in.
    field: &'static str,
    name: String,
    bytes: Vec<u8>,
}

fn source(form: &mut Form, file: Option<File>, too_large: Option<&str>) -> Option<Source> {
    let text = form.value("text");
    if let Some(field) = too_large {
        form.refuse(
            field,
            "That is larger than 10 MB, which no price sheet is, so nothing was saved. Save only the sheet with the \
             prices and upload that, or paste its lines.",
        );
        return None;
    }
    match (file, text.trim().is_empty()) {
        (Some(file), true) => Some(Source { field: "file", name: file.name, bytes: file.bytes }),
        (None, false) => {
            Some(Source { field: "text", name: "pasted.txt".into(), bytes: text.as_bytes().to_vec() })
        }
        (Some(_), false) => {
            form.refuse(
                "text",
                "Here is pasted text and above it a file, and one sheet is read at a time. Empty this field, or leave \
                 out the file.",
            );
            None
        }
        (None, true) => {
            form.refuse("file", "Choose a file, or paste the prices below.");
            None
        }
    }
}

async fn read(
    app: &App,
    visitor: &Visitor,
    form: &mut Form,
    source: &Source,
    outlet: &Outlet,
) -> Option<Sheet> {
    let hints = Hints {
        currency: outlet.details.currency,
        unit: Some(outlet.details.usual_unit),
        today: visitor.today(),
    };
    let format = detect(&source.name, &source.bytes).map_err(ReadError::from);
    let read = match format {
        Ok(format) => reader::read(&app.config.reader, format, &source.bytes, &hints).await,
        Err(unreadable) => Err(unreadable),
    };
    match read {
        Ok(sheet) if sheet.rows.is_empty() => {
            form.refuse(source.field, no_prices(&sheet));
            None
        }
        Ok(sheet) => Some(sheet),
        Err(problem) => {
            form.refuse(source.field, problem.to_string());
            None
        }
    }
}

fn no_prices(sheet: &Sheet) -> String {
    sheet.problems.iter().map(Problem::to_string).collect::<Vec<_>>().join(" ")
}
