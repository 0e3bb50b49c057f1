//! Coming in with a code: on another phone, for the first time, or with a new passphrase.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use super::App;
use super::codes;
use super::failure::Failure;
use super::form::Form;
use super::page::html;
use super::session;
use crate::passphrase::Passphrase;
use crate::secret::Code;
use crate::store::codes::{GoodCode, Purpose, drop_codes_of, use_code};
use crate::store::partners::{PartnerRecord, set_passphrase};
use crate::store::sessions::end_sessions_of;
use crate::store::shops::Shop;
use crate::store::{By, StoreError};

const ADVICE: &str = "mistyped, used already or too old. Have a new one made.";

#[derive(Template)]
#[template(path = "join/ask.html")]
struct AskPage {
    form: Form,
}

#[derive(Template)]
#[template(path = "join/show.html")]
struct JoinPage {
    form: Form,
    shop_name: String,
    name: String,
    chooses: bool,
}

#[derive(Deserialize)]
pub struct Brought {
    #[serde(default)]
    code: String,
}

/// Whom a code lets in, and whether they choose a passphrase on the way.
struct Guest {
    code: Code,
    purpose: Purpose,
    shop: Shop,
    record: PartnerRecord,
}

impl Guest {
    fn chooses(&self) -> bool {
        self.purpose == Purpose::Reset || !self.record.can_sign_in
    }

    fn page(&self, mut form: Form) -> Result<Response, Failure> {
        form.set("code", self.code.to_string());
        html(&JoinPage {
            form,
            shop_name: self.shop.name.clone(),
            name: self.record.partner.name.clone(),
            chooses: self.chooses(),
        })
    }
}

/// The guest of a code, or the page that asks for another one, with what is wrong with this one.
async fn guest(app: &App, parts: &Parts, form: &mut Form) -> Result<Option<Guest>, Failure> {
    let brought = codes::brought(app, parts, form, |good| good.whose.is_some(), ADVICE).await?;
    let Some((code, GoodCode { purpose, whose: Some((shop_id, partner_id)) })) = brought else {
        return Ok(None);
    };
    let record = app.store.person(&shop_id, &partner_id).await?;
    if record.has_left {
        form.refuse("code", "Whom it was made for no longer works here. Ask a partner.");
        return Ok(None);
    }
    let shop = app.store.shop(&shop_id).await?;
    Ok(Some(Guest { code, purpose, shop, record }))
}

/// Opens the code's page; a code is not used up by looking, since a messenger may look at a link before its reader does.
pub async fn show(
    State(app): State<App>,
    Query(brought): Query<Brought>,
    parts: Parts,
) -> Result<Response, Failure> {
    let mut form = Form::filled([("code", brought.code)]);
    if form.value("code").is_empty() {
        return html(&AskPage { form });
    }
    match guest(&app, &parts, &mut form).await? {
        Some(guest) => guest.page(form),
        None => html(&AskPage { form }),
    }
}

/// Lets the phone in, once for each code.
pub async fn join(State(app): State<App>, parts: Parts, mut form: Form) -> Result<Response, Failure> {
    let Some(guest) = guest(&app, &parts, &mut form).await? else { return html(&AskPage { form }) };
    let mut hash = None;
    if guest.chooses() {
        let names = [guest.record.partner.name.clone(), guest.shop.name.clone()];
        match chosen(&mut form, &names) {
            Some(passphrase) => hash = Some(passphrase.hash().await),
            None => return guest.page(form),
        }
    }
    let now = Timestamp::now();
    let partner_id = &guest.record.partner.id;
    let by = By { shop_id: guest.shop.id.clone(), partner_id: partner_id.clone(), at: now };
    let mut tx = app.store.begin().await?;
    match use_code(&mut tx, &guest.code.hash(), now).await {
        Err(StoreError::Missing) => {
            return Err(Failure::refused(
                StatusCode::CONFLICT,
                "The code has been used",
                "It lets one phone in, and one was faster. Have a new one made.",
            ));
        }
        used => used?,
    }
    if let Some(hash) = hash {
        set_passphrase(&mut tx, &by, partner_id, &hash).await?;
        // Whoever knew the old one, or has the phone it was used on, is out.
        end_sessions_of(&mut tx, &by, partner_id, None).await?;
        drop_codes_of(&mut tx, &by, partner_id).await?;
    }
    let token = session::begin(&mut tx, &by, &parts.headers).await?;
    tx.commit().await?;
    Ok(session::welcome(&app, &token, "/"))
}

/// A passphrase typed twice, or the problem beside its field. Neither goes back into the page.
pub fn chosen(form: &mut Form, names: &[String]) -> Option<Passphrase> {
    let (typed, again) = (form.value("passphrase").to_string(), form.value("passphrase_again").to_string());
    form.set("passphrase", "");
    form.set("passphrase_again", "");
    if typed != again {
        form.refuse("passphrase_again", "The two are not the same. Type both once more.");
        return None;
    }
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    Passphrase::chosen(&typed, &names).map_err(|weak| form.refuse("passphrase", weak.to_string())).ok()
}
