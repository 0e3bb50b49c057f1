//! Several items in one line, and lines whose price is a bare number.

use std::collections::HashSet;

use super::MOST_NAME_WORDS;
use super::asked::on_request;
use crate::context::{Context, is_heading, speaks_of_goods};
use crate::document::Line;
use crate::draft::{Charge, Draft};
use crate::firm::is_contact;
use crate::number::{self, Marks};
use crate::parts::{charge, starts_with};
use crate::price::{self, PriceText, Strength};
use crate::scan::{Kind, Scan};
use crate::tier::Within;
use crate::vocabulary::{Use, VOCABULARY};

/// So many lines with marked prices, and more than have bare numbers, make a list of prices of all of them.
const FEWEST_MARKED: usize = 2;
/// So many items of goods, each with a bare number, are a list of prices.
const FEWEST_GOODS: usize = 4;
/// So many names with their prices below them make a list of such.
const FEWEST_BELOW: usize = 4;
/// Bytes of a line that is nothing but a price: `€ 1.250,00 / 100 kg`.
const LONGEST_PRICE: usize = 32;
/// Bytes of one of several items in a line.
const LONGEST_ITEM: usize = 120;
/// Digits and marks of a bare price.
const LONGEST_BARE: usize = 6;

/// The items of a line that lists several, each with its price, between semicolons; what introduces them is an item of
/// its own: `Buying today (USD/lb): server boards 4.55; laptop boards 3.02; CPUs - ask`.
pub(super) fn listed<'t>(text: &'t str, draft: &Draft<'_>) -> Option<Vec<&'t str>> {
    if let Some(items) = listed_by_commas(text) {
        return Some(items);
    }
    let items: Vec<&str> = text.split(';').map(str::trim).filter(|item| !item.is_empty()).collect();
    let priced = |item: &&&str| !price::prices(&Scan::of(item), draft.marks).is_empty();
    if items.len() < 3 || items.iter().filter(priced).count() < 2 {
        return None;
    }
    let (first, rest) = items.split_first()?;
    let introduced = first.split_once(": ").filter(|(before, after)| {
        !before.contains(|c: char| c.is_ascii_digit())
            && price::prices(&Scan::of(before), draft.marks).is_empty()
            && !after.is_empty()
    });
    let mut all = match introduced {
        Some((before, after)) => vec![before, after],
        None => vec![*first],
    };
    all.extend(rest);
    Some(all)
}

/// `(2/3) motherboards 5.50`: a long message that was sent in pieces numbers them.
pub(super) fn without_number_of_message(text: &str) -> &str {
    let numbered = text.strip_prefix('(').and_then(|rest| rest.split_once(')')).filter(|(number, rest)| {
        let digits = |part: &str| part.len() == 1 && part.bytes().all(|byte| byte.is_ascii_digit());
        number.split_once('/').is_some_and(|(nth, of)| digits(nth) && digits(of) && nth <= of)
            && !rest.is_empty()
    });
    numbered.map_or(text, |(_, rest)| rest.trim_start())
}

/// Items that each end with their bare number, and what is said behind the last: `perfil 41. Lámina 31, sin tornillos`, `bright
/// 8,450 / heavy 8,250 / lagged on request`.
pub(super) fn listed_by_bare_numbers(text: &str) -> Option<Vec<&str>> {
    let mut items = Vec::new();
    let mut from = 0;
    let asks = |item: &str| on_request(item, &Scan::of(item)).is_some();
    for (at, mark) in text.match_indices([',', '.', ';', '/']) {
        let stands_apart = mark != "/" || text[..at].ends_with(' ');
        if !stands_apart || !text[at + mark.len()..].starts_with(' ') {
            continue;
        }
        let item = text[from..at].trim();
        if item.len() > LONGEST_ITEM {
            return None;
        }
        let ends = item.ends_with(|c: char| c.is_ascii_digit()) || mark == "/" && asks(item);
        if ends {
            items.push(item);
            from = at + mark.len();
        }
    }
    let rest = text[from..].trim();
    let told = |item: &str| item.contains(|c: char| c.is_ascii_digit()) || from > 0 && asks(item);
    items.extend(Some(rest).filter(|rest| told(rest)));
    let charged = |item: &str| charge(item) == Charge::Sure && Scan::of(item).numbers().count() == 1;
    let numbered = |item: &&&str| {
        ends_with_its_only_number(&Scan::of(item))
            || item.ends_with(|c: char| c.is_ascii_digit()) && charged(item)
    };
    let (numbers, asked): (Vec<&&str>, Vec<&&str>) = items.iter().partition(numbered);
    let all_asked = asked.iter().all(|item| !item.contains(|c: char| c.is_ascii_digit()) && asks(item));
    (from > 0 && numbers.len() > asked.len() && all_asked).then_some(items)
}

