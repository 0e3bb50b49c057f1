//! What the money pages cost after ten years of a busy shop: a million entries of the cash book, of 20,000 shipments, against
//! a tenth of that, and against one bare sum of SQLite over the same rows.
//!
//! `cargo bench --bench money` fills two records, has `check` prove them, starts the program on both, and prints for each
//! money page the time on ten years beside that on one; the money page beside the bare sum; and the most memory that the
//! program ever took while all of it went out as rows, as a workbook and as a journal. All in the same run. Another number of
//! entries may stand behind it: `cargo bench --bench money -- 200000`.

#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]

mod common;

use std::io::Read;
use std::path::Path;
use std::time::Instant;

use common::{Program, Shop, median};
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use pennyweight::store::{Place, Store, new_id, stamp};
use rusqlite::{Connection, params};
use tokio::runtime::Runtime;

const TEN_YEARS: usize = 1_000_000;
const SHIPMENTS: usize = 20_000;
const DAYS: i32 = 3_652;
const ROUNDS: usize = 21;

/// What one entry in so many is, with the least and the most cents.
const KINDS: [(&str, usize, i64, i64); 10] = [
    ("sale", 45, 500, 90_000),
    ("fee", 10, -900, -10),
    ("freight", 10, -6_000, -700),
    ("box", 8, -900, -100),
    ("purchase", 10, -30_000, -500),
    ("trip", 8, -2_500, -300),
    ("border", 3, -3_000, -100),
    ("labour", 2, -12_000, -1_000),
    ("other", 2, -2_000, -100),
    ("payout", 2, -40_000, -5_000),
];

fn main() {
    let runtime = Runtime::new().unwrap();
    let (small, large) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let entries = std::env::args().find_map(|argument| argument.parse().ok()).unwrap_or(TEN_YEARS);
    let year = Filled::new(&runtime, small.path(), entries / 10, DAYS / 10);
    let decade = Filled::new(&runtime, large.path(), entries, DAYS);
    compare_pages(&year, &decade);
    take_along(&decade);
}

/// A record with a full cash book, and the program that serves it.
struct Filled {
    program: Program,
    cookie: String,
    database: std::path::PathBuf,
    shop_id: String,
    outlet: String,
    entry: String,
    /// The last day that is in the book.
    last: Date,
}

impl Filled {
    fn new(runtime: &Runtime, folder: &Path, entries: usize, days: i32) -> Filled {
        let shop = runtime.block_on(Shop::in_folder(folder));
        runtime.block_on(shop.store.close());
        let database = folder.join("pennyweight.db");
        let last = Timestamp::now().in_tz("America/Detroit").unwrap().date();
        let started = Instant::now();
        let entry = fill(&database, &shop, entries, days, last);
        println!("{entries} entries are in after {:.0} s", started.elapsed().as_secs_f64());
        let started = Instant::now();
        runtime.block_on(async {
            let store = Store::open(&Place::File(database.clone())).await.unwrap();
            assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
            store.close().await;
        });
        println!("check proves them in {:.1} s", started.elapsed().as_secs_f64());
        let mut program = Program::serve(folder);
        program.wait_until_it_answers();
        Filled {
            program,
            cookie: shop.cookie.clone(),
            database,
            shop_id: shop.by.shop_id.clone(),
            outlet: shop.outlet.to_string(),
            entry,
            last,
        }
    }

    fn address(&self, url: &str) -> String {
        self.program.address(url)
    }

    /// Fetches a page or file to its end; gives its length.
    fn fetch(&self, url: &str) -> u64 {
        let answer = ureq::get(self.address(url)).header("Cookie", &self.cookie).call().unwrap();
        let mut body = answer.into_body().into_reader();
        let mut chunk = vec![0; 256 * 1024];
        let mut length = 0;
        loop {
            match body.read(&mut chunk).unwrap() {
                0 => return length,
                read => length += read as u64,
            }
        }
    }

    /// The money pages of the year that ends now.
    fn pages(&self) -> Vec<String> {
        let year = self.last.year();
        let month = format!("{year}-{:02}", self.last.month());
        vec![
            "/money".to_string(),
            format!("/money?year={}", year - 1),
            format!("/money?month={month}"),
            "/money/entries".to_string(),
            format!("/money/entries?from={month}&to={month}&outlet={}", self.outlet),
            format!("/money/entries?from={year}-01&to={year}-12&kind=labour"),
            format!("/money/entries?from={year}-01&to={year}-12&grade=copper-2"),
            format!("/money/entries/{}", self.entry),
            "/money/unrated".to_string(),
            "/money/shares".to_string(),
            "/money/hours".to_string(),
        ]
    }
}

