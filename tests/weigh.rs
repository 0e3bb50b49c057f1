//! Weigh in: a scale reading goes on a bag.

use axum::http::StatusCode;
use pennyweight::store::weighings::WeighingKind;
use trade::mass::Mass;

use crate::common::market::buyer;
use crate::common::{Page, TestShop, mass, on_both};

on_both![
    a_reading_is_read_back_and_only_then_counts,
    every_form_of_a_reading_is_taken,
    a_number_without_a_unit_is_asked_about,
    what_may_be_pounds_and_ounces_is_never_taken_silently,
    a_decimal_pound_entry_is_taken_with_the_other_meaning_beside_it,
    what_cannot_be_a_reading_is_refused_with_the_reason,
    tare_is_taken_off,
    a_tare_above_the_gross_is_refused,
    the_whole_bag_on_the_scale_adds_the_difference,
    the_same_reading_of_the_whole_bag_adds_nothing,
    a_bag_lighter_than_the_record_is_told_before_it_counts,
    somebody_else_weighs_between_reading_and_sending,
    sent_twice_it_is_stored_once,
    sent_twice_at_once_it_is_stored_once,
    undo_makes_a_reversing_entry,
    undo_cannot_be_done_twice,
    undo_cannot_take_what_has_left_the_bag,
    undo_cannot_reach_what_has_left_the_shop,
    nothing_goes_on_a_lot_whose_grade_is_retired,
    nothing_goes_on_a_lot_that_is_gone,
    what_was_typed_is_kept_exactly_but_not_without_end,
    a_lot_does_not_outgrow_the_record,
    the_list_is_searched_in_plain_words,
];

/// Types a reading on the bag's page and sends it.
async fn read_on(shop: &TestShop, lot: &str, reading: &str) -> Page {
    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    shop.submit(page.form("form[action$='/weigh'].ticket").set("reading", reading)).await
}

/// Presses the button under what was read back.
async fn put_on(shop: &TestShop, echo: &Page) -> Page {
    shop.submit(echo.form("form[action$='/weighings']")).await
}

async fn a_reading_is_read_back_and_only_then_counts(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;

    let echo = read_on(shop, &lot, "2 lb 5 oz").await.ok();
    assert_eq!(echo.text(".figure.huge"), "2 lb 5.0 oz");
    // 37 oz at 28.349523125 g exactly (NIST SP 811, appendix B.8) are 1048.93 g.
    assert!(echo.text(".chosen").contains("1.049 kg"), "{}", echo.text(".chosen"));
    assert!(shop.lot(&lot).await.net.is_zero(), "nothing counts before it was read back");

    let receipt = put_on(shop, &echo).await.ok();
    assert_eq!(receipt.text(".figure.huge"), "2 lb 5.0 oz");
    assert_eq!(shop.lot(&lot).await.net, mass("2 lb 5 oz"));

    let second = put_on(shop, &read_on(shop, &lot, "11 oz").await.ok()).await.ok();
    assert_eq!(second.text(".figure.huge"), "3 lb 0.0 oz");
}

async fn every_form_of_a_reading_is_taken(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    // Micrograms from the exact factors of NIST SP 811, appendix B.8: lb 453.59237 g, oz 28.349523125 g, troy oz
    // 31.1034768 g, dwt 1.55517384 g; rounded half away from zero.
    for (reading, micrograms) in [
        ("2 lb 5 oz", 1_048_932_356),
        ("2lb5", 1_048_932_356),
        ("2.75 lb", 1_247_379_018),
        ("37 oz", 1_048_932_356),
        ("4.25oz", 120_485_473),
        ("1.2 kg", 1_200_000_000),
        ("1,2 kg", 1_200_000_000),
        ("450 g", 450_000_000),
        ("3 dwt", 4_665_522),
        ("1 troy oz", 31_103_477),
        ("2 ozt", 62_206_954),
        ("2 troy ounces", 62_206_954),
        ("1 oz t", 31_103_477),
        ("10 gr", 647_989),
        ("2½ lb", 1_133_980_925),
        ("2 lb 5 1/2 oz", 1_063_107_117),
        ("2\u{a0}lb\u{202f}5\u{2009}oz", 1_048_932_356),
        ("2 LBS. 5 OZ.", 1_048_932_356),
        ("2 lb 15.99 oz", 1_360_493_615),
        ("1.250,5 g", 1_250_500_000),
        ("1,250.5 g", 1_250_500_000),
    ] {
        let before = shop.lot(&lot).await.net;
        let receipt = put_on(shop, &read_on(shop, &lot, reading).await.ok()).await.ok();
        let typed = reading.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(receipt.text("dd.typed"), typed);
        let added = shop.lot(&lot).await.net - before;
        assert_eq!(added, Mass::from_micrograms(micrograms), "{reading}");
    }
}

