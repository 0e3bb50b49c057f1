//! The cash book: what kinds of amounts come in and go out, what each is worth in home currency, and who is owed what.
//!
//! An entry is signed: what comes in is above zero, what goes out below. Money is counted in whole minor units (cents),
//! and an amount becomes whole in one place, half away from zero.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use iso_currency::Currency;
use jiff::civil::{Date, date};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::Money;

/// What an amount was for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// What an outlet paid for lots, or charged for taking them.
    Sale,
    /// What was paid for things to take apart.
    Purchase,
    /// What an outlet, a bank or a payment service kept.
    Fee,
    Freight,
    /// Boxes, tape and what else goes around a parcel.
    Box,
    /// Fuel and wear.
    Trip,
    /// Wages: a partner's own hours make no cash.
    Labour,
    /// Brokerage, duty and paperwork at a border.
    Border,
    /// What a carrier or an insurer paid for what was lost or broken on the way.
    Claim,
    Other,
    /// Money that a partner takes out of the shop.
    Payout,
    /// Money that a partner puts into the shop.
    PaidIn,
}

/// What an entry moves besides the shop's cash.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Account {
    Income,
    Expenses,
    /// What is between the shop and one of its partners.
    Partners,
}

impl Kind {
    pub const ALL: [Kind; 12] = [
        Kind::Sale,
        Kind::Purchase,
        Kind::Fee,
        Kind::Freight,
        Kind::Box,
        Kind::Trip,
        Kind::Labour,
        Kind::Border,
        Kind::Claim,
        Kind::Other,
        Kind::Payout,
        Kind::PaidIn,
    ];

    pub const fn code(self) -> &'static str {
        match self {
            Kind::Sale => "sale",
            Kind::Purchase => "purchase",
            Kind::Fee => "fee",
            Kind::Freight => "freight",
            Kind::Box => "box",
            Kind::Trip => "trip",
            Kind::Labour => "labour",
            Kind::Border => "border",
            Kind::Claim => "claim",
            Kind::Other => "other",
            Kind::Payout => "payout",
            Kind::PaidIn => "paid-in",
        }
    }

    pub fn from_code(code: &str) -> Option<Kind> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    pub const fn label(self) -> &'static str {
        match self {
            Kind::Sale => "sales",
            Kind::Purchase => "bought",
            Kind::Fee => "fees",
            Kind::Freight => "freight",
            Kind::Box => "boxes and packing",
            Kind::Trip => "trips",
            Kind::Labour => "wages",
            Kind::Border => "customs and brokerage",
            Kind::Claim => "insurance and claims",
            Kind::Other => "other",
            Kind::Payout => "paid out to partners",
            Kind::PaidIn => "paid in by partners",
        }
    }

    pub const fn account(self) -> Account {
        match self {
            Kind::Sale | Kind::Claim => Account::Income,
            Kind::Payout | Kind::PaidIn => Account::Partners,
            _ => Account::Expenses,
        }
    }

    /// Whether it decides what there is to share: money between the shop and its partners does not.
    pub const fn is_trade(self) -> bool {
        !matches!(self.account(), Account::Partners)
    }

    /// Which way it usually goes; `None` where either is as likely.
    pub const fn usually(self) -> Option<Way> {
        match self {
            Kind::Sale | Kind::Claim | Kind::PaidIn => Some(Way::In),
            Kind::Other => None,
            _ => Some(Way::Out),
        }
    }
}

/// Which way money goes, seen from the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    In,
    Out,
}

impl Way {
    /// An amount as the book has it: signed.
    pub fn signed(self, amount: Money) -> Money {
        let size = amount.amount.abs();
        Money { amount: if self == Way::In { size } else { -size }, ..amount }
    }
}

/// What an amount is worth in `home` at `rate` units of it for one of the amount's own currency: rounded once, half away
/// from zero, to the minor unit of `home`.
pub fn in_home(amount: Money, rate: Decimal, home: Currency) -> Money {
    Money::new(amount.amount * rate, home).rounded()
}

/// A month of a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Month {
    year: i16,
    month: i8,
}

impl Month {
    pub fn of(day: Date) -> Month {
        Month { year: day.year(), month: day.month() }
    }

    /// The twelve months of a year.
    pub fn all_of(year: i16) -> [Month; 12] {
        [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12].map(|month| Month { year, month })
    }

    pub const fn year(self) -> i16 {
        self.year
    }

    pub fn first_day(self) -> Date {
        date(self.year, self.month, 1)
    }

    pub fn last_day(self) -> Date {
        self.first_day().last_of_month()
    }

    /// `May`.
    pub fn name(self) -> String {
        self.first_day().strftime("%B").to_string()
    }
}

