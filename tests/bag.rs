//! A bag: ship it now, or wait? Also the gauge on the receipt of a weigh-in.
//!
//! The figures are worked out by hand from the market's carrier (`common::market`): a parcel costs 4.50 USD to pack and,
//! by its gross weight with a box of a pound, 8.00 USD up to 5 lb, 12.00 up to 10 lb, 20.00 up to 20 lb, 32.00 up to 40.
//! So boards at 2.00 USD a pound net 2W − 16.50 from 4 lb to 9 lb, which is nothing at 8.25 lb, and 78.00 − 36.50 = 41.50
//! in a full box of 39 lb; no other weight brings as much a pound.

use axum::http::StatusCode;
use jiff::ToSpan;
use rust_decimal::{Decimal, dec};
use trade::ids::GradeId;
use trade::outlook::Outlook;

use crate::common::market::{amount, buyer};
use crate::common::{Page, TestShop, mass, on_both};

on_both![
    the_long_run_is_drawn_and_told,
    bags_for_one_buyer_go_together_where_that_brings_more,
    what_is_missing_to_a_better_price_is_said,
    a_light_bag_is_told_to_wait,
    a_bag_past_break_even_pays_to_mail_but_waits,
    a_full_bag_is_shipped,
    a_light_bag_goes_along_with_a_full_one,
    without_weighings_no_best_weight_is_told,
    buyers_stand_side_by_side_with_their_ladders,
    the_steps_of_a_ladder_add_up_in_another_currency,
    two_bags_of_a_grade_fill_together,
    what_rides_along_is_offered_and_free_only_if_it_is,
    what_may_not_go_there_is_not_offered,
    the_receipt_of_a_weigh_in_has_the_gauge,
    a_metal_bag_goes_with_the_next_load,
    a_bag_without_a_buyer_says_so,
    a_bag_that_is_packed_or_gone_says_so,
];

async fn boards_at_two_dollars(shop: &TestShop) -> trade::ids::OutletId {
    let carrier = shop.carrier().await;
    shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await
}

async fn bag_page(shop: &TestShop, lot: &str) -> Page {
    shop.get(&format!("/lots/{lot}/ship")).await.ok().without_ids()
}

/// The rows under each buyer, as (words, figure).
fn rows(page: &Page) -> Vec<String> {
    page.texts("dl.rows > div")
}

async fn outlook(shop: &TestShop, grade: &str, outlet: &trade::ids::OutletId) -> Outlook {
    let shelf = std::sync::Arc::new(shop.shelf().await);
    let answers = std::sync::Arc::new(pennyweight::shelf::Answers::new(shop.store.news().clone()));
    let answer = answers.about(&shelf).await;
    let ways = &answer.outlooks[&GradeId::new(grade)];
    ways.iter().find(|way| way.outlet == *outlet).expect("the outlet takes it").clone()
}

