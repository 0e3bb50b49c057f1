//! Containers: bags, boxes, drums and crates with their tare and label.

use jiff::Timestamp;
use sqlx::FromRow;
use trade::mass::Mass;

use super::activity::Noun;
use super::lots::LotRefusal;
use super::{By, OutOfUse, RowError, Store, StoreError, Tx, add_once, changed_one, stamp};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ContainerKind {
    Bag,
    Box,
    Drum,
    Crate,
}

impl ContainerKind {
    pub const ALL: [ContainerKind; 4] =
        [ContainerKind::Bag, ContainerKind::Box, ContainerKind::Drum, ContainerKind::Crate];

    pub const fn code(self) -> &'static str {
        match self {
            ContainerKind::Bag => "bag",
            ContainerKind::Box => "box",
            ContainerKind::Drum => "drum",
            ContainerKind::Crate => "crate",
        }
    }

    pub fn from_code(code: &str) -> Option<ContainerKind> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// As a row has it.
    pub(super) fn stored(code: &str) -> Result<ContainerKind, RowError> {
        RowError::read("containers", "kind", code, Self::from_code)
    }
}

#[derive(Debug, Clone)]
pub struct Container {
    pub id: String,
    pub label: String,
    pub kind: ContainerKind,
    pub tare: Mass,
    pub version: i64,
    /// Since when it is out of use; nothing is in it then.
    pub retired_at: Option<Timestamp>,
    /// The lot that is in it now, and its grade.
    pub open_lot: Option<String>,
    pub grade_name: Option<String>,
}

#[derive(FromRow)]
struct ContainerRow {
    id: String,
    label: String,
    kind: String,
    tare_ug: i64,
    version: i64,
    retired_at: Option<String>,
    open_lot: Option<String>,
    grade_name: Option<String>,
}

impl TryFrom<ContainerRow> for Container {
    type Error = RowError;

    fn try_from(row: ContainerRow) -> Result<Container, RowError> {
        Ok(Container {
            kind: ContainerKind::stored(&row.kind)?,
            retired_at: row
                .retired_at
                .map(|at| RowError::read("containers", "retired_at", &at, |at| at.parse().ok()))
                .transpose()?,
            id: row.id,
            label: row.label,
            tare: Mass::from_micrograms(row.tare_ug),
            version: row.version,
            open_lot: row.open_lot,
            grade_name: row.grade_name,
        })
    }
}

impl Container {
    pub fn details(&self) -> ContainerDetails {
        ContainerDetails { label: self.label.clone(), kind: self.kind, tare: self.tare }
    }
}

/// What a container is made or changed to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ContainerDetails {
    pub label: String,
    pub kind: ContainerKind,
    pub tare: Mass,
}

/// Which containers are wanted.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    pub out_of_use: bool,
    /// Words of the label; empty for all.
    pub label: &'a str,
    /// So many at most, after so many.
    pub most: u32,
    pub after: u32,
}

macro_rules! select_containers {
    ($condition:expr) => {
        concat!(
            "SELECT c.id, c.label, c.kind, c.tare_ug, c.version, c.retired_at, l.id AS open_lot, ",
            "g.name AS grade_name FROM containers c ",
            "LEFT JOIN lots l ON l.container_id = c.id AND l.closed_at IS NULL ",
            "LEFT JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id ",
            $condition
        )
    };
}

/// The order that they are counted in, Bag 2 before Bag 12. The index that has it says the same, word for word.
macro_rules! by_number {
    () => {
        "c.kind, lower(rtrim(c.label, '0123456789')), \
         length(ltrim(substr(c.label, length(rtrim(c.label, '0123456789')) + 1), '0')), c.label, c.id"
    };
}

impl Store {
    /// Containers by kind and number; those out of use with the last one first.
    pub async fn containers(&self, shop_id: &str, wanted: &Wanted<'_>) -> Result<Vec<Container>, StoreError> {
        let sql = if wanted.out_of_use {
            select_containers!(
                "WHERE c.shop_id = $1 AND c.retired_at IS NOT NULL AND lower(c.label) LIKE $2 ESCAPE '!' \
                 ORDER BY c.retired_at DESC, c.id DESC LIMIT $3 OFFSET $4"
            )
        } else {
            select_containers!(concat!(
                "WHERE c.shop_id = $1 AND c.retired_at IS NULL AND lower(c.label) LIKE $2 ESCAPE '!' ORDER BY ",
                by_number!(),
                " LIMIT $3 OFFSET $4"
            ))
        };
        let rows: Vec<ContainerRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(containing(wanted.label))
            .bind(i64::from(wanted.most))
            .bind(i64::from(wanted.after))
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Container::try_from).collect::<Result<_, _>>()?)
    }

    /// Containers in use that nothing is in, at most so many, by kind and number.
    pub async fn empty_containers(&self, shop_id: &str, most: u32) -> Result<Vec<Container>, StoreError> {
        let sql = select_containers!(concat!(
            "WHERE c.shop_id = $1 AND c.retired_at IS NULL AND l.id IS NULL ORDER BY ",
            by_number!(),
            " LIMIT $2"
        ));
        let rows: Vec<ContainerRow> =
            sqlx::query_as(sql).bind(shop_id).bind(i64::from(most)).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Container::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn container(&self, shop_id: &str, id: &str) -> Result<Container, StoreError> {
        let sql = select_containers!("WHERE c.shop_id = $1 AND c.id = $2");
        let row: ContainerRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Takes an empty container out of use, if it still has that version; [`LotRefusal::ContainerFull`] if it is not
    /// empty.
    pub async fn retire_container(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        hold_container(&mut tx, &by.shop_id, id).await?;
        // A statement of its own, which sees what was saved while the row was waited for.
        let sql = "SELECT id FROM lots WHERE container_id = $1 AND closed_at IS NULL";
        let full: Option<(String,)> = sqlx::query_as(sql).bind(id).fetch_optional(&mut *tx).await?;
        if full.is_some() {
            return Err(LotRefusal::ContainerFull.into());
        }
        let sql = "UPDATE containers SET retired_at = $4, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND retired_at IS NULL";
        let query = sqlx::query(sql).bind(&by.shop_id).bind(id).bind(version).bind(stamp(by.at));
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        tx.note(by, Noun::Container, id, OUT_OF_USE.deeds[0], "").await?;
        tx.commit().await
    }

    pub async fn return_container(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, false).await
    }

    /// Changes a container; [`StoreError::Stale`] if it changed since `version`, [`StoreError::Duplicate`] if another
    /// one has the label.
    pub async fn save_container(
        &self,
        by: &By,
        id: &str,
        version: i64,
        details: &ContainerDetails,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE containers SET label = $4, kind = $5, tare_ug = $6, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(id)
            .bind(version)
            .bind(&details.label)
            .bind(details.kind.code())
            .bind(details.tare.micrograms())
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        tx.note(by, Noun::Container, id, "changed", "").await?;
        tx.commit().await
    }
}

