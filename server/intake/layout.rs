//! Text with its place on a page, to lines, columns and tables.
//!
//! Pages and typed lists have no cells, only pieces of text that stand somewhere. Pieces on one height are a line. A
//! strip that stays empty from line to line parts two columns of a page, if what is on either side names its prices by
//! itself; below a row of column names it parts the columns of a table.

mod gutter;
mod running;
mod wrapped;

use crate::columns::{self, Reach};
use crate::document::{Block, Cell, GridRow, Line};
use crate::number::Marks;
use crate::price;
use crate::scan::Scan;
use crate::sheet::Place;
use crate::tier::tier_at;
use gutter::names_its_price;
pub(crate) use running::without_running_rows;
pub(crate) use wrapped::with_whole_names;

/// Columns side by side are looked for this often, one within the other.
const MOST_SPLITS: usize = 4;
/// A column of a page has at least so many lines with a name and a price.
const FEWEST_LINES: usize = 3;
/// What a column of names is called that has no name itself.
const NAMES: &str = "Item";

/// A piece of text from `left` to `right`, in any unit of length.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Piece {
    pub text: String,
    pub left: f32,
    pub right: f32,
}

impl Piece {
    /// Whether one of the two stands above a part of the other.
    fn overlaps(&self, other: &Piece) -> bool {
        self.left < other.right && self.right > other.left
    }

    /// `-----`
    fn is_rule(&self) -> bool {
        self.text.chars().count() >= 3
            && self.text.chars().all(|c| matches!(c, '-' | '=' | '_' | '–' | '—' | '─'))
    }
}

/// The pieces on one height, from left to right.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    pub place: Place,
    pub pieces: Vec<Piece>,
}

impl Row {
    fn text(&self) -> String {
        let texts: Vec<&str> = self.pieces.iter().map(|piece| piece.text.as_str()).collect();
        texts.join("  ")
    }

    /// The parts of the row left and right of `x`.
    fn cut(&self, x: f32) -> (Row, Row) {
        let (left, right) = self.pieces.iter().cloned().partition(|piece| piece.right <= x);
        (Row { place: self.place.clone(), pieces: left }, Row { place: self.place.clone(), pieces: right })
    }

    fn crosses(&self, x: f32) -> bool {
        self.pieces.iter().any(|piece| piece.left < x && piece.right > x)
    }
}

/// The blocks that the rows of one page, or of one text, make.
pub(crate) fn blocks(rows: Vec<Row>, marks: Marks) -> Vec<Block> {
    let rows = rows.into_iter().map(without_leaders).collect();
    let mut parts = Vec::new();
    split(rows, marks, MOST_SPLITS, &mut parts);
    let mut blocks = Vec::new();
    for part in parts {
        tables(&part, marks, &mut blocks);
    }
    blocks
}

/// The row with names and prices apart that dots join: `Cans .......... 57`.
fn without_leaders(row: Row) -> Row {
    let apart = |piece: Piece| -> Vec<Piece> {
        let joined = |at: usize| piece.text[at..].starts_with("....");
        let Some(from) = (0..piece.text.len()).find(|&at| piece.text.is_char_boundary(at) && joined(at))
        else {
            return vec![piece];
        };
        let end =
            piece.text[from..].find(|c| c != '.' && c != ' ').map_or(piece.text.len(), |end| from + end);
        // `Cans ....... .62`: the last dot stands apart from the others, and is the price's own.
        let own =
            piece.text[..end].ends_with(" .") && piece.text[end..].starts_with(|c: char| c.is_ascii_digit());
        let dots = end - usize::from(own);
        let (name, price) = (piece.text[..from].trim_end(), piece.text[dots..].trim_start());
        // Letters are about as wide as each other, and dots narrower.
        let wide = |text: &str| {
            text.chars().count() as f32 * (piece.right - piece.left) / piece.text.chars().count() as f32
        };
        // `Cans ..........    57     58`: blanks stand between the dots and the prices.
        if price.is_empty() && name.chars().any(char::is_alphabetic) {
            return vec![Piece { text: name.to_string(), left: piece.left, right: piece.left + wide(name) }];
        }
        if name.is_empty() || price.is_empty() || price.contains("....") {
            return vec![piece];
        }
        vec![
            Piece { text: name.to_string(), left: piece.left, right: piece.left + wide(name) },
            Piece { text: price.to_string(), left: piece.right - wide(price), right: piece.right },
        ]
    };
    Row { place: row.place, pieces: row.pieces.into_iter().flat_map(apart).collect() }
}

