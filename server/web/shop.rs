//! The shop: set it up, and change its settings.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::Timestamp;
use jiff::tz::{TimeZone, db};
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::costs::Costs;
use trade::mass::MassStyle;

use super::App;
use super::codes;
use super::containers::qr_svg;
use super::failure::Failure;
use super::form::Form;
use super::join::chosen;
use super::measure::KM_PER_MILE;
use super::page::{Page, Screen, Visitor, html};
use super::session;
use crate::catalogue;
use crate::secret::Code;
use crate::store::codes::{GoodCode, Purpose, use_code};
use crate::store::partners::{Partner, Role, add_partner, set_passphrase};
use crate::store::shops::{Shop, ShopSettings, add_shop, mass_style_code, mass_style_from};
use crate::store::{By, StoreError, new_id};

const LONGEST_NAME: usize = 40;

/// What distance the truck's cost is said for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Distance {
    Mile,
    Kilometre,
}

impl Distance {
    const ALL: [Distance; 2] = [Distance::Mile, Distance::Kilometre];

    const fn code(self) -> &'static str {
        match self {
            Distance::Mile => "mile",
            Distance::Kilometre => "km",
        }
    }

    /// As it stands behind a number.
    pub const fn short(self) -> &'static str {
        match self {
            Distance::Mile => "mi",
            Distance::Kilometre => "km",
        }
    }

    const fn word(self) -> &'static str {
        match self {
            Distance::Mile => "mile",
            Distance::Kilometre => "kilometre",
        }
    }

    fn from_code(code: &str) -> Option<Distance> {
        Self::ALL.into_iter().find(|distance| distance.code() == code)
    }

    /// Whoever weighs in pounds drives in miles.
    pub const fn habit(style: MassStyle) -> Distance {
        match style {
            MassStyle::PoundsOunces => Distance::Mile,
            MassStyle::Kilograms => Distance::Kilometre,
        }
    }

    pub const fn km(self) -> Decimal {
        match self {
            Distance::Mile => KM_PER_MILE,
            Distance::Kilometre => Decimal::ONE,
        }
    }
}

/// What the selects of the settings offer, as (code, words).
struct Choices {
    styles: Vec<(String, String)>,
    distances: Vec<(String, String)>,
    zones: Vec<String>,
}

impl Choices {
    fn new() -> Choices {
        let styles =
            [(MassStyle::PoundsOunces, "pounds: 2 lb 5 oz"), (MassStyle::Kilograms, "kilograms: 1.049 kg")];
        let distance = |distance: Distance| (distance.code().to_string(), distance.word().to_string());
        Choices {
            styles: styles.map(|(style, words)| (mass_style_code(style).into(), words.into())).to_vec(),
            distances: Distance::ALL.map(distance).to_vec(),
            zones: db().available().map(|zone| zone.to_string()).filter(|zone| zone.contains('/')).collect(),
        }
    }
}

#[derive(Template)]
#[template(path = "shop/show.html")]
struct ShopPage {
    page: Page,
    visitor: Visitor,
    form: Form,
    choices: Choices,
    /// Whether the home currency can no longer be changed.
    fixed: bool,
    address: String,
    code: Option<String>,
}

pub async fn show(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let form = filled(&visitor.shop);
    shop_page(&app, visitor, form).await
}

async fn shop_page(app: &App, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let fixed = app.store.home_currency_in_use(&visitor.shop.id).await?;
    let address = app.config.base_url.clone();
    let code = qr_svg(&address);
    let page = visitor.page(Screen::Shop, "Shop");
    html(&ShopPage { page, visitor, form, choices: Choices::new(), fixed, address, code })
}

fn filled(shop: &Shop) -> Form {
    let costs = &shop.costs;
    let distance = Distance::habit(shop.style);
    // As many decimals as anybody types: a cost per mile is kept per kilometre, and comes back as it was.
    let truck = (costs.truck_per_km * distance.km()).round_dp(6).normalize();
    Form::filled([
        ("name", shop.name.clone()),
        ("zone", shop.zone.iana_name().unwrap_or("UTC").to_string()),
        ("home", costs.home.code().to_string()),
        ("style", mass_style_code(shop.style).to_string()),
        ("labour", costs.labour_per_hour.normalize().to_string()),
        ("truck", truck.to_string()),
        ("truck_distance", distance.code().to_string()),
        ("capital", costs.capital_per_year.in_percent().to_string()),
        ("risk", costs.risk_per_year.in_percent().to_string()),
        ("version", shop.version.to_string()),
    ])
}

