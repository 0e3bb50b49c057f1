//! What the lots at every place come to, kept so that moving one is cheap to judge.

use super::model::{Model, close};
use super::shipping::Shipping;
use crate::mass::Mass;
use crate::packing::Contents;
use crate::volume::Volume;

/// The lots of every place with their net there.
#[derive(Debug)]
pub(super) struct Tally<'m> {
    model: &'m Model<'m>,
    /// By place.
    held: Vec<Held>,
}

#[derive(Debug, Clone)]
struct Held {
    lots: Vec<usize>,
    /// By the outlet's grade; empty for the keep place.
    grades: Vec<Grade>,
    /// Grams.
    mass: f64,
    /// Kept where it is shipped.
    contents: Contents,
    /// The parts of the payout that are known, and how many grades are too little to be taken.
    payout: f64,
    refused: usize,
    net: Option<f64>,
}

#[derive(Debug, Clone)]
struct Grade {
    lots: usize,
    mass: f64,
    /// By tier: the payout of the lots at it.
    worth: Vec<f64>,
    paid: Option<f64>,
}

/// Grams from what a place holds to where its terms change; negative where it holds more.
#[derive(Debug, Default)]
pub(super) struct Marks {
    /// To what has to be reached: each tier, the least delivery.
    pub starts: Vec<f64>,
    /// To the ends of the steps of its freight.
    pub ends: Vec<f64>,
}

/// Lots that come to a place or go from it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Change<'c> {
    pub come: &'c [usize],
    pub go: &'c [usize],
}

impl<'m> Tally<'m> {
    pub fn new(model: &'m Model<'m>) -> Self {
        let mut held: Vec<Held> = model
            .sites
            .iter()
            .map(|site| {
                let grade =
                    |tiers: usize| Grade { lots: 0, mass: 0.0, worth: vec![0.0; tiers], paid: Some(0.0) };
                Held::new(site.grades.iter().map(|at| grade(at.tiers.len())).collect())
            })
            .collect();
        held.push(Held::new(Vec::new()));
        Tally { model, held }
    }

    pub fn lots(&self, place: usize) -> &[usize] {
        &self.held[place].lots
    }

    /// In home currency; `None` where the outlet does not take the lots together.
    pub fn net(&self, place: usize) -> Option<f64> {
        self.held[place].net
    }

    /// What the net of the place would become.
    pub fn net_with(&self, place: usize, change: Change<'_>) -> Option<f64> {
        let held = &self.held[place];
        let Some(site) = self.model.sites.get(place) else {
            let keep = |lots: &[usize]| lots.iter().map(|&lot| self.model.lots[lot].keep).sum::<f64>();
            return held.net.map(|net| net + keep(change.come) - keep(change.go));
        };
        if held.lots.len() + change.come.len() == change.go.len() {
            return Some(0.0);
        }
        let exact = || self.model.net(place, &self.lots_with(place, change));
        let mass = held.mass + self.mass(change.come) - self.mass(change.go);
        if close(mass, site.least_mass) {
            return exact();
        }
        if mass < site.least_mass {
            return None;
        }
        let (mut payout, mut refused) = (held.payout, held.refused);
        let moved = || change.come.iter().chain(change.go);
        for (at, &lot) in moved().enumerate() {
            let grade = site.spots[lot]?.grade;
            // Each grade once.
            if moved().take(at).any(|&other| site.spots[other].is_some_and(|spot| spot.grade == grade)) {
                continue;
            }
            let before = &held.grades[grade];
            match self.paid_with(place, grade, change) {
                Paid::Close => return exact(),
                Paid::Refused => {
                    refused += usize::from(before.paid.is_some());
                    payout -= before.paid.unwrap_or(0.0);
                }
                Paid::Of(paid) => {
                    refused -= usize::from(before.paid.is_none());
                    payout += paid - before.paid.unwrap_or(0.0);
                }
            }
        }
        if refused > 0 {
            return None;
        }
        let payout = payout - site.flat_fee;
        match site.least_payout {
            Some(least) if close(payout, least) => return exact(),
            Some(least) if payout < least => return None,
            _ => {}
        }
        let packing = match &site.shipping {
            None => 0.0,
            Some(shipping) => match shipping.cost_by_mass(mass) {
                Some(cost) => cost,
                None => shipping.cost(self.contents_with(place, change))?,
            },
        };
        let rate = if payout < 0.0 { site.loss } else { site.gain };
        Some(payout * rate - site.fixed - packing)
    }

    /// About what the net of the place would become with so many grams more, or less, of what `like` is. Not for places where
    /// room counts.
    pub fn net_with_more(&self, place: usize, like: usize, grams: f64) -> Option<f64> {
        let (held, item) = (&self.held[place], &self.model.lots[like]);
        let Some(site) = self.model.sites.get(place) else {
            return held.net.map(|net| net + grams * item.keep / item.mass);
        };
        let spot = site.spots[like]?;
        let (grade, at) = (&held.grades[spot.grade], &site.grades[spot.grade]);
        let (mass, of_grade) = (held.mass + grams, grade.mass + grams);
        if mass < site.least_mass || held.refused > usize::from(grade.paid.is_none()) {
            return None;
        }
        let tier = at.tiers.iter().rposition(|tier| tier.from <= of_grade)?;
        let paid = grade.worth[tier] + grams * at.tiers[tier].worth[spot.place] / item.mass;
        let payout = held.payout - grade.paid.unwrap_or(0.0) + paid - site.flat_fee;
        if site.least_payout.is_some_and(|least| payout < least) {
            return None;
        }
        let packing = site.shipping.as_ref().map_or(Some(0.0), |shipping| shipping.about(mass))?;
        let rate = if payout < 0.0 { site.loss } else { site.gain };
        Some(payout * rate - site.fixed - packing)
    }

