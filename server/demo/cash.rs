//! The cash book and the hours before the day of loading.

use jiff::civil::time;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::cash::Kind;
use trade::duration::minutes;
use trade::ids::GradeId;
use trade::money::{Currency, Money};

use super::scenario::Moment;
use super::{DemoError, Loader};
use crate::store::By;
use crate::store::cash::{NewEntry, enter};
use crate::store::hours::{NewHours, Work, add_hours};
use crate::store::new_id;

const FILE: &str = "cash.toml";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CashFile {
    pub entry: Vec<CashLine>,
    pub hours: Vec<HoursLine>,
}

/// An entry of the cash book, made in the evening of its day.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CashLine {
    ago: i16,
    by: String,
    kind: String,
    amount: Decimal,
    /// Left out where it is the home currency.
    currency: Option<Currency>,
    outlet: Option<String>,
    grade: Option<String>,
    partner: Option<String>,
    #[serde(default)]
    note: String,
}

/// Hours of a partner, written down in the evening of their day.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HoursLine {
    ago: i16,
    by: String,
    work: String,
    hours: String,
}

impl Loader<'_> {
    pub(super) async fn cash(&mut self) -> Result<(), DemoError> {
        for line in &self.scenario.cash {
            let (by, entry) = (self.in_the_evening(line.ago, &line.by)?, self.entry(line)?);
            enter(&mut self.tx, &by, &entry).await?;
        }
        for line in &self.scenario.hours {
            let (by, hours) = (self.in_the_evening(line.ago, &line.by)?, self.hours(line)?);
            add_hours(&mut self.tx, &by, &hours).await?;
        }
        Ok(())
    }

    fn in_the_evening(&self, ago: i16, by: &str) -> Result<By, DemoError> {
        self.by(&Moment { ago, at: time(19, 30, 0, 0), by: by.to_string() })
    }

    fn entry(&self, line: &CashLine) -> Result<NewEntry, DemoError> {
        let home = self.scenario.shop.costs.home;
        let kind = Kind::from_code(&line.kind)
            .ok_or_else(|| DemoError::of(FILE, format!("{} is no kind of entry", line.kind)))?;
        let outlet = line.outlet.as_ref().map(|name| self.outlet(FILE, name)).transpose()?;
        let partner = line.partner.as_ref().map(|name| self.partner(name)).transpose()?;
        let amount = Money::new(line.amount, line.currency.unwrap_or(home));
        Ok(NewEntry {
            outlet_id: outlet.map(|outlet| outlet.id.clone()),
            grade_id: line.grade.clone().map(GradeId::new),
            partner_id: partner,
            note: line.note.clone(),
            ..NewEntry::new(new_id(), self.day(line.ago), kind, amount)
        })
    }

    fn hours(&self, line: &HoursLine) -> Result<NewHours, DemoError> {
        Ok(NewHours {
            id: new_id(),
            day: self.day(line.ago),
            partner_id: self.partner(&line.by)?,
            minutes: minutes(&line.hours).map_err(|problem| DemoError::of(FILE, problem))?,
            work: Work::from_code(&line.work)
                .ok_or_else(|| DemoError::of(FILE, format!("{} is no work", line.work)))?,
            document: None,
            note: String::new(),
        })
    }

    fn partner(&self, name: &str) -> Result<String, DemoError> {
        let known = self.partners.get(name).cloned();
        known.ok_or_else(|| DemoError::of(FILE, format!("{name} is no partner")))
    }
}
