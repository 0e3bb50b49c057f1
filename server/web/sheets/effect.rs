//! What a sheet under review changes, before it is saved: the outlet's prices, and where the sell plan sends what.

use std::sync::Arc;

use rust_decimal::Decimal;
use trade::money::show_amount;

use super::desk::Desk;
use crate::store::StoreError;
use crate::web::App;
use crate::web::flips::{Flip, flips};
use crate::web::page::Visitor;

/// Changes of a price that are shown by name.
const MOVES_SHOWN: usize = 6;

pub struct Effect {
    /// `5 up, 3 down, 2 new, 4 the same`.
    pub counts: String,
    pub moves: Vec<Move>,
    /// How many moved besides these.
    pub others: usize,
    pub plan: PlanEffect,
}

/// A price that moved.
pub struct Move {
    pub grade_name: String,
    pub before: String,
    pub now: String,
    pub by: String,
    pub is_up: bool,
}

pub enum PlanEffect {
    /// The sheet does not count today.
    None,
    /// It is being worked out; the open page is told when it is there.
    Soon,
    Known {
        change: Decimal,
        flips: Vec<Flip>,
    },
}

impl Effect {
    /// `None` where no line is matched, or the outlet had no prices and has none.
    pub async fn of(
        desk: &Desk,
        counts_today: bool,
        app: &App,
        visitor: &Visitor,
    ) -> Result<Option<Effect>, StoreError> {
        let quotes = desk.quotes();
        if quotes.is_empty() {
            return Ok(None);
        }
        let changes = desk.changes();
        let kinds = [
            (changes.up(), "up"),
            (changes.down(), "down"),
            (changes.new.len(), "new"),
            (changes.same, "the same"),
        ];
        let counts: Vec<String> = kinds
            .iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, words)| format!("{count} {words}"))
            .collect();
        let moves = changes.moved.iter().take(MOVES_SHOWN).map(|change| Move {
            grade_name: desk.grade_name(&change.grade),
            before: change.before.to_string(),
            now: change.now.to_string(),
            by: show_amount(change.by.abs(), 0),
            is_up: change.by > Decimal::ZERO,
        });
        let plan = if counts_today {
            let now = app.shelf(visitor).await?;
            let then = Arc::new(now.with_sheet(&desk.outlet.id, desk.answers.valid_from, quotes));
            match app.plans_soon(&now, &then, &visitor.shop.id).await {
                None => PlanEffect::Soon,
                Some((before, after)) => PlanEffect::Known {
                    change: after.total() - before.total(),
                    flips: flips(&then, &before, &after),
                },
            }
        } else {
            PlanEffect::None
        };
        Ok(Some(Effect {
            counts: counts.join(", "),
            moves: moves.collect(),
            others: changes.moved.len().saturating_sub(MOVES_SHOWN),
            plan,
        }))
    }
}
