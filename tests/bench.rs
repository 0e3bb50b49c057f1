//! The bench: open it, or sell it whole; two beside each other; and an evening.

use axum::http::StatusCode;

use crate::common::{TestShop, on_both};

on_both![
    kinds_are_found_by_what_they_are_called,
    a_kind_says_what_to_do_and_follows_the_wage,
    cautions_stand_before_everything_else,
    figures_open_to_where_they_come_from,
    without_a_price_nothing_is_made_up,
    two_kinds_are_compared_in_a_sentence,
    an_evening_is_planned_within_its_minutes,
    a_card_for_the_bench_has_cautions_and_steps,
    what_was_typed_wrong_is_said_and_kept,
    nobody_sees_it_without_signing_in,
];

/// A yard that pays for what a tower computer is made of, and for the tower itself.
async fn yard(shop: &TestShop) {
    shop.near_yard(&[
        ("desktop-whole", "0.20/lb"),
        ("steel-light", "0.08/lb"),
        ("power-supply-whole", "0.30/lb"),
        ("board-desktop", "2.50/lb"),
        ("memory-gold", "12.00/lb"),
        ("cpu-fibre", "20.00/lb"),
        ("hard-drive-whole", "0.60/lb"),
        ("heatsink-aluminium", "0.50/lb"),
        ("router-whole", "0.40/lb"),
        ("board-network", "2.00/lb"),
    ])
    .await;
}

async fn kinds_are_found_by_what_they_are_called(shop: &TestShop) {
    yard(shop).await;
    let all = shop.get("/bench").await.ok();
    assert!(all.texts(".tickets strong").len() >= 30, "{:?}", all.texts(".tickets strong"));
    assert!(all.has("nav a[href='/bench'][aria-current]"));
    let found = shop.submit(all.form("form[role=search]").set("find", "Mid Tower")).await.ok();
    assert_eq!(found.texts(".tickets strong"), ["Tower computer"]);
    assert!(found.text(".tickets li").contains("Open it:"), "{}", found.text(".tickets li"));
    let none = shop.get("/bench?find=zeppelin").await.ok();
    assert!(none.says("No kind goes by that name"));
}

async fn a_kind_says_what_to_do_and_follows_the_wage(shop: &TestShop) {
    yard(shop).await;
    let page = shop.get("/bench/tower-computer").await.ok();
    assert_eq!(page.text("#answer .figure.huge"), "Open it");
    let steps = page.texts("[id^=step-] summary");
    assert!(steps.iter().any(|step| step.contains("Main board")), "{steps:?}");
    assert!(page.has("svg[role=img] title") && page.text("svg desc").contains("best place to stop"));
    assert_eq!(page.form("form[data-answers]").value("rate"), "18");
    // At a wage that nothing pays for it is sold whole, and what opening would lose is still told.
    let dear = shop.submit(page.form("form[data-answers]").set("rate", "900")).await.ok();
    assert_eq!(dear.text("#answer .figure.huge"), "Sell it whole");
    assert!(dear.texts("[id^=step-]").is_empty());
    assert!(dear.says("If you opened it all the same"));
    let free = shop.get("/bench/tower-computer?rate=0").await.ok();
    assert!(free.texts("[id^=step-]").len() >= steps.len());
}

async fn cautions_stand_before_everything_else(shop: &TestShop) {
    yard(shop).await;
    let page = shop.get("/bench/tower-computer").await.ok();
    let body = page.body.clone();
    let (cautions, answer) = (body.find("id=\"cautions\""), body.find("id=\"answer\""));
    assert!(cautions.is_some() && cautions < answer);
    let begin = page.form("#begin").set("source", "the school");
    let refused = shop.submit(begin.clone()).await.ok();
    assert!(refused.text("#seen-problem").contains("Read what can hurt first"));
    assert_eq!(refused.form("#begin").value("source"), "the school");
    assert!(shop.store.open_teardowns(&shop.id).await.expect("teardowns").is_empty());
    let begun = shop.submit(begin.set("seen", "yes")).await.ok();
    assert!(begun.url.starts_with("/teardowns/"), "{}", begun.url);
    // What the law keeps closed says so, and where to take it.
    let tube = shop.get("/bench/tube-monitor").await.ok();
    assert_eq!(tube.text("#answer .figure.huge"), "Not opened here");
    assert!(tube.text("#cautions").contains("take it to"));
    // It has no part that comes off its outside, so there is nothing to begin.
    let parts =
        pennyweight::catalogue::kinds::kind(&"tube-monitor".into()).expect("the kind").tree.pieces().len();
    assert_eq!(tube.has("#begin"), parts > 1);
}

