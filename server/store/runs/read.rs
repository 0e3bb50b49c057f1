//! Reading runs.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;

use super::{Run, RunHead, RunLot, RunState, RunStop, Trip};
use crate::store::{RowError, Store, StoreError};

#[derive(FromRow)]
struct RunRow {
    id: String,
    day: String,
    note: String,
    expected_trip: String,
    made_by: String,
    made_at: String,
    left_at: Option<String>,
    odometer_out: Option<String>,
    back_at: Option<String>,
    odometer_back: Option<String>,
    distance_km: Option<String>,
    minutes: Option<i64>,
    trip_cost: Option<String>,
    cancelled_at: Option<String>,
    version: i64,
}

fn moment(column: &'static str, text: &str) -> Result<Timestamp, RowError> {
    RowError::read("runs", column, text, |at| at.parse().ok())
}

fn optional(column: &'static str, text: Option<&str>) -> Result<Option<Decimal>, RowError> {
    text.map(|text| RowError::decimal("runs", column, text)).transpose()
}

impl TryFrom<RunRow> for RunHead {
    type Error = RowError;

    fn try_from(row: RunRow) -> Result<RunHead, RowError> {
        let state = match (&row.cancelled_at, &row.back_at, &row.left_at) {
            (Some(at), ..) => RunState::Cancelled { at: moment("cancelled_at", at)? },
            (None, Some(at), _) => RunState::Back {
                at: moment("back_at", at)?,
                trip: Trip {
                    distance_km: optional("distance_km", row.distance_km.as_deref())?,
                    minutes: row.minutes.unwrap_or_default(),
                    cost: optional("trip_cost", row.trip_cost.as_deref())?.unwrap_or_default(),
                },
            },
            (None, None, Some(at)) => RunState::Out { at: moment("left_at", at)? },
            (None, None, None) => RunState::Planned,
        };
        Ok(RunHead {
            day: RowError::read("runs", "day", &row.day, |day| day.parse().ok())?,
            expected_trip: RowError::decimal("runs", "expected_trip", &row.expected_trip)?,
            made_at: moment("made_at", &row.made_at)?,
            odometer_out: optional("odometer_out", row.odometer_out.as_deref())?,
            odometer_back: optional("odometer_back", row.odometer_back.as_deref())?,
            expected: Decimal::ZERO,
            yards: Vec::new(),
            id: row.id,
            note: row.note,
            made_by: row.made_by,
            state,
            version: row.version,
        })
    }
}

macro_rules! select_runs {
    ($condition:literal) => {
        concat!(
            "SELECT r.id, r.day, r.note, r.expected_trip, p.name AS made_by, r.made_at, r.left_at, r.odometer_out, ",
            "r.back_at, r.odometer_back, r.distance_km, r.minutes, r.trip_cost, r.cancelled_at, r.version ",
            "FROM runs r JOIN partners p ON p.id = r.made_by ",
            $condition
        )
    };
}

#[derive(FromRow)]
struct StopRow {
    id: String,
    outlet_id: String,
    outlet_name: String,
    place: String,
    promise: String,
    expected_net: String,
    ended_at: Option<String>,
}

#[derive(FromRow)]
struct LotRow {
    stop_id: String,
    lot_id: String,
    container_label: String,
    grade_id: String,
    grade_name: String,
    net_ug: i64,
    pieces: i64,
    released_at: Option<String>,
}

impl Store {
    /// All runs, newest first.
    pub async fn runs(&self, shop_id: &str) -> Result<Vec<RunHead>, StoreError> {
        let sql = select_runs!("WHERE r.shop_id = $1 ORDER BY r.made_at DESC, r.id DESC");
        let rows: Vec<RunRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let sql = "SELECT s.run_id, o.name, s.expected_net FROM run_stops s JOIN outlets o ON o.id = s.outlet_id \
                   WHERE s.shop_id = $1 ORDER BY s.run_id, s.position";
        let stops: Vec<(String, String, String)> =
            sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        let mut by_run: BTreeMap<String, (Vec<String>, Decimal)> = BTreeMap::new();
        for (run_id, yard, expected_net) in stops {
            let (yards, expected) = by_run.entry(run_id).or_default();
            yards.push(yard);
            *expected += RowError::decimal("run_stops", "expected_net", &expected_net)?;
        }
        let head = |row: RunRow| {
            let mut head = RunHead::try_from(row)?;
            (head.yards, head.expected) = by_run.remove(&head.id).unwrap_or_default();
            Ok(head)
        };
        rows.into_iter().map(head).collect()
    }

