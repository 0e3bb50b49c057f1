//! A yard run as one drive: from the shop to several yards and back.
//!
//! A yard's trip by itself is the way there and back. Who goes on from one yard to the next instead of by the shop saves
//! what the road between them is shorter, so a drive costs the trips of its yards less what each step from one to the
//! next saves. The order that saves most is found exactly, for every set of up to [`MOST`] yards at once, by dynamic
//! programming over sets (Bellman 1962; Held and Karp 1962).

use std::cmp::Ordering;
use std::collections::BTreeMap;

use rust_decimal::{Decimal, dec};

use crate::costs::Costs;
use crate::ids::OutletId;
use crate::outlet::{Drive, Outlet, Way};

/// The most yards of one drive.
pub const MOST: usize = 8;

/// Roads between yards. Where none is known the way is by the shop.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Roads {
    /// Kilometres, by the two ends in order.
    between: BTreeMap<(OutletId, OutletId), Decimal>,
    /// The time that a kilometre less on the road saves; nothing if time does not count.
    minutes_per_km: Decimal,
}

impl Roads {
    pub const NONE: Roads = Roads { between: BTreeMap::new(), minutes_per_km: Decimal::ZERO };

    pub fn new(minutes_per_km: Decimal) -> Roads {
        Roads { between: BTreeMap::new(), minutes_per_km: minutes_per_km.max(Decimal::ZERO) }
    }

    /// Adds a road, or replaces the one that there was. `false` where it leads nowhere or is shorter than nothing.
    pub fn add(&mut self, one: &OutletId, other: &OutletId, km: Decimal) -> bool {
        let good = one != other && km >= Decimal::ZERO;
        if good {
            self.between.insert(ends(one, other), km);
        }
        good
    }

    /// Kilometres, where a road is known.
    pub fn between(&self, one: &OutletId, other: &OutletId) -> Option<Decimal> {
        self.between.get(&ends(one, other)).copied()
    }

    pub fn is_empty(&self) -> bool {
        self.between.is_empty()
    }

    pub const fn minutes_per_km(&self) -> Decimal {
        self.minutes_per_km
    }
}

fn ends(one: &OutletId, other: &OutletId) -> (OutletId, OutletId) {
    let (first, last) = if one < other { (one, other) } else { (other, one) };
    (first.clone(), last.clone())
}

/// One drive from the shop to several yards and back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tour {
    /// In the order of the drive.
    pub stops: Vec<OutletId>,
    pub distance_km: Decimal,
    /// Driving, loading, and what is done at the yards.
    pub minutes: Decimal,
    /// In home currency.
    pub cost: Decimal,
    /// What a drive to each yard by itself would cost more.
    pub saved: Decimal,
}

/// What driving from one yard to the next saves, or all steps of a drive: the more money the better, and with as much money
/// the shorter the better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
struct Saving {
    money: Decimal,
    km: Decimal,
    minutes: Decimal,
}

impl Saving {
    fn and(self, more: Saving) -> Saving {
        Saving { money: self.money + more.money, km: self.km + more.km, minutes: self.minutes + more.minutes }
    }
}

/// The drives to any of some yards.
#[derive(Debug, Clone, Default)]
pub struct Tours {
    costs: Option<Costs>,
    groups: Vec<Group>,
}

/// Yards that can be on one drive.
#[derive(Debug, Clone)]
pub struct Group {
    /// By index of those given, ascending.
    pub yards: Vec<usize>,
    stops: Vec<(OutletId, Drive)>,
    /// By two positions among the yards.
    steps: Vec<Saving>,
    /// By set of yards and the last of them: the most that driving through all of them saves, and the one before the last.
    best: Vec<(Saving, usize)>,
}

impl Tours {
    /// Between those of the outlets that somebody drives to. Of more than [`MOST`] yards that roads bring together, the roads
    /// that save most count, and a group that is full takes no more.
    pub fn new(outlets: &[Outlet], roads: &Roads, costs: &Costs) -> Tours {
        Tours::up_to(MOST, outlets, roads, costs)
    }

