//! What each outlet means by the wordings on its sheets, as a partner confirmed it.

use sqlx::AssertSqlSafe;
use trade::ids::{GradeId, OutletId};

use super::insert::{AT_ONCE, Insert, Value};
use super::{By, Store, StoreError, Tx, stamp};

/// A wording in its normal form, the key that `intake` makes of it, and the grade that it was confirmed to mean; `None` for
/// none of the shop's grades, so that the line is left out.
pub type Meaning = (String, Option<GradeId>);

impl Store {
    /// All that was learned of an outlet's wordings.
    pub async fn meanings(&self, shop_id: &str, outlet_id: &OutletId) -> Result<Vec<Meaning>, StoreError> {
        let sql = "SELECT wording, grade_id FROM wordings WHERE shop_id = $1 AND outlet_id = $2";
        let query = sqlx::query_as(sql).bind(shop_id).bind(outlet_id.as_str());
        Ok(query.fetch_all(self.readers()).await?.into_iter().map(meaning).collect())
    }

    /// What was learned of some of them: an outlet may have thousands, and a sheet says a few.
    pub async fn meanings_of(
        &self,
        shop_id: &str,
        outlet_id: &OutletId,
        wordings: &[String],
    ) -> Result<Vec<Meaning>, StoreError> {
        let mut meanings = Vec::new();
        for some in wordings.chunks(AT_ONCE) {
            let places: Vec<String> = (3..some.len() + 3).map(|place| format!("${place}")).collect();
            let sql = format!(
                "SELECT wording, grade_id FROM wordings WHERE shop_id = $1 AND outlet_id = $2 AND wording IN ({})",
                places.join(", ")
            );
            let query = sqlx::query_as(AssertSqlSafe(sql)).bind(shop_id).bind(outlet_id.as_str());
            let query = some.iter().fold(query, |query, wording| query.bind(wording));
            let rows = query.persistent(some.len() == AT_ONCE).fetch_all(self.readers()).await?;
            meanings.extend(rows.into_iter().map(meaning));
        }
        Ok(meanings)
    }
}

fn meaning((wording, grade): (String, Option<String>)) -> Meaning {
    (wording, grade.map(GradeId::new))
}

const LEARN: Insert = Insert {
    into: "INSERT INTO wordings (outlet_id, wording, shop_id, grade_id, partner_id, at)",
    behind: "ON CONFLICT (outlet_id, wording) DO UPDATE \
             SET grade_id = excluded.grade_id, partner_id = excluded.partner_id, at = excluded.at",
};

/// Remembers inside `tx` what an outlet means by wordings, each given once and in its normal form; the newest answer
/// replaces what was learned before. Where there is no grade, the line names none of the shop's.
pub async fn learn(
    tx: &mut Tx,
    by: &By,
    outlet_id: &OutletId,
    wordings: &[Meaning],
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
