//! The demo shows something true on every screen. What it has to show is in the names of these tests.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use rust_decimal::{Decimal, dec};
use trade::history::ENOUGH;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::{Mass, MassUnit};
use trade::money::Money;
use trade::net::{Load, StepKind, deliver};
use trade::outlet::{Outlet, Way};
use trade::outlook::Outlook;
use trade::plan::{Limits, Place, Proof};

use super::scenario::Scenario;
use super::{load, load_scenario};
use crate::shelf::{Answer, Outlooks, Shelf};
use crate::store::cash::{CashEntry, Document, DocumentKind};
use crate::store::containers::ContainerKind;
use crate::store::lots::{Lot, LotState};
use crate::store::rates::RateRecord;
use crate::store::reservations::Reservation;
use crate::store::runs::Run;
use crate::store::sheets::PriceSheet;
use crate::store::shipments::{Shipment, ShipmentState};
use crate::store::shops::Shop;
use crate::store::weighings::{Weighing, WeighingKind};
use crate::store::{Place as StorePlace, Store};

/// The demo as it was loaded at one moment, and what the shop's screens say of it.
struct Demo {
    now: Timestamp,
    shelf: Shelf,
    answer: Arc<Answer>,
    /// The sheet that came in last, and the answer without it.
    latest: PriceSheet,
    answer_before: Arc<Answer>,
    lots: Vec<Lot>,
    ledgers: BTreeMap<LotId, Vec<Weighing>>,
    sheets: Vec<PriceSheet>,
    shipments: Vec<Shipment>,
    /// What was paid for each shipment that was lost or broken.
    claims: BTreeMap<String, Vec<CashEntry>>,
    runs: Vec<Run>,
    rates: Vec<RateRecord>,
}

const DAY: &str = "2026-05-11T15:00:00Z";

/// Loading and answering take a while, so all tests look at one demo.
static DEMO: LazyLock<Demo> = LazyLock::new(|| {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(Demo::at(DAY.parse().unwrap()))
});

/// The search ends by its work, not by the clock: how fast it is depends on what else the machine does. Margins are
/// told as far as one step of the search tells them.
fn answer(shelf: &Shelf) -> Arc<Answer> {
    let mut told = None;
    let for_margin = Limits::nodes(1);
    let outlooks = Outlooks::default();
    let answer = shelf.answer_within(&Limits::default(), Some(&for_margin), &outlooks, |plan| {
        told = Some((Arc::clone(plan), plan.margins().is_none()));
    });
    assert!(told.is_some_and(|(plan, early)| early && Arc::ptr_eq(&plan, &answer)), "the plan is told first");
    answer
}

/// A store of its own with the demo loaded as if it were `now`.
async fn loaded(now: Timestamp) -> (tempfile::TempDir, Store, Shop) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&StorePlace::File(folder.path().join("demo.db"))).await.unwrap();
    load(&store, now).await.unwrap_or_else(|error| panic!("{error}"));
    let shop = store.shops().await.unwrap().remove(0);
    (folder, store, shop)
}

impl Demo {
    async fn at(now: Timestamp) -> Demo {
        let (_folder, store, shop) = loaded(now).await;
        let today = now.to_zoned_datetime(shop.zone.clone()).date();
        let latest = store.latest_sheet(&shop.id, today).await.unwrap().unwrap();
        let shelf = Shelf::load(&store, &shop, now).await.unwrap();
        let before = Shelf::load_without(&store, &shop, now, Some(&latest.id)).await.unwrap();
        let lots = store.open_lots(&shop.id).await.unwrap();
        let mut ledgers = BTreeMap::new();
        for lot in &lots {
            ledgers.insert(lot.id.clone(), store.ledger(&shop.id, lot.id.as_str()).await.unwrap());
        }
        let shipments = store.shipments(&shop.id).await.unwrap();
        let mut claims = BTreeMap::new();
        for shipment in &shipments {
            let claim = Document::new(DocumentKind::Claim, &shipment.id);
            claims.insert(shipment.id.clone(), store.cash_of(&shop.id, &claim).await.unwrap());
        }
        let mut runs = Vec::new();
        for head in store.runs(&shop.id).await.unwrap() {
            runs.push(store.run(&shop.id, &head.id).await.unwrap());
        }
        Demo {
            now,
            answer: answer(&shelf),
            answer_before: answer(&before),
            latest,
            lots,
            ledgers,
            sheets: store.sheets(&shop.id, None).await.unwrap(),
            shipments,
            claims,
            runs,
            rates: store.rates(&shop.id).await.unwrap(),
            shelf,
        }
    }

