//! A sheet of 10,000 rows, read, matched to grades and saved, against bare reading of its cells by the same libraries and
//! inserts of the same rows by rusqlite, both durable (WAL, synchronous FULL) and each in one transaction.
//!
//! Two sheets of that length: one in which every row has a name of its own, which is the most work there can be, and an
//! export as large yards make them, in which a few hundred names come again for each place and tier.
//!
//! `cargo bench --bench sheets` prints the median of each and the ratio of the two. Both sides insert the same ten columns
//! and three that are alike in all rows, into a table with the same indexes, without the references to other tables that
//! ours are checked for; what is learned of the wordings, the file, and the draft that outlives a restart are ours alone.

#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]

#[path = "common/mod.rs"]
mod common;

use std::hint::black_box;
use std::io::Cursor;
use std::time::{Duration, Instant};

use calamine::{Data, Reader, Xlsx};
use common::{Program, Shop};
use intake::{Catalogue, Format, Grade, Hints, Learned, Sheet, WorkbookKind, read};
use jiff::civil::date;
use pennyweight::catalogue::GRADES;
use pennyweight::review::{Answers, Facts, Known, Review};
use pennyweight::store::drafts::NewDraft;
use pennyweight::store::files::sha256;
use pennyweight::store::new_id;
use rusqlite::Connection;
use rust_xlsxwriter::Workbook;
use tokio::runtime::Runtime;
use trade::exchange::RateBook;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

/// As in the program.
#[cfg(feature = "allocator")]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

const ROWS: usize = 10_000;
const LINES: usize = 150;
const ROUNDS: usize = 9;

/// Names as sheets have them, the shop's grades and others.
fn name(at: usize) -> String {
    let kinds = ["", " clean", ", mixed", " (no steel)", " #2", " lot"];
    format!("{}{}", GRADES[at % GRADES.len()].details.name, kinds[at % kinds.len()])
}

/// The names of all rows: each with its number so that no two are one, or as an export repeats them.
fn names(each_its_own: bool) -> Vec<String> {
    (0..ROWS).map(|at| if each_its_own { format!("{} {at}", name(at)) } else { name(at) }).collect()
}

fn median(mut work: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed()
        })
        .collect();
    times.sort();
    times[ROUNDS / 2]
}

fn parsed(format: Format, bytes: &[u8]) -> Sheet {
    let hints = Hints {
        currency: Currency::USD,
        unit: Some(PriceUnit::Mass(MassUnit::Pound)),
        today: date(2026, 11, 4),
    };
    read(format, bytes, &hints).unwrap()
}

/// The sheet under review, every line of it matched to the likely grade or left out.
fn matched(sheet: &Sheet, answers: &Answers, catalogue: &Catalogue) -> Review {
    let known = Known {
        before: Default::default(),
        others: Vec::new(),
        rates: RateBook::default(),
        date: answers.valid_from,
    };
    let facts = Facts {
        catalogue,
        grades: &GRADES.iter().map(|grade| grade.slug.clone()).collect(),
        learned: &Learned::default(),
        pays_in: Currency::USD,
        usual_unit: PriceUnit::Mass(MassUnit::Pound),
        known: &known,
    };
    Review::new(sheet, answers, &facts)
}

/// What an upload and its confirmation do, but for the child process and the pages.
async fn ours(shop: &Shop, format: Format, bytes: &[u8], catalogue: &Catalogue) {
    let sheet = parsed(format, bytes);
    assert_eq!(sheet.rows.len(), ROWS);
    let answers = Answers::new(date(2026, 11, 4));
    let id = new_id();
    // No two sheets are from the same file.
    let hash = sha256(id.as_bytes());
    let draft = NewDraft {
        id: &id,
        outlet_id: &shop.outlet,
        sha256: &hash,
        file_name: "sheet",
        bytes,
        reading: &serde_json::to_string(&sheet).unwrap(),
        answers: &serde_json::to_string(&answers).unwrap(),
    };
    shop.store.add_draft(&shop.by, &draft).await.unwrap();
    let review = matched(&sheet, &answers, catalogue);
    let sheet = review.new_sheet(&id, &shop.outlet, &hash, &answers);
    assert_eq!(sheet.quotes.len(), ROWS);
    shop.store.confirm_draft(&shop.by, 1, &sheet, &review.learned()).await.unwrap();
}

