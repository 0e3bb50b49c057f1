//! Several shops in one record: none sees or touches anything of another, whatever ids it sends to whatever address.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::{AUTHORIZATION, CONTENT_TYPE, HOST};
use jiff::Timestamp;
use pennyweight::archive;
use pennyweight::passphrase::Passphrase;
use pennyweight::secret::Token;
use pennyweight::store::partners::set_passphrase;
use pennyweight::store::rows::TABLES;
use pennyweight::store::{By, is_id, new_id};
use serde_json::Value;

use crate::common::{PASSPHRASE, Page, SHOP_HOST, TestShop, on_both};
use crate::guard::crawl;
use crate::hostile::{all_forms, furnished, routes};

on_both![
    no_address_opens_anything_of_another_shop,
    no_form_changes_anything_of_another_shop,
    no_request_of_the_api_reaches_another_shop,
    a_partner_signs_in_to_their_own_shop,
    a_shops_people_cannot_let_anybody_into_another,
];

/// Of each table so many ids are tried: what is refused for one row is refused for its neighbour.
const TRIED: usize = 1;

/// The shop next door: the demo, which has something of everything.
struct NextDoor {
    id: String,
    /// Some ids of each table.
    ids: BTreeMap<&'static str, Vec<String>>,
    /// What only its pages say.
    words: Vec<String>,
}

impl NextDoor {
    async fn open(shop: &TestShop) -> NextDoor {
        pennyweight::demo::load_into(&shop.store, Timestamp::now()).await.expect("the demo beside the shop");
        let shops = shop.store.shops().await.expect("shops");
        let demo = shops.into_iter().find(|known| known.id != shop.id).expect("the demo");
        let mut ids: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        let mut words = vec![demo.name];
        let mut snapshot = shop.store.snapshot().await.expect("a snapshot");
        for table in TABLES {
            let rows = snapshot.rows(table, &demo.id).await.expect("rows");
            let text = |column: &str| -> Vec<String> {
                rows.iter().filter_map(|row| row.get(column)?.as_str()).map(str::to_string).collect()
            };
            let some: Vec<String> = text("id").into_iter().filter(|id| is_id(id)).take(TRIED).collect();
            if !some.is_empty() {
                ids.insert(table.name, some);
            }
            if table.name == "outlets" {
                words.extend(text("name"));
            }
        }
        assert!(ids.len() >= 12 && words.len() > 6, "{ids:?} {words:?}");
        NextDoor { id: demo.id, ids, words }
    }

    fn all_ids(&self) -> impl Iterator<Item = &String> {
        self.ids.values().flatten()
    }

    #[track_caller]
    fn assert_untold(&self, page: &Page, what: &str) {
        for word in &self.words {
            assert!(!page.body.contains(word.as_str()), "{what} tells of {word}");
        }
    }

    /// Everything that it holds, by its digests.
    async fn digests(&self, shop: &TestShop) -> BTreeMap<String, String> {
        let mut bytes = Cursor::new(Vec::new());
        let shops = [self.id.clone()];
        let written = archive::write(&shop.store, &shops, Timestamp::now(), &mut bytes).await;
        written.expect("an archive").entries
    }
}

async fn no_address_opens_anything_of_another_shop(shop: &TestShop) {
    let next_door = NextDoor::open(shop).await;
    let before = next_door.digests(shop).await;
    let mut tried = 0;
    for route in routes().iter().filter(|route| route.path.contains('{')) {
        for id in next_door.all_ids() {
            let address = route.with(id);
            let page = shop.get(&address).await;
            let refused = [StatusCode::NOT_FOUND, StatusCode::METHOD_NOT_ALLOWED];
            assert!(refused.contains(&page.status), "{page}");
            next_door.assert_untold(&page, &address);
            tried += 1;
        }
    }
    assert!(tried > 300, "only {tried}");
    for page in crawl(shop).await {
        next_door.assert_untold(&page, &page.url);
    }
    assert_eq!(next_door.digests(shop).await, before);
}

async fn no_form_changes_anything_of_another_shop(shop: &TestShop) {
    furnished(shop).await;
    let next_door = NextDoor::open(shop).await;
    let before = next_door.digests(shop).await;
    let forms = all_forms(shop).await;
    for form in forms.iter().filter(|form| !form.action.starts_with("/sign-")) {
        // Its own address with the id of something next door, and each of its fields that holds an id with such a one.
        let parts: Vec<&str> = form.action.split('/').collect();
        let named: BTreeSet<&str> =
            form.fields.iter().filter(|field| is_id(&field.value)).map(|field| field.name.as_str()).collect();
        for id in next_door.all_ids() {
            let mut sent = Vec::new();
            if parts.iter().any(|part| is_id(part)) {
                let mut elsewhere = form.clone();
                let swapped: Vec<&str> =
                    parts.iter().map(|part| if is_id(part) { id.as_str() } else { part }).collect();
                elsewhere.action = swapped.join("/");
                sent.push(elsewhere);
            }
            sent.extend(named.iter().map(|name| form.clone().forge(name, id)));
            for form in sent {
                let what = format!("POST {} {id}", form.action);
                let page = shop.phone().send(shop.phone().posted(form)).await;
                assert!(!page.status.is_server_error(), "{what}: {page}");
                next_door.assert_untold(&page, &what);
            }
        }
    }
    assert_eq!(next_door.digests(shop).await, before, "nothing next door has changed");
    let store = &shop.store;
    assert_eq!(store.check().await.expect("checked"), Vec::<String>::new());
}

