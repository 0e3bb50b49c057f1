//! The ledger of weighings. Rows are only ever added; a mistake is undone by a row that names it.

use std::borrow::Cow;

use jiff::Timestamp;
use sqlx::FromRow;
use trade::ids::GradeId;
use trade::mass::Mass;

use super::activity::Noun;
use super::lots::{ChangeableLot, LotRefusal, can_hold, hold_lot, lot_for_change};
use super::{By, RowError, Store, StoreError, Tx, new_id, scale_readings, stamp};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeighingKind {
    WeighIn,
    Undo,
    SplitOut,
    SplitIn,
    MergeOut,
    MergeIn,
    Sent,
    /// It had been sent, and came back.
    Returned,
}

impl WeighingKind {
    const ALL: [WeighingKind; 8] = [
        WeighingKind::WeighIn,
        WeighingKind::Undo,
        WeighingKind::SplitOut,
        WeighingKind::SplitIn,
        WeighingKind::MergeOut,
        WeighingKind::MergeIn,
        WeighingKind::Sent,
        WeighingKind::Returned,
    ];

    pub const fn code(self) -> &'static str {
        match self {
            WeighingKind::WeighIn => "weigh-in",
            WeighingKind::Undo => "undo",
            WeighingKind::SplitOut => "split-out",
            WeighingKind::SplitIn => "split-in",
            WeighingKind::MergeOut => "merge-out",
            WeighingKind::MergeIn => "merge-in",
            WeighingKind::Sent => "sent",
            WeighingKind::Returned => "returned",
        }
    }

    pub const fn label(self) -> &'static str {
        match self {
            WeighingKind::WeighIn => "weighed in",
            WeighingKind::Undo => "undone",
            WeighingKind::SplitOut => "split off",
            WeighingKind::SplitIn => "split from another lot",
            WeighingKind::MergeOut => "merged into another lot",
            WeighingKind::MergeIn => "merged from another lot",
            WeighingKind::Sent => "sent",
            WeighingKind::Returned => "came back",
        }
    }
}

/// One row of a lot's ledger.
#[derive(Debug, Clone)]
pub struct Weighing {
    pub id: String,
    pub lot_id: String,
    pub kind: WeighingKind,
    pub net: Mass,
    pub gross: Mass,
    pub tare: Mass,
    pub pieces: i64,
    pub typed: String,
    pub partner_id: String,
    pub partner_name: String,
    pub at: Timestamp,
    pub other_lot_id: Option<String>,
    /// The row that undid this one.
    pub undone_by: Option<String>,
}

/// Mass of a grade that came in at a moment.
#[derive(Debug, Clone)]
pub struct Addition {
    pub grade: GradeId,
    pub at: Timestamp,
    pub net: Mass,
}

#[derive(FromRow)]
struct WeighingRow {
    id: String,
    lot_id: String,
    kind: String,
    net_ug: i64,
    gross_ug: i64,
    tare_ug: i64,
    pieces: i64,
    typed: String,
    partner_id: String,
    partner_name: String,
    at: String,
    other_lot_id: Option<String>,
    undone_by: Option<String>,
}

impl TryFrom<WeighingRow> for Weighing {
    type Error = RowError;

    fn try_from(row: WeighingRow) -> Result<Weighing, RowError> {
        let kind = RowError::read("weighings", "kind", &row.kind, |code| {
            WeighingKind::ALL.into_iter().find(|kind| kind.code() == code)
        })?;
        Ok(Weighing {
            kind,
            at: RowError::read("weighings", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            lot_id: row.lot_id,
            net: Mass::from_micrograms(row.net_ug),
            gross: Mass::from_micrograms(row.gross_ug),
            tare: Mass::from_micrograms(row.tare_ug),
            pieces: row.pieces,
            typed: row.typed,
            partner_id: row.partner_id,
            partner_name: row.partner_name,
            other_lot_id: row.other_lot_id,
            undone_by: row.undone_by,
        })
    }
}

/// What became of a weigh-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeighedIn {
    /// It is on the lot, which holds so much with it.
    Now { total: Mass },
    /// It was there already: it was sent twice.
    Before,
}

/// A row to be added to a ledger.
#[derive(Debug, Clone)]
pub struct NewWeighing<'a> {
    pub id: Cow<'a, str>,
    pub lot_id: &'a str,
    pub kind: WeighingKind,
    /// Signed.
    pub net: Mass,
    pub gross: Mass,
    pub tare: Mass,
    pub pieces: i64,
    pub typed: &'a str,
    /// What the lot must hold for this to be right; [`StoreError::Stale`] where it holds something else by now.
    pub expects: Option<Mass>,
    pub reverses_id: Option<&'a str>,
    pub other_lot_id: Option<&'a str>,
    /// The reading of a scale that this puts on the lot, which is not to be offered again.
    pub scale_reading: Option<&'a str>,
}

