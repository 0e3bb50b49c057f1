//! Shipments: made of lots that are reserved by it, then sent or taken apart.

use axum::http::StatusCode;
use pennyweight::store::lots::LotState;
use pennyweight::store::new_id;
use pennyweight::store::outlets::OutletKind;
use pennyweight::store::shipments::ShipmentState;
use pennyweight::store::weighings::WeighingKind;
use rust_decimal::dec;
use trade::ids::OutletId;
use trade::money::Currency;

use crate::common::market::buyer;
use crate::common::{Form, Page, TestShop, mass, on_both};

on_both![
    a_shipment_reserves_its_lots,
    nothing_is_done_to_a_packed_lot,
    the_packing_list_has_lots_boxes_and_figures,
    made_twice_it_is_made_once,
    made_twice_at_once_it_is_made_once,
    two_shipments_of_one_lot_are_one,
    sent_it_is_off_the_shelf,
    taken_apart_its_lots_are_free_again,
    of_two_tabs_the_second_is_told,
    cautions_stand_where_they_apply,
    the_printed_list_tells_the_buyer_nothing_of_what_we_expect,
    a_promise_is_kept_as_it_stood,
    the_list_has_the_newest_first,
];

pub struct Market {
    pub boards: OutletId,
    pub carrier: String,
}

pub async fn market(shop: &TestShop) -> Market {
    let carrier = shop.carrier().await;
    let lines = [("board-set-top", "2.00/lb"), ("board-console", "3.00/lb")];
    let boards = shop.outlet(&buyer("Board House", &carrier), &lines).await;
    Market { boards, carrier }
}

/// The form that makes a shipment of a lot's bag.
pub async fn offer(shop: &TestShop, lot: &str) -> Form {
    shop.get(&format!("/lots/{lot}/ship")).await.ok().form("#shipment")
}

pub async fn state(shop: &TestShop, lot: &str) -> LotState {
    shop.lot(lot).await.state
}

pub async fn shipments(shop: &TestShop) -> usize {
    shop.store.shipments(&shop.id).await.expect("shipments").len()
}

async fn a_shipment_reserves_its_lots(shop: &TestShop) {
    market(shop).await;
    let first = shop.filled("Bag 1", "board-set-top", "20 lb").await;
    let second = shop.filled("Bag 2", "board-set-top", "19 lb").await;
    let page = shop.submit(offer(shop, &first).await).await.ok().without_ids();
    assert!(page.text("h1").contains("Shipment to Board House"));
    assert_eq!(page.text(".stamp"), "planned");
    // 78.00 − (32.00 + 1.50 + 3.00).
    assert_eq!(page.text(".figure"), "41.50 USD expected net");
    for lot in [&first, &second] {
        assert!(matches!(state(shop, lot).await, LotState::Reserved { .. }));
    }
    let list = shop.get("/lots").await.ok().without_ids();
    assert_eq!(list.texts(".tickets .stamp"), ["packed", "packed"]);
    assert_eq!(list.texts(".tickets .soft.small"), Vec::<String>::new(), "a packed lot has its place");
    let lot = shop.get(&format!("/lots/{first}")).await.ok().without_ids();
    assert!(lot.says("It is in a shipment that has not left."));
    assert_eq!(lot.link("a shipment"), page.url);
    for gone in ["Weigh in", "Split", "Merge", "Regrade"] {
        assert!(!lot.texts(".buttons a").contains(&gone.to_string()), "{gone} is offered");
    }
    assert!(shop.get("/plan").await.ok().says("Nothing is on the shelf."));
}

