//! Seeded problems for the sell plan. The same seed gives the same problem everywhere.

use std::collections::{BTreeMap, BTreeSet};

use fastrand::Rng;
use iso_currency::Currency;
use jiff::civil::date;
use rust_decimal::{Decimal, dec};
use trade::costs::{Costs, Facts};
use trade::exchange::{Rate, RateBook};
use trade::freight::{
    Dimensional, Divisor, FlatBox, Service, SideRounding, Surcharge, SurchargeWhen, WeightBreak,
};
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Price, PriceUnit, Share};
use trade::net::Load;
use trade::outlet::{Drive, Outlet, PaidWeight, Post, Terms, Way};
use trade::packing::Carton;
use trade::plan::{Choices, Place, PlanLot, Problem};
use trade::quote::{Quote, Quotes};
use trade::volume::{Size, Volume};

#[derive(Debug, Clone)]
pub struct Instance {
    pub lots: Vec<PlanLot>,
    pub outlets: Vec<Outlet>,
    pub facts: Facts,
    pub choices: Choices,
}

impl Instance {
    pub fn problem(&self) -> Problem<'_> {
        Problem { lots: &self.lots, outlets: &self.outlets, facts: &self.facts, choices: &self.choices }
    }
}

/// A grade with a usual price per pound, grams per cubic centimetre as it lies, and the usual pounds of a lot.
struct Stuff {
    grade: &'static str,
    price: f64,
    density: f64,
    pounds: f64,
}

const fn stuff(grade: &'static str, price: f64, density: f64, pounds: f64) -> Stuff {
    Stuff { grade, price, density, pounds }
}

const METALS: [Stuff; 9] = [
    stuff("copper-1", 3.9, 1.2, 40.0),
    stuff("copper-2", 3.6, 1.0, 60.0),
    stuff("wire-1", 2.1, 0.5, 70.0),
    stuff("wire-2", 1.2, 0.4, 90.0),
    stuff("brass-yellow", 2.3, 1.6, 40.0),
    stuff("aluminium-sheet", 0.6, 0.3, 80.0),
    stuff("aluminium-cast", 0.4, 0.6, 90.0),
    stuff("steel-shred", 0.08, 0.5, 400.0),
    stuff("batteries-lead", 0.22, 1.8, 150.0),
];

const BOARDS: [Stuff; 6] = [
    stuff("boards-high", 6.5, 0.28, 12.0),
    stuff("boards-mid", 3.1, 0.24, 18.0),
    stuff("boards-low", 1.1, 0.2, 30.0),
    stuff("memory", 19.0, 0.5, 4.0),
    stuff("processors", 38.0, 0.9, 3.0),
    stuff("drive-boards", 9.0, 0.35, 5.0),
];

pub fn grams(grams: impl Into<Decimal>) -> Mass {
    Mass::from_grams(grams.into())
}

pub fn share(percent: u32) -> Share {
    Share::percent(Decimal::from(percent)).unwrap()
}

/// A decimal between two floats, with so many places.
pub fn decimal(rng: &mut Rng, from: f64, to: f64, places: u32) -> Decimal {
    let scale = 10f64.powi(places.try_into().unwrap());
    Decimal::new(((from + rng.f64() * (to - from)) * scale).round() as i64, places)
}

fn chance(rng: &mut Rng, percent: u32) -> bool {
    rng.u32(0..100) < percent
}

pub fn facts(home: Currency, cartons: Vec<Carton>) -> Facts {
    let today = date(2026, 3, 2);
    let rate = |base, quote, rate| Rate { date: today, base, quote, rate };
    Facts {
        costs: Costs {
            home,
            labour_per_hour: dec!(22),
            truck_per_km: dec!(0.55),
            capital_per_year: share(15),
            risk_per_year: share(5),
        },
        rates: RateBook::new([
            rate(Currency::USD, Currency::CAD, dec!(1.3712)),
            rate(Currency::EUR, Currency::USD, dec!(1.0834)),
        ]),
        cartons,
        today,
        style: MassStyle::PoundsOunces,
    }
}

