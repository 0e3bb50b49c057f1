//! Settlements: what a buyer's paper says, against what was sent and promised.

use axum::http::StatusCode;
use pennyweight::store::cash::{Document, DocumentKind};
use pennyweight::store::shipments::ShipmentState;
use pennyweight::store::{is_id, new_id};
use rust_decimal::{Decimal, dec};
use trade::money::Currency;

use crate::common::market::buyer;
use crate::common::{Form, Page, TestShop, mass, on_both};
use crate::shipments::market;

on_both![
    a_paper_is_typed_compared_and_saved,
    saved_twice_it_is_saved_once,
    a_second_paper_for_a_settled_shipment_is_refused,
    lots_without_a_line_lines_without_a_lot_and_split_grades,
    what_is_odd_is_asked_before_it_is_saved,
    what_is_wrong_is_said_beside_its_field,
    a_rate_that_is_missing_is_flagged_and_given_by_a_correction,
    another_currency_than_theirs_is_asked,
    a_settlement_of_another_delivery_is_taken_back,
    nobody_settles_what_is_not_theirs,
    what_is_paid_is_in_the_cash_book,
];

/// Two bags that were sent ten days ago to a buyer that pays 2.00 and 3.00 a pound.
pub async fn sent(shop: &TestShop) -> (String, [String; 2]) {
    let market = market(shop).await;
    let set_top = shop.filled("Bag 1", "board-set-top", "40 lb").await;
    let console = shop.filled("Bag 2", "board-console", "5 lb").await;
    let id = shop.sent(&[&set_top, &console], &market.boards, 10).await;
    (id, [set_top, console])
}

/// The form for the paper of a shipment: line 0 is for the console boards, line 1 for the set-top boards.
pub async fn begun(shop: &TestShop, shipment: &str) -> Form {
    let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
    draft_form(&shop.submit(page.form("form[action$='/settlement']")).await.ok())
}

pub fn draft_form(page: &Page) -> Form {
    page.form("form[action^='/settlements/drafts/']:not([enctype], [action$='/discard'])")
}

/// A paper just as promised: 80.00 + 15.00.
pub fn as_promised(form: Form) -> Form {
    form.set("mass-0", "5 lb")
        .set("price-0", "3.00")
        .set("amount-0", "15.00")
        .set("mass-1", "40 lb")
        .set("price-1", "2.00")
        .set("amount-1", "80.00")
        .set("paid", "95.00")
}

pub async fn compared(shop: &TestShop, form: Form) -> Page {
    shop.submit(form.press("Compare")).await
}

pub async fn saved(shop: &TestShop, review: &Page) -> Page {
    let form = review.form("form[action$='/save']");
    let form = if review.has("#doubts") { form.set("sure", "yes") } else { form };
    shop.submit(form).await
}

pub async fn state(shop: &TestShop, shipment: &str) -> ShipmentState {
    shop.store.shipment(&shop.id, shipment).await.expect("the shipment").state
}

fn differences(page: &Page) -> Vec<String> {
    page.texts("#differences .rows > div")
}

