//! The shop: set it up, and change its settings.

use axum::http::StatusCode;
use jiff::{SignedDuration, Timestamp};
use pennyweight::catalogue::GRADES;
use pennyweight::secret::Code;
use pennyweight::store::codes::Purpose;
use pennyweight::store::new_id;
use pennyweight::store::outlets::{OutletDetails, OutletKind, PostTerms};
use rust_decimal::dec;
use trade::mass::{MassStyle, MassUnit};
use trade::money::{Currency, PriceUnit};
use trade::outlet::Terms;

use crate::common::{Form, PASSPHRASE, SHOP_HOST, TestShop, on_both};

on_both![
    a_new_record_is_set_up,
    only_who_has_the_code_sets_a_shop_up,
    a_shop_is_set_up_once_with_a_code,
    set_up_from_both_phones_at_once_there_is_one_shop,
    a_set_up_with_something_wrong_comes_back_filled_in,
    the_settings_are_changed,
    a_cost_per_mile_is_kept_when_the_shop_changes_to_kilograms,
    what_cannot_be_a_setting_is_refused,
    two_partners_change_the_settings,
    the_home_currency_stays_once_amounts_depend_on_it,
    the_shops_address_stands_as_a_code,
];

const SETTINGS: &str = "form[action='/shop']";

/// Empties the record, as it is on the first start.
async fn emptied(shop: &TestShop) {
    let mut connection = shop.connect().await;
    for table in ["activity", "sessions", "codes", "tries", "grades", "partners", "diverted_books", "shops"] {
        sqlx::query(sqlx::AssertSqlSafe(format!("DELETE FROM {table}")))
            .execute(&mut connection)
            .await
            .expect("nothing hangs on it");
    }
}

/// The page that the code printed at the start opens, with everything typed in.
async fn first_form(shop: &TestShop) -> Form {
    let code = Code::random();
    let (now, lasts) = (Timestamp::now(), Purpose::SetUp.lasts());
    shop.store.make_code(&code.hash(), Purpose::SetUp, None, now, lasts).await.expect("a code");
    let page = shop.get(&format!("/shop/new?code={code}")).await.ok();
    page.form("form[action='/shop/new']")
        .set("partner_1", "Ada")
        .set("partner_2", "Bo")
        .set("passphrase", PASSPHRASE)
        .set("passphrase_again", PASSPHRASE)
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
    let page = shop.submit(first_form(shop).await).await.ok();
    assert_eq!((page.url.as_str(), page.text(".top .shop").as_str()), ("/", "Harbour Scrap"));
    assert_eq!(page.text(".top .who"), "On this phone: Ada");

    let stored = shop.store.shops().await.expect("readable").remove(0);
    assert_eq!(stored.zone.iana_name(), Some("America/Toronto"));
    assert_eq!(stored.style, MassStyle::Kilograms);
    let costs = &stored.costs;
    assert_eq!(
        (costs.home, costs.labour_per_hour, costs.truck_per_km),
        (Currency::CAD, dec!(22.50), dec!(0.40))
    );
    assert_eq!((costs.capital_per_year.get(), costs.risk_per_year.get()), (dec!(0.09), dec!(0.045)));
    let partners = shop.store.people(&stored.id).await.expect("partners");
    assert_eq!(partners.iter().map(|record| record.partner.name.as_str()).collect::<Vec<_>>(), ["Ada", "Bo"]);
    assert_eq!(partners.iter().map(|record| record.can_sign_in).collect::<Vec<_>>(), [true, false]);
    assert_eq!(shop.store.grades(&stored.id).await.expect("grades").len(), GRADES.len());
}

async fn only_who_has_the_code_sets_a_shop_up(shop: &TestShop) {
    emptied(shop).await;
    let asked = shop.get("/").await.ok();
    assert_eq!(asked.url, "/shop/new", "a new record leads to its first page");
    assert!(asked.says("it printed a code when it started"));
    for wrong in ["7K4M-Q2TD-0XHV", "x", "%27%20OR%201=1"] {
        let page = shop.get(&format!("/shop/new?code={wrong}")).await.ok();
        assert!(page.text("#code-problem").contains("not good"), "{wrong}");
        assert!(!page.has("#partner_1"));
    }
    let form = first_form(shop).await;
    let page = shop.submit(form.clone().forge("code", "7K4M-Q2TD-0XHV")).await.ok();
    assert!(page.text("#code-problem").contains("not good"));
    let (now, hash) = (Timestamp::now(), Code::typed(form.value("code")).expect("a code").hash());
    assert!(shop.store.code(&hash, now + SignedDuration::from_hours(23)).await.expect("readable").is_some());
    assert!(shop.store.code(&hash, now + SignedDuration::from_hours(25)).await.expect("readable").is_none());
    assert_eq!(count(shop, "SELECT COUNT(*) FROM shops").await, 0);
    // Guessing on stops being answered.
    for _ in 0..40 {
        shop.get("/shop/new?code=7K4M-Q2TD-0XHV").await.ok();
    }
    let page = shop.get(&format!("/shop/new?code={}", form.value("code"))).await.ok();
    assert!(page.text("#code-problem").contains("Too many tries"));
}

