//! The choice that gains most within a limit, exactly: of each unit one of its items or none, the multiple-choice knapsack
//! problem. With one item each it is the 0/1 problem.
//!
//! Of each unit the items that no other one beats lie along a staircase; the steps between those on its upper hull are put
//! in the order of gain for their size and taken until the limit breaks one of them. Around that step a core grows by one
//! unit at a time, to the right by units that might take more and to the left by units that might take less; of all
//! choices within the core only those are kept that no other one beats and that can still beat the best one found
//! (D. Pisinger, Eur. J. Oper. Res. 83 (1995) 394-410). What a choice can still reach is bounded in whole numbers, so
//! nothing is lost to rounding.

/// Something to choose: what it gains, above zero, and how much of the limit it takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Item {
    pub gain: i64,
    pub size: i64,
}

/// So many units alike. Of each, one of the items is chosen, or none.
#[derive(Debug, Clone, Copy)]
pub struct Units<'a> {
    pub count: u32,
    pub items: &'a [Item],
}

/// Sets that are kept at most, all in all: some hundred megabytes.
const MOST_SETS: usize = 6_000_000;

/// What is best to choose of single items.
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

/// What is best to choose of units with several items each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChosenEach {
    /// How many of the units get which item, in the order they came in.
    pub counts: Vec<Vec<u32>>,
    pub gain: i64,
    pub size: i64,
    /// No choice gains more than this: the gain itself where it is proved best.
    pub bound: i64,
    /// Nor would one that might mix items of a unit: the hull alone says so, whatever lies beneath it.
    pub mixed: i64,
}

/// Chooses items of which the sizes come to no more than `limit` and the gains to the most. Items without gain are left,
/// and those without size are taken. Gains and sizes have to come to less than 2⁶² each; items that are larger than the
/// limit are left.
pub fn choose(items: &[Item], limit: i64) -> Chosen {
    let units: Vec<Units<'_>> =
        items.iter().map(|item| Units { count: 1, items: std::slice::from_ref(item) }).collect();
    let ChosenEach { counts, gain, size, bound, .. } = choose_each(&units, limit);
    let picked = counts.iter().map(|counts| counts.iter().any(|count| *count > 0)).collect();
    Chosen { picked, gain, size, bound }
}

