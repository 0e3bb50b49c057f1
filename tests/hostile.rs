//! Whatever is sent to whatever address: never a failure of the program's own, never a page without its headers, never a
//! record that is unsound. The addresses are read from the router's own list, the fields from the pages' own forms.

mod strange;

use std::collections::BTreeSet;

use axum::body::Body;
use axum::http::header::{CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{Request, StatusCode};
use pennyweight::store::new_id;
use serde_json::Value;

use crate::common::market::buyer;
use crate::common::{Form, Page, SHOP_HOST, TestShop, on_both};
use crate::guard::crawl;
use crate::photos::from_a_phone;
use crate::pickups::{details, written_down};
use crate::sheets::{lakeside, upload};

on_both![
    any_address_takes_any_id,
    any_post_takes_any_body,
    any_form_takes_anything_in_any_field,
    any_address_of_the_api_takes_anything,
    no_post_is_taken_from_another_site,
    an_upload_with_a_hostile_name_or_content_is_stored_and_given_back_harmless,
];

/// An address of the router, as `server/web/mod.rs` lists it.
pub(crate) struct Route {
    pub(crate) path: &'static str,
    pub(crate) takes_post: bool,
}

pub(crate) fn routes() -> Vec<Route> {
    let source = include_str!("../server/web/mod.rs");
    let route = |part: &'static str| {
        let part = part.split(".route(").next().expect("the part up to the next one");
        let path = part.split('"').nth(1).expect("its path");
        Route { path, takes_post: part.contains("post(") }
    };
    // What is told as it happens has no end that could be waited for.
    let ends = |route: &Route| route.path != "/live";
    let routes: Vec<Route> = source.split(".route(").skip(1).map(route).filter(ends).collect();
    assert!(routes.len() > 60 && routes.iter().all(|route| route.path.starts_with('/')));
    assert!(routes.iter().filter(|route| route.takes_post).count() > 35);
    routes
}

impl Route {
    /// Its addresses with each of the ids; one that takes no id has one.
    fn with_each(&self, ids: &[String]) -> BTreeSet<String> {
        ids.iter().map(|id| self.with(id)).collect()
    }

    /// The address with `id` wherever it takes one.
    pub(crate) fn with(&self, id: &str) -> String {
        let parts = self.path.split('/').map(|part| if part.starts_with('{') { id } else { part });
        parts.collect::<Vec<_>>().join("/")
    }

    /// What signs a phone out, whatever is sent with it.
    pub(crate) fn ends_a_session(&self) -> bool {
        self.path == "/sign-out"
    }

    fn is_of(&self, action: &str) -> bool {
        let path = action.split('?').next().unwrap_or_default();
        let (mine, theirs) = (self.path.split('/'), path.split('/'));
        self.path.split('/').count() == path.split('/').count()
            && mine.zip(theirs).all(|(mine, theirs)| mine.starts_with('{') || mine == theirs)
    }
}

/// An answer of the program's own making: no failure of its own, and what every answer carries.
#[track_caller]
fn assert_held(page: &Page, what: &str) {
    assert!(!page.status.is_server_error(), "{what}: {page}\n{}", page.body);
    let header =
        |name: &str| page.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    assert!(header("content-security-policy").starts_with("default-src 'none'"), "{what}: {page}");
    assert_eq!(header("x-content-type-options"), "nosniff", "{what}: {page}");
    // What is refused before it reaches the API is a page there too.
    if page.status.is_client_error() && header("content-type").ends_with("json") {
        assert!(page.url.starts_with("/api/"), "{what}: {page}");
        let problem: Value = serde_json::from_str(&page.body).expect("JSON");
        assert!(problem["title"].is_string(), "{what}: {page} {problem}");
    } else if page.status.is_client_error() {
        assert!(header("content-type").starts_with("text/html"), "{what}: {page}");
        assert!(has_a_heading(&page.body), "{what}: {page}");
    }
    assert!(!page.body.contains("<script>") && !page.body.contains("<SCRIPT"), "{what}: {page}");
}

