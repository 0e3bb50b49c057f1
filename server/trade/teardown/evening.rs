//! An evening at the bench: of piles of units, which to open within the minutes that there are, how far, and in which order.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy, dec};

use super::knapsack::{Item, Units, choose_each};
use super::ways::{Way, Ways};

/// The most units that are looked at.
pub const MOST_UNITS: u32 = 10_000;
/// A minute is looked at in thousandths, rounded up, and an amount in millionths.
const MINUTE: Decimal = dec!(1000);
const AMOUNT: Decimal = dec!(1_000_000);
/// Larger figures are no evening's.
const LONGEST: Decimal = dec!(100_000);
const LARGEST: Decimal = dec!(100_000_000);

/// Units of one kind, and the ways in which one of them can be opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pile {
    pub count: u32,
    pub ways: Ways,
}

/// So many of a pile are opened in the same way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Opened {
    pub pile: usize,
    /// The way's place among those of the pile.
    pub way: usize,
    pub count: u32,
}

/// So many of a pile stay whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Left {
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
    pub whole: Vec<Left>,
    /// No choice gains more than this, where that is not proved of the one that was found.
    pub bound: Option<Decimal>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EveningProblem {
    #[error("more than {MOST_UNITS} units at once are too many to plan an evening with")]
    TooMany,
    #[error("a unit takes less than no time, or more than {LONGEST} minutes, or brings more than {LARGEST}")]
    Figures,
}

/// Chooses of each pile how many units to open, and each of them how far, so that the gain within `minutes` is the most
/// there is.
pub fn evening(piles: &[Pile], minutes: Decimal) -> Result<Evening, EveningProblem> {
    let units = piles.iter().fold(0, |sum: u32, pile| sum.saturating_add(pile.count));
    if units > MOST_UNITS {
        return Err(EveningProblem::TooMany);
    }
    let limit = scaled(minutes.clamp(Decimal::ZERO, LONGEST), MINUTE, RoundingStrategy::ToZero)?;
    let items: Vec<Vec<Item>> = piles.iter().map(items).collect::<Result<_, _>>()?;
    let units: Vec<Units<'_>> =
        piles.iter().zip(&items).map(|(pile, items)| Units { count: pile.count, items }).collect();
    let chosen = choose_each(&units, limit);
    let way = |opened: &Opened| &piles[opened.pile].ways.ways[opened.way];
    let mut opened: Vec<Opened> = Vec::new();
    for (pile, counts) in chosen.counts.iter().enumerate() {
        opened.extend(counts.iter().enumerate().map(|(way, &count)| Opened { pile, way, count }));
    }
    opened.retain(|opened| opened.count > 0);
    let pace = |opened: &Opened| way(opened).per_hour().unwrap_or(Decimal::MAX);
    opened.sort_by_key(|opened| std::cmp::Reverse(pace(opened)));
    let left = |(pile, counts): (usize, &Vec<u32>)| Left {
        pile,
        count: piles[pile].count - counts.iter().sum::<u32>(),
    };
    let mut whole: Vec<Left> = chosen.counts.iter().enumerate().map(left).collect();
    whole.retain(|whole| whole.count > 0);
    // Between the ways that were told apart others may lie, but none above their hull.
    let is_thinned = piles.iter().any(|pile| pile.ways.is_thinned);
    let bound = if is_thinned { chosen.mixed } else { chosen.bound };
    let sum = |of: fn(&Way) -> Decimal| -> Decimal {
        opened.iter().map(|opened| of(way(opened)) * Decimal::from(opened.count)).sum()
    };
    Ok(Evening {
        gain: sum(|way| way.gain),
        labour: sum(|way| way.labour),
        minutes: sum(|way| way.minutes),
        bound: (bound > chosen.gain).then(|| Decimal::from(bound) / AMOUNT),
        opened,
        whole,
    })
}

fn items(pile: &Pile) -> Result<Vec<Item>, EveningProblem> {
    let item = |way: &Way| {
        if way.minutes < Decimal::ZERO || way.minutes > LONGEST || way.gain.abs() > LARGEST {
            return Err(EveningProblem::Figures);
        }
        Ok(Item {
            size: scaled(way.minutes, MINUTE, RoundingStrategy::AwayFromZero)?,
            gain: scaled(way.gain, AMOUNT, RoundingStrategy::MidpointAwayFromZero)?,
        })
    };
    pile.ways.ways.iter().map(item).collect()
}

fn scaled(number: Decimal, by: Decimal, how: RoundingStrategy) -> Result<i64, EveningProblem> {
    (number * by).round_dp_with_strategy(0, how).to_i64().ok_or(EveningProblem::Figures)
}
