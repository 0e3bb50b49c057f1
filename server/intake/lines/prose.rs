//! Prices within sentences: `We are paying €7.85 a kilo for bright wire and €7.50 for heavy copper. Brass is back to €4.`

use std::ops::Range;

use super::MOST_NAME_WORDS;
use super::remark::tells_of_the_past;
use crate::context::speaks_of_goods;
use crate::draft::{Charge, Draft};
use crate::number::looks_like_price;
use crate::parts::{HeadingWithin, charge, chosen, is_cut_short};
use crate::price::{self, PriceText, Strength};
use crate::scan::{Kind, Scan};
use crate::tier::Within;
use crate::vocabulary::{Use, VOCABULARY};

/// Letters of a word that ends a sentence; a shorter one may be cut short, unless so many words have gone before it.
const SHORTEST_END: usize = 4;
const LONG_SENTENCE: usize = 8;

/// The text's sentences, each cut so that a name stands with its own price, in order. `None` where nothing has to be cut:
/// names in front of their prices, in one sentence, are told apart by these.
pub(super) fn told<'t>(text: &'t str, draft: &Draft<'_>) -> Option<Vec<Vec<&'t str>>> {
    let scan = Scan::of(text);
    let prices: Vec<PriceText> = chosen(&scan, price::prices(&scan, draft.marks), false)
        .into_iter()
        .filter(|price| price.strength > Strength::Weak)
        .collect();
    let sentences = sentences(&scan);
    if prices.is_empty() || prices.len() < 2 && sentences.len() < 2 {
        return None;
    }
    let within = |sentence: &Range<usize>| {
        let first = prices.partition_point(|price| price.first < sentence.start);
        first..prices.partition_point(|price| price.first < sentence.end)
    };
    let behind = prices[0].first > 0 && prices.iter().any(|price| names_its_goods_behind(&scan, price));
    if sentences.len() < 2 && !behind && pays_before(&scan, 0..prices[0].first).is_none() {
        return None;
    }
    let mut told = Vec::with_capacity(sentences.len());
    for sentence in &sentences {
        let mut items = Vec::new();
        let prices = &prices[within(sentence)];
        let whole = scan.between(sentence.start, sentence.end);
        // `Weighbridge ticket $25 for non customers.` is not of a name behind its price.
        let service = prices.len() == 1 && VOCABULARY.has_within(whole, Use::Service);
        if prices.is_empty()
            || service
            || tells_of_the_past(whole, &Scan::of(whole), draft.marks)
            || has_a_heading(whole)
        {
            items.push(whole);
        } else {
            cut(&scan, sentence, prices, draft, &mut items);
        }
        told.push(items);
    }
    (told.iter().flatten().count() > 1).then_some(told)
}

/// Cuts one sentence at its prices.
fn cut<'t>(
    scan: &Scan<'t>,
    sentence: &Range<usize>,
    prices: &[PriceText],
    draft: &Draft<'_>,
    items: &mut Vec<&'t str>,
) {
    let mut from = opening(scan, sentence, &prices[0]);
    for pair in prices.windows(2) {
        let [price, next] = pair else { continue };
        let between = price.last..next.first;
        // `under 100 kg €2.80, above €3.00`; `now €4.10, was €3.90`.
        let tier = Within::find(scan, draft.marks, between.start, between.end).is_some();
        // `… is $6.20 and I can do $3.40 on the Cat6 offcuts`
        if tier || !names_something(scan, between.clone()) && !names_its_goods_behind(scan, next) {
            continue;
        }
        let (end, begin) = match (names_its_goods_behind(scan, price), names_its_goods_behind(scan, next)) {
            (true, true) => (before_marks(scan, &between), next.first),
            (true, false) => separator(scan, &between).map_or((next.first, next.first), |at| (at, at + 1)),
            (false, true) => (price.last, next.first),
            // `€130 a tonne over the weighbridge and heavy steel is €185`
            (false, false) if separates(scan, price.last) => (price.last, price.last),
            (false, false) => separator(scan, &between).map_or((price.last, price.last), |at| (at, at + 1)),
        };
        items.push(scan.between(from, end));
        from = without_lead(scan, begin, next.first);
    }
    items.push(scan.between(from, sentence.end));
}

/// `Boards: server 4.40, desktop 2.10`: what stands before the colon completes each name behind it.
fn has_a_heading(sentence: &str) -> bool {
    let first = sentence.split(' ').next().unwrap_or_default();
    !VOCABULARY.has(first, Use::If)
        && sentence.split_once(": ").is_some_and(|(before, _)| HeadingWithin::of(before).is_some())
}

/// Where what the first price of a sentence is of begins.
fn opening(scan: &Scan<'_>, sentence: &Range<usize>, price: &PriceText) -> usize {
    let charges = charge(scan.between(sentence.start, price.first)) != Charge::No;
    if names_its_goods_behind(scan, price) {
        return if charges { sentence.start } else { price.first };
    }
    let colon = (sentence.start..price.first).rev().find(|&at| scan.word(at) == ":");
    let named = |colon: &usize| names_something(scan, colon + 1..price.first);
    let begin = colon.filter(named).map_or(sentence.start, |colon| colon + 1);
    let begin = pays_before(scan, begin..price.first).map_or(begin, |pays| pays + 1);
    // `Enfin, au détail, les tours complètes`
    let comma = (begin..price.first).rev().find(|&at| scan.word(at) == "," && scan.is(at + 1, Use::Lead));
    let begin = comma.map_or(begin, |comma| comma + 1);
    without_lead(scan, begin, price.first)
}