/// The table of quotes with its indexes, as the migrations make it.
const QUOTES: &str = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
    CREATE TABLE quotes (id TEXT PRIMARY KEY, shop_id TEXT NOT NULL, sheet_id TEXT NOT NULL, position BIGINT NOT NULL, \
    wording TEXT NOT NULL, grade_id TEXT, price TEXT, price_high TEXT, currency TEXT NOT NULL, unit TEXT NOT NULL, \
    from_ug BIGINT NOT NULL, source TEXT NOT NULL, place TEXT NOT NULL); \
    CREATE INDEX quotes_sheet ON quotes (sheet_id, position); CREATE INDEX quotes_grade ON quotes (shop_id, grade_id);";

/// Rows of three cells into the table, in one transaction.
fn insert(database: &mut Connection, rows: impl Iterator<Item = [String; 3]>) {
    let (shop, sheet) = (new_id(), new_id());
    let tx = database.transaction().unwrap();
    let mut statement = tx
        .prepare("INSERT INTO quotes VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, NULL, 'USD', ?8, 0, ?9, ?10)")
        .unwrap();
    let mut count = 0;
    for (at, [name, price, unit]) in rows.enumerate() {
        let source = format!("{name} | {price} | {unit}");
        let place = format!("line {at}");
        let values =
            rusqlite::params![new_id(), shop, sheet, at as i64, name, "copper-2", price, unit, source, place];
        statement.execute(values).unwrap();
        count += 1;
    }
    assert_eq!(count, ROWS);
    drop(statement);
    tx.commit().unwrap();
}

fn price(at: usize) -> usize {
    1 + at % 900
}

fn as_csv(names: &[String]) -> String {
    let row =
        |(at, name): (usize, &String)| format!("\"{name}\",{}.{:02},lb\n", price(at) / 100, price(at) % 100);
    ["Grade,Price,Unit\n".to_string()].into_iter().chain(names.iter().enumerate().map(row)).collect()
}

fn as_workbook(names: &[String]) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let page = workbook.add_worksheet();
    for (column, name) in ["Grade", "Price", "Unit"].into_iter().enumerate() {
        page.write(0, column as u16, name).unwrap();
    }
    for (at, name) in names.iter().enumerate() {
        let row = at as u32 + 1;
        page.write(row, 0, name).unwrap();
        page.write(row, 1, price(at) as f64 / 100.0).unwrap();
        page.write(row, 2, "lb").unwrap();
    }
    workbook.save_to_buffer().unwrap()
}

fn report(name: &str, ours: Duration, bare: Duration) {
    let ratio = ours.as_secs_f64() / bare.as_secs_f64();
    println!("{name}: read, matched and saved {ours:?}; bare cells and inserts {bare:?}; ratio {ratio:.1}");
}

