//! What outlets pay, and where everything should go, as JSON. Amounts are exact decimal strings.

use axum::Json;
use axum::extract::State;
use serde::Serialize;
use trade::plan::Proof;
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::shelf::Answer;
use crate::store::lots::Lot;
use crate::web::App;

/// What an outlet's newest sheet pays for a grade.
#[derive(Debug, Serialize, ToSchema)]
pub struct PriceBody {
    outlet: String,
    outlet_name: String,
    grade: String,
    /// Per unit; negative where the outlet charges.
    price: String,
    /// The high end, where the sheet gives a range.
    price_high: Option<String>,
    /// ISO 4217.
    currency: &'static str,
    unit: String,
    /// The least mass of a delivery that it holds for, in grams.
    from_grams: String,
    sheet: String,
    valid_from: String,
}

/// The prices in force today.
#[utoipa::path(get, path = "/api/v1/prices", tag = "prices",
    responses((status = 200, body = Vec<PriceBody>), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn prices(State(app): State<App>, caller: Caller) -> Result<Json<Vec<PriceBody>>, Problem> {
    let visitor = caller.partner()?;
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let sheets = app.store.current_quotes(&visitor.shop.id, visitor.today(), None).await?;
    let mut prices = Vec::new();
    for (outlet, sheet) in sheets {
        let Some(name) = outlets.iter().find(|known| known.id == outlet).map(|known| &known.details.name)
        else {
            continue;
        };
        for (grade, quotes) in sheet.quotes {
            prices.extend(quotes.tiers().iter().map(|quote| PriceBody {
                outlet: outlet.as_str().to_string(),
                outlet_name: name.clone(),
                grade: grade.as_str().to_string(),
                price: quote.price.amount.normalize().to_string(),
                price_high: quote.high.map(|high| high.amount.normalize().to_string()),
                currency: quote.price.currency.code(),
                unit: quote.price.per.code().to_string(),
                from_grams: quote.from.grams().normalize().to_string(),
                sheet: sheet.sheet_id.clone(),
                valid_from: sheet.valid_from.to_string(),
            }));
        }
    }
    Ok(Json(prices))
}

/// Where everything should go.
#[derive(Debug, Serialize, ToSchema)]
pub struct PlanBody {
    /// ISO 4217: every amount is in it.
    currency: &'static str,
    /// What is left in all, with what is kept at what it will bring.
    total: String,
    /// Whether no plan leaves more; otherwise `bound` is the most that one could.
    optimal: bool,
    bound: Option<String>,
    /// With what they leave each by itself, every yard's own drive taken off.
    deliveries: Vec<DeliveryBody>,
    /// Drives to several yards at once, and what each saves over a drive to every yard.
    drives: Vec<DriveBody>,
    kept: Vec<String>,
    lots: Vec<PlannedBody>,
}

/// One drive to several yards.
#[derive(Debug, Serialize, ToSchema)]
pub struct DriveBody {
    /// In the order of the drive.
    outlets: Vec<String>,
    distance_km: String,
    minutes: String,
    cost: String,
    saved: String,
}

/// Everything that goes to one outlet.
#[derive(Debug, Serialize, ToSchema)]
pub struct DeliveryBody {
    outlet: String,
    outlet_name: String,
    lots: Vec<String>,
    net: String,
    mass_grams: String,
    /// From gross down to net: they add up to it.
    steps: Vec<StepBody>,
}

/// One step from gross to net.
#[derive(Debug, Serialize, ToSchema)]
pub struct StepBody {
    step: &'static str,
    amount: String,
    working: String,
}

/// A lot in the plan.
#[derive(Debug, Serialize, ToSchema)]
pub struct PlannedBody {
    lot: String,
    /// Its outlet; null for one that is kept.
    outlet: Option<String>,
    /// Its share of what the plan leaves.
    worth: Option<String>,
    /// What its place is worth over its second choice, or the most that it can be where that is not proved.
    margin: Option<String>,
    margin_is_exact: Option<bool>,
}

/// The sell plan.
#[utoipa::path(get, path = "/api/v1/plan", tag = "plan",
    responses((status = 200, body = PlanBody), (status = 401, body = Problem), (status = 403, body = Problem)))]
pub async fn plan(State(app): State<App>, caller: Caller) -> Result<Json<PlanBody>, Problem> {
    let visitor = caller.partner()?;
    let shelf = app.shelf(&visitor).await?;
    let answer = app.answers.about(&shelf).await;
    let plan = &answer.plan;
    let deliveries = plan.deliveries.iter().map(|delivery| DeliveryBody {
        outlet: delivery.outlet.as_str().to_string(),
        outlet_name: shelf.outlet_name(&delivery.outlet),
        lots: delivery.lots.iter().map(|lot| lot.as_str().to_string()).collect(),
        net: delivery.ladder.net.normalize().to_string(),
        mass_grams: delivery.ladder.mass.grams().normalize().to_string(),
        steps: delivery.ladder.steps.iter().map(step).collect(),
    });
    let drives = plan.tours.iter().map(|tour| DriveBody {
        outlets: tour.stops.iter().map(|stop| stop.as_str().to_string()).collect(),
        distance_km: tour.distance_km.normalize().to_string(),
        minutes: tour.minutes.normalize().to_string(),
        cost: tour.cost.normalize().to_string(),
        saved: tour.saved.normalize().to_string(),
    });
    Ok(Json(PlanBody {
        currency: visitor.home().code(),
        total: plan.total.normalize().to_string(),
        optimal: plan.proof == Proof::Optimal,
        bound: match plan.proof {
            Proof::Optimal => None,
            Proof::Gap { bound } => Some(bound.normalize().to_string()),
        },
        deliveries: deliveries.collect(),
        drives: drives.collect(),
        kept: plan.kept.iter().map(|lot| lot.as_str().to_string()).collect(),
        lots: shelf.lots.iter().map(|lot| planned(&answer, lot)).collect(),
    }))
}

fn step(step: &trade::net::Step) -> StepBody {
    StepBody {
        step: step.kind.label(),
        amount: step.home.normalize().to_string(),
        working: step.working.clone(),
    }
}

fn planned(answer: &Answer, lot: &Lot) -> PlannedBody {
    let margin = answer.margin(&lot.id);
    PlannedBody {
        lot: lot.id.as_str().to_string(),
        outlet: answer.delivery_of(&lot.id).map(|delivery| delivery.outlet.as_str().to_string()),
        worth: answer.worth.get(&lot.id).map(|worth| worth.normalize().to_string()),
        margin: margin.map(|margin| margin.margin.normalize().to_string()),
        margin_is_exact: margin.map(|margin| margin.exact),
    }
}
