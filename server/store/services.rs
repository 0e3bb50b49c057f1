//! Carriers' services: how each bills a parcel, and its table of charges for every zone.

use std::collections::BTreeMap;

use iso_currency::Currency;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::freight::{
    Dimensional, Divisor, FlatBox, Service, SideRounding, Surcharge, SurchargeWhen, WeightBreak,
};
use trade::mass::Mass;
use trade::volume::{Size, Volume};

use super::activity::Noun;
use super::{By, OutOfUse, Query, RowError, Store, StoreError, Tx, add_once, changed_one, typed_mass};

/// A carrier's service as the shop keeps it.
#[derive(Debug, Clone)]
pub struct ServiceRecord {
    pub id: String,
    pub details: ServiceDetails,
    pub retired: bool,
    pub version: i64,
}

/// What a service is set up as or changed to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceDetails {
    pub name: String,
    pub currency: Currency,
    /// `None` where the carrier bills actual weight only.
    pub dimensional: Option<Dimensional>,
    pub step: Mass,
    pub fuel_percent: Decimal,
    pub surcharges: Vec<Surcharge>,
    /// By name.
    pub zones: Vec<ZoneTable>,
}

/// What the service charges to one zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ZoneTable {
    pub zone: String,
    /// Ascending by weight.
    pub breaks: Vec<WeightBreak>,
    pub flat_boxes: Vec<FlatBox>,
}

impl ServiceDetails {
    pub fn zone(&self, zone: &str) -> Option<&ZoneTable> {
        self.zones.iter().find(|table| table.zone == zone)
    }

    /// The service as `trade` charges it to a zone; `None` if its table does not have the zone.
    pub fn for_zone(&self, zone: &str) -> Option<Service> {
        let table = self.zone(zone)?;
        Some(Service {
            name: self.name.clone(),
            currency: self.currency,
            dimensional: self.dimensional,
            step: self.step,
            fuel_percent: self.fuel_percent,
            surcharges: self.surcharges.clone(),
            breaks: table.breaks.clone(),
            flat_boxes: table.flat_boxes.clone(),
        })
    }
}

#[derive(FromRow)]
struct ServiceRow {
    id: String,
    name: String,
    currency: String,
    divisor_kind: String,
    divisor: String,
    sides: String,
    above_cm3: String,
    step_ug: i64,
    fuel_percent: String,
    retired_at: Option<String>,
    version: i64,
}

#[derive(FromRow)]
struct BreakRow {
    service_id: String,
    zone: String,
    up_to_ug: i64,
    charge: String,
}

#[derive(FromRow)]
struct SurchargeRow {
    service_id: String,
    name: String,
    charge: String,
    applies: String,
    threshold: String,
}

#[derive(FromRow)]
struct FlatBoxRow {
    service_id: String,
    zone: String,
    name: String,
    length_mm: String,
    width_mm: String,
    height_mm: String,
    limit_ug: i64,
    charge: String,
}

const SIDES: [(&str, SideRounding); 3] =
    [("exact", SideRounding::Exact), ("nearest", SideRounding::Nearest), ("up", SideRounding::Up)];

/// The spelling of a rounding of sides in storage and in forms.
pub fn sides_code(sides: SideRounding) -> &'static str {
    SIDES.iter().find(|(_, known)| *known == sides).map_or("exact", |(code, _)| code)
}

pub fn sides_from(code: &str) -> Option<SideRounding> {
    SIDES.iter().find(|(known, _)| *known == code).map(|(_, sides)| *sides)
}

impl ServiceRow {
    fn dimensional(&self) -> Result<Option<Dimensional>, RowError> {
        let divisor = RowError::decimal("services", "divisor", &self.divisor)?;
        let divisor = match self.divisor_kind.as_str() {
            "none" => return Ok(None),
            "in3-lb" => Divisor::CubicInchesPerPound(divisor),
            "cm3-kg" => Divisor::Cm3PerKilogram(divisor),
            other => {
                return Err(RowError { table: "services", column: "divisor_kind", value: other.to_string() });
            }
        };
        let above = RowError::decimal("services", "above_cm3", &self.above_cm3)?;
        Ok(Some(Dimensional {
            divisor,
            sides: RowError::read("services", "sides", &self.sides, sides_from)?,
            above: (!above.is_zero()).then_some(Volume::from_cm3(above)),
        }))
    }