    /// [`Tours::new`] with another number of yards: the work doubles with each.
    pub fn up_to(most: usize, outlets: &[Outlet], roads: &Roads, costs: &Costs) -> Tours {
        if roads.is_empty() {
            return Tours::default();
        }
        let yards: Vec<(usize, &OutletId, Drive)> = outlets
            .iter()
            .enumerate()
            .filter_map(|(index, outlet)| match outlet.way {
                Way::Drive(drive) => Some((index, &outlet.id, drive)),
                Way::Post(_) => None,
            })
            .collect();
        let steps = steps(&yards, roads, costs);
        let count = yards.len();
        // The roads that save most bring their yards together first.
        let mut pairs: Vec<(usize, usize)> =
            (0..count).flat_map(|one| (one + 1..count).map(move |other| (one, other))).collect();
        pairs.retain(|&(one, other)| steps[one * count + other] > Saving::default());
        pairs.sort_by(|a, b| steps[b.0 * count + b.1].cmp(&steps[a.0 * count + a.1]));
        let mut group_of: Vec<usize> = (0..count).collect();
        for (one, other) in pairs {
            let (into, from) = (group_of[one], group_of[other]);
            let size = |group: usize| group_of.iter().filter(|&&of| of == group).count();
            if into != from && size(into) + size(from) <= most {
                group_of.iter_mut().filter(|of| **of == from).for_each(|of| *of = into);
            }
        }
        let mut groups: Vec<Group> = Vec::new();
        for group in 0..count {
            let members: Vec<usize> = (0..count).filter(|&yard| group_of[yard] == group).collect();
            if members.len() > 1 {
                groups.push(Group::new(&members, &yards, &steps));
            }
        }
        Tours { costs: Some(*costs), groups }
    }

    pub fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// What driving to the yards together saves against a drive to each, in home currency.
    pub fn saved(&self, visited: impl Fn(usize) -> bool) -> Decimal {
        self.groups.iter().map(|group| group.saved(group.set(&visited))).sum()
    }

    /// The drives to several of the yards; a yard that is best driven to by itself is in none.
    pub fn tours(&self, visited: impl Fn(usize) -> bool) -> Vec<Tour> {
        let Some(costs) = &self.costs else { return Vec::new() };
        self.groups.iter().flat_map(|group| group.tours(group.set(&visited), costs)).collect()
    }
}

/// What each step from one yard straight to another saves. A road may lead by a third yard; no way is longer than by the shop.
fn steps(yards: &[(usize, &OutletId, Drive)], roads: &Roads, costs: &Costs) -> Vec<Saving> {
    let count = yards.len();
    let by_shop = |one: usize, other: usize| yards[one].2.distance_km + yards[other].2.distance_km;
    let mut km: Vec<Decimal> = Vec::with_capacity(count * count);
    for one in 0..count {
        km.extend((0..count).map(|other| {
            let road = roads.between(yards[one].1, yards[other].1);
            let least = if one == other { Decimal::ZERO } else { by_shop(one, other) };
            road.map_or(least, |road| road.min(least))
        }));
    }
    for by in 0..count {
        for one in 0..count {
            for other in 0..count {
                let through = km[one * count + by] + km[by * count + other];
                if through < km[one * count + other] {
                    km[one * count + other] = through;
                }
            }
        }
    }
    let mut steps = Vec::with_capacity(count * count);
    for one in 0..count {
        steps.extend((0..count).map(|other| {
            if one == other {
                return Saving::default();
            }
            let less = by_shop(one, other) - km[one * count + other];
            // Two steps meet at a yard, and no trip takes less than no time.
            let whole = (yards[one].2.minutes.max(Decimal::ZERO) + yards[other].2.minutes.max(Decimal::ZERO))
                / Decimal::TWO;
            let minutes = (less * roads.minutes_per_km).min(whole);
            let money = less * costs.truck_per_km + costs.labour(minutes);
            Saving { money: money.max(Decimal::ZERO), km: less, minutes }
        }));
    }
    steps
}

