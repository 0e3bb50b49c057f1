//! Minor units of every currency, against the maintenance agency's list.

use rust_decimal::{Decimal, dec};
use trade::money::{Currency, Money, places};

/// ISO 4217 list one of 2024-06-25; see tests/data/SOURCES.md.
const LIST: &str = include_str!("../../../tests/data/iso-4217.csv");

#[test]
fn minor_units_are_those_of_iso_4217() {
    let mut known = 0;
    for line in LIST.lines().skip(1) {
        let (code, units) = line.split_once(',').expect("two columns");
        // Currencies that ended are on the list no more, and those that began later are not on it yet.
        let Some(currency) = Currency::from_code(code) else { continue };
        known += 1;
        match units.parse::<u32>() {
            Ok(units) => assert_eq!(places(currency), units, "{code}"),
            // Metals, funds and tests have none; what is shown of them has two decimals.
            Err(_) => assert_eq!((units, currency.exponent()), ("N.A.", None), "{code}"),
        }
    }
    assert!(known > 170, "{known}");
}

#[test]
fn an_amount_becomes_whole_minor_units_half_away_from_zero() {
    use Currency::{EUR, JPY, KWD, USD};
    for (amount, currency, units, shown) in [
        (dec!(1234.5), JPY, 1235, "1,235 JPY"),
        (dec!(-1234.5), JPY, -1235, "−1,235 JPY"),
        (dec!(1.2345), KWD, 1235, "1.235 KWD"),
        (dec!(-0.0005), KWD, -1, "−0.001 KWD"),
        (dec!(2.005), EUR, 201, "2.01 EUR"),
        (dec!(-2.005), USD, -201, "−2.01 USD"),
        (dec!(2.0049999), USD, 200, "2.00 USD"),
    ] {
        let money = Money::new(amount, currency);
        assert_eq!((money.minor_units(), money.to_string().as_str()), (units, shown));
        assert_eq!(Money::from_minor_units(units, currency), money.rounded());
    }
    // As exact as it is large.
    let large = Money::new(Decimal::from_i128_with_scale(999_999_999_994_999, 6), KWD);
    assert_eq!(large.minor_units(), 999_999_999_995);
}
