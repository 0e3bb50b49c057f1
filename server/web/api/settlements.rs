//! Settlements as JSON.

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::Serialize;
use utoipa::ToSchema;

use super::shipments::Most;
use super::{Caller, Problem};
use crate::store::settlements::{Settlement, SettlementHead};
use crate::web::App;

/// What an outlet paid for a delivery. Amounts are decimal strings in the major unit of their currency.
#[derive(Debug, Serialize, ToSchema)]
pub struct SettlementBody {
    id: String,
    outlet: String,
    outlet_name: String,
    /// The shipment that it is about, if it is about one.
    shipment: Option<String>,
    /// The stop of a yard run that it is about, if it is about one.
    run_stop: Option<String>,
    /// The paper's own number.
    number: String,
    dated: Option<String>,
    currency: String,
    /// By the sheet and the terms, and by the paper; in `currency`.
    promised: String,
    paid: String,
    paid_on: Option<String>,
    home_currency: String,
    promised_home: String,
    /// What reached the account; absent while nobody knows.
    arrived: Option<String>,
}

/// A settlement with its lines.
#[derive(Debug, Serialize, ToSchema)]
pub struct SettlementInFull {
    #[serde(flatten)]
    head: SettlementBody,
    lines: Vec<LineBody>,
    charges: Vec<ChargeBody>,
    /// The settlement that holds instead of this one.
    replaced_by: Option<String>,
}

/// A line that pays or charges for something.
#[derive(Debug, Serialize, ToSchema)]
pub struct LineBody {
    wording: String,
    /// That it was paid as.
    grade: Option<String>,
    grams: Option<String>,
    pieces: Option<u32>,
    price: Option<String>,
    /// What the price is per: `lb`, `kg`, `each` …
    per: Option<String>,
    amount: String,
    lots: Vec<String>,
}

/// What was taken off.
#[derive(Debug, Serialize, ToSchema)]
pub struct ChargeBody {
    /// `fee` or `deduction`.
    kind: &'static str,
    wording: String,
    amount: String,
}

impl From<SettlementHead> for SettlementBody {
    fn from(head: SettlementHead) -> SettlementBody {
        SettlementBody {
            shipment: head.delivery.shipment_id().map(str::to_string),
            run_stop: head.delivery.run_stop_id().map(str::to_string),
            id: head.id,
            outlet: head.outlet_id.to_string(),
            outlet_name: head.outlet_name,
            number: head.number,
            dated: head.dated.map(|day| day.to_string()),
            currency: head.currency.code().to_string(),
            promised: head.promised.to_string(),
            paid: head.paid.to_string(),
            paid_on: head.paid_on.map(|day| day.to_string()),
            home_currency: head.home.code().to_string(),
            promised_home: head.promised_home.to_string(),
            arrived: head.arrived.map(|arrived| arrived.to_string()),
        }
    }
}

impl From<Settlement> for SettlementInFull {
    fn from(settlement: Settlement) -> SettlementInFull {
        let lines = settlement.paper.lines.into_iter().map(|line| LineBody {
            wording: line.wording,
            grade: line.grade.map(|grade| grade.to_string()),
            grams: line.mass.map(|mass| mass.grams().normalize().to_string()),
            pieces: line.pieces,
            price: line.price.map(|price| price.amount.normalize().to_string()),
            per: line.price.map(|price| price.per.code().to_string()),
            amount: line.amount.to_string(),
            lots: line.pays_for.iter().map(ToString::to_string).collect(),
        });
        let charges = settlement.paper.charges.into_iter().map(|charge| ChargeBody {
            kind: crate::web::settlements::kind_code(charge.kind),
            wording: charge.wording,
            amount: charge.amount.to_string(),
        });
        SettlementInFull {
            lines: lines.collect(),
            charges: charges.collect(),
            replaced_by: settlement.replaced_by,
            head: settlement.head.into(),
        }
    }
}

/// The settlements that hold, newest first.
#[utoipa::path(get, path = "/api/v1/settlements", tag = "settlements", params(Most),
    responses((status = 200, body = Vec<SettlementBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn index(
    State(app): State<App>,
    caller: Caller,
    Query(most): Query<Most>,
) -> Result<Json<Vec<SettlementBody>>, Problem> {
    let visitor = caller.partner()?;
    let settlements = app.store.settlements(&visitor.shop.id, most.bounded()).await?;
    Ok(Json(settlements.into_iter().map(SettlementBody::from).collect()))
}

/// One settlement.
#[utoipa::path(get, path = "/api/v1/settlements/{settlement}", tag = "settlements",
    params(("settlement" = String, Path)),
    responses((status = 200, body = SettlementInFull), (status = 401, body = Problem), (status = 403, body = Problem), (status = 404, body = Problem)))]
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Path(settlement): Path<String>,
) -> Result<Json<SettlementInFull>, Problem> {
    let visitor = caller.partner()?;
    Ok(Json(app.store.settlement(&visitor.shop.id, &settlement).await?.into()))
}
