//! The shop: set it up, change its settings, and say who holds this phone.

use axum::http::header::SET_COOKIE;
use axum::http::{StatusCode, header};
use pennyweight::catalogue::GRADES;
use pennyweight::store::new_id;
use pennyweight::store::outlets::{OutletDetails, OutletKind, PostTerms};
use rust_decimal::dec;
use trade::mass::{MassStyle, MassUnit};
use trade::money::{Currency, PriceUnit};
use trade::outlet::Terms;

use crate::common::{Form, Page, SHOP_HOST, TestShop, on_both};

on_both![
    a_new_record_is_set_up,
    setting_up_is_refused_once_there_is_a_shop,
    set_up_from_both_phones_at_once_there_is_one_shop,
    a_set_up_with_something_wrong_comes_back_filled_in,
    the_settings_are_changed,
    a_cost_per_mile_is_kept_when_the_shop_changes_to_kilograms,
    what_cannot_be_a_setting_is_refused,
    two_partners_change_the_settings,
    the_home_currency_stays_once_amounts_depend_on_it,
    a_phone_is_told_who_holds_it,
    only_a_partner_of_the_shop_can_hold_a_phone,
    a_partner_is_added_once,
    the_shops_address_stands_as_a_code,
];

const SETTINGS: &str = "form[action='/shop']";

/// Empties the record, as it is on the first start.
async fn emptied(shop: &TestShop) {
    let mut connection = shop.connect().await;
    for table in ["grades", "partners", "shops"] {
        sqlx::query(sqlx::AssertSqlSafe(format!("DELETE FROM {table}")))
            .execute(&mut connection)
            .await
            .expect("nothing hangs on it");
    }
}

async fn first_form(shop: &TestShop) -> Form {
    let page = shop.get("/").await.ok();
    assert_eq!(page.url, "/shop/new", "a new record leads to its first page");
    page.form("form[action='/shop/new']")
        .set("partner_1", "Ada")
        .set("partner_2", "Bo")
        .set("home", "cad")
        .set("name", "Harbour Scrap")
        .set("zone", "America/Toronto")
        .set("style", "kilograms")
        .set("labour", "22.50")
        .set("truck", "0,40")
        .set("truck_distance", "km")
        .set("capital", "9")
        .set("risk", "4.5")
}

async fn a_new_record_is_set_up(shop: &TestShop) {
    emptied(shop).await;
    let defaults = shop.get("/shop/new").await.ok().form("form");
    for (field, value) in
        [("home", "USD"), ("style", "pounds-ounces"), ("truck_distance", "mile"), ("capital", "10")]
    {
        assert_eq!(defaults.value(field), value);
    }
    let page = shop.submit(first_form(shop).await).await.ok();
    assert_eq!((page.url.as_str(), page.text(".top .shop").as_str()), ("/", "Harbour Scrap"));
    assert_eq!(page.text(".top .who"), "On this phone: Ada");

    let stored = shop.store.first_shop().await.expect("readable").expect("a shop");
    assert_eq!(stored.zone.iana_name(), Some("America/Toronto"));
    assert_eq!(stored.style, MassStyle::Kilograms);
    let costs = &stored.costs;
    assert_eq!(
        (costs.home, costs.labour_per_hour, costs.truck_per_km),
        (Currency::CAD, dec!(22.50), dec!(0.40))
    );
    assert_eq!((costs.capital_per_year.get(), costs.risk_per_year.get()), (dec!(0.09), dec!(0.045)));
    let partners = shop.store.partners(&stored.id).await.expect("partners");
    assert_eq!(partners.iter().map(|partner| partner.name.as_str()).collect::<Vec<_>>(), ["Ada", "Bo"]);
    assert_eq!(shop.store.grades(&stored.id).await.expect("grades").len(), GRADES.len());
}

async fn setting_up_is_refused_once_there_is_a_shop(shop: &TestShop) {
    assert_eq!(shop.get("/shop/new").await.ok().url, "/");
    emptied(shop).await;
    let form = first_form(shop).await;
    shop.submit(form.clone()).await.ok();
    for late in [form.clone(), form.forge("shop_id", &new_id()).set("name", "Another")] {
        let page = shop.submit(late).await.ok();
        assert_eq!((page.url.as_str(), page.text(".top .shop").as_str()), ("/", "Harbour Scrap"));
    }
    assert_eq!(count(shop, "SELECT COUNT(*) FROM shops").await, 1);
    assert_eq!(count(shop, "SELECT COUNT(*) FROM partners").await, 2);
}

async fn count(shop: &TestShop, sql: &'static str) -> i64 {
    let mut connection = shop.connect().await;
    sqlx::query_scalar(sql).fetch_one(&mut connection).await.expect("a count")
}