async fn a_shop_is_set_up_once_with_a_code(shop: &TestShop) {
    assert_eq!(shop.get("/shop/new").await.ok().url, "/");
    emptied(shop).await;
    let form = first_form(shop).await;
    shop.submit(form.clone()).await.ok();
    let again = shop.submit(form.clone()).await.ok();
    assert_eq!((again.url.as_str(), again.text(".top .shop").as_str()), ("/", "Harbour Scrap"), "sent twice");
    let late = shop.submit(form.forge("shop_id", &new_id()).set("name", "Another")).await.ok();
    assert!(late.text("#code-problem").contains("used already"));
    assert_eq!(count(shop, "SELECT COUNT(*) FROM shops").await, 1);
    assert_eq!(count(shop, "SELECT COUNT(*) FROM partners").await, 2);
}

async fn count(shop: &TestShop, sql: &'static str) -> i64 {
    let mut connection = shop.connect().await;
    sqlx::query_scalar(sql).fetch_one(&mut connection).await.expect("a count")
}

async fn set_up_from_both_phones_at_once_there_is_one_shop(shop: &TestShop) {
    emptied(shop).await;
    let other = shop.strange_phone();
    let mine = first_form(shop).await;
    let theirs = mine.clone().forge("shop_id", &new_id()).set("name", "Another").set("partner_1", "Cleo");
    let theirs = theirs.forge("partner_id_1", &new_id()).set("partner_2", "");
    let (first, second) = tokio::join!(shop.submit(mine), other.submit(theirs));
    assert_eq!(count(shop, "SELECT COUNT(*) FROM shops").await, 1);
    // The later one is led to where the shop's phones sign in.
    let urls = [first.ok().url, second.ok().url];
    assert!(urls.contains(&"/".to_string()) && urls.contains(&"/sign-in".to_string()), "{urls:?}");
    let partners = count(shop, "SELECT COUNT(*) FROM partners").await;
    let name = shop.store.shops().await.expect("readable").remove(0).name;
    assert_eq!(partners, if name == "Another" { 1 } else { 2 }, "nothing of the other is left over");
}

async fn a_set_up_with_something_wrong_comes_back_filled_in(shop: &TestShop) {
    emptied(shop).await;
    for (field, value, problem) in [
        ("name", "", "needed"),
        ("partner_1", "", "needed"),
        ("partner_2", "ada", "different names"),
        ("passphrase", "kettle", "too short"),
        ("passphrase", "Harbour Scrap", "guessed soon"),
        ("home", "dollars", "not a currency code"),
        ("zone", "Lake Town", "no time zone"),
        ("labour", "-1", "between"),
        ("capital", "101", "between"),
    ] {
        let mut form = first_form(shop).await.set(field, value);
        if field == "passphrase" {
            form = form.set("passphrase_again", value);
        }
        let back = shop.submit(form).await.ok();
        let said = back.text(&format!("#{field}-problem"));
        assert!(said.contains(problem), "{field} {value}: {said}");
        let form = back.form("form[action='/shop/new']");
        assert_eq!(form.value(field), if field == "passphrase" { "" } else { value });
        assert!(!form.value("labour").is_empty() && !form.value("code").is_empty());
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
    let stored = shop.store.shops().await.expect("readable").remove(0);
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
    assert_eq!(shop.store.shops().await.expect("readable").remove(0).version, 1);
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
    shop.store.create_outlet(&shop.by(), &new_id(), &details).await.expect("an outlet");
    assert!(shop.get("/shop").await.ok().has("#home[readonly]"));
    let refused = shop.submit(opened_before.set("home", "CHF")).await.ok();
    assert!(refused.text("#home-problem").contains("can only be changed before"));
    assert_eq!(shop.store.shops().await.expect("readable").remove(0).costs.home, Currency::EUR);
    // Everything else still can be.
    let form = shop.get("/shop").await.ok().form(SETTINGS).set("name", "Harbour Scrap");
    assert_eq!(shop.submit(form).await.ok().text(".top .shop"), "Harbour Scrap");
}

async fn the_shops_address_stands_as_a_code(shop: &TestShop) {
    let page = shop.get("/shop").await.ok();
    assert!(page.has(".code[role=img] svg"));
    assert!(page.says(&format!("http://{SHOP_HOST}")));
}
