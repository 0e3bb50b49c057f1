//! Days without a year, on whole sheets of every form.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Hints, Problem, Sheet, detect, read};
use jiff::civil::{Date, date};
use proptest::prelude::*;
use rust_xlsxwriter::Workbook;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

fn sheet(name: &str, bytes: &[u8], currency: Currency, today: Date) -> Sheet {
    let hints = Hints { currency, unit: Some(PriceUnit::Mass(MassUnit::Kilogram)), today };
    read(detect(name, bytes).unwrap(), bytes, &hints).unwrap()
}

/// A small sheet in each form, with this line above its prices.
fn forms(line: &str, currency: Currency, today: Date) -> Vec<(&'static str, Sheet)> {
    let text = format!("{line}\n\nCopper bright .... 7.25\nBrass yellow .... 4.10\nLead .... 1.40\n");
    let quoted = line.replace('"', "\"\"");
    let csv =
        format!("\"{quoted}\",\nMaterial,Price per kg\nCopper bright,7.25\nBrass yellow,4.10\nLead,1.40\n");
    let shown = line.replace('&', "&amp;").replace('<', "&lt;");
    let html = format!(
        "<html><body><p>{shown}</p><table><tr><th>Material</th><th>Price per kg</th></tr>\
         <tr><td>Copper bright</td><td>7.25</td></tr><tr><td>Brass yellow</td><td>4.10</td></tr>\
         <tr><td>Lead</td><td>1.40</td></tr></table></body></html>"
    );
    let mut workbook = Workbook::new();
    let page = workbook.add_worksheet();
    page.write(0, 0, line).unwrap();
    for (row, (name, price)) in
        [("Copper bright", 7.25), ("Brass yellow", 4.1), ("Lead", 1.4)].iter().enumerate()
    {
        page.write(row as u32 + 3, 0, *name).unwrap();
        page.write(row as u32 + 3, 1, *price).unwrap();
    }
    page.write(2, 0, "Material").unwrap();
    page.write(2, 1, "Price per kg").unwrap();
    let workbook = workbook.save_to_buffer().unwrap();
    vec![
        ("text", sheet("list.txt", text.as_bytes(), currency, today)),
        ("csv", sheet("list.csv", csv.as_bytes(), currency, today)),
        ("html", sheet("list.html", html.as_bytes(), currency, today)),
        ("workbook", sheet("list.xlsx", &workbook, currency, today)),
    ]
}

fn check(line: &str, currency: Currency, today: Date, expect: Option<Date>) {
    for (form, sheet) in forms(line, currency, today) {
        assert_eq!(sheet.valid_from, expect, "{line} as {form}: {sheet:#?}");
        let names: Vec<&str> = sheet.rows.iter().map(|row| row.wording.as_str()).collect();
        assert_eq!(names, ["Copper bright", "Brass yellow", "Lead"], "{line} as {form}");
    }
}

#[test]
fn the_year_is_the_nearest() {
    let said = |line: &str, today, expect| check(line, Currency::USD, today, Some(expect));
    said("Prices effective 4 Nov", date(2026, 11, 26), date(2026, 11, 4));
    said("valid from Dec 3", date(2026, 11, 26), date(2026, 12, 3));
    said("Effective 28 Dec", date(2026, 1, 3), date(2025, 12, 28));
    said("Effective 2 Jan", date(2026, 12, 30), date(2027, 1, 2));
    said("Effective 12/28", date(2026, 1, 3), date(2025, 12, 28));
    said("Prices as of 1/2", date(2026, 12, 30), date(2027, 1, 2));
    said("Price list 11/24", date(2026, 11, 26), date(2026, 11, 24));
}

#[test]
fn the_trades_languages() {
    let day = date(2026, 12, 3);
    for line in [
        "gültig ab 3. Dez.",
        "Preise gültig ab 3.12.",
        "Preisliste, Stand 3.12.",
        "prix au 3 décembre",
        "Tarif du 3/12",
        "Prix valables à partir du 3 décembre",
        "precios al 3 de diciembre",
        "Precios vigentes desde el 3/12",
        "listino del 3/12",
        "Prezzi validi dal 3 dicembre",
        "prijzen per 3 december",
        "Geldig vanaf 3-12",
        "Cennik z dnia 3.12.",
        "Ceny obowiązują, ważne od 3 grudnia",
        "tabela de preços do dia 3/12",
        "preços válidos a partir de 3 de dezembro",
        "Prices effective 3/12",
        "valid from 3 Dec",
    ] {
        check(line, Currency::EUR, date(2026, 11, 26), Some(day));
    }
}

