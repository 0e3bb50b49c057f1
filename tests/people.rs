//! Who may come in, on which phones, and what a helper may do.

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::{CONTENT_TYPE, HOST, LOCATION, ORIGIN, SET_COOKIE};
use jiff::Timestamp;
use pennyweight::passphrase::Passphrase;
use pennyweight::secret::Code;
use pennyweight::store::codes::Purpose;
use pennyweight::store::new_id;
use pennyweight::store::partners::{Partner, Role, set_passphrase};

use crate::common::{PASSPHRASE, Page, Phone, SHOP_HOST, TestShop, on_both};

on_both![
    nobody_sees_anything_before_they_sign_in,
    a_partner_signs_in_and_goes_where_they_wanted_to,
    a_wrong_name_and_a_wrong_passphrase_get_the_same_answer,
    guessing_stops_being_answered,
    each_sign_in_gets_a_cookie_of_its_own,
    the_cookie_leads_nowhere_once_signed_out,
    a_second_phone_joins_with_a_code_once,
    a_new_partner_comes_in_and_chooses_a_passphrase,
    nobody_comes_in_as_somebody_else,
    a_forgotten_passphrase_is_reset_with_a_code,
    a_passphrase_is_changed_and_other_phones_are_out,
    a_phone_is_signed_out_from_another,
    who_leaves_is_signed_out_and_the_last_partner_stays,
    a_helper_weighs_in_and_nothing_else,
    a_form_without_the_token_is_refused_and_kept,
    secrets_are_kept_nowhere,
];

/// Lets the first partner sign in with [`PASSPHRASE`].
async fn with_passphrase(shop: &TestShop) {
    let hash = Passphrase::typed(PASSPHRASE).hash().await;
    let mut tx = shop.store.begin().await.expect("a transaction");
    for partner in &shop.partners {
        set_passphrase(&mut tx, &shop.by(), &partner.id, &hash).await.expect("a passphrase");
    }
    tx.commit().await.expect("it is kept");
}

async fn sign_in(phone: &Phone, name: &str, passphrase: &str) -> Page {
    let form = phone.get("/sign-in").await.ok().form("form[action='/sign-in']");
    phone.submit(form.set("name", name).set("passphrase", passphrase)).await
}

async fn nobody_sees_anything_before_they_sign_in(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let phone = shop.strange_phone();
    for address in ["/", "/weigh", "/lots", &format!("/lots/{lot}"), "/plan?x=1", "/people", "/activity"] {
        let page = phone.get(address).await.ok();
        assert!(page.url.starts_with("/sign-in"), "{address} leads to {}", page.url);
        assert!(!page.says("Bag 1") && !page.says("Imke"), "{address}");
    }
    for page in [phone.get("/healthz").await, phone.get("/join").await] {
        page.ok();
    }
    let before = shop.everything().await;
    let form = shop.get(&format!("/lots/{lot}")).await.form("form.ticket").set("note", "mine");
    let refused = phone.submit(form).await;
    assert_eq!(refused.status, StatusCode::UNAUTHORIZED);
    assert!(refused.says("Sign in first") && refused.has("a[href='/sign-in']"));
    assert_eq!(refused.form("form").value("note"), "mine", "what was typed is kept");
    assert_eq!(shop.everything().await, before);
}

async fn a_partner_signs_in_and_goes_where_they_wanted_to(shop: &TestShop) {
    with_passphrase(shop).await;
    let phone = shop.strange_phone();
    let form = phone.get("/lots?find=x").await.ok().form("form[action='/sign-in']");
    let page = phone.submit(form.set("name", " imke ").set("passphrase", PASSPHRASE)).await.ok();
    assert_eq!((page.url.as_str(), page.text(".top .who").as_str()), ("/lots?find=x", "On this phone: Imke"));
    assert_eq!(phone.get("/lots").await.ok().url, "/lots");
    // An address of elsewhere is not gone to.
    for elsewhere in ["//evil.example", "https://evil.example/", "/\\evil.example"] {
        let phone = shop.strange_phone();
        let form = phone.get("/sign-in").await.ok().form("form[action='/sign-in']").forge("to", elsewhere);
        let page = phone.submit(form.set("name", "Imke").set("passphrase", PASSPHRASE)).await.ok();
        assert_eq!(page.url, "/", "{elsewhere}");
    }
}

