//! What every page costs after ten years of a busy shop, of 20,000 shipments with their lots, weighings, settlements and what
//! was done, against one year of it.
//!
//! `cargo bench --bench years` takes the demo, repeats a settled shipment of it into the past as often as that, starts the
//! program on both records and prints for each page the time on ten years beside that on one, in the same run. The money
//! pages, whose book this leaves as it is, are measured by `cargo bench --bench money`. Another number of shipments may stand
//! behind it: `cargo bench --bench years -- 4000`.

#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]

mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::{Duration, Instant};

use common::{Program, cookie, median, signed_in};
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use pennyweight::demo;
use pennyweight::secret::Token;
use pennyweight::store::{By, Place, Store, new_id};
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use tokio::runtime::Runtime;

const SHIPMENTS: usize = 20_000;
const DAYS: i32 = 3_652;
const ROUNDS: usize = 9;
/// The newest copy was made so many days before what it is a copy of.
const NEWEST: i32 = 5;

/// What belongs to a shipment, each after what it refers to; `$1` is the shipment's id. Its bags go with it.
const BELONGS: [(&str, &str); 11] = [
    (
        "containers",
        "id IN (SELECT l.container_id FROM lots l JOIN shipment_lots x ON x.lot_id = l.id WHERE x.shipment_id = $1)",
    ),
    ("lots", "id IN (SELECT lot_id FROM shipment_lots WHERE shipment_id = $1)"),
    ("weighings", "lot_id IN (SELECT lot_id FROM shipment_lots WHERE shipment_id = $1)"),
    ("shipments", "id = $1"),
    ("shipment_lots", "shipment_id = $1"),
    ("waybills", "shipment_id = $1"),
    ("settlements", "shipment_id = $1"),
    ("settlement_lines", "settlement_id IN (SELECT id FROM settlements WHERE shipment_id = $1)"),
    ("settlement_lots", "settlement_id IN (SELECT id FROM settlements WHERE shipment_id = $1)"),
    ("settlement_portions", "settlement_id IN (SELECT id FROM settlements WHERE shipment_id = $1)"),
    ("activity", "noun_id = $1 OR noun_id IN (SELECT lot_id FROM shipment_lots WHERE shipment_id = $1)"),
];

fn main() {
    let runtime = Runtime::new().unwrap();
    let (small, large) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let shipments = std::env::args().find_map(|argument| argument.parse().ok()).unwrap_or(SHIPMENTS);
    let year = Filled::new(&runtime, small.path(), shipments / 10, DAYS / 10);
    let decade = Filled::new(&runtime, large.path(), shipments, DAYS);
    println!("\npage: ten years, one year, times");
    for (small, large) in year.pages.iter().zip(&decade.pages) {
        let (mut on_year, mut on_decade) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            on_year.push(year.fetch(small));
            on_decade.push(decade.fetch(large));
        }
        let (on_year, on_decade) = (median(on_year), median(on_decade));
        println!("{}: {on_decade:.1} ms, {on_year:.1} ms, {:.2}", without_ids(large), on_decade / on_year);
    }
    println!("most memory after the pages: {:.1} MB", decade.program.memory("VmHWM"));
}

/// A record of so many shipments, and the program that serves it.
struct Filled {
    program: Program,
    cookie: String,
    pages: Vec<String>,
}

impl Filled {
    fn new(runtime: &Runtime, folder: &Path, shipments: usize, days: i32) -> Filled {
        let path = folder.join("pennyweight.db");
        let token = runtime.block_on(begin(&path));
        let mut connection = Connection::open(&path).unwrap();
        let started = Instant::now();
        let (shipment, lot, outlet) = fill(&mut connection, shipments, days);
        drop(connection);
        println!("{shipments} shipments are in after {:.0} s", started.elapsed().as_secs_f64());
        let mut program = Program::serve(folder);
        program.wait_until_it_answers();
        let pages = [
            "/",
            "/lots",
            "/lots/new",
            "/weigh",
            "/plan",
            "/plan/load-list",
            "/shipments",
            "/runs",
            "/outlets",
            "/outlets/record",
            "/diverted",
            "/pickups",
            "/activity",
            "/bench",
            "/teardowns",
            "/kept-back",
            "/rates",
            "/sheets",
            "/grades",
            "/people",
            "/containers",
            "/api/v1/lots",
        ];
        let one = [
            format!("/lots/{lot}"),
            format!("/shipments/{shipment}"),
            format!("/outlets/{outlet}"),
            format!("/outlets/{outlet}/record"),
        ];
        let pages = pages.into_iter().map(str::to_string).chain(one).collect();
        let filled = Filled { program, cookie: cookie(&token), pages };
        filled.wait_for_the_plan();
        filled
    }

    /// The plan is sought once and then remembered: pages are measured as they are for the rest of the day.
    fn wait_for_the_plan(&self) {
        while self.body("/").contains("being worked out") || self.body("/plan").contains("data-unfinished") {
            std::thread::sleep(Duration::from_millis(200));
        }
    }

    fn body(&self, url: &str) -> String {
        let answer = ureq::get(self.program.address(url)).header("Cookie", &self.cookie).call().unwrap();
        answer.into_body().read_to_string().unwrap()
    }

