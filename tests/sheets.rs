//! Price sheets: a file or pasted text is read, reviewed line by line, confirmed and kept as history.

use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use jiff::ToSpan;
use pennyweight::store::outlets::OutletDetails;
use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, OutletId};
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, Price, PriceUnit};

use crate::common::{Form, Page, TestShop, market, on_both};

on_both![
    a_csv_is_read_reviewed_and_confirmed,
    what_a_wording_means_is_remembered_for_that_outlet_alone,
    none_of_ours_is_remembered_and_left_out_this_time_is_not,
    pasted_lines_are_read,
    tiers_and_charges_are_kept,
    a_price_put_right_in_the_review_is_what_is_saved,
    a_price_per_kilogram_on_a_sheet_per_pound_is_asked_about_and_put_right_with_one_tap,
    a_price_that_moved_is_asked_about,
    a_grade_that_the_new_sheet_lacks_is_named,
    a_unit_for_the_whole_sheet_is_answered_once,
    a_price_in_another_currency_is_kept_but_not_counted,
    a_price_that_is_no_number_comes_back_as_it_was_typed,
    a_sheet_of_a_thousand_lines_is_reviewed_page_by_page,
    the_same_file_again_says_when_it_was_read,
    the_same_file_for_the_same_day_is_saved_once,
    the_upload_sent_twice_makes_one_draft,
    an_older_sheet_is_history_and_a_later_one_waits,
    a_draft_outlives_the_page_and_is_thrown_away_with_its_file,
    confirmed_in_another_tab,
    answered_in_another_tab,
    the_grade_was_retired_meanwhile,
    the_outlet_was_closed_meanwhile,
    nothing_to_read_is_said_beside_the_field,
    a_download_is_never_opened_in_place,
];

/// A yard that quotes in `currency` per `unit`.
async fn yard(shop: &TestShop, name: &str, currency: Currency, unit: MassUnit) -> OutletId {
    let details = OutletDetails { currency, usual_unit: PriceUnit::Mass(unit), ..market::yard(name, 12, 60) };
    shop.outlet(&details, &[]).await
}

pub async fn lakeside(shop: &TestShop) -> OutletId {
    yard(shop, "Lakeside Metals", Currency::USD, MassUnit::Pound).await
}

/// Chooses a file on the upload page.
pub async fn chosen(shop: &TestShop, outlet: &OutletId, name: &str, bytes: impl Into<Vec<u8>>) -> Form {
    let page = shop.get("/sheets/new").await.ok();
    page.form("form.ticket").set("outlet", outlet.as_str()).attach(
        "file",
        name,
        "application/octet-stream",
        bytes,
    )
}

/// Uploads a file and comes back with the review, or with the form and what is wrong.
pub async fn upload(shop: &TestShop, outlet: &OutletId, name: &str, bytes: impl Into<Vec<u8>>) -> Page {
    shop.submit(chosen(shop, outlet, name, bytes).await).await
}

async fn paste(shop: &TestShop, outlet: &OutletId, text: &str) -> Page {
    let page = shop.get("/sheets/new").await.ok();
    shop.submit(page.form("form.ticket").set("outlet", outlet.as_str()).set("text", text)).await
}

pub const REVIEW: &str = "main form[action^='/sheets/drafts/']";

/// Presses a button of the review.
async fn press(shop: &TestShop, review: &Page, words: &str) -> Page {
    shop.submit(review.form(REVIEW).press(words)).await
}

/// Answers whatever is asked with “right”, without a grade with “left out this time”, and saves the sheet.
pub async fn confirm(shop: &TestShop, review: Page) -> Page {
    let mut page = review;
    for button in ["Leave out all", "All prices on this page are right"] {
        if page.says(button) {
            page = press(shop, &page, button).await.ok();
        }
    }
    press(shop, &page, "save the sheet").await.ok()
}

/// What an outlet pays for a grade today, for the smallest load.
pub async fn pays(shop: &TestShop, outlet: &OutletId, grade: &str) -> Option<Price> {
    let current = shop.store.current_quotes(&shop.id, shop.today(), None).await.expect("current quotes");
    let quotes = current.get(outlet)?.quotes.get(&GradeId::from(grade))?;
    quotes.tiers().first().map(|quote| quote.price)
}

fn per_lb(amount: Decimal) -> Option<Price> {
    Some(Price::new(amount, Currency::USD, PriceUnit::Mass(MassUnit::Pound)))
}