async fn a_wrong_name_and_a_wrong_passphrase_get_the_same_answer(shop: &TestShop) {
    with_passphrase(shop).await;
    let mut answers = Vec::new();
    for (name, passphrase) in [("Imke", "wrong wrong wrong"), ("Nobody", PASSPHRASE), ("Imke", "")] {
        let phone = shop.strange_phone();
        let page = sign_in(&phone, name, passphrase).await.ok();
        assert!(!page.headers.contains_key(SET_COOKIE));
        assert_eq!(page.form("form[action='/sign-in']").value("name"), name);
        assert_eq!(page.form("form[action='/sign-in']").value("passphrase"), "");
        answers.push(page.text("[role=alert]"));
    }
    assert!(answers[0].contains("Name or passphrase is not right."));
    assert!(answers.iter().all(|answer| *answer == answers[0]), "{answers:?}");
}

async fn guessing_stops_being_answered(shop: &TestShop) {
    with_passphrase(shop).await;
    for _ in 0..10 {
        assert!(sign_in(&shop.strange_phone(), "Imke", "wrong wrong wrong").await.ok().says("not right"));
    }
    let page = sign_in(&shop.strange_phone(), "imke", PASSPHRASE).await.ok();
    assert!(
        page.text("[role=alert]").contains("Too many tries"),
        "the right one is not told from wrong ones"
    );
    // Names that nobody has are counted as well, and the other partner can still come in.
    for _ in 0..10 {
        sign_in(&shop.strange_phone(), "Nobody", "wrong wrong wrong").await.ok();
    }
    assert!(sign_in(&shop.strange_phone(), "Nobody", "x").await.ok().says("Too many tries"));
    assert_eq!(sign_in(&shop.strange_phone(), "Tobias", PASSPHRASE).await.ok().url, "/");
    for _ in 0..10 {
        sign_in(&shop.strange_phone(), &new_id(), "wrong wrong wrong").await.ok();
    }
    let page = sign_in(&shop.strange_phone(), "Tobias", PASSPHRASE).await.ok();
    assert!(page.says("Too many tries"), "one address has no end of names to try");
}

async fn each_sign_in_gets_a_cookie_of_its_own(shop: &TestShop) {
    with_passphrase(shop).await;
    let phone = shop.strange_phone();
    let planted = "0".repeat(64);
    phone.set_cookie("session", &planted);
    let form = phone.get("/sign-in").await.ok().form("form[action='/sign-in']");
    let sent = phone.posted(form.set("name", "Imke").set("passphrase", PASSPHRASE));
    let answer = phone.send(sent).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    let cookie = answer.headers.get(SET_COOKIE).and_then(|cookie| cookie.to_str().ok()).expect("a cookie");
    let attributes: Vec<_> = cookie.split("; ").collect();
    let value = attributes[0].strip_prefix("session=").expect("the session");
    assert!(value.len() == 64 && value != planted, "what was planted before is not taken over");
    for attribute in ["Max-Age=31536000", "Path=/", "HttpOnly", "SameSite=Lax"] {
        assert!(attributes.contains(&attribute), "{cookie}");
    }
}

async fn the_cookie_leads_nowhere_once_signed_out(shop: &TestShop) {
    let kept = shop.phone_of(&shop.partners[0]);
    let form = shop.get("/people").await.ok().form("form[action='/sign-out']");
    assert_eq!(shop.submit(form).await.ok().url, "/sign-in");
    assert!(
        kept.get("/lots").await.ok().url.starts_with("/sign-in"),
        "a copy of the cookie is worth nothing"
    );
    assert_eq!(shop.phone_of(&shop.partners[1]).get("/lots").await.ok().url, "/lots");
}

/// The code on the page that a partner has made for somebody.
async fn code_for(shop: &TestShop, partner: &str) -> String {
    let form = shop.get(&format!("/people/{partner}")).await.ok().form("form[action$='/code']");
    let page = shop.submit(form).await.ok();
    assert!(page.has(".code svg"));
    page.text(".figure.typed")
}

