//! Seeded problems with our optimum, as JSON for an independent solver: see tests/peer/plan_milp.py.
//!
//! `cargo run --release -p trade --example plan_instances -- COUNT LOTS OUTLETS > FILE`
//!
//! A line is one problem. Prices, terms and costs stand in it as raw figures, so that the peer does all arithmetic by
//! itself; only a mail-in buyer's freight is given worked out, as steps of the total mass (these lots take up no room).
//! Masses are whole grams, prices per kilogram or each, shares between 0 and 1. `yearly` is what a year of waiting for
//! money costs.

use std::collections::BTreeMap;

use fastrand::Rng;
use iso_currency::Currency;
use rust_decimal::{Decimal, dec};
use serde_json::{Value, json};
use trade::costs::Facts;
use trade::freight::{Service, WeightBreak};
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassUnit};
use trade::money::{Price, PriceUnit, Share};
use trade::net::Load;
use trade::outlet::{Drive, Outlet, PaidWeight, Post, Terms, Way};
use trade::packing::{Carton, Packer, Priced};
use trade::plan::{Choices, Limits, PlanLot, Problem, solve};
use trade::quote::{Quote, Quotes};
use trade::tour::Roads;
use trade::volume::{Size, Volume};

#[expect(dead_code, clippy::unwrap_used, reason = "shared with the tests, which use the rest of it")]
#[path = "../tests/plan/shop.rs"]
mod shop;

use shop::{chance, decimal, facts, outlet, share};

const GRADES: [&str; 5] = ["copper", "brass", "wire", "boards", "memory"];

fn main() {
    let mut args = std::env::args().skip(1).filter_map(|arg| arg.parse::<usize>().ok());
    let (count, lots, outlets) =
        (args.next().unwrap_or(100), args.next().unwrap_or(12), args.next().unwrap_or(5));
    for seed in 0..count as u64 {
        println!("{}", stated(seed, lots, outlets));
    }
}

fn stated(seed: u64, lots: usize, outlets: usize) -> Value {
    let rng = &mut Rng::with_seed(seed);
    let facts = facts(Currency::USD, vec![carton()]);
    let lots: Vec<PlanLot> = (0..lots).map(|index| lot(rng, index)).collect();
    let outlets: Vec<Outlet> = (0..outlets).map(|index| some_outlet(rng, index)).collect();
    let choices = Choices::default();
    let roads = some_roads(rng, &outlets);
    let problem = Problem { lots: &lots, outlets: &outlets, facts: &facts, choices: &choices, roads: &roads };
    let plan = solve(&problem, &Limits::default());
    let whole: Mass = lots.iter().map(|lot| lot.load.mass).sum();
    json!({
        "seed": seed,
        "lots": lots.iter().map(lot_json).collect::<Vec<_>>(),
        "outlets": outlets.iter().map(|outlet| outlet_json(outlet, &facts, whole)).collect::<Vec<_>>(),
        "roads": roads_json(&outlets, &roads),
        "minutes_per_km": text(roads.minutes_per_km()),
        "ours": plan.total.to_string(),
        "proof": format!("{:?}", plan.proof),
    })
}

fn lot(rng: &mut Rng, index: usize) -> PlanLot {
    let mass = Mass::from_grams(Decimal::from(rng.u32(200..30_000)));
    PlanLot {
        load: Load {
            lot: LotId::new(format!("L{index:02}")),
            grade: GradeId::new(GRADES[rng.usize(0..GRADES.len())]),
            mass,
            pieces: rng.u32(1..30),
            volume: Volume::ZERO,
        },
        keep: decimal(rng, 0.0, 30.0, 2),
    }
}

fn some_outlet(rng: &mut Rng, index: usize) -> Outlet {
    let currency = [Currency::USD, Currency::CAD, Currency::EUR][rng.usize(0..3)];
    let mut sheet = BTreeMap::new();
    for grade in GRADES {
        if chance(rng, 80) {
            let each = chance(rng, 10);
            let per = if each { PriceUnit::Each } else { PriceUnit::Mass(MassUnit::Kilogram) };
            let mut from =
                Mass::from_grams(Decimal::from(if chance(rng, 20) { rng.u32(1..15_000) } else { 0 }));
            let mut amount = decimal(rng, 0.8, 4.5, 2);
            let tiers = (0..rng.usize(1..4)).map(|_| {
                let quote = Quote { price: Price::new(amount, currency, per), high: None, from };
                from += Mass::from_grams(Decimal::from(rng.u32(3_000..30_000)));
                amount += decimal(rng, -0.2, 0.9, 2);
                quote
            });
            sheet.extend(Quotes::new(tiers.collect::<Vec<_>>()).map(|quotes| (GradeId::new(grade), quotes)));
        }
    }
    let terms = Terms {
        weight_deduction: share(rng.u32(0..6)),
        paid_weight: PaidWeight::new(decimal(rng, 0.95, 1.02, 3)).unwrap_or_default(),
        downgrade_chance: share(rng.u32(0..20)),
        downgrade_drop: share(rng.u32(0..40)),
        percent_fee: share(rng.u32(0..6)),
        flat_fee: decimal(rng, 0.0, 6.0, 2),
        exchange_spread: share(rng.u32(0..5)),
        payout_fee: decimal(rng, 0.0, 4.0, 2),
        days_to_pay: rng.u32(0..60),
        // At least something, so that no payout is below zero, where the net bends.
        minimum_payout: Decimal::from(rng.u32(0..40)),
        minimum_grade: Mass::from_grams(Decimal::from(if chance(rng, 30) { rng.u32(1..12_000) } else { 0 })),
        minimum_delivery: Mass::from_grams(Decimal::from(if chance(rng, 40) {
            rng.u32(1..50_000)
        } else {
            0
        })),
    };
    let way = if chance(rng, 50) {
        Way::Drive(Drive { distance_km: decimal(rng, 2.0, 40.0, 0), minutes: decimal(rng, 10.0, 60.0, 0) })
    } else {
        Way::Post(Post {
            services: vec![service(rng)],
            border: decimal(rng, 0.0, 9.0, 2),
            insurance: Share::percent(decimal(rng, 0.0, 2.0, 1)).unwrap_or_default(),
            packing_minutes: decimal(rng, 0.0, 8.0, 0),
        })
    };
    outlet(format!("O{index}"), currency, way, terms, sheet)
}

