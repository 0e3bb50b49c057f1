//! What history teaches: against published figures, by simulation, and its laws.

mod coverage;
mod laws;
mod published;

use std::collections::BTreeMap;
use std::sync::Arc;

use iso_currency::Currency;
use jiff::civil::{Date, date};
use rust_decimal::{Decimal, dec};
use trade::costs::{Costs, Facts};
use trade::exchange::RateBook;
use trade::history::{Settled, SettledLoad, Weighed};
use trade::ids::{Family, GradeId, OutletId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Price, PriceUnit, Share};
use trade::outlet::{Drive, Outlet, PaidWeight, Terms, Way};
use trade::quote::{Quote, Quotes};

const TODAY: Date = date(2026, 5, 31);

/// Grades with their families: two of copper, one of boards.
fn grades() -> Arc<BTreeMap<GradeId, Family>> {
    let pairs = [("copper-1", "copper"), ("copper-2", "copper"), ("board-high", "boards")];
    Arc::new(pairs.map(|(grade, family)| (GradeId::from(grade), Family::from(family))).into())
}

fn kilograms(kilograms: Decimal) -> Mass {
    Mass::of(kilograms, MassUnit::Kilogram)
}

/// A settlement of one family: the ratio of the weights, whether it was downgraded, and the days to payment.
fn settled(family: &str, ratio: Decimal, downgraded: bool, days: u32) -> Settled {
    let ours = kilograms(dec!(20));
    Settled {
        left: date(2026, 4, 1),
        known: date(2026, 4, 20),
        days_to_pay: Some(days),
        loads: vec![SettledLoad {
            family: Family::from(family),
            weights: Some(Weighed { ours, theirs: ours.times(ratio) }),
            downgraded: Share::new(Decimal::from(u8::from(downgraded))).expect("a share"),
            drop: Share::percent(dec!(30)).expect("a share"),
        }],
    }
}

/// Terms of a shop that reckons with 99 % of its weight, a downgrade in ten, and ten days.
fn terms() -> Terms {
    Terms {
        paid_weight: PaidWeight::new(dec!(0.99)).expect("a ratio"),
        downgrade_chance: Share::percent(dec!(10)).expect("a share"),
        downgrade_drop: Share::percent(dec!(20)).expect("a share"),
        days_to_pay: 10,
        ..Terms::default()
    }
}

/// A yard that takes all three grades by the kilogram.
fn yard(terms: Terms) -> Outlet {
    let grades = grades();
    let quotes = grades.keys().map(|grade| {
        let price = Price::new(dec!(6.50), Currency::USD, PriceUnit::Mass(MassUnit::Kilogram));
        (grade.clone(), Quotes::new(vec![Quote::flat(price)]).expect("at least one quote"))
    });
    Outlet {
        id: OutletId::from("yard"),
        name: "yard".into(),
        currency: Currency::USD,
        way: Way::Drive(Drive { distance_km: dec!(5), minutes: dec!(20) }),
        terms,
        quotes: quotes.collect(),
        sheet_date: None,
        learned: None,
    }
}

fn facts() -> Facts {
    Facts {
        costs: Costs {
            home: Currency::USD,
            labour_per_hour: dec!(20),
            truck_per_km: dec!(0.60),
            capital_per_year: Share::percent(dec!(12)).expect("a share"),
            risk_per_year: Share::ZERO,
        },
        rates: RateBook::default(),
        cartons: vec![],
        today: TODAY,
        style: MassStyle::Kilograms,
    }
}
