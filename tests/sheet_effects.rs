//! What a sheet under review changes is shown before it is saved, and what cannot be true is asked about.

use jiff::ToSpan;
use rust_decimal::dec;
use trade::money::Currency;

use crate::common::market::yard;
use crate::common::{Page, TestShop, on_both};
use crate::sheets::{lakeside, pays, upload};

on_both![
    where_the_plan_would_send_what_is_shown_before_saving,
    a_sheet_that_moves_no_lot_says_so,
    an_older_sheet_says_nothing_of_the_plan,
    an_impossible_price_on_a_first_sheet_is_asked_about,
    what_is_asked_about_is_not_counted_on,
    the_browser_is_told_which_files_can_be_read,
];

fn effect(review: &Page) -> String {
    review.text("#effect").replace(" ,", ",").replace(" ;", ";").replace('\u{a0}', " ")
}

async fn where_the_plan_would_send_what_is_shown_before_saving(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 9, &[("copper-2", "3.00/lb"), ("copper-1", "4.00/lb")]).await;
    let far = shop.outlet(&yard("Harbour Yard", 25, 60), &[]).await;
    shop.sheet(&far, 8, &[("copper-2", "3.20/lb"), ("brass-yellow", "2.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    shop.filled("Bag 2", "copper-1", "10 lb").await;

    let sheet = "Item,Price per lb\nNo. 2 copper,4.00\nYellow brass,2.00\nBare bright,4.10\n";
    let said = effect(&upload(shop, &far, "new.csv", sheet).await.ok());
    assert!(said.contains("1 up, 1 new, 1 the same."), "{said}");
    assert!(said.contains("No. 2 copper: 3.20 USD/lb → 4.00 USD/lb up 25 %"), "{said}");
    // Before: 120.00 + 40.00 − 17.40 = 142.60. Then: (160.00 − 39.00) + (40.00 − 17.40) = 143.60. The bag's own worth
    // goes from 120.00 − 17.40 × 120 / 160 = 106.95 to 121.00.
    assert!(
        said.contains("it changes the shelf by 1.00 USD and the sell plan sends these elsewhere"),
        "{said}"
    );
    assert!(said.contains("Bag 1, No. 2 copper 14.05 USD Quay Metals → Harbour Yard"), "{said}");
    assert!(!said.contains("Bag 2"), "{said}");
    assert_eq!(
        pays(shop, &far, "copper-2").await.map(|price| price.amount),
        Some(dec!(3.20)),
        "nothing is saved"
    );
}

async fn a_sheet_that_moves_no_lot_says_so(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 9, &[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let said = effect(&upload(shop, &near, "new.csv", "Item,Price per lb\nNo. 2 copper,2.90\n").await.ok());
    assert!(said.contains("1 down."), "{said}");
    assert!(
        said.contains("it changes the shelf by −4.00 USD; the sell plan keeps every lot where it is"),
        "{said}"
    );
}

async fn an_older_sheet_says_nothing_of_the_plan(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 2, &[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let day = shop.today().saturating_sub(20.days());
    let sheet = format!("Prices of {day}\nItem,Price per lb\nNo. 2 copper,2.90\n");
    let review = upload(shop, &near, "old.csv", sheet).await.ok();
    assert!(review.says("This one is kept as history"), "{}", review.text("main"));
    assert!(!effect(&review).contains("sell plan"), "{}", effect(&review));
}

async fn an_impossible_price_on_a_first_sheet_is_asked_about(shop: &TestShop) {
    // Others quote per kilogram and in another currency: 3.00 USD/lb is 6.614 USD/kg (NIST Handbook 44), and at 0.75
    // USD for 1 CAD 4.00 CAD/lb is the same 3.00 USD/lb.
    let first = shop.outlet(&yard("Quay Metals", 10, 30), &[("copper-2", "6.614/kg")]).await;
    let mut across = yard("Rapids Recycling", 10, 30);
    across.currency = Currency::CAD;
    shop.cad_rate(1, dec!(0.75)).await;
    shop.outlet(&across, &[("copper-2", "4.00/lb")]).await;
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "first.csv", "Item,Price per lb\nNo. 2 copper,310.00\n").await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 1", "{first}");
    assert!(
        review.says("times above what the other outlets pay (3.00 USD/lb). Is it meant in cents?"),
        "{}",
        review.text("main")
    );
}

async fn what_is_asked_about_is_not_counted_on(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    shop.sheet(&near, 9, &[("copper-2", "3.00/lb"), ("brass-yellow", "2.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let sheet = "Item,Price per lb\nNo. 2 copper,300\nYellow brass,2.10\n";
    let said = effect(&upload(shop, &near, "new.csv", sheet).await.ok());
    // A price a hundred times too high would promise thousands.
    assert!(said.contains("1 up, 1 the same, as far as the lines are confirmed."), "{said}");
    assert!(said.contains("it changes the shelf by 0.00 USD"), "{said}");
}

async fn the_browser_is_told_which_files_can_be_read(shop: &TestShop) {
    lakeside(shop).await;
    let page = shop.get("/sheets/new").await.ok();
    let accept = page.attributes("input[type=file]", "accept").remove(0);
    for kind in [".csv", ".xlsx", ".xls", ".ods", ".pdf", ".html", ".txt", "text/csv"] {
        assert!(accept.split(',').any(|one| one == kind), "{kind} in {accept}");
    }
}
