//! Which of the columns that look alike by their names are meant.

use super::Named;
use super::shown::{Below, Shown, is_unit};
use crate::context::Context;
use crate::document::{Cell, GridRow};
use crate::number::Marks;
use crate::vocabulary::{Column, Use, VOCABULARY};

/// `Min | Max` where no column is called a price: the least and the most that is paid.
pub(super) fn least_and_most(mut names: Vec<Option<Named>>) -> Vec<Option<Named>> {
    let at = |names: &[Option<Named>], column| {
        let bare = |name: &Named| name.column == column && name.context.is_empty() && name.tier.is_none();
        names.iter().position(|name| name.as_ref().is_some_and(bare))
    };
    let priced = names
        .iter()
        .flatten()
        .any(|name| matches!(name.column, Column::Price | Column::Low | Column::Charge));
    if let (false, Some(low), Some(high)) = (priced, at(&names, Column::TierFrom), at(&names, Column::TierTo))
    {
        names[low].iter_mut().for_each(|name| name.column = Column::Low);
        names[high].iter_mut().for_each(|name| name.column = Column::High);
    }
    names
}

/// Of prices by their years, only the newest are read: `Price 2025 | Price 2026`.
pub(super) fn newest(names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let year = |at: usize| match cells.get(at) {
        Some(Cell::Text(text)) => text
            .split(|c: char| !c.is_ascii_digit())
            .filter_map(|word| word.parse::<u32>().ok())
            .find(|n| (1990..2100).contains(n)),
        _ => None,
    };
    let priced = |name: &Option<Named>| {
        name.as_ref().is_some_and(|name| name.column == Column::Price && name.tier.is_none())
    };
    let years: Vec<u32> = (0..names.len()).filter(|&at| priced(&names[at])).filter_map(year).collect();
    let Some(newest) = years.iter().max().copied().filter(|_| years.len() > 1) else { return names };
    let old = |at: usize, name: &Option<Named>| priced(name) && year(at).is_some_and(|year| year < newest);
    names
        .into_iter()
        .enumerate()
        .map(|(at, name)| {
            let old = old(at, &name);
            name.map(|name| if old { Named { column: Column::Other, ..name } } else { name })
        })
        .collect()
}

/// Of prices by numbered weeks, only the last are read: `Week 44 | Week 45`.
pub(super) fn this_week(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let week = |cell: &Cell| -> Option<u32> {
        let Cell::Text(text) = cell else { return None };
        // `Sem. 48 (€/t)`.
        let name = text.split_once(['(', '[']).map_or(text.as_str(), |(name, _)| name);
        let (word, number) = name.trim().rsplit_once([' ', '.'])?;
        VOCABULARY.has(word, Use::Week).then_some(number.parse().ok().filter(|week| (1..=53).contains(week))?)
    };
    let weeks: Vec<Option<u32>> = cells.iter().map(week).collect();
    if weeks.iter().flatten().count() < 2 {
        return names;
    }
    // The first week of a year comes after the last one of the year before.
    let turn =
        weeks.iter().flatten().any(|week| *week >= 50) && weeks.iter().flatten().any(|week| *week <= 3);
    let place = |week: u32| if turn && week <= 3 { week + 53 } else { week };
    let last = weeks.iter().flatten().copied().map(place).max();
    for ((name, week), cell) in names.iter_mut().zip(&weeks).zip(cells) {
        if let Some(week) = week {
            let column = if Some(place(*week)) == last { Column::Price } else { Column::Other };
            *name = Some(Named { column, context: Context::of(&cell.shown(), true), tier: None });
        }
    }
    names
}

/// `Unit | $ each`: what is sold by the piece is called a unit, and the column of names is named after it.
pub(super) fn units_of_goods(
    mut names: Vec<Option<Named>>,
    below: &[GridRow],
    marks: Marks,
) -> Vec<Option<Named>> {
    let has = |names: &[Option<Named>], column| names.iter().flatten().any(|name| name.column == column);
    let units = names.iter().position(|name| name.as_ref().is_some_and(|name| name.column == Column::Unit));
    if let Some(at) = units.filter(|_| !has(&names, Column::Wording) && !has(&names, Column::Group))
        && let shown = Shown::of(&below[..below.len().min(20)], at, marks)
        && shown.reads_as_names()
        && shown.words > shown.units
        && names[..at].iter().all(Option::is_none)
    {
        names[at].iter_mut().for_each(|name| name.column = Column::Wording);
    }
    names
}

/// Where a column names its currency, one that names nothing but a unit holds masses: `Min. lot kg | USD/lb`.
pub(super) fn money_first(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let is_price = |name: &&Named| name.column == Column::Price && name.tier.is_none();
    let in_money = |name: &Named| !name.context.currencies.is_empty() || name.context.cents;
    if names.iter().flatten().filter(is_price).any(in_money) {
        for (name, cell) in names.iter_mut().zip(cells) {
            let only_unit = matches!(cell, Cell::Text(text) if is_unit(text));
            if let Some(name) = name.as_mut().filter(|name| only_unit && name.column == Column::Price) {
                name.column = Column::Other;
            }
        }
    }
    names
}

/// A column without a single cell below its name holds no prices where another does: its name is a remark.
pub(super) fn filled(mut names: Vec<Option<Named>>, below: &Below<'_>) -> Vec<Option<Named>> {
    let is_price = |name: &Option<Named>| name.as_ref().is_some_and(|name| name.column == Column::Price);
    let holds: Vec<bool> = (0..names.len()).map(|at| below.shown(at).filled > 0).collect();
    if !below.rows.is_empty() && names.iter().zip(&holds).any(|(name, holds)| *holds && !is_price(name)) {
        for (name, holds) in names.iter_mut().zip(holds) {
            if let Some(name) = name.as_mut().filter(|name| name.column == Column::Price && !holds) {
                name.column = Column::Other;
            }
        }
    }
    names
}
