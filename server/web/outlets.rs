//! Outlets: their terms. The list, one outlet in plain words, closing and reopening.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::outlet::Drive;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::measure::{show_distance, spell_mass};
use super::page::{Page, Screen, Visitor, html, money};
use super::roads::{RoadLine, road_lines};
use crate::store::outlets::{Outlet, OutletKind, PostTerms};
use crate::store::services::ServiceRecord;

/// An outlet on the list, with its key terms in a line.
struct Card {
    outlet: Outlet,
    terms: String,
}

struct Group {
    heading: &'static str,
    cards: Vec<Card>,
}

#[derive(Template)]
#[template(path = "outlets/index.html")]
struct OutletsPage {
    page: Page,
    groups: Vec<Group>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let mut groups =
        ["Yards", "Mail-in buyers", "Closed"].map(|heading| Group { heading, cards: Vec::new() });
    for outlet in outlets {
        let group = match (outlet.is_closed(), &outlet.details.kind) {
            (true, _) => 2,
            (false, OutletKind::MailIn(_)) => 1,
            (false, OutletKind::Yard(_)) => 0,
        };
        groups[group].cards.push(Card { terms: in_a_line(&outlet, &visitor), outlet });
    }
    let groups = groups.into_iter().filter(|group| !group.cards.is_empty()).collect();
    html(&OutletsPage { page: visitor.page(Screen::Outlets, "Outlets"), groups })
}

/// `12 mi · USD per lb · pays at once · from 50 lb`.
fn in_a_line(outlet: &Outlet, visitor: &Visitor) -> String {
    let details = &outlet.details;
    let terms = &details.terms;
    let money = |amount| money(amount, details.currency);
    let mut parts = Vec::new();
    match &details.kind {
        OutletKind::Yard(drive) => parts.push(show_distance(drive.distance_km, visitor.style())),
        OutletKind::MailIn(post) if !post.border.is_zero() => {
            parts.push(format!("{} at the border", visitor.money(post.border)));
        }
        OutletKind::MailIn(_) => {}
    }
    parts.push(format!("{} per {}", details.currency.code(), details.usual_unit.label()));
    parts.push(days_to_pay(terms.days_to_pay));
    if !terms.minimum_delivery.is_zero() {
        parts.push(format!("from {}", spell_mass(terms.minimum_delivery)));
    }
    if !terms.minimum_payout.is_zero() {
        parts.push(format!("from {}", money(terms.minimum_payout)));
    }
    if !terms.percent_fee.is_zero() {
        parts.push(format!("fee {}", terms.percent_fee));
    }
    if !terms.flat_fee.is_zero() {
        parts.push(format!("fee {}", money(terms.flat_fee)));
    }
    parts.join(" · ")
}

fn days_to_pay(days: u32) -> String {
    match days {
        0 => "pays at once".into(),
        1 => "pays after a day".into(),
        days => format!("pays after {days} days"),
    }
}

/// A service that reaches the outlet, and whether it can be used.
struct Reached {
    service_id: String,
    service: String,
    zone: String,
    trouble: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "outlets/show.html")]
