//! What every page has around its own content, and who is looking at it.

use std::fmt::Display;

use askama::Template;
use axum::extract::FromRequestParts;
use axum::http::Method;
use axum::http::request::Parts;
use axum::response::{Html, IntoResponse, Redirect, Response};
use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Currency, Money, show_amount};
use trade::reading;

use super::App;
use super::failure::{self, Failure};
use super::session;
use crate::store::By;
use crate::store::partners::{Partner, Role};
use crate::store::sessions::SignedIn;
use crate::store::shops::Shop;

/// The screen a page belongs to, for the navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Screen {
    Today,
    Weigh,
    Wire,
    Lots,
    Prices,
    Plan,
    Bench,
    Outlets,
    Grades,
    KeptBack,
    Containers,
    Shipments,
    Runs,
    Pickups,
    Diverted,
    Money,
    Freight,
    Rates,
    People,
    Activity,
    Backup,
    Shop,
}

/// The frame of a page.
#[derive(Debug, Clone)]
pub struct Page {
    pub title: String,
    pub screen: Screen,
    pub shop_name: String,
    pub partner_name: String,
    /// Whether the menu is a helper's: to weigh in, and nothing else.
    pub for_helper: bool,
    /// Whether it can be fetched once more to show what has changed: not so the answer to a form.
    pub is_live: bool,
}

impl Page {
    pub fn is(&self, screen: Screen) -> bool {
        self.screen == screen
    }
}

/// Somebody at a page: the shop, who it is, on which phone, and the moment of the request.
///
/// A handler that takes a `Visitor` is for partners. Where helpers may go too, it takes [`Anyone`]; so a page that says
/// nothing about it is closed to them.
#[derive(Debug, Clone)]
pub struct Visitor {
    pub shop: Shop,
    pub partner: Partner,
    pub session_id: String,
    pub now: Timestamp,
    /// Whether the request only reads.
    pub is_reading: bool,
}

impl Visitor {
    pub fn page(&self, screen: Screen, title: impl Into<String>) -> Page {
        Page {
            title: title.into(),
            screen,
            shop_name: self.shop.name.clone(),
            partner_name: self.partner.name.clone(),
            for_helper: self.partner.is_helper(),
            is_live: self.is_reading,
        }
    }

    /// Who changes something with this request, and when.
    pub fn by(&self) -> By {
        By { shop_id: self.shop.id.clone(), partner_id: self.partner.id.clone(), at: self.now }
    }

    /// Today in the shop.
    pub fn today(&self) -> Date {
        self.now.to_zoned_datetime(self.shop.zone.clone()).date()
    }

    pub fn home(&self) -> Currency {
        self.shop.costs.home
    }

    pub fn style(&self) -> MassStyle {
        self.shop.style
    }

    /// A mass as this shop spells it.
    pub fn mass(&self, mass: impl Value<Mass>) -> String {
        unbroken(&self.shop.style.show(mass.value()))
    }

    /// A mass for a field that opens to be changed: saved as it stands, it stays the same.
    pub fn spelled(&self, mass: Mass) -> String {
        reading::spell(mass, self.shop.style)
    }

    /// A mass in the form that the shop does not use: beside the first where a reading is read back.
    pub fn other_form(&self, mass: impl Value<Mass>) -> String {
        unbroken(&self.shop.style.other().show(mass.value()))
    }

    /// `from 100 lb`, for a price that does not hold for every load.
    pub fn tier(&self, from: impl Value<Mass>) -> Option<String> {
        let (from, style) = (from.value(), self.style());
        // Sheets have their tiers in round numbers of one unit or the other; what is round in neither is read as typed.
        let of_unit = |unit: MassUnit| (from.in_unit(unit).normalize(), unit);
        let mut ways = [style, style.other()].into_iter().map(|style| of_unit(style.unit()));
        let words = match ways.find(|(number, _)| number.scale() <= 1) {
            Some((number, unit)) => format!("{number} {unit}"),
            None => self.spelled(from),
        };
        (!from.is_zero()).then(|| format!("from {}", unbroken(&words)))
    }

    /// An amount of home currency, rounded to its minor unit.
    pub fn money(&self, amount: impl Value<Decimal>) -> String {
        money(amount.value(), self.home())
    }

    /// An amount of any currency, rounded to its minor unit.
    pub fn cash(&self, amount: impl Value<Decimal>, currency: &Currency) -> String {
        money(amount.value(), *currency)
    }

    /// A home amount per unit of mass, as the shop quotes: `1.85 USD/lb`.
    pub fn per_unit(&self, amount: impl Value<Decimal>) -> String {
        let price =
            format!("{} {}/{}", show_amount(amount.value(), 2), self.home().code(), self.style().unit());
        unbroken(&price)
    }

    /// A moment in the shop's zone: `Tue 12 May 14:05`.
    pub fn moment(&self, at: impl Value<Timestamp>) -> String {
        let at = at.value().to_zoned_datetime(self.shop.zone.clone());
        unbroken(&at.strftime("%a %-d %b %H:%M").to_string())
    }

