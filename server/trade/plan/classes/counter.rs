//! What one outlet would take if every amount had its price: the relaxed problem of a single outlet.
//!
//! Lots are not looked at, only amounts of their classes. At a tier, a grade's best gain rises with the size that goes
//! there along straight pieces, dearest class first; over all tiers only the corners of the concave hull count. The
//! pieces of all grades, steepest first, give the most that each level of the freight can carry: with tiers and classes
//! mixed at will this is the linear relaxation of a knapsack for each level, and the levels are tried one by one. Where
//! room counts as well as mass, a toll on volume is sought by which the level is bounded lowest (Lagrange once more, for
//! one price). Never less than any real delivery: freight is a floor, what keeps a delivery from being taken is left out
//! or has a price (`Prices`), and thresholds leave room for rounding.

use super::class::Classes;
use super::levels::{Level, Levels};
use super::whole::{Remembered, Whole};
use crate::plan::model::{Model, Site};
use crate::plan::node::{Node, Opening, Reach, Scope};
use crate::plan::shipping::Band;

/// Room for rounding where a relaxed total is held against a minimum or a maximum.
const SLACK: f64 = 1e-9;

/// After so many tolls a bound is taken as it is.
const MOST_TOLLS: u32 = 24;

/// Of so few lots all sums are tried, to see which tiers they can reach.
const MOST_SUMMED: usize = 9;

/// What things are priced at, in home currency.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prices {
    /// By class, per amount.
    pub class: Vec<f64>,
    /// By site: per gram that a shipment has more, or less, than the band of its densities lets its volume have.
    pub dense: Vec<f64>,
    pub loose: Vec<f64>,
    /// By site: home currency per unit of payout above the least.
    pub payout: Vec<f64>,
}

/// A delivery in amounts of classes, as the relaxation sees it.
#[derive(Debug, Clone, Default)]
pub(super) struct Delivery {
    pub site: usize,
    /// In home currency: never less than the net of a real delivery of these amounts.
    pub net: f64,
    pub freight: f64,
    /// Grams, and cubic centimetres at the least.
    pub mass: f64,
    pub volume: f64,
    pub amounts: Vec<(usize, f64)>,
    /// The grades that go, by the site's index, with how much of the delivery is at which tier; 0 is not at all.
    pub tiers: Vec<(usize, usize, f64)>,
    /// By how many grams it is denser, and looser, than its band: not positive for a real one.
    pub dense: f64,
    pub loose: f64,
    /// By how much its payout is under the least.
    pub short: f64,
}

/// What is asked of an offer beyond being the best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ask {
    Anything,
    /// The grade goes at this tier; 0 is not at all.
    Tier {
        grade: usize,
        tier: usize,
    },
    AtLeast {
        class: usize,
        amount: f64,
    },
    AtMost {
        class: usize,
        amount: f64,
    },
}

#[derive(Debug)]
pub(super) struct Counter<'m> {
    pub site: &'m Site<'m>,
    index: usize,
    stalls: Vec<Stall>,
    levels: Levels,
    band: Band,
    /// By class: `None` where nothing of it may go.
    alike: Vec<Option<Alike>>,
    /// Where few lots are undecided, they are asked about instead of their classes.
    whole: Option<Whole>,
}

/// The classes of one grade, and the tiers at which it may go.
#[derive(Debug)]
struct Stall {
    grade: usize,
    classes: Vec<usize>,
    tiers: Vec<StallTier>,
    optional: bool,
}

#[derive(Debug)]
struct StallTier {
    /// Counted from 1.
    tier: usize,
    from: f64,
    below: f64,
    /// By position among the classes: the payout of an amount.
    worth: Vec<f64>,
}

#[derive(Debug, Clone, Copy)]
struct Alike {
    amount: f64,
    /// It may go nowhere else.
    must: bool,
    mass: f64,
    volume: (f64, f64),
}

