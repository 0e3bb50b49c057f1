//! What a little more of each grade brings today: net, after everything, by where the sell plan sends it.
//!
//! Not the price of a list. A grade that the plan sends to a yard brings there what it adds to that delivery, since the
//! drive is made anyway; one that it mails brings its part of the parcel's net, freight and boxes paid; one that it keeps
//! brings what it will bring when its bag is heavy enough. For a grade that is not on the shelf a bag of it is thought of.

use std::collections::BTreeMap;

use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::PriceUnit;
use trade::net::{Load, deliver, deliver_packed, packer};
use trade::outlet::{Drive, Outlet, Way};
use trade::plan::Delivery;
use trade::teardown::{Net, Nets};

use super::{Answer, Shelf};

/// Bags that are thought of, the first that an outlet takes.
const THOUGHT_OF: [Mass; 3] =
    [Mass::from_grams(dec!(10_000)), Mass::from_grams(dec!(25_000)), Mass::from_grams(dec!(50_000))];
/// A piece of what is sold by the piece, in such a bag.
const PIECES: u32 = 10;
/// A little more.
const MORE: Mass = Mass::from_grams(dec!(1000));

/// Where a grade's net comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NetSource {
    /// The sell plan sends it there.
    Plan(OutletId),
    /// The sell plan keeps it, to go there when its bag is heavy enough.
    Keep(OutletId),
    /// None of it is on the shelf, or what is there cannot go yet: a bag of so much on its own, there.
    Bag(OutletId, Mass),
}

impl NetSource {
    pub fn outlet(&self) -> &OutletId {
        match self {
            NetSource::Plan(outlet) | NetSource::Keep(outlet) | NetSource::Bag(outlet, _) => outlet,
        }
    }
}

/// What a grade brings, and where that comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GradeNet {
    pub net: Net,
    pub source: NetSource,
}

/// Every grade that somebody prices.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GradeNets(BTreeMap<GradeId, GradeNet>);

impl GradeNets {
    pub fn get(&self, grade: &GradeId) -> Option<&GradeNet> {
        self.0.get(grade)
    }

    /// The amounts alone.
    pub fn nets(&self) -> Nets {
        self.0.iter().map(|(grade, found)| (grade.clone(), found.net)).collect()
    }
}

