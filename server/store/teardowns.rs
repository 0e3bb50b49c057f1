//! Teardowns: a unit on the bench, with everything that was done to it. Entries are only added; a mistake is taken back by
//! one that names it.

use jiff::Timestamp;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};
use sqlx::FromRow;
use trade::ids::{GradeId, KindId, PartId};
use trade::mass::Mass;
use trade::teardown::{Balance, Deed, Depth, Entry, EntryKind, Nets, Progress, Step, Tree};

use super::activity::Noun;
use super::weighings::{NewWeighing, WeighedIn, weigh_in};
use super::{By, RowError, Store, StoreError, Tx, changed_one, stamp};

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

#[derive(FromRow)]
struct TeardownRow {
    id: String,
    kind_id: String,
    kind_name: String,
    expected: String,
    source: String,
    started_by: String,
    started_at: String,
    finished_at: Option<String>,
    outcome: Option<String>,
    dropped_at: Option<String>,
    version: i64,
}

impl TryFrom<TeardownRow> for Teardown {
    type Error = RowError;

    fn try_from(row: TeardownRow) -> Result<Teardown, RowError> {
        let moment = |column, text: &str| RowError::read("teardowns", column, text, |at| at.parse().ok());
        let state = match (&row.dropped_at, &row.finished_at) {
            (Some(at), _) => TeardownState::Dropped { at: moment("dropped_at", at)? },
            (None, Some(at)) => TeardownState::Finished {
                at: moment("finished_at", at)?,
                outcome: RowError::read(
                    "teardowns",
                    "outcome",
                    row.outcome.as_deref().unwrap_or_default(),
                    |json| serde_json::from_str(json).ok(),
                )?,
            },
            (None, None) => TeardownState::Open,
        };
        Ok(Teardown {
            expected: RowError::read("teardowns", "expected", &row.expected, |json| {
                serde_json::from_str(json).ok()
            })?,
            started_at: moment("started_at", &row.started_at)?,
            id: row.id,
            kind_id: KindId::new(row.kind_id),
            kind_name: row.kind_name,
            source: row.source,
            started_by: row.started_by,
            state,
            version: row.version,
        })
    }
}

#[derive(FromRow)]
struct EntryRow {
    id: String,
    teardown_id: String,
    kind: String,
    part_id: String,
    mass_ug: i64,
    pieces: i64,
    typed: String,
    weighing_id: Option<String>,
    container_label: Option<String>,
    grade_id: Option<String>,
    partner_name: String,
    at: String,
    taken_back: Option<String>,
    undone: Option<String>,
}

impl TryFrom<EntryRow> for LogEntry {
    type Error = RowError;

    fn try_from(row: EntryRow) -> Result<LogEntry, RowError> {
        let mass = Mass::from_micrograms(row.mass_ug);
        let kind = match row.kind.as_str() {
            "seen" => EntryKind::Seen,
            "whole" => EntryKind::Whole { mass },
            "start" => EntryKind::Start,
            "stop" => EntryKind::Stop,
            "waste" => EntryKind::Waste { mass },
            "part" => EntryKind::Part {
                part: PartId::new(&row.part_id),
                mass,
                pieces: u32::try_from(row.pieces).unwrap_or(0),
            },
            other => RowError::read("teardown_entries", "kind", other, |_| None)?,
        };
        let at = RowError::read("teardown_entries", "at", &row.at, |at| at.parse().ok())?;
        let weighing = row.weighing_id.map(|id| EntryWeighing {
            id,
            container_label: row.container_label.unwrap_or_default(),
            grade: GradeId::new(row.grade_id.unwrap_or_default()),
        });
        Ok(LogEntry {
            id: row.id,
            entry: Entry { at, typed: row.typed, kind },
            weighing,
            partner_name: row.partner_name,
            is_taken_back: row.taken_back.is_some() || row.undone.is_some(),
        })
    }
}

