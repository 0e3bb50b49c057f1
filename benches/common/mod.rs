//! A shop to measure, in a record of its own.
#![allow(dead_code, reason = "each bench wants some of it")]

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use jiff::{Timestamp, ToSpan};
use pennyweight::catalogue;
use pennyweight::secret::Token;
use pennyweight::store::containers::{ContainerDetails, ContainerKind};
use pennyweight::store::files::{add_file, sha256};
use pennyweight::store::lots::{NewLot, Target};
use pennyweight::store::outlets::{OutletDetails, OutletKind};
use pennyweight::store::partners::{Partner, Role, add_partner};
use pennyweight::store::quotes::NewQuote;
use pennyweight::store::sessions::{NewSession, begin_session};
use pennyweight::store::sheets::{NewSheet, add_sheet};
use pennyweight::store::shops::{ShopSettings, add_shop};
use pennyweight::store::weighings::{NewWeighing, WeighingKind};
use pennyweight::store::{By, Place, Store, Tx, new_id};
use rust_decimal::Decimal;
use trade::costs::Costs;

use trade::ids::OutletId;
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Currency, PriceUnit, Share};
use trade::outlet::{Drive, Terms};

pub struct Shop {
    pub store: Store,
    pub by: By,
    /// What the cookie of a signed-in phone holds.
    pub cookie: String,
    /// What its forms carry.
    pub form_token: String,
    pub outlet: OutletId,
}

impl Shop {
    /// With one partner, one yard and the grade catalogue, in the file that `serve --data folder` opens.
    pub async fn in_folder(folder: &Path) -> Shop {
        let store = Store::open(&Place::File(folder.join("pennyweight.db"))).await.unwrap();
        let by = By { shop_id: new_id(), partner_id: new_id(), at: Timestamp::now() };
        let partner = Partner { id: by.partner_id.clone(), name: "Imke".into(), role: Role::Partner };
        let mut tx = store.begin().await.unwrap();
        add_shop(&mut tx, &by, &settings(), &partner).await.unwrap();
        add_partner(&mut tx, &by, &partner).await.unwrap();
        let token = signed_in(&mut tx, &by).await;
        catalogue::fill(&mut tx, &by.shop_id).await.unwrap();
        tx.commit().await.unwrap();
        let drive = Drive { distance_km: 10.into(), minutes: 30.into() };
        let outlet = add_outlet(&store, &by, "Quay Metals", OutletKind::Yard(drive)).await;
        Shop { store, by, cookie: cookie(&token), form_token: token.form_token(), outlet }
    }

    pub async fn outlet(&self, name: &str, kind: OutletKind) -> OutletId {
        add_outlet(&self.store, &self.by, name, kind).await
    }

    /// A lot in a bag of its own with some mass in it; gives its id.
    pub async fn lot(&self, label: &str, grade: &str) -> String {
        self.lot_of(label, grade, 7).await
    }

    /// A lot of so many pounds in a bag of its own; gives its id.
    pub async fn lot_of(&self, label: &str, grade: &str, pounds: u32) -> String {
        let id = new_id();
        let tare = Mass::of(Decimal::TWO, MassUnit::Ounce);
        let details = ContainerDetails { label: label.into(), kind: ContainerKind::Bag, tare };
        let container = Target::New { id: new_id(), details };
        let lot = NewLot { id: &id, container, grade: grade.into(), source: "" };
        self.store.open_lot(&self.by, &lot).await.unwrap();
        let net = Mass::of(pounds.into(), MassUnit::Pound);
        let weighing = NewWeighing {
            id: new_id().into(),
            net,
            gross: net,
            typed: &format!("{pounds} lb"),
            ..NewWeighing::transfer(&id, WeighingKind::WeighIn)
        };
        self.store.weigh_in(&self.by, &weighing).await.unwrap();
        id
    }

    /// A sheet of the yard that pays for these grades.
    pub async fn pays(&self, grades: &[&str]) {
        let quotes: Vec<_> = grades.iter().zip(100..).map(|(grade, cents)| (*grade, 0, cents)).collect();
        self.outlet_pays(&self.outlet, &quotes).await;
    }

