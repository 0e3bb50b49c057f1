//! Why a shipment or a yard run was not made.

use super::failure::Failure;
use crate::store::StoreError;

/// Reasons that its page comes back with, or something that no page can put right.
pub enum NotMade {
    Because(Vec<String>),
    Failed(Failure),
}

impl NotMade {
    pub fn because(reason: impl Into<String>) -> NotMade {
        NotMade::Because(vec![reason.into()])
    }
}

impl From<StoreError> for NotMade {
    fn from(error: StoreError) -> NotMade {
        match error {
            StoreError::Lot(refusal) => NotMade::because(refusal.to_string()),
            StoreError::Stale => NotMade::because("Somebody changed one of the lots or outlets just now."),
            other => NotMade::Failed(other.into()),
        }
    }
}
