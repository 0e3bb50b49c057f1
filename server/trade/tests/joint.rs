//! Joint parcels against every way of dividing the bags and against every day of shipping; the top-up list against two
//! deliveries each.

use std::collections::BTreeMap;

use iso_currency::Currency::USD;
use jiff::civil::date;
use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use trade::cadence::{FillRate, best_grouping};
use trade::costs::{Costs, Facts};
use trade::exchange::RateBook;
use trade::freight::{Service, WeightBreak};
use trade::ids::{GradeId, LotId, OutletId};
use trade::joint::{Joint, joint};
use trade::mass::{Mass, MassStyle};
use trade::money::{Price, PriceUnit, Share};
use trade::net::{Load, deliver};
use trade::outlet::{Outlet, Post, Terms, Way};
use trade::outlook::Bag;
use trade::packing::Carton;
use trade::quote::{Quote, Quotes};
use trade::top_up::{next_tiers, top_ups};
use trade::volume::{BulkDensity, Size};

fn grams(grams: impl Into<Decimal>) -> Mass {
    Mass::from_grams(grams.into())
}

/// All ways of dividing bags into groups, each bag in one group or in none, by taking one bag after the other.
fn best_by_trying(count: usize, rate: &dyn Fn(&[usize]) -> Option<Decimal>) -> Decimal {
    fn next(
        bag: usize,
        count: usize,
        groups: &mut Vec<Vec<usize>>,
        rate: &dyn Fn(&[usize]) -> Option<Decimal>,
    ) -> Option<Decimal> {
        if bag == count {
            return groups.iter().map(|group| rate(group)).sum();
        }
        let mut best = next(bag + 1, count, groups, rate);
        for at in 0..=groups.len() {
            if at == groups.len() {
                groups.push(vec![bag]);
            } else {
                groups[at].push(bag);
            }
            best = best.max(next(bag + 1, count, groups, rate));
            groups[at].pop();
            groups.retain(|group| !group.is_empty());
        }
        best
    }
    next(0, count, &mut Vec::new(), rate).expect("leaving all of them is one way")
}

/// A buyer of two grades with a price tier and a carrier with steps, all drawn at random.
#[derive(Debug, Clone)]
struct Drawn {
    prices: Vec<(i64, u32, i64)>,
    rates: Vec<u32>,
    freight: Vec<(u32, i64)>,
    minimum: u32,
    payout: u32,
}

fn drawn() -> impl Strategy<Value = Drawn> {
    let prices = prop::collection::vec((2..30i64, 200..3000u32, 0..6i64), 3);
    let rates = prop::collection::vec(5..120u32, 3);
    let freight = prop::collection::vec((300..2500u32, 0..900i64), 3..6);
    (prices, rates, freight, 0..900u32, prop_oneof![Just(0u32), 1..20u32]).prop_map(
        |(prices, rates, freight, minimum, payout)| Drawn { prices, rates, freight, minimum, payout },
    )
}

const NAMES: [&str; 3] = ["edge", "relay", "brown"];
const DENSITIES: [Decimal; 3] = [dec!(0.3), dec!(0.5), dec!(0.25)];

impl Drawn {
    fn grades() -> Vec<GradeId> {
        NAMES.iter().map(|name| GradeId::from(*name)).collect()
    }

    fn facts(&self) -> Facts {
        let side = Size::mm(300, 300, 300);
        Facts {
            costs: Costs {
                home: USD,
                labour_per_hour: dec!(18),
                truck_per_km: dec!(0.42),
                capital_per_year: Share::percent(dec!(10)).expect("a share"),
                risk_per_year: Share::percent(dec!(8)).expect("a share"),
            },
            rates: RateBook::new([]),
            cartons: vec![Carton {
                name: "cube".into(),
                inner: side,
                outer: side,
                tare: grams(200),
                limit: grams(9000),
                cost: dec!(1),
                at_hand: None,
            }],
            today: date(2026, 5, 31),
            style: MassStyle::Kilograms,
        }
    }

