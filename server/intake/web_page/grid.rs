//! The cells of a table.

use scraper::ElementRef;

use super::Page;
use super::element::{is_block, is_cell, kind};
use super::flat::{lines_shown, shown};
use crate::document::{Cell, MOST_CHARACTERS, MOST_COLUMNS, MOST_TEXT, cut};
use crate::number::{Habit, Marks};
use crate::price;
use crate::sheet::Problem;

/// A cell spans at most so many rows or columns.
const WIDEST_SPAN: usize = 64;

impl Page {
    /// The cells of a table that holds data; `None` of one that only lays out the page.
    pub(super) fn data_table(&mut self, table: ElementRef<'_>) -> Option<Vec<Vec<Cell>>> {
        let mut rows: Vec<ElementRef<'_>> = Vec::new();
        for element in table.descendants().skip(1).filter_map(ElementRef::wrap) {
            match kind(element.value()) {
                "table" => return None,
                "tr" => rows.push(element),
                _ => {}
            }
        }
        let cells = |row: &ElementRef<'_>| row.child_elements().filter(|cell| is_cell(cell)).count();
        let wide = rows.iter().filter(|row| cells(row) >= 2).count();
        let several_lines = |row: &ElementRef<'_>| {
            row.child_elements().any(|cell| {
                cell.descendants()
                    .filter(|node| {
                        node.value().as_element().is_some_and(|e| e.name() == "br" || is_block(e.name()))
                    })
                    .take(4)
                    .count()
                    > 3
            })
        };
        (wide >= 2 || wide == 1 && !rows.iter().any(several_lines)).then(|| self.grid(&rows, table))
    }

    fn grid(&mut self, rows: &[ElementRef<'_>], table: ElementRef<'_>) -> Vec<Vec<Cell>> {
        let mut grid: Vec<Vec<Cell>> = Vec::new();
        // Columns that a cell above still spans, and for how many rows.
        let mut taken: Vec<usize> = Vec::new();
        let caption = table.child_elements().find(|element| element.value().name() == "caption");
        grid.extend(caption.map(|caption| vec![Cell::of(cut(&shown(caption), MOST_CHARACTERS))]));
        for row in rows {
            let mut cells: Vec<Cell> = Vec::new();
            for cell in row.child_elements().filter(is_cell) {
                while taken.get(cells.len()).is_some_and(|rows| *rows > 0) {
                    cells.push(Cell::Empty);
                }
                let span = |name: &str| {
                    cell.value()
                        .attr(name)
                        .and_then(|n| n.trim().parse().ok())
                        .unwrap_or(1usize)
                        .clamp(1, WIDEST_SPAN)
                };
                let at = cells.len();
                if at >= MOST_COLUMNS as usize {
                    self.problem(Problem::ColumnsCut { read: MOST_COLUMNS });
                    break;
                }
                let text = with_remark(cell).unwrap_or_else(|| shown(cell));
                self.text += text.len();
                let kept = cut(&text, MOST_CHARACTERS);
                cells.push(if self.text > MOST_TEXT { Cell::Empty } else { Cell::of(kept) });
                for _ in 1..span("colspan").min(MOST_COLUMNS as usize - at) {
                    cells.push(Cell::Empty);
                }
                if taken.len() < cells.len() {
                    taken.resize(cells.len(), 0);
                }
                let rows = span("rowspan");
                taken[at..cells.len()].iter_mut().for_each(|left| *left = (*left).max(rows));
            }
            taken.iter_mut().for_each(|left| *left = left.saturating_sub(1));
            if let Some(rows) = stacked(*row) {
                grid.extend(rows);
                continue;
            }
            // What stands alone across several columns is a heading, and says so.
            let alone = cells.iter().filter(|cell| !cell.is_empty()).count() == 1;
            if let (true, [Cell::Text(text), _, ..], 1) =
                (alone, cells.as_mut_slice(), row.child_elements().filter(is_cell).count())
            {
                text.push(':');
            }
            if cells.iter().any(|cell| !cell.is_empty()) {
                grid.push(cells);
            }
        }
        grid
    }
}

/// A name with what stands below it in small or slanted letters, which is a remark: in brackets.
fn with_remark(cell: ElementRef<'_>) -> Option<String> {
    let lines = lines_shown(cell);
    let [name, remark] = lines.as_slice() else { return None };
    let small = |element: &ElementRef<'_>| matches!(element.value().name(), "small" | "i" | "em");
    let set_apart =
        cell.descendants().filter_map(ElementRef::wrap).filter(small).any(|small| shown(small) == *remark);
    let is_name = |text: &str| text.contains(char::is_alphabetic);
    (set_apart && is_name(name) && is_name(remark)).then(|| format!("{name} ({remark})"))
}

/// The rows that stand on top of each other in one row's cells, line by line: names in one cell and their prices in the
/// next, or two lists side by side. `None` of a row that is one.
fn stacked(row: ElementRef<'_>) -> Option<Vec<Vec<Cell>>> {
    let cells: Vec<ElementRef<'_>> = row.child_elements().filter(is_cell).collect();
    let spans = |cell: &ElementRef<'_>| {
        ["colspan", "rowspan"]
            .iter()
            .any(|name| cell.value().attr(name).is_some_and(|span| span.trim() != "1"))
    };
    if cells.len() < 2 || cells.len() > MOST_COLUMNS as usize || cells.iter().any(spans) {
        return None;
    }
    let lines: Vec<Vec<String>> = cells.into_iter().map(lines_shown).collect();
    let height = lines.iter().map(Vec::len).max().filter(|height| *height > 1)?;
    let filled = lines.iter().filter(|lines| !lines.is_empty()).count();
    let high = lines.iter().filter(|lines| lines.len() == height).count();
    // A remark in two lines beside a name does not make two rows, nor does `$3.90` above `per lb`.
    let marks = Marks::of([], Habit::Point);
    let is_priced = |line: &&String| price::is_within(line, marks);
    let priced =
        |lines: &Vec<String>| lines.len() == height && lines.iter().filter(is_priced).count() * 2 > height;
    if high < 2 || high < filled || !lines.iter().any(priced) {
        return None;
    }
    let cell = |lines: &Vec<String>, at: usize| {
        lines.get(at).map_or(Cell::Empty, |line| Cell::of(cut(line, MOST_CHARACTERS)))
    };
    Some((0..height).map(|at| lines.iter().map(|lines| cell(lines, at)).collect()).collect())
}
