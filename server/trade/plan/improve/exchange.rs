//! Exchanges of lots that are alike but for their mass, so that what goes somewhere just fits.
//!
//! What such an exchange gains hangs on the grams that move, and jumps where a step of the freight is just kept or a tier just
//! reached. So each such mark is judged by its grams alone, and lots are looked for only where it would gain: one or two
//! from either side, which for many lots come as near as a gram.

use std::collections::BTreeMap;

use super::{Improver, NOTHING};
use crate::plan::tally::Change;

/// Marks for which lots are looked for before a class is left as it is.
const MOST_TRIED: usize = 4;

/// Exchanges in one class, after which it is left as it is.
const MOST_EXCHANGES: usize = 100;

/// Of so many lots of a pile any two may go together.
const MOST_PAIRED: usize = 64;

/// So many grams from where a tier begins, floats tell that it is reached.
const HAIR: f64 = 1e-2;

/// Grams that move from one place to another.
#[derive(Debug, Clone, Copy)]
enum Grams {
    AtMost(f64),
    AtLeast(f64),
}

impl Grams {
    /// As near to this as can be.
    fn aim(self) -> f64 {
        let (Grams::AtMost(aim) | Grams::AtLeast(aim)) = self;
        aim
    }
}

/// What could be gained by moving so much from one place to another.
#[derive(Debug)]
struct Aim {
    gain: f64,
    here: usize,
    there: usize,
    grams: Grams,
}

/// One lot, or two, or none.
#[derive(Debug, Clone, Copy)]
struct Few {
    grams: f64,
    lots: [usize; 2],
    count: usize,
}

impl Few {
    const NONE: Few = Few { grams: 0.0, lots: [0; 2], count: 0 };

    fn one(lot: usize, grams: f64) -> Few {
        Few { grams, lots: [lot, 0], count: 1 }
    }

    fn lots(&self) -> &[usize] {
        &self.lots[..self.count]
    }
}

impl Improver<'_> {
    /// Exchanges lots of one class between places as long as that gains.
    pub(super) fn exchange(&mut self, class: &[usize]) -> bool {
        let better = (0..MOST_EXCHANGES).take_while(|_| self.exchange_once(class)).count();
        better > 0
    }

    fn exchange_once(&mut self, class: &[usize]) -> bool {
        let mut piles: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &lot in class {
            piles.entry(self.place[lot]).or_default().push(lot);
        }
        let mut aims: Vec<Aim> = Vec::new();
        for (&here, lots) in &piles {
            let heaviest = self.two_heaviest(lots);
            for &there in piles.keys().filter(|&&there| there != here && self.may(lots[0], there)) {
                self.aim(here, there, lots[0], heaviest, &mut aims);
            }
        }
        aims.sort_by(|a, b| b.gain.total_cmp(&a.gain));
        let mut fews: BTreeMap<usize, Vec<Few>> = BTreeMap::new();
        for Aim { here, there, grams, .. } in aims.into_iter().take(MOST_TRIED) {
            for place in [here, there] {
                fews.entry(place).or_insert_with(|| self.fews(&piles[&place]));
            }
            let Some((go, come)) = nearest(&fews[&here], &fews[&there], grams) else { continue };
            let (out, into) =
                (Change { come: come.lots(), go: go.lots() }, Change { come: go.lots(), go: come.lots() });
            let stays = |place: usize, change: Change<'_>| {
                self.tally.lots(place).len() + change.come.len() > change.go.len()
            };
            if !stays(here, out) || !stays(there, into) {
                continue;
            }
            let now = || Some(self.net(here)? + self.net(there)?);
            let then = || Some(self.net_with(here, out)? + self.net_with(there, into)?);
            if let (Some(now), Some(then)) = (now(), then())
                && then > now + NOTHING
            {
                self.tally.apply(here, out);
                self.tally.apply(there, into);
                go.lots().iter().for_each(|&lot| self.place[lot] = there);
                come.lots().iter().for_each(|&lot| self.place[lot] = here);
                return true;
            }
        }
        false
    }

    /// Where grams of what `like` is should move, up to `most` of them.
    fn aim(&self, here: usize, there: usize, like: usize, most: f64, aims: &mut Vec<Aim>) {
        let (Some(at_here), Some(at_there)) = (self.net(here), self.net(there)) else { return };
        let (losing, gaining) = (self.tally.marks(here, like), self.tally.marks(there, like));
        let marks = (losing.starts.iter().map(|start| Grams::AtMost(-start - HAIR)))
            .chain(losing.ends.iter().map(|end| Grams::AtLeast(-end)))
            .chain(gaining.starts.iter().map(|start| Grams::AtLeast(start + HAIR)))
            .chain(gaining.ends.iter().map(|end| Grams::AtMost(*end)));
        for grams in marks {
            let moved = grams.aim();
            if !(0.0..=most).contains(&moved) {
                continue;
            }
            let now = self.tally.net_with_more(here, like, -moved);
            let then = self.tally.net_with_more(there, like, moved);
            if let (Some(now), Some(then)) = (now, then)
                && now + then - at_here - at_there > NOTHING
            {
                aims.push(Aim { gain: now + then - at_here - at_there, here, there, grams });
            }
        }
    }

    fn two_heaviest(&self, lots: &[usize]) -> f64 {
        let (most, next) =
            lots.iter().map(|&lot| self.model.lots[lot].mass).fold((0.0, 0.0), |(most, next), mass| {
                if mass > most { (mass, most) } else { (most, f64::max(next, mass)) }
            });
        most + next
    }

    /// None, each and any two of the lots, by their mass.
    fn fews(&self, lots: &[usize]) -> Vec<Few> {
        let mass = |lot: usize| self.model.lots[lot].mass;
        let mut fews = vec![Few::NONE];
        fews.extend(lots.iter().map(|&lot| Few::one(lot, mass(lot))));
        let paired = &lots[..lots.len().min(MOST_PAIRED)];
        for (at, &one) in paired.iter().enumerate() {
            let pair = |&other: &usize| Few { grams: mass(one) + mass(other), lots: [one, other], count: 2 };
            fews.extend(paired[at + 1..].iter().map(pair));
        }
        fews.sort_unstable_by(|a, b| a.grams.total_cmp(&b.grams));
        fews
    }
}

