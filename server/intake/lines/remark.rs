//! Lines and names that speak to the reader, and name nothing that is sold.

use std::ops::Range;

use trade::mass::MassUnit;
use trade::money::PriceUnit;

use super::MOST_NAME_WORDS;
use crate::context::{Context, speaks_of_goods};
use crate::draft::DraftPrice;
use crate::firm::is_contact;
use crate::number::{Marks, looks_like_price};
use crate::parts::{Part, starts_with};
use crate::price::{self, PriceText, Strength, UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal;

/// Words behind a price that are looked at for what it is paid for.
const MOST_SERVICE_WORDS: usize = 3;

/// So many words in quotation marks are what somebody says, and no name.
const FEWEST_QUOTED_WORDS: usize = 6;

/// Digits of a page's number.
const LONGEST_PAGE: usize = 3;

/// Whether a line that no heading looks like may still be the name of a price below it: `6063 Extrusion, bare`.
pub(super) fn may_be_a_name(text: &str) -> bool {
    let words = text.split_whitespace().count();
    words <= MOST_NAME_WORDS
        && text.chars().any(char::is_alphabetic)
        && !is_contact(text)
        && !text.ends_with(['.', '!', '?', ':'])
}

/// Whether a name is nothing but a month and its year, or a day.
pub(crate) fn is_only_a_date(scan: &Scan<'_>) -> bool {
    let month = |at: usize| scan.is(at, Use::Month);
    (0..scan.tokens.len()).any(month)
        && (0..scan.tokens.len()).all(|at| scan.kind(at) != Some(Kind::Word) || month(at))
}

/// Whether what stands before a price is a sentence to the reader, and no name: `Terms: cash up to`, `We pay by bank
/// above`.
pub(crate) fn is_remark(name: &str) -> bool {
    let scan = Scan::of(name);
    let normal = normal(name);
    let says = |is: Use| VOCABULARY.is_within(&normal, is);
    let words = scan.tokens.iter().filter(|token| token.kind == Kind::Word).count();
    let speaks = (0..scan.tokens.len()).filter(|&at| scan.is(at, Use::Sentence)).count();
    // `Checks only over`, `3 % fee on wires under`: what follows is a limit, and no price.
    let end = scan.tokens.len();
    let limits = words >= 2
        && [2, 1].into_iter().any(|length| {
            // `5 ft and under` is part of a name.
            let joined = end > length
                && scan.kind(end - length - 1) == Some(Kind::Word)
                && !scan.is(end - length - 1, Use::Filler);
            joined && VOCABULARY.has(scan.between(end - length, end), Use::Limit)
        });
    let first = scan.word(0);
    let remark = words >= 2
        && scan.kind(0) == Some(Kind::Word)
        && starts_with(&scan, Use::Remark)
        && (words >= 6 || !says(Use::Group));
    // `LME-Notiz von gestern Kupfer`
    let market = first.split('-').all(|part| VOCABULARY.has(part, Use::Market))
        || says(Use::Quoted)
        || words > 2 && names_an_exchange(&scan);
    let remark = remark || market && words >= 2;
    let of_all = VOCABULARY.has(first, Use::WholeSheet) && !Context::of(name, false).is_empty();
    // `Prices per lb, CAD first, USD in brackets at 1.39`
    let told_per = scan.is(0, Use::Per) && words > 2 && unit_words(&scan, 1).is_some();
    // `Gate 8 til 4`
    let until = end > 2 && number_of(&scan, end - 2) && VOCABULARY.has(scan.word(end - 1), Use::Hours);
    let service = says(Use::Service);
    // `Seg a sex 8h às 17h | …`.
    let time = |at: usize| {
        let hour = matches!(scan.word(at + 1), "h" | "am" | "pm" | "Uhr" | "uhr");
        scan.kind(at) == Some(Kind::Fact) && (hour || scan.word(at).contains(['h', ':']))
    };
    // `ph 555 0102, open 7 til`
    let number = |at: usize| number_of(&scan, at);
    let of_days =
        |at: usize| scan.kind(at) != Some(Kind::Word) || is_of_days(&scan, at) || scan.is(at, Use::TierTo);
    let opens = (0..end).any(|at| scan.is(at, Use::Opening) && number(at + 1) && (at + 2..end).all(of_days));
    let hours = opens || scan.is(0, Use::Hours) && (1..end).any(time);
    // `la mémoire était` is told of before.
    let was = words >= 2 && scan.is(end - 1, Use::WasPaid);
    remark
        || was
        || limits
        || service
        || hours
        || of_all
        || told_per
        || until
        || is_only_a_date(&scan)
        || speaks >= 2 && words >= 4
        || words > 14
}

fn number_of(scan: &Scan<'_>, at: usize) -> bool {
    matches!(scan.kind(at), Some(Kind::Number | Kind::Fact))
}

/// `Cotización LME del cobre del día 23`, but `Bare bright (83% of COMEX)`.
pub(crate) fn names_an_exchange(scan: &Scan<'_>) -> bool {
    // In a text that is all in capitals, any word looks like the name of one.
    (0..scan.tokens.len()).any(|at| is_exchange(scan.word(at)))
        && scan.text.contains(char::is_lowercase)
        && !scan.text.contains('%')
}

/// `LME`, `COMEX`: a word for a market, in capitals as its name is.
fn is_exchange(word: &str) -> bool {
    VOCABULARY.has(word, Use::Market) && word.chars().all(char::is_uppercase)
}

/// `Gold $4,011.20/oz   Silver $49.80/oz`: what the metals cost on an exchange.
pub(super) fn are_quotes_of_metals(parts: &[Part]) -> bool {
    let ounces =
        [MassUnit::Ounce, MassUnit::TroyOunce].map(|unit| Some(UnitText::Unit(PriceUnit::Mass(unit))));
    let by_the_ounce = |(price, _): &(DraftPrice, _)| matches!(price, DraftPrice::Text(price) if ounces.contains(&price.unit));
    let quote = |part: &Part| {
        part.prices.iter().all(by_the_ounce)
            && part.name.as_ref().is_some_and(|name| VOCABULARY.has(name, Use::Precious))
    };
    // `Cobre LME 8.940 $/t ▲ 0,6 %`
    let of_exchange = |part: &Part| {
        let last =
            part.name.as_ref().and_then(|name| name.split_whitespace().next_back()).unwrap_or_default();
        is_exchange(last)
    };
    parts.len() > 1 && parts.iter().all(quote) || parts.iter().any(of_exchange)
}

/// Whether a line only tells what was paid before, or is elsewhere: `Last week: server 4.20`, `Prices were 4.08 for bright
/// last week.`, `I was getting 62p at the other place`.
pub(super) fn tells_of_the_past(text: &str, scan: &Scan<'_>, marks: Marks) -> bool {
    let begins = (1..=3).any(|length| VOCABULARY.has(scan.between(0, length), Use::Past));
    // `was 7.20 last week`
    let speaks = VOCABULARY.has(scan.word(0), Use::WholeSheet) || VOCABULARY.has(scan.word(0), Use::Was);
    let whole = speaks && VOCABULARY.has_within(text, Use::Past);
    // `the other one gave 7.60 for bright last week`
    let gave = || match price::prices(scan, marks).as_slice() {
        [only] => (0..only.first).any(|at| scan.is(at, Use::Was)),
        _ => false,
    };
    let elsewhere = VOCABULARY.has_within(text, Use::Elsewhere);
    // `place over in Sorrelburg pays 6.80 on phones`, `Yard in Carrowby paying 3.60`
    let gives = || {
        let pays =
            |at: usize| scan.is(at, Use::BeforePrice) || scan.is(at, Use::Paying) || scan.word(at) == "is";
        (0..scan.tokens.len()).any(pays)
    };
    // `Our yard in Carrowby pays`
    let ours =
        || (0..scan.tokens.len()).any(|at| matches!(normal(scan.word(at)).as_ref(), "we" | "our" | "us"));
    let other = VOCABULARY.has_within(text, Use::Past) || elsewhere;
    // `Last week 4.10, this week 4.20` has a price of today.
    (begins || whole || other && gave() || elsewhere && !ours() && gives())
        && !VOCABULARY.has_within(text, Use::Present)
}

/// Whether a line with numbers is about something else than what is bought: `LME copper 3-month: $10,240`, `Exchange today 1 USD
/// = 1.39 CAD`, `Dock 3, Corliss Park, OH - 555-0186   1`.
pub(super) fn is_beside_the_list(text: &str, scan: &Scan<'_>, prices: &[PriceText]) -> bool {
    let market = VOCABULARY.has(scan.word(0), Use::Market) && scan.tokens.len() > 3;
    // The number of the page, behind a gap.
    let last = scan.tokens.len().saturating_sub(1);
    let behind_gap = last > 0 && scan.kind(last - 1) == Some(Kind::Gap) && scan.word(last).len() <= 2;
    let of_page = |price: &PriceText| price.strength == Strength::Weak && price.first == last;
    let reached = VOCABULARY.has_within(text, Use::PhoneLabel) || text.contains('@') || text.contains("www.");
    let footer = behind_gap && reached && prices.iter().all(of_page);
    market || footer || is_exchange_rate(scan) || is_legend(scan, prices) || is_a_quotation(text)
}

/// `“Fair weight, £88 for a boot load.” — Barnaby`: what a customer says of the outlet is set in quotation marks.
fn is_a_quotation(text: &str) -> bool {
    let Some(quoted) = text.strip_prefix(['“', '„', '"', '«', '»']) else { return false };
    // Whoever said it is named behind it.
    let is_somebodys = quoted.find(['”', '“', '"', '»', '«']).is_some_and(|end| {
        let (said, rest) = quoted.split_at(end);
        said.split_whitespace().count() >= FEWEST_QUOTED_WORDS
            && rest.contains(char::is_alphabetic)
            && !rest.contains(|c: char| c.is_ascii_digit())
    });
    is_somebodys || VOCABULARY.has_within(text, Use::Sentence)
}

/// Whether what stands behind a price says that it is for a service, where the name is none of goods: `20 yd $0 drop`.
pub(super) fn is_of_a_service(name: &str, note: &str) -> bool {
    let begins = note.split_whitespace().take(MOST_SERVICE_WORDS).collect::<Vec<_>>().join(" ");
    // Numbers are parts of some names: `20 yd` has none of goods.
    let named = |word: &str| word.starts_with(char::is_alphabetic) && speaks_of_goods(word);
    let service = [Use::Service, Use::Lent].iter().any(|is| VOCABULARY.has_within(&begins, *is));
    !name.split(' ').any(named) && service
}

/// `UM: LB = POUND  GT = GROSS TON 2240 LB`: what short words on the sheet stand for.
fn is_legend(scan: &Scan<'_>, prices: &[PriceText]) -> bool {
    let end = scan.tokens.len();
    let equals: Vec<usize> = (0..end).filter(|&at| scan.word(at) == "=").collect();
    // `Copper = 620 / Brass = 380` are prices.
    let of_words =
        equals.iter().all(|&at| scan.kind(at + 1) == Some(Kind::Word) || unit_words(scan, at + 1).is_some());
    equals.len() > 1 && of_words && prices.iter().all(|price| price.strength == Strength::Weak)
}

/// `1 USD = 1.39 CAD`: what is paid in is none of the two. `$4.12/lb = $9.08/kg` is one price twice.
pub(crate) fn is_exchange_rate(scan: &Scan<'_>) -> bool {
    let equals = (0..scan.tokens.len()).find(|&at| scan.word(at) == "=");
    equals.is_some_and(|equals| {
        let named = |mut tokens: Range<usize>| tokens.find_map(|at| scan.currencies(at));
        let both = (named(0..equals), named(equals + 1..scan.tokens.len()));
        // `kr = SEK` tells what the sign stands for.
        let counted = (equals.saturating_sub(2)..=equals + 2).any(|at| number_of(scan, at));
        matches!(both, (Some(one), Some(other)) if one != other)
            && counted
            && !(0..scan.tokens.len()).any(|at| unit_words(scan, at).is_some())
    })
}

/// `- 1 -`, `Page 1 of 2`, `Seite 2`, as at the foot of a page, and `CATTAIL METALS LTD  PAGE 1` as at its head.
pub(crate) fn is_number_of_a_page(text: &str) -> bool {
    if !may_be_number_of_a_page(text) {
        return false;
    }
    let dashes = ['-', '–', '—'];
    let number = text.trim_matches(|c: char| c.is_whitespace() || dashes.contains(&c));
    let digits = |text: &str| {
        (1..=LONGEST_PAGE).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit())
    };
    let normal = normal(text);
    let mut words = normal.split(' ');
    let called = words
        .next()
        .is_some_and(|first| VOCABULARY.has(first, Use::Page) || VOCABULARY.has(first, Use::Leaf));
    // `Members are paid in May. Page 1 of 2`
    let of_many = || {
        let last: Vec<&str> = normal.rsplit(' ').take(4).collect();
        matches!(last.as_slice(), [all, _, nth, page] if digits(all) && digits(nth) && VOCABULARY.has(page, Use::Page))
    };
    called && words.next().is_some_and(digits) && words.count() <= 2
        || of_many() && !names_a_price(text)
        || text.starts_with(dashes) && text.ends_with(dashes) && digits(number)
        || ends_with_number_of_a_page(&normal, digits) && !names_a_price(text)
}

