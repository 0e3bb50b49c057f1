//! The bench: open it, or sell it whole, and how far? The kinds, one kind, two beside each other, and an evening.

mod compare;
mod curve;
mod kind;
mod tonight;

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use rust_decimal::{Decimal, dec};
use serde::Deserialize;
use trade::ids::{GradeId, KindId, PartId};
use trade::mass::Mass;
use trade::teardown::{
    Balance, Depth, Entry, EntryKind, Finished, LearnedKind, Net, Nets, Progress, Tree, depth, learn,
};

pub use compare::compare;
pub use kind::{card, find, kind_page, show};
pub use tonight::tonight;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Folds, Page, Screen, Value, Visitor, html, unbroken};
use crate::catalogue::kinds::{CatalogueKind, KINDS, kind as kind_of};
use crate::shelf::{GradeNets, Known, Shelf};
use crate::store::StoreError;
use crate::store::teardowns::Teardown;

/// The most that an hour may be said to be worth.
const MOST_AN_HOUR: Decimal = dec!(1000);

/// What the bench knows of a shop at one moment.
pub struct Bench {
    pub shelf: Arc<Shelf>,
    priced: GradeNets,
    pub nets: Nets,
    /// Whether the sell plan is of the shelf as it stands.
    pub is_current: bool,
    finished: BTreeMap<KindId, Vec<Finished>>,
}

impl Bench {
    /// While the sell plan is worked out, by the last one; where there is none yet, by what a bag of each grade on its own
    /// brings. Open pages are told when it is there.
    pub async fn load(app: &App, visitor: &Visitor) -> Result<Bench, Failure> {
        let now = app.shelf(visitor).await?;
        let answer = app.answer_soon(&now, &visitor.shop.id).await;
        let is_current = answer.is_some();
        let (shelf, answer) = match (answer, app.answers.last(&visitor.shop.id, &now)) {
            (Some(answer), _) => (now, Some(answer)),
            (None, Some(Known { shelf, answer })) => (shelf, Some(answer)),
            (None, None) => (now, None),
        };
        // Every grade at every outlet: too much to be done between two requests.
        let of_shelf = Arc::clone(&shelf);
        let work = tokio::task::spawn_blocking(move || match answer {
            Some(answer) => of_shelf.nets(&answer).clone(),
            None => of_shelf.nets_of_bags(),
        });
        let priced = work.await.unwrap_or_else(|broken| std::panic::resume_unwind(broken.into_panic()));
        let nets = priced.nets();
        let finished = finished(app, visitor).await?;
        Ok(Bench { shelf, priced, nets, is_current, finished })
    }

    /// The kind with what the shop's own teardowns teach.
    pub fn learned(&self, kind: &CatalogueKind) -> LearnedKind {
        let ids = || std::iter::once(&kind.id).chain(&kind.formerly);
        let done: Vec<Finished> = ids().filter_map(|id| self.finished.get(id)).flatten().cloned().collect();
        learn(&kind.tree, &done)
    }

    pub fn depth(&self, tree: &Tree, labour_per_hour: Decimal) -> Depth {
        depth(tree, &self.nets, labour_per_hour)
    }

    pub fn grade_name(&self, grade: &GradeId) -> String {
        self.shelf.grade_name(grade)
    }

    /// A grade with its net, and where that comes from.
    pub fn priced(&self, grade: &GradeId, visitor: &Visitor) -> PricedGrade {
        let found = self.priced.get(grade);
        PricedGrade {
            grade: grade.clone(),
            name: self.grade_name(grade),
            net: found.map(|found| net_in_words(found.net, visitor)),
            source: found.map(|found| self.shelf.net_in_words(&found.source)).unwrap_or_default(),
        }
    }
}

/// A grade with what it brings.
pub struct PricedGrade {
    pub grade: GradeId,
    pub name: String,
    pub net: Option<String>,
    pub source: String,
}

fn net_in_words(net: Net, visitor: &Visitor) -> String {
    match net {
        Net::PerGram(amount) => visitor.per_unit(amount * visitor.style().unit().grams()),
        Net::PerPiece(amount) => unbroken(&format!("{} each", visitor.money(amount))),
    }
}

/// What every finished teardown teaches, by kind.
async fn finished(app: &App, visitor: &Visitor) -> Result<BTreeMap<KindId, Vec<Finished>>, StoreError> {
    let mut logs: BTreeMap<String, Vec<Entry>> = BTreeMap::new();
    for (teardown, entry) in app.store.finished_logs(&visitor.shop.id).await? {
        logs.entry(teardown).or_default().push(entry);
    }
    let mut finished: BTreeMap<KindId, Vec<Finished>> = BTreeMap::new();
    for teardown in app.store.finished_teardowns(&visitor.shop.id).await? {
        let log = logs.remove(&teardown.id).unwrap_or_default();
        let Some(kind) = kind_of(&teardown.kind_id) else { continue };
        if let Some(done) = teaches(&kind.tree, &log) {
            finished.entry(teardown.kind_id.clone()).or_default().push(done);
        }
    }
    Ok(finished)
}

