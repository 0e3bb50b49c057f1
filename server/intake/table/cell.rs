//! What one cell says: a name, or a price.

use rust_decimal::{Decimal, dec};

use crate::context::unit_of_name;
use crate::cuts::Cut;
use crate::document::Cell;
use crate::draft::{Charge, DraftPrice, same_currency, second_price};
use crate::lines::{is_only_a_date, is_only_of_days};
use crate::number::Marks;
use crate::parts::{charge, charge_within};
use crate::price::{PriceText, Sign, Strength, UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::sheet::Doubt;
use crate::tier::{TierText, Within};
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal;

/// How much more than the lower end the upper one is at most, where a stroke parts them: else they are for two things.
const WIDEST_STROKE: Decimal = dec!(2);

/// What the cell of a name says besides.
#[derive(Debug)]
pub(crate) struct CellName {
    /// It is a date, days of opening, or something that the outlet sells.
    pub names_nothing: bool,
    /// The name without the tier that stands in it, and that tier.
    pub without_tier: Option<(String, TierText)>,
    pub unit: Option<UnitText>,
    /// The name without the unit in brackets behind it: `Wheels (ea)`.
    pub without_unit: Option<String>,
    /// Whether the whole name says that the outlet charges.
    pub charge: Charge,
}

impl CellName {
    pub fn of(scan: &Scan<'_>, marks: Marks) -> CellName {
        let normal = normal(scan.text);
        let tier = Within::find(scan, marks, 0, scan.tokens.len()).filter(|tier| !tier.is_of_a_piece(scan));
        CellName {
            names_nothing: is_only_a_date(scan)
                || is_only_of_days(scan)
                || [Use::Service, Use::Quoted].iter().any(|is| VOCABULARY.is_within(&normal, *is))
                || VOCABULARY.has(scan.text, Use::Market)
                || names_a_quote(scan),
            without_tier: tier.and_then(|tier| Some((tier.cut_from(scan, scan.text)?, tier.tier))),
            unit: unit_of_name(scan),
            without_unit: without_unit(scan),
            charge: charge_within(&normal),
        }
    }
}

/// `COMEX copper`, `AUD/USD`
pub(crate) fn names_a_quote(scan: &Scan<'_>) -> bool {
    let words = || (0..scan.tokens.len()).filter(|&at| scan.kind(at) == Some(Kind::Word));
    let currencies = words().count() > 1 && words().all(|at| scan.currencies(at).is_some());
    scan.is(0, Use::Market) && words().count() > 1 || currencies
}

/// What stands before a unit in brackets at the end of a name.
fn without_unit(scan: &Scan<'_>) -> Option<String> {
    let close = scan.tokens.len().checked_sub(1).filter(|&at| scan.kind(at) == Some(Kind::Close))?;
    let open = (1..close).rev().find(|&at| scan.kind(at) == Some(Kind::Open))?;
    let begin =
        open + 1 + usize::from(scan.is(open + 1, Use::Per) || scan.kind(open + 1) == Some(Kind::Slash));
    unit_of_name(scan)?;
    let (_, next) = unit_words(scan, begin)?;
    (next == close).then(|| scan.between(0, open).to_string())
}

/// What one price cell says.
#[derive(Debug, Clone)]
pub(crate) struct CellPrice {
    pub price: DraftPrice,
    pub note: Option<String>,
    pub doubts: Vec<Doubt>,
}

impl CellPrice {
    pub fn of(cell: &Cell, marks: Marks) -> CellPrice {
        let plain = |price| CellPrice { price, note: None, doubts: Vec::new() };
        match cell {
            Cell::Empty => CellPrice { doubts: vec![Doubt::Blank], ..plain(DraftPrice::OnRequest) },
            Cell::Number { value, said, percent: false } => plain(DraftPrice::Text(PriceText {
                first: 0,
                last: 0,
                low: value.abs(),
                high: None,
                currencies: said.currencies.clone(),
                unit: said.unit,
                sign: if *value < Decimal::ZERO { Sign::Minus } else { Sign::Plain },
                strength: Strength::Decimals,
                unclear: false,
            })),
            Cell::Number { .. } | Cell::Date(_) => CellPrice {
                note: Some(cell.shown()),
                doubts: vec![Doubt::Blank],
                ..plain(DraftPrice::OnRequest)
            },
            Cell::Text(text) => CellPrice::of_text(&Cut::of(text), marks),
        }
    }

    /// The same of a text.
    pub fn of_text(cut: &Cut<'_>, marks: Marks) -> CellPrice {
        let scan = &cut.scan;
        let text = scan.text;
        let words = text.chars().any(char::is_alphabetic);
        let asks = words && VOCABULARY.has(text, Use::OnRequest) || !text.chars().any(char::is_alphanumeric);
        if asks {
            return CellPrice { price: DraftPrice::OnRequest, note: None, doubts: Vec::new() };
        }
        if words && VOCABULARY.has(text, Use::Free) {
            return CellPrice { price: DraftPrice::Free, note: None, doubts: Vec::new() };
        }
        let prices = cut.prices(marks);
        let strongest = prices.iter().map(|price| price.strength).max();
        let mut sure = prices.iter().filter(|price| Some(price.strength) == strongest);
        let Some(price) = sure.next() else {
            let (note, doubts) = (Some(text.to_string()), vec![Doubt::Blank]);
            return CellPrice { price: DraftPrice::OnRequest, note, doubts };
        };
        if let Some(upper) = prices.iter().find(|other| is_upper_end(scan, price, other)) {
            let (high, unit) = (Some(upper.low), price.unit.or(upper.unit));
            let price = PriceText { high, unit, last: upper.last, ..price.clone() };
            return CellPrice { price: DraftPrice::Text(price), note: None, doubts: Vec::new() };
        }
        let doubts = sure.next().and_then(|other| second_price(price, other)).into_iter().collect();
        let rest = (0..price.first).chain(price.last..scan.tokens.len());
        let stray = rest.filter(|&i| matches!(scan.kind(i), Some(Kind::Word | Kind::Fact))).count();
        let note = (stray > 0).then(|| text.to_string());
        let mut price = price.clone();
        // `- € 0,35`: in a cell of its own nothing but the price can be meant.
        if stray == 0 && price.first == 1 && matches!(scan.kind(0), Some(Kind::Dash | Kind::Minus)) {
            price.sign = Sign::Minus;
        }
        if stray > 0 && charge(text) != Charge::No {
            price.sign = Sign::Minus;
        }
        CellPrice { price: DraftPrice::Text(price), note, doubts }
    }
}

/// `4,70 / 5,20`: two prices that nothing but a stroke parts are the ends of a range.
fn is_upper_end(scan: &Scan<'_>, low: &PriceText, high: &PriceText) -> bool {
    let stroke = scan.kind(low.last) == Some(Kind::Slash) && high.first == low.last + 1;
    let alike = low.unit.is_none() || high.unit.is_none() || low.unit == high.unit;
    let near = low.low < high.low && high.low <= low.low.saturating_mul(WIDEST_STROKE);
    stroke && alike && near && low.high.is_none() && high.high.is_none() && same_currency(low, high)
}
