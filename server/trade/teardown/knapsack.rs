//! The choice that gains most within a limit, exactly: the 0/1 knapsack problem.
//!
//! Items are put in the order of gain for their size. Around the item at which the limit breaks, a core grows by one item
//! at a time, to the right to put it in and to the left to take it out; of all sets within the core only those are kept
//! that no other one beats and that can still beat the best set found (D. Pisinger, Oper. Res. 45 (1997) 758-767). What a
//! set can still reach is bounded in whole numbers, so nothing is lost to rounding.

/// Something to choose or not: what it gains, above zero, and how much of the limit it takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Item {
    pub gain: i64,
    pub size: i64,
}

/// Sets that are kept at most, all in all: some hundred megabytes.
const MOST_SETS: usize = 6_000_000;

/// What is best to choose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chosen {
    /// By item, in the order they came in.
    pub picked: Vec<bool>,
    pub gain: i64,
    pub size: i64,
    /// No choice gains more than this: the gain itself where it is proved best.
    pub bound: i64,
}

impl Chosen {
    pub fn is_best(&self) -> bool {
        self.gain == self.bound
    }
}

/// A set of items within the core: what it comes to with everything left of the core and nothing right of it.
#[derive(Debug, Clone, Copy)]
struct Set {
    size: i64,
    gain: i64,
    /// The last change that led to it.
    change: u32,
}

/// An item put in or taken out of a set, after an earlier change.
struct Change {
    item: u32,
    before: u32,
}

const NO_CHANGE: u32 = u32::MAX;

struct Search {
    limit: i64,
    /// The items that matter, best for their size first.
    items: Vec<Item>,
    sets: Vec<Set>,
    changes: Vec<Change>,
    best: Set,
}

/// Chooses items of which the sizes come to no more than `limit` and the gains to the most. Items without gain are left,
/// and those without size are taken. Gains and sizes have to come to less than 2⁶² each; items that are larger than the
/// limit are left.
pub fn choose(items: &[Item], limit: i64) -> Chosen {
    let free = |item: &Item| item.gain > 0 && item.size <= 0;
    let mut picked: Vec<bool> = items.iter().map(free).collect();
    let mut order: Vec<usize> = (0..items.len())
        .filter(|&at| items[at].gain > 0 && items[at].size > 0 && items[at].size <= limit)
        .collect();
    // The better for its size first; of two alike the larger.
    order.sort_by(|&one, &other| {
        let (one, other) = (items[one], items[other]);
        let pays = |gain: i64, size: i64| i128::from(gain) * i128::from(size);
        pays(other.gain, one.size).cmp(&pays(one.gain, other.size)).then(other.size.cmp(&one.size))
    });
    let free_gain: i64 = items.iter().filter(|item| free(item)).map(|item| item.gain).sum();
    let mut search = Search::new(order.iter().map(|&at| items[at]).collect(), limit);
    let bound = search.run();
    for (at, is_in) in order.iter().zip(search.solution()) {
        picked[*at] = is_in;
    }
    let sum = |of: fn(&Item) -> i64| {
        items.iter().zip(&picked).filter(|(_, picked)| **picked).map(|(item, _)| of(item)).sum()
    };
    let gain: i64 = sum(|item| item.gain);
    Chosen {
        size: sum(|item| item.size.max(0)),
        gain,
        bound: bound.map_or(gain, |bound| bound + free_gain),
        picked,
    }
}

impl Search {
    fn new(items: Vec<Item>, limit: i64) -> Search {
        Search {
            limit,
            items,
            sets: Vec::new(),
            changes: Vec::new(),
            best: Set { size: 0, gain: 0, change: NO_CHANGE },
        }
    }

    /// The item at which the limit breaks, and what all before it come to.
    fn break_item(&self) -> (usize, Set) {
        let mut sum = Set { size: 0, gain: 0, change: NO_CHANGE };
        for (at, item) in self.items.iter().enumerate() {
            if sum.size + item.size > self.limit {
                return (at, sum);
            }
            sum.size += item.size;
            sum.gain += item.gain;
        }
        (self.items.len(), sum)
    }