/// Fills a book as the program would, in one go. Its sums are made here once more, by other SQL: `check` compares them.
fn fill(database: &Path, shop: &Shop, entries: usize, days: i32, last: Date) -> String {
    let mut connection = Connection::open(database).unwrap();
    let (shop_id, partner) = (shop.by.shop_id.as_str(), shop.by.partner_id.as_str());
    let grades: Vec<String> = {
        let mut query = connection.prepare("SELECT id FROM grades WHERE shop_id = ?1 ORDER BY id").unwrap();
        query.query_map([shop_id], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    let outlets: Vec<String> = (0..14).map(|_| new_id()).chain([shop.outlet.to_string()]).collect();
    let by_entries = TEN_YEARS / SHIPMENTS;
    let transaction = connection.transaction().unwrap();
    for (nth, id) in outlets.iter().enumerate().take(14) {
        let copy = "CREATE TEMP TABLE one AS SELECT * FROM outlets LIMIT 1";
        transaction.execute(copy, []).unwrap();
        transaction.execute("UPDATE one SET id = ?1, name = ?2", params![id, format!("Yard {nth}")]).unwrap();
        transaction.execute("INSERT INTO outlets SELECT * FROM one", []).unwrap();
        transaction.execute("DROP TABLE one", []).unwrap();
    }
    let at = stamp(Timestamp::now());
    let sql = "INSERT INTO cash_entries (id, shop_id, n, day, kind, amount, currency, home_amount, rate, document, \
               document_id, outlet_id, grade_id, source_id, partner_id, note, entered_by, at) \
               VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18)";
    let mut dice = dice_from(20_260_512);
    let (mut document, mut pickup, mut middle) = (new_id(), new_id(), String::new());
    {
        let mut insert = transaction.prepare(sql).unwrap();
        for nth in 0..entries {
            let ago = days - 1 - i32::try_from(nth * usize::try_from(days).unwrap() / entries).unwrap();
            let day = last.saturating_sub(ago.days());
            if nth % by_entries == 0 {
                document = new_id();
            }
            if nth % 60 == 0 {
                pickup = new_id();
            }
            let mut left = dice(100);
            let (kind, _, least, most) = KINDS
                .iter()
                .find(|(_, share, ..)| {
                    let is_it = left < *share;
                    left = left.saturating_sub(*share);
                    is_it
                })
                .unwrap();
            let amount = least + i64::try_from(dice(usize::try_from(most - least).unwrap())).unwrap();
            let is_sale = *kind == "sale";
            let foreign = is_sale && dice(5) == 0;
            let unrated = foreign && dice(5_000) == 0;
            // Half away from zero: 0.7355 is 7,355 ten-thousandths.
            let worth = (amount * 7_355 + 5_000) / 10_000;
            let id = new_id();
            if nth == entries / 2 {
                middle.clone_from(&id);
            }
            let trade = *kind != "payout";
            insert
                .execute(params![
                    id,
                    shop_id,
                    i64::try_from(nth + 1).unwrap(),
                    day.to_string(),
                    kind,
                    amount,
                    if foreign { "CAD" } else { "USD" },
                    if unrated { None } else { Some(if foreign { worth } else { amount }) },
                    (foreign && !unrated).then_some("0.7355"),
                    trade.then_some("shipment"),
                    trade.then_some(document.as_str()),
                    trade.then(|| outlets[dice(outlets.len())].as_str()),
                    is_sale.then(|| grades[dice(grades.len())].as_str()),
                    (is_sale || *kind == "purchase").then_some(pickup.as_str()),
                    (!trade).then_some(partner),
                    "two bags, weighed twice",
                    partner,
                    at,
                ])
                .unwrap();
        }
    }
    transaction
        .execute("INSERT INTO cash_books VALUES (?1, ?2)", params![shop_id, i64::try_from(entries).unwrap()])
        .unwrap();
    for (facet, key) in [
        ("all", "''"),
        ("outlet", "outlet_id"),
        ("grade", "grade_id"),
        ("source", "source_id"),
        ("partner", "partner_id"),
    ] {
        let sql = format!(
            "INSERT INTO cash_totals SELECT shop_id, '{facet}', SUBSTR(day, 1, 7), {key}, kind, currency, SUM(amount), \
             SUM(COALESCE(home_amount, 0)), COUNT(*), SUM(home_amount IS NULL) FROM cash_entries \
             WHERE {key} IS NOT NULL GROUP BY 1, 3, 4, 5, 6"
        );
        transaction.execute(&sql, []).unwrap();
    }
    fill_hours(&transaction, shop_id, partner, days, last);
    transaction.commit().unwrap();
    connection.execute("ANALYZE", []).ok();
    middle
}

fn fill_hours(transaction: &rusqlite::Transaction<'_>, shop_id: &str, partner: &str, days: i32, last: Date) {
    let works = ["collecting", "teardown", "sorting", "packing", "driving"];
    let at = stamp(Timestamp::now());
    let sql = "INSERT INTO hours (id, shop_id, day, partner_id, minutes, work, note, entered_by, at) \
               VALUES (?1, ?2, ?3, ?4, ?5, ?6, '', ?4, ?7)";
    let mut insert = transaction.prepare(sql).unwrap();
    for ago in 0..days {
        for work in works {
            let day = last.saturating_sub(ago.days()).to_string();
            insert.execute(params![new_id(), shop_id, day, partner, 45 + ago % 60, work, at]).unwrap();
        }
    }
    let sql = "INSERT INTO hour_totals SELECT shop_id, SUBSTR(day, 1, 7), partner_id, work, SUM(minutes) FROM hours \
               GROUP BY 1, 2, 3, 4";
    transaction.execute(sql, []).unwrap();
}

/// Numbers that look random and are the same on every run: the multiplier and modulus of Lewis, Goodman and Miller
/// (1969), from memory.
fn dice_from(seed: u64) -> impl FnMut(usize) -> usize {
    let mut state = seed;
    move |bound| {
        state = state * 16_807 % 2_147_483_647;
        usize::try_from(state).unwrap() % bound
    }
}

fn compare_pages(year: &Filled, decade: &Filled) {
    println!("\npage: ten years, one year, times");
    let mut money = 0.0;
    for (small, large) in year.pages().iter().zip(decade.pages()) {
        let (mut on_year, mut on_decade) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            for (filled, url, times) in [(year, small, &mut on_year), (decade, &large, &mut on_decade)] {
                let started = Instant::now();
                filled.fetch(url);
                times.push(started.elapsed());
            }
        }
        let (on_year, on_decade) = (median(on_year), median(on_decade));
        if large == "/money" {
            money = on_decade;
        }
        let short = large.replace(&decade.outlet, "…").replace(&decade.entry, "…");
        println!("{short}: {on_decade:.1} ms, {on_year:.1} ms, {:.2}", on_decade / on_year);
    }
    let connection = Connection::open(&decade.database).unwrap();
    let year = format!("{}-01-01", decade.last.year());
    for (what, from) in [("this year's entries", year.as_str()), ("all entries", "0000-01-01")] {
        let sql = "SELECT COUNT(*), SUM(home_amount) FROM cash_entries WHERE shop_id = ?1 AND day >= ?2";
        let mut times = Vec::new();
        let mut rows = 0;
        for _ in 0..5 {
            let started = Instant::now();
            let (count, _): (i64, i64) = connection
                .query_row(sql, params![decade.shop_id, from], |row| Ok((row.get(0)?, row.get(1)?)))
                .unwrap();
            rows = count;
            times.push(started.elapsed());
        }
        let bare = median(times);
        println!(
            "one bare sum of {what} ({rows} rows): {bare:.1} ms; the money page takes {:.3} times that",
            money / bare
        );
    }
}

fn take_along(decade: &Filled) {
    println!("\nmost memory after the pages: {:.1} MB", decade.program.memory("VmHWM"));
    for ending in ["csv", "beancount", "xlsx"] {
        let started = Instant::now();
        let length = decade.fetch(&format!("/money/book.{ending}"));
        println!(
            "book.{ending}: {:.1} MB in {:.1} s; most memory until then {:.1} MB",
            length as f64 / 1e6,
            started.elapsed().as_secs_f64(),
            decade.program.memory("VmHWM")
        );
    }
}