macro_rules! select_teardowns {
    ($condition:literal) => {
        concat!(
            "SELECT t.id, t.kind_id, t.kind_name, t.expected, t.source, p.name AS started_by, t.started_at, ",
            "t.finished_at, t.outcome, t.dropped_at, t.version ",
            "FROM teardowns t JOIN partners p ON p.id = t.started_by ",
            $condition
        )
    };
}

macro_rules! select_entries {
    ($condition:literal) => {
        concat!(
            "SELECT e.id, e.teardown_id, e.kind, e.part_id, e.mass_ug, e.pieces, e.typed, e.weighing_id, ",
            "c.label AS container_label, l.grade_id, p.name AS partner_name, e.at, ",
            "b.id AS taken_back, u.id AS undone ",
            "FROM teardown_entries e JOIN partners p ON p.id = e.partner_id ",
            "LEFT JOIN teardown_entries b ON b.reverses_id = e.id ",
            "LEFT JOIN weighings w ON w.id = e.weighing_id LEFT JOIN weighings u ON u.reverses_id = e.weighing_id ",
            "LEFT JOIN lots l ON l.id = w.lot_id LEFT JOIN containers c ON c.id = l.container_id ",
            $condition
        )
    };
}

/// A unit that is about to be taken apart, with its cautions seen.
#[derive(Debug, Clone)]
pub struct NewTeardown<'a> {
    pub id: &'a str,
    pub kind: &'a KindId,
    pub kind_name: &'a str,
    pub expected: &'a Expectation,
    pub source: &'a str,
}

/// An entry that no weighing on a lot makes.
#[derive(Debug, Clone)]
pub struct NewEntry<'a> {
    pub id: &'a str,
    pub teardown_id: &'a str,
    pub kind: NewEntryKind,
    pub typed: &'a str,
    pub at: Timestamp,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NewEntryKind {
    Whole(Mass),
    Waste(Mass),
    Start,
    Stop,
}

impl NewEntryKind {
    const fn code(self) -> &'static str {
        match self {
            NewEntryKind::Whole(_) => "whole",
            NewEntryKind::Waste(_) => "waste",
            NewEntryKind::Start => "start",
            NewEntryKind::Stop => "stop",
        }
    }

    const fn mass(self) -> Mass {
        match self {
            NewEntryKind::Whole(mass) | NewEntryKind::Waste(mass) => mass,
            NewEntryKind::Start | NewEntryKind::Stop => Mass::ZERO,
        }
    }

    const fn deed(self) -> &'static str {
        match self {
            NewEntryKind::Whole(_) => "weighed whole",
            NewEntryKind::Waste(_) => "weighed the waste of",
            NewEntryKind::Start => "started the timer of",
            NewEntryKind::Stop => "stopped the timer of",
        }
    }
}

/// A part that is weighed in.
#[derive(Debug, Clone, Copy)]
pub struct FromTeardown<'a> {
    pub teardown_id: &'a str,
    pub part: &'a PartId,
}

