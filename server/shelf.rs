//! The shelf: everything the shop holds with every fact its worth depends on, and the answer to what it is worth.
//!
//! Loading asks the store, answering asks `trade`. An answer takes the box some work, so it is found on a thread of its
//! own and remembered: two phones that look at the same shelf make the box think once.

mod answers;
mod cores;
mod history;
mod nets;
mod outlooks;
mod turning;

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use rust_decimal::Decimal;
use trade::cadence::FillRate;
use trade::costs::Facts;
use trade::history::Range;
use trade::ids::{Family, GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::net::{Closed, Ladder, Load, StepKind};
use trade::outlet::Outlet;
use trade::outlook::{Bag, Outlook, outlooks};
use trade::plan::habit::{self, Habit};
use trade::plan::{Choices, Delivery, Limits, Margin, Plan, PlanLot, Planner, Problem, Turns};
use trade::quote::Quotes;
use trade::tour::Roads;
use trade::volume::BulkDensity;

use crate::store::lots::{Lot, LotState};
use crate::store::roads::Road;
use crate::store::shops::Shop;
use crate::store::{Store, StoreError};

pub use answers::{Answers, Known};
pub use history::History;
pub use nets::{GradeNet, GradeNets, NetSource};
pub use outlooks::Outlooks;

/// How far back weighings tell how fast a bag fills.
const FILL_WEEKS: i64 = 16;
/// The time that a kilometre less on the road saves: a van on mixed roads does a kilometre a minute (common practice, no
/// source).
const MINUTES_PER_KM: Decimal = Decimal::ONE;
/// How long a search may take before it shows the best it has, with the bound.
const PATIENCE: Duration = Duration::from_secs(8);
/// How much work each lot's margin may take, in nodes of the search: a second or so for a shelf of sixty lots. A margin
/// that it does not prove is told as the most that it can be.
const NODES_FOR_MARGIN: u64 = 2;
/// How long all margins may take, whatever the shelf.
const PATIENCE_FOR_MARGINS: Duration = Duration::from_secs(8);
/// How long it may take to find what would change the plan, and how much work each plan on the way.
const PATIENCE_FOR_TURNS: Duration = Duration::from_secs(8);
const NODES_FOR_TURN: u64 = 400;

/// What is on the shelf, and what decides where it goes.
#[derive(Debug, Clone)]
pub struct Shelf {
    /// Lots that are free to go somewhere.
    pub lots: Vec<Lot>,
    pub grades: BTreeMap<GradeId, ShelfGrade>,
    /// Outlets the shop sells to.
    pub outlets: Vec<Outlet>,
    pub facts: Facts,
    pub choices: Choices,
    pub fill: BTreeMap<GradeId, FillRate>,
    /// Between the yards among the outlets.
    pub roads: Roads,
}

#[derive(Debug, Clone)]
pub struct ShelfGrade {
    pub name: String,
    pub density: BulkDensity,
}

impl Shelf {
    /// The shelf as it stands.
    pub async fn load(store: &Store, shop: &Shop, now: Timestamp) -> Result<Shelf, StoreError> {
        Shelf::load_without(store, shop, now, None).await
    }

    /// The shelf as it would stand had a price sheet not come in.
    pub async fn load_without(
        store: &Store,
        shop: &Shop,
        now: Timestamp,
        sheet: Option<&str>,
    ) -> Result<Shelf, StoreError> {
        let lots = store.open_lots(&shop.id).await?;
        Shelf::of_lots(store, shop, now, lots, sheet).await
    }

    /// The shelf with these lots of the shop, of which those that are free count.
    pub(crate) async fn of_lots(
        store: &Store,
        shop: &Shop,
        now: Timestamp,
        mut lots: Vec<Lot>,
        sheet: Option<&str>,
    ) -> Result<Shelf, StoreError> {
        let today = now.to_zoned_datetime(shop.zone.clone()).date();
        lots.retain(|lot| lot.state == LotState::Open);
        let grades = store.grades(&shop.id).await?;
        let families = || grades.iter().map(|grade| (grade.id.clone(), Family::new(&*grade.details.family)));
        let history = match store.learns(&shop.id).await? {
            true => History::load(store, shop, families().collect()).await?,
            false => History::default(),
        };
        let grades = grades.into_iter().map(|grade| {
            (grade.id, ShelfGrade { name: grade.details.name, density: grade.details.bulk_density })
        });
        let cartons = store.cartons(&shop.id).await?;
        let facts = Facts {
            costs: shop.costs,
            rates: store.rate_book(&shop.id).await?,
            cartons: cartons
                .into_iter()
                .filter(|record| !record.retired)
                .map(|record| record.carton)
                .collect(),
            today,
            style: shop.style,
        };
        let services = store.services(&shop.id).await?;
        let mut sheets = store.current_quotes(&shop.id, today, sheet).await?;
        let outlets = store.outlets(&shop.id).await?;
        let outlets = outlets.into_iter().filter(|outlet| !outlet.is_closed()).map(|outlet| {
            let (quotes, date) =
                sheets.remove(&outlet.id).map_or_else(Default::default, |s| (s.quotes, Some(s.valid_from)));
            let outlet = outlet.priced(&services, quotes, date);
            Outlet { learned: history.learned(&outlet), ..outlet }
        });
        let outlets: Vec<Outlet> = outlets.collect();
        let choices = choices_about(&lots, &outlets, store.plan_choices(&shop.id).await?);
        let since = now - (24 * 7 * FILL_WEEKS).hours();
        let fill = fill_rates(store, shop, since, today).await?;
        let roads = roads_between(&outlets, store.roads(&shop.id).await?);
        Ok(Shelf { lots, grades: grades.collect(), outlets, facts, choices, fill, roads })
    }

    /// The shelf as it would stand had an outlet sent a price sheet with these prices.
    pub fn with_sheet(&self, outlet: &OutletId, date: Date, quotes: BTreeMap<GradeId, Quotes>) -> Shelf {
        let mut shelf = self.clone();
        if let Some(outlet) = shelf.outlets.iter_mut().find(|other| other.id == *outlet) {
            outlet.quotes = quotes;
            outlet.sheet_date = Some(date);
        }
        shelf
    }

    pub fn lot(&self, id: &LotId) -> Option<&Lot> {
        self.lots.iter().find(|lot| lot.id == *id)
    }

    pub fn outlet(&self, id: &OutletId) -> Option<&Outlet> {
        self.outlets.iter().find(|outlet| outlet.id == *id)
    }

    pub fn outlet_name(&self, id: &OutletId) -> String {
        self.outlet(id).map_or_else(|| "an outlet that is closed".to_string(), |outlet| outlet.name.clone())
    }

    pub fn grade_name(&self, id: &GradeId) -> String {
        self.grades.get(id).map_or_else(|| id.to_string(), |grade| grade.name.clone())
    }

    /// Between what a delivery's net lies four times out of five; `None` where nothing was settled that tells.
    pub fn range(&self, outlet: &OutletId, ladder: &Ladder) -> Option<Range> {
        let outlet = self.outlet(outlet)?;
        Some(outlet.learned.as_ref()?.net(ladder, outlet, &self.facts))
    }

    /// The lot as it would go to an outlet.
    pub fn load_of(&self, id: &LotId) -> Option<Load> {
        self.lot(id).map(|lot| self.load_from(lot))
    }

    fn load_from(&self, lot: &Lot) -> Load {
        Load {
            lot: lot.id.clone(),
            grade: lot.grade_id.clone(),
            mass: lot.net,
            pieces: lot.pieces,
            volume: self.density(&lot.grade_id).volume_of(lot.net),
        }
    }

    fn density(&self, grade: &GradeId) -> BulkDensity {
        self.grades.get(grade).map_or(BulkDensity::LOOSE_BOARDS, |grade| grade.density)
    }

    /// Why an outlet does not take something, with the grade's name in place of its slug and masses as the shop spells
    /// them.
    pub fn closed_in_words(&self, closed: &Closed) -> String {
        match closed {
            Closed::NoQuote(grade) => format!("its sheet has no price for {}", self.grade_name(grade)),
            Closed::BelowTier { grade, from } => {
                format!("it prices {} from {} up", self.grade_name(grade), self.facts.style.show(*from))
            }
            Closed::BelowMinimumGrade { grade, least } => {
                format!("it takes {} from {} up", self.grade_name(grade), self.facts.style.show(*least))
            }
            Closed::BelowMinimumDelivery(least) => {
                format!("it takes deliveries from {} up", self.facts.style.show(*least))
            }
            other => other.to_string(),
        }
    }

    /// What the shelf is worth and where it goes. `plan_found` hears of it as soon as the plan is there: a large shelf's
    /// margins take far longer. They are no longer sought, beyond what is quickly said, once the shelf `is_outdated`.
    fn answer(
        &self,
        depth: Depth,
        is_outdated: &(dyn Fn() -> bool + Sync),
        outlooks: &Outlooks,
        plan_found: impl FnOnce(&Arc<Answer>),
    ) -> Arc<Answer> {
        // The clocks run from the first step of a search: what comes before takes as long as it takes.
        let (searching, weighing_up) = (OnceLock::new(), OnceLock::new());
        let out_of_patience = || searching.get_or_init(Instant::now).elapsed() > PATIENCE;
        let for_plan = Limits { stop: Some(&out_of_patience), ..Limits::default() };
        let enough =
            || is_outdated() || weighing_up.get_or_init(Instant::now).elapsed() > PATIENCE_FOR_MARGINS;
        let for_margin =
            Limits { stop: Some(&enough), threads: cores::free(), ..Limits::nodes(NODES_FOR_MARGIN) };
        self.answer_within(&for_plan, (depth == Depth::Margins).then_some(&for_margin), outlooks, plan_found)
    }

    /// [`Shelf::answer`] with so much work for the plan and for each lot's margin; without margins where there is none for
    /// them.
    pub(crate) fn answer_within(
        &self,
        for_plan: &Limits<'_>,
        for_margin: Option<&Limits<'_>>,
        outlooks: &Outlooks,
        plan_found: impl FnOnce(&Arc<Answer>),
    ) -> Arc<Answer> {
        let outlooks = outlooks.of(self);
        let lots = self.plan_lots(&outlooks);
        let problem = self.problem(&lots);
        let mut planner = Planner::new(&problem);
        let plan = planner.solve(for_plan);
        let answer = Arc::new(Answer {
            margins: OnceLock::new(),
            worth: worth(&plan, &lots),
            habits: Habits::of(&problem),
            outlooks,
            plan,
            nets: OnceLock::new(),
        });
        if let Some(limits) = for_margin {
            plan_found(&answer);
            let margins = planner.margins(&answer.plan, limits).into_iter();
            answer.margins.get_or_init(|| margins.map(|margin| (margin.lot.clone(), margin)).collect());
        }
        answer
    }

    fn problem<'a>(&'a self, lots: &'a [PlanLot]) -> Problem<'a> {
        Problem {
            lots,
            outlets: &self.outlets,
            facts: &self.facts,
            choices: &self.choices,
            roads: &self.roads,
        }
    }

    fn plan_lots(&self, outlooks: &BTreeMap<GradeId, Vec<Outlook>>) -> Vec<PlanLot> {
        let lot = |lot: &Lot| PlanLot { load: self.load_from(lot), keep: self.keep(lot, outlooks) };
        self.lots.iter().map(lot).collect()
    }

    /// What would change the plan of this shelf's answer.
    fn turns(&self, answer: &Answer) -> Turns {
        let started = Instant::now();
        let out_of_patience = || started.elapsed() > PATIENCE_FOR_TURNS;
        let limits = Limits { stop: Some(&out_of_patience), ..Limits::nodes(NODES_FOR_TURN) };
        let lots = self.plan_lots(&answer.outlooks);
        let problem = self.problem(&lots);
        Planner::new(&problem).turns(&answer.plan, &limits)
    }

    /// All of a grade as one bag at every outlet, best first.
    pub fn outlooks_of(&self, grade: &GradeId) -> Vec<Outlook> {
        outlooks(&self.whole_bag(grade), &self.outlets, &self.facts)
    }

    /// All of a grade as one bag.
    pub fn whole_bag<'a>(&self, grade: &'a GradeId) -> Bag<'a> {
        let lots = || self.lots.iter().filter(|lot| lot.grade_id == *grade);
        Bag {
            grade,
            density: self.density(grade),
            mass: lots().map(|lot| lot.net).sum(),
            pieces: lots().fold(0, |sum: u32, lot| sum.saturating_add(lot.pieces)),
            fill: self.fill.get(grade).copied(),
        }
    }

    /// A lot's part of what its grade is worth kept, at the outlet where that is most.
    fn keep(&self, lot: &Lot, outlooks: &BTreeMap<GradeId, Vec<Outlook>>) -> Decimal {
        let best = outlooks.get(&lot.grade_id).and_then(|ways| ways.iter().map(|way| way.keep).max());
        let total: Mass =
            self.lots.iter().filter(|other| other.grade_id == lot.grade_id).map(|lot| lot.net).sum();
        if !total.is_positive() {
            return Decimal::ZERO;
        }
        best.unwrap_or_default() * lot.net.grams() / total.grams()
    }
}

