//! Boxes, bags and crates that the shop keeps to ship in.

use sqlx::FromRow;
use trade::packing::Carton;
use trade::volume::Size;

use super::activity::Noun;
use super::{By, OutOfUse, Query, RowError, Store, StoreError, Tx, add_once, changed_one, typed_mass};

/// A box as the shop keeps it.
#[derive(Debug, Clone)]
pub struct CartonRecord {
    pub id: String,
    pub carton: Carton,
    pub retired: bool,
    pub version: i64,
}

#[derive(FromRow)]
struct CartonRow {
    id: String,
    name: String,
    inner_length_mm: String,
    inner_width_mm: String,
    inner_height_mm: String,
    outer_length_mm: String,
    outer_width_mm: String,
    outer_height_mm: String,
    tare_ug: i64,
    limit_ug: i64,
    cost: String,
    at_hand: Option<i64>,
    retired_at: Option<String>,
    version: i64,
}

impl TryFrom<CartonRow> for CartonRecord {
    type Error = RowError;

    fn try_from(row: CartonRow) -> Result<CartonRecord, RowError> {
        let decimal = |column, value: &str| RowError::decimal("cartons", column, value);
        let at_hand = row
            .at_hand
            .map(|count| RowError::read("cartons", "at_hand", &count.to_string(), |count| count.parse().ok()))
            .transpose()?;
        Ok(CartonRecord {
            carton: Carton {
                inner: Size {
                    length: decimal("inner_length_mm", &row.inner_length_mm)?,
                    width: decimal("inner_width_mm", &row.inner_width_mm)?,
                    height: decimal("inner_height_mm", &row.inner_height_mm)?,
                },
                outer: Size {
                    length: decimal("outer_length_mm", &row.outer_length_mm)?,
                    width: decimal("outer_width_mm", &row.outer_width_mm)?,
                    height: decimal("outer_height_mm", &row.outer_height_mm)?,
                },
                tare: typed_mass(row.tare_ug),
                limit: typed_mass(row.limit_ug),
                cost: decimal("cost", &row.cost)?,
                at_hand,
                name: row.name,
            },
            id: row.id,
            retired: row.retired_at.is_some(),
            version: row.version,
        })
    }
}

/// A box's columns; the caller adds the condition.
macro_rules! select_cartons {
    ($condition:literal) => {
        concat!(
            "SELECT id, name, inner_length_mm, inner_width_mm, inner_height_mm, outer_length_mm, outer_width_mm, ",
            "outer_height_mm, tare_ug, limit_ug, cost, at_hand, retired_at, version FROM cartons ",
            $condition
        )
    };
}

const OUT_OF_USE: OutOfUse = OutOfUse {
    sql: "UPDATE cartons SET retired_at = $4, version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3",
    noun: Noun::Carton,
    deeds: ["retired", "brought back"],
};

impl Store {
    /// All boxes, those in use first, by name.
    pub async fn cartons(&self, shop_id: &str) -> Result<Vec<CartonRecord>, StoreError> {
        let sql = select_cartons!(
            "WHERE shop_id = $1 ORDER BY CASE WHEN retired_at IS NULL THEN 0 ELSE 1 END, name"
        );
        let rows: Vec<CartonRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(CartonRecord::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn carton(&self, shop_id: &str, id: &str) -> Result<CartonRecord, StoreError> {
        let sql = select_cartons!("WHERE shop_id = $1 AND id = $2");
        let row: CartonRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Sets up a box; [`StoreError::Duplicate`] if another one has the name. The same id a second time changes
    /// nothing: the form was sent twice.
    pub async fn create_carton(&self, by: &By, id: &str, carton: &Carton) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add_carton(&mut tx, by, id, carton).await?;
        tx.commit().await
    }

    /// Changes a box; [`StoreError::Stale`] if it changed since `version`, [`StoreError::Duplicate`] if another one
    /// has the name.
    pub async fn save_carton(
        &self,
        by: &By,
        id: &str,
        version: i64,
        carton: &Carton,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE cartons SET name = $4, inner_length_mm = $5, inner_width_mm = $6, inner_height_mm = $7, \
                   outer_length_mm = $8, outer_width_mm = $9, outer_height_mm = $10, tare_ug = $11, limit_ug = $12, \
                   cost = $13, at_hand = $14, version = version + 1 WHERE id = $1 AND shop_id = $2 AND version = $3";
        let done = bind_carton(sqlx::query(sql).bind(id).bind(shop_id).bind(version), carton)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        tx.note(by, Noun::Carton, id, "changed", "").await?;
        tx.commit().await
    }

    /// Takes a box out of use.
    pub async fn retire_carton(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, true).await
    }

    pub async fn return_carton(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, false).await
    }
}

/// Adds a box inside `tx`; one that is there with the same id already is left as it is.
pub async fn add_carton(tx: &mut Tx, by: &By, id: &str, carton: &Carton) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let sql = "INSERT INTO cartons (id, shop_id, version, name, inner_length_mm, inner_width_mm, inner_height_mm, \
               outer_length_mm, outer_width_mm, outer_height_mm, tare_ug, limit_ug, cost, at_hand) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14) ON CONFLICT DO NOTHING";
    let insert = bind_carton(sqlx::query(sql).bind(id).bind(shop_id).bind(1_i64), carton);
    let there = "SELECT id FROM cartons WHERE shop_id = $1 AND id = $2";
    if add_once(tx, insert, there, shop_id, id).await? {
        tx.note(by, Noun::Carton, id, "added", "").await?;
    }
    Ok(())
}

/// Binds the columns from `name` to `at_hand`, in the schema's order.
fn bind_carton<'q>(query: Query<'q>, carton: &'q Carton) -> Query<'q> {
    query
        .bind(&carton.name)
        .bind(carton.inner.length.to_string())
        .bind(carton.inner.width.to_string())
        .bind(carton.inner.height.to_string())
        .bind(carton.outer.length.to_string())
        .bind(carton.outer.width.to_string())
        .bind(carton.outer.height.to_string())
        .bind(carton.tare.micrograms())
        .bind(carton.limit.micrograms())
        .bind(carton.cost.to_string())
        .bind(carton.at_hand.map(i64::from))
}
