//! The words and numbers of a text, and what the words say of a day among them.

use std::cell::OnceCell;

use crate::vocabulary::{Use, VOCABULARY};

/// A title that dates a sheet has no more words than this.
const LONGEST_TITLE: usize = 8;

/// A word or number, and the character that stands before it.
#[derive(Debug)]
pub(super) struct Part<'t> {
    pub text: &'t str,
    pub joint: char,
    pub start: usize,
    pub end: usize,
}

#[derive(Debug)]
pub(super) struct Parts<'t> {
    text: &'t str,
    pub all: Vec<Part<'t>>,
    /// What is asked of the whole text, for each of its days: found once.
    hours: OnceCell<bool>,
    opening: OnceCell<bool>,
}

/// What the words before a day say of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Before {
    Nothing,
    /// Prices hold from it.
    Announces,
    /// It dates the sheet.
    Title,
    /// Prices hold until it.
    Until,
}

/// A day and a month in figures, without a year: `3/12`, `3.12.`, `3-12`.
#[derive(Debug, Clone, Copy)]
pub(super) struct BareDay {
    pub at: usize,
    pub first: i8,
    pub second: i8,
    pub joint: char,
    /// Only the sheet's title speaks for it.
    pub titled: bool,
}

impl<'t> Parts<'t> {
    pub(super) fn of(text: &'t str) -> Parts<'t> {
        let mut all = Vec::new();
        let mut start = None;
        let mut joint = ' ';
        let mut kind = None;
        for (at, c) in text.char_indices().chain([(text.len(), ' ')]) {
            let now = if c.is_ascii_digit() {
                Some(true)
            } else if c.is_alphabetic() {
                Some(false)
            } else {
                None
            };
            if now != kind {
                if let Some(start) = start.take() {
                    all.push(Part { text: &text[start..at], joint, start, end: at });
                    joint = ' ';
                }
                if now.is_some() {
                    start = Some(at);
                }
            }
            // Of several characters between two parts, a mark says more than a blank.
            if now.is_none() && (joint == ' ' || c != ' ') {
                joint = c;
            }
            kind = now;
        }
        Parts { text, all, hours: OnceCell::new(), opening: OnceCell::new() }
    }

    pub(super) fn word(&self, at: usize) -> &'t str {
        self.all.get(at).map_or("", |part| part.text)
    }

    pub(super) fn number(&self, at: usize) -> Option<i16> {
        self.word(at).parse().ok()
    }

    /// The number of digits, where it is a number.
    pub(super) fn digits(&self, at: usize) -> usize {
        let word = self.word(at);
        if word.bytes().all(|byte| byte.is_ascii_digit()) { word.len() } else { 0 }
    }

    pub(super) fn is(&self, at: usize, word: Use) -> bool {
        self.all.get(at).is_some_and(|part| VOCABULARY.has(part.text, word))
    }

    pub(super) fn month(&self, at: usize) -> Option<i8> {
        self.all.get(at).and_then(|part| VOCABULARY.month(part.text))
    }

    /// The character before, and the one behind, a part.
    pub(super) fn around(&self, at: usize) -> (Option<char>, Option<char>) {
        let Some(part) = self.all.get(at) else { return (None, None) };
        (self.text[..part.start].chars().next_back(), self.text[part.end..].chars().next())
    }

    /// Whether only one mark stands between this part and the next, as within a number.
    pub(super) fn touches_next(&self, at: usize) -> bool {
        match (self.all.get(at), self.all.get(at + 1)) {
            (Some(part), Some(next)) => next.start <= part.end + next.joint.len_utf8() && next.joint != ' ',
            _ => false,
        }
    }

    /// Whether a number is an amount, a size or a share: `$4`, `4 lb`, `4"`, `4 %`, `4 inch`.
    pub(super) fn measures(&self, at: usize) -> bool {
        let (before, behind) = self.around(at);
        let sign = |c: Option<char>| {
            c.is_some_and(|c| matches!(c, '$' | '€' | '£' | '¢' | '#' | '%' | '"' | '”' | '″' | '°'))
        };
        // A sentence may end between: `from Nov 3. USD per lb`.
        let next = self.all.get(at + 1).filter(|part| matches!(part.joint, ' ' | '/'));
        let next = next.map_or("", |part| part.text);
        let share = self.all.get(at + 1).map_or_else(
            || self.text[self.all[at].end..].trim_start().starts_with('%'),
            |part| part.joint == '%',
        );
        let clock = matches!(next, "am" | "pm" | "AM" | "PM");
        let measure = VOCABULARY.has(next, Use::Measure) && !clock;
        let unit = next.chars().count() > 1 && VOCABULARY.unit(next).is_some();
        sign(before) || sign(behind) || share || measure || unit || VOCABULARY.currencies(next).is_some()
    }