#[derive(Debug, Clone, Copy)]
struct Corner {
    mass: f64,
    volume: f64,
    gain: f64,
    tier: usize,
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    /// Gain per gram.
    slope: f64,
    mass: f64,
    volume: f64,
    stall: usize,
}

/// The best under one level: so many pieces whole, and so many grams of the next.
#[derive(Debug, Clone, Copy)]
struct Under {
    /// With the toll for the volume that the level allows.
    gain: f64,
    volume: f64,
    pieces: usize,
    part: f64,
}

/// The best over all levels, and the tolls of the one or two choices that it is mixed of, with the share of the first.
#[derive(Debug, Clone, Copy)]
struct End {
    gain: f64,
    slope: f64,
    level: usize,
    tolls: (f64, f64),
    share: f64,
}

/// What was found for a level at a toll, without the toll.
#[derive(Debug, Clone, Copy)]
struct Tried {
    toll: f64,
    gain: f64,
    volume: f64,
}

/// Room that is used again and again.
#[derive(Debug, Default)]
pub(super) struct Desk {
    corners: Vec<Vec<Corner>>,
    points: Vec<Corner>,
    pieces: Vec<Piece>,
    order: Vec<(usize, f64, f64)>,
    reaches: Vec<Option<Under>>,
    /// By level: the least bound so far, and the nearest tolls at which it takes up too much room, and no more than there is.
    least: Vec<f64>,
    over: Vec<Option<Tried>>,
    within: Vec<Option<Tried>>,
    /// By level of those that can be reached: what packing and freight cost, and what is gained at the most.
    pub under: Vec<(f64, f64)>,
}

