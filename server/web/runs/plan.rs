//! Planning a run: which yards, and which lots to each. It opens with what the sell plan drives to yards.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use jiff::ToSpan;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::{LotId, OutletId};
use trade::mass::Mass;
use trade::net::{Ladder, Load, StepKind, deliver};
use trade::outlet::{Outlet, Way};
use trade::plan::Place;
use trade::settlement::Promise;
use trade::tour::{Tour, Tours};

use crate::shelf::{Answer, Shelf};
use crate::store::lots::Lot;
use crate::store::new_id;
use crate::store::runs::{NewRun, NewStop};
use crate::web::App;
use crate::web::app::Answered;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::not_made::NotMade;
use crate::web::offer::Seen;
use crate::web::page::{Page, Screen, Visitor, html};
use crate::web::tour::TourLine;

/// A yard that could be driven to.
struct Yard {
    id: OutletId,
    name: String,
    place: String,
    /// Lots that the sell plan sends there, or that were ticked.
    planned: Vec<Choice>,
    /// Others that it prices, and that the plan sends to no other yard.
    others: Vec<Choice>,
    mass: Mass,
    /// What the ticked lots bring there, the drive taken off; `None` where it does not take them.
    net: Option<Decimal>,
    seen: String,
}

struct Choice {
    lot: Lot,
    /// What the form sends for it.
    value: String,
    ticked: bool,
}

#[derive(Template)]
#[template(path = "runs/new.html")]
struct PlanRunPage {
    page: Page,
    visitor: Visitor,
    yards: Vec<Yard>,
    is_current: bool,
    /// Drives to several of the yards that something is ticked for.
    tours: Vec<TourLine>,
    reasons: Vec<String>,
    form: Form,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct For {
    /// Only what goes to this yard is ticked.
    outlet: String,
}

/// Lots by the yard that they are to go to.
type Wanted = BTreeMap<OutletId, BTreeSet<LotId>>;

pub async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(For { outlet }): Query<For>,
) -> Result<Response, Failure> {
    let form = Form::filled([("id", new_id()), ("day", visitor.today().to_string())]);
    let only = (!outlet.is_empty()).then(|| OutletId::new(outlet));
    plan_page(&app, visitor, form, only.as_ref(), None, Vec::new()).await
}

async fn plan_page(
    app: &App,
    visitor: Visitor,
    form: Form,
    only: Option<&OutletId>,
    wanted: Option<&Wanted>,
    reasons: Vec<String>,
) -> Result<Response, Failure> {
    let shelf = app.shelf(&visitor).await?;
    let Answered { shelf, answer, is_current } = app.answered(shelf, &visitor.shop.id).await;
    let is_yard = |outlet: &&Outlet| matches!(outlet.way, Way::Drive(_));
    let mut yards: Vec<Yard> = shelf
        .outlets
        .iter()
        .filter(is_yard)
        .filter_map(|outlet| {
            let planned = |lot: &LotId| {
                only.is_none_or(|only| outlet.id == *only)
                    && answer.delivery_of(lot).is_some_and(|delivery| delivery.outlet == outlet.id)
            };
            let ticked = |lot: &LotId| match wanted {
                Some(wanted) => wanted.get(&outlet.id).is_some_and(|lots| lots.contains(lot)),
                None => planned(lot),
            };
            yard(outlet, &shelf, &answer, ticked)
        })
        .collect();
    yards.sort_by_key(|yard| (yard.planned.is_empty(), std::cmp::Reverse(yard.net)));
    let places = app.store.outlets(&visitor.shop.id).await?;
    for yard in &mut yards {
        let outlet = places.iter().find(|outlet| outlet.id == yard.id);
        yard.place = outlet.map_or_else(String::new, |outlet| outlet.details.place.clone());
    }
    let page = visitor.page(Screen::Runs, "Plan a yard run");
    let ticked = |outlet: &OutletId| yards.iter().any(|yard| yard.id == *outlet && !yard.planned.is_empty());
    let tours = tours(&shelf, ticked).iter().map(|tour| TourLine::new(tour, &shelf)).collect();
    html(&PlanRunPage { page, visitor, yards, is_current, tours, reasons, form })
}

fn yard(outlet: &Outlet, shelf: &Shelf, answer: &Answer, ticked: impl Fn(&LotId) -> bool) -> Option<Yard> {
    let here = Place::Outlet(outlet.id.clone());
    let may_go = |lot: &&Lot| {
        let pinned = shelf.choices.pins.get(&lot.id);
        outlet.quotes.contains_key(&lot.grade_id)
            && lot.net.is_positive()
            && pinned.is_none_or(|place| *place == here)
            && !shelf.choices.bars.contains(&(lot.id.clone(), outlet.id.clone()))
    };
    // What goes to another yard by the plan is offered there, so that no lot stands in two places.
    let is_elsewhere = |lot: &LotId| {
        answer.delivery_of(lot).is_some_and(|delivery| {
            let yard = shelf.outlet(&delivery.outlet).is_some_and(|o| matches!(o.way, Way::Drive(_)));
            yard && delivery.outlet != outlet.id
        })
    };
    let choice = |lot: &Lot| Choice {
        value: format!("{}/{}", outlet.id, lot.id),
        ticked: ticked(&lot.id),
        lot: lot.clone(),
    };
    let offered = shelf.lots.iter().filter(may_go);
    let offered = offered.filter(|lot| ticked(&lot.id) || !is_elsewhere(&lot.id));
    let (planned, others): (Vec<Choice>, Vec<Choice>) = offered.map(choice).partition(|choice| choice.ticked);
    if planned.is_empty() && others.is_empty() {
        return None;
    }
    let loads: Vec<Load> = planned.iter().filter_map(|choice| shelf.load_of(&choice.lot.id)).collect();
    let all = || planned.iter().chain(&others).map(|choice| &choice.lot.id);
    Some(Yard {
        id: outlet.id.clone(),
        name: outlet.name.clone(),
        place: String::new(),
        mass: planned.iter().map(|choice| choice.lot.net).sum(),
        net: deliver(outlet, &loads, &shelf.facts).ok().map(|ladder| ladder.net),
        seen: Seen::now(outlet, all(), shelf).as_text(),
        planned,
        others,
    })
}

