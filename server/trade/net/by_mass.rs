//! What one mix nets at one outlet, by its mass: made ready once, then asked thousands of times.
//!
//! Freight rises in steps, and all else is a line from one tier or minimum to the next. So the net is known everywhere
//! from a few deliveries that are priced as if their parcels cost nothing, and from the list of the steps. What a list
//! does not reach to is packed and priced anew each time.

use std::sync::Arc;

use rust_decimal::Decimal;

use super::{Load, deliver_packed, net_before_packing};
use crate::cadence::{Line, Net};
use crate::costs::Facts;
use crate::freight::UNSEEN;
use crate::mass::Mass;
use crate::outlet::{Outlet, Way};
use crate::packing::Packer;

/// The most that goes at a cost, and that cost in home currency; ascending. See [`Packer::priced_steps`].
pub type FreightSteps = Arc<[(Mass, Decimal)]>;

/// A delivery of each mass of the same mix.
pub type MixOf<'a> = Box<dyn Fn(Mass) -> Vec<Load> + 'a>;

/// The net of any mass of a mix at an outlet.
#[expect(missing_debug_implementations, reason = "a mix is a function")]
pub struct NetByMass<'a> {
    outlet: &'a Outlet,
    facts: &'a Facts,
    packer: Option<&'a Packer>,
    mix: MixOf<'a>,
    /// What is left before parcels are paid, ascending; the last ends at the horizon.
    receipts: Vec<Stretch>,
    steps: FreightSteps,
}

/// Masses over the end of the stretch before, up to and with `to`.
struct Stretch {
    to: Mass,
    /// Below `to`; `None` where the outlet does not take it.
    line: Option<Line>,
    /// At `to` itself, where a tier can begin.
    at_end: Option<Decimal>,
}

impl<'a> NetByMass<'a> {
    /// `breaks` are the masses up to `up_to` at which something other than freight jumps or bends, in any order; `steps`
    /// those of the mix with the packer.
    pub fn new(
        (outlet, packer): (&'a Outlet, Option<&'a Packer>),
        facts: &'a Facts,
        mix: MixOf<'a>,
        (breaks, up_to): (&[Mass], Mass),
        steps: FreightSteps,
    ) -> Self {
        let mut ends: Vec<Mass> = breaks.iter().copied().filter(|end| *end < up_to).chain([up_to]).collect();
        ends.retain(|end| end.is_positive());
        ends.sort();
        ends.dedup();
        let before_packing = |mass: Mass| net_before_packing(outlet, &mix(mass), facts);
        let froms = [Mass::ZERO].into_iter().chain(ends.iter().copied());
        let stretch = |(from, &to): (Mass, &Mass)| Stretch {
            to,
            line: before_packing.line(from, to),
            at_end: before_packing.at(to),
        };
        let receipts = froms.zip(&ends).map(stretch).collect();
        NetByMass { outlet, facts, packer, mix, receipts, steps }
    }

    /// Where the net jumps or bends, freight among it.
    pub fn breaks(&self) -> Vec<Mass> {
        let steps = self.steps.iter().map(|(end, _)| *end);
        self.receipts.iter().map(|stretch| stretch.to).chain(steps).collect()
    }

    /// What the parcels of up to `mass` cost; `None` beyond the list of steps.
    fn packed(&self, mass: Mass) -> Option<Decimal> {
        match self.outlet.way {
            Way::Drive(_) => Some(Decimal::ZERO),
            Way::Post(_) => {
                let step = self.steps.partition_point(|(end, _)| *end < mass);
                self.steps.get(step).map(|(_, cost)| *cost)
            }
        }
    }

    fn stretch(&self, mass: Mass) -> Option<&Stretch> {
        self.receipts.get(self.receipts.partition_point(|stretch| stretch.to < mass))
    }

    fn priced_anew(&self, mass: Mass) -> Option<Decimal> {
        deliver_packed(self.outlet, &(self.mix)(mass), self.facts, self.packer).ok().map(|ladder| ladder.net)
    }
}

impl Net for NetByMass<'_> {
    fn at(&self, mass: Mass) -> Option<Decimal> {
        // A hair that no scale shows starts no freight step.
        let seen = if mass > UNSEEN { mass - UNSEEN } else { mass };
        let known = mass.is_positive().then(|| self.stretch(mass).zip(self.packed(seen))).flatten();
        let Some((stretch, packed)) = known else { return self.priced_anew(mass) };
        let before = if mass == stretch.to { stretch.at_end } else { stretch.line?.at(mass) };
        Some(before? - packed)
    }

    fn line(&self, from: Mass, to: Mass) -> Option<Line> {
        let known = self.stretch(to).zip(self.packed(to));
        let Some((stretch, packed)) = known else {
            return Line::over(from, to, |mass| self.priced_anew(mass));
        };
        Some(stretch.line?.lowered(packed))
    }
}
