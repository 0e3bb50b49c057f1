//! The shop and its partners.

use iso_currency::Currency;
use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::costs::Costs;
use trade::mass::MassStyle;
use trade::money::Share;

use super::activity::Noun;
use super::partners::{Partner, add_partner};
use super::{By, Query, RowError, Store, StoreError, Tx, changed_one, stamp};

/// A shop's settings.
#[derive(Debug, Clone)]
pub struct Shop {
    pub id: String,
    pub name: String,
    pub zone: TimeZone,
    pub style: MassStyle,
    pub costs: Costs,
    pub version: i64,
}

#[derive(FromRow)]
pub(super) struct ShopRow {
    id: String,
    name: String,
    zone: String,
    home_currency: String,
    mass_style: String,
    labour_per_hour: String,
    truck_per_km: String,
    capital_per_year: String,
    risk_per_year: String,
    version: i64,
}

impl TryFrom<ShopRow> for Shop {
    type Error = RowError;

    fn try_from(row: ShopRow) -> Result<Shop, RowError> {
        let decimal = |column, value: &str| RowError::decimal("shops", column, value);
        let share = |column, value: &str| {
            RowError::read("shops", column, value, |v| {
                v.parse::<Decimal>().ok().and_then(|d| Share::new(d).ok())
            })
        };
        Ok(Shop {
            zone: RowError::read("shops", "zone", &row.zone, |zone| TimeZone::get(zone).ok())?,
            style: RowError::read("shops", "mass_style", &row.mass_style, mass_style_from)?,
            costs: Costs {
                home: RowError::read("shops", "home_currency", &row.home_currency, Currency::from_code)?,
                labour_per_hour: decimal("labour_per_hour", &row.labour_per_hour)?,
                truck_per_km: decimal("truck_per_km", &row.truck_per_km)?,
                capital_per_year: share("capital_per_year", &row.capital_per_year)?,
                risk_per_year: share("risk_per_year", &row.risk_per_year)?,
            },
            id: row.id,
            name: row.name,
            version: row.version,
        })
    }
}

pub fn mass_style_code(style: MassStyle) -> &'static str {
    match style {
        MassStyle::PoundsOunces => "pounds-ounces",
        MassStyle::Kilograms => "kilograms",
    }
}

pub fn mass_style_from(code: &str) -> Option<MassStyle> {
    [MassStyle::PoundsOunces, MassStyle::Kilograms].into_iter().find(|style| mass_style_code(*style) == code)
}

/// What a shop is set up or changed to.
#[derive(Debug, Clone)]
pub struct ShopSettings {
    pub name: String,
    /// An IANA zone name, checked by the caller.
    pub zone: String,
    pub style: MassStyle,
    pub costs: Costs,
}

/// Why a shop's settings cannot be changed like that. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ShopRefusal {
    #[error(
        "Amounts of outlets, boxes or shipments are on file in the currency as it is, and would silently mean another \
         one. It can only be changed before there are any."
    )]
    HomeCurrencyInUse,
}

