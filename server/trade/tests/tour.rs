//! Drives to several yards: a published optimum, worked by hand, and against trying every order.

use std::collections::BTreeMap;

use iso_currency::Currency;
use rust_decimal::prelude::FromPrimitive;
use rust_decimal::{Decimal, dec};
use trade::costs::Costs;
use trade::ids::OutletId;
use trade::money::Share;
use trade::outlet::{Drive, Outlet, Terms, Way};
use trade::tour::{MOST, Roads, Tours};

fn yard(name: &str, distance_km: Decimal, minutes: Decimal) -> Outlet {
    Outlet {
        id: OutletId::new(name),
        name: name.into(),
        currency: Currency::USD,
        way: Way::Drive(Drive { distance_km, minutes }),
        terms: Terms::default(),
        quotes: BTreeMap::new(),
        sheet_date: None,
        learned: None,
    }
}

fn costs(truck_per_km: Decimal, labour_per_hour: Decimal) -> Costs {
    Costs {
        home: Currency::USD,
        labour_per_hour,
        truck_per_km,
        capital_per_year: Share::ZERO,
        risk_per_year: Share::ZERO,
    }
}

fn roads(minutes_per_km: Decimal, list: &[(&str, &str, Decimal)]) -> Roads {
    let mut roads = Roads::new(minutes_per_km);
    for (one, other, km) in list {
        assert!(roads.add(&OutletId::from(*one), &OutletId::from(*other), *km));
    }
    roads
}

/// TSPLIB (G. Reinelt, ORSA Journal on Computing 3 (1991) 376-384), problem burma14: degrees and minutes of 14 places.
const BURMA14: [(f64, f64); 14] = [
    (16.47, 96.10),
    (16.47, 94.44),
    (20.09, 92.54),
    (22.39, 93.37),
    (25.23, 97.24),
    (22.00, 96.05),
    (20.47, 97.02),
    (17.20, 96.29),
    (16.30, 97.38),
    (14.05, 98.12),
    (16.53, 97.38),
    (21.52, 95.59),
    (19.41, 97.13),
    (20.09, 94.55),
];

/// Kilometres as TSPLIB has them: its format's distances of the kind GEO, with its own π and radius of the earth.
fn geographical((one_x, one_y): (f64, f64), (other_x, other_y): (f64, f64)) -> Decimal {
    #[expect(clippy::approx_constant, reason = "the format's own")]
    let radians = |degrees: f64| {
        let whole = degrees.trunc();
        3.141_592 * (whole + 5.0 * (degrees - whole) / 3.0) / 180.0
    };
    let (q1, q2, q3) = (
        (radians(one_y) - radians(other_y)).cos(),
        (radians(one_x) - radians(other_x)).cos(),
        (radians(one_x) + radians(other_x)).cos(),
    );
    let km = 6378.388 * (0.5 * ((1.0 + q1) * q2 - (1.0 - q1) * q3)).acos() + 1.0;
    Decimal::from_f64(km.trunc()).unwrap()
}

/// The shortest tour through all places of burma14 is 3323 long: TSPLIB's list of best solutions for symmetric problems. The
/// shop is the first place, and thirteen yards are more than a drive takes elsewhere.
#[test]
fn a_published_shortest_tour() {
    let shop = BURMA14[0];
    let places = &BURMA14[1..];
    let yards: Vec<Outlet> = places
        .iter()
        .enumerate()
        .map(|(index, &place)| yard(&format!("{index:02}"), geographical(shop, place), dec!(0)))
        .collect();
    let mut roads = Roads::default();
    for (at, (one, &here)) in yards.iter().zip(places).enumerate() {
        for (other, &there) in yards.iter().zip(places).skip(at + 1) {
            assert!(roads.add(&one.id, &other.id, geographical(here, there)));
        }
    }
    let tours = Tours::up_to(13, &yards, &roads, &costs(dec!(1), dec!(0)));
    let found = tours.tours(|_| true);
    let km: Decimal = found.iter().map(|tour| tour.distance_km).sum();
    assert_eq!(found.iter().map(|tour| tour.stops.len()).collect::<Vec<_>>(), [13]);
    assert_eq!(km, dec!(3323));
    assert_eq!(found[0].cost, dec!(3323));
}

/// By hand: 20 km to A and 25 km to B, 9 km from A to B. Apart they are 90 km and 150 minutes; in one drive 54 km, and at
/// 1.5 minutes a kilometre 54 minutes less. At 0.60 a kilometre and 20.00 an hour that is 21.60 + 18.00 less.
#[test]
fn two_yards_on_one_drive() {
    let yards = [yard("A", dec!(20), dec!(70)), yard("B", dec!(25), dec!(80))];
    let roads = roads(dec!(1.5), &[("B", "A", dec!(9))]);
    let tours = Tours::new(&yards, &roads, &costs(dec!(0.60), dec!(20)));
    let found = tours.tours(|_| true);
    let [tour] = &found[..] else { panic!("one drive, not {found:?}") };
    assert_eq!(tour.stops.len(), 2);
    assert_eq!((tour.distance_km, tour.minutes), (dec!(54), dec!(96)));
    assert_eq!((tour.cost, tour.saved), (dec!(32.40) + dec!(32), dec!(39.60)));
    assert_eq!(tours.saved(|yard| yard == 0), dec!(0));
    assert!(tours.tours(|yard| yard == 1).is_empty());
}

/// A road that is longer than the way by the shop is not driven, nor is one that is not known.
#[test]
fn no_way_is_longer_than_by_the_shop() {
    let yards = [yard("A", dec!(5), dec!(30)), yard("B", dec!(6), dec!(30)), yard("C", dec!(40), dec!(100))];
    let roads = roads(dec!(1), &[("A", "B", dec!(12))]);
    let tours = Tours::new(&yards, &roads, &costs(dec!(0.60), dec!(20)));
    assert!(tours.tours(|_| true).is_empty());
    assert_eq!(tours.saved(|_| true), dec!(0));
}

