//! The offer on a bag's page: a shipment is made of what the partner saw there, or they are told what is no longer so.

use axum::http::StatusCode;
use pennyweight::store::lots::LotState;
use pennyweight::store::outlets::OutletKind;
use pennyweight::store::shipments::NewShipment;
use pennyweight::store::{StoreError, new_id};
use rust_decimal::dec;
use trade::ids::LotId;
use trade::money::Currency;
use trade::net::{Load, deliver};
use trade::outlet::Terms;
use trade::settlement::Promise;

use crate::common::market::buyer;
use crate::common::{Form, Page, TestShop, mass, on_both};
use crate::shipments::{market, offer, shipments, state};

on_both![
    somebody_weighed_meanwhile,
    a_lot_that_was_regraded_meanwhile_is_not_shipped_at_the_new_price,
    a_lot_that_was_split_or_merged_meanwhile_is_not_shipped,
    a_new_sheet_meanwhile_is_told_with_both_prices,
    whatever_else_the_figures_hung_on_is_told,
    what_does_not_touch_the_shipment_does_not_stop_it,
    what_was_ticked_stays_ticked,
    a_lot_regraded_at_the_last_moment_is_not_reserved,
    the_outlet_was_closed_meanwhile,
    what_no_page_offers_is_refused,
    a_shipment_of_nothing_is_refused,
    what_the_buyer_does_not_take_is_refused,
];

async fn somebody_weighed_meanwhile(shop: &TestShop) {
    market(shop).await;
    let first = shop.filled("Bag 1", "board-set-top", "20 lb").await;
    let second = shop.filled("Bag 2", "board-set-top", "10 lb").await;
    let form = offer(shop, &first).await;
    shop.put(&second, "1 oz").await;
    let refused = shop.submit(form).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert_eq!(reasons(&refused), ["Bag 2 held 10 lb 0.0 oz, it holds 10 lb 1.0 oz now."]);
    assert!(refused.says("Nothing was reserved."));
    for lot in [&first, &second] {
        assert_eq!(state(shop, lot).await, LotState::Open);
    }
    assert_eq!(shipments(shop).await, 0);
    shop.submit(offer(shop, &first).await).await.ok();
}

/// Why the bag's page says that no shipment was made.
fn reasons(page: &Page) -> Vec<String> {
    page.texts(".notice.wrong li")
}

/// Sends a form that is out of date, and sees that nothing at all came of it.
async fn told(shop: &TestShop, form: &Form) -> Page {
    let before = shop.everything().await;
    let refused = shop.submit(form.clone()).await.without_ids();
    assert_eq!(refused.status, StatusCode::CONFLICT, "{}", refused.text("main"));
    assert_eq!(shop.everything().await, before);
    assert!(refused.says("The shipment was not made. Nothing was reserved."));
    refused
}

async fn regrade(shop: &TestShop, lot: &str, grade: &str) {
    let form = shop.get(&format!("/lots/{lot}/regrade")).await.ok().form("form[action$='/regrade']");
    shop.submit(form.set("grade", grade)).await.ok();
}

async fn a_lot_that_was_regraded_meanwhile_is_not_shipped_at_the_new_price(shop: &TestShop) {
    market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "20 lb").await;
    let second = shop.filled("Bag 2", "board-set-top", "19 lb").await;
    let page = shop.get(&format!("/lots/{lot}/ship")).await.ok();
    // 78.00 − (32.00 + 1.50 + 3.00), as the shipment itself says above.
    assert!(page.text("#shipment").contains("As ticked when this page opened: 41.50 USD to the shop."));
    regrade(shop, &second, "board-console").await;
    let refused = told(shop, &page.form("#shipment")).await;
    assert_eq!(reasons(&refused), ["Bag 2 was Set-top boards, it is Game console boards now."]);
    // The page has the figures of now: 20 × 2.00 + 19 × 3.00 − 36.50. Looked at and sent, it is made at them.
    assert!(refused.text("#shipment").contains("As ticked when this page opened: 60.50 USD to the shop."));
    let made = shop.submit(refused.form("#shipment")).await.ok();
    assert_eq!(made.text(".figure"), "60.50 USD expected net");

    // To a grade that the buyer has no price for.
    let third = shop.filled("Bag 3", "board-set-top", "39 lb").await;
    let form = offer(shop, &third).await;
    regrade(shop, &third, "copper-2").await;
    let refused = told(shop, &form).await;
    assert_eq!(reasons(&refused), ["Bag 3 was Set-top boards, it is No. 2 copper now."]);
    assert!(!refused.has("#shipment"));
}

