//! The optimum by trying everything: the net of every set of lots at every outlet by `net::deliver`, then the best
//! way to share the lots out, one outlet after the other, for every set of yards that can be on one drive.

use rust_decimal::{Decimal, dec};
use trade::net::{self, Load};
use trade::outlet::{Drive, Outlet, Way};
use trade::plan::{Place, Problem};

/// Every outlet's net for every set of lots, as bits; `None` where it does not take the set.
pub struct Brute<'a> {
    problem: Problem<'a>,
    nets: Vec<Vec<Option<Decimal>>>,
    /// The yards, where there are roads between them; else none.
    yards: Vec<usize>,
    /// By set of those, as bits, what one drive to them saves.
    saved: Vec<Decimal>,
}

impl<'a> Brute<'a> {
    pub fn new(problem: Problem<'a>) -> Self {
        let sets = 1usize << problem.lots.len();
        let net = |outlet, set| {
            if set == 0 {
                return Some(Decimal::ZERO);
            }
            let lots = problem.lots.iter().enumerate().filter(|(lot, _)| set >> lot & 1 == 1);
            let loads: Vec<Load> = lots.map(|(_, lot)| lot.load.clone()).collect();
            net::deliver(outlet, &loads, problem.facts).ok().map(|ladder| ladder.net)
        };
        let nets = problem.outlets.iter().map(|outlet| (0..sets).map(|set| net(outlet, set)).collect());
        let is_yard = |&outlet: &usize| matches!(problem.outlets[outlet].way, Way::Drive(_));
        let mut yards: Vec<usize> = (0..problem.outlets.len()).filter(is_yard).collect();
        if problem.roads.is_empty() {
            yards.clear();
        }
        let visited = |set: usize| -> Vec<&Outlet> {
            let yards = yards.iter().enumerate().filter(|(at, _)| set >> at & 1 == 1);
            yards.map(|(_, &yard)| &problem.outlets[yard]).collect()
        };
        let saved = (0..1usize << yards.len()).map(|set| most_saved(&problem, &visited(set), None)).collect();
        Brute { problem, nets: nets.collect(), yards, saved }
    }

    /// Whether the lot may go to the place, by the problem's choices without its pins.
    pub fn allowed(&self, lot: usize, place: usize) -> bool {
        let choices = self.problem.choices;
        self.problem.outlets.get(place).is_none_or(|outlet| {
            let pair = (self.problem.lots[lot].load.lot.clone(), outlet.id.clone());
            !choices.closed.contains(&outlet.id) && !choices.bars.contains(&pair)
        })
    }

    /// The place that a pin names, as an outlet's index, with keep after the last.
    pub fn index(&self, place: &Place) -> Option<usize> {
        match place {
            Place::Keep => Some(self.problem.outlets.len()),
            Place::Outlet(id) => self.problem.outlets.iter().position(|outlet| outlet.id == *id),
        }
    }

    /// The best total where `may(lot, place)`; keep is the place after the last outlet. `None` where there is no plan.
    pub fn optimum(&self, may: impl Fn(usize, usize) -> bool) -> Option<Decimal> {
        let count = self.problem.lots.len();
        let places = self.problem.outlets.len() + 1;
        let allowed = |place| (0..count).filter(|&lot| may(lot, place)).map(|lot| 1usize << lot).sum();
        let masks: Vec<usize> = (0..places).map(allowed).collect();
        let keep = |set: usize| -> Option<Decimal> {
            let lots = self.problem.lots.iter().enumerate().filter(|(lot, _)| set >> lot & 1 == 1);
            (set & !masks[places - 1] == 0).then(|| lots.map(|(_, lot)| lot.keep).sum())
        };
        let with_yards = |open: usize| -> Option<Decimal> {
            // best[set]: the most that the outlets so far and keeping make of the lots in it.
            let mut best: Vec<Option<Decimal>> = (0..1usize << count).map(keep).collect();
            for (outlet, (nets, mask)) in self.nets.iter().zip(&masks).enumerate() {
                let yard = self.yards.iter().position(|&yard| yard == outlet);
                if yard.is_some_and(|yard| open >> yard & 1 == 0) {
                    continue;
                }
                let before = best.clone();
                if yard.is_some() {
                    // It gets something.
                    best.fill(None);
                }
                for (set, best) in best.iter_mut().enumerate() {
                    // Every way to give part of the set to this outlet.
                    let reach = set & mask;
                    let mut part = reach;
                    while part != 0 {
                        if let (Some(net), Some(rest)) = (nets[part], before[set & !part]) {
                            *best = Some(best.map_or(net + rest, |most| most.max(net + rest)));
                        }
                        part = (part - 1) & reach;
                    }
                }
            }
            Some(best.pop().flatten()? + self.saved[open])
        };
        (0..1usize << self.yards.len()).filter_map(with_yards).max()
    }
}

/// The most that going on from `from` to these yards one after the other saves, over all orders.
fn most_saved(problem: &Problem<'_>, yards: &[&Outlet], from: Option<&Outlet>) -> Decimal {
    let next = yards.iter().map(|&yard| {
        let rest: Vec<&Outlet> = yards.iter().copied().filter(|other| other.id != yard.id).collect();
        let step = from.map_or(dec!(0), |from| saved_between(problem, from, yard));
        step + most_saved(problem, &rest, Some(yard))
    });
    next.max().unwrap_or_default()
}

fn drive(outlet: &Outlet) -> Drive {
    match outlet.way {
        Way::Drive(drive) => drive,
        Way::Post(_) => panic!("{} is no yard", outlet.id),
    }
}

fn saved_between(problem: &Problem<'_>, one: &Outlet, other: &Outlet) -> Decimal {
    let costs = &problem.facts.costs;
    let yards: Vec<&Outlet> =
        problem.outlets.iter().filter(|outlet| matches!(outlet.way, Way::Drive(_))).collect();
    let by_shop = drive(one).distance_km + drive(other).distance_km;
    let less = by_shop - shortest(problem, &yards, one, other);
    let minutes =
        (less * problem.roads.minutes_per_km()).min((drive(one).minutes + drive(other).minutes) / dec!(2));
    less * costs.truck_per_km + minutes * costs.labour_per_hour / dec!(60)
}

/// The shortest way between two yards, by the shop or by others.
fn shortest(problem: &Problem<'_>, left: &[&Outlet], one: &Outlet, other: &Outlet) -> Decimal {
    let by_shop = drive(one).distance_km + drive(other).distance_km;
    let straight = problem.roads.between(&one.id, &other.id).map_or(by_shop, |road| road.min(by_shop));
    let left: Vec<&Outlet> =
        left.iter().copied().filter(|yard| yard.id != one.id && yard.id != other.id).collect();
    let by = left.iter().map(|by| {
        let first = problem.roads.between(&one.id, &by.id);
        first.map_or(straight, |first| first + shortest(problem, &left, by, other))
    });
    by.fold(straight, Decimal::min)
}