async fn nothing_is_done_to_a_packed_lot(shop: &TestShop) {
    market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let other = shop.bag("Bag 2", "board-set-top").await;
    // The forms were opened before it was packed.
    let weigh = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let weigh = weigh.form("form[action$='/weigh'].ticket").set("reading", "1 lb");
    let echo = shop.submit(weigh.clone()).await.ok().form("form[action$='/weighings']");
    let split = shop.get(&format!("/lots/{lot}/split")).await.ok().form("form[action$='/split']");
    let split = split.set("mass", "1 lb").set("label", "Bag 3");
    let merge = shop.get(&format!("/lots/{lot}/merge")).await.ok().form("form[action$='/merge']");
    let merge = merge.set("into", &other);
    let onto = shop.get(&format!("/lots/{other}/merge")).await.ok().form("form[action$='/merge']");
    let onto = onto.set("into", &lot);
    let regrade = shop.get(&format!("/lots/{lot}/regrade")).await.ok().form("form[action$='/regrade']");
    let regrade = regrade.set("grade", "board-console");
    let ledger = shop.get(&format!("/lots/{lot}")).await.ok();
    let undo = ledger.form("form[action$='/undo']");
    let ship = offer(shop, &lot).await;
    let again = ship.clone().forge("id", &new_id());
    shop.submit(ship).await.ok();
    for form in [weigh, echo, split, merge, onto, regrade, undo] {
        let action = form.action.clone();
        let refused = shop.submit(form).await;
        assert!(refused.says("packed in a shipment"), "{action}: {}", refused.text("main"));
    }
    let refused = shop.submit(again).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("packed in another shipment"), "{}", refused.text("body"));
    assert_eq!(shop.lot(&lot).await.net, mass("39 lb"));
    assert_eq!(shipments(shop).await, 1);
}

async fn the_packing_list_has_lots_boxes_and_figures(shop: &TestShop) {
    market(shop).await;
    let first = shop.filled("Bag 1", "board-set-top", "40 lb").await;
    let second = shop.bag("Bag 2", "board-console").await;
    shop.put_pieces(&second, "5 lb", 3).await;
    let form = offer(shop, &first).await;
    let form =
        if form.fields.iter().any(|field| field.value == second) { form } else { form.set("lot", &second) };
    let page = shop.submit(form).await.ok().without_ids();
    assert_eq!(
        page.texts("section:nth-of-type(2) table:first-of-type tbody tr").first().map(String::as_str),
        Some("Bag 1 Set-top boards 40 lb 0.0 oz 18.144 kg")
    );
    assert!(page.says("Bag 2 Game console boards, 3 pieces 5 lb 0.0 oz 2.268 kg"));
    assert!(page.says("Total 45 lb 0.0 oz 20.412 kg"));
    // 45 lb are a full box of 39 lb and another of 6 lb.
    assert!(page.says("1. Large box fill to 39 lb 0.0 oz packed 40 lb 0.0 oz"));
    assert!(page.says("2. Large box fill to 6 lb 0.0 oz packed 7 lb 0.0 oz"));
    assert!(page.says("The buyer pays about 95.00 USD; carrier's service: Lake Parcel."));
    assert_eq!(
        page.texts("dl#expected > div"),
        [
            "Game console boards, 5 lb 0.0 oz, 3 pieces at 3.00 USD/lb 15.00 USD",
            "Set-top boards, 40 lb 0.0 oz at 2.00 USD/lb 80.00 USD",
            "At the sheet's price 95.00 USD",
            // 32.00 for 40 lb and 12.00 for 7 lb; two boxes; twenty minutes.
            "Freight −44.00 USD",
            "Boxes −3.00 USD",
            "Packing time −6.00 USD",
            "Net to the shop 42.00 USD",
        ]
    );
    assert!(page.has(".buttons.no-print form") && page.has("p.no-print"));
}

async fn made_twice_it_is_made_once(shop: &TestShop) {
    market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let form = offer(shop, &lot).await;
    let first = shop.submit(form.clone()).await.ok();
    let second = shop.submit(form).await.ok();
    assert_eq!(first.url, second.url);
    assert_eq!(shipments(shop).await, 1);
}

async fn made_twice_at_once_it_is_made_once(shop: &TestShop) {
    market(shop).await;
    for round in 1..=4 {
        let lot = shop.filled(&format!("Bag {round}"), "board-set-top", "39 lb").await;
        let form = offer(shop, &lot).await;
        let send = || shop.submit(form.clone());
        let (a, b, c, d) = tokio::join!(send(), send(), send(), send());
        let url = a.ok().url;
        for page in [b, c, d] {
            assert_eq!(page.ok().url, url);
        }
        assert_eq!(shipments(shop).await, round);
    }
}

