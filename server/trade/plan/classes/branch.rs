//! Where the search splits a state in two: what the best mixture of deliveries leaves most undecided.

use super::class::amount_of;
use super::counter::Delivery;
use super::master::{Outlook, Relaxation};
use crate::plan::node::{Node, Opening, Reach};
use crate::plan::shipping::Shipping;

/// Shares nearer than this to none or all are taken for it.
const WHOLE: f64 = 1e-6;

/// A doubt about freight below this much money is settled faster lot by lot.
const LEAST_DOUBT: f64 = 0.01;

/// And one below this share of the gap.
const DOUBT: f64 = 0.2;

/// A way to split, and how much money it is about.
pub(super) struct Split {
    weight: f64,
    parts: [Part; 2],
}

#[derive(Clone, Copy)]
enum Part {
    Opening(usize, Opening),
    Tiers { site: usize, grade: usize, lowest: usize, highest: usize },
    Freight { site: usize, least: f64, most: f64 },
    Band(usize, crate::plan::shipping::Band),
    Lot { place: usize, lot: usize, reach: Reach },
}

/// The split that decides something else than the place of a lot; `None` where the mixture has decided all that.
pub(super) fn split(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &Node,
    enough: f64,
) -> Option<Split> {
    let least = LEAST_DOUBT.max(DOUBT * (relaxation.bound - enough));
    let mut splits: Vec<Split> = Vec::new();
    for &site in &outlook.scope.sites {
        let mixed: Vec<&(Delivery, f64)> =
            relaxation.mixture.iter().filter(|(delivery, _)| delivery.site == site).collect();
        splits.extend(opening(outlook, node, site, &mixed));
        splits.extend(freight(outlook, node, site, &mixed, least));
        let grades = 0..outlook.model.sites[site].grades.len();
        splits.extend(grades.filter_map(|grade| tiers(outlook, node, site, grade, &mixed)));
    }
    for &site in &outlook.scope.sites {
        let mixed = || relaxation.mixture.iter().filter(move |(delivery, _)| delivery.site == site);
        splits.extend(band(outlook, site, mixed(), least));
    }
    splits.into_iter().max_by(|a, b| a.weight.total_cmp(&b.weight))
}

/// The states that hold all plans of `node` between them, split so, or else at a lot.
pub(super) fn children(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &Node,
    split: Option<Split>,
) -> Vec<Node> {
    let split = split.or_else(|| split_lot(outlook, relaxation, node));
    let Some(split) = split else {
        // Settled to the last lot: exploring it again reads off the plan.
        return vec![node.clone()];
    };
    let child = |part: Part| {
        let mut child = node.clone();
        match part {
            Part::Opening(site, opening) => child.decide(site, opening),
            Part::Tiers { site, grade, lowest, highest } => child.set_tiers(site, grade, lowest, highest),
            Part::Freight { site, least, most } => child.set_freight(site, least, most),
            Part::Band(site, band) => child.narrow(site, band),
            Part::Lot { place, lot, reach } => child.set(place, lot, reach),
        }
        child
    };
    split.parts.into_iter().map(child).collect()
}

/// By class, how much of it goes to each place.
fn amounts(outlook: &Outlook<'_, '_>, relaxation: &Relaxation) -> Vec<Vec<f64>> {
    let keep = outlook.model.keep_place();
    let mut amounts = vec![vec![0.0; keep + 1]; outlook.classes.list.len()];
    for (delivery, share) in &relaxation.mixture {
        for &(class, amount) in &delivery.amounts {
            amounts[class][delivery.site] += share * amount;
        }
    }
    for (amounts, class) in amounts.iter_mut().zip(&outlook.classes.list) {
        amounts[keep] = (class.amount - amounts.iter().sum::<f64>()).max(0.0);
    }
    amounts
}

/// How far a share is from being decided.
fn doubt(share: f64) -> Option<f64> {
    let doubt = share.min(1.0 - share);
    (doubt > WHOLE).then_some(doubt)
}

fn opening(outlook: &Outlook<'_, '_>, node: &Node, site: usize, mixed: &[&(Delivery, f64)]) -> Option<Split> {
    if node.opening(site) != Opening::Undecided {
        return None;
    }
    let doubt = doubt(mixed.iter().map(|(_, share)| share).sum())?;
    let at = &outlook.model.sites[site];
    let freight = mixed.iter().map(|(delivery, _)| delivery.freight).fold(0.0, f64::max);
    let money = at.fixed + at.gain * at.flat_fee + freight;
    let parts = [Part::Opening(site, Opening::Open), Part::Opening(site, Opening::Shut)];
    Some(Split { weight: doubt * (1.0 + 3.0 * money), parts })
}

