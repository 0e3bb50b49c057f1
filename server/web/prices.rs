//! Prices: who pays what? Every grade at every outlet by the newest sheets, and one grade over time.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use jiff::ToSpan;
use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::exchange::RateBook;
use trade::ids::{GradeId, OutletId};
use trade::money::{Currency, Price, PriceUnit};
use trade::quote::Quotes;

use super::App;
use super::failure::Failure;
use super::page::{Folds, Page, Screen, Visitor, html, unbroken};
use super::stale::STALE_SHEET_DAYS;
use super::thread::{MOST_THREADS, Spun, Thread, shown};
use crate::store::grades::Grade;
use crate::store::outlets::Outlet;
use crate::store::quotes::{CurrentSheet, PricePoint};

/// How far back the thread of a grade is drawn, in days.
const THREAD_DAYS: i64 = 400;
/// Lines in the table below it.
const POINTS_SHOWN: usize = 200;

/// What makes prices of several outlets comparable: home currency, per the shop's unit, at today's rates.
struct Measure {
    home: Currency,
    unit: PriceUnit,
    rates: RateBook,
}

impl Measure {
    async fn of(app: &App, visitor: &Visitor) -> Result<Measure, Failure> {
        Ok(Measure {
            home: visitor.home(),
            unit: PriceUnit::Mass(visitor.style().unit()),
            rates: app.store.rate_book(&visitor.shop.id).await?,
        })
    }

    /// The price in home currency, by the rate of `date`; per the shop's unit unless it is for each. `None` without a
    /// rate.
    fn at_home(&self, price: Price, date: Date) -> Option<Price> {
        let price = match (price.per, self.unit) {
            (PriceUnit::Mass(_), PriceUnit::Mass(unit)) => price.per(unit),
            _ => price,
        };
        let rate = self.rates.mid(price.currency, self.home, date)?.rate;
        Some(Price { amount: price.amount * rate, currency: self.home, ..price })
    }

    /// Whether the price stands as it was quoted, so that it need not be shown twice.
    fn is_native(&self, price: Price) -> bool {
        price.currency == self.home && (price.per == self.unit || price.per == PriceUnit::Each)
    }

    fn words(&self) -> String {
        format!("{} per {}", self.home.code(), self.unit.label())
    }
}

#[derive(Template)]
#[template(path = "prices/index.html")]
struct PricesPage {
    page: Page,
    visitor: Visitor,
    measure: String,
    sheets: Vec<SheetHead>,
    families: Vec<Family>,
    all_open: bool,
    /// Currencies without a rate.
    without_rate: Vec<&'static str>,
}

/// A sheet in force.
struct SheetHead {
    outlet_id: OutletId,
    outlet: String,
    sheet_id: Option<String>,
    valid_from: Option<Date>,
    is_stale: bool,
}

struct Family {
    name: String,
    /// Outlets that price something in it, each with the age of its sheet.
    payers: Vec<(String, String)>,
    rows: Vec<GradeRow>,
}

impl Family {
    /// Leaves out the columns of outlets that price nothing in it.
    fn narrowed(mut self) -> Family {
        let prices =
            |column: usize| self.rows.iter().any(|row| row.cells.get(column).is_some_and(Option::is_some));
        let pays: Vec<bool> = (0..self.payers.len()).map(prices).collect();
        let mut kept = pays.iter();
        self.payers.retain(|_| kept.next().is_some_and(|pays| *pays));
        for row in &mut self.rows {
            let mut kept = pays.iter();
            row.cells.retain(|_| kept.next().is_some_and(|pays| *pays));
        }
        self
    }
}

struct GradeRow {
    id: GradeId,
    name: String,
    cells: Vec<Option<Cell>>,
}

/// What one outlet pays for one grade.
struct Cell {
    outlet: String,
    age: String,
    /// To compare by: home currency per the shop's unit; `None` without a rate.
    home: Option<Price>,
    /// `4.05`, or with its unit where that is not the page's.
    words: String,
    /// As the sheet has it, where that differs.
    quoted: Option<String>,
    tiers: Vec<String>,
    is_best: bool,
    is_charge: bool,
    change: Change,
}

/// What became of a price since the outlet's sheet before.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Change {
    New,
    Same,
    Up(String),
    Down(String),
}

impl Change {
    fn between(before: Option<Price>, now: Option<Price>) -> Change {
        let (Some(before), Some(now)) = (before, now) else { return Change::New };
        if before.per != now.per {
            return Change::New;
        }
        let by = now.amount - before.amount;
        match by {
            by if by.is_zero() => Change::Same,
            by if by > Decimal::ZERO => Change::Up(format!("+{}", shown(by))),
            by => Change::Down(shown(by)),
        }
    }
}

