//! Pickups: when and where things came from, from whom, and for how much.

use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::cash::{Kind, Way};
use trade::mass::Mass;
use trade::money::{Currency, Money};

use super::activity::Noun;
use super::cash::{Document, DocumentKind, NewEntry, enter, reverse};
use super::{By, RowError, Store, StoreError, Tx, changed_one, stamp};

/// What is written down of a pickup. Of a person only what the shop types.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PickupDetails {
    pub day: Date,
    pub place: String,
    pub what: String,
    pub from_whom: String,
    /// Zero where it was free.
    pub cost: Money,
    pub note: String,
}

impl PickupDetails {
    pub fn is_free(&self) -> bool {
        self.cost.amount.is_zero()
    }
}

#[derive(Debug, Clone)]
pub struct Pickup {
    pub id: String,
    pub details: PickupDetails,
    pub made_by: String,
    pub made_at: Timestamp,
    /// Since when it counts as written down by mistake.
    pub withdrawn_at: Option<Timestamp>,
    pub version: i64,
    /// Lots that name it, and what was weighed in on them.
    pub lots: i64,
    pub weighed_in: Mass,
    pub photos: i64,
}

/// Why something cannot be done to a pickup. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PickupRefusal {
    #[error("Lots name this pickup as where they came from. Change that on their pages first.")]
    HasLots,
    #[error("The pickup has been struck out meanwhile. Choose another, or write it down again.")]
    Withdrawn,
}

#[derive(FromRow)]
struct PickupRow {
    id: String,
    day: String,
    place: String,
    what: String,
    from_whom: String,
    cost: String,
    currency: String,
    note: String,
    made_by: String,
    made_at: String,
    withdrawn_at: Option<String>,
    version: i64,
    lots: i64,
    weighed_in_ug: i64,
    photos: i64,
}

impl TryFrom<PickupRow> for Pickup {
    type Error = RowError;

    fn try_from(row: PickupRow) -> Result<Pickup, RowError> {
        let moment = |column, text: &str| RowError::read("pickups", column, text, |at| at.parse().ok());
        let currency = RowError::read("pickups", "currency", &row.currency, Currency::from_code)?;
        Ok(Pickup {
            details: PickupDetails {
                day: RowError::read("pickups", "day", &row.day, |day| day.parse().ok())?,
                cost: Money::new(RowError::decimal("pickups", "cost", &row.cost)?, currency),
                place: row.place,
                what: row.what,
                from_whom: row.from_whom,
                note: row.note,
            },
            made_at: moment("made_at", &row.made_at)?,
            withdrawn_at: row.withdrawn_at.as_deref().map(|at| moment("withdrawn_at", at)).transpose()?,
            id: row.id,
            made_by: row.made_by,
            version: row.version,
            lots: row.lots,
            weighed_in: Mass::from_micrograms(row.weighed_in_ug),
            photos: row.photos,
        })
    }
}

/// Pickups with what came of them; the caller adds the condition.
macro_rules! select_pickups {
    ($condition:literal) => {
        concat!(
            "SELECT k.id, k.day, k.place, k.what, k.from_whom, k.cost, k.currency, k.note, p.name AS made_by, ",
            "k.made_at, k.withdrawn_at, k.version, ",
            "(SELECT COUNT(*) FROM lots l WHERE l.pickup_id = k.id) AS lots, ",
            "CAST(COALESCE((SELECT SUM(w.net_ug) FROM lots l JOIN weighings w ON w.lot_id = l.id ",
            "WHERE l.pickup_id = k.id AND w.kind IN ('weigh-in', 'undo')), 0) AS BIGINT) AS weighed_in_ug, ",
            "(SELECT COUNT(*) FROM photos f WHERE f.shop_id = k.shop_id AND f.subject = 'pickup' ",
            "AND f.subject_id = k.id) AS photos ",
            "FROM pickups k JOIN partners p ON p.id = k.made_by ",
            $condition
        )
    };
}

/// A lot that came from a pickup, as far as the pickup's page needs it.
#[derive(Debug, Clone, FromRow)]
pub struct PickupLot {
    pub id: String,
    pub container_label: String,
    pub grade_name: String,
    pub net_ug: i64,
    pub closed_at: Option<String>,
}

impl PickupLot {
    pub fn net(&self) -> Mass {
        Mass::from_micrograms(self.net_ug)
    }

    pub fn is_gone(&self) -> bool {
        self.closed_at.is_some()
    }
}

