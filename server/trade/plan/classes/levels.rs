//! What a delivery's packing and freight cost at the least: levels of cost, each with the mass and the volume up to which
//! it can be enough.

use crate::plan::shipping::{Band, Floor, Shipping};

#[derive(Debug, Clone, Copy)]
pub(super) struct Level {
    pub cost: f64,
    /// No delivery that costs so much is heavier, in grams, or takes up more room, in cubic centimetres.
    pub mass: f64,
    pub volume: f64,
}

#[derive(Debug)]
pub(super) struct Levels {
    /// By rising cost.
    pub list: Vec<Level>,
    /// Grams: what is lighter costs less than it may.
    pub least: f64,
    /// Whether volumes count; else the levels are the true cost.
    pub roomy: bool,
}

impl Levels {
    pub fn free() -> Self {
        let level = Level { cost: 0.0, mass: f64::INFINITY, volume: f64::INFINITY };
        Levels { list: vec![level], least: 0.0, roomy: false }
    }

    /// For shipments whose densities are in the band and whose cost is from `least` to `most`.
    pub fn new(shipping: &Shipping, band: Band, least: f64, most: f64) -> Self {
        let floors = shipping.floors(band);
        let roomy = shipping.has_volume();
        let mut costs: Vec<f64> = floors
            .iter()
            .flat_map(|floor| &floor.steps)
            .map(|step| step.cost)
            .filter(|cost| *cost <= most)
            .collect();
        costs.sort_by(f64::total_cmp);
        costs.dedup();
        let mut levels = Levels { list: Vec::new(), least: 0.0, roomy };
        for cost in costs {
            let by_mass = floors.first().map_or(f64::INFINITY, |floor| cap(floor, cost));
            let by_volume = floors.get(1).map_or(f64::INFINITY, |floor| cap(floor, cost));
            if cost < least && !roomy {
                // From where the step truly ends: what is just above that costs more already.
                levels.least = by_mass - 2.0 * floors.first().map_or(0.0, |floor| floor.hair);
                continue;
            }
            // What the floors have for less may truly cost that much.
            let cost = cost.max(least);
            if levels.list.last().is_some_and(|last| last.cost >= cost) {
                levels.list.pop();
            }
            levels.list.push(Level { cost, mass: by_mass, volume: by_volume });
        }
        levels
    }
}

/// The largest size that the floor has at this cost.
fn cap(floor: &Floor, cost: f64) -> f64 {
    let affordable = floor.steps.partition_point(|step| step.cost <= cost);
    floor.steps.get(affordable).map_or(floor.most, |next| next.from)
}