    fn into_record(
        self,
        surcharges: Vec<Surcharge>,
        zones: Vec<ZoneTable>,
    ) -> Result<ServiceRecord, RowError> {
        Ok(ServiceRecord {
            details: ServiceDetails {
                dimensional: self.dimensional()?,
                currency: RowError::read("services", "currency", &self.currency, Currency::from_code)?,
                step: typed_mass(self.step_ug),
                fuel_percent: RowError::decimal("services", "fuel_percent", &self.fuel_percent)?,
                name: self.name,
                surcharges,
                zones,
            },
            id: self.id,
            retired: self.retired_at.is_some(),
            version: self.version,
        })
    }
}

impl TryFrom<BreakRow> for WeightBreak {
    type Error = RowError;

    fn try_from(row: BreakRow) -> Result<WeightBreak, RowError> {
        Ok(WeightBreak {
            up_to: typed_mass(row.up_to_ug),
            charge: RowError::decimal("service_breaks", "charge", &row.charge)?,
        })
    }
}

impl TryFrom<SurchargeRow> for Surcharge {
    type Error = RowError;

    fn try_from(row: SurchargeRow) -> Result<Surcharge, RowError> {
        let threshold = RowError::decimal("service_surcharges", "threshold", &row.threshold)?;
        let when = match row.applies.as_str() {
            "always" => SurchargeWhen::Always,
            "heavier" => SurchargeWhen::HeavierThan(Mass::from_grams(threshold)),
            "longer" => SurchargeWhen::LongerThan(threshold),
            "girth" => SurchargeWhen::LengthPlusGirthOver(threshold),
            other => {
                return Err(RowError {
                    table: "service_surcharges",
                    column: "applies",
                    value: other.to_string(),
                });
            }
        };
        Ok(Surcharge {
            charge: RowError::decimal("service_surcharges", "charge", &row.charge)?,
            name: row.name,
            when,
        })
    }
}

impl TryFrom<FlatBoxRow> for FlatBox {
    type Error = RowError;

    fn try_from(row: FlatBoxRow) -> Result<FlatBox, RowError> {
        let decimal = |column, value: &str| RowError::decimal("service_flat_boxes", column, value);
        Ok(FlatBox {
            inner: Size {
                length: decimal("length_mm", &row.length_mm)?,
                width: decimal("width_mm", &row.width_mm)?,
                height: decimal("height_mm", &row.height_mm)?,
            },
            limit: typed_mass(row.limit_ug),
            charge: decimal("charge", &row.charge)?,
            name: row.name,
        })
    }
}

/// The parts of services as they are read, by service id.
#[derive(Default)]
struct Parts {
    surcharges: BTreeMap<String, Vec<Surcharge>>,
    zones: BTreeMap<String, BTreeMap<String, ZoneTable>>,
}

impl Parts {
    fn zone(&mut self, service_id: &str, zone: &str) -> &mut ZoneTable {
        let zones = self.zones.entry(service_id.to_string()).or_default();
        zones.entry(zone.to_string()).or_insert_with(|| ZoneTable {
            zone: zone.to_string(),
            breaks: Vec::new(),
            flat_boxes: Vec::new(),
        })
    }

    fn record(&mut self, row: ServiceRow) -> Result<ServiceRecord, RowError> {
        let surcharges = self.surcharges.remove(&row.id).unwrap_or_default();
        let zones = self.zones.remove(&row.id).unwrap_or_default();
        row.into_record(surcharges, zones.into_values().collect())
    }
}

const OUT_OF_USE: OutOfUse = OutOfUse {
    sql: "UPDATE services SET retired_at = $4, version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3",
    noun: Noun::Service,
    deeds: ["retired", "brought back"],
};

impl Store {
    /// All services with their tables, those in use first, by name.
    pub async fn services(&self, shop_id: &str) -> Result<Vec<ServiceRecord>, StoreError> {
        let sql = "SELECT id, name, currency, divisor_kind, divisor, sides, above_cm3, step_ug, fuel_percent, \
                   retired_at, version FROM services WHERE shop_id = $1 \
                   ORDER BY CASE WHEN retired_at IS NULL THEN 0 ELSE 1 END, name";
        let rows: Vec<ServiceRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let mut parts = self.service_parts(shop_id).await?;
        Ok(rows.into_iter().map(|row| parts.record(row)).collect::<Result<_, _>>()?)
    }

