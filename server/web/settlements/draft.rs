//! Entering a paper: typed line by line, compared with what was sent, and only then saved. What was typed is kept with
//! every button.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use trade::ids::LotId;
use trade::mass::MassUnit;
use trade::money::Currency;
use trade::settlement::{Comparison, Doubt, Promise, compare, doubts};

use super::Shown;
use super::subject::{Subject, SubjectLot, address, tolerance};
use super::typed::{self, MOST_CHARGES, MOST_LINES, Typed, count};
use super::words::Names;
use crate::store::StoreError;
use crate::store::settlement_drafts::{NewSettlementDraft, SettlementDraft};
use crate::store::settlements::{Delivery, NewSettlement, Replaces, SettlementRefusal};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, money, unbroken};
use crate::web::sheets::unit_options;

/// A draft with what it is about and what was typed.
pub(super) struct Desk {
    pub draft: SettlementDraft,
    pub subject: Subject,
    pub form: Form,
}

impl Desk {
    /// `None` where the draft is no longer there.
    pub async fn open(app: &App, visitor: &Visitor, id: &str) -> Result<Option<Desk>, Failure> {
        let draft = match app.store.settlement_draft(&visitor.shop.id, id).await {
            Ok(draft) => draft,
            Err(StoreError::Missing) => return Ok(None),
            Err(other) => return Err(other.into()),
        };
        let settled = match &draft.replaces {
            Some(id) => Some(app.store.settlement(&visitor.shop.id, id).await?),
            None => None,
        };
        let subject = Subject::of(app, visitor, &draft.delivery, settled.as_ref()).await?;
        let form = from_json(&draft.typed)?;
        Ok(Some(Desk { draft, subject, form }))
    }
}

pub(super) fn to_json(form: &Form) -> Result<String, StoreError> {
    let kept: Vec<(&str, &str)> = form.all().filter(|(name, _)| !matches!(*name, "version" | "do")).collect();
    serde_json::to_string(&kept).map_err(|cause| StoreError::Encode(cause.to_string()))
}

fn from_json(json: &str) -> Result<Form, StoreError> {
    let kept: Vec<(String, String)> =
        serde_json::from_str(json).map_err(|cause| StoreError::Encode(cause.to_string()))?;
    Ok(Form::filled(kept.iter().map(|(name, value)| (name.as_str(), value.clone()))))
}

/// Where somebody ends up whose draft is gone: at the settlement that was made of it, if one was.
pub(super) async fn gone(app: &App, visitor: &Visitor, id: &str) -> Result<Response, Failure> {
    match app.store.settlement(&visitor.shop.id, id).await {
        Ok(_) => Ok(Redirect::to(&format!("/settlements/{id}")).into_response()),
        Err(StoreError::Missing) => Err(Failure::missing("draft")),
        Err(other) => Err(other.into()),
    }
}

fn draft_page(id: &str) -> Response {
    Redirect::to(&format!("/settlements/drafts/{id}")).into_response()
}

/// Begins to enter the paper of a shipment.
pub async fn begin(
    State(app): State<App>,
    visitor: Visitor,
    Path(shipment): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let delivery = Delivery::Shipment(shipment);
    let subject = Subject::of(&app, &visitor, &delivery, None).await?;
    if subject.sent_on.is_none() {
        return Err(StoreError::from(SettlementRefusal::NotSent).into());
    }
    let draft = NewSettlementDraft {
        id: &id,
        outlet_id: &subject.outlet.id,
        delivery: &delivery,
        replaces: None,
        typed: &to_json(&typed::opened(&subject, visitor.style()))?,
        sha256: None,
    };
    app.store.add_settlement_draft(&visitor.by(), &draft).await?;
    Ok(draft_page(&id))
}

/// Begins to correct a settlement.
pub async fn correct(
    State(app): State<App>,
    visitor: Visitor,
    Path(settlement): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let settlement = app.store.settlement(&visitor.shop.id, &settlement).await?;
    if settlement.replaced_by.as_deref() == Some(id.as_str()) {
        // Sent twice, and saved in between.
        return gone(&app, &visitor, &id).await;
    }
    if settlement.replaced_by.is_some() || settlement.head.is_withdrawal {
        return Err(StoreError::from(SettlementRefusal::Replaced).into());
    }
    let draft = NewSettlementDraft {
        id: &id,
        outlet_id: &settlement.head.outlet_id,
        delivery: &settlement.head.delivery,
        replaces: Some(&settlement.head.id),
        typed: &to_json(&typed::reopened(&settlement, &visitor))?,
        sha256: settlement.sha256.as_deref(),
    };
    app.store.add_settlement_draft(&visitor.by(), &draft).await?;
    Ok(draft_page(&id))
}

