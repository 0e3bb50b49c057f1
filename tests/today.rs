//! Today: what wants doing? Each part is there when it should be, and not otherwise.

use std::sync::Arc;
use std::time::Duration;

use jiff::ToSpan;
use pennyweight::shelf::{Answers, Depth, Shelf};
use pennyweight::store::activity::Noun;
use pennyweight::store::lots::Lot;
use rust_decimal::dec;
use trade::ids::LotId;
use trade::money::Currency;

use crate::common::market::{buyer, yard};
use crate::common::{Page, TestShop, mass, on_both};

on_both![
    nothing_wants_doing,
    a_bag_shows_at_its_weights,
    an_old_sheet_is_stale,
    an_old_rate_is_stale,
    a_new_sheet_that_sends_a_lot_elsewhere_is_told_with_the_money,
    an_old_change_of_places_is_no_news,
    a_sheet_that_moves_nothing_is_not_told,
    a_packed_shipment_waits_to_be_sent,
    a_shipment_that_is_not_paid_for_is_overdue,
    a_lot_of_a_retired_grade_wants_another,
    an_unchanged_shelf_is_answered_from_memory,
    a_plan_is_there_before_its_margins,
    while_an_answer_is_sought_the_last_one_stands_in_and_pages_are_told,
    asked_twice_at_once_it_thinks_once,
];

async fn today(shop: &TestShop) -> Page {
    shop.get("/").await.ok().without_ids()
}

/// Words of elements side by side, without the space that the harness puts between them before a comma.
fn tidy(texts: Vec<String>) -> Vec<String> {
    texts.into_iter().map(|text| text.replace(" ,", ",")).collect()
}

/// The parts that say that something wants doing.
fn parts(page: &Page) -> Vec<String> {
    page.texts("main h2")
}

async fn nothing_wants_doing(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 9, &[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = today(shop).await;
    // 40 × 3.00 − 17.40.
    assert_eq!(page.text(".figure.huge"), "102.60 USD");
    assert!(page.says("The sell plan has 1 delivery."));
    assert!(page.says("Nothing wants doing."));
    assert!(parts(&page).is_empty(), "{:?}", parts(&page));
}

async fn a_bag_shows_at_its_weights(shop: &TestShop) {
    let carrier = shop.carrier().await;
    shop.outlet(
        &buyer("Board House", &carrier),
        &[("board-set-top", "2.00/lb"), ("board-console", "2.00/lb")],
    )
    .await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "3.24 lb").await;
    // 8.24 lb of the 8.25 from which it pays to mail.
    assert!(today(shop).await.says("Nothing wants doing."));
    shop.put_ago(&lot, "0.02 lb", 150).await;
    let page = today(shop).await;
    assert_eq!(parts(&page), ["Bags that pay to mail"]);
    assert_eq!(page.texts("ul.tickets .stamp"), ["pays to mail, better to wait"]);
    // A fuller bag comes first.
    shop.filling_bag("Bag 2", "board-console", "34 lb").await;
    let page = today(shop).await;
    assert_eq!(
        page.texts("ul.tickets .stamp"),
        ["the sell plan mails it now", "pays to mail, better to wait"]
    );
    assert_eq!(page.attributes("ul.tickets li:last-of-type a", "href"), [format!("/lots/{lot}/ship")]);
}

async fn an_old_sheet_is_stale(shop: &TestShop) {
    let fresh = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    assert_eq!(parts(&today(shop).await), ["Gone stale"]);
    assert!(today(shop).await.says("Quay Metals no sheet yet"));
    shop.sheet(&fresh, 14, &[("copper-2", "3.00/lb")]).await;
    assert!(today(shop).await.says("Nothing wants doing."));
    let old = shop.outlet(&yard("Harbour Yard", 25, 60), &[]).await;
    shop.sheet(&old, 15, &[("copper-2", "3.00/lb")]).await;
    let page = today(shop).await;
    let date = shop.today().saturating_sub(15.days()).strftime("%a %-d %b %Y");
    assert_eq!(
        page.texts(".attention li .head"),
        [format!("Harbour Yard from {date}, 15 days ago")],
        "the other one is not old"
    );
    assert_eq!(page.link("Read its new sheet"), format!("/sheets/new?outlet={old}"));
    // A yard that nothing is sold to any more can keep its prices.
    shop.close_outlet(&old).await;
    assert!(today(shop).await.says("Nothing wants doing."));
}

