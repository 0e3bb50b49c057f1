//! How deep: worked by hand, laws, and against trying every way there is.

use std::time::{Duration, Instant};

use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, PartId};
use trade::mass::Mass;
use trade::teardown::{Deed, Net, Nets, Piece, Tree, TreeProblem, depth, ways};

use super::{g, nets, piece, tree};

/// A tower at 0.001 a gram whole. The board is worth 5.00 and takes 4 minutes, the supply 0.60 whole and takes 2, and holds a
/// cord of 0.30 that takes half a minute's wage more than it brings.
fn tower() -> (Tree, Nets) {
    let unit = piece("tower", "steel", 9000, 0);
    let board = piece("board", "board", 1000, 4);
    let supply = piece("supply", "supply", 1500, 2);
    let cord = piece("cord", "cord", 100, 3);
    let tree =
        tree(unit, vec![(cord, "supply"), (board, ""), (supply, ""), (piece("case", "steel", 6500, 0), "")]);
    let nets = nets(&[
        ("steel", dec!(0.0001)),
        ("board", dec!(0.005)),
        ("supply", dec!(0.0004)),
        ("cord", dec!(0.003)),
    ]);
    (tree, nets)
}

#[test]
fn a_tower_worked_by_hand() {
    let (tree, nets) = tower();
    let found = depth(&tree, &nets, dec!(18));
    // Whole: 9,000 g × 0.0001. Opened: board 5.00 − 1.20, supply 0.60 − 0.60 against 0.15 left on, case 0.65.
    assert_eq!(found.whole, dec!(0.9));
    assert_eq!(found.opened, Some(dec!(3.80) + dec!(0.15) + dec!(0.65)));
    assert!(found.pays_to_open());
    let steps: Vec<(&str, Deed, bool)> = found
        .steps
        .iter()
        .enumerate()
        .map(|(nth, step)| (tree.pieces()[step.piece].id.as_str(), step.deed, nth < found.stop))
        .collect();
    assert_eq!(
        steps,
        [
            ("tower", Deed::Open, true),
            ("board", Deed::TakeOff, true),
            ("case", Deed::TakeOff, false),
            ("supply", Deed::TakeOff, false)
        ]
    );
    // The case is worth the same off or on, so nobody takes it off; the supply would lose 0.15.
    assert_eq!(found.steps[2].gain, dec!(0));
    assert_eq!(found.steps[3].gain, dec!(-0.15));
    assert_eq!((found.minutes(), found.labour()), (dec!(4), dec!(1.2)));
    // Opening gives up 0.90 and leaves 0.10 + 0.15 + 0.65 of steel; nothing is lost by it here.
    assert_eq!(found.steps[0].gain, dec!(0));
    assert_eq!(found.gain(), dec!(3.7));
    // 4.90 before the labour in 4 minutes.
    assert_eq!(found.per_hour(), Some(dec!(73.5)));
}

#[test]
fn at_no_wage_everything_that_adds_a_little_comes_off() {
    let (tree, nets) = tower();
    let found = depth(&tree, &nets, Decimal::ZERO);
    // The supply opened: its cord 0.30, and 1,400 g without value; against 0.60 as it is.
    assert_eq!(found.opened, Some(dec!(5) + dec!(0.6) + dec!(0.65)));
    let off: Vec<&str> =
        found.steps[..found.stop].iter().map(|step| tree.pieces()[step.piece].id.as_str()).collect();
    assert_eq!(off, ["tower", "board", "supply"]);
    assert!(depth(&tree, &nets, dec!(100_000)).opened.is_some_and(|opened| opened == dec!(0.9)));
}

