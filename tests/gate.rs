//! At the gate: a yard's ticket, typed on a phone.

use axum::http::StatusCode;
use pennyweight::store::lots::LotState;
use pennyweight::store::new_id;
use pennyweight::store::settlements::{Delivery, Settlement};
use rust_decimal::dec;
use trade::settlement::ChargeKind;

use crate::common::market::yard;
use crate::common::{Page, TestShop, mass, on_both};
use crate::photos::from_a_phone;
use crate::runs::{gate, on_the_way, run, save, yards};

on_both![
    a_ticket_takes_lots_off_the_shelf_and_is_settled,
    lots_weighed_as_one_and_taken_as_another_grade,
    a_lot_refused_at_the_gate_is_on_the_shelf_again,
    a_ticket_without_weights_is_kept_and_flagged,
    slips_on_a_ticket_are_told_beside_their_field,
    a_ticket_sent_twice_counts_once,
    a_ticket_has_photos,
    a_yard_that_takes_a_part_of_a_lot,
    a_part_that_is_none_is_told,
];

async fn settled(shop: &TestShop, page: &Page, yard: &str) -> Settlement {
    let run = run(shop, page).await;
    let stop = run.stops.iter().find(|stop| stop.outlet_name == yard).expect("the yard is on it");
    let delivery = Delivery::RunStop(stop.id.clone());
    let heads = shop.store.settlements_of(&shop.id, &delivery).await.expect("settlements");
    assert_eq!(heads.len(), 1, "one ticket, one settlement");
    shop.store.settlement(&shop.id, &heads[0].id).await.expect("it")
}

async fn a_ticket_takes_lots_off_the_shelf_and_is_settled(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    assert_eq!(page.text(".stamp"), "on the way");
    let form = gate(shop, &page, "Quay Metals").await;
    // It opens with a line for each grade, its lots on it, and the price that was promised.
    assert_eq!((form.value("price-1"), form.value(&format!("fate-{}", yards.copper))), ("3", "1"));
    let form = form.set("mass-1", "99 lb").set("mass-2", "40 lb").set("number", "A-118").set("fee", "2");
    let form = form.set("paid_on", &shop.today().to_string());
    let told = save(shop, form).await.ok().without_ids();
    assert!(told.says("Ticket A-118"));
    // 99 × 3.00 + 40 × 2.00 − 2.00 against 380.00.
    assert!(
        told.says("Promised for what they took 380.00 USD") && told.says("Paid 375.00 USD"),
        "{}",
        told.text("main")
    );
    assert!(told.says("Their weight No. 2 copper: 99 lb 0.0 oz found, 100 lb 0 oz sent"));
    assert!(told.says("less than promised −5.00 USD"));
    for lot in [&yards.copper, &yards.brass] {
        let lot = shop.lot(lot).await;
        assert!(matches!(lot.state, LotState::Closed { .. }) && lot.net.is_zero(), "{lot:?}");
    }
    assert!(matches!(shop.lot(&yards.steel).await.state, LotState::Reserved { .. }));
    let settlement = settled(shop, &page, "Quay Metals").await;
    assert_eq!((settlement.head.paid, settlement.head.promised), (dec!(375), dec!(380)));
    assert_eq!(settlement.head.arrived, Some(dec!(375)));
    assert_eq!(settlement.paper.lines.len(), 2);
    assert_eq!(settlement.paper.charges[0].kind, ChargeKind::Fee);
    let run_page = shop.get(&page.url).await.ok().without_ids();
    assert!(
        run_page.says("It paid 375.00 USD") && run_page.says("380.00 USD was promised."),
        "{}",
        run_page.text("main")
    );
    assert!(
        shop.get(&format!("/runs/stops/{}", run(shop, &page).await.stops[0].id))
            .await
            .ok()
            .says("Ticket A-118")
    );
}

async fn lots_weighed_as_one_and_taken_as_another_grade(shop: &TestShop) {
    let near = [("copper-2", "3.00/lb"), ("copper-1", "3.40/lb")];
    shop.outlet(&yard("Quay Metals", 10, 30), &near).await;
    let one = shop.filled("Drum 1", "copper-1", "60 lb").await;
    let two = shop.filled("Drum 2", "copper-1", "40 lb").await;
    let three = shop.filled("Drum 3", "copper-2", "10 lb").await;
    let page = on_the_way(shop).await;
    let form = gate(shop, &page, "Quay Metals").await;
    let (line_of_one, line_of_two) =
        (form.value(&format!("fate-{one}")).to_string(), form.value(&format!("fate-{two}")));
    assert_eq!(line_of_one, line_of_two, "lots of one grade stand on one line");
    // All three were weighed as one, and taken as No. 2.
    let form =
        form.set(&format!("grade-{line_of_one}"), "copper-2").set(&format!("price-{line_of_one}"), "3.00");
    let form = form.set(&format!("mass-{line_of_one}"), "110 lb").set(&format!("fate-{three}"), &line_of_one);
    let told = save(shop, form).await.ok().without_ids();
    // 60 and 40 lb at 0.40 less.
    assert!(told.says("−40.00 USD"), "{}", told.text("main"));
    let settlement = settled(shop, &page, "Quay Metals").await;
    assert_eq!(settlement.paper.lines.len(), 1);
    assert_eq!(settlement.paper.lines[0].pays_for.len(), 3);
    assert_eq!(settlement.head.paid, dec!(330));
}

