//! Exchange rates by date: typed by a partner, or read from a central bank's list.

use iso_currency::Currency;
use jiff::Timestamp;
use jiff::civil::Date;
use sqlx::FromRow;
use trade::exchange::{Rate, RateBook};

use super::activity::Noun;
use super::shops::Shop;
use super::{By, RowError, Store, StoreError, Tx, stamp};

/// A rate as it is on file: where it came from, and who brought it in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RateRecord {
    pub rate: Rate,
    /// In words: `typed`, or the publication it was read from.
    pub source: String,
    pub partner_name: String,
    pub at: Timestamp,
}

#[derive(FromRow)]
struct RateRow {
    date: String,
    base: String,
    quote: String,
    rate: String,
}

impl TryFrom<RateRow> for Rate {
    type Error = RowError;

    fn try_from(row: RateRow) -> Result<Rate, RowError> {
        Ok(Rate {
            date: RowError::read("rates", "date", &row.date, |date| date.parse::<Date>().ok())?,
            base: RowError::read("rates", "base", &row.base, Currency::from_code)?,
            quote: RowError::read("rates", "quote", &row.quote, Currency::from_code)?,
            rate: RowError::decimal("rates", "rate", &row.rate)?,
        })
    }
}

#[derive(FromRow)]
struct RecordRow {
    #[sqlx(flatten)]
    rate: RateRow,
    source: String,
    partner_name: String,
    at: String,
}

impl TryFrom<RecordRow> for RateRecord {
    type Error = RowError;

    fn try_from(row: RecordRow) -> Result<RateRecord, RowError> {
        Ok(RateRecord {
            rate: row.rate.try_into()?,
            source: row.source,
            partner_name: row.partner_name,
            at: RowError::read("rates", "at", &row.at, |at| at.parse().ok())?,
        })
    }
}

impl Store {
    /// All rates of the shop, ready to say which applies on a day. Where a pair stands both ways round on one day, the
    /// one brought in last comes first.
    pub async fn rate_book(&self, shop_id: &str) -> Result<RateBook, StoreError> {
        let sql = "SELECT date, base, quote, rate FROM rates WHERE shop_id = $1 ORDER BY date DESC, at DESC, base, quote";
        let rows: Vec<RateRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(RateBook::new(rows.into_iter().map(Rate::try_from).collect::<Result<Vec<_>, _>>()?))
    }

    /// All rates with where they came from, newest first.
    pub async fn rates(&self, shop_id: &str) -> Result<Vec<RateRecord>, StoreError> {
        let sql = "SELECT r.date, r.base, r.quote, r.rate, r.source, p.name AS partner_name, r.at FROM rates r \
                   JOIN partners p ON p.id = r.partner_id \
                   WHERE r.shop_id = $1 ORDER BY r.date DESC, r.at DESC, r.base, r.quote";
        let rows: Vec<RecordRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(RateRecord::try_from).collect::<Result<_, _>>()?)
    }

    /// The currencies that the shop deals in besides its own: its outlets', its carriers' and its sheets'.
    pub async fn foreign_currencies(&self, shop: &Shop) -> Result<Vec<Currency>, StoreError> {
        let sql = "SELECT currency FROM outlets WHERE shop_id = $1 AND closed_at IS NULL \
                   UNION SELECT currency FROM services WHERE shop_id = $1 AND retired_at IS NULL \
                   UNION SELECT currency FROM quotes WHERE shop_id = $1 ORDER BY currency";
        let rows: Vec<(String,)> = sqlx::query_as(sql).bind(&shop.id).fetch_all(self.readers()).await?;
        let currencies = rows
            .iter()
            .map(|(code,)| RowError::read("outlets", "currency", code, Currency::from_code))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(currencies.into_iter().filter(|currency| *currency != shop.costs.home).collect())
    }
}

/// The newest rate of each pair that is not after `day`, inside `tx`.
pub(super) async fn rates_on(tx: &mut Tx, shop_id: &str, day: Date) -> Result<Vec<Rate>, StoreError> {
    let sql = "SELECT r.date, r.base, r.quote, r.rate FROM rates r JOIN \
               (SELECT base, quote, MAX(date) AS date FROM rates WHERE shop_id = $1 AND date <= $2 \
               GROUP BY base, quote) x ON x.base = r.base AND x.quote = r.quote AND x.date = r.date \
               WHERE r.shop_id = $1 ORDER BY r.date DESC, r.at DESC, r.base, r.quote";
    let rows: Vec<RateRow> =
        sqlx::query_as(sql).bind(shop_id).bind(day.to_string()).fetch_all(&mut **tx).await?;
    Ok(rows.into_iter().map(Rate::try_from).collect::<Result<_, _>>()?)
}

/// Puts rates on file inside `tx`. One that is there for the same day and pair is replaced: the newer word counts.
pub async fn save_rates(tx: &mut Tx, by: &By, rates: &[Rate], source: &str) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let sql = "INSERT INTO rates (shop_id, date, base, quote, rate, source, partner_id, at) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8) \
               ON CONFLICT (shop_id, date, base, quote) DO UPDATE SET rate = excluded.rate, \
               source = excluded.source, partner_id = excluded.partner_id, at = excluded.at";
    for rate in rates {
        sqlx::query(sql)
            .bind(shop_id)
            .bind(rate.date.to_string())
            .bind(rate.base.code())
            .bind(rate.quote.code())
            .bind(rate.rate.to_string())
            .bind(source)
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut **tx)
            .await?;
    }
    if let Some(rate) = rates.first() {
        let more = if rates.len() > 1 { format!(" and {} more", rates.len() - 1) } else { String::new() };
        let pair = format!("{}/{}", rate.base.code(), rate.quote.code());
        let detail = format!("{pair} of {}{more}, {source}", rate.date);
        tx.note(by, Noun::Rate, &pair, "saved", &detail).await?;
    }
    Ok(())
}