async fn an_old_rate_is_stale(shop: &TestShop) {
    let mut across = yard("Rapids Recycling", 10, 30);
    across.currency = Currency::CAD;
    shop.outlet(&across, &[("copper-2", "4.00/lb")]).await;
    let page = today(shop).await;
    assert_eq!(parts(&page), ["Gone stale"]);
    assert!(page.says("There is no exchange rate for CAD."));
    shop.cad_rate(8, dec!(0.75)).await;
    let date = shop.today().saturating_sub(8.days()).strftime("%a %-d %b %Y");
    assert!(today(shop).await.says(&format!("The rate for CAD is from {date}, 8 days ago.")));
    shop.cad_rate(7, dec!(0.75)).await;
    assert!(today(shop).await.says("Nothing wants doing."));
}

async fn a_new_sheet_that_sends_a_lot_elsewhere_is_told_with_the_money(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 9, &[("copper-2", "3.00/lb"), ("copper-1", "4.00/lb")]).await;
    let far = shop.outlet(&yard("Harbour Yard", 25, 60), &[]).await;
    shop.sheet(&far, 8, &[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let stays = shop.filled("Bag 2", "copper-1", "10 lb").await;
    let sheet = shop.sheet(&far, 1, &[("copper-2", "4.00/lb")]).await;
    let page = today(shop).await;
    assert_eq!(parts(&page), ["What the last sheet changed"]);
    // Before: 120.00 + 40.00 − 17.40 = 142.60. Now: (160.00 − 39.00) + (40.00 − 17.40) = 143.60.
    assert_eq!(page.text(".figure.huge"), "143.60 USD");
    let told = tidy(page.texts(".ticket.attention")).remove(0);
    assert!(
        told.contains(
            "Harbour Yard’s sheet, read yesterday, changed the shelf by 1.00 USD and sends these elsewhere:"
        ),
        "{told}"
    );
    assert_eq!(
        tidy(page.texts(".ticket.attention li")),
        ["Bag 1, No. 2 copper Quay Metals → Harbour Yard ; else Quay Metals, 1.00 USD less"]
    );
    assert_eq!(page.link("Harbour Yard’s sheet"), format!("/sheets/{sheet}"));
    assert_eq!(page.attributes(".ticket.attention li a", "href"), [format!("/lots/{lot}")]);
    assert!(!told.contains("Bag 2"), "{stays} is where it was");
}

async fn an_old_change_of_places_is_no_news(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    shop.sheet(&near, 8, &[("copper-2", "3.00/lb")]).await;
    assert!(today(shop).await.says("Nothing wants doing."));
    // The first sheet of an outlet sends there what nobody took.
    let far = shop.outlet(&yard("Harbour Yard", 25, 60), &[]).await;
    shop.sheet(&far, 6, &[("copper-2", "4.00/lb")]).await;
    assert_eq!(parts(&today(shop).await), ["What the last sheet changed"]);
}

async fn a_sheet_that_moves_nothing_is_not_told(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 9, &[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    shop.sheet(&near, 0, &[("copper-2", "3.10/lb")]).await;
    let page = today(shop).await;
    assert_eq!(page.text(".figure.huge"), "106.60 USD");
    assert!(page.says("Nothing wants doing."));
    // One for a day to come is not in force.
    shop.sheet(&near, -3, &[("copper-2", "0.10/lb")]).await;
    assert_eq!(today(shop).await.text(".figure.huge"), "106.60 USD");
    assert!(today(shop).await.says("Nothing wants doing."));
    // The price falls so that nothing pays for the trip.
    shop.sheet(&near, 0, &[("copper-2", "0.20/lb")]).await;
    let page = today(shop).await;
    assert_eq!(
        tidy(page.texts(".ticket.attention li")),
        ["Bag 1, No. 2 copper Quay Metals → keep ; else Quay Metals, 9.40 USD less"],
        "8.00 − 17.40 would be lost by going"
    );
    assert!(page.text(".ticket.attention").contains("changed the shelf by −106.60 USD"));
}

async fn a_packed_shipment_waits_to_be_sent(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[]).await;
    shop.sheet(&boards, 9, &[("board-set-top", "2.00/lb")]).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let id = shop.packed(&[&lot], &boards, 3).await;
    let page = today(shop).await;
    assert_eq!(parts(&page), ["Shipments"]);
    assert_eq!(tidy(page.texts("section .lots li")), ["Board House, 41.50 USD planned, not sent"]);
    assert_eq!(page.link("Board House"), format!("/shipments/{id}"));
    assert_eq!(page.text(".figure.huge"), "0.00 USD", "what is packed is not on the shelf");
    shop.store.cancel_shipment(&shop.by(), &id, 1).await.expect("it is apart");
    assert_eq!(parts(&today(shop).await), ["Bags that pay to mail"]);
}

async fn a_shipment_that_is_not_paid_for_is_overdue(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let mut boards = buyer("Board House", &carrier);
    boards.terms.days_to_pay = 21;
    let boards = shop.outlet(&boards, &[("board-set-top", "2.00/lb")]).await;
    let sent = |label: &'static str, days_ago| {
        let boards = boards.clone();
        async move {
            let lot = shop.filled(label, "board-set-top", "39 lb").await;
            shop.sent(&[&lot], &boards, days_ago).await
        }
    };
    sent("Bag 1", 1).await;
    // 41.50 − 78.00 × 0.10 × 21 / 365 = 41.05.
    assert_eq!(
        tidy(today(shop).await.texts("section .lots li")),
        ["Board House, 41.05 USD, out for 1 day waiting to be paid"]
    );
    sent("Bag 2", 20).await;
    assert!(!today(shop).await.says("overdue"));
    sent("Bag 3", 23).await;
    let overdue = tidy(today(shop).await.texts("section .lots li:has(.loss)"));
    assert_eq!(overdue, ["Board House, 41.05 USD, out for 23 days overdue"]);
    // A buyer that is closed meanwhile owes it all the same.
    shop.close_outlet(&boards).await;
    assert_eq!(today(shop).await.texts("section .lots li:has(.loss)").len(), 1);
}

