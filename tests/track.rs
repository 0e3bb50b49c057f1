//! Track record: what settlements teach, how it moves the plan, and how it is switched off.

use axum::http::StatusCode;
use jiff::{SignedDuration, Timestamp};
use pennyweight::store::new_id;
use pennyweight::store::settlements::{Delivery, NewSettlement, Withdrawal};
use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, LotId, OutletId};
use trade::money::{Currency, Money, Price, PriceUnit, Share};
use trade::net::{Ladder, StepKind, deliver};
use trade::settlement::{Counted, Paper, PaperLine, Payment, Promise, Sent};

use crate::common::{TestShop, mass, on_both};
use crate::shipments::market;

on_both![
    with_nothing_settled_the_terms_stand,
    settlements_move_the_ladder_and_are_shown,
    switched_off_every_figure_is_as_before,
    what_was_taken_back_teaches_nothing,
    nobody_sees_another_shops_record,
    an_offer_from_before_a_settlement_is_told,
    a_scale_that_is_known_is_held_to_what_it_finds,
];

/// One shipment of 20 lb that was sent and settled: their scale found so much of ours, and paid so many days later.
struct History<'a> {
    outlet: &'a OutletId,
    grade: &'a str,
    ratio: Decimal,
    paid_as: &'a str,
    price: Decimal,
    sent_ago: i32,
    paid_after: i32,
}

impl History<'_> {
    fn of(outlet: &OutletId, ratio: Decimal, sent_ago: i32) -> History<'_> {
        let (grade, price) = ("board-set-top", dec!(2));
        History { outlet, grade, ratio, paid_as: grade, price, sent_ago, paid_after: 12 }
    }

    /// The settlement's id.
    async fn settled(&self, shop: &TestShop) -> String {
        let label = format!("Sent {}", self.sent_ago);
        let lot = shop.filled(&label, self.grade, "20 lb").await;
        let shipment = shop.sent(&[&lot], self.outlet, self.sent_ago).await;
        let per_pound =
            |amount| Price::new(amount, Currency::USD, PriceUnit::from_code("lb").expect("a unit"));
        let promise = Promise {
            currency: Currency::USD,
            sent: vec![Sent {
                lot: LotId::new(&*lot),
                grade: GradeId::new(self.grade),
                mass: mass("20 lb"),
                pieces: 0,
                price: per_pound(dec!(2)),
            }],
            weight_deduction: Share::ZERO,
            percent_fee: Share::ZERO,
            flat_fee: dec!(0),
            days_to_pay: 0,
            counted: Counted { home: Currency::USD, rate: dec!(1), payout_fee: dec!(0) },
        };
        let theirs = mass("20 lb").times(self.ratio);
        let amount = Money::new(per_pound(self.price).of(theirs, 0).amount, Currency::USD).rounded().amount;
        let paid_on = shop.by_ago(self.sent_ago - self.paid_after).at;
        let day = |at: Timestamp| at.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
        let paper = Paper {
            currency: Currency::USD,
            lines: vec![PaperLine {
                wording: "boards".into(),
                grade: Some(GradeId::new(self.paid_as)),
                mass: Some(theirs),
                pieces: None,
                price: Some(per_pound(self.price)),
                amount,
                pays_for: vec![LotId::new(&*lot)],
            }],
            charges: vec![],
            paid: amount,
            dated: None,
            payment: Payment { day: Some(day(paid_on)), arrived: Some(amount), bank_fee: dec!(0) },
        };
        let id = new_id();
        let settlement = NewSettlement {
            id: &id,
            outlet_id: self.outlet,
            delivery: &Delivery::Shipment(shipment),
            replaces: None,
            promise: &promise,
            paper: &paper,
            number: "",
            rate: None,
            sha256: None,
            note: "",
        };
        let mut by = shop.by_ago(self.sent_ago - self.paid_after);
        by.at += SignedDuration::from_mins(5);
        shop.store.settle(&by, &settlement).await.expect("it is settled");
        id
    }
}

