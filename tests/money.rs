//! Money: how are we doing? Amounts by hand, hours, shares, and the book to take along.

use std::io::Cursor;

use axum::body::{Body, Bytes};
use axum::http::StatusCode;
use calamine::{Data, Reader, Xlsx};
use http_body_util::BodyExt;
use jiff::civil::date;
use pennyweight::store::cash::{NewEntry, RateUsed};
use pennyweight::store::new_id;
use rust_decimal::{Decimal, dec};
use trade::cash::Kind;
use trade::ids::GradeId;
use trade::money::{Currency, Money};

use crate::common::{Form, Page, TestShop, on_both};

on_both![
    a_purchase_by_hand_counts_and_opens_to_its_entry,
    what_cannot_be_entered_is_refused_beside_its_field,
    a_form_sent_twice_counts_once,
    a_slip_is_undone_by_another_entry,
    an_entry_without_a_rate_is_flagged_until_it_has_one,
    hours_say_what_an_hour_brings,
    partners_share_in_fixed_parts_or_by_hours,
    partners_take_out_put_in_and_pay_each_other,
    figures_open_to_their_entries_alone,
    the_book_goes_along_as_rows_workbook_and_journal,
    another_shops_book_is_closed,
];

async fn entered(shop: &TestShop, way: &str, kind: &str, amount: &str) -> Page {
    let form = amount_form(shop).await.set("way", way).set("kind", kind).set("amount", amount);
    shop.submit(form).await.ok()
}

async fn amount_form(shop: &TestShop) -> Form {
    shop.get("/money/entries/new").await.ok().form("form[action='/money/entries/new']")
}

/// The big figure of the year: what was left over.
async fn left(shop: &TestShop) -> String {
    shop.get("/money").await.ok().text(".chosen .figure")
}

fn id_of(page: &Page) -> String {
    page.url.trim_start_matches("/money/entries/").to_string()
}

async fn a_purchase_by_hand_counts_and_opens_to_its_entry(shop: &TestShop) {
    let empty = shop.get("/money").await.ok();
    assert!(empty.says("The cash book is empty") && !empty.has("svg[role=img]"), "{empty}");
    let yard = shop.near_yard(&[]).await;
    let form = amount_form(shop).await;
    let form = form.set("kind", "purchase").set("amount", "45.50").set("note", "12 towers, no drives");
    let entry = shop.submit(form.set("outlet", yard.as_str()).set("grade", "copper-2")).await.ok();
    assert_eq!(entry.text(".figure"), "−45.50 USD");
    assert!(entry.says("12 towers, no drives") && entry.says("Quay Metals") && entry.says("Imke"));
    entered(shop, "in", "sale", "120").await;

    let page = shop.get("/money").await.ok();
    assert_eq!(page.text(".chosen .figure"), "74.50 USD");
    assert!(page.says("Came in 120.00 USD, went out 45.50 USD."), "{}", page.text(".chosen"));
    assert!(page.says("This month so far: 74.50 USD left over"));
    let month = shop.today().strftime("%B").to_string();
    assert_eq!(
        page.text("#months-desc"),
        format!("{month}: in 120, out 46, left 75."),
        "rounded to whole dollars"
    );
    let kinds: Vec<String> = page.texts(".ladder .head .number");
    assert!(
        kinds.contains(&"−45.50 USD".to_string()) && kinds.contains(&"120.00 USD".to_string()),
        "{kinds:?}"
    );
    // From the figure to the entry.
    let list = shop.get(&page.link("bought")).await.ok();
    assert_eq!(list.texts("li a.head .number"), ["−45.50 USD"]);
    let again = shop.get(&list.attributes("li a.head", "href")[0]).await.ok();
    assert_eq!(again.url, entry.url);
    assert!(shop.get("/activity").await.ok().says("entered") && page.has("a[href='/money'][aria-current]"));
}