async fn no_request_of_the_api_reaches_another_shop(shop: &TestShop) {
    let next_door = NextDoor::open(shop).await;
    let before = next_door.digests(shop).await;
    let key = Token::random();
    shop.store.make_key(&shop.by(), &new_id(), "scale", &key.hash()).await.expect("a key");
    let phone = shop.strange_phone();
    let send = async |method: &str, url: String, body: String| {
        let request = axum::http::Request::builder()
            .method(method)
            .uri(url)
            .header(HOST, SHOP_HOST)
            .header(AUTHORIZATION, format!("Bearer {}", key.text()))
            .header(CONTENT_TYPE, "application/json");
        phone.send(request.body(Body::from(body)).expect("a request")).await
    };
    let description = send("GET", "/api/v1/openapi.json".into(), String::new()).await;
    let description: Value = serde_json::from_str(&description.body).expect("JSON");
    for (path, operations) in description["paths"].as_object().expect("paths") {
        for method in operations.as_object().expect("operations").keys() {
            for id in next_door.all_ids() {
                let url = path.split('/').map(|part| if part.starts_with('{') { id.as_str() } else { part });
                let mut url = url.collect::<Vec<_>>().join("/");
                // A photo's own id stands beside its bytes.
                if path.ends_with("/photos") {
                    url.push_str(&format!("?id={}", new_id()));
                }
                // What each of them would take, if it were this shop's.
                let body = format!(
                    "{{\"id\": \"{}\", \"lot\": \"{id}\", \"kind\": \"whole\", \"reading\": \"1 lb\"}}",
                    new_id()
                );
                let page = send(&method.to_uppercase(), url.clone(), body).await;
                assert!(!path.contains('{') || page.status == StatusCode::NOT_FOUND, "{page}");
                next_door.assert_untold(&page, &url);
            }
        }
    }
    // A weighing's id that is taken next door does not count here either.
    let lot = shop.bag("Bag 1", "copper-2").await;
    let taken = &next_door.ids["weighings"][0];
    let body = format!("{{\"id\": \"{taken}\", \"lot\": \"{lot}\", \"reading\": \"1 lb\"}}");
    let page = send("POST", "/api/v1/weighings".into(), body).await;
    assert!(
        page.status.is_client_error() || shop.lot(&lot).await.net.is_positive(),
        "not lost in silence: {page}"
    );
    assert_eq!(next_door.digests(shop).await, before);
}

async fn a_partner_signs_in_to_their_own_shop(shop: &TestShop) {
    // Both shops have a partner of that name, with another passphrase each.
    let next_door = NextDoor::open(shop).await;
    let hash = Passphrase::typed(PASSPHRASE).hash().await;
    let mut tx = shop.store.begin().await.expect("a transaction");
    set_passphrase(&mut tx, &shop.by(), &shop.partners[0].id, &hash).await.expect("a passphrase");
    tx.commit().await.expect("it is kept");
    let (_, theirs) = pennyweight::demo::accounts().expect("the demo's accounts");
    let ours = "Heron Street Salvage";
    for (name, passphrase, lands_in) in [
        (ours, PASSPHRASE, Some(ours)),
        ("heron street salvage", PASSPHRASE, Some(ours)),
        (next_door.words[0].as_str(), theirs.as_str(), Some(next_door.words[0].as_str())),
        (ours, theirs.as_str(), None),
        (next_door.words[0].as_str(), PASSPHRASE, None),
        ("No such shop", PASSPHRASE, None),
        ("", PASSPHRASE, None),
    ] {
        let phone = shop.strange_phone();
        let page = phone.get("/sign-in").await.ok();
        next_door.assert_untold(&page, "the page to sign in on");
        let form = page.form("form[action='/sign-in']").set("shop", name).set("name", "Imke");
        let page = phone.submit(form.set("passphrase", passphrase)).await.ok();
        match lands_in {
            Some(shop) => assert_eq!(page.text(".top .shop"), shop),
            None => assert!(page.says("Name or passphrase is not right."), "{name}"),
        }
    }
}

async fn a_shops_people_cannot_let_anybody_into_another(shop: &TestShop) {
    let other: By = shop.open_another().await;
    let mine = shop.get(&format!("/people/{}", shop.partners[0].id)).await.ok();
    for ending in ["/code", ""] {
        let mut form = mine.form(&format!("form[action='/people/{}{ending}']", shop.partners[0].id));
        form.action = format!("/people/{}{ending}", other.partner_id);
        let page = shop.submit(form).await;
        assert_eq!(page.status, StatusCode::NOT_FOUND, "{page}");
    }
    let people = shop.store.people(&other.shop_id).await.expect("people");
    assert_eq!(people.len(), 1);
    assert_eq!(people[0].partner.name, "Wim");
}
