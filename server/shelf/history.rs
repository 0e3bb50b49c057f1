//! What outlets have paid before, as the shelf learns from it.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::history::{Learned, Record, Settled, SettledLoad, Track, Weighed, track};
use trade::ids::{Family, GradeId, OutletId};
use trade::mass::Mass;
use trade::money::{Price, PriceUnit, Share};
use trade::net::Line;
use trade::outlet::Outlet;
use trade::quote::Quote;

use crate::store::settlements::{PaidPortion, SettledLot, SettlementHead};
use crate::store::shops::Shop;
use crate::store::{Store, StoreError};

/// Older settlements than these say little about the next one, and would have to be read with every shelf.
const MOST: u32 = 500;

/// The newest settlements of a shop that hold, by outlet.
#[derive(Debug, Clone, Default)]
pub struct History {
    records: BTreeMap<OutletId, Vec<Record>>,
    grades: Arc<BTreeMap<GradeId, Family>>,
}

impl History {
    /// `grades` are the shop's, each with its family.
    pub async fn load(
        store: &Store,
        shop: &Shop,
        grades: BTreeMap<GradeId, Family>,
    ) -> Result<History, StoreError> {
        let lots = store.settled_lots(&shop.id, MOST).await?;
        if lots.is_empty() {
            return Ok(History { records: BTreeMap::new(), grades: Arc::new(grades) });
        }
        let heads = store.settlements(&shop.id, MOST).await?;
        let mut of_settlements: BTreeMap<String, Vec<SettledLot>> = BTreeMap::new();
        for lot in lots {
            of_settlements.entry(lot.settlement_id.clone()).or_default().push(lot);
        }
        let day = |at: Timestamp| at.to_zoned_datetime(shop.zone.clone()).date();
        let mut records: BTreeMap<OutletId, Vec<Record>> = BTreeMap::new();
        for head in heads {
            // Saved between the two questions: the next shelf has it.
            let Some(lots) = of_settlements.remove(&head.id) else { continue };
            records.entry(head.outlet_id.clone()).or_default().push(record(&head, &lots, &grades, day));
        }
        Ok(History { records, grades: Arc::new(grades) })
    }

    /// What an outlet's settlements have taught.
    pub fn learned(&self, outlet: &Outlet) -> Option<Arc<Learned>> {
        let settled: Vec<Settled> = self.of(&outlet.id).iter().map(|record| record.settled.clone()).collect();
        Learned::from_settlements(&outlet.terms, &settled, &self.grades).map(Arc::new)
    }

    /// What had been taught before this settlement: it is no measure for itself.
    pub fn learned_before(&self, outlet: &Outlet, settlement: &str) -> Option<Arc<Learned>> {
        let after = |record: &&Record| record.id != settlement;
        let before = self.of(&outlet.id).iter().skip_while(after).skip(1);
        let settled: Vec<Settled> = before.map(|record| record.settled.clone()).collect();
        Learned::from_settlements(&outlet.terms, &settled, &self.grades).map(Arc::new)
    }

    /// How good the estimates for an outlet were. A paper in another currency than the outlet's cannot be told from its
    /// prices.
    pub fn track(&self, outlet: &Outlet) -> Track {
        let priced =
            |record: &&Record| record.lines.iter().all(|line| line.quote.price.currency == outlet.currency);
        let records: Vec<Record> = self.of(&outlet.id).iter().filter(priced).cloned().collect();
        track(outlet, &records, &self.grades)
    }

    /// An outlet's settlements, newest first.
    pub fn of(&self, outlet: &OutletId) -> &[Record] {
        self.records.get(outlet).map_or(&[], Vec::as_slice)
    }
}

fn record(
    head: &SettlementHead,
    lots: &[SettledLot],
    grades: &BTreeMap<GradeId, Family>,
    day: impl Fn(Timestamp) -> Date,
) -> Record {
    let known = day(head.at);
    // A truck's load left on the day of its ticket.
    let sent = lots.iter().find_map(|lot| lot.sent_at).map(&day);
    let left = sent.or(head.dated).unwrap_or(known).min(known);
    let days_to_pay = head.paid_on.and_then(|paid| u32::try_from((paid - left).get_days()).ok());
    let mut of_grades: BTreeMap<&GradeId, Vec<&SettledLot>> = BTreeMap::new();
    for lot in lots {
        of_grades.entry(&lot.grade).or_default().push(lot);
    }
    let family = |grade: &GradeId| grades.get(grade).cloned().unwrap_or_else(|| Family::new(grade.as_str()));
    let loads = of_grades.iter().filter_map(|(grade, lots)| load(family(grade), lots)).collect();
    let lines = of_grades.into_iter().map(|(grade, lots)| line(grade, &lots)).collect();
    let settled = Settled { left, known, days_to_pay, loads };
    Record { id: head.id.clone(), settled, lines, promised: head.promised, paid: head.paid }
}

/// What was said of one grade; `None` where no line pays for it: that is for a letter, and teaches nothing.
fn load(family: Family, lots: &[&SettledLot]) -> Option<SettledLoad> {
    let paid: Vec<&&SettledLot> = lots.iter().filter(|lot| !lot.portions.is_empty()).collect();
    let price = paid.first()?.price;
    let portions = || paid.iter().flat_map(|lot| &lot.portions);
    let theirs: Option<Mass> = portions().map(|portion| portion.mass).sum();
    let weights = theirs
        .filter(|_| price.per != PriceUnit::Each)
        .map(|theirs| Weighed { ours: paid.iter().map(|lot| lot.counted).sum(), theirs });
    let (mut all, mut lower, mut lost) = (Decimal::ZERO, Decimal::ZERO, Decimal::ZERO);
    for lot in &paid {
        for portion in &lot.portions {
            let Some(worth) = at_promised(lot.price, portion) else { continue };
            all += worth;
            if portion.grade.as_ref() != Some(&lot.grade) && portion.amount < worth {
                lower += worth;
                lost += worth - portion.amount;
            }
        }
    }
    // What is charged for cannot be paid less.
    let share = |part: Decimal, whole: Decimal| {
        let share = part.checked_div(whole).filter(|_| whole > Decimal::ZERO).unwrap_or_default();
        Share::new(share.clamp(Decimal::ZERO, Decimal::ONE).round_dp(6)).unwrap_or_default()
    };
    Some(SettledLoad { family, weights, downgraded: share(lower, all), drop: share(lost, lower) })
}

/// What a portion would have come to at the price that was promised for its lot, by their weight or count.
fn at_promised(price: Price, portion: &PaidPortion) -> Option<Decimal> {
    match price.per {
        PriceUnit::Mass(_) => portion.mass.map(|mass| price.of(mass, 0).amount),
        PriceUnit::Each => {
            let pieces = u32::try_from(portion.pieces?).ok()?;
            Some(price.of(Mass::ZERO, pieces).amount)
        }
    }
}

/// One grade of the delivery as it was priced.
fn line(grade: &GradeId, lots: &[&SettledLot]) -> Line {
    let price = lots[0].price;
    let mass = lots.iter().map(|lot| lot.net).sum();
    let pieces =
        lots.iter().fold(0_u32, |sum, lot| sum.saturating_add(u32::try_from(lot.pieces).unwrap_or(0)));
    let amount =
        lots.iter().map(|lot| lot.price.of(lot.net, u32::try_from(lot.pieces).unwrap_or(0)).amount).sum();
    Line { grade: grade.clone(), mass, pieces, quote: Quote::flat(price), amount }
}
