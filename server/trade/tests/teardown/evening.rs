//! Tonight: against published 0/1 knapsacks with their optima, against trying everything, and in the shop's words.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::ids::PartId;
use trade::teardown::{
    EveningProblem, Item, Left, Opened, Pile, Units, Way, Ways, choose, choose_each, evening, ways,
};

/// tests/data/binpack/knapsack: ten low-dimensional problems and three of Pisinger's generator, with published optima (see
/// SOURCES.md). One of them has six decimals, and its optimum four.
fn published() -> Vec<(String, Vec<Item>, i64, i64)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/binpack/knapsack/");
    let read = |name: &str| std::fs::read_to_string(format!("{folder}{name}")).expect("the file");
    let whole = |text: &str| {
        let number: Decimal = text.parse().expect("a number");
        (number * dec!(1_000_000)).to_i64().expect("it fits")
    };
    let optima = read("optimum.txt");
    optima
        .lines()
        .filter_map(|line| line.split_once(' '))
        .map(|(name, optimum)| {
            let file = read(&format!("{name}.txt"));
            let mut numbers = file.split_whitespace();
            let n: usize = numbers.next().and_then(|n| n.parse().ok()).expect("how many");
            let limit = whole(numbers.next().expect("the capacity"));
            let items = (0..n)
                .map(|_| Item {
                    gain: whole(numbers.next().expect("a value")),
                    size: whole(numbers.next().expect("a weight")),
                })
                .collect();
            (name.to_string(), items, limit, whole(optimum.trim()))
        })
        .collect()
}

fn check(items: &[Item], limit: i64) -> i64 {
    let chosen = choose(items, limit);
    let sum = |of: fn(&Item) -> i64| -> i64 {
        items.iter().zip(&chosen.picked).filter(|(_, picked)| **picked).map(|(item, _)| of(item)).sum()
    };
    assert_eq!((sum(|item| item.gain), sum(|item| item.size)), (chosen.gain, chosen.size));
    assert!(chosen.size <= limit);
    assert!(chosen.is_best());
    chosen.gain
}

#[test]
fn published_knapsacks_come_out_at_their_published_optima() {
    let all = published();
    assert_eq!(all.len(), 13);
    for (name, items, limit, optimum) in all {
        // Optima are printed to four decimals at most.
        let found = Decimal::new(check(&items, limit), 6).round_dp(4);
        assert_eq!(found, Decimal::new(optimum, 6).round_dp(4), "{name}");
    }
}

/// By size, the most that can be gained: the textbook's table, which is exact for whole sizes.
fn by_table(items: &[Item], limit: i64) -> i64 {
    let limit = usize::try_from(limit).expect("a size");
    let mut most = vec![0; limit + 1];
    for item in items {
        let size = usize::try_from(item.size).expect("a size");
        for room in (size..=limit).rev() {
            most[room] = most[room].max(most[room - size] + item.gain);
        }
    }
    most[limit]
}

#[test]
fn random_choices_of_every_make_agree_with_the_table() {
    let mut random = fastrand::Rng::with_seed(11);
    for round in 0..600 {
        let n = random.usize(0..40);
        let items: Vec<Item> = (0..n)
            .map(|_| {
                let size = random.i64(1..60);
                // Uncorrelated, gains that go with the size, gains that are the size, and all alike.
                let gain = match round % 4 {
                    0 => random.i64(1..100),
                    1 => size + 10,
                    2 => size,
                    _ => 7,
                };
                Item { gain, size }
            })
            .collect();
        let limit = random.i64(0..=items.iter().map(|item| item.size).sum::<i64>() + 5);
        assert_eq!(check(&items, limit), by_table(&items, limit), "round {round}: {items:?} {limit}");
    }
}

#[test]
fn what_takes_nothing_is_taken_and_what_brings_nothing_is_left() {
    let items = [
        Item { gain: 5, size: 0 },
        Item { gain: 0, size: 0 },
        Item { gain: -3, size: 1 },
        Item { gain: 2, size: 11 },
        Item { gain: 2, size: 10 },
    ];
    let chosen = choose(&items, 10);
    assert_eq!((chosen.picked, chosen.gain), (vec![true, false, false, false, true], 7));
    assert_eq!(choose(&items, -1).gain, 5);
    assert_eq!(choose(&[], 10).gain, 0);
    let large = [Item { gain: i64::MAX / 4, size: i64::MAX / 4 }; 2];
    assert_eq!(choose(&large, i64::MAX / 4).gain, i64::MAX / 4);
}

