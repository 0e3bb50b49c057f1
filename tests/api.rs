//! The shop as JSON: what it says of itself holds, keys let devices in, and a weighing sent twice counts once.

use axum::body::Body;
use axum::http::header::{AUTHORIZATION, CONTENT_TYPE, HOST};
use axum::http::{Request, StatusCode};
use jiff::{SignedDuration, Timestamp};
use pennyweight::secret::Token;
use pennyweight::store::new_id;
use serde_json::{Value, json};

use crate::common::{Page, SHOP_HOST, TestShop, mass, on_both};

on_both![
    every_answer_is_what_the_description_says,
    nobody_comes_in_without_a_key_or_a_cookie,
    a_key_is_made_shown_once_and_taken_back,
    a_weighing_sent_twice_counts_once,
    two_senders_at_the_same_moment_one_counts,
    an_unsure_reading_is_asked_about,
    what_cannot_be_is_refused_with_the_reason,
    the_whole_container_is_weighed_against_what_was_seen,
    the_time_of_a_kept_weighing_is_kept_where_it_can_be,
    a_helper_weighs_in_through_the_api_and_sees_no_money,
    garbage_is_refused_and_changes_nothing,
];

/// A device with a key.
struct Device<'a> {
    shop: &'a TestShop,
    key: String,
}

