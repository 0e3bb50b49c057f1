//! Numbers as people write them, and which mark a sheet uses for decimals.
//!
//! `1,250` and `1.250` mean different things on the two sides of a border, so no number is read alone: the marks of
//! the whole sheet decide.

use std::borrow::Cow;

use rust_decimal::Decimal;

/// More digits than this are a serial number or a slip, never an amount.
const MOST_DIGITS: usize = 15;

/// Which mark stands before the decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Habit {
    /// `1,250.80`
    Point,
    /// `1.250,80`
    Comma,
}

/// What the marks of all numbers of a sheet say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Marks {
    pub habit: Habit,
    /// Some number of the sheet can only be read this way.
    pub sure: bool,
    /// Other numbers of the sheet can only be read the other way.
    pub mixed: bool,
}

impl Marks {
    /// Decides by majority; where no number speaks clearly, `usual` stands and the marks are not `sure`.
    pub fn of<'t>(numbers: impl IntoIterator<Item = &'t str>, usual: Habit) -> Marks {
        let mut votes = Votes::default();
        numbers.into_iter().for_each(|number| votes.add(number));
        votes.marks(usual)
    }

    /// Whether the text can be a number in either habit.
    pub fn is_number(text: &str) -> bool {
        Shape::of(text).is_some()
    }

    /// `None` where the text is no number, or has more digits than an amount can have.
    pub fn read(self, text: &str) -> Option<Amount> {
        let (text, part) = without_part(text);
        let text = &*with_cents(text);
        let shape = Shape::of(text)?;
        let against = shape.habit().is_some_and(|habit| habit != self.habit);
        let decimal_mark = match shape {
            Shape::Whole | Shape::Thousands(_) => None,
            Shape::Decimals(mark) => Some(mark),
            Shape::Either(mark) => (mark == self.habit.mark()).then_some(mark),
        };
        // No more digits than [`MOST_DIGITS`], which fit.
        let (mut digits, mut decimals, mut behind) = (0i64, 0, false);
        for c in text.chars() {
            match c.to_digit(10) {
                Some(digit) => {
                    digits = digits * 10 + i64::from(digit);
                    decimals += u32::from(behind);
                }
                None => behind |= Some(c) == decimal_mark,
            }
        }
        let value = Decimal::new(digits, decimals) + part;
        let unclear = against || (matches!(shape, Shape::Either(_)) && (self.mixed || !self.sure));
        Some(Amount { value, unclear })
    }
}

/// Whether digits are those of a telephone or an article: no whole amount begins with a nought.
pub(crate) fn is_serial(text: &str) -> bool {
    text.len() > 2 && text.starts_with('0') && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// How many numbers speak for each habit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Votes {
    point: u32,
    comma: u32,
    /// Numbers like `6.400`, which speak for neither.
    grouped_by_point: u32,
}

/// So many numbers with three digits behind a point, and none with another number of them, are thousands.
const FEWEST_GROUPED: u32 = 3;

impl Votes {
    pub fn add(&mut self, number: &str) {
        match Shape::of(number).and_then(Shape::habit) {
            Some(Habit::Point) => self.point += 1,
            Some(Habit::Comma) => self.comma += 1,
            None => self.grouped_by_point += u32::from(Shape::of(number) == Some(Shape::Either('.'))),
        }
    }

    /// The majority's habit, or the `usual` one where there is none.
    pub fn marks(self, usual: Habit) -> Marks {
        let Votes { point, comma, grouped_by_point } = self;
        // Nobody pays to a tenth of a cent throughout.
        let usual = if grouped_by_point >= FEWEST_GROUPED { Habit::Comma } else { usual };
        let habit = match point.cmp(&comma) {
            std::cmp::Ordering::Greater => Habit::Point,
            std::cmp::Ordering::Less => Habit::Comma,
            std::cmp::Ordering::Equal => usual,
        };
        Marks { habit, sure: point + comma > 0, mixed: point > 0 && comma > 0 }
    }
}