async fn a_number_without_a_unit_is_asked_about(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let ask = read_on(shop, &lot, "2.5").await.ok();
    assert!(ask.text("[role=alert]").contains("no unit"), "{}", ask.text("[role=alert]"));
    let answers = ask.texts("main form button");
    for meaning in ["2.5 lb", "2 lb 5 oz", "2.5 oz", "2.5 kg", "2.5 g"] {
        assert!(
            answers.iter().any(|answer| answer.starts_with(meaning)),
            "{meaning} is not among {answers:?}"
        );
    }
    assert!(!ask.has("form[action$='/weighings']"), "it can be put on without an answer");

    let chosen = ask.form("form:has(input[value='2 lb 5 oz'])");
    let receipt = put_on(shop, &shop.submit(chosen).await.ok()).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("2 lb 5 oz"));
    assert_eq!(receipt.text("dd.typed"), "2.5", "the ledger keeps what was typed");
}

async fn what_may_be_pounds_and_ounces_is_never_taken_silently(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    // 1 lb 8 oz typed as 1.8 is 10 oz off: 24 oz are meant, 28.8 stand there. Each is offered with what it would add.
    for (reading, answers) in [
        ("1.8", ["1.8 lb", "1 lb 8 oz", "1.8 oz", "1.8 kg", "1.8 g"].as_slice()),
        ("1,8", &["1.8 lb", "1 lb 8 oz", "1.8 oz", "1.8 kg", "1.8 g"]),
        ("2.15", &["2.15 lb", "2 lb 15 oz", "2.15 oz", "2.15 kg", "2.15 g"]),
        // There are no sixteen ounces beside pounds.
        ("2.16", &["2.16 lb", "2.16 oz", "2.16 kg", "2.16 g"]),
        ("12", &["12 lb", "12 oz", "12 kg", "12 g"]),
        ("2 1/2", &["2.5 lb", "2.5 oz", "2.5 kg", "2.5 g"]),
        ("1,250 g", &["1.25 g", "1250 g"]),
    ] {
        let ask = read_on(shop, &lot, reading).await.ok();
        assert!(!ask.has("form[action$='/weighings']"), "{reading} can be put on without an answer");
        let offered = ask.attributes("main form input[name=reading]", "value");
        let offered: Vec<&str> = offered.iter().map(String::as_str).filter(|it| *it != reading).collect();
        assert_eq!(offered, answers, "{reading}");
    }
    let other = |echo: Page| echo.has("form.attention").then(|| echo.text(".attention"));
    let asked = other(read_on(shop, &lot, "1.8 lb").await.ok()).expect("the other meaning");
    assert!(asked.contains("Did the scale show 1 lb 8 oz?"), "{asked}");
    for plain in ["1.16 lb", "1.85 lb", "2 1/2 lb", "2.0 lb", "1.8 kg"] {
        assert_eq!(other(read_on(shop, &lot, plain).await.ok()), None, "{plain}");
    }
    assert!(shop.store.ledger(&shop.id, &lot).await.expect("a ledger").is_empty());
}

async fn a_decimal_pound_entry_is_taken_with_the_other_meaning_beside_it(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let echo = read_on(shop, &lot, "2.5 lb").await.ok();
    assert_eq!(echo.text(".figure.huge"), "2 lb 8.0 oz");
    assert!(echo.text(".attention").contains("Did the scale show 2 lb 5 oz?"), "{}", echo.text(".attention"));

    let other = shop.submit(echo.form(".attention")).await.ok();
    assert_eq!(other.text(".figure.huge"), "2 lb 5.0 oz");
    put_on(shop, &other).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("2 lb 5 oz"));

    put_on(shop, &echo).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("4 lb 13 oz"));
}

