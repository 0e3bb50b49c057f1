//! Sell plan: where should each lot go, all at once, with the shared costs counted once?

mod choices;
mod load_list;
mod troubles;

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use rust_decimal::Decimal;
use trade::history::Range;
use trade::ids::{LotId, OutletId};
use trade::net::{Ladder, StepKind};
use trade::outlet::Way;
use trade::plan::habit::Habit;
use trade::plan::{Delivery, Margin, Place, Proof};

use super::App;
use super::app::Answered;
use super::failure::Failure;
use super::ladder::LadderDrawing;
use super::page::{Page, Screen, Visitor, counted, html, money, unbroken};
use super::stale::{StaleRate, StaleSheet, leant_on};
use super::tour::TourLine;
use super::turns::TurnLines;
use super::unpriced::Unpriced;
use crate::shelf::{Answer, Shelf};
use crate::store::lots::Lot;
use troubles::{Doubt, DroppedPin, Told};

pub use choices::{choose, open_or_close, unpin};
pub use load_list::load_list;

/// A lot under its outlet, or among those kept.
struct Row {
    lot: Lot,
    /// Its share of the delivery's net, or what it is worth kept.
    worth: Decimal,
    unpriced: Option<Unpriced>,
    second: Option<String>,
    pinned: bool,
    barred: bool,
}

/// An outlet that gets something.
struct Stop {
    id: OutletId,
    name: String,
    is_yard: bool,
    net: Decimal,
    per_unit: Option<Decimal>,
    mass: trade::mass::Mass,
    payout: String,
    days_to_pay: Decimal,
    range: Option<Range>,
    /// Trip, freight, boxes and the like: paid once for all its lots.
    shared: Decimal,
    drawing: LadderDrawing,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "plan/show.html")]
struct PlanPage {
    page: Page,
    visitor: Visitor,
    stops: Vec<Stop>,
    kept: Vec<Row>,
    kept_worth: Decimal,
    sold_net: Decimal,
    proof: Proof,
    is_current: bool,
    troubles: Vec<Told>,
    /// Pins that the plan does not follow.
    dropped: Vec<DroppedPin>,
    /// Freight tables that the plan leans on and that look wrong.
    doubts: Vec<Doubt>,
    stale_sheets: Vec<StaleSheet>,
    stale_rates: Vec<StaleRate>,
    habits: Vec<HabitLine>,
    closed: Vec<(OutletId, String)>,
    places: Vec<(String, String)>,
    /// Deliveries that are driven.
    drives: usize,
    /// Drives to several yards at once.
    tours: Vec<TourLine>,
    /// Whether second choices are known, or else worked out.
    has_margins: bool,
    /// Whether there is a plan that something could change, and one that is proved best.
    is_turning: bool,
    /// `None` while it is worked out.
    turns: Option<TurnLines>,
}

/// The plan beside what a shop does without one.
struct HabitLine {
    /// What is done, as the beginning of a sentence.
    doing: String,
    net: Decimal,
    /// What the plan leaves over it, kept lots counted at what they are worth kept.
    more: Decimal,
}

pub async fn show(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let shelf = app.shelf(&visitor).await?;
    let Answered { shelf, answer, is_current } = app.answered(shelf, &visitor.shop.id).await;
    let view = View { shelf: &shelf, answer: &answer };
    let page = visitor.page(Screen::Plan, "Sell plan");
    let stops: Vec<Stop> = answer.plan.deliveries.iter().filter_map(|delivery| view.stop(delivery)).collect();
    let kept: Vec<Row> = answer.plan.kept.iter().filter_map(|lot| view.row(lot)).collect();
    let tours: Vec<TourLine> = answer.plan.tours.iter().map(|tour| TourLine::new(tour, &shelf)).collect();
    let saved: Decimal = tours.iter().map(|tour| tour.saved).sum();
    let (stale_sheets, stale_rates) = leant_on(&shelf);
    let has_margins = answer.margins().is_some();
    let is_turning =
        has_margins && is_current && answer.plan.proof == Proof::Optimal && !shelf.lots.is_empty();
    let turns = if is_turning { app.answers.turns(&visitor.shop.id, &shelf, &answer).await } else { None };
    html(&PlanPage {
        page,
        kept_worth: kept.iter().map(|row| row.worth).sum(),
        sold_net: stops.iter().map(|stop| stop.net).sum::<Decimal>() + saved,
        proof: answer.plan.proof,
        is_current,
        troubles: troubles::told(&shelf, &answer.plan.trouble),
        dropped: troubles::dropped_pins(&shelf, &answer.plan.trouble),
        doubts: troubles::doubts(&shelf, &answer.plan),
        stale_sheets,
        stale_rates,
        habits: view.habits(),
        closed: shelf.choices.closed.iter().map(|id| (id.clone(), shelf.outlet_name(id))).collect(),
        places: places(&shelf),
        drives: stops.iter().filter(|stop| stop.is_yard).count(),
        tours,
        has_margins,
        is_turning,
        turns: turns.map(|turns| TurnLines::new(&turns, &shelf, &visitor)),
        stops,
        kept,
        visitor,
    })
}