/// Whether a text is worth looking at: it begins with a dash, a word for a page or none at all, or ends with as few digits as
/// pages have.
fn may_be_number_of_a_page(text: &str) -> bool {
    let begin = text.trim_start().split(|c: char| !c.is_alphabetic()).next().unwrap_or_default();
    if begin.is_empty() {
        return text.trim_start().starts_with(['-', '–', '—']) || text.contains(char::is_alphabetic);
    }
    let end = text.trim_end_matches(|c: char| !c.is_alphanumeric());
    let digits = end.len() - end.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    (1..=LONGEST_PAGE).contains(&digits) || [Use::Page, Use::Leaf].iter().any(|is| VOCABULARY.has(begin, *is))
}

fn ends_with_number_of_a_page(normal: &str, digits: impl Fn(&str) -> bool) -> bool {
    let mut words = normal.rsplit(' ');
    let is_last = |word: Option<&str>| word.is_some_and(&digits);
    is_last(words.next()) && words.next().is_some_and(|word| VOCABULARY.has(word, Use::Page))
}

fn names_a_price(text: &str) -> bool {
    let scan = Scan::of(text);
    (0..scan.tokens.len()).any(|at| scan.kind(at) == Some(Kind::Number) && looks_like_price(scan.word(at)))
}

/// `Saturday    by appointment`: when the yard is open.
pub(crate) fn is_only_of_days(scan: &Scan<'_>) -> bool {
    let words = || (0..scan.tokens.len()).filter(|&at| scan.kind(at) == Some(Kind::Word));
    // `ma t/m vr`
    let letter = |at: usize| scan.word(at).chars().count() == 1;
    words().any(|at| scan.is(at, Use::Hours)) && words().all(|at| letter(at) || is_of_days(scan, at))
}

