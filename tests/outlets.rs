//! Outlets, carriers' services and boxes: what cannot be is said beside its field, and of two who change the same the
//! second is told.

use axum::http::StatusCode;
use trade::ids::OutletId;

use crate::common::market::buyer;
use crate::common::{Form, Page, TestShop, on_both};

on_both![
    what_cannot_be_a_term_comes_back_beside_its_field,
    what_cannot_be_a_service_or_a_box_comes_back_beside_its_field,
    of_two_who_change_an_outlet_the_second_is_told,
    of_two_who_change_a_service_or_a_box_the_second_is_told,
    what_was_taken_out_of_use_meanwhile_is_not_taken_out_twice,
    a_name_that_is_taken_is_told,
];

struct Things {
    outlet: OutletId,
    service: String,
    carton: String,
}

async fn things(shop: &TestShop) -> Things {
    let service = shop.carrier().await;
    let outlet = shop.outlet(&buyer("Board House", &service), &[("board-set-top", "2.00/lb")]).await;
    let carton = shop.store.cartons(&shop.id).await.expect("boxes").remove(0).id;
    Things { outlet, service, carton }
}

async fn form(shop: &TestShop, address: &str) -> Form {
    shop.get(address).await.ok().form("main form[method=post]")
}

/// Sends a value that cannot be and sees that it comes back as it was typed, with the reason, and that nothing was saved.
async fn refused(shop: &TestShop, form: &Form, field: &str, value: &str, reason: &str) {
    let before = shop.everything().await;
    let page = shop.submit(form.clone().forge(field, value)).await;
    let said = page.text(&format!("#{field}-problem"));
    assert!(said.contains(reason), "{field} {value}: {said}");
    let back = page.form("main form[method=post]");
    for sent in form.fields.iter().filter(|sent| sent.name != field) {
        assert_eq!(back.value(&sent.name), sent.value, "{} is as it was", sent.name);
    }
    assert_eq!(back.value(field), value);
    assert_eq!(shop.everything().await, before);
}

async fn what_cannot_be_a_term_comes_back_beside_its_field(shop: &TestShop) {
    let things = things(shop).await;
    let form = form(shop, &format!("/outlets/{}/edit", things.outlet)).await.set("note", "half typed");
    for (field, value, reason) in [
        ("name", "", "needed"),
        ("name", &"n".repeat(61), "60 is the most"),
        ("currency", "XYZ", "ISO 4217"),
        ("currency", "", "ISO 4217"),
        ("flat_fee", "-3", "between 0"),
        ("flat_fee", "three", "not a number"),
        ("flat_fee", "99999999999999999999", "between 0"),
        ("percent_fee", "101", "between 0 and 100"),
        ("downgrade_chance", "-1", "between 0 and 100"),
        ("days_to_pay", "-1", "not a whole number"),
        ("days_to_pay", "1000000", "is the most"),
        ("minimum_delivery", "10", "of what"),
        ("minimum_delivery", "2 lb 16 oz", "Was it 3 lb 0 oz?"),
        ("minimum_payout", "1e9", "not a number"),
        ("border", "-0.01", "between 0"),
    ] {
        refused(shop, &form, field, value, reason).await;
    }
}

async fn what_cannot_be_a_service_or_a_box_comes_back_beside_its_field(shop: &TestShop) {
    let things = things(shop).await;
    let service = form(shop, &format!("/freight/services/{}/edit", things.service)).await;
    for (field, value, reason) in [
        ("currency", "XYZ", "ISO 4217"),
        ("fuel_percent", "-1", "between 0"),
        ("step", "0 lb", ""),
        ("table", "1 lb; -5", ""),
        ("table", "heavy; 5", ""),
        ("table", "", ""),
        ("surcharges", "heavy; 24; sometimes", ""),
        ("flat_boxes", "Small; 9 x 5; 70 lb; 10", ""),
    ] {
        refused(shop, &service, field, value, reason).await;
    }
    let carton = form(shop, &format!("/freight/boxes/{}", things.carton)).await;
    for (field, value, reason) in [
        ("inner", "9 x 5 in", ""),
        ("inner", "0 x 5 x 5 in", ""),
        ("inner", "-9 x 5 x 5 in", ""),
        ("tare", "-1 lb", "below zero"),
        ("tare", "1.5", "of what"),
        ("limit", "99999999999 kg", "thousand tonnes"),
        ("cost", "-1", "between 0"),
        ("at_hand", "2.5", "not a whole number"),
    ] {
        refused(shop, &carton, field, value, reason).await;
    }
}

