//! One grade's bag at every outlet: what it nets now, when it is heavy enough, and what it is worth kept.
//!
//! This puts net value (design 2.3) and cadence (2.6) together. A bag is looked at on its own here: what it costs and
//! brings beside other lots is the sell plan's business.

use rust_decimal::{Decimal, dec};

use crate::cadence::{self, FillRate, Filling, ShipWeight, break_even, holding_cost, ship_weight};
use crate::costs::Facts;
use crate::ids::{GradeId, LotId, OutletId};
use crate::mass::{Mass, MassUnit};
use crate::money::PriceUnit;
use crate::net::{Closed, Ladder, Load, deliver, deliver_packed, packer};
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
    let takers: Vec<&Outlet> =
        outlets.iter().filter(|outlet| outlet.quotes.contains_key(bag.grade)).collect();
    let local = Local::new(&takers);
    let mut outlooks: Vec<Outlook> = takers.iter().map(|outlet| bag.at(outlet, &local, facts)).collect();
    let net = |outlook: &Outlook| outlook.now.as_ref().map_or(Decimal::MIN, |ladder| ladder.net);
    outlooks.sort_by_key(|outlook| std::cmp::Reverse(net(outlook)));
    outlooks
}

/// The yards that take a grade, each as a stop of a run that is made anyway: without its drive.
struct Local {
    yards: Vec<Outlet>,
}

impl Local {
    fn new(takers: &[&Outlet]) -> Self {
        let no_drive = Way::Drive(Drive { distance_km: Decimal::ZERO, minutes: Decimal::ZERO });
        let yards = takers
            .iter()
            .filter(|outlet| matches!(outlet.way, Way::Drive(_)))
            .map(|yard| Outlet { way: no_drive.clone(), ..(*yard).clone() })
            .collect();
        Local { yards }
    }

    fn best(&self, load: &Load, facts: &Facts) -> Option<Decimal> {
        self.yards
            .iter()
            .filter_map(|yard| deliver(yard, std::slice::from_ref(load), facts).ok())
            .map(|l| l.net)
            .max()
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

    fn at(&self, outlet: &Outlet, local: &Local, facts: &Facts) -> Outlook {
        let packer = packer(outlet, facts).ok().flatten();
        let net_of = |mass: Mass| deliver_packed(outlet, &[self.load(mass)], facts, packer.as_ref());
        let now = net_of(self.mass);
        let contents = Contents { mass: self.mass, volume: self.density.volume_of(self.mass) };
        let room = packer.as_ref().filter(|_| now.is_ok()).and_then(|packer| packer.room_left(contents));
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
        let net = |mass: Mass| net_of(mass).ok().map(|ladder| ladder.net);
        let breaks = self.breaks(outlet, packer.as_ref(), up_to);
        if packer.is_some() {
            let local_net = |mass: Mass| local.best(&self.load(mass), facts);
            let mut all = breaks.clone();
            all.extend(local.yards.iter().flat_map(|yard| self.breaks(yard, None, up_to)));
            outlook.break_even = break_even(&net, &local_net, &all, up_to);
        }
        let Some(fill) = self.fill else { return outlook };
        outlook.ship = self.ship(&net, &breaks, up_to, fill.per_day, facts);
        if let Some(ship) = &outlook.ship {
            let yearly = facts.costs.capital_per_year.get() + facts.costs.risk_per_year.get();
            let net_now = outlook.now.as_ref().ok().map(|ladder| ladder.net);
            outlook.keep = cadence::keep_value(self.mass, net_now, ship, fill.per_day, yearly);
        }
        outlook
    }

    fn ship(
        &self,
        net: cadence::NetOf<'_>,
        breaks: &[Mass],
        up_to: Mass,
        per_day: Mass,
        facts: &Facts,
    ) -> Option<ShipWeight> {
        let value_per_gram = net(up_to).map_or(Decimal::ZERO, |net| net / up_to.grams());
        let holding = holding_cost(value_per_gram, &facts.costs);
        ship_weight(net, &Filling { breaks, up_to, per_day, holding })
    }

    /// The weights that are best to go there at if the bag fills as slowly, and as fast, as its interval has it; `None`
    /// each where nothing comes in at that rate, or no weight pays.
    pub fn ship_between(&self, outlet: &Outlet, facts: &Facts) -> [Option<Mass>; 2] {
        let Some(fill) = self.fill else { return [None, None] };
        [fill.low, fill.high].map(|per_day| {
            let bag = Bag { fill: Some(FillRate { per_day, ..fill }), ..self.clone() };
            let packer = packer(outlet, facts).ok()?;
            let net = |mass: Mass| {
                deliver_packed(outlet, &[bag.load(mass)], facts, packer.as_ref())
                    .ok()
                    .map(|ladder| ladder.net)
            };
            let up_to = bag.horizon();
            let breaks = bag.breaks(outlet, packer.as_ref(), up_to);
            bag.ship(&net, &breaks, up_to, per_day, facts).map(|ship| ship.weight)
        })
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

    /// Masses at which the net jumps: tiers, minimums and the ends of freight steps.
    fn breaks(&self, outlet: &Outlet, packer: Option<&Packer>, up_to: Mass) -> Vec<Mass> {
        let mut breaks = vec![outlet.terms.minimum_grade, outlet.terms.minimum_delivery];
        if let Some(quotes) = outlet.quotes.get(self.grade) {
            breaks.extend(quotes.tiers().iter().map(|quote| quote.from));
            breaks.extend(quotes.tiers().iter().filter_map(|quote| pays_out_from(outlet, self.grade, quote)));
        }
        if let Some(packer) = packer {
            breaks.extend(packer.steps(self.density, up_to));
        }
        breaks.retain(|mass| mass.is_positive() && *mass < up_to);
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

/// The mass at which a delivery at this quote reaches the outlet's minimum payout.
fn pays_out_from(outlet: &Outlet, grade: &GradeId, quote: &Quote) -> Option<Mass> {
    let terms = &outlet.terms;
    let gram = quote.price.of(Mass::from_grams(Decimal::ONE), 0).amount;
    let weighed = gram * terms.weight_deduction.rest() * outlet.paid_weight(grade);
    let upheld = Decimal::ONE - outlet.lost_to_downgrades(grade);
    let per_gram = weighed * upheld * terms.percent_fee.rest();
    if terms.minimum_payout.is_zero() || per_gram <= Decimal::ZERO {
        return None;
    }
    // A microgram more, so that the rounding of the division does not leave it a hair below.
    let least = (terms.minimum_payout + terms.flat_fee).checked_div(per_gram)? + dec!(0.000001);
    Some(Mass::from_grams(least))
}