    fn outlet(&self) -> Outlet {
        let (mut up_to, mut charge) = (200, 400);
        let breaks = self.freight.iter().map(|(more, dearer)| {
            up_to += more;
            charge += dearer;
            WeightBreak { up_to: grams(up_to), charge: Decimal::new(charge, 2) }
        });
        let service = Service {
            name: "post".into(),
            currency: USD,
            dimensional: None,
            step: grams(1),
            fuel_percent: dec!(0),
            surcharges: vec![],
            breaks: breaks.collect(),
            flat_boxes: vec![],
        };
        let post = Post {
            services: vec![service],
            border: dec!(2),
            insurance: Share::default(),
            packing_minutes: dec!(10),
        };
        let per_gram = |mills: i64| {
            let unit = PriceUnit::from_code("g").expect("a unit");
            Price::new(Decimal::new(mills, 3), USD, unit)
        };
        let quotes = NAMES.iter().zip(&self.prices).map(|(name, (price, from, more))| {
            let tiers = vec![
                Quote::flat(per_gram(*price)),
                Quote { from: grams(*from), ..Quote::flat(per_gram(price + more)) },
            ];
            (GradeId::from(*name), Quotes::new(tiers).expect("tiers"))
        });
        Outlet {
            id: OutletId::from("buyer"),
            name: "buyer".into(),
            currency: USD,
            way: Way::Post(post),
            terms: Terms {
                minimum_delivery: grams(self.minimum),
                minimum_payout: self.payout.into(),
                ..Terms::default()
            },
            quotes: quotes.collect::<BTreeMap<_, _>>(),
            sheet_date: None,
            learned: None,
        }
    }

    fn bags<'a>(&self, grades: &'a [GradeId]) -> Vec<Bag<'a>> {
        let bag = |(nth, grade): (usize, &'a GradeId)| {
            let per_day = grams(self.rates[nth]);
            Bag {
                grade,
                density: BulkDensity::new(DENSITIES[nth]).expect("a density"),
                mass: grams(100),
                pieces: 0,
                fill: Some(FillRate {
                    per_day,
                    low: per_day,
                    high: per_day,
                    weeks: 8,
                    from: date(2026, 1, 1),
                }),
            }
        };
        grades.iter().enumerate().map(bag).collect()
    }

    fn loads(&self, days: Decimal, among: &[usize]) -> Vec<Load> {
        let load = |&nth: &usize| {
            let mass = grams((Decimal::from(self.rates[nth]) * days).round_dp(6));
            let density = BulkDensity::new(DENSITIES[nth]).expect("a density");
            Load {
                lot: LotId::new(NAMES[nth]),
                grade: GradeId::from(NAMES[nth]),
                mass,
                pieces: 0,
                volume: density.volume_of(mass),
            }
        };
        among.iter().map(load).collect()
    }

    /// What a group brings a day, shipped every so many days, from the deliveries themselves: the net, less what keeping
    /// half of each bag costs on the average. `holding` is per gram and day.
    fn rate(&self, days: Decimal, among: &[usize], holding: &[Decimal]) -> Option<Decimal> {
        let loads = self.loads(days, among);
        let net = deliver(&self.outlet(), &loads, &self.facts()).ok()?.net;
        let kept: Decimal =
            loads.iter().zip(among).map(|(load, &nth)| load.mass.grams() / dec!(2) * holding[nth]).sum();
        Some(net / days - kept)
    }
}

