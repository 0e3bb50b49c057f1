//! A carrier's table, surcharges and flat-rate boxes as they are typed or pasted: an entry a line.
//!
//! All lines are read before anything is said, and each problem names its line. What is written back into a form reads
//! as the same table again.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use trade::freight::{FlatBox, MOST_BREAKS, Surcharge, SurchargeWhen, WeightBreak};
use trade::mass::MassUnit;
use trade::money::LARGEST_AMOUNT;

use super::form::decimal;
use super::measure::{length, mass, short, size, spell_length, spell_mass, spell_size};
use crate::store::services::ZoneTable;

/// The zone of a table that names none.
pub const ONLY_ZONE: &str = "Everywhere";

const LONGEST_NAME: usize = 60;
const MOST_ZONES: usize = 60;
const MOST_BOXES: usize = 200;
const MOST_SURCHARGES: usize = 40;

/// In bytes; with every zone and every weight, the tables of the large carriers stay below it.
const LONGEST_TEXT: usize = 200_000;

/// How many problems are said at once; fixing the first often fixes the rest.
const MOST_PROBLEMS: usize = 8;

/// What is wrong, by line.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Problems(Vec<(usize, String)>);

impl Problems {
    fn add(&mut self, line: usize, problem: impl Into<String>) {
        self.0.push((line, problem.into()));
    }

    /// What `read` makes of something on `line`, or its problem put on the list.
    fn or_add<T>(&mut self, line: usize, read: Result<T, String>) -> Option<T> {
        read.map_err(|problem| self.add(line, problem)).ok()
    }

    fn or_else<T>(self, value: T) -> Result<T, String> {
        if self.0.is_empty() { Ok(value) } else { Err(self.to_string()) }
    }
}

impl std::fmt::Display for Problems {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (i, (line, problem)) in self.0.iter().take(MOST_PROBLEMS).enumerate() {
            write!(f, "{}Line {line}: {problem}", if i > 0 { "\n" } else { "" })?;
        }
        match self.0.len().saturating_sub(MOST_PROBLEMS) {
            0 => Ok(()),
            more => write!(f, "\nAnd {more} more."),
        }
    }
}

/// The lines that say something, with their numbers from 1.
fn lines(text: &str) -> Result<impl Iterator<Item = (usize, &str)>, String> {
    if text.len() > LONGEST_TEXT {
        return Err(
            "That is longer than any carrier's table. Paste only the lines that the shop ships by.".into()
        );
    }
    Ok((1..).zip(text.lines().map(str::trim)).filter(|(_, line)| !line.is_empty()))
}

/// The zone that a line like `zone: Lakes` starts.
fn zone_line(line: &str) -> Option<&str> {
    let (word, zone) = line.split_once(':')?;
    word.trim().eq_ignore_ascii_case("zone").then_some(zone.trim())
}

fn name(typed: &str, what: &str) -> Result<String, String> {
    let name: String = typed.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    match name.chars().count() {
        0 => Err(format!("The {what} has no name.")),
        length if length > LONGEST_NAME => {
            Err(format!("The name is {length} characters long; {LONGEST_NAME} is the most."))
        }
        _ => Ok(name),
    }
}

fn charge(typed: &str) -> Result<Decimal, String> {
    let plain = typed.trim().trim_start_matches(['$', '€', '£']).trim();
    let Some(amount) = decimal(plain) else {
        return Err(match plain {
            "" => "There is no charge after the weight.".into(),
            _ => format!("“{}” is not an amount of money.", short(plain)),
        });
    };
    if amount < Decimal::ZERO {
        return Err(format!("A charge cannot be below zero: {amount}."));
    }
    if amount > LARGEST_AMOUNT {
        return Err("That charge is too large. Check the decimal point.".into());
    }
    Ok(amount)
}

