//! The net ladder against two deliveries worked by hand, every rung of them, and its laws on random ones.

use std::collections::BTreeMap;

use iso_currency::Currency::{self, CAD, USD};
use jiff::civil::{Date, date};
use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use trade::costs::{Costs, Facts};
use trade::exchange::{Rate, RateBook};
use trade::freight::{Dimensional, Divisor, Service, SideRounding, Surcharge, SurchargeWhen, WeightBreak};
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Money, Price, PriceUnit, Share};
use trade::net::{Closed, Ladder, Load, StepKind, deliver};
use trade::outlet::{Drive, Outlet, PaidWeight, Post, Terms, Way};
use trade::packing::{Carton, Unpackable};
use trade::quote::{Quote, Quotes};
use trade::volume::{Size, Volume};

const TODAY: Date = date(2026, 5, 31);

fn percent(percent: Decimal) -> Share {
    Share::percent(percent).expect("a share")
}

fn kilograms(kilograms: Decimal) -> Mass {
    Mass::of(kilograms, MassUnit::Kilogram)
}

fn load(grade: &str, mass: Mass, pieces: u32, litres: Decimal) -> Load {
    Load {
        lot: LotId::new(format!("lot of {grade}")),
        grade: GradeId::from(grade),
        mass,
        pieces,
        volume: Volume::from_cm3(litres * dec!(1000)),
    }
}

/// The shop: 30 an hour, 0.55 a kilometre, 8 % a year; a cube of 40 cm inside, 41 outside, for up to 25 kg.
fn facts() -> Facts {
    let rate = Rate { date: date(2026, 5, 29), base: CAD, quote: USD, rate: dec!(0.72) };
    Facts {
        costs: Costs {
            home: USD,
            labour_per_hour: dec!(30),
            truck_per_km: dec!(0.55),
            capital_per_year: percent(dec!(8)),
            risk_per_year: percent(dec!(5)),
        },
        rates: RateBook::new([rate]),
        cartons: vec![Carton {
            name: "40 cm cube".into(),
            inner: Size::mm(400, 400, 400),
            outer: Size::mm(410, 410, 410),
            tare: kilograms(dec!(0.8)),
            limit: kilograms(dec!(25)),
            cost: dec!(2.50),
            at_hand: Some(10),
        }],
        today: TODAY,
        style: MassStyle::Kilograms,
    }
}

fn outlet(currency: Currency, way: Way, terms: Terms, quotes: Vec<(&str, Vec<Quote>)>) -> Outlet {
    let quotes = quotes
        .into_iter()
        .map(|(grade, quotes)| (GradeId::from(grade), Quotes::new(quotes).expect("at least one quote")));
    Outlet {
        id: OutletId::from("outlet"),
        name: "outlet".into(),
        currency,
        way,
        terms,
        quotes: quotes.collect::<BTreeMap<_, _>>(),
        sheet_date: Some(date(2026, 5, 25)),
        learned: None,
    }
}

fn flat(amount: Decimal, currency: Currency, per: PriceUnit) -> Quote {
    Quote::flat(Price::new(amount, currency, per))
}

fn ground() -> Service {
    let row = |kg, charge| WeightBreak { up_to: kilograms(kg), charge };
    Service {
        name: "ground".into(),
        currency: USD,
        dimensional: Some(Dimensional {
            divisor: Divisor::Cm3PerKilogram(dec!(5000)),
            sides: SideRounding::Up,
            above: None,
        }),
        step: kilograms(dec!(0.5)),
        fuel_percent: dec!(15),
        surcharges: vec![Surcharge {
            name: "residence".into(),
            charge: dec!(1.10),
            when: SurchargeWhen::Always,
        }],
        breaks: vec![row(dec!(14), dec!(18)), row(dec!(20), dec!(24)), row(dec!(25), dec!(29))],
        flat_boxes: vec![],
    }
}

