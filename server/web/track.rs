//! Track record: what an outlet's settlements have taught, and how good the estimates were.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::history::{Estimate, Learned, PAYMENTS, Strength, Track};
use trade::ids::Family;
use trade::outlet::{self, Terms};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::interval::Interval;
use super::page::{Page, Screen, Visitor, counted, day, html, money};
use super::told::ToldChart;
use crate::shelf::History;
use crate::store::outlets::Outlet;

/// An outlet on the list, with what its settlements come to.
struct Card {
    id: String,
    name: String,
    settled: String,
    figures: String,
}

#[derive(Template)]
#[template(path = "track/index.html")]
struct TracksPage {
    page: Page,
    learns: bool,
    told: usize,
    inside: usize,
    cards: Vec<Card>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let history = history(&app, &visitor).await?;
    let (mut told, mut inside, mut cards) = (0, 0, Vec::new());
    for outlet in app.store.outlets(&visitor.shop.id).await? {
        let priced = bare(&outlet);
        let track = history.track(&priced);
        told += track.told.len();
        inside += track.inside();
        let Some(learned) = history.learned(&priced) else { continue };
        cards.push(Card {
            id: outlet.id.to_string(),
            name: outlet.details.name.clone(),
            settled: settled_in_words(&track, &outlet),
            figures: figures_in_words(&learned),
        });
    }
    let learns = app.store.learns(&visitor.shop.id).await?;
    html(&TracksPage { page: visitor.page(Screen::Outlets, "Track record"), learns, told, inside, cards })
}

pub(super) async fn history(app: &App, visitor: &Visitor) -> Result<History, Failure> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    let families = grades.into_iter().map(|grade| (grade.id, Family::new(grade.details.family)));
    Ok(History::load(&app.store, &visitor.shop, families.collect()).await?)
}

/// The outlet with its terms; what has been settled needs no prices of today and no way there.
pub(super) fn bare(outlet: &Outlet) -> outlet::Outlet {
    outlet.priced(&[], Default::default(), None)
}

/// `5 settlements, 4 inside · 12.40 USD less than the sheets promised`.
fn settled_in_words(track: &Track, outlet: &Outlet) -> String {
    let settled = counted(track.told.len(), "settlement", "settlements");
    let short = short_of_promised(track);
    let money = money(short.abs(), outlet.details.currency);
    let promised = match short {
        less if less > Decimal::ZERO => format!("{money} less than the sheets promised"),
        more if more < Decimal::ZERO => format!("{money} more than the sheets promised"),
        _ => "as the sheets promised".to_string(),
    };
    format!("{settled}, {} inside · {promised}", track.inside())
}

fn short_of_promised(track: &Track) -> Decimal {
    track.told.iter().map(|told| told.promised - told.paid).sum()
}

/// `boards 98.2 % of our weight, 12 % of loads downgraded · pays after 12 days`.
fn figures_in_words(learned: &Learned) -> String {
    let family = |(family, expected): (&Family, trade::history::Expected)| {
        let weight = expected.paid_weight.map(|weight| format!("{} of our weight", percent(weight.mean)));
        let lower =
            expected.downgraded.map(|downgraded| format!("{} of loads downgraded", percent(downgraded.mean)));
        let figures: Vec<String> = weight.into_iter().chain(lower).collect();
        (!figures.is_empty()).then(|| format!("{family} {}", figures.join(", ")))
    };
    let days = learned.days().map(|days| format!("pays after {}", in_days(days.mean)));
    learned.families().filter_map(family).chain(days).collect::<Vec<_>>().join(" · ")
}

/// A figure that was learned.
struct Figure {
    label: &'static str,
    expected: String,
    between: String,
    settled: String,
    drawing: Interval,
}

struct FamilyFigures {
    name: String,
    figures: Vec<Figure>,
}

/// A settlement and what had been expected of it.
struct Line {
    day: String,
    expected: String,
    between: String,
    paid: String,
    fell_inside: bool,
}