/// Chooses for each unit one of its items or none, so that the sizes come to no more than `limit` and the gains to the most.
/// Gains and sizes have to come to less than 2⁶² each.
pub fn choose_each(units: &[Units<'_>], limit: i64) -> ChosenEach {
    let stairs: Vec<Stairs> = units.iter().map(|units| Stairs::of(units.items, limit)).collect();
    let all = stairs.iter().zip(units).enumerate();
    let of: Vec<u32> = all
        // A unit that has nothing to choose between is no part of the search.
        .filter(|(_, (stairs, _))| stairs.steps.len() > 1)
        .flat_map(|(at, (_, units))| std::iter::repeat_n(at as u32, units.count as usize))
        .collect();
    let mut search = Search::new(&stairs, of, limit);
    let given_up_at = search.run();
    let mut counts: Vec<Vec<u32>> = units.iter().map(|units| vec![0; units.items.len()]).collect();
    let (mut gain, mut size) = (0, 0);
    let mut take = |at: usize, step: &Step, count: u32| {
        if let Some(item) = step.item {
            counts[at][item] += count;
            gain += step.gain * i64::from(count);
            size += step.size * i64::from(count);
        }
    };
    for (&at, step) in search.of.iter().zip(search.solution()) {
        take(at as usize, &stairs[at as usize].steps[step], 1);
    }
    let mut without_choice = 0;
    for (at, (stairs, units)) in stairs.iter().zip(units).enumerate() {
        if let [only] = stairs.steps.as_slice() {
            take(at, only, units.count);
            without_choice += only.gain * i64::from(units.count);
        }
    }
    ChosenEach {
        counts,
        bound: given_up_at.map_or(gain, |bound| bound + without_choice),
        mixed: search.mixed() + without_choice,
        gain,
        size,
    }
}

/// An item that no other one of its unit beats, or none at all.
#[derive(Debug, Clone, Copy)]
struct Step {
    gain: i64,
    size: i64,
    item: Option<usize>,
}

/// What can be chosen of a unit, each larger than the one before and gaining more.
struct Stairs {
    steps: Vec<Step>,
    /// Those on the upper hull: from one to the next the gain for the size only falls.
    hull: Vec<u32>,
}

impl Stairs {
    fn of(items: &[Item], limit: i64) -> Stairs {
        let fits = |(item, one): (usize, &Item)| {
            (one.gain > 0 && one.size <= limit.max(0)).then_some(Step {
                gain: one.gain,
                size: one.size.max(0),
                item: Some(item),
            })
        };
        let mut steps = vec![Step { gain: 0, size: 0, item: None }];
        steps.extend(items.iter().enumerate().filter_map(fits));
        steps.sort_by_key(|step| (step.size, -step.gain));
        let mut most = i64::MIN;
        steps.retain(|step| {
            let is_more = step.gain > most;
            most = most.max(step.gain);
            is_more
        });
        let mut hull: Vec<u32> = Vec::with_capacity(steps.len());
        for (at, step) in steps.iter().enumerate() {
            while let [.., before, last] = hull.as_slice() {
                let (before, last) = (&steps[*before as usize], &steps[*last as usize]);
                let pays = |gain: i64, one: &Step, other: &Step| {
                    i128::from(gain) * i128::from(one.size - other.size)
                };
                // The last one stays where it pays more for its size than the next one.
                if pays(last.gain - before.gain, step, last) > pays(step.gain - last.gain, last, before) {
                    break;
                }
                hull.pop();
            }
            hull.push(at as u32);
        }
        Stairs { steps, hull }
    }
}

/// From one place on the hull of a unit to the next.
#[derive(Debug, Clone, Copy)]
struct Rise {
    unit: u32,
    /// The steps that it leads from and to.
    from: u32,
    to: u32,
    gain: i64,
    size: i64,
}

/// A choice within the core: what it comes to with everything outside of it as it is where the limit breaks.
#[derive(Debug, Clone, Copy)]
struct Set {
    size: i64,
    gain: i64,
    /// The last change that led to it.
    change: u32,
    /// The step of the unit that came into the core last.
    step: u32,
}

/// Another step chosen for a unit, after an earlier change.
struct Change {
    unit: u32,
    step: u32,
    before: u32,
}

const NO_CHANGE: u32 = u32::MAX;

struct Search<'a> {
    limit: i64,
    stairs: &'a [Stairs],
    /// The stairs of each unit.
    of: Vec<u32>,
    /// Best for their size first.
    rises: Vec<Rise>,
    /// The rise at which the limit breaks, the step that each unit stands at there, and what they come to.
    broken: usize,
    standing: Vec<u32>,
    all_before: Set,
    in_core: Vec<bool>,
    /// No unit outside of the core has a rise in `left..right`.
    left: usize,
    right: usize,
    sets: Vec<Set>,
    changes: Vec<Change>,
    best: Set,
    /// Whether what is multiplied stays within 64 bits, which is quicker.
    is_small: bool,
}

