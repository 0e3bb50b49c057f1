//! How deep to go: each piece sold as it is or opened, each part taken off or left on.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use super::order::{Job, in_order};
use super::{Nets, Tree};
use crate::ids::GradeId;
use crate::mass::Mass;

/// What is done in one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Deed {
    /// The unit is opened: it can no longer be sold whole.
    Open,
    TakeOff,
    /// It comes off and is opened too, for what is in it.
    TakeOffAndOpen,
}

/// One step, for all pieces of the sort in the unit. Amounts in home currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its place in the tree.
    pub piece: usize,
    pub deed: Deed,
    pub count: u32,
    pub minutes: Decimal,
    /// What it adds, with the labour paid.
    pub gain: Decimal,
    pub labour: Decimal,
    /// What all steps up to this one add, and take.
    pub gain_so_far: Decimal,
    pub minutes_so_far: Decimal,
}

impl Step {
    /// What an hour of it earns, before it is paid for; `None` of what takes no time.
    pub fn per_hour(&self) -> Option<Decimal> {
        per_hour(self.gain + self.labour, self.minutes)
    }
}

pub(super) fn per_hour(amount: Decimal, minutes: Decimal) -> Option<Decimal> {
    (minutes > Decimal::ZERO).then(|| amount.checked_mul(dec!(60))?.checked_div(minutes)).flatten()
}

/// Something that is sold in the end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Brought {
    pub grade: GradeId,
    pub mass: Mass,
    pub pieces: u32,
    pub amount: Decimal,
}

/// How deep a unit is worth opening.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Depth {
    /// What it brings sold as it is.
    pub whole: Decimal,
    /// What it brings opened as far as that pays, with the labour paid; `None` where it has no parts or is not opened here.
    pub opened: Option<Decimal>,
    /// The steps in the best order: those that pay, then those that do not, as if they were done all the same.
    pub steps: Vec<Step>,
    /// How many of the steps pay: the best place to stop.
    pub stop: usize,
    /// What is sold in the end, by grade, where the best is done.
    pub brought: Vec<Brought>,
    /// Grades of the tree that have no price; they count as nothing.
    pub unpriced: BTreeSet<GradeId>,
}

impl Depth {
    pub fn pays_to_open(&self) -> bool {
        self.opened.is_some_and(|opened| opened > self.whole)
    }

    /// What the unit is worth at its best.
    pub fn value(&self) -> Decimal {
        self.opened.map_or(self.whole, |opened| opened.max(self.whole))
    }

    /// What opening adds; zero where the unit is better sold whole.
    pub fn gain(&self) -> Decimal {
        self.value() - self.whole
    }

    /// Of the steps that pay.
    pub fn minutes(&self) -> Decimal {
        self.steps[..self.stop].last().map_or(Decimal::ZERO, |step| step.minutes_so_far)
    }

    pub fn labour(&self) -> Decimal {
        self.steps[..self.stop].iter().map(|step| step.labour).sum()
    }

    /// What an hour of opening earns over selling whole, before it is paid for.
    pub fn per_hour(&self) -> Option<Decimal> {
        per_hour(self.gain() + self.labour(), self.minutes())
    }

    /// Left on or not opened, though the tree has it.
    pub fn does(&self, piece: usize) -> bool {
        self.steps[..self.stop].iter().any(|step| step.piece == piece)
    }
}

/// Of one piece of each sort, what the best is.
pub(super) struct Valued<'a> {
    pub(super) tree: &'a Tree,
    nets: &'a Nets,
    pub(super) per_minute: Decimal,
    pub(super) children: Vec<Vec<usize>>,
    pub(super) sold: Vec<Decimal>,
    /// Left on the piece around it.
    pub(super) on: Vec<Decimal>,
    pub(super) opened: Vec<Option<Decimal>>,
    /// Whether it is taken off, once the piece around it is open.
    comes_off: Vec<bool>,
}

/// Values a kind at these nets and this labour rate, exactly: `value = max(sold as it is, opened)`, and opened is the
/// sum over the parts of the better of taken off, with the labour paid, and left on. A part is taken off, and a piece
/// opened, only where that pays more than not to; a part that others are behind, where it pays with them.
pub fn depth(tree: &Tree, nets: &Nets, labour_per_hour: Decimal) -> Depth {
    let valued = Valued::new(tree, nets, labour_per_hour);
    let steps = valued.steps();
    let (whole, opened) = (valued.sold[0], valued.opened[0]);
    let pays = opened.is_some_and(|opened| opened > whole);
    let (steps, stop) = valued.row(steps, pays);
    let brought = valued.brought(pays);
    Depth { whole, opened, steps, stop, brought, unpriced: valued.unpriced() }
}