async fn a_lot_refused_at_the_gate_is_on_the_shelf_again(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    let form = gate(shop, &page, "Quay Metals").await.set("mass-1", "100 lb");
    let form = form.set(&format!("fate-{}", yards.brass), "refused");
    let told = save(shop, form).await.ok().without_ids();
    assert!(
        told.says("Promised for what they took 300.00 USD") && told.says("as promised or more"),
        "{}",
        told.text("main")
    );
    let brass = shop.lot(&yards.brass).await;
    assert_eq!((brass.state, brass.net), (LotState::Open, mass("40 lb")));
    assert_eq!(
        shop.store.ledger(&shop.id, &yards.brass).await.expect("its ledger").len(),
        1,
        "it never left"
    );
    assert!(shop.get(&page.url).await.ok().texts(".stamp").contains(&"came back".to_string()));
    // All of it refused: nothing is settled, and nothing can be paid.
    let form = gate(shop, &page, "Harbour Yard").await.set(&format!("fate-{}", yards.steel), "refused");
    let paid = shop.submit(form.clone().set("total", "5").press("Read it back")).await.ok();
    assert!(paid.says("Everything is refused, and something was paid."));
    let told = save(shop, form).await.ok();
    assert!(told.says("nothing sold"), "{}", told.text("main"));
    assert_eq!(shop.lot(&yards.steel).await.state, LotState::Open);
}

async fn a_ticket_without_weights_is_kept_and_flagged(shop: &TestShop) {
    yards(shop).await;
    let page = on_the_way(shop).await;
    let form = gate(shop, &page, "Quay Metals").await;
    let nothing = shop.submit(form.clone().press("Read it back")).await.ok();
    assert!(nothing.text(".problem").contains("Type what was paid"), "{}", nothing.text("main"));
    let told = save(shop, form.set("total", "371,50")).await.ok().without_ids();
    assert!(told.says("A line has no weight.") && told.says("Paid 371.50 USD"), "{}", told.text("main"));
    let settlement = settled(shop, &page, "Quay Metals").await;
    assert_eq!(settlement.paper.lines[0].pays_for.len(), 2);
    assert_eq!(settlement.head.paid_on, None);
}

async fn slips_on_a_ticket_are_told_beside_their_field(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    let before = shop.everything().await;
    let open = gate(shop, &page, "Quay Metals").await;
    for (field, value, words) in [
        ("mass-1", "99", "Type"),
        ("mass-1", "heavy", ""),
        ("price-1", "three", "is not a number"),
        ("amount-2", "1e5", "is not a number"),
        ("dated", "2999-01-01", "is still to come"),
        ("total", "99999999999999", "It has to be between"),
        ("fee", "-1", "It has to be between"),
        ("pieces-1", "1.5", "is not a whole number"),
    ] {
        let refused = shop.submit(open.clone().set(field, value).press("Read it back")).await.ok();
        let problem = refused.texts(".problem").join(" ");
        assert!(!problem.is_empty() && problem.contains(words), "{field} {value}: {}", refused.text("main"));
        assert_eq!(refused.form("form[action*='/stops/']:not([enctype])").value(field), value);
    }
    let strange = open.clone().forge(&format!("fate-{}", yards.copper), "99").press("Read it back");
    assert!(shop.submit(strange).await.ok().says("Say on which line it stands"));
    let unknown =
        open.clone().set("mass-1", "100 lb").set("mass-2", "40 lb").forge("grade-1", "no-such-grade");
    let unknown = unknown.forge("step", "save");
    assert!(!shop.submit(unknown).await.status.is_server_error());
    let more = shop.submit(open.clone().press("One more line")).await.ok();
    assert_eq!(more.texts("fieldset legend").len(), 4);
    let many = shop.submit(open.forge("lines", "999999999").press("One more line")).await.ok();
    assert!(many.texts("fieldset legend").len() <= 40);
    assert_eq!(shop.everything().await, before);
}

async fn a_ticket_sent_twice_counts_once(shop: &TestShop) {
    yards(shop).await;
    let page = on_the_way(shop).await;
    let form = gate(shop, &page, "Quay Metals").await.set("mass-1", "100 lb").set("mass-2", "40 lb");
    let read_back = shop.submit(form.press("Read it back")).await.ok();
    let form = read_back.form("form[action*='/stops/']:not([enctype])").press("Save the ticket");
    let (a, b) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    assert!(a.ok().says("Paid 380.00 USD") && b.ok().says("Paid 380.00 USD"));
    shop.submit(form.clone()).await.ok();
    settled(shop, &page, "Quay Metals").await;
    // Another ticket for the same gate is told.
    let other = shop.submit(form.forge("id", &new_id())).await;
    assert_eq!(other.status, StatusCode::CONFLICT);
    assert!(other.says("This yard has been told of already"));
}

