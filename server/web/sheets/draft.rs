//! Review of a sheet that was read: matched, to confirm, left out, each line beside its source. Nothing counts until
//! it is confirmed; until then the answers are kept, whoever leaves the page.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use intake::{LeftOut, Problem};
use jiff::civil::Date;
use serde::Deserialize;
use trade::money::PriceUnit;

use super::Slice;
use super::desk::{Desk, Item, to_json};
use super::effect::{Effect, PlanEffect};
use super::line::{Families, LineView, fill, slip_from, take_lines};
use super::upload::day_typed;
use crate::review::{Answers, Slip, Standing};
use crate::store::StoreError;
use crate::store::drafts::{DraftHead, SheetDraft};
use crate::store::sheets::{PriceSheet, SheetRefusal};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

/// More grades than these without a price are folded, so that the lines are not pushed off a phone's screen.
const MOST_NAMED: usize = 8;

/// Lines in one page of the review.
const LINES_SHOWN: usize = 25;

/// Which part of the review is open, and from which line.
#[derive(Debug, Clone, Deserialize)]
pub struct At {
    part: Option<String>,
    #[serde(default)]
    from: usize,
}

fn part_code(part: Standing) -> &'static str {
    match part {
        Standing::ToConfirm => "confirm",
        Standing::Matched => "matched",
        Standing::LeftOut => "left-out",
    }
}

fn part_from(code: &str) -> Option<Standing> {
    [Standing::ToConfirm, Standing::Matched, Standing::LeftOut]
        .into_iter()
        .find(|part| part_code(*part) == code)
}

/// A part as a tab.
struct Tab {
    code: &'static str,
    words: &'static str,
    count: usize,
    is_open: bool,
}

#[derive(Template)]
#[template(path = "sheets/draft.html")]
struct DraftPage {
    page: Page,
    visitor: Visitor,
    draft: SheetDraft,
    form: Form,
    /// Sheets that were read from the same file, and drafts of it.
    same_file: Vec<PriceSheet>,
    same_drafts: Vec<DraftHead>,
    /// The sheet that stands in the way of this one.
    in_the_way: Option<String>,
    problems: Vec<Problem>,
    /// The day that the sheet itself names, where it is another one.
    day_of_sheet: Option<Date>,
    is_ahead: bool,
    /// Of a newer sheet of the outlet, where there is one: this one is then kept as history.
    newer: Option<Date>,
    /// Grades that the outlet's sheet in force has a price for and this one, which takes its place, has not.
    no_longer: Vec<String>,
    /// What saving it as it stands would change.
    effect: Option<Effect>,
    /// Prices for which the sheet names no unit.
    without_unit: usize,
    units: Vec<(String, String)>,
    usual_unit: &'static str,
    tabs: Vec<Tab>,
    part: Standing,
    slice: Slice,
    lines: Vec<LineView>,
    left_out: Vec<LeftOut>,
    families: Families,
    counts: Counts,
    rest_left_out: bool,
}

impl DraftPage {
    fn folds_no_longer(&self) -> bool {
        self.no_longer.len() > MOST_NAMED
    }
}

/// How many lines stand where, over the whole sheet.
struct Counts {
    matched: usize,
    to_confirm: usize,
    left_out: usize,
    /// Of those to confirm, the ones without a grade.
    without_grade: usize,
}

/// The review as it stands.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Query(at): Query<At>,
) -> Result<Response, Failure> {
    let Some(desk) = Desk::open(&app, &visitor, &id).await? else { return gone(&app, &visitor, &id).await };
    let part =
        at.part.as_deref().and_then(part_from).unwrap_or(match desk.review.count(Standing::ToConfirm) {
            0 => Standing::Matched,
            _ => Standing::ToConfirm,
        });
    let all = desk.items(part);
    let slice = Slice::of(all.len(), at.from, LINES_SHOWN);
    let shown = Shown::of(&desk, part, slice);
    let form = filled(&desk, &shown);
    draft_page(&app, visitor, desk, shown, form, None).await
}

/// What a page of the review has on it.
struct Shown {
    part: Standing,
    slice: Slice,
    lines: Vec<usize>,
    left_out: Vec<LeftOut>,
}

