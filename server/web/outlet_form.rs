//! Setting up an outlet and changing its terms.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::{Decimal, dec};
use serde::Deserialize;
use trade::mass::{Mass, MassUnit};
use trade::money::{PriceUnit, Share};
use trade::outlet::{Drive, PaidWeight, Terms};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::measure::{distance, spell_distance, spell_mass};
use super::page::{Page, Screen, Visitor, html};
use crate::store::outlets::{Outlet, OutletDetails, OutletKind, PostTerms, Reach};
use crate::store::services::ServiceRecord;
use crate::store::{StoreError, new_id};

/// A week's drive with the load still on is not a trip.
const LONGEST_TRIP_MINUTES: Decimal = dec!(10_000);
const MOST_DAYS_TO_PAY: u32 = 730;

/// The units that sheets are priced in, the commonest first.
const UNITS: [PriceUnit; 11] = [
    PriceUnit::Mass(MassUnit::Pound),
    PriceUnit::Mass(MassUnit::Kilogram),
    PriceUnit::Mass(MassUnit::Hundredweight),
    PriceUnit::Mass(MassUnit::HundredKilograms),
    PriceUnit::Mass(MassUnit::ShortTon),
    PriceUnit::Mass(MassUnit::GrossTon),
    PriceUnit::Mass(MassUnit::Tonne),
    PriceUnit::Mass(MassUnit::Ounce),
    PriceUnit::Mass(MassUnit::TroyOunce),
    PriceUnit::Mass(MassUnit::Gram),
    PriceUnit::Each,
];

/// The choice of zone for one service.
struct ServiceField {
    name: String,
    label: String,
    zones: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "outlets/form.html")]
struct OutletFormPage {
    page: Page,
    form: Form,
    /// Where the form goes, which is also what it is a form for.
    action: String,
    is_yard: bool,
    home: &'static str,
    units: Vec<(String, String)>,
    services: Vec<ServiceField>,
}

#[derive(Deserialize)]
pub struct NewQuery {
    #[serde(default)]
    kind: String,
}

pub async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(query): Query<NewQuery>,
) -> Result<Response, Failure> {
    let kind = if query.kind == "mail-in" { "mail-in" } else { "yard" };
    let form = Form::filled([
        ("id", new_id()),
        ("kind", kind.to_string()),
        ("currency", visitor.home().code().to_string()),
        ("usual_unit", PriceUnit::Mass(visitor.style().unit()).code().to_string()),
        ("paid_weight", "100".to_string()),
        ("days_to_pay", "0".to_string()),
        ("packing_minutes", "15".to_string()),
    ]);
    new_page(&app, visitor, form).await
}

async fn new_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let title = if form.value("kind") == "mail-in" { "New mail-in buyer" } else { "New yard" };
    form_page(app, visitor, form, title.to_string(), "/outlets/new".to_string()).await
}

async fn form_page(
    app: &App,
    visitor: Visitor,
    form: Form,
    title: String,
    action: String,
) -> Result<Response, Failure> {
    let services = app.store.services(&visitor.shop.id).await?;
    html(&OutletFormPage {
        page: visitor.page(Screen::Outlets, title),
        is_yard: form.value("kind") != "mail-in",
        home: visitor.home().code(),
        units: UNITS.iter().map(|unit| (unit.code().to_string(), unit.label().to_string())).collect(),
        services: services.iter().filter_map(|service| service_field(service, &form)).collect(),
        form,
        action,
    })
}

fn field_of(service_id: &str) -> String {
    format!("service-{service_id}")
}

/// `None` for a retired service that does not reach this outlet.
fn service_field(service: &ServiceRecord, form: &Form) -> Option<ServiceField> {
    let name = field_of(&service.id);
    let chosen = form.value(&name);
    if service.retired && chosen.is_empty() {
        return None;
    }
    let mut zones = vec![(String::new(), "does not go there".to_string())];
    zones.extend(service.details.zones.iter().map(|table| (table.zone.clone(), table.zone.clone())));
    if !zones.iter().any(|(zone, _)| zone == chosen) {
        zones.push((chosen.to_string(), format!("{chosen} (gone from its table)")));
    }
    let label = match service.retired {
        true => format!("{} (retired: not used)", service.details.name),
        false => service.details.name.clone(),
    };
    Some(ServiceField { name, label, zones })
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let services = app.store.services(&visitor.shop.id).await?;
    if let Some(details) = read_details(&mut form, &services) {
        match app.store.create_outlet(&visitor.by(), &id, &details).await {
            Ok(()) => return Ok(Redirect::to(&format!("/outlets/{id}")).into_response()),
            Err(error) => explain(&mut form, error)?,
        }
    }
    new_page(&app, visitor, form).await
}

