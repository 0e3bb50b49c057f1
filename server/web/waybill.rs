//! A shipment's waybill: the boxes as they were packed and weighed, the carrier, and what it cost.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::mass::Mass;
use trade::money::{Currency, LARGEST_AMOUNT, places};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html};
use crate::store::shipments::{
    NewWaybill, PackedBox, Shipment, ShipmentRefusal, ShipmentState, Waybill, add_waybill, pack_shipment,
};
use crate::store::{StoreError, new_id};

/// More boxes than anybody packs in one shipment.
const MOST_BOXES: usize = 200;

#[derive(Template)]
#[template(path = "shipments/waybill.html")]
struct WaybillPage {
    page: Page,
    shipment: Shipment,
    form: Form,
    boxes: Vec<BoxFields>,
    /// It has left, so this is a correction.
    has_left: bool,
}

/// The names of a box's fields.
struct BoxFields {
    number: usize,
    name: String,
    gross: String,
    expected: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let shipment = app.store.shipment(&visitor.shop.id, &id).await?;
    let last = app.store.waybills(&visitor.shop.id, &id).await?.into_iter().next();
    let form = filled(&shipment, last.as_ref(), &visitor);
    shown(&visitor, shipment, form)
}

fn filled(shipment: &Shipment, last: Option<&Waybill>, visitor: &Visitor) -> Form {
    let currency = last.map_or(visitor.home(), |waybill| waybill.currency);
    let plain = |amount: Option<Decimal>| amount.map(|amount| amount.to_string()).unwrap_or_default();
    let mut values: Vec<(String, String)> = vec![
        ("id".into(), new_id()),
        ("version".into(), shipment.version.to_string()),
        ("carrier".into(), last.map_or(shipment.expected.service.clone(), |waybill| waybill.carrier.clone())),
        ("tracking".into(), last.map(|waybill| waybill.tracking.clone()).unwrap_or_default()),
        ("currency".into(), currency.code().into()),
        ("freight".into(), plain(last.and_then(|waybill| waybill.freight))),
        ("boxes_cost".into(), plain(last.and_then(|waybill| waybill.boxes_cost))),
    ];
    let boxes: Vec<(String, String)> = match last {
        Some(waybill) => {
            waybill.boxes.iter().map(|packed| (packed.name.clone(), visitor.spelled(packed.gross))).collect()
        }
        None => expected(shipment).into_iter().map(|(name, _)| (name, String::new())).collect(),
    };
    for (index, (name, gross)) in boxes.iter().enumerate() {
        values.push((format!("box-{index}"), name.clone()));
        values.push((format!("gross-{index}"), gross.clone()));
    }
    values.push(("boxes".into(), boxes.len().max(1).to_string()));
    Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())))
}

/// The boxes that were planned, each with what it should weigh.
fn expected(shipment: &Shipment) -> Vec<(String, Mass)> {
    let parcels = shipment.expected.parcels.iter();
    parcels
        .flat_map(|parcels| (0..parcels.count).map(|_| (parcels.box_name.clone(), parcels.gross)))
        .take(MOST_BOXES)
        .collect()
}

fn boxes(form: &Form) -> usize {
    form.value("boxes").parse::<usize>().unwrap_or(1).clamp(1, MOST_BOXES)
}

fn shown(visitor: &Visitor, shipment: Shipment, form: Form) -> Result<Response, Failure> {
    let planned = expected(&shipment);
    let boxes = (0..boxes(&form)).map(|index| BoxFields {
        number: index + 1,
        name: format!("box-{index}"),
        gross: format!("gross-{index}"),
        expected: planned.get(index).map(|(_, gross)| visitor.mass(*gross)).unwrap_or_default(),
    });
    html(&WaybillPage {
        page: visitor.page(Screen::Shipments, format!("Boxes to {}", shipment.outlet_name)),
        boxes: boxes.collect(),
        has_left: shipment.sent_at.is_some(),
        shipment,
        form,
    })
}