#[derive(Template)]
#[template(path = "track/show.html")]
struct TrackPage {
    page: Page,
    outlet: Outlet,
    learns: bool,
    settled: String,
    told: usize,
    inside: usize,
    chart: Option<ToldChart>,
    families: Vec<FamilyFigures>,
    days: Option<Figure>,
    lines: Vec<Line>,
    /// Of how many earlier shipments and payments the terms count as.
    strength: String,
    payments: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
) -> Result<Response, Failure> {
    let outlet = app.store.outlet(&visitor.shop.id, &outlet).await?;
    let history = history(&app, &visitor).await?;
    let priced = bare(&outlet);
    let track = history.track(&priced);
    let learned = history.learned(&priced);
    let terms = &outlet.details.terms;
    let families = learned.iter().flat_map(|learned| learned.families()).map(|(family, expected)| {
        let weight = expected.paid_weight.map(|weight| weight_figure(family, &weight, terms));
        let lower = expected.downgraded.map(|chance| downgrade_figure(family, &chance, expected.drop, terms));
        FamilyFigures {
            name: capitalised(family.as_str()),
            figures: weight.into_iter().chain(lower).collect(),
        }
    });
    let days = learned.as_ref().and_then(|learned| learned.days()).map(|days| days_figure(&days, terms));
    let currency = outlet.details.currency;
    let lines = track.told.iter().rev().map(|told| Line {
        day: day(told.left),
        expected: money(told.expected, currency),
        between: format!("{} to {}", money(told.range.low, currency), money(told.range.high, currency)),
        paid: money(told.paid, currency),
        fell_inside: told.fell_inside(),
    });
    html(&TrackPage {
        page: visitor.page(Screen::Outlets, format!("Track record of {}", outlet.details.name)),
        learns: app.store.learns(&visitor.shop.id).await?,
        settled: settled_in_words(&track, &outlet),
        told: track.told.len(),
        inside: track.inside(),
        chart: ToldChart::new(&track, &outlet.details.name, currency),
        families: families.collect(),
        days,
        lines: lines.collect(),
        strength: in_words(Strength::STANDARD.for_one_family()),
        payments: in_words(f64::from(PAYMENTS)),
        outlet,
    })
}

fn weight_figure(family: &Family, weight: &Estimate, terms: &Terms) -> Figure {
    let label = "Their scale finds of ours";
    let what = format!("{family}, their scale finds of ours");
    Figure {
        label,
        expected: percent(weight.mean),
        between: between(weight, percent),
        settled: settlements(weight),
        drawing: Interval::new(format!("{family}-weight"), &what, weight, terms.paid_weight.get(), percent),
    }
}

fn downgrade_figure(family: &Family, chance: &Estimate, drop: Decimal, terms: &Terms) -> Figure {
    let what = format!("{family}, loads set to a lower grade");
    let losing = if drop.is_zero() { String::new() } else { format!(", each losing {}", percent(drop)) };
    Figure {
        label: "Loads set to a lower grade",
        expected: format!("{}{losing}", percent(chance.mean)),
        between: between(chance, percent),
        settled: settlements(chance),
        drawing: Interval::new(
            format!("{family}-downgrades"),
            &what,
            chance,
            terms.downgrade_chance.get(),
            percent,
        ),
    }
}

fn days_figure(days: &Estimate, terms: &Terms) -> Figure {
    let label = "From our door to their money";
    Figure {
        label,
        expected: in_days(days.mean),
        between: between(days, in_days),
        settled: settlements(days),
        drawing: Interval::new("days".into(), label, days, Decimal::from(terms.days_to_pay), in_days),
    }
}

fn between(estimate: &Estimate, show: impl Fn(Decimal) -> String) -> String {
    format!("{} to {}", show(estimate.low), show(estimate.high))
}

fn settlements(estimate: &Estimate) -> String {
    counted(estimate.settlements, "settlement", "settlements")
}

fn percent(ratio: Decimal) -> String {
    super::page::percent(ratio, 1)
}

fn in_days(days: Decimal) -> String {
    super::page::unbroken(&counted(days.round().normalize(), "day", "days"))
}

/// Small whole numbers as a sentence has them.
fn in_words(number: f64) -> String {
    const WORDS: [&str; 10] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    let near = WORDS.iter().zip(0_i32..).find(|(_, whole)| (number - f64::from(*whole)).abs() < 0.05);
    near.map_or_else(|| format!("{number:.1}"), |(word, _)| (*word).to_string())
}

fn capitalised(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Lets the plan go by settlements, or by the terms alone.
pub async fn choose(State(app): State<App>, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let learns = match form.value("go_by") {
        "settlements" => true,
        "terms" => false,
        _ => return Err(Failure::cut_short()),
    };
    app.store.let_learn(&visitor.by(), learns).await?;
    Ok(Redirect::to("/outlets/record").into_response())
}
