//! Which parcels a shipment goes in: the choice of boxes and freight that costs least, exactly.
//!
//! The contents are loose and can be divided anywhere, so a packing is a choice of boxes and, for each, of the freight
//! step it is filled up to. A box then holds `min(limit, step − tare, inner volume × density)`, and the boxes together
//! have to hold the mass: a covering knapsack in one dimension, which [`crate::cover`] solves.
//!
//! Exact means: on a grid of a millionth of a microgram and of a millionth of a millionth of the currency unit. The
//! mass a volume holds is rounded up to that grid, so that three boxes of a third each hold the whole.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

use crate::cover::{self, Choice, Group, Uncovered};
use crate::freight::{FlatBox, Service, UNSEEN};
use crate::mass::{HEAVIEST_GRAMS, Mass};
use crate::money::LARGEST_AMOUNT;
use crate::volume::{BulkDensity, Size, Volume};

/// A box, bag or crate that the shop keeps to ship in. Its cost is in home currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carton {
    pub name: String,
    pub inner: Size,
    pub outer: Size,
    pub tare: Mass,
    /// The most it may hold, by what its walls bear.
    pub limit: Mass,
    pub cost: Decimal,
    /// How many are at hand; `None` where there are always enough.
    pub at_hand: Option<u32>,
}

/// What has to be packed. The pieces are loose and mixed, so every parcel holds mass and volume in the same ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Contents {
    pub mass: Mass,
    pub volume: Volume,
}

/// Parcels of one kind in a packing. Amounts are in home currency and for all `count` of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcels {
    pub count: u32,
    pub box_name: String,
    /// Contents of each.
    pub contents: Mass,
    /// Actual weight of each, box and contents.
    pub gross: Mass,
    /// What the carrier bills each as; `None` for a flat-rate box.
    pub billable: Option<Mass>,
    pub freight: Decimal,
    pub boxes: Decimal,
    pub labour: Decimal,
}

/// The cheapest parcels that hold the contents. Amounts are in home currency.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Packing {
    pub service: String,
    pub parcels: Vec<Parcels>,
    pub freight: Decimal,
    pub boxes: Decimal,
    pub labour: Decimal,
    /// Whether it is known that no packing costs less. False only where a freight table of a very strange make brought
    /// the search to its limit.
    pub proved: bool,
}

impl Packing {
    pub fn cost(&self) -> Decimal {
        self.freight + self.boxes + self.labour
    }

    pub fn count(&self) -> u32 {
        self.parcels.iter().map(|p| p.count).sum()
    }
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unpackable {
    #[error("no carrier's service is set up")]
    NoService,
    #[error("no box is set up that the service takes")]
    NoBox,
    #[error("the boxes at hand do not hold it all")]
    NotEnoughBoxes,
    #[error("it would take more than {} parcels", cover::MOST_TAKEN)]
    TooManyParcels,
}

/// A service together with what one unit of its currency is worth at home.
#[derive(Debug, Clone, Copy)]
pub struct Priced<'a> {
    pub service: &'a Service,
    pub to_home: Decimal,
}

/// The cheapest packing over all services: boxes + freight + `labour_per_parcel`, exactly.
///
/// To pack many contents with the same boxes and services, make a [`Packer`] once.
pub fn pack(
    contents: Contents,
    cartons: &[Carton],
    services: &[Priced<'_>],
    labour_per_parcel: Decimal,
) -> Result<Packing, Unpackable> {
    Packer::new(cartons, services, labour_per_parcel).pack(contents)
}

/// Boxes and services made ready to pack many contents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packer {
    offers: Vec<Offer>,
    labour: Decimal,
}

