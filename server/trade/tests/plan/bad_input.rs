//! Input that a plan has to speak up about.

use std::num::NonZeroUsize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use iso_currency::Currency;
use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::net::Closed;
use trade::outlet::{Drive, Way};
use trade::plan::{Limits, PinTrouble, Place, Plan, Planner, Proof, Trouble, margins};

use super::shop::{Instance, shop};
use super::solved;

fn id(lot: usize) -> LotId {
    LotId::new(format!("L{lot:03}"))
}

fn yard(index: usize) -> OutletId {
    OutletId::new(format!("yard-{index}"))
}

fn pin_troubles(plan: &Plan) -> Vec<(LotId, PinTrouble)> {
    let pin = |trouble: &Trouble| match trouble {
        Trouble::Pin { lot, why, .. } => Some((lot.clone(), why.clone())),
        _ => None,
    };
    plan.trouble.iter().filter_map(pin).collect()
}

/// The same problem without any pins has the same plan: the pins were dropped, and nothing else changed.
fn check_offered_without_pins(instance: &Instance, plan: &Plan) {
    let mut free = instance.clone();
    free.choices.pins.clear();
    assert_eq!(plan.total, solved(&free).total);
    assert_eq!(plan.proof, Proof::Optimal);
}

#[test]
fn nothing_to_plan() {
    let mut instance = shop(1, 5);
    instance.outlets.clear();
    let plan = solved(&instance);
    assert_eq!((plan.deliveries.len(), plan.kept.len(), plan.proof), (0, 5, Proof::Optimal));
    assert_eq!(plan.total, instance.lots.iter().map(|lot| lot.keep).sum::<Decimal>());
    assert_eq!(margins(&instance.problem(), &plan, &Limits::default()), []);

    let mut instance = shop(1, 0);
    assert_eq!(solved(&instance).total, dec!(0));
    assert_eq!(solved(&instance).trouble, []);
    instance.outlets.clear();
    assert_eq!(solved(&instance).total, dec!(0));
}

#[test]
fn a_grade_that_nobody_takes_is_named() {
    let mut instance = shop(1, 6);
    instance.lots[2].load.grade = GradeId::new("cracked-mirrors");
    let plan = solved(&instance);
    let expected = Trouble::NoOutlet { lot: id(2), grade: GradeId::new("cracked-mirrors") };
    assert_eq!(plan.trouble, std::slice::from_ref(&expected));
    assert_eq!(expected.to_string(), "No outlet's sheet has a price for cracked-mirrors, so L002 stays.");
    assert!(plan.kept.contains(&id(2)));
    let margins = margins(&instance.problem(), &plan, &Limits::default());
    assert!(margins.iter().all(|margin| margin.lot != id(2)), "there is no second choice");
}

#[test]
fn a_lot_without_mass_is_named_and_changes_nothing() {
    let mut instance = shop(1, 8);
    let without = {
        let mut fewer = instance.clone();
        fewer.lots.remove(3);
        solved(&fewer).total
    };
    instance.lots[3].load.mass = Mass::ZERO;
    instance.lots[3].keep = dec!(0);
    let plan = solved(&instance);
    assert_eq!(plan.trouble, [Trouble::NoMass { lot: id(3) }]);
    assert_eq!(plan.total, without);

    instance.lots[3].load.mass = Mass::from_grams(dec!(-5));
    let plan = solved(&instance);
    assert_eq!(plan.trouble, [Trouble::NegativeMass { lot: id(3), mass: Mass::from_grams(dec!(-5)) }]);
    assert_eq!(plan.total, without);
    assert!(plan.kept.contains(&id(3)));
}

#[test]
fn pins_that_cannot_be_are_named_with_the_reason() {
    let mut instance = shop(1, 8);
    let choices = &mut instance.choices;
    choices.pins.insert(id(0), Place::Outlet(OutletId::new("gone")));
    choices.pins.insert(LotId::new("sold"), Place::Keep);
    choices.pins.insert(id(1), Place::Outlet(yard(1)));
    choices.bars.insert((id(1), yard(1)));
    choices.pins.insert(id(2), Place::Outlet(yard(2)));
    choices.closed.insert(yard(2));
    let plan = solved(&instance);
    let expected = [
        (id(0), PinTrouble::NoSuchOutlet),
        (id(1), PinTrouble::Barred),
        (id(2), PinTrouble::OutletClosed),
        (LotId::new("sold"), PinTrouble::NoSuchLot),
    ];
    assert_eq!(pin_troubles(&plan), expected);
    check_offered_without_pins(&instance, &plan);
}

