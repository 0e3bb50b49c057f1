//! Good plans quickly: from any assignment, change it as long as it gets better.
//!
//! Moves: one lot to another place; all lots of one grade from one place to another (which crosses tiers and
//! minimums at once); everything that would gain to one outlet (opens it); everything out of one outlet (shuts it);
//! two lots swapped; of lots that are alike, one or two exchanged so that what goes just fits (`exchange`). Nothing here decides what is best: the bound does.

mod exchange;

use super::model::Model;
use super::node::{Node, Reach, Scope};
use super::tally::{Change, Tally};

/// Of so few lots any two are tried for a swap.
const FEW: usize = 120;

/// Of so few lots of one class any two are tried too, whatever a swap is good for.
const FEW_ALIKE: usize = 60;

/// Less money than this is rounding.
const NOTHING: f64 = 1e-9;

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
    /// Lots of the scope that may go to more than one place.
    free: Vec<usize>,
    place: Vec<usize>,
    tally: Tally<'m>,
}

/// How good a state is: the fewer outlets refuse their delivery the better, then the more money the better.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Worth {
    willing: i32,
    money: f64,
}

/// Lots that go from one place to another.
type Moves = Vec<(usize, usize, Vec<usize>)>;

impl<'m> Improver<'m> {
    pub fn new(model: &'m Model<'m>, scope: &'m Scope, node: &'m Node, place: Vec<usize>) -> Self {
        let mut tally = Tally::new(model);
        for at in scope.sites.iter().copied().chain([model.keep_place()]) {
            let lots: Vec<usize> = scope.lots.iter().copied().filter(|&lot| place[lot] == at).collect();
            tally.apply(at, Change { come: &lots, go: &[] });
        }
        let free = scope.lots.iter().copied().filter(|&lot| node.place_of(lot).is_none()).collect();
        Improver { model, scope, node, free, place, tally }
    }

    /// Moves only these lots by themselves; an outlet may still be emptied of all that it has.
    pub fn moving(mut self, lots: &[&[usize]]) -> Self {
        let mut moves = vec![false; self.place.len()];
        lots.iter().copied().flatten().for_each(|&lot| moves[lot] = true);
        self.free.retain(|&lot| moves[lot]);
        self
    }

    /// Changes the plan until no move makes it better. `None` where some outlet still refuses what it has to take.
    /// `alike` has lots that are worth swapping one for another.
    pub fn run(mut self, alike: &[&[usize]]) -> Option<Assignment> {
        loop {
            let better =
                self.move_lots() || self.move_grades() || self.fill_outlets() || self.empty_outlets();
            if !better
                && !self.swap_alike(alike)
                && (!alike.is_empty() || self.free.len() > FEW || !self.swap_lots())
            {
                break;
            }
        }
        let places = self.scope.sites.iter().copied().chain([self.model.keep_place()]);
        let total = places.map(|place| self.net(place)).sum::<Option<f64>>()?;
        let saved = self.model.rounds.saved(|site| !self.tally.lots(site).is_empty());
        Some(Assignment { place: self.place, total: total + saved })
    }

    /// What the place nets; `None` where the outlet refuses what it has, or has nothing and has to get something.
    fn net(&self, place: usize) -> Option<f64> {
        let idle = self.scope.opens == Some(place) && self.tally.lots(place).is_empty();
        if idle { None } else { self.tally.net(place) }
    }

    fn net_with(&self, place: usize, change: Change<'_>) -> Option<f64> {
        let idle = || self.tally.lots(place).len() + change.come.len() == change.go.len();
        if self.scope.opens == Some(place) && idle() { None } else { self.tally.net_with(place, change) }
    }

    /// What drives to these yards save more than those to the yards that hold something now.
    fn saves(&self, holds: impl Fn(usize) -> bool) -> f64 {
        let rounds = &self.model.rounds;
        if rounds.is_empty() {
            return 0.0;
        }
        rounds.saved(holds) - rounds.saved(|site| !self.tally.lots(site).is_empty())
    }

    fn may(&self, lot: usize, place: usize) -> bool {
        self.node.at(place, lot) != Reach::No
    }