const CLEAN: &str = "Item,Price per lb\nBare bright copper,$4.10\nNo. 2 copper,$3.60\nYellow brass,$2.20\n";

async fn a_csv_is_read_reviewed_and_confirmed(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();

    // Clean names and units: nothing is asked, each line stands beside its source.
    assert_eq!(review.texts(".parts button"), ["To confirm 0", "Matched 3", "Left out 1"]);
    assert!(review.says("No. 2 copper | $3.60"), "{}", review.body);
    assert!(review.says("line 3"));
    assert_eq!(pays(shop, &outlet, "copper-2").await, None, "nothing counts before it is confirmed");

    let sheet = press(shop, &review, "All 3 matched are right: save the sheet").await.ok();
    assert!(sheet.says("These are the prices that count for Lakeside Metals."), "{}", sheet.text("main"));
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.60)));
    assert_eq!(pays(shop, &outlet, "brass-yellow").await, per_lb(dec!(2.20)));
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 0);

    let prices = shop.get("/prices").await.ok();
    assert_eq!(prices.texts("table.prices tbody tr th").len(), 3);
    let grade = shop.get(&prices.link("No. 2")).await.ok();
    assert!(grade.text("svg desc").contains("Lakeside Metals: 3.60"), "{}", grade.text("svg desc"));
}

async fn what_a_wording_means_is_remembered_for_that_outlet_alone(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let harbor = yard(shop, "Harbor Scrap", Currency::USD, MassUnit::Pound).await;
    let sheet = "Item,Price per lb\nShiny stuff,4.10\n";

    let review = upload(shop, &outlet, "a.csv", sheet).await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 1");
    let refused = press(shop, &review, "Keep these answers").await.ok();
    assert!(refused.says("One line is still to confirm"), "nothing is guessed");
    let form = refused.form(REVIEW);
    let form = form.set("grade-0", "copper-bright");
    let matched = shop.submit(form).await.ok();
    confirm(shop, matched).await;
    assert_eq!(pays(shop, &outlet, "copper-bright").await, per_lb(dec!(4.10)));

    // Next time it is known, however it is spelled.
    let review = upload(shop, &outlet, "b.csv", "Item,Price per lb\nSHINY  STUFF,4.20\n").await.ok();
    assert_eq!(review.texts(".parts button")[..2], ["To confirm 0", "Matched 1"]);
    assert!(review.says("as this outlet meant it before"));

    let review = upload(shop, &harbor, "c.csv", sheet).await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 1");
}

async fn none_of_ours_is_remembered_and_left_out_this_time_is_not(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let sheet = format!("{CLEAN}Zorba twitch mix,0.85\nMystery crate,0.10\n");
    let review = upload(shop, &outlet, "a.csv", sheet.clone()).await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 2");
    let form = review.form(REVIEW).set("grade-3", "-none").set("grade-4", "-later");
    let matched = shop.submit(form.press("Keep these answers")).await.ok();
    let saved = confirm(shop, matched).await;
    assert!(saved.says("left out: none of our grades"), "every line of the sheet is kept");

    let review = upload(shop, &outlet, "b.csv", format!("{sheet}\n")).await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 1");
    assert!(review.text(REVIEW).contains("Mystery crate"));
}

async fn pasted_lines_are_read(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review =
        paste(shop, &outlet, "Copper\n#1 ... $3.90/lb\n#2 ... $3.60/lb\nLead, soft 45¢/lb\n").await.ok();
    confirm(shop, review).await;
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.60)));
    assert_eq!(pays(shop, &outlet, "lead-soft").await, per_lb(dec!(0.45)));
}

async fn tiers_and_charges_are_kept(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let sheet = "Item,Under 100 lb,100 lb and up\nNo. 2 copper,$3.40/lb,$3.60/lb\nCRT monitor,-$0.10/lb,\n";
    let review = upload(shop, &outlet, "tiers.csv", sheet).await.ok();
    confirm(shop, review).await;
    let current = shop.store.current_quotes(&shop.id, shop.today(), None).await.expect("current quotes");
    let quotes = &current[&outlet].quotes[&GradeId::from("copper-2")];
    let at = |pounds: Decimal| quotes.at(Mass::of(pounds, MassUnit::Pound)).map(|quote| quote.price.amount);
    assert_eq!((at(dec!(99)), at(dec!(100))), (Some(dec!(3.40)), Some(dec!(3.60))));
    assert!(shop.get("/prices").await.ok().says("3.60 USD/lb from 100 lb"));

    // A shop that weighs in pounds reads a metric tier as its yard wrote it.
    let metric = "Item,Price,From 500 kg\nNo. 2 copper,$7.60/kg,$7.95/kg\n";
    let review = upload(shop, &outlet, "metric.csv", metric).await.ok();
    assert!(review.says("from 500 kg"), "{}", review.text("main"));
}

