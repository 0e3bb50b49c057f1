//! The day a sheet says its prices hold from.

mod words;

use jiff::civil::Date;

use crate::vocabulary::Use;
use words::{Before, Parts, is_ordinal};

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

/// A title says of `3/12` that it is a day only where that day is so many days from today, or fewer; else it may be page 3
/// of 12.
const NEAR: u32 = 62;
/// A year in two digits is no longer ago than this.
const OLDEST_SHEET: i16 = 15;

/// The first date of the text that is not one that prices hold until.
///
/// A date without its year is the one nearest to `today`, and counts only where it is announced.
pub(crate) fn find(text: &str, order: DateOrder, today: Date) -> Option<Dated> {
    if !text.bytes().any(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let parts = Parts::of(text);
    let reader = Reader { parts: &parts, order, today };
    let mut at = 0;
    while at < parts.all.len() {
        let Some((found, next)) = reader.date_at(at) else {
            at += 1;
            continue;
        };
        let before = parts.before(at);
        let announced = matches!(before, Before::Announces | Before::Title)
            || parts.holds_before(at)
            || parts.title_behind(next);
        let announced = announced && !parts.tell_of_opening();
        if before != Before::Until && (announced || found.has_year) {
            return Some(Dated { date: found.date, unclear: found.unclear, announced });
        }
        at = next.max(at + 1);
    }
    None
}

/// Whether a text is nothing but a day in figures: `2026-03-15`, `15.3.26`.
pub(crate) fn is_day(text: &str) -> bool {
    let parts: Vec<&str> = text.trim().split(['-', '.', '/']).collect();
    let digits =
        |part: &&str| (1..=4).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
    parts.len() == 3 && parts.iter().all(digits) && parts.iter().any(|part| part.len() != 4)
}

/// The places in the text of days like `3.12.` and `3-12`, which look like numbers and are none.
pub(crate) fn bare_days(text: &str) -> Vec<std::ops::Range<usize>> {
    let parts = Parts::of(text);
    (0..parts.all.len())
        .filter_map(|at| parts.bare_day(at))
        .map(|day| parts.all[day.at].start..parts.all[day.at + 1].end)
        .collect()
}

struct Found {
    date: Date,
    unclear: bool,
    has_year: bool,
}

struct Reader<'p, 't> {
    parts: &'p Parts<'t>,
    order: DateOrder,
    today: Date,
}

impl Reader<'_, '_> {
    /// The date that begins at a part, and the part behind it.
    fn date_at(&self, at: usize) -> Option<(Found, usize)> {
        let parts = self.parts;
        // `mar. 17 nov. 2026`, where March is a Tuesday.
        let weekday = || parts.number(at + 1).is_some() && parts.month(at + 2).is_some();
        if let Some(month) = parts.month(at).filter(|_| !weekday()) {
            return self.named(month, at + 1, at, at + 2);
        }
        let first = parts.number(at)?;
        if parts.digits(at) <= 2 {
            if let Some(found) = self.day_and_month(at) {
                return Some(found);
            }
            // `4-10 November`, `4 au 10 novembre`: the first of several days.
            let joint = at + 1 + usize::from(self.joins_days(at + 1));
            let dashed = parts.all.get(joint).is_some_and(|part| matches!(part.joint, '-' | '–' | '/'));
            if (1..=2).contains(&parts.digits(joint))
                && (dashed || joint > at + 1)
                && let Some((_, next)) = self.day_and_month(joint)
                && let Some(month) = (joint + 1..next).find_map(|at| parts.month(at))
            {
                let year = (next > joint + 2).then(|| parts.number(next - 1)).flatten().map(full_year);
                let date = self.of_year(year, month, i8::try_from(first).ok()?)?;
                return Some((Found { date, unclear: false, has_year: year.is_some() }, next));
            }
        }
        self.in_figures(at).or_else(|| self.without_year(at))
    }

    fn joins_days(&self, at: usize) -> bool {
        [Use::Range, Use::ValidUntil, Use::BeforeDay].into_iter().any(|is| self.parts.is(at, is))
    }

    /// `15 March 2026`, `15th of March`, `15. März`.
    fn day_and_month(&self, at: usize) -> Option<(Found, usize)> {
        let parts = self.parts;
        let mut next = at + 1;
        while next < at + 3
            && (is_ordinal(parts.word(next)) || matches!(parts.word(next), "of" | "de" | "di"))
        {
            next += 1;
        }
        let month = parts.month(next)?;
        // `4.10 May` holds no day.
        let decimals = at.checked_sub(1).is_some_and(|before| {
            parts.digits(before) > 0
                && parts.touches_next(before)
                && matches!(parts.all[at].joint, '.' | ',' | '/')
        });
        if decimals || matches!(parts.around(at).0, Some('$' | '€' | '£' | '#')) {
            return None;
        }
        self.named(month, at, next, next + 1)
    }

    /// A day and its named month; a year may follow at `next`.
    fn named(&self, month: i8, day_at: usize, month_at: usize, next: usize) -> Option<(Found, usize)> {
        let parts = self.parts;
        let day = i8::try_from(parts.number(day_at).filter(|_| parts.digits(day_at) <= 2)?).ok()?;
        let day_last = day_at > month_at;
        if day_last && parts.measures(day_at) {
            return None;
        }
        let mut next = next;
        if day_last && is_ordinal(parts.word(next)) {
            next += 1;
        }
        if matches!(parts.word(next), "de" | "del" | "r") && parts.digits(next + 1) == 4 {
            next += 1;
        }
        let year = self.year(day_at, month_at, next);
        // `May 4.10` is a month and a price.
        let decimals = day_last
            && year.is_none()
            && parts.touches_next(day_at)
            && parts.digits(day_at + 1) > 0
            && matches!(parts.all[day_at + 1].joint, '.' | ',' | '/');
        if decimals {
            return None;
        }
        let date = self.of_year(year, month, day)?;
        Some((Found { date, unclear: false, has_year: year.is_some() }, next + usize::from(year.is_some())))
    }

    /// The year at a part behind a day and a month.
    fn year(&self, day_at: usize, month_at: usize, at: usize) -> Option<i16> {
        let parts = self.parts;
        let year = parts.number(at)?;
        if parts.digits(at) == 4 {
            return (1990..2100).contains(&year).then_some(year);
        }
        if parts.digits(at) != 2 {
            return None;
        }
        // `Nov 4, 10 am`, `4 Nov. 10:30`.
        let clock =
            matches!(
                parts.word(at + 1).to_ascii_lowercase().as_str(),
                "am" | "pm" | "a" | "p" | "h" | "uhr" | "o"
            ) || parts.all.get(at + 1).is_some_and(|part| part.joint == ':' && parts.touches_next(at));
        let year = full_year(year);
        let recent = (self.today.year().saturating_sub(OLDEST_SHEET)..=self.today.year().saturating_add(1))
            .contains(&year);
        let alike = parts.all[day_at.max(month_at)].joint;
        let joint = parts.all[at].joint;
        let joined = match joint {
            '\'' | '’' => true,
            ',' => day_at > month_at,
            // `Nov. 24/26`
            '/' if day_at > month_at => true,
            '-' | '.' | '/' => joint == alike,
            _ => false,
        };
        (joined && recent && !clock).then_some(year)
    }

    /// `3/15/2026`, `15.3.26`, `2026-03-15`.
    fn in_figures(&self, at: usize) -> Option<(Found, usize)> {
        let parts = self.parts;
        let joint = parts.all.get(at + 1)?.joint;
        if !matches!(joint, '/' | '.' | '-') || parts.all.get(at + 2).is_none_or(|part| part.joint != joint) {
            return None;
        }
        let (first, second, third) = (parts.number(at)?, parts.number(at + 1)?, parts.number(at + 2)?);
        if parts.digits(at) == 4 {
            let date = Date::new(first, i8::try_from(second).ok()?, i8::try_from(third).ok()?).ok()?;
            return Some((Found { date, unclear: false, has_year: true }, at + 3));
        }
        if !matches!(parts.digits(at + 2), 2 | 4) || parts.digits(at) > 2 || parts.digits(at + 1) > 2 {
            return None;
        }
        let (first, second) = (i8::try_from(first).ok()?, i8::try_from(second).ok()?);
        // Dots are written where the day comes first.
        let order = if joint == '.' { DateOrder::DayFirst } else { self.order };
        let (date, unclear) =
            self.ordered(first, second, order, |month, day| Date::new(full_year(third), month, day).ok())?;
        Some((Found { date, unclear, has_year: true }, at + 3))
    }

    /// `3/12`, `3.12.`, `3-12`, where words say that it is a day.
    fn without_year(&self, at: usize) -> Option<(Found, usize)> {
        let day = self.parts.bare_day(at)?;
        let order = match (day.joint, self.order) {
            ('.', DateOrder::MonthFirst) => DateOrder::Either,
            ('.', _) => DateOrder::DayFirst,
            (_, order) => order,
        };
        let (date, unclear) =
            self.ordered(day.first, day.second, order, |month, day| nearest(month, day, self.today))?;
        let near = days_between(date, self.today) <= NEAR;
        (near || !day.titled).then_some((Found { date, unclear, has_year: false }, at + 2))
    }

    /// The date of two numbers in this order, or else in the only one that is possible, and whether both are.
    fn ordered(
        &self,
        first: i8,
        second: i8,
        order: DateOrder,
        date: impl Fn(i8, i8) -> Option<Date>,
    ) -> Option<(Date, bool)> {
        let (day_first, month_first) = (date(second, first), date(first, second));
        let unclear =
            order == DateOrder::Either && first != second && day_first.is_some() && month_first.is_some();
        let date = match order {
            DateOrder::DayFirst => day_first.or(month_first),
            DateOrder::MonthFirst => month_first.or(day_first),
            DateOrder::Either => {
                day_first.into_iter().chain(month_first).min_by_key(|date| days_between(*date, self.today))
            }
        };
        Some((date?, unclear))
    }

    fn of_year(&self, year: Option<i16>, month: i8, day: i8) -> Option<Date> {
        match year {
            Some(year) => Date::new(year, month, day).ok(),
            None => nearest(month, day, self.today),
        }
    }
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
    use jiff::ToSpan;
    use jiff::civil::date;
    use proptest::prelude::*;

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
        check("Prices starting Apr. 24/26", MonthFirst, Some("2026-04-24!"));
        check("Date : mar. 5 mai 2026", DayFirst, Some("2026-05-05!"));
        check("gültig ab 1. März 2026", DayFirst, Some("2026-03-01!"));
        check("Good until 5/20/2026", MonthFirst, None);
        check("Open May 4", MonthFirst, None);
        check("13/13/2026", MonthFirst, None);
        check("Copper market 3.80", MonthFirst, None);
        check("555-010-4477", MonthFirst, None);
    }

    #[test]
    fn days_without_a_year() {
        use DateOrder::{DayFirst, Either, MonthFirst};
        check("Effective 5/4", MonthFirst, Some("2026-05-04!"));
        check("Effective 5/4", DayFirst, Some("2026-04-05!"));
        check("Effective 5/4", Either, Some("2026-05-04?!"));
        check("Effective 24/4", MonthFirst, Some("2026-04-24!"));
        check("Effective Mon 5/4 until further notice", MonthFirst, Some("2026-05-04!"));
        check("Prices effective 5/4 - 5/10", MonthFirst, Some("2026-05-04!"));
        check("Price list 5/4", MonthFirst, Some("2026-05-04!"));
        check("Price list 3/12", DayFirst, None);
        check("5/4 prices", MonthFirst, Some("2026-05-04!"));
        check("May 4 prices", MonthFirst, Some("2026-05-04!"));
        check("gültig ab 4.5.", DayFirst, Some("2026-05-04!"));
        check("Stand: 04.05", DayFirst, Some("2026-05-04!"));
        check("Preise vom 4.5.", DayFirst, Some("2026-05-04!"));
        check("tarif du 4/5", DayFirst, Some("2026-05-04!"));
        check("prix au 1er mai", DayFirst, Some("2026-05-01!"));
        check("valido dal 4/5", DayFirst, Some("2026-05-04!"));
        check("precios al 4 de mayo", DayFirst, Some("2026-05-04!"));
        check("preços de 4 de maio", DayFirst, Some("2026-05-04!"));
        check("tabela do dia 4 de maio", DayFirst, Some("2026-05-04!"));
        check("geldig vanaf 4-5", DayFirst, Some("2026-05-04!"));
        check("prijzen per 4 mei", DayFirst, Some("2026-05-04!"));
        check("cennik z dnia 4.05", DayFirst, Some("2026-05-04!"));
        check("obowiązuje od 4 maja", DayFirst, Some("2026-05-04!"));
        check("valid 4-10 May", DayFirst, Some("2026-05-04!"));
        check("du 4 au 10 mai, prix valables", DayFirst, None);
        check("prix valables du 4 au 10 mai", DayFirst, Some("2026-05-04!"));
        check("Week of May 4-10", MonthFirst, Some("2026-05-04!"));
        check("Updated May 4, 10 am", MonthFirst, Some("2026-05-04!"));
        check("Updated May 4, 26", MonthFirst, Some("2026-05-04!"));
        check("Updated 4-May-26", MonthFirst, Some("2026-05-04!"));
        check("Updated 29 Feb", MonthFirst, None);
    }

    #[test]
    fn days_that_prices_hold_until() {
        use DateOrder::{DayFirst, MonthFirst};
        for text in [
            "good thru Fri 5/15",
            "Prices good until May 15",
            "valable jusqu'au 15 mai",
            "gültig bis zum 15. Mai",
            "gültig bis 15.5.",
            "válido hasta el 15 de mayo",
            "valido fino al 15 maggio",
            "válido até 15 de maio",
            "geldig tot en met 15 mei",
            "ważne do 15 maja",
            "valid until 4 May 5 pm",
        ] {
            check(text, DayFirst, None);
            check(text, MonthFirst, None);
        }
    }

    #[test]
    fn what_only_looks_like_a_day() {
        use DateOrder::{DayFirst, MonthFirst};
        for text in [
            "Effective 3/4\" and up",
            "Effective 3/4 inch",
            "Effective 3/4 copper tube",
            "Copper tube prices 3/4",
            "effective 3/4 lb",
            "valid 5/4/lb",
            "effective $5.04",
            "effective 5.04",
            "prices 5.04",
            "prices from 5.04",
            "gültig ab 5.04 €/kg",
            "gültig ab 5.04€",
            "updated 5.4 %",
            "effective 555-0147",
            "as of 5-4-555",
            "as of 1-800-555-0144",
            "hours effective 8-4",
            "Öffnungszeiten gültig 8-12",
            "New hours from May 4",
            "Closed from May 4",
            "Geschlossen ab 4. Mai",
            "page 5/4 of the price list",
            "Prices from May 4.10",
            "Prices from 4.10 May",
            "updated 5/4/3/2",
            "updated 13/13",
            "updated 0/5",
            "updated 5//4",
            "stand 5.4.3.2",
        ] {
            check(text, DayFirst, None);
            check(text, MonthFirst, None);
        }
    }

    /// Of three years' days with one name, it is the one that today is nearest to.
    #[test]
    fn the_nearest_year() {
        let year = |text: &str, today: Date| find(text, DateOrder::MonthFirst, today).map(|found| found.date);
        assert_eq!(year("Effective 28 Dec", date(2026, 1, 3)), Some(date(2025, 12, 28)));
        assert_eq!(year("Effective 2 Jan", date(2026, 12, 30)), Some(date(2027, 1, 2)));
        assert_eq!(year("Effective 12/28", date(2026, 1, 3)), Some(date(2025, 12, 28)));
        assert_eq!(year("Effective 1/2", date(2026, 12, 30)), Some(date(2027, 1, 2)));
        assert_eq!(year("Effective 29 Feb", date(2027, 12, 30)), Some(date(2028, 2, 29)));
        assert_eq!(year("Effective 29 Feb", date(2036, 10, 25)), Some(date(2036, 2, 29)));
    }

    proptest! {
        /// Whatever day is written without its year, half a year lies between it and today at most.
        #[test]
        fn never_far(day in 0i32..800, today in 0i32..8000) {
            let today = date(2020, 1, 1).saturating_add(today.days());
            let meant = today.saturating_add((day - 400).days());
            // Only every fourth year has it.
            let leap = (meant.month(), meant.day()) == (2, 29);
            let found = find(&format!("Effective {}", meant.strftime("%-d %b")), DateOrder::DayFirst, today);
            if let Some(found) = found {
                prop_assert!(leap || days_between(found.date, today) <= 183, "{meant} as {found:?} on {today}");
                prop_assert_eq!((found.date.month(), found.date.day()), (meant.month(), meant.day()));
                if days_between(meant, today) < 182 {
                    prop_assert_eq!(found.date, meant);
                }
            } else {
                prop_assert!(leap);
            }
        }

        #[test]
        fn any_text(words in prop::collection::vec(prop_oneof![
            "\\PC{0,4}", "[0-9]{1,4}", Just("effective".to_string()), Just("May".to_string()), Just("ab".to_string()),
            Just("prices".to_string()), Just("Ł".to_string()),
        ], 0..12), glue in prop::sample::select(vec!["", " ", ".", "/", "-", ",", "’"]), first in -9998i32..9998) {
            let text = words.join(glue);
            let today = Date::new(first as i16, 6, 30).unwrap();
            for order in [DateOrder::MonthFirst, DateOrder::DayFirst, DateOrder::Either] {
                find(&text, order, today);
            }
            for day in bare_days(&text) {
                prop_assert!(text[day].bytes().all(|byte| byte.is_ascii_digit() || b"/.-".contains(&byte)));
            }
        }
    }
}
