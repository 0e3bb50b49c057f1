//! What is wrong with a problem, said plainly. A plan is made all the same.

use super::Place;
use crate::ids::{GradeId, LotId, OutletId};
use crate::mass::{Mass, MassStyle};
use crate::net::Closed;
use crate::packing::Unpackable;

#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Trouble {
    #[error("{lot} is pinned to {}, but {why}. The plan is made without this pin.", named(place))]
    Pin { lot: LotId, place: Place, why: PinTrouble },
    #[error("No outlet's sheet has a price for {grade}, so {lot} stays.")]
    NoOutlet { lot: LotId, grade: GradeId },
    #[error("{lot} has no mass on its ledger. Weigh it in, or close the lot.")]
    NoMass { lot: LotId },
    #[error("{lot} has a mass below zero ({}). Correct its weighings; until then it stays.", MassStyle::Kilograms.show(*mass))]
    NegativeMass { lot: LotId, mass: Mass },
    #[error("There is no exchange rate from {from} to {to}, so nothing goes to {outlet}. Enter one.")]
    NoRate { outlet: OutletId, from: &'static str, to: &'static str },
    #[error("Nothing can be sent to {outlet}: {why}.")]
    NoParcels { outlet: OutletId, why: Unpackable },
    #[error("No delivery leaves more than keeping everything.")]
    NothingPays,
}

/// Why a pin cannot be followed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PinTrouble {
    #[error("there is no such lot in the plan")]
    NoSuchLot,
    #[error("there is no such outlet")]
    NoSuchOutlet,
    #[error("that outlet is closed for this plan")]
    OutletClosed,
    #[error("the lot is barred from it")]
    Barred,
    #[error("the lot has a mass below zero")]
    NegativeMass,
    #[error("the outlet never takes it: {0}")]
    Refused(Closed),
    #[error("that cannot be together with the other pins")]
    Together,
    #[error("no plan with it was found in the time given")]
    NotFound,
}

fn named(place: &Place) -> &str {
    match place {
        Place::Outlet(id) => id.as_str(),
        Place::Keep => "keep",
    }
}
