//! Pickups: written down, named by lots, changed, struck out, and printed as a log.

use axum::http::StatusCode;
use jiff::ToSpan;
use pennyweight::store::cash::{Document, DocumentKind};
use pennyweight::store::new_id;
use pennyweight::store::pickups::{Pickup, PickupDetails};
use rust_decimal::dec;
use trade::money::{Currency, Money};

use crate::common::{Form, Page, TestShop, mass, on_both};
use crate::photos::from_a_phone;

on_both![
    a_pickup_is_written_down,
    written_down_twice_it_is_there_once,
    slips_are_told_beside_their_field,
    a_lot_names_its_pickup,
    a_pickup_counts_what_was_weighed_in_from_it,
    of_two_tabs_the_second_is_told,
    what_it_cost_is_in_the_cash_book,
    struck_out_it_counts_no_more,
    one_that_lots_name_is_not_struck_out,
    the_log_is_printed_without_what_was_struck_out,
    a_pickup_has_photos,
    another_shops_pickup_is_not_there,
];

/// A pickup of so many days ago.
pub fn details(shop: &TestShop, place: &str, days_ago: i32) -> PickupDetails {
    PickupDetails {
        day: shop.today().saturating_sub(days_ago.days()),
        place: place.into(),
        what: "six desktop computers".into(),
        from_whom: "the caretaker".into(),
        cost: Money::new(dec!(25), Currency::USD),
        note: String::new(),
    }
}

pub async fn written_down(shop: &TestShop, details: &PickupDetails) -> Pickup {
    let id = new_id();
    shop.store.add_pickup(&shop.by(), &id, details).await.expect("a pickup");
    shop.store.pickup(&shop.id, &id).await.expect("it is there")
}

async fn filled_in(shop: &TestShop) -> Form {
    let page = shop.get("/pickups/new").await.ok();
    page.form("form.ticket")
        .set("place", "Elm Street school")
        .set("what", "a cart of laptops")
        .set("cost", "12,50")
}

async fn all(shop: &TestShop) -> Vec<Pickup> {
    let today = shop.today();
    shop.store.pickups(&shop.id, today.saturating_sub(10.years()), today).await.expect("pickups")
}

async fn a_pickup_is_written_down(shop: &TestShop) {
    assert!(shop.get("/pickups").await.ok().says("Nothing was fetched in these days"));
    let form = filled_in(shop).await.set("from_whom", "Ms. Okafor").set("note", "two more\nin June");
    let page = shop.submit(form).await.ok().without_ids();
    assert_eq!(page.text("h1"), "Elm Street school");
    assert_eq!(page.text(".figure"), "12.50 USD paid");
    assert!(page.says("What a cart of laptops") && page.says("From whom Ms. Okafor"));
    assert!(page.has("textarea[name=note]") && page.text("textarea").contains("in June"));
    let list = shop.get("/pickups").await.ok().without_ids();
    assert!(
        list.text(".tickets").contains("Elm Street school 12.50 USD a cart of laptops"),
        "{}",
        list.text("main")
    );
    assert!(list.says("Paid for it: 12.50 USD."));
    let activity = shop.get("/activity").await.ok().without_ids();
    assert!(activity.says("Elm Street school") && activity.says("written down"));
    assert_eq!(activity.link("Elm Street school"), page.url);
}

async fn written_down_twice_it_is_there_once(shop: &TestShop) {
    let form = filled_in(shop).await;
    let (a, b) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    assert_eq!(
        (a.ok().text("h1"), b.ok().text("h1")),
        ("Elm Street school".into(), "Elm Street school".into())
    );
    shop.submit(form).await.ok();
    assert_eq!(all(shop).await.len(), 1);
}