async fn a_second_phone_joins_with_a_code_once(shop: &TestShop) {
    with_passphrase(shop).await;
    let code = code_for(shop, &shop.partners[0].id).await;
    let address = format!("/join?code={code}");
    let (phone, late) = (shop.strange_phone(), shop.strange_phone());
    // Looking does not use it up.
    assert!(phone.get(&address).await.ok().says("Are you Imke?"));
    let form = phone.get(&address).await.ok().form("form[action='/join']");
    let late_form = late.get(&address).await.ok().form("form[action='/join']");
    let page = phone.submit(form).await.ok();
    assert_eq!((page.url.as_str(), page.text(".top .who").as_str()), ("/", "On this phone: Imke"));
    let refused = late.submit(late_form).await.ok();
    assert!(refused.text("#code-problem").contains("used already"));
    assert!(late.get(&address).await.ok().text("#code-problem").contains("not good"));
    // Two phones at the very same moment: one is in.
    let address = format!("/join?code={}", code_for(shop, &shop.partners[0].id).await);
    let (one, two) = (shop.strange_phone(), shop.strange_phone());
    let (a, b) = (
        one.get(&address).await.ok().form("form[action='/join']"),
        two.get(&address).await.ok().form("form[action='/join']"),
    );
    let (a, b) = tokio::join!(one.submit(a), two.submit(b));
    assert!((a.url == "/") != (b.url == "/"), "{a} and {b}");
}

async fn a_new_partner_comes_in_and_chooses_a_passphrase(shop: &TestShop) {
    let add = "form[action='/people']";
    let form = shop.get("/people").await.ok().form(add).set("name", "Cleo");
    let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form));
    let cleo = first.ok().url;
    assert_eq!(second.ok().url, cleo, "the form sent twice is no second person of that name");
    for (name, problem) in [("Imke", "of that name"), ("  ", "needed"), (&*"x".repeat(41), "40 is the most")]
    {
        let back = shop.submit(shop.get("/people").await.ok().form(add).set("name", name)).await.ok();
        assert!(back.text("#name-problem").contains(problem), "{name}");
        assert_eq!(back.form(add).value("name"), name);
    }
    let code = code_for(shop, cleo.trim_start_matches("/people/")).await;
    let phone = shop.strange_phone();
    let join = phone.get(&format!("/join?code={code}")).await.ok().form("form[action='/join']");
    for (typed, again, field, problem) in [
        ("kettle", "kettle", "passphrase", "too short"),
        ("password1234", "password1234", "passphrase", "guessed soon"),
        (PASSPHRASE, "another one entirely", "passphrase_again", "not the same"),
    ] {
        let tried = join.clone().set("passphrase", typed).set("passphrase_again", again);
        let back = phone.submit(tried).await.ok();
        assert!(back.text(&format!("#{field}-problem")).contains(problem), "{typed}");
    }
    let page =
        phone.submit(join.set("passphrase", PASSPHRASE).set("passphrase_again", PASSPHRASE)).await.ok();
    assert_eq!(page.text(".top .who"), "On this phone: Cleo");
    assert_eq!(sign_in(&shop.strange_phone(), "Cleo", PASSPHRASE).await.ok().url, "/");
}

async fn nobody_comes_in_as_somebody_else(shop: &TestShop) {
    with_passphrase(shop).await;
    let tobias = format!("/people/{}", shop.partners[1].id);
    assert!(!shop.get(&tobias).await.ok().has("form[action$='/code']"));
    let mine = shop.get(&format!("/people/{}", shop.partners[0].id)).await.ok();
    let mut form = mine.form("form[action$='/code']");
    form.action = format!("{tobias}/code");
    assert_eq!(shop.submit(form).await.status, StatusCode::FORBIDDEN);
}

async fn a_forgotten_passphrase_is_reset_with_a_code(shop: &TestShop) {
    with_passphrase(shop).await;
    let code = Code::random();
    let whose = Some((shop.id.as_str(), shop.partners[0].id.as_str()));
    let lasts = Purpose::Reset.lasts();
    shop.store.make_code(&code.hash(), Purpose::Reset, whose, Timestamp::now(), lasts).await.expect("a code");
    let phone = shop.strange_phone();
    let join = phone.get(&format!("/join?code={code}")).await.ok().form("form[action='/join']");
    let new = "seven herons in the rain";
    phone.submit(join.set("passphrase", new).set("passphrase_again", new)).await.ok();
    assert!(shop.get("/lots").await.ok().url.starts_with("/sign-in"), "the phones of before are out");
    assert!(sign_in(&shop.strange_phone(), "Imke", PASSPHRASE).await.ok().says("not right"));
    assert_eq!(sign_in(&shop.strange_phone(), "Imke", new).await.ok().url, "/");
}

