//! Files that sheets come in: workbooks, encodings, and what is no sheet, or means harm.

use std::io::{Cursor, Write};
use std::path::Path;

use axum::body::Body;
use axum::http::StatusCode;
use intake::{Format, Hints, Unreadable};
use jiff::civil::date;
use pennyweight::reader::{self, ReadError};
use rust_decimal::{Decimal, dec};
use rust_xlsxwriter::{Format as CellFormat, Formula, Workbook};
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::common::{Page, TestShop, on_both};
use crate::sheets::{REVIEW, chosen, confirm, lakeside, pays, upload};

on_both![
    a_workbook_is_read_with_its_formulas,
    text_in_other_encodings_is_read,
    a_workbook_that_unpacks_to_gigabytes_is_a_clear_page,
    more_than_ten_megabytes_are_a_clear_page,
    half_an_upload_leaves_nothing,
    a_file_with_a_password_says_so,
];

/// A workbook with a title, names of columns, prices as numbers, and one as a formula with its cached value.
fn workbook() -> Vec<u8> {
    let mut workbook = Workbook::new();
    let money = CellFormat::new().set_num_format("$#,##0.00");
    let sheet = workbook.add_worksheet();
    sheet.write(0, 0, "Lakeside Metals price list").expect("a cell");
    sheet.write(2, 0, "Item").expect("a cell");
    sheet.write(2, 1, "Price per lb").expect("a cell");
    sheet.write(3, 0, "Bare bright copper").expect("a cell");
    sheet.write_with_format(3, 1, 4.1, &money).expect("a cell");
    sheet.write(4, 0, "No. 2 copper").expect("a cell");
    let formula = Formula::new("=B4-0.5").set_result("3.6");
    sheet.write_formula_with_format(4, 1, formula, &money).expect("a cell");
    workbook.save_to_buffer().expect("a workbook")
}

async fn amount(shop: &TestShop, outlet: &trade::ids::OutletId, grade: &str) -> Option<Decimal> {
    pays(shop, outlet, grade).await.map(|price| price.amount)
}

async fn a_workbook_is_read_with_its_formulas(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.xlsx", workbook()).await.ok();
    assert!(review.says("Sheet1 row 5"), "{}", review.text(REVIEW));
    confirm(shop, review).await;
    assert_eq!(amount(shop, &outlet, "copper-bright").await, Some(dec!(4.1)));
    assert_eq!(amount(shop, &outlet, "copper-2").await, Some(dec!(3.6)));
}

async fn text_in_other_encodings_is_read(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let text = "Item;Price per lb\nNo. 2 copper “clean”;3,60\nLead, soft;0,45\n";
    // RFC 2781: a byte order mark, then UTF-16 little-endian.
    let utf16: Vec<u8> =
        [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    // The WHATWG index of windows-1252: the two quotation marks are 0x93 and 0x94.
    let windows: Vec<u8> = text
        .chars()
        .map(|c| match c {
            '“' => 0x93,
            '”' => 0x94,
            c => u8::try_from(u32::from(c)).expect("ASCII"),
        })
        .collect();
    for (name, bytes) in [("utf16.csv", utf16), ("windows.csv", windows)] {
        let review = upload(shop, &outlet, name, bytes).await.ok();
        assert!(review.says("No. 2 copper “clean”"), "{name}: {}", review.text(REVIEW));
        assert!(review.says("3.60 USD/lb"), "{name}");
    }
}

/// A workbook whose one sheet is `size` blanks once unpacked.
fn bomb(size: usize) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    for (name, head, blanks) in [
        ("[Content_Types].xml", "<Types/>", 0),
        ("xl/workbook.xml", "<workbook/>", 0),
        ("xl/worksheets/sheet1.xml", "<worksheet>", size),
    ] {
        zip.start_file(name, options).expect("a part");
        zip.write_all(head.as_bytes()).expect("it is written");
        let megabyte = vec![b' '; 1024 * 1024];
        for _ in 0..blanks / megabyte.len() {
            zip.write_all(&megabyte).expect("it is written");
        }
    }
    zip.finish().expect("a workbook").into_inner()
}

