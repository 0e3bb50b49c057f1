//! At the gate: what the yard's ticket says, what was refused, and what that is against what was promised.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::ToSpan;
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, LARGEST_AMOUNT, Money, Price, PriceUnit, Share};
use trade::settlement::{
    Charge, ChargeKind, Comparison, Paper, PaperLine, Payment, Promise, Tolerance, compare,
};

use crate::store::outlets::Outlet;
use crate::store::photos::Subject;
use crate::store::runs::{Run, RunLot, RunState, RunStop, Ticket};
use crate::store::settlements::{Delivery, NewSettlement, Settlement};
use crate::store::{StoreError, new_id};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, unbroken};
use crate::web::photos::Album;

/// Lines that a ticket may have.
const MOST_LINES: usize = 40;
/// Lines that stand empty for what the yard calls otherwise.
const SPARE_LINES: usize = 1;
/// How far a yard's floor scale may be off: half a pound a weighing and half a per cent (common practice, no source).
const STEP: Decimal = rust_decimal::dec!(0.5);
const USUAL: Decimal = rust_decimal::dec!(0.005);

/// Where a stop stands for its page.
enum Standing {
    /// The truck has not left.
    Waiting,
    Open,
    /// Told, with what was paid where anything was.
    Told(Option<Box<Compared>>),
}

/// A paper beside its promise, as a page shows it.
struct Compared {
    rows: Vec<DifferenceRow>,
    promised: String,
    paid: String,
    difference: String,
    is_less: bool,
    has_no_weights: bool,
    number: String,
}

struct DifferenceRow {
    label: &'static str,
    grade: String,
    amount: String,
    is_beyond: bool,
}

#[derive(Template)]
#[template(path = "runs/stop.html")]
struct StopPage {
    page: Page,
    visitor: Visitor,
    run: Run,
    stop: RunStop,
    standing: Standing,
    /// The figures of the ticket that is being entered, where they make sense.
    look: Option<Compared>,
    lines: Vec<LineFields>,
    lots: Vec<LotField>,
    /// What each lot can be: on a line, or refused.
    fates: Vec<(String, String)>,
    grades: Vec<(String, String)>,
    /// Of the total, the fees and what is taken off, with the currency.
    labels: [String; 3],
    album: Album,
    form: Form,
}

/// The fields of one line, by their names, and the labels that name a unit.
struct LineFields {
    number: usize,
    grade: String,
    mass: String,
    price: String,
    price_label: String,
    amount: String,
    amount_label: String,
    pieces: String,
    wording: String,
}

/// The field that says what became of a lot.
struct LotField {
    name: String,
    label: String,
}

/// Leads from a stop's own number to its page.
pub async fn find(
    State(app): State<App>,
    visitor: Visitor,
    Path(stop): Path<String>,
) -> Result<Response, Failure> {
    let run = app.store.run_of_stop(&visitor.shop.id, &stop).await?;
    Ok(Redirect::to(&format!("/runs/{run}/stops/{stop}")).into_response())
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path((run, stop)): Path<(String, String)>,
) -> Result<Response, Failure> {
    let (run, stop) = load(&app, &visitor, &run, &stop).await?;
    let form = opened(&stop, &visitor);
    stop_page(&app, visitor, run, stop, form, None).await
}

async fn load(app: &App, visitor: &Visitor, run: &str, stop: &str) -> Result<(Run, RunStop), Failure> {
    let run = app.store.run(&visitor.shop.id, run).await?;
    let stop = run.stop(stop).cloned().ok_or_else(|| Failure::missing("yard on this run"))?;
    Ok((run, stop))
}

/// The form as it opens: a line for each grade, with its lots on it and the price that was promised.
fn opened(stop: &RunStop, visitor: &Visitor) -> Form {
    let mut form = Form::filled([
        ("id", new_id()),
        ("dated", visitor.today().to_string()),
        ("lines", (grades_of(stop).len() + SPARE_LINES).to_string()),
    ]);
    for (index, grade) in grades_of(stop).into_iter().enumerate() {
        form.set(&format!("grade-{}", index + 1), grade.as_str());
        if let Some(price) = promised_price(&stop.promise, &grade) {
            form.set(&format!("price-{}", index + 1), price.amount.normalize().to_string());
        }
        for lot in stop.lots.iter().filter(|lot| lot.grade_id == grade) {
            form.set(&format!("fate-{}", lot.lot_id), (index + 1).to_string());
        }
    }
    form
}

