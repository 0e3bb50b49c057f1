//! The shop: set it up, change its settings, and say who holds this phone.

use askama::Template;
use axum::extract::State;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::CookieJar;
use jiff::Timestamp;
use jiff::tz::{TimeZone, db};
use rust_decimal::Decimal;
use trade::costs::Costs;
use trade::mass::MassStyle;

use super::App;
use super::containers::qr_svg;
use super::failure::Failure;
use super::form::Form;
use super::measure::KM_PER_MILE;
use super::page::{PARTNER_COOKIE, Page, Screen, Visitor, html};
use crate::catalogue;
use crate::store::shops::{
    Partner, Shop, ShopSettings, add_partner as add_partner_in, add_shop, is_set_up, mass_style_code,
    mass_style_from,
};
use crate::store::{StoreError, new_id};

/// A phone keeps who holds it for a year.
const COOKIE_SECONDS: u32 = 365 * 24 * 60 * 60;
const LONGEST_NAME: usize = 40;

/// What distance the truck's cost is said for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Distance {
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
    const fn habit(style: MassStyle) -> Distance {
        match style {
            MassStyle::PoundsOunces => Distance::Mile,
            MassStyle::Kilograms => Distance::Kilometre,
        }
    }

    const fn km(self) -> Decimal {
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
    partners: Vec<Partner>,
    /// Whether this phone has said who holds it.
    told: bool,
    /// Whether the home currency can no longer be changed.
    fixed: bool,
    address: String,
    code: Option<String>,
}

pub async fn show(State(app): State<App>, visitor: Visitor, jar: CookieJar) -> Result<Response, Failure> {
    let form = filled(&visitor.shop);
    shop_page(&app, visitor, &jar, form).await
}

async fn shop_page(
    app: &App,
    visitor: Visitor,
    jar: &CookieJar,
    mut form: Form,
) -> Result<Response, Failure> {
    if !form.has("partner_id") {
        form.set("partner_id", new_id());
    }
    let partners = app.store.partners(&visitor.shop.id).await?;
    let told = jar.get(PARTNER_COOKIE).is_some_and(|cookie| cookie.value() == visitor.partner.id);
    let fixed = app.store.home_currency_in_use(&visitor.shop.id).await?;
    let address = app.config.base_url.clone();
    let code = qr_svg(&address);
    let page = visitor.page(Screen::Shop, "Shop");
    html(&ShopPage { page, visitor, form, choices: Choices::new(), partners, told, fixed, address, code })
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

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    jar: CookieJar,
    mut form: Form,
) -> Result<Response, Failure> {
    if let Some(settings) = settings(&mut form) {
        match app.store.save_shop(&visitor.shop.id, form.version(), &settings).await {
            Ok(()) => return Ok(Redirect::to("/shop").into_response()),
            Err(StoreError::Stale) => {
                let now = app.store.first_shop().await?.unwrap_or_else(|| visitor.shop.clone());
                form.overtaken_by(&filled(&now));
            }
            Err(StoreError::Shop(refusal)) => form.refuse("home", refusal.to_string()),
            Err(other) => return Err(other.into()),
        }
    }
    shop_page(&app, visitor, &jar, form).await
}

/// Remembers on this phone who holds it.
pub async fn who(State(app): State<App>, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let chosen = form.value("partner");
    let partners = app.store.partners(&visitor.shop.id).await?;
    // What goes into the header is an id that this program made, never what was sent.
    let Some(partner) = partners.iter().find(|partner| partner.id == chosen) else {
        return Err(Failure::missing("partner"));
    };
    let cookie =
        format!("{PARTNER_COOKIE}={}; Max-Age={COOKIE_SECONDS}; Path=/; HttpOnly; SameSite=Lax", partner.id);
    Ok(([(SET_COOKIE, cookie)], Redirect::to("/shop")).into_response())
}

pub async fn add_partner(
    State(app): State<App>,
    visitor: Visitor,
    jar: CookieJar,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("partner_id")?;
    if let Some(name) = form.text("partner_name", LONGEST_NAME) {
        match app.store.create_partner(&visitor.shop.id, &Partner { id, name }, visitor.now).await {
            Ok(()) => return Ok(Redirect::to("/shop").into_response()),
            Err(StoreError::Duplicate) => {
                form.refuse("partner_name", "There is a partner of that name already. Choose another.");
            }
            Err(other) => return Err(other.into()),
        }
    }
    // The settings stand on the same page, as they are stored.
    for (name, value) in filled(&visitor.shop).all() {
        form.set(name, value);
    }
    shop_page(&app, visitor, &jar, form).await
}

#[derive(Template)]
#[template(path = "shop/new.html")]
struct NewShopPage {
    form: Form,
    choices: Choices,
    fixed: bool,
}

/// The first page of a new record. Once there is a shop it leads to Today.
pub async fn new(State(app): State<App>) -> Result<Response, Failure> {
    if app.store.first_shop().await?.is_some() {
        return Ok(Redirect::to("/").into_response());
    }
    let here = TimeZone::system();
    let form = Form::filled([
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

/// Sets the shop up with its partners and the grade catalogue, all at once or not at all.
pub async fn create(State(app): State<App>, mut form: Form) -> Result<Response, Failure> {
    let shop_id = form.once("shop_id")?;
    let settings = settings(&mut form);
    let partners = first_partners(&mut form)?;
    if let (Some(settings), Some(partners), true) = (settings, partners, form.is_good()) {
        let now = Timestamp::now();
        let mut tx = app.store.begin_alone().await?;
        // Sent twice, or from both phones at once: the first one has done it.
        if !is_set_up(&mut tx).await? {
            add_shop(&mut tx, &shop_id, &settings, now).await?;
            for partner in &partners {
                add_partner_in(&mut tx, &shop_id, partner, now).await?;
            }
            catalogue::fill(&mut tx, &shop_id).await?;
            tx.commit().await.map_err(StoreError::from)?;
        }
        return Ok(Redirect::to("/").into_response());
    }
    if app.store.first_shop().await?.is_some() {
        return Ok(Redirect::to("/").into_response());
    }
    html(&NewShopPage { form, choices: Choices::new(), fixed: false })
}

/// One partner or two, of different names.
fn first_partners(form: &mut Form) -> Result<Option<Vec<Partner>>, Failure> {
    let ids = [form.once("partner_id_1")?, form.once("partner_id_2")?];
    let first = form.text("partner_1", LONGEST_NAME);
    let second = form.optional_text("partner_2", LONGEST_NAME);
    let (Some(first), Some(second)) = (first, second) else { return Ok(None) };
    if first == second {
        form.refuse("partner_2", "The two need different names.");
        return Ok(None);
    }
    let named = ids.into_iter().zip([first, second]).filter(|(_, name)| !name.is_empty());
    Ok(Some(named.map(|(id, name)| Partner { id, name }).collect()))
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
