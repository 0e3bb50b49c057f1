//! Plain text, pasted or from a file: lines as they stand, typed tables, and messages without what wraps them.

mod cells;
mod ruled;
mod spelled;

pub(crate) use cells::without_labels;

use std::collections::HashSet;
use std::ops::RangeInclusive;

use crate::context::{is_heading, speaks_of_goods};
use crate::decode::Decoded;
use crate::document::{Block, Cell, Document, GridRow, Line, MOST_CHARACTERS, MOST_COLUMNS, MOST_ROWS, cut};
use crate::layout::{self, Piece, Row};
use crate::message::{self, Wrapped};
use crate::number::{Habit, Marks};
use crate::price::{self, Strength};
use crate::scan::Scan;
use crate::sheet::{Place, Problem};
use crate::vocabulary::{Use, VOCABULARY};
use ruled::beside_a_rule;

/// Between the cells of a row, where a line is one.
const SEPARATOR: char = ';';
/// So many lines show whether a rule parts them.
const MOST_RULED: usize = 200;
/// The ends of names of pictures.
const PICTURES: [&str; 6] = [".jpg", ".jpeg", ".png", ".gif", ".webp", ".svg"];
/// So many lines with tabs after each other are rows of a table.
const FEWEST_ROWS: usize = 3;
/// So many cards make a list of them.
const FEWEST_CARDS: usize = 4;

/// Characters of the longest line of a paragraph that a mail program broke.
const WIDTHS: RangeInclusive<usize> = 60..=90;
/// So many lines below each other may be one paragraph.
const FEWEST_BROKEN: usize = 3;
/// Words of a line that is part of a sentence.
const FEWEST_WORDS: usize = 6;

pub(crate) fn parse(decoded: &Decoded) -> Document {
    let mut document = Document::default();
    if decoded.damaged {
        document.problems.push(Problem::Undecoded);
    }
    let mut lines = Vec::new();
    for (number, text) in (1u32..).zip(decoded.text.split('\n')) {
        if number > MOST_ROWS {
            document.problems.push(Problem::RowsCut { read: MOST_ROWS });
            break;
        }
        let text = text.trim_end();
        let kept = cut(text, MOST_CHARACTERS);
        if kept.len() < text.len() {
            document.problems.push(Problem::CellsCut { characters: MOST_CHARACTERS as u32 });
        }
        if !kept.trim().is_empty() {
            lines.push(Line { place: Place::Line(number), text: kept.to_string() });
        }
    }
    document.problems.dedup();
    let Wrapped { lines, aside, correcting, dates } = message::unwrap(lines);
    document.aside = aside;
    document.correcting = correcting;
    let (pictures, lines) = lines.into_iter().partition(|line| is_of_a_picture(&line.text));
    document.aside.extend::<Vec<Line>>(pictures);
    let lines = spelled::in_figures(paragraphs(lines, &mut document.joined));
    let lines = cells::joined(lines, &mut document.joined, &mut document.aside);
    let read = [document.joined.as_slice(), &document.aside].concat();
    let lines = without_remarks(lines, &read, &mut document.aside);
    document.dates = dates;
    document.blocks = blocks(lines);
    document
}

/// `[image: copper.jpg]`: what a page shows is none of its text.
fn is_of_a_picture(text: &str) -> bool {
    let bare = text.trim().trim_start_matches('!');
    let bracketed = bare.starts_with(['[', '(', '<']) && bare.ends_with([']', ')', '>']);
    let name = bare.trim_end_matches([']', ')', '>']).to_ascii_lowercase();
    bracketed && !price::is_told(text) && PICTURES.iter().any(|end| name.ends_with(end))
}

/// The lines that stand right below each other, with none between but such as are read already.
fn together<'l>(lines: &'l [Line], read: &[Line]) -> Vec<&'l [Line]> {
    let number = |line: &Line| match line.place {
        Place::Line(number) => number,
        _ => 0,
    };
    let read: HashSet<u32> = read.iter().map(number).collect();
    let follows = |above: &Line, below: &Line| {
        number(above) < number(below)
            && (number(above) + 1..number(below)).all(|between| read.contains(&between))
    };
    lines.chunk_by(follows).collect()
}

/// Sentences that a mail program broke into lines of one width, whole again. A list has a name and a price in each line, and
/// is left as it is.
fn paragraphs(lines: Vec<Line>, joined: &mut Vec<Line>) -> Vec<Line> {
    let mut whole: Vec<Line> = Vec::with_capacity(lines.len());
    for lines in together(&lines, &[]) {
        let width = lines.iter().map(|line| line.text.chars().count()).max().unwrap_or(0);
        let broken = WIDTHS.contains(&width) && lines.len() >= FEWEST_BROKEN;
        let mut above: Option<&str> = None;
        for line in lines {
            let goes_on = broken && above.is_some_and(|above| goes_on(above, &line.text, width));
            let fits = |above: &&mut Line| above.text.len() + line.text.len() < MOST_CHARACTERS;
            match whole.last_mut().filter(|above| goes_on && fits(above)) {
                Some(sentence) => {
                    sentence.text.push(' ');
                    sentence.text.push_str(line.text.trim_start());
                    joined.push(line.clone());
                }
                None => whole.push(line.clone()),
            }
            above = Some(&line.text);
        }
    }
    whole
}