async fn two_shipments_of_one_lot_are_one(shop: &TestShop) {
    market(shop).await;
    for round in 1..=4 {
        let lot = shop.filled(&format!("Bag {round}"), "board-set-top", "39 lb").await;
        let (one, other) = (offer(shop, &lot).await, offer(shop, &lot).await);
        let tobias = shop.phone_of(&shop.partners[1]);
        let (first, second) = tokio::join!(shop.submit(one), tobias.submit(other));
        let (made, refused): (Vec<Page>, Vec<Page>) =
            [first, second].into_iter().partition(|page| page.status == StatusCode::OK);
        assert_eq!((made.len(), refused.len()), (1, 1));
        assert_eq!(refused[0].status, StatusCode::CONFLICT, "{}", refused[0].text("body"));
        assert!(refused[0].says("packed in"), "{}", refused[0].text("body"));
        assert_eq!(shipments(shop).await, round);
    }
}

async fn sent_it_is_off_the_shelf(shop: &TestShop) {
    market(shop).await;
    let lot = shop.bag("Bag 1", "board-set-top").await;
    shop.put_pieces(&lot, "39 lb", 70).await;
    let made = shop.submit(offer(shop, &lot).await).await.ok();
    let (send, cancel) = (made.form("form[action$='/send']"), made.form("form[action$='/cancel']"));
    let sent = shop.submit(send.clone()).await.ok().without_ids();
    assert_eq!(sent.text(".stamp"), "sent");
    assert!(!sent.has("form[action$='/send']") && !sent.has("form[action$='/cancel']"));
    assert!(matches!(state(shop, &lot).await, LotState::Closed { .. }));
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("the ledger");
    assert_eq!((ledger[0].kind, ledger[0].net), (WeighingKind::Sent, -mass("39 lb")));
    assert_eq!((ledger[0].pieces, ledger.len()), (-70, 2));
    let page = shop.get(&format!("/lots/{lot}")).await.ok().without_ids();
    assert!(page.says("Nothing of it is here since"));
    assert!(shop.get("/plan").await.ok().says("Nothing is on the shelf."));
    // The packing list stays as it was.
    assert!(sent.says("Bag 1 Set-top boards, 70 pieces 39 lb 0.0 oz"));

    // Pressed twice, it has left once; taken apart it cannot be any more.
    assert_eq!(shop.submit(send.clone()).await.ok().text(".stamp"), "sent");
    assert_eq!(shop.submit(send.forge("version", "2")).await.ok().text(".stamp"), "sent");
    for version in ["1", "2"] {
        let refused = shop.submit(cancel.clone().forge("version", version)).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
        assert!(refused.says("Somebody took another step with it meanwhile."));
    }
    assert_eq!(shop.store.ledger(&shop.id, &lot).await.expect("the ledger").len(), 2);
    let container = shop.lot(&lot).await.container_id;
    let free = shop.get("/lots/new").await.ok().form("form[action='/lots/new']");
    assert!(!free.options("container").contains(&container), "the bag went along");
}

async fn taken_apart_its_lots_are_free_again(shop: &TestShop) {
    market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let made = shop.submit(offer(shop, &lot).await).await.ok();
    let (send, cancel) = (made.form("form[action$='/send']"), made.form("form[action$='/cancel']"));
    let apart = shop.submit(cancel.clone()).await.ok().without_ids();
    assert_eq!(apart.text(".stamp"), "taken apart");
    assert_eq!(state(shop, &lot).await, LotState::Open);
    shop.put(&lot, "1 oz").await;
    assert!(shop.get("/plan").await.ok().says("Bag 1"));
    assert_eq!(shop.submit(cancel).await.ok().text(".stamp"), "taken apart");
    for version in ["1", "2"] {
        let refused = shop.submit(send.clone().forge("version", version)).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
    }
    assert_eq!(state(shop, &lot).await, LotState::Open);
    // It can be packed anew.
    let second = shop.submit(offer(shop, &lot).await).await.ok();
    assert_ne!(second.url, made.url);
    assert_eq!(second.text(".stamp"), "planned");
}

