//! Lines with words in the place of a price: “call”, “POA”, “no charge”.

use super::remark::is_only_of_days;
use crate::context::{is_all_of_goods, speaks_of_goods};
use crate::draft::{Draft, DraftPrice};
use crate::firm::is_firm;
use crate::parts::{Part, starts_with, trimmed};
use crate::price::{self, Strength};
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};

/// Digits of an address with its telephone.
const FEWEST_FIGURES: usize = 10;
/// Tokens of words in the place of a price, as `P.O.A.` has them.
const LONGEST_ASKING: usize = 6;

/// A name with “call”, “POA” or “no charge” in the place of its price.
pub(super) fn on_request(text: &str, scan: &Scan<'_>) -> Option<Part> {
    // `Rottami Canneto s.n.c.` is no scrap that is taken at no charge.
    // `ZA des Saulnières, 00120 Montreval — Tél. 01 99 00 47 12` is where the yard is.
    let figures = || text.chars().filter(char::is_ascii_digit).count();
    let names_goods = || {
        let head = text.split([':', '|', '–', '—']).next().unwrap_or_default();
        let head = head.split(" - ").next().unwrap_or_default();
        is_all_of_goods(head) || speaks_of_goods(head) && !head.contains(',')
    };
    if is_firm(text) || figures() >= FEWEST_FIGURES && !names_goods() {
        return None;
    }
    let end = before_the_past(scan);
    let end =
        if matches!(scan.kind(end.checked_sub(1)?), Some(Kind::Other | Kind::Close)) { end - 1 } else { end };
    if let Some(part) = asked_for(scan, end) {
        return Some(part);
    }
    // `Phone chargers` are goods.
    if let Some(part) = on_request_first(scan, end).filter(|_| !is_all_of_goods(text)) {
        return Some(part);
    }
    if let Some(part) = left_blank(scan) {
        return Some(part);
    }
    let before = |end: usize| {
        // `Tantalums (loose)  POA`: the words begin behind the bracket.
        let opens = |length: &usize| scan.kind(end - length) == Some(Kind::Word);
        (1..=LONGEST_ASKING.min(end)).rev().filter(opens).find_map(|length| {
            let words = scan.between(end - length, end);
            if VOCABULARY.has(words, Use::OnRequest) {
                Some((end - length, DraftPrice::OnRequest))
            } else {
                VOCABULARY.has(words, Use::Free).then_some((end - length, DraftPrice::Free))
            }
        })
    };
    let Some((mut start, price)) = before(end) else { return on_request_and_more(scan, end) };
    // `Call for quote  Call`, as a page has it with its button.
    // `bring em in, call for price`
    let goes_on = |at: &usize| scan.kind(*at) == Some(Kind::Gap) || scan.word(*at) == ",";
    // `da quotare con foto`; one word alone may be the name's own.
    let right_before = |start: usize| before(start).filter(|(earlier, _)| start - earlier > 1);
    while let Some((earlier, _)) =
        start.checked_sub(1).filter(goes_on).map_or_else(|| right_before(start), before)
    {
        start = earlier;
    }
    let name = trimmed(scan, 0, start).filter(|name| !is_only_of_days(&Scan::of(name)))?;
    // `Call for prices` and `Other items: please call` name nothing.
    let remark = starts_with(scan, Use::Remark)
        || speaks_of_more(name)
        || starts_with(scan, Use::WholeSheet) && name.split_whitespace().count() > 1;
    let parts = |at: usize| matches!(scan.kind(at), Some(Kind::Gap | Kind::Dash | Kind::Open | Kind::Other));
    let apart = start > 0 && (parts(start - 1) || parts(start));
    let short = name.split_whitespace().count() <= 4;
    if remark || text.ends_with('?') {
        return None;
    }
    // `Trimmed fingers - market, e-mail for quote`
    if apart || short { Some(Part::asking(name, price)) } else { on_request_and_more(scan, end) }
}

