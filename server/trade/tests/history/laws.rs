//! Laws: the terms stand where nothing was settled, order does not matter, more of the same narrows, nothing is infinite.

use std::collections::BTreeMap;
use std::sync::Arc;

use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use trade::history::{
    Days, Downgraded, Downgrades, Learned, PAYMENTS, Settled, SettledLoad, Spread, Strength, Weighed, Weights,
};
use trade::ids::{Family, GradeId, LotId};
use trade::mass::Mass;
use trade::money::Share;
use trade::net::{Ladder, Load, StepKind, deliver};
use trade::outlet::{Outlet, Terms};
use trade::volume::Volume;

use super::{TODAY, facts, grades, kilograms, settled, terms, yard};

fn loads() -> Vec<Load> {
    let load = |grade: &str, kg: Decimal| Load {
        lot: LotId::new(grade),
        grade: GradeId::from(grade),
        mass: kilograms(kg),
        pieces: 0,
        volume: Volume::from_cm3(dec!(1000)),
    };
    vec![load("copper-1", dec!(12.5)), load("copper-2", dec!(30)), load("board-high", dec!(8.25))]
}

fn ladder(outlet: &Outlet) -> Ladder {
    deliver(outlet, &loads(), &facts()).expect("it takes all three")
}

fn learned(terms: Terms, history: &[Settled]) -> Outlet {
    let learned = Learned::from_settlements(&terms, history, &grades()).map(Arc::new);
    Outlet { learned, ..yard(terms) }
}

/// Worked by hand. Two settlements of copper at 0.96 and 0.98: the copper's two count 2 · 8/(8 + 2) = 1.6 for the outlet,
/// whose mean is (8 · 0.99 + 1.6 · 0.97)/9.6 = 0.986667; copper's own is 0.8 of that and 0.2 of 0.97, so 0.9833. Boards,
/// never settled, are expected as the outlet. Downgrades: one of two, (0.8 + 1.6 · 0.5)/9.6 = 0.166667, copper's 0.8 of
/// that and 0.1; its drop: one observation of 30 % beside the estimate of 20 %, 8/9 of it for the outlet. Days: (4 · 10 + 16 + 20)/6.
#[test]
fn figures_by_hand() {
    let history = [settled("copper", dec!(0.96), true, 16), settled("copper", dec!(0.98), false, 20)];
    let outlet = learned(terms(), &history);
    let learned = outlet.learned.clone().expect("two settlements");
    let copper = learned.about(&"copper-1".into());
    let boards = learned.about(&"board-high".into());
    assert_eq!(copper.paid_weight.expect("weights").mean, dec!(0.9833));
    assert_eq!(boards.paid_weight.expect("weights").mean, dec!(0.9867));
    assert_eq!(copper.downgraded.expect("loads").mean, dec!(0.2333));
    assert_eq!(boards.downgraded.expect("loads").mean, dec!(0.1667));
    // The outlet's drop: (8 · 0.2 + (1 · 8/9) · 0.3)/(8 + 8/9) = 0.21; copper's 8/9 of it and 1/9 of 0.3.
    assert_eq!(copper.drop, dec!(0.22));
    assert_eq!(learned.days().expect("payments").mean, dec!(12.7));
    assert_eq!(learned.days().expect("payments").settlements, 2);

    let ladder = ladder(&outlet);
    let weight = ladder.step(StepKind::LearnedWeight).expect("a step of its own");
    // (42.5 · 0.0167 + 8.25 · 0.0133) · 6.50
    assert_eq!(weight.home, dec!(-5.3265875));
    assert!(weight.working.starts_with("learned from 2 settlements: boards they weigh 98.67 %"));
    assert!(weight.working.contains("80 % between"), "{}", weight.working);
    assert!(ladder.step(StepKind::LearnedDowngrade).is_some());
    assert!(ladder.step(StepKind::LearnedWaiting).is_some());
    assert_eq!(ladder.steps.iter().map(|step| step.home).sum::<Decimal>(), ladder.net);
    for kind in [StepKind::PaidWeight, StepKind::Downgrade, StepKind::Waiting] {
        assert_eq!(ladder.step(kind), None);
    }
}

