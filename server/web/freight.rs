//! Freight and boxes: what the shop ships by and in.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::App;
use super::failure::Failure;
use super::measure::{spell_mass, spell_size};
use super::page::{Page, Screen, Visitor, html};
use super::services::size_rule;
use crate::store::cartons::CartonRecord;
use crate::store::services::ServiceRecord;

struct ServiceCard {
    service: ServiceRecord,
    rules: String,
    zones: String,
}

struct CartonCard {
    record: CartonRecord,
    inner: String,
    limit: String,
    cost: String,
    at_hand: String,
}

#[derive(Template)]
#[template(path = "freight/index.html")]
struct FreightPage {
    page: Page,
    services: Vec<ServiceCard>,
    cartons: Vec<CartonCard>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let services = app.store.services(&visitor.shop.id).await?;
    let cartons = app.store.cartons(&visitor.shop.id).await?;
    html(&FreightPage {
        page: visitor.page(Screen::Freight, "Freight and boxes"),
        services: services.into_iter().map(service_card).collect(),
        cartons: cartons.into_iter().map(|record| carton_card(record, &visitor)).collect(),
    })
}

fn service_card(service: ServiceRecord) -> ServiceCard {
    let details = &service.details;
    let zones: Vec<&str> = details.zones.iter().map(|table| table.zone.as_str()).collect();
    let zones = zones.join(", ");
    let rules = format!(
        "{} · {} · billed by {}",
        details.currency.code(),
        details.dimensional.map_or("actual weight only".to_string(), size_rule),
        spell_mass(details.step)
    );
    ServiceCard { service, rules, zones }
}

fn carton_card(record: CartonRecord, visitor: &Visitor) -> CartonCard {
    let carton = &record.carton;
    CartonCard {
        inner: spell_size(carton.inner),
        limit: spell_mass(carton.limit),
        cost: visitor.money(carton.cost),
        at_hand: match carton.at_hand {
            None => "always enough".to_string(),
            Some(count) => format!("{count} at hand"),
        },
        record,
    }
}