/// `For tantalum capacitors please ring Judith for a price.`, `Please call me on tantalum capacitors, they move about.`
fn asked_for(scan: &Scan<'_>, end: usize) -> Option<Part> {
    let length = |at: usize| {
        (1..=LONGEST_ASKING).rev().find(|length| {
            at + length <= end && VOCABULARY.has(scan.between(at, at + length), Use::OnRequest)
        })
    };
    let on = |at: &usize| matches!(scan.word(*at), "on" | "about") || scan.is(*at, Use::For);
    let (from, to) = match scan.is(0, Use::For) {
        true => (1, (2..end).find(|&at| length(at).is_some())?),
        false => {
            let behind = length(0).filter(|length| *length > 1).filter(on)?;
            (behind + 1, (behind + 1..end).find(|&at| matches!(scan.word(at), "," | ".")).unwrap_or(end))
        }
    };
    let name = trimmed(scan, from, to).filter(|name| is_all_of_goods(name))?;
    Some(Part::asking(name, DraftPrice::OnRequest))
}

/// Where a line ends before what brackets at its end tell of the past: `Ceramic CPUs .... call    (was call)`.
pub(super) fn before_the_past(scan: &Scan<'_>) -> usize {
    let end = scan.tokens.len();
    let opens = (0..end).rev().find(|&at| scan.kind(at) == Some(Kind::Open));
    let past = |open: usize| {
        let inside = scan.between(open + 1, end);
        scan.is(open + 1, Use::Was) || VOCABULARY.has_within(inside, Use::Past)
    };
    opens.filter(|&open| open > 0 && scan.kind(end - 1) == Some(Kind::Close) && past(open)).unwrap_or(end)
}

/// `ALUM RADS         ---`: a dash in the place of the price, or a rule to write it on.
fn left_blank(scan: &Scan<'_>) -> Option<Part> {
    let last = scan.tokens.len().checked_sub(1)?;
    if scan.kind(last) == Some(Kind::Gap) && scan.word(last).contains("___") {
        let name = trimmed(scan, 0, last).filter(|name| speaks_of_goods(name))?;
        return Some(Part::asking(name, DraftPrice::OnRequest));
    }
    let dashed = |at: &usize| matches!(scan.kind(*at), Some(Kind::Dash | Kind::Minus));
    let dashes = (0..scan.tokens.len()).rev().take_while(dashed).count();
    let gap = scan.tokens.len().checked_sub(dashes + 1).filter(|&at| scan.kind(at) == Some(Kind::Gap))?;
    let name = trimmed(scan, 0, gap).filter(|name| speaks_of_goods(name))?;
    let named = scan.kind(0).is_some_and(|kind| matches!(kind, Kind::Word | Kind::Fact | Kind::Hash));
    (1..=3).contains(&dashes).then(|| Part::asking(name, DraftPrice::OnRequest)).filter(|_| named)
}

/// `Catalytic converters    market, bring them in`: the words in the place of the price go on.
fn on_request_and_more(scan: &Scan<'_>, end: usize) -> Option<Part> {
    if let Some(part) = on_request_within(scan, end) {
        return Some(part);
    }
    let somebody = |at: usize| scan.is(at, Use::OnRequest) && asks_somebody(scan, at, end);
    let gap = (1..end).find(|&at| {
        scan.kind(at) == Some(Kind::Gap)
            || scan.kind(at) == Some(Kind::Dash) && scan.spaced(at)
            || scan.word(at) == "," && somebody(at + 1)
    })?;
    let asks = (1..=LONGEST_ASKING).any(|length| {
        let behind = gap + 1 + length;
        // `call Wade at 555-0163`, `market, bring them in`, `ask at the counter`.
        let over = behind < end
            && (scan.kind(behind) == Some(Kind::Gap)
                || matches!(scan.word(behind), "," | ";" | "(" | "-" | "/"));
        let calls = length == 1 && (scan.is(gap + 1, Use::PhoneLabel) || somebody(gap + 1));
        let in_cell = scan.kind(gap) == Some(Kind::Gap) && end - gap <= LONGEST_ASKING;
        (over || calls || in_cell && behind < end)
            && VOCABULARY.has(scan.between(gap + 1, behind), Use::OnRequest)
    });
    let name = trimmed(scan, 0, gap).filter(|name| name.split_whitespace().count() <= 5)?;
    let remark = starts_with(scan, Use::Remark)
        || speaks_of_more(name)
        || somebody(gap + 1) && starts_with(scan, Use::WholeSheet);
    (asks && end - gap <= 12 && !remark).then(|| Part::asking(name, DraftPrice::OnRequest))
}