async fn a_ticket_has_photos(shop: &TestShop) {
    yards(shop).await;
    let page = on_the_way(shop).await;
    let run = run(shop, &page).await;
    let address = format!("/runs/{}/stops/{}", run.head.id, run.stops[0].id);
    let form = shop.get(&address).await.ok().form("#photos form");
    let page = shop.submit(form.attach("file", "ticket.jpg", "image/jpeg", from_a_phone())).await.ok();
    assert_eq!(page.texts("#photos .album li").len(), 1);
    let photo = shop.get(&page.attributes("#photos .album a", "href")[0]).await.ok().without_ids();
    assert_eq!(photo.text("h1"), "Ticket of Quay Metals");
    if pennyweight::reader::RECOGNISER.is_some() {
        let read = shop.get(&page.link("Read the last photo out to me")).await.ok().without_ids();
        // There is no writing in it. Whatever is made of it, nothing is filled in.
        assert!(read.has("#reading"), "{}", read.text("main"));
        assert_eq!(read.form("form[action*='/stops/']:not([enctype])").value("mass-1"), "");
    }
    let strange = shop.get(&format!("{address}?read={}", new_id())).await;
    assert_eq!(strange.status, StatusCode::NOT_FOUND);
}

/// Two yards and the steel, which is refused; of the copper the yard takes 60 lb of 100.
async fn a_yard_that_takes_a_part_of_a_lot(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    let form = gate(shop, &page, "Quay Metals").await;
    let part = format!("part-{}", yards.copper);
    let form = form.set("mass-1", "59.5 lb").set("mass-2", "40 lb").set(&part, "60 lb");
    let told = save(shop, form).await.ok().without_ids();
    // 60 × 3.00 + 40 × 2.00; half a pound is what a floor scale shows.
    assert!(told.says("Promised for what they took 260.00 USD"), "{}", told.text("main"));
    assert!(
        told.says("59 lb 8.0 oz found, 60 lb 0.0 oz sent") && !told.says("ask about it"),
        "{}",
        told.text("main")
    );
    // The rest is on the shelf, in its drum, and can go on the next run.
    let rest = shop.lot(&yards.copper).await;
    assert_eq!((rest.state, rest.net), (LotState::Open, mass("40 lb")));
    let settlement = settled(shop, &page, "Quay Metals").await;
    assert_eq!(settlement.head.promised, dec!(260));
    let taken =
        &settlement.promise.sent.iter().find(|sent| sent.grade.as_str() == "copper-2").expect("it").lot;
    let taken = shop.lot(taken.as_str()).await;
    assert!(matches!(taken.state, LotState::Closed { .. }) && taken.net.is_zero(), "{taken:?}");
    assert_eq!(taken.container_label, "Drum 1");
    let ledger = shop.store.ledger(&shop.id, &yards.copper).await.expect("its ledger");
    assert_eq!(ledger.len(), 2, "weighed in, and split");
    // The load list counts what was taken, once.
    let run_page = shop.get(&page.url).await.ok().without_ids();
    assert!(
        run_page.says("No. 2 copper at 3.00 USD/lb 60 lb 0.0 oz") && run_page.says("Promised 260.00 USD"),
        "{}",
        run_page.text("main")
    );
    assert_eq!(run_page.texts(".stamp").iter().filter(|stamp| *stamp == "came back in part").count(), 1);
    assert_eq!(shop.store.check().await.expect("checked"), Vec::<String>::new());
    let again = shop.get("/runs/new").await.ok();
    let form = again.form("form[action='/runs']");
    assert!(form.options("lot").iter().any(|lot| lot.ends_with(&yards.copper)), "{:?}", form.options("lot"));
}

async fn a_part_that_is_none_is_told(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    let before = shop.everything().await;
    let open = gate(shop, &page, "Quay Metals").await.set("mass-1", "60 lb").set("mass-2", "40 lb");
    let part = format!("part-{}", yards.copper);
    for (typed, words) in [
        ("100 lb", "That is no part of it."),
        ("120 lb", "That is no part of it."),
        ("0 lb", "That is no part of it."),
        ("much", ""),
    ] {
        let told = shop.submit(open.clone().set(&part, typed).press("Read it back")).await.ok();
        let problem = told.texts(".problem").join(" ");
        assert!(!problem.is_empty() && problem.contains(words), "{typed}: {}", told.text("main"));
        assert_eq!(told.form("form[action*='/stops/']:not([enctype])").value(&part), typed);
    }
    let refused = open.clone().set(&format!("fate-{}", yards.copper), "refused").set(&part, "60 lb");
    let told = shop.submit(refused.press("Read it back")).await.ok();
    assert!(told.text(".problem").contains("A part of it was taken"), "{}", told.text("main"));
    assert_eq!(shop.everything().await, before);
}
