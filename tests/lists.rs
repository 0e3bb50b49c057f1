//! Long lists fold, what has no price says so, and old figures are named where they are leant on.

use jiff::ToSpan;
use rust_decimal::dec;
use trade::money::Currency;

use crate::common::market::yard;
use crate::common::{TestShop, on_both};

on_both![
    a_long_list_folds_and_opens_as_a_whole,
    containers_go_by_kind_and_number,
    a_lot_without_a_price_says_why,
    pieces_that_nobody_counted_have_no_price,
    the_plan_names_the_old_figures_it_leans_on,
];

/// More lots than stand open together, in two families.
async fn many_lots(shop: &TestShop) {
    for number in 1..=7 {
        shop.bag(&format!("Bag {number}"), "copper-2").await;
        shop.bag(&format!("Bag {}", number + 7), "board-set-top").await;
    }
}

async fn a_long_list_folds_and_opens_as_a_whole(shop: &TestShop) {
    shop.bag("Bag 0", "copper-2").await;
    assert_eq!(shop.get("/lots").await.ok().texts("details.fold:not([open])").len(), 0, "few stand open");
    many_lots(shop).await;
    for list in ["/lots", "/weigh", "/grades", "/containers"] {
        let folded = shop.get(list).await.ok();
        assert!(folded.has("details.fold[open]:first-of-type"), "{list}");
        assert_eq!(folded.texts("details.fold[open]").len(), 1, "{list}");
        let all = folded.attributes("main a", "href").into_iter().find(|href| href.ends_with("?open=all"));
        let Some(all) = all else {
            assert_eq!(folded.texts("details.fold").len(), 1, "{list} has nothing else to open");
            continue;
        };
        let open = shop.get(&all).await.ok();
        assert_eq!(open.texts("details.fold:not([open])").len(), 0, "{all}");
        assert_eq!(
            open.texts(".tickets strong"),
            folded.texts(".tickets strong"),
            "nothing is missing in {list}"
        );
    }
    let found = shop.get("/weigh?find=board").await.ok();
    assert_eq!(found.texts("details.fold:not([open])").len(), 0, "what was looked for stands open");
}

async fn containers_go_by_kind_and_number(shop: &TestShop) {
    for label in ["Bag 12", "Bag 2", "Bag 1"] {
        shop.bag(label, "copper-2").await;
    }
    let list = shop.get("/containers").await.ok();
    assert_eq!(list.texts(".ticket strong"), ["Bag 1", "Bag 2", "Bag 12"]);
}

async fn a_lot_without_a_price_says_why(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let lot = shop.filled("Bag 1", "board-set-top", "4 lb").await;
    let empty = shop.bag("Bag 2", "copper-2").await;
    let list = shop.get("/lots").await.ok();
    assert_eq!(list.texts(".tickets .stamp"), ["no price", "no price"]);
    assert_eq!(list.texts(".tickets .soft.small"), ["nothing weighed in yet", "no outlet’s sheet has it"]);
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    assert_eq!(page.text(".chosen .figure"), "no price no outlet’s sheet has it");
    let plan = shop.get("/plan").await.ok();
    for id in [lot, empty] {
        assert_eq!(plan.text(&format!("[id='lot-{id}'] .stamp")), "no price");
    }
    assert!(!plan.has("[id^='lot-'] .number"), "no amount stands for what has no price");
}

async fn pieces_that_nobody_counted_have_no_price(shop: &TestShop) {
    let near = shop.near_yard(&[("laptop-whole", "6.00/each")]).await;
    let uncounted = shop.filled("Bag 1", "laptop-whole", "10 lb").await;
    let page = shop.get(&format!("/lots/{uncounted}")).await.ok();
    assert_eq!(page.text(".chosen .figure"), "no price priced each, and its pieces are not counted");
    assert_eq!(page.text(".working summary .number"), "no price");
    let bag = shop.get(&format!("/lots/{uncounted}/ship")).await.ok();
    assert!(bag.says("priced each, and its pieces are not counted"));
    // One yard that buys by weight is enough for a price.
    let far = shop.far_yard(&[("laptop-whole", "0.50/lb")]).await;
    let page = shop.get(&format!("/lots/{uncounted}")).await.ok();
    assert!(!page.text(".chosen .figure").contains("no price"), "{far}");
    assert!(page.texts(".working summary .head").contains(&"Quay Metals no price".to_string()), "{near}");
    let counted = shop.bag("Bag 2", "laptop-whole").await;
    shop.put_pieces(&counted, "10 lb", 5).await;
    let page = shop.get(&format!("/lots/{counted}")).await.ok();
    assert!(!page.texts(".working summary .number").contains(&"no price".to_string()));
}

async fn the_plan_names_the_old_figures_it_leans_on(shop: &TestShop) {
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &[]).await;
    let mut across = yard("Rapids Recycling", 10, 30);
    across.currency = Currency::CAD;
    shop.outlet(&across, &[("copper-2", "4.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let told = async || shop.get("/plan").await.ok().texts(".attention li");
    assert!(told().await.is_empty(), "a sheet and a rate that are missing are no old ones");
    shop.sheet(&near, 15, &[("copper-2", "3.00/lb")]).await;
    shop.cad_rate(8, dec!(0.75)).await;
    let day = |days: i64| shop.today().saturating_sub(days.days()).strftime("%a %-d %b %Y").to_string();
    let plan = shop.get("/plan").await.ok();
    assert_eq!(
        plan.texts(".attention li"),
        [
            format!("Quay Metals : its sheet is from {}, 15 days ago. Read its new sheet", day(15)),
            format!("The rate for CAD is from {}, 8 days ago. Enter today’s rate", day(8)),
        ]
    );
    assert_eq!(plan.link("Read its new sheet"), format!("/sheets/new?outlet={near}"));
    assert_eq!(plan.link("Enter today’s rate"), "/rates");
    shop.sheet(&near, 1, &[("copper-2", "3.00/lb")]).await;
    shop.cad_rate(1, dec!(0.75)).await;
    assert!(told().await.is_empty());
}