async fn a_passphrase_is_changed_and_other_phones_are_out(shop: &TestShop) {
    with_passphrase(shop).await;
    let other = shop.strange_phone();
    assert_eq!(sign_in(&other, "Imke", PASSPHRASE).await.ok().url, "/");
    let new = "seven herons in the rain";
    let change = |now: &'static str| {
        move |form: crate::common::Form| {
            form.set("passphrase_now", now).set("passphrase", new).set("passphrase_again", new)
        }
    };
    let form = shop.get("/people/passphrase").await.ok().form("form[action='/people/passphrase']");
    let back = shop.submit(change("wrong wrong wrong")(form.clone())).await.ok();
    assert!(back.text("#passphrase_now-problem").contains("not your passphrase"));
    assert_eq!(shop.submit(change(PASSPHRASE)(form)).await.ok().url, "/people");
    assert!(other.get("/lots").await.ok().url.starts_with("/sign-in"));
    assert_eq!(sign_in(&other, "Imke", new).await.ok().url, "/");
}

async fn a_phone_is_signed_out_from_another(shop: &TestShop) {
    let tobias = shop.phone_of(&shop.partners[1]);
    assert_eq!(tobias.get("/lots").await.ok().url, "/lots");
    let page = shop.get("/people").await.ok();
    assert_eq!(page.texts("#phones form").len(), 1, "this phone is signed out by its own button");
    shop.submit(page.form("#phones form")).await.ok();
    assert!(tobias.get("/lots").await.ok().url.starts_with("/sign-in"));
}

async fn who_leaves_is_signed_out_and_the_last_partner_stays(shop: &TestShop) {
    with_passphrase(shop).await;
    let tobias = shop.phone_of(&shop.partners[1]);
    let page = shop.get(&format!("/people/{}", shop.partners[1].id)).await.ok();
    let leave = page.form("form[action$='/leave']");
    shop.submit(leave.clone()).await.ok();
    assert!(tobias.get("/lots").await.ok().url.starts_with("/sign-in"));
    assert!(sign_in(&shop.strange_phone(), "Tobias", PASSPHRASE).await.ok().says("not right"));
    assert_eq!(shop.submit(leave).await.status, StatusCode::CONFLICT, "the form was opened before");
    // Imke is the last partner: she can neither leave nor become a helper.
    let mine = shop.get(&format!("/people/{}", shop.partners[0].id)).await.ok();
    assert!(!mine.has("form[action$='/leave']"));
    let role = format!("form[action='/people/{}']", shop.partners[0].id);
    let back = shop.submit(mine.form(&role).set("role", "helper")).await.ok();
    assert!(back.text("#role-problem").contains("needs a partner"));
    let back = shop.get(&format!("/people/{}", shop.partners[1].id)).await.ok();
    shop.submit(back.form("form[action$='/return']")).await.ok();
    assert_eq!(sign_in(&shop.strange_phone(), "Tobias", PASSPHRASE).await.ok().url, "/");
}

/// A phone of a helper, who has just come in.
async fn helper(shop: &TestShop) -> Phone {
    let wim = Partner { id: new_id(), name: "Wim".into(), role: Role::Helper };
    shop.store.create_partner(&shop.by(), &wim).await.expect("a helper");
    let code = code_for(shop, &wim.id).await;
    let phone = shop.strange_phone();
    let join = phone.get(&format!("/join?code={code}")).await.ok().form("form[action='/join']");
    let page =
        phone.submit(join.set("passphrase", PASSPHRASE).set("passphrase_again", PASSPHRASE)).await.ok();
    assert_eq!(page.url, "/weigh", "a helper begins where a helper may be");
    phone
}

