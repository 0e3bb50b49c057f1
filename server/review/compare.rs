//! Whether a price can be true, by what the outlet paid before and what the others pay.

use std::collections::BTreeMap;
use std::fmt;

use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use trade::exchange::RateBook;
use trade::ids::GradeId;
use trade::mass::{Mass, MassUnit};
use trade::money::{Price, PriceUnit, show_amount};
use trade::quote::Quotes;

/// A price that moved by more than this share since the outlet's last sheet is asked about.
const MOVED_BY: Decimal = dec!(0.25);
/// A price this many times above or below the others' median is asked about.
const FAR_TIMES: Decimal = dec!(3);
/// A price this many times above or below it is asked about too, if taking it per another unit explains it well: the
/// 2.2 between a pound and a kilogram is the usual slip, and lies below the other bound.
const SLIPPED_TIMES: Decimal = dec!(1.8);
/// How close to the median it then comes, in times.
const EXPLAINED_WITHIN: Decimal = dec!(1.15);
/// Within this many times of the others' median a price agrees with it. It is well below the 2.2 between a price per
/// pound and one per kilogram, so that agreement settles the unit.
const AGREE_TIMES: Decimal = dec!(1.4);

/// What prices are taken for by mistake, in the order in which it is thought of: a price in cents per pound and one in
/// dollars per hundredweight come to the same.
const LIKELY: [Slip; 10] = [
    Slip::Unit(MassUnit::Pound),
    Slip::Unit(MassUnit::Kilogram),
    Slip::Cents,
    Slip::NotCents,
    Slip::Unit(MassUnit::Hundredweight),
    Slip::Unit(MassUnit::HundredKilograms),
    Slip::Unit(MassUnit::ShortTon),
    Slip::Unit(MassUnit::Tonne),
    Slip::Unit(MassUnit::GrossTon),
    Slip::Unit(MassUnit::Ounce),
];

/// What prices are held against. All masses of tiers are the grade's total in one delivery.
#[derive(Debug, Clone)]
pub struct Known {
    /// What the outlet's sheet before this one paid.
    pub before: BTreeMap<GradeId, Quotes>,
    /// What each of the other outlets pays.
    pub others: Vec<BTreeMap<GradeId, Quotes>>,
    pub rates: RateBook,
    /// The day the sheet holds from.
    pub date: Date,
}

/// Why a price looks wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Flag {
    Moved {
        before: Price,
        now: Price,
        /// Signed, in percent.
        by: Decimal,
        likely: Option<Slip>,
    },
    FarFromOthers {
        median: Price,
        now: Price,
        /// How many times the larger of the two holds the smaller.
        times: Decimal,
        likely: Option<Slip>,
    },
}

/// The likely reason of a price that is out by a known factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    /// It is meant per this unit.
    Unit(MassUnit),
    /// It is meant in cents.
    Cents,
    /// It was given in cents already.
    NotCents,
}

impl Slip {
    /// The price as it is meant.
    pub fn put_right(self, price: Price) -> Price {
        match self {
            Slip::Unit(unit) => Price { per: PriceUnit::Mass(unit), ..price },
            Slip::Cents => Price { amount: price.amount / dec!(100), ..price },
            Slip::NotCents => Price { amount: price.amount * dec!(100), ..price },
        }
    }
}

impl Flag {
    pub fn likely(&self) -> Option<Slip> {
        match self {
            Flag::Moved { likely, .. } | Flag::FarFromOthers { likely, .. } => *likely,
        }
    }
}

impl fmt::Display for Flag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Flag::Moved { before, now, by, .. }
                if now.amount < Decimal::ZERO && before.amount > Decimal::ZERO =>
            {
                write!(f, "They paid {before} last time and charge now ({} %).", show_amount(*by, 0))
            }
            Flag::Moved { before, by, .. } => {
                let way = if *by < Decimal::ZERO { "down" } else { "up" };
                write!(f, "That is {way} {} % from {before} on their last sheet.", show_amount(by.abs(), 0))
            }
            Flag::FarFromOthers { median, now, times, .. } => {
                let way = if now.amount < median.amount { "below" } else { "above" };
                write!(
                    f,
                    "That is {} times {way} what the other outlets pay ({median}).",
                    show_amount(*times, 1)
                )
            }
        }?;
        match self.likely() {
            Some(Slip::Unit(unit)) => write!(f, " Is it meant per {unit}?"),
            Some(Slip::Cents) => f.write_str(" Is it meant in cents?"),
            Some(Slip::NotCents) => f.write_str(" Was it in cents already?"),
            None => Ok(()),
        }
    }
}

