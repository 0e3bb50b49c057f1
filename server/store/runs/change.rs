//! What is done to a run, each step all or nothing.

use rust_decimal::Decimal;
use trade::cash::{Kind, Way};
use trade::ids::LotId;
use trade::mass::Mass;

use super::{Homecoming, NewRun, NewStop, RunRefusal, TakenPart, Ticket};
use crate::store::activity::Noun;
use crate::store::cash::{Document, DocumentKind, NewEntry, enter};
use crate::store::hours::{NewHours, Work, add_hours};
use crate::store::lots::{close_lot, lot_for_change, move_mass, split_off_gone};
use crate::store::settlements::settle;
use crate::store::weighings::{NewWeighing, WeighingKind, add_weighing};
use crate::store::{By, Store, StoreError, Tx, changed_one, stamp};

impl Store {
    /// Makes a run and reserves its lots, all or nothing. The same id a second time changes nothing.
    pub async fn make_run(&self, by: &By, run: &NewRun<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        make_run(&mut tx, by, run).await?;
        tx.commit().await
    }

    /// The truck has left.
    pub async fn leave_run(
        &self,
        by: &By,
        id: &str,
        version: i64,
        odometer: Option<Decimal>,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        leave_run(&mut tx, by, id, version, odometer).await?;
        tx.commit().await
    }

    /// Takes a run apart before it has left; its lots are free again.
    pub async fn cancel_run(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let sql = "UPDATE runs SET cancelled_at = $4, cancelled_by = $5, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3 AND left_at IS NULL AND cancelled_at IS NULL";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(id)
            .bind(version)
            .bind(stamp(*at))
            .bind(partner_id)
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        let sql = "UPDATE run_lots SET released_at = $2 WHERE run_id = $1 AND released_at IS NULL";
        sqlx::query(sql).bind(id).bind(stamp(*at)).execute(&mut *tx).await?;
        tx.note(by, Noun::Run, id, "taken apart", "").await?;
        tx.commit().await
    }

    /// Takes a yard's ticket down: what it took is off the shelf and settled, what it refused is on the shelf again. The
    /// same a second time changes nothing.
    pub async fn take_ticket(&self, by: &By, ticket: &Ticket<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        take_ticket(&mut tx, by, ticket).await?;
        tx.commit().await
    }

    /// The truck is back: every stop has been told of.
    pub async fn end_run(
        &self,
        by: &By,
        id: &str,
        version: i64,
        home: &Homecoming,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        end_run(&mut tx, by, id, version, home).await?;
        tx.commit().await
    }
}

/// Makes a run and reserves its lots inside `tx`. The same id a second time changes nothing.
pub async fn make_run(tx: &mut Tx, by: &By, run: &NewRun<'_>) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "INSERT INTO runs (id, shop_id, day, note, expected_trip, made_by, made_at, version) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, 1) ON CONFLICT (id) DO NOTHING";
    let done = sqlx::query(sql)
        .bind(run.id)
        .bind(shop_id)
        .bind(run.day.to_string())
        .bind(run.note)
        .bind(run.expected_trip.to_string())
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 0 {
        let sql = "SELECT id FROM runs WHERE shop_id = $1 AND id = $2";
        let there: Option<(String,)> =
            sqlx::query_as(sql).bind(shop_id).bind(run.id).fetch_optional(&mut **tx).await?;
        return if there.is_some() { Ok(()) } else { Err(StoreError::Stale) };
    }
    let mut loads = Vec::new();
    for (position, stop) in (1_i64..).zip(run.stops) {
        add_stop(tx, by, run.id, position, stop).await?;
        loads.extend(stop.loads.iter().map(|load| (stop.id, load)));
    }
    // In the order of their ids, so that two that reserve at once cannot wait for each other.
    loads.sort_by_key(|(_, load)| &load.lot);
    for (stop_id, load) in loads {
        let lot = lot_for_change(tx, shop_id, load.lot.as_str()).await?;
        let is_as_priced = lot.grade_id == load.grade.as_str()
            && lot.net == load.mass
            && lot.pieces == i64::from(load.pieces);
        if !is_as_priced {
            return Err(StoreError::Stale);
        }
        let sql =
            "INSERT INTO run_lots (stop_id, lot_id, run_id, net_ug, pieces) VALUES ($1, $2, $3, $4, $5)";
        sqlx::query(sql)
            .bind(stop_id)
            .bind(&lot.id)
            .bind(run.id)
            .bind(lot.net.micrograms())
            .bind(lot.pieces)
            .execute(&mut **tx)
            .await?;
    }
    tx.note(by, Noun::Run, run.id, "planned", "").await
}

