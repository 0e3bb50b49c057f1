//! Lots: one quantity of one grade in one container, and what can be done to it as a whole.

mod parts;

use jiff::Timestamp;
use sqlx::FromRow;
use trade::ids::{GradeId, LotId};
use trade::mass::{HEAVIEST_GRAMS, Mass};

use super::activity::Noun;
use super::containers::{ContainerDetails, ContainerKind, add_container, hold_container};
use super::pickups::name_pickup;
use super::reservations::Reservation;
use super::{By, RowError, Store, StoreError, Tx, changed_one, diverted, new_id, stamp};

pub use parts::Part;
pub(crate) use parts::{move_mass, split_off_gone};

/// The most pieces one lot may hold.
const MOST_PIECES: i64 = 1_000_000;

/// Where a lot stands. What is in a shipment has one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LotState {
    Open,
    /// For a shipment or a yard run that has not left with it.
    Reserved {
        by: Reservation,
    },
    /// Nothing of it is here any more.
    Closed {
        at: Timestamp,
    },
}

#[derive(Debug, Clone)]
pub struct Lot {
    pub id: LotId,
    pub container_id: String,
    pub container_label: String,
    pub container_kind: ContainerKind,
    pub container_tare: Mass,
    pub grade_id: GradeId,
    pub grade_name: String,
    pub family: String,
    pub grade_retired: bool,
    /// The sum of its ledger.
    pub net: Mass,
    pub pieces: u32,
    pub source: String,
    pub note: String,
    pub opened_at: Timestamp,
    pub state: LotState,
    pub version: i64,
}

/// Why something cannot be done to a lot. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LotRefusal {
    #[error("The lot is packed in a shipment. Take it out of the shipment first, or use another bag.")]
    Reserved,
    #[error("The lot is on the load list of a yard run. Take the run apart first, or use another bag.")]
    OnRun,
    #[error("The lot has left the shop: nothing can be put on it or taken off it any more. Open a new lot.")]
    Closed,
    #[error("The grade has been retired meanwhile. Choose another grade for the lot first.")]
    GradeRetired,
    #[error("There is a lot in that container already. Choose an empty one, or merge the two lots.")]
    ContainerTaken,
    #[error("That container is out of use. Take it into use again on its page, or choose another.")]
    ContainerRetired,
    #[error("There is something in that container. Move it elsewhere first.")]
    ContainerFull,
    #[error("That would leave less than nothing in the lot.")]
    BelowNothing,
    #[error(
        "A lot holds a thousand tonnes and a million pieces at most. Check the reading, or open another lot."
    )]
    TooMuch,
    #[error("The two lots are of different grades. Regrade one of them first.")]
    OtherGrade,
    #[error("A lot cannot be merged with itself.")]
    Itself,
    #[error("This weighing has been undone already.")]
    AlreadyUndone,
    #[error("Only a weigh-in can be undone. A split is undone by merging, a merge by splitting.")]
    NotAWeighIn,
}

#[derive(FromRow)]
struct LotRow {
    id: String,
    container_id: String,
    container_label: String,
    container_kind: String,
    container_tare_ug: i64,
    grade_id: String,
    grade_name: String,
    family: String,
    grade_retired_at: Option<String>,
    net_ug: i64,
    pieces: i64,
    source: String,
    note: String,
    opened_at: String,
    closed_at: Option<String>,
    shipment_id: Option<String>,
    run_id: Option<String>,
    version: i64,
}

impl TryFrom<LotRow> for Lot {
    type Error = RowError;

