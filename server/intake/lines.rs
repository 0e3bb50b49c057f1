//! Loose lines to rows: a name and its prices on one line, in either order, under headings.

use rust_decimal::dec;

use crate::context::{Context, heading_name, is_heading};
use crate::document::Line;
use crate::draft::{Charge, Draft, DraftPrice, DraftRow, second_price, wording};
use crate::price::{self, PriceText, Strength};
use crate::scan::{Kind, Scan};
use crate::sheet::{Doubt, Place, Why};
use crate::tier::{TierText, tier_at};
use crate::vocabulary::{Use, VOCABULARY};

/// A line with more prices than this is no line of a price sheet.
const MOST_PRICES: usize = 12;

/// Reads lines one after another, under the heading that was seen last.
#[derive(Debug, Default)]
pub(crate) struct LineReader {
    heading: Option<Heading>,
    /// Tiers that a line of column names gave for the prices below it.
    tiers: Vec<TierText>,
}

#[derive(Debug, Clone)]
struct Heading {
    name: String,
    source: String,
    context: Context,
    /// The heading that stood before it, which this one may complete: `Copper`, then `Bare bright`, then tiers.
    above: Option<String>,
}

impl LineReader {
    pub fn read(&mut self, line: &Line, draft: &mut Draft<'_>) {
        let text = line.text.trim();
        let scan = Scan::of(text);
        let prices = chosen(&scan, price::prices(&scan, draft.marks), self.expects_numbers());
        if starts_with(&scan, Use::Total) {
            return draft.leave_out(text, &line.place, Why::Total);
        }
        if prices.len() > MOST_PRICES {
            return draft.leave_out(text, &line.place, Why::TooLong);
        }
        if prices.is_empty() {
            return self.without_price(text, &scan, line, draft);
        }
        let parts = parts(&scan, &prices, draft);
        if parts.is_empty() {
            return draft.leave_out(text, &line.place, Why::NoName);
        }
        let charge = charge(text);
        for part in parts {
            self.part(part, text, &line.place, charge, draft);
        }
    }

    /// Whether a heading has said what bare numbers below it are.
    fn expects_numbers(&self) -> bool {
        self.heading.as_ref().is_some_and(|heading| !heading.context.is_empty())
    }

    fn part(&mut self, part: Part, text: &str, place: &Place, charge: Charge, draft: &mut Draft<'_>) {
        let (name, group, source) = match (part.name, &self.heading) {
            (Some(name), heading) => (name, heading.as_ref().map(|h| h.name.clone()), text.to_string()),
            // A line that holds only a tier and its price belongs to the name above it.
            (None, Some(heading)) => {
                (heading.name.clone(), heading.above.clone(), format!("{} / {text}", heading.source))
            }
            (None, None) => return draft.leave_out(text, place, Why::NoName),
        };
        let Some(wording) = wording(&name) else {
            return draft.leave_out(text, place, Why::TooLong);
        };
        let named = Context { unit: Context::of(&wording, false).unit, ..Context::default() };
        let context = self.heading.as_ref().map_or(named.clone(), |heading| named.within(&heading.context));
        let by_header = self.tiers.len() == part.prices.len() && part.prices.len() > 1;
        for (i, (price, tier)) in part.prices.into_iter().enumerate() {
            let tier = tier.or_else(|| by_header.then(|| self.tiers[i]));
            draft.rows.push(DraftRow {
                wording: wording.clone(),
                group: group.clone(),
                price,
                tier,
                note: part.note.clone(),
                place: place.clone(),
                source: source.clone(),
                doubts: if by_header { Vec::new() } else { part.doubts.clone() },
                context: context.clone(),
                charge,
                in_cell: false,
            });
            if !part.all_tiers && !by_header {
                break;
            }
        }
    }