#[test]
fn with_nothing_settled_every_figure_is_the_terms() {
    let plain = ladder(&yard(terms()));
    assert_eq!(Learned::from_settlements(&terms(), &[], &grades()), None);
    // A settlement that says nothing is none.
    let silent = Settled { left: TODAY, known: TODAY, days_to_pay: None, loads: vec![] };
    assert_eq!(ladder(&learned(terms(), &[silent])), plain);
    // One that was only paid says nothing of weights and grades.
    let paid = Settled { left: TODAY, known: TODAY, days_to_pay: Some(10), loads: vec![] };
    let paid = ladder(&learned(terms(), &[paid]));
    assert_eq!(paid.net, plain.net);
    assert_eq!(paid.step(StepKind::PaidWeight), plain.step(StepKind::PaidWeight));
    assert_eq!(paid.step(StepKind::Downgrade), plain.step(StepKind::Downgrade));
    assert!(paid.step(StepKind::LearnedWaiting).is_some());
}

#[test]
fn three_settlements_do_not_swing_a_plan() {
    // Three times a tenth short: the terms, which count as four, hold more than half.
    let history = [(); 3].map(|()| settled("copper", dec!(0.89), false, 10));
    let outlet = learned(terms(), &history);
    let weight = outlet.paid_weight(&"copper-1".into());
    assert!(weight > dec!(0.94) && weight < dec!(0.99), "{weight}");
    // Thirty of them are believed.
    let history = [(); 30].map(|()| settled("copper", dec!(0.89), false, 10));
    let weight = learned(terms(), &history).paid_weight(&"copper-1".into());
    assert!(weight < dec!(0.91), "{weight}");
    // Boards follow, but less.
    let boards = learned(terms(), &history).paid_weight(&"board-high".into());
    assert!(weight < boards && boards < dec!(0.99), "{boards}");
}

#[test]
fn slips_of_the_pen_teach_nothing() {
    let good = settled("copper", dec!(0.97), false, 10);
    let expected = learned(terms(), std::slice::from_ref(&good)).paid_weight(&"copper-1".into());
    for theirs in [dec!(0), dec!(-20_000), dec!(20_000_000)] {
        let mut slip = settled("copper", dec!(1), false, 10);
        for load in &mut slip.loads {
            load.weights =
                load.weights.map(|weighed| Weighed { theirs: Mass::from_grams(theirs), ..weighed });
        }
        let weight = learned(terms(), &[good.clone(), slip]).paid_weight(&"copper-1".into());
        assert_eq!(weight, expected, "{theirs}");
    }
}

#[test]
fn a_yard_that_pays_at_the_scale_is_expected_to() {
    let terms = Terms { days_to_pay: 0, ..terms() };
    let at_once = learned(terms, &[settled("copper", dec!(1), false, 0)]);
    let days = at_once.learned.as_ref().and_then(|learned| learned.days()).expect("a payment");
    assert_eq!((days.mean, days.low, days.high), (dec!(0), dec!(0), dec!(0)));
    assert_eq!(ladder(&at_once).step(StepKind::LearnedWaiting), None);
    let late = learned(terms, &[settled("copper", dec!(1), false, 5)]);
    assert_eq!(late.days_to_pay(), dec!(1));
}

fn one_family() -> Family {
    Family::from("copper")
}

fn ratios() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(0.85..1.1f64, 0..12)
}

fn weights(ratios: &[f64]) -> Weights {
    let ratios = BTreeMap::from([(one_family(), ratios.to_vec())]);
    Weights::learn(1.0, &ratios, Strength::STANDARD, Spread::STANDARD)
}

fn width((low, high): (f64, f64)) -> f64 {
    high - low
}

