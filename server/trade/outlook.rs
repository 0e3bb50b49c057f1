//! One grade's bag at every outlet: what it nets now, when it is heavy enough, and what it is worth kept.
//!
//! This puts net value (design 2.3) and cadence (2.6) together. A bag is looked at on its own here: what it costs and
//! brings beside other lots is the sell plan's business.

use rust_decimal::{Decimal, dec};

use crate::cadence::{
    CurvePoint, FillRate, Filling, Net, ShipWeight, break_even, holding_cost, keep_value, long_run,
    ship_weight,
};
use crate::costs::Facts;
use crate::ids::{GradeId, LotId, OutletId};
use crate::mass::{HEAVIEST_GRAMS, Mass, MassUnit};
use crate::money::PriceUnit;
use crate::net::{Closed, FreightSteps, Ladder, Load, NetByMass, deliver_packed, packer};
use crate::outlet::{Drive, Outlet, Way};
use crate::packing::{Contents, Packer};
use crate::quote::Quote;
use crate::volume::BulkDensity;

/// A bag looks at most this far ahead.
const HORIZON_DAYS: Decimal = dec!(270);
/// And at most to this mass: beyond it nobody waits for a bag.
const HEAVIEST: Mass = Mass::from_grams(dec!(2_000_000));

/// All of one grade that is on the shelf, as if it were one bag.
#[derive(Debug, Clone)]
pub struct Bag<'a> {
    pub grade: &'a GradeId,
    pub density: BulkDensity,
    pub mass: Mass,
    /// For prices quoted each.
    pub pieces: u32,
    pub fill: Option<FillRate>,
}

/// The bag at one outlet.
#[derive(Debug, Clone)]
pub struct Outlook {
    pub outlet: OutletId,
    /// What the bag would net today, alone.
    pub now: Result<Ladder, Closed>,
    /// Mass from which taking it here beats the best local sale; only for mail-in buyers.
    pub break_even: Option<Mass>,
    /// The mass at which going there pays most in the long run; `None` without a fill rate.
    pub ship: Option<ShipWeight>,
    /// How much more of the grade rides at no extra freight; only for mail-in buyers.
    pub room: Option<Mass>,
    /// What the bag is worth kept until then.
    pub keep: Decimal,
}

/// The bag at every outlet whose sheet prices its grade by mass or by the piece, best net first.
pub fn outlooks(bag: &Bag<'_>, outlets: &[Outlet], facts: &Facts) -> Vec<Outlook> {
    let takers: Vec<Taker<'_>> = outlets
        .iter()
        .filter(|outlet| outlet.quotes.contains_key(bag.grade))
        .map(|outlet| Taker::new(outlet, facts))
        .collect();
    let up_to = bag.horizon();
    let yards: Vec<Outlet> = takers.iter().filter_map(Taker::on_the_way).collect();
    let mut local: Vec<NetByMass<'_>> =
        yards.iter().map(|yard| bag.net((yard, None), facts, up_to, FreightSteps::default())).collect();
    local.sort_by_key(|yard| std::cmp::Reverse(yard.at(up_to)));
    // Buyers that the same services reach in the same zones pay the same freight.
    let mut known: Vec<(&Packer, FreightSteps)> = Vec::new();
    let mut outlooks: Vec<Outlook> = takers
        .iter()
        .map(|taker| {
            let steps = taker.packer.as_ref().map(|packer| {
                let same = known.iter().find(|(other, _)| *other == packer);
                let steps = same
                    .map(|(_, steps)| FreightSteps::clone(steps))
                    .unwrap_or_else(|| packer.priced_steps(Some(bag.density), up_to).into());
                known.push((packer, FreightSteps::clone(&steps)));
                steps
            });
            bag.at(taker, &local, facts, steps.unwrap_or_default())
        })
        .collect();
    let net = |outlook: &Outlook| outlook.now.as_ref().map_or(Decimal::MIN, |ladder| ladder.net);
    outlooks.sort_by_key(|outlook| std::cmp::Reverse(net(outlook)));
    outlooks
}

/// An outlet that takes the grade, with its parcels made ready.
struct Taker<'a> {
    outlet: &'a Outlet,
    packer: Option<Packer>,
}

