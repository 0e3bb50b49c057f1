//! Which column of a table holds what: by the names of the columns, and by their cells where names are missing.

mod cents;
mod column_name;
mod meant;
mod months;
mod shown;
mod told_by_cells;
mod two_rows;
mod unnamed;

use std::cell::Cell as Count;
use std::rc::Rc;

use crate::context::{Context, is_only_of_prices};
use crate::document::{Cell, CutRow, GridRow};
use crate::number::Marks;
use crate::scan::Scan;
use crate::tier::{TierText, TierUnit};
use crate::vocabulary::{Column, Use, VOCABULARY};
use cents::dollars_and_cents;
use column_name::name;
use meant::{
    filled, in_rand, last_tier, latest, least_and_most, money_first, named_by_its_cells, names_beside_groups,
    newest, second_lists, side_by_side, this_week,
};
use months::this_month;
pub(crate) use shown::is_unit;
use shown::{Below, Shown, is_price, looks_priced};
use told_by_cells::told_by_cells;
pub(crate) use two_rows::in_two_rows;
pub(crate) use unnamed::shown;

/// Most price columns that one name can have; more are no tiers.
const MOST_PRICES: usize = 12;

/// How many rows below a row of names are looked at to tell what its columns hold. A text made of thousands of small tables
/// shows no more below one of them than the few rows that are its own.
#[derive(Debug, Default)]
pub(crate) struct Reach {
    asked: Count<usize>,
}

impl Reach {
    /// So many rows are asked about with all that stands below them.
    const MANY: usize = 64;
    const SHORT: usize = 12;

    pub fn of<'r>(&self, below: &'r [GridRow]) -> &'r [GridRow] {
        self.asked.set(self.asked.get().saturating_add(1));
        let reach = if self.asked.get() > Self::MANY { Self::SHORT } else { below.len() };
        &below[..below.len().min(reach)]
    }
}

/// One name and what belongs to it. A table may hold several side by side: `Item | Price | Item | Price`.
#[derive(Debug, Clone, Default)]
pub(crate) struct Panel {
    pub wording: usize,
    pub group: Option<usize>,
    pub prices: Vec<PriceColumn>,
    pub high: Option<usize>,
    /// The cents of the first price, in a column of their own.
    pub cents: Option<usize>,
    /// What the outlet wants for a row that has no price.
    pub charge: Option<PriceColumn>,
    pub unit: Option<usize>,
    pub currency: Option<usize>,
    pub tier_from: Option<TierColumn>,
    pub tier_to: Option<TierColumn>,
    pub date: Option<usize>,
    pub notes: Vec<usize>,
    /// The name of its wording column where that names a group: `COPPER | $/LB`.
    pub heading: Option<String>,
}

impl Panel {
    /// Whether its rows are likely to have another cell beside name and price.
    pub fn has_more_than_a_price(&self) -> bool {
        self.unit.is_some() || self.tier_from.is_some() || self.high.is_some() || self.prices.len() > 1
    }
}

#[derive(Debug, Clone)]
pub(crate) struct PriceColumn {
    pub at: usize,
    pub context: Context,
    pub tier: Option<TierText>,
}

/// A column of masses from which, or up to which, a price holds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TierColumn {
    pub at: usize,
    /// The unit in its name.
    pub unit: Option<TierUnit>,
}

/// What the name of a column says.
#[derive(Debug, Clone)]
struct Named {
    column: Column,
    context: Context,
    tier: Option<TierText>,
}

/// Whether a cell of the row is surely a price.
pub(crate) fn holds_price(row: &GridRow, marks: Marks) -> bool {
    row.cells.iter().any(|cell| is_price(cell, marks))
}

/// The same of a row whose texts have been cut already.
pub(crate) fn holds_price_in(row: &CutRow<'_>, marks: Marks) -> bool {
    row.row.cells.iter().zip(&row.cuts).any(|(cell, cut)| match cell {
        Cell::Text(_) => cut.is_price(marks),
        other => is_price(other, marks),
    })
}

