//! Steps on a document: a shipment that is sent, a truck that leaves.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::failure::Failure;
use crate::store::StoreError;
use crate::store::runs::RunRefusal;

/// Where a step on the document at `address` leads. One that came too late is refused, unless the document stands where the
/// step wanted it: then the form was sent twice.
pub async fn stepped(
    step: Result<(), StoreError>,
    stands_there: impl Future<Output = Result<bool, StoreError>>,
    noun: &str,
    address: &str,
) -> Result<Response, Failure> {
    match step {
        Ok(()) => {}
        Err(error @ (StoreError::Stale | StoreError::Run(RunRefusal::OpenStops))) => {
            if !stands_there.await? {
                return Err(too_late(error, noun));
            }
        }
        Err(other) => return Err(other.into()),
    }
    Ok(Redirect::to(address).into_response())
}

fn too_late(error: StoreError, noun: &str) -> Failure {
    match error {
        StoreError::Stale => Failure::refused(
            StatusCode::CONFLICT,
            format!("The {noun} has moved on"),
            "Somebody took another step with it meanwhile. Nothing was changed by this. Reload it to see where it stands.",
        ),
        other => other.into(),
    }
}
