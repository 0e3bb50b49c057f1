//! The ways in which a unit can be opened, where there may not be the time to open it as far as that pays.

use std::rc::Rc;

use rust_decimal::Decimal;

use super::depth::{Deed, Valued, per_hour};
use super::{Nets, Tree};

/// More ways of a unit are not told apart; the kinds of the library have some dozens.
const MOST_WAYS: usize = 400;

/// One way to open a unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    pub minutes: Decimal,
    /// What it adds to selling the unit whole, with the labour paid.
    pub gain: Decimal,
    pub labour: Decimal,
    /// What is done in it, by the part's place in the tree: all pieces of a sort or none.
    pub done: Vec<(usize, Deed)>,
}

impl Way {
    /// What an hour of it earns over selling whole, before it is paid for; `None` of what takes no time.
    pub fn per_hour(&self) -> Option<Decimal> {
        per_hour(self.gain + self.labour, self.minutes)
    }
}

/// The ways that are worth the time: each takes longer than the one before, and gains more.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ways {
    pub ways: Vec<Way>,
    /// Whether some between them were left out, because there were too many.
    pub is_thinned: bool,
}

/// A way before it is written down.
#[derive(Debug, Clone)]
struct Path {
    minutes: Decimal,
    gain: Decimal,
    done: Option<Rc<Done>>,
}

#[derive(Debug)]
enum Done {
    One(usize, Deed),
    Both(Rc<Done>, Rc<Done>),
}

/// Every way to open a unit and take something off that no other one beats, in its time. The last one is as far as it pays.
pub fn ways(tree: &Tree, nets: &Nets, labour_per_hour: Decimal) -> Ways {
    let valued = Valued::new(tree, nets, labour_per_hour);
    let mut found = Found { valued: &valued, is_thinned: false };
    let paths = match valued.opened[0] {
        Some(_) => {
            let open = Path { gain: valued.all_left_on(0) - valued.sold[0], ..Path::nothing() };
            let open = found.with_parts(open, 0);
            found.best_of(std::iter::once(Path::nothing()).chain(open).collect())
        }
        None => Vec::new(),
    };
    let way = |path: Path| {
        let mut done = Vec::new();
        path.write(&mut done);
        done.sort_unstable_by_key(|(piece, _)| *piece);
        Way { minutes: path.minutes, gain: path.gain, labour: path.minutes * valued.per_minute, done }
    };
    // Opened, with everything left on, it is as it was: that is no work of an evening.
    let is_work = |path: &Path| path.gain > Decimal::ZERO && path.done.is_some();
    let ways = paths.into_iter().filter(is_work).map(way).collect();
    Ways { ways, is_thinned: found.is_thinned }
}

impl Path {
    fn nothing() -> Path {
        Path { minutes: Decimal::ZERO, gain: Decimal::ZERO, done: None }
    }

    fn write(&self, into: &mut Vec<(usize, Deed)>) {
        let mut left: Vec<&Done> = self.done.as_deref().into_iter().collect();
        while let Some(done) = left.pop() {
            match done {
                Done::One(piece, deed) => into.push((*piece, *deed)),
                Done::Both(one, other) => left.extend([&**one, &**other]),
            }
        }
    }

    fn and(&self, other: &Path) -> Path {
        let done = match (&self.done, &other.done) {
            (Some(one), Some(other)) => Some(Rc::new(Done::Both(Rc::clone(one), Rc::clone(other)))),
            (one, other) => one.as_ref().or(other.as_ref()).map(Rc::clone),
        };
        Path { minutes: self.minutes + other.minutes, gain: self.gain + other.gain, done }
    }

    fn times(self, count: u32) -> Path {
        let count = Decimal::from(count);
        Path { minutes: self.minutes * count, gain: self.gain * count, done: self.done }
    }
}

struct Found<'a> {
    valued: &'a Valued<'a>,
    is_thinned: bool,
}