/// Reads weight breaks, a line each, with `zone: NAME` before the lines of a zone.
///
/// Weight and charge stand apart by a semicolon, a tab, a bar, two spaces, or a comma behind the unit: `1 lb  9.85`,
/// `1 lb, 9.85`, `2,5 kg; 14,20`. Lines before any zone are for [`ONLY_ZONE`].
pub fn read_breaks(text: &str) -> Result<Vec<(String, Vec<WeightBreak>)>, String> {
    let mut problems = Problems::default();
    let mut zones: Vec<(String, Vec<WeightBreak>)> = Vec::new();
    // Line numbers, for what is said about a line that an earlier one is at odds with.
    let mut started: BTreeMap<String, usize> = BTreeMap::new();
    let mut above = 0;
    for (number, line) in lines(text)? {
        if let Some(zone) = zone_line(line) {
            let Some(zone) = problems.or_add(number, name(zone, "zone")) else { continue };
            if let Some(first) = started.insert(zone.clone(), number) {
                problems.add(
                    number,
                    format!("The zone {zone} has begun on line {first} already. Put its lines together."),
                );
            }
            if zones.len() == MOST_ZONES {
                problems.add(number, format!("A service takes at most {MOST_ZONES} zones."));
                break;
            }
            zones.push((zone, Vec::new()));
            continue;
        }
        if zones.is_empty() {
            started.insert(ONLY_ZONE.into(), number);
            zones.push((ONLY_ZONE.into(), Vec::new()));
        }
        let read = weight_break(line);
        let (Some(next), Some((_, breaks))) = (problems.or_add(number, read), zones.last_mut()) else {
            continue;
        };
        if let Some(last) = breaks.last().filter(|last| last.up_to >= next.up_to) {
            let problem = if last.up_to == next.up_to {
                format!("{} has a charge on line {above} already.", spell_mass(next.up_to))
            } else {
                format!(
                    "{} is not heavier than {} on line {above}. Put the weights in order, the lightest first.",
                    spell_mass(next.up_to),
                    spell_mass(last.up_to)
                )
            };
            problems.add(number, problem);
        }
        if breaks.len() == MOST_BREAKS {
            problems.add(
                number,
                format!("A zone takes at most {MOST_BREAKS} lines. Leave out weights that are never sent."),
            );
            break;
        }
        breaks.push(next);
        above = number;
    }
    let empty = zones.iter().find(|(_, breaks)| breaks.is_empty());
    // A zone whose lines were all refused has been complained about already.
    if let Some((zone, _)) = empty.filter(|_| problems.0.is_empty()) {
        let line = started.get(zone).copied().unwrap_or(1);
        problems.add(line, format!("The zone {zone} has no lines under it."));
    }
    problems.or_else(zones)
}

fn weight_break(line: &str) -> Result<WeightBreak, String> {
    let (weight, amount) = weight_and_charge(line)?;
    let weight = weight.trim();
    let weight = weight.strip_prefix("up to ").unwrap_or(weight);
    Ok(WeightBreak { up_to: mass(weight)?, charge: charge(amount)? })
}

fn weight_and_charge(line: &str) -> Result<(&str, &str), String> {
    if let Some(parts) = line.split_once(['\t', ';', '|']) {
        return Ok(parts);
    }
    // A comma behind a unit word stands between weight and charge; one behind a digit is a decimal comma.
    let comma = line.char_indices().rfind(|(at, c)| {
        *c == ',' && line[..*at].trim_end().ends_with(|c: char| c.is_alphabetic() || c == '#' || c == '.')
    });
    if let Some((at, _)) = comma {
        return Ok((&line[..at], &line[at + 1..]));
    }
    if let Some(at) = line.rfind("  ") {
        return Ok((&line[..at], &line[at..]));
    }
    let (weight, amount) = line.rsplit_once(' ').ok_or_else(no_charge)?;
    // `1 lb 9.85` is also one pound and 9.85 ounces.
    let word = weight.trim_end_matches('.').rsplit(|c: char| c.is_ascii_digit() || c == ' ').next();
    if word.and_then(MassUnit::from_word) == Some(MassUnit::Pound) {
        return Err(format!(
            "Is the {amount} ounces or the charge? Put a comma or two spaces before the charge: {weight}, {amount}."
        ));
    }
    Ok((weight, amount))
}

