//! The bound: the best mixture of deliveries, where every outlet may make several in part.
//!
//! Dantzig and Wolfe's decomposition (1960). A plan is one delivery, or none, for each outlet, so that no class goes out
//! more than there is of it; the master program mixes deliveries at will. Its prices go to the outlets (`counter`), each
//! answers with the delivery that gains most, and those that gain more than the program knows enter it, until none does.
//! Whatever the prices, `Σ what the classes bring at them + Σ what the outlets gain` is above every plan (Lagrange), so
//! the bound does not rest on the program having been solved well.

use std::rc::Rc;

use super::class::{Class, Classes};
use super::counter::{Counter, Delivery, Desk, Prices};
use super::linear::{Column, Linear};
use super::whole::Remembered;
use crate::plan::model::Model;
use crate::plan::node::{Node, Opening, Scope};
use crate::plan::rounds::Chosen;

/// Rounds of pricing after which a bound is taken as it is.
const ROUNDS: u32 = 300;

/// A bound is good enough where less than this share of what is left above the best plan could still be gained.
const NEAR: f64 = 0.03;

/// How many times what anything can bring it costs to leave over what must go.
const DEAR: f64 = 50.0;

/// A state of the search made ready to be bounded.
#[derive(Debug)]
pub(super) struct Outlook<'n, 'm> {
    pub model: &'m Model<'m>,
    pub scope: &'n Scope,
    pub node: &'n Node,
    pub classes: Rc<Classes>,
    /// By site.
    pub counters: Vec<Option<Rc<Counter<'m>>>>,
}

/// What a state was made ready with. It serves a state that follows from it in full where that differs in the terms of one outlet,
/// and not at all where some lot may no longer go somewhere.
#[derive(Debug)]
pub(super) struct Earlier<'m> {
    node: Node,
    classes: Rc<Classes>,
    counters: Vec<Option<Rc<Counter<'m>>>>,
}

/// What is known of a state.
#[derive(Debug)]
pub(super) struct Relaxation {
    /// No plan of the state is worth more.
    pub bound: f64,
    pub prices: Prices,
    /// By site: what its best delivery gains at the prices; `None` where it is shut.
    pub gains: Vec<Option<f64>>,
    /// The mixture that comes to the bound, and how much of each delivery is in it.
    pub mixture: Vec<(Delivery, f64)>,
    /// Deliveries that may be of use to states that follow.
    pub known: Vec<Delivery>,
}

impl<'n, 'm> Outlook<'n, 'm> {
    /// `None` where an outlet cannot take what must go there.
    pub fn new(
        model: &'m Model<'m>,
        scope: &'n Scope,
        node: &'n Node,
        remembered: &Remembered,
        earlier: Option<&Earlier<'m>>,
    ) -> Option<Self> {
        let earlier = earlier.filter(|earlier| earlier.node.reaches_as(node));
        let classes = match earlier {
            Some(earlier) => earlier.classes.clone(),
            None => Rc::new(Classes::new(model, scope, node)),
        };
        let mut counters: Vec<Option<Rc<Counter<'m>>>> = vec![None; model.sites.len()];
        for &site in &scope.sites {
            counters[site] = match earlier {
                Some(earlier) if earlier.node.opens_as(node, site) => earlier.counters[site].clone(),
                _ => Counter::new(model, scope, node, &classes, remembered, site).map(Rc::new),
            };
            if counters[site].is_none() && node.opening(site) == Opening::Open {
                return None;
            }
        }
        Some(Outlook { model, scope, node, classes, counters })
    }

