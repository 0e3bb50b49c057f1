//! Roads from one yard straight to another, as the partners have driven or looked them up.

use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::OutletId;

use super::activity::Noun;
use super::{By, RowError, Store, StoreError, Tx, stamp};

/// A road from one yard to another, as far either way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Road {
    /// The ends, the one whose id comes first before the other.
    pub ends: (OutletId, OutletId),
    pub distance_km: Decimal,
}

/// How a road is to be changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewRoad {
    /// Where it leads.
    pub to: OutletId,
    /// What the page showed; [`StoreError::Stale`] where it is another by now.
    pub before: Option<Decimal>,
    /// `None` for a road that nobody knows, or that is not to be driven.
    pub distance_km: Option<Decimal>,
}

#[derive(FromRow)]
struct RoadRow {
    one_id: String,
    other_id: String,
    distance_km: String,
}

impl RoadRow {
    fn into_road(self) -> Result<Road, RowError> {
        Ok(Road {
            distance_km: RowError::decimal("roads", "distance_km", &self.distance_km)?,
            ends: (OutletId::new(self.one_id), OutletId::new(self.other_id)),
        })
    }
}

impl Store {
    pub async fn roads(&self, shop_id: &str) -> Result<Vec<Road>, StoreError> {
        let sql =
            "SELECT one_id, other_id, distance_km FROM roads WHERE shop_id = $1 ORDER BY one_id, other_id";
        let rows: Vec<RoadRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(RoadRow::into_road).collect::<Result<_, _>>()?)
    }

    /// Changes the roads from a yard to others, all or none. Those that stand as they are to be are left alone, so sent
    /// twice it is done once.
    pub async fn set_roads(&self, by: &By, from: &OutletId, roads: &[NewRoad]) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        for road in roads {
            let now = distance(&mut tx, by, [from, &road.to]).await?;
            if now == road.distance_km {
                continue;
            }
            if now != road.before {
                return Err(StoreError::Stale);
            }
            set_road(&mut tx, by, [from, &road.to], road.distance_km).await?;
            let detail = match road.distance_km {
                Some(km) => format!("to {}: {} km", name(&mut tx, by, &road.to).await?, km.normalize()),
                None => format!("to {}: by the shop", name(&mut tx, by, &road.to).await?),
            };
            tx.note(by, Noun::Outlet, from.as_str(), "road", &detail).await?;
        }
        tx.commit().await
    }
}

fn in_order([one, other]: [&OutletId; 2]) -> [&OutletId; 2] {
    if one < other { [one, other] } else { [other, one] }
}

async fn distance(tx: &mut Tx, by: &By, ends: [&OutletId; 2]) -> Result<Option<Decimal>, StoreError> {
    let [one, other] = in_order(ends);
    let sql = "SELECT one_id, other_id, distance_km FROM roads WHERE shop_id = $1 AND one_id = $2 AND other_id = $3";
    let row: Option<RoadRow> = sqlx::query_as(sql)
        .bind(&by.shop_id)
        .bind(one.as_str())
        .bind(other.as_str())
        .fetch_optional(&mut **tx)
        .await?;
    Ok(row.map(RoadRow::into_road).transpose()?.map(|road| road.distance_km))
}

/// Says how far it is between two yards, or that it is not known.
pub async fn set_road(
    tx: &mut Tx,
    by: &By,
    ends: [&OutletId; 2],
    km: Option<Decimal>,
) -> Result<(), StoreError> {
    let [one, other] = in_order(ends);
    let Some(km) = km else {
        let sql = "DELETE FROM roads WHERE shop_id = $1 AND one_id = $2 AND other_id = $3";
        let gone = sqlx::query(sql).bind(&by.shop_id).bind(one.as_str()).bind(other.as_str());
        gone.execute(&mut **tx).await?;
        return Ok(());
    };
    // The SELECT makes sure that both are yards, and this shop's own.
    let sql = "INSERT INTO roads (shop_id, one_id, other_id, distance_km, partner_id, at) \
               SELECT a.shop_id, a.id, b.id, $4, $5, $6 FROM outlets a JOIN outlets b ON b.shop_id = a.shop_id \
               WHERE a.shop_id = $1 AND a.id = $2 AND b.id = $3 AND a.kind = 'yard' AND b.kind = 'yard' \
               ON CONFLICT (one_id, other_id) DO UPDATE SET distance_km = excluded.distance_km, \
               partner_id = excluded.partner_id, at = excluded.at";
    let done = sqlx::query(sql)
        .bind(&by.shop_id)
        .bind(one.as_str())
        .bind(other.as_str())
        .bind(km.to_string())
        .bind(&by.partner_id)
        .bind(stamp(by.at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(StoreError::Missing) }
}

async fn name(tx: &mut Tx, by: &By, id: &OutletId) -> Result<String, StoreError> {
    let sql = "SELECT name FROM outlets WHERE shop_id = $1 AND id = $2";
    let name = sqlx::query_as(sql).bind(&by.shop_id).bind(id.as_str());
    let (name,): (String,) = name.fetch_one(&mut **tx).await?;
    Ok(name)
}