/// Parts rows into columns that stand side by side, each read to its end before the next.
fn split(rows: Vec<Row>, marks: Marks, depth: usize, out: &mut Vec<Vec<Row>>) {
    let Some((from, to, x)) = (depth > 0).then(|| gutter::of(&rows, marks)).flatten() else {
        out.push(rows);
        return;
    };
    let mut rows = rows;
    let below = rows.split_off(to);
    let side_by_side = rows.split_off(from);
    out.push(rows);
    let (left, right): (Vec<Row>, Vec<Row>) = side_by_side.iter().map(|row| row.cut(x)).unzip();
    for mut column in [left, right] {
        column.retain(|row| !row.pieces.is_empty());
        split(column, marks, depth - 1, out);
    }
    split(below, marks, depth - 1, out);
}

/// Turns rows below a row of column names into a table, up to the next such row; the others stay lines.
fn tables(rows: &[Row], marks: Marks, blocks: &mut Vec<Block>) {
    let rows = with_names_in_one_row(rows, marks);
    let rows: Vec<Row> = (0..rows.len()).map(|at| with_names_apart(&rows, at, marks)).collect();
    let rows: Vec<Row> = (0..rows.len()).map(|at| with_names_column(&rows, at, marks)).collect();
    let grid: Vec<GridRow> = rows.iter().map(cells_as_pieces).collect();
    let reach = Reach::default();
    let looks_so = |at: usize| {
        rows[at].pieces.len() >= 2
            && columns::named(&grid[at], reach.of(&grid[at + 1..]), marks).is_some_and(|_| {
                // At least some row below has as many pieces.
                rows[at + 1..].iter().take(30).filter(|row| row.pieces.len() >= 2).count() >= 2
            })
    };
    // A row that was none of names before the end of one table is asked again for the next one.
    let mut known: Vec<Option<bool>> = vec![None; rows.len()];
    let mut heads = |at: usize| *known[at].get_or_insert_with(|| looks_so(at));
    let mut from = 0;
    while from < rows.len() {
        let Some(header) = (from..rows.len()).find(|&at| heads(at)) else {
            return push_lines(&rows[from..], blocks);
        };
        let width = rows[header].pieces.len();
        let next = (header + 2..rows.len()).find(|&at| rows[at].pieces.len() != width && heads(at));
        // Lines that have their price within them are no rows of it.
        let own = |row: &Row| row.pieces.len() == 1 && names_its_price(row, marks);
        let until = next.unwrap_or(rows.len());
        let mut lines = (header + 2..until).filter(|&at| own(&rows[at]));
        let first = lines.next().filter(|_| lines.nth(FEWEST_LINES - 2).is_some());
        let next = first.or(next);
        // A heading stands right above the names of the columns, and belongs to them.
        let end = next.map_or(rows.len(), |next| next - usize::from(rows[next - 1].pieces.len() == 1));
        let is_table = width >= 3 || tiered(&grid[header], marks) || next.is_some();
        match if is_table { extents(&rows[header..end], width) } else { None } {
            Some(columns) => {
                push_lines(&rows[from..header], blocks);
                let row = |row: &Row| GridRow { place: row.place.clone(), cells: assign(row, &columns) };
                blocks.push(Block::Table(rows[header..end].iter().map(row).collect()));
            }
            None => push_lines(&rows[from..end], blocks),
        }
        from = end;
    }
}

/// The rows with names of columns that stand in two of them joined: `under 500 | 500-1999` above `lb | lb`.
fn with_names_in_one_row(rows: &[Row], marks: Marks) -> Vec<Row> {
    let mut joined: Vec<Row> = Vec::with_capacity(rows.len());
    for row in rows {
        let both = joined.last().and_then(|above| in_one_row(above, row, marks));
        match both {
            Some(both) => {
                joined.pop();
                joined.push(both);
            }
            None => joined.push(row.clone()),
        }
    }
    joined
}