impl Shown {
    fn of(desk: &Desk, part: Standing, slice: Slice) -> Shown {
        let (mut lines, mut left_out) = (Vec::new(), Vec::new());
        for item in desk.items(part).into_iter().skip(slice.from).take(slice.size) {
            match item {
                Item::Line(line) => lines.push(line),
                Item::Out(out) => left_out.push(out),
            }
        }
        Shown { part, slice, lines, left_out }
    }

    /// The page that a form was sent from: its lines are the form's, wherever they stand now.
    fn of_form(desk: &Desk, form: &Form) -> Shown {
        let part = part_from(form.value("part")).unwrap_or(Standing::ToConfirm);
        let from = form.value("from").parse().unwrap_or(0);
        let slice = Slice::of(desk.items(part).len(), from, LINES_SHOWN);
        let there: BTreeSet<usize> = desk.review.lines.iter().map(|line| line.id).collect();
        let lines =
            form.values("line").filter_map(|id| id.parse().ok()).filter(|id| there.contains(id)).collect();
        Shown { part, slice, lines, left_out: Shown::of(desk, part, slice).left_out }
    }
}

/// The form of a page as it opens.
fn filled(desk: &Desk, shown: &Shown) -> Form {
    let mut form = Form::filled([
        ("version", desk.draft.version.to_string()),
        ("valid_from", desk.answers.valid_from.to_string()),
        ("unit", desk.answers.unit.map(|unit| unit.code().to_string()).unwrap_or_default()),
        ("part", part_code(shown.part).to_string()),
        ("from", shown.slice.from.to_string()),
    ]);
    fill(&mut form, &desk.review, &shown.lines);
    form
}

async fn draft_page(
    app: &App,
    visitor: Visitor,
    desk: Desk,
    shown: Shown,
    form: Form,
    in_the_way: Option<String>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let same_file = app.store.sheets_of_file(shop, &desk.draft.sha256).await?;
    let mut same_drafts = app.store.drafts(shop).await?;
    same_drafts.retain(|other| other.sha256 == desk.draft.sha256 && other.id != desk.draft.id);
    let date = desk.answers.valid_from;
    let newest =
        app.store.sheets(shop, Some(&desk.outlet.id)).await?.into_iter().map(|sheet| sheet.valid_from);
    let newer = newest.filter(|day| *day > date && *day <= visitor.today()).max();

    let no_longer = if newer.is_none() { desk.no_longer() } else { Vec::new() };
    let counts_today = newer.is_none() && date <= visitor.today();
    let effect = Effect::of(&desk, counts_today, app, &visitor).await?;
    let (review, families) = (&desk.review, Families::of(&desk.grades));
    let counts = Counts {
        matched: review.count(Standing::Matched),
        to_confirm: review.count(Standing::ToConfirm),
        left_out: review.count(Standing::LeftOut) + review.left_out.len(),
        without_grade: review.in_standing(Standing::ToConfirm).filter(|line| line.grade().is_none()).count(),
    };
    let tab = |part, words, count| Tab { code: part_code(part), words, count, is_open: part == shown.part };
    let tabs = vec![
        tab(Standing::ToConfirm, "To confirm", counts.to_confirm),
        tab(Standing::Matched, "Matched", counts.matched),
        tab(Standing::LeftOut, "Left out", counts.left_out),
    ];
    let lines = review
        .lines
        .iter()
        .filter(|line| shown.lines.contains(&line.id))
        .map(|line| LineView::of(line, &families, &visitor, &form))
        .collect();
    let day_of_sheet = desk.sheet.valid_from.filter(|day| *day != date);
    let page = visitor.page(Screen::Prices, format!("Review: {}", desk.outlet.details.name));
    html(&DraftPage {
        is_ahead: date > visitor.today(),
        without_unit: super::line::without_unit(&desk.sheet),
        units: super::line::unit_options(),
        usual_unit: desk.outlet.details.usual_unit.label(),
        rest_left_out: desk.answers.rest_left_out,
        problems: desk.sheet.problems.clone(),
        part: shown.part,
        slice: shown.slice,
        left_out: shown.left_out,
        draft: desk.draft,
        page,
        visitor,
        form,
        same_file,
        same_drafts,
        in_the_way,
        day_of_sheet,
        newer,
        no_longer,
        effect,
        tabs,
        lines,
        families,
        counts,
    })
}