async fn a_paper_is_typed_compared_and_saved(shop: &TestShop) {
    let (shipment, [set_top, console]) = sent(shop).await;
    assert!(shop.get("/").await.ok().says("waiting to be paid") || shop.get("/").await.ok().says("overdue"));
    let form = begun(shop, &shipment).await;
    // Each grade has its line, with its lots ticked and its name.
    assert_eq!((form.value("wording-0"), form.value("grade-0")), ("Game console boards", "board-console"));
    assert_eq!((form.value("lot-0"), form.value("lot-1")), (console.as_str(), set_top.as_str()));
    assert_eq!(form.value("currency"), "USD");
    // 39 lb at 2.00, and the console boards as set-top ones at 2.20; 1.50 for handling.
    let form = form
        .set("number", "S-77")
        .set("mass-0", "5 lb")
        .set("grade-0", "board-set-top")
        .set("price-0", "2.20")
        .set("amount-0", "11.00")
        .set("mass-1", "39")
        .set("price-1", "2.00")
        .set("amount-1", "78.00")
        .set("charge-0", "handling")
        .set("taken-0", "1.50")
        .set("paid", "87.50")
        .set("paid_on", &shop.today().to_string());
    let review = compared(shop, form).await.ok();
    assert!(review.says("Nothing is saved yet."));
    let expected = [
        "By their sheet and terms 95.00 USD",
        "Their grade look at it Game console boards: taken as Set-top boards, 2.20 USD/lb paid, 3.00 USD/lb promised −4.00 USD",
        "Their weight look at it Set-top boards: 39 lb 0.0 oz found, 40 lb 0.0 oz sent −2.00 USD",
        "Fees look at it 1.50 USD taken, 0.00 USD by their terms −1.50 USD",
        "Paid 87.50 USD",
    ];
    let mut shown = differences(&review.clone().without_ids());
    shown.sort();
    let mut sorted = expected.map(str::to_string);
    sorted.sort();
    assert_eq!(shown, sorted);
    assert!(review.says("Difference −7.50 USD"));
    assert!(matches!(state(shop, &shipment).await, ShipmentState::Sent { .. }), "nothing is saved yet");

    let page = saved(shop, &review).await.ok();
    assert!(page.url.starts_with("/settlements/"));
    assert!(
        page.says("87.50 USD paid") && page.says("S-77") && page.says("10 days"),
        "{}",
        page.text("main")
    );
    let id = page.url.trim_start_matches("/settlements/").to_string();
    assert_eq!(state(shop, &shipment).await.settlement_id(), Some(id.as_str()));
    let of_shipment = shop.get(&format!("/shipments/{shipment}")).await.ok();
    assert!(of_shipment.says("settled") && of_shipment.says("Settlement S-77"));
    assert!(!of_shipment.has("form[action$='/settlement']"));
    assert!(!shop.get("/").await.ok().says("Board House, "), "it is waited for no more");

    let lots = shop.store.settled_lots(&shop.id, 100).await.expect("what was paid");
    let of = |lot: &str| lots.iter().find(|settled| settled.lot_id.as_str() == lot).expect("a lot").clone();
    assert_eq!(of(&set_top).portions[0].mass, Some(mass("39 lb")));
    assert_eq!((of(&console).promised, of(&console).portions[0].amount), (dec!(15.00), dec!(11.00)));
    assert_eq!(of(&console).portions[0].grade.as_ref().map(|g| g.as_str()), Some("board-set-top"));

    let letter = shop.get(&format!("/settlements/{id}/letter")).await.ok();
    let text = letter.text(".letter");
    for there in [
        "To Board House",
        "your settlement S-77",
        "39 lb 0.0 oz found, 40 lb 0.0 oz sent: −2.00 USD",
        "The difference is −7.50 USD",
        "Heron Street Salvage",
    ] {
        assert!(text.contains(there), "“{there}” is not in it: {text}");
    }
    let (status, json) =
        (shop.get(&format!("/api/v1/settlements/{id}")).await.status, shop.get("/api/v1/settlements").await);
    assert_eq!(status, StatusCode::OK);
    assert!(json.text("body").contains("87.50"), "{}", json.text("body"));
}

async fn saved_twice_it_is_saved_once(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let review = compared(shop, as_promised(begun(shop, &shipment).await)).await.ok();
    assert!(review.says("just as promised"), "{}", review.text("main"));
    assert!(!review.has("#doubts"));
    let form = review.form("form[action$='/save']");
    let send = || shop.submit(form.clone());
    let (a, b, c) = tokio::join!(send(), send(), send());
    let urls: Vec<String> = [a, b, c].map(|page| page.ok().url).into();
    assert!(urls.iter().all(|url| *url == urls[0] && url.starts_with("/settlements/")), "{urls:?}");
    assert_eq!(shop.store.settlements(&shop.id, 10).await.expect("settlements").len(), 1);
    assert_eq!(shop.submit(form).await.ok().url, urls[0]);
}