async fn what_cannot_be_a_reading_is_refused_with_the_reason(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    for (reading, reason) in [
        ("2 lb 16 oz", "Was it 3 lb 0 oz?"),
        ("2.5 lb 3 oz", "decimal part"),
        ("", "Type what the scale shows"),
        ("-4 oz", "below zero"),
        ("0 g", "zero adds nothing"),
        ("99999999999 kg", "thousand tonnes"),
        ("1000000.001 kg", "thousand tonnes"),
        ("99999999999999999999999999999999999999 g", "does not read as a weight"),
        ("1e9 g", "does not read as a weight"),
        ("1/3 lb", "does not read as a weight"),
        ("1.5,3 lb", "does not read as a weight"),
        ("5 oz 2 lb", "does not read as a weight"),
        ("2 lb 31 oz", "Was it 3 lb 15 oz?"),
        ("2 ton", "does not read as a weight"),
        ("0.0000001 g", "zero adds nothing"),
        ("<script>alert(1)</script>", "does not read as a weight"),
    ] {
        let page = read_on(shop, &lot, reading).await;
        assert!(
            page.text("#reading-problem").contains(reason),
            "{reading}: {}",
            page.text("#reading-problem")
        );
        assert_eq!(page.form("form.ticket").value("reading"), reading, "what was typed stays in the field");
        assert_eq!(page.attributes("#reading", "aria-invalid"), ["true"]);
        assert!(!page.has("main script"));
    }
    assert!(shop.store.ledger(&shop.id, &lot).await.expect("a ledger").is_empty());
}

async fn tare_is_taken_off(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let form = shop.get(&format!("/lots/{lot}/weigh")).await.ok().form("form.ticket");
    let echo =
        shop.submit(form.set("reading", "3 lb 1 oz").set("tare", "1 lb 4 oz").set("pieces", "12")).await.ok();
    let receipt = put_on(shop, &echo).await.ok();
    assert_eq!(receipt.text(".figure.huge"), "1 lb 13.0 oz");
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("a ledger");
    let row = &ledger[0];
    assert_eq!((row.gross, row.tare, row.net), (mass("49 oz"), mass("20 oz"), mass("49 oz") - mass("20 oz")));
    assert_eq!(row.pieces, 12);
}

async fn a_tare_above_the_gross_is_refused(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let form = shop.get(&format!("/lots/{lot}/weigh")).await.ok().form("form.ticket");
    let refused = shop.submit(form.set("reading", "5 oz").set("tare", "6 oz")).await;
    assert!(refused.text("#tare-problem").contains("above what the scale shows"));
    let form = refused.form("form.ticket");
    assert_eq!((form.value("reading"), form.value("tare")), ("5 oz", "6 oz"));
    let equal = shop.submit(form.set("tare", "5 oz")).await;
    assert!(equal.text("#reading-problem").contains("adds nothing"));
    assert!(shop.store.ledger(&shop.id, &lot).await.expect("a ledger").is_empty());
}

/// Reads the whole bag: what is in it and the bag itself.
async fn read_whole(shop: &TestShop, lot: &str, reading: &str) -> Page {
    let form = shop.get(&format!("/lots/{lot}/weigh")).await.ok().form("form.ticket");
    shop.submit(form.set("holds", "container").set("reading", reading)).await
}

async fn the_whole_bag_on_the_scale_adds_the_difference(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    shop.put(&lot, "20 oz").await;
    // The bag weighs 2 oz (set up so): 32 oz on the scale are 30 oz in it, ten more than it held.
    let receipt = put_on(shop, &read_whole(shop, &lot, "32 oz").await.ok()).await.ok();
    assert_eq!(receipt.text(".figure.huge"), "1 lb 14.0 oz");
    assert_eq!(shop.lot(&lot).await.net, mass("30 oz"));
    let row = &shop.store.ledger(&shop.id, &lot).await.expect("a ledger")[0];
    assert_eq!((row.gross, row.tare), (mass("32 oz"), mass("2 oz")));
}

async fn the_same_reading_of_the_whole_bag_adds_nothing(shop: &TestShop) {
    // 5 oz and 7 oz are no whole number of micrograms, so each is rounded where it is kept.
    let lot = shop.bag("Bag 1", "board-set-top").await;
    for reading in ["7 oz", "12 oz", "37 oz"] {
        put_on(shop, &read_whole(shop, &lot, reading).await.ok()).await.ok();
        let again = read_whole(shop, &lot, reading).await;
        assert!(again.text("#reading-problem").contains("adds nothing"), "{reading}");
    }
}

async fn a_bag_lighter_than_the_record_is_told_before_it_counts(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    shop.put(&lot, "20 oz").await;
    let echo = read_whole(shop, &lot, "18 oz").await.ok();
    assert!(echo.text(".notice").contains("Lighter than our record by 4.0 oz"), "{}", echo.text(".notice"));
    put_on(shop, &echo).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("16 oz"));
}