/// Of items that were listed together, those that end with a bare number where others have a price that is marked: `milbera
/// 34,50; kawalkowa 33; pobielana 31,50`.
pub(super) fn among_marked(items: &[&str]) -> Vec<String> {
    let marked = items.iter().filter(|item| price::is_told(item)).count();
    let bare =
        items.iter().filter(|item| ends_with_its_only_number(&Scan::of(item)) && !price::is_told(item));
    if marked < FEWEST_MARKED { Vec::new() } else { bare.map(|item| item.to_string()).collect() }
}

/// Whether so many items name goods that nothing else has to say their numbers are prices.
pub(super) fn are_goods(items: &[&str]) -> bool {
    let goods = items.iter().filter(|item| speaks_of_goods(item)).count();
    let whole = |item: &&str| Scan::of(item).numbers().all(|number| !number::looks_like_price(number));
    goods >= FEWEST_GOODS && goods * 4 >= items.len() * 3 && items.iter().all(whole)
}

/// The same with commas, of bare numbers, where the introduction says what they are: `Ferrous by the gross ton: heavy
/// melt 225, tin 168, plate 240`.
fn listed_by_commas(text: &str) -> Option<Vec<&str>> {
    let (before, after) = text.split_once(": ")?;
    let introduces = !Context::of(before, false).is_empty() && is_heading(before);
    let items: Vec<&str> = after.split(", ").map(str::trim).collect();
    let numbered = |item: &&str| {
        let scan = Scan::of(item);
        let numbers = scan.numbers().count();
        let last = scan.tokens.len().checked_sub(1).and_then(|last| scan.kind(last));
        numbers == 1
            && last == Some(Kind::Number)
            && scan.numbers().all(|number| !number::looks_like_price(number))
            && item.chars().any(char::is_alphabetic)
    };
    (introduces && items.len() >= 2 && items.iter().all(numbered))
        .then(|| [before].into_iter().chain(items).collect())
}

/// The lines that end with a bare number in the midst of a list whose other lines have a price that is marked as one, by
/// decimals or a sign.
pub(super) fn among_prices(lines: &[Line], marks: Marks) -> HashSet<String> {
    let mut found = HashSet::new();
    let mut list: Vec<(&str, bool)> = Vec::new();
    let mut close = |list: &mut Vec<(&str, bool)>| {
        let marked = list.iter().filter(|(_, marked)| *marked).count();
        let bare = list.len() - marked;
        if bare > 0 && marked >= FEWEST_MARKED && marked > bare {
            // What opens a list may be a heading: `Grade 2`, `Stainless 304`.
            let opens = |text: &str| text.split_whitespace().filter(|word| speaks_of_goods(word)).count() < 2;
            let inner = list.iter().enumerate().filter(|(at, (text, _))| *at > 0 || !opens(text));
            let inner = inner.map(|(_, item)| item).filter(|(_, marked)| !marked);
            found.extend(inner.map(|(text, _)| text.to_string()));
        }
        list.clear();
    };
    for line in lines {
        let text = line.text.trim();
        let scan = Scan::of(text);
        let prices = price::prices(&scan, marks);
        let hours = (0..scan.tokens.len()).any(|at| scan.is(at, Use::Hours));
        let span = |price: &PriceText| price.high.is_some() && price.last == scan.tokens.len() && !hours;
        // `Cast alloy : 1 390 à 1 450 as it is clean`
        let behind_a_gap = |price: &PriceText| {
            price.first > 1
                && scan.kind(price.first - 1) == Some(Kind::Gap)
                && speaks_of_goods(scan.between(0, price.first - 1))
                && !starts_with(&scan, Use::Remark)
                && !hours
        };
        if prices.iter().any(|price| price.strength > Strength::Weak && price.first > 0) {
            list.push((text, true));
        } else if ends_with_its_only_number(&scan)
            || prices.len() == 1 && span(&prices[0])
            || prices.first().is_some_and(behind_a_gap)
        {
            list.push((text, false));
        } else if on_request(text, &scan).is_none() {
            close(&mut list);
        }
    }
    close(&mut list);
    found
}

