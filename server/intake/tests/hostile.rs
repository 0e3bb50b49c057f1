//! Files that are damaged or made to do harm: each must end in a sheet or a clear refusal, soon and in little memory.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::io::{Cursor, Write};
use std::time::Duration;

use intake::{Format, Hints, LARGEST_FILE, Place, Problem, Sheet, Unreadable, WorkbookKind, detect, read};
use jiff::civil::date;
use proptest::prelude::*;
use rust_xlsxwriter::Workbook;
use rustix::time::{ClockId, clock_gettime};
use trade::money::Currency;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

/// Debug builds on a small machine; a release build takes a small part of it.
const PATIENCE: Duration = Duration::from_secs(20);

/// What this thread has had of the processor: tests that run beside it take nothing of a reader's time.
fn taken() -> Duration {
    clock_gettime(ClockId::ThreadCPUTime).try_into().unwrap()
}

fn hints() -> Hints {
    Hints { currency: Currency::USD, unit: None, today: date(2026, 5, 10) }
}

/// Whether a wording is a part of its source, or two parts between which a tier stood.
fn is_within(wording: &str, source: &str) -> bool {
    source.contains(wording)
        || wording.char_indices().any(|(at, _)| {
            let (left, right) = wording.split_at(at);
            let (left, right) = (left.trim_end(), right.trim_start());
            source.find(left).is_some_and(|start| source[start + left.len()..].contains(right))
        })
}

/// Reads the file as the server does, and checks what holds for every file.
fn take(name: &str, bytes: &[u8]) -> Result<Sheet, Unreadable> {
    let start = taken();
    let result = detect(name, bytes).and_then(|format| read(format, bytes, &hints()));
    let took = taken() - start;
    assert!(took < PATIENCE, "{name} took {took:?}");
    if let Ok(sheet) = &result {
        for row in &sheet.rows {
            assert!(is_within(&row.wording, &row.source), "{:?} is not in {:?}", row.wording, row.source);
            assert!(row.wording.chars().any(char::is_alphanumeric), "{row:?}");
        }
    }
    result
}

fn small_workbook() -> Vec<u8> {
    let mut workbook = Workbook::new();
    let page = workbook.add_worksheet();
    for (row, name) in ["Item", "Bare bright", "No. 2", "Brass", "Light iron"].into_iter().enumerate() {
        page.write(row as u32, 0, name).unwrap();
        page.write(row as u32, 1, if row == 0 { 0.0 } else { row as f64 + 0.25 }).unwrap();
    }
    page.write(0, 1, "Price/lb").unwrap();
    workbook.save_to_buffer().unwrap()
}

/// The small workbook with some of its parts replaced.
fn repacked(replace: &[(&str, Vec<u8>)]) -> Vec<u8> {
    let whole = small_workbook();
    let mut archive = ZipArchive::new(Cursor::new(whole)).unwrap();
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let mut part = archive.by_index(index).unwrap();
        let name = part.name().unwrap().to_string();
        let mut content = Vec::new();
        std::io::copy(&mut part, &mut content).unwrap();
        if let Some((_, other)) = replace.iter().find(|(other, _)| *other == name) {
            content.clone_from(other);
        }
        writer.start_file(name, SimpleFileOptions::default()).unwrap();
        writer.write_all(&content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

const SHEET: &str = "xl/worksheets/sheet1.xml";

fn worksheet(cells: &str) -> Vec<u8> {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><worksheet \
         xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>{cells}</sheetData></worksheet>"
    )
    .into_bytes()
}

#[test]
fn a_workbook_cut_short_anywhere() {
    let whole = small_workbook();
    assert_eq!(take("whole.xlsx", &whole).unwrap().rows.len(), 4);
    for length in (0..whole.len()).step_by(150) {
        let result = take("cut.xlsx", &whole[..length]);
        assert!(result.is_err(), "{length} of {} bytes gave {result:?}", whole.len());
    }
}

#[test]
fn a_workbook_with_flipped_bytes() {
    let whole = small_workbook();
    // A linear congruential generator (constants of Numerical Recipes, from memory); the same flips on every run.
    let mut seed = 20_260_510_u32;
    let mut next = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as usize
    };
    for _ in 0..400 {
        let mut bytes = whole.clone();
        for _ in 0..=next() % 4 {
            let at = next() % bytes.len();
            bytes[at] ^= 1 << (next() % 8);
        }
        let _ = take("flipped.xlsx", &bytes);
    }
}

/// Damage inside the parts, where the archive's checksums do not catch it.
#[test]
fn a_workbook_with_flipped_markup() {
    let mut archive = ZipArchive::new(Cursor::new(small_workbook())).unwrap();
    let parts: Vec<String> =
        (0..archive.len()).map(|i| archive.by_index(i).unwrap().name().unwrap().to_string()).collect();
    let mut seed = 7_u32;
    let mut next = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as usize
    };
    for round in 0..200 {
        let name = parts[round % parts.len()].as_str();
        let mut content = Vec::new();
        std::io::copy(&mut archive.by_name(name).unwrap(), &mut content).unwrap();
        for _ in 0..=next() % 3 {
            let at = next() % content.len();
            content[at] = b"<>\"'/&;09AZ \xff\0"[next() % 14];
        }
        let _ = take("markup.xlsx", &repacked(&[(name, content)]));
    }
}