impl Store {
    pub async fn teardown(&self, shop_id: &str, id: &str) -> Result<Teardown, StoreError> {
        let sql = select_teardowns!("WHERE t.shop_id = $1 AND t.id = $2");
        let row: TeardownRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Those that lie open, the one begun last first.
    pub async fn open_teardowns(&self, shop_id: &str) -> Result<Vec<Teardown>, StoreError> {
        let sql = select_teardowns!(
            "WHERE t.shop_id = $1 AND t.finished_at IS NULL AND t.dropped_at IS NULL ORDER BY t.started_at DESC, t.id"
        );
        let rows: Vec<TeardownRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Teardown::try_from).collect::<Result<_, _>>()?)
    }

    /// Those that were finished, the last first.
    pub async fn finished_teardowns(&self, shop_id: &str) -> Result<Vec<Teardown>, StoreError> {
        let sql = select_teardowns!(
            "WHERE t.shop_id = $1 AND t.finished_at IS NOT NULL AND t.dropped_at IS NULL ORDER BY t.finished_at DESC, t.id"
        );
        let rows: Vec<TeardownRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Teardown::try_from).collect::<Result<_, _>>()?)
    }

    /// The log of a teardown, in the order of its time.
    pub async fn teardown_log(&self, shop_id: &str, id: &str) -> Result<Vec<LogEntry>, StoreError> {
        let sql = select_entries!(
            "WHERE e.shop_id = $1 AND e.teardown_id = $2 AND e.kind <> 'undo' ORDER BY e.at, e.id"
        );
        let rows: Vec<EntryRow> =
            sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(LogEntry::try_from).collect::<Result<_, _>>()?)
    }

    /// What stands in the logs of all finished teardowns, with the teardown that each entry belongs to.
    pub async fn finished_logs(&self, shop_id: &str) -> Result<Vec<(String, Entry)>, StoreError> {
        let sql = select_entries!(
            "JOIN teardowns t ON t.id = e.teardown_id WHERE e.shop_id = $1 AND e.kind <> 'undo' AND b.id IS NULL \
             AND u.id IS NULL AND t.finished_at IS NOT NULL AND t.dropped_at IS NULL ORDER BY e.at, e.id"
        );
        let rows: Vec<EntryRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let read = |row: EntryRow| Ok((row.teardown_id.clone(), LogEntry::try_from(row)?.entry));
        rows.into_iter().map(read).collect()
    }

    /// Begins a teardown. The same id a second time changes nothing: the form was sent twice.
    pub async fn begin_teardown(&self, by: &By, teardown: &NewTeardown<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        begin_teardown(&mut tx, by, teardown).await?;
        tx.commit().await
    }

    /// Adds an entry. The same id a second time changes nothing.
    pub async fn add_entry(&self, by: &By, entry: &NewEntry<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add_entry(&mut tx, by, entry).await?;
        tx.commit().await
    }

    /// Takes an entry back by one that names it.
    pub async fn take_back_entry(&self, by: &By, teardown_id: &str, entry: &str) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let name = hold_teardown(&mut tx, shop_id, teardown_id).await??.kind_name;
        let sql = "SELECT kind FROM teardown_entries WHERE shop_id = $1 AND teardown_id = $2 AND id = $3 AND kind <> 'undo'";
        let (kind,): (String,) =
            sqlx::query_as(sql).bind(shop_id).bind(teardown_id).bind(entry).fetch_one(&mut *tx).await?;
        if kind == "part" {
            return Err(TeardownRefusal::IsAWeighing.into());
        }
        let sql = "SELECT id FROM teardown_entries WHERE reverses_id = $1";
        let back: Option<(String,)> = sqlx::query_as(sql).bind(entry).fetch_optional(&mut *tx).await?;
        if back.is_some() {
            return Err(TeardownRefusal::TakenBack.into());
        }
        let row = Row { kind: "undo", reverses_id: Some(entry), ..Row::new(teardown_id) };
        insert_entry(&mut tx, by, &super::new_id(), by.at, &row).await?;
        tx.note(by, Noun::Teardown, teardown_id, "took back an entry of", &name).await?;
        tx.commit().await
    }

    /// Weighs a part in on a lot and into the teardown's log, both or neither. The same id a second time changes nothing.
    pub async fn weigh_part_in(
        &self,
        by: &By,
        weighing: &NewWeighing<'_>,
        from: FromTeardown<'_>,
    ) -> Result<WeighedIn, StoreError> {
        let mut tx = self.begin().await?;
        let done = weigh_part_in(&mut tx, by, weighing, from).await?;
        tx.commit().await?;
        Ok(done)
    }

    /// Finishes a teardown with what came of it; [`StoreError::Stale`] if its log has moved on since `version`.
    pub async fn finish_teardown(
        &self,
        by: &By,
        id: &str,
        version: i64,
        outcome: &Outcome,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        finish_teardown(&mut tx, by, id, version, outcome).await?;
        tx.commit().await
    }

    /// Opens a finished teardown again.
    pub async fn reopen_teardown(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "UPDATE teardowns SET finished_at = NULL, outcome = NULL, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND finished_at IS NOT NULL AND dropped_at IS NULL";
        let query = sqlx::query(sql).bind(&by.shop_id).bind(id).bind(version);
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        tx.note(by, Noun::Teardown, id, "opened again", "").await?;
        tx.commit().await
    }

    /// Gives a teardown up: what was weighed in stays where it is, and nothing is learned from it.
    pub async fn drop_teardown(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "UPDATE teardowns SET dropped_at = $4, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND dropped_at IS NULL AND finished_at IS NULL";
        let query = sqlx::query(sql).bind(&by.shop_id).bind(id).bind(version).bind(stamp(by.at));
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        tx.note(by, Noun::Teardown, id, "dropped", "").await?;
        tx.commit().await
    }
}

