//! What a habit leaves on the table: the plan beside what a shop does without one.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::{Delivery, Problem};
use crate::ids::{GradeId, LotId, OutletId};
use crate::mass::Mass;
use crate::money::PriceUnit;
use crate::net::{Closed, Ladder, Load, deliver};
use crate::outlet::{Drive, Outlet, Way};
use crate::tour::{Tour, Tours};

/// What a habit comes to: its deliveries. Lots that are in none stay and fetch nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Habit {
    pub deliveries: Vec<Delivery>,
    /// The drives to several yards at once.
    pub tours: Vec<Tour>,
}

impl Habit {
    /// In home currency.
    pub fn net(&self) -> Decimal {
        let nets: Decimal = self.deliveries.iter().map(|delivery| delivery.ladder.net).sum();
        nets + self.tours.iter().map(|tour| tour.saved).sum::<Decimal>()
    }

    /// How many lots go somewhere.
    pub fn lots(&self) -> usize {
        self.deliveries.iter().map(|delivery| delivery.lots.len()).sum()
    }

    fn of(problem: &Problem<'_>, deliveries: Vec<Delivery>) -> Option<Habit> {
        let goes =
            |index: usize| deliveries.iter().any(|delivery| delivery.outlet == problem.outlets[index].id);
        let tours = Tours::new(problem.outlets, problem.roads, &problem.facts.costs).tours(goes);
        (!deliveries.is_empty()).then_some(Habit { deliveries, tours })
    }
}

/// Everything to the nearest yard: all that it takes and pays for, in one drive. `None` where there is no yard, or it
/// takes nothing of what there is.
pub fn nearest_yard(problem: &Problem<'_>) -> Option<Habit> {
    let here: Vec<&Load> = loads(problem).collect();
    Habit::of(problem, to_nearest_yard(problem, &here).into_iter().collect())
}

/// Each grade to the outlet whose sheet pays most for its weight, all of it together, whatever it costs to get there. What
/// is refused there goes to the next. `None` where nothing can be sold so.
pub fn highest_price(problem: &Problem<'_>) -> Option<Habit> {
    let here: Vec<&Load> = loads(problem).collect();
    let mut ways: BTreeMap<&GradeId, Vec<&Outlet>> =
        here.iter().map(|load| (&load.grade, by_price(problem, &load.grade, &here, |_| true))).collect();
    loop {
        let mut deliveries = Vec::new();
        let mut refused: Vec<&GradeId> = Vec::new();
        for outlet in problem.outlets {
            let goes = |grade: &GradeId| {
                ways.get(grade).and_then(|ways| ways.first()).is_some_and(|way| way.id == outlet.id)
            };
            let loads: Vec<Load> =
                here.iter().filter(|load| goes(&load.grade)).map(|load| (*load).clone()).collect();
            if loads.is_empty() {
                continue;
            }
            match deliver(outlet, &loads, problem.facts) {
                Ok(ladder) => deliveries.push(delivery(outlet, loads, ladder)),
                Err(
                    Closed::BelowTier { grade, .. }
                    | Closed::BelowMinimumGrade { grade, .. }
                    | Closed::NoQuote(grade),
                ) => {
                    refused.extend(ways.keys().copied().filter(|other| **other == grade));
                }
                Err(_) => refused.extend(ways.keys().copied().filter(|grade| goes(grade))),
            }
        }
        if refused.is_empty() {
            return Habit::of(problem, deliveries);
        }
        for grade in refused {
            if let Some(ways) = ways.get_mut(grade) {
                ways.remove(0);
            }
        }
    }
}

/// Every bag by itself to the mail-in buyer whose sheet pays most for its weight, as it fills; the rest to the nearest
/// yard. `None` where no buyer takes a bag by itself.
pub fn every_bag_alone(problem: &Problem<'_>) -> Option<Habit> {
    let mut deliveries = Vec::new();
    let mut rest = Vec::new();
    for load in loads(problem) {
        let buyers = by_price(problem, &load.grade, &[load], |outlet| drive(outlet).is_none());
        let sent = buyers.into_iter().find_map(|buyer| {
            let ladder = deliver(buyer, std::slice::from_ref(load), problem.facts).ok()?;
            Some(delivery(buyer, vec![load.clone()], ladder))
        });
        match sent {
            Some(sent) => deliveries.push(sent),
            None => rest.push(load),
        }
    }
    if deliveries.is_empty() {
        return None;
    }
    deliveries.extend(to_nearest_yard(problem, &rest));
    Habit::of(problem, deliveries)
}

fn loads<'p>(problem: &Problem<'p>) -> impl Iterator<Item = &'p Load> + use<'p> {
    problem.lots.iter().map(|lot| &lot.load).filter(|load| load.mass.is_positive())
}

fn delivery(outlet: &Outlet, loads: Vec<Load>, ladder: Ladder) -> Delivery {
    let lots: Vec<LotId> = loads.into_iter().map(|load| load.lot).collect();
    let id: OutletId = outlet.id.clone();
    Delivery { outlet: id, lots, ladder }
}

/// The outlets that pay for the grade, by what their sheets pay for its weight, highest first.
fn by_price<'p>(
    problem: &Problem<'p>,
    grade: &GradeId,
    loads: &[&Load],
    among: impl Fn(&Outlet) -> bool,
) -> Vec<&'p Outlet> {
    let of_grade = || loads.iter().filter(|load| load.grade == *grade);
    let mass: Mass = of_grade().map(|load| load.mass).sum();
    let pieces = of_grade().map(|load| load.pieces).fold(0, u32::saturating_add);
    let (home, today) = (problem.facts.costs.home, problem.facts.today);
    let mut ways: Vec<(Decimal, &Outlet)> = problem
        .outlets
        .iter()
        .filter(|outlet| among(outlet))
        .filter_map(|outlet| {
            let quotes = outlet.quotes.get(grade)?;
            // Below the first tier the sheet is still read for what it would pay.
            let quote = quotes.at(mass).unwrap_or(&quotes.tiers()[0]);
            let rate = problem.facts.rates.mid(outlet.currency, home, today)?.rate;
            let paid = match quote.price.per {
                PriceUnit::Each if pieces == 0 => return None,
                _ => quote.price.of(mass, pieces).amount * rate,
            };
            (paid > Decimal::ZERO).then_some((paid, outlet))
        })
        .collect();
    ways.sort_by(|(a, _), (b, _)| b.cmp(a));
    ways.into_iter().map(|(_, outlet)| outlet).collect()
}

fn to_nearest_yard(problem: &Problem<'_>, here: &[&Load]) -> Option<Delivery> {
    let (yard, _) = problem
        .outlets
        .iter()
        .filter_map(|outlet| Some((outlet, drive(outlet)?.distance_km)))
        .min_by(|(_, a), (_, b)| a.cmp(b))?;
    let mut loads: Vec<Load> =
        here.iter().filter(|load| pays_for(yard, &load.grade, here)).map(|load| (*load).clone()).collect();
    loop {
        match deliver(yard, &loads, problem.facts) {
            Ok(ladder) => return Some(delivery(yard, loads, ladder)),
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