async fn a_price_put_right_in_the_review_is_what_is_saved(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let form = review.form(REVIEW).set("low-1", "3,55").set("unit-2", "kg");
    let review = shop.submit(form.press("Keep these answers")).await.ok();
    assert!(review.says("3.55 USD/lb") && review.says("2.20 USD/kg"), "{}", review.text("main"));
    confirm(shop, review).await;
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.55)));
    let kilogram = PriceUnit::Mass(MassUnit::Kilogram);
    assert_eq!(
        pays(shop, &outlet, "brass-yellow").await,
        Some(Price::new(dec!(2.20), Currency::USD, kilogram))
    );
}

async fn a_price_per_kilogram_on_a_sheet_per_pound_is_asked_about_and_put_right_with_one_tap(
    shop: &TestShop,
) {
    let outlet = lakeside(shop).await;
    confirm(shop, upload(shop, &outlet, "may.csv", CLEAN).await.ok()).await;
    // 3.60 a pound is 7.94 a kilogram: 0.453 592 37 kg in a pound (NIST Handbook 44).
    let next = CLEAN.replace("$3.60", "$7.94");
    let review = upload(shop, &outlet, "june.csv", next).await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 1");
    let asked = review.text(".asked");
    assert!(asked.ends_with("from 3.60 USD/lb on their last sheet. Is it meant per kg?"), "{asked}");
    let review = press(shop, &review, "Take it per kg").await.ok();
    assert_eq!(review.texts(".parts button")[0], "To confirm 0");
    confirm(shop, review).await;
    let pays = pays(shop, &outlet, "copper-2").await.expect("a price");
    assert_eq!((pays.amount, pays.per), (dec!(7.94), PriceUnit::Mass(MassUnit::Kilogram)));
}

async fn a_price_that_moved_is_asked_about(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    confirm(shop, upload(shop, &outlet, "may.csv", CLEAN).await.ok()).await;
    let review = upload(shop, &outlet, "june.csv", CLEAN.replace("$2.20", "$1.60")).await.ok();
    // (1.60 − 2.20) / 2.20 is −27 %.
    assert_eq!(review.text(".asked"), "That is down 27 % from 2.20 USD/lb on their last sheet.");
    let again = press(shop, &review, "Keep these answers").await.ok();
    assert!(again.says("One line is still to confirm"));
    assert!(!again.says("no price on this one"));
    let review = shop.submit(again.form(REVIEW).set("right-2", "yes").press("Keep these answers")).await.ok();
    press(shop, &review, "save the sheet").await.ok();
    let prices = shop.get("/prices").await.ok();
    assert!(prices.says("▼ down −0.60"), "{}", prices.text("table.prices"));
}

async fn a_grade_that_the_new_sheet_lacks_is_named(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    confirm(shop, upload(shop, &outlet, "may.csv", CLEAN).await.ok()).await;
    let review = paste(shop, &outlet, "No. 2 copper 3.65/lb\nYellow brass 2.25/lb\n").await.ok();
    assert!(
        review
            .text(REVIEW)
            .contains("One grade of their sheet in force has no price on this one: Bare bright")
    );
    confirm(shop, review).await;
    assert_eq!(pays(shop, &outlet, "copper-bright").await, None);
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.65)));
}

async fn a_unit_for_the_whole_sheet_is_answered_once(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN.replace(" per lb", "")).await.ok();
    assert!(review.says("The sheet names no unit, so this outlet's usual one was taken."));
    assert!(review.says("Where the sheet names no unit (3 prices)"));
    assert!(review.says("3.60 USD/lb"));
    let review = shop.submit(review.form(REVIEW).set("unit", "kg").press("Keep these answers")).await.ok();
    assert!(review.says("3.60 USD/kg") && !review.says("usual one was taken"), "{}", review.text(REVIEW));
    confirm(shop, review).await;
    let kilogram = Some(PriceUnit::Mass(MassUnit::Kilogram));
    assert_eq!(pays(shop, &outlet, "copper-2").await.map(|price| price.per), kilogram);
}