    pub async fn service(&self, shop_id: &str, id: &str) -> Result<ServiceRecord, StoreError> {
        // A shop has a handful of services: reading all of them keeps one way to put one together.
        let services = self.services(shop_id).await?;
        services.into_iter().find(|service| service.id == id).ok_or(StoreError::Missing)
    }

    async fn service_parts(&self, shop_id: &str) -> Result<Parts, StoreError> {
        let mut parts = Parts::default();
        let sql = "SELECT b.service_id, b.zone, b.up_to_ug, b.charge FROM service_breaks b \
                   JOIN services s ON s.id = b.service_id WHERE s.shop_id = $1 \
                   ORDER BY b.service_id, b.zone, b.up_to_ug";
        let rows: Vec<BreakRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        for row in rows {
            let table = parts.zone(&row.service_id, &row.zone);
            table.breaks.push(row.try_into()?);
        }
        let sql = "SELECT f.service_id, f.zone, f.name, f.length_mm, f.width_mm, f.height_mm, f.limit_ug, f.charge \
                   FROM service_flat_boxes f JOIN services s ON s.id = f.service_id WHERE s.shop_id = $1 \
                   ORDER BY f.service_id, f.position";
        let rows: Vec<FlatBoxRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        for row in rows {
            let table = parts.zone(&row.service_id, &row.zone);
            table.flat_boxes.push(row.try_into()?);
        }
        let sql = "SELECT c.service_id, c.name, c.charge, c.applies, c.threshold FROM service_surcharges c \
                   JOIN services s ON s.id = c.service_id WHERE s.shop_id = $1 ORDER BY c.service_id, c.position";
        let rows: Vec<SurchargeRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        for row in rows {
            let surcharges = parts.surcharges.entry(row.service_id.clone()).or_default();
            surcharges.push(row.try_into()?);
        }
        Ok(parts)
    }

    /// Sets up a service; [`StoreError::Duplicate`] if another one has the name. The same id a second time changes
    /// nothing: the form was sent twice.
    pub async fn create_service(
        &self,
        by: &By,
        id: &str,
        details: &ServiceDetails,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        add_service(&mut tx, by, id, details).await?;
        tx.commit().await
    }

    /// Changes a service with its tables; [`StoreError::Stale`] if it changed since `version`,
    /// [`StoreError::Duplicate`] if another one has the name.
    pub async fn save_service(
        &self,
        by: &By,
        id: &str,
        version: i64,
        details: &ServiceDetails,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE services SET name = $4, currency = $5, divisor_kind = $6, divisor = $7, sides = $8, \
                   above_cm3 = $9, step_ug = $10, fuel_percent = $11, version = version + 1 \
                   WHERE id = $1 AND shop_id = $2 AND version = $3";
        let done = bind_details(sqlx::query(sql).bind(id).bind(shop_id).bind(version), details)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        for sql in [
            "DELETE FROM service_breaks WHERE service_id = $1",
            "DELETE FROM service_surcharges WHERE service_id = $1",
            "DELETE FROM service_flat_boxes WHERE service_id = $1",
        ] {
            sqlx::query(sql).bind(id).execute(&mut *tx).await?;
        }
        add_parts(&mut tx, id, details).await?;
        tx.note(by, Noun::Service, id, "changed", "").await?;
        tx.commit().await
    }

    /// Takes a service out of use. Outlets that it reached keep it on their list, where it counts for nothing.
    pub async fn retire_service(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, true).await
    }

    pub async fn return_service(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        self.set_out_of_use(&OUT_OF_USE, by, id, version, false).await
    }
}