/// Without the prices that are only told of beside another one: `€ 7,55 (7,45)  koperdraad blank`, where the name stands
/// behind both, what somebody noted in brackets, `4.10  [Halvorsen 4.00]`, and what was paid before, `245 (last week 255)`.
pub(super) fn without_asides(scan: &Scan<'_>, marks: Marks, mut prices: Vec<PriceText>) -> Vec<PriceText> {
    let opens = |at: usize| scan.kind(at) == Some(Kind::Open);
    if let [first, second, ..] = prices.as_mut_slice()
        && first.first == 0
        && first.last == second.first
        && opens(second.first)
    {
        first.last = second.last;
        prices.remove(1);
    }
    let mut before: Option<usize> = None;
    prices.retain(|price| {
        // `£5.70, painted too. was £5.65`
        let was = before.is_some() && scan.is(price.first.saturating_sub(1), Use::WasPaid);
        let bracketed = |last: usize, marks: [&str; 2]| {
            let open = (last..price.first).rev().find(|&at| scan.word(at) == marks[0])?;
            (open..price.first).all(|at| scan.word(at) != marks[1]).then_some(open)
        };
        let noted = before.is_some_and(|last| {
            let past = bracketed(last, ["(", ")"])
                .is_some_and(|open| VOCABULARY.has_within(scan.between(open + 1, price.first), Use::Past));
            let close = || (price.last..scan.tokens.len()).find(|&at| scan.word(at) == "]");
            // `4.10 [over 100 lb 4.40]` is a price, too.
            let aside = bracketed(last, ["[", "]"]).and_then(|open| Some((open, close()?)));
            was || past || aside.is_some_and(|(open, close)| Within::find(scan, marks, open, close).is_none())
        });
        if !noted {
            before = Some(price.last);
        }
        !noted
    });
    prices
}

/// Whether a line is a bare number in a column of its own, with another one in brackets at the most, and a name behind it:
/// `4,150   Motherboards, mixed`, `4,150 (4,100)   Motherboards`.
pub(super) fn opens_with_its_only_number(scan: &Scan<'_>) -> bool {
    let sign = usize::from(matches!(scan.kind(0), Some(Kind::Dash | Kind::Minus)));
    let bracketed = scan.kind(sign + 1) == Some(Kind::Open)
        && scan.kind(sign + 2) == Some(Kind::Number)
        && scan.kind(sign + 3) == Some(Kind::Close);
    let behind = if bracketed { sign + 4 } else { sign + 1 };
    let words = scan.tokens.iter().filter(|token| token.kind == Kind::Word).count();
    let year = scan.word(sign).parse::<u32>().is_ok_and(|year| (1990..2100).contains(&year));
    scan.kind(sign) == Some(Kind::Number)
        && !year
        && !is_contact(scan.text)
        && on_request(scan.text, scan).is_none()
        && scan.kind(behind) == Some(Kind::Gap)
        && scan.word(behind).chars().all(char::is_whitespace)
        && scan.numbers().count() == 1 + usize::from(bracketed)
        && scan.word(sign).len() <= LONGEST_BARE
        && (1..=MOST_NAME_WORDS).contains(&words)
}

