//! The shipment that a bag's page offers to make, and whether it still is what the partner saw there.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;

use axum::http::StatusCode;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::net::{self, Load};
use trade::outlet::{Outlet, Way};
use trade::plan::Place;
use trade::top_up::{next_tiers, top_ups};

use super::failure::Failure;
use super::form::Form;
use super::page::counted;
use crate::shelf::{Answer, Shelf};
use crate::store::files::sha256;
use crate::store::lots::Lot;
use crate::store::new_id;

/// A lot that could go in the shipment.
pub struct Rider {
    pub lot: Lot,
    /// What it adds to the shipment's net; for lots of the bag itself, nothing is said.
    pub adds: Option<Decimal>,
    /// What it is worth kept or sold elsewhere, as the sell plan has it.
    pub else_worth: Option<Decimal>,
    /// Where that is; kept if nowhere.
    pub else_at: Option<String>,
    /// It goes without one more cent of freight, boxes and packing.
    pub free: bool,
    /// Grades that reach a higher tier with it.
    pub lifts: String,
    pub chosen: bool,
}

/// What is missing to a better price.
pub struct Missing {
    pub grade_name: String,
    pub mass: Mass,
    /// Such as `2.20 USD/lb from 10 lb`.
    pub price: String,
    /// What so much more of it adds.
    pub adds: Decimal,
}

/// The shipment that could be made now.
pub struct Offer {
    pub id: String,
    pub outlet: OutletId,
    pub outlet_name: String,
    pub riders: Vec<Rider>,
    pub missing: Vec<Missing>,
    /// What the ticked lots bring together; `None` where the outlet does not take them.
    pub net: Option<Decimal>,
    /// [`Seen`], as the form carries it.
    pub seen: String,
}

impl Offer {
    /// What could go in a shipment to `outlet` now. The lots that were `ticked` are chosen, on a page that opens the
    /// bag's own lots and those the plan sends along; others that the outlet prices are offered.
    pub fn new(
        outlet: &Outlet,
        lot: &Lot,
        shelf: &Shelf,
        answer: &Answer,
        ticked: Option<&BTreeSet<LotId>>,
    ) -> Option<Offer> {
        if !outlet.quotes.contains_key(&lot.grade_id) {
            return None;
        }
        let planned =
            |id: &LotId| answer.delivery_of(id).is_some_and(|delivery| delivery.outlet == outlet.id);
        let priced: Vec<&Lot> = shelf
            .lots
            .iter()
            .filter(|other| outlet.quotes.contains_key(&other.grade_id) && other.net.is_positive())
            .filter(|other| {
                // A lot pinned elsewhere or barred from here is not offered.
                let here = Place::Outlet(outlet.id.clone());
                let barred = shelf.choices.bars.contains(&(other.id.clone(), outlet.id.clone()));
                !barred && shelf.choices.pins.get(&other.id).is_none_or(|place| *place == here)
            })
            .collect();
        if priced.is_empty() {
            return None;
        }
        let is_chosen = |other: &Lot| match ticked {
            Some(ticked) => ticked.contains(&other.id),
            None => other.grade_id == lot.grade_id || planned(&other.id),
        };
        let base: Vec<Load> = priced
            .iter()
            .filter(|other| is_chosen(other))
            .filter_map(|other| shelf.load_of(&other.id))
            .collect();
        let base_ladder = net::deliver(outlet, &base, &shelf.facts).ok();
        let seen = Seen::now(outlet, priced.iter().map(|lot| &lot.id), shelf);
        let others: Vec<Load> = priced
            .iter()
            .filter(|other| !is_chosen(other))
            .filter_map(|other| shelf.load_of(&other.id))
            .collect();
        let top_ups = top_ups(outlet, &base, &others, &shelf.facts);
        let mut riders: Vec<Rider> = priced
            .into_iter()
            .map(|other| {
                let chosen = is_chosen(other);
                let top_up = top_ups.iter().find(|top_up| top_up.lot == other.id);
                let lifts = top_up.map_or(&[][..], |top_up| &top_up.lifts);
                Rider {
                    lot: other.clone(),
                    adds: top_up.map(|top_up| top_up.adds),
                    else_at: answer
                        .delivery_of(&other.id)
                        .map(|delivery| shelf.outlet_name(&delivery.outlet)),
                    else_worth: answer.worth.get(&other.id).copied().filter(|_| !chosen),
                    free: top_up.is_some_and(|top_up| top_up.rides_free),
                    lifts: lifts.iter().map(|grade| shelf.grade_name(grade)).collect::<Vec<_>>().join(", "),
                    chosen,
                }
            })
            .collect();
        let missing = next_tiers(outlet, &base, &shelf.facts);
        let missing = missing.into_iter().map(|next| Missing {
            grade_name: shelf.grade_name(&next.grade),
            mass: next.missing,
            price: format!("{} from {}", next.price, shelf.facts.style.show(next.from)),
            adds: next.adds,
        });
        riders.sort_by_key(|rider| (!rider.chosen, std::cmp::Reverse(rider.adds)));
        Some(Offer {
            id: new_id(),
            outlet: outlet.id.clone(),
            outlet_name: outlet.name.clone(),
            riders,
            missing: missing.collect(),
            net: base_ladder.map(|ladder| ladder.net),
            seen: seen.as_text(),
        })
    }
}

