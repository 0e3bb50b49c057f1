//! What would change the plan, against brute force: on either side of every turn all plans are tried.

use rust_decimal::prelude::Signed;
use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, LotId};
use trade::mass::Mass;
use trade::money::Price;
use trade::net::Load;
use trade::plan::{
    Limits, MassTurn, OutletTurn, Plan, PlanLot, Planner, PriceTurn, Proof, Reached, Turns, Way,
};
use trade::quote::{Quote, Quotes};
use trade::volume::Volume;

use super::brute::Brute;
use super::everything::everything;
use super::shop::{Instance, shop};
use super::{near, place_of, without_dropped_pins};

fn planned(instance: &Instance) -> (Plan, Turns) {
    let problem = instance.problem();
    let mut planner = Planner::new(&problem);
    let plan = planner.solve(&Limits::default());
    let turns = planner.turns(&plan, &Limits::default());
    (plan, turns)
}

fn optimum(instance: &Instance, may: impl Fn(usize, usize) -> bool) -> Option<Decimal> {
    let brute = Brute::new(instance.problem());
    let pin = |lot: usize| {
        let pinned = instance.choices.pins.get(&instance.lots[lot].load.lot);
        pinned.and_then(|place| brute.index(place))
    };
    brute.optimum(|lot, place| {
        brute.allowed(lot, place) && pin(lot).is_none_or(|pinned| pinned == place) && may(lot, place)
    })
}

/// The best of the plans that send something to the outlet.
fn optimum_with(instance: &Instance, site: usize, among: impl Fn(usize) -> bool) -> Option<Decimal> {
    let there = |lot: usize| optimum(instance, |other, place| other != lot || place == site);
    (0..instance.lots.len()).filter(|&lot| among(lot)).filter_map(there).max()
}

fn site(instance: &Instance, id: &trade::ids::OutletId) -> usize {
    instance.outlets.iter().position(|outlet| outlet.id == *id).unwrap()
}

fn check_outlet(seed: u64, instance: &Instance, plan: &Plan, turn: &OutletTurn) {
    let site = site(instance, &turn.outlet);
    let is_open = plan.deliveries.iter().any(|delivery| delivery.outlet == turn.outlet);
    assert_eq!(turn.is_open, is_open, "seed {seed}");
    let other = if is_open {
        optimum(instance, |_, place| place != site)
    } else {
        optimum_with(instance, site, |_| true)
    };
    let by = plan.total - other.unwrap();
    assert!(near(turn.by, by), "seed {seed} {}: {} by brute force {by}", turn.outlet, turn.by);
    assert!(!turn.lots.is_empty());
}

fn with_price(instance: &Instance, turn: &PriceTurn, by: Decimal) -> Instance {
    let mut moved = instance.clone();
    let at = site(instance, &turn.outlet);
    let quotes = moved.outlets[at].quotes.get_mut(&turn.grade).unwrap();
    let tiers = quotes.tiers().iter().map(|quote| {
        let price = Price { amount: quote.price.amount + by, ..quote.price };
        Quote { price, ..*quote }
    });
    *quotes = Quotes::new(tiers.collect::<Vec<_>>()).unwrap();
    moved
}

/// What the plan as it stands is worth at other prices.
fn worth(plan: &Plan, instance: &Instance) -> Decimal {
    let kept = |lot: &&PlanLot| plan.kept.contains(&lot.load.lot);
    let kept: Decimal = instance.lots.iter().filter(kept).map(|lot| lot.keep).sum();
    let nets = plan.deliveries.iter().map(|delivery| {
        let outlet = &instance.outlets[site(instance, &delivery.outlet)];
        let loads: Vec<Load> = instance
            .lots
            .iter()
            .filter(|lot| delivery.lots.contains(&lot.load.lot))
            .map(|lot| lot.load.clone())
            .collect();
        trade::net::deliver(outlet, &loads, &instance.facts).unwrap().net
    });
    kept + nets.sum::<Decimal>() + plan.tours.iter().map(|tour| tour.saved).sum::<Decimal>()
}

