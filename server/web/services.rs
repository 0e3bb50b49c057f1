//! One carrier's service: its rules in words, its table for every zone, and what a parcel would cost.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::freight::{Dimensional, Divisor, Service, SideRounding, SurchargeWhen, WeightBreak};
use trade::mass::Mass;
use trade::money::{places, show_amount};
use trade::volume::Size;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::measure::{mass, size, spell_length, spell_mass, spell_size, spell_volume};
use super::page::{self, Page, Screen, Visitor, html};
use crate::store::outlets::Outlet;
use crate::store::services::{ServiceDetails, ServiceRecord, ZoneTable};

/// The table of one zone as it is shown.
struct ShownZone {
    zone: String,
    /// Up to which weight, and the charge.
    breaks: Vec<(String, String)>,
    /// Name, what it holds and up to which weight, and the charge.
    flat_boxes: Vec<(String, String, String)>,
    warnings: Vec<String>,
}

/// An outlet that the service reaches.
struct Reaching {
    outlet_id: String,
    outlet: String,
    zone: String,
}

#[derive(Template)]
#[template(path = "services/show.html")]
struct ServicePage {
    page: Page,
    service: ServiceRecord,
    rules: Vec<(&'static str, String)>,
    surcharges: Vec<(String, String)>,
    zones: Vec<ShownZone>,
    reaching: Vec<Reaching>,
    form: Form,
    zone_options: Vec<(String, String)>,
    worked: Option<Worked>,
}

/// The service, with the charge of the parcel that the address asks about.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(service): Path<String>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let service = app.store.service(&visitor.shop.id, &service).await?;
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let details = &service.details;
    let mut form = Form::filled(asked.iter().map(|(name, value)| (name.as_str(), value.clone())));
    let worked = if form.has("weight") { work_out(details, &mut form) } else { None };
    html(&ServicePage {
        page: visitor.page(Screen::Freight, details.name.clone()),
        rules: rules_in_words(details),
        surcharges: surcharges_in_words(details),
        zones: details.zones.iter().map(|table| shown_zone(details, table)).collect(),
        reaching: reaching(&service.id, &outlets),
        form,
        zone_options: details.zones.iter().map(|t| (t.zone.clone(), t.zone.clone())).collect(),
        worked,
        service,
    })
}

/// Open outlets that the service reaches.
fn reaching(service_id: &str, outlets: &[Outlet]) -> Vec<Reaching> {
    let open = outlets.iter().filter(|outlet| !outlet.is_closed());
    let reaches =
        open.flat_map(|outlet| outlet.details.kind.reaches().iter().map(move |reach| (outlet, reach)));
    reaches
        .filter(|(_, reach)| reach.service_id == service_id)
        .map(|(outlet, reach)| Reaching {
            outlet_id: outlet.id.to_string(),
            outlet: outlet.details.name.clone(),
            zone: reach.zone.clone(),
        })
        .collect()
}

/// `size by 139 in³/lb`.
pub fn size_rule(rule: Dimensional) -> String {
    match rule.divisor {
        Divisor::CubicInchesPerPound(divisor) => format!("size by {} in³/lb", divisor.normalize()),
        Divisor::Cm3PerKilogram(divisor) => format!("size by {} cm³/kg", divisor.normalize()),
    }
}

fn rules_in_words(details: &ServiceDetails) -> Vec<(&'static str, String)> {
    let mut rows = vec![("Charges in", details.currency.code().to_string())];
    match details.dimensional {
        None => rows.push(("Bills", "actual weight only".into())),
        Some(rule) => {
            let (divided, unit) = match rule.divisor {
                Divisor::CubicInchesPerPound(divisor) => {
                    (format!("in³ ÷ {} as lb", divisor.normalize()), "inch")
                }
                Divisor::Cm3PerKilogram(divisor) => {
                    (format!("cm³ ÷ {} as kg", divisor.normalize()), "centimetre")
                }
            };
            rows.push(("Bills the greater of", format!("actual weight; {divided}")));
            rows.push((
                "Each side counts",
                match rule.sides {
                    SideRounding::Exact => "as measured".into(),
                    SideRounding::Nearest => format!("to the nearest {unit}"),
                    SideRounding::Up => format!("up to the next {unit}"),
                },
            ));
            if let Some(above) = rule.above {
                rows.push(("By actual weight up to", spell_volume(above)));
            }
        }
    }
    rows.push(("Weight goes up to the next", spell_mass(details.step)));
    rows.push(("Fuel, on the table's charge", format!("{} %", details.fuel_percent.normalize())));
    rows
}

fn surcharges_in_words(details: &ServiceDetails) -> Vec<(String, String)> {
    let words = |when| match when {
        SurchargeWhen::Always => "every parcel".to_string(),
        SurchargeWhen::HeavierThan(limit) => format!("over {}", spell_mass(limit)),
        SurchargeWhen::LongerThan(mm) => format!("longer than {}", spell_length(mm)),
        SurchargeWhen::LengthPlusGirthOver(mm) => format!("length and girth over {}", spell_length(mm)),
    };
    let row =
        |s: &trade::freight::Surcharge| (format!("{}: {}", s.name, words(s.when)), money(details, s.charge));
    details.surcharges.iter().map(row).collect()
}

fn money(details: &ServiceDetails, amount: Decimal) -> String {
    page::money(amount, details.currency)
}

