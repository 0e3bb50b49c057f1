//! What habits come to, beside the plan.

use std::collections::BTreeMap;

use iso_currency::Currency;
use rust_decimal::{Decimal, dec};
use trade::ids::GradeId;
use trade::mass::{Mass, MassUnit};
use trade::money::{Price, PriceUnit};
use trade::outlet::{Drive, Outlet, Terms, Way};
use trade::plan::habit::{every_bag_alone, highest_price, nearest_yard};
use trade::quote::{Quote, Quotes};

use super::shop::{Instance, outlet, shop};
use super::{EQUAL, solved};

fn yard(id: &str, kilometres: Decimal, copper: Decimal, least: Mass) -> Outlet {
    let price = Price::new(copper, Currency::USD, PriceUnit::Mass(MassUnit::Pound));
    let quotes = Quotes::new([Quote::flat(price)]).unwrap();
    let way = Way::Drive(Drive { distance_km: kilometres, minutes: dec!(30) });
    let terms = Terms { minimum_delivery: least, ..Terms::default() };
    outlet(id.into(), Currency::USD, way, terms, BTreeMap::from([(GradeId::new("copper-1"), quotes)]))
}

/// Forty pounds of copper, a near yard at 3.00 and a far one at 3.10 a pound.
fn two_yards(least_at_far: Mass) -> Instance {
    let mut instance = shop(1, 1);
    instance.lots[0].load.grade = GradeId::new("copper-1");
    instance.lots[0].load.mass = Mass::of(dec!(40), MassUnit::Pound);
    instance.lots[0].keep = dec!(0);
    instance.outlets =
        vec![yard("near", dec!(5), dec!(3.00), Mass::ZERO), yard("far", dec!(60), dec!(3.10), least_at_far)];
    instance
}

#[test]
fn the_highest_price_is_followed_whatever_the_drive_costs() {
    let instance = two_yards(Mass::ZERO);
    let problem = instance.problem();
    let highest = highest_price(&problem).unwrap();
    assert_eq!(highest.deliveries[0].outlet.as_str(), "far");
    // 40 lb at 3.10, less 120 km at 0.55 and half an hour at 22: 124 − 66 − 11.
    assert_eq!(highest.net(), dec!(47.00));
    // 40 lb at 3.00, less 10 km at 0.55 and half an hour at 22: 120 − 5.50 − 11.
    assert_eq!(nearest_yard(&problem).unwrap().net(), dec!(103.50));
    assert_eq!(every_bag_alone(&problem), None, "nobody takes parcels");
}

#[test]
fn what_is_refused_goes_to_the_next_highest_price() {
    let instance = two_yards(Mass::of(dec!(100), MassUnit::Pound));
    let highest = highest_price(&instance.problem()).unwrap();
    assert_eq!((highest.deliveries[0].outlet.as_str(), highest.lots()), ("near", 1));
}

#[test]
fn no_habit_leaves_more_than_the_plan() {
    for seed in 0..6 {
        let instance = shop(seed, 24);
        let problem = instance.problem();
        let plan = solved(&instance).total + EQUAL;
        let (highest, nearest) = (highest_price(&problem).unwrap(), nearest_yard(&problem).unwrap());
        assert!(highest.net() <= plan && nearest.net() <= plan, "seed {seed}");
        let alone = every_bag_alone(&problem).unwrap();
        assert!(alone.net() <= plan, "seed {seed}: by itself {} of {plan}", alone.net());
        assert!(alone.lots() <= instance.lots.len());
    }
}
