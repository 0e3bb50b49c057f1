//! Price sheets from the command line: the program itself, on files that need no record.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn sheets(part: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/sheets").join(part)
}

fn import(arguments: &[&str], typed: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_pennyweight"))
        .arg("import")
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    child.stdin.take().expect("its input").write_all(typed.as_bytes()).expect("it reads");
    child.wait_with_output().expect("it ends")
}

fn json(output: &Output) -> Vec<Value> {
    let text = String::from_utf8(output.stdout.clone()).expect("text");
    text.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect()
}

#[test]
fn pasted_lines_are_rows_as_json() {
    let typed = "Prices effective 11/2/2026, US$ per lb\nBare bright 4.10 - 4.20\nServer boards, 100+ lb: 4.85\nWidgets 0.15\n\
                 CRT monitors: we charge 45c\nCall 555-0144\n";
    let output = import(&["-", "--dry-run", "--json"], typed);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let report = json(&output).remove(0);
    assert_eq!((&report["valid_from"], &report["currency"]), (&"2026-11-02".into(), &"USD".into()));
    let rows = report["rows"].as_array().expect("rows");
    assert_eq!(rows.len(), 4, "{report}");
    let first = &rows[0];
    for (field, value) in [
        ("name", "Bare bright"),
        ("price", "4.1"),
        ("price_high", "4.2"),
        ("unit", "lb"),
        ("currency", "USD"),
        ("grade", "copper-bright"),
        ("place", "line 2"),
    ] {
        assert_eq!(first[field], value, "{field} of {first}");
    }
    assert_eq!((&rows[1]["tier_min"], &rows[1]["tier_unit"]), (&"100".into(), &"lb".into()));
    // What would be asked about is no proposal.
    assert_eq!(rows[2]["grade"], Value::Null);
    assert_eq!(rows[3]["price"], "-0.45");
    assert!(report["left_out"].as_array().is_some_and(|left| left.len() == 2), "{report}");
}

#[test]
fn each_file_is_an_object_and_one_that_cannot_be_read_says_why() {
    let page = sheets("labelled/saved-page.html");
    let sheet = sheets("labelled/ruled-pages.pdf");
    let broken = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(broken.path(), b"%PDF-1.7 and nothing else").expect("written");
    let files =
        [&page, &sheet, &broken.path().to_path_buf()].map(|path| path.to_str().expect("a path").to_string());
    let arguments: Vec<&str> = files.iter().map(String::as_str).chain(["--dry-run", "--json"]).collect();
    let output = import(&arguments, "");
    assert!(!output.status.success());
    let reports = json(&output);
    assert_eq!(reports[0]["rows"].as_array().map(Vec::len), Some(9));
    assert_eq!(reports[1]["rows"].as_array().map(Vec::len), Some(16));
    assert_eq!(reports[1]["rows"][0]["place"], "page 1 line 4");
    assert!(reports[2]["error"].as_str().is_some_and(|error| error.contains("damaged")), "{}", reports[2]);
}

/// A file of each form: every row has every field, and the right one holds.
#[test]
fn every_form_has_every_field() {
    let names = [
        "labelled/tier-columns.csv",
        "labelled/cjenik-utf16.tsv",
        "labelled/three-tabs.xlsx",
        "labelled/old-office.xls",
        "labelled/ankauf.ods",
        "labelled/saved-page.html",
        "labelled/ruled-pages.pdf",
        "labelled/chat-whatsapp-de.txt",
        "labelled/mail-quoted.txt",
    ];
    let files: Vec<String> = names.iter().map(|name| sheets(name).display().to_string()).collect();
    let arguments: Vec<&str> =
        files.iter().map(String::as_str).chain(["--dry-run", "--json", "--today", "2026-11-04"]).collect();
    let output = import(&arguments, "");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let reports = json(&output);
    assert_eq!(reports.len(), names.len());
    let units = ["lb", "kg", "tonne", "short_ton", "gross_ton", "cwt", "100kg", "each", "oz", "ozt", "g"];
    for (report, name) in reports.iter().zip(names) {
        for field in ["file", "valid_from", "currency", "rows", "left_out", "problems"] {
            assert!(report.get(field).is_some(), "{name} has no {field}");
        }
        let rows = report["rows"].as_array().expect("rows");
        assert!(rows.len() >= 5, "{name}: {report}");
        for row in rows {
            let fields = [
                "name",
                "price",
                "price_high",
                "unit",
                "currency",
                "tier_min",
                "tier_unit",
                "grade",
                "note",
                "group",
                "place",
                "score",
            ];
            for field in fields {
                assert!(row.get(field).is_some(), "{name}: no {field} in {row}");
            }
            let price = row["price"].as_str().map(str::parse::<rust_decimal::Decimal>);
            assert!(price.is_none_or(|price| price.is_ok()), "{name}: {row}");
            assert!(row["unit"].as_str().is_some_and(|unit| units.contains(&unit)), "{name}: {row}");
            assert!(row["score"].as_u64().is_some_and(|score| score <= 100), "{name}: {row}");
            let proposed = row["score"].as_u64() >= Some(75) && row["likely"].is_null();
            assert!(row["grade"].is_null() || proposed, "{name}: {row}");
        }
    }
}

