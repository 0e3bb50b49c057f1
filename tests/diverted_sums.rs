//! The sums of what left by month and family: whatever is done, they are what the ledgers come to.

use std::collections::BTreeMap;

use jiff::civil::{Date, date};
use pennyweight::store::containers::{ContainerDetails, ContainerKind};
use pennyweight::store::lots::{Lot, LotState, Part, Target};
use pennyweight::store::shipments::{Back, Shipment, ShipmentState};
use pennyweight::store::weighings::WeighingKind;
use pennyweight::store::{By, Store, StoreError, new_id};
use trade::ids::OutletId;
use trade::mass::Mass;

use crate::common::market::{ago, buyer};
use crate::common::{TestShop, mass, on_both};
use crate::runs::{gate, on_the_way, save, yards};

on_both![
    whatever_is_done_the_sums_are_those_of_the_ledgers,
    what_a_yard_took_a_part_of_counts_as_that_part,
    a_record_from_before_the_sums_has_them_after_its_next_start,
    a_sum_that_is_wrong_is_found,
];

/// Numbers that look random and are the same on every run: the multiplier and modulus of Lewis, Goodman and Miller
/// (1969), from memory.
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0 * 16_807 % 2_147_483_647;
        usize::try_from(self.0).expect("a small number") % bound
    }

    fn one_of<'a, T>(&mut self, things: &'a [T]) -> Option<&'a T> {
        if things.is_empty() { None } else { Some(&things[self.below(things.len())]) }
    }
}

type Sums = BTreeMap<(Date, String), Mass>;

/// What left by month and family, added up from the ledger of every lot that there ever was.
async fn of_the_ledgers(shop: &TestShop) -> Sums {
    let zone = shop.shop().await.zone;
    let lots: Vec<(String,)> =
        sqlx::query_as("SELECT id FROM lots").fetch_all(&mut shop.connect().await).await.expect("all lots");
    let mut sums = Sums::new();
    for (lot,) in lots {
        let family = shop.lot(&lot).await.family;
        for row in shop.store.ledger(&shop.id, &lot).await.expect("a ledger") {
            if matches!(row.kind, WeighingKind::Sent | WeighingKind::Returned) {
                let month = row.at.to_zoned_datetime(zone.clone()).date().first_of_month();
                *sums.entry((month, family.clone())).or_insert(Mass::ZERO) += -row.net;
            }
        }
    }
    sums.retain(|_, mass| !mass.is_zero());
    sums
}

/// The same as the page has it.
async fn of_the_page(shop: &TestShop) -> Sums {
    let (first, last) = (date(2000, 1, 1), date(2100, 1, 1));
    let months = shop.store.diverted_months(&shop.id, first, last).await.expect("months");
    let mut sums = Sums::new();
    let (mut families, mut years): (BTreeMap<String, Mass>, BTreeMap<i16, Mass>) = Default::default();
    for month in months {
        for (family, mass) in month.families {
            *families.entry(family.clone()).or_insert(Mass::ZERO) += mass;
            *years.entry(month.month.year()).or_insert(Mass::ZERO) += mass;
            sums.insert((month.month, family), mass);
        }
    }
    let all: BTreeMap<String, Mass> =
        shop.store.diverted_families(&shop.id).await.expect("families").into_iter().collect();
    assert_eq!(all, families, "families are their months");
    let by_year = shop.store.diverted_years(&shop.id).await.expect("years");
    assert_eq!(by_year.iter().map(|of| (of.year, of.total)).collect::<BTreeMap<_, _>>(), years);
    sums.retain(|_, mass| !mass.is_zero());
    sums
}

const GRADES: [&str; 4] = ["board-set-top", "board-console", "copper-2", "brass-yellow"];
const ZONES: [&str; 4] = ["America/Detroit", "Asia/Kolkata", "Pacific/Auckland", "UTC"];
const FAMILIES: [&str; 2] = ["brass", "copper"];

struct Doing<'a> {
    shop: &'a TestShop,
    outlet: OutletId,
    dice: Dice,
    labels: usize,
}

