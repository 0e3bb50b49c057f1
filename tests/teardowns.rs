//! Teardowns: from the cautions to the balance, on either phone, and what they teach.

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use jiff::{Timestamp, ToSpan};
use pennyweight::store::By;
use pennyweight::store::new_id;
use pennyweight::store::teardowns::{NewEntry, NewEntryKind, TeardownState};

use crate::common::{Form, Page, TestShop, mass, on_both};

on_both![
    a_unit_is_taken_apart_from_cautions_to_balance,
    parts_go_straight_on_their_bags,
    a_part_that_was_weighed_twice_is_told,
    sent_twice_everything_counts_once,
    the_other_partner_goes_on_with_it,
    a_timer_left_running_is_asked_about,
    parts_heavier_than_the_whole_are_told,
    who_finishes_has_seen_all_of_it,
    a_reading_that_means_two_things_is_asked_about,
    what_was_entered_by_mistake_is_taken_back,
    a_kind_that_is_gone_or_renamed_goes_on,
    a_dropped_one_teaches_nothing,
    finished_ones_teach_masses_and_minutes,
    entries_come_in_from_a_phone_that_kept_them,
    a_part_without_a_bag_gets_one,
    other_shops_and_no_shops_are_not_there,
    a_unit_left_half_open_is_found_and_gone_on_with,
    at_no_wage_and_without_prices_it_goes_on,
    what_is_precious_is_not_left_in_what_goes,
];

async fn begin(shop: &TestShop) -> Page {
    let begin = shop.get("/bench/tower-computer").await.ok().form("#begin");
    shop.submit(begin.set("seen", "yes").set("source", "the school")).await.ok()
}

async fn yard(shop: &TestShop) {
    shop.near_yard(&[("steel-light", "0.08/lb"), ("board-desktop", "2.50/lb"), ("memory-gold", "12.00/lb")])
        .await;
}

fn id_of(page: &Page) -> String {
    page.url.trim_start_matches("/teardowns/").split(['#', '?']).next().unwrap_or_default().to_string()
}

fn part_form(page: &Page, part: &str) -> Form {
    page.form(&format!("#part-{part} form"))
}

/// Weighs a part in on the lot that the form offers.
async fn weigh(shop: &TestShop, page: &Page, part: &str, reading: &str) -> Page {
    let form = part_form(page, part);
    let lot = form.options("lot").iter().find(|lot| !lot.is_empty()).expect("a bag").clone();
    let echo = shop.submit(form.set("lot", &lot).set("reading", reading)).await.ok();
    shop.submit(echo.form("form[action$='/weighings']")).await.ok()
}

async fn whole(shop: &TestShop, page: &Page, reading: &str) -> Page {
    shop.submit(page.form("form[action$='/whole']").set("reading", reading)).await.ok()
}

async fn waste(shop: &TestShop, page: &Page, reading: &str) -> Page {
    shop.submit(page.form("form[action$='/waste']").set("reading", reading)).await.ok()
}

async fn a_unit_is_taken_apart_from_cautions_to_balance(shop: &TestShop) {
    yard(shop).await;
    let boards = shop.bag("Bag 1", "board-desktop").await;
    shop.bag("Bag 2", "memory-gold").await;
    let page = begin(shop).await;
    assert_eq!(page.text("h1"), "Tower computer");
    assert!(page.says("the school"));
    let page = whole(shop, &page, "9600 g").await;
    let page = shop.submit(page.form("form[action$='/timer']")).await.ok();
    assert!(page.says("Stop the timer"));
    let page = weigh(shop, &page, "main-board", "640 g").await;
    let page = weigh(shop, &page, "memory", "36 g").await;
    assert!(page.text("#part-main-board summary").contains('✓'));
    let page = waste(shop, &page, "8000 g").await;
    assert!(page.text("#balance").contains("Unaccounted"), "{}", page.text("#balance"));
    let page = waste(shop, &page, "924 g").await;
    assert!(page.text("#balance").contains("within the scale"), "{}", page.text("#balance"));
    let done = shop.submit(page.form("#finish")).await.ok();
    assert!(done.says("finished") && done.says("was expected"));
    let teardown = shop.store.teardown(&shop.id, &id_of(&done)).await.expect("the teardown");
    let TeardownState::Finished { outcome, .. } = teardown.state else { panic!("{:?}", teardown.state) };
    // 640 g at 2.50 and 36 g at 12.00 the pound, both without a drive of their own.
    assert_eq!(outcome.recovered.round_dp(2).to_string(), "4.48");
    assert!(outcome.is_even);
    assert_eq!(shop.lot(&boards).await.net, mass("640 g"));
    let list = shop.get("/teardowns").await.ok();
    assert!(list.text(".tickets").contains("Tower computer"));
    list.without_ids();
    done.without_ids();
}