#[test]
fn a_file_that_is_not_there_does_not_keep_the_others_from_being_read() {
    let there = sheets("pipes.txt").display().to_string();
    let output = import(&["/nowhere/prices.csv", &there, "--dry-run", "--json"], "");
    assert!(!output.status.success());
    let reports = json(&output);
    assert!(
        reports[0]["error"].as_str().is_some_and(|error| error.contains("cannot be opened")),
        "{}",
        reports[0]
    );
    assert!(reports[1]["rows"].as_array().is_some_and(|rows| !rows.is_empty()), "{}", reports[1]);
}

#[test]
fn what_is_not_dry_needs_an_outlet() {
    let output = import(&["-"], "Brass 2.30/lb\n");
    assert!(!output.status.success());
    assert!(String::from_utf8_lossy(&output.stderr).contains("--outlet"));
}

/// Into a record: a draft that waits for review, once; what holds no prices is refused.
#[test]
fn a_sheet_for_an_outlet_waits_for_review() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().to_str().expect("a path");
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let shop = runtime.block_on(crate::common::TestShop::in_folder(folder.path()));
    let outlet = runtime.block_on(crate::sheets::lakeside(&shop));
    let into = |typed: &str| import(&["-", "--data", data, "--outlet", "lakeside metals"], typed);

    let first = into("No. 2 copper 3.60/lb\nBrass 2.30/lb\n");
    assert!(first.status.success(), "{}", String::from_utf8_lossy(&first.stderr));
    assert!(String::from_utf8_lossy(&first.stderr).contains("waits for review at /sheets/drafts/"));
    let drafts = || runtime.block_on(shop.store.drafts(&shop.id)).expect("drafts");
    assert_eq!(drafts().len(), 1);
    let review = runtime.block_on(shop.get(&format!("/sheets/drafts/{}", drafts()[0].id))).ok();
    assert_eq!(review.texts(".parts button")[..2], ["To confirm 0", "Matched 2"]);
    assert_eq!(runtime.block_on(crate::sheets::pays(&shop, &outlet, "copper-2")), None, "nothing counts yet");

    let again = into("No. 2 copper 3.60/lb\nBrass 2.30/lb\n");
    assert!(String::from_utf8_lossy(&again.stderr).contains("waits for review already"));
    assert_eq!(drafts().len(), 1);

    runtime.block_on(crate::sheets::confirm(&shop, review));
    let third = into("No. 2 copper 3.60/lb\nBrass 2.30/lb\n");
    assert!(String::from_utf8_lossy(&third.stderr).contains("was read before, on "), "{third:?}");

    let nothing = into("Call us for prices\n");
    assert!(!nothing.status.success());
    assert!(String::from_utf8_lossy(&nothing.stdout).contains("No prices were found"), "{nothing:?}");
    let nobody = import(&["-", "--data", data, "--outlet", "Nobody"], "Brass 2.30/lb\n");
    assert!(String::from_utf8_lossy(&nobody.stderr).contains("Lakeside Metals"), "it names those there are");
}

/// The four pictures of `tests/data/sheets/photos`; of each at least seven of the eight lines, and each asks.
#[test]
fn photos_are_read_where_the_recogniser_is_installed() {
    let installed = std::env::split_paths(&std::env::var_os("PATH").unwrap_or_default())
        .any(|folder| folder.join("tesseract").is_file());
    for (name, least) in [("print.jpg", 8), ("leaning-shaded.jpg", 7), ("chalk.jpg", 7), ("small.jpg", 7)] {
        let path = sheets("photos").join(name);
        let output = import(&[path.to_str().expect("a path"), "--dry-run", "--json"], "");
        let report = json(&output).remove(0);
        if !installed {
            assert!(report["error"].as_str().is_some_and(|error| error.contains("tesseract")), "{report}");
            continue;
        }
        let labels = std::fs::read_to_string(path.with_file_name(format!("{name}.labels"))).expect("labels");
        let rows = report["rows"].as_array().expect("rows");
        assert!(
            rows.iter().all(|row| row["doubts"].as_array().is_some_and(|doubts| !doubts.is_empty())),
            "{report}"
        );
        let right = labels.lines().skip(1).filter(|label| {
            let price = label.split(" | ").nth(1).unwrap_or_default();
            let price = price.trim_end_matches('0').trim_end_matches('.');
            rows.iter().any(|row| row["price"] == price)
        });
        let right = right.count();
        assert!(right >= least, "{name}: {right} of 8 prices: {report}");
    }
}
