//! When a bag is worth shipping: its ship weight, its break-even weight, and what it is worth kept until then.
//!
//! `N(W)` is the net of shipping the mass `W`. It is a line between breaks (freight steps, price tiers, minimums), so
//! the best weight is a break or the one stationary point of a piece, and nothing else has to be tried. A candidate is
//! found by rounded arithmetic and then priced exactly.

mod fill_rate;
mod joint;

use rust_decimal::{Decimal, MathematicalOps, dec};

pub use self::fill_rate::FillRate;
pub use self::joint::{Grouping, MOST_BAGS, best_grouping};
use crate::costs::Costs;
use crate::mass::{HEAVIEST_GRAMS, Mass};
use crate::packing::{Contents, Packer};

/// The exact net of an amount of mass, in home currency; `None` where nobody takes that much or that little.
pub type NetOf<'a> = &'a dyn Fn(Mass) -> Option<Decimal>;

/// How a bag fills that is shipped again and again, and what that costs.
#[derive(Debug, Clone, Copy)]
pub struct Filling<'a> {
    /// Where the net jumps or bends: the ends of freight steps, masses from which a tier or the outlet itself is open.
    /// In any order.
    pub breaks: &'a [Mass],
    /// The most the bag is let grow to.
    pub up_to: Mass,
    /// Mass that comes in per day.
    pub per_day: Mass,
    /// What it costs to keep one gram for a day: see [`holding_cost`].
    pub holding: Decimal,
}

/// The weight at which shipping pays most in the long run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShipWeight {
    pub weight: Mass,
    /// What one shipment of this weight nets.
    pub net: Decimal,
    /// Net per day in the long run, the cost of keeping taken off.
    pub per_day: Decimal,
    /// Days from one shipment to the next.
    pub cycle_days: Decimal,
    /// Ascending, for drawing. Where the net jumps, two points lie a microgram apart.
    pub curve: Vec<CurvePoint>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CurvePoint {
    pub weight: Mass,
    pub net: Decimal,
    pub per_day: Decimal,
}

/// Points of the curve over all pieces, about.
const CURVE_POINTS: usize = 120;

/// The weight `W` that maximises `[N(W) − h·W² / 2λ] / (W / λ)`: net per cycle less what keeping costs while the bag
/// fills at `λ`, per day. Of equal ones the lightest; `None` where no weight pays what keeping costs, or nothing comes
/// in.
///
/// With `N(W) = v·W − K` this is `√(2·K·λ / h)`, the economic order quantity of F. W. Harris (1913).
pub fn ship_weight(net: NetOf<'_>, filling: &Filling<'_>) -> Option<ShipWeight> {
    if !filling.per_day.is_positive() {
        return None;
    }
    let pieces = pieces(net, filling.breaks, filling.up_to);
    let samples = (CURVE_POINTS / pieces.len().max(1)).clamp(2, 24);
    let mut best: Option<CurvePoint> = None;
    let mut curve: Vec<CurvePoint> = Vec::new();
    for piece in &pieces {
        let inside = piece.line.and_then(|line| {
            let weight = line.stationary(filling)?;
            let weight = (weight > piece.from && weight < piece.to).then_some(weight)?;
            filling.point(weight, net(weight)?)
        });
        let end = piece.net_at_end.and_then(|net_at_end| filling.point(piece.to, net_at_end));
        for point in inside.into_iter().chain(end) {
            if point.per_day > best.map_or(Decimal::ZERO, |best| best.per_day) {
                best = Some(point);
            }
        }
        let drawn = piece.line.into_iter().flat_map(|line| {
            piece.samples(samples).filter_map(move |weight| filling.point(weight, line.at(weight)?))
        });
        curve.extend(drawn.chain(end));
    }
    let best = best?;
    Some(ShipWeight {
        weight: best.weight,
        net: best.net,
        per_day: best.per_day,
        cycle_days: best.weight.grams() / filling.per_day.grams(),
        curve,
    })
}

/// The least weight at which shipping nets at least what the same mass brings locally; `None` up to `up_to`.
///
/// `breaks` are those of both, and where a local sale begins to pay. Where there is no local sale (`local` gives `None`), shipping has to net nothing less
/// than nothing. A little above the break-even weight the next freight step can push it under again for a while.
pub fn break_even(net: NetOf<'_>, local: NetOf<'_>, breaks: &[Mass], up_to: Mass) -> Option<Mass> {
    let ahead = |mass: Mass| Some(net(mass)? - local(mass).unwrap_or(Decimal::ZERO));
    let is_ahead = |mass: &Mass| ahead(*mass).is_some_and(|lead| lead >= Decimal::ZERO);
    pieces(&ahead, breaks, up_to).into_iter().find_map(|piece| {
        // The line tells where to look; the exact nets say whether it is so. Two micrograms make up for its rounding.
        let crossing = piece.line.and_then(|line| line.turns_positive(piece.from));
        let near = crossing.into_iter().flat_map(|mass| {
            let mass = mass.max(piece.from + MICROGRAM);
            (0..3u32).map(move |more| mass + MICROGRAM.times(more.into()))
        });
        near.filter(|mass| *mass < piece.to).chain([piece.to]).find(is_ahead)
    })
}