/// Whether a sentence of the upper line goes on in the lower one, whose first word did not fit into the upper one.
fn goes_on(above: &str, below: &str, width: usize) -> bool {
    let flowing =
        |text: &str| !text.trim().contains("  ") && !text.contains(['\t', '|']) && !text.contains("...");
    let words =
        |text: &str| text.split_whitespace().filter(|word| word.chars().all(char::is_alphabetic)).count();
    let first = below.split_whitespace().next().unwrap_or_default();
    // Somebody who breaks lines by hand leaves some room.
    let was_full = above.chars().count() + 1 + first.chars().count() > width * 7 / 8;
    let last = above.split_whitespace().next_back().unwrap_or_default();
    let priced = |text: &str| {
        let last = text.split_whitespace().next_back().unwrap_or_default();
        last.contains(|c: char| c.is_ascii_digit()) && !last.ends_with(',')
    };
    // `microwaves 0.18` is an item of its own.
    let item = words(below) < FEWEST_WORDS / 2 && speaks_of_goods(first);
    // `… and $3.95 for`, and in the next line `No. 1 copper`.
    let leads = [Use::For, Use::Lead].iter().any(|is| VOCABULARY.has(last, *is));
    // `power supplies .24 leave the wires on`
    let told = |text: &str| price::is_within(text, Marks::of([], Habit::Point));
    let named = speaks_of_goods(first) && !VOCABULARY.has(first, Use::Charge);
    let goods = !leads && named && told(above) && told(below);
    let list = priced(below) && (priced(above) || item) || goods;
    was_full
        && flowing(above)
        && flowing(below)
        && words(above) >= FEWEST_WORDS
        && !last.ends_with(['.', '!', '?', ':'])
        && !list
        && (leads
            || first.starts_with(|c: char| c.is_lowercase() || c.is_ascii_digit() || "€$£:–".contains(c)))
}

/// Of a list of cards that blank lines part, each a name, what is said of it and its prices below, the names and prices;
/// the remarks are set aside.
fn without_remarks(lines: Vec<Line>, read: &[Line], aside: &mut Vec<Line>) -> Vec<Line> {
    let marks = Marks::of([], Habit::Point);
    let cards = together(&lines, read);
    let only_price = |line: &Line| {
        let scan = Scan::of(&line.text);
        let prices = price::prices(&scan, marks);
        VOCABULARY.has(&line.text, Use::OnRequest)
            || prices.first().is_some_and(|price| price.first == 0 && price.strength > Strength::Weak)
    };
    // How many lines of a card stand above its prices; `None` where a name stands below one.
    let above = |card: &[Line]| {
        let above = card.iter().take_while(|line| !only_price(line)).count();
        (above > 0 && above < card.len() && card[above..].iter().all(only_price)).then_some(above)
    };
    let priced = cards.iter().filter(|card| card.iter().any(only_price)).count();
    let heights: Vec<Option<usize>> = cards.iter().map(|card| above(card)).collect();
    let (whole, remarked) =
        (heights.iter().flatten().count(), heights.iter().flatten().filter(|above| **above > 1).count());
    if whole < FEWEST_CARDS || remarked < 2 || whole * 10 < priced * 9 {
        return lines;
    }
    let mut names = Vec::new();
    for (card, above) in cards.into_iter().zip(heights) {
        for (at, line) in card.iter().enumerate() {
            let remark = above.is_some_and(|above| (1..above).contains(&at));
            if remark { aside.push(line.clone()) } else { names.push(line.clone()) }
        }
    }
    names
}

/// Whether a rule of strokes parts two lists of a text.
pub(crate) fn is_ruled(text: &str) -> bool {
    let line = |text: &str| Line { place: Place::Line(0), text: cut(text, MOST_CHARACTERS).to_string() };
    let lines: Vec<Line> = text.lines().take(MOST_RULED).map(line).collect();
    beside_a_rule(&lines).is_some()
}

/// Runs of lines with tabs as tables, and what a typed page lays out in columns.
pub(crate) fn blocks(lines: Vec<Line>) -> Vec<Block> {
    let mut blocks = Vec::new();
    let mut loose: Vec<Line> = Vec::new();
    let mut at = 0;
    while at < lines.len() {
        let tabbed = rows_of_a_table(&lines[at..]);
        let (mark, rows) = match tabbed >= FEWEST_ROWS {
            true => ('\t', tabbed),
            false => (SEPARATOR, rows_of_cells(&lines[at..])),
        };
        if rows >= FEWEST_ROWS {
            laid_out(std::mem::take(&mut loose), &mut blocks);
            let row = |line: &Line| GridRow { place: line.place.clone(), cells: cells(&line.text, mark) };
            blocks.push(Block::Table(lines[at..at + rows].iter().map(row).collect()));
            at += rows;
        } else {
            loose.push(lines[at].clone());
            at += 1;
        }
    }
    laid_out(loose, &mut blocks);
    blocks
}

