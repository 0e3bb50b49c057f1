//! What a partner has answered about a sheet under review. It is kept with the draft as JSON, by row of the reading.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use trade::ids::GradeId;
use trade::money::{Currency, Price, PriceUnit};

use super::compare::Slip;

/// All answers so far. Rows count from 0 in the reading; a line goes by the first of its rows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answers {
    /// The first day the prices hold.
    pub valid_from: Date,
    /// What prices are per where the sheet names no unit, once somebody has said so.
    #[serde(default)]
    pub unit: Option<PriceUnit>,
    /// Lines without a grade are kept as they are, without one.
    #[serde(default)]
    pub rest_left_out: bool,
    #[serde(default)]
    pub lines: BTreeMap<usize, LineAnswer>,
    #[serde(default)]
    pub prices: BTreeMap<usize, PriceAnswer>,
}

impl Answers {
    pub fn new(valid_from: Date) -> Answers {
        Answers {
            valid_from,
            unit: None,
            rest_left_out: false,
            lines: BTreeMap::new(),
            prices: BTreeMap::new(),
        }
    }
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineAnswer {
    pub grade: Option<GradeAnswer>,
    /// The prices of the line are right as they stand, whatever was asked about them.
    #[serde(default)]
    pub right: bool,
}

/// Which grade a line is for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GradeAnswer {
    Is(GradeId),
    /// Nothing that the shop sells, now and on the outlet's next sheets.
    NoneOfOurs,
    /// Left out of this sheet only.
    NotThisTime,
}

/// A price as a partner put it right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PriceAnswer {
    /// The price, or a range's low and high end; `None` on request.
    pub amounts: Option<(Decimal, Option<Decimal>)>,
    pub unit: PriceUnit,
    pub currency: Currency,
}

impl PriceAnswer {
    /// The price as it is meant if `slip` is what is wrong with it.
    pub fn put_right(self, slip: Slip) -> PriceAnswer {
        let right = |amount| slip.put_right(Price::new(amount, self.currency, self.unit));
        PriceAnswer {
            amounts: self.amounts.map(|(low, high)| (right(low).amount, high.map(|high| right(high).amount))),
            unit: right(Decimal::ZERO).per,
            ..self
        }
    }
}
