//! The day a sheet says its prices hold from.

use jiff::civil::Date;

use crate::vocabulary::{Use, VOCABULARY};

/// A date found in a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Dated {
    pub date: Date,
    /// Day and month could be the other way round.
    pub unclear: bool,
    /// Words like “effective” stand before it.
    pub announced: bool,
}

/// Which comes first in `3/4/2026`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum DateOrder {
    MonthFirst,
    DayFirst,
    /// Both are written; the day nearer to today is taken, and asked about.
    Either,
}

/// The first date of the text that is not one that prices hold until.
///
/// A date without its year is the one nearest to `today`, and counts only where it is announced.
pub(crate) fn find(text: &str, order: DateOrder, today: Date) -> Option<Dated> {
    let parts = parts(text);
    (0..parts.len()).find_map(|at| {
        let (found, _) = date_at(&parts, at, order, today)?;
        let before =
            parts[..at].iter().rev().take(3).map(|part| part.text).rev().collect::<Vec<_>>().join(" ");
        let last = before.rsplit(' ').next().unwrap_or_default();
        if VOCABULARY.has(last, Use::ValidUntil) && at > 0 {
            return None;
        }
        let announced = VOCABULARY.has_within(&before, Use::ValidFrom);
        (announced || found.has_year).then_some(Dated { date: found.date, unclear: found.unclear, announced })
    })
}

struct Found {
    date: Date,
    unclear: bool,
    has_year: bool,
}

/// A word or number, and the character that stands before it.
struct Part<'t> {
    text: &'t str,
    joint: char,
}

fn parts(text: &str) -> Vec<Part<'_>> {
    let mut parts = Vec::new();
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
            if let Some(from) = start.take() {
                parts.push(Part { text: &text[from..at], joint });
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
    parts
}

fn date_at(parts: &[Part<'_>], at: usize, order: DateOrder, today: Date) -> Option<(Found, usize)> {
    let number = |i: usize| parts.get(i).and_then(|p| p.text.parse::<i16>().ok());
    let digits = |i: usize| parts.get(i).map_or(0, |p| p.text.len());
    let month = |i: usize| parts.get(i).and_then(|p| VOCABULARY.month(p.text));
    // `March 15, 2026`, `15 March 2026`, `15th of March`; a year may follow.
    let named = |month: i8, day_at: usize, next: usize| {
        let day = i8::try_from(number(day_at)?).ok()?;
        let next = if parts.get(next).is_some_and(|p| matches!(p.text, "st" | "nd" | "rd" | "th")) {
            next + 1
        } else {
            next
        };
        let next = if parts.get(next).is_some_and(|p| matches!(p.text, "de" | "del" | "r")) {
            next + 1
        } else {
            next
        };
        let year = number(next)
            .filter(|_| digits(next) == 4 || digits(next) == 2 && parts[next].joint != ' ')
            .map(full_year);
        let date = match year {
            Some(year) => Date::new(year, month, day).ok()?,
            None => nearest(month, day, today)?,
        };
        Some((Found { date, unclear: false, has_year: year.is_some() }, next))
    };
    if let Some(month) = month(at) {
        return named(month, at + 1, at + 2);
    }
    let first = number(at)?;
    for skip in 1..=3 {
        let between = &parts[at + 1..(at + skip).min(parts.len())];
        if between.iter().any(|p| !matches!(p.text, "of" | "st" | "nd" | "rd" | "th" | "de")) {
            break;
        }
        if let Some(month) = month(at + skip).filter(|_| digits(at) <= 2) {
            return named(month, at, at + skip + 1);
        }
    }
    let joint = parts.get(at + 1)?.joint;
    if !matches!(joint, '/' | '.' | '-') || parts.get(at + 2).is_none_or(|p| p.joint != joint) {
        return None;
    }
    let (second, third) = (number(at + 1)?, number(at + 2)?);
    if digits(at) == 4 {
        let date = Date::new(first, i8::try_from(second).ok()?, i8::try_from(third).ok()?).ok()?;
        return Some((Found { date, unclear: false, has_year: true }, at + 3));
    }
    if !matches!(digits(at + 2), 2 | 4) || digits(at) > 2 || digits(at + 1) > 2 {
        return None;
    }
    // Dots are written where the day comes first.
    let order = if joint == '.' { DateOrder::DayFirst } else { order };
    let date = |day: i16, month: i16| {
        Date::new(full_year(third), i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
    };
    let (day_first, month_first) = (date(first, second), date(second, first));
    let unclear =
        order == DateOrder::Either && first != second && day_first.is_some() && month_first.is_some();
    let date = match order {
        DateOrder::DayFirst => day_first.or(month_first),
        DateOrder::MonthFirst => month_first.or(day_first),
        DateOrder::Either => {
            day_first.into_iter().chain(month_first).min_by_key(|date| days_between(*date, today))
        }
    };
    Some((Found { date: date?, unclear, has_year: true }, at + 3))
}

fn full_year(year: i16) -> i16 {
    if (0..100).contains(&year) { 2000 + year } else { year }
}

/// The day with this month and day that lies nearest to today.
fn nearest(month: i8, day: i8, today: Date) -> Option<Date> {
    (-1..=1)
        .filter_map(|years| Date::new(today.year().checked_add(years)?, month, day).ok())
        .min_by_key(|date| days_between(*date, today))
}

fn days_between(date: Date, today: Date) -> u32 {
    (date - today).get_days().unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn check(text: &str, order: DateOrder, expect: Option<&str>) {
        let shown = find(text, order, date(2026, 5, 10)).map(|dated| {
            let unclear = if dated.unclear { "?" } else { "" };
            let announced = if dated.announced { "!" } else { "" };
            format!("{}{unclear}{announced}", dated.date)
        });
        assert_eq!(shown.as_deref(), expect, "{text}");
    }

    #[test]
    fn common_forms() {
        use DateOrder::{DayFirst, Either, MonthFirst};
        check("Effective 3/15/2026", MonthFirst, Some("2026-03-15!"));
        check("Effective 3/4/2026", MonthFirst, Some("2026-03-04!"));
        check("Effective 3/4/2026", DayFirst, Some("2026-04-03!"));
        check("Effective 5/4/2026", Either, Some("2026-05-04?!"));
        check("Effective 15/3/2026", Either, Some("2026-03-15!"));
        check("Stand: 15.03.2026", MonthFirst, Some("2026-03-15!"));
        check("2026-03-15", MonthFirst, Some("2026-03-15"));
        check("Prices as of March 15, 2026", MonthFirst, Some("2026-03-15!"));
        check("Prices for 15th of March 2026", MonthFirst, Some("2026-03-15!"));
        check("Week of May 4", MonthFirst, Some("2026-05-04!"));
        check("Updated 5/4/26", MonthFirst, Some("2026-05-04!"));
        check("Updated Dec 30", MonthFirst, Some("2025-12-30!"));
        check("gültig ab 1. März 2026", DayFirst, Some("2026-03-01!"));
        check("Good until 5/20/2026", MonthFirst, None);
        check("Open May 4", MonthFirst, None);
        check("13/13/2026", MonthFirst, None);
        check("Copper market 3.80", MonthFirst, None);
        check("555-010-4477", MonthFirst, None);
    }
}