    fn without_price(&mut self, text: &str, scan: &Scan<'_>, line: &Line, draft: &mut Draft<'_>) {
        if let Some(part) = on_request(text, scan) {
            return self.part(part, text, &line.place, Charge::No, draft);
        }
        let tiers = tiers_in(scan, draft);
        if tiers.len() > 1 {
            self.tiers = tiers;
            draft.whole_sheet(&Context::of(text, false));
            return draft.leave_out(text, &line.place, Why::ColumnNames);
        }
        draft.look_for_date(text);
        if is_column_names(scan) {
            draft.whole_sheet(&Context::of(text, true));
            return draft.leave_out(text, &line.place, Why::ColumnNames);
        }
        // Before the first price, a title looks like a heading; only the trade's words, or marks, make it one.
        let marked = text.ends_with(':') || text.starts_with(['=', '*', '#', '-']);
        let known = VOCABULARY.has_within(heading_name(text), Use::Group);
        if is_heading(text) && (known || marked || !draft.rows.is_empty()) {
            let context = Context::of(text, false);
            let above = self.heading.take().map(|heading| heading.name);
            self.heading = Some(Heading {
                name: heading_name(text).to_string(),
                source: text.to_string(),
                context,
                above,
            });
            self.tiers.clear();
            return draft.leave_out(text, &line.place, Why::Heading);
        }
        draft.whole_sheet(&Context::of(text, false));
        draft.leave_out(text, &line.place, Why::NoPrice);
    }
}

/// A name with its prices, as one line may hold several.
#[derive(Debug)]
struct Part {
    /// `None` where the line holds only a tier and a price.
    name: Option<String>,
    prices: Vec<(DraftPrice, Option<TierText>)>,
    /// Each price has a tier of its own.
    all_tiers: bool,
    note: Option<String>,
    doubts: Vec<Doubt>,
}

/// Of the numbers that could be prices, those that are: the surest kind that occurs.
///
/// Decimals right beside a marked price count with it (`3.80 3.95/lb`); elsewhere they are part of the name. A bare
/// number counts only as the last of the line, set apart from the name or under a heading that says what numbers are.
fn chosen(scan: &Scan<'_>, all: Vec<PriceText>, expects_numbers: bool) -> Vec<PriceText> {
    let strongest = all.iter().map(|p| p.strength).max();
    match strongest {
        None => all,
        Some(Strength::Weak) => {
            let remark = starts_with(scan, Use::Remark);
            let last = all.into_iter().next_back().filter(|last| {
                let apart = last.first > 0
                    && (scan.kind(last.first - 1) == Some(Kind::Gap)
                        || (scan.kind(last.first - 1) == Some(Kind::Dash) && scan.spaced(last.first)));
                let ends = !(last.last..scan.tokens.len()).any(|i| {
                    matches!(scan.kind(i), Some(Kind::Word | Kind::Number | Kind::Plus | Kind::Fact))
                });
                let year = last.low >= dec!(1990) && last.low < dec!(2100) && last.low.is_integer();
                let unit_only = last.unit.is_some();
                !remark
                    && ends
                    && last.first > 0
                    && (apart || expects_numbers)
                    && (!year || expects_numbers)
                    && (!unit_only || apart)
            });
            last.into_iter().collect()
        }
        Some(strongest) => {
            let sure = |i: usize| all[i].strength == strongest;
            let touch = |i: usize, j: usize| all[i].last == all[j].first;
            let beside = |i: usize| {
                all[i].strength == Strength::Decimals
                    && (i > 0 && sure(i - 1) && touch(i - 1, i)
                        || i + 1 < all.len() && sure(i + 1) && touch(i, i + 1))
            };
            let keep: Vec<bool> = (0..all.len()).map(|i| sure(i) || beside(i)).collect();
            all.into_iter().zip(keep).filter_map(|(price, keep)| keep.then_some(price)).collect()
        }
    }
}

