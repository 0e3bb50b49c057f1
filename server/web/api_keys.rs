//! Keys for the shop's own scripts and devices: made here, shown once, taken back here.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html};
use crate::secret::Token;
use crate::store::api_keys::ApiKey;
use crate::store::new_id;

const LONGEST_NAME: usize = 40;

#[derive(Template)]
#[template(path = "api_keys/index.html")]
struct KeysPage {
    page: Page,
    visitor: Visitor,
    keys: Vec<ApiKey>,
    form: Form,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    keys_page(&app, visitor, Form::filled([("id", new_id())])).await
}

async fn keys_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let keys = app.store.api_keys(&visitor.shop.id).await?;
    let page = visitor.page(Screen::People, "Keys for devices");
    html(&KeysPage { page, visitor, keys, form })
}

#[derive(Template)]
#[template(path = "api_keys/made.html")]
struct MadePage {
    page: Page,
    name: String,
    key: String,
    address: String,
}

/// Makes a key and shows it, this once.
pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let Some(name) = form.text("name", LONGEST_NAME) else { return keys_page(&app, visitor, form).await };
    let key = Token::random();
    app.store.make_key(&visitor.by(), &id, &name, &key.hash()).await?;
    let page = visitor.page(Screen::People, format!("The key for {name}"));
    let address = app.config.base_url.clone();
    html(&MadePage { page, name, key: key.text().to_string(), address })
}

pub async fn end(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    _form: Form,
) -> Result<Response, Failure> {
    app.store.end_key(&visitor.by(), &id).await?;
    Ok(Redirect::to("/keys").into_response())
}
