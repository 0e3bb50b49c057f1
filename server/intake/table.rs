//! Tables to rows: a name, its prices, and what the other columns and the headings say.

mod cell;
mod heading;
mod kinds;
mod rows;
mod said;

use crate::columns::{self, Panel, Reach};
use crate::context::{Context, heading_name, is_heading, speaks_of_goods};
use crate::cuts::Cuts;
use crate::date::Dated;
use crate::document::{Cell, CutRow, GridRow, Line};
use crate::draft::{Charge, Draft, DraftPrice, DraftRow, wording};
use crate::firm::{is_contact, is_firm};
use crate::lines::{LineReader, TableHeading, is_number_of_a_page, is_remark};
use crate::number::Marks;
use crate::parts::charge;
use crate::price::{self, Strength};
use crate::scan::Scan;
use crate::sheet::{Doubt, Why};
use crate::tier::of_heading;
use crate::vocabulary::{Use, VOCABULARY};

pub(crate) use cell::{CellName, CellPrice, names_a_quote};
use heading::Heading;
use rows::price_rows;
use said::{row_context, tier};

/// Rows that are searched for the names of the columns.
const HEADER_WITHIN: usize = 60;
/// Fewer rows of prices above the names of the columns are no table of their own.
const FEWEST_UNNAMED: usize = 3;
/// A cell of more words is no price.
const MOST_PRICE_WORDS: usize = 5;
/// Words of a heading that says who pays.
const MOST_HEADING_WORDS: usize = 10;

/// Reads a table, above which a `heading` may stand.
pub(crate) fn read<'d>(
    rows: &'d [GridRow],
    heading: Option<TableHeading>,
    cuts: &Cuts<'d>,
    draft: &mut Draft<'_>,
) {
    let reach = Reach::default();
    let header = (0..rows.len().min(HEADER_WITHIN))
        .find(|&i| columns::named(&rows[i], &rows[i + 1..], draft.marks).is_some());
    let panels = match header {
        // Those above the first row of names have none, but may have prices.
        Some(header) => {
            let above = &rows[..header];
            let priced = above.iter().filter(|row| columns::holds_price(row, draft.marks)).count();
            if priced < FEWEST_UNNAMED { Vec::new() } else { columns::shown(above, draft.marks) }
        }
        None => columns::shown(rows, draft.marks),
    };
    if header.is_none() && panels.is_empty() {
        return read_as_lines(rows, draft);
    }
    let above = heading.map(|heading| Heading {
        name: heading.name,
        context: heading.context,
        beneath: false,
        charge: heading.charge,
        tier: None,
    });
    let mut table = Table { panels, headings: above.into_iter().collect(), above: Vec::new() };
    let first = draft.rows.len();
    table.restart();
    let mut skip = false;
    for (i, row) in rows.iter().enumerate() {
        if std::mem::take(&mut skip) {
            draft.leave_out(&row.source(), &row.place, Why::ColumnNames);
            continue;
        }
        let cut = row.cut(cuts);
        // Most rows have a price, and so are none of names; nor is one that says `dagprijs` where they have it, or `250 to 340`
        // beside a unit.
        if columns::holds_price_in(&cut, draft.marks) || table.asks(row) || table.tells_a_unit(row) {
            table.row(&cut, draft);
            continue;
        }
        let second = rows.get(i + 1).and_then(|below| columns::in_two_rows(row, below, draft.marks));
        let named = match &second {
            Some(both) => columns::named(both, reach.of(&rows[i + 2..]), draft.marks),
            None => None,
        };
        if let Some(panels) = named {
            table.panels = panels;
            table.restart();
            let source = row.source();
            draft.whole_sheet(&Context::of(&source, true), &source);
            draft.leave_out(&source, &row.place, Why::ColumnNames);
            skip = true;
            continue;
        }
        let unnamed = header.is_none() && draft.rows.len() == first && table.names_columns(row);
        if unnamed {
            let source = row.source();
            draft.look_for_date(&source);
            draft.whole_sheet(&Context::of(&source, true), &source);
            draft.leave_out(&source, &row.place, Why::ColumnNames);
            continue;
        }
        match columns::named(row, reach.of(&rows[i + 1..]), draft.marks) {
            Some(panels) => {
                table.panels = panels;
                table.restart();
                skip = rows.get(i + 1).is_some_and(|below| table.takes_units(below));
                // `Cattail Metals | Trade sheet | 26 November 2026` above the names themselves.
                if rows.get(i + 1).is_some_and(|below| {
                    columns::named(below, reach.of(&rows[i + 2..]), draft.marks).is_some()
                }) {
                    draft.look_for_date(&row.source());
                }
                // `18 November 2026 | Rand / kg | prev.`: what stands above the names of goods may be the day.
                let names = table.panels.first().and_then(|panel| row.cells.get(panel.wording));
                if let Some(Cell::Text(name)) = names {
                    draft.look_for_date(name);
                }
                draft.leave_out(&row.source(), &row.place, Why::ColumnNames);
            }
            // Above the first price of a list without names of columns stands what heads it.
            None if draft.rows.len() == first
                && header.is_none_or(|header| i < header)
                && !table.holds_amount(row) =>
            {
                table.remark(&row.source(), row, draft);
            }
            None => table.row(&cut, draft),
        }
    }
    // A list of contacts looks like one of prices that were all left blank.
    let new = &draft.rows[first..];
    let unpriced = new.iter().all(|row| match &row.price {
        DraftPrice::OnRequest => true,
        DraftPrice::Text(price) => price.too_large(),
        DraftPrice::Free => false,
    });
    if unpriced && new.iter().any(|row| row.doubts.contains(&Doubt::Blank)) {
        for row in draft.rows.split_off(first) {
            draft.leave_out(&row.source, &row.place, Why::NoPrice);
        }
    }
}