async fn slips_are_told_beside_their_field(shop: &TestShop) {
    let tomorrow = shop.today().saturating_add(1.day()).to_string();
    for (field, value, words) in [
        ("place", "", "This is needed."),
        ("what", " ", "This is needed."),
        ("day", tomorrow.as_str(), "is still to come"),
        ("day", "1970-01-01", "too long ago"),
        ("day", "", "A date is needed."),
        ("cost", "-5", "It has to be between 0"),
        ("cost", "a fiver", "is not a number"),
        ("cost", "1e9", "is not a number"),
        ("currency", "bucks", "is not a currency code"),
        ("place", &"x".repeat(121), "121 characters long"),
    ] {
        let refused = shop.submit(filled_in(shop).await.set(field, value)).await.ok();
        assert!(refused.text(".problem").contains(words), "{field}: {}", refused.text("main"));
        assert_eq!(
            refused.form("form.ticket").value("what").trim(),
            if field == "what" { "" } else { "a cart of laptops" }
        );
    }
    let numberless = shop.submit(filled_in(shop).await.forge("id", "7")).await;
    assert_eq!(numberless.status, StatusCode::BAD_REQUEST);
    assert_eq!(all(shop).await.len(), 0);
    // Left empty it was free, and the yen has no cents.
    shop.submit(filled_in(shop).await.set("cost", "")).await.ok();
    shop.submit(filled_in(shop).await.set("cost", "100.4").set("currency", "jpy")).await.ok();
    let costs: Vec<String> = all(shop).await.iter().map(|pickup| pickup.details.cost.to_string()).collect();
    assert!(costs.contains(&"0.00 USD".to_string()) && costs.contains(&"100 JPY".to_string()), "{costs:?}");
}

async fn a_lot_names_its_pickup(shop: &TestShop) {
    let none = shop.get("/lots/new").await.ok();
    assert!(!none.has("select[name=pickup]"), "there is none to choose");
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let page = shop.get(&format!("/pickups/{}", pickup.id)).await.ok();
    let new = shop.get(&page.link("New bag from this")).await.ok();
    let form = new.form("form.ticket").set("grade", "copper-2").set("label", "Bag 1");
    assert_eq!(form.value("pickup"), pickup.id);
    shop.submit(form.set("container_tare", "2 oz")).await.ok();
    let lot = shop.store.open_lots(&shop.id).await.expect("lots").remove(0);
    let page = shop.get(&format!("/lots/{}", lot.id)).await.ok().without_ids();
    assert_eq!(page.link("The pickup it came from"), format!("/pickups/{}", pickup.id));

    // A part that is split off came from there too.
    shop.put(lot.id.as_str(), "10 lb").await;
    let split = shop.get(&format!("/lots/{}/split", lot.id)).await.ok().form("form[action$='/split']");
    let part = shop.submit(split.set("mass", "4 lb").set("label", "Bag 2")).await.ok();
    assert!(part.says("The pickup it came from"));

    // Taken back on its page, with the words for it.
    let form =
        page.form(&format!("form[action='/lots/{}']", lot.id)).set("pickup", "").set("source", "the attic");
    let page = shop.submit(form).await.ok();
    assert!(!page.says("The pickup it came from"));
    assert_eq!(shop.lot(lot.id.as_str()).await.source, "the attic");

    let forged = page.form(&format!("form[action='/lots/{}']", lot.id));
    assert_eq!(shop.submit(forged.clone().forge("pickup", &new_id())).await.status, StatusCode::NOT_FOUND);
    assert!(
        shop.submit(forged.forge("pickup", "Elm")).await.ok().says("Choose one of the pickups, or none.")
    );
}

async fn named(shop: &TestShop, label: &str, pickup: &Pickup) -> String {
    let lot = shop.bag(label, "copper-2").await;
    let form = shop.get(&format!("/lots/{lot}")).await.ok().form(&format!("form[action='/lots/{lot}']"));
    shop.submit(form.set("pickup", &pickup.id)).await.ok();
    lot
}

async fn a_pickup_counts_what_was_weighed_in_from_it(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let (one, two) = (named(shop, "Bag 1", &pickup).await, named(shop, "Bag 2", &pickup).await);
    shop.put(&one, "20 lb").await;
    shop.put(&two, "5 lb").await;
    let slip = shop.put(&two, "50 lb").await;
    shop.store.undo_weighing(&shop.by(), &slip).await.expect("it is undone");
    // What is moved between lots is not counted twice.
    shop.store.merge(&shop.by(), &two, &one).await.expect("a merge");
    let now = shop.store.pickup(&shop.id, &pickup.id).await.expect("the pickup");
    assert_eq!((now.weighed_in, now.lots), (mass("25 lb"), 2));
    let page = shop.get(&format!("/pickups/{}", pickup.id)).await.ok().without_ids();
    assert!(page.says("Weighed in 25 lb 0.0 oz"));
    // 25 lb × 3.00, less the drive: 20 km × 0.42 and half an hour at 18.00.
    assert!(page.says("Worth of it on the shelf 57.60 USD"), "{}", page.text("main"));
    assert_eq!(
        page.texts(".plain-list li"),
        ["Bag 1: No. 2 copper 25 lb 0.0 oz, 57.60 USD", "Bag 2: No. 2 copper gone"]
    );
}

