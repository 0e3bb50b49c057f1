//! What the searches for second plans start from: the deliveries of the whole problem's relaxation, and by how much each lot
//! is bound to its place at its prices.

use std::rc::Rc;

use super::Known;
use super::class::amount_of;
use super::counter::{Ask, Desk};
use super::master::{Outlook, Relaxation};
use super::whole::Remembered;
use crate::plan::model::Model;
use crate::plan::node::{Node, Reach, Scope};

#[derive(Debug)]
pub(in crate::plan) struct Base {
    known: Rc<Known>,
    /// What the searches remember of outlets with few lots: they meet the same ones again and again.
    remembered: Rc<Remembered>,
    /// By lot: no plan that has it elsewhere than it is in the plan is worth more.
    pub most: Vec<f64>,
}

impl Base {
    pub fn new(model: &Model<'_>, scope: &Scope, root: &Node, place: &[usize]) -> Option<Base> {
        let mut node = root.clone();
        if !node.settle(scope) {
            return None;
        }
        let remembered = Rc::new(Remembered::default());
        let mut desk = Desk::default();
        let outlook = Outlook::new(model, scope, &node, &remembered, None)?;
        let relaxation = outlook.relax([], f64::NEG_INFINITY, &mut desk)?;
        let mut most = vec![f64::INFINITY; model.lots.len()];
        for &lot in &scope.lots {
            most[lot] = relaxation.bound - bound_to(&outlook, &relaxation, lot, place[lot], &mut desk);
        }
        let known = Rc::new(Known { classes: Some(outlook.classes), deliveries: relaxation.known });
        Some(Base { known, remembered, most })
    }

    pub(super) fn known(&self) -> Rc<Known> {
        self.known.clone()
    }

    pub(super) fn remembered(&self) -> Rc<Remembered> {
        self.remembered.clone()
    }
}

/// What the bound loses at the least when the lot is elsewhere: where it is, its class has so much less, and somewhere else it
/// has at least the lot.
fn bound_to(
    outlook: &Outlook<'_, '_>,
    relaxation: &Relaxation,
    lot: usize,
    place: usize,
    desk: &mut Desk,
) -> f64 {
    let (model, node) = (outlook.model, outlook.node);
    let class = outlook.classes.of_lot[lot];
    let Some(alike) = outlook.classes.list.get(class).filter(|alike| alike.decided.is_none()) else {
        return 0.0;
    };
    let amount = amount_of(model, lot);
    let price = relaxation.prices.class[class];
    let keep = model.keep_place();
    let mut loss = |at: usize, here: bool| -> f64 {
        if at == keep {
            // What the class brings has each lot kept or sold, whichever is more.
            let kept = model.lots[lot].keep - price * amount;
            return (if here { -kept } else { kept }).max(0.0);
        }
        let now = outlook.value(at, relaxation.gains[at]).unwrap_or(0.0);
        let ask = if here {
            Ask::AtLeast { class, amount }
        } else {
            Ask::AtMost { class, amount: alike.amount - amount }
        };
        let gain =
            outlook.counters[at].as_ref().and_then(|counter| counter.gain(&relaxation.prices, ask, desk));
        let gain = if here { gain } else { outlook.value(at, gain) };
        (now - gain.unwrap_or(f64::NEG_INFINITY)).max(0.0)
    };
    let elsewhere = (0..node.places()).filter(|&at| at != place && node.at(at, lot) != Reach::No);
    let elsewhere: Vec<usize> = elsewhere.collect();
    let there = elsewhere.into_iter().map(|at| loss(at, true)).fold(f64::INFINITY, f64::min);
    there + loss(place, false)
}
