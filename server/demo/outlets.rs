//! Outlets with their terms, and the roads between yards.

use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::OutletId;
use trade::money::{Currency, PriceUnit, Share};
use trade::outlet::{Drive, PaidWeight, Terms};

use super::scenario::Weight;
use super::{DemoError, Loader};
use crate::store::new_id;
use crate::store::outlets::{Outlet, OutletDetails, OutletKind, PostTerms, Reach, add_outlet};
use crate::store::roads::set_road;
use crate::store::services::ServiceRecord;

const FILE: &str = "outlets.toml";

#[derive(Deserialize)]
pub struct OutletsFile {
    pub outlet: Vec<OutletEntry>,
    pub road: Vec<RoadEntry>,
}

/// A road between two yards, by their names.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoadEntry {
    pub between: [String; 2],
    pub distance_km: Decimal,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutletEntry {
    pub name: String,
    /// Its folder in `sheets`.
    pub sheets: String,
    place: String,
    currency: Currency,
    usual_unit: PriceUnit,
    note: String,
    drive: Option<Drive>,
    post: Option<PostEntry>,
    #[serde(default)]
    terms: TermsEntry,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PostEntry {
    /// Service and zone.
    services: Vec<(String, String)>,
    border: Decimal,
    insurance: Share,
    packing_minutes: Decimal,
}

/// What an outlet's entry leaves out it does not ask for.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct TermsEntry {
    weight_deduction: Share,
    paid_weight: PaidWeight,
    downgrade_chance: Share,
    downgrade_drop: Share,
    percent_fee: Share,
    flat_fee: Decimal,
    exchange_spread: Share,
    payout_fee: Decimal,
    days_to_pay: u32,
    minimum_payout: Decimal,
    minimum_grade: Weight,
    minimum_delivery: Weight,
}

impl OutletEntry {
    pub fn details(&self, services: &[ServiceRecord]) -> Result<OutletDetails, DemoError> {
        let kind = match (&self.drive, &self.post) {
            (Some(drive), None) => OutletKind::Yard(*drive),
            (None, Some(post)) => OutletKind::MailIn(post.terms(&self.name, services)?),
            _ => {
                let problem = format!("{} needs either a drive or a post", self.name);
                return Err(DemoError::of(FILE, problem));
            }
        };
        Ok(OutletDetails {
            name: self.name.clone(),
            place: self.place.clone(),
            currency: self.currency,
            usual_unit: self.usual_unit,
            note: self.note.clone(),
            kind,
            terms: self.terms.terms(),
        })
    }
}

impl PostEntry {
    fn terms(&self, outlet: &str, services: &[ServiceRecord]) -> Result<PostTerms, DemoError> {
        let reach = |(name, zone): &(String, String)| {
            let service = services.iter().find(|s| s.details.name == *name && s.details.zone(zone).is_some());
            let missing = || format!("{outlet}: no service {name} goes to zone {zone}");
            let service = service.ok_or_else(|| DemoError::of(FILE, missing()))?;
            Ok(Reach { service_id: service.id.clone(), zone: zone.clone() })
        };
        Ok(PostTerms {
            services: self.services.iter().map(reach).collect::<Result<_, DemoError>>()?,
            border: self.border,
            insurance: self.insurance,
            packing_minutes: self.packing_minutes,
        })
    }
}

impl TermsEntry {
    fn terms(&self) -> Terms {
        Terms {
            weight_deduction: self.weight_deduction,
            paid_weight: self.paid_weight,
            downgrade_chance: self.downgrade_chance,
            downgrade_drop: self.downgrade_drop,
            percent_fee: self.percent_fee,
            flat_fee: self.flat_fee,
            exchange_spread: self.exchange_spread,
            payout_fee: self.payout_fee,
            days_to_pay: self.days_to_pay,
            minimum_payout: self.minimum_payout,
            minimum_grade: self.minimum_grade.0,
            minimum_delivery: self.minimum_delivery.0,
        }
    }
}

impl Loader<'_> {
    pub(super) async fn outlets(&mut self) -> Result<(), DemoError> {
        let by = self.by(&self.scenario.opened)?;
        for entry in &self.scenario.outlets {
            let details = entry.details(&self.services)?;
            let id = OutletId::new(new_id());
            add_outlet(&mut self.tx, &by, id.as_str(), &details).await?;
            let outlet = Outlet { id, details, closed_at: None, version: 1 };
            self.outlets.insert(outlet.details.name.clone(), outlet);
        }
        for road in &self.scenario.roads {
            let [one, other] = &road.between;
            let ends = [self.outlet(FILE, one)?.id.clone(), self.outlet(FILE, other)?.id.clone()];
            set_road(&mut self.tx, &by, [&ends[0], &ends[1]], Some(road.distance_km)).await?;
        }
        Ok(())
    }

    pub(super) fn outlet(&self, file: &str, name: &str) -> Result<&Outlet, DemoError> {
        self.outlets.get(name).ok_or_else(|| DemoError::of(file, format!("{name} is no outlet")))
    }
}
