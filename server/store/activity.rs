//! Who did what, and when. Every change puts its own line here, in its own transaction.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sqlx::FromRow;

use super::{RowError, Store, StoreError, Tx, new_id, stamp};

/// Who changes something, in which shop and when: every write of the store takes one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct By {
    pub shop_id: String,
    pub partner_id: String,
    pub at: Timestamp,
}

/// What kind of thing was changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Noun {
    Lot,
    Container,
    Grade,
    Outlet,
    Service,
    Carton,
    Rate,
    Draft,
    Sheet,
    Plan,
    Shipment,
    Settlement,
    Shop,
    Partner,
    Session,
    /// What a scale shows; it is told to open pages, and stands in no record of activity.
    Scale,
}

impl Noun {
    pub const ALL: [Noun; 15] = [
        Noun::Lot,
        Noun::Container,
        Noun::Grade,
        Noun::Outlet,
        Noun::Service,
        Noun::Carton,
        Noun::Rate,
        Noun::Draft,
        Noun::Sheet,
        Noun::Plan,
        Noun::Shipment,
        Noun::Settlement,
        Noun::Shop,
        Noun::Partner,
        Noun::Session,
    ];

    pub const fn code(self) -> &'static str {
        match self {
            Noun::Lot => "lot",
            Noun::Container => "container",
            Noun::Grade => "grade",
            Noun::Outlet => "outlet",
            Noun::Service => "service",
            Noun::Carton => "carton",
            Noun::Rate => "rate",
            Noun::Draft => "draft",
            Noun::Sheet => "sheet",
            Noun::Plan => "plan",
            Noun::Shipment => "shipment",
            Noun::Settlement => "settlement",
            Noun::Shop => "shop",
            Noun::Partner => "partner",
            Noun::Session => "session",
            Noun::Scale => "scale",
        }
    }

    pub fn from_code(code: &str) -> Option<Noun> {
        Self::ALL.into_iter().find(|noun| noun.code() == code)
    }
}

/// A line of the shop's activity.
#[derive(Debug, Clone)]
pub struct Activity {
    pub id: String,
    pub at: Timestamp,
    pub partner_name: String,
    pub noun: Noun,
    pub noun_id: String,
    /// What the thing is called now; `None` for one that is gone, or has no name of its own.
    pub name: Option<String>,
    pub deed: String,
    pub detail: String,
}

#[derive(FromRow)]
struct ActivityRow {
    id: String,
    at: String,
    partner_name: String,
    noun: String,
    noun_id: String,
    name: Option<String>,
    deed: String,
    detail: String,
}

impl TryFrom<ActivityRow> for Activity {
    type Error = RowError;

    fn try_from(row: ActivityRow) -> Result<Activity, RowError> {
        Ok(Activity {
            at: RowError::read("activity", "at", &row.at, |at| at.parse().ok())?,
            noun: RowError::read("activity", "noun", &row.noun, Noun::from_code)?,
            id: row.id,
            partner_name: row.partner_name,
            noun_id: row.noun_id,
            name: row.name,
            deed: row.deed,
            detail: row.detail,
        })
    }
}

/// Which lines of the activity are wanted.
#[derive(Debug, Clone, Default)]
pub struct Wanted<'a> {
    pub partner_id: Option<&'a str>,
    pub noun: Option<Noun>,
    /// Only what comes after the line with this moment and id, in the order of the page: newest first.
    pub before: Option<(&'a str, &'a str)>,
}

impl Store {
    /// What was done, newest first, at most `most` lines.
    pub async fn activity(
        &self,
        shop_id: &str,
        wanted: &Wanted<'_>,
        most: u32,
    ) -> Result<Vec<Activity>, StoreError> {
        let sql = "SELECT a.id, a.at, p.name AS partner_name, a.noun, a.noun_id, a.deed, a.detail, \
                   COALESCE(c.label, b.label, g.name, o.name, s.name, k.name, h.name, t.name, y.name, w.name) AS name \
                   FROM activity a JOIN partners p ON p.id = a.partner_id \
                   LEFT JOIN lots l ON a.noun IN ('lot', 'plan') AND l.id = a.noun_id \
                   LEFT JOIN containers c ON c.id = l.container_id \
                   LEFT JOIN containers b ON a.noun = 'container' AND b.id = a.noun_id \
                   LEFT JOIN grades g ON a.noun = 'grade' AND g.shop_id = a.shop_id AND g.id = a.noun_id \
                   LEFT JOIN outlets o ON a.noun IN ('outlet', 'plan') AND o.id = a.noun_id \
                   LEFT JOIN services s ON a.noun = 'service' AND s.id = a.noun_id \
                   LEFT JOIN cartons k ON a.noun = 'carton' AND k.id = a.noun_id \
                   LEFT JOIN sheets q ON a.noun = 'sheet' AND q.id = a.noun_id \
                   LEFT JOIN outlets h ON h.id = q.outlet_id \
                   LEFT JOIN shipments m ON a.noun = 'shipment' AND m.id = a.noun_id \
                   LEFT JOIN outlets t ON t.id = m.outlet_id \
                   LEFT JOIN settlements x ON a.noun = 'settlement' AND x.id = a.noun_id \
                   LEFT JOIN outlets y ON y.id = x.outlet_id \
                   LEFT JOIN partners w ON a.noun = 'partner' AND w.id = a.noun_id \
                   WHERE a.shop_id = $1 AND (CAST($2 AS TEXT) IS NULL OR a.partner_id = $2) \
                   AND (CAST($3 AS TEXT) IS NULL OR a.noun = $3) \
                   AND (CAST($4 AS TEXT) IS NULL OR a.at < $4 OR (a.at = $4 AND a.id < $5)) \
                   ORDER BY a.at DESC, a.id DESC LIMIT $6";
        let (at, id) = wanted.before.unzip();
        let rows: Vec<ActivityRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(wanted.partner_id)
            .bind(wanted.noun.map(Noun::code))
            .bind(at)
            .bind(id)
            .bind(i64::from(most))
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Activity::try_from).collect::<Result<_, _>>()?)
    }
}

/// Adds a line inside `tx`.
pub(super) async fn add(
    tx: &mut Tx,
    by: &By,
    noun: Noun,
    noun_id: &str,
    deed: &str,
    detail: &str,
) -> Result<(), StoreError> {
    let sql = "INSERT INTO activity (id, shop_id, partner_id, at, noun, noun_id, deed, detail) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    sqlx::query(sql)
        .bind(new_id())
        .bind(&by.shop_id)
        .bind(&by.partner_id)
        .bind(stamp(by.at))
        .bind(noun.code())
        .bind(noun_id)
        .bind(deed)
        .bind(detail)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
