//! Lots that a change of prices sends elsewhere.

use rust_decimal::Decimal;
use trade::ids::{LotId, OutletId};

use super::plan::second_choice;
use crate::shelf::{Answer, Shelf};

/// A lot that the sell plan has in another place than before.
pub struct Flip {
    pub lot: LotId,
    pub label: String,
    pub grade_name: String,
    pub before: String,
    pub after: String,
    /// What it brings more there than it brought before.
    pub change: Decimal,
    /// The second choice, and what going there would cost; `None` where that was not asked for.
    pub second: Option<String>,
}

/// All lots with another place in `after` than in `before`.
pub fn flips(shelf: &Shelf, before: &Answer, after: &Answer) -> Vec<Flip> {
    let place = |answer: &Answer, lot: &LotId| -> Option<OutletId> {
        answer.delivery_of(lot).map(|delivery| delivery.outlet.clone())
    };
    let name = |place: Option<OutletId>| {
        place.map_or_else(|| "keep".to_string(), |outlet| shelf.outlet_name(&outlet))
    };
    let worth = |answer: &Answer, lot: &LotId| answer.worth.get(lot).copied().unwrap_or_default();
    let flip = |lot: &crate::store::lots::Lot| {
        let (was, is) = (place(before, &lot.id), place(after, &lot.id));
        (was != is).then(|| Flip {
            lot: lot.id.clone(),
            label: lot.container_label.clone(),
            grade_name: lot.grade_name.clone(),
            before: name(was),
            after: name(is),
            change: worth(after, &lot.id) - worth(before, &lot.id),
            second: after.margin(&lot.id).map(|margin| second_choice(shelf, margin)),
        })
    };
    shelf.lots.iter().filter_map(flip).collect()
}