async fn a_lot_of_a_retired_grade_wants_another(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    let lot = shop.filled("Bag 1", "board-set-top", "5 lb").await;
    assert!(today(shop).await.says("Nothing wants doing."));
    shop.retire_grade("board-set-top").await;
    let page = today(shop).await;
    assert_eq!(parts(&page), ["Grades that were retired"]);
    assert_eq!(page.link("Bag 1, Set-top boards"), format!("/lots/{lot}/regrade"));
    // A packed lot cannot be regraded, so it is not asked for.
    shop.packed(&[&lot], &boards, 0).await;
    assert_eq!(parts(&today(shop).await), ["Shipments"]);
}

async fn an_unchanged_shelf_is_answered_from_memory(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let answers = Arc::new(Answers::new(shop.store.news().clone()));
    let shelf = async || -> Arc<Shelf> { Arc::new(shop.shelf().await) };
    let first = answers.about(&shelf().await).await;
    assert!(Arc::ptr_eq(&first, &answers.about(&shelf().await).await));
    assert_eq!(first.total(), dec!(102.60));

    assert_eq!(today(shop).await.text(".figure.huge"), "102.60 USD");
    let weighing = shop.put(&lot, "1 lb").await;
    // A pound more is 3.00 more, at once and on every screen.
    assert_eq!(answers.about(&shelf().await).await.total(), dec!(105.60));
    assert_eq!(today(shop).await.text(".figure.huge"), "105.60 USD");
    assert_eq!(shop.get("/plan").await.ok().text(".figure.huge"), "105.60 USD");
    assert_eq!(shop.get("/lots").await.ok().text(".figure"), "105.60 USD 41 lb 0.0 oz on the shelf");
    shop.store.undo_weighing(&shop.by(), &weighing).await.expect("the weighing is undone");
    assert_eq!(today(shop).await.text(".figure.huge"), "102.60 USD");
    assert!(Arc::ptr_eq(&first, &answers.about(&shelf().await).await), "as it was, it is known");
}