    /// Searches; the bound where it was given up.
    fn run(&mut self) -> Option<i64> {
        let (at, all_before) = self.break_item();
        self.best = all_before;
        self.sets = vec![all_before];
        // The core is `left..right`.
        let (mut left, mut right) = (at, at);
        while !self.sets.is_empty() && (left > 0 || right < self.items.len()) {
            if right < self.items.len() {
                right += 1;
                self.grow(right - 1, 1, left, right);
            }
            if left > 0 && !self.sets.is_empty() {
                left -= 1;
                self.grow(left, -1, left, right);
            }
            if self.changes.len() > MOST_SETS {
                return Some(
                    self.sets.iter().map(|set| self.reach(set, left, right)).fold(self.best.gain, i64::max),
                );
            }
        }
        None
    }

    /// Takes an item into the core: each set stays as it is, or has the item put in (`sign` 1) or taken out (−1).
    fn grow(&mut self, item: usize, sign: i64, left: usize, right: usize) {
        let Item { gain, size } = self.items[item];
        let old = std::mem::take(&mut self.sets);
        let changed = |set: &Set| Set {
            size: set.size + sign * size,
            gain: set.gain + sign * gain,
            change: set.change,
        };
        let mut kept: Vec<Set> = Vec::with_capacity(old.len() * 2);
        let (mut same, mut other) = (0, 0);
        while same < old.len() || other < old.len() {
            // Both rows ascend by size; of two of one size the one that gains more comes first.
            let next = match (old.get(same), old.get(other).map(changed)) {
                (Some(one), Some(two)) => (two.size, -two.gain) < (one.size, -one.gain),
                (one, _) => one.is_none(),
            };
            let set = if next { changed(&old[other]) } else { old[same] };
            let is_change = next;
            if next {
                other += 1
            } else {
                same += 1
            }
            if kept.last().is_some_and(|last| last.gain >= set.gain) {
                continue;
            }
            let is_better = set.size <= self.limit && set.gain > self.best.gain;
            if !is_better && self.reach(&set, left, right) <= self.best.gain {
                continue;
            }
            let set = if is_change {
                self.changes.push(Change { item: item as u32, before: set.change });
                Set { change: (self.changes.len() - 1) as u32, ..set }
            } else {
                set
            };
            if is_better {
                self.best = set;
            }
            kept.push(set);
        }
        let best = self.best.gain;
        kept.retain(|set| self.reach(set, left, right) > best);
        self.sets = kept;
    }

    /// The most that a set can gain with the items outside of the core: by a part of the next one, as if it could be
    /// divided; so all of it that is a whole number and no more.
    fn reach(&self, set: &Set, left: usize, right: usize) -> i64 {
        let room = i128::from(self.limit - set.size);
        let neighbour =
            if room >= 0 { self.items.get(right) } else { left.checked_sub(1).map(|at| &self.items[at]) };
        match neighbour {
            Some(item) => {
                let more = (room * i128::from(item.gain)).div_euclid(i128::from(item.size));
                i64::try_from(i128::from(set.gain) + more).unwrap_or(i64::MAX)
            }
            // There is nothing more to put in; or too much is in, and nothing left to take out.
            None if room >= 0 => set.gain,
            None => i64::MIN,
        }
    }

    /// Which of the items are in the best set.
    fn solution(&self) -> Vec<bool> {
        let (at, _) = self.break_item();
        let mut is_in: Vec<bool> = (0..self.items.len()).map(|item| item < at).collect();
        let mut change = self.best.change;
        while let Some(step) = self.changes.get(change as usize) {
            is_in[step.item as usize] = !is_in[step.item as usize];
            change = step.before;
        }
        is_in
    }
}
