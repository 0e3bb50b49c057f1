//! Many lots of one grade at one tier, where trying all sets would take too long: they go in part, best gain per size
//! first.

use crate::plan::model::{Model, SiteGrade, Tier};
use crate::plan::node::Reach;
use crate::plan::shipping::Measure;

/// Room for rounding where a relaxed total is held against a minimum or a maximum.
pub(super) const SLACK: f64 = 1e-9;

/// What the lots of a grade are asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Terms<'a> {
    pub model: &'a Model<'a>,
    /// By lot.
    pub reach: &'a [Reach],
    /// By lot.
    pub prices: &'a [f64],
    /// Paid on top per gram and per cubic centimetre.
    pub toll: Measure,
    /// What one unit of payout brings.
    pub factor: f64,
    pub measure: Measure,
}

#[derive(Debug)]
pub(super) struct Pile {
    /// Gain and size of what is taken anyway: lots that must go, and lots of no size that gain.
    gain: f64,
    size: f64,
    anyway: Vec<usize>,
    least: f64,
    most: f64,
    /// The other lots, best gain per size first.
    slices: Vec<Slice>,
}

#[derive(Debug, Clone, Copy)]
struct Slice {
    lot: usize,
    size: f64,
    /// Gain per size.
    rate: f64,
    /// Size and gain of the pile up to this slice's end.
    size_to: f64,
    gain_to: f64,
}

impl Pile {
    /// `None` where no delivery of the grade can end in this tier.
    pub fn new(terms: &Terms<'_>, grade: &SiteGrade, tier: &Tier) -> Option<Self> {
        let Terms { model, reach, prices, toll, factor, measure } = *terms;
        let (least, most) = range(measure, tier, grade);
        let mut pile = Pile { gain: 0.0, size: 0.0, anyway: Vec::new(), least, most, slices: Vec::new() };
        let (mut must_mass, mut may_mass) = (0.0, 0.0);
        for (&lot, worth) in grade.lots.iter().zip(&tier.worth) {
            let item = &model.lots[lot];
            let size = measure.of(item.mass, item.volume);
            let gain = factor * worth - prices[lot] - toll.of(item.mass, item.volume);
            match reach[lot] {
                Reach::No => continue,
                Reach::May => may_mass += item.mass,
                Reach::Must => must_mass += item.mass,
            }
            if reach[lot] == Reach::Must || (size <= 0.0 && gain > 0.0) {
                pile.gain += gain;
                pile.size += size;
                pile.anyway.push(lot);
            } else if size > 0.0 {
                pile.slices.push(Slice { lot, size, rate: gain / size, size_to: 0.0, gain_to: gain });
            }
        }
        let reached = must_mass + may_mass >= tier.from * (1.0 - SLACK);
        if !reached || must_mass > tier.below * (1.0 + SLACK) {
            return None;
        }
        pile.slices.sort_by(|a, b| b.rate.total_cmp(&a.rate));
        let (mut size, mut gain) = (pile.size, pile.gain);
        for slice in &mut pile.slices {
            size += slice.size;
            gain += slice.gain_to;
            (slice.size_to, slice.gain_to) = (size, gain);
        }
        Some(pile)
    }

    /// The most that can go.
    pub fn largest(&self) -> f64 {
        self.whole().min(self.most)
    }

    fn whole(&self) -> f64 {
        self.slices.last().map_or(self.size, |slice| slice.size_to)
    }

    /// How much is best at a price per size: every slice that gains more, within the tier.
    pub fn size_at(&self, price: f64) -> f64 {
        let gaining = self.slices.partition_point(|slice| slice.rate > price);
        let best = if gaining == 0 { self.size } else { self.slices[gaining - 1].size_to };
        best.min(self.most).max(self.least).clamp(self.size, self.whole())
    }

    pub fn gain_of(&self, size: f64) -> f64 {
        let whole = self.slices.partition_point(|slice| slice.size_to <= size);
        let (size_to, gain_to) = match whole {
            0 => (self.size, self.gain),
            n => (self.slices[n - 1].size_to, self.slices[n - 1].gain_to),
        };
        gain_to + self.slices.get(whole).map_or(0.0, |slice| slice.rate * (size - size_to))
    }

    pub fn collect(&self, size: f64, share: f64, take: &mut Vec<(usize, f64)>) {
        take.extend(self.anyway.iter().map(|&lot| (lot, share)));
        for slice in &self.slices {
            let part = ((size - (slice.size_to - slice.size)) / slice.size).clamp(0.0, 1.0);
            if part <= 0.0 {
                break;
            }
            take.push((slice.lot, share * part));
        }
    }

    /// The prices per size at which the best size changes.
    pub fn rates(&self) -> impl Iterator<Item = f64> {
        self.slices.iter().map(|slice| slice.rate)
    }
}

/// The sizes between which a tier holds. A tier is set by mass; the volume that goes with a mass lies between that of
/// the densest and that of the loosest lot.
fn range(measure: Measure, tier: &Tier, grade: &SiteGrade) -> (f64, f64) {
    let (loosest, densest) = grade.looseness;
    if densest.is_finite() {
        (tier.from * measure.of(1.0, densest), tier.below * measure.of(1.0, loosest))
    } else {
        (0.0, f64::INFINITY)
    }
}
