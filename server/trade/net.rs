//! Net value: what reaches the shop's account for one delivery to one outlet, step by step.
//!
//! The list of steps *is* the computation: the net is their sum, and the page draws the same list.

mod by_mass;
mod working;

use std::collections::BTreeMap;

use jiff::civil::Date;
use rust_decimal::{Decimal, dec};

pub use self::by_mass::{FreightSteps, MixOf, NetByMass};
use crate::costs::Facts;
use crate::exchange::Mid;
use crate::ids::{GradeId, LotId};
use crate::mass::{Mass, MassStyle, MassUnit};
use crate::money::{Money, PriceUnit};
use crate::outlet::{Drive, Outlet, Post, Terms, Way};
use crate::packing::{Contents, Packer, Packing, Priced, Unpackable};
use crate::quote::Quote;
use crate::volume::Volume;

/// Days in the year that yearly costs are spread over.
const DAYS: Decimal = dec!(365);

/// One lot, or part of one, as it goes to an outlet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Load {
    pub lot: LotId,
    pub grade: GradeId,
    pub mass: Mass,
    /// For prices quoted each.
    pub pieces: u32,
    pub volume: Volume,
}

/// What a step of the ladder is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StepKind {
    SheetPrice,
    WeightDeduction,
    PaidWeight,
    LearnedWeight,
    Downgrade,
    LearnedDowngrade,
    PercentFee,
    FlatFee,
    ExchangeSpread,
    PayoutFee,
    Freight,
    Boxes,
    PackingTime,
    Border,
    Insurance,
    Trip,
    Waiting,
    LearnedWaiting,
}

impl StepKind {
    pub const fn label(self) -> &'static str {
        match self {
            StepKind::SheetPrice => "At the sheet's price",
            StepKind::WeightDeduction => "Tare and moisture taken off",
            StepKind::PaidWeight => "Their scale against ours",
            StepKind::LearnedWeight => "Their scale, as settled so far",
            StepKind::Downgrade => "Chance of a downgrade",
            StepKind::LearnedDowngrade => "Downgrades, as settled so far",
            StepKind::PercentFee => "Fee by percent",
            StepKind::FlatFee => "Flat fee",
            StepKind::ExchangeSpread => "Lost in exchange",
            StepKind::PayoutFee => "Fee to get paid",
            StepKind::Freight => "Freight",
            StepKind::Boxes => "Boxes",
            StepKind::PackingTime => "Packing time",
            StepKind::Border => "Border and paperwork",
            StepKind::Insurance => "Insurance",
            StepKind::Trip => "The drive",
            StepKind::Waiting => "Waiting for the money",
            StepKind::LearnedWaiting => "Waiting, as paid so far",
        }
    }
}

/// One rung: what it adds or takes, in home currency, and how that was worked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    pub kind: StepKind,
    /// Exact, in home currency; negative where it takes away.
    pub home: Decimal,
    /// The same in the outlet's currency, where that is another one and the step arises in it.
    pub foreign: Option<Money>,
    /// The working: which figures made the step.
    pub working: String,
}

/// A quote applied to one grade of the delivery.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub grade: GradeId,
    pub mass: Mass,
    pub pieces: u32,
    pub quote: Quote,
    /// Mass × price, in the outlet's currency.
    pub amount: Decimal,
}

impl Line {
    /// How the amount came about, with the grade under the name that the reader knows it by.
    pub fn working(&self, grade_name: &str) -> String {
        let price = self.quote.price;
        match price.per {
            PriceUnit::Each => format!("{} {grade_name} × {price}", self.pieces),
            PriceUnit::Mass(unit) => {
                format!("{} {unit} {grade_name} × {price}", self.mass.in_unit(unit).round_dp(3).normalize())
            }
        }
    }
}

/// The whole working of one delivery.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ladder {
    pub lines: Vec<Line>,
    pub steps: Vec<Step>,
    /// Exact, in home currency: the sum of the steps.
    pub net: Decimal,
    pub mass: Mass,
    /// What the outlet is expected to pay out, in its own currency.
    pub payout: Money,
    pub rate: Mid,
    pub packing: Option<Packing>,
    /// The day of the sheet the prices come from.
    pub sheet_date: Option<Date>,
}

