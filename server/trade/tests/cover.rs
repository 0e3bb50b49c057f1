//! The covering core against brute force, and against published knapsack optima.

use proptest::prelude::*;
use trade::cover::{Choice, Cover, Group, Uncovered, cheapest, staircase};

/// Cheapest cover by trying every count, one group and one choice after another.
fn brute_force(demand: i128, groups: &[Group]) -> Option<i128> {
    fn go(left: i128, groups: &[Group], choice: usize, slots: u32) -> Option<i128> {
        let Some((group, later)) = groups.split_first() else { return (left <= 0).then_some(0) };
        let Some(&Choice { mass, cost }) = group.choices.get(choice) else {
            return go(left, later, 0, later.first().map_or(0, most));
        };
        (0..=slots)
            .filter_map(|n| {
                let covered = left - mass * i128::from(n);
                Some(go(covered, groups, choice + 1, slots - n)? + cost * i128::from(n))
            })
            .min()
    }
    fn most(group: &Group) -> u32 {
        group.limit.unwrap_or(6)
    }
    go(demand, groups, 0, groups.first().map_or(0, most))
}

fn small_groups() -> impl Strategy<Value = Vec<Group>> {
    let choice = (1..12i128, 0..15i128).prop_map(|(mass, cost)| Choice { mass, cost });
    let group = (prop::option::of(0..4u32), prop::collection::vec(choice, 0..4))
        .prop_map(|(limit, choices)| Group { limit, choices });
    prop::collection::vec(group, 0..4)
}

fn check_picks(demand: i128, groups: &[Group], cover: &Cover) {
    let (mut mass, mut cost) = (0, 0);
    for pick in &cover.picks {
        let choice = groups[pick.group].choices[pick.choice];
        mass += choice.mass * i128::from(pick.count);
        cost += choice.cost * i128::from(pick.count);
    }
    assert!(mass >= demand);
    assert_eq!(cost, cover.cost);
    for (i, group) in groups.iter().enumerate() {
        let used: u32 = cover.picks.iter().filter(|pick| pick.group == i).map(|pick| pick.count).sum();
        assert!(group.limit.is_none_or(|limit| used <= limit));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    // Six of the least mass 1 cover 6, so that brute force may stop at six of what has no limit.
    #[test]
    fn equals_brute_force(demand in 1..=6i128, groups in small_groups()) {
        match (cheapest(demand, &groups), brute_force(demand, &groups)) {
            (Ok(cover), Some(least)) => {
                prop_assert!(cover.proved);
                prop_assert_eq!(cover.cost, least);
                check_picks(demand, &groups, &cover);
            }
            (Err(Uncovered::NotEnough), None) => {}
            (found, least) => prop_assert!(false, "{found:?} against {least:?}"),
        }
    }

    #[test]
    fn staircase_is_the_cheapest_cover_of_every_demand(up_to in 1..40i128, groups in small_groups()) {
        let steps = staircase(up_to, &groups).unwrap();
        for demand in 1..=up_to {
            let step = steps.iter().find(|(mass, _)| *mass >= demand);
            let least = cheapest(demand, &groups).ok().map(|cover| cover.cost);
            prop_assert_eq!(step.map(|(_, cost)| *cost), least);
        }
        prop_assert!(steps.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1));
    }
}

#[test]
fn nothing_to_cover_takes_nothing() {
    assert_eq!(cheapest(0, &[]), Ok(Cover { cost: 0, picks: vec![], proved: true }));
    assert_eq!(cheapest(1, &[]), Err(Uncovered::NotEnough));
}

#[test]
fn a_demand_for_millions_of_boxes_is_refused() {
    let grain = Group { limit: None, choices: vec![Choice { mass: 1, cost: 1 }] };
    assert_eq!(cheapest(1_000_000_000, &[grain]), Err(Uncovered::TooMany));
}

/// Costs in proportion to masses that have nothing to do with one another: every sum has to be told apart, and the
/// search may come to its limit. What it gives then is a cover, and it does not say that it is the cheapest.
#[test]
fn a_search_at_its_limit_says_so() {
    let choice = |i: i128| {
        let mass = 1_000_000 + i * i * 7919 % 999_983;
        Choice { mass, cost: mass * 1000 + i % 7 }
    };
    let group = |from: i128| Group { limit: None, choices: (from..from + 100).map(choice).collect() };
    let groups = [group(1), group(101), group(201)];
    let cover = cheapest(61_234_567, &groups).expect("a cover");
    assert!(!cover.proved);
    check_picks(61_234_567, &groups, &cover);
    assert_eq!(staircase(61_234_567, &groups), None);
}

/// Whole units of a decimal with at most six places.
fn millionths(text: &str) -> i128 {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    format!("{whole}{part:0<6}").parse().expect("a decimal number")
}

/// Knapsack instances and optima: see tests/data/SOURCES.md. The optimum of the cover that leaves the unpacked items
/// is the total value less the published optimum.
#[test]
fn covers_of_published_knapsacks_are_optimal() {
    let data = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/binpack/knapsack");
    let table = std::fs::read_to_string(format!("{data}/cover_optimum.csv")).unwrap();
    let mut checked = 0;
    for row in table.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let text = std::fs::read_to_string(format!("{data}/{}.txt", cells[0])).unwrap();
        let items: Vec<&str> = text.split_whitespace().skip(2).collect();
        let count: usize = cells[1].parse().unwrap();
        let item = |pair: &[&str]| Group {
            limit: Some(1),
            choices: vec![Choice { mass: millionths(pair[1]), cost: millionths(pair[0]) }],
        };
        let groups: Vec<Group> = items[..2 * count].chunks(2).map(item).collect();
        let cover = cheapest(millionths(cells[4]), &groups).unwrap();
        assert!(cover.proved, "{}", cells[0]);
        assert_eq!(cover.cost, millionths(cells[5]), "{}", cells[0]);
        check_picks(millionths(cells[4]), &groups, &cover);
        checked += 1;
    }
    assert_eq!(checked, 13);
}
