//! Saving a settlement, all or nothing.

use rust_decimal::Decimal;
use trade::mass::Mass;
use trade::money::{Currency, Money};
use trade::settlement::{ChargeKind, Paper, PaperLine, Promise};

use super::money::{enter_paid, undo_entries};
use super::{Delivery, NewSettlement, SettlementRefusal};
use crate::store::activity::Noun;
use crate::store::cash::{Document, DocumentKind};
use crate::store::shipments::follow;
use crate::store::{By, Store, StoreError, Tx, changed_one, stamp};

/// Taking a settlement back, with nothing in its place: it was another delivery's.
#[derive(Debug, Clone, Copy)]
pub struct Withdrawal<'a> {
    /// From the form.
    pub id: &'a str,
    pub settlement_id: &'a str,
    pub why: &'a str,
}

impl Store {
    /// Saves a settlement and throws its draft away. The same id a second time changes nothing.
    pub async fn settle(&self, by: &By, settlement: &NewSettlement<'_>) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        settle(&mut tx, by, settlement).await?;
        let sql = "DELETE FROM settlement_drafts WHERE shop_id = $1 AND id = $2";
        sqlx::query(sql).bind(shop_id).bind(settlement.id).execute(&mut *tx).await?;
        tx.commit().await
    }

    pub async fn withdraw_settlement(&self, by: &By, withdrawal: &Withdrawal<'_>) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        withdraw(&mut tx, by, withdrawal).await?;
        tx.commit().await
    }
}

/// Saves a settlement inside `tx`. The same id a second time changes nothing.
pub async fn settle(tx: &mut Tx, by: &By, settlement: &NewSettlement<'_>) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let refused = hold(tx, shop_id, settlement.delivery).await?;
    // With the delivery held: of one form sent twice at once, the second finds the first.
    if is_there(tx, shop_id, settlement.id).await? {
        return Ok(());
    }
    if let Some(refusal) = refused {
        return Err(refusal.into());
    }
    let promise = settlement.promise;
    let unknown =
        |line: &PaperLine| line.pays_for.iter().any(|lot| promise.sent.iter().all(|sent| sent.lot != *lot));
    if settlement.paper.lines.iter().any(unknown) {
        return Err(SettlementRefusal::OtherLot.into());
    }
    let held = last(tx, shop_id, settlement.delivery).await?;
    let replaced = settlement.replaces.map(|replaces| replaces.id);
    let replaces = match (held, replaced) {
        (None, None) => None,
        // What was taken back is followed by whatever comes, and names it.
        (Some(last), None) if last.is_withdrawal => Some(last.id),
        (Some(last), None) => {
            return Err(SettlementRefusal::SettledAlready { settlement_id: last.id }.into());
        }
        (Some(last), Some(replaced)) if last.id == replaced => Some(last.id),
        (_, Some(_)) => return Err(SettlementRefusal::Replaced.into()),
    };
    let row = Row {
        kind: "paper",
        replaces: replaces.as_deref(),
        why: settlement.replaces.map_or("", |replaces| replaces.why),
    };
    add(tx, by, settlement, &row).await?;
    add_lots(tx, by, settlement).await?;
    add_lines(tx, by, settlement).await?;
    let deed = if row.replaces.is_some() { "corrected" } else { "entered" };
    let paid = Money::new(settlement.paper.paid, settlement.paper.currency).to_string();
    tx.note(by, Noun::Settlement, settlement.id, deed, &paid).await?;
    follow_delivery(tx, shop_id, settlement.delivery).await?;
    // The book's row is taken last.
    if let Some(replaced) = row.replaces {
        undo_entries(tx, by, &Document::new(DocumentKind::Settlement, replaced), row.why).await?;
    }
    enter_paid(tx, by, settlement).await
}

