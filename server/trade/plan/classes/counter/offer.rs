//! What an outlet offers at given prices: hulls of its grades, and the best filling of each level of the freight.

use super::{Ask, Counter, Delivery, Prices, SLACK, Stall, StallTier};

/// After so many tolls a bound is taken as it is.
const MOST_TOLLS: u32 = 24;

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
pub(super) struct End {
    pub gain: f64,
    slope: f64,
    level: usize,
    pub tolls: (f64, f64),
    pub share: f64,
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
pub(in crate::plan::classes) struct Desk {
    corners: Vec<Vec<Corner>>,
    points: Vec<Corner>,
    pieces: Vec<Piece>,
    order: Vec<(usize, f64, f64)>,
    reaches: Vec<Option<Under>>,
    /// By level: the least bound so far, and the nearest tolls at which it takes up too much room, and no more than there is.
    pub least: Vec<f64>,
    over: Vec<Option<Tried>>,
    within: Vec<Option<Tried>>,
    /// By level of those that can be reached: what packing and freight cost, and what is gained at the most.
    pub under: Vec<(f64, f64)>,
}

impl Counter<'_> {
    /// What one unit of payout brings, with what is paid for reaching the least payout.
    fn factor(&self, slope: f64, prices: &Prices) -> f64 {
        slope + prices.payout[self.index]
    }

    pub(super) fn end(&self, prices: &Prices, ask: Ask, desk: &mut Desk) -> Option<End> {
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
        gain += prices.yard[self.index] - site.fixed - factor * site.flat_fee;
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
    pub(super) fn least(&self) -> f64 {
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
    pub(super) fn delivery(&self, end: End, toll: f64, prices: &Prices, desk: &mut Desk) -> Option<Delivery> {
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
    pub(super) fn mix(&mut self, share: f64, other: &Delivery) {
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
