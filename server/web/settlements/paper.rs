//! A paper that is uploaded or pasted: kept as it came, shown as text to type from, and typed into the form where its
//! columns explain themselves.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use intake::{Hints, Learned, PaperRow, Place, Sheet, detect, paper_rows};
use rust_decimal::Decimal;
use trade::mass::Mass;
use trade::money::PriceUnit;

use super::draft::{Desk, gone, shown, to_json};
use super::typed::{MOST_LINES, count};
use crate::reader::{self, ReadError};
use crate::store::StoreError;
use crate::store::files::sha256;
use crate::store::settlement_drafts::NewPaper;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::Visitor;
use crate::web::upload::Upload;
use crate::web::{App, LARGEST_UPLOAD};

/// Lines of a paper that are shown, and how long each is at most.
const LINES_SHOWN: usize = 300;
const LONGEST_SHOWN: usize = 300;

/// Keeps what came, and reads what it can.
pub async fn paper(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    upload: Upload<LARGEST_UPLOAD>,
) -> Result<Response, Failure> {
    let Some(mut desk) = Desk::open(&app, &visitor, &id).await? else {
        return gone(&app, &visitor, &id).await;
    };
    let Upload { form: sent, file, too_large } = upload;
    let pasted = sent.value("text").to_string();
    let (name, bytes) = match (file, pasted.trim().is_empty(), too_large) {
        (_, _, Some(_)) => return refused(&visitor, desk, "That is larger than 10 MB, so it was not kept."),
        (Some(file), true, None) => (file.name, file.bytes),
        (None, false, None) => ("pasted.txt".to_string(), pasted.into_bytes()),
        (Some(_), false, None) => {
            return refused(&visitor, desk, "Here are a file and pasted text. Send one of them.");
        }
        (None, true, None) => return refused(&visitor, desk, "Choose a file, or paste the lines."),
    };
    let hints = Hints {
        currency: desk.subject.outlet.details.currency,
        unit: Some(desk.subject.outlet.details.usual_unit),
        today: visitor.today(),
    };
    let read = match detect(&name, &bytes).map_err(ReadError::from) {
        Ok(format) => reader::read(&app.config.reader, format, &bytes, &hints).await,
        Err(unreadable) => Err(unreadable),
    };
    match read {
        Ok(sheet) => {
            let lines = lines_of(sheet);
            let rows = paper_rows(&lines, &hints);
            let filled = fill(&mut desk, &app, &visitor, &rows).await?;
            desk.form.set("paper_text", lines.join("\n"));
            desk.form.set("paper_said", said(filled, rows.len()));
        }
        Err(problem) => {
            desk.form.set("paper_text", "");
            desk.form.set(
                "paper_said",
                format!("{name} is kept with the settlement, but it cannot be read here: {problem}"),
            );
        }
    }
    let version = sent.version();
    let kept = NewPaper { sha256: &sha256(&bytes), name: &name, bytes: &bytes };
    let typed = to_json(&desk.form)?;
    match app.store.save_settlement_draft(&visitor.by(), &id, version, &typed, Some(kept)).await {
        Ok(()) => Ok(Redirect::to(&format!("/settlements/drafts/{id}")).into_response()),
        Err(StoreError::Stale) => {
            let Some(now) = Desk::open(&app, &visitor, &id).await? else {
                return gone(&app, &visitor, &id).await;
            };
            if now.draft.sha256.as_deref() == Some(kept.sha256) {
                // Sent twice: the first one was kept.
                return Ok(Redirect::to(&format!("/settlements/drafts/{id}")).into_response());
            }
            refused(&visitor, now, "Somebody typed here meanwhile, so the paper was not kept. Send it again.")
        }
        Err(other) => Err(other.into()),
    }
}

fn refused(visitor: &Visitor, mut desk: Desk, problem: &str) -> Result<Response, Failure> {
    desk.form.set("version", desk.draft.version.to_string());
    desk.form.refuse("file", problem);
    shown(visitor, desk)
}