#[test]
fn what_is_sold_by_the_piece_counts_by_the_piece() {
    let unit = piece("laptop", "laptop", 2500, 0);
    let tree = tree(unit, vec![(piece("board", "board", 300, 10), ""), (piece("shell", "", 2200, 1), "")]);
    let mut nets = nets(&[("board", dec!(0.02))]);
    nets.insert(GradeId::new("laptop"), Net::PerPiece(dec!(4)));
    let found = depth(&tree, &nets, dec!(6));
    // Opened it is a laptop no more: the board's 6.00 less 1.00 of labour is all that is left.
    assert_eq!((found.whole, found.opened), (dec!(4), Some(dec!(5))));
    assert_eq!(found.steps[0].gain, dec!(-4));
    assert_eq!(found.brought.iter().map(|b| b.amount).sum::<Decimal>(), dec!(6));
    let dearer = depth(&tree, &nets, dec!(12));
    assert!(!dearer.pays_to_open(), "at the same money it is not opened");
    assert_eq!((dearer.stop, dearer.value(), dearer.brought[0].pieces), (0, dec!(4), 1));
}

#[test]
fn what_is_sealed_is_not_opened_and_what_has_no_price_is_told() {
    let (tower, mut priced) = tower();
    priced.remove(&GradeId::new("board"));
    let found = depth(&tower, &priced, dec!(18));
    assert_eq!(found.unpriced.iter().map(GradeId::as_str).collect::<Vec<_>>(), ["board"]);
    assert!(!found.pays_to_open());

    let sealed = Piece { sealed: true, ..piece("fridge", "", 40_000, 0) };
    let fridge = tree(sealed, vec![(piece("copper", "copper", 2000, 1), "")]);
    let found = depth(&fridge, &nets(&[("copper", dec!(1))]), dec!(18));
    assert_eq!((found.opened, found.steps.len(), found.value()), (None, 0, Decimal::ZERO));
}

#[test]
fn a_lid_comes_off_where_what_is_behind_it_pays_for_it() {
    let behind = |part: Piece| Piece { behind: Some("shell".into()), ..part };
    let router = |board: i64| {
        let parts = vec![(behind(piece("board", "board", board, 1)), ""), (piece("shell", "", 200, 2), "")];
        tree(piece("router", "", 500, 0), parts)
    };
    let nets = nets(&[("board", dec!(0.01))]);
    // The shell's two minutes and the board's one cost 0.90: a board of 200 g pays for them, one of 80 g does not.
    let found = depth(&router(200), &nets, dec!(18));
    assert_eq!(found.opened, Some(dec!(2) - dec!(0.9)));
    let tree = router(200);
    let done: Vec<&str> = found.steps.iter().map(|step| tree.pieces()[step.piece].id.as_str()).collect();
    assert_eq!(done, ["router", "shell", "board"]);
    assert_eq!(found.minutes(), dec!(3));
    let poor = depth(&router(80), &nets, dec!(18));
    assert_eq!((poor.opened, poor.stop), (Some(Decimal::ZERO), 0));
    assert_eq!(poor.steps.last().map(|step| step.gain_so_far), Some(dec!(0.8) - dec!(0.9)));
}

#[test]
fn a_tree_that_cannot_be_is_refused() {
    let unit = || piece("unit", "", 100, 0);
    let build = |parts: Vec<(Piece, Option<PartId>)>| Tree::new(unit(), parts);
    let part = |id: &str, within: Option<&str>| (piece(id, "", 10, 1), within.map(PartId::new));
    assert_eq!(build(vec![part("a", None), part("a", None)]), Err(TreeProblem::Twice("a".into())));
    assert_eq!(build(vec![part("unit", None)]), Err(TreeProblem::Twice("unit".into())));
    assert_eq!(
        build(vec![part("a", Some("b"))]),
        Err(TreeProblem::Nowhere { part: "a".into(), within: "b".into() })
    );
    assert_eq!(
        build(vec![part("a", Some("b")), part("b", Some("a"))]),
        Err(TreeProblem::InItself("a".into()))
    );
    assert_eq!(build(vec![part("a", Some("a"))]), Err(TreeProblem::InItself("a".into())));
    let behind = |id: &str, other: &str| (Piece { behind: Some(other.into()), ..piece(id, "", 10, 1) }, None);
    for parts in [
        vec![behind("a", "b")],
        vec![behind("a", "a")],
        vec![behind("a", "unit")],
        vec![behind("a", "b"), behind("b", "a")],
        vec![behind("a", "c"), part("b", None), part("c", Some("b"))],
    ] {
        assert!(matches!(build(parts), Err(TreeProblem::Behind { .. })));
    }
    let odd = [
        Piece { count: 0, ..piece("a", "", 1, 1) },
        Piece { minutes: dec!(-1), ..piece("a", "", 1, 1) },
        Piece { mass: g(-1), ..piece("a", "", 1, 1) },
        Piece { minutes: Decimal::MAX, ..piece("a", "", 1, 1) },
    ];
    for piece in odd {
        assert_eq!(build(vec![(piece, None)]), Err(TreeProblem::Figures("a".into())));
    }
    assert!(build((0..1001).map(|nth| part(&nth.to_string(), None)).collect()).is_err());
}

