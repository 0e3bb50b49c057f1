//! Wire: what is it, how much of it is copper, and is it worth stripping?
//!
//! Nothing is on the shelf, so a price is what a bag on its own brings at a yard that is driven to anyway: the sheet's.

use axum::http::StatusCode;

use crate::common::{Form, Page, TestShop, on_both};

on_both![
    a_weighed_sample_says_whether_to_strip,
    a_cable_is_told_by_its_layers,
    aluminium_is_stripped_where_that_pays,
    clad_wire_is_sold_as_it_is,
    a_piece_in_water_tells_the_metal,
    thin_and_tinned_copper_is_number_two,
    what_cannot_be_is_said_beside_its_field,
    without_a_price_it_says_so,
    a_lot_of_wire_leads_to_the_question,
];

async fn yard(shop: &TestShop) {
    let lines = [
        ("wire-80", "2.60/lb"),
        ("wire-60", "1.80/lb"),
        ("copper-bright", "4.00/lb"),
        ("copper-2", "3.50/lb"),
    ];
    shop.near_yard(&lines).await;
}

async fn blank(shop: &TestShop) -> Form {
    shop.get("/wire").await.ok().form("form[action='/wire']")
}

/// A form with a sample of 65 % and a thick wire.
async fn sample(shop: &TestShop) -> Form {
    blank(shop).await.set("whole", "200 g").set("stripped", "130 g").set("strand", "2 mm")
}

fn rows(page: &Page) -> Vec<String> {
    page.texts("#answer dl.rows > div")
}

async fn a_weighed_sample_says_whether_to_strip(shop: &TestShop) {
    yard(shop).await;
    assert!(!shop.get("/wire").await.ok().has("#answer"), "nothing was asked yet");
    // 100 lb at 1.80 are 180.00; 65 lb at 4.00 are 260.00, less 100 min at 18.00 an hour: 230.00.
    let asked = sample(shop).await.set("weight", "100 lb").set("minutes", "1");
    let page = shop.submit(asked).await.ok();
    assert_eq!(page.text("#answer .figure"), "65 % copper");
    assert!(
        page.text("#answer").contains("60 % insulated wire (nominally 60 %)"),
        "{}",
        page.text("#answer")
    );
    assert_eq!(page.text("#answer h2"), "Strip it");
    assert!(page.text("#answer .small-figure").contains("50.00 USD more by stripping 100 lb"));
    let rows = rows(&page);
    assert!(rows[0].contains("1.80 USD/lb") && rows[0].contains("180.00 USD"), "{rows:?}");
    assert!(rows[1].contains("Bare bright copper, 65 lb") && rows[1].contains("260.00 USD"), "{rows:?}");
    assert!(rows[2].contains("100 min") && rows[2].contains("30.00 USD"), "{rows:?}");
    assert!(rows[3].contains("230.00 USD"), "{rows:?}");
    // 80.00 in 100 min are 48.00 an hour; (180 + 30) / 400 = 52.5 %, which prices a gram leave a hair above or below.
    assert!(rows[4].contains("48.00 USD"), "{rows:?}");
    assert!(rows[5].contains("52 % copper") || rows[5].contains("53 % copper"), "{rows:?}");

    // 300 min are 90.00: stripped it brings 170.00.
    let slow = sample(shop).await.set("weight", "100 lb").set("minutes", "3");
    let page = shop.submit(slow).await.ok();
    assert_eq!(page.text("#answer h2"), "Sell it as it is");
    assert!(page.text("#answer .small-figure").contains("10.00 USD less"));
    // What was asked stands in the form, to be changed.
    assert_eq!(page.form("form[action='/wire']").value("minutes"), "3");
    let timeless = shop.submit(sample(shop).await).await.ok();
    assert!(timeless.text("#answer").contains("no time counted"));
}

