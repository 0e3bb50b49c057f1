//! Every row of a shop as it stands, for an archive of the shop, and back.
//!
//! A row goes out as a map of its columns and comes in the same way, so that no column can be forgotten. Which tables
//! there are, and in which order they can be filled, stands in [`TABLES`].

use std::collections::BTreeMap;

use serde_json::{Map, Value};
use sqlx::any::{AnyArguments, AnyRow, AnyTypeInfoKind};
use sqlx::query::Query;
use sqlx::{Any, AssertSqlSafe, Column, Row, SqlSafeStr, Transaction, ValueRef};

use super::{Store, StoreError, Tx};

/// A table that belongs to a shop.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    pub name: &'static str,
    /// What its rows have to be for the shop `$1`.
    of_shop: &'static str,
}

const fn by_shop(name: &'static str) -> Table {
    Table { name, of_shop: "shop_id = $1" }
}

/// All tables of a shop, each after those that it refers to. Of `files` without the bytes, which are no text.
pub const TABLES: [Table; 47] = [
    Table { name: "shops", of_shop: "id = $1" },
    by_shop("partners"),
    by_shop("grades"),
    by_shop("containers"),
    by_shop("pickups"),
    by_shop("lots"),
    by_shop("weighings"),
    by_shop("regrades"),
    by_shop("outlets"),
    by_shop("services"),
    Table { name: "service_breaks", of_shop: "service_id IN (SELECT id FROM services WHERE shop_id = $1)" },
    Table {
        name: "service_surcharges",
        of_shop: "service_id IN (SELECT id FROM services WHERE shop_id = $1)",
    },
    Table {
        name: "service_flat_boxes",
        of_shop: "service_id IN (SELECT id FROM services WHERE shop_id = $1)",
    },
    Table { name: "outlet_services", of_shop: "outlet_id IN (SELECT id FROM outlets WHERE shop_id = $1)" },
    by_shop("roads"),
    by_shop("cartons"),
    by_shop("rates"),
    by_shop("files"),
    by_shop("sheet_drafts"),
    by_shop("sheets"),
    by_shop("quotes"),
    by_shop("wordings"),
    by_shop("plan_pins"),
    by_shop("plan_bars"),
    by_shop("plan_closures"),
    by_shop("shipments"),
    Table { name: "shipment_lots", of_shop: "shipment_id IN (SELECT id FROM shipments WHERE shop_id = $1)" },
    by_shop("waybills"),
    by_shop("settlements"),
    by_shop("settlement_lots"),
    by_shop("settlement_lines"),
    Table {
        name: "settlement_portions",
        of_shop: "settlement_id IN (SELECT id FROM settlements WHERE shop_id = $1)",
    },
    by_shop("settlement_drafts"),
    by_shop("runs"),
    by_shop("run_stops"),
    Table { name: "run_lots", of_shop: "run_id IN (SELECT id FROM runs WHERE shop_id = $1)" },
    by_shop("photos"),
    by_shop("cash_books"),
    by_shop("cash_entries"),
    by_shop("cash_totals"),
    by_shop("hours"),
    by_shop("hour_totals"),
    by_shop("splits"),
    Table { name: "split_parts", of_shop: "split_id IN (SELECT id FROM splits WHERE shop_id = $1)" },
    by_shop("teardowns"),
    by_shop("teardown_entries"),
    by_shop("activity"),
];

/// Tables that grow without end and whose rows are counted, in the column `n`, from 1 on in each shop: they go out and come
/// in a piece at a time, in the order of their numbers, in which a row comes after those that it names.
pub const COUNTED: [&str; 1] = ["cash_entries"];

/// Rows of a counted table that are read at a time.
const PIECE: i64 = 1_000;

/// Tables that stay where they are: who is signed in and what lets somebody in must not come back with an old copy; what
/// left by month is added up again from the ledger, which an archive from before it has too; and the rest is about this
/// server, or old in a minute.
pub const LEFT_OUT: [&str; 9] = [
    "sessions",
    "api_keys",
    "codes",
    "tries",
    "jobs",
    "scale_readings",
    "diverted_books",
    "diverted_totals",
    "_sqlx_migrations",
];

/// The one column that is no text: it goes beside the rows, as a file.
const BYTES: &str = "bytes";

/// A row by its columns. Numbers are whole; everything else is text or null.
pub type Cells = Map<String, Value>;

/// The store as it is at one moment, however long reading it takes.
#[derive(Debug)]
pub struct Snapshot {
    transaction: Transaction<'static, Any>,
}

impl Table {
    pub fn is_counted(&self) -> bool {
        COUNTED.contains(&self.name)
    }
}

impl Store {
    pub async fn snapshot(&self) -> Result<Snapshot, StoreError> {
        Ok(Snapshot { transaction: self.readers().begin_with(self.begin_to_read).await? })
    }

    /// The version of the schema: the number of the last migration.
    pub async fn schema(&self) -> Result<i64, StoreError> {
        let (version,): (i64,) = sqlx::query_as("SELECT MAX(version) FROM _sqlx_migrations WHERE success")
            .fetch_one(self.readers())
            .await?;
        Ok(version)
    }
}

