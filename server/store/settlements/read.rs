//! Reading settlements back.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rust_decimal::Decimal;
use sqlx::FromRow;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::{Currency, Money, Price, PriceUnit};
use trade::settlement::{Charge, ChargeKind, Paper, PaperLine, Payment};

use super::{Delivery, PaidPortion, PortionsOf, SettledLot, Settlement, SettlementHead};
use crate::store::{RowError, Store, StoreError};

const TABLE: &str = "settlements";

#[derive(FromRow)]
struct HeadRow {
    id: String,
    outlet_id: String,
    outlet_name: String,
    shipment_id: Option<String>,
    run_stop_id: Option<String>,
    kind: String,
    number: String,
    dated: Option<String>,
    currency: String,
    promised_minor: i64,
    paid_minor: i64,
    paid_on: Option<String>,
    home_currency: String,
    promised_home_minor: i64,
    arrived_minor: Option<i64>,
    partner_name: String,
    at: String,
}

impl TryFrom<HeadRow> for SettlementHead {
    type Error = RowError;

    fn try_from(row: HeadRow) -> Result<SettlementHead, RowError> {
        let delivery = match (row.shipment_id, row.run_stop_id) {
            (Some(id), None) => Delivery::Shipment(id),
            (None, Some(id)) => Delivery::RunStop(id),
            (both, _) => {
                let value = if both.is_some() { "both" } else { "neither" };
                return Err(RowError { table: TABLE, column: "shipment_id", value: value.into() });
            }
        };
        let currency = currency("currency", &row.currency)?;
        let home = self::currency("home_currency", &row.home_currency)?;
        Ok(SettlementHead {
            is_withdrawal: RowError::read(TABLE, "kind", &row.kind, |kind| match kind {
                "paper" => Some(false),
                "withdrawn" => Some(true),
                _ => None,
            })?,
            id: row.id,
            outlet_id: OutletId::new(row.outlet_id),
            outlet_name: row.outlet_name,
            delivery,
            number: row.number,
            dated: day("dated", row.dated.as_deref())?,
            currency,
            promised: major(row.promised_minor, currency),
            paid: major(row.paid_minor, currency),
            paid_on: day("paid_on", row.paid_on.as_deref())?,
            home,
            promised_home: major(row.promised_home_minor, home),
            arrived: row.arrived_minor.map(|arrived| major(arrived, home)),
            partner_name: row.partner_name,
            at: RowError::read(TABLE, "at", &row.at, |at| at.parse().ok())?,
        })
    }
}

fn currency(column: &'static str, code: &str) -> Result<Currency, RowError> {
    RowError::read(TABLE, column, code, Currency::from_code)
}

fn day(column: &'static str, day: Option<&str>) -> Result<Option<Date>, RowError> {
    day.map(|day| RowError::read(TABLE, column, day, |day| day.parse().ok())).transpose()
}

fn major(minor: i64, currency: Currency) -> Decimal {
    Money::from_minor_units(minor, currency).amount
}

#[derive(FromRow)]
struct RestRow {
    promise: String,
    bank_fee_minor: i64,
    rate: Option<String>,
    sha256: Option<String>,
    note: String,
    replaces_id: Option<String>,
    why: String,
    replaced_by: Option<String>,
}

#[derive(FromRow)]
struct LineRow {
    position: i64,
    kind: String,
    wording: String,
    grade_id: Option<String>,
    mass_ug: Option<i64>,
    pieces: Option<i64>,
    price: Option<String>,
    unit: Option<String>,
    amount_minor: i64,
}

#[derive(FromRow)]
struct SettledRow {
    settlement_id: String,
    outlet_id: String,
    lot_id: String,
    grade_id: String,
    net_ug: i64,
    counted_ug: i64,
    pieces: i64,
    price: String,
    unit: String,
    promised_minor: i64,
    currency: String,
    sent_at: Option<String>,
    dated: Option<String>,
    paid_on: Option<String>,
    at: String,
}

#[derive(FromRow)]
struct PortionRow {
    settlement_id: String,
    lot_id: String,
    grade_id: Option<String>,
    mass_ug: Option<i64>,
    pieces: Option<i64>,
    amount_minor: i64,
}

macro_rules! select_heads {
    ($condition:literal) => {
        concat!(
            "SELECT s.id, s.outlet_id, o.name AS outlet_name, s.shipment_id, s.run_stop_id, s.kind, s.number, s.dated, ",
            "s.currency, s.promised_minor, s.paid_minor, s.paid_on, s.home_currency, s.promised_home_minor, ",
            "s.arrived_minor, p.name AS partner_name, s.at FROM settlements s JOIN outlets o ON o.id = s.outlet_id ",
            "JOIN partners p ON p.id = s.partner_id ",
            $condition
        )
    };
}