async fn figures_open_to_where_they_come_from(shop: &TestShop) {
    yard(shop).await;
    let lot = shop.bag("Bag 1", "board-desktop").await;
    shop.put(&lot, "40 lb").await;
    let page = shop.get("/bench/tower-computer").await.ok();
    let nets = page.texts("#nets li");
    let board = nets.iter().find(|net| net.starts_with("Desktop main boards")).expect("the boards");
    // 40 lb at 2.50 pay for the drive of 17.40, so the plan sends them, and a little more brings the price: nothing is taken
    // off by plain terms, and the drive is made anyway.
    assert!(
        board.contains("2.50 USD/lb") && board.contains("Quay Metals, where the sell plan sends it"),
        "{board}"
    );
    let memory = nets.iter().find(|net| net.starts_with("Memory, gold edge")).expect("the memory");
    assert!(memory.contains("12.00 USD/lb") && memory.contains("as a bag of"), "{memory}");
    page.without_ids();
}

async fn without_a_price_nothing_is_made_up(shop: &TestShop) {
    let page = shop.get("/bench/tower-computer").await.ok();
    assert_eq!(page.text("#answer .figure.huge"), "Brings nothing today");
    assert!(page.text("#answer .notice").contains("No sheet prices"));
    assert_eq!(page.text("#answer dl dd"), "0.00 USD");
    let list = shop.get("/bench?find=tower+computer").await.ok();
    assert!(list.says("no price"));
}

async fn two_kinds_are_compared_in_a_sentence(shop: &TestShop) {
    yard(shop).await;
    let one = shop.get("/bench/compare?kind=tower-computer").await.ok();
    assert!(one.says("Choose two kinds or more"));
    let page = shop.get("/bench/compare?kind=tower-computer&kind=home-router").await.ok();
    let says = page.text("#decides");
    assert!(says.starts_with("Tower computer leaves ") && says.contains("mostly because it has"), "{says}");
    assert_eq!(page.texts("thead th a"), ["Tower computer", "Home router or modem"]);
    assert!(page.has("thead .stamp.gain"));
    let same =
        shop.get("/bench/compare?kind=tower-computer&kind=tower-computer&kind=no-such&kind=").await.ok();
    assert!(same.says("Choose two kinds or more"), "a kind is compared with itself");
    page.without_ids();
}

async fn an_evening_is_planned_within_its_minutes(shop: &TestShop) {
    yard(shop).await;
    let empty = shop.get("/bench/tonight").await.ok();
    assert!(!empty.has("#plan"));
    let form = empty.form("form[action='/bench/tonight']");
    let nothing = shop.submit(form.clone()).await.ok();
    assert!(nothing.says("There is nothing in the pile yet."), "{}", nothing.text("main"));
    assert!(!nothing.has("#plan") && !empty.has("[role=alert]"));
    let form = form.set("minutes", "30").set("n-tower-computer", "8").set("n-home-router", "3");
    let page = shop.submit(form).await.ok();
    assert!(page.text("#plan .stamp").contains("proved best"));
    assert!(
        page.texts("#plan li").iter().any(|row| row.contains("× Tower computer")),
        "{}",
        page.text("#plan")
    );
    assert!(page.says("Leave whole"));
    let kept = page.form("form[action='/bench/tonight']");
    assert_eq!((kept.value("n-tower-computer"), kept.value("minutes")), ("8", "30"));
    // Three minutes are too few for all that pays: then the parts that bring most in them.
    let short = shop.get("/bench/tonight?minutes=3&n-tower-computer=8").await.ok();
    let plan = short.text("#plan");
    assert!(plan.contains("Only:") && plan.contains("Memory") && plan.contains("proved best"), "{plan}");
    assert!(!plan.contains("Power supply"), "there is no time for it: {plan}");
    let none = shop.get("/bench/tonight?minutes=0&n-tower-computer=8").await.ok();
    assert!(none.text("#plan .figure").contains("Open none"));
}

async fn a_card_for_the_bench_has_cautions_and_steps(shop: &TestShop) {
    yard(shop).await;
    let card = shop.get("/bench/tower-computer/card").await.ok();
    assert!(card.text("main section h2").contains("Before you touch it"));
    assert!(card.texts("tbody tr").iter().any(|row| row.starts_with("Main board")));
    let tube = shop.get("/bench/tube-monitor/card").await.ok();
    assert!(tube.says("Not opened here"));
}

async fn what_was_typed_wrong_is_said_and_kept(shop: &TestShop) {
    yard(shop).await;
    for odd in ["abc", "-1", "1e9", "99999999999999999999999999999999"] {
        let page = shop.get(&format!("/bench/tower-computer?rate={odd}")).await.ok();
        assert!(page.has("#rate-problem"), "{odd}");
        assert_eq!(page.form("form[data-answers]").value("rate"), odd);
    }
    let page = shop.get("/bench/tonight?minutes=x&n-tower-computer=many&n-home-router=2").await.ok();
    assert!(page.has("#minutes-problem") && page.has("#n-tower-computer-problem") && !page.has("#plan"));
    assert_eq!(page.form("form[action='/bench/tonight']").value("n-home-router"), "2");
    for address in ["/bench/no-such", "/bench/no-such/card", "/bench/%3Cscript%3E"] {
        assert_eq!(shop.get(address).await.status, StatusCode::NOT_FOUND, "{address}");
    }
}

async fn nobody_sees_it_without_signing_in(shop: &TestShop) {
    let stranger = shop.strange_phone();
    assert!(stranger.get("/bench").await.url.starts_with("/sign-in"));
}