/// The last word for paying in front of a name: `This week we are paying bright wire at €7.85`.
fn pays_before(scan: &Scan<'_>, before: Range<usize>) -> Option<usize> {
    // `Buying today (USD per lb): server boards 4.55` is a list with its heading.
    let begin = before.clone().rev().find(|&at| matches!(scan.word(at), ":" | ";")).unwrap_or(before.start);
    let pays = (begin..before.end).rev().find(|&at| scan.is(at, Use::Paying));
    pays.filter(|pays| names_something(scan, pays + 1..before.end))
}

/// `€7.85 a kilo for bright wire`
fn names_its_goods_behind(scan: &Scan<'_>, price: &PriceText) -> bool {
    // `monitors we charge $8 apiece for and tubes`
    let named = scan.may_name(price.last + 1) && !scan.is(price.last + 1, Use::SpanTo);
    // `I can do $3.40 on the Cat6 offcuts`, but `up £120 on last week`
    // `we are at $2.60/lb on desktop boards`
    let pays = price
        .first
        .checked_sub(1)
        .is_some_and(|before| scan.is(before, Use::BeforePrice) || scan.word(before) == "at");
    let of_goods = || {
        let over =
            |at: &usize| !matches!(scan.kind(*at), Some(Kind::Word | Kind::Fact)) || scan.is_currency(*at);
        let end = price.last + 1 + MOST_NAME_WORDS;
        let end = (price.last + 1..end).find(over).unwrap_or(end);
        speaks_of_goods(scan.between(price.last + 1, end))
    };
    named && (scan.is(price.last, Use::For) || scan.word(price.last) == "on" && pays && of_goods())
}

fn names_something(scan: &Scan<'_>, mut within: Range<usize>) -> bool {
    within.any(|at| {
        let idle = [Use::Filler, Use::For, Use::Was, Use::Lead, Use::BeforePrice, Use::SpanTo];
        scan.kind(at) == Some(Kind::Word) && !idle.iter().any(|is| scan.is(at, *is)) && !scan.is_currency(at)
    })
}

fn separates(scan: &Scan<'_>, at: usize) -> bool {
    matches!(scan.word(at), "," | ";") || scan.is(at, Use::SpanTo)
}

/// The first mark, or else the first word, that parts two items.
fn separator(scan: &Scan<'_>, between: &Range<usize>) -> Option<usize> {
    let mark = between.clone().find(|&at| matches!(scan.word(at), "," | ";"));
    mark.or_else(|| between.clone().find(|&at| scan.is(at, Use::SpanTo)))
}

/// The end of what stands before the `and` in front of a price.
fn before_marks(scan: &Scan<'_>, between: &Range<usize>) -> usize {
    let joins = |at: usize| separates(scan, at) || scan.is(at, Use::Lead) || scan.is(at, Use::Filler);
    between.clone().rev().find(|&at| !joins(at)).map_or(between.start, |at| at + 1)
}

/// Without the articles, and the like, in front of a name.
fn without_lead(scan: &Scan<'_>, from: usize, to: usize) -> usize {
    let leads = |at: usize| separates(scan, at) || scan.is(at, Use::Lead) && scan.spaced(at + 1);
    (from..to).find(|&at| !leads(at)).unwrap_or(from)
}

/// The tokens of each sentence, with the mark at its end.
fn sentences(scan: &Scan<'_>) -> Vec<Range<usize>> {
    let length = scan.tokens.len();
    let ends = |from: usize, at: usize| {
        let mark = matches!(scan.word(at), "." | "!" | "?") && scan.spaced(at + 1);
        let capital = scan.word(at + 1).starts_with(char::is_uppercase);
        let whole = at.checked_sub(1).is_some_and(|before| match scan.kind(before) {
            Some(Kind::Word) => {
                let word = scan.word(before);
                let letters = word.chars().count();
                // `per tube TV. Freon appliances must be drained`
                let initials = letters > 1
                    && word.chars().all(char::is_uppercase)
                    && scan.word(at + 1).contains(char::is_lowercase);
                let spoken = at - from > LONG_SENTENCE && word.chars().all(char::is_lowercase);
                (letters >= SHORTEST_END || initials || letters > 1 && spoken)
                    && !VOCABULARY.has(word, Use::Label)
                    && !(is_cut_short(word) && VOCABULARY.unit(word).is_none())
                    || scan.is_currency(before)
                    || scan.is(before, Use::Cents)
            }
            Some(Kind::Number | Kind::Fact | Kind::Close) => true,
            _ => false,
        });
        // `PSU whole 0.60 leads on. Hard drives`
        let behind_price = (at.saturating_sub(3)..at)
            .any(|at| scan.kind(at) == Some(Kind::Number) && looks_like_price(scan.word(at)))
            && at.checked_sub(1).is_some_and(|before| {
                scan.kind(before) == Some(Kind::Word)
                    && scan.word(before).len() > 1
                    && !is_cut_short(scan.word(before))
            });
        let whole = whole || behind_price && scan.word(at + 1).contains(char::is_lowercase);
        mark && capital && whole
    };
    let mut sentences = Vec::new();
    let mut from = 0;
    for at in 0..length {
        if ends(from, at) {
            sentences.push(from..at + 1);
            from = at + 1;
        }
    }
    if from < length {
        sentences.push(from..length);
    }
    sentences
}
