//! One teardown as it stands, and the list of all.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use rust_decimal::Decimal;
use trade::ids::{GradeId, PartId};
use trade::mass::Mass;
use trade::reading::Meaning;
use trade::teardown::{Balance, Deed, EntryKind, Piece, Progress, Tree};

use super::finish::outcome;
use crate::catalogue::kinds::{CatalogueKind, Caution, kind as kind_of};
use crate::store::lots::{Lot, LotState};
use crate::store::new_id;
use crate::store::teardowns::{ExpectedStep, LogEntry, Outcome, Teardown, TeardownState};
use crate::web::App;
use crate::web::bench::{Bench, is_of_part, minutes};
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

/// What is wrong with something that was sent from the page.
pub struct Trouble {
    pub field: &'static str,
    pub form: Form,
    pub why: String,
    pub meanings: Vec<Meaning>,
}

/// A part that can come off, with what was weighed of it so far.
struct PartRow {
    part: PartId,
    /// What is left of the unit, when its parts are off.
    is_rest: bool,
    name: String,
    count: u32,
    pays: bool,
    /// What has to come off first: a part beside it, or the one that it is in.
    behind: Option<String>,
    minutes: String,
    gain: Decimal,
    grade: Option<(GradeId, String)>,
    mass: Mass,
    sold_each: bool,
    fasteners: String,
    kept_back: bool,
    /// What is in it still that ought to be kept back before it goes.
    keep_first: Vec<String>,
    /// Whether some sheet prices its grade.
    is_priced: bool,
    cautions: Vec<&'static Caution>,
    lots: Vec<Lot>,
    weighed: Vec<WeighedRow>,
    total: Mass,
    is_twice: bool,
}

struct WeighedRow {
    weighing: String,
    label: String,
    mass: Mass,
}

/// Another entry that can be taken back.
struct OtherRow {
    id: String,
    words: String,
    who: String,
    at: String,
}

#[derive(Template)]
#[template(path = "teardowns/show.html")]
struct TeardownPage {
    page: Page,
    visitor: Visitor,
    teardown: Teardown,
    /// The kind as the library has it now.
    kind: Option<&'static CatalogueKind>,
    progress: Progress,
    balance: Balance,
    minutes: String,
    /// Since when the timer has surely been forgotten.
    forgotten: Option<String>,
    rows: Vec<PartRow>,
    rest: PartRow,
    others: Vec<OtherRow>,
    so_far: Outcome,
    trouble: Option<Trouble>,
    ids: Ids,
}

/// Ids that the page's forms carry, so that each counts once.
struct Ids {
    timer: String,
    whole: String,
    waste: String,
}

impl TeardownPage {
    fn is_open(&self) -> bool {
        self.teardown.state == TeardownState::Open
    }

    fn is_finished(&self) -> bool {
        matches!(self.teardown.state, TeardownState::Finished { .. })
    }

    fn trouble_with(&self, field: &str) -> Option<&Trouble> {
        self.trouble.as_ref().filter(|trouble| trouble.field == field)
    }

    fn typed(&self, field: &str) -> &str {
        self.trouble_with(field).map_or("", |trouble| trouble.form.value("reading"))
    }

    fn problem(&self, field: &str, name: &str) -> Option<&str> {
        self.trouble_with(field).and_then(|trouble| trouble.form.problem(name))
    }
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(teardown): Path<String>,
) -> Result<Response, Failure> {
    page_with(&app, visitor, &teardown, None).await
}