#[derive(Template)]
#[template(path = "settlements/draft.html")]
struct DraftPage {
    page: Page,
    visitor: Visitor,
    draft: SettlementDraft,
    form: Form,
    lines: Vec<LineFields>,
    charges: Vec<ChargeFields>,
    lots: Vec<SubjectLot>,
    grades: Vec<(String, Vec<(String, String)>)>,
    mass_units: Vec<(String, String)>,
    price_units: Vec<(String, String)>,
    /// The paper is, or may be, in a currency that has to be changed.
    is_foreign: bool,
    /// The upload as text, to type from, and what became of it.
    paper: Vec<String>,
    paper_said: String,
    back: String,
}

/// The names of a line's fields.
struct LineFields {
    number: usize,
    wording: String,
    grade: String,
    mass: String,
    pieces: String,
    price: String,
    unit: String,
    amount: String,
    lot: String,
    ticked: Vec<String>,
    /// What its lots were promised by.
    promised: String,
}

impl LineFields {
    fn has(&self, lot: &LotId) -> bool {
        self.ticked.iter().any(|ticked| ticked == lot.as_str())
    }
}

struct ChargeFields {
    number: usize,
    kind: String,
    charge: String,
    taken: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let Some(mut desk) = Desk::open(&app, &visitor, &id).await? else {
        return gone(&app, &visitor, &id).await;
    };
    desk.form.set("version", desk.draft.version.to_string());
    shown(&visitor, desk)
}

pub(super) fn shown(visitor: &Visitor, desk: Desk) -> Result<Response, Failure> {
    let Desk { draft, subject, form } = desk;
    let home = visitor.home();
    let promised = |ticked: &[String]| {
        let mut prices: Vec<String> = subject
            .promise
            .sent
            .iter()
            .filter(|sent| ticked.iter().any(|lot| lot == sent.lot.as_str()))
            .map(|sent| unbroken(&sent.price.to_string()))
            .collect();
        prices.dedup();
        prices.join(", ")
    };
    let lines = (0..count(&form, "lines", MOST_LINES)).map(|line| {
        let name = |field: &str| format!("{field}-{line}");
        let ticked: Vec<String> = form.values(&name("lot")).map(str::to_string).collect();
        LineFields {
            number: line + 1,
            wording: name("wording"),
            grade: name("grade"),
            mass: name("mass"),
            pieces: name("pieces"),
            price: name("price"),
            unit: name("unit"),
            amount: name("amount"),
            lot: name("lot"),
            promised: promised(&ticked),
            ticked,
        }
    });
    let charges = (0..count(&form, "charges", MOST_CHARGES)).map(|charge| ChargeFields {
        number: charge + 1,
        kind: format!("kind-{charge}"),
        charge: format!("charge-{charge}"),
        taken: format!("taken-{charge}"),
    });
    let is_foreign = subject.promise.currency != home
        || Currency::from_code(form.value("currency").trim()).is_some_and(|currency| currency != home);
    let mass_units = MassUnit::ALL.map(|unit| (unit.code().to_string(), unit.label().to_string()));
    let page = visitor.page(Screen::Shipments, format!("Settlement of {}", subject.outlet.details.name));
    html(&DraftPage {
        page,
        visitor: visitor.clone(),
        lines: lines.collect(),
        charges: charges.collect(),
        grades: grade_options(&subject),
        lots: subject.lots.clone(),
        mass_units: mass_units.into(),
        price_units: unit_options(),
        is_foreign,
        paper_said: form.value("paper_said").to_string(),
        paper: form.value("paper_text").lines().map(str::to_string).collect(),
        back: subject.address.clone(),
        draft,
        form,
    })
}