fn way(minutes: Decimal, gain: Decimal) -> Way {
    Way { minutes, gain, labour: minutes * dec!(0.3), done: Vec::new() }
}

/// Units that are opened in one way or not at all.
fn pile(count: u32, minutes: Decimal, gain: Decimal) -> Pile {
    Pile { count, ways: Ways { ways: vec![way(minutes, gain)], is_thinned: false } }
}

/// Units of the first way of piles.
fn opened(of: &[(usize, u32)]) -> Vec<Opened> {
    of.iter().map(|&(pile, count)| Opened { pile, way: 0, count }).collect()
}

#[test]
fn an_evening_worked_by_hand() {
    // An hour: three towers of 14 min gain 3.00 each, two servers of 25 min gain 6.00, routers of 5 min gain 0.50.
    let piles = [pile(3, dec!(14), dec!(3)), pile(2, dec!(25), dec!(6)), pile(4, dec!(5), dec!(0.5))];
    let found = evening(&piles, dec!(60)).expect("an evening");
    // Two servers and two routers: 60 min and 13.00. A server and two towers are 53 min and 12.00, and one router 12.50.
    assert_eq!((found.gain, found.minutes, found.bound), (dec!(13), dec!(60), None));
    // A server earns (6 + 7.5) / 25 a minute, a router (0.5 + 1.5) / 5: the server first.
    assert_eq!(found.opened, opened(&[(1, 2), (2, 2)]));
    assert_eq!(found.whole, [Left { pile: 0, count: 3 }, Left { pile: 2, count: 2 }]);
}

#[test]
fn minutes_are_never_overdrawn_and_losses_never_opened() {
    let third = pile(3, dec!(10) / dec!(3), dec!(1));
    // Three times 3.333… is a hair below ten, and looked at as a hair above.
    assert_eq!(evening(&[third], dec!(10)).expect("an evening").opened, opened(&[(0, 2)]));
    let found =
        evening(&[pile(5, dec!(1), dec!(-0.1)), pile(5, dec!(1), dec!(0))], dec!(60)).expect("an evening");
    assert_eq!((found.opened.len(), found.whole.len(), found.gain), (0, 2, Decimal::ZERO));
    assert_eq!(evening(&[], dec!(60)).expect("an evening").opened, []);
    assert_eq!(evening(&[pile(1, dec!(5), dec!(1))], dec!(-5)).expect("an evening").opened, []);
    assert_eq!(evening(&[pile(1, dec!(5), dec!(1))], Decimal::MAX).expect("an evening").minutes, dec!(5));
}

#[test]
fn an_evening_that_cannot_be_is_refused() {
    assert_eq!(evening(&[pile(20_000, dec!(1), dec!(1))], dec!(60)), Err(EveningProblem::TooMany));
    assert_eq!(
        evening(&[pile(u32::MAX, dec!(1), dec!(1)), pile(1, dec!(1), dec!(1))], dec!(60)),
        Err(EveningProblem::TooMany)
    );
    for odd in [pile(1, dec!(-1), dec!(1)), pile(1, dec!(1_000_000), dec!(1)), pile(1, dec!(1), Decimal::MAX)]
    {
        assert_eq!(evening(&[odd], dec!(60)), Err(EveningProblem::Figures));
    }
}

#[test]
fn piles_agree_with_their_units_one_by_one() {
    let mut random = fastrand::Rng::with_seed(12);
    for _ in 0..200 {
        let piles: Vec<Pile> = (0..random.usize(1..6))
            .map(|_| {
                let (minutes, cents) = (random.i64(1..40), random.i64(-50..900));
                pile(random.u32(0..9), Decimal::from(minutes), Decimal::new(cents, 2))
            })
            .collect();
        let minutes = random.i64(0..240);
        let found = evening(&piles, Decimal::from(minutes)).expect("an evening");
        let units: Vec<Item> = piles
            .iter()
            .filter(|pile| pile.ways.ways[0].gain > Decimal::ZERO)
            .flat_map(|pile| {
                let cents = (pile.ways.ways[0].gain * dec!(100)).to_i64().expect("whole cents");
                let size = pile.ways.ways[0].minutes.to_i64().expect("whole minutes");
                vec![Item { gain: cents, size }; pile.count as usize]
            })
            .collect();
        assert_eq!(found.gain, Decimal::new(by_table(&units, minutes), 2));
        let opened: u32 = found.opened.iter().map(|opened| opened.count).sum();
        let whole: u32 = found.whole.iter().map(|opened| opened.count).sum();
        assert_eq!(opened + whole, piles.iter().map(|pile| pile.count).sum::<u32>());
    }
}