/// What a button of the review asks for, besides keeping the answers on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Press {
    Save,
    /// To another page of the review.
    Go(Standing, usize),
    /// All prices on the page are right as they stand.
    PricesRight,
    /// Lines that have no grade stay without one.
    LeaveRest(bool),
    /// The likely reason of a price that looks wrong is the true one.
    PutRight {
        row: usize,
        slip: Slip,
    },
    Confirm,
}

impl Press {
    fn of(code: &str) -> Press {
        let mut words = code.split(':');
        match (words.next(), words.next(), words.next()) {
            (Some("confirm"), ..) => Press::Confirm,
            (Some("prices-right"), ..) => Press::PricesRight,
            (Some("leave-rest"), ..) => Press::LeaveRest(true),
            (Some("ask-rest"), ..) => Press::LeaveRest(false),
            (Some("go"), Some(part), from) => match part_from(part) {
                Some(part) => Press::Go(part, from.and_then(|from| from.parse().ok()).unwrap_or(0)),
                None => Press::Save,
            },
            (Some("put-right"), Some(row), Some(slip)) => match (row.parse(), slip_from(slip)) {
                (Ok(row), Some(slip)) => Press::PutRight { row, slip },
                _ => Press::Save,
            },
            _ => Press::Save,
        }
    }
}

/// Keeps the answers on the page, and does what the button says.
pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let Some(mut desk) = Desk::open(&app, &visitor, &id).await? else {
        return gone(&app, &visitor, &id).await;
    };
    let shown = Shown::of_form(&desk, &form);
    if form.version() != desk.draft.version {
        form.overtaken_by(&filled(&desk, &shown));
        return draft_page(&app, visitor, desk, shown, form, None).await;
    }
    let press = Press::of(form.value("do"));
    let answers = answered(&mut form, &desk, &shown, press, visitor.today());
    if !form.is_good() {
        return draft_page(&app, visitor, desk, shown, form, None).await;
    }
    if answers != desk.answers {
        let json = to_json(&answers)?;
        match app.store.save_answers(&visitor.by(), &id, desk.draft.version, &json).await {
            Ok(()) => desk.draft.version += 1,
            Err(StoreError::Stale) => return overtaken(&app, visitor, &id, form).await,
            Err(other) => return Err(other.into()),
        }
        desk.answers = answers;
        desk.work_out(&app, &visitor).await?;
    }
    let (part, from) = match press {
        Press::Confirm if desk.review.count(Standing::ToConfirm) == 0 => {
            form.set("version", desk.draft.version.to_string());
            return confirm(&app, visitor, desk, shown, form).await;
        }
        Press::Confirm => (Standing::ToConfirm, 0),
        Press::Go(part, from) => (part, from),
        _ => (shown.part, shown.slice.from),
    };
    Ok(Redirect::to(&format!("/sheets/drafts/{id}?part={}&from={from}", part_code(part))).into_response())
}

/// The answers with what the form says and the button does.
fn answered(form: &mut Form, desk: &Desk, shown: &Shown, press: Press, today: Date) -> Answers {
    let mut answers = desk.answers.clone();
    if let Some(day) = day_typed(form, "valid_from", today) {
        answers.valid_from = day;
    }
    if form.has("unit") {
        answers.unit = PriceUnit::from_code(form.value("unit"));
    }
    let in_use: BTreeSet<&str> =
        desk.grades.iter().filter(|grade| !grade.retired).map(|grade| grade.id.as_str()).collect();
    take_lines(form, &desk.review, &shown.lines, &in_use, &mut answers);
    match press {
        Press::PricesRight => {
            let on_page = desk.review.lines.iter().filter(|line| shown.lines.contains(&line.id));
            for line in on_page.filter(|line| line.asks_about_prices()) {
                answers.lines.entry(line.id).or_default().right = true;
            }
        }
        Press::LeaveRest(leave) => answers.rest_left_out = leave,
        Press::PutRight { row, slip } => {
            let prices = desk.review.lines.iter().flat_map(|line| &line.prices);
            if let Some(price) = prices.into_iter().find(|price| price.row == row) {
                let answer = answers.prices.entry(row).or_insert_with(|| price.answer());
                *answer = answer.put_right(slip);
            }
        }
        Press::Save | Press::Go(..) | Press::Confirm => {}
    }
    answers
}

