//! How long an evening's choice, depths and comparisons take; with `--write FILE` the evenings as lines of numbers for an
//! independent solver, each with what this one found and how long it took.
//!
//! `benches/evening/run` runs it on a release build, with the peer.

use std::fmt::Write as _;
use std::hint::black_box;
use std::time::{Duration, Instant};

use rust_decimal::Decimal;
use trade::ids::{GradeId, KindId, PartId};
use trade::mass::Mass;
use trade::teardown::{Item, Net, Nets, Piece, Pile, Side, Tree, choose, compare, depth, evening, ways};

const ROUNDS: usize = 15;
const UNITS: usize = 500;

fn median(mut work: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed()
        })
        .collect();
    times.sort();
    times[ROUNDS / 2]
}

fn grades() -> Vec<GradeId> {
    (0..20).map(|nth| GradeId::new(format!("g{nth}"))).collect()
}

fn piece(random: &mut fastrand::Rng, id: String, grams: i64) -> Piece {
    let grades = grades();
    Piece {
        id: PartId::new(&id),
        name: id,
        grade: (random.u32(0..5) > 0).then(|| grades[random.usize(0..grades.len())].clone()),
        count: random.u32(1..4),
        mass: Mass::from_grams(grams.into()),
        spread: Mass::ZERO,
        minutes: Decimal::new(random.i64(1..60), 1),
        stays_on: None,
        sealed: false,
        behind: None,
    }
}

fn tree(random: &mut fastrand::Rng, parts: usize) -> Option<Tree> {
    let unit = Piece { count: 1, ..piece(random, "unit".into(), 20_000) };
    let parts = (0..parts).map(|nth| {
        let grams = random.i64(5..900);
        let part = piece(random, format!("p{nth}"), grams);
        let within = random.usize(0..=nth);
        (part, (within > 0).then(|| PartId::new(format!("p{}", within - 1))))
    });
    let parts = parts.collect();
    Tree::new(unit, parts).ok()
}

fn nets(random: &mut fastrand::Rng) -> Nets {
    let net = |random: &mut fastrand::Rng| Net::PerGram(Decimal::new(random.i64(1..900), 5));
    grades().into_iter().map(|grade| (grade, net(random))).collect()
}

/// Five hundred units by the ways in which such problems are hard: gains that have nothing to do with the minutes, that
/// go with them weakly or strongly, or that are the minutes.
fn items(random: &mut fastrand::Rng, make: usize) -> Vec<Item> {
    let item = |random: &mut fastrand::Rng| {
        let size = random.i64(20..1000);
        let gain = match make {
            0 => random.i64(1..1000),
            1 => (size + random.i64(-100..100)).max(1),
            2 => size + 100,
            _ => size,
        };
        Item { gain, size }
    };
    (0..UNITS).map(|_| item(random)).collect()
}

fn main() {
    let write = std::env::args().skip_while(|argument| argument != "--write").nth(1);
    let mut random = fastrand::Rng::with_seed(20_260_512);
    let nets = nets(&mut random);
    if let Some(tree) = tree(&mut random, 200) {
        let took = median(|| drop(black_box(depth(&tree, &nets, Decimal::from(18)))));
        println!("depth of a kind of 200 parts: {took:?} (to stay under 5 ms)");
    }
    let kinds: Vec<Tree> = (0..30).filter_map(|_| tree(&mut random, 25)).collect();
    let names: Vec<KindId> = (0..kinds.len()).map(|nth| KindId::new(nth.to_string())).collect();
    let took = median(|| {
        let depths: Vec<_> = kinds.iter().map(|tree| depth(tree, &nets, Decimal::from(18))).collect();
        let sides: Vec<Side<'_>> = kinds
            .iter()
            .zip(&names)
            .zip(&depths)
            .map(|((tree, kind), depth)| Side { kind, tree, depth })
            .collect();
        drop(black_box(compare(&sides, &nets)));
    });
    println!("comparison of {} kinds: {took:?} (to stay under 50 ms)", kinds.len());

    // Five hundred units of thirty kinds, each of which can be opened in some dozens of ways, in four hours.
    let ways: Vec<_> = kinds.iter().map(|tree| ways(tree, &nets, Decimal::from(18))).collect();
    let told_apart: usize = ways.iter().map(|ways| ways.ways.len()).sum();
    let count = (UNITS / kinds.len()) as u32;
    let mut piles: Vec<Pile> = ways.into_iter().map(|ways| Pile { count, ways }).collect();
    piles[0].count += (UNITS % kinds.len()) as u32;
    let took = median(|| drop(black_box(evening(&piles, Decimal::from(240)))));
    let proved = evening(&piles, Decimal::from(240)).is_ok_and(|evening| evening.bound.is_none());
    println!(
        "evening of {UNITS} units of {} kinds, {told_apart} ways to open one, proved best: {proved}: {took:?} (to stay \
         under 50 ms)",
        piles.len()
    );

    let mut lines = String::new();
    for make in 0..4 {
        for _ in 0..5 {
            let items = items(&mut random, make);
            let limit = items.iter().map(|item| item.size).sum::<i64>() / random.i64(2..9);
            let chosen = choose(&items, limit);
            let took = median(|| drop(black_box(choose(&items, limit))));
            let gains: Vec<String> = items.iter().map(|item| item.gain.to_string()).collect();
            let sizes: Vec<String> = items.iter().map(|item| item.size.to_string()).collect();
            let (best, nanos) = (chosen.is_best(), took.as_nanos());
            let _ = writeln!(
                lines,
                "{make} {limit} {} {best} {nanos} {} {}",
                chosen.gain,
                gains.join(","),
                sizes.join(",")
            );
        }
    }
    match write {
        Some(file) => {
            if let Err(error) = std::fs::write(&file, lines) {
                eprintln!("{file}: {error}");
                std::process::exit(1);
            }
        }
        None => println!("{} evenings chosen; --write FILE keeps them for the peer", lines.lines().count()),
    }
}