/// A table in which no column holds prices: each row is read like a line of text.
fn read_as_lines(rows: &[GridRow], draft: &mut Draft<'_>) {
    let mut reader = LineReader::default();
    for row in rows {
        let cells: Vec<String> = row.cells.iter().filter(|cell| !cell.is_empty()).map(Cell::shown).collect();
        reader.read(&Line { place: row.place.clone(), text: cells.join("  ") }, draft);
    }
}

/// `Light iron £120/tonne. Heavy £168/tonne.`, in one cell: a line that has its prices within it.
fn holds_a_line(row: &GridRow, marks: Marks) -> bool {
    let mut filled = row.cells.iter().filter(|cell| !cell.is_empty());
    let (Some(Cell::Text(text)), None) = (filled.next(), filled.next()) else { return false };
    price::prices(&Scan::of(text), marks)
        .iter()
        .any(|price| price.strength > Strength::Decimals && price.first > 0 && price.unit.is_some())
}

/// Whether a cell holds a sentence.
fn is_sentence(cell: Option<&Cell>) -> bool {
    matches!(cell, Some(Cell::Text(text)) if text.split_whitespace().count() > MOST_PRICE_WORDS)
}

struct Table {
    panels: Vec<Panel>,
    /// For each panel, the heading that its rows stand under.
    headings: Vec<Heading>,
    /// For each panel, the last name and group, which hold for rows below that leave them blank.
    above: Vec<Above>,
}

#[derive(Debug, Clone, Default)]
struct Above {
    wording: String,
    group: Option<String>,
}

impl Table {
    fn restart(&mut self) {
        // A heading above the table waits for the names of its columns.
        if self.panels.is_empty() {
            return;
        }
        let headings = self.panels.iter().enumerate().map(|(i, panel)| match &panel.heading {
            Some(name) => Heading::of(Some(name), Context::of(name, true)),
            // A heading above the names of the columns still holds.
            None => {
                let above = self.headings.get(i).cloned().unwrap_or_else(Heading::none);
                Heading { beneath: false, ..above }
            }
        });
        self.headings = headings.collect();
        self.above = vec![Above::default(); self.panels.len()];
    }