async fn a_light_bag_is_told_to_wait(shop: &TestShop) {
    let boards = boards_at_two_dollars(shop).await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "0").await;
    let page = bag_page(shop, &lot).await;
    // 5 lb are there, a pound a week comes in: 34 weeks of 7 days.
    let date = shop.today().saturating_add(238.days());
    let date = date.strftime("%a %-d %b %Y");
    assert_eq!(page.text(".figure"), format!("Wait until it reaches 39 lb 0.0 oz, about {date}."));
    assert_eq!(page.text(".stamp"), "still filling");
    assert_eq!(
        page.text("svg.gauge title"),
        "Bag 1: 5 lb 0.0 oz; Pays to mail from 8 lb 4.0 oz; Best to ship at 39 lb 0.0 oz"
    );
    assert!(
        page.says(
            "It fills by about 1 lb 0.0 oz a week (between 1 lb 0.0 oz and 1 lb 0.0 oz in four of five cases; 4 weeks \
             of weighings)."
        ),
        "{}",
        page.text("main")
    );
    let outlook = outlook(shop, "board-set-top", &boards).await;
    assert_eq!(outlook.break_even, Some(mass("8.25 lb")));
    let ship = outlook.ship.expect("a ship weight");
    assert_eq!(ship.weight, mass("39 lb"));
    // 41.50 in 39 weeks, less what keeping costs: 39 lb at half the time on average.
    let weekly = (ship.per_day * dec!(7)).round_dp(2);
    assert!((dec!(0.95)..dec!(41.50) / dec!(39)).contains(&weekly), "{weekly}");
    assert_eq!(
        rows(&page),
        [
            // 10.00 − (12.00 + 4.50): with its box it weighs 6 lb.
            "Net −1.30 USD/lb".to_string(),
            "Pays to mail from 8 lb 4.0 oz".to_string(),
            "Best to ship at 39 lb 0.0 oz".to_string(),
            format!("Expected there {date}"),
            format!("In the long run, a week {weekly} USD"),
            "Parcels 1 × Large box by Lake Parcel".to_string(),
            "Rides at no more freight 4 lb 0.0 oz".to_string(),
        ]
    );
    assert_eq!(page.text("h3 .number"), "−6.50 USD");
    assert!(!shop.get("/").await.ok().says("Bags that pay to mail"));
}

async fn a_bag_past_break_even_pays_to_mail_but_waits(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "10 lb").await;
    let page = bag_page(shop, &lot).await;
    assert!(page.text(".figure").starts_with("Wait until it reaches 39 lb 0.0 oz, about "));
    assert_eq!(page.text(".stamp"), "pays to mail, better to wait");
    // 30.00 − 24.50 now, alone.
    assert_eq!(page.text("h3 .number"), "5.50 USD");
    let today = shop.get("/").await.ok().without_ids();
    let card = today.text("ul.tickets a");
    assert!(card.starts_with("Bag 1: Set-top boards 5.50 USD pays to mail, better to wait"), "{card}");
    let date = shop.today().saturating_add(168.days()).strftime("%a %-d %b %Y");
    assert!(card.ends_with(&format!("Board House; best weight about {date}")), "{card}");
}

async fn a_light_bag_goes_along_with_a_full_one(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("board-set-top", "2.00/lb"), ("board-console", "2.00/lb")];
    shop.outlet(&buyer("Board House", &carrier), &lines).await;
    shop.filled("Bag 1", "board-set-top", "34 lb").await;
    let light = shop.filling_bag("Bag 2", "board-console", "0").await;
    // The service's step from 20 to 40 lb is paid by the full bag: the light one costs nothing more.
    let page = bag_page(shop, &light).await;
    assert_eq!(
        page.text(".figure"),
        "Ship it now, to Board House, with what else goes there. On its own it would better wait."
    );
    assert!(!page.has(".stamp"), "nothing says that it should wait: {}", page.text(".stamp"));
}

async fn a_full_bag_is_shipped(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "34 lb").await;
    let page = bag_page(shop, &lot).await;
    assert_eq!(page.text(".figure"), "Ship it now, to Board House.");
    assert_eq!(page.text(".stamp"), "heavy enough to ship");
    assert_eq!(page.text("h3 .number"), "41.50 USD");
    assert!(!rows(&page).iter().any(|row| row.starts_with("Expected there")), "it is there");
    assert!(!rows(&page).iter().any(|row| row.starts_with("Rides") && !row.ends_with(" 0.0 oz")));
    let today = shop.get("/").await.ok().without_ids();
    assert!(today.text("ul.tickets a").contains("the sell plan mails it now to Board House"));
    assert!(today.text("ul.tickets svg title").starts_with("Bag 1: 39 lb 0.0 oz; "));
}

async fn without_weighings_no_best_weight_is_told(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "5 lb").await;
    let page = bag_page(shop, &lot).await;
    assert_eq!(
        page.text(".figure"),
        "Keep filling it. With three weeks of weighings its best weight can be told."
    );
    assert!(page.says("How fast it fills is not known yet: three weeks of weighings tell."));
    assert_eq!(page.text("svg.gauge title"), "Bag 1: 5 lb 0.0 oz; Pays to mail from 8 lb 4.0 oz");
    assert!(!page.says("Best to ship at"));
}