fn no_charge() -> String {
    "Type the weight with its unit and then the charge, like 1 lb, 9.85.".into()
}

/// The breaks as [`read_breaks`] reads them.
pub fn write_breaks(zones: &[ZoneTable]) -> String {
    let mut text = String::new();
    for table in zones.iter().filter(|table| !table.breaks.is_empty()) {
        start_zone(&mut text, &table.zone);
        for row in &table.breaks {
            text += &format!("{}, {}\n", spell_mass(row.up_to), row.charge);
        }
    }
    text
}

fn start_zone(text: &mut String, zone: &str) {
    if !text.is_empty() {
        text.push('\n');
    }
    *text += &format!("zone: {zone}\n");
}

/// Flat-rate boxes as typed.
#[derive(Debug, PartialEq, Eq)]
pub enum FlatBoxes {
    /// At the same charge to every zone of the table.
    EveryZone(Vec<FlatBox>),
    ByZone(Vec<(String, Vec<FlatBox>)>),
}

/// Reads flat-rate boxes, a line each: name; inner size; most it may weigh; charge. `zone: NAME` before the lines of a
/// zone, or no zone at all where the charges are the same to every one.
pub fn read_flat_boxes(text: &str) -> Result<FlatBoxes, String> {
    let mut problems = Problems::default();
    let mut everywhere = Vec::new();
    let mut zones: Vec<(String, Vec<FlatBox>)> = Vec::new();
    let mut count = 0;
    for (number, line) in lines(text)? {
        if let Some(zone) = zone_line(line) {
            let Some(zone) = problems.or_add(number, name(zone, "zone")) else { continue };
            if !everywhere.is_empty() {
                problems
                    .add(number, "The boxes above stand in no zone. Give them one, or leave all zones out.");
            }
            if zones.iter().any(|(known, _)| *known == zone) {
                problems
                    .add(number, format!("The zone {zone} has begun above already. Put its lines together."));
            }
            if zones.len() == MOST_ZONES {
                problems.add(number, format!("A service takes at most {MOST_ZONES} zones."));
                break;
            }
            zones.push((zone, Vec::new()));
            continue;
        }
        let Some(flat_box) = problems.or_add(number, flat_box(line)) else { continue };
        let boxes = zones.last_mut().map_or(&mut everywhere, |(_, boxes)| boxes);
        if boxes.iter().any(|known| known.name == flat_box.name) {
            problems.add(number, format!("{} stands above already.", flat_box.name));
        }
        boxes.push(flat_box);
        count += 1;
        if count > MOST_BOXES {
            problems.add(number, format!("A service takes at most {MOST_BOXES} flat-rate boxes."));
            break;
        }
    }
    problems.or_else(if zones.is_empty() {
        FlatBoxes::EveryZone(everywhere)
    } else {
        FlatBoxes::ByZone(zones)
    })
}

fn flat_box(line: &str) -> Result<FlatBox, String> {
    let parts: Vec<&str> = line.split(';').collect();
    let [label, inner, limit, amount] = parts[..] else {
        return Err(
            "Type four things with semicolons between: name; inner size; most it may weigh; charge.".into()
        );
    };
    Ok(FlatBox {
        name: name(label, "box")?,
        inner: size(inner)?,
        limit: mass(limit.trim())?,
        charge: charge(amount)?,
    })
}

/// The flat-rate boxes as [`read_flat_boxes`] reads them.
pub fn write_flat_boxes(zones: &[ZoneTable]) -> String {
    let write = |text: &mut String, boxes: &[FlatBox]| {
        for flat in boxes {
            *text += &format!(
                "{}; {}; {}; {}\n",
                flat.name,
                spell_size(flat.inner),
                spell_mass(flat.limit),
                flat.charge
            );
        }
    };
    let mut text = String::new();
    match zones {
        [first, rest @ ..] if rest.iter().all(|table| table.flat_boxes == first.flat_boxes) => {
            write(&mut text, &first.flat_boxes);
        }
        _ => {
            for table in zones.iter().filter(|table| !table.flat_boxes.is_empty()) {
                start_zone(&mut text, &table.zone);
                write(&mut text, &table.flat_boxes);
            }
        }
    }
    text
}