/// The grades of a load, each once.
fn grades_of(stop: &RunStop) -> Vec<GradeId> {
    let mut grades: Vec<GradeId> = Vec::new();
    for lot in &stop.lots {
        if !grades.contains(&lot.grade_id) {
            grades.push(lot.grade_id.clone());
        }
    }
    grades
}

fn promised_price(promise: &Promise, grade: &GradeId) -> Option<Price> {
    promise.sent.iter().find(|sent| sent.grade == *grade).map(|sent| sent.price)
}

async fn stop_page(
    app: &App,
    visitor: Visitor,
    run: Run,
    stop: RunStop,
    form: Form,
    look: Option<Compared>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let outlet = app.store.outlet(shop, stop.outlet_id.as_str()).await?;
    let names = app.store.grade_names(shop).await?;
    let standing = match (&run.head.state, stop.ended_at) {
        (_, Some(_)) => {
            let delivery = Delivery::RunStop(stop.id.clone());
            let held = app.store.settlements_of(shop, &delivery).await?.into_iter().next();
            let compared = match held.filter(|head| !head.is_withdrawal) {
                Some(head) => {
                    let Settlement { head, promise, paper, .. } =
                        app.store.settlement(shop, &head.id).await?;
                    let mut compared = compared(&promise, &paper, &visitor, &names);
                    compared.number = head.number;
                    Some(Box::new(compared))
                }
                None => None,
            };
            Standing::Told(compared)
        }
        (RunState::Out { .. }, None) => Standing::Open,
        (_, None) => Standing::Waiting,
    };
    let count = form.value("lines").parse::<usize>().unwrap_or(1).clamp(1, MOST_LINES);
    let currency = stop.promise.currency;
    let code = currency.code();
    let line = |number: usize| {
        let name = |what: &str| format!("{what}-{number}");
        let grade = GradeId::new(form.value(&name("grade")));
        let unit = price_unit(&stop.promise, &outlet, &grade).code();
        LineFields {
            number,
            grade: name("grade"),
            mass: name("mass"),
            price: name("price"),
            price_label: format!("Price, {code} per {unit}"),
            amount: name("amount"),
            amount_label: format!("Amount, {code}"),
            pieces: name("pieces"),
            wording: name("wording"),
        }
    };
    let lines = (1..=count).map(line).collect();
    let lot = |lot: &RunLot| LotField {
        name: format!("fate-{}", lot.lot_id),
        label: format!("{}: {}, {}", lot.container_label, lot.grade_name, visitor.mass(lot.net)),
    };
    let lots = stop.lots.iter().map(lot).collect();
    let labels = ["Paid in all", "Fees", "Taken off for dirt or steel"].map(|what| format!("{what}, {code}"));
    let mut fates: Vec<(String, String)> =
        (1..=count).map(|line| (line.to_string(), format!("on line {line}"))).collect();
    fates.push(("refused".into(), "refused: it comes back".into()));
    let mut grades = vec![(String::new(), "none of ours".to_string())];
    grades.extend(names);
    let album = Album::of(app, &visitor, Subject::Ticket, &stop.id).await?;
    let page = visitor.page(Screen::Runs, format!("Ticket of {}", stop.outlet_name));
    html(&StopPage {
        page,
        visitor,
        run,
        stop,
        standing,
        look,
        lines,
        lots,
        fates,
        grades,
        labels,
        album,
        form,
    })
}

/// What the price of a line is per.
fn price_unit(promise: &Promise, outlet: &Outlet, grade: &GradeId) -> PriceUnit {
    promised_price(promise, grade).map_or(outlet.details.usual_unit, |price| price.per)
}

fn compared(promise: &Promise, paper: &Paper, visitor: &Visitor, names: &[(String, String)]) -> Compared {
    let comparison: Comparison = compare(promise, paper, &tolerance());
    let name = |grade: &GradeId| {
        let known = names.iter().find(|(id, _)| id == grade.as_str());
        known.map_or_else(|| grade.to_string(), |(_, name)| name.clone())
    };
    let money = |amount| unbroken(&Money::new(amount, paper.currency).to_string());
    let rows = comparison.differences.iter().filter(|difference| !difference.amount.is_zero());
    let rows = rows.map(|difference| DifferenceRow {
        label: difference.why.kind().label(),
        grade: told(&difference.why, &name, visitor),
        amount: money(difference.amount),
        is_beyond: difference.is_beyond,
    });
    let difference = comparison.paid - comparison.promised;
    Compared {
        rows: rows.collect(),
        promised: money(comparison.promised),
        paid: money(comparison.paid),
        difference: money(difference),
        is_less: difference < Decimal::ZERO,
        has_no_weights: paper.lines.iter().any(|line| line.mass.is_none() && line.pieces.is_none()),
        number: String::new(),
    }
}

