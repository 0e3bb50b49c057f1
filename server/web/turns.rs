//! What would change the sell plan, in sentences.

use rust_decimal::{Decimal, RoundingStrategy};
use trade::outlet::Way;
use trade::plan::{MassTurn, OutletTurn, PriceTurn, Reached, Turns, Way as Direction};

use super::page::{Visitor, counted, unbroken};
use super::plan::place_name;
use crate::shelf::Shelf;

/// What would change the plan, what is nearest first.
pub struct TurnLines {
    pub outlets: Vec<String>,
    pub masses: Vec<String>,
    pub prices: Vec<String>,
    pub is_complete: bool,
}

impl TurnLines {
    pub fn new(turns: &Turns, shelf: &Shelf, visitor: &Visitor) -> TurnLines {
        let words = Words { shelf, visitor };
        let mut outlets: Vec<&OutletTurn> = turns.outlets.iter().collect();
        outlets.sort_by_key(|turn| turn.by);
        let mut prices: Vec<&PriceTurn> = turns.prices.iter().collect();
        prices.sort_by_key(|turn| {
            (turn.then.amount - turn.now.amount).abs().checked_div(turn.now.amount).unwrap_or(Decimal::MAX)
        });
        TurnLines {
            outlets: outlets.into_iter().filter_map(|turn| words.outlet(turn)).collect(),
            masses: turns.masses.iter().map(|turn| words.mass(turn)).collect(),
            prices: prices.into_iter().map(|turn| words.price(turn)).collect(),
            is_complete: turns.complete,
        }
    }

    pub fn is_empty(&self) -> bool {
        self.outlets.is_empty() && self.masses.is_empty() && self.prices.is_empty()
    }
}

struct Words<'a> {
    shelf: &'a Shelf,
    visitor: &'a Visitor,
}

impl Words<'_> {
    fn outlet(&self, turn: &OutletTurn) -> Option<String> {
        let outlet = self.shelf.outlet(&turn.outlet)?;
        let name = &outlet.name;
        let what = match outlet.way {
            Way::Drive(_) => "the drive",
            Way::Post(_) => "mailing it, boxes and packing included,",
        };
        let (at, once) = (self.visitor.money(turn.at()?), self.visitor.money(turn.once));
        Some(if turn.is_open {
            format!("{name} is worth it until {what} costs {at}. Now it costs {once}.")
        } else {
            let lots = counted(turn.lots.len(), "lot", "lots");
            format!("{name} would get {lots} if {what} cost {at} instead of {once}.")
        })
    }

    fn mass(&self, turn: &MassTurn) -> String {
        let grade = self.shelf.grade_name(&turn.grade);
        let outlet = self.shelf.outlet_name(&turn.outlet);
        let way = match self.shelf.outlet(&turn.outlet).map(|outlet| &outlet.way) {
            Some(Way::Post(_)) => "mailing",
            _ => "driving",
        };
        let then = match turn.reached {
            Reached::Opens => format!("{way} to {outlet} pays"),
            Reached::Tier(from) => {
                let tier = self.visitor.tier(from).unwrap_or_default();
                format!("{outlet}’s price {tier} is reached")
            }
        };
        let days = self.days(turn).map_or(String::new(), |days| format!(" That comes in within {days}."));
        format!("{} more of {grade}, and {then}.{days}", self.visitor.mass(turn.extra))
    }

    /// How long it takes to come in, at the rate at which it has.
    fn days(&self, turn: &MassTurn) -> Option<String> {
        let per_day =
            self.shelf.fill.get(&turn.grade).map(|fill| fill.per_day).filter(|mass| mass.is_positive())?;
        let days = turn.extra.grams().checked_div(per_day.grams())?;
        let days = days.round_dp_with_strategy(0, RoundingStrategy::ToPositiveInfinity);
        (days <= Decimal::ONE_HUNDRED).then(|| counted(days.normalize(), "day", "days"))
    }

    fn price(&self, turn: &PriceTurn) -> String {
        let grade = self.shelf.grade_name(&turn.grade);
        let outlet = self.shelf.outlet_name(&turn.outlet);
        let (now, then) = (unbroken(&turn.now.to_string()), unbroken(&turn.then.to_string()));
        match turn.way {
            Direction::Up => format!("{grade}: at {then} it would go to {outlet}, which pays {now}."),
            Direction::Down => {
                let to = match place_name(self.shelf, &turn.to) {
                    to if to == outlet => "less of it goes there".to_string(),
                    to if turn.to == trade::plan::Place::Keep => to,
                    to => format!("it goes to {to}"),
                };
                format!("{grade}: {outlet} pays {now}; below {then} {to}.")
            }
        }
    }
}