fn freight(
    outlook: &Outlook<'_, '_>,
    node: &Node,
    site: usize,
    mixed: &[&(Delivery, f64)],
    least_doubt: f64,
) -> Option<Split> {
    let (least, most) = node.freight(site);
    let whole: f64 = mixed.iter().map(|(_, share)| share).sum();
    if whole <= WHOLE {
        return None;
    }
    let mut costs: Vec<(f64, f64)> =
        mixed.iter().map(|(delivery, share)| (delivery.freight, share / whole)).collect();
    costs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mean: f64 = costs.iter().map(|(cost, share)| cost * share).sum();
    // The dearest that is not above the mean.
    let below = costs.iter().map(|(cost, _)| *cost).take_while(|cost| *cost <= mean).last()?;
    let above = costs.iter().map(|(cost, _)| *cost).find(|cost| *cost > below + 1e-9)?;
    let doubt = doubt(costs.iter().filter(|(cost, _)| *cost <= below).map(|(_, share)| share).sum())?;
    if below < least || above > most {
        return None;
    }
    // Where the steps are the true cost, there is nothing between one and the next.
    let exact = !outlook.model.sites[site].shipping.as_ref().is_some_and(Shipping::has_volume);
    if !exact && doubt * whole * (above - below) < least_doubt {
        return None;
    }
    let middle = if exact { mean.max(below + 1e-9 * (1.0 + below)) } else { f64::midpoint(below, above) };
    let parts = [Part::Freight { site, least, most: middle }, Part::Freight { site, least: middle, most }];
    Some(Split { weight: whole * doubt * 2.0 * (above - below), parts })
}

fn tiers(
    outlook: &Outlook<'_, '_>,
    node: &Node,
    site: usize,
    grade: usize,
    mixed: &[&(Delivery, f64)],
) -> Option<Split> {
    let (lowest, highest) = node.tiers(site, grade);
    let whole: f64 = mixed.iter().map(|(_, share)| share).sum();
    if whole <= WHOLE || lowest == highest {
        return None;
    }
    let mut shares = vec![0.0; outlook.model.sites[site].grades[grade].tiers.len() + 1];
    for (delivery, share) in mixed {
        let mut there = 0.0;
        for &(_, tier, part) in delivery.tiers.iter().filter(|(other, ..)| *other == grade) {
            shares[tier] += share * part / whole;
            there += part;
        }
        shares[0] += share * (1.0 - there).max(0.0) / whole;
    }
    let mut below = 0.0;
    let mut best: Option<(usize, f64)> = None;
    for (tier, share) in shares.iter().enumerate().take(highest) {
        below += share;
        if tier >= lowest
            && let Some(doubt) = doubt(below)
            && best.is_none_or(|(_, most)| doubt > most)
        {
            best = Some((tier, doubt));
        }
    }
    let (tier, doubt) = best?;
    let at = &outlook.model.sites[site];
    let worth: f64 = at.grades[grade].tiers[highest - 1].worth.iter().map(|worth| worth.abs()).sum();
    let parts = [
        Part::Tiers { site, grade, lowest, highest: tier },
        Part::Tiers { site, grade, lowest: tier + 1, highest },
    ];
    Some(Split { weight: whole * doubt * 0.1 * at.gain.abs() * worth, parts })
}

/// Where freight is bounded below its true cost at the mixture's density.
fn band<'d>(
    outlook: &Outlook<'_, '_>,
    site: usize,
    mixed: impl Iterator<Item = &'d (Delivery, f64)>,
    least_doubt: f64,
) -> Option<Split> {
    let counter = outlook.counters[site].as_ref().filter(|counter| counter.has_band())?;
    let shipping = outlook.model.sites[site].shipping.as_ref()?;
    let (mut mass, mut volume, mut doubt) = (0.0, 0.0, 0.0);
    for (delivery, share) in mixed {
        mass += share * delivery.mass;
        volume += share * delivery.volume;
        doubt += share * (shipping.cost_of(delivery.mass, delivery.volume)? - delivery.freight);
    }
    let parts = counter.band().split(mass / volume)?;
    (doubt > least_doubt)
        .then_some(Split { weight: 3.0 * doubt, parts: parts.map(|band| Part::Band(site, band)) })
}

/// A lot, where all else is decided.
fn split_lot(outlook: &Outlook<'_, '_>, relaxation: &Relaxation, node: &Node) -> Option<Split> {
    let amounts = amounts(outlook, relaxation);
    kept_in_part(outlook, relaxation, node, &amounts)
        .or_else(|| torn_lot(outlook, relaxation, node, &amounts))
}

