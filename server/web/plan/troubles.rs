//! What is wrong with what the plan was made from, in words with names in place of ids.

use std::collections::{BTreeMap, BTreeSet};

use trade::ids::{GradeId, LotId};
use trade::outlet::Way;
use trade::plan::{PinTrouble, Place, Plan, Trouble};

use crate::shelf::Shelf;
use crate::web::page::counted;

/// How many lots or pins are named before the rest is counted.
const NAMED: usize = 4;

/// Something that is wrong, with the page where it can be mended.
#[derive(Debug, PartialEq, Eq)]
pub struct Told {
    pub words: String,
    /// Address and words of a link.
    pub way_out: Option<(&'static str, &'static str)>,
}

/// A pin that the plan does not follow.
#[derive(Debug, PartialEq, Eq)]
pub struct DroppedPin {
    pub lot: LotId,
    pub words: String,
    /// The pins that it contradicts: without them it could be followed.
    pub against: Vec<LotId>,
}

/// A freight table that looks as if it had been typed wrong.
#[derive(Debug, PartialEq, Eq)]
pub struct Doubt {
    pub service: String,
    pub words: String,
}

/// All but the pins. What is the same with many lots is said once.
pub fn told(shelf: &Shelf, troubles: &[Trouble]) -> Vec<Told> {
    let mut unsold: BTreeMap<&GradeId, Vec<&LotId>> = BTreeMap::new();
    let mut empty = Vec::new();
    for trouble in troubles {
        match trouble {
            Trouble::NoOutlet { lot, grade } => unsold.entry(grade).or_default().push(lot),
            Trouble::NoMass { lot } => empty.push(lot),
            _ => {}
        }
    }
    let unpriced: usize = unsold.values().map(Vec::len).sum();
    let nothing_has_a_price = unsold.len() > 1 && unpriced == shelf.lots.len();
    let mut told = Vec::new();
    // Each kind stands where the first of its kind stood.
    let mut said: BTreeSet<&GradeId> = BTreeSet::new();
    for trouble in troubles {
        match trouble {
            Trouble::Pin { .. } => {}
            Trouble::NoOutlet { .. } if nothing_has_a_price => {
                if said.is_empty() {
                    told.push(no_price_at_all(shelf));
                }
                said.extend(unsold.keys());
            }
            Trouble::NoOutlet { grade, .. } => {
                if let (true, Some(lots)) = (said.insert(grade), unsold.get(grade)) {
                    told.push(plain(not_sold(shelf, grade, lots)));
                }
            }
            Trouble::NoMass { .. } => {
                if !empty.is_empty() {
                    told.push(plain(without_mass(shelf, &std::mem::take(&mut empty))));
                }
            }
            Trouble::NothingPays if nothing_has_a_price => {}
            other => told.push(plain(one(shelf, other))),
        }
    }
    told
}

fn plain(words: String) -> Told {
    Told { words, way_out: None }
}

fn no_price_at_all(shelf: &Shelf) -> Told {
    let (why, way_out) = if shelf.outlets.is_empty() {
        ("No outlet is set up yet", ("/outlets/new", "Set up an outlet"))
    } else if shelf.outlets.iter().all(|outlet| outlet.quotes.is_empty()) {
        ("No outlet has a price sheet with prices", ("/sheets/new", "Read a price sheet"))
    } else {
        ("No outlet's sheet has a price for any grade that is here", ("/sheets/new", "Read a price sheet"))
    };
    Told { words: format!("{why}, so everything stays."), way_out: Some(way_out) }
}

fn not_sold(shelf: &Shelf, grade: &GradeId, lots: &[&LotId]) -> String {
    let grade = shelf.grade_name(grade);
    match lots {
        [lot] => format!("No outlet's sheet has a price for {grade}, so {} stays.", lot_name(shelf, lot)),
        _ => format!(
            "No outlet's sheet has a price for {grade}, so {} stay: {}.",
            counted(lots.len(), "lot", "lots"),
            labels(shelf, lots)
        ),
    }
}

fn without_mass(shelf: &Shelf, lots: &[&LotId]) -> String {
    match lots {
        [lot] => {
            format!("{} has nothing on its ledger yet. Weigh it in, or merge it away.", lot_name(shelf, lot))
        }
        _ => format!(
            "{} have nothing on their ledgers yet: {}. Weigh them in, or merge them away.",
            counted(lots.len(), "lot", "lots"),
            labels(shelf, lots)
        ),
    }
}

/// A trouble of a kind that comes alone.
fn one(shelf: &Shelf, trouble: &Trouble) -> String {
    match trouble {
        Trouble::NegativeMass { lot, .. } => format!(
            "{} has a mass below zero. Correct its weighings; until then it stays.",
            lot_name(shelf, lot)
        ),
        Trouble::NoRate { outlet, from, to } => format!(
            "There is no exchange rate from {from} to {to}, so nothing goes to {}. Enter one under Exchange rates.",
            shelf.outlet_name(outlet)
        ),
        Trouble::NoParcels { outlet, why } => {
            format!("Nothing can be mailed to {}: {why}. See Freight and boxes.", shelf.outlet_name(outlet))
        }
        other => other.to_string(),
    }
}

