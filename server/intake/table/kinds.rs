//! Rows that are told by where their cells stand, before they are read: of days, of columns' names, of words in the place of
//! a price.

use super::Table;
use crate::context::{Context, is_all_of_goods, speaks_of_goods};
use crate::date::{Dated, is_day};
use crate::document::{Cell, CutRow, GridRow};
use crate::draft::Draft;
use crate::number::Marks;
use crate::scan::Scan;
use crate::tier::{TierText, of_heading};
use crate::vocabulary::{Column, Use, VOCABULARY};

impl Table {
    /// Takes in the day that stands where the prices do, in a row of nothing but days and what announces them: ` | 2026-11-16 |
    /// 2026-11-23` below the names of the columns, `Prices as of | 2026-11-27` above them. Whether the row is one.
    pub(super) fn dates_prices(&self, row: &GridRow, draft: &mut Draft<'_>) -> bool {
        let is_date = |cell: &Cell| match cell {
            Cell::Empty | Cell::Date(_) => true,
            Cell::Text(text) => text.trim().is_empty() || is_day(text) || announces_a_day(text),
            Cell::Number { .. } => false,
        };
        let priced = self.panels.iter().flat_map(|panel| &panel.prices);
        let mut days = priced.filter_map(|price| row.cells.get(price.at)).filter(|cell| !cell.is_empty());
        // `Preisstand | Di., 3.11.` at the head of the sheet
        let mut filled = row.cells.iter().filter(|cell| !cell.is_empty());
        if let (true, Some(Cell::Text(said)), Some(Cell::Text(day)), None) =
            (draft.rows.is_empty(), filled.next(), filled.next(), filled.next())
            && announces_a_day(said)
            && VOCABULARY.currencies(day).is_none()
        {
            return draft.finds_date(&format!("{said} {day}"));
        }
        match days.next().filter(|_| row.cells.iter().all(is_date)) {
            Some(Cell::Date(date)) => {
                draft.date(Dated { date: *date, unclear: false, announced: true });
                true
            }
            Some(Cell::Text(text)) if is_day(text) => draft.finds_date(text),
            _ => false,
        }
    }

    /// The tier that stands alone where a panel's names do, below a name.
    pub(super) fn tier_of_name(&self, at: usize, cut: &CutRow<'_>, marks: Marks) -> Option<TierText> {
        let column = self.panels[at].wording;
        let text = text_at(cut.row, column).filter(|text| text.contains(|c: char| c.is_ascii_digit()))?;
        let above = &self.above[at].wording;
        if above.is_empty() || speaks_of_goods(text) {
            return None;
        }
        of_heading(&Scan::of(text), marks).filter(|(_, is_all)| *is_all).map(|(within, _)| within.tier)
    }

    /// Whether a row has words in the place of its price, and a name that no column has.
    pub(super) fn asks(&self, row: &GridRow) -> bool {
        let text = |at: usize| text_at(row, at);
        self.panels.iter().any(|panel| {
            text(panel.wording).is_some_and(|name| VOCABULARY.column(name).is_none())
                && panel
                    .prices
                    .iter()
                    .any(|price| text(price.at).is_some_and(|text| VOCABULARY.has(text, Use::OnRequest)))
        })
    }

