//! What each outlet means by the wordings on its sheets, as a partner confirmed it.

use jiff::Timestamp;
use sqlx::FromRow;
use trade::ids::{GradeId, OutletId};

use super::insert::{AT_ONCE, Insert, Value};
use super::{By, RowError, Store, StoreError, Tx, stamp};

/// A wording that was learned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wording {
    /// In its normal form, the key that `intake` makes of it.
    pub wording: String,
    /// `None`: none of the shop's grades, so the line is left out.
    pub grade_id: Option<GradeId>,
    pub grade_name: Option<String>,
    pub partner_name: String,
    pub at: Timestamp,
}

#[derive(FromRow)]
struct WordingRow {
    wording: String,
    grade_id: Option<String>,
    grade_name: Option<String>,
    partner_name: String,
    at: String,
}

impl TryFrom<WordingRow> for Wording {
    type Error = RowError;

    fn try_from(row: WordingRow) -> Result<Wording, RowError> {
        Ok(Wording {
            at: RowError::read("wordings", "at", &row.at, |at| at.parse().ok())?,
            wording: row.wording,
            grade_id: row.grade_id.map(GradeId::new),
            grade_name: row.grade_name,
            partner_name: row.partner_name,
        })
    }
}

impl Store {
    /// All that was learned of an outlet's wordings, in their order.
    pub async fn wordings(&self, shop_id: &str, outlet_id: &OutletId) -> Result<Vec<Wording>, StoreError> {
        let sql = "SELECT w.wording, w.grade_id, g.name AS grade_name, p.name AS partner_name, w.at \
                   FROM wordings w JOIN partners p ON p.id = w.partner_id \
                   LEFT JOIN grades g ON g.shop_id = w.shop_id AND g.id = w.grade_id \
                   WHERE w.shop_id = $1 AND w.outlet_id = $2 ORDER BY w.wording";
        let rows: Vec<WordingRow> =
            sqlx::query_as(sql).bind(shop_id).bind(outlet_id.as_str()).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Wording::try_from).collect::<Result<_, _>>()?)
    }
}

const LEARN: Insert = Insert {
    into: "INSERT INTO wordings (outlet_id, wording, shop_id, grade_id, partner_id, at) VALUES",
    behind: "ON CONFLICT (outlet_id, wording) DO UPDATE \
             SET grade_id = excluded.grade_id, partner_id = excluded.partner_id, at = excluded.at",
};

/// Remembers inside `tx` what an outlet means by wordings, each given once and in its normal form; the newest answer
/// replaces what was learned before. Where there is no grade, the line names none of the shop's.
pub async fn learn(
    tx: &mut Tx,
    by: &By,
    outlet_id: &OutletId,
    wordings: &[(String, Option<GradeId>)],
) -> Result<(), StoreError> {
    let By { shop_id, partner_id, at } = by;
    let at = stamp(*at);
    let mut inserting = LEARN.begin();
    for some in wordings.chunks(AT_ONCE) {
        let rows = some.iter().map(|(wording, grade)| {
            [
                Value::Text(outlet_id.as_str()),
                Value::Text(wording),
                Value::Text(shop_id),
                grade.as_ref().map(GradeId::as_str).into(),
                Value::Text(partner_id),
                Value::Text(&at),
            ]
        });
        inserting.add(tx, rows.collect()).await?;
    }
    Ok(())
}
