use rust_decimal::dec;
use trade::mass::Mass;
use trade::volume::Size;

use super::*;

fn row(number: Decimal, unit: MassUnit, charge: Decimal) -> WeightBreak {
    WeightBreak { up_to: Mass::of(number, unit), charge }
}

#[test]
fn a_break_is_read_with_any_separator() {
    for (line, expected) in [
        ("1 lb  9.85", row(dec!(1), MassUnit::Pound, dec!(9.85))),
        ("1 lb, 9.85", row(dec!(1), MassUnit::Pound, dec!(9.85))),
        ("1 lb,9.85", row(dec!(1), MassUnit::Pound, dec!(9.85))),
        ("1 lb\t$9.85", row(dec!(1), MassUnit::Pound, dec!(9.85))),
        ("up to 1 lb | 9.85", row(dec!(1), MassUnit::Pound, dec!(9.85))),
        ("2.5 kg; 14.20", row(dec!(2.5), MassUnit::Kilogram, dec!(14.20))),
        ("2,5 kg; 14,20", row(dec!(2.5), MassUnit::Kilogram, dec!(14.20))),
        ("2,5 kg, 14,20", row(dec!(2.5), MassUnit::Kilogram, dec!(14.20))),
        ("2.5 kg 14.20", row(dec!(2.5), MassUnit::Kilogram, dec!(14.20))),
        ("12 oz 5", row(dec!(12), MassUnit::Ounce, dec!(5))),
        ("2 lb 8 oz 12.30", row(dec!(40), MassUnit::Ounce, dec!(12.30))),
        ("2 lb, 8 oz, 12.30", row(dec!(40), MassUnit::Ounce, dec!(12.30))),
        ("2.5 lb, 0", row(dec!(2.5), MassUnit::Pound, dec!(0))),
    ] {
        assert_eq!(weight_break(line), Ok(expected), "{line}");
    }
}

/// One pound nine ounces and eighty-five hundredths, or one pound for 9.85? Nothing ambiguous passes silently.
#[test]
fn what_could_be_ounces_is_asked_about() {
    let problem = weight_break("1 lb 9.85").unwrap_err();
    assert!(problem.contains("1 lb, 9.85"), "{problem}");
    assert!(weight_break("1lb 9.85").is_err());
    assert!(weight_break("2 lbs. 11").is_err());
}

#[test]
fn zones_are_read_in_order() {
    let text = "zone: Lakes\n1 lb, 9.85\n2 lb, 11\n\nZone : Far north\n1 lb, 14\n";
    let expected = vec![
        (
            "Lakes".to_string(),
            vec![row(dec!(1), MassUnit::Pound, dec!(9.85)), row(dec!(2), MassUnit::Pound, dec!(11))],
        ),
        ("Far north".to_string(), vec![row(dec!(1), MassUnit::Pound, dec!(14))]),
    ];
    assert_eq!(read_breaks(text), Ok(expected));
    assert_eq!(read_breaks("1 lb, 9").unwrap()[0].0, ONLY_ZONE);
    assert_eq!(read_breaks("\n  \n"), Ok(Vec::new()));
}

#[test]
fn every_wrong_line_is_named() {
    for (text, line, word) in [
        ("1 lb, 9\n\n3 lb, 12\n2 lb, 11", 4, "not heavier than 3 lb on line 3"),
        ("1 lb, 9\n16 oz, 9", 2, "on line 1 already"),
        ("1 lb, -9", 1, "below zero"),
        ("1 lb, 9\nheavy, 12", 2, "does not read as a weight"),
        ("1, 9", 1, ""),
        ("12; 9", 1, "of what?"),
        ("1,250 g; 9", 1, "thousands"),
        ("0 kg; 9", 1, "above zero"),
        ("1 kg; nine", 1, "“nine” is not an amount"),
        ("1 kg;", 1, "no charge"),
        ("9.85", 1, "weight with its unit"),
        ("1 kg; 99999999999", 1, "too large"),
        ("99999999999 kg; 1", 1, "thousand tonnes"),
        ("1 kg; 9; 12", 1, "not an amount"),
        ("zone: A\n1 kg; 9\nzone: B\n1 kg; 9\nzone: A\n2 kg; 9", 5, "begun on line 1"),
        ("zone: A\nzone: B\n1 kg; 9", 1, "has no lines"),
        ("zone:\n1 kg; 9", 1, "has no name"),
    ] {
        let problem = read_breaks(text).unwrap_err();
        assert!(problem.starts_with(&format!("Line {line}: ")), "{text:?}: {problem}");
        assert!(problem.contains(word), "{text:?}: {problem}");
    }
    let many = "x\n".repeat(20);
    assert!(read_breaks(&many).unwrap_err().ends_with("And 12 more."));
    let endless: String = (1..=MOST_BREAKS + 5).map(|i| format!("{i} kg; {i}\n")).collect();
    assert!(read_breaks(&endless).unwrap_err().contains("at most"));
    let zones: String = (0..100).map(|i| format!("zone: {i}\n1 kg; {i}\n")).collect();
    assert!(read_breaks(&zones).unwrap_err().contains("at most"));
    assert!(read_breaks(&"1 kg; 1\n".repeat(100_000)).unwrap_err().contains("longer than any"));
}