/// Whether the word is one of those that tell on which days, and from when to when, a yard is open.
fn is_of_days(scan: &Scan<'_>, at: usize) -> bool {
    [Use::Hours, Use::Opening, Use::BeforeDay, Use::Range, Use::SpanTo].iter().any(|is| scan.is(at, *is))
}

/// `Open 8.30 - 5 (dinner 1 to 1.45), Sat 9 - 12.30`: when the yard is open, though some of it could be prices.
pub(crate) fn tells_when_open(text: &str) -> bool {
    let said = Context::of(text, false);
    // `Mobile 085 010 0192 | Weighbridge open 8.30 - 5`
    let text =
        text.rsplit_once(" | ").filter(|(before, _)| is_contact(before)).map_or(text, |(_, text)| text);
    let scan = &Scan::of(text);
    let numbers: Vec<&str> = text
        .split(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | ':'))
        .map(|number| number.trim_matches(['.', ':']))
        .filter(|number| !number.is_empty())
        .collect();
    // `REMINDER: gate closes 4.30`
    let opening = (0..4).find(|&at| scan.is(at, Use::Opening));
    // `no cash. shut 3.30 weekdays, sat till 11.30`
    let closing = (4..scan.tokens.len()).find(|&at| {
        // `Open til 4.30`
        let next = at + 1 + usize::from(scan.is(at + 1, Use::Hours));
        scan.is(at, Use::Opening) && number_of(scan, next)
    });
    let opening = opening.or(closing);
    let one = |at: usize| scan.kind(at + 1).is_some_and(|kind| matches!(kind, Kind::Number | Kind::Fact));
    opening.is_some_and(|at| numbers.len() > 1 || one(at) && numbers.len() == 1)
        && said.unit.is_none()
        && said.currencies.is_empty()
        && numbers.iter().all(|number| is_time_of_day(number))
}

/// `8`, `12.30`, `16:00`.
fn is_time_of_day(text: &str) -> bool {
    let (hour, minute) = text.split_once(['.', ':']).unwrap_or((text, "00"));
    hour.parse::<u8>().is_ok_and(|hour| hour <= 24)
        && minute.len() == 2
        && minute.parse::<u8>().is_ok_and(|minute| minute < 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_no_prices() {
        let tells = |text: &str| tells_when_open(text);
        assert!(tells("Open 8.30 - 5 (dinner 1 to 1.45), Sat 9 - 12.30"));
        assert!(tells("Geöffnet 7:30-16:00"));
        assert!(tells("Mobile 085 010 0192 | Weighbridge open 8.30 - 5, closed 1 - 1.45"));
        assert!(!tells("Open reels 8.30"));
        assert!(!tells("Open cable 4.75 - 12.80"));
        assert!(!tells("Open cans $1.20 - 1.45"));
    }
}