/// Whether a page has a heading with words in it. To parse each of some ten thousand pages takes longer than to make them.
fn has_a_heading(html: &str) -> bool {
    let heading = html.split_once("<h1").and_then(|(_, rest)| rest.split_once('>'));
    let words = heading.and_then(|(_, rest)| rest.split_once("</h1>"));
    // What stands outside of its tags.
    let texts =
        words.into_iter().flat_map(|(words, _)| words.split('<')).filter_map(|part| part.rsplit('>').next());
    texts.into_iter().any(|text| text.contains(char::is_alphanumeric))
}

/// Something on every screen, so that each of them has its forms.
pub(crate) async fn furnished(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let lines = [("board-set-top", "2.00/lb"), ("copper-2", "1.00/lb")];
    let boards = shop.outlet(&buyer("Board House", &carrier), &lines).await;
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let closed = shop.far_yard(&[("copper-2", "3.00/lb")]).await;
    shop.close_outlet(&closed).await;
    shop.cad_rate(3, rust_decimal::dec!(0.75)).await;
    shop.filled("Bag 1", "board-set-top", "39 lb").await;
    shop.filled("Bag 2", "copper-2", "20 lb").await;
    shop.filled("Bag 3", "copper-2", "2 lb").await;
    let packed = shop.filled("Bag 4", "board-set-top", "9 lb").await;
    shop.packed(&[&packed], &boards, 0).await;
    let drum = shop.filled("Drum 1", "copper-2", "200 lb").await;
    let run = shop.get("/runs/new").await.ok().form("form[action='/runs']");
    let only = run.options("lot").iter().find(|value| value.ends_with(&drum)).expect("it is offered").clone();
    let run = shop.submit(run.forge("lot", &only)).await.ok();
    shop.submit(run.form("form[action$='/leave']")).await.ok();
    let pickup = written_down(shop, &details(shop, "Elm Street school", 3)).await;
    let page = shop.get(&format!("/pickups/{}", pickup.id)).await.ok();
    let photo = page.form("#photos form").attach("file", "a.jpg", "image/jpeg", from_a_phone());
    shop.submit(photo).await.ok();
    shop.retire_grade("brass-yellow").await;
    let outlet = lakeside(shop).await;
    upload(shop, &outlet, "may.csv", "Item,Price per lb\nNo. 2 copper,3.60\nMystery,1\n").await.ok();
    for (kind, id) in [("services", carrier), ("boxes", carton(shop).await)] {
        let address = format!("/freight/{kind}/{id}");
        let page = shop.get(&address).await.ok();
        shop.submit(page.form(&format!("form[action='{address}/retire']"))).await.ok();
    }
}

async fn carton(shop: &TestShop) -> String {
    shop.store.cartons(&shop.id).await.expect("boxes").remove(0).id
}

async fn any_address_takes_any_id(shop: &TestShop) {
    furnished(shop).await;
    let before = shop.everything().await;
    for route in routes() {
        for address in route.with_each(&strange::ids()) {
            assert_held(&shop.get(&address).await, &format!("GET {address}"));
        }
    }
    // What pages ask in an address's query.
    let mut names = BTreeSet::new();
    let mut asking = BTreeSet::new();
    for page in crawl(shop).await {
        for link in page.attributes("a[href]", "href") {
            if let Some((path, query)) = link.split('#').next().unwrap_or_default().split_once('?') {
                asking.insert(path.to_string());
                names.extend(query.split('&').filter_map(|pair| Some(pair.split('=').next()?.to_string())));
            }
        }
        asking.insert(page.url.split('?').next().unwrap_or_default().to_string());
    }
    let mut reached = BTreeSet::new();
    asking.retain(|path| {
        let routes = routes();
        routes.iter().find(|route| route.is_of(path)).is_some_and(|route| reached.insert(route.path))
    });
    names.extend(["find", "family", "from", "outlet", "page", "show"].map(str::to_string));
    for path in asking {
        for value in
            ["", "-1", "99999999999999999999", "%00", "%ff", "%F0%9F%A6%86", "%3Cscript%3E", "a%5B%5D"]
        {
            let query: Vec<String> = names.iter().map(|name| format!("{name}={value}")).collect();
            let address = format!("{path}?{}", query.join("&"));
            assert_held(&shop.get(&address).await, &format!("GET {address}"));
        }
    }
    assert_eq!(shop.everything().await, before);
}