/// The panels that a row of column names lays out; `None` where the row is no such row. `below` are the rows under it.
pub(crate) fn named(row: &GridRow, below: &[GridRow], marks: Marks) -> Option<Vec<Panel>> {
    if holds_price(row, marks) {
        return None;
    }
    let mut names: Vec<Option<Named>> = row.cells.iter().map(|cell| name(cell, marks)).collect();
    // `Priced each | Last week | This week`: what stands above names says how they are priced.
    let above_names =
        |n: &&mut Option<Named>| n.as_ref().is_some_and(|n| n.column == Column::Price && n.tier.is_none());
    if let Some(first) = names.first_mut().filter(above_names)
        && Shown::at_first(below, 0, marks).reads_as_names()
    {
        *first = None;
    }
    let names = dollars_and_cents(in_rand(names, &row.cells), &row.cells);
    let names = side_by_side(last_tier(names, &row.cells), &row.cells);
    let names = least_and_most(names, &row.cells);
    let names = this_month(latest(this_week(names, &row.cells), &row.cells), &row.cells);
    let names = second_lists(named_by_its_cells(names, &row.cells, below, marks), below, marks);
    let known = names.iter().flatten().count();
    let of_price =
        |n: &Option<Named>| n.as_ref().is_some_and(|n| matches!(n.column, Column::Price | Column::Low));
    let is_wording = |n: &Option<Named>| n.as_ref().is_some_and(|n| n.column == Column::Wording);
    // `Category` alone is what the rows are called.
    let grouped = names.iter().flatten().filter(|n| n.column == Column::Group).count() == 1;
    let only_group = grouped
        && !names.iter().any(is_wording)
        && names.iter().any(of_price)
        && !names_beside_groups(&names, below, marks);
    let names: Vec<Option<Named>> = names
        .into_iter()
        .map(|name| {
            name.map(|n| match n.column {
                Column::Group if only_group => Named { column: Column::Wording, ..n },
                _ => n,
            })
        })
        .collect();
    let strangers: Vec<usize> =
        (0..names.len()).filter(|&i| names[i].is_none() && !row.cells[i].is_empty()).collect();
    let numbers =
        row.cells.iter().zip(&names).any(|(cell, name)| name.is_none() && looks_priced(cell, marks));
    let first_price = names.iter().position(of_price);
    // `Irony aluminium | 300 to 450` is a name and a price.
    let mut priced = names.iter().flatten().filter(|n| matches!(n.column, Column::Price | Column::Low));
    let bare = |n: &Named| n.tier.is_some_and(|tier| tier.unit.is_none()) && n.context.is_empty();
    let only_a_range = priced.next().is_some_and(bare) && priced.next().is_none();
    let all_told = |price: usize| {
        let exact =
            |at: usize| matches!(&row.cells[at], Cell::Text(text) if VOCABULARY.column(text).is_some());
        let names = (0..price).filter(|&at| is_wording(&names[at]) && exact(at));
        let priced = |shown: Shown| shown.sure * 2 > shown.filled && shown.filled > 1;
        exact(price)
            && priced(Shown::at_first(below, price, marks))
            && names.map(|at| Shown::at_first(below, at, marks)).any(|shown| shown.reads_as_names())
    };
    let sound = !numbers
        && (!only_a_range || names.iter().any(is_wording))
        && match (names.iter().any(is_wording), first_price) {
            // However many strangers there are, where names and prices are called so and stand below.
            (true, price) => known >= 2 && (known >= strangers.len() || price.is_some_and(all_told)),
            // A table without a column for names is one only where a stranger stands left of the price.
            (false, Some(price)) => {
                // `We pay | For | Remarks`
                let plain = |i: usize| !row.cells[i].seen().contains(|c: char| c.is_ascii_digit());
                let right =
                    |i: &usize| *i > price && plain(*i) && Shown::at_first(below, *i, marks).reads_as_names();
                let empty =
                    |at: usize| row.cells[at].is_empty() && Shown::at_first(below, at, marks).filled == 0;
                let first = (0..price).all(empty);
                let beside = strangers.iter().any(|&i| i < price) || first && strangers.iter().any(right);
                beside
                    && known >= strangers.len()
                    && Shown::of(&below[..below.len().min(3)], price, marks).priced > 0
            }
            (false, None) => false,
        };
    // ` | up to 99 kg | 100 to 499 kg`: the names stand below none.
    let tiered = names.iter().flatten().filter(|name| name.tier.is_some()).count() > 1;
    let unnamed = first_price.filter(|_| !sound && !numbers && tiered).and_then(|price| {
        (0..price).find(|&at| row.cells[at].is_empty() && Shown::at_first(below, at, marks).reads_as_names())
    });
    let sound = sound || unnamed.is_some();
    let mut names = names;
    if let Some(at) = unnamed {
        names[at] = Some(Named { column: Column::Wording, context: Context::default(), tier: None });
    }
    let below = &Below::new(below, marks);
    let by_cells = !numbers && (!sound || first_price.is_none());
    let told = by_cells.then(|| told_by_cells(row, &names, below)).flatten();
    let names = told.or(sound.then_some(names))?;
    let names = filled(newest(names, &row.cells), below);
    let names = money_first(names, &row.cells);
    let taken: Vec<bool> = names.iter().map(Option::is_some).collect();
    let mut panels = lay_out(row, names, below);
    panels.iter_mut().for_each(|panel| settle(panel, &taken, below));
    panels.iter_mut().for_each(|panel| panel.join_cents(below));
    panels.retain(|panel| !panel.prices.is_empty() || panel.charge.is_some());
    (!panels.is_empty()).then_some(panels)
}

