//! What came back of a shipment: each lot goes on the shelf again, in its own bag or in another.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use trade::ids::LotId;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html};
use crate::store::StoreError;
use crate::store::lots::LotRefusal;
use crate::store::shipments::{Back, Shipment, ShipmentLot};

#[derive(Template)]
#[template(path = "shipments/return.html")]
struct ReturnPage {
    page: Page,
    visitor: Visitor,
    shipment: Shipment,
    lots: Vec<Returnable>,
    form: Form,
}

struct Returnable {
    lot: ShipmentLot,
    /// Its container holds another lot by now, so it needs a new one: the field for its label.
    label: Option<String>,
    ticked: bool,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let shipment = app.store.shipment(&visitor.shop.id, &id).await?;
    let lots = app.store.shipment_lots(&visitor.shop.id, &id).await?;
    let mut values = vec![("version".to_string(), shipment.version.to_string())];
    for lot in lots.iter().filter(|lot| !lot.is_back) {
        values.push(("lot".into(), lot.lot_id.to_string()));
        values.push((format!("label-{}", lot.lot_id), format!("{} back", lot.container_label)));
    }
    let form = Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())));
    shown(&app, visitor, shipment, form).await
}

async fn shown(app: &App, visitor: Visitor, shipment: Shipment, form: Form) -> Result<Response, Failure> {
    let lots = app.store.shipment_lots(&visitor.shop.id, &shipment.id).await?;
    let mut returnable = Vec::new();
    for lot in lots.into_iter().filter(|lot| !lot.is_back) {
        // One that was out of use since it left comes into use again by coming back.
        let own = app.store.container(&visitor.shop.id, &lot.container_id).await?;
        let is_free = own.open_lot.is_none();
        returnable.push(Returnable {
            label: (!is_free).then(|| format!("label-{}", lot.lot_id)),
            ticked: form.values("lot").any(|ticked| ticked == lot.lot_id.as_str()),
            lot,
        });
    }
    let page = visitor.page(Screen::Shipments, format!("Back from {}", shipment.outlet_name));
    html(&ReturnPage { page, visitor, shipment, lots: returnable, form })
}

pub async fn create(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let shipment = app.store.shipment(&visitor.shop.id, &id).await?;
    let ticked: Vec<String> = form.values("lot").map(str::to_string).collect();
    if ticked.is_empty() {
        form.refuse("lot", "Tick what came back.");
    }
    let mut backs = Vec::new();
    for lot in &ticked {
        let field = format!("label-{lot}");
        let label = if form.has(&field) { form.text(&field, 40) } else { None };
        backs.push(Back { lot: LotId::new(lot.clone()), label });
    }
    if form.is_good() {
        match app.store.return_shipment(&visitor.by(), &id, form.version(), &backs).await {
            Ok(()) => return Ok(Redirect::to(&format!("/shipments/{id}")).into_response()),
            Err(StoreError::Stale) => {
                let lots = app.store.shipment_lots(&visitor.shop.id, &id).await?;
                let is_back = |back: &Back| lots.iter().any(|lot| lot.lot_id == back.lot && lot.is_back);
                if backs.iter().all(is_back) {
                    // Sent twice: the first one brought them back.
                    return Ok(Redirect::to(&format!("/shipments/{id}")).into_response());
                }
                return Err(StoreError::Stale.into());
            }
            Err(StoreError::Duplicate) => {
                form.refuse(
                    "lot",
                    "There is a container with one of these labels already. Choose another label.",
                );
            }
            Err(StoreError::Lot(LotRefusal::ContainerTaken)) => {
                form.refuse(
                    "lot",
                    "One of the bags has been filled again meanwhile. Give its lot a new one.",
                );
            }
            Err(StoreError::Shipment(refusal)) => form.refuse("lot", refusal.to_string()),
            Err(other) => return Err(other.into()),
        }
    }
    let page = shown(&app, visitor, shipment, form).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}
