//! What a carrier charges for a parcel: billable weight, the table of weight breaks, fuel and surcharges.
//!
//! Every rule that carriers differ in (divisor, when it applies, how sides and weights are rounded) is data of the
//! service, because carriers change them from year to year.

use iso_currency::Currency;
use rust_decimal::{Decimal, RoundingStrategy, dec};
use serde::{Deserialize, Serialize};

use crate::mass::{HEAVIEST_GRAMS, Mass, MassUnit};
use crate::money::LARGEST_AMOUNT;
use crate::volume::{MM_PER_INCH, Size, Volume};

/// A milligram: less than any carrier's scale shows. The ledger keeps whole micrograms, so a lot that was typed as 37 oz
/// is a hair more; a parcel is only billed as heavier once it is so by more than this.
pub const UNSEEN: Mass = Mass::from_grams(dec!(0.001));

/// No parcel has a longer side: a kilometre. It keeps volumes far inside `Decimal`.
pub const LONGEST_SIDE_MM: Decimal = dec!(1_000_000);

/// More rows than any carrier's table has (150 lb in half pounds are 300).
pub const MOST_BREAKS: usize = 1000;

/// One service of a carrier, with its table for the zone the parcel goes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Service {
    pub name: String,
    pub currency: Currency,
    /// `None` where the carrier bills actual weight only.
    pub dimensional: Option<Dimensional>,
    /// Billable weight is rounded up to whole steps of this.
    pub step: Mass,
    /// Fuel surcharge, in percent of the table's charge.
    pub fuel_percent: Decimal,
    pub surcharges: Vec<Surcharge>,
    /// Ascending by `up_to`; the last one is the heaviest parcel the service takes.
    pub breaks: Vec<WeightBreak>,
    pub flat_boxes: Vec<FlatBox>,
}

/// The charge for a parcel of up to this billable weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct WeightBreak {
    pub up_to: Mass,
    pub charge: Decimal,
}

/// How a carrier turns a parcel's size into a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dimensional {
    pub divisor: Divisor,
    pub sides: SideRounding,
    /// Parcels up to this volume, of the rounded sides, are billed by actual weight.
    pub above: Option<Volume>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Divisor {
    /// Cubic inches per pound; sides are rounded in inches.
    CubicInchesPerPound(Decimal),
    /// Cubic centimetres per kilogram; sides are rounded in centimetres.
    Cm3PerKilogram(Decimal),
}

/// How each side is rounded, in the divisor's unit of length, before they are multiplied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SideRounding {
    Exact,
    Nearest,
    Up,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Surcharge {
    pub name: String,
    pub charge: Decimal,
    pub when: SurchargeWhen,
}

/// When a surcharge is added to a parcel. Lengths are in millimetres, weights are actual, not billable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SurchargeWhen {
    Always,
    HeavierThan(Mass),
    LongerThan(Decimal),
    LengthPlusGirthOver(Decimal),
}

/// A box of the carrier's own that goes at one charge, whatever it weighs up to its limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlatBox {
    pub name: String,
    pub inner: Size,
    pub limit: Mass,
    pub charge: Decimal,
}

/// What one parcel costs, in the service's currency, and how that came about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Charge<'a> {
    /// The weight that is billed: the billable weight, or a heavier break's where that costs less.
    pub billed: Mass,
    /// The table's charge.
    pub table: Decimal,
    pub fuel: Decimal,
    pub surcharges: Vec<&'a Surcharge>,
    pub total: Decimal,
}

impl Service {
    /// The weight the carrier bills for a parcel of this size and actual weight: the greater of actual and
    /// dimensional weight, rounded up to the step.
    ///
    /// Sides are rounded first, then multiplied, then held against the threshold, then divided: the order of USPS
    /// DMM 604.7.1.3.
    pub fn billable(&self, outer: Size, gross: Mass) -> Mass {
        let by_size = self.dimensional.and_then(|rule| rule.weight(outer)).unwrap_or(Mass::ZERO);
        let heaviest = Mass::from_grams(HEAVIEST_GRAMS);
        round_up(seen(gross).max(by_size).min(heaviest), self.step)
    }