async fn what_cannot_be_entered_is_refused_beside_its_field(shop: &TestShop) {
    let tomorrow = shop.today().tomorrow().expect("a day").to_string();
    for (field, value, problem) in [
        ("amount", "", "A number is needed"),
        ("amount", "0", "between"),
        ("amount", "-5", "between"),
        ("amount", "abc", "not a number"),
        ("amount", "1000000001", "between"),
        ("amount", "1.005", "USD has 2 decimals, and no more"),
        ("currency", "XYZ", "ISO 4217"),
        ("day", "", "A date is needed"),
        ("day", tomorrow.as_str(), "still to come"),
        ("day", "1999-12-31", "too long ago"),
        ("rate", "0", "between"),
        ("note", &"x".repeat(201), "201 characters"),
    ] {
        let form = amount_form(shop).await.set("amount", "10").set(field, value);
        let back = shop.submit(form).await.ok();
        let said = back.text(&format!("#{field}-problem"));
        assert!(said.contains(problem), "{field} {value}: {said}");
        assert_eq!(back.form("form[action='/money/entries/new']").value(field), value);
    }
    let yen = amount_form(shop).await.set("amount", "10.5").set("currency", "jpy");
    assert!(shop.submit(yen).await.ok().text("#amount-problem").contains("JPY has no smaller unit"));
    for (field, value) in [("kind", "payout"), ("kind", "x"), ("way", "up")] {
        let page = shop.submit(amount_form(shop).await.set("amount", "1").forge(field, value)).await.ok();
        assert_eq!(page.url, "/money/entries/new", "{field} {value}");
    }
    let strange = amount_form(shop).await.set("amount", "1").forge("outlet", &new_id());
    assert_eq!(shop.submit(strange).await.status, StatusCode::NOT_FOUND);
    let cut = amount_form(shop).await.set("amount", "1").forge("id", "1");
    assert_eq!(shop.submit(cut).await.status, StatusCode::BAD_REQUEST);
    assert_eq!(shop.store.cash_count(&shop.id).await.expect("a number"), 0);
}

async fn a_form_sent_twice_counts_once(shop: &TestShop) {
    let form = amount_form(shop).await.set("amount", "9.99");
    let (first, second) = (shop.submit(form.clone()).await.ok(), shop.submit(form).await.ok());
    assert_eq!(first.url, second.url);
    assert_eq!(left(shop).await, "−9.99 USD");
}

async fn a_slip_is_undone_by_another_entry(shop: &TestShop) {
    let entry = entered(shop, "out", "box", "80").await;
    let form = entry.form("form[action$='/undo']").set("why", "it was 8");
    let undone = shop.submit(form.clone()).await.ok();
    assert!(undone.text(".stamp").contains("undone") && !undone.has("form[action$='/undo']"));
    assert_eq!(undone.texts("section:nth-of-type(2) .number"), ["80.00 USD"]);
    // From the other phone, a moment later, with a form of its own.
    let late = form.forge("undo_id", &new_id());
    assert_eq!(shop.submit(late).await.ok().url, entry.url);
    entered(shop, "out", "box", "8").await;
    assert_eq!(left(shop).await, "−8.00 USD");
    let list = shop.get("/money/entries").await.ok();
    assert_eq!(list.texts("li a.head .number"), ["−8.00 USD", "80.00 USD", "−80.00 USD"]);
    let undo = shop.get(&list.attributes("li a.head", "href")[1]).await.ok();
    assert!(undo.says("it was 8") && undo.link("The entry that it undoes") == entry.url);
    assert_eq!(shop.submit(entry.form("form[action$='/undo']").forge("undo_id", "x")).await.status, 400);
}

