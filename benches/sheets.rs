//! A sheet of 10,000 rows, read and matched to grades, against bare reading of its cells by the same libraries.
//!
//! `cargo bench --bench sheets` prints the median of each and the ratio of the two.

#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]

use std::hint::black_box;
use std::io::Cursor;
use std::time::{Duration, Instant};

use calamine::{Reader, Xlsx};
use intake::{Catalogue, Format, Grade, Hints, Learned, WorkbookKind, read};
use jiff::civil::date;
use pennyweight::catalogue::GRADES;
use rust_xlsxwriter::Workbook;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

const ROWS: usize = 10_000;
const ROUNDS: usize = 9;

/// Names as sheets have them, the shop's grades and others, each with its number so that no two rows are one.
fn names() -> Vec<String> {
    let kinds = ["", " clean", ", mixed", " (no steel)", " #2", " lot"];
    let grade = |at: usize| &GRADES[at % GRADES.len()].details.name;
    (0..ROWS).map(|at| format!("{}{} {}", grade(at), kinds[at % kinds.len()], at)).collect()
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

fn ours(format: Format, bytes: &[u8], catalogue: &Catalogue) {
    let hints = Hints {
        currency: Currency::USD,
        unit: Some(PriceUnit::Mass(MassUnit::Pound)),
        today: date(2026, 11, 4),
    };
    let sheet = read(format, bytes, &hints).unwrap();
    assert_eq!(sheet.rows.len(), ROWS);
    let learned = Learned::default();
    for row in &sheet.rows {
        black_box(catalogue.propose(&learned, &row.wording, row.group.as_deref()));
    }
}

fn report(name: &str, ours: Duration, bare: Duration) {
    let ratio = ours.as_secs_f64() / bare.as_secs_f64();
    println!("{name}: read and matched {ours:?}, bare cells {bare:?}, ratio {ratio:.1}");
}

fn main() {
    let catalogue = Catalogue::new(GRADES.iter().map(|grade| Grade {
        id: grade.slug.clone(),
        name: grade.details.name.clone(),
        family: grade.details.family.clone(),
    }));
    let names = names();
    let price = |at: usize| 1 + at % 900;

    let mut csv = String::from("Grade,Price,Unit\n");
    for (at, name) in names.iter().enumerate() {
        csv += &format!("\"{name}\",{}.{:02},lb\n", price(at) / 100, price(at) % 100);
    }
    let by_us = median(|| ours(Format::Delimited, csv.as_bytes(), &catalogue));
    let bare = median(|| {
        let mut reader = csv::Reader::from_reader(csv.as_bytes());
        for record in reader.records() {
            black_box(record.unwrap());
        }
    });
    report("CSV ", by_us, bare);

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
    let bytes = workbook.save_to_buffer().unwrap();
    let by_us = median(|| ours(Format::Workbook(WorkbookKind::Xlsx), &bytes, &catalogue));
    let bare = median(|| {
        let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(&bytes)).unwrap();
        let range = workbook.worksheet_range("Sheet1").unwrap();
        black_box(range.rows().count());
    });
    report("XLSX", by_us, bare);

    let lines: Vec<String> = names.iter().take(150).map(|name| format!("{name} ........ $1.25/lb")).collect();
    let text = lines.join("\n");
    let hints = Hints { currency: Currency::USD, unit: None, today: date(2026, 11, 4) };
    let reviewed = median(|| {
        let sheet = read(Format::Text, text.as_bytes(), &hints).unwrap();
        for row in &sheet.rows {
            black_box(catalogue.propose(&Learned::default(), &row.wording, row.group.as_deref()));
        }
    });
    println!("a message of 150 lines: read and matched {reviewed:?}");
}
