//! Whole sheets, each beside the rows that it must give.
//!
//! The sheets are invented. Each file of `tests/data/sheets` has a file of the same name plus `.rows` beside it. After
//! an intended change, `UPDATE_ROWS=1 cargo test -p intake sheets::` writes them anew; read the difference.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use intake::{Hints, Place, RowPrice, Sheet, detect, read};
use jiff::civil::date;
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, PriceUnit};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/sheets")
}

/// What is known of the outlet: in the files' names, as `.cad` or `.eur` before the ending; a US yard else.
fn hints(name: &str) -> Hints {
    let today = date(2026, 5, 10);
    let (currency, unit) = if name.contains(".cad.") {
        (Currency::CAD, MassUnit::Kilogram)
    } else if name.contains(".eur.") {
        (Currency::EUR, MassUnit::Kilogram)
    } else {
        (Currency::USD, MassUnit::Pound)
    };
    Hints { currency, unit: Some(PriceUnit::Mass(unit)), today }
}

/// The sheet as readable lines: `wording < group | price | unit | tier | note | place | doubts`.
fn show(sheet: &Sheet) -> String {
    let mut out = String::new();
    let valid = sheet.valid_from.map_or("-".to_string(), |date| date.to_string());
    let currency = sheet.currency.map_or("-", |currency| currency.code());
    writeln!(out, "valid from {valid}, {currency}").unwrap();
    for problem in &sheet.problems {
        writeln!(out, "problem: {problem}").unwrap();
    }
    for row in &sheet.rows {
        let group = row.group.as_ref().map(|group| format!(" < {group}")).unwrap_or_default();
        let price = match row.price {
            RowPrice::OnRequest => "on request".to_string(),
            RowPrice::Priced { low, high } => {
                let high = high.map(|high| format!(" to {}", high.normalize())).unwrap_or_default();
                format!("{}{high}", low.normalize())
            }
        };
        let unit = row.unit.map_or("-", PriceUnit::code);
        let code = row.currency.map_or("-", |currency| currency.code());
        write!(out, "{}{group} | {price} {code}/{unit}", row.wording).unwrap();
        if row.tier_from.is_some() || row.tier_to.is_some() {
            write!(out, " | {}..{}", mass(row.tier_from), mass(row.tier_to)).unwrap();
        }
        if let Some(note) = &row.note {
            write!(out, " | note: {note}").unwrap();
        }
        write!(out, " | {}", place(&row.place)).unwrap();
        for doubt in &row.doubts {
            write!(out, " | {doubt:?}?").unwrap();
        }
        out.push('\n');
    }
    for left in &sheet.left_out {
        writeln!(out, "left out, {}: {} ({})", left.why, left.source, place(&left.place)).unwrap();
    }
    out
}

fn mass(mass: Option<Mass>) -> String {
    mass.map(|mass| format!("{} g", mass.grams().normalize())).unwrap_or_default()
}

fn place(place: &Place) -> String {
    match place {
        Place::Cell { column, .. } => format!("{place} column {column}"),
        other => other.to_string(),
    }
}

fn check(path: &Path) {
    let name = path.file_name().unwrap().to_str().unwrap();
    let bytes = std::fs::read(path).unwrap();
    let shown = match detect(name, &bytes).and_then(|format| {
        let sheet = read(format, &bytes, &hints(name))?;
        Ok(format!("{format:?}\n{}", show(&sheet)))
    }) {
        Ok(shown) => shown,
        Err(unreadable) => format!("unreadable: {unreadable}\n"),
    };
    let expected = path.with_file_name(format!("{name}.rows"));
    if std::env::var_os("UPDATE_ROWS").is_some() {
        std::fs::write(&expected, &shown).unwrap();
    }
    let expect = std::fs::read_to_string(&expected).unwrap_or_default();
    assert_eq!(shown, expect, "{name}");
}

#[test]
fn every_sheet_gives_its_rows() {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.is_file() && path.extension().is_none_or(|end| end != "rows" && end != "md"));
    paths.sort();
    assert!(paths.len() >= 16, "only {} sheets in {}", paths.len(), folder().display());
    paths.iter().for_each(|path| check(path));
}