async fn a_lot_that_was_split_or_merged_meanwhile_is_not_shipped(shop: &TestShop) {
    market(shop).await;
    let first = shop.filled("Bag 1", "board-set-top", "30 lb").await;
    let second = shop.filled("Bag 2", "board-set-top", "9 lb").await;
    let form = offer(shop, &first).await;
    let split = shop.get(&format!("/lots/{first}/split")).await.ok().form("form[action$='/split']");
    shop.submit(split.set("mass", "10 lb").set("label", "Bag 3")).await.ok();
    let refused = told(shop, &form).await;
    assert_eq!(reasons(&refused), ["Bag 1 held 30 lb 0.0 oz, it holds 20 lb 0.0 oz now."]);

    let form = offer(shop, &first).await;
    let merge = shop.get(&format!("/lots/{second}/merge")).await.ok().form("form[action$='/merge']");
    shop.submit(merge.set("into", &first)).await.ok();
    let refused = told(shop, &form).await;
    let reasons = reasons(&refused);
    assert_eq!(reasons.len(), 2, "{reasons:?}");
    assert!(
        reasons.contains(&"Bag 1 held 20 lb 0.0 oz, it holds 29 lb 0.0 oz now.".to_string()),
        "{reasons:?}"
    );
    let gone =
        "Bag 2 is not on the shelf any more: it is packed in another shipment, on a yard run, or has left.";
    assert!(reasons.contains(&gone.to_string()), "{reasons:?}");
    // One microgram more is told too, to the last digit.
    let form = offer(shop, &first).await;
    shop.put(&first, "0.000001 g").await;
    let refused = told(shop, &form).await;
    let reason = self::reasons(&refused).remove(0);
    assert_eq!(reason, "Bag 1 held 13154.17873 g, it holds 13154.178731 g now.");
}

async fn a_new_sheet_meanwhile_is_told_with_both_prices(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let form = offer(shop, &lot).await;
    shop.sheet(&market.boards, 0, &[("board-set-top", "1.50/lb"), ("board-console", "9.00/lb")]).await;
    let refused = told(shop, &form).await;
    assert_eq!(reasons(&refused), ["Set-top boards: 2.00 USD/lb before, 1.50 USD/lb now."]);
    let form = refused.form("#shipment");
    shop.sheet(
        &market.boards,
        0,
        &[
            ("board-set-top", "1.50/lb"),
            ("board-set-top", "1.70/lb from 20 lb"),
            ("board-console", "9.00/lb"),
        ],
    )
    .await;
    let refused = told(shop, &form).await;
    assert_eq!(
        reasons(&refused),
        ["Set-top boards: 1.50 USD/lb before, 1.50 USD/lb, 1.70 USD/lb from 20 lb 0.0 oz now."]
    );
    let form = refused.form("#shipment");
    shop.sheet(&market.boards, 0, &[("board-console", "9.00/lb")]).await;
    let refused = told(shop, &form).await;
    assert_eq!(
        reasons(&refused),
        ["Set-top boards: 1.50 USD/lb, 1.70 USD/lb from 20 lb 0.0 oz before, no price now."]
    );
}