async fn a_helper_weighs_in_and_nothing_else(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let mine = shop.put(&lot, "1 lb").await;
    let wim = helper(shop).await;
    let choose = wim.get("/weigh").await.ok();
    assert!(choose.says("Bag 1") && !choose.has("nav") && !choose.has("a[href='/lots/new']"));
    let page = wim.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = wim.submit(page.form("form[action$='/weigh'].ticket").set("reading", "2 lb")).await.ok();
    let put = wim.submit(echo.form("form[action$='/weighings']")).await.ok();
    assert!(put.says("Wim,") && !put.has(&format!("a[href='/lots/{lot}']")), "{put}");
    assert_eq!(shop.lot(&lot).await.net, crate::common::mass("3 lb"));
    // Their own they can take back; another's they cannot.
    let undo = put.form("form[action$='/undo']");
    let mut others = undo.clone();
    wim.submit(undo).await.ok();
    others.action = format!("/weighings/{mine}/undo");
    assert_eq!(wim.submit(others).await.status, StatusCode::FORBIDDEN);
    assert_eq!(shop.lot(&lot).await.net, crate::common::mass("1 lb"));
    // Every other page is closed, and every other form: found by what a partner's pages link to and send.
    let before = shop.everything().await;
    let mut closed = 0;
    for address in ["/", "/lots", "/plan", "/prices", "/people", "/shop", "/activity", "/outlets", "/grades"]
    {
        let page = shop.get(address).await.ok();
        for link in page.attributes("a[href^='/']", "href") {
            let link = link.split('#').next().unwrap_or_default().to_string();
            if link.starts_with("/weigh") || link == "/pad" || link.ends_with("/weigh") || link.is_empty() {
                continue;
            }
            if link == "/" {
                assert_eq!(wim.get(&link).await.ok().url, "/weigh");
                continue;
            }
            assert_eq!(wim.get(&link).await.status, StatusCode::FORBIDDEN, "{link}");
            closed += 1;
        }
        for action in
            page.attributes("form[method=post]", "action").into_iter().filter(|to| to != "/sign-out")
        {
            let mut form = page.form(&format!("form[action='{action}']"));
            form.action.clone_from(&action);
            assert_eq!(wim.submit(form).await.status, StatusCode::FORBIDDEN, "{action}");
            closed += 1;
        }
    }
    assert!(closed > 40, "only {closed} were tried");
    assert_eq!(shop.everything().await, before);
}

async fn a_form_without_the_token_is_refused_and_kept(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let before = shop.everything().await;
    for body in ["note=x", "form_token=&note=x", "form_token=0123456789abcdef0123456789abcdef&note=x"] {
        let request = shop
            .phone()
            .request("POST", &format!("/lots/{lot}"))
            .header(CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(ORIGIN, format!("http://{SHOP_HOST}"))
            .body(Body::from(body))
            .expect("a request");
        assert_eq!(shop.phone().send(request).await.status, StatusCode::UNAUTHORIZED, "{body}");
    }
    let page = shop.get("/rates/lists").await;
    assert!(page.form("form[enctype]").fields[0].name == "form_token", "a file's form has it first as well");
    assert_eq!(shop.everything().await, before);
}

async fn secrets_are_kept_nowhere(shop: &TestShop) {
    with_passphrase(shop).await;
    let code = code_for(shop, &shop.partners[0].id).await;
    let phone = shop.strange_phone();
    let form = phone.get("/sign-in").await.ok().form("form[action='/sign-in']");
    let sent = phone.posted(form.set("name", "Imke").set("passphrase", PASSPHRASE));
    let answer = phone.send(sent).await;
    let cookie = answer.headers.get(SET_COOKIE).and_then(|cookie| cookie.to_str().ok()).expect("a cookie");
    let token = cookie.split(['=', ';']).nth(1).expect("a token").to_string();
    let plain = code.replace('-', "");
    for row in shop.everything().await {
        for secret in [PASSPHRASE, token.as_str(), code.as_str(), plain.as_str()] {
            assert!(!row.contains(secret), "{row}");
        }
    }
    assert_eq!(answer.headers.get(LOCATION).and_then(|to| to.to_str().ok()), Some("/"));
    assert!(answer.headers.get(HOST).is_none());
}
