//! A scale on the bench: what it shows is offered to the phones of the shop, and put on a lot only by a tap.

use std::process::Command;

use axum::body::Body;
use axum::http::header::{AUTHORIZATION, CONTENT_TYPE, HOST};
use axum::http::{Request, StatusCode};
use jiff::{SignedDuration, Timestamp};
use pennyweight::secret::Token;
use pennyweight::store::By;
use pennyweight::store::activity::Noun;
use pennyweight::store::new_id;
use pennyweight::web::{App, Config, router};
use serde_json::json;

use crate::common::{Page, SHOP_HOST, TestShop, mass, on_both};

on_both![
    a_reading_is_taken_over_with_a_tap_and_offered_no_more,
    decimal_pounds_off_a_scale_are_not_asked_about,
    only_the_newest_reading_of_a_scale_is_offered_and_not_for_long,
    a_reading_is_told_to_open_pages_and_stands_in_no_record,
    no_other_shop_and_no_phone_shows_for_a_scale,
    the_bridge_reads_the_scale_and_sends_each_reading_once,
];

/// A key called `scale on the bench`, made by the first partner.
async fn key(shop: &TestShop) -> (String, Token) {
    let (id, key) = (new_id(), Token::random());
    shop.store.make_key(&shop.by(), &id, "scale on the bench", &key.hash()).await.expect("a key");
    (id, key)
}

async fn shows(shop: &TestShop, key: &Token, id: &str, reading: &str) -> Page {
    let request = Request::post("/api/v1/readings")
        .header(HOST, SHOP_HOST)
        .header(AUTHORIZATION, format!("Bearer {}", key.text()))
        .header(CONTENT_TYPE, "application/json");
    let body = Body::from(json!({ "id": id, "reading": reading }).to_string());
    shop.strange_phone().send(request.body(body).expect("a request")).await
}

async fn a_reading_is_taken_over_with_a_tap_and_offered_no_more(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let (_, key) = key(shop).await;
    let address = format!("/lots/{lot}/weigh");
    assert!(!shop.get(&address).await.ok().has("#scales button"));
    let id = new_id();
    let kept = shows(shop, &key, &id, "1.24 kg").await.ok();
    assert_eq!(serde_json::from_str::<serde_json::Value>(&kept.body).expect("JSON")["grams"], "1240");
    assert!(shop.lot(&lot).await.net.is_zero(), "nothing is put on a lot by the scale");

    let page = shop.get(&address).await.ok();
    assert!(page.says("scale on the bench shows 1.24 kg"), "{}", page.text("#scales"));
    assert_eq!(page.attributes("#scales button", "value"), [id.as_str()]);
    // The button belongs to the form, so what was filled in goes along.
    assert_eq!(page.attributes("#scales button", "form"), page.attributes("form.ticket", "id"));
    let form = page.form("form.ticket").set("tare", "40 g").forge("scale", &id);
    let echo = shop.submit(form).await.ok();
    assert!(echo.says("The scale shows 1.24 kg on scale on the bench"), "{}", echo.text("main"));
    assert!(shop.lot(&lot).await.net.is_zero(), "it is read back first");
    let put = echo.form("form[action$='/weighings']");
    let receipt = shop.submit(put).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("1200 g"), "{}", receipt.text("main"));
    assert!(shop.get(&format!("/lots/{lot}")).await.ok().says("1.24 kg on scale on the bench"));

    // It is on a lot; sent once more by the bridge, it is the same one.
    assert!(!shop.get(&address).await.ok().has("#scales button"));
    shows(shop, &key, &id, "1.24 kg").await.ok();
    assert!(!shop.get(&address).await.ok().has("#scales button"));
    let late = shop.submit(page.form("form.ticket").forge("scale", &id)).await.ok();
    assert!(late.text("#reading-problem").contains("something else by now"), "{}", late.text("main"));
    assert_eq!(shop.lot(&lot).await.net, mass("1200 g"));
}

async fn decimal_pounds_off_a_scale_are_not_asked_about(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let (_, key) = key(shop).await;
    let id = new_id();
    shows(shop, &key, &id, "1.5 lb").await.ok();
    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = shop.submit(page.form("form.ticket").forge("scale", &id)).await.ok();
    assert!(!echo.says("Did the scale show"), "{}", echo.text("main"));
    shop.submit(echo.form("form[action$='/weighings']")).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("1 lb 8 oz"));
}