async fn of_two_tabs_the_second_is_told(shop: &TestShop) {
    market(shop).await;
    for round in 1..=4 {
        let lot = shop.filled(&format!("Bag {round}"), "board-set-top", "39 lb").await;
        let made = shop.submit(offer(shop, &lot).await).await.ok();
        let (send, cancel) = (made.form("form[action$='/send']"), made.form("form[action$='/cancel']"));
        let tobias = shop.phone_of(&shop.partners[1]);
        let (sent, cancelled) = tokio::join!(shop.submit(send), tobias.submit(cancel));
        let told = |page: &Page| page.status == StatusCode::CONFLICT && page.says("has moved on");
        assert!(told(&sent) != told(&cancelled), "{} and {}", sent.text("h1"), cancelled.text("h1"));
        let id = made.url.trim_start_matches("/shipments/").to_string();
        let left = matches!(
            shop.store.shipment(&shop.id, &id).await.expect("the shipment").state,
            ShipmentState::Sent { .. }
        );
        assert_eq!(left, sent.status == StatusCode::OK);
        assert_eq!(left, matches!(state(shop, &lot).await, LotState::Closed { .. }));
        if !left {
            let again = shop.packed(&[&lot], &made_for(shop, &id).await, 0).await;
            shop.store.send_shipment(&shop.by(), &again, 1).await.expect("it leaves");
        }
    }
}

async fn made_for(shop: &TestShop, shipment: &str) -> OutletId {
    shop.store.shipment(&shop.id, shipment).await.expect("the shipment").outlet_id
}

async fn cautions_stand_where_they_apply(shop: &TestShop) {
    let market = market(shop).await;
    let border = "Across a border.";
    let batteries = "Batteries inside.";
    let mut packs = buyer("Cell Works", &market.carrier);
    if let OutletKind::MailIn(post) = &mut packs.kind {
        post.border = dec!(12);
    }
    let lines = [("lithium-ion-pack", "1.50/lb"), ("board-set-top", "1.00/lb")];
    let packs = shop.outlet(&packs, &lines).await;
    let mut across = buyer("Carte Verte", &market.carrier);
    across.currency = Currency::CAD;
    let across = shop.outlet(&across, &[("board-set-top", "2.50/lb")]).await;
    shop.cad_rate(0, dec!(0.75)).await;
    let cautions = |page: Page| (page.says(border), page.says(batteries));
    for (label, outlet, grade, expected) in [
        ("Bag 1", &market.boards, "board-set-top", (false, false)),
        ("Bag 2", &across, "board-set-top", (true, false)),
        ("Bag 3", &packs, "lithium-ion-pack", (true, true)),
        ("Bag 4", &packs, "board-set-top", (true, false)),
    ] {
        let lot = shop.filled(label, grade, "39 lb").await;
        let id = shop.packed(&[&lot], outlet, 0).await;
        assert_eq!(cautions(shop.get(&format!("/shipments/{id}")).await.ok()), expected, "{label}");
    }
}

/// What of a page goes on paper: without the elements that the stylesheet hides in print, by its own list of them.
fn on_paper(page: &Page) -> String {
    let css = include_str!("../static/css/print.css");
    let rule =
        css.lines().find(|line| line.contains("display: none !important")).expect("the rule that hides");
    let hidden = rule.split('{').next().expect("its selectors");
    page.text_without("body", hidden)
}

