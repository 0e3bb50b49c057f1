//! A line or cell cut into tokens: which are numbers that could be a price, and which certainly are not.

mod lexer;

use trade::money::{Currency, PriceUnit};

use crate::date;
use crate::number;
use crate::vocabulary::{Use, Uses, VOCABULARY};
use lexer::{Lexer, THOUSAND};

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
        let mut scan = Scan { text, tokens: Lexer::tokens(text) };
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

    /// `k` right behind a number: so many thousands.
    pub fn is_thousand(&self, index: usize) -> bool {
        self.word(index).eq_ignore_ascii_case(THOUSAND) && !self.spaced(index)
    }

    /// Whether a name may begin with this token: `bright`, `#2`, `6063`.
    pub fn may_name(&self, index: usize) -> bool {
        matches!(self.kind(index), Some(Kind::Word | Kind::Hash | Kind::Fact))
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
        self.mark_dashed_days();
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
            // `semaine 48`
            let week = i > 0
                && self.is(i - 1, Use::Week)
                && self.word(i).parse::<u32>().is_ok_and(|week| (1..=53).contains(&week));
            // `jueves 26`
            let dated = i > 0 && self.is(i - 1, Use::Weekday) && self.is_bare_day(i);
            // `voy a las 12.30`
            let clock = i >= 2 && matches!((self.word(i - 2), self.word(i - 1)), ("a", "las") | ("a", "la"))
                || i > 0 && self.word(i - 1) == "alle";
            // `Messing alle 12` is of goods, and `alle 0.45` no hour of the day.
            let clock = clock
                && (self.word(i - 1) != "alle" || is_time(self.word(i)) && !self.word(i).starts_with('0'));
            // `16.45 u`
            let hour = self.word(i + 1) == "u" && is_time(self.word(i)) && i + 3 >= self.tokens.len();
            let clock = hour
                || clock && (is_time(self.word(i)) || self.word(i).len() <= 2) && !self.is_currency(i + 1);
            if week || dated || clock || (labelled && !decimals) || measured || (minutes && !self.spaced(i)) {
                self.tokens[i].kind = Kind::Fact;
            }
        }
    }

    /// Whether a number may be the day of a month, and nothing beside it makes it money.
    fn is_bare_day(&self, at: usize) -> bool {
        let day = self.word(at).parse::<u32>().is_ok_and(|day| (1..=31).contains(&day));
        let money =
            self.is_currency(at + 1) || self.is(at + 1, Use::Cents) || self.kind(at + 1) == Some(Kind::Slash);
        day && !money
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

    /// Days with their year between dashes: `2026-11-27`, `30-11-2026`.
    fn mark_dashed_days(&mut self) {
        let digits = |token: &Token| match token.kind {
            Kind::Number | Kind::Fact => token.end - token.start,
            _ => 0,
        };
        for at in 4..self.tokens.len() {
            let [first, one, second, other, third] = &self.tokens[at - 4..=at] else { continue };
            let joined = [one, other].iter().all(|token| token.kind == Kind::Dash && !token.spaced);
            let year = matches!([first, second, third].map(digits), [4, 2, 2] | [1 | 2, 1 | 2, 4]);
            if joined && year && !second.spaced && !third.spaced {
                self.tokens[at - 4..=at].iter_mut().step_by(2).for_each(|token| token.kind = Kind::Fact);
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
