//! Two lists that somebody drew a line between: `Bare bright  4.10  |  Network cards  4.25`.

use std::collections::HashMap;

use crate::document::Line;
use crate::number::{Habit, Marks};
use crate::price::{self, Strength};
use crate::scan::{Kind, Scan};

/// So many lines have the rule at one place, and a name with its price on either side of it.
const FEWEST: usize = 3;
const RULE: char = '|';

/// The lines left and right of the rule; those that it does not cross stand with the left ones. `None` where there is none.
pub(super) fn beside_a_rule(lines: &[Line]) -> Option<(Vec<Line>, Vec<Line>)> {
    let mut places: HashMap<usize, usize> = HashMap::new();
    lines.iter().filter_map(only_rule).for_each(|at| *places.entry(at).or_default() += 1);
    let (place, _) = places.into_iter().max_by_key(|&(place, count)| (count, place))?;
    let both =
        |line: &&Line| parted(line, place).is_some_and(|(left, right)| is_item(left) && is_item(right));
    if lines.iter().filter(both).count() < FEWEST {
        return None;
    }
    let (mut left, mut right) = (Vec::new(), Vec::new());
    for line in lines {
        let with = |text: &str| Line { text: text.trim_end().to_string(), place: line.place.clone() };
        match parted(line, place) {
            Some((before, behind)) => {
                left.extend(Some(with(before)).filter(|line| !line.text.trim().is_empty()));
                right.extend(Some(with(behind)).filter(|line| !line.text.trim().is_empty()));
            }
            None => left.push(line.clone()),
        }
    }
    Some((left, right))
}

/// Where the one rule of a line stands, in characters.
fn only_rule(line: &Line) -> Option<usize> {
    let mut rules = line.text.chars().enumerate().filter(|(_, c)| *c == RULE).map(|(at, _)| at);
    rules.next().filter(|_| rules.next().is_none())
}

fn parted(line: &Line, place: usize) -> Option<(&str, &str)> {
    only_rule(line).filter(|at| *at == place).and_then(|_| line.text.split_once(RULE))
}

/// Whether a text holds a name and behind it its price.
pub(super) fn is_item(text: &str) -> bool {
    let scan = Scan::of(text);
    let prices = price::prices(&scan, Marks::of([], Habit::Point));
    let named =
        |first: usize| (0..first).any(|at| scan.kind(at) == Some(Kind::Word) && !scan.is_currency(at));
    prices.iter().any(|price| price.strength > Strength::Weak && named(price.first))
}