async fn parts_go_straight_on_their_bags(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    let page = weigh(shop, &begin(shop).await, "main-board", "1 lb 6.5 oz").await;
    assert_eq!(shop.lot(&lot).await.net, mass("1 lb 6.5 oz"));
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("the ledger");
    assert_eq!(ledger.len(), 1);
    // Undone on its receipt, it is off the bag and off the teardown.
    let receipt = shop.get(&page.link("on Bag 1")).await.ok();
    shop.submit(receipt.form("form[action$='/undo']")).await.ok();
    assert!(shop.lot(&lot).await.net.is_zero());
    let page = shop.get(&format!("/teardowns/{}", id_of(&page))).await.ok();
    assert!(!page.text("#part-main-board summary").contains('✓'));
}

async fn a_part_that_was_weighed_twice_is_told(shop: &TestShop) {
    yard(shop).await;
    shop.bag("Bag 1", "board-desktop").await;
    let page = weigh(shop, &begin(shop).await, "main-board", "640 g").await;
    let form = part_form(&page, "main-board");
    let lot = form.options("lot")[0].clone();
    let echo = shop.submit(form.set("lot", &lot).set("reading", "640 g")).await.ok();
    assert!(echo.text(".notice.wrong").contains("weighed in already"), "{}", echo.text(".notice.wrong"));
    let page = shop.submit(echo.form("form[action$='/weighings']")).await.ok();
    assert!(page.text("#part-main-board summary").contains("weighed twice?"));
}

async fn sent_twice_everything_counts_once(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    let begin = shop.get("/bench/tower-computer").await.ok().form("#begin").set("seen", "yes");
    let (one, two) = tokio::join!(shop.submit(begin.clone()), shop.submit(begin));
    let (page, two) = (one.ok(), two.ok());
    assert_eq!(page.url, two.url);
    assert_eq!(shop.store.open_teardowns(&shop.id).await.expect("teardowns").len(), 1);

    let weighed = page.form("form[action$='/whole']").set("reading", "9600 g");
    for _ in 0..2 {
        shop.submit(weighed.clone()).await.ok();
    }
    let form = part_form(&page, "main-board").set("lot", &lot).set("reading", "640 g");
    let put = shop.submit(form).await.ok().form("form[action$='/weighings']");
    let (one, two) = tokio::join!(shop.submit(put.clone()), shop.submit(put.clone()));
    assert_eq!((one.ok().status, two.ok().status), (StatusCode::OK, StatusCode::OK));
    assert_eq!(shop.lot(&lot).await.net, mass("640 g"));
    let log = shop.store.teardown_log(&shop.id, &id_of(&page)).await.expect("the log");
    assert_eq!(log.len(), 3, "seen, whole and a part: {log:?}");
    let finish = shop.get(&page.url).await.ok().form("#finish");
    for _ in 0..2 {
        assert!(shop.submit(finish.clone()).await.ok().says("finished"));
    }
    // Of the weighing sent once more after that, the first one counted.
    assert_eq!(shop.submit(put).await.ok().status, StatusCode::OK);
    assert_eq!(shop.lot(&lot).await.net, mass("640 g"));
}

async fn the_other_partner_goes_on_with_it(shop: &TestShop) {
    yard(shop).await;
    shop.bag("Bag 1", "board-desktop").await;
    let page = whole(shop, &begin(shop).await, "9600 g").await;
    shop.submit(page.form("form[action$='/timer']")).await.ok();
    let tobias = shop.phone_of(&shop.partners[1]);
    let bench = tobias.get("/bench").await.ok();
    let resumed = tobias.get(&bench.link("Tower computer")).await.ok();
    assert!(resumed.says("Stop the timer") && resumed.text("#whole").contains("21 lb"));
    let stopped = tobias.submit(resumed.form("form[action$='/timer']")).await.ok();
    assert!(stopped.says("Start the timer"));
    assert!(stopped.text("#entries").contains("Tobias"));
}

