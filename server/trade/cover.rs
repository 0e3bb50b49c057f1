//! The cheapest choice that covers a demand: the covering knapsack with choices in limited groups, solved exactly.
//!
//! A group is a kind of box, of which some number is at hand; its choices are the ways to fill one (a freight step
//! each), of which every box takes one. A 0/1 item is a group of one choice with a limit of 1.
//!
//! All numbers are whole, so sums and comparisons are exact. The search keeps a list of partial choices in which none
//! both covers less and costs more than another (dominance), and drops those that cannot beat the best whole choice
//! known, by a Lagrangian bound: a price per unit of mass is paid for what is still missing. The bound holds at any
//! price, so the rough arithmetic that finds a good price cannot make the answer wrong.

mod search;

use self::search::{NO_CEILING, Search, price_of_mass};

/// The greatest mass and cost that may be asked about; with [`MOST_TAKEN`] it keeps every sum inside `i128`.
pub const GREATEST: i128 = 1_000_000_000_000_000_000_000;

/// A cover that takes more pieces than this is not looked for.
pub const MOST_TAKEN: u32 = 1000;

/// One way to fill a box: it covers `mass` and costs `cost`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice {
    pub mass: i128,
    pub cost: i128,
}

/// Boxes of one kind. A choice without mass, with a cost below zero or beyond [`GREATEST`] is never taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// How many boxes there are; `None` where there are always enough.
    pub limit: Option<u32>,
    pub choices: Vec<Choice>,
}

/// `count` boxes of a group, filled as one of its choices says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pick {
    pub group: usize,
    pub choice: usize,
    pub count: u32,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cover {
    pub cost: i128,
    pub picks: Vec<Pick>,
    /// Whether it is known that nothing costs less. False only where the search ran into its limit.
    pub proved: bool,
}

/// Why there is no cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Uncovered {
    /// The limits of the groups are reached first.
    NotEnough,
    /// It would take more than [`MOST_TAKEN`].
    TooMany,
}

/// The cheapest picks whose masses add up to `demand` or more. Of equal choices the first is taken.
pub fn cheapest(demand: i128, groups: &[Group]) -> Result<Cover, Uncovered> {
    if demand <= 0 {
        return Ok(Cover { cost: 0, picks: Vec::new(), proved: true });
    }
    if demand > GREATEST {
        return Err(Uncovered::TooMany);
    }
    // What a box holds beyond the whole demand is worth nothing.
    let kinds = undominated(groups, demand);
    let limits: Vec<Option<u32>> = groups.iter().map(|group| group.limit).collect();
    reachable(demand, &kinds, &limits)?;

    let first = [by_value(&kinds), (0..kinds.len()).collect()]
        .into_iter()
        .filter_map(|order| greedy(demand, &kinds, &limits, &order))
        .min_by_key(|(cost, _)| *cost)
        .ok_or(Uncovered::TooMany)?;
    let price = price_of_mass(demand, &kinds, &limits);
    let mut search = Search::new(demand, price, &kinds, &limits);
    // The best cover often lies close above the bound, and a search for no more than that is short. So the ceiling is
    // raised in steps: the first cover found under one is the best there is.
    let bound = search.bound();
    let gap = (first.0 - bound).max(0);
    for fraction in FRACTIONS_OF_GAP {
        let ceiling = (bound + gap / fraction + 1).min(first.0);
        let finished = search.run(ceiling).is_some();
        if let Some(best) = search.best {
            return finish((best.cost, search.taken(best)), &kinds, finished);
        }
        if !finished {
            return finish(first, &kinds, false);
        }
    }
    finish(first, &kinds, true)
}

/// Part of the way from the bound to a first cover that the search looks at, one after the other.
const FRACTIONS_OF_GAP: [i128; 3] = [64, 8, 1];

/// Every cost at which more can be covered than at any lower cost, as (the most covered, cost), ascending, up to the
/// first that covers `up_to` or, where the limits end before that, all there is. `None` where there are too many.
pub fn staircase(up_to: i128, groups: &[Group]) -> Option<Vec<(i128, i128)>> {
    let kinds = undominated(groups, GREATEST);
    let limits: Vec<Option<u32>> = groups.iter().map(|group| group.limit).collect();
    let mut search = Search::new(up_to.min(GREATEST), 0, &kinds, &limits);
    let mut front = search.run(NO_CEILING)?;
    if let Some(best) = search.best {
        front.retain(|partial| partial.cost < best.cost);
        front.push(best);
    }
    let steps = front.into_iter().filter(|partial| partial.mass > 0);
    Some(steps.map(|partial| (partial.mass, partial.cost)).collect())
}

/// A choice of some group, as the search sees it.
#[derive(Debug, Clone, Copy)]
struct Kind {
    group: usize,
    choice: usize,
    mass: i128,
    cost: i128,
}