/// The grade that a difference is about, and the weights or prices behind it.
fn told(why: &trade::settlement::Why, name: &dyn Fn(&GradeId) -> String, visitor: &Visitor) -> String {
    use trade::settlement::Why;
    match why {
        Why::Unpaid { grade, mass, .. } => format!("{}, {}", name(grade), visitor.mass(*mass)),
        Why::Weight { grade, counted, found } => {
            format!("{}: {} found, {} ours", name(grade), visitor.mass(*found), visitor.mass(*counted))
        }
        Why::Pieces { grade, counted, found } => format!("{}: {found} found, {counted} ours", name(grade)),
        Why::Downgrade { grade, to, .. } => format!("{}, taken as {}", name(grade), name(to)),
        Why::Price { grade, promised, paid, .. } => match paid {
            Some(paid) => unbroken(&format!("{}: {paid}, promised {promised}", name(grade))),
            None => name(grade),
        },
        Why::Untold { grade } => name(grade),
        Why::Stray { line } | Why::Line { line } => format!("line {}", line + 1),
        Why::Sum | Why::Fees { .. } | Why::Deductions { .. } | Why::Exchange { .. } | Why::BankFee { .. } => {
            String::new()
        }
    }
}

fn tolerance() -> Tolerance {
    let usual = Share::new(USUAL).unwrap_or_default();
    Tolerance { resolution: Mass::of(STEP, MassUnit::Pound), weight: usual, exchange: usual }
}

/// What the form says: the ticket, and the lots that were refused.
struct Entered {
    refused: Vec<LotId>,
    /// `None` where everything was refused.
    paper: Option<Paper>,
    number: String,
    note: String,
}

/// Reads the ticket back, or takes it down.
pub async fn take(
    State(app): State<App>,
    visitor: Visitor,
    Path((run_id, stop_id)): Path<(String, String)>,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let there = Redirect::to(&format!("/runs/{run_id}/stops/{stop_id}")).into_response();
    let (run, stop) = load(&app, &visitor, &run_id, &stop_id).await?;
    if app.store.settlement(&visitor.shop.id, &id).await.is_ok() {
        // Sent twice: the first one was taken down.
        return Ok(there);
    }
    if stop.ended_at.is_some() {
        return Err(told_already());
    }
    if form.value("step") == "more" {
        let count = form.value("lines").parse::<usize>().unwrap_or(1).saturating_add(1).min(MOST_LINES);
        form.set("lines", count.to_string());
        return stop_page(&app, visitor, run, stop, form, None).await;
    }
    let outlet = app.store.outlet(&visitor.shop.id, stop.outlet_id.as_str()).await?;
    let Some(entered) = entered(&mut form, &stop, &outlet, &visitor) else {
        return stop_page(&app, visitor, run, stop, form, None).await;
    };
    let promise = taken_promise(&stop.promise, &entered.refused);
    if form.value("step") != "save" {
        let names = app.store.grade_names(&visitor.shop.id).await?;
        let look = entered.paper.as_ref().map(|paper| compared(&promise, paper, &visitor, &names));
        // Nothing to compare where nothing was taken: it is read back all the same.
        let look = look.unwrap_or_else(|| nothing_taken(stop.promise.currency));
        return stop_page(&app, visitor, run, stop, form, Some(look)).await;
    }
    let delivery = Delivery::RunStop(stop.id.clone());
    let outlet_id: &OutletId = &stop.outlet_id;
    let settlement = entered.paper.as_ref().map(|paper| NewSettlement {
        id: &id,
        outlet_id,
        delivery: &delivery,
        replaces: None,
        promise: &promise,
        paper,
        number: &entered.number,
        rate: None,
        sha256: None,
        note: &entered.note,
    });
    let ticket = Ticket { run_id: &run_id, stop_id: &stop_id, refused: &entered.refused, settlement };
    match app.store.take_ticket(&visitor.by(), &ticket).await {
        Ok(()) => Ok(there),
        Err(StoreError::Stale) if app.store.settlement(&visitor.shop.id, &id).await.is_ok() => Ok(there),
        Err(StoreError::Stale) => Err(told_already()),
        Err(other) => Err(other.into()),
    }
}

