//! Pickups as JSON.

use axum::Json;
use axum::extract::{Path, State};
use jiff::civil::Date;
use serde::Serialize;
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::store::pickups::Pickup;
use crate::web::App;

/// Where something was fetched, and for how much.
#[derive(Debug, Serialize, ToSchema)]
pub struct PickupBody {
    id: String,
    /// On the shop's calendar.
    day: String,
    place: String,
    what: String,
    from_whom: String,
    /// Exact; `0` where it was free.
    cost: String,
    currency: &'static str,
    note: String,
    /// Lots that name it, and the grams that were weighed in on them.
    lots: i64,
    weighed_in_grams: String,
    /// Whether it was written down by mistake.
    struck_out: bool,
    made_at: String,
    version: i64,
}

impl From<Pickup> for PickupBody {
    fn from(pickup: Pickup) -> PickupBody {
        let details = pickup.details;
        PickupBody {
            id: pickup.id,
            day: details.day.to_string(),
            place: details.place,
            what: details.what,
            from_whom: details.from_whom,
            cost: details.cost.amount.normalize().to_string(),
            currency: details.cost.currency.code(),
            note: details.note,
            lots: pickup.lots,
            weighed_in_grams: pickup.weighed_in.grams().normalize().to_string(),
            struck_out: pickup.withdrawn_at.is_some(),
            made_at: pickup.made_at.to_string(),
            version: pickup.version,
        }
    }
}

/// The pickups, newest first.
#[utoipa::path(get, path = "/api/v1/pickups", tag = "pickups",
    responses((status = 200, body = Vec<PickupBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn index(State(app): State<App>, caller: Caller) -> Result<Json<Vec<PickupBody>>, Problem> {
    let visitor = caller.partner()?;
    let pickups = app.store.pickups(&visitor.shop.id, Date::MIN, Date::MAX).await?;
    Ok(Json(pickups.into_iter().map(PickupBody::from).collect()))
}

/// One pickup.
#[utoipa::path(get, path = "/api/v1/pickups/{pickup}", tag = "pickups",
    params(("pickup" = String, Path)),
    responses((status = 200, body = PickupBody), (status = 401, body = Problem), (status = 403, body = Problem), (status = 404, body = Problem)))]
pub async fn show(
    State(app): State<App>,
    caller: Caller,
    Path(pickup): Path<String>,
) -> Result<Json<PickupBody>, Problem> {
    let visitor = caller.partner()?;
    Ok(Json(app.store.pickup(&visitor.shop.id, &pickup).await?.into()))
}
