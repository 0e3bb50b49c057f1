//! How good the estimates were: each settlement against what was known before the goods left.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::Date;
use rust_decimal::Decimal;

use super::{Learned, Lesson, Range, Settled};
use crate::ids::{Family, GradeId};
use crate::net::{Line, Paid};
use crate::outlet::Outlet;

/// A settlement with what was promised for it.
#[derive(Debug, Clone)]
pub struct Record {
    pub id: String,
    pub settled: Settled,
    /// The delivery at the prices that it was made for.
    pub lines: Vec<Line>,
    /// What the sheet's prices and the terms' fees came to, and what was paid out, in the outlet's currency.
    pub promised: Decimal,
    pub paid: Decimal,
}

/// One settlement, and what had been expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    pub id: String,
    pub left: Date,
    pub promised: Decimal,
    pub expected: Decimal,
    pub range: Range,
    pub paid: Decimal,
}

impl Told {
    pub fn fell_inside(&self) -> bool {
        self.range.holds(self.paid)
    }
}

/// All settlements of one outlet, in the order in which the goods left.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Track {
    pub told: Vec<Told>,
}

impl Track {
    pub fn inside(&self) -> usize {
        self.told.iter().filter(|told| told.fell_inside()).count()
    }
}

/// Tells each delivery from the settlements that were known when it left, and from no later one.
pub fn track(outlet: &Outlet, records: &[Record], grades: &Arc<BTreeMap<GradeId, Family>>) -> Track {
    let mut order: Vec<&Record> = records.iter().collect();
    order.sort_by(|a, b| (a.settled.left, &a.id).cmp(&(b.settled.left, &b.id)));
    let lessons: Vec<(Date, Lesson<'_>)> =
        records.iter().map(|record| (record.settled.known, record.settled.lesson())).collect();
    // What left on one day was told from the same.
    let mut told_on: BTreeMap<Date, (Arc<Learned>, Outlet)> = BTreeMap::new();
    let told = order.into_iter().map(|record| {
        let left = record.settled.left;
        let (learned, then) = told_on.entry(left).or_insert_with(|| {
            let known = lessons.iter().filter(|(known, _)| *known < left).map(|(_, lesson)| lesson);
            let learned = Arc::new(Learned::with(&outlet.terms, known, grades));
            let then = Outlet { learned: Some(Arc::clone(&learned)), ..outlet.clone() };
            (learned, then)
        });
        Told {
            id: record.id.clone(),
            left,
            promised: record.promised,
            expected: Paid::of(&record.lines, then).out(&outlet.terms),
            range: learned.payout(&record.lines, then),
            paid: record.paid,
        }
    });
    Track { told: told.collect() }
}