fn carton(name: &str, side_inches: u32, limit_pounds: u32, cost: Decimal) -> Carton {
    let side = |more: Decimal| Decimal::from(side_inches) + more;
    let cube = |side: Decimal| Size::inches(side, side, side);
    Carton {
        name: name.into(),
        inner: cube(side(dec!(0))),
        outer: cube(side(dec!(0.5))),
        tare: Mass::of(dec!(0.9), MassUnit::Pound),
        limit: Mass::of(limit_pounds.into(), MassUnit::Pound),
        cost,
        at_hand: None,
    }
}

fn cartons() -> Vec<Carton> {
    vec![
        carton("10 inch cube", 10, 40, dec!(1.10)),
        carton("14 inch cube", 14, 65, dec!(1.95)),
        carton("18 inch cube", 18, 65, dec!(3.20)),
    ]
}

/// A parcel service billed by the pound up to 70 lb.
fn parcel_service(name: &str, currency: Currency, base: f64, per_pound: f64) -> Service {
    let step = Mass::of(dec!(1), MassUnit::Pound);
    let breaks = (1..=70u32).map(|pound| {
        let charge = base + per_pound * f64::from(pound).powf(0.93);
        WeightBreak { up_to: step.times(pound.into()), charge: Decimal::new((charge * 100.0) as i64, 2) }
    });
    Service {
        name: name.into(),
        currency,
        dimensional: Some(Dimensional {
            divisor: Divisor::CubicInchesPerPound(dec!(139)),
            sides: SideRounding::Up,
            above: None,
        }),
        step,
        fuel_percent: dec!(14.5),
        surcharges: vec![Surcharge {
            name: "heavy".into(),
            charge: dec!(7.50),
            when: SurchargeWhen::HeavierThan(Mass::of(dec!(50), MassUnit::Pound)),
        }],
        breaks: breaks.collect(),
        flat_boxes: vec![FlatBox {
            name: "flat box".into(),
            inner: Size::inches(dec!(12), dec!(12), dec!(5.5)),
            limit: Mass::of(dec!(70), MassUnit::Pound),
            charge: dec!(22.45),
        }],
    }
}

fn lot(rng: &mut Rng, index: usize, stuff: &Stuff) -> PlanLot {
    let ounces = (stuff.pounds * 16.0 * (0.2 + 1.6 * rng.f64())).round().max(1.0);
    let mass = Mass::of(Decimal::from(ounces as u32), MassUnit::Ounce);
    let volume = mass.grams() / Decimal::try_from(stuff.density).unwrap();
    let keep = stuff.price * ounces / 16.0 * 0.75 * rng.f64();
    PlanLot {
        load: Load {
            lot: LotId::new(format!("L{index:03}")),
            grade: GradeId::new(stuff.grade),
            mass,
            pieces: (ounces / 4.0) as u32 + 1,
            volume: Volume::from_cm3(volume.round_dp(1)),
        },
        keep: Decimal::new((keep * 100.0) as i64, 2),
    }
}

/// One or more tiers around a price per pound.
fn quotes(rng: &mut Rng, price: f64, currency: Currency, lot_pounds: f64, tiers: bool) -> Quotes {
    let mut price = price;
    let mut quotes = Vec::new();
    let mut from = Mass::ZERO;
    for _ in 0..if tiers { rng.usize(1..4) } else { 1 } {
        let amount = Decimal::new((price * 1000.0).round() as i64, 3);
        let price_of = Price::new(amount, currency, PriceUnit::Mass(MassUnit::Pound));
        quotes.push(Quote { price: price_of, high: None, from });
        from += Mass::of(decimal(rng, lot_pounds * 0.5, lot_pounds * 3.0, 0), MassUnit::Pound);
        price *= 1.03 + 0.08 * rng.f64();
    }
    Quotes::new(quotes).unwrap()
}

