//! Teardowns as they stand, and their logs.

use sqlx::FromRow;
use trade::ids::{GradeId, KindId, PartId};
use trade::mass::Mass;
use trade::teardown::{Entry, EntryKind};

use super::{EntryWeighing, LogEntry, Teardown, TeardownState};
use crate::store::{RowError, Store, StoreError};

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
}
