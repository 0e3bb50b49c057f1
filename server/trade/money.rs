//! Money and prices. An amount knows its currency; a price also knows its unit.

use std::cmp::Ordering;
use std::fmt;

pub use iso_currency::Currency;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use crate::mass::{Mass, MassUnit, round};

/// The largest amount a form or a sheet may bring in; it keeps all later arithmetic far inside `Decimal`.
pub const LARGEST_AMOUNT: Decimal = dec!(1_000_000_000);

/// An exact amount of one currency, not yet rounded to its minor unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Money {
    pub amount: Decimal,
    pub currency: Currency,
}

impl Money {
    pub const fn new(amount: Decimal, currency: Currency) -> Self {
        Money { amount, currency }
    }

    pub const fn zero(currency: Currency) -> Self {
        Money { amount: Decimal::ZERO, currency }
    }

    /// Rounded half away from zero to the currency's minor unit (ISO 4217): where an amount becomes a ledger line or
    /// is shown, and nowhere before.
    pub fn rounded(self) -> Money {
        Money { amount: round(self.amount, places(self.currency)), ..self }
    }

    /// Whole minor units (cents), as the ledger keeps money.
    pub fn minor_units(self) -> i64 {
        let scaled = self.rounded().amount * Decimal::from(10u64.pow(places(self.currency)));
        scaled.to_i64().unwrap_or(if self.amount.is_sign_negative() { i64::MIN } else { i64::MAX })
    }

    pub fn from_minor_units(units: i64, currency: Currency) -> Money {
        Money { amount: Decimal::new(units, places(currency)), currency }
    }

    pub fn times(self, factor: Decimal) -> Money {
        Money { amount: self.amount * factor, ..self }
    }

    pub fn is_negative(self) -> bool {
        self.rounded().amount < Decimal::ZERO
    }
}

/// Decimal places of the currency's minor unit: 2 for USD, 0 for JPY, 3 for KWD (ISO 4217).
pub fn places(currency: Currency) -> u32 {
    currency.exponent().map_or(2, u32::from)
}

/// `12.30 USD`: the amount first, then the code, because a sign like `$` is shared by two of the shop's currencies.
impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let amount = self.rounded().amount;
        write!(f, "{} {}", show_amount(amount, places(self.currency)), self.currency.code())
    }
}

/// `−1,234.50`: grouped by thousands, a true minus sign, and a fixed number of decimals.
pub fn show_amount(amount: Decimal, decimals: u32) -> String {
    let amount = round(amount, decimals);
    let digits = format!("{:.1$}", amount.abs(), decimals as usize);
    let (whole, rest) = digits.split_once('.').map_or((digits.as_str(), None), |(w, r)| (w, Some(r)));
    let mut out = String::new();
    if amount < Decimal::ZERO {
        out.push('−');
    }
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if let Some(rest) = rest {
        out.push('.');
        out.push_str(rest);
    }
    out
}

/// What one price is quoted per.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum PriceUnit {
    Mass(MassUnit),
    Each,
}

impl PriceUnit {
    pub const fn code(self) -> &'static str {
        match self {
            PriceUnit::Mass(unit) => unit.code(),
            PriceUnit::Each => "each",
        }
    }

    pub fn from_code(code: &str) -> Option<PriceUnit> {
        if code == "each" { Some(PriceUnit::Each) } else { MassUnit::from_code(code).map(PriceUnit::Mass) }
    }

    pub const fn label(self) -> &'static str {
        match self {
            PriceUnit::Mass(unit) => unit.label(),
            PriceUnit::Each => "each",
        }
    }
}

impl TryFrom<String> for PriceUnit {
    type Error = String;
    fn try_from(code: String) -> Result<PriceUnit, String> {
        PriceUnit::from_code(&code)
            .ok_or_else(|| format!("“{code}” is not a unit that prices are quoted per"))
    }
}

impl From<PriceUnit> for String {
    fn from(unit: PriceUnit) -> String {
        unit.code().to_string()
    }
}

