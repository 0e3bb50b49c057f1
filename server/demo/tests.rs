//! The demo shows something true on every screen. What it has to show is in the names of these tests.

use std::sync::Arc;

use jiff::Timestamp;

use super::load;
use crate::shelf::{Answer, Answers, Shelf};
use crate::store::shops::Shop;
use crate::store::{Place, Store};

struct Loaded {
    _folder: tempfile::TempDir,
    store: Store,
    shop: Shop,
    now: Timestamp,
}

async fn loaded() -> Loaded {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&Place::File(folder.path().join("demo.db"))).await.unwrap();
    let now: Timestamp = "2026-05-11T15:00:00Z".parse().unwrap();
    let started = std::time::Instant::now();
    load(&store, now).await.unwrap_or_else(|error| panic!("{error}"));
    eprintln!("loaded in {:?}", started.elapsed());
    let shop = store.first_shop().await.unwrap().unwrap();
    Loaded { _folder: folder, store, shop, now }
}

impl Loaded {
    async fn answer(&self, without: Option<&str>) -> (Arc<Shelf>, Arc<Answer>) {
        let shelf = Shelf::load_without(&self.store, &self.shop, self.now, without).await.unwrap();
        let shelf = Arc::new(shelf);
        let answer = Arc::new(Answers::default()).about(&shelf).await;
        (shelf, answer)
    }
}

#[tokio::test]
async fn dump() {
    let demo = loaded().await;
    let (shelf, answer) = demo.answer(None).await;
    let unit = trade::mass::MassUnit::Pound;
    eprintln!("took {:?}, {:?}, total {}", answer.took, answer.plan.proof, answer.plan.total.round_dp(2));
    for delivery in &answer.plan.deliveries {
        eprintln!("-> {} net {}", shelf.outlet_name(&delivery.outlet), delivery.ladder.net.round_dp(2));
        for step in &delivery.ladder.steps {
            eprintln!(
                "     {:?} {} {}",
                step.kind,
                step.home.round_dp(2),
                if step.working.len() < 200 { step.working.as_str() } else { "…" }
            );
        }
        for lot in &delivery.lots {
            let l = shelf.lot(lot).unwrap();
            eprintln!(
                "   {} {} {} lb keep {} margin {:?}",
                l.container_label,
                l.grade_id,
                l.net.in_unit(unit).round_dp(2),
                answer.keeps[lot].round_dp(2),
                answer.margins.get(lot).map(|m| (m.margin.round_dp(2), m.exact))
            );
        }
    }
    for lot in &answer.plan.kept {
        let l = shelf.lot(lot).unwrap();
        eprintln!(
            "kept {} {} {} lb keep {} margin {:?}",
            l.container_label,
            l.grade_id,
            l.net.in_unit(unit).round_dp(2),
            answer.keeps[lot].round_dp(2),
            answer.margins.get(lot).map(|m| m.margin.round_dp(2))
        );
    }
    if let Some(h) = &answer.nearest_yard {
        eprintln!("habit {} {}", shelf.outlet_name(&h.outlet), h.ladder.net.round_dp(2));
    }
    for t in &answer.plan.trouble {
        eprintln!("trouble {t:?}");
    }
    for (grade, ways) in &answer.outlooks {
        eprintln!("{grade}:");
        for w in ways {
            eprintln!(
                "   {} now {} be {:?} ship {:?} keep {}",
                shelf.outlet_name(&w.outlet),
                w.now.as_ref().map_or_else(|c| c.to_string(), |l| l.net.round_dp(2).to_string()),
                w.break_even.map(|m| m.in_unit(unit).round_dp(2)),
                w.ship.as_ref().map(|s| (s.weight.in_unit(unit).round_dp(2), s.cycle_days.round_dp(0))),
                w.keep.round_dp(2)
            );
        }
    }
}
