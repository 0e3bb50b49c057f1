//! Outlets: yards that somebody drives to and mail-in buyers that parcels go to, each with its terms.

use std::collections::BTreeMap;

use iso_currency::Currency;
use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::{GradeId, OutletId};
use trade::money::{PriceUnit, Share};
use trade::outlet::{self, Drive, PaidWeight, Post, Terms, Way};
use trade::quote::Quotes;

use super::activity::Noun;
use super::services::ServiceRecord;
use super::{By, OutOfUse, Query, RowError, Store, StoreError, Tx, add_once, changed_one, typed_mass};

/// An outlet of the shop.
#[derive(Debug, Clone)]
pub struct Outlet {
    pub id: OutletId,
    pub details: OutletDetails,
    /// Set while the shop does not sell there; its history stays.
    pub closed_at: Option<Timestamp>,
    pub version: i64,
}

/// What an outlet is set up as or changed to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutletDetails {
    pub name: String,
    pub place: String,
    pub currency: Currency,
    /// What its sheets mean where a price gives no unit.
    pub usual_unit: PriceUnit,
    pub note: String,
    pub kind: OutletKind,
    pub terms: Terms,
}

/// How goods get there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutletKind {
    Yard(Drive),
    MailIn(PostTerms),
}

/// What it takes to send parcels to a mail-in buyer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PostTerms {
    pub services: Vec<Reach>,
    /// Brokerage, customs and paperwork of one shipment, in home currency; zero where no border lies between.
    pub border: Decimal,
    /// Insurance, as a share of what the buyer is expected to pay.
    pub insurance: Share,
    /// Work to fill, close and label one parcel, in minutes.
    pub packing_minutes: Decimal,
}

/// A carrier's service that reaches a buyer, and the zone of its table that the buyer lies in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    pub service_id: String,
    pub zone: String,
}

impl OutletKind {
    pub const fn code(&self) -> &'static str {
        match self {
            OutletKind::Yard(_) => "yard",
            OutletKind::MailIn(_) => "mail-in",
        }
    }

    /// The spelling shown to people.
    pub const fn label(&self) -> &'static str {
        match self {
            OutletKind::Yard(_) => "Yard",
            OutletKind::MailIn(_) => "Mail-in buyer",
        }
    }

    pub fn reaches(&self) -> &[Reach] {
        match self {
            OutletKind::Yard(_) => &[],
            OutletKind::MailIn(post) => &post.services,
        }
    }
}

impl Outlet {
    pub const fn is_closed(&self) -> bool {
        self.closed_at.is_some()
    }

    /// The outlet as `trade` prices it. Of the services that reach it, those in use whose table still has its zone are
    /// taken; `services` may be all that the shop has.
    pub fn priced(
        &self,
        services: &[ServiceRecord],
        quotes: BTreeMap<GradeId, Quotes>,
        sheet_date: Option<Date>,
    ) -> outlet::Outlet {
        let way = match &self.details.kind {
            OutletKind::Yard(drive) => Way::Drive(*drive),
            OutletKind::MailIn(post) => Way::Post(Post {
                services: post
                    .services
                    .iter()
                    .filter_map(|reach| {
                        let in_use = services.iter().find(|s| s.id == reach.service_id && !s.retired)?;
                        in_use.details.for_zone(&reach.zone)
                    })
                    .collect(),
                border: post.border,
                insurance: post.insurance,
                packing_minutes: post.packing_minutes,
            }),
        };
        outlet::Outlet {
            id: self.id.clone(),
            name: self.details.name.clone(),
            currency: self.details.currency,
            way,
            terms: self.details.terms,
            quotes,
            sheet_date,
            learned: None,
        }
    }
}

#[derive(FromRow)]
struct OutletRow {
    id: String,
    kind: String,
    name: String,
    place: String,
    currency: String,
    usual_unit: String,
    note: String,
    distance_km: String,
    trip_minutes: String,
    border: String,
    insurance: String,
    packing_minutes: String,
    weight_deduction: String,
    paid_weight: String,
    downgrade_chance: String,
    downgrade_drop: String,
    percent_fee: String,
    flat_fee: String,
    exchange_spread: String,
    payout_fee: String,
    days_to_pay: i64,
    minimum_payout: String,
    minimum_grade_ug: i64,
    minimum_delivery_ug: i64,
    closed_at: Option<String>,
    version: i64,
}

