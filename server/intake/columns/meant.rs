//! Which of the columns that look alike by their names are meant.

use trade::mass::MassUnit;

use super::column_name::in_words;
use super::shown::{Below, Shown, is_unit};
use super::{Named, names_group};
use crate::context::{Context, speaks_of_goods};
use crate::document::{Cell, GridRow};
use crate::number::Marks;
use crate::tier::TierText;
use crate::vocabulary::{Column, Use, VOCABULARY};
use crate::wording::normal;

/// `Min | Max` where no column is called a price, and `€/kg min | €/kg max`: the least and the most that is paid.
pub(super) fn least_and_most(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let called = |at: &usize, begin: &str, ends: [Column; 2]| {
        let price = |name: &Named| {
            matches!(name.column, Column::Price | Column::Low | Column::High) && name.tier.is_none()
        };
        let is_end = |word: &str| {
            word.starts_with(begin) || VOCABULARY.column(word).is_some_and(|of| ends.contains(&of))
        };
        let word = |text: &str| normal(&in_words(text)).split(' ').any(is_end);
        names[*at].as_ref().is_some_and(price) && word(&cells[*at].shown())
    };
    let of = |begin: &str, ends: [Column; 2]| {
        (0..names.len()).filter(|at| called(at, begin, ends)).collect::<Vec<_>>()
    };
    let (least, most) =
        (of("min", [Column::Low, Column::TierFrom]), of("max", [Column::High, Column::TierTo]));
    if let ([low], [high]) = (least.as_slice(), most.as_slice()) {
        names[*low].iter_mut().for_each(|name| name.column = Column::Low);
        names[*high].iter_mut().for_each(|name| name.column = Column::High);
        return names;
    }
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

/// `Copper | R`: beside nothing but a name, the rand's sign says what the prices are in.
pub(super) fn in_rand(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let mut filled = (0..cells.len()).filter(|&at| !cells[at].is_empty());
    if let (Some(_), Some(at), None) = (filled.next(), filled.next(), filled.next())
        && matches!(&cells[at], Cell::Text(sign) if sign == "R")
    {
        names[at] = Some(Named { column: Column::Price, context: Context::default(), tier: None });
    }
    names
}

/// `0-50 kg | 50-250 kg | 250 kg`: a mass alone, where the tier before it ends, is that from which on the last price holds.
pub(super) fn last_tier(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    for at in 2..names.len() {
        let tier = |at: usize| names[at].as_ref().and_then(|name| name.tier);
        let (Some(_), Some(before), None) = (tier(at - 2), tier(at - 1), &names[at]) else { continue };
        let Cell::Text(text) = &cells[at] else { continue };
        let (number, unit) = text.trim().split_at(text.trim().find(|c: char| c.is_alphabetic()).unwrap_or(0));
        let is_end = before.to.is_some_and(|to| number.trim().parse() == Ok(to));
        if is_end && MassUnit::from_word(unit).is_some() {
            let tier = TierText { from: before.to, to: None, unit: before.unit };
            names[at] = Some(Named { column: Column::Price, context: Context::default(), tier: Some(tier) });
        }
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
    let plain = |at: usize| !cells[at].shown().contains(|c: char| c.is_ascii_digit());
    let priced = |name: &Option<Named>| {
        name.as_ref()
            .is_some_and(|name| matches!(name.column, Column::Price | Column::Low) && name.tier.is_none())
    };
    if weeks.iter().flatten().count() < 2 {
        // `Prix | Semaine 47`: beside a price, a week is one that is over.
        let beside = (0..names.len()).any(|at| weeks[at].is_none() && plain(at) && priced(&names[at]));
        for at in (0..names.len()).filter(|&at| beside && weeks[at].is_some()) {
            names[at] = Some(Named { column: Column::Other, context: Context::default(), tier: None });
        }
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

/// Of prices, those that are called after what was paid before are not read: `PriceOld | PriceNew`.
pub(super) fn latest(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let priced = |at: &usize| {
        names[*at].as_ref().is_some_and(|name| {
            matches!(name.column, Column::Price | Column::Low | Column::High) && name.tier.is_none()
        })
    };
    let is_former = |at: &usize| is_former(&cells[*at].shown());
    let (former, latest): (Vec<usize>, Vec<usize>) = (0..names.len()).filter(priced).partition(is_former);
    for at in former.into_iter().filter(|_| !latest.is_empty()) {
        names[at] = Some(Named { column: Column::Other, context: Context::default(), tier: None });
    }
    names
}

/// Whether a column is called after what was paid before, and not after goods: `Old boards, $/lb` are goods.
pub(super) fn is_former(name: &str) -> bool {
    let is_former = |word: &str| VOCABULARY.has(word, Use::Former);
    let of_goods = |word: &str| {
        !is_former(word) && VOCABULARY.column(word) != Some(Column::Price) && speaks_of_goods(word)
    };
    let normal = normal(&in_words(name)).into_owned();
    normal.split(' ').any(is_former) && !normal.split(' ').any(of_goods)
}

/// `BOARDS & CHIPS | $/lb | WHOLE UNITS & METAL | $/lb`: each list is called by what it is of, though a word of the second
/// name can be that of a column.
pub(super) fn side_by_side(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let is = |names: &[Option<Named>], at: usize, column: Column| {
        names[at].as_ref().is_some_and(|name| name.column == column)
    };
    let calls = |at: &usize| is(&names, at + 1, Column::Price) && !cells[*at].is_empty();
    let called: Vec<usize> = (0..names.len().saturating_sub(1)).filter(calls).collect();
    let [first, others @ ..] = called.as_slice() else { return names };
    let exact = |cell: &Cell| matches!(cell, Cell::Text(text) if VOCABULARY.column(text).is_some());
    if names[*first].is_none() && (names_group(&cells[*first]) || !others.iter().any(|&at| exact(&cells[at])))
    {
        for &at in others {
            if is(&names, at, Column::Wording) {
                names[at] = None;
            }
        }
    }
    names
}

/// `Unit | $ each`, `Line | Buy $/kg`: where no column is called after names, the first one left of the price, or else right of
/// it, whose cells read like names holds them, whatever else it could be called for.
pub(super) fn named_by_its_cells(
    mut names: Vec<Option<Named>>,
    cells: &[Cell],
    below: &[GridRow],
    marks: Marks,
) -> Vec<Option<Named>> {
    let is = |at: usize, columns: &[Column]| {
        names[at].as_ref().is_some_and(|name| columns.contains(&name.column) && name.tier.is_none())
    };
    let all = 0..names.len();
    let named = all.clone().any(|at| is(at, &[Column::Wording, Column::Group]));
    let Some(price) = all.clone().find(|&at| is(at, &[Column::Price, Column::Low])).filter(|_| !named) else {
        return names;
    };
    let stranger =
        |mut within: std::ops::Range<usize>| within.any(|at| names[at].is_none() && !cells[at].is_empty());
    let reads_as_names = |at: &usize| {
        let shown = Shown::at_first(below, *at, marks);
        shown.reads_as_names() && shown.words > shown.units && !shown.holds_codes()
    };
    let left =
        (0..price).filter(|&at| is(at, &[Column::Unit, Column::Other, Column::Note])).find(reads_as_names);
    let right =
        || (price + 1..names.len()).filter(|&at| is(at, &[Column::Unit, Column::Other])).find(reads_as_names);
    let called = match stranger(0..price) {
        true => None,
        false => left.or_else(|| right().filter(|_| !stranger(0..names.len()))),
    };
    if let Some(at) = called {
        names[at].iter_mut().for_each(|name| name.column = Column::Wording);
    }
    names
}

/// `BY WEIGHT | $ per lb | BY COUNT | $ each`: a column of names right before one of prices holds those of a second list, though it
/// is called as one of prices could be.
pub(super) fn second_lists(
    mut names: Vec<Option<Named>>,
    below: &[GridRow],
    marks: Marks,
) -> Vec<Option<Named>> {
    let bare = |name: &Named| {
        let only_unit = name.context.unit.is_some() && name.context.currencies.is_empty();
        name.column == Column::Price && name.tier.is_none() && only_unit
    };
    for at in 1..names.len().saturating_sub(1) {
        let priced = |at: usize| names[at].as_ref().is_some_and(|name| name.column == Column::Price);
        let before = (0..at).any(priced);
        if before && priced(at + 1) && names[at].as_ref().is_some_and(bare) {
            let [own, next] = [at, at + 1].map(|at| Shown::at_first(below, at, marks));
            if own.reads_as_names() && own.words > own.units && next.mostly(next.priced) {
                names[at].iter_mut().for_each(|name| name.column = Column::Wording);
            }
        }
    }
    names
}

/// `Familia | Clase | Cantidad | Precio`: whether a column between the groups and the prices holds the names, by a name that
/// says nothing.
pub(super) fn names_beside_groups(names: &[Option<Named>], below: &[GridRow], marks: Marks) -> bool {
    let first = |columns: &[Column]| {
        names.iter().position(|name| name.as_ref().is_some_and(|name| columns.contains(&name.column)))
    };
    let holds_names = |at: usize| {
        let shown = Shown::at_first(below, at, marks);
        // What is the same in each row, as its packaging, names nothing.
        let varied = shown.distinct > 2 || shown.distinct == shown.words;
        names[at].is_none() && shown.reads_as_names() && varied && !shown.holds_tiers()
    };
    let (Some(group), Some(price)) = (first(&[Column::Group]), first(&[Column::Price, Column::Low])) else {
        return false;
    };
    (group + 1..price).any(holds_names)
}

/// Where a column names its currency, one that names nothing but a unit, and no price, holds masses: `Min. lot kg | USD/lb`,
/// `On floor (t) | Paying £`.
pub(super) fn money_first(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let is_price = |name: &&Named| name.column == Column::Price && name.tier.is_none();
    let in_money = |name: &Named| !name.context.currencies.is_empty() || name.context.cents;
    if names.iter().flatten().filter(is_price).any(in_money) {
        for (name, cell) in names.iter_mut().zip(cells) {
            let only_unit = matches!(cell, Cell::Text(text) if is_unit(text) || !speaks_of_prices(text));
            let bare = |name: &Named| name.context.unit.is_some() && !in_money(name) && name.tier.is_none();
            if let Some(name) =
                name.as_mut().filter(|name| only_unit && name.column == Column::Price && bare(name))
            {
                name.column = Column::Other;
            }
        }
    }
    names
}

fn speaks_of_prices(name: &str) -> bool {
    let priced = |word: &str| {
        matches!(VOCABULARY.column(word), Some(Column::Price | Column::Low | Column::High | Column::Charge))
    };
    let normal = normal(name).into_owned();
    normal.split(' ').any(|word| priced(word) || VOCABULARY.has(word, Use::Per))
}

/// A column without a single cell below its name holds no prices where another does: its name is a remark.
pub(super) fn filled(mut names: Vec<Option<Named>>, below: &Below<'_>) -> Vec<Option<Named>> {
    let is_price = |name: &Option<Named>| name.as_ref().is_some_and(|name| name.column == Column::Price);
    // Days of prices, and nothing that could be one, are no prices either.
    let holds = |at: usize| {
        let shown = below.shown(at);
        shown.filled > 0 && (shown.priced > 0 || shown.filled < 3 || shown.words + shown.units > 0)
    };
    let holds: Vec<bool> = (0..names.len()).map(holds).collect();
    if !below.rows.is_empty() && names.iter().zip(&holds).any(|(name, holds)| *holds && !is_price(name)) {
        for (name, holds) in names.iter_mut().zip(holds) {
            if let Some(name) = name.as_mut().filter(|name| name.column == Column::Price && !holds) {
                name.column = Column::Other;
            }
        }
    }
    names
}
