//! Yard runs that were planned before the day of loading, priced as they stood then.

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::{GradeId, LotId, OutletId};
use trade::money::{Money, Price};
use trade::net::{Ladder, Load, StepKind, deliver};
use trade::settlement::{Paper, PaperLine, Payment, Promise};

use super::scenario::{Moment, Typed, Weight};
use super::{DemoError, Loader};
use crate::store::new_id;
use crate::store::quotes::quotes_in_force;
use crate::store::runs::{
    Homecoming, NewRun, NewStop, TakenPart, Ticket, Trip, end_run, leave_run, make_run, promise_of_taken,
    take_ticket,
};
use crate::store::settlements::{Delivery, NewSettlement};

const FILE: &str = "runs.toml";

#[derive(Deserialize)]
pub struct RunsFile {
    pub run: Vec<RunEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunEntry {
    pub made: Moment,
    /// The day it is planned for, counted back.
    pub day: i16,
    #[serde(default)]
    pub note: String,
    pub stop: Vec<RunStopEntry>,
    /// Left out while it is planned.
    pub driven: Option<DrivenEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunStopEntry {
    pub outlet: String,
    /// Labels of the containers.
    pub lots: Vec<String>,
    /// What its ticket said.
    pub ticket: Option<TicketEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketEntry {
    pub number: String,
    /// What the yard weighed and took each label's lot as, at what it pays for that.
    pub line: Vec<TicketLineEntry>,
    /// Of these lots it took no more than this, and the rest came home.
    #[serde(default)]
    pub part: Vec<PartTakenEntry>,
    #[serde(default)]
    pub note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartTakenEntry {
    /// The label of the container.
    pub lot: String,
    /// By the shop's scale.
    pub ours: Typed,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketLineEntry {
    pub lots: Vec<String>,
    pub grade: GradeId,
    pub weight: Weight,
    pub price: Decimal,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrivenEntry {
    pub left: Moment,
    pub back: Moment,
    /// By the odometer, in km.
    pub odometer: (Decimal, Decimal),
    pub minutes: i64,
    /// What was paid for it, in home currency.
    pub fuel: Decimal,
}

/// A yard of a run with what was promised there.
struct Priced {
    outlet_id: OutletId,
    loads: Vec<Load>,
    ladder: Ladder,
    promise: Promise,
}

impl Loader<'_> {
    pub(super) async fn runs(&mut self) -> Result<(), DemoError> {
        for entry in &self.scenario.runs {
            self.run(entry).await?;
        }
        Ok(())
    }

    async fn run(&mut self, entry: &RunEntry) -> Result<(), DemoError> {
        let day = self.day(entry.made.ago);
        let mut priced = Vec::new();
        for stop in &entry.stop {
            priced.push(self.priced_stop(stop, day).await?);
        }
        let drive = |ladder: &Ladder| ladder.step(StepKind::Trip).map_or(Decimal::ZERO, |step| step.home);
        let stop_ids: Vec<String> = priced.iter().map(|_| new_id()).collect();
        let stops: Vec<NewStop<'_>> = priced
            .iter()
            .zip(&stop_ids)
            .map(|(priced, id)| NewStop {
                id,
                outlet_id: &priced.outlet_id,
                loads: &priced.loads,
                promise: priced.promise.clone(),
                expected_net: priced.ladder.net - drive(&priced.ladder),
            })
            .collect();
        let id = new_id();
        let expected_trip = -priced.iter().map(|priced| drive(&priced.ladder)).sum::<Decimal>();
        let run =
            NewRun { id: &id, day: self.day(entry.day), note: &entry.note, expected_trip, stops: &stops };
        let made = self.by(&entry.made)?;
        make_run(&mut self.tx, &made, &run).await?;
        let Some(driven) = &entry.driven else { return Ok(()) };
        let (out, back) = driven.odometer;
        let left = self.by(&driven.left)?;
        leave_run(&mut self.tx, &left, &id, 1, Some(out)).await?;
        for ((priced, stop_id), stop) in priced.iter().zip(&stop_ids).zip(&entry.stop) {
            let ticket = stop.ticket.as_ref();
            let ticket =
                ticket.ok_or_else(|| DemoError::of(FILE, format!("{} gave no ticket", stop.outlet)))?;
            let parts = self.parts(ticket)?;
            let paper = self.paper(ticket, priced, &parts, self.day(driven.left.ago))?;
            let delivery = Delivery::RunStop(stop_id.clone());
            let promise = promise_of_taken(&priced.promise, &[], &parts);
            let settlement = NewSettlement {
                id: &new_id(),
                outlet_id: &priced.outlet_id,
                delivery: &delivery,
                replaces: None,
                promise: &promise,
                paper: &paper,
                number: &ticket.number,
                rate: None,
                sha256: None,
                note: &ticket.note,
            };
            let taken =
                Ticket { run_id: &id, stop_id, refused: &[], parts: &parts, settlement: Some(settlement) };
            let by = self.by(&driven.back)?;
            take_ticket(&mut self.tx, &by, &taken).await?;
            for part in &parts {
                if let Some(lot) = self.lots.values_mut().find(|lot| lot.id == part.lot) {
                    lot.net = lot.net - part.mass;
                }
            }
        }
        let costs = &self.scenario.shop.costs;
        let distance = back - out;
        let cost = distance * costs.truck_per_km + costs.labour(driven.minutes.into());
        let trip = Trip { distance_km: Some(distance), minutes: driven.minutes, cost };
        let by = self.by(&driven.back)?;
        let home = Homecoming {
            day: self.day(driven.back.ago),
            odometer: Some(back),
            trip,
            fuel: Money::new(driven.fuel, costs.home),
        };
        // It was left, and each ticket moved it on by one.
        let version = 2 + i64::try_from(stop_ids.len()).unwrap_or_default();
        end_run(&mut self.tx, &by, &id, version, &home).await?;
        Ok(())
    }

    async fn priced_stop(&mut self, stop: &RunStopEntry, day: Date) -> Result<Priced, DemoError> {
        let mut in_force = quotes_in_force(&mut *self.tx, &self.shop_id, day, None).await?;
        let outlet = self.outlet(FILE, &stop.outlet)?;
        let terms = outlet.details.terms;
        let sheet = in_force.remove(&outlet.id);
        let sheet = sheet.ok_or_else(|| DemoError::of(FILE, format!("{} had no sheet then", stop.outlet)))?;
        let outlet = outlet.priced(&self.services, sheet.quotes, Some(sheet.valid_from));
        let facts = self.facts_of(day);
        let mut loads = Vec::new();
        for label in &stop.lots {
            let lot = self.lots.get(label);
            let load = lot.and_then(super::LoadedLot::load);
            loads.push(
                load.ok_or_else(|| DemoError::of(FILE, format!("{label} is no lot of a known grade")))?,
            );
        }
        let ladder = deliver(&outlet, &loads, &facts)
            .map_err(|closed| DemoError::of(FILE, format!("not to {}: {closed}", stop.outlet)))?;
        let promise = Promise::of(&ladder, &loads, &terms, facts.costs.home);
        Ok(Priced { outlet_id: outlet.id.clone(), loads, ladder, promise })
    }

    /// What a yard took of the lots that it did not take all of.
    fn parts(&self, ticket: &TicketEntry) -> Result<Vec<TakenPart>, DemoError> {
        let part = |entry: &PartTakenEntry| {
            let lot = self.lots.get(&entry.lot);
            let lot = lot.ok_or_else(|| DemoError::of(FILE, format!("{} is no lot", entry.lot)))?;
            Ok(TakenPart {
                lot: lot.id.clone(),
                taken: LotId::new(new_id()),
                mass: entry.ours.mass().as_kept(),
                pieces: 0,
                typed: entry.ours.typed.clone(),
            })
        };
        ticket.part.iter().map(part).collect()
    }

    /// The ticket, paid on the day.
    fn paper(
        &self,
        ticket: &TicketEntry,
        priced: &Priced,
        parts: &[TakenPart],
        day: Date,
    ) -> Result<Paper, DemoError> {
        let currency = priced.promise.currency;
        let mut lines = Vec::new();
        for line in &ticket.line {
            let sent = priced.promise.sent.iter().find(|sent| sent.grade == line.grade);
            let sent = sent.ok_or_else(|| DemoError::of(FILE, format!("no {} was sent", line.grade)))?;
            let price = Price { amount: line.price, ..sent.price };
            let pays_for = line.lots.iter().map(|label| {
                let lot = self.lots.get(label).map(|lot| &lot.id);
                let lot = lot.ok_or_else(|| DemoError::of(FILE, format!("{label} is no lot")))?;
                let part = parts.iter().find(|part| part.lot == *lot);
                Ok(part.map_or(lot, |part| &part.taken).clone())
            });
            lines.push(PaperLine {
                wording: String::new(),
                grade: Some(line.grade.clone()),
                mass: Some(line.weight.0),
                pieces: None,
                price: Some(price),
                amount: Money::new(price.of(line.weight.0, 0).amount, currency).rounded().amount,
                pays_for: pays_for.collect::<Result<_, DemoError>>()?,
            });
        }
        let paid = lines.iter().map(|line| line.amount).sum();
        let payment = Payment { day: Some(day), arrived: Some(paid), bank_fee: Decimal::ZERO };
        Ok(Paper { currency, lines, charges: Vec::new(), paid, dated: Some(day), payment })
    }
}