/// A maker's sheet (tests/data/cables.csv) has 37 lb of copper in 61 lb of flat cable with two 14 AWG and a ground: 61 %.
async fn a_cable_is_told_by_its_layers(shop: &TestShop) {
    yard(shop).await;
    let cable = blank(shop).await.set("way", "make").set("size", "14 AWG").set("cores", "2").set("bare", "1");
    let cable =
        cable.set("outside", "0.372 x 0.176 in").set("insulation", "0.019 in").set("sheath", "0.025 in");
    let page = shop.submit(cable).await.ok();
    assert_eq!(page.text("#answer .figure"), "61 % copper");
    assert!(page.text("#answer").contains("sold as 60 % insulated wire"));
    assert!(page.text("#answer").contains("Between 54 and 69 %"), "{}", page.text("#answer"));
    // 61 lb in 304.8 m are 90.8 g in a metre.
    assert!(page.text("#answer").contains("weighs about 90."), "{}", page.text("#answer"));
    // 60 % of 4.00 is more than 1.80 all over the range, without any work.
    assert!(!page.text("#answer").contains("other way round"));
}

async fn aluminium_is_stripped_where_that_pays(shop: &TestShop) {
    let lines = [("wire-aluminium", "0.30/lb"), ("aluminium-wire", "0.80/lb")];
    shop.near_yard(&lines).await;
    let asked = sample(shop).await.set("scratch", "white").set("weight", "100 lb").set("minutes", "0.5");
    let page = shop.submit(asked.clone()).await.ok();
    assert_eq!(page.text("#answer .figure"), "65 % aluminium");
    assert!(page.text("#answer").contains("Insulated aluminium wire"));
    // 65 lb at 0.80 are 52.00, less 50 min at 18.00 an hour: 37.00, against 30.00.
    assert_eq!(page.text("#answer h2"), "Strip it");
    assert!(page.text("#answer .small-figure").contains("7.00 USD more"), "{}", page.text("#answer"));
    assert!(rows(&page)[1].contains("Bare aluminium wire, 65 lb"), "{:?}", rows(&page));
    let slow = shop.submit(asked.set("minutes", "1")).await.ok();
    assert_eq!(slow.text("#answer h2"), "Sell it as it is");
    shop.store.retire_grade(&shop.by(), "aluminium-wire").await.expect("it is retired");
    let page = shop.submit(sample(shop).await.set("scratch", "white")).await.ok();
    assert!(page.text("#answer").contains("The shop has no grade for the bare aluminium."));
}

async fn clad_wire_is_sold_as_it_is(shop: &TestShop) {
    yard(shop).await;
    let clad = shop.submit(sample(shop).await.set("scratch", "red-skin")).await.ok();
    assert!(clad.text("#answer .figure").contains("aluminium with a copper skin"));
    assert!(clad.text("#answer").contains("Stripping is worked out for copper and for aluminium."));
    let steel = sample(shop).await.set("scratch", "red-skin").set("magnet", "pulls");
    assert!(shop.submit(steel).await.ok().text("#answer .figure").contains("steel with a copper skin"));
}

/// Handbooks have copper at 8.9 and aluminium at 2.7 g/cm3 (see server/trade/tests/wire.rs).
async fn a_piece_in_water_tells_the_metal(shop: &TestShop) {
    yard(shop).await;
    let copper = sample(shop).await.set("dry", "100 g").set("gained", "11.2 g");
    let page = shop.submit(copper).await.ok();
    assert!(page.text("#answer").contains("In water it has 8.91 g/cm³"), "{}", page.text("#answer"));
    let aluminium = sample(shop).await.set("dry", "100 g").set("gained", "37 g");
    let page = shop.submit(aluminium).await.ok();
    assert_eq!(page.text("#answer .figure"), "65 % aluminium", "nobody scratched it, so the water tells");
    let contradicts = sample(shop).await.set("dry", "100 g").set("gained", "37 g").set("scratch", "red");
    assert!(shop.submit(contradicts).await.ok().text("#answer").contains("the scratch says otherwise"));
}

