//! Yard runs: lots driven to one or more yards. Planned, then out, then back; or taken apart before it left.
//!
//! A lot stays on the shop's ledger until its yard's ticket says that it was taken: what is refused at the gate never left.

mod change;
mod read;

use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::Money;
use trade::net::Load;
use trade::settlement::Promise;

use super::lots::Part;
use super::settlements::NewSettlement;

pub use change::{end_run, leave_run, make_run, take_ticket};

/// Where a run stands, and since when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RunState {
    Planned,
    Out { at: Timestamp },
    Back { at: Timestamp, trip: Trip },
    Cancelled { at: Timestamp },
}

/// What a drive took, as far as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trip {
    pub distance_km: Option<Decimal>,
    pub minutes: i64,
    /// Exact, home currency.
    pub cost: Decimal,
}

/// A run in a list.
#[derive(Debug, Clone)]
pub struct RunHead {
    pub id: String,
    /// That it is planned for.
    pub day: Date,
    pub note: String,
    /// Exact, home currency: what the drive was to cost.
    pub expected_trip: Decimal,
    /// The same of what its stops were to bring, the drive not taken off.
    pub expected: Decimal,
    pub yards: Vec<String>,
    pub made_by: String,
    pub made_at: Timestamp,
    pub odometer_out: Option<Decimal>,
    pub odometer_back: Option<Decimal>,
    pub state: RunState,
    pub version: i64,
}

impl RunHead {
    /// What it was to leave after everything.
    pub fn expected_net(&self) -> Decimal {
        self.expected - self.expected_trip
    }
}

#[derive(Debug, Clone)]
pub struct Run {
    pub head: RunHead,
    pub stops: Vec<RunStop>,
}

impl Run {
    pub fn stop(&self, id: &str) -> Option<&RunStop> {
        self.stops.iter().find(|stop| stop.id == id)
    }
}

/// A yard of the run.
#[derive(Debug, Clone)]
pub struct RunStop {
    pub id: String,
    pub outlet_id: OutletId,
    pub outlet_name: String,
    pub place: String,
    /// What was promised when the run was made.
    pub promise: Promise,
    /// Exact, home currency, the drive not taken off.
    pub expected_net: Decimal,
    /// Since when it is told what became of its lots.
    pub ended_at: Option<Timestamp>,
    pub lots: Vec<RunLot>,
}

/// A lot as it was loaded.
#[derive(Debug, Clone)]
pub struct RunLot {
    pub lot_id: LotId,
    pub container_label: String,
    pub grade_id: GradeId,
    pub grade_name: String,
    pub net: Mass,
    pub pieces: u32,
    /// Not loaded after all, refused at the gate, or not driven to: it is on the shelf again.
    pub is_back: bool,
}

impl RunStop {
    /// The yard took a part of it: the part is a lot of the same container, which has gone.
    pub fn is_taken_in_part(&self, lot: &RunLot) -> bool {
        lot.is_back
            && self.lots.iter().any(|part| {
                !part.is_back
                    && part.lot_id != lot.lot_id
                    && part.container_label == lot.container_label
                    && part.grade_id == lot.grade_id
            })
    }
}

/// A run about to be made.
#[derive(Debug, Clone)]
pub struct NewRun<'a> {
    pub id: &'a str,
    pub day: Date,
    pub note: &'a str,
    pub expected_trip: Decimal,
    pub stops: &'a [NewStop<'a>],
}

#[derive(Debug, Clone)]
pub struct NewStop<'a> {
    pub id: &'a str,
    pub outlet_id: &'a OutletId,
    /// The lots as they were priced; [`StoreError::Stale`](super::StoreError::Stale) if one is of another grade or holds
    /// something else by now.
    pub loads: &'a [Load],
    pub promise: Promise,
    pub expected_net: Decimal,
}

/// What became of a stop's lots at the gate.
#[derive(Debug, Clone)]
pub struct Ticket<'a> {
    pub run_id: &'a str,
    pub stop_id: &'a str,
    /// They go back on the shelf; the yard took the others.
    pub refused: &'a [LotId],
    /// Of these the yard took a part; the rest goes back on the shelf.
    pub parts: &'a [TakenPart],
    /// What the yard's ticket says; `None` where everything was refused, or the run did not go there.
    pub settlement: Option<NewSettlement<'a>>,
}

/// What a yard took of a lot: it becomes a lot of its own, and goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenPart {
    pub lot: LotId,
    /// The new lot.
    pub taken: LotId,
    pub mass: Mass,
    pub pieces: u32,
    pub typed: String,
}

impl TakenPart {
    pub fn as_part(&self) -> Part<'_> {
        Part {
            lot_id: self.lot.as_str(),
            new_lot_id: self.taken.as_str(),
            mass: self.mass,
            pieces: self.pieces,
            typed: &self.typed,
        }
    }
}

/// What was promised for the lots that a yard took, and for the parts of lots.
pub fn promise_of_taken(promise: &Promise, refused: &[LotId], parts: &[TakenPart]) -> Promise {
    let mut promise = promise.clone();
    promise.sent.retain(|sent| !refused.contains(&sent.lot));
    for sent in &mut promise.sent {
        if let Some(part) = parts.iter().find(|part| part.lot == sent.lot) {
            (sent.lot, sent.mass, sent.pieces) = (part.taken.clone(), part.mass, part.pieces);
        }
    }
    promise
}

/// How a run came home.
#[derive(Debug, Clone)]
pub struct Homecoming {
    /// The day on the shop's calendar.
    pub day: Date,
    /// As it was read; `None` where nobody did.
    pub odometer: Option<Decimal>,
    pub trip: Trip,
    /// What was paid for fuel on the way, in home currency.
    pub fuel: Money,
}

/// Why something cannot be done to a run. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RunRefusal {
    #[error("The truck has not left yet. Say first that it has.")]
    NotLeft,
    #[error("A yard has no ticket yet. Enter it, or say that the truck did not go there.")]
    OpenStops,
    #[error("A lot is refused here that is not in this load.")]
    OtherLot,
    #[error("A part of a lot was taken that is not smaller than the lot. Look at the load again.")]
    NoPart,
    #[error("Something was taken at this gate, so its ticket is needed, if only with what was paid.")]
    NoTicket,
}
