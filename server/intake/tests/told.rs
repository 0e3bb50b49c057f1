//! What the checks of single sheets have in common.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Hints, Row, RowPrice, Sheet, detect, read};
use jiff::civil::date;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

/// Read for an outlet that pays in dollars by the pound.
pub fn sheet(name: &str, bytes: &[u8]) -> Sheet {
    let unit = Some(PriceUnit::Mass(MassUnit::Pound));
    let hints = Hints { currency: Currency::USD, unit, today: date(2026, 11, 28) };
    read(detect(name, bytes).unwrap(), bytes, &hints).unwrap()
}

/// `name price`, a range with its upper end, and `?` where the price has to be asked for.
pub fn row(row: &Row) -> String {
    let price = match row.price {
        RowPrice::Priced { low, high: None } => low.normalize().to_string(),
        RowPrice::Priced { low, high: Some(high) } => format!("{}..{}", low.normalize(), high.normalize()),
        RowPrice::OnRequest => "?".to_string(),
    };
    format!("{} {price}", row.wording)
}

/// Each row as `name price unit`.
pub fn rows(sheet: &Sheet) -> Vec<String> {
    let told = |of: &Row| match (&of.price, of.unit) {
        (RowPrice::Priced { .. }, unit) => format!("{} {}", row(of), unit.map_or("?", PriceUnit::code)),
        (RowPrice::OnRequest, _) => row(of),
    };
    sheet.rows.iter().map(told).collect()
}

/// What a sheet is read as, row by row.
#[track_caller]
pub fn check(name: &str, text: &str, expect: &[&str]) {
    assert_eq!(rows(&sheet(name, text.as_bytes())), expect, "{text}");
}