    fn outlet(&self, name: &str) -> &Outlet {
        self.shelf.outlets.iter().find(|outlet| outlet.name == name).unwrap_or_else(|| panic!("no {name}"))
    }

    fn lot(&self, label: &str) -> &Lot {
        self.shelf
            .lots
            .iter()
            .find(|lot| lot.container_label == label)
            .unwrap_or_else(|| panic!("no {label}"))
    }

    /// All of the lot's grade that is on the shelf: one bag, for the gauge.
    fn bag(&self, grade: &GradeId) -> Mass {
        self.shelf.lots.iter().filter(|lot| lot.grade_id == *grade).map(|lot| lot.net).sum()
    }

    /// The mail-in buyer that leaves the grade's bag most in the long run: the one its gauge is about.
    fn best_mail_in(&self, grade: &GradeId) -> &Outlook {
        let mailed = self.answer.outlooks[grade].iter().filter(|way| self.is_mail_in(&way.outlet));
        mailed.max_by_key(|way| way.ship.as_ref().map(|ship| ship.per_day)).unwrap()
    }

    fn is_mail_in(&self, outlet: &OutletId) -> bool {
        matches!(self.shelf.outlet(outlet).unwrap().way, Way::Post(_))
    }
}

fn place_in(answer: &Answer, lot: &LotId) -> Place {
    let delivery = answer.plan.deliveries.iter().find(|delivery| delivery.lots.contains(lot));
    delivery.map_or(Place::Keep, |delivery| Place::Outlet(delivery.outlet.clone()))
}

#[test]
fn about_sixty_lots_of_many_grades_in_all_kinds_of_containers() {
    let grades: std::collections::BTreeSet<_> = DEMO.lots.iter().map(|lot| &lot.grade_id).collect();
    assert!((55..=75).contains(&DEMO.lots.len()), "{} lots", DEMO.lots.len());
    assert!(grades.len() >= 50, "{} grades", grades.len());
    for kind in ContainerKind::ALL {
        assert!(DEMO.lots.iter().any(|lot| lot.container_kind == kind), "no {}", kind.code());
    }
    for lot in &DEMO.lots {
        assert!(lot.net.is_positive(), "{} holds nothing", lot.container_label);
        assert!(!lot.source.is_empty(), "{} comes from nowhere", lot.container_label);
    }
    assert!(DEMO.lots.iter().filter(|lot| lot.pieces > 0).count() >= 5);
}

#[test]
fn weighings_lie_in_ten_weeks_of_working_hours_and_never_ahead() {
    let zone = TimeZone::get("America/Detroit").unwrap();
    let mut first = DEMO.now;
    for weighing in DEMO.ledgers.values().flatten() {
        let at = weighing.at.to_zoned_datetime(zone.clone());
        assert!((8..=19).contains(&at.hour()), "{} at {at}", weighing.typed);
        assert!(weighing.at < DEMO.now);
        first = first.min(weighing.at);
    }
    let weeks = DEMO.now.duration_since(first).as_hours() / (24 * 7);
    assert!((8..=11).contains(&weeks), "{weeks} weeks");
}

#[test]
fn readings_were_typed_in_the_forms_that_people_type() {
    let typed: Vec<&str> = DEMO.ledgers.values().flatten().map(|weighing| weighing.typed.as_str()).collect();
    for (form, holds) in [
        ("pounds and ounces", &(|t: &str| t.contains(" lb ") && t.ends_with(" oz")) as &dyn Fn(&str) -> bool),
        ("pounds and ounces, run together", &|t| {
            t.contains("lb") && t.ends_with(|c: char| c.is_ascii_digit())
        }),
        ("ounces", &|t| t.ends_with(" oz") && !t.contains("lb")),
        ("decimal pounds", &|t| t.contains('.') && t.ends_with(" lb")),
        ("a decimal comma", &|t| t.contains(',') && t.ends_with(" kg")),
        ("grams", &|t| t.ends_with(" g")),
        ("a bare number that was asked about", &|t| t == "2.5"),
    ] {
        assert!(typed.iter().any(|t| holds(t)), "no reading in {form}");
    }
    let undone =
        DEMO.ledgers.values().flatten().filter(|weighing| weighing.kind == WeighingKind::Undo).count();
    assert_eq!(undone, 1);
}