/// Two open the same form; the second who saves is told, and can then choose to.
async fn the_second_is_told(shop: &TestShop, address: &str, field: &str, words: [&str; 2]) {
    let tobias = shop.phone_of(&shop.partners[1]);
    let mine = form(shop, address).await.set(field, words[0]);
    let theirs = tobias.get(address).await.ok().form("main form[method=post]").set(field, words[1]);
    tobias.submit(theirs.clone()).await.ok();
    let before = shop.everything().await;
    let told = shop.submit(mine).await;
    assert!(told.text("[role=alert]").starts_with("Changed meanwhile."), "{}", told.text("main"));
    let stored = told.texts(".stored");
    assert_eq!(stored, [format!("Stored now: {}", words[1])], "{address}");
    let again = told.form("main form[method=post]");
    assert_eq!(again.value(field), words[0]);
    assert_eq!(shop.everything().await, before, "nothing is saved over theirs");
    shop.submit(again).await.ok();
    assert_eq!(form(shop, address).await.value(field), words[0]);
}

async fn of_two_who_change_an_outlet_the_second_is_told(shop: &TestShop) {
    let things = things(shop).await;
    let address = format!("/outlets/{}/edit", things.outlet);
    the_second_is_told(shop, &address, "flat_fee", ["4", "5"]).await;
    the_second_is_told(shop, &address, "note", ["mine", "theirs"]).await;
}

async fn of_two_who_change_a_service_or_a_box_the_second_is_told(shop: &TestShop) {
    let things = things(shop).await;
    let service = format!("/freight/services/{}/edit", things.service);
    the_second_is_told(shop, &service, "fuel_percent", ["4", "5"]).await;
    let carton = format!("/freight/boxes/{}", things.carton);
    the_second_is_told(shop, &carton, "cost", ["2", "3"]).await;
}

async fn what_was_taken_out_of_use_meanwhile_is_not_taken_out_twice(shop: &TestShop) {
    let things = things(shop).await;
    for (address, step) in [
        (format!("/outlets/{}", things.outlet), "close"),
        (format!("/freight/services/{}", things.service), "retire"),
        (format!("/freight/boxes/{}", things.carton), "retire"),
    ] {
        let press = |page: &Page| page.form(&format!("form[action$='/{step}']"));
        let form = press(&shop.get(&address).await.ok());
        shop.submit(form.clone()).await.ok();
        let before = shop.everything().await;
        let second = shop.submit(form).await;
        assert_eq!(second.status, StatusCode::CONFLICT, "{address}");
        assert!(second.says("Changed meanwhile"), "{}", second.text("main"));
        assert_eq!(shop.everything().await, before);
        // It is there to be looked at, and can be brought back.
        let back = if step == "close" { "reopen" } else { "return" };
        shop.submit(shop.get(&address).await.ok().form(&format!("form[action$='/{back}']"))).await.ok();
        press(&shop.get(&address).await.ok());
    }
}

async fn a_name_that_is_taken_is_told(shop: &TestShop) {
    let things = things(shop).await;
    shop.outlet(&buyer("Second House", &things.service), &[]).await;
    let second = form(shop, "/outlets/new").await;
    let edit = form(shop, &format!("/outlets/{}/edit", things.outlet)).await;
    refused(shop, &edit, "name", "Second House", "Another outlet has that name").await;
    let form = second.set("name", "Board House").set("distance", "3 mi").set("minutes", "20");
    let page = shop.submit(form).await;
    assert!(page.text("#name-problem").contains("Another outlet has that name"), "{}", page.text("main"));
}