/// A lot that the mixture keeps in part: lots whose keep values differ cannot stand for one another, so that deciding it tells
/// most.
fn kept_in_part(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &Node,
    amounts: &[Vec<f64>],
) -> Option<Split> {
    let model = outlook.model;
    let keep = model.keep_place();
    let mut best: Option<(f64, usize)> = None;
    for ((class, amounts), &price) in outlook.classes.list.iter().zip(amounts).zip(&relaxation.prices.class) {
        if class.kept.is_empty() {
            continue;
        }
        let mut from = 0.0;
        for &lot in &class.lots {
            let amount = amount_of(model, lot);
            let part = ((amounts[keep] - from) / amount).clamp(0.0, 1.0);
            from += amount;
            let weight = part.min(1.0 - part) * amount * price.abs();
            let open = node.at(keep, lot) == Reach::May;
            if open && doubt(part).is_some() && best.is_none_or(|(most, _)| weight > most) {
                best = Some((weight, lot));
            }
        }
    }
    let (weight, lot) = best?;
    Some(Split { weight, parts: lot_at(keep, lot) })
}

fn lot_at(place: usize, lot: usize) -> [Part; 2] {
    [Reach::Must, Reach::No].map(|reach| Part::Lot { place, lot, reach })
}

/// The heaviest lot of the class whose lots fit what goes where the least.
fn torn_lot(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &Node,
    amounts: &[Vec<f64>],
) -> Option<Split> {
    let model = outlook.model;
    let (rounded, _) = rounded(outlook, relaxation);
    let may = |place: usize, lot: usize| node.at(place, lot) == Reach::May;
    let undecided = |lot: usize| (0..node.places()).filter(|&place| may(place, lot)).count() > 1;
    let mut best: Option<(f64, usize)> = None;
    for (index, (class, amounts)) in outlook.classes.list.iter().zip(amounts).enumerate() {
        if !class.lots.iter().any(|&lot| undecided(lot)) {
            continue;
        }
        let mut left = amounts.clone();
        for &lot in &class.lots {
            left[rounded[lot]] -= amount_of(model, lot);
        }
        let off: f64 = left.iter().map(|off| off.abs()).sum();
        let weight = (off + WHOLE * class.amount) * fetched(outlook, index);
        if best.is_none_or(|(most, _)| weight > most) {
            best = Some((weight, index));
        }
    }
    let (weight, class) = best?;
    let (class, amounts) = (&outlook.classes.list[class], &amounts[class]);
    let lots = || class.lots.iter().copied().filter(|&lot| undecided(lot));
    let lot = lots().max_by(|&a, &b| amount_of(model, a).total_cmp(&amount_of(model, b)))?;
    let share = |place: usize| (amounts[place] / class.amount - 0.5).abs();
    let places = (0..node.places()).filter(|&place| may(place, lot));
    let place = places.min_by(|&a, &b| share(a).total_cmp(&share(b)))?;
    Some(Split { weight, parts: lot_at(place, lot) })
}

/// What an amount of the class fetches where that is most, shared costs aside. Its price would not do: what fills a shipment up
/// is often worth nothing more, and just that goes in part.
fn fetched(outlook: &Outlook<'_, '_>, class: usize) -> f64 {
    let at = |&site: &usize| {
        let worth = outlook.classes.worth(outlook.model, class, site).iter().copied();
        outlook.model.sites[site].gain * worth.fold(0.0, f64::max)
    };
    let keep = outlook.classes.list[class].keep.unwrap_or(0.0);
    let takes = |site: usize| outlook.counters[site].as_ref().is_some_and(|counter| counter.takes(class));
    outlook.scope.sites.iter().filter(|&&site| takes(site)).map(at).fold(keep, f64::max)
}

/// A place for every lot, near the mixture: the heaviest lots first, each to the place where most of its class is missing.
/// And the classes whose lots do not fit what goes where.
pub(super) fn rounded(outlook: &Outlook<'_, '_>, relaxation: &Relaxation) -> (Vec<usize>, Vec<usize>) {
    let (model, node) = (outlook.model, outlook.node);
    let keep = model.keep_place();
    let mut places = vec![keep; model.lots.len()];
    let mut torn = Vec::new();
    for (index, (class, mut missing)) in
        outlook.classes.list.iter().zip(amounts(outlook, relaxation)).enumerate()
    {
        let mut lots = class.lots.clone();
        // What is worth most to keep is kept.
        let mut kept = missing[keep];
        lots.retain(|&lot| {
            let amount = amount_of(model, lot);
            let stays = !class.kept.is_empty() && kept >= 0.5 * amount;
            if stays {
                kept -= amount;
            }
            !stays
        });
        missing[keep] = kept.max(0.0);
        lots.sort_by(|&a, &b| amount_of(model, b).total_cmp(&amount_of(model, a)));
        for lot in lots {
            let open = (0..node.places()).filter(|&place| node.at(place, lot) != Reach::No);
            let place = open.max_by(|&a, &b| missing[a].total_cmp(&missing[b])).unwrap_or(keep);
            missing[place] -= amount_of(model, lot);
            places[lot] = place;
        }
        if class.decided.is_none() && missing.iter().any(|missing| missing.abs() > WHOLE * class.amount) {
            torn.push(index);
        }
    }
    (places, torn)
}
