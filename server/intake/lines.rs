//! Loose lines to rows: a name and its prices on one line, in either order, under headings.

mod asked;
mod charges;
mod columns_told;
mod heading;
mod listed;
mod pieces;
mod prose;
mod remark;
mod row;

use std::collections::HashSet;

use crate::context::{Context, heading_name, is_heading, is_only_of_prices};
use crate::document::Line;
use crate::draft::{Charge, Draft, DraftRow};
use crate::firm::is_contact;
use crate::number::Marks;
use crate::parts::{self, HeadingWithin, Part, charge, chosen, heading_within, starts_with, unit_before};
use crate::price::{self, Strength, UnitText};
use crate::scan::Scan;
use crate::sheet::Why;
use crate::tier::{TierText, of_heading};
use crate::vocabulary::{Use, VOCABULARY};
use asked::{asked_amid, asked_behind, asked_beside, before_the_past, on_request, only_words_for_a_price};
use charges::charges;
use columns_told::{ColumnsTold, column_names};
use heading::Heading;
use listed::{
    among_marked, among_prices, are_goods, begin_with_prices, ends_with_its_only_number, listed,
    listed_by_bare_numbers, names_above_prices, opens_with_its_only_number, without_asides,
    without_number_of_message,
};
use pieces::{pieces, tiers_in};
use remark::{are_quotes_of_metals, is_beside_the_list, may_be_a_name, tells_of_the_past};
pub(crate) use remark::{
    is_exchange_rate, is_number_of_a_page, is_only_a_date, is_only_of_days, is_remark, names_an_exchange,
    tells_when_open,
};

/// A line with more prices than this is no line of a price sheet.
const MOST_PRICES: usize = 12;
/// So many lines that end with a bare number make a list of such.
const FEWEST_BARE: usize = 8;
/// So many lines with marked prices make a price sheet.
const FEWEST_PRICES: usize = 4;
/// A line with more words is no name of a price below it.
const MOST_NAME_WORDS: usize = 10;

/// Reads lines one after another, under the heading that was seen last.
#[derive(Debug, Default)]
pub(crate) struct LineReader {
    heading: Option<Heading>,
    /// Headings side by side on one line, each for its own column of names.
    beside: Vec<Heading>,
    /// Tiers that a line of column names gave for the prices below it.
    tiers: Vec<TierText>,
    /// The heading of a list within the last line, which goes on in this one: `Per kilo: server boards 2.10,`.
    listing: Option<HeadingWithin>,
    /// What prices were per that stand in the same sentence before.
    said: Option<UnitText>,
    /// A list of charges that the last line began goes on in this one: `We charge for: tubes 0.40,`.
    charging: Charge,
    /// What a sentence above the list tells of its numbers.
    columns_told: ColumnsTold,
    /// The last line was the heading.
    headed: bool,
    /// The last line, where it is nothing that was understood: a line with only a price below it has it for its name.
    unread: Option<String>,
    /// The name and the heading of the row that the last line was.
    row_above: Option<(String, Option<String>)>,
    /// Most lines are a name and a bare number: `perfil limpio 41`.
    of_bare_numbers: bool,
    /// Lines begin with their bare price: `4,150   Motherboards`.
    numbers_first: bool,
    /// So many lines have prices that are marked as such.
    has_prices: bool,
    /// Lines and items whose bare numbers are prices: `brass 29` in the midst of `copper 38.50`, or in a list of goods.
    among_prices: HashSet<String>,
    /// Those of them that nothing but their goods tells of: it is asked whether they are prices.
    only_goods: HashSet<String>,
    /// Some prices have stood on lines of their own, below their names.
    below_names: bool,
    /// Such names that end with a number, which is none of the prices.
    numbered: HashSet<String>,
}

/// What a heading says of the table below it.
#[derive(Debug)]
pub(crate) struct TableHeading {
    pub name: Option<String>,
    pub context: Context,
    pub charge: Charge,
}

impl LineReader {
    pub fn of(lines: &[Line], marks: Marks) -> LineReader {
        let (mut bare, mut marked) = (0, 0);
        for line in lines {
            let scan = Scan::of(&line.text);
            match price::prices(&scan, marks).iter().map(|price| price.strength).max() {
                Some(strength) if strength > Strength::Weak => marked += 1,
                _ if is_contact(&line.text) => {}
                _ if ends_with_its_only_number(&scan) => bare += 1,
                _ => bare += listed_by_bare_numbers(&line.text).map_or(0, |items| items.len()),
            }
        }
        LineReader {
            of_bare_numbers: bare >= FEWEST_BARE && bare >= marked * 2,
            numbers_first: begin_with_prices(lines, marks),
            has_prices: marked >= FEWEST_PRICES,
            among_prices: among_prices(lines, marks),
            numbered: names_above_prices(lines, marks),
            ..LineReader::default()
        }
    }