/// What a comparison found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Comparison {
    pub flags: Vec<Flag>,
    /// The price lies near the last sheet's or the others', so what was assumed of its unit or marks is right.
    pub agrees: bool,
}

/// Holds the price of `grade` in the tier from `from` against what is known.
pub fn compare(known: &Known, grade: &GradeId, price: Price, from: Mass) -> Comparison {
    let mut found = Comparison::default();
    if let Some(before) = known.before.get(grade).and_then(|quotes| reference(quotes, from, price.per)) {
        let moved = moved(before, price);
        // Nothing is known of a price in another currency, nor of one where nothing was paid before.
        found.agrees |= moved.is_none() && is_comparable(before, price);
        found.flags.extend(moved);
    }
    if let Some(median) = median(known, grade, price, from) {
        let far = far(median, price);
        found.agrees |= found.flags.is_empty() && near(median, price);
        found.flags.extend(far);
    }
    found
}

/// The price of the tier that holds from this mass, or the first one; in the unit of the price it is held against.
pub(super) fn reference(quotes: &Quotes, from: Mass, per: PriceUnit) -> Option<Price> {
    let price = quotes.at(from).or(quotes.tiers().first())?.price;
    match (price.per, per) {
        (PriceUnit::Mass(_), PriceUnit::Mass(unit)) => Some(price.per(unit)),
        (PriceUnit::Each, PriceUnit::Each) => Some(price),
        _ => None,
    }
}

fn is_comparable(before: Price, now: Price) -> bool {
    !before.amount.is_zero() && before.currency == now.currency
}

fn moved(before: Price, now: Price) -> Option<Flag> {
    if !is_comparable(before, now) {
        return None;
    }
    let by = (now.amount - before.amount) / before.amount.abs();
    let likely = || slip(now, before, Decimal::ONE + MOVED_BY);
    (by.abs() > MOVED_BY).then(|| Flag::Moved { before, now, by: by * dec!(100), likely: likely() })
}

/// The middle of what the other outlets pay, in the currency and unit of the price.
fn median(known: &Known, grade: &GradeId, price: Price, from: Mass) -> Option<Price> {
    let in_currency = |quotes: &BTreeMap<GradeId, Quotes>| {
        let other = reference(quotes.get(grade)?, from, price.per)?;
        let rate = known.rates.mid(other.currency, price.currency, known.date)?.rate;
        Some(other.amount * rate)
    };
    let mut amounts: Vec<Decimal> = known.others.iter().filter_map(in_currency).collect();
    amounts.sort();
    let upper = *amounts.get(amounts.len() / 2)?;
    let lower = amounts[(amounts.len() - 1) / 2];
    Some(Price { amount: (lower + upper) / Decimal::TWO, ..price })
}

fn far(median: Price, now: Price) -> Option<Flag> {
    let times = times(median.amount, now.amount)?;
    let likely = if times > FAR_TIMES {
        slip(now, median, AGREE_TIMES)
    } else if times > SLIPPED_TIMES {
        Some(slip(now, median, EXPLAINED_WITHIN)?)
    } else {
        return None;
    };
    Some(Flag::FarFromOthers { median, now, times, likely })
}

fn near(median: Price, now: Price) -> bool {
    times(median.amount, now.amount).is_some_and(|times| times <= AGREE_TIMES)
}

/// How many times the larger of two amounts holds the smaller; only where both pay.
fn times(a: Decimal, b: Decimal) -> Option<Decimal> {
    (a > Decimal::ZERO && b > Decimal::ZERO).then(|| a.max(b) / a.min(b))
}

/// The slip that brings the price closest to `reference`, if it then lies within `within` times of it.
fn slip(now: Price, reference: Price, within: Decimal) -> Option<Slip> {
    let distance = |slip: Slip| {
        let meant = slip.put_right(now);
        let meant = match reference.per {
            PriceUnit::Mass(unit) => meant.per(unit),
            PriceUnit::Each => meant,
        };
        (meant.per == reference.per).then(|| times(meant.amount, reference.amount)).flatten()
    };
    // Of two slips that do as well, the one thought of first.
    let distances = LIKELY.into_iter().filter_map(|slip| Some((distance(slip)?, slip)));
    let best = distances.reduce(|best, next| if next.0 < best.0 { next } else { best });
    best.filter(|(times, _)| *times <= within).map(|(_, slip)| slip)
}