impl<'a> NewWeighing<'a> {
    /// A row that no scale made: mass that moves between lots or leaves. The caller fills in what moves.
    pub fn transfer(lot_id: &'a str, kind: WeighingKind) -> Self {
        NewWeighing {
            id: new_id().into(),
            lot_id,
            kind,
            net: Mass::ZERO,
            gross: Mass::ZERO,
            tare: Mass::ZERO,
            pieces: 0,
            typed: "",
            expects: None,
            reverses_id: None,
            other_lot_id: None,
            scale_reading: None,
        }
    }
}

macro_rules! select_weighings {
    ($condition:literal) => {
        concat!(
            "SELECT w.id, w.lot_id, w.kind, w.net_ug, w.gross_ug, w.tare_ug, w.pieces, w.typed, ",
            "w.partner_id, p.name AS partner_name, w.at, w.other_lot_id, u.id AS undone_by ",
            "FROM weighings w JOIN partners p ON p.id = w.partner_id ",
            "LEFT JOIN weighings u ON u.reverses_id = w.id ",
            $condition
        )
    };
}

/// A row of the ledger; the caller adds what happens where its id is there.
macro_rules! insert_weighings {
    ($otherwise:literal) => {
        concat!(
            "INSERT INTO weighings (id, shop_id, lot_id, kind, net_ug, gross_ug, tare_ug, pieces, typed, ",
            "partner_id, at, reverses_id, other_lot_id) ",
            "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
            $otherwise
        )
    };
}