/// By size, the most that can be gained where each unit gives one of its items or none: the textbook's table again.
fn by_table_each(units: &[Vec<Item>], limit: i64) -> i64 {
    let limit = usize::try_from(limit).expect("a size");
    let mut most = vec![0; limit + 1];
    for items in units {
        let before = most.clone();
        for item in items {
            let size = usize::try_from(item.size).expect("a size");
            for room in size..=limit {
                most[room] = most[room].max(before[room - size] + item.gain);
            }
        }
    }
    most[limit]
}

#[test]
fn one_of_several_items_for_each_unit_agrees_with_the_table() {
    let mut random = fastrand::Rng::with_seed(21);
    for round in 0..800 {
        let mut piles: Vec<(u32, Vec<Item>)> = Vec::new();
        for _ in 0..random.usize(0..12) {
            let item = |random: &mut fastrand::Rng| {
                let size = random.i64(0..50);
                let gain = match round % 4 {
                    0 => random.i64(-10..100),
                    1 => size + 10,
                    2 => size,
                    _ => random.i64(0..3),
                };
                Item { gain, size }
            };
            let items = (0..random.usize(0..7)).map(|_| item(&mut random)).collect();
            piles.push((random.u32(0..4), items));
        }
        let units: Vec<Units<'_>> =
            piles.iter().map(|(count, items)| Units { count: *count, items }).collect();
        let limit = random.i64(0..400);
        let chosen = choose_each(&units, limit);
        let each: Vec<Vec<Item>> =
            piles.iter().flat_map(|(count, items)| vec![items.clone(); *count as usize]).collect();
        assert_eq!(chosen.gain, by_table_each(&each, limit), "round {round}: {piles:?} {limit}");
        assert!(chosen.bound == chosen.gain && chosen.mixed >= chosen.gain && chosen.size <= limit);
        let (mut gain, mut size) = (0, 0);
        for ((count, items), counts) in piles.iter().zip(&chosen.counts) {
            assert!(counts.iter().sum::<u32>() <= *count);
            for (item, count) in items.iter().zip(counts) {
                gain += item.gain * i64::from(*count);
                size += item.size * i64::from(*count);
            }
        }
        assert_eq!((gain, size), (chosen.gain, chosen.size));
    }
}

#[test]
fn half_a_unit_is_opened_where_there_is_no_time_for_all_of_it() {
    // The board brings 5.00 in 4 minutes, the supply 0.60 in 2 more; an hour of work costs 6.00.
    let parts =
        vec![(super::piece("board", "board", 1000, 4), ""), (super::piece("supply", "supply", 1500, 2), "")];
    let tower = super::tree(super::piece("tower", "", 9000, 0), parts);
    let nets = super::nets(&[("board", dec!(0.005)), ("supply", dec!(0.0004))]);
    let found = ways(&tower, &nets, dec!(6));
    let figures: Vec<_> = found.ways.iter().map(|way| (way.minutes, way.gain)).collect();
    // The supply alone is a way, too: 0.60 less 0.20. It takes the least time.
    assert_eq!(figures, [(dec!(2), dec!(0.4)), (dec!(4), dec!(4.6)), (dec!(6), dec!(5))]);
    let done = |way: &Way| -> Vec<PartId> {
        way.done.iter().map(|(piece, _)| tower.pieces()[*piece].id.clone()).collect()
    };
    let all: Vec<Vec<PartId>> = found.ways.iter().map(done).collect();
    assert_eq!(all, [vec!["supply".into()], vec!["board".into()], vec!["board".into(), "supply".into()]]);
    // In sixteen minutes: the boards of three towers, and the supplies of two of those. Two whole ones and a board
    // would be the same; three of them whole take eighteen.
    let piles = [Pile { count: 3, ways: found }];
    let tonight = evening(&piles, dec!(16)).expect("an evening");
    assert_eq!((tonight.gain, tonight.minutes, tonight.bound), (dec!(14.6), dec!(16), None));
    assert_eq!(tonight.opened, [Opened { pile: 0, way: 1, count: 1 }, Opened { pile: 0, way: 2, count: 2 }]);
    // One minute too few for a board: a supply.
    let short = evening(&piles, dec!(3)).expect("an evening");
    assert_eq!(short.opened, [Opened { pile: 0, way: 0, count: 1 }]);
    assert_eq!(short.whole, [Left { pile: 0, count: 2 }]);
}
