//! Tonight: so many minutes and a pile of units. Which to open, how far, and in what order?

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use rust_decimal::{Decimal, dec};
use trade::teardown::{Deed, Evening, LearnedKind, Left, Opened, Pile, Way, evening, ways};

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
    /// What is done in each, where there is not the time for all that pays.
    only: Option<String>,
}

struct Family {
    name: &'static str,
    kinds: Vec<&'static CatalogueKind>,
    /// Whether something of it is in the pile.
    is_open: bool,
}

struct Planned {
    rows: Vec<Row>,
    whole: Vec<(&'static CatalogueKind, u32)>,
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
    let is_asked = values.iter().any(|(name, _)| name.starts_with("n-"));
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
    if is_asked && form.is_good() && pile.is_empty() {
        form.refuse(
            "form",
            "There is nothing in the pile yet. Open a family and say how many there are of a kind.",
        );
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
    let learned: Vec<LearnedKind> = pile.iter().map(|(kind, _)| bench.learned(kind)).collect();
    let piles: Vec<Pile> = pile
        .iter()
        .zip(&learned)
        .map(|((_, count), learned)| Pile { count: *count, ways: ways(&learned.tree, &bench.nets, rate) })
        .collect();
    let found: Evening = match evening(&piles, time) {
        Ok(found) => found,
        Err(problem) => {
            form.refuse("form", format!("{problem}."));
            return None;
        }
    };
    let row = |opened: &Opened| {
        let ways = &piles[opened.pile].ways.ways;
        let (way, count) = (&ways[opened.way], Decimal::from(opened.count));
        Row {
            kind: pile[opened.pile].0,
            count: opened.count,
            minutes: minutes(way.minutes * count),
            gain: way.gain * count,
            per_hour: way.per_hour(),
            only: (opened.way + 1 < ways.len()).then(|| in_words(way, &learned[opened.pile])),
        }
    };
    let left = |left: &Left| (pile[left.pile].0, left.count);
    let earned = (found.gain + found.labour) * dec!(60);
    Some(Planned {
        rows: found.opened.iter().map(row).collect(),
        whole: found.whole.iter().map(left).collect(),
        gain: found.gain,
        per_hour: earned.checked_div(found.minutes),
        minutes: minutes(found.minutes),
        bound: found.bound,
    })
}

/// What is done in a unit, part by part.
fn in_words(way: &Way, learned: &LearnedKind) -> String {
    let part = |(piece, deed): &(usize, Deed)| {
        let name = &learned.tree.pieces()[*piece].name;
        match deed {
            Deed::TakeOffAndOpen => format!("{name} (and open it)"),
            Deed::TakeOff | Deed::Open => name.clone(),
        }
    };
    way.done.iter().map(part).collect::<Vec<_>>().join(", ")
}