impl Packer {
    /// Services with [problems](Service::problems) and boxes with [problems](Carton::problems) are left out: the forms
    /// refuse them, and nothing is shipped by a table that cannot be right.
    pub fn new(cartons: &[Carton], services: &[Priced<'_>], labour_per_parcel: Decimal) -> Packer {
        let labour = to_grid_amount(labour_per_parcel.clamp(Decimal::ZERO, LARGEST_AMOUNT));
        let rates = DUST..=LARGEST_AMOUNT;
        let usable = services.iter().filter(|priced| rates.contains(&priced.to_home));
        let usable = usable.filter(|priced| priced.service.problems().is_empty());
        let cartons: Vec<&Carton> = cartons.iter().filter(|carton| carton.problems().is_empty()).collect();
        let offers = usable.map(|priced| Offer::new(*priced, &cartons, labour)).collect();
        Packer { offers, labour }
    }

    /// The cheapest packing; of services that cost the same the first is used.
    ///
    /// Contents without mass need no parcel and cost nothing. Without volume, only mass limits what a box holds.
    pub fn pack(&self, contents: Contents) -> Result<Packing, Unpackable> {
        let (offer, cover) = self.cheapest(contents)?;
        let mix = Mix::of(contents);
        let mut picked: Vec<(&BoxKind, &FreightStep, u32, Mass)> = Vec::new();
        for pick in &cover.picks {
            let kind = &offer.kinds[pick.group];
            let step = &kind.steps[pick.choice];
            picked.push((kind, step, pick.count, from_grid_mass(step.choice.mass.min(kind.room(mix)))));
        }
        // Full boxes first. What is left goes in the smallest, or there would be one box too many.
        picked.sort_by_key(|(.., holds)| std::cmp::Reverse(*holds));
        let mut left = contents.mass;
        let mut parcels: Vec<Parcels> = Vec::new();
        let last = picked.len().saturating_sub(1);
        for (index, (kind, step, count, holds)) in picked.into_iter().enumerate() {
            let full = (0..count).take_while(|&before| holds.times((before + 1).into()) <= left).count();
            let mut full = u32::try_from(full).unwrap_or(count);
            // The hair rides in the last box.
            if index == last && full == count && holds.times(full.into()) < left {
                full -= 1;
            }
            if full > 0 {
                left = left - holds.times(full.into());
                parcels.push(offer.parcels(kind, step, full, holds, self.labour));
            }
            if full < count && left.is_positive() {
                parcels.push(offer.parcels(kind, step, 1, left, self.labour));
                left = Mass::ZERO;
            }
        }
        Ok(Packing {
            service: offer.service.name.clone(),
            freight: parcels.iter().map(|p| p.freight).sum(),
            boxes: parcels.iter().map(|p| p.boxes).sum(),
            labour: parcels.iter().map(|p| p.labour).sum(),
            parcels,
            proved: cover.proved,
        })
    }

    /// What [`Packer::pack`] would cost, without the list of parcels; `None` where it cannot be packed.
    ///
    /// Never falls as mass or volume rises.
    pub fn cost(&self, contents: Contents) -> Option<Decimal> {
        self.cheapest(contents).ok().map(|(_, cover)| from_grid(cover.cost))
    }

    /// What this mass costs to ship at the least, whatever its volume. `None` where it cannot be packed at any volume.
    pub fn cost_at_least(&self, mass: Mass) -> Option<Decimal> {
        self.cost(Contents { mass, volume: Volume::ZERO })
    }

    /// The masses at which the cost of shipping this one stuff steps up, ascending: each is the most that goes at its
    /// cost. Ends with the first that is not below `up_to`, or earlier where nothing heavier can be packed.
    pub fn steps(&self, density: BulkDensity, up_to: Mass) -> Vec<Mass> {
        let mix = Mix { mass: density.get(), volume: Decimal::ONE };
        self.staircase(Some(mix), up_to).into_iter().map(|(mass, _)| mass).collect()
    }

    /// How much more of the same mix goes at the same cost; `None` where there is no mass or it cannot be packed.
    pub fn room_left(&self, contents: Contents) -> Option<Mass> {
        let (end, _) = *self.staircase(Mix::of(contents), contents.mass).last()?;
        (end >= contents.mass).then(|| end - contents.mass)
    }

    fn cheapest(&self, contents: Contents) -> Result<(&Offer, cover::Cover), Unpackable> {
        if self.offers.is_empty() {
            return Err(Unpackable::NoService);
        }
        if self.offers.iter().all(|offer| offer.kinds.is_empty()) {
            return Err(Unpackable::NoBox);
        }
        if contents.mass.grams() > HEAVIEST_GRAMS {
            return Err(Unpackable::TooManyParcels);
        }
        // A hair that no scale shows starts no freight step and no box.
        let demand = if contents.mass > UNSEEN { contents.mass - UNSEEN } else { contents.mass };
        let demand = to_grid(demand.grams(), RoundingStrategy::ToPositiveInfinity);
        let mix = Mix::of(contents);
        let mut best: Result<(&Offer, cover::Cover), Unpackable> = Err(Unpackable::NotEnoughBoxes);
        for offer in &self.offers {
            match (cover::cheapest(demand, &offer.groups(mix)), &best) {
                (Ok(next), Ok((_, cover))) if next.cost >= cover.cost => {}
                (Ok(next), _) => best = Ok((offer, next)),
                (Err(Uncovered::TooMany), Err(_)) => best = Err(Unpackable::TooManyParcels),
                (Err(_), _) => {}
            }
        }
        best
    }

    /// [`Packer::steps`] with what each costs; without a density, of what takes up no room.
    pub fn priced_steps(&self, density: Option<BulkDensity>, up_to: Mass) -> Vec<(Mass, Decimal)> {
        let mix = density.map(|density| Mix { mass: density.get(), volume: Decimal::ONE });
        self.staircase(mix, up_to).into_iter().map(|(mass, cost)| (mass, from_grid(cost))).collect()
    }

    /// The cost of every mass of one mix, as (the most that goes at a cost, that cost on the grid).
    fn staircase(&self, mix: Option<Mix>, up_to: Mass) -> Vec<(Mass, i128)> {
        if !up_to.is_positive() {
            return Vec::new();
        }
        let up_to = up_to.min(Mass::from_grams(HEAVIEST_GRAMS));
        let mut target = to_grid(up_to.grams(), RoundingStrategy::ToPositiveInfinity);
        let groups: Vec<Vec<Group>> = self.offers.iter().map(|offer| offer.groups(mix)).collect();
        // A table so fine that it has too many steps is followed only part of the way.
        for _ in 0..MOST_HALVINGS {
            let all: Option<Vec<Vec<(i128, i128)>>> =
                groups.iter().map(|groups| cover::staircase(target, groups)).collect();
            if let Some(all) = all {
                return lower_envelope(all.concat(), target);
            }
            target /= 2;
        }
        Vec::new()
    }
}

/// The cheapest way at every mass: from the top down, only what costs less than all that holds more.
fn lower_envelope(mut steps: Vec<(i128, i128)>, up_to: i128) -> Vec<(Mass, i128)> {
    steps.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut envelope: Vec<(i128, i128)> = Vec::new();
    for step in steps {
        if envelope.last().is_none_or(|last| step.1 < last.1) {
            // Of the steps beyond the end only the last one belongs.
            if envelope.last().is_some_and(|_| step.0 >= up_to) {
                envelope.clear();
            }
            envelope.push(step);
        }
    }
    envelope.into_iter().rev().map(|(mass, cost)| (from_grid_mass(mass), cost)).collect()
}

/// How often [`Packer::steps`] tries half the way before it gives up.
const MOST_HALVINGS: u32 = 6;

/// One service with every box that it takes.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Offer {
    service: Service,
    kinds: Vec<BoxKind>,
}

