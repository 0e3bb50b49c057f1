//! Sell plan: where each lot goes, and what partners say about it; what each lot is worth by it.
//!
//! The figures are worked out by hand from the market's costs (`common::market`): a trip to Quay Metals costs 17.40 USD,
//! one to Harbour Yard 39.00 USD.

use rust_decimal::{Decimal, dec};
use trade::mass::MassUnit;
use trade::money::{Currency, Share};
use trade::net::{StepKind, deliver};

use crate::choices::say;
use crate::common::market::{amount, buyer, yard};
use crate::common::{Page, TestShop, mass, on_both};

on_both![
    a_lot_goes_to_the_better_of_two_yards,
    one_trip_is_paid_for_once,
    what_is_missing_is_said,
    a_buyer_that_no_carrier_reaches_is_named,
    an_empty_shelf_has_nothing_to_plan,
    everything_may_be_kept,
    the_plan_is_better_than_the_nearest_yard,
    a_grade_reaches_the_nearest_yards_tier_together,
    the_highest_price_is_not_worth_the_drive,
    worth_adds_up_to_the_plan,
    a_charge_is_kept_unless_it_is_pinned,
    lots_by_the_piece_are_counted,
    another_currency_is_shown_in_both,
    a_rate_is_shown_as_it_is_reckoned_with,
    what_would_change_it_is_said,
    a_little_more_pays_for_the_drive,
    nothing_near_is_said_too,
    the_plan_does_not_wait_for_second_choices,
    it_prints_as_a_load_list,
    kilograms_throughout,
];

pub fn stop(outlet: &impl std::fmt::Display) -> String {
    format!("[id='outlet-{outlet}']")
}

/// The places of the plan with their figures, as the page has them.
pub fn headings(page: &Page) -> Vec<String> {
    page.texts("section[id^='outlet-'] > h2")
}

pub async fn plan(shop: &TestShop) -> Page {
    shop.get("/plan").await.ok().without_ids()
}