pub async fn edit(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
) -> Result<Response, Failure> {
    let outlet = app.store.outlet(&visitor.shop.id, &outlet).await?;
    let services = app.store.services(&visitor.shop.id).await?;
    let form = filled(&outlet.details, outlet.version, &services);
    edit_page(&app, visitor, &outlet, form).await
}

async fn edit_page(app: &App, visitor: Visitor, outlet: &Outlet, form: Form) -> Result<Response, Failure> {
    let action = format!("/outlets/{}/edit", outlet.id);
    form_page(app, visitor, form, format!("Change {}", outlet.details.name), action).await
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let outlet = app.store.outlet(&visitor.shop.id, &id).await?;
    let services = app.store.services(&visitor.shop.id).await?;
    // A yard does not turn into a mail-in buyer: its history is one of drives.
    form.set("kind", outlet.details.kind.code());
    if let Some(details) = read_details(&mut form, &services) {
        match app.store.save_outlet(&visitor.by(), &id, form.version(), &details).await {
            Ok(()) => return Ok(Redirect::to(&format!("/outlets/{id}")).into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.outlet(&visitor.shop.id, &id).await?;
                // Spelled alike on both sides, so that only what means something else stands out.
                form = filled(&details, form.version(), &services);
                form.overtaken_by(&filled(&now.details, now.version, &services));
            }
            Err(error) => explain(&mut form, error)?,
        }
    }
    edit_page(&app, visitor, &outlet, form).await
}

/// Puts what the store refused beside the field it is about; anything else is a failure of its own.
fn explain(form: &mut Form, error: StoreError) -> Result<(), Failure> {
    match error {
        StoreError::Missing => {
            form.refuse("form", "A carrier's service is not there any more. Look at them again.")
        }
        other => form.refuse_taken_name(
            other,
            "Another outlet has that name, perhaps a closed one. Choose another.",
        )?,
    }
    Ok(())
}

fn read_details(form: &mut Form, services: &[ServiceRecord]) -> Option<OutletDetails> {
    let name = form.text("name", 60);
    let place = form.optional_text("place", 120);
    let currency = form.currency("currency");
    let usual_unit = form.choice("usual_unit", PriceUnit::from_code);
    let note = form.optional_text("note", 2000);
    let kind = if form.value("kind") == "mail-in" {
        read_post(form, services).map(OutletKind::MailIn)
    } else {
        read_drive(form).map(OutletKind::Yard)
    };
    let terms = read_terms(form);
    Some(OutletDetails {
        name: name?,
        place: place?,
        currency: currency?,
        usual_unit: usual_unit?,
        note: note?,
        kind: kind?,
        terms: terms?,
    })
}

fn read_drive(form: &mut Form) -> Option<Drive> {
    let distance_km = form.read("distance", distance);
    let minutes = form.decimal("minutes", Decimal::ZERO, LONGEST_TRIP_MINUTES);
    Some(Drive { distance_km: distance_km?, minutes: minutes? })
}

fn read_post(form: &mut Form, services: &[ServiceRecord]) -> Option<PostTerms> {
    let reaches = read_reaches(form, services);
    let border = form.amount("border");
    let insurance = form.percent("insurance");
    let packing_minutes = form.decimal("packing_minutes", Decimal::ZERO, LONGEST_TRIP_MINUTES);
    Some(PostTerms {
        services: reaches?,
        border: border?,
        insurance: insurance?,
        packing_minutes: packing_minutes?,
    })
}

fn read_reaches(form: &mut Form, services: &[ServiceRecord]) -> Option<Vec<Reach>> {
    let chosen: Vec<(String, String)> = form
        .starting("service-")
        .filter(|(_, zone)| !zone.is_empty())
        .map(|(service_id, zone)| (service_id.to_string(), zone.to_string()))
        .collect();
    let mut reaches: Vec<Reach> = Vec::new();
    for (service_id, zone) in chosen {
        let Some(service) = services.iter().find(|service| service.id == service_id) else {
            form.refuse("form", "A carrier's service is not there any more. Look at them again.");
            return None;
        };
        if service.details.zone(&zone).is_none() {
            let problem =
                format!("{} has no zone {zone} in its table any more. Choose another.", service.details.name);
            form.refuse(&field_of(&service_id), problem);
            return None;
        }
        if !reaches.iter().any(|reach| reach.service_id == service_id) {
            reaches.push(Reach { service_id, zone });
        }
    }
    Some(reaches)
}

