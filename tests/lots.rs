//! Lots: opened, looked at, split, merged and regraded.

use axum::http::StatusCode;
use pennyweight::store::containers::Wanted;
use pennyweight::store::lots::LotState;
use pennyweight::store::weighings::WeighingKind;

use crate::common::{Form, TestShop, mass, on_both};

on_both![
    a_lot_is_opened_in_a_new_bag,
    a_lot_is_opened_in_a_bag_that_is_there,
    opened_twice_it_is_there_once,
    a_form_with_something_wrong_comes_back_filled_in,
    a_label_is_on_one_container,
    the_list_adds_up_by_family,
    the_ledger_shows_every_weighing,
    part_of_a_lot_is_split_off,
    no_more_is_split_off_than_there_is,
    split_twice_it_moves_once,
    all_of_a_lot_goes_on_another,
    a_lot_of_another_grade_is_not_merged,
    merged_twice_it_moves_once,
    a_lot_is_regraded_on_record,
    a_retired_grade_is_not_given,
    a_lot_of_a_retired_grade_is_not_regraded_by_accident,
    of_two_who_edit_a_note_the_second_is_told,
    saved_twice_it_is_saved,
    of_two_who_regrade_the_second_is_told,
    hostile_words_are_only_words,
];

async fn new_lot(shop: &TestShop) -> Form {
    shop.get("/lots/new").await.ok().form("form[action='/lots/new']")
}

async fn a_lot_is_opened_in_a_new_bag(shop: &TestShop) {
    let form = new_lot(shop).await.set("grade", "copper-2").set("label", "Drum 1").set("kind", "drum");
    let form = form.set("container_tare", "1.5 kg").set("source", "copiers from the school");
    let weigh = shop.submit(form).await.ok();
    assert!(weigh.text("h1").starts_with("Drum 1:"), "{}", weigh.text("h1"));
    let lots = shop.store.open_lots(&shop.id).await.expect("lots");
    let [lot] = lots.as_slice() else { panic!("{lots:?}") };
    assert_eq!((lot.container_label.as_str(), lot.grade_id.as_str()), ("Drum 1", "copper-2"));
    assert_eq!(lot.container_tare, mass("1.5 kg"));
    assert_eq!(lot.source, "copiers from the school");
    assert_eq!(weigh.url, format!("/lots/{}/weigh", lot.id));
}

async fn a_lot_is_opened_in_a_bag_that_is_there(shop: &TestShop) {
    let first = shop.bag("Bag 1", "copper-2").await;
    let second = shop.bag("Bag 2", "copper-2").await;
    let emptied = shop.lot(&first).await.container_id;
    let taken = shop.lot(&second).await.container_id;
    let merge = shop.get(&format!("/lots/{first}/merge")).await.form("main form").set("into", &second);
    shop.submit(merge).await.ok();

    let form = new_lot(shop).await.set("grade", "copper-1");
    assert!(!form.options("container").contains(&taken), "a bag with a lot in it is offered");
    shop.submit(form.clone().set("container", &emptied)).await.ok();
    let refused =
        shop.submit(form.forge("container", &taken).forge("lot_id", &pennyweight::store::new_id())).await;
    assert!(refused.text("[role=alert]").contains("a lot in that container already"));
    assert_eq!(shop.store.open_lots(&shop.id).await.expect("lots").len(), 2);
}

async fn opened_twice_it_is_there_once(shop: &TestShop) {
    for round in 1..=5 {
        let form = new_lot(shop).await.set("grade", "copper-2").set("label", &format!("Bag {round}"));
        let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
        assert_eq!(first.ok().url, second.ok().url);
        shop.submit(form).await.ok();
        assert_eq!(shop.store.open_lots(&shop.id).await.expect("lots").len(), round);
    }
}

