//! Settlements: what did the buyer pay, and where did the rest of the money go?

mod draft;
mod letter;
mod paper;
mod subject;
mod typed;
pub(super) mod words;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use trade::ids::LotId;
use trade::settlement::{Comparison, compare};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html, money};
use super::sheets::attachment;
use crate::store::new_id;
use crate::store::settlements::{Settlement, Withdrawal};
pub(super) use subject::tolerance;
use subject::{Subject, address, grade_name};
use words::{Names, Row};

pub use draft::{begin, correct, discard, review, save, show as show_draft, update as update_draft};
pub use letter::show as letter;
pub use paper::paper;
pub use typed::kind_code;

#[derive(Template)]
#[template(path = "settlements/show.html")]
struct SettlementPage {
    page: Page,
    visitor: Visitor,
    settlement: Settlement,
    /// The page of what it is about.
    back: String,
    comparison: Shown,
    lines: Vec<Line>,
    /// Of the form that corrects it, and of the one that takes it back.
    correction_id: String,
    withdrawal_id: String,
    /// Days from sending to the payment.
    days: Option<i32>,
}

/// A comparison as a page shows it.
struct Shown {
    rows: Vec<Row>,
    promised: String,
    paid: String,
    difference: String,
    /// The same three in home currency, where that is another one.
    home: Option<[String; 3]>,
    /// Grades with every lot of them, and what no line pays for.
    grades: Vec<GradeRow>,
}

/// One grade of the delivery: ours and theirs.
struct GradeRow {
    name: String,
    sent: String,
    found: String,
    promised: String,
    paid: String,
    unpaid: Vec<String>,
}

/// A line or a charge of the paper.
struct Line {
    wording: String,
    grade: String,
    figures: String,
    amount: String,
    lots: String,
}

impl Shown {
    fn new(comparison: &Comparison, paper: &trade::settlement::Paper, names: &Names<'_>) -> Shown {
        let home = names.visitor.home();
        let difference = comparison.paid - comparison.promised;
        let arrived = comparison.home.arrived.filter(|_| paper.currency != home);
        let grades = comparison.groups.iter().map(|group| GradeRow {
            name: (names.grade)(&group.grade),
            sent: names.visitor.mass(group.sent),
            found: group.found.map_or_else(|| "—".to_string(), |found| names.visitor.mass(found)),
            promised: money(group.promised, paper.currency),
            paid: money(group.paid, paper.currency),
            unpaid: group.unpaid.iter().map(|lot| (names.lot)(lot)).collect(),
        });
        Shown {
            rows: names.rows(comparison, paper, home),
            promised: money(comparison.promised, paper.currency),
            paid: money(comparison.paid, paper.currency),
            difference: money(difference, paper.currency),
            home: arrived.map(|arrived| {
                let promised = comparison.home.promised;
                [money(promised, home), money(arrived, home), money(arrived - promised, home)]
            }),
            grades: grades.collect(),
        }
    }
}

/// One settlement with its differences.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let settlement = app.store.settlement(&visitor.shop.id, &id).await?;
    let subject = Subject::of(&app, &visitor, &settlement.head.delivery, Some(&settlement)).await?;
    let delivery = &settlement.head.delivery;
    let tolerance = tolerance(&app, &visitor, delivery, &subject.outlet, Some(&id)).await?;
    let comparison = compare(&settlement.promise, &settlement.paper, &tolerance);
    let names = Names {
        grade: &|id| grade_name(&subject.grades, id),
        lot: &|id| subject.lot_label(id),
        visitor: &visitor,
    };
    let days = subject.sent_on.zip(settlement.head.paid_on).map(|(sent, paid)| (paid - sent).get_days());
    let title = format!("Settlement of {}", settlement.head.outlet_name);
    let page = visitor.page(Screen::Shipments, title);
    html(&SettlementPage {
        page,
        comparison: Shown::new(&comparison, &settlement.paper, &names),
        lines: lines(&settlement, &names),
        back: subject.address.clone(),
        correction_id: new_id(),
        withdrawal_id: new_id(),
        days,
        settlement,
        visitor: visitor.clone(),
    })
}

fn lines(settlement: &Settlement, names: &Names<'_>) -> Vec<Line> {
    let paper = &settlement.paper;
    let visitor = names.visitor;
    let lines = paper.lines.iter().map(|line| {
        let mass = line.mass.map(|mass| visitor.mass(mass));
        let pieces = line.pieces.map(|pieces| super::page::counted(pieces, "piece", "pieces"));
        let price = line.price.map(|price| format!("at {}", super::page::unbroken(&price.to_string())));
        let figures: Vec<String> = [mass, pieces, price].into_iter().flatten().collect();
        let lots: Vec<String> = line.pays_for.iter().map(|lot: &LotId| (names.lot)(lot)).collect();
        Line {
            wording: line.wording.clone(),
            grade: line.grade.as_ref().map(|grade| (names.grade)(grade)).unwrap_or_default(),
            figures: figures.join(", "),
            amount: money(line.amount, paper.currency),
            lots: lots.join(", "),
        }
    });
    let charges = paper.charges.iter().map(|charge| Line {
        wording: charge.wording.clone(),
        grade: typed::kind_code(charge.kind).to_string(),
        figures: String::new(),
        amount: money(-charge.amount, paper.currency),
        lots: String::new(),
    });
    lines.chain(charges).collect()
}

/// Takes a settlement back: it was another delivery's.
pub async fn withdraw(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let withdrawal_id = form.once("id")?;
    let settlement = app.store.settlement(&visitor.shop.id, &id).await?;
    let Some(why) = form.text("why", 200) else {
        return Err(Failure::refused(
            axum::http::StatusCode::UNPROCESSABLE_ENTITY,
            "Say why",
            "A few words are needed on why the settlement is taken back. Nothing was changed: go back and type them.",
        ));
    };
    let withdrawal = Withdrawal { id: &withdrawal_id, settlement_id: &id, why: &why };
    app.store.withdraw_settlement(&visitor.by(), &withdrawal).await?;
    Ok(Redirect::to(&address(&settlement.head.delivery)).into_response())
}

/// The paper as it came. It is whatever somebody uploaded, so no browser may open it in place.
pub async fn file(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let settlement = app.store.settlement(&visitor.shop.id, &id).await?;
    let Some(sha256) = settlement.sha256 else { return Err(Failure::missing("paper")) };
    let file = app.store.file(&visitor.shop.id, &sha256).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/octet-stream".to_string()),
        (header::CONTENT_DISPOSITION, attachment(&file.name)),
    ];
    Ok((headers, file.bytes).into_response())
}
