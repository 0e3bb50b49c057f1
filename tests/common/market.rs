//! A small market to sell on: yards, mail-in buyers, a carrier with one box, and price sheets.
//!
//! The figures are round, so that a story's comment can work a net out by hand. With the shop's own costs (18 USD an hour,
//! 0.42 USD a kilometre, 10 % a year for capital and 8 % for risk):
//!
//! - [`TestShop::near_yard`] is 10 km away and takes 30 min: a trip of 20 × 0.42 + 9.00 = 17.40 USD.
//! - [`TestShop::far_yard`] is 25 km away and takes 60 min: a trip of 50 × 0.42 + 18.00 = 39.00 USD.
//! - A parcel of the [`TestShop::carrier`] is a box of 1 lb that costs 1.50 USD and holds 39 lb, 10 min of packing (3.00
//!   USD), and freight by gross weight: up to 5 lb 8.00, 10 lb 12.00, 20 lb 20.00, 40 lb 32.00 USD.

use jiff::{Timestamp, ToSpan};
use pennyweight::shelf::Shelf;
use pennyweight::store::files::{add_file, sha256};
use pennyweight::store::outlets::{OutletDetails, OutletKind, PostTerms, Reach};
use pennyweight::store::quotes::NewQuote;
use pennyweight::store::rates::save_rates;
use pennyweight::store::services::{ServiceDetails, ZoneTable};
use pennyweight::store::sheets::{NewSheet, add_sheet};
use pennyweight::store::shipments::NewShipment;
use pennyweight::store::shops::{Shop, ShopSettings};
use pennyweight::store::weighings::{NewWeighing, WeighingKind};
use pennyweight::store::{By, new_id};
use rust_decimal::{Decimal, dec};
use trade::exchange::Rate;
use trade::freight::WeightBreak;
use trade::ids::{LotId, OutletId};
use trade::mass::{Mass, MassStyle};
use trade::money::{Currency, PriceUnit};
use trade::net::{Load, deliver};
use trade::outlet::{Drive, Terms};
use trade::packing::Carton;
use trade::settlement::Promise;
use trade::volume::Size;

use super::{TestShop, mass};

/// A line of a sheet: the grade and its price, like `1.10/lb`, `-0.15/kg`, `8/each` or `1.20/lb from 10 lb`.
pub type Line<'a> = (&'a str, &'a str);

/// A yard with plain terms.
pub fn yard(name: &str, km: i64, minutes: i64) -> OutletDetails {
    let drive = Drive { distance_km: km.into(), minutes: minutes.into() };
    OutletDetails {
        name: name.into(),
        place: String::new(),
        currency: Currency::USD,
        usual_unit: PriceUnit::from_code("lb").expect("a unit"),
        note: String::new(),
        kind: OutletKind::Yard(drive),
        terms: Terms::default(),
    }
}

/// A mail-in buyer with plain terms that the carrier reaches.
pub fn buyer(name: &str, carrier: &str) -> OutletDetails {
    let reach = Reach { service_id: carrier.into(), zone: "4".into() };
    let post = PostTerms { services: vec![reach], packing_minutes: dec!(10), ..PostTerms::default() };
    OutletDetails { kind: OutletKind::MailIn(post), ..yard(name, 0, 0) }
}