/// What a bag of boards nets at the buyer.
async fn ladder(shop: &TestShop, outlet: &OutletId, lot: &str) -> Ladder {
    let shelf = shop.shelf().await;
    let load = shelf.load_of(&LotId::new(lot)).expect("it is on the shelf");
    deliver(shelf.outlet(outlet).expect("the buyer"), &[load], &shelf.facts).expect("it is taken")
}

async fn with_nothing_settled_the_terms_stand(shop: &TestShop) {
    let market = market(shop).await;
    shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let page = shop.get("/outlets/record").await.ok();
    assert!(page.says("Nothing has been settled yet."));
    let page = shop.get(&format!("/outlets/{}/record", market.boards)).await.ok();
    assert!(page.says("Nothing has been settled with Board House yet."));
    assert!(page.says("count as four earlier shipments of each family"));
    assert!(!shop.get("/plan").await.ok().says("Four times in five"));
    let outlet = shop.get(&format!("/outlets/{}", market.boards)).await.ok();
    assert_eq!(outlet.link("Track record"), format!("/outlets/{}/record", market.boards));
}

async fn settlements_move_the_ladder_and_are_shown(shop: &TestShop) {
    let market = market(shop).await;
    let bag = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let before = ladder(shop, &market.boards, &bag).await;
    History::of(&market.boards, dec!(0.95), 60).settled(shop).await;
    History::of(&market.boards, dec!(0.96), 45).settled(shop).await;
    // Half its price for another grade.
    let lower =
        History { paid_as: "board-console", price: dec!(1), ..History::of(&market.boards, dec!(0.94), 30) };
    lower.settled(shop).await;

    let after = ladder(shop, &market.boards, &bag).await;
    assert!(after.net < before.net, "{} {}", after.net, before.net);
    let weight = after.step(StepKind::LearnedWeight).expect("a step of its own");
    // Three at 0.95 beside four at 1: 1 − 0.05 · 3/7.
    assert!(
        weight.working.starts_with("learned from 3 settlements: they weigh 97.86 %"),
        "{}",
        weight.working
    );
    let lower = after.step(StepKind::LearnedDowngrade).expect("one load of three was set lower");
    // One of three beside four of none, and half of the price.
    assert!(lower.working.contains("14.29 % of loads lose 50 % of the price"), "{}", lower.working);
    assert!(after.step(StepKind::LearnedWaiting).is_some());

    let bag_page = shop.get(&format!("/lots/{bag}/ship")).await.ok();
    assert!(bag_page.says("Four times in five"));
    assert!(bag_page.says("Their scale, as settled so far"));

    let page = shop.get(&format!("/outlets/{}/record", market.boards)).await.ok();
    assert!(page.says("97.9 %"), "{}", page.text("main"));
    assert!(page.says("14.3 %, each losing 50 %"));
    assert!(page.says("from 3 settlements"));
    // Nobody expected 5 % less the first time, nor half the price the third time.
    assert!(page.says("1 of 3"), "{}", page.text("main"));
    assert!(page.says("24.80 USD less than the sheets promised"));
    let titles = page.texts("svg title");
    assert!(titles.iter().any(|title| title.contains("the terms say 100 %")), "{titles:?}");
    assert!(titles.iter().any(|title| title.contains("of 3 settlements, 1 fell inside")), "{titles:?}");

    let all = shop.get("/outlets/record").await.ok();
    assert!(all.says("1 of 3"));
    assert!(all.says("Board House"));
}