async fn a_workbook_that_unpacks_to_gigabytes_is_a_clear_page(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let honest = bomb(100 * 1024 * 1024);
    assert!(honest.len() < 200_000, "small on the wire: {}", honest.len());
    // The same with its sizes belied, in the local header and in the directory.
    let mut lying = honest.clone();
    let size = (100 * 1024 * 1024 + "<worksheet>".len() as u32).to_le_bytes();
    for at in 0..lying.len() - 4 {
        if lying[at..at + 4] == size {
            lying[at..at + 4].copy_from_slice(&64u32.to_le_bytes());
        }
    }
    assert_ne!(honest, lying);
    for bytes in [honest, lying] {
        let page = upload(shop, &outlet, "bomb.xlsx", bytes).await.ok();
        let problem = page.text("#file-problem");
        assert!(problem.contains("unpacks to more than 64 MB") || problem.contains("damaged"), "{problem}");
    }
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 0);
}

async fn more_than_ten_megabytes_are_a_clear_page(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let page = upload(shop, &outlet, "film.csv", vec![b'x'; 10 * 1024 * 1024 + 1]).await;
    assert_eq!(page.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(page.text("#file-problem").contains("larger than 10 MB"));
    assert_eq!(page.form("form.ticket").value("outlet"), outlet.as_str());

    let form = shop.get("/sheets/new").await.ok().form("form.ticket").set("outlet", outlet.as_str());
    let page = shop.submit(form.set("text", &"No. 2 copper 3.60/lb\n".repeat(600_000))).await;
    assert_eq!(page.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(page.text("#text-problem").contains("larger than 10 MB"));
}

async fn half_an_upload_leaves_nothing(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let form = chosen(shop, &outlet, "may.xlsx", workbook()).await;
    let (parts, body) = shop.phone().posted(form).into_parts();
    let whole = axum::body::to_bytes(body, usize::MAX).await.expect("a body");
    let mut request = axum::http::Request::from_parts(parts, Body::from(whole.slice(..whole.len() / 2)));
    request.headers_mut().remove("content-length");
    let page: Page = shop.phone().send(request).await;
    assert_eq!(page.status, StatusCode::BAD_REQUEST);
    assert!(page.says("The upload was cut short"), "{}", page.text("main"));
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 0);
}

async fn a_file_with_a_password_says_so(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/sheets/locked");
    for name in ["locked.xlsx", "locked.pdf"] {
        let page = upload(shop, &outlet, name, std::fs::read(folder.join(name)).expect("a file")).await.ok();
        let problem = page.text("#file-problem");
        assert!(problem.starts_with("The file is protected by a password."), "{name}: {problem}");
    }
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 0);
}

fn hints() -> Hints {
    Hints { currency: Currency::USD, unit: Some(PriceUnit::Mass(MassUnit::Pound)), today: date(2026, 5, 12) }
}

/// What comes of asking `program` to read a file.
async fn asked(program: &str) -> ReadError {
    let read = reader::read(Path::new(program), Format::Delimited, b"Item,Price\n", &hints()).await;
    read.expect_err("it reads nothing")
}

#[tokio::test]
async fn a_reader_that_dies_or_babbles_is_a_message() {
    // `false` ends at once with a failure, `yes` writes without end, `sleep read-sheet` refuses its argument, and `true`
    // ends well without an answer.
    for program in ["/bin/false", "/usr/bin/yes", "/bin/sleep", "/bin/true"] {
        let error = asked(program).await;
        assert!(matches!(error, ReadError::BeyondLimits), "{program}: {error}");
        assert!(error.to_string().contains("nothing was saved"));
    }
    assert!(matches!(asked("/nowhere/pennyweight").await, ReadError::NotStarted(_)));
}

#[tokio::test]
async fn the_child_reads_and_says_why_it_cannot() {
    let program = Path::new(env!("CARGO_BIN_EXE_pennyweight"));
    let sheet = reader::read(program, Format::Workbook(intake::WorkbookKind::Xlsx), &workbook(), &hints())
        .await
        .expect("a sheet");
    assert_eq!(sheet.rows.len(), 2);
    let damaged = reader::read(program, Format::Workbook(intake::WorkbookKind::Xlsx), b"PK", &hints()).await;
    assert!(matches!(damaged, Err(ReadError::Unreadable(Unreadable::Damaged(_)))), "{damaged:?}");
}