/// `2026-05`, so that text order is time order.
impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.year, self.month)
    }
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not a month like 2026-05")]
pub struct NotAMonth(pub String);

impl FromStr for Month {
    type Err = NotAMonth;

    fn from_str(text: &str) -> Result<Month, NotAMonth> {
        let day = (text.len() == 7).then(|| format!("{text}-01").parse::<Date>().ok()).flatten();
        day.map(Month::of).ok_or_else(|| NotAMonth(text.to_string()))
    }
}

impl TryFrom<String> for Month {
    type Error = NotAMonth;

    fn try_from(text: String) -> Result<Month, NotAMonth> {
        text.parse()
    }
}

impl From<Month> for String {
    fn from(month: Month) -> String {
        month.to_string()
    }
}

/// Shares an amount out by weights, to the minor unit and with nothing left over: each gets the whole units of its share,
/// and those that lost most by that get one more (largest remainders). Nobody gets anything where all weights are zero.
pub fn share_out(amount: i64, weights: &[u64]) -> Vec<i64> {
    let whole: u128 = weights.iter().map(|weight| u128::from(*weight)).sum();
    if whole == 0 {
        return vec![0; weights.len()];
    }
    let size = u128::from(amount.unsigned_abs());
    let parts: Vec<u128> = weights.iter().map(|weight| size * u128::from(*weight)).collect();
    let mut shares: Vec<u128> = parts.iter().map(|part| part / whole).collect();
    let left = size - shares.iter().sum::<u128>();
    let mut order: Vec<usize> = (0..parts.len()).collect();
    // Of equal remainders the first in line gets it.
    order.sort_by_key(|&at| std::cmp::Reverse(parts[at] % whole));
    for &at in order.iter().take(usize::try_from(left).unwrap_or(0)) {
        shares[at] += 1;
    }
    let signed = |share: u128| {
        let share = i64::try_from(share).unwrap_or(i64::MAX);
        if amount < 0 { -share } else { share }
    };
    shares.into_iter().map(signed).collect()
}

/// By what the partners share what the shop makes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Split {
    /// By the hours that each worked in the month; a month without hours is shared alike.
    Hours,
    /// By fixed parts of the whole.
    Fixed(BTreeMap<String, u64>),
}

/// What one month leaves to share, and what each partner did for it and had of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MonthOfBooks {
    /// Minor units of home currency, without what went between the shop and its partners.
    pub made: i64,
    /// Minutes by partner.
    pub minutes: BTreeMap<String, u64>,
    /// What partners put in (above zero) and took out (below).
    pub moved: Vec<(String, i64)>,
}

/// How a partner stands with the shop, in minor units of home currency.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Standing {
    /// Their share of what the shop made.
    pub share: i64,
    pub paid_in: i64,
    /// What they took out: above zero.
    pub paid_out: i64,
}

impl Standing {
    /// What the shop owes them; below zero, what they owe the shop.
    pub fn owed(self) -> i64 {
        self.share + self.paid_in - self.paid_out
    }
}

/// How each of the `partners` stands after these months, each shared as `split` says for it.
pub fn standings<'a>(
    partners: &[String],
    months: impl IntoIterator<Item = (&'a MonthOfBooks, &'a Split)>,
) -> BTreeMap<String, Standing> {
    let mut all: BTreeMap<String, Standing> =
        partners.iter().map(|partner| (partner.clone(), Standing::default())).collect();
    for (month, split) in months {
        let weights = weights(partners, month, split);
        for (partner, share) in partners.iter().zip(share_out(month.made, &weights)) {
            all.entry(partner.clone()).or_default().share += share;
        }
        for (partner, moved) in &month.moved {
            let standing = all.entry(partner.clone()).or_default();
            if *moved >= 0 { standing.paid_in += moved } else { standing.paid_out -= moved }
        }
    }
    all
}

