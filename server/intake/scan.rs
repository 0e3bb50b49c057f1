//! A line or cell cut into tokens: which are numbers that could be a price, and which certainly are not.

use trade::money::{Currency, PriceUnit};

use crate::date;
use crate::number::{self, Marks, is_mark};
use crate::vocabulary::{Use, Uses, VOCABULARY};

/// Tokens of one text, in order; their spans lie within it.
#[derive(Debug)]
pub(crate) struct Scan<'t> {
    pub text: &'t str,
    pub tokens: Vec<Token>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Token {
    pub kind: Kind,
    pub start: usize,
    pub end: usize,
    /// Blank space stands before it.
    pub spaced: bool,
    /// What it can do, as a word.
    uses: Uses,
    /// It can mean a currency.
    is_currency: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A number that could be a price, a mass or part of a name.
    Number,
    /// A number that is certainly no price: a percentage, time, date, fraction, size, `#2`.
    Fact,
    /// A word, or a currency sign.
    Word,
    /// What sets columns of a line apart: a tab, two blanks, dots, a bar, a colon.
    Gap,
    Dash,
    Minus,
    Slash,
    Open,
    Close,
    Plus,
    Less,
    More,
    Hash,
    Other,
}

impl<'t> Scan<'t> {
    pub fn of(text: &'t str) -> Scan<'t> {
        let mut lexer = Lexer { text, at: 0, tokens: Vec::new(), spaced: false };
        while lexer.at < text.len() {
            lexer.next();
        }
        let mut scan = Scan { text, tokens: lexer.tokens };
        scan.mark_facts();
        scan
    }

    pub fn word(&self, index: usize) -> &'t str {
        self.tokens.get(index).map_or("", |token| &self.text[token.start..token.end])
    }

    pub fn kind(&self, index: usize) -> Option<Kind> {
        self.tokens.get(index).map(|token| token.kind)
    }

    pub fn is(&self, index: usize, word: Use) -> bool {
        self.tokens.get(index).is_some_and(|token| token.uses.has(word))
    }

