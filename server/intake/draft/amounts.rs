//! The amounts of a row with their sign, told by the marks around them and by what most of the sheet has.

use rust_decimal::{Decimal, dec};
use trade::mass::MassUnit;
use trade::money::PriceUnit;

use super::{Charge, DraftPrice, DraftRow};
use crate::context::Context;
use crate::price::{PriceText, Sign, Strength};
use crate::sheet::{Doubt, RowPrice};

/// Below so many, an amount with two decimals is of dollars and not of cents (common practice, no source).
const MOST_WITH_CENTS: Decimal = dec!(5);
/// A price above this is asked about.
const LARGE: Decimal = dec!(100_000);
/// Nothing that is sold by the ton brings less for it (common practice, no source).
const SMALL_FOR_A_TON: Decimal = dec!(10);

/// Dashes or brackets before so many prices of a sheet that they cannot all be charges.
#[derive(Debug, Clone, Copy)]
pub(super) struct Decoration {
    dashes: bool,
    brackets: bool,
}

impl Decoration {
    pub fn of(rows: &[DraftRow]) -> Decoration {
        let signs: Vec<Sign> = rows
            .iter()
            .filter(|row| !row.in_cell)
            .filter_map(|row| match &row.price {
                DraftPrice::Text(price) => Some(price.sign),
                _ => None,
            })
            .collect();
        let most = |sign: Sign| {
            let count = signs.iter().filter(|s| **s == sign).count();
            count >= 3 && count * 4 > signs.len() * 3
        };
        Decoration { dashes: most(Sign::Dashed), brackets: most(Sign::Bracketed) }
    }
}

/// Whether a price is so small for a ton: `PC boards 1.95` below `€/t` was meant by the kilogram.
pub(super) fn is_small_for_a_ton(price: &RowPrice, unit: Option<PriceUnit>) -> bool {
    use MassUnit::{GrossTon, ShortTon, Tonne};
    let RowPrice::Priced { low, high } = price else { return false };
    let most = low.abs().max(high.unwrap_or_default().abs());
    matches!(unit, Some(PriceUnit::Mass(GrossTon | ShortTon | Tonne)))
        && !most.is_zero()
        && most < SMALL_FOR_A_TON
}

/// `4,150` that may be four thousand is that by the ton: no price per ton has three decimals (common practice, no source).
pub(super) fn as_thousands(price: &mut PriceText, unit: Option<PriceUnit>) {
    use MassUnit::{GrossTon, ShortTon, Tonne};
    let tons = matches!(unit, Some(PriceUnit::Mass(GrossTon | ShortTon | Tonne)));
    let amounts = || [Some(price.low), price.high].into_iter().flatten();
    if tons && price.unclear && amounts().all(|amount| amount.scale() == 3) {
        let thousands = |amount: Decimal| (amount * Decimal::ONE_THOUSAND).normalize();
        (price.low, price.high) = (thousands(price.low), price.high.map(thousands));
    }
}

/// The amounts with their sign; of a range of charges, the low end is the larger charge.
pub(super) fn amounts(
    price: &PriceText,
    draft: &DraftRow,
    context: &Context,
    decoration: Decoration,
    doubts: &mut Vec<Doubt>,
) -> RowPrice {
    let unsure = !draft.in_cell && draft.charge != Charge::Sure;
    let (signed, sign_unclear) = match price.sign {
        Sign::Plain => (false, false),
        Sign::Minus => (true, false),
        Sign::Dashed => (!decoration.dashes, unsure && !decoration.dashes),
        Sign::Bracketed => (!decoration.brackets, unsure && !decoration.brackets),
    };
    if sign_unclear || draft.charge == Charge::Perhaps {
        doubts.push(Doubt::SignUnclear);
    }
    // `cans 58 cents` speaks of cents in a list where `bright 4.02` is in dollars.
    let whole = price.low.scale() == 2 && price.low < MOST_WITH_CENTS;
    let in_cents = context.cents && price.currencies.is_empty() && price.strength != Strength::Marked;
    if in_cents && whole {
        doubts.push(Doubt::CentsUnclear);
    }
    let cents = in_cents && !whole;
    let scaled = |amount: Decimal| if cents { amount / Decimal::ONE_HUNDRED } else { amount };
    let (low, high) = (scaled(price.low), price.high.map(scaled));
    if low.is_zero() {
        doubts.push(Doubt::Zero);
    } else if high.unwrap_or(low) > LARGE {
        doubts.push(Doubt::Large);
    }
    if (signed || draft.charge != Charge::No) && !low.is_zero() {
        RowPrice::Priced { low: -high.unwrap_or(low), high: high.map(|_| -low) }
    } else {
        RowPrice::Priced { low, high }
    }
}
