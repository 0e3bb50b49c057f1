//! Kept out of landfill: what left to be used again, by month and family.

use jiff::ToSpan;

use crate::common::market::yard;
use crate::common::{TestShop, mass, on_both};
use crate::shipments::market;

on_both![
    nothing_has_left_yet,
    what_was_sent_counts_in_its_month_by_family,
    what_is_only_packed_or_refused_does_not_count,
    a_month_begins_at_midnight_in_the_shop,
    the_first_day_counts_before_any_restart,
];

async fn nothing_has_left_yet(shop: &TestShop) {
    shop.filled("Bag 1", "copper-2", "20 lb").await;
    let page = shop.get("/diverted").await.ok().without_ids();
    assert!(page.says("Nothing has left yet.") && !page.has("svg.drawing"));
    assert_eq!(page.text(".figure.huge"), "0.0 oz");
    assert!(page.says("What is still on the shelf, and what was thrown away, is not counted."));
}

async fn what_was_sent_counts_in_its_month_by_family(shop: &TestShop) {
    let boards = market(shop).await.boards;
    let old = shop.filled("Bag 1", "board-set-top", "30 lb").await;
    shop.sent(&[&old], &boards, 70).await;
    let new = shop.filled("Bag 2", "board-console", "20 lb").await;
    shop.sent(&[&new], &boards, 0).await;
    let page = shop.get("/diverted").await.ok().without_ids();
    assert_eq!(page.text(".figure.huge"), "50 lb 0.0 oz");
    assert_eq!(page.texts("#families div"), ["boards 50 lb 0.0 oz · 100 %", "Together 50 lb 0.0 oz"]);
    let months = page.texts("#months summary");
    assert_eq!(months.len(), 2, "{months:?}");
    assert!(months[0].ends_with("20 lb 0.0 oz") && months[1].ends_with("30 lb 0.0 oz"), "{months:?}");
    // The drawing reads aloud, the idle months with it.
    let told = page.text("#months-desc");
    assert!(told.contains(": 30;") && told.ends_with(": 20") && told.contains("nothing"), "{told}");
    assert!(page.texts("svg.drawing text").contains(&"30".to_string()));
    assert_eq!(page.texts("svg.drawing rect").len(), told.split(';').count());
}

async fn what_is_only_packed_or_refused_does_not_count(shop: &TestShop) {
    let boards = market(shop).await.boards;
    shop.outlet(&yard("Quay Metals", 10, 30), &[("copper-2", "3.00/lb")]).await;
    let bag = shop.filled("Bag 1", "board-set-top", "30 lb").await;
    shop.packed(&[&bag], &boards, 0).await;
    shop.filled("Drum 1", "copper-2", "100 lb").await;
    let run = shop.get("/runs/new").await.ok();
    let run = shop.submit(run.form("form[action='/runs']")).await.ok();
    let run = shop.submit(run.form("form[action$='/leave']")).await.ok();
    assert!(shop.get("/diverted").await.ok().says("Nothing has left yet."));
    shop.submit(run.form("form[action$='/skip']")).await.ok();
    assert!(shop.get("/diverted").await.ok().says("Nothing has left yet."));
}

/// Detroit is four or five hours behind UTC: what leaves on the last evening of a month is stored on the first of the next.
async fn a_month_begins_at_midnight_in_the_shop(shop: &TestShop) {
    let boards = market(shop).await.boards;
    let bag = shop.filled("Bag 1", "board-set-top", "30 lb").await;
    let shipment = shop.packed(&[&bag], &boards, 0).await;
    let first = shop.today().first_of_month();
    let evening =
        first.saturating_sub(1.day()).at(23, 30, 0, 0).in_tz("America/Detroit").expect("an evening");
    let by = pennyweight::store::By { at: evening.timestamp(), ..shop.by() };
    shop.store.send_shipment(&by, &shipment, 1).await.expect("it leaves");
    let out =
        shop.store.diverted_months(&shop.id, first.saturating_sub(1.year()), first).await.expect("months");
    assert_eq!(out.len(), 1);
    assert_eq!(out[0].month, first.saturating_sub(1.month()));
    assert_eq!(out[0].total(), mass("30 lb"));
}

async fn the_first_day_counts_before_any_restart(shop: &TestShop) {
    // A store that is opened makes the book of a shop that has none; on the first day nobody has.
    shop.execute("DELETE FROM diverted_books").await;
    let boards = market(shop).await.boards;
    let bag = shop.filled("Bag 1", "board-set-top", "30 lb").await;
    shop.sent(&[&bag], &boards, 0).await;
    let page = shop.get("/diverted").await.ok().without_ids();
    assert_eq!(page.text(".figure.huge"), "30 lb 0.0 oz");
}
