//! The answer about a wire: what it is, how much of it is copper, as what it sells, and whether stripping pays.

use rust_decimal::{Decimal, RoundingStrategy, dec};
use trade::ids::GradeId;
use trade::mass::Mass;
use trade::money::Share;
use trade::teardown::Net;
use trade::wire::{Metal, StripOrSell, Stripped, class_of, stripped_as};

use super::asked::{Asked, Found};
use crate::shelf::{Answer, Shelf};
use crate::store::grades::Grade;
use crate::web::page::Visitor;

/// Grades of wire that go by what it looks like, not by how much of it is copper.
const BY_LOOKS: [&str; 5] = ["wire-harness", "cable-network", "wire-ribbon", "cable-coax", "wire-aluminium"];
const ALUMINIUM: &str = "wire-aluminium";
const BARE_ALUMINIUM: &str = "aluminium-wire";
const BRIGHT: &str = "copper-bright";
const NUMBER_TWO: &str = "copper-2";

/// What is told of a wire.
pub struct Told {
    pub metal: &'static str,
    /// What was seen of the metal, in a sentence.
    pub metal_note: String,
    /// Whole percents.
    pub likely: Decimal,
    pub range: Option<(Decimal, Decimal)>,
    pub grams_per_metre: Option<Decimal>,
    pub grade: Option<NamedGrade>,
    pub strip: Option<Strip>,
    /// Why there is nothing to say about stripping.
    pub no_strip: String,
}

pub struct NamedGrade {
    pub id: GradeId,
    pub name: String,
    /// Its nominal recovery in percent.
    pub nominal: Option<Decimal>,
}

/// Strip it or sell it as it is, for all of it.
pub struct Strip {
    pub pays: bool,
    pub gain: Decimal,
    pub mass: Mass,
    pub bare_mass: Mass,
    pub bare_name: String,
    pub why_bare: &'static str,
    pub insulated_per_unit: Decimal,
    pub insulated_at: String,
    pub bare_per_unit: Decimal,
    pub bare_at: String,
    pub as_it_is: Decimal,
    pub copper: Decimal,
    pub labour: Decimal,
    pub minutes: Decimal,
    pub stripped: Decimal,
    pub per_hour: Option<Decimal>,
    /// In percent.
    pub break_even: Option<Decimal>,
    /// The answer is another one at the ends of the range.
    pub is_close: bool,
}

/// One of the shop's units, where nobody says how much there is.
pub fn told(
    asked: &Asked,
    look: &str,
    grades: &[Grade],
    shelf: &Shelf,
    answer: &Answer,
    visitor: &Visitor,
) -> Told {
    let recovery = asked.found.likely();
    let grade = sold_as(asked, look, grades);
    let (strip, no_strip) = match strip(asked, grade.as_ref(), grades, shelf, answer, visitor) {
        Ok(strip) => (Some(strip), String::new()),
        Err(why) => (None, why),
    };
    let (range, grams_per_metre) = match asked.found {
        Found::Weighed(_) => (None, None),
        Found::Measured(found) => {
            (Some((percent(found.low), percent(found.high))), Some(found.grams_per_metre.round_dp(1)))
        }
    };
    Told {
        metal: asked.metal.name(),
        metal_note: metal_note(asked),
        likely: percent(recovery),
        range,
        grams_per_metre,
        grade,
        strip,
        no_strip,
    }
}

fn percent(share: Share) -> Decimal {
    (share.get() * dec!(100)).round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero)
}

fn metal_note(asked: &Asked) -> String {
    let Some(water) = &asked.water else { return String::new() };
    let names: Vec<&str> = water.metals.iter().map(|metal| metal.name()).collect();
    let density = water.density.round_dp(2);
    let range = format!("between {} and {}", water.low.round_dp(2), water.high.min(dec!(99)).round_dp(2));
    match names[..] {
        [] => format!("In water it has {density} g/cm³ ({range}): none of the metals wire is made of."),
        [only] if only == asked.metal.name() => {
            format!("In water it has {density} g/cm³ ({range}): {only}.")
        }
        [only] => format!(
            "In water it has {density} g/cm³ ({range}), which is {only}: the scratch says otherwise. Look again."
        ),
        _ => format!(
            "In water it has {density} g/cm³ ({range}): {}. A larger piece tells them apart.",
            names.join(" or ")
        ),
    }
}