async fn buyers_stand_side_by_side_with_their_ladders(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let carrier = shop.store.services(&shop.id).await.expect("services").remove(0).id;
    let mut reclaim = buyer("Reclaim Direct", &carrier);
    reclaim.terms.minimum_delivery = mass("20 lb");
    reclaim.terms.percent_fee = trade::money::Share::new(dec!(0.03)).expect("a share");
    reclaim.terms.days_to_pay = 45;
    shop.outlet(&reclaim, &[("board-set-top", "2.60/lb")]).await;
    shop.near_yard(&[("board-set-top", "0.50/lb")]).await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "10 lb").await;
    let page = bag_page(shop, &lot).await;
    // At the yard 7.50 − 17.40; in the post 30.00 − 24.50; the third does not take so little.
    assert_eq!(
        page.texts("h3.head"),
        ["Board House 5.50 USD", "Quay Metals −9.90 USD", "Reclaim Direct not now"]
    );
    assert!(page.says("Not there: it takes deliveries from 20 lb 0.0 oz up."));
    // Mailing has to beat the yard with the drive left out: 2W − K = 0.50 W. With 24.50 that is at 16.33 lb, above the
    // 11 lb that 16.50 would need in a parcel of 9 lb.
    assert!(rows(&page).contains(&"Pays to mail from 16 lb 5.3 oz".to_string()), "{:?}", rows(&page));
    assert!(rows(&page).iter().any(|row| row.starts_with("Worth a drive of its own at")));

    shop.put_ago(&lot, "19 lb", 150).await;
    let page = bag_page(shop, &lot).await;
    assert_eq!(page.texts("h3.head").len(), 3);
    for ladder in 1..=3 {
        adds_up(&page, &format!("section:nth-of-type({}) .ladder", ladder + 1));
    }
}

/// The steps shown, each rounded once, add up to the net shown.
fn adds_up(page: &Page, ladder: &str) {
    let mut steps: Vec<Decimal> = page
        .texts(&format!("{ladder} > li > details .number, {ladder} > li > .head .number"))
        .iter()
        .map(|shown| amount(shown))
        .collect();
    let net = steps.pop().expect("a net");
    assert!(steps.len() > 1, "{steps:?}");
    let sum: Decimal = steps.iter().sum();
    assert!((sum - net).abs() <= Decimal::from(steps.len()) * dec!(0.005) + dec!(0.005), "{steps:?}: {net}");
}

async fn the_steps_of_a_ladder_add_up_in_another_currency(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let mut across = buyer("Carte Verte", &carrier);
    across.currency = trade::money::Currency::CAD;
    across.terms.exchange_spread = trade::money::Share::new(dec!(0.02)).expect("a share");
    across.terms.payout_fee = dec!(5);
    across.terms.days_to_pay = 30;
    if let pennyweight::store::outlets::OutletKind::MailIn(post) = &mut across.kind {
        post.border = dec!(10);
        post.insurance = trade::money::Share::new(dec!(0.01)).expect("a share");
    }
    shop.outlet(&across, &[("board-set-top", "4.00/lb")]).await;
    shop.cad_rate(1, dec!(0.75)).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let page = bag_page(shop, &lot).await;
    // 156.00 CAD are 117.00 USD; less 2.34 at the bank and 5.00 are 109.66 received. The parcel takes 32.00 + 1.50 + 3.00,
    // the border 10.00, the insurance 1.17, and 30 days of waiting 109.66 × 0.10 × 30 / 365 = 0.9013: 61.0887.
    assert_eq!(page.text("h3.head"), "Carte Verte 61.09 USD");
    assert_eq!(
        page.texts(".ladder > li .head"),
        [
            "At the sheet's price 117.00 USD",
            "Lost in exchange −2.34 USD",
            "Fee to get paid −5.00 USD",
            "Freight −32.00 USD",
            "Boxes −1.50 USD",
            "Packing time −3.00 USD",
            "Border and paperwork −10.00 USD",
            "Insurance −1.17 USD",
            "Waiting for the money −0.90 USD",
            "Net to the shop 61.09 USD"
        ]
    );
    let workings = page.texts(".ladder p");
    assert_eq!(workings[0], "39 lb Set-top boards × 4.00 CAD/lb = 156.00 CAD");
    assert_eq!(workings[3], "Lake Parcel: 1 × Large box of 40 lb 0.0 oz, billed as 40 lb 0.0 oz");
    adds_up(&page, ".ladder");
}

