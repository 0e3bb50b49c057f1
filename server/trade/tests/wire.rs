//! Gauges against printed wire tables (tests/data/awg.csv, sources in tests/data/SOURCES.md), and wire against worked
//! examples.

use rust_decimal::{Decimal, dec};
use trade::mass::{Mass, MassUnit};
use trade::money::Share;
use trade::wire::{COPPER_DENSITY, Cable, Gauge, NoRecovery, StripOrSell, recovery_of_sample};

/// One line of the table: name, gauge, and the printed numbers.
struct Row {
    name: String,
    gauge: Gauge,
    astm_mm: Decimal,
    astm_mm2: Decimal,
    handbook_inches: Decimal,
    handbook_pounds_per_1000_feet: Decimal,
    note: String,
}

fn table() -> Vec<Row> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/awg.csv");
    let text = std::fs::read_to_string(path).expect("the wire table");
    let row = |line: &str| {
        let cells: Vec<&str> = line.splitn(18, ',').collect();
        let number = |i: usize| cells[i].parse::<Decimal>().expect("a number");
        Row {
            name: cells[0].to_string(),
            gauge: Gauge::new(cells[1].parse().expect("a gauge")).expect("a gauge in range"),
            astm_mm: number(6),
            astm_mm2: number(8),
            handbook_inches: number(9),
            handbook_pounds_per_1000_feet: number(12),
            note: cells[17].to_string(),
        }
    };
    text.lines().skip(1).map(row).collect()
}

/// Half a unit of the last digit that is printed.
fn half_a_digit(printed: Decimal) -> Decimal {
    Decimal::new(5, printed.scale() + 1)
}

/// All 44 printed diameters in inches, to half of their last digit.
#[test]
fn diameters_are_the_handbooks() {
    let table = table();
    assert_eq!(table.len(), 44);
    for row in table {
        let inches = row.gauge.diameter_mm() / dec!(25.4);
        assert!((inches - row.handbook_inches).abs() <= half_a_digit(row.handbook_inches), "{}", row.name);
        assert_eq!(Gauge::read(&row.name), Some(row.gauge));
    }
}

/// ASTM rounds the diameter to a tenth of a mil (2.54 µm) before it goes on, so the standard's millimetres and areas lie
/// that far off the formula. Rows whose millimetres are misprinted are left out.
#[test]
fn diameters_and_areas_are_the_standards() {
    let mut checked = 0;
    for row in table().iter().filter(|row| !row.note.contains("mm:")) {
        let mm = row.gauge.diameter_mm();
        let off = dec!(0.00127) + half_a_digit(row.astm_mm);
        assert!((mm - row.astm_mm).abs() <= off, "{}", row.name);
        let area_off = dec!(2) * dec!(0.7854) * mm * dec!(0.00128) + half_a_digit(row.astm_mm2);
        assert!((row.gauge.area_mm2() - row.astm_mm2).abs() <= area_off, "{}", row.name);
        checked += 1;
    }
    assert_eq!(checked, 41);
}

/// Pounds of copper per 1,000 ft within 0.1 %, without AWG 1 and 24, which the source misprints.
#[test]
fn copper_weights_are_the_handbooks() {
    let mut checked = 0;
    for row in table().iter().filter(|row| row.name != "1" && row.name != "24") {
        let metres = dec!(304.8);
        let pounds = row.gauge.copper_grams_per_metre() * metres / MassUnit::Pound.grams();
        let printed = row.handbook_pounds_per_1000_feet;
        assert!((pounds - printed).abs() <= printed * dec!(0.001), "{}: {pounds}", row.name);
        checked += 1;
    }
    assert_eq!(checked, 42);
}

/// ASTM B258 fixes two diameters exactly: 0.46 in for 4/0 and 0.005 in for 36.
#[test]
fn the_two_ends_are_exact() {
    let near = |gauge: i8, mm: Decimal| {
        let diameter = Gauge::new(gauge).unwrap().diameter_mm();
        assert!((diameter - mm).abs() < dec!(0.000000001), "{gauge}: {diameter}");
    };
    near(-3, dec!(11.684));
    near(36, dec!(0.127));
}