fn any_settled() -> impl Strategy<Value = Settled> {
    let family = prop::sample::select(vec!["copper", "boards", "wire"]);
    let grams = -1_000_000i64..100_000_000;
    let load = (family, grams.clone(), grams, 0u32..=1000, 0u32..=1000).prop_map(
        |(family, ours, theirs, part, drop)| SettledLoad {
            family: Family::from(family),
            weights: (part % 5 != 0).then(|| Weighed {
                ours: Mass::from_grams(ours.into()),
                theirs: Mass::from_grams(theirs.into()),
            }),
            downgraded: Share::new(Decimal::new(part.into(), 3)).expect("a share"),
            drop: Share::new(Decimal::new(drop.into(), 3)).expect("a share"),
        },
    );
    let days = prop::option::of(prop_oneof![0u32..60, Just(0), Just(u32::MAX)]);
    (prop::collection::vec(load, 0..4), days).prop_map(|(loads, days_to_pay)| Settled {
        left: TODAY,
        known: TODAY,
        days_to_pay,
        loads,
    })
}

proptest! {
    #[test]
    fn more_of_the_same_narrows(ratios in ratios(), days in prop::collection::vec(1.0..60.0f64, 0..8)) {
        let before = weights(&ratios);
        let family = one_family();
        let mean = before.mean(Some(&family));
        // What lies where it was expected takes nothing away from what is known.
        let mut more = ratios.clone();
        more.push(mean);
        let after = weights(&more);
        prop_assert!(width(after.next(Some(&family))) < width(before.next(Some(&family))));
        prop_assert!((after.mean(Some(&family)) - mean).abs() < 0.02);

        // A hundred more are nearly the whole of it.
        let many: Vec<f64> = days.iter().copied().chain([20.0; 100]).collect();
        let known = Days::learn(20.0, &many, f64::from(PAYMENTS));
        prop_assert!(width(known.next()) < width(Days::learn(20.0, &[], f64::from(PAYMENTS)).next()));
        prop_assert!((known.mean - 20.0).abs() < 5.0);

        let load = |part: f64| Downgraded { part, drop: 0.3 };
        let of = |count: usize| {
            let loads = (0..count).map(|n| load(f64::from(u8::from(n % 5 == 0)))).collect();
            Downgrades::learn(load(0.2), &BTreeMap::from([(one_family(), loads)]), Strength::STANDARD)
        };
        let share = |count| width(of(count).share(Some(&one_family())));
        prop_assert!(share(5 * (days.len() + 1)) < share(5 * days.len()));
    }

    #[test]
    fn the_order_of_settlements_does_not_matter(
        history in prop::collection::vec(any_settled(), 0..8).prop_flat_map(|history| {
            (Just(history.clone()), Just(history).prop_shuffle())
        })
    ) {
        let (one, other) = history;
        let of = |history: &[Settled]| Learned::from_settlements(&terms(), history, &grades());
        prop_assert_eq!(of(&one), of(&other));
    }

    #[test]
    fn nothing_is_infinite(history in prop::collection::vec(any_settled(), 0..10)) {
        let outlet = learned(terms(), &history);
        let ladder = ladder(&outlet);
        prop_assert_eq!(ladder.steps.iter().map(|step| step.home).sum::<Decimal>(), ladder.net);
        let Some(learned) = &outlet.learned else { return Ok(()) };
        for family in [None, Some(&one_family()), Some(&Family::from("wire"))] {
            let expected = learned.of_family(family);
            if let Some(weight) = expected.paid_weight {
                prop_assert!(weight.low <= weight.mean && weight.mean <= weight.high, "{:?}", weight);
                prop_assert!(weight.mean > Decimal::ZERO && weight.mean <= Decimal::TWO);
            }
            if let Some(share) = expected.downgraded {
                prop_assert!(share.low <= share.mean && share.mean <= share.high, "{:?}", share);
                prop_assert!(share.low >= Decimal::ZERO && share.high <= Decimal::ONE);
            }
        }
        let range = learned.net(&ladder, &outlet, &facts());
        prop_assert!(range.holds(ladder.net), "{:?} {}", range, ladder.net);
        let payout = learned.payout(&ladder.lines, &outlet);
        prop_assert!(payout.holds(ladder.payout.amount));
        if let Some(days) = learned.days() {
            prop_assert!(days.low >= Decimal::ZERO && days.low <= days.high);
        }
    }
}