/// Whether a cell is the name of a column of prices for any mass.
pub(crate) fn names_price(cell: &Cell, marks: Marks) -> bool {
    let priced = |column| matches!(column, Column::Price | Column::Low | Column::High);
    name(cell, marks).is_some_and(|name| priced(name.column) && name.tier.is_none())
}

/// The same, or the name of one that is not read: of last week's prices, of changes.
pub(crate) fn names_price_or_past(cell: &Cell, marks: Marks) -> bool {
    names_price(cell, marks) || name(cell, marks).is_some_and(|name| name.column == Column::Other)
}

/// Assigns the named columns to panels, and finds by their cells the price columns that have a strange name.
fn lay_out(row: &GridRow, names: Vec<Option<Named>>, below: &Below<'_>) -> Vec<Panel> {
    let has_wording = names.iter().flatten().any(|n| n.column == Column::Wording);
    let has_price = names.iter().flatten().any(|n| matches!(n.column, Column::Price | Column::Low));
    let is_price = |n: &Named| n.column == Column::Price;
    let first_price = names.iter().position(|name| name.as_ref().is_some_and(is_price));
    let is_tier = |at: &usize| names[*at].as_ref().is_some_and(|name| name.tier.is_some());
    let tiered = first_price.filter(is_tier);
    let prices: Vec<bool> = names.iter().map(|name| name.as_ref().is_some_and(is_price)).collect();
    let mut panels: Vec<Panel> = Vec::new();
    let mut named_wording = false;
    for (at, name) in names.into_iter().enumerate() {
        let strange = name.is_none() && !row.cells.get(at).is_none_or(Cell::is_empty);
        // `Metals | £/tonne | WEEE | £/kg`: the second list is called by what it is of.
        let next_is_price = prices.get(at + 1).copied().unwrap_or(false);
        let behind_a_gap = || row.cells[at - 1].is_empty() && below.shown(at - 1).filled == 0;
        let second_list = || {
            next_is_price && prices[..at].contains(&true) && (names_group(&row.cells[at]) || behind_a_gap())
        };
        let stranger_names = strange && (!has_wording || second_list()) && {
            let shown = below.shown(at);
            shown.reads_as_names() && !shown.holds_tiers()
        };
        // `Walk-in | From 500 kg`: what the first column is called says for whom its prices are.
        let before_tiers = tiered.is_some_and(|tiered| at + 1 == tiered);
        let stranger_prices = name.is_none() && has_wording && (!has_price || before_tiers) && {
            let shown = below.shown(at);
            shown.mostly(shown.priced)
        };
        let name = match name {
            Some(name) => name,
            None if stranger_names => {
                Named { column: Column::Wording, context: Context::default(), tier: None }
            }
            None if stranger_prices => {
                Named { column: Column::Price, context: Context::default(), tier: None }
            }
            None => continue,
        };
        let opens = name.column == Column::Wording
            && panels.last().is_none_or(|panel| named_wording && !panel.prices.is_empty());
        if opens || panels.is_empty() {
            named_wording = false;
            panels.push(Panel::default());
        }
        let Some(panel) = panels.last_mut() else { continue };
        match name.column {
            Column::Wording if named_wording => second_wording(panel, at, below),
            Column::Wording => {
                panel.wording = at;
                named_wording = true;
                panel.heading = Some(row.cells[at].shown())
                    .filter(|text| stranger_names && !VOCABULARY.has(text, Use::For))
                    // `USD per pound` is no group.
                    .filter(|text| !is_only_of_prices(&Scan::of(text)));
            }
            Column::Price | Column::Low if panel.prices.len() < MOST_PRICES => {
                panel.prices.push(PriceColumn { at, context: name.context, tier: name.tier });
            }
            Column::Price | Column::Low | Column::Other => {}
            Column::Charge => {
                panel.charge = Some(PriceColumn { at, context: name.context, tier: None });
            }
            Column::Group => panel.group = Some(at),
            // Of several, that of the first price.
            Column::High => panel.high = panel.high.or(Some(at)),
            Column::Unit => panel.unit = Some(at),
            Column::Currency => panel.currency = Some(at),
            Column::TierFrom => panel.tier_from = Some(TierColumn { at, unit: name.context.tier_unit() }),
            Column::TierTo => panel.tier_to = Some(TierColumn { at, unit: name.context.tier_unit() }),
            Column::Date => panel.date = Some(at),
            Column::Note => panel.notes.push(at),
        }
    }
    panels
}

