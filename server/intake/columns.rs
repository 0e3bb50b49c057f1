//! Which column of a table holds what: by the names of the columns, and by their cells where names are missing.

mod meant;
mod shown;
mod two_rows;
mod unnamed;

use std::borrow::Cow;
use std::cell::Cell as Count;
use std::rc::Rc;

use trade::money::PriceUnit;

use crate::context::Context;
use crate::date::is_day;
use crate::document::{Cell, CutRow, GridRow};
use crate::number::{Marks, looks_like_price};
use crate::price::{UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::tier::{TierText, TierUnit, tier_at};
use crate::vocabulary::{Column, Use, VOCABULARY};
use crate::wording::normal_wording;
use meant::{
    filled, latest, least_and_most, money_first, named_by_its_cells, names_beside_groups, newest,
    side_by_side, this_week,
};
pub(crate) use shown::is_unit;
use shown::{Below, Shown, is_price, looks_priced};
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
        self.unit.is_some() || self.tier_from.is_some() || self.prices.len() > 1
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
fn holds_price(row: &GridRow, marks: Marks) -> bool {
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
    let names = side_by_side(names, &row.cells);
    let names = least_and_most(names, &row.cells);
    let names = latest(this_week(names, &row.cells), &row.cells);
    let names = named_by_its_cells(names, &row.cells, below, marks);
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
    let numbers = row.cells.iter().any(|cell| looks_priced(cell, marks) && name(cell, marks).is_none());
    let first_price = names.iter().position(of_price);
    // `Irony aluminium | 300 to 450` is a name and a price.
    let mut priced = names.iter().flatten().filter(|n| matches!(n.column, Column::Price | Column::Low));
    let bare = |n: &Named| n.tier.is_some_and(|tier| tier.unit.is_none()) && n.context.is_empty();
    let only_a_range = priced.next().is_some_and(bare) && priced.next().is_none();
    let sound = !numbers
        && (!only_a_range || names.iter().any(is_wording))
        && match (names.iter().any(is_wording), first_price) {
            (true, _) => known >= 2 && known >= strangers.len(),
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
    if !sound {
        return None;
    }
    let below = &Below::new(below, marks);
    let names = filled(newest(names, &row.cells), below);
    let names = money_first(names, &row.cells);
    let taken: Vec<bool> = names.iter().map(Option::is_some).collect();
    let mut panels = lay_out(row, names, below);
    panels.iter_mut().for_each(|panel| settle(panel, &taken, below));
    panels.retain(|panel| !panel.prices.is_empty() || panel.charge.is_some());
    (!panels.is_empty()).then_some(panels)
}

fn name(cell: &Cell, marks: Marks) -> Option<Named> {
    let Cell::Text(text) = cell else { return None };
    let text = &*in_words(text);
    // `Fr.` is a day of the week as well.
    let day = is_day(text) && VOCABULARY.currencies(text).is_none();
    if text.chars().count() > 60 || day || is_numbered_title(text) {
        return None;
    }
    let plain = |column| Some(Named { column, context: Context::of(text, true), tier: None });
    if let Some(column) = VOCABULARY.column(text) {
        return plain(column);
    }
    // `cena do uzgodnienia`: a price that has to be asked for.
    let asks = |words: &str| VOCABULARY.has(words, Use::OnRequest);
    if asks(text) || text.split_once(' ').is_some_and(|(_, rest)| asks(rest)) {
        return None;
    }
    let normal = normal_wording(text);
    let words: Vec<&str> = normal.split(' ').collect();
    // `Grade notes`, `Remarques qualité`
    let ends = [words.first(), words.last()];
    if ends.iter().flatten().any(|word| VOCABULARY.column(word) == Some(Column::Note))
        && Context::of(text, true).is_empty()
    {
        return plain(Column::Note);
    }
    let scan = Scan::of(text);
    let run = |length: usize, fits: &dyn Fn(Column) -> bool| {
        words.windows(length).find_map(|run| VOCABULARY.column(&run.join(" ")).filter(|column| fits(*column)))
    };
    let tier = (0..scan.tokens.len()).find_map(|at| Some((at, tier_at(&scan, marks, at, true)?)));
    if let Some((at, (tier, next))) = tier {
        // `19,00 up to 50 kg / 21,50` is a price.
        let outside = (0..at).chain(next..scan.tokens.len());
        let priced = |at: usize| scan.kind(at) == Some(Kind::Number) && looks_like_price(scan.word(at));
        if outside.into_iter().any(priced) {
            return None;
        }
        // `last wk < 250 kg`
        if run(2, &|column| column == Column::Other).is_some() {
            return Some(Named { column: Column::Other, context: Context::default(), tier: None });
        }
        // `250 à 1000 kg` is no price per tonne.
        let around = [scan.between(0, at), scan.between(next, scan.tokens.len())];
        let [before, behind] = around.map(|text| Context::of(text, false));
        return Some(Named { column: Column::Price, context: before.within(&behind), tier: Some(tier) });
    }
    // A number that no unit explains makes it a price, not the name of one: `$3.95`, but `USD per 100 lb`.
    let joined = |at: usize| {
        let bracketed = at > 0 && scan.kind(at - 1) == Some(Kind::Open);
        let unit = || unit_words(&scan, at).is_some_and(|(_, next)| scan.kind(next) == Some(Kind::Close));
        at > 0 && (scan.kind(at - 1) == Some(Kind::Slash) || scan.is(at - 1, Use::Per)) || bracketed && unit()
    };
    if (0..scan.tokens.len())
        .any(|at| scan.kind(at) == Some(Kind::Number) && !joined(at) && !is_year(scan.word(at)))
    {
        return None;
    }
    let context = Context::of(text, true);
    // `min_qty_kg`: the name of a tier's column, and its unit.
    if let (Some(_), Some((_, before))) = (context.mass_unit(), words.split_last())
        && let Some(column) = VOCABULARY
            .column(&before.join(" "))
            .filter(|column| matches!(column, Column::TierFrom | Column::TierTo))
    {
        return Some(Named { column, context, tier: None });
    }
    // `Qty 2025 (t)` is how much was bought, whatever it is counted in.
    let counted = words.iter().any(|word| VOCABULARY.column(word) == Some(Column::Other))
        && !words
            .iter()
            .any(|word| matches!(VOCABULARY.column(word), Some(Column::Price | Column::Low | Column::High)));
    if counted && words.len() <= 4 && words.len() > 1 {
        return Some(Named { column: Column::Other, context: Context::default(), tier: None });
    }
    // `from kg`, `max (lb)` are masses, and no prices per kg.
    if context.currencies.is_empty()
        && let Some(column) = words
            .first()
            .filter(|_| context.unit.is_some() && words.len() == 2)
            .and_then(|word| VOCABULARY.column(word))
            .filter(|column| matches!(column, Column::TierFrom | Column::TierTo))
    {
        return Some(Named { column, context, tier: None });
    }
    let money = !context.currencies.is_empty() || context.unit.is_some() || context.cents;
    // `Charge, USD/kg`, but `€ (reverse charge)` is about a tax.
    let bare = normal_wording(text.split(['(', '[']).next().unwrap_or_default());
    let charge = |word: &str| VOCABULARY.column(word) == Some(Column::Charge);
    if money && words.len() <= 4 && bare.split(' ').any(charge) {
        return Some(Named { column: Column::Charge, context, tier: None });
    }
    // `Price last week` is no price to read, and `Price per lb` is one: the longer run of words decides.
    for length in (1..=words.len().min(3)).rev() {
        let found = run(length, &|column| column == Column::Other && length > 1)
            .or_else(|| run(length, &|column| matches!(column, Column::Price | Column::Low | Column::High)))
            .or_else(|| {
                let tier = |column| matches!(column, Column::TierFrom | Column::TierTo);
                // `ritirato da noi` says by whom, and no mass; `Peso da kg` does.
                let at_an_end =
                    || ends.iter().flatten().any(|word| VOCABULARY.column(word).is_some_and(tier));
                let amid = length == 1 && context.unit.is_none() && !at_an_end();
                let short = words.len() <= 3 && !amid && context.currencies.is_empty();
                run(length, &|column| tier(column) && short)
            })
            .or_else(|| run(length, &|column| column == Column::Wording && !money));
        if let Some(column) = found {
            return Some(Named { column, context, tier: None });
        }
    }
    // `WHOLE UNITS` is what a list is of.
    let of_pieces = context.currencies.is_empty() && context.unit == Some(UnitText::Unit(PriceUnit::Each));
    let of_goods = of_pieces && !context.cents && VOCABULARY.has_within(text, Use::Group);
    (money && !of_goods && words.len() <= 4).then_some(Named { column: Column::Price, context, tier: None })
}

/// `BUY_CENTS`, `PriceNew`: names as stock programs write them, in words.
fn in_words(text: &str) -> Cow<'_, str> {
    let text = match text.contains('_') {
        true => Cow::Owned(text.replace('_', " ")),
        false => Cow::Borrowed(text),
    };
    let begins_a_word = |at: usize| {
        let (before, after) = text.split_at(at);
        before.ends_with(char::is_lowercase) && after.starts_with(char::is_uppercase)
    };
    if text.contains(' ') || VOCABULARY.column(&text).is_some() {
        return text;
    }
    let mut words = String::with_capacity(text.len() + 4);
    for (at, c) in text.char_indices() {
        if begins_a_word(at) {
            words.push(' ');
        }
        words.push(c);
    }
    Cow::Owned(words)
}

/// `PRICE LIST NO. 47`
fn is_numbered_title(text: &str) -> bool {
    let number = |normal: &str| {
        let digits = normal.rsplit(' ').next().and_then(|last| last.strip_prefix("no"));
        digits.is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit()))
    };
    text.ends_with(|c: char| c.is_ascii_digit())
        && number(&normal_wording(text))
        && VOCABULARY.has_within(text, Use::Title)
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

fn is_year(text: &str) -> bool {
    text.parse::<u32>().is_ok_and(|year| (1990..2100).contains(&year))
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
                    .filter(|text| stranger_names && !VOCABULARY.has(text, Use::For));
            }
            Column::Price | Column::Low if panel.prices.len() < MOST_PRICES => {
                panel.prices.push(PriceColumn { at, context: name.context, tier: name.tier });
            }
            Column::Price | Column::Low | Column::Other => {}
            Column::Charge => {
                panel.charge = Some(PriceColumn { at, context: name.context, tier: None });
            }
            Column::Group => panel.group = Some(at),
            Column::High => panel.high = Some(at),
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
        panel.wording = at;
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