async fn of_two_tabs_the_second_is_told(shop: &TestShop) {
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let address = format!("/pickups/{}", pickup.id);
    let page = shop.get(&address).await.ok();
    let form = |page: &Page| page.form(&format!("form[action='{address}']"));
    shop.submit(form(&page).set("cost", "30")).await.ok();
    let told = shop.submit(form(&page).set("cost", "35")).await.ok();
    assert!(told.says("Changed meanwhile") && told.says("Stored now: 30"), "{}", told.text("main"));
    shop.submit(form(&told)).await.ok();
    let now = shop.store.pickup(&shop.id, &pickup.id).await.expect("the pickup");
    assert_eq!(now.details.cost.amount, dec!(35));
    // The very same form twice is no quarrel.
    let once = form(&shop.get(&address).await.ok()).set("place", "The school");
    shop.submit(once.clone()).await.ok();
    assert!(!shop.submit(once).await.ok().says("Changed meanwhile"));
}

async fn booked(shop: &TestShop, pickup: &Pickup) -> Vec<String> {
    let document = Document::new(DocumentKind::Pickup, &pickup.id);
    let entries = shop.store.cash_of(&shop.id, &document).await.expect("its entries");
    assert!(entries.iter().all(|entry| entry.source_id.as_deref() == Some(pickup.id.as_str())));
    entries.iter().map(|entry| format!("{} {}", entry.day, entry.amount)).collect()
}

async fn what_it_cost_is_in_the_cash_book(shop: &TestShop) {
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let day = pickup.details.day;
    assert_eq!(booked(shop, &pickup).await, [format!("{day} −25.00 USD")]);
    let address = format!("/pickups/{}", pickup.id);
    let change = async |field: &str, value: &str| {
        let form = shop.get(&address).await.ok().form(&format!("form[action='{address}']"));
        shop.submit(form.set(field, value)).await.ok()
    };
    // What is no money changes nothing in the book.
    change("note", "by the back door").await;
    assert_eq!(booked(shop, &pickup).await.len(), 1);
    change("cost", "30").await;
    let corrected = [format!("{day} −25.00 USD"), format!("{day} 25.00 USD"), format!("{day} −30.00 USD")];
    assert_eq!(booked(shop, &pickup).await, corrected);
    change("cost", "").await;
    assert_eq!(booked(shop, &pickup).await.last(), Some(&format!("{day} 30.00 USD")));
    change("cost", "12").await;
    let page = shop.get(&address).await.ok();
    shop.submit(strike(&page)).await.ok();
    let all = booked(shop, &pickup).await;
    assert_eq!(all.last(), Some(&format!("{day} 12.00 USD")), "{all:?}");
    // A free one makes no entry.
    let free = PickupDetails { cost: Money::zero(Currency::USD), ..details(shop, "A barn", 1) };
    assert_eq!(booked(shop, &written_down(shop, &free).await).await, Vec::<String>::new());
}

fn strike(page: &Page) -> Form {
    page.form("form[action$='/withdraw']")
}

async fn struck_out_it_counts_no_more(shop: &TestShop) {
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let address = format!("/pickups/{}", pickup.id);
    let page = shop.get(&address).await.ok();
    let struck = shop.submit(strike(&page)).await.ok().without_ids();
    assert_eq!(struck.text(".stamp"), "struck out");
    assert!(!struck.has(&format!("form[action='{address}']")) && !struck.says("New bag from this"));
    shop.submit(strike(&page)).await.ok();
    let refused = shop.submit(page.form(&format!("form[action='{address}']")).set("cost", "1")).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("Somebody struck it out meanwhile"));
    let list = shop.get("/pickups").await.ok();
    assert!(
        list.says("weighed in from 0 pickups") && list.says("All of it was free."),
        "{}",
        list.text("main")
    );
    assert!(!shop.get("/lots/new").await.ok().has("select[name=pickup]"));
    // A page that was opened before cannot name it either.
    let lot = shop.bag("Bag 1", "copper-2").await;
    let other = written_down(shop, &details(shop, "The mill", 1)).await;
    let form = shop.get(&format!("/lots/{lot}")).await.ok().form(&format!("form[action='/lots/{lot}']"));
    let refused = shop.submit(form.set("pickup", &other.id).forge("pickup", &pickup.id)).await.ok();
    assert!(refused.text(".problem").contains("struck out meanwhile"), "{}", refused.text("main"));
}