#[test]
fn a_bag_just_past_its_ship_weight_is_mailed() {
    let lot = DEMO.lot("Bag 1");
    let way = DEMO.best_mail_in(&lot.grade_id);
    let (bag, ship) = (DEMO.bag(&lot.grade_id), way.ship.as_ref().unwrap().weight);
    assert!(bag >= ship && bag < ship.times(dec!(1.1)), "{} of {}", pounds(bag), pounds(ship));
    assert_eq!(place_in(&DEMO.answer, &lot.id), Place::Outlet(way.outlet.clone()));
}

#[test]
fn a_bag_between_break_even_and_ship_weight_is_kept() {
    let lot = DEMO.lot("Bag 4");
    let way = DEMO.best_mail_in(&lot.grade_id);
    let (bag, ship) = (DEMO.bag(&lot.grade_id), way.ship.as_ref().unwrap().weight);
    let even = way.break_even.unwrap();
    assert!(even < bag && bag < ship, "{} < {} < {}", pounds(even), pounds(bag), pounds(ship));
    assert!(way.now.as_ref().unwrap().net > Decimal::ZERO, "mailing it would pay already");
    assert_eq!(place_in(&DEMO.answer, &lot.id), Place::Keep);
}

#[test]
fn the_last_sheet_moved_a_lot_to_another_outlet() {
    let lot = DEMO.lot("Bag 6");
    let (before, now) = (place_in(&DEMO.answer_before, &lot.id), place_in(&DEMO.answer, &lot.id));
    assert_eq!(now, Place::Outlet(DEMO.latest.outlet_id.clone()), "to where the sheet came from");
    assert!(matches!(&before, Place::Outlet(outlet) if *outlet != DEMO.latest.outlet_id), "from {before:?}");
}

#[test]
fn some_lots_are_best_kept_though_they_could_be_sold() {
    let lot = DEMO.lot("Bag 2");
    assert_eq!(place_in(&DEMO.answer, &lot.id), Place::Keep);
    assert!(DEMO.answer.worth[&lot.id] > Decimal::ZERO);
    let takers = &DEMO.answer.outlooks[&lot.grade_id];
    assert!(takers.iter().any(|way| way.now.as_ref().is_ok_and(|ladder| ladder.net > Decimal::ZERO)));
}

/// Port Ansel pays the most per pound for copper, but not after the drive.
#[test]
fn the_yard_with_the_highest_price_is_not_worth_its_drive() {
    let far = DEMO.outlet("Port Ansel Nonferrous");
    let copper: Vec<&Lot> = DEMO.shelf.lots.iter().filter(|lot| lot.family == "copper").collect();
    assert!(copper.len() >= 5);
    for lot in &copper {
        let price = |outlet: &Outlet| {
            let quote = outlet.quotes.get(&lot.grade_id)?.at(lot.net)?;
            Some(quote.price.per(MassUnit::Pound).amount)
        };
        let others = DEMO.shelf.outlets.iter().filter(|outlet| outlet.id != far.id);
        assert!(price(far) > others.filter_map(price).max(), "{} is not dearest there", lot.grade_name);
        let place = place_in(&DEMO.answer, &lot.id);
        assert!(place != Place::Outlet(far.id.clone()) && place != Place::Keep, "{}", lot.container_label);
    }
    // All the copper together would bring less there than at the yard in town, each with its own drive.
    let loads: Vec<Load> = copper.iter().filter_map(|lot| DEMO.shelf.load_of(&lot.id)).collect();
    let net = |outlet: &Outlet| deliver(outlet, &loads, &DEMO.shelf.facts).unwrap().net;
    assert!(net(far) < net(DEMO.outlet("Millrace Metals")));
}

