//! Seeded histories of an outlet with what we learn from them, as JSON for an independent library: see
//! tests/peer/history.py.
//!
//! `cargo run -p trade --example history_instances -- COUNT > FILE`

use std::collections::BTreeMap;

use fastrand::Rng;
use serde_json::{Value, json};
use trade::history::{Days, Downgraded, Downgrades, PAYMENTS, Spread, Strength, Weights};
use trade::ids::Family;

const FAMILIES: [&str; 3] = ["boards", "copper", "wire"];

fn main() {
    let count = std::env::args().nth(1).and_then(|arg| arg.parse().ok()).unwrap_or(100);
    for seed in 0..count {
        println!("{}", stated(seed));
    }
}

fn stated(seed: u64) -> Value {
    let rng = &mut Rng::with_seed(seed);
    let between = |rng: &mut Rng, low: f64, high: f64| low + (high - low) * rng.f64();
    let strength = match seed % 4 {
        0 => Strength { outlet: between(rng, 0.5, 20.0), family: between(rng, 0.5, 20.0) },
        _ => Strength::STANDARD,
    };
    let ratio = between(rng, 0.95, 1.01);
    let terms = Downgraded { part: between(rng, 0.0, 0.4), drop: between(rng, 0.05, 0.5) };
    let days = [0.0, between(rng, 1.0, 60.0)][usize::from(!seed.is_multiple_of(5))];
    let mut ratios: BTreeMap<Family, Vec<f64>> = BTreeMap::new();
    let mut loads: BTreeMap<Family, Vec<Downgraded>> = BTreeMap::new();
    for family in &FAMILIES[..rng.usize(1..=2)] {
        let seen = rng.usize(1..15);
        ratios.insert(Family::new(*family), (0..seen).map(|_| between(rng, 0.88, 1.03)).collect());
        let load = |rng: &mut Rng| Downgraded {
            part: [0.0, 1.0, between(rng, 0.0, 1.0)][rng.usize(0..3)],
            drop: between(rng, 0.0, 0.6),
        };
        loads.insert(Family::new(*family), (0..seen).map(|_| load(rng)).collect());
    }
    let paid: Vec<f64> = (0..rng.usize(0..12)).map(|_| f64::from(rng.u32(0..90))).collect();

    let weights = Weights::learn(ratio, &ratios, strength, Spread::STANDARD);
    let downgrades = Downgrades::learn(terms, &loads, strength);
    let learned = Days::learn(days, &paid, f64::from(PAYMENTS));
    let families = FAMILIES.map(|name| {
        let family = Family::new(name);
        let about = Some(&family);
        let shown = json!({
            "ratio": weights.mean(about), "next": weights.next(about),
            "chance": downgrades.chance(about), "share": downgrades.share(about), "drop": downgrades.drop(about),
        });
        (name.to_string(), shown)
    });
    let stakes: BTreeMap<Option<&Family>, f64> =
        ratios.keys().map(|family| (Some(family), between(rng, -50.0, 400.0))).collect();
    json!({
        "seed": seed,
        "strength": [strength.outlet, strength.family],
        "spread": [Spread::STANDARD.deviation, Spread::STANDARD.strength],
        "terms": { "ratio": ratio, "chance": terms.part, "drop": terms.drop, "days": days, "payments": PAYMENTS },
        "ratios": ratios,
        "loads": loads.iter().map(|(family, loads)| (family.to_string(), loads.iter().map(|load| (load.part, load.drop)).collect()))
            .collect::<BTreeMap<String, Vec<(f64, f64)>>>(),
        "paid": paid,
        "stakes": stakes.iter().filter_map(|(family, stake)| Some((family.as_ref()?.to_string(), *stake))).collect::<BTreeMap<_, _>>(),
        "ours": {
            "families": BTreeMap::from(families),
            "scale": weights.scale_of(&stakes),
            "days": learned.mean,
            "next": learned.next(),
        },
    })
}