    /// How far the place is from what changes its terms for what `like` is.
    pub fn marks(&self, place: usize, like: usize) -> Marks {
        let held = &self.held[place];
        let Some(site) = self.model.sites.get(place) else { return Marks::default() };
        let mut starts = vec![site.least_mass - held.mass];
        if let Some(spot) = site.spots[like] {
            let tiers = site.grades[spot.grade].tiers.iter();
            starts.extend(tiers.map(|tier| tier.from - held.grades[spot.grade].mass));
        }
        let ends = site.shipping.as_ref().map(Shipping::ends).unwrap_or_default();
        Marks { starts, ends: ends.iter().map(|end| end - held.mass).collect() }
    }

    /// Whether room counts there.
    pub fn by_room(&self, place: usize) -> bool {
        let shipping = self.model.sites.get(place).and_then(|site| site.shipping.as_ref());
        shipping.is_some_and(Shipping::has_volume)
    }

    pub fn apply(&mut self, place: usize, change: Change<'_>) {
        let net = self.net_with(place, change);
        let (mass, contents) = (
            self.held[place].mass + self.mass(change.come) - self.mass(change.go),
            if self.ships(place) { self.contents_with(place, change) } else { self.held[place].contents },
        );
        let model = self.model;
        let held = &mut self.held[place];
        held.lots.retain(|lot| !change.go.contains(lot));
        held.lots.extend_from_slice(change.come);
        (held.mass, held.contents, held.net) = (mass, contents, net);
        if let Some(site) = model.sites.get(place) {
            let mut touched = Vec::new();
            for (lots, sign) in [(change.come, 1.0), (change.go, -1.0)] {
                for &lot in lots {
                    let Some(spot) = site.spots[lot] else { continue };
                    let grade = &mut held.grades[spot.grade];
                    grade.lots = if sign > 0.0 { grade.lots + 1 } else { grade.lots - 1 };
                    grade.mass += sign * model.lots[lot].mass;
                    let tiers = &site.grades[spot.grade].tiers;
                    for (worth, tier) in grade.worth.iter_mut().zip(tiers) {
                        *worth += sign * tier.worth[spot.place];
                    }
                    touched.push(spot.grade);
                }
            }
            touched.sort_unstable();
            touched.dedup();
            for grade in touched {
                let members: Vec<usize> = held
                    .lots
                    .iter()
                    .copied()
                    .filter(|&lot| site.spots[lot].is_some_and(|spot| spot.grade == grade))
                    .collect();
                held.grades[grade].paid = model.payout_of(site, grade, &members);
                if members.is_empty() {
                    // Nothing is left of what rounding has added up.
                    held.grades[grade].mass = 0.0;
                    held.grades[grade].worth.fill(0.0);
                }
            }
            held.refused = held.grades.iter().filter(|grade| grade.paid.is_none()).count();
            held.payout = held.grades.iter().filter_map(|grade| grade.paid).sum();
        }
    }

    fn paid_with(&self, place: usize, grade: usize, change: Change<'_>) -> Paid {
        let (site, held) = (&self.model.sites[place], &self.held[place].grades[grade]);
        let (mut lots, mut mass) = (held.lots, held.mass);
        let of_grade = |lot: usize| site.spots[lot].filter(|spot| spot.grade == grade);
        for &lot in change.come.iter().filter(|&&lot| of_grade(lot).is_some()) {
            (lots, mass) = (lots + 1, mass + self.model.lots[lot].mass);
        }
        for &lot in change.go.iter().filter(|&&lot| of_grade(lot).is_some()) {
            (lots, mass) = (lots - 1, mass - self.model.lots[lot].mass);
        }
        if lots == 0 {
            return Paid::Of(0.0);
        }
        let tiers = &site.grades[grade].tiers;
        if tiers.iter().any(|tier| tier.from > 0.0 && close(mass, tier.from)) {
            return Paid::Close;
        }
        let Some(tier) = tiers.iter().rposition(|tier| tier.from <= mass.max(0.0)) else {
            return Paid::Refused;
        };
        let worth = |lots: &[usize]| -> f64 {
            lots.iter().filter_map(|&lot| of_grade(lot)).map(|spot| tiers[tier].worth[spot.place]).sum()
        };
        Paid::Of(held.worth[tier] + worth(change.come) - worth(change.go))
    }

    fn ships(&self, place: usize) -> bool {
        self.model.sites.get(place).is_some_and(|site| site.shipping.is_some())
    }

    fn mass(&self, lots: &[usize]) -> f64 {
        lots.iter().map(|&lot| self.model.lots[lot].mass).sum()
    }

    fn contents_with(&self, place: usize, change: Change<'_>) -> Contents {
        let (come, go) = (self.model.contents(change.come), self.model.contents(change.go));
        let held = self.held[place].contents;
        let volume = held.volume.cm3() + come.volume.cm3() - go.volume.cm3();
        Contents { mass: held.mass + come.mass - go.mass, volume: Volume::from_cm3(volume) }
    }

    fn lots_with(&self, place: usize, change: Change<'_>) -> Vec<usize> {
        let mut lots: Vec<usize> =
            self.held[place].lots.iter().copied().filter(|lot| !change.go.contains(lot)).collect();
        lots.extend_from_slice(change.come);
        lots
    }
}

enum Paid {
    Of(f64),
    Refused,
    /// Too near a threshold for floats to tell.
    Close,
}

impl Held {
    fn new(grades: Vec<Grade>) -> Self {
        Held {
            lots: Vec::new(),
            grades,
            mass: 0.0,
            contents: Contents { mass: Mass::ZERO, volume: Volume::ZERO },
            payout: 0.0,
            refused: 0,
            net: Some(0.0),
        }
    }
}