    /// What the words right before a part say, the longest run of them first. Days of the week and words like `the` may
    /// stand between.
    pub(super) fn before(&self, at: usize) -> Before {
        let words = &self.all[..at];
        let number = words.iter().rposition(|part| part.text.starts_with(|c: char| c.is_ascii_digit()));
        let words: Vec<&str> =
            words[number.map_or(0, |number| number + 1)..].iter().map(|part| part.text).collect();
        let mut end = words.len();
        for _ in 0..4 {
            for length in (1..=3.min(end)).rev() {
                let uses = VOCABULARY.uses(&words[end - length..end].join(" "));
                if uses.has(Use::ValidUntil) {
                    return Before::Until;
                }
                if uses.has(Use::Announces) {
                    return Before::Announces;
                }
                if uses.has(Use::Title) {
                    return Before::Title;
                }
                // `do dia`, of which the first word alone would be another.
                if length > 1 && uses.has(Use::ValidFrom) {
                    return Before::Title;
                }
            }
            match words[..end].last() {
                Some(word) if between(word) => end -= 1,
                _ => break,
            }
        }
        Before::Nothing
    }

    /// Whether one of the three words before a part says that prices hold from it.
    pub(super) fn holds_before(&self, at: usize) -> bool {
        let words: Vec<&str> = self.all[at.saturating_sub(3)..at].iter().map(|part| part.text).collect();
        let words = words.join(" ");
        VOCABULARY.has_within(&words, Use::Announces) || VOCABULARY.has_within(&words, Use::ValidFrom)
    }

    /// `Dec 3 prices`.
    pub(super) fn title_behind(&self, at: usize) -> bool {
        (1..=2).any(|length| {
            let words: Vec<&str> = self.all.iter().skip(at).take(length).map(|part| part.text).collect();
            let joined = self.all.get(at).is_some_and(|part| part.joint == ' ');
            words.len() == length && joined && VOCABULARY.has(&words.join(" "), Use::Title)
        })
    }

    /// The day and month that begin at a part, where the words around say that they are one: a fraction, a size, an hour
    /// or a price looks just the same.
    pub(super) fn bare_day(&self, at: usize) -> Option<BareDay> {
        let number = |at: usize| self.number(at).and_then(|n| i8::try_from(n).ok());
        let (first, second) = (number(at)?, number(at + 1)?);
        let joint = self.all[at + 1].joint;
        let length = |at: usize| (1..=2).contains(&self.digits(at));
        let possible = (1..=12).contains(&first) && (1..=31).contains(&second)
            || (1..=31).contains(&first) && (1..=12).contains(&second);
        let alone = self.touches_next(at) && matches!(joint, '/' | '.' | '-') && length(at) && length(at + 1);
        if !alone || !possible || self.measures(at) || self.measures(at + 1) {
            return None;
        }
        let before = self.around(at).0;
        let behind = self.text[self.all[at + 1].end..].strip_prefix('.').filter(|_| joint == '.');
        let dotted = behind.is_some();
        let behind = behind.unwrap_or(&self.text[self.all[at + 1].end..]);
        let starts = before.is_none_or(|c| c.is_whitespace() || matches!(c, '(' | '[' | ':'));
        let ends = behind.chars().next().is_none_or(|c| {
            c.is_whitespace()
                || matches!(c, ')' | ']' | ',' | ';' | ':' | '!' | '-' | '–')
                || c == '.' && !dotted
        });
        let goes_on = behind
            .strip_prefix(['.', ',', '-', '–', ':'])
            .is_some_and(|behind| behind.starts_with(|c: char| c.is_ascii_digit()));
        // `5/4-5/10` are two days.
        let goes_on = goes_on
            && !(joint != '-'
                && self.touches_next(at + 2)
                && self.all.get(at + 3).is_some_and(|part| part.joint == joint));
        if !starts || !ends || goes_on {
            return None;
        }
        let said = match self.before(at) {
            Before::Nothing if self.title_behind(at + 2) && at == 0 => Before::Title,
            said => said,
        };
        let only = self.is_only_a_title(at, behind);
        let bare = only && !(0..at).any(|at| self.is(at, Use::NoDottedDay));
        let day = BareDay { at, first, second, joint, titled: said == Before::Title };
        let is_day = match said {
            Before::Announces => match joint {
                '/' => !self.is_fraction(at),
                '.' => dotted || bare,
                _ => !self.names_hours(),
            },
            Before::Title => {
                let joined = at.checked_sub(1).is_some_and(|at| between(self.word(at)));
                only && (joint == '/' || dotted || joint == '.' && bare && joined)
            }
            Before::Until | Before::Nothing => false,
        };
        is_day.then_some(day)
    }

