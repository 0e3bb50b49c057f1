//! The log of a teardown: entries in the order of their time, and what they come to.
//!
//! Entries are only added, each once, from whichever phone and whenever its network was back; so what a teardown stands at
//! is worked out from all of them.

use std::collections::{BTreeMap, BTreeSet};

use jiff::{SignedDuration, Timestamp};
use rust_decimal::{Decimal, dec};

use super::Tree;
use crate::ids::PartId;
use crate::mass::{Mass, MassUnit};

/// Half of what a scale can show is what a reading may be off by; two scales that agree may differ by both halves.
const HALF: Decimal = dec!(0.5);
/// Nobody is at the bench for longer without a break.
const LONGEST_SPELL: SignedDuration = SignedDuration::from_hours(4);

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EntryKind {
    /// The cautions were seen.
    Seen,
    /// The unit was weighed whole; the last one counts.
    Whole {
        mass: Mass,
    },
    Start,
    Stop,
    /// A part was weighed in on a lot, so many of it together.
    Part {
        part: PartId,
        mass: Mass,
        pieces: u32,
    },
    Waste {
        mass: Mass,
    },
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    pub at: Timestamp,
    /// The reading as it was typed.
    pub typed: String,
    pub kind: EntryKind,
}

/// Time at the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spell {
    pub from: Timestamp,
    pub to: Timestamp,
}

/// What the entries come to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Progress {
    pub is_seen: bool,
    pub whole: Option<Mass>,
    /// Each part that was weighed in: mass and pieces of all its weighings, and how many those were.
    pub parts: BTreeMap<PartId, Weighed>,
    pub waste: Mass,
    pub spells: Vec<Spell>,
    /// Since when the timer runs.
    pub running_since: Option<Timestamp>,
    /// What the readings may be off by, together.
    pub resolution: Mass,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Weighed {
    pub mass: Mass,
    pub pieces: u32,
    pub times: u32,
}

/// Whether what came off makes up the whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Balance {
    /// The unit was not weighed whole.
    Unknown,
    /// Within what the scale can show.
    Even,
    /// So much of the whole was not weighed in.
    Unaccounted(Mass),
    /// The parts weigh so much more than the whole, which cannot be.
    Heavier(Mass),
}

impl Progress {
    /// Works out what the entries come to; those that were taken back are not among them.
    pub fn of(entries: &[Entry]) -> Progress {
        let mut in_order: Vec<&Entry> = entries.iter().collect();
        in_order.sort_by_key(|entry| entry.at);
        let mut progress = Progress::default();
        let mut whole_resolution = Mass::ZERO;
        for entry in in_order {
            let off_by = last_place(&entry.typed).unwrap_or_default().times(HALF);
            match &entry.kind {
                EntryKind::Seen => progress.is_seen = true,
                EntryKind::Whole { mass } => {
                    progress.whole = Some(*mass);
                    whole_resolution = off_by;
                }
                EntryKind::Start => {
                    progress.running_since.get_or_insert(entry.at);
                }
                EntryKind::Stop => {
                    if let Some(from) = progress.running_since.take() {
                        progress.spells.push(Spell { from, to: entry.at });
                    }
                }
                EntryKind::Part { part, mass, pieces } => {
                    let weighed = progress.parts.entry(part.clone()).or_default();
                    weighed.mass += *mass;
                    weighed.pieces = weighed.pieces.saturating_add(*pieces);
                    weighed.times += 1;
                    progress.resolution += off_by;
                }
                EntryKind::Waste { mass } => {
                    progress.waste += *mass;
                    progress.resolution += off_by;
                }
            }
        }
        progress.resolution += whole_resolution;
        progress
    }

    /// All that came off.
    pub fn came_off(&self) -> Mass {
        self.parts.values().map(|weighed| weighed.mass).sum()
    }

    pub fn balance(&self) -> Balance {
        let Some(whole) = self.whole else { return Balance::Unknown };
        let left = whole - self.came_off() - self.waste;
        if left.abs() <= self.resolution {
            Balance::Even
        } else if left.is_negative() {
            Balance::Heavier(left.abs())
        } else {
            Balance::Unaccounted(left)
        }
    }

    /// Minutes at the bench, up to `now` where the timer runs.
    pub fn minutes(&self, now: Timestamp) -> Decimal {
        let running = self.running_since.map(|from| Spell { from, to: now });
        let seconds: i64 = self
            .spells
            .iter()
            .chain(&running)
            .map(|spell| spell.to.duration_since(spell.from).as_secs().max(0))
            .sum();
        Decimal::from(seconds) / dec!(60)
    }

    /// Since when the timer runs, where it was surely forgotten.
    pub fn forgotten(&self, now: Timestamp) -> Option<Timestamp> {
        self.running_since.filter(|from| now.duration_since(*from) > LONGEST_SPELL)
    }

    /// Pieces that are in `part` still: neither weighed in themselves nor in a part that was.
    pub fn still_in(&self, tree: &Tree, part: usize) -> Vec<usize> {
        let is_off = |at: usize| self.parts.contains_key(&tree.pieces()[at].id);
        let mut still = Vec::new();
        let mut around = vec![part];
        while let Some(at) = around.pop() {
            for inside in tree.parts_of(at).filter(|inside| !is_off(*inside)) {
                still.push(inside);
                around.push(inside);
            }
        }
        still.sort_unstable();
        still
    }

    /// Parts that were weighed in more than once.
    pub fn twice(&self) -> BTreeSet<&PartId> {
        self.parts.iter().filter(|(_, weighed)| weighed.times > 1).map(|(part, _)| part).collect()
    }
}

/// The mass of one in the last place of a reading as it was typed: of `2 lb 5 oz` an ounce, of `1.049 kg` a gram. `None`
/// where it names no unit.
pub fn last_place(typed: &str) -> Option<Mass> {
    let text = typed.trim();
    let start = text.rfind(|c: char| c.is_ascii_digit())?;
    let number: String = text[..=start]
        .chars()
        .rev()
        .take_while(|c| c.is_ascii_digit() || matches!(c, '.' | ','))
        .collect::<Vec<_>>()
        .into_iter()
        .rev()
        .collect();
    let word: String =
        text[start + 1..].trim().chars().take_while(|c| c.is_alphabetic() || *c == ' ').collect();
    let unit = MassUnit::from_word(word.trim()).or_else(|| {
        // `0.92 kg on Bench scale` names it first.
        MassUnit::from_word(word.split_whitespace().next().unwrap_or_default())
    })?;
    let decimals = number.find(['.', ',']).map_or(0, |point| number.len() - point - 1);
    let step = Decimal::new(1, u32::try_from(decimals.min(9)).ok()?);
    Some(Mass::of(step, unit))
}