/// A yard on the way is passed whether or not something is left there.
#[test]
fn a_road_may_lead_by_a_yard_that_is_not_visited() {
    let yards = [yard("A", dec!(30), dec!(90)), yard("B", dec!(30), dec!(90)), yard("C", dec!(30), dec!(90))];
    let roads = roads(dec!(0), &[("A", "B", dec!(4)), ("B", "C", dec!(5))]);
    let tours = Tours::new(&yards, &roads, &costs(dec!(1), dec!(20)));
    let found = tours.tours(|yard| yard != 1);
    assert_eq!(found.iter().map(|tour| tour.distance_km).collect::<Vec<_>>(), [dec!(69)]);
    assert_eq!(tours.tours(|_| true)[0].distance_km, dec!(69));
}

/// No time at all is the least that a drive takes, whatever a kilometre is said to take.
#[test]
fn a_drive_takes_some_time() {
    let yards = [yard("A", dec!(30), dec!(10)), yard("B", dec!(30), dec!(20)), yard("C", dec!(30), dec!(5))];
    let roads = roads(dec!(100), &[("A", "B", dec!(1)), ("B", "C", dec!(1)), ("A", "C", dec!(1))]);
    let tours = Tours::new(&yards, &roads, &costs(dec!(1), dec!(60)));
    assert!(tours.tours(|_| true).iter().all(|tour| tour.minutes >= dec!(0) && tour.cost >= dec!(0)));
}

#[test]
fn what_is_no_road_is_refused() {
    let mut roads = Roads::new(dec!(-1));
    let (a, b) = (OutletId::new("A"), OutletId::new("B"));
    assert!(!roads.add(&a, &b, dec!(-0.1)));
    assert!(!roads.add(&a, &a, dec!(3)));
    assert!(roads.is_empty());
    assert_eq!(roads.minutes_per_km(), dec!(0));
    assert!(roads.add(&a, &b, dec!(7)) && roads.add(&b, &a, dec!(6)));
    assert_eq!(roads.between(&a, &b), Some(dec!(6)));
}

/// Of twelve yards in a row, eight are on one drive at the most, and what it saves is still true.
#[test]
fn a_drive_has_so_many_yards_at_most() {
    let yards: Vec<Outlet> = (0..12).map(|index| yard(&format!("{index:02}"), dec!(50), dec!(120))).collect();
    let mut roads = Roads::default();
    for pair in yards.windows(2) {
        assert!(roads.add(&pair[0].id, &pair[1].id, dec!(2)));
    }
    let tours = Tours::new(&yards, &roads, &costs(dec!(1), dec!(0)));
    let found = tours.tours(|_| true);
    assert!(found.iter().all(|tour| tour.stops.len() <= MOST));
    let visited: usize = found.iter().map(|tour| tour.stops.len()).sum();
    assert_eq!((visited, found.len()), (12, 2));
    // Two drives of 100 km, and 2 km from each yard to the next.
    assert_eq!(found.iter().map(|tour| tour.distance_km).sum::<Decimal>(), dec!(200) + dec!(20));
}

/// Every order tried: the drive through all yards of a set is the shortest.
#[test]
fn every_set_is_driven_in_the_best_order() {
    for seed in 0..60 {
        let rng = &mut fastrand::Rng::with_seed(seed);
        let count = rng.usize(2..7);
        let points: Vec<(i64, i64)> = (0..=count).map(|_| (rng.i64(0..60), rng.i64(0..60))).collect();
        // Streets in a grid: no detour is shorter.
        let km = |one: usize, other: usize| {
            let ((x, y), (u, v)) = (points[one], points[other]);
            Decimal::from((x - u).abs() + (y - v).abs())
        };
        let yards: Vec<Outlet> =
            (1..=count).map(|index| yard(&index.to_string(), km(0, index), dec!(0))).collect();
        let mut roads = Roads::default();
        for one in 1..=count {
            for other in one + 1..=count {
                roads.add(&yards[one - 1].id, &yards[other - 1].id, km(one, other));
            }
        }
        let tours = Tours::new(&yards, &roads, &costs(dec!(1), dec!(0)));
        for set in 1..1usize << count {
            let visited = |yard: usize| set >> yard & 1 == 1;
            let stops: Vec<usize> = (1..=count).filter(|&stop| visited(stop - 1)).collect();
            let alone: Decimal = stops.iter().map(|&stop| dec!(2) * km(0, stop)).sum();
            let shortest = shortest(0, &stops, &km);
            assert_eq!(alone - tours.saved(visited), shortest, "seed {seed}, set {set:b}");
            let found = tours.tours(visited);
            let driven: Decimal = found.iter().map(|tour| tour.distance_km).sum();
            let rest: Decimal = stops
                .iter()
                .filter(|stop| !found.iter().any(|tour| tour.stops.contains(&yards[**stop - 1].id)))
                .map(|&stop| dec!(2) * km(0, stop))
                .sum();
            assert_eq!(driven + rest, shortest, "seed {seed}, set {set:b}");
        }
    }
}

fn shortest(from: usize, left: &[usize], km: &dyn Fn(usize, usize) -> Decimal) -> Decimal {
    let next = left.iter().map(|&next| {
        let rest: Vec<usize> = left.iter().copied().filter(|&stop| stop != next).collect();
        km(from, next) + shortest(next, &rest, km)
    });
    next.min().unwrap_or_else(|| km(from, 0))
}
