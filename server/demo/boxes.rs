//! The boxes that the shop keeps.

use rust_decimal::Decimal;
use serde::Deserialize;
use trade::packing::Carton;

use super::scenario::{Inches, Weight};
use super::{DemoError, Loader};
use crate::store::cartons::add_carton;
use crate::store::new_id;

#[derive(Deserialize)]
pub struct BoxesFile {
    #[serde(rename = "box")]
    pub carton: Vec<BoxEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoxEntry {
    name: String,
    inner_inches: Inches,
    outer_inches: Inches,
    tare: Weight,
    limit: Weight,
    cost: Decimal,
    at_hand: Option<u32>,
}

impl BoxEntry {
    pub fn carton(self) -> Carton {
        Carton {
            name: self.name,
            inner: self.inner_inches.size(),
            outer: self.outer_inches.size(),
            tare: self.tare.0,
            limit: self.limit.0,
            cost: self.cost,
            at_hand: self.at_hand,
        }
    }
}

impl Loader<'_> {
    pub(super) async fn boxes(&mut self) -> Result<(), DemoError> {
        let by = self.by(&self.scenario.opened)?;
        for carton in &self.scenario.boxes {
            add_carton(&mut self.tx, &by, &new_id(), carton).await?;
        }
        Ok(())
    }
}
