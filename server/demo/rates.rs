//! Exchange rates, as a partner typed them.

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::exchange::{Rate, RateBook};
use trade::money::Currency;

use super::scenario::Moment;
use super::{DemoError, Loader};
use crate::store::rates::save_rates;

#[derive(Deserialize)]
pub struct RatesFile {
    pub rate: Vec<RateEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RateEntry {
    base: Currency,
    quote: Currency,
    rate: Decimal,
    pub entered: Moment,
}

impl RateEntry {
    fn rate(&self, date: Date) -> Rate {
        Rate { date, base: self.base, quote: self.quote, rate: self.rate }
    }
}

impl Loader<'_> {
    pub(super) async fn exchange_rates(&mut self) -> Result<(), DemoError> {
        for entry in &self.scenario.rates {
            let (rate, by) = (entry.rate(self.day(entry.entered.ago)), self.by(&entry.entered)?);
            save_rates(&mut self.tx, &by, &[rate], "typed").await?;
        }
        Ok(())
    }

    pub(super) fn rates(&self) -> RateBook {
        RateBook::new(self.scenario.rates.iter().map(|entry| entry.rate(self.day(entry.entered.ago))))
    }
}
