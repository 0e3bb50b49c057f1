//! Names with the masses in them from which, or up to which, their price holds: on whole sheets of every form.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Catalogue, Hints, Learned, RowPrice, Sheet, detect, read};
use jiff::civil::date;
use proptest::prelude::*;
use rust_decimal::Decimal;
use rust_xlsxwriter::Workbook;
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, PriceUnit};

fn sheet(name: &str, bytes: &[u8]) -> Sheet {
    let unit = Some(PriceUnit::Mass(MassUnit::Pound));
    let hints = Hints { currency: Currency::USD, unit, today: date(2026, 11, 26) };
    read(detect(name, bytes).unwrap(), bytes, &hints).unwrap()
}

/// The name with a price behind it in a sheet of each form.
fn forms(name: &str) -> Vec<(&'static str, Sheet)> {
    let text = format!("Zinc  0.61\n{name}  3.10\nLead  0.62\n");
    let csv = format!("Material,Price\nZinc,0.61\n\"{}\",3.10\nLead,0.62\n", name.replace('"', "\"\""));
    let html = format!(
        "<table><tr><th>Material</th><th>Price</th></tr><tr><td>Zinc</td><td>0.61</td></tr>\
         <tr><td>{}</td><td>3.10</td></tr><tr><td>Lead</td><td>0.62</td></tr></table>",
        name.replace('&', "&amp;").replace('<', "&lt;")
    );
    let mut workbook = Workbook::new();
    let page = workbook.add_worksheet();
    for (row, (name, price)) in [("Zinc", 0.61), (name, 3.1), ("Lead", 0.62)].into_iter().enumerate() {
        page.write(row as u32 + 1, 0, name).unwrap();
        page.write(row as u32 + 1, 1, price).unwrap();
    }
    page.write(0, 0, "Material").unwrap();
    page.write(0, 1, "Price").unwrap();
    let workbook = workbook.save_to_buffer().unwrap();
    vec![
        ("text", sheet("list.txt", text.as_bytes())),
        ("csv", sheet("list.csv", csv.as_bytes())),
        ("html", sheet("list.html", html.as_bytes())),
        ("workbook", sheet("list.xlsx", &workbook)),
    ]
}

fn mass(mass: Option<Mass>, unit: MassUnit) -> String {
    mass.map(|mass| (mass.grams() / unit.grams()).round_dp(6).normalize().to_string()).unwrap_or_default()
}

/// `wording | from..to unit`, of the second row in every form.
fn check(name: &str, expect: &str) {
    let unit = if expect.ends_with(" kg") { MassUnit::Kilogram } else { MassUnit::Pound };
    for (form, sheet) in forms(name) {
        let row = sheet.rows.get(1).unwrap_or_else(|| panic!("{name} as {form}: {sheet:#?}"));
        let tier = match (row.tier_from, row.tier_to) {
            (None, None) => "-".to_string(),
            (from, to) => format!("{}..{} {}", mass(from, unit), mass(to, unit), unit.code()),
        };
        assert_eq!(format!("{} | {tier}", row.wording), expect, "{name} as {form}");
        assert_eq!(row.price, RowPrice::Priced { low: Decimal::new(310, 2), high: None }, "{name} as {form}");
        assert_eq!(sheet.rows.len(), 3, "{name} as {form}");
        assert!(row.source.contains(name), "{:?}", row.source);
    }
}

#[test]
fn a_tier_in_brackets() {
    check("Copper #2 (500+ lb)", "Copper #2 | 500.. lb");
    check("#2 copper [under 100 lb]", "#2 copper | ..100 lb");
    check("Brass (100-500 lbs)", "Brass | 100..500 lb");
    check("Kupfer (ab 100 kg)", "Kupfer | 100.. kg");
    check("(500+ lb) Copper #2", "Copper #2 | 500.. lb");
    check("Copper (1,000 lb & up)", "Copper | 1000.. lb");
    check("Copper (< 100 lb)", "Copper | ..100 lb");
    check("Copper (100 to 499 lb)", "Copper | 100..499 lb");
    check("Copper (between 100 and 500 lb)", "Copper | 100..500 lb");
    check("Copper (500lb+)", "Copper | 500.. lb");
    check("Kupfer (von 100 bis 500 kg)", "Kupfer | 100..500 kg");
    check("Cuivre (de 100 à 500 kg)", "Cuivre | 100..500 kg");
    check("Cuivre [à partir de 100 kg]", "Cuivre | 100.. kg");
    check("Rame (da 100 a 500 kg)", "Rame | 100..500 kg");
    check("Cobre (más de 100 kg)", "Cobre | 100.. kg");
    check("Cobre (até 100 kg)", "Cobre | ..100 kg");
    check("Koper (meer dan 100 kg)", "Koper | 100.. kg");
    check("Koper (van 100 tot 500 kg)", "Koper | 100..500 kg");
    check("Miedź (od 100 do 500 kg)", "Miedź | 100..500 kg");
}

