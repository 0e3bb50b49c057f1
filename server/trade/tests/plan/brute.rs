//! The optimum by trying everything: the net of every set of lots at every outlet by `net::deliver`, then the best
//! way to share the lots out, one outlet after the other.

use rust_decimal::Decimal;
use trade::net::{self, Load};
use trade::plan::{Place, Problem};

/// Every outlet's net for every set of lots, as bits; `None` where it does not take the set.
pub struct Brute<'a> {
    problem: Problem<'a>,
    nets: Vec<Vec<Option<Decimal>>>,
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
        Brute { problem, nets: nets.collect() }
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
        // best[set]: the most that the outlets so far and keeping make of the lots in it.
        let mut best: Vec<Option<Decimal>> = (0..1usize << count).map(keep).collect();
        for (nets, mask) in self.nets.iter().zip(&masks) {
            let before = best.clone();
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
        best.pop().flatten()
    }
}