    fn row(&mut self, cut: &CutRow<'_>, draft: &mut Draft<'_>) {
        let row = cut.row;
        let source = row.source();
        if self.panels.is_empty() {
            return self.remark(&source, row, draft);
        }
        let first = row.cells.iter().find(|cell| !cell.is_empty()).map(Cell::seen).unwrap_or_default();
        if !source.chars().any(char::is_alphanumeric) {
            return draft.leave_out(&source, &row.place, Why::NoPrice);
        }
        let of_a_page = |cell: &Cell| matches!(cell, Cell::Text(text) if is_number_of_a_page(text));
        if row.cells.iter().any(of_a_page) || is_number_of_a_page(&source) {
            return draft.leave_out(&source, &row.place, Why::NoPrice);
        }
        if VOCABULARY.has(first.split([' ', ':']).next().unwrap_or_default(), Use::Total) {
            return draft.leave_out(&source, &row.place, Why::Total);
        }
        if self.dates_prices(row, draft) {
            return draft.leave_out(&source, &row.place, Why::ColumnNames);
        }
        let before = draft.rows.len();
        let mut why = None;
        let mut silent = Vec::new();
        for at in 0..self.panels.len() {
            let rows = draft.rows.len();
            match self.panel_row(at, cut, &source, draft) {
                Err(reason) => why = Some(reason),
                Ok(()) if draft.rows.len() == rows => silent.push(at),
                Ok(()) => {}
            }
        }
        if draft.rows.len() > before {
            // A heading in one list stands beside a price of the other.
            for at in silent {
                if let Some(Cell::Text(text)) = row.cells.get(self.panels[at].wording)
                    && is_heading(text)
                {
                    self.head(at, text, draft.marks);
                }
            }
            return;
        }
        if holds_a_line(row, draft.marks) {
            return LineReader::default().read(&Line { place: row.place.clone(), text: source }, draft);
        }
        match why {
            Some(why) => draft.leave_out(&source, &row.place, why),
            None => self.remark(&source, row, draft),
        }
    }