#[derive(FromRow)]
struct ReachRow {
    outlet_id: String,
    service_id: String,
    zone: String,
}

fn decimal(column: &'static str, value: &str) -> Result<Decimal, RowError> {
    RowError::decimal("outlets", column, value)
}

fn share(column: &'static str, value: &str) -> Result<Share, RowError> {
    RowError::read("outlets", column, value, |v| v.parse().ok().and_then(|d| Share::new(d).ok()))
}

impl OutletRow {
    fn terms(&self) -> Result<Terms, RowError> {
        Ok(Terms {
            weight_deduction: share("weight_deduction", &self.weight_deduction)?,
            paid_weight: RowError::read("outlets", "paid_weight", &self.paid_weight, |ratio| {
                ratio.parse().ok().and_then(PaidWeight::new)
            })?,
            downgrade_chance: share("downgrade_chance", &self.downgrade_chance)?,
            downgrade_drop: share("downgrade_drop", &self.downgrade_drop)?,
            percent_fee: share("percent_fee", &self.percent_fee)?,
            flat_fee: decimal("flat_fee", &self.flat_fee)?,
            exchange_spread: share("exchange_spread", &self.exchange_spread)?,
            payout_fee: decimal("payout_fee", &self.payout_fee)?,
            days_to_pay: RowError::read("outlets", "days_to_pay", &self.days_to_pay.to_string(), |days| {
                days.parse().ok()
            })?,
            minimum_payout: decimal("minimum_payout", &self.minimum_payout)?,
            minimum_grade: typed_mass(self.minimum_grade_ug),
            minimum_delivery: typed_mass(self.minimum_delivery_ug),
        })
    }

    fn kind(&self, services: Vec<Reach>) -> Result<OutletKind, RowError> {
        match self.kind.as_str() {
            "yard" => Ok(OutletKind::Yard(Drive {
                distance_km: decimal("distance_km", &self.distance_km)?,
                minutes: decimal("trip_minutes", &self.trip_minutes)?,
            })),
            "mail-in" => Ok(OutletKind::MailIn(PostTerms {
                services,
                border: decimal("border", &self.border)?,
                insurance: share("insurance", &self.insurance)?,
                packing_minutes: decimal("packing_minutes", &self.packing_minutes)?,
            })),
            other => Err(RowError { table: "outlets", column: "kind", value: other.to_string() }),
        }
    }

    fn into_outlet(self, services: Vec<Reach>) -> Result<Outlet, RowError> {
        Ok(Outlet {
            closed_at: self
                .closed_at
                .as_deref()
                .map(|at| RowError::read("outlets", "closed_at", at, |at| at.parse().ok()))
                .transpose()?,
            version: self.version,
            details: OutletDetails {
                kind: self.kind(services)?,
                terms: self.terms()?,
                currency: RowError::read("outlets", "currency", &self.currency, Currency::from_code)?,
                usual_unit: RowError::read("outlets", "usual_unit", &self.usual_unit, PriceUnit::from_code)?,
                name: self.name,
                place: self.place,
                note: self.note,
            },
            id: OutletId::new(self.id),
        })
    }
}

/// An outlet's columns; the caller adds the condition.
macro_rules! select_outlets {
    ($condition:literal) => {
        concat!(
            "SELECT id, kind, name, place, currency, usual_unit, note, distance_km, trip_minutes, border, insurance, ",
            "packing_minutes, weight_deduction, paid_weight, downgrade_chance, downgrade_drop, percent_fee, ",
            "flat_fee, exchange_spread, payout_fee, days_to_pay, minimum_payout, minimum_grade_ug, ",
            "minimum_delivery_ug, closed_at, version FROM outlets ",
            $condition
        )
    };
}

const OUT_OF_USE: OutOfUse = OutOfUse {
    sql: "UPDATE outlets SET closed_at = $4, version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3",
    noun: Noun::Outlet,
    deeds: ["closed", "reopened"],
};

impl Store {
    /// All outlets, those the shop sells to first, by name.
    pub async fn outlets(&self, shop_id: &str) -> Result<Vec<Outlet>, StoreError> {
        let sql = select_outlets!(
            "WHERE shop_id = $1 ORDER BY CASE WHEN closed_at IS NULL THEN 0 ELSE 1 END, name"
        );
        let rows: Vec<OutletRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let mut reaches = self.reaches(shop_id).await?;
        let outlets = rows.into_iter().map(|row| {
            let services = reaches.remove(&row.id).unwrap_or_default();
            row.into_outlet(services)
        });
        Ok(outlets.collect::<Result<_, _>>()?)
    }