impl Group {
    fn new(members: &[usize], yards: &[(usize, &OutletId, Drive)], all: &[Saving]) -> Group {
        let count = members.len();
        let step = |one: usize, other: usize| all[members[one] * yards.len() + members[other]];
        let steps: Vec<Saving> =
            (0..count).flat_map(|one| (0..count).map(move |other| step(one, other))).collect();
        let mut best = vec![(Saving::default(), 0); count << count];
        for set in 1..1usize << count {
            for last in (0..count).filter(|last| set >> last & 1 == 1) {
                let before = set & !(1 << last);
                let from = (0..count).filter(|from| before >> from & 1 == 1);
                let reached =
                    from.map(|from| (best[before * count + from].0.and(steps[from * count + last]), from));
                if let Some(most) = reached.max_by(|a, b| a.0.cmp(&b.0).then(Ordering::Greater)) {
                    best[set * count + last] = most;
                }
            }
        }
        let stops = members.iter().map(|&yard| (yards[yard].1.clone(), yards[yard].2)).collect();
        Group { yards: members.iter().map(|&yard| yards[yard].0).collect(), stops, steps, best }
    }

    /// Those of the yards, by position, that are visited.
    pub fn set(&self, visited: impl Fn(usize) -> bool) -> usize {
        self.yards.iter().enumerate().filter(|(_, yard)| visited(**yard)).map(|(at, _)| 1 << at).sum()
    }

    /// What one drive to all of a set saves, in home currency. Never less for more yards.
    pub fn saved(&self, set: usize) -> Decimal {
        self.last_of(set).map_or(Decimal::ZERO, |last| self.best[set * self.yards.len() + last].0.money)
    }

    /// Where the best drive to all of a set ends.
    fn last_of(&self, set: usize) -> Option<usize> {
        let count = self.yards.len();
        let lasts = (0..count).filter(|last| set >> last & 1 == 1);
        lasts.max_by(|&a, &b| {
            let ending = |last: usize| self.best[set * count + last].0;
            ending(a).cmp(&ending(b)).then(Ordering::Greater)
        })
    }

    fn tours(&self, set: usize, costs: &Costs) -> Vec<Tour> {
        let count = self.yards.len();
        let mut order = Vec::new();
        let (mut left, mut last) = (set, self.last_of(set));
        while let Some(stop) = last {
            order.push(stop);
            let from = self.best[left * count + stop].1;
            left &= !(1 << stop);
            last = (left != 0).then_some(from);
        }
        order.reverse();
        // A step that saves nothing leads by the shop: there one drive ends and the next begins.
        let saves = |from: &usize, to: &usize| self.steps[from * count + to] > Saving::default();
        let drives = order.chunk_by(saves).filter(|drive| drive.len() > 1);
        drives.map(|drive| self.tour(drive, costs)).collect()
    }

    fn tour(&self, drive: &[usize], costs: &Costs) -> Tour {
        let steps = drive.windows(2).map(|pair| self.steps[pair[0] * self.yards.len() + pair[1]]);
        let saving = steps.fold(Saving::default(), Saving::and);
        let stops = || drive.iter().map(|&stop| &self.stops[stop]);
        let alone: Decimal = stops().map(|(_, drive)| drive.cost(costs)).sum();
        Tour {
            stops: stops().map(|(yard, _)| yard.clone()).collect(),
            distance_km: stops().map(|(_, drive)| drive.distance_km * dec!(2)).sum::<Decimal>() - saving.km,
            minutes: stops().map(|(_, drive)| drive.minutes).sum::<Decimal>() - saving.minutes,
            cost: alone - saving.money,
            saved: saving.money,
        }
    }
}