async fn a_price_in_another_currency_is_kept_but_not_counted(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = paste(shop, &outlet, "No. 2 copper 5.00 CAD/lb\nYellow brass 2.20 USD/lb\n").await.ok();
    assert!(review.says("They pay in USD"), "{}", review.text("main"));
    let saved = confirm(shop, review).await;
    assert!(saved.says("5.00 CAD/lb"));
    assert_eq!(pays(shop, &outlet, "copper-2").await, None);
    assert_eq!(pays(shop, &outlet, "brass-yellow").await, per_lb(dec!(2.20)));
}

async fn a_price_that_is_no_number_comes_back_as_it_was_typed(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let form = review.form(REVIEW).set("low-1", "three sixty").set("low-0", "4.15");
    let form = form.set("currency-2", "XYZ").set("high-0", "4.05");
    let back = shop.submit(form.press("save the sheet")).await.ok();
    assert_eq!(back.form(REVIEW).value("low-1"), "three sixty");
    assert_eq!(back.form(REVIEW).value("low-0"), "4.15");
    assert_eq!(back.text("#low-1-problem"), "“three sixty” is not a number.");
    assert_eq!(back.text("#high-0-problem"), "The upper end of a range cannot be below its lower end.");
    assert!(back.text("#currency-2-problem").contains("ISO 4217"));
    assert!(back.has("details[open] #low-1"), "a field with a problem is in sight");
    assert_eq!(pays(shop, &outlet, "copper-bright").await, None, "nothing is half saved");

    let huge =
        back.form(REVIEW).set("low-1", "99999999999999999999").set("currency-2", "USD").set("high-0", "");
    let back = shop.submit(huge.press("save the sheet")).await.ok();
    assert!(back.has("#low-1-problem"));
}

async fn a_sheet_of_a_thousand_lines_is_reviewed_page_by_page(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let mut sheet = CLEAN.to_string();
    for number in 0..1200 {
        sheet += &format!("Oddment {number} of the yard,0.{:02}\n", number % 90 + 10);
    }
    let review = upload(shop, &outlet, "long.csv", sheet).await.ok();
    assert_eq!(review.texts(".parts button")[..2], ["To confirm 1200", "Matched 3"]);
    assert!(review.says("1 to 25 of 1200"));
    // What is answered on a page is kept when the next one is opened.
    let form = review.form(REVIEW).set("grade-3", "plug-ends");
    let next = shop.submit(form.press("Next lines")).await.ok();
    assert_eq!(next.texts(".parts button")[..2], ["To confirm 1199", "Matched 4"]);
    let rest = press(shop, &next, "Leave out all 1199 without a grade, this time").await.ok();
    let saved = press(shop, &rest, "save the sheet").await.ok();
    assert!(saved.says("1 to 200 of 1203"), "{}", saved.text("main"));
    assert!(shop.get(&saved.link("Next lines")).await.ok().says("201 to 400 of 1203"));
}

async fn the_same_file_again_says_when_it_was_read(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let harbor = yard(shop, "Harbor Scrap", Currency::USD, MassUnit::Pound).await;
    confirm(shop, upload(shop, &outlet, "may.csv", CLEAN).await.ok()).await;
    let review = upload(shop, &harbor, "renamed.csv", CLEAN).await.ok();
    assert!(review.says("This file was read before:") && review.says("for Lakeside Metals"));
    let before = shop.get(&review.link("for Lakeside Metals")).await.ok();
    assert!(before.text("h1").starts_with("Lakeside Metals"));
    // Going on is a choice.
    confirm(shop, review).await;
    assert_eq!(pays(shop, &harbor, "copper-2").await, per_lb(dec!(3.60)));
}

async fn the_same_file_for_the_same_day_is_saved_once(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    confirm(shop, upload(shop, &outlet, "may.csv", CLEAN).await.ok()).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let refused = press(shop, &review, "save the sheet").await.ok();
    assert_eq!(
        refused.text("#valid_from-problem"),
        "The same file has been saved for this outlet and this day already."
    );
    let yesterday = shop.today().yesterday().expect("a day");
    let form = refused.form(REVIEW).set("valid_from", &yesterday.to_string());
    shop.submit(form.press("save the sheet")).await.ok();
    assert_eq!(shop.store.sheets(&shop.id, Some(&outlet)).await.expect("sheets").len(), 2);
}

