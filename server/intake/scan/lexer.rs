//! A text cut into tokens, one after the other.

use trade::mass::MassUnit;

use super::{Kind, Token};
use crate::number::{self, Marks, is_mark};
use crate::vocabulary::{Use, Uses, VOCABULARY};

/// Behind a sign: it is to be shown as a picture.
const VARIATION: char = '\u{fe0f}';

/// South Africa's sign in front of an amount.
const RAND: &str = "R";

/// Short for so many, right behind a number.
pub(super) const THOUSAND: &str = "k";

/// Its name.
const SPELLED_RAND: &str = "rand";

/// Whose dollars they are, behind their sign.
const CANADIAN: &str = "CAN";

pub(super) struct Lexer<'t> {
    text: &'t str,
    at: usize,
    tokens: Vec<Token>,
    spaced: bool,
}

impl<'t> Lexer<'t> {
    pub fn tokens(text: &'t str) -> Vec<Token> {
        let mut lexer = Lexer { text, at: 0, tokens: Vec::new(), spaced: false };
        while lexer.at < text.len() {
            lexer.next();
        }
        lexer.tokens
    }

    fn rest(&self) -> &'t str {
        &self.text[self.at..]
    }

    fn next(&mut self) {
        let rest = self.rest();
        let Some(c) = rest.chars().next() else { return };
        let second = rest[c.len_utf8()..].chars().next();
        let blanks = run(rest, |c| matches!(c, ' ' | '\t' | '\u{a0}' | VARIATION));
        if blanks > 0 {
            if rest[..blanks].contains('\t')
                || rest[..blanks].chars().filter(|c| *c != VARIATION).count() >= 2
            {
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
            '|' | ':' | '=' | ';' | '→' | '⇒' | '➔' | '➜' | '➡' | '►' | '▶' => Kind::Gap,
            '—' | '―' => Kind::Gap,
            // `Lüfter -,25`: no euros and 25 cents.
            '-' | '–' if !after_word && is_no_whole(&rest[c.len_utf8()..]) => Kind::Gap,
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
                (uses, uses.has(Use::Currency) && self.is_money(text, end))
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
            // `$NZ`
            let country = sign + run(&rest[sign..], char::is_alphabetic);
            let whole = country > sign + 1 && VOCABULARY.currencies(&rest[..country]).is_some();
            return self.push(Kind::Word, if whole { country } else { sign });
        }
        if rest.starts_with(RAND) && self.is_rand(self.at + RAND.len()) {
            return self.push(Kind::Word, RAND.len());
        }
        // `Fr.` alone, as a column is called.
        let alone = || self.at == 0 && &rest[letters..] == "." && VOCABULARY.currencies(rest).is_some();
        if let Some(length) = abbreviated_currency(rest, letters).or_else(|| alone().then_some(rest.len())) {
            return self.push(Kind::Word, length);
        }
        // `EUR5.80` is a currency and a number; `Cat5e` and `i7` are names.
        let whole = run_joined(rest);
        let is_letter = rest[..letters].eq_ignore_ascii_case(RAND);
        let apart = whole > letters && !is_letter && VOCABULARY.currencies(&rest[..letters]).is_some();
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
        length += number::part_of_a_cent(&rest[length..]);
        let (number, tail) = rest.split_at(length);
        let fact = |extra: usize| (Kind::Fact, length + extra);
        let letters = run(tail, char::is_alphanumeric);
        let (kind, length) = if !Marks::is_number(number) {
            fact(0)
        } else if tail.trim_start().starts_with('%') && tail.find('%').is_some_and(|at| at <= 1) {
            fact(tail.find('%').unwrap_or(0) + 1)
        } else if tail.starts_with(['"', '”', '″', '°']) {
            fact(tail.chars().next().map_or(0, char::len_utf8))
        } else if tail.starts_with(".ª") || tail.starts_with(".º") {
            // `cobre de 1.ª`
            fact(1 + 'ª'.len_utf8())
        } else if let Some(extra) = fraction(number, tail) {
            fact(extra)
        } else if letters > 0
            && !belongs_to_price(&tail[..letters])
            && !self.in_thousands(number, &tail[..letters])
        {
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

    /// `£6.8k`, `4.1k`: a price by the tonne, and no `2k` of a name.
    fn in_thousands(&self, number: &str, letters: &str) -> bool {
        let money = || self.tokens.last().is_some_and(|token| token.is_currency);
        letters.eq_ignore_ascii_case(THOUSAND) && (number.contains(['.', ',']) || money())
    }

    /// Whether a word that can mean a currency does, which of two is told by what stands around them: one letter alone is part
    /// of many names, and `can scrap` is not paid for in `$ CAN per pound`.
    fn is_money(&self, word: &str, end: usize) -> bool {
        if word.eq_ignore_ascii_case(RAND) {
            return word == RAND && self.is_rand(end);
        }
        // An edge, in German, unless something is paid in them: `Rand/kg`, `prices in Rand`.
        if word.eq_ignore_ascii_case(SPELLED_RAND) {
            let behind = self.text[end..].trim_start();
            let per = behind.starts_with('/')
                || VOCABULARY.has(behind.split(' ').next().unwrap_or_default(), Use::Per);
            let before = self.tokens.last().map(|token| &self.text[token.start..token.end]);
            return per || before.is_some_and(|before| before.eq_ignore_ascii_case("in"));
        }
        let behind_dollars =
            || self.tokens.last().is_some_and(|token| &self.text[token.start..token.end] == "$");
        !word.eq_ignore_ascii_case(CANADIAN) || word == CANADIAN && behind_dollars()
    }

    /// Whether the `R` that ends here is that of an amount: `Brass R82`, `Soft lead R26,50`, but not `Refrigerant R22, drained`.
    fn is_rand(&self, end: usize) -> bool {
        let named = self.tokens.iter().any(|token| token.kind == Kind::Word);
        let begins = self.text[..end - RAND.len()].ends_with(|c: char| c.is_whitespace() || c == '(');
        let amount = &self.text[end..];
        // What a column is called.
        let unit = |text: &str| VOCABULARY.uses(&text.to_lowercase()).has(Use::UnitStart);
        // `All prices R per kg`
        let per = |text: &str| text.len() > 1 && VOCABULARY.has(text, Use::Per);
        let mut behind = amount.split_whitespace();
        if begins
            && amount.starts_with(' ')
            && behind.next().is_some_and(per)
            && behind.next().is_some_and(unit)
        {
            return true;
        }
        let apart = self.text[..end - RAND.len()].chars().next_back().is_none_or(|c| !c.is_alphanumeric());
        if apart && amount.strip_prefix('/').is_some_and(unit) {
            return true;
        }
        // `R 148.00`, and nothing before it, or a gap.
        let set_apart = match self.tokens.last() {
            None => end == RAND.len(),
            Some(last) => last.kind == Kind::Gap,
        };
        let blanks = |c: char| matches!(c, ' ' | '\u{a0}');
        // So does one blank behind a name, where decimals or `per` say that it is an amount.
        let spaced = amount.starts_with(blanks) && (set_apart || named && begins);
        let amount = if spaced { amount.trim_start_matches(blanks) } else { amount };
        let whole = run(amount, |c| c.is_ascii_digit());
        // `R 2 150 per ton`, `R4 350,00 per ton`
        let by_thousands = |behind: &str| {
            let (decimals, rest) = decimals(behind);
            decimals == 2 || per_something(rest)
        };
        if (1..=3).contains(&whole) && behind_thousands(&amount[whole..]).is_some_and(by_thousands) {
            return true;
        }
        let (decimals, rest) = decimals(&amount[whole..]);
        let ends = rest.trim_start().is_empty() || rest.starts_with('/') || goes_on_to_rand(rest);
        let sure = decimals == 2 && !rest.starts_with(char::is_alphanumeric);
        // `Compressors R22` name what is in them.
        let gas =
            || matches!(&amount[..whole], "12" | "22" | "32" | "290" | "404" | "407" | "410" | "502" | "600");
        // `R152.00` in a cell of its own
        let behind_name = named && begins;
        (behind_name || set_apart)
            && (1..=6).contains(&whole)
            && (sure || behind_name && !spaced && ends && whole > 1 && !gas())
    }

    /// Whether a plain blank inside a number groups its thousands: `1 250,00` and `1 250 €`, but not `304 180`.
    fn groups_by_blank(&self, before: &str, tail: &str) -> bool {
        let labelled =
            self.tokens.last().is_some_and(|token| token.kind == Kind::Hash || token.uses.has(Use::Label));
        let digits = run(&tail[1..], |c| c.is_ascii_digit());
        let after = &tail[1 + digits..];
        let decimals = after.strip_prefix([',', '.']).map_or(0, |rest| run(rest, |c| c.is_ascii_digit()));
        let first = before.split(' ').next_back().unwrap_or_default();
        // `8 350` that stands alone, in a cell or apart at the end of a line.
        // So is `1 250` between two gaps.
        // And `-3 200` behind a colon.
        let signed = || {
            let minus = &self.text[..self.at];
            let minus = minus.strip_suffix(['-', '−', '–']).map(str::trim_end);
            minus.is_some_and(|before| before.is_empty() || before.ends_with(':'))
        };
        let begins = self.tokens.last().is_none_or(|token| token.kind == Kind::Gap) || signed();
        let is_money = |after: &str| {
            let word = after.trim_start().split([' ', '/', '\t']).next().unwrap_or_default();
            // `304 180 kr`: three digits may be an alloy, and `Cobre 2 145 $/kg` is copper of the second grade.
            let written = word.starts_with('€') || word == "EUR" || word.starts_with('z');
            let by_weight = || {
                let unit = after.trim_start()[word.len()..].strip_prefix('/').unwrap_or_default();
                matches!(unit.split(' ').next(), Some("kg" | "lb" | "lbs" | "kilo"))
            };
            let sure = begins || written && !(first.len() == 1 && by_weight());
            sure && VOCABULARY.currencies(word).is_some()
        };
        // `$3 400`, `R2 150 per ton`
        let behind_sign = first.len() < 3
            && self.tokens.last().is_some_and(|token| token.is_currency)
            && per_something(after);
        let money = behind_sign || is_money(after) || is_money(behind_range(after));
        // `[7 380]`
        let bracketed = self.tokens.last().is_some_and(|token| token.kind == Kind::Open)
            && first.len() < 3
            && after.starts_with([']', ')']);
        let columned =
            after.starts_with("  ") || after.starts_with('\t') || after.trim_start().starts_with('[');
        let apart = begins && (after.trim().is_empty() || columned && first.len() < 3);
        // `200 à 1 500 lb`, `1 500 lb et plus`; three digits may be an alloy.
        let unit = after.trim_start().split(|c: char| !c.is_alphabetic()).next().unwrap_or_default();
        let bound = [Use::TierFrom, Use::TierTo, Use::SpanFrom, Use::SpanTo, Use::Range];
        let bounds = || {
            let is_bound = |token: &Token| {
                matches!(token.kind, Kind::Dash | Kind::Other) || bound.iter().any(|is| token.uses.has(*is))
            };
            begins || self.tokens.last().is_some_and(is_bound)
        };
        let mass = first.len() < 3
            && after.starts_with(' ')
            && MassUnit::from_code(&unit.to_lowercase()).is_some()
            && bounds();
        !labelled
            && digits == 3
            && (1..=3).contains(&first.len())
            && (decimals == 2 || money || apart || bracketed || mass)
    }
}

/// What stands behind the three digits that end a whole number which is grouped by a blank.
fn behind_thousands(text: &str) -> Option<&str> {
    let digits = text.strip_prefix([' ', '\u{a0}', '\u{202f}'])?;
    (run(digits, |c| c.is_ascii_digit()) == 3).then(|| &digits[3..])
}

/// How many decimals a text begins with, and what stands behind them: `,00 per ton`.
fn decimals(text: &str) -> (usize, &str) {
    let digits = text.strip_prefix(['.', ',']).map_or(0, |rest| run(rest, |c| c.is_ascii_digit()));
    (digits, if digits > 0 { &text[1 + digits..] } else { text })
}

/// Whether the upper end of a range follows: `PC boards R48 - R55`.
fn goes_on_to_rand(rest: &str) -> bool {
    let upper = rest.trim_start().strip_prefix(['-', '–']).map(str::trim_start);
    let amount = upper.and_then(|upper| upper.strip_prefix(RAND));
    amount.is_some_and(|amount| amount.starts_with(|c: char| c.is_ascii_digit()))
}

/// Whether a number ends here, or what it is per follows.
fn per_something(after: &str) -> bool {
    let word = after.trim_start().split(' ').next().unwrap_or_default();
    word.is_empty() || word.starts_with('/') || VOCABULARY.has(word, Use::Per)
}

/// What stands behind the upper end of a range that is grouped by a blank as its lower end is: ` €` of ` à 7 250 €`.
fn behind_range(after: &str) -> &str {
    let digits = |text: &str| run(text, |c| c.is_ascii_digit());
    let joint = after.trim_start().split(' ').next().unwrap_or_default();
    let joins = matches!(joint, "-" | "–") || VOCABULARY.has(joint, Use::Range);
    let upper = if joins { after.trim_start()[joint.len()..].trim_start() } else { "" };
    let thousands = digits(upper);
    behind_thousands(&upper[thousands..]).filter(|_| (1..=3).contains(&thousands)).unwrap_or_default()
}

/// `,55`: two decimals and no more.
fn is_no_whole(text: &str) -> bool {
    text.strip_prefix(',').is_some_and(|decimals| run(decimals, |c| c.is_ascii_digit()) == 2)
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

/// Length of an abbreviation with its dot that is a currency here: `Fr. 7.50`, `Fr. / 100 kg`, but not `Fr. 8.00-12.00`, where
/// it is a Friday.
fn abbreviated_currency(rest: &str, letters: usize) -> Option<usize> {
    let behind = rest[letters..].strip_prefix('.')?.trim_start_matches(' ');
    VOCABULARY.currencies(&rest[..=letters])?;
    let number = run(behind, |c| c.is_ascii_digit() || matches!(c, '.' | ',' | '\''));
    let is_time = || {
        let next = behind[number..].trim_start_matches(' ');
        let word = run(next, char::is_alphabetic);
        let uses = VOCABULARY.uses(&next[..word]);
        next.starts_with(['-', '–', ':']) || word > 0 && (uses.has(Use::Range) || uses.has(Use::Measure))
    };
    let per = VOCABULARY.uses(&behind[..run(behind, char::is_alphabetic)]).has(Use::Per);
    let is_price = number > 0 && !is_time();
    (behind.starts_with('/') || per || is_price).then_some(letters + 1)
}
