//! What stands in the scenario's files. Masses are written as a person types them (`2 lb 5 oz`, `0.5 kg`), exact numbers
//! between quotation marks.

use jiff::civil::{Date, Time};
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::costs::Costs;
use trade::exchange::Rate;
use trade::freight::{Dimensional, FlatBox, Surcharge, SurchargeWhen, WeightBreak};
use trade::ids::{GradeId, KindId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Currency, PriceUnit, Share};
use trade::outlet::{Drive, PaidWeight, Terms};
use trade::packing::Carton;
use trade::reading::{Reading, read};
use trade::volume::{MM_PER_INCH, Size};

use super::pickups::{PickupEntry, PickupsFile};
use super::runs::{RunEntry, RunsFile};
use super::{DemoError, files};
use crate::store::containers::ContainerKind;
use crate::store::outlets::{OutletDetails, OutletKind, PostTerms, Reach};
use crate::store::services::{ServiceDetails, ServiceRecord, ZoneTable};
use crate::store::shops::{ShopSettings, mass_style_from};

/// Everything but the price sheets themselves.
pub struct Scenario {
    pub shop: ShopSettings,
    pub opened: Moment,
    pub partners: Vec<String>,
    /// Of every partner: the demo keeps nothing that has to be kept from anybody.
    pub passphrase: String,
    pub boxes: Vec<Carton>,
    pub rates: Vec<RateEntry>,
    pub services: Vec<ServiceDetails>,
    pub outlets: Vec<OutletEntry>,
    pub roads: Vec<RoadEntry>,
    /// With the name of the file each stands in.
    pub lots: Vec<(String, LotEntry)>,
    pub pickups: Vec<PickupEntry>,
    pub runs: Vec<RunEntry>,
    pub shipments: Vec<ShipmentEntry>,
    pub cash: Vec<CashLine>,
    pub hours: Vec<HoursLine>,
    pub teardowns: Vec<TeardownEntry>,
}

impl Scenario {
    pub fn read() -> Result<Scenario, DemoError> {
        let shop: ShopFile = files::toml("shop.toml")?;
        let boxes: BoxesFile = files::toml("boxes.toml")?;
        let rates: RatesFile = files::toml("rates.toml")?;
        let services: ServicesFile = files::toml("services.toml")?;
        let outlets: OutletsFile = files::toml("outlets.toml")?;
        let pickups: PickupsFile = files::toml("pickups.toml")?;
        let runs: RunsFile = files::toml("runs.toml")?;
        let shipments: ShipmentsFile = files::toml("shipments.toml")?;
        let cash: CashFile = files::toml("cash.toml")?;
        let teardowns: TeardownsFile = files::toml("teardowns.toml")?;
        let mut lots = Vec::new();
        for name in files::names("lots") {
            let file: LotsFile = files::toml(&name)?;
            lots.extend(file.lot.into_iter().map(|lot| (name.clone(), lot)));
        }
        Ok(Scenario {
            opened: shop.opened.clone(),
            partners: shop.partners.clone(),
            passphrase: shop.passphrase.clone(),
            shop: shop.settings()?,
            boxes: boxes.carton.into_iter().map(BoxEntry::carton).collect(),
            rates: rates.rate,
            services: services.service.into_iter().map(ServiceEntry::details).collect(),
            outlets: outlets.outlet,
            roads: outlets.road,
            lots,
            pickups: pickups.pickup,
            runs: runs.run,
            shipments: shipments.shipment,
            cash: cash.entry,
            hours: cash.hours,
            teardowns: teardowns.teardown,
        })
    }
}

/// So many days before the day of loading, at this time on the shop's clock, by this partner.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Moment {
    pub ago: i16,
    pub at: Time,
    pub by: String,
}

/// A mass as a person types it; it has to mean one thing.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(try_from = "String")]
pub struct Weight(pub Mass);

impl TryFrom<String> for Weight {
    type Error = String;

