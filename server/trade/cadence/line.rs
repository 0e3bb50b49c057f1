//! A net as a function of mass, and the lines it is made of.

use std::ops::Sub;

use rust_decimal::{Decimal, MathematicalOps, dec};

use super::Filling;
use crate::mass::{HEAVIEST_GRAMS, Mass};

/// The net of shipping each mass of some mix, in home currency.
pub trait Net {
    /// Exactly; `None` where nobody takes that much or that little.
    fn at(&self, mass: Mass) -> Option<Decimal>;

    /// Over `from` and below `to`, between which it neither jumps nor bends; `None` where nobody takes it.
    fn line(&self, from: Mass, to: Mass) -> Option<Line> {
        Line::over(from, to, |mass| self.at(mass))
    }
}

impl<F: Fn(Mass) -> Option<Decimal>> Net for F {
    fn at(&self, mass: Mass) -> Option<Decimal> {
        self(mass)
    }
}

/// `value·W − fixed`, in home currency, for `W` in grams.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    value: Decimal,
    fixed: Decimal,
}

impl Line {
    pub const NOTHING: Line = Line { value: Decimal::ZERO, fixed: Decimal::ZERO };

    /// Through two points well inside.
    pub fn over(from: Mass, to: Mass, net: impl Fn(Mass) -> Option<Decimal>) -> Option<Line> {
        let quarter = (to - from).times(dec!(0.25));
        let (a, b) = (from + quarter, to - quarter);
        let (at_a, at_b) = (net(a)?, net(b)?);
        let value = (at_b - at_a).checked_div((b - a).grams())?;
        Some(Line { value, fixed: value.checked_mul(a.grams())?.checked_sub(at_a)? })
    }

    pub fn at(self, weight: Mass) -> Option<Decimal> {
        self.value.checked_mul(weight.grams())?.checked_sub(self.fixed)
    }

    /// The same with `more` to pay each time.
    pub fn lowered(self, more: Decimal) -> Line {
        Line { fixed: self.fixed + more, ..self }
    }

    /// Where the long-run rate is highest: `√(2·K·λ / h)`. `None` where it only rises or only falls, or that does not lie
    /// among the masses between `from` and `to`.
    pub(super) fn stationary(self, filling: &Filling<'_>, from: Mass, to: Mass) -> Option<Mass> {
        let square =
            (self.fixed * dec!(2)).checked_mul(filling.per_day.grams())?.checked_div(filling.holding)?;
        // A root takes far longer than two squares.
        let is_inside = square >= from.grams() * from.grams() && square <= to.grams() * to.grams();
        let weight = Mass::from_grams(is_inside.then(|| square.sqrt())??.round_dp(6));
        (weight > from && weight < to).then_some(weight)
    }

    /// The least mass between `from` and `to`, or beyond, from which the line is not below nothing; `None` where it is so
    /// at both.
    pub(super) fn turns_positive(self, from: Mass, to: Mass) -> Option<Mass> {
        if self.at(from)? >= Decimal::ZERO {
            return Some(from);
        }
        // Far quicker than where, and for most pieces all there is to know.
        if self.at(to)? < Decimal::ZERO {
            return None;
        }
        Some(Mass::from_grams(self.fixed.checked_div(self.value)?.round_dp(6)))
    }
}

impl Sub for Line {
    type Output = Line;

    fn sub(self, other: Line) -> Line {
        Line { value: self.value - other.value, fixed: self.fixed - other.fixed }
    }
}

/// Masses over `from`, up to and with `to`, between which a net is a line.
pub(super) struct Piece {
    pub from: Mass,
    pub to: Mass,
}

impl Piece {
    /// Masses inside, from the lower end on.
    pub fn samples(&self, count: usize) -> impl Iterator<Item = Mass> + use<> {
        let (from, last) = (self.from + super::MICROGRAM, self.to - super::MICROGRAM);
        let count = if last > from { count } else { 0 };
        let part = (last - from).grams() / Decimal::from(count.max(2) - 1);
        (0..count).map(move |i| from + Mass::from_grams((part * Decimal::from(i)).round_dp(6)))
    }
}

/// The pieces between all breaks, ascending, the last up to `up_to`.
pub(super) fn pieces(breaks: &[Mass], up_to: Mass) -> Vec<Piece> {
    let up_to = up_to.min(Mass::from_grams(HEAVIEST_GRAMS));
    let inside = breaks.iter().copied().filter(|end| *end < up_to);
    let mut ends: Vec<Mass> = inside.chain([up_to]).filter(|end| end.is_positive()).collect();
    ends.sort();
    ends.dedup();
    let froms = [Mass::ZERO].into_iter().chain(ends.iter().copied());
    froms.zip(&ends).map(|(from, &to)| Piece { from, to }).collect()
}