const GRADES: [&str; 5] = ["a", "b", "c", "d", "each"];

fn random_nets(random: &mut fastrand::Rng) -> Nets {
    let amount = |random: &mut fastrand::Rng| Decimal::new(random.i64(-20..200), 3);
    let mut nets: Nets =
        GRADES[..4].iter().map(|g| (GradeId::new(*g), Net::PerGram(amount(random)))).collect();
    nets.insert(GradeId::new("each"), Net::PerPiece(amount(random) * dec!(100)));
    nets
}

fn random_tree(random: &mut fastrand::Rng, parts: usize) -> Tree {
    let grade = |random: &mut fastrand::Rng| match random.usize(0..6) {
        5 => None,
        nth => Some(GradeId::new(GRADES[nth])),
    };
    let (mut made, mut places) = (Vec::new(), Vec::new());
    for nth in 0..parts {
        let part = Piece {
            id: PartId::new(format!("p{nth}")),
            grade: grade(random),
            count: random.u32(1..4),
            stays_on: if random.bool() { grade(random) } else { None },
            sealed: random.u32(0..8) == 0,
            ..piece("", "", random.i64(0..500), random.i64(0..12))
        };
        let within = random.usize(0..=nth);
        // Behind one that is in the same piece, where there is such a one before it.
        let beside = |other: &usize| places[*other] == within;
        let before: Vec<usize> = (0..nth).filter(beside).collect();
        let behind = (!before.is_empty() && random.bool()).then(|| before[random.usize(0..before.len())]);
        let part = Piece { behind: behind.map(|other| PartId::new(format!("p{other}"))), ..part };
        places.push(within);
        made.push((part, (within > 0).then(|| PartId::new(format!("p{}", within - 1)))));
    }
    Tree::new(Piece { grade: grade(random), ..piece("unit", "", 4000, 0) }, made).expect("a tree")
}

/// What one piece brings if exactly the parts of `off` come off, wherever they are reached.
fn worth(tree: &Tree, nets: &Nets, at: usize, off: u32, open: u32, rate: Decimal) -> Decimal {
    let piece = &tree.pieces()[at];
    let net = |grade: Option<&GradeId>| grade.and_then(|grade| nets.get(grade));
    if open & (1 << at) == 0 {
        return net(piece.grade.as_ref()).map_or(Decimal::ZERO, |net| net.of(piece.mass, 1));
    }
    let part = |part: usize| {
        let piece = &tree.pieces()[part];
        let one = if off & (1 << part) == 0 {
            net(tree.stays_on(part)).map_or(Decimal::ZERO, |net| net.of_more(piece.mass))
        } else {
            worth(tree, nets, part, off, open, rate) - piece.minutes * rate / dec!(60)
        };
        one * Decimal::from(piece.count)
    };
    tree.parts_of(at).map(part).sum()
}

