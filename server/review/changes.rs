//! What a sheet changes against the outlet's one before it, grade by grade.

use std::collections::BTreeMap;

use rust_decimal::{Decimal, dec};
use trade::ids::GradeId;
use trade::money::Price;
use trade::quote::Quotes;

use super::compare::reference;

/// A price that is another one now, both in the unit of the new one, for the smallest load.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub grade: GradeId,
    pub before: Price,
    pub now: Price,
    /// Signed, in percent of the price before.
    pub by: Decimal,
}

/// All changes of a sheet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Changes {
    /// The largest first.
    pub moved: Vec<Change>,
    /// Grades that had no price before.
    pub new: Vec<GradeId>,
    pub same: usize,
}

impl Changes {
    pub fn between(before: &BTreeMap<GradeId, Quotes>, now: &BTreeMap<GradeId, Quotes>) -> Changes {
        let mut changes = Changes::default();
        for (grade, quotes) in now {
            let Some(quote) = quotes.tiers().first() else { continue };
            let price = quote.price;
            let old = before.get(grade).and_then(|old| reference(old, quote.from, price.per));
            match old.filter(|old| old.currency == price.currency && !old.amount.is_zero()) {
                None => changes.new.push(grade.clone()),
                Some(old) if old.amount == price.amount => changes.same += 1,
                Some(old) => changes.moved.push(Change {
                    grade: grade.clone(),
                    before: old,
                    now: price,
                    by: (price.amount - old.amount) / old.amount.abs() * dec!(100),
                }),
            }
        }
        changes.moved.sort_by(|a, b| b.by.abs().cmp(&a.by.abs()).then_with(|| a.grade.cmp(&b.grade)));
        changes
    }

    pub fn up(&self) -> usize {
        self.moved.iter().filter(|change| change.by > Decimal::ZERO).count()
    }

    pub fn down(&self) -> usize {
        self.moved.len() - self.up()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trade::mass::MassUnit;
    use trade::money::{Currency, PriceUnit};
    use trade::quote::Quote;

    fn paying(prices: &[(&str, Decimal, MassUnit)]) -> BTreeMap<GradeId, Quotes> {
        let quotes = |amount, unit| {
            Quotes::new([Quote::flat(Price::new(amount, Currency::USD, PriceUnit::Mass(unit)))]).unwrap()
        };
        prices.iter().map(|(grade, amount, unit)| (GradeId::from(*grade), quotes(*amount, *unit))).collect()
    }

    #[test]
    fn each_grade_is_held_against_its_own_price_before() {
        let lb = MassUnit::Pound;
        let before =
            paying(&[("a", dec!(4), lb), ("b", dec!(2), lb), ("c", dec!(1), lb), ("gone", dec!(1), lb)]);
        // 2.20 462 262 18 USD/kg is a dollar per pound (NIST Handbook 44: 1 lb is 0.453 592 37 kg).
        let now = paying(&[
            ("a", dec!(4.10), lb),
            ("b", dec!(1), lb),
            ("c", dec!(1), lb),
            ("new", dec!(9), MassUnit::Kilogram),
        ]);
        let changes = Changes::between(&before, &now);
        let moved: Vec<_> = changes.moved.iter().map(|c| (c.grade.as_str(), c.by)).collect();
        assert_eq!(moved, [("b", dec!(-50)), ("a", dec!(2.5))]);
        assert_eq!((changes.up(), changes.down(), changes.same), (1, 1, 1));
        assert_eq!(changes.new, [GradeId::from("new")]);
    }
}