/// The page, with what was wrong where something was.
pub async fn page_with(
    app: &App,
    visitor: Visitor,
    id: &str,
    trouble: Option<Trouble>,
) -> Result<Response, Failure> {
    let teardown = app.store.teardown(&visitor.shop.id, id).await?;
    let log = app.store.teardown_log(&visitor.shop.id, id).await?;
    let entries: Vec<_> =
        log.iter().filter(|entry| !entry.is_taken_back).map(|entry| entry.entry.clone()).collect();
    let progress = Progress::of(&entries);
    let bench = Bench::load(app, &visitor).await?;
    let so_far = outcome(&teardown, &log, visitor.now, &bench.nets);
    let mut lots = app.store.open_lots(&visitor.shop.id).await?;
    lots.retain(|lot| lot.state == LotState::Open && !lot.grade_retired);
    let kind = kind_of(&teardown.kind_id);
    let rows = rows(&teardown, kind, &log, &progress, &lots, &bench);
    let unit = teardown.expected.tree.unit();
    let rest = PartRow {
        name: "The rest of it".into(),
        lots,
        ..row_of(&teardown, kind, &unit.id, &log, &progress, &bench)
    };
    let page = visitor.page(Screen::Bench, teardown.kind_name.clone());
    html(&TeardownPage {
        page,
        kind,
        balance: progress.balance(),
        minutes: minutes(progress.minutes(visitor.now)),
        forgotten: progress.forgotten(visitor.now).map(|since| visitor.moment(since)),
        rows,
        rest,
        others: others(&log, &visitor),
        so_far,
        trouble,
        ids: Ids { timer: new_id(), whole: new_id(), waste: new_id() },
        teardown,
        progress,
        visitor,
    })
}

/// The parts in the order of the steps.
fn rows(
    teardown: &Teardown,
    kind: Option<&CatalogueKind>,
    log: &[LogEntry],
    progress: &Progress,
    lots: &[Lot],
    bench: &Bench,
) -> Vec<PartRow> {
    let of_grade = |row: PartRow| {
        let is_of_it = |lot: &&Lot| row.grade.as_ref().is_some_and(|(grade, _)| lot.grade_id == *grade);
        PartRow { lots: lots.iter().filter(is_of_it).cloned().collect(), ..row }
    };
    let steps = teardown.expected.steps.iter().filter(|step| step.deed != Deed::Open);
    let row = |step: &ExpectedStep| {
        let row = row_of(teardown, kind, &step.part, log, progress, bench);
        of_grade(PartRow { pays: step.pays, minutes: minutes(step.minutes), gain: step.gain, ..row })
    };
    // What is small and precious may be in a part that is not worth opening: it can be weighed in all the same.
    let pieces = teardown.expected.tree.pieces().iter();
    let precious = pieces
        .filter(|piece| kind.and_then(|kind| kind.note(&piece.id)).is_some_and(|note| note.kept_back))
        .filter(|piece| teardown.expected.steps.iter().all(|step| step.part != piece.id))
        .map(|piece| of_grade(row_of(teardown, kind, &piece.id, log, progress, bench)));
    steps.map(row).chain(precious).collect()
}

fn row_of(
    teardown: &Teardown,
    kind: Option<&CatalogueKind>,
    part: &PartId,
    log: &[LogEntry],
    progress: &Progress,
    bench: &Bench,
) -> PartRow {
    let tree = &teardown.expected.tree;
    let (at, piece) = tree.piece(part).unwrap_or((0, tree.unit()));
    let note = kind.and_then(|kind| kind.note(part));
    let weighed = log.iter().filter(|entry| !entry.is_taken_back && is_of_part(&entry.entry, part));
    let weighed = weighed.filter_map(|entry| {
        let weighing = entry.weighing.as_ref()?;
        let EntryKind::Part { mass, .. } = entry.entry.kind else { return None };
        Some(WeighedRow { weighing: weighing.id.clone(), label: weighing.container_label.clone(), mass })
    });
    let total = progress.parts.get(part).copied().unwrap_or_default();
    let behind = tree.behind(at).or(tree.within(at)).filter(|before| *before > 0);
    let all = Decimal::from(tree.in_unit(at));
    PartRow {
        part: part.clone(),
        is_rest: at == 0,
        name: piece.name.clone(),
        count: tree.in_unit(at),
        pays: false,
        behind: behind.map(|before| tree.pieces()[before].name.clone()),
        minutes: minutes(piece.minutes * all),
        gain: Decimal::ZERO,
        grade: piece.grade.as_ref().map(|grade| (grade.clone(), bench.grade_name(grade))),
        mass: piece.mass.times(all),
        sold_each: matches!(
            piece.grade.as_ref().and_then(|grade| bench.nets.get(grade)),
            Some(trade::teardown::Net::PerPiece(_))
        ),
        fasteners: note.map(|note| note.fasteners.clone()).unwrap_or_default(),
        kept_back: note.is_some_and(|note| note.kept_back),
        keep_first: keep_first(tree, kind, progress, at),
        is_priced: piece.grade.as_ref().is_none_or(|grade| bench.nets.contains_key(grade)),
        cautions: note.map(|note| note.cautions.clone()).unwrap_or_default(),
        lots: Vec::new(),
        weighed: weighed.collect(),
        total: total.mass,
        // Of one that there is once, a second weighing is a slip, unless there was another one after all.
        is_twice: total.times > tree.in_unit(at) && at > 0,
    }
}