#[test]
fn a_workbook_that_unpacks_to_gigabytes() {
    let bomb = repacked(&[(SHEET, vec![b' '; 80 << 20])]);
    assert!(bomb.len() < 200_000, "the bomb is {} bytes", bomb.len());
    assert_eq!(take("bomb.xlsx", &bomb), Err(Unreadable::UnpacksTooLarge));

    // The same, with the size in its directory and headers declared as a few bytes.
    let mut liar = bomb;
    let size = (80u32 << 20).to_le_bytes();
    let declared: Vec<usize> = (0..liar.len() - 4).filter(|&at| liar[at..at + 4] == size).collect();
    assert!(!declared.is_empty());
    for at in declared {
        liar[at..at + 4].copy_from_slice(&100u32.to_le_bytes());
    }
    assert!(take("liar.xlsx", &liar).is_err());
}

#[test]
fn a_workbook_with_absurd_cells() {
    let far = worksheet(
        "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>Item</v></c><c r=\"B1\" t=\"str\"><v>Price/lb</v></c></row>\
         <row r=\"2\"><c r=\"A2\" t=\"str\"><v>Brass</v></c><c r=\"B2\"><v>2.4</v></c></row>\
         <row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>",
    );
    let sheet = take("far.xlsx", &repacked(&[(SHEET, far)])).unwrap();
    assert_eq!(sheet.rows.len(), 1);
    assert_eq!(sheet.problems, [Problem::ColumnsCut { read: 64 }]);

    let numbers = worksheet(
        "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>Item</v></c><c r=\"B1\" t=\"str\"><v>Price</v></c></row>\
         <row r=\"2\"><c r=\"A2\" t=\"str\"><v>Huge</v></c><c r=\"B2\"><v>1E300</v></c></row>\
         <row r=\"3\"><c r=\"A3\" t=\"str\"><v>Large</v></c><c r=\"B3\"><v>99999999999999</v></c></row>\
         <row r=\"4\"><c r=\"A4\" t=\"str\"><v>Tiny</v></c><c r=\"B4\"><v>1E-300</v></c></row>\
         <row r=\"5\"><c r=\"A5\" t=\"str\"><v>None</v></c><c r=\"B5\"><v>NaN</v></c></row>\
         <row r=\"6\"><c r=\"A6\" t=\"str\"><v>Endless</v></c><c r=\"B6\"><v>inf</v></c></row>",
    );
    let _ = take("numbers.xlsx", &repacked(&[(SHEET, numbers)]));

    let giant = worksheet(&format!(
        "<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>{}</t></is></c></row>",
        "x".repeat(30 << 20)
    ));
    let sheet = take("giant.xlsx", &repacked(&[(SHEET, giant)])).unwrap();
    assert!(sheet.problems.contains(&Problem::CellsCut { characters: 2000 }), "{:?}", sheet.problems);

    let counts =
        b"<?xml version=\"1.0\"?><sst xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" \
        uniqueCount=\"99999999999999\"></sst>";
    let result = take("counts.xlsx", &repacked(&[("xl/sharedStrings.xml", counts.to_vec())]));
    assert!(matches!(result, Err(Unreadable::Damaged(_))), "{result:?}");
}

#[test]
fn text_that_is_far_too_much() {
    let line = "Bare bright copper ........ $4.10/lb\n";
    let much = line.repeat(LARGEST_FILE / line.len());
    let sheet = take("much.txt", much.as_bytes()).unwrap();
    assert_eq!(sheet.rows.len(), 20_000);
    assert_eq!(sheet.problems, [Problem::RowsCut { read: 20_000 }]);

    assert_eq!(take("more.txt", &vec![b'x'; LARGEST_FILE + 1]), Err(Unreadable::TooLarge));

    let one_line = "4.10 ".repeat(LARGEST_FILE / 5);
    assert!(take("line.txt", one_line.as_bytes()).unwrap().rows.is_empty());

    let columns = format!("Item{}\nBrass{}\n", ",Price".repeat(100_000), ",2.40".repeat(100_000));
    let sheet = take("columns.csv", columns.as_bytes()).unwrap();
    assert!(sheet.problems.contains(&Problem::ColumnsCut { read: 64 }), "{:?}", sheet.problems);

    let quote = format!("Item,Price\n\"Brass,2.40\n{}", "Lead,0.60\n".repeat(500_000));
    let sheet = take("quote.csv", quote.as_bytes()).unwrap();
    assert_eq!(sheet.rows.len(), 19_999, "{:?}", sheet.problems);
}