async fn asked_twice_at_once_it_thinks_once(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("copper-1", "3.50/lb"), ("copper-2", "3.00/lb"), ("board-set-top", "0.90/lb")];
    shop.near_yard(&lines).await;
    shop.far_yard(&[("copper-1", "3.70/lb"), ("copper-2", "3.30/lb"), ("board-set-top", "1.00/lb")]).await;
    shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    for bag in 0..9 {
        let (grade, _) = lines[bag % 3];
        shop.filled(&format!("Bag {bag}"), grade, &format!("{} lb", 5 + 2 * bag)).await;
    }
    let (one, other) = (Arc::new(shop.shelf().await), Arc::new(shop.shelf().await));
    for _ in 0..5 {
        let answers = Arc::new(Answers::new(shop.store.news().clone()));
        let (first, second) = tokio::join!(answers.about(&one), answers.about(&other));
        assert!(Arc::ptr_eq(&first, &second), "it thought twice");
    }
}

async fn a_plan_is_there_before_its_margins(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let answers = Arc::new(Answers::new(shop.store.news().clone()));
    let shelf = Arc::new(shop.shelf().await);
    assert!(answers.plan_at_hand(&shelf).await.is_none());
    answers.prepare(&shop.id, &shelf, Depth::Margins).await;
    let plan = answers.plan_about(&shop.id, &shelf).await;
    let whole = answers.about(&shelf).await;
    assert_eq!((plan.total(), whole.total()), (dec!(102.60), dec!(102.60)));
    assert!(whole.margins().is_some());
    assert!(answers.plan_at_hand(&shelf).await.is_some());
}

async fn while_an_answer_is_sought_the_last_one_stands_in_and_pages_are_told(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let answers = Arc::new(Answers::new(shop.store.news().clone()));
    let shelf = async || -> Arc<Shelf> { Arc::new(shop.shelf().await) };
    let (long, none) = (Duration::from_secs(60), Duration::ZERO);
    let first = shelf().await;
    assert!(answers.last(&shop.id, &first).is_none());
    answers.soon(&shop.id, &first, Depth::Margins, long).await.expect("it is waited for");
    shop.put(&lot, "1 lb").await;
    let second = shelf().await;
    let mut news = shop.store.news().listen();
    // Another shop's large shelf keeps the search busy: this one alone is answered before anybody could look.
    let mut large = Shelf::clone(&first);
    let lot = large.lots[0].clone();
    large.lots = (0..300)
        .map(|n| {
            let id = LotId::new(format!("lot {n}"));
            Lot { id, net: mass(&format!("{} oz", 100 + 7 * n)), ..lot.clone() }
        })
        .collect();
    answers.prepare("another shop", &Arc::new(large), Depth::Margins).await;
    assert!(answers.soon(&shop.id, &second, Depth::Margins, none).await.is_none(), "it takes some work");
    let known = answers.last(&shop.id, &second).expect("the last one");
    if !Arc::ptr_eq(&known.shelf, &second) {
        assert_eq!((known.answer.total(), known.shelf.lots[0].net), (dec!(102.60), mass("40 lb")));
    }
    // The plan may be told of before its margins are there, and again with them.
    let told = async {
        loop {
            while news.recv().await.expect("news").noun != Noun::Plan {}
            if let Some(found) = answers.soon(&shop.id, &second, Depth::Margins, none).await {
                break found;
            }
        }
    };
    let found = tokio::time::timeout(long, told).await.expect("open pages are told when it is at hand");
    assert_eq!(found.total(), dec!(105.60));
    assert!(Arc::ptr_eq(&answers.last(&shop.id, &second).expect("the last one").answer, &found));
    // Partners who have chosen something else are shown no answer to what they had chosen before.
    let mut chosen = Shelf::clone(&second);
    chosen.choices.closed.insert(chosen.outlets[0].id.clone());
    assert!(answers.last(&shop.id, &chosen).is_none());
}
