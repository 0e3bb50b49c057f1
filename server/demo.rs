//! The demo scenario: an invented shop in an invented lake town, loaded by the same code that serves a real one.
//!
//! It is written down in `seed/demo`, in files that a person can edit. Days in them count back from the day of loading.

mod boxes;
mod cash;
mod files;
mod lots;
mod outlets;
mod pickups;
mod rates;
mod runs;
mod scenario;
mod services;
mod sheets;
mod shipments;
mod teardowns;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use trade::ids::{GradeId, LotId};
use trade::mass::Mass;

use crate::catalogue;
use crate::passphrase::Passphrase;
use crate::store::outlets::Outlet;
use crate::store::partners::{Partner, Role, add_partner, set_passphrase};
use crate::store::services::ServiceRecord;
use crate::store::shops::add_shop;
use crate::store::{By, Store, StoreError, Tx, new_id};

use self::scenario::{Moment, Scenario};

/// Why the demo cannot be loaded: something in its files, or the store.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    #[error("seed/demo/{file}: {problem}")]
    File { file: String, problem: String },
    #[error("a day so far back cannot be told: {0}")]
    Moment(#[from] jiff::Error),
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl DemoError {
    fn of(file: &str, problem: impl ToString) -> DemoError {
        DemoError::File { file: file.to_string(), problem: problem.to_string() }
    }
}

/// Loads the demo into an empty store as if it were `now`, all of it or nothing; a store that has a shop is left as it
/// is.
pub async fn load(store: &Store, now: Timestamp) -> Result<(), DemoError> {
    if !store.shops().await?.is_empty() {
        return Ok(());
    }
    load_into(store, now).await
}

/// Loads the demo as one more shop of a store.
pub async fn load_into(store: &Store, now: Timestamp) -> Result<(), DemoError> {
    load_scenario(store, &Scenario::read()?, now).await
}

/// Who can sign in to the demo: the partners' names, and the passphrase of them all.
pub fn accounts() -> Result<(Vec<String>, String), DemoError> {
    let scenario = Scenario::read()?;
    Ok((scenario.partners, scenario.passphrase))
}

async fn load_scenario(store: &Store, scenario: &Scenario, now: Timestamp) -> Result<(), DemoError> {
    let mut loader = Loader::start(store, scenario, now).await?;
    loader.boxes().await?;
    loader.exchange_rates().await?;
    loader.services().await?;
    loader.outlets().await?;
    loader.sheets().await?;
    loader.lots().await?;
    loader.pickups().await?;
    loader.runs().await?;
    loader.teardowns().await?;
    loader.shipments().await?;
    loader.cash().await?;
    loader.tx.commit().await?;
    Ok(())
}

/// The load under way: one transaction, and what later parts need of earlier ones.
struct Loader<'s> {
    tx: Tx,
    scenario: &'s Scenario,
    shop_id: String,
    zone: TimeZone,
    today: Date,
    partners: BTreeMap<String, String>,
    services: Vec<ServiceRecord>,
    outlets: BTreeMap<String, Outlet>,
    /// By the label of its container.
    lots: BTreeMap<String, LoadedLot>,
}

struct LoadedLot {
    id: LotId,
    container_id: String,
    grade: GradeId,
    net: Mass,
    pieces: u32,
}

impl<'s> Loader<'s> {
    /// The shop, its partners and the grades.
    async fn start(store: &Store, scenario: &'s Scenario, now: Timestamp) -> Result<Loader<'s>, DemoError> {
        let settings = &scenario.shop;
        let zone = TimeZone::get(&settings.zone).map_err(|problem| DemoError::of("shop.toml", problem))?;
        let mut loader = Loader {
            tx: store.begin().await?,
            scenario,
            shop_id: new_id(),
            today: now.to_zoned_datetime(zone.clone()).date(),
            zone,
            partners: BTreeMap::new(),
            services: Vec::new(),
            outlets: BTreeMap::new(),
            lots: BTreeMap::new(),
        };
        loader.partners = scenario.partners.iter().map(|name| (name.clone(), new_id())).collect();
        let by = loader.by(&scenario.opened)?;
        let passphrase = Passphrase::typed(&scenario.passphrase).hash().await;
        let person = |name: &str, id: &str| Partner { id: id.into(), name: name.into(), role: Role::Partner };
        add_shop(&mut loader.tx, &by, settings, &person(&scenario.opened.by, &by.partner_id)).await?;
        for (name, id) in loader.partners.clone() {
            add_partner(&mut loader.tx, &by, &person(&name, &id)).await?;
            let by = By { partner_id: id.clone(), ..by.clone() };
            set_passphrase(&mut loader.tx, &by, &id, &passphrase).await?;
        }
        catalogue::fill(&mut loader.tx, &loader.shop_id).await?;
        Ok(loader)
    }

    /// The day that lies so many days back.
    fn day(&self, ago: i16) -> Date {
        self.today.saturating_sub(ago.days())
    }

    fn moment(&self, moment: &Moment) -> Result<Timestamp, DemoError> {
        let local = self.day(moment.ago).to_datetime(moment.at);
        Ok(self.zone.to_timestamp(local)?)
    }

    /// Who did something, and when.
    fn by(&self, moment: &Moment) -> Result<By, DemoError> {
        let known = self.partners.get(&moment.by).cloned();
        let partner_id =
            known.ok_or_else(|| DemoError::of("shop.toml", format!("{} is no partner", moment.by)))?;
        Ok(By { shop_id: self.shop_id.clone(), partner_id, at: self.moment(moment)? })
    }
}
