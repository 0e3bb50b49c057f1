//! Reports of USB scales.

use proptest::prelude::*;
use rust_decimal::{Decimal, MathematicalOps, dec};
use trade::mass::{Mass, MassUnit};
use trade::reading::{self, Reading};
use trade::scale::{ReportError, Said, Unfit, Watch, read};

/// A report whose weight lies still.
fn stable(unit: u8, power: i8, weight: u16) -> [u8; 6] {
    let [low, high] = weight.to_le_bytes();
    [3, 4, unit, power.cast_unsigned(), low, high]
}

#[track_caller]
fn spelled(report: &[u8]) -> String {
    match read(report) {
        Ok(Said::Stable(shown)) => shown.spelled(),
        other => panic!("{report:02x?} is {other:?}"),
    }
}

/// Worked examples of others: antradar.com, “Dymo USB scale interface specs”: `02 00 14 00` is 20 g, and `0B FF 34 19` is
/// 40 lb 5.2 oz, which are 645.2 oz (the first two bytes, report number and status, are left out there).
#[test]
fn published_examples_are_read_as_published() {
    assert_eq!(spelled(&[3, 4, 0x02, 0x00, 0x14, 0x00]), "20 g");
    let report = [3, 4, 0x0b, 0xff, 0x34, 0x19];
    assert_eq!(spelled(&report), "645.2 oz");
    let Ok(Said::Stable(shown)) = read(&report) else { panic!("it is stable") };
    assert_eq!(shown.mass(), Mass::of(dec!(40), MassUnit::Pound) + Mass::of(dec!(5.2), MassUnit::Ounce));
}

/// The order of the units on usage page 0x8D, from 0x51: milligram, gram, kilogram, carats, taels, grains, pennyweights,
/// metric ton, avoir ton, troy ounce, ounce, pound (HID Usage Tables 1.5). Masses by NIST Handbook 44, appendix C: a grain
/// is 64.79891 mg, a pennyweight 24 grains, a troy ounce 480, a pound 7000; a carat is 200 mg.
#[test]
fn each_unit_is_what_its_place_in_the_list_says() {
    let grain = dec!(0.06479891);
    for (unit, grams) in [
        (1, dec!(0.001)),
        (2, dec!(1)),
        (3, dec!(1000)),
        (4, dec!(0.2)),
        (6, grain),
        (7, grain * dec!(24)),
        (8, dec!(1000000)),
        (10, grain * dec!(480)),
        (11, grain * dec!(437.5)),
        (12, grain * dec!(7000)),
    ] {
        let Ok(Said::Stable(shown)) = read(&stable(unit, 0, 7)) else { panic!("unit {unit}") };
        assert_eq!(shown.mass().grams(), grams * dec!(7), "unit {unit}");
    }
    for unit in [0, 5, 9, 13, 255] {
        assert_eq!(read(&stable(unit, 0, 7)), Err(ReportError::Unit(unit)));
    }
}

/// The order of the statuses, from 0x71: fault, stable at centre of zero, in motion, weight stable, under zero, over weight
/// limit, requires calibration, requires re-zeroing (HID Usage Tables 1.5).
#[test]
fn each_status_is_what_its_place_in_the_list_says() {
    for (status, said) in [
        (1, Said::Unfit(Unfit::Fault)),
        (2, Said::Empty),
        (3, Said::Moving),
        (5, Said::Unfit(Unfit::UnderZero)),
        (6, Said::Unfit(Unfit::OverLimit)),
        (7, Said::Unfit(Unfit::NeedsCalibration)),
        (8, Said::Unfit(Unfit::NeedsZeroing)),
    ] {
        assert_eq!(read(&[3, status, 2, 0, 20, 0]), Ok(said));
    }
    for status in [0, 9, 255] {
        assert_eq!(read(&[3, status, 2, 0, 20, 0]), Err(ReportError::Status(status)));
    }
    assert_eq!(read(&stable(2, 0, 0)), Ok(Said::Empty), "a stable nothing is nothing");
    assert_eq!(read(&[3, 4, 2, 0, 20]), Err(ReportError::TooShort(5)));
    assert_eq!(read(&[1, 4, 2, 0, 20, 0]), Err(ReportError::NotAWeight(1)));
}

#[test]
fn a_reading_is_new_once() {
    let mut watch = Watch::default();
    let mut heard =
        |report: [u8; 6]| watch.new_reading(read(&report).expect("a report")).map(|shown| shown.spelled());
    let moving = [3, 3, 3, 0xfe, 90, 0];
    let empty = [3, 2, 3, 0xfe, 0, 0];
    assert_eq!(heard(empty), None);
    assert_eq!(heard(moving), None);
    assert_eq!(heard(stable(3, -2, 124)), Some("1.24 kg".to_string()));
    assert_eq!(heard(stable(3, -2, 124)), None, "it says so ten times a second");
    assert_eq!(heard(moving), None);
    assert_eq!(heard(stable(3, -2, 124)), None, "it was only touched");
    assert_eq!(heard(stable(3, -2, 125)), Some("1.25 kg".to_string()));
    assert_eq!(heard(empty), None);
    assert_eq!(heard(stable(3, -2, 125)), Some("1.25 kg".to_string()), "it was taken off and put on again");
}

proptest! {
    #[test]
    fn no_bytes_break_it(report in proptest::collection::vec(any::<u8>(), 0..64)) {
        let _ = read(&report);
    }

    /// Whatever a scale shows, the shop reads as exactly that mass.
    #[test]
    fn what_is_spelled_is_read_back(
        unit in proptest::sample::select(vec![1_u8, 2, 3, 4, 6, 7, 8, 10, 11, 12]),
        power in -4_i8..=1,
        weight in 1_u16..,
    ) {
        let said = read(&stable(unit, power, weight)).expect("a report");
        let Said::Stable(shown) = said else { panic!("{said:?}") };
        // A thousand tonnes and more are refused, and no shop has such a scale; a reading is kept to the microgram.
        prop_assume!(shown.mass() < Mass::of(dec!(1000), MassUnit::Tonne) && shown.mass().micrograms() > 0);
        match reading::read(&shown.spelled()) {
            Ok(Reading::Sure { meaning, .. }) => {
                prop_assert_eq!(meaning.mass.micrograms(), shown.mass().micrograms());
            }
            other => prop_assert!(false, "{} is {:?}", shown.spelled(), other),
        }
        let number = Decimal::from(weight) * Decimal::TEN.powi(power.into());
        prop_assert!(unit != 3 || shown.mass().grams() == number * dec!(1000));
    }
}