async fn thin_and_tinned_copper_is_number_two(shop: &TestShop) {
    yard(shop).await;
    for (field, value, why) in [
        ("strand", "0.3 mm", "thinner than 16 AWG"),
        ("scratch", "white-skin", "it is tinned"),
        ("strand", "", "nobody has said"),
    ] {
        let page = shop.submit(sample(shop).await.set(field, value)).await.ok();
        assert!(rows(&page)[1].contains("No. 2 copper"), "{field}: {:?}", rows(&page));
        assert!(page.text("#answer").contains(why), "{why}");
    }
}

async fn what_cannot_be_is_said_beside_its_field(shop: &TestShop) {
    yard(shop).await;
    let make = || async { blank(shop).await.set("way", "make").set("size", "14 AWG").set("outside", "6 mm") };
    for (form, field, words) in [
        (sample(shop).await.set("stripped", "201 g"), "stripped", "weighs more than the sample"),
        (sample(shop).await.set("whole", ""), "whole", "needed"),
        (sample(shop).await.set("whole", "200"), "whole", "Type"),
        (sample(shop).await.set("scratch", "red").set("magnet", "pulls"), "scratch", "steel"),
        (sample(shop).await.set("dry", "10 g").set("gained", "20 g"), "gained", "Weigh both again"),
        (sample(shop).await.set("dry", "10 g"), "gained", "needed"),
        (sample(shop).await.set("minutes", "1e9"), "minutes", "no number of minutes"),
        (sample(shop).await.set("weight", "-2 lb"), "weight", "above zero"),
        (make().await.set("size", "14"), "size", "14 AWG or 14 mm2"),
        (make().await.set("size", "rope"), "size", "not a size"),
        (make().await.set("outside", "1 mm"), "outside", "smaller than the copper"),
        (make().await.set("outside", "6"), "outside", "no unit"),
        (make().await.set("cores", "0"), "outside", "at least one conductor"),
        (make().await.set("cores", "99999"), "cores", "10000 is the most"),
        (make().await.set("insulation", "4 mm"), "outside", "thicker than half"),
    ] {
        let typed = form.value(field).to_string();
        let page = shop.submit(form).await.ok();
        assert!(!page.has("#answer"), "{field} {typed}");
        let said = page.text(&format!("#{field}-problem"));
        assert!(said.contains(words), "{field} “{typed}”: {said}");
        assert_eq!(page.form("form[action='/wire']").value(field), typed);
    }
    for address in [
        "/wire?asked=1&way=dance",
        "/wire?asked=1&scratch=blue",
        "/wire?asked=1&way=make&size=%F0%9F%94%A5",
        "/wire?x",
    ] {
        let page = shop.get(address).await;
        assert_eq!(page.status, StatusCode::OK, "{address}");
        assert!(!page.has("#answer"), "{address}");
    }
    let long = shop.get(&format!("/wire?asked=1&way=make&size={}", "9".repeat(2000))).await;
    assert_eq!(long.status, StatusCode::OK);
}

async fn without_a_price_it_says_so(shop: &TestShop) {
    let page = shop.submit(sample(shop).await).await.ok();
    assert_eq!(page.text("#answer .figure"), "65 % copper", "what it is does not hang on a price");
    assert!(page.text("#answer").contains("No outlet’s sheet has a price for 60 % insulated wire today."));
}

async fn a_lot_of_wire_leads_to_the_question(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.filled("Bag 1", "wire-60", "40 lb").await;
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    let asked = shop.get(&page.link("Strip it?")).await.ok();
    let form = asked.form("form[action='/wire']");
    assert_eq!((form.value("look"), form.value("weight")), ("wire-60", "40 lb 0 oz"));
    let boards = shop.filled("Bag 2", "board-brown", "4 lb").await;
    assert!(!shop.get(&format!("/lots/{boards}")).await.ok().says("Strip it?"));
}
