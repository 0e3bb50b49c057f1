//! What packing and freight cost the search: exact where a delivery is known, a floor where only its size is.
//!
//! `Packer::cost` never falls as mass or volume rises. So a cost that is known for one shipment bounds all larger ones
//! from below and all smaller ones from above, and where the two bounds meet, nothing need be packed anew.

use std::cell::RefCell;
use std::collections::HashMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::model::{Item, float};
use crate::costs::Facts;
use crate::mass::Mass;
use crate::outlet::Post;
use crate::packing::{Contents, Packer, Priced, Unpackable};
use crate::volume::{BulkDensity, Volume};

/// Steps of a floor where the packer cannot name the true ones.
const EVEN_STEPS: u32 = 64;

/// How far above a step's end the next step is looked at, as a share of the whole.
const HAIR: f64 = 1e-9;

/// Room for rounding where sizes are compared as floats.
const SLACK: f64 = 1e-12;

#[derive(Debug)]
pub(super) struct Shipping {
    packer: Packer,
    known: RefCell<Known>,
    /// Least cost by total mass in grams, and by total volume in cubic centimetres.
    pub by_mass: Floor,
    pub by_volume: Floor,
}

/// A lower bound on the cost of everything above a size, ascending in both. What cannot be packed costs infinity.
#[derive(Debug, Default)]
pub(super) struct Floor(pub Vec<FloorStep>);

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
            known: RefCell::default(),
            by_mass: Floor::default(),
            by_volume: Floor::default(),
        })
    }

    /// Why nothing at all can be sent.
    pub fn refusal(&self) -> Option<Unpackable> {
        let least = Contents { mass: Mass::from_grams(Decimal::ONE), volume: Volume::ZERO };
        self.packer.pack(least).err()
    }

    /// Lays the floors for shipments of these lots: any of them has at least the volume of its mass at the densest
    /// lot's density, and at least the mass of its volume at the loosest lot's.
    pub fn with_floors(mut self, lots: &[&Item]) -> Self {
        let masses: Vec<f64> = lots.iter().map(|lot| lot.mass).collect();
        let volumes: Vec<f64> = lots.iter().map(|lot| lot.volume).collect();
        let densities =
            || lots.iter().filter(|lot| lot.mass > 0.0 || lot.volume > 0.0).map(|lot| lot.mass / lot.volume);
        let densest = densities().fold(0.0, f64::max) * (1.0 + SLACK);
        let loosest = densities().fold(f64::INFINITY, f64::min) * (1.0 - SLACK);
        self.by_mass = self.floor(densest, &masses, |mass| (mass, mass / densest));
        let of_volume = |volume: f64| if volume > 0.0 { (volume * loosest, volume) } else { (0.0, 0.0) };
        self.by_volume = self.floor(loosest, &volumes, of_volume);
        self
    }

    /// The floor along one density; `at` gives the mass and the volume of a size.
    /// `sizes` are those of the lots.
    fn floor(&self, density: f64, sizes: &[f64], at: impl Fn(f64) -> (f64, f64)) -> Floor {
        let whole: f64 = sizes.iter().sum();
        let least = sizes.iter().copied().fold(whole, f64::min);
        let cost_at = |size: f64| {
            let (mass, volume) = at(size);
            let contents = Contents { mass: grams(mass), volume: Volume::from_cm3(exact(volume)) };
            self.cost(contents).unwrap_or(f64::INFINITY)
        };
        let (most, _) = at(whole);
        let density = Decimal::from_f64(density).and_then(BulkDensity::new);
        // A step's mass is the most that goes at its cost: anything above it costs at least what the next one does.
        let ends: Vec<f64> = match density {
            Some(density) if most > 0.0 => {
                let ends = self.packer.steps(density, grams(most));
                ends.into_iter()
                    .map(|end| float(end.grams()) / most * whole)
                    .filter(|end| *end < whole)
                    .collect()
            }
            _ => (1..EVEN_STEPS).map(|step| f64::from(step) / f64::from(EVEN_STEPS) * whole).collect(),
        };
        let mut floor = vec![FloorStep { from: 0.0, cost: cost_at(least * (1.0 - SLACK)) }];
        for end in ends {
            // A hair above the step's end: what it costs there holds for all that is larger.
            let from = end + whole * HAIR;
            let cost = cost_at(from);
            if floor.last().is_none_or(|last| last.cost < cost) {
                floor.push(FloorStep { from, cost });
            }
        }
        Floor(floor)
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
                let cost = if least >= most { least } else { self.pack(contents) };
                if least < most {
                    known.points.push(Point { mass, volume, cost });
                }
                known.exact.insert(key, cost);
                cost
            }
        };
        cost.is_finite().then_some(cost)
    }

    fn pack(&self, contents: Contents) -> f64 {
        self.packer.cost(contents).map_or(f64::INFINITY, float)
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

fn grams(grams: f64) -> Mass {
    Mass::from_grams(exact(grams))
}

/// The float as a decimal; nothing where it is not a number.
fn exact(amount: f64) -> Decimal {
    Decimal::from_f64(amount).unwrap_or_default()
}