async fn a_form_with_something_wrong_comes_back_filled_in(shop: &TestShop) {
    let form = new_lot(shop)
        .await
        .set("label", "Bag 1")
        .set("container_tare", "2.5")
        .set("source", "from the <b>pile</b>");
    let back = shop.submit(form).await;
    assert!(back.text("[role=alert]").contains("everything you typed is still here"));
    assert_eq!(back.text("#grade-problem"), "This is needed.");
    assert!(
        back.text("#container_tare-problem").contains("2.5 lb"),
        "{}",
        back.text("#container_tare-problem")
    );
    let form = back.form("form[action='/lots/new']");
    for (field, typed) in [("label", "Bag 1"), ("container_tare", "2.5"), ("source", "from the <b>pile</b>")]
    {
        assert_eq!(form.value(field), typed);
    }
    shop.submit(form.set("grade", "copper-2").set("container_tare", "2.5 oz")).await.ok();
    assert_eq!(shop.store.open_lots(&shop.id).await.expect("lots").len(), 1);

    let long = new_lot(shop).await.set("grade", "copper-2").set("label", &"x".repeat(25));
    assert!(shop.submit(long).await.text("#label-problem").contains("24 is the most"));
    let unknown = new_lot(shop).await.forge("grade", "copper-99").set("label", "Bag 2");
    assert!(shop.submit(unknown).await.text("[role=alert]").contains("not there any more"));
    assert_eq!(containers(shop).await, 1, "no container without its lot");
}

async fn a_label_is_on_one_container(shop: &TestShop) {
    shop.bag("Bag 1", "copper-2").await;
    let back = shop.submit(new_lot(shop).await.set("grade", "copper-1").set("label", "Bag 1")).await;
    assert!(back.text("#label-problem").contains("there already"));
    assert_eq!(back.form("form[action='/lots/new']").value("grade"), "copper-1");
}

async fn the_list_adds_up_by_family(shop: &TestShop) {
    for (label, grade, net) in [
        ("Bag 1", "copper-1", "1 lb"),
        ("Bag 2", "copper-2", "2 lb 8 oz"),
        ("Bag 3", "board-set-top", "12 oz"),
    ] {
        let lot = shop.bag(label, grade).await;
        shop.put(&lot, net).await;
    }
    let list = shop.get("/lots").await.ok();
    assert_eq!(list.texts("h2 .number"), ["3 lb 8.0 oz · no price", "12.0 oz · no price"]);
    assert_eq!(list.text(".figure"), "0.00 USD 4 lb 4.0 oz on the shelf");
    let lot = shop.get(&list.link("2 lb 8.0 oz")).await.ok();
    assert_eq!(lot.text(".figure.huge"), "2 lb 8.0 oz");
}

async fn the_ledger_shows_every_weighing(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.put(&lot, "1 lb").await;
    let second = shop.put(&lot, "3 oz").await;
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    assert_eq!(page.texts("tbody td.number"), ["3.0 oz", "1 lb 0.0 oz"], "newest first");
    shop.submit(page.form(&format!("form[action='/weighings/{second}/undo']"))).await.ok();
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    assert_eq!(page.texts("tbody td.number"), ["−3.0 oz", "3.0 oz", "1 lb 0.0 oz"]);
    assert_eq!(page.texts("form[action$='/undo']").len(), 1, "only what was not undone can be");
    assert!(page.text("tbody").contains("Imke"));
}

async fn split_form(shop: &TestShop, lot: &str) -> Form {
    shop.get(&format!("/lots/{lot}/split")).await.ok().form("form[action$='/split']")
}

async fn part_of_a_lot_is_split_off(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.put(&lot, "5 lb").await;
    let form = split_form(shop, &lot).await.set("mass", "2 lb 5 oz").set("label", "Bag 2");
    let page = shop.submit(form).await.ok();
    assert_eq!(page.text(".figure.huge"), "2 lb 5.0 oz");
    assert_eq!(shop.lot(&lot).await.net, mass("5 lb") - mass("2 lb 5 oz"));
    let part = page.url.trim_start_matches("/lots/").to_string();
    assert_eq!(shop.lot(&part).await.grade_id.as_str(), "copper-2");
    let ledger = shop.store.ledger(&shop.id, &part).await.expect("a ledger");
    assert_eq!((ledger[0].kind, ledger[0].other_lot_id.as_ref()), (WeighingKind::SplitIn, Some(&lot)));
    assert_eq!(ledger[0].typed, "2 lb 5 oz");
}