async fn the_printed_list_tells_the_buyer_nothing_of_what_we_expect(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let mut boards = buyer("Board House", &carrier);
    boards.place = "4 Mill Lane, Sedge Harbor".into();
    boards.note = "Pays late, counts generously".into();
    boards.terms.weight_deduction = trade::money::Share::new(dec!(0.01)).expect("a share");
    boards.terms.minimum_delivery = mass("10 lb");
    boards.terms.days_to_pay = 14;
    boards.terms.flat_fee = dec!(3);
    boards.terms.minimum_payout = dec!(25);
    boards.terms.downgrade_chance = trade::money::Share::new(dec!(0.2)).expect("a share");
    boards.terms.downgrade_drop = trade::money::Share::new(dec!(0.5)).expect("a share");
    if let OutletKind::MailIn(post) = &mut boards.kind {
        post.border = dec!(12);
    }
    let boards = shop.outlet(&boards, &[("board-set-top", "2.00/lb"), ("board-console", "8/each")]).await;
    let first = shop.filled("Bag 1", "board-set-top", "40 lb").await;
    let second = shop.bag("Bag 2", "board-console").await;
    shop.put_pieces(&second, "5 lb", 3).await;
    let shipment = shop.packed(&[&first, &second], &boards, 0).await;
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok().without_ids();
    assert!(page.says("expected net") && page.says("Net to the shop"), "the screen has it all");

    let paper = on_paper(&page);
    for there in [
        "Packing list",
        "Heron Street Salvage",
        "Board House",
        "4 Mill Lane, Sedge Harbor",
        "Bag 1 Set-top boards 40 lb 0.0 oz 18.144 kg",
        "Bag 2 Game console boards, 3 pieces 5 lb 0.0 oz 2.268 kg",
        "Total 45 lb 0.0 oz 20.412 kg",
        "1. Large box fill to 39 lb 0.0 oz packed 40 lb 0.0 oz",
        "deliveries from 10 lb 0.0 oz up",
        "1 % of the weight taken off for tare and moisture",
        "paid within 14 days",
    ] {
        assert!(paper.contains(there), "“{there}” is not on it: {paper}");
    }
    for kept in [
        "USD",
        "$",
        "expect",
        "net to",
        "2.00",
        "8.00",
        "20 %",
        "50 %",
        "freight",
        "late",
        "border",
        "Lake Parcel",
    ] {
        assert!(!paper.to_lowercase().contains(&kept.to_lowercase()), "“{kept}” is on it: {paper}");
    }
    // Plain terms need no words.
    let plain = shop.outlet(&buyer("Plain Boards", &carrier), &[("board-set-top", "2.00/lb")]).await;
    let third = shop.filled("Bag 3", "board-set-top", "39 lb").await;
    let shipment = shop.packed(&[&third], &plain, 0).await;
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    assert!(!on_paper(&page).contains("Your terms"));
}

async fn a_promise_is_kept_as_it_stood(shop: &TestShop) {
    let market = market(shop).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let id = shop.packed(&[&lot], &market.boards, 0).await;
    shop.sheet(&market.boards, 0, &[("board-set-top", "9.00/lb")]).await;
    let page = shop.get(&format!("/shipments/{id}")).await.ok();
    assert_eq!(page.text(".figure"), "41.50 USD expected net");
    shop.close_outlet(&market.boards).await;
    assert_eq!(shop.get(&format!("/shipments/{id}")).await.ok().text(".figure"), "41.50 USD expected net");
}

async fn the_list_has_the_newest_first(shop: &TestShop) {
    let market = market(shop).await;
    assert!(shop.get("/shipments").await.ok().says("Nothing has been packed yet."));
    let mut ids = Vec::new();
    for (label, days_ago) in [("Bag 1", 9), ("Bag 2", 5), ("Bag 3", 1)] {
        let lot = shop.filled(label, "board-set-top", "39 lb").await;
        ids.push(shop.packed(&[&lot], &market.boards, days_ago).await);
    }
    shop.store.send_shipment(&shop.by_ago(8), &ids[0], 1).await.expect("it leaves");
    shop.store.cancel_shipment(&shop.by_ago(4), &ids[1], 1).await.expect("it is taken apart");
    let list = shop.get("/shipments").await.ok().without_ids();
    // Those that are still open come first.
    assert_eq!(list.texts(".tickets .stamp"), ["planned", "sent", "taken apart"]);
    assert_eq!(list.texts(".tickets .number"), ["41.50 USD", "41.50 USD", "41.50 USD"]);
    let links = list.attributes(".tickets a", "href");
    assert_eq!(links, [2, 0, 1].map(|nth| format!("/shipments/{}", ids[nth])));
}
