//! Good plans quickly: from any assignment, change it as long as it gets better.
//!
//! Moves: one lot to another place; all lots of one grade from one place to another (which crosses tiers and
//! minimums at once); everything that would gain to one outlet (opens it); everything out of one outlet (shuts it);
//! two lots swapped. Nothing here decides what is best: the bound does.

use super::model::Model;
use super::node::{Node, Reach, Scope};

/// A place for every lot of the scope, with what it is worth.
#[derive(Debug, Clone)]
pub(super) struct Assignment {
    /// By lot; lots outside the scope stand at the keep place and count nothing.
    pub place: Vec<usize>,
    pub total: f64,
}

#[derive(Debug)]
pub(super) struct Improver<'m> {
    model: &'m Model<'m>,
    scope: &'m Scope,
    node: &'m Node,
    place: Vec<usize>,
    /// By place: its lots, and their net there; `None` where the outlet does not take them together.
    held: Vec<Vec<usize>>,
    net: Vec<Option<f64>>,
}

/// How good a state is: the fewer outlets refuse their delivery the better, then the more money the better.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Worth {
    willing: i32,
    money: f64,
}

impl<'m> Improver<'m> {
    pub fn new(model: &'m Model<'m>, scope: &'m Scope, node: &'m Node, place: Vec<usize>) -> Self {
        let mut held = vec![Vec::new(); node.places()];
        for &lot in &scope.lots {
            held[place[lot]].push(lot);
        }
        let mut improver = Improver { model, scope, node, place, held, net: Vec::new() };
        improver.net =
            (0..node.places()).map(|place| improver.net_of(place, &improver.held[place])).collect();
        improver
    }

    /// Changes the plan until no move makes it better. `None` where some outlet still refuses what it has to take.
    pub fn run(mut self, thorough: bool) -> Option<Assignment> {
        loop {
            let better =
                self.move_lots() || self.move_grades() || self.fill_outlets() || self.empty_outlets();
            if !better && (!thorough || !self.swap_lots()) {
                break;
            }
        }
        let total = self.net.iter().copied().sum::<Option<f64>>()?;
        Some(Assignment { place: self.place, total })
    }

    fn net_of(&self, place: usize, lots: &[usize]) -> Option<f64> {
        if place == self.model.keep_place() {
            return Some(lots.iter().map(|&lot| self.model.lots[lot].keep).sum());
        }
        self.model.net(place, lots)
    }

    fn may(&self, lot: usize, place: usize) -> bool {
        self.node.at(place, lot) != Reach::No
    }

    /// Gives the places these lots if that is better.
    fn try_change(&mut self, change: Vec<(usize, Vec<usize>)>) -> bool {
        let before = worth(change.iter().map(|(place, _)| self.net[*place]));
        let nets: Vec<Option<f64>> = change.iter().map(|(place, lots)| self.net_of(*place, lots)).collect();
        let after = worth(nets.iter().copied());
        let gain = Worth { money: before.money + self.model.tolerance, ..before };
        if after <= gain {
            return false;
        }
        for ((place, lots), net) in change.into_iter().zip(nets) {
            for &lot in &lots {
                self.place[lot] = place;
            }
            self.held[place] = lots;
            self.net[place] = net;
        }
        true
    }

    /// Moves some lots, all now at `from`, to `to`.
    fn try_move(&mut self, lots: &[usize], from: usize, to: usize) -> bool {
        let left = self.held[from].iter().copied().filter(|lot| !lots.contains(lot)).collect();
        let mut joined = self.held[to].clone();
        joined.extend_from_slice(lots);
        self.try_change(vec![(from, left), (to, joined)])
    }

    fn places(&self) -> impl Iterator<Item = usize> + use<> {
        let sites = self.scope.sites.clone();
        sites.into_iter().chain([self.model.keep_place()])
    }

    fn move_lots(&mut self) -> bool {
        let mut better = false;
        for lot in self.scope.lots.clone() {
            for to in self.places() {
                let from = self.place[lot];
                if to != from && self.may(lot, to) {
                    better |= self.try_move(&[lot], from, to);
                }
            }
        }
        better
    }

