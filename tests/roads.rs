//! Roads between yards, and what they change: the sell plan, its load list and yard runs are reckoned as one drive.
//!
//! The figures are those of the market (`common::market`): Quay Metals is 10 km away (17.40 USD a trip), Harbour Yard 25 km
//! (39.00 USD). Straight from one to the other it is 18 km: 10 + 18 + 25 = 53 km instead of 70, and 17 minutes less, so a
//! drive to both saves 17 × 0.42 + 17 / 60 × 18.00 = 7.14 + 5.10 = 12.24 USD.

use axum::http::StatusCode;
use pennyweight::store::{By, new_id};
use rust_decimal::dec;
use trade::ids::OutletId;

use crate::common::market::{buyer, yard};
use crate::common::{Form, Page, TestShop, on_both};
use crate::plan::{adds_up, headings, plan};

on_both![
    a_road_is_entered_at_one_end_and_known_at_both,
    one_drive_to_two_yards_is_paid_for_once,
    a_yard_on_the_way_gets_what_would_not_pay_for_a_drive,
    a_run_to_both_is_one_drive,
    roads_that_changed_meanwhile_are_told,
    of_two_who_change_a_road_the_second_is_told,
    what_is_no_distance_is_refused_beside_its_field,
    roads_lead_to_no_other_shop_and_to_no_buyer,
    a_road_longer_than_by_the_shop_is_not_driven,
];

async fn roads_form(shop: &TestShop, from: &OutletId) -> Form {
    shop.get(&format!("/outlets/{from}/roads")).await.ok().form("form[action$='/roads']")
}

async fn enter(shop: &TestShop, from: &OutletId, to: &OutletId, distance: &str) -> Page {
    let form = roads_form(shop, from).await;
    shop.submit(form.set(&format!("road-{to}"), distance)).await
}