#[test]
fn a_pin_that_the_outlet_refuses_says_why() {
    let mut instance = shop(1, 8);
    instance.lots[4].load.grade = GradeId::new("cracked-mirrors");
    instance.choices.pins.insert(id(4), Place::Outlet(yard(0)));
    let plan = solved(&instance);
    let why = PinTrouble::Refused(Closed::NoQuote(GradeId::new("cracked-mirrors")));
    assert_eq!(pin_troubles(&plan), [(id(4), why)]);
    check_offered_without_pins(&instance, &plan);
    assert_eq!(
        plan.trouble.last().map(ToString::to_string).as_deref(),
        Some(
            "L004 is pinned to yard-0, but the outlet never takes it: its sheet has no price for cracked-mirrors. \
             The plan is made without this pin."
        )
    );
}

/// Two lots that make a minimum only together: one pinned to the outlet, the other kept.
#[test]
fn pins_that_contradict_each_other_are_named() {
    let mut instance = shop(1, 2);
    let grade = GradeId::new("copper-1");
    for lot in &mut instance.lots {
        lot.load.grade = grade.clone();
    }
    let outlet = instance.outlets.iter_mut().find(|outlet| outlet.quotes.contains_key(&grade)).unwrap();
    let both: Mass = instance.lots.iter().map(|lot| lot.load.mass).sum();
    outlet.terms.minimum_delivery = both;
    let place = Place::Outlet(outlet.id.clone());
    instance.choices.pins.insert(id(0), place.clone());
    let plan = solved(&instance);
    assert_eq!(plan.trouble, [], "the other lot comes along to make the minimum");
    assert_eq!(plan.deliveries[0].lots, [id(0), id(1)]);

    instance.choices.pins.insert(id(1), Place::Keep);
    let plan = solved(&instance);
    assert_eq!(pin_troubles(&plan), [(id(1), PinTrouble::Together)]);
    assert_eq!(plan.deliveries[0].lots, [id(0), id(1)], "the first pin is followed");
}

#[test]
fn costs_so_high_that_all_is_kept() {
    let mut instance = shop(2, 12);
    for outlet in &mut instance.outlets {
        outlet.terms.payout_fee = dec!(1_000_000);
    }
    let mut far = shop(2, 12).outlets.remove(0);
    far.id = OutletId::new("far");
    far.way = Way::Drive(Drive { distance_km: dec!(1_000_000), minutes: dec!(1_000_000) });
    instance.outlets.push(far);
    let plan = solved(&instance);
    assert_eq!(plan.trouble, [Trouble::NothingPays]);
    assert_eq!((plan.deliveries.len(), plan.kept.len(), plan.proof), (0, 12, Proof::Optimal));
}

#[test]
fn an_outlet_without_exchange_rate_is_named_and_gets_nothing() {
    let mut instance = shop(2, 12);
    instance.outlets[0].currency = Currency::JPY;
    let plan = solved(&instance);
    assert_eq!(plan.trouble, [Trouble::NoRate { outlet: yard(0), from: "JPY", to: "USD" }]);
    assert!(plan.deliveries.iter().all(|delivery| delivery.outlet != yard(0)));
}

/// The largest masses and amounts that the doors let in.
#[test]
fn huge_figures_do_not_panic() {
    let mut instance = shop(2, 6);
    for lot in &mut instance.lots {
        lot.load.mass = Mass::from_grams(trade::mass::HEAVIEST_GRAMS);
        lot.keep = trade::money::LARGEST_AMOUNT;
    }
    let problem = instance.problem();
    let mut planner = Planner::new(&problem);
    let plan = planner.solve(&Limits::nodes(200));
    let margins = planner.margins(&plan, &Limits::nodes(20));
    assert!(plan.total >= dec!(6) * trade::money::LARGEST_AMOUNT);
    assert!(margins.len() <= 6);
}

/// A fault in one of the threads ends the search: nobody waits for what will not come.
#[test]
fn a_search_that_breaks_off_on_another_thread_is_not_waited_for() {
    let instance = shop(2, 12);
    let problem = instance.problem();
    let mut planner = Planner::new(&problem);
    let plan = planner.solve(&Limits::default());
    let (here, whole) = (thread::current().id(), AtomicBool::new(true));
    // One of the two: the other goes on.
    let broken = || {
        assert!(thread::current().id() == here || !whole.swap(false, Ordering::Relaxed), "broken off");
        false
    };
    let threads = NonZeroUsize::MIN.saturating_add(1);
    let limits = Limits { stop: Some(&broken), threads, ..Limits::default() };
    let ended = catch_unwind(AssertUnwindSafe(|| planner.margins(&plan, &limits)));
    assert!(ended.is_err(), "they ask whether to stop");
}
