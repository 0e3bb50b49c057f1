//! The entries of the cash book: what was that figure made of, and what was it for?

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use iso_currency::Currency;
use jiff::civil::Date;
use serde::Deserialize;
use trade::cash::{Kind, Month};
use trade::exchange::{LARGEST_RATE, LEAST_RATE};

use super::in_home;
use crate::store::cash::{CashEntry, CashRefusal, Document, DocumentKind, Place, Wanted};
use crate::store::{StoreError, new_id};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, unbroken};

/// Entries on one page.
const MOST: u32 = 50;
/// Entries without a rate that one page asks for.
const MOST_UNRATED: u32 = 50;
const LONGEST_NOTE: usize = 200;

/// An entry on a list.
struct Line {
    entry: CashEntry,
    amount: String,
    /// What it is worth at home, where that is another currency.
    worth: Option<String>,
    /// What it was for besides its kind, in a line.
    about: String,
    stamp: Option<&'static str>,
}

impl Line {
    fn of(entry: CashEntry, home: Currency) -> Line {
        let mut about = Vec::new();
        about.extend(entry.outlet.as_ref().map(|(_, name)| name.as_str()));
        about.extend(entry.grade.as_ref().map(|(_, name)| name.as_str()));
        about.extend(entry.partner.as_ref().map(|(_, name)| name.as_str()));
        about.extend(Some(entry.note.as_str()).filter(|note| !note.is_empty()));
        let stamp = match () {
            () if entry.wants_rate() && !entry.is_about_another() => Some("wants a rate"),
            () if entry.reversed_by.is_some() => Some("undone"),
            () if entry.reverses_id.is_some() => Some("undoes another"),
            () if entry.values_id.is_some() => Some("gives a rate"),
            () => None,
        };
        let foreign = entry.amount.currency != home;
        Line {
            about: about.join(" · "),
            amount: if entry.values_id.is_some() {
                in_home(entry.home_amount.unwrap_or(0), home)
            } else {
                unbroken(&entry.amount.to_string())
            },
            worth: entry
                .worth
                .filter(|_| foreign && entry.values_id.is_none())
                .map(|worth| in_home(worth, home)),
            stamp,
            entry,
        }
    }
}

struct Day {
    day: String,
    lines: Vec<Line>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    from: String,
    to: String,
    kind: String,
    outlet: String,
    grade: String,
    source: String,
    partner: String,
    currency: String,
    before: String,
}

impl Chosen {
    /// The query of the page that goes on before a place.
    fn before(&self, place: Place) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        let fields = [
            ("from", &self.from),
            ("to", &self.to),
            ("kind", &self.kind),
            ("outlet", &self.outlet),
            ("grade", &self.grade),
            ("source", &self.source),
            ("partner", &self.partner),
            ("currency", &self.currency),
        ];
        for (name, value) in fields {
            if !value.is_empty() {
                query.append_pair(name, value);
            }
        }
        query.append_pair("before", &format!("{}_{}", place.day, place.n)).finish()
    }
}

#[derive(Template)]
#[template(path = "money/entries.html")]
struct EntriesPage {
    page: Page,
    /// Which entries these are, in words; empty where they are all.
    which: String,
    days: Vec<Day>,
    older: Option<String>,
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(chosen): Query<Chosen>,
) -> Result<Response, Failure> {
    let some = |text: &'_ str| (!text.is_empty()).then(|| text.to_string());
    let (outlet, grade, source, partner) =
        (some(&chosen.outlet), some(&chosen.grade), some(&chosen.source), some(&chosen.partner));
    let from = chosen.from.parse::<Month>().ok();
    let to = chosen.to.parse::<Month>().ok();
    let wanted = Wanted {
        from: from.map(Month::first_day),
        to: to.map(Month::last_day),
        kind: Kind::from_code(&chosen.kind),
        outlet_id: outlet.as_deref(),
        grade_id: grade.as_deref(),
        source_id: source.as_deref(),
        partner_id: partner.as_deref(),
        currency: Currency::from_code(&chosen.currency),
    };
    let before = chosen
        .before
        .split_once('_')
        .and_then(|(day, n)| Some(Place { day: day.parse::<Date>().ok()?, n: n.parse().ok()? }));
    let mut entries = app.store.cash_entries(&visitor.shop.id, &wanted, before, MOST + 1).await?;
    let more = entries.len() > MOST as usize;
    entries.truncate(MOST as usize);
    let older = entries.last().filter(|_| more).map(|last| chosen.before(last.place()));
    let which = which(&wanted, from, to, entries.first());
    let mut days: Vec<Day> = Vec::new();
    for entry in entries {
        let day = visitor.day(entry.day);
        let line = Line::of(entry, visitor.home());
        match days.last_mut() {
            Some(last) if last.day == day => last.lines.push(line),
            _ => days.push(Day { day, lines: vec![line] }),
        }
    }
    html(&EntriesPage { page: visitor.page(Screen::Money, "Entries of the cash book"), which, days, older })
}

