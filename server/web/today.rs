//! Today: what wants doing?

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use rust_decimal::Decimal;
use trade::ids::LotId;
use trade::mass::Mass;
use trade::outlet::Way;
use trade::plan::Proof;

use super::App;
use super::app::Answered;
use super::bag::{Stage, best_mail_in, expected, gauge, stage};
use super::failure::Failure;
use super::flips::Flip;
use super::gauge::Gauge;
use super::page::{Page, Screen, Visitor, day, days_from, html};
use super::shipments;
use super::stale::{StaleRate, StaleSheet, stale_rates, stale_sheets};
use crate::shelf::{Answer, Depth, Shelf};
use crate::store::StoreError;
use crate::store::lots::{Lot, LotState};
use crate::store::outlets::Outlet;
use crate::store::runs::{RunHead, RunState};
use crate::store::sheets::PriceSheet;
use crate::store::shipments::{Shipment, ShipmentState};

/// For so long a sheet that came in is news.
const NEWS_DAYS: i32 = 7;

/// A bag that pays to mail or is heavy enough.
struct BagCard {
    lot: LotId,
    label: String,
    grade_name: String,
    stage: Stage,
    outlet: String,
    /// The buyer that the sell plan mails it to now, with others in the same parcels.
    planned: Option<String>,
    net: Option<Decimal>,
    expected: Option<String>,
    /// Drawn where something wants doing.
    gauge: Option<Gauge>,
}

struct Flips {
    sheet_id: String,
    outlet: String,
    since: String,
    /// What the sheet did to the whole shelf's worth.
    change: Decimal,
    lots: Vec<Flip>,
}

struct Waiting {
    shipment: Shipment,
    overdue: bool,
    days_out: i32,
}

/// A yard run that is planned for today or before, or on the way.
struct OpenRun {
    run: RunHead,
    is_out: bool,
    /// It left on another day, and nobody has said that it is back.
    is_over_night: bool,
}

#[derive(Template)]
#[template(path = "today/show.html")]
struct TodayPage {
    page: Page,
    visitor: Visitor,
    worth: Decimal,
    sells: usize,
    proof: Proof,
    bags: Vec<BagCard>,
    flips: Option<Flips>,
    stale_sheets: Vec<StaleSheet>,
    stale_rates: Vec<StaleRate>,
    packed: Vec<Shipment>,
    waiting: Vec<Waiting>,
    runs: Vec<OpenRun>,
    /// Whether one of them is left open over night.
    over_night: bool,
    to_regrade: Vec<Lot>,
    /// Whether some of it is being worked out.
    is_thinking: bool,
    nothing_to_do: bool,
}

impl TodayPage {
    fn is_lost(&self, out: &Waiting) -> bool {
        matches!(out.shipment.state, ShipmentState::Lost { .. })
    }
}

pub async fn show(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let shelf = app.shelf(&visitor).await?;
    let news = latest_news(&app, &visitor).await?;
    // Both at once: on a box with two cores it takes as long as the longer.
    if let Some((_, before)) = &news {
        app.answers.prepare(&visitor.shop.id, before, Depth::Plan).await;
    }
    let Answered { shelf, answer, is_current } = app.answered(shelf, &visitor.shop.id).await;
    let old = match &news {
        // What the sheet changed can be told only of the same shelf.
        Some((_, before)) if is_current => {
            app.answers.soon(&visitor.shop.id, before, Depth::Plan, app.config.patience).await
        }
        _ => None,
    };
    let is_thinking = !is_current || news.is_some() && old.is_none();
    let shipments = app.store.open_shipments(&visitor.shop.id).await?;
    let mut to_regrade = app.store.open_lots(&visitor.shop.id).await?;
    to_regrade.retain(|lot| lot.grade_retired && lot.state == LotState::Open);

    let bags = bags(&shelf, &answer, &visitor);
    let flips = news.zip(old).and_then(|((sheet, _), old)| flips(&sheet, &old, &shelf, &answer, &visitor));
    let stale_sheets = stale_sheets(&shelf);
    let stale_rates = stale_rates(&shelf);
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let waiting = waiting(&outlets, &shipments, &visitor);
    let packed: Vec<Shipment> = shipments.into_iter().filter(|shipment| shipment.state.is_here()).collect();
    let runs = open_runs(app.store.runs(&visitor.shop.id).await?, &visitor);
    let nothing_to_do = !is_thinking
        && runs.is_empty()
        && bags.is_empty()
        && flips.is_none()
        && stale_sheets.is_empty()
        && stale_rates.is_empty()
        && packed.is_empty()
        && waiting.is_empty()
        && to_regrade.is_empty();
    let page = visitor.page(Screen::Today, "Today");
    html(&TodayPage {
        page,
        worth: answer.total(),
        sells: answer.plan.deliveries.len(),
        proof: answer.plan.proof,
        bags,
        flips,
        stale_sheets,
        stale_rates,
        packed,
        waiting,
        over_night: runs.iter().any(|open| open.is_over_night),
        runs,
        to_regrade,
        is_thinking,
        nothing_to_do,
        visitor,
    })
}