#[test]
fn one_buyers_sheet_is_stale_and_others_are_fresh() {
    let today = DEMO.shelf.facts.today;
    let age = |name| (today - DEMO.outlet(name).sheet_date.unwrap()).get_days();
    assert!(age("Cinder Lane E-Scrap") > 14);
    assert!(age("Millrace Metals") <= 3 && age("Halyard Board Buyers") <= 3);
    assert!(DEMO.sheets.iter().all(|sheet| sheet.valid_from <= today && sheet.at < DEMO.now));
    let oldest = DEMO.sheets.iter().map(|sheet| sheet.valid_from).min().unwrap();
    assert!(((7 * 8)..=(7 * 9)).contains(&(today - oldest).get_days()), "eight weeks of sheets");
    for ending in [".csv", ".txt", ".xlsx"] {
        assert!(DEMO.sheets.iter().any(|sheet| sheet.file_name.ends_with(ending)), "no {ending}");
    }
}

#[test]
fn the_plan_is_proved_and_beats_what_shops_do_without_one() {
    let habits = &DEMO.answer.habits;
    let nearest = habits.nearest_yard.as_ref().unwrap();
    assert_eq!(nearest.deliveries[0].outlet, DEMO.outlet("Millrace Metals").id);
    assert!(DEMO.answer.plan.total > nearest.net() * dec!(1.2));
    for habit in [&habits.highest_price, &habits.every_bag_alone] {
        assert!(DEMO.answer.plan.total > habit.as_ref().unwrap().net());
    }
    assert_eq!(DEMO.answer.plan.proof, Proof::Optimal);
    assert!(DEMO.answer.margins().expect("margins").values().all(|margin| margin.margin >= Decimal::ZERO));
}

#[test]
fn one_shipment_is_settled_one_has_left_one_is_packed_and_two_are_lost() {
    let states: Vec<&ShipmentState> = DEMO.shipments.iter().map(|shipment| &shipment.state).collect();
    assert!(
        matches!(
            states.as_slice(),
            [
                ShipmentState::Packed { .. },
                ShipmentState::Sent { .. },
                ShipmentState::Lost { .. },
                ShipmentState::Settled { .. },
                ShipmentState::Lost { .. },
            ]
        ),
        "{states:?}"
    );
    assert!(DEMO.shipments.iter().all(|shipment| shipment.expected_net > Decimal::ZERO));
    let packed: Vec<&str> = DEMO
        .lots
        .iter()
        .filter(|lot| matches!(lot.state, LotState::Reserved { by: Reservation::Shipment(_) }))
        .map(|lot| lot.container_label.as_str())
        .collect();
    assert_eq!(packed, ["Bag 28", "Bag 27"]);
    assert!(DEMO.lots.iter().all(|lot| lot.container_label != "Bag 25"), "what was sent is gone");
}

/// The insured one brought what the buyer's list came to, and the freight.
#[test]
fn one_lost_parcel_is_paid_for_and_one_is_not() {
    let lost: Vec<&Shipment> = DEMO
        .shipments
        .iter()
        .filter(|shipment| matches!(shipment.state, ShipmentState::Lost { .. }))
        .collect();
    let paid: Vec<Vec<Money>> = lost
        .iter()
        .map(|shipment| DEMO.claims[&shipment.id].iter().map(|entry| entry.amount).collect())
        .collect();
    let at_sheet = |shipment: &Shipment| {
        let label = StepKind::SheetPrice.label();
        let step = shipment.expected.steps.iter().find(|step| step.label == label).unwrap();
        Money::new(step.home, DEMO.shelf.facts.costs.home).rounded()
    };
    let freight = Money::new(dec!(28.74), DEMO.shelf.facts.costs.home);
    assert_eq!(paid, [vec![], vec![at_sheet(lost[1]), freight]]);
    let others = DEMO.shipments.iter().filter(|shipment| lost.iter().all(|lost| lost.id != shipment.id));
    assert!(others.into_iter().all(|shipment| DEMO.claims[&shipment.id].is_empty()));
}

