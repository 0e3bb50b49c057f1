//! A buyer's paper on its way into a settlement: uploaded, pasted, typed over more than one day.

use axum::http::StatusCode;
use pennyweight::store::shipments::ShipmentState;

use crate::common::{Page, TestShop, on_both};
use crate::settlements::{begun, compared, draft_form, saved, sent, state};

on_both![
    a_pasted_paper_fills_the_lines_that_explain_themselves,
    a_paper_that_explains_nothing_is_shown_to_type_from,
    two_people_at_one_draft_overwrite_nothing,
    what_is_typed_outlives_the_page,
];

async fn a_pasted_paper_fills_the_lines_that_explain_themselves(shop: &TestShop) {
    let (shipment, [set_top, console]) = sent(shop).await;
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    let page = shop.submit(page.form("form[action$='/settlement']")).await.ok();
    let text = "Settlement 12\nitem\tweight lb\tprice\tamount\nSet-top boards\t39.5\t2.00\t79.00\n\
                Game console boards\t5.00\t3.00\t15.00\nHandling\t\t\t4.00\nTotal\t\t\t90.00\n";
    let form = page.form("form[enctype]").set("text", text);
    let page = shop.submit(form.clone()).await.ok();
    assert!(page.says("2 of its lines"), "{}", page.text("main"));
    assert!(page.text("pre").contains("Handling"), "all of it is shown: {}", page.text("pre"));
    let form = draft_form(&page);
    assert_eq!(
        (form.value("wording-0"), form.value("amount-0"), form.value("price-0")),
        ("Set-top boards", "79.00", "2")
    );
    assert_eq!((form.value("grade-0"), form.value("lot-0")), ("board-set-top", set_top.as_str()));
    assert_eq!(form.value("lot-1"), console.as_str());
    let form = form.set("charge-0", "handling").set("taken-0", "4.00").set("paid", "90.00");
    let review = compared(shop, form).await.ok();
    assert!(review.says("39 lb 8.0 oz found, 40 lb 0.0 oz sent"), "{}", review.text("main"));
    let settled = saved(shop, &review).await.ok();
    assert_eq!(shop.get(&settled.link("Their paper")).await.status, StatusCode::OK);
}

async fn a_paper_that_explains_nothing_is_shown_to_type_from(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    let page = shop.submit(page.form("form[action$='/settlement']")).await.ok();
    let paste = |page: &Page, text: &str| page.form("form[enctype]").set("text", text);
    let page = shop.submit(paste(&page, "Dear shop\nset-top boards ninety dollars 90.00\n")).await.ok();
    assert!(page.says("No line of it explains itself"), "{}", page.text("main"));
    assert!(page.text("pre").contains("ninety dollars"));
    assert_eq!(draft_form(&page).value("amount-1"), "");
    // Over what somebody has typed nothing is filled in.
    let page = shop.submit(draft_form(&page).set("amount-1", "90").press("Keep it")).await.ok();
    let page = shop.submit(paste(&page, "boards 10 lb 2.00 20.00\n")).await.ok();
    assert_eq!(draft_form(&page).value("amount-1"), "90");
    assert!(page.says("nothing was filled in over them"));
    // Nothing to read is said, and a file that cannot be read is kept.
    let page = shop.submit(page.form("form[enctype]")).await.ok();
    assert!(page.says("Choose a file, or paste the lines."));
    let form =
        page.form("form[enctype]").attach("file", "scan.pdf", "application/pdf", b"%PDF-1.4 broken".to_vec());
    let page = shop.submit(form).await.ok();
    assert!(
        page.says("scan.pdf is kept with the settlement, but it cannot be read here"),
        "{}",
        page.text("main")
    );
}

async fn two_people_at_one_draft_overwrite_nothing(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let form = begun(shop, &shipment).await;
    let tobias = shop.phone_of(&shop.partners[1]);
    let theirs = draft_form(&tobias.get(&form.action).await.ok());
    shop.submit(form.set("note", "mine").press("Keep it")).await.ok();
    let page = tobias.submit(theirs.set("note", "theirs").press("Keep it")).await;
    assert!(page.says("Changed meanwhile") && page.says("Stored now: mine"), "{}", page.text("main"));
    assert_eq!(draft_form(&page).value("note"), "theirs");
}

async fn what_is_typed_outlives_the_page(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let form = begun(shop, &shipment).await.set("mass-0", "5.0x").set("note", "half of it");
    let page = shop.submit(form.press("Another line")).await.ok();
    let form = draft_form(&page);
    assert_eq!((form.value("mass-0"), form.value("note"), form.value("lines")), ("5.0x", "half of it", "3"));
    let page = shop.submit(form.set("wording-2", "sweepings").press("Another charge")).await.ok();
    assert_eq!(draft_form(&page).value("charges"), "2");
    // Another phone, another day: the shipment's page leads back to it.
    let again = shop.get(&format!("/shipments/{shipment}")).await.ok();
    let back = shop.get(&again.link("is being entered")).await.ok();
    assert_eq!(
        (draft_form(&back).value("mass-0"), draft_form(&back).value("wording-2")),
        ("5.0x", "sweepings")
    );
    let gone = shop.submit(back.form("form[action$='/discard']")).await.ok();
    assert_eq!(gone.url, format!("/shipments/{shipment}"));
    assert!(!gone.says("is being entered"));
    assert!(matches!(state(shop, &shipment).await, ShipmentState::Sent { .. }));
}
