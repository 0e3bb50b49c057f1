//! Setting up a carrier's service and changing its rules and tables.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::{Decimal, dec};
use trade::freight::{Dimensional, Divisor, SideRounding};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::freight_table::{
    read_breaks, read_flat_boxes, read_surcharges, write_breaks, write_flat_boxes, write_surcharges,
    zone_tables,
};
use super::measure::{mass, spell_mass, spell_volume, volume};
use super::page::{Page, Screen, Visitor, html};
use crate::store::outlets::Outlet;
use crate::store::services::{ServiceDetails, ServiceRecord, sides_code, sides_from};
use crate::store::{StoreError, new_id};

/// How a service bills size, as the form names it: in the store's spelling.
const BY_WEIGHT: &str = "none";
const BY_INCHES: &str = "in3-lb";
const BY_CENTIMETRES: &str = "cm3-kg";

const TAKEN: &str = "Another service has that name, perhaps a retired one. Choose another.";

#[derive(Template)]
#[template(path = "services/form.html")]
struct ServiceFormPage {
    page: Page,
    form: Form,
    /// Where the form goes, which is also what it is a form for.
    action: String,
    divisor_kinds: Vec<(String, String)>,
    sides: Vec<(String, String)>,
}

fn form_page(visitor: &Visitor, form: Form, title: String, action: String) -> Result<Response, Failure> {
    let options = |pairs: &[(&str, &str)]| {
        pairs.iter().map(|(code, words)| (code.to_string(), words.to_string())).collect()
    };
    html(&ServiceFormPage {
        page: visitor.page(Screen::Freight, title),
        form,
        action,
        divisor_kinds: options(&[
            (BY_INCHES, "cubic inches per lb"),
            (BY_CENTIMETRES, "cubic centimetres per kg"),
            (BY_WEIGHT, "size does not matter"),
        ]),
        sides: options(&[
            (sides_code(SideRounding::Up), "up to the next inch or centimetre"),
            (sides_code(SideRounding::Nearest), "to the nearest inch or centimetre"),
            (sides_code(SideRounding::Exact), "as measured"),
        ]),
    })
}

pub async fn new(visitor: Visitor) -> Result<Response, Failure> {
    let form = Form::filled([
        ("id", new_id()),
        ("currency", visitor.home().code().to_string()),
        ("divisor_kind", BY_INCHES.to_string()),
        ("sides", sides_code(SideRounding::Up).to_string()),
        ("step", format!("1 {}", visitor.style().unit().code())),
    ]);
    new_page(&visitor, form)
}

fn new_page(visitor: &Visitor, form: Form) -> Result<Response, Failure> {
    form_page(visitor, form, "New carrier's service".to_string(), "/freight/services/new".to_string())
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    if let Some(details) = read_details(&mut form) {
        match app.store.create_service(&visitor.by(), &id, &details).await {
            Ok(()) => return Ok(Redirect::to(&format!("/freight/services/{id}")).into_response()),
            Err(error) => form.refuse_taken_name(error, TAKEN)?,
        }
    }
    new_page(&visitor, form)
}

pub async fn edit(
    State(app): State<App>,
    visitor: Visitor,
    Path(service): Path<String>,
) -> Result<Response, Failure> {
    let service = app.store.service(&visitor.shop.id, &service).await?;
    let form = filled(&service.details, service.version);
    edit_page(&visitor, &service, form)
}

fn edit_page(visitor: &Visitor, service: &ServiceRecord, form: Form) -> Result<Response, Failure> {
    let action = format!("/freight/services/{}/edit", service.id);
    form_page(visitor, form, format!("Change {}", service.details.name), action)
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let service = app.store.service(&visitor.shop.id, &id).await?;
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let details = read_details(&mut form).filter(|details| keeps_zones(&mut form, &id, details, &outlets));
    if let Some(details) = details {
        match app.store.save_service(&visitor.by(), &id, form.version(), &details).await {
            Ok(()) => return Ok(Redirect::to(&format!("/freight/services/{id}")).into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.service(&visitor.shop.id, &id).await?;
                // Spelled alike on both sides, so that only what means something else stands out.
                form = filled(&details, form.version());
                form.overtaken_by(&filled(&now.details, now.version));
            }
            Err(error) => form.refuse_taken_name(error, TAKEN)?,
        }
    }
    edit_page(&visitor, &service, form)
}

