//! Yard runs: planned from the sell plan, driven, and told of ticket by ticket.

use axum::http::StatusCode;
use pennyweight::store::cash::{Document, DocumentKind};
use pennyweight::store::lots::LotState;
use pennyweight::store::new_id;
use pennyweight::store::reservations::Reservation;
use pennyweight::store::runs::{Run, RunState};
use pennyweight::store::settlements::{Delivery, Settlement};
use rust_decimal::dec;
use trade::ids::OutletId;
use trade::settlement::ChargeKind;

use crate::common::market::yard;
use crate::common::{Form, Page, TestShop, mass, on_both};
use crate::photos::from_a_phone;
use crate::shipments::{market, offer};

on_both![
    a_run_takes_what_the_plan_drives_to_yards,
    a_lot_is_in_one_shipment_or_run_at_a_time,
    a_lot_in_a_run_and_a_shipment_made_at_once_is_in_one,
    made_twice_it_is_made_once,
    what_changed_meanwhile_is_told_and_nothing_is_reserved,
    slips_in_planning_are_told,
    taken_apart_its_lots_are_free_again,
    the_load_list_is_by_yard,
    a_ticket_takes_lots_off_the_shelf_and_is_settled,
    lots_weighed_as_one_and_taken_as_another_grade,
    a_lot_refused_at_the_gate_is_on_the_shelf_again,
    a_ticket_without_weights_is_kept_and_flagged,
    slips_on_a_ticket_are_told_beside_their_field,
    a_ticket_sent_twice_counts_once,
    a_yard_that_was_not_driven_to,
    the_truck_comes_back_when_every_yard_is_told_of,
    nothing_is_told_of_a_run_that_has_not_left,
    of_two_phones_the_second_is_told,
    a_ticket_has_photos,
    a_run_left_open_over_night_is_on_today,
    another_shops_run_is_not_there,
];

struct Yards {
    near: OutletId,
    far: OutletId,
    copper: String,
    brass: String,
    steel: String,
}

/// Two yards, and a lot for each that pays for its drive.
async fn yards(shop: &TestShop) -> Yards {
    let near = [("copper-2", "3.00/lb"), ("brass-yellow", "2.00/lb"), ("copper-1", "3.40/lb")];
    let near = shop.outlet(&yard("Quay Metals", 10, 30), &near).await;
    let far = shop.outlet(&yard("Harbour Yard", 25, 60), &[("steel-light", "0.50/lb")]).await;
    Yards {
        near,
        far,
        copper: shop.filled("Drum 1", "copper-2", "100 lb").await,
        brass: shop.filled("Drum 2", "brass-yellow", "40 lb").await,
        steel: shop.filled("Crate 1", "steel-light", "400 lb").await,
    }
}

async fn planned(shop: &TestShop) -> Form {
    shop.get("/runs/new").await.ok().form("form[action='/runs']")
}

async fn run(shop: &TestShop, page: &Page) -> Run {
    let id = page.url.rsplit('/').next().expect("its number").to_string();
    shop.store.run(&shop.id, &id).await.expect("the run")
}

/// A run with everything on it, on the way.
async fn on_the_way(shop: &TestShop) -> Page {
    let page = shop.submit(planned(shop).await).await.ok();
    shop.submit(page.form("form[action$='/leave']").set("odometer", "1000")).await.ok()
}

/// The ticket's form of the yard with this name.
async fn gate(shop: &TestShop, page: &Page, yard: &str) -> Form {
    let run = run(shop, page).await;
    let stop = run.stops.iter().find(|stop| stop.outlet_name == yard).expect("the yard is on it");
    let page = shop.get(&format!("/runs/{}/stops/{}", run.head.id, stop.id)).await.ok().without_ids();
    page.form("form[action*='/stops/']:not([enctype])")
}

/// Reads the ticket back and saves it.
async fn save(shop: &TestShop, form: Form) -> Page {
    let read_back = shop.submit(form.press("Read it back")).await.ok();
    assert!(read_back.says("Nothing is saved yet"), "{}", read_back.text("main"));
    let form = read_back.form("form[action*='/stops/']:not([enctype])");
    shop.submit(form.press("Save the ticket")).await
}

async fn settled(shop: &TestShop, page: &Page, yard: &str) -> Settlement {
    let run = run(shop, page).await;
    let stop = run.stops.iter().find(|stop| stop.outlet_name == yard).expect("the yard is on it");
    let delivery = Delivery::RunStop(stop.id.clone());
    let heads = shop.store.settlements_of(&shop.id, &delivery).await.expect("settlements");
    assert_eq!(heads.len(), 1, "one ticket, one settlement");
    shop.store.settlement(&shop.id, &heads[0].id).await.expect("it")
}