fn nothing_taken(currency: Currency) -> Compared {
    let nothing = unbroken(&Money::zero(currency).to_string());
    Compared {
        rows: Vec::new(),
        promised: nothing.clone(),
        paid: nothing.clone(),
        difference: nothing,
        is_less: false,
        has_no_weights: false,
        number: String::new(),
    }
}

/// What was promised for the lots that the yard took.
fn taken_promise(promise: &Promise, refused: &[LotId]) -> Promise {
    let mut promise = promise.clone();
    promise.sent.retain(|sent| !refused.contains(&sent.lot));
    promise
}

fn told_already() -> Failure {
    Failure::refused(
        StatusCode::CONFLICT,
        "This yard has been told of already",
        "Somebody entered its ticket meanwhile, or said that the truck did not go there. Nothing was changed by this. Look \
         at theirs on the run.",
    )
}

/// The truck did not go there, or the yard took nothing: all of it is on the shelf again.
pub async fn skip(
    State(app): State<App>,
    visitor: Visitor,
    Path((run_id, stop_id)): Path<(String, String)>,
) -> Result<Response, Failure> {
    let (_, stop) = load(&app, &visitor, &run_id, &stop_id).await?;
    let there = Redirect::to(&format!("/runs/{run_id}")).into_response();
    let all: Vec<LotId> = stop.lots.iter().filter(|lot| !lot.is_back).map(|lot| lot.lot_id.clone()).collect();
    let ticket = Ticket { run_id: &run_id, stop_id: &stop_id, refused: &all, settlement: None };
    match app.store.take_ticket(&visitor.by(), &ticket).await {
        Ok(()) => Ok(there),
        // Sent twice: the first one has done it.
        Err(StoreError::Stale) if all.is_empty() && stop.ended_at.is_some() => Ok(there),
        Err(StoreError::Stale) => Err(told_already()),
        Err(other) => Err(other.into()),
    }
}