/// Puts breaks and flat-rate boxes together by zone.
pub fn zone_tables(breaks: Vec<(String, Vec<WeightBreak>)>, boxes: FlatBoxes) -> Vec<ZoneTable> {
    let mut tables: BTreeMap<String, ZoneTable> = BTreeMap::new();
    fn table(tables: &mut BTreeMap<String, ZoneTable>, zone: String) -> &mut ZoneTable {
        tables.entry(zone.clone()).or_insert(ZoneTable { zone, breaks: Vec::new(), flat_boxes: Vec::new() })
    }
    for (zone, breaks) in breaks {
        table(&mut tables, zone).breaks = breaks;
    }
    match boxes {
        FlatBoxes::ByZone(zones) => {
            for (zone, boxes) in zones {
                table(&mut tables, zone).flat_boxes = boxes;
            }
        }
        FlatBoxes::EveryZone(boxes) => {
            if tables.is_empty() && !boxes.is_empty() {
                table(&mut tables, ONLY_ZONE.into());
            }
            for table in tables.values_mut() {
                table.flat_boxes = boxes.clone();
            }
        }
    }
    tables.into_values().collect()
}

/// Reads surcharges, a line each: name; charge; when. When is `always`, `over 50 lb`, `longer than 48 in` or
/// `girth over 130 in`; left out it is always.
pub fn read_surcharges(text: &str) -> Result<Vec<Surcharge>, String> {
    let mut problems = Problems::default();
    let mut surcharges = Vec::new();
    for (number, line) in lines(text)? {
        if surcharges.len() == MOST_SURCHARGES {
            problems.add(number, format!("A service takes at most {MOST_SURCHARGES} surcharges."));
            break;
        }
        surcharges.extend(problems.or_add(number, surcharge(line)));
    }
    problems.or_else(surcharges)
}

fn surcharge(line: &str) -> Result<Surcharge, String> {
    let parts: Vec<&str> = line.split(';').collect();
    let (label, amount, when) = match parts[..] {
        [label, amount] => (label, amount, "always"),
        [label, amount, when] => (label, amount, when),
        _ => {
            return Err("Type the name, the charge and when it is added, with semicolons between: \
                        heavy; 24; over 50 lb."
                .into());
        }
    };
    Ok(Surcharge { name: name(label, "surcharge")?, charge: charge(amount)?, when: surcharge_when(when)? })
}

fn surcharge_when(typed: &str) -> Result<SurchargeWhen, String> {
    let when = typed.trim().to_lowercase();
    if when == "always" || when.is_empty() {
        Ok(SurchargeWhen::Always)
    } else if let Some(limit) = when.strip_prefix("over ") {
        Ok(SurchargeWhen::HeavierThan(mass(limit)?))
    } else if let Some(limit) = when.strip_prefix("longer than ") {
        Ok(SurchargeWhen::LongerThan(length(limit)?))
    } else if let Some(limit) = when.strip_prefix("girth over ") {
        Ok(SurchargeWhen::LengthPlusGirthOver(length(limit)?))
    } else {
        Err(format!(
            "“{}” does not say when. Type always, over 50 lb, longer than 48 in or girth over 130 in.",
            short(&when)
        ))
    }
}

/// The surcharges as [`read_surcharges`] reads them.
pub fn write_surcharges(surcharges: &[Surcharge]) -> String {
    surcharges
        .iter()
        .map(|surcharge| {
            let when = match surcharge.when {
                SurchargeWhen::Always => "always".to_string(),
                SurchargeWhen::HeavierThan(limit) => format!("over {}", spell_mass(limit)),
                SurchargeWhen::LongerThan(limit) => format!("longer than {}", spell_length(limit)),
                SurchargeWhen::LengthPlusGirthOver(limit) => format!("girth over {}", spell_length(limit)),
            };
            format!("{}; {}; {when}\n", surcharge.name, surcharge.charge)
        })
        .collect()
}

#[cfg(test)]
mod tests;