/// The choices that can still be followed or not: those about a lot that is packed, and those that only keep things from
/// an outlet that is closed, say nothing any more.
fn choices_about(lots: &[Lot], outlets: &[Outlet], mut choices: Choices) -> Choices {
    let is_here = |lot: &LotId| lots.iter().any(|here| here.id == *lot);
    let is_open = |outlet: &OutletId| outlets.iter().any(|open| open.id == *outlet);
    choices.pins.retain(|lot, _| is_here(lot));
    choices.bars.retain(|(lot, outlet)| is_here(lot) && is_open(outlet));
    choices.closed.retain(is_open);
    choices
}

/// The roads whose ends are sold to.
fn roads_between(outlets: &[Outlet], roads: Vec<Road>) -> Roads {
    let mut between = Roads::new(MINUTES_PER_KM);
    let is_open = |outlet: &OutletId| outlets.iter().any(|open| open.id == *outlet);
    for Road { ends: (one, other), distance_km } in roads {
        if is_open(&one) && is_open(&other) {
            between.add(&one, &other, distance_km);
        }
    }
    between
}

async fn fill_rates(
    store: &Store,
    shop: &Shop,
    since: Timestamp,
    today: Date,
) -> Result<BTreeMap<GradeId, FillRate>, StoreError> {
    let mut by_grade: BTreeMap<GradeId, Vec<(Date, Mass)>> = BTreeMap::new();
    for addition in store.additions(&shop.id, since).await? {
        let date = addition.at.to_zoned_datetime(shop.zone.clone()).date();
        by_grade.entry(addition.grade).or_default().push((date, addition.net));
    }
    let rate = |(grade, additions): (GradeId, Vec<(Date, Mass)>)| {
        Some((grade, FillRate::estimate(&additions, today)?))
    };
    Ok(by_grade.into_iter().filter_map(rate).collect())
}