async fn two_bags_of_a_grade_fill_together(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let first = shop.filling_bag("Bag 1", "board-set-top", "0").await;
    let second = shop.bag("Bag 2", "board-set-top").await;
    shop.put_ago(&second, "10 lb", 150).await;
    let page = bag_page(shop, &first).await;
    assert!(page.says("15 lb 0.0 oz of the grade on the shelf, in this and 1 other container."));
    assert!(page.text("svg.gauge title").starts_with("Bag 1 and 1 other: 15 lb 0.0 oz;"));
    let offered = page.texts("#shipment label.pick");
    assert_eq!(offered.len(), 2);
    assert_eq!(page.form("#shipment").fields.iter().filter(|field| field.name == "lot").count(), 2);
}

async fn what_rides_along_is_offered_and_free_only_if_it_is(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("board-set-top", "2.00/lb"), ("board-console", "3.00/lb"), ("board-brown", "0.20/lb")];
    shop.outlet(&buyer("Board House", &carrier), &lines).await;
    // 15 lb, kept for a full box, make a parcel of 16 lb: 4 lb more go at the same freight.
    let bag = shop.filling_bag("Bag 1", "board-set-top", "10 lb").await;
    let fits = shop.filled("Bag 2", "board-console", "2 lb").await;
    let just = shop.filled("Bag 3", "board-brown", "4 lb").await;
    let too_much = shop.filled("Bag 4", "board-brown", "4.001 lb").await;
    shop.filled("Bag 5", "copper-2", "1 lb").await;
    let page = bag_page(shop, &bag).await;
    assert!(rows(&page).contains(&"Rides at no more freight 4 lb 0.0 oz".to_string()), "{:?}", rows(&page));
    let form = page.form("#shipment");
    assert_eq!(form.options("lot"), [&bag, &fits, &just, &too_much].map(String::as_str), "no copper");
    assert_eq!(form.value("lot"), bag);
    assert_eq!(
        page.texts("#shipment label.pick"),
        [
            "Bag 1, Set-top boards, 15 lb 0.0 oz",
            "Bag 2, Game console boards, 2 lb 0.0 oz adds 6.00 USD, at no more freight; kept, it is worth 0.00 USD",
            "Bag 3, Brown boards, 4 lb 0.0 oz adds 0.80 USD, at no more freight; kept, it is worth 0.00 USD",
            // The next step of the freight: 4.001 × 0.20 − (32.00 − 20.00).
            "Bag 4, Brown boards, 4 lb 0.0 oz adds −11.20 USD; kept, it is worth 0.00 USD",
        ]
    );
}

async fn what_may_not_go_there_is_not_offered(shop: &TestShop) {
    let boards = boards_at_two_dollars(shop).await;
    let bag = shop.filled("Bag 1", "board-set-top", "20 lb").await;
    let barred = shop.filled("Bag 2", "board-set-top", "19 lb").await;
    let empty = shop.bag("Bag 3", "board-set-top").await;
    let form = shop.get("/plan").await.ok().form(&format!("form[action='/plan/lots/{barred}']"));
    shop.submit(form.set("place", boards.as_str()).press("Never there")).await.ok();
    let offered = bag_page(shop, &bag).await.form("#shipment").options("lot").to_vec();
    assert_eq!(offered, std::slice::from_ref(&bag));
    // With nothing to go, there is nothing to make.
    let form = shop.get("/plan").await.ok().form(&format!("form[action='/plan/lots/{bag}']"));
    shop.submit(form.set("place", "keep").press("It goes there")).await.ok();
    assert!(!bag_page(shop, &empty).await.has("#shipment"));
}