/// A box as one service takes it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct BoxKind {
    name: String,
    at_hand: Option<u32>,
    tare: Mass,
    inner: Volume,
    /// `None` for a flat-rate box, whose size the carrier does not measure.
    outer: Option<Size>,
    /// Of one box, without freight and labour.
    cost: Decimal,
    /// From light to heavy.
    steps: Vec<FreightStep>,
}

/// A box filled up to one freight step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct FreightStep {
    freight: Decimal,
    /// The most it may hold at this freight whatever the volume, and the whole cost of the parcel, on the grid.
    choice: Choice,
}

impl Offer {
    fn new(priced: Priced<'_>, cartons: &[&Carton], labour: Decimal) -> Offer {
        let Priced { service, to_home } = priced;
        let freight_step = |most: Mass, charge: Decimal, cost: Decimal| {
            let freight = to_grid_amount(charge.checked_mul(to_home)?);
            let cost = freight.checked_add(cost + labour).filter(|cost| *cost <= LARGEST_AMOUNT)?;
            let cost = to_grid(cost, RoundingStrategy::MidpointAwayFromZero);
            let mass = to_grid(most.grams(), RoundingStrategy::ToZero);
            Some(FreightStep { freight, choice: Choice { mass, cost } })
        };
        let carton_kind = |carton: &&Carton| {
            let full = carton.tare + carton.limit;
            let mut grosses = service.gross_steps();
            grosses.retain(|gross| *gross > carton.tare && *gross < full);
            grosses.push(full);
            let cost = to_grid_amount(carton.cost);
            let step = |gross: Mass| {
                let charge = service.charge(carton.outer, gross)?;
                freight_step(gross - carton.tare, charge.total, cost)
            };
            let steps: Vec<FreightStep> = grosses.into_iter().filter_map(step).collect();
            (!steps.is_empty()).then(|| BoxKind {
                name: carton.name.clone(),
                at_hand: carton.at_hand,
                tare: carton.tare,
                inner: carton.inner.volume(),
                outer: Some(carton.outer),
                cost,
                steps,
            })
        };
        let flat_kind = |flat: &FlatBox| {
            let step = freight_step(flat.limit, flat.charge, Decimal::ZERO)?;
            Some(BoxKind {
                name: flat.name.clone(),
                at_hand: None,
                tare: Mass::ZERO,
                inner: flat.inner.volume(),
                outer: None,
                cost: Decimal::ZERO,
                steps: vec![step],
            })
        };
        let kinds = cartons
            .iter()
            .filter_map(carton_kind)
            .chain(service.flat_boxes.iter().filter_map(flat_kind))
            .collect();
        Offer { service: service.clone(), kinds }
    }