/// How far an answer goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    Plan,
    /// With each lot's margin, which takes twice the work.
    Margins,
}

/// What the shelf is worth, and where it should go.
#[derive(Debug)]
pub struct Answer {
    pub plan: Plan,
    /// Of each lot that has another place to go to, once they are there.
    margins: OnceLock<BTreeMap<LotId, Margin>>,
    /// What each lot brings where the plan puts it, in home currency. All of them make up the plan's total.
    pub worth: BTreeMap<LotId, Decimal>,
    /// Each grade's bag at every outlet, best first.
    pub outlooks: BTreeMap<GradeId, Vec<Outlook>>,
    /// What shops do without a plan.
    pub habits: Habits,
    /// What a little more of each grade brings, once it was asked for.
    nets: OnceLock<GradeNets>,
}

/// What habits bring, where they can be followed.
#[derive(Debug)]
pub struct Habits {
    pub nearest_yard: Option<Habit>,
    pub highest_price: Option<Habit>,
    pub every_bag_alone: Option<Habit>,
}

impl Habits {
    fn of(problem: &Problem<'_>) -> Habits {
        Habits {
            nearest_yard: habit::nearest_yard(problem),
            highest_price: habit::highest_price(problem),
            every_bag_alone: habit::every_bag_alone(problem),
        }
    }
}