fn post(shop: &TestShop, address: &str, kind: &str, body: Vec<u8>) -> Request<Body> {
    let request = shop.phone().request("POST", address).header(ORIGIN, format!("http://{SHOP_HOST}"));
    let request = if kind.is_empty() { request } else { request.header(CONTENT_TYPE, kind) };
    // Past the question whether it comes from a page of ours, which has stories of its own.
    let token = shop.phone().form_token().expect("somebody is signed in");
    let request = request.header("x-form-token", token);
    request.header("content-length", body.len()).body(Body::from(body)).expect("a request")
}

async fn any_post_takes_any_body(shop: &TestShop) {
    furnished(shop).await;
    let lot = shop.filled("Bag 9", "copper-2", "1 lb").await;
    let before = shop.everything().await;
    let ids = [lot.clone(), new_id(), "copper-2".to_string(), "%00".to_string(), "x".to_string()];
    let mut turn = 0;
    for route in routes().iter().filter(|route| route.takes_post && !route.ends_a_session()) {
        for address in route.with_each(&ids) {
            for (kind, body) in half(shop, &mut turn, strange::bodies()) {
                let what = format!("POST {address} {kind} {} bytes", body.len());
                let page = shop.phone().send(post(shop, &address, kind, body)).await;
                assert_held(&page, &what);
            }
        }
    }
    // The note of a lot is a form of one field with a version, a retired grade can be brought back without one, and who
    // tries to sign in is counted: all else needs more than such a body has.
    let untouched = |rows: Vec<String>| -> Vec<String> {
        let may_change = ["lots: ", "grades: ", "activity: ", "tries: "];
        rows.into_iter().filter(|row| !may_change.iter().any(|table| row.starts_with(table))).collect()
    };
    let (before, after) = (untouched(before), untouched(shop.everything().await));
    let new: Vec<&String> = after.iter().filter(|row| !before.contains(row)).collect();
    assert!(new.is_empty() && before.len() == after.len(), "{new:#?}");
}

/// Every form with an own address that a partner comes to, and those that read back what was typed.
pub(crate) async fn all_forms(shop: &TestShop) -> Vec<Form> {
    let mut pages = crawl(shop).await;
    let weigh = pages.iter().find(|page| page.url.ends_with("/weigh") && page.url.starts_with("/lots/"));
    let weigh = weigh.expect("a bag that can be weighed").form("form.ticket").set("reading", "1 lb 2 oz");
    pages.push(shop.submit(weigh).await.ok());
    let rate = shop.get("/rates/new").await.ok().form("form[action='/rates/new'][method=post]");
    pages.push(shop.submit(rate.set("base", "USD").set("quote", "CAD").set("rate", "1.35")).await.ok());
    let mut forms: Vec<Form> = pages.iter().flat_map(|page| page.forms("form[method=post]")).collect();
    let outside = shop.strange_phone();
    for address in ["/sign-in", "/join"] {
        forms.extend(outside.get(address).await.ok().forms("form[method=post]"));
    }
    // One to each address of the router, that with the most fields.
    let routes = routes();
    forms.sort_by_key(|form| std::cmp::Reverse(form.fields.len()));
    let mut reached = BTreeSet::new();
    forms.retain(|form| {
        let route = routes.iter().find(|route| route.is_of(&form.action));
        reached.insert(route.unwrap_or_else(|| panic!("{} is no address of the router", form.action)).path)
    });
    assert!(forms.len() > 35, "only {} forms", forms.len());
    // An address that no page leads to just now takes the fields of another.
    for route in routes.iter().filter(|route| route.takes_post) {
        if !forms.iter().any(|form| route.is_of(&form.action)) {
            let mut form = forms[0].clone();
            form.action = route.with(&new_id());
            forms.push(form);
        }
    }
    // Whoever is signed out, let go or made a helper reaches nothing more: such forms come last.
    let is_about_people = |form: &Form| {
        ["/people", "/phones", "/sign-", "/join", "/shop/new"]
            .iter()
            .any(|start| form.action.starts_with(start))
    };
    forms.sort_by_key(is_about_people);
    forms
}

