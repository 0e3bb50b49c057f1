//! Adding a grade, and changing what is said about one.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::{Decimal, dec};
use trade::ids::GradeId;
use trade::volume::BulkDensity;

use super::find;
use crate::store::StoreError;
use crate::store::grades::{
    Confusion, FAMILIES, Grade, GradeDetails, GradeNotes, KeptBack, LONGEST_SLUG, SoldBy, Specification,
    Tell, is_slug,
};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

/// The fields of what a grade is confused with, and of what is kept back before it is sold.
const CONFUSED: [&str; 2] = ["confused", "tell"];
const KEPT_FIRST: [&str; 2] = ["first", "where"];
/// The most grades that one can be confused with, and the most lines of each list.
const MOST_ENTRIES: usize = 12;
/// Empty rows offered below the confusions that are there.
const SPARE_ROWS: usize = 2;
/// Addresses below `/grades/` that are not a grade.
const RESERVED: [&str; 3] = ["more", "new", "recognise"];

#[derive(Template)]
#[template(path = "grades/edit.html")]
struct EditPage {
    page: Page,
    /// `None` while the grade is new.
    grade: Option<Grade>,
    form: Form,
    families: Vec<(String, String)>,
    ways: Vec<(String, String)>,
    others: Vec<(String, String)>,
    ways_to_keep: Vec<(String, String)>,
    rows: Vec<Row>,
    first_rows: Vec<Row>,
}

/// The fields of another grade and what is said of it.
struct Row {
    number: usize,
    grade: String,
    tell: String,
}

impl Row {
    fn at([grade, tell]: [&str; 2], index: usize) -> Row {
        Row { number: index + 1, grade: format!("{grade}-{index}"), tell: format!("{tell}-{index}") }
    }

    /// The rows that are filled in, and some to spare.
    fn shown(fields: [&str; 2], form: &Form) -> Vec<Row> {
        let rows = || (0..MOST_ENTRIES).map(|index| Row::at(fields, index));
        let is_used = |row: &Row| !form.value(&row.grade).is_empty() || !form.value(&row.tell).is_empty();
        let used = rows().filter(is_used).map(|row| row.number).max().unwrap_or(0);
        rows().take(used + SPARE_ROWS).collect()
    }

    /// Puts what is stored into the rows.
    fn fill(fields: [&str; 2], form: &mut Form, stored: &[Confusion]) {
        for (index, other) in stored.iter().enumerate() {
            let row = Row::at(fields, index);
            form.set(&row.grade, other.grade.as_str());
            form.set(&row.tell, other.tell.clone());
        }
    }
}

pub async fn new(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let form =
        Form::filled([("family", FAMILIES[0].to_string()), ("sold_by", SoldBy::Mass.code().to_string())]);
    edit_page(&app, visitor, None, form).await
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let slug = slug(&mut form);
    let details = details(&mut form);
    if let (Some(slug), Some(details), true) = (slug, details, form.is_good()) {
        match app.store.create_grade(&visitor.by(), &slug, &details).await {
            Ok(()) => return Ok(Redirect::to(&format!("/grades/{slug}")).into_response()),
            Err(StoreError::Duplicate) => {
                let grades = app.store.grades(&visitor.shop.id).await?;
                match grades.iter().find(|grade| grade.id == slug) {
                    // The same form sent twice: the first one has done it.
                    Some(there) if there.details == details => {
                        return Ok(Redirect::to(&format!("/grades/{slug}")).into_response());
                    }
                    Some(there) => {
                        let problem = format!("“{slug}” is {} already. Choose another.", there.details.name);
                        form.refuse("slug", problem);
                    }
                    None => form.refuse("name", "Another grade has that name. Choose another."),
                }
            }
            Err(other) => return Err(other.into()),
        }
    }
    edit_page(&app, visitor, None, form).await
}

pub async fn edit(
    State(app): State<App>,
    visitor: Visitor,
    Path(grade): Path<String>,
) -> Result<Response, Failure> {
    let grade = find(&app, &visitor, &grade).await?;
    let form = filled(&grade);
    edit_page(&app, visitor, Some(grade), form).await
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(grade): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let grade = find(&app, &visitor, &grade).await?;
    if let Some(details) = details(&mut form) {
        match app.store.save_grade(&visitor.by(), &grade.id, form.version(), &details).await {
            Ok(()) => return Ok(Redirect::to(&format!("/grades/{}", grade.id)).into_response()),
            Err(StoreError::Stale) => {
                let now = find(&app, &visitor, grade.id.as_str()).await?;
                form.overtaken_by(&filled(&now));
            }
            Err(StoreError::Duplicate) => form.refuse("name", "Another grade has that name. Choose another."),
            Err(other) => return Err(other.into()),
        }
    }
    edit_page(&app, visitor, Some(grade), form).await
}

