//! What one partner saves is told to the other's open page.

use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use http_body_util::BodyExt;
use pennyweight::store::new_id;
use pennyweight::store::partners::{Partner, Role};

use crate::common::{Phone, TestShop, on_both};

on_both![
    what_is_saved_is_told_within_a_second,
    a_transaction_that_is_given_up_is_told_to_nobody,
    another_shops_changes_are_not_told,
    a_phone_that_is_signed_out_hears_no_more,
    nobody_listens_without_signing_in,
    a_phone_that_does_not_read_holds_nobody_up,
    the_activity_has_what_was_done,
];

/// An open page's line.
struct Line {
    body: Body,
    heard: String,
}

impl Line {
    async fn open(phone: &Phone) -> Line {
        let request = phone.request("GET", "/live").body(Body::empty()).expect("a request");
        let response = phone.answer(request).await;
        assert_eq!(response.status(), StatusCode::OK);
        assert_eq!(response.headers()[CONTENT_TYPE], "text/event-stream");
        let mut line = Line { body: response.into_body(), heard: String::new() };
        // Through Postgres, word of what was done just before may still be on its way.
        while line.within(Duration::from_millis(400)).await.is_some() {}
        line
    }

    /// The next event, if one comes within a second; `Some("")` where the line has ended.
    async fn next(&mut self) -> Option<String> {
        self.within(Duration::from_secs(1)).await
    }

    async fn within(&mut self, patience: Duration) -> Option<String> {
        let until = Instant::now() + patience;
        loop {
            if let Some((event, rest)) = self.heard.split_once("\n\n") {
                let (event, rest) = (event.to_string(), rest.to_string());
                self.heard = rest;
                return Some(event);
            }
            let left = until.saturating_duration_since(Instant::now());
            match tokio::time::timeout(left, self.body.frame()).await {
                Ok(Some(Ok(frame))) => {
                    let data = frame.into_data().expect("data");
                    self.heard.push_str(std::str::from_utf8(&data).expect("text"));
                }
                Ok(_) => return Some(String::new()),
                Err(_) => return None,
            }
        }
    }
}

async fn what_is_saved_is_told_within_a_second(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let tobias = shop.phone_of(&shop.partners[1]);
    let mut line = Line::open(&tobias).await;
    shop.put(&lot, "2 lb").await;
    let event = line.next().await.expect("it is told");
    assert!(event.contains("event: change"), "{event}");
    assert!(event.contains(r#""who":"Imke""#) && event.contains(r#""what":"lot""#), "{event}");
    assert_eq!(line.next().await, None, "once");
}

async fn a_transaction_that_is_given_up_is_told_to_nobody(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let mut line = Line::open(shop.phone()).await;
    // More than a lot may hold: refused after other rows of the transaction were written.
    let merged = shop.store.merge(&shop.by(), &lot, &new_id()).await;
    assert!(merged.is_err());
    let mut tx = shop.store.begin().await.expect("a transaction");
    tx.note(&shop.by(), pennyweight::store::activity::Noun::Lot, &lot, "weighed in", "")
        .await
        .expect("a note");
    drop(tx);
    assert_eq!(line.next().await, None);
}

async fn another_shops_changes_are_not_told(shop: &TestShop) {
    let other = shop.open_another().await;
    let mut line = Line::open(shop.phone()).await;
    let cleo = Partner { id: new_id(), name: "Cleo".into(), role: Role::Partner };
    shop.store.create_partner(&other, &cleo).await.expect("a partner next door");
    assert_eq!(line.next().await, None);
}

async fn a_phone_that_is_signed_out_hears_no_more(shop: &TestShop) {
    let tobias = shop.phone_of(&shop.partners[1]);
    let mut line = Line::open(&tobias).await;
    shop.submit(shop.get("/people").await.ok().form("#phones form")).await.ok();
    assert_eq!(line.next().await.as_deref(), Some(""), "the line ends");
}

async fn nobody_listens_without_signing_in(shop: &TestShop) {
    assert!(shop.strange_phone().get("/live").await.url.starts_with("/sign-in"));
}

async fn a_phone_that_does_not_read_holds_nobody_up(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let (mut stalled, mut reading) = (Line::open(shop.phone()).await, Line::open(shop.phone()).await);
    for _ in 0..300 {
        shop.put(&lot, "1 oz").await;
    }
    let mut told = 0;
    while reading.next().await.is_some() {
        told += 1;
    }
    assert!(told >= 1);
    // What it missed is summed up in the end.
    assert!(stalled.next().await.expect("told at last").contains("event: change"));
}

async fn the_activity_has_what_was_done(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let weighing = shop.put(&lot, "2 lb 5 oz").await;
    let tobias = shop.phone_of(&shop.partners[1]);
    let undo = tobias.get(&format!("/weighings/{weighing}")).await.ok().form("form[action$='/undo']");
    tobias.submit(undo).await.ok();
    let page = shop.get("/activity").await.ok();
    let lines = page.texts("main li");
    assert!(lines[0].contains("Tobias undid a weighing 2 lb 5 oz : Bag 1"), "{}", lines[0]);
    assert!(lines[1].contains("Imke weighed in 2 lb 5 oz : Bag 1"), "{}", lines[1]);
    assert!(lines[2].contains("Imke opened: Bag 1"), "{}", lines[2]);
    let of_tobias = shop.get(&format!("/activity?who={}&what=lot", shop.partners[1].id)).await.ok();
    assert_eq!(of_tobias.texts("main li").len(), 1);
    for wrong in ["who=%27&what=x", "before=x", "before=_", "before=9999_9", "what=%00"] {
        let page = shop.get(&format!("/activity?{wrong}")).await;
        assert!(page.status == StatusCode::OK || page.status == StatusCode::NOT_FOUND, "{wrong}: {page}");
    }
    // Page by page, each line once.
    for _ in 0..120 {
        shop.put(&lot, "1 oz").await;
    }
    let first = shop.get("/activity?what=lot").await.ok();
    let older = first.attributes("main a[href^='/activity']", "href");
    let second = shop.get(&older[0]).await.ok();
    assert_eq!(first.texts("main li").len(), 100);
    assert_eq!(second.texts("main li").len(), 23, "120 weighings, and the three of before");
    assert!(!second.has("main a[href^='/activity']"));
}
