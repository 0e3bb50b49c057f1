//! One kind: its cautions, whether it is worth opening, and how far; and the same on a card for the bench.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::ids::{KindId, PartId};
use trade::teardown::{COUNTS_AS, Deed, Depth, Estimate, LearnedKind, Step, Tree};

use super::curve::Curve;
use super::{Bench, PricedGrade, asked, labour_rate, minutes};
use crate::catalogue::kinds::{CatalogueKind, Caution, grades_of, kind as kind_of};
use crate::store::new_id;
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, percent};

/// A step as it is shown.
pub struct ShownStep {
    pub part: PartId,
    pub name: String,
    pub count: u32,
    pub deed: &'static str,
    pub gain: Decimal,
    pub minutes: String,
    pub per_hour: Option<Decimal>,
    pub so_far: Decimal,
    pub grade: Option<PricedGrade>,
    /// What it counts as while it is left on.
    pub stays_on: Option<String>,
    pub mass: String,
    pub tools: String,
    pub fasteners: String,
    pub kept_back: bool,
    pub cautions: Vec<&'static Caution>,
    /// From how many teardowns its mass is known, and between which masses it lies four times in five.
    pub learned: Option<String>,
}

/// The figures of a kind at a labour rate.
pub struct Figures {
    pub depth: Depth,
    pub minutes: String,
    pub per_hour: Option<Decimal>,
    pub labour: Decimal,
    pub curve: Option<Curve>,
    pub pays: Vec<ShownStep>,
    pub left_on: Vec<ShownStep>,
    pub nets: Vec<PricedGrade>,
    /// Names of grades that nobody prices.
    pub unpriced: Vec<String>,
    pub learned: String,
}

impl Figures {
    pub fn new(
        bench: &Bench,
        kind: &CatalogueKind,
        learned: &LearnedKind,
        rate: Decimal,
        visitor: &Visitor,
    ) -> Figures {
        let tree = &learned.tree;
        let depth = bench.depth(tree, rate);
        let shown: Vec<ShownStep> =
            depth.steps.iter().map(|step| shown_step(bench, kind, learned, step, visitor)).collect();
        let mut pays = shown;
        let left_on = pays.split_off(depth.stop);
        let named = |grade| bench.grade_name(grade);
        Figures {
            minutes: minutes(depth.minutes()),
            per_hour: depth.per_hour(),
            labour: depth.labour(),
            curve: Curve::new(tree, &depth, visitor.home()),
            pays,
            left_on,
            nets: grades_of(tree)
                .into_iter()
                .map(|grade| bench.priced(grade, visitor))
                .filter(|g| g.net.is_some())
                .collect(),
            unpriced: grades_of(tree)
                .into_iter()
                .filter(|grade| depth.unpriced.contains(*grade))
                .map(named)
                .collect(),
            learned: learned_in_words(learned),
            depth,
        }
    }

    pub fn opened(&self) -> Decimal {
        self.depth.opened.unwrap_or_default()
    }
}

fn learned_in_words(learned: &LearnedKind) -> String {
    if learned.n == 0 {
        return "Masses and minutes are our estimate until you have taken some apart.".into();
    }
    let times = crate::web::page::counted(learned.n, "teardown", "teardowns");
    let pace = learned.pace.as_ref().map_or_else(String::new, |pace| {
        format!(
            " You take {} of the estimated minutes, 80\u{a0}% between {} and {}.",
            percent(pace.mean, 0),
            percent(pace.low, 0),
            percent(pace.high, 0)
        )
    });
    format!(
        "Learned from {times} of yours; the estimate before them counts as {}.{pace}",
        COUNTS_AS.normalize()
    )
}