fn some_roads(rng: &mut Rng, outlets: &[Outlet]) -> Roads {
    let mut roads = Roads::new(decimal(rng, 0.0, 1.5, 1));
    let yards: Vec<&Outlet> = outlets.iter().filter(|outlet| matches!(outlet.way, Way::Drive(_))).collect();
    for (at, one) in yards.iter().enumerate() {
        for other in &yards[at + 1..] {
            if chance(rng, 70) {
                roads.add(&one.id, &other.id, decimal(rng, 0.0, 60.0, 0));
            }
        }
    }
    roads
}

fn service(rng: &mut Rng) -> Service {
    let mut charge = decimal(rng, 3.0, 9.0, 2);
    let rise = decimal(rng, 0.3, 1.6, 2);
    let breaks = (1..=25u32).map(|kilogram| {
        charge += rise + decimal(rng, 0.0, 0.4, 2);
        WeightBreak { up_to: Mass::of(kilogram.into(), MassUnit::Kilogram), charge }
    });
    Service {
        name: "post".into(),
        currency: Currency::USD,
        dimensional: None,
        step: Mass::of(dec!(1), MassUnit::Kilogram),
        fuel_percent: dec!(0),
        surcharges: vec![],
        breaks: breaks.collect(),
        flat_boxes: vec![],
    }
}

fn carton() -> Carton {
    Carton {
        name: "box".into(),
        inner: Size::mm(400, 300, 300),
        outer: Size::mm(410, 310, 310),
        tare: Mass::from_grams(dec!(350)),
        limit: Mass::from_grams(dec!(20_000)),
        cost: dec!(1.40),
        at_hand: None,
    }
}

fn lot_json(lot: &PlanLot) -> Value {
    json!({
        "id": lot.load.lot, "grade": lot.load.grade, "mass": text(lot.load.mass.grams()),
        "pieces": lot.load.pieces, "keep": text(lot.keep),
    })
}

fn roads_json(outlets: &[Outlet], roads: &Roads) -> Vec<Value> {
    let ends = outlets
        .iter()
        .enumerate()
        .flat_map(|(at, one)| outlets[at + 1..].iter().map(move |other| (one, other)));
    let roads = ends.filter_map(|(one, other)| Some((one, other, roads.between(&one.id, &other.id)?)));
    roads.map(|(one, other, km)| json!([one.id, other.id, text(km)])).collect()
}

fn outlet_json(outlet: &Outlet, facts: &Facts, whole: Mass) -> Value {
    let (terms, costs) = (&outlet.terms, &facts.costs);
    let rate = facts.rates.mid(outlet.currency, costs.home, facts.today).map_or(dec!(0), |mid| mid.rate);
    let tiers = |quotes: &Quotes| -> Vec<Value> {
        let tier = |quote: &Quote| {
            json!({
                "from": text(quote.from.grams()), "price": text(quote.price.amount),
                "each": quote.price.per == PriceUnit::Each,
            })
        };
        quotes.tiers().iter().map(tier).collect()
    };
    let quotes: BTreeMap<String, Vec<Value>> =
        outlet.quotes.iter().map(|(grade, quotes)| (grade.to_string(), tiers(quotes))).collect();
    let way = match &outlet.way {
        Way::Drive(drive) => json!({
            "km": text(drive.distance_km), "minutes": text(drive.minutes),
            "per_km": text(costs.truck_per_km), "per_hour": text(costs.labour_per_hour),
        }),
        Way::Post(post) => {
            let services: Vec<Priced<'_>> =
                post.services.iter().map(|service| Priced { service, to_home: dec!(1) }).collect();
            let packer = Packer::new(&facts.cartons, &services, costs.labour(post.packing_minutes));
            let steps = packer.priced_steps(None, whole).into_iter();
            let steps: Vec<Value> =
                steps.map(|(up_to, cost)| json!([text(up_to.grams()), text(cost)])).collect();
            json!({ "border": text(post.border), "insurance": text(post.insurance.get()), "freight": steps })
        }
    };
    json!({
        "id": outlet.id, "rate": text(rate), "foreign": outlet.currency != costs.home, "quotes": quotes, "way": way,
        "weight_deduction": text(terms.weight_deduction.get()), "paid_weight": text(terms.paid_weight.get()),
        "downgrade_chance": text(terms.downgrade_chance.get()),
        "downgrade_drop": text(terms.downgrade_drop.get()), "percent_fee": text(terms.percent_fee.get()),
        "flat_fee": text(terms.flat_fee), "exchange_spread": text(terms.exchange_spread.get()),
        "payout_fee": text(terms.payout_fee), "days_to_pay": terms.days_to_pay,
        "yearly": text(costs.capital_per_year.get()), "minimum_payout": text(terms.minimum_payout),
        "minimum_grade": text(terms.minimum_grade.grams()),
        "minimum_delivery": text(terms.minimum_delivery.grams()),
    })
}

/// Decimals go as text: no reader may turn them into floats by itself.
fn text(number: Decimal) -> String {
    number.normalize().to_string()
}