async fn one_that_lots_name_is_not_struck_out(shop: &TestShop) {
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    named(shop, "Bag 1", &pickup).await;
    let page = shop.get(&format!("/pickups/{}", pickup.id)).await.ok();
    let refused = shop.submit(strike(&page)).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("Lots name this pickup"));
    assert_eq!(all(shop).await[0].withdrawn_at, None);
}

async fn the_log_is_printed_without_what_was_struck_out(shop: &TestShop) {
    written_down(shop, &details(shop, "The mill", 40)).await;
    let free = PickupDetails { cost: Money::zero(Currency::USD), ..details(shop, "Elm Street school", 2) };
    written_down(shop, &free).await;
    written_down(
        shop,
        &PickupDetails { cost: Money::new(dec!(9), Currency::CAD), ..details(shop, "A barn", 1) },
    )
    .await;
    let slip = written_down(shop, &details(shop, "Nowhere", 1)).await;
    shop.store.withdraw_pickup(&shop.by(), &slip.id, slip.version).await.expect("it is struck out");
    let from = shop.today().saturating_sub(60.days());
    let log = shop.get(&format!("/pickups/log?from={from}&to={}", shop.today())).await.ok().without_ids();
    let places: Vec<String> = log.texts("tbody tr td:first-child");
    assert_eq!(places.len(), 3, "{places:?}");
    assert!(places[0].contains("The mill") && places[2].contains("A barn"));
    assert_eq!(log.text("tbody tr:last-child"), "Together 9.00 CAD, 25.00 USD 0.0 oz");
    assert!(log.says("No legal advice.") && log.says("it does not claim to be enough"));
    let later = shop.get(&format!("/pickups/log?from={}", shop.today())).await.ok();
    assert!(later.says("No pickup was written down for these days."));
    for nonsense in ["from=x&to=y", "from=9999-99-99", "from=2026-05-01&to=2020-01-01", "to=-009999-01-01"] {
        shop.get(&format!("/pickups?{nonsense}")).await.ok();
        shop.get(&format!("/pickups/log?{nonsense}")).await.ok();
    }
}

async fn a_pickup_has_photos(shop: &TestShop) {
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let page = shop.get(&format!("/pickups/{}", pickup.id)).await.ok();
    let form = page.form("#photos form").attach("file", "proof.jpg", "image/jpeg", from_a_phone());
    let page = shop.submit(form).await.ok().without_ids();
    assert_eq!(page.texts("#photos .album li").len(), 1);
    let photo = shop.get(&page.attributes("#photos .album a", "href")[0]).await.ok().without_ids();
    assert_eq!(photo.text("h1"), "Elm Street school");
    assert!(shop.get("/pickups").await.ok().says("1 photo"));
}

async fn another_shops_pickup_is_not_there(shop: &TestShop) {
    let next_door = shop.open_another().await;
    let id = new_id();
    shop.store.add_pickup(&next_door, &id, &details(shop, "Next door", 1)).await.expect("their pickup");
    assert_eq!(shop.get(&format!("/pickups/{id}")).await.status, StatusCode::NOT_FOUND);
    assert!(!shop.get("/pickups").await.ok().says("Next door"));
    // Under its number nothing of ours is written down.
    let taken = shop.submit(filled_in(shop).await.forge("id", &id)).await;
    assert_eq!(taken.status, StatusCode::CONFLICT);
    let lot = shop.bag("Bag 1", "copper-2").await;
    let mine = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let form = shop.get(&format!("/lots/{lot}")).await.ok().form(&format!("form[action='/lots/{lot}']"));
    let stolen = shop.submit(form.set("pickup", &mine.id).forge("pickup", &id)).await;
    assert_eq!(stolen.status, StatusCode::NOT_FOUND);
}