    /// The day of a moment in the shop's zone.
    pub fn day_of(&self, at: impl Value<Timestamp>) -> Date {
        at.value().to_zoned_datetime(self.shop.zone.clone()).date()
    }

    /// `Tue 12 May 2026`.
    pub fn day(&self, date: impl Value<Date>) -> String {
        day(date.value())
    }

    /// How far a day lies from today: `3 days ago`.
    pub fn ago(&self, date: impl Value<Date>) -> String {
        days_from(self.today(), date.value())
    }
}

/// A value, or a reference to one at any depth: templates pass what their loops and matches bind.
pub trait Value<T> {
    fn value(&self) -> T;
}

macro_rules! values {
    ($($name:ty)*) => {$(
        impl Value<$name> for $name {
            fn value(&self) -> $name {
                *self
            }
        }

        impl<V: Value<$name>> Value<$name> for &V {
            fn value(&self) -> $name {
                V::value(self)
            }
        }
    )*};
}

values! { Mass Decimal Timestamp Date }

/// A quantity, a day or an age, so that no line breaks it in two.
pub fn unbroken(words: &str) -> String {
    words.replace(' ', "\u{a0}")
}

/// `37 lb 11.3 oz` as its numbers, each with its unit.
pub fn in_units(words: &str) -> Vec<(&str, &str)> {
    let words: Vec<&str> = words.split_whitespace().collect();
    words.chunks(2).map(|pair| (pair[0], pair.get(1).copied().unwrap_or_default())).collect()
}

/// Rates are told by the week.
pub const DAYS_OF_WEEK: Decimal = Decimal::from_parts(7, 0, 0, false, 0);

/// A share of one in hundredths, with so many decimals at most: `98.2 %`.
pub fn percent(share: Decimal, places: u32) -> String {
    unbroken(&format!("{} %", (share * Decimal::ONE_HUNDRED).round_dp(places).normalize()))
}

/// An amount of a currency, rounded to its minor unit.
pub fn money(amount: Decimal, currency: Currency) -> String {
    unbroken(&Money::new(amount, currency).to_string())
}

/// A name as a heading: with a capital where it begins, and the rest as it is.
pub fn headed(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `1 lot`, `3 lots`.
pub fn counted(count: impl Display, one: &str, many: &str) -> String {
    match count.to_string().as_str() {
        "1" => format!("1 {one}"),
        count => format!("{count} {many}"),
    }
}

/// `Tue 12 May 2026`.
pub fn day(date: Date) -> String {
    unbroken(&date.strftime("%a %-d %b %Y").to_string())
}

/// `3 days ago`, `today`, `in 5 days`.
pub fn days_from(today: Date, date: Date) -> String {
    match (date - today).get_days() {
        0 => "today".to_string(),
        -1 => "yesterday".to_string(),
        1 => "tomorrow".to_string(),
        ahead if ahead > 0 => unbroken(&format!("in {ahead} days")),
        ago => unbroken(&format!("{} days ago", -ago)),
    }
}

impl FromRequestParts<App> for Visitor {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let Anyone(visitor) = Anyone::from_request_parts(parts, app).await?;
        match visitor.partner.role {
            Role::Partner => Ok(visitor),
            // Where a phone begins, and where every page's way back leads.
            Role::Helper if parts.uri.path() == "/" => Err(Redirect::to("/weigh").into_response()),
            Role::Helper => Err(failure::for_partners().page()),
        }
    }
}

/// Whoever is signed in: a partner, or a helper. For the few pages where a helper may go.
#[derive(Debug, Clone)]
pub struct Anyone(pub Visitor);

impl FromRequestParts<App> for Anyone {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let now = Timestamp::now();
        let signed_in = match session::token(app, &parts.headers) {
            Some(token) => app.store.signed_in(&token.hash(), now).await,
            None => Ok(None),
        };
        match signed_in.map_err(|error| Failure::from(error).page())? {
            Some(SignedIn { session_id, shop, partner }) => {
                let is_reading = parts.method == Method::GET;
                Ok(Anyone(Visitor { shop, partner, session_id, now, is_reading }))
            }
            None => Err(session::sign_in_first(app, parts).await),
        }
    }
}

/// A list in folds, of which the first stands open: a few entries, and a list that is asked for with `open=all`, stand
/// open as a whole.
#[derive(Debug, Default, Deserialize)]
pub struct Folds {
    #[serde(default)]
    open: String,
}

impl Folds {
    /// As many as a phone shows in two screens.
    const FEW: usize = 12;

    pub fn all_open(&self, entries: usize) -> bool {
        self.open == "all" || entries <= Self::FEW
    }
}

/// Draws a page.
pub fn html(page: &impl Template) -> Result<Response, Failure> {
    let body = page.render().map_err(|error| {
        tracing::error!(%error, "a template did not render");
        Failure::refused(
            axum::http::StatusCode::INTERNAL_SERVER_ERROR,
            "The page could not be drawn",
            "Nothing was lost. Go back and try again.",
        )
    })?;
    Ok(Html(body).into_response())
}
