//! Joint parcels: bags of several grades that fill for one mail-in buyer, together in one shipment or each by itself.
//!
//! Bags that go together go at the same time, each with what came in since the last one. So a group is one bag of a mix:
//! it fills at the sum of their rates, and its best weight is found as that of any bag ([`ship_weight`]).

use rust_decimal::Decimal;

use crate::cadence::{Filling, Grouping, MOST_BAGS, ShipWeight, best_grouping, holding_cost, ship_weight};
use crate::costs::Facts;
use crate::ids::GradeId;
use crate::mass::Mass;
use crate::net::{FreightSteps, Load, NetByMass, deliver_packed, packer};
use crate::outlet::Outlet;
use crate::outlook::{Bag, horizon};
use crate::packing::Packer;
use crate::volume::BulkDensity;

/// How the bags of a buyer are best shipped in the long run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Joint {
    /// The groups that go together, those of one bag as well, by what they bring.
    pub groups: Vec<Group>,
    /// What all of them bring a day.
    pub per_day: Decimal,
    /// What the bags bring a day if each goes by itself, those that never pay left out.
    pub apart: Decimal,
    /// What they bring a day if all of them always go in one shipment; `None` where no weight of that pays.
    pub together: Option<Decimal>,
    /// Grades that no shipment pays for.
    pub waiting: Vec<GradeId>,
}

/// Bags that go in one shipment, again and again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Each grade with what there is of it in a shipment.
    pub bags: Vec<(GradeId, Mass)>,
    pub ship: ShipWeight,
}

/// Together or apart? `None` where fewer than two of the bags fill and are paid for by mass; more than [`MOST_BAGS`] are
/// not compared, so the caller puts first what matters.
pub fn joint(bags: &[Bag<'_>], outlet: &Outlet, facts: &Facts) -> Option<Joint> {
    let streams: Vec<Stream<'_>> =
        bags.iter().filter_map(|bag| Stream::new(bag, outlet)).take(MOST_BAGS).collect();
    if streams.len() < 2 {
        return None;
    }
    let packer = packer(outlet, facts).ok()?;
    let all: Vec<&Stream<'_>> = streams.iter().collect();
    let mix = Mix { streams: all, outlet, facts, packer: packer.as_ref() };
    let whole = mix.value_per_gram();
    let holding: Vec<Decimal> = streams
        .iter()
        .map(|stream| {
            let alone = Mix { streams: vec![stream], ..mix.clone() }.value_per_gram();
            holding_cost(alone.or(whole).unwrap_or_default(), &facts.costs)
        })
        .collect();
    let of = |group: &[usize]| {
        let mix = Mix { streams: group.iter().map(|&bag| &streams[bag]).collect(), ..mix.clone() };
        let parts: Vec<Decimal> = group.iter().map(|&bag| holding[bag]).collect();
        Some((mix.ship(&parts)?, mix))
    };
    let mut rates = Vec::new();
    let Grouping { groups, per_day } = best_grouping(streams.len(), |group| {
        let rate = of(group).map(|(ship, _)| ship.per_day);
        rates.push((group.to_vec(), rate));
        rate
    });
    let rate_of = |bags: usize| {
        rates.iter().filter(move |(group, _)| group.len() == bags).filter_map(|(_, rate)| *rate)
    };
    let waiting = (0..streams.len()).filter(|bag| !groups.iter().any(|group| group.contains(bag)));
    let waiting = waiting.map(|bag| streams[bag].bag.grade.clone()).collect();
    let mut groups: Vec<Group> = groups
        .iter()
        .filter_map(|group| {
            let (ship, mix) = of(group)?;
            let loads = mix.loads(ship.weight);
            Some(Group { bags: loads.into_iter().map(|load| (load.grade, load.mass)).collect(), ship })
        })
        .collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.ship.per_day));
    Some(Joint { groups, per_day, apart: rate_of(1).sum(), together: rate_of(streams.len()).next(), waiting })
}

/// A bag that fills.
#[derive(Debug, Clone)]
struct Stream<'a> {
    bag: Bag<'a>,
    per_day: Mass,
}

impl<'a> Stream<'a> {
    fn new(bag: &Bag<'a>, outlet: &Outlet) -> Option<Stream<'a>> {
        let per_day = bag.fill?.per_day;
        (per_day.is_positive() && bag.is_by_mass(outlet)).then(|| Stream { bag: bag.clone(), per_day })
    }
}

/// Bags as one bag: what comes in of each in the same days.
#[derive(Debug, Clone)]
struct Mix<'m, 'a> {
    streams: Vec<&'m Stream<'a>>,
    outlet: &'m Outlet,
    facts: &'m Facts,
    packer: Option<&'m Packer>,
}

impl Mix<'_, '_> {
    fn per_day(&self) -> Mass {
        self.streams.iter().map(|stream| stream.per_day).sum()
    }