/// Every fact that the figures on the offer came from, as it stood when the page was opened: what is to be the same when
/// the shipment is made. What a person can be told by its value is in it as it is, the rest by a digest.
#[derive(Debug, Serialize, Deserialize)]
pub struct Seen {
    lots: BTreeMap<LotId, SeenLot>,
    /// What the outlet paid for each grade, in words, and what a litre of it weighs.
    grades: BTreeMap<GradeId, SeenGrade>,
    /// Units of home currency for one of the outlet's.
    rate: Option<Decimal>,
    terms: String,
    /// What its settlements have taught.
    #[serde(default)]
    learned: String,
    freight: String,
    boxes: String,
    costs: String,
    /// From a yard to the others.
    #[serde(default)]
    roads: String,
}

#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct SeenLot {
    label: String,
    grade: GradeId,
    mass: Mass,
    pieces: u32,
}

#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct SeenGrade {
    name: String,
    prices: String,
    density: String,
}

impl Seen {
    /// The facts about sending any of `lots` to `outlet`, as they stand.
    pub fn now<'a>(outlet: &Outlet, lots: impl IntoIterator<Item = &'a LotId>, shelf: &Shelf) -> Seen {
        let facts = &shelf.facts;
        let lots: BTreeMap<LotId, SeenLot> = lots
            .into_iter()
            .filter_map(|id| shelf.lot(id))
            .map(|lot| {
                let seen = SeenLot {
                    label: lot.container_label.clone(),
                    grade: lot.grade_id.clone(),
                    mass: lot.net,
                    pieces: lot.pieces,
                };
                (lot.id.clone(), seen)
            })
            .collect();
        let grades = lots.values().map(|lot| lot.grade.clone()).collect::<BTreeSet<_>>().into_iter();
        let grades = grades.map(|grade| {
            let seen = SeenGrade {
                name: shelf.grade_name(&grade),
                prices: prices(outlet, &grade, shelf),
                density: digest(&shelf.grades.get(&grade).map(|grade| grade.density)),
            };
            (grade, seen)
        });
        let (terms, freight) = match &outlet.way {
            Way::Drive(drive) => (digest(&(outlet.currency, outlet.terms, drive)), String::new()),
            Way::Post(post) => {
                let rate =
                    |currency| facts.rates.mid(currency, facts.costs.home, facts.today).map(|m| m.rate);
                let services: Vec<_> = post.services.iter().map(|s| (s, rate(s.currency))).collect();
                let conditions = (post.border, post.insurance, post.packing_minutes);
                (digest(&(outlet.currency, outlet.terms, conditions)), digest(&services))
            }
        };
        let roads = match &outlet.way {
            Way::Drive(_) => {
                let roads = shelf.outlets.iter().map(|other| shelf.roads.between(&outlet.id, &other.id));
                digest(&roads.collect::<Vec<_>>())
            }
            Way::Post(_) => String::new(),
        };
        Seen {
            grades: grades.collect(),
            lots,
            rate: facts.rates.mid(outlet.currency, facts.costs.home, facts.today).map(|mid| mid.rate),
            terms,
            learned: digest(&outlet.learned),
            freight,
            boxes: digest(&facts.cartons),
            costs: digest(&facts.costs),
            roads,
        }
    }

    /// As the form brings it back.
    pub fn from_form(form: &Form) -> Result<Seen, Failure> {
        Seen::from_text(form.value("seen"))
    }

    pub fn from_text(text: &str) -> Result<Seen, Failure> {
        serde_json::from_str(text).map_err(|_| {
            Failure::refused(
                StatusCode::BAD_REQUEST,
                "The form was cut short",
                "It came without the figures that it was made with, so nothing was saved. Go back, reload the page and \
                 send it again.",
            )
        })
    }

    pub fn as_text(&self) -> String {
        // Maps with texts as keys: JSON holds them all.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// What of it is no longer so, in sentences, as far as it bears on the `ticked` lots.
    pub fn changes(&self, ticked: &BTreeSet<LotId>, outlet: &Outlet, shelf: &Shelf) -> Vec<String> {
        let now = Seen::now(outlet, ticked, shelf);
        let mut changes = Vec::new();
        for id in ticked {
            match (self.lots.get(id), now.lots.get(id)) {
                (Some(then), Some(now)) => lot_changes(then, now, shelf, &mut changes),
                (None, Some(now)) => changes.push(format!("{} was not offered to go there.", now.label)),
                (then, None) => {
                    let label = then.map_or("One of the lots", |lot| lot.label.as_str());
                    changes.push(format!(
                        "{label} is not on the shelf any more: it is packed in another shipment, on a yard run, or has left."
                    ));
                }
            }
        }
        for (id, grade) in &now.grades {
            // A lot that was regraded brings a grade that the page may not have priced.
            let Some(then) = self.grades.get(id) else { continue };
            if then.prices != grade.prices {
                changes.push(format!("{}: {} before, {} now.", grade.name, then.prices, grade.prices));
            }
            if then.density != grade.density {
                changes.push(format!("How much room {} needs was changed.", grade.name));
            }
        }
        if self.rate != now.rate {
            let shown = |rate: Option<Decimal>| match rate {
                Some(rate) => format!("{} {}", rate.round_dp(6).normalize(), shelf.facts.costs.home.code()),
                None => "not known".to_string(),
            };
            let code = outlet.currency.code();
            changes.push(format!("1 {code} was {}, it is {} now.", shown(self.rate), shown(now.rate)));
        }
        for (then, now, what) in [
            (&self.terms, &now.terms, format!("The terms of {} were changed.", outlet.name)),
            (
                &self.learned,
                &now.learned,
                format!("A settlement of {} has taught something new.", outlet.name),
            ),
            (&self.freight, &now.freight, "The freight tables were changed.".to_string()),
            (&self.boxes, &now.boxes, "The boxes at hand were changed.".to_string()),
            (&self.roads, &now.roads, format!("The roads to {} were changed.", outlet.name)),
            (&self.costs, &now.costs, "The shop's own costs were changed.".to_string()),
        ] {
            if then != now {
                changes.push(what);
            }
        }
        changes
    }
}

