//! What a lot is reserved by. A lot is in one shipment or one yard run at a time: whoever reserves one reads it by
//! [`lot_for_change`](super::lots::lot_for_change), which holds the lot's row and refuses a lot that is reserved by
//! either, so that of two at the same moment the second finds the first.

/// What a lot is reserved by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reservation {
    Shipment(String),
    Run(String),
}

impl Reservation {
    /// Of the shipment and the run that a lot's row names.
    pub(super) fn of(shipment_id: Option<String>, run_id: Option<String>) -> Option<Reservation> {
        shipment_id.map(Reservation::Shipment).or(run_id.map(Reservation::Run))
    }
}
