//! What a habit leaves on the table: the plan beside what a shop does without one.

use rust_decimal::Decimal;

use super::Problem;
use crate::ids::{LotId, OutletId};
use crate::net::{Closed, Ladder, Load, deliver};
use crate::outlet::{Drive, Outlet, Way};

/// What a habit comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Habit {
    pub outlet: OutletId,
    /// The lots that go there; the others stay and fetch nothing.
    pub lots: Vec<LotId>,
    pub ladder: Ladder,
}

/// Everything to the nearest yard: all that it takes and pays for, in one drive. `None` where there is no yard, or it
/// takes nothing of what there is.
pub fn nearest_yard(problem: &Problem<'_>) -> Option<Habit> {
    let (yard, _) = problem
        .outlets
        .iter()
        .filter_map(|outlet| Some((outlet, drive(outlet)?.distance_km)))
        .min_by(|(_, a), (_, b)| a.cmp(b))?;
    let mut loads: Vec<Load> = problem
        .lots
        .iter()
        .map(|lot| &lot.load)
        .filter(|load| load.mass.is_positive() && pays_for(yard, load))
        .cloned()
        .collect();
    loop {
        match deliver(yard, &loads, problem.facts) {
            Ok(ladder) => {
                let lots = loads.into_iter().map(|load| load.lot).collect();
                return Some(Habit { outlet: yard.id.clone(), lots, ladder });
            }
            // One grade too light for the yard stays; the rest still goes.
            Err(
                Closed::BelowTier { grade, .. }
                | Closed::BelowMinimumGrade { grade, .. }
                | Closed::NoQuote(grade),
            ) => {
                loads.retain(|load| load.grade != grade);
            }
            Err(_) => return None,
        }
    }
}

fn drive(outlet: &Outlet) -> Option<&Drive> {
    match &outlet.way {
        Way::Drive(drive) => Some(drive),
        Way::Post(_) => None,
    }
}

fn pays_for(yard: &Outlet, load: &Load) -> bool {
    let quote = yard.quotes.get(&load.grade).and_then(|quotes| quotes.at(load.mass));
    quote.is_some_and(|quote| quote.price.amount > Decimal::ZERO)
}