impl<'m> Counter<'m> {
    /// `None` where nothing can go there, or not what must.
    pub fn new(
        model: &'m Model<'_>,
        scope: &Scope,
        node: &Node,
        classes: &Classes,
        remembered: &Remembered,
        index: usize,
    ) -> Option<Counter<'m>> {
        let site = &model.sites[index];
        if node.opening(index) == Opening::Shut {
            return None;
        }
        let mut alike = vec![None; classes.list.len()];
        let mut members: Vec<Vec<usize>> = vec![Vec::new(); site.grades.len()];
        for (class, alike) in classes.list.iter().zip(&mut alike) {
            let lot = class.lots[0];
            if node.at(index, lot) != Reach::No
                && let Some(spot) = site.spots[lot]
            {
                let must = class.decided.is_some();
                *alike = Some(Alike { amount: class.amount, must, mass: class.mass, volume: class.volume });
                members[spot.grade].push(classes.of_lot[lot]);
            }
        }
        let mut stalls = Vec::new();
        let mut payable = 0.0;
        for (grade, classes_here) in members.into_iter().enumerate() {
            let (mut fewest, most) = node.tiers(index, grade);
            if classes_here.iter().any(|&class| classes.list[class].decided.is_some()) {
                fewest = fewest.max(1);
            }
            if classes_here.is_empty() || most == 0 {
                if fewest > 0 {
                    return None;
                }
                for class in classes_here {
                    alike[class] = None;
                }
                continue;
            }
            let of = |class: usize| &classes.list[class];
            let whole: f64 = classes_here.iter().map(|&class| of(class).amount * of(class).mass).sum();
            let sums = sums(model, classes, &classes_here);
            let tiers = site.grades[grade].tiers.iter().enumerate().filter_map(|(at, tier)| {
                if at + 1 < fewest.max(1) || at + 1 > most || tier.from > whole * (1.0 + SLACK) {
                    return None;
                }
                let (mut from, mut below) = (tier.from * (1.0 - SLACK), tier.below * (1.0 + SLACK));
                if let Some(sums) = &sums {
                    let reached = sums.iter().copied().filter(|&sum| from <= sum && sum <= below);
                    let (least, most) = reached
                        .fold((f64::INFINITY, 0.0), |(least, most), sum| (sum.min(least), sum.max(most)));
                    if least > most {
                        return None;
                    }
                    (from, below) = (least * (1.0 - SLACK), most * (1.0 + SLACK));
                }
                let worth =
                    classes_here.iter().map(|&class| classes.worth(model, class, index)[at]).collect();
                Some(StallTier { tier: at + 1, from, below, worth })
            });
            let tiers: Vec<StallTier> = tiers.collect();
            if tiers.is_empty() {
                if fewest > 0 {
                    return None;
                }
                for class in classes_here {
                    alike[class] = None;
                }
                continue;
            }
            let paid = tiers.iter().map(|tier| -> f64 {
                let classes = classes_here.iter().zip(&tier.worth);
                classes.map(|(&class, worth)| (of(class).amount * worth).max(0.0)).sum()
            });
            payable += paid.fold(0.0, f64::max);
            stalls.push(Stall { grade, classes: classes_here, tiers, optional: fewest == 0 });
        }
        if stalls.is_empty() {
            return None;
        }
        if let Some(least) = site.least_payout
            && payable - site.flat_fee < least - SLACK * least.abs().max(payable)
        {
            return None;
        }
        let whole: f64 = alike.iter().flatten().map(|alike| alike.amount * alike.mass).sum();
        if whole < site.least_mass * (1.0 - SLACK) {
            return None;
        }
        let band = match &site.shipping {
            Some(shipping) if shipping.has_volume() => {
                let lots = scope.lots.iter().copied().filter(|&lot| node.at(index, lot) != Reach::No);
                let (must, may) = lots.partition::<Vec<_>, _>(|&lot| node.at(index, lot) == Reach::Must);
                let items =
                    |lots: Vec<usize>| lots.into_iter().map(|lot| &model.lots[lot]).collect::<Vec<_>>();
                Band::reachable(&items(must), items(may)).within(node.band(index))
            }
            _ => Band::ANY,
        };
        if band.loosest > band.densest {
            return None;
        }
        let (least_cost, most_cost) = node.freight(index);
        let levels = match &site.shipping {
            None => Levels::free(),
            Some(shipping) => Levels::new(shipping, band, least_cost, most_cost),
        };
        if levels.list.is_empty() {
            return None;
        }
        let whole = Whole::new(model, remembered, scope, node, classes, index);
        if whole.as_ref().is_some_and(Whole::is_empty) {
            return None;
        }
        Some(Counter { site, index, stalls, levels, band, alike, whole })
    }

    /// Whether the densities of what is shipped are bounded by prices.
    pub fn has_band(&self) -> bool {
        self.whole.is_none() && self.band != Band::ANY
    }

    /// Whether the least payout is bounded by a price.
    pub fn has_least_payout(&self) -> bool {
        self.whole.is_none() && self.site.least_payout.is_some()
    }

    pub fn band(&self) -> Band {
        self.band
    }

    pub fn takes(&self, class: usize) -> bool {
        self.alike[class].is_some()
    }

    /// The grades with the tiers at which each may go; 0 is not at all.
    pub fn tiers(&self) -> impl Iterator<Item = (usize, Vec<usize>)> {
        self.stalls.iter().map(|stall| {
            let tiers = stall.tiers.iter().map(|tier| tier.tier);
            (stall.grade, stall.optional.then_some(0).into_iter().chain(tiers).collect())
        })
    }

    /// The most that opening the outlet gains at the prices; `None` where it cannot deliver what is asked.
    pub fn gain(&self, prices: &Prices, ask: Ask, desk: &mut Desk) -> Option<f64> {
        match &self.whole {
            Some(whole) => whole.best(prices, ask).map(|(gain, _)| gain),
            None => self.end(prices, ask, desk).map(|end| end.gain),
        }
    }

    /// The best delivery at the prices, with its gain.
    pub fn best(&self, prices: &Prices, desk: &mut Desk) -> Option<(f64, Delivery)> {
        if let Some(whole) = &self.whole {
            return whole.best(prices, Ask::Anything).map(|(gain, set)| (gain, whole.delivery(set)));
        }
        let end = self.end(prices, Ask::Anything, desk)?;
        let mut delivery = self.delivery(end, end.tolls.0, prices, desk)?;
        if end.share < 1.0 {
            delivery.mix(end.share, &self.delivery(end, end.tolls.1, prices, desk)?);
        }
        Some((end.gain, delivery))
    }

    /// What is gained under each cost of packing and freight, into the desk.
    pub fn gains_by_freight(&self, prices: &Prices, desk: &mut Desk) {
        desk.under.clear();
        if self.whole.is_none() && self.end(prices, Ask::Anything, desk).is_some() {
            let levels = self.levels.list.iter().zip(&desk.least).filter(|(_, least)| least.is_finite());
            desk.under.extend(levels.map(|(level, &least)| (level.cost, least)));
        }
    }

    /// Whether what the levels say is what packing and freight cost.
    pub fn knows_freight(&self) -> bool {
        !self.levels.roomy
    }

    /// The delivery of these amounts, each grade at one tier; `None` where it could not be made.
    pub fn priced(&self, amounts: &[f64], tiers: &[(usize, usize, f64)]) -> Option<Delivery> {
        if self.whole.is_some() {
            return None;
        }
        let mut delivery = Delivery { site: self.index, ..Delivery::default() };
        let mut payout = -self.site.flat_fee;
        let (mut whole, mut volume) = (0.0, 0.0);
        for stall in &self.stalls {
            let mut mass = 0.0;
            for &class in &stall.classes {
                let alike = self.alike[class].as_ref()?;
                let amount = if alike.must { alike.amount } else { amounts[class].min(alike.amount) };
                if amount > 0.0 {
                    delivery.amounts.push((class, amount));
                    mass += amount * alike.mass;
                    volume += amount * alike.volume.0;
                }
            }
            whole += mass;
            let goes =
                stall.classes.iter().any(|&class| delivery.amounts.iter().any(|(other, _)| *other == class));
            let known =
                tiers.iter().find(|&&(grade, tier, share)| grade == stall.grade && tier > 0 && share > 0.5);
            let Some((_, tier, _)) = known.filter(|_| goes) else {
                if goes || !stall.optional {
                    return None;
                }
                delivery.tiers.push((stall.grade, 0, 1.0));
                continue;
            };
            let tier = stall.tiers.iter().find(|other| other.tier == *tier)?;
            if mass < tier.from || mass > tier.below {
                return None;
            }
            for (&class, worth) in stall.classes.iter().zip(&tier.worth) {
                let amount = delivery.amounts.iter().find(|(other, _)| *other == class);
                payout += amount.map_or(0.0, |(_, amount)| amount * worth);
            }
            delivery.tiers.push((stall.grade, tier.tier, 1.0));
        }
        if whole < self.least() {
            return None;
        }
        let fits =
            |level: &&Level| whole <= level.mass * (1.0 + SLACK) && volume <= level.volume * (1.0 + SLACK);
        delivery.freight = self.levels.list.iter().find(fits)?.cost;
        self.total(&mut delivery, payout);
        Some(delivery)
    }

    /// What one unit of payout brings, with what is paid for reaching the least payout.
    fn factor(&self, slope: f64, prices: &Prices) -> f64 {
        slope + prices.payout[self.index]
    }

    fn end(&self, prices: &Prices, ask: Ask, desk: &mut Desk) -> Option<End> {
        // Where the net bends upwards at no payout, the better of both lines is above it.
        let ends = self.site.slopes().filter_map(|slope| self.end_at(slope, prices, ask, desk));
        ends.reduce(|best, next| if next.gain > best.gain { next } else { best })
    }

    fn end_at(&self, slope: f64, prices: &Prices, ask: Ask, desk: &mut Desk) -> Option<End> {
        let levels = &self.levels.list;
        desk.least.clear();
        desk.least.resize(levels.len(), f64::INFINITY);
        for tried in [&mut desk.over, &mut desk.within] {
            tried.clear();
            tried.resize(levels.len(), None);
        }
        let mut toll = 0.0;
        let mut best = (0, f64::NEG_INFINITY);
        for _ in 0..MOST_TOLLS {
            self.pass(slope, toll, prices, ask, desk)?;
            best = (0, f64::NEG_INFINITY);
            for (at, (level, reach)) in levels.iter().zip(&desk.reaches).enumerate() {
                let Some(reach) = reach else {
                    desk.least[at] = f64::NEG_INFINITY;
                    continue;
                };
                desk.least[at] = desk.least[at].min(reach.gain);
                if desk.least[at] > best.1 {
                    best = (at, desk.least[at]);
                }
                if self.levels.roomy {
                    let spare =
                        if level.volume.is_finite() { toll * (level.volume - reach.volume) } else { 0.0 };
                    let tried = Tried { toll, gain: reach.gain - spare, volume: reach.volume };
                    if reach.volume > level.volume * (1.0 + SLACK) {
                        let known = &mut desk.over[at];
                        if known.is_none_or(|known| known.toll < toll) {
                            *known = Some(tried);
                        }
                    } else {
                        let known = &mut desk.within[at];
                        if known.is_none_or(|known| known.toll > toll) {
                            *known = Some(tried);
                        }
                    }
                }
            }
            if !best.1.is_finite() {
                return None;
            }
            let (level, gain) = best;
            let end = End { gain, slope, level, tolls: (toll, toll), share: 1.0 };
            if !self.levels.roomy {
                return Some(end);
            }
            match (desk.over[level], desk.within[level]) {
                // No toll is needed.
                (None, Some(within)) => return Some(End { tolls: (within.toll, within.toll), ..end }),
                (Some(over), None) => toll = 2.0 * over.toll.max(gain.abs().max(1.0) / over.volume),
                (Some(over), Some(within)) => {
                    // Where the lines of both meet, unless something else gains more there.
                    let room = levels[level].volume;
                    let meet = (over.gain - within.gain) / (over.volume - within.volume);
                    let there = over.gain + meet * (room - over.volume);
                    if gain - there <= SLACK * (1.0 + gain.abs()) || meet <= over.toll || meet >= within.toll
                    {
                        let share = (room - within.volume) / (over.volume - within.volume);
                        return Some(End { tolls: (over.toll, within.toll), share, ..end });
                    }
                    toll = meet;
                }
                (None, None) => return None,
            }
        }
        // The bound holds as it is; the delivery is one that fits.
        let (level, gain) = best;
        let within = desk.within[level].or(desk.over[level])?;
        Some(End { gain, slope, level, tolls: (within.toll, within.toll), share: 1.0 })
    }

    /// What is best under each level at a toll per cubic centimetre, into the desk. `None` where nothing can be delivered.
    fn pass(&self, slope: f64, toll: f64, prices: &Prices, ask: Ask, desk: &mut Desk) -> Option<()> {
        let factor = self.factor(slope, prices);
        desk.corners.resize_with(self.stalls.len(), Vec::new);
        desk.pieces.clear();
        let (mut mass, mut volume, mut gain) = (0.0, 0.0, 0.0);
        for (index, stall) in self.stalls.iter().enumerate() {
            self.corners(stall, toll, factor, prices, ask, desk, index);
            let corners = &desk.corners[index];
            let first = corners.first()?;
            mass += first.mass;
            volume += first.volume;
            gain += first.gain;
            desk.pieces.extend(corners.windows(2).map(|pair| {
                let mass = pair[1].mass - pair[0].mass;
                let slope = (pair[1].gain - pair[0].gain) / mass;
                Piece { slope, mass, volume: pair[1].volume - pair[0].volume, stall: index }
            }));
        }
        // Pieces of one stall already fall, and a stable order keeps them so where they are equal.
        desk.pieces.sort_by(|a, b| b.slope.total_cmp(&a.slope));
        let site = self.site;
        gain -= site.fixed + factor * site.flat_fee;
        gain -= prices.payout[self.index] * site.least_payout.unwrap_or(0.0);
        let least = self.least();
        desk.reaches.clear();
        let mut pieces = 0;
        for level in &self.levels.list {
            let cap = level.mass;
            if mass > cap * (1.0 + SLACK) {
                desk.reaches.push(None);
                continue;
            }
            let to = |piece: &Piece| if piece.slope > 0.0 { cap } else { cap.min(least) };
            while let Some(piece) = desk.pieces.get(pieces).filter(|piece| mass + piece.mass <= to(piece)) {
                mass += piece.mass;
                volume += piece.volume;
                gain += piece.slope * piece.mass;
                pieces += 1;
            }
            let (mut part, mut more, mut room) = (0.0, 0.0, 0.0);
            if let Some(piece) = desk.pieces.get(pieces) {
                part = (to(piece) - mass).clamp(0.0, piece.mass);
                more = part * piece.slope;
                room = part / piece.mass * piece.volume;
            }
            if mass + part < least {
                desk.reaches.push(None);
                continue;
            }
            let allowed = if toll > 0.0 { toll * level.volume } else { 0.0 };
            let reach =
                Under { gain: gain + more - level.cost + allowed, volume: volume + room, pieces, part };
            desk.reaches.push(Some(reach));
        }
        Some(())
    }

    /// The least grams of a delivery.
    fn least(&self) -> f64 {
        self.site.least_mass.max(self.levels.least) * (1.0 - SLACK)
    }

    /// What an amount of the class gains beyond its price.
    fn gain_of(&self, class: usize, worth: f64, toll: f64, factor: f64, prices: &Prices) -> f64 {
        let Some(alike) = &self.alike[class] else { return 0.0 };
        let price = if alike.must { 0.0 } else { prices.class[class] };
        let mut gain = factor * worth - price - toll * alike.volume.0;
        if self.has_band() {
            let (dense, loose) = self.excess(alike);
            gain -= prices.dense[self.index] * dense + prices.loose[self.index] * loose;
        }
        gain
    }

    /// By how many grams an amount makes a shipment denser, and looser, than its band; not more than it does.
    fn excess(&self, alike: &Alike) -> (f64, f64) {
        let (loosest, densest) = self.band.densities();
        let dense = if densest.is_finite() { alike.mass - densest * alike.volume.1 } else { 0.0 };
        (dense, loosest * alike.volume.0 - alike.mass)
    }

    /// The corners of the hull of what a stall gains by mass, into the desk.
    #[expect(clippy::too_many_arguments, reason = "everything an offer is about")]
    fn corners(
        &self,
        stall: &Stall,
        toll: f64,
        factor: f64,
        prices: &Prices,
        ask: Ask,
        desk: &mut Desk,
        index: usize,
    ) {
        let points = &mut desk.points;
        points.clear();
        let asked = match ask {
            Ask::Tier { grade, tier } if grade == stall.grade => Some(tier),
            _ => None,
        };
        let forced = match ask {
            Ask::AtLeast { class, amount } if stall.classes.contains(&class) => Some((class, amount)),
            _ => None,
        };
        if stall.optional && asked.is_none_or(|tier| tier == 0) && forced.is_none() {
            points.push(Corner { mass: 0.0, volume: 0.0, gain: 0.0, tier: 0 });
        }
        for tier in stall.tiers.iter().filter(|tier| asked.is_none_or(|asked| asked == tier.tier)) {
            let mut at = Corner { mass: 0.0, volume: 0.0, gain: 0.0, tier: tier.tier };
            desk.order.clear();
            for (&class, &worth) in stall.classes.iter().zip(&tier.worth) {
                let Some(alike) = &self.alike[class] else { continue };
                let rate = self.gain_of(class, worth, toll, factor, prices);
                let mut amount = alike.amount;
                match ask {
                    Ask::AtMost { class: other, amount: most } if other == class => amount = amount.min(most),
                    _ => {}
                }
                let asked = forced.filter(|(forced, _)| *forced == class).map(|(_, least)| least);
                if let Some(least) = alike.must.then_some(amount).or(asked) {
                    let least = least.min(amount);
                    at.mass += least * alike.mass;
                    at.volume += least * alike.volume.0;
                    at.gain += least * rate;
                    amount -= least;
                }
                if alike.mass > 0.0 {
                    desk.order.push((class, rate, amount));
                } else if rate > 0.0 {
                    at.gain += amount * rate;
                }
            }
            // Amounts of what has mass are grams.
            desk.order.sort_unstable_by(|a, b| b.1.total_cmp(&a.1));
            if at.mass > tier.below {
                continue;
            }
            if at.mass >= tier.from {
                points.push(at);
            }
            for &(class, rate, more) in &desk.order {
                if more <= 0.0 {
                    continue;
                }
                let looseness = self.alike[class].as_ref().map_or(0.0, |alike| alike.volume.0);
                let further = |mass: f64| Corner {
                    mass,
                    volume: at.volume + (mass - at.mass) * looseness,
                    gain: at.gain + (mass - at.mass) * rate,
                    tier: tier.tier,
                };
                let end = further(at.mass + more);
                if at.mass < tier.from && tier.from < end.mass {
                    points.push(further(tier.from));
                }
                if end.mass >= tier.below {
                    points.push(further(tier.below.max(tier.from)));
                    break;
                }
                at = end;
                if at.mass >= tier.from {
                    points.push(at);
                }
            }
        }
        points.sort_unstable_by(|a, b| a.mass.total_cmp(&b.mass).then(b.gain.total_cmp(&a.gain)));
        let hull = &mut desk.corners[index];
        hull.clear();
        for &point in points.iter() {
            if hull.last().is_some_and(|last| last.mass >= point.mass) {
                continue;
            }
            while let [.., first, second] = hull[..] {
                let turn = (second.gain - first.gain) * (point.mass - first.mass);
                if turn > (point.gain - first.gain) * (second.mass - first.mass) {
                    break;
                }
                hull.pop();
            }
            hull.push(point);
        }
    }

    /// What is best under the level at the toll.
    fn delivery(&self, end: End, toll: f64, prices: &Prices, desk: &mut Desk) -> Option<Delivery> {
        self.pass(end.slope, toll, prices, Ask::Anything, desk)?;
        let reach = desk.reaches[end.level]?;
        let site = self.site;
        let mut at = vec![0usize; self.stalls.len()];
        for piece in &desk.pieces[..reach.pieces] {
            at[piece.stall] += 1;
        }
        let freight = self.levels.list[end.level].cost;
        let mut delivery = Delivery { site: self.index, freight, ..Delivery::default() };
        let partial = desk.pieces.get(reach.pieces).filter(|piece| reach.part > 0.0 && piece.mass > 0.0);
        let partial = partial.map(|piece| (piece.stall, reach.part / piece.mass));
        let factor = self.factor(end.slope, prices);
        let mut payout = -site.flat_fee;
        for (index, stall) in self.stalls.iter().enumerate() {
            let corners = &desk.corners[index];
            let share = partial.filter(|(stall, _)| *stall == index).map_or(0.0, |(_, share)| share);
            let parts =
                [(Some(corners[at[index]]), 1.0 - share), (corners.get(at[index] + 1).copied(), share)];
            for (corner, share) in parts {
                let Some(corner) = corner.filter(|_| share > 0.0) else { continue };
                delivery.tiers.push((stall.grade, corner.tier, share));
                let Some(tier) = stall.tiers.iter().find(|tier| tier.tier == corner.tier) else { continue };
                let rate = |class, worth| self.gain_of(class, worth, toll, factor, prices);
                payout += share * self.fill(stall, tier, corner.mass, share, rate, &mut delivery);
            }
        }
        self.total(&mut delivery, payout);
        Some(delivery)
    }

    /// Works out what follows from a delivery's amounts, freight and payout.
    fn total(&self, delivery: &mut Delivery, payout: f64) {
        for &(class, amount) in &delivery.amounts {
            let Some(alike) = &self.alike[class] else { continue };
            let (dense, loose) = if self.has_band() { self.excess(alike) } else { (0.0, 0.0) };
            delivery.dense += amount * dense;
            delivery.loose += amount * loose;
            delivery.mass += amount * alike.mass;
            delivery.volume += amount * alike.volume.0;
        }
        let site = self.site;
        let home = site.slopes().map(|slope| slope * payout).fold(f64::NEG_INFINITY, f64::max);
        delivery.net = home - site.fixed - delivery.freight;
        delivery.short = site.least_payout.map_or(0.0, |least| least - payout);
    }

    /// Fills a stall up to a mass at a tier, dearest first, as [`corners`](Self::corners) did; what it pays out.
    fn fill(
        &self,
        stall: &Stall,
        tier: &StallTier,
        mass: f64,
        share: f64,
        rate: impl Fn(usize, f64) -> f64,
        delivery: &mut Delivery,
    ) -> f64 {
        let mut order: Vec<(usize, f64, f64)> = Vec::new();
        let (mut payout, mut left) = (0.0, mass);
        for (&class, &worth) in stall.classes.iter().zip(&tier.worth) {
            let Some(alike) = &self.alike[class] else { continue };
            let rate = rate(class, worth);
            if alike.must || (alike.mass <= 0.0 && rate > 0.0) {
                delivery.amounts.push((class, share * alike.amount));
                payout += alike.amount * worth;
                left -= alike.amount * alike.mass;
            } else if alike.mass > 0.0 {
                order.push((class, rate, worth));
            }
        }
        order.sort_unstable_by(|a, b| b.1.total_cmp(&a.1));
        for (class, _, worth) in order {
            let amount = self.alike[class].map_or(0.0, |alike| alike.amount).min(left.max(0.0));
            if amount > 0.0 {
                delivery.amounts.push((class, share * amount));
                payout += amount * worth;
                left -= amount;
            }
        }
        payout
    }
}