/// Tries every way to open pieces and take parts off.
fn most(tree: &Tree, nets: &Nets, rate: Decimal) -> Decimal {
    let n = tree.pieces().len();
    let can_open: u32 = (0..n)
        .filter(|&at| !tree.pieces()[at].sealed && tree.parts_of(at).next().is_some())
        .map(|at| 1 << at)
        .sum();
    let mut most = Decimal::MIN;
    for open in (0..1_u32 << n).filter(|open| open & !can_open == 0) {
        // Nothing comes off before what it is behind.
        let can = |off: u32| {
            (1..n).all(|at| off & (1 << at) == 0 || tree.behind(at).is_none_or(|b| off & (1 << b) != 0))
        };
        for off in (0..1_u32 << n).filter(|off| off & 1 == 0 && can(*off)) {
            most = most.max(worth(tree, nets, 0, off, open, rate));
        }
    }
    most
}

#[test]
fn no_way_of_opening_a_random_unit_brings_more() {
    let mut random = fastrand::Rng::with_seed(41);
    for round in 0..300 {
        let parts = random.usize(0..6);
        let (tree, nets) = (random_tree(&mut random, parts), random_nets(&mut random));
        // A wage that sixty divides, so that both sides are exact.
        let rate = Decimal::from(random.i64(0..8) * 6);
        let found = depth(&tree, &nets, rate);
        assert_eq!(found.value(), most(&tree, &nets, rate), "round {round}: {tree:?} {nets:?} {rate}");
    }
}

/// The minutes that it takes, all in all, if exactly the parts of `off` come off.
fn minutes(tree: &Tree, at: usize, off: u32, open: u32) -> Decimal {
    if open & (1 << at) == 0 {
        return Decimal::ZERO;
    }
    let part = |part: usize| {
        let piece = &tree.pieces()[part];
        (piece.minutes + minutes(tree, part, off, open)) * Decimal::from(piece.count)
    };
    tree.parts_of(at).filter(|part| off & (1 << part) != 0).map(part).sum()
}

/// Tries every way there is, in every time.
#[test]
fn no_way_of_opening_a_random_unit_brings_more_in_its_time() {
    let mut random = fastrand::Rng::with_seed(45);
    for round in 0..150 {
        let parts = random.usize(1..6);
        let (tree, nets) = (random_tree(&mut random, parts), random_nets(&mut random));
        let rate = Decimal::from(random.i64(0..8) * 6);
        let found = ways(&tree, &nets, rate);
        assert!(!found.is_thinned);
        let n = tree.pieces().len();
        let can_open: u32 = (0..n)
            .filter(|&at| !tree.pieces()[at].sealed && tree.parts_of(at).next().is_some())
            .map(|at| 1 << at)
            .sum();
        let whole = worth(&tree, &nets, 0, 0, 0, rate);
        let mut all: Vec<(Decimal, Decimal)> = Vec::new();
        for open in (0..1_u32 << n).filter(|open| open & !can_open == 0) {
            let can = |off: u32| {
                (1..n).all(|at| off & (1 << at) == 0 || tree.behind(at).is_none_or(|b| off & (1 << b) != 0))
            };
            for off in (0..1_u32 << n).filter(|off| off & 1 == 0 && can(*off)) {
                all.push((minutes(&tree, 0, off, open), worth(&tree, &nets, 0, off, open, rate) - whole));
            }
        }
        all.sort_by(|one, other| one.0.cmp(&other.0).then(other.1.cmp(&one.1)));
        let mut most = Decimal::ZERO;
        all.retain(|(_, gain)| {
            let is_more = *gain > most;
            most = most.max(*gain);
            is_more
        });
        // Opened with everything left on.
        let left_on = worth(&tree, &nets, 0, 0, can_open & 1, rate) - whole;
        all.retain(|(minutes, gain)| *minutes > Decimal::ZERO || *gain != left_on);
        let told: Vec<_> = found.ways.iter().map(|way| (way.minutes, way.gain)).collect();
        assert_eq!(told, all, "round {round}: {tree:?} {nets:?} {rate}");
        // What is said to be done is what it takes and brings.
        for way in &found.ways {
            let mask = |wanted: fn(Deed) -> bool| -> u32 {
                way.done.iter().filter(|(_, deed)| wanted(*deed)).map(|(at, _)| 1 << at).sum()
            };
            let (off, open) = (mask(|_| true), mask(|deed| deed == Deed::TakeOffAndOpen) | 1);
            assert_eq!(minutes(&tree, 0, off, open), way.minutes);
            assert_eq!(worth(&tree, &nets, 0, off, open, rate) - whole, way.gain);
        }
        let gain = depth(&tree, &nets, rate).gain();
        let last = found.ways.last().map_or(left_on.max(Decimal::ZERO), |way| way.gain);
        assert_eq!(last, gain, "as far as it pays");
    }
}