/// Adds a service with its tables inside `tx`; one that is there with the same id already is left as it is.
pub async fn add_service(tx: &mut Tx, by: &By, id: &str, details: &ServiceDetails) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let sql = "INSERT INTO services (id, shop_id, version, name, currency, divisor_kind, divisor, sides, above_cm3, \
               step_ug, fuel_percent) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) \
               ON CONFLICT DO NOTHING";
    let insert = bind_details(sqlx::query(sql).bind(id).bind(shop_id).bind(1_i64), details);
    let there = "SELECT id FROM services WHERE shop_id = $1 AND id = $2";
    if add_once(tx, insert, there, shop_id, id).await? {
        add_parts(tx, id, details).await?;
        tx.note(by, Noun::Service, id, "added", "").await?;
    }
    Ok(())
}

/// Binds the columns from `name` to `fuel_percent`, in the schema's order.
fn bind_details<'q>(query: Query<'q>, details: &'q ServiceDetails) -> Query<'q> {
    let (kind, divisor) = match details.dimensional.map(|rule| rule.divisor) {
        None => ("none", Decimal::ZERO),
        Some(Divisor::CubicInchesPerPound(divisor)) => ("in3-lb", divisor),
        Some(Divisor::Cm3PerKilogram(divisor)) => ("cm3-kg", divisor),
    };
    let sides = details.dimensional.map_or(SideRounding::Exact, |rule| rule.sides);
    let above = details.dimensional.and_then(|rule| rule.above).unwrap_or(Volume::ZERO);
    query
        .bind(&details.name)
        .bind(details.currency.code())
        .bind(kind)
        .bind(divisor.to_string())
        .bind(sides_code(sides))
        .bind(above.cm3().to_string())
        .bind(details.step.micrograms())
        .bind(details.fuel_percent.to_string())
}

async fn add_parts(tx: &mut Tx, service_id: &str, details: &ServiceDetails) -> Result<(), StoreError> {
    for (position, surcharge) in (0_i64..).zip(&details.surcharges) {
        add_surcharge(tx, service_id, position, surcharge).await?;
    }
    let mut position = 0_i64;
    for table in &details.zones {
        for weight_break in &table.breaks {
            let sql =
                "INSERT INTO service_breaks (service_id, zone, up_to_ug, charge) VALUES ($1, $2, $3, $4)";
            sqlx::query(sql)
                .bind(service_id)
                .bind(&table.zone)
                .bind(weight_break.up_to.micrograms())
                .bind(weight_break.charge.to_string())
                .execute(&mut **tx)
                .await?;
        }
        for flat_box in &table.flat_boxes {
            add_flat_box(tx, service_id, position, &table.zone, flat_box).await?;
            position += 1;
        }
    }
    Ok(())
}

async fn add_surcharge(
    tx: &mut Tx,
    service_id: &str,
    position: i64,
    surcharge: &Surcharge,
) -> Result<(), StoreError> {
    let (applies, threshold) = match surcharge.when {
        SurchargeWhen::Always => ("always", Decimal::ZERO),
        SurchargeWhen::HeavierThan(mass) => ("heavier", mass.grams()),
        SurchargeWhen::LongerThan(millimetres) => ("longer", millimetres),
        SurchargeWhen::LengthPlusGirthOver(millimetres) => ("girth", millimetres),
    };
    let sql = "INSERT INTO service_surcharges (service_id, position, name, charge, applies, threshold) \
               VALUES ($1, $2, $3, $4, $5, $6)";
    sqlx::query(sql)
        .bind(service_id)
        .bind(position)
        .bind(&surcharge.name)
        .bind(surcharge.charge.to_string())
        .bind(applies)
        .bind(threshold.to_string())
        .execute(&mut **tx)
        .await?;
    Ok(())
}

async fn add_flat_box(
    tx: &mut Tx,
    service_id: &str,
    position: i64,
    zone: &str,
    flat_box: &FlatBox,
) -> Result<(), StoreError> {
    let sql = "INSERT INTO service_flat_boxes (service_id, position, zone, name, length_mm, width_mm, height_mm, \
               limit_ug, charge) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    sqlx::query(sql)
        .bind(service_id)
        .bind(position)
        .bind(zone)
        .bind(&flat_box.name)
        .bind(flat_box.inner.length.to_string())
        .bind(flat_box.inner.width.to_string())
        .bind(flat_box.inner.height.to_string())
        .bind(flat_box.limit.micrograms())
        .bind(flat_box.charge.to_string())
        .execute(&mut **tx)
        .await?;
    Ok(())
}
