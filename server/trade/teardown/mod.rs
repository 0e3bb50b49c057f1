//! Teardown: open a unit or sell it whole, how far, which kind rather than which, what tonight, and what was learned.
//!
//! A kind of unit is a tree: the whole unit, its parts, parts of parts. What a piece brings comes from today's nets per
//! mass of each grade; what it costs is minutes.

mod compare;
mod depth;
mod evening;
mod knapsack;
mod learned;
mod log;
mod order;
mod ways;

use std::collections::BTreeMap;

use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

use crate::ids::{GradeId, PartId};
use crate::mass::{HEAVIEST_GRAMS, Mass};

pub use compare::{Beyond, Comparison, Decides, Side, compare};
pub use depth::{Brought, Deed, Depth, Step, depth};
pub use evening::{Evening, EveningProblem, Left, MOST_UNITS, Opened, Pile, evening};
pub use knapsack::{Chosen, ChosenEach, Item, Units, choose, choose_each};
pub use learned::{COUNTS_AS, Estimate, Finished, LearnedKind, Prior, learn, shrink};
pub use log::{Balance, Entry, EntryKind, Progress, Spell, Weighed, last_place};
pub use ways::{Way, Ways, ways};

/// What a grade brings today, after everything, in home currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Net {
    PerGram(Decimal),
    /// Sold by the piece, whatever it weighs.
    PerPiece(Decimal),
}

impl Net {
    pub fn of(self, mass: Mass, pieces: u32) -> Decimal {
        match self {
            Net::PerGram(amount) => amount * mass.grams(),
            Net::PerPiece(amount) => amount * Decimal::from(pieces),
        }
    }

    /// What a part adds to the piece that it stays on: nothing where that is sold by the piece.
    pub fn of_more(self, mass: Mass) -> Decimal {
        match self {
            Net::PerGram(amount) => amount * mass.grams(),
            Net::PerPiece(_) => Decimal::ZERO,
        }
    }
}

/// Grades with a price.
pub type Nets = BTreeMap<GradeId, Net>;

/// A piece as it is written down: the unit itself, or a part of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    pub id: PartId,
    pub name: String,
    /// What it is sold as; `None` where nobody pays for it.
    pub grade: Option<GradeId>,
    /// How many of it there are in the piece that it is a part of.
    pub count: u32,
    /// Of one, with all that is in it.
    pub mass: Mass,
    /// How far one differs from another: a standard deviation.
    pub spread: Mass,
    /// To take one off.
    pub minutes: Decimal,
    /// What it counts as while it is left on; `None` stands for what the piece around it is sold as.
    pub stays_on: Option<GradeId>,
    /// Not to be opened here, whatever is in it.
    pub sealed: bool,
    /// A part beside it that has to be off before: a lid, a shell.
    #[serde(default)]
    pub behind: Option<PartId>,
}

/// A unit and everything in it.
///
/// Invariant: the unit comes first, each part after the piece that it is in; ids are unique; what a part is behind is in the
/// same piece, and nothing is behind itself; masses, minutes and spreads are not below zero, and counts not zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "Vec<(Piece, Option<PartId>)>", into = "Vec<(Piece, Option<PartId>)>")]
pub struct Tree {
    pieces: Vec<Piece>,
    /// The piece that each is in.
    within: Vec<Option<usize>>,
    /// The part beside it that each is behind.
    behind: Vec<Option<usize>>,
}

/// Parts of one piece, of one unit, and minutes of one part: beyond these a file is wrong, and sums stay small.
const MOST_PARTS: usize = 1000;
const MOST_OF_ONE: u32 = 10_000;
const MOST_MINUTES: Decimal = dec!(100_000);

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TreeProblem {
    #[error("there is no unit")]
    Empty,
    #[error("there are more than {MOST_PARTS} parts")]
    TooMany,
    #[error("two pieces are called {0}")]
    Twice(PartId),
    #[error("{part} is in {within}, which is not there")]
    Nowhere { part: PartId, within: PartId },
    #[error("{0} is a part of itself, by way of others or directly")]
    InItself(PartId),
    #[error("{part} is behind {behind}, which is not beside it, or behind it in turn")]
    Behind { part: PartId, behind: PartId },
    #[error("{0} has a count, a mass, a spread or minutes that cannot be")]
    Figures(PartId),
}