async fn a_run_takes_what_the_plan_drives_to_yards(shop: &TestShop) {
    let yards = yards(shop).await;
    let plan = shop.get("/plan").await.ok().without_ids();
    assert_eq!(plan.link("Take these to the yards"), "/runs/new");
    let form = planned(shop).await;
    let ticked: Vec<&str> =
        form.fields.iter().filter(|field| field.name == "lot").map(|field| field.value.as_str()).collect();
    assert_eq!(ticked.len(), 3, "{ticked:?}");
    assert!(ticked.contains(&format!("{}/{}", yards.near, yards.copper).as_str()));
    assert!(ticked.contains(&format!("{}/{}", yards.far, yards.steel).as_str()));
    let page = shop.submit(form).await.ok().without_ids();
    assert_eq!(page.text("h1"), "Yard run: Quay Metals, Harbour Yard");
    assert_eq!(page.text(".stamp"), "planned");
    // 100 × 3.00 + 40 × 2.00 + 400 × 0.50, less 20 km × 0.42 + half an hour and 50 km × 0.42 + an hour, at 18.00.
    assert_eq!(page.text(".figure"), "523.60 USD expected net");
    for lot in [&yards.copper, &yards.brass, &yards.steel] {
        let state = shop.lot(lot).await.state;
        assert!(matches!(state, LotState::Reserved { by: Reservation::Run(_) }), "{state:?}");
    }
    let lot = shop.get(&format!("/lots/{}", yards.copper)).await.ok().without_ids();
    assert!(lot.says("It is on the load list of a yard run"));
    assert_eq!(lot.link("a yard run"), page.url);
    assert!(shop.get("/lots").await.ok().texts(".stamp").contains(&"on a run".to_string()));
    assert!(shop.get("/plan").await.ok().says("Nothing is on the shelf."));
    assert!(
        shop.get("/runs").await.ok().without_ids().text(".tickets").contains("Quay Metals, Harbour Yard")
    );
    assert!(shop.get("/activity").await.ok().says("planned"));
}

async fn a_lot_is_in_one_shipment_or_run_at_a_time(shop: &TestShop) {
    market(shop).await;
    shop.outlet(&yard("Quay Metals", 10, 30), &[("board-set-top", "1.90/lb")]).await;
    let lot = shop.filled("Bag 1", "board-set-top", "39 lb").await;
    let ship = offer(shop, &lot).await;
    let drive = planned(shop).await;
    let value = drive.options("lot")[0].clone();
    let drive = if drive.value("lot").is_empty() { drive.set("lot", &value) } else { drive };
    let again = drive.clone();
    shop.submit(drive).await.ok();
    let refused = shop.submit(ship).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("on a yard run"), "{}", refused.text("main"));
    let refused = shop.submit(again.forge("id", &new_id())).await.ok();
    assert!(refused.says("Nothing was reserved."), "{}", refused.text("main"));
    let weigh = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let weigh = weigh.form("form[action$='/weigh'].ticket").set("reading", "1 lb");
    let refused = shop.submit(weigh).await;
    assert!(refused.says("on the load list of a yard run"), "{}", refused.text("main"));
    assert_eq!(shop.store.runs(&shop.id).await.expect("runs").len(), 1);
    assert_eq!(shop.store.shipments(&shop.id).await.expect("shipments").len(), 0);
}

async fn a_lot_in_a_run_and_a_shipment_made_at_once_is_in_one(shop: &TestShop) {
    market(shop).await;
    shop.outlet(&yard("Quay Metals", 10, 30), &[("board-set-top", "1.90/lb")]).await;
    for bag in 0..4 {
        let lot = shop.filled(&format!("Bag {bag}"), "board-set-top", "39 lb").await;
        let ship = offer(shop, &lot).await;
        let drive = planned(shop).await;
        let value = drive.options("lot").iter().find(|value| value.ends_with(&lot)).expect("it").clone();
        let drive = drive.forge("lot", &value);
        tokio::join!(shop.submit(ship), shop.submit(drive));
        let mut rows = 0;
        for sql in [
            "SELECT lot_id FROM shipment_lots WHERE lot_id = $1",
            "SELECT lot_id FROM run_lots WHERE lot_id = $1",
        ] {
            let found: Vec<(String,)> =
                sqlx::query_as(sql).bind(&lot).fetch_all(&mut shop.connect().await).await.expect("rows");
            rows += found.len();
        }
        assert!(rows <= 1, "bag {bag} is in both");
    }
}

async fn made_twice_it_is_made_once(shop: &TestShop) {
    yards(shop).await;
    let form = planned(shop).await;
    let (a, b) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    assert_eq!(a.ok().url, b.ok().url);
    shop.submit(form).await.ok();
    assert_eq!(shop.store.runs(&shop.id).await.expect("runs").len(), 1);
}