async fn no_more_is_split_off_than_there_is(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.put(&lot, "5 oz").await;
    for too_much in ["5 oz", "5.01 oz", "1 lb", "0", "", "1000 t"] {
        let form = split_form(shop, &lot).await.set("mass", too_much).set("label", "Bag 2");
        let back = shop.submit(form).await;
        assert!(!back.text("#mass-problem").is_empty(), "{too_much}");
        assert_eq!(back.form("form[action$='/split']").value("mass"), too_much);
    }
    // Somebody takes some out between opening the form and sending it.
    let form = split_form(shop, &lot).await.set("mass", "4 oz").set("label", "Bag 2");
    shop.submit(split_form(shop, &lot).await.set("mass", "2 oz").set("label", "Bag 3")).await.ok();
    assert!(shop.submit(form).await.text("#mass-problem").contains("less than the 3.0 oz"));
    let pieces = split_form(shop, &lot).await.set("mass", "1 oz").set("pieces", "3").set("label", "Bag 2");
    assert!(shop.submit(pieces).await.text("[role=alert]").contains("less than nothing"));

    assert_eq!(shop.lot(&lot).await.net, mass("5 oz") - mass("2 oz"));
    assert_eq!(containers(shop).await, 2);
}

async fn split_twice_it_moves_once(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.put(&lot, "10 lb").await;
    let form = split_form(shop, &lot).await.set("mass", "6 lb").set("label", "Bag 2");
    let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    let third = shop.submit(form).await.ok();
    assert_eq!((first.ok().url, second.ok().url), (third.url.clone(), third.url));
    assert_eq!(shop.lot(&lot).await.net, mass("10 lb") - mass("6 lb"));
}

async fn merge_form(shop: &TestShop, lot: &str, into: &str) -> Form {
    shop.get(&format!("/lots/{lot}/merge")).await.ok().form("form[action$='/merge']").set("into", into)
}

async fn all_of_a_lot_goes_on_another(shop: &TestShop) {
    let from = shop.bag("Bag 1", "copper-2").await;
    let into = shop.bag("Bag 2", "copper-2").await;
    shop.put(&from, "1 lb").await;
    shop.put(&into, "3 lb").await;
    let unchosen = shop.get(&format!("/lots/{from}/merge")).await.ok();
    assert!(
        shop.submit(unchosen.form("form[action$='/merge']")).await.says("Choose the lot that it goes on")
    );

    let page = shop.submit(merge_form(shop, &from, &into).await).await.ok();
    assert_eq!(page.text(".figure.huge"), "4 lb 0.0 oz");
    assert!(matches!(shop.lot(&from).await.state, LotState::Closed { .. }));
    assert!(shop.lot(&from).await.net.is_zero());
    let gone = shop.get(&format!("/lots/{from}")).await.ok();
    assert!(gone.says("Nothing of it is here"));
    assert!(!gone.has("a[href$='/weigh'].button"), "a lot that is gone is offered for weighing");
}

async fn a_lot_of_another_grade_is_not_merged(shop: &TestShop) {
    let from = shop.bag("Bag 1", "copper-2").await;
    let same = shop.bag("Bag 2", "copper-2").await;
    let other = shop.bag("Bag 3", "copper-1").await;
    shop.put(&from, "1 lb").await;
    let form = merge_form(shop, &from, &same).await;
    assert_eq!(form.options("into"), [same.as_str()]);
    for (into, refusal) in
        [(&other, "different grades"), (&from, "with itself"), (&"no-such-lot".to_string(), "not there")]
    {
        let back = shop.submit(form.clone().forge("into", into)).await;
        assert!(back.text("[role=alert]").contains(refusal), "{}", back.text("[role=alert]"));
    }
    // The two are regraded apart between opening the form and sending it.
    let regrade = shop.get(&format!("/lots/{same}/regrade")).await.form("form[action$='/regrade']");
    shop.submit(regrade.set("grade", "copper-light")).await.ok();
    assert!(shop.submit(form).await.says("different grades"));
    assert_eq!(shop.lot(&from).await.net, mass("1 lb"));
}