/// The pins that the plan does not follow, each with the reason.
pub fn dropped_pins(shelf: &Shelf, troubles: &[Trouble]) -> Vec<DroppedPin> {
    let is_dropped = |lot: &LotId| {
        troubles.iter().any(|trouble| matches!(trouble, Trouble::Pin { lot: other, .. } if other == lot))
    };
    let followed: Vec<(&LotId, &Place)> =
        shelf.choices.pins.iter().filter(|(lot, _)| !is_dropped(lot)).collect();
    let dropped = |trouble: &Trouble| {
        let Trouble::Pin { lot, place, why } = trouble else { return None };
        let against: Vec<&(&LotId, &Place)> = match why {
            PinTrouble::Together => {
                followed.iter().filter(|pin| bears_on(shelf, (lot, place), pin)).collect()
            }
            _ => Vec::new(),
        };
        let why = match why {
            PinTrouble::Refused(closed) => {
                format!("the outlet never takes it: {}", shelf.closed_in_words(closed))
            }
            PinTrouble::NoSuchOutlet => "nothing is sold there any more".to_string(),
            PinTrouble::Together if !against.is_empty() => {
                let others: Vec<String> =
                    against.iter().map(|(lot, place)| pinned(shelf, lot, place)).collect();
                format!("that cannot be together with another pin: {}", some_of(&others))
            }
            other => other.to_string(),
        };
        Some(DroppedPin {
            lot: lot.clone(),
            words: format!("{}, but {why}. The plan is made without this pin.", pinned(shelf, lot, place)),
            against: against.into_iter().map(|(lot, _)| (*lot).clone()).collect(),
        })
    };
    troubles.iter().filter_map(dropped).collect()
}

/// Whether a followed pin can be what keeps another one from being followed: the two share an outlet, or one of them keeps a
/// lot here that the other one's outlet would need.
fn bears_on(shelf: &Shelf, (_, place): (&LotId, &Place), (other, there): &(&LotId, &Place)) -> bool {
    let takes = |place: &Place, lot: &LotId| match place {
        Place::Outlet(outlet) => shelf
            .outlet(outlet)
            .zip(shelf.lot(lot))
            .is_some_and(|(outlet, lot)| outlet.quotes.contains_key(&lot.grade_id)),
        Place::Keep => false,
    };
    match (place, there) {
        (Place::Keep, Place::Outlet(_)) => true,
        (Place::Outlet(_), _) => place == *there || takes(place, other),
        (Place::Keep, Place::Keep) => false,
    }
}

fn pinned(shelf: &Shelf, lot: &LotId, place: &Place) -> String {
    let place = match place {
        Place::Keep => "stay here".to_string(),
        Place::Outlet(outlet) => shelf.outlet_name(outlet),
    };
    format!("{} is pinned to {place}", lot_name(shelf, lot))
}

/// Freight tables that a delivery goes by and that look as if a row was left out or mistyped.
pub fn doubts(shelf: &Shelf, plan: &Plan) -> Vec<Doubt> {
    let mut doubts: Vec<Doubt> = Vec::new();
    for delivery in &plan.deliveries {
        let by = delivery.ladder.packing.as_ref().map(|packing| packing.service.as_str());
        let outlet = shelf.outlet(&delivery.outlet);
        let (Some(by), Some(Way::Post(post))) = (by, outlet.map(|outlet| &outlet.way)) else { continue };
        let Some(service) = post.services.iter().find(|service| service.name == by) else { continue };
        for words in service.warnings() {
            let doubt = Doubt { service: service.name.clone(), words };
            if !doubts.contains(&doubt) {
                doubts.push(doubt);
            }
        }
    }
    doubts
}

fn lot_name(shelf: &Shelf, lot: &LotId) -> String {
    shelf
        .lot(lot)
        .map_or_else(|| "A lot".to_string(), |lot| format!("{} ({})", lot.container_label, lot.grade_name))
}

fn labels(shelf: &Shelf, lots: &[&LotId]) -> String {
    let labels: Vec<String> =
        lots.iter().filter_map(|lot| shelf.lot(lot)).map(|lot| lot.container_label.clone()).collect();
    some_of(&labels)
}

/// The first few, and how many more there are.
fn some_of(names: &[String]) -> String {
    let (first, rest) = names.split_at(names.len().min(NAMED));
    let more = if rest.is_empty() { String::new() } else { format!(" and {} more", rest.len()) };
    format!("{}{more}", first.join(", "))
}