/// Prices are told rounded away from what they are: there another plan is at least as good, and well before it none is
/// better.
fn check_price(seed: u64, instance: &Instance, plan: &Plan, turn: &PriceTurn) {
    let by = turn.then.amount - turn.now.amount;
    assert_eq!(by > Decimal::ZERO, turn.way == Way::Up, "seed {seed}: {turn:?}");
    let at = with_price(instance, turn, by);
    let best = optimum(&at, |_, _| true).unwrap();
    let as_is = worth(plan, &at);
    assert!(best >= as_is, "seed {seed}: {turn:?}");
    // A little further on, the plan is beaten.
    let past = with_price(instance, turn, by + by.signum() * dec!(0.001));
    let beaten = optimum(&past, |_, _| true).unwrap() - worth(plan, &past);
    assert!(beaten > dec!(0.0000001), "seed {seed}: {turn:?} beaten by {beaten}");
    for part in [dec!(0.5), dec!(0.9)] {
        let before = with_price(instance, turn, by * part);
        if (by * part - by).abs() > dec!(0.0001) {
            let best = optimum(&before, |_, _| true).unwrap();
            let as_is = worth(plan, &before);
            assert!((best - as_is).abs() < dec!(0.00001), "seed {seed}: {turn:?} at {part}: {best} {as_is}");
        }
    }
}

fn with_more(instance: &Instance, grade: &GradeId, extra: Mass) -> Instance {
    let mut more = instance.clone();
    let lots = || instance.lots.iter().filter(|lot| lot.load.grade == *grade && lot.load.mass.is_positive());
    let mass: Mass = lots().map(|lot| lot.load.mass).sum();
    let share = extra.grams() / mass.grams();
    let load = Load {
        lot: LotId::new("more"),
        grade: grade.clone(),
        mass: extra,
        pieces: 0,
        volume: Volume::from_cm3(lots().map(|lot| lot.load.volume.cm3()).sum::<Decimal>() * share),
    };
    more.lots.push(PlanLot { load, keep: lots().map(|lot| lot.keep).sum::<Decimal>() * share });
    more
}

/// With the extra mass some best plan reaches it, and with a little less none does.
fn check_mass(seed: u64, instance: &Instance, turn: &MassTurn) {
    let at = site(instance, &turn.outlet);
    let reaches = |extra: Mass| {
        let more = with_more(instance, &turn.grade, extra);
        let best = optimum(&more, |_, _| true).unwrap();
        let with = match turn.reached {
            Reached::Opens => optimum_with(&more, at, |_| true),
            Reached::Tier(from) => {
                // All sets of the grade's lots that come to the tier.
                let lots: Vec<usize> =
                    (0..more.lots.len()).filter(|&lot| more.lots[lot].load.grade == turn.grade).collect();
                let sets = (1usize..1 << lots.len()).filter_map(|bits| {
                    let set: Vec<usize> =
                        (0..lots.len()).filter(|at| bits >> at & 1 == 1).map(|at| lots[at]).collect();
                    let mass: Mass = set.iter().map(|&lot| more.lots[lot].load.mass).sum();
                    (mass >= from)
                        .then(|| optimum(&more, |lot, place| !set.contains(&lot) || place == at))
                        .flatten()
                });
                sets.max()
            }
        };
        with.is_some_and(|with| (best - with).abs() < dec!(0.0000001))
    };
    assert!(reaches(turn.extra), "seed {seed}: {turn:?}");
    let step = (turn.extra.grams() / dec!(64)).max(Decimal::ONE);
    let less = turn.extra.grams() - step;
    if less > Decimal::ZERO {
        assert!(!reaches(Mass::from_grams(less.floor())), "seed {seed}: {turn:?} with {less}");
    }
}

