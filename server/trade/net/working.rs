//! The working of each step of the ladder, in words.

use std::collections::BTreeMap;

use rust_decimal::{Decimal, dec};

use super::{Line, StepKind};
use crate::history::{Estimate, Expected, Learned};
use crate::ids::Family;
use crate::mass::{MassStyle, round};
use crate::money::{Currency, PriceUnit, places, show_amount};
use crate::outlet::Outlet;
use crate::packing::Packing;

/// What was learned about each family in the delivery, once for each.
fn learned_about<'a>(
    lines: &[Line],
    learned: &'a Learned,
    figure: fn(&Expected) -> Option<Estimate>,
) -> BTreeMap<Option<&'a Family>, (Estimate, Expected)> {
    let about = |line: &Line| {
        let family = learned.family_of(&line.grade);
        let expected = learned.of_family(family);
        Some((family, (figure(&expected)?, expected)))
    };
    lines.iter().filter_map(about).collect()
}

/// `learned from 5 settlements: 98.2 %, 80 % between 97.1 % and 99.4 %`, with the families named where there are more.
fn learned_in_words<'a>(
    about: &BTreeMap<Option<&Family>, (Estimate, Expected)>,
    words: impl Fn(&Estimate, &Expected) -> String + 'a,
) -> Option<String> {
    let (first, _) = about.values().next()?;
    let from = match first.settlements {
        1 => "learned from 1 settlement".to_string(),
        many => format!("learned from {many} settlements"),
    };
    let each = about.iter().map(|(family, (estimate, expected))| {
        let name = family.filter(|_| about.len() > 1).map_or(String::new(), |family| format!("{family} "));
        format!(
            "{name}{}, 80 % between {} and {}",
            words(estimate, expected),
            percent(estimate.low),
            percent(estimate.high)
        )
    });
    Some(format!("{from}: {}", each.collect::<Vec<_>>().join("; ")))
}

pub(super) fn scale(lines: &[Line], outlet: &Outlet) -> (StepKind, String) {
    let weighed = lines.iter().filter(|line| line.quote.price.per != PriceUnit::Each);
    let weighed: Vec<Line> = weighed.cloned().collect();
    let learned = outlet.learned.as_ref().and_then(|learned| {
        let about = learned_about(&weighed, learned, |expected| expected.paid_weight);
        learned_in_words(&about, |weight, _| format!("they weigh {} of what we weigh", percent(weight.mean)))
    });
    match learned {
        Some(working) => (StepKind::LearnedWeight, working),
        None => {
            let ratio = (outlet.terms.paid_weight.get() * dec!(100)).normalize();
            (StepKind::PaidWeight, format!("they weigh {ratio} % of what we weigh"))
        }
    }
}

pub(super) fn downgrade(lines: &[Line], outlet: &Outlet) -> (StepKind, String) {
    let terms = &outlet.terms;
    let learned = outlet.learned.as_ref().and_then(|learned| {
        let about = learned_about(lines, learned, |expected| expected.downgraded);
        learned_in_words(&about, |chance, expected| {
            format!("{} of loads lose {} of the price", percent(chance.mean), percent(expected.drop))
        })
    });
    match learned {
        Some(working) => (StepKind::LearnedDowngrade, working),
        None => {
            let chance = terms.downgrade_chance;
            let working = format!("{chance} of loads lose {} of the price", terms.downgrade_drop);
            (StepKind::Downgrade, working)
        }
    }
}

pub(super) fn learned_days(days: &Estimate) -> String {
    let from = match days.settlements {
        1 => "learned from 1 payment".to_string(),
        many => format!("learned from {many} payments"),
    };
    format!("{from}: {} days, 80 % between {} and {},", days.mean, days.low, days.high)
}

/// A ratio in percent: `98.2 %`.
fn percent(ratio: Decimal) -> String {
    format!("{} %", round(ratio * dec!(100), 2).normalize())
}

/// An amount that others are worked out from, with all its decimals.
pub(super) fn rate(amount: Decimal, currency: Currency) -> String {
    let amount = amount.normalize();
    format!("{} {}", show_amount(amount, amount.scale().max(places(currency))), currency.code())
}

pub(super) fn freight(packing: &Packing, style: MassStyle) -> String {
    let parcels = packing.parcels.iter().map(|p| match p.billable {
        Some(billable) => {
            format!(
                "{} × {} of {}, billed as {}",
                p.count,
                p.box_name,
                style.show(p.gross),
                style.show(billable)
            )
        }
        None => format!("{} × {} at its flat rate", p.count, p.box_name),
    });
    format!("{}: {}", packing.service, parcels.collect::<Vec<_>>().join("; "))
}

pub(super) fn boxes(packing: &Packing) -> String {
    packing.parcels.iter().map(|p| format!("{} × {}", p.count, p.box_name)).collect::<Vec<_>>().join(", ")
}