/// Takes a settlement back inside `tx`. The same id a second time changes nothing.
pub async fn withdraw(tx: &mut Tx, by: &By, withdrawal: &Withdrawal<'_>) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "SELECT shipment_id, run_stop_id FROM settlements WHERE shop_id = $1 AND id = $2";
    let delivery: (Option<String>, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(withdrawal.settlement_id).fetch_one(&mut **tx).await?;
    let delivery = match delivery {
        (Some(id), _) => Delivery::Shipment(id),
        (None, Some(id)) => Delivery::RunStop(id),
        (None, None) => return Err(StoreError::Missing),
    };
    hold(tx, shop_id, &delivery).await?;
    if is_there(tx, shop_id, withdrawal.id).await? {
        return Ok(());
    }
    let held = last(tx, shop_id, &delivery).await?;
    if held.is_none_or(|last| last.id != withdrawal.settlement_id || last.is_withdrawal) {
        return Err(SettlementRefusal::Replaced.into());
    }
    let sql = "INSERT INTO settlements (id, shop_id, outlet_id, shipment_id, run_stop_id, kind, replaces_id, why, \
               promise, number, dated, currency, promised_minor, paid_minor, home_currency, promised_home_minor, \
               bank_fee_minor, note, partner_id, at) \
               SELECT $2, shop_id, outlet_id, shipment_id, run_stop_id, 'withdrawn', id, $4, promise, number, dated, \
               currency, promised_minor, 0, home_currency, promised_home_minor, 0, '', $5, $6 FROM settlements \
               WHERE shop_id = $1 AND id = $3";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(withdrawal.id)
        .bind(withdrawal.settlement_id)
        .bind(withdrawal.why)
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    changed_one(done.rows_affected())?;
    follow_delivery(tx, shop_id, &delivery).await?;
    tx.note(by, Noun::Settlement, withdrawal.settlement_id, "taken back", withdrawal.why).await?;
    let document = Document::new(DocumentKind::Settlement, withdrawal.settlement_id);
    undo_entries(tx, by, &document, withdrawal.why).await
}

/// Holds the delivery's row until the transaction ends, and says why it cannot be settled.
async fn hold(
    tx: &mut Tx,
    shop_id: &str,
    delivery: &Delivery,
) -> Result<Option<SettlementRefusal>, StoreError> {
    let Delivery::Shipment(id) = delivery else { return Ok(None) };
    // What was disputed is answered by what is saved now.
    let sql = "UPDATE shipments SET version = version + 1, disputed_at = NULL, disputed_by = NULL \
               WHERE shop_id = $1 AND id = $2 RETURNING sent_at, ended_as";
    let (sent_at, ended_as): (Option<String>, Option<String>) =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(&mut **tx).await?;
    Ok(match (sent_at, ended_as.as_deref()) {
        (None, _) => Some(SettlementRefusal::NotSent),
        (Some(_), Some("returned")) => Some(SettlementRefusal::Returned),
        (Some(_), _) => None,
    })
}

/// A shipment that was paid is done with.
async fn follow_delivery(tx: &mut Tx, shop_id: &str, delivery: &Delivery) -> Result<(), StoreError> {
    match delivery.shipment_id() {
        Some(id) => follow(tx, shop_id, id).await,
        None => Ok(()),
    }
}

async fn is_there(tx: &mut Tx, shop_id: &str, id: &str) -> Result<bool, StoreError> {
    let sql = "SELECT id FROM settlements WHERE shop_id = $1 AND id = $2";
    let there: Option<(String,)> =
        sqlx::query_as(sql).bind(shop_id).bind(id).fetch_optional(&mut **tx).await?;
    Ok(there.is_some())
}

/// The end of a delivery's chain.
struct Last {
    id: String,
    is_withdrawal: bool,
}

async fn last(tx: &mut Tx, shop_id: &str, delivery: &Delivery) -> Result<Option<Last>, StoreError> {
    let sql = "SELECT s.id, s.kind FROM settlements s WHERE s.shop_id = $1 \
               AND (s.shipment_id = $2 OR s.run_stop_id = $3) \
               AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = s.id)";
    let last: Option<(String, String)> = sqlx::query_as(sql)
        .bind(shop_id)
        .bind(delivery.shipment_id())
        .bind(delivery.run_stop_id())
        .fetch_optional(&mut **tx)
        .await?;
    Ok(last.map(|(id, kind)| Last { id, is_withdrawal: kind == "withdrawn" }))
}

/// How a settlement stands to the one before.
struct Row<'a> {
    kind: &'static str,
    replaces: Option<&'a str>,
    why: &'a str,
}

async fn add(tx: &mut Tx, by: &By, settlement: &NewSettlement<'_>, row: &Row<'_>) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let (promise, paper) = (settlement.promise, settlement.paper);
    let home = promise.counted.home;
    let json = serde_json::to_string(promise).map_err(|cause| StoreError::Encode(cause.to_string()))?;
    let sql = "INSERT INTO settlements (id, shop_id, outlet_id, shipment_id, run_stop_id, kind, replaces_id, why, \
               promise, number, dated, currency, promised_minor, paid_minor, paid_on, home_currency, \
               promised_home_minor, arrived_minor, bank_fee_minor, rate, sha256, note, partner_id, at) \
               SELECT $2, o.shop_id, o.id, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, \
               $20, $21, $22, $23, $24 FROM outlets o WHERE o.shop_id = $1 AND o.id = $3";
    let done = sqlx::query(sql)
        .bind(shop_id)
        .bind(settlement.id)
        .bind(settlement.outlet_id.as_str())
        .bind(settlement.delivery.shipment_id())
        .bind(settlement.delivery.run_stop_id())
        .bind(row.kind)
        .bind(row.replaces)
        .bind(row.why)
        .bind(json)
        .bind(settlement.number)
        .bind(paper.dated.map(|day| day.to_string()))
        .bind(paper.currency.code())
        .bind(minor(promise.payout(), paper.currency))
        .bind(minor(paper.paid, paper.currency))
        .bind(paper.payment.day.map(|day| day.to_string()))
        .bind(home.code())
        .bind(minor(promise.at_home(), home))
        .bind(paper.payment.arrived.map(|arrived| minor(arrived, home)))
        .bind(minor(paper.payment.bank_fee, home))
        .bind(settlement.rate.map(|rate| rate.to_string()))
        .bind(settlement.sha256)
        .bind(settlement.note)
        .bind(partner_id)
        .bind(stamp(*at))
        .execute(&mut **tx)
        .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(StoreError::Missing) }
}