/// The shop's grades: those that were sent first, then by family.
fn grade_options(subject: &Subject) -> Vec<(String, Vec<(String, String)>)> {
    let is_sent = |id: &str| subject.lots.iter().any(|lot| lot.grade.as_str() == id);
    let mut groups = vec![("sent".to_string(), Vec::new())];
    for grade in subject.grades.iter().filter(|grade| !grade.retired || is_sent(grade.id.as_str())) {
        let option = (grade.id.to_string(), grade.details.name.clone());
        if is_sent(grade.id.as_str()) {
            groups[0].1.push(option);
            continue;
        }
        match groups.iter_mut().skip(1).find(|(family, _)| *family == grade.details.family) {
            Some((_, options)) => options.push(option),
            None => groups.push((grade.details.family.clone(), vec![option])),
        }
    }
    groups
}

/// Keeps what was typed, and does what the button says.
pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let Some(mut desk) = Desk::open(&app, &visitor, &id).await? else {
        return gone(&app, &visitor, &id).await;
    };
    let button = form.value("do").to_string();
    // What a form does not carry belongs to the upload.
    for kept in ["paper_text", "paper_said"] {
        form.set(kept, desk.form.value(kept).to_string());
    }
    for (name, most) in [("lines", MOST_LINES), ("charges", MOST_CHARGES)] {
        let more = usize::from(button == name);
        let count = (count(&form, name, most) + more).min(most);
        form.set(name, count.to_string());
    }
    let version = form.version();
    match app.store.save_settlement_draft(&visitor.by(), &id, version, &to_json(&form)?, None).await {
        Ok(()) => {}
        Err(StoreError::Stale) => {
            desk.form.set("version", desk.draft.version.to_string());
            form.overtaken_by(&desk.form);
            desk.form = form;
            return shown(&visitor, desk);
        }
        Err(other) => return Err(other.into()),
    }
    if button != "look" {
        let place = match button.as_str() {
            "lines" => "#more-lines",
            "charges" => "#more-charges",
            _ => "",
        };
        return Ok(Redirect::to(&format!("/settlements/drafts/{id}{place}")).into_response());
    }
    let corrects = desk.draft.replaces.is_some();
    if typed::read(&mut form, &desk.subject, &visitor, corrects).is_some() {
        return Ok(Redirect::to(&format!("/settlements/drafts/{id}/review")).into_response());
    }
    form.set("version", (version + 1).to_string());
    desk.form = form;
    let page = shown(&visitor, desk)?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// What a draft comes to.
struct Worked {
    typed: Typed,
    promise: Promise,
    comparison: Comparison,
    doubts: Vec<String>,
}

/// `None` where the form has problems, or no rate leads to the paper's currency.
async fn work_out(app: &App, visitor: &Visitor, desk: &mut Desk) -> Result<Option<Worked>, Failure> {
    let corrects = desk.draft.replaces.is_some();
    let Some(typed) = typed::read(&mut desk.form, &desk.subject, visitor, corrects) else { return Ok(None) };
    let paper = &typed.paper;
    let Some(promise) = desk.subject.promise_in(app, visitor, paper.currency).await? else {
        let pays_in = desk.subject.promise.currency.code();
        let problem = format!(
            "Their prices are in {pays_in}, and there is no exchange rate from there to {}. Enter one under Exchange \
             rates, or check the currency.",
            paper.currency.code()
        );
        desk.form.refuse("currency", problem);
        return Ok(None);
    };
    let replaced = desk.draft.replaces.as_deref();
    let delivery = &desk.draft.delivery;
    let tolerance = tolerance(app, visitor, delivery, &desk.subject.outlet, replaced).await?;
    let comparison = compare(&promise, paper, &tolerance);
    let pays_in = desk.subject.promise.currency;
    let found =
        doubts(&promise, pays_in, paper, &comparison, &tolerance, desk.subject.sent_on, visitor.today());
    let mut doubts = in_words(&found, &desk.subject, visitor);
    doubts.extend(rate_doubt(app, visitor, &typed).await?);
    Ok(Some(Worked { typed, promise, comparison, doubts }))
}

fn in_words(doubts: &[Doubt], subject: &Subject, visitor: &Visitor) -> Vec<String> {
    let names = Names { grade: &|id| subject.grade_name(id), lot: &|id| subject.lot_label(id), visitor };
    doubts.iter().map(|doubt| names.doubt(doubt)).collect()
}