async fn the_upload_sent_twice_makes_one_draft(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let form = chosen(shop, &outlet, "may.csv", CLEAN).await;
    let (first, second) = (shop.submit(form.clone()).await.ok(), shop.submit(form.clone()).await.ok());
    assert_eq!(first.url, second.url);
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 1);
    // And once more after it has been confirmed.
    confirm(shop, first).await;
    let third = shop.submit(form).await.ok();
    assert!(third.says("This sheet has been confirmed already"), "{}", third.text("main"));
}

async fn an_older_sheet_is_history_and_a_later_one_waits(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    confirm(shop, upload(shop, &outlet, "now.csv", CLEAN).await.ok()).await;

    let last_month = shop.today().saturating_sub(30.days());
    let form = chosen(shop, &outlet, "old.csv", CLEAN.replace("3.60", "3.30")).await;
    let review = shop.submit(form.set("valid_from", &last_month.to_string())).await.ok();
    assert!(review.says("This one is kept as history and does not count today."));
    let saved = confirm(shop, review).await;
    assert!(saved.has(".stamp") && saved.text(".stamp") == "history");
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.60)));

    let next_week = shop.today().saturating_add(7.days());
    let form = chosen(shop, &outlet, "next.csv", CLEAN.replace("3.60", "3.80")).await;
    let review = shop.submit(form.set("valid_from", &next_week.to_string())).await.ok();
    let asked = press(shop, &review, "save the sheet").await.ok();
    assert!(asked.text("#valid_from-problem").contains("still to come (in 7 days)"));
    let form = asked.form(REVIEW).set("ahead", "yes");
    let saved = shop.submit(form.press("save the sheet")).await.ok();
    assert!(saved.says("It counts from"), "{}", saved.text("main"));
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.60)));
    let then = shop.store.current_quotes(&shop.id, next_week, None).await.expect("current quotes");
    assert_eq!(then[&outlet].valid_from, next_week);

    // The history of the grade has all three, oldest first.
    let history = shop.store.price_history(&shop.id, &GradeId::from("copper-2")).await.expect("history");
    let amounts: Vec<Decimal> = history.iter().map(|point| point.price.amount).collect();
    assert_eq!(amounts, [dec!(3.30), dec!(3.60), dec!(3.80)]);
    // A year by mistake is refused at once.
    let form = chosen(shop, &outlet, "odd.csv", CLEAN).await.set("valid_from", "2206-05-12");
    let refused = shop.submit(form).await.ok();
    assert!(refused.has("#valid_from-problem"));
    assert_eq!(refused.text("#file-problem"), "Choose odd.csv again: a browser does not keep a chosen file.");
}

async fn a_draft_outlives_the_page_and_is_thrown_away_with_its_file(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let form = review.form(REVIEW).set("low-1", "3.50");
    shop.submit(form.press("Keep these answers")).await.ok();
    let other_phone = shop.phone_of(&shop.partners[1]);
    let list = other_phone.get("/sheets").await.ok();
    let review = other_phone.get(&list.link("Lakeside Metals")).await.ok();
    assert!(review.says("3.50 USD/lb"));

    let sha256 = shop.store.drafts(&shop.id).await.expect("drafts")[0].sha256.clone();
    assert!(shop.store.file(&shop.id, &sha256).await.is_ok());
    let gone = other_phone.submit(review.form("form[action$='/discard']")).await.ok();
    assert!(!gone.says("Waiting for review"));
    assert!(shop.store.file(&shop.id, &sha256).await.is_err(), "nobody needs its file any more");
    let page = shop.get(&review.url).await;
    assert_eq!(page.status, StatusCode::NOT_FOUND);
    assert!(page.says("Somebody threw it away"));
}

async fn confirmed_in_another_tab(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let one = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let other = shop.get(&one.url).await.ok();
    press(shop, &one, "save the sheet").await.ok();
    let late = press(shop, &other, "save the sheet").await.ok();
    assert!(late.text(".notice").contains("confirmed already"), "{}", late.text("main"));
    assert!(late.text(".notice").contains("by Imke"));
    assert_eq!(shop.store.sheets(&shop.id, None).await.expect("sheets").len(), 1);
}