/// Whether the lines that begin with a bare number are a list of prices: the sheet says what they are in, and they do not
/// count the lines.
pub(super) fn begin_with_prices(lines: &[Line], marks: Marks) -> bool {
    let number = |line: &Line| -> Option<i64> {
        let scan = Scan::of(line.text.trim());
        let number = scan.numbers().next().filter(|_| opens_with_its_only_number(&scan))?;
        number.chars().filter(char::is_ascii_digit).collect::<String>().parse().ok()
    };
    let marked = |line: &&Line| price::is_within(&line.text, marks);
    let numbers: Vec<i64> = lines.iter().filter_map(number).collect();
    let counted = numbers.windows(2).filter(|pair| pair[1] == pair[0] + 1).count();
    let in_money = |line: &Line| {
        let said = Context::of(&line.text, false);
        let speaks = price::prices(&Scan::of(&line.text), marks).is_empty();
        speaks && said.unit.is_some() && (!said.currencies.is_empty() || said.cents)
    };
    numbers.len() >= FEWEST_GOODS
        && counted * 2 < numbers.len()
        && lines.iter().filter(marked).count() < numbers.len()
        && lines.iter().any(in_money)
}

/// Whether a line is a few words and a number behind them, as a price is that nothing marks.
pub(super) fn ends_with_its_only_number(scan: &Scan<'_>) -> bool {
    let end = scan.tokens.len().saturating_sub(1);
    // `PSU boards 22 to 26`
    let joins = |at: usize| scan.kind(at) == Some(Kind::Dash) || scan.is(at, Use::Range);
    let is_range = end > 2 && scan.kind(end - 2) == Some(Kind::Number) && joins(end - 1);
    let last = if is_range { end - 2 } else { end };
    // `Stainless 316 135`: the alloy belongs to the name.
    let is_alloy = |at: usize| {
        scan.kind(at) == Some(Kind::Number) && scan.word(at).len() == 3 && speaks_of_goods(scan.word(at))
    };
    // `304 ........ 40`
    let apart = last == 2 && scan.kind(1) == Some(Kind::Gap) || last == 1 && scan.spaced(1);
    let only_alloy = apart && is_alloy(0);
    let alloy = last > 1 && is_alloy(last - 1) || only_alloy;
    // `#2 381`
    let words =
        scan.tokens[..last].iter().filter(|token| matches!(token.kind, Kind::Word | Kind::Fact)).count();
    let hours = (0..scan.tokens.len()).any(|at| scan.is(at, Use::Hours))
        // `clean ext 88` is extrusion.
        || last.checked_sub(1).is_some_and(|before| {
            scan.is(before, Use::PhoneLabel) && !speaks_of_goods(scan.between(0, before))
        });
    scan.kind(last) == Some(Kind::Number)
        && scan.kind(end) == Some(Kind::Number)
        && scan.numbers().count() == 1 + usize::from(alloy) + usize::from(is_range)
        && scan.word(end).len() <= LONGEST_BARE
        && (only_alloy || (1..=MOST_NAME_WORDS).contains(&words))
        && !hours
        && !starts_with(scan, Use::Remark)
}

/// Lines that end with the number of their alloy and stand right above their prices: `Stainless steel 316`, then `2.20`, where
/// other names have their prices below them too.
pub(super) fn names_above_prices(lines: &[Line], marks: Marks) -> HashSet<String> {
    let is_price = |line: &Line| {
        let text = line.text.trim();
        if text.len() > LONGEST_PRICE {
            return false;
        }
        let scan = Scan::of(text);
        let whole = |price: &PriceText| price.first == 0 && price.last == scan.tokens.len();
        let prices = price::prices(&scan, marks);
        matches!(prices.as_slice(), [only] if only.strength > Strength::Weak && whole(only))
    };
    let are_prices: Vec<bool> = lines.iter().map(is_price).collect();
    let below: Vec<usize> = (1..lines.len()).filter(|&at| are_prices[at] && !are_prices[at - 1]).collect();
    if below.len() < FEWEST_BELOW {
        return HashSet::new();
    }
    let names = |line: &Line| {
        let scan = Scan::of(&line.text);
        let last = scan.word(scan.tokens.len().saturating_sub(1));
        ends_with_its_only_number(&scan) && last.len() > 2 && last.bytes().all(|byte| byte.is_ascii_digit())
    };
    let above = below.into_iter().map(|at| &lines[at - 1]);
    above.filter(|line| names(line)).map(|line| line.text.trim().to_string()).collect()
}