async fn a_timer_left_running_is_asked_about(shop: &TestShop) {
    yard(shop).await;
    let page = begin(shop).await;
    let id = id_of(&page);
    let yesterday = Timestamp::now() - 15.hours();
    let entry =
        NewEntry { id: &new_id(), teardown_id: &id, kind: NewEntryKind::Start, typed: "", at: yesterday };
    shop.store.add_entry(&By { at: yesterday, ..shop.by() }, &entry).await.expect("the timer starts");
    let page = shop.get(&page.url).await.ok();
    assert!(page.text("#timer").contains("has been running since"));
    let early = shop.submit(page.form("#finish")).await.ok();
    assert!(early.text("#finish [role=alert]").contains("Say above when you stopped"));
    let unsaid = shop.submit(page.form("form[action$='/timer']")).await.ok();
    assert!(unsaid.text("#timer .problem").contains("A number is needed"));
    let stopped = shop.submit(unsaid.form("form[action$='/timer']").set("worked", "25")).await.ok();
    assert_eq!(stopped.text("#timer .figure").split(" of ").next(), Some("25 min"));
}

async fn parts_heavier_than_the_whole_are_told(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    let page = whole(shop, &begin(shop).await, "600 g").await;
    let page = weigh(shop, &page, "main-board", "640 g").await;
    assert!(page.text("#balance").contains("weigh more than the whole"));
    let told = shop.submit(page.form("#finish")).await.ok();
    assert!(told.text("#finish [role=alert]").contains("one of the readings is wrong"));
    assert_eq!(shop.lot(&lot).await.net, mass("640 g"), "nothing is lost by it");
    // Weighed again, the last weight counts.
    let page = whole(shop, &told, "9.6 kg").await;
    assert!(page.text("#balance").contains("Unaccounted"));
    assert!(shop.submit(page.form("#finish")).await.ok().says("finished"));
    // And one that is finished all the same teaches nothing.
    let page = whole(shop, &begin(shop).await, "600 g").await;
    let page = weigh(shop, &page, "main-board", "640 g").await;
    let told = shop.submit(page.form("#finish")).await.ok();
    shop.submit(told.form("#finish").set("all_the_same", "yes")).await.ok();
    assert!(shop.get("/bench/tower-computer").await.ok().says("Learned from 1 teardown"));
}

async fn who_finishes_has_seen_all_of_it(shop: &TestShop) {
    yard(shop).await;
    let page = whole(shop, &begin(shop).await, "9600 g").await;
    let finish = page.form("#finish");
    let tobias = shop.phone_of(&shop.partners[1]);
    tobias
        .submit(tobias.get(&page.url).await.ok().form("form[action$='/waste']").set("reading", "1 kg"))
        .await
        .ok();
    let told = shop.submit(finish).await.ok();
    assert!(told.text("#finish [role=alert]").contains("entered meanwhile"));
    assert!(told.text("#balance").contains("2 lb 3.3 oz"), "{}", told.text("#balance"));
    assert!(shop.submit(told.form("#finish")).await.ok().says("finished"));
}

async fn a_reading_that_means_two_things_is_asked_about(shop: &TestShop) {
    yard(shop).await;
    let page = begin(shop).await;
    for unclear in ["21.5", "21.5 lb"] {
        let asked = whole(shop, &page, unclear).await;
        assert!(asked.text("#whole [role=alert]").contains("What did the scale show?"), "{unclear}");
        assert!(asked.text("#balance").contains("not weighed"));
    }
    let asked = whole(shop, &page, "21.5 lb").await;
    let ounces = asked.forms("#whole form").into_iter().find(|form| form.value("reading").contains("5 oz"));
    let kept = shop.submit(ounces.expect("pounds and ounces are offered")).await.ok();
    assert!(kept.text("#whole").contains("21 lb 5.0 oz"), "{}", kept.text("#whole"));
    for wrong in ["", "heavy", "2 lb 17 oz", "-3 kg"] {
        let refused = whole(shop, &page, wrong).await;
        assert!(refused.has("#whole .problem"), "{wrong}");
    }
}

async fn what_was_entered_by_mistake_is_taken_back(shop: &TestShop) {
    yard(shop).await;
    let page = waste(shop, &whole(shop, &begin(shop).await, "9600 g").await, "2 kg").await;
    let back = page.forms("#entries form");
    assert_eq!(back.len(), 2);
    let page = shop.submit(back[0].clone()).await.ok();
    assert_eq!(page.forms("#entries form").len(), 1);
    assert!(!page.text("#balance").contains("4 lb 6.5 oz"));
    // Once is enough.
    assert_eq!(shop.submit(back[0].clone()).await.status, StatusCode::CONFLICT);
}

