//! Who works in the shop and on which phones: let somebody in, sign a phone out, choose another passphrase.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::App;
use super::codes::may_try;
use super::containers::qr_svg;
use super::failure::Failure;
use super::form::Form;
use super::join::chosen;
use super::page::{Page, Screen, Visitor, html};
use crate::passphrase::Passphrase;
use crate::secret::Code;
use crate::store::codes::Purpose;
use crate::store::partners::{Partner, PartnerRecord, Role, set_passphrase};
use crate::store::sessions::{Session, end_sessions_of};
use crate::store::tries::Tried;
use crate::store::{StoreError, new_id};

const LONGEST_NAME: usize = 40;

#[derive(Template)]
#[template(path = "people/index.html")]
struct PeoplePage {
    page: Page,
    visitor: Visitor,
    people: Vec<PartnerRecord>,
    phones: Vec<Session>,
    form: Form,
    roles: Vec<(String, String)>,
}

fn roles() -> Vec<(String, String)> {
    let words = |role| match role {
        Role::Partner => "partner: everything",
        Role::Helper => "helper: weighs in, and nothing else",
    };
    Role::ALL.into_iter().map(|role| (role.code().to_string(), words(role).to_string())).collect()
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let form = Form::filled([("id", new_id()), ("role", Role::Partner.code().to_string())]);
    people_page(&app, visitor, form).await
}

async fn people_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let people = app.store.people(&visitor.shop.id).await?;
    let phones = app.store.sessions(&visitor.shop.id, visitor.now).await?;
    let page = visitor.page(Screen::People, "People and phones");
    html(&PeoplePage { page, visitor, people, phones, form, roles: roles() })
}

pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    if let Some(partner) = person(&mut form, &id) {
        match app.store.create_partner(&visitor.by(), &partner).await {
            Ok(()) => return Ok(Redirect::to(&format!("/people/{id}")).into_response()),
            Err(StoreError::Duplicate) => name_is_taken(&mut form),
            Err(other) => return Err(other.into()),
        }
    }
    people_page(&app, visitor, form).await
}

fn person(form: &mut Form, id: &str) -> Option<Partner> {
    let name = form.text("name", LONGEST_NAME);
    let role = form.choice("role", Role::from_code);
    Some(Partner { id: id.to_string(), name: name?, role: role? })
}

fn name_is_taken(form: &mut Form) {
    form.refuse("name", "Somebody of that name is on file already, here or gone. Choose another.");
}

#[derive(Template)]
#[template(path = "people/show.html")]
struct PersonPage {
    page: Page,
    visitor: Visitor,
    record: PartnerRecord,
    phones: Vec<Session>,
    form: Form,
    roles: Vec<(String, String)>,
}

impl PersonPage {
    fn is_me(&self) -> bool {
        self.record.partner.id == self.visitor.partner.id
    }

    /// Nobody can come in as somebody else: whoever has a passphrase lets their own phones in.
    fn may_be_let_in(&self) -> bool {
        !self.record.has_left && (self.is_me() || !self.record.can_sign_in)
    }
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let record = app.store.person(&visitor.shop.id, &id).await?;
    let form = filled(&record);
    person_page(&app, visitor, record, form).await
}

fn filled(record: &PartnerRecord) -> Form {
    Form::filled([
        ("name", record.partner.name.clone()),
        ("role", record.partner.role.code().to_string()),
        ("version", record.version.to_string()),
    ])
}

async fn person_page(
    app: &App,
    visitor: Visitor,
    record: PartnerRecord,
    form: Form,
) -> Result<Response, Failure> {
    let mut phones = app.store.sessions(&visitor.shop.id, visitor.now).await?;
    phones.retain(|phone| phone.partner_id == record.partner.id);
    let page = visitor.page(Screen::People, record.partner.name.clone());
    html(&PersonPage { page, visitor, record, phones, form, roles: roles() })
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let record = app.store.person(&visitor.shop.id, &id).await?;
    if let Some(partner) = person(&mut form, &id) {
        match app.store.save_partner(&visitor.by(), form.version(), &partner).await {
            Ok(()) => return Ok(Redirect::to("/people").into_response()),
            Err(StoreError::Stale) => form.overtaken_by(&filled(&record)),
            Err(StoreError::Duplicate) => name_is_taken(&mut form),
            Err(StoreError::Partner(refusal)) => form.refuse("role", refusal.to_string()),
            Err(other) => return Err(other.into()),
        }
    }
    person_page(&app, visitor, record, form).await
}

