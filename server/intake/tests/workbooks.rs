//! XLSX workbooks, written by another program's library and read back.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::fmt::Write as _;

use intake::{Format, Hints, Problem, RowPrice, Sheet, detect, read};
use jiff::civil::date;
use rust_xlsxwriter::{ExcelDateTime, Format as CellFormat, Formula, Workbook};
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

fn hints() -> Hints {
    Hints { currency: Currency::USD, unit: Some(PriceUnit::Mass(MassUnit::Pound)), today: date(2026, 5, 10) }
}

fn sheet(mut workbook: Workbook) -> Sheet {
    let bytes = workbook.save_to_buffer().unwrap();
    let format = detect("prices.xlsx", &bytes).unwrap();
    assert_eq!(format, Format::Workbook(intake::WorkbookKind::Xlsx));
    read(format, &bytes, &hints()).unwrap()
}

fn check(sheet: &Sheet, expect: &str) {
    let mut shown = String::new();
    for row in &sheet.rows {
        let group = row.group.as_ref().map(|group| format!(" < {group}")).unwrap_or_default();
        let price = match row.price {
            RowPrice::OnRequest => "on request".to_string(),
            RowPrice::Priced { low, high } => {
                format!("{low}{}", high.map(|high| format!(" to {high}")).unwrap_or_default())
            }
        };
        let unit = row.unit.map_or("-", PriceUnit::code);
        let currency = row.currency.map_or("-", |currency| currency.code());
        write!(shown, "{}{group} | {price} {currency}/{unit} | {}", row.wording, row.place).unwrap();
        for doubt in &row.doubts {
            write!(shown, " | {doubt:?}?").unwrap();
        }
        shown.push('\n');
    }
    let expect: String = expect
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .fold(String::new(), |all, line| all + line + "\n");
    assert_eq!(shown, expect, "{:?}", sheet.left_out);
}

#[test]
fn titles_merged_cells_formats_formulas_and_dates() {
    let mut workbook = Workbook::new();
    let dollars = CellFormat::new().set_num_format("\"$\"#,##0.00");
    let day = CellFormat::new().set_num_format("m/d/yyyy");
    let percent = CellFormat::new().set_num_format("0%");
    let page = workbook.add_worksheet().set_name("Spring list").unwrap();
    page.merge_range(0, 0, 0, 3, "Harbor Street Metals", &CellFormat::new()).unwrap();
    page.write(1, 0, "Effective").unwrap();
    page.write_with_format(1, 1, ExcelDateTime::from_ymd(2026, 5, 4).unwrap(), &day).unwrap();
    for (column, name) in ["Material", "Price/lb", "Change", "Note"].into_iter().enumerate() {
        page.write(3, column as u16, name).unwrap();
    }
    page.write(4, 0, "COPPER").unwrap();
    page.write(5, 0, "Bare bright").unwrap();
    page.write_with_format(5, 1, 4.1, &dollars).unwrap();
    page.write_with_format(5, 2, 0.02, &percent).unwrap();
    page.write(6, 0, "No. 2").unwrap();
    page.write_with_format(6, 1, Formula::new("=B6*0.9").set_result("3.6899999999999995"), &dollars).unwrap();
    page.write(7, 0, "=cmd|'/c calc'!A1 wire").unwrap();
    page.write(7, 1, 0.45).unwrap();
    page.write(8, 0, "CRT monitors").unwrap();
    page.write(8, 1, -0.3).unwrap();
    page.write(9, 0, "Silver contacts").unwrap();
    page.write(9, 1, "call").unwrap();
    page.write(10, 0, "Total").unwrap();
    page.write(10, 1, 8.24).unwrap();

    let sheet = sheet(workbook);
    check(
        &sheet,
        "
        Bare bright < COPPER | 4.1 USD/lb | Spring list row 6
        No. 2 < COPPER | 3.69 USD/lb | Spring list row 7
        =cmd|'/c calc'!A1 wire < COPPER | 0.45 USD/lb | Spring list row 8
        CRT monitors < COPPER | -0.3 USD/lb | Spring list row 9
        Silver contacts < COPPER | on request USD/lb | Spring list row 10
        ",
    );
    assert_eq!(sheet.valid_from, Some(date(2026, 5, 4)));
}

#[test]
fn several_sheets_each_with_its_own_columns() {
    let mut workbook = Workbook::new();
    let euros = CellFormat::new().set_num_format("[$€-407] #,##0.00");
    let metals = workbook.add_worksheet().set_name("Metals").unwrap();
    metals.write(0, 0, "Item").unwrap();
    metals.write(0, 1, "USD per 100 lb").unwrap();
    metals.write(1, 0, "Light iron").unwrap();
    metals.write(1, 1, 8.5).unwrap();
    let boards = workbook.add_worksheet().set_name("Boards").unwrap();
    boards.write(0, 2, "Grade").unwrap();
    boards.write(0, 3, "kg").unwrap();
    boards.write(1, 2, "Server boards").unwrap();
    boards.write_with_format(1, 3, 14.75, &euros).unwrap();
    let old = workbook.add_worksheet().set_name("Last year").unwrap();
    old.set_hidden(true);
    old.write(0, 0, "Brass").unwrap();
    old.write(0, 1, 1.10).unwrap();

    let sheet = sheet(workbook);
    check(
        &sheet,
        "
        Light iron | 8.5 USD/cwt | Metals row 2
        Server boards | 14.75 EUR/kg | Boards row 2
        ",
    );
    assert_eq!(sheet.problems, [Problem::HiddenSheet("Last year".into())]);
    assert_eq!(sheet.currency, None);
}

/// A sheet crosses from the reading process to the server as JSON.
#[test]
fn a_sheet_survives_json() {
    let mut workbook = Workbook::new();
    let page = workbook.add_worksheet();
    for (row, (name, price)) in [("Bare bright", 4.1), ("Brass", 2.4)].into_iter().enumerate() {
        page.write(row as u32, 0, name).unwrap();
        page.write(row as u32, 1, price).unwrap();
    }
    let sheet = sheet(workbook);
    assert_eq!(sheet.rows.len(), 2);
    let json = serde_json::to_string(&sheet).unwrap();
    assert_eq!(serde_json::from_str::<Sheet>(&json).unwrap(), sheet);
}

/// Its content begins with bytes that no XML in UTF-8 does, as one in some that are encrypted.
#[test]
fn an_open_document_with_a_password_says_so() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/sheets/locked/locked.ods");
    let bytes = std::fs::read(path).unwrap();
    let read =
        intake::read_alone(intake::Format::Workbook(intake::WorkbookKind::Ods), &bytes, date(2026, 11, 4));
    assert_eq!(read, Err(intake::Unreadable::Encrypted));
}
