//! What packing and freight cost the search: exact where a delivery is known, a floor where only its size is.
//!
//! `Packer::cost` never falls as mass or volume rises. So a cost that is known for one shipment bounds all larger ones
//! from below and all smaller ones from above, and where the two bounds meet, nothing need be packed anew.
//!
//! At one density the packer names every step of the cost. A shipment of densities up to some `d` has at least the
//! volume that its mass has at `d`, so the steps at `d` are a floor by mass; likewise those at its lowest density are
//! a floor by volume. The narrower the band of densities, the nearer both are to the true cost.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use rust_decimal::prelude::FromPrimitive;
use rust_decimal::{Decimal, dec};

use super::model::{Item, float};
use crate::costs::Facts;
use crate::freight::UNSEEN;
use crate::mass::Mass;
use crate::outlet::Post;
use crate::packing::{Contents, Packer, Priced, Unpackable};
use crate::volume::{BulkDensity, Volume};

/// The ratio of one density class to the one below.
const CLASS_RATIO: f64 = 1.01;

/// Classes below and above these are beyond all that is packed, and stand for any density down and up to nothing.
const LOOSEST: i32 = -690;
const DENSEST: i32 = 320;

/// How far above a step's end the next step begins, as a share of the whole.
const HAIR: f64 = 1e-9;

/// Room for rounding where sizes are compared as floats.
const SLACK: f64 = 1e-12;

/// So many grams before the end of a step neither rounding nor what no scale shows puts a mass on the next one.
const SURELY: f64 = 2e-3;

/// A share of one, less room for rounding.
const LESS: Decimal = dec!(0.999_999_999_999);

#[derive(Debug)]
pub(super) struct Shipping {
    packer: Packer,
    /// Of all lots that could go: how far floors must reach.
    mass: f64,
    volume: f64,
    /// Grams of a lot of middling size.
    pub typical: f64,
    known: RefCell<Known>,
    by_mass: RefCell<HashMap<i32, Rc<Floor>>>,
    by_volume: RefCell<HashMap<i32, Rc<Floor>>>,
}

/// The densities that a shipment may have, as classes: from `loosest` up to `densest`, whose densities are grams per
/// cubic centimetre in powers of [`CLASS_RATIO`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Band {
    pub loosest: i32,
    pub densest: i32,
}

/// A size: so much per gram of mass and per cubic centimetre of volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measure {
    pub mass: f64,
    pub volume: f64,
}

/// A lower bound on the cost of everything above a size, ascending in both.
#[derive(Debug, Clone)]
pub(super) struct Floor {
    pub measure: Measure,
    pub steps: Vec<FloorStep>,
    /// So far above a step's end the next one begins, in size.
    pub hair: f64,
    /// Nothing above this size can be packed at all; infinite where that is not known.
    pub most: f64,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct FloorStep {
    pub from: f64,
    pub cost: f64,
}

#[derive(Debug, Default)]
struct Known {
    exact: HashMap<(Decimal, Decimal), f64>,
    points: Vec<Point>,
}

#[derive(Debug, Clone, Copy)]
struct Point {
    mass: f64,
    volume: f64,
    cost: f64,
}

impl Shipping {
    /// `None` where a service's currency has no exchange rate: then nothing goes there.
    pub fn new(post: &Post, facts: &Facts) -> Option<Self> {
        let costs = &facts.costs;
        let priced = post.services.iter().map(|service| {
            let mid = facts.rates.mid(service.currency, costs.home, facts.today)?;
            Some(Priced { service, to_home: mid.rate })
        });
        let services: Vec<Priced<'_>> = priced.collect::<Option<_>>()?;
        Some(Shipping {
            packer: Packer::new(&facts.cartons, &services, costs.labour(post.packing_minutes)),
            mass: 0.0,
            volume: 0.0,
            typical: 1.0,
            known: RefCell::default(),
            by_mass: RefCell::default(),
            by_volume: RefCell::default(),
        })
    }

