//! Yard runs as JSON.

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::store::runs::{Run, RunHead, RunLot, RunState, RunStop};
use crate::web::App;

/// A drive to one or more yards.
#[derive(Debug, Serialize, ToSchema)]
pub struct RunBody {
    id: String,
    /// That it is planned for, on the shop's calendar.
    day: String,
    yards: Vec<String>,
    /// `planned`, `on-the-way`, `back` or `taken-apart`.
    state: &'static str,
    made_at: String,
    /// What was promised when it was made, the drive taken off, in home currency.
    expected_net: String,
    /// As far as the odometer was read.
    distance_km: Option<String>,
    minutes: Option<i64>,
    /// What the drive cost, in home currency.
    trip_cost: Option<String>,
    version: i64,
}

impl From<RunHead> for RunBody {
    fn from(head: RunHead) -> RunBody {
        let trip = match &head.state {
            RunState::Back { trip, .. } => Some(trip.clone()),
            RunState::Planned | RunState::Out { .. } | RunState::Cancelled { .. } => None,
        };
        RunBody {
            day: head.day.to_string(),
            state: match head.state {
                RunState::Planned => "planned",
                RunState::Out { .. } => "on-the-way",
                RunState::Back { .. } => "back",
                RunState::Cancelled { .. } => "taken-apart",
            },
            made_at: head.made_at.to_string(),
            expected_net: head.expected_net().normalize().to_string(),
            distance_km: trip.as_ref().and_then(|trip| trip.distance_km).map(|km| km.normalize().to_string()),
            minutes: trip.as_ref().map(|trip| trip.minutes),
            trip_cost: trip.map(|trip| trip.cost.normalize().to_string()),
            id: head.id,
            yards: head.yards,
            version: head.version,
        }
    }
}

/// A run with what goes to each yard.
#[derive(Debug, Serialize, ToSchema)]
pub struct RunDetailBody {
    run: RunBody,
    /// In the order they are driven to.
    stops: Vec<RunStopBody>,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct RunStopBody {
    id: String,
    outlet: String,
    outlet_name: String,
    /// Whether it is told what became of its lots.
    told: bool,
    lots: Vec<RunLotBody>,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct RunLotBody {
    lot: String,
    container: String,
    grade: String,
    /// Grams, exact, as it was loaded.
    net_grams: String,
    pieces: u32,
    /// Whether it is on the shelf again.
    came_back: bool,
}

impl From<RunStop> for RunStopBody {
    fn from(stop: RunStop) -> RunStopBody {
        RunStopBody {
            id: stop.id,
            outlet: stop.outlet_id.as_str().to_string(),
            outlet_name: stop.outlet_name,
            told: stop.ended_at.is_some(),
            lots: stop.lots.into_iter().map(RunLotBody::from).collect(),
        }
    }
}

impl From<RunLot> for RunLotBody {
    fn from(lot: RunLot) -> RunLotBody {
        RunLotBody {
            lot: lot.lot_id.as_str().to_string(),
            container: lot.container_label,
            grade: lot.grade_id.as_str().to_string(),
            net_grams: lot.net.grams().normalize().to_string(),
            pieces: lot.pieces,
            came_back: lot.is_back,
        }
    }
}

/// The yard runs, newest first.
#[utoipa::path(get, path = "/api/v1/runs", tag = "runs",
    responses((status = 200, body = Vec<RunBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn index(State(app): State<App>, caller: Caller) -> Result<Json<Vec<RunBody>>, Problem> {
    let visitor = caller.partner()?;
    let runs = app.store.runs(&visitor.shop.id).await?;
    Ok(Json(runs.into_iter().map(RunBody::from).collect()))
}

/// One yard run.
#[utoipa::path(get, path = "/api/v1/runs/{run}", tag = "runs",
    params(("run" = String, Path)),
    responses((status = 200, body = RunDetailBody), (status = 401, body = Problem), (status = 403, body = Problem), (status = 404, body = Problem)))]
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Path(run): Path<String>,
) -> Result<Json<RunDetailBody>, Problem> {
    let visitor = caller.partner()?;
    let Run { head, stops } = app.store.run(&visitor.shop.id, &run).await?;
    Ok(Json(RunDetailBody { run: head.into(), stops: stops.into_iter().map(RunStopBody::from).collect() }))
}