#[test]
fn a_yard_took_a_part_of_a_lot_and_the_rest_is_on_the_shelf() {
    let lot = DEMO.lot("Drum 5");
    let stops = DEMO.runs.iter().flat_map(|run| &run.stops);
    let of_it: Vec<_> =
        stops.flat_map(|stop| &stop.lots).filter(|loaded| loaded.container_label == "Drum 5").collect();
    let [home, taken] = match of_it.as_slice() {
        [one, other] if one.is_back => [*one, *other],
        [one, other] => [*other, *one],
        other => panic!("{other:?}"),
    };
    assert!(home.is_back && !taken.is_back);
    assert_eq!((&home.lot_id, home.net), (&lot.id, lot.net + taken.net));
    assert!(lot.net.is_positive() && taken.net > lot.net, "most of it was taken");
}

/// From eight settlements on, what was learned of an outlet's scale is what is allowed for.
#[test]
fn one_yard_has_settled_often_enough_for_its_own_tolerance() {
    let lead = GradeId::new("lead-soft");
    let enough = |outlet: &&Outlet| {
        let learned = outlet.learned.as_ref();
        learned.is_some_and(|learned| learned.usual_weight(&lead).is_some())
    };
    let usual: Vec<&Outlet> = DEMO.shelf.outlets.iter().filter(enough).collect();
    assert_eq!(usual.iter().map(|outlet| &*outlet.name).collect::<Vec<_>>(), ["Millrace Metals"]);
    let weight = usual[0].learned.as_ref().unwrap().about(&lead).paid_weight.unwrap();
    // Today's run comes after it was enough, and so did the last ticket.
    assert_eq!(weight.settlements, ENOUGH + 1);
    assert!(weight.low < dec!(0.995) && weight.mean < Decimal::ONE, "{weight:?}");
}

#[test]
fn canadian_dollars_have_a_rate_for_every_week() {
    assert!(DEMO.rates.len() >= 8);
    let newest = DEMO.rates[0].rate.date;
    assert!((DEMO.shelf.facts.today - newest).get_days() <= 7);
}

fn pounds(mass: Mass) -> String {
    format!("{} lb", mass.in_unit(MassUnit::Pound).round_dp(2))
}

#[tokio::test]
async fn loading_twice_loads_once() {
    let now: Timestamp = DAY.parse().unwrap();
    let (_folder, store, shop) = loaded(now).await;
    let counts = async || {
        let (lots, sheets) =
            (store.open_lots(&shop.id).await.unwrap(), store.sheets(&shop.id, None).await.unwrap());
        (lots.len(), sheets.len(), store.people(&shop.id).await.unwrap().len())
    };
    let before = counts().await;
    load(&store, now + 48.hours()).await.unwrap();
    assert_eq!(counts().await, before);
    assert!(store.check().await.unwrap().is_empty(), "ledgers add up, nothing stands in two places");
}

/// The last thing that is loaded goes wrong, and nothing of all that came before it is there.
#[tokio::test]
async fn a_load_that_fails_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&StorePlace::File(folder.path().join("demo.db"))).await.unwrap();
    let mut scenario = Scenario::read().unwrap();
    scenario.shipments.last_mut().unwrap().outlet = "Nobody".into();
    let failed = load_scenario(&store, &scenario, DAY.parse().unwrap()).await.unwrap_err();
    assert_eq!(failed.to_string(), "seed/demo/shipments.toml: Nobody is no outlet");
    assert!(store.shops().await.unwrap().is_empty());
}

/// Days count back from the day of loading, so the same is true on any other day; here just after midnight, with the
/// change to summer time among the weeks behind it.
#[tokio::test]
async fn on_another_day_the_shelf_is_the_same() {
    let now: Timestamp = "2027-04-02T04:30:00Z".parse().unwrap();
    let (_folder, store, shop) = loaded(now).await;
    let shelf = Shelf::load(&store, &shop, now).await.unwrap();
    let held = |shelf: &Shelf| -> BTreeMap<String, (Mass, u32)> {
        shelf.lots.iter().map(|lot| (lot.container_label.clone(), (lot.net, lot.pieces))).collect()
    };
    assert_eq!(held(&shelf), held(&DEMO.shelf));
    let filling = |shelf: &Shelf| -> BTreeMap<GradeId, Mass> {
        shelf.fill.iter().map(|(grade, fill)| (grade.clone(), fill.per_day)).collect()
    };
    assert_eq!(filling(&shelf), filling(&DEMO.shelf));
}