    fn try_from(typed: String) -> Result<Weight, String> {
        match read(&typed) {
            Ok(Reading::Sure { meaning, .. }) => Ok(Weight(meaning.mass)),
            Ok(Reading::Ask { why, .. }) => Err(format!("{typed}: {why}")),
            Err(problem) => Err(problem.to_string()),
        }
    }
}

/// Length, width and height in inches.
#[derive(Debug, Clone, Copy, Deserialize)]
struct Inches([Decimal; 3]);

impl Inches {
    fn size(self) -> Size {
        let [length, width, height] = self.0.map(|side| side * MM_PER_INCH);
        Size { length, width, height }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ShopFile {
    name: String,
    zone: String,
    weights: String,
    opened: Moment,
    partners: Vec<String>,
    passphrase: String,
    costs: Costs,
}

impl ShopFile {
    fn settings(self) -> Result<ShopSettings, DemoError> {
        let style: Option<MassStyle> = mass_style_from(&self.weights);
        let no_style = || DemoError::of("shop.toml", format!("{} is no spelling of weights", self.weights));
        let style = style.ok_or_else(no_style)?;
        Ok(ShopSettings { name: self.name, zone: self.zone, style, costs: self.costs })
    }
}

#[derive(Deserialize)]
struct BoxesFile {
    #[serde(rename = "box")]
    carton: Vec<BoxEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BoxEntry {
    name: String,
    inner_inches: Inches,
    outer_inches: Inches,
    tare: Weight,
    limit: Weight,
    cost: Decimal,
    at_hand: Option<u32>,
}

impl BoxEntry {
    fn carton(self) -> Carton {
        Carton {
            name: self.name,
            inner: self.inner_inches.size(),
            outer: self.outer_inches.size(),
            tare: self.tare.0,
            limit: self.limit.0,
            cost: self.cost,
            at_hand: self.at_hand,
        }
    }
}

#[derive(Deserialize)]
struct RatesFile {
    rate: Vec<RateEntry>,
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
    pub fn rate(&self, date: Date) -> Rate {
        Rate { date, base: self.base, quote: self.quote, rate: self.rate }
    }
}

#[derive(Deserialize)]
struct ServicesFile {
    service: Vec<ServiceEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ServiceEntry {
    name: String,
    currency: Currency,
    dimensional: Option<Dimensional>,
    step: Weight,
    fuel_percent: Decimal,
    #[serde(default)]
    surcharge: Vec<SurchargeEntry>,
    /// The weights that every zone gives a charge for, in `unit`.
    unit: MassUnit,
    up_to: Vec<Decimal>,
    zone: Vec<ZoneEntry>,
    /// Boxes of the carrier's own, at one charge to every zone.
    #[serde(default)]
    flat_box: Vec<FlatBoxEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SurchargeEntry {
    name: String,
    charge: Decimal,
    heavier_than: Option<Weight>,
    longer_than_inches: Option<Decimal>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ZoneEntry {
    zone: String,
    charges: Vec<Decimal>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FlatBoxEntry {
    name: String,
    inner_inches: Inches,
    limit: Weight,
    charge: Decimal,
}

impl ServiceEntry {
    fn details(self) -> ServiceDetails {
        let flat_boxes: Vec<FlatBox> = self
            .flat_box
            .iter()
            .map(|flat| FlatBox {
                name: flat.name.clone(),
                inner: flat.inner_inches.size(),
                limit: flat.limit.0,
                charge: flat.charge,
            })
            .collect();
        let zones = self.zone.into_iter().map(|zone| ZoneTable {
            zone: zone.zone,
            breaks: self
                .up_to
                .iter()
                .zip(zone.charges)
                .map(|(up_to, charge)| WeightBreak { up_to: Mass::of(*up_to, self.unit), charge })
                .collect(),
            flat_boxes: flat_boxes.clone(),
        });
        ServiceDetails {
            name: self.name,
            currency: self.currency,
            dimensional: self.dimensional,
            step: self.step.0,
            fuel_percent: self.fuel_percent,
            surcharges: self.surcharge.into_iter().map(SurchargeEntry::surcharge).collect(),
            zones: zones.collect(),
        }
    }
}

impl SurchargeEntry {
    fn surcharge(self) -> Surcharge {
        let when = match (self.heavier_than, self.longer_than_inches) {
            (Some(mass), _) => SurchargeWhen::HeavierThan(mass.0),
            (None, Some(inches)) => SurchargeWhen::LongerThan(inches * MM_PER_INCH),
            (None, None) => SurchargeWhen::Always,
        };
        Surcharge { name: self.name, charge: self.charge, when }
    }
}

#[derive(Deserialize)]
struct OutletsFile {
    outlet: Vec<OutletEntry>,
    road: Vec<RoadEntry>,
}

/// A road between two yards, by their names.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoadEntry {
    pub between: [String; 2],
    pub distance_km: Decimal,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutletEntry {
    pub name: String,
    /// Its folder in `sheets`.
    pub sheets: String,
    place: String,
    currency: Currency,
    usual_unit: PriceUnit,
    note: String,
    drive: Option<Drive>,
    post: Option<PostEntry>,
    #[serde(default)]
    terms: TermsEntry,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PostEntry {
    /// Service and zone.
    services: Vec<(String, String)>,
    border: Decimal,
    insurance: Share,
    packing_minutes: Decimal,
}

/// What an outlet's entry leaves out it does not ask for.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct TermsEntry {
    weight_deduction: Share,
    paid_weight: PaidWeight,
    downgrade_chance: Share,
    downgrade_drop: Share,
    percent_fee: Share,
    flat_fee: Decimal,
    exchange_spread: Share,
    payout_fee: Decimal,
    days_to_pay: u32,
    minimum_payout: Decimal,
    minimum_grade: Weight,
    minimum_delivery: Weight,
}

impl OutletEntry {
    pub fn details(&self, services: &[ServiceRecord]) -> Result<OutletDetails, DemoError> {
        let kind = match (&self.drive, &self.post) {
            (Some(drive), None) => OutletKind::Yard(*drive),
            (None, Some(post)) => OutletKind::MailIn(post.terms(&self.name, services)?),
            _ => {
                let problem = format!("{} needs either a drive or a post", self.name);
                return Err(DemoError::of("outlets.toml", problem));
            }
        };
        Ok(OutletDetails {
            name: self.name.clone(),
            place: self.place.clone(),
            currency: self.currency,
            usual_unit: self.usual_unit,
            note: self.note.clone(),
            kind,
            terms: self.terms.terms(),
        })
    }
}

impl PostEntry {
    fn terms(&self, outlet: &str, services: &[ServiceRecord]) -> Result<PostTerms, DemoError> {
        let reach = |(name, zone): &(String, String)| {
            let service = services.iter().find(|s| s.details.name == *name && s.details.zone(zone).is_some());
            let missing = || format!("{outlet}: no service {name} goes to zone {zone}");
            let service = service.ok_or_else(|| DemoError::of("outlets.toml", missing()))?;
            Ok(Reach { service_id: service.id.clone(), zone: zone.clone() })
        };
        Ok(PostTerms {
            services: self.services.iter().map(reach).collect::<Result<_, DemoError>>()?,
            border: self.border,
            insurance: self.insurance,
            packing_minutes: self.packing_minutes,
        })
    }
}

impl TermsEntry {
    fn terms(&self) -> Terms {
        Terms {
            weight_deduction: self.weight_deduction,
            paid_weight: self.paid_weight,
            downgrade_chance: self.downgrade_chance,
            downgrade_drop: self.downgrade_drop,
            percent_fee: self.percent_fee,
            flat_fee: self.flat_fee,
            exchange_spread: self.exchange_spread,
            payout_fee: self.payout_fee,
            days_to_pay: self.days_to_pay,
            minimum_payout: self.minimum_payout,
            minimum_grade: self.minimum_grade.0,
            minimum_delivery: self.minimum_delivery.0,
        }
    }
}

#[derive(Deserialize)]
struct LotsFile {
    lot: Vec<LotEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotEntry {
    /// The label of its container.
    pub label: String,
    kind: String,
    pub tare: Weight,
    pub grade: GradeId,
    /// Where it came from, in the shop's words.
    pub from: String,
    pub weighed: Vec<WeighedEntry>,
}

impl LotEntry {
    pub fn kind(&self) -> Option<ContainerKind> {
        ContainerKind::from_code(&self.kind)
    }
}

/// One weigh-in.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WeighedEntry {
    pub ago: i16,
    pub at: Time,
    pub by: String,
    /// The reading as it was typed.
    pub typed: String,
    /// What the partner answered where the reading means more than one thing.
    pub meant: Option<String>,
    /// The tub that went on the scale with it.
    #[serde(default)]
    pub tare: Weight,
    /// The whole container was on the scale, with what was in it before.
    #[serde(default)]
    pub whole: bool,
    #[serde(default)]
    pub pieces: u32,
    /// When it was taken back.
    pub undone: Option<Time>,
}

#[derive(Deserialize)]
struct ShipmentsFile {
    shipment: Vec<ShipmentEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShipmentEntry {
    pub outlet: String,
    /// Labels of the containers.
    pub lots: Vec<String>,
    pub made: Moment,
    /// Left out while its boxes are open.
    pub packed: Option<Moment>,
    /// Left out while it is waiting.
    pub sent: Option<Moment>,
    pub waybill: Option<WaybillEntry>,
    pub settlement: Option<SettlementEntry>,
}

/// How a shipment was carried; costs in home currency.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WaybillEntry {
    pub carrier: String,
    pub tracking: String,
    pub freight: Decimal,
    /// Each with its weight, closed, as it was typed.
    pub boxes: Vec<(String, String)>,
}

/// What the buyer's paper says, in the buyer's currency.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SettlementEntry {
    pub entered: Moment,
    pub number: String,
    /// Days before the day of loading.
    pub dated: i16,
    pub paid_on: i16,
    pub paid: Decimal,
    pub line: Vec<SettlementLineEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SettlementLineEntry {
    pub wording: String,
    pub grade: GradeId,
    pub mass: Weight,
    /// Per pound.
    pub price: Decimal,
    pub amount: Decimal,
    /// Labels of the containers.
    pub lots: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CashFile {
    entry: Vec<CashLine>,
    hours: Vec<HoursLine>,
}

/// An entry of the cash book, made in the evening of its day.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CashLine {
    pub ago: i16,
    pub by: String,
    pub kind: String,
    pub amount: Decimal,
    /// Left out where it is the home currency.
    pub currency: Option<Currency>,
    pub outlet: Option<String>,
    pub grade: Option<String>,
    pub partner: Option<String>,
    #[serde(default)]
    pub note: String,
}

/// Hours of a partner, written down in the evening of their day.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HoursLine {
    pub ago: i16,
    pub by: String,
    pub work: String,
    pub hours: String,
}

#[derive(Deserialize)]
struct TeardownsFile {
    teardown: Vec<TeardownEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TeardownEntry {
    pub kind: KindId,
    /// Where it came from, in the shop's words.
    pub from: String,
    pub begun: Moment,
    pub whole: Typed,
    /// What the timer showed in the end.
    pub minutes: i64,
    pub parts: Vec<PartEntry>,
    pub waste: Option<Typed>,
    pub finished: bool,
}

/// A part that was weighed in on the lot in the container with this label.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartEntry {
    pub part: String,
    pub lot: String,
    pub typed: Typed,
    #[serde(default)]
    pub pieces: u32,
}

/// A weight with the reading as it was typed.
#[derive(Debug, Clone, Deserialize)]
#[serde(try_from = "String")]
pub struct Typed {
    pub typed: String,
    weight: Weight,
}

impl Typed {
    pub fn mass(&self) -> Mass {
        self.weight.0
    }
}

impl TryFrom<String> for Typed {
    type Error = String;

    fn try_from(typed: String) -> Result<Typed, String> {
        Ok(Typed { weight: Weight::try_from(typed.clone())?, typed })
    }
}