fn lot_changes(then: &SeenLot, now: &SeenLot, shelf: &Shelf, changes: &mut Vec<String>) {
    let label = &now.label;
    if then.grade != now.grade {
        let name = |grade| shelf.grade_name(grade);
        changes.push(format!("{label} was {}, it is {} now.", name(&then.grade), name(&now.grade)));
    }
    if then.mass != now.mass {
        let (before, after) = told_apart(then.mass, now.mass, shelf);
        changes.push(format!("{label} held {before}, it holds {after} now."));
    }
    if then.pieces != now.pieces {
        let pieces = |pieces| counted(pieces, "piece", "pieces");
        changes.push(format!("{label} held {}, it holds {} now.", pieces(then.pieces), pieces(now.pieces)));
    }
}

/// Two masses as the shop spells them, or to the last digit where that would read the same.
fn told_apart(then: Mass, now: Mass, shelf: &Shelf) -> (String, String) {
    let style = shelf.facts.style;
    let (before, after) = (style.show(then), style.show(now));
    if before == after {
        let exact = |mass: Mass| format!("{} g", mass.grams().normalize());
        return (exact(then), exact(now));
    }
    (before, after)
}

/// `2.00 USD/lb, 2.20 USD/lb from 10 lb 0.0 oz`.
fn prices(outlet: &Outlet, grade: &GradeId, shelf: &Shelf) -> String {
    let Some(quotes) = outlet.quotes.get(grade) else { return "no price".into() };
    let tiers = quotes.tiers().iter().map(|quote| match quote.from.is_zero() {
        true => quote.price.to_string(),
        false => format!("{} from {}", quote.price, shelf.facts.style.show(quote.from)),
    });
    tiers.collect::<Vec<_>>().join(", ")
}

/// Every part of a value shows in its `Debug` form, so two with the same form are the same.
fn digest(value: &impl Debug) -> String {
    sha256(format!("{value:?}").as_bytes())
}
