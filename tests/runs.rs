//! Yard runs: planned from the sell plan, driven, and told of ticket by ticket.

use axum::http::StatusCode;
use pennyweight::store::cash::{Document, DocumentKind};
use pennyweight::store::lots::LotState;
use pennyweight::store::new_id;
use pennyweight::store::reservations::Reservation;
use pennyweight::store::runs::{Run, RunState};
use rust_decimal::dec;
use trade::ids::OutletId;

use crate::common::market::yard;
use crate::common::{Form, Page, TestShop, on_both};
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
    a_yard_that_was_not_driven_to,
    the_truck_comes_back_when_every_yard_is_told_of,
    nothing_is_told_of_a_run_that_has_not_left,
    of_two_phones_the_second_is_told,
    a_run_left_open_over_night_is_on_today,
    another_shops_run_is_not_there,
];

pub struct Yards {
    pub near: OutletId,
    pub far: OutletId,
    pub copper: String,
    pub brass: String,
    pub steel: String,
}

/// Two yards, and a lot for each that pays for its drive.
pub async fn yards(shop: &TestShop) -> Yards {
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

pub async fn planned(shop: &TestShop) -> Form {
    shop.get("/runs/new").await.ok().form("form[action='/runs']")
}

pub async fn run(shop: &TestShop, page: &Page) -> Run {
    let id = page.url.rsplit('/').next().expect("its number").to_string();
    shop.store.run(&shop.id, &id).await.expect("the run")
}

/// A run with everything on it, on the way.
pub async fn on_the_way(shop: &TestShop) -> Page {
    let page = shop.submit(planned(shop).await).await.ok();
    shop.submit(page.form("form[action$='/leave']").set("odometer", "1000")).await.ok()
}

/// The ticket's form of the yard with this name.
pub async fn gate(shop: &TestShop, page: &Page, yard: &str) -> Form {
    let run = run(shop, page).await;
    let stop = run.stops.iter().find(|stop| stop.outlet_name == yard).expect("the yard is on it");
    let page = shop.get(&format!("/runs/{}/stops/{}", run.head.id, stop.id)).await.ok().without_ids();
    page.form("form[action*='/stops/']:not([enctype])")
}

/// Reads the ticket back and saves it.
pub async fn save(shop: &TestShop, form: Form) -> Page {
    let read_back = shop.submit(form.press("Read it back")).await.ok();
    assert!(read_back.says("Nothing is saved yet"), "{}", read_back.text("main"));
    let form = read_back.form("form[action*='/stops/']:not([enctype])");
    shop.submit(form.press("Save the ticket")).await
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
