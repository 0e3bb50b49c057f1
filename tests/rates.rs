//! Exchange rates: which applies, how old is it, and where is it from?

use axum::http::StatusCode;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use pennyweight::store::outlets::{OutletDetails, OutletKind, PostTerms};
use pennyweight::store::rates::save_rates;
use pennyweight::store::{By, new_id};
use rust_decimal::{Decimal, dec};
use trade::exchange::Mid;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};
use trade::outlet::Terms;

use crate::common::{Form, Page, TestShop, on_both};

on_both![
    a_rate_is_read_back_both_ways_and_only_then_counts,
    a_rate_typed_the_wrong_way_round_can_be_turned,
    what_cannot_be_a_rate_is_refused_beside_its_field,
    a_surprising_rate_is_questioned,
    a_rate_for_the_same_day_replaces_the_first_and_says_so,
    an_old_rate_is_stamped_stale,
    a_currency_without_a_rate_is_told,
    a_european_list_is_read,
    a_canadian_list_is_read,
    what_is_wrong_with_a_list_is_told_and_the_rest_kept,
    other_files_are_refused_and_nothing_is_kept,
    the_same_list_twice_changes_nothing,
    the_word_brought_in_last_applies,
];

/// The shop's day, as the pages count it.
fn today() -> Date {
    Timestamp::now().to_zoned_datetime(TimeZone::get("America/Detroit").expect("a zone")).date()
}

/// A buyer across the border, paid in CAD.
async fn canadian_buyer(shop: &TestShop) {
    let details = OutletDetails {
        name: "Maple Boards".into(),
        place: "Sarnia".into(),
        currency: Currency::CAD,
        usual_unit: PriceUnit::Mass(MassUnit::Kilogram),
        note: String::new(),
        kind: OutletKind::MailIn(PostTerms::default()),
        terms: Terms::default(),
    };
    shop.store.create_outlet(&shop.by(), &new_id(), &details).await.expect("an outlet");
}

async fn typed(shop: &TestShop, rate: &str) -> Form {
    let page = shop.get("/rates/new").await.ok();
    page.form("form[action='/rates/new'][method=post]")
        .set("base", "USD")
        .set("quote", "CAD")
        .set("rate", rate)
}

async fn put_on_file(shop: &TestShop, form: Form) -> Page {
    let echo = shop.submit(form).await.ok();
    shop.submit(echo.form("form[action='/rates']")).await.ok()
}

async fn mid(shop: &TestShop, from: Currency, to: Currency) -> Option<Mid> {
    shop.store.rate_book(&shop.id).await.expect("the rates").mid(from, to, today())
}

async fn a_rate_is_read_back_both_ways_and_only_then_counts(shop: &TestShop) {
    canadian_buyer(shop).await;
    let form = shop.get("/rates/new").await.ok().form("form[action='/rates/new']");
    assert_eq!((form.value("base"), form.value("quote")), ("USD", "CAD"), "the shop's own pair is offered");
    assert_eq!(form.value("date"), today().to_string());

    let echo = shop.submit(typed(shop, "1,25").await).await.ok();
    assert_eq!(echo.texts(".figure"), ["1 USD = 1.25 CAD", "so 1 CAD = 0.8 USD"]);
    assert_eq!(mid(shop, Currency::USD, Currency::CAD).await, None, "nothing counts before it was read back");

    let page = shop.submit(echo.form("form[action='/rates']")).await.ok();
    assert_eq!(page.url, "/rates");
    assert_eq!(page.texts("li .figure"), ["1 CAD = 0.8 USD"], "what the buyer's dollar is worth at home");
    assert!(page.text("li a.ticket").contains("1 USD = 1.25 CAD") && page.says("typed, Imke"));
    assert!(!page.says("stale"));
    let applies = mid(shop, Currency::CAD, Currency::USD).await.expect("a rate");
    assert_eq!((applies.rate, applies.date), (dec!(0.8), Some(today())));
    let history = shop.get("/rates/USD/CAD").await.ok();
    assert!(history.text("tbody tr").contains("1 USD = 1.25 CAD 1 CAD = 0.8 USD"));
    assert_eq!(shop.get("/rates/USD/XYZ").await.status, StatusCode::NOT_FOUND);
}