async fn an_entry_without_a_rate_is_flagged_until_it_has_one(shop: &TestShop) {
    let form = amount_form(shop).await.set("way", "in").set("kind", "sale");
    let entry = shop.submit(form.set("amount", "100.10").set("currency", "cad")).await.ok();
    assert_eq!(entry.text(".stamp"), "wants a rate");
    let page = shop.get("/money").await.ok();
    assert!(page.text(".attention").contains("1 entry wants an exchange rate."));
    assert_eq!(page.text(".chosen .figure"), "0.00 USD");
    assert!(page.says("in 100.10 CAD"), "by currency it counts already");
    let open = shop.get(&page.link("Give a rate")).await.ok();
    let entry = shop.get(&open.attributes("li a.head", "href")[0]).await.ok();
    for (rate, problem) in [("", "A number is needed"), ("0", "between"), ("x", "not a number")] {
        let back = shop.submit(entry.form("form[action$='/rate']").set("rate", rate)).await.ok();
        assert!(back.text("#rate-problem").contains(problem), "{rate}");
    }
    // 100.10 × 0.7355 = 73.62355.
    let form = entry.form("form[action$='/rate']").set("rate", "0.7355");
    for _ in 0..2 {
        let valued = shop.submit(form.clone()).await.ok();
        assert!(valued.says("73.62 USD") && valued.says("1 CAD = 0.7355 USD"), "{}", valued.text("main"));
    }
    assert_eq!(left(shop).await, "73.62 USD");
    assert!(!shop.get("/money").await.ok().has(".attention"));
    assert!(shop.get("/money/unrated").await.ok().says("Every entry has its rate."));
}

async fn hours_say_what_an_hour_brings(shop: &TestShop) {
    entered(shop, "in", "sale", "90").await;
    let form = |page: &Page| page.form("form[action='/money/hours']");
    let page = shop.get("/money/hours").await.ok();
    for (typed, problem) in
        [("", "needed"), ("1:75", "Sixty minutes"), ("a while", "no stretch"), ("30", "more than")]
    {
        let back = shop.submit(form(&page).set("hours", typed)).await.ok();
        assert!(back.text("#hours-problem").contains(problem), "{typed}: {}", back.text("#hours-problem"));
    }
    let first = form(&page).set("hours", "2:30").set("work", "sorting");
    for _ in 0..2 {
        shop.submit(first.clone()).await.ok();
    }
    let page = shop.get("/money/hours").await.ok();
    let page = shop.submit(form(&page).set("hours", "90 min").set("who", &shop.partners[1].id)).await.ok();
    assert_eq!(page.texts("li .head .number"), ["1 h 30 min", "2 h 30 min"]);
    let money = shop.get("/money").await.ok();
    // 90.00 in four hours.
    let per_hour = money.text("section:has(h2) .figure:not(.huge)");
    assert_eq!(per_hour, "22.50 USD an hour");
    assert!(
        money.says("sorting 2 h 30 min") || money.text("main").contains("sorting"),
        "{}",
        money.text("main")
    );
    // Tobias's were a slip.
    let undone = shop.submit(page.forms("form[action$='/undo']").remove(0)).await.ok();
    assert_eq!(undone.texts(".stamp").len(), 2);
    assert!(shop.get("/money").await.ok().says("36.00 USD an hour"));
    let strange = form(&shop.get("/money/hours").await.ok()).set("hours", "1").forge("who", &new_id());
    assert_eq!(shop.submit(strange).await.status, StatusCode::NOT_FOUND);
}

/// What each partner is owed, as the Money page has it.
async fn owed(shop: &TestShop) -> Vec<String> {
    let page = shop.get("/money").await.ok();
    let rows = page.texts("section:has(a[href='/money/shares']) .rows > div");
    rows.into_iter().map(|row| row.replace('\u{a0}', " ")).collect()
}

