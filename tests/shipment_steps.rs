//! The way of a shipment: packed and weighed, sent, received; or it comes back, or is lost.

use axum::http::StatusCode;
use pennyweight::store::cash::{Document, DocumentKind};
use pennyweight::store::lots::LotState;
use pennyweight::store::new_id;
use pennyweight::store::shipments::ShipmentState;
use pennyweight::store::weighings::WeighingKind;
use rust_decimal::dec;

use crate::common::{Page, TestShop, mass, on_both};
use crate::settlements;
use crate::shipments::{market, state};

on_both![
    boxes_are_weighed_as_they_are_closed,
    after_sending_only_a_correction_changes_it,
    a_waybill_that_is_wrong_says_where,
    two_people_at_one_waybill_overwrite_nothing,
    it_is_received_once,
    what_came_back_is_on_the_shelf_again,
    a_bag_that_was_filled_again_is_not_taken,
    part_of_it_comes_back,
    what_was_lost_may_turn_up,
    what_is_paid_for_a_lost_parcel_is_money,
    a_dispute_opens_and_ends,
    labels_have_a_box_each,
    figures_for_customs_are_to_be_verified,
];

async fn stands(shop: &TestShop, id: &str) -> ShipmentState {
    shop.store.shipment(&shop.id, id).await.expect("the shipment").state
}

async fn show(shop: &TestShop, id: &str) -> Page {
    shop.get(&format!("/shipments/{id}")).await.ok()
}

async fn packed(shop: &TestShop) -> (String, String) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "45 lb").await;
    (shop.packed(&[&lot], &market.boards, 2).await, lot)
}

async fn boxes_are_weighed_as_they_are_closed(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    assert_eq!(stands(shop, &id).await, ShipmentState::Planned);
    let form = shop.get(&show(shop, &id).await.link("Boxes and carrier")).await.ok();
    assert!(form.says("Box 1 about 40 lb 0.0 oz"), "{}", form.text("main"));
    let form = form.form("form.ticket");
    assert_eq!(
        (form.value("box-0"), form.value("carrier"), form.value("boxes")),
        ("Large box", "Lake Parcel", "2")
    );
    // A third box, without losing what is typed.
    let more =
        shop.submit(form.set("gross-0", "40 lb 3 oz").press("Another box")).await.ok().form("form.ticket");
    assert_eq!(more.value("gross-0"), "40 lb 3 oz");
    let form = more
        .set("gross-1", "6 lb 2.5 oz")
        .set("gross-2", "1,2 kg")
        .set("box-2", "Small box")
        .set("tracking", "LP 44 1023")
        .set("freight", "43.10")
        .set("boxes_cost", "3");
    let page = shop.submit(form.clone().press("all boxes are closed")).await.ok();
    assert!(matches!(stands(shop, &id).await, ShipmentState::Packed { .. }));
    assert!(
        page.says("LP 44 1023") && page.says("43.10 USD") && page.says("3.00 USD"),
        "{}",
        page.text("main")
    );
    assert!(
        page.says("1. Large box scale 40 lb 3.0 oz") && page.says("3. Small box scale 2 lb 10.3 oz"),
        "{}",
        page.text("main")
    );
    // Sent twice it is one waybill.
    shop.submit(form.press("all boxes are closed")).await.ok();
    let waybills = shop.store.waybills(&shop.id, &id).await.expect("waybills");
    assert_eq!(waybills.len(), 1);
    assert_eq!((waybills[0].boxes[0].typed.as_str(), waybills[0].freight), ("40 lb 3 oz", Some(dec!(43.10))));
}