    pub fn read(&mut self, line: &Line, draft: &mut Draft<'_>) {
        if let Some(sentences) = prose::told(&line.text, draft) {
            for items in sentences {
                for text in items {
                    let before = draft.rows.len();
                    self.read(&Line { place: line.place.clone(), text: text.to_string() }, draft);
                    self.said = draft.rows[before..].last().and_then(DraftRow::mass_unit).or(self.said);
                }
                self.said = None;
            }
            return;
        }
        let known = |items: &Vec<&str>| self.of_bare_numbers || self.has_prices && are_goods(items);
        let bare = listed_by_bare_numbers(&line.text).filter(known);
        self.among_prices.extend(bare.iter().flatten().map(|item| item.to_string()));
        let headed = bare.as_ref().and_then(|items| {
            let (heading, first) = items[0].split_once(": ")?;
            let named = first.contains(char::is_alphabetic);
            HeadingWithin::of(heading).filter(|_| named).map(|heading| (heading, first))
        });
        if !self.of_bare_numbers {
            self.only_goods.extend(bare.iter().flatten().map(|item| item.to_string()));
        }
        let several = bare.or_else(|| {
            let items = listed(&line.text, draft)?;
            self.among_prices.extend(among_marked(&items));
            Some(items)
        });
        if let Some(mut items) = several {
            if let Some((_, first)) = &headed {
                items[0] = first;
                self.among_prices.insert(first.to_string());
                self.only_goods.insert(first.to_string());
            }
            for text in items {
                self.listing = headed.as_ref().map(|(heading, _)| heading.clone()).or(self.listing.take());
                self.read(&Line { place: line.place.clone(), text: text.to_string() }, draft);
            }
            self.listing = self.listing.take().filter(|_| headed.is_none());
            return;
        }
        let text = without_number_of_message(line.text.trim());
        if is_number_of_a_page(text) || text.starts_with('©') {
            draft.look_for_date(text);
            draft.whole_sheet(&Context::of(text, false), text);
            return draft.leave_out(text, &line.place, Why::NoPrice);
        }
        if let Some(items) = asked_amid(text, draft) {
            for text in items {
                self.read(&Line { place: line.place.clone(), text: text.to_string() }, draft);
            }
            return;
        }
        if let Some(items) = asked_beside(text, draft) {
            let columns = items.len() == self.beside.len();
            for (at, text) in items.into_iter().enumerate() {
                if columns {
                    self.heading = Some(self.beside[at].clone());
                }
                self.read(&Line { place: line.place.clone(), text: text.to_string() }, draft);
            }
            return;
        }
        let unread = self.unread.take();
        let charging = std::mem::take(&mut self.charging);
        let goes_on = self.listing.take();
        let headed = std::mem::take(&mut self.headed);
        let scan = Scan::of(text);
        let expects_numbers = self.expects_numbers()
            || self.of_bare_numbers && ends_with_its_only_number(&scan)
            || self.among_prices.contains(text);
        let all = without_asides(&scan, draft.marks, price::prices(&scan, draft.marks));
        let prices = match self.numbers_first && opens_with_its_only_number(&scan) {
            _ if self.numbered.contains(text) => Vec::new(),
            true => all,
            false => chosen(&scan, all, expects_numbers),
        };
        // `Ceramic CPUs .... call    (was 45.00)`
        let past = before_the_past(&scan);
        let asked = prices.iter().all(|price| price.first >= past) && on_request(text, &scan).is_some();
        let prices = if asked { Vec::new() } else { prices };
        if starts_with(&scan, Use::Total) {
            return draft.leave_out(text, &line.place, Why::Total);
        }
        if prices.len() > MOST_PRICES {
            return draft.leave_out(text, &line.place, Why::TooLong);
        }
        // `Chrome rims`, and below it, where other names have their prices, `Call`.
        if prices.is_empty()
            && self.below_names
            && (headed || unread.is_some())
            && let Some(price) = only_words_for_a_price(text, &scan)
        {
            self.has_price_below(unread, draft);
            let part = Part { name: None, ..Part::asking(text, price) };
            return self.part(part, text, &line.place, Charge::No, draft);
        }
        if prices.is_empty() {
            return self.without_price(text, &scan, line, goes_on, draft);
        }
        if is_beside_the_list(text, &scan, &prices) {
            return draft.leave_out(text, &line.place, Why::NoPrice);
        }
        // `bright still 6.95 tomorrow?`
        let asks = text.ends_with('?') && prices.len() == 1 && text.split_whitespace().count() > 3;
        if asks || tells_of_the_past(text, &scan, draft.marks) || tells_when_open(text) {
            return draft.leave_out(text, &line.place, Why::NoPrice);
        }
        let mut parts = parts::parts(&scan, &prices, draft);
        if are_quotes_of_metals(&parts) {
            return draft.leave_out(text, &line.place, Why::NoPrice);
        }
        self.listing = heading_within(&mut parts).or(goes_on);
        // `Schrott: leicht 14,50 / schwer 21,00` below “Elektronik (€/kg)”: what the sheet says of all holds again.
        if self.listing.as_ref().is_some_and(|listing| listing.goods.is_some())
            && draft.says_unit_of_all()
            && self.heading.as_ref().is_some_and(Heading::is_of_goods)
        {
            self.heading = None;
        }
        // `$10.10 for pipe with a bit of solder`, where other prices stand below their names: the rest is a remark.
        let is_named =
            unread.is_some() || headed && self.heading.as_ref().is_some_and(|heading| heading.may_be_name);
        // `You pay $20.00`, below the name of what it is for.
        if let (true, [part], [price]) = (is_named, parts.as_mut_slice(), prices.as_slice())
            && VOCABULARY.has(scan.between(0, price.first), Use::Charge)
        {
            part.name = None;
        }
        if is_named
            && self.below_names
            && prices.first().is_some_and(|price| price.first == 0)
            && let [part] = parts.as_mut_slice()
            && let Some(remark) = part.name.take()
        {
            part.note = Some(part.note.take().map_or(remark.clone(), |note| format!("{remark}; {note}")));
        }
        let charges: Vec<Charge> =
            charges(text, &scan, &prices, &parts).into_iter().map(|charge| charge.or(charging)).collect();
        if text.ends_with(',') && parts.len() > 1 && charges.iter().all(|charge| *charge == Charge::Sure) {
            self.charging = Charge::Sure;
        }
        if let [part] = parts.as_slice()
            && part.name.is_none()
            && (unread.is_some() || part.prices.iter().all(|(_, tier)| tier.is_none()))
        {
            self.below_names |= headed || unread.is_some();
            self.has_price_below(unread, draft);
        }
        let columns = parts.len() == self.beside.len();
        let above = draft.rows.len();
        let said = self.said;
        self.said = unit_before(&scan, &prices).or(said);
        for (at, (part, charge)) in parts.into_iter().zip(charges).enumerate() {
            if columns {
                self.heading = Some(self.beside[at].clone());
            }
            self.part(part, text, &line.place, charge, draft);
        }
        self.said = said;
        if let Some(part) = prices.last().and_then(|last| asked_behind(&scan, last.last)) {
            self.part(part, text, &line.place, Charge::No, draft);
        }
        if draft.rows.len() == above {
            draft.look_for_date(text);
        } else if let Some((before, _)) = text.split_once(": ") {
            draft.look_for_date(before);
        }
        if !text.ends_with([',', ';', '/']) {
            self.listing = None;
        }
    }