    /// The currencies that a token can mean.
    pub fn currencies(&self, index: usize) -> Option<&'static [Currency]> {
        if self.is_currency(index) { VOCABULARY.currencies(self.word(index)) } else { None }
    }

    pub fn is_currency(&self, index: usize) -> bool {
        self.tokens.get(index).is_some_and(|token| token.is_currency)
    }

    /// The texts of all numbers that could be a price.
    pub fn numbers(&self) -> impl Iterator<Item = &'t str> {
        let text = self.text;
        self.tokens.iter().filter(|t| t.kind == Kind::Number).map(move |t| &text[t.start..t.end])
    }

    /// The text of the tokens from `first` up to, not including, `last`.
    pub fn between(&self, first: usize, last: usize) -> &'t str {
        match (self.tokens.get(first), last.checked_sub(1).and_then(|i| self.tokens.get(i))) {
            (Some(a), Some(b)) if a.start < b.end => &self.text[a.start..b.end],
            _ => "",
        }
    }

    /// Numbers that their neighbours make something else than a price.
    fn mark_facts(&mut self) {
        self.mark_dates();
        self.mark_bare_days();
        self.mark_phones();
        self.mark_hours();
        for i in 0..self.tokens.len() {
            if self.tokens[i].kind != Kind::Number {
                continue;
            }
            let decimals = number::looks_like_price(self.word(i));
            // `No. 2`, `USB 3.0`, `#1`.
            let before = match i.checked_sub(1) {
                Some(b) if self.word(b) == "." => b.checked_sub(1),
                other => other,
            };
            let labelled = before.is_some_and(|b| self.kind(b) == Some(Kind::Hash) || self.is(b, Use::Label));
            // `Low grade 70p`.
            let is_cents = self.is(i + 1, Use::Cents) && !self.spaced(i + 1);
            let labelled = labelled && !is_cents;
            // `12 volt`, `5 pm`, `8:00`.
            let measured = self.is(i + 1, Use::Measure)
                || (self.word(i + 1) == ":" && !self.spaced(i + 1) && self.kind(i + 2) == Some(Kind::Number));
            let minutes = i >= 2 && self.word(i - 1) == ":" && self.kind(i - 2) == Some(Kind::Fact);
            if (labelled && !decimals) || measured || (minutes && !self.spaced(i)) {
                self.tokens[i].kind = Kind::Fact;
            }
        }
    }

    /// The day and the year beside the name of a month.
    fn mark_dates(&mut self) {
        for at in 0..self.tokens.len() {
            if !self.is(at, Use::Month) {
                continue;
            }
            let near = (at.saturating_sub(2)..self.tokens.len().min(at + 5)).filter(|&i| i != at);
            for i in near.collect::<Vec<_>>() {
                let digits = self.word(i).len();
                let value: u32 = self.word(i).parse().unwrap_or(0);
                let day = (1..=31).contains(&value) && digits <= 2 && i.abs_diff(at) <= 2;
                let year = (1990..2100).contains(&value) && i > at;
                // `toner out 15c`, where October is `out` in Portuguese.
                let cents = !self.spaced(i + 1) && self.is(i + 1, Use::Cents);
                if self.kind(i) == Some(Kind::Number) && !cents && (day && self.stands_by(i, at) || year) {
                    self.tokens[i].kind = Kind::Fact;
                }
            }
        }
    }

    /// Days in figures that words announce: `gültig ab 3.12.`
    fn mark_bare_days(&mut self) {
        let speaks = |token: &Token| token.uses.has(Use::Announces) || token.uses.has(Use::Title);
        if !self.tokens.iter().any(speaks) {
            return;
        }
        let days = date::bare_days(self.text);
        for token in &mut self.tokens {
            if token.kind == Kind::Number
                && days.iter().any(|day| day.start <= token.start && token.end <= day.end)
            {
                token.kind = Kind::Fact;
            }
        }
    }

    /// Whether nothing but a dot, `of` or `de` stands between a day and its month.
    fn stands_by(&self, day: usize, month: usize) -> bool {
        let (from, to) = if day < month { (day + 1, month) } else { (month + 1, day) };
        (from..to).all(|i| matches!(self.word(i), "." | "of" | "de"))
    }

    /// Numbers of telephones: `555-0144`, `(555) 010-2200`, `06 99 00 11 22`, `Tel. 600 100 200`.
    fn mark_phones(&mut self) {
        let mut at = 0;
        let mut members = Vec::new();
        while at < self.tokens.len() {
            members.clear();
            let mut next = at;
            let mut dashed = true;
            while matches!(self.kind(next), Some(Kind::Number | Kind::Fact))
                && self.word(next).bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b' '))
                && !number::looks_like_price(self.word(next))
            {
                members.push(next);
                next += 1;
                if matches!(self.kind(next), Some(Kind::Dash | Kind::Slash)) {
                    next += 1;
                } else {
                    dashed &= self.kind(next) != Some(Kind::Number);
                }
            }
            if members.is_empty() {
                at += 1;
                continue;
            }
            // One short number is none.
            if members.len() == 1 && self.word(at).len() < 3 {
                at = next.max(at + 1);
                continue;
            }
            let lengths: Vec<usize> =
                members.iter().map(|&i| self.word(i).bytes().filter(u8::is_ascii_digit).count()).collect();
            let digits: usize = lengths.iter().sum();
            let before = at
                .checked_sub(1)
                .filter(|&i| matches!(self.word(i), "." | ":" | "(" | ")" | "+"))
                .or(Some(at))
                .and_then(|i| i.checked_sub(1));
            let labelled = before.is_some_and(|i| self.is(i, Use::PhoneLabel))
                || at > 0 && self.kind(at - 1) == Some(Kind::Plus);
            let leads_with_zero = self.word(at).len() > 1
                && self.word(at).starts_with('0')
                && self.word(at).bytes().all(|b| b.is_ascii_digit());
            let span = members.len() == 2
                && (is_round_span(self.word(members[0]), self.word(members[1]))
                    || self.is_span_of_masses(members[0], members[1]));
            let american = dashed && !span && matches!(lengths.as_slice(), [3, 4] | [3, 3, 4] | [1, 3, 3, 4]);
            let phone = american
                || digits >= 6 && (labelled || leads_with_zero || members.len() == 1 && digits >= 8)
                || leads_with_zero && members.len() == 1 && digits >= 3;
            if phone {
                members.iter().for_each(|&i| self.tokens[i].kind = Kind::Fact);
            }
            at = next.max(at + 1);
        }
    }

    /// `179-1000 kg`, which no telephone has.
    fn is_span_of_masses(&self, from: usize, to: usize) -> bool {
        let number = |at: usize| self.word(at).parse::<u32>().ok();
        let unit = || matches!(VOCABULARY.unit(self.word(to + 1)), Some(PriceUnit::Mass(_)));
        number(from).zip(number(to)).is_some_and(|(from, to)| from < to)
            && self.is(to + 1, Use::UnitStart)
            && unit()
    }

    /// Times of a day beside the words of opening hours: `Mo-Fr 7.30-16.30`, `Orario: 8.00-12.00 / 14.00-17.30`.
    fn mark_hours(&mut self) {
        if !(0..self.tokens.len()).any(|at| self.is(at, Use::Hours)) {
            return;
        }
        for at in 1..self.tokens.len().saturating_sub(1) {
            let joins = self.kind(at) == Some(Kind::Dash) || self.is(at, Use::Range);
            if joins && is_time(self.word(at - 1)) && is_time(self.word(at + 1)) {
                self.tokens[at - 1].kind = Kind::Fact;
                self.tokens[at + 1].kind = Kind::Fact;
            }
            // `7:30a-4p`, where a `p` alone could be pence.
            let half = matches!(self.word(at + 2), "a" | "p" | "A" | "P") && !self.spaced(at + 2);
            let hour = self.word(at + 1).parse::<u8>().is_ok_and(|hour| hour <= 12);
            if joins && half && hour && self.kind(at - 1) == Some(Kind::Fact) {
                self.tokens[at + 1].kind = Kind::Fact;
            }
        }
    }

    pub fn spaced(&self, index: usize) -> bool {
        self.tokens.get(index).is_none_or(|token| token.spaced)
    }
}