/// Two rows as one, each piece below the one it overlaps with; `None` where that names no more tiers than either row does,
/// and the upper one does not tell last week's from this week's: `p/kg | p/kg | last wk` above `< 250 kg | 250 kg + | < 250 kg`.
fn in_one_row(above: &Row, below: &Row, marks: Marks) -> Option<Row> {
    let holds_price = |row: &Row| row.pieces.iter().any(|piece| price::is_within(&piece.text, marks));
    if above.pieces.len() < 2 || below.pieces.len() < 2 || holds_price(above) || holds_price(below) {
        return None;
    }
    let tiers = |row: &Row| {
        let tier = |piece: &&Piece| tier_at(&Scan::of(&piece.text), marks, 0, false).is_some();
        row.pieces.iter().filter(tier).count()
    };
    let before = tiers(above).max(tiers(below));
    let names = |piece: &Piece| columns::names_price_or_past(&Cell::of(&piece.text), marks);
    let past = |piece: &Piece| names(piece) && !columns::names_price(&Cell::of(&piece.text), marks);
    let tells = above.pieces.iter().all(names) && above.pieces.iter().any(past);
    let mut both = below.clone();
    for piece in &above.pieces {
        match both.pieces.iter_mut().find(|other| piece.overlaps(other)) {
            Some(other) => {
                *other = Piece {
                    text: format!("{} {}", piece.text, other.text),
                    left: piece.left.min(other.left),
                    right: piece.right.max(other.right),
                }
            }
            None => both.pieces.push(piece.clone()),
        }
    }
    both.pieces.sort_by(|a, b| a.left.total_cmp(&b.left));
    let after = tiers(&both);
    (after >= 2 && after > before || before >= 2 && tells).then_some(both)
}

/// A row of column names of which two run together: `Prix maxi Semaine 47 (mini)`, where each row below has two prices.
fn with_names_apart(rows: &[Row], at: usize, marks: Marks) -> Row {
    let row = &rows[at];
    let below = with_one_piece_more(rows, at);
    let spans = |at: &usize| {
        let over = |other: &Piece| row.pieces[*at].overlaps(other);
        below.iter().all(|below| over(&below.pieces[*at]) && over(&below.pieces[*at + 1]))
    };
    let mut spanning = (0..row.pieces.len()).filter(spans);
    let (Some(at), None, FEWEST_LINES) = (spanning.next(), spanning.next(), below.len()) else {
        return row.clone();
    };
    let priced = |piece: &Piece| !price::prices(&Scan::of(&piece.text), marks).is_empty();
    if row.pieces.iter().any(priced)
        || !below.iter().all(|row| priced(&row.pieces[at]) && priced(&row.pieces[at + 1]))
    {
        return row.clone();
    }
    let (ends, begins) = (below[0].pieces[at].right, below[0].pieces[at + 1].left);
    let names_price = |piece: &Piece| columns::names_price_or_past(&Cell::of(&piece.text), marks);
    let names = parted(&row.pieces[at], ends, begins).filter(|names| names.iter().any(names_price));
    let Some(names) = names else { return row.clone() };
    let mut pieces = row.pieces.clone();
    pieces.splice(at..=at, names);
    Row { place: row.place.clone(), pieces }
}

/// The first few rows below that have one piece more than the row there.
fn with_one_piece_more(rows: &[Row], at: usize) -> Vec<&Row> {
    let more = rows[at].pieces.len() + 1;
    rows[at + 1..].iter().take(40).filter(|below| below.pieces.len() == more).take(FEWEST_LINES).collect()
}

/// A name cut at the blank where one column ends and the other begins: the first name ends where the prices below it do, or the
/// second begins where those do.
fn parted(piece: &Piece, ends: f32, begins: f32) -> Option<[Piece; 2]> {
    // Letters are about as wide as each other.
    let wide = (piece.right - piece.left) / piece.text.chars().count() as f32;
    let x = |nth: usize| piece.left + wide * nth as f32;
    let off = |nth: usize| (x(nth) - ends).abs().min((x(nth + 1) - begins).abs());
    let blanks = piece.text.char_indices().enumerate().filter(|(_, (_, c))| *c == ' ');
    let (nth, (byte, _)) = blanks.min_by(|(a, _), (b, _)| off(*a).total_cmp(&off(*b)))?;
    let (first, second) = piece.text.split_at(byte);
    Some([
        Piece { text: first.to_string(), left: piece.left, right: x(nth) },
        Piece { text: second.trim_start().to_string(), left: x(nth + 1), right: piece.right },
    ])
}