async fn a_rate_typed_the_wrong_way_round_can_be_turned(shop: &TestShop) {
    let echo = shop.submit(typed(shop, "0.8").await).await.ok();
    let turned = shop.submit(echo.form("form[action='/rates/new'].ticket")).await.ok();
    assert_eq!(turned.texts(".figure"), ["1 CAD = 0.8 USD", "so 1 USD = 1.25 CAD"]);
    let again = shop.submit(turned.form("form[method=get]")).await.ok().form("form[action='/rates/new']");
    assert_eq!((again.value("base"), again.value("quote"), again.value("rate")), ("CAD", "USD", "0.8"));
}

async fn what_cannot_be_a_rate_is_refused_beside_its_field(shop: &TestShop) {
    let tomorrow = today().tomorrow().expect("a day").to_string();
    for (field, value, problem) in [
        ("rate", "", "A number is needed"),
        ("rate", "abc", "not a number"),
        ("rate", "0", "between"),
        ("rate", "-1.2", "between"),
        ("rate", "10000001", "between"),
        ("rate", "0.00000001", "between"),
        ("rate", "99999999999999999999999", "between"),
        ("base", "US", "not a currency code"),
        ("quote", "ZZZ", "not a currency code"),
        ("quote", "usd", "two different currencies"),
        ("date", "", "A date is needed"),
        ("date", "12/05/2026", "not a date"),
        ("date", "1999-12-31", "too long ago"),
        ("date", tomorrow.as_str(), "still to come"),
    ] {
        let form = typed(shop, "1.25").await.set(field, value);
        // The figure is the same whether it is read back or sent past that.
        let mut direct = form.clone();
        direct.action = "/rates".into();
        for form in [form, direct] {
            let back = shop.submit(form).await.ok();
            let said = back.text(&format!("#{field}-problem"));
            assert!(said.contains(problem), "{field} {value}: {said}");
            assert_eq!(back.form("form[action='/rates/new']").value(field), value);
        }
    }
    assert_eq!(shop.store.rates(&shop.id).await.expect("rates"), []);
}

async fn a_surprising_rate_is_questioned(shop: &TestShop) {
    put_on_file(shop, typed(shop, "1.25").await).await;
    assert!(!shop.submit(typed(shop, "1.30").await).await.ok().has("[role=alert]"));
    // 0.8 / 1.25 = 0.64, 36 % below.
    let echo = shop.submit(typed(shop, "0.8").await).await.ok();
    assert!(echo.text("[role=alert]").contains("36 % below the newest on file, 1.25 CAD of"));
    let echo = shop.submit(typed(shop, "12.5").await).await.ok();
    assert!(echo.text("[role=alert]").contains("900 % above"));
}

async fn a_rate_for_the_same_day_replaces_the_first_and_says_so(shop: &TestShop) {
    put_on_file(shop, typed(shop, "1.25").await).await;
    let echo = shop.submit(typed(shop, "1.28").await).await.ok();
    assert!(echo.text(".notice").contains("1 USD = 1.25 CAD (typed)"), "{}", echo.text(".notice"));
    // Sent twice it is there once.
    let form = echo.form("form[action='/rates']");
    shop.submit(form.clone()).await.ok();
    shop.submit(form).await.ok();
    let rates = shop.store.rates(&shop.id).await.expect("rates");
    assert_eq!(rates.iter().map(|record| record.rate.rate).collect::<Vec<_>>(), [dec!(1.28)]);
}