/// The drives to several of the yards.
fn tours(shelf: &Shelf, goes_to: impl Fn(&OutletId) -> bool) -> Vec<Tour> {
    let tours = Tours::new(&shelf.outlets, &shelf.roads, &shelf.facts.costs);
    tours.tours(|index| shelf.outlets.get(index).is_some_and(|outlet| goes_to(&outlet.id)))
}

/// Reserves the lots for a run, all or nothing. Where anything is not as it stood on the page, it comes back and says so.
pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let today = visitor.today();
    let day = form.date("day", today.saturating_sub(1.year()), today.saturating_add(1.year()));
    let note = form.optional_lines("note", 2000);
    let mut wanted = Wanted::new();
    for (outlet, lot) in form.values("lot").filter_map(|value| value.split_once('/')) {
        wanted.entry(OutletId::new(outlet)).or_default().insert(LotId::new(lot));
    }
    let mut reasons = Vec::new();
    if let (Some(day), Some(note), true) = (day, note, form.is_good()) {
        match make(&app, &visitor, &form, &wanted, &id, (day, &note)).await {
            Ok(()) => return Ok(Redirect::to(&format!("/runs/{id}")).into_response()),
            Err(NotMade::Because(why)) => reasons = why,
            Err(NotMade::Failed(failure)) => return Err(failure),
        }
        // Sent twice: the first one made it, be it a moment ago, and then its lots are not free for the second.
        if app.store.run(&visitor.shop.id, &id).await.is_ok() {
            return Ok(Redirect::to(&format!("/runs/{id}")).into_response());
        }
    }
    plan_page(&app, visitor, form, None, Some(&wanted), reasons).await
}

async fn make(
    app: &App,
    visitor: &Visitor,
    form: &Form,
    wanted: &Wanted,
    id: &str,
    (day, note): (jiff::civil::Date, &str),
) -> Result<(), NotMade> {
    if wanted.is_empty() {
        return Err(NotMade::because("No lot was chosen. Tick what goes on the truck."));
    }
    let mut once = BTreeSet::new();
    if !wanted.values().flatten().all(|lot| once.insert(lot)) {
        return Err(NotMade::because(
            "A lot is ticked for two yards. It can only go to one: untick it at the other.",
        ));
    }
    let shelf = app.shelf(visitor).await?;
    let mut reasons = Vec::new();
    let mut priced: Vec<(&Outlet, Vec<Load>, Ladder)> = Vec::new();
    for (outlet_id, lots) in wanted {
        let outlet = shelf.outlet(outlet_id).filter(|outlet| matches!(outlet.way, Way::Drive(_)));
        let Some(outlet) = outlet else {
            reasons.push("One of the yards has been closed meanwhile. Choose another.".to_string());
            continue;
        };
        let seen = Seen::from_text(form.value(&format!("seen-{outlet_id}"))).map_err(NotMade::Failed)?;
        let changes = seen.changes(lots, outlet, &shelf);
        if !changes.is_empty() {
            reasons.extend(changes);
            continue;
        }
        let loads: Vec<Load> = lots.iter().filter_map(|lot| shelf.load_of(lot)).collect();
        match deliver(outlet, &loads, &shelf.facts) {
            Ok(ladder) => priced.push((outlet, loads, ladder)),
            Err(closed) => {
                let why = shelf.closed_in_words(&closed);
                reasons.push(format!("{} does not take it: {why}.", outlet.name));
            }
        }
    }
    if !reasons.is_empty() {
        return Err(NotMade::Because(reasons));
    }
    // In the order of the drives to several; those that are best driven to by themselves after them, the nearest first.
    let tours = tours(&shelf, |outlet| wanted.contains_key(outlet));
    let order: Vec<&OutletId> = tours.iter().flat_map(|tour| &tour.stops).collect();
    priced.sort_by_key(|(outlet, ..)| {
        let km = match &outlet.way {
            Way::Drive(drive) => drive.distance_km,
            Way::Post(_) => Decimal::ZERO,
        };
        (order.iter().position(|stop| **stop == outlet.id).unwrap_or(usize::MAX), km)
    });
    let drive = |ladder: &Ladder| ladder.step(StepKind::Trip).map_or(Decimal::ZERO, |step| step.home);
    let ids: Vec<String> = priced.iter().map(|_| new_id()).collect();
    let stops: Vec<NewStop<'_>> = priced
        .iter()
        .zip(&ids)
        .map(|((outlet, loads, ladder), id)| NewStop {
            id,
            outlet_id: &outlet.id,
            loads,
            promise: Promise::of(ladder, loads, &outlet.terms, shelf.facts.costs.home),
            expected_net: ladder.net - drive(ladder),
        })
        .collect();
    let saved: Decimal = tours.iter().map(|tour| tour.saved).sum();
    let expected_trip = -priced.iter().map(|(.., ladder)| drive(ladder)).sum::<Decimal>() - saved;
    let run = NewRun { id, day, note, expected_trip, stops: &stops };
    Ok(app.store.make_run(&visitor.by(), &run).await?)
}