async fn set_up_from_both_phones_at_once_there_is_one_shop(shop: &TestShop) {
    emptied(shop).await;
    let other = shop.phone_of(&shop.partners[1]);
    let mine = first_form(shop).await;
    let theirs = first_form(shop).await.set("name", "Another").set("partner_1", "Cleo").set("partner_2", "");
    let (first, second) = tokio::join!(shop.submit(mine), other.submit(theirs));
    assert_eq!(count(shop, "SELECT COUNT(*) FROM shops").await, 1);
    // The later one is led to the shop, or asked to try again.
    for page in [&first, &second] {
        assert!(page.url == "/" || page.status == StatusCode::SERVICE_UNAVAILABLE, "{page}");
    }
    assert!([&first, &second].iter().any(|page| page.status == StatusCode::OK));
    let name = shop.get("/").await.ok().text(".top .shop");
    let partners = count(shop, "SELECT COUNT(*) FROM partners").await;
    assert_eq!(partners, if name == "Another" { 1 } else { 2 }, "nothing of the other is left over");
}

async fn a_set_up_with_something_wrong_comes_back_filled_in(shop: &TestShop) {
    emptied(shop).await;
    for (field, value, problem) in [
        ("name", "", "needed"),
        ("partner_1", "", "needed"),
        ("partner_2", "Ada", "different names"),
        ("home", "dollars", "not a currency code"),
        ("zone", "Lake Town", "no time zone"),
        ("labour", "-1", "between"),
        ("capital", "101", "between"),
    ] {
        let back = shop.submit(first_form(shop).await.set(field, value)).await.ok();
        let said = back.text(&format!("#{field}-problem"));
        assert!(said.contains(problem), "{field} {value}: {said}");
        let form = back.form("form[action='/shop/new']");
        assert_eq!((form.value(field), form.value("labour").is_empty()), (value, false));
    }
    assert_eq!(count(shop, "SELECT COUNT(*) FROM shops").await, 0, "nothing is half set up");
    assert_eq!(count(shop, "SELECT COUNT(*) FROM grades").await, 0);
    let cut = shop.submit(first_form(shop).await.forge("shop_id", "1")).await;
    assert_eq!(cut.status, StatusCode::BAD_REQUEST);
}

async fn the_settings_are_changed(shop: &TestShop) {
    let page = shop.get("/shop").await.ok();
    let form = page.form(SETTINGS);
    // 0.42 USD/km × 1.609344 km in a mile (NIST SP 811) = 0.67592448.
    assert_eq!((form.value("truck"), form.value("truck_distance")), ("0.675924", "mile"));
    assert_eq!((form.value("capital"), form.value("risk")), ("10", "8"));
    let form = form.set("name", "Harbour Scrap").set("zone", "america/new york").set("truck", "0.70");
    let page = shop.submit(form).await.ok();
    assert_eq!((page.url.as_str(), page.text(".top .shop").as_str()), ("/shop", "Harbour Scrap"));
    assert_eq!(page.form(SETTINGS).value("zone"), "America/New_York");
    assert_eq!(page.form(SETTINGS).value("truck"), "0.7");
    let stored = shop.store.first_shop().await.expect("readable").expect("a shop");
    assert_eq!((stored.costs.truck_per_km * dec!(1.609344)).round_dp(12), dec!(0.7));
}

async fn a_cost_per_mile_is_kept_when_the_shop_changes_to_kilograms(shop: &TestShop) {
    let form = shop.get("/shop").await.ok().form(SETTINGS);
    let page = shop.submit(form.set("truck", "0.70").set("style", "kilograms")).await.ok();
    // 0.70 a mile / 1.609344 km in a mile (NIST SP 811) = 0.4349598… a kilometre.
    let form = page.form(SETTINGS);
    assert_eq!((form.value("truck"), form.value("truck_distance")), ("0.43496", "km"));
}

async fn what_cannot_be_a_setting_is_refused(shop: &TestShop) {
    for (field, value, problem) in [
        ("name", "", "needed"),
        ("name", &*"x".repeat(41), "40 is the most"),
        ("zone", "Mars/Olympus", "no time zone"),
        ("home", "XX", "not a currency code"),
        ("labour", "abc", "not a number"),
        ("truck", "1000000001", "between"),
        ("risk", "-1", "between"),
    ] {
        let back = shop.submit(shop.get("/shop").await.ok().form(SETTINGS).set(field, value)).await.ok();
        let said = back.text(&format!("#{field}-problem"));
        assert!(said.contains(problem), "{field} {value}: {said}");
        assert_eq!(back.form(SETTINGS).value(field), value);
    }
    for (field, value) in [("style", "stones"), ("truck_distance", "league")] {
        let form = shop.get("/shop").await.ok().form(SETTINGS).forge(field, value);
        assert_eq!(shop.submit(form).await.ok().text(&format!("#{field}-problem")), "Choose one.");
    }
    assert_eq!(shop.store.first_shop().await.expect("readable").expect("a shop").version, 1);
}

