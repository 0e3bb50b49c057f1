//! The search by lots: branch and bound over outlets, densities of shipments, and lots.

mod dual;
mod knapsack;
mod offer;
mod outlook;
mod piles;
mod sets;

use std::rc::Rc;

use super::improve::{Assignment, Improver};
use super::model::{Item, Model};
use super::node::{Node, Opening, Reach, Scope};
use super::search::{self, Budget, Goal, Outcome, Start, decided};
use super::shipping::Band;
use super::tree::{Explore, State, Tree, grow};

pub(super) use dual::{Prices, Reduced, descend};
pub(super) use outlook::Outlook;

use dual::Dual;

/// Subgradient steps between two tries at a better plan.
const STEPS: u32 = 16;

/// Densities are split where they leave at least this share of the gap in doubt.
const DOUBT: f64 = 0.2;

/// A doubt below this much money is settled faster lot by lot.
const LEAST_DOUBT: f64 = 1e-3;

/// How often bound and fixing alternate at the root, and at the nodes below it.
const ROUNDS_AT_ROOT: u32 = 8;
const ROUNDS_BELOW: u32 = 1;

struct Search<'m> {
    model: &'m Model<'m>,
    scope: &'m Scope,
    /// With the prices at which each state starts: those of the one before it.
    tree: Tree<Rc<Prices>>,
    /// The root's last prices.
    prices: Rc<Prices>,
}

/// How a site's freight is split where it is bounded too low.
struct Doubt {
    site: usize,
    money: f64,
    parts: [Band; 2],
}

pub(super) fn search(
    model: &Model<'_>,
    scope: &Scope,
    mut root: Node,
    start: &Start<'_>,
    goal: Goal,
    budget: &mut Budget<'_>,
) -> Outcome {
    if !root.settle(scope) {
        return Outcome::NONE;
    }
    let best = search::first_plan_of(model, scope, &root, start);
    let prices = match start.prices {
        Some(prices) => prices.clone(),
        None => Prices::new(first_prices(model, scope, best.as_ref()), model.sites.len()),
    };
    let prices = Rc::new(prices);
    if let Some(known) = start.known {
        let enough = best.as_ref().map_or(f64::NEG_INFINITY, |best| best.total + model.tolerance);
        let enough = start.floor.map_or(enough, |floor| floor.max(enough));
        known.fix(&mut root, scope, enough);
    }
    let tree = Tree::new(root, prices.clone(), best, model.tolerance, start.floor);
    let mut search = Search { model, scope, tree, prices };
    let (bound, finished) = grow(&mut search, goal, budget);
    Outcome { best: search.tree.best, bound, finished, prices: Some(Prices::clone(&search.prices)) }
}

impl Explore for Search<'_> {
    type From = Rc<Prices>;

    fn tree(&mut self) -> &mut Tree<Rc<Prices>> {
        &mut self.tree
    }

    fn explore(&mut self, State { mut node, bound, depth, from }: State<Rc<Prices>>) {
        let rounds = if depth == 0 { ROUNDS_AT_ROOT } else { ROUNDS_BELOW };
        let mut prices = Prices::clone(&from);
        let mut length: f64 = if depth == 0 { 1.0 } else { 0.25 };
        let mut last_bound = bound;
        for round in 1..=rounds {
            if !node.settle(self.scope) {
                return;
            }
            if let Some(plan) = decided(self.model, self.scope, &node) {
                self.tree.offer(plan);
                return;
            }
            let Some(outlook) = Outlook::new(self.model, self.scope, &node) else { return };
            let Some(dual) = dual::descend(&outlook, prices, length, self.tree.enough(), STEPS) else {
                return;
            };
            self.tree.offer(self.round(&node, &dual));
            if dual.bound <= self.tree.enough() {
                if depth == 0 {
                    self.prices = Rc::new(dual.prices);
                }
                return;
            }
            let reduced = Reduced::of(&outlook, &dual);
            let mut fixed = node.clone();
            let changes = reduced.fix(&mut fixed, self.scope, self.tree.enough());
            if depth == 0 {
                self.prices = Rc::new(dual.prices.clone());
            }
            let gap = dual.bound - self.tree.enough();
            let slow = last_bound - dual.bound < 0.1 * gap;
            if round == rounds || (changes == 0 && slow) {
                let doubt = self.most_doubtful(&outlook, &dual);
                if changes == 0 || fixed.settle(self.scope) {
                    self.branch(fixed, &dual, &reduced, doubt, depth);
                }
                return;
            }
            last_bound = dual.bound;
            prices = dual.prices;
            length = dual.length.max(dual::SHORTEST * 2.0);
            node = fixed;
        }
    }

    fn first_bound(&mut self, root: &State<Rc<Prices>>) -> f64 {
        Outlook::new(self.model, self.scope, &root.node)
            .and_then(|outlook| dual::descend(&outlook, Prices::clone(&root.from), 1.0, f64::NEG_INFINITY, 0))
            .map_or(f64::NEG_INFINITY, |dual| dual.bound)
    }
}