async fn somebody_else_weighs_between_reading_and_sending(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    shop.put(&lot, "20 oz").await;
    let echo = read_whole(shop, &lot, "32 oz").await.ok();
    shop.put(&lot, "3 oz").await;

    let told = put_on(shop, &echo).await;
    assert!(told.text("[role=alert]").contains("it now holds 1 lb 7.0 oz"), "{}", told.text("[role=alert]"));
    assert_eq!(shop.lot(&lot).await.net, mass("23 oz"), "nothing was saved yet");
    // Looked at again and sent: the bag is as the scale says.
    put_on(shop, &told).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("30 oz"));

    // What is put in now does not depend on what was there: both count.
    let echo = read_on(shop, &lot, "1 oz").await.ok();
    shop.put(&lot, "1 oz").await;
    put_on(shop, &echo).await.ok();
    assert_eq!(shop.lot(&lot).await.net, mass("32 oz"));
}

async fn sent_twice_it_is_stored_once(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let echo = read_on(shop, &lot, "5 oz").await.ok();
    let first = put_on(shop, &echo).await.ok();
    let second = put_on(shop, &echo).await.ok();
    assert_eq!(first.url, second.url);
    assert_eq!(shop.lot(&lot).await.net, mass("5 oz"));
    assert_eq!(shop.store.ledger(&shop.id, &lot).await.expect("a ledger").len(), 1);
}

async fn sent_twice_at_once_it_is_stored_once(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    for round in 1..=5 {
        let form = read_on(shop, &lot, "5 oz").await.ok().form("form[action$='/weighings']");
        let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form));
        assert_eq!(first.ok().url, second.ok().url);
        assert_eq!(shop.store.ledger(&shop.id, &lot).await.expect("a ledger").len(), round);
    }
}

async fn undo_makes_a_reversing_entry(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let form = shop.get(&format!("/lots/{lot}/weigh")).await.ok().form("form.ticket");
    let echo = shop.submit(form.set("reading", "5 oz").set("pieces", "3")).await.ok();
    let receipt = put_on(shop, &echo).await.ok();
    let undone = shop.submit(receipt.form("form[action$='/undo']")).await.ok();
    assert_eq!(undone.text("h1"), "Undone");
    assert!(!undone.has("form[action$='/undo']"));

    let now = shop.lot(&lot).await;
    assert_eq!((now.net, now.pieces), (Mass::ZERO, 0));
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("a ledger");
    assert_eq!(ledger.len(), 2, "both stay in the ledger");
    let weighing = ledger.iter().find(|row| row.kind == WeighingKind::WeighIn).expect("the weighing");
    let undo = ledger.iter().find(|row| row.kind == WeighingKind::Undo).expect("the undo");
    assert_eq!(weighing.undone_by.as_ref(), Some(&undo.id));
    assert_eq!(undo.net, -weighing.net);
}

async fn undo_cannot_be_done_twice(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    shop.put(&lot, "9 oz").await;
    let receipt = put_on(shop, &read_on(shop, &lot, "5 oz").await.ok()).await.ok();
    let form = receipt.form("form[action$='/undo']");
    let (a, b) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    let mut statuses = [a.status, b.status];
    statuses.sort();
    assert_eq!(statuses, [StatusCode::OK, StatusCode::CONFLICT]);
    let third = shop.submit(form).await;
    assert_eq!(third.status, StatusCode::CONFLICT);
    assert!(third.says("has been undone already"));
    assert_eq!(shop.lot(&lot).await.net, mass("9 oz"));

    // An undo is no weigh-in, so it cannot be undone itself.
    let ledger = shop.store.ledger(&shop.id, &lot).await.expect("a ledger");
    let undo = ledger.iter().find(|row| row.kind == WeighingKind::Undo).expect("the undo");
    let mut form = receipt.form("form[action$='/undo']");
    form.action = format!("/weighings/{}/undo", undo.id);
    let forged = shop.submit(form).await;
    assert!(forged.says("Only a weigh-in can be undone"));
}

async fn undo_cannot_take_what_has_left_the_bag(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let receipt = put_on(shop, &read_on(shop, &lot, "20 oz").await.ok()).await.ok();
    put_on(shop, &read_whole(shop, &lot, "12 oz").await.ok()).await.ok();
    let refused = shop.submit(receipt.form("form[action$='/undo']")).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.says("less than nothing"));
    assert_eq!(shop.lot(&lot).await.net, mass("12 oz") - mass("2 oz"));
}