async fn merged_twice_it_moves_once(shop: &TestShop) {
    let from = shop.bag("Bag 1", "copper-2").await;
    let into = shop.bag("Bag 2", "copper-2").await;
    shop.put(&from, "1 lb").await;
    let form = merge_form(shop, &from, &into).await;
    let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    let third = shop.submit(form).await;
    for page in [first, second, third] {
        assert_eq!(page.ok().url, format!("/lots/{into}"));
    }
    assert_eq!(shop.lot(&into).await.net, mass("1 lb"));
}

async fn regrade_form(shop: &TestShop, lot: &str) -> Form {
    shop.get(&format!("/lots/{lot}/regrade")).await.ok().form("form[action$='/regrade']")
}

async fn a_lot_is_regraded_on_record(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-1").await;
    shop.put(&lot, "1 lb").await;
    let form = regrade_form(shop, &lot).await;
    assert_eq!(form.value("grade"), "copper-1");
    let page = shop.submit(form.set("grade", "copper-2")).await.ok();
    assert_eq!(page.url, format!("/lots/{lot}"));
    let regraded = shop.lot(&lot).await;
    assert_eq!((regraded.grade_id.as_str(), regraded.net), ("copper-2", mass("1 lb")));
    let sql = "SELECT from_grade_id, to_grade_id FROM regrades WHERE lot_id = $1";
    let rows: Vec<(String, String)> =
        sqlx::query_as(sql).bind(&lot).fetch_all(&mut shop.connect().await).await.expect("regrades");
    assert_eq!(rows, [("copper-1".to_string(), "copper-2".to_string())]);
}

async fn a_retired_grade_is_not_given(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-1").await;
    let regrade = regrade_form(shop, &lot).await.set("grade", "copper-2");
    let open = new_lot(shop).await.set("grade", "copper-2").set("label", "Bag 2");
    shop.retire_grade("copper-2").await;
    for form in [regrade, open] {
        assert!(shop.submit(form).await.text("[role=alert]").contains("retired"));
    }
    assert!(!new_lot(shop).await.options("grade").contains(&"copper-2".to_string()));
    assert_eq!(shop.lot(&lot).await.grade_id.as_str(), "copper-1");
}

async fn a_lot_of_a_retired_grade_is_not_regraded_by_accident(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.retire_grade("copper-2").await;
    assert!(shop.get(&format!("/lots/{lot}")).await.ok().says("The grade has been retired"));
    let form = regrade_form(shop, &lot).await;
    assert_eq!(form.value("grade"), "", "a grade is chosen that nobody chose");
    assert_eq!(shop.submit(form.clone()).await.text("#grade-problem"), "This is needed.");
    shop.submit(form.set("grade", "copper-1")).await.ok();
    assert_eq!(shop.lot(&lot).await.grade_id.as_str(), "copper-1");
}

fn note_form(lot: &str) -> String {
    format!("form[action='/lots/{lot}']")
}