fn shown_zone(details: &ServiceDetails, table: &ZoneTable) -> ShownZone {
    let row = |b: &WeightBreak| (spell_mass(b.up_to), show_amount(b.charge, places(details.currency)));
    ShownZone {
        zone: table.zone.clone(),
        breaks: table.breaks.iter().map(row).collect(),
        flat_boxes: table
            .flat_boxes
            .iter()
            .map(|flat| {
                let holds = format!("{}, up to {}", spell_size(flat.inner), spell_mass(flat.limit));
                (flat.name.clone(), holds, money(details, flat.charge))
            })
            .collect(),
        warnings: details.for_zone(&table.zone).map_or(Vec::new(), |service| service.warnings()),
    }
}

/// A parcel's charge with its working.
struct Worked {
    steps: Vec<(String, String)>,
    /// `None` where the parcel is heavier than the table goes.
    total: Option<String>,
    heaviest: String,
}

/// Reads the parcel out of the form and works its charge out; what cannot be read is said in the form.
fn work_out(details: &ServiceDetails, form: &mut Form) -> Option<Worked> {
    let zone = match details.zones.as_slice() {
        [only] => only.zone.clone(),
        _ => form.value("zone").to_string(),
    };
    let service = details.for_zone(&zone);
    if service.is_none() {
        form.refuse("zone", "Choose a zone of the table.");
    }
    let outer = form.read("size", size);
    let gross = form.read("weight", mass);
    Some(worked(&service?, outer?, gross?))
}

fn worked(service: &Service, outer: Size, gross: Mass) -> Worked {
    let money = |amount| page::money(amount, service.currency);
    let mut steps = vec![("Actual weight".to_string(), spell_mass(gross))];
    steps.extend(service.dimensional.map(|rule| dimensional_step(rule, outer)));
    let billable = service.billable(outer, gross);
    let which = if service.dimensional.is_some() { "The greater, up" } else { "Up" };
    steps.push((format!("{which} to the next {}", spell_mass(service.step)), spell_mass(billable)));
    let charge = service.charge(outer, gross);
    if let Some(charge) = &charge {
        if charge.billed != billable {
            steps.push(("A heavier line of the table costs less".to_string(), spell_mass(charge.billed)));
        }
        steps.push(("The table's charge".to_string(), money(charge.table)));
        if !charge.fuel.is_zero() {
            steps.push((format!("Fuel, {} %", service.fuel_percent.normalize()), money(charge.fuel)));
        }
        steps.extend(charge.surcharges.iter().map(|s| (s.name.clone(), money(s.charge))));
    }
    Worked {
        steps,
        total: charge.map(|charge| money(charge.total)),
        heaviest: service.breaks.last().map_or("nothing".to_string(), |last| spell_mass(last.up_to)),
    }
}

/// `12 × 9 × 7 in = 756 in³, ÷ 139` and the weight that gives.
fn dimensional_step(rule: Dimensional, outer: Size) -> (String, String) {
    let sides = rule.counted_sides(outer);
    let [length, width, height] = sides.map(|side| side.round_dp(3).normalize());
    let volume: Decimal = sides.into_iter().product();
    let volume = volume.round_dp(1).normalize();
    let (length_unit, divisor, unit) = match rule.divisor {
        Divisor::CubicInchesPerPound(divisor) => ("in", divisor, trade::mass::MassUnit::Pound),
        Divisor::Cm3PerKilogram(divisor) => ("cm", divisor, trade::mass::MassUnit::Kilogram),
    };
    let working = format!(
        "By size: {length} × {width} × {height} {length_unit} = {volume} {length_unit}³, ÷ {}",
        divisor.normalize()
    );
    let weight = match rule.weight(outer) {
        Some(weight) => format!("{} {unit}", show_amount(weight.in_unit(unit), 2)),
        None => format!("does not count up to {}", rule.above.map_or(String::new(), spell_volume)),
    };
    (working, weight)
}

/// Takes the service out of use; outlets that it reached say so.
pub async fn retire(
    State(app): State<App>,
    visitor: Visitor,
    Path(service): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.retire_service(&visitor.by(), &service, form.version()).await?;
    Ok(Redirect::to(&format!("/freight/services/{service}")).into_response())
}

pub async fn bring_back(
    State(app): State<App>,
    visitor: Visitor,
    Path(service): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.return_service(&visitor.by(), &service, form.version()).await?;
    Ok(Redirect::to(&format!("/freight/services/{service}")).into_response())
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;
    use trade::volume::Volume;

    use super::*;

    /// A parcel of 11.1 x 8.5 x 6.2 in counts as 12 x 9 x 7 and 756 / 139 = 5.44 lb where every fraction of an inch
    /// goes up (parcelindustry.com, article 6567 of 2025, and jaygroup.com for 12 x 9 x 7).
    #[test]
    fn the_working_shows_the_sides_that_count() {
        let outer = Size::inches(dec!(11.1), dec!(8.5), dec!(6.2));
        let rule = Dimensional {
            divisor: Divisor::CubicInchesPerPound(dec!(139)),
            sides: SideRounding::Up,
            above: None,
        };
        let (working, weight) = dimensional_step(rule, outer);
        assert_eq!(working, "By size: 12 × 9 × 7 in = 756 in³, ÷ 139");
        assert_eq!(weight, "5.44 lb");

        // Below the threshold of a cubic foot size does not count (USPS DMM 604.7.1.3).
        let cubic_foot = Volume::from_cm3(dec!(28316.846592));
        let (_, weight) = dimensional_step(Dimensional { above: Some(cubic_foot), ..rule }, outer);
        assert_eq!(weight, "does not count up to 1728 in3");
    }
}
