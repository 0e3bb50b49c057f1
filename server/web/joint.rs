//! Together or apart: the bags that fill for one buyer, and how they are best shipped in the long run.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use trade::ids::GradeId;
use trade::joint::joint;
use trade::mass::Mass;
use trade::outlet::Outlet;
use trade::outlook::Outlook;

use super::page::{DAYS_OF_WEEK, counted, money, unbroken};
use crate::shelf::{Answer, Shelf};

/// So many bags are compared: each one more doubles the work that a page waits for.
const COMPARED: usize = 4;

/// The comparison ready to draw.
pub struct JointLines {
    pub outlet_name: String,
    pub verdict: String,
    pub groups: Vec<GroupLine>,
    /// Grades that no shipment pays for.
    pub waiting: String,
    /// Bags for the same buyer that were not compared.
    pub left_out: usize,
}

pub struct GroupLine {
    pub names: String,
    pub per_week: Decimal,
    pub every: String,
    pub mass: Mass,
    /// What there is of each in a shipment of several.
    pub parts: String,
}

impl JointLines {
    /// The grade's bag and others that fill for the same buyer. `None` where it has no company.
    pub fn new(grade: &GradeId, outlet: &Outlet, shelf: &Shelf, answer: &Answer) -> Option<JointLines> {
        // The bag that the page is about, and of those that this buyer pays most for in the long run, those that bring most.
        let mut grades: Vec<(&GradeId, Decimal)> = answer
            .outlooks
            .iter()
            .filter(|(grade, _)| outlet.quotes.contains_key(*grade) && shelf.fill.contains_key(*grade))
            .map(|(grade, ways)| {
                let rate = |way: &Outlook| way.ship.as_ref().map_or(Decimal::ZERO, |ship| ship.per_day);
                let here = ways.iter().find(|way| way.outlet == outlet.id).map_or(Decimal::ZERO, rate);
                (grade, here, ways.iter().map(rate).max().unwrap_or_default())
            })
            .filter(|(other, here, best)| *other == grade || (!here.is_zero() && here == best))
            .map(|(grade, here, _)| (grade, here))
            .collect();
        grades.sort_by_key(|(other, per_day)| (*other != grade, std::cmp::Reverse(*per_day)));
        if grades.first().is_none_or(|(first, _)| *first != grade) {
            return None;
        }
        let left_out = grades.len().saturating_sub(COMPARED);
        let bags: Vec<_> = grades.iter().take(COMPARED).map(|(grade, _)| shelf.whole_bag(grade)).collect();
        let found = joint(&bags, outlet, &shelf.facts)?;
        let home = shelf.facts.costs.home;
        let weekly = |per_day: Decimal| money(per_day * DAYS_OF_WEEK, home);
        let name = |grade: &GradeId| shelf.grade_name(grade);
        let show = |mass: Mass| unbroken(&shelf.facts.style.show(mass));
        let is_all_in_one = found.groups.len() == 1 && found.groups[0].bags.len() > 1;
        let is_all_apart = found.groups.iter().all(|group| group.bags.len() == 1);
        let gain = found.per_day - found.apart;
        let verdict = if found.groups.is_empty() {
            "No weight pays for a shipment, alone or together.".to_string()
        } else if is_all_apart {
            match found.together {
                Some(together) => format!(
                    "Each by itself. Always in one shipment they would bring {} a week less.",
                    weekly(found.per_day - together)
                ),
                None => "Each by itself: together no weight pays.".to_string(),
            }
        } else {
            let how = if is_all_in_one { "In one shipment" } else { "Together as below" };
            format!("{how} they bring {} a week more than each by itself.", weekly(gain))
        };
        let groups = found.groups.iter().map(|group| {
            let several = group.bags.len() > 1;
            let names: Vec<String> = group.bags.iter().map(|(grade, _)| name(grade)).collect();
            let parts = group.bags.iter().map(|(grade, mass)| format!("{} {}", show(*mass), name(grade)));
            let days = group.ship.cycle_days.round().to_u64().unwrap_or(u64::MAX).max(1);
            GroupLine {
                names: names.join(" with "),
                per_week: group.ship.per_day * DAYS_OF_WEEK,
                every: counted(days, "day", "days"),
                mass: group.ship.weight,
                parts: if several { parts.collect::<Vec<_>>().join(", ") } else { String::new() },
            }
        });
        Some(JointLines {
            outlet_name: outlet.name.clone(),
            verdict,
            groups: groups.collect(),
            waiting: found.waiting.iter().map(name).collect::<Vec<_>>().join(", "),
            left_out,
        })
    }
}