async fn an_old_rate_is_stamped_stale(shop: &TestShop) {
    canadian_buyer(shop).await;
    let day = |ago: i32| today().checked_sub(ago.days()).expect("a day").to_string();
    put_on_file(shop, typed(shop, "1.20").await.set("date", &day(30))).await;
    let page = put_on_file(shop, typed(shop, "1.25").await.set("date", &day(8))).await;
    assert_eq!(page.texts(".stamp"), ["stale", "stale"], "where it applies and where it is on file");
    assert!(page.says("8 days ago"));
    assert_eq!(page.texts("li a.ticket").len(), 1, "only the newest of the pair");
    assert_eq!(shop.get("/rates/USD/CAD").await.ok().texts("tbody tr").len(), 2);
    let form = shop.get(&page.link("Type a newer one")).await.ok().form("form[action='/rates/new']");
    assert_eq!((form.value("base"), form.value("quote")), ("CAD", "USD"));

    let page = put_on_file(shop, typed(shop, "1.26").await.set("date", &day(7))).await;
    assert!(!page.has(".stamp"), "a week is not stale yet");
}

async fn a_currency_without_a_rate_is_told(shop: &TestShop) {
    assert!(shop.get("/rates").await.ok().says("deals in USD alone"));
    canadian_buyer(shop).await;
    let page = shop.get("/rates").await.ok();
    assert!(page.text(".ticket.wrong").contains("No rate for CAD."));
    let form = shop.get(&page.link("Type one for CAD")).await.ok().form("form[action='/rates/new']");
    assert_eq!((form.value("base"), form.value("quote")), ("CAD", "USD"));
}

async fn upload(shop: &TestShop, bytes: impl Into<Vec<u8>>) -> Page {
    let form = shop.get("/rates/lists").await.ok().form("form[enctype]");
    shop.submit(form.attach("list", "rates.csv", "text/csv", bytes)).await
}

// The two layouts are described, with where they were seen, in `intake::rates`; the figures here are invented.
async fn a_european_list_is_read(shop: &TestShop) {
    canadian_buyer(shop).await;
    let (day, before) = (today(), today().yesterday().expect("a day"));
    let page = upload(
        shop,
        format!("Date,USD,JPY,CYP,CAD,\n{day},1.20,150,N/A,1.50,\n{before},1.19,150,N/A,N/A,\n2001-01-02,1,1,1,1,\n"),
    )
    .await
    .ok();
    assert_eq!(page.text(".figure"), "3 rates put on file");
    assert_eq!(page.texts(".chosen li").len(), 2, "the newest of each pair");
    assert!(page.says("1 day from before") && page.says("CYP"));
    // Through the euro: 1 USD is 1/1.20 EUR, and that is 1.50/1.20 = 1.25 CAD.
    let applies = mid(shop, Currency::USD, Currency::CAD).await.expect("a rate").rate;
    assert_eq!(applies.round_dp(12), Decimal::new(125, 2));
    assert!(shop.get("/rates").await.ok().says("European Central Bank"));
    assert_eq!(shop.get("/rates").await.ok().text("li .figure"), "1 CAD = 0.8 USD");
}

async fn a_canadian_list_is_read(shop: &TestShop) {
    canadian_buyer(shop).await;
    let page = upload(
        shop,
        format!(
            "\"TERMS AND CONDITIONS\"\n\"https://www.bankofcanada.ca/terms/\"\n\n\"SERIES\"\n\
             \"id\",\"label\",\"description\"\n\"FXUSDCAD\",\"USD/CAD\",\"US dollar to Canadian dollar\"\n\n\
             \"OBSERVATIONS\"\n\"date\",\"FXAUDCAD\",\"FXUSDCAD\"\n\"{}\",\"0.90\",\"1.25\"\n",
            today()
        ),
    )
    .await
    .ok();
    assert_eq!(page.text(".figure"), "1 rate put on file");
    assert_eq!(mid(shop, Currency::CAD, Currency::USD).await.expect("a rate").rate, dec!(0.8));
    assert_eq!(mid(shop, Currency::AUD, Currency::CAD).await, None, "nobody here deals in AUD");
}

