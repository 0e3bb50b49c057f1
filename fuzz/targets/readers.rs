//! Any bytes, as what they look like and as each format that the first byte asks for.
#![no_main]

use intake::{Format, WorkbookKind, detect, read_alone};
use jiff::civil::date;
use libfuzzer_sys::fuzz_target;

const FORMATS: [Format; 7] = [
    Format::Text,
    Format::Delimited,
    Format::WebPage,
    Format::Pdf,
    Format::Workbook(WorkbookKind::Xlsx),
    Format::Workbook(WorkbookKind::Xls),
    Format::Workbook(WorkbookKind::Ods),
];

fuzz_target!(|bytes: &[u8]| {
    let today = date(2026, 11, 4);
    let format = match detect("sheet", bytes) {
        Ok(format) => format,
        Err(_) => match bytes.first() {
            Some(first) => FORMATS[usize::from(*first) % FORMATS.len()],
            None => return,
        },
    };
    if let Ok(sheet) = read_alone(format, bytes, today) {
        for row in &sheet.rows {
            assert!(row.wording.chars().any(char::is_alphanumeric), "{row:?}");
        }
    }
});