    fn try_from(row: LotRow) -> Result<Lot, RowError> {
        let moment =
            |column, text: &str| RowError::read("lots", column, text, |t| t.parse::<Timestamp>().ok());
        let state = match (&row.closed_at, Reservation::of(row.shipment_id, row.run_id)) {
            (Some(at), _) => LotState::Closed { at: moment("closed_at", at)? },
            (None, Some(by)) => LotState::Reserved { by },
            (None, None) => LotState::Open,
        };
        Ok(Lot {
            id: LotId::new(row.id),
            container_id: row.container_id,
            container_label: row.container_label,
            container_kind: ContainerKind::stored(&row.container_kind)?,
            container_tare: Mass::from_micrograms(row.container_tare_ug),
            grade_id: GradeId::new(row.grade_id),
            grade_name: row.grade_name,
            family: row.family,
            grade_retired: row.grade_retired_at.is_some(),
            net: Mass::from_micrograms(row.net_ug),
            pieces: RowError::read("weighings", "pieces", &row.pieces.to_string(), |p| p.parse().ok())?,
            source: row.source,
            note: row.note,
            opened_at: moment("opened_at", &row.opened_at)?,
            state,
            version: row.version,
        })
    }
}

/// One lot with its container, grade and the sum of its ledger; the caller adds the condition.
macro_rules! select_lots {
    ($condition:literal) => {
        concat!(
            "SELECT l.id, l.container_id, c.label AS container_label, c.kind AS container_kind, ",
            "c.tare_ug AS container_tare_ug, l.grade_id, g.name AS grade_name, g.family, ",
            "g.retired_at AS grade_retired_at, ",
            "CAST(COALESCE((SELECT SUM(w.net_ug) FROM weighings w WHERE w.lot_id = l.id), 0) AS BIGINT) AS net_ug, ",
            "CAST(COALESCE((SELECT SUM(w.pieces) FROM weighings w WHERE w.lot_id = l.id), 0) AS BIGINT) AS pieces, ",
            "l.source, l.note, l.opened_at, l.closed_at, s.shipment_id, r.run_id, l.version ",
            "FROM lots l JOIN containers c ON c.id = l.container_id ",
            "JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id ",
            "LEFT JOIN shipment_lots s ON s.lot_id = l.id AND s.released_at IS NULL ",
            "LEFT JOIN run_lots r ON r.lot_id = l.id AND r.released_at IS NULL ",
            $condition
        )
    };
}

impl Store {
    /// Lots that are in the shop, by family, grade and container.
    pub async fn open_lots(&self, shop_id: &str) -> Result<Vec<Lot>, StoreError> {
        let sql =
            select_lots!("WHERE l.shop_id = $1 AND l.closed_at IS NULL ORDER BY g.position, g.name, c.label");
        let rows: Vec<LotRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Lot::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn lot(&self, shop_id: &str, id: &str) -> Result<Lot, StoreError> {
        let sql = select_lots!("WHERE l.shop_id = $1 AND l.id = $2");
        let row: LotRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Opens a lot. The same id a second time changes nothing: the form was sent twice.
    pub async fn open_lot(&self, by: &By, lot: &NewLot<'_>) -> Result<(), StoreError> {
        self.open_lot_from(by, lot, None).await
    }

    /// Opens a lot of what came from a pickup.
    pub async fn open_lot_from(
        &self,
        by: &By,
        lot: &NewLot<'_>,
        pickup_id: Option<&str>,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        if open_lot(&mut tx, by, lot).await? {
            name_pickup(&mut tx, &by.shop_id, lot.id, pickup_id).await?;
        }
        tx.commit().await
    }

    /// Changes where the lot came from and its note; [`StoreError::Stale`] if it changed since `version`.
    pub async fn save_lot(
        &self,
        by: &By,
        id: &str,
        version: i64,
        origin: Origin<'_>,
        note: &str,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE lots SET source = $4, note = $5, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(id)
            .bind(version)
            .bind(origin.source)
            .bind(note)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        name_pickup(&mut tx, shop_id, id, origin.pickup_id).await?;
        tx.note(by, Noun::Lot, id, "changed", "").await?;
        tx.commit().await
    }

    /// Gives the lot another grade, on record.
    pub async fn regrade(&self, by: &By, id: &str, version: i64, grade: &GradeId) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let lot = lot_for_change(&mut tx, shop_id, id).await?;
        usable_grade(&mut tx, shop_id, grade.as_str()).await?;
        let sql = "UPDATE lots SET grade_id = $4, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(id)
            .bind(version)
            .bind(grade.as_str())
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        let sql = "INSERT INTO regrades (id, shop_id, lot_id, from_grade_id, to_grade_id, partner_id, at) \
                   VALUES ($1, $2, $3, $4, $5, $6, $7)";
        sqlx::query(sql)
            .bind(new_id())
            .bind(shop_id)
            .bind(id)
            .bind(&lot.grade_id)
            .bind(grade.as_str())
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        if diverted::has_been_out(&mut tx, id).await? {
            // What left of it was of its new grade all along.
            tx.moved().count_anew(shop_id);
        }
        let change = format!("from {} to {grade}", lot.grade_id);
        tx.note(by, Noun::Lot, id, "regraded", &change).await?;
        tx.commit().await
    }
}

/// Where a lot came from: in the shop's words, and the pickup where there is one.
#[derive(Debug, Clone, Copy)]
pub struct Origin<'a> {
    pub source: &'a str,
    pub pickup_id: Option<&'a str>,
}