    /// What a parcel costs; `None` where it is heavier than the table goes.
    ///
    /// A parcel is charged as a heavier one where a heavier break costs less, since nothing keeps the shop from
    /// declaring more (common practice, no source). So the charge never falls as weight rises.
    pub fn charge(&self, outer: Size, gross: Mass) -> Option<Charge<'_>> {
        let billable = self.billable(outer, gross);
        let first = self.breaks.partition_point(|b| b.up_to < billable);
        let cheapest = self.breaks.get(first..)?.iter().min_by_key(|b| b.charge)?;
        let billed = if cheapest.charge < self.breaks[first].charge { cheapest.up_to } else { billable };
        let fuel = cheapest.charge.checked_mul(self.fuel_percent)? / dec!(100);
        let outer = bounded(outer);
        let surcharges: Vec<&Surcharge> =
            self.surcharges.iter().filter(|s| s.when.applies(outer, gross)).collect();
        let total = surcharges
            .iter()
            .try_fold(cheapest.charge.checked_add(fuel)?, |sum, s| sum.checked_add(s.charge))?;
        Some(Charge { billed, table: cheapest.charge, fuel, surcharges, total })
    }

    /// The actual weights at which the charge of a parcel can step up, each the heaviest before the step.
    pub fn gross_steps(&self) -> Vec<Mass> {
        let breaks = self.breaks.iter().map(|b| round_down(b.up_to, self.step));
        let surcharges = self.surcharges.iter().filter_map(|s| match s.when {
            SurchargeWhen::HeavierThan(limit) => Some(limit),
            _ => None,
        });
        let mut steps: Vec<Mass> = breaks.chain(surcharges).filter(|mass| mass.is_positive()).collect();
        steps.sort();
        steps.dedup();
        steps
    }

    /// What is wrong with the service as it was entered; a service with a problem is never used to ship.
    pub fn problems(&self) -> Vec<String> {
        let mut problems = Vec::new();
        let mut unless = |fine: bool, problem: String| {
            if !fine {
                problems.push(problem);
            }
        };
        let is_charge = |charge: Decimal| (Decimal::ZERO..=LARGEST_AMOUNT).contains(&charge);
        let is_mass = |mass: Mass| mass.is_positive() && mass.grams() <= HEAVIEST_GRAMS;

        unless(
            !self.breaks.is_empty() || !self.flat_boxes.is_empty(),
            "The table is empty. Enter at least one weight with its charge, or a flat-rate box.".into(),
        );
        unless(
            self.breaks.len() <= MOST_BREAKS,
            format!(
                "The table has {} rows; {MOST_BREAKS} is the most. Leave out weights that are never sent.",
                self.breaks.len()
            ),
        );
        unless(
            self.step.grams() >= SMALLEST_STEP && is_mass(self.step),
            "The rounding step is missing. Enter what the carrier rounds weights up to, for example 1 lb."
                .into(),
        );
        unless(
            (Decimal::ZERO..=dec!(1000)).contains(&self.fuel_percent),
            format!("The fuel surcharge of {} % does not lie between 0 and 1,000 %.", self.fuel_percent),
        );
        if let Some(rule) = self.dimensional {
            let (Divisor::CubicInchesPerPound(divisor) | Divisor::Cm3PerKilogram(divisor)) = rule.divisor;
            unless(
                (Decimal::ONE..=LARGEST_AMOUNT).contains(&divisor),
                format!(
                    "The dimensional divisor is {divisor}. Enter the carrier's, for example 139 or 5000."
                ),
            );
        }
        for (i, row) in self.breaks.iter().enumerate() {
            unless(is_mass(row.up_to), format!("Row {} has no weight above zero.", i + 1));
            unless(is_charge(row.charge), format!("Row {} has a charge below zero or too large.", i + 1));
        }
        for (i, pair) in self.breaks.windows(2).enumerate() {
            unless(
                pair[0].up_to < pair[1].up_to,
                format!(
                    "Row {} is not heavier than row {}. Sort by weight and give each weight once.",
                    i + 2,
                    i + 1
                ),
            );
        }
        for surcharge in &self.surcharges {
            unless(
                is_charge(surcharge.charge),
                format!("The surcharge “{}” is below zero or too large.", surcharge.name),
            );
        }
        for flat in &self.flat_boxes {
            unless(is_charge(flat.charge), format!("“{}” has a charge below zero or too large.", flat.name));
            unless(is_mass(flat.limit), format!("“{}” has no weight limit. Enter the carrier's.", flat.name));
            unless(flat.inner.is_box(), format!("“{}” needs three sides above zero.", flat.name));
        }
        problems
    }

    /// What looks like a slip of the pen in the table but can be meant; the rows count from 1.
    pub fn warnings(&self) -> Vec<String> {
        let falling =
            self.breaks.windows(2).enumerate().filter(|(_, pair)| pair[1].charge < pair[0].charge).map(
                |(i, _)| {
                    format!(
                        "Row {} costs less than row {}. Parcels of row {} go as row {}.",
                        i + 2,
                        i + 1,
                        i + 1,
                        i + 2
                    )
                },
            );
        // A leap that is wider than the rows on both sides of it: most likely a row was skipped.
        let gaps = self.breaks.windows(4).enumerate().filter_map(|(i, rows)| {
            let leap = |a: usize| rows[a + 1].up_to - rows[a].up_to;
            (leap(1) > leap(0) && leap(1) > leap(2)).then(|| {
                format!("Nothing stands between row {} and row {}. Was a row left out?", i + 2, i + 3)
            })
        });
        falling.chain(gaps).collect()
    }
}