pub async fn create(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let waybill_id = form.once("id")?;
    let shipment = app.store.shipment(&visitor.shop.id, &id).await?;
    let button = form.value("do").to_string();
    if button == "more" {
        let more = (boxes(&form) + 1).min(MOST_BOXES);
        form.set("boxes", more.to_string());
        return shown(&visitor, shipment, form);
    }
    let Some(typed) = read(&mut form, shipment.sent_at.is_some(), visitor.home()) else {
        let page = shown(&visitor, shipment, form)?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let waybill = NewWaybill {
        id: &waybill_id,
        shipment_id: &id,
        version: form.version(),
        carrier: &typed.carrier,
        tracking: &typed.tracking,
        currency: typed.currency,
        freight: typed.freight,
        boxes_cost: typed.boxes_cost,
        boxes: &typed.boxes,
        why: &typed.why,
        day: shipment.sent_at.map_or(visitor.today(), |sent| visitor.day_of(sent)),
    };
    match save(&app, &visitor, &waybill, button == "pack" && shipment.state == ShipmentState::Planned).await {
        Ok(()) => Ok(Redirect::to(&format!("/shipments/{id}")).into_response()),
        Err(StoreError::Stale) => {
            let last = app.store.waybills(&visitor.shop.id, &id).await?.into_iter().next();
            let now = filled(&shipment, last.as_ref(), &visitor);
            form.overtaken_by(&now);
            form.set("id", waybill_id);
            shown(&visitor, shipment, form)
        }
        Err(StoreError::Shipment(ShipmentRefusal::SayWhy)) => {
            form.refuse("why", ShipmentRefusal::SayWhy.to_string());
            shown(&visitor, shipment, form)
        }
        Err(other) => Err(other.into()),
    }
}

async fn save(app: &App, visitor: &Visitor, waybill: &NewWaybill<'_>, packs: bool) -> Result<(), StoreError> {
    let by = visitor.by();
    let mut tx = app.store.begin().await?;
    let version = add_waybill(&mut tx, &by, waybill).await?;
    if packs {
        match pack_shipment(&mut tx, &by, waybill.shipment_id, version).await {
            // The same form a second time: the first one has packed it.
            Ok(()) | Err(StoreError::Stale) => {}
            Err(other) => return Err(other),
        }
    }
    tx.commit().await
}

struct Typed {
    carrier: String,
    tracking: String,
    currency: Currency,
    freight: Option<Decimal>,
    boxes_cost: Option<Decimal>,
    boxes: Vec<PackedBox>,
    why: String,
}

fn read(form: &mut Form, has_left: bool, home: Currency) -> Option<Typed> {
    let carrier = form.optional_text("carrier", 80);
    let tracking = form.optional_text("tracking", 80);
    let why = if has_left { form.text("why", 200) } else { Some(String::new()) };
    let currency =
        if form.value("currency").trim().is_empty() { Some(home) } else { form.currency("currency") };
    let mut packed = Vec::new();
    for index in 0..boxes(form) {
        let (name, gross) = (format!("box-{index}"), format!("gross-{index}"));
        let typed = form.value(&gross).trim().to_string();
        let called = form.optional_text(&name, 60);
        if typed.is_empty() {
            continue;
        }
        if let (Some(mass), Some(called)) = (form.mass(&gross), called) {
            packed.push(PackedBox { name: called, gross: mass.as_kept(), typed });
        }
    }
    let currency = currency?;
    let mut cost = |name: &str| match form.value(name).trim() {
        "" => Some(None),
        _ => {
            let amount = form.decimal(name, Decimal::ZERO, LARGEST_AMOUNT)?;
            if amount.normalize().scale() > places(currency) {
                form.refuse(name, format!("{} has {} decimals.", currency.code(), places(currency)));
            }
            Some(Some(amount))
        }
    };
    let (freight, boxes_cost) = (cost("freight"), cost("boxes_cost"));
    if !form.is_good() {
        return None;
    }
    Some(Typed {
        carrier: carrier?,
        tracking: tracking?,
        currency,
        freight: freight?,
        boxes_cost: boxes_cost?,
        boxes: packed,
        why: why?,
    })
}
