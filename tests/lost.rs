//! Parcels that were lost: followed until the carrier or an insurer has paid, or they are given up.

use axum::http::StatusCode;
use pennyweight::store::activity::{Noun, Wanted};
use pennyweight::store::cash::{Document, DocumentKind};
use pennyweight::store::shipments::ShipmentState;

use crate::common::{Page, TestShop, on_both};
use crate::settlements;
use crate::shipments::market;

on_both![
    a_lost_parcel_is_followed_until_somebody_pays,
    a_lost_parcel_is_followed_until_it_is_written_off,
    what_is_not_lost_is_not_written_off,
    what_turned_up_is_not_written_off_any_more,
    what_was_paid_is_done_and_what_is_disputed_is_not,
    the_done_ones_come_page_by_page,
    a_shipment_that_nobody_follows_is_found,
];

/// A shipment that the carrier has lost.
async fn lost(shop: &TestShop) -> String {
    let boards = market(shop).await.boards;
    let lot = shop.filled("Bag 1", "board-set-top", "45 lb").await;
    let id = shop.sent(&[&lot], &boards, 20).await;
    shop.submit(show(shop, &id).await.form("form[action$='/lose']")).await.ok();
    id
}

async fn show(shop: &TestShop, id: &str) -> Page {
    shop.get(&format!("/shipments/{id}")).await.ok()
}

/// Whether it stands among those that something is to be done about; the list has it once.
async fn is_open(shop: &TestShop, id: &str) -> bool {
    let open = shop.store.open_shipments(&shop.id).await.expect("open ones");
    let done = shop.store.done_shipments(&shop.id, None, 40).await.expect("done ones");
    let [open, done] = [open, done].map(|list| list.iter().filter(|one| one.id == id).count());
    assert_eq!(open + done, 1);
    open == 1
}

async fn a_lost_parcel_is_followed_until_somebody_pays(shop: &TestShop) {
    let id = lost(shop).await;
    assert!(is_open(shop, &id).await);
    let list = shop.get("/shipments").await.ok();
    assert!(!list.says("Done") && list.says("lost"), "{}", list.text("main"));
    let form = shop.get(&format!("/shipments/{id}/claim")).await.ok().form("form[action$='/claim']");
    shop.submit(form.set("amount", "60")).await.ok();
    assert!(!is_open(shop, &id).await);
    assert!(!show(shop, &id).await.has("form[action$='/write-off']"), "there is nothing to give up");
    // Undone, it was no payment.
    let claims = Document::new(DocumentKind::Claim, &*id);
    let entries = shop.store.cash_of(&shop.id, &claims).await.expect("the entries");
    let entry = shop.get(&format!("/money/entries/{}", entries[0].id)).await.ok();
    shop.submit(entry.form("form[action$='/undo']")).await.ok();
    assert!(is_open(shop, &id).await);
}

async fn a_lost_parcel_is_followed_until_it_is_written_off(shop: &TestShop) {
    let id = lost(shop).await;
    let form = show(shop, &id).await.form("form[action$='/write-off']");
    let (one, two) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    assert_eq!([one.ok().url, two.ok().url], [format!("/shipments/{id}"), format!("/shipments/{id}")]);
    assert!(!is_open(shop, &id).await);
    let page = show(shop, &id).await;
    assert!(page.says("Written off by Imke"), "{}", page.text("main"));
    assert!(page.says("Nothing, and it was written off."));
    let wanted = Wanted { noun: Some(Noun::Shipment), ..Wanted::default() };
    let lines = shop.store.activity(&shop.id, &wanted, 50).await.expect("the activity");
    assert_eq!(lines.iter().filter(|line| line.deed == "written off").count(), 1);
    assert_eq!(lines[0].partner_name, "Imke");
    // An insurer may pay all the same, and a partner may have been too quick.
    let back = page.form("form[action$='/write-off']");
    assert_eq!(
        back.value("version"),
        (form.value("version").parse::<i64>().expect("a number") + 1).to_string()
    );
    shop.submit(back.clone()).await.ok();
    shop.submit(back).await.ok();
    assert!(is_open(shop, &id).await);
    assert!(!show(shop, &id).await.says("Written off"));
    // A form from before is told.
    let late = shop.submit(form).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.says("The shipment has moved on"));
}