    fn fetch(&self, url: &str) -> Duration {
        let started = Instant::now();
        let body = self.body(url);
        let took = started.elapsed();
        assert!(body.len() > 500, "{url}: {body}");
        took
    }
}

/// The demo as it is loaded, and a phone that is signed in.
async fn begin(path: &Path) -> Token {
    let store = Store::open(&Place::File(path.to_path_buf())).await.unwrap();
    demo::load(&store, Timestamp::now()).await.unwrap();
    let shop = store.shops().await.unwrap().remove(0);
    let partner = store.people(&shop.id).await.unwrap().remove(0).partner;
    let by = By { shop_id: shop.id, partner_id: partner.id, at: Timestamp::now() };
    let mut tx = store.begin().await.unwrap();
    let token = signed_in(&mut tx, &by).await;
    tx.commit().await.unwrap();
    store.close().await;
    token
}

/// Rows of one table, as they are copied.
struct Rows {
    table: &'static str,
    columns: Vec<String>,
    rows: Vec<Vec<Value>>,
}

fn rows(connection: &Connection, (table, belongs): (&'static str, &str), shipment: &str) -> Rows {
    let mut query = connection.prepare(&format!("SELECT * FROM {table} WHERE {belongs}")).unwrap();
    let columns: Vec<String> = query.column_names().into_iter().map(str::to_string).collect();
    let read = |row: &rusqlite::Row<'_>| (0..columns.len()).map(|at| row.get::<_, Value>(at)).collect();
    let rows = query.query_map([shipment], read).unwrap().map(Result::unwrap).collect();
    Rows { table, columns, rows }
}

/// Repeats a settled shipment into the past. Gives the newest copy, a lot in it, and the outlet it went to.
fn fill(connection: &mut Connection, shipments: usize, days: i32) -> (String, String, String) {
    let settled = "SELECT s.id, s.outlet_id, x.lot_id FROM shipments s JOIN settlements t ON t.shipment_id = s.id \
                   JOIN shipment_lots x ON x.shipment_id = s.id ORDER BY s.id, x.lot_id LIMIT 1";
    let (shipment, outlet, lot): (String, String, String) =
        connection.query_row(settled, [], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).unwrap();
    let tables: Vec<Rows> = BELONGS.into_iter().map(|of| rows(connection, of, &shipment)).collect();
    assert!(tables.iter().all(|of| !of.rows.is_empty()), "the demo's settled shipment is whole");
    let ids: BTreeSet<String> = tables
        .iter()
        .flat_map(|of| of.columns.iter().position(|column| column == "id").map(|at| (of, at)))
        .flat_map(|(of, at)| of.rows.iter().map(move |row| text(&row[at]).unwrap().to_string()))
        .collect();
    connection.pragma_update(None, "foreign_keys", "OFF").unwrap();
    let transaction = connection.transaction().unwrap();
    let mut newest = None;
    for nth in 0..shipments {
        let ago = NEWEST + i32::try_from(nth).unwrap() * (days - NEWEST) / i32::try_from(shipments).unwrap();
        let mut named: BTreeMap<&str, String> = BTreeMap::new();
        for Rows { table, columns, rows } in &tables {
            let places: Vec<String> = (1..=columns.len()).map(|at| format!("?{at}")).collect();
            let sql = format!("INSERT INTO {table} VALUES ({})", places.join(", "));
            let mut insert = transaction.prepare_cached(&sql).unwrap();
            for row in rows {
                let copied = columns.iter().zip(row).map(|(column, value)| {
                    let Some(words) = text(value) else { return value.clone() };
                    if let Some(id) = ids.get(words) {
                        return Value::Text(named.entry(id).or_insert_with(new_id).clone());
                    }
                    if let Some(earlier) = earlier(words, ago) {
                        return Value::Text(earlier);
                    }
                    match column.as_str() {
                        "number" | "label" => Value::Text(format!("{words} {nth}")),
                        _ => value.clone(),
                    }
                });
                insert.execute(params_from_iter(copied)).unwrap();
            }
        }
        newest.get_or_insert((named[shipment.as_str()].clone(), named[lot.as_str()].clone()));
    }
    transaction
        .execute("UPDATE containers SET retired_at = created_at WHERE label LIKE '% % %'", [])
        .unwrap();
    // The sums of what left are made at the next start, as in a record that is older than they are.
    transaction.execute("DELETE FROM diverted_totals", []).unwrap();
    transaction.execute("DELETE FROM diverted_books", []).unwrap();
    transaction.commit().unwrap();
    let (shipment, lot) = newest.unwrap();
    (shipment, lot, outlet)
}

fn text(value: &Value) -> Option<&str> {
    match value {
        Value::Text(words) => Some(words),
        _ => None,
    }
}

/// A day or a moment, so many days earlier; `None` for other words.
fn earlier(words: &str, days: i32) -> Option<String> {
    let (day, rest) = words.split_at_checked(10)?;
    let day: Date = day.parse().ok()?;
    (rest.is_empty() || rest.starts_with('T')).then(|| format!("{}{rest}", day.saturating_sub(days.days())))
}

fn without_ids(url: &str) -> String {
    url.split('/').map(|part| if part.len() > 30 { "…" } else { part }).collect::<Vec<_>>().join("/")
}