async fn whatever_else_the_figures_hung_on_is_told(shop: &TestShop) {
    let market = market(shop).await;
    let mut across = buyer("Carte Verte", &market.carrier);
    across.currency = Currency::CAD;
    let across = shop.outlet(&across, &[("board-set-top", "4.00/lb")]).await;
    shop.cad_rate(1, dec!(0.75)).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let open =
        || async { shop.get(&format!("/lots/{lot}/ship?outlet={across}")).await.ok().form("#shipment") };

    let form = open().await;
    shop.cad_rate(0, dec!(0.7)).await;
    assert_eq!(reasons(&told(shop, &form).await), ["1 CAD was 0.75 USD, it is 0.7 USD now."]);

    let form = open().await;
    shop.change_outlet(&across, |details| details.terms.flat_fee = dec!(4)).await;
    assert_eq!(reasons(&told(shop, &form).await), ["The terms of Carte Verte were changed."]);

    let form = open().await;
    shop.change_outlet(&across, |details| {
        if let OutletKind::MailIn(post) = &mut details.kind {
            post.border = dec!(12);
        }
    })
    .await;
    assert_eq!(reasons(&told(shop, &form).await), ["The terms of Carte Verte were changed."]);

    let form = open().await;
    let edit = shop.get(&format!("/freight/services/{}/edit", market.carrier)).await.ok();
    shop.submit(edit.form("main form").set("fuel_percent", "7")).await.ok();
    assert_eq!(reasons(&told(shop, &form).await), ["The freight tables were changed."]);

    let form = open().await;
    let carton = shop.store.cartons(&shop.id).await.expect("boxes").remove(0).id;
    let edit = shop.get(&format!("/freight/boxes/{carton}")).await.ok();
    shop.submit(edit.form("main form").set("cost", "2.75")).await.ok();
    assert_eq!(reasons(&told(shop, &form).await), ["The boxes at hand were changed."]);

    let form = open().await;
    shop.change_shop(|settings| settings.costs.labour_per_hour = dec!(20)).await;
    assert_eq!(reasons(&told(shop, &form).await), ["The shop's own costs were changed."]);

    let form = open().await;
    let edit = shop.get("/grades/board-set-top/edit").await.ok().form("main form");
    shop.submit(edit.set("bulk_density", "0.31")).await.ok();
    assert_eq!(reasons(&told(shop, &form).await), ["How much room Set-top boards needs was changed."]);

    shop.submit(open().await).await.ok();
}

async fn what_does_not_touch_the_shipment_does_not_stop_it(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let other = shop.filled("Bag 2", "board-console", "1 lb").await;
    let mut form = offer(shop, &lot).await;
    form.fields.retain(|field| field.name != "lot" || field.value == lot);
    // Another lot, another grade's price, another outlet, a note on the lot.
    shop.put(&other, "1 lb").await;
    shop.sheet(&market.boards, 0, &[("board-set-top", "2.00/lb"), ("board-console", "9.00/lb")]).await;
    shop.near_yard(&[("board-set-top", "5.00/lb")]).await;
    let note = shop.get(&format!("/lots/{lot}")).await.ok().form(&format!("form[action='/lots/{lot}']"));
    shop.submit(note.set("note", "on the left")).await.ok();
    assert_eq!(shop.submit(form).await.ok().text(".figure"), "41.50 USD expected net");
}

async fn what_was_ticked_stays_ticked(shop: &TestShop) {
    market(shop).await;
    let first = shop.filled("Bag 1", "board-set-top", "20 lb").await;
    let second = shop.filled("Bag 2", "board-set-top", "10 lb").await;
    let third = shop.filled("Bag 3", "board-console", "5 lb").await;
    let mut form = offer(shop, &first).await;
    form.fields.retain(|field| field.name != "lot");
    let form = form.set("lot", &first).set("lot", &third);
    shop.put(&first, "1 lb").await;
    let refused = told(shop, &form).await;
    let ticked = |form: &Form| -> Vec<String> {
        let lots = form.fields.iter().filter(|field| field.name == "lot");
        lots.map(|field| field.value.clone()).collect()
    };
    let mut kept = ticked(&refused.form("#shipment"));
    kept.sort();
    assert_eq!(kept, [first.clone(), third.clone()]);
    assert!(refused.form("#shipment").options("lot").contains(&second), "it can still be ticked");
    shop.submit(refused.form("#shipment")).await.ok();
    assert_eq!(state(shop, &second).await, LotState::Open);
    for lot in [&first, &third] {
        assert!(matches!(state(shop, lot).await, LotState::Reserved { .. }));
    }
}

/// Between the comparison and the lock on its row.
async fn a_lot_regraded_at_the_last_moment_is_not_reserved(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let shelf = shop.shelf().await;
    let load = shelf.load_of(&LotId::new(lot.as_str())).expect("its load");
    let outlet = shelf.outlet(&market.boards).expect("the buyer");
    let ladder = deliver(outlet, std::slice::from_ref(&load), &shelf.facts).expect("it is taken");
    let before = shop.everything().await;
    for changed in [
        Load { grade: "board-console".into(), ..load.clone() },
        Load { mass: mass("38 lb"), ..load.clone() },
        Load { pieces: 1, ..load.clone() },
    ] {
        let id = new_id();
        let promise = Promise::of(&ladder, std::slice::from_ref(&changed), &Terms::default(), Currency::USD);
        let shipment = NewShipment {
            id: &id,
            outlet_id: &market.boards,
            loads: &[changed],
            ladder: &ladder,
            promise: &promise,
        };
        let refused = shop.store.make_shipment(&shop.by(), &shipment).await;
        assert!(matches!(refused, Err(StoreError::Stale)), "{refused:?}");
    }
    assert_eq!(shop.everything().await, before);
}