/// What is small and precious and still in a piece: it would leave with it.
pub fn keep_first(tree: &Tree, kind: Option<&CatalogueKind>, progress: &Progress, at: usize) -> Vec<String> {
    let kept = |piece: &Piece| {
        kind.and_then(|kind| kind.note(&piece.id)).is_some_and(|note| note.kept_back).then(|| {
            let count = tree.piece(&piece.id).map_or(1, |(place, _)| tree.in_unit(place));
            if count == 1 { piece.name.clone() } else { format!("{count} × {}", piece.name) }
        })
    };
    progress.still_in(tree, at).into_iter().filter_map(|inside| kept(&tree.pieces()[inside])).collect()
}

/// What stands in the log besides the parts, the newest first.
fn others(log: &[LogEntry], visitor: &Visitor) -> Vec<OtherRow> {
    let words = |entry: &LogEntry| {
        Some(match &entry.entry.kind {
            EntryKind::Whole { mass } => format!("weighed whole: {}", visitor.mass(*mass)),
            EntryKind::Waste { mass } => format!("waste: {}", visitor.mass(*mass)),
            EntryKind::Start => "timer started".to_string(),
            EntryKind::Stop => "timer stopped".to_string(),
            EntryKind::Seen | EntryKind::Part { .. } => return None,
        })
    };
    let standing = log.iter().rev().filter(|entry| !entry.is_taken_back);
    let row = |entry: &LogEntry| {
        Some(OtherRow {
            id: entry.id.clone(),
            words: words(entry)?,
            who: entry.partner_name.clone(),
            at: visitor.moment(entry.entry.at),
        })
    };
    standing.filter_map(row).collect()
}

struct Finished {
    teardown: Teardown,
    outcome: Outcome,
    minutes: String,
    expected_minutes: String,
    on: String,
}

#[derive(Template)]
#[template(path = "teardowns/index.html")]
struct TeardownsPage {
    page: Page,
    visitor: Visitor,
    open: Vec<(Teardown, String)>,
    finished: Vec<Finished>,
    /// By kind: how many, and what they brought more than was expected.
    kinds: Vec<(String, usize, Decimal)>,
}

/// All of them.
pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let open = app.store.open_teardowns(&visitor.shop.id).await?;
    let open = open.into_iter().map(|teardown| {
        let since = visitor.ago(visitor.day_of(teardown.started_at));
        (teardown, since)
    });
    let finished: Vec<Finished> = app
        .store
        .finished_teardowns(&visitor.shop.id)
        .await?
        .into_iter()
        .filter_map(|teardown| {
            let TeardownState::Finished { at, outcome } = teardown.state.clone() else { return None };
            Some(Finished {
                minutes: minutes(outcome.minutes),
                expected_minutes: minutes(teardown.expected.minutes),
                on: visitor.day(visitor.day_of(at)),
                outcome,
                teardown,
            })
        })
        .collect();
    let mut kinds: BTreeMap<&str, (usize, Decimal)> = BTreeMap::new();
    for done in &finished {
        let sum = kinds.entry(&done.teardown.kind_name).or_default();
        sum.0 += 1;
        sum.1 += done.outcome.left() - done.teardown.expected.value;
    }
    let kinds = kinds.into_iter().map(|(name, (n, more))| (name.to_string(), n, more)).collect();
    let page = visitor.page(Screen::Bench, "Teardowns");
    html(&TeardownsPage { page, open: open.collect(), finished, kinds, visitor })
}