    /// A sheet of an outlet: for each grade, from how many pounds it pays how many cents a pound.
    pub async fn outlet_pays(&self, outlet: &OutletId, quotes: &[(&str, u32, i64)]) {
        let quote = |(at, &(grade, from, cents)): (usize, &(&str, u32, i64))| NewQuote {
            wording: grade.to_string(),
            grade_id: Some(grade.into()),
            price: Some((Decimal::new(cents, 2), None)),
            currency: Currency::USD,
            unit: PriceUnit::Mass(MassUnit::Pound),
            from: Mass::of(from.into(), MassUnit::Pound),
            source: grade.to_string(),
            place: format!("line {at}"),
        };
        let sheet = NewSheet {
            id: new_id(),
            outlet_id: outlet.clone(),
            valid_from: self.by.at.in_tz("UTC").unwrap().date().saturating_sub(1.day()),
            sha256: sha256(b"prices"),
            quotes: quotes.iter().enumerate().map(quote).collect(),
        };
        let mut tx = self.store.begin().await.unwrap();
        add_file(&mut tx, &self.by, &sheet.sha256, "prices.txt", b"prices").await.unwrap();
        add_sheet(&mut tx, &self.by, &sheet).await.unwrap();
        tx.commit().await.unwrap();
    }
}

async fn add_outlet(store: &Store, by: &By, name: &str, kind: OutletKind) -> OutletId {
    let id = new_id();
    let details = OutletDetails {
        name: name.into(),
        place: String::new(),
        currency: Currency::USD,
        usual_unit: PriceUnit::Mass(MassUnit::Pound),
        note: String::new(),
        kind,
        terms: Terms::default(),
    };
    store.create_outlet(by, &id, &details).await.unwrap();
    OutletId::new(id)
}

/// A phone that is signed in as whoever `by` is.
pub async fn signed_in(tx: &mut Tx, by: &By) -> Token {
    let token = Token::random();
    let session = NewSession { id: &new_id(), token_sha256: &token.hash(), phone: "a bench" };
    begin_session(tx, by, &session).await.unwrap();
    token
}

/// What such a phone sends with each request.
pub fn cookie(token: &Token) -> String {
    format!("session={}", token.text())
}

/// The one in the middle, in milliseconds.
pub fn median(mut times: Vec<Duration>) -> f64 {
    times.sort_unstable();
    times[times.len() / 2].as_secs_f64() * 1e3
}

fn settings() -> ShopSettings {
    let share = |percent| Share::new(Decimal::new(percent, 2)).unwrap();
    ShopSettings {
        name: "Heron Street Salvage".into(),
        zone: "America/Detroit".into(),
        style: MassStyle::PoundsOunces,
        costs: Costs {
            home: Currency::USD,
            labour_per_hour: 18.into(),
            truck_per_km: Decimal::new(42, 2),
            capital_per_year: share(10),
            risk_per_year: share(8),
        },
    }
}

/// The program that serves a record, for as long as this lives, whatever ends it.
pub struct Program {
    child: Child,
    pub port: u16,
}

impl Program {
    /// On a port that is free. It takes a moment to answer.
    pub fn serve(folder: &Path) -> Program {
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let child = Command::new(env!("CARGO_BIN_EXE_pennyweight"))
            .args(["serve", "--no-mdns", "--no-backups", "--listen", &format!("127.0.0.1:{port}"), "--data"])
            .arg(folder)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        Program { child, port }
    }

    pub fn address(&self, path: &str) -> String {
        format!("http://127.0.0.1:{}{path}", self.port)
    }

    pub fn wait_until_it_answers(&mut self) {
        while ureq::get(self.address("/healthz")).call().is_err() {
            assert!(self.child.try_wait().unwrap().is_none(), "the program ended by itself");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// A figure of its memory in MB (proc(5)): `VmRSS` is what it has now, `VmHWM` the most it ever had.
    pub fn memory(&self, figure: &str) -> f64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find(|line| line.starts_with(&format!("{figure}:"))).unwrap();
        line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1e3
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
