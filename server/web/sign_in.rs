//! Signing in by name and passphrase, and out again.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::Timestamp;
use serde::Deserialize;
use tracing::warn;

use super::App;
use super::codes::may_try;
use super::failure::Failure;
use super::form::Form;
use super::page::{Anyone, Visitor, html};
use super::session;
use crate::passphrase::Passphrase;
use crate::store::By;
use crate::store::shops::Shop;
use crate::store::tries::Tried;

const LONGEST_NAME: usize = 80;

#[derive(Template)]
#[template(path = "sign_in/show.html")]
struct SignInPage {
    form: Form,
    /// The shop's name; `None` where there are several, and the form asks.
    shop_name: Option<String>,
}

#[derive(Deserialize)]
pub struct Wanted {
    #[serde(default)]
    to: String,
}

pub async fn show(State(app): State<App>, Query(wanted): Query<Wanted>) -> Result<Response, Failure> {
    let shops = app.store.shops().await?;
    if shops.is_empty() {
        return Ok(Redirect::to("/shop/new").into_response());
    }
    sign_in_page(&shops, Form::filled([("to", session::page_here(&wanted.to).to_string())]))
}

fn sign_in_page(shops: &[Shop], form: Form) -> Result<Response, Failure> {
    let shop_name = if let [shop] = shops { Some(shop.name.clone()) } else { None };
    html(&SignInPage { form, shop_name })
}

/// Signs the phone in. A wrong name, a wrong shop and a wrong passphrase get the same answer after the same work.
pub async fn sign_in(State(app): State<App>, parts: Parts, mut form: Form) -> Result<Response, Failure> {
    let now = Timestamp::now();
    let shops = app.store.shops().await?;
    let name = form.text("name", LONGEST_NAME);
    let passphrase = Passphrase::typed(form.value("passphrase"));
    form.set("passphrase", "");
    let Some(name) = name else { return sign_in_page(&shops, form) };

    let shop = match &shops[..] {
        [shop] => Some(shop),
        several => {
            several.iter().find(|shop| shop.name.to_lowercase() == form.value("shop").trim().to_lowercase())
        }
    };
    let shop_id = shop.map_or("", |shop| shop.id.as_str());
    let (account, from) = (Tried::Account { shop_id, name: &name }, session::address(&app, &parts));
    for tried in [Tried::Address(&from), account] {
        if let Err(too_many) = may_try(&app, tried, now).await? {
            warn!(from, "a sign-in was refused: too many tries");
            form.refuse("form", format!("{too_many} Or have a partner let you in with a code."));
            return sign_in_page(&shops, form);
        }
    }
    let found = match shop {
        Some(shop) => app.store.account(&shop.id, &name).await?,
        None => None,
    };
    let (partner, kept) = match found {
        Some(account) => (Some(account.partner), account.passphrase),
        None => (None, None),
    };
    let is_right = passphrase.is(kept).await;
    let (Some(shop), Some(partner), true) = (shop, partner, is_right) else {
        // Whose name it was is not told: it may have been a passphrase.
        warn!(from, "a sign-in was refused: name or passphrase is not right");
        form.refuse("form", "Name or passphrase is not right.");
        return sign_in_page(&shops, form);
    };
    app.store.forget_tries(account).await?;
    let by = By { shop_id: shop.id.clone(), partner_id: partner.id, at: now };
    let mut tx = app.store.begin().await?;
    let token = session::begin(&mut tx, &by, &parts.headers).await?;
    tx.commit().await?;
    // Whoever was signed in on this phone before no longer is.
    if let Some(before) = session::token(&app, &parts.headers)
        && let Some(old) = app.store.signed_in(&before.hash(), now).await?
    {
        let by = By { shop_id: old.shop.id, partner_id: old.partner.id, at: now };
        app.store.end_session(&by, &old.session_id).await?;
    }
    Ok(session::welcome(&app, &token, session::page_here(form.value("to"))))
}

pub async fn sign_out(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    _form: Form,
) -> Result<Response, Failure> {
    let Visitor { session_id, .. } = &visitor;
    app.store.end_session(&visitor.by(), session_id).await?;
    Ok(session::farewell(&app))
}