impl Answer {
    /// Each lot's margin; `None` while they are worked out, or where nobody asked for them.
    pub fn margins(&self) -> Option<&BTreeMap<LotId, Margin>> {
        self.margins.get()
    }

    pub fn margin(&self, lot: &LotId) -> Option<&Margin> {
        self.margins()?.get(lot)
    }

    /// The delivery a lot is in; `None` where the plan keeps it.
    pub fn delivery_of(&self, lot: &LotId) -> Option<&Delivery> {
        self.plan.deliveries.iter().find(|delivery| delivery.lots.contains(lot))
    }

    /// What everything on the shelf is worth today.
    pub fn total(&self) -> Decimal {
        self.plan.total
    }
}

/// A delivered lot is worth what it fetches at the sheet's price, less its part of everything between that and the net;
/// a kept lot is worth its keep value.
fn worth(plan: &Plan, lots: &[PlanLot]) -> BTreeMap<LotId, Decimal> {
    let mut worth: BTreeMap<LotId, Decimal> =
        lots.iter().map(|lot| (lot.load.lot.clone(), lot.keep)).collect();
    for delivery in &plan.deliveries {
        let ladder = &delivery.ladder;
        let priced: Vec<(&Load, Decimal)> = lots
            .iter()
            .filter(|lot| delivery.lots.contains(&lot.load.lot))
            .filter_map(|lot| {
                let line = ladder.lines.iter().find(|line| line.grade == lot.load.grade)?;
                let at_sheet = line.quote.price.of(lot.load.mass, lot.load.pieces).amount;
                Some((&lot.load, at_sheet * ladder.rate.rate))
            })
            .collect();
        let saved = saved_at(plan, &delivery.outlet);
        let shared = saved + ladder.net - priced.iter().map(|(_, at_sheet)| at_sheet).sum::<Decimal>();
        let shares = shares(&priced);
        for ((load, at_sheet), share) in priced.iter().zip(shares) {
            worth.insert(load.lot.clone(), at_sheet + shared * share);
        }
    }
    worth
}

