//! A bag: ship it now, or wait? The gauge, the buyers side by side with the whole ladder, and what could ride along.

use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use jiff::ToSpan;
use jiff::civil::Date;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde::Deserialize;
use trade::cadence::FillRate;
use trade::history::Range;
use trade::ids::{LotId, OutletId};
use trade::mass::Mass;
use trade::outlet::{Outlet, Way};
use trade::outlook::Outlook;
use trade::plan::Place;

use super::App;
use super::failure::Failure;
use super::gauge::Gauge;
use super::joint::JointLines;
use super::kept_back::{KeepFirst, keep_first_of};
use super::ladder::LadderDrawing;
use super::long_run::{LongRun, Marks};
use super::offer::Offer;
use super::page::{DAYS_OF_WEEK, Page, Screen, Visitor, counted, day, html, unbroken};
use super::unpriced::Unpriced;
use crate::shelf::{Answer, Shelf};
use crate::store::lots::{Lot, LotState};
use crate::store::reservations::Reservation;

/// Where a bag stands between its two weights.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// No weight is known from which mailing pays.
    Unknown,
    /// Too light to mail.
    Filling,
    /// Mailing pays, waiting pays more.
    PaysToMail,
    /// Heavy enough.
    Ready,
}

impl Stage {
    pub const fn label(self) -> &'static str {
        match self {
            Stage::Unknown => "no mailing weight yet",
            Stage::Filling => "still filling",
            Stage::PaysToMail => "pays to mail, better to wait",
            Stage::Ready => "heavy enough to ship",
        }
    }
}

/// The mail-in outlook that leaves most in the long run, or today where nothing is known of the long run.
pub fn best_mail_in<'a>(shelf: &Shelf, ways: &'a [Outlook]) -> Option<&'a Outlook> {
    let mailed =
        || ways.iter().filter(|way| matches!(shelf.outlet(&way.outlet).map(|o| &o.way), Some(Way::Post(_))));
    let per_day = |way: &&Outlook| way.ship.as_ref().map(|ship| ship.per_day);
    mailed().filter(|way| way.ship.is_some()).max_by_key(per_day).or_else(|| mailed().next())
}

/// How far a bag of `mass` has come at an outlet.
pub fn stage(way: &Outlook, mass: Mass) -> Stage {
    match (&way.ship, way.break_even) {
        (Some(ship), _) if mass >= ship.weight => Stage::Ready,
        (_, Some(least)) if mass >= least => Stage::PaysToMail,
        (None, None) => Stage::Unknown,
        _ => Stage::Filling,
    }
}

/// The day a bag reaches a mass at its fill rate; `None` where it is not told within two years.
pub fn expected(fill: Option<FillRate>, mass: Mass, weight: Mass, today: Date) -> Option<Date> {
    let days = fill?.days_until(mass, weight)?.ceil().to_i64().filter(|days| *days <= 730)?;
    today.checked_add(days.days()).ok()
}

/// The gauge of the bag that a lot's grade fills; `None` for a lot that is not free, or that nobody buys by mail.
pub fn gauge_of(shelf: &Shelf, lot: &LotId, visitor: &Visitor) -> Option<Gauge> {
    let lot = shelf.lot(lot)?;
    let ways = shelf.outlooks_of(&lot.grade_id);
    let way = best_mail_in(shelf, &ways)?;
    let same: Vec<&Lot> = shelf.lots.iter().filter(|other| other.grade_id == lot.grade_id).collect();
    Some(gauge("bag", way, &lot.container_label, &same, visitor))
}

/// The gauge of a grade's lots, which fill one bag, under the label of one of them.
pub fn gauge(id: &str, way: &Outlook, label: &str, same: &[&Lot], visitor: &Visitor) -> Gauge {
    let together = same.iter().map(|lot| lot.net).sum();
    let label = match same.len().saturating_sub(1) {
        0 => label.to_string(),
        others => format!("{label} and {}", counted(others, "other", "others")),
    };
    let ship = way.ship.as_ref().map(|ship| ship.weight);
    Gauge::new(id, &label, together, way.break_even, ship, visitor.style())
}

/// One buyer of the bag.
struct Buyer {
    id: OutletId,
    name: String,
    is_mail_in: bool,
    net: Option<Decimal>,
    per_unit: Option<Decimal>,
    range: Option<Range>,
    closed: String,
    break_even: Option<Mass>,
    ship: Option<Mass>,
    ship_per_week: Option<Decimal>,
    expected: Option<String>,
    room: Option<Mass>,
    parcels: String,
    drawing: Option<LadderDrawing>,
}

