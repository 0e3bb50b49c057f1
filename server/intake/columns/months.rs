//! Columns of prices that are called after months or weeks: `Prix oct. | Prix nov.`, `Okt 26 | Nov 26`, `KW 47 | KW 48`.

use super::Named;
use crate::context::Context;
use crate::document::Cell;
use crate::vocabulary::{Column, Use, VOCABULARY};
use crate::wording::normal_wording;

/// Months of a year.
const YEAR: i32 = 12;
/// Weeks of a year, at the most (ISO 8601).
const MOST_WEEKS: i32 = 53;
/// Days of a month, at the most.
const DAYS: i32 = 31;

/// Of prices of several months or weeks, those of the last one are read; where other columns are called after prices, or nothing
/// tells which came last, none are.
pub(super) fn this_month(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let months: Vec<Option<Month>> = cells.iter().map(month).collect();
    let weeks: Vec<Option<i32>> = cells.iter().map(week).collect();
    let told = |at: usize| months[at].is_some() || weeks[at].is_some();
    let priced = |at: usize| {
        let name = names[at].as_ref();
        !told(at) && name.is_some_and(|name| matches!(name.column, Column::Price | Column::Low))
    };
    if (0..names.len()).any(priced) {
        return names;
    }
    let last_month = latest(&months.iter().flatten().copied().collect::<Vec<_>>());
    let last_week = latest_week(&weeks.iter().flatten().copied().collect::<Vec<_>>());
    let is_last = |at: usize| match (last_month, last_week) {
        (Some(month), None) => Some(months[at]? == month),
        (None, Some(week)) => Some(weeks[at]? == week),
        _ => None,
    };
    for (at, cell) in cells.iter().enumerate().take(names.len()) {
        if let Some(is_last) = is_last(at) {
            let column = if is_last { Column::Price } else { Column::Other };
            names[at] = Some(Named { column, context: Context::of(&cell.shown(), true), tier: None });
        }
    }
    names
}

/// A month's place in the year, and the number beside it: its year, or one of its days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Month {
    place: i32,
    number: Option<i32>,
}

fn latest(told: &[Month]) -> Option<Month> {
    let [first, .., last] = told else { return None };
    let numbers: Vec<i32> = told.iter().filter_map(|month| month.number).collect();
    let (least, most) =
        (numbers.iter().min().copied().unwrap_or(0), numbers.iter().max().copied().unwrap_or(0));
    // `Oct 30 | Nov 27` are days: nobody shows the prices of three years.
    let years = numbers.len() == told.len() && most - least <= 1 && least >= 20;
    let days = numbers.len() == told.len() && most <= DAYS;
    if !(years || days || numbers.is_empty()) {
        return None;
    }
    let key = |month: &Month| match month.number {
        Some(year) if years => year * YEAR + month.place,
        number => month.place * (DAYS + 1) + number.unwrap_or(0),
    };
    if years {
        return told.iter().max_by_key(|month| key(month)).copied();
    }
    // Without their years, January comes after December: `Nov | Dec | Jan`, and backwards. Of two far apart, either may be last.
    if told.len() == 2 && (first.place - last.place).abs() > YEAR / 2 {
        return None;
    }
    let breaks = |fits: fn(i32, i32) -> bool| {
        told.windows(2).filter(|pair| !fits(key(&pair[0]), key(&pair[1]))).count()
    };
    match (breaks(|a, b| a < b), breaks(|a, b| a > b)) {
        (0, _) => Some(*last),
        (_, 0) => Some(*first),
        (1, _) if last.place < first.place => Some(*last),
        (_, 1) if first.place < last.place => Some(*first),
        _ => None,
    }
}

fn is_of_prices(word: &str) -> bool {
    VOCABULARY.column(word) == Some(Column::Price)
        || VOCABULARY.currencies(word).is_some()
        || VOCABULARY.unit(word).is_some()
}