async fn what_changed_meanwhile_is_told_and_nothing_is_reserved(shop: &TestShop) {
    let yards = yards(shop).await;
    let form = planned(shop).await;
    shop.put(&yards.copper, "5 lb").await;
    shop.sheet(&yards.near, 0, &[("copper-2", "2.50/lb"), ("brass-yellow", "2.00/lb")]).await;
    let told = shop.submit(form).await.ok().without_ids();
    assert!(told.says("Drum 1 held 100 lb 0 oz, it holds 105 lb 0 oz now."), "{}", told.text("main"));
    assert!(told.says("2.50 USD/lb"));
    assert_eq!(shop.lot(&yards.copper).await.state, LotState::Open);
    assert_eq!(shop.store.runs(&shop.id).await.expect("runs").len(), 0);
    // The page that came back is right again, with the same lots ticked.
    let page = shop.submit(told.form("form[action='/runs']")).await.ok();
    assert!(page.text("h1").contains("Quay Metals"));
    assert_eq!(shop.store.runs(&shop.id).await.expect("runs").len(), 1);
}

async fn slips_in_planning_are_told(shop: &TestShop) {
    let yards = yards(shop).await;
    let form = planned(shop).await;
    let mut none = form.clone();
    none.fields.retain(|field| field.name != "lot");
    assert!(shop.submit(none).await.ok().says("No lot was chosen."));
    assert!(shop.submit(form.clone().set("day", "soon")).await.ok().says("is not a date"));
    assert_eq!(shop.submit(form.clone().forge("id", "1")).await.status, StatusCode::BAD_REQUEST);
    let unseen = form.clone().forge(&format!("seen-{}", yards.near), "");
    assert_eq!(shop.submit(unseen).await.status, StatusCode::BAD_REQUEST);
    let strange = form.clone().forge("lot", &format!("{}/{}", new_id(), yards.copper));
    assert!(shop.submit(strange).await.ok().says("One of the yards has been closed meanwhile."));
    shop.close_outlet(&yards.far).await;
    assert!(shop.submit(form).await.ok().says("Nothing was reserved."));
    assert_eq!(shop.store.runs(&shop.id).await.expect("runs").len(), 0);
}

async fn taken_apart_its_lots_are_free_again(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = shop.submit(planned(shop).await).await.ok();
    let cancel = page.form("form[action$='/cancel']");
    let leave = page.form("form[action$='/leave']");
    let page = shop.submit(cancel.clone()).await.ok().without_ids();
    assert_eq!(page.text(".stamp"), "taken apart");
    assert_eq!(shop.lot(&yards.copper).await.state, LotState::Open);
    shop.submit(cancel).await.ok();
    assert_eq!(shop.submit(leave).await.status, StatusCode::CONFLICT);
    // They can go on another run.
    shop.submit(planned(shop).await).await.ok();
    assert!(matches!(shop.lot(&yards.copper).await.state, LotState::Reserved { .. }));
}