fn read_terms(form: &mut Form) -> Option<Terms> {
    let weight_deduction = form.percent("weight_deduction");
    let paid_weight = read_paid_weight(form);
    let downgrade_chance = form.percent("downgrade_chance");
    let downgrade_drop = form.percent("downgrade_drop");
    let percent_fee = form.percent("percent_fee");
    let flat_fee = form.amount("flat_fee");
    let exchange_spread = form.percent("exchange_spread");
    let payout_fee = form.amount("payout_fee");
    let days_to_pay = form.count("days_to_pay", MOST_DAYS_TO_PAY);
    let minimum_payout = form.amount("minimum_payout");
    let minimum_grade = form.mass("minimum_grade");
    let minimum_delivery = form.mass("minimum_delivery");
    Some(Terms {
        weight_deduction: weight_deduction?,
        paid_weight: paid_weight?,
        downgrade_chance: downgrade_chance?,
        downgrade_drop: downgrade_drop?,
        percent_fee: percent_fee?,
        flat_fee: flat_fee?,
        exchange_spread: exchange_spread?,
        payout_fee: payout_fee?,
        days_to_pay: days_to_pay?,
        minimum_payout: minimum_payout?,
        minimum_grade: minimum_grade?,
        minimum_delivery: minimum_delivery?,
    })
}

fn read_paid_weight(form: &mut Form) -> Option<PaidWeight> {
    if form.value("paid_weight").trim().is_empty() {
        return Some(PaidWeight::default());
    }
    let percent = form.decimal("paid_weight", Decimal::ONE, dec!(200))?;
    PaidWeight::new(percent / Decimal::ONE_HUNDRED)
}

fn filled(details: &OutletDetails, version: i64, services: &[ServiceRecord]) -> Form {
    let terms = &details.terms;
    let mut form = Form::filled([
        ("version", version.to_string()),
        ("kind", details.kind.code().to_string()),
        ("name", details.name.clone()),
        ("place", details.place.clone()),
        ("currency", details.currency.code().to_string()),
        ("usual_unit", details.usual_unit.code().to_string()),
        ("note", details.note.clone()),
        ("weight_deduction", share(terms.weight_deduction)),
        ("paid_weight", number(terms.paid_weight.get() * Decimal::ONE_HUNDRED)),
        ("downgrade_chance", share(terms.downgrade_chance)),
        ("downgrade_drop", share(terms.downgrade_drop)),
        ("percent_fee", share(terms.percent_fee)),
        ("flat_fee", number(terms.flat_fee)),
        ("exchange_spread", share(terms.exchange_spread)),
        ("payout_fee", number(terms.payout_fee)),
        ("days_to_pay", terms.days_to_pay.to_string()),
        ("minimum_payout", number(terms.minimum_payout)),
        ("minimum_grade", mass(terms.minimum_grade)),
        ("minimum_delivery", mass(terms.minimum_delivery)),
    ]);
    match &details.kind {
        OutletKind::Yard(drive) => {
            form.set("distance", spell_distance(drive.distance_km));
            form.set("minutes", drive.minutes.normalize().to_string());
        }
        OutletKind::MailIn(post) => {
            form.set("border", number(post.border));
            form.set("insurance", share(post.insurance));
            form.set("packing_minutes", post.packing_minutes.normalize().to_string());
            for service in services {
                let reach = post.services.iter().find(|reach| reach.service_id == service.id);
                form.set(&field_of(&service.id), reach.map_or("", |reach| reach.zone.as_str()));
            }
        }
    }
    form
}

/// What is zero stands empty: an empty field is the usual one.
fn number(amount: Decimal) -> String {
    if amount.is_zero() { String::new() } else { amount.normalize().to_string() }
}

fn share(share: Share) -> String {
    number(share.in_percent())
}

fn mass(mass: Mass) -> String {
    if mass.is_zero() { String::new() } else { spell_mass(mass) }
}