/// `freight, Harbour Yard, May 2026`.
fn which(wanted: &Wanted<'_>, from: Option<Month>, to: Option<Month>, first: Option<&CashEntry>) -> String {
    let mut words = Vec::new();
    words.extend(wanted.kind.map(|kind| kind.label().to_string()));
    let name = |named: Option<&String>| named.cloned();
    if wanted.outlet_id.is_some() {
        words.extend(name(first.and_then(|entry| entry.outlet.as_ref().map(|(_, name)| name))));
    }
    if wanted.grade_id.is_some() {
        words.extend(name(first.and_then(|entry| entry.grade.as_ref().map(|(_, name)| name))));
    }
    if wanted.partner_id.is_some() {
        words.extend(name(first.and_then(|entry| entry.partner.as_ref().map(|(_, name)| name))));
    }
    if wanted.source_id.is_some() {
        words.push("one pickup".to_string());
    }
    words.extend(wanted.currency.map(|currency| currency.code().to_string()));
    match (from, to) {
        (Some(from), Some(to)) if from == to => words.push(format!("{} {}", from.name(), from.year())),
        (Some(from), Some(to)) if from.year() == to.year() => words.push(from.year().to_string()),
        (Some(from), _) => words.push(format!("from {} {}", from.name(), from.year())),
        (None, Some(to)) => words.push(format!("to {} {}", to.name(), to.year())),
        (None, None) => {}
    }
    words.join(", ")
}

#[derive(Template)]
#[template(path = "money/entry.html")]
struct EntryPage {
    page: Page,
    visitor: Visitor,
    line: Line,
    /// What it belongs to: words and address.
    document: Option<(&'static str, Option<String>)>,
    /// The entries that undid it or gave it a rate.
    about: Vec<Line>,
    may_undo: bool,
    may_value: bool,
    form: Form,
}

impl EntryPage {
    fn rate_label(&self) -> String {
        let (currency, home) = (self.line.entry.amount.currency.code(), self.visitor.home().code());
        format!("1\u{a0}{currency} was so many {home}")
    }
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    entry_page(&app, visitor, &id, Form::default()).await
}

async fn entry_page(app: &App, visitor: Visitor, id: &str, mut form: Form) -> Result<Response, Failure> {
    let entry = app.store.cash_entry(&visitor.shop.id, id).await?;
    let about = app.store.cash_about(&visitor.shop.id, id).await?;
    form.set("undo_id", new_id());
    form.set("rate_id", new_id());
    let by_document = entry.document.as_ref().is_some_and(|document| !document.kind.is_by_hand());
    let stands = entry.reversed_by.is_none() && !entry.is_about_another();
    let home = visitor.home();
    html(&EntryPage {
        page: visitor.page(Screen::Money, "An entry of the cash book"),
        document: entry.document.as_ref().map(|document| (document.kind.words(), document.address())),
        about: about.into_iter().map(|entry| Line::of(entry, home)).collect(),
        may_undo: stands && !by_document,
        may_value: stands && entry.amount.currency != home,
        line: Line::of(entry, home),
        visitor,
        form,
    })
}

impl DocumentKind {
    fn words(self) -> &'static str {
        match self {
            DocumentKind::Settlement => "a settlement",
            DocumentKind::Shipment => "a shipment",
            DocumentKind::Run => "a yard run",
            DocumentKind::Pickup => "a pickup",
            DocumentKind::Transfer => "a payment between partners",
            DocumentKind::Claim => "a claim for a shipment",
        }
    }
}

impl Document {
    /// The page of the document; `None` for what is only made of its entries.
    fn address(&self) -> Option<String> {
        let id = &self.id;
        Some(match self.kind {
            DocumentKind::Settlement => format!("/settlements/{id}"),
            DocumentKind::Shipment => format!("/shipments/{id}"),
            DocumentKind::Run => format!("/runs/{id}"),
            DocumentKind::Pickup => format!("/pickups/{id}"),
            DocumentKind::Claim => format!("/shipments/{id}/claim"),
            DocumentKind::Transfer => return None,
        })
    }
}

/// Undoes an entry by another one.
pub async fn reverse(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let undo_id = form.once("undo_id")?;
    let Some(note) = form.optional_text("why", LONGEST_NOTE) else {
        return entry_page(&app, visitor, &id, form).await;
    };
    match app.store.reverse_cash(&visitor.by(), &undo_id, &id, &note).await {
        // Both pressed it: what was wanted is done.
        Ok(()) | Err(StoreError::Cash(CashRefusal::Reversed)) => {
            Ok(Redirect::to(&format!("/money/entries/{id}")).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// Gives an entry a rate.
pub async fn give_rate(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let rate_id = form.once("rate_id")?;
    let Some(rate) = form.decimal("rate", LEAST_RATE, LARGEST_RATE) else {
        return entry_page(&app, visitor, &id, form).await;
    };
    match app.store.value_cash(&visitor.by(), &rate_id, &id, rate).await {
        Ok(()) => Ok(Redirect::to(&format!("/money/entries/{id}")).into_response()),
        Err(StoreError::Cash(refusal)) => {
            form.refuse("rate", refusal.to_string());
            entry_page(&app, visitor, &id, form).await
        }
        Err(other) => Err(other.into()),
    }
}

#[derive(Template)]
#[template(path = "money/unrated.html")]
struct UnratedPage {
    page: Page,
    visitor: Visitor,
    lines: Vec<Line>,
    more: bool,
}

/// The entries that want a rate.
pub async fn unrated(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let mut entries = app.store.cash_unrated(&visitor.shop.id, MOST_UNRATED + 1).await?;
    let more = entries.len() > MOST_UNRATED as usize;
    entries.truncate(MOST_UNRATED as usize);
    let home = visitor.home();
    let lines = entries.into_iter().map(|entry| Line::of(entry, home)).collect();
    html(&UnratedPage { page: visitor.page(Screen::Money, "Entries without a rate"), visitor, lines, more })
}