/// A zone that an outlet lies in cannot go: parcels to it would have no price.
fn keeps_zones(form: &mut Form, service_id: &str, details: &ServiceDetails, outlets: &[Outlet]) -> bool {
    for outlet in outlets.iter().filter(|outlet| !outlet.is_closed()) {
        let reaches = outlet.details.kind.reaches().iter();
        for reach in reaches.filter(|reach| reach.service_id == service_id) {
            if details.zone(&reach.zone).is_none() {
                let problem = format!(
                    "{} lies in zone {}, which is not in the table any more. Keep the zone, or give that outlet another \
                     one first.",
                    outlet.details.name, reach.zone
                );
                form.refuse("table", problem);
            }
        }
    }
    form.is_good()
}

fn read_details(form: &mut Form) -> Option<ServiceDetails> {
    let name = form.text("name", 60);
    let currency = form.currency("currency");
    let dimensional = read_dimensional(form);
    let step = form.read("step", mass);
    let fuel_percent = match form.value("fuel_percent").trim() {
        "" => Some(Decimal::ZERO),
        _ => form.decimal("fuel_percent", Decimal::ZERO, dec!(1000)),
    };
    let breaks = read_text(form, "table", read_breaks);
    let flat_boxes = read_text(form, "flat_boxes", read_flat_boxes);
    let surcharges = read_text(form, "surcharges", read_surcharges);
    let details = ServiceDetails {
        name: name?,
        currency: currency?,
        dimensional: dimensional?,
        step: step?,
        fuel_percent: fuel_percent?,
        surcharges: surcharges?,
        zones: zone_tables(breaks?, flat_boxes?),
    };
    if details.zones.is_empty() {
        form.refuse(
            "table",
            "The table is empty. Type at least one weight with its charge, or a flat-rate box below.",
        );
    }
    // What the lines could not know of each other is said by the core, which would not ship by such a service.
    let problems =
        details.zones.iter().filter_map(|table| details.for_zone(&table.zone)).flat_map(|s| s.problems());
    for problem in problems.collect::<Vec<_>>() {
        form.refuse("form", problem);
    }
    form.is_good().then_some(details)
}

/// A text area that may stay empty.
fn read_text<T>(form: &mut Form, name: &str, read: impl Fn(&str) -> Result<T, String>) -> Option<T> {
    read(form.value(name)).map_err(|problem| form.refuse(name, problem)).ok()
}

/// `Some(None)` where size does not matter; `None` where something is wrong.
fn read_dimensional(form: &mut Form) -> Option<Option<Dimensional>> {
    let kind = form.choice("divisor_kind", |code| match code {
        BY_WEIGHT => Some(None),
        BY_INCHES => Some(Some(Divisor::CubicInchesPerPound as fn(Decimal) -> Divisor)),
        BY_CENTIMETRES => Some(Some(Divisor::Cm3PerKilogram as fn(Decimal) -> Divisor)),
        _ => None,
    })?;
    let Some(divisor_of) = kind else { return Some(None) };
    let divisor = form.decimal("divisor", Decimal::ONE, dec!(100_000));
    let sides = form.choice("sides", sides_from);
    let above =
        if form.value("above").trim().is_empty() { Some(None) } else { form.read("above", volume).map(Some) };
    Some(Some(Dimensional { divisor: divisor_of(divisor?), sides: sides?, above: above? }))
}

fn filled(details: &ServiceDetails, version: i64) -> Form {
    let (kind, divisor) = match details.dimensional.map(|rule| rule.divisor) {
        None => (BY_WEIGHT, String::new()),
        Some(Divisor::CubicInchesPerPound(divisor)) => (BY_INCHES, divisor.normalize().to_string()),
        Some(Divisor::Cm3PerKilogram(divisor)) => (BY_CENTIMETRES, divisor.normalize().to_string()),
    };
    let sides = details.dimensional.map_or(SideRounding::Up, |rule| rule.sides);
    let above = details.dimensional.and_then(|rule| rule.above);
    let fuel = details.fuel_percent.normalize();
    Form::filled([
        ("version", version.to_string()),
        ("name", details.name.clone()),
        ("currency", details.currency.code().to_string()),
        ("divisor_kind", kind.to_string()),
        ("divisor", divisor),
        ("sides", sides_code(sides).to_string()),
        ("above", above.map_or(String::new(), spell_volume)),
        ("step", spell_mass(details.step)),
        ("fuel_percent", if fuel.is_zero() { String::new() } else { fuel.to_string() }),
        ("table", write_breaks(&details.zones)),
        ("flat_boxes", write_flat_boxes(&details.zones)),
        ("surcharges", write_surcharges(&details.surcharges)),
    ])
}
