//! The lines of an outlet's settlement: weight, price and amount, told apart by arithmetic.
//!
//! Papers name and order their columns as they like. What they all have is lines where a weight (or a count) times a price
//! is an amount, to the last decimal; a line where just one such product is found is read, and any other is left for a
//! person to type. Nothing is guessed.

use rust_decimal::{Decimal, RoundingStrategy};
use trade::mass::MassUnit;
use trade::money::PriceUnit;

use crate::hints::Hints;
use crate::number::Marks;
use crate::scan::{Kind, Scan};
use crate::vocabulary::VOCABULARY;

/// More numbers than a line of a settlement has.
const MOST_NUMBERS: usize = 16;
/// The longest wording that is taken over, in characters.
const LONGEST_WORDING: usize = 120;

/// A line that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaperRow {
    pub wording: String,
    pub quantity: Decimal,
    /// `None` where neither the line nor a heading above it says.
    pub unit: Option<PriceUnit>,
    pub price: Decimal,
    pub amount: Decimal,
    /// The place of the line among those given.
    pub line: usize,
}

/// A number of a line.
#[derive(Debug, Clone, Copy)]
struct Number {
    token: usize,
    value: Decimal,
}

/// Reads what it can of a paper's lines.
pub fn paper_rows(lines: &[String], hints: &Hints) -> Vec<PaperRow> {
    let scans: Vec<Scan<'_>> = lines.iter().map(|line| Scan::of(line)).collect();
    let marks = Marks::of(scans.iter().flat_map(Scan::numbers), hints.usual_habit());
    let mut unit_above = None;
    let mut rows = Vec::new();
    for (line, scan) in scans.iter().enumerate() {
        match row(scan, marks, unit_above, line) {
            Some(row) => rows.push(row),
            // A heading such as `Weight (lb)`.
            None => {
                unit_above = (0..scan.tokens.len()).find_map(|token| mass_unit(scan, token)).or(unit_above)
            }
        }
    }
    rows
}

fn mass_unit(scan: &Scan<'_>, token: usize) -> Option<MassUnit> {
    match scan.kind(token) {
        Some(Kind::Word) => match VOCABULARY.unit(scan.word(token)) {
            Some(PriceUnit::Mass(unit)) => Some(unit),
            _ => None,
        },
        _ => None,
    }
}

fn row(scan: &Scan<'_>, marks: Marks, unit_above: Option<MassUnit>, line: usize) -> Option<PaperRow> {
    let numbers: Vec<Number> = (0..scan.tokens.len())
        .filter(|token| scan.kind(*token) == Some(Kind::Number))
        .filter_map(|token| {
            let amount = marks.read(scan.word(token)).filter(|amount| !amount.unclear)?;
            let minus = token.checked_sub(1).is_some_and(|before| {
                let before = if is_money(scan, before) { before.checked_sub(1) } else { Some(before) };
                before.is_some_and(|before| {
                    matches!(scan.kind(before), Some(Kind::Minus | Kind::Dash)) && !scan.spaced(before + 1)
                })
            });
            let value = if minus { -amount.value } else { amount.value };
            Some(Number { token, value })
        })
        .collect();
    if numbers.len() > MOST_NUMBERS {
        return None;
    }
    let mut found = Vec::new();
    for (at, amount) in numbers.iter().enumerate() {
        for (i, first) in numbers[..at].iter().enumerate() {
            for second in &numbers[i + 1..at] {
                if is_product(first.value, second.value, amount.value) {
                    found.push((*first, *second, *amount));
                }
            }
        }
    }
    let [(first, second, amount)] = found[..] else { return None };
    // The quantity stands before the price, unless the money signs say otherwise.
    let first_is_price = is_price(scan, first.token) && !is_price(scan, second.token);
    let (quantity, price) = if first_is_price { (second, first) } else { (first, second) };
    let begin = first.token.min(second.token);
    Some(PaperRow {
        wording: wording(scan, begin),
        quantity: quantity.value,
        unit: unit_of(scan, quantity.token, price.token).or(unit_above.map(PriceUnit::Mass)),
        price: price.value,
        amount: amount.value,
        line,
    })
}

/// Whether the amount is the product, rounded as an amount is. What is multiplied by nothing, or by one, shows nothing.
fn is_product(first: Decimal, second: Decimal, amount: Decimal) -> bool {
    if amount.is_zero() || first.is_zero() || second.is_zero() || amount.scale() > 3 {
        return false;
    }
    first.checked_mul(second).is_some_and(|product| {
        product.round_dp_with_strategy(amount.scale(), RoundingStrategy::MidpointAwayFromZero) == amount
    })
}