async fn a_second_paper_for_a_settled_shipment_is_refused(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let (one, other) = (begun(shop, &shipment).await, begun(shop, &shipment).await);
    assert_ne!(one.action, other.action);
    let (one, other) =
        (compared(shop, as_promised(one)).await.ok(), compared(shop, as_promised(other)).await.ok());
    let tobias = shop.phone_of(&shop.partners[1]);
    let other = tobias.get(&other.url).await.ok().form("form[action$='/save']");
    let (first, second) = tokio::join!(saved(shop, &one), tobias.submit(other));
    let refused: Vec<&Page> =
        [&first, &second].into_iter().filter(|page| page.status == StatusCode::CONFLICT).collect();
    assert_eq!(refused.len(), 1, "{} and {}", first.text("h1"), second.text("h1"));
    assert!(refused[0].says("It has been settled already."));
    assert_eq!(shop.store.settlements(&shop.id, 10).await.expect("settlements").len(), 1);
}

async fn lots_without_a_line_lines_without_a_lot_and_split_grades(shop: &TestShop) {
    let (shipment, [set_top, _]) = sent(shop).await;
    let form = begun(shop, &shipment).await;
    let form = draft_form(&shop.submit(form.press("Another line")).await.ok());
    let form = draft_form(&shop.submit(form.press("Another line")).await.ok());
    // Of the set-top boards ten pounds are taken as console boards; the console boards are not on the paper; there is a
    // charge for rubbish.
    let form = form
        .set("mass-1", "30 lb")
        .set("price-1", "2")
        .set("amount-1", "60")
        .set("wording-2", "mixed")
        .set("grade-2", "board-console")
        .set("mass-2", "10 lb")
        .set("price-2", "1.5")
        .set("unit-2", "lb")
        .set("amount-2", "15")
        .set("lot-2", &set_top)
        .set("wording-3", "Rubbish")
        .set("amount-3", "-2.25")
        .set("paid", "72.75");
    let review = compared(shop, form).await.ok();
    let text = review.text("main");
    assert!(review.says("no line pays for Bag 2"), "{text}");
    assert!(review.says("For none of our lots: Rubbish −2.25 USD"), "{text}");
    let shown = differences(&review).join("\n");
    assert!(
        shown.contains("Not paid for look at it Game console boards: Bag 2, 5 lb 0.0 oz −15.00 USD"),
        "{shown}"
    );
    assert!(
        shown.contains(
            "Set-top boards: taken as Game console boards, 1.50 USD/lb paid, 2.00 USD/lb promised −5.00 USD"
        ),
        "{shown}"
    );
    assert!(!shown.contains("Their weight"), "{shown}");
    let page = saved(shop, &review).await.ok();
    assert!(page.says("no line pays for Bag 2"));
    let settled =
        shop.store.settlement(&shop.id, page.url.trim_start_matches("/settlements/")).await.expect("it");
    assert_eq!(settled.paper.lines.iter().map(|line| line.pays_for.len()).collect::<Vec<_>>(), [1, 1, 0]);
}

async fn what_is_odd_is_asked_before_it_is_saved(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let before = shop.today().saturating_sub(jiff::ToSpan::days(20)).to_string();
    let form = as_promised(begun(shop, &shipment).await)
        .set("mass-1", "44 lb")
        .set("amount-1", "-188.00")
        .set("price-1", "")
        .set("paid", "-173.00")
        .set("dated", &before)
        .set("paid_on", &before);
    let review = compared(shop, form).await.ok();
    let doubts = review.texts("#doubts li").join("\n");
    for words in [
        "they weighed 44 lb 0.0 oz, and only 40 lb 0.0 oz was sent",
        "The paper is dated",
        "It was paid on",
        "They charge more than they pay",
    ] {
        assert!(doubts.contains(words), "“{words}” is not asked: {doubts}");
    }
    let unsure = shop.submit(review.form("form[action$='/save']")).await;
    assert_eq!(unsure.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unsure.says("then tick this"));
    assert!(matches!(state(shop, &shipment).await, ShipmentState::Sent { .. }));
    let page = saved(shop, &unsure).await.ok();
    assert!(page.says("−173.00 USD paid"), "{}", page.text("main"));

    // A paper that names no lot may be another delivery's.
    let market = market_again(shop).await;
    let lot = shop.filled("Bag 9", "board-set-top", "39 lb").await;
    let other = shop.sent(&[&lot], &market, 3).await;
    let form = begun(shop, &other)
        .await
        .forge("lot-0", "")
        .set("mass-0", "12 lb")
        .set("amount-0", "24")
        .set("paid", "24");
    let mut form = form;
    form.fields.retain(|field| !field.name.starts_with("lot-"));
    let review = compared(shop, form).await.ok();
    assert!(review.texts("#doubts li").join(" ").contains("Is it the paper of another one?"));
}