async fn only_the_newest_reading_of_a_scale_is_offered_and_not_for_long(shop: &TestShop) {
    let (key_id, key) = key(shop).await;
    for reading in ["1.24 kg", "1.25 kg"] {
        shows(shop, &key, &new_id(), reading).await.ok();
    }
    let (_, other) = self::key(shop).await;
    shows(shop, &other, &new_id(), "20 g").await.ok();
    let now = Timestamp::now();
    let offered = shop.store.scale_readings(&shop.id, now).await.expect("readings");
    let readings: Vec<&str> = offered.iter().map(|shown| shown.reading.as_str()).collect();
    assert_eq!(readings, ["20 g", "1.25 kg"]);
    let later = now + SignedDuration::from_mins(3);
    assert!(shop.store.scale_readings(&shop.id, later).await.expect("readings").is_empty());
    // A key that was taken back shows nothing any more.
    shop.store.end_key(&shop.by(), &key_id).await.expect("it ends");
    assert_eq!(shop.store.scale_readings(&shop.id, now).await.expect("readings").len(), 1);
    assert_eq!(shows(shop, &key, &new_id(), "3 g").await.status, StatusCode::UNAUTHORIZED);
    for reading in ["heavy", "", "0 g", "-1 g", "2.5"] {
        let refused = shows(shop, &other, &new_id(), reading).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{reading}: {}", refused.body);
    }
}

async fn a_reading_is_told_to_open_pages_and_stands_in_no_record(shop: &TestShop) {
    let (_, key) = key(shop).await;
    let lines = shop.get("/activity").await.ok().texts("main li").len();
    let mut news = shop.store.news().listen();
    shows(shop, &key, &new_id(), "1.24 kg").await.ok();
    // Postgres tells with a delay, so that the phone signed in before may be heard only now.
    let first = async {
        loop {
            match news.recv().await.expect("a change").noun {
                Noun::Session => {}
                other => break other,
            }
        }
    };
    let heard = tokio::time::timeout(std::time::Duration::from_secs(5), first).await;
    assert_eq!(heard.expect("it is told"), Noun::Scale);
    assert_eq!(shop.get("/activity").await.ok().texts("main li").len(), lines);
}

async fn no_other_shop_and_no_phone_shows_for_a_scale(shop: &TestShop) {
    let other: By = shop.open_another().await;
    let key = Token::random();
    shop.store.make_key(&other, &new_id(), "their scale", &key.hash()).await.expect("a key");
    let id = new_id();
    shows(shop, &key, &id, "9 kg").await.ok();
    let lot = shop.bag("Bag 1", "copper-2").await;
    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    assert!(!page.has("#scales button"));
    let answer = shop.submit(page.form("form.ticket").forge("scale", &id)).await.ok();
    assert!(!answer.says("9 kg"), "{}", answer.text("main"));
    // A phone's cookie is no key.
    let request = shop
        .phone()
        .request("POST", "/api/v1/readings")
        .header(CONTENT_TYPE, "application/json")
        .header("x-form-token", shop.phone().form_token().expect("signed in"));
    let body = Body::from(json!({ "id": new_id(), "reading": "1 kg" }).to_string());
    let refused = shop.phone().send(request.body(body).expect("a request")).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
}

/// The program itself, with a file for a device: reports as a scale makes them, ten times a second.
async fn the_bridge_reads_the_scale_and_sends_each_reading_once(shop: &TestShop) {
    let (_, key) = key(shop).await;
    let folder = tempfile::tempdir().expect("a folder");
    let (device, key_file) = (folder.path().join("hidraw0"), folder.path().join("key"));
    std::fs::write(&key_file, format!("{}\n", key.text())).expect("a file");
    let moving = [3, 3, 3, 0xfe, 60, 0];
    let stable = [3, 4, 3, 0xfe, 124, 0];
    let empty = [3, 2, 3, 0xfe, 0, 0];
    let heavier = [3, 4, 0x0b, 0xff, 0x34, 0x19];
    let reports = [empty, moving, stable, stable, stable, empty, moving, heavier, heavier];
    std::fs::write(&device, reports.concat()).expect("a file");

    let app = App::new(shop.store.clone(), Config::default());
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = format!("http://{}", listener.local_addr().expect("an address"));
    let served = tokio::spawn(async move { axum::serve(listener, router(app)).await });
    let bridge = |address: String| {
        let mut bridge = Command::new(env!("CARGO_BIN_EXE_pennyweight"));
        bridge.arg("scale").arg("--device").arg(&device).arg("--key-file").arg(&key_file);
        bridge.args(["--server", &address]);
        tokio::task::spawn_blocking(move || bridge.output().expect("it runs"))
    };
    let done = bridge(address.clone()).await.expect("it ends with the file");
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}");
    let sent = |reading: &str| said.lines().filter(|line| line.trim_end().ends_with(reading)).count();
    assert_eq!((sent("1.24 kg"), sent("645.2 oz")), (1, 1), "{said}");
    let offered = shop.store.scale_readings(&shop.id, Timestamp::now()).await.expect("readings");
    assert_eq!(offered.len(), 1);
    assert_eq!((offered[0].scale.as_str(), offered[0].reading.as_str()), ("scale on the bench", "645.2 oz"));

    // A key that lets nobody in is said, and ends it.
    std::fs::write(&key_file, "0".repeat(64)).expect("a file");
    let refused = bridge(address).await.expect("it ends");
    assert!(!refused.status.success());
    let said = String::from_utf8_lossy(&refused.stderr);
    assert!(said.contains("refuses this key") && !said.contains("00000000"), "{said}");
    served.abort();
}