fn entered(form: &mut Form, stop: &RunStop, outlet: &Outlet, visitor: &Visitor) -> Option<Entered> {
    let today = visitor.today();
    let count = form.value("lines").parse::<usize>().unwrap_or(1).clamp(1, MOST_LINES);
    let mut refused = Vec::new();
    let mut on_line: BTreeMap<usize, Vec<LotId>> = BTreeMap::new();
    for lot in &stop.lots {
        let name = format!("fate-{}", lot.lot_id);
        match form.value(&name) {
            "refused" => refused.push(lot.lot_id.clone()),
            line => match line.parse::<usize>() {
                Ok(line) if (1..=count).contains(&line) => {
                    on_line.entry(line).or_default().push(lot.lot_id.clone());
                }
                _ => form.refuse(&name, "Say on which line it stands, or that it was refused."),
            },
        }
    }
    let number = form.optional_text("number", 40);
    let note = form.optional_lines("note", 2000);
    let dated = form.date("dated", today.saturating_sub(1.year()), today);
    let paid_on = match form.value("paid_on").trim() {
        "" => Some(None),
        _ => form.date("paid_on", today.saturating_sub(1.year()), today.saturating_add(1.year())).map(Some),
    };
    let fee = form.amount("fee");
    let deduction = form.amount("deduction");
    let total = match form.value("total").trim() {
        "" => Some(None),
        _ => form.decimal("total", -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    let lines: Vec<Line> =
        (1..=count).map(|line| read_line(form, line, stop, outlet)).collect::<Option<Vec<_>>>()?;
    let (fee, deduction, total) = (fee?, deduction?, total?);
    let (number, note, dated, paid_on) = (number?, note?, dated?, paid_on?);
    let currency = stop.promise.currency;
    let done =
        |paper| Entered { refused: refused.clone(), paper, number: number.clone(), note: note.clone() };
    if on_line.is_empty() {
        if lines.iter().any(Line::is_told) || total.is_some() {
            form.refuse(
                "total",
                "Everything is refused, and something was paid. Say which lots the yard took.",
            );
        }
        return form.is_good().then(|| done(None));
    }
    let charged =
        |kind, amount: Decimal| (!amount.is_zero()).then(|| Charge { kind, wording: String::new(), amount });
    let charges: Vec<Charge> = [charged(ChargeKind::Fee, fee), charged(ChargeKind::Deduction, deduction)]
        .into_iter()
        .flatten()
        .collect();
    let paper_lines = if lines.iter().any(Line::is_told) {
        told_lines(form, lines, &on_line, currency)
    } else {
        // A ticket with nothing on it but what was paid.
        let Some(total) = total else {
            form.refuse("total", "Type what was paid, if the ticket says nothing else.");
            return None;
        };
        let pays_for = on_line.values().flatten().cloned().collect();
        vec![PaperLine { amount: total + fee + deduction, pays_for, ..PaperLine::default() }]
    };
    let paid = total.unwrap_or_else(|| {
        let lines: Decimal = paper_lines.iter().map(|line| line.amount).sum();
        lines - fee - deduction
    });
    let paid = Money::new(paid, currency).rounded().amount;
    let arrived = (currency == visitor.home() && paid_on.is_some()).then_some(paid);
    let paper = Paper {
        currency,
        lines: paper_lines,
        charges,
        paid,
        dated: Some(dated),
        payment: Payment { day: paid_on, arrived, bank_fee: Decimal::ZERO },
    };
    form.is_good().then(|| done(Some(paper)))
}

/// A line as it was typed.
struct Line {
    grade: Option<GradeId>,
    wording: String,
    mass: Option<Mass>,
    pieces: Option<u32>,
    price: Option<Price>,
    amount: Option<Decimal>,
}

impl Line {
    /// Whether the ticket says anything there; a grade and a price alone stand there from the start.
    fn is_told(&self) -> bool {
        self.mass.is_some() || self.pieces.is_some() || self.amount.is_some()
    }
}

/// The line as it stands; nothing where something is wrong with it.
fn read_line(form: &mut Form, line: usize, stop: &RunStop, outlet: &Outlet) -> Option<Line> {
    let name = |what: &str| format!("{what}-{line}");
    let grade = form.value(&name("grade")).trim().to_string();
    let grade = (!grade.is_empty()).then(|| GradeId::new(grade));
    let unit = match &grade {
        Some(grade) => price_unit(&stop.promise, outlet, grade),
        None => outlet.details.usual_unit,
    };
    let is_empty = |form: &Form, what: &str| form.value(&name(what)).trim().is_empty();
    let wording = form.optional_text(&name("wording"), 120);
    let mass = match is_empty(form, "mass") {
        true => Some(None),
        false => form.mass(&name("mass")).map(Some),
    };
    let pieces = match is_empty(form, "pieces") {
        true => Some(None),
        false => form.count(&name("pieces"), 1_000_000).map(Some),
    };
    let price = match is_empty(form, "price") {
        true => Some(None),
        false => form.decimal(&name("price"), -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    let amount = match is_empty(form, "amount") {
        true => Some(None),
        false => form.decimal(&name("amount"), -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    let currency = stop.promise.currency;
    let price = price?.map(|amount| Price { amount, currency, per: unit });
    Some(Line { grade, wording: wording?, mass: mass?, pieces: pieces?, price, amount: amount? })
}

/// The lines of the paper: what a line is paid stands on it, or follows from its weight and price.
fn told_lines(
    form: &mut Form,
    lines: Vec<Line>,
    on_line: &BTreeMap<usize, Vec<LotId>>,
    currency: Currency,
) -> Vec<PaperLine> {
    let mut told = Vec::new();
    for (index, line) in lines.into_iter().enumerate() {
        let number = index + 1;
        let pays_for = on_line.get(&number).cloned().unwrap_or_default();
        if !line.is_told() && pays_for.is_empty() {
            continue;
        }
        let worked_out = || {
            let (price, mass, pieces) = (line.price?, line.mass, line.pieces);
            match price.per {
                PriceUnit::Each => Some(price.of(Mass::ZERO, pieces?)),
                PriceUnit::Mass(_) => Some(price.of(mass?, 0)),
            }
        };
        let amount = line.amount.or_else(|| worked_out().map(|money| money.amount));
        let Some(amount) = amount else {
            let problem = "Type what was paid for this line, or its weight and price.";
            form.refuse(&format!("amount-{number}"), problem);
            continue;
        };
        told.push(PaperLine {
            wording: line.wording,
            grade: line.grade,
            mass: line.mass,
            pieces: line.pieces,
            price: line.price,
            amount: Money::new(amount, currency).rounded().amount,
            pays_for,
        });
    }
    told
}