#[derive(Template)]
#[template(path = "bag/show.html")]
struct BagPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    /// All lots of the grade: they fill one bag.
    together: Mass,
    others: usize,
    gauge: Option<Gauge>,
    /// What it brings a week, by the weight it is shipped at.
    long_run: Option<LongRun>,
    stage: Stage,
    goes_along: bool,
    unpriced: Option<Unpriced>,
    verdict: String,
    fill: Option<FillRate>,
    buyers: Vec<Buyer>,
    /// Other bags for the same buyer: together or apart?
    joint: Option<JointLines>,
    shipment: Option<Offer>,
    /// What to keep back before it goes.
    first: Vec<KeepFirst>,
    /// Why the shipment that was asked for was not made.
    not_made: Vec<String>,
}

#[derive(Deserialize)]
pub struct ShipQuery {
    #[serde(default)]
    outlet: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(lot): Path<String>,
    Query(query): Query<ShipQuery>,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    drawn(&app, visitor, lot, &OutletId::new(query.outlet), None).await
}

/// What a partner wanted to ship.
pub struct Refused {
    pub outlet: OutletId,
    pub ticked: BTreeSet<LotId>,
    pub reasons: Vec<String>,
}

/// The bag's page once more, as it is now, with the lots ticked that were ticked and why no shipment was made of them.
pub async fn refused(app: &App, visitor: Visitor, lot: Lot, refused: Refused) -> Result<Response, Failure> {
    let outlet = refused.outlet.clone();
    let page = drawn(app, visitor, lot, &outlet, Some(refused)).await?;
    Ok((StatusCode::CONFLICT, page).into_response())
}

async fn drawn(
    app: &App,
    visitor: Visitor,
    lot: Lot,
    outlet: &OutletId,
    refused: Option<Refused>,
) -> Result<Response, Failure> {
    let shelf = app.shelf(&visitor).await?;
    let answer = app.answers.plan_about(&visitor.shop.id, &shelf).await;
    let none = Vec::new();
    let ways = answer.outlooks.get(&lot.grade_id).unwrap_or(&none);
    let same: Vec<&Lot> = shelf.lots.iter().filter(|other| other.grade_id == lot.grade_id).collect();
    let together: Mass = same.iter().map(|lot| lot.net).sum();
    let fill = shelf.fill.get(&lot.grade_id).copied();
    let best = best_mail_in(&shelf, ways);
    // A buyer that was asked for and is not there any more is not silently another one.
    let best_instead = || best.filter(|_| refused.is_none()).and_then(|way| shelf.outlet(&way.outlet));
    let chosen =
        shelf.outlet(outlet).filter(|outlet| matches!(outlet.way, Way::Post(_))).or_else(best_instead);
    let ticked = refused.as_ref().map(|refused| &refused.ticked);
    let today = visitor.today();
    let buyers = ways.iter().filter_map(|way| buyer(way, &shelf, together, fill)).collect();
    let is_here = lot.state == LotState::Open;
    let gauge = best.filter(|_| is_here).map(|way| gauge("bag", way, &lot.container_label, &same, &visitor));
    let joint = match chosen.filter(|_| is_here) {
        Some(outlet) => together_or_apart(&shelf, &answer, &lot, outlet).await,
        None => None,
    };
    let long_run = best.filter(|_| is_here).and_then(|way| long_run(way, &shelf, &lot, together, &visitor));
    let stage = best.map_or(Stage::Unknown, |way| stage(way, together));
    let first = match is_here {
        true => keep_first_of(app, &lot, &shelf, &answer, &visitor).await?,
        false => Vec::new(),
    };
    let page = visitor.page(Screen::Lots, format!("Ship {} or wait", lot.container_label));
    html(&BagPage {
        page,
        together,
        others: same.iter().filter(|other| other.id != lot.id).count(),
        gauge,
        long_run,
        stage,
        goes_along: goes_along(&shelf, &answer, &lot, stage),
        verdict: verdict(&shelf, &answer, &lot, best, stage, together, today),
        unpriced: shelf.lot(&lot.id).and_then(|lot| Unpriced::of(lot, &shelf)),
        fill,
        buyers,
        joint,
        shipment: chosen
            .filter(|_| is_here)
            .and_then(|outlet| Offer::new(outlet, &lot, &shelf, &answer, ticked)),
        first,
        not_made: refused.map_or_else(Vec::new, |refused| refused.reasons),
        lot,
        visitor,
    })
}

/// Some shipments' worth of arithmetic for each set of bags, so it is done beside the threads that answer phones.
async fn together_or_apart(
    shelf: &Arc<Shelf>,
    answer: &Arc<Answer>,
    lot: &Lot,
    outlet: &Outlet,
) -> Option<JointLines> {
    let (shelf, answer) = (Arc::clone(shelf), Arc::clone(answer));
    let (grade, outlet) = (lot.grade_id.clone(), outlet.clone());
    let work = move || JointLines::new(&grade, &outlet, &shelf, &answer);
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|broken| std::panic::resume_unwind(broken.into_panic()))
}