    /// Whether it reads as a part of an inch, too: `3/4`, but not `03/4`.
    fn may_be_fraction(&self, at: usize) -> bool {
        let (over, under) = (self.number(at).unwrap_or(0), self.number(at + 1).unwrap_or(0));
        over < under && over % 2 == 1 && matches!(under, 2 | 4 | 8 | 16) && !self.word(at).starts_with('0')
    }

    /// `3/4` in front of a word, as the size of something stands.
    fn is_fraction(&self, at: usize) -> bool {
        let named = self.all.get(at + 2).is_some_and(|part| {
            part.joint == ' ' && !VOCABULARY.has(part.text, Use::ValidUntil) && !between(part.text)
        });
        named && self.may_be_fraction(at)
    }

    /// Whether it is about when the outlet is open, and not about its prices.
    pub(super) fn tell_of_opening(&self) -> bool {
        *self.opening.get_or_init(|| {
            self.any_is(Use::Opening)
                && !VOCABULARY.has_within(self.text, Use::Title)
                && !VOCABULARY.has_within(self.text, Use::WholeSheet)
        })
    }

    fn names_hours(&self) -> bool {
        *self.hours.get_or_init(|| self.any_is(Use::Hours))
    }

    fn any_is(&self, word: Use) -> bool {
        (0..self.all.len()).any(|at| self.is(at, word))
    }

    /// Whether the text, or its first phrase, is the title of a sheet and its day: a few words, and no other number.
    fn is_only_a_title(&self, day: usize, behind: &str) -> bool {
        let over = behind.trim_start().starts_with(['(', '[', ',', ';', '|', '—'])
            || behind.starts_with(" - ")
            || behind.strip_prefix(['.', '!']).is_some_and(|rest| rest.starts_with(' '));
        let end = if over && !self.may_be_fraction(day) { day + 2 } else { self.all.len() };
        // `Hey its Dale at the yard. Prices for today 11/27`
        let begin =
            (0..day).rev().find(|&at| matches!(self.all[at].joint, '.' | '!') && self.digits(at) == 0);
        let begin = begin.unwrap_or(0);
        let until = |at: usize| {
            let day_behind = self.all.get(day + 2).is_some_and(|part| matches!(part.joint, '-' | '–'))
                && (day + 2..day + 4).contains(&at);
            day_behind
                || self.before(at) == Before::Until
                || at.checked_sub(1).is_some_and(|at| self.before(at) == Before::Until)
        };
        let other_number = |at: usize| self.digits(at) > 0 && at != day && at != day + 1 && !until(at);
        let measured = |at: usize| {
            let word = self.word(at);
            VOCABULARY.currencies(word).is_some() || at > day + 1 && VOCABULARY.unit(word).is_some()
        };
        end <= begin + LONGEST_TITLE + 2
            && !(begin..end).any(|at| other_number(at) || measured(at))
            && !(self.may_be_fraction(day) && VOCABULARY.has_within(self.text, Use::Group))
    }
}

/// Whether a word may stand between those that speak of a day and the day itself.
fn between(word: &str) -> bool {
    VOCABULARY.has(word, Use::BeforeDay) || VOCABULARY.has(word, Use::Hours)
}

pub(super) fn is_ordinal(word: &str) -> bool {
    matches!(word, "st" | "nd" | "rd" | "th" | "er" | "ere" | "re" | "º" | "ª" | "o" | "e")
}
