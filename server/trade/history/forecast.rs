//! How far off a figure can be: between what the payout, or the net, lies four times out of five.
//!
//! Their scale, downgrades and late payment move it; prices, fees and exchange are taken as they stand. The scale's part is
//! Student's t for the whole delivery, since its families share what is not known of the outlet. Each line is downgraded
//! or not, so their part is a few jumps, each with its chance.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::quantile::{between, student_below};
use super::{Learned, float};
use crate::costs::Facts;
use crate::ids::Family;
use crate::money::PriceUnit;
use crate::net::{Ladder, Line, Paid};
use crate::outlet::Outlet;

/// Between these a figure lies four times out of five.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    pub low: Decimal,
    pub high: Decimal,
}

impl Range {
    pub fn holds(&self, figure: Decimal) -> bool {
        self.low <= figure && figure <= self.high
    }
}

/// More jumps than these are drawn together in pairs.
const JUMPS: usize = 64;

impl Learned {
    /// What the outlet pays out for these lines, in its currency.
    pub fn payout(&self, lines: &[Line], outlet: &Outlet) -> Range {
        let expected = Paid::of(lines, outlet).out(&outlet.terms);
        around(expected, &self.risk(lines, outlet), 1.0)
    }

    /// The net of a delivery, in home currency.
    pub fn net(&self, ladder: &Ladder, outlet: &Outlet, facts: &Facts) -> Range {
        let mut risk = self.risk(&ladder.lines, outlet);
        let spread = if outlet.currency == facts.costs.home {
            Decimal::ZERO
        } else {
            outlet.terms.exchange_spread.get()
        };
        let kept =
            if ladder.payout.amount < Decimal::ZERO { Decimal::ONE + spread } else { Decimal::ONE - spread };
        let yearly = facts.costs.capital_per_year.get() / Decimal::from(365);
        let gain = ladder.rate.rate * kept;
        if self.counts.days > 0 {
            // Five ways that it can go, each as likely, off the days that the net reckons with.
            let a_day = float(ladder.payout.amount * yearly);
            let expected = float(outlet.days_to_pay());
            let late: Vec<(f64, f64)> = [0.1, 0.3, 0.5, 0.7, 0.9]
                .map(|part| (a_day * (self.days.quantile(part) - expected), 0.2))
                .into();
            risk.jump(&late);
        }
        let waited = Decimal::ONE - yearly * outlet.days_to_pay();
        around(ladder.net, &risk, float(gain * waited).max(0.0))
    }

    fn risk(&self, lines: &[Line], outlet: &Outlet) -> Risk {
        let terms = &outlet.terms;
        let mut stakes: BTreeMap<Option<&Family>, f64> = BTreeMap::new();
        let mut risk = Risk { scale: 0.0, degrees: self.weights.degrees(), jumps: vec![(0.0, 1.0)] };
        for line in lines {
            let family = self.family_of(&line.grade);
            let pays = line.amount > Decimal::ZERO;
            let kept = if pays {
                float((Decimal::ONE - outlet.lost_to_downgrades(&line.grade)) * terms.percent_fee.rest())
            } else {
                1.0
            };
            let mut ours = float(line.amount);
            if line.quote.price.per != PriceUnit::Each {
                ours *= float(terms.weight_deduction.rest());
                *stakes.entry(family).or_default() += ours * kept;
                ours *= float(outlet.paid_weight(&line.grade));
            }
            if pays {
                let (chance, drop) = self.downgrade_of(outlet, line);
                let loss = ours * drop * float(terms.percent_fee.rest());
                // Off what is expected, which has its part of the loss in it already.
                risk.jump(&[(loss * (1.0 - chance), chance), (-loss * chance, 1.0 - chance)]);
            }
        }
        risk.scale = self.weights.scale_of(&stakes);
        risk
    }

    /// How often a line is downgraded and by how much, as the net has it.
    fn downgrade_of(&self, outlet: &Outlet, line: &Line) -> (f64, f64) {
        let about = outlet.learned.as_ref().map(|learned| learned.about(&line.grade));
        match about.and_then(|about| Some((about.downgraded?.mean, about.drop))) {
            Some((chance, drop)) => (float(chance), float(drop)),
            None => (float(outlet.terms.downgrade_chance.get()), float(outlet.terms.downgrade_drop.get())),
        }
    }
}

/// A figure's distance from what is expected.
struct Risk {
    /// Student's t of the scale.
    scale: f64,
    degrees: f64,
    /// What can be lost beside, and how likely that is; all of them together are sure.
    jumps: Vec<(f64, f64)>,
}

impl Risk {
    /// One more thing that goes one of these ways, whatever else does.
    fn jump(&mut self, ways: &[(f64, f64)]) {
        let ways: Vec<_> = ways.iter().filter(|(_, chance)| *chance > 0.0).collect();
        let both = |(loss, chance): &(f64, f64)| {
            ways.iter().map(move |(more, likely)| (loss + more, chance * likely)).collect::<Vec<_>>()
        };
        self.jumps = self.jumps.iter().flat_map(both).collect();
        while self.jumps.len() > JUMPS {
            self.jumps.sort_by(|a, b| a.0.total_cmp(&b.0));
            let pair = |pair: &[(f64, f64)]| {
                let chance: f64 = pair.iter().map(|(_, chance)| chance).sum();
                (pair.iter().map(|(loss, chance)| loss * chance).sum::<f64>() / chance, chance)
            };
            self.jumps = self.jumps.chunks(2).map(pair).collect();
        }
    }

    /// How likely the figure lies so far off, or lower.
    fn below(&self, off: f64) -> f64 {
        let part = |(loss, chance): &(f64, f64)| {
            let off = off + loss;
            let below = match self.scale > 0.0 {
                true => student_below(off / self.scale, self.degrees),
                false => f64::from(u8::from(off >= 0.0)),
            };
            chance * below
        };
        self.jumps.iter().map(part).sum()
    }

    fn quantile(&self, part: f64) -> f64 {
        let farthest = self.jumps.iter().map(|(loss, _)| loss.abs()).fold(0.0, f64::max);
        // No tenth of a t with four degrees of freedom or more lies beyond two.
        let end = farthest * 1.001 + self.scale * 2.0;
        between(part, -end, end, |off| self.below(off))
    }
}

/// The range about an expected figure; it holds that figure, whichever way it leans.
fn around(expected: Decimal, risk: &Risk, gain: f64) -> Range {
    let off = |part| Decimal::from_f64(risk.quantile(part) * gain).unwrap_or_default().round_dp(6);
    let (low, high) = (off(0.1), off(0.9));
    Range {
        low: expected.saturating_add(low.min(Decimal::ZERO)),
        high: expected.saturating_add(high.max(Decimal::ZERO)),
    }
}