/// A price: so much of a currency per unit. Negative where the outlet charges to take the grade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Price {
    pub amount: Decimal,
    pub currency: Currency,
    pub per: PriceUnit,
}

impl Price {
    pub const fn new(amount: Decimal, currency: Currency, per: PriceUnit) -> Self {
        Price { amount, currency, per }
    }

    /// What `mass`, or `pieces` where the price is for each, fetches at this price.
    pub fn of(self, mass: Mass, pieces: u32) -> Money {
        let amount = match self.per {
            // One multiplication and one division, in this order, so that 2 lb at a price per lb is exact.
            PriceUnit::Mass(unit) => self.amount * mass.grams() / unit.grams(),
            PriceUnit::Each => self.amount * Decimal::from(pieces),
        };
        Money::new(amount, self.currency)
    }

    /// Orders prices by what they pay for the same goods, the lower first, whatever unit each is quoted per.
    ///
    /// A price for each piece cannot be told from one by mass without the pieces. It comes after all of those: every lot
    /// is weighed, and not every one is counted. Prices in two currencies are in the order of their codes.
    pub fn by_what_it_pays(&self, other: &Price) -> Ordering {
        let grams = |price: &Price| match price.per {
            PriceUnit::Mass(unit) => unit.grams(),
            PriceUnit::Each => Decimal::ONE,
        };
        let kind = |price: &Price| (price.per == PriceUnit::Each, price.currency.code());
        // Multiplied crosswise, because a quotient of two units has no end.
        let (mine, theirs) = (self.amount * grams(other), other.amount * grams(self));
        kind(self).cmp(&kind(other)).then(mine.cmp(&theirs)).then(grams(self).cmp(&grams(other)))
    }

    /// The same price per another mass unit; a price for each stays as it is.
    pub fn per(self, unit: MassUnit) -> Price {
        match self.per {
            PriceUnit::Mass(from) if from != unit => Price {
                amount: self.amount * unit.grams() / from.grams(),
                per: PriceUnit::Mass(unit),
                ..self
            },
            _ => self,
        }
    }
}

/// `1.10 USD/lb`; at least two decimals, and as many more as the price was quoted with, up to four.
impl fmt::Display for Price {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let quoted = round(self.amount, 4).normalize();
        let decimals = quoted.scale().max(places(self.currency));
        let slash = if self.per == PriceUnit::Each { " " } else { "/" };
        write!(f, "{} {}{slash}{}", show_amount(quoted, decimals), self.currency.code(), self.per.label())
    }
}

/// A share between 0 and 1 (a fee of 2 % is 0.02), kept exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(try_from = "Decimal", into = "Decimal")]
pub struct Share(Decimal);

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{0} is not a share: it must lie between 0 and 100 %.")]
pub struct NotAShare(pub Decimal);

impl Share {
    pub const ZERO: Share = Share(Decimal::ZERO);

    pub fn new(share: Decimal) -> Result<Share, NotAShare> {
        if share < Decimal::ZERO || share > Decimal::ONE {
            return Err(NotAShare(share));
        }
        Ok(Share(share.normalize()))
    }

    pub fn percent(percent: Decimal) -> Result<Share, NotAShare> {
        Share::new(percent / dec!(100)).map_err(|_| NotAShare(percent))
    }

    pub const fn get(self) -> Decimal {
        self.0
    }

    /// What remains when this share is taken off.
    pub fn rest(self) -> Decimal {
        Decimal::ONE - self.0
    }

    pub fn is_zero(self) -> bool {
        self.0.is_zero()
    }

    /// The share in percent, without trailing zeros: `2.5`.
    pub fn in_percent(self) -> Decimal {
        (self.0 * dec!(100)).normalize()
    }
}

impl TryFrom<Decimal> for Share {
    type Error = NotAShare;
    fn try_from(share: Decimal) -> Result<Share, NotAShare> {
        Share::new(share)
    }
}

impl From<Share> for Decimal {
    fn from(share: Share) -> Decimal {
        share.0
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} %", self.in_percent())
    }
}
