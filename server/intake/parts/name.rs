//! The name within some tokens of a line, without what stands around it.

use crate::context::speaks_of_goods;
use crate::number::{is_serial, looks_like_price};
use crate::price::{UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};

/// Words of a condition behind the one that opens it.
const FEWEST_OF_A_CONDITION: usize = 3;

/// A name without the item's number and the unit that stand beside it in columns of their own.
pub(super) fn without_columns(
    scan: &Scan<'_>,
    first: usize,
    last: usize,
) -> (usize, usize, Option<UnitText>) {
    let gap = |at: usize| scan.kind(at) == Some(Kind::Gap);
    // A gap before the price may be there, or have been taken as its sign.
    let end = if last > first && gap(last - 1) { last - 1 } else { last };
    let start = (first..end).rev().find(|&at| gap(at) && !matches!(scan.word(at), ":" | "=" | ";"));
    let unit = start.and_then(|gap| {
        let (unit, next) = unit_words(scan, gap + 1)?;
        (next == end && gap > first).then_some((gap, unit))
    });
    let (last, unit) = unit.map_or((last, None), |(gap, unit)| (gap, Some(unit)));
    let code = (first..last)
        .find(|&at| gap(at))
        .filter(|&at| at > first && is_blank(scan.word(at)) && is_item_number(scan.between(first, at)));
    // `020 Perfil`
    let serial = first == 0 && is_serial(scan.word(first));
    let named = |at: usize| (at + 1..last).any(|i| scan.kind(i) == Some(Kind::Word));
    let long = scan.word(first).len() >= 5 && scan.word(first).bytes().all(|b| b.is_ascii_digit());
    match code {
        Some(at) if first == 0 && named(at) => (at + 1, last, unit),
        _ if first == 0 && (long || serial) && scan.spaced(1) && named(first) => (first + 1, last, unit),
        _ => (first, last, unit),
    }
}

fn is_blank(gap: &str) -> bool {
    gap.chars().all(char::is_whitespace)
}

/// Where the name ends before what it has to be like: `laptop boards if there's no plastic on them`.
pub(super) fn before_condition(scan: &Scan<'_>, first: usize, last: usize) -> usize {
    let says = |at: usize| (1..=3).any(|length| VOCABULARY.has(scan.between(at, at + length), Use::If));
    let words = |from: usize| (from..last).filter(|&at| scan.kind(at) == Some(Kind::Word)).count();
    let small = |at: usize| scan.word(at).starts_with(char::is_lowercase);
    let begins = (first + 1..last).find(|&at| small(at) && says(at) && words(at) > FEWEST_OF_A_CONDITION);
    let plain = |at: usize| !(first..at).any(|at| looks_like_price(scan.word(at)));
    begins.filter(|&at| speaks_of_goods(scan.between(first, at)) && plain(at)).unwrap_or(last)
}

/// Where the name ends before a bare number in a column of its own, as of last week: `Ferraille lourde    205    200`.
pub(super) fn before_number(scan: &Scan<'_>, first: usize, last: usize) -> Option<usize> {
    let gap = |at: usize| scan.kind(at) == Some(Kind::Gap) && is_blank(scan.word(at));
    let number = last.checked_sub(2).filter(|&at| gap(at + 1))?;
    let alone = number > first + 1 && scan.kind(number) == Some(Kind::Number) && gap(number - 1);
    // `Stainless    304    40`; no alloy is numbered below 200.
    let digits = scan.word(number);
    let alloy = digits.len() == 3 && !digits.starts_with('1') && speaks_of_goods(digits);
    (alone && !alloy).then(|| number - 1)
}

/// `F02`, `100010`, `A-12`.
fn is_item_number(text: &str) -> bool {
    let letters = text.chars().filter(|c| c.is_alphabetic()).count();
    let digits = text.chars().filter(char::is_ascii_digit).count();
    digits >= 2 && letters <= 3 && text.chars().all(|c| c.is_alphanumeric() || c == '-')
}

