//! Several bags that fill for one buyer: which of them go in one shipment, again and again, and which by themselves?
//!
//! Bags that go together wait for each other, and pay for trip, paperwork and the first box once. What a group brings a
//! day in the long run is for the caller to say; this divides the bags so that their sum is highest, exactly.

use rust_decimal::Decimal;

/// More bags than these are not divided: there are two to the power of them groups.
pub const MOST_BAGS: usize = 8;

/// Bags by index, divided into groups.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grouping {
    /// Each ascending, in the order of their first bags. A bag that no group pays for is in none.
    pub groups: Vec<Vec<usize>>,
    /// What they bring together.
    pub per_day: Decimal,
}

/// The division of `count` bags, of which only the first [`MOST_BAGS`] count, that brings most. `rate` says what a group
/// brings a day, its bags ascending; `None` where no weight of it pays. Of equal ones, bags go by themselves.
///
/// The first bag of a set is in none of its groups, or in one: with each way of choosing the others, what is left is a
/// smaller set of the same kind. So each set is looked at once, smallest first.
pub fn best_grouping(count: usize, mut rate: impl FnMut(&[usize]) -> Option<Decimal>) -> Grouping {
    let count = count.min(MOST_BAGS);
    let sets = 1_usize << count;
    let rates: Vec<Option<Decimal>> =
        (0..sets).map(|set| if set == 0 { None } else { rate(&members(set)) }).collect();
    // The best of each set, and the group that its first bag is in (0: none).
    let mut best: Vec<(Decimal, usize)> = vec![(Decimal::ZERO, 0)];
    for set in 1..sets {
        let first = 1 << set.trailing_zeros();
        let others = set & !first;
        let mut chosen = (best[others].0, 0);
        // All sets of the others, from none of them up, so that a bag by itself comes first.
        let mut with = 0;
        loop {
            let group = first | with;
            if let Some(per_day) = rates[group] {
                let total = per_day + best[set & !group].0;
                if total > chosen.0 {
                    chosen = (total, group);
                }
            }
            if with == others {
                break;
            }
            with = with.wrapping_sub(others) & others;
        }
        best.push(chosen);
    }
    let mut groups = Vec::new();
    let mut left = sets - 1;
    while left != 0 {
        let group = best[left].1;
        if group == 0 {
            left &= left - 1;
        } else {
            groups.push(members(group));
            left &= !group;
        }
    }
    Grouping { groups, per_day: best[sets - 1].0 }
}

fn members(set: usize) -> Vec<usize> {
    (0..MOST_BAGS).filter(|bag| set & (1 << bag) != 0).collect()
}