impl Ladder {
    /// Net per unit of mass, in home currency; `None` for a delivery without mass.
    pub fn net_per(&self, unit: MassUnit) -> Option<Decimal> {
        (!self.mass.is_zero()).then(|| self.net * unit.grams() / self.mass.grams())
    }

    pub fn step(&self, kind: StepKind) -> Option<&Step> {
        self.steps.iter().find(|step| step.kind == kind)
    }
}

/// Why an outlet does not take a delivery. The text completes "not there: …".
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Closed {
    #[error("nothing to deliver")]
    Nothing,
    #[error("its sheet has no price for {0}")]
    NoQuote(GradeId),
    #[error("it prices {grade} from {} up", both_forms(from))]
    BelowTier { grade: GradeId, from: Mass },
    #[error("it takes {grade} from {} up", both_forms(least))]
    BelowMinimumGrade { grade: GradeId, least: Mass },
    #[error("it takes deliveries from {} up", both_forms(.0))]
    BelowMinimumDelivery(Mass),
    #[error("it pays out from {0} up")]
    BelowMinimumPayout(Money),
    #[error("there is no exchange rate from {0} to {1}")]
    NoRate(&'static str, &'static str),
    #[error("it cannot be packed: {0}")]
    Unpackable(Unpackable),
}

fn both_forms(mass: &Mass) -> String {
    format!("{} ({})", MassStyle::PoundsOunces.show(*mass), MassStyle::Kilograms.show(*mass))
}

/// What reaches the shop for delivering `loads` together to `outlet`: design 2.3, step by step.
///
/// Shared costs (trip, shipment, flat fees) are in it once. Exact: nothing is rounded on the way.
pub fn deliver(outlet: &Outlet, loads: &[Load], facts: &Facts) -> Result<Ladder, Closed> {
    deliver_packed(outlet, loads, facts, packer(outlet, facts)?.as_ref())
}

/// The packing of parcels to an outlet made ready; `None` for a yard.
pub fn packer(outlet: &Outlet, facts: &Facts) -> Result<Option<Packer>, Closed> {
    let Way::Post(post) = &outlet.way else { return Ok(None) };
    let costs = &facts.costs;
    let mut services = Vec::new();
    for service in &post.services {
        let mid = facts
            .rates
            .mid(service.currency, costs.home, facts.today)
            .ok_or(Closed::NoRate(service.currency.code(), costs.home.code()))?;
        services.push(Priced { service, to_home: mid.rate });
    }
    Ok(Some(Packer::new(&facts.cartons, &services, costs.labour(post.packing_minutes))))
}

/// [`deliver`] with the outlet's [`packer`] made ready once for many deliveries.
pub fn deliver_packed(
    outlet: &Outlet,
    loads: &[Load],
    facts: &Facts,
    packer: Option<&Packer>,
) -> Result<Ladder, Closed> {
    deliver_with(outlet, loads, facts, |contents| packer.ok_or(Unpackable::NoService)?.pack(contents))
}

/// What a delivery would net if its parcels cost nothing; `None` where the outlet does not take it.
fn net_before_packing(outlet: &Outlet, loads: &[Load], facts: &Facts) -> Option<Decimal> {
    deliver_with(outlet, loads, facts, |_| Ok(Packing::default())).ok().map(|ladder| ladder.net)
}