impl Store {
    /// The settlements that hold, newest first, at most `most`.
    pub async fn settlements(&self, shop_id: &str, most: u32) -> Result<Vec<SettlementHead>, StoreError> {
        let sql = select_heads!(
            "WHERE s.shop_id = $1 AND s.kind = 'paper' \
             AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = s.id) \
             ORDER BY s.at DESC, s.id DESC LIMIT $2"
        );
        let rows: Vec<HeadRow> =
            sqlx::query_as(sql).bind(shop_id).bind(i64::from(most)).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(SettlementHead::try_from).collect::<Result<_, _>>()?)
    }

    /// All that was ever saved about a delivery, newest first; the first one holds, unless it takes back.
    pub async fn settlements_of(
        &self,
        shop_id: &str,
        delivery: &Delivery,
    ) -> Result<Vec<SettlementHead>, StoreError> {
        // The shop is asked in a way that no index serves: SQLite would read all its settlements rather than these few.
        let sql = select_heads!(
            "WHERE s.id IN (SELECT t.id FROM settlements t WHERE t.shipment_id = $2 \
             UNION ALL SELECT t.id FROM settlements t WHERE t.run_stop_id = $3) AND s.shop_id || '' = $1 \
             ORDER BY s.at DESC, s.id DESC"
        );
        let rows: Vec<HeadRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(delivery.shipment_id())
            .bind(delivery.run_stop_id())
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(SettlementHead::try_from).collect::<Result<_, _>>()?)
    }

    /// One settlement, whether or not it holds.
    pub async fn settlement(&self, shop_id: &str, id: &str) -> Result<Settlement, StoreError> {
        let sql = select_heads!("WHERE s.shop_id = $1 AND s.id = $2");
        let head: HeadRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        let head = SettlementHead::try_from(head)?;
        let sql = "SELECT s.promise, s.bank_fee_minor, s.rate, s.sha256, s.note, s.replaces_id, s.why, \
                   r.id AS replaced_by FROM settlements s LEFT JOIN settlements r ON r.replaces_id = s.id \
                   WHERE s.shop_id = $1 AND s.id = $2";
        let rest: RestRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        let sql = "SELECT position, kind, wording, grade_id, mass_ug, pieces, price, unit, amount_minor \
                   FROM settlement_lines WHERE shop_id = $1 AND settlement_id = $2 ORDER BY position";
        let lines: Vec<LineRow> =
            sqlx::query_as(sql).bind(shop_id).bind(id).fetch_all(self.readers()).await?;
        let sql = "SELECT position, lot_id FROM settlement_portions WHERE settlement_id = $1 ORDER BY position, lot_id";
        let rows: Vec<(i64, String)> = sqlx::query_as(sql).bind(id).fetch_all(self.readers()).await?;
        let mut pays_for: PortionsOf<LotId> = BTreeMap::new();
        for (position, lot_id) in rows {
            pays_for.entry(position).or_default().push(LotId::new(lot_id));
        }
        let mut paper = Paper {
            currency: head.currency,
            lines: Vec::new(),
            charges: Vec::new(),
            paid: head.paid,
            dated: head.dated,
            payment: Payment {
                day: head.paid_on,
                arrived: head.arrived,
                bank_fee: major(rest.bank_fee_minor, head.home),
            },
        };
        for line in lines {
            let pays_for = pays_for.remove(&line.position).unwrap_or_default();
            add_line(&mut paper, line, pays_for)?;
        }
        Ok(Settlement {
            promise: RowError::read(TABLE, "promise", &rest.promise, |json| serde_json::from_str(json).ok())?,
            rate: rest.rate.map(|rate| RowError::decimal(TABLE, "rate", &rate)).transpose()?,
            sha256: rest.sha256,
            note: rest.note,
            replaces: rest.replaces_id,
            why: rest.why,
            replaced_by: rest.replaced_by,
            head,
            paper,
        })
    }

    /// Every lot that one of the `most` newest settlements which hold is about, with what was paid for it: what history
    /// teaches.
    pub async fn settled_lots(&self, shop_id: &str, most: u32) -> Result<Vec<SettledLot>, StoreError> {
        let sql = "SELECT x.settlement_id, s.outlet_id, x.lot_id, x.grade_id, x.net_ug, x.counted_ug, x.pieces, x.price, \
                   x.unit, x.promised_minor, s.currency, m.sent_at, s.dated, s.paid_on, s.at FROM settlement_lots x \
                   JOIN settlements s ON s.id = x.settlement_id LEFT JOIN shipments m ON m.id = s.shipment_id \
                   WHERE s.id IN (SELECT n.id FROM settlements n WHERE n.shop_id = $1 AND n.kind = 'paper' \
                   AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = n.id) \
                   ORDER BY n.at DESC, n.id DESC LIMIT $2) \
                   ORDER BY s.at, s.id, x.lot_id";
        let rows: Vec<SettledRow> =
            sqlx::query_as(sql).bind(shop_id).bind(i64::from(most)).fetch_all(self.readers()).await?;
        let sql = "SELECT y.settlement_id, y.lot_id, n.grade_id, y.mass_ug, y.pieces, y.amount_minor \
                   FROM settlement_portions y JOIN settlement_lines n ON n.settlement_id = y.settlement_id \
                   AND n.position = y.position WHERE y.settlement_id IN (SELECT n.id FROM settlements n \
                   WHERE n.shop_id = $1 AND n.kind = 'paper' \
                   AND NOT EXISTS (SELECT 1 FROM settlements r WHERE r.replaces_id = n.id) \
                   ORDER BY n.at DESC, n.id DESC LIMIT $2) ORDER BY y.settlement_id, y.position";
        let portions: Vec<PortionRow> =
            sqlx::query_as(sql).bind(shop_id).bind(i64::from(most)).fetch_all(self.readers()).await?;
        let mut of_lots: BTreeMap<(String, String), Vec<PortionRow>> = BTreeMap::new();
        for portion in portions {
            let lot = (portion.settlement_id.clone(), portion.lot_id.clone());
            of_lots.entry(lot).or_default().push(portion);
        }
        let settled = |row: SettledRow| {
            let code = currency("currency", &row.currency)?;
            let portions = of_lots.remove(&(row.settlement_id.clone(), row.lot_id.clone()));
            let portion = |row: PortionRow| PaidPortion {
                grade: row.grade_id.map(GradeId::new),
                mass: row.mass_ug.map(Mass::from_micrograms),
                pieces: row.pieces,
                amount: major(row.amount_minor, code),
            };
            let moment = |column, at: &str| RowError::read(TABLE, column, at, |at| at.parse().ok());
            Ok(SettledLot {
                portions: portions.unwrap_or_default().into_iter().map(portion).collect(),
                outlet_id: OutletId::new(row.outlet_id),
                grade: GradeId::new(row.grade_id),
                net: Mass::from_micrograms(row.net_ug),
                counted: Mass::from_micrograms(row.counted_ug),
                pieces: row.pieces,
                price: price(&row.price, &row.unit, code)?,
                promised: major(row.promised_minor, code),
                currency: code,
                sent_at: row.sent_at.map(|at| moment("sent_at", &at)).transpose()?,
                dated: day("dated", row.dated.as_deref())?,
                paid_on: day("paid_on", row.paid_on.as_deref())?,
                at: moment("at", &row.at)?,
                lot_id: LotId::new(row.lot_id),
                settlement_id: row.settlement_id,
            })
        };
        rows.into_iter().map(settled).collect()
    }
}