    pub async fn outlet(&self, shop_id: &str, id: &str) -> Result<Outlet, StoreError> {
        let sql = select_outlets!("WHERE shop_id = $1 AND id = $2");
        let row: OutletRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        let services = self.reaches(shop_id).await?.remove(id).unwrap_or_default();
        Ok(row.into_outlet(services)?)
    }

    /// Which services reach which outlet, in the order of the services' names.
    async fn reaches(&self, shop_id: &str) -> Result<BTreeMap<String, Vec<Reach>>, StoreError> {
        let sql = "SELECT r.outlet_id, r.service_id, r.zone FROM outlet_services r \
                   JOIN services s ON s.id = r.service_id WHERE s.shop_id = $1 ORDER BY s.name";
        let rows: Vec<ReachRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let mut reaches: BTreeMap<String, Vec<Reach>> = BTreeMap::new();
        for ReachRow { outlet_id, service_id, zone } in rows {
            reaches.entry(outlet_id).or_default().push(Reach { service_id, zone });
        }
        Ok(reaches)
    }

    /// Sets up an outlet; [`StoreError::Duplicate`] if another one has the name. The same id a second time changes
    /// nothing: the form was sent twice.
    pub async fn create_outlet(&self, by: &By, id: &str, details: &OutletDetails) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add_outlet(&mut tx, by, id, details).await?;
        tx.commit().await
    }

    /// Changes an outlet with the services that reach it; [`StoreError::Stale`] if it changed since `version`,
    /// [`StoreError::Duplicate`] if another one has the name.
    pub async fn save_outlet(
        &self,
        by: &By,
        id: &str,
        version: i64,
        details: &OutletDetails,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE outlets SET kind = $4, name = $5, place = $6, currency = $7, usual_unit = $8, note = $9, \
                   distance_km = $10, trip_minutes = $11, border = $12, insurance = $13, packing_minutes = $14, \
                   weight_deduction = $15, paid_weight = $16, downgrade_chance = $17, downgrade_drop = $18, \
                   percent_fee = $19, flat_fee = $20, exchange_spread = $21, payout_fee = $22, days_to_pay = $23, \
                   minimum_payout = $24, minimum_grade_ug = $25, minimum_delivery_ug = $26, version = version + 1 \
                   WHERE id = $1 AND shop_id = $2 AND version = $3";
        let done = bind_details(sqlx::query(sql).bind(id).bind(shop_id).bind(version), details)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        sqlx::query("DELETE FROM outlet_services WHERE outlet_id = $1").bind(id).execute(&mut *tx).await?;
        add_reaches(&mut tx, shop_id, id, details.kind.reaches()).await?;
        tx.note(by, Noun::Outlet, id, "changed", "").await?;
        tx.commit().await
    }

    /// Stops selling there. Sheets, shipments and settlements stay.
    pub async fn close_outlet(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, true).await
    }

    pub async fn reopen_outlet(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, false).await
    }
}

/// Adds an outlet inside `tx`; its services have to be there. One that is there with the same id already is left as it
/// is.
pub async fn add_outlet(tx: &mut Tx, by: &By, id: &str, details: &OutletDetails) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let sql = "INSERT INTO outlets (id, shop_id, version, kind, name, place, currency, usual_unit, note, distance_km, \
               trip_minutes, border, insurance, packing_minutes, weight_deduction, paid_weight, downgrade_chance, \
               downgrade_drop, percent_fee, flat_fee, exchange_spread, payout_fee, days_to_pay, minimum_payout, \
               minimum_grade_ug, minimum_delivery_ug) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, \
               $21, $22, $23, $24, $25, $26) ON CONFLICT DO NOTHING";
    let insert = bind_details(sqlx::query(sql).bind(id).bind(shop_id).bind(1_i64), details);
    let there = "SELECT id FROM outlets WHERE shop_id = $1 AND id = $2";
    if add_once(tx, insert, there, shop_id, id).await? {
        add_reaches(tx, shop_id, id, details.kind.reaches()).await?;
        tx.note(by, Noun::Outlet, id, "added", "").await?;
    }
    Ok(())
}