async fn partners_share_in_fixed_parts_or_by_hours(shop: &TestShop) {
    entered(shop, "in", "sale", "100.01").await;
    // Nothing settled: alike, and the odd cent goes to the first.
    let [imke, tobias] = &shop.partners;
    let halves = owed(shop).await;
    assert!(
        halves == ["Imke 50.01 USD", "Tobias 50.00 USD"] || halves == ["Imke 50.00 USD", "Tobias 50.01 USD"]
    );
    let form = shop.get("/money/shares").await.ok().form("form[action='/money/split']");
    let part = |partner: &str| format!("part_{partner}");
    assert_eq!((form.value(&part(&imke.id)), form.value(&part(&tobias.id))), ("50", "50"));
    let parts = |a: &str, b: &str| form.clone().set(&part(&imke.id), a).set(&part(&tobias.id), b);
    let back = shop.submit(parts("60", "30")).await.ok();
    assert!(back.says("add up to 100 %"), "{}", back.text("main"));
    let back = shop.submit(parts("60", "40").set("from", "2999-01")).await.ok();
    assert!(back.text("#from-problem").contains("between"));
    shop.submit(parts("60", "40")).await.ok();
    // 60.006 and 40.004.
    assert_eq!(owed(shop).await, ["Imke 60.01 USD", "Tobias 40.00 USD"]);
    let page = shop.get("/money/shares").await.ok();
    assert!(page.says("Imke 60\u{a0}%, Tobias 40\u{a0}%") || page.says("Imke 60 %, Tobias 40 %"));

    // By hours instead: one to three.
    let form = page.form("form[action='/money/split']").set("basis", "hours");
    shop.submit(form).await.ok();
    for (partner, hours) in [(imke, "1"), (tobias, "3")] {
        let page = shop.get("/money/hours").await.ok();
        let form = page.form("form[action='/money/hours']").set("who", &partner.id).set("hours", hours);
        shop.submit(form).await.ok();
    }
    // 25.0025 and 75.0075.
    assert_eq!(owed(shop).await, ["Imke 25.00 USD", "Tobias 75.01 USD"]);
}

async fn partners_take_out_put_in_and_pay_each_other(shop: &TestShop) {
    entered(shop, "in", "sale", "100").await;
    let [imke, tobias] = &shop.partners;
    let page = shop.get("/money/shares").await.ok();
    let form = || page.form("form[action='/money/payments']");
    let pay = |from: &str, to: &str, amount: &str| {
        form().forge("payment_id", &new_id()).set("payer", from).set("paid", to).set("amount", amount)
    };
    let back = shop.submit(pay("shop", "shop", "5")).await.ok();
    assert!(back.text("#paid-problem").contains("two different sides"));
    let back = shop.submit(pay("shop", &imke.id, "0")).await.ok();
    assert!(back.text("#amount-problem").contains("between"));
    let out = pay("shop", &imke.id, "70");
    for _ in 0..2 {
        shop.submit(out.clone()).await.ok();
    }
    shop.submit(pay(&tobias.id, "shop", "10")).await.ok();
    // Imke 50 − 70, Tobias 50 + 10.
    assert_eq!(owed(shop).await, ["Imke owes 20.00 USD", "Tobias 60.00 USD"]);
    let between = pay(&imke.id, &tobias.id, "20");
    for _ in 0..2 {
        shop.submit(between.clone()).await.ok();
    }
    assert_eq!(owed(shop).await, ["Imke 0.00 USD", "Tobias 40.00 USD"]);
    // What is left over is not theirs to change.
    assert_eq!(left(shop).await, "100.00 USD");
    // Undone, both sides are.
    let entries = shop.get(&format!("/money/entries?partner={}", imke.id)).await.ok();
    let side = shop.get(&entries.attributes("li a.head", "href")[0]).await.ok();
    assert!(side.says("a payment between partners"));
    shop.submit(side.form("form[action$='/undo']")).await.ok();
    assert_eq!(owed(shop).await, ["Imke owes 20.00 USD", "Tobias 60.00 USD"]);
}