    fn move_grades(&mut self) -> bool {
        let mut better = false;
        let grade = |lot: usize| &self.model.problem.lots[lot].load.grade;
        let mut groups: Vec<(usize, Vec<usize>)> = Vec::new();
        for &lot in &self.scope.lots {
            let from = self.place[lot];
            match groups.iter_mut().find(|(place, lots)| *place == from && grade(lots[0]) == grade(lot)) {
                Some((_, lots)) => lots.push(lot),
                None => groups.push((from, vec![lot])),
            }
        }
        for (from, lots) in groups {
            for to in self.places().filter(|&to| to != from) {
                let going: Vec<usize> = lots
                    .iter()
                    .copied()
                    .filter(|&lot| self.place[lot] == from && self.may(lot, to))
                    .collect();
                if going.len() > 1 {
                    better |= self.try_move(&going, from, to);
                }
            }
        }
        better
    }

    /// To one outlet, everything that would fetch more there, shared costs aside.
    fn fill_outlets(&mut self) -> bool {
        let mut better = false;
        for &site in &self.scope.sites {
            let come = |&lot: &usize| {
                let here = self.place[lot];
                here != site && self.may(lot, site) && self.alone(lot, site) > self.alone(lot, here)
            };
            let coming: Vec<usize> = self.scope.lots.iter().copied().filter(come).collect();
            if coming.len() < 2 {
                continue;
            }
            let mut change = Vec::new();
            for place in self.places() {
                let mut lots = self.held[place].clone();
                lots.retain(|lot| !coming.contains(lot));
                if place == site {
                    lots.extend_from_slice(&coming);
                }
                if lots.len() != self.held[place].len() {
                    change.push((place, lots));
                }
            }
            better |= self.try_change(change);
        }
        better
    }

    /// Each lot of one outlet to the next best place that is open anyway.
    fn empty_outlets(&mut self) -> bool {
        let mut better = false;
        for &site in &self.scope.sites {
            if self.held[site].len() < 2 {
                continue;
            }
            let mut change: Vec<(usize, Vec<usize>)> = vec![(site, Vec::new())];
            for &lot in &self.held[site] {
                let open = |&place: &usize| {
                    place == self.model.keep_place() || place != site && !self.held[place].is_empty()
                };
                let to = self.places().filter(open).filter(|&place| self.may(lot, place));
                let best = to.max_by(|&a, &b| self.alone(lot, a).total_cmp(&self.alone(lot, b)));
                let place = best.unwrap_or(site);
                match change.iter_mut().find(|(at, _)| *at == place) {
                    Some((_, lots)) => lots.push(lot),
                    None => {
                        let mut lots = self.held[place].clone();
                        lots.push(lot);
                        change.push((place, lots));
                    }
                }
            }
            better |= self.try_change(change);
        }
        better
    }

    fn swap_lots(&mut self) -> bool {
        let lots = &self.scope.lots;
        for (at, &one) in lots.iter().enumerate() {
            for &other in &lots[at + 1..] {
                let (here, there) = (self.place[one], self.place[other]);
                if here == there || !self.may(one, there) || !self.may(other, here) {
                    continue;
                }
                let swap = |place: usize, out: usize, come: usize| {
                    let lots = self.held[place].iter().map(|&lot| if lot == out { come } else { lot });
                    (place, lots.collect())
                };
                let change = vec![swap(here, one, other), swap(there, other, one)];
                if self.try_change(change) {
                    return true;
                }
            }
        }
        false
    }

    /// What the lot fetches at a place at its highest tier, shared costs aside.
    fn alone(&self, lot: usize, place: usize) -> f64 {
        match self.model.sites.get(place) {
            None => self.model.lots[lot].keep,
            Some(site) => site.highest(lot).unwrap_or(f64::NEG_INFINITY),
        }
    }
}

fn worth(nets: impl Iterator<Item = Option<f64>>) -> Worth {
    nets.fold(Worth { willing: 0, money: 0.0 }, |sum, net| match net {
        Some(net) => Worth { money: sum.money + net, ..sum },
        None => Worth { willing: sum.willing - 1, ..sum },
    })
}