async fn edit_page(
    app: &App,
    visitor: Visitor,
    grade: Option<Grade>,
    form: Form,
) -> Result<Response, Failure> {
    let title = match &grade {
        Some(grade) => format!("Change {}", grade.details.name),
        None => "New grade".to_string(),
    };
    let mut others = vec![(String::new(), "Nothing".to_string())];
    for other in app.store.grades(&visitor.shop.id).await? {
        if grade.as_ref().is_none_or(|grade| grade.id != other.id) {
            let retired = if other.retired { " (retired)" } else { "" };
            others.push((other.id.to_string(), format!("{}{retired}", other.details.name)));
        }
    }
    let ways = vec![
        (SoldBy::Mass.code().to_string(), "by weight".to_string()),
        (SoldBy::Each.code().to_string(), "by the piece".to_string()),
    ];
    let ways_to_keep = vec![
        (String::new(), "in bags and boxes, like most".to_string()),
        ("yes".to_string(), "kept back: small and precious".to_string()),
    ];
    let (rows, first_rows) = (Row::shown(CONFUSED, &form), Row::shown(KEPT_FIRST, &form));
    let families = FAMILIES.map(|family| (family.to_string(), family.to_string())).to_vec();
    let page = visitor.page(Screen::Grades, title);
    html(&EditPage { page, grade, form, families, ways, others, ways_to_keep, rows, first_rows })
}

fn filled(grade: &Grade) -> Form {
    let details = &grade.details;
    let notes = &details.notes;
    let tells: Vec<_> =
        notes.recognise.iter().map(|tell| format!("{}: {}", tell.test, tell.finding)).collect();
    let spec = notes.spec.as_ref();
    let recovery = notes.recovery.map(|share| (share * dec!(100)).normalize().to_string());
    let piece_grams = notes.kept_back.as_ref().and_then(|kept| kept.piece_grams);
    let mut form = Form::filled([
        ("name", details.name.clone()),
        ("family", details.family.clone()),
        ("summary", details.summary.clone()),
        ("recognise", tells.join("\n")),
        ("spoils", notes.spoils.join("\n")),
        ("caution", notes.caution.clone().unwrap_or_default()),
        ("spec_code", spec.map(|spec| spec.code.clone()).unwrap_or_default()),
        ("spec_nominal", spec.map(|spec| spec.nominal.clone()).unwrap_or_default()),
        ("spec_source", spec.map(|spec| spec.source.clone()).unwrap_or_default()),
        ("bulk_density", details.bulk_density.get().to_string()),
        ("bulk_density_source", details.bulk_density_source.clone()),
        ("recovery", recovery.unwrap_or_default()),
        ("sold_by", details.sold_by.code().to_string()),
        ("kept_back", notes.kept_back.as_ref().map_or("", |_| "yes").to_string()),
        ("piece_grams", piece_grams.map(|grams| grams.normalize().to_string()).unwrap_or_default()),
        ("version", grade.version.to_string()),
    ]);
    Row::fill(CONFUSED, &mut form, &notes.confused_with);
    Row::fill(KEPT_FIRST, &mut form, &notes.keep_back_first);
    form
}

/// The slug as typed, or made from the name where none was.
fn slug(form: &mut Form) -> Option<GradeId> {
    let typed = form.optional_text("slug", 200)?;
    let slug = if typed.is_empty() { proposed_slug(form.value("name")) } else { typed };
    // It stays in the form, so that a proposal that cannot be taken can be seen and changed.
    form.set("slug", slug.clone());
    if RESERVED.contains(&slug.as_str()) {
        form.refuse("slug", format!("“{slug}” is the address of another page. Choose another."));
        return None;
    }
    if !is_slug(&slug) {
        let problem = format!(
            "Lowercase words and numbers with hyphens, like copper-2, of at most {LONGEST_SLUG} characters."
        );
        form.refuse("slug", problem);
        return None;
    }
    Some(GradeId::new(slug))
}

/// `No. 1 heavy copper` becomes `no-1-heavy-copper`. Letters outside plain ones fall away.
fn proposed_slug(name: &str) -> String {
    let words: Vec<_> = name
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    let mut slug = String::new();
    for word in words {
        let longer = if slug.is_empty() { word } else { format!("{slug}-{word}") };
        if longer.len() > LONGEST_SLUG {
            break;
        }
        slug = longer;
    }
    slug
}

