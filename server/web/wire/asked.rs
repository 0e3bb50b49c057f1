//! What is asked about a wire: the fields of its page, turned into what `trade` works with.

use rust_decimal::{Decimal, MathematicalOps, dec};
use trade::mass::Mass;
use trade::money::Share;
use trade::wire::{
    Displacement, Gauge, Make, Metal, Outside, Plastic, Recovery, Scratch, Size, Walls, recovery_of_sample,
    told_by_scratch, told_by_water,
};

use crate::web::form::{Form, decimal};
use crate::web::measure;

/// Strands of a conductor that nobody has counted.
const USUAL_STRANDS: Decimal = dec!(19);

/// What a person has found out about a wire.
#[derive(Debug)]
pub struct Asked {
    pub metal: Metal,
    pub tinned: bool,
    pub water: Option<Displacement>,
    pub found: Found,
    /// The thickness of one strand, if it is known.
    pub strand_mm: Option<Decimal>,
    /// All there is of it.
    pub mass: Option<Mass>,
    /// Of stripping one of the shop's units of mass.
    pub minutes_per_unit: Option<Decimal>,
}

/// How much of it is conductor.
#[derive(Debug, Clone, Copy)]
pub enum Found {
    Weighed(Share),
    Measured(Recovery),
}

impl Found {
    pub fn likely(self) -> Share {
        match self {
            Found::Weighed(share) => share,
            Found::Measured(recovery) => recovery.likely,
        }
    }
}

/// The scale's step where nobody says otherwise.
const USUAL_STEP: &str = "0.1 g";

/// The page as it opens.
pub fn blank() -> Form {
    Form::filled(
        [
            ("way", "sample"),
            ("stranded", "solid"),
            ("plastic", Plastic::Pvc.code()),
            ("cores", "1"),
            ("bare", "0"),
            ("step", USUAL_STEP),
        ]
        .map(|(name, value)| (name, value.to_string())),
    )
}

pub fn asked(form: &mut Form) -> Option<Asked> {
    let metal = metal(form);
    let found = match form.value("way") {
        "make" => make(form, metal.as_ref().map_or(Metal::Copper, |(metal, ..)| *metal)),
        "sample" => sample(form),
        _ => {
            form.refuse("way", "Choose one.");
            None
        }
    };
    let mass = optional(form, "weight", measure::mass);
    let minutes = optional(form, "minutes", |typed| {
        decimal(typed)
            .filter(|minutes| (Decimal::ZERO..=dec!(1000)).contains(minutes))
            .ok_or_else(|| format!("“{}” is no number of minutes up to 1000.", measure::short(typed)))
    });
    let (metal, tinned, water) = metal?;
    let (found, strand_mm) = found?;
    let asked = Asked { metal, tinned, water, found, strand_mm, mass: mass?, minutes_per_unit: minutes? };
    form.is_good().then_some(asked)
}

/// What a field holds if anything stands in it; `None` if that could not be read.
fn optional<T>(form: &mut Form, name: &str, read: impl Fn(&str) -> Result<T, String>) -> Option<Option<T>> {
    if form.value(name).trim().is_empty() {
        return Some(None);
    }
    form.read(name, read).map(Some)
}

/// By scratch, else by water, else copper as long as nobody has looked.
fn metal(form: &mut Form) -> Option<(Metal, bool, Option<Displacement>)> {
    let scratch = form.choice("scratch", |code| {
        Some(match code {
            "" => None,
            "red" => Some(Scratch::RedThrough),
            "red-skin" => Some(Scratch::RedSkin),
            "white-skin" => Some(Scratch::WhiteSkin),
            "white" => Some(Scratch::WhiteThrough),
            "yellow" => Some(Scratch::YellowThrough),
            _ => return None,
        })
    })?;
    let water = water(form)?;
    if let Some(scratch) = scratch {
        return match told_by_scratch(scratch, form.value("magnet") == "pulls") {
            Ok(told) => Some((told.metal, told.tinned, water)),
            Err(problem) => {
                form.refuse("scratch", problem.to_string());
                None
            }
        };
    }
    let told = water.as_ref().and_then(|water| match water.metals[..] {
        [metal] => Some(metal),
        _ => None,
    });
    Some((told.unwrap_or(Metal::Copper), false, water))
}