async fn of_two_who_edit_a_note_the_second_is_told(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let tobias = shop.phone_of(&shop.partners[1]);
    let page = format!("/lots/{lot}");
    let mine =
        shop.get(&page).await.ok().form(&note_form(&lot)).set("note", "mine").set("source", "the school");
    let theirs = tobias.get(&page).await.ok().form(&note_form(&lot)).set("note", "theirs");
    tobias.submit(theirs).await.ok();

    let told = shop.submit(mine).await;
    assert!(told.text("[role=alert]").contains("Changed meanwhile"));
    let stored = told.texts(".stored");
    assert_eq!(stored, ["Stored now: (empty)", "Stored now: theirs"], "both stand beside their field");
    let form = told.form(&note_form(&lot));
    assert_eq!((form.value("note"), form.value("source")), ("mine", "the school"));
    assert_eq!(shop.lot(&lot).await.note, "theirs", "nothing was overwritten");

    // Sent once more, it is a choice made with both in view.
    shop.submit(form).await.ok();
    assert_eq!(shop.lot(&lot).await.note, "mine");
}

async fn saved_twice_it_is_saved(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let page = format!("/lots/{lot}");
    let note = shop
        .get(&page)
        .await
        .ok()
        .form(&note_form(&lot))
        .set("note", "two\nlines")
        .set("source", " the school ");
    for _ in 0..2 {
        let saved = shop.submit(note.clone()).await.ok();
        assert!(!saved.has("[role=alert]"), "who saved it is told that somebody else did");
    }
    let regrade = regrade_form(shop, &lot).await.set("grade", "copper-1");
    for _ in 0..2 {
        let saved = shop.submit(regrade.clone()).await.ok();
        assert_eq!(saved.url, page);
    }
    assert_eq!(shop.lot(&lot).await.note, "two\nlines");
    assert_eq!(shop.get(&page).await.form(&note_form(&lot)).value("note"), "two\nlines");
}

async fn of_two_who_regrade_the_second_is_told(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-1").await;
    let mine = regrade_form(shop, &lot).await.set("grade", "copper-2");
    let theirs = regrade_form(shop, &lot).await.set("grade", "copper-light");
    shop.submit(theirs).await.ok();
    let told = shop.submit(mine).await;
    assert!(told.text("[role=alert]").contains("Changed meanwhile"));
    let light = shop.store.grade(&shop.id, "copper-light").await.expect("the grade").details.name;
    assert_eq!(told.text(".stored"), format!("Stored now: {light}"));
    assert_eq!(told.form("form[action$='/regrade']").value("grade"), "copper-2");
    assert_eq!(shop.lot(&lot).await.grade_id.as_str(), "copper-light");
}

async fn hostile_words_are_only_words(shop: &TestShop) {
    let hostile = "</textarea><script>alert(1)</script>\"' onfocus=x {{7*7}}";
    let label = "<img src=x>\"'&amp;";
    let weigh = shop.submit(new_lot(shop).await.set("grade", "copper-2").set("label", label)).await.ok();
    let lot = weigh.url.trim_start_matches("/lots/").trim_end_matches("/weigh").to_string();
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    let form = page
        .form(&note_form(&lot))
        .set("note", hostile)
        .set("source", &format!("{hostile}\0'; DROP TABLE lots; --"));
    shop.submit(form).await.ok();
    let container = shop.lot(&lot).await.container_id;
    let lot_address = format!("/lots/{lot}");
    for address in [
        lot_address.as_str(),
        "/lots",
        "/weigh",
        "/containers",
        &format!("/containers/{container}/label"),
        &format!("/containers/{container}/edit"),
    ] {
        let page = shop.get(address).await.ok();
        assert!(page.says(label), "{address}");
        assert!(!page.has("script:not([src]), img[src=x], [onfocus]"), "{address}: {}", page.body);
    }
    let form = shop.get(&lot_address).await.form(&note_form(&lot));
    assert_eq!(form.value("note"), hostile);
    assert!(form.value("source").contains("DROP TABLE lots"));

    let missing = shop.get("/lots/%00").await;
    assert_eq!(missing.status, StatusCode::NOT_FOUND);
}

/// How many containers are in use.
async fn containers(shop: &TestShop) -> usize {
    let wanted = Wanted { out_of_use: false, label: "", most: 100, after: 0 };
    shop.store.containers(&shop.id, &wanted).await.expect("containers").len()
}
