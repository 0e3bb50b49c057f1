//! Many rows into one table.

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

/// A statement around its rows: `INSERT INTO …`, and what comes behind them.
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

/// How a statement spells what its rows have in common, which goes to the database once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Spelling {
    /// All places have a number, and the number of what is common comes again in each row.
    Numbered,
    /// No place has a name, because SQLite looks a name up among those of all places each time a value goes to it: what is
    /// common is a row of its own that every other one is joined to.
    Joined,
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
        let spelling = if tx.backend_name() == Sqlite::NAME { Spelling::Joined } else { Spelling::Numbered };
        let mut common = std::array::from_fn(|column| rows.iter().all(|row| row[column] == first[column]));
        if common == [true; COLUMNS] {
            common = [false; COLUMNS];
        }
        let form = match self.last.take() {
            Some(form) if form.common == common && form.rows == rows.len() => form,
            _ => Form { common, rows: rows.len(), sql: self.insert.sql(&common, rows.len(), spelling) },
        };
        // The last few rows, whose number is any, make no statement that is worth keeping.
        let mut query = sqlx::query(form.sql.clone()).persistent(rows.len() == AT_ONCE);
        let shared: Vec<Value<'_>> =
            first.iter().zip(common).filter(|(_, common)| *common).map(|(value, _)| value.clone()).collect();
        let each = rows.into_iter().flat_map(|row| row.into_iter().zip(common));
        let each = each.filter(|(_, common)| !common).map(|(value, _)| value);
        query = match spelling {
            Spelling::Numbered => shared.into_iter().chain(each).fold(query, bind),
            Spelling::Joined => each.chain(shared).fold(query, bind),
        };
        query.execute(&mut **tx).await?;
        self.last = Some(form);
        Ok(())
    }
}

impl Insert {
    pub fn begin<const COLUMNS: usize>(self) -> Inserting<COLUMNS> {
        Inserting { insert: self, last: None }
    }

    /// The text for so many rows that have these columns in common.
    fn sql<const COLUMNS: usize>(self, common: &[bool; COLUMNS], rows: usize, spelling: Spelling) -> SqlStr {
        let sql = match spelling {
            Spelling::Numbered => self.numbered(common, rows),
            Spelling::Joined => self.joined(common, rows),
        };
        AssertSqlSafe(sql).into_sql_str()
    }

    /// The numbers of what is common come before those of each row.
    fn numbered(self, common: &[bool], rows: usize) -> String {
        let mut next = common.iter().filter(|common| **common).count();
        let mut row = || {
            let mut next_common = 0;
            let place = |common: &bool| {
                let place = if *common { &mut next_common } else { &mut next };
                *place += 1;
                format!("${place}")
            };
            common.iter().map(place).collect::<Vec<_>>()
        };
        let rows = in_brackets((0..rows).map(|_| row()));
        format!("{} VALUES {rows} {}", self.into, self.behind)
    }

    /// The places of each row come before those of what is common.
    fn joined(self, common: &[bool], rows: usize) -> String {
        let shared = common.iter().filter(|common| **common).count();
        let each = in_brackets((0..rows).map(|_| vec!["?".to_string(); common.len() - shared]));
        if shared == 0 {
            return format!("{} VALUES {each} {}", self.into, self.behind);
        }
        let (mut next, mut next_common) = (0, 0);
        let column = |common: &bool| {
            let (table, place) = if *common { ("shared", &mut next_common) } else { ("each", &mut next) };
            *place += 1;
            format!("{table}.column{place}")
        };
        let columns = common.iter().map(column).collect::<Vec<_>>().join(", ");
        let shared = in_brackets(std::iter::once(vec!["?".to_string(); shared]));
        // Without a condition, SQLite would take what stands behind it for that of the join.
        format!(
            "{} SELECT {columns} FROM (VALUES {each}) AS each CROSS JOIN (VALUES {shared}) AS shared WHERE true {}",
            self.into, self.behind
        )
    }
}

fn in_brackets(rows: impl Iterator<Item = Vec<String>>) -> String {
    rows.map(|row| format!("({})", row.join(", "))).collect::<Vec<_>>().join(", ")
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
        let insert = Insert { into: "INSERT INTO t (a, b, c)", behind: "ON CONFLICT DO NOTHING" };
        let sql =
            |common: [bool; 3], rows, spelling| insert.sql(&common, rows, spelling).as_str().to_string();
        assert_eq!(
            sql([false, true, false], 2, Spelling::Numbered),
            "INSERT INTO t (a, b, c) VALUES ($2, $1, $3), ($4, $1, $5) ON CONFLICT DO NOTHING"
        );
        assert_eq!(
            sql([false; 3], 2, Spelling::Numbered),
            "INSERT INTO t (a, b, c) VALUES ($1, $2, $3), ($4, $5, $6) ON CONFLICT DO NOTHING"
        );
        assert_eq!(
            sql([false, true, false], 2, Spelling::Joined),
            "INSERT INTO t (a, b, c) SELECT each.column1, shared.column1, each.column2 \
             FROM (VALUES (?, ?), (?, ?)) AS each CROSS JOIN (VALUES (?)) AS shared WHERE true ON CONFLICT DO NOTHING"
        );
        assert_eq!(
            sql([false; 3], 2, Spelling::Joined),
            "INSERT INTO t (a, b, c) VALUES (?, ?, ?), (?, ?, ?) ON CONFLICT DO NOTHING"
        );
    }
}