/// A buyer across the border who pays in CAD per kg, with every rung of the ladder on.
fn buyer() -> Outlet {
    let per_kg = |amount| Price::new(amount, CAD, PriceUnit::Mass(MassUnit::Kilogram));
    let tiers = vec![
        Quote::flat(per_kg(dec!(11))),
        Quote { price: per_kg(dec!(12.50)), high: None, from: kilograms(dec!(15)) },
    ];
    let post = Post {
        services: vec![ground()],
        border: dec!(35),
        insurance: percent(dec!(1)),
        packing_minutes: dec!(12),
    };
    let terms = Terms {
        weight_deduction: percent(dec!(2)),
        paid_weight: PaidWeight::new(dec!(0.985)).expect("a ratio"),
        downgrade_chance: percent(dec!(10)),
        downgrade_drop: percent(dec!(20)),
        percent_fee: percent(dec!(1.5)),
        flat_fee: dec!(10),
        exchange_spread: percent(dec!(2.5)),
        payout_fee: dec!(15),
        days_to_pay: 73,
        minimum_payout: dec!(100),
        minimum_grade: kilograms(dec!(5)),
        minimum_delivery: kilograms(dec!(10)),
    };
    let quotes = vec![("board-high", tiers), ("board-low", vec![Quote::flat(per_kg(dec!(2.40)))])];
    outlet(CAD, Way::Post(post), terms, quotes)
}

fn boards() -> [Load; 2] {
    [
        load("board-high", kilograms(dec!(20)), 0, dec!(50)),
        load("board-low", kilograms(dec!(10)), 0, dec!(40)),
    ]
}

fn check(ladder: &Ladder, expected: &[(StepKind, Decimal)]) {
    let steps: Vec<(StepKind, Decimal)> = ladder.steps.iter().map(|step| (step.kind, step.home)).collect();
    assert_eq!(steps, expected);
    assert_eq!(ladder.net, expected.iter().map(|(_, home)| home).sum::<Decimal>());
}

/// By hand, checked with another decimal arithmetic. In CAD, then × 0.72:
///
/// | step | CAD | USD |
/// |---|---|---|
/// | 20 kg × 12.50 (tier from 15 kg) + 10 kg × 2.40 | 274 | 197.28 |
/// | tare and moisture, 2 % of 274 | −5.48 | −3.9456 |
/// | their scale, 268.52 × (0.985 − 1) | −4.0278 | −2.900016 |
/// | downgrade, 264.4922 × 10 % × 20 % | −5.289844 | −3.80868768 |
/// | fee, (264.4922 − 5.289844) × 1.5 % | −3.88803534 | −2.7993854448 |
/// | flat fee | −10 | −7.20 |
/// | paid out | 245.31432066 | 176.6263108752 |
///
/// The bank keeps 2.5 % of 176.6263108752 = 4.41565777188, and receiving it costs 15: 157.21065310332 arrive.
///
/// 30 kg take up 90 litres, so a cube of 64 litres has room for 21.33 kg. Outside it is 41 × 41 × 41 cm = 68,921 cm3,
/// / 5000 = 13.7842 kg, in half kilos 14. So a parcel costs 18 up to 13.2 kg of contents, 24 up to 19.2, 29 up to
/// 21.33. Two are needed; 13.2 + 19.2 kg hold 30 kg for 18 + 24, and no pair costs less (13.2 + 13.2 = 26.4). Freight:
/// 42 × 1.15 + 2 × 1.10 = 50.50; boxes 2 × 2.50; packing 2 × 12 min at 30 an hour = 12; border 35. Insurance: 1 % of
/// 176.6263108752. Waiting: 157.21065310332 × 8 % × 73 / 365 = 2.51537044965312. Net: 50.42901954491488.
#[test]
fn mail_in_across_the_border_by_hand() {
    let ladder = deliver(&buyer(), &boards(), &facts()).unwrap();
    check(
        &ladder,
        &[
            (StepKind::SheetPrice, dec!(197.28)),
            (StepKind::WeightDeduction, dec!(-3.9456)),
            (StepKind::PaidWeight, dec!(-2.900016)),
            (StepKind::Downgrade, dec!(-3.80868768)),
            (StepKind::PercentFee, dec!(-2.7993854448)),
            (StepKind::FlatFee, dec!(-7.20)),
            (StepKind::ExchangeSpread, dec!(-4.41565777188)),
            (StepKind::PayoutFee, dec!(-15)),
            (StepKind::Freight, dec!(-50.50)),
            (StepKind::Boxes, dec!(-5)),
            (StepKind::PackingTime, dec!(-12)),
            (StepKind::Border, dec!(-35)),
            (StepKind::Insurance, dec!(-1.766263108752)),
            (StepKind::Waiting, dec!(-2.51537044965312)),
        ],
    );
    assert_eq!(ladder.net, dec!(50.42901954491488));
    assert_eq!(ladder.payout, Money::new(dec!(245.31432066), CAD));
    assert_eq!(ladder.net_per(MassUnit::Kilogram), Some(dec!(50.42901954491488) / dec!(30)));
    assert_eq!(ladder.step(StepKind::Downgrade).unwrap().foreign, Some(Money::new(dec!(-5.289844), CAD)));

    let parcels = ladder.packing.unwrap().parcels;
    let listed: Vec<(u32, Mass, Mass, Option<Mass>)> =
        parcels.iter().map(|p| (p.count, p.contents, p.gross, p.billable)).collect();
    let kg = kilograms;
    assert_eq!(
        listed,
        [
            (1, kg(dec!(19.2)), kg(dec!(20)), Some(kg(dec!(20)))),
            // 11.6 kg, billed by its size.
            (1, kg(dec!(10.8)), kg(dec!(11.6)), Some(kg(dec!(14)))),
        ]
    );
}

