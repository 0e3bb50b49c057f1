//! What a habit leaves on the table: the plan beside what a shop does without one.

use rust_decimal::Decimal;

use super::Problem;
use crate::ids::{GradeId, LotId, OutletId};
use crate::mass::Mass;
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
    let here: Vec<&Load> =
        problem.lots.iter().map(|lot| &lot.load).filter(|load| load.mass.is_positive()).collect();
    let mut loads: Vec<Load> =
        here.iter().filter(|load| pays_for(yard, &load.grade, &here)).map(|load| (*load).clone()).collect();
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

/// Whether all that there is of the grade, taken there together, fetches something.
fn pays_for(yard: &Outlet, grade: &GradeId, loads: &[&Load]) -> bool {
    let total: Mass = loads.iter().filter(|load| load.grade == *grade).map(|load| load.mass).sum();
    let quote = yard.quotes.get(grade).and_then(|quotes| quotes.at(total));
    quote.is_some_and(|quote| quote.price.amount > Decimal::ZERO)
}