async fn a_lot_goes_to_the_better_of_two_yards(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let far = shop.far_yard(&[("copper-2", "3.60/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;

    let page = plan(shop).await;
    // 40 × 3.60 − 39.00 = 105.00; at the near yard 40 × 3.00 − 17.40 = 102.60.
    assert_eq!(headings(&page), ["Harbour Yard 105.00 USD"]);
    let shelf = shop.shelf().await;
    let load = shelf.load_of(&lot.as_str().into()).expect("the lot");
    let ladder = deliver(shelf.outlet(&far).expect("the yard"), &[load], &shelf.facts).expect("it takes it");
    assert_eq!(ladder.net, dec!(105));
    assert_eq!(page.text(".figure.huge"), "105.00 USD");
    let row = page.text(&format!("[id='lot-{lot}']"));
    assert!(row.contains("else Quay Metals, 2.40 USD less"), "{row}");
    assert!(page.text(".chosen .stamp").contains("proved best"));
    assert!(page.says("Nothing is kept."));
    let terms = page.text(&format!("{} p.soft", stop(&far)));
    assert_eq!(terms, "Drive 40 lb 0.0 oz; pays 144.00 USD; 2.63 USD/lb net. Shared cost 39.00 USD, once.");
    let steps = page.texts(&format!("{} .ladder > li .head", stop(&far)));
    assert_eq!(
        steps,
        ["At the sheet's price 144.00 USD", "The drive −39.00 USD", "Net to the shop 105.00 USD"]
    );
    let working = page.text(&format!("{} .ladder p", stop(&far)));
    assert_eq!(working, "40 lb No. 2 copper × 3.60 USD/lb");
}

async fn the_plan_does_not_wait_for_second_choices(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.far_yard(&[("copper-2", "3.60/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let phone = shop.hurried_phone();
    for _ in 0..200 {
        let page = phone.get("/plan").await.ok();
        assert_eq!(headings(&page), ["Harbour Yard 105.00 USD"]);
        let is_whole = page.text("main").contains("else Quay Metals, 2.40 USD less");
        assert_ne!(is_whole, page.says("Each lot’s second choice"), "{}", page.text("main"));
        if is_whole {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("second choices never come");
}

async fn one_trip_is_paid_for_once(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-1", "3.50/lb"), ("copper-2", "3.00/lb")]).await;
    let first = shop.filled("Bag 1", "copper-1", "4 lb").await;
    // Alone neither pays for the trip: 4 × 3.50 = 14.00 < 17.40.
    assert!(headings(&plan(shop).await).is_empty());
    let second = shop.filled("Bag 2", "copper-2", "2 lb").await;
    let page = plan(shop).await;
    // 14.00 + 6.00 − 17.40 = 2.60.
    assert_eq!(headings(&page), ["Quay Metals 2.60 USD"]);
    assert_eq!(page.texts(&format!("{} .ladder > li .head", stop(&near)))[1], "The drive −17.40 USD");
    // Each pays its part of the trip: 14.00 × 2.60 / 20.00 = 1.82 and 0.78. Without either, nobody drives.
    for (lot, worth) in [(first, "1.82 USD"), (second, "0.78 USD")] {
        assert_eq!(page.text(&format!("[id='lot-{lot}'] .number")), worth);
        let row = page.text(&format!("[id='lot-{lot}']"));
        assert!(row.contains("else keep it, 2.60 USD less"), "{row}");
    }
}

/// The plan's page once what would change it has been worked out, which no page waits for.
async fn turned(shop: &TestShop) -> Page {
    for _ in 0..400 {
        let page = plan(shop).await;
        if !page.text("#turns").contains("being worked out") {
            return page;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("what would change the plan was never found");
}

async fn what_would_change_it_is_said(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.far_yard(&[("copper-2", "3.60/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = turned(shop).await;
    // 105.00 at Harbour Yard is 2.40 more than 102.60 at Quay Metals: 2.40 of a drive, or 2.40 / 40 of a price.
    assert_eq!(
        page.texts("#turns li"),
        [
            "Harbour Yard is worth it until the drive costs 41.40 USD. Now it costs 39.00 USD.",
            "Quay Metals would get 1 lot if the drive cost 15.00 USD instead of 17.40 USD.",
            "No. 2 copper: Harbour Yard pays 3.60 USD/lb; below 3.54 USD/lb it goes to Quay Metals.",
            "No. 2 copper: at 3.06 USD/lb it would go to Quay Metals, which pays 3.00 USD/lb.",
        ]
    );
}

async fn a_little_more_pays_for_the_drive(shop: &TestShop) {
    shop.near_yard(&[("copper-1", "3.50/lb")]).await;
    shop.filled("Bag 1", "copper-1", "4 lb").await;
    let page = turned(shop).await;
    // 14.00 is 3.40 short of the drive: 3.40 / 3.50 of a pound is 15.54 oz, 440.6 g, told in whole grams.
    let lines = page.texts("#turns li");
    assert_eq!(lines[0], "15.6 oz more of No. 1 copper, and driving to Quay Metals pays.");
    assert_eq!(lines[1], "Quay Metals would get 1 lot if the drive cost 14.00 USD instead of 17.40 USD.");
    assert_eq!(lines[2], "No. 1 copper: at 4.35 USD/lb it would go to Quay Metals, which pays 3.50 USD/lb.");
}

async fn nothing_near_is_said_too(shop: &TestShop) {
    assert!(!plan(shop).await.has("#turns"), "nothing is on the shelf");
    shop.filled("Bag 1", "copper-1", "4 lb").await;
    assert!(turned(shop).await.text("#turns").contains("Nothing near"));
}

async fn what_is_missing_is_said(shop: &TestShop) {
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let no_outlet = plan(shop).await;
    assert_eq!(
        no_outlet.texts(".notice li"),
        ["No outlet's sheet has a price for No. 2 copper, so Bag 1 (No. 2 copper) stays."]
    );
    let bag = shop.get(&format!("/lots/{lot}/ship")).await.ok().without_ids();
    assert!(bag.says("No outlet's newest sheet has a price for No. 2 copper."));

    let yard = yard("Rapids Recycling", 10, 30);
    let across = shop.outlet(&trade_in_cad(yard), &[("copper-2", "4.00/lb")]).await;
    let no_rate = plan(shop).await;
    assert_eq!(
        no_rate.texts(".notice li"),
        [
            "There is no exchange rate from CAD to USD, so nothing goes to Rapids Recycling. Enter one under Exchange \
          rates."
        ],
        "a price there is"
    );
    let way = shop.get(&format!("/lots/{lot}")).await.ok().text(".working");
    assert!(way.contains("Not there: there is no exchange rate from CAD to USD."), "{way}");

    shop.cad_rate(0, dec!(0.75)).await;
    let page = plan(shop).await;
    // 160.00 CAD at 0.75 are 120.00; less the trip of 17.40.
    assert_eq!(headings(&page), ["Rapids Recycling 102.60 USD"]);
    assert!(!page.has(".notice"));

    // A bag with nothing in it, and a sheet without the grade.
    shop.bag("Bag 2", "copper-1").await;
    shop.sheet(&across, 0, &[("copper-1", "4.00/lb")]).await;
    assert_eq!(
        plan(shop).await.texts(".notice li"),
        [
            "Bag 2 (No. 1 copper) has nothing on its ledger yet. Weigh it in, or merge it away.",
            "No outlet's sheet has a price for No. 2 copper, so Bag 1 (No. 2 copper) stays.",
            "No delivery leaves more than keeping everything."
        ]
    );
}

fn trade_in_cad(
    outlet: pennyweight::store::outlets::OutletDetails,
) -> pennyweight::store::outlets::OutletDetails {
    pennyweight::store::outlets::OutletDetails { currency: Currency::CAD, ..outlet }
}

async fn a_buyer_that_no_carrier_reaches_is_named(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    shop.filled("Bag 1", "board-set-top", "39 lb").await;
    assert!(!plan(shop).await.has(".notice"));
    let carton = shop.store.cartons(&shop.id).await.expect("boxes").remove(0);
    shop.store.retire_carton(&shop.by(), &carton.id, carton.version).await.expect("it is retired");
    let told = |page: Page| page.texts(".notice li").remove(0);
    assert_eq!(
        told(plan(shop).await),
        "Nothing can be mailed to Board House: no box is set up that the service takes. See Freight and boxes."
    );
    shop.change_outlet(&boards, |details| {
        details.kind = pennyweight::store::outlets::OutletKind::MailIn(Default::default());
    })
    .await;
    assert_eq!(
        told(plan(shop).await),
        "Nothing can be mailed to Board House: no carrier's service is set up. See Freight and boxes."
    );
}

async fn an_empty_shelf_has_nothing_to_plan(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let page = plan(shop).await;
    assert!(page.says("Nothing is on the shelf."));
    assert!(!page.has(".figure"), "nothing is counted up");
}

async fn everything_may_be_kept(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "5 lb").await;
    shop.filled("Bag 2", "copper-1", "1 lb").await;
    let page = plan(shop).await;
    assert_eq!(page.text(".figure.huge"), "0.00 USD");
    assert!(page.says("2 lots are kept, worth about 0.00 USD more, sold at their time."));
    assert!(
        page.texts(".notice li").contains(&"No delivery leaves more than keeping everything.".to_string())
    );
    assert_eq!(page.texts("section:not([id]) > h2.head"), ["Keep 0.00 USD"]);
    let today = shop.get("/").await.ok();
    assert!(today.says("The sell plan keeps everything for now."));
}

async fn the_plan_is_better_than_the_nearest_yard(shop: &TestShop) {
    shop.near_yard(&[("copper-1", "3.00/lb"), ("copper-2", "2.00/lb"), ("steel-light", "-0.05/lb")]).await;
    shop.far_yard(&[("copper-1", "4.00/lb"), ("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-1", "40 lb").await;
    shop.filled("Bag 2", "copper-2", "60 lb").await;
    let page = plan(shop).await;
    // 160.00 + 180.00 − 39.00 = 301.00. At the near yard 120.00 + 120.00 − 17.40 = 222.60.
    assert_eq!(headings(&page), ["Harbour Yard 301.00 USD"]);
    assert!(
        page.says(
            "Driving everything that sells to Quay Metals (2 lots) would bring 222.60 USD: this plan leaves 78.40 USD \
             more, with what is kept."
        ),
        "{}",
        page.text(".chosen")
    );
}

async fn the_highest_price_is_not_worth_the_drive(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.far_yard(&[("copper-2", "3.10/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = plan(shop).await;
    // 120.00 − 17.40 = 102.60. At the far yard 124.00 − 39.00 = 85.00.
    assert_eq!(headings(&page), ["Quay Metals 102.60 USD"]);
    assert!(
        page.says(
            "Taking each grade to whoever pays most for its weight (1 lot to 1 outlet) would bring 85.00 USD: this plan \
             leaves 17.60 USD more, with what is kept."
        ),
        "{}",
        page.text(".chosen")
    );
    assert!(!page.says("Mailing every bag by itself"), "nobody takes parcels");
}

async fn a_grade_reaches_the_nearest_yards_tier_together(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb from 10 lb")]).await;
    let lots =
        [shop.filled("Bag 1", "copper-2", "6 lb").await, shop.filled("Bag 2", "copper-2", "6 lb").await];
    let page = plan(shop).await;
    // 12 × 3.00 − 17.40; neither bag is priced alone.
    assert_eq!(headings(&page), ["Quay Metals 18.60 USD"]);
    assert!(
        page.says("to Quay Metals (2 lots) would bring 18.60 USD: this plan leaves 0.00 USD more"),
        "{}",
        page.text(".chosen")
    );
    let lot = shop.get(&format!("/lots/{}", lots[0])).await.ok().without_ids();
    assert!(lot.says("Not there: it prices No. 2 copper from 10 lb 0.0 oz up."));
    shop.change_outlet(&near, |details| details.terms.minimum_grade = mass("20 lb")).await;
    let lot = shop.get(&format!("/lots/{}", lots[0])).await.ok().without_ids();
    assert!(lot.says("Not there: it takes No. 2 copper from 20 lb 0.0 oz up."));
    assert!(!plan(shop).await.says("Driving everything"));
}

/// The amounts shown on the list of lots, each rounded once, add up to the total to half a cent a lot.
pub async fn adds_up(shop: &TestShop) -> Decimal {
    let list = shop.get("/lots").await.ok().without_ids();
    let lots = list.texts(".tickets .head:nth-of-type(2) .number");
    let sum: Decimal = lots.iter().map(|shown| amount(shown)).sum();
    let total = amount(&list.text(".figure"));
    let most = Decimal::from(lots.len()) * dec!(0.005) + dec!(0.005);
    assert!((sum - total).abs() <= most, "{lots:?} are {sum}, not {total}");
    let families: Decimal = list
        .texts("h2.family .number")
        .iter()
        .map(|shown| amount(shown.split('·').nth(1).expect("mass · worth")))
        .sum();
    assert!((families - total).abs() <= most, "{families}, not {total}");
    let page = plan(shop).await;
    let shown: Decimal = page.texts("section > h2 .number").iter().map(|shown| amount(shown)).sum();
    assert!((shown - total).abs() <= dec!(0.02), "the plan has {shown}, the lots {total}");
    assert_eq!(amount(&shop.get("/").await.ok().text(".figure.huge")), total);
    total
}

async fn worth_adds_up_to_the_plan(shop: &TestShop) {
    let carrier = shop.carrier().await;
    shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    shop.near_yard(&[("copper-1", "3.50/lb"), ("copper-2", "3.00/lb")]).await;
    let kept = shop.filling_bag("Bag 1", "board-set-top", "10 lb").await;
    for (label, grade, net) in [
        ("Bag 2", "copper-1", "7 lb 3 oz"),
        ("Bag 3", "copper-2", "11 lb 5 oz"),
        ("Bag 4", "copper-2", "1 oz"),
    ] {
        shop.filled(label, grade, net).await;
    }
    // 7.1875 × 3.50 + 11.375 × 3.00 − 17.40 = 41.88, and the bag of boards is kept for its part of a full box: 39 lb
    // bring 78.00 − 36.50 = 41.50, of which 15 lb are 15.96; in 168 days at 18 % a year that is 14.74 today.
    assert_eq!(adds_up(shop).await, dec!(56.62));
    let list = shop.get("/lots").await.ok();
    let places = list.texts(".tickets .soft.small");
    assert_eq!(places, ["→ Quay Metals", "→ Quay Metals", "→ Quay Metals", "→ keep"]);
    let page = shop.get(&format!("/lots/{kept}")).await.ok().without_ids();
    assert_eq!(page.text(".chosen .figure"), "keep it 14.74 USD");
    // Now, and alone: 30.00 − (20.00 + 1.50 + 3.00) = 5.50.
    assert_eq!(page.text(".working summary .head"), "Board House 5.50 USD");
}

async fn a_charge_is_kept_unless_it_is_pinned(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb"), ("battery-damaged", "-2.99/lb")]).await;
    let copper = shop.filled("Bag 1", "copper-2", "10 lb").await;
    let damaged = shop.filled("Bag 2", "battery-damaged", "10 lb").await;
    // 30.00 − 17.40 = 12.60; the charge stays.
    assert_eq!(headings(&plan(shop).await), ["Quay Metals 12.60 USD"]);
    assert_eq!(adds_up(shop).await, dec!(12.60));
    let pinned = say(shop, &damaged, near.as_str(), "It goes there").await.ok();
    // Now only a trip that fetches 0.10 for both: 0.10 − 17.40 = −17.30.
    assert_eq!(headings(&pinned), ["Quay Metals −17.30 USD"]);
    // Each at its own price, with its part of the trip by what moves: 30.00 − 17.40 × 30.00 / 59.90 and
    // −29.90 − 17.40 × 29.90 / 59.90.
    let worth = |lot: &str| pinned.text(&format!("[id='lot-{lot}'] .number"));
    assert_eq!((worth(&copper), worth(&damaged)), ("21.29 USD".to_string(), "−38.59 USD".to_string()));
    assert_eq!(adds_up(shop).await, dec!(-17.30));
    // Alone the yard would be owed 29.90, and the trip paid: the first step goes down already.
    let page = shop.get(&format!("/lots/{damaged}")).await.ok().without_ids();
    assert_eq!(page.text(".working summary .head"), "Quay Metals −47.30 USD");
    assert_eq!(page.text(".ladder > li .head"), "At the sheet's price −29.90 USD");
    assert_eq!(page.text(".ladder p"), "10 lb Damaged batteries × −2.99 USD/lb");
    assert!(page.has(".ladder > li:first-of-type .fill-loss"));

    // Two that cancel exactly, and two that fetch nothing: still they add up.
    shop.sheet(&near, 0, &[("copper-2", "3.00/lb"), ("battery-damaged", "-3.00/lb")]).await;
    say(shop, &copper, near.as_str(), "It goes there").await.ok();
    assert_eq!(adds_up(shop).await, dec!(-17.40));
    shop.sheet(&near, 0, &[("copper-2", "0/lb"), ("battery-damaged", "0.00/lb")]).await;
    assert_eq!(adds_up(shop).await, dec!(-17.40));
}

async fn lots_by_the_piece_are_counted(shop: &TestShop) {
    let near = shop.near_yard(&[("laptop-whole", "8.00/each")]).await;
    let lot = shop.bag("Crate 1", "laptop-whole").await;
    shop.put_pieces(&lot, "20 kg", 5).await;
    let page = plan(shop).await;
    // 5 × 8.00 − 17.40 = 22.60.
    assert_eq!(headings(&page), ["Quay Metals 22.60 USD"]);
    let working = page.text(&format!("{} .ladder p", stop(&near)));
    assert_eq!(working, "5 Laptop, whole × 8.00 USD each");
    let bag = shop.get(&format!("/lots/{lot}/ship")).await.ok().without_ids();
    assert_eq!(
        bag.text(".figure"),
        "Take it to Quay Metals with the next load: the sell plan sends it there."
    );
    assert_eq!(adds_up(shop).await, dec!(22.60));
}

async fn another_currency_is_shown_in_both(shop: &TestShop) {
    let mut across = trade_in_cad(yard("Rapids Recycling", 10, 30));
    across.terms.exchange_spread = Share::new(dec!(0.02)).expect("a share");
    across.terms.payout_fee = dec!(5);
    across.terms.percent_fee = Share::new(dec!(0.01)).expect("a share");
    across.terms.days_to_pay = 1;
    let across = shop.outlet(&across, &[("copper-2", "4.00/lb")]).await;
    shop.cad_rate(0, dec!(0.75)).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = plan(shop).await;
    // 160.00 CAD less 1.60 CAD are 158.40 CAD, at 0.75 118.80 USD; less 2 % of it, 2.376, and 5.00: 111.424. The trip
    // takes 17.40, a day's wait 111.424 × 0.10 / 365 = 0.03053. Left: 93.99347.
    assert_eq!(headings(&page), ["Rapids Recycling 93.99 USD"]);
    let soft = page.text(&format!("{} p.soft", stop(&across)));
    assert!(soft.starts_with("Drive 40 lb 0.0 oz; pays 158.40 CAD after 1 day;"), "{soft}");
    // The trip and the bank's fee are shared, percents are not: 17.40 + 5.00.
    assert!(soft.ends_with("Shared cost 22.40 USD, once."), "{soft}");
    let steps = page.texts(&format!("{} .ladder > li .head", stop(&across)));
    assert_eq!(
        steps,
        [
            "At the sheet's price 120.00 USD",
            "Fee by percent −1.20 USD",
            "Lost in exchange −2.38 USD",
            "Fee to get paid −5.00 USD",
            "The drive −17.40 USD",
            "Waiting for the money −0.03 USD",
            "Net to the shop 93.99 USD"
        ]
    );
    let workings = page.texts(&format!("{} .ladder p", stop(&across)));
    assert_eq!(workings[0], "40 lb No. 2 copper × 4.00 CAD/lb = 160.00 CAD");
    assert_eq!(workings[1], "1 % = −1.60 CAD");
    assert!(workings[2].starts_with("158.40 CAD at 0.75 USD/CAD of "), "{}", workings[2]);
}

async fn a_rate_is_shown_as_it_is_reckoned_with(shop: &TestShop) {
    shop.change_shop(|settings| settings.costs.truck_per_km = dec!(0.425)).await;
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = plan(shop).await;
    // 120.00 − (20 × 0.425 + 9.00); at 0.43 a kilometre it would be ten cents less.
    assert_eq!(headings(&page), ["Quay Metals 102.50 USD"]);
    assert_eq!(
        page.texts(&format!("{} .ladder p", stop(&near)))[1],
        "20 km there and back at 0.425 USD, 30 min at 18.00 USD an hour"
    );
}

async fn it_prints_as_a_load_list(shop: &TestShop) {
    let near = shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = plan(shop).await;
    // What stays on paper: outlet, lots, masses. Forms, links to press and the menu go (static/css/print.css).
    assert!(page.has(&format!("{} .lots li form.no-print", stop(&near))));
    assert!(page.has(&format!("{} > .buttons.no-print form", stop(&near))));
    assert!(page.has("#closed.no-print"));
    assert!(!page.has(".lots li.no-print") && !page.has("section.no-print"));
    let print = include_str!("../static/css/print.css");
    for hidden in [".bar", ".no-print", "form"] {
        assert!(print.contains(hidden), "{hidden} is printed");
    }
}

async fn kilograms_throughout(shop: &TestShop) {
    shop.in_kilograms().await;
    let carrier = shop.carrier().await;
    let mut boards = buyer("Board House", &carrier);
    boards.terms.minimum_delivery = mass("25 kg");
    shop.outlet(&boards, &[("board-set-top", "4.00/kg")]).await;
    let near = shop.near_yard(&[("copper-2", "7.00/kg")]).await;
    let bag = shop.filling_bag("Bag 1", "board-set-top", "2 kg").await;
    let copper = shop.filled("Bag 2", "copper-2", "20 kg").await;
    let receipt = shop.put(&copper, "500 g").await;
    let page = plan(shop).await;
    // 20.5 × 7.00 − 17.40 = 126.10.
    assert_eq!(headings(&page), ["Quay Metals 126.10 USD"]);
    assert!(page.text(&format!("{} p.soft", stop(&near))).contains("Drive 20.500 kg"));
    assert!(page.text(&format!("{} p.soft", stop(&near))).contains("6.15 USD/kg net"));
    let ship = shop.get(&format!("/lots/{bag}/ship")).await.ok();
    assert!(ship.says("Not there: it takes deliveries from 25.000 kg up."), "{}", ship.text("main"));
    for url in ["/plan", "/", "/lots", &format!("/lots/{bag}/ship"), &format!("/weighings/{receipt}")] {
        let text = shop.get(url).await.ok().without_ids().text("main");
        let in_pounds = text.split_whitespace().find(|word| ["lb", "oz", "USD/lb"].contains(word));
        assert_eq!(in_pounds, None, "{url}: {text}");
    }
    // Where both forms stand side by side, the shop's own comes first.
    let lot = shop.get(&format!("/lots/{copper}")).await.ok();
    assert_eq!(lot.text(".figure.huge"), "20.500 kg");
    let ladder = shop.shelf().await;
    let load = ladder.load_of(&copper.as_str().into()).expect("the lot");
    let net = deliver(ladder.outlet(&near).expect("the yard"), &[load], &ladder.facts).expect("it takes it");
    assert_eq!(net.step(StepKind::Trip).expect("a drive").home, dec!(-17.40));
    assert_eq!(net.net_per(MassUnit::Kilogram).expect("a mass").round_dp(2), dec!(6.15));
}