/// Begins a teardown inside `tx`, with its cautions seen. False if it is there already, from the same form.
pub async fn begin_teardown(tx: &mut Tx, by: &By, teardown: &NewTeardown<'_>) -> Result<bool, StoreError> {
    let By { shop_id, partner_id, at } = by;
    let expected =
        serde_json::to_string(teardown.expected).map_err(|error| StoreError::Encode(error.to_string()))?;
    let sql = "INSERT INTO teardowns (id, shop_id, kind_id, kind_name, expected, source, started_by, started_at, version) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 1) ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(teardown.id)
        .bind(shop_id)
        .bind(teardown.kind.as_str())
        .bind(teardown.kind_name)
        .bind(expected)
        .bind(teardown.source)
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 0 {
        // There is one with this id, though perhaps another shop's.
        hold_teardown(tx, shop_id, teardown.id).await?.ok();
        return Ok(false);
    }
    let row = Row { kind: "seen", ..Row::new(teardown.id) };
    insert_entry(tx, by, &super::new_id(), *at, &row).await?;
    tx.note(by, Noun::Teardown, teardown.id, "began to take apart", teardown.source).await?;
    Ok(true)
}

/// Adds an entry inside `tx`.
pub async fn add_entry(tx: &mut Tx, by: &By, entry: &NewEntry<'_>) -> Result<(), StoreError> {
    let held = hold_teardown(tx, &by.shop_id, entry.teardown_id).await?;
    if is_there(tx, &by.shop_id, entry.id).await? {
        return Ok(());
    }
    held?;
    let row = Row {
        kind: entry.kind.code(),
        mass: entry.kind.mass(),
        typed: entry.typed,
        ..Row::new(entry.teardown_id)
    };
    insert_entry(tx, by, entry.id, entry.at, &row).await?;
    tx.note(by, Noun::Teardown, entry.teardown_id, entry.kind.deed(), entry.typed).await
}

/// Weighs a part in inside `tx`.
pub async fn weigh_part_in(
    tx: &mut Tx,
    by: &By,
    weighing: &NewWeighing<'_>,
    from: FromTeardown<'_>,
) -> Result<WeighedIn, StoreError> {
    let held = hold_teardown(tx, &by.shop_id, from.teardown_id).await?;
    let refusal = match held {
        Ok(held) if held.has_part(from.part) => None,
        Ok(_) => Some(TeardownRefusal::NoSuchPart),
        Err(refusal) => Some(refusal),
    };
    if let Some(refusal) = refusal {
        // Of a form that was sent twice the first may have been through before the teardown was finished.
        let sql = "SELECT id FROM weighings WHERE shop_id = $1 AND id = $2";
        let there: Option<(String,)> =
            sqlx::query_as(sql).bind(&by.shop_id).bind(&*weighing.id).fetch_optional(&mut **tx).await?;
        return if there.is_some() { Ok(WeighedIn::Before) } else { Err(refusal.into()) };
    }
    let done = weigh_in(tx, by, weighing).await?;
    if let WeighedIn::Now { .. } = done {
        let row = Row {
            kind: "part",
            part: from.part.as_str(),
            mass: weighing.net,
            pieces: weighing.pieces,
            typed: weighing.typed,
            weighing_id: Some(&weighing.id),
            ..Row::new(from.teardown_id)
        };
        insert_entry(tx, by, &super::new_id(), by.at, &row).await?;
        tx.tell(by, Noun::Teardown);
    }
    Ok(done)
}