#[test]
fn flat_boxes_are_for_every_zone_or_for_their_own() {
    let small = |charge| FlatBox {
        name: "Small".into(),
        inner: Size::inches(dec!(8.5), dec!(5.25), dec!(1.625)),
        limit: Mass::of(dec!(70), MassUnit::Pound),
        charge,
    };
    let text = "Small; 8.5 x 5 1/4 x 1.625 in; 70 lb; 10.40";
    assert_eq!(read_flat_boxes(text), Ok(FlatBoxes::EveryZone(vec![small(dec!(10.40))])));
    let by_zone = read_flat_boxes(&format!("zone: A\n{text}\nzone: B\nSmall; 8.5x5.25x1.625 in; 70 lb; 12"));
    let expected = vec![("A".into(), vec![small(dec!(10.40))]), ("B".into(), vec![small(dec!(12))])];
    assert_eq!(by_zone, Ok(FlatBoxes::ByZone(expected)));
    for wrong in [
        "Small; 8 x 5 x 2 in; 70 lb",
        "; 8 x 5 x 2 in; 70 lb; 9",
        "Small; 8 x 5 in; 70 lb; 9",
        "Small; 8 x 5 x 2 in; 70; 9",
        "Small; 8 x 5 x 2 in; 70 lb; -9",
        "Small; 8 x 5 x 2 in; 70 lb; 9\nSmall; 8 x 5 x 2 in; 70 lb; 9",
        "Small; 8 x 5 x 2 in; 70 lb; 9\nzone: A",
    ] {
        assert!(read_flat_boxes(wrong).unwrap_err().starts_with("Line "), "{wrong}");
    }
}

#[test]
fn surcharges_say_when() {
    let read = read_surcharges(
        "residential; 4.10\nheavy; 24; over 50 lb\nlong; 17.5; longer than 48 in\nbig; 90; Girth over 3.3 m",
    );
    let expected = [
        ("residential", dec!(4.10), SurchargeWhen::Always),
        ("heavy", dec!(24), SurchargeWhen::HeavierThan(Mass::of(dec!(50), MassUnit::Pound))),
        ("long", dec!(17.5), SurchargeWhen::LongerThan(dec!(1219.2))),
        ("big", dec!(90), SurchargeWhen::LengthPlusGirthOver(dec!(3300))),
    ]
    .map(|(name, charge, when)| Surcharge { name: name.into(), charge, when });
    assert_eq!(read, Ok(expected.to_vec()));
    for wrong in [
        "heavy",
        "heavy; x",
        "heavy; 4; sometimes",
        "heavy; 4; over 50",
        "; 4",
        "heavy; -4",
        "a; 1; always; b",
    ] {
        assert!(read_surcharges(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn what_is_written_reads_as_the_same() {
    let breaks = "zone: Lakes\n1 oz, 5\n1 lb, 9.85\n2.5 kg, 14.20\n\nzone: West\n30 kg, 60\n";
    for boxes in [
        "Small; 8.5 x 5.25 x 1.6 in; 70 lb; 10.40\nLarge; 30 x 30 x 14 cm; 30 kg; 22\n",
        "zone: Lakes\nSmall; 8.5 x 5.25 x 1.6 in; 70 lb; 10.40\n\nzone: Overseas\nSmall; 8.5 x 5.25 x 1.6 in; 20 lb; 40\n",
        "",
    ] {
        let tables = zone_tables(read_breaks(breaks).unwrap(), read_flat_boxes(boxes).unwrap());
        assert_eq!(write_breaks(&tables), breaks);
        assert_eq!(write_flat_boxes(&tables), boxes);
    }
    let surcharges = "residential; 4.10; always\nheavy; 24; over 50 lb\nlong; 17.5; longer than 48 in\nbig; 90; girth over 330 cm\n";
    assert_eq!(write_surcharges(&read_surcharges(surcharges).unwrap()), surcharges);
    let only_boxes = zone_tables(Vec::new(), read_flat_boxes("Small; 8 x 5 x 2 in; 70 lb; 9").unwrap());
    assert_eq!(only_boxes[0].zone, ONLY_ZONE);
}
