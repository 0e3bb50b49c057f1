//! Lots that are alike: the search decides how much of each class goes where before it decides which lots.

use std::collections::HashMap;

use rust_decimal::Decimal;

use crate::ids::GradeId;
use crate::money::PriceUnit;
use crate::plan::model::Model;
use crate::plan::node::{Node, Reach, Scope};
use crate::plan::shipping;

/// Keep values per amount that differ by less than this share are one.
const SAME: f64 = 1e-12;

/// By lot, which lots no outlet can tell apart but by their mass: one grade, one density, and where something is priced
/// each, one number of pieces per mass.
#[derive(Debug, Default)]
pub(in crate::plan) struct Kinds {
    of_lot: Vec<usize>,
    /// By kind and site, what one amount brings at each tier, in the outlet's currency; empty where it is not taken.
    worth: Vec<Vec<Vec<f64>>>,
}

#[derive(PartialEq, Eq, Hash)]
enum Key<'a> {
    Alike {
        grade: &'a GradeId,
        density: Option<i32>,
        pieces: Option<Decimal>,
    },
    /// A lot of no mass.
    Alone(usize),
}

impl Kinds {
    pub fn new(model: &Model<'_>) -> Self {
        let each = |grade: &GradeId| {
            let quotes = model.sites.iter().filter_map(|site| site.outlet.quotes.get(grade));
            quotes.flat_map(|quotes| quotes.tiers()).any(|quote| quote.price.per == PriceUnit::Each)
        };
        let mut keys: HashMap<Key<'_>, usize> = HashMap::new();
        let mut firsts: Vec<usize> = Vec::new();
        let mut of_lot = Vec::with_capacity(model.lots.len());
        for (lot, (item, plan_lot)) in model.lots.iter().zip(model.problem.lots).enumerate() {
            let load = &plan_lot.load;
            let key = if item.mass > 0.0 {
                let pieces = || (Decimal::from(load.pieces) / load.mass.grams()).normalize();
                Key::Alike {
                    grade: &load.grade,
                    density: (item.volume > 0.0).then(|| shipping::class_of(item.mass / item.volume)),
                    pieces: each(&load.grade).then(pieces),
                }
            } else {
                Key::Alone(lot)
            };
            of_lot.push(*keys.entry(key).or_insert_with(|| {
                firsts.push(lot);
                firsts.len() - 1
            }));
        }
        let mut worth = vec![vec![Vec::new(); model.sites.len()]; firsts.len()];
        for (site, at) in model.sites.iter().zip(0..) {
            for (lot, &kind) in of_lot.iter().enumerate() {
                let Some(spot) = site.spots[lot] else { continue };
                let amount = amount_of(model, lot);
                let tiers = site.grades[spot.grade].tiers.iter().map(|tier| tier.worth[spot.place] / amount);
                let known: &mut Vec<f64> = &mut worth[kind][at];
                // Alike but for rounding: never less than any of them.
                if known.is_empty() {
                    known.extend(tiers);
                } else {
                    known.iter_mut().zip(tiers).for_each(|(most, worth)| *most = most.max(worth));
                }
            }
        }
        Kinds { of_lot, worth }
    }
}

/// How much of its class a lot is: its grams, or one lot where it has none.
pub(in crate::plan) fn amount_of(model: &Model<'_>, lot: usize) -> f64 {
    let mass = model.lots[lot].mass;
    if mass > 0.0 { mass } else { 1.0 }
}

/// Lots of one kind that may go to the same places.
#[derive(Debug)]
pub(in crate::plan) struct Class {
    kind: usize,
    /// Those that are worth most to keep, by amount, first.
    pub lots: Vec<usize>,
    pub amount: f64,
    /// The least amount of a lot.
    pub least: f64,
    /// Grams, and least and most cubic centimetres, of one amount.
    pub mass: f64,
    pub volume: (f64, f64),
    /// The only place that is left for the lots.
    pub decided: Option<usize>,
    /// What an amount brings that is kept, at the least; `None` where the lots may not be kept.
    pub keep: Option<f64>,
    /// Of the first lots: their amount, and what keeping them brings beyond that.
    pub kept: Vec<(f64, f64)>,
}