/// The container a new lot goes into.
#[derive(Debug, Clone)]
pub enum Target {
    There(String),
    New { id: String, details: ContainerDetails },
}

#[derive(Debug, Clone)]
pub struct NewLot<'a> {
    pub id: &'a str,
    pub container: Target,
    pub grade: GradeId,
    pub source: &'a str,
}

/// Opens a lot inside `tx`, making its container if it is new. False if it is there already, from the same form.
pub async fn open_lot(tx: &mut Tx, by: &By, lot: &NewLot<'_>) -> Result<bool, StoreError> {
    let By { shop_id, partner_id, at } = by;
    if is_there(tx, shop_id, lot.id).await? {
        return Ok(false);
    }
    usable_grade(tx, shop_id, lot.grade.as_str()).await?;
    let container_id = match &lot.container {
        Target::There(id) => {
            if hold_container(tx, shop_id, id).await?.is_some() {
                return Err(LotRefusal::ContainerRetired.into());
            }
            id.clone()
        }
        Target::New { id, details } => {
            add_container(tx, by, id, details).await?;
            id.clone()
        }
    };
    let sql = "SELECT id FROM lots WHERE container_id = $1 AND closed_at IS NULL";
    let taken: Option<(String,)> = sqlx::query_as(sql).bind(&container_id).fetch_optional(&mut **tx).await?;
    match taken {
        // Of a form sent twice at once, the second waited at its container until the first was through.
        Some((there,)) if there == lot.id => return Ok(false),
        Some(_) => return Err(LotRefusal::ContainerTaken.into()),
        None => {}
    }
    let sql = "INSERT INTO lots (id, shop_id, container_id, grade_id, source, note, opened_at, opened_by, version) \
               VALUES ($1, $2, $3, $4, $5, '', $6, $7, 1) ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(lot.id)
        .bind(shop_id)
        .bind(&container_id)
        .bind(lot.grade.as_str())
        .bind(lot.source)
        .bind(stamp(*at))
        .bind(partner_id)
        .execute(&mut **tx)
        .await?;
    let is_new = done.rows_affected() == 1;
    if is_new {
        tx.note(by, Noun::Lot, lot.id, "opened", lot.source).await?;
    }
    Ok(is_new)
}