async fn after_sending_only_a_correction_changes_it(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    let before = shop.get(&format!("/shipments/{id}/waybill")).await.ok().form("form.ticket");
    shop.submit(before.set("freight", "40").press("Save")).await.ok();
    shop.submit(show(shop, &id).await.form("form[action$='/send']")).await.ok();
    let page = shop.get(&show(shop, &id).await.link("Correct boxes and carrier")).await.ok();
    assert!(page.says("It has left."));
    let form = page.form("form.ticket").set("freight", "44.20");
    let silent = shop.submit(form.press("Save the correction")).await;
    assert_eq!(silent.status, StatusCode::UNPROCESSABLE_ENTITY);
    let page = shop
        .submit(
            silent
                .form("form.ticket")
                .set("why", "the carrier weighed it again")
                .press("Save the correction"),
        )
        .await
        .ok();
    assert!(
        page.says("44.20 USD") && page.says("40.00 USD") && page.says("the carrier weighed it again"),
        "{}",
        page.text("main")
    );
    assert_eq!(shop.store.waybills(&shop.id, &id).await.expect("waybills").len(), 2);
}

async fn a_waybill_that_is_wrong_says_where(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    for (field, typed) in [
        ("gross-0", "40"),
        ("gross-0", "heavy"),
        ("freight", "-3"),
        ("freight", "1.234"),
        ("currency", "XXQ"),
        ("tracking", &"7".repeat(90)),
    ] {
        let form =
            shop.get(&format!("/shipments/{id}/waybill")).await.ok().form("form.ticket").set(field, typed);
        let page = shop.submit(form.press("Save")).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {typed}");
        assert!(page.has(&format!("#{field}-problem")), "{field} {typed}");
        assert_eq!(page.form("form.ticket").value(field), typed);
    }
    assert_eq!(shop.store.waybills(&shop.id, &id).await.expect("waybills").len(), 0);
}

async fn two_people_at_one_waybill_overwrite_nothing(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    let form = || async { shop.get(&format!("/shipments/{id}/waybill")).await.ok().form("form.ticket") };
    let (mine, theirs) = (form().await.set("tracking", "A 1"), form().await.set("tracking", "B 2"));
    shop.submit(mine.press("Save")).await.ok();
    let page = shop.submit(theirs.press("Save")).await;
    assert!(page.says("Changed meanwhile") && page.says("Stored now: A 1"), "{}", page.text("main"));
    assert_eq!(page.form("form.ticket").value("tracking"), "B 2");
    assert_eq!(shop.store.waybills(&shop.id, &id).await.expect("waybills")[0].tracking, "A 1");
}

async fn it_is_received_once(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    shop.submit(show(shop, &id).await.form("form[action$='/send']")).await.ok();
    let page = show(shop, &id).await;
    let receive = page.form("form[action$='/receive']");
    for _ in 0..2 {
        shop.submit(receive.clone()).await.ok();
        assert!(matches!(stands(shop, &id).await, ShipmentState::Received { .. }));
    }
    let late = shop.submit(page.form("form[action$='/lose']")).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.says("has moved on"));
}

async fn what_came_back_is_on_the_shelf_again(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.bag("Bag 1", "board-set-top").await;
    shop.put_pieces(&lot, "39 lb", 70).await;
    let id = shop.sent(&[&lot], &market.boards, 4).await;
    let form = shop.get(&show(shop, &id).await.link("Something came back")).await.ok().form("form.ticket");
    for _ in 0..2 {
        let page = shop.submit(form.clone()).await.ok();
        assert!(page.says("came back") && page.says("on the shelf again"), "{}", page.text("main"));
    }
    assert_eq!(state(shop, &lot).await, LotState::Open);
    let there = shop.lot(&lot).await;
    assert_eq!((there.net, there.pieces), (mass("39 lb"), 70));
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("the ledger");
    // It was sent four days ago, and weighed in and brought back just now.
    let kinds: Vec<WeighingKind> = ledger.iter().map(|row| row.kind).collect();
    assert_eq!(kinds, [WeighingKind::Returned, WeighingKind::WeighIn, WeighingKind::Sent]);
    assert!(matches!(stands(shop, &id).await, ShipmentState::Returned { .. }));
    // Nothing is owed for it, and it can go again.
    assert!(!show(shop, &id).await.has("form[action$='/settlement']"));
    let again = shop.sent(&[&lot], &market.boards, 0).await;
    assert!(matches!(stands(shop, &again).await, ShipmentState::Sent { .. }));
    assert!(matches!(state(shop, &lot).await, LotState::Closed { .. }));
}