/// Grade × outlet.
pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(folds): Query<Folds>,
) -> Result<Response, Failure> {
    let (shop, today) = (&visitor.shop.id, visitor.today());
    let measure = Measure::of(&app, &visitor).await?;
    let current = app.store.current_quotes(shop, today, None).await?;
    let previous = app.store.previous_quotes(shop, today).await?;
    let mut outlets = app.store.outlets(shop).await?;
    outlets.retain(|outlet| !outlet.is_closed());
    let grades = app.store.grades(shop).await?;

    let priced = |grade: &Grade| current.values().any(|sheet| sheet.quotes.contains_key(&grade.id));
    let grid = Grid { visitor: &visitor, measure: &measure, current: &current, previous: &previous };
    let columns: Vec<&Outlet> = outlets.iter().filter(|outlet| current.contains_key(&outlet.id)).collect();
    let age = |outlet: &Outlet| current.get(&outlet.id).map(|sheet| visitor.ago(sheet.valid_from));
    let payers: Vec<(String, String)> =
        columns.iter().map(|outlet| (outlet.details.name.clone(), age(outlet).unwrap_or_default())).collect();
    let mut families: Vec<Family> = Vec::new();
    for grade in grades.iter().filter(|grade| priced(grade)) {
        let row = grid.row(grade, &columns);
        match families.last_mut().filter(|last| last.name == grade.details.family) {
            Some(last) => last.rows.push(row),
            None => {
                let (name, payers) = (grade.details.family.clone(), payers.clone());
                families.push(Family { name, payers, rows: vec![row] });
            }
        }
    }
    let families: Vec<Family> = families.into_iter().map(Family::narrowed).collect();
    let all_open = folds.all_open(families.iter().map(|family| family.rows.len()).sum());
    let mut without_rate: Vec<&'static str> = columns
        .iter()
        .map(|outlet| outlet.details.currency)
        .filter(|currency| measure.rates.mid(*currency, measure.home, today).is_none())
        .map(|currency| currency.code())
        .collect();
    without_rate.sort_unstable();
    without_rate.dedup();
    let sheets = outlets.iter().map(|outlet| sheet_head(outlet, current.get(&outlet.id), today)).collect();
    let page = visitor.page(Screen::Prices, "Prices");
    let measure = measure.words();
    html(&PricesPage { page, measure, sheets, families, all_open, without_rate, visitor })
}

fn sheet_head(outlet: &Outlet, sheet: Option<&CurrentSheet>, today: Date) -> SheetHead {
    let valid_from = sheet.map(|sheet| sheet.valid_from);
    SheetHead {
        outlet_id: outlet.id.clone(),
        outlet: outlet.details.name.clone(),
        sheet_id: sheet.map(|sheet| sheet.sheet_id.clone()),
        is_stale: valid_from.is_some_and(|date| (today - date).get_days() > STALE_SHEET_DAYS),
        valid_from,
    }
}

/// What the cells of the grid are worked out from.
struct Grid<'a> {
    visitor: &'a Visitor,
    measure: &'a Measure,
    current: &'a BTreeMap<OutletId, CurrentSheet>,
    previous: &'a BTreeMap<OutletId, CurrentSheet>,
}

impl Grid<'_> {
    fn row(&self, grade: &Grade, outlets: &[&Outlet]) -> GradeRow {
        let mut cells: Vec<Option<Cell>> =
            outlets.iter().map(|outlet| self.cell(&grade.id, outlet)).collect();
        mark_best(&mut cells);
        GradeRow { id: grade.id.clone(), name: grade.details.name.clone(), cells }
    }

    fn cell(&self, grade: &GradeId, outlet: &Outlet) -> Option<Cell> {
        let sheet = self.current.get(&outlet.id)?;
        let quotes = sheet.quotes.get(grade)?;
        let today = self.visitor.today();
        let first = smallest_load(quotes)?;
        let home = self.measure.at_home(first, today);
        let before = self.previous.get(&outlet.id).and_then(|sheet| smallest_load(sheet.quotes.get(grade)?));
        // Both at today's rate, so that only what the outlet changed shows.
        let before = before.and_then(|price| self.measure.at_home(price, today));
        let quoted = (home.is_none() || !self.measure.is_native(first)).then(|| unbroken(&first.to_string()));
        Some(Cell {
            outlet: outlet.details.name.clone(),
            age: self.visitor.ago(sheet.valid_from),
            words: match home {
                Some(home) if home.per == PriceUnit::Each => unbroken(&home.to_string()),
                Some(home) => shown(home.amount),
                None => "no rate".to_string(),
            },
            home,
            quoted,
            tiers: self.tiers(quotes),
            is_best: false,
            is_charge: first.amount < Decimal::ZERO,
            change: if home.is_some() { Change::between(before, home) } else { Change::New },
        })
    }

    /// Ends of ranges, and the tiers of larger loads.
    fn tiers(&self, quotes: &Quotes) -> Vec<String> {
        let high = quotes
            .tiers()
            .first()
            .and_then(|quote| quote.high)
            .map(|high| format!("up to {}", unbroken(&high.to_string())));
        let from_first = quotes.tiers().first().and_then(|quote| self.visitor.tier(quote.from));
        let larger = quotes.tiers().iter().skip(1).filter_map(|quote| {
            Some(format!("{} {}", unbroken(&quote.price.to_string()), self.visitor.tier(quote.from)?))
        });
        high.into_iter().chain(from_first).chain(larger).collect()
    }
}