impl Delivery {
    /// The mixture of so much of this one with another.
    fn mix(&mut self, share: f64, other: &Delivery) {
        let rest = 1.0 - share;
        self.amounts.iter_mut().for_each(|(_, amount)| *amount *= share);
        self.amounts.extend(other.amounts.iter().map(|&(class, amount)| (class, rest * amount)));
        self.tiers.iter_mut().for_each(|(.., part)| *part *= share);
        self.tiers.extend(other.tiers.iter().map(|&(grade, tier, part)| (grade, tier, rest * part)));
        for (mine, theirs) in [
            (&mut self.net, other.net),
            (&mut self.mass, other.mass),
            (&mut self.volume, other.volume),
            (&mut self.dense, other.dense),
            (&mut self.loose, other.loose),
            (&mut self.short, other.short),
        ] {
            *mine = share * *mine + rest * theirs;
        }
    }
}

/// All masses to which lots of the classes can come; `None` where there are too many to try.
fn sums(model: &Model<'_>, classes: &Classes, among: &[usize]) -> Option<Vec<f64>> {
    let of = |class: &usize| &classes.list[*class];
    let free = || among.iter().map(of).filter(|class| class.decided.is_none());
    if free().map(|class| class.lots.len()).sum::<usize>() > MOST_SUMMED {
        return None;
    }
    let must: f64 = among
        .iter()
        .map(of)
        .filter(|class| class.decided.is_some())
        .map(|class| class.amount * class.mass)
        .sum();
    let mut sums = vec![must];
    for &lot in free().flat_map(|class| &class.lots) {
        let mass = model.lots[lot].mass;
        sums.extend_from_within(..);
        let half = sums.len() / 2;
        sums[half..].iter_mut().for_each(|sum| *sum += mass);
    }
    Some(sums)
}
