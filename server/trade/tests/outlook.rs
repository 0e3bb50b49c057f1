//! Ship weight, break-even and the long-run curve of a bag against deliveries priced one by one, at buyers whose parcels
//! have freight by the pound, by size and by flat boxes.

use jiff::civil::date;
use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use trade::cadence::FillRate;
use trade::freight::UNSEEN;
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassUnit};
use trade::net::{Load, deliver};
use trade::outlet::{Drive, Outlet, Way};
use trade::outlook::{Bag, Outlook, outlooks};
use trade::volume::BulkDensity;

use crate::plan::shop::{Instance, shop};

/// The rounding of the last digits.
const EQUAL: Decimal = dec!(0.000000001);

const BAGS: [(&str, Decimal); 4] =
    [("boards-high", dec!(0.28)), ("memory", dec!(0.5)), ("processors", dec!(0.9)), ("copper-2", dec!(1))];

struct Checked<'a> {
    shop: &'a Instance,
    bag: Bag<'a>,
    per_day: Mass,
}

impl Checked<'_> {
    /// As [`Bag`] describes itself, restated.
    fn load(&self, mass: Mass) -> [Load; 1] {
        let (grade, volume) = (self.bag.grade.clone(), self.bag.density.volume_of(mass));
        [Load { lot: LotId::new("any"), grade, mass, pieces: 0, volume }]
    }

    fn net(&self, outlet: &Outlet, mass: Mass) -> Option<Decimal> {
        deliver(outlet, &self.load(mass), &self.shop.facts).ok().map(|ladder| ladder.net)
    }

    /// The best of the yards, each as a stop of a run that is made anyway.
    fn local(&self, mass: Mass) -> Option<Decimal> {
        let no_drive = Way::Drive(Drive { distance_km: dec!(0), minutes: dec!(0) });
        let yards = self.shop.outlets.iter().filter(|outlet| matches!(outlet.way, Way::Drive(_)));
        let on_the_way = yards.map(|yard| Outlet { way: no_drive.clone(), ..yard.clone() });
        on_the_way.filter_map(|yard| self.net(&yard, mass)).max()
    }

    /// What 270 days bring, half as much again as there is, or 50 lb.
    fn horizon(&self) -> Mass {
        let least = Mass::of(dec!(50), MassUnit::Pound);
        (self.bag.mass + self.per_day.times(dec!(270))).max(self.bag.mass.times(dec!(1.5))).max(least)
    }

    /// `[N(W) − h·W² / 2λ] / (W / λ)`, with 20 % a year of the goods' value to keep them.
    fn rate(&self, outlet: &Outlet, mass: Mass) -> Option<Decimal> {
        let up_to = self.horizon();
        let value = self.net(outlet, up_to).map_or(dec!(0), |net| (net / up_to.grams()).max(dec!(0)));
        let (w, lambda) = (mass.grams(), self.per_day.grams());
        let holding = value * dec!(0.2) / dec!(365);
        Some((self.net(outlet, mass)? - holding * w * w / (dec!(2) * lambda)) / (w / lambda))
    }

    fn check(&self, way: &Outlook, masses: &[Mass]) -> Result<(), TestCaseError> {
        let outlet = self.shop.outlets.iter().find(|outlet| outlet.id == way.outlet).expect("it was asked");
        for &mass in masses {
            let best = way.ship.as_ref().map_or(dec!(0), |ship| ship.per_day);
            let rate = self.rate(outlet, mass);
            prop_assert!(rate.is_none_or(|rate| rate <= best + EQUAL), "{mass:?} at {}", outlet.name);
        }
        if let Some(ship) = &way.ship {
            let net = self.net(outlet, ship.weight);
            prop_assert!(net.is_some_and(|net| (net - ship.net).abs() < EQUAL), "{ship:?} {net:?}");
            let rate = self.rate(outlet, ship.weight);
            prop_assert!(rate.is_some_and(|rate| (rate - ship.per_day).abs() < EQUAL), "{ship:?} {rate:?}");
        }
        let curve = self.bag.long_run(outlet, &self.shop.facts);
        for points in curve.windows(2).step_by(curve.len() / 12 + 1) {
            let (before, point) = (points[0], points[1]);
            // The far side of a freight step is drawn at once, and a carrier's scale shows it a milligram later.
            if point.weight - before.weight < UNSEEN {
                continue;
            }
            let net = self.net(outlet, point.weight);
            prop_assert!(net.is_some_and(|net| (net - point.net).abs() < EQUAL), "{point:?} {net:?}");
        }
        if matches!(outlet.way, Way::Post(_)) {
            let lead = |mass| Some(self.net(outlet, mass)? - self.local(mass).unwrap_or(dec!(0)));
            let lighter = masses.iter().filter(|mass| way.break_even.is_none_or(|even| **mass < even));
            for &mass in lighter {
                prop_assert!(lead(mass).is_none_or(|lead| lead < EQUAL), "{mass:?} at {}", outlet.name);
            }
            let even = way.break_even.map(lead);
            prop_assert!(even.is_none_or(|lead| lead.is_some_and(|lead| lead > -EQUAL)), "{way:?}");
        } else {
            prop_assert_eq!(way.break_even, None);
        }
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_mass_of_any_bag_does_better_than_its_ship_weight_or_breaks_even_below_it(
        seed in 0..1000u64,
        bag in 0..BAGS.len(),
        pounds in 1..60u32,
        per_day in 5..200u32,
        // Steps of a pound, and anything between them.
        whole in prop::collection::vec(1..160u32, 4),
        between in prop::collection::vec(1..70_000_000i64, 6),
    ) {
        let shop = shop(seed, 1);
        let (grade, density) = BAGS[bag];
        let grade = GradeId::new(grade);
        let per_day = Mass::from_grams(per_day.into());
        let fill = FillRate { per_day, low: per_day, high: per_day, weeks: 8, from: date(2026, 1, 1) };
        let bag = Bag {
            grade: &grade,
            density: BulkDensity::new(density).expect("a density"),
            mass: Mass::of(pounds.into(), MassUnit::Pound),
            pieces: 0,
            fill: Some(fill),
        };
        let checked = Checked { shop: &shop, bag, per_day };
        let pounds = whole.into_iter().map(|pounds| Mass::of(pounds.into(), MassUnit::Pound));
        let any = between.into_iter().map(|milligrams| Mass::from_grams(Decimal::new(milligrams, 3)));
        let up_to = checked.horizon();
        let masses: Vec<Mass> = pounds.chain(any).filter(|mass| *mass <= up_to).collect();
        for way in outlooks(&checked.bag, &shop.outlets, &shop.facts) {
            checked.check(&way, &masses)?;
        }
    }
}
