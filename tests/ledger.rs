//! The ledger: whatever people do, and however many at once, mass is neither made nor lost.

use std::sync::Arc;
use std::time::Duration;

use axum::http::StatusCode;
use pennyweight::store::lots::LotState;
use sqlx::Row;
use trade::mass::Mass;

use crate::common::{Page, Phone, TestShop, mass, on_both};

on_both![
    mass_is_conserved_whatever_is_done,
    twenty_phones_weigh_in_at_once,
    splits_at_once_take_no_more_than_there_is,
    two_lots_merged_into_each_other_at_once_end_as_one,
    phones_that_drop_off_the_wifi_leave_nothing_half_done,
];

/// Numbers that look random and are the same on every run: the multiplier and modulus of Lewis, Goodman and Miller
/// (1969), from memory.
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0 * 16_807 % 2_147_483_647;
        usize::try_from(self.0).expect("a small number") % bound
    }
}

/// What a lot should hold, kept beside the shop in plain numbers.
struct Expected {
    id: String,
    grade: &'static str,
    micrograms: i64,
    is_open: bool,
}

/// A weigh-in that counted, and whether it was undone.
struct Counted {
    id: String,
    lot: usize,
    micrograms: i64,
    is_undone: bool,
}

#[derive(Default)]
struct Model {
    lots: Vec<Expected>,
    weighings: Vec<Counted>,
}

impl Model {
    fn open(&self) -> Vec<usize> {
        (0..self.lots.len()).filter(|lot| self.lots[*lot].is_open).collect()
    }
}

const GRADES: [&str; 3] = ["copper-1", "copper-2", "copper-light"];

async fn mass_is_conserved_whatever_is_done(shop: &TestShop) {
    let mut dice = Dice(20_260_512);
    let mut model = Model::default();
    for (label, grade) in [("Bag a", GRADES[0]), ("Bag b", GRADES[0]), ("Bag c", GRADES[1])] {
        let id = shop.bag(label, grade).await;
        model.lots.push(Expected { id, grade, micrograms: 0, is_open: true });
    }
    let mut done = [0; 5];
    for step in 0..150 {
        let what = dice.below(5);
        let happened = match what {
            0 => weigh(shop, &mut model, &mut dice).await,
            1 => undo(shop, &mut model, &mut dice).await,
            2 => split(shop, &mut model, &mut dice, step).await,
            3 => merge(shop, &mut model, &mut dice).await,
            _ => regrade(shop, &mut model, &mut dice).await,
        };
        done[what] += usize::from(happened);
    }
    assert!(done.iter().all(|times| *times >= 5), "a kind of step hardly happened: {done:?}");

    let mut total = Mass::ZERO;
    for expected in &model.lots {
        let lot = shop.lot(&expected.id).await;
        assert_eq!(lot.net, Mass::from_micrograms(expected.micrograms), "{}", lot.container_label);
        assert_eq!(lot.state == LotState::Open, expected.is_open);
        assert_eq!(lot.grade_id.as_str(), expected.grade);
        total += lot.net;
    }
    let weighed: i64 = model.weighings.iter().filter(|w| !w.is_undone).map(|w| w.micrograms).sum();
    assert_eq!(total, Mass::from_micrograms(weighed), "what is on the shelf is not what was weighed in");
}

async fn weigh(shop: &TestShop, model: &mut Model, dice: &mut Dice) -> bool {
    let open = model.open();
    let lot = open[dice.below(open.len())];
    let reading = format!("{} lb {}.{} oz", dice.below(5), 1 + dice.below(15), dice.below(10));
    let receipt = weigh_in(shop.phone(), &model.lots[lot].id, &reading).await.ok();
    let id = receipt.url.trim_start_matches("/weighings/").to_string();
    let micrograms = mass(&reading).micrograms();
    model.lots[lot].micrograms += micrograms;
    model.weighings.push(Counted { id, lot, micrograms, is_undone: false });
    true
}

async fn undo(shop: &TestShop, model: &mut Model, dice: &mut Dice) -> bool {
    if model.weighings.is_empty() {
        return false;
    }
    let nth = dice.below(model.weighings.len());
    let weighing = &mut model.weighings[nth];
    let lot = &mut model.lots[weighing.lot];
    let mut form = shop.get("/lots/new").await.form("form[action='/lots/new']");
    form.action = format!("/weighings/{}/undo", weighing.id);
    let page = shop.submit(form).await;
    let possible = lot.is_open && !weighing.is_undone && lot.micrograms >= weighing.micrograms;
    assert_eq!(page.status == StatusCode::OK, possible, "{page}: {}", page.text("main"));
    if possible {
        weighing.is_undone = true;
        lot.micrograms -= weighing.micrograms;
    }
    possible
}

