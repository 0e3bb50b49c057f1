//! Unit factors against the published ones: tests/data/units.csv, sources in tests/data/SOURCES.md.

use rust_decimal::{Decimal, dec};
use trade::mass::{Mass, MassUnit};
use trade::volume::MM_PER_INCH;

fn published() -> Vec<(String, Decimal)> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/units.csv");
    let text = std::fs::read_to_string(path).expect("the table of units");
    let row = |line: &str| {
        let mut cells = line.split(',');
        let (_, symbol, grams) = (cells.next()?, cells.next()?, cells.next()?);
        Some((symbol.to_string(), grams.parse().ok()?))
    };
    text.lines().skip(1).map(|line| row(line).expect("unit, symbol, grams")).collect()
}

#[test]
fn factors_are_the_published_ones() {
    let published = published();
    let mut checked = 0;
    for unit in MassUnit::ALL {
        let symbol = match unit {
            MassUnit::ShortTon => "short ton",
            MassUnit::GrossTon => "long ton",
            MassUnit::Tonne => "t",
            // A hundred of a unit that is in the table.
            MassUnit::HundredKilograms => {
                assert_eq!(unit.grams(), MassUnit::Kilogram.grams() * dec!(100));
                continue;
            }
            unit => unit.code(),
        };
        let (_, grams) = published.iter().find(|(known, _)| known == symbol).expect(symbol);
        assert_eq!(unit.grams(), *grams, "{symbol}");
        checked += 1;
    }
    assert_eq!(checked, 11);
}

/// NIST Handbook 44 Appendix C: how the units make one another up.
#[test]
fn units_make_one_another_up() {
    let relations = [
        (MassUnit::Pound, dec!(7000), MassUnit::Grain),
        (MassUnit::Pound, dec!(16), MassUnit::Ounce),
        (MassUnit::Ounce, dec!(437.5), MassUnit::Grain),
        (MassUnit::Pennyweight, dec!(24), MassUnit::Grain),
        (MassUnit::TroyOunce, dec!(20), MassUnit::Pennyweight),
        (MassUnit::Hundredweight, dec!(100), MassUnit::Pound),
        (MassUnit::ShortTon, dec!(2000), MassUnit::Pound),
        (MassUnit::GrossTon, dec!(2240), MassUnit::Pound),
        (MassUnit::Tonne, dec!(1000), MassUnit::Kilogram),
    ];
    for (one, number, of) in relations {
        assert_eq!(Mass::of(dec!(1), one), Mass::of(number, of), "{one}");
        assert_eq!(Mass::of(dec!(1), one).in_unit(of), number, "{one}");
    }
}

/// The inch is 25.4 mm exactly since 1959 (NIST SP 811).
#[test]
fn an_inch_is_exact() {
    assert_eq!(MM_PER_INCH, dec!(25.4));
}