fn long_run(way: &Outlook, shelf: &Shelf, lot: &Lot, together: Mass, visitor: &Visitor) -> Option<LongRun> {
    let ship = way.ship.as_ref()?;
    let outlet = shelf.outlet(&way.outlet)?;
    let bag = shelf.whole_bag(&lot.grade_id);
    let between = bag.ship_between(outlet, &shelf.facts);
    let marks = Marks { now: together, break_even: way.break_even, between };
    LongRun::new(&bag.long_run(outlet, &shelf.facts), ship, &marks, visitor.style(), visitor.home())
}

fn buyer(way: &Outlook, shelf: &Shelf, together: Mass, fill: Option<FillRate>) -> Option<Buyer> {
    let outlet = shelf.outlet(&way.outlet)?;
    let ladder = way.now.as_ref().ok();
    let parcels = ladder.and_then(|ladder| ladder.packing.as_ref()).map_or_else(String::new, |packing| {
        let parcels =
            packing.parcels.iter().map(|parcels| format!("{} × {}", parcels.count, parcels.box_name));
        format!("{} by {}", parcels.collect::<Vec<_>>().join(", "), packing.service)
    });
    let ship = way.ship.as_ref();
    Some(Buyer {
        id: outlet.id.clone(),
        name: outlet.name.clone(),
        is_mail_in: matches!(outlet.way, Way::Post(_)),
        net: ladder.map(|ladder| ladder.net),
        per_unit: ladder.and_then(|ladder| ladder.net_per(shelf.facts.style.unit())),
        range: ladder.and_then(|ladder| shelf.range(&outlet.id, ladder)),
        closed: way.now.as_ref().err().map_or_else(String::new, |closed| shelf.closed_in_words(closed)),
        break_even: way.break_even,
        ship: ship.map(|ship| ship.weight),
        ship_per_week: ship.map(|ship| ship.per_day * DAYS_OF_WEEK),
        expected: ship
            .filter(|ship| together < ship.weight)
            .and_then(|ship| expected(fill, together, ship.weight, shelf.facts.today))
            .map(day),
        room: way.room,
        parcels,
        drawing: ladder.map(|ladder| LadderDrawing::new(ladder, shelf)),
    })
}

/// Whether the plan mails the bag though it is not heavy enough by itself: other grades that go to the same buyer share
/// the freight.
fn goes_along(shelf: &Shelf, answer: &Answer, lot: &Lot, stage: Stage) -> bool {
    let is_other = |id: &LotId| shelf.lot(id).is_some_and(|other| other.grade_id != lot.grade_id);
    let delivery = answer.delivery_of(&lot.id);
    stage < Stage::Ready
        && delivery.is_some_and(|delivery| {
            let is_mailed =
                shelf.outlet(&delivery.outlet).is_some_and(|outlet| matches!(outlet.way, Way::Post(_)));
            is_mailed && delivery.lots.iter().any(is_other)
        })
}

/// The answer in a sentence.
fn verdict(
    shelf: &Shelf,
    answer: &Answer,
    lot: &Lot,
    best: Option<&Outlook>,
    stage: Stage,
    together: Mass,
    today: Date,
) -> String {
    match lot.state {
        LotState::Open => {}
        LotState::Reserved { by: Reservation::Shipment(_) } => {
            return "It is packed in a shipment already.".into();
        }
        LotState::Reserved { by: Reservation::Run(_) } => {
            return "It is on the load list of a yard run already.".into();
        }
        LotState::Closed { .. } => return "It has left the shop.".into(),
    }
    if shelf.choices.pins.get(&lot.id) == Some(&Place::Keep) {
        return "Keep it: it is pinned to stay. The sell plan can let it go again.".into();
    }
    if let Some(delivery) = answer.delivery_of(&lot.id) {
        let name = shelf.outlet_name(&delivery.outlet);
        return match shelf.outlet(&delivery.outlet).map(|outlet| &outlet.way) {
            Some(Way::Post(_)) if goes_along(shelf, answer, lot, stage) => {
                format!("Ship it now, to {name}, with what else goes there. On its own it would better wait.")
            }
            Some(Way::Post(_)) => format!("Ship it now, to {name}."),
            _ => format!("Take it to {name} with the next load: the sell plan sends it there."),
        };
    }
    let fill = shelf.fill.get(&lot.grade_id).copied();
    let wait = |weight: Mass| {
        let when = expected(fill, together, weight, today)
            .map_or_else(String::new, |date| format!(", about {}", day(date)));
        format!("Wait until it reaches {}{when}.", unbroken(&shelf.facts.style.show(weight)))
    };
    match (stage, best.and_then(|way| way.ship.as_ref())) {
        (Stage::Filling | Stage::PaysToMail, Some(ship)) => wait(ship.weight),
        (Stage::Filling, None) if fill.is_none() => {
            "Keep filling it. With three weeks of weighings its best weight can be told.".into()
        }
        _ => "Keep it for now: nothing pays for its share of a trip or a parcel today.".into(),
    }
}