async fn split(shop: &TestShop, model: &mut Model, dice: &mut Dice, step: usize) -> bool {
    let open = model.open();
    let lot = open[dice.below(open.len())];
    let grams = 1 + dice.below(900);
    let form =
        shop.get(&format!("/lots/{}/split", model.lots[lot].id)).await.ok().form("form[action$='/split']");
    let form = form.set("mass", &format!("{grams} g")).set("label", &format!("Bag {step}"));
    let page = shop.submit(form).await.ok();
    let micrograms = i64::try_from(grams).expect("a small number") * 1_000_000;
    let possible = micrograms < model.lots[lot].micrograms;
    assert_eq!(!page.url.ends_with("/split"), possible, "{page}: {}", page.text("main"));
    if possible {
        model.lots[lot].micrograms -= micrograms;
        let id = page.url.trim_start_matches("/lots/").to_string();
        model.lots.push(Expected { id, grade: model.lots[lot].grade, micrograms, is_open: true });
    }
    possible
}

async fn merge(shop: &TestShop, model: &mut Model, dice: &mut Dice) -> bool {
    let open = model.open();
    if open.len() < 4 {
        return false;
    }
    let (from, into) = (open[dice.below(open.len())], open[dice.below(open.len())]);
    // The page offers only lots of the grade, and no form where there is none: another form carries the choice.
    let mut form =
        shop.get("/lots/new").await.form("form[action='/lots/new']").forge("into", &model.lots[into].id);
    form.action = format!("/lots/{}/merge", model.lots[from].id);
    let page = shop.submit(form).await.ok();
    let possible = from != into && model.lots[from].grade == model.lots[into].grade;
    assert_eq!(!page.url.ends_with("/merge"), possible, "{page}: {}", page.text("main"));
    if possible {
        model.lots[into].micrograms += std::mem::take(&mut model.lots[from].micrograms);
        model.lots[from].is_open = false;
    }
    possible
}

async fn regrade(shop: &TestShop, model: &mut Model, dice: &mut Dice) -> bool {
    let open = model.open();
    let lot = open[dice.below(open.len())];
    let grade = GRADES[dice.below(GRADES.len())];
    let form = shop
        .get(&format!("/lots/{}/regrade", model.lots[lot].id))
        .await
        .ok()
        .form("form[action$='/regrade']");
    shop.submit(form.set("grade", grade)).await.ok();
    model.lots[lot].grade = grade;
    true
}

/// Reads a mass back and puts it on.
async fn weigh_in(phone: &Phone, lot: &str, reading: &str) -> Page {
    let page = phone.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = phone.submit(page.form("form.ticket").set("reading", reading)).await.ok();
    phone.submit(echo.form("form[action$='/weighings']")).await
}

/// What the first form that `selector` finds at `address` does, filled in by each of `count` phones and sent at once.
async fn at_once<T: Send + 'static>(
    count: usize,
    act: impl Fn(usize) -> std::pin::Pin<Box<dyn Future<Output = T> + Send>>,
) -> Vec<T> {
    let tasks: Vec<_> = (0..count).map(|nth| tokio::spawn(act(nth))).collect();
    let mut results = Vec::new();
    for task in tasks {
        results.push(task.await.expect("no task panics"));
    }
    results
}

async fn twenty_phones_weigh_in_at_once(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let phones: Vec<_> = (0..20).map(|nth| Arc::new(shop.phone_of(&shop.partners[nth % 2]))).collect();
    let pages = at_once(20, |nth| {
        let (phone, lot) = (phones[nth].clone(), lot.clone());
        Box::pin(async move { weigh_in(&phone, &lot, "1 lb 3 oz").await })
    })
    .await;
    for page in pages {
        page.ok();
    }
    assert_eq!(shop.lot(&lot).await.net, mass("1 lb 3 oz").times(20.into()));
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("a ledger");
    assert_eq!(ledger.len(), 20);
    assert_eq!(ledger.iter().filter(|row| row.partner_name == "Tobias").count(), 10);
}