fn deliver_with(
    outlet: &Outlet,
    loads: &[Load],
    facts: &Facts,
    pack: impl FnOnce(Contents) -> Result<Packing, Unpackable>,
) -> Result<Ladder, Closed> {
    let terms = &outlet.terms;
    let home = facts.costs.home;
    let mass: Mass = loads.iter().map(|load| load.mass).sum();
    if loads.is_empty() {
        return Err(Closed::Nothing);
    }
    if mass < terms.minimum_delivery {
        return Err(Closed::BelowMinimumDelivery(terms.minimum_delivery));
    }
    let rate = facts
        .rates
        .mid(outlet.currency, home, facts.today)
        .ok_or(Closed::NoRate(outlet.currency.code(), home.code()))?;
    let lines = price_lines(outlet, loads)?;

    let mut ladder =
        Building { steps: Vec::new(), outlet, rate: rate.rate, foreign: outlet.currency != home };
    let paid = Paid::of(&lines, outlet);
    ladder.outlet_step(
        StepKind::SheetPrice,
        paid.at_sheet,
        lines.iter().map(|line| line.working(line.grade.as_str())).collect::<Vec<_>>().join("; "),
    );
    ladder.outlet_step(
        StepKind::WeightDeduction,
        -paid.deducted,
        format!("{} of the weight", terms.weight_deduction),
    );
    let (kind, working) = working::scale(&lines, outlet);
    ladder.outlet_step(kind, paid.by_their_scale, working);
    let (kind, working) = working::downgrade(&lines, outlet);
    ladder.outlet_step(kind, -paid.downgrade, working);
    ladder.outlet_step(StepKind::PercentFee, -paid.fee, terms.percent_fee.to_string());
    ladder.outlet_step(StepKind::FlatFee, -terms.flat_fee, "once for the delivery".into());

    let paid = paid.out(terms);
    let payout = Money::new(paid, outlet.currency);
    if !terms.minimum_payout.is_zero() && paid < terms.minimum_payout {
        return Err(Closed::BelowMinimumPayout(Money::new(terms.minimum_payout, outlet.currency)));
    }

    let at_mid = paid * rate.rate;
    if ladder.foreign {
        // The bank takes its spread whichever way the money flows.
        let spread = at_mid.abs() * terms.exchange_spread.get();
        let dated = rate.date.map_or(String::new(), |d| format!(" of {d}"));
        let working = format!(
            "{payout} at {} {}/{}{dated}, bank's spread {}",
            rate.rate.round_dp(6).normalize(),
            home.code(),
            outlet.currency.code(),
            terms.exchange_spread
        );
        ladder.home_step(StepKind::ExchangeSpread, -spread, working);
    }
    ladder.home_step(StepKind::PayoutFee, -terms.payout_fee, "once for the payment".into());
    let received = ladder.sum();

    let packing = match &outlet.way {
        Way::Drive(drive) => {
            ladder.trip(drive, facts);
            None
        }
        Way::Post(post) => Some(ladder.shipment(post, loads, mass, at_mid, facts, pack)?),
    };

    let capital = facts.costs.capital_per_year;
    let waiting = received * capital.get() * outlet.days_to_pay() / DAYS;
    let (kind, working) = match outlet.learned.as_ref().and_then(|learned| learned.days()) {
        Some(days) => {
            (StepKind::LearnedWaiting, format!("{} at {capital} a year", working::learned_days(&days)))
        }
        None => (StepKind::Waiting, format!("{} days at {capital} a year", terms.days_to_pay)),
    };
    ladder.home_step(kind, -waiting, working);

    let net = ladder.sum();
    let steps = ladder.steps;
    Ok(Ladder { lines, steps, net, mass, payout, rate, packing, sheet_date: outlet.sheet_date })
}

/// Each grade of the delivery at the tier that its total reaches.
fn price_lines(outlet: &Outlet, loads: &[Load]) -> Result<Vec<Line>, Closed> {
    let mut totals: BTreeMap<&GradeId, (Mass, u32)> = BTreeMap::new();
    for load in loads {
        let total = totals.entry(&load.grade).or_default();
        total.0 += load.mass;
        total.1 = total.1.saturating_add(load.pieces);
    }
    let line = |(grade, (mass, pieces)): (&GradeId, (Mass, u32))| {
        let quotes = outlet.quotes.get(grade).ok_or_else(|| Closed::NoQuote(grade.clone()))?;
        let least = outlet.terms.minimum_grade;
        if mass < least {
            return Err(Closed::BelowMinimumGrade { grade: grade.clone(), least });
        }
        let quote = quotes
            .at(mass)
            .ok_or_else(|| Closed::BelowTier { grade: grade.clone(), from: quotes.tiers()[0].from })?;
        let amount = quote.price.of(mass, pieces).amount;
        Ok(Line { grade: grade.clone(), mass, pieces, quote: *quote, amount })
    };
    totals.into_iter().map(line).collect()
}

