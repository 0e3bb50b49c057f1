//! Two kinds side by side.

use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, KindId};
use trade::teardown::{Comparison, Decides, Nets, Side, Tree, compare, depth};

use super::{g, nets, piece, tree};

fn compared(one: &Tree, other: &Tree, nets: &Nets, rate: Decimal) -> Comparison {
    let depths = [depth(one, nets, rate), depth(other, nets, rate)];
    let names = [KindId::new("one"), KindId::new("other")];
    let side = |at: usize, tree| Side { kind: &names[at], tree, depth: &depths[at] };
    compare(&[side(0, one), side(1, other)], nets).expect("two sides")
}

fn box_of(board: i64, copper: i64, minutes: i64) -> Tree {
    let parts = vec![(piece("board", "board", board, minutes), ""), (piece("coil", "copper", copper, 0), "")];
    tree(piece("box", "", 5000, 0), parts)
}

#[test]
fn what_both_have_cancels_and_the_rest_decides() {
    let nets = nets(&[("board", dec!(0.01)), ("copper", dec!(0.008))]);
    let found = compared(&box_of(300, 500, 5), &box_of(700, 400, 5), &nets, dec!(18));
    // One: 3.00 + 4.00 − 1.50; other: 7.00 + 3.20 − 1.50.
    assert_eq!((found.order.as_slice(), found.lead), ([1, 0].as_slice(), dec!(3.2)));
    let common: Vec<_> = found.common.iter().map(|c| (c.grade.as_str(), c.mass, c.amount)).collect();
    assert_eq!(common, [("board", g(300), dec!(3)), ("copper", g(400), dec!(3.2))]);
    let beyond =
        |side: usize| -> Vec<_> { found.beyond[side].iter().map(|b| (b.grade.as_str(), b.mass)).collect() };
    assert_eq!((beyond(0), beyond(1)), (vec![("copper", g(100))], vec![("board", g(400))]));
    let board = Decides::Grade { grade: GradeId::new("board"), mass: g(400), pieces: 0, amount: dec!(4) };
    assert_eq!(found.decides, board);
}

#[test]
fn minutes_decide_where_the_parts_are_alike() {
    let nets = nets(&[("board", dec!(0.01)), ("copper", dec!(0.008))]);
    let found = compared(&box_of(700, 400, 3), &box_of(700, 400, 8), &nets, dec!(18));
    assert_eq!(found.decides, Decides::Minutes { minutes: dec!(5), amount: dec!(1.5) });
    assert!(found.beyond.iter().all(Vec::is_empty));
    let same = compared(&box_of(700, 400, 3), &box_of(700, 400, 3), &nets, dec!(18));
    assert_eq!((same.lead, same.decides), (Decimal::ZERO, Decides::Nothing));
}

#[test]
fn one_kind_alone_is_no_comparison() {
    let (tree, nets) = (box_of(1, 1, 1), nets(&[]));
    let found = depth(&tree, &nets, dec!(18));
    let kind = KindId::new("one");
    assert_eq!(compare(&[Side { kind: &kind, tree: &tree, depth: &found }], &nets), None);
    assert_eq!(compare(&[], &nets), None);
}
