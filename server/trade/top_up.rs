//! The top-up list: what else could ride in a shipment that goes anyway, and how much is missing to the next tier.
//!
//! Everything is two deliveries priced exactly, the one with and the one without.

use rust_decimal::Decimal;

use crate::costs::Facts;
use crate::ids::{GradeId, LotId};
use crate::mass::Mass;
use crate::money::Price;
use crate::net::{Ladder, Load, deliver_packed, packer};
use crate::outlet::Outlet;
use crate::volume::Volume;

/// A lot that could come along.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TopUp {
    pub lot: LotId,
    /// What it adds to the shipment's net, in home currency.
    pub adds: Decimal,
    /// It goes without one more cent of freight, boxes and packing.
    pub rides_free: bool,
    /// Grades of the shipment that are paid by a higher tier with it.
    pub lifts: Vec<GradeId>,
}

/// A tier that a grade of the shipment has not reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NextTier {
    pub grade: GradeId,
    /// The tier's least mass, and what is missing to it.
    pub from: Mass,
    pub missing: Mass,
    /// What all of the grade is paid then.
    pub price: Price,
    /// What the shipment nets more with so much more of it.
    pub adds: Decimal,
}

/// Each of `others` added to a shipment of `base`, by what it adds, most first. Those that the outlet does not take, or not
/// with these, are left out; so are all of them where it does not take `base`.
pub fn top_ups(outlet: &Outlet, base: &[Load], others: &[Load], facts: &Facts) -> Vec<TopUp> {
    let Ok(packer) = packer(outlet, facts) else { return Vec::new() };
    let priced = |loads: &[Load]| deliver_packed(outlet, loads, facts, packer.as_ref()).ok();
    let Some(before) = priced(base) else { return Vec::new() };
    let top_up = |other: &Load| {
        let after = priced(&[base, std::slice::from_ref(other)].concat())?;
        Some(TopUp {
            lot: other.lot.clone(),
            adds: after.net - before.net,
            rides_free: packing_cost(&before) == packing_cost(&after),
            lifts: lifts(&before, &after),
        })
    };
    let mut list: Vec<TopUp> = others.iter().filter_map(top_up).collect();
    list.sort_by_key(|top_up| std::cmp::Reverse(top_up.adds));
    list
}

/// The next tier of each grade that is in `base` and has one.
pub fn next_tiers(outlet: &Outlet, base: &[Load], facts: &Facts) -> Vec<NextTier> {
    let Ok(packer) = packer(outlet, facts) else { return Vec::new() };
    let priced = |loads: &[Load]| deliver_packed(outlet, loads, facts, packer.as_ref()).ok();
    let Some(before) = priced(base) else { return Vec::new() };
    let next = |line: &crate::net::Line| {
        let quotes = outlet.quotes.get(&line.grade)?;
        let tier = quotes.tiers().iter().find(|tier| tier.from > line.mass)?;
        let missing = tier.from - line.mass;
        let of_grade = || base.iter().filter(|load| load.grade == line.grade);
        let volume: Volume = of_grade().map(|load| load.volume).sum();
        // It lies as loose as what is in it already.
        let room = volume.cm3().checked_mul(missing.grams())?.checked_div(line.mass.grams())?;
        let more = Load {
            lot: LotId::new("more"),
            grade: line.grade.clone(),
            mass: missing,
            pieces: 0,
            volume: Volume::from_cm3(room),
        };
        let after = priced(&[base, &[more]].concat())?;
        let adds = after.net - before.net;
        Some(NextTier { grade: line.grade.clone(), from: tier.from, missing, price: tier.price, adds })
    };
    before.lines.iter().filter_map(next).collect()
}

fn packing_cost(ladder: &Ladder) -> Option<Decimal> {
    ladder.packing.as_ref().map(crate::packing::Packing::cost)
}

/// Grades of the first that stand at a higher tier in the second.
fn lifts(before: &Ladder, after: &Ladder) -> Vec<GradeId> {
    let tier_before =
        |grade: &GradeId| before.lines.iter().find(|line| line.grade == *grade).map(|line| line.quote.from);
    after
        .lines
        .iter()
        .filter(|line| tier_before(&line.grade).is_some_and(|from| line.quote.from > from))
        .map(|line| line.grade.clone())
        .collect()
}
