//! What the columns beside a row's name and price say of it.

use rust_decimal::Decimal;
use trade::mass::MassUnit;
use trade::money::PriceUnit;

use crate::columns::{Panel, TierColumn};
use crate::context::Context;
use crate::cuts::Cut;
use crate::document::{Cell, CutRow, GridRow};
use crate::draft::Draft;
use crate::price::UnitText;
use crate::scan::Scan;
use crate::tier::{TierText, TierUnit, tier_at};

/// What the row's unit and currency columns say.
pub(super) fn row_context(panel: &Panel, cut: &CutRow<'_>) -> Context {
    let said = |column: Option<usize>| {
        let column = column?;
        let shown;
        let again;
        let cut = match cut.row.cells.get(column)? {
            // A tonne, as it is written in columns of units; elsewhere it is the end of a span.
            Cell::Text(text) if text.trim() == "TO" && Some(column) == panel.unit => {
                let unit = Some(UnitText::Unit(PriceUnit::Mass(MassUnit::Tonne)));
                return Some(Context { unit, ..Context::default() });
            }
            Cell::Text(_) => &**cut.cuts.get(column)?,
            other => {
                shown = other.shown();
                again = Cut::of(&shown);
                &again
            }
        };
        let said = cut.said();
        Some(match said.unit.filter(|_| Some(column) == panel.unit) {
            Some(unit) => Context { unit: Some(unit), ..Context::default() },
            None => said.context.clone(),
        })
    };
    let by_unit = said(panel.unit).unwrap_or_default();
    let by_currency = said(panel.currency).unwrap_or_default();
    Context { currencies: by_currency.currencies, ..Context::default() }.within(&by_unit)
}

/// The tier that the row's own columns give.
pub(super) fn tier(panel: &Panel, row: &GridRow, draft: &Draft<'_>) -> Option<TierText> {
    let end = |column: Option<TierColumn>, bare_is_from: bool| {
        let column = column?;
        let bare = |value: Decimal, unit: Option<TierUnit>| {
            let (from, to) = if bare_is_from { (Some(value), None) } else { (None, Some(value)) };
            TierText { from, to, unit: unit.or(column.unit) }
        };
        match row.cells.get(column.at)? {
            Cell::Number { value, percent: false, .. } if !value.is_sign_negative() => {
                Some(bare(*value, None))
            }
            Cell::Text(text) => {
                let scan = Scan::of(text);
                if let Some((tier, _)) = tier_at(&scan, draft.marks, 0, true) {
                    return Some(TierText { unit: tier.unit.or(column.unit), ..tier });
                }
                let amount = scan.numbers().next().and_then(|number| draft.marks.read(number))?;
                Some(bare(amount.value, Context::of(text, true).tier_unit()))
            }
            _ => None,
        }
    };
    match (end(panel.tier_from, true), end(panel.tier_to, false)) {
        (Some(from), Some(to)) => {
            Some(TierText { from: from.from, to: to.to.or(from.to), unit: from.unit.or(to.unit) })
        }
        (one, other) => one.or(other),
    }
}