/// The price of the smallest load that is priced.
fn smallest_load(quotes: &Quotes) -> Option<Price> {
    quotes.tiers().first().map(|quote| quote.price)
}

/// Marks the highest of the prices for mass, where there is more than one to choose from; and so for each.
fn mark_best(cells: &mut [Option<Cell>]) {
    for each in [false, true] {
        let of_kind = |cell: &Cell| cell.home.filter(|home| (home.per == PriceUnit::Each) == each);
        let amounts: Vec<Decimal> =
            cells.iter().flatten().filter_map(of_kind).map(|home| home.amount).collect();
        let Some(best) = amounts.iter().max().filter(|_| amounts.len() > 1) else { continue };
        for cell in cells.iter_mut().flatten() {
            cell.is_best |= of_kind(cell).is_some_and(|home| home.amount == *best);
        }
    }
}

#[derive(Template)]
#[template(path = "prices/show.html")]
struct GradePage {
    page: Page,
    visitor: Visitor,
    grade: Grade,
    measure: String,
    thread: Option<Thread>,
    /// Outlets that are in the table only.
    not_drawn: Vec<String>,
    points: Vec<PointRow>,
    cut: bool,
}

struct PointRow {
    point: PricePoint,
    quoted: String,
    /// In home currency at the rate of its day.
    home: Option<String>,
    from: Option<String>,
}

/// One grade over time.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(grade): Path<String>,
) -> Result<Response, Failure> {
    let grade = app.store.grade(&visitor.shop.id, &grade).await?;
    let measure = Measure::of(&app, &visitor).await?;
    let history = app.store.price_history(&visitor.shop.id, &grade.id).await?;
    let mut outlets = app.store.outlets(&visitor.shop.id).await?;
    outlets.retain(|outlet| !outlet.is_closed());

    let each = !history.is_empty() && history.iter().all(|point| point.price.per == PriceUnit::Each);
    let words = if each { format!("{} each", measure.home.code()) } else { measure.words() };
    let spun = spin(&history, &measure, &outlets, visitor.today(), each);
    let not_drawn = spun.iter().skip(MOST_THREADS).map(|spun| spun.name.clone()).collect();
    let thread = Thread::new(&grade.details.name, &words, &spun);
    let cut = history.len() > POINTS_SHOWN;
    let points = history.into_iter().rev().take(POINTS_SHOWN).map(|point| PointRow {
        quoted: unbroken(&point.price.to_string()),
        home: measure
            .at_home(point.price, point.date)
            .filter(|_| !measure.is_native(point.price))
            .map(|home| unbroken(&format!("{} {}", shown(home.amount), words))),
        from: visitor.tier(point.from),
        point,
    });
    let points = points.collect();
    let page = visitor.page(Screen::Prices, format!("Prices of {}", grade.details.name));
    html(&GradePage { page, grade, measure: words, thread, not_drawn, points, cut, visitor })
}

/// The outlets' prices as threads, the best payer of today first; each price at the rate of its day.
fn spin(history: &[PricePoint], measure: &Measure, open: &[Outlet], today: Date, each: bool) -> Vec<Spun> {
    let mut spun: BTreeMap<&OutletId, Spun> = BTreeMap::new();
    let since = today.saturating_sub(THREAD_DAYS.days());
    for point in history.iter().filter(|point| (since..=today).contains(&point.date)) {
        let Some(home) = measure.at_home(point.price, point.date) else { continue };
        if (home.per == PriceUnit::Each) != each {
            continue;
        }
        let is_open = open.iter().any(|outlet| outlet.id == point.outlet_id);
        let thread = spun.entry(&point.outlet_id).or_insert_with(|| Spun {
            name: point.outlet_name.clone(),
            points: Vec::new(),
            until: point.date,
        });
        thread.points.push((point.date, home.amount));
        thread.until = if is_open { today } else { point.date };
    }
    let mut spun: Vec<Spun> = spun.into_values().collect();
    spun.sort_by_key(|spun| {
        (std::cmp::Reverse(spun.until), std::cmp::Reverse(spun.points.last().map(|(_, amount)| *amount)))
    });
    spun
}