impl<'a> Taker<'a> {
    fn new(outlet: &'a Outlet, facts: &Facts) -> Self {
        Taker { outlet, packer: packer(outlet, facts).ok().flatten() }
    }

    /// A yard as a stop of a run that is made anyway: without its drive.
    fn on_the_way(&self) -> Option<Outlet> {
        let no_drive = Way::Drive(Drive { distance_km: Decimal::ZERO, minutes: Decimal::ZERO });
        matches!(self.outlet.way, Way::Drive(_)).then(|| Outlet { way: no_drive, ..self.outlet.clone() })
    }
}

impl Bag<'_> {
    pub(crate) fn load(&self, mass: Mass) -> Load {
        Load {
            lot: LotId::new("bag"),
            grade: self.grade.clone(),
            mass,
            pieces: self.pieces,
            volume: self.density.volume_of(mass),
        }
    }

    fn at(
        &self,
        Taker { outlet, packer }: &Taker<'_>,
        local: &[NetByMass<'_>],
        facts: &Facts,
        steps: FreightSteps,
    ) -> Outlook {
        let packer = packer.as_ref();
        let now = deliver_packed(outlet, &[self.load(self.mass)], facts, packer);
        let room = packer.filter(|_| now.is_ok()).and_then(|packer| self.room(packer, &steps));
        let mut outlook = Outlook {
            outlet: outlet.id.clone(),
            now,
            break_even: None,
            ship: None,
            room,
            keep: Decimal::ZERO,
        };
        if !self.is_by_mass(outlet) {
            return outlook;
        }
        let up_to = self.horizon();
        let net = self.net((outlet, packer), facts, up_to, steps);
        if packer.is_some() {
            let all: Vec<Mass> = local.iter().chain([&net]).flat_map(NetByMass::breaks).collect();
            let local: Vec<&dyn Net> = local.iter().map(|yard| yard as &dyn Net).collect();
            outlook.break_even = break_even(&net, &local, &all, up_to);
        }
        let Some(fill) = self.fill else { return outlook };
        outlook.ship = ship_weight(&net, &self.filling(&net, &net.breaks(), fill.per_day, facts));
        if let Some(ship) = &outlook.ship {
            let yearly = facts.costs.capital_per_year.get() + facts.costs.risk_per_year.get();
            let net_now = outlook.now.as_ref().ok().map(|ladder| ladder.net);
            outlook.keep = keep_value(self.mass, net_now, ship, fill.per_day, yearly);
        }
        outlook
    }

    /// How much more goes at the same cost: by the list of steps, as far as it goes.
    fn room(&self, packer: &Packer, steps: &FreightSteps) -> Option<Mass> {
        match steps.get(steps.partition_point(|(end, _)| *end < self.mass)) {
            Some((end, _)) if self.mass.is_positive() => Some(*end - self.mass),
            _ => packer.room_left(Contents { mass: self.mass, volume: self.density.volume_of(self.mass) }),
        }
    }

    /// The net of any mass of the grade.
    fn net<'n>(
        &'n self,
        (outlet, packer): (&'n Outlet, Option<&'n Packer>),
        facts: &'n Facts,
        up_to: Mass,
        steps: FreightSteps,
    ) -> NetByMass<'n> {
        let mix = Box::new(|mass: Mass| vec![self.load(mass)]);
        NetByMass::new((outlet, packer), facts, mix, (&self.breaks(outlet), up_to), steps)
    }

    fn filling<'f>(
        &self,
        net: &NetByMass<'_>,
        breaks: &'f [Mass],
        per_day: Mass,
        facts: &Facts,
    ) -> Filling<'f> {
        let up_to = self.horizon();
        let value_per_gram = net.at(up_to).map_or(Decimal::ZERO, |net| net / up_to.grams());
        Filling { breaks, up_to, per_day, holding: holding_cost(value_per_gram, &facts.costs) }
    }

    /// What always shipping at a weight brings in the long run there, by the weight; nothing without a fill rate.
    pub fn long_run(&self, outlet: &Outlet, facts: &Facts) -> Vec<CurvePoint> {
        let drawn = |fill: FillRate| self.filled(outlet, facts, fill.per_day, long_run);
        self.fill.map(drawn).unwrap_or_default()
    }

    /// The weights that are best to go there at if the bag fills as slowly, and as fast, as its interval has it; `None`
    /// each where nothing comes in at that rate, or no weight pays.
    pub fn ship_between(&self, outlet: &Outlet, facts: &Facts) -> [Option<Mass>; 2] {
        let Some(fill) = self.fill else { return [None, None] };
        [fill.low, fill.high].map(|per_day| {
            let bag = Bag { fill: Some(FillRate { per_day, ..fill }), ..self.clone() };
            bag.filled(outlet, facts, per_day, ship_weight).map(|ship| ship.weight)
        })
    }

    /// Asks something of the net there while the bag fills.
    fn filled<T>(
        &self,
        outlet: &Outlet,
        facts: &Facts,
        per_day: Mass,
        ask: fn(&dyn Net, &Filling<'_>) -> T,
    ) -> T {
        let Taker { packer, .. } = Taker::new(outlet, facts);
        let up_to = self.horizon();
        let steps = packer.as_ref().map(|packer| packer.priced_steps(Some(self.density), up_to).into());
        let net = self.net((outlet, packer.as_ref()), facts, up_to, steps.unwrap_or_default());
        ask(&net, &self.filling(&net, &net.breaks(), per_day, facts))
    }

    fn horizon(&self) -> Mass {
        horizon(self.mass, self.fill.map_or(Mass::ZERO, |fill| fill.per_day))
    }

    /// Whether the outlet pays for the grade by mass at every tier: pieces are whole, so a bag of things sold by the piece
    /// has no net per gram to follow.
    pub(crate) fn is_by_mass(&self, outlet: &Outlet) -> bool {
        outlet
            .quotes
            .get(self.grade)
            .is_some_and(|quotes| quotes.tiers().iter().all(|quote| quote.price.per != PriceUnit::Each))
    }

    /// Masses at which the net jumps or bends, freight aside: tiers, minimums, and where anything is paid out.
    fn breaks(&self, outlet: &Outlet) -> Vec<Mass> {
        let mut breaks = vec![outlet.terms.minimum_grade, outlet.terms.minimum_delivery];
        if let Some(quotes) = outlet.quotes.get(self.grade) {
            breaks.extend(quotes.tiers().iter().map(|quote| quote.from));
            breaks.extend(quotes.tiers().iter().flat_map(|quote| pays_out_from(outlet, self.grade, quote)));
        }
        breaks
    }
}

