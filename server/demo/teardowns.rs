//! Units on the bench, taken apart as a partner would.

use jiff::{SignedDuration, Timestamp};
use serde::Deserialize;
use trade::ids::{KindId, PartId};
use trade::teardown::{Entry, EntryKind, depth};

use super::scenario::{Moment, Typed};
use super::{DemoError, Loader};
use crate::catalogue::GRADES;
use crate::catalogue::kinds::{CatalogueKind, kind as kind_of};
use crate::shelf::{Shelf, ShelfGrade};
use crate::store::quotes::quotes_in_force;
use crate::store::teardowns::{
    Expectation, FromTeardown, NewEntry, NewEntryKind, NewTeardown, Outcome, add_entry, begin_teardown,
    finish_teardown, weigh_part_in,
};
use crate::store::weighings::{NewWeighing, WeighingKind};
use crate::store::{By, new_id};

const FILE: &str = "teardowns.toml";

#[derive(Deserialize)]
pub struct TeardownsFile {
    pub teardown: Vec<TeardownEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TeardownEntry {
    kind: KindId,
    /// Where it came from, in the shop's words.
    from: String,
    begun: Moment,
    whole: Typed,
    /// What the timer showed in the end.
    minutes: i64,
    parts: Vec<PartEntry>,
    waste: Option<Typed>,
    finished: bool,
}

/// A part that was weighed in on the lot in the container with this label.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PartEntry {
    part: String,
    lot: String,
    typed: Typed,
    #[serde(default)]
    pieces: u32,
}

impl Loader<'_> {
    pub(super) async fn teardowns(&mut self) -> Result<(), DemoError> {
        for entry in &self.scenario.teardowns {
            self.teardown(entry).await?;
        }
        Ok(())
    }

    async fn teardown(&mut self, entry: &TeardownEntry) -> Result<(), DemoError> {
        let no_kind = || DemoError::of(FILE, format!("{} is no kind", entry.kind));
        let kind = kind_of(&entry.kind).ok_or_else(no_kind)?;
        let begun = self.by(&entry.begun)?;
        let expected = self.expected(kind, entry.begun.ago).await?;
        let id = new_id();
        let teardown = NewTeardown {
            id: &id,
            kind: &kind.id,
            kind_name: &kind.name,
            expected: &expected,
            source: &entry.from,
        };
        begin_teardown(&mut self.tx, &begun, &teardown).await?;
        let after = |minutes: i64| begun.at + SignedDuration::from_mins(minutes);
        self.log(&begun, &id, NewEntryKind::Whole(entry.whole.mass()), &entry.whole.typed, after(0)).await?;
        self.log(&begun, &id, NewEntryKind::Start, "", after(1)).await?;
        let mut log =
            vec![(logged(EntryKind::Whole { mass: entry.whole.mass() }, &entry.whole.typed, after(0)), None)];
        log.push((logged(EntryKind::Start, "", after(1)), None));
        for (nth, off) in entry.parts.iter().enumerate() {
            let minutes = 2 + entry.minutes * i64::try_from(nth).unwrap_or(0) / 8;
            let by = By { at: after(minutes), ..begun.clone() };
            let lot = self.lots.get_mut(&off.lot);
            let lot = lot.ok_or_else(|| DemoError::of(FILE, format!("{} is no lot", off.lot)))?;
            let (net, part) = (off.typed.mass().as_kept(), PartId::new(&off.part));
            let weighing = NewWeighing {
                id: new_id().into(),
                net,
                gross: net,
                pieces: off.pieces.into(),
                typed: &off.typed.typed,
                ..NewWeighing::transfer(lot.id.as_str(), WeighingKind::WeighIn)
            };
            weigh_part_in(&mut self.tx, &by, &weighing, FromTeardown { teardown_id: &id, part: &part })
                .await?;
            lot.net += net;
            lot.pieces += off.pieces;
            let kind = EntryKind::Part { part, mass: net, pieces: off.pieces };
            log.push((logged(kind, &off.typed.typed, by.at), Some(lot.grade.clone())));
        }
        let by = By { at: after(entry.minutes + 1), ..begun.clone() };
        self.log(&by, &id, NewEntryKind::Stop, "", by.at).await?;
        log.push((logged(EntryKind::Stop, "", by.at), None));
        if let Some(waste) = &entry.waste {
            self.log(&by, &id, NewEntryKind::Waste(waste.mass()), &waste.typed, by.at).await?;
            log.push((logged(EntryKind::Waste { mass: waste.mass() }, &waste.typed, by.at), None));
        }
        if entry.finished {
            let outcome = Outcome::of(&expected, &log, by.at, &expected.nets);
            // The first version, one for the cautions that were seen, and one for each of these.
            let version = i64::try_from(log.len()).unwrap_or_default() + 2;
            finish_teardown(&mut self.tx, &by, &id, version, &outcome).await?;
        }
        Ok(())
    }

    async fn log(
        &mut self,
        by: &By,
        teardown: &str,
        kind: NewEntryKind,
        typed: &str,
        at: Timestamp,
    ) -> Result<(), DemoError> {
        let entry = NewEntry { id: &new_id(), teardown_id: teardown, kind, typed, at };
        Ok(add_entry(&mut self.tx, by, &entry).await?)
    }

    /// What a bag of each grade of its own brought on that day, and what the kind was worth by that.
    async fn expected(&mut self, kind: &CatalogueKind, ago: i16) -> Result<Expectation, DemoError> {
        let day = self.day(ago);
        let mut in_force = quotes_in_force(&mut *self.tx, &self.shop_id, day, None).await?;
        let priced = |outlet: &crate::store::outlets::Outlet| {
            let sheet = in_force.remove(&outlet.id)?;
            Some(outlet.priced(&self.services, sheet.quotes, Some(sheet.valid_from)))
        };
        let outlets = self.outlets.values().filter_map(priced).collect();
        let grades = GRADES.iter().map(|grade| {
            let density = grade.details.bulk_density;
            (grade.slug.clone(), ShelfGrade { name: grade.details.name.clone(), density })
        });
        let shelf = Shelf {
            lots: Vec::new(),
            grades: grades.collect(),
            outlets,
            facts: self.facts_of(day),
            choices: Default::default(),
            fill: Default::default(),
            roads: Default::default(),
        };
        let rate = self.scenario.shop.costs.labour_per_hour;
        let nets = shelf.nets_of_bags().nets();
        let found = depth(&kind.tree, &nets, rate);
        Ok(Expectation::of(&kind.tree, &nets, &found, rate))
    }
}

fn logged(kind: EntryKind, typed: &str, at: Timestamp) -> Entry {
    Entry { at, typed: typed.to_string(), kind }
}