impl Class {
    fn new(model: &Model<'_>, kind: usize, mut lots: Vec<usize>, reach: &[usize]) -> Self {
        let keepable = reach.contains(&model.keep_place());
        let rate = |lot: usize| model.lots[lot].keep / amount_of(model, lot);
        lots.sort_by(|&a, &b| rate(b).total_cmp(&rate(a)).then(a.cmp(&b)));
        let amounts = || lots.iter().map(|&lot| amount_of(model, lot));
        let looseness = || lots.iter().map(|&lot| model.lots[lot].volume / amount_of(model, lot));
        let (most, least) =
            (lots.first().map_or(0.0, |&lot| rate(lot)), lots.last().map_or(0.0, |&lot| rate(lot)));
        let mut class = Class {
            kind,
            amount: amounts().sum(),
            least: amounts().fold(f64::INFINITY, f64::min),
            mass: if lots.iter().any(|&lot| model.lots[lot].mass > 0.0) { 1.0 } else { 0.0 },
            volume: (looseness().fold(f64::INFINITY, f64::min), looseness().fold(0.0, f64::max)),
            decided: if let [place] = reach { Some(*place) } else { None },
            keep: keepable.then_some(least),
            kept: Vec::new(),
            lots: Vec::new(),
        };
        if keepable && most - least > SAME * most.abs() {
            let (mut amount, mut worth) = (0.0, 0.0);
            for &lot in &lots {
                let more = amount_of(model, lot);
                amount += more;
                worth += model.lots[lot].keep - least * more;
                class.kept.push((amount, worth));
            }
        }
        class.lots = lots;
        class
    }

    /// The most that the class brings where an amount sold brings `price`: what is worth more kept is kept.
    pub fn at(&self, price: f64) -> f64 {
        if self.decided.is_some() && self.keep.is_none() {
            // What an outlet must take is counted there.
            return 0.0;
        }
        let Some(keep) = self.keep else { return price * self.amount };
        if price <= keep {
            return self.kept_at(f64::NEG_INFINITY).1 + keep * self.amount;
        }
        let (amount, more) = self.kept_at(price);
        keep * amount + more + price * (self.amount - amount)
    }

    /// The amount that is worth more kept than `price`, and what it brings beyond the least keep value.
    pub fn kept_at(&self, price: f64) -> (f64, f64) {
        let Some(keep) = self.keep else { return (0.0, 0.0) };
        // Gains by amount fall from lot to lot.
        let (mut low, mut high) = (0, self.kept.len());
        while low < high {
            let middle = usize::midpoint(low, high);
            let (before_amount, before) = if middle == 0 { (0.0, 0.0) } else { self.kept[middle - 1] };
            let (amount, worth) = self.kept[middle];
            if worth - before > (price - keep) * (amount - before_amount) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        low.checked_sub(1).map_or((0.0, 0.0), |last| self.kept[last])
    }
}

/// The classes of the undecided lots, and of those that are decided, at one state of the search.
#[derive(Debug)]
pub(in crate::plan) struct Classes {
    pub list: Vec<Class>,
    /// By lot; lots outside the scope are in none.
    pub of_lot: Vec<usize>,
}

impl Classes {
    pub fn new(model: &Model<'_>, scope: &Scope, node: &Node) -> Self {
        let mut found: HashMap<(usize, Vec<usize>), usize> = HashMap::new();
        let mut lots: Vec<(Vec<usize>, Vec<usize>)> = Vec::new();
        let mut of_lot = vec![usize::MAX; model.lots.len()];
        let keep = model.keep_place();
        for &lot in &scope.lots {
            let places = scope.sites.iter().copied().chain([keep]);
            let reach: Vec<usize> = places.filter(|&place| node.at(place, lot) != Reach::No).collect();
            let class = *found.entry((model.kinds.of_lot[lot], reach)).or_insert_with_key(|(_, reach)| {
                lots.push((Vec::new(), reach.clone()));
                lots.len() - 1
            });
            lots[class].0.push(lot);
            of_lot[lot] = class;
        }
        let list = lots
            .into_iter()
            .map(|(lots, reach)| Class::new(model, model.kinds.of_lot[lots[0]], lots, &reach));
        Classes { list: list.collect(), of_lot }
    }

    /// What an amount of the class brings at each tier, in the outlet's currency.
    pub fn worth<'m>(&self, model: &'m Model<'_>, class: usize, site: usize) -> &'m [f64] {
        &model.kinds.worth[self.list[class].kind][site]
    }
}