impl<'a> Valued<'a> {
    pub(super) fn new(tree: &'a Tree, nets: &'a Nets, labour_per_hour: Decimal) -> Self {
        let pieces = tree.pieces();
        let mut children = vec![Vec::new(); pieces.len()];
        for at in 1..pieces.len() {
            if let Some(within) = tree.within(at) {
                children[within].push(at);
            }
        }
        let net = |grade: Option<&GradeId>| grade.and_then(|grade| nets.get(grade));
        let sold =
            pieces.iter().map(|p| net(p.grade.as_ref()).map_or(Decimal::ZERO, |net| net.of(p.mass, 1)));
        let on = (0..pieces.len())
            .map(|at| net(tree.stays_on(at)).map_or(Decimal::ZERO, |net| net.of_more(pieces[at].mass)));
        let mut valued = Valued {
            tree,
            nets,
            per_minute: labour_per_hour / dec!(60),
            children,
            sold: sold.collect(),
            on: on.collect(),
            opened: vec![None; pieces.len()],
            comes_off: vec![false; pieces.len()],
        };
        // Parts come after what they are in, so from the end all parts are valued before their piece.
        for at in (0..pieces.len()).rev() {
            if !valued.children[at].is_empty() && !pieces[at].sealed {
                let adds = valued.choose_parts(at);
                valued.opened[at] = Some(valued.all_left_on(at) + adds);
            }
        }
        valued
    }

    /// Decides which parts of a piece come off, and says what that adds to leaving all of them on.
    fn choose_parts(&mut self, at: usize) -> Decimal {
        let parts = self.children[at].clone();
        let first = parts.iter().copied().filter(|&part| self.tree.behind(part).is_none());
        let adds: Decimal = first.map(|part| self.add_part(part, &parts).max(Decimal::ZERO)).sum();
        // What is behind a part that stays on stays on too.
        for &part in &parts {
            let mut before = self.tree.behind(part);
            while let Some(other) = before {
                if !self.comes_off[other] {
                    self.comes_off[part] = false;
                    break;
                }
                before = self.tree.behind(other);
            }
        }
        adds
    }

    /// What taking a part off adds, with the best of what is behind it; not below zero for those.
    fn add_part(&mut self, part: usize, beside: &[usize]) -> Decimal {
        let count = Decimal::from(self.tree.pieces()[part].count);
        let mut adds = (self.off(part) - self.on[part]) * count;
        for &other in beside {
            if self.tree.behind(other) == Some(part) {
                adds += self.add_part(other, beside).max(Decimal::ZERO);
            }
        }
        self.comes_off[part] = adds > Decimal::ZERO;
        adds
    }

    fn pays_to_open(&self, at: usize) -> bool {
        self.opened[at].is_some_and(|opened| opened > self.sold[at])
    }

    fn value(&self, at: usize) -> Decimal {
        self.opened[at].map_or(self.sold[at], |opened| opened.max(self.sold[at]))
    }

    pub(super) fn labour(&self, at: usize) -> Decimal {
        self.tree.pieces()[at].minutes * self.per_minute
    }

    /// One taken off, with the labour paid.
    fn off(&self, at: usize) -> Decimal {
        self.value(at) - self.labour(at)
    }

    /// What the parts of a piece bring while they are left on it, once it is opened.
    pub(super) fn all_left_on(&self, at: usize) -> Decimal {
        let count = |part: &usize| Decimal::from(self.tree.pieces()[*part].count);
        self.children[at].iter().map(|part| self.on[*part] * count(part)).sum()
    }

    /// A step without its place in the row.
    fn step(&self, at: usize, deed: Deed, one: Decimal) -> Step {
        let count = self.tree.in_unit(at);
        let (minutes, labour) = match deed {
            Deed::Open => (Decimal::ZERO, Decimal::ZERO),
            _ => (self.tree.pieces()[at].minutes, self.labour(at)),
        };
        let all = Decimal::from(count);
        Step {
            piece: at,
            deed,
            count,
            minutes: minutes * all,
            gain: (one - labour) * all,
            labour: labour * all,
            gain_so_far: Decimal::ZERO,
            minutes_so_far: Decimal::ZERO,
        }
    }

    /// A step that does not pay, with what is done inside of the part once it is off.
    fn step_all_the_same(&self, at: usize) -> Step {
        let mut step = self.step(at, Deed::TakeOff, self.value(at) - self.on[at]);
        let inside = self.minutes_inside(at) * Decimal::from(step.count);
        step.minutes += inside;
        step.labour += inside * self.per_minute;
        step
    }

    fn minutes_inside(&self, at: usize) -> Decimal {
        if !self.pays_to_open(at) {
            return Decimal::ZERO;
        }
        let pieces = self.tree.pieces();
        let parts = self.children[at].iter().filter(|part| self.comes_off[**part]);
        parts
            .map(|&part| {
                (pieces[part].minutes + self.minutes_inside(part)) * Decimal::from(pieces[part].count)
            })
            .sum()
    }