fn water(form: &mut Form) -> Option<Option<Displacement>> {
    if ["dry", "gained"].iter().all(|name| form.value(name).trim().is_empty()) {
        return Some(None);
    }
    let dry = form.read("dry", measure::mass);
    let gained = form.read("gained", measure::mass);
    let step = optional(form, "step", measure::mass)?.unwrap_or(Mass::ZERO);
    match told_by_water(dry?, gained?, step) {
        Ok(told) => Some(Some(told)),
        Err(problem) => {
            form.refuse("gained", problem.to_string());
            None
        }
    }
}

fn sample(form: &mut Form) -> Option<(Found, Option<Decimal>)> {
    let whole = form.read("whole", measure::mass);
    let stripped = form.read("stripped", measure::mass);
    let strand = optional(form, "strand", strand);
    match recovery_of_sample(whole?, stripped?) {
        Ok(share) => Some((Found::Weighed(share), strand?)),
        Err(problem) => {
            form.refuse("stripped", sentence(&problem.to_string()));
            None
        }
    }
}

fn make(form: &mut Form, metal: Metal) -> Option<(Found, Option<Decimal>)> {
    let size = form.read("size", size);
    let stranded = form.choice("stranded", |code| match code {
        "solid" => Some(false),
        "stranded" => Some(true),
        _ => None,
    });
    let cores = form.count("cores", 10_000);
    let bare = form.count("bare", 100);
    let outside = form.read("outside", outside);
    let plastic = form.choice("plastic", |code| Plastic::ALL.into_iter().find(|p| p.code() == code));
    let insulation = optional(form, "insulation", measure::length);
    let sheath = optional(form, "sheath", measure::length);
    let (size, stranded) = (size?, stranded? || matches!(size, Some(Size::Strands { count: 2.., .. })));
    let walls = match (insulation?, sheath?) {
        (None, None) => None,
        (insulation_mm, sheath_mm) => Some(Walls {
            insulation_mm: insulation_mm.unwrap_or_default(),
            sheath_mm: sheath_mm.unwrap_or_default(),
        }),
    };
    let make = Make {
        metal,
        size,
        stranded,
        cores: cores?,
        bare: bare?,
        outside: outside?,
        plastic: plastic?,
        walls,
    };
    match make.recovery() {
        Ok(recovery) => Some((Found::Measured(recovery), strand_of(size, stranded))),
        Err(problem) => {
            form.refuse("outside", sentence(&problem.to_string()));
            None
        }
    }
}

/// The thickness of one strand.
fn strand_of(size: Size, stranded: bool) -> Option<Decimal> {
    if let Size::Strands { diameter_mm, .. } = size {
        return Some(diameter_mm);
    }
    let strands = if stranded { USUAL_STRANDS } else { Decimal::ONE };
    (size.area_mm2() / strands * dec!(4) / Decimal::PI).sqrt()
}

/// Reads `16 AWG` or `0.3 mm`.
fn strand(typed: &str) -> Result<Decimal, String> {
    if typed.to_lowercase().contains("awg") || typed.trim().starts_with('#') {
        let gauge = Gauge::read(typed);
        return gauge.map(Gauge::diameter_mm).ok_or_else(|| not_a_size(typed));
    }
    measure::length(typed)
}

