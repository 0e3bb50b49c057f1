//! Containers: their tare, and a label whose code opens the lot on a phone.

use axum::http::StatusCode;

use crate::common::{SHOP_HOST, TestShop, mass, on_both};

on_both![
    the_label_leads_to_the_lot_in_it,
    an_empty_one_leads_to_opening_a_lot_in_it,
    a_label_has_a_code_that_reads_aloud,
    saved_as_it_stands_it_stays_the_same,
    a_label_is_unique,
    of_two_who_change_it_the_second_is_told,
    saved_twice_it_is_saved,
    a_new_tare_counts_from_now_on,
];

/// A bag with a lot in it: the container's id and the lot's.
async fn bag(shop: &TestShop, label: &str) -> (String, String) {
    let lot = shop.bag(label, "copper-2").await;
    (shop.lot(&lot).await.container_id, lot)
}

async fn the_label_leads_to_the_lot_in_it(shop: &TestShop) {
    let (container, lot) = bag(shop, "Bag 1").await;
    let page = shop.get(&format!("/containers/{container}")).await.ok();
    assert_eq!(page.url, format!("/lots/{lot}"));
    let list = shop.get("/containers").await.ok();
    assert_eq!(list.texts(".ticket strong"), ["Bag 1"]);
    assert_eq!(shop.get(&list.link("Bag 1 No. 2 copper")).await.ok().url, page.url);
}

async fn an_empty_one_leads_to_opening_a_lot_in_it(shop: &TestShop) {
    let (container, lot) = bag(shop, "Bag 1").await;
    let (_, other) = bag(shop, "Bag 2").await;
    let merge = shop.get(&format!("/lots/{lot}/merge")).await.form("main form").set("into", &other);
    shop.submit(merge).await.ok();
    let page = shop.get(&format!("/containers/{container}")).await.ok();
    let form = page.form("form[action='/lots/new']");
    assert_eq!(form.value("container"), container);
    shop.submit(form.set("grade", "copper-1")).await.ok();
    assert_eq!(shop.get(&format!("/containers/{container}")).await.ok().text(".figure.huge"), "0.0 oz");
}

async fn a_label_has_a_code_that_reads_aloud(shop: &TestShop) {
    let (container, _) = bag(shop, "Bag 1").await;
    let page = shop.get(&format!("/containers/{container}/label")).await.ok();
    assert_eq!(page.text(".figure.huge"), "Bag 1");
    assert!(page.says(&format!("http://{SHOP_HOST}/containers/{container}")));
    assert!(page.attributes("[role=img]", "aria-label")[0].contains("Bag 1"));
    assert!(page.has("[role=img] svg path"));
}

async fn saved_as_it_stands_it_stays_the_same(shop: &TestShop) {
    let (container, _) = bag(shop, "Bag 1").await;
    // No round number of ounces: 20 g are 0.705… oz.
    for tare in ["20 g", "2.5 oz", "1 lb 3.4 oz", "3.21 kg", "7 dwt"] {
        let form = shop.get(&format!("/containers/{container}/edit")).await.ok().form("form.ticket");
        shop.submit(form.set("container_tare", tare)).await.ok();
        let form = shop.get(&format!("/containers/{container}/edit")).await.ok().form("form.ticket");
        shop.submit(form.set("label", &format!("Bag of {tare}"))).await.ok();
        let now = shop.store.container(&shop.id, &container).await.expect("the container");
        assert_eq!((now.tare, now.label), (mass(tare), format!("Bag of {tare}")));
    }
}

async fn a_label_is_unique(shop: &TestShop) {
    let (container, _) = bag(shop, "Bag 1").await;
    bag(shop, "Bag 2").await;
    let form = shop.get(&format!("/containers/{container}/edit")).await.ok().form("form.ticket");
    let back = shop.submit(form.set("label", "Bag 2").set("kind", "drum")).await;
    assert!(back.text("#label-problem").contains("Choose another"));
    let form = back.form("form.ticket");
    assert_eq!((form.value("label"), form.value("kind")), ("Bag 2", "drum"));
    assert_eq!(shop.store.container(&shop.id, &container).await.expect("the container").label, "Bag 1");
}

async fn of_two_who_change_it_the_second_is_told(shop: &TestShop) {
    let (container, _) = bag(shop, "Bag 1").await;
    let edit = format!("/containers/{container}/edit");
    let mine = shop.get(&edit).await.ok().form("form.ticket").set("label", "Mine").set("kind", "box");
    let theirs =
        shop.get(&edit).await.ok().form("form.ticket").set("label", "Theirs").set("container_tare", "3 oz");
    shop.submit(theirs).await.ok();
    let told = shop.submit(mine).await;
    assert!(told.text("[role=alert]").contains("Changed meanwhile"));
    assert_eq!(told.texts(".stored"), ["Stored now: Theirs", "Stored now: bag", "Stored now: 3 oz"]);
    let form = told.form("form.ticket");
    assert_eq!((form.value("label"), form.value("kind")), ("Mine", "box"));
    let now = shop.store.container(&shop.id, &container).await.expect("the container");
    assert_eq!((now.label.as_str(), now.tare), ("Theirs", mass("3 oz")));
    shop.submit(form).await.ok();
    assert_eq!(shop.store.container(&shop.id, &container).await.expect("the container").label, "Mine");
}

async fn saved_twice_it_is_saved(shop: &TestShop) {
    let (container, _) = bag(shop, "Bag 1").await;
    let form = shop
        .get(&format!("/containers/{container}/edit"))
        .await
        .ok()
        .form("form.ticket")
        .set("label", "Bag 9");
    for _ in 0..2 {
        assert_eq!(shop.submit(form.clone()).await.ok().url, "/containers");
    }
    assert_eq!(shop.get("/containers/no-such-one/edit").await.status, StatusCode::NOT_FOUND);
}

async fn a_new_tare_counts_from_now_on(shop: &TestShop) {
    let (container, lot) = bag(shop, "Bag 1").await;
    shop.put(&lot, "10 oz").await;
    let form = shop.get(&format!("/containers/{container}/edit")).await.ok().form("form.ticket");
    shop.submit(form.set("container_tare", "3 oz")).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("10 oz"), "what was weighed before stays");
    let form = shop.get(&format!("/lots/{lot}/weigh")).await.ok().form("form.ticket");
    let echo = shop.submit(form.set("holds", "container").set("reading", "15 oz")).await.ok();
    shop.submit(echo.form("form[action$='/weighings']")).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("15 oz") - mass("3 oz"));
}