#[test]
fn what_is_no_sheet_says_so() {
    let says = |bytes: &[u8], expect: &str| {
        let message = take("file", bytes).unwrap_err().to_string();
        assert!(message.contains(expect), "{message}");
    };
    says(b"", "empty");
    says(b" \r\n\0", "empty");
    says(b"\xef\xbb\xbf \n", "empty");
    says(b"%PDF-1.7 ...", "no PDF");
    says(b"\xff\xd8\xff\xe0 ...", "tesseract");

    says(b"PK\x05\x06\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0", "ZIP archive");
    says(b"\x7fELF\x02\x01\x01\0\0\0\0\0\0\0\0\0\x03\0\x3e\0\x01\0\0\0\x05", "no text");
    let mut protected = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec();
    says(&protected, "old Office");
    protected.extend("EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes));
    says(&protected, "password");
}

/// Two files that a fuzzer found: one whose reader laid gigabytes out, and one that does not fill its last sector.
#[test]
fn broken_old_workbooks() {
    let broken = |name: &str| {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/sheets/broken");
        let bytes = std::fs::read(path.join(name)).unwrap();
        read(Format::Workbook(WorkbookKind::Xls), &bytes, &hints())
    };
    for name in ["far-apart.xls", "cut-short.xls"] {
        assert!(broken(name).is_err_and(|error| matches!(error, Unreadable::Damaged(_))), "{name}");
    }
}

/// Each row of names is about the few rows below it, and not about all that follow.
#[test]
fn a_text_of_thousands_of_small_tables() {
    let tables = [
        "Material      Price/lb    Note\nCopper no 1      3.40    clean\n",
        "Item    under 100 lb    100-499 lb    500 lb & up\nBare bright      3.10    3.40    3.50\n",
        "Metal    Unit    Price\nServer boards    lb    3.90\nLaptop boards    lb    4.10\n",
    ];
    let text: String = (0..8_000).map(|at| tables[at % tables.len()]).collect();
    let sheet = take("tables.txt", text.as_bytes()).unwrap();
    assert!(sheet.rows.len() >= 8_000, "{} rows", sheet.rows.len());
}

#[test]
fn odd_bytes_in_text() {
    let sheet = take("odd.txt", b"\xff\xfeB\0r\0a\0s\0s\0 \x002\0.\x004\x000\0x").unwrap();
    assert_eq!(sheet.problems.first(), Some(&Problem::Undecoded));
    let sheet = take("nul.txt", b"Brass\0 yellow, a name that is long enough  2.40/lb\n").unwrap();
    assert_eq!(sheet.rows[0].wording, "Brass\u{fffd} yellow, a name that is long enough");
    let sheet = take("formula.csv", b"Item,Price\n=HYPERLINK(\"x\"),2.40\n+1+1 wire,0.30\n").unwrap();
    assert_eq!(sheet.rows.len(), 2);
    assert!(sheet.rows[0].wording.starts_with("=HYPERLINK"), "{:?}", sheet.rows);
}

/// Pieces that price lines are made of, and pieces that break them.
fn piece() -> impl Strategy<Value = String> {
    prop_oneof![
        "[A-Za-z#]{1,8}",
        "[0-9]{1,12}[.,]?[0-9]{0,4}",
        proptest::sample::select(vec![
            "$",
            "€",
            "C$",
            "¢",
            "/",
            "lb",
            "per",
            "100",
            "kg",
            "cwt",
            "each",
            "-",
            "–",
            "−",
            "(",
            ")",
            "<",
            "+",
            "%",
            "call",
            "No.",
            "to",
            "ton",
            ",",
            ";",
            "\t",
            "  ",
            "....",
            ":",
            "|",
            "\"",
            "\n",
            "\r\n",
            "\u{a0}",
            "😀",
            "İ",
            "ß",
            "\u{301}",
            "=",
            "500+",
            "under",
            "[",
            "]",
            "min",
            "effective",
            "May",
            "ab",
            "3.12.",
            "3/12",
            "prices",
        ])
        .prop_map(str::to_string),
        "\\PC{1,4}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1500) })]

    #[test]
    fn any_text_as_lines(pieces in prop::collection::vec(piece(), 0..40), glue in prop::sample::select(vec!["", " "])) {
        let text = pieces.join(glue);
        for format in [Format::Text, Format::Delimited] {
            if let Ok(sheet) = read(format, text.as_bytes(), &hints()) {
                for row in &sheet.rows {
                    prop_assert!(is_within(&row.wording, &row.source), "{:?} is not in {:?}", row.wording, row.source);
                }
                // Nothing is lost: each line with something in it is a row or is left out.
                let lines = text.replace("\r\n", "\n");
                let quoted = format == Format::Delimited && (text.contains('"') || text.starts_with("sep="));
                for (number, line) in (1..).zip(lines.split(['\n', '\r'])) {
                    let place = Place::Line(number);
                    let known = sheet.rows.iter().any(|row| row.place == place)
                        || sheet.left_out.iter().any(|left| left.place == place);
                    prop_assert!(known || quoted || !line.contains(char::is_alphanumeric), "{line:?} is lost: {sheet:?}");
                }
            }
        }
    }

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = take("any", &bytes);
        let _ = read(Format::Workbook(intake::WorkbookKind::Xlsx), &bytes, &hints());
    }
}
