//! Kinds side by side: what one of each leaves, and what it is that decides between the best two.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::{Depth, Net, Nets, Tree};
use crate::ids::{GradeId, KindId};
use crate::mass::Mass;

/// A kind with its depth.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    pub kind: &'a KindId,
    pub tree: &'a Tree,
    pub depth: &'a Depth,
}

impl Side<'_> {
    /// At its best, for each gram of the unit; `None` of a unit without mass.
    pub fn per_gram(&self) -> Option<Decimal> {
        self.depth.value().checked_div(self.tree.unit().mass.grams())
    }
}

/// What makes one kind worth more than the other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Decides {
    /// So much more of a grade, that brings so much more.
    Grade { grade: GradeId, mass: Mass, pieces: i64, amount: Decimal },
    /// So many minutes less, that cost so much less.
    Minutes { minutes: Decimal, amount: Decimal },
    /// They leave the same.
    Nothing,
}

/// What a kind has beyond what all the others have too.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Beyond {
    pub grade: GradeId,
    pub mass: Mass,
    pub pieces: u32,
    pub amount: Decimal,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// The sides, by what one unit of each leaves: the best first.
    pub order: Vec<usize>,
    /// What the best one leaves beyond the second, and what decides it.
    pub lead: Decimal,
    pub decides: Decides,
    /// What every one of them brings: it cancels.
    pub common: Vec<Beyond>,
    /// By side: what is left when that is cancelled.
    pub beyond: Vec<Vec<Beyond>>,
}

/// Compares two kinds or more, each at its best depth; `None` of fewer.
pub fn compare(sides: &[Side<'_>], nets: &Nets) -> Option<Comparison> {
    let mut order: Vec<usize> = (0..sides.len()).collect();
    order.sort_by(|&one, &other| sides[other].depth.value().cmp(&sides[one].depth.value()));
    let [first, second, ..] = order.as_slice() else { return None };
    let (first, second) = (*first, *second);
    let common = common(sides, nets);
    let beyond = sides.iter().map(|side| beyond(side, &common, nets)).collect();
    let lead = sides[first].depth.value() - sides[second].depth.value();
    let decides =
        if lead.is_zero() { Decides::Nothing } else { decides(&sides[first], &sides[second], nets) };
    Some(Comparison { order, lead, decides, common, beyond })
}

fn amount(nets: &Nets, grade: &GradeId, mass: Mass, pieces: i64) -> Decimal {
    match nets.get(grade) {
        Some(Net::PerGram(net)) => net * mass.grams(),
        Some(Net::PerPiece(net)) => net * Decimal::from(pieces),
        None => Decimal::ZERO,
    }
}

/// By grade the least that any of them brings.
fn common(sides: &[Side<'_>], nets: &Nets) -> Vec<Beyond> {
    let Some((first, rest)) = sides.split_first() else { return Vec::new() };
    let in_all = |brought: &super::Brought| {
        let (mut mass, mut pieces) = (brought.mass, brought.pieces);
        for side in rest {
            let other = side.depth.brought.iter().find(|other| other.grade == brought.grade)?;
            (mass, pieces) = (mass.min(other.mass), pieces.min(other.pieces));
        }
        let amount = amount(nets, &brought.grade, mass, pieces.into());
        Some(Beyond { grade: brought.grade.clone(), mass, pieces, amount })
    };
    first.depth.brought.iter().filter_map(in_all).collect()
}

fn beyond(side: &Side<'_>, common: &[Beyond], nets: &Nets) -> Vec<Beyond> {
    let without = |brought: &super::Brought| {
        let shared = common.iter().find(|shared| shared.grade == brought.grade);
        let (mass, pieces) = shared.map_or((brought.mass, brought.pieces), |shared| {
            (brought.mass - shared.mass, brought.pieces.saturating_sub(shared.pieces))
        });
        let amount = amount(nets, &brought.grade, mass, pieces.into());
        Beyond { grade: brought.grade.clone(), mass, pieces, amount }
    };
    let mut beyond: Vec<Beyond> = side.depth.brought.iter().map(without).collect();
    beyond.retain(|one| one.mass.is_positive() || one.pieces > 0);
    beyond.sort_by_key(|one| std::cmp::Reverse(one.amount));
    beyond
}

/// Of all differences between the two, the one that speaks most for the better one.
fn decides(better: &Side<'_>, worse: &Side<'_>, nets: &Nets) -> Decides {
    let of = |side: &Side<'_>| -> BTreeMap<GradeId, (Mass, i64)> {
        side.depth.brought.iter().map(|b| (b.grade.clone(), (b.mass, i64::from(b.pieces)))).collect()
    };
    let (more, less) = (of(better), of(worse));
    let grades: BTreeSet<&GradeId> = more.keys().chain(less.keys()).collect();
    let difference = |grade: &GradeId| {
        let (one, other) =
            (more.get(grade).copied().unwrap_or_default(), less.get(grade).copied().unwrap_or_default());
        let (mass, pieces) = (one.0 - other.0, one.1 - other.1);
        Decides::Grade { grade: grade.clone(), mass, pieces, amount: amount(nets, grade, mass, pieces) }
    };
    let minutes = Decides::Minutes {
        minutes: worse.depth.minutes() - better.depth.minutes(),
        amount: worse.depth.labour() - better.depth.labour(),
    };
    let speaks = |decides: &Decides| match decides {
        Decides::Grade { amount, .. } | Decides::Minutes { amount, .. } => *amount,
        Decides::Nothing => Decimal::ZERO,
    };
    grades.into_iter().map(difference).chain([minutes]).max_by_key(speaks).unwrap_or(Decides::Nothing)
}