/// Binds the columns from `kind` to `minimum_delivery_ug`, in the schema's order.
fn bind_details<'q>(query: Query<'q>, details: &'q OutletDetails) -> Query<'q> {
    let (drive, post) = match &details.kind {
        OutletKind::Yard(drive) => (*drive, PostTerms::default()),
        OutletKind::MailIn(post) => {
            (Drive { distance_km: Decimal::ZERO, minutes: Decimal::ZERO }, post.clone())
        }
    };
    let terms = &details.terms;
    query
        .bind(details.kind.code())
        .bind(&details.name)
        .bind(&details.place)
        .bind(details.currency.code())
        .bind(details.usual_unit.code())
        .bind(&details.note)
        .bind(drive.distance_km.to_string())
        .bind(drive.minutes.to_string())
        .bind(post.border.to_string())
        .bind(post.insurance.get().to_string())
        .bind(post.packing_minutes.to_string())
        .bind(terms.weight_deduction.get().to_string())
        .bind(terms.paid_weight.get().to_string())
        .bind(terms.downgrade_chance.get().to_string())
        .bind(terms.downgrade_drop.get().to_string())
        .bind(terms.percent_fee.get().to_string())
        .bind(terms.flat_fee.to_string())
        .bind(terms.exchange_spread.get().to_string())
        .bind(terms.payout_fee.to_string())
        .bind(i64::from(terms.days_to_pay))
        .bind(terms.minimum_payout.to_string())
        .bind(terms.minimum_grade.micrograms())
        .bind(terms.minimum_delivery.micrograms())
}

async fn add_reaches(
    tx: &mut Tx,
    shop_id: &str,
    outlet_id: &str,
    reaches: &[Reach],
) -> Result<(), StoreError> {
    for reach in reaches {
        // A service of another shop is as good as none.
        let _: (String,) = sqlx::query_as("SELECT id FROM services WHERE shop_id = $1 AND id = $2")
            .bind(shop_id)
            .bind(&reach.service_id)
            .fetch_one(&mut **tx)
            .await?;
        sqlx::query("INSERT INTO outlet_services (outlet_id, service_id, zone) VALUES ($1, $2, $3)")
            .bind(outlet_id)
            .bind(&reach.service_id)
            .bind(&reach.zone)
            .execute(&mut **tx)
            .await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use trade::freight::WeightBreak;
    use trade::mass::{Mass, MassUnit};

    use super::super::services::{ServiceDetails, ZoneTable};
    use super::*;

    fn service(id: &str, retired: bool) -> ServiceRecord {
        let pound = Mass::of(Decimal::ONE, MassUnit::Pound);
        let breaks = vec![WeightBreak { up_to: pound, charge: Decimal::TEN }];
        let details = ServiceDetails {
            name: id.to_string(),
            currency: Currency::USD,
            dimensional: None,
            step: pound,
            fuel_percent: Decimal::ZERO,
            surcharges: Vec::new(),
            zones: vec![ZoneTable { zone: "Lakes".into(), breaks, flat_boxes: Vec::new() }],
        };
        ServiceRecord { id: id.to_string(), details, retired, version: 1 }
    }

    #[test]
    fn a_buyer_is_priced_with_the_services_that_can_be_used() {
        let reach = |service_id: &str, zone: &str| Reach { service_id: service_id.into(), zone: zone.into() };
        let services = vec![
            reach("in use", "Lakes"),
            reach("retired", "Lakes"),
            reach("in use too", "gone from its table"),
            reach("not there", "Lakes"),
        ];
        let outlet = Outlet {
            id: OutletId::new("buyer"),
            details: OutletDetails {
                name: "Buyer".into(),
                place: String::new(),
                currency: Currency::CAD,
                usual_unit: PriceUnit::Each,
                note: String::new(),
                kind: OutletKind::MailIn(PostTerms { services, ..PostTerms::default() }),
                terms: Terms::default(),
            },
            closed_at: None,
            version: 1,
        };
        let known = [service("in use", false), service("in use too", false), service("retired", true)];
        let priced = outlet.priced(&known, BTreeMap::new(), None);
        let Way::Post(post) = priced.way else { panic!("a mail-in buyer is posted to") };
        let used: Vec<&str> = post.services.iter().map(|service| service.name.as_str()).collect();
        assert_eq!(used, ["in use"]);
        assert_eq!(post.services[0].breaks.len(), 1);
    }
}