async fn undo_cannot_reach_what_has_left_the_shop(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let boards = shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let receipt = put_on(shop, &read_on(shop, &lot, "39 lb").await.ok()).await.ok();
    let undo = receipt.form("form[action$='/undo']");
    let shipment = shop.packed(&[&lot], &boards, 0).await;
    for (step, why) in [("send", "packed in a shipment"), ("", "has left the shop")] {
        let before = shop.everything().await;
        let refused = shop.submit(undo.clone()).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
        assert!(refused.says(why), "{}", refused.text("main"));
        assert_eq!(shop.everything().await, before);
        if !step.is_empty() {
            let page = shop.get(&format!("/shipments/{shipment}")).await.ok();
            shop.submit(page.form(&format!("form[action$='/{step}']"))).await.ok();
        }
    }
    assert!(!shop.get(&receipt.url).await.ok().has("form[action$='/undo']"), "it is not offered any more");
}

async fn nothing_goes_on_a_lot_whose_grade_is_retired(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let echo = read_on(shop, &lot, "5 oz").await.ok();
    shop.retire_grade("board-set-top").await;
    for page in [put_on(shop, &echo).await, read_on(shop, &lot, "5 oz").await] {
        assert!(page.text("[role=alert]").contains("retired"), "{}", page.text("[role=alert]"));
        assert_eq!(page.form("form.ticket").value("reading"), "5 oz");
    }
    assert!(shop.lot(&lot).await.net.is_zero());
}

async fn nothing_goes_on_a_lot_that_is_gone(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let other = shop.bag("Bag 2", "board-set-top").await;
    shop.put(&lot, "5 oz").await;
    let echo = read_on(shop, &lot, "5 oz").await.ok();
    shop.submit(shop.get(&format!("/lots/{lot}/merge")).await.form("main form").set("into", &other))
        .await
        .ok();
    for page in [put_on(shop, &echo).await, read_on(shop, &lot, "5 oz").await] {
        assert!(page.text("[role=alert]").contains("has left the shop"), "{}", page.text("[role=alert]"));
    }
    assert_eq!(shop.lot(&other).await.net, mass("5 oz"));
}

async fn what_was_typed_is_kept_exactly_but_not_without_end(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;
    let typed = put_on(shop, &read_on(shop, &lot, "  4.25OZ ").await.ok()).await.ok();
    let kept = &shop.store.ledger(&shop.id, &lot).await.expect("a ledger")[0].typed;
    assert_eq!(kept.trim(), "4.25OZ");
    assert_eq!(typed.text("dd.typed"), "4.25OZ");

    // The page cannot send this; a broken or hostile client can.
    let form = read_on(shop, &lot, "1 oz").await.ok().form("form[action$='/weighings']");
    shop.submit(form.forge("typed", &"x\0".repeat(5000))).await.ok();
    let kept = &shop.store.ledger(&shop.id, &lot).await.expect("a ledger")[0].typed;
    assert!(kept.chars().count() <= 40 && !kept.contains('\0'), "{kept:?}");
}

async fn a_lot_does_not_outgrow_the_record(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "steel-heavy").await;
    put_on(shop, &read_on(shop, &lot, "600000 kg").await.ok()).await.ok();
    let refused = put_on(shop, &read_on(shop, &lot, "600000 kg").await.ok()).await;
    assert!(refused.text("[role=alert]").contains("thousand tonnes"), "{}", refused.text("[role=alert]"));
    assert_eq!(shop.lot(&lot).await.net, mass("600000 kg"));
}

async fn the_list_is_searched_in_plain_words(shop: &TestShop) {
    shop.bag("Bag 7", "board-set-top").await;
    shop.bag("Drum 2", "copper-2").await;
    let list = shop.get("/weigh").await.ok();
    assert_eq!(list.texts(".tickets strong"), ["Drum 2", "Bag 7"], "in the catalogue's order");
    let found = shop.submit(list.form("form[role=search]").set("find", "COPPER")).await.ok();
    assert_eq!(found.texts(".tickets strong"), ["Drum 2"]);
    let none = shop.submit(list.form("form[role=search]").set("find", "<b>%")).await.ok();
    assert!(none.says("No bag and no grade is called “<b>%”"));
    assert!(!none.has("main b"));
}