/// Where a partner can pin a lot to.
fn places(shelf: &Shelf) -> Vec<(String, String)> {
    let mut places = vec![("keep".to_string(), "Keep it".to_string())];
    places.extend(shelf.outlets.iter().map(|outlet| (outlet.id.to_string(), outlet.name.clone())));
    places
}

struct View<'a> {
    shelf: &'a Shelf,
    answer: &'a Arc<Answer>,
}

impl View<'_> {
    fn stop(&self, delivery: &Delivery) -> Option<Stop> {
        let outlet = self.shelf.outlet(&delivery.outlet)?;
        let ladder = &delivery.ladder;
        let rows = delivery.lots.iter().filter_map(|lot| self.row(lot)).collect();
        Some(Stop {
            id: outlet.id.clone(),
            name: outlet.name.clone(),
            is_yard: matches!(outlet.way, Way::Drive(_)),
            net: ladder.net,
            per_unit: ladder.net_per(self.shelf.facts.style.unit()),
            mass: ladder.mass,
            payout: unbroken(&ladder.payout.to_string()),
            days_to_pay: outlet.days_to_pay().round().normalize(),
            range: self.shelf.range(&outlet.id, ladder),
            shared: shared_cost(ladder),
            drawing: LadderDrawing::new(ladder, self.shelf),
            rows,
        })
    }

    fn row(&self, lot_id: &LotId) -> Option<Row> {
        let margin = self.answer.margin(lot_id);
        let choices = &self.shelf.choices;
        let lot = self.shelf.lot(lot_id)?;
        Some(Row {
            lot: lot.clone(),
            unpriced: Unpriced::of(lot, self.shelf),
            worth: self.answer.worth.get(lot_id).copied().unwrap_or_default(),
            second: margin.map(|margin| second_choice(self.shelf, margin)),
            pinned: choices.pins.contains_key(lot_id),
            barred: choices.bars.iter().any(|(lot, _)| lot == lot_id),
        })
    }

    fn habits(&self) -> Vec<HabitLine> {
        let habits = &self.answer.habits;
        let name = |delivery: &Delivery| self.shelf.outlet_name(&delivery.outlet);
        let lots = |habit: &Habit| counted(habit.lots(), "lot", "lots");
        let nearest = habits.nearest_yard.as_ref().and_then(|habit| {
            let yard = name(habit.deliveries.first()?);
            Some((format!("Driving everything that sells to {yard} ({})", lots(habit)), habit))
        });
        let highest = habits.highest_price.as_ref().map(|habit| {
            let outlets = counted(habit.deliveries.len(), "outlet", "outlets");
            (
                format!(
                    "Taking each grade to whoever pays most for its weight ({} to {outlets})",
                    lots(habit)
                ),
                habit,
            )
        });
        let alone = habits.every_bag_alone.as_ref().map(|habit| {
            let shipments = counted(habit.deliveries.len(), "delivery", "deliveries");
            (
                format!("Mailing every bag by itself and driving the rest to the nearest yard ({shipments})"),
                habit,
            )
        });
        let line = |(doing, habit): (String, &Habit)| {
            let net = habit.net();
            HabitLine { doing, net, more: self.answer.plan.total - net }
        };
        [nearest, highest, alone].into_iter().flatten().map(line).collect()
    }
}

pub fn place_name(shelf: &Shelf, place: &Place) -> String {
    match place {
        Place::Keep => "keep it".to_string(),
        Place::Outlet(outlet) => shelf.outlet_name(outlet),
    }
}

/// The second choice with what taking it costs or, where a pin keeps the lot from its best place, what that brings.
pub fn second_choice(shelf: &Shelf, margin: &Margin) -> String {
    let money = money(margin.margin.abs(), shelf.facts.costs.home);
    let less = if margin.margin < Decimal::ZERO { "more" } else { "less" };
    // What was found without the lot is a plan that can be had, so it costs no more than that.
    let bounded = if margin.exact { "" } else { "at most " };
    format!("{}, {bounded}{money} {less}", place_name(shelf, &margin.second))
}

/// What is paid once for all lots of the delivery.
fn shared_cost(ladder: &Ladder) -> Decimal {
    let shared = [
        StepKind::FlatFee,
        StepKind::PayoutFee,
        StepKind::Freight,
        StepKind::Boxes,
        StepKind::PackingTime,
        StepKind::Border,
        StepKind::Trip,
    ];
    ladder.steps.iter().filter(|step| shared.contains(&step.kind)).map(|step| -step.home).sum()
}