async fn what_is_wrong_with_a_list_is_told_and_the_rest_kept(shop: &TestShop) {
    canadian_buyer(shop).await;
    let (day, tomorrow) = (today(), today().tomorrow().expect("a day"));
    let rubbish = "rubbish,1,2,\n".repeat(20);
    let list =
        format!("Date,USD,GBP,\n{day},1.20,0.9,\n{tomorrow},1.20,0.9,\n{day},<i>x</i>,0.9,\n{rubbish}");
    let page = upload(shop, list).await.ok();
    assert_eq!(page.text(".figure"), "1 rate put on file");
    let slips = page.text(".attention");
    assert!(slips.starts_with("22 lines could not be used"), "{slips}");
    assert!(slips.contains("Line 3:") && slips.contains("still to come"), "{slips}");
    assert!(slips.contains("Line 4: “<i>x</i>” under USD is not a rate."), "{slips}");
    assert!(slips.contains("And 12 more."), "{slips}");
    assert!(page.says("The bank does not quote CAD."));
}

async fn other_files_are_refused_and_nothing_is_kept(shop: &TestShop) {
    for (bytes, problem) in [
        (Vec::new(), "Choose a file first"),
        (b"  \n".to_vec(), "The file is empty"),
        (b"Grade,Price\nNo. 1 copper,3.10\n".to_vec(), "No line in it is the header"),
        (b"PK\x03\x04\x14\x00\x00\x00".to_vec(), "No line in it is the header"),
        (vec![b'1'; 4 * 1024 * 1024 + 1], "larger than 4 MB"),
        (vec![b'1'; 5 * 1024 * 1024], "larger than 4 MB"),
        (b"Date,USD,USD\n".to_vec(), "USD twice"),
    ] {
        let page = upload(shop, bytes).await.ok();
        assert!(page.text("[role=alert]").contains("Nothing was put on file"));
        let said = page.text("#list-problem");
        assert!(said.contains(problem), "{said}");
    }
    let mut plain = shop.get("/rates/lists").await.ok().form("form[enctype]");
    plain.is_multipart = false;
    assert!(shop.submit(plain).await.ok().text("#list-problem").contains("did not arrive whole"));
    assert_eq!(shop.store.rates(&shop.id).await.expect("rates"), []);
}

async fn the_same_list_twice_changes_nothing(shop: &TestShop) {
    let list = format!("Date,USD,\n{},1.20,\n", today());
    upload(shop, list.clone()).await.ok();
    upload(shop, list).await.ok();
    assert_eq!(shop.store.rates(&shop.id).await.expect("rates").len(), 1);
}

async fn the_word_brought_in_last_applies(shop: &TestShop) {
    // The same day, once each way round, and they disagree.
    put_on_file(shop, typed(shop, "1.20").await).await;
    put_on_file(shop, typed(shop, "0.8").await.set("base", "CAD").set("quote", "USD")).await;
    assert_eq!(mid(shop, Currency::USD, Currency::CAD).await.expect("a rate").rate, dec!(1.25));

    let mut tx = shop.store.begin().await.expect("a transaction");
    let rate =
        trade::exchange::Rate { date: today(), base: Currency::USD, quote: Currency::CAD, rate: dec!(1.28) };
    let by = By { partner_id: shop.partners[1].id.clone(), ..shop.by() };
    save_rates(&mut tx, &by, &[rate], "a list").await.expect("saved");
    tx.commit().await.expect("committed");
    assert_eq!(mid(shop, Currency::USD, Currency::CAD).await.expect("a rate").rate, dec!(1.28));
    let newest = &shop.store.rates(&shop.id).await.expect("rates")[0];
    assert_eq!((newest.source.as_str(), newest.partner_name.as_str()), ("a list", "Tobias"));
}