/// The choices worth looking at, the greatest mass first; masses are cut to `most`.
///
/// A choice is left out where another of the same group, or of a group without limit, covers as much for no more: it
/// could always stand in.
fn undominated(groups: &[Group], most: i128) -> Vec<Kind> {
    let mut all: Vec<Kind> = Vec::new();
    for (group, Group { limit, choices }) in groups.iter().enumerate() {
        if *limit == Some(0) {
            continue;
        }
        for (choice, &Choice { mass, cost }) in choices.iter().enumerate() {
            if (1..=GREATEST).contains(&mass) && (0..=GREATEST).contains(&cost) {
                all.push(Kind { group, choice, mass: mass.min(most), cost });
            }
        }
    }
    // A stable sort: of equal choices the first stays.
    all.sort_by(|a, b| b.mass.cmp(&a.mass).then(a.cost.cmp(&b.cost)));
    let mut cheapest_of: Vec<Option<i128>> = vec![None; groups.len()];
    let mut cheapest_unlimited: Option<i128> = None;
    all.retain(|kind| {
        let of_group = &mut cheapest_of[kind.group];
        if [*of_group, cheapest_unlimited].into_iter().flatten().any(|cost| cost <= kind.cost) {
            return false;
        }
        *of_group = Some(kind.cost);
        if groups[kind.group].limit.is_none() {
            cheapest_unlimited = Some(kind.cost);
        }
        true
    });
    all
}

fn reachable(demand: i128, kinds: &[Kind], limits: &[Option<u32>]) -> Result<(), Uncovered> {
    let Some(largest) = kinds.first() else { return Err(Uncovered::NotEnough) };
    let mut seen = vec![false; limits.len()];
    let mut all: i128 = 0;
    for kind in kinds {
        // The first of a group is its largest.
        if !std::mem::replace(&mut seen[kind.group], true) {
            all =
                all.saturating_add(limits[kind.group].map_or(demand, |limit| kind.mass * i128::from(limit)));
        }
    }
    if all < demand {
        return Err(Uncovered::NotEnough);
    }
    if largest.mass * i128::from(MOST_TAKEN) < demand {
        return Err(Uncovered::TooMany);
    }
    Ok(())
}

/// A cost, and how many of each kind it takes.
type Taken = (i128, Vec<u32>);

/// Indices of the kinds, the lowest cost per mass first. Only orders a heuristic, so that floats will do.
fn by_value(kinds: &[Kind]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..kinds.len()).collect();
    order.sort_by(|&a, &b| {
        ratio(kinds[a].cost, kinds[a].mass).total_cmp(&ratio(kinds[b].cost, kinds[b].mass))
    });
    order
}

fn ratio(cost: i128, mass: i128) -> f64 {
    cost as f64 / mass as f64
}

/// A good cover to start from: takes kinds in `order`, and at every point tries to end with one more box.
fn greedy(demand: i128, kinds: &[Kind], limits: &[Option<u32>], order: &[usize]) -> Option<Taken> {
    let mut slots: Vec<u32> = limits.iter().map(|limit| limit.unwrap_or(MOST_TAKEN)).collect();
    let mut counts = vec![0; kinds.len()];
    let (mut left, mut cost, mut taken) = (demand, 0, 0);
    let mut best: Option<Taken> = None;
    while taken <= MOST_TAKEN {
        let large_enough = kinds.iter().enumerate().take_while(|(_, kind)| kind.mass >= left);
        let last = large_enough.filter(|(_, kind)| slots[kind.group] > 0).min_by_key(|(_, kind)| kind.cost);
        if let Some((last, kind)) = last
            && best.as_ref().is_none_or(|(least, _)| cost + kind.cost < *least)
        {
            let mut counts = counts.clone();
            counts[last] += 1;
            best = Some((cost + kind.cost, counts));
        }
        let Some(&next) = order.iter().find(|&&i| slots[kinds[i].group] > 0) else { break };
        let kind = kinds[next];
        // All but the last two of a kind at once.
        let many = u32::try_from(left / kind.mass).unwrap_or(u32::MAX).saturating_sub(1).max(1);
        let count = many.min(slots[kind.group]);
        slots[kind.group] -= count;
        counts[next] += count;
        taken = taken.saturating_add(count);
        cost += kind.cost * i128::from(count);
        left -= kind.mass * i128::from(count);
        if left <= 0 {
            if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                best = Some((cost, counts));
            }
            break;
        }
    }
    best
}

fn finish((cost, counts): Taken, kinds: &[Kind], proved: bool) -> Result<Cover, Uncovered> {
    let total: u64 = counts.iter().copied().map(u64::from).sum();
    if total > u64::from(MOST_TAKEN) {
        return Err(Uncovered::TooMany);
    }
    let picks = kinds.iter().zip(counts).filter(|(_, count)| *count > 0);
    let picks = picks.map(|(kind, count)| Pick { group: kind.group, choice: kind.choice, count }).collect();
    Ok(Cover { cost, picks, proved })
}