/// As what it is sold with its insulation on.
fn sold_as(asked: &Asked, look: &str, grades: &[Grade]) -> Option<NamedGrade> {
    let wires = || grades.iter().filter(|grade| !grade.retired && grade.details.family == "wire");
    let named = |grade: &Grade| NamedGrade {
        id: grade.id.clone(),
        name: grade.details.name.clone(),
        nominal: grade.details.notes.recovery.map(|share| (share * dec!(100)).round_dp(0)),
    };
    let called = |slug: &str| wires().find(|grade| grade.id.as_str() == slug).map(named);
    match asked.metal {
        Metal::Aluminium | Metal::CopperCladAluminium => return called(ALUMINIUM),
        Metal::Copper => {}
        Metal::CopperCladSteel | Metal::Steel | Metal::Brass => return called(look),
    }
    if let Some(chosen) = called(look) {
        return Some(chosen);
    }
    let by_recovery = wires()
        .filter(|grade| !BY_LOOKS.contains(&grade.id.as_str()))
        .filter_map(|grade| Some((grade, Share::new(grade.details.notes.recovery?).ok()?)));
    class_of(asked.found.likely(), by_recovery).map(named)
}

/// What stripping gives, and why it is that.
fn bare(asked: &Asked) -> (&'static str, &'static str) {
    if asked.metal == Metal::Aluminium {
        return (BARE_ALUMINIUM, "it is aluminium right through; strands as fine as hair are taken as less");
    }
    // Nobody looked at the strands: they count as thin, which promises less.
    match asked.strand_mm.map_or(Stripped::NumberTwo, |strand| stripped_as(strand, asked.tinned)) {
        Stripped::Bright => (BRIGHT, "it is thick and uncoated; dull, it goes as No. 1"),
        Stripped::NumberTwo if asked.tinned => (NUMBER_TWO, "it is tinned"),
        Stripped::NumberTwo if asked.strand_mm.is_none() => {
            (NUMBER_TWO, "nobody has said how thick its strands are")
        }
        Stripped::NumberTwo => (NUMBER_TWO, "its strands are thinner than 16 AWG"),
    }
}

fn strip(
    asked: &Asked,
    grade: Option<&NamedGrade>,
    grades: &[Grade],
    shelf: &Shelf,
    answer: &Answer,
    visitor: &Visitor,
) -> Result<Strip, String> {
    if !matches!(asked.metal, Metal::Copper | Metal::Aluminium) {
        return Err(format!(
            "Stripping is worked out for copper and for aluminium. This is {}: sell it as it is.",
            asked.metal.name()
        ));
    }
    let insulated = grade.ok_or("The shop has no grade that it would be sold as.")?;
    let (bare, why_bare) = bare(asked);
    let bare = grades.iter().find(|grade| grade.id.as_str() == bare && !grade.retired);
    let bare = bare.ok_or_else(|| {
        format!(
            "The shop has no grade for the bare {}. Grades may offer it under “More grades”.",
            asked.metal.name()
        )
    })?;
    let nets = shelf.nets(answer);
    let net_of = |id: &GradeId, name: &str| match nets.get(id).map(|found| (found.net, &found.source)) {
        Some((Net::PerGram(amount), source)) => Ok((amount, shelf.net_in_words(source))),
        Some((Net::PerPiece(_), _)) => Err(format!("{name} is sold by the piece.")),
        None => Err(format!("No outlet’s sheet has a price for {name} today.")),
    };
    let (insulated_per_gram, insulated_at) = net_of(&insulated.id, &insulated.name)?;
    let (bare_per_gram, bare_at) = net_of(&bare.id, &bare.details.name)?;
    let unit = visitor.style().unit();
    let mass = asked.mass.unwrap_or(Mass::of(Decimal::ONE, unit));
    let minutes = asked.minutes_per_unit.unwrap_or_default() * mass.in_unit(unit);
    let recovery = asked.found.likely();
    let choice = StripOrSell {
        mass,
        recovery,
        insulated_per_gram,
        bare_per_gram,
        labour: shelf.facts.costs.labour(minutes),
    };
    let pays = |recovery: Share| StripOrSell { recovery, ..choice }.gain() > Decimal::ZERO;
    let is_close = match asked.found {
        Found::Weighed(_) => false,
        Found::Measured(found) => pays(found.low) != pays(found.high),
    };
    Ok(Strip {
        pays: pays(recovery),
        gain: choice.gain(),
        mass,
        bare_mass: Mass::from_grams(mass.grams() * recovery.get()),
        bare_name: bare.details.name.clone(),
        why_bare,
        insulated_per_unit: insulated_per_gram * unit.grams(),
        insulated_at,
        bare_per_unit: bare_per_gram * unit.grams(),
        bare_at,
        as_it_is: choice.as_it_is(),
        copper: choice.stripped() + choice.labour,
        labour: choice.labour,
        minutes: minutes.round_dp(0),
        stripped: choice.stripped(),
        per_hour: choice.earned_per_hour(minutes),
        break_even: choice.break_even_recovery().map(percent),
        is_close,
    })
}
