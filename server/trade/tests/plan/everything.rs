//! Small seeded problems with every feature switched on at random.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use fastrand::Rng;
use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use trade::freight::{
    Dimensional, Divisor, FlatBox, Service, SideRounding, Surcharge, SurchargeWhen, WeightBreak,
};
use trade::history::{Learned, Settled, SettledLoad, Weighed};
use trade::ids::{Family, GradeId, LotId};
use trade::mass::{Mass, MassUnit};
use trade::money::{Price, PriceUnit, Share};
use trade::net::Load;
use trade::outlet::{Drive, Outlet, PaidWeight, Post, Terms, Way};
use trade::packing::Carton;
use trade::plan::{Choices, Place, PlanLot};
use trade::quote::{Quote, Quotes};
use trade::tour::Roads;
use trade::volume::{Size, Volume};

use super::shop::{Instance, chance, decimal, facts, outlet, share};

pub fn grams(grams: impl Into<Decimal>) -> Mass {
    Mass::from_grams(grams.into())
}

/// A small problem in round figures, so that totals often fall exactly on a
/// tier, a minimum or a freight break.
pub fn everything(seed: u64, lots: usize, outlets: usize) -> Instance {
    let rng = &mut Rng::with_seed(seed);
    // With few grades there are many lots of one.
    let grades = &["red", "blue", "green", "grey"][..rng.usize(1..=4)];
    let lots: Vec<PlanLot> = (0..lots)
        .map(|index| {
            let mass = grams(if chance(rng, 3) { 0 } else { 100 * rng.u32(1..40) });
            let loose = Decimal::from(rng.u32(1..6));
            PlanLot {
                load: Load {
                    lot: LotId::new(format!("L{index:02}")),
                    grade: GradeId::new(grades[rng.usize(0..grades.len())]),
                    mass,
                    pieces: rng.u32(0..8),
                    volume: Volume::from_cm3(mass.grams() * loose),
                },
                keep: if chance(rng, 40) { dec!(0) } else { decimal(rng, 0.0, 12.0, 2) },
            }
        })
        .collect();
    let outlets: Vec<Outlet> = (0..outlets).map(|index| random_outlet(rng, index, grades)).collect();
    let choices = random_choices(rng, &lots, &outlets);
    let cartons = vec![small_carton(rng, "small", 150), small_carton(rng, "large", 260)];
    let roads = random_roads(rng, &outlets);
    Instance { lots, outlets, facts: facts(Currency::USD, cartons), choices, roads }
}

fn random_outlet(rng: &mut Rng, index: usize, grades: &[&str]) -> Outlet {
    let currency = [Currency::USD, Currency::CAD, Currency::EUR][rng.usize(0..3)];
    let mut sheet = BTreeMap::new();
    for grade in grades {
        if chance(rng, 75) {
            sheet.insert(GradeId::new(*grade), random_quotes(rng, currency));
        }
    }
    let way = if chance(rng, 50) {
        Way::Drive(Drive { distance_km: decimal(rng, 0.0, 12.0, 0), minutes: decimal(rng, 0.0, 25.0, 0) })
    } else {
        Way::Post(random_post(rng))
    };
    let mut terms = Terms::default();
    let sometimes = |rng: &mut Rng| chance(rng, 35);
    if sometimes(rng) {
        terms.weight_deduction = share(rng.u32(0..10));
        terms.paid_weight = PaidWeight::new(decimal(rng, 0.9, 1.1, 3)).unwrap();
    }
    if sometimes(rng) {
        terms.downgrade_chance = share(rng.u32(0..40));
        terms.downgrade_drop = share(rng.u32(0..60));
    }
    if sometimes(rng) {
        terms.percent_fee = share(rng.u32(0..12));
        terms.flat_fee = decimal(rng, 0.0, 6.0, 2);
    }
    if sometimes(rng) {
        terms.exchange_spread = share(rng.u32(0..6));
        terms.payout_fee = decimal(rng, 0.0, 4.0, 2);
        // Sometimes so late that more money is worse: then the net is convex in the payout.
        terms.days_to_pay = if chance(rng, 4) { 4000 } else { rng.u32(0..90) };
    }
    if sometimes(rng) {
        terms.minimum_payout = Decimal::from(rng.u32(0..25));
    }
    if sometimes(rng) {
        terms.minimum_grade = grams(500 * rng.u32(0..8));
    }
    if sometimes(rng) {
        terms.minimum_delivery = grams(500 * rng.u32(0..16));
    }
    let learned = if sometimes(rng) { random_learned(rng, &terms, grades) } else { None };
    Outlet { learned, ..outlet(format!("O{index}"), currency, way, terms, sheet) }
}