/// The most that a bag of `mass` which fills at `per_day` is let grow to: what it fills to within the horizon, and no less
/// than half as much again as it holds.
pub(crate) fn horizon(mass: Mass, per_day: Mass) -> Mass {
    let least = Mass::of(dec!(50), MassUnit::Pound);
    let half_more = mass.times(dec!(1.5));
    (mass + per_day.times(HORIZON_DAYS)).max(half_more).max(least).min(HEAVIEST.max(half_more))
}

/// The masses at which a delivery at this quote begins to pay out anything, and reaches the outlet's minimum payout.
fn pays_out_from(outlet: &Outlet, grade: &GradeId, quote: &Quote) -> Vec<Mass> {
    let terms = &outlet.terms;
    let gram = quote.price.of(Mass::from_grams(Decimal::ONE), 0).amount;
    let weighed = gram * terms.weight_deduction.rest() * outlet.paid_weight(grade);
    let upheld = Decimal::ONE - outlet.lost_to_downgrades(grade);
    let per_gram = weighed * upheld * terms.percent_fee.rest();
    if per_gram <= Decimal::ZERO {
        return Vec::new();
    }
    let least = |payout: Decimal| {
        // A microgram more, so that the rounding of the division does not leave it a hair below.
        let grams = (payout + terms.flat_fee).checked_div(per_gram)? + dec!(0.000001);
        (grams <= HEAVIEST_GRAMS).then(|| Mass::from_grams(grams))
    };
    [Decimal::ZERO, terms.minimum_payout].into_iter().filter_map(least).collect()
}
