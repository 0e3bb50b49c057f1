//! When a bag is worth shipping: its ship weight, its break-even weight, and what it is worth kept until then.
//!
//! `N(W)` is the net of shipping the mass `W`. It is a line between breaks (freight steps, price tiers, minimums), so
//! the best weight is a break or the one stationary point of a piece, and nothing else has to be tried. A candidate is
//! found by rounded arithmetic and then priced exactly.

mod fill_rate;
mod joint;
mod line;

use rust_decimal::{Decimal, dec};

pub use self::fill_rate::FillRate;
pub use self::joint::{Grouping, MOST_BAGS, best_grouping};
pub use self::line::{Line, Net};
use self::line::{Piece, pieces};
use crate::costs::Costs;
use crate::mass::Mass;

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
}

/// What always shipping at a weight brings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CurvePoint {
    pub weight: Mass,
    pub net: Decimal,
    pub per_day: Decimal,
}

/// The weight `W` that maximises `[N(W) − h·W² / 2λ] / (W / λ)`: net per cycle less what keeping costs while the bag
/// fills at `λ`, per day. Of equal ones the lightest; `None` where no weight pays what keeping costs, or nothing comes
/// in.
///
/// With `N(W) = v·W − K` this is `√(2·K·λ / h)`, the economic order quantity of F. W. Harris (1913).
pub fn ship_weight(net: &dyn Net, filling: &Filling<'_>) -> Option<ShipWeight> {
    if !filling.per_day.is_positive() {
        return None;
    }
    let mut best: Option<CurvePoint> = None;
    for Piece { from, to } in pieces(filling.breaks, filling.up_to) {
        let inside = net.line(from, to).and_then(|line| line.stationary(filling, from, to));
        for weight in inside.into_iter().chain([to]) {
            let Some(point) = net.at(weight).and_then(|net| filling.point(weight, net)) else { continue };
            if point.per_day > best.map_or(Decimal::ZERO, |best| best.per_day) {
                best = Some(point);
            }
        }
    }
    let best = best?;
    Some(ShipWeight {
        weight: best.weight,
        net: best.net,
        per_day: best.per_day,
        cycle_days: best.weight.grams() / filling.per_day.grams(),
    })
}

/// Points of the curve over all pieces, about.
const CURVE_POINTS: usize = 120;

/// What each weight brings in the long run, ascending, for drawing. Where the net jumps, two points lie a microgram apart.
pub fn long_run(net: &dyn Net, filling: &Filling<'_>) -> Vec<CurvePoint> {
    let pieces = pieces(filling.breaks, filling.up_to);
    let samples = (CURVE_POINTS / pieces.len().max(1)).clamp(2, 24);
    let drawn = |piece: &Piece| {
        let line = net.line(piece.from, piece.to);
        let inside = line.into_iter().flat_map(|line| {
            piece.samples(samples).filter_map(move |weight| filling.point(weight, line.at(weight)?))
        });
        inside.chain(net.at(piece.to).and_then(|net| filling.point(piece.to, net))).collect::<Vec<_>>()
    };
    pieces.iter().flat_map(drawn).collect()
}

/// The least weight at which shipping nets no less than any of the local sales would bring, or, where none of them takes
/// so much, no less than nothing; `None` up to `up_to`.
///
/// `breaks` are those of all of them. It is quickest with the best sale first. A little above the break-even weight the
/// next freight step can push it under again for a while.
pub fn break_even(net: &dyn Net, local: &[&dyn Net], breaks: &[Mass], up_to: Mass) -> Option<Mass> {
    let is_ahead = |mass: Mass| {
        let Some(net) = net.at(mass) else { return false };
        let mut sales = local.iter().filter_map(|sale| sale.at(mass)).peekable();
        if sales.peek().is_some() { sales.all(|sale| net >= sale) } else { net >= Decimal::ZERO }
    };
    pieces(breaks, up_to).into_iter().find_map(|Piece { from, to }| {
        // The lines tell where to look; the exact nets say whether it is so. Two micrograms make up for their rounding.
        let crossing = net.line(from, to).and_then(|line| {
            let mut sales = local.iter().filter_map(|sale| sale.line(from, to)).peekable();
            let nothing = sales.peek().is_none().then_some(Line::NOTHING);
            // Past the last crossing it is ahead of all of them.
            sales.chain(nothing).try_fold(from + MICROGRAM, |last, sale| {
                Some(last.max((line - sale).turns_positive(from, to)?))
            })
        });
        let near = crossing
            .into_iter()
            .flat_map(|mass| (0..3u32).map(move |more| mass + MICROGRAM.times(more.into())));
        near.filter(|mass| *mass < to).chain([to]).find(|mass| is_ahead(*mass))
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