    /// Why nothing at all can be sent.
    pub fn refusal(&self) -> Option<Unpackable> {
        let least = Contents { mass: Mass::from_grams(Decimal::ONE), volume: Volume::ZERO };
        self.packer.pack(least).err()
    }

    pub fn reaching(self, lots: &[&Item]) -> Self {
        let mass: f64 = lots.iter().map(|lot| lot.mass).sum();
        let volume = lots.iter().map(|lot| lot.volume).sum();
        let typical = if mass > 0.0 { mass / lots.len() as f64 } else { 1.0 };
        Shipping { mass, volume, typical, ..self }
    }

    /// Whether anything that could go takes up room.
    pub fn has_volume(&self) -> bool {
        self.volume > 0.0
    }

    /// Floors under every shipment whose density is in the band.
    pub fn floors(&self, band: Band) -> Vec<Rc<Floor>> {
        let dense = self
            .by_mass
            .borrow_mut()
            .entry(band.densest.min(DENSEST + 1))
            .or_insert_with_key(|class| {
                let bulk = (*class <= DENSEST).then(|| bulk(*class)).flatten();
                let steps = self.packer.priced_steps(bulk, grams(self.mass));
                let too_much = self.too_much(&steps, bulk);
                let steps = steps.into_iter().map(|(end, cost)| (float((end + UNSEEN).grams()), float(cost)));
                Rc::new(Floor::new(Measure::MASS, self.mass, steps, too_much))
            })
            .clone();
        let mut floors = vec![dense];
        if band.loosest >= LOOSEST && self.volume > 0.0 {
            let loose = self
                .by_volume
                .borrow_mut()
                .entry(band.loosest)
                .or_insert_with_key(|class| {
                    let density = density(*class);
                    let bulk = bulk(*class);
                    let steps = self.packer.priced_steps(bulk, grams(self.volume * density));
                    let too_much = self.too_much(&steps, bulk) / density;
                    let steps = steps
                        .into_iter()
                        .map(|(end, cost)| (float((end + UNSEEN).grams()) / density, float(cost)));
                    Rc::new(Floor::new(Measure::VOLUME, self.volume, steps, too_much))
                })
                .clone();
            floors.push(loose);
        }
        floors
    }

    /// A mass just above the last step's end, in grams, if nothing so heavy can be packed at this density; infinite where the
    /// steps end for another reason.
    fn too_much(&self, steps: &[(Mass, Decimal)], density: Option<BulkDensity>) -> f64 {
        let Some((end, _)) = steps.last() else { return f64::INFINITY };
        let mass = *end + UNSEEN + UNSEEN;
        // Rounded, it takes up no more room than it does.
        let volume = density.and_then(|density| Some(mass.grams().checked_div(density.get())? * LESS));
        let contents = Contents { mass, volume: Volume::from_cm3(volume.unwrap_or_default()) };
        if self.packer.cost(contents).is_none() { float(mass.grams()) } else { f64::INFINITY }
    }

    /// What this mass costs, where nothing takes up room; `None` where that is not so or floats cannot tell.
    pub fn cost_by_mass(&self, mass: f64) -> Option<f64> {
        if self.has_volume() {
            return None;
        }
        let floors = self.floors(Band::ANY);
        let steps = &floors.first()?.steps;
        let above = steps.partition_point(|step| step.from <= mass);
        let near = |step: Option<&FloorStep>| {
            step.is_some_and(|step| step.from > 0.0 && (step.from - mass).abs() <= 4.0 * HAIR * self.mass)
        };
        // Above the last step it may be that nothing goes at all.
        let last = above == steps.len();
        let step = above.checked_sub(1).map(|at| &steps[at]);
        if last || near(step) || near(steps.get(above)) || step.is_none_or(|step| step.from <= 0.0) {
            return None;
        }
        step.map(|step| step.cost)
    }