/// Cuts the line at its prices: what stands between two of them is a name, a tier, or nothing.
fn parts(scan: &Scan<'_>, prices: &[PriceText], draft: &Draft<'_>) -> Vec<Part> {
    let end = scan.tokens.len();
    let opening = Between::of(scan, 0, prices[0].first, draft);
    let names_first = opening.name.is_some() || opening.tier.is_some();
    let mut parts: Vec<Part> = Vec::new();
    let mut pending = names_first.then_some(opening);
    for (i, price) in prices.iter().enumerate() {
        let next = prices.get(i + 1).map_or(end, |next| next.first);
        let behind = Between::of(scan, price.last, next, draft);
        let before = if names_first { pending.take() } else { Some(Between::default()) };
        let last = i + 1 == prices.len();
        if names_first {
            add(&mut parts, price, before.unwrap_or_default());
            if last {
                if let Some(part) = parts.last_mut() {
                    part.finish(behind);
                }
            } else {
                pending = Some(behind);
            }
        } else {
            add(&mut parts, price, behind);
        }
    }
    if !names_first {
        parts.retain(|part| part.name.is_some());
    }
    parts
}

/// Adds a price with what stands beside it: to a new part where that is a name, else to the last part.
fn add(parts: &mut Vec<Part>, price: &PriceText, beside: Between) {
    let entry = (DraftPrice::Text(price.clone()), beside.tier);
    match parts.last_mut() {
        Some(part) if beside.name.is_none() => {
            let first = part.prices.first().map(|(price, _)| price);
            if entry.1.is_none() {
                part.all_tiers = false;
                if let Some(DraftPrice::Text(first)) = first {
                    part.doubts.extend(second_price(first, price));
                    part.doubts.dedup();
                }
            }
            part.prices.push(entry);
        }
        _ => parts.push(Part {
            name: beside.name,
            all_tiers: entry.1.is_some(),
            prices: vec![entry],
            note: None,
            doubts: Vec::new(),
        }),
    }
}

impl Part {
    /// Takes in what stands behind the last price of the line: a tier, or a note.
    fn finish(&mut self, behind: Between) {
        if let Some((_, tier @ None)) = self.prices.last_mut() {
            *tier = behind.tier;
            self.all_tiers = self.prices.iter().all(|(_, tier)| tier.is_some());
        }
        self.note = behind.name;
    }
}

/// What stands between two prices, or between a price and an end of the line.
#[derive(Debug, Default)]
struct Between {
    name: Option<String>,
    tier: Option<TierText>,
}

impl Between {
    fn of(scan: &Scan<'_>, first: usize, last: usize, draft: &Draft<'_>) -> Between {
        let (mut first, mut last) = (first, last);
        let mut tier = None;
        for at in first..last {
            if let Some((found, next)) =
                tier_at(scan, draft.marks, at, false).filter(|(_, next)| *next <= last)
            {
                tier = Some(found);
                // The tier stands at one end of the name, or is all there is.
                if trimmed(scan, next, last).is_none() {
                    last = at;
                } else if trimmed(scan, first, at).is_none() {
                    first = next;
                }
                break;
            }
        }
        Between { name: trimmed(scan, first, last).map(str::to_string), tier }
    }
}

/// The text of these tokens without list marks, separators and filling words at its ends.
fn trimmed<'t>(scan: &Scan<'t>, first: usize, last: usize) -> Option<&'t str> {
    let (mut first, mut last) = (first, last);
    while first < last && !(names(scan, first) || opens_name(scan, first, last)) {
        first += 1;
    }
    while first < last && !(names(scan, last - 1) || closes_name(scan, first, last)) {
        last -= 1;
    }
    let named = (first..last).any(|i| matches!(scan.kind(i), Some(Kind::Word | Kind::Fact)));
    let mut text = scan.between(first, last);
    // `1. Copper`, `2) Brass`: the number of the line, and no part of the name.
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    if digits > 0
        && let Some(rest) = text[digits..].strip_prefix(['.', ')']).filter(|rest| rest.starts_with(' '))
    {
        text = rest.trim_start();
    }
    (named && !text.is_empty()).then_some(text)
}

fn names(scan: &Scan<'_>, at: usize) -> bool {
    match scan.kind(at) {
        Some(Kind::Word) => !scan.is(at, Use::Filler) && !VOCABULARY.has(scan.word(at), Use::Cents),
        Some(Kind::Number | Kind::Fact) => true,
        _ => false,
    }
}