/// A rate that is far from the one on file may be typed the other way round.
async fn rate_doubt(app: &App, visitor: &Visitor, typed: &Typed) -> Result<Option<String>, Failure> {
    let Some(rate) = typed.rate else { return Ok(None) };
    let (from, to) = (typed.paper.currency, visitor.home());
    let rates = app.store.rate_book(&visitor.shop.id).await?;
    let day = typed.paper.payment.day.unwrap_or(visitor.today());
    let Some(mid) = rates.mid(from, to, day).or_else(|| rates.mid(from, to, visitor.today())) else {
        return Ok(None);
    };
    let off = (rate - mid.rate).abs() > mid.rate * rust_decimal::dec!(0.1);
    Ok(off.then(|| {
        let on_file = mid.rate.round_dp(6).normalize();
        format!(
            "The rate {} is far from the {on_file} on file. Is it {} for one {}?",
            rate.normalize(),
            to.code(),
            from.code()
        )
    }))
}

#[derive(Template)]
#[template(path = "settlements/review.html")]
struct ReviewPage {
    page: Page,
    draft: SettlementDraft,
    form: Form,
    comparison: Shown,
    doubts: Vec<String>,
    /// Lines that pay for none of the lots.
    strays: Vec<String>,
}

/// The paper beside what was sent, before anything is saved.
pub async fn review(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let Some(mut desk) = Desk::open(&app, &visitor, &id).await? else {
        return gone(&app, &visitor, &id).await;
    };
    match work_out(&app, &visitor, &mut desk).await? {
        Some(worked) => reviewed(&visitor, desk, worked, Form::default()),
        None => {
            desk.form.set("version", desk.draft.version.to_string());
            shown(&visitor, desk)
        }
    }
}

fn reviewed(visitor: &Visitor, desk: Desk, worked: Worked, form: Form) -> Result<Response, Failure> {
    let subject = &desk.subject;
    let names = Names { grade: &|id| subject.grade_name(id), lot: &|id| subject.lot_label(id), visitor };
    let paper = &worked.typed.paper;
    let stray = |line: &usize| {
        let line = &paper.lines[*line];
        format!("{} {}", line.wording, money(line.amount, paper.currency))
    };
    html(&ReviewPage {
        page: visitor.page(Screen::Shipments, format!("Review: {}", desk.draft.outlet_name)),
        comparison: Shown::new(&worked.comparison, paper, &names),
        strays: worked.comparison.strays.iter().map(stray).collect(),
        doubts: worked.doubts,
        draft: desk.draft,
        form,
    })
}

/// Makes it a settlement, all or nothing.
pub async fn save(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let Some(mut desk) = Desk::open(&app, &visitor, &id).await? else {
        return gone(&app, &visitor, &id).await;
    };
    if form.version() != desk.draft.version {
        return Err(StoreError::Stale.into());
    }
    let Some(worked) = work_out(&app, &visitor, &mut desk).await? else {
        desk.form.set("version", desk.draft.version.to_string());
        let page = shown(&visitor, desk)?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    if !worked.doubts.is_empty() && form.value("sure") != "yes" {
        form.refuse("sure", "Compare it with the paper, then tick this.");
        let page = reviewed(&visitor, desk, worked, form)?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let Typed { paper, number, note, why, rate } = &worked.typed;
    let settlement = NewSettlement {
        id: &id,
        outlet_id: &desk.draft.outlet_id,
        delivery: &desk.draft.delivery,
        replaces: desk.draft.replaces.as_deref().map(|id| Replaces { id, why }),
        promise: &worked.promise,
        paper,
        number,
        rate: *rate,
        sha256: desk.draft.sha256.as_deref(),
        note,
    };
    app.store.settle(&visitor.by(), &settlement).await?;
    Ok(Redirect::to(&format!("/settlements/{id}")).into_response())
}

pub async fn discard(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let draft = match app.store.settlement_draft(&visitor.shop.id, &id).await {
        Ok(draft) => draft,
        Err(StoreError::Missing) => return gone(&app, &visitor, &id).await,
        Err(other) => return Err(other.into()),
    };
    app.store.discard_settlement_draft(&visitor.by(), &id).await?;
    Ok(Redirect::to(&address(&draft.delivery)).into_response())
}