impl Habit {
    const fn mark(self) -> char {
        match self {
            Habit::Point => '.',
            Habit::Comma => ',',
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Amount {
    pub value: Decimal,
    /// Its marks speak against the rest of the sheet, or nothing on the sheet says how to read them.
    pub unclear: bool,
}

/// Whether the text has decimals as prices have them: two or more places, or nothing before the mark.
pub(crate) fn looks_like_price(text: &str) -> bool {
    let text = &*with_cents(text);
    match Shape::of(text) {
        Some(Shape::Decimals(mark)) => {
            text.rsplit(mark).next().is_some_and(|rest| rest.len() >= 2) || text.starts_with(mark)
        }
        _ => false,
    }
}

/// What the marks inside a number can mean, before the sheet's habit is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shape {
    Whole,
    Thousands(char),
    /// The mark before the decimals; any other mark groups thousands.
    Decimals(char),
    /// One mark with three digits after it.
    Either(char),
}

impl Shape {
    fn of(text: &str) -> Option<Shape> {
        let text = &*with_cents(without_part(text).0);
        let (mut digits, mut marks) = (0, 0);
        let mut ends: Option<(char, char)> = None;
        for c in text.chars() {
            if c.is_ascii_digit() {
                digits += 1;
            } else if is_mark(c) {
                marks += 1;
                ends = Some((ends.map_or(c, |(first, _)| first), c));
            } else {
                return None;
            }
        }
        if digits == 0 || digits > MOST_DIGITS || !text.ends_with(|c: char| c.is_ascii_digit()) {
            return None;
        }
        let Some((first, last)) = ends else { return Some(Shape::Whole) };
        let (whole, rest) = text.rsplit_once(last)?;
        // `7'20`, as prices are chalked up in Spain.
        if marks == 1 && matches!(last, '\'' | '’') && rest.len() == 2 {
            return (1..=3).contains(&whole.len()).then_some(Shape::Decimals(last));
        }
        if whole.contains(last) || !matches!(last, '.' | ',') {
            return grouped(text, last).then_some(Shape::Thousands(last));
        }
        if marks > 1 {
            return grouped(whole, first).then_some(Shape::Decimals(last));
        }
        let could_group = rest.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
        Some(if could_group { Shape::Either(last) } else { Shape::Decimals(last) })
    }

    /// The habit of a writer who writes this, where it can only be one.
    fn habit(self) -> Option<Habit> {
        match self {
            Shape::Decimals('.') | Shape::Thousands(',') => Some(Habit::Point),
            Shape::Decimals(',') | Shape::Thousands('.') => Some(Habit::Comma),
            _ => None,
        }
    }
}

/// The parts of a whole that have a sign of their own.
const PARTS: [(char, i64); 3] = [('½', 50), ('¼', 25), ('¾', 75)];

/// `8½` without its half, and the half.
fn without_part(text: &str) -> (&str, Decimal) {
    let part = PARTS.iter().find_map(|(sign, hundredths)| Some((text.strip_suffix(*sign)?, *hundredths)));
    part.map_or((text, Decimal::ZERO), |(whole, hundredths)| (whole, Decimal::new(hundredths, 2)))
}

/// The length of a part of a cent behind a whole number: `½` of `8½¢`, but of no size: `3½"`.
pub(crate) fn part_of_a_cent(tail: &str) -> usize {
    let sign =
        tail.chars().next().filter(|c| PARTS.iter().any(|(sign, _)| sign == c)).map_or(0, char::len_utf8);
    if sign > 0 && tail[sign..].trim_start().starts_with('¢') { sign } else { 0 }
}

/// The length of a dash in the place of decimals, with its mark: `8.050,-`, `120,--`, `12.–`.
pub(crate) fn dashed_decimals(tail: &str) -> usize {
    let Some(dashes) = tail.strip_prefix([',', '.']) else { return 0 };
    let rest = dashes.trim_start_matches(['-', '–', '—']);
    let length = dashes.len() - rest.len();
    // `5.-10` is a span.
    if length == 0 || rest.starts_with(|c: char| c.is_alphanumeric()) { 0 } else { 1 + length }
}

/// The number with the decimals that a dash stands for.
fn with_cents(text: &str) -> Cow<'_, str> {
    // Hardly any number ends so.
    if text.ends_with(|c: char| c.is_ascii_digit()) {
        return Cow::Borrowed(text);
    }
    let whole = text.trim_end_matches(['-', '–', '—']);
    match whole.ends_with([',', '.']) && whole.len() < text.len() {
        true => Cow::Owned(format!("{whole}00")),
        false => Cow::Borrowed(text),
    }
}

/// Whether `mark` can stand inside a number: both habits' marks, and the blanks and apostrophes that group thousands.
pub(crate) fn is_mark(mark: char) -> bool {
    matches!(mark, '.' | ',' | '\'' | '’' | ' ' | '\u{a0}' | '\u{202f}')
}

fn grouped(text: &str, mark: char) -> bool {
    let mut groups = text.split(mark);
    let first_fits = groups.next().is_some_and(|first| (1..=3).contains(&first.len()) && all_digits(first));
    first_fits && groups.all(|group| group.len() == 3 && all_digits(group))
}

fn all_digits(text: &str) -> bool {
    text.bytes().all(|b| b.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(sheet: &[&str], expect: &[&str]) {
        let marks = Marks::of(sheet.iter().copied(), Habit::Point);
        let read: Vec<String> = sheet
            .iter()
            .map(|text| match marks.read(text) {
                Some(amount) => format!("{}{}", amount.value, if amount.unclear { "?" } else { "" }),
                None => "none".to_string(),
            })
            .collect();
        assert_eq!(read, expect, "{sheet:?}");
    }

    #[test]
    fn one_habit_is_decided_for_the_whole_sheet() {
        check(&["1.10", ".45", "1,250"], &["1.10", "0.45", "1250"]);
        check(&["5,80", ",45", "1.250"], &["5.80", "0.45", "1250"]);
        check(&["1.250,00", "0,125"], &["1250.00", "0.125"]);
        check(&["0.125", "1.125"], &["0.125", "1.125"]);
        check(&["1,250,000", "1,250"], &["1250000", "1250"]);
        check(&["1\u{a0}250,50", "1'250"], &["1250.50", "1250"]);
        check(&["8.050,-", "620,--", "1.250"], &["8050.00", "620.00", "1250"]);
        check(&["7'20", "0’95", "8,10", "1'250"], &["7.20", "0.95", "8.10", "1250"]);
    }

    #[test]
    fn what_nothing_decides_is_unclear() {
        check(&["1.250"], &["1.250?"]);
        check(&["1,250"], &["1250?"]);
        // The majority is read; what speaks against it is still read as it can only be, and asked about.
        check(&["1.10", "2.20", "5,80", "1,250"], &["1.10", "2.20", "5.80?", "1250?"]);
    }

    #[test]
    fn no_number_at_all() {
        check(&["12.03.2026", "1.2.3", "1,25,000", ".", "", "12a", "1234567890123456"], &["none"; 7]);
    }

    proptest! {
        /// An amount written in either habit, with or without grouping, is read back to the digit, as long as the
        /// sheet holds one number that shows the habit.
        #[test]
        fn round_trip(units in 0u64..1_000_000_000, cents in 0u64..100, comma: bool, group: bool) {
            let (decimal, thousands) = if comma { (',', ".") } else { ('.', ",") };
            let whole = units.to_string();
            let whole = if group {
                let chunks: Vec<&str> = whole.as_bytes().rchunks(3).rev()
                    .map(|chunk| std::str::from_utf8(chunk).unwrap()).collect();
                chunks.join(thousands)
            } else { whole };
            let with_cents = format!("{whole}{decimal}{cents:02}");
            let marks = Marks::of([with_cents.as_str()], Habit::Point);
            let expect = Decimal::new((units * 100 + cents) as i64, 2);
            prop_assert_eq!(marks.read(&with_cents), Some(Amount { value: expect, unclear: false }));
            prop_assert_eq!(marks.read(&whole), Some(Amount { value: Decimal::from(units), unclear: false }));
        }

        #[test]
        fn any_text(text in "\\PC{0,40}") {
            Marks::of([text.as_str()], Habit::Comma).read(&text);
        }
    }
}