    fn groups(&self, mix: Option<Mix>) -> Vec<Group> {
        let group = |kind: &BoxKind| {
            let room = kind.room(mix);
            let choices =
                kind.steps.iter().map(|step| Choice { mass: step.choice.mass.min(room), ..step.choice });
            Group { limit: kind.at_hand, choices: choices.collect() }
        };
        self.kinds.iter().map(group).collect()
    }

    fn parcels(
        &self,
        kind: &BoxKind,
        step: &FreightStep,
        count: u32,
        contents: Mass,
        labour: Decimal,
    ) -> Parcels {
        let gross = kind.tare + contents;
        let billable =
            kind.outer.and_then(|outer| self.service.charge(outer, gross)).map(|charge| charge.billed);
        let each = Decimal::from(count);
        Parcels {
            count,
            box_name: kind.name.clone(),
            contents,
            gross,
            billable,
            freight: step.freight * each,
            boxes: kind.cost * each,
            labour: labour * each,
        }
    }
}

impl BoxKind {
    /// The mass that the box has room for, on the grid.
    fn room(&self, mix: Option<Mix>) -> i128 {
        mix.and_then(|mix| mix.mass_of(self.inner)).unwrap_or(cover::GREATEST)
    }
}

impl Carton {
    /// What is wrong with the box as it was entered; a box with a problem is never packed.
    pub fn problems(&self) -> Vec<String> {
        let name = &self.name;
        let mut problems = Vec::new();
        if !self.inner.is_box() || !self.outer.is_box() {
            problems.push(format!("“{name}” needs three inner and three outer sides above zero."));
        }
        if self.tare.is_negative() || self.tare.grams() > HEAVIEST_GRAMS {
            problems
                .push(format!("“{name}” cannot weigh less than nothing or over a thousand tonnes empty."));
        }
        if !self.limit.is_positive() || self.limit.grams() > HEAVIEST_GRAMS {
            problems.push(format!("“{name}” needs a limit: the most it may hold."));
        }
        if self.cost < Decimal::ZERO || self.cost > LARGEST_AMOUNT {
            problems.push(format!("“{name}” has a cost below zero or too large."));
        }
        problems
    }
}

/// A mass and the volume it takes up, for their ratio.
#[derive(Debug, Clone, Copy)]
struct Mix {
    mass: Decimal,
    volume: Decimal,
}

impl Mix {
    /// `None` for contents that take up no room.
    fn of(contents: Contents) -> Option<Mix> {
        let (mass, volume) = (contents.mass.grams(), contents.volume.cm3());
        (volume > Decimal::ZERO).then_some(Mix { mass, volume })
    }

    /// The mass that a volume holds, on the grid; `None` where that is more than anything weighs.
    fn mass_of(self, room: Volume) -> Option<i128> {
        let grams = self.mass.checked_mul(room.cm3())?.checked_div(self.volume)?;
        // Division leaves dust in the last of 28 digits, which must not be rounded up.
        (grams <= HEAVIEST_GRAMS)
            .then(|| to_grid(grams.round_dp(GRID_PLACES + 3), RoundingStrategy::ToPositiveInfinity))
    }
}

/// Decimal places of the grid that masses (in grams) and amounts are computed on.
const GRID_PLACES: u32 = 12;

/// One unit of the grid.
const DUST: Decimal = Decimal::from_parts(1, 0, 0, false, GRID_PLACES);

fn to_grid(number: Decimal, rounding: RoundingStrategy) -> i128 {
    let mut number = number.round_dp_with_strategy(GRID_PLACES, rounding);
    number.rescale(GRID_PLACES);
    number.mantissa()
}

fn to_grid_amount(amount: Decimal) -> Decimal {
    amount.round_dp_with_strategy(GRID_PLACES, RoundingStrategy::MidpointAwayFromZero).normalize()
}

fn from_grid(number: i128) -> Decimal {
    Decimal::from_i128_with_scale(number, GRID_PLACES).normalize()
}

fn from_grid_mass(mass: i128) -> Mass {
    Mass::from_grams(from_grid(mass))
}