impl Search<'_> {
    /// A plan near the bound's: each lot to where the outlets wanted it most.
    fn round(&self, node: &Node, dual: &Dual) -> Option<Assignment> {
        let keep = self.model.keep_place();
        let mut place = vec![keep; self.model.lots.len()];
        for &lot in &self.scope.lots {
            let open = (0..node.places()).filter(|&place| node.at(place, lot) != Reach::No);
            let wanted = |place: usize| self.wanted(dual, place, lot);
            place[lot] = open.max_by(|&a, &b| wanted(a).total_cmp(&wanted(b))).unwrap_or(keep);
        }
        Improver::new(self.model, self.scope, node, place).run(&[])
    }

    /// How much of the lot the place lately took; keeping takes what is left.
    fn wanted(&self, dual: &Dual, place: usize, lot: usize) -> f64 {
        let count = self.model.lots.len();
        if place < self.model.keep_place() {
            return dual.mean[place * count + lot];
        }
        1.0 - self.scope.sites.iter().map(|&site| dual.mean[site * count + lot]).sum::<f64>()
    }

    /// The site whose freight is bounded worst at the mean of its offers: by how much, and at which density.
    fn most_doubtful(&self, outlook: &Outlook<'_>, dual: &Dual) -> Option<Doubt> {
        let count = self.model.lots.len();
        let doubts = self.scope.sites.iter().filter_map(|&site| {
            let (band, _) = outlook.band(site)?;
            let total = |of: fn(&Item) -> f64| -> f64 {
                self.scope
                    .lots
                    .iter()
                    .map(|&lot| dual.mean[site * count + lot] * of(&self.model.lots[lot]))
                    .sum()
            };
            let (mass, volume) = (total(|lot| lot.mass), total(|lot| lot.volume));
            let parts = band.split(mass / volume)?;
            Some(Doubt { site, parts, money: outlook.doubt(site, mass, volume) })
        });
        doubts.max_by(|a, b| a.money.total_cmp(&b.money))
    }

    fn branch(&mut self, node: Node, dual: &Dual, reduced: &Reduced, doubt: Option<Doubt>, depth: u32) {
        let middle = |share: f64| (share - 0.5).abs();
        let undecided = |&&site: &&usize| {
            node.opening(site) == Opening::Undecided && (0.02..0.98).contains(&dual.mean_open[site])
        };
        let site = self
            .scope
            .sites
            .iter()
            .filter(undecided)
            .min_by(|&&a, &&b| middle(dual.mean_open[a]).total_cmp(&middle(dual.mean_open[b])));
        if let Some(&site) = site {
            for (opening, bound) in [(Opening::Open, reduced.open[site]), (Opening::Shut, reduced.shut[site])]
            {
                let mut child = node.clone();
                child.decide(site, opening);
                self.push(child, bound.min(dual.bound), depth + 1, dual);
            }
            return;
        }
        let least = LEAST_DOUBT.max(DOUBT * (dual.bound - self.tree.enough()));
        if let Some(doubt) = doubt.filter(|doubt| doubt.money > least) {
            for band in doubt.parts {
                let mut child = node.clone();
                child.narrow(doubt.site, band);
                self.push(child, dual.bound, depth + 1, dual);
            }
            return;
        }
        let mut arc: Option<(usize, usize, f64)> = None;
        for &lot in &self.scope.lots {
            for place in (0..node.places()).filter(|&place| node.at(place, lot) == Reach::May) {
                // The more is at stake and the less it is decided, the more a split tells.
                let open = 0.51 - middle(self.wanted(dual, place, lot)).min(0.5);
                let weight = open * dual.prices.lot[lot].abs().max(1e-9);
                if arc.is_none_or(|(.., most)| weight > most) {
                    arc = Some((place, lot, weight));
                }
            }
        }
        if let Some((place, lot, _)) = arc {
            let at = place * self.model.lots.len() + lot;
            for (reach, bound) in [(Reach::Must, reduced.with[at]), (Reach::No, reduced.without[at])] {
                let mut child = node.clone();
                child.set(place, lot, reach);
                self.push(child, bound.min(dual.bound), depth + 1, dual);
            }
        } else {
            // Settled to the last lot: exploring it again reads off the plan.
            self.push(node, dual.bound, depth + 1, dual);
        }
    }

    fn push(&mut self, node: Node, bound: f64, depth: u32, dual: &Dual) {
        let from = Rc::new(dual.prices.clone());
        self.tree.push(State { node, bound, depth, from });
    }
}

/// The first plan's net, shared out: what each lot fetches by itself, less its part of the shared costs.
fn first_prices(model: &Model<'_>, scope: &Scope, best: Option<&Assignment>) -> Vec<f64> {
    let mut prices: Vec<f64> = model.lots.iter().map(|lot| lot.keep).collect();
    let Some(best) = best else { return prices };
    for &site in &scope.sites {
        let lots: Vec<usize> = scope.lots.iter().copied().filter(|&lot| best.place[lot] == site).collect();
        let highest = |lot: usize| model.sites[site].highest(lot).unwrap_or(0.0);
        let over: f64 = lots.iter().map(|&lot| (highest(lot) - prices[lot]).max(0.0)).sum();
        let kept: f64 = lots.iter().map(|&lot| prices[lot]).sum();
        let left = model.net(site, &lots).unwrap_or(0.0) - kept;
        let share = if over > 0.0 { (left / over).clamp(0.0, 1.0) } else { 0.0 };
        for lot in lots {
            prices[lot] += share * (highest(lot) - prices[lot]).max(0.0);
        }
    }
    prices
}
