//! What a paper is about: a delivery, with its lots, what was promised for them, and when it left.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Currency, Share};
use trade::settlement::{Promise, Tolerance};

use crate::store::grades::Grade;
use crate::store::outlets::Outlet;
use crate::store::settlements::{Delivery, Settlement};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::Visitor;
use crate::web::track;

/// How far an outlet's scale may be off before anything is known of it: half a per cent, and the bank's rate by one.
/// A yard's floor scale shows half pounds. All three are common practice, no source.
const FLOOR_STEP: Decimal = dec!(0.5);
const USUAL_WEIGHT: Decimal = dec!(0.005);
const USUAL_EXCHANGE: Decimal = dec!(0.01);

pub struct Subject {
    pub outlet: Outlet,
    /// In the outlet's currency.
    pub promise: Promise,
    pub lots: Vec<SubjectLot>,
    pub sent_on: Option<Date>,
    /// Its page.
    pub address: String,
    pub grades: Vec<Grade>,
}

/// A lot as it went out.
#[derive(Debug, Clone)]
pub struct SubjectLot {
    pub id: LotId,
    pub label: String,
    pub grade: GradeId,
    pub grade_name: String,
    pub mass: Mass,
    pub pieces: u32,
}

impl Subject {
    /// A delivery. What a settlement was about is in the settlement itself, `settled`; a shipment tells it too.
    pub async fn of(
        app: &App,
        visitor: &Visitor,
        delivery: &Delivery,
        settled: Option<&Settlement>,
    ) -> Result<Subject, Failure> {
        match (delivery, settled) {
            (Delivery::Shipment(id), _) => Subject::of_shipment(app, visitor, id).await,
            (Delivery::RunStop(_), Some(settlement)) => {
                Subject::of_settlement(app, visitor, settlement).await
            }
            (Delivery::RunStop(_), None) => Err(Failure::missing("delivery")),
        }
    }

    async fn of_shipment(app: &App, visitor: &Visitor, id: &str) -> Result<Subject, Failure> {
        let shop = &visitor.shop.id;
        let shipment = app.store.shipment(shop, id).await?;
        let lots = app.store.shipment_lots(shop, id).await?;
        let outlet = app.store.outlet(shop, shipment.outlet_id.as_str()).await?;
        let terms = &outlet.details.terms;
        let promise = shipment.promise(&lots, terms, outlet.details.currency, visitor.home());
        let lots = lots.into_iter().filter(|lot| !lot.is_back).map(|lot| SubjectLot {
            id: lot.lot_id,
            label: lot.container_label,
            grade: lot.grade_id,
            grade_name: lot.grade_name,
            mass: lot.net,
            pieces: lot.pieces,
        });
        Ok(Subject {
            promise,
            lots: lots.collect(),
            sent_on: shipment.sent_at.map(|at| visitor.day_of(at)),
            address: address(&Delivery::Shipment(id.to_string())),
            grades: app.store.grades(shop).await?,
            outlet,
        })
    }

    async fn of_settlement(app: &App, visitor: &Visitor, settled: &Settlement) -> Result<Subject, Failure> {
        let shop = &visitor.shop.id;
        let grades = app.store.grades(shop).await?;
        let mut lots = Vec::new();
        for sent in &settled.promise.sent {
            lots.push(SubjectLot {
                label: app.store.lot(shop, sent.lot.as_str()).await?.container_label,
                id: sent.lot.clone(),
                grade_name: grade_name(&grades, &sent.grade),
                grade: sent.grade.clone(),
                mass: sent.mass,
                pieces: sent.pieces,
            });
        }
        Ok(Subject {
            promise: settled.promise.clone(),
            lots,
            sent_on: None,
            address: address(&settled.head.delivery),
            outlet: app.store.outlet(shop, settled.head.outlet_id.as_str()).await?,
            grades,
        })
    }

    pub fn grade_name(&self, id: &GradeId) -> String {
        grade_name(&self.grades, id)
    }

    pub fn lot_label(&self, id: &LotId) -> String {
        let lot = self.lots.iter().find(|lot| lot.id == *id);
        lot.map_or_else(|| id.to_string(), |lot| lot.label.clone())
    }

    /// The promise in the currency of a paper; `None` where no rate leads there.
    pub async fn promise_in(
        &self,
        app: &App,
        visitor: &Visitor,
        currency: Currency,
    ) -> Result<Option<Promise>, Failure> {
        if currency == self.promise.currency {
            return Ok(Some(self.promise.clone()));
        }
        let rates = app.store.rate_book(&visitor.shop.id).await?;
        let mid = rates.mid(self.promise.currency, currency, visitor.today());
        Ok(mid.map(|mid| self.promise.converted(currency, mid.rate)))
    }
}

/// The page of a delivery.
pub fn address(delivery: &Delivery) -> String {
    match delivery {
        Delivery::Shipment(id) => format!("/shipments/{id}"),
        Delivery::RunStop(id) => format!("/runs/stops/{id}"),
    }
}

pub fn grade_name(grades: &[Grade], id: &GradeId) -> String {
    let grade = grades.iter().find(|grade| grade.id == *id);
    grade.map_or_else(|| id.to_string(), |grade| grade.details.name.clone())
}

/// What scales and banks are allowed to differ by about a delivery: a step of the scale that it was weighed on, and what the
/// outlet's scale has usually found, once enough has been settled there before this `settlement`; until then the usual.
pub async fn tolerance(
    app: &App,
    visitor: &Visitor,
    delivery: &Delivery,
    outlet: &Outlet,
    settlement: Option<&str>,
) -> Result<Tolerance, Failure> {
    let step = match (delivery, visitor.style()) {
        (Delivery::RunStop(_), _) => Mass::of(FLOOR_STEP, MassUnit::Pound),
        (Delivery::Shipment(_), MassStyle::PoundsOunces) => Mass::of(dec!(0.1), MassUnit::Ounce),
        (Delivery::Shipment(_), MassStyle::Kilograms) => Mass::of(dec!(0.005), MassUnit::Kilogram),
    };
    let mut usual = BTreeMap::new();
    if app.store.learns(&visitor.shop.id).await? {
        let history = track::history(app, visitor).await?;
        let priced = track::bare(outlet);
        let learned = match settlement {
            Some(settlement) => history.learned_before(&priced, settlement),
            None => history.learned(&priced),
        };
        if let Some(learned) = learned {
            let grades = app.store.grades(&visitor.shop.id).await?.into_iter().map(|grade| grade.id);
            usual.extend(grades.filter_map(|grade| Some((grade.clone(), learned.usual_weight(&grade)?))));
        }
    }
    Ok(Tolerance {
        resolution: step,
        weight: Share::new(USUAL_WEIGHT).unwrap_or_default(),
        usual,
        exchange: Share::new(USUAL_EXCHANGE).unwrap_or_default(),
    })
}