    /// Makes the moves if that is better.
    fn try_moves(&mut self, moves: &Moves) -> bool {
        let mut places: Vec<usize> = moves.iter().flat_map(|&(from, to, _)| [from, to]).collect();
        places.sort_unstable();
        places.dedup();
        let changes: Vec<(usize, Vec<usize>, Vec<usize>)> = places
            .into_iter()
            .map(|place| {
                let come = moves.iter().filter(|(_, to, _)| *to == place).flat_map(|(.., lots)| lots);
                let go = moves.iter().filter(|(from, ..)| *from == place).flat_map(|(.., lots)| lots);
                (place, come.copied().collect(), go.copied().collect())
            })
            .collect();
        let before = worth(changes.iter().map(|(place, ..)| self.net(*place)));
        let after = worth(changes.iter().map(|(place, come, go)| self.net_with(*place, Change { come, go })));
        let holds = |place: usize| {
            let change = changes.iter().find(|(other, ..)| *other == place);
            let (come, go) = change.map_or((0, 0), |(_, come, go)| (come.len(), go.len()));
            self.tally.lots(place).len() + come > go
        };
        let after = Worth { money: after.money + self.saves(holds), ..after };
        if after <= (Worth { money: before.money + NOTHING, ..before }) {
            return false;
        }
        for (place, come, go) in &changes {
            self.tally.apply(*place, Change { come, go });
            for &lot in come {
                self.place[lot] = *place;
            }
        }
        true
    }

    /// Moves one lot if that is better.
    fn try_move(&mut self, lot: usize, to: usize) -> bool {
        let (from, lots) = (self.place[lot], [lot]);
        let (out, into) = (Change { come: &[], go: &lots }, Change { come: &lots, go: &[] });
        let before = worth([self.net(from), self.net(to)].into_iter());
        let after = worth([self.net_with(from, out), self.net_with(to, into)].into_iter());
        let after = if self.tally.lots(from).len() == 1 || self.tally.lots(to).is_empty() {
            let holds =
                |place: usize| place == to || self.tally.lots(place).len() > usize::from(place == from);
            Worth { money: after.money + self.saves(holds), ..after }
        } else {
            after
        };
        if after <= (Worth { money: before.money + NOTHING, ..before }) {
            return false;
        }
        self.tally.apply(from, out);
        self.tally.apply(to, into);
        self.place[lot] = to;
        true
    }

    fn places(&self) -> impl Iterator<Item = usize> + use<> {
        let sites = self.scope.sites.clone();
        sites.into_iter().chain([self.model.keep_place()])
    }

    fn move_lots(&mut self) -> bool {
        let mut better = false;
        for lot in self.free.clone() {
            for to in self.places() {
                let from = self.place[lot];
                if to != from && self.may(lot, to) {
                    better |= self.try_move(lot, to);
                }
            }
        }
        better
    }

    fn move_grades(&mut self) -> bool {
        let mut better = false;
        let grade = |lot: usize| &self.model.problem.lots[lot].load.grade;
        let mut groups: Vec<(usize, Vec<usize>)> = Vec::new();
        for &lot in &self.free {
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
                    better |= self.try_moves(&vec![(from, to, going)]);
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
            let coming: Vec<usize> = self.free.iter().copied().filter(come).collect();
            if coming.len() < 2 {
                continue;
            }
            let mut moves: Moves = Vec::new();
            for lot in coming {
                add_move(&mut moves, self.place[lot], site, lot);
            }
            better |= self.try_moves(&moves);
        }
        better
    }

    /// Each lot of one outlet to the next best place that is open anyway.
    fn empty_outlets(&mut self) -> bool {
        let mut better = false;
        for &site in &self.scope.sites {
            if self.tally.lots(site).len() < 2 {
                continue;
            }
            let mut moves: Moves = Vec::new();
            for &lot in self.tally.lots(site) {
                let open = |&place: &usize| {
                    place == self.model.keep_place() || place != site && !self.tally.lots(place).is_empty()
                };
                let to = self.places().filter(open).filter(|&place| self.may(lot, place));
                let best = to.max_by(|&a, &b| self.alone(lot, a).total_cmp(&self.alone(lot, b)));
                let place = best.unwrap_or(site);
                if place != site {
                    add_move(&mut moves, site, place, lot);
                }
            }
            better |= self.try_moves(&moves);
        }
        better
    }

