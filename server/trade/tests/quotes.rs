//! Of several prices that hold from the same mass, the one that pays least is counted on, whatever it is quoted per.

use iso_currency::Currency::{CAD, USD};
use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use trade::mass::{Mass, MassUnit};
use trade::money::{LARGEST_AMOUNT, Price, PriceUnit};
use trade::quote::{Quote, Quotes};

fn by_mass(amount: Decimal, unit: MassUnit) -> Price {
    Price::new(amount, USD, PriceUnit::Mass(unit))
}

#[test]
fn prices_in_different_units_are_converted_before_they_are_compared() {
    // 7.00 a kilogram is 3.175 a pound (1 lb is 0.45359237 kg, NIST Handbook 44 Appendix C): less than 3.40 a pound. By
    // their bare numbers it would be the other way round. 330 a short hundredweight is 3.30 a pound.
    let pound = by_mass(dec!(3.40), MassUnit::Pound);
    let kilogram = by_mass(dec!(7.00), MassUnit::Kilogram);
    let hundredweight = by_mass(dec!(330), MassUnit::Hundredweight);
    for (prices, least) in [
        (vec![pound, kilogram], kilogram),
        (vec![kilogram, pound], kilogram),
        (vec![hundredweight, pound], hundredweight),
        (vec![pound, hundredweight, kilogram], kilogram),
        // A charge is below every price, and the larger charge below the smaller.
        (
            vec![by_mass(dec!(-0.10), MassUnit::Pound), by_mass(dec!(-0.20), MassUnit::Kilogram)],
            by_mass(dec!(-0.10), MassUnit::Pound),
        ),
    ] {
        let quotes = Quotes::new(prices.into_iter().map(Quote::flat)).expect("quotes");
        assert_eq!(quotes.tiers(), [Quote::flat(least)]);
    }
}

#[test]
fn a_price_for_each_does_not_displace_one_by_mass() {
    let (each, pound) = (Price::new(dec!(0.01), USD, PriceUnit::Each), by_mass(dec!(3), MassUnit::Pound));
    for prices in [[each, pound], [pound, each]] {
        let quotes = Quotes::new(prices.map(Quote::flat)).expect("quotes");
        assert_eq!(quotes.at(Mass::ZERO), Some(&Quote::flat(pound)));
    }
}

fn unit() -> impl Strategy<Value = MassUnit> {
    prop::sample::select(MassUnit::ALL.to_vec())
}

fn quote() -> impl Strategy<Value = Quote> {
    let price = (-200_000i64..1_000_000, 0u32..5, unit(), prop::bool::weighted(0.1));
    let price = price.prop_map(|(amount, scale, unit, canadian)| {
        let currency = if canadian { CAD } else { USD };
        Price::new(Decimal::new(amount, scale), currency, PriceUnit::Mass(unit))
    });
    let from = prop::sample::select(vec![0i64, 0, 0, 10, 100]);
    (price, from).prop_map(|(price, pounds)| Quote {
        price,
        high: None,
        from: Mass::of(pounds.into(), MassUnit::Pound),
    })
}

proptest! {
    #[test]
    fn nothing_better_than_the_lowest_of_a_tier_is_counted_on(
        quotes in prop::collection::vec(quote(), 1..8),
        pounds in 0i64..500,
    ) {
        let load = Mass::of(pounds.into(), MassUnit::Pound);
        let kept = Quotes::new(quotes.clone()).expect("there is one");
        match kept.at(load) {
            None => prop_assert!(quotes.iter().all(|quote| quote.from > load)),
            Some(counted) => {
                let tier = quotes.iter().map(|quote| quote.from).filter(|from| *from <= load).max();
                prop_assert_eq!(Some(counted.from), tier);
                let rivals = quotes
                    .iter()
                    .filter(|quote| quote.from == counted.from && quote.price.currency == counted.price.currency);
                for rival in rivals {
                    // A ten-millionth of a millionth for the division in `of`.
                    let (counted, rival) = (counted.price.of(load, 0), rival.price.of(load, 0));
                    prop_assert!(counted.amount <= rival.amount + dec!(0.0000000000001), "{:?} {:?}", counted, rival);
                }
            }
        }
    }

    #[test]
    fn the_order_on_the_sheet_does_not_matter(
        quotes in prop::collection::vec(quote(), 1..8),
        seed in any::<u64>(),
    ) {
        let mut shuffled = quotes.clone();
        for i in (1..shuffled.len()).rev() {
            let at = (seed.rotate_left(i as u32) % (i as u64 + 1)) as usize;
            shuffled.swap(i, at);
        }
        prop_assert_eq!(Quotes::new(quotes), Quotes::new(shuffled));
    }

    /// Standard library: `sort_by` may panic where the order is none.
    #[test]
    fn the_order_of_prices_is_one(a in quote(), b in quote(), c in quote()) {
        let (a, b, c) = (a.price, b.price, c.price);
        prop_assert_eq!(a.by_what_it_pays(&b), b.by_what_it_pays(&a).reverse());
        if a.by_what_it_pays(&b).is_le() && b.by_what_it_pays(&c).is_le() {
            prop_assert!(a.by_what_it_pays(&c).is_le());
        }
    }
}

#[test]
fn the_largest_prices_that_a_sheet_may_bring_in_can_be_compared() {
    for one in MassUnit::ALL {
        for other in MassUnit::ALL {
            let (low, high) = (by_mass(-LARGEST_AMOUNT, one), by_mass(LARGEST_AMOUNT, other));
            assert!(low.by_what_it_pays(&high).is_lt(), "{one} {other}");
        }
    }
}
