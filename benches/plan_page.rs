//! The page of the sell plan for a full shelf: 200 lots, twelve outlets, half of them by mail.
//!
//! `cargo bench --bench plan_page` starts the program and prints how long the page takes right after a weighing, and how often
//! that is the plan from before it; how long it is until the new plan is shown; and how long the page takes once the plan is
//! known, when all it does is to write it down.

#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]

mod common;

use std::time::{Duration, Instant};

use common::{Program, Shop};
use pennyweight::catalogue::GRADES;
use pennyweight::secret::Token;
use pennyweight::store::new_id;
use pennyweight::store::outlets::{OutletKind, PostTerms, Reach};
use pennyweight::store::services::{ServiceDetails, ZoneTable};
use rust_decimal::{Decimal, dec};
use tokio::runtime::Runtime;
use trade::freight::WeightBreak;
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, Share};
use trade::outlet::Drive;
use trade::packing::Carton;
use trade::volume::Size;

const LOTS: u32 = 200;
const OUTLETS: u32 = 12;
const KINDS: usize = 20;
const ROUNDS: u32 = 15;
/// What the page says where a newer plan is being found.
const OLDER: &str = "This is the plan from before that.";
/// A plan is there long before.
const LONGEST: Duration = Duration::from_secs(30);

/// The shelf, the same on every run; gives the lots' ids.
async fn fill(shop: &Shop) -> Vec<String> {
    let mut rng = fastrand::Rng::with_seed(6);
    let grades: Vec<&str> = GRADES.iter().map(|grade| grade.slug.as_str()).step_by(3).take(KINDS).collect();
    let worth: Vec<u32> = grades.iter().map(|_| rng.u32(20..=900)).collect();
    let service = new_id();
    let breaks = (1..=70u32).map(|pounds| WeightBreak {
        up_to: Mass::of(pounds.into(), MassUnit::Pound),
        charge: dec!(8.40) + Decimal::from(pounds) * dec!(0.62),
    });
    let zone = ZoneTable { zone: "4".into(), breaks: breaks.collect(), flat_boxes: Vec::new() };
    let details = ServiceDetails {
        name: "Lake Parcel".into(),
        currency: Currency::USD,
        dimensional: None,
        step: Mass::of(Decimal::ONE, MassUnit::Pound),
        fuel_percent: dec!(7.5),
        surcharges: Vec::new(),
        zones: vec![zone],
    };
    shop.store.create_service(&shop.by, &service, &details).await.unwrap();
    let side = |inches: Decimal| Size::inches(inches, inches, inches);
    let carton = Carton {
        name: "14 inch cube".into(),
        inner: side(dec!(14)),
        outer: side(dec!(14.5)),
        tare: Mass::of(dec!(1.2), MassUnit::Pound),
        limit: Mass::of(dec!(65), MassUnit::Pound),
        cost: dec!(1.95),
        at_hand: None,
    };
    shop.store.create_carton(&shop.by, &new_id(), &carton).await.unwrap();
    for at in 0..OUTLETS {
        let kind = if at % 2 == 0 {
            let distance_km = rng.u32(4..=60).into();
            OutletKind::Yard(Drive { distance_km, minutes: rng.u32(25..=90).into() })
        } else {
            OutletKind::MailIn(PostTerms {
                services: vec![Reach { service_id: service.clone(), zone: "4".into() }],
                border: dec!(0),
                insurance: Share::percent(dec!(1)).unwrap(),
                packing_minutes: dec!(9),
            })
        };
        let outlet = shop.outlet(&format!("Outlet {at}"), kind).await;
        let mut quotes = Vec::new();
        for (&grade, &worth) in grades.iter().zip(&worth) {
            if rng.u32(0..100) < 55 {
                let cents = i64::from(worth * rng.u32(75..=105) / 100);
                quotes.push((grade, 0, cents));
                quotes.push((grade, rng.u32(60..=160), cents * 104 / 100));
            }
        }
        shop.outlet_pays(&outlet, &quotes).await;
    }
    let mut lots = Vec::new();
    for at in 0..LOTS {
        let grade = grades[at as usize % grades.len()];
        lots.push(shop.lot_of(&format!("Bag {at}"), grade, rng.u32(3..=60)).await);
    }
    lots
}

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let (cookie, key, lots) = Runtime::new().unwrap().block_on(async {
        let shop = Shop::in_folder(folder.path()).await;
        let lots = fill(&shop).await;
        let key = Token::random();
        shop.store.make_key(&shop.by, &new_id(), "scale", &key.hash()).await.unwrap();
        shop.store.close().await;
        (shop.cookie, key.text().to_string(), lots)
    });
    let mut program = Program::serve(folder.path());
    program.wait_until_it_answers();
    let agent = ureq::Agent::new_with_defaults();
    let page = || {
        let started = Instant::now();
        let answer = agent.get(program.address("/plan")).header("Cookie", &cookie).call().unwrap();
        let text = answer.into_body().read_to_string().unwrap();
        (started.elapsed(), text)
    };
    let (mut first, mut found, mut known) = (Vec::new(), Vec::new(), Vec::new());
    let (mut size, mut older) = (0, 0);
    for round in 0..ROUNDS {
        let lot = &lots[round as usize];
        let body =
            format!(r#"{{"id":"{}","lot":"{lot}","reading":"{} oz","confirmed":true}}"#, new_id(), 5 + round);
        let weighing = agent
            .post(program.address("/api/v1/weighings"))
            .header("Authorization", format!("Bearer {key}"))
            .header("Content-Type", "application/json");
        weighing.send(body).unwrap();
        let weighed = Instant::now();
        let (took, mut text) = page();
        first.push(took);
        older += u32::from(text.contains(OLDER));
        while text.contains(OLDER) {
            std::thread::sleep(Duration::from_millis(2));
            text = page().1;
        }
        found.push(weighed.elapsed());
        // Margins and what would change the plan are sought after it; then nothing is left to do.
        let started = Instant::now();
        let mut before = String::new();
        loop {
            text = page().1;
            if text == before || started.elapsed() > LONGEST {
                size = text.len();
                break;
            }
            before = text;
            std::thread::sleep(Duration::from_secs(1));
        }
        known.push(page().0);
    }
    println!("/plan with {LOTS} lots and {OUTLETS} outlets ({} kB), median of {ROUNDS}", size / 1000);
    println!(
        "after a weighing: {:.1} ms ({older} times the plan from before); with the new plan: {:.1} ms; once it is known: {:.1} ms",
        common::median(first),
        common::median(found),
        common::median(known)
    );
}