/// Finishes a teardown inside `tx`.
pub async fn finish_teardown(
    tx: &mut Tx,
    by: &By,
    id: &str,
    version: i64,
    outcome: &Outcome,
) -> Result<(), StoreError> {
    let By { shop_id, at, .. } = by;
    hold_teardown(tx, shop_id, id).await??;
    let outcome = serde_json::to_string(outcome).map_err(|error| StoreError::Encode(error.to_string()))?;
    let sql = "UPDATE teardowns SET finished_at = $4, outcome = $5, version = version + 1 \
               WHERE shop_id = $1 AND id = $2 AND version = $3";
    let query = sqlx::query(sql).bind(shop_id).bind(id).bind(version).bind(stamp(*at)).bind(outcome);
    changed_one(query.execute(&mut **tx).await?.rows_affected())?;
    tx.note(by, Noun::Teardown, id, "finished", "").await
}

struct Held {
    kind_name: String,
    expected: String,
}

impl Held {
    /// Whether the kind had this part when the teardown began; the unit itself stands for what is left of it.
    fn has_part(&self, part: &PartId) -> bool {
        serde_json::from_str::<Expectation>(&self.expected)
            .is_ok_and(|expected| expected.tree.piece(part).is_some())
    }
}

/// Reads a teardown inside `tx` for a change of its log, holding its row until the transaction ends; refused if it is
/// finished or dropped.
async fn hold_teardown(
    tx: &mut Tx,
    shop_id: &str,
    id: &str,
) -> Result<Result<Held, TeardownRefusal>, StoreError> {
    let sql = "UPDATE teardowns SET source = source WHERE shop_id = $1 AND id = $2 \
               RETURNING kind_name, expected, finished_at, dropped_at";
    let (kind_name, expected, finished_at, dropped_at): (String, String, Option<String>, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut **tx).await?;
    Ok(match (dropped_at, finished_at) {
        (Some(_), _) => Err(TeardownRefusal::Dropped),
        (None, Some(_)) => Err(TeardownRefusal::Finished),
        (None, None) => Ok(Held { kind_name, expected }),
    })
}

async fn is_there(tx: &mut Tx, shop_id: &str, id: &str) -> Result<bool, StoreError> {
    let sql = "SELECT id FROM teardown_entries WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_optional(&mut **tx).await?;
    Ok(there.is_some())
}

struct Row<'a> {
    teardown_id: &'a str,
    kind: &'static str,
    part: &'a str,
    mass: Mass,
    pieces: i64,
    typed: &'a str,
    weighing_id: Option<&'a str>,
    reverses_id: Option<&'a str>,
}

impl<'a> Row<'a> {
    fn new(teardown_id: &'a str) -> Row<'a> {
        Row {
            teardown_id,
            kind: "seen",
            part: "",
            mass: Mass::ZERO,
            pieces: 0,
            typed: "",
            weighing_id: None,
            reverses_id: None,
        }
    }
}

/// Adds a row to the log and moves the teardown's version on, so that who finishes it has seen all of it.
async fn insert_entry(
    tx: &mut Tx,
    by: &By,
    id: &str,
    at: Timestamp,
    row: &Row<'_>,
) -> Result<(), StoreError> {
    let By { shop_id, partner_id, .. } = by;
    let sql = "INSERT INTO teardown_entries (id, shop_id, teardown_id, kind, part_id, mass_ug, pieces, typed, \
               weighing_id, reverses_id, partner_id, at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)";
    sqlx::query(sql)
        .bind(id)
        .bind(shop_id)
        .bind(row.teardown_id)
        .bind(row.kind)
        .bind(row.part)
        .bind(row.mass.micrograms())
        .bind(row.pieces)
        .bind(row.typed)
        .bind(row.weighing_id)
        .bind(row.reverses_id)
        .bind(partner_id)
        .bind(stamp(at))
        .execute(&mut **tx)
        .await?;
    sqlx::query("UPDATE teardowns SET version = version + 1 WHERE shop_id = $1 AND id = $2")
        .bind(shop_id)
        .bind(row.teardown_id)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