    /// The steps of opening the unit as far as that pays, each after the one of the piece around it.
    fn steps(&self) -> Vec<Step> {
        if self.opened[0].is_none() {
            return Vec::new();
        }
        let mut steps = vec![self.step(0, Deed::Open, self.all_left_on(0) - self.sold[0])];
        let mut open = vec![0];
        while let Some(at) = open.pop() {
            for &part in self.children[at].iter().filter(|part| self.comes_off[**part]) {
                if self.pays_to_open(part) {
                    let one = self.all_left_on(part) - self.on[part];
                    steps.push(self.step(part, Deed::TakeOffAndOpen, one));
                    open.push(part);
                } else {
                    steps.push(self.step(part, Deed::TakeOff, self.sold[part] - self.on[part]));
                }
            }
        }
        steps.sort_by_key(|step| step.piece);
        steps
    }

    /// Steps in the best order; the first one waits for none, and a step whose own is not among them for the first.
    fn ordered(&self, steps: Vec<Step>) -> Vec<Step> {
        let places: BTreeMap<usize, usize> =
            steps.iter().enumerate().map(|(nth, step)| (step.piece, nth)).collect();
        let job = |(nth, step): (usize, &Step)| {
            let before = self.tree.behind(step.piece).or(self.tree.within(step.piece));
            let before = before.and_then(|other| places.get(&other).copied()).unwrap_or(0);
            Job { gain: step.gain, minutes: step.minutes, after: (nth > 0).then_some(before) }
        };
        let jobs: Vec<Job> = steps.iter().enumerate().map(job).collect();
        in_order(&jobs).into_iter().map(|nth| steps[nth].clone()).collect()
    }

    /// All steps in their order with what they come to, and how many of them pay.
    fn row(&self, steps: Vec<Step>, pays: bool) -> (Vec<Step>, usize) {
        let is_done: Vec<usize> = steps.iter().map(|step| step.piece).collect();
        let mut row = self.ordered(steps);
        let stop = if pays { row.len() } else { 0 };
        let is_opened = |at: usize| {
            row.iter().any(|step| step.piece == at && matches!(step.deed, Deed::Open | Deed::TakeOffAndOpen))
        };
        let mut rest: Vec<Step> = (1..self.tree.pieces().len())
            .filter(|&at| !is_done.contains(&at) && self.tree.within(at).is_some_and(is_opened))
            .map(|at| self.step_all_the_same(at))
            .collect();
        // What stands for all that was done before comes first, and goes again.
        rest.insert(0, self.step(0, Deed::Open, Decimal::ZERO));
        let rest = self.ordered(rest).split_off(1);
        row.extend(rest);
        let (mut gain, mut minutes) = (Decimal::ZERO, Decimal::ZERO);
        for step in &mut row {
            gain += step.gain;
            minutes += step.minutes;
            (step.gain_so_far, step.minutes_so_far) = (gain, minutes);
        }
        (row, stop)
    }

    /// What is sold where the best is done.
    fn brought(&self, pays: bool) -> Vec<Brought> {
        let pieces = self.tree.pieces();
        let mut by_grade: BTreeMap<&GradeId, (Mass, u32)> = BTreeMap::new();
        let mut add = |grade: Option<&'a GradeId>, mass: Mass, pieces: u32| {
            if let Some(grade) = grade {
                let sum = by_grade.entry(grade).or_default();
                sum.0 += mass;
                sum.1 = sum.1.saturating_add(pieces);
            }
        };
        if !pays {
            add(pieces[0].grade.as_ref(), pieces[0].mass, 1);
        }
        let mut open = if pays { vec![0] } else { Vec::new() };
        while let Some(at) = open.pop() {
            for &part in &self.children[at] {
                let count = self.tree.in_unit(part);
                let mass = pieces[part].mass.times(Decimal::from(count));
                if !self.comes_off[part] {
                    add(self.tree.stays_on(part), mass, 0);
                } else if self.pays_to_open(part) {
                    open.push(part);
                } else {
                    add(pieces[part].grade.as_ref(), mass, count);
                }
            }
        }
        let brought = |(grade, (mass, pieces)): (&GradeId, (Mass, u32))| Brought {
            grade: grade.clone(),
            mass,
            pieces,
            amount: self.nets.get(grade).map_or(Decimal::ZERO, |net| net.of(mass, pieces)),
        };
        by_grade.into_iter().map(brought).collect()
    }

    fn unpriced(&self) -> BTreeSet<GradeId> {
        let grades = self.tree.pieces().iter().flat_map(|piece| [&piece.grade, &piece.stays_on]).flatten();
        grades.filter(|grade| !self.nets.contains_key(*grade)).cloned().collect()
    }
}