impl Store {
    /// A lot's ledger, newest first.
    pub async fn ledger(&self, shop_id: &str, lot_id: &str) -> Result<Vec<Weighing>, StoreError> {
        let sql = select_weighings!("WHERE w.shop_id = $1 AND w.lot_id = $2 ORDER BY w.at DESC, w.id DESC");
        let rows: Vec<WeighingRow> =
            sqlx::query_as(sql).bind(shop_id).bind(lot_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Weighing::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn weighing(&self, shop_id: &str, id: &str) -> Result<Weighing, StoreError> {
        let sql = select_weighings!("WHERE w.shop_id = $1 AND w.id = $2");
        let row: WeighingRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// What was weighed in since `since` and not undone, oldest first, whatever became of the lot.
    ///
    /// Splits and merges are left out: they move mass that was weighed in before.
    pub async fn additions(&self, shop_id: &str, since: Timestamp) -> Result<Vec<Addition>, StoreError> {
        let sql = "SELECT l.grade_id, w.at, w.net_ug FROM weighings w JOIN lots l ON l.id = w.lot_id \
                   LEFT JOIN weighings u ON u.reverses_id = w.id \
                   WHERE w.shop_id = $1 AND w.at >= $2 AND w.kind = 'weigh-in' AND u.id IS NULL \
                   ORDER BY w.at, w.id";
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as(sql).bind(shop_id).bind(stamp(since)).fetch_all(self.readers()).await?;
        let read = |(grade, at, net_ug): (String, String, i64)| {
            let at = RowError::read("weighings", "at", &at, |at| at.parse().ok())?;
            Ok(Addition { grade: GradeId::new(grade), at, net: Mass::from_micrograms(net_ug) })
        };
        rows.into_iter().map(read).collect()
    }

    /// Adds a weigh-in. The same id a second time changes nothing: the form was sent twice.
    pub async fn weigh_in(&self, by: &By, weighing: &NewWeighing<'_>) -> Result<WeighedIn, StoreError> {
        let mut tx = self.begin().await?;
        let done = weigh_in(&mut tx, by, weighing).await?;
        tx.commit().await?;
        Ok(done)
    }

    /// Undoes a weigh-in by a row that takes the same mass back.
    pub async fn undo_weighing(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        undo_weighing(&mut tx, by, id).await?;
        tx.commit().await
    }
}

/// Adds a weigh-in inside `tx`, after checking that the lot can take it.
pub async fn weigh_in(tx: &mut Tx, by: &By, weighing: &NewWeighing<'_>) -> Result<WeighedIn, StoreError> {
    let By { shop_id, at: _, .. } = by;
    let lot = hold_lot(tx, shop_id, weighing.lot_id).await?;
    // Looked for with the lot's row held: of a form that was sent twice at once, the second waits until the first has
    // counted. Such a one may be refused by what the first did, so it is looked for before a refusal counts.
    let otherwise = match lot.map_err(StoreError::from).and_then(|lot| total_with(weighing, &lot)) {
        Ok(total) if add_new_weighing(tx, by, weighing).await? => {
            if let Some(id) = weighing.scale_reading {
                scale_readings::take(tx, by, id).await?;
            }
            tx.note(by, Noun::Lot, weighing.lot_id, "weighed in", weighing.typed).await?;
            return Ok(WeighedIn::Now { total });
        }
        // There is a row with this id, though perhaps another shop's.
        Ok(_) => StoreError::Stale,
        Err(refusal) => refusal,
    };
    let sql = "SELECT id FROM weighings WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(&*weighing.id).fetch_optional(&mut **tx).await?;
    if there.is_some() { Ok(WeighedIn::Before) } else { Err(otherwise) }
}

/// What the lot holds with the weighing, if it can take it.
fn total_with(weighing: &NewWeighing<'_>, lot: &ChangeableLot) -> Result<Mass, StoreError> {
    if lot.grade_retired {
        return Err(LotRefusal::GradeRetired.into());
    }
    if weighing.expects.is_some_and(|expected| expected != lot.net) {
        return Err(StoreError::Stale);
    }
    let (total, pieces) = (lot.net + weighing.net, lot.pieces + weighing.pieces);
    if total.is_negative() || pieces < 0 {
        return Err(LotRefusal::BelowNothing.into());
    }
    can_hold(total, pieces)?;
    Ok(total)
}

/// Undoes a weigh-in inside `tx`.
pub async fn undo_weighing(tx: &mut Tx, by: &By, id: &str) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let sql = select_weighings!("WHERE w.shop_id = $1 AND w.id = $2");
    let row: WeighingRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut **tx).await?;
    let weighing = Weighing::try_from(row)?;
    if weighing.kind != WeighingKind::WeighIn {
        return Err(LotRefusal::NotAWeighIn.into());
    }
    let lot = lot_for_change(tx, shop_id, &weighing.lot_id).await?;
    let sql = "SELECT id FROM weighings WHERE reverses_id = $1";
    let undone: Option<(String,)> = sqlx::query_as(sql).bind(id).fetch_optional(&mut **tx).await?;
    if undone.is_some() {
        return Err(LotRefusal::AlreadyUndone.into());
    }
    if (lot.net - weighing.net).is_negative() || lot.pieces < weighing.pieces {
        return Err(LotRefusal::BelowNothing.into());
    }
    let undo = NewWeighing {
        net: -weighing.net,
        pieces: -weighing.pieces,
        typed: &weighing.typed,
        reverses_id: Some(id),
        ..NewWeighing::transfer(&weighing.lot_id, WeighingKind::Undo)
    };
    add_weighing(tx, by, &undo).await?;
    tx.note(by, Noun::Lot, &weighing.lot_id, "undid a weighing", &weighing.typed).await
}

/// Adds a ledger row inside `tx`, unchecked; [`StoreError::Duplicate`] if its id stands for another row already. (The same
/// form sent twice is found before, with the lot's row held.)
pub(crate) async fn add_weighing(tx: &mut Tx, by: &By, weighing: &NewWeighing<'_>) -> Result<(), StoreError> {
    insert_weighing(insert_weighings!(""), tx, by, weighing).await?;
    Ok(())
}

/// The same unless there is a row with this id; whether it was added.
async fn add_new_weighing(tx: &mut Tx, by: &By, weighing: &NewWeighing<'_>) -> Result<bool, StoreError> {
    let sql = insert_weighings!(" ON CONFLICT (id) DO NOTHING");
    Ok(insert_weighing(sql, tx, by, weighing).await? == 1)
}

/// Rows that were added.
async fn insert_weighing(
    sql: &'static str,
    tx: &mut Tx,
    by: &By,
    weighing: &NewWeighing<'_>,
) -> Result<u64, StoreError> {
    let By { shop_id, partner_id, at } = by;
    let done = sqlx::query(sql)
        .bind(&*weighing.id)
        .bind(shop_id)
        .bind(weighing.lot_id)
        .bind(weighing.kind.code())
        .bind(weighing.net.micrograms())
        .bind(weighing.gross.micrograms())
        .bind(weighing.tare.micrograms())
        .bind(weighing.pieces)
        .bind(weighing.typed)
        .bind(partner_id)
        .bind(stamp(*at))
        .bind(weighing.reverses_id)
        .bind(weighing.other_lot_id)
        .execute(&mut **tx)
        .await?;
    let added = done.rows_affected();
    if added == 1 && matches!(weighing.kind, WeighingKind::Sent | WeighingKind::Returned) {
        tx.moved().out(by, weighing.lot_id, -weighing.net);
    }
    Ok(added)
}