fn main() {
    let catalogue = Catalogue::new(GRADES.iter().map(|grade| Grade {
        id: grade.slug.clone(),
        name: grade.details.name.clone(),
        family: grade.details.family.clone(),
    }));
    let folder = tempfile::tempdir().unwrap();
    let runtime = Runtime::new().unwrap();
    let shop = runtime.block_on(Shop::in_folder(folder.path()));
    let mut database = Connection::open(folder.path().join("bare.db")).unwrap();
    database.execute_batch(QUOTES).unwrap();
    for (which, each_its_own) in [("names of their own", true), ("an export", false)] {
        let names = names(each_its_own);
        let csv = as_csv(&names);
        let by_us = median(|| runtime.block_on(ours(&shop, Format::Delimited, csv.as_bytes(), &catalogue)));
        let bare = median(|| {
            let mut reader = csv::Reader::from_reader(csv.as_bytes());
            let rows = reader.records().map(|record| {
                let record = record.unwrap();
                [0, 1, 2].map(|at| record[at].to_string())
            });
            insert(&mut database, rows);
        });
        report(&format!("CSV, {which}"), by_us, bare);

        let bytes = as_workbook(&names);
        let kind = Format::Workbook(WorkbookKind::Xlsx);
        let by_us = median(|| runtime.block_on(ours(&shop, kind, &bytes, &catalogue)));
        let bare = median(|| {
            let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(&bytes)).unwrap();
            let range = workbook.worksheet_range("Sheet1").unwrap();
            let rows = range.rows().skip(1).map(|row| [0, 1, 2].map(|at| Data::to_string(&row[at])));
            insert(&mut database, rows);
        });
        report(&format!("XLSX, {which}"), by_us, bare);
    }

    let names = names(true);
    let csv = as_csv(&names);
    for part in ["parse", "match", "to JSON"] {
        let sheet = parsed(Format::Delimited, csv.as_bytes());
        let answers = Answers::new(date(2026, 11, 4));
        let took = median(|| match part {
            "parse" => drop(black_box(parsed(Format::Delimited, csv.as_bytes()))),
            "match" => drop(black_box(matched(&sheet, &answers, &catalogue))),
            _ => drop(black_box(serde_json::to_string(&sheet).unwrap())),
        });
        println!("  of CSV, {part}: {took:?}");
    }

    runtime.block_on(async {
        shop.pays(&["copper-2", "copper-bright", "brass-yellow", "stainless"]).await;
        for at in 0..40 {
            shop.lot(&format!("Bag {at}"), ["copper-2", "brass-yellow"][at % 2]).await;
        }
        shop.store.close().await;
    });
    let mut program = Program::serve(folder.path());
    program.wait_until_it_answers();
    let names: Vec<String> = (0..LINES).map(name).collect();
    reviews("a message", &program, &shop, |round| {
        let lines: Vec<String> = names.iter().map(|name| format!("{name} ........ $1.25/lb")).collect();
        let text = format!("Prices, list {round}\n{}", lines.join("\n"));
        ("name=\"text\"".to_string(), text.into_bytes())
    });
    reviews("a workbook", &program, &shop, |round| {
        // No two are alike, so that none is recognised.
        let names: Vec<String> = names.iter().map(|name| format!("{name} ({round})")).collect();
        ("name=\"file\"; filename=\"prices.xlsx\"".to_string(), as_workbook(&names))
    });
}

/// What a partner waits for who sends a sheet of 150 lines: the answer to the upload, for which a child process has read it,
/// and the page of the review with its flags and what it does to the sell plan, from the program itself.
fn reviews(what: &str, program: &Program, shop: &Shop, sheet: impl Fn(usize) -> (String, Vec<u8>)) {
    let agent: ureq::Agent = ureq::Agent::config_builder().max_redirects(0).build().into();
    let (mut arriving, mut shown, mut whole) = (Vec::new(), Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        let (field, bytes) = sheet(round);
        let mut body = Vec::new();
        for (field, value) in [
            ("name=\"id\"", new_id().as_bytes()),
            ("name=\"outlet\"", shop.outlet.as_str().as_bytes()),
            (&*field, &*bytes),
        ] {
            body.extend_from_slice(
                format!("--cut\r\nContent-Disposition: form-data; {field}\r\n\r\n").as_bytes(),
            );
            body.extend_from_slice(value);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(b"--cut--\r\n");
        let start = Instant::now();
        let upload = agent
            .post(program.address("/sheets/new"))
            .header("Cookie", &shop.cookie)
            .header("x-form-token", &shop.form_token)
            .header("Content-Type", "multipart/form-data; boundary=cut");
        let answer = upload.send(&body[..]).unwrap();
        arriving.push(start.elapsed());
        let path = answer.headers()["location"].to_str().unwrap().to_string();
        let asked = Instant::now();
        let page = agent.get(program.address(&path)).header("Cookie", &shop.cookie).call().unwrap();
        let page = page.into_body().read_to_string().unwrap();
        shown.push(asked.elapsed());
        whole.push(start.elapsed());
        assert!(page.contains("To confirm"), "{page}");
    }
    let [arriving, shown, whole] = [arriving, shown, whole].map(common::median);
    println!(
        "{what} of {LINES} lines: read and kept in {arriving:.1} ms, its review shown in {shown:.1} ms; in all {whole:.1} ms"
    );
}