/// Whether a name holds words of a remark, but for those of what is not there: `phones no battery ask me`.
fn speaks_of_more(name: &str) -> bool {
    let there = name.split_once(" no ").map_or(name, |(there, _)| there);
    VOCABULARY.has_within(there, Use::Remark)
}

/// `ring Tony`, `ask in the office`, `consultar con mi hermana`
fn asks_somebody(scan: &Scan<'_>, at: usize, end: usize) -> bool {
    let of_letters = || (at + 1..end).all(|word| scan.kind(word) == Some(Kind::Word));
    (2..=4).contains(&(end - at)) && of_letters() && !is_all_of_goods(scan.between(at + 1, end))
}

/// `Ceramic processors ask for price, send pictures`: several such words right behind a short name, and a comma or dash.
fn on_request_within(scan: &Scan<'_>, end: usize) -> Option<Part> {
    let dash = |at: usize| scan.kind(at) == Some(Kind::Dash) && scan.spaced(at) && scan.spaced(at + 1);
    let comma = (3..end).find(|&at| matches!(scan.word(at), "," | ";") || dash(at))?;
    let start =
        (1..comma).find(|&at| comma - at >= 2 && VOCABULARY.has(scan.between(at, comma), Use::OnRequest))?;
    let name = trimmed(scan, 0, start).filter(|name| name.split_whitespace().count() <= 5)?;
    let remark = starts_with(scan, Use::Remark) || speaks_of_more(name);
    (!remark).then(|| Part::asking(name, DraftPrice::OnRequest))
}

/// `POA  Silver contacts`, among lines that begin with their price.
fn on_request_first(scan: &Scan<'_>, end: usize) -> Option<Part> {
    let (length, price) = (1..=LONGEST_ASKING.min(end)).rev().find_map(|length| {
        let words = scan.between(0, length);
        if VOCABULARY.has(words, Use::OnRequest) {
            Some((length, DraftPrice::OnRequest))
        } else {
            VOCABULARY.has(words, Use::Free).then_some((length, DraftPrice::Free))
        }
    })?;
    // `Free drop-off Saturdays` names nothing.
    let named = |name: &&str| name.split_whitespace().count() <= 4 && speaks_of_goods(name);
    let name = trimmed(scan, length, end).filter(named)?;
    let remark = starts_with(scan, Use::Remark);
    (!remark).then(|| Part::asking(name, price))
}

/// What is on request behind the last price of a line that lists several: `… hdd .80 / ceramic cpu call. Good thru Fri.`
pub(super) fn asked_behind(scan: &Scan<'_>, from: usize) -> Option<Part> {
    if !(scan.kind(from) == Some(Kind::Slash) || matches!(scan.word(from), "," | ";")) {
        return None;
    }
    let ends = |at: usize| scan.word(at) == "." && (scan.spaced(at + 1) || at + 1 == scan.tokens.len());
    let end = (from + 1..scan.tokens.len()).find(|&at| ends(at)).unwrap_or(scan.tokens.len());
    let length = (1..=LONGEST_ASKING).rev().find(|length| {
        end > from + 1 + length && VOCABULARY.has(scan.between(end - length, end), Use::OnRequest)
    })?;
    let name = trimmed(scan, from + 1, end - length)?;
    let short = name.split_whitespace().count() <= 4 && !speaks_of_more(name);
    short.then(|| Part::asking(name, DraftPrice::OnRequest))
}

