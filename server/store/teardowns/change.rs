//! What is done to a teardown. Each entry once, in the transaction of its weighing where it has one.

use jiff::Timestamp;
use trade::ids::{KindId, PartId};
use trade::mass::Mass;

use super::{Expectation, Outcome, TeardownRefusal};
use crate::store::activity::Noun;
use crate::store::weighings::{NewWeighing, WeighedIn, weigh_in};
use crate::store::{By, Store, StoreError, Tx, changed_one, new_id, stamp};

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
        insert_entry(&mut tx, by, &new_id(), by.at, &row).await?;
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
    insert_entry(tx, by, &new_id(), *at, &row).await?;
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
        insert_entry(tx, by, &new_id(), by.at, &row).await?;
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
