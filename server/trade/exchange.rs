//! Exchange rates by date, and which one applies today.

use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

/// The smallest and largest rate that a form or a published list may bring in: wide enough for any two currencies in
/// use, and crossing or turning over two of them stays far inside `Decimal`.
pub const LEAST_RATE: Decimal = dec!(0.0000001);
pub const LARGEST_RATE: Decimal = dec!(10_000_000);

/// One published mid rate: `rate` units of `quote` for one unit of `base` on `date`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rate {
    pub date: Date,
    pub base: Currency,
    pub quote: Currency,
    pub rate: Decimal,
}

/// The rate that applies, and the day it was published.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mid {
    pub rate: Decimal,
    /// `None` where no exchange is needed.
    pub date: Option<Date>,
}

/// All rates the shop has on file.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RateBook {
    rates: Vec<Rate>,
}

impl RateBook {
    /// Rates of zero or below are left out: no currency is worth nothing, so they are slips.
    pub fn new(rates: impl IntoIterator<Item = Rate>) -> Self {
        let mut rates: Vec<Rate> = rates.into_iter().filter(|r| r.rate > Decimal::ZERO).collect();
        rates.sort_by_key(|r| std::cmp::Reverse(r.date));
        RateBook { rates }
    }

    /// What one unit of `from` is worth in `to`, by the newest rate not after `today`: as published, turned over, or
    /// through one third currency (a central bank quotes everything against its own).
    pub fn mid(&self, from: Currency, to: Currency, today: Date) -> Option<Mid> {
        if from == to {
            return Some(Mid { rate: Decimal::ONE, date: None });
        }
        let direct = self.direct(from, to, today);
        let crossed = self.known(today).filter(|via| *via != from && *via != to).filter_map(|via| {
            let (first, second) = (self.direct(from, via, today)?, self.direct(via, to, today)?);
            Some(Mid { rate: first.rate * second.rate, date: first.date.min(second.date) })
        });
        // The newest wins; a direct rate wins over a crossed one of the same day.
        direct.into_iter().chain(crossed).reduce(|best, next| if next.date > best.date { next } else { best })
    }

    fn direct(&self, from: Currency, to: Currency, today: Date) -> Option<Mid> {
        self.rates.iter().filter(|r| r.date <= today).find_map(|r| {
            let rate = match (r.base, r.quote) {
                (base, quote) if base == from && quote == to => r.rate,
                (base, quote) if base == to && quote == from => Decimal::ONE / r.rate,
                _ => return None,
            };
            Some(Mid { rate, date: Some(r.date) })
        })
    }

    fn known(&self, today: Date) -> impl Iterator<Item = Currency> {
        let mut seen = Vec::new();
        for rate in self.rates.iter().filter(|r| r.date <= today) {
            for currency in [rate.base, rate.quote] {
                if !seen.contains(&currency) {
                    seen.push(currency);
                }
            }
        }
        seen.into_iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use rust_decimal::dec;

    fn rate(day: i8, base: Currency, quote: Currency, rate: Decimal) -> Rate {
        Rate { date: date(2026, 5, day), base, quote, rate }
    }

    #[test]
    fn newest_rate_not_after_today_applies() {
        use Currency::{CAD, EUR, USD};
        let book = RateBook::new([
            rate(1, USD, CAD, dec!(1.30)),
            rate(8, USD, CAD, dec!(1.25)),
            rate(20, USD, CAD, dec!(9)),
            rate(4, EUR, USD, dec!(1.10)),
        ]);
        let today = date(2026, 5, 10);
        assert_eq!(book.mid(USD, CAD, today).map(|m| m.rate), Some(dec!(1.25)));
        assert_eq!(book.mid(CAD, USD, today).map(|m| m.rate), Some(dec!(0.8)));
        // EUR to CAD goes through USD, and is as old as the older of the two.
        let crossed = book.mid(EUR, CAD, today).unwrap();
        assert_eq!((crossed.rate, crossed.date), (dec!(1.375), Some(date(2026, 5, 4))));
        assert_eq!(book.mid(USD, USD, today).map(|m| m.rate), Some(dec!(1)));
        assert_eq!(book.mid(USD, Currency::GBP, today), None);
        assert_eq!(book.mid(USD, CAD, date(2026, 4, 1)), None);
    }
}