    /// Reads one panel's cells of a row. Without an error and without a new row, the cells hold a heading or remark.
    fn panel_row(
        &mut self,
        at: usize,
        cut: &CutRow<'_>,
        source: &str,
        draft: &mut Draft<'_>,
    ) -> Result<(), Why> {
        let row = cut.row;
        let panel = &self.panels[at];
        let cell =
            |column: Option<usize>| column.and_then(|c| row.cells.get(c)).filter(|cell| !cell.is_empty());
        let name = cell(Some(panel.wording)).map(Cell::shown);
        let group = cell(panel.group).map(Cell::shown);
        let charged = cell(panel.charge.as_ref().map(|charge| charge.at)).is_some();
        let priced = charged || panel.prices.iter().any(|price| cell(Some(price.at)).is_some());
        // Where only the group's column has a name, that is what is priced.
        let group_is_name = name.is_none() && group.is_some() && priced && panel.tier_from.is_none();
        let (name, group) = if group_is_name { (group, None) } else { (name, group) };
        if !priced && (name.is_none() || self.alone(at, row, draft.marks)) {
            return Ok(());
        }
        // `OTHER | $/kg`: a heading, and what the prices below it are in.
        if let (Some(Cell::Text(heading)), Some(Cell::Text(unit))) =
            (cell(Some(panel.wording)), panel.prices.first().and_then(|price| cell(Some(price.at))))
            && columns::is_unit(unit)
        {
            let heading = format!("{heading} ({unit})");
            self.head(at, &heading, draft.marks);
            return Ok(());
        }
        let above = &self.above[at];
        let group = if group_is_name { None } else { group.or_else(|| above.group.clone()) };
        // `250 lb or more`, where the others have their names, is of the one above.
        let of_above = self.tier_of_name(at, cut, draft.marks);
        let name = name.filter(|_| of_above.is_none());
        let tier = tier(panel, row, draft).or(of_above);
        let (name, source) = match name {
            Some(name) => (name, source.to_string()),
            // A name that spans several rows stands in the first of them.
            None if tier.is_some() && !above.wording.is_empty() => {
                (above.wording.clone(), format!("{} | {source}", above.wording))
            }
            // A footnote stands in the first column, where the prices are.
            None if panel.prices.iter().any(|price| is_sentence(cell(Some(price.at)))) => return Ok(()),
            None => return Err(Why::NoName),
        };
        let Some(name) = wording(name.trim_matches(['|', ' '])) else { return Err(Why::TooLong) };
        if !name.chars().any(char::is_alphanumeric) {
            return Err(Why::NoName);
        }
        let again;
        let named = match cut.cuts.get(panel.wording).filter(|cut| cut.scan.text == name) {
            Some(cut) => cut.name(draft.marks),
            None => {
                again = CellName::of(&Scan::of(&name), draft.marks);
                &again
            }
        };
        if named.names_nothing {
            return Err(Why::NoPrice);
        }
        let name = named.without_unit.clone().unwrap_or(name);
        // `Brass (100-500 lb)`, where no column says from which mass on.
        let by_column = tier.is_some() || panel.prices.iter().any(|price| price.tier.is_some());
        let (name, whole, tier, charge) = match named.without_tier.as_ref().filter(|_| !by_column) {
            Some((bare, tier)) => {
                let whole = Some(name).filter(|_| tier.takes_unit_of_price());
                (bare.clone(), whole, Some(*tier), charge(bare))
            }
            None => (name, None, tier, named.charge),
        };
        self.above[at] = Above { wording: name.clone(), group: group.clone() };
        match cell(panel.date) {
            Some(Cell::Date(date)) => draft.date(Dated { date: *date, unclear: false, announced: true }),
            Some(Cell::Text(text)) => draft.look_for_date(text),
            _ => {}
        }
        let heading = &self.headings[at];
        let of_row = row_context(panel, cut).within(&Context { unit: named.unit, ..Context::default() });
        // `IJZER (per ton)`, as a group's own cell says.
        let of_group = group.as_deref().map(|group| Context::of(group, false)).unwrap_or_default();
        let of_row = of_row.within(&of_group);
        let notes: Vec<String> = panel.notes.iter().filter_map(|c| cell(Some(*c))).map(Cell::shown).collect();
        let tier = tier.or(heading.tier.filter(|_| !by_column));
        let base = DraftRow {
            charge: charge.or(heading.charge),
            wording: name,
            whole,
            group: group.or_else(|| heading.name.clone()),
            price: DraftPrice::OnRequest,
            tier,
            note: None,
            place: row.place.clone(),
            source,
            doubts: Vec::new(),
            context: Context::default(),
            in_cell: true,
        };
        let new = price_rows(panel, cut, base, &of_row, heading, notes, draft);
        // `Checks only over $100 | ask for Vern`: words where the prices stand, behind others that name nothing.
        // So does how to reach the yard: `Tel. | 000 441 8820`.
        // `Ph` alone is no phone.
        let goods = |name: &str| speaks_of_goods(name) && !VOCABULARY.has(name, Use::PhoneLabel);
        let reaches = |row: &DraftRow| is_contact(&row.source) && !goods(&row.wording);
        let speaks = || new.first().is_some_and(|row| is_remark(&row.wording) || reaches(row));
        if new.iter().all(|row| row.doubts.contains(&Doubt::Blank)) && speaks() {
            return Err(Why::NoPrice);
        }
        draft.rows.extend(new);
        Ok(())
    }