#[cfg(test)]
mod tests {
    use super::*;
    use trade::money::Currency;
    use trade::quote::Quote;

    fn price(amount: Decimal, unit: MassUnit) -> Price {
        Price::new(amount, Currency::USD, PriceUnit::Mass(unit))
    }

    fn paying(amount: Decimal, unit: MassUnit) -> BTreeMap<GradeId, Quotes> {
        let quotes = Quotes::new([Quote::flat(price(amount, unit))]).unwrap();
        BTreeMap::from([(GradeId::from("copper-2"), quotes)])
    }

    /// What is said of `now` against a last sheet and other outlets, all per lb.
    fn check(now: Price, before: Option<Decimal>, others: &[Decimal], expect: &[&str]) -> bool {
        let known = Known {
            before: before.map(|amount| paying(amount, MassUnit::Pound)).unwrap_or_default(),
            others: others.iter().map(|amount| paying(*amount, MassUnit::Pound)).collect(),
            rates: RateBook::default(),
            date: jiff::civil::date(2026, 5, 12),
        };
        let found = compare(&known, &GradeId::from("copper-2"), now, Mass::ZERO);
        assert_eq!(found.flags.iter().map(Flag::to_string).collect::<Vec<_>>(), expect, "{now}");
        found.agrees
    }

    #[test]
    fn a_price_that_moved_little_agrees() {
        assert!(check(price(dec!(4.00), MassUnit::Pound), Some(dec!(3.60)), &[], &[]));
        // 8.82 per kg is 4.00 per lb (NIST Handbook 44: 1 lb is 0.453 592 37 kg).
        assert!(check(price(dec!(8.82), MassUnit::Kilogram), Some(dec!(3.60)), &[], &[]));
        assert!(!check(price(dec!(4.00), MassUnit::Pound), None, &[], &[]));
    }

    #[test]
    fn a_price_in_another_currency_does_not_agree() {
        let now = Price::new(dec!(3.60), Currency::EUR, PriceUnit::Mass(MassUnit::Pound));
        assert!(!check(now, Some(dec!(3.60)), &[], &[]));
        assert!(!check(price(dec!(3.60), MassUnit::Pound), Some(dec!(0)), &[], &[]));
    }

    #[test]
    fn a_price_per_kilogram_taken_per_pound_is_recognised() {
        let now = price(dec!(8.82), MassUnit::Pound);
        let moved = "That is up 120 % from 4.00 USD/lb on their last sheet. Is it meant per kg?";
        assert!(!check(now, Some(dec!(4.01)), &[], &[moved.replace("4.00", "4.01").as_str()]));
    }

    #[test]
    fn cents_taken_for_dollars_are_recognised() {
        let far = "That is 100.0 times above what the other outlets pay (0.45 USD/lb). Is it meant in cents?";
        check(price(dec!(45), MassUnit::Pound), None, &[dec!(0.40), dec!(0.50)], &[far]);
        let far =
            "That is 100.0 times below what the other outlets pay (1.00 USD/lb). Was it in cents already?";
        check(price(dec!(0.01), MassUnit::Pound), None, &[dec!(1)], &[far]);
    }

    #[test]
    fn tons_taken_for_pounds_are_recognised() {
        let far = "That is 2,000.0 times above what the other outlets pay (0.10 USD/lb). Is it meant per short ton?";
        check(price(dec!(200), MassUnit::Pound), None, &[dec!(0.10)], &[far]);
    }

    #[test]
    fn a_price_that_became_a_charge_is_asked_about() {
        let said = "They paid 0.10 USD/lb last time and charge now (−150 %).";
        check(price(dec!(-0.05), MassUnit::Pound), Some(dec!(0.10)), &[], &[said]);
    }

    #[test]
    fn the_others_are_held_against_by_their_median() {
        let others = [dec!(1.00), dec!(1.10), dec!(40)];
        assert!(check(price(dec!(1.20), MassUnit::Pound), None, &others, &[]));
        // Between the two lies doubt: not flagged, but nothing is settled by it either.
        assert!(!check(price(dec!(1.90), MassUnit::Pound), None, &others, &[]));
        // 2.2 times is nothing by itself, but it is what lies between a pound and a kilogram.
        let far = "That is 2.2 times above what the other outlets pay (1.10 USD/lb). Is it meant per kg?";
        check(price(dec!(2.40), MassUnit::Pound), None, &others, &[far]);
    }
}