impl<'a> Device<'a> {
    async fn of(shop: &'a TestShop) -> Device<'a> {
        let key = Token::random();
        shop.store.make_key(&shop.by(), &new_id(), "scale", &key.hash()).await.expect("a key");
        Device { shop, key: key.text().to_string() }
    }

    async fn send(&self, method: &str, url: &str, body: Body) -> Page {
        let request = Request::builder()
            .method(method)
            .uri(url)
            .header(HOST, SHOP_HOST)
            .header(AUTHORIZATION, format!("Bearer {}", self.key))
            .header(CONTENT_TYPE, "application/json");
        // A phone of its own: no cookie goes along.
        self.shop.strange_phone().send(request.body(body).expect("a request")).await
    }

    async fn get(&self, url: &str) -> (StatusCode, Value) {
        answer(self.send("GET", url, Body::empty()).await)
    }

    async fn post(&self, url: &str, body: &Value) -> (StatusCode, Value) {
        answer(self.send("POST", url, Body::from(body.to_string())).await)
    }
}

fn answer(page: Page) -> (StatusCode, Value) {
    let json =
        serde_json::from_str(&page.body).unwrap_or_else(|_| panic!("{page} is no JSON: {}", page.body));
    (page.status, json)
}

async fn every_answer_is_what_the_description_says(shop: &TestShop) {
    pennyweight::demo::load_into(&shop.store, Timestamp::now()).await.expect("the demo beside the shop");
    let demo =
        shop.store.shops().await.expect("shops").into_iter().find(|known| known.id != shop.id).expect("it");
    let imke = shop.store.account(&demo.id, "Imke").await.expect("readable").expect("an account").partner.id;
    let by = pennyweight::store::By { shop_id: demo.id.clone(), partner_id: imke, at: Timestamp::now() };
    let key = Token::random();
    shop.store.make_key(&by, &new_id(), "scale", &key.hash()).await.expect("a key");
    let device = Device { shop, key: key.text().to_string() };

    let (status, description) = device.get("/api/v1/openapi.json").await;
    assert_eq!((status, &description["openapi"]), (StatusCode::OK, &json!("3.1.0")));
    let lot = device.get("/api/v1/lots").await.1[0]["id"].as_str().expect("a lot").to_string();
    let shipment = device.get("/api/v1/shipments").await.1[0]["id"].as_str().expect("one").to_string();
    let settlement = device.get("/api/v1/settlements").await.1[0]["id"].as_str().expect("one").to_string();
    let pickup = device.get("/api/v1/pickups").await.1[0]["id"].as_str().expect("one").to_string();
    let run = device.get("/api/v1/runs").await.1[0]["id"].as_str().expect("one").to_string();
    let mut checked = 0;
    for (path, operations) in description["paths"].as_object().expect("paths") {
        let url = path
            .replace("{lot}", &lot)
            .replace("{shipment}", &shipment)
            .replace("{settlement}", &settlement)
            .replace("{pickup}", &pickup)
            .replace("{run}", &run);
        let Some(operation) = operations.get("get") else { continue };
        let (status, body) = device.get(&url).await;
        assert_eq!(status, StatusCode::OK, "{url}");
        let schema = &operation["responses"]["200"]["content"]["application/json"]["schema"];
        assert!(schema.is_object(), "{path} says nothing of its answer");
        let mut whole = description.clone();
        whole.as_object_mut().expect("an object").extend(schema.as_object().expect("one").clone());
        let validator = jsonschema::validator_for(&whole).expect("a schema (JSON Schema 2020-12)");
        let wrong: Vec<String> =
            validator.iter_errors(&body).map(|error| error.to_string()).take(3).collect();
        assert_eq!(wrong, Vec::<String>::new(), "{path}");
        assert!(!body.as_array().is_some_and(Vec::is_empty), "{path}: the demo has something everywhere");
        checked += 1;
    }
    assert!(checked >= 9, "only {checked}");
    for (path, operations) in description["paths"].as_object().expect("paths") {
        for operation in operations.as_object().expect("operations").values() {
            let placed = path.matches('{').count();
            let parameters = operation["parameters"].as_array().map_or(&[][..], Vec::as_slice);
            let in_path = parameters.iter().filter(|parameter| parameter["in"] == "path").count();
            assert_eq!(in_path, placed, "{path} says where its parameters stand");
            for (status, answer) in operation["responses"].as_object().expect("responses") {
                let of_problems = answer["content"]["application/problem+json"].is_object();
                assert_eq!(of_problems, status.starts_with('4'), "{path} {status}");
            }
        }
    }
    // The plan is the page's: its steps add up to its nets, exactly.
    let (_, plan) = device.get("/api/v1/plan").await;
    let decimal =
        |value: &Value| value.as_str().expect("text").parse::<rust_decimal::Decimal>().expect("a number");
    for delivery in plan["deliveries"].as_array().expect("deliveries") {
        let sum: rust_decimal::Decimal =
            delivery["steps"].as_array().expect("steps").iter().map(|step| decimal(&step["amount"])).sum();
        assert_eq!(sum, decimal(&delivery["net"]));
    }
}

async fn nobody_comes_in_without_a_key_or_a_cookie(shop: &TestShop) {
    let device = Device { shop, key: "0".repeat(64) };
    for url in ["/api/v1/lots", "/api/v1/plan", "/api/v1/me"] {
        let (status, problem) = device.get(url).await;
        assert_eq!((status, &problem["type"]), (StatusCode::UNAUTHORIZED, &json!("signed-out")), "{url}");
    }
    for scheme in ["Basic eDp5", "Bearer", "Bearer ", "bearer \u{e9}"] {
        let request =
            Request::get("/api/v1/lots").header(HOST, SHOP_HOST).header(AUTHORIZATION, scheme.as_bytes());
        let page = shop.strange_phone().send(request.body(Body::empty()).expect("a request")).await;
        assert_eq!(page.status, StatusCode::UNAUTHORIZED, "{scheme}");
        assert_eq!(page.headers["www-authenticate"], "Bearer");
        assert_eq!(page.headers[CONTENT_TYPE], "application/problem+json");
    }
    // A phone's cookie does; what it sends needs the form token, too.
    assert_eq!(shop.get("/api/v1/me").await.ok().status, StatusCode::OK);
    let request = shop.phone().request("POST", "/api/v1/weighings").header(CONTENT_TYPE, "application/json");
    let page = shop.phone().send(request.body(Body::from("{}")).expect("a request")).await;
    assert_eq!(page.status, StatusCode::UNAUTHORIZED);
    let (status, problem) = Device::of(shop).await.get("/api/v1/nothing").await;
    assert_eq!((status, &problem["type"]), (StatusCode::NOT_FOUND, &json!("missing")));
}

async fn a_key_is_made_shown_once_and_taken_back(shop: &TestShop) {
    let form = shop.get("/keys").await.ok().form("form[action='/keys']");
    let page = shop.submit(form.clone().set("name", "scale on the bench")).await.ok();
    let key = page.texts("main .typed")[0].clone();
    let device = Device { shop, key };
    assert_eq!(device.get("/api/v1/me").await.1["partner"], "Imke");
    let list = shop.get("/keys").await.ok();
    assert!(list.says("scale on the bench") && !list.body.contains(&device.key));
    assert!(shop.everything().await.iter().all(|row| !row.contains(&device.key)), "only its hash is kept");
    shop.submit(list.form("form[action$='/end']")).await.ok();
    assert_eq!(device.get("/api/v1/me").await.0, StatusCode::UNAUTHORIZED);
    assert!(shop.submit(form).await.ok().text("#name-problem").contains("needed"));
    // Whoever leaves takes their keys along.
    let key = Token::random();
    let tobias = pennyweight::store::By { partner_id: shop.partners[1].id.clone(), ..shop.by() };
    shop.store.make_key(&tobias, &new_id(), "his", &key.hash()).await.expect("a key");
    let mut tx = shop.store.begin().await.expect("a transaction");
    pennyweight::store::partners::set_passphrase(&mut tx, &shop.by(), &shop.partners[0].id, "x")
        .await
        .expect("one");
    tx.commit().await.expect("kept");
    let record = shop.store.person(&shop.id, &shop.partners[1].id).await.expect("Tobias");
    shop.store.let_go(&shop.by(), &shop.partners[1].id, record.version).await.expect("he leaves");
    let device = Device { shop, key: key.text().to_string() };
    assert_eq!(device.get("/api/v1/me").await.0, StatusCode::UNAUTHORIZED);
}

async fn a_weighing_sent_twice_counts_once(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    let body = json!({ "id": new_id(), "lot": lot, "reading": "2 lb 5 oz", "pieces": 3 });
    for _ in 0..3 {
        let (status, stored) = device.post("/api/v1/weighings", &body).await;
        assert_eq!(status, StatusCode::OK, "{stored}");
        // As the shop spells masses, with spaces that no line breaks at.
        assert_eq!(stored["total"], "2\u{a0}lb\u{a0}5.0\u{a0}oz");
    }
    assert_eq!(shop.lot(&lot).await.net, mass("2 lb 5 oz"));
    let undo = format!("/api/v1/weighings/{}/undo", body["id"].as_str().expect("its id"));
    assert_eq!(device.post(&undo, &json!({})).await.1["undone"], true);
    assert_eq!(device.post(&undo, &json!({})).await.0, StatusCode::CONFLICT);
    // Sent once more after it was undone, it stays undone.
    assert_eq!(device.post("/api/v1/weighings", &body).await.1["undone"], true);
    assert!(shop.lot(&lot).await.net.is_zero());
}

async fn two_senders_at_the_same_moment_one_counts(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    for _ in 0..10 {
        let body = json!({ "id": new_id(), "lot": lot, "reading": "1 oz" });
        let send = || device.post("/api/v1/weighings", &body);
        let (a, b, c) = tokio::join!(send(), send(), send());
        assert_eq!([a.0, b.0, c.0], [StatusCode::OK; 3]);
    }
    assert_eq!(shop.lot(&lot).await.net, mass("1 oz").times(10.into()));
}

async fn an_unsure_reading_is_asked_about(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    for typed in ["2.5", "1.5 lb"] {
        let body = json!({ "id": new_id(), "lot": lot, "reading": typed });
        let (status, problem) = device.post("/api/v1/weighings", &body).await;
        assert_eq!(
            (status, &problem["type"]),
            (StatusCode::CONFLICT, &json!("unsure")),
            "{typed}: {problem}"
        );
        let meanings = problem["meanings"].as_array().expect("meanings");
        assert!(meanings.len() >= 2, "{typed}: {meanings:?}");
    }
    assert!(shop.lot(&lot).await.net.is_zero());
    let id = new_id();
    let chosen = json!({ "id": id, "lot": lot, "reading": "1.5 lb", "typed": "1.5 lb", "confirmed": true });
    assert_eq!(device.post("/api/v1/weighings", &chosen).await.0, StatusCode::OK);
    assert_eq!(shop.lot(&lot).await.net, mass("1 lb 8 oz"));
}

async fn what_cannot_be_is_refused_with_the_reason(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    for (change, field) in [
        (json!({ "reading": "3 lb 40 oz" }), "reading"),
        (json!({ "reading": "heavy" }), "reading"),
        (json!({ "reading": "" }), "reading"),
        (json!({ "tare": "5 lb" }), "tare"),
        (json!({ "tare": "x" }), "tare"),
        (json!({ "pieces": 4_000_000_000_u32 }), "pieces"),
    ] {
        let mut body = json!({ "id": new_id(), "lot": lot, "reading": "2 lb" });
        body.as_object_mut().expect("an object").extend(change.as_object().expect("one").clone());
        let (status, problem) = device.post("/api/v1/weighings", &body).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{change}: {problem}");
        assert!(problem["fields"][field].as_str().is_some_and(|words| words.len() > 10), "{problem}");
    }
    let elsewhere = json!({ "id": new_id(), "lot": new_id(), "reading": "2 lb" });
    assert_eq!(device.post("/api/v1/weighings", &elsewhere).await.0, StatusCode::NOT_FOUND);
    shop.retire_grade("copper-2").await;
    let body = json!({ "id": new_id(), "lot": lot, "reading": "2 lb" });
    let (status, problem) = device.post("/api/v1/weighings", &body).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(problem["detail"].as_str().expect("words").contains("retired"), "{problem}");
    assert!(shop.lot(&lot).await.net.is_zero());
}

async fn the_whole_container_is_weighed_against_what_was_seen(shop: &TestShop) {
    // The bag weighs two ounces empty.
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    let whole = |seen: i64, reading: &str| json!({ "id": new_id(), "lot": lot, "reading": reading, "whole_container": true, "seen_micrograms": seen });
    assert_eq!(device.post("/api/v1/weighings", &whole(0, "18 oz")).await.0, StatusCode::OK);
    assert_eq!(shop.lot(&lot).await.net, mass("1 lb"));
    // Weighed before the first one arrived, sent after it.
    let (status, problem) = device.post("/api/v1/weighings", &whole(0, "20 oz")).await;
    assert_eq!((status, &problem["type"]), (StatusCode::CONFLICT, &json!("stale")), "{problem}");
    assert_eq!(shop.lot(&lot).await.net, mass("1 lb"));
    let seen = shop.lot(&lot).await.net.micrograms();
    assert_eq!(device.post("/api/v1/weighings", &whole(seen, "20 oz")).await.0, StatusCode::OK);
    assert_eq!(shop.lot(&lot).await.net, mass("20 oz") - mass("2 oz"));
}

async fn the_time_of_a_kept_weighing_is_kept_where_it_can_be(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    let now = Timestamp::now();
    for (at, is_believed) in [
        ((now - SignedDuration::from_hours(20)).to_string(), true),
        ((now + SignedDuration::from_hours(1)).to_string(), false),
        ("1999-01-01T00:00:00Z".to_string(), false),
        ("yesterday".to_string(), false),
    ] {
        let id = new_id();
        let body = json!({ "id": id, "lot": lot, "reading": "1 oz", "at": at });
        assert_eq!(device.post("/api/v1/weighings", &body).await.0, StatusCode::OK);
        let kept = shop.store.weighing(&shop.id, &id).await.expect("the weighing").at;
        let is_now = kept.duration_since(now).abs() < SignedDuration::from_mins(10);
        assert_eq!(is_now, !is_believed, "{at}: {kept}");
    }
}

async fn a_helper_weighs_in_through_the_api_and_sees_no_money(shop: &TestShop) {
    use pennyweight::store::partners::{Partner, Role};
    let lot = shop.bag("Bag 1", "copper-2").await;
    let others = shop.put(&lot, "1 lb").await;
    let wim = Partner { id: new_id(), name: "Wim".into(), role: Role::Helper };
    shop.store.create_partner(&shop.by(), &wim).await.expect("a helper");
    let (key, by) = (Token::random(), pennyweight::store::By { partner_id: wim.id, ..shop.by() });
    shop.store.make_key(&by, &new_id(), "scale", &key.hash()).await.expect("a key");
    let device = Device { shop, key: key.text().to_string() };
    let body = json!({ "id": new_id(), "lot": lot, "reading": "1 oz" });
    assert_eq!(device.post("/api/v1/weighings", &body).await.0, StatusCode::OK);
    for url in [
        "/api/v1/plan",
        "/api/v1/prices",
        "/api/v1/outlets",
        "/api/v1/shipments",
        "/api/v1/pickups",
        "/api/v1/activity",
    ] {
        assert_eq!(device.get(url).await.0, StatusCode::FORBIDDEN, "{url}");
    }
    let undo = format!("/api/v1/weighings/{others}/undo");
    assert_eq!(device.post(&undo, &json!({})).await.0, StatusCode::FORBIDDEN);
}

async fn garbage_is_refused_and_changes_nothing(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let device = Device::of(shop).await;
    device.get("/api/v1/me").await;
    let before = shop.everything().await;
    let deep = "[".repeat(20_000);
    for body in [
        "",
        "{",
        "[]",
        "null",
        "\"x\"",
        "{\"id\": 1}",
        &format!("{{\"id\": \"x\", \"lot\": \"{lot}\", \"reading\": \"1 lb\"}}"),
        &format!("{{\"id\": \"{}\", \"lot\": \"{lot}\", \"reading\": {{}}}}", new_id()),
        &format!("{{\"id\": \"{}\", \"lot\": \"{lot}\", \"reading\": \"1 lb\", \"pieces\": -1}}", new_id()),
        &deep,
    ] {
        let page = device.send("POST", "/api/v1/weighings", Body::from(body.to_string())).await;
        assert_eq!(page.status, StatusCode::BAD_REQUEST, "{body:.60}");
    }
    let huge = device.send("POST", "/api/v1/weighings", Body::from("x".repeat(1_000_000))).await;
    assert!(huge.status.is_client_error(), "{huge}");
    assert_eq!(shop.everything().await, before);
}