impl<'a> Search<'a> {
    fn new(stairs: &'a [Stairs], of: Vec<u32>, limit: i64) -> Search<'a> {
        let mut rises: Vec<Rise> = Vec::new();
        for (unit, at) in of.iter().enumerate() {
            let Stairs { steps, hull } = &stairs[*at as usize];
            rises.extend(hull.windows(2).map(|pair| {
                let (low, high) = (&steps[pair[0] as usize], &steps[pair[1] as usize]);
                let (gain, size) = (high.gain - low.gain, high.size - low.size);
                Rise { unit: unit as u32, from: pair[0], to: pair[1], gain, size }
            }));
        }
        // The better for its size first; of two alike the larger.
        rises.sort_by(|one, other| {
            let pays = |gain: i64, size: i64| i128::from(gain) * i128::from(size);
            pays(other.gain, one.size).cmp(&pays(one.gain, other.size)).then(other.size.cmp(&one.size))
        });
        let mut all_before = Set { size: 0, gain: 0, change: NO_CHANGE, step: 0 };
        for at in &of {
            // Of nothing, or of what takes nothing.
            all_before.gain += stairs[*at as usize].steps[0].gain;
        }
        let mut place = vec![0_usize; of.len()];
        let mut broken = rises.len();
        for (at, rise) in rises.iter().enumerate() {
            if all_before.size + rise.size > limit {
                broken = at;
                break;
            }
            all_before.size += rise.size;
            all_before.gain += rise.gain;
            place[rise.unit as usize] += 1;
        }
        let standing = of.iter().zip(place).map(|(at, place)| stairs[*at as usize].hull[place]).collect();
        let most: (i128, i128) = rises.iter().fold((limit.unsigned_abs().into(), 1), |(size, gain), rise| {
            (size + i128::from(rise.size), gain + i128::from(rise.gain))
        });
        let mut search = Search {
            limit,
            stairs,
            in_core: vec![false; of.len()],
            of,
            rises,
            broken,
            standing,
            all_before,
            left: broken,
            right: broken,
            sets: vec![all_before],
            changes: Vec::new(),
            best: all_before,
            is_small: most.0.saturating_mul(most.1) < i128::from(i64::MAX / 4),
        };
        search.swap();
        search
    }

    /// A first choice that is better: with one rise more that was not taken, or with two, or with one in the place of one
    /// that was.
    fn swap(&mut self) {
        let firsts = |rises: &mut dyn Iterator<Item = &Rise>| {
            let mut seen = vec![false; self.of.len()];
            let is_first = |rise: &&Rise| !std::mem::replace(&mut seen[rise.unit as usize], true);
            rises.filter(is_first).copied().collect::<Vec<Rise>>()
        };
        let taken = firsts(&mut self.rises[..self.broken].iter().rev());
        let mut others = firsts(&mut self.rises[self.broken..].iter());
        others.sort_by_key(|rise| rise.size);
        // By size, the one that gains most of those up to there.
        let mut most: Vec<usize> = Vec::with_capacity(others.len());
        for (at, rise) in others.iter().enumerate() {
            let before = most.last().copied().unwrap_or(at);
            most.push(if rise.gain > others[before].gain { at } else { before });
        }
        let room = self.limit - self.all_before.size;
        let one = |rise: Rise| Some((rise.unit, rise.to, rise.gain, rise.size));
        let back = |rise: Rise| Some((rise.unit, rise.from, -rise.gain, -rise.size));
        let mut found = (0, None, None);
        let firsts = taken.into_iter().map(back).chain(others.iter().copied().map(one));
        for first in std::iter::once(None).chain(firsts) {
            let (_, _, gain, size) = first.unwrap_or_default();
            let fit = others.partition_point(|rise| rise.size <= room - size);
            let Some(&at) = fit.checked_sub(1).and_then(|last| most.get(last)) else { continue };
            // Of one unit the second rise does not come without the first, nor one rise twice.
            let is_apart = first.is_none_or(|(unit, ..)| unit != others[at].unit);
            if is_apart && gain + others[at].gain > found.0 {
                found = (gain + others[at].gain, first, one(others[at]));
            }
        }
        for (unit, step, gain, size) in [found.1, found.2].into_iter().flatten() {
            self.changes.push(Change { unit, step, before: self.best.change });
            self.best.change = (self.changes.len() - 1) as u32;
            self.best.gain += gain;
            self.best.size += size;
        }
    }

    /// What a choice would gain that might take a part of the rise at which the limit breaks, as a whole number.
    fn mixed(&self) -> i64 {
        self.rises.get(self.broken).map_or(self.all_before.gain, |rise| self.reach(&self.all_before, rise))
    }

    fn reach(&self, set: &Set, rise: &Rise) -> i64 {
        let room = i128::from(self.limit - set.size);
        let more = (room * i128::from(rise.gain)).div_euclid(i128::from(rise.size));
        i64::try_from(i128::from(set.gain) + more).unwrap_or(i64::MAX)
    }

    /// Searches; the bound where it was given up.
    fn run(&mut self) -> Option<i64> {
        loop {
            self.narrow();
            let best = self.best.gain;
            let (above, below) = self.beside();
            let mut sets = std::mem::take(&mut self.sets);
            sets.retain(|set| self.can_beat(set, above, below, best));
            self.sets = sets;
            if self.sets.is_empty() {
                return None;
            }
            if self.changes.len() > MOST_SETS {
                let reach = |set: &Set| {
                    let beside = if set.size <= self.limit { above } else { below };
                    beside.map_or(set.gain, |rise| self.reach(set, &rise))
                };
                return Some(self.sets.iter().map(reach).fold(best, i64::max));
            }
            // Turn by turn a unit that might take more and one that might take less.
            let mut grew = false;
            if let Some(rise) = self.beside().0 {
                self.grow(rise.unit as usize);
                grew = true;
            }
            self.narrow();
            if let Some(rise) = self.beside().1 {
                self.grow(rise.unit as usize);
                grew = true;
            }
            if !grew {
                return None;
            }
        }
    }

    /// Passes over the rises of units that are in the core.
    fn narrow(&mut self) {
        while self.rises.get(self.right).is_some_and(|rise| self.in_core[rise.unit as usize]) {
            self.right += 1;
        }
        while self.left > 0 && self.in_core[self.rises[self.left - 1].unit as usize] {
            self.left -= 1;
        }
    }

    /// Outside of the core, the rise that pays most of those not taken, and the one that pays least of those taken.
    fn beside(&self) -> (Option<Rise>, Option<Rise>) {
        let below = self.left.checked_sub(1).map(|at| self.rises[at]);
        (self.rises.get(self.right).copied(), below)
    }

    /// Takes a unit into the core: each set comes with each of the unit's steps that can still be part of a better choice.
    fn grow(&mut self, unit: usize) {
        self.in_core[unit] = true;
        self.narrow();
        let stairs = &self.stairs[self.of[unit] as usize];
        let stands = &stairs.steps[self.standing[unit] as usize];
        let changed = |set: &Set, step: u32| {
            let to = &stairs.steps[step as usize];
            Set {
                size: set.size + to.size - stands.size,
                gain: set.gain + to.gain - stands.gain,
                change: set.change,
                step,
            }
        };
        let steps: Vec<u32> =
            (0..stairs.steps.len() as u32).filter(|step| self.may(stands, stairs, *step)).collect();
        let old = std::mem::take(&mut self.sets);
        let mut better = self.best;
        for &step in &steps {
            for set in &old {
                let set = changed(set, step);
                if set.size <= self.limit && set.gain > better.gain {
                    better = set;
                }
            }
        }
        if better.gain > self.best.gain {
            self.best = Set { change: self.change(unit, better), ..better };
        }
        let (above, below) = self.beside();
        let best = self.best.gain;
        let mut sets: Vec<Set> = Vec::with_capacity(old.len() * 2);
        for &step in &steps {
            let with_step = old.iter().map(|set| changed(set, step));
            sets.extend(with_step.filter(|set| self.can_beat(set, above, below, best)));
        }
        // Each step's sets ascend by size already, which this sort makes use of.
        sets.sort_by_key(|set| (set.size, -set.gain));
        let mut most = i64::MIN;
        sets.retain(|set| {
            let is_more = set.gain > most;
            most = most.max(set.gain);
            is_more
        });
        for set in &mut sets {
            set.change = self.change(unit, *set);
        }
        self.sets = sets;
    }

    /// Whether a unit at this step can be part of a better choice, by the slope at which the limit breaks.
    fn may(&self, stands: &Step, stairs: &Stairs, step: u32) -> bool {
        let to = &stairs.steps[step as usize];
        let set = Set {
            size: self.all_before.size + to.size - stands.size,
            gain: self.all_before.gain + to.gain - stands.gain,
            ..self.all_before
        };
        let broken = self.rises.get(self.broken);
        broken.is_none_or(|rise| self.reaches(&set, rise, self.best.gain))
    }

    fn change(&mut self, unit: usize, set: Set) -> u32 {
        if set.step == self.standing[unit] {
            return set.change;
        }
        self.changes.push(Change { unit: unit as u32, step: set.step, before: set.change });
        (self.changes.len() - 1) as u32
    }

    /// The step of each unit in the best choice.
    fn solution(&self) -> Vec<usize> {
        let mut steps: Vec<usize> = self.standing.iter().map(|step| *step as usize).collect();
        let mut change = self.best.change;
        while let Some(Change { unit, step, before }) = self.changes.get(change as usize) {
            steps[*unit as usize] = *step as usize;
            change = *before;
        }
        steps
    }

    /// Whether a set can come to more than `best` with what is outside of the core: by a part of the next rise, as if it
    /// could be divided.
    fn can_beat(&self, set: &Set, above: Option<Rise>, below: Option<Rise>, best: i64) -> bool {
        let is_within = set.size <= self.limit;
        match if is_within { above } else { below } {
            Some(rise) => self.reaches(set, &rise, best),
            // There is nothing more to take; or too much is taken, and nothing left to give back.
            None => is_within && set.gain > best,
        }
    }

    /// Whether a set comes to more than `best`, as a whole number, with room filled or given back at the slope of a rise.
    fn reaches(&self, set: &Set, rise: &Rise, best: i64) -> bool {
        let (over, room) = (set.gain - best - 1, self.limit - set.size);
        if self.is_small {
            return over * rise.size + room * rise.gain >= 0;
        }
        i128::from(over) * i128::from(rise.size) + i128::from(room) * i128::from(rise.gain) >= 0
    }
}