#[test]
fn outlets_turn_where_brute_force_says() {
    let (mut open, mut shut) = (0, 0);
    for seed in 0..400 {
        let drawn = everything(seed, 1 + seed as usize % 6, 1 + seed as usize % 4);
        let (plan, turns) = planned(&drawn);
        let instance = without_dropped_pins(&drawn, &plan);
        assert!(turns.complete, "seed {seed}");
        for turn in &turns.outlets {
            check_outlet(seed, &instance, &plan, turn);
            if turn.is_open { open += 1 } else { shut += 1 }
        }
    }
    assert!(open > 100 && shut > 100, "{open} open, {shut} shut");
}

#[test]
fn prices_turn_where_brute_force_says() {
    let (mut up, mut down) = (0, 0);
    for seed in 0..400 {
        let drawn = everything(seed, 1 + seed as usize % 6, 1 + seed as usize % 4);
        let (plan, turns) = planned(&drawn);
        let instance = without_dropped_pins(&drawn, &plan);
        for turn in &turns.prices {
            check_price(seed, &instance, &plan, turn);
            if turn.way == Way::Up { up += 1 } else { down += 1 }
        }
    }
    assert!(up > 50 && down > 50, "{up} up, {down} down");
}

#[test]
fn masses_turn_where_brute_force_says() {
    let (mut opens, mut tiers) = (0, 0);
    for seed in 0..300 {
        let drawn = everything(seed, 1 + seed as usize % 6, 1 + seed as usize % 4);
        let (plan, turns) = planned(&drawn);
        let instance = without_dropped_pins(&drawn, &plan);
        for turn in &turns.masses {
            check_mass(seed, &instance, turn);
            if turn.reached == Reached::Opens { opens += 1 } else { tiers += 1 }
        }
    }
    assert!(opens > 15 && tiers > 15, "{opens} opens, {tiers} tiers");
}

/// What is found does not depend on how it is searched for.
#[test]
fn a_shelf_as_shops_have_it() {
    let instance = shop(2, 40);
    let (plan, turns) = planned(&instance);
    assert_eq!(plan.proof, Proof::Optimal);
    assert!(turns.complete);
    assert_eq!(turns.outlets.iter().filter(|turn| turn.is_open).count(), plan.deliveries.len());
    assert!(turns.outlets.iter().any(|turn| !turn.is_open));
    assert!(!turns.prices.is_empty() && !turns.masses.is_empty());
    for turn in &turns.outlets {
        // Forcing the outlet shut by the partners' own choice is a problem of its own.
        if turn.is_open {
            let mut shut = instance.clone();
            shut.choices.closed.insert(turn.outlet.clone());
            assert!(near(plan.total - turn.by, super::solved(&shut).total), "{turn:?}");
        }
    }
    for turn in &turns.prices {
        let by = turn.then.amount - turn.now.amount;
        let nearly = with_price(&instance, turn, by * dec!(0.98));
        assert!(near(super::solved(&nearly).total, worth(&plan, &nearly)), "{turn:?}");
        let past = with_price(&instance, turn, by * dec!(1.02));
        assert!(super::solved(&past).total > worth(&plan, &past) + super::EQUAL, "{turn:?}");
    }
    for turn in &turns.masses {
        let more = with_more(&instance, &turn.grade, turn.extra);
        let with = super::solved(&more);
        let there = with.deliveries.iter().find(|delivery| delivery.outlet == turn.outlet);
        assert!(there.is_some(), "{turn:?}");
        assert!(place_of(&more, &with, &more.lots[0].load.lot) <= more.outlets.len());
    }
}

/// A plan that is not proved best has nothing that could be said to change it.
#[test]
fn nothing_is_said_of_a_plan_that_is_not_proved() {
    let instance = shop(3, 40);
    let problem = instance.problem();
    let mut planner = Planner::new(&problem);
    let plan = planner.solve(&Limits::nodes(0));
    assert_eq!(planner.turns(&plan, &Limits::default()), Turns::default());
    let best = planner.solve(&Limits::default());
    let stop = || true;
    let stopped = planner.turns(&best, &Limits { stop: Some(&stop), ..Limits::nodes(1_000) });
    assert!(!stopped.complete && stopped.prices.is_empty() && stopped.masses.is_empty());
}