    /// One run with its stops in the order they are driven to, and the lots of each.
    pub async fn run(&self, shop_id: &str, id: &str) -> Result<Run, StoreError> {
        let sql = select_runs!("WHERE r.shop_id = $1 AND r.id = $2");
        let row: RunRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        let mut head = RunHead::try_from(row)?;
        let sql = "SELECT s.id, s.outlet_id, o.name AS outlet_name, o.place, s.promise, s.expected_net, s.ended_at \
                   FROM run_stops s JOIN outlets o ON o.id = s.outlet_id \
                   WHERE s.shop_id = $1 AND s.run_id = $2 ORDER BY s.position";
        let stops: Vec<StopRow> =
            sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?;
        let mut lots = self.run_lots(shop_id, id).await?;
        let stop = |row: StopRow| {
            Ok(RunStop {
                promise: RowError::read("run_stops", "promise", &row.promise, |json| {
                    serde_json::from_str(json).ok()
                })?,
                expected_net: RowError::decimal("run_stops", "expected_net", &row.expected_net)?,
                ended_at: row.ended_at.as_deref().map(|at| moment("ended_at", at)).transpose()?,
                lots: lots.remove(&row.id).unwrap_or_default(),
                id: row.id,
                outlet_id: OutletId::new(row.outlet_id),
                outlet_name: row.outlet_name,
                place: row.place,
            })
        };
        let stops: Vec<RunStop> = stops.into_iter().map(stop).collect::<Result<_, StoreError>>()?;
        head.yards = stops.iter().map(|stop| stop.outlet_name.clone()).collect();
        head.expected = stops.iter().map(|stop| stop.expected_net).sum();
        Ok(Run { head, stops })
    }

    /// The run that a stop is of.
    pub async fn run_of_stop(&self, shop_id: &str, stop_id: &str) -> Result<String, StoreError> {
        let sql = "SELECT run_id FROM run_stops WHERE shop_id = $1 AND id = $2";
        let (id,): (String,) =
            sqlx::query_as(sql).bind(shop_id).bind(stop_id).fetch_one(self.readers()).await?;
        Ok(id)
    }

    async fn run_lots(&self, shop_id: &str, id: &str) -> Result<BTreeMap<String, Vec<RunLot>>, StoreError> {
        let sql = "SELECT x.stop_id, x.lot_id, c.label AS container_label, l.grade_id, g.name AS grade_name, \
                   x.net_ug, x.pieces, x.released_at \
                   FROM run_lots x JOIN lots l ON l.id = x.lot_id JOIN containers c ON c.id = l.container_id \
                   JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
                   WHERE l.shop_id = $1 AND x.run_id = $2 ORDER BY g.position, c.label";
        let rows: Vec<LotRow> = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?;
        let mut lots: BTreeMap<String, Vec<RunLot>> = BTreeMap::new();
        for row in rows {
            let pieces =
                RowError::read("run_lots", "pieces", &row.pieces.to_string(), |pieces| pieces.parse().ok())?;
            lots.entry(row.stop_id).or_default().push(RunLot {
                lot_id: LotId::new(row.lot_id),
                container_label: row.container_label,
                grade_id: GradeId::new(row.grade_id),
                grade_name: row.grade_name,
                net: Mass::from_micrograms(row.net_ug),
                pieces,
                is_back: row.released_at.is_some(),
            });
        }
        Ok(lots)
    }
}
