//! What teardowns teach: against a published worked example, and laws.

use std::collections::BTreeMap;

use rust_decimal::{Decimal, dec};
use trade::ids::PartId;
use trade::teardown::{Finished, Prior, learn, shrink};

use super::{g, piece, tree};

/// The age of the Ennerdale granophyre: prior N(370, 20²), one observation 421 with deviation 8; posterior N(414.0, 7.43²),
/// and 0.9702 of it above 400. Example 2.10 in chapter 2 of the notes for MAS2903 (GitHub
/// MatthewAlexanderFisher/MAS2903-Notes), which follows P. M. Lee, Bayesian Statistics: An Introduction, section 2.2.
#[test]
fn a_published_example_comes_out() {
    let found =
        shrink(Prior { mean: dec!(370), deviation: dec!(20) }, &[dec!(421)], dec!(8)).expect("an estimate");
    assert_eq!(found.mean.round_dp(1), dec!(414.0));
    assert_eq!(found.deviation.round_dp(2), dec!(7.43));
    // 0.9702 of a normal distribution lie above its mean less 1.884 deviations, so 400 has to lie there.
    assert_eq!(((found.mean - dec!(400)) / found.deviation).round_dp(2), dec!(1.88));
    // Four fifths lie within 1.2816 deviations (any table of the standard normal distribution).
    assert_eq!(((found.high - found.mean) / found.deviation).round_dp(4), dec!(1.2816));
    assert_eq!(found.high - found.mean, found.mean - found.low);
}

#[test]
fn the_order_is_of_no_matter_and_one_after_the_other_is_all_at_once() {
    let prior = Prior { mean: dec!(1000), deviation: dec!(100) };
    let all = [dec!(900), dec!(950), dec!(1200)];
    let at_once = shrink(prior, &all, dec!(150)).expect("an estimate");
    let turned = shrink(prior, &[all[2], all[0], all[1]], dec!(150)).expect("an estimate");
    assert_eq!(at_once, turned);
    let mut one_by_one = prior;
    for one in all {
        let next = shrink(one_by_one, &[one], dec!(150)).expect("an estimate");
        one_by_one = Prior { mean: next.mean, deviation: next.deviation };
    }
    assert!((one_by_one.mean - at_once.mean).abs() < dec!(0.000001));
    assert!((one_by_one.deviation - at_once.deviation).abs() < dec!(0.000001));
}

#[test]
fn more_teardowns_narrow_it_and_none_leave_the_library() {
    let prior = Prior { mean: dec!(1000), deviation: dec!(100) };
    let after = |n: usize| shrink(prior, &vec![dec!(800); n], dec!(100)).expect("an estimate");
    assert_eq!((after(0).mean, after(0).n), (dec!(1000), 0));
    for n in 0..20 {
        assert!(after(n + 1).deviation < after(n).deviation);
        assert!(after(n + 1).mean < after(n).mean);
    }
    assert!((after(10_000).mean - dec!(800)).abs() < dec!(0.1));
    assert_eq!(shrink(Prior { mean: dec!(1), deviation: dec!(0) }, &[], dec!(1)), None);
    assert_eq!(shrink(prior, &[dec!(1)], dec!(-1)), None);
    assert_eq!(shrink(prior, &[Decimal::MAX, Decimal::MAX], dec!(1)), None);
}

#[test]
fn a_kind_takes_over_masses_and_pace() {
    let library = tree(
        piece("tower", "steel", 9000, 0),
        vec![(piece("board", "board", 600, 10), ""), (piece("case", "steel", 8400, 0), "")],
    );
    let done = |whole, board: i64, minutes: i64| Finished {
        whole: Some(g(whole)),
        parts: BTreeMap::from([(PartId::new("board"), g(board))]),
        minutes: Decimal::from(minutes),
        library_minutes: dec!(10),
    };
    let learned = learn(&library, &[done(9300, 720, 8), done(9300, 720, 8)]);
    // The library counts as two, and there are two: half-way.
    assert_eq!(learned.tree.unit().mass, g(9150));
    assert_eq!(learned.tree.pieces()[1].mass, g(660));
    assert_eq!(learned.tree.pieces()[1].minutes, dec!(9));
    assert_eq!(learned.tree.pieces()[2], library.pieces()[2], "what was not weighed stays as it is");
    assert_eq!((learned.n, learned.masses[&1].n, learned.masses.get(&2)), (2, 2, None));
    let pace = learned.pace.expect("a pace");
    assert!(pace.low < dec!(0.9) && pace.high > dec!(0.9));

    let nothing = learn(&library, &[]);
    assert_eq!((nothing.tree, nothing.pace, nothing.n), (library, None, 0));
}
