//! Teardowns: a unit on the bench, with everything that was done to it. Entries are only added; a mistake is taken back by
//! one that names it.

mod change;
mod read;

use jiff::Timestamp;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};
use trade::ids::{GradeId, KindId, PartId};
use trade::mass::Mass;
use trade::teardown::{Balance, Deed, Depth, Entry, EntryKind, Nets, Progress, Step, Tree};

pub use change::{
    FromTeardown, NewEntry, NewEntryKind, NewTeardown, add_entry, begin_teardown, finish_teardown,
    weigh_part_in,
};

/// Why something cannot be done to a teardown. The text says what to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TeardownRefusal {
    #[error("This teardown is finished. Open it again first, at its foot.")]
    Finished,
    #[error("This teardown was dropped: nothing more goes on it. What was weighed in is on its bags.")]
    Dropped,
    #[error("The kind has no such part, as it was when this teardown began. Choose one of its parts.")]
    NoSuchPart,
    #[error("This has been taken back already.")]
    TakenBack,
    #[error("A part is taken off again by undoing its weighing.")]
    IsAWeighing,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TeardownState {
    Open,
    Finished { at: Timestamp, outcome: Outcome },
    Dropped { at: Timestamp },
}

#[derive(Debug, Clone)]
pub struct Teardown {
    pub id: String,
    pub kind_id: KindId,
    /// What the kind was called when it began.
    pub kind_name: String,
    pub expected: Expectation,
    pub source: String,
    pub started_by: String,
    pub started_at: Timestamp,
    pub state: TeardownState,
    pub version: i64,
}

/// What was expected at the start, kept as it stood: prices and the library move on, the expectation does not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expectation {
    pub tree: Tree,
    pub nets: Nets,
    pub labour_per_hour: Decimal,
    pub whole: Decimal,
    /// At its best, with the labour paid.
    pub value: Decimal,
    pub minutes: Decimal,
    pub steps: Vec<ExpectedStep>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedStep {
    pub part: PartId,
    pub deed: Deed,
    pub count: u32,
    pub minutes: Decimal,
    pub gain: Decimal,
    /// Whether it is worth doing.
    pub pays: bool,
}

impl Expectation {
    /// What is expected of a kind at these nets and this labour rate.
    pub fn of(tree: &Tree, nets: &Nets, depth: &Depth, labour_per_hour: Decimal) -> Expectation {
        let is_in = |grade: &GradeId| {
            tree.pieces().iter().any(|piece| [&piece.grade, &piece.stays_on].contains(&&Some(grade.clone())))
        };
        let step = |(nth, step): (usize, &Step)| ExpectedStep {
            part: tree.pieces()[step.piece].id.clone(),
            deed: step.deed,
            count: step.count,
            minutes: step.minutes,
            gain: step.gain,
            pays: nth < depth.stop,
        };
        Expectation {
            tree: tree.clone(),
            nets: nets.iter().filter(|(grade, _)| is_in(grade)).map(|(g, net)| (g.clone(), *net)).collect(),
            labour_per_hour,
            whole: depth.whole,
            value: depth.value(),
            minutes: depth.minutes(),
            steps: depth.steps.iter().enumerate().map(step).collect(),
        }
    }
}

/// What came of a teardown, in home currency at the nets of its start.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    pub minutes: Decimal,
    pub labour: Decimal,
    /// What was weighed in is worth.
    pub recovered: Decimal,
    pub came_off: Mass,
    pub waste: Mass,
    /// Of the whole, what was not weighed in: below zero where the parts were heavier; none where it was not weighed whole.
    pub unaccounted: Option<Mass>,
    /// Whether that lies within what the scale can show.
    pub is_even: bool,
}

impl Outcome {
    /// What a teardown comes to by `now`: its entries, each part with the grade that it was weighed in as. What was weighed
    /// in counts at the nets of the start; a grade that had none then, at today's.
    pub fn of(
        expected: &Expectation,
        log: &[(Entry, Option<GradeId>)],
        now: Timestamp,
        today: &Nets,
    ) -> Outcome {
        let entries: Vec<Entry> = log.iter().map(|(entry, _)| entry.clone()).collect();
        let progress = Progress::of(&entries);
        let minutes = progress.minutes(now).round_dp(1);
        let worth = |(entry, grade): &(Entry, Option<GradeId>)| {
            let EntryKind::Part { mass, pieces, .. } = &entry.kind else { return None };
            let grade = grade.as_ref()?;
            let net = expected.nets.get(grade).or_else(|| today.get(grade))?;
            Some(net.of(*mass, (*pieces).max(1)))
        };
        let unaccounted = progress.whole.map(|whole| whole - progress.came_off() - progress.waste);
        Outcome {
            minutes,
            labour: minutes * expected.labour_per_hour / dec!(60),
            recovered: log.iter().filter_map(worth).sum(),
            came_off: progress.came_off(),
            waste: progress.waste,
            unaccounted,
            is_even: progress.balance() == Balance::Even,
        }
    }

    /// What it left, with the labour paid.
    pub fn left(&self) -> Decimal {
        self.recovered - self.labour
    }
}

/// One entry of the log.
#[derive(Debug, Clone)]
pub struct LogEntry {
    pub id: String,
    pub entry: Entry,
    pub weighing: Option<EntryWeighing>,
    pub partner_name: String,
    pub is_taken_back: bool,
}

/// The weighing that put a part on a lot.
#[derive(Debug, Clone)]
pub struct EntryWeighing {
    pub id: String,
    pub container_label: String,
    /// Of the lot, as it is now.
    pub grade: GradeId,
}