async fn a_kind_that_is_gone_or_renamed_goes_on(shop: &TestShop) {
    yard(shop).await;
    shop.bag("Bag 1", "board-desktop").await;
    let page = begin(shop).await;
    let mut connection = shop.connect().await;
    sqlx::query("UPDATE teardowns SET kind_name = 'Big box'")
        .execute(&mut connection)
        .await
        .expect("an update");
    let renamed = shop.get(&page.url).await.ok();
    assert!(renamed.says("calls this kind Tower computer now"));
    sqlx::query("UPDATE teardowns SET kind_id = 'no-such-kind'")
        .execute(&mut connection)
        .await
        .expect("an update");
    let gone = shop.get(&page.url).await.ok();
    assert!(gone.says("has no such kind any more"));
    let page = weigh(shop, &gone, "main-board", "640 g").await;
    assert!(shop.submit(page.form("#finish")).await.ok().says("finished"));
    shop.get("/bench").await.ok();
}

async fn a_dropped_one_teaches_nothing(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    let page = weigh(shop, &begin(shop).await, "main-board", "900 g").await;
    let late = part_form(&page, "main-board").set("lot", &lot).set("reading", "1 g");
    let dropped = shop.submit(page.form("form[action$='/drop']")).await.ok();
    assert!(dropped.says("What was weighed in is on its bags"));
    assert_eq!(shop.lot(&lot).await.net, mass("900 g"));
    assert!(
        shop.get("/bench/tower-computer").await.ok().says("our estimate until you have taken some apart")
    );
    assert!(!shop.get("/bench").await.ok().says("Lying open"));
    // A phone that still shows it open is told.
    let echo = shop.submit(late).await.ok();
    let told = shop.submit(echo.form("form[action$='/weighings']")).await;
    assert!(told.text("[role=alert]").contains("dropped"), "{}", told.text("[role=alert]"));
    assert_eq!(shop.lot(&lot).await.net, mass("900 g"));
}

async fn finished_ones_teach_masses_and_minutes(shop: &TestShop) {
    yard(shop).await;
    shop.bag("Bag 1", "board-desktop").await;
    for _ in 0..2 {
        let page = begin(shop).await;
        let page = weigh(shop, &page, "main-board", "840 g").await;
        shop.submit(page.form("#finish")).await.ok();
    }
    let page = shop.get("/bench/tower-computer").await.ok();
    assert!(page.says("Learned from 2 teardowns of yours"));
    // The library says 640 g and counts as two.
    let step = page.text("#step-main-board");
    assert!(step.contains("1 lb 10.1 oz") && step.contains("2 weighed, 80 % between"), "{step}");
    // Opened again, it teaches no more until it is finished.
    let done = shop.get("/teardowns").await.ok();
    let one = shop.get(&done.link("Tower computer")).await.ok();
    let reopened = shop.submit(one.form("form[action$='/reopen']")).await.ok();
    assert!(reopened.has("#finish"));
    assert!(shop.get("/bench/tower-computer").await.ok().says("Learned from 1 teardown of yours"));
}

async fn entry(shop: &TestShop, teardown: &str, body: &str) -> Page {
    let phone = shop.phone();
    let request = phone
        .request("POST", &format!("/api/v1/teardowns/{teardown}/entries"))
        .header(CONTENT_TYPE, "application/json")
        .header("x-form-token", phone.form_token().expect("signed in"))
        .header("sec-fetch-site", "same-origin");
    phone.send(request.body(Body::from(body.to_string())).expect("a request")).await
}

