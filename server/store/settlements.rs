//! Settlements: what outlets paid for what was delivered, by their own papers. Rows are only added: a correction is a
//! settlement that names the one it replaces, and the last of such a chain is what holds.

mod read;
mod save;

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::{Currency, Price};
use trade::settlement::{Paper, Promise};

pub use save::{Withdrawal, settle, withdraw};

/// What a settlement is about: one load that one outlet took.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Delivery {
    Shipment(String),
    RunStop(String),
}

impl Delivery {
    pub fn shipment_id(&self) -> Option<&str> {
        match self {
            Delivery::Shipment(id) => Some(id),
            Delivery::RunStop(_) => None,
        }
    }

    pub fn run_stop_id(&self) -> Option<&str> {
        match self {
            Delivery::Shipment(_) => None,
            Delivery::RunStop(id) => Some(id),
        }
    }
}

/// A settlement about to be saved.
#[derive(Debug, Clone)]
pub struct NewSettlement<'a> {
    /// From the form, so that it is saved once however often it is sent.
    pub id: &'a str,
    pub outlet_id: &'a OutletId,
    pub delivery: &'a Delivery,
    pub replaces: Option<Replaces<'a>>,
    /// In the paper's currency.
    pub promise: &'a Promise,
    pub paper: &'a Paper,
    /// The paper's own number.
    pub number: &'a str,
    /// That the bank gave, as the partner read it.
    pub rate: Option<Decimal>,
    /// The paper as it came.
    pub sha256: Option<&'a str>,
    pub note: &'a str,
}

/// Which settlement no longer holds, and why.
#[derive(Debug, Clone, Copy)]
pub struct Replaces<'a> {
    pub id: &'a str,
    pub why: &'a str,
}

/// A settlement as it was saved.
#[derive(Debug, Clone)]
pub struct Settlement {
    pub head: SettlementHead,
    pub promise: Promise,
    pub paper: Paper,
    pub rate: Option<Decimal>,
    pub sha256: Option<String>,
    pub note: String,
    pub replaces: Option<String>,
    pub why: String,
    /// The one that holds instead.
    pub replaced_by: Option<String>,
}

/// A settlement in a list.
#[derive(Debug, Clone)]
pub struct SettlementHead {
    pub id: String,
    pub outlet_id: OutletId,
    pub outlet_name: String,
    pub delivery: Delivery,
    /// Whether it only takes back the one it replaces.
    pub is_withdrawal: bool,
    pub number: String,
    pub dated: Option<Date>,
    pub currency: Currency,
    pub promised: Decimal,
    pub paid: Decimal,
    pub paid_on: Option<Date>,
    pub home: Currency,
    pub promised_home: Decimal,
    /// What reached the account, in home currency.
    pub arrived: Option<Decimal>,
    pub partner_name: String,
    pub at: Timestamp,
}

/// What was paid for one lot, by the settlement that holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettledLot {
    pub settlement_id: String,
    pub outlet_id: OutletId,
    pub lot_id: LotId,
    /// The grade that it was sent as.
    pub grade: GradeId,
    /// By the shop's scale, and what of it was to be paid for.
    pub net: Mass,
    pub counted: Mass,
    pub pieces: i64,
    pub price: Price,
    pub promised: Decimal,
    pub currency: Currency,
    /// When the delivery left, where it was a shipment.
    pub sent_at: Option<Timestamp>,
    pub dated: Option<Date>,
    pub paid_on: Option<Date>,
    pub at: Timestamp,
    pub portions: Vec<PaidPortion>,
}

/// What of one line fell to a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaidPortion {
    /// The grade that it was paid as; `None` where it is none of the shop's.
    pub grade: Option<GradeId>,
    pub mass: Option<Mass>,
    pub pieces: Option<i64>,
    pub amount: Decimal,
}

/// Why a settlement cannot be saved. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SettlementRefusal {
    #[error(
        "The shipment has not been sent, so nothing can be paid for it. Say first that it has been handed over."
    )]
    NotSent,
    #[error("The shipment came back, so nothing can be paid for it.")]
    Returned,
    #[error("It has been settled already. Open that settlement and correct it, if it is wrong.")]
    SettledAlready { settlement_id: String },
    #[error("Somebody has corrected that settlement meanwhile. Look at theirs first.")]
    Replaced,
    #[error("A line pays for a lot that is not in this delivery.")]
    OtherLot,
}

/// Portions by the lines that they are of.
type PortionsOf<T> = BTreeMap<i64, Vec<T>>;
