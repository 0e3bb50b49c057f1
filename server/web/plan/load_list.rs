//! The plan as a load list: what goes where, on a page of paper for each outlet, with what to take along.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use trade::ids::OutletId;
use trade::mass::Mass;
use trade::outlet::Way;
use trade::plan::Delivery;

use crate::shelf::Shelf;
use crate::store::lots::Lot;
use crate::store::outlets::Outlet;
use crate::web::App;
use crate::web::app::Answered;
use crate::web::failure::Failure;
use crate::web::outlets::cautions;
use crate::web::page::{Page, Screen, Visitor, html};
use crate::web::tour::TourLine;

/// What goes to one outlet.
struct Load {
    id: OutletId,
    name: String,
    is_yard: bool,
    place: String,
    /// What the partners wrote down about it: hours, which gate, whom to ask.
    note: String,
    lots: Vec<Lot>,
    total: Mass,
    grades: Vec<GradeLine>,
    service: String,
    parcels: Vec<Parcel>,
    cautions: Vec<&'static str>,
    has_batteries: bool,
}

/// One grade of it, to compare with the outlet's own scale.
struct GradeLine {
    name: String,
    price: String,
    mass: Mass,
    pieces: u32,
}

/// Boxes that are packed alike.
struct Parcel {
    count: u32,
    box_name: String,
    contents: Mass,
    gross: Mass,
}

#[derive(Template)]
#[template(path = "plan/load_list.html")]
struct LoadListPage {
    page: Page,
    visitor: Visitor,
    loads: Vec<Load>,
    total: Mass,
    is_current: bool,
    tours: Vec<TourLine>,
}

pub async fn load_list(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let shelf = app.shelf(&visitor).await?;
    let Answered { shelf, answer, is_current } = app.answered(shelf, &visitor.shop.id).await;
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let grades = app.store.grades(&visitor.shop.id).await?;
    let is_battery =
        |lot: &Lot| grades.iter().any(|grade| grade.id == lot.grade_id && grade.details.is_of_batteries());
    let mut loads: Vec<Load> = answer
        .plan
        .deliveries
        .iter()
        .filter_map(|delivery| {
            let outlet = outlets.iter().find(|outlet| outlet.id == delivery.outlet)?;
            load(delivery, outlet, &shelf, &visitor, &is_battery)
        })
        .collect();
    // What is driven comes in the order of the drives, first.
    let tours = &answer.plan.tours;
    let stops: Vec<&OutletId> = tours.iter().flat_map(|tour| &tour.stops).collect();
    loads.sort_by_key(|load| {
        (!load.is_yard, stops.iter().position(|stop| **stop == load.id).unwrap_or(usize::MAX))
    });
    let page = visitor.page(Screen::Plan, "Load list");
    let tours = tours.iter().map(|tour| TourLine::new(tour, &shelf)).collect();
    let total = loads.iter().map(|load| load.total).sum();
    html(&LoadListPage { page, visitor, loads, total, is_current, tours })
}

fn load(
    delivery: &Delivery,
    outlet: &Outlet,
    shelf: &Shelf,
    visitor: &Visitor,
    is_battery: &impl Fn(&Lot) -> bool,
) -> Option<Load> {
    let way = &shelf.outlet(&delivery.outlet)?.way;
    let ladder = &delivery.ladder;
    let lots: Vec<Lot> = delivery.lots.iter().filter_map(|lot| shelf.lot(lot)).cloned().collect();
    let grades = ladder.lines.iter().map(|line| GradeLine {
        name: shelf.grade_name(&line.grade),
        price: line.quote.price.to_string(),
        mass: line.mass,
        pieces: line.pieces,
    });
    let parcels = ladder.packing.iter().flat_map(|packing| &packing.parcels).map(|parcels| Parcel {
        count: parcels.count,
        box_name: parcels.box_name.clone(),
        contents: parcels.contents,
        gross: parcels.gross,
    });
    Some(Load {
        id: outlet.id.clone(),
        name: outlet.details.name.clone(),
        is_yard: matches!(way, Way::Drive(_)),
        place: outlet.details.place.clone(),
        note: outlet.details.note.clone(),
        total: ladder.mass,
        grades: grades.collect(),
        service: ladder.packing.as_ref().map_or_else(String::new, |packing| packing.service.clone()),
        parcels: parcels.collect(),
        cautions: cautions(outlet, visitor),
        has_batteries: lots.iter().any(is_battery),
        lots,
    })
}