async fn market_again(shop: &TestShop) -> trade::ids::OutletId {
    let outlets = shop.store.outlets(&shop.id).await.expect("outlets");
    outlets.into_iter().find(|outlet| outlet.details.name == "Board House").expect("the buyer").id
}

async fn what_is_wrong_is_said_beside_its_field(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    for (field, typed, problem) in [
        ("mass-1", "40 stone", "mass-1"),
        ("mass-1", "99999999999", "mass-1"),
        ("amount-1", "80.001", "amount-1"),
        ("amount-1", "eighty", "amount-1"),
        ("amount-1", "", "amount-1"),
        ("amount-1", "9999999999999", "amount-1"),
        ("paid", "", "paid"),
        ("currency", "DOLLARS", "currency"),
        ("dated", "tomorrow", "dated"),
        ("taken-0", "x", "taken-0"),
        ("pieces-1", "-3", "pieces-1"),
        ("number", &"9".repeat(80), "number"),
    ] {
        let form = as_promised(begun(shop, &shipment).await).set(field, typed);
        let page = compared(shop, form).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {typed}: {}", page.text("main"));
        assert!(page.has(&format!("#{problem}-problem")), "{field} {typed}: {}", page.text("main"));
        assert_eq!(draft_form(&page).value(field), typed, "what was typed is still there");
    }
    // The amount that is missing is worked out for the reader, and not put in.
    let form = as_promised(begun(shop, &shipment).await).set("amount-1", "");
    assert!(compared(shop, form).await.says("By weight and price it would be 80.00 USD."));
    let empty = begun(shop, &shipment).await.set("paid", "0");
    assert!(compared(shop, empty).await.says("No line has an amount."));
    // A lot of somebody else's, or of nobody.
    let strange = as_promised(begun(shop, &shipment).await).forge("lot-1", &new_id());
    assert!(compared(shop, strange).await.says("is not in this delivery any more"));
}

/// A buyer in CAD that pays 4.00 a pound, with a spread of 2 %.
async fn sent_across(shop: &TestShop) -> String {
    sent_across_as(shop, "Bag 1").await
}

async fn sent_across_as(shop: &TestShop, label: &str) -> String {
    let carrier = match shop.store.services(&shop.id).await.expect("services").first() {
        Some(service) => service.id.clone(),
        None => shop.carrier().await,
    };
    let mut across = buyer("Carte Verte", &carrier);
    across.currency = Currency::CAD;
    across.terms.exchange_spread = trade::money::Share::new(dec!(0.02)).expect("a share");
    shop.cad_rate(12, dec!(0.75)).await;
    let across = shop.outlet(&across, &[("board-set-top", "4.00/lb")]).await;
    let lot = shop.filled(label, "board-set-top", "40 lb").await;
    shop.sent(&[&lot], &across, 10).await
}