async fn the_receipt_of_a_weigh_in_has_the_gauge(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "0").await;
    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = shop.submit(page.form("form[action$='/weigh'].ticket").set("reading", "2 lb 8 oz")).await.ok();
    let receipt = shop.submit(echo.form("form[action$='/weighings']")).await.ok().without_ids();
    assert_eq!(receipt.text(".figure.huge"), "7 lb 8.0 oz");
    let title = receipt.text("svg.gauge title");
    assert!(
        title.starts_with("Bag 1: 7 lb 8.0 oz; Pays to mail from 8 lb 4.0 oz; Best to ship at "),
        "{title}"
    );
    let labelled = receipt.attributes("svg.gauge", "aria-labelledby");
    assert_eq!(labelled, receipt.attributes("svg.gauge title", "id"));
    assert_eq!(receipt.attributes("a:has(svg.gauge)", "href"), [format!("/lots/{lot}/ship")]);

    // Another weighing counts at once.
    let second = shop.put(&lot, "1 lb").await;
    let receipt = shop.get(&format!("/weighings/{second}")).await.ok();
    assert!(receipt.text("svg.gauge title").starts_with("Bag 1: 8 lb 8.0 oz; "));
    // A grade that nobody buys by mail has none.
    let copper = shop.bag("Bag 2", "copper-2").await;
    let weighing = shop.put(&copper, "1 lb").await;
    assert!(!shop.get(&format!("/weighings/{weighing}")).await.ok().has("svg.gauge"));
}

async fn a_metal_bag_goes_with_the_next_load(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = bag_page(shop, &lot).await;
    assert_eq!(
        page.text(".figure"),
        "Take it to Quay Metals with the next load: the sell plan sends it there."
    );
    assert!(!page.has("svg.gauge") && !page.has("#shipment"));
    assert!(!page.says("Pack for"));
}

async fn a_bag_without_a_buyer_says_so(shop: &TestShop) {
    let lot = shop.filled("Bag 1", "board-set-top", "5 lb").await;
    let page = bag_page(shop, &lot).await;
    assert!(page.says("No outlet's newest sheet has a price for Set-top boards."));
    assert_eq!(
        page.text(".figure"),
        "Keep it for now: nothing pays for its share of a trip or a parcel today."
    );
    assert_eq!(page.text(".stamp"), "no mailing weight yet");
    assert_eq!(shop.get("/lots/no-such-lot/ship").await.status, StatusCode::NOT_FOUND);
}