pub async fn let_go(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.let_go(&visitor.by(), &id, form.version()).await?;
    Ok(Redirect::to("/people").into_response())
}

pub async fn take_back(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.take_back(&visitor.by(), &id, form.version()).await?;
    Ok(Redirect::to("/people").into_response())
}

#[derive(Template)]
#[template(path = "people/code.html")]
struct CodePage {
    page: Page,
    record: PartnerRecord,
    code: String,
    drawing: Option<String>,
    minutes: i64,
    /// Whether the phone has to trust the shop's own certificate first.
    has_root: bool,
}

/// Makes a code that lets somebody in on a phone, and shows it once.
pub async fn make_code(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    _form: Form,
) -> Result<Response, Failure> {
    let record = app.store.person(&visitor.shop.id, &id).await?;
    let is_me = record.partner.id == visitor.partner.id;
    if record.has_left || (record.can_sign_in && !is_me) {
        return Err(Failure::refused(
            StatusCode::FORBIDDEN,
            "They let their own phones in",
            "Whoever has a passphrase signs in with it, or makes a code on a phone of their own. A forgotten one is \
             reset on the shop's box.",
        ));
    }
    let code = Code::random();
    let lasts = Purpose::Join.lasts();
    let whose = Some((visitor.shop.id.as_str(), id.as_str()));
    app.store.make_code(&code.hash(), Purpose::Join, whose, visitor.now, lasts).await?;
    let drawing = qr_svg(&format!("{}/join?code={code}", app.config.base_url));
    let page = visitor.page(Screen::People, format!("A phone for {}", record.partner.name));
    let (minutes, has_root) = (lasts.as_mins(), app.config.root.is_some());
    html(&CodePage { page, record, code: code.to_string(), drawing, minutes, has_root })
}

pub async fn end_phone(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    _form: Form,
) -> Result<Response, Failure> {
    app.store.end_session(&visitor.by(), &id).await?;
    Ok(Redirect::to("/people#phones").into_response())
}

#[derive(Template)]
#[template(path = "people/passphrase.html")]
struct PassphrasePage {
    page: Page,
    form: Form,
}

pub async fn passphrase(visitor: Visitor) -> Result<Response, Failure> {
    passphrase_page(&visitor, Form::default())
}

fn passphrase_page(visitor: &Visitor, form: Form) -> Result<Response, Failure> {
    html(&PassphrasePage { page: visitor.page(Screen::People, "Your passphrase"), form })
}

/// Changes one's own passphrase; every other phone of theirs is signed out.
pub async fn change_passphrase(
    State(app): State<App>,
    visitor: Visitor,
    mut form: Form,
) -> Result<Response, Failure> {
    let now = Passphrase::typed(form.value("passphrase_now"));
    form.set("passphrase_now", "");
    let name = visitor.partner.name.clone();
    let tried = Tried::Account { shop_id: &visitor.shop.id, name: &name };
    if let Err(too_many) = may_try(&app, tried, visitor.now).await? {
        form.refuse("passphrase_now", too_many);
        return passphrase_page(&visitor, form);
    }
    let account = app.store.account(&visitor.shop.id, &name).await?;
    if !now.is(account.and_then(|account| account.passphrase)).await {
        form.refuse("passphrase_now", "That is not your passphrase.");
        return passphrase_page(&visitor, form);
    }
    let Some(new) = chosen(&mut form, &[name.clone(), visitor.shop.name.clone()]) else {
        return passphrase_page(&visitor, form);
    };
    let (hash, by) = (new.hash().await, visitor.by());
    let mut tx = app.store.begin().await?;
    set_passphrase(&mut tx, &by, &visitor.partner.id, &hash).await?;
    end_sessions_of(&mut tx, &by, &visitor.partner.id, Some(&visitor.session_id)).await?;
    tx.commit().await?;
    app.store.forget_tries(tried).await?;
    Ok(Redirect::to("/people").into_response())
}