fn names_group(cell: &Cell) -> bool {
    matches!(cell, Cell::Text(text) if VOCABULARY.has(text, Use::Group))
}

/// Looks at the cells whether the column of names holds names: item numbers are none, and names that repeat while the
/// column beside them tells their rows apart are groups.
fn settle(panel: &mut Panel, named: &[bool], below: &Below<'_>) {
    let Some(price) = panel.prices.first().map(|price| price.at) else { return };
    let own = below.shown(panel.wording);
    let beside: Vec<(usize, Rc<Shown>)> = (panel.wording + 1..price)
        .filter(|at| panel.notes.contains(at) || !named.get(*at).copied().unwrap_or(false))
        .map(|at| (at, below.shown(at)))
        .filter(|(_, shown)| shown.reads_as_names())
        .collect();
    let units = (0..below.width()).find(|at| {
        let shown = below.shown(*at);
        *at > panel.wording && !named.get(*at).copied().unwrap_or(false) && shown.mostly(shown.units)
    });
    panel.unit = panel.unit.or(units);
    // `Weight delivered`, and below it `under 50 kg`, `50 - 250 kg`.
    let is_read = |at: usize| at == panel.wording || panel.prices.iter().any(|price| price.at == at);
    let last = panel.prices.last().map_or(price, |price| price.at);
    let about = panel.wording.min(price)..below.width().min(last + 2);
    let tiers = about.into_iter().find(|at| !is_read(*at) && below.shown(*at).holds_tiers());
    panel.tier_from = panel.tier_from.or(tiers.map(|at| TierColumn { at, unit: None }));
    // Words left of the names, fewer of them than names, under a name of their own that says nothing: groups.
    panel.group = panel.group.or_else(|| {
        (0..panel.wording).rev().find(|at| {
            let shown = below.shown(*at);
            !named.get(*at).copied().unwrap_or(false)
                && shown.reads_as_names()
                && shown.words >= 2
                && shown.codes == 0
                && (shown.words < own.words || shown.distinct * 2 <= shown.words)
        })
    });
    let Some((at, best)) =
        beside.into_iter().max_by_key(|(at, shown)| (shown.distinct, std::cmp::Reverse(*at)))
    else {
        return;
    };
    if own.holds_codes() {
        (panel.wording, panel.heading) = (at, None);
    } else if best.distinct > own.distinct && own.distinct * 4 <= own.words * 3 {
        panel.group = Some(std::mem::replace(&mut panel.wording, at));
    } else {
        return;
    }
    panel.notes.retain(|note| *note != at);
}

/// `Metal | Grade` are a group and a name; `Item | Description` are a name and a note, where what stands first is never the
/// same and nowhere left out.
fn second_wording(panel: &mut Panel, at: usize, below: &Below<'_>) {
    let (first, second) = (below.shown(panel.wording), below.shown(at));
    let tells_all = first.words >= 2 && first.distinct == first.words && first.words >= second.words;
    if tells_all && !first.holds_codes() {
        return panel.notes.push(at);
    }
    let first_at = std::mem::replace(&mut panel.wording, at);
    panel.group = Some(first_at).filter(|_| !first.holds_codes());
}
