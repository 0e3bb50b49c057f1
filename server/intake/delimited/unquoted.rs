//! Commas of names that nobody put into quotation marks: `Cell phones, battery out,4.10,5.74`.

use crate::document::{Cell, GridRow};

/// A name has no more commas of its own.
const MOST_COMMAS: usize = 2;

/// Joins the cells of a name that its own commas cut, where it comes first: below the names of the columns, a row has as many
/// cells too many, and only then as many amounts as columns are left.
pub(super) fn join(rows: &mut [GridRow]) {
    let names_columns = |row: &GridRow| row.cells.len() > 1 && row.cells.iter().all(is_word);
    let Some(head) = rows.iter().position(names_columns) else { return };
    let columns = rows[head].cells.len();
    for row in &mut rows[head + 1..] {
        let commas = row.cells.len().saturating_sub(columns);
        if !(1..=MOST_COMMAS).contains(&commas) {
            continue;
        }
        let (name, amounts) = row.cells.split_at(commas + 1);
        if name.iter().all(is_word) && amounts.iter().all(is_amount) {
            let name: Vec<String> = name.iter().map(Cell::shown).collect();
            row.cells.splice(..=commas, [Cell::Text(name.join(", "))]);
        }
    }
}

fn is_word(cell: &Cell) -> bool {
    matches!(cell, Cell::Text(text) if text.chars().any(char::is_alphabetic) && !is_amount(cell))
}

/// `4.10`, `$0.28/lb`
fn is_amount(cell: &Cell) -> bool {
    let Cell::Text(text) = cell else { return false };
    text.trim_start_matches(|c: char| !c.is_alphanumeric()).starts_with(|c: char| c.is_ascii_digit())
        && text.chars().filter(|c| c.is_alphabetic()).count() <= 3
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Place;

    fn joined(rows: &[&str]) -> Vec<Vec<String>> {
        let row =
            |text: &&str| GridRow { place: Place::Line(1), cells: text.split(',').map(Cell::of).collect() };
        let mut rows: Vec<GridRow> = rows.iter().map(row).collect();
        join(&mut rows);
        rows.iter().map(|row| row.cells.iter().map(Cell::shown).collect()).collect()
    }

    #[test]
    fn commas_of_names() {
        let head = "item,USD/lb,CAD/lb";
        for (row, expect) in [
            ("Cell phones, battery out,4.10,5.74", &["Cell phones, battery out", "4.10", "5.74"][..]),
            ("UPS, big, no battery,$0.14,0.20", &["UPS, big, no battery", "$0.14", "0.20"]),
            ("Console boards,1.55,2.17", &["Console boards", "1.55", "2.17"]),
            ("Magnetrons,0.35,0.49,clean", &["Magnetrons", "0.35", "0.49", "clean"]),
            ("Lead,1,35,1.90", &["Lead", "1", "35", "1.90"]),
        ] {
            assert_eq!(joined(&[head, row])[1], expect, "{row}");
        }
        assert_eq!(joined(&["Tin, old,4.10"])[0], ["Tin", "old", "4.10"]);
    }
}
