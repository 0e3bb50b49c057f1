//! What people do in the shop, as stories through HTTP, each on both databases.

mod common;

mod api;
mod archive;
mod bag;
mod bench;
mod cash;
mod choices;
mod containers;
mod disk;
mod diverted;
mod diverted_sums;
mod gate;
mod grades;
mod guard;
mod hostile;
mod https;
mod import;
mod kept_back;
mod ladders;
mod ledger;
mod lists;
mod live;
mod load_list;
mod lost;
mod lots;
mod money;
mod offers;
mod outlets;
mod papers;
mod people;
mod photos;
mod pickups;
mod plan;
mod plan_faults;
mod rates;
mod record;
mod roads;
mod runs;
mod scales;
mod settlements;
mod sheet_effects;
mod sheet_files;
mod sheets;
mod shipment_steps;
mod shipments;
mod shop;
mod shops;
mod teardowns;
mod today;
mod track;
mod trading_year;
mod weigh;
mod wire;

/// Files are not found by themselves: one without its `mod` line above would never run.
#[test]
fn every_file_of_stories_is_run() {
    let this = include_str!("main.rs");
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests")).expect("the folder") {
        let path = entry.expect("an entry").path();
        let stem = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
        if path.extension().is_some_and(|ending| ending == "rs") && stem != "main" {
            assert!(this.contains(&format!("\nmod {stem};\n")), "tests/main.rs has no line “mod {stem};”");
        }
    }
}