async fn add_lots(tx: &mut Tx, by: &By, settlement: &NewSettlement<'_>) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let promise: &Promise = settlement.promise;
    for (sent, promised) in promise.lots() {
        let sql = "INSERT INTO settlement_lots (settlement_id, lot_id, shop_id, grade_id, net_ug, counted_ug, pieces, \
                   price, unit, promised_minor) \
                   SELECT $2, l.id, l.shop_id, $4, $5, $6, $7, $8, $9, $10 FROM lots l \
                   WHERE l.shop_id = $1 AND l.id = $3";
        let done = sqlx::query(sql)
            .bind(shop_id)
            .bind(settlement.id)
            .bind(sent.lot.as_str())
            .bind(sent.grade.as_str())
            .bind(sent.mass.micrograms())
            .bind(promise.counted_mass(sent).micrograms())
            .bind(i64::from(sent.pieces))
            .bind(sent.price.amount.to_string())
            .bind(sent.price.per.code())
            .bind(minor(promised, promise.currency))
            .execute(&mut **tx)
            .await?;
        if done.rows_affected() != 1 {
            return Err(SettlementRefusal::OtherLot.into());
        }
    }
    Ok(())
}

/// A row of `settlement_lines`.
struct Line<'a> {
    kind: &'static str,
    wording: &'a str,
    grade: Option<&'a str>,
    mass: Option<Mass>,
    pieces: Option<u32>,
    price: Option<(String, &'static str)>,
    amount: Decimal,
}

impl<'a> Line<'a> {
    fn all(paper: &'a Paper) -> impl Iterator<Item = Line<'a>> {
        let lines = paper.lines.iter().map(|line| Line {
            kind: "line",
            wording: &line.wording,
            grade: line.grade.as_ref().map(|grade| grade.as_str()),
            mass: line.mass,
            pieces: line.pieces,
            price: line.price.map(|price| (price.amount.to_string(), price.per.code())),
            amount: line.amount,
        });
        let charges = paper.charges.iter().map(|charge| Line {
            kind: match charge.kind {
                ChargeKind::Fee => "fee",
                ChargeKind::Deduction => "deduction",
            },
            wording: &charge.wording,
            grade: None,
            mass: None,
            pieces: None,
            price: None,
            amount: -charge.amount,
        });
        lines.chain(charges)
    }
}

async fn add_lines(tx: &mut Tx, by: &By, settlement: &NewSettlement<'_>) -> Result<(), StoreError> {
    let By { shop_id, .. } = by;
    let paper = settlement.paper;
    for (position, line) in (0_i64..).zip(Line::all(paper)) {
        let sql = "INSERT INTO settlement_lines (settlement_id, position, shop_id, kind, wording, grade_id, mass_ug, \
                   pieces, price, unit, amount_minor) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
        let (price, unit) = line.price.unzip();
        sqlx::query(sql)
            .bind(settlement.id)
            .bind(position)
            .bind(shop_id)
            .bind(line.kind)
            .bind(line.wording)
            .bind(line.grade)
            .bind(line.mass.map(Mass::micrograms))
            .bind(line.pieces.map(i64::from))
            .bind(price)
            .bind(unit)
            .bind(minor(line.amount, paper.currency))
            .execute(&mut **tx)
            .await?;
    }
    for (position, line) in (0_i64..).zip(&paper.lines) {
        for portion in settlement.promise.portions(line, paper.currency) {
            let sql = "INSERT INTO settlement_portions (settlement_id, position, lot_id, mass_ug, pieces, amount_minor) \
                       VALUES ($1, $2, $3, $4, $5, $6)";
            sqlx::query(sql)
                .bind(settlement.id)
                .bind(position)
                .bind(portion.lot.as_str())
                .bind(portion.mass.map(Mass::micrograms))
                .bind(portion.pieces.map(i64::from))
                .bind(minor(portion.amount, paper.currency))
                .execute(&mut **tx)
                .await?;
        }
    }
    Ok(())
}

fn minor(amount: Decimal, currency: Currency) -> i64 {
    Money::new(amount, currency).minor_units()
}
