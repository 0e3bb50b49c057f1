//! All sets of a few lots, tried one by one.

use crate::plan::node::Reach;
use crate::plan::shipping::Measure;

/// The lots of one delivery, or of one grade in it, where few are undecided.
#[derive(Debug)]
pub(super) struct Sets {
    must: Vec<usize>,
    may: Vec<usize>,
    /// Those that the outlet takes.
    sets: Vec<Set>,
}

/// The lots that must go, and some of those that may.
#[derive(Debug, Clone, Copy)]
pub(super) struct Set {
    /// By position among those that may go.
    bits: usize,
    /// What they bring: whoever made the sets says of what.
    pub value: f64,
    pub mass: f64,
    pub volume: f64,
}

/// What a set of lots brings, and its mass and volume.
pub(super) struct Brings {
    pub value: f64,
    pub mass: f64,
    pub volume: f64,
}

impl Sets {
    /// Asks what every set brings; `None` where it is not taken.
    pub fn new(must: Vec<usize>, may: Vec<usize>, brings: impl Fn(&[usize]) -> Option<Brings>) -> Self {
        let mut sets = Vec::with_capacity(1 << may.len());
        let mut lots = Vec::new();
        for bits in 0..1usize << may.len() {
            lots.clone_from(&must);
            lots.extend(members(&may, bits));
            if let Some(Brings { value, mass, volume }) = brings(&lots) {
                sets.push(Set { bits, value, mass, volume });
            }
        }
        // Who puts them in order of some size finds them nearly so.
        sets.sort_by(|a, b| a.mass.total_cmp(&b.mass));
        Sets { must, may, sets }
    }

    /// Every set that is not empty with what it gains: `factor` times its value less the prices of its lots. With
    /// `but`, only those that have, or do not have, one lot. A toll is paid on top, per gram and per cubic centimetre.
    pub fn gains(
        &self,
        prices: &[f64],
        toll: Measure,
        factor: f64,
        but: Option<(usize, Reach)>,
    ) -> impl Iterator<Item = (f64, Set)> {
        let base: f64 = self.must.iter().map(|&lot| prices[lot]).sum();
        let mut costs = vec![base; 1 << self.may.len()];
        for bits in 1..costs.len() {
            let lowest = bits.trailing_zeros() as usize;
            costs[bits] = costs[bits & (bits - 1)] + prices[self.may[lowest]];
        }
        let place = but.and_then(|(lot, _)| self.may.iter().position(|&may| may == lot));
        let bit = place.map_or(0, |place| 1 << place);
        let wanted = if but.is_some_and(|(_, reach)| reach == Reach::Must) { bit } else { 0 };
        let empty = self.must.is_empty();
        let asked = move |set: &&Set| set.bits & bit == wanted && !(empty && set.bits == 0);
        self.sets.iter().filter(asked).map(move |set| {
            let gain = factor * set.value - costs[set.bits] - toll.of(set.mass, set.volume);
            (gain, *set)
        })
    }

    /// The highest value of a set; of none, if none is taken.
    pub fn highest(&self) -> f64 {
        self.sets.iter().map(|set| set.value).fold(f64::NEG_INFINITY, f64::max)
    }

    pub fn lots(&self, set: Set) -> impl Iterator<Item = usize> {
        self.must.iter().copied().chain(members(&self.may, set.bits))
    }

    pub fn has_must(&self) -> bool {
        !self.must.is_empty()
    }
}

fn members(lots: &[usize], bits: usize) -> impl Iterator<Item = usize> {
    lots.iter().enumerate().filter(move |(place, _)| bits >> place & 1 == 1).map(|(_, &lot)| lot)
}