async fn entries_come_in_from_a_phone_that_kept_them(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    let page = begin(shop).await;
    let id = id_of(&page);
    let ago = |minutes: i64| (Timestamp::now() - minutes.minutes()).to_string();
    let start = format!(r#"{{"id": "{}", "kind": "start", "at": "{}"}}"#, new_id(), ago(50));
    let stop = format!(r#"{{"id": "{}", "kind": "stop", "at": "{}"}}"#, new_id(), ago(20));
    let weighed =
        format!(r#"{{"id": "{}", "kind": "whole", "reading": "9600 g", "at": "{}"}}"#, new_id(), ago(51));
    // They come in any order, and each twice.
    for body in [&stop, &weighed, &start, &stop, &start, &weighed] {
        assert_eq!(entry(shop, &id, body).await.status, StatusCode::OK);
    }
    let page = shop.get(&page.url).await.ok();
    assert_eq!(page.text("#timer .figure").split(" of ").next(), Some("30 min"));
    assert!(page.text("#whole").contains("21 lb 2.6 oz"));
    let phone = shop.phone();
    let part = format!(
        r#"{{"id": "{}", "lot": "{lot}", "reading": "640 g", "teardown": "{id}", "part": "main-board"}}"#,
        new_id()
    );
    for _ in 0..2 {
        let request = phone
            .request("POST", "/api/v1/weighings")
            .header(CONTENT_TYPE, "application/json")
            .header("x-form-token", phone.form_token().expect("signed in"))
            .header("sec-fetch-site", "same-origin");
        let answer = phone.send(request.body(Body::from(part.clone())).expect("a request")).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
    }
    assert_eq!(shop.lot(&lot).await.net, mass("640 g"));
    assert!(shop.get(&page.url).await.ok().text("#part-main-board summary").contains('✓'));

    for (body, status) in [
        (r#"{"id": "x", "kind": "start"}"#.to_string(), StatusCode::BAD_REQUEST),
        (format!(r#"{{"id": "{}", "kind": "burn"}}"#, new_id()), StatusCode::UNPROCESSABLE_ENTITY),
        (
            format!(r#"{{"id": "{}", "kind": "burn", "reading": "1 kg"}}"#, new_id()),
            StatusCode::UNPROCESSABLE_ENTITY,
        ),
        (format!(r#"{{"id": "{}", "kind": "whole", "reading": "9.5"}}"#, new_id()), StatusCode::CONFLICT),
        ("{".to_string(), StatusCode::BAD_REQUEST),
    ] {
        assert_eq!(entry(shop, &id, &body).await.status, status, "{body}");
    }
    let there = format!(r#"{{"id": "{}", "kind": "start"}}"#, new_id());
    assert_eq!(entry(shop, &new_id(), &there).await.status, StatusCode::NOT_FOUND);
}

async fn a_part_without_a_bag_gets_one(shop: &TestShop) {
    yard(shop).await;
    let page = begin(shop).await;
    let new = shop.get(&page.link("Open a bag for Desktop main boards")).await.ok();
    let form = new.form("form[action='/lots/new']").set("label", "Bag 7");
    assert_eq!(form.value("grade"), "board-desktop");
    let weigh = shop.submit(form).await.ok();
    assert!(weigh.text(".notice").contains("Main board of Tower computer"));
    let echo = shop.submit(weigh.form("#weigh").set("reading", "1 lb 6 oz")).await.ok();
    let page = shop.submit(echo.form("form[action$='/weighings']")).await.ok();
    assert!(page.text("#part-main-board summary").contains('✓'), "{}", page.url);
    // What is left of it goes on any bag.
    shop.bag("Bag 8", "steel-light").await;
    let any = shop.get(&format!("/weigh?teardown={}&part=tower-computer", id_of(&page))).await.ok();
    let rest = shop.get(&any.link("Bag 8")).await.ok();
    assert!(rest.text(".notice").contains("The rest of Tower computer"));
}

async fn other_shops_and_no_shops_are_not_there(shop: &TestShop) {
    yard(shop).await;
    let page = begin(shop).await;
    let id = id_of(&page);
    let other = shop.open_another().await;
    assert!(shop.store.teardown(&other.shop_id, &id).await.is_err());
    assert!(shop.store.open_teardowns(&other.shop_id).await.expect("none").is_empty());
    let theirs =
        NewEntry { id: &new_id(), teardown_id: &id, kind: NewEntryKind::Start, typed: "", at: other.at };
    assert!(shop.store.add_entry(&other, &theirs).await.is_err());
    let lot = shop.bag("Bag 1", "board-desktop").await;
    // A part that the kind does not have, and a teardown that is not there.
    let form =
        part_form(&shop.get(&page.url).await.ok(), "main-board").set("lot", &lot).set("reading", "640 g");
    let echo = shop.submit(form).await.ok().form("form[action$='/weighings']");
    let odd = shop.submit(echo.clone().forge("part", "gold-bar")).await;
    assert!(odd.says("has no such part"), "{}", odd.text("body"));
    let nowhere = shop.submit(echo.forge("teardown", &new_id())).await;
    assert_eq!(nowhere.status, StatusCode::NOT_FOUND);
    assert!(shop.lot(&lot).await.net.is_zero());
    for address in ["/teardowns/no-such", "/teardowns/%00"] {
        assert_eq!(shop.get(address).await.status, StatusCode::NOT_FOUND);
    }
}

async fn a_unit_left_half_open_is_found_and_gone_on_with(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    let page = whole(shop, &begin(shop).await, "9600 g").await;
    let page = shop.submit(page.form("form[action$='/timer']")).await.ok();
    let page = weigh(shop, &page, "main-board", "640 g").await;
    let id = id_of(&page);
    // Three weeks go by.
    let ago = (Timestamp::now() - (21 * 24).hours()).to_string();
    let mut connection = shop.connect().await;
    for sql in ["UPDATE teardowns SET started_at = $1", "UPDATE teardown_entries SET at = $1"] {
        sqlx::query(sql).bind(&ago).execute(&mut connection).await.expect("an update");
    }
    let bench = shop.get("/bench").await.ok();
    assert!(
        bench.says("Lying open") && bench.text("main").contains("begun 21 days ago"),
        "{}",
        bench.text("main")
    );
    let page = shop.get(&bench.link("Tower computer")).await.ok();
    assert_eq!(id_of(&page), id);
    assert!(page.text("#part-main-board summary").contains('✓'), "nothing is lost");
    assert!(page.text("#timer").contains("The timer has been running since"));
    let page = shop.submit(page.form("form[action$='/timer']").set("worked", "12")).await.ok();
    assert_eq!(page.text("#timer .figure").split(" of ").next(), Some("12 min"));
    let page = waste(shop, &page, "8960 g").await;
    assert!(shop.submit(page.form("#finish")).await.ok().says("finished"));
    assert_eq!(shop.lot(&lot).await.net, mass("640 g"));
}

async fn at_no_wage_and_without_prices_it_goes_on(shop: &TestShop) {
    // No sheet at all, and nobody pays for an hour.
    let form = shop.get("/shop").await.ok().form("form[action='/shop']");
    shop.submit(form.set("labour", "0")).await.ok();
    shop.bag("Bag 1", "board-desktop").await;
    let bench = shop.get("/bench/tower-computer").await.ok();
    assert_eq!(bench.form("form[data-answers]").value("rate"), "0");
    assert!(bench.text("#answer .notice").contains("count as nothing"), "{}", bench.text("#answer"));
    let page = begin(shop).await;
    assert!(page.text("#part-main-board").contains("No sheet prices it: it counts as nothing."));
    let page = shop.submit(page.form("form[action$='/timer']")).await.ok();
    let page = weigh(shop, &page, "main-board", "640 g").await;
    let done = shop.submit(page.form("#finish")).await.ok();
    assert_eq!(done.text(".figure.huge"), "0.00 USD", "{}", done.text("main"));
    // Once there is a sheet, what was weighed in counts at what it brings then.
    yard(shop).await;
    let page = begin(shop).await;
    let page = weigh(shop, &page, "main-board", "2 lb").await;
    // At no wage all of it is left: 2 lb at 2.50.
    assert_eq!(shop.submit(page.form("#finish")).await.ok().text(".figure.huge"), "5.00 USD");
}

async fn what_is_precious_is_not_left_in_what_goes(shop: &TestShop) {
    yard(shop).await;
    shop.bag("Bag 1", "board-desktop").await;
    let low = shop.bag("Box 2", "steel-light").await;
    let page = begin(shop).await;
    // Common practice, no source: a tower's processor is kept back, on its board until it is taken off.
    let told = page.text("#finish .keep-first");
    assert!(told.contains("Keep back first:") && told.contains("Processor"), "{told}");
    let board = part_form(&page, "main-board");
    let lot = board.options("lot")[0].clone();
    let echo = shop.submit(board.set("lot", &lot).set("reading", "640 g")).await.ok();
    assert!(echo.text(".keep-first").contains("Processor"), "it would leave with the board");
    // Weighed in itself, on steel: that is said before it counts.
    let astray = shop.get(&format!("/lots/{low}/weigh?teardown={}&part=processor", id_of(&page))).await.ok();
    assert!(
        astray.text(".keep-first").contains("small and precious, and Box 2 is"),
        "{}",
        astray.text("main")
    );
    shop.bag("Vial 1", "cpu-fibre").await;
    let page = shop.get(&page.url).await.ok();
    let page = weigh(shop, &page, "processor", "30 g").await;
    assert!(!page.text("#part-main-board").contains("Processor"));
    let page = weigh(shop, &page, "main-board", "640 g").await;
    assert!(!page.has("#finish .keep-first"), "{}", page.text("#finish"));
}