/// Marks a lot as gone. Its version moves on, so that a form opened before is told.
pub(crate) async fn close_lot(tx: &mut Tx, by: &By, lot_id: &str) -> Result<(), StoreError> {
    let By { at, .. } = by;
    sqlx::query("UPDATE lots SET closed_at = $2, version = version + 1 WHERE id = $1")
        .bind(lot_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Marks a lot that had gone as here again, in a container that is free.
pub(crate) async fn reopen_lot(
    tx: &mut Tx,
    by: &By,
    lot_id: &str,
    container_id: &str,
) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let sql = "UPDATE lots SET closed_at = NULL, container_id = $3, version = version + 1 \
               WHERE shop_id = $1 AND id = $2";
    sqlx::query(sql).bind(shop_id).bind(lot_id).bind(container_id).execute(&mut **tx).await?;
    Ok(())
}

/// What a change of a lot needs to know of it.
pub(crate) struct ChangeableLot {
    pub id: String,
    pub grade_id: String,
    pub source: String,
    pub net: Mass,
    pub pieces: i64,
    pub grade_retired: bool,
}

/// Mass, pieces, shipment, run, and since when its grade is retired.
type HeldRow = (i64, i64, Option<String>, Option<String>, Option<String>);

/// Reads a lot inside `tx` for a change, holding its row until the transaction ends; refused if it is reserved or gone.
pub(crate) async fn lot_for_change(
    tx: &mut Tx,
    shop_id: &str,
    id: &str,
) -> Result<ChangeableLot, StoreError> {
    Ok(hold_lot(tx, shop_id, id).await??)
}

/// The same for who has to look further before the refusal counts: with the row held, whether the very same form has
/// been through already.
pub(crate) async fn hold_lot(
    tx: &mut Tx,
    shop_id: &str,
    id: &str,
) -> Result<Result<ChangeableLot, LotRefusal>, StoreError> {
    // A write that changes nothing: on Postgres it locks the row until the end, which SELECT … FOR UPDATE would too,
    // but SQLite (where BEGIN IMMEDIATE has the lock already) has no such words.
    let sql = "UPDATE lots SET note = note WHERE shop_id = $1 AND id = $2 RETURNING id, grade_id, source, closed_at";
    let (id, grade_id, source, closed_at): (String, String, String, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut **tx).await?;
    if closed_at.is_some() {
        return Ok(Err(LotRefusal::Closed));
    }
    // A statement of its own, which sees what was saved while the row was waited for.
    let sql = "SELECT CAST(COALESCE(SUM(w.net_ug), 0) AS BIGINT), CAST(COALESCE(SUM(w.pieces), 0) AS BIGINT), \
               (SELECT s.shipment_id FROM shipment_lots s WHERE s.lot_id = $1 AND s.released_at IS NULL), \
               (SELECT r.run_id FROM run_lots r WHERE r.lot_id = $1 AND r.released_at IS NULL), \
               (SELECT g.retired_at FROM grades g WHERE g.shop_id = $2 AND g.id = $3) \
               FROM weighings w WHERE w.lot_id = $1";
    let (net_ug, pieces, shipment_id, run_id, grade_retired_at): HeldRow =
        sqlx::query_as(sql).bind(&id).bind(shop_id).bind(&grade_id).fetch_one(&mut **tx).await?;
    match Reservation::of(shipment_id, run_id) {
        Some(Reservation::Shipment(_)) => return Ok(Err(LotRefusal::Reserved)),
        Some(Reservation::Run(_)) => return Ok(Err(LotRefusal::OnRun)),
        None => {}
    }
    let (net, grade_retired) = (Mass::from_micrograms(net_ug), grade_retired_at.is_some());
    Ok(Ok(ChangeableLot { id, grade_id, source, net, pieces, grade_retired }))
}

/// Whether a lot may hold so much. The bound keeps every sum of ledgers far inside what a column holds.
pub(crate) fn can_hold(net: Mass, pieces: i64) -> Result<(), LotRefusal> {
    if net.grams() > HEAVIEST_GRAMS || pieces > MOST_PIECES { Err(LotRefusal::TooMuch) } else { Ok(()) }
}

/// Whether the shop has a lot of this id, open or gone.
async fn is_there(tx: &mut Tx, shop_id: &str, id: &str) -> Result<bool, StoreError> {
    let sql = "SELECT id FROM lots WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_optional(&mut **tx).await?;
    Ok(there.is_some())
}

/// Refused where the grade has been retired.
pub(crate) async fn usable_grade(tx: &mut Tx, shop_id: &str, grade: &str) -> Result<(), StoreError> {
    let sql = "SELECT retired_at FROM grades WHERE shop_id = $1 AND id = $2";
    let (retired_at,): (Option<String>,) =
        sqlx::query_as(sql).bind(shop_id).bind(grade).fetch_one(&mut **tx).await?;
    if retired_at.is_some() { Err(LotRefusal::GradeRetired.into()) } else { Ok(()) }
}
