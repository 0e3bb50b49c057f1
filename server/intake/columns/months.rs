//! Columns of prices that are called after months: `Prix oct. | Prix nov.`, `Okt 26 | Nov 26`.

use super::Named;
use crate::context::Context;
use crate::document::Cell;
use crate::vocabulary::{Column, VOCABULARY};
use crate::wording::normal_wording;

/// Months of a year.
const YEAR: i32 = 12;

/// Of prices of several months, those of the last one are read.
pub(super) fn this_month(mut names: Vec<Option<Named>>, cells: &[Cell]) -> Vec<Option<Named>> {
    let months: Vec<Option<i32>> = cells.iter().map(month).collect();
    let mut told: Vec<i32> = months.iter().flatten().copied().collect();
    told.sort_unstable();
    told.dedup();
    let [first, .., last] = told.as_slice() else { return names };
    // Without their years, January comes after December.
    let turn = *last < YEAR && last - first > YEAR / 2;
    let place = |month: i32| if turn && month < YEAR / 2 { month + YEAR } else { month };
    let latest = told.iter().copied().map(place).max();
    for ((name, month), cell) in names.iter_mut().zip(months).zip(cells) {
        if let Some(month) = month {
            let column = if Some(place(month)) == latest { Column::Price } else { Column::Other };
            *name = Some(Named { column, context: Context::of(&cell.shown(), true), tier: None });
        }
    }
    names
}

/// The month that a column is called after, and nothing else but its year and words for prices: its place in the year, or
/// counted from the year nought where it has one.
fn month(cell: &Cell) -> Option<i32> {
    let Cell::Text(text) = cell else { return None };
    let (mut found, mut year) = (None, 0);
    for word in normal_wording(text).split(' ') {
        if let Some(month) = VOCABULARY.month(word).filter(|_| found.is_none()) {
            found = Some(i32::from(month) - 1);
        } else if let Ok(number) = word.parse::<i32>() {
            year = match number {
                20..=99 => 2000 + number,
                1990..2100 => number,
                _ => return None,
            };
        } else if VOCABULARY.column(word) != Some(Column::Price) && VOCABULARY.currencies(word).is_none() {
            return None;
        }
    }
    found.map(|month| year * YEAR + month)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_months() {
        let of = |text: &str| month(&Cell::of(text));
        assert_eq!(of("Prix oct."), Some(9));
        assert_eq!(of("Nov 26"), Some(2026 * 12 + 10));
        assert_eq!(of("Dezember"), Some(11));
        for other in ["Price", "12 Nov", "Nov scrap", "May 4.10", ""] {
            assert_eq!(of(other), None, "{other}");
        }
    }
}