/// A yard's part of what driving to several at once saves: by what the drive to each by itself would cost.
fn saved_at(plan: &Plan, outlet: &OutletId) -> Decimal {
    let own = |outlet: &OutletId| {
        let delivery = plan.deliveries.iter().find(|delivery| delivery.outlet == *outlet);
        let drive = delivery.and_then(|delivery| delivery.ladder.step(StepKind::Trip));
        drive.map_or(Decimal::ZERO, |step| -step.home)
    };
    let Some(tour) = plan.tours.iter().find(|tour| tour.stops.contains(outlet)) else { return Decimal::ZERO };
    let all: Decimal = tour.stops.iter().map(own).sum();
    // Where no drive costs anything, nothing is saved.
    tour.saved * own(outlet).checked_div(all).unwrap_or_default()
}

/// Each lot's part of what a delivery costs as a whole: by the amounts at the sheet's price, charges as well as what
/// pays; where nothing has a price, by mass.
fn shares(priced: &[(&Load, Decimal)]) -> Vec<Decimal> {
    let by_amount = || priced.iter().map(|(_, at_sheet)| at_sheet.abs());
    let by_mass = || priced.iter().map(|(load, _)| load.mass.grams());
    let mut parts: Vec<Decimal> = by_amount().collect();
    if parts.iter().all(Decimal::is_zero) {
        parts = by_mass().collect();
    }
    let all: Decimal = parts.iter().sum();
    // Lots without price and mass: each as much as the other.
    let even = Decimal::ONE / Decimal::from(parts.len().max(1));
    parts.into_iter().map(|part| part.checked_div(all).unwrap_or(even)).collect()
}