impl TestShop {
    pub async fn near_yard(&self, lines: &[Line<'_>]) -> OutletId {
        self.outlet(&yard("Quay Metals", 10, 30), lines).await
    }

    pub async fn far_yard(&self, lines: &[Line<'_>]) -> OutletId {
        self.outlet(&yard("Harbour Yard", 25, 60), lines).await
    }

    /// Sets up an outlet and, with lines, today's sheet of it.
    pub async fn outlet(&self, details: &OutletDetails, lines: &[Line<'_>]) -> OutletId {
        let id = new_id();
        self.store.create_outlet(&self.by(), &id, details).await.expect("an outlet");
        let id = OutletId::new(id);
        if !lines.is_empty() {
            self.sheet(&id, 0, lines).await;
        }
        id
    }

    /// Stores a sheet that came so many days ago and gives its id.
    pub async fn sheet(&self, outlet: &OutletId, days_ago: i32, lines: &[Line<'_>]) -> String {
        let currency =
            self.store.outlet(&self.id, outlet.as_str()).await.expect("the outlet").details.currency;
        let text: String = lines.iter().map(|(grade, price)| format!("{grade} {price}\n")).collect();
        let bytes = format!("{outlet} {days_ago}\n{text}").into_bytes();
        let sheet = NewSheet {
            id: new_id(),
            outlet_id: outlet.clone(),
            valid_from: self.today().saturating_sub(days_ago.days()),
            sha256: sha256(&bytes),
            quotes: lines.iter().map(|line| quote(*line, currency)).collect(),
        };
        let by = self.by_ago(days_ago);
        let mut tx = self.store.begin().await.expect("a transaction");
        add_file(&mut tx, &by, &sheet.sha256, "sheet.txt", &bytes).await.expect("its file");
        add_sheet(&mut tx, &by, &sheet).await.expect("a sheet");
        tx.commit().await.expect("the sheet is saved");
        sheet.id
    }

    /// The carrier's service with the box; gives the service's id.
    pub async fn carrier(&self) -> String {
        let id = new_id();
        let breaks = [("5 lb", dec!(8)), ("10 lb", dec!(12)), ("20 lb", dec!(20)), ("40 lb", dec!(32))]
            .map(|(up_to, charge)| WeightBreak { up_to: mass(up_to), charge });
        let service = ServiceDetails {
            name: "Lake Parcel".into(),
            currency: Currency::USD,
            dimensional: None,
            step: mass("1 lb"),
            fuel_percent: Decimal::ZERO,
            surcharges: Vec::new(),
            zones: vec![ZoneTable { zone: "4".into(), breaks: breaks.into(), flat_boxes: Vec::new() }],
        };
        self.store.create_service(&self.by(), &id, &service).await.expect("a service");
        // 216 litres: even loose boards of 0.22 g/cm3 reach the box's limit by mass first.
        let side = Size { length: dec!(600), width: dec!(600), height: dec!(600) };
        let carton = Carton {
            name: "Large box".into(),
            inner: side,
            outer: side,
            tare: mass("1 lb"),
            limit: mass("39 lb"),
            cost: dec!(1.50),
            at_hand: None,
        };
        self.store.create_carton(&self.by(), &new_id(), &carton).await.expect("a box");
        id
    }

    /// The first partner, so many days ago.
    pub fn by_ago(&self, days_ago: i32) -> By {
        By { at: ago(days_ago), ..self.by() }
    }

    /// Puts on file what a CAD was worth so many days ago, in USD.
    pub async fn cad_rate(&self, days_ago: i32, rate: Decimal) {
        let date = self.today().saturating_sub(days_ago.days());
        let rate = Rate { date, base: Currency::CAD, quote: Currency::USD, rate };
        let mut tx = self.store.begin().await.expect("a transaction");
        save_rates(&mut tx, &self.by_ago(days_ago), &[rate], "typed").await.expect("a rate");
        tx.commit().await.expect("the rate is saved");
    }

    /// A bag with something in it.
    pub async fn filled(&self, label: &str, grade: &str, net: &str) -> String {
        let lot = self.bag(label, grade).await;
        self.put(&lot, net).await;
        lot
    }

    /// Puts a net mass on a lot, so many days ago.
    pub async fn put_ago(&self, lot: &str, net: &str, days_ago: i32) {
        let weighing = NewWeighing {
            net: mass(net),
            gross: mass(net),
            typed: net,
            ..NewWeighing::transfer(lot, WeighingKind::WeighIn)
        };
        self.store.weigh_in(&self.by_ago(days_ago), &weighing).await.expect("the lot takes it");
    }

    /// A bag that a pound has gone into in each of the last five weeks, with `before` in it from long ago: older than
    /// what the fill rate is told by. It fills by a pound a week, 64.79891 g a day.
    pub async fn filling_bag(&self, label: &str, grade: &str, before: &str) -> String {
        let lot = self.bag(label, grade).await;
        if before != "0" {
            self.put_ago(&lot, before, 150).await;
        }
        // The first one only opens the count; four whole weeks follow.
        for days_ago in [30, 25, 18, 11, 4] {
            self.put_ago(&lot, "1 lb", days_ago).await;
        }
        lot
    }

    /// Counts pieces onto a lot, which need some mass.
    pub async fn put_pieces(&self, lot: &str, net: &str, pieces: i64) {
        let weighing = NewWeighing {
            net: mass(net),
            gross: mass(net),
            pieces,
            typed: net,
            ..NewWeighing::transfer(lot, WeighingKind::WeighIn)
        };
        self.store.weigh_in(&self.by(), &weighing).await.expect("the lot takes it");
    }

    /// Makes a shipment as it was made so many days ago, and gives its id.
    pub async fn packed(&self, lots: &[&str], outlet: &OutletId, days_ago: i32) -> String {
        let shelf = self.shelf().await;
        let loads: Vec<Load> = lots.iter().filter_map(|lot| shelf.load_of(&LotId::new(*lot))).collect();
        let buyer = shelf.outlet(outlet).expect("the buyer");
        let ladder = deliver(buyer, &loads, &shelf.facts).expect("the buyer takes it");
        let promise = Promise::of(&ladder, &loads, &buyer.terms, shelf.facts.costs.home);
        let id = new_id();
        let shipment =
            NewShipment { id: &id, outlet_id: outlet, loads: &loads, ladder: &ladder, promise: &promise };
        self.store.make_shipment(&self.by_ago(days_ago), &shipment).await.expect("a shipment");
        id
    }

    /// Makes and sends a shipment, so many days ago.
    pub async fn sent(&self, lots: &[&str], outlet: &OutletId, days_ago: i32) -> String {
        let id = self.packed(lots, outlet, days_ago).await;
        self.store.send_shipment(&self.by_ago(days_ago), &id, 1).await.expect("it leaves");
        id
    }

    /// The shelf as the pages see it.
    pub async fn shelf(&self) -> Shelf {
        Shelf::load(&self.store, &self.shop().await, Timestamp::now()).await.expect("the shelf")
    }

    pub async fn shop(&self) -> Shop {
        self.store.shops().await.expect("the store answers").remove(0)
    }

    /// Changes the shop over to kilograms.
    pub async fn in_kilograms(&self) {
        self.change_shop(|settings| settings.style = MassStyle::Kilograms).await;
    }

    /// Changes the shop's settings.
    pub async fn change_shop(&self, change: impl FnOnce(&mut ShopSettings)) {
        let shop = self.shop().await;
        let zone = shop.zone.iana_name().expect("a zone with a name").to_string();
        let mut settings = ShopSettings { name: shop.name, zone, style: shop.style, costs: shop.costs };
        change(&mut settings);
        self.store.save_shop(&self.by(), shop.version, &settings).await.expect("the shop is saved");
    }

    /// Changes an outlet's set-up.
    pub async fn change_outlet(&self, id: &OutletId, change: impl FnOnce(&mut OutletDetails)) {
        let mut outlet = self.store.outlet(&self.id, id.as_str()).await.expect("the outlet");
        change(&mut outlet.details);
        self.store
            .save_outlet(&self.by(), id.as_str(), outlet.version, &outlet.details)
            .await
            .expect("the outlet is saved");
    }

    /// Stops selling at an outlet.
    pub async fn close_outlet(&self, id: &OutletId) {
        let version = self.store.outlet(&self.id, id.as_str()).await.expect("the outlet").version;
        self.store.close_outlet(&self.by(), id.as_str(), version).await.expect("it closes");
    }
}

/// The moment so many whole days ago.
pub fn ago(days: i32) -> Timestamp {
    Timestamp::now() - (i64::from(days) * 24).hours()
}

fn quote((grade, price): Line<'_>, currency: Currency) -> NewQuote {
    let (price, from) = price.split_once(" from ").unwrap_or((price, "0 lb"));
    let (amount, unit) = price.split_once('/').expect("a price per something");
    NewQuote {
        wording: grade.into(),
        grade_id: Some(grade.into()),
        price: Some((amount.parse().expect("an amount"), None)),
        currency,
        unit: PriceUnit::from_code(unit).expect("a unit"),
        from: if from == "0 lb" { Mass::ZERO } else { mass(from) },
        source: format!("{grade} {price}"),
        place: "line 1".into(),
    }
}

/// The amount that a page shows, like `−1,234.50 USD`.
#[track_caller]
pub fn amount(shown: &str) -> Decimal {
    let number = shown.trim().split(' ').next().unwrap_or_default().replace(',', "").replace('−', "-");
    number.parse().unwrap_or_else(|_| panic!("“{shown}” is not an amount"))
}