const OUT_OF_USE: OutOfUse = OutOfUse {
    sql: "UPDATE containers SET retired_at = $4, version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3",
    noun: Noun::Container,
    deeds: ["taken out of use", "taken into use again"],
};

/// A pattern for labels that contain the words, whatever signs are among them.
fn containing(words: &str) -> String {
    let mut pattern = String::from("%");
    for sign in words.to_lowercase().chars() {
        if matches!(sign, '%' | '_' | '!') {
            pattern.push('!');
        }
        pattern.push(sign);
    }
    pattern.push('%');
    pattern
}

/// Holds a container's row until the transaction ends, so that it is not filled by one and taken out of use by another.
/// Since when it is out of use; [`StoreError::Missing`] where there is none.
pub(crate) async fn hold_container(
    tx: &mut Tx,
    shop_id: &str,
    id: &str,
) -> Result<Option<String>, StoreError> {
    let sql = "UPDATE containers SET version = version WHERE shop_id = $1 AND id = $2 RETURNING retired_at";
    let (retired_at,): (Option<String>,) =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut **tx).await?;
    Ok(retired_at)
}

/// Takes containers out of use that have left with the lots that were in them; whatever else is named stays as it is.
pub(crate) async fn let_go(
    tx: &mut Tx,
    by: &By,
    shipment_id: &str,
    containers: &[String],
) -> Result<(), StoreError> {
    let By { shop_id, at, .. } = by;
    // In the order of their ids, so that two that let the same go cannot wait for each other.
    let mut containers: Vec<&String> = containers.iter().collect();
    containers.sort();
    for id in containers {
        hold_container(tx, shop_id, id).await?;
        let sql = "UPDATE containers SET retired_at = $4, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND retired_at IS NULL \
                   AND EXISTS (SELECT 1 FROM shipment_lots x JOIN lots l ON l.id = x.lot_id \
                   WHERE x.shipment_id = $3 AND x.released_at IS NULL AND l.container_id = containers.id) \
                   AND NOT EXISTS (SELECT 1 FROM lots o WHERE o.container_id = containers.id AND o.closed_at IS NULL)";
        let query = sqlx::query(sql).bind(shop_id).bind(id).bind(shipment_id).bind(stamp(*at));
        if query.execute(&mut **tx).await?.rows_affected() == 1 {
            tx.note(by, Noun::Container, id, OUT_OF_USE.deeds[0], "it left with a parcel").await?;
        }
    }
    Ok(())
}

/// Takes a container that came back into use again, inside `tx`, where it was out of use.
pub(crate) async fn take_back_container(tx: &mut Tx, by: &By, id: &str) -> Result<(), StoreError> {
    if hold_container(tx, &by.shop_id, id).await?.is_some() {
        let sql =
            "UPDATE containers SET retired_at = NULL, version = version + 1 WHERE shop_id = $1 AND id = $2";
        sqlx::query(sql).bind(&by.shop_id).bind(id).execute(&mut **tx).await?;
        tx.note(by, Noun::Container, id, OUT_OF_USE.deeds[1], "it came back").await?;
    }
    Ok(())
}

/// Adds a container inside `tx`; one that is there with the same id already is left as it is.
pub async fn add_container(
    tx: &mut Tx,
    by: &By,
    id: &str,
    details: &ContainerDetails,
) -> Result<(), StoreError> {
    let By { shop_id, at, .. } = by;
    let sql = "INSERT INTO containers (id, shop_id, label, kind, tare_ug, version, created_at) \
               VALUES ($1, $2, $3, $4, $5, 1, $6) ON CONFLICT DO NOTHING";
    let insert = sqlx::query(sql)
        .bind(id)
        .bind(shop_id)
        .bind(&details.label)
        .bind(details.kind.code())
        .bind(details.tare.micrograms())
        .bind(stamp(*at));
    let there = "SELECT id FROM containers WHERE shop_id = $1 AND id = $2";
    if add_once(tx, insert, there, shop_id, id).await? {
        tx.note(by, Noun::Container, id, "added", "").await?;
    }
    Ok(())
}