impl Store {
    /// Pickups of the days `first..=last`, newest first.
    pub async fn pickups(&self, shop_id: &str, first: Date, last: Date) -> Result<Vec<Pickup>, StoreError> {
        let sql = select_pickups!(
            "WHERE k.shop_id = $1 AND k.day >= $2 AND k.day <= $3 ORDER BY k.day DESC, k.made_at DESC, k.id DESC"
        );
        let rows: Vec<PickupRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(first.to_string())
            .bind(last.to_string())
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Pickup::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn pickup(&self, shop_id: &str, id: &str) -> Result<Pickup, StoreError> {
        let sql = select_pickups!("WHERE k.shop_id = $1 AND k.id = $2");
        let row: PickupRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// The last pickups that count as (id, day, place), newest first, for a lot to choose from.
    pub async fn pickup_names(
        &self,
        shop_id: &str,
        most: u32,
    ) -> Result<Vec<(String, Date, String)>, StoreError> {
        let sql = "SELECT id, day, place FROM pickups WHERE shop_id = $1 AND withdrawn_at IS NULL \
                   ORDER BY day DESC, made_at DESC, id DESC LIMIT $2";
        let rows: Vec<(String, String, String)> =
            sqlx::query_as(sql).bind(shop_id).bind(i64::from(most)).fetch_all(self.readers()).await?;
        let named = |(id, day, place): (String, String, String)| {
            Ok((id, RowError::read("pickups", "day", &day, |day| day.parse().ok())?, place))
        };
        rows.into_iter().map(named).collect()
    }

    /// The pickup that a lot names, as (id, day, place).
    pub async fn pickup_of_lot(
        &self,
        shop_id: &str,
        lot_id: &str,
    ) -> Result<Option<(String, Date, String)>, StoreError> {
        let sql = "SELECT k.id, k.day, k.place FROM lots l JOIN pickups k ON k.id = l.pickup_id \
                   WHERE l.shop_id = $1 AND l.id = $2";
        let row: Option<(String, String, String)> =
            sqlx::query_as(sql).bind(shop_id).bind(lot_id).fetch_optional(self.readers()).await?;
        let named = |(id, day, place): (String, String, String)| {
            Ok((id, RowError::read("pickups", "day", &day, |day| day.parse().ok())?, place))
        };
        row.map(named).transpose()
    }

    /// The lots that name a pickup, whatever became of them, in the order they were opened.
    pub async fn pickup_lots(&self, shop_id: &str, id: &str) -> Result<Vec<PickupLot>, StoreError> {
        let sql = "SELECT l.id, c.label AS container_label, g.name AS grade_name, l.closed_at, \
                   CAST(COALESCE((SELECT SUM(w.net_ug) FROM weighings w WHERE w.lot_id = l.id), 0) AS BIGINT) AS net_ug \
                   FROM lots l JOIN containers c ON c.id = l.container_id \
                   JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
                   WHERE l.shop_id = $1 AND l.pickup_id = $2 ORDER BY l.opened_at, l.id";
        Ok(sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?)
    }

    /// Writes a pickup down. The same id a second time changes nothing: the form was sent twice.
    pub async fn add_pickup(&self, by: &By, id: &str, details: &PickupDetails) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add_pickup(&mut tx, by, id, details).await?;
        tx.commit().await
    }

    /// Changes a pickup; [`StoreError::Stale`] if it changed since `version`.
    pub async fn save_pickup(
        &self,
        by: &By,
        id: &str,
        version: i64,
        details: &PickupDetails,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "UPDATE pickups SET day = $4, place = $5, what = $6, from_whom = $7, cost = $8, currency = $9, \
                   note = $10, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND withdrawn_at IS NULL";
        let done = sqlx::query(sql)
            .bind(&by.shop_id)
            .bind(id)
            .bind(version)
            .bind(details.day.to_string())
            .bind(&details.place)
            .bind(&details.what)
            .bind(&details.from_whom)
            .bind(exact(details.cost.amount))
            .bind(details.cost.currency.code())
            .bind(&details.note)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        tx.note(by, Noun::Pickup, id, "changed", "").await?;
        if now_paid(&mut tx, by, id).await? != Some((details.day.to_string(), details.cost)) {
            take_back(&mut tx, by, id, "the pickup was changed").await?;
            pay(&mut tx, by, id, version + 1, details).await?;
        }
        tx.commit().await
    }

    /// Strikes out a pickup that was written down by mistake. It stays on record as struck out.
    pub async fn withdraw_pickup(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let sql = "UPDATE pickups SET withdrawn_at = $4, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND withdrawn_at IS NULL";
        let done = sqlx::query(sql)
            .bind(&by.shop_id)
            .bind(id)
            .bind(version)
            .bind(stamp(by.at))
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        // Looked for with the pickup's row held, which whoever names it for a lot holds too.
        let sql = "SELECT id FROM lots WHERE shop_id = $1 AND pickup_id = $2 LIMIT 1";
        let named: Option<(String,)> =
            sqlx::query_as(sql).bind(&by.shop_id).bind(id).fetch_optional(&mut *tx).await?;
        if named.is_some() {
            return Err(PickupRefusal::HasLots.into());
        }
        tx.note(by, Noun::Pickup, id, "struck out", "").await?;
        take_back(&mut tx, by, id, "the pickup was struck out").await?;
        tx.commit().await
    }
}

/// Writes a pickup down inside `tx`; one that is there with the same id already is left as it is.
pub async fn add_pickup(tx: &mut Tx, by: &By, id: &str, details: &PickupDetails) -> Result<(), StoreError> {
    let sql = "INSERT INTO pickups (id, shop_id, day, place, what, from_whom, cost, currency, note, made_by, made_at, \
               version) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, 1) ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(id)
        .bind(&by.shop_id)
        .bind(details.day.to_string())
        .bind(&details.place)
        .bind(&details.what)
        .bind(&details.from_whom)
        .bind(exact(details.cost.amount))
        .bind(details.cost.currency.code())
        .bind(&details.note)
        .bind(&by.partner_id)
        .bind(stamp(by.at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 1 {
        tx.note(by, Noun::Pickup, id, "written down", "").await?;
        return pay(tx, by, id, 1, details).await;
    }
    let sql = "SELECT id FROM pickups WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(&by.shop_id).bind(id).fetch_optional(&mut **tx).await?;
    // Otherwise it is another shop's.
    if there.is_some() { Ok(()) } else { Err(StoreError::Stale) }
}

/// Names the pickup that a lot came from inside `tx`, or none.
pub(crate) async fn name_pickup(
    tx: &mut Tx,
    shop_id: &str,
    lot_id: &str,
    pickup_id: Option<&str>,
) -> Result<(), StoreError> {
    if let Some(pickup_id) = pickup_id {
        // Holds its row, so that it is not struck out meanwhile.
        let sql =
            "UPDATE pickups SET version = version WHERE shop_id = $1 AND id = $2 RETURNING withdrawn_at";
        let (withdrawn_at,): (Option<String>,) =
            sqlx::query_as(sql).bind(shop_id).bind(pickup_id).fetch_one(&mut **tx).await?;
        if withdrawn_at.is_some() {
            return Err(PickupRefusal::Withdrawn.into());
        }
    }
    sqlx::query("UPDATE lots SET pickup_id = $3 WHERE shop_id = $1 AND id = $2")
        .bind(shop_id)
        .bind(lot_id)
        .bind(pickup_id)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Puts what a pickup cost into the cash book, as its version has it.
async fn pay(
    tx: &mut Tx,
    by: &By,
    id: &str,
    version: i64,
    details: &PickupDetails,
) -> Result<(), StoreError> {
    let document = Document::new(DocumentKind::Pickup, id);
    let entry = NewEntry {
        source_id: Some(id.to_string()),
        note: details.place.clone(),
        document: Some(document.clone()),
        ..NewEntry::new(
            document.entry_id(&format!("v{version}")),
            details.day,
            Kind::Purchase,
            Way::Out.signed(details.cost),
        )
    };
    enter(tx, by, &entry).await?;
    Ok(())
}

/// The entries of a pickup that nothing has undone.
async fn standing(tx: &mut Tx, by: &By, id: &str) -> Result<Vec<(String, String, i64, String)>, StoreError> {
    let sql = "SELECT e.id, e.day, e.amount, e.currency FROM cash_entries e WHERE e.shop_id = $1 \
               AND e.document = $2 AND e.document_id = $3 AND e.reverses_id IS NULL AND e.values_id IS NULL \
               AND NOT EXISTS (SELECT 1 FROM cash_entries u WHERE u.reverses_id = e.id) ORDER BY e.n";
    let rows = sqlx::query_as(sql).bind(&by.shop_id).bind(DocumentKind::Pickup.code()).bind(id);
    Ok(rows.fetch_all(&mut **tx).await?)
}

/// The day and the amount that the cash book has for a pickup; nothing where it was free.
async fn now_paid(tx: &mut Tx, by: &By, id: &str) -> Result<Option<(String, Money)>, StoreError> {
    let Some((_, day, amount, currency)) = standing(tx, by, id).await?.pop() else { return Ok(None) };
    let currency = RowError::read("cash_entries", "currency", &currency, Currency::from_code)?;
    Ok(Some((day, Money::from_minor_units(-amount, currency))))
}

/// Undoes what the cash book has for a pickup.
async fn take_back(tx: &mut Tx, by: &By, id: &str, why: &str) -> Result<(), StoreError> {
    let document = Document::new(DocumentKind::Pickup, id);
    for (entry, ..) in standing(tx, by, id).await? {
        reverse(tx, by, &document.entry_id(&format!("undo {entry}")), &entry, why).await?;
    }
    Ok(())
}

fn exact(amount: Decimal) -> String {
    amount.normalize().to_string()
}