struct Lexer<'t> {
    text: &'t str,
    at: usize,
    tokens: Vec<Token>,
    spaced: bool,
}

impl<'t> Lexer<'t> {
    fn rest(&self) -> &'t str {
        &self.text[self.at..]
    }

    fn next(&mut self) {
        let rest = self.rest();
        let Some(c) = rest.chars().next() else { return };
        let second = rest[c.len_utf8()..].chars().next();
        let blanks = run(rest, |c| c == ' ' || c == '\t' || c == '\u{a0}');
        if blanks > 0 {
            if rest[..blanks].contains('\t') || blanks >= 2 {
                self.push(Kind::Gap, blanks);
            } else {
                self.at += blanks;
            }
            self.spaced = true;
            return;
        }
        let after_word = self.text[..self.at].ends_with(char::is_alphanumeric);
        let starts_number = c.is_ascii_digit()
            || (matches!(c, '.' | ',') && second.is_some_and(|d| d.is_ascii_digit()) && !after_word);
        if starts_number {
            return self.number();
        }
        let dots = run(rest, |c| matches!(c, '.' | '…' | '_' | '·' | '*'));
        if dots >= 3 || (c == '…') {
            return self.push(Kind::Gap, dots);
        }
        if c.is_alphabetic() || is_currency_sign(c) {
            return self.word();
        }
        let kind = match c {
            '|' | ':' | '=' | ';' | '→' => Kind::Gap,
            '—' | '―' => Kind::Gap,
            '-' | '–' if second == Some('>') => return self.push(Kind::Gap, c.len_utf8() + 1),
            '-' | '–' | '‐' | '‑' => Kind::Dash,
            '−' => Kind::Minus,
            '/' => Kind::Slash,
            '(' | '[' => Kind::Open,
            ')' | ']' => Kind::Close,
            '+' => Kind::Plus,
            '<' | '≤' => Kind::Less,
            '>' | '≥' => Kind::More,
            '#' | '№' => Kind::Hash,
            _ => Kind::Other,
        };
        self.push(kind, c.len_utf8());
    }

    fn push(&mut self, kind: Kind, length: usize) {
        let (start, end) = (self.at, self.at + length);
        let text = &self.text[start..end];
        let (uses, is_currency) = match kind {
            // A word of plain letters has one form in which all is known of it.
            Kind::Word if text.bytes().all(|byte| byte.is_ascii_alphabetic()) => {
                let uses = VOCABULARY.uses(text);
                (uses, uses.has(Use::Currency))
            }
            Kind::Word => (uses(text), VOCABULARY.currencies(text).is_some()),
            Kind::Other => (Uses::default(), VOCABULARY.currencies(text).is_some()),
            _ => (Uses::default(), false),
        };
        self.tokens.push(Token { kind, start, end, spaced: self.spaced, uses, is_currency });
        self.at = end;
        self.spaced = false;
    }

    fn word(&mut self) {
        let rest = self.rest();
        let letters = run(rest, char::is_alphabetic);
        // `US$`, `C$`, `R$` are one sign; a sign alone is a word of one character.
        if letters > 0
            && rest[letters..].starts_with('$')
            && VOCABULARY.currencies(&rest[..letters + 1]).is_some()
        {
            return self.push(Kind::Word, letters + 1);
        }
        if letters == 0 {
            let sign = rest.chars().next().map_or(0, char::len_utf8);
            return self.push(Kind::Word, sign);
        }
        // `EUR5.80` is a currency and a number; `Cat5e` and `i7` are names.
        let whole = run_joined(rest);
        let apart = whole > letters && VOCABULARY.currencies(&rest[..letters]).is_some();
        self.push(Kind::Word, if apart { letters } else { whole });
    }

    fn number(&mut self) {
        let rest = self.rest();
        let mut length = run(rest, |c| c.is_ascii_digit());
        loop {
            let tail = &rest[length..];
            let Some(mark) = tail.chars().next().filter(|c| is_mark(*c)) else { break };
            let digits = run(&tail[mark.len_utf8()..], |c| c.is_ascii_digit());
            if digits == 0 || (mark == ' ' && !self.groups_by_blank(&rest[..length], tail)) {
                break;
            }
            length += mark.len_utf8() + digits;
        }
        let dashed = number::dashed_decimals(&rest[length..]);
        if dashed > 0 && Marks::is_number(&rest[..length + dashed]) {
            length += dashed;
        }
        let (number, tail) = rest.split_at(length);
        let fact = |extra: usize| (Kind::Fact, length + extra);
        let letters = run(tail, char::is_alphanumeric);
        let (kind, length) = if !Marks::is_number(number) {
            fact(0)
        } else if tail.trim_start().starts_with('%') && tail.find('%').is_some_and(|at| at <= 1) {
            fact(tail.find('%').unwrap_or(0) + 1)
        } else if tail.starts_with(['"', '”', '″', '°']) {
            fact(tail.chars().next().map_or(0, char::len_utf8))
        } else if let Some(extra) = fraction(number, tail) {
            fact(extra)
        } else if letters > 0 && !belongs_to_price(&tail[..letters]) {
            // `12V`, `2x4`, `3rd`: one word with its letters.
            fact(letters)
        } else if number.len() == 1
            && tail.starts_with('C')
            && letters == 1
            && !tail[1..].trim_start().starts_with('/')
        {
            // `5C` is a code, and no five cents.
            fact(1)
        } else if number.bytes().all(|b| b.is_ascii_digit()) && is_alloy(tail) {
            // `6063-T5`.
            fact(1 + run(&tail[1..], char::is_alphanumeric))
        } else {
            (Kind::Number, length)
        };
        self.push(kind, length);
    }

    /// Whether a plain blank inside a number groups its thousands: `1 250,00` and `1 250 €`, but not `304 180`.
    fn groups_by_blank(&self, before: &str, tail: &str) -> bool {
        let labelled =
            self.tokens.last().is_some_and(|token| token.kind == Kind::Hash || token.uses.has(Use::Label));
        let digits = run(&tail[1..], |c| c.is_ascii_digit());
        let after = &tail[1 + digits..];
        let decimals = after.strip_prefix([',', '.']).map_or(0, |rest| run(rest, |c| c.is_ascii_digit()));
        let first = before.split(' ').next_back().unwrap_or_default();
        let money = after.trim_start().starts_with(['€', 'z']) || after.trim_start().starts_with("EUR");
        // `8 350` that stands alone, in a cell or apart at the end of a line.
        let apart = self.tokens.last().is_none_or(|token| token.kind == Kind::Gap) && after.trim().is_empty();
        !labelled && digits == 3 && (1..=3).contains(&first.len()) && (decimals == 2 || money || apart)
    }
}