/// The settings that the form says, or the problems beside their fields.
fn settings(form: &mut Form) -> Option<ShopSettings> {
    let name = form.text("name", LONGEST_NAME);
    let zone = zone(form);
    let home = form.currency("home");
    let style = form.choice("style", mass_style_from);
    let labour_per_hour = form.amount("labour");
    let truck = form.amount("truck");
    let distance = form.choice("truck_distance", Distance::from_code);
    let capital_per_year = form.percent("capital");
    let risk_per_year = form.percent("risk");
    Some(ShopSettings {
        name: name?,
        zone: zone?,
        style: style?,
        costs: Costs {
            home: home?,
            labour_per_hour: labour_per_hour?,
            truck_per_km: truck? / distance?.km(),
            capital_per_year: capital_per_year?,
            risk_per_year: risk_per_year?,
        },
    })
}

/// A zone by its IANA name, in the spelling of the database.
fn zone(form: &mut Form) -> Option<String> {
    let typed = form.text("zone", LONGEST_NAME)?.replace(' ', "_");
    match TimeZone::get(&typed).ok().and_then(|zone| zone.iana_name().map(str::to_string)) {
        Some(zone) => Some(zone),
        None => {
            form.refuse("zone", "That is no time zone. Choose one of the list, like America/Detroit.");
            None
        }
    }
}

pub async fn update(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    if let Some(settings) = settings(&mut form) {
        match app.store.save_shop(&visitor.by(), form.version(), &settings).await {
            Ok(()) => return Ok(Redirect::to("/shop").into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.shop(&visitor.shop.id).await?;
                form.overtaken_by(&filled(&now));
            }
            Err(StoreError::Shop(refusal)) => form.refuse("home", refusal.to_string()),
            Err(other) => return Err(other.into()),
        }
    }
    shop_page(&app, visitor, form).await
}

#[derive(Template)]
#[template(path = "shop/new.html")]
struct NewShopPage {
    form: Form,
    choices: Choices,
    fixed: bool,
}

#[derive(Template)]
#[template(path = "shop/code.html")]
struct SetUpCodePage {
    form: Form,
}

#[derive(Deserialize)]
pub struct Brought {
    #[serde(default)]
    code: String,
}

/// The code to set a shop up with, if it is good; otherwise the form says what is wrong.
async fn set_up_code(app: &App, parts: &Parts, form: &mut Form) -> Result<Option<Code>, Failure> {
    let fits = |good: &GoodCode| good.purpose == Purpose::SetUp;
    let advice = "mistyped, used already or more than a day old. Start the program again for a new one.";
    Ok(codes::brought(app, parts, form, fits, advice).await?.map(|(code, _)| code))
}

/// The first page of a new record, for who has the code that the box printed.
pub async fn new(
    State(app): State<App>,
    Query(brought): Query<Brought>,
    parts: Parts,
) -> Result<Response, Failure> {
    let mut form = Form::filled([("code", brought.code)]);
    if form.value("code").is_empty() {
        // Once there is a shop, the page is only for who has a code to set up another one.
        return if app.store.shops().await?.is_empty() {
            html(&SetUpCodePage { form })
        } else {
            Ok(Redirect::to("/").into_response())
        };
    }
    let Some(code) = set_up_code(&app, &parts, &mut form).await? else {
        return html(&SetUpCodePage { form });
    };
    let here = TimeZone::system();
    let form = Form::filled([
        ("code", code.to_string()),
        ("shop_id", new_id()),
        ("partner_id_1", new_id()),
        ("partner_id_2", new_id()),
        // The shop's box stands in the shop, so its zone is the best guess.
        ("zone", here.iana_name().unwrap_or("UTC").to_string()),
        ("home", "USD".to_string()),
        ("style", mass_style_code(MassStyle::PoundsOunces).to_string()),
        ("labour", "18".to_string()),
        ("truck", "0.70".to_string()),
        ("truck_distance", Distance::Mile.code().to_string()),
        ("capital", "10".to_string()),
        ("risk", "5".to_string()),
    ]);
    html(&NewShopPage { form, choices: Choices::new(), fixed: false })
}