/// The text of these tokens without list marks, separators and filling words at its ends.
pub(crate) fn trimmed<'t>(scan: &Scan<'t>, first: usize, last: usize) -> Option<&'t str> {
    let (mut first, mut last) = (first, last);
    // `Grade A` ends with a name's own letter.
    let is_small = |at: usize| !scan.word(at).contains(char::is_uppercase);
    // `We charge for: CRT monitors` names what stands behind the charge.
    if let Some(length) = [4, 3, 2].into_iter().find(|length| {
        first + length < last && VOCABULARY.has(scan.between(first, first + length), Use::Charge)
    }) {
        first += length;
    }
    // `…, Koper 1 7,95 en Koper 2`
    let joins = |at: usize| at > 0 && scan.is(at, Use::SpanTo) && is_small(at) && scan.spaced(at + 1);
    while first < last && (!(names(scan, first) || opens_name(scan, first, last)) || joins(first)) {
        first += 1;
    }
    first = behind_what_is_spoken(scan, first, last);
    while first < last {
        // `CRT: we charge` names what stands before the charge.
        let charge = [4, 3, 2, 1].into_iter().find(|&length| {
            // One word alone may be the name's own, unless it is set apart from it.
            let apart = || {
                last > first + 1
                    && !matches!(scan.kind(last - 2), Some(Kind::Word | Kind::Number | Kind::Fact))
            };
            last > first + length
                && VOCABULARY.has(scan.between(last - length, last), Use::Charge)
                && (length > 1 || apart())
        });
        match charge {
            Some(length) => {
                last -= length;
                // `Röhren nehmen wir nur gegen Zuzahlung`.
                while last > first + 1 && scan.is(last - 1, Use::Sentence) {
                    last -= 1;
                }
            }
            // `Armoured from 1.50`: from that price on.
            None if last > first + 1 && (opens_span(scan, last - 1) || leads_on(scan, last - 1)) => last -= 1,
            // `i dischi rigidi li pago 0,80`
            None if last > first + 1 && scan.is(last - 1, Use::BeforePrice) && is_small(last - 1) => {
                last -= 1
            }
            None if names(scan, last - 1) || closes_name(scan, first, last) => break,
            None => last -= 1,
        }
    }
    // `Tube TVs are a $15 fee`: the sentence goes on to its price.
    if last > first + 2 && scan.word(last - 1) == "a" && scan.is(last - 2, Use::Filler) {
        last -= 2;
    }
    // `304` is a name where nothing else is.
    let alloy = first == 0
        && last == 1
        && (3..=4).contains(&scan.word(0).len())
        && scan.word(0).bytes().all(|b| b.is_ascii_digit());
    // `acima de 200 kg paga 2,75`
    let spans = (first..last).all(|at| scan.is(at, Use::SpanFrom));
    let only_verbs = spans
        || first > 0
            && (first..last).all(|at| scan.is(at, Use::BeforePrice) || scan.is(at, Use::Paying))
            && (first..last).all(is_small);
    let named =
        alloy || !only_verbs && (first..last).any(|i| matches!(scan.kind(i), Some(Kind::Word | Kind::Fact)));
    let mut text = scan.between(first, last);
    // `L'inox`
    if let Some(rest) = ["l'", "L'", "l’", "L’"].iter().find_map(|article| text.strip_prefix(article))
        && speaks_of_goods(rest)
    {
        text = rest;
    }
    // `1. Copper`, `2) Brass`, `100    Lead`: the number of the line, and no part of the name.
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    if digits > 0
        && let Some(rest) =
            text[digits..].strip_prefix(['.', ')', ' ', '\t']).filter(|rest| rest.starts_with([' ', '\t']))
    {
        text = rest.trim_start();
    }
    (named && !text.is_empty()).then_some(text)
}

/// `Complete pc's gaan voor € 0,35`, `Placas a 4,50 y las 3,20`: no name ends so.
fn leads_on(scan: &Scan<'_>, at: usize) -> bool {
    let small = scan.word(at).chars().all(char::is_lowercase) && scan.word(at).len() > 1;
    small && scan.is(at, Use::For) && scan.is(at, Use::Lead)
}

/// `Armoured from 1.50`, `stainless we pay between £820 and £860`.
fn opens_span(scan: &Scan<'_>, at: usize) -> bool {
    let spans = scan.is(at, Use::SpanFrom);
    let paid = at.checked_sub(1).is_some_and(|before| {
        [Use::Filler, Use::Paying, Use::BeforePrice].iter().any(|is| scan.is(before, *is))
    });
    spans && (scan.is(at, Use::TierFrom) || paid || !scan.is(at, Use::Lead))
}

/// Where the name begins: `Uh, he said the eighty percent wire`. What is left has to be of the trade.
fn behind_what_is_spoken(scan: &Scan<'_>, first: usize, last: usize) -> usize {
    let spoken = |at: usize| scan.is(at, Use::Spoken) && (scan.spaced(at + 1) || scan.word(at + 1) == ",");
    // `ciao Marta, pc completi`
    if scan.is(first, Use::Greeting) {
        let comma = (first + 1..last.min(first + 4)).find(|&at| scan.word(at) == ",");
        return comma.filter(|&at| speaks_of_goods(scan.between(at, last))).map_or(first, |at| at + 1);
    }
    if !scan.is(first, Use::Spoken) {
        return first;
    }
    let around = |at: usize| {
        let joins = [Use::Lead, Use::Filler, Use::For, Use::Sentence].iter().any(|is| scan.is(at, *is));
        matches!(scan.word(at), "," | "." | "…") || spoken(at) || joins && scan.kind(at) == Some(Kind::Word)
    };
    let begin = (first..last).find(|&at| !around(at)).unwrap_or(first);
    if speaks_of_goods(scan.between(begin, last)) { begin } else { first }
}

pub(super) fn names(scan: &Scan<'_>, at: usize) -> bool {
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
