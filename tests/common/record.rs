//! The whole record as text, whatever the tables are.

use pennyweight::store::Place;
use sqlx::{AnyConnection, AssertSqlSafe};

/// Every row of every table, sorted: `table: values`.
pub async fn everything(connection: &mut AnyConnection, place: &Place) -> Vec<String> {
    let mut rows = Vec::new();
    for table in tables(connection, place).await {
        let row_as_text = match place {
            Place::File(_) => {
                let columns =
                    texts(connection, &format!("SELECT name FROM pragma_table_info('{table}')")).await;
                columns
                    .iter()
                    .map(|column| format!("quote({column})"))
                    .collect::<Vec<_>>()
                    .join(" || ',' || ")
            }
            Place::Postgres(_) => "CAST(t AS TEXT)".to_string(),
        };
        let values = texts(connection, &format!("SELECT {row_as_text} FROM {table} t")).await;
        rows.extend(values.into_iter().map(|values| format!("{table}: {values}")));
    }
    rows.sort();
    rows
}

/// The names of all tables, sorted.
pub async fn tables(connection: &mut AnyConnection, place: &Place) -> Vec<String> {
    let sql = match place {
        Place::File(_) => "SELECT name FROM sqlite_master WHERE type = 'table'",
        Place::Postgres(_) => {
            "SELECT CAST(table_name AS TEXT) FROM information_schema.tables WHERE table_schema = 'public'"
        }
    };
    let mut tables = texts(connection, sql).await;
    tables.sort();
    tables
}

/// A query's only column. Its text is made of table and column names of our own.
async fn texts(connection: &mut AnyConnection, sql: &str) -> Vec<String> {
    let rows: Vec<(String,)> = sqlx::query_as(AssertSqlSafe(sql))
        .fetch_all(connection)
        .await
        .unwrap_or_else(|error| panic!("{sql}: {error}"));
    rows.into_iter().map(|(text,)| text).collect()
}