fn is_money(scan: &Scan<'_>, token: usize) -> bool {
    scan.kind(token) == Some(Kind::Word) && scan.currencies(token).is_some()
}

/// `$2.00`, `2.00 USD`, `2.00/lb`.
fn is_price(scan: &Scan<'_>, token: usize) -> bool {
    token.checked_sub(1).is_some_and(|before| is_money(scan, before))
        || is_money(scan, token + 1)
        || scan.kind(token + 1) == Some(Kind::Slash)
}

/// The unit beside the quantity, or what the price is per.
fn unit_of(scan: &Scan<'_>, quantity: usize, price: usize) -> Option<PriceUnit> {
    let word =
        |token: usize| VOCABULARY.unit(scan.word(token)).filter(|_| scan.kind(token) == Some(Kind::Word));
    let slash = (price + 1..price + 3).find(|token| scan.kind(*token) == Some(Kind::Slash));
    word(quantity + 1).or_else(|| slash.and_then(|slash| word(slash + 1)))
}

/// The name before the figures, without the number of the line.
fn wording(scan: &Scan<'_>, end: usize) -> String {
    let text = scan.between(0, end);
    let parts = text.split([' ', '\t', '|']).filter(|part| !part.is_empty());
    let is_count = |part: &&str| part.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ')' | '#'));
    let words: Vec<&str> = parts.skip_while(is_count).collect();
    let words = words.join(" ");
    let words = words.trim_matches(|c: char| !c.is_alphanumeric() && c != ')' && c != '(');
    words.chars().take(LONGEST_WORDING).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use rust_decimal::dec;
    use trade::money::Currency;

    fn read(text: &str, currency: Currency) -> Vec<PaperRow> {
        let lines: Vec<String> = text.lines().map(str::to_string).collect();
        paper_rows(&lines, &Hints { currency, unit: None, today: date(2026, 5, 20) })
    }

    fn figures(rows: &[PaperRow]) -> Vec<(&str, Decimal, Option<&'static str>, Decimal, Decimal)> {
        rows.iter()
            .map(|row| {
                (row.wording.as_str(), row.quantity, row.unit.map(PriceUnit::code), row.price, row.amount)
            })
            .collect()
    }

    #[test]
    fn columns_are_told_by_their_product() {
        let rows = read(
            "Settlement 1044\nItem | Description | Weight (lb) | Price | Total\n1 | Set-top boards | 38.00 | 2.00 | 76.00\n\
             2 | Console boards | 5.25 | 3.10 | 16.28\nHandling | | | | 5.00\nTotal | | | | 87.28",
            Currency::USD,
        );
        assert_eq!(
            figures(&rows),
            [
                ("Set-top boards", dec!(38.00), Some("lb"), dec!(2.00), dec!(76.00)),
                ("Console boards", dec!(5.25), Some("lb"), dec!(3.10), dec!(16.28)),
            ]
        );
    }

    #[test]
    fn signs_and_units_say_which_is_the_price() {
        let rows = read(
            "memory at $20.00/lb  3.92 lb  $78.40\nlaptops 3 pcs  $8.00  $24.00\nglass 40 kg -0.10 -4.00",
            Currency::USD,
        );
        assert_eq!(
            figures(&rows),
            [
                ("memory at", dec!(3.92), Some("lb"), dec!(20.00), dec!(78.40)),
                ("laptops", dec!(3), Some("each"), dec!(8.00), dec!(24.00)),
                ("glass", dec!(40), Some("kg"), dec!(-0.10), dec!(-4.00)),
            ]
        );
        let rows = read("Platinen 12,5 kg 3,20 40,00\nRAM 1,5 kg 18,00 27,00", Currency::EUR);
        assert_eq!(rows.len(), 2);
        assert_eq!((rows[0].quantity, rows[0].amount), (dec!(12.5), dec!(40.00)));
    }

    #[test]
    fn what_does_not_multiply_is_left_for_a_person() {
        for line in ["Set-top boards 38 2.00 75.00", "Total 75.00", "", "boards 40 lb", "2 2 4 2 4", "0 5 0"]
        {
            assert_eq!(read(line, Currency::USD), [], "{line}");
        }
    }
}
