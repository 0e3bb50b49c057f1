//! Roads from one yard straight to the others, so that a drive to several is reckoned as it is driven.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use trade::tour::Roads;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::measure::{distance, show_distance, spell_distance};
use super::page::{Page, Screen, Visitor, html};
use crate::store::StoreError;
use crate::store::outlets::{Outlet, OutletKind};
use crate::store::roads::{NewRoad, Road};

/// A road in plain words.
pub struct RoadLine {
    pub to: String,
    pub words: String,
}

/// The field of a road, with what its page showed.
struct RoadField {
    name: String,
    seen_name: String,
    label: String,
    hint: String,
}

#[derive(Template)]
#[template(path = "roads/edit.html")]
struct RoadsPage {
    page: Page,
    outlet: Outlet,
    fields: Vec<RoadField>,
    form: Form,
    is_stale: bool,
}

/// How far it is to the yard and back no further than the shop.
fn own_km(outlet: &Outlet) -> Option<Decimal> {
    match &outlet.details.kind {
        OutletKind::Yard(drive) => Some(drive.distance_km),
        OutletKind::MailIn(_) => None,
    }
}

/// The roads to be asked how far it is, whichever end is named first.
fn known(roads: &[Road]) -> Roads {
    let mut known = Roads::NONE;
    for Road { ends: (one, other), distance_km } in roads {
        known.add(one, other, *distance_km);
    }
    known
}

/// The other yards that the shop drives to.
fn others<'a>(outlets: &'a [Outlet], from: &'a Outlet) -> impl Iterator<Item = &'a Outlet> {
    outlets.iter().filter(|other| other.id != from.id && !other.is_closed() && own_km(other).is_some())
}

/// The known roads from a yard, for its own page.
pub fn road_lines(outlet: &Outlet, outlets: &[Outlet], roads: &[Road], visitor: &Visitor) -> Vec<RoadLine> {
    let Some(own) = own_km(outlet) else { return Vec::new() };
    let roads = known(roads);
    let line = |other: &Outlet| {
        let km = roads.between(&outlet.id, &other.id)?;
        let by_shop = own + own_km(other)?;
        let longer = if km >= by_shop { ", not shorter than by the shop" } else { "" };
        Some(RoadLine {
            to: other.details.name.clone(),
            words: format!("{}{longer}", show_distance(km, visitor.style())),
        })
    };
    others(outlets, outlet).filter_map(line).collect()
}

/// A yard and what there is to know about its roads.
struct Ends {
    outlet: Outlet,
    outlets: Vec<Outlet>,
    roads: Roads,
}

impl Ends {
    async fn load(app: &App, visitor: &Visitor, id: &str) -> Result<Ends, Failure> {
        let outlet = app.store.outlet(&visitor.shop.id, id).await?;
        if own_km(&outlet).is_none() {
            return Err(Failure::refused(
                StatusCode::NOT_FOUND,
                "Nobody drives there",
                "Parcels are mailed to it, so there are no roads to enter.",
            ));
        }
        let outlets = app.store.outlets(&visitor.shop.id).await?;
        let roads = known(&app.store.roads(&visitor.shop.id).await?);
        Ok(Ends { outlet, outlets, roads })
    }

    fn fields(&self, visitor: &Visitor) -> Vec<RoadField> {
        let own = own_km(&self.outlet).unwrap_or_default();
        let field = |other: &Outlet| RoadField {
            name: format!("road-{}", other.id),
            seen_name: format!("seen-{}", other.id),
            label: format!("To {}", other.details.name),
            hint: format!(
                "By the shop it is {}.",
                show_distance(own + own_km(other).unwrap_or_default(), visitor.style())
            ),
        };
        others(&self.outlets, &self.outlet).map(field).collect()
    }

    fn as_form(&self) -> Form {
        let mut form = Form::default();
        for other in others(&self.outlets, &self.outlet) {
            let km = self.roads.between(&self.outlet.id, &other.id);
            form.set(&format!("road-{}", other.id), km.map_or_else(String::new, spell_distance));
            form.set(&format!("seen-{}", other.id), km.map_or_else(String::new, |km| km.to_string()));
        }
        form
    }

    fn page(self, visitor: &Visitor, form: Form, is_stale: bool) -> Result<Response, Failure> {
        html(&RoadsPage {
            page: visitor.page(Screen::Outlets, format!("Roads from {}", self.outlet.details.name)),
            fields: self.fields(visitor),
            outlet: self.outlet,
            form,
            is_stale,
        })
    }
}

pub async fn edit(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
) -> Result<Response, Failure> {
    let ends = Ends::load(&app, &visitor, &outlet).await?;
    let form = ends.as_form();
    ends.page(&visitor, form, false)
}

pub async fn update(
    State(app): State<App>,
    visitor: Visitor,
    Path(outlet): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let ends = Ends::load(&app, &visitor, &outlet).await?;
    let mut roads = Vec::new();
    for other in others(&ends.outlets, &ends.outlet) {
        let name = format!("road-{}", other.id);
        // A yard that was set up after the page was opened has no field on it.
        if !form.has(&name) {
            continue;
        }
        let typed = form.value(&name).trim().to_string();
        let distance_km = match typed.is_empty() {
            true => None,
            false => {
                let Some(km) = form.read(&name, distance) else { continue };
                Some(km)
            }
        };
        let before = form.value(&format!("seen-{}", other.id)).parse().ok();
        roads.push(NewRoad { to: other.id.clone(), before, distance_km });
    }
    if !form.is_good() {
        return ends.page(&visitor, form, false);
    }
    match app.store.set_roads(&visitor.by(), &ends.outlet.id, &roads).await {
        Ok(()) => Ok(Redirect::to(&format!("/outlets/{}", ends.outlet.id)).into_response()),
        Err(StoreError::Stale) => {
            let ends = Ends::load(&app, &visitor, &outlet).await?;
            let form = ends.as_form();
            Ok((StatusCode::CONFLICT, ends.page(&visitor, form, true)?).into_response())
        }
        Err(error) => Err(error.into()),
    }
}
