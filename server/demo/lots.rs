//! Lots with their dated weighings, put on the scale as a partner would.

use jiff::civil::Time;
use serde::Deserialize;
use trade::ids::{GradeId, LotId};
use trade::mass::Mass;
use trade::reading::{Reading, read};

use super::scenario::{Moment, Weight};
use super::{DemoError, LoadedLot, Loader};
use crate::store::containers::{ContainerDetails, ContainerKind};
use crate::store::lots::{NewLot, Target, open_lot};
use crate::store::new_id;
use crate::store::weighings::{NewWeighing, WeighingKind, undo_weighing, weigh_in};

#[derive(Deserialize)]
pub struct LotsFile {
    pub lot: Vec<LotEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotEntry {
    /// The label of its container.
    label: String,
    kind: String,
    tare: Weight,
    grade: GradeId,
    /// Where it came from, in the shop's words.
    from: String,
    weighed: Vec<WeighedEntry>,
}

impl LotEntry {
    fn kind(&self) -> Option<ContainerKind> {
        ContainerKind::from_code(&self.kind)
    }
}

/// One weigh-in.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WeighedEntry {
    ago: i16,
    at: Time,
    by: String,
    /// The reading as it was typed.
    typed: String,
    /// What the partner answered where the reading means more than one thing.
    meant: Option<String>,
    /// The tub that went on the scale with it.
    #[serde(default)]
    tare: Weight,
    /// The whole container was on the scale, with what was in it before.
    #[serde(default)]
    whole: bool,
    #[serde(default)]
    pieces: u32,
    /// When it was taken back.
    undone: Option<Time>,
}

impl Loader<'_> {
    pub(super) async fn lots(&mut self) -> Result<(), DemoError> {
        for (file, entry) in &self.scenario.lots {
            self.lot(file, entry).await?;
        }
        Ok(())
    }

    async fn lot(&mut self, file: &str, entry: &LotEntry) -> Result<(), DemoError> {
        let problem = |problem: String| DemoError::of(file, format!("{}: {problem}", entry.label));
        let kind = entry.kind().ok_or_else(|| problem("its kind is no container's".into()))?;
        let first = entry.weighed.first().ok_or_else(|| problem("nothing was weighed in".into()))?;
        let opened = first.moment();
        let (id, container_id, by) = (new_id(), new_id(), self.by(&opened)?);
        let details = ContainerDetails { label: entry.label.clone(), kind, tare: entry.tare.0 };
        let lot = NewLot {
            id: &id,
            container: Target::New { id: container_id.clone(), details },
            grade: entry.grade.clone(),
            source: &entry.from,
        };
        open_lot(&mut self.tx, &by, &lot).await?;

        let mut loaded = LoadedLot {
            id: LotId::new(&id),
            container_id,
            grade: entry.grade.clone(),
            net: Mass::ZERO,
            pieces: 0,
        };
        for weighed in &entry.weighed {
            let gross = weighed.gross().map_err(problem)?;
            let tare = if weighed.whole { entry.tare.0 } else { weighed.tare.0 };
            let before = if weighed.whole { loaded.net } else { Mass::ZERO };
            self.weigh(&mut loaded, weighed, gross, tare, before).await?;
        }
        if self.lots.insert(entry.label.clone(), loaded).is_some() {
            return Err(problem("the label is used twice".into()));
        }
        Ok(())
    }

    async fn weigh(
        &mut self,
        lot: &mut LoadedLot,
        entry: &WeighedEntry,
        gross: Mass,
        tare: Mass,
        before: Mass,
    ) -> Result<(), DemoError> {
        let (id, net) = (new_id(), gross - tare - before);
        let weighing = NewWeighing {
            id: id.as_str().into(),
            lot_id: lot.id.as_str(),
            kind: WeighingKind::WeighIn,
            net,
            gross,
            tare,
            pieces: entry.pieces.into(),
            typed: &entry.typed,
            expects: None,
            reverses_id: None,
            other_lot_id: None,
            scale_reading: None,
        };
        let by = self.by(&entry.moment())?;
        weigh_in(&mut self.tx, &by, &weighing).await?;
        match entry.undone {
            None => {
                lot.net += Mass::from_micrograms(net.micrograms());
                lot.pieces += entry.pieces;
            }
            Some(undone) => {
                let by = self.by(&Moment { at: undone, ..entry.moment() })?;
                undo_weighing(&mut self.tx, &by, &id).await?;
            }
        }
        Ok(())
    }
}

impl WeighedEntry {
    fn moment(&self) -> Moment {
        Moment { ago: self.ago, at: self.at, by: self.by.clone() }
    }

    /// What was on the scale: as typed, or as the partner answered when asked.
    fn gross(&self) -> Result<Mass, String> {
        match (read(&self.typed), &self.meant) {
            (Ok(Reading::Sure { meaning, .. }), None) => Ok(meaning.mass),
            (
                Ok(Reading::Sure { else_meant: others, .. } | Reading::Ask { meanings: others, .. }),
                Some(meant),
            ) => {
                let chosen = others.iter().find(|meaning| meaning.spelled == *meant);
                let offered = || others.iter().map(|m| m.spelled.clone()).collect::<Vec<_>>().join(", ");
                chosen
                    .map(|meaning| meaning.mass)
                    .ok_or_else(|| format!("{}: {meant} is none of {}", self.typed, offered()))
            }
            (Ok(Reading::Ask { why, .. }), None) => Err(format!("{}: {why}", self.typed)),
            (Err(problem), _) => Err(problem.to_string()),
        }
    }
}