async fn a_rate_that_is_missing_is_flagged_and_given_by_a_correction(shop: &TestShop) {
    let shipment = sent_across(shop).await;
    let form = begun(shop, &shipment)
        .await
        .set("mass-0", "40 lb")
        .set("price-0", "4")
        .set("amount-0", "160")
        .set("paid", "160");
    let review = compared(shop, form).await.ok();
    assert!(
        review.texts("#doubts li").join(" ").contains("what reached the account"),
        "{}",
        review.text("main")
    );
    let page = saved(shop, &review).await.ok();
    assert!(page.says("rate missing"));
    let correct = draft_form(&shop.submit(page.form("form[action$='/correct']")).await.ok());
    assert_eq!(
        (correct.value("amount-0"), correct.value("paid")),
        ("160.00", "160.00"),
        "it opens filled in"
    );
    // 160 at 0.72 is 115.20, less 3.00 of the bank's; counted on were 160 × 0.75 × 0.98 = 117.60.
    let correct =
        correct.set("rate", "0.72").set("bank_fee", "3.00").set("paid_on", &shop.today().to_string());
    let without_why = compared(shop, correct.clone()).await;
    assert_eq!(without_why.status, StatusCode::UNPROCESSABLE_ENTITY);
    let correct = draft_form(&without_why).set("why", "the bank has said");
    let review = compared(shop, correct).await.ok();
    let shown = differences(&review).join("\n");
    assert!(shown.contains("Exchange look at it we counted on 0.735 −2.40 USD"), "{shown}");
    assert!(shown.contains("The bank's fee") && shown.contains("−3.00 USD"), "{shown}");
    let corrected = saved(shop, &review).await.ok();
    assert!(
        corrected.says("112.20 USD") && corrected.says("the bank has said"),
        "{}",
        corrected.text("main")
    );
    let old = shop.get(&page.url).await.ok();
    assert!(old.says("This does not hold any more"));
    assert!(!old.has("form[action$='/correct']"));
    let heads = shop.store.settlements(&shop.id, 10).await.expect("settlements");
    assert_eq!(heads.len(), 1);
    assert_eq!(heads[0].arrived, Some(dec!(112.20)));
    // A rate the wrong way round is asked about.
    let form = draft_form(&shop.submit(corrected.form("form[action$='/correct']")).await.ok());
    let review =
        compared(shop, form.set("rate", "1.39").set("arrived", "").set("why", "typed wrongly")).await.ok();
    assert!(
        review.texts("#doubts li").join(" ").contains("far from the 0.75 on file"),
        "{}",
        review.text("main")
    );
    // Rate and money that do not agree are refused.
    let form = draft_form(&shop.get(review.url.trim_end_matches("/review")).await.ok());
    let page = compared(shop, form.set("rate", "0.72").set("arrived", "90")).await;
    assert!(page.says("One of the three is wrong."), "{}", page.text("main"));
}

async fn another_currency_than_theirs_is_asked(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    // Without a rate there is nothing to compare with, and it says so.
    let form = as_promised(begun(shop, &shipment).await).set("currency", "CAD");
    let page = shop.submit(form.press("Compare")).await.ok();
    assert!(page.says("there is no exchange rate from there to CAD"), "{}", page.text("main"));
    shop.cad_rate(1, dec!(0.80)).await;
    let form = draft_form(&page)
        .set("amount-0", "18.75")
        .set("price-0", "3.75")
        .set("amount-1", "100")
        .set("price-1", "2.50");
    let review = compared(shop, form.set("paid", "118.75").set("arrived", "95.00")).await.ok();
    assert!(
        review.texts("#doubts li").join(" ").contains("The paper is in CAD, and their prices are in USD.")
    );
    assert!(review.says("By their sheet and terms 118.75 CAD"), "{}", review.text("main"));
    let page = saved(shop, &review).await.ok();
    assert!(page.says("118.75 CAD paid"));
}

async fn a_settlement_of_another_delivery_is_taken_back(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let review = compared(shop, as_promised(begun(shop, &shipment).await)).await.ok();
    let page = saved(shop, &review).await.ok();
    let form = page.form("form[action$='/withdraw']");
    let silent = shop.submit(form.clone()).await;
    assert_eq!(silent.status, StatusCode::UNPROCESSABLE_ENTITY);
    let form = form.set("why", "of the shipment before");
    let back = shop.submit(form.clone()).await.ok();
    assert_eq!(back.url, format!("/shipments/{shipment}"));
    assert!(matches!(state(shop, &shipment).await, ShipmentState::Sent { .. }));
    assert!(back.says("taken back"));
    assert_eq!(shop.submit(form).await.ok().url, back.url, "pressed twice");
    assert_eq!(shop.store.settlements(&shop.id, 10).await.expect("settlements").len(), 0);
    assert_eq!(shop.store.settled_lots(&shop.id, 100).await.expect("lots").len(), 0);
    // The right paper follows.
    let review = compared(shop, as_promised(begun(shop, &shipment).await)).await.ok();
    saved(shop, &review).await.ok();
    assert!(state(shop, &shipment).await.settlement_id().is_some_and(is_id));
}