async fn the_outlet_was_closed_meanwhile(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let form = offer(shop, &lot).await;
    shop.close_outlet(&market.boards).await;
    let refused = shop.submit(form).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("The outlet has been closed meanwhile."), "{}", refused.text("body"));
    assert!(!refused.has("#shipment"), "another buyer is not put in its place unasked");
    assert_eq!(state(shop, &lot).await, LotState::Open);
}

async fn what_no_page_offers_is_refused(shop: &TestShop) {
    market(shop).await;
    let quay = shop.near_yard(&[("board-set-top", "1.00/lb")]).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let copper = shop.filled("Bag 2", "copper-2", "39 lb").await;
    let form = offer(shop, &lot).await;
    let (stranger, yard) = (new_id(), quay.to_string());
    for (field, value, why) in [
        ("outlet", stranger.as_str(), "closed meanwhile"),
        ("outlet", "", "closed meanwhile"),
        ("outlet", &yard, "takes no parcels: it is a yard"),
        ("lot", &stranger, "not on the shelf any more"),
        ("lot", "' OR 1=1 --", "not on the shelf any more"),
        ("lot", &copper, "Bag 2 was not offered to go there"),
    ] {
        let refused = shop.submit(form.clone().forge(field, value)).await.without_ids();
        assert_eq!(refused.status, StatusCode::CONFLICT, "{field} {value}");
        assert!(refused.says(why), "{field} {value}: {}", refused.text("body"));
        assert!(refused.says("Nothing was reserved."));
    }
    for (id, status) in [("", StatusCode::BAD_REQUEST), ("7", StatusCode::BAD_REQUEST)] {
        assert_eq!(shop.submit(form.clone().forge("id", id)).await.status, status);
    }
    // Without what was seen nothing can be compared, and a bag that nobody has is a page all the same.
    for seen in ["", "1", "{}", "null", "[]"] {
        assert_eq!(
            shop.submit(form.clone().forge("seen", seen)).await.status,
            StatusCode::BAD_REQUEST,
            "{seen}"
        );
    }
    let bagless = shop.submit(form.clone().forge("bag", "nobody's").forge("outlet", "")).await;
    assert_eq!(bagless.status, StatusCode::CONFLICT);
    assert!(bagless.says("closed meanwhile") && bagless.says("Nothing was reserved."));
    assert_eq!(shipments(shop).await, 0);
    // The lot named twice is in it once.
    let mut twice = form;
    let named = twice.fields.iter().find(|field| field.name == "lot").expect("the lot").clone();
    twice.fields.push(named);
    assert_eq!(shop.submit(twice).await.ok().text(".figure"), "41.50 USD expected net");

    for url in ["/shipments/no-such-shipment".to_string(), format!("/shipments/{stranger}")] {
        assert_eq!(shop.get(&url).await.status, StatusCode::NOT_FOUND);
    }
}

async fn a_shipment_of_nothing_is_refused(shop: &TestShop) {
    market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let mut form = offer(shop, &lot).await;
    form.fields.retain(|field| field.name != "lot");
    let refused = shop.submit(form).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("No lot was chosen."));
    assert_eq!(shipments(shop).await, 0);
}

async fn what_the_buyer_does_not_take_is_refused(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "19 lb").await;
    let form = offer(shop, &lot).await;
    shop.change_outlet(&market.boards, |details| details.terms.minimum_delivery = mass("20 lb")).await;
    let refused = told(shop, &form).await;
    assert_eq!(reasons(&refused), ["The terms of Board House were changed."]);
    assert!(!refused.text("#shipment").contains("As ticked"), "there is no net to show");
    let refused = told(shop, &refused.form("#shipment")).await;
    assert_eq!(
        reasons(&refused),
        ["Board House does not take it: it takes deliveries from 20 lb 0.0 oz up."]
    );
    assert_eq!(shipments(shop).await, 0);
}