fn weights(partners: &[String], month: &MonthOfBooks, split: &Split) -> Vec<u64> {
    let of = |by: &BTreeMap<String, u64>| -> Vec<u64> {
        partners.iter().map(|partner| by.get(partner).copied().unwrap_or(0)).collect()
    };
    let weights = match split {
        Split::Hours => of(&month.minutes),
        Split::Fixed(parts) => of(parts),
    };
    // What the shop made belongs to somebody, also where nobody wrote down an hour.
    if weights.iter().all(|weight| *weight == 0) { vec![1; partners.len()] } else { weights }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rust_decimal::dec;

    #[test]
    fn an_amount_becomes_home_currency_rounded_once_and_half_away_from_zero() {
        use Currency::{CAD, JPY, KWD, USD};
        for (amount, rate, home, worth) in [
            (Money::new(dec!(10.01), CAD), dec!(0.75), USD, dec!(7.51)), // 7.5075
            (Money::new(dec!(0.02), CAD), dec!(0.75), USD, dec!(0.02)),  // 0.015: half away from zero
            (Money::new(dec!(-0.02), CAD), dec!(0.75), USD, dec!(-0.02)), // and below zero
            (Money::new(dec!(1), USD), dec!(149.5), JPY, dec!(150)),     // no minor unit
            (Money::new(dec!(1), USD), dec!(0.3065), KWD, dec!(0.307)),  // three decimals: 0.3065
            (Money::new(dec!(1234), JPY), dec!(0.0067), USD, dec!(8.27)), // 8.2678
        ] {
            assert_eq!(in_home(amount, rate, home), Money::new(worth, home), "{amount} at {rate}");
        }
    }

    #[test]
    fn kinds_and_months_come_back_from_their_codes() {
        for kind in Kind::ALL {
            assert_eq!(Kind::from_code(kind.code()), Some(kind));
            assert_eq!(kind.is_trade(), kind.account() != Account::Partners);
        }
        let month: Month = "2026-02".parse().expect("a month");
        assert_eq!((month.to_string(), month.last_day()), ("2026-02".to_string(), date(2026, 2, 28)));
        for text in ["", "2026", "2026-13", "2026-2", "2026-02-01", "x026-02"] {
            assert!(text.parse::<Month>().is_err(), "{text}");
        }
    }

    #[test]
    fn cents_that_do_not_divide_go_to_those_who_lost_most_by_rounding() {
        assert_eq!(share_out(100, &[1, 1, 1]), [34, 33, 33]);
        assert_eq!(share_out(-100, &[1, 1, 1]), [-34, -33, -33]);
        // 10.01 by 7:13 is 3.5035 and 6.5065.
        assert_eq!(share_out(1001, &[7, 13]), [350, 651]);
        assert_eq!(share_out(5, &[0, 0]), [0, 0]);
        assert_eq!(share_out(5, &[]), Vec::<i64>::new());
    }

    #[test]
    fn partners_stand_by_hours_or_by_fixed_parts() {
        let partners = ["a".to_string(), "b".to_string()];
        let by_hours = MonthOfBooks {
            made: 10_000,
            minutes: BTreeMap::from([("a".into(), 600), ("b".into(), 200)]),
            moved: vec![("a".into(), -2_000), ("b".into(), 500)],
        };
        let without_hours = MonthOfBooks { made: -300, ..MonthOfBooks::default() };
        let fixed = Split::Fixed(BTreeMap::from([("a".into(), 4_000), ("b".into(), 6_000)]));
        let months = [(&by_hours, &Split::Hours), (&without_hours, &Split::Hours), (&by_hours, &fixed)];
        let standings = standings(&partners, months);
        // 7,500 − 150 + 4,000, and 2,500 − 150 + 6,000.
        assert_eq!(standings["a"], Standing { share: 11_350, paid_in: 0, paid_out: 4_000 });
        assert_eq!(standings["b"], Standing { share: 8_350, paid_in: 1_000, paid_out: 0 });
        assert_eq!((standings["a"].owed(), standings["b"].owed()), (7_350, 9_350));
    }

    proptest! {
        #[test]
        fn nothing_is_left_over_or_made_up_and_nobody_is_off_by_a_unit(
            amount in -1_000_000_000_000_i64..1_000_000_000_000,
            weights in prop::collection::vec(0_u64..100_000, 1..6),
        ) {
            let shares = share_out(amount, &weights);
            let whole: u64 = weights.iter().sum();
            prop_assert_eq!(shares.iter().sum::<i64>(), if whole == 0 { 0 } else { amount });
            for (share, weight) in shares.iter().zip(&weights).filter(|_| whole > 0) {
                let exact = Decimal::from(amount) * Decimal::from(*weight) / Decimal::from(whole);
                prop_assert!((Decimal::from(*share) - exact).abs() < Decimal::ONE);
            }
        }

        #[test]
        fn what_is_owed_adds_up_to_what_the_shop_holds(
            made in prop::collection::vec((-100_000_i64..500_000, 0_u64..900, 0_u64..900, -50_000_i64..50_000), 0..20),
        ) {
            let partners = ["a".to_string(), "b".to_string()];
            let months: Vec<MonthOfBooks> = made.iter().map(|(made, a, b, moved)| MonthOfBooks {
                made: *made,
                minutes: BTreeMap::from([("a".into(), *a), ("b".into(), *b)]),
                moved: vec![("a".into(), *moved)],
            }).collect();
            let all = standings(&partners, months.iter().map(|month| (month, &Split::Hours)));
            let cash: i64 = made.iter().map(|(made, _, _, moved)| made + moved).sum();
            prop_assert_eq!(all.values().map(|standing| standing.owed()).sum::<i64>(), cash);
        }
    }
}