impl Tree {
    /// The unit, and its parts in any order, each with the id of the part that it is in; `None` is the unit.
    pub fn new(unit: Piece, parts: Vec<(Piece, Option<PartId>)>) -> Result<Tree, TreeProblem> {
        if parts.len() > MOST_PARTS {
            return Err(TreeProblem::TooMany);
        }
        for piece in std::iter::once(&unit).chain(parts.iter().map(|(part, _)| part)) {
            let fits = |amount: Decimal, most: Decimal| amount >= Decimal::ZERO && amount <= most;
            let is_good = (1..=MOST_OF_ONE).contains(&piece.count)
                && fits(piece.mass.grams(), HEAVIEST_GRAMS)
                && fits(piece.spread.grams(), HEAVIEST_GRAMS)
                && fits(piece.minutes, MOST_MINUTES);
            if !is_good {
                return Err(TreeProblem::Figures(piece.id.clone()));
            }
        }
        let mut places: BTreeMap<PartId, usize> = BTreeMap::from([(unit.id.clone(), 0)]);
        let ids: Vec<PartId> = parts.iter().map(|(part, _)| part.id.clone()).collect();
        for (nth, id) in ids.iter().enumerate() {
            if *id == unit.id || ids[..nth].contains(id) {
                return Err(TreeProblem::Twice(id.clone()));
            }
        }
        if let Some((part, Some(within))) = parts
            .iter()
            .find(|(_, within)| within.as_ref().is_some_and(|w| *w != unit.id && !ids.contains(w)))
        {
            return Err(TreeProblem::Nowhere { part: part.id.clone(), within: within.clone() });
        }
        let mut tree = Tree { pieces: vec![unit], within: vec![None], behind: Vec::new() };
        let mut left = parts;
        while !left.is_empty() {
            let before = left.len();
            let mut later = Vec::new();
            for (part, within) in left {
                let place = within.as_ref().map_or(Some(0), |id| places.get(id).copied());
                let Some(place) = place else {
                    later.push((part, within));
                    continue;
                };
                places.insert(part.id.clone(), tree.pieces.len());
                tree.pieces.push(part);
                tree.within.push(Some(place));
            }
            if later.len() == before {
                return Err(TreeProblem::InItself(later.swap_remove(0).0.id));
            }
            left = later;
        }
        tree.find_behind()?;
        Ok(tree)
    }

    fn find_behind(&mut self) -> Result<(), TreeProblem> {
        for (at, piece) in self.pieces.iter().enumerate() {
            let beside = |id: &PartId| {
                let there = self.piece(id).map(|(other, _)| other);
                let there =
                    there.filter(|&other| at > 0 && other != at && self.within[other] == self.within[at]);
                there.ok_or_else(|| TreeProblem::Behind { part: piece.id.clone(), behind: id.clone() })
            };
            let behind = piece.behind.as_ref().map(beside).transpose()?;
            self.behind.push(behind);
        }
        for (at, piece) in self.pieces.iter().enumerate() {
            let mut before = self.behind[at];
            for _ in 0..self.pieces.len() {
                before = before.and_then(|other| self.behind[other]);
            }
            if let (Some(_), Some(behind)) = (before, &piece.behind) {
                return Err(TreeProblem::Behind { part: piece.id.clone(), behind: behind.clone() });
            }
        }
        Ok(())
    }

    pub fn unit(&self) -> &Piece {
        &self.pieces[0]
    }

    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    pub fn piece(&self, id: &PartId) -> Option<(usize, &Piece)> {
        self.pieces.iter().enumerate().find(|(_, piece)| piece.id == *id)
    }

    /// The piece that one is in; `None` of the unit.
    pub fn within(&self, piece: usize) -> Option<usize> {
        self.within.get(piece).copied().flatten()
    }

    /// The part beside it that has to be off before.
    pub fn behind(&self, piece: usize) -> Option<usize> {
        self.behind.get(piece).copied().flatten()
    }

    pub fn parts_of(&self, piece: usize) -> impl Iterator<Item = usize> {
        self.within.iter().enumerate().filter(move |(_, within)| **within == Some(piece)).map(|(at, _)| at)
    }

    /// How many of a piece there are in the whole unit.
    pub fn in_unit(&self, piece: usize) -> u32 {
        let mut all = 1_u32;
        let mut at = Some(piece);
        while let Some(place) = at {
            all = all.saturating_mul(self.pieces[place].count);
            at = self.within[place];
        }
        all
    }

    /// What a piece counts as while it is left on.
    pub fn stays_on(&self, piece: usize) -> Option<&GradeId> {
        let around = self.within(piece).and_then(|within| self.pieces[within].grade.as_ref());
        self.pieces[piece].stays_on.as_ref().or(around)
    }

    /// What a piece has without value when it is opened: its mass less its parts'.
    pub fn waste_of(&self, piece: usize) -> Mass {
        let parts: Mass = self
            .parts_of(piece)
            .map(|part| self.pieces[part].mass.times(Decimal::from(self.pieces[part].count)))
            .sum();
        self.pieces[piece].mass - parts
    }

    /// The same tree with other figures, piece by piece.
    pub(crate) fn with(&self, change: impl Fn(usize, &Piece) -> Piece) -> Tree {
        let pieces = self.pieces.iter().enumerate().map(|(at, piece)| change(at, piece)).collect();
        Tree { pieces, within: self.within.clone(), behind: self.behind.clone() }
    }
}

impl TryFrom<Vec<(Piece, Option<PartId>)>> for Tree {
    type Error = TreeProblem;
    fn try_from(mut pieces: Vec<(Piece, Option<PartId>)>) -> Result<Tree, TreeProblem> {
        if pieces.is_empty() {
            return Err(TreeProblem::Empty);
        }
        let (unit, _) = pieces.remove(0);
        Tree::new(unit, pieces)
    }
}

impl From<Tree> for Vec<(Piece, Option<PartId>)> {
    fn from(tree: Tree) -> Self {
        let within: Vec<Option<PartId>> =
            tree.within.iter().map(|within| within.map(|at| tree.pieces[at].id.clone())).collect();
        tree.pieces.into_iter().zip(within).collect()
    }
}