fn details(form: &mut Form) -> Option<GradeDetails> {
    let family = form.choice("family", |code| FAMILIES.into_iter().find(|family| *family == code));
    let name = form.text("name", 60);
    let summary = form.text("summary", 240);
    let recognise = tells(form);
    let confused_with = others(form, CONFUSED, "Say how to tell the two apart.");
    let keep_back_first = others(form, KEPT_FIRST, "Say what it looks like and where it sits.");
    let kept_back = kept_back(form);
    let spoils = form.lines("spoils", MOST_ENTRIES, 160);
    let spec = specification(form);
    let caution = form.optional_text("caution", 400);
    let recovery = recovery(form);
    let bulk_density = form.decimal("bulk_density", dec!(0.001), dec!(25)).and_then(BulkDensity::new);
    let bulk_density_source = form.text("bulk_density_source", 160);
    let sold_by = form.choice("sold_by", SoldBy::from_code);
    let details = GradeDetails {
        family: family?.to_string(),
        name: name?,
        summary: summary?,
        notes: GradeNotes {
            recognise: recognise?,
            confused_with: confused_with?,
            spoils: spoils?,
            spec: spec?,
            caution: caution.map(|caution| (!caution.is_empty()).then_some(caution))?,
            recovery: recovery?,
            kept_back: kept_back?,
            keep_back_first: keep_back_first?,
        },
        bulk_density: bulk_density?,
        bulk_density_source: bulk_density_source?,
        sold_by: sold_by?,
    };
    form.is_good().then_some(details)
}

/// A test a line, with a colon before what it finds.
fn tells(form: &mut Form) -> Option<Vec<Tell>> {
    let mut tells = Vec::new();
    for (index, line) in form.lines("recognise", MOST_ENTRIES, 240)?.iter().enumerate() {
        match line.split_once(':').map(|(test, finding)| (test.trim(), finding.trim())) {
            Some((test, finding)) if !test.is_empty() && !finding.is_empty() => {
                tells.push(Tell { test: test.to_string(), finding: finding.to_string() });
            }
            _ => {
                let problem = format!(
                    "Line {} needs the test, a colon and what it finds, like “magnet: does not pull”.",
                    index + 1
                );
                form.refuse("recognise", problem);
                return None;
            }
        }
    }
    Some(tells)
}

/// Rows of another grade each, with what is said of it; `nothing_said` where that is missing.
fn others(form: &mut Form, fields: [&str; 2], nothing_said: &str) -> Option<Vec<Confusion>> {
    let mut others = Vec::new();
    for row in (0..MOST_ENTRIES).map(|index| Row::at(fields, index)) {
        let grade = form.optional_text(&row.grade, LONGEST_SLUG)?;
        let tell = form.optional_text(&row.tell, 240)?;
        match (grade.is_empty(), tell.is_empty()) {
            (true, true) => {}
            (false, false) if is_slug(&grade) => {
                others.push(Confusion { grade: GradeId::new(grade), tell });
            }
            (false, true) => form.refuse(&row.tell, nothing_said),
            _ => form.refuse(&row.grade, "Choose the grade that it is about."),
        }
    }
    Some(others)
}

/// Whether it is kept back, with what a piece weighs if somebody knows.
fn kept_back(form: &mut Form) -> Option<Option<KeptBack>> {
    let is_kept = form.choice("kept_back", |code| match code {
        "" => Some(false),
        "yes" => Some(true),
        _ => None,
    })?;
    if form.value("piece_grams").trim().is_empty() {
        return Some(is_kept.then_some(KeptBack { piece_grams: None }));
    }
    let piece_grams = form.decimal("piece_grams", dec!(0.001), dec!(10000))?.normalize();
    if !is_kept {
        form.refuse(
            "piece_grams",
            "Only a grade that is kept back has this. Empty it, or keep the grade back.",
        );
        return None;
    }
    Some(Some(KeptBack { piece_grams: Some(piece_grams) }))
}

/// Either all of the specification or nothing of it.
fn specification(form: &mut Form) -> Option<Option<Specification>> {
    let fields = ["spec_code", "spec_nominal", "spec_source"];
    if fields.iter().all(|name| form.value(name).trim().is_empty()) {
        return Some(None);
    }
    let [code, nominal, source] = fields.map(|name| form.text(name, 160));
    Some(Some(Specification { code: code?, nominal: nominal?, source: source? }))
}

/// The share of conductor, typed in percent; empty for what is no wire.
fn recovery(form: &mut Form) -> Option<Option<Decimal>> {
    if form.value("recovery").trim().is_empty() {
        return Some(None);
    }
    let percent = form.decimal("recovery", dec!(1), dec!(100))?;
    Some(Some((percent / dec!(100)).normalize()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slug_is_proposed_from_the_name() {
        for (name, slug) in [
            ("No. 1 heavy copper", "no-1-heavy-copper"),
            ("80 % insulated wire", "80-insulated-wire"),
            ("  Board, gold edge ", "board-gold-edge"),
            ("!?", ""),
            (
                "A very long name that nobody would ever want in an address",
                "a-very-long-name-that-nobody-would-ever",
            ),
        ] {
            assert_eq!(proposed_slug(name), slug, "{name}");
            assert!(slug.is_empty() || is_slug(slug), "{slug}");
        }
        for wrong in ["", "Copper", "copper--2", "-copper", "copper-", "copper 2", "cøpper", &"a".repeat(41)]
        {
            assert!(!is_slug(wrong), "{wrong}");
        }
    }
}
