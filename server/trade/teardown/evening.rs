//! An evening at the bench: of piles of units, which to open within the minutes that there are, and in which order.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy, dec};

use super::depth::per_hour;
use super::knapsack::{Item, choose};

/// The most units that are looked at.
pub const MOST_UNITS: u32 = 10_000;
/// A minute is looked at in thousandths, rounded up, and an amount in millionths.
const MINUTE: Decimal = dec!(1000);
const AMOUNT: Decimal = dec!(1_000_000);
/// Larger figures are no evening's.
const LONGEST: Decimal = dec!(100_000);
const LARGEST: Decimal = dec!(100_000_000);

/// Units of one kind, and what opening one takes and adds, with the labour paid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pile {
    pub count: u32,
    pub minutes: Decimal,
    pub gain: Decimal,
    pub labour: Decimal,
}

/// So many of a pile are opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Opened {
    pub pile: usize,
    pub count: u32,
}

/// The best that can be done in the time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evening {
    /// In the order to open them: what earns most an hour first.
    pub opened: Vec<Opened>,
    pub gain: Decimal,
    pub labour: Decimal,
    pub minutes: Decimal,
    /// What is left to bring in whole, by pile.
    pub whole: Vec<Opened>,
    /// No choice gains more than this, where the search was given up before it was proved.
    pub bound: Option<Decimal>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EveningProblem {
    #[error("more than {MOST_UNITS} units at once are too many to plan an evening with")]
    TooMany,
    #[error("a unit takes less than no time, or more than {LONGEST} minutes, or brings more than {LARGEST}")]
    Figures,
}

/// Chooses how many of each pile to open, so that the gain within `minutes` is the most there is.
///
/// Units of a pile are alike, so that sixteen of them are looked at as 1, 2, 4, 8 and 1 together.
pub fn evening(piles: &[Pile], minutes: Decimal) -> Result<Evening, EveningProblem> {
    let units = piles.iter().fold(0, |sum: u32, pile| sum.saturating_add(pile.count));
    if units > MOST_UNITS {
        return Err(EveningProblem::TooMany);
    }
    let limit = scaled(minutes.clamp(Decimal::ZERO, LONGEST), MINUTE, RoundingStrategy::ToZero)?;
    let mut items = Vec::new();
    let mut bundles = Vec::new();
    for (at, pile) in piles.iter().enumerate() {
        if pile.minutes < Decimal::ZERO || pile.minutes > LONGEST || pile.gain.abs() > LARGEST {
            return Err(EveningProblem::Figures);
        }
        let size = scaled(pile.minutes, MINUTE, RoundingStrategy::AwayFromZero)?;
        let gain = scaled(pile.gain, AMOUNT, RoundingStrategy::MidpointAwayFromZero)?;
        let mut left = pile.count;
        let mut bundle = 1;
        while left > 0 {
            let count = bundle.min(left);
            items.push(Item { gain: gain * i64::from(count), size: size * i64::from(count) });
            bundles.push((at, count));
            left -= count;
            bundle *= 2;
        }
    }
    let chosen = choose(&items, limit);
    let mut counts = vec![0; piles.len()];
    for ((at, count), picked) in bundles.iter().zip(&chosen.picked) {
        counts[*at] += if *picked { *count } else { 0 };
    }
    let sum = |of: fn(&Pile) -> Decimal| -> Decimal {
        piles.iter().zip(&counts).map(|(pile, count)| of(pile) * Decimal::from(*count)).sum()
    };
    let pace = |opened: &Opened| {
        let pile = &piles[opened.pile];
        per_hour(pile.gain + pile.labour, pile.minutes).unwrap_or(Decimal::MAX)
    };
    let all = || counts.iter().enumerate();
    let mut opened: Vec<Opened> = all().map(|(pile, &count)| Opened { pile, count }).collect();
    opened.retain(|opened| opened.count > 0);
    opened.sort_by_key(|opened| std::cmp::Reverse(pace(opened)));
    let mut whole: Vec<Opened> =
        all().map(|(pile, &count)| Opened { pile, count: piles[pile].count - count }).collect();
    whole.retain(|whole| whole.count > 0);
    let bound = (!chosen.is_best()).then(|| Decimal::from(chosen.bound) / AMOUNT);
    Ok(Evening {
        opened,
        gain: sum(|pile| pile.gain),
        labour: sum(|pile| pile.labour),
        minutes: sum(|pile| pile.minutes),
        whole,
        bound,
    })
}

fn scaled(number: Decimal, by: Decimal, how: RoundingStrategy) -> Result<i64, EveningProblem> {
    (number * by).round_dp_with_strategy(0, how).to_i64().ok_or(EveningProblem::Figures)
}