async fn the_load_list_is_by_yard(shop: &TestShop) {
    yards(shop).await;
    let page = shop.submit(planned(shop).await.set("note", "gate shuts at four")).await.ok().without_ids();
    assert_eq!(page.texts("section h2 > :first-child"), ["1. Quay Metals", "2. Harbour Yard"]);
    let rows = page.texts("tbody tr");
    assert!(rows.iter().any(|row| row.starts_with("Drum 1 No. 2 copper 100 lb 0 oz")), "{rows:?}");
    assert!(rows.last().is_some_and(|row| row.starts_with("Crate 1")), "{rows:?}");
    assert!(page.says("gate shuts at four"));
    assert!(page.says("No. 2 copper at 3.00 USD/lb 100 lb 0 oz"));
    // What is expected stays off the paper.
    assert!(
        page.has("section.no-print .figure") && page.has(".print-only") && page.has("dl .total.no-print")
    );
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
    assert!(told.says("Their weight No. 2 copper: 99 lb 0.0 oz found, 100 lb 0 oz ours"));
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

async fn a_yard_that_was_not_driven_to(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = on_the_way(shop).await;
    let run = run(shop, &page).await;
    let far = run.stops.iter().find(|stop| stop.outlet_id == yards.far).expect("the far yard");
    let skip = page.form(&format!("form[action$='/stops/{}/skip']", far.id));
    let page = shop.submit(skip.clone()).await.ok().without_ids();
    assert!(page.says("All of it is on the shelf again."));
    assert_eq!(shop.lot(&yards.steel).await.state, LotState::Open);
    shop.submit(skip).await.ok();
}

async fn the_truck_comes_back_when_every_yard_is_told_of(shop: &TestShop) {
    yards(shop).await;
    let page = on_the_way(shop).await;
    assert!(page.says("When every yard has been told of") && !page.has("form[action$='/end']"));
    save(shop, gate(shop, &page, "Quay Metals").await.set("total", "380")).await.ok();
    save(shop, gate(shop, &page, "Harbour Yard").await.set("total", "200")).await.ok();
    let page = shop.get(&page.url).await.ok().without_ids();
    assert!(page.says("It stood at 1000 mi when you left."), "{}", page.text("main"));
    let form = page.form("form[action$='/end']");
    let less = shop.submit(form.clone().set("odometer", "990").set("hours", "2")).await.ok();
    assert!(less.says("That is less than it was when the truck left."));
    assert!(shop.submit(form.clone().set("hours", "")).await.ok().says("A number is needed."));
    let back = form.set("odometer", "1050").set("hours", "2,5").set("fuel", "14.30");
    let page = shop.submit(back.clone()).await.ok().without_ids();
    assert_eq!(page.text(".stamp"), "back");
    // 50 mi are 80.4672 km, at 0.42; 150 minutes at 18.00 an hour.
    assert!(page.says("Driven 50") && page.says("What the drive cost −78.80 USD"), "{}", page.text("main"));
    shop.submit(back).await.ok();
    let RunState::Back { trip, .. } = run(shop, &page).await.head.state else { panic!("it is back") };
    assert_eq!((trip.distance_km, trip.minutes), (Some(dec!(80.467)), 150));
    let document = Document::new(DocumentKind::Run, run(shop, &page).await.head.id);
    let entries = shop.store.cash_of(&shop.id, &document).await.expect("its entries");
    assert_eq!(entries.iter().map(|entry| entry.amount.to_string()).collect::<Vec<_>>(), ["−14.30 USD"]);
    assert!(shop.get("/money/hours").await.ok().says("driving"));
}

async fn nothing_is_told_of_a_run_that_has_not_left(shop: &TestShop) {
    let yards = yards(shop).await;
    let page = shop.submit(planned(shop).await).await.ok();
    let run = run(shop, &page).await;
    let stop = &run.stops[0];
    let waiting = shop.get(&format!("/runs/{}/stops/{}", run.head.id, stop.id)).await.ok();
    assert!(waiting.says("The truck is not on the way"));
    let mut skip = page.form("form[action$='/cancel']");
    skip.action = format!("/runs/{}/stops/{}/skip", run.head.id, stop.id);
    let refused = shop.submit(skip).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("The truck has not left yet."));
    let mut end = page.form("form[action$='/leave']");
    end.action = format!("/runs/{}/end", run.head.id);
    assert_eq!(shop.submit(end.forge("hours", "1")).await.status, StatusCode::CONFLICT);
    assert!(matches!(shop.lot(&yards.copper).await.state, LotState::Reserved { .. }));
}

async fn of_two_phones_the_second_is_told(shop: &TestShop) {
    yards(shop).await;
    let page = shop.submit(planned(shop).await).await.ok();
    let (leave, cancel) = (page.form("form[action$='/leave']"), page.form("form[action$='/cancel']"));
    shop.submit(leave.clone()).await.ok();
    let refused = shop.submit(cancel).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("The run has moved on"));
    shop.submit(leave).await.ok();
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

async fn a_run_left_open_over_night_is_on_today(shop: &TestShop) {
    yards(shop).await;
    let page = shop.submit(planned(shop).await).await.ok();
    let run = run(shop, &page).await;
    assert!(shop.get("/").await.ok().says("planned for today"), "{}", shop.get("/").await.text("main"));
    shop.store.leave_run(&shop.by_ago(1), &run.head.id, run.head.version, None).await.expect("it left");
    let today = shop.get("/").await.ok().without_ids();
    assert!(today.says("left open over night"), "{}", today.text("main"));
    assert_eq!(today.link("Quay Metals, Harbour Yard"), page.url);
}

async fn another_shops_run_is_not_there(shop: &TestShop) {
    yards(shop).await;
    let page = on_the_way(shop).await;
    let run = run(shop, &page).await;
    let next_door = shop.open_another().await;
    assert!(shop.store.run(&next_door.shop_id, &run.head.id).await.is_err());
    assert!(shop.store.leave_run(&next_door, &run.head.id, run.head.version, None).await.is_err());
    assert!(shop.store.run_of_stop(&next_door.shop_id, &run.stops[0].id).await.is_err());
    assert_eq!(shop.get(&format!("/runs/{}", new_id())).await.status, StatusCode::NOT_FOUND);
    assert_eq!(
        shop.get(&format!("/runs/{}/stops/{}", run.head.id, new_id())).await.status,
        StatusCode::NOT_FOUND
    );
}