impl Doing<'_> {
    fn label(&mut self) -> String {
        self.labels += 1;
        format!("Bag {}", self.labels)
    }

    /// Somebody, on a day of the last two years.
    fn by(&mut self) -> By {
        By { at: ago(i32::try_from(self.dice.below(700)).expect("a few days")), ..self.shop.by() }
    }

    async fn open_lot(&mut self) -> Option<Lot> {
        let lots = self.shop.store.open_lots(&self.shop.id).await.expect("lots");
        let open: Vec<Lot> =
            lots.into_iter().filter(|lot| lot.state == LotState::Open && lot.net.is_positive()).collect();
        self.dice.one_of(&open).cloned()
    }

    async fn shipment(&mut self, is: impl Fn(&ShipmentState) -> bool) -> Option<Shipment> {
        let mut all = self.shop.store.shipments(&self.shop.id).await.expect("shipments");
        all.retain(|shipment| is(&shipment.state));
        self.dice.one_of(&all).cloned()
    }

    async fn fill(&mut self) -> Option<()> {
        let (label, grade) = (self.label(), GRADES[self.dice.below(GRADES.len())]);
        self.shop.filled(&label, grade, &format!("{} g", 1_000 + self.dice.below(9_000))).await;
        Some(())
    }

    async fn send(&mut self) -> Option<()> {
        let lot = self.open_lot().await?;
        let days = i32::try_from(self.dice.below(700)).expect("a few days");
        self.shop.sent(&[lot.id.as_str()], &self.outlet, days).await;
        Some(())
    }

    async fn send_two(&mut self) -> Option<()> {
        let (one, two) = (self.open_lot().await?, self.open_lot().await?);
        if one.id == two.id {
            return None;
        }
        let id = self.shop.packed(&[one.id.as_str(), two.id.as_str()], &self.outlet, 0).await;
        let (by, bags) = (self.by(), [one.container_id]);
        self.shop.store.send_shipment_with(&by, &id, 1, &bags).await.expect("it leaves");
        Some(())
    }

    async fn bring_back(&mut self) -> Option<()> {
        let shipment = self.shipment(ShipmentState::is_out).await?;
        let lots = self.shop.store.shipment_lots(&self.shop.id, &shipment.id).await.expect("its lots");
        let there: Vec<_> = lots.into_iter().filter(|lot| !lot.is_back).collect();
        let lot = self.dice.one_of(&there)?;
        let label = (self.dice.below(2) == 0).then(|| self.label());
        let (by, back) = (self.by(), Back { lot: lot.lot_id.clone(), label });
        match self.shop.store.return_shipment(&by, &shipment.id, shipment.version, &[back]).await {
            Ok(()) => Some(()),
            // Its bag has another lot in it by now.
            Err(StoreError::Lot(_)) => None,
            Err(other) => panic!("{other}"),
        }
    }

    async fn lose(&mut self) -> Option<()> {
        let shipment = self.shipment(ShipmentState::is_out).await?;
        let by = self.by();
        self.shop.store.lose_shipment(&by, &shipment.id, shipment.version).await.expect("it is lost");
        Some(())
    }

    async fn find(&mut self) -> Option<()> {
        let shipment = self.shipment(|state| matches!(state, ShipmentState::Lost { .. })).await?;
        let by = self.by();
        self.shop.store.find_shipment(&by, &shipment.id, shipment.version).await.expect("it is found");
        Some(())
    }

    async fn regrade(&mut self) -> Option<()> {
        let lot = self.open_lot().await?;
        let grade = GRADES[self.dice.below(GRADES.len())];
        let by = self.by();
        self.shop.store.regrade(&by, lot.id.as_str(), lot.version, &grade.into()).await.expect("regraded");
        Some(())
    }

    async fn split(&mut self) -> Option<()> {
        let lot = self.open_lot().await?;
        let details = ContainerDetails { label: self.label(), kind: ContainerKind::Bag, tare: Mass::ZERO };
        let part = Part {
            lot_id: lot.id.as_str(),
            new_lot_id: &new_id(),
            mass: mass("300 g"),
            pieces: 0,
            typed: "300 g",
        };
        if lot.net <= part.mass {
            return None;
        }
        let by = self.by();
        self.shop.store.split(&by, &part, Target::New { id: new_id(), details }).await.expect("it is split");
        Some(())
    }

    async fn merge(&mut self) -> Option<()> {
        let (from, into) = (self.open_lot().await?, self.open_lot().await?);
        if from.id == into.id || from.grade_id != into.grade_id {
            return None;
        }
        let by = self.by();
        self.shop.store.merge(&by, from.id.as_str(), into.id.as_str()).await.expect("merged");
        Some(())
    }

    async fn undo(&mut self) -> Option<()> {
        let lot = self.open_lot().await?;
        let weighing = self.shop.put(lot.id.as_str(), "100 g").await;
        let by = self.by();
        self.shop.store.undo_weighing(&by, &weighing).await.expect("undone");
        Some(())
    }

    async fn take_apart(&mut self) -> Option<()> {
        let lot = self.open_lot().await?;
        let id = self.shop.packed(&[lot.id.as_str()], &self.outlet, 0).await;
        let by = self.by();
        self.shop.store.cancel_shipment(&by, &id, 1).await.expect("taken apart");
        Some(())
    }

    async fn move_away(&mut self) -> Option<()> {
        let zone = ZONES[self.dice.below(ZONES.len())];
        self.shop.change_shop(|settings| settings.zone = zone.into()).await;
        Some(())
    }

    async fn move_grade(&mut self) -> Option<()> {
        let mut grade = self.shop.store.grade(&self.shop.id, "brass-yellow").await.expect("a grade");
        grade.details.family = FAMILIES[self.dice.below(FAMILIES.len())].into();
        let (by, id) = (self.by(), grade.id.clone());
        self.shop.store.save_grade(&by, &id, grade.version, &grade.details).await.expect("it is moved");
        Some(())
    }
}