/// In Canada both orders are written: the nearer day is taken, and asked about.
#[test]
fn an_order_that_is_not_known_is_asked_about() {
    for (_, sheet) in forms("Effective 11/12", Currency::CAD, date(2026, 11, 26)) {
        assert_eq!(sheet.valid_from, Some(date(2026, 11, 12)));
        assert!(sheet.problems.contains(&Problem::DateUnclear(date(2026, 11, 12))), "{:?}", sheet.problems);
    }
}

#[test]
fn what_is_no_day_of_validity() {
    for line in [
        "Good until Dec 3",
        "Prix valables jusqu'au 3 décembre",
        "Preise gültig bis 3.12.",
        "Closed from Dec 3",
        "Geschlossen ab 3.12.",
        "New hours effective 8-4",
        "Call 555-0312, fax 555-3-12",
        "Open Mon-Fri 8-12, Sat 9-11",
        "We cut 3/4\" and 5/8\" pipe",
        "Effective size 3/4 inch",
    ] {
        for currency in [Currency::USD, Currency::EUR] {
            for (form, sheet) in forms(line, currency, date(2026, 11, 26)) {
                assert_eq!(sheet.valid_from, None, "{line} as {form}");
            }
        }
    }
}

#[test]
fn prices_and_fractions_stay_what_they_are() {
    for (line, price) in [
        ("Copper pipe 3/4\" valid for all yards 3.12", "3.12"),
        ("Kupfer gültig ab Montag 3.12 €/kg", "3.12"),
        ("Copper, effective today 3.12/lb", "3.12"),
        ("Brass prices $3.12", "3.12"),
    ] {
        let sheet = sheet("list.txt", line.as_bytes(), Currency::USD, date(2026, 11, 26));
        assert_eq!((sheet.valid_from, sheet.rows.len()), (None, 1), "{line}");
        let low = match sheet.rows[0].price {
            intake::RowPrice::Priced { low, .. } => low.to_string(),
            intake::RowPrice::OnRequest => String::new(),
        };
        assert_eq!(low, price, "{line}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(400) })]

    /// A day that is announced in any of these ways is read back, whatever today is.
    #[test]
    fn announced_days_are_read_back(
        back in -150i32..150,
        today in 0i32..12_000,
        way in prop::sample::select(vec!["Effective %-d %b", "Prices valid from %B %-d", "gültig ab %-d.%-m.", "Stand: %d.%m.",
            "prix valables du %-d/%-m", "geldig vanaf %-d-%-m"]),
    ) {
        let today = date(2015, 1, 1).saturating_add(jiff::Span::new().days(today));
        let meant = today.saturating_add(jiff::Span::new().days(back));
        // No other year near has this day.
        prop_assume!((meant.month(), meant.day()) != (2, 29));
        let line = meant.strftime(way).to_string();
        let read = sheet("list.txt", format!("{line}\nBrass  4.10\n").as_bytes(), Currency::EUR, today);
        prop_assert_eq!(read.valid_from, Some(meant), "{}", line);
        prop_assert_eq!(read.rows.len(), 1);
    }

    /// Telephones, hours, sizes and prices in any figures are no days.
    #[test]
    fn other_figures_are_no_days(
        a in 1u32..32,
        b in 1u32..13,
        line in prop::sample::select(vec![
            "Call 555-{a}-{b}", "Open {a}-{b}", "Pipe {b}/{a}\"", "Pipe {b}/{a} inch, effective now", "Brass {a}.{b}",
            "Brass ${a}.{b} effective now", "Cable {a}/{b}", "Open Mon-Fri {b}-{a}, valid ID required", "min. {a}-{b} lb",
            "Prices from ${a}.{b}",
        ]),
        currency in prop::sample::select(vec![Currency::USD, Currency::EUR, Currency::CAD]),
    ) {
        let line = line.replace("{a}", &a.to_string()).replace("{b}", &b.to_string());
        let read = sheet("list.txt", line.as_bytes(), currency, date(2026, 11, 26));
        prop_assert_eq!(read.valid_from, None, "{}", line);
    }
}