    /// Whether the panel's name stands alone and reads like a heading or remark rather than a grade without a price.
    fn alone(&self, at: usize, row: &GridRow, marks: Marks) -> bool {
        let Some(Cell::Text(name)) = row.cells.get(self.panels[at].wording) else { return true };
        let others = row.cells.iter().filter(|cell| !cell.is_empty()).count() > 1;
        if others && self.panels.len() == 1 {
            return false;
        }
        let capitals = name.chars().any(char::is_alphabetic) && !name.chars().any(char::is_lowercase);
        !is_heading(name)
            || !Context::of(name, false).is_empty()
            || capitals
            || name.ends_with(':')
            || of_heading(&Scan::of(name), marks).is_some_and(|(_, is_tier)| is_tier)
            || VOCABULARY.has_within(heading_name(name), Use::Group)
            // Rows have more than a name and a price, and this one has not even a unit.
            || !others && self.panels.len() == 1 && self.panels[at].has_more_than_a_price()
            || charge(name) == Charge::Sure
            || name.split_whitespace().next().is_some_and(|first| VOCABULARY.has(first, Use::Absent))
            // `Share this page`: nothing of it is a word for goods.
            || !others && !speaks_of_goods(name)
            || self.above[at].wording.is_empty()
    }

    /// Takes in a heading of a panel.
    fn head(&mut self, at: usize, text: &str, marks: Marks) {
        if self.headings.len() <= at {
            self.headings.resize(at + 1, Heading::none());
        }
        self.headings[at] = self.headings[at].then(text, marks);
        if let Some(above) = self.above.get_mut(at) {
            *above = Above::default();
        }
    }

    /// A row without a price: a heading for its panel, or a remark about the whole sheet.
    fn remark(&mut self, source: &str, row: &GridRow, draft: &mut Draft<'_>) {
        for cell in &row.cells {
            match cell {
                Cell::Date(date) if self.panels.is_empty() => {
                    draft.date(Dated { date: *date, unclear: false, announced: false });
                }
                Cell::Text(text) => draft.look_for_date(text),
                _ => {}
            }
        }
        let filled: Vec<usize> = (0..row.cells.len()).filter(|&i| !row.cells[i].is_empty()).collect();
        // `CRT monitors -- you pay us $10.00 each`, written across all columns.
        if let [only] = filled.as_slice()
            && let Cell::Text(text) = &row.cells[*only]
            && charge(text) == Charge::Sure
            && price::is_within(text, draft.marks)
        {
            let line = Line { place: row.place.clone(), text: text.clone() };
            return LineReader::default().read(&line, draft);
        }
        let mut headed = false;
        if filled.len() <= self.panels.len().max(1) {
            for &column in &filled {
                let text = row.cells[column].shown();
                let known = VOCABULARY.has_within(heading_name(&text), Use::Group);
                let at = self.panels.iter().rposition(|panel| panel.wording <= column).unwrap_or(0);
                // The yard's own name at the head of its sheet.
                if draft.rows.is_empty() && is_firm(&text) {
                    continue;
                }
                let is_tier = || of_heading(&Scan::of(&text), draft.marks).is_some_and(|(_, is_all)| is_all);
                // `Loose bits below are € / kg:`
                let tells = || text.ends_with(':') && Context::of(&text, false).unit.is_some();
                let between = !self.panels.is_empty() && (is_tier() || says_who_pays(&text) || tells());
                let heads = is_heading(&text) && !draft.is_footnote(&text);
                if heads && (known || !self.panels.is_empty()) || between {
                    headed = true;
                    self.head(at, &text, draft.marks);
                }
            }
        }
        if headed {
            return draft.leave_out(source, &row.place, Why::Heading);
        }
        draft.whole_sheet(&Context::of(source, false), source);
        draft.leave_out(source, &row.place, Why::NoPrice);
    }
}

/// `What we charge you`, `What we pay you`: a heading of all that stands below it.
fn says_who_pays(text: &str) -> bool {
    let short =
        text.split_whitespace().count() <= MOST_HEADING_WORDS && !text.contains(|c: char| c.is_ascii_digit());
    short && (charge(text) == Charge::Sure || VOCABULARY.has_within(text, Use::Pays))
}
