//! A settlement: what an outlet says it weighed, graded and paid for a delivery, against what was sent and promised.
//!
//! A delivery is a delivery, whether parcels or a truck took it there, and a yard's ticket is a settlement too. Every
//! amount here is rounded once to its currency's minor unit, and each difference is one such amount less another: so the
//! differences add up exactly to what was paid less what was promised, and they do so as they are shown.

mod compare;
mod doubt;

use std::collections::BTreeMap;

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

pub use compare::{Comparison, Difference, Group, Home, Kind, Why, compare};
pub use doubt::{Doubt, doubts};

use crate::history::Range;
use crate::ids::{GradeId, LotId};
use crate::mass::{Mass, round};
use crate::money::{Currency, Money, Price, PriceUnit, Share, places};
use crate::net::{Ladder, Load};
use crate::outlet::Terms;

/// What was sent, at which prices and terms: what the outlet has promised by its sheet, without what the shop allowed for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Promise {
    /// The outlet's; every price is in it.
    pub currency: Currency,
    pub sent: Vec<Sent>,
    /// Taken off what is weighed, for tare or moisture.
    pub weight_deduction: Share,
    /// Of what pays.
    pub percent_fee: Share,
    pub flat_fee: Decimal,
    pub days_to_pay: u32,
    pub counted: Counted,
}

/// A lot as it went out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sent {
    pub lot: LotId,
    pub grade: GradeId,
    pub mass: Mass,
    pub pieces: u32,
    pub price: Price,
}

/// How the payment was counted in home currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counted {
    pub home: Currency,
    /// Units of home currency for one of the outlet's, the bank's spread taken off.
    pub rate: Decimal,
    /// What it was to cost to receive the payment, in home currency.
    pub payout_fee: Decimal,
}

/// What the outlet's paper says. Amounts are in `currency`, in whole minor units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    pub currency: Currency,
    pub lines: Vec<PaperLine>,
    pub charges: Vec<Charge>,
    /// What it pays out in all, as it says itself; negative where the outlet charges more than it pays.
    pub paid: Decimal,
    pub dated: Option<Date>,
    pub payment: Payment,
}

/// A line that pays (or charges) for something.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PaperLine {
    pub wording: String,
    /// Which of the shop's grades it means.
    pub grade: Option<GradeId>,
    pub mass: Option<Mass>,
    pub pieces: Option<u32>,
    pub price: Option<Price>,
    pub amount: Decimal,
    /// The lots that it pays for: none, one, or several that were weighed as one. Several lines may pay for one lot.
    pub pays_for: Vec<LotId>,
}

/// What a paper takes off, as one amount.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Charge {
    pub kind: ChargeKind,
    pub wording: String,
    /// Positive where it takes away.
    pub amount: Decimal,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChargeKind {
    /// For handling, sorting, paying.
    Fee,
    /// For what was in it: moisture, dirt, steel.
    Deduction,
}

/// What came of the payment.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Payment {
    pub day: Option<Date>,
    /// What reached the account, in home currency; `None` while nobody knows.
    pub arrived: Option<Decimal>,
    /// What the bank kept for it, in home currency.
    pub bank_fee: Decimal,
}

/// How far apart two figures may lie without a question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tolerance {
    /// The smallest step of the scale: each lot may be that far off.
    pub resolution: Mass,
    /// What an outlet's scale may differ by, as a share of the weight, before enough has been settled there.
    pub weight: Share,
    /// Between which shares of our weight theirs usually lies, by grade, where settlements have taught it.
    pub usual: BTreeMap<GradeId, Range>,
    /// What the bank's rate has differed by, as a share of the amount.
    pub exchange: Share,
}

/// What of a line falls to one of the lots that it pays for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Portion {
    pub lot: LotId,
    pub mass: Option<Mass>,
    pub pieces: Option<u32>,
    pub amount: Decimal,
}

impl Promise {
    /// What was promised for `loads` when `ladder` was worked out for them.
    pub fn of(ladder: &Ladder, loads: &[Load], terms: &Terms, home: Currency) -> Promise {
        let price = |grade: &GradeId| {
            ladder.lines.iter().find(|line| line.grade == *grade).map(|line| line.quote.price)
        };
        let sent = loads.iter().filter_map(|load| {
            Some(Sent {
                lot: load.lot.clone(),
                grade: load.grade.clone(),
                mass: load.mass,
                pieces: load.pieces,
                price: price(&load.grade)?,
            })
        });
        let currency = ladder.payout.currency;
        let spread = if currency == home { Decimal::ONE } else { terms.exchange_spread.rest() };
        Promise {
            currency,
            sent: sent.collect(),
            weight_deduction: terms.weight_deduction,
            percent_fee: terms.percent_fee,
            flat_fee: terms.flat_fee,
            days_to_pay: terms.days_to_pay,
            counted: Counted { home, rate: ladder.rate.rate * spread, payout_fee: terms.payout_fee },
        }
    }

    /// The same promise in another currency, at `rate` units of it for one of the promise's: an outlet that quotes in one
    /// currency may pay in another.
    pub fn converted(&self, to: Currency, rate: Decimal) -> Promise {
        let price = |price: Price| Price { amount: price.amount * rate, currency: to, ..price };
        let sent = self.sent.iter().map(|sent| Sent { price: price(sent.price), ..sent.clone() });
        let to_home = if to == self.counted.home { Decimal::ONE } else { self.counted.rate / rate };
        Promise {
            currency: to,
            sent: sent.collect(),
            flat_fee: self.flat_fee * rate,
            counted: Counted { rate: to_home, ..self.counted },
            ..self.clone()
        }
    }