impl Found<'_> {
    /// What can be done with all pieces of a part, and with what is behind it; nothing is among it.
    fn of_part(&mut self, part: usize) -> Vec<Path> {
        let valued = self.valued;
        let piece = &valued.tree.pieces()[part];
        let taken = |gain: Decimal, deed: Deed| Path {
            minutes: piece.minutes,
            gain: gain - valued.on[part] - valued.labour(part),
            done: Some(Rc::new(Done::One(part, deed))),
        };
        let mut off = vec![taken(valued.sold[part], Deed::TakeOff)];
        if valued.opened[part].is_some() {
            let open = taken(valued.all_left_on(part), Deed::TakeOffAndOpen);
            off.extend(self.with_parts(open, part));
        }
        let mut off = self.best_of(off.into_iter().map(|path| path.times(piece.count)).collect());
        let around = valued.tree.within(part).unwrap_or(0);
        for &other in &valued.children[around] {
            if valued.tree.behind(other) == Some(part) {
                let more = self.of_part(other);
                off = self.combined(&off, &more);
            }
        }
        off.push(Path::nothing());
        self.best_of(off)
    }

    /// A piece that is open, with everything that can be done with its parts.
    fn with_parts(&mut self, open: Path, at: usize) -> Vec<Path> {
        let valued = self.valued;
        let mut paths = vec![open];
        for &part in &valued.children[at] {
            if valued.tree.behind(part).is_none() {
                let more = self.of_part(part);
                paths = self.combined(&paths, &more);
            }
        }
        paths
    }

    fn combined(&mut self, some: &[Path], others: &[Path]) -> Vec<Path> {
        // Told apart before they are made: most of them are beaten.
        let mut pairs: Vec<(Decimal, Decimal, usize, usize)> = Vec::with_capacity(some.len() * others.len());
        for (at, one) in some.iter().enumerate() {
            let pair =
                |(nth, other): (usize, &Path)| (one.minutes + other.minutes, one.gain + other.gain, at, nth);
            pairs.extend(others.iter().enumerate().map(pair));
        }
        let pairs = self.unbeaten(pairs, |pair| (pair.0, pair.1));
        pairs.into_iter().map(|(_, _, at, nth)| some[at].and(&others[nth])).collect()
    }

    fn best_of(&mut self, paths: Vec<Path>) -> Vec<Path> {
        self.unbeaten(paths, |path| (path.minutes, path.gain))
    }

    /// Those of which no other takes as little time and gains as much, by their time. Of too many the hull stays, on which
    /// every bound rests, and of the rest one in so many.
    fn unbeaten<T>(&mut self, mut all: Vec<T>, figures: impl Fn(&T) -> (Decimal, Decimal)) -> Vec<T> {
        all.sort_by(|one, other| {
            let ((minutes, gain), (other_minutes, other_gain)) = (figures(one), figures(other));
            minutes.cmp(&other_minutes).then(other_gain.cmp(&gain))
        });
        let mut most = Decimal::MIN;
        all.retain(|one| {
            let gain = figures(one).1;
            let is_more = gain > most;
            most = most.max(gain);
            is_more
        });
        if all.len() <= MOST_WAYS {
            return all;
        }
        self.is_thinned = true;
        let is_on_hull = hull(&all.iter().map(&figures).collect::<Vec<_>>());
        let every = all.len().div_ceil(MOST_WAYS / 2);
        let mut nth = 0;
        all.retain(|_| {
            nth += 1;
            is_on_hull[nth - 1] || nth % every == 0
        });
        all
    }
}

/// Which of the points lie on the upper hull; they ascend in both figures.
fn hull(points: &[(Decimal, Decimal)]) -> Vec<bool> {
    let mut on: Vec<usize> = Vec::new();
    for (at, (minutes, gain)) in points.iter().enumerate() {
        while let [.., before, last] = on.as_slice() {
            let (before, last) = (points[*before], points[*last]);
            if (last.1 - before.1) * (minutes - last.0) > (gain - last.1) * (last.0 - before.0) {
                break;
            }
            on.pop();
        }
        on.push(at);
    }
    let mut is_on = vec![false; points.len()];
    for at in on {
        is_on[at] = true;
    }
    is_on
}