async fn add_stop(
    tx: &mut Tx,
    by: &By,
    run_id: &str,
    position: i64,
    stop: &NewStop<'_>,
) -> Result<(), StoreError> {
    let promise =
        serde_json::to_string(&stop.promise).map_err(|cause| StoreError::Encode(cause.to_string()))?;
    let sql = "INSERT INTO run_stops (id, shop_id, run_id, outlet_id, position, promise, expected_net) \
               SELECT $2, o.shop_id, $4, o.id, $5, $6, $7 FROM outlets o \
               WHERE o.shop_id = $1 AND o.id = $3 AND o.kind = 'yard' AND o.closed_at IS NULL";
    let done = sqlx::query(sql)
        .bind(&by.shop_id)
        .bind(stop.id)
        .bind(stop.outlet_id.as_str())
        .bind(run_id)
        .bind(position)
        .bind(promise)
        .bind(stop.expected_net.to_string())
        .execute(&mut **tx)
        .await?;
    changed_one(done.rows_affected())
}

/// Lets a run leave inside `tx`; [`StoreError::Stale`] if it has changed since `version`.
pub async fn leave_run(
    tx: &mut Tx,
    by: &By,
    id: &str,
    version: i64,
    odometer: Option<Decimal>,
) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "UPDATE runs SET left_at = $4, left_by = $5, odometer_out = $6, version = version + 1 \
               WHERE shop_id = $1 AND id = $2 AND version = $3 AND left_at IS NULL AND cancelled_at IS NULL";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(id)
        .bind(version)
        .bind(stamp(*at))
        .bind(partner_id)
        .bind(odometer.map(|km| km.normalize().to_string()))
        .execute(&mut **tx)
        .await?;
    changed_one(done.rows_affected())?;
    tx.note(by, Noun::Run, id, "left", "").await
}

/// Takes a ticket down inside `tx`.
pub async fn take_ticket(tx: &mut Tx, by: &By, ticket: &Ticket<'_>) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let Ticket { run_id, stop_id, .. } = *ticket;
    // Holds the run, so that it does not come home or fall apart meanwhile, and then the stop.
    let sql = "UPDATE runs SET version = version + 1 WHERE shop_id = $1 AND id = $2 RETURNING left_at";
    let (left_at,): (Option<String>,) =
        sqlx::query_as(sql).bind(shop_id).bind(run_id).fetch_one(&mut **tx).await?;
    if left_at.is_none() {
        return Err(RunRefusal::NotLeft.into());
    }
    let sql = "UPDATE run_stops SET ended_at = $4, ended_by = $5 \
               WHERE shop_id = $1 AND run_id = $2 AND id = $3 AND ended_at IS NULL";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(run_id)
        .bind(stop_id)
        .bind(stamp(*at))
        .bind(partner_id)
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 0 {
        return Err(StoreError::Stale);
    }
    let sql = "SELECT lot_id, net_ug, pieces FROM run_lots WHERE stop_id = $1 AND released_at IS NULL \
               ORDER BY lot_id";
    let lots: Vec<(String, i64, i64)> = sqlx::query_as(sql).bind(stop_id).fetch_all(&mut **tx).await?;
    let is_loaded = |lot: &LotId| lots.iter().any(|(id, ..)| id == lot.as_str());
    if !ticket.refused.iter().chain(ticket.parts.iter().map(|part| &part.lot)).all(is_loaded) {
        return Err(RunRefusal::OtherLot.into());
    }
    let mut refused = 0;
    for (lot_id, net_ug, pieces) in &lots {
        if let Some(part) = ticket.parts.iter().find(|part| part.lot.as_str() == lot_id) {
            if part.mass >= Mass::from_micrograms(*net_ug) || i64::from(part.pieces) > *pieces {
                return Err(RunRefusal::NoPart.into());
            }
            take_part(tx, by, ticket, part).await?;
            continue;
        }
        if ticket.refused.iter().any(|lot| lot.as_str() == lot_id) {
            let sql = "UPDATE run_lots SET released_at = $3 WHERE stop_id = $1 AND lot_id = $2";
            sqlx::query(sql).bind(stop_id).bind(lot_id).bind(stamp(*at)).execute(&mut **tx).await?;
            refused += 1;
            continue;
        }
        let gone = NewWeighing {
            net: -Mass::from_micrograms(*net_ug),
            pieces: -pieces,
            ..NewWeighing::transfer(lot_id, WeighingKind::Sent)
        };
        add_weighing(tx, by, &gone).await?;
        close_lot(tx, by, lot_id).await?;
    }
    match &ticket.settlement {
        Some(settlement) => settle(tx, by, settlement).await?,
        None if refused < lots.len() => return Err(RunRefusal::NoTicket.into()),
        None => {}
    }
    let deed = if ticket.settlement.is_some() { "ticket entered" } else { "nothing sold at a yard" };
    tx.note(by, Noun::Run, run_id, deed, "").await
}