/// Fields that are numbered or named after an id are alike.
fn shape_of(name: &str) -> String {
    name.split(|c: char| c.is_ascii_digit()).next().unwrap_or_default().to_string()
}

/// Every other one, and on the other database the others; those and these change places from one field or address to the next, so
/// that each of them meets either database somewhere.
fn half<T>(shop: &TestShop, turn: &mut usize, all: Vec<T>) -> impl Iterator<Item = T> {
    *turn += 1;
    all.into_iter().skip((*turn + usize::from(shop.is_on_postgres())) % 2).step_by(2)
}

/// Sends a form and leaves it at the answer: where that leads is crawled in the end.
async fn sent(shop: &TestShop, form: Form) -> Page {
    shop.phone().send(shop.phone().posted(form)).await
}

async fn any_form_takes_anything_in_any_field(shop: &TestShop) {
    furnished(shop).await;
    let (mut seen_to_work, mut turn) = (false, 0);
    for mut form in all_forms(shop).await {
        if form.action.starts_with("/people") && !seen_to_work {
            seen_to_work = true;
            still_open(shop).await;
        }
        let names: BTreeSet<String> = form.fields.iter().map(|field| field.name.clone()).collect();
        let mut shapes = BTreeSet::new();
        for name in names.iter().filter(|name| shapes.insert(shape_of(name))) {
            let every_time = strange::NO_DATABASE_KEEPS.map(|value| Some(value.to_string()));
            for value in every_time.into_iter().chain(half(shop, &mut turn, strange::values())) {
                let mut forged = form.clone();
                forged.fields.retain(|field| field.name != *name);
                let forged = value.iter().fold(forged, |form, value| form.forge(name, value));
                let answer = sent(shop, forged).await;
                assert_held(&answer, &format!("POST {} with {name}={value:.40?}", form.action));
                // It went through: what comes next is not to be refused as out of date.
                if let (StatusCode::SEE_OTHER, Ok(version)) =
                    (answer.status, form.value("version").parse::<i64>())
                {
                    form = form.forge("version", &(version + 1).to_string());
                }
            }
        }
        let mut empty = form.clone();
        empty.fields.clear();
        assert_held(&sent(shop, empty).await, &format!("POST {} without any field", form.action));
        let mut twice = form.clone();
        twice.fields.extend(form.fields.clone());
        assert_held(&sent(shop, twice).await, &format!("POST {} with every field twice", form.action));
    }
    assert!(seen_to_work, "the forms about people come last");
}

/// The pages open after all that.
async fn still_open(shop: &TestShop) {
    for route in routes().iter().filter(|route| !route.path.contains('{')) {
        let page = shop.get(route.path).await;
        assert_held(&page, "afterwards");
        // A shop without HTTPS has no certificate to show.
        if route.path.starts_with("/certificate") {
            continue;
        }
        assert!(
            page.status.is_success() || page.status == StatusCode::METHOD_NOT_ALLOWED,
            "afterwards: {page}"
        );
    }
}