    fn up_to(&self) -> Mass {
        horizon(self.streams.iter().map(|stream| stream.bag.mass).sum(), self.per_day())
    }

    /// What a shipment of this mass holds: each bag's part, to the microgram, the rest with the last.
    fn loads(&self, mass: Mass) -> Vec<Load> {
        let all = self.per_day().grams();
        let last = self.streams.len() - 1;
        let mut left = mass;
        let mut loads = Vec::with_capacity(self.streams.len());
        for (index, stream) in self.streams.iter().enumerate() {
            let part = (mass.grams() * stream.per_day.grams() / all).round_dp(6);
            let part = if index == last { left } else { Mass::from_grams(part) };
            left = left - part;
            loads.push(stream.bag.load(part));
        }
        loads
    }

    fn net(&self, mass: Mass) -> Option<Decimal> {
        let ladder = deliver_packed(self.outlet, &self.loads(mass), self.facts, self.packer).ok()?;
        Some(ladder.net)
    }

    fn value_per_gram(&self) -> Option<Decimal> {
        let up_to = self.up_to();
        Some(self.net(up_to)? / up_to.grams())
    }

    /// Where the net jumps, freight aside, in masses of the whole mix.
    fn breaks(&self, up_to: Mass) -> Vec<Mass> {
        let terms = &self.outlet.terms;
        let all = self.per_day().grams();
        let mut breaks = vec![terms.minimum_delivery];
        // Parts are rounded, so that a tier may begin some micrograms later than the share says.
        let hair = Mass::from_grams(Decimal::new(i64::try_from(self.streams.len()).unwrap_or(1) + 1, 6));
        for stream in &self.streams {
            let part = stream.per_day.grams();
            let tiers =
                self.outlet.quotes.get(stream.bag.grade).into_iter().flat_map(|quotes| quotes.tiers());
            let froms = tiers.map(|quote| quote.from).chain([terms.minimum_grade]);
            breaks.extend(froms.filter(|from| from.is_positive()).map(|from| {
                let whole = ((from + hair).grams() * all / part).round_dp(6);
                Mass::from_grams(whole)
            }));
        }
        breaks.extend(self.pays_out_from(up_to));
        breaks
    }

    /// The mass from which a minimum payout is reached, between whose tiers the payout rises steadily: halved down to.
    fn pays_out_from(&self, up_to: Mass) -> Option<Mass> {
        let least = self.outlet.terms.minimum_payout;
        if least.is_zero() {
            return None;
        }
        let (mut below, mut above) = (Mass::ZERO, up_to);
        self.net(above)?;
        while above - below > Mass::from_grams(Decimal::new(1, 6)) {
            let middle = below + (above - below).times(Decimal::new(5, 1));
            let middle = Mass::from_grams(middle.grams().round_dp(6));
            if middle <= below || middle >= above {
                break;
            }
            match self.net(middle) {
                Some(_) => above = middle,
                None => below = middle,
            }
        }
        Some(above)
    }

    /// Of the mix as it lies in a box.
    fn density(&self) -> Option<BulkDensity> {
        let volume: Decimal =
            self.streams.iter().map(|stream| stream.bag.density.volume_of(stream.per_day).cm3()).sum();
        BulkDensity::new(self.per_day().grams().checked_div(volume)?)
    }

    fn ship(&self, holding: &[Decimal]) -> Option<ShipWeight> {
        let up_to = self.up_to();
        let per_day = self.per_day();
        let kept: Decimal = self
            .streams
            .iter()
            .zip(holding)
            .map(|(stream, holding)| stream.per_day.grams() * holding)
            .sum::<Decimal>()
            / per_day.grams();
        let steps = self
            .packer
            .zip(self.density())
            .map(|(packer, density)| FreightSteps::from(packer.priced_steps(Some(density), up_to)));
        let mix = Box::new(|mass: Mass| self.loads(mass));
        let there = (self.outlet, self.packer);
        let net =
            NetByMass::new(there, self.facts, mix, (&self.breaks(up_to), up_to), steps.unwrap_or_default());
        ship_weight(&net, &Filling { breaks: &net.breaks(), up_to, per_day, holding: kept })
    }
}