/// What goes from one side and what comes back, so that what moves is as near as can be.
fn nearest(from: &[Few], back: &[Few], grams: Grams) -> Option<(Few, Few)> {
    let mut best: Option<(f64, Few, Few)> = None;
    let mut at = 0;
    for &go in from {
        let some = |come: &&Few| go.count + come.count > 0;
        let come = match grams {
            Grams::AtMost(most) => {
                at += back[at..].partition_point(|come| go.grams - come.grams > most);
                back[at..].iter().find(some)
            }
            Grams::AtLeast(least) => {
                at += back[at..].partition_point(|come| go.grams - come.grams >= least);
                back[..at].iter().rev().find(some)
            }
        };
        let Some(&come) = come else { continue };
        let off = (go.grams - come.grams - grams.aim()).abs();
        if best.is_none_or(|(least, ..)| off < least) {
            best = Some((off, go, come));
        }
    }
    best.map(|(_, go, come)| (go, come))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pile(rng: &mut fastrand::Rng, from: usize) -> Vec<Few> {
        let mut pile = vec![Few::NONE];
        let lots = from..from + rng.usize(1..12);
        pile.extend(lots.map(|lot| Few::one(lot, f64::from(rng.u32(1..500)))));
        pile.sort_unstable_by(|a, b| a.grams.total_cmp(&b.grams));
        pile
    }

    #[test]
    fn what_moves_is_as_near_as_any_two_come() {
        let mut rng = fastrand::Rng::with_seed(7);
        for _ in 0..2_000 {
            let (from, back) = (pile(&mut rng, 0), pile(&mut rng, 100));
            let aim = f64::from(rng.u32(0..600)) - 100.0;
            for grams in [Grams::AtMost(aim), Grams::AtLeast(aim)] {
                let holds = |moved: f64| match grams {
                    Grams::AtMost(most) => moved <= most,
                    Grams::AtLeast(least) => moved >= least,
                };
                let all = from.iter().flat_map(|go| back.iter().map(move |come| (go, come)));
                let moved = all
                    .filter(|(go, come)| go.count + come.count > 0)
                    .map(|(go, come)| go.grams - come.grams)
                    .filter(|moved| holds(*moved));
                let best = moved.map(|moved| (moved - aim).abs()).reduce(f64::min);
                let found = nearest(&from, &back, grams).map(|(go, come)| go.grams - come.grams);
                assert!(found.is_none_or(holds), "{grams:?}: {found:?}");
                assert_eq!(found.map(|moved| (moved - aim).abs()), best, "{grams:?} in {from:?}, {back:?}");
            }
        }
    }
}