async fn a_bag_that_was_filled_again_is_not_taken(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let id = shop.sent(&[&lot], &market.boards, 4).await;
    // The same bag has other boards in it by now.
    let container = shop.lot(&lot).await.container_id;
    let form = shop.get("/lots/new").await.ok().form("form[action='/lots/new']");
    let new = shop.submit(form.set("container", &container).set("grade", "board-console")).await.ok();
    let form = shop.get(&format!("/shipments/{id}/return")).await.ok().form("form.ticket");
    let field = format!("label-{lot}");
    assert_eq!(form.value(&field), "Bag 1 back");
    let taken = shop.submit(form.clone().set(&field, "Bag 1")).await;
    assert!(taken.says("There is a container with one of these labels already."), "{}", taken.text("main"));
    assert!(matches!(state(shop, &lot).await, LotState::Closed { .. }), "nothing is half done");
    shop.submit(form.clone()).await.ok();
    assert_eq!(shop.lot(&lot).await.container_label, "Bag 1 back");
    assert_eq!(state(shop, &lot).await, LotState::Open);
    assert!(new.url.contains("/lots/"));
    let nothing = shop.submit(form.forge("lot", "")).await;
    assert_ne!(nothing.status, StatusCode::OK);
}

async fn part_of_it_comes_back(shop: &TestShop) {
    let market = market(shop).await;
    let (first, second) = (
        shop.filled("Bag 1", "board-set-top", "39 lb").await,
        shop.filled("Bag 2", "board-console", "5 lb").await,
    );
    let id = shop.sent(&[&first, &second], &market.boards, 4).await;
    let mut form = shop.get(&format!("/shipments/{id}/return")).await.ok().form("form.ticket");
    form.fields.retain(|field| field.value != first);
    let strange = form.clone().forge("lot", &new_id());
    assert!(shop.submit(strange).await.says("is not in the shipment any more"));
    let page = shop.submit(form).await.ok();
    assert!(matches!(stands(shop, &id).await, ShipmentState::Sent { .. }));
    assert!(page.says("came back"));
    assert_eq!(state(shop, &second).await, LotState::Open);
    // Only the other one is to be paid for.
    let draft = shop.submit(page.form("form[action$='/settlement']")).await.ok();
    assert!(!draft.says("Bag 2") && draft.says("Bag 1"), "{}", draft.text("main"));
}

async fn what_was_lost_may_turn_up(shop: &TestShop) {
    let (id, lot) = packed(shop).await;
    shop.submit(show(shop, &id).await.form("form[action$='/send']")).await.ok();
    let page = show(shop, &id).await;
    let lose = page.form("form[action$='/lose']");
    shop.submit(lose.clone()).await.ok();
    shop.submit(lose).await.ok();
    assert!(matches!(stands(shop, &id).await, ShipmentState::Lost { .. }));
    let today = shop.get("/").await.ok();
    assert!(!today.says("waiting to be paid") && today.says("lost, nothing paid yet"));
    assert!(matches!(state(shop, &lot).await, LotState::Closed { .. }), "nothing of it is here");
    shop.submit(show(shop, &id).await.form("form[action$='/find']")).await.ok();
    assert!(matches!(stands(shop, &id).await, ShipmentState::Sent { .. }));
}

