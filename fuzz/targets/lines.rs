//! Any text, as lines, as cells and as a page: the readers that every other format ends in.
#![no_main]

use intake::{Format, read_alone};
use jiff::civil::date;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    for format in [Format::Text, Format::Delimited, Format::WebPage] {
        if let Ok(sheet) = read_alone(format, text.as_bytes(), date(2026, 11, 4)) {
            for row in &sheet.rows {
                assert!(row.wording.chars().any(char::is_alphanumeric), "{row:?}");
            }
        }
    }
});
