//! Teardown: how deep, which kind, what tonight, what was learned, and what a log comes to.

mod compare;
mod depth;
mod evening;
mod learned;
mod log;

use rust_decimal::Decimal;
use trade::ids::{GradeId, PartId};
use trade::mass::Mass;
use trade::teardown::{Net, Nets, Piece, Tree};

/// So many grams.
pub fn g(grams: i64) -> Mass {
    Mass::from_grams(Decimal::from(grams))
}

/// A piece that is sold as `grade`, or as nothing where that is empty, and takes so many minutes to come off.
pub fn piece(id: &str, grade: &str, grams: i64, minutes: i64) -> Piece {
    Piece {
        id: id.into(),
        name: id.to_string(),
        grade: (!grade.is_empty()).then(|| GradeId::new(grade)),
        count: 1,
        mass: g(grams),
        spread: Mass::ZERO,
        minutes: Decimal::from(minutes),
        stays_on: None,
        sealed: false,
        behind: None,
    }
}

/// Parts with what they are in; nothing is the unit.
pub fn tree(unit: Piece, parts: Vec<(Piece, &str)>) -> Tree {
    let within = |id: &str| (!id.is_empty()).then(|| PartId::new(id));
    Tree::new(unit, parts.into_iter().map(|(part, id)| (part, within(id))).collect()).expect("a tree")
}

/// Grades with what a gram of them brings.
pub fn nets(per_gram: &[(&str, Decimal)]) -> Nets {
    per_gram.iter().map(|(grade, amount)| (GradeId::new(*grade), Net::PerGram(*amount))).collect()
}
