//! What partners tell the sell plan: pins, bars and outlets left out, each taken back again.
//!
//! The figures are those of the market (`common::market`): a trip to Quay Metals costs 17.40 USD, one to Harbour Yard
//! 39.00 USD.

use axum::http::StatusCode;
use pennyweight::store::{By, new_id};

use crate::common::market::{buyer, yard};
use crate::common::{Form, Page, TestShop, on_both};
use crate::plan::{headings, plan, stop};

on_both![
    a_pin_is_followed_and_taken_back,
    a_pin_can_keep_a_lot,
    a_bar_keeps_a_lot_from_a_yard_and_is_taken_back,
    an_outlet_is_left_out_and_let_in_again,
    a_pin_that_cannot_be_followed_is_named,
    what_was_said_about_a_packed_lot_is_over,
    choices_about_what_is_not_there_are_refused,
    pins_can_make_it_worse_than_the_nearest_yard,
];

/// What a partner can say about a lot.
pub async fn say(shop: &TestShop, lot: &str, place: &str, button: &str) -> Page {
    let form = shop.get("/plan").await.ok().form(&format!("form[action='/plan/lots/{lot}']"));
    shop.submit(form.set("place", place).press(button)).await
}

async fn a_pin_is_followed_and_taken_back(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.far_yard(&[("copper-2", "3.60/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let form = plan(shop).await.form(&format!("form[action='/plan/lots/{lot}']"));
    let form = form.set("place", near.as_str()).press("It goes there");
    let sent = shop.phone().send(shop.phone().posted(form)).await;
    assert_eq!(sent.headers["location"], format!("/plan#lot-{lot}"), "back to where it was said");
    let pinned = plan(shop).await;
    assert_eq!(headings(&pinned), ["Quay Metals 102.60 USD"]);
    let row = pinned.text(&format!("[id='lot-{lot}']"));
    assert!(row.contains("pinned"));
    assert!(row.contains("else Harbour Yard, 2.40 USD more"), "a costly pin shows its cost: {row}");
    // Said twice it stands once.
    say(shop, &lot, near.as_str(), "It goes there").await.ok();
    let freed = say(shop, &lot, near.as_str(), "Let the plan decide").await.ok();
    assert_eq!(headings(&freed), ["Harbour Yard 105.00 USD"]);
    assert!(!freed.text(&format!("[id='lot-{lot}']")).contains("pinned"));
}

async fn a_pin_can_keep_a_lot(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let kept = say(shop, &lot, "keep", "It goes there").await.ok().without_ids();
    assert!(headings(&kept).is_empty());
    assert!(
        kept.says("1 lot is kept, worth about 0.00 USD more, sold at its time."),
        "{}",
        kept.text(".chosen")
    );
    assert!(kept.text(&format!("[id='lot-{lot}']")).contains("else Quay Metals, 102.60 USD more"));
    let bag = shop.get(&format!("/lots/{lot}/ship")).await.ok();
    assert_eq!(bag.text(".figure"), "Keep it: it is pinned to stay. The sell plan can let it go again.");
}

async fn a_bar_keeps_a_lot_from_a_yard_and_is_taken_back(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let far = shop.far_yard(&[("copper-2", "3.60/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let barred = say(shop, &lot, far.as_str(), "Never there").await.ok();
    assert_eq!(headings(&barred), ["Quay Metals 102.60 USD"]);
    assert!(barred.text(&format!("[id='lot-{lot}']")).contains("barred somewhere"));
    let nowhere = say(shop, &lot, near.as_str(), "Never there").await.ok();
    assert!(headings(&nowhere).is_empty());
    let keep = say(shop, &lot, "keep", "Never there").await;
    assert_eq!(keep.status, StatusCode::BAD_REQUEST);
    assert!(keep.says("A lot can always be kept"));
    let freed = say(shop, &lot, "keep", "Let the plan decide").await.ok();
    assert_eq!(headings(&freed), ["Harbour Yard 105.00 USD"]);
}

async fn an_outlet_is_left_out_and_let_in_again(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let far = shop.far_yard(&[("copper-2", "3.60/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let form = plan(shop).await.form(&format!("{} form[action='/plan/outlets/{far}']", stop(&far)));
    let without = shop.submit(form).await.ok().without_ids();
    assert_eq!(headings(&without), ["Quay Metals 102.60 USD"]);
    assert!(without.text("#closed").contains("Harbour Yard is left out of this plan."));
    let again = shop.submit(without.form("#closed form")).await.ok();
    assert_eq!(headings(&again), ["Harbour Yard 105.00 USD"]);
    assert_eq!(again.text("#closed"), "");
    // Closed for good, it is not offered to be let in.
    shop.submit(again.form(&format!("{} .buttons form", stop(&far)))).await.ok();
    shop.close_outlet(&far).await;
    assert_eq!(plan(shop).await.text("#closed"), "");
}

async fn a_pin_that_cannot_be_followed_is_named(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let far = shop.far_yard(&[("copper-1", "3.60/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let told = say(shop, &lot, far.as_str(), "It goes there").await.ok().without_ids();
    assert_eq!(
        told.texts(".notice li p"),
        [
            "Bag 1 (No. 2 copper) is pinned to Harbour Yard, but the outlet never takes it: its sheet has no price for \
          No. 2 copper. The plan is made without this pin."
        ]
    );
    assert_eq!(headings(&told), ["Quay Metals 102.60 USD"], "the plan is made without it");

    say(shop, &lot, near.as_str(), "It goes there").await.ok();
    let form = plan(shop).await.form(&format!("{} .buttons form", stop(&near)));
    let closed = shop.submit(form).await.ok().without_ids();
    assert!(closed.text(".notice li p").starts_with(
        "Bag 1 (No. 2 copper) is pinned to Quay Metals, but that outlet is closed for this plan."
    ));
    shop.submit(closed.form("#closed form")).await.ok();
    let barred = say(shop, &lot, near.as_str(), "Never there").await.ok();
    assert!(
        barred
            .text(".notice li p")
            .starts_with("Bag 1 (No. 2 copper) is pinned to Quay Metals, but the lot is barred from it.")
    );
    shop.close_outlet(&near).await;
    assert_eq!(
        plan(shop).await.texts(".notice li"),
        [
            "No outlet's sheet has a price for No. 2 copper, so Bag 1 (No. 2 copper) stays.",
            "Bag 1 (No. 2 copper) is pinned to an outlet that is closed, but nothing is sold there any more. The plan \
             is made without this pin. Take this pin back"
        ]
    );
}

async fn what_was_said_about_a_packed_lot_is_over(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    say(shop, &lot, boards.as_str(), "It goes there").await.ok();
    shop.packed(&[&lot], &boards, 0).await;
    let page = plan(shop).await;
    assert!(page.texts(".notice").is_empty(), "{:?}", page.texts(".notice"));
    assert!(page.says("Nothing is on the shelf."));
}

async fn choices_about_what_is_not_there_are_refused(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let (other_lot, other_outlet) = another_shop(shop).await;
    let form = plan(shop).await.form(&format!("form[action='/plan/lots/{lot}']"));
    for place in [other_outlet.as_str(), &new_id(), "", "no-such-outlet"] {
        for button in ["It goes there", "Never there"] {
            let refused = shop.submit(form.clone().forge("place", place).press(button)).await;
            assert_eq!(refused.status, StatusCode::NOT_FOUND, "{button}: {place}");
        }
    }
    let to = |lot: &str| sent_to(&form, format!("/plan/lots/{lot}"));
    for lot in [other_lot.as_str(), &new_id()] {
        for button in ["It goes there", "Never there"] {
            let refused = shop.submit(to(lot).set("place", near.as_str()).press(button)).await;
            assert_eq!(refused.status, StatusCode::NOT_FOUND);
        }
    }
    let close = plan(shop).await.form(&format!("{} .buttons form", stop(&near)));
    for outlet in [other_outlet.as_str(), &new_id()] {
        let refused = sent_to(&close, format!("/plan/outlets/{outlet}"));
        assert_eq!(shop.submit(refused).await.status, StatusCode::NOT_FOUND);
    }
    assert_eq!(shop.submit(close.forge("choice", "sell")).await.status, StatusCode::BAD_REQUEST);
    let choices = shop.store.plan_choices(&shop.id).await.expect("choices");
    assert!(choices.pins.is_empty() && choices.bars.is_empty() && choices.closed.is_empty(), "{choices:?}");
}

/// The form as if it belonged to another address.
fn sent_to(form: &Form, action: String) -> Form {
    let mut form = form.clone();
    form.action = action;
    form
}

/// A lot and an outlet of another shop in the same database.
async fn another_shop(shop: &TestShop) -> (String, String) {
    let (id, partner, container, lot, outlet) = (new_id(), new_id(), new_id(), new_id(), new_id());
    let mut connection = shop.connect().await;
    for sql in [
        "INSERT INTO shops (id, name, zone, home_currency, mass_style, labour_per_hour, truck_per_km, capital_per_year, \
         risk_per_year, version, created_at) SELECT $1, 'Next door', zone, home_currency, mass_style, labour_per_hour, \
         truck_per_km, capital_per_year, risk_per_year, version, '2999-01-01T00:00:00.000Z' FROM shops WHERE id = $2",
        "INSERT INTO grades SELECT $1, id, family, name, summary, recognise, bulk_density, bulk_density_source, \
         sold_by, position, retired_at, version FROM grades WHERE shop_id = $2 AND id = 'copper-2'",
    ] {
        sqlx::query(sql).bind(&id).bind(&shop.id).execute(&mut connection).await.expect("a second shop");
    }
    let sql = "INSERT INTO partners (id, shop_id, name, created_at) VALUES ($1, $2, 'Wim', '2026-01-01T00:00:00.000Z')";
    sqlx::query(sql).bind(&partner).bind(&id).execute(&mut connection).await.expect("its partner");
    let sql =
        "INSERT INTO containers VALUES ($1, $2, 'Bag 1', 'bag', 0, NULL, 1, '2026-01-01T00:00:00.000Z')";
    sqlx::query(sql).bind(&container).bind(&id).execute(&mut connection).await.expect("its bag");
    let sql = "INSERT INTO lots (id, shop_id, container_id, grade_id, source, note, opened_at, opened_by, version) \
         VALUES ($1, $2, $3, 'copper-2', '', '', '2026-01-01T00:00:00.000Z', $4, 1)";
    let lots = sqlx::query(sql).bind(&lot).bind(&id).bind(&container).bind(&partner);
    lots.execute(&mut connection).await.expect("its lot");
    let by = By { shop_id: id, partner_id: partner, at: jiff::Timestamp::now() };
    shop.store.create_outlet(&by, &outlet, &yard("Next door's yard", 1, 1)).await.expect("its outlet");
    (lot, outlet)
}

async fn pins_can_make_it_worse_than_the_nearest_yard(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = say(shop, &lot, "keep", "It goes there").await.ok();
    assert!(
        page.says("(1 lot) would bring 102.60 USD: this plan leaves 102.60 USD less, with what is kept."),
        "{}",
        page.text(".chosen")
    );
}