    /// By rising cost, where nothing takes up room: the grams that surely go at it.
    pub fn ends(&self) -> Vec<f64> {
        let floors = self.floors(Band::ANY);
        let Some(floor) = floors.first() else { return Vec::new() };
        let next = floor.steps.iter().skip(1).map(|step| step.from).chain([floor.most]);
        next.skip(1).filter(|next| next.is_finite()).map(|next| next - 8.0 * floor.hair - SURELY).collect()
    }

    /// About what this mass costs, where nothing takes up room; `None` where it is too much.
    pub fn about(&self, mass: f64) -> Option<f64> {
        let floors = self.floors(Band::ANY);
        let floor = floors.first()?;
        (mass < floor.most).then(|| floor.at(mass, 0.0))
    }

    /// [`Shipping::cost`] of lots of this mass; what they are exactly is asked only where it matters.
    pub fn cost_of_lots(&self, mass: f64, contents: impl FnOnce() -> Contents) -> Option<f64> {
        self.cost_by_mass(mass).or_else(|| self.cost(contents()))
    }

    /// Boxes, freight and packing time in home currency; `None` where it cannot be packed.
    pub fn cost(&self, contents: Contents) -> Option<f64> {
        let key = (contents.mass.grams(), contents.volume.cm3());
        let (mass, volume) = (float(key.0), float(key.1));
        let mut known = self.known.borrow_mut();
        let cost = match known.exact.get(&key) {
            Some(&cost) => cost,
            None => {
                let (least, most) = known.bounds(mass, volume);
                let cost = if least >= most {
                    least
                } else {
                    self.packer.cost(contents).map_or(f64::INFINITY, float)
                };
                if least < most {
                    known.points.push(Point { mass, volume, cost });
                }
                known.exact.insert(key, cost);
                cost
            }
        };
        cost.is_finite().then_some(cost)
    }
}

impl Shipping {
    /// [`Shipping::cost`] of a size that need not be that of any lots.
    pub fn cost_of(&self, mass: f64, volume: f64) -> Option<f64> {
        let volume = Volume::from_cm3(Decimal::from_f64(volume).unwrap_or_default());
        self.cost(Contents { mass: grams(mass), volume })
    }
}

impl Band {
    pub const ANY: Band = Band { loosest: LOOSEST - 1, densest: DENSEST + 1 };

    /// The classes around the densities from `loosest` to `densest`.
    pub fn around(loosest: f64, densest: f64) -> Band {
        let (below, above) = (class(loosest * (1.0 - SLACK)).floor(), class(densest * (1.0 + SLACK)).ceil());
        Band {
            loosest: (below.max(f64::from(LOOSEST - 1)) as i32).min(DENSEST + 1),
            densest: (above.min(f64::from(DENSEST + 1)) as i32).max(LOOSEST - 1),
        }
    }

    /// The densities that shipments of what must go and some of what may go can have.
    pub fn reachable(must: &[&Item], mut may: Vec<&Item>) -> Band {
        may.retain(|item| item.mass > 0.0);
        may.sort_by(|a, b| (a.mass / a.volume).total_cmp(&(b.mass / b.volume)));
        // The extreme is reached by taking the loosest, or the densest, as long as each moves the whole further.
        let extreme = |order: &mut dyn Iterator<Item = &&Item>, further: fn(f64, f64) -> bool| {
            let mut mass: f64 = must.iter().map(|item| item.mass).sum();
            let mut volume: f64 = must.iter().map(|item| item.volume).sum();
            for item in order {
                if mass > 0.0 && !further(item.mass * volume, mass * item.volume) {
                    break;
                }
                (mass, volume) = (mass + item.mass, volume + item.volume);
            }
            if mass > 0.0 { Some(mass / volume) } else { None }
        };
        let loosest = extreme(&mut may.iter(), |item, whole| item < whole);
        let densest = extreme(&mut may.iter().rev(), |item, whole| item > whole);
        match (loosest, densest) {
            (Some(loosest), Some(densest)) => Band::around(loosest, densest),
            _ => Band::ANY,
        }
    }

