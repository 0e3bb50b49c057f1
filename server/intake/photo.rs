//! Photos and scans: a picture cleaned in several ways, and what a text recogniser read in each, put together.
//!
//! Recognising text is another program's work, which the caller runs: [`clean`] makes the pictures for it, and
//! [`Readings`] takes its tables of words. One way of cleaning that helps chalk on a board hurts print on paper, so each
//! picture is read in more than one way and what agrees counts. Every line read from a picture asks to be confirmed.

mod picture;
mod shrink;

use jiff::civil::Date;
use rust_decimal::Decimal;

use crate::document::{Document, MOST_CHARACTERS, MOST_ROWS, cut};
use crate::format::Unreadable;
use crate::hints::Hints;
use crate::layout::{self, Piece, Row as LaidOut};
use crate::number::{Habit, Marks};
use crate::read::sheet;
use crate::scan::Scan;
use crate::sheet::{Doubt, LeftOut, Place, Problem, Row, RowPrice, Sheet};
use crate::wording::normal_wording;

/// Words that the recogniser is less sure of than this are specks and shadows.
const LEAST_SURE: f32 = 25.0;
/// Two names are one if at least so many in ten of their letters agree.
const ALIKE: usize = 7;

pub use shrink::{NoPhoto, Shrunk, shrink};

/// The picture in gray, cleaned in each way, as portable graymaps (PGM).
pub fn clean(bytes: &[u8]) -> Result<Vec<Vec<u8>>, Unreadable> {
    picture::clean(bytes)
}

/// What the recogniser read in each cleaned picture.
#[derive(Debug, Default)]
pub struct Readings {
    documents: Vec<Document>,
}

impl Readings {
    /// Takes in a table of words with their places, one a line between tabs: level, page, block, paragraph, line, word,
    /// left, top, width, height, confidence and text.
    pub fn add(&mut self, table: &str) {
        let words: Vec<Word> = table.lines().filter_map(Word::of).take(MOST_ROWS as usize).collect();
        let rows = rows(words);
        let texts = rows.iter().flat_map(|row| &row.pieces).map(|piece| piece.text.as_str());
        let marks =
            Marks::of(texts.flat_map(|text| Scan::of(text).numbers().collect::<Vec<_>>()), Habit::Point);
        self.documents.push(Document { blocks: layout::blocks(rows, marks), ..Document::default() });
    }

    /// The sheet of an outlet that is known.
    pub fn read(self, hints: &Hints) -> Sheet {
        agreed(self.documents.into_iter().map(|document| sheet(document, hints)).collect())
    }

    /// The sheet of an outlet that is not known.
    pub fn read_alone(self, today: Date) -> Sheet {
        let read = |document: Document| {
            let hints = Hints::shown_by(&document, today);
            sheet(document, &hints)
        };
        agreed(self.documents.into_iter().map(read).collect())
    }
}

#[derive(Debug)]
struct Word {
    left: f32,
    top: f32,
    width: f32,
    height: f32,
    text: String,
}

impl Word {
    fn of(line: &str) -> Option<Word> {
        let fields: Vec<&str> = line.splitn(12, '\t').collect();
        let [level, .., sure, text] = fields.as_slice() else { return None };
        let number =
            |at: usize| fields.get(at).and_then(|text| text.parse::<f32>().ok()).filter(|n| n.is_finite());
        let text = text.trim();
        let sure: f32 = sure.parse().ok()?;
        if *level != "5" || sure < LEAST_SURE || text.is_empty() {
            return None;
        }
        let text = crate::decode::tidy(cut(text, MOST_CHARACTERS));
        Some(Word { left: number(6)?, top: number(7)?, width: number(8)?, height: number(9)?, text })
    }

    fn middle(&self) -> f32 {
        self.top + self.height / 2.0
    }
}

/// Words whose middles are on one height, from the top down.
fn rows(mut words: Vec<Word>) -> Vec<LaidOut> {
    words.sort_by(|a, b| a.middle().total_cmp(&b.middle()));
    let mut lines: Vec<Vec<Word>> = Vec::new();
    for word in words {
        let near = |line: &Vec<Word>| {
            line.last().is_some_and(|last| {
                (word.middle() - last.middle()).abs() < last.height.min(word.height) * 0.45
            })
        };
        match lines.last_mut().filter(|line| near(line)) {
            Some(line) => line.push(word),
            None => lines.push(vec![word]),
        }
    }
    (1u32..)
        .zip(lines)
        .map(|(number, mut line)| {
            line.sort_by(|a, b| a.left.total_cmp(&b.left));
            let mut pieces: Vec<Piece> = Vec::new();
            for word in line {
                let right = word.left + word.width;
                match pieces.last_mut().filter(|piece| word.left - piece.right < word.height * 1.3) {
                    Some(piece) => {
                        piece.text.push(' ');
                        piece.text.push_str(&word.text);
                        piece.right = right;
                    }
                    None => pieces.push(Piece { text: word.text, left: word.left, right }),
                }
            }
            LaidOut { place: Place::Line(number), pieces }
        })
        .collect()
}