fn open_runs(runs: Vec<RunHead>, visitor: &Visitor) -> Vec<OpenRun> {
    let today = visitor.today();
    let open = |run: RunHead| match run.state {
        RunState::Planned if run.day <= today => Some(OpenRun { is_out: false, is_over_night: false, run }),
        RunState::Out { at } => {
            Some(OpenRun { is_out: true, is_over_night: visitor.day_of(at) < today, run })
        }
        RunState::Planned | RunState::Back { .. } | RunState::Cancelled { .. } => None,
    };
    runs.into_iter().filter_map(open).collect()
}

/// Bags at or past one of their weights, the heaviest stage first.
fn bags(shelf: &Shelf, answer: &Answer, visitor: &Visitor) -> Vec<BagCard> {
    let mut cards: Vec<BagCard> = answer
        .outlooks
        .iter()
        .filter_map(|(grade, ways)| {
            let way = best_mail_in(shelf, ways)?;
            let lots: Vec<&Lot> = shelf.lots.iter().filter(|lot| lot.grade_id == *grade).collect();
            let first = lots.iter().max_by_key(|lot| lot.net)?;
            let together: Mass = lots.iter().map(|lot| lot.net).sum();
            let stage = stage(way, together);
            if stage < Stage::PaysToMail {
                return None;
            }
            let fill = shelf.fill.get(grade).copied();
            let waiting_for =
                way.ship.as_ref().filter(|_| stage == Stage::PaysToMail).map(|ship| ship.weight);
            Some(BagCard {
                lot: first.id.clone(),
                label: first.container_label.clone(),
                grade_name: first.grade_name.clone(),
                stage,
                outlet: shelf.outlet_name(&way.outlet),
                planned: mailed_now(shelf, answer, &first.id),
                net: way.now.as_ref().ok().map(|ladder| ladder.net),
                expected: waiting_for
                    .and_then(|weight| expected(fill, together, weight, shelf.facts.today))
                    .map(day),
                gauge: (stage == Stage::Ready)
                    .then(|| gauge(&format!("bag-{grade}"), way, &first.container_label, &lots, visitor)),
            })
        })
        .collect();
    cards.sort_by_key(|card| {
        (card.planned.is_none(), std::cmp::Reverse(card.stage), std::cmp::Reverse(card.net))
    });
    cards
}

/// The mail-in buyer that the plan sends a lot to.
fn mailed_now(shelf: &Shelf, answer: &Answer, lot: &LotId) -> Option<String> {
    let outlet = shelf.outlet(&answer.delivery_of(lot)?.outlet)?;
    matches!(outlet.way, Way::Post(_)).then(|| outlet.name.clone())
}

/// The sheet that came in last, while that is news, and the shelf as it would stand without it.
async fn latest_news(app: &App, visitor: &Visitor) -> Result<Option<(PriceSheet, Arc<Shelf>)>, StoreError> {
    let sheet = app.store.latest_sheet(&visitor.shop.id, visitor.today()).await?;
    let is_news = |sheet: &PriceSheet| (visitor.today() - visitor.day_of(sheet.at)).get_days() <= NEWS_DAYS;
    let Some(sheet) = sheet.filter(is_news) else { return Ok(None) };
    let before = Shelf::load_without(&app.store, &visitor.shop, visitor.now, Some(&sheet.id)).await?;
    Ok(Some((sheet, Arc::new(before))))
}

/// Lots whose place in the plan changed with a sheet; `old` is the answer without it.
fn flips(
    sheet: &PriceSheet,
    old: &Answer,
    shelf: &Shelf,
    answer: &Answer,
    visitor: &Visitor,
) -> Option<Flips> {
    let lots = super::flips::flips(shelf, old, answer);
    (!lots.is_empty()).then(|| Flips {
        sheet_id: sheet.id.clone(),
        outlet: sheet.outlet_name.clone(),
        since: days_from(shelf.facts.today, visitor.day_of(sheet.at)),
        change: answer.total() - old.total(),
        lots,
    })
}

/// Shipments that are out and not paid for. A buyer that the shop has closed meanwhile still owes them.
fn waiting(outlets: &[Outlet], open: &[Shipment], visitor: &Visitor) -> Vec<Waiting> {
    open.iter()
        .filter_map(|shipment| {
            let sent = shipment.sent_at.filter(|_| !shipment.state.is_here())?;
            let days_out = (visitor.today() - visitor.day_of(sent)).get_days();
            let buyer = outlets.iter().find(|outlet| outlet.id == shipment.outlet_id);
            let days_to_pay = buyer.map_or(0, |outlet| outlet.details.terms.days_to_pay);
            let due = shipments::due(shipment, days_to_pay, visitor);
            let overdue = due.is_some_and(|due| due < visitor.today());
            Some(Waiting { shipment: shipment.clone(), overdue, days_out })
        })
        .collect()
}