/// How many of the first lines are rows of one table: each has tabs, or stands alone as a heading between rows of the same
/// columns.
fn rows_of_a_table(lines: &[Line]) -> usize {
    let tabs = |line: &Line| line.text.trim().matches('\t').count();
    let mut rows = 0;
    while let Some(line) = lines.get(rows) {
        let heads = || {
            let alike = |above: &Line, below: &Line| tabs(above) > 1 && tabs(above) == tabs(below);
            let between = rows.checked_sub(1).and_then(|above| Some((&lines[above], lines.get(rows + 1)?)));
            between.is_some_and(|(above, below)| alike(above, below)) && is_heading(&line.text)
        };
        if tabs(line) == 0 && !heads() {
            break;
        }
        rows += 1;
    }
    rows
}

/// How many of the first lines have as many cells as each other between semicolons, none of which is a name with its price.
fn rows_of_cells(lines: &[Line]) -> usize {
    let marks = |line: &Line| line.text.matches(SEPARATOR).count();
    let Some(first) = lines.first().map(marks).filter(|marks| *marks > 1) else { return 0 };
    let rows = lines.iter().take_while(|line| marks(line) == first);
    rows.take_while(|line| !line.text.split(SEPARATOR).any(ruled::is_item)).count()
}

fn cells(text: &str, mark: char) -> Vec<Cell> {
    text.split(mark).take(MOST_COLUMNS as usize).map(Cell::of).collect()
}

/// Reads blanks as a typewriter's: two or more part columns. Where they part nothing, the lines stay as they are.
fn laid_out(lines: Vec<Line>, blocks: &mut Vec<Block>) {
    if lines.is_empty() {
        return;
    }
    if let Some((left, right)) = beside_a_rule(&lines) {
        laid_out(left, blocks);
        return laid_out(right, blocks);
    }
    let marks = Marks::of(
        lines.iter().flat_map(|line| Scan::of(&line.text).numbers().collect::<Vec<_>>()),
        Habit::Point,
    );
    let rows: Vec<Row> = lines.iter().map(row).collect();
    let mut laid = layout::blocks(rows, marks);
    match laid.as_slice() {
        [Block::Lines(same)]
            if same.len() == lines.len() && same.iter().zip(&lines).all(|(a, b)| a.place == b.place) =>
        {
            blocks.push(Block::Lines(lines))
        }
        _ => blocks.append(&mut laid),
    }
}

/// The pieces of a line between two or more blanks, in characters.
fn row(line: &Line) -> Row {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut text = String::new();
    let (mut start, mut blanks, mut column) = (0usize, 0usize, 0usize);
    for c in line.text.chars() {
        let width = if c == '\t' { 8 - column % 8 } else { 1 };
        if c.is_whitespace() {
            blanks += if c == '\t' { width.max(2) } else { 1 };
        } else {
            if blanks >= 2 && !text.is_empty() {
                pieces.push(piece(&mut text, start));
            }
            if text.is_empty() {
                start = column;
            } else {
                (0..blanks).for_each(|_| text.push(' '));
            }
            text.push(c);
            blanks = 0;
        }
        column += width;
    }
    if !text.is_empty() {
        pieces.push(piece(&mut text, start));
    }
    join_title(&mut pieces);
    Row { place: line.place.clone(), pieces }
}

/// `B.  WHAT WE CHARGE YOU    (plus VAT)` is one title: its letter and what stands in brackets behind it are no columns.
fn join_title(pieces: &mut Vec<Piece>) {
    let lettered = pieces.len() > 1 && is_letter_of_a_list(&pieces[0].text);
    let rest = &pieces[usize::from(lettered)..];
    let bracketed = rest.len() == 2 && rest[1].text.starts_with('(') && rest[1].text.ends_with(')');
    let title = rest.len() == 1 || bracketed;
    let plain = |piece: &Piece| !piece.text.contains(|c: char| c.is_ascii_digit());
    if !title || pieces.len() < 2 || !rest.iter().all(plain) {
        return;
    }
    let texts: Vec<&str> = pieces.iter().map(|piece| piece.text.as_str()).collect();
    let whole = Piece { text: texts.join(" "), left: pieces[0].left, right: pieces[pieces.len() - 1].right };
    *pieces = vec![whole];
}

/// `B.`, `2)`
fn is_letter_of_a_list(text: &str) -> bool {
    let mut signs = text.chars();
    let (Some(letter), Some('.' | ')'), None) = (signs.next(), signs.next(), signs.next()) else {
        return false;
    };
    letter.is_alphanumeric()
}

fn piece(text: &mut String, start: usize) -> Piece {
    let text = std::mem::take(text);
    let length = text.chars().count();
    Piece { text, left: start as f32, right: (start + length) as f32 }
}