/// What a word can do; days from one to another, `Mo-Fr` and `ma-vr`, are of opening hours as each of them is.
fn uses(word: &str) -> Uses {
    let own = VOCABULARY.uses(word);
    match word.split_once('-') {
        Some((from, to)) if [from, to].iter().all(|day| VOCABULARY.has(day, Use::Hours)) => {
            own.and(Use::Hours.into())
        }
        _ => own,
    }
}

/// Length of the beginning of the text whose characters all fit.
fn run(text: &str, fits: impl Fn(char) -> bool) -> usize {
    text.find(|c| !fits(c)).unwrap_or(text.len())
}

/// Length of a word with the dashes and apostrophes inside it: `E-scrap`, `bare-bright`, `6061-T6`.
fn run_joined(text: &str) -> usize {
    let mut length = run(text, char::is_alphanumeric);
    loop {
        let tail = &text[length..];
        let Some(joint) = tail.chars().next().filter(|c| matches!(c, '-' | '\'' | '’' | '&')) else {
            return length;
        };
        let more = run(&tail[joint.len_utf8()..], char::is_alphabetic);
        if more == 0 {
            return length;
        }
        length += joint.len_utf8() + run(&tail[joint.len_utf8()..], char::is_alphanumeric);
    }
}

fn is_currency_sign(c: char) -> bool {
    matches!(c, '$' | '€' | '£' | '¥' | '₹' | '¢')
}