/// The month that a column is called after, and nothing else but its year, or a day, and words for prices.
fn month(cell: &Cell) -> Option<Month> {
    let Cell::Text(text) = cell else { return None };
    let (mut place, mut number) = (None, None);
    for word in normal_wording(text).split(' ') {
        if let Some(month) = VOCABULARY.month(word).filter(|_| place.is_none()) {
            place = Some(i32::from(month) - 1);
        } else if let Some(digits) = word.parse::<i32>().ok().filter(|_| number.is_none()) {
            let known = (1..100).contains(&digits) || (1990..2100).contains(&digits);
            // The century says nothing more.
            number = known.then_some(digits % 100);
            number?;
        } else if !is_of_prices(word) {
            return None;
        }
    }
    Some(Month { place: place?, number })
}

/// The week that a column is called after: `Prix semaine 48`, `KW 48`.
fn week(cell: &Cell) -> Option<i32> {
    let Cell::Text(text) = cell else { return None };
    let normal = normal_wording(text);
    let words: Vec<&str> = normal.split(' ').collect();
    let at = words.iter().position(|word| VOCABULARY.has(word, Use::Week))?;
    let number = words.get(at + 1)?.parse().ok().filter(|week| (1..=MOST_WEEKS).contains(week))?;
    let others = words[..at].iter().chain(&words[at + 2..]);
    others.into_iter().all(|word| is_of_prices(word)).then_some(number)
}

/// Of weeks more than half a year apart, the earlier numbers are those of the year that began since.
fn latest_week(told: &[i32]) -> Option<i32> {
    let (least, most) = (*told.iter().min()?, *told.iter().max()?);
    let half = MOST_WEEKS / 2;
    match most - least {
        0 => None,
        apart if apart <= half => Some(most),
        _ => told.iter().copied().filter(|&week| week <= half).max(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_months() {
        let of = |text: &str| month(&Cell::of(text)).map(|month| (month.place, month.number));
        assert_eq!(of("Prix oct."), Some((9, None)));
        assert_eq!(of("Prix nov. €/kg"), Some((10, None)));
        assert_eq!(of("Nov 2026"), Some((10, Some(26))));
        for other in ["Price", "Nov scrap", "May 4.10", ""] {
            assert_eq!(of(other), None, "{other}");
        }
    }

    #[test]
    fn the_last_of_several() {
        let last = |names: &[&str]| {
            let told: Vec<Month> = names.iter().filter_map(|name| month(&Cell::of(name))).collect();
            assert_eq!(told.len(), names.len());
            latest(&told)
                .and_then(|last| told.iter().position(|month| *month == last))
                .map(|at| names[at].to_string())
        };
        for (names, expect) in [
            (&["Oct", "Nov"][..], Some("Nov")),
            (&["Nov", "Oct"], Some("Nov")),
            (&["Jan", "Apr", "Jul", "Oct"], Some("Oct")),
            (&["Nov", "Dec", "Jan"], Some("Jan")),
            (&["Jan", "Dec", "Nov"], Some("Jan")),
            (&["Dec 25", "Jan 26"], Some("Jan 26")),
            (&["Oct 30", "Nov 27"], Some("Nov 27")),
            (&["Oct 30", "Nov 6", "Nov 27"], Some("Nov 27")),
            (&["Jan", "Dec"], None),
            (&["Oct", "Nov 26"], None),
            (&["Oct"], None),
        ] {
            assert_eq!(last(names).as_deref(), expect, "{names:?}");
        }
    }

    #[test]
    fn the_last_of_several_weeks() {
        let of = |text: &str| week(&Cell::of(text));
        assert_eq!(
            [of("PRIX SEMAINE 48"), of("KW 47 €/kg"), of("Week 54"), of("Week")],
            [Some(48), Some(47), None, None]
        );
        for (weeks, expect) in [
            (&[47, 48][..], Some(48)),
            (&[48, 47, 46], Some(48)),
            (&[52, 53, 1], Some(1)),
            (&[48], None),
            (&[], None),
        ] {
            assert_eq!(latest_week(weeks), expect, "{weeks:?}");
        }
    }
}