fn said(filled: usize, read: usize) -> String {
    match (filled, read) {
        (0, 0) => {
            "No line of it explains itself, so nothing was filled in. Type from the text below.".to_string()
        }
        (0, _) => "Figures had been typed already, so nothing was filled in over them.".to_string(),
        (filled, _) => format!(
            "Filled in from the paper: {filled} of its lines, each with a weight that times its price is its amount. \
             Compare them, and add what is missing."
        ),
    }
}

/// All lines of a paper in their order.
fn lines_of(sheet: Sheet) -> Vec<String> {
    let rows = sheet.rows.into_iter().map(|row| (row.place, row.source));
    let rest = sheet.left_out.into_iter().map(|left| (left.place, left.source));
    let key = |place: &Place| match place {
        Place::Line(line) => (String::new(), 0, *line),
        Place::Cell { sheet, row, .. } => (sheet.clone(), 0, *row),
        Place::Page { page, line } => (String::new(), *page, *line),
    };
    let mut lines: Vec<_> = rows.chain(rest).map(|(place, source)| (key(&place), source)).collect();
    lines.sort();
    lines.dedup();
    let cut = |line: String| line.replace('\n', " ").chars().take(LONGEST_SHOWN).collect();
    lines.into_iter().take(LINES_SHOWN).map(|(_, line)| cut(line)).collect()
}

/// Types the rows into the form, unless somebody has typed figures there; how many.
async fn fill(desk: &mut Desk, app: &App, visitor: &Visitor, rows: &[PaperRow]) -> Result<usize, Failure> {
    let lines = count(&desk.form, "lines", MOST_LINES);
    let figures = ["mass", "pieces", "price", "amount"];
    let is_typed = |line: usize| figures.iter().any(|f| !desk.form.value(&format!("{f}-{line}")).is_empty());
    if rows.is_empty() || (0..lines).any(is_typed) {
        return Ok(0);
    }
    let learned = Learned::new(app.store.meanings(&visitor.shop.id, &desk.subject.outlet.id).await?);
    let catalogue = app.matchers.of(&visitor.shop.id, &desk.subject.grades);
    let of_lines = ["wording", "grade", "unit", "lot", "mass", "pieces", "price", "amount"];
    let is_of_line = |name: &str| name.split_once('-').is_some_and(|(field, _)| of_lines.contains(&field));
    let mut values: Vec<(String, String)> = desk
        .form
        .all()
        .filter(|(name, _)| !is_of_line(name) && *name != "lines")
        .map(|(name, value)| (name.to_string(), value.to_string()))
        .collect();
    let rows: Vec<&PaperRow> =
        rows.iter().filter(|row| row.quantity > Decimal::ZERO).take(MOST_LINES).collect();
    for (line, row) in rows.iter().enumerate() {
        let mut add = |field: &str, value: String| values.push((format!("{field}-{line}"), value));
        let plain = |number: Decimal| number.normalize().to_string();
        add("wording", row.wording.clone());
        add("price", plain(row.price));
        add("amount", row.amount.to_string());
        match row.unit {
            Some(PriceUnit::Each) => add("pieces", plain(row.quantity)),
            Some(PriceUnit::Mass(unit)) => add("mass", visitor.spelled(Mass::of(row.quantity, unit))),
            None => add("mass", plain(row.quantity)),
        }
        let usual = desk.subject.outlet.details.usual_unit;
        add("unit", row.unit.unwrap_or(usual).code().to_string());
        let proposal = catalogue.propose(&learned, &row.wording, None);
        if let Some(grade) = proposal.grade.clone().filter(|_| proposal.is_sure()) {
            add("grade", grade.to_string());
            for lot in desk.subject.lots.iter().filter(|lot| lot.grade == grade) {
                add("lot", lot.id.to_string());
            }
        }
    }
    values.push(("lines".into(), rows.len().max(1).to_string()));
    desk.form = Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())));
    Ok(rows.len())
}