    /// Whether something of this mass and volume is in the band, give or take rounding.
    pub fn holds(self, mass: f64, volume: f64) -> bool {
        let (loosest, densest) = self.densities();
        mass >= loosest * volume * (1.0 - SLACK)
            && (densest.is_infinite() || mass <= densest * volume * (1.0 + SLACK))
    }

    pub fn within(self, other: Band) -> Band {
        Band { loosest: self.loosest.max(other.loosest), densest: self.densest.min(other.densest) }
    }

    /// The lowest and the highest density.
    pub fn densities(self) -> (f64, f64) {
        let loosest = if self.loosest < LOOSEST { 0.0 } else { density(self.loosest) };
        let densest = if self.densest > DENSEST { f64::INFINITY } else { density(self.densest) };
        (loosest, densest)
    }

    /// The two parts below and above a density, or the middle where that is near an end; `None` where the band is one
    /// class.
    pub fn split(self, at: f64) -> Option<[Band; 2]> {
        if self.densest - self.loosest < 2 {
            return None;
        }
        let at = class(at).round().clamp(-1e4, 1e4) as i32;
        let margin = ((self.densest - self.loosest) / 5).max(1);
        let near = at < self.loosest + margin || at > self.densest - margin;
        let middle = if near { i32::midpoint(self.loosest, self.densest) } else { at };
        Some([Band { densest: middle, ..self }, Band { loosest: middle, ..self }])
    }
}

impl Measure {
    pub const MASS: Measure = Measure { mass: 1.0, volume: 0.0 };
    pub const NOTHING: Measure = Measure { mass: 0.0, volume: 0.0 };
    const VOLUME: Measure = Measure { mass: 0.0, volume: 1.0 };

    pub fn of(self, mass: f64, volume: f64) -> f64 {
        self.mass * mass + self.volume * volume
    }
}

impl Floor {
    /// From steps as (the most that goes at a cost, that cost), and a size that cannot be packed.
    fn new(measure: Measure, whole: f64, ends: impl Iterator<Item = (f64, f64)>, too_much: f64) -> Self {
        // What has no size at all goes free; anything else pays the first step. Then each step begins a hair above the
        // end of the one before, so that rounding puts nothing on a step too high.
        let mut steps = vec![FloorStep { from: 0.0, cost: 0.0 }];
        let hair = HAIR * whole;
        let mut from = hair;
        for (end, cost) in ends {
            steps.push(FloorStep { from, cost });
            from = end + hair;
        }
        Floor { measure, steps, hair, most: too_much + hair }
    }

    pub fn at(&self, mass: f64, volume: f64) -> f64 {
        let size = self.measure.of(mass, volume);
        let above = self.steps.partition_point(|step| step.from <= size);
        above.checked_sub(1).map_or(0.0, |last| self.steps[last].cost)
    }
}

impl Known {
    /// The least and the most that a shipment of this size can cost, by what is known of others.
    fn bounds(&self, mass: f64, volume: f64) -> (f64, f64) {
        let (mut least, mut most) = (0.0, f64::INFINITY);
        for point in &self.points {
            if point.mass <= mass * (1.0 - SLACK) && point.volume <= volume * (1.0 - SLACK) {
                least = f64::max(least, point.cost);
            } else if point.mass >= mass * (1.0 + SLACK) && point.volume >= volume * (1.0 + SLACK) {
                most = f64::min(most, point.cost);
            }
        }
        (least, most)
    }
}

/// The density class that a density is in.
pub(super) fn class_of(density: f64) -> i32 {
    class(density).round().clamp(f64::from(LOOSEST), f64::from(DENSEST)) as i32
}

fn class(density: f64) -> f64 {
    density.ln() / CLASS_RATIO.ln()
}

fn density(class: i32) -> f64 {
    CLASS_RATIO.powi(class)
}

fn bulk(class: i32) -> Option<BulkDensity> {
    Decimal::from_f64(density(class)).and_then(BulkDensity::new)
}

/// The float as an exact mass; nothing where it is not a number.
fn grams(grams: f64) -> Mass {
    Mass::from_grams(Decimal::from_f64(grams).unwrap_or_default())
}