/// A lost parcel was insured: what was paid is in the cash book, once, and can be undone.
async fn what_is_paid_for_a_lost_parcel_is_money(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    let early = shop.get(&format!("/shipments/{id}/claim")).await;
    assert_eq!(early.status, StatusCode::CONFLICT, "it has not left");
    assert!(early.says("nothing was lost on the way"), "{}", early.text("main"));
    shop.submit(show(shop, &id).await.form("form[action$='/send']")).await.ok();
    assert!(!show(shop, &id).await.has("#claims"));
    shop.submit(show(shop, &id).await.form("form[action$='/lose']")).await.ok();
    let page = shop.get(&show(shop, &id).await.link("Enter what they paid")).await.ok();
    let form = || page.form("form[action$='/claim']");
    for (field, value) in [
        ("amount", ""),
        ("amount", "-5"),
        ("amount", "0"),
        ("amount", "1.005"),
        ("amount", "lots"),
        ("currency", "XXZ"),
        ("day", "2020-01-01"),
        ("day", "2999-01-01"),
    ] {
        let told = shop.submit(form().set("amount", "60").set(field, value)).await.ok();
        assert!(told.has(".problem"), "{field} {value}");
        assert_eq!(told.form("form[action$='/claim']").value(field), value);
    }
    let paid = form().set("amount", "60").set("note", "insured, claim 4711");
    let (one, two) = tokio::join!(shop.submit(paid.clone()), shop.submit(paid));
    assert_eq!((one.ok().url, two.ok().url), (format!("/shipments/{id}"), format!("/shipments/{id}")));
    let shown = show(shop, &id).await.text("#claims");
    assert!(shown.contains("insured, claim 4711") && shown.contains("60.00 USD"), "{shown}");
    let claims = Document::new(DocumentKind::Claim, &*id);
    let entries = shop.store.cash_of(&shop.id, &claims).await.expect("the entries");
    assert_eq!(entries.len(), 1);
    assert_eq!((entries[0].kind, entries[0].worth), (trade::cash::Kind::Claim, Some(6000)));
    assert!(shop.get("/money").await.ok().says("insurance and claims"));
    // A corrected waybill leaves it alone, and a slip is undone from the entry itself.
    let entry = shop.get(&format!("/money/entries/{}", entries[0].id)).await.ok();
    assert!(entry.says("a claim for a shipment"), "{}", entry.text("main"));
    shop.submit(entry.form("form[action$='/undo']")).await.ok();
    assert!(show(shop, &id).await.text("#claims").contains("Nothing yet."));
    assert_eq!(shop.store.check().await.expect("checked"), Vec::<String>::new());
    let other = shop.get(&format!("/shipments/{}/claim", new_id())).await;
    assert_eq!(other.status, StatusCode::NOT_FOUND);
}

async fn labels_have_a_box_each(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    let page = shop.get(&format!("/shipments/{id}/labels")).await.ok();
    assert_eq!(page.texts(".label .huge"), ["Box 1 of 2", "Box 2 of 2"]);
    assert_eq!(page.texts(".label svg").len(), 2);
    assert!(!page.text("main").contains("USD"), "money has no place on a box");
}

async fn figures_for_customs_are_to_be_verified(shop: &TestShop) {
    let (id, _) = packed(shop).await;
    let page = shop.get(&format!("/shipments/{id}/customs")).await.ok();
    assert!(page.says("To verify with customs.") && page.says("8549.29"), "{}", page.text("main"));
    assert!(page.says("Set-top boards, used, for recovery of materials"));
    assert!(page.says("Total 45 lb 0.0 oz 20.412 kg 90.00 USD"), "{}", page.text("main"));
    assert!(page.says("when every box is weighed"));
    let form = shop.get(&format!("/shipments/{id}/waybill")).await.ok().form("form.ticket");
    shop.submit(form.set("gross-0", "40 lb").set("gross-1", "7 lb").press("Save")).await.ok();
    assert!(shop.get(&format!("/shipments/{id}/customs")).await.ok().says("Gross, all boxes: 47 lb 0.0 oz"));
}

async fn a_dispute_opens_and_ends(shop: &TestShop) {
    let (shipment, _) = settlements::sent(shop).await;
    let form = settlements::as_promised(settlements::begun(shop, &shipment).await)
        .set("mass-1", "30 lb")
        .set("amount-1", "60")
        .set("paid", "75");
    settlements::saved(shop, &settlements::compared(shop, form).await.ok()).await.ok();
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    let dispute = page.form("form[action$='/dispute']");
    let page = shop.submit(dispute.clone()).await.ok();
    assert!(matches!(stands(shop, &shipment).await, ShipmentState::Disputed { .. }));
    shop.submit(dispute).await.ok();
    assert!(shop.get("/").await.ok().says("disputed"));
    shop.submit(page.form("form[action$='/dispute']")).await.ok();
    assert!(matches!(stands(shop, &shipment).await, ShipmentState::Settled { .. }));
    assert_eq!(shop.store.settlements(&shop.id, 10).await.expect("one")[0].paid, dec!(75.00));
}