    /// Takes in what prices are in where that stands in a row of its own below the names of the columns: ` | £/t | £/t | £`.
    /// Whether the row is one.
    pub(super) fn takes_units(&mut self, row: &GridRow) -> bool {
        // `EUR/100 kg`
        let bare = |text: &str| !text.replace("100", "").contains(|c: char| c.is_ascii_digit());
        let text = |at: usize| text_at(row, at).filter(|text| bare(text));
        let said = |at: usize| text(at).map(|text| Context::of(text, true));
        let empty = |at: usize| row.cells.get(at).is_none_or(Cell::is_empty);
        let filled = || (0..row.cells.len()).filter(|&at| !empty(at));
        // `€ | per | | no.`: some of the names stand in the second row.
        let called = |at: usize| text(at).and_then(|text| VOCABULARY.column(text));
        let told = |at: usize| said(at).is_some_and(|said| !said.is_empty());
        let of_prices =
            |at: usize| self.panels.iter().flat_map(|panel| &panel.prices).any(|price| price.at == at);
        let all = filled().any(|at| told(at) && of_prices(at))
            && filled().all(|at| told(at) || called(at).is_some());
        if !all || !self.panels.iter().all(|panel| empty(panel.wording)) {
            return false;
        }
        for price in self.panels.iter_mut().flat_map(|panel| &mut panel.prices) {
            if let Some(said) = said(price.at) {
                price.context = said.within(&price.context);
            }
        }
        for panel in &mut self.panels {
            for tier in [&mut panel.tier_from, &mut panel.tier_to].into_iter().flatten() {
                tier.unit = said(tier.at).and_then(|said| said.tier_unit()).or(tier.unit);
            }
        }
        if let ([panel], Some(unit)) =
            (self.panels.as_mut_slice(), filled().find(|&at| called(at) == Some(Column::Unit)))
        {
            panel.unit = Some(unit);
        }
        true
    }

    /// Whether there is a digit where the prices stand.
    pub(super) fn holds_amount(&self, row: &GridRow) -> bool {
        let holds = |at: usize| match row.cells.get(at) {
            Some(Cell::Text(text)) => text.contains(|c: char| c.is_ascii_digit()),
            Some(Cell::Number { .. }) => true,
            _ => false,
        };
        self.panels.iter().flat_map(|panel| &panel.prices).any(|price| holds(price.at))
    }

    /// Whether a row has a number where the prices stand and a unit where the units do.
    pub(super) fn tells_a_unit(&self, row: &GridRow) -> bool {
        let text = |at: usize| text_at(row, at);
        let priced = |at: usize| text(at).is_some_and(|text| text.starts_with(|c: char| c.is_ascii_digit()));
        // `Copper | 0-500 | 500-2000 | lb` names columns.
        if (0..row.cells.len()).filter(|&at| priced(at)).count() > 1 {
            return false;
        }
        self.panels.iter().any(|panel| {
            panel.unit.and_then(text).is_some_and(is_only_a_unit)
                && text(panel.wording).is_some_and(|name| VOCABULARY.column(name).is_none())
                && panel.prices.iter().any(|price| priced(price.at))
        })
    }

    /// Whether a row above the first price names columns by words that nobody knows: there are names where the prices
    /// will stand.
    pub(super) fn names_columns(&self, row: &GridRow) -> bool {
        let is_name = |at: usize| {
            matches!(row.cells.get(at), Some(Cell::Text(text)) if text.chars().any(char::is_alphabetic)
                && !VOCABULARY.has(text, Use::OnRequest)
                && !VOCABULARY.has(text, Use::Free)
                && !text.contains(|c: char| c.is_ascii_digit()))
        };
        // The names themselves may stand below none.
        let named = |at: usize| row.cells.get(at).is_none_or(Cell::is_empty) || is_name(at);
        self.panels
            .iter()
            .any(|panel| named(panel.wording) && panel.prices.iter().all(|price| is_name(price.at)))
    }
}

/// `Prices as of`
fn announces_a_day(text: &str) -> bool {
    !is_all_of_goods(text) && [Use::Title, Use::Announces].iter().any(|is| VOCABULARY.has_within(text, *is))
}

fn text_at(row: &GridRow, at: usize) -> Option<&str> {
    match row.cells.get(at) {
        Some(Cell::Text(text)) => Some(text),
        _ => None,
    }
}

/// `lb`, `£/t`
fn is_only_a_unit(text: &str) -> bool {
    !text.contains(|c: char| c.is_ascii_digit()) && Context::of(text, true).unit.is_some()
}