/// What a bag of `mass` is worth now if it is kept until its ship weight: its share of what that shipment will net,
/// less the cost of the capital and the risk until then (`yearly`, simple interest). Never below nothing.
///
/// At or past the ship weight there is nothing to wait for: kept, it goes a day later than it could. A bag that no
/// longer fills is worth nothing kept.
pub fn keep_value(
    mass: Mass,
    net_now: Option<Decimal>,
    ship: &ShipWeight,
    per_day: Mass,
    yearly: Decimal,
) -> Decimal {
    let (net, days) = if mass >= ship.weight {
        (net_now.unwrap_or_default(), Some(Decimal::ONE))
    } else if per_day.is_positive() && mass.is_positive() {
        let share = ship.net * mass.grams() / ship.weight.grams();
        (share, (ship.weight - mass).grams().checked_div(per_day.grams()))
    } else {
        return Decimal::ZERO;
    };
    let growth = days.and_then(|days| (days * yearly / DAYS_PER_YEAR).checked_add(Decimal::ONE));
    growth.map_or(Decimal::ZERO, |growth| net / growth).max(Decimal::ZERO)
}

/// How much more of the same mix can ride at no extra cost; `None` where the contents cannot be packed.
pub fn top_up(packer: &Packer, contents: Contents) -> Option<Mass> {
    packer.room_left(contents)
}

/// What it costs more to send `extra` along in the same shipment: nothing, if it tops it up. `None` where the two
/// cannot be packed together.
pub fn cost_to_ride_along(packer: &Packer, contents: Contents, extra: Contents) -> Option<Decimal> {
    let both = Contents { mass: contents.mass + extra.mass, volume: contents.volume + extra.volume };
    Some(packer.cost(both)? - packer.cost(contents)?)
}

/// What it costs to keep one gram of goods worth `value_per_gram` for a day: capital and risk.
pub fn holding_cost(value_per_gram: Decimal, costs: &Costs) -> Decimal {
    let yearly = costs.capital_per_year.get() + costs.risk_per_year.get();
    value_per_gram.max(Decimal::ZERO) * yearly / DAYS_PER_YEAR
}

const DAYS_PER_YEAR: Decimal = dec!(365);

/// The grain of the ledger, and the nearest that a weight is told to.
const MICROGRAM: Mass = Mass::from_grams(dec!(0.000001));

impl Filling<'_> {
    fn point(&self, weight: Mass, net: Decimal) -> Option<CurvePoint> {
        let earned = self.per_day.grams().checked_mul(net)?.checked_div(weight.grams())?;
        let kept = self.holding.checked_mul(weight.grams())? / dec!(2);
        Some(CurvePoint { weight, net, per_day: earned.checked_sub(kept)? })
    }
}

/// `value·W − fixed`, in home currency, for `W` in grams.
#[derive(Debug, Clone, Copy)]
struct Line {
    value: Decimal,
    fixed: Decimal,
}

impl Line {
    fn through(a: Mass, at_a: Decimal, b: Mass, at_b: Decimal) -> Option<Line> {
        let value = (at_b - at_a).checked_div((b - a).grams())?;
        Some(Line { value, fixed: value.checked_mul(a.grams())?.checked_sub(at_a)? })
    }

    fn at(self, weight: Mass) -> Option<Decimal> {
        self.value.checked_mul(weight.grams())?.checked_sub(self.fixed)
    }

    /// Where the long-run rate is highest: `√(2·K·λ / h)`. `None` where it only rises or only falls.
    fn stationary(self, filling: &Filling<'_>) -> Option<Mass> {
        let square =
            (self.fixed * dec!(2)).checked_mul(filling.per_day.grams())?.checked_div(filling.holding)?;
        let grams = square.sqrt().filter(|grams| *grams <= HEAVIEST_GRAMS)?;
        Some(Mass::from_grams(grams.round_dp(6)))
    }

    /// The least mass from `from` on where the line is not below nothing.
    fn turns_positive(self, from: Mass) -> Option<Mass> {
        if self.at(from)? >= Decimal::ZERO {
            return Some(from);
        }
        let grams = self.fixed.checked_div(self.value).filter(|_| self.value > Decimal::ZERO)?;
        (grams <= HEAVIEST_GRAMS).then(|| Mass::from_grams(grams.round_dp(6)))
    }
}

/// Masses over `from`, up to and with `to`, between which the net is a line.
struct Piece {
    from: Mass,
    to: Mass,
    /// `None` where nobody takes it.
    line: Option<Line>,
    /// At `to` itself, where a tier can begin.
    net_at_end: Option<Decimal>,
}

impl Piece {
    /// Masses inside, from the lower end on.
    fn samples(&self, count: usize) -> impl Iterator<Item = Mass> + use<> {
        let (from, last) = (self.from + MICROGRAM, self.to - MICROGRAM);
        let count = if last > from { count } else { 0 };
        let part = (last - from).grams() / Decimal::from(count.max(2) - 1);
        (0..count).map(move |i| from + Mass::from_grams((part * Decimal::from(i)).round_dp(6)))
    }
}

fn pieces(net: NetOf<'_>, breaks: &[Mass], up_to: Mass) -> Vec<Piece> {
    let up_to = up_to.min(Mass::from_grams(HEAVIEST_GRAMS));
    let mut ends: Vec<Mass> =
        breaks.iter().copied().filter(|end| end.is_positive() && *end < up_to).collect();
    ends.extend(Some(up_to).filter(|end| end.is_positive()));
    ends.sort();
    ends.dedup();
    let mut from = Mass::ZERO;
    let mut pieces = Vec::with_capacity(ends.len());
    for to in ends {
        let quarter = (to - from).times(dec!(0.25));
        let (a, b) = (from + quarter, to - quarter);
        let line = net(a).zip(net(b)).and_then(|(at_a, at_b)| Line::through(a, at_a, b, at_b));
        pieces.push(Piece { from, to, line, net_at_end: net(to) });
        from = to;
    }
    pieces
}