/// A shop's shelf as the demo has it: three yards for metals, four mail-in buyers for boards, everything with tiers.
pub fn shop(seed: u64, lots: usize) -> Instance {
    let rng = &mut Rng::with_seed(seed);
    let pick = |rng: &mut Rng, index: usize| {
        let stuff = if index % 5 < 3 { &METALS[rng.usize(0..9)] } else { &BOARDS[rng.usize(0..6)] };
        lot(rng, index, stuff)
    };
    let lots: Vec<PlanLot> = (0..lots).map(|index| pick(rng, index)).collect();
    let mut outlets = Vec::new();
    for yard in 0..3 {
        let mut sheet = BTreeMap::new();
        for stuff in &METALS {
            if chance(rng, 90) {
                let price = stuff.price * (0.88 + 0.24 * rng.f64());
                sheet
                    .insert(GradeId::new(stuff.grade), quotes(rng, price, Currency::USD, stuff.pounds, true));
            }
        }
        for stuff in &BOARDS {
            if chance(rng, 60) {
                let price = stuff.price * (0.35 + 0.3 * rng.f64());
                sheet.insert(
                    GradeId::new(stuff.grade),
                    quotes(rng, price, Currency::USD, stuff.pounds, false),
                );
            }
        }
        let way = Way::Drive(Drive {
            distance_km: decimal(rng, 5.0, 90.0, 0),
            minutes: decimal(rng, 40.0, 150.0, 0),
        });
        outlets.push(outlet(format!("yard-{yard}"), Currency::USD, way, Terms::default(), sheet));
    }
    for buyer in 0..4usize {
        let currency = [Currency::USD, Currency::CAD, Currency::USD, Currency::EUR][buyer];
        let per_home = [1.0, 1.37, 1.0, 0.92][buyer];
        let mut sheet = BTreeMap::new();
        for stuff in &BOARDS {
            if chance(rng, 92) {
                let price = stuff.price * per_home * (0.85 + 0.35 * rng.f64());
                sheet.insert(GradeId::new(stuff.grade), quotes(rng, price, currency, stuff.pounds, true));
            }
        }
        let abroad = currency != Currency::USD;
        let (base, per_pound) = (6.0 + 3.0 * rng.f64(), 0.55 + 0.5 * rng.f64());
        let way = Way::Post(Post {
            services: vec![
                parcel_service("ground", Currency::USD, base, per_pound),
                parcel_service("second", Currency::USD, base * 0.7, per_pound * 1.2),
            ],
            border: if abroad { dec!(18) } else { dec!(0) },
            insurance: Share::percent(dec!(0.8)).unwrap(),
            packing_minutes: dec!(12),
        });
        let terms = Terms {
            downgrade_chance: share(8),
            downgrade_drop: share(25),
            percent_fee: share(if buyer == 2 { 3 } else { 0 }),
            flat_fee: dec!(5),
            exchange_spread: if abroad { share(2) } else { Share::ZERO },
            payout_fee: dec!(4),
            days_to_pay: 14,
            minimum_payout: dec!(25),
            minimum_delivery: Mass::of(dec!(10), MassUnit::Pound),
            ..Terms::default()
        };
        outlets.push(outlet(format!("buyer-{buyer}"), currency, way, terms, sheet));
    }
    Instance { lots, outlets, facts: facts(Currency::USD, cartons()), choices: Choices::default() }
}

fn outlet(
    id: String,
    currency: Currency,
    way: Way,
    terms: Terms,
    quotes: BTreeMap<GradeId, Quotes>,
) -> Outlet {
    Outlet { id: OutletId::new(id.clone()), name: id, currency, way, terms, quotes, sheet_date: None }
}

/// A small problem with every feature switched on at random, in round figures so that totals often fall exactly on a
/// tier, a minimum or a freight break.
pub fn everything(seed: u64, lots: usize, outlets: usize) -> Instance {
    let rng = &mut Rng::with_seed(seed);
    let grades = ["red", "blue", "green", "grey"];
    let lots: Vec<PlanLot> = (0..lots)
        .map(|index| {
            let mass = grams(if chance(rng, 3) { 0 } else { 100 * rng.u32(1..40) });
            let loose = Decimal::from(rng.u32(1..6));
            PlanLot {
                load: Load {
                    lot: LotId::new(format!("L{index:02}")),
                    grade: GradeId::new(grades[rng.usize(0..4)]),
                    mass,
                    pieces: rng.u32(0..8),
                    volume: Volume::from_cm3(mass.grams() * loose),
                },
                keep: if chance(rng, 40) { dec!(0) } else { decimal(rng, 0.0, 12.0, 2) },
            }
        })
        .collect();
    let outlets: Vec<Outlet> = (0..outlets).map(|index| random_outlet(rng, index, &grades)).collect();
    let choices = random_choices(rng, &lots, &outlets);
    let cartons = vec![small_carton(rng, "small", 150), small_carton(rng, "large", 260)];
    Instance { lots, outlets, facts: facts(Currency::USD, cartons), choices }
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
    outlet(format!("O{index}"), currency, way, terms, sheet)
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