/// What an outlet pays for the lines of a delivery, part by part, in its own currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Paid {
    pub at_sheet: Decimal,
    /// Tare and moisture, taken off what is weighed.
    pub deducted: Decimal,
    /// What their scale finds over ours; less than nothing where it finds less.
    pub by_their_scale: Decimal,
    pub downgrade: Decimal,
    pub fee: Decimal,
}

impl Paid {
    pub fn of(lines: &[Line], outlet: &Outlet) -> Paid {
        let terms = &outlet.terms;
        let mut paid = Paid::default();
        for line in lines {
            paid.at_sheet += line.amount;
            // Pieces are counted, not weighed.
            let mut left = line.amount;
            if line.quote.price.per != PriceUnit::Each {
                let deducted = left * terms.weight_deduction.get();
                let by_their_scale = (left - deducted) * (outlet.paid_weight(&line.grade) - Decimal::ONE);
                paid.deducted += deducted;
                paid.by_their_scale += by_their_scale;
                left += by_their_scale - deducted;
            }
            // Charges cannot be downgraded and carry no fee: both apply to what pays.
            if line.amount > Decimal::ZERO {
                let downgrade = left * outlet.lost_to_downgrades(&line.grade);
                paid.downgrade += downgrade;
                paid.fee += (left - downgrade) * terms.percent_fee.get();
            }
        }
        paid
    }

    /// What is paid out in the end.
    pub fn out(&self, terms: &Terms) -> Decimal {
        self.at_sheet - self.deducted + self.by_their_scale - self.downgrade - self.fee - terms.flat_fee
    }
}

struct Building<'a> {
    steps: Vec<Step>,
    outlet: &'a Outlet,
    rate: Decimal,
    foreign: bool,
}

impl Building<'_> {
    fn sum(&self) -> Decimal {
        self.steps.iter().map(|step| step.home).sum()
    }

    /// A step that arises in the outlet's currency; it stands in the ladder at the mid rate.
    fn outlet_step(&mut self, kind: StepKind, amount: Decimal, working: String) {
        if amount.is_zero() && kind != StepKind::SheetPrice {
            return;
        }
        let foreign = self.foreign.then(|| Money::new(amount, self.outlet.currency));
        self.steps.push(Step { kind, home: amount * self.rate, foreign, working });
    }

    fn home_step(&mut self, kind: StepKind, home: Decimal, working: String) {
        if !home.is_zero() {
            self.steps.push(Step { kind, home, foreign: None, working });
        }
    }

    fn trip(&mut self, drive: &Drive, facts: &Facts) {
        let costs = &facts.costs;
        let distance = drive.distance_km * dec!(2);
        let cost = drive.cost(costs);
        let working = format!(
            "{} km there and back at {}, {} min at {} an hour",
            distance.normalize(),
            working::rate(costs.truck_per_km, costs.home),
            drive.minutes.normalize(),
            working::rate(costs.labour_per_hour, costs.home)
        );
        self.home_step(StepKind::Trip, -cost, working);
    }

    fn shipment(
        &mut self,
        post: &Post,
        loads: &[Load],
        mass: Mass,
        at_mid: Decimal,
        facts: &Facts,
        pack: impl FnOnce(Contents) -> Result<Packing, Unpackable>,
    ) -> Result<Packing, Closed> {
        let costs = &facts.costs;
        let contents = Contents { mass, volume: loads.iter().map(|load| load.volume).sum() };
        let packing = pack(contents).map_err(Closed::Unpackable)?;

        self.home_step(StepKind::Freight, -packing.freight, working::freight(&packing, facts.style));
        self.home_step(StepKind::Boxes, -packing.boxes, working::boxes(&packing));
        let minutes = format!("{} × {} min", packing.count(), post.packing_minutes.normalize());
        self.home_step(StepKind::PackingTime, -packing.labour, minutes);
        self.home_step(StepKind::Border, -post.border, "once for the shipment".into());
        let insured = at_mid.max(Decimal::ZERO);
        let insurance = insured * post.insurance.get();
        let working = format!("{} of {}", post.insurance, Money::new(insured, costs.home));
        self.home_step(StepKind::Insurance, -insurance, working);
        Ok(packing)
    }
}