/// One sheet of several readings: each line as most of them have it.
fn agreed(mut sheets: Vec<Sheet>) -> Sheet {
    let Some(best) = (0..sheets.len()).max_by_key(|&at| (sheets[at].rows.len(), std::cmp::Reverse(at)))
    else {
        return empty();
    };
    let mut whole = sheets.swap_remove(best);
    let readings = sheets.len() + 1;
    let mut others: Vec<Vec<Row>> = Vec::new();
    for sheet in sheets {
        whole.valid_from = whole.valid_from.or(sheet.valid_from);
        others.push(sheet.rows);
    }
    for row in &mut whole.rows {
        let mut same: Vec<Row> = Vec::new();
        for rows in &mut others {
            if let Some(at) = rows.iter().position(|other| alike(&row.wording, &other.wording)) {
                same.push(rows.remove(at));
            }
        }
        settle(row, &same, readings);
    }
    // Lines that only another reading found stand at the end, where a person can still confirm them.
    for rows in others {
        for mut row in rows {
            if whole.rows.iter().any(|known| alike(&known.wording, &row.wording)) {
                continue;
            }
            settle(&mut row, &[], readings);
            whole.rows.push(row);
        }
    }
    if !whole.rows.is_empty() {
        whole.problems.retain(|problem| *problem != Problem::NoPrices);
    }
    whole
}

/// Takes the price that most readings of a line have, and asks for it.
fn settle(row: &mut Row, others: &[Row], readings: usize) {
    let price = |row: &Row| match row.price {
        RowPrice::Priced { low, high } => Some((low.normalize(), high.map(|high: Decimal| high.normalize()))),
        RowPrice::OnRequest => None,
    };
    let votes = |of: &Row| {
        others.iter().filter(|other| price(other) == price(of)).count() + usize::from(price(row) == price(of))
    };
    let own = votes(row);
    if let Some(better) =
        others.iter().filter(|other| price(other).is_some()).max_by_key(|other| votes(other))
        && (votes(better) > own || price(row).is_none())
    {
        row.price = better.price;
        row.unit = better.unit.or(row.unit);
    }
    let agree = others.iter().filter(|other| price(other) == price(row)).count() + 1;
    row.doubts.push(if readings > 1 && agree == 1 { Doubt::ReadOnce } else { Doubt::FromPicture });
}

/// Whether two names are one, but for letters that were misread.
fn alike(one: &str, other: &str) -> bool {
    let (one, other) = (normal_wording(one), normal_wording(other));
    let (one, other): (Vec<char>, Vec<char>) =
        (one.chars().take(80).collect(), other.chars().take(80).collect());
    let longest = one.len().max(other.len());
    longest > 0 && (longest - distance(&one, &other)) * 10 >= longest * ALIKE
}

/// Letters to change, add or drop to make one text of the other (Levenshtein).
fn distance(one: &[char], other: &[char]) -> usize {
    let mut above: Vec<usize> = (0..=other.len()).collect();
    for (i, a) in one.iter().enumerate() {
        let mut left = i + 1;
        let mut diagonal = i;
        above[0] = left;
        for (j, b) in other.iter().enumerate() {
            let best = (diagonal + usize::from(a != b)).min(left + 1).min(above[j + 1] + 1);
            (diagonal, left) = (above[j + 1], best);
            above[j + 1] = best;
        }
    }
    above[other.len()]
}

fn empty() -> Sheet {
    let left_out: Vec<LeftOut> = Vec::new();
    Sheet { rows: Vec::new(), left_out, valid_from: None, currency: None, problems: vec![Problem::NoPrices] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    /// A table of words as the recogniser writes it, of lines of words that stand ten units apart.
    fn table(lines: &[&str]) -> String {
        let mut out = String::from(
            "level\tpage_num\tblock_num\tpar_num\tline_num\tword_num\tleft\ttop\twidth\theight\tconf\ttext\n",
        );
        for (at, line) in lines.iter().enumerate() {
            let mut left = 10;
            for word in line.split(' ') {
                let width = 12 * word.len();
                out += &format!("5\t1\t1\t1\t{at}\t1\t{left}\t{}\t{width}\t20\t90\t{word}\n", at * 40);
                left += width + 10;
            }
        }
        out
    }

    #[test]
    fn the_price_that_most_readings_have_counts() {
        let mut readings = Readings::default();
        readings.add(&table(&["Bare bright $4.10/lb", "No. 2 $3.60/lb", "Yellow brass $2.80/lb"]));
        readings.add(&table(&["Bare brlght $4.10/lb", "No. 2 $8.60/lb", "Yellow brass $2.30/lb"]));
        readings.add(&table(&["Bare bright $4.10/lb", "Yellow brass $2.30/lb", "Lead $0.55/lb"]));
        let sheet = readings.read_alone(date(2026, 11, 4));
        let shown: Vec<String> = sheet
            .rows
            .iter()
            .map(|row| match row.price {
                RowPrice::Priced { low, .. } => {
                    format!("{} {low} {:?}", row.wording, row.doubts.last().unwrap())
                }
                RowPrice::OnRequest => row.wording.clone(),
            })
            .collect();
        assert_eq!(
            shown,
            [
                "Bare bright 4.10 FromPicture",
                "No. 2 3.60 ReadOnce",
                "Yellow brass 2.30 FromPicture",
                "Lead 0.55 ReadOnce"
            ]
        );
    }

    #[test]
    fn letters_between_two_words() {
        let letters = |text: &str| text.chars().collect::<Vec<_>>();
        // The textbook's pair for this distance.
        assert_eq!(distance(&letters("kitten"), &letters("sitting")), 3);
        assert!(alike("Bare bright copper", "Bare brlght copper"));
        assert!(!alike("No. 1 copper", "Yellow brass"));
    }
}