/// A row of column names that leaves out the first, in which the names stand: `      LOW     HIGH`.
fn with_names_column(rows: &[Row], at: usize, marks: Marks) -> Row {
    let row = &rows[at];
    // `NOW     LAST WK`: of one price or the other.
    let all_prices = || {
        row.pieces.iter().all(|piece| columns::names_price_or_past(&Cell::of(&piece.text), marks))
            && row.pieces.iter().any(|piece| columns::names_price(&Cell::of(&piece.text), marks))
    };
    if row.pieces.len() < 2 || !all_prices() {
        return row.clone();
    }
    let below = with_one_piece_more(rows, at);
    let Some(left) = below.iter().map(|below| below.pieces[0].left).reduce(f32::min) else {
        return row.clone();
    };
    let beyond =
        row.pieces.first().is_some_and(|first| below.iter().all(|below| below.pieces[0].right < first.left));
    if below.len() < FEWEST_LINES || !beyond {
        return row.clone();
    }
    let names = Piece { text: NAMES.to_string(), left, right: left + 1.0 };
    Row { place: row.place.clone(), pieces: [names].into_iter().chain(row.pieces.iter().cloned()).collect() }
}

fn tiered(row: &GridRow, marks: Marks) -> bool {
    columns::named(row, &[], marks).is_some_and(|panels| {
        panels.iter().any(|panel| panel.prices.iter().any(|price| price.tier.is_some()))
    })
}

fn cells_as_pieces(row: &Row) -> GridRow {
    GridRow {
        place: row.place.clone(),
        cells: row.pieces.iter().map(|piece| Cell::of(&piece.text)).collect(),
    }
}

fn push_lines(rows: &[Row], blocks: &mut Vec<Block>) {
    let lines: Vec<Line> = rows
        .iter()
        .filter(|row| !row.pieces.is_empty())
        .map(|row| Line { place: row.place.clone(), text: row.text() })
        .collect();
    if lines.is_empty() {
        return;
    }
    match blocks.last_mut() {
        Some(Block::Lines(before)) => before.extend(lines),
        _ => blocks.push(Block::Lines(lines)),
    }
}

/// From where to where each column reaches: pieces that overlap from row to row are one column. Rows of a single piece
/// are headings and remarks, and say nothing. `None` where the columns run into each other.
fn extents(rows: &[Row], named: usize) -> Option<Vec<(f32, f32)>> {
    // Where enough rows are as full as the names of the columns, those with less in them may be lines that run over the page.
    let full = named.min(3);
    let least = if rows.iter().filter(|row| row.pieces.len() >= full).count() > 3 { full } else { 2 };
    let columns = strips(rows, least);
    // `Prix mini  Prix maxi  Semaine 47 (mini)`: a long name reaches over the column beside its own.
    let below = (columns.len() < named).then(|| strips(&rows[1..], least));
    let columns = below.filter(|below| below.len() == named).unwrap_or(columns);
    (columns.len() >= 2 && columns.len() + 1 >= named && columns.len() <= 24).then_some(columns)
}

/// The strips of the page that pieces of rows with at least so many of them stand in, from left to right.
fn strips(rows: &[Row], least: usize) -> Vec<(f32, f32)> {
    let mut columns: Vec<(f32, f32)> = Vec::new();
    let pieces = rows.iter().filter(|row| row.pieces.len() >= least).flat_map(|row| &row.pieces);
    // A rule of dashes may be as wide as the paper has room.
    for piece in pieces.filter(|piece| !piece.is_rule()) {
        let mut joined = (piece.left, piece.right);
        columns.retain(|column| {
            let apart = column.1 < joined.0 || column.0 > joined.1;
            if !apart {
                joined = (joined.0.min(column.0), joined.1.max(column.1));
            }
            apart
        });
        columns.push(joined);
    }
    columns.sort_by(|a, b| a.0.total_cmp(&b.0));
    columns
}

fn assign(row: &Row, columns: &[(f32, f32)]) -> Vec<Cell> {
    let mut texts: Vec<String> = vec![String::new(); columns.len()];
    for piece in &row.pieces {
        let overlap = |column: &(f32, f32)| piece.right.min(column.1) - piece.left.max(column.0);
        let at = (0..columns.len())
            .max_by(|&a, &b| overlap(&columns[a]).total_cmp(&overlap(&columns[b])))
            .unwrap_or(0);
        // A heading over several columns stands where it begins.
        let at = if row.pieces.len() == 1 {
            columns.iter().position(|column| piece.left <= column.1).unwrap_or(at)
        } else {
            at
        };
        if !texts[at].is_empty() {
            texts[at].push(' ');
        }
        texts[at].push_str(&piece.text);
    }
    texts.iter().map(|text| Cell::of(text)).collect()
}