impl Dimensional {
    /// The sides as they count, longest first, in the divisor's unit of length: inches or centimetres.
    pub fn counted_sides(self, outer: Size) -> [Decimal; 3] {
        let mm_per_unit = match self.divisor {
            Divisor::CubicInchesPerPound(_) => MM_PER_INCH,
            Divisor::Cm3PerKilogram(_) => dec!(10),
        };
        bounded(outer).sides().map(|mm| self.sides.round(mm / mm_per_unit))
    }

    /// Dimensional weight, not yet rounded; `None` where the parcel is too small for it to count.
    pub fn weight(self, outer: Size) -> Option<Mass> {
        let (cm3_per_unit, divisor, unit) = match self.divisor {
            Divisor::CubicInchesPerPound(divisor) => (CM3_PER_CUBIC_INCH, divisor, MassUnit::Pound),
            Divisor::Cm3PerKilogram(divisor) => (Decimal::ONE, divisor, MassUnit::Kilogram),
        };
        let volume: Decimal = self.counted_sides(outer).into_iter().product();
        let above = self.above.map_or(Decimal::ZERO, Volume::cm3);
        if volume * cm3_per_unit <= above {
            return None;
        }
        let grams = (volume * unit.grams()).checked_div(divisor);
        Some(Mass::from_grams(grams.map_or(HEAVIEST_GRAMS, |g| g.min(HEAVIEST_GRAMS))))
    }
}

/// 25.4 mm cubed (NIST SP 811).
const CM3_PER_CUBIC_INCH: Decimal = dec!(16.387064);

/// The hundred-thousandth of a gram, of which a pound is a whole number.
const SMALLEST_STEP: Decimal = dec!(0.00001);

impl SideRounding {
    fn round(self, side: Decimal) -> Decimal {
        match self {
            SideRounding::Exact => side,
            SideRounding::Nearest => side.round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero),
            SideRounding::Up => side.ceil(),
        }
    }
}

impl SurchargeWhen {
    fn applies(self, outer: Size, gross: Mass) -> bool {
        match self {
            SurchargeWhen::Always => true,
            SurchargeWhen::HeavierThan(limit) => seen(gross) > limit,
            SurchargeWhen::LongerThan(mm) => outer.sides()[0] > mm,
            SurchargeWhen::LengthPlusGirthOver(mm) => outer.length_plus_girth() > mm,
        }
    }
}

/// What a carrier's scale makes of an actual weight at most.
fn seen(gross: Mass) -> Mass {
    (gross - UNSEEN).max(Mass::ZERO)
}

/// The size with every side between nothing and a kilometre.
fn bounded(size: Size) -> Size {
    let [length, width, height] = size.sides().map(|mm| mm.clamp(Decimal::ZERO, LONGEST_SIDE_MM));
    Size { length, width, height }
}

/// The least whole number of steps that is not below `mass`; `mass` itself where there is no step.
fn round_up(mass: Mass, step: Mass) -> Mass {
    let down = round_down(mass, step);
    if down < mass { down + step } else { down }
}

fn round_down(mass: Mass, step: Mass) -> Mass {
    if step.grams() < SMALLEST_STEP {
        return mass;
    }
    let steps = (mass.grams() / step.grams()).floor();
    // The quotient is rounded at 28 digits, so a whole number can come from just below; the product is exact.
    let down = step.times(steps);
    if down > mass { down - step } else { down }
}