async fn figures_open_to_their_entries_alone(shop: &TestShop) {
    let yard = shop.near_yard(&[]).await;
    let far = shop.far_yard(&[]).await;
    let pickup = new_id();
    let entry = |day, kind, amount| NewEntry::new(new_id(), day, kind, Money::new(amount, Currency::USD));
    let of = |outlet: &trade::ids::OutletId, grade: &str, month, amount| NewEntry {
        outlet_id: Some(outlet.clone()),
        grade_id: Some(GradeId::from(grade)),
        source_id: Some(pickup.clone()),
        ..entry(date(2025, month, 10), Kind::Sale, amount)
    };
    let mut entries = vec![
        of(&yard, "copper-1", 3, dec!(100)),
        of(&yard, "copper-2", 4, dec!(50)),
        of(&far, "copper-2", 4, dec!(25)),
        entry(date(2025, 4, 11), Kind::Trip, dec!(-8)),
        entry(date(2024, 4, 11), Kind::Trip, dec!(-9)),
    ];
    // More than a page of them.
    entries.extend(
        (0..60)
            .map(|nth| entry(date(2025, 12, 1 + (nth % 28) as i8), Kind::Box, Decimal::new(-100 - nth, 2))),
    );
    shop.store.enter_cash(&shop.by(), &entries).await.expect("the book takes them");

    let page = shop.get("/money?year=2025").await.ok();
    let open = |page: &Page, words: &str| page.link(words);
    let amounts = |page: &Page| page.texts("li a.head .number");
    for (words, found) in [
        ("Quay Metals", vec!["50.00 USD", "100.00 USD"]),
        ("No. 2 copper", vec!["25.00 USD", "50.00 USD"]),
        ("a pickup", vec!["25.00 USD", "50.00 USD", "100.00 USD"]),
        ("trips", vec!["−8.00 USD"]),
    ] {
        let list = shop.get(&open(&page, words)).await.ok();
        assert_eq!(amounts(&list), found, "{words}");
        assert!(list.says("2025") && list.has("a[href='/money/entries']"));
    }
    let april = shop.get("/money?month=2025-04").await.ok();
    assert_eq!(april.text(".chosen .figure"), "67.00 USD");
    assert!(april.has("a[href='/money?month=2025-04'][aria-current]"));
    let list = shop.get(&april.link("Quay Metals")).await.ok();
    assert_eq!(amounts(&list), ["50.00 USD"]);
    // All of December, a page after the other.
    let december =
        shop.get(&shop.get("/money?month=2025-12").await.ok().link("boxes and packing")).await.ok();
    let mut all = amounts(&december);
    assert_eq!(all.len(), 50);
    let rest = shop.get(&december.link("Older")).await.ok();
    assert!(!rest.has("a[href*='before=']"));
    all.extend(amounts(&rest));
    let mut sorted: Vec<Decimal> = all.iter().map(|shown| crate::common::market::amount(shown)).collect();
    sorted.sort();
    sorted.dedup();
    assert_eq!(sorted.len(), 60, "none twice, none left out");
    // Whatever is typed into the address, there is a page.
    for query in ["?year=99999", "?month=2025-13", "?month=x&year=", "?year=-5"] {
        shop.get(&format!("/money{query}")).await.ok();
    }
    for query in ["?before=x", "?before=2025-01-01_x", "?from=a&to=b&kind=c&currency=d", "?outlet=x%27%3B--"]
    {
        shop.get(&format!("/money/entries{query}")).await.ok();
    }
}

async fn taken(shop: &TestShop, url: &str) -> Bytes {
    let request = shop.phone().request("GET", url).body(Body::empty()).expect("a request");
    let answer = shop.phone().answer(request).await;
    assert_eq!(answer.status(), StatusCode::OK);
    let name = answer.headers()["content-disposition"].to_str().expect("text").to_string();
    assert!(name.starts_with("attachment; filename=\"cash-book-20"), "{name}");
    answer.into_body().collect().await.expect("the whole file").to_bytes()
}

