//! What the log of a teardown comes to.

use jiff::Timestamp;
use rust_decimal::dec;
use trade::ids::PartId;
use trade::mass::{Mass, MassUnit};
use trade::teardown::{Balance, Entry, EntryKind, Progress, last_place};

use super::g;

fn at(clock: &str) -> Timestamp {
    format!("2026-05-12T{clock}:00Z").parse().expect("a moment")
}

fn entry(clock: &str, typed: &str, kind: EntryKind) -> Entry {
    Entry { at: at(clock), typed: typed.into(), kind }
}

fn part(clock: &str, part: &str, grams: i64) -> Entry {
    let kind = EntryKind::Part { part: PartId::new(part), mass: g(grams), pieces: 1 };
    entry(clock, &format!("{grams} g"), kind)
}

#[test]
fn parts_and_waste_make_up_the_whole_within_what_the_scale_shows() {
    let whole = |grams| entry("10:00", &format!("{grams} g"), EntryKind::Whole { mass: g(grams) });
    let parts = || vec![part("10:05", "board", 600), part("10:09", "supply", 1400)];
    let balance = |grams: i64| {
        let mut entries = parts();
        entries.push(whole(grams));
        Progress::of(&entries).balance()
    };
    // Three readings to the gram may be off by half of one each.
    assert_eq!(balance(2000), Balance::Even);
    assert_eq!(balance(2001), Balance::Even);
    assert_eq!(balance(2002), Balance::Unaccounted(g(2)));
    assert_eq!(balance(1998), Balance::Heavier(g(2)));
    assert_eq!(Progress::of(&parts()).balance(), Balance::Unknown);
    let mut with_waste = parts();
    with_waste.push(whole(2200));
    with_waste.push(entry("10:20", "200 g", EntryKind::Waste { mass: g(200) }));
    assert_eq!(Progress::of(&with_waste).balance(), Balance::Even);
}

#[test]
fn the_timer_adds_up_whatever_order_phones_send_in() {
    let mut entries = vec![
        entry("10:00", "", EntryKind::Start),
        entry("10:10", "", EntryKind::Stop),
        entry("11:00", "", EntryKind::Start),
        // Pressed on the other phone too: it runs already.
        entry("11:05", "", EntryKind::Start),
        entry("11:20", "", EntryKind::Stop),
        entry("11:21", "", EntryKind::Stop),
    ];
    let sorted = Progress::of(&entries);
    entries.reverse();
    assert_eq!(Progress::of(&entries), sorted);
    assert_eq!((sorted.minutes(at("23:00")), sorted.running_since), (dec!(30), None));
    entries.push(entry("12:00", "", EntryKind::Start));
    let running = Progress::of(&entries);
    assert_eq!(running.minutes(at("12:15")), dec!(45));
    assert_eq!(running.forgotten(at("13:00")), None);
    assert_eq!(running.forgotten(at("22:00")), Some(at("12:00")), "it runs all night");
}

#[test]
fn a_part_weighed_twice_is_told() {
    let progress =
        Progress::of(&[part("10:00", "board", 600), part("10:01", "board", 600), part("10:02", "cord", 90)]);
    assert_eq!(progress.twice().into_iter().map(PartId::as_str).collect::<Vec<_>>(), ["board"]);
    assert_eq!(progress.came_off(), g(1290));
}

#[test]
fn the_last_whole_weight_counts_and_seeing_is_seeing() {
    let whole = |clock, grams| entry(clock, "", EntryKind::Whole { mass: g(grams) });
    let progress =
        Progress::of(&[whole("10:30", 900), whole("10:00", 950), entry("09:00", "", EntryKind::Seen)]);
    assert_eq!((progress.whole, progress.is_seen), (Some(g(900)), true));
    assert!(!Progress::of(&[]).is_seen);
}

#[test]
fn the_last_place_of_a_reading_as_it_was_typed() {
    let ounce = Mass::of(dec!(1), MassUnit::Ounce);
    for (typed, step) in [
        ("2 lb 5 oz", ounce),
        ("2lb5oz", ounce),
        ("37.5 oz", ounce.times(dec!(0.1))),
        ("1.049 kg", g(1)),
        ("1,2 kg", g(100)),
        ("450 g", g(1)),
        ("0.92 kg on Bench scale", g(10)),
        ("12 lbs", Mass::of(dec!(1), MassUnit::Pound)),
    ] {
        assert_eq!(last_place(typed), Some(step), "{typed}");
    }
    for typed in ["", "2.5", "kg", "five oz", "2 stones"] {
        assert_eq!(last_place(typed), None, "{typed}");
    }
}

#[test]
fn what_has_not_come_off_is_still_in_it() {
    let parts = vec![
        (super::piece("board", "board", 600, 4), ""),
        (super::piece("relay", "silver", 40, 2), "board"),
        (super::piece("supply", "supply", 1400, 2), ""),
        (super::piece("coil", "copper", 90, 2), "supply"),
    ];
    let tree = super::tree(super::piece("box", "", 2500, 0), parts);
    let place = |id: &str| tree.piece(&id.into()).map(|(at, _)| at).expect("a part");
    let still = |entries: &[Entry], part: &str| -> Vec<String> {
        let still = Progress::of(entries).still_in(&tree, place(part));
        still.into_iter().map(|at| tree.pieces()[at].id.to_string()).collect()
    };
    assert_eq!(still(&[], "box"), ["board", "relay", "supply", "coil"]);
    assert_eq!(still(&[], "board"), ["relay"]);
    assert!(still(&[], "coil").is_empty());
    // The board went with its relay on it; the coil came off its supply, which is there still.
    let off = [part("10:00", "board", 600), part("10:10", "coil", 90)];
    assert_eq!(still(&off, "box"), ["supply"]);
    assert_eq!(still(&[part("10:00", "relay", 40)], "board"), Vec::<String>::new());
}