async fn splits_at_once_take_no_more_than_there_is(shop: &TestShop) {
    let lot = shop.bag("Bag 0", "copper-2").await;
    shop.put(&lot, "5 kg").await;
    let phone = Arc::new(shop.phone_of(&shop.partners[0]));
    let mut forms = Vec::new();
    for nth in 1..=10 {
        let form = shop.get(&format!("/lots/{lot}/split")).await.form("form[action$='/split']");
        forms.push(form.set("mass", "1 kg").set("label", &format!("Bag {nth}")));
    }
    let pages = at_once(10, |nth| {
        let (phone, form) = (phone.clone(), forms[nth].clone());
        Box::pin(async move { phone.submit(form).await })
    })
    .await;
    // The fifth would take all of it, and all of it is no part.
    assert_eq!(pages.iter().filter(|page| !page.url.ends_with("/split")).count(), 4);
    assert!(pages.iter().all(|page| page.status == StatusCode::OK));
    assert_eq!(shop.lot(&lot).await.net, mass("1 kg"));
    assert_eq!(shop.store.open_lots(&shop.id).await.expect("lots").len(), 5);
}

async fn two_lots_merged_into_each_other_at_once_end_as_one(shop: &TestShop) {
    for round in 0..5 {
        let a = shop.bag(&format!("Bag a{round}"), "copper-2").await;
        let b = shop.bag(&format!("Bag b{round}"), "copper-2").await;
        shop.put(&a, "1 kg").await;
        shop.put(&b, "2 kg").await;
        let form = |lot: &str, into: &str| {
            let (address, into) = (format!("/lots/{lot}/merge"), into.to_string());
            async move { shop.get(&address).await.form("form[action$='/merge']").set("into", &into) }
        };
        let (ab, ba) = (form(&a, &b).await, form(&b, &a).await);
        let (first, second) = tokio::join!(shop.submit(ab), shop.submit(ba));
        let merged = [&first, &second].iter().filter(|page| !page.url.ends_with("/merge")).count();
        assert_eq!(merged, 1, "{first} {second}");
        let (a, b) = (shop.lot(&a).await, shop.lot(&b).await);
        assert_eq!(a.net + b.net, mass("3 kg"));
        assert_eq!([a, b].iter().filter(|lot| lot.state == LotState::Open).count(), 1);
        let open = shop.store.open_lots(&shop.id).await.expect("lots");
        assert_eq!(open.len(), round + 1);
    }
}

/// The future of a request is dropped at any point of its way: that is what a lost connection does to it.
async fn phones_that_drop_off_the_wifi_leave_nothing_half_done(shop: &TestShop) {
    let lot = shop.bag("Bag 0", "copper-2").await;
    shop.put(&lot, "500 kg").await;
    let mut dropped = 0;
    for nth in 1..=60_u64 {
        let form = shop.get(&format!("/lots/{lot}/split")).await.form("form[action$='/split']");
        let form = form.set("mass", "1 kg").set("pieces", "0").set("label", &format!("Bag {nth}"));
        let patience = Duration::from_micros(nth * 100);
        dropped += usize::from(tokio::time::timeout(patience, shop.submit(form)).await.is_err());
    }
    assert!(dropped >= 10, "only {dropped} requests were dropped");

    // What was under way comes to its end, one way or the other, within the time that a write may wait.
    let mut splits = 0;
    for _ in 0..100 {
        let now = shop.store.open_lots(&shop.id).await.expect("lots").len() - 1;
        if now == splits {
            break;
        }
        splits = now;
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let splits =
        i64::try_from(shop.store.open_lots(&shop.id).await.expect("lots").len() - 1).expect("a count");
    assert_eq!(shop.lot(&lot).await.net, mass("1 kg").times((500 - splits).into()));
    for part in shop.store.open_lots(&shop.id).await.expect("lots") {
        assert!(part.id.as_str() == lot || part.net == mass("1 kg"), "{} is half done", part.container_label);
    }
    assert_eq!(transactions_left_open(shop).await, 0);

    // Every connection of the pool is as good as new.
    let phones: Vec<_> = (0..20).map(|_| Arc::new(shop.phone_of(&shop.partners[0]))).collect();
    let pages = at_once(20, |nth| {
        let (phone, lot) = (phones[nth].clone(), lot.clone());
        Box::pin(async move { weigh_in(&phone, &lot, "1 kg").await })
    })
    .await;
    for page in pages {
        page.ok();
    }
    assert_eq!(shop.lot(&lot).await.net, mass("1 kg").times((520 - splits).into()));
}

/// Connections that sit in a transaction that nobody is in any more. SQLite has no view of them; one there would hold
/// the only writing connection, and the next write would show it.
async fn transactions_left_open(shop: &TestShop) -> i64 {
    if !shop.is_on_postgres() {
        return 0;
    }
    let sql = "SELECT CAST(COUNT(*) AS BIGINT) AS n FROM pg_stat_activity WHERE datname = current_database() \
               AND state IN ('idle in transaction', 'idle in transaction (aborted)')";
    let row =
        sqlx::query(sql).fetch_one(&mut shop.connect().await).await.expect("Postgres knows its connections");
    row.get("n")
}
