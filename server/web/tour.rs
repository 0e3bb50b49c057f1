//! A drive to several yards, in words.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use trade::tour::Tour;

use super::measure::show_distance;
use super::page::{counted, unbroken};
use crate::shelf::Shelf;

/// One drive from the shop to several yards and back.
pub struct TourLine {
    /// The yards in the order of the drive.
    pub stops: Vec<String>,
    pub far: String,
    pub time: String,
    pub cost: Decimal,
    /// What a drive to each yard by itself would cost more.
    pub saved: Decimal,
}

impl TourLine {
    pub fn new(tour: &Tour, shelf: &Shelf) -> TourLine {
        let minutes = tour.minutes.round().to_u64().unwrap_or_default();
        TourLine {
            stops: tour.stops.iter().map(|stop| shelf.outlet_name(stop)).collect(),
            far: unbroken(&show_distance(tour.distance_km, shelf.facts.style)),
            time: unbroken(&counted(minutes, "minute", "minutes")),
            cost: tour.cost,
            saved: tour.saved,
        }
    }

    /// `shop → Millrace Metals → Tamarack Iron & Metal → shop`.
    pub fn way(&self) -> String {
        format!("shop → {} → shop", self.stops.join(" → "))
    }
}
