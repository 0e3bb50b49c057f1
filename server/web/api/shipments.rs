//! Shipments and the activity as JSON.

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::{Caller, Problem};
use crate::store::activity::{Activity, Wanted};
use crate::store::shipments::{Shipment, ShipmentState};
use crate::web::App;

/// A shipment to a mail-in buyer.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShipmentBody {
    id: String,
    outlet: String,
    outlet_name: String,
    /// `planned`, `packed`, `sent`, `received`, `settled`, `disputed`, `returned`, `lost` or `taken-apart`.
    state: &'static str,
    sent_at: Option<String>,
    /// The settlement that holds.
    settlement: Option<String>,
    made_at: String,
    /// What was promised when it was made, in home currency.
    expected_net: String,
    version: i64,
}

impl From<Shipment> for ShipmentBody {
    fn from(shipment: Shipment) -> ShipmentBody {
        let settlement = shipment.state.settlement_id().map(str::to_string);
        ShipmentBody {
            id: shipment.id,
            outlet: shipment.outlet_id.as_str().to_string(),
            outlet_name: shipment.outlet_name,
            state: match shipment.state {
                ShipmentState::Planned => "planned",
                ShipmentState::Packed { .. } => "packed",
                ShipmentState::Sent { .. } => "sent",
                ShipmentState::Received { .. } => "received",
                ShipmentState::Settled { .. } => "settled",
                ShipmentState::Disputed { .. } => "disputed",
                ShipmentState::Returned { .. } => "returned",
                ShipmentState::Lost { .. } => "lost",
                ShipmentState::Cancelled { .. } => "taken-apart",
            },
            sent_at: shipment.sent_at.map(|at| at.to_string()),
            settlement,
            made_at: shipment.made_at.to_string(),
            expected_net: shipment.expected_net.normalize().to_string(),
            version: shipment.version,
        }
    }
}

/// The shipments, newest first.
#[utoipa::path(get, path = "/api/v1/shipments", tag = "shipments",
    responses((status = 200, body = Vec<ShipmentBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn index(State(app): State<App>, caller: Caller) -> Result<Json<Vec<ShipmentBody>>, Problem> {
    let visitor = caller.partner()?;
    let shipments = app.store.shipments(&visitor.shop.id).await?;
    Ok(Json(shipments.into_iter().map(ShipmentBody::from).collect()))
}

/// One shipment.
#[utoipa::path(get, path = "/api/v1/shipments/{shipment}", tag = "shipments",
    params(("shipment" = String, Path)),
    responses((status = 200, body = ShipmentBody), (status = 401, body = Problem), (status = 403, body = Problem), (status = 404, body = Problem)))]
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Path(shipment): Path<String>,
) -> Result<Json<ShipmentBody>, Problem> {
    let visitor = caller.partner()?;
    Ok(Json(app.store.shipment(&visitor.shop.id, &shipment).await?.into()))
}

/// A line of the activity.
#[derive(Debug, Serialize, ToSchema)]
pub struct ActivityBody {
    id: String,
    at: String,
    who: String,
    /// The kind of thing: `lot`, `outlet`, `sheet` …
    noun: &'static str,
    noun_id: String,
    name: Option<String>,
    deed: String,
    detail: String,
}

impl From<Activity> for ActivityBody {
    fn from(line: Activity) -> ActivityBody {
        ActivityBody {
            id: line.id,
            at: line.at.to_string(),
            who: line.partner_name,
            noun: line.noun.code(),
            noun_id: line.noun_id,
            name: line.name,
            deed: line.deed,
            detail: line.detail,
        }
    }
}

/// How much of the activity is wanted.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Most {
    /// Lines at most, up to 1000.
    #[serde(default = "hundred")]
    most: u32,
}

impl Most {
    pub fn bounded(&self) -> u32 {
        self.most.min(1000)
    }
}

const fn hundred() -> u32 {
    100
}

/// What was done, newest first.
#[utoipa::path(get, path = "/api/v1/activity", tag = "activity", params(Most),
    responses((status = 200, body = Vec<ActivityBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn activity(
    State(app): State<App>,
    caller: Caller,
    Query(most): Query<Most>,
) -> Result<Json<Vec<ActivityBody>>, Problem> {
    let visitor = caller.partner()?;
    let lines = app.store.activity(&visitor.shop.id, &Wanted::default(), most.bounded()).await?;
    Ok(Json(lines.into_iter().map(ActivityBody::from).collect()))
}
