//! Room handed on: a step of the freight that is not filled to the gram gets them from another place, which has as many to
//! get from a third one then.
//!
//! Each exchange by itself may lose, as the second place would not give what it has paid the freight for; all of them
//! together gain what the last place, which pays for no steps, fetched less for it. So a few are made one after the other, each
//! aimed at the room that the one before left, and taken back unless they gain together.

use std::collections::BTreeMap;

use super::exchange::{Few, Grams, HAIR, nearest};
use super::{Improver, NOTHING};
use crate::plan::tally::Change;

/// So many exchanges are made before all are taken back.
const FARTHEST: usize = 3;

/// Lots that go from one place to another, and those that come for them.
struct Handed {
    from: usize,
    to: usize,
    go: Few,
    come: Few,
}

impl Improver<'_> {
    /// Hands room on from some place if that gains. Classes are lots that are alike but for their mass.
    pub fn hand_on(&mut self, classes: &[&[usize]]) -> bool {
        let places = self.scope.sites.clone();
        places.into_iter().any(|place| self.hand_room_of(place, classes, 0.0, FARTHEST))
    }

    /// Fills the room at a place, after exchanges that gained so much.
    fn hand_room_of(&mut self, to: usize, classes: &[&[usize]], gained: f64, left: usize) -> bool {
        for &class in classes {
            let Some(&like) = class.first().filter(|&&like| self.may(like, to)) else { continue };
            let ends = self.tally.marks(to, like).ends;
            let Some(room) = ends.into_iter().filter(|end| *end > HAIR).reduce(f64::min) else {
                return false;
            };
            if class.iter().any(|&lot| self.tally.by_room(self.place[lot])) {
                continue;
            }
            let piles = self.piles(class);
            let own = piles.get(&to).map(|lots| self.fews(lots)).unwrap_or_else(|| vec![Few::NONE]);
            for (&from, lots) in piles.iter().filter(|(from, _)| **from != to) {
                let Some((go, come)) = nearest(&self.fews(lots), &own, Grams::AtMost(room)) else { continue };
                let handed = Handed { from, to, go, come };
                if handed.grams() <= HAIR || !self.may_hand(&handed) {
                    continue;
                }
                let Some(gain) = self.gain_of(&handed) else { continue };
                self.hand(&handed);
                let gained = gained + gain;
                if gained > NOTHING || left > 1 && self.hand_room_of(from, classes, gained, left - 1) {
                    return true;
                }
                self.hand(&handed.back());
            }
        }
        false
    }

    /// The lots of a class at each place.
    pub(super) fn piles(&self, class: &[usize]) -> BTreeMap<usize, Vec<usize>> {
        let mut piles: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &lot in class {
            piles.entry(self.place[lot]).or_default().push(lot);
        }
        piles
    }

    fn may_hand(&self, handed: &Handed) -> bool {
        let Handed { from, to, go, come } = handed;
        let stays = self.tally.lots(*from).len() + come.lots().len() > go.lots().len();
        stays
            && go.lots().iter().all(|&lot| self.may(lot, *to))
            && come.lots().iter().all(|&lot| self.may(lot, *from))
    }

    fn gain_of(&self, handed: &Handed) -> Option<f64> {
        let Handed { from, to, go, come } = handed;
        let now = self.net(*from)? + self.net(*to)?;
        let there = self.net_with(*to, Change { come: go.lots(), go: come.lots() })?;
        Some(self.net_with(*from, Change { come: come.lots(), go: go.lots() })? + there - now)
    }

    fn hand(&mut self, handed: &Handed) {
        let Handed { from, to, go, come } = handed;
        self.tally.apply(*from, Change { come: come.lots(), go: go.lots() });
        self.tally.apply(*to, Change { come: go.lots(), go: come.lots() });
        go.lots().iter().for_each(|&lot| self.place[lot] = *to);
        come.lots().iter().for_each(|&lot| self.place[lot] = *from);
    }
}

impl Handed {
    fn grams(&self) -> f64 {
        self.go.grams - self.come.grams
    }

    fn back(self) -> Handed {
        Handed { from: self.to, to: self.from, go: self.go, come: self.come }
    }
}