/// Shows the form again over what somebody else saved in the same moment.
async fn overtaken(app: &App, visitor: Visitor, id: &str, mut form: Form) -> Result<Response, Failure> {
    let Some(desk) = Desk::open(app, &visitor, id).await? else { return gone(app, &visitor, id).await };
    let shown = Shown::of_form(&desk, &form);
    form.overtaken_by(&filled(&desk, &shown));
    draft_page(app, visitor, desk, shown, form, None).await
}

async fn confirm(
    app: &App,
    visitor: Visitor,
    desk: Desk,
    shown: Shown,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = desk.draft.id.clone();
    let date = desk.answers.valid_from;
    if date > visitor.today() && form.value("ahead") != "yes" {
        let (day, when) = (visitor.day(date), visitor.ago(date));
        form.refuse(
            "valid_from",
            format!("{day} is still to come ({when}). If that is right, tick so below."),
        );
        return draft_page(app, visitor, desk, shown, form, None).await;
    }
    if desk.review.count(Standing::Matched) == 0 {
        form.refuse(
            "form",
            "No line is matched to a grade, so the sheet would say nothing. Match one, or throw it away.",
        );
        return draft_page(app, visitor, desk, shown, form, None).await;
    }
    let sheet = desk.review.new_sheet(&id, &desk.outlet.id, &desk.draft.sha256, &desk.answers);
    let done =
        app.store.confirm_draft(&visitor.by(), desk.draft.version, &sheet, &desk.review.learned()).await;
    match done {
        Ok(()) => Ok(Redirect::to(&format!("/sheets/{id}")).into_response()),
        Err(StoreError::Stale) => overtaken(app, visitor, &id, form).await,
        Err(StoreError::Sheet(refusal)) => {
            let (field, in_the_way) = match &refusal {
                SheetRefusal::SavedAlready { sheet_id } => ("valid_from", Some(sheet_id.clone())),
                SheetRefusal::OutletClosed(_) | SheetRefusal::GradeRetired(_) => ("form", None),
            };
            form.refuse(field, refusal.to_string());
            draft_page(app, visitor, desk, shown, form, in_the_way).await
        }
        Err(other) => Err(other.into()),
    }
}

/// Where a draft's address leads once it is no longer there: to its sheet, or nowhere.
async fn gone(app: &App, visitor: &Visitor, id: &str) -> Result<Response, Failure> {
    match app.store.sheet(&visitor.shop.id, id).await {
        Ok(_) => Ok(Redirect::to(&format!("/sheets/{id}?already=yes")).into_response()),
        Err(StoreError::Missing) => Err(Failure::refused(
            StatusCode::NOT_FOUND,
            "This sheet is not under review",
            "Somebody threw it away, or the address was cut off. If it is still wanted, upload it again.",
        )),
        Err(other) => Err(other.into()),
    }
}

/// Throws the draft away.
pub async fn discard(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    match app.store.discard_draft(&visitor.by(), &id).await {
        Ok(()) => Ok(Redirect::to("/sheets").into_response()),
        Err(StoreError::Missing) => gone(&app, &visitor, &id).await,
        Err(other) => Err(other.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trade::mass::MassUnit;

    #[test]
    fn what_a_button_asks_for() {
        assert_eq!(Press::of("go:matched:25"), Press::Go(Standing::Matched, 25));
        assert_eq!(
            Press::of("put-right:12:kg"),
            Press::PutRight { row: 12, slip: Slip::Unit(MassUnit::Kilogram) }
        );
        // Whatever else comes only keeps the answers.
        for code in ["", "save", "go:nowhere:1", "put-right:x:kg", "put-right:1:parsec"] {
            assert_eq!(Press::of(code), Press::Save, "{code}");
        }
    }
}