/// `(clean) copper` and `#1 copper` begin before their first word.
fn opens_name(scan: &Scan<'_>, at: usize, last: usize) -> bool {
    match scan.kind(at) {
        Some(Kind::Hash) => matches!(scan.kind(at + 1), Some(Kind::Fact | Kind::Number)),
        Some(Kind::Open) => (at + 1..last).any(|i| scan.kind(i) == Some(Kind::Close)) && names(scan, at + 1),
        _ => false,
    }
}

/// `copper (clean)` ends behind its last word.
fn closes_name(scan: &Scan<'_>, first: usize, last: usize) -> bool {
    scan.kind(last - 1) == Some(Kind::Close) && (first..last).any(|i| scan.kind(i) == Some(Kind::Open))
}

/// A name with “call”, “POA” or “no charge” in the place of its price.
fn on_request(text: &str, scan: &Scan<'_>) -> Option<Part> {
    let end = scan.tokens.len();
    let end =
        if matches!(scan.kind(end.checked_sub(1)?), Some(Kind::Other | Kind::Close)) { end - 1 } else { end };
    let (start, price) = (1..=4.min(end)).rev().find_map(|length| {
        let words = scan.between(end - length, end);
        if VOCABULARY.has(words, Use::OnRequest) {
            Some((end - length, DraftPrice::OnRequest))
        } else {
            VOCABULARY.has(words, Use::Free).then_some((end - length, DraftPrice::Free))
        }
    })?;
    let name = trimmed(scan, 0, start)?;
    // `Call for prices` and `Other items: please call` name nothing.
    let remark = starts_with(scan, Use::Remark) || VOCABULARY.has_within(name, Use::Remark);
    let apart =
        start > 0 && matches!(scan.kind(start - 1), Some(Kind::Gap | Kind::Dash | Kind::Open | Kind::Other));
    let short = name.split_whitespace().count() <= 4;
    (!remark && (apart || short) && !text.ends_with('?')).then(|| Part {
        name: Some(name.to_string()),
        prices: vec![(price, None)],
        all_tiers: false,
        note: None,
        doubts: Vec::new(),
    })
}

/// Whether words of the line say that the outlet charges. One word may belong to the name (`charge controller`).
pub(crate) fn charge(text: &str) -> Charge {
    let normal = crate::wording::normal_wording(text);
    let words: Vec<&str> = normal.split(' ').collect();
    let runs = |length: usize| words.windows(length).any(|run| VOCABULARY.has(&run.join(" "), Use::Charge));
    if runs(2) || runs(3) {
        Charge::Sure
    } else if runs(1) {
        Charge::Perhaps
    } else {
        Charge::No
    }
}

fn starts_with(scan: &Scan<'_>, is: Use) -> bool {
    (1..=2).any(|length| {
        let words = scan.between(0, length);
        scan.kind(0) == Some(Kind::Word) && VOCABULARY.has(words, is)
    })
}

/// All tiers of a line of column names, in order.
fn tiers_in(scan: &Scan<'_>, draft: &Draft<'_>) -> Vec<TierText> {
    let mut tiers = Vec::new();
    let mut at = 0;
    while at < scan.tokens.len() {
        match tier_at(scan, draft.marks, at, true) {
            Some((tier, next)) => {
                tiers.push(tier);
                at = next.max(at + 1);
            }
            None => at += 1,
        }
    }
    tiers
}

/// `Item … Price … Unit`: every piece between gaps is the name of a column.
fn is_column_names(scan: &Scan<'_>) -> bool {
    let pieces: Vec<&str> = (0..=scan.tokens.len())
        .filter(|&i| i == scan.tokens.len() || scan.kind(i) == Some(Kind::Gap))
        .scan(0, |from, to| {
            let piece = scan.between(*from, to);
            *from = to + 1;
            Some(piece)
        })
        .filter(|piece| !piece.is_empty())
        .collect();
    let is_column = |piece: &str| VOCABULARY.column(piece).is_some() || !Context::of(piece, true).is_empty();
    pieces.len() > 1
        && pieces.iter().all(|piece| is_column(piece))
        && pieces.iter().any(|piece| VOCABULARY.column(piece).is_some())
}
