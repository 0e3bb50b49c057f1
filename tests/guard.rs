//! What is refused before it does anything, and what every answer carries.

use std::collections::{BTreeMap, BTreeSet};

use axum::body::Body;
use axum::http::header::{CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{Request, StatusCode};

use crate::common::{Form, Page, SHOP_HOST, TestShop, on_both};

on_both![
    a_name_that_the_box_does_not_go_by_is_refused,
    a_form_from_another_site_is_refused,
    every_answer_carries_the_headers,
    a_page_asks_nobody_else_and_has_nothing_inline,
    what_is_not_there_is_a_page_that_says_so,
    a_method_that_an_address_does_not_take_is_a_page_too,
    a_form_cut_short_is_refused,
    too_large_a_body_is_refused,
    opening_pages_changes_nothing,
    the_health_address_answers,
];

/// A page that a partner can read: words of what was wrong, and a way on.
#[track_caller]
fn assert_failure(page: &Page, status: StatusCode) {
    assert_eq!(page.status, status, "{page}");
    assert!(page.text("h1").len() > 10 && page.text("main p").len() > 20, "{page}: {}", page.body);
    assert!(page.has("a[href='/']"), "{page}");
    for machine_word in ["sqlx", "SQL", "error returned", "panicked", "No such file"] {
        assert!(!page.says(machine_word), "{page} shows {machine_word}");
    }
}

async fn a_name_that_the_box_does_not_go_by_is_refused(shop: &TestShop) {
    let ask = |host: &str| Request::get("/join").header(HOST, host).body(Body::empty()).expect("a request");
    for host in [SHOP_HOST, "127.0.0.1", "[::1]:8080", "localhost:8080", "shopbox.local"] {
        assert_eq!(shop.phone().send(ask(host)).await.status, StatusCode::OK, "{host}");
    }
    for host in ["evil.example", "shopbox.local.evil.example", "192.168.1.20.evil.example:8080", "<script>"] {
        let page = shop.phone().send(ask(host)).await;
        assert_failure(&page, StatusCode::MISDIRECTED_REQUEST);
        assert!(!page.has("main script, .tickets"));
    }
    let nameless = Request::get("/lots").body(Body::empty()).expect("a request");
    assert_failure(&shop.phone().send(nameless).await, StatusCode::MISDIRECTED_REQUEST);
}

async fn a_form_from_another_site_is_refused(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let undo = format!("/weighings/{}/undo", shop.put(&lot, "1 lb").await);
    let before = shop.everything().await;
    for (origin, fetch_site) in [
        (Some("http://evil.example"), Some("cross-site")),
        (Some("http://evil.example"), None),
        (Some("null"), Some("cross-site")),
        (Some("http://192.168.1.20:9999"), Some("same-site")),
        (None, Some("cross-site")),
    ] {
        let mut request =
            shop.phone().request("POST", &undo).header(CONTENT_TYPE, "application/x-www-form-urlencoded");
        if let Some(origin) = origin {
            request = request.header(ORIGIN, origin);
        }
        if let Some(site) = fetch_site {
            request = request.header("sec-fetch-site", site);
        }
        let page = shop.phone().send(request.body(Body::empty()).expect("a request")).await;
        assert_failure(&page, StatusCode::FORBIDDEN);
    }
    assert_eq!(shop.everything().await, before);
    // A link from another site still opens a page.
    let link = shop.phone().request("GET", "/lots").header("sec-fetch-site", "cross-site");
    assert_eq!(shop.phone().send(link.body(Body::empty()).expect("a request")).await.status, StatusCode::OK);
}

async fn every_answer_carries_the_headers(shop: &TestShop) {
    let stylesheet = shop.get("/lots").await.attributes("link[rel=stylesheet]", "href");
    let other_name = Request::get("/").header(HOST, "evil.example").body(Body::empty()).expect("a request");
    let mut answers = vec![shop.phone().send(other_name).await];
    for address in ["/lots", "/healthz", "/no-such-page", "/lots/no-such-lot", stylesheet[0].as_str()] {
        answers.push(shop.get(address).await);
    }
    for page in answers {
        let header =
            |name: &str| page.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
        let policy = header("content-security-policy");
        assert!(policy.starts_with("default-src 'none'"), "{page}: {policy}");
        assert!(!policy.contains("unsafe") && !policy.contains("http"), "{page}: {policy}");
        assert!(
            policy.contains("frame-ancestors 'none'") && policy.contains("form-action 'self'"),
            "{page}: {policy}"
        );
        assert_eq!(header("x-content-type-options"), "nosniff", "{page}");
        assert_eq!(header("referrer-policy"), "same-origin", "{page}");
        assert!(!header("x-request-id").is_empty(), "{page}");
        let kept = if page.url.starts_with("/static/") { "immutable" } else { "" };
        assert!(header("cache-control").contains(kept), "{page}");
    }
    assert_eq!(shop.get("/lots").await.headers["cache-control"], "no-store");
}

/// Of pages of one shape (every kind's, every grade's, every lot's) so many are opened.
const OF_A_SHAPE: usize = 6;

/// Every shape of page that the pages link to, from Today on.
pub async fn crawl(shop: &TestShop) -> Vec<Page> {
    let mut pages = Vec::new();
    let mut seen = BTreeSet::new();
    let mut shapes: BTreeMap<String, usize> = BTreeMap::new();
    let mut open = vec!["/".to_string()];
    while let Some(address) = open.pop() {
        if !seen.insert(address.clone()) {
            continue;
        }
        let of_shape = shapes.entry(shape(&address)).or_default();
        *of_shape += 1;
        if *of_shape > OF_A_SHAPE {
            continue;
        }
        assert!(seen.len() < 1000, "the pages link to each other without end");
        let page = shop.get(&address).await;
        // What describes the API is no page.
        if page.headers.get(CONTENT_TYPE).is_some_and(|kind| kind == "application/json") {
            continue;
        }
        let links = page.attributes("a[href]:not([download])", "href").into_iter();
        open.extend(
            links.filter_map(|to| Some(to.split('#').next()?.to_string())).filter(|to| !to.is_empty()),
        );
        pages.push(page);
    }
    pages
}

/// The address without what tells one of many from another: ids, slugs and the values of its query.
fn shape(address: &str) -> String {
    let (path, query) = address.split_once('?').unwrap_or((address, ""));
    let mut parent = "";
    let parts = path.split('/').map(|part| {
        let one_of_many =
            matches!(parent, "bench" | "grades" | "prices") || part.contains(|c: char| c.is_ascii_digit());
        parent = part;
        if one_of_many { "*" } else { part }
    });
    let parts: Vec<&str> = parts.collect();
    let names: Vec<&str> = query.split('&').filter_map(|pair| pair.split('=').next()).collect();
    format!("{}?{}", parts.join("/"), names.join("&"))
}

async fn a_page_asks_nobody_else_and_has_nothing_inline(shop: &TestShop) {
    furnish(shop).await;
    for page in crawl(shop).await {
        assert!(!page.has("script:not([src]), style, [style]"), "{page}");
        assert!(!page.body.contains("javascript:"), "{page}");
        for attribute in ["onclick", "onsubmit", "onchange", "oninput", "onload"] {
            assert!(!page.has(&format!("[{attribute}]")), "{page}");
        }
        for (selector, attribute) in [("[src]", "src"), ("link", "href"), ("a", "href"), ("form", "action")] {
            for address in page.attributes(selector, attribute) {
                assert!(!address.contains("//"), "{page} leads to {address}");
            }
        }
        assert!(page.attributes("html", "lang") == ["en"] && page.texts("h1").len() == 1, "{page}");
    }
}

/// Something on every screen.
async fn furnish(shop: &TestShop) {
    let first = shop.bag("Bag 1", "board-set-top").await;
    shop.put(&first, "2 lb 5 oz").await;
    let second = shop.bag("Bag 2", "board-set-top").await;
    shop.put(&second, "1 lb").await;
    let merge = shop.get(&format!("/lots/{second}/merge")).await.form("main form").set("into", &first);
    shop.submit(merge).await.ok();
    shop.bag("Bag 3", "copper-2").await;
}

async fn what_is_not_there_is_a_page_that_says_so(shop: &TestShop) {
    for address in [
        "/no-such-page",
        "/lots/no-such-lot",
        "/lots/01a211f2-8a3a-76ed-8673-321d0ed11a49/weigh",
        "/weighings/01a211f2-8a3a-76ed-8673-321d0ed11a49",
        "/containers/%27%20OR%201=1--/label",
        "/lots/%00",
        "/weigh?find=%00",
        "/static/no-such-file.css",
    ] {
        assert_failure(&shop.get(address).await, StatusCode::NOT_FOUND);
    }
    assert_failure(&shop.get("/lots/%ff").await, StatusCode::BAD_REQUEST);
    let lot = shop.bag("Bag 1", "copper-2").await;
    let mut form = shop.get(&format!("/lots/{lot}/weigh")).await.form("form.ticket").set("reading", "1 lb");
    form.action = "/lots/no-such-lot/weigh".into();
    assert_failure(&shop.submit(form).await, StatusCode::NOT_FOUND);
}

async fn a_method_that_an_address_does_not_take_is_a_page_too(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let undo = format!("/weighings/{}/undo", shop.put(&lot, "1 lb").await);
    assert_failure(&shop.get(&undo).await, StatusCode::METHOD_NOT_ALLOWED);
    let delete = shop
        .phone()
        .request("DELETE", "/lots")
        .header("x-form-token", shop.phone().form_token().expect("signed in"));
    let delete = delete.body(Body::empty()).expect("a request");
    assert_failure(&shop.phone().send(delete).await, StatusCode::METHOD_NOT_ALLOWED);
}

async fn new_lot(shop: &TestShop) -> Form {
    let form = shop.get("/lots/new").await.form("form[action='/lots/new']");
    form.set("grade", "copper-2").set("label", "Bag 1")
}

async fn a_form_cut_short_is_refused(shop: &TestShop) {
    let before = shop.everything().await;
    let form = new_lot(shop).await;
    for (field, value) in [("lot_id", ""), ("lot_id", "1"), ("container_id", "../../etc"), ("lot_id", "x\0")]
    {
        assert_failure(&shop.submit(form.clone().forge(field, value)).await, StatusCode::BAD_REQUEST);
    }
    let token = shop.phone().form_token().expect("signed in");
    let json = shop.phone().request("POST", "/lots/new").header("x-form-token", token);
    let json = json.header(CONTENT_TYPE, "application/json");
    let page = shop.phone().send(json.body(Body::from("{}")).expect("a request")).await;
    assert_failure(&page, StatusCode::BAD_REQUEST);
    assert_eq!(shop.everything().await, before);
}

async fn too_large_a_body_is_refused(shop: &TestShop) {
    let before = shop.everything().await;
    let form = new_lot(shop).await;
    let page = shop.submit(form.forge("source", &"x".repeat(11 * 1024 * 1024))).await;
    assert_failure(&page, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(shop.everything().await, before);
}

async fn opening_pages_changes_nothing(shop: &TestShop) {
    furnish(shop).await;
    let before = shop.everything().await;
    assert!(before.iter().any(|row| row.contains("Bag 3")), "the comparison sees the rows");
    let pages = crawl(shop).await;
    assert!(pages.len() > 15, "the crawl found only {} pages", pages.len());
    assert_eq!(shop.everything().await, before);
}

async fn the_health_address_answers(shop: &TestShop) {
    assert_eq!(shop.get("/healthz").await.ok().body, "ok\n");
    shop.store.close().await;
    let ill = shop.get("/healthz").await;
    assert_eq!(ill.status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(!ill.body.contains("sqlx"), "{}", ill.body);
}