#[test]
fn of_very_many_ways_the_best_stays_and_it_is_said() {
    let mut random = fastrand::Rng::with_seed(46);
    let (tree, nets) = (random_tree(&mut random, 200), random_nets(&mut random));
    let found = ways(&tree, &nets, dec!(18));
    assert!(found.is_thinned && found.ways.len() <= 1000, "{}", found.ways.len());
    assert_eq!(found.ways.last().map(|way| way.gain), Some(depth(&tree, &nets, dec!(18)).gain()));
}

#[test]
fn steps_and_what_is_sold_add_up_to_the_value() {
    let mut random = fastrand::Rng::with_seed(42);
    for _ in 0..500 {
        let parts = random.usize(0..30);
        let (tree, nets) = (random_tree(&mut random, parts), random_nets(&mut random));
        let found = depth(&tree, &nets, Decimal::from(random.i64(0..8) * 6));
        let gains: Decimal = found.steps[..found.stop].iter().map(|step| step.gain).sum();
        assert_eq!(found.whole + gains, found.value());
        let sold: Decimal = found.brought.iter().map(|brought| brought.amount).sum();
        assert_eq!(sold - found.labour(), found.value());
        // No place before or after the one to stop at is better.
        let best = found.steps.iter().map(|step| step.gain_so_far).max().unwrap_or_default();
        assert_eq!(best.max(Decimal::ZERO), found.gain());
    }
}

#[test]
fn nothing_is_worth_less_at_a_lower_wage() {
    let mut random = fastrand::Rng::with_seed(43);
    for _ in 0..200 {
        let (tree, nets) = (random_tree(&mut random, 12), random_nets(&mut random));
        let values: Vec<Decimal> =
            [0, 6, 18, 60, 600].map(|rate| depth(&tree, &nets, Decimal::from(rate)).value()).to_vec();
        assert!(values.windows(2).all(|pair| pair[0] >= pair[1]), "{values:?}");
    }
}

#[test]
fn masses_of_pieces_within_pieces_multiply() {
    let two = Piece { count: 2, ..piece("drive", "drive", 500, 1) };
    let four = Piece { count: 4, ..piece("magnet", "magnet", 20, 1) };
    let tree = tree(piece("box", "", 3000, 0), vec![(two, ""), (four, "drive")]);
    assert_eq!((tree.in_unit(1), tree.in_unit(2)), (2, 8));
    assert_eq!((tree.waste_of(0), tree.waste_of(1)), (g(2000), g(420)));
    let found = depth(&tree, &nets(&[("magnet", dec!(1)), ("drive", dec!(0.001))]), Decimal::ZERO);
    assert_eq!(found.value(), Decimal::from(8 * 20));
    assert_eq!(found.steps.iter().map(|step| step.count).collect::<Vec<_>>(), [1, 2, 8]);
}

#[test]
fn two_hundred_parts_take_no_time_to_speak_of() {
    let mut random = fastrand::Rng::with_seed(44);
    let (tree, nets) = (random_tree(&mut random, 200), random_nets(&mut random));
    let start = Instant::now();
    let found = depth(&tree, &nets, dec!(18));
    // The bench measures it; this only catches a search that has become another one.
    assert!(start.elapsed() < Duration::from_millis(200), "{:?}", start.elapsed());
    assert!(found.value() >= found.whole);
    assert_eq!(Mass::ZERO, tree.pieces()[0].spread);
}