async fn what_is_not_lost_is_not_written_off(shop: &TestShop) {
    let boards = market(shop).await.boards;
    let lot = shop.filled("Bag 1", "board-set-top", "45 lb").await;
    let id = shop.sent(&[&lot], &boards, 1).await;
    let mut form = show(shop, &id).await.form("form[action$='/lose']");
    form.action = format!("/shipments/{id}/write-off");
    let told = shop.submit(form).await;
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(is_open(shop, &id).await);
    let other = shop.open_another().await;
    let denied = shop.store.write_off_shipment(&other, &id, 2, true).await;
    assert!(denied.is_err());
}

async fn what_turned_up_is_not_written_off_any_more(shop: &TestShop) {
    let id = lost(shop).await;
    shop.submit(show(shop, &id).await.form("form[action$='/write-off']")).await.ok();
    shop.submit(show(shop, &id).await.form("form[action$='/find']")).await.ok();
    assert!(is_open(shop, &id).await);
    shop.submit(show(shop, &id).await.form("form[action$='/lose']")).await.ok();
    assert!(is_open(shop, &id).await);
    let state = shop.store.shipment(&shop.id, &id).await.expect("it").state;
    assert!(matches!(state, ShipmentState::Lost { written_off: None, .. }), "{state:?}");
}

async fn what_was_paid_is_done_and_what_is_disputed_is_not(shop: &TestShop) {
    let (id, _) = settlements::sent(shop).await;
    assert!(is_open(shop, &id).await);
    let form = settlements::as_promised(settlements::begun(shop, &id).await);
    settlements::saved(shop, &settlements::compared(shop, form.set("paid", "80")).await.ok()).await.ok();
    assert!(!is_open(shop, &id).await);
    shop.submit(show(shop, &id).await.form("form[action$='/dispute']")).await.ok();
    assert!(is_open(shop, &id).await);
    shop.submit(show(shop, &id).await.form("form[action$='/dispute']")).await.ok();
    assert!(!is_open(shop, &id).await);
    // Taken back, nothing was paid.
    let settlement = shop.store.settlements(&shop.id, 1).await.expect("one").remove(0);
    let withdrawal = pennyweight::store::settlements::Withdrawal {
        id: &pennyweight::store::new_id(),
        settlement_id: &settlement.id,
        why: "another shipment's",
    };
    shop.store.withdraw_settlement(&shop.by(), &withdrawal).await.expect("taken back");
    assert!(is_open(shop, &id).await);
}

async fn the_done_ones_come_page_by_page(shop: &TestShop) {
    let boards = market(shop).await.boards;
    let lot = shop.filled("Bag 1", "board-set-top", "45 lb").await;
    let mut made = Vec::new();
    for nth in 0..85 {
        // Two at a time were made at one moment.
        let id = shop.packed(&[&lot], &boards, 100 - nth / 2).await;
        shop.store.cancel_shipment(&shop.by(), &id, 1).await.expect("taken apart");
        made.push(id);
    }
    let (mut seen, mut before) = (Vec::new(), None::<String>);
    loop {
        let page = shop.store.done_shipments(&shop.id, before.as_deref(), 40).await.expect("a page");
        let Some(last) = page.last() else { break };
        before = Some(last.id.clone());
        assert!(page.is_sorted_by(|a, b| (a.made_at, &a.id) > (b.made_at, &b.id)));
        seen.extend(page.into_iter().map(|shipment| shipment.id));
    }
    assert_eq!(seen.len(), 85);
    seen.sort();
    made.sort();
    assert_eq!(seen, made);
    let first = shop.get("/shipments").await.ok();
    assert_eq!(shop.get(&first.link("Older ones")).await.ok().texts("a.ticket").len(), 40);
    let strange = format!("/shipments?before={}", pennyweight::store::new_id());
    assert!(shop.get(&strange).await.ok().says("There are no older ones."));
}

async fn a_shipment_that_nobody_follows_is_found(shop: &TestShop) {
    lost(shop).await;
    shop.execute("UPDATE shipments SET is_open = 0").await;
    let found = shop.store.check().await.expect("checked");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("a shipment that is followed for nothing, or forgotten"), "{found:?}");
    shop.execute("UPDATE shipments SET is_open = 1").await;
}