    /// Takes a line that was not understood for the name of the price below it.
    fn has_price_below(&mut self, unread: Option<String>, draft: &mut Draft<'_>) {
        if let Some(name) = unread {
            draft.was_a_heading(&name);
            self.heading = Some(Heading::name_of_a_price(&name, self.heading.take()));
        }
    }

    /// The heading that the last line was, for a table right below it.
    pub fn heading_of_table(self) -> Option<TableHeading> {
        let heading = self.heading.filter(|_| self.headed)?;
        Some(TableHeading { name: heading.group, context: heading.context, charge: heading.charge })
    }

    /// Whether a heading has said what bare numbers below it are.
    fn expects_numbers(&self) -> bool {
        self.heading.as_ref().is_some_and(|heading| !heading.context.is_empty())
    }

    fn without_price(
        &mut self,
        text: &str,
        scan: &Scan<'_>,
        line: &Line,
        goes_on: Option<HeadingWithin>,
        draft: &mut Draft<'_>,
    ) {
        self.row_above = None;
        let below_a_name = self.heading.as_ref().is_some_and(|heading| heading.is_name);
        // `over 500 lb ....... ask`, below the name of what it is of.
        let tier = || {
            on_request(text, scan).map(|part| part.of_tier(draft.marks)).filter(|part| part.name.is_none())
        };
        if let Some(part) = below_a_name.then(tier).flatten() {
            return self.part(part, text, &line.place, Charge::No, draft);
        }
        let tiers = tiers_in(scan, draft);
        // `vanaf 2-11-2026` is a day, and no tiers.
        if tiers.len() > 1 && !draft.finds_date(text) {
            self.tiers = tiers;
            draft.whole_sheet(&Context::of(text, false), text);
            return draft.leave_out(text, &line.place, Why::ColumnNames);
        }
        if let Some(tiers) = self.columns_told.read(text, draft.marks) {
            self.tiers = tiers.into();
            draft.look_for_date(text);
            draft.whole_sheet(&Context::of(text, false), text);
            return draft.leave_out(text, &line.place, Why::ColumnNames);
        }
        if let Some(context) = column_names(scan) {
            draft.look_for_date(text);
            draft.whole_sheet(&context, text);
            return draft.leave_out(text, &line.place, Why::ColumnNames);
        }
        // Above the first heading it is about all that follows.
        if draft.rows.is_empty() && !self.headed && is_only_of_prices(scan) {
            draft.whole_sheet(&Context::of(text, true), text);
            return draft.leave_out(text, &line.place, Why::ColumnNames);
        }
        // `== Market watch ==`
        if let Some(part) = on_request(text, scan).filter(|_| !text.starts_with("==")) {
            self.listing = goes_on;
            self.part(part, text, &line.place, Charge::No, draft);
            self.listing = self.listing.take().filter(|_| text.ends_with([',', ';', '/']));
            return;
        }
        // What somebody else wrote before stands under no heading of this list.
        if text.starts_with('-') && VOCABULARY.has_within(text, Use::OlderMessage) {
            self.heading = None;
            return draft.leave_out(text, &line.place, Why::NoPrice);
        }
        // So does what stands below `* One price for any weight *`.
        let wrote = text.ends_with(':') && VOCABULARY.has_within(text, Use::Wrote);
        if wrote || text.starts_with(['*', '=']) && VOCABULARY.has_within(text, Use::AnyTier) {
            self.heading = None;
        }
        let dated = draft.finds_date(text);
        if let Some(heading) = self.heading.as_mut().filter(|heading| heading.may_be_firm)
            && draft.rows.is_empty()
            && (dated || is_contact(text) || VOCABULARY.has_within(text, Use::Title))
        {
            // What stands between the yard's address and the head of its sheet is its name.
            (heading.perhaps, heading.may_be_firm) = (true, false);
            draft.was_no_heading(&heading.source);
        }
        // `* Euro je 100 kg`, below `Preis*`
        if draft.is_footnote(text) {
            draft.whole_sheet(&Context::of(text, false), text);
            return draft.leave_out(text, &line.place, Why::NoPrice);
        }
        if self.side_by_side(scan, text) {
            return draft.leave_out(text, &line.place, Why::Heading);
        }
        let tier = of_heading(scan, draft.marks);
        let is_tier = tier.is_some_and(|(_, is_all)| is_all);
        if is_heading(text) || is_tier {
            let heading = Heading::below(self.heading.take(), text, scan, tier, draft.rows.is_empty());
            let perhaps = heading.perhaps;
            // A title says it of all that follows.
            if perhaps {
                draft.whole_sheet(&heading.context, text);
            }
            self.heading = Some(heading);
            self.beside.clear();
            self.headed = !perhaps;
            return draft.leave_out(text, &line.place, if perhaps { Why::NoPrice } else { Why::Heading });
        }
        let said = Context::of(text, false);
        // `In EUR/kg vergüten wir:`
        if text.ends_with(':')
            && said.unit.is_some()
            && (!said.currencies.is_empty()
                || self.heading.as_ref().is_some_and(|heading| heading.context.unit.is_some()))
        {
            self.heading = Some(Heading::of_prices(text, said.clone()));
        }
        draft.whole_sheet(&said, text);
        self.unread = Some(text.to_string()).filter(|text| !dated && may_be_a_name(text));
        draft.leave_out(text, &line.place, Why::NoPrice);
    }

    /// Takes in headings that stand beside each other: `COPPER (per lb)      ALUMINUM (per lb)`.
    fn side_by_side(&mut self, scan: &Scan<'_>, text: &str) -> bool {
        let pieces = pieces(scan);
        let known =
            |piece: &&str| is_heading(piece) && VOCABULARY.has_within(heading_name(piece), Use::Group);
        if pieces.len() < 2 || !pieces.iter().all(known) {
            return false;
        }
        let heading = |piece: &&str| Heading {
            name: heading_name(piece).to_string(),
            source: text.to_string(),
            context: Context::of(piece, false),
            charge: charge(piece),
            group: Some(heading_name(piece).to_string()),
            ..Heading::default()
        };
        self.beside = pieces.iter().map(heading).collect();
        self.heading = self.beside.first().cloned();
        true
    }
}
