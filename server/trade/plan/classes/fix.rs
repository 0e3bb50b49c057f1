//! What can be no part of a plan that is worth more: struck out by what the prices prove.
//!
//! At the prices of a relaxation the bound is read again with one thing decided (reduced costs). Where it is not above
//! the best plan known, the thing is decided the other way.

use super::counter::{Ask, Desk};
use super::master::{Outlook, Relaxation};
use crate::plan::node::{Node, Opening, Reach};

/// Strikes out and fixes; counts the changes. Only plans worth more than `enough` are of interest. If `thorough`, tiers and
/// lots are looked at too, which takes longer.
pub(super) fn fix(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &mut Node,
    enough: f64,
    thorough: bool,
    desk: &mut Desk,
) -> usize {
    let mut changes = 0;
    for &site in &outlook.scope.sites {
        let Some(counter) = &outlook.counters[site] else { continue };
        let Some(gain) = relaxation.gains[site] else { continue };
        let Some(now) = outlook.value(site, Some(gain)) else { continue };
        // What is left for the site: it is open, and its gain must be above this.
        let bar = enough - (relaxation.bound - now);
        if node.opening(site) == Opening::Undecided {
            if gain <= bar {
                node.decide(site, Opening::Shut);
                changes += 1;
                continue;
            }
            if 0.0 <= bar {
                node.decide(site, Opening::Open);
                changes += 1;
            }
        }
        changes += fix_freight(outlook, relaxation, node, site, bar, desk);
        if thorough {
            for (grade, tiers) in counter.tiers() {
                let mut left = tiers.iter().copied().filter(|&tier| {
                    let gain = counter.gain(&relaxation.prices, Ask::Tier { grade, tier }, desk);
                    gain.is_some_and(|gain| gain > bar)
                });
                let Some(lowest) = left.next() else { continue };
                let highest = left.last().unwrap_or(lowest);
                let known = node.tiers(site, grade);
                let now = (lowest.max(known.0), highest.min(known.1));
                if now != known {
                    node.set_tiers(site, grade, now.0, now.1);
                    changes += 1;
                }
            }
            changes += fix_lots(outlook, relaxation, node, site, bar, desk);
        }
    }
    if thorough {
        changes += fix_keeping(outlook, relaxation, node, enough);
    }
    changes
}

fn fix_freight(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &mut Node,
    site: usize,
    bar: f64,
    desk: &mut Desk,
) -> usize {
    let Some(counter) = &outlook.counters[site] else { return 0 };
    if outlook.model.sites[site].shipping.is_none() || outlook.model.sites[site].slopes().count() > 1 {
        return 0;
    }
    counter.gains_by_freight(&relaxation.prices, desk);
    let mut left = desk.under.iter().filter(|(_, gain)| *gain > bar).map(|(cost, _)| *cost);
    let Some(least) = left.next() else { return 0 };
    let most = left.next_back().unwrap_or(least);
    let known = node.freight(site);
    // A floor may be under what it truly costs.
    let most = if counter.knows_freight() { most } else { known.1 };
    let now = (least.max(known.0), most.min(known.1));
    if now == known {
        return 0;
    }
    node.set_freight(site, now.0, now.1);
    // A cheapest step that is dearer by itself is no news.
    usize::from(now.1 < known.1)
}

fn fix_lots(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &mut Node,
    site: usize,
    bar: f64,
    desk: &mut Desk,
) -> usize {
    let Some(counter) = &outlook.counters[site] else { return 0 };
    let mut changes = 0;
    for (class, alike) in outlook
        .classes
        .list
        .iter()
        .enumerate()
        .filter(|(class, alike)| alike.decided.is_none() && counter.takes(*class))
    {
        let mut gain = |ask| counter.gain(&relaxation.prices, ask, desk).unwrap_or(f64::NEG_INFINITY);
        if gain(Ask::AtLeast { class, amount: alike.least }) <= bar {
            for &lot in &alike.lots {
                if node.at(site, lot) == Reach::May {
                    node.set(site, lot, Reach::No);
                    changes += 1;
                }
            }
        }
    }
    changes
}

/// Only whole classes are looked at: a class that is taken apart costs more than what is known of its lots is worth.
fn fix_keeping(outlook: &Outlook<'_, '_>, relaxation: &Relaxation, node: &mut Node, enough: f64) -> usize {
    let model = outlook.model;
    let keep = model.keep_place();
    let mut changes = 0;
    let room = relaxation.bound - enough;
    for (class, &price) in outlook.classes.list.iter().zip(&relaxation.prices.class) {
        let never = |&lot: &usize| price * super::class::amount_of(model, lot) - model.lots[lot].keep >= room;
        if class.keep.is_some() && class.lots.iter().all(never) {
            for &lot in &class.lots {
                node.set(keep, lot, Reach::No);
            }
            changes += 1;
        }
    }
    changes
}

/// Looks at the lots one by one, and decides those for which one place is left. For states in which nothing but lots is
/// undecided, since classes are taken apart by it. Counts the changes; `None` where no place is left for one of them.
pub(super) fn fix_each_lot(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    node: &mut Node,
    enough: f64,
    desk: &mut Desk,
) -> Option<usize> {
    let model = outlook.model;
    let keep = model.keep_place();
    let room = relaxation.bound - enough;
    let mut changes = 0;
    for (class, alike) in outlook.classes.list.iter().enumerate().filter(|(_, class)| class.decided.is_none())
    {
        let price = relaxation.prices.class[class];
        let mut lots: Vec<(f64, usize)> =
            alike.lots.iter().map(|&lot| (super::class::amount_of(model, lot), lot)).collect();
        lots.sort_by(|a, b| a.0.total_cmp(&b.0));
        // By lot in this order, the places that are left, and the one where it must go.
        let mut left: Vec<Vec<usize>> = vec![Vec::new(); lots.len()];
        let mut must: Vec<Option<usize>> = vec![None; lots.len()];
        for (at, &(amount, lot)) in lots.iter().enumerate() {
            let more = model.lots[lot].keep - price * amount;
            if node.at(keep, lot) != Reach::No && -more < room {
                left[at].push(keep);
                if more >= room {
                    must[at] = Some(keep);
                }
            }
        }
        for &site in &outlook.scope.sites {
            let Some(counter) = outlook.counters[site].as_ref().filter(|counter| counter.takes(class)) else {
                continue;
            };
            let Some(now) = outlook.value(site, relaxation.gains[site]) else { continue };
            let bar = enough - (relaxation.bound - now);
            let mut gain = |ask| counter.gain(&relaxation.prices, ask, desk).unwrap_or(f64::NEG_INFINITY);
            // The heavier a lot, the more it costs to have it there, or not to have it there.
            let may = lots.partition_point(|&(amount, _)| gain(Ask::AtLeast { class, amount }) > bar);
            left[..may].iter_mut().for_each(|left| left.push(site));
            if node.opening(site) == Opening::Open {
                let whole = alike.amount;
                let free = lots[..may].partition_point(|&(amount, _)| {
                    gain(Ask::AtMost { class, amount: whole - amount }) > bar
                });
                must[free..may].iter_mut().for_each(|must| *must = Some(site));
            }
        }
        for ((&(_, lot), left), must) in lots.iter().zip(left).zip(must) {
            // What is struck out here and there would take the class apart for little.
            let only = if let [only] = left[..] { Some(only) } else { must };
            match only {
                Some(place) => node.set(place, lot, Reach::Must),
                None if left.is_empty() => return None,
                None => continue,
            }
            changes += 1;
        }
    }
    Some(changes)
}
