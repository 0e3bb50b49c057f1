//! Containers: their tare, and a label whose code opens the lot on a phone.

use axum::http::StatusCode;
use pennyweight::store::activity::{Noun, Wanted};
use pennyweight::store::containers::{Container, ContainerDetails, ContainerKind, add_container};
use pennyweight::store::lots::LotRefusal;
use pennyweight::store::{StoreError, new_id};

use crate::common::{Page, SHOP_HOST, TestShop, mass, on_both};
use crate::shipments::market;

on_both![
    the_label_leads_to_the_lot_in_it,
    an_empty_one_leads_to_opening_a_lot_in_it,
    a_label_has_a_code_that_reads_aloud,
    saved_as_it_stands_it_stays_the_same,
    a_label_is_unique,
    of_two_who_change_it_the_second_is_told,
    saved_twice_it_is_saved,
    a_new_tare_counts_from_now_on,
    an_empty_one_goes_out_of_use_and_comes_back,
    one_with_something_in_it_says_what,
    two_who_take_it_out_of_use_and_fill_it_at_once,
    of_two_phones_that_take_it_out_of_use_one_does,
    a_bag_that_leaves_with_a_parcel_is_out_of_use,
    a_bag_that_comes_back_is_in_use_again,
    nobody_takes_another_shops_container_out_of_use,
    a_shop_that_labels_a_bag_for_each_parcel_still_sees_its_containers,
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

/// A container that nothing is in: its id.
async fn empty(shop: &TestShop, label: &str) -> String {
    let (container, lot) = bag(shop, label).await;
    let (_, other) = bag(shop, &format!("{label} rest")).await;
    shop.store.merge(&shop.by(), &lot, &other).await.expect("merged");
    container
}

async fn container(shop: &TestShop, id: &str) -> Container {
    shop.store.container(&shop.id, id).await.expect("the container")
}

async fn edit(shop: &TestShop, id: &str) -> Page {
    shop.get(&format!("/containers/{id}/edit")).await.ok()
}

/// Labels of the containers that a new lot can go into.
async fn offered(shop: &TestShop) -> Vec<String> {
    let options = shop.get("/lots/new").await.ok().texts("#container option");
    options.iter().skip(1).map(|words| words.split(" (tare").next().unwrap_or_default().to_string()).collect()
}

async fn an_empty_one_goes_out_of_use_and_comes_back(shop: &TestShop) {
    let id = empty(shop, "Bag 1").await;
    assert_eq!(offered(shop).await, ["Bag 1"]);
    let retire = edit(shop, &id).await.form("form[action$='/retire']");
    let page = shop.submit(retire.clone()).await.ok();
    assert!(page.text(".notice").starts_with("out of use since"), "{}", page.text("main"));
    // Sent twice it is done once.
    assert_eq!(shop.submit(retire).await.ok().url, page.url);
    assert_eq!(offered(shop).await, Vec::<String>::new());
    assert!(!shop.get("/containers").await.ok().texts("strong").contains(&"Bag 1".to_string()));
    let out = shop.get("/containers?view=out").await.ok();
    assert_eq!(out.texts("strong"), ["Bag 1"]);
    // Its label still leads to it, and says so.
    let scanned = shop.get(&format!("/containers/{id}")).await.ok();
    assert_eq!(scanned.url, format!("/containers/{id}/edit"));
    assert!(scanned.says("out of use"));
    assert!(shop.get(&format!("/containers/{id}/label")).await.ok().says("out of use"));
    // Nothing goes in, not even by a form that was open before.
    let form = shop.get("/lots/new").await.ok().form("form[action='/lots/new']").set("grade", "copper-2");
    let told = shop.submit(form.forge("container", &id)).await;
    assert!(told.text("[role=alert]").contains("That container is out of use"), "{}", told.text("main"));
    // The label stays its own.
    let form = shop.get("/lots/new").await.ok().form("form[action='/lots/new']").set("grade", "copper-2");
    let told = shop.submit(form.set("label", "Bag 1")).await;
    assert!(told.text("#label-problem").contains("in use or not"), "{}", told.text("main"));

    let back = edit(shop, &id).await.form("form[action$='/return']");
    shop.submit(back.clone()).await.ok();
    shop.submit(back).await.ok();
    assert!(container(shop, &id).await.retired_at.is_none());
    assert_eq!(offered(shop).await, ["Bag 1"]);
    let wanted = Wanted { noun: Some(Noun::Container), ..Wanted::default() };
    let lines = shop.store.activity(&shop.id, &wanted, 50).await.expect("the activity");
    let deeds: Vec<&str> =
        lines.iter().filter(|line| line.noun_id == id).map(|line| line.deed.as_str()).collect();
    assert_eq!(deeds, ["taken into use again", "taken out of use", "added"]);
}

async fn one_with_something_in_it_says_what(shop: &TestShop) {
    let (id, lot) = bag(shop, "Bag 1").await;
    shop.put(&lot, "2 lb 5 oz").await;
    let page = edit(shop, &id).await;
    assert!(!page.has("form[action$='/retire']"));
    assert!(page.says("In it: No. 2 copper, 2 lb 5.0 oz"), "{}", page.text("main"));
    let mut form = page.form("form.ticket");
    form.action = format!("/containers/{id}/retire");
    let told = shop.submit(form).await;
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(
        told.says("There is something in that container.") && told.says("2 lb 5.0 oz"),
        "{}",
        told.text("main")
    );
    assert!(container(shop, &id).await.retired_at.is_none());
    // What a parcel holds that has not left is in it too.
    let boards = market(shop).await.boards;
    let lot = shop.filled("Bag 2", "board-set-top", "30 lb").await;
    shop.packed(&[&lot], &boards, 0).await;
    let own = container(shop, &shop.lot(&lot).await.container_id).await;
    let refused = shop.store.retire_container(&shop.by(), &own.id, own.version).await;
    assert!(matches!(refused, Err(StoreError::Lot(LotRefusal::ContainerFull))), "{refused:?}");
}

async fn two_who_take_it_out_of_use_and_fill_it_at_once(shop: &TestShop) {
    for round in 0..6 {
        let id = empty(shop, &format!("Bag {round}")).await;
        let retire = edit(shop, &id).await.form("form[action$='/retire']");
        let fill = shop.get(&format!("/lots/new?container={id}")).await.ok();
        let fill = fill.form("form[action='/lots/new']").set("grade", "copper-1");
        let other = shop.phone_of(&shop.partners[1]);
        tokio::join!(shop.submit(retire), other.submit(fill));
        let now = container(shop, &id).await;
        assert_ne!(now.retired_at.is_some(), now.open_lot.is_some(), "one of the two, and one alone");
    }
}

async fn of_two_phones_that_take_it_out_of_use_one_does(shop: &TestShop) {
    let id = empty(shop, "Bag 1").await;
    let retire = edit(shop, &id).await.form("form[action$='/retire']");
    let form = edit(shop, &id).await.form("form.ticket");
    shop.submit(form.set("label", "Bag 7")).await.ok();
    // Somebody looked at it before its label was changed.
    let told = shop.submit(retire).await;
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(told.says("Nothing was changed by this."));
    assert!(container(shop, &id).await.retired_at.is_none());
}

async fn a_bag_that_leaves_with_a_parcel_is_out_of_use(shop: &TestShop) {
    let boards = market(shop).await.boards;
    let (gone, stays) = (
        shop.filled("Bag 1", "board-set-top", "20 lb").await,
        shop.filled("Bag 2", "board-set-top", "20 lb").await,
    );
    let (gone_bag, bag) = (shop.lot(&gone).await.container_id, shop.lot(&stays).await.container_id);
    let shipment = shop.packed(&[&gone, &stays], &boards, 0).await;
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    let send = page.form("form[action$='/send']");
    assert_eq!(send.fields.iter().filter(|field| field.name == "gone").count(), 2, "bags are ticked");
    // A container that has nothing to do with it is left alone, whoever names it.
    let other = empty(shop, "Bag 3").await;
    let mut send = send;
    for field in send.fields.iter_mut().filter(|field| field.value == bag) {
        field.value.clone_from(&other);
    }
    shop.submit(send.clone()).await.ok();
    shop.submit(send).await.ok();
    assert!(container(shop, &gone_bag).await.retired_at.is_some());
    assert!(container(shop, &bag).await.retired_at.is_none());
    assert!(container(shop, &other).await.retired_at.is_none());
    assert_eq!(offered(shop).await, ["Bag 2", "Bag 3"]);
}

async fn a_bag_that_comes_back_is_in_use_again(shop: &TestShop) {
    let boards = market(shop).await.boards;
    let lot = shop.filled("Bag 1", "board-set-top", "20 lb").await;
    let bag = shop.lot(&lot).await.container_id;
    let shipment = shop.packed(&[&lot], &boards, 0).await;
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    shop.submit(page.form("form[action$='/send']")).await.ok();
    assert!(container(shop, &bag).await.retired_at.is_some());
    let back = shop.get(&format!("/shipments/{shipment}/return")).await.ok();
    assert!(!back.says("New bag"), "it comes back in its own");
    shop.submit(back.form("form[action$='/return']")).await.ok();
    let now = container(shop, &bag).await;
    assert_eq!((now.retired_at, now.open_lot), (None, Some(lot)));
}

async fn nobody_takes_another_shops_container_out_of_use(shop: &TestShop) {
    let by = shop.open_another().await;
    let details = ContainerDetails { label: "Bag 1".into(), kind: ContainerKind::Bag, tare: mass("1 oz") };
    let id = new_id();
    let mut tx = shop.store.begin().await.expect("a transaction");
    add_container(&mut tx, &by, &id, &details).await.expect("their bag");
    tx.commit().await.expect("saved");
    let mut form = shop.get("/lots/new").await.ok().form("form[action='/lots/new']").forge("version", "1");
    form.action = format!("/containers/{id}/retire");
    assert_eq!(shop.submit(form).await.status, StatusCode::NOT_FOUND);
    assert!(shop.store.container(&by.shop_id, &id).await.expect("theirs").retired_at.is_none());
}

async fn a_shop_that_labels_a_bag_for_each_parcel_still_sees_its_containers(shop: &TestShop) {
    let mut tx = shop.store.begin().await.expect("a transaction");
    for nth in 1..=450 {
        let kind = if nth <= 12 { ContainerKind::Drum } else { ContainerKind::Bag };
        let details = ContainerDetails { label: format!("{}_{nth}", kind.code()), kind, tare: mass("1 oz") };
        add_container(&mut tx, &shop.by(), &new_id(), &details).await.expect("a container");
    }
    tx.commit().await.expect("saved");
    let first = shop.get("/containers").await.ok();
    let labels = first.texts(".slim strong");
    assert_eq!((labels.len(), labels[0].as_str(), labels[99].as_str()), (100, "bag_13", "bag_112"));
    let mut all = labels.len();
    let mut page = first.clone();
    for nth in 2..=5 {
        page = shop.get(&page.link("The next page")).await.ok();
        assert_eq!(page.url, format!("/containers?page={nth}"));
        all += page.texts(".slim strong").len();
    }
    assert_eq!(all, 450);
    assert_eq!(page.texts(".slim strong").last().expect("the last"), "drum_12", "2 stands before 12");
    assert!(!page.attributes("a.button", "href").contains(&"/containers?page=6".to_string()));
    assert_eq!(page.link("The page before"), "/containers?page=4");
    // Found by its words, whatever signs are among them.
    let found = shop.submit(first.form("form[action='/containers']").set("label", "AG_44")).await.ok();
    assert_eq!(found.texts(".slim strong").len(), 11, "bag_44 and bag_440 to bag_449");
    for (words, many) in [("_450", 1), ("%", 0), ("!", 0), ("__", 0)] {
        let found = shop.submit(first.form("form[action='/containers']").set("label", words)).await.ok();
        assert_eq!(found.texts(".slim strong").len(), many, "{words}");
    }
    for strange in ["page=0", "page=-3", "page=x", "page=4294967296", "page=99999", "view=what"] {
        shop.get(&format!("/containers?{strange}")).await.ok();
    }
    // A list to choose from ends somewhere; a bag that is opened from its own page is on it all the same.
    assert_eq!(offered(shop).await.len(), 200);
    let last = found.link("bag_449 empty: open a lot in ittare 1.0 oz");
    let form = shop.get(&last).await.ok().form("form[action='/lots/new']");
    assert!(last.ends_with(form.value("container")));
    let opened = shop.submit(form.set("grade", "copper-2")).await.ok();
    assert!(opened.says("bag_449"), "{}", opened.text("main"));
}