async fn nobody_settles_what_is_not_theirs(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let page = saved(shop, &compared(shop, as_promised(begun(shop, &shipment).await)).await.ok()).await.ok();
    let form = page.form("form[action$='/correct']");
    for url in [
        "/settlements/{}",
        "/settlements/{}/letter",
        "/settlements/drafts/{}",
        "/shipments/{}/waybill",
        "/shipments/{}/return",
    ] {
        let url = url.replace("{}", &new_id());
        assert_eq!(shop.get(&url).await.status, StatusCode::NOT_FOUND, "{url}");
    }
    let mut strange = form.clone();
    strange.action = format!("/settlements/{}/correct", new_id());
    assert_eq!(shop.submit(strange).await.status, StatusCode::NOT_FOUND);
    // What has not left cannot be settled.
    let market = market_again(shop).await;
    let lot = shop.filled("Bag 8", "board-set-top", "39 lb").await;
    let packed = shop.packed(&[&lot], &market, 0).await;
    let mut early = form;
    early.action = format!("/shipments/{packed}/settlement");
    let refused = shop.submit(early).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("has not been sent"));
}

/// What the entries of a document come to: in their own currency, and in home currency.
async fn in_the_book(shop: &TestShop, kind: DocumentKind, id: &str) -> (Decimal, Option<i64>) {
    let entries = shop.store.cash_of(&shop.id, &Document::new(kind, id)).await.expect("its entries");
    let worth = entries.iter().map(|entry| entry.worth).sum::<Option<i64>>();
    (entries.iter().map(|entry| entry.amount.amount).sum(), worth)
}

async fn what_is_paid_is_in_the_cash_book(shop: &TestShop) {
    let (shipment, _) = sent(shop).await;
    let today = shop.today().to_string();
    // Not paid yet: nothing came in.
    let form = as_promised(begun(shop, &shipment).await).set("charge-0", "sorting").set("taken-0", "5");
    let page = saved(shop, &compared(shop, form.set("paid", "90")).await.ok()).await.ok();
    let first = page.url.trim_start_matches("/settlements/").to_string();
    assert_eq!(in_the_book(shop, DocumentKind::Settlement, &first).await, (dec!(0), Some(0)));
    // It has arrived, less 1.50; and a dollar less than its lines come to.
    let form = draft_form(&shop.submit(page.form("form[action$='/correct']")).await.ok());
    let form =
        form.set("paid", "89").set("paid_on", &today).set("bank_fee", "1.50").set("why", "it has arrived");
    let page = saved(shop, &compared(shop, form).await.ok()).await.ok();
    let second = page.url.trim_start_matches("/settlements/").to_string();
    assert_eq!(in_the_book(shop, DocumentKind::Settlement, &second).await, (dec!(87.50), Some(8750)));
    let withdraw = page.form("form[action$='/withdraw']").set("why", "another's");
    shop.submit(withdraw).await.ok();
    assert_eq!(in_the_book(shop, DocumentKind::Settlement, &second).await, (dec!(0), Some(0)));
    // What the parcels cost, corrected once.
    for (freight, why) in [("40", "weighed"), ("44.25", "weighed again"), ("44.25", "its number")] {
        let form = shop.get(&format!("/shipments/{shipment}/waybill")).await.ok().form("form.ticket");
        shop.submit(form.set("freight", freight).set("boxes_cost", "3").set("why", why).press("Save"))
            .await
            .ok();
    }
    assert_eq!(in_the_book(shop, DocumentKind::Shipment, &shipment).await, (dec!(-47.25), Some(-4725)));
    let entries =
        shop.store.cash_of(&shop.id, &Document::new(DocumentKind::Shipment, &*shipment)).await.expect("them");
    assert_eq!(entries.len(), 6, "what did not change is not entered again");

    // Across a border, the entries come to the cent that arrived.
    let across = sent_across_as(shop, "Bag 7").await;
    let form = begun(shop, &across).await.set("mass-0", "40 lb").set("price-0", "4").set("amount-0", "160");
    let form =
        form.set("charge-0", "duty").set("taken-0", "0.07").set("paid", "159.93").set("arrived", "113.37");
    let form = form.set("bank_fee", "3.11").set("paid_on", &today);
    let page = saved(shop, &compared(shop, form).await.ok()).await.ok();
    let id = page.url.trim_start_matches("/settlements/");
    assert_eq!(in_the_book(shop, DocumentKind::Settlement, id).await.1, Some(11_337));
}