impl Store {
    /// All shops of this store, the oldest first.
    pub async fn shops(&self) -> Result<Vec<Shop>, StoreError> {
        let sql = "SELECT id, name, zone, home_currency, mass_style, labour_per_hour, truck_per_km, \
                   capital_per_year, risk_per_year, version FROM shops ORDER BY created_at, id";
        let rows: Vec<ShopRow> = sqlx::query_as(sql).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Shop::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn shop(&self, id: &str) -> Result<Shop, StoreError> {
        let sql = "SELECT id, name, zone, home_currency, mass_style, labour_per_hour, truck_per_km, \
                   capital_per_year, risk_per_year, version FROM shops WHERE id = $1";
        let row: ShopRow = sqlx::query_as(sql).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Whether amounts are on file that mean the home currency without naming it.
    pub async fn home_currency_in_use(&self, shop_id: &str) -> Result<bool, StoreError> {
        let (uses,): (i64,) =
            sqlx::query_as(HOME_CURRENCY_USES).bind(shop_id).fetch_one(self.readers()).await?;
        Ok(uses > 0)
    }

    /// Changes the settings; [`StoreError::Stale`] if somebody changed them since `version`, and
    /// [`ShopRefusal::HomeCurrencyInUse`] if that would give amounts on file another meaning.
    pub async fn save_shop(&self, by: &By, version: i64, settings: &ShopSettings) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "SELECT home_currency FROM shops WHERE id = $1";
        let (home,): (String,) = sqlx::query_as(sql).bind(shop_id).fetch_one(&mut *tx).await?;
        let (uses,): (i64,) = sqlx::query_as(HOME_CURRENCY_USES).bind(shop_id).fetch_one(&mut *tx).await?;
        if uses > 0 && home != settings.costs.home.code() {
            return Err(ShopRefusal::HomeCurrencyInUse.into());
        }
        let sql = "UPDATE shops SET name = $3, zone = $4, home_currency = $5, mass_style = $6, labour_per_hour = $7, \
                   truck_per_km = $8, capital_per_year = $9, risk_per_year = $10, version = version + 1 \
                   WHERE id = $1 AND version = $2";
        let query = bind_settings(sqlx::query(sql).bind(shop_id).bind(version), settings);
        let done = query.execute(&mut *tx).await?;
        changed_one(done.rows_affected())?;
        // Months begin elsewhere in another zone.
        tx.moved().look_at_zone(shop_id);
        tx.note(by, Noun::Shop, shop_id, "changed the settings", "").await?;
        tx.commit().await
    }

    /// Whether the shop goes by what its settlements have taught.
    pub async fn learns(&self, shop_id: &str) -> Result<bool, StoreError> {
        let sql = "SELECT learns FROM shops WHERE id = $1";
        let (learns,): (i64,) = sqlx::query_as(sql).bind(shop_id).fetch_one(self.readers()).await?;
        Ok(learns != 0)
    }

    /// Lets it, or not. What it is already is not changed, so that sent twice it is done once.
    pub async fn let_learn(&self, by: &By, learns: bool) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE shops SET learns = $2, version = version + 1 WHERE id = $1 AND learns <> $2";
        let done = sqlx::query(sql).bind(shop_id).bind(i64::from(learns)).execute(&mut *tx).await?;
        if done.rows_affected() == 1 {
            let deed = if learns { "goes by settlements" } else { "goes by the terms alone" };
            tx.note(by, Noun::Shop, shop_id, deed, "").await?;
        }
        tx.commit().await
    }
}

const HOME_CURRENCY_USES: &str = "SELECT CAST((SELECT COUNT(*) FROM outlets WHERE shop_id = $1) \
    + (SELECT COUNT(*) FROM cartons WHERE shop_id = $1) \
    + (SELECT COUNT(*) FROM shipments WHERE shop_id = $1) \
    + COALESCE((SELECT entries FROM cash_books WHERE shop_id = $1), 0) AS BIGINT)";

/// Adds the shop and the first of its partners, who opens it, inside `tx`. False if it is there already, from the same
/// form.
pub async fn add_shop(
    tx: &mut Tx,
    by: &By,
    settings: &ShopSettings,
    first: &Partner,
) -> Result<bool, StoreError> {
    let sql = "INSERT INTO shops (id, name, zone, home_currency, mass_style, labour_per_hour, truck_per_km, \
               capital_per_year, risk_per_year, version, created_at) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1, $10) ON CONFLICT (id) DO NOTHING";
    let query = bind_settings(sqlx::query(sql).bind(&by.shop_id), settings).bind(stamp(by.at));
    let is_new = query.execute(&mut **tx).await?.rows_affected() == 1;
    if is_new {
        add_partner(tx, by, first).await?;
        tx.note(by, Noun::Shop, &by.shop_id, "opened the shop", "").await?;
    }
    Ok(is_new)
}

/// Binds the columns from `name` to `risk_per_year`, in the schema's order.
fn bind_settings<'q>(query: Query<'q>, settings: &'q ShopSettings) -> Query<'q> {
    let costs = &settings.costs;
    query
        .bind(&settings.name)
        .bind(&settings.zone)
        .bind(costs.home.code())
        .bind(mass_style_code(settings.style))
        .bind(costs.labour_per_hour.to_string())
        .bind(costs.truck_per_km.to_string())
        .bind(costs.capital_per_year.get().to_string())
        .bind(costs.risk_per_year.get().to_string())
}