/// `…, gold RAM 90.00, ceramic CPUs call, drives 4.20`: the line cut before and behind each item that is on request, the comma
/// or semicolon with what it ends.
pub(super) fn asked_amid<'t>(text: &'t str, draft: &Draft<'_>) -> Option<Vec<&'t str>> {
    let scan = Scan::of(text);
    let marks = |at: &usize| matches!(scan.word(*at), "," | ";") && scan.spaced(at + 1);
    let ends: Vec<usize> = (0..scan.tokens.len()).filter(marks).collect();
    let asks = |start: usize, end: usize| {
        let end = if scan.word(end - 1) == "." { end - 1 } else { end };
        (1..=3).any(|length| {
            // `tel.`, with no number behind it
            let phone = || length == 1 && scan.is(end - length, Use::PhoneLabel);
            start + length < end
                && (phone() || VOCABULARY.has(scan.between(end - length, end), Use::OnRequest))
                && speaks_of_goods(scan.between(start, end - length))
        })
    };
    let mut items = Vec::new();
    let mut from = 0;
    for pair in ends.windows(2) {
        let (start, end) = (pair[0] + 1, pair[1] + 1);
        if asks(start, pair[1]) {
            items.extend((from < start).then(|| scan.between(from, start)));
            items.push(scan.between(start, end));
            from = end;
        }
    }
    let rest = scan.between(from, scan.tokens.len());
    let priced = |text: &str| price::is_within(text, draft.marks);
    let amid = items.first().is_some_and(|first| priced(first)) && priced(rest);
    items.push(rest);
    amid.then_some(items)
}

/// `Ceramic CPUs  CALL  Ribbon wire  .60`: two lists side by side, where the left one has words in the place of its price.
pub(super) fn asked_beside<'t>(text: &'t str, draft: &Draft<'_>) -> Option<[&'t str; 2]> {
    // Hardly any line has them.
    if !VOCABULARY.has_within(text, Use::OnRequest) {
        return None;
    }
    let scan = Scan::of(text);
    let gap = |at: usize| scan.kind(at) == Some(Kind::Gap) && scan.word(at).chars().all(char::is_whitespace);
    let gaps: Vec<usize> = (0..scan.tokens.len()).filter(|&at| gap(at)).collect();
    let asks = gaps.windows(2).find(|pair| {
        VOCABULARY.has(scan.between(pair[0] + 1, pair[1]), Use::OnRequest)
            && trimmed(&scan, 0, pair[0]).is_some_and(|name| name.chars().any(char::is_alphabetic))
    })?;
    let (left, right) = (scan.between(0, asks[1]), scan.between(asks[1] + 1, scan.tokens.len()));
    let named = right.chars().take_while(|c| !c.is_whitespace()).any(char::is_alphabetic);
    let before =
        price::prices(&Scan::of(left), draft.marks).iter().any(|price| price.strength > Strength::Weak);
    let priced = price::prices(&Scan::of(right), draft.marks)
        .iter()
        .any(|price| price.first > 0 && price.strength > Strength::Weak);
    (named && priced && !before).then_some([left, right])
}

/// `Please ring`, `Free drop-off, no payment`: what a line says that is nothing but words in the place of a price.
pub(super) fn only_words_for_a_price(text: &str, scan: &Scan<'_>) -> Option<DraftPrice> {
    if VOCABULARY.has(text, Use::OnRequest) {
        return Some(DraftPrice::OnRequest);
    }
    let end = scan.tokens.len();
    let free = |from: usize, to: usize| from < to && VOCABULARY.has(scan.between(from, to), Use::Free);
    let ends = (1..=3.min(end)).any(|length| free(end - length, end));
    (free(0, end) || free(0, 1) && ends).then_some(DraftPrice::Free)
}
