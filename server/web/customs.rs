//! Papers that go with a shipment: figures for customs, and labels for its boxes.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use rust_decimal::Decimal;
use trade::mass::Mass;
use trade::money::Price;

use super::App;
use super::containers::qr_svg;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, html, money, unbroken};
use crate::store::grades::Grade;
use crate::store::shipments::{Shipment, Waybill};

#[derive(Template)]
#[template(path = "shipments/customs.html")]
struct CustomsPage {
    page: Page,
    visitor: Visitor,
    shipment: Shipment,
    place: String,
    rows: Vec<Goods>,
    total_mass: Mass,
    total_value: String,
    /// By the shop's scale; `None` until every box is weighed.
    gross: Option<Mass>,
    has_batteries: bool,
}

/// One grade of what is sent, as customs ask for it.
struct Goods {
    description: String,
    mass: Mass,
    pieces: u32,
    value: String,
    heading: &'static str,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let shipment = app.store.shipment(shop, &id).await?;
    let lots = app.store.shipment_lots(shop, &id).await?;
    let outlet = app.store.outlet(shop, shipment.outlet_id.as_str()).await?;
    let grades = app.store.grades(shop).await?;
    let details = &outlet.details;
    let promise = shipment.promise(&lots, &details.terms, details.currency, visitor.home());
    let mut rows: Vec<Goods> = Vec::new();
    let (mut total_mass, mut total) = (Mass::ZERO, Decimal::ZERO);
    let mut has_batteries = false;
    let mut of_grades: Vec<(&Grade, Mass, u32, Price)> = Vec::new();
    for sent in &promise.sent {
        let Some(grade) = grades.iter().find(|grade| grade.id == sent.grade) else { continue };
        match of_grades.iter_mut().find(|(there, ..)| there.id == grade.id) {
            Some((_, mass, pieces, _)) => {
                *mass += sent.mass;
                *pieces = pieces.saturating_add(sent.pieces);
            }
            None => of_grades.push((grade, sent.mass, sent.pieces, sent.price)),
        }
    }
    for (grade, mass, pieces, price) in of_grades {
        let value = price.of(mass, pieces).rounded();
        has_batteries |= grade.details.is_of_batteries();
        total_mass += mass;
        total += value.amount;
        rows.push(Goods {
            description: format!("{}, used, for recovery of materials", grade.details.name),
            mass,
            pieces,
            value: unbroken(&value.to_string()),
            heading: heading(&grade.details.family),
        });
    }
    let waybill = app.store.waybills(shop, &id).await?.into_iter().next();
    html(&CustomsPage {
        page: visitor.page(Screen::Shipments, format!("For customs: {}", shipment.outlet_name)),
        place: outlet.details.place,
        gross: gross(&shipment, waybill.as_ref()),
        total_value: money(total, promise.currency),
        total_mass,
        rows,
        has_batteries,
        shipment,
        visitor,
    })
}

/// What all boxes weigh, where each that was planned has been weighed.
fn gross(shipment: &Shipment, waybill: Option<&Waybill>) -> Option<Mass> {
    let planned: u32 = shipment.expected.parcels.iter().map(|parcels| parcels.count).sum();
    let boxes = &waybill?.boxes;
    (!boxes.is_empty() && boxes.len() >= planned as usize)
        .then(|| boxes.iter().map(|packed| packed.gross).sum())
}

/// A heading of the Harmonized System that goods of a family may fall under. Chapter 85.49 is that of the HS 2022; the
/// headings of bare metals are from memory. Only customs can say.
fn heading(family: &str) -> &'static str {
    match family {
        "copper" | "brass" => "7404",
        "wire" => "7404 or 8544",
        "aluminium" => "7602",
        "steel" => "7204",
        "lead" => "7802",
        "boards" => "8549.29 or 8549.39; 8549.21 or 8549.31 with batteries or mercury parts",
        "parts" => "8549.39 or 8549.99",
        "batteries" => "8549.11 to 8549.19, by type",
        _ => "8549.99; 8549.91 with batteries or mercury parts",
    }
}

#[derive(Template)]
#[template(path = "shipments/labels.html")]
struct LabelsPage {
    page: Page,
    shop_name: String,
    outlet_name: String,
    place: String,
    labels: Vec<BoxLabel>,
    code: String,
}

struct BoxLabel {
    number: usize,
    of: usize,
    name: String,
    /// As weighed; else what it should weigh.
    gross: String,
    other_form: String,
    is_weighed: bool,
}

/// A label for each box: from, to, which of how many, its weight, and a code that opens the shipment on a phone.
pub async fn labels(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let shipment = app.store.shipment(shop, &id).await?;
    let outlet = app.store.outlet(shop, shipment.outlet_id.as_str()).await?;
    let waybill = app.store.waybills(shop, &id).await?.into_iter().next();
    let weighed = waybill.map(|waybill| waybill.boxes).unwrap_or_default();
    let planned: Vec<(String, Mass)> = shipment
        .expected
        .parcels
        .iter()
        .flat_map(|parcels| (0..parcels.count).map(|_| (parcels.box_name.clone(), parcels.gross)))
        .collect();
    let of = weighed.len().max(if weighed.is_empty() { planned.len() } else { 0 });
    let label = |index: usize| {
        let (name, gross, is_weighed) = match (weighed.get(index), planned.get(index)) {
            (Some(packed), _) => (packed.name.clone(), packed.gross, true),
            (None, Some((name, gross))) => (name.clone(), *gross, false),
            (None, None) => (String::new(), Mass::ZERO, false),
        };
        BoxLabel {
            number: index + 1,
            of,
            name,
            gross: visitor.mass(gross),
            other_form: visitor.other_form(gross),
            is_weighed,
        }
    };
    let address = format!("{}/shipments/{id}", app.config.base_url);
    let code = qr_svg(&address).ok_or_else(|| Failure::missing("label"))?;
    html(&LabelsPage {
        page: visitor.page(Screen::Shipments, format!("Labels: {}", shipment.outlet_name)),
        shop_name: visitor.shop.name.clone(),
        outlet_name: shipment.outlet_name,
        place: outlet.details.place,
        labels: (0..of).map(label).collect(),
        code,
    })
}