struct OutletPage {
    page: Page,
    outlet: Outlet,
    closed_since: Option<String>,
    cautions: Vec<&'static str>,
    getting_there: Vec<(&'static str, String)>,
    terms: Vec<(&'static str, String)>,
    reached: Vec<Reached>,
    /// To other yards.
    roads: Vec<RoadLine>,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
) -> Result<Response, Failure> {
    let outlet = app.store.outlet(&visitor.shop.id, &outlet).await?;
    let services = app.store.services(&visitor.shop.id).await?;
    let outlets = app.store.outlets(&visitor.shop.id).await?;
    let roads = app.store.roads(&visitor.shop.id).await?;
    html(&OutletPage {
        page: visitor.page(Screen::Outlets, outlet.details.name.clone()),
        closed_since: outlet.closed_at.map(|at| visitor.moment(at)),
        cautions: cautions(&outlet, &visitor),
        getting_there: match &outlet.details.kind {
            OutletKind::Yard(drive) => drive_in_words(drive, &visitor),
            OutletKind::MailIn(post) => post_in_words(post, &visitor),
        },
        terms: terms_in_words(&outlet, &visitor),
        reached: reached(&outlet, &services),
        roads: road_lines(&outlet, &outlets, &roads, &visitor),
        outlet,
    })
}

fn reached(outlet: &Outlet, services: &[ServiceRecord]) -> Vec<Reached> {
    let reaches = outlet.details.kind.reaches().iter();
    let named = reaches.filter_map(|reach| {
        let service = services.iter().find(|service| service.id == reach.service_id)?;
        let trouble = if service.retired {
            Some("retired: not used")
        } else if service.details.zone(&reach.zone).is_none() {
            Some("zone is gone from its table: not used")
        } else {
            None
        };
        Some(Reached {
            service_id: service.id.clone(),
            service: service.details.name.clone(),
            zone: reach.zone.clone(),
            trouble,
        })
    });
    named.collect()
}

pub(super) fn cautions(outlet: &Outlet, visitor: &Visitor) -> Vec<&'static str> {
    match &outlet.details.kind {
        OutletKind::Yard(_) => vec![
            "Yards keep records of who sells to them: many ask for photo identification, the vehicle's plate and where \
             the goods come from, and some may not pay in cash or at once. The rules are local, so check those of your \
             state, province and town. Notes on where a lot came from help, but are not proof that the rules are kept.",
        ],
        OutletKind::MailIn(post) => {
            let mut cautions = vec![
                "Take every battery and cell off first, coin cells on boards too. What a carrier takes, and how it has \
                 to be packed and marked, is in its own rules: check with the carrier.",
            ];
            if !post.border.is_zero() || outlet.details.currency != visitor.home() {
                cautions.insert(
                    0,
                    "Electronic waste across a border: check with the carrier, both customs and your environment \
                     ministry before you ship. It can need consent beforehand, whatever the parcel weighs.",
                );
            }
            cautions
        }
    }
}

fn drive_in_words(drive: &Drive, visitor: &Visitor) -> Vec<(&'static str, String)> {
    vec![
        ("One way", show_distance(drive.distance_km, visitor.style())),
        ("The whole trip takes", format!("{} min", drive.minutes.normalize())),
    ]
}

fn post_in_words(post: &PostTerms, visitor: &Visitor) -> Vec<(&'static str, String)> {
    let mut rows = vec![("Packing one parcel takes", format!("{} min", post.packing_minutes.normalize()))];
    if !post.border.is_zero() {
        rows.push(("Border and paperwork, each shipment", visitor.money(post.border)));
    }
    if !post.insurance.is_zero() {
        rows.push(("Insurance", format!("{} of what is expected", post.insurance)));
    }
    rows
}

/// What is not asked for is left out: a short list is one that is read.
fn terms_in_words(outlet: &Outlet, visitor: &Visitor) -> Vec<(&'static str, String)> {
    let details = &outlet.details;
    let terms = &details.terms;
    let money = |amount: Decimal| money(amount, details.currency);
    let mut rows = vec![
        ("Quotes and pays in", details.currency.code().to_string()),
        ("A price without a unit is per", details.usual_unit.label().to_string()),
        ("When it pays", days_to_pay(terms.days_to_pay)),
    ];
    let mut unless = |nothing: bool, label, words: String| {
        if !nothing {
            rows.push((label, words));
        }
    };
    unless(
        terms.weight_deduction.is_zero(),
        "Takes off the weight",
        format!("{} for tare or damp", terms.weight_deduction),
    );
    unless(
        terms.paid_weight.get() == Decimal::ONE,
        "Its scale finds",
        format!("{} % of what ours does", (terms.paid_weight.get() * Decimal::ONE_HUNDRED).normalize()),
    );
    unless(
        terms.downgrade_chance.is_zero() || terms.downgrade_drop.is_zero(),
        "Sets a lower grade",
        format!("for {} of loads, {} less", terms.downgrade_chance, terms.downgrade_drop),
    );
    unless(terms.percent_fee.is_zero(), "Fee by percent", terms.percent_fee.to_string());
    unless(terms.flat_fee.is_zero(), "Fee for each delivery", money(terms.flat_fee));
    unless(terms.minimum_payout.is_zero(), "Pays out from", money(terms.minimum_payout));
    unless(terms.minimum_grade.is_zero(), "Least of one grade", spell_mass(terms.minimum_grade));
    unless(terms.minimum_delivery.is_zero(), "Least delivery", spell_mass(terms.minimum_delivery));
    unless(
        terms.exchange_spread.is_zero() || details.currency == visitor.home(),
        "Lost in exchange",
        terms.exchange_spread.to_string(),
    );
    unless(terms.payout_fee.is_zero(), "Our bank takes, each payment", visitor.money(terms.payout_fee));
    rows
}

/// Stops selling there; what was sold stays on record.
pub async fn close(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.close_outlet(&visitor.by(), &outlet, form.version()).await?;
    Ok(Redirect::to(&format!("/outlets/{outlet}")).into_response())
}

pub async fn reopen(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    app.store.reopen_outlet(&visitor.by(), &outlet, form.version()).await?;
    Ok(Redirect::to(&format!("/outlets/{outlet}")).into_response())
}