fn price(amount: &str, unit: &str, currency: Currency) -> Result<Price, RowError> {
    let per = RowError::read("settlement_lines", "unit", unit, PriceUnit::from_code)?;
    Ok(Price::new(RowError::decimal("settlement_lines", "price", amount)?, currency, per))
}

fn add_line(paper: &mut Paper, line: LineRow, pays_for: Vec<LotId>) -> Result<(), RowError> {
    let amount = major(line.amount_minor, paper.currency);
    let charge = match line.kind.as_str() {
        "fee" => Some(ChargeKind::Fee),
        "deduction" => Some(ChargeKind::Deduction),
        "line" => None,
        _ => return Err(RowError { table: "settlement_lines", column: "kind", value: line.kind }),
    };
    if let Some(kind) = charge {
        paper.charges.push(Charge { kind, wording: line.wording, amount: -amount });
        return Ok(());
    }
    let pieces = |count: i64| {
        RowError::read("settlement_lines", "pieces", &count.to_string(), |count| count.parse::<u32>().ok())
    };
    let price = match (&line.price, &line.unit) {
        (Some(amount), Some(unit)) => Some(price(amount, unit, paper.currency)?),
        _ => None,
    };
    paper.lines.push(PaperLine {
        wording: line.wording,
        grade: line.grade_id.map(GradeId::new),
        mass: line.mass_ug.map(Mass::from_micrograms),
        pieces: line.pieces.map(pieces).transpose()?,
        price,
        amount,
        pays_for,
    });
    Ok(())
}