impl Snapshot {
    /// The rows of a shop in a table, in an order that does not depend on the database.
    pub async fn rows(&mut self, table: Table, shop_id: &str) -> Result<Vec<Cells>, StoreError> {
        let columns = if table.name == "files" { "shop_id, sha256, name, at" } else { "*" };
        let sql = format!("SELECT {columns} FROM {} WHERE {}", table.name, table.of_shop);
        let rows: Vec<AnyRow> = sqlx::query(AssertSqlSafe(sql).into_sql_str())
            .bind(shop_id)
            .fetch_all(&mut *self.transaction)
            .await?;
        let rows: Vec<Cells> = rows.iter().map(|row| cells(table, row)).collect::<Result<_, _>>()?;
        let before = named_before(&rows);
        let mut keyed = BTreeMap::new();
        for cells in rows {
            let depth = depth(&cells, &before);
            keyed.insert((depth, Value::Object(cells.clone()).to_string()), cells);
        }
        Ok(keyed.into_values().collect())
    }

    /// The rows of a counted table after the number `after`, a piece of them; none where there are no more.
    pub async fn piece(&mut self, table: Table, shop_id: &str, after: i64) -> Result<Vec<Cells>, StoreError> {
        let sql =
            format!("SELECT * FROM {} WHERE {} AND n > $2 ORDER BY n LIMIT $3", table.name, table.of_shop);
        let rows: Vec<AnyRow> = sqlx::query(AssertSqlSafe(sql).into_sql_str())
            .bind(shop_id)
            .bind(after)
            .bind(PIECE)
            .fetch_all(&mut *self.transaction)
            .await?;
        rows.iter().map(|row| cells(table, row)).collect()
    }

    /// The bytes of a file.
    pub async fn file(&mut self, shop_id: &str, sha256: &str) -> Result<Vec<u8>, StoreError> {
        let (bytes,): (Vec<u8>,) =
            sqlx::query_as("SELECT bytes FROM files WHERE shop_id = $1 AND sha256 = $2")
                .bind(shop_id)
                .bind(sha256)
                .fetch_one(&mut *self.transaction)
                .await?;
        Ok(bytes)
    }
}

/// Columns by which a row names one before it in the same table: it takes it back, or stands in its place.
const BEFORE: [&str; 3] = ["reverses_id", "replaces_id", "values_id"];

/// Each row that names one before it, with that one.
fn named_before(rows: &[Cells]) -> BTreeMap<String, String> {
    let text = |cells: &Cells, column: &str| cells.get(column).and_then(Value::as_str).map(str::to_string);
    rows.iter()
        .filter_map(|cells| {
            let before = BEFORE.into_iter().find_map(|column| text(cells, column))?;
            Some((text(cells, "id")?, before))
        })
        .collect()
}

/// How many rows of its table have to be there before a row, whatever their names.
fn depth(cells: &Cells, before: &BTreeMap<String, String>) -> usize {
    let mut id = cells.get("id").and_then(Value::as_str);
    let mut depth = 0;
    while let Some(named) = id.and_then(|id| before.get(id)) {
        depth += 1;
        // Rows that name each other in a ring cannot be; an end for them all the same.
        if depth > before.len() {
            break;
        }
        id = Some(named);
    }
    depth
}

fn cells(table: Table, row: &AnyRow) -> Result<Cells, StoreError> {
    let mut cells = Cells::new();
    for (index, column) in row.columns().iter().enumerate() {
        let raw = row.try_get_raw(index)?;
        let value = if raw.is_null() {
            Value::Null
        } else {
            match raw.type_info().kind() {
                AnyTypeInfoKind::BigInt | AnyTypeInfoKind::Integer | AnyTypeInfoKind::SmallInt => {
                    Value::from(row.try_get::<i64, _>(index)?)
                }
                AnyTypeInfoKind::Text => Value::from(row.try_get::<String, _>(index)?),
                other => {
                    let what = format!("{}.{} is {other:?}", table.name, column.name());
                    return Err(StoreError::Encode(what));
                }
            }
        };
        cells.insert(column.name().to_string(), value);
    }
    Ok(cells)
}

impl Tx {
    /// Puts a row back as it was. `bytes` are a file's.
    pub async fn put_back(
        &mut self,
        table: Table,
        cells: &Cells,
        bytes: Option<&[u8]>,
    ) -> Result<(), StoreError> {
        if let Some(strange) = cells.keys().find(|name| !is_column(name)) {
            return Err(StoreError::Encode(format!("“{strange}” is no column of {}", table.name)));
        }
        // What is null is left out, and null by that: a null has no type of its own that both databases would take.
        let filled = || cells.iter().filter(|(_, value)| !value.is_null());
        let mut columns: Vec<&str> = filled().map(|(name, _)| name.as_str()).collect();
        columns.extend(bytes.map(|_| BYTES));
        let places: Vec<String> = (1..=columns.len()).map(|place| format!("${place}")).collect();
        let sql =
            format!("INSERT INTO {} ({}) VALUES ({})", table.name, columns.join(", "), places.join(", "));
        let mut query: Query<'_, Any, AnyArguments> = sqlx::query(AssertSqlSafe(sql).into_sql_str());
        for (name, value) in filled() {
            query = match value {
                Value::String(text) => query.bind(text.clone()),
                Value::Number(number) if number.is_i64() => query.bind(number.as_i64()),
                other => {
                    let what = format!("{}.{name} cannot be {other}", table.name);
                    return Err(StoreError::Encode(what));
                }
            };
        }
        if let Some(bytes) = bytes {
            query = query.bind(bytes);
        }
        query.execute(&mut **self).await?;
        Ok(())
    }
}

/// Whether a name can be a column's: only such a name gets into the text of a statement.
fn is_column(name: &str) -> bool {
    !name.is_empty()
        && name.len() < 40
        && name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_' || byte.is_ascii_digit())
}