async fn any_address_of_the_api_takes_anything(shop: &TestShop) {
    furnished(shop).await;
    let lot = shop.filled("Bag 9", "copper-2", "1 lb").await;
    let before = shop.everything().await;
    let described = shop.get("/api/v1/openapi.json").await.ok();
    let described: Value = serde_json::from_str(&described.body).expect("JSON");
    let mut posts = 0;
    for (path, operations) in described["paths"].as_object().expect("its addresses") {
        for id in strange::ids().iter().chain([&lot]) {
            let address: Vec<&str> =
                path.split('/').map(|part| if part.starts_with('{') { id } else { part }).collect();
            let address = address.join("/");
            if operations.get("get").is_some() {
                assert_held(&shop.get(&address).await, &format!("GET {address}"));
            }
            if operations.get("post").is_none() {
                continue;
            }
            for (kind, body) in strange::bodies().into_iter().chain(strange::json()) {
                let what = format!("POST {address} {kind} {} bytes", body.len());
                assert_held(&shop.phone().send(post(shop, &address, kind, body)).await, &what);
                posts += 1;
            }
        }
    }
    assert!(posts > 100, "only {posts}");
    for address in ["/api", "/api/", "/api/v1", "/api/v2/lots", "/api/v1/lots/%00", "/api/%ff"] {
        assert_held(&shop.get(address).await, &format!("GET {address}"));
    }
    assert_eq!(shop.everything().await, before);
}

async fn no_post_is_taken_from_another_site(shop: &TestShop) {
    furnished(shop).await;
    let before = shop.everything().await;
    for form in all_forms(shop).await {
        for (header, value) in [
            ("origin", "http://evil.example"),
            ("origin", "null"),
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-site", "same-site"),
        ] {
            let mut request = shop.phone().posted(form.clone());
            for kept in ["origin", "sec-fetch-site"] {
                request.headers_mut().remove(kept);
            }
            request.headers_mut().insert(header, value.parse().expect("a header"));
            let page = shop.phone().send(request).await;
            assert_eq!(page.status, StatusCode::FORBIDDEN, "{} {header}: {value}", form.action);
            assert_held(&page, &form.action);
        }
        // Its own page, read through a name that somebody else's server gave out.
        let mut request = shop.phone().posted(form.clone());
        request.headers_mut().insert(HOST, "evil.example".parse().expect("a header"));
        request.headers_mut().insert(ORIGIN, "http://evil.example".parse().expect("a header"));
        let page = shop.phone().send(request).await;
        assert_eq!(page.status, StatusCode::MISDIRECTED_REQUEST, "{}", form.action);
        assert_held(&page, &form.action);
    }
    assert_eq!(shop.everything().await, before);
}

async fn an_upload_with_a_hostile_name_or_content_is_stored_and_given_back_harmless(shop: &TestShop) {
    let outlet = lakeside(shop).await;
    for (nth, name) in [
        "../../../etc/passwd",
        "C:\\Windows\\system32\\may.csv",
        "a%00.csv",
        "a\0.csv",
        "\u{202e}vsc.exe",
        "=cmd|' /C calc'!A0.csv",
        "<script>alert(1)</script>.csv",
        ".htaccess",
        &"n".repeat(5000),
    ]
    .into_iter()
    .enumerate()
    {
        // A zero byte, other control characters and a formula in the wording, too.
        let text =
            format!("Item,Price per lb\nNo. 2 copper,3.6{nth}\nOdd\0 \u{1}thing,1.00\n\"=1+1\",2.00\n");
        let review = upload(shop, &outlet, name, text.clone()).await;
        assert_held(&review, name);
        if name.contains('\0') {
            // RFC 7578 has no such name, and no browser sends one.
            assert_eq!(review.status, StatusCode::BAD_REQUEST);
            continue;
        }
        let saved = crate::sheets::confirm(shop, review.ok()).await;
        assert_held(&saved, name);
        let file = shop.get(&format!("{}/file", saved.url)).await.ok();
        assert_eq!(file.body, text, "it is kept as it came");
        assert_eq!(file.headers["content-type"], "application/octet-stream");
        let disposition = file.headers["content-disposition"].to_str().expect("plain ASCII");
        let inner =
            disposition.strip_prefix("attachment; filename=\"").and_then(|rest| rest.strip_suffix('"'));
        let inner = inner.unwrap_or_else(|| panic!("{disposition}"));
        assert!(
            !inner.is_empty()
                && !inner.starts_with('.')
                && !inner.contains(['"', '/', '\\', '\r', '\n', '=']),
            "{disposition}"
        );
        assert!(inner.len() <= 255, "no file system takes a name of {} bytes", inner.len());
    }
}