async fn answered_in_another_tab(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let one = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let other = shop.get(&one.url).await.ok();
    shop.submit(one.form(REVIEW).set("low-1", "3.50").press("Keep these answers")).await.ok();
    let late = shop.submit(other.form(REVIEW).set("low-1", "3.40").press("save the sheet")).await.ok();
    assert!(late.says("Changed meanwhile.") && late.says("Stored now: 3.5"), "{}", late.text("main"));
    assert_eq!(late.form(REVIEW).value("low-1"), "3.40", "what was typed is still there");
    assert_eq!(pays(shop, &outlet, "copper-2").await, None);
    // With both in view, saving is a choice.
    press(shop, &late, "save the sheet").await.ok();
    assert_eq!(pays(shop, &outlet, "copper-2").await, per_lb(dec!(3.40)));
}

async fn the_grade_was_retired_meanwhile(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    shop.retire_grade("brass-yellow").await;
    let page = press(shop, &review, "save the sheet").await.ok();
    assert!(page.says("One line is still to confirm"), "{}", page.text("main"));
    assert!(page.says("Yellow brass"));
    assert_eq!(shop.store.sheets(&shop.id, None).await.expect("sheets").len(), 0);
}

async fn the_outlet_was_closed_meanwhile(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let review = upload(shop, &outlet, "may.csv", CLEAN).await.ok();
    let form = chosen(shop, &outlet, "other.csv", CLEAN).await;
    yard(shop, "Harbor Scrap", Currency::USD, MassUnit::Pound).await;
    shop.store.close_outlet(&shop.by(), outlet.as_str(), 1).await.expect("it closes");
    let refused = press(shop, &review, "save the sheet").await.ok();
    assert!(refused.says("Lakeside Metals has been closed meanwhile"));
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 1, "nothing is lost");
    let refused = shop.submit(form).await.ok();
    assert!(refused.text("#outlet-problem").contains("closed meanwhile"));
    assert_eq!(pays(shop, &outlet, "copper-2").await, None);
}

async fn nothing_to_read_is_said_beside_the_field(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    // Where photos can be read, this one is damaged.
    let picture = if pennyweight::reader::RECOGNISER.is_some() {
        "The file is damaged or was not uploaded to its end"
    } else {
        "This box has no program that reads pictures."
    };
    for (name, bytes, problem) in [
        ("empty.csv", b"".as_slice(), "The file is empty."),
        ("photo.png", b"\x89PNG\r\n\x1a\n0000", picture),
        ("talk.txt", b"Open Monday to Friday.\nThank you for your business.\n", "No prices were found."),
        ("half.xlsx", b"PK\x03\x04 xl/workbook.xml", "The file is damaged or was not uploaded to its end"),
    ] {
        let page = upload(shop, &outlet, name, bytes).await.ok();
        assert!(page.text("#file-problem").starts_with(problem), "{name}: {}", page.text("#file-problem"));
        assert_eq!(
            page.form("form.ticket").value("outlet"),
            outlet.as_str(),
            "{name}: the form is as it was"
        );
    }
    let page = shop.get("/sheets/new").await.ok();
    let nothing = shop.submit(page.form("form.ticket").set("outlet", outlet.as_str())).await.ok();
    assert_eq!(nothing.text("#file-problem"), "Choose a file, or paste the prices below.");
    let form = chosen(shop, &outlet, "a.csv", CLEAN).await.set("text", "Brass 2.20/lb");
    let both = shop.submit(form).await.ok();
    assert!(both.text("#text-problem").contains("one sheet is read at a time"));
    assert_eq!(both.form("form.ticket").value("text"), "Brass 2.20/lb");
    assert_eq!(shop.store.drafts(&shop.id).await.expect("drafts").len(), 0);
}

async fn a_download_is_never_opened_in_place(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    let name = "prices <script>.html";
    let saved = confirm(shop, upload(shop, &outlet, name, CLEAN).await.ok()).await;
    let file = shop.get(&saved.link("Download")).await.ok();
    assert_eq!(file.body, CLEAN);
    let header = |name| file.headers.get(name).and_then(|value| value.to_str().ok());
    assert_eq!(header(CONTENT_TYPE), Some("application/octet-stream"));
    assert_eq!(header(CONTENT_DISPOSITION), Some("attachment; filename=\"prices _script_.html\""));
    assert_eq!(file.headers.get("x-content-type-options").and_then(|v| v.to_str().ok()), Some("nosniff"));
}