/// Sets the shop up with its partners and the grade catalogue, all at once or not at all, and signs in who did it.
pub async fn create(State(app): State<App>, parts: Parts, mut form: Form) -> Result<Response, Failure> {
    let Some(code) = set_up_code(&app, &parts, &mut form).await? else {
        // Sent twice: the first one has done it, and used the code.
        return match app.store.shop(form.value("shop_id")).await {
            Ok(_) => Ok(Redirect::to("/").into_response()),
            Err(_) => html(&SetUpCodePage { form }),
        };
    };
    let shop_id = form.once("shop_id")?;
    let settings = settings(&mut form);
    let partners = first_partners(&mut form)?;
    let names: Vec<String> =
        ["partner_1", "partner_2", "name"].map(|field| form.value(field).to_string()).to_vec();
    let passphrase = chosen(&mut form, &names);
    let (Some(settings), Some(partners), Some(passphrase), true) =
        (settings, partners, passphrase, form.is_good())
    else {
        return html(&NewShopPage { form, choices: Choices::new(), fixed: false });
    };
    let passphrase = passphrase.hash().await;
    let Some((first, others)) = partners.split_first() else { return Err(Failure::cut_short()) };
    let by = By { shop_id, partner_id: first.id.clone(), at: Timestamp::now() };
    let mut tx = app.store.begin().await?;
    match use_code(&mut tx, &code.hash(), by.at).await {
        // Sent twice, or from both phones at once: the first one has done it.
        Err(StoreError::Missing) => return Ok(Redirect::to("/").into_response()),
        used => used?,
    }
    add_shop(&mut tx, &by, &settings, first).await?;
    set_passphrase(&mut tx, &by, &first.id, &passphrase).await?;
    for other in others {
        add_partner(&mut tx, &by, other).await?;
    }
    catalogue::fill(&mut tx, &by.shop_id).await?;
    let token = session::begin(&mut tx, &by, &parts.headers).await?;
    tx.commit().await?;
    Ok(session::welcome(&app, &token, "/"))
}

/// One partner or two, of different names.
fn first_partners(form: &mut Form) -> Result<Option<Vec<Partner>>, Failure> {
    let ids = [form.once("partner_id_1")?, form.once("partner_id_2")?];
    let first = form.text("partner_1", LONGEST_NAME);
    let second = form.optional_text("partner_2", LONGEST_NAME);
    let (Some(first), Some(second)) = (first, second) else { return Ok(None) };
    if first.to_lowercase() == second.to_lowercase() {
        form.refuse("partner_2", "The two need different names.");
        return Ok(None);
    }
    let named = ids.into_iter().zip([first, second]).filter(|(_, name)| !name.is_empty());
    Ok(Some(named.map(|(id, name)| Partner { id, name, role: Role::Partner }).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cost_per_mile_comes_back_as_it_was_typed() {
        for typed in ["0.67", "0.7", "0.655", "123456.789"] {
            let mut form = Form::filled([
                ("name", "Shop".to_string()),
                ("zone", "america/detroit".to_string()),
                ("home", "usd".to_string()),
                ("style", "pounds-ounces".to_string()),
                ("truck", typed.to_string()),
                ("truck_distance", "mile".to_string()),
            ]);
            let settings = settings(&mut form).expect("good settings");
            assert_eq!(settings.zone, "America/Detroit");
            let shop = Shop {
                id: String::new(),
                name: settings.name,
                zone: TimeZone::get(&settings.zone).expect("a zone"),
                style: settings.style,
                costs: settings.costs,
                version: 1,
            };
            assert_eq!(filled(&shop).value("truck"), typed);
        }
    }

    #[test]
    fn a_zone_that_is_none_is_refused() {
        for typed in ["", "Mars/Olympus", "../etc/passwd", "EST5EDT,M3.2.0,M11.1.0"] {
            let mut form = Form::filled([("zone", typed.to_string())]);
            assert_eq!(zone(&mut form), None, "{typed}");
            assert!(form.problem("zone").is_some());
        }
    }
}
