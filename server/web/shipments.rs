//! Shipments: what is packed, and what is out?

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::Currency;
use trade::net::{Load, deliver};
use trade::outlet::Way;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html};
use crate::shelf::Shelf;
use crate::store::StoreError;
use crate::store::outlets::{OutletDetails, OutletKind};
use crate::store::shipments::{NewShipment, Shipment, ShipmentLot, ShipmentState};

#[derive(Template)]
#[template(path = "shipments/index.html")]
struct ShipmentsPage {
    page: Page,
    visitor: Visitor,
    shipments: Vec<Shipment>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let shipments = app.store.shipments(&visitor.shop.id).await?;
    let page = visitor.page(Screen::Shipments, "Shipments");
    html(&ShipmentsPage { page, visitor, shipments })
}

/// Makes a shipment: prices it as it stands, reserves its lots, all or nothing.
pub async fn create(State(app): State<App>, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let made = make(&app, &visitor, &form, &id).await;
    // Sent twice: the first one made it, be it a moment ago, and then its lots are not free for the second.
    if made.is_err() && app.store.shipment(&visitor.shop.id, &id).await.is_err() {
        made?;
    }
    Ok(Redirect::to(&format!("/shipments/{id}")).into_response())
}

async fn make(app: &App, visitor: &Visitor, form: &Form, id: &str) -> Result<(), Failure> {
    let shelf = Shelf::load(&app.store, &visitor.shop, visitor.now).await?;
    let outlet_id = OutletId::new(form.value("outlet"));
    let Some(outlet) = shelf.outlet(&outlet_id) else {
        return Err(not_made("The outlet has been closed meanwhile. Choose another buyer."));
    };
    if matches!(outlet.way, Way::Drive(_)) {
        return Err(not_made(format!("{} takes no parcels: it is a yard.", outlet.name)));
    }
    let chosen: BTreeSet<LotId> = form.values("lot").map(LotId::new).collect();
    if chosen.is_empty() {
        return Err(not_made("No lot was chosen. Go back and tick what goes in it."));
    }
    let mut lots = Vec::new();
    let mut loads: Vec<Load> = Vec::new();
    for lot in &chosen {
        let Some(load) = shelf.load_of(lot) else {
            return Err(not_made(
                "One of the lots is not on the shelf any more: it is packed in another shipment or has left. Go back, \
                 reload the page and choose again.",
            ));
        };
        let seen = form.value(&format!("seen-{lot}")).parse().map(Mass::from_micrograms).unwrap_or(load.mass);
        lots.push((lot.clone(), seen));
        loads.push(load);
    }
    let ladder = deliver(outlet, &loads, &shelf.facts).map_err(|closed| {
        not_made(format!("{} does not take it: {}.", outlet.name, shelf.closed_in_words(&closed)))
    })?;
    let shipment = NewShipment { id, outlet_id: &outlet_id, lots, ladder: &ladder };
    match app.store.make_shipment(&visitor.by(), &shipment).await {
        Ok(()) => Ok(()),
        Err(StoreError::Stale) => Err(not_made(
            "Something was weighed onto one of the lots, or the outlet was closed, while you had the page open. Go \
             back, reload it and look at the figures again.",
        )),
        Err(other) => Err(other.into()),
    }
}

fn not_made(why: impl Into<String>) -> Failure {
    Failure::refused(
        StatusCode::CONFLICT,
        "The shipment was not made",
        format!("{} Nothing was reserved.", why.into()),
    )
}

#[derive(Template)]
#[template(path = "shipments/show.html")]
struct ShipmentPage {
    page: Page,
    visitor: Visitor,
    shipment: Shipment,
    lots: Vec<ShipmentLot>,
    total: Mass,
    parcels: Vec<Parcel>,
    lines: Vec<Line>,
    crosses_border: bool,
    has_batteries: bool,
}

/// What one grade of it is expected to fetch.
struct Line {
    grade_name: String,
    mass: Mass,
    pieces: u32,
    price: String,
    amount: String,
}

/// One box of the packing list.
struct Parcel {
    number: usize,
    box_name: String,
    contents: Mass,
    gross: Mass,
}

/// One shipment; printed, it is the packing list.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let shipment = app.store.shipment(&visitor.shop.id, &id).await?;
    let lots = app.store.shipment_lots(&visitor.shop.id, &id).await?;
    let outlet = app.store.outlet(&visitor.shop.id, shipment.outlet_id.as_str()).await?;
    let parcels = shipment
        .expected
        .parcels
        .iter()
        .flat_map(|parcels| (0..parcels.count).map(move |_| parcels))
        .enumerate()
        .map(|(index, parcels)| Parcel {
            number: index + 1,
            box_name: parcels.box_name.clone(),
            contents: parcels.contents,
            gross: parcels.gross,
        })
        .collect();
    let grades = app.store.grades(&visitor.shop.id).await?;
    let grade = |id: &GradeId| grades.iter().find(|grade| grade.id == *id);
    let has_batteries =
        lots.iter().any(|lot| grade(&lot.grade_id).is_some_and(|grade| grade.details.family == "batteries"));
    let lines = shipment.expected.lines.iter().map(|line| Line {
        grade_name: grade(&line.grade)
            .map_or_else(|| line.grade.to_string(), |grade| grade.details.name.clone()),
        mass: line.mass,
        pieces: line.pieces,
        price: line.price.clone(),
        amount: line.amount.clone(),
    });
    let page = visitor.page(Screen::Shipments, format!("Shipment to {}", shipment.outlet_name));
    html(&ShipmentPage {
        page,
        total: lots.iter().map(|lot| lot.net).sum(),
        crosses_border: crosses_border(&outlet.details, visitor.home()),
        has_batteries,
        parcels,
        lines: lines.collect(),
        lots,
        shipment,
        visitor,
    })
}

/// A buyer pays in another currency or its shipments cost paperwork: a border lies between.
fn crosses_border(outlet: &OutletDetails, home: Currency) -> bool {
    let paperwork = match &outlet.kind {
        OutletKind::Yard(_) => Decimal::ZERO,
        OutletKind::MailIn(post) => post.border,
    };
    outlet.currency != home || !paperwork.is_zero()
}

/// The parcels have been handed over.
pub async fn send(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let sent = app.store.send_shipment(&visitor.by(), &id, form.version()).await;
    settled(&app, &visitor, &id, sent, |state| matches!(state, ShipmentState::Sent { .. })).await
}

/// Takes it apart again before it has left.
pub async fn cancel(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let cancelled = app.store.cancel_shipment(&visitor.by(), &id, form.version()).await;
    settled(&app, &visitor, &id, cancelled, |state| matches!(state, ShipmentState::Cancelled { .. })).await
}

/// Where a step on a shipment leads. One that came too late is refused, unless the shipment stands where it wanted it:
/// then the form was sent twice.
async fn settled(
    app: &App,
    visitor: &Visitor,
    id: &str,
    step: Result<(), StoreError>,
    wanted: fn(&ShipmentState) -> bool,
) -> Result<Response, Failure> {
    match step {
        Ok(()) => {}
        Err(StoreError::Stale) if wanted(&app.store.shipment(&visitor.shop.id, id).await?.state) => {}
        Err(StoreError::Stale) => {
            return Err(Failure::refused(
                StatusCode::CONFLICT,
                "The shipment has moved on",
                "Somebody sent it or took it apart meanwhile. Nothing was changed by this. Reload it to see where it \
                 stands.",
            ));
        }
        Err(other) => return Err(other.into()),
    }
    Ok(Redirect::to(&format!("/shipments/{id}")).into_response())
}