/// Reads `14 AWG`, `0.75 mm2`, `19 x 0.3 mm`; a bare number could be either of the first two.
fn size(typed: &str) -> Result<Size, String> {
    let lower = typed.trim().to_lowercase().replace('²', "2");
    if let Some((count, diameter)) = lower.split_once(['x', '×', '*']) {
        let count = count.trim().parse::<u32>().ok().filter(|count| (1..=100_000).contains(count));
        let count = count.ok_or_else(|| not_a_size(typed))?;
        return Ok(Size::Strands { count, diameter_mm: strand(diameter.trim())? });
    }
    let area = ["mm2", "sq mm", "sqmm", "qmm"].iter().find_map(|unit| lower.strip_suffix(unit));
    if let Some(number) = area {
        let area = decimal(number).filter(|area| *area > Decimal::ZERO && *area <= dec!(2000));
        return area.map(Size::Area).ok_or_else(|| not_a_size(typed));
    }
    if let Some(number) = decimal(&lower).filter(|number| *number > Decimal::ZERO) {
        return Err(format!("{number} of what? Type {number} AWG or {number} mm2."));
    }
    Gauge::read(typed).map(Size::Gauge).ok_or_else(|| not_a_size(typed))
}

fn not_a_size(typed: &str) -> String {
    format!("“{}” is not a size. Type it as 14 AWG, 0.75 mm2 or 19 x 0.3 mm.", measure::short(typed))
}

/// Reads `6.6 mm` for what is round, `9.4 x 4.5 mm` for what is flat; the last unit is that of a side without one.
fn outside(typed: &str) -> Result<Outside, String> {
    let sides: Vec<&str> = typed.split(['x', 'X', '×', '*']).map(str::trim).collect();
    match sides[..] {
        [diameter] => Ok(Outside::Round { diameter_mm: measure::length(diameter)? }),
        [width, height] => {
            let unit: String =
                height.chars().filter(|c| !c.is_ascii_digit() && !" .,/-".contains(*c)).collect();
            let bare = width.ends_with(|c: char| c.is_ascii_digit());
            let width = if bare { format!("{width} {unit}") } else { width.to_string() };
            Ok(Outside::Flat { width_mm: measure::length(&width)?, height_mm: measure::length(height)? })
        }
        _ => Err(format!(
            "“{}” is not the outside of a cable. Type it as 6.6 mm or 9.4 x 4.5 mm.",
            measure::short(typed)
        )),
    }
}

/// The core's words begin small, to stand behind others.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_as_they_are_printed() {
        let gauge = |number| Ok(Size::Gauge(Gauge::new(number).unwrap()));
        assert_eq!(size("14 AWG"), gauge(14));
        assert_eq!(size("#14"), gauge(14));
        assert_eq!(size("4/0"), gauge(-3));
        assert_eq!(size("0,75 mm²"), Ok(Size::Area(dec!(0.75))));
        assert_eq!(size("19 x 0.3 mm"), Ok(Size::Strands { count: 19, diameter_mm: dec!(0.3) }));
        assert!(size("14").unwrap_err().contains("14 AWG or 14 mm2"));
        for typed in
            ["", "mm2", "0 mm2", "-1 mm2", "0 x 1 mm", "9999999999 x 1 mm", "x", "14 gauge of rope", "99 AWG"]
        {
            assert!(size(typed).is_err(), "{typed}");
        }
    }

    /// An inch is 25.4 mm (NIST SP 811).
    #[test]
    fn outsides_are_round_or_flat() {
        assert_eq!(outside("6.6 mm"), Ok(Outside::Round { diameter_mm: dec!(6.6) }));
        let flat = Outside::Flat { width_mm: dec!(9.4), height_mm: dec!(4.5) };
        for typed in ["9.4 x 4.5 mm", "9.4 mm x 4.5 mm", "9,4×4,5mm"] {
            assert_eq!(outside(typed), Ok(flat), "{typed}");
        }
        let inches = Outside::Flat { width_mm: dec!(9.525), height_mm: dec!(4.7625) };
        assert_eq!(outside("3/8 x 3/16 in"), Ok(inches));
        for typed in ["", "6.6", "9 x 4", "1 x 2 x 3 mm", "0 mm", "-1 mm", "x mm", "9 x mm"] {
            assert!(outside(typed).is_err(), "{typed}");
        }
    }
}
