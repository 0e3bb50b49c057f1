//! Many rows into one table.

use std::fmt::Write;

use sqlx::{AssertSqlSafe, Database, SqlSafeStr, SqlStr, Sqlite};

use super::{Query, StoreError, Tx};

/// Rows that go by one statement: each statement is a way to the database and back.
pub(super) const AT_ONCE: usize = 100;

/// What stands in one column of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Value<'v> {
    Text(&'v str),
    Made(String),
    Number(i64),
    Null,
}

impl<'v> From<Option<&'v str>> for Value<'v> {
    fn from(text: Option<&'v str>) -> Self {
        text.map_or(Value::Null, Value::Text)
    }
}

impl From<Option<String>> for Value<'_> {
    fn from(text: Option<String>) -> Self {
        text.map_or(Value::Null, Value::Made)
    }
}

/// A statement around its rows: `INSERT INTO … VALUES`, and what comes behind them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Insert {
    pub into: &'static str,
    pub behind: &'static str,
}

/// Rows on their way into a table, so many at a time.
#[derive(Debug)]
pub(super) struct Inserting<const COLUMNS: usize> {
    insert: Insert,
    /// The statement that went last.
    last: Option<Form<COLUMNS>>,
}

/// How a statement names the places of its values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Marks {
    /// By number: what rows have in common goes once.
    Numbered,
    /// By their order. SQLite looks a name up among the names of all places, each time a value goes to it: so many names take
    /// longer than what goes once with them saves.
    InOrder,
}

/// The statement for so many rows that have these columns in common.
#[derive(Debug)]
struct Form<const COLUMNS: usize> {
    common: [bool; COLUMNS],
    rows: usize,
    sql: SqlStr,
}

impl<const COLUMNS: usize> Inserting<COLUMNS> {
    /// Adds the rows, which are no more than [`AT_ONCE`], in their order.
    pub async fn add(&mut self, tx: &mut Tx, rows: Vec<[Value<'_>; COLUMNS]>) -> Result<(), StoreError> {
        let Some(first) = rows.first() else { return Ok(()) };
        let marks = if tx.backend_name() == Sqlite::NAME { Marks::InOrder } else { Marks::Numbered };
        let common = match marks {
            Marks::Numbered => {
                std::array::from_fn(|column| rows.iter().all(|row| row[column] == first[column]))
            }
            Marks::InOrder => [false; COLUMNS],
        };
        let form = match self.last.take() {
            Some(form) if form.common == common && form.rows == rows.len() => form,
            _ => Form { common, rows: rows.len(), sql: self.insert.sql(&common, rows.len(), marks) },
        };
        // The last few rows, whose number is any, make no statement that is worth keeping.
        let mut query = sqlx::query(form.sql.clone()).persistent(rows.len() == AT_ONCE);
        for (value, _) in first.iter().zip(common).filter(|(_, common)| *common) {
            query = bind(query, value.clone());
        }
        for row in rows {
            for (value, _) in row.into_iter().zip(common).filter(|(_, common)| !common) {
                query = bind(query, value);
            }
        }
        query.execute(&mut **tx).await?;
        self.last = Some(form);
        Ok(())
    }
}

impl Insert {
    pub fn begin<const COLUMNS: usize>(self) -> Inserting<COLUMNS> {
        Inserting { insert: self, last: None }
    }

    /// The text for so many rows. What the rows have in common has one place, before those of each row.
    fn sql<const COLUMNS: usize>(self, common: &[bool; COLUMNS], rows: usize, marks: Marks) -> SqlStr {
        let mut sql = self.into.to_string();
        let mut next = common.iter().filter(|common| **common).count();
        for row in 0..rows {
            let mut next_common = 0;
            for (column, common) in common.iter().enumerate() {
                let place = if *common { &mut next_common } else { &mut next };
                *place += 1;
                let before = match (row, column) {
                    (0, 0) => " (",
                    (_, 0) => "), (",
                    _ => ", ",
                };
                // Writing to a string cannot fail.
                let _ = match marks {
                    Marks::Numbered => write!(sql, "{before}${place}"),
                    Marks::InOrder => write!(sql, "{before}?"),
                };
            }
        }
        sql.push_str(") ");
        sql.push_str(self.behind);
        AssertSqlSafe(sql).into_sql_str()
    }
}

fn bind<'q>(query: Query<'q>, value: Value<'_>) -> Query<'q> {
    match value {
        Value::Text(text) => query.bind(text.to_string()),
        Value::Made(text) => query.bind(text),
        Value::Number(number) => query.bind(number),
        Value::Null => query.bind(None::<String>),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rows_have_in_common_has_one_place() {
        let insert = Insert { into: "INSERT INTO t (a, b, c) VALUES", behind: "ON CONFLICT DO NOTHING" };
        let sql = |common: [bool; 3], rows| insert.sql(&common, rows, Marks::Numbered).as_str().to_string();
        assert_eq!(
            sql([false, true, false], 2),
            "INSERT INTO t (a, b, c) VALUES ($2, $1, $3), ($4, $1, $5) ON CONFLICT DO NOTHING"
        );
        assert_eq!(
            sql([true, true, true], 1),
            "INSERT INTO t (a, b, c) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING"
        );
        assert_eq!(
            sql([false; 3], 2),
            "INSERT INTO t (a, b, c) VALUES ($1, $2, $3), ($4, $5, $6) ON CONFLICT DO NOTHING"
        );
        let in_order = insert.sql(&[false; 3], 2, Marks::InOrder);
        assert_eq!(
            in_order.as_str(),
            "INSERT INTO t (a, b, c) VALUES (?, ?, ?), (?, ?, ?) ON CONFLICT DO NOTHING"
        );
    }
}