#[test]
fn a_tier_inside_a_name() {
    check("Brass 100-500 lbs", "Brass | 100..500 lb");
    check("Copper #2, 500+ lb", "Copper #2 | 500.. lb");
    check("Copper (500+ lb) #2", "Copper #2 | 500.. lb");
    check("Copper 500+ lb, clean", "Copper, clean | 500.. lb");
    check("Copper #2 (clean, 500+ lb)", "Copper #2 (clean) | 500.. lb");
    check("Copper #2 (500+ lb; clean)", "Copper #2 (clean) | 500.. lb");
}

#[test]
fn brackets_that_hold_no_tier_stay() {
    check("Copper (no steel)", "Copper (no steel) | -");
    check("Copper (min. 50 lb)", "Copper (min. 50 lb) | -");
    check("Copper #2 clean (min. 50 lb)", "Copper #2 clean (min. 50 lb) | -");
    check("Copper pipe (3/4\" to 1\")", "Copper pipe (3/4\" to 1\") | -");
    check("Insulated wire (60-80%)", "Insulated wire (60-80%) | -");
    check("Cable (10-20 mm)", "Cable (10-20 mm) | -");
    check("Processors (386+)", "Processors (386+) | -");
    check("RAM (100+ pcs)", "RAM (100+ pcs) | -");
    check("Electric motors (under 50 lb)", "Electric motors (under 50 lb) | -");
}

/// Where a line gives several prices, a tier in brackets is of the price that has no other.
#[test]
fn several_prices_in_a_line() {
    let said = |line: &str, expect: &[&str]| {
        let rows = sheet("list.txt", line.as_bytes()).rows;
        let shown: Vec<String> = rows
            .iter()
            .map(|row| {
                let RowPrice::Priced { low, .. } = row.price else { return "on request".to_string() };
                let (from, to) = (mass(row.tier_from, MassUnit::Pound), mass(row.tier_to, MassUnit::Pound));
                let asks = row.doubts.iter().any(|doubt| doubt.asks());
                format!("{} {low} {from}..{to}{}", row.wording, if asks { "?" } else { "" })
            })
            .collect();
        assert_eq!(shown, expect, "{line}");
    };
    let two = ["Copper #2 2.90 ..100", "Copper #2 3.10 100.."];
    said("Copper #2 (under 100 lb) 2.90 (100+ lb) 3.10", &two);
    said("Copper #2 2.90 (under 100 lb) 3.10 (100+ lb)", &two);
    said("Copper #2 2.90 (under 100 lb), 3.10 (100+ lb)", &two);
    said("Copper 3.10 (500+ lb), brass 2.10 (100+ lb)", &["Copper 3.10 500..", "brass 2.10 100.."]);
    said("Copper (500+ lb) 3.10, brass (100+ lb) 2.10", &["Copper 3.10 500..", "brass 2.10 100.."]);
    said("Copper #2 3.10 (500+ lb)", &["Copper #2 3.10 500.."]);
    said("#2 copper (500+ lb):\n3.10", &["#2 copper 3.10 500.."]);
}

/// Columns that say the tier are surer than a name that does.
#[test]
fn columns_of_tiers_come_first() {
    let csv = "Material,1-99 lb,100+ lb\nBrass (500+ lb),2.10,2.20\nLead,0.60,0.62\nZinc,0.60,0.61\n";
    let rows = sheet("list.csv", csv.as_bytes()).rows;
    let shown: Vec<String> = rows[..2]
        .iter()
        .map(|row| format!("{} {}", row.wording, mass(row.tier_from, MassUnit::Pound)))
        .collect();
    assert_eq!(shown, ["Brass (500+ lb) 1", "Brass (500+ lb) 100"]);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(150) })]

    /// Whatever the name and the tier in brackets, the name is matched as it would be without them.
    #[test]
    fn matched_as_without(
        grade in any::<prop::sample::Index>(),
        from in 1u32..2000,
        more in 1u32..2000,
        form in prop::sample::select(vec!["({a}+ lb)", "[over {a} lb]", "({a}-{b} kg)", "(under {b} kg)", "({a} lb and up)"]),
    ) {
        let grades = super::seed::grades();
        // A name that has brackets itself may have words of a load in them.
        let name = grade.get(&grades).name.clone();
        prop_assume!(!name.contains(['(', ')']));
        let tier = form.replace("{a}", &from.to_string()).replace("{b}", &(from + more).to_string());
        let catalogue = Catalogue::new(grades);
        let bare = sheet("list.csv", format!("Material,Price\nZinc,0.61\n\"{name}\",3.10\nLead,0.62\n").as_bytes());
        let heavy = bare.rows[1].wording.to_lowercase();
        prop_assume!(!["motor", "transformer"].iter().any(|word| heavy.contains(word)));
        for (form, sheet) in forms(&format!("{name} {tier}")) {
            let row = &sheet.rows[1];
            prop_assert_eq!(&row.wording, &bare.rows[1].wording, "{} as {}", tier, form);
            prop_assert!(row.tier_from.is_some() || row.tier_to.is_some(), "{} {} as {}", name, tier, form);
            let means = |wording: &str| catalogue.propose(&Learned::default(), wording, None);
            prop_assert_eq!(means(&row.wording), means(&name));
        }
    }
}
