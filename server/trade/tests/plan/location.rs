//! Published optima of the uncapacitated warehouse location problem, which the sell plan contains: a customer is a lot
//! of its own grade, a warehouse an outlet whose only cost is paid once, and what a customer costs at a warehouse is
//! taken off a price high enough that nobody is left out.
//!
//! OR-Library (J. E. Beasley, people.brunel.ac.uk/~mastjjb/jeb/orlib/uncapinfo.html), files cap71 to cap134, optima
//! in uncapopt.txt: tests/data/SOURCES.md.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use iso_currency::Currency;
use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, LotId};
use trade::mass::Mass;
use trade::money::{Price, PriceUnit};
use trade::net::Load;
use trade::outlet::{Drive, Outlet, Terms, Way};
use trade::plan::{Choices, PlanLot, Proof};
use trade::quote::{Quote, Quotes};
use trade::tour::Roads;
use trade::volume::Volume;

use super::shop::{Instance, facts, outlet};
use super::solved;

/// Above every cost in the files.
const REVENUE: Decimal = dec!(1_000_000);

fn read(name: &str) -> String {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/uflp");
    fs::read_to_string(data.join(name)).unwrap()
}

/// The file's layout: the numbers of warehouses and of customers; of each warehouse its capacity and fixed cost; of
/// each customer its demand, then what serving it from each warehouse costs.
fn problem(text: &str) -> Instance {
    let mut numbers = text.split_whitespace().map(|word| word.trim_end_matches('.'));
    let mut number = || -> Decimal { numbers.next().unwrap().parse().unwrap() };
    let (warehouses, customers) = (number(), number());
    let count = |number: Decimal| -> usize { number.to_string().parse().unwrap() };
    let mut outlets: Vec<Outlet> = (0..count(warehouses))
        .map(|index| {
            let _capacity = number();
            let terms = Terms { payout_fee: number(), ..Terms::default() };
            let way = Way::Drive(Drive { distance_km: dec!(0), minutes: dec!(0) });
            outlet(format!("W{index}"), Currency::USD, way, terms, BTreeMap::new())
        })
        .collect();
    let lots = (0..count(customers)).map(|index| {
        let _demand = number();
        let grade = GradeId::new(format!("customer-{index}"));
        for outlet in &mut outlets {
            let price = Price::new(REVENUE - number(), Currency::USD, PriceUnit::Each);
            outlet.quotes.extend(Quotes::new([Quote::flat(price)]).map(|quotes| (grade.clone(), quotes)));
        }
        PlanLot {
            load: Load {
                lot: LotId::new(format!("C{index:02}")),
                grade,
                mass: Mass::from_grams(dec!(1)),
                pieces: 1,
                volume: Volume::ZERO,
            },
            keep: dec!(0),
        }
    });
    let lots = lots.collect();
    Instance {
        lots,
        outlets,
        facts: facts(Currency::USD, vec![]),
        choices: Choices::default(),
        roads: Roads::default(),
    }
}

#[test]
fn published_optima_of_warehouse_location() {
    let optima = read("uncapopt.txt");
    // 16, 25 and 50 warehouses for 50 customers.
    let names = [
        "cap71", "cap72", "cap73", "cap74", "cap101", "cap102", "cap103", "cap104", "cap131", "cap132",
        "cap133", "cap134",
    ];
    for name in names {
        let line = optima.lines().find(|line| line.contains(name)).unwrap();
        let published: Decimal = line.split_whitespace().last().unwrap().parse().unwrap();
        let instance = problem(&read(&format!("{name}.txt")));
        let plan = solved(&instance);
        let cost = REVENUE * Decimal::from(instance.lots.len()) - plan.total;
        assert_eq!(plan.proof, Proof::Optimal, "{name}");
        // The list has three decimals.
        assert!((cost - published).abs() <= dec!(0.001), "{name}: {cost} for {published}");
    }
}