#[test]
fn gauges_are_read_as_people_write_them() {
    for (typed, number) in
        [("14", 14), ("#12", 12), ("10 AWG", 10), ("18ga", 18), ("4/0", -3), ("00", -1), ("1/0", 0)]
    {
        assert_eq!(Gauge::read(typed).map(i8::from), Some(number), "{typed}");
    }
    for typed in ["", "0/0", "5/0", "-3", "51", "14.5", "romex"] {
        assert_eq!(Gauge::read(typed), None, "{typed}");
    }
}

/// By hand, no source: AWG 17 is 0.04526 in of copper; in 0.105 in of PVC the areas times the densities are
/// 0.04526² · 8.89 = 0.018211 and (0.105² − 0.04526²) · 1.35 = 0.012118, which makes 60.04 %.
#[test]
fn recovery_from_the_make_by_hand() {
    let cable = Cable {
        gauge: Gauge::new(17).unwrap(),
        conductors: 1,
        outer_diameter_mm: dec!(0.105) * dec!(25.4),
        jacket_density: dec!(1.35),
    };
    let recovery = cable.recovery().unwrap().get();
    assert!((recovery - dec!(0.6004)).abs() < dec!(0.0002), "{recovery}");
    // Copper to the rim is all copper.
    let bare = Cable { outer_diameter_mm: cable.gauge.diameter_mm(), ..cable };
    assert_eq!(bare.recovery().map(|share| share.get().round_dp(4)), Ok(dec!(1)));
    let thin = Cable { outer_diameter_mm: dec!(1), ..cable };
    assert_eq!(thin.recovery(), Err(NoRecovery::CopperLargerThanCable));
    assert_eq!(Cable { conductors: 0, ..cable }.recovery(), Err(NoRecovery::NoConductor));
    assert_eq!(Cable { jacket_density: dec!(0), ..cable }.recovery(), Err(NoRecovery::NotAJacket));
    assert!(Cable { outer_diameter_mm: Decimal::MAX, ..cable }.recovery().is_ok());
    assert_eq!(COPPER_DENSITY, dec!(8.89));
}

#[test]
fn recovery_of_a_weighed_sample() {
    let grams = |grams: u32| Mass::from_grams(grams.into());
    assert_eq!(recovery_of_sample(grams(200), grams(130)).map(Share::get), Ok(dec!(0.65)));
    assert_eq!(recovery_of_sample(grams(100), grams(101)), Err(NoRecovery::HeavierThanSample));
    assert_eq!(recovery_of_sample(grams(0), grams(0)), Err(NoRecovery::NoSample));
}

/// A public hobby page of 2012: 100 lb of insulated wire at 1.25 a pound are 125; stripped, 60 lb at 2.60 are 156, "at
/// least 31 more". The two are even at a recovery of 1.25 / 2.60 = 48.1 %.
#[test]
fn strip_or_sell_as_published() {
    let per_gram = |per_pound: Decimal| per_pound / MassUnit::Pound.grams();
    let wire = StripOrSell {
        mass: Mass::of(dec!(100), MassUnit::Pound),
        recovery: Share::percent(dec!(60)).unwrap(),
        insulated_per_gram: per_gram(dec!(1.25)),
        bare_per_gram: per_gram(dec!(2.60)),
        labour: dec!(0),
    };
    assert_eq!(wire.as_it_is().round_dp(10), dec!(125));
    assert_eq!(wire.stripped().round_dp(10), dec!(156));
    assert_eq!(wire.gain().round_dp(10), dec!(31));
    let even = wire.break_even_recovery().unwrap().get();
    assert_eq!(even.round_dp(3), dec!(0.481));
    // At that recovery neither is better; with work to pay it takes more; and what never pays has none.
    let at_even = StripOrSell { recovery: Share::new(even).unwrap(), ..wire };
    assert_eq!(at_even.gain().round_dp(10), dec!(0));
    // 40 of work: (125 + 40) / 260 = 63.5 %.
    let worked = StripOrSell { labour: dec!(40), ..wire };
    assert_eq!(worked.break_even_recovery().unwrap().get().round_dp(3), dec!(0.635));
    assert_eq!(worked.earned_per_hour(dec!(120)).unwrap().round_dp(10), dec!(15.5));
    assert_eq!(StripOrSell { labour: dec!(200), ..wire }.break_even_recovery(), None);
}