fn found(drawn: &Drawn, grades: &[GradeId]) -> Joint {
    joint(&drawn.bags(grades), &drawn.outlet(), &drawn.facts()).expect("three bags that fill")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_other_division_brings_more(rates in prop::collection::vec(prop::option::of(-50..400i64), 32), count in 0..6usize) {
        let rate = |group: &[usize]| {
            let set: usize = group.iter().map(|bag| 1 << bag).sum();
            rates[set].map(Decimal::from)
        };
        let grouping = best_grouping(count, rate);
        let paid = |group: &[usize]| rate(group).or(Some(dec!(-1_000_000)));
        prop_assert_eq!(grouping.per_day, best_by_trying(count, &paid).max(dec!(0)));
        let sum: Option<Decimal> = grouping.groups.iter().map(|group| rate(group)).sum();
        prop_assert_eq!(sum, Some(grouping.per_day));
        let mut bags = grouping.groups.concat();
        bags.sort_unstable();
        bags.dedup();
        prop_assert_eq!(bags.len(), grouping.groups.concat().len(), "no bag goes twice");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the days between shipments and whoever goes together, nothing brings more.
    #[test]
    fn no_other_days_and_company_bring_more(drawn in drawn()) {
        let grades = Drawn::grades();
        let joint = found(&drawn, &grades);
        // What keeping a gram costs a day, by the doc comment of the bag's outlook: 18 % a year of what it nets in as
        // much as it is let grow to, 270 days or 50 lb.
        let holding: Vec<Decimal> = (0..3)
            .map(|nth| {
                let rate = Decimal::from(drawn.rates[nth]);
                let most = (dec!(100) + rate * dec!(270)).max(dec!(22679.6185));
                let alone = deliver(&drawn.outlet(), &drawn.loads(most / rate, &[nth]), &drawn.facts()).ok();
                let value = alone.map_or(dec!(0), |ladder| ladder.net / most).max(dec!(0));
                value * dec!(0.18) / dec!(365)
            })
            .collect();
        let sets: [&[usize]; 7] = [&[0], &[1], &[2], &[0, 1], &[0, 2], &[1, 2], &[0, 1, 2]];
        let best: Vec<Option<Decimal>> = sets
            .iter()
            .map(|set| {
                let most = sets.len().max(40);
                (1..=most * 8).filter_map(|half| drawn.rate(Decimal::from(half) / dec!(2), set, &holding)).max()
            })
            .collect();
        let rate = |group: &[usize]| {
            let at = sets.iter().position(|set| *set == group).expect("a set");
            best[at].filter(|rate| *rate > dec!(0)).or(Some(dec!(-1_000_000)))
        };
        let tried = best_by_trying(3, &rate).max(dec!(0));
        prop_assert!(joint.per_day + dec!(0.0001) >= tried, "{} under {tried}", joint.per_day);
        // And what is promised can be had: shipped so, the deliveries bring it.
        for group in &joint.groups {
            let among: Vec<usize> = group
                .bags
                .iter()
                .map(|(grade, _)| grades.iter().position(|known| known == grade).expect("a bag"))
                .collect();
            let again = drawn.rate(group.ship.cycle_days, &among, &holding);
            // At the very start of a tier or the end of a step a rounded day may fall on the other side.
            let near = [dec!(0), dec!(0.000002), dec!(-0.000002)].into_iter().filter_map(|hair| {
                drawn.rate(group.ship.cycle_days + hair, &among, &holding)
            });
            let is_had = near.chain(again).any(|rate| (rate - group.ship.per_day).abs() < dec!(0.001));
            prop_assert!(is_had, "{again:?}, not {}", group.ship.per_day);
        }
        let groups: Decimal = joint.groups.iter().map(|group| group.ship.per_day).sum();
        prop_assert_eq!(groups, joint.per_day);
        prop_assert!(joint.per_day >= joint.apart.max(joint.together.unwrap_or_default()));
    }

    #[test]
    fn a_top_up_is_two_deliveries(drawn in drawn(), base in 200..4000u32, other in 1..3000u32) {
        let (outlet, facts) = (drawn.outlet(), drawn.facts());
        let whole = |nth: usize, mass: u32| {
            let density = BulkDensity::new(DENSITIES[nth]).expect("a density");
            Load {
                lot: LotId::new(format!("{nth} of {mass}")),
                grade: GradeId::from(NAMES[nth]),
                mass: grams(mass),
                pieces: 0,
                volume: density.volume_of(grams(mass)),
            }
        };
        let in_it = [whole(0, base)];
        let others = [whole(1, other), whole(0, other), whole(2, 1)];
        let before = deliver(&outlet, &in_it, &facts);
        let list = top_ups(&outlet, &in_it, &others, &facts);
        prop_assert!(list.windows(2).all(|pair| pair[0].adds >= pair[1].adds));
        for load in &others {
            let after = deliver(&outlet, &[in_it[0].clone(), load.clone()], &facts);
            let told = list.iter().find(|top_up| top_up.lot == load.lot);
            let (Ok(before), Ok(after)) = (&before, &after) else {
                prop_assert!(told.is_none());
                continue;
            };
            let told = told.expect("it can come along");
            prop_assert_eq!(told.adds, after.net - before.net);
            let packing = |ladder: &trade::net::Ladder| ladder.packing.as_ref().map(trade::packing::Packing::cost);
            prop_assert_eq!(told.rides_free, packing(before) == packing(after));
            let (_, from, _) = drawn.prices[0];
            let lifts = load.grade == GradeId::from("edge") && base < from && base + other >= from;
            prop_assert_eq!(told.lifts.len(), usize::from(lifts));
        }
        for next in next_tiers(&outlet, &in_it, &facts) {
            let (price, from, more) = drawn.prices[0];
            prop_assert_eq!((next.from, next.missing), (grams(from), grams(from - base)));
            prop_assert_eq!(next.price.amount, Decimal::new(price + more, 3));
            let after = deliver(&outlet, &[whole(0, from)], &facts).expect("more of the same");
            let adds = after.net - before.as_ref().expect("it is taken").net;
            prop_assert!((next.adds - adds).abs() < dec!(0.000001), "{} and {adds}", next.adds);
        }
    }
}

/// Two bags that pay by the gram and share one fixed cost are one order of both: the days between are √(2·K / Σ h·λ), the
/// joint order of items that are always ordered together (Harris 1913 for the sum of both).
#[test]
fn two_bags_that_share_their_cost_are_one_order() {
    let drawn = Drawn {
        prices: vec![(20, 2900, 0), (20, 2900, 0), (20, 2900, 0)],
        rates: vec![20, 60, 5],
        freight: vec![(60_000, 0)],
        minimum: 0,
        payout: 0,
    };
    let mut facts = drawn.facts();
    facts.cartons[0].limit = grams(60_000);
    facts.cartons[0].inner = Size::mm(900, 900, 900);
    let grades = Drawn::grades();
    let bags = drawn.bags(&grades);
    let joint = joint(&bags[..2], &drawn.outlet(), &facts).expect("two bags");
    assert_eq!(joint.groups.len(), 1, "one fixed cost is less than two");
    // Freight 4.00, box 1.00, ten minutes 3.00, border 2.00.
    let fixed = dec!(10);
    // A bag is let grow to 100 g and 270 days, or 50 lb: each gram nets 0.02 less its part of the fixed cost.
    let most = |rate: Decimal| (dec!(100) + rate * dec!(270)).max(dec!(22679.6185));
    let holding = |rate: Decimal| (dec!(0.02) - fixed / most(rate)) * dec!(0.18) / dec!(365);
    let kept = holding(dec!(20)) * dec!(20) + holding(dec!(60)) * dec!(60);
    use rust_decimal::MathematicalOps;
    let days = (dec!(2) * fixed / kept).sqrt().expect("a root");
    assert!((joint.groups[0].ship.cycle_days - days).abs() < dec!(0.0001), "{days}");
    let parts: Vec<Decimal> = joint.groups[0].bags.iter().map(|(_, mass)| mass.grams().round()).collect();
    assert_eq!(parts, [(dec!(20) * days).round(), (dec!(60) * days).round()]);
}

#[test]
fn what_does_not_fill_is_not_compared() {
    let drawn = Drawn {
        prices: vec![(20, 2900, 0); 3],
        rates: vec![20, 60, 5],
        freight: vec![(6000, 0)],
        minimum: 0,
        payout: 0,
    };
    let grades = Drawn::grades();
    let mut bags = drawn.bags(&grades);
    bags[0].fill = None;
    bags[1].fill = bags[1].fill.map(|fill| FillRate { per_day: Mass::ZERO, ..fill });
    assert_eq!(joint(&bags, &drawn.outlet(), &drawn.facts()), None);
    assert_eq!(joint(&[], &drawn.outlet(), &drawn.facts()), None);
}