/// Two yards with 40 lb of copper for the near one, which are 120.00 USD, and `brass` at 2.00 USD/lb for the far one.
async fn two_yards(shop: &TestShop, brass: &str) -> [OutletId; 2] {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let far = shop.far_yard(&[("brass-yellow", "2.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    shop.filled("Bag 2", "brass-yellow", brass).await;
    [near, far]
}

async fn a_road_is_entered_at_one_end_and_known_at_both(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    let outlet = shop.get(&format!("/outlets/{near}")).await.ok();
    assert!(outlet.says("None entered: a drive to several is reckoned by the shop."));
    assert!(outlet.attributes("a", "href").contains(&format!("/outlets/{near}/roads")));
    let saved = enter(shop, &near, &far, "18 km").await.ok();
    assert!(saved.says("Harbour Yard 11.2 mi"), "{}", saved.text("main"));
    assert!(shop.get(&format!("/outlets/{far}")).await.ok().says("Quay Metals 11.2 mi"));
    let form = roads_form(shop, &far).await;
    assert_eq!(form.value(&format!("road-{near}")), "18 km");
    // Sent as it is, nothing changes; emptied, it is forgotten.
    let before = shop.everything().await;
    shop.submit(form.clone()).await.ok();
    assert_eq!(shop.everything().await, before);
    shop.submit(form.set(&format!("road-{near}"), "")).await.ok();
    assert!(shop.store.roads(&shop.id).await.expect("roads").is_empty());
    let told = shop.get("/activity").await.ok();
    assert!(told.says("to Harbour Yard: 18 km"), "{}", told.text("main"));
}

async fn one_drive_to_two_yards_is_paid_for_once(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    // 120.00 − 17.40 and 60.00 − 39.00.
    assert_eq!(headings(&plan(shop).await), ["Harbour Yard 21.00 USD", "Quay Metals 102.60 USD"]);
    enter(shop, &near, &far, "18 km").await.ok();
    let page = plan(shop).await;
    assert_eq!(headings(&page), ["Harbour Yard 21.00 USD", "Quay Metals 102.60 USD"]);
    assert_eq!(page.text(".figure.huge"), "135.84 USD");
    assert_eq!(page.text(".drive h2"), "One drive to 2 yards saves 12.24 USD");
    let drive = page.text(".drive p");
    let ways = ["shop → Quay Metals → Harbour Yard → shop", "shop → Harbour Yard → Quay Metals → shop"];
    assert!(ways.iter().any(|way| drive.starts_with(way)), "{drive}");
    // 90 minutes for two trips less 17; 53 × 0.42 + 73 / 60 × 18.00.
    assert!(
        drive.contains("32.9 mi, 73 minutes with what is done at the yards. It costs 44.16 USD;"),
        "{drive}"
    );
    assert_eq!(adds_up(shop).await, dec!(135.84));
    let list = shop.get("/plan/load-list").await.ok();
    assert!(ways.iter().any(|way| list.says(&format!("One drive: {way}, 32.9 mi"))), "{}", list.text("main"));
}

async fn a_yard_on_the_way_gets_what_would_not_pay_for_a_drive(shop: &TestShop) {
    let [near, far] = two_yards(shop, "15 lb").await;
    // 30.00 do not pay for a drive of 39.00.
    assert_eq!(headings(&plan(shop).await), ["Quay Metals 102.60 USD"]);
    enter(shop, &far, &near, "18 km").await.ok();
    let page = plan(shop).await;
    // As a second stop it costs 39.00 − 12.24 = 26.76: 3.24 are left.
    assert_eq!(headings(&page), ["Harbour Yard −9.00 USD", "Quay Metals 102.60 USD"]);
    assert_eq!(page.text(".figure.huge"), "105.84 USD");
    assert!(page.text(".chosen .stamp").contains("proved best"));
    // In kilometres for a shop that drives those.
    shop.in_kilograms().await;
    assert!(plan(shop).await.text(".drive p").contains("53 km"));
}

async fn a_run_to_both_is_one_drive(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    enter(shop, &near, &far, "18 km").await.ok();
    let page = shop.get("/runs/new").await.ok();
    let drive = page.text(".drive");
    assert!(drive.contains("It costs 44.16 USD, 12.24 USD less than a drive to each."), "{drive}");
    let made = shop.submit(page.form("form[action='/runs']")).await.ok();
    let id = made.url.rsplit('/').next().expect("its number");
    let run = shop.store.run(&shop.id, id).await.expect("the run");
    assert_eq!(run.head.expected_trip, dec!(44.16));
    // 120.00 + 60.00 − 44.16.
    assert_eq!(run.head.expected_net(), dec!(135.84));
    assert!(made.says("The drive, as planned −44.16 USD"), "{}", made.text("main"));
    let shown = if drive.contains("shop → Quay Metals") {
        ["Quay Metals", "Harbour Yard"]
    } else {
        ["Harbour Yard", "Quay Metals"]
    };
    let stops: Vec<&str> = run.stops.iter().map(|stop| stop.outlet_name.as_str()).collect();
    assert_eq!(stops, shown, "in the order of the drive");
}

async fn roads_that_changed_meanwhile_are_told(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    enter(shop, &near, &far, "18 km").await.ok();
    let form = shop.get("/runs/new").await.ok().form("form[action='/runs']");
    enter(shop, &near, &far, "30 km").await.ok();
    let refused = shop.submit(form).await;
    assert!(refused.says("Nothing was reserved."), "{}", refused.text("main"));
    assert!(refused.says("The roads to Quay Metals were changed."), "{}", refused.text("main"));
    assert!(shop.store.runs(&shop.id).await.expect("runs").is_empty());
}

async fn of_two_who_change_a_road_the_second_is_told(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    let first = roads_form(shop, &near).await.set(&format!("road-{far}"), "18 km");
    let second = roads_form(shop, &far).await.set(&format!("road-{near}"), "20 km");
    shop.submit(first.clone()).await.ok();
    let told = shop.submit(second).await;
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(told.says("Somebody else has changed one of these meanwhile."));
    assert_eq!(told.form("form[action$='/roads']").value(&format!("road-{near}")), "18 km");
    // The first one sent twice is no fault.
    shop.submit(first).await.ok();
    let roads = shop.store.roads(&shop.id).await.expect("roads");
    assert_eq!(roads.len(), 1);
    assert_eq!(roads[0].distance_km, dec!(18));
}

async fn what_is_no_distance_is_refused_beside_its_field(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    let field = format!("road-{far}");
    let huge = "9".repeat(60) + " km";
    for bad in ["far", "-3 km", huge.as_str(), "12 parsecs", "NaN km"] {
        let page = enter(shop, &near, &far, bad).await;
        assert!(page.has(&format!("[id='{field}-problem']")), "{bad}");
        assert_eq!(page.form("form[action$='/roads']").value(&field), bad, "what was typed is still there");
    }
    assert!(shop.store.roads(&shop.id).await.expect("roads").is_empty());
    // Next door is no distance at all, and a mile is one.
    enter(shop, &near, &far, "0 km").await.ok();
    enter(shop, &near, &far, "12.5 mi").await.ok();
    assert_eq!(shop.store.roads(&shop.id).await.expect("roads")[0].distance_km, dec!(20.1168));
}

async fn roads_lead_to_no_other_shop_and_to_no_buyer(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    assert!(
        shop.get(&format!("/outlets/{near}/roads"))
            .await
            .ok()
            .says("There is no other yard that you drive to.")
    );
    shop.far_yard(&[("brass-yellow", "2.00/lb")]).await;
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    assert_eq!(shop.get(&format!("/outlets/{boards}/roads")).await.status, StatusCode::NOT_FOUND);
    assert_eq!(shop.get(&format!("/outlets/{}/roads", new_id())).await.status, StatusCode::NOT_FOUND);
    let other: By = shop.open_another().await;
    let theirs = OutletId::new(new_id());
    shop.store.create_outlet(&other, theirs.as_str(), &yard("Their yard", 5, 5)).await.expect("a yard");
    assert_eq!(shop.get(&format!("/outlets/{theirs}/roads")).await.status, StatusCode::NOT_FOUND);
    for end in [&theirs, &boards, &OutletId::new("none")] {
        let form = roads_form(shop, &near).await.forge(&format!("road-{end}"), "3 km");
        shop.submit(form).await.ok();
        let road =
            pennyweight::store::roads::NewRoad { to: end.clone(), before: None, distance_km: Some(dec!(3)) };
        assert!(shop.store.set_roads(&shop.by(), &near, &[road]).await.is_err(), "{end}");
    }
    assert!(shop.store.roads(&shop.id).await.expect("roads").is_empty());
}

async fn a_road_longer_than_by_the_shop_is_not_driven(shop: &TestShop) {
    let [near, far] = two_yards(shop, "30 lb").await;
    let saved = enter(shop, &near, &far, "40 km").await.ok();
    assert!(saved.says("not shorter than by the shop"), "{}", saved.text("main"));
    let page = plan(shop).await;
    assert!(!page.has(".drive"));
    assert_eq!(page.text(".figure.huge"), "123.60 USD");
    // A yard that is closed takes its roads with it.
    enter(shop, &near, &far, "18 km").await.ok();
    shop.close_outlet(&far).await;
    assert!(!plan(shop).await.has(".drive"));
    assert!(shop.shelf().await.roads.is_empty());
}