    pub fn into_earlier(self) -> Earlier<'m> {
        Earlier { node: self.node.clone(), classes: self.classes, counters: self.counters }
    }

    /// What the drives save beyond the prices of their yards.
    fn drives(&self, prices: &Prices) -> Vec<Chosen> {
        self.model.rounds.best(self.scope, self.node, &prices.yard, |site| self.counters[site].is_some())
    }

    /// What the classes bring at the prices.
    fn at(&self, prices: &Prices) -> f64 {
        self.classes.list.iter().zip(&prices.class).map(|(class, &price)| class.at(price)).sum()
    }

    /// What a site adds to the bound. `None` where it must open and cannot.
    pub fn value(&self, site: usize, gain: Option<f64>) -> Option<f64> {
        match self.node.opening(site) {
            Opening::Shut => Some(0.0),
            Opening::Undecided => Some(gain.unwrap_or(0.0).max(0.0)),
            Opening::Open => gain,
        }
    }

    /// Deliveries of another state as they are seen in this one.
    pub fn adapt(&self, classes: &Classes, known: &[Delivery]) -> Vec<Delivery> {
        // By class of the other state, the classes that it has come to.
        let parts: Vec<Vec<usize>> = classes
            .list
            .iter()
            .map(|class| {
                let mut parts: Vec<usize> = class.lots.iter().map(|&lot| self.classes.of_lot[lot]).collect();
                parts.sort_unstable();
                parts.dedup();
                parts
            })
            .collect();
        let adapted = known.iter().filter_map(|delivery| {
            let counter = self.counters[delivery.site].as_ref()?;
            let mut amounts = vec![0.0; self.classes.list.len()];
            for &(class, amount) in &delivery.amounts {
                // What must go does; the rest in proportion.
                let here = |part: &&usize| counter.takes(**part);
                let must = |part: &&usize| self.classes.list[**part].decided.is_some();
                let of = |part: usize| self.classes.list[part].amount;
                let fixed: f64 = parts[class].iter().filter(here).filter(must).map(|&part| of(part)).sum();
                let free = || parts[class].iter().filter(here).filter(|part| !must(part));
                let whole: f64 = free().map(|&part| of(part)).sum();
                let left = (amount - fixed).clamp(0.0, whole);
                for &part in free() {
                    amounts[part] += left * of(part) / whole;
                }
            }
            counter.priced(&amounts, &delivery.tiers)
        });
        adapted.collect()
    }

    /// Looks for the best prices. Stops early when the bound is not above `enough`. `None` where there is no plan.
    pub fn relax(
        &self,
        known: impl IntoIterator<Item = Delivery>,
        enough: f64,
        desk: &mut Desk,
    ) -> Option<Relaxation> {
        let rows = Rows::new(self);
        let mut linear = Linear::new(&rows.limits, rows.slack.clone());
        let mut pool: Vec<Option<Delivery>> = Vec::new();
        for delivery in known {
            linear.push(rows.column(&delivery));
            pool.push(Some(delivery));
        }
        let mut best: Option<(f64, Prices, Vec<Option<f64>>)> = None;
        for _ in 0..ROUNDS {
            linear.maximise();
            let prices = rows.prices(linear.prices(), self.model.sites.len());
            let mut bound = self.at(&prices);
            let mut gains = vec![None; self.model.sites.len()];
            let before = pool.len();
            for (position, &site) in self.scope.sites.iter().enumerate() {
                let Some(counter) = &self.counters[site] else { continue };
                let Some((gain, delivery)) = counter.best(&prices, desk) else {
                    self.value(site, None)?;
                    continue;
                };
                gains[site] = Some(gain);
                bound += self.value(site, Some(gain))?;
                if gain > linear.prices()[rows.site + position] {
                    let column = rows.column(&delivery);
                    if linear.would_enter(&column) {
                        linear.push(column);
                        pool.push(Some(delivery));
                    }
                }
            }
            for chosen in self.drives(&prices) {
                bound += chosen.gain;
                if let Some(column) = rows.drive(chosen).filter(|column| linear.would_enter(column)) {
                    linear.push(column);
                    pool.push(None);
                }
            }
            for &(class, row) in &rows.kept {
                let (amount, worth) = self.classes.list[class].kept_at(prices.class[class]);
                let keep = self.classes.list[class].keep.unwrap_or(0.0);
                let column = Column {
                    gain: worth + keep * amount,
                    entries: vec![(rows.class[class].unwrap_or(0), amount), (row, 1.0)],
                };
                if linear.would_enter(&column) {
                    linear.push(column);
                    pool.push(None);
                }
            }
            if best.as_ref().is_none_or(|(least, ..)| bound < *least) {
                best = Some((bound, prices, gains));
            }
            let least = best.as_ref().map_or(f64::INFINITY, |(least, ..)| *least);
            // Better prices would not get the bound below the mixture.
            let left = least - linear.value();
            let near = (enough.is_finite() && left <= NEAR * (linear.value() - enough))
                || left <= 0.1 * self.model.tolerance;
            if least <= enough || pool.len() == before || near {
                break;
            }
        }
        let (bound, prices, gains) = best?;
        let mixture = linear.used().filter(|(_, share)| *share > 1e-7);
        let mixture = mixture.filter_map(|(column, share)| Some((pool[column].clone()?, share))).collect();
        let room = if enough.is_finite() { (bound - enough).max(0.0) } else { bound.abs() };
        let known = pool.into_iter().enumerate().filter(|(column, _)| linear.loss(*column) <= 2.0 * room);
        let known = known.filter_map(|(_, delivery)| delivery).collect();
        Some(Relaxation { bound, prices, gains, mixture, known })
    }
}

/// The rows of the master program: classes, sites, then those that only some have.
struct Rows<'o, 'n, 'm> {
    outlook: &'o Outlook<'n, 'm>,
    limits: Vec<f64>,
    slack: Vec<f64>,
    /// By class; `None` where it is decided.
    class: Vec<Option<usize>>,
    /// The first site's row.
    site: usize,
    /// Classes whose lots are not worth the same to keep, with their rows.
    kept: Vec<(usize, usize)>,
    /// By position of the site.
    dense: Vec<Option<usize>>,
    loose: Vec<Option<usize>>,
    payout: Vec<Option<usize>>,
    /// By position of the site: that a drive has it only if it opens.
    yard: Vec<Option<usize>>,
    /// By round: one drive.
    round: Vec<usize>,
}

