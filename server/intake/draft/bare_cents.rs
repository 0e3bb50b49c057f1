//! Cents without their sign, among prices some of which have it: `cast 55c`, `romex 2.05`, `soft lead 60`.

use rust_decimal::{Decimal, dec};
use trade::mass::MassUnit;
use trade::money::PriceUnit;

use super::{DraftPrice, DraftRow};
use crate::price::{PriceText, Strength, UnitText};
use crate::scan::Scan;
use crate::sheet::Doubt;
use crate::vocabulary::Use;

/// So many prices of the sheet are in cents by their sign.
const FEWEST_IN_CENTS: usize = 2;
/// A number that is so many times the middle of the others is no whole money.
const FAR_ABOVE: Decimal = dec!(8);
const MOST_CENTS: Decimal = dec!(99);

/// Reads such a number as cents, and has it asked about.
pub(super) fn tell(rows: &mut [DraftRow]) {
    if rows.iter().filter(|row| is_in_cents(row)).count() < FEWEST_IN_CENTS {
        return;
    }
    let mut sure: Vec<Decimal> = rows
        .iter()
        .filter_map(|row| text(row).filter(|price| price.strength > Strength::Weak).map(|price| price.low))
        .collect();
    sure.sort_unstable();
    let Some(&middle) = sure.get(sure.len() / 2).filter(|_| sure.len() * 2 > rows.len()) else { return };
    for row in rows.iter_mut().filter(|row| !row.in_cell && !row.context.cents) {
        let DraftPrice::Text(price) = &mut row.price else { continue };
        let per = price.unit.or(row.context.unit);
        let by_weight = per.is_none_or(|per| {
            matches!(per, UnitText::Unit(PriceUnit::Mass(MassUnit::Pound | MassUnit::Kilogram)))
        });
        let bare =
            by_weight && price.strength == Strength::Weak && price.low.is_integer() && price.high.is_none();
        if bare && price.low <= MOST_CENTS && price.low > middle.saturating_mul(FAR_ABOVE) {
            price.low /= Decimal::ONE_HUNDRED;
            row.doubts.push(Doubt::CentsUnclear);
        }
    }
}

fn text(row: &DraftRow) -> Option<&PriceText> {
    match &row.price {
        DraftPrice::Text(price) => Some(price),
        _ => None,
    }
}

fn is_in_cents(row: &DraftRow) -> bool {
    let small = !row.in_cell
        && text(row).is_some_and(|price| price.strength == Strength::Marked && price.low < Decimal::ONE);
    let scan = Scan::of(&row.source);
    small && (0..scan.tokens.len()).any(|at| scan.is(at, Use::Cents) && at > 0 && !scan.spaced(at))
}
