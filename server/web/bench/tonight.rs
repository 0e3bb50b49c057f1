//! Tonight: so many minutes and a pile of units. Which to open, and in what order?

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use rust_decimal::{Decimal, dec};
use trade::teardown::{Depth, Evening, Opened, Pile, evening};

use super::{Bench, asked, labour_rate, minutes};
use crate::catalogue::kinds::{CatalogueKind, KINDS};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

/// The most of one kind in a pile.
const MOST_OF_A_KIND: u32 = 999;
/// A day and a night.
const LONGEST: Decimal = dec!(1440);
/// An evening, where nothing else is said.
const USUAL: &str = "120";

struct Row {
    kind: &'static CatalogueKind,
    count: u32,
    minutes: String,
    gain: Decimal,
    per_hour: Option<Decimal>,
}

struct Family {
    name: &'static str,
    kinds: Vec<&'static CatalogueKind>,
    /// Whether something of it is in the pile.
    is_open: bool,
}

struct Planned {
    rows: Vec<Row>,
    whole: Vec<Row>,
    gain: Decimal,
    minutes: String,
    per_hour: Option<Decimal>,
    bound: Option<Decimal>,
}

#[derive(Template)]
#[template(path = "bench/tonight.html")]
struct TonightPage {
    page: Page,
    visitor: Visitor,
    form: Form,
    families: Vec<Family>,
    planned: Option<Planned>,
}

impl TonightPage {
    fn home(&self) -> &'static str {
        self.visitor.home().code()
    }
}

/// The field of a kind in the form.
fn field(kind: &CatalogueKind) -> String {
    format!("n-{}", kind.id)
}

pub async fn tonight(
    State(app): State<App>,
    visitor: Visitor,
    Query(values): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let is_asked = values.iter().any(|(name, value)| name.starts_with("n-") && !value.trim().is_empty());
    let mut form = asked(values);
    if !form.has("minutes") {
        form.set("minutes", USUAL);
    }
    let rate = labour_rate(&mut form, &visitor);
    let time = form.decimal("minutes", Decimal::ZERO, LONGEST);
    let mut pile: Vec<(&'static CatalogueKind, u32)> = Vec::new();
    for kind in KINDS.iter() {
        if let Some(count) = form.count(&field(kind), MOST_OF_A_KIND).filter(|count| *count > 0) {
            pile.push((kind, count));
        }
    }
    let mut families: Vec<Family> = Vec::new();
    for kind in KINDS.iter() {
        let is_open =
            form.problem(&field(kind)).is_some() || pile.iter().any(|(there, _)| there.id == kind.id);
        match families.last_mut().filter(|family| family.name == kind.family) {
            Some(family) => {
                family.kinds.push(kind);
                family.is_open |= is_open;
            }
            None => families.push(Family { name: &kind.family, kinds: vec![kind], is_open }),
        }
    }
    let planned = match time.filter(|_| form.is_good() && is_asked) {
        Some(time) => {
            let bench = Bench::load(&app, &visitor).await?;
            planned(&bench, &pile, time, rate, &mut form)
        }
        None => None,
    };
    let page = visitor.page(Screen::Bench, "Tonight");
    html(&TonightPage { page, visitor, form, families, planned })
}

fn planned(
    bench: &Bench,
    pile: &[(&'static CatalogueKind, u32)],
    time: Decimal,
    rate: Decimal,
    form: &mut Form,
) -> Option<Planned> {
    let depths: Vec<Depth> =
        pile.iter().map(|(kind, _)| bench.depth(&bench.learned(kind).tree, rate)).collect();
    let piles: Vec<Pile> = pile
        .iter()
        .zip(&depths)
        .map(|((_, count), depth)| Pile {
            count: *count,
            minutes: depth.minutes(),
            gain: depth.gain(),
            labour: depth.labour(),
        })
        .collect();
    let found: Evening = match evening(&piles, time) {
        Ok(found) => found,
        Err(problem) => {
            form.refuse("form", format!("{problem}."));
            return None;
        }
    };
    let row = |opened: &Opened| Row {
        kind: pile[opened.pile].0,
        count: opened.count,
        minutes: minutes(piles[opened.pile].minutes * Decimal::from(opened.count)),
        gain: piles[opened.pile].gain * Decimal::from(opened.count),
        per_hour: depths[opened.pile].per_hour(),
    };
    let earned = (found.gain + found.labour) * dec!(60);
    Some(Planned {
        rows: found.opened.iter().map(row).collect(),
        whole: found.whole.iter().map(row).collect(),
        gain: found.gain,
        per_hour: earned.checked_div(found.minutes),
        minutes: minutes(found.minutes),
        bound: found.bound,
    })
}