impl<'o, 'n, 'm> Rows<'o, 'n, 'm> {
    fn new(outlook: &'o Outlook<'n, 'm>) -> Self {
        let (classes, model) = (&outlook.classes.list, outlook.model);
        let dear =
            DEAR * outlook.scope.sites.iter().map(|&site| model.sites[site].scale()).sum::<f64>() + 1.0;
        let (mut limits, mut slack, mut class_rows) = (Vec::new(), Vec::new(), Vec::new());
        for class in classes {
            class_rows.push(class.decided.is_none().then_some(limits.len()));
            if class.decided.is_none() {
                limits.push(class.amount);
                slack.push(class.keep.unwrap_or(-dear / class.amount));
            }
        }
        let site = limits.len();
        for &site in &outlook.scope.sites {
            limits.push(1.0);
            slack.push(if outlook.node.opening(site) == Opening::Open { -dear } else { 0.0 });
        }
        let mut rows = Rows {
            outlook,
            limits,
            slack,
            class: class_rows,
            site,
            kept: Vec::new(),
            dense: Vec::new(),
            loose: Vec::new(),
            payout: Vec::new(),
            yard: Vec::new(),
            round: Vec::new(),
        };
        let torn = |class: &Class| class.decided.is_none() && !class.kept.is_empty();
        for (class, _) in classes.iter().enumerate().filter(|(_, class)| torn(class)) {
            let row = rows.add(1.0);
            rows.kept.push((class, row));
        }
        for &site in &outlook.scope.sites {
            let counter = outlook.counters[site].as_deref();
            let banded = counter.filter(|counter| counter.has_band()).map(Counter::band);
            let (loosest, densest) = banded.map_or((0.0, f64::INFINITY), |band| band.densities());
            let dense = densest.is_finite().then(|| rows.add(0.0));
            rows.dense.push(dense);
            let loose = (loosest > 0.0).then(|| rows.add(0.0));
            rows.loose.push(loose);
            let payout = counter.is_some_and(Counter::has_least_payout).then(|| rows.add(0.0));
            rows.payout.push(payout);
            let yard = (counter.is_some() && model.rounds.has(site)).then(|| rows.add(0.0));
            rows.yard.push(yard);
        }
        for _ in &model.rounds.list {
            let row = rows.add(1.0);
            rows.round.push(row);
        }
        rows
    }

    fn add(&mut self, limit: f64) -> usize {
        self.limits.push(limit);
        self.slack.push(0.0);
        self.limits.len() - 1
    }

    fn position(&self, site: usize) -> usize {
        self.outlook.scope.sites.iter().position(|&other| other == site).unwrap_or(0)
    }

    fn column(&self, delivery: &Delivery) -> Column {
        let position = self.position(delivery.site);
        let mut entries: Vec<(usize, f64)> = Vec::with_capacity(delivery.amounts.len() + 4);
        for &(class, amount) in &delivery.amounts {
            let Some(class) = self.class[class] else { continue };
            match entries.iter_mut().find(|(row, _)| *row == class) {
                Some((_, known)) => *known += amount,
                None => entries.push((class, amount)),
            }
        }
        entries.push((self.site + position, 1.0));
        let more = [
            (self.dense[position], delivery.dense),
            (self.loose[position], delivery.loose),
            (self.payout[position], delivery.short),
        ];
        entries.extend(more.into_iter().filter_map(|(row, factor)| Some((row?, factor))));
        entries.extend(self.yard[position].map(|row| (row, -1.0)));
        Column { gain: delivery.net, entries }
    }

    /// A drive to a set of yards; `None` where it saves nothing.
    fn drive(&self, chosen: Chosen) -> Option<Column> {
        let round = &self.outlook.model.rounds.list[chosen.round];
        let gain = round.saved(chosen.set);
        let yards = round.members(chosen.set).filter_map(|site| self.yard[self.position(site)]);
        let entries = yards.map(|row| (row, 1.0)).chain([(self.round[chosen.round], 1.0)]).collect();
        (gain > 0.0).then_some(Column { gain, entries })
    }

    fn prices(&self, rows: &[f64], sites: usize) -> Prices {
        let classes = self.outlook.classes.list.iter().zip(&self.class);
        let class = classes.map(|(class, row)| {
            let price = row.map_or(0.0, |row| rows[row]);
            class.keep.map_or(price, |keep| price.max(keep))
        });
        let by_site = |of: &[Option<usize>]| {
            let mut prices = vec![0.0; sites];
            for (&site, row) in self.outlook.scope.sites.iter().zip(of) {
                prices[site] = row.map_or(0.0, |row| rows[row].max(0.0));
            }
            prices
        };
        Prices {
            class: class.collect(),
            dense: by_site(&self.dense),
            loose: by_site(&self.loose),
            payout: by_site(&self.payout),
            yard: by_site(&self.yard),
        }
    }
}