async fn doing(shop: &TestShop) -> Doing<'_> {
    let carrier = shop.carrier().await;
    let lines = GRADES.map(|grade| (grade, "2.00/lb"));
    let outlet = shop.outlet(&buyer("Board House", &carrier), &lines).await;
    Doing { shop, outlet, dice: Dice(20_261_126), labels: 0 }
}

async fn whatever_is_done_the_sums_are_those_of_the_ledgers(shop: &TestShop) {
    let mut doing = doing(shop).await;
    let mut done = [0; 13];
    for step in 0..260 {
        let what = doing.dice.below(done.len() + 4);
        let happened = match what {
            0 => doing.send().await,
            1 => doing.send_two().await,
            2 => doing.bring_back().await,
            3 => doing.lose().await,
            4 => doing.find().await,
            5 => doing.regrade().await,
            6 => doing.split().await,
            7 => doing.merge().await,
            8 => doing.undo().await,
            9 => doing.take_apart().await,
            10 => doing.move_away().await,
            11 => doing.move_grade().await,
            _ => doing.fill().await,
        };
        done[what.min(12)] += usize::from(happened.is_some());
        if step % 20 == 19 {
            assert_eq!(of_the_page(shop).await, of_the_ledgers(shop).await, "after step {step}");
        }
    }
    assert!(done.iter().all(|times| *times >= 3), "a kind of step hardly happened: {done:?}");
    assert!(of_the_page(shop).await.len() > 20, "there is something to add up");
    // What the page says is those sums.
    let total: Mass = of_the_ledgers(shop).await.values().copied().sum();
    let style = shop.shop().await.style;
    assert_eq!(shop.get("/diverted").await.ok().text(".figure.huge"), style.show(total));
}

async fn what_a_yard_took_a_part_of_counts_as_that_part(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    let form = gate(shop, &page, "Quay Metals").await.set("mass-1", "59.5 lb").set("mass-2", "40 lb");
    save(shop, form.set(&format!("part-{}", yards.copper), "60 lb")).await.ok();
    let sums = of_the_page(shop).await;
    assert_eq!(sums, of_the_ledgers(shop).await);
    assert_eq!(sums.values().copied().sum::<Mass>(), mass("60 lb") + mass("40 lb"), "by the shop's scale");
}

async fn a_record_from_before_the_sums_has_them_after_its_next_start(shop: &TestShop) {
    let mut doing = doing(shop).await;
    for _ in 0..5 {
        doing.fill().await;
        doing.send().await;
    }
    let before = of_the_page(shop).await;
    assert!(!before.is_empty());
    shop.execute("DELETE FROM diverted_books").await;
    shop.execute("DELETE FROM diverted_totals").await;
    assert!(of_the_page(shop).await.is_empty());
    let again = Store::open(&shop.place).await.expect("the store opens again");
    assert_eq!(of_the_page(shop).await, before);
    again.close().await;
    // The next one that leaves comes on top of them.
    doing.fill().await;
    doing.send().await;
    assert_eq!(of_the_page(shop).await, of_the_ledgers(shop).await);
    // A shop that moved while nobody counted is counted anew with what leaves next.
    shop.execute("UPDATE shops SET zone = 'Pacific/Auckland'").await;
    doing.fill().await;
    doing.send().await;
    assert_eq!(of_the_page(shop).await, of_the_ledgers(shop).await);
}

async fn a_sum_that_is_wrong_is_found(shop: &TestShop) {
    let mut doing = doing(shop).await;
    doing.fill().await;
    doing.send().await;
    shop.execute("UPDATE diverted_totals SET net_ug = net_ug + 1000000").await;
    let found = shop.store.check().await.expect("checked");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("a month whose sum of what left is not that of its ledgers"), "{found:?}");
    assert!(found[0].ends_with("(1 g)"), "{found:?}");
    shop.execute("UPDATE diverted_totals SET net_ug = net_ug - 1000000").await;
    shop.execute("INSERT INTO diverted_totals SELECT shop_id, '1999-01', family, 5 FROM diverted_totals")
        .await;
    assert_eq!(shop.store.check().await.expect("checked").len(), 1, "of nothing");
    shop.execute("DELETE FROM diverted_totals WHERE month = '1999-01'").await;
}
