//! What a settlement and a waybill put into the cash book: every line and charge of what was paid, and what the parcels
//! cost. A correction undoes the entries of what it replaces.

use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::cash::{Kind, in_home};
use trade::ids::{GradeId, OutletId};
use trade::money::{Currency, Money};
use trade::settlement::{Paper, Promise};

use super::NewSettlement;
use crate::store::cash::{Document, DocumentKind, NewEntry, RateUsed, enter, reverse};
use crate::store::{By, StoreError, Tx};

/// Enters what was paid inside `tx`, once it has been paid.
pub(super) async fn enter_paid(
    tx: &mut Tx,
    by: &By,
    settlement: &NewSettlement<'_>,
) -> Result<(), StoreError> {
    let Some(day) = settlement.paper.payment.day else { return Ok(()) };
    let document = Document::new(DocumentKind::Settlement, settlement.id);
    for entry in entries(settlement.promise, settlement.paper, settlement.outlet_id, &document, day) {
        enter(tx, by, &entry).await?;
    }
    Ok(())
}

/// Undoes every entry of a document inside `tx` that still counts.
pub(crate) async fn undo_entries(
    tx: &mut Tx,
    by: &By,
    document: &Document,
    why: &str,
) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let sql = "SELECT e.id FROM cash_entries e WHERE e.shop_id = $1 AND e.document = $2 AND e.document_id = $3 \
               AND e.reverses_id IS NULL AND e.values_id IS NULL \
               AND NOT EXISTS (SELECT 1 FROM cash_entries r WHERE r.reverses_id = e.id) ORDER BY e.n";
    let rows: Vec<(String,)> = sqlx::query_as(sql)
        .bind(shop_id)
        .bind(document.kind.code())
        .bind(&document.id)
        .fetch_all(&mut **tx)
        .await?;
    for (id,) in rows {
        reverse(tx, by, &document.entry_id(&format!("undo {id}")), &id, why).await?;
    }
    Ok(())
}

/// The entries come to what was paid, and in home currency to what arrived.
fn entries(
    promise: &Promise,
    paper: &Paper,
    outlet: &OutletId,
    document: &Document,
    day: Date,
) -> Vec<NewEntry> {
    let home = promise.counted.home;
    let before_fee = paper.payment.arrived.map(|arrived| arrived + paper.payment.bank_fee);
    let rate = match before_fee {
        Some(at_bank) if paper.currency != home && !paper.paid.is_zero() => {
            RateUsed::Got((at_bank / paper.paid).round_dp(12))
        }
        _ => RateUsed::OnFile,
    };
    let entry = |part: &str, kind, money: Money, grade: Option<GradeId>, note: &str| NewEntry {
        rate,
        document: Some(document.clone()),
        outlet_id: Some(outlet.clone()),
        grade_id: grade,
        note: note.to_string(),
        ..NewEntry::new(document.entry_id(part), day, kind, money)
    };
    let foreign = |amount: Decimal| Money::new(amount, paper.currency);
    let mut entries = Vec::new();
    let mut so_far = Decimal::ZERO;
    for (index, line) in paper.lines.iter().enumerate() {
        // What was sold is what was sent, whatever they took it for.
        let sent = line.pays_for.first().and_then(|lot| promise.sent.iter().find(|sent| sent.lot == *lot));
        let grade = sent.map(|sent| sent.grade.clone()).or(line.grade.clone());
        so_far += line.amount;
        let part = format!("line {index}");
        entries.push(entry(&part, Kind::Sale, foreign(line.amount), grade, &line.wording));
    }
    for (index, charge) in paper.charges.iter().enumerate() {
        so_far -= charge.amount;
        let part = format!("charge {index}");
        entries.push(entry(&part, Kind::Fee, foreign(-charge.amount), None, &charge.wording));
    }
    let rest = foreign(paper.paid - so_far);
    entries.push(entry("sum", Kind::Other, rest, None, "Their lines do not come to what they paid"));
    // Each entry is rounded once; what that leaves of the amount that arrived is an entry too.
    if let (RateUsed::Got(rate), Some(at_bank)) = (rate, before_fee) {
        let counted: Decimal = entries.iter().map(|entry| in_home(entry.amount, rate, home).amount).sum();
        let rest = at_home(at_bank - counted, home);
        entries.push(entry("rounding", Kind::Other, rest, None, "Rounding of the exchange"));
    }
    let fee = at_home(-paper.payment.bank_fee, home);
    entries.push(entry("bank", Kind::Fee, fee, None, "Kept by our bank"));
    entries
}

fn at_home(amount: Decimal, home: Currency) -> Money {
    Money::new(amount, home)
}
