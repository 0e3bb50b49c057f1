//! What stands at the head of a sheet: the yard's own name, which completes no names, and headings, which do.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Hints, detect, read};
use jiff::civil::date;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

/// The heading of each row, `-` where there is none.
fn check(name: &str, text: &str, expect: &[&str]) {
    let unit = Some(PriceUnit::Mass(MassUnit::Pound));
    let hints = Hints { currency: Currency::USD, unit, today: date(2026, 11, 26) };
    let sheet = read(detect(name, text.as_bytes()).unwrap(), text.as_bytes(), &hints).unwrap();
    let groups: Vec<&str> = sheet.rows.iter().map(|row| row.group.as_deref().unwrap_or("-")).collect();
    assert_eq!(groups, expect, "{text}\n{sheet:#?}");
}

#[test]
fn the_name_of_a_firm_is_no_heading() {
    let list = "No. 1  3.60\nNo. 2  3.40\n";
    for firm in [
        "LAKESIDE IRON & METAL",
        "*** KESTREL BAY METAL RECYCLING ***",
        "Schrotthandel Brennicke Kupfer GmbH",
        "Récupération Delmaire métaux SARL",
        "CHATARRERÍA OLMEDILLO METALES",
        "ROTTAMI FRATELLI BRESSAN",
        "SUCATA PONTEVELHA LTDA",
        "Oud ijzer Veldkamp B.V.",
        "SKUP ZŁOMU WIERZBICKI",
    ] {
        check("list.txt", &format!("{firm}\n{list}"), &["-", "-"]);
    }
    check("list.txt", "Prices today\nLAKESIDE IRON & METAL\nNo. 1  3.60\n", &["-"]);
    let csv = "LAKESIDE IRON & METAL,\nMaterial,Price\nNo. 1,3.60\nNo. 2,3.40\n";
    check("list.csv", csv, &["-", "-"]);
}

#[test]
fn nor_is_what_an_address_stands_below() {
    for below in
        ["1200 Harbor Road", "Tel. 555-0144", "desk@lakeside.example", "Effective 11/4/2026", "PRICE LIST"]
    {
        check("list.txt", &format!("LAKESIDE COPPER\n{below}\nNo. 1  3.60\n"), &["-"]);
    }
}

#[test]
fn headings_at_the_head_hold() {
    check("list.txt", "COPPER\nEffective 11/4/2026\nNo. 1  3.60\n", &["COPPER"]);
    check("list.txt", "LAKESIDE IRON & METAL\nCOPPER\nNo. 1  3.60\n", &["COPPER"]);
    check("list.txt", "IRON & METAL\nNo. 1  3.60\n", &["IRON & METAL"]);
    check(
        "list.txt",
        "COPPER\nNo. 1  3.60\nWIRE RECYCLING KESTREL\nNo. 2  1.10\n",
        &["COPPER", "WIRE RECYCLING KESTREL"],
    );
    check("list.csv", "COPPER,\nMaterial,Price\nNo. 1,3.60\nNo. 2,3.40\n", &["COPPER", "COPPER"]);
}
