//! Claims: what a carrier or an insurer paid for a parcel that was lost or broken. It is no settlement: the buyer has
//! nothing to do with it, and nothing is learned of the buyer from it.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use trade::cash::Kind;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::money::amount;
use super::page::{Page, Screen, Visitor, html};
use crate::store::cash::{CashEntry, Document, DocumentKind, NewEntry};
use crate::store::shipments::{Shipment, ShipmentRefusal};
use crate::store::{StoreError, new_id};

/// A note says who paid, and why.
const LONGEST_NOTE: usize = 200;

#[derive(Template)]
#[template(path = "claims/show.html")]
struct ClaimPage {
    page: Page,
    visitor: Visitor,
    shipment: Shipment,
    paid: Vec<CashEntry>,
    form: Form,
}

/// What was paid for a shipment so far; what was undone is not among it.
pub async fn paid_for(app: &App, visitor: &Visitor, shipment: &str) -> Result<Vec<CashEntry>, StoreError> {
    let document = Document::new(DocumentKind::Claim, shipment);
    let mut entries = app.store.cash_of(&visitor.shop.id, &document).await?;
    entries.retain(|entry| !entry.is_about_another() && entry.reversed_by.is_none());
    Ok(entries)
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(shipment): Path<String>,
) -> Result<Response, Failure> {
    let form = Form::filled([
        ("id", new_id()),
        ("day", visitor.today().to_string()),
        ("currency", visitor.home().code().to_string()),
    ]);
    page(&app, visitor, &shipment, form).await
}

async fn page(app: &App, visitor: Visitor, shipment: &str, form: Form) -> Result<Response, Failure> {
    let shipment = app.store.shipment(&visitor.shop.id, shipment).await?;
    if shipment.sent_at.is_none() {
        return Err(StoreError::from(ShipmentRefusal::NotSent).into());
    }
    let paid = paid_for(app, &visitor, &shipment.id).await?;
    let page = visitor.page(Screen::Shipments, format!("Claim for the shipment to {}", shipment.outlet_name));
    html(&ClaimPage { page, visitor, shipment, paid, form })
}

/// Puts what was paid into the cash book. Sent twice it is there once.
pub async fn create(
    State(app): State<App>,
    visitor: Visitor,
    Path(shipment): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let head = app.store.shipment(&visitor.shop.id, &shipment).await?;
    let first = head.sent_at.map_or(visitor.today(), |at| visitor.day_of(at));
    let day = form.date("day", first, visitor.today());
    let amount = amount(&mut form, "amount", "currency");
    let note = form.optional_text("note", LONGEST_NOTE);
    let (Some(day), Some(amount), Some(note)) = (day, amount, note) else {
        return page(&app, visitor, &shipment, form).await;
    };
    let entry = NewEntry {
        document: Some(Document::new(DocumentKind::Claim, &shipment)),
        note,
        ..NewEntry::new(id, day, Kind::Claim, amount)
    };
    match app.store.pay_claim(&visitor.by(), &shipment, &entry).await {
        Ok(()) => Ok(Redirect::to(&format!("/shipments/{shipment}")).into_response()),
        Err(StoreError::Cash(refusal)) => {
            form.refuse("amount", refusal.to_string());
            page(&app, visitor, &shipment, form).await
        }
        Err(other) => Err(other.into()),
    }
}
