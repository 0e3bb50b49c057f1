//! Lots as JSON. Masses are grams, exact, as decimal strings.

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::store::lots::{Lot, LotState};
use crate::store::reservations::Reservation;
use crate::web::App;

/// A lot: what is in a container, of one grade.
#[derive(Debug, Serialize, ToSchema)]
pub struct LotBody {
    id: String,
    container: String,
    container_kind: &'static str,
    grade: String,
    grade_name: String,
    family: String,
    /// Grams, exact.
    net_grams: String,
    /// The same in whole micrograms, as it is kept.
    net_micrograms: i64,
    tare_grams: String,
    pieces: i64,
    /// `open`, `packed` in a shipment, `on-a-run` where it is on the load list of a yard run, or `gone`.
    state: &'static str,
    grade_retired: bool,
    opened_at: String,
    version: i64,
}

impl From<Lot> for LotBody {
    fn from(lot: Lot) -> LotBody {
        LotBody {
            id: lot.id.as_str().to_string(),
            container: lot.container_label,
            container_kind: lot.container_kind.code(),
            grade: lot.grade_id.as_str().to_string(),
            grade_name: lot.grade_name,
            family: lot.family,
            net_grams: lot.net.grams().normalize().to_string(),
            net_micrograms: lot.net.micrograms(),
            tare_grams: lot.container_tare.grams().normalize().to_string(),
            pieces: lot.pieces.into(),
            state: match lot.state {
                LotState::Open => "open",
                LotState::Reserved { by: Reservation::Shipment(_) } => "packed",
                LotState::Reserved { by: Reservation::Run(_) } => "on-a-run",
                LotState::Closed { .. } => "gone",
            },
            grade_retired: lot.grade_retired,
            opened_at: lot.opened_at.to_string(),
            version: lot.version,
        }
    }
}

/// The lots that are in the shop.
#[utoipa::path(get, path = "/api/v1/lots", tag = "lots",
    responses((status = 200, body = Vec<LotBody>), (status = 401, body = Problem)))]
pub async fn index(State(app): State<App>, Caller(visitor): Caller) -> Result<Json<Vec<LotBody>>, Problem> {
    let lots = app.store.open_lots(&visitor.shop.id).await?;
    Ok(Json(lots.into_iter().map(LotBody::from).collect()))
}

/// One lot.
#[utoipa::path(get, path = "/api/v1/lots/{lot}", tag = "lots", params(("lot" = String, Path)),
    responses((status = 200, body = LotBody), (status = 401, body = Problem), (status = 404, body = Problem)))]
pub async fn show(
    State(app): State<App>,
    Caller(visitor): Caller,
    Path(lot): Path<String>,
) -> Result<Json<LotBody>, Problem> {
    Ok(Json(app.store.lot(&visitor.shop.id, &lot).await?.into()))
}