/// What a finished log teaches of a kind: nothing where the parts were heavier than the whole, because one of its readings
/// is wrong.
fn teaches(library: &Tree, log: &[Entry]) -> Option<Finished> {
    let progress = Progress::of(log);
    if let Balance::Heavier(_) = progress.balance() {
        return None;
    }
    let mut done = Finished { whole: progress.whole, ..Finished::default() };
    for (part, weighed) in &progress.parts {
        let Some((at, piece)) = library.piece(part).filter(|(at, _)| *at > 0) else { continue };
        let pieces = if weighed.pieces > 0 { weighed.pieces } else { library.in_unit(at) };
        done.parts
            .insert(part.clone(), Mass::from_grams(weighed.mass.grams() / Decimal::from(pieces.max(1))));
        done.library_minutes += piece.minutes * Decimal::from(library.in_unit(at));
    }
    let last = log.iter().map(|entry| entry.at).max()?;
    done.minutes = progress.minutes(last);
    Some(done)
}

/// The labour rate that is asked with: the shop's own, or one that was chosen on the page.
pub fn labour_rate(form: &mut Form, visitor: &Visitor) -> Decimal {
    let own = visitor.shop.costs.labour_per_hour;
    if form.value("rate").trim().is_empty() {
        form.set("rate", own.normalize().to_string());
        return own;
    }
    form.decimal("rate", Decimal::ZERO, MOST_AN_HOUR).unwrap_or(own)
}

/// A form filled in from an address.
pub fn asked(values: Vec<(String, String)>) -> Form {
    Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())))
}

/// Minutes as a person says them.
pub fn minutes(minutes: impl Value<Decimal>) -> String {
    let minutes = minutes.value();
    let shown = if minutes < dec!(10) { minutes.round_dp(1) } else { minutes.round() };
    unbroken(&format!("{} min", shown.normalize()))
}

/// What one kind comes to, in a line.
pub struct Verdict {
    pub kind: &'static CatalogueKind,
    pub pays: bool,
    pub value: Decimal,
    pub gain: Decimal,
    pub minutes: String,
    pub is_priced: bool,
}

impl Verdict {
    pub fn of(kind: &'static CatalogueKind, depth: &Depth) -> Verdict {
        Verdict {
            kind,
            pays: depth.pays_to_open(),
            value: depth.value(),
            gain: depth.gain(),
            minutes: minutes(depth.minutes()),
            is_priced: !depth.value().is_zero(),
        }
    }
}

#[derive(Deserialize)]
pub struct Find {
    #[serde(default)]
    find: String,
    #[serde(flatten)]
    folds: Folds,
}

struct Family {
    name: &'static str,
    verdicts: Vec<Verdict>,
}

/// A teardown that lies open.
pub struct LiesOpen {
    pub teardown: Teardown,
    pub since: String,
}

#[derive(Template)]
#[template(path = "bench/index.html")]
struct BenchPage {
    page: Page,
    visitor: Visitor,
    find: String,
    families: Vec<Family>,
    all_open: bool,
    open: Vec<LiesOpen>,
    any_finished: bool,
}

/// Which kind is it?
pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(Find { find, folds }): Query<Find>,
) -> Result<Response, Failure> {
    let bench = Bench::load(&app, &visitor).await?;
    let rate = visitor.shop.costs.labour_per_hour;
    let wanted = find.trim().to_lowercase();
    let mut families: Vec<Family> = Vec::new();
    for kind in KINDS.iter().filter(|kind| kind.is_called(&wanted)) {
        let verdict = Verdict::of(kind, &bench.depth(&bench.learned(kind).tree, rate));
        match families.last_mut().filter(|family| family.name == kind.family) {
            Some(family) => family.verdicts.push(verdict),
            None => families.push(Family { name: &kind.family, verdicts: vec![verdict] }),
        }
    }
    let found = families.iter().map(|family| family.verdicts.len()).sum();
    let open = app.store.open_teardowns(&visitor.shop.id).await?;
    let open = open
        .into_iter()
        .map(|teardown| LiesOpen { since: visitor.ago(visitor.day_of(teardown.started_at)), teardown });
    let page = visitor.page(Screen::Bench, "Bench");
    html(&BenchPage {
        page,
        find: find.trim().to_string(),
        families,
        all_open: !wanted.is_empty() || folds.all_open(found),
        open: open.collect(),
        any_finished: !bench.finished.is_empty(),
        visitor,
    })
}

impl CatalogueKind {
    /// Whether it goes by these words, in lower case.
    fn is_called(&self, words: &str) -> bool {
        let names = self.also_called.iter().chain([&self.name, &self.family]);
        names.into_iter().any(|name| name.to_lowercase().contains(words))
    }
}

/// Whether a part was among those of a log.
pub fn is_of_part(entry: &Entry, part: &PartId) -> bool {
    matches!(&entry.kind, EntryKind::Part { part: of, .. } if of == part)
}
