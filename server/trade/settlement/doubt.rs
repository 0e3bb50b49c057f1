//! What about a paper wants a second look before it is taken over.

use jiff::civil::Date;

use super::{Comparison, Paper, Promise, Tolerance};
use crate::ids::GradeId;
use crate::mass::Mass;
use crate::money::Currency;

/// Something that may be a slip of whoever typed it, the wrong paper, or the outlet's mistake. None of it makes a settlement
/// impossible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubt {
    /// More was weighed than was sent.
    Heavier {
        grade: GradeId,
        sent: Mass,
        found: Mass,
    },
    /// No line of it pays for any lot: it may be another delivery's.
    NothingMatches,
    OtherCurrency {
        promised: Currency,
        paper: Currency,
    },
    DatedBeforeSending {
        dated: Date,
        sent: Date,
    },
    PaidBeforeSending {
        paid: Date,
        sent: Date,
    },
    DatedAhead(Date),
    /// The outlet charges more than it pays.
    Charges,
    /// Paid in another currency, and nobody knows what arrived.
    RateMissing,
}

/// What is odd about a paper. `promised` is the currency that the outlet quotes in, which the promise of the comparison may
/// have been converted from.
pub fn doubts(
    promise: &Promise,
    promised: Currency,
    paper: &Paper,
    comparison: &Comparison,
    tolerance: &Tolerance,
    sent: Option<Date>,
    today: Date,
) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    if promised != paper.currency {
        doubts.push(Doubt::OtherCurrency { promised, paper: paper.currency });
    }
    if !promise.sent.is_empty() && comparison.groups.iter().all(|group| group.lines.is_empty()) {
        doubts.push(Doubt::NothingMatches);
    }
    for group in &comparison.groups {
        let scales = tolerance.resolution.times(group.lots.len().into());
        if let Some(found) = group.found
            && found > group.sent + scales
        {
            doubts.push(Doubt::Heavier { grade: group.grade.clone(), sent: group.sent, found });
        }
    }
    if let (Some(sent), Some(dated)) = (sent, paper.dated)
        && dated < sent
    {
        doubts.push(Doubt::DatedBeforeSending { dated, sent });
    }
    if let (Some(sent), Some(paid)) = (sent, paper.payment.day)
        && paid < sent
    {
        doubts.push(Doubt::PaidBeforeSending { paid, sent });
    }
    if let Some(ahead) = paper.dated.filter(|dated| *dated > today) {
        doubts.push(Doubt::DatedAhead(ahead));
    }
    if paper.paid.is_sign_negative() && !paper.paid.is_zero() {
        doubts.push(Doubt::Charges);
    }
    if paper.currency != promise.counted.home && paper.payment.arrived.is_none() {
        doubts.push(Doubt::RateMissing);
    }
    doubts
}
