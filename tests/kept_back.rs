//! What is small and precious is kept back, and is not left in what is sold cheaply.

use crate::common::market::buyer;
use crate::common::{Page, TestShop, on_both};

on_both![
    a_counted_vial_says_how_many_make_a_pound,
    what_nobody_has_counted_is_an_estimate,
    a_low_lot_warns_before_it_goes,
    a_grade_is_marked_as_kept_back,
    what_to_look_for_is_the_shops_to_say,
];

async fn buyers(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("contact-silver", "9.00/lb"), ("connector-gold", "5.00/lb"), ("board-brown", "0.20/lb")];
    shop.outlet(&buyer("Board House", &carrier), &lines).await;
}

/// The ticket of a grade.
fn ticket(page: &Page, name: &str) -> String {
    page.texts("section.ticket").into_iter().find(|text| text.starts_with(name)).unwrap_or_default()
}

async fn a_counted_vial_says_how_many_make_a_pound(shop: &TestShop) {
    buyers(shop).await;
    let lot = shop.bag("Vial 1", "contact-silver").await;
    shop.put_pieces(&lot, "520 g", 40).await;
    let page = shop.get("/kept-back").await.ok();
    let vial = ticket(&page, "Silver contacts and relays");
    // 520 g of 40 pieces are 13 g each; 453.59237 / 13 = 34.9.
    for words in
        ["In grams 520 g", "Pieces counted 40", "by your scale 13 g", "To the pound about 34", "Vial 1"]
    {
        assert!(vial.contains(words), "{words}: {vial}");
    }
    // A parcel costs 12.50 with up to 4 lb in it, and a pound brings 9.00: it pays from a little over 1 lb 6 oz.
    assert!(vial.contains("Pays to mail from 1 lb 6."), "{vial}");
    assert!(vial.contains("still filling"), "{vial}");
    assert!(vial.contains("Telephone exchange card 8"), "where it is found: {vial}");
    assert!(page.has("details a[href='/bench/exchange-card']"), "and the way there");
    shop.put(&lot, "30 lb").await;
    let vial = ticket(&shop.get("/kept-back").await.ok(), "Silver contacts and relays");
    assert!(vial.contains("pays to mail") || vial.contains("heavy enough"), "{vial}");
}

async fn what_nobody_has_counted_is_an_estimate(shop: &TestShop) {
    buyers(shop).await;
    let page = shop.get("/kept-back").await.ok();
    let pins = ticket(&page, "Gold-plated connectors");
    // 453.59237 / 3 = 151.2.
    assert!(pins.contains("our estimate 3 g") && pins.contains("about 151"), "{pins}");
    assert!(pins.contains("none") && pins.contains("Open a vial of it"), "{pins}");
    let unpriced = ticket(&page, "Tantalum capacitors");
    assert!(unpriced.contains("No outlet’s sheet has a price for it today."), "{unpriced}");
    assert!(page.says("Nothing on the shelf is known to hide any of it."));
}

async fn a_low_lot_warns_before_it_goes(shop: &TestShop) {
    buyers(shop).await;
    let low = shop.filled("Bag 1", "board-brown", "40 lb").await;
    let copper = shop.filled("Bag 2", "copper-1", "4 lb").await;
    for address in [format!("/lots/{low}"), format!("/lots/{low}/ship")] {
        let page = shop.get(&address).await.ok();
        let warned = page.text("#keep-first");
        assert!(warned.contains("Silver contacts and relays"), "{address}: {warned}");
        assert!(warned.contains("USD/lb net: Relays"), "what a pound of it brings: {warned}");
        let first = warned.find("Silver").zip(warned.find("Tantalum"));
        assert!(first.is_some_and(|(silver, tantalum)| silver < tantalum), "the dearest first: {warned}");
    }
    assert!(!shop.get(&format!("/lots/{copper}")).await.ok().has("#keep-first"));
    let looks = shop.get("/kept-back").await.ok();
    assert_eq!(looks.texts("ul.tickets > li").len(), 1);
    assert!(looks.text("ul.tickets").contains("Bag 1, Brown boards"));
    // A grade that the shop has given up is nothing to look for.
    shop.store.retire_grade(&shop.by(), "contact-silver").await.expect("it is retired");
    assert!(!shop.get(&format!("/lots/{low}")).await.ok().text("#keep-first").contains("Silver"));
}

async fn a_grade_is_marked_as_kept_back(shop: &TestShop) {
    let edit = |page: Page| page.form("form[action$='/edit']");
    let form = edit(shop.get("/grades/memory-gold/edit").await.ok());
    assert_eq!((form.value("kept_back"), form.value("piece_grams")), ("", ""));
    for (kept, grams) in [("", "18"), ("yes", "0"), ("yes", "-1"), ("yes", "many"), ("yes", "1e5")] {
        let form = edit(shop.get("/grades/memory-gold/edit").await.ok());
        let page = shop.submit(form.set("kept_back", kept).set("piece_grams", grams)).await.ok();
        assert!(page.has("#piece_grams-problem"), "{kept} {grams}");
        assert_eq!(edit(page).value("piece_grams"), grams, "what was typed is kept");
    }
    let form = edit(shop.get("/grades/memory-gold/edit").await.ok());
    shop.submit(form.set("kept_back", "yes").set("piece_grams", "18,5")).await.ok();
    let page = shop.get("/kept-back").await.ok();
    assert!(ticket(&page, "Memory, gold edge").contains("18.5 g"));
    let form = edit(shop.get("/grades/memory-gold/edit").await.ok());
    shop.submit(form.set("kept_back", "").set("piece_grams", "")).await.ok();
    assert_eq!(ticket(&shop.get("/kept-back").await.ok(), "Memory, gold edge"), "");
}

async fn what_to_look_for_is_the_shops_to_say(shop: &TestShop) {
    let form = shop.get("/grades/board-console/edit").await.ok().form("form[action$='/edit']");
    let half = form.set("first-0", "connector-gold");
    let page = shop.submit(half).await.ok();
    assert!(page.has("#where-0-problem"), "nobody said where");
    let form = page.form("form[action$='/edit']").set("where-0", "The card reader’s pins.");
    shop.submit(form).await.ok();
    let lot = shop.filled("Bag 1", "board-console", "4 lb").await;
    let warned = shop.get(&format!("/lots/{lot}")).await.ok().text("#keep-first");
    assert!(
        warned.contains("Gold-plated connectors") && warned.contains("The card reader’s pins."),
        "{warned}"
    );
}
