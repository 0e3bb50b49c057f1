//! A shop's shelf as a seeded problem for the sell plan. The same seed gives the same problem everywhere.

use std::collections::BTreeMap;

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
use trade::outlet::{Drive, Outlet, Post, Terms, Way};
use trade::packing::Carton;
use trade::plan::{Choices, PlanLot, Problem};
use trade::quote::{Quote, Quotes};
use trade::tour::Roads;
use trade::volume::{Size, Volume};

#[derive(Debug, Clone)]
pub struct Instance {
    pub lots: Vec<PlanLot>,
    pub outlets: Vec<Outlet>,
    pub facts: Facts,
    pub choices: Choices,
    pub roads: Roads,
}

impl Instance {
    pub fn problem(&self) -> Problem<'_> {
        Problem {
            lots: &self.lots,
            outlets: &self.outlets,
            facts: &self.facts,
            choices: &self.choices,
            roads: &self.roads,
        }
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

pub fn share(percent: u32) -> Share {
    Share::percent(Decimal::from(percent)).unwrap()
}

/// A decimal between two floats, with so many places.
pub fn decimal(rng: &mut Rng, from: f64, to: f64, places: u32) -> Decimal {
    let scale = 10f64.powi(places.try_into().unwrap());
    Decimal::new(((from + rng.f64() * (to - from)) * scale).round() as i64, places)
}

pub fn chance(rng: &mut Rng, percent: u32) -> bool {
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
    let facts = facts(Currency::USD, cartons());
    Instance { lots, outlets, facts, choices: Choices::default(), roads: Roads::default() }
}

pub fn outlet(
    id: String,
    currency: Currency,
    way: Way,
    terms: Terms,
    quotes: BTreeMap<GradeId, Quotes>,
) -> Outlet {
    Outlet {
        id: OutletId::new(id.clone()),
        name: id,
        currency,
        way,
        terms,
        quotes,
        sheet_date: None,
        learned: None,
    }
}