    /// The mass of a lot that is to be paid for.
    pub fn counted_mass(&self, sent: &Sent) -> Mass {
        match sent.price.per {
            PriceUnit::Each => sent.mass,
            PriceUnit::Mass(_) => sent.mass.times(self.weight_deduction.rest()),
        }
    }

    /// What each lot is promised, rounded so that the lots of a grade come to what the grade does.
    pub fn lots(&self) -> Vec<(&Sent, Decimal)> {
        let mut amounts: BTreeMap<usize, Decimal> = BTreeMap::new();
        for members in self.grades() {
            let of: Vec<&Sent> = members.iter().map(|index| &self.sent[*index]).collect();
            let whole = self.rounded(self.worth(&of));
            let weights: Vec<Decimal> = of.iter().map(|sent| self.quantity(sent)).collect();
            for (index, part) in members.iter().zip(apportion(whole, &weights, places(self.currency))) {
                amounts.insert(*index, part);
            }
        }
        self.sent
            .iter()
            .enumerate()
            .map(|(index, sent)| (sent, amounts.get(&index).copied().unwrap_or_default()))
            .collect()
    }

    /// What the outlet is to take for itself.
    pub fn fees(&self) -> Decimal {
        let paying: Decimal = self
            .grades()
            .iter()
            .map(|members| {
                let of: Vec<&Sent> = members.iter().map(|index| &self.sent[*index]).collect();
                self.rounded(self.worth(&of)).max(Decimal::ZERO)
            })
            .sum();
        self.rounded(paying * self.percent_fee.get() + self.flat_fee)
    }

    /// What is to be paid out, in the outlet's currency.
    pub fn payout(&self) -> Decimal {
        self.lots().iter().map(|(_, amount)| *amount).sum::<Decimal>() - self.fees()
    }

    /// What is to reach the account, in home currency.
    pub fn at_home(&self) -> Decimal {
        self.in_home(self.payout()) - self.payout_fee()
    }

    fn in_home(&self, amount: Decimal) -> Decimal {
        round(amount * self.counted.rate, places(self.counted.home))
    }

    fn payout_fee(&self) -> Decimal {
        round(self.counted.payout_fee, places(self.counted.home))
    }

    fn rounded(&self, amount: Decimal) -> Decimal {
        Money::new(amount, self.currency).rounded().amount
    }

    /// Lots of one grade at one price, by their places in `sent`, in the order of the first of each.
    fn grades(&self) -> Vec<Vec<usize>> {
        let mut grades: Vec<Vec<usize>> = Vec::new();
        for (index, sent) in self.sent.iter().enumerate() {
            let same = |members: &&mut Vec<usize>| {
                let first = &self.sent[members[0]];
                first.grade == sent.grade && first.price == sent.price
            };
            match grades.iter_mut().find(same) {
                Some(members) => members.push(index),
                None => grades.push(vec![index]),
            }
        }
        grades
    }

    /// What lots of one grade are promised together, not yet rounded.
    fn worth(&self, lots: &[&Sent]) -> Decimal {
        let Some(first) = lots.first() else { return Decimal::ZERO };
        let mass: Mass = lots.iter().map(|sent| self.counted_mass(sent)).sum();
        let pieces = lots.iter().fold(0_u32, |sum, sent| sum.saturating_add(sent.pieces));
        first.price.of(mass, pieces).amount
    }

    /// What a lot is paid by: its weight, or its pieces.
    fn quantity(&self, sent: &Sent) -> Decimal {
        match sent.price.per {
            PriceUnit::Each => Decimal::from(sent.pieces),
            PriceUnit::Mass(_) => self.counted_mass(sent).grams(),
        }
    }

    /// What of a line falls to each lot that it pays for: by the weights that were sent, the parts adding up to the line.
    pub fn portions(&self, line: &PaperLine, currency: Currency) -> Vec<Portion> {
        let lots: Vec<&Sent> = self.sent.iter().filter(|sent| line.pays_for.contains(&sent.lot)).collect();
        let weights: Vec<Decimal> = lots.iter().map(|sent| sent.mass.grams()).collect();
        let amounts = apportion(line.amount, &weights, places(currency));
        let masses = line.mass.map(|mass| apportion(mass.as_kept().grams(), &weights, 6));
        let pieces = line.pieces.map(|pieces| apportion(Decimal::from(pieces), &weights, 0));
        let portion = |(index, sent): (usize, &&Sent)| Portion {
            lot: sent.lot.clone(),
            mass: masses.as_ref().map(|masses| Mass::from_grams(masses[index])),
            // Parts of a count are no larger than the count.
            pieces: pieces.as_ref().map(|pieces| u32::try_from(pieces[index]).unwrap_or(u32::MAX)),
            amount: amounts[index],
        };
        lots.iter().enumerate().map(portion).collect()
    }
}

/// Parts of `whole` in the proportion of `weights`, each with so many decimals, that add up to it exactly. Where the weights
/// come to nothing, the parts are as alike as can be.
fn apportion(whole: Decimal, weights: &[Decimal], decimals: u32) -> Vec<Decimal> {
    let sum: Decimal = weights.iter().sum();
    let even = sum <= Decimal::ZERO || weights.iter().any(|weight| *weight < Decimal::ZERO);
    let total = if even { Decimal::from(weights.len()) } else { sum };
    let (mut so_far, mut given) = (Decimal::ZERO, Decimal::ZERO);
    let part = |(index, weight): (usize, &Decimal)| {
        so_far += if even { Decimal::ONE } else { *weight };
        let due = if index + 1 == weights.len() { whole } else { round(whole * (so_far / total), decimals) };
        let part = due - given;
        given = due;
        part
    };
    weights.iter().enumerate().map(part).collect()
}