/// Letters directly behind a number that leave it a number: a unit, cents or a currency.
fn belongs_to_price(letters: &str) -> bool {
    let uses = VOCABULARY.uses(letters);
    let ordinal = matches!(letters.to_ascii_lowercase().as_str(), "st" | "nd" | "rd" | "th");
    !ordinal
        && (VOCABULARY.unit(letters).is_some()
            || [Use::Cents, Use::Ton, Use::Measure].into_iter().any(|is| uses.has(is))
            || VOCABULARY.currencies(letters).is_some())
}

/// Whether a span begins and ends with round numbers, as masses of a tier do and a telephone's number seldom does:
/// `500-1999`.
fn is_round_span(from: &str, to: &str) -> bool {
    let number = |text: &str| text.parse::<u32>().ok();
    number(from)
        .zip(number(to))
        .is_some_and(|(from, to)| from < to && matches!(from % 50, 0 | 1) && matches!(to % 50, 0 | 49))
}

/// `7.30` as a time: whole quarters of an hour.
fn is_time(text: &str) -> bool {
    text.split_once(['.', ':']).is_some_and(|(hour, minute)| {
        hour.parse::<u8>().is_ok_and(|hour| hour <= 24) && matches!(minute, "00" | "15" | "30" | "45")
    })
}

fn is_alloy(tail: &str) -> bool {
    let mut chars = tail.chars();
    chars.next() == Some('-') && chars.next().is_some_and(|c| c.is_ascii_uppercase()) && {
        let word = run(&tail[1..], char::is_alphanumeric);
        VOCABULARY.unit(&tail[1..=word]).is_none()
    }
}

/// Length of the rest of `10/2`, `1/4` or `3/15/2026` behind its first number. `4.50/100 lb` is a price and no
/// fraction.
fn fraction(number: &str, tail: &str) -> Option<usize> {
    if !number.bytes().all(|b| b.is_ascii_digit()) || !tail.starts_with('/') {
        return None;
    }
    let length = run(tail, |c| c == '/' || c.is_ascii_digit());
    let below = tail[1..length].trim_end_matches('/');
    let per =
        matches!(below, "100" | "1000" | "2000" | "2240") && !tail[length..].trim_start().starts_with('/');
    (!below.is_empty() && !per).then_some(1 + below.len())
}