/// By hand: 120 lb × 3.40 = 408; 6 pieces × 0.75 = 4.50; 30 lb × −0.15 = −4.50. Of what is weighed (403.50) 1 % goes off
/// for dirt, 4.035, and 2.50 for the ticket: 401.465 at the counter. 35 km and back at 0.55 and 90 min at 30 an hour are
/// 38.50 + 45 = 83.50. Net: 317.965.
#[test]
fn yard_by_hand() {
    let per_pound = PriceUnit::Mass(MassUnit::Pound);
    let drive = Way::Drive(Drive { distance_km: dec!(35), minutes: dec!(90) });
    let terms = Terms { weight_deduction: percent(dec!(1)), flat_fee: dec!(2.50), ..Terms::default() };
    let yard = outlet(
        USD,
        drive,
        terms,
        vec![
            ("copper-2", vec![flat(dec!(3.40), USD, per_pound)]),
            ("power-supply", vec![flat(dec!(0.75), USD, PriceUnit::Each)]),
            ("shred", vec![flat(dec!(-0.15), USD, per_pound)]),
        ],
    );
    let pounds = |lb: u32| Mass::of(lb.into(), MassUnit::Pound);
    let loads = [
        load("copper-2", pounds(120), 0, dec!(40)),
        load("power-supply", pounds(18), 6, dec!(12)),
        load("shred", pounds(30), 0, dec!(60)),
    ];
    let ladder = deliver(&yard, &loads, &facts()).unwrap();
    check(
        &ladder,
        &[
            (StepKind::SheetPrice, dec!(408)),
            (StepKind::WeightDeduction, dec!(-4.035)),
            (StepKind::FlatFee, dec!(-2.50)),
            (StepKind::Trip, dec!(-83.50)),
        ],
    );
    assert_eq!(ladder.net, dec!(317.965));
    assert_eq!((ladder.mass, ladder.packing), (pounds(168), None));
}