async fn two_partners_change_the_settings(shop: &TestShop) {
    let mine = shop.get("/shop").await.ok().form(SETTINGS).set("labour", "20");
    let theirs = shop.get("/shop").await.ok().form(SETTINGS).set("labour", "25");
    shop.phone_of(&shop.partners[1]).submit(theirs).await.ok();
    let told = shop.submit(mine).await.ok();
    assert!(told.text("[role=alert]").contains("Changed meanwhile"));
    assert_eq!(told.texts(".stored"), ["Stored now: 25"]);
    let page = shop.submit(told.form(SETTINGS)).await.ok();
    assert_eq!(page.form(SETTINGS).value("labour"), "20");
}

async fn the_home_currency_stays_once_amounts_depend_on_it(shop: &TestShop) {
    let page = shop.submit(shop.get("/shop").await.ok().form(SETTINGS).set("home", "EUR")).await.ok();
    assert_eq!(page.form(SETTINGS).value("home"), "EUR", "nothing depends on it yet");
    let opened_before = page.form(SETTINGS);

    let details = OutletDetails {
        name: "Dockside Metals".into(),
        place: "the harbour".into(),
        currency: Currency::EUR,
        usual_unit: PriceUnit::Mass(MassUnit::Kilogram),
        note: String::new(),
        kind: OutletKind::MailIn(PostTerms::default()),
        terms: Terms::default(),
    };
    shop.store.create_outlet(&shop.id, &new_id(), &details).await.expect("an outlet");
    assert!(shop.get("/shop").await.ok().has("#home[readonly]"));
    let refused = shop.submit(opened_before.set("home", "CHF")).await.ok();
    assert!(refused.text("#home-problem").contains("can only be changed before"));
    assert_eq!(shop.store.first_shop().await.expect("readable").expect("a shop").costs.home, Currency::EUR);
    // Everything else still can be.
    let form = shop.get("/shop").await.ok().form(SETTINGS).set("name", "Harbour Scrap");
    assert_eq!(shop.submit(form).await.ok().text(".top .shop"), "Harbour Scrap");
}

async fn a_phone_is_told_who_holds_it(shop: &TestShop) {
    let page = shop.get("/shop").await.ok();
    assert!(page.text("#who").contains("It has not been said yet."));
    let form = page.form("form[action='/shop/who']").set("partner", &shop.partners[1].id);
    let answer = shop.phone().send(shop.phone().posted(form)).await;
    let cookie = answer.headers.get(SET_COOKIE).and_then(|cookie| cookie.to_str().ok()).expect("a cookie");
    let attributes: Vec<_> = cookie.split("; ").collect();
    assert_eq!(attributes[0], format!("partner={}", shop.partners[1].id));
    for attribute in ["Max-Age=31536000", "Path=/", "HttpOnly", "SameSite=Lax"] {
        assert!(attributes.contains(&attribute), "{cookie}");
    }
    let page = shop.get("/shop").await.ok();
    assert_eq!(page.text(".top .who"), "On this phone: Tobias");
    assert!(!page.says("It has not been said yet."));
    // What is entered now goes under that name.
    let lot = shop.bag("Bag 1", "copper-2").await;
    let echo = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = shop.submit(echo.form("form[action$='/weigh'].ticket").set("reading", "1 lb")).await.ok();
    assert!(shop.submit(echo.form("form[action$='/weighings']")).await.ok().says("Tobias,"));
}

async fn only_a_partner_of_the_shop_can_hold_a_phone(shop: &TestShop) {
    for forged in [new_id(), String::new(), format!("{}; Domain=evil.example", shop.partners[0].id)] {
        let form = shop.get("/shop").await.ok().form("form[action='/shop/who']").forge("partner", &forged);
        let answer: Page = shop.submit(form).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{forged}");
        assert!(!answer.headers.contains_key(header::SET_COOKIE));
    }
}

async fn a_partner_is_added_once(shop: &TestShop) {
    let add = "form[action='/shop/partners']";
    let form = shop.get("/shop").await.ok().form(add).set("partner_name", "Cleo");
    let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form));
    for page in [first, second] {
        assert!(!page.has("[role=alert]"), "the form sent twice is no second partner of that name");
        assert_eq!(page.ok().texts("#who label"), ["Cleo", "Imke", "Tobias"]);
    }
    for (name, problem) in [("Imke", "of that name already"), ("  ", "needed")] {
        let back = shop.submit(shop.get("/shop").await.ok().form(add).set("partner_name", name)).await.ok();
        assert!(back.text("#partner_name-problem").contains(problem), "{name}");
        assert_eq!(back.form(SETTINGS).value("name"), "Heron Street Salvage", "the settings are still there");
        assert_eq!(back.form(add).value("partner_name"), name);
    }
    assert_eq!(shop.store.partners(&shop.id).await.expect("partners").len(), 3);
}

async fn the_shops_address_stands_as_a_code(shop: &TestShop) {
    let page = shop.get("/shop").await.ok();
    assert!(page.has(".code[role=img] svg"));
    assert!(page.says(&format!("http://{SHOP_HOST}")));
}
