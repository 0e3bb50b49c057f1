//! Grades and outlets as JSON.

use axum::Json;
use axum::extract::State;
use serde::Serialize;
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::store::grades::Grade;
use crate::store::outlets::Outlet;
use crate::web::App;

/// A grade that the shop sorts by.
#[derive(Debug, Serialize, ToSchema)]
pub struct GradeBody {
    /// Its slug, like `copper-2`.
    id: String,
    family: String,
    name: String,
    summary: String,
    /// Grams per cubic centimetre, loose.
    bulk_density: String,
    /// `mass` or `each`.
    sold_by: &'static str,
    retired: bool,
}

impl From<Grade> for GradeBody {
    fn from(grade: Grade) -> GradeBody {
        GradeBody {
            id: grade.id.as_str().to_string(),
            family: grade.details.family,
            name: grade.details.name,
            summary: grade.details.summary,
            bulk_density: grade.details.bulk_density.get().normalize().to_string(),
            sold_by: grade.details.sold_by.code(),
            retired: grade.retired,
        }
    }
}

/// The grades, in the catalogue's order.
#[utoipa::path(get, path = "/api/v1/grades", tag = "grades",
    responses((status = 200, body = Vec<GradeBody>), (status = 401, body = Problem)))]
pub async fn grades(
    State(app): State<App>,
    Caller(visitor): Caller,
) -> Result<Json<Vec<GradeBody>>, Problem> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    Ok(Json(grades.into_iter().map(GradeBody::from).collect()))
}

/// A yard or a mail-in buyer.
#[derive(Debug, Serialize, ToSchema)]
pub struct OutletBody {
    id: String,
    /// `yard` or `mail-in`.
    kind: &'static str,
    name: String,
    place: String,
    /// ISO 4217.
    currency: &'static str,
    days_to_pay: u32,
    closed: bool,
}

impl From<Outlet> for OutletBody {
    fn from(outlet: Outlet) -> OutletBody {
        OutletBody {
            closed: outlet.is_closed(),
            id: outlet.id.as_str().to_string(),
            kind: outlet.details.kind.code(),
            currency: outlet.details.currency.code(),
            days_to_pay: outlet.details.terms.days_to_pay,
            name: outlet.details.name,
            place: outlet.details.place,
        }
    }
}

/// The outlets.
#[utoipa::path(get, path = "/api/v1/outlets", tag = "outlets",
    responses((status = 200, body = Vec<OutletBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn outlets(State(app): State<App>, caller: Caller) -> Result<Json<Vec<OutletBody>>, Problem> {
    let visitor = caller.partner()?;
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    Ok(Json(outlets.into_iter().map(OutletBody::from).collect()))
}