/// What was taken of a lot becomes a lot that has gone; the lot itself is on the shelf again, with the rest.
async fn take_part(tx: &mut Tx, by: &By, ticket: &Ticket<'_>, part: &TakenPart) -> Result<(), StoreError> {
    let By { at, .. } = by;
    let (lot, taken) = (part.lot.as_str(), part.taken.as_str());
    split_off_gone(tx, by, lot, taken).await?;
    move_mass(tx, by, &part.as_part()).await?;
    let gone = NewWeighing {
        net: -part.mass,
        pieces: -i64::from(part.pieces),
        ..NewWeighing::transfer(taken, WeighingKind::Sent)
    };
    add_weighing(tx, by, &gone).await?;
    let sql = "UPDATE run_lots SET released_at = $3 WHERE stop_id = $1 AND lot_id = $2";
    sqlx::query(sql).bind(ticket.stop_id).bind(lot).bind(stamp(*at)).execute(&mut **tx).await?;
    let sql = "INSERT INTO run_lots (stop_id, lot_id, run_id, net_ug, pieces) VALUES ($1, $2, $3, $4, $5)";
    sqlx::query(sql)
        .bind(ticket.stop_id)
        .bind(taken)
        .bind(ticket.run_id)
        .bind(part.mass.micrograms())
        .bind(i64::from(part.pieces))
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Brings a run home inside `tx`; [`StoreError::Stale`] if it has changed since `version`.
pub async fn end_run(
    tx: &mut Tx,
    by: &By,
    id: &str,
    version: i64,
    home: &Homecoming,
) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "UPDATE runs SET back_at = $4, back_by = $5, odometer_back = $6, distance_km = $7, minutes = $8, \
               trip_cost = $9, version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3 \
               AND left_at IS NOT NULL AND back_at IS NULL";
    let exact = |number: Decimal| number.normalize().to_string();
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(id)
        .bind(version)
        .bind(stamp(*at))
        .bind(partner_id)
        .bind(home.odometer.map(exact))
        .bind(home.trip.distance_km.map(exact))
        .bind(home.trip.minutes)
        .bind(exact(home.trip.cost))
        .execute(&mut **tx)
        .await?;
    changed_one(done.rows_affected())?;
    let sql = "SELECT id FROM run_stops WHERE run_id = $1 AND ended_at IS NULL LIMIT 1";
    let open: Option<(String,)> = sqlx::query_as(sql).bind(id).fetch_optional(&mut **tx).await?;
    if open.is_some() {
        return Err(RunRefusal::OpenStops.into());
    }
    tx.note(by, Noun::Run, id, "came back", "").await?;
    let document = Document::new(DocumentKind::Run, id);
    let hours = NewHours {
        id: document.entry_id("hours"),
        day: home.day,
        partner_id: partner_id.clone(),
        minutes: u32::try_from(home.trip.minutes).unwrap_or_default(),
        work: Work::Driving,
        document: Some(document.clone()),
        note: String::new(),
    };
    add_hours(tx, by, &hours).await?;
    // What a kilometre is reckoned at is no cash; what was paid at the pump is.
    let fuel = NewEntry {
        document: Some(document.clone()),
        note: "fuel".to_string(),
        ..NewEntry::new(document.entry_id("fuel"), home.day, Kind::Trip, Way::Out.signed(home.fuel))
    };
    enter(tx, by, &fuel).await?;
    Ok(())
}
