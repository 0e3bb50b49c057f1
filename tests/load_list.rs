//! The plan as a load list: lots, weights and boxes by outlet, and what to take along.

use crate::common::market::{buyer, yard};
use crate::common::{TestShop, on_both};

on_both![
    each_outlet_has_its_lots_boxes_and_cautions,
    nothing_goes_anywhere_is_said,
    what_is_written_about_an_outlet_is_only_text,
];

async fn each_outlet_has_its_lots_boxes_and_cautions(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    let mut details = yard("Quay Metals", 10, 30);
    details.place = "12 Quay Road, Port Hollis".into();
    details.note = "Monday to Friday 8 to 4.\nScale house at gate 2.".into();
    let near = shop.outlet(&details, &[("copper-2", "3.00/lb"), ("lead-acid", "0.20/lb")]).await;
    shop.filled("Bag 1", "board-set-top", "39 lb").await;
    shop.filled("Bag 2", "copper-2", "40 lb").await;
    shop.filled("Bag 3", "copper-2", "2 lb").await;
    let battery = shop.filled("Crate 1", "lead-acid", "30 lb").await;
    let kept = shop.filled("Bag 4", "copper-1", "2 lb").await;

    let page = shop.get("/plan").await.ok();
    assert!(page.attributes("a", "href").contains(&"/plan/load-list".to_string()));
    let page = shop.get("/plan/load-list").await.ok().without_ids();
    let load = |id: &dyn std::fmt::Display| format!("[id='load-{id}']");
    assert_eq!(
        page.texts("section.sheet > h2"),
        ["Drive to Quay Metals 72 lb 0.0 oz", "Mail to Board House 39 lb 0.0 oz"]
    );
    let at_yard = page.text(&load(&near));
    assert!(at_yard.contains("12 Quay Road, Port Hollis"), "{at_yard}");
    assert!(at_yard.contains("Monday to Friday 8 to 4."), "{at_yard}");
    assert!(at_yard.contains("photo identification"), "{at_yard}");
    assert!(at_yard.contains("Batteries are in this load."), "{at_yard}");
    assert_eq!(
        page.texts(&format!("{} .tick-off > li", load(&near))),
        [
            "Bag 2 No. 2 copper 40 lb 0.0 oz 18.144 kg",
            "Bag 3 No. 2 copper 2 lb 0.0 oz 907.2 g",
            "Crate 1 Lead-acid batteries 30 lb 0.0 oz 13.608 kg"
        ]
    );
    // Both bags of copper are one line of a scale ticket.
    assert!(
        page.texts(&format!("{} .rows > div", load(&near)))
            .contains(&"No. 2 copper at 3.00 USD/lb 42 lb 0.0 oz".to_string())
    );
    let mailed = page.text(&load(&boards));
    assert!(mailed.contains("Boxes, by Lake Parcel"), "{mailed}");
    assert!(mailed.contains("1 × Large box fill to 39 lb 0.0 oz packed 40 lb 0.0 oz"), "{mailed}");
    assert!(!mailed.contains("Batteries are in this load."), "{mailed}");
    assert!(!page.says("Bag 4"), "{kept} is kept");
    // On paper each is a sheet of its own, and nothing of the program stands on it.
    let print = include_str!("../static/css/print.css");
    assert!(print.contains(".sheet { break-inside: auto; break-after: page;"));
    assert!(page.has("h1.no-print") && !page.has("section.sheet form"));
    assert_eq!(
        shop.lot(&battery).await.state,
        pennyweight::store::lots::LotState::Open,
        "nothing is reserved"
    );
}

async fn nothing_goes_anywhere_is_said(shop: &TestShop) {
    let page = shop.get("/plan/load-list").await.ok();
    assert!(page.says("The sell plan sends nothing anywhere now."));
    assert!(!page.has("section.sheet"));
    assert!(!shop.get("/plan").await.ok().attributes("a", "href").contains(&"/plan/load-list".to_string()));
}

async fn what_is_written_about_an_outlet_is_only_text(shop: &TestShop) {
    let mut details = yard("Quay Metals", 10, 30);
    details.note = "<script>alert(1)</script>\u{202e}gate".into();
    shop.outlet(&details, &[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 2", "copper-2", "40 lb").await;
    let page = shop.get("/plan/load-list").await.ok();
    assert!(!page.has("section script"));
    assert!(page.says("<script>alert(1)</script>"));
}