fn shown_step(
    bench: &Bench,
    kind: &CatalogueKind,
    learned: &LearnedKind,
    step: &Step,
    visitor: &Visitor,
) -> ShownStep {
    let tree: &Tree = &learned.tree;
    let piece = &tree.pieces()[step.piece];
    let note = kind.note(&piece.id);
    let mass = |grams: Decimal| visitor.mass(trade::mass::Mass::from_grams(grams));
    let told = |estimate: &Estimate| {
        format!(
            "{} weighed, 80 % between {} and {}",
            estimate.n,
            mass(estimate.low.max(Decimal::ZERO)),
            mass(estimate.high)
        )
    };
    ShownStep {
        part: piece.id.clone(),
        name: piece.name.clone(),
        count: step.count,
        deed: match step.deed {
            Deed::Open => "Open it",
            Deed::TakeOff => "",
            Deed::TakeOffAndOpen => "and open it",
        },
        gain: step.gain,
        minutes: minutes(step.minutes),
        per_hour: step.per_hour(),
        so_far: step.gain_so_far,
        grade: piece
            .grade
            .as_ref()
            .filter(|_| step.deed == Deed::TakeOff)
            .map(|grade| bench.priced(grade, visitor)),
        stays_on: tree.stays_on(step.piece).filter(|_| step.piece > 0).map(|grade| {
            if bench.shelf.grades.contains_key(grade) { bench.grade_name(grade) } else { "waste".into() }
        }),
        mass: visitor.mass(piece.mass),
        tools: note.map(|note| note.tools.clone()).unwrap_or_default(),
        fasteners: note.map(|note| note.fasteners.clone()).unwrap_or_default(),
        kept_back: note.is_some_and(|note| note.kept_back),
        cautions: note.map(|note| note.cautions.clone()).unwrap_or_default(),
        learned: learned.masses.get(&step.piece).map(told),
    }
}

#[derive(Template)]
#[template(path = "bench/kind.html")]
struct KindPage {
    page: Page,
    visitor: Visitor,
    kind: &'static CatalogueKind,
    form: Form,
    start: Form,
    figures: Figures,
    is_current: bool,
    /// The page of each kind that it is confused with, its name and how to tell.
    confused_with: Vec<(KindId, String, String)>,
}

impl KindPage {
    fn home(&self) -> &'static str {
        self.visitor.home().code()
    }
}

/// The kind with this id; an id that it had before leads to it.
pub fn find(id: &str) -> Result<Result<&'static CatalogueKind, Response>, Failure> {
    let kind = kind_of(&KindId::new(id)).ok_or_else(|| Failure::missing("kind"))?;
    if kind.id.as_str() == id {
        return Ok(Ok(kind));
    }
    Ok(Err(Redirect::to(&format!("/bench/{}", kind.id)).into_response()))
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(kind): Path<String>,
    Query(values): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    match find(&kind)? {
        Ok(kind) => kind_page(&app, visitor, kind, asked(values), None).await,
        Err(elsewhere) => Ok(elsewhere),
    }
}

/// The page of a kind; `start` is the form to begin a teardown with, where it was sent with something wrong.
pub async fn kind_page(
    app: &App,
    visitor: Visitor,
    kind: &'static CatalogueKind,
    mut form: Form,
    start: Option<Form>,
) -> Result<Response, Failure> {
    let bench = Bench::load(app, &visitor).await?;
    let rate = labour_rate(&mut form, &visitor);
    let figures = Figures::new(&bench, kind, &bench.learned(kind), rate, &visitor);
    let confused_with = kind.confused_with.iter().filter_map(|other| {
        let name = kind_of(&other.kind)?.name.clone();
        Some((other.kind.clone(), name, other.how.clone()))
    });
    let page = visitor.page(Screen::Bench, kind.name.clone());
    html(&KindPage {
        page,
        kind,
        form,
        start: start.unwrap_or_else(|| Form::filled([("id", new_id())])),
        figures,
        is_current: bench.is_current,
        confused_with: confused_with.collect(),
        visitor,
    })
}

#[derive(Template)]
#[template(path = "bench/card.html")]
struct CardPage {
    page: Page,
    visitor: Visitor,
    kind: &'static CatalogueKind,
    figures: Figures,
}

/// The cautions and the steps on a sheet of paper.
pub async fn card(
    State(app): State<App>,
    visitor: Visitor,
    Path(kind): Path<String>,
) -> Result<Response, Failure> {
    let kind = match find(&kind)? {
        Ok(kind) => kind,
        Err(elsewhere) => return Ok(elsewhere),
    };
    let bench = Bench::load(&app, &visitor).await?;
    let rate = visitor.shop.costs.labour_per_hour;
    let figures = Figures::new(&bench, kind, &bench.learned(kind), rate, &visitor);
    let page = visitor.page(Screen::Bench, format!("Bench card: {}", kind.name));
    html(&CardPage { page, visitor, kind, figures })
}