/// What a few settlements taught of some of the grades, each a family.
fn random_learned(rng: &mut Rng, terms: &Terms, grades: &[&str]) -> Option<Arc<Learned>> {
    let families = grades.iter().map(|grade| (GradeId::new(*grade), Family::new(*grade))).collect();
    let some_load = |rng: &mut Rng| SettledLoad {
        family: Family::new(grades[rng.usize(0..grades.len())]),
        weights: chance(rng, 80).then(|| {
            let ours = grams(100 * rng.u32(1..40));
            Weighed { ours, theirs: ours.times(decimal(rng, 0.8, 1.1, 3)) }
        }),
        downgraded: share(rng.u32(0..100)),
        drop: share(rng.u32(0..60)),
    };
    let settled: Vec<Settled> = (0..rng.usize(1..6))
        .map(|_| Settled {
            left: Date::MIN,
            known: Date::MIN,
            days_to_pay: chance(rng, 50).then(|| rng.u32(0..60)),
            loads: (0..rng.usize(0..3)).map(|_| some_load(rng)).collect(),
        })
        .collect();
    Learned::from_settlements(terms, &settled, &Arc::new(families)).map(Arc::new)
}

fn random_quotes(rng: &mut Rng, currency: Currency) -> Quotes {
    let per = if chance(rng, 20) { PriceUnit::Each } else { PriceUnit::Mass(MassUnit::Kilogram) };
    let mut from = if chance(rng, 15) { grams(500 * rng.u32(0..6)) } else { Mass::ZERO };
    let mut amount = if chance(rng, 10) { decimal(rng, -2.0, 0.0, 2) } else { decimal(rng, 0.5, 8.0, 2) };
    let mut quotes = Vec::new();
    for _ in 0..rng.usize(1..4) {
        quotes.push(Quote { price: Price::new(amount, currency, per), high: None, from });
        from += grams(500 * rng.u32(1..8));
        // A higher tier usually pays more, but a sheet may say anything.
        amount += decimal(rng, -0.3, 1.5, 2);
    }
    Quotes::new(quotes).unwrap()
}

fn random_post(rng: &mut Rng) -> Post {
    let mut breaks = Vec::new();
    let (mut up_to, mut charge) = (0, dec!(2));
    for _ in 0..rng.usize(3..9) {
        up_to += 500 * rng.u32(1..5);
        charge += decimal(rng, -0.2, 3.0, 2);
        breaks.push(WeightBreak { up_to: grams(up_to), charge: charge.max(dec!(0)) });
    }
    let flat = FlatBox {
        name: "flat".into(),
        inner: Size::mm(200, 150, 100),
        limit: grams(4000),
        charge: decimal(rng, 4.0, 9.0, 2),
    };
    let service = Service {
        name: "post".into(),
        currency: if chance(rng, 30) { Currency::CAD } else { Currency::USD },
        dimensional: chance(rng, 50).then_some(Dimensional {
            divisor: Divisor::Cm3PerKilogram(dec!(5000)),
            sides: SideRounding::Up,
            above: None,
        }),
        step: grams(500),
        fuel_percent: decimal(rng, 0.0, 20.0, 1),
        surcharges: vec![Surcharge {
            name: "heavy".into(),
            charge: decimal(rng, 0.0, 2.0, 2),
            when: SurchargeWhen::HeavierThan(grams(3000)),
        }],
        breaks,
        flat_boxes: if chance(rng, 40) { vec![flat] } else { vec![] },
    };
    Post {
        services: vec![service],
        border: decimal(rng, 0.0, 5.0, 2),
        insurance: Share::percent(decimal(rng, 0.0, 3.0, 1)).unwrap(),
        packing_minutes: decimal(rng, 0.0, 5.0, 0),
    }
}

fn small_carton(rng: &mut Rng, name: &str, side_mm: u32) -> Carton {
    Carton {
        name: name.into(),
        inner: Size::mm(side_mm, side_mm, side_mm),
        outer: Size::mm(side_mm + 6, side_mm + 6, side_mm + 6),
        tare: grams(100),
        limit: grams(1000 * rng.u32(2..9)),
        cost: decimal(rng, 0.2, 1.5, 2),
        at_hand: chance(rng, 30).then(|| rng.u32(0..4)),
    }
}

/// Roads between some of the yards: some are no shorter than the way by the shop.
fn random_roads(rng: &mut Rng, outlets: &[Outlet]) -> Roads {
    let mut roads = Roads::new(decimal(rng, 0.0, 2.0, 1));
    if chance(rng, 40) {
        return roads;
    }
    let yards: Vec<&Outlet> = outlets.iter().filter(|outlet| matches!(outlet.way, Way::Drive(_))).collect();
    for (at, one) in yards.iter().enumerate() {
        for other in &yards[at + 1..] {
            if chance(rng, 70) {
                assert!(roads.add(&one.id, &other.id, decimal(rng, 0.0, 16.0, 0)));
            }
        }
    }
    roads
}

fn random_choices(rng: &mut Rng, lots: &[PlanLot], outlets: &[Outlet]) -> Choices {
    let mut choices = Choices { pins: BTreeMap::new(), bars: BTreeSet::new(), closed: BTreeSet::new() };
    for lot in lots {
        let id = || lot.load.lot.clone();
        if chance(rng, 8) {
            let any = rng.usize(0..=outlets.len());
            let place = outlets.get(any).map_or(Place::Keep, |outlet| Place::Outlet(outlet.id.clone()));
            choices.pins.insert(id(), place);
        }
        for outlet in outlets {
            if chance(rng, 5) {
                choices.bars.insert((id(), outlet.id.clone()));
            }
        }
    }
    for outlet in outlets {
        if chance(rng, 4) {
            choices.closed.insert(outlet.id.clone());
        }
    }
    choices
}