impl Shelf {
    /// What a little more of each grade brings today. Worked out once for each answer.
    pub fn nets<'a>(&self, answer: &'a Answer) -> &'a GradeNets {
        answer.nets.get_or_init(|| {
            let bags = self.nets_of_bags();
            let net = |grade: &GradeId| {
                self.planned_net(grade, answer)
                    .or_else(|| self.kept_net(grade, answer))
                    .or_else(|| bags.get(grade).cloned())
            };
            let quoted = self.outlets.iter().flat_map(|outlet| outlet.quotes.keys());
            let all = quoted.filter_map(|grade| Some((grade.clone(), net(grade)?)));
            GradeNets(all.collect())
        })
    }

    /// Where the plan sends most of the grade.
    fn planned_net(&self, grade: &GradeId, answer: &Answer) -> Option<GradeNet> {
        let mass_in = |delivery: &Delivery| -> Mass {
            delivery
                .lots
                .iter()
                .filter_map(|lot| self.lot(lot))
                .filter(|lot| lot.grade_id == *grade)
                .map(|lot| lot.net)
                .sum()
        };
        let delivery =
            answer.plan.deliveries.iter().filter(|d| mass_in(d).is_positive()).max_by_key(|d| mass_in(d))?;
        let outlet = self.outlet(&delivery.outlet)?;
        let line = delivery.ladder.lines.iter().find(|line| line.grade == *grade)?;
        let lots =
            || delivery.lots.iter().filter_map(|lot| self.lot(lot)).filter(|lot| lot.grade_id == *grade);
        let worth: Decimal = lots().filter_map(|lot| answer.worth.get(&lot.id)).sum();
        let net = if line.quote.price.per == PriceUnit::Each {
            let pieces = lots().fold(0, |sum: u32, lot| sum.saturating_add(lot.pieces));
            Net::PerPiece(worth.checked_div(pieces.into())?)
        } else {
            let at_yard =
                matches!(outlet.way, Way::Drive(_)).then(|| self.more(outlet, delivery, grade)).flatten();
            Net::PerGram(at_yard.or_else(|| worth.checked_div(mass_in(delivery).grams()))?)
        };
        Some(GradeNet { net, source: NetSource::Plan(outlet.id.clone()) })
    }

    /// What a gram more of the grade adds to a delivery.
    fn more(&self, outlet: &Outlet, delivery: &Delivery, grade: &GradeId) -> Option<Decimal> {
        let mut loads: Vec<Load> = delivery.lots.iter().filter_map(|lot| self.load_of(lot)).collect();
        loads.push(self.bag_of(grade, MORE, 0));
        let with_more = deliver(outlet, &loads, &self.facts).ok()?;
        (with_more.net - delivery.ladder.net).checked_div(MORE.grams())
    }

    /// What a bag that is kept will bring, where that is most.
    fn kept_net(&self, grade: &GradeId, answer: &Answer) -> Option<GradeNet> {
        let way = answer.outlooks.get(grade)?.iter().max_by_key(|way| way.keep)?;
        let mass: Mass = self.lots.iter().filter(|lot| lot.grade_id == *grade).map(|lot| lot.net).sum();
        let per_gram = way.keep.checked_div(mass.grams()).filter(|net| *net > Decimal::ZERO)?;
        Some(GradeNet { net: Net::PerGram(per_gram), source: NetSource::Keep(way.outlet.clone()) })
    }

    /// By grade the outlet at which a bag of it on its own brings most: at a yard as a stop of a run that is made anyway.
    pub fn nets_of_bags(&self) -> GradeNets {
        let mut best: BTreeMap<GradeId, (Decimal, GradeNet)> = BTreeMap::new();
        for outlet in self.outlets.iter().filter(|outlet| !self.choices.closed.contains(&outlet.id)) {
            let Ok(packer) = packer(outlet, &self.facts) else { continue };
            let mut there = outlet.clone();
            if let Way::Drive(drive) = &mut there.way {
                *drive = Drive { distance_km: Decimal::ZERO, minutes: Decimal::ZERO };
            }
            for (grade, quotes) in &outlet.quotes {
                let each = quotes.tiers().iter().any(|quote| quote.price.per == PriceUnit::Each);
                let net_of = |mass: &Mass| {
                    let load = self.bag_of(grade, *mass, PIECES);
                    let ladder = deliver_packed(&there, &[load], &self.facts, packer.as_ref()).ok()?;
                    Some((*mass, ladder.net))
                };
                let Some((mass, net)) = THOUGHT_OF.iter().find_map(net_of) else { continue };
                let per_gram = net / mass.grams();
                if best.get(grade).is_some_and(|(known, _)| *known >= per_gram) {
                    continue;
                }
                let net =
                    if each { Net::PerPiece(net / Decimal::from(PIECES)) } else { Net::PerGram(per_gram) };
                let source = NetSource::Bag(outlet.id.clone(), mass);
                best.insert(grade.clone(), (per_gram, GradeNet { net, source }));
            }
        }
        GradeNets(best.into_iter().map(|(grade, (_, found))| (grade, found)).collect())
    }

    fn bag_of(&self, grade: &GradeId, mass: Mass, pieces: u32) -> Load {
        let volume = self.density(grade).volume_of(mass);
        Load { lot: LotId::new("more"), grade: grade.clone(), mass, pieces, volume }
    }

    /// Where a net comes from, in words that complete "net at".
    pub fn net_in_words(&self, source: &NetSource) -> String {
        let name = self.outlet_name(source.outlet());
        match source {
            NetSource::Plan(_) => format!("{name}, where the sell plan sends it"),
            NetSource::Keep(_) => format!("{name}, when its bag is heavy enough"),
            NetSource::Bag(_, mass) => {
                format!("{name}, as a bag of {} on its own", self.facts.style.show(*mass))
            }
        }
    }
}