async fn a_bag_that_is_packed_or_gone_says_so(shop: &TestShop) {
    let boards = boards_at_two_dollars(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let other = shop.filled("Bag 2", "board-set-top", "2 lb").await;
    let shipment = shop.packed(&[&lot], &boards, 0).await;
    let page = bag_page(shop, &lot).await;
    assert_eq!(page.text(".figure"), "It is packed in a shipment already.");
    assert!(
        page.says("2 lb 0.0 oz of the grade on the shelf, in 1 other container."),
        "{}",
        page.text("main")
    );
    assert!(!page.has("#shipment") && !page.has("svg.gauge"));
    shop.store.send_shipment(&shop.by(), &shipment, 1).await.expect("it leaves");
    assert_eq!(bag_page(shop, &lot).await.text(".figure"), "It has left the shop.");
    assert!(bag_page(shop, &other).await.says("2 lb 0.0 oz of the grade on the shelf."));
}

async fn the_long_run_is_drawn_and_told(shop: &TestShop) {
    boards_at_two_dollars(shop).await;
    let lot = shop.filling_bag("Bag 1", "board-set-top", "0").await;
    let page = bag_page(shop, &lot).await;
    // A full box of 39 lb nets 78.00 − 36.50 = 41.50 every 39 weeks, 1.0641 a week. Kept, a pound of 0.78 (39.00 for 50
    // lb) costs 18 % a year, on half of 39 lb 0.0525 a week: 1.0116.
    let told = page.text("#long-run desc").replace('\u{a0}', " ");
    assert!(
        told.starts_with(
            "It brings most when it goes at 39 lb 0.0 oz: 1.01 USD a week. In four cases of five the best weight is 39 lb \
             0.0 oz, however fast it fills. It pays to mail from 8 lb 4.0 oz. 5 lb 0.0 oz is in it now."
        ),
        "{told}"
    );
    // A box of 1 lb and the carrier's 5, 10, 20 and 40 lb; beyond a full box, a second one of 5 and 10 lb.
    assert!(
        told.ends_with(
            "The cost steps up past 4 lb 0.0 oz, 9 lb 0.0 oz, 19 lb 0.0 oz, 39 lb 0.0 oz, 43 lb 0.0 oz, 48 lb 0.0 oz."
        ),
        "{told}"
    );
    let labelled = page.attributes("#long-run svg[role=img]", "aria-labelledby");
    assert_eq!(labelled, ["long-run-title long-run-desc"]);
    let labels = page.texts("#long-run svg text");
    assert!(labels.contains(&"best 39 lb 0.0 oz".to_string()), "{labels:?}");
    assert!(labels.contains(&"pays from 8 lb 4.0 oz".to_string()), "{labels:?}");
    // A bag that nobody knows the rate of has no long run.
    let new = shop.filled("Bag 2", "board-console", "2 lb").await;
    assert!(!bag_page(shop, &new).await.has("#long-run"));
}

async fn bags_for_one_buyer_go_together_where_that_brings_more(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("board-set-top", "2.00/lb"), ("board-console", "3.00/lb")];
    shop.outlet(&buyer("Board House", &carrier), &lines).await;
    let bag = shop.filling_bag("Bag 1", "board-set-top", "0").await;
    assert!(!bag_page(shop, &bag).await.has("#joint"), "it has no company");
    shop.filling_bag("Bag 2", "board-console", "0").await;
    let page = bag_page(shop, &bag).await;
    // Each by itself a full box every 39 weeks: 1.0116 as above, and for the console boards 80.50 / 39 less 0.0061447 ×
    // 39 / 2: 1.9443. Together a full box every 19.5 weeks: 61.00 / 19.5 less 0.0044187 × 39 / 2: 3.0420, or 0.0861 more.
    assert_eq!(page.text("#joint h2"), "Together or apart, to Board House");
    assert_eq!(
        page.text("#joint > p"),
        "In one shipment they bring 0.09 USD a week more than each by itself."
    );
    let groups = page.texts("#joint li");
    assert_eq!(groups.len(), 1);
    assert!(groups[0].starts_with("Set-top boards with Game console boards 3.04 USD every 13"), "{groups:?}");
    assert!(
        groups[0].ends_with("39 lb 0.0 oz: 19 lb 8.0 oz Set-top boards, 19 lb 8.0 oz Game console boards"),
        "{groups:?}"
    );
}

async fn what_is_missing_to_a_better_price_is_said(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("board-set-top", "2.00/lb"), ("board-set-top", "2.20/lb from 20 lb")];
    shop.outlet(&buyer("Board House", &carrier), &lines).await;
    let bag = shop.filled("Bag 1", "board-set-top", "15 lb").await;
    let page = bag_page(shop, &bag).await;
    // 15 lb net 30.00 − 24.50 = 5.50; 20 lb in a parcel of 21 lb 44.00 − 36.50 = 7.50.
    assert!(
        page.says(
            "5 lb 0.0 oz more Set-top boards and all of it is paid 2.20 USD/lb from 20 lb 0.0 oz: that adds 2.00 USD."
        ),
        "{}",
        page.text("#shipment")
    );
    shop.put(&bag, "5 lb").await;
    assert!(!bag_page(shop, &bag).await.says("and all of it is paid"));
}