async fn the_book_goes_along_as_rows_workbook_and_journal(shop: &TestShop) {
    let yard = shop.near_yard(&[]).await;
    let cad = Money::new(dec!(100.10), Currency::CAD);
    let sale = NewEntry {
        outlet_id: Some(yard),
        rate: RateUsed::Got(dec!(0.7355)),
        note: "=HYPERLINK(\"http://example.org\"), \"two\" bags".into(),
        ..NewEntry::new(new_id(), date(2026, 5, 12), Kind::Sale, cad)
    };
    let yen = Money::new(dec!(-1235), Currency::JPY);
    let open = NewEntry::new(new_id(), date(2026, 5, 11), Kind::Fee, yen);
    shop.store.enter_cash(&shop.by(), &[sale.clone(), open]).await.expect("the book takes them");
    shop.store.value_cash(&shop.by(), &new_id(), &sale.id, dec!(0.75)).await.expect("another rate");

    let csv = taken(shop, "/money/book.csv").await;
    let mut reader = csv::Reader::from_reader(csv.as_ref());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    // In the order of their days: the yen, the dollars, and their later rate.
    let column = |nth: usize| rows.iter().map(|row| row[nth].to_string()).collect::<Vec<_>>();
    assert_eq!(column(0), ["2", "1", "3"]);
    assert_eq!(column(3), ["-1235", "100.10", ""]);
    // 73.62355 and 75.075: the second row adds what is missing to the first.
    assert_eq!(column(5), ["", "73.62", "1.46"]);
    assert!(
        rows[1][14].starts_with("'=HYPERLINK"),
        "no spreadsheet takes a note for a formula: {}",
        &rows[1][14]
    );

    // Calamine is another program's reader.
    let bytes = taken(shop, "/money/book.xlsx").await;
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes.to_vec())).expect("a workbook");
    let range = workbook.worksheet_range("Cash book").expect("its sheet");
    let cell = |row: u32, column: u32| range.get_value((row, column)).cloned().unwrap_or(Data::Empty);
    assert_eq!(cell(0, 3), Data::String("amount".into()));
    assert_eq!((cell(1, 3), cell(2, 3), cell(3, 3)), (Data::Float(-1235.0), Data::Float(100.1), Data::Empty));
    assert_eq!((cell(2, 5), cell(3, 5)), (Data::Float(73.62), Data::Float(1.46)));
    let Data::DateTime(day) = cell(2, 1) else { panic!("{:?}", cell(2, 1)) };
    // 12 May 2026 is day 46154 of the calendar that workbooks count in: 2026-01-01 is 46023 (from memory), and 131 more.
    assert!(day.is_datetime() && (day.as_f64() - 46154.0).abs() < f64::EPSILON, "{day:?}");
    assert_eq!(cell(2, 14), Data::String(sale.note.clone()));
    assert!(workbook.worksheet_formula("Cash book").expect("formulas").is_empty(), "nothing is a formula");

    let journal = String::from_utf8(taken(shop, "/money/book.beancount").await.to_vec()).expect("text");
    assert!(
        journal.contains("Assets:Cash  100.10 CAD @@ 75.08 USD\n  Income:Sales  -100.10 CAD @@ 75.08 USD")
    );
    assert!(journal.contains("2026-05-13 balance Assets:Cash  100.10 CAD"));
    assert!(journal.contains("2026-05-11 open Equity:Partners:Imke"));

    // An empty book is a book.
    let other = shop.open_another().await;
    drop(other);
}

async fn another_shops_book_is_closed(shop: &TestShop) {
    let entry = entered(shop, "out", "fee", "3").await;
    let id = id_of(&entry);
    let stranger = shop.strange_phone();
    for url in [
        "/money",
        "/money/entries",
        "/money/shares",
        "/money/hours",
        "/money/book.csv",
        "/money/book.xlsx",
        "/money/book.beancount",
        entry.url.as_str(),
    ] {
        let page = stranger.get(url).await;
        assert!(page.url.starts_with("/sign-in") || page.status == StatusCode::UNAUTHORIZED, "{url}: {page}");
    }
    let other = shop.open_another().await;
    assert!(shop.store.cash_entry(&other.shop_id, &id).await.is_err());
    assert_eq!(shop.get(&format!("/money/entries/{}", new_id())).await.status, StatusCode::NOT_FOUND);
    let forms = [entry.form("form[action$='/undo']")];
    for mut form in forms {
        form.action = format!("/money/entries/{}/undo", new_id());
        assert_eq!(shop.submit(form).await.status, StatusCode::NOT_FOUND);
    }
}
