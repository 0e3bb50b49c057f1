//! An amount entered by hand: a purchase, a roll of tape, fuel.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use jiff::civil::{Date, date};
use rust_decimal::Decimal;
use trade::cash::{Kind, Way};
use trade::exchange::{LARGEST_RATE, LEAST_RATE};
use trade::ids::{GradeId, OutletId};
use trade::money::{LARGEST_AMOUNT, Money, places};

use crate::store::cash::{NewEntry, RateUsed};
use crate::store::{StoreError, new_id};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

/// The first day that an entry can have: it catches a slip in the year.
pub(super) const FIRST_DAY: Date = date(2000, 1, 1);
const LONGEST_NOTE: usize = 200;

/// What a hand enters: money between the shop and its partners has a page of its own.
const KINDS: [Kind; 9] = [
    Kind::Purchase,
    Kind::Box,
    Kind::Trip,
    Kind::Freight,
    Kind::Fee,
    Kind::Labour,
    Kind::Border,
    Kind::Sale,
    Kind::Other,
];

#[derive(Template)]
#[template(path = "money/new.html")]
struct NewPage {
    page: Page,
    form: Form,
    kinds: Vec<(String, String)>,
    outlets: Vec<(String, String)>,
    grades: Vec<(String, String)>,
}

async fn new_page(app: &App, visitor: &Visitor, form: Form) -> Result<Response, Failure> {
    let none = || (String::new(), "none".to_string());
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let outlets = outlets.into_iter().map(|outlet| (outlet.id.to_string(), outlet.details.name));
    let grades = app.store.grade_names(&visitor.shop.id).await?;
    html(&NewPage {
        page: visitor.page(Screen::Money, "Enter an amount"),
        kinds: KINDS.map(|kind| (kind.code().to_string(), kind.label().to_string())).to_vec(),
        outlets: [none()].into_iter().chain(outlets).collect(),
        grades: [none()].into_iter().chain(grades).collect(),
        form,
    })
}

/// The form, with whatever the address brings filled in.
pub async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(query): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let mut form = Form::filled(query.iter().map(|(name, value)| (name.as_str(), value.clone())));
    let defaults = [
        ("day", visitor.today().to_string()),
        ("way", "out".to_string()),
        ("kind", Kind::Purchase.code().to_string()),
        ("currency", visitor.home().code().to_string()),
    ];
    for (name, value) in defaults {
        if !form.has(name) {
            form.set(name, value);
        }
    }
    form.set("id", new_id());
    new_page(&app, &visitor, form).await
}

/// The amount in a field, with no more decimals than its currency has.
pub(in crate::web) fn amount(form: &mut Form, name: &str, currency: &str) -> Option<Money> {
    let currency = form.currency(currency);
    let least = Decimal::new(1, currency.map_or(2, places));
    let amount = form.decimal(name, least, LARGEST_AMOUNT)?;
    let money = Money::new(amount, currency?);
    if money.rounded().amount != amount {
        let places = places(money.currency);
        let problem = match places {
            0 => format!("{} has no smaller unit: type a whole number.", money.currency.code()),
            _ => format!("{} has {places} decimals, and no more.", money.currency.code()),
        };
        form.refuse(name, problem);
        return None;
    }
    Some(money)
}

fn entry(form: &mut Form, id: String, visitor: &Visitor) -> Option<NewEntry> {
    let day = form.date("day", FIRST_DAY, visitor.today());
    let way = form.choice("way", |code| match code {
        "in" => Some(Way::In),
        "out" => Some(Way::Out),
        _ => None,
    });
    let kind = form.choice("kind", |code| Kind::from_code(code).filter(|kind| KINDS.contains(kind)));
    let amount = amount(form, "amount", "currency");
    let rate = match form.value("rate").trim() {
        "" => Some(RateUsed::OnFile),
        _ => form.decimal("rate", LEAST_RATE, LARGEST_RATE).map(RateUsed::Got),
    };
    let note = form.optional_text("note", LONGEST_NOTE);
    let some = |name: &str| Some(form.value(name).to_string()).filter(|id| !id.is_empty());
    Some(NewEntry {
        rate: rate?,
        outlet_id: some("outlet").map(OutletId::new),
        grade_id: some("grade").map(GradeId::new),
        note: note?,
        ..NewEntry::new(id, day?, kind?, way?.signed(amount?))
    })
}

/// Puts it into the book. Sent twice it is there once.
pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let Some(entry) = entry(&mut form, id, &visitor) else { return new_page(&app, &visitor, form).await };
    match app.store.enter_cash(&visitor.by(), std::slice::from_ref(&entry)).await {
        Ok(()) => Ok(Redirect::to(&format!("/money/entries/{}", entry.id)).into_response()),
        Err(StoreError::Cash(refusal)) => {
            form.refuse("amount", refusal.to_string());
            new_page(&app, &visitor, form).await
        }
        Err(other) => Err(other.into()),
    }
}