    fn swap_lots(&mut self) -> bool {
        let lots = &self.free;
        for (at, &one) in lots.iter().enumerate() {
            for &other in &lots[at + 1..] {
                let (here, there) = (self.place[one], self.place[other]);
                if here == there || !self.may(one, there) || !self.may(other, here) {
                    continue;
                }
                let (first, second) = ([one], [other]);
                let changes = [
                    (here, Change { come: &second, go: &first }),
                    (there, Change { come: &first, go: &second }),
                ];
                let before = worth([self.net(here), self.net(there)].into_iter());
                let after = worth(changes.iter().map(|&(place, change)| self.net_with(place, change)));
                if after > (Worth { money: before.money + NOTHING, ..before }) {
                    for (place, change) in changes {
                        self.tally.apply(place, change);
                    }
                    (self.place[one], self.place[other]) = (there, here);
                    return true;
                }
            }
        }
        false
    }

    /// Swaps lots that are alike but for their mass: this fills a step of the freight, or just reaches a tier.
    fn swap_alike(&mut self, alike: &[&[usize]]) -> bool {
        let mut better = false;
        for lots in alike {
            let by_mass = lots.iter().all(|&lot| !self.tally.by_room(self.place[lot]));
            if by_mass {
                better |= self.exchange(lots);
            }
            if !by_mass || lots.len() <= FEW_ALIKE {
                better |= self.swap_best(lots);
            }
        }
        better
    }

    /// Any two of the lots, always those that gain most.
    fn swap_best(&mut self, lots: &[usize]) -> bool {
        let mut better = false;
        while let Some((one, other)) = self.best_swap(lots) {
            let (here, there) = (self.place[one], self.place[other]);
            self.tally.apply(here, Change { come: &[other], go: &[one] });
            self.tally.apply(there, Change { come: &[one], go: &[other] });
            (self.place[one], self.place[other]) = (there, here);
            better = true;
        }
        better
    }

    fn best_swap(&self, lots: &[usize]) -> Option<(usize, usize)> {
        let mut best: Option<(f64, usize, usize)> = None;
        for (at, &one) in lots.iter().enumerate() {
            for &other in &lots[at + 1..] {
                let (here, there) = (self.place[one], self.place[other]);
                let alike = self.model.lots[one].mass == self.model.lots[other].mass;
                if here == there || !self.may(one, there) || !self.may(other, here) {
                    continue;
                }
                if alike && here != self.model.keep_place() && there != self.model.keep_place() {
                    continue;
                }
                let (Some(from), Some(to)) = (self.net(here), self.net(there)) else { continue };
                let (first, second) = ([one], [other]);
                let Some(now) = self.net_with(here, Change { come: &second, go: &first }) else {
                    continue;
                };
                let Some(then) = self.net_with(there, Change { come: &first, go: &second }) else {
                    continue;
                };
                let gain = now + then - from - to;
                if gain > NOTHING && best.is_none_or(|(most, ..)| gain > most) {
                    best = Some((gain, one, other));
                }
            }
        }
        best.map(|(_, one, other)| (one, other))
    }

    /// What the lot fetches at a place at its highest tier, shared costs aside.
    fn alone(&self, lot: usize, place: usize) -> f64 {
        match self.model.sites.get(place) {
            None => self.model.lots[lot].keep,
            Some(site) => site.highest(lot).unwrap_or(f64::NEG_INFINITY),
        }
    }
}

fn add_move(moves: &mut Moves, from: usize, to: usize, lot: usize) {
    match moves.iter_mut().find(|(out, into, _)| (*out, *into) == (from, to)) {
        Some((.., lots)) => lots.push(lot),
        None => moves.push((from, to, vec![lot])),
    }
}

fn worth(nets: impl Iterator<Item = Option<f64>>) -> Worth {
    nets.fold(Worth { willing: 0, money: 0.0 }, |sum, net| match net {
        Some(net) => Worth { money: sum.money + net, ..sum },
        None => Worth { willing: sum.willing - 1, ..sum },
    })
}