#[test]
fn closed_outlets_say_why() {
    let facts = facts();
    let kg = kilograms;
    let closed = |outlet: &Outlet, loads: &[Load]| deliver(outlet, loads, &facts).unwrap_err();
    let high = |mass: Decimal| load("board-high", kg(mass), 0, dec!(1));
    assert_eq!(closed(&buyer(), &[]), Closed::Nothing);
    assert_eq!(closed(&buyer(), &[high(dec!(9.9))]), Closed::BelowMinimumDelivery(kg(dec!(10))));
    let least = Closed::BelowMinimumGrade { grade: "board-low".into(), least: kg(dec!(5)) };
    assert_eq!(closed(&buyer(), &[high(dec!(20)), load("board-low", kg(dec!(4)), 0, dec!(1))]), least);
    assert_eq!(closed(&buyer(), &[load("lead", kg(dec!(20)), 0, dec!(1))]), Closed::NoQuote("lead".into()));
    // 10 kg at 11 pay 110, less 2 %, 1.5 %, 2 %, 1.5 % and 10: under the least payout of 100.
    assert_eq!(closed(&buyer(), &[high(dec!(10))]), Closed::BelowMinimumPayout(Money::new(dec!(100), CAD)));
    // Ten cubes of 21.33 kg hold 213 kg.
    let much = closed(&buyer(), &[load("board-high", kg(dec!(300)), 0, dec!(900))]);
    assert_eq!(much, Closed::Unpackable(Unpackable::NotEnoughBoxes));
    let elsewhere = Outlet { currency: Currency::EUR, ..buyer() };
    assert_eq!(closed(&elsewhere, &boards()), Closed::NoRate("EUR", "USD"));
}

/// Terms as they could be, up to a fifth for every share.
fn terms() -> impl Strategy<Value = Terms> {
    let share = || (0..200i64).prop_map(|thousandths| percent(Decimal::new(thousandths, 1)));
    let shares = (share(), share(), share(), share(), share());
    (shares, 900..1100i64, 0..2000i64, 0..2000i64, 0..90u32).prop_map(
        |(shares, ratio, flat, payout, days)| {
            let (weight_deduction, downgrade_chance, downgrade_drop, percent_fee, exchange_spread) = shares;
            Terms {
                weight_deduction,
                paid_weight: PaidWeight::new(Decimal::new(ratio, 3)).expect("a ratio"),
                downgrade_chance,
                downgrade_drop,
                percent_fee,
                flat_fee: Decimal::new(flat, 2),
                exchange_spread,
                payout_fee: Decimal::new(payout, 2),
                days_to_pay: days,
                minimum_payout: dec!(-1_000_000),
                minimum_grade: Mass::ZERO,
                minimum_delivery: Mass::ZERO,
            }
        },
    )
}

fn priced(way: Way, terms: Terms, high: i64, low: i64) -> Outlet {
    let quote = |cents| vec![flat(Decimal::new(cents, 2), CAD, PriceUnit::Mass(MassUnit::Kilogram))];
    outlet(CAD, way, terms, vec![("board-high", quote(high)), ("board-low", quote(low))])
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn net_is_the_sum_of_its_steps_and_rises_with_the_price(
        terms in terms(), high in -200..2000i64, low in -200..2000i64, more in 0..500i64,
    ) {
        let way = || buyer().way;
        let facts = facts();
        let at = |high| deliver(&priced(way(), terms, high, low), &boards(), &facts).unwrap();
        let (less, more) = (at(high), at(high + more));
        prop_assert_eq!(less.net, less.steps.iter().map(|step| step.home).sum::<Decimal>());
        prop_assert!(less.net <= more.net);
        // The steps in the outlet's currency are the ones in home currency, at the mid rate.
        for step in &less.steps {
            if let Some(foreign) = step.foreign {
                prop_assert_eq!(foreign.amount * dec!(0.72), step.home);
            }
        }
    }

    /// Two deliveries pay the trip and the fees of a delivery twice; together they pay them once.
    #[test]
    fn one_trip_serves_all(terms in terms(), high in 0..2000i64, low in 0..2000i64, km in 0..200i64, minutes in 0..300i64) {
        let drive = Way::Drive(Drive { distance_km: km.into(), minutes: minutes.into() });
        let terms = Terms { flat_fee: dec!(0), payout_fee: dec!(0), ..terms };
        let yard = priced(drive, terms, high, low);
        let facts = facts();
        let net = |loads: &[Load]| deliver(&yard, loads, &facts).unwrap().net;
        let trip = dec!(2) * Decimal::from(km) * dec!(0.55) + Decimal::from(minutes) / dec!(2);
        let [a, b] = boards();
        let apart = net(std::slice::from_ref(&a)) + net(std::slice::from_ref(&b));
        prop_assert!((net(&[a, b]) - apart - trip).abs() < dec!(0.000000000001));
    }
}