async fn switched_off_every_figure_is_as_before(shop: &TestShop) {
    let market = market(shop).await;
    let bag = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let before = ladder(shop, &market.boards, &bag).await;
    History::of(&market.boards, dec!(0.95), 60).settled(shop).await;
    assert_ne!(ladder(shop, &market.boards, &bag).await.net, before.net);

    let off = shop.get("/outlets/record").await.ok().form("main form").press("Go by the terms alone");
    let page = shop.submit(off.clone()).await.ok();
    assert!(page.says("It goes by the outlets’ terms alone"));
    assert_eq!(ladder(shop, &market.boards, &bag).await, before);
    assert!(!shop.get(&format!("/lots/{bag}/ship")).await.ok().says("Four times in five"));
    // What was learned is there to look at, and the page says that it does not count.
    let record = shop.get(&format!("/outlets/{}/record", market.boards)).await.ok();
    assert!(record.says("The plan goes by the terms alone at present.") && record.says("from 1 settlement"));
    // Sent twice, it is done once.
    shop.submit(off).await.ok();
    let deeds = shop.get("/activity").await.ok();
    assert_eq!(
        deeds.texts("main li").iter().filter(|line| line.contains("goes by the terms alone")).count(),
        1
    );

    let on = page.form("main form").press("Go by what settlements have shown");
    shop.submit(on).await.ok();
    assert_ne!(ladder(shop, &market.boards, &bag).await.net, before.net);
    let strange = shop.get("/outlets/record").await.ok().form("main form").forge("go_by", "the stars");
    assert_eq!(shop.submit(strange).await.status, StatusCode::BAD_REQUEST);
}

async fn what_was_taken_back_teaches_nothing(shop: &TestShop) {
    let market = market(shop).await;
    let bag = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let before = ladder(shop, &market.boards, &bag).await;
    let settlement = History::of(&market.boards, dec!(0.8), 60).settled(shop).await;
    assert_ne!(ladder(shop, &market.boards, &bag).await, before);
    let withdrawal = Withdrawal { id: &new_id(), settlement_id: &settlement, why: "another delivery's" };
    shop.store.withdraw_settlement(&shop.by(), &withdrawal).await.expect("it is taken back");
    assert_eq!(ladder(shop, &market.boards, &bag).await, before);
}

async fn nobody_sees_another_shops_record(shop: &TestShop) {
    let market = market(shop).await;
    History::of(&market.boards, dec!(0.95), 60).settled(shop).await;
    let other = shop.open_another().await;
    let outlets = shop.store.outlets(&other.shop_id).await.expect("outlets");
    assert!(outlets.is_empty());
    assert!(shop.store.settled_lots(&other.shop_id, 100).await.expect("nothing").is_empty());
    assert_eq!(shop.get("/outlets/no-such-outlet/record").await.status, StatusCode::NOT_FOUND);
}

async fn an_offer_from_before_a_settlement_is_told(shop: &TestShop) {
    let market = market(shop).await;
    let bag = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let offer = shop.get(&format!("/lots/{bag}/ship")).await.ok().form("#shipment");
    History::of(&market.boards, dec!(0.9), 40).settled(shop).await;
    let told = shop.submit(offer).await;
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(told.says("A settlement of Board House has taught something new."), "{}", told.text("main"));
}

/// Half of one in a hundred is asked about of any buyer; of one whose scale has found three less eight times, three less is
/// what was to be expected, and six less is not.
async fn a_scale_that_is_known_is_held_to_what_it_finds(shop: &TestShop) {
    let market = market(shop).await;
    let asked = async |id: &str| shop.get(&format!("/settlements/{id}")).await.ok().text("#differences");
    let first = History::of(&market.boards, dec!(0.97), 90).settled(shop).await;
    assert!(asked(&first).await.contains("Their weight look at it"), "{}", asked(&first).await);
    for nth in 0..8 {
        let ratio = dec!(0.97) + if nth % 2 == 0 { dec!(0.001) } else { dec!(-0.001) };
        History::of(&market.boards, ratio, 80 - nth).settled(shop).await;
    }
    let expected = History::of(&market.boards, dec!(0.97), 40).settled(shop).await;
    assert!(!asked(&expected).await.contains("look at it"), "{}", asked(&expected).await);
    let odd = History::of(&market.boards, dec!(0.93), 30).settled(shop).await;
    assert!(asked(&odd).await.contains("Their weight look at it"), "{}", asked(&odd).await);
    // What was taught later does not change what was said of the first.
    assert!(asked(&first).await.contains("Their weight look at it"));
    // Switched off, every buyer is held to the same.
    let off = shop.get("/outlets/record").await.ok().form("main form").press("Go by the terms alone");
    shop.submit(off).await.ok();
    assert!(asked(&expected).await.contains("Their weight look at it"));
}
