//! Containers: bags, boxes, drums and crates with their tare and label.

use sqlx::FromRow;
use trade::mass::Mass;

use super::activity::Noun;
use super::{By, RowError, Store, StoreError, Tx, changed_one, stamp};

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
}

#[derive(Debug, Clone)]
pub struct Container {
    pub id: String,
    pub label: String,
    pub kind: ContainerKind,
    pub tare: Mass,
    pub version: i64,
    /// The lot that is in it now.
    pub open_lot: Option<String>,
}

#[derive(FromRow)]
struct ContainerRow {
    id: String,
    label: String,
    kind: String,
    tare_ug: i64,
    version: i64,
    open_lot: Option<String>,
}

impl TryFrom<ContainerRow> for Container {
    type Error = RowError;

    fn try_from(row: ContainerRow) -> Result<Container, RowError> {
        Ok(Container {
            kind: RowError::read("containers", "kind", &row.kind, ContainerKind::from_code)?,
            id: row.id,
            label: row.label,
            tare: Mass::from_micrograms(row.tare_ug),
            version: row.version,
            open_lot: row.open_lot,
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

impl Store {
    /// Containers in use, by label.
    pub async fn containers(&self, shop_id: &str) -> Result<Vec<Container>, StoreError> {
        let sql = "SELECT c.id, c.label, c.kind, c.tare_ug, c.version, l.id AS open_lot FROM containers c \
                   LEFT JOIN lots l ON l.container_id = c.id AND l.closed_at IS NULL \
                   WHERE c.shop_id = $1 AND c.retired_at IS NULL ORDER BY c.label";
        let rows: Vec<ContainerRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Container::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn container(&self, shop_id: &str, id: &str) -> Result<Container, StoreError> {
        let sql = "SELECT c.id, c.label, c.kind, c.tare_ug, c.version, l.id AS open_lot FROM containers c \
                   LEFT JOIN lots l ON l.container_id = c.id AND l.closed_at IS NULL \
                   WHERE c.shop_id = $1 AND c.id = $2";
        let row: ContainerRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
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

/// Adds a container inside `tx`; one that is there with the same id already is left as it is.
pub async fn add_container(
    tx: &mut Tx,
    by: &By,
    id: &str,
    details: &ContainerDetails,
) -> Result<(), StoreError> {
    let By { shop_id, at, .. } = by;
    let sql = "INSERT INTO containers (id, shop_id, label, kind, tare_ug, version, created_at) \
               VALUES ($1, $2, $3, $4, $5, 1, $6) ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(id)
        .bind(shop_id)
        .bind(&details.label)
        .bind(details.kind.code())
        .bind(details.tare.micrograms())
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 1 {
        tx.note(by, Noun::Container, id, "added", "").await?;
    }
    Ok(())
}
