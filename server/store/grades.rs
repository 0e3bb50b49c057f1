//! The grade catalogue: what each quality is, how to recognise it, and how it packs.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use sqlx::FromRow;
use trade::ids::GradeId;
use trade::volume::BulkDensity;

use super::activity::Noun;
use super::{By, Query, RowError, Store, StoreError, Tx, changed_one, stamp};

/// Families in the catalogue's order.
pub const FAMILIES: [&str; 10] =
    ["copper", "wire", "aluminium", "brass", "steel", "lead", "units", "boards", "parts", "batteries"];

/// The longest slug; long enough for four words.
pub const LONGEST_SLUG: usize = 40;

/// Whether `text` can be a grade's slug: lowercase words and numbers with a hyphen between them, like `copper-2`.
pub fn is_slug(text: &str) -> bool {
    text.len() <= LONGEST_SLUG
        && text.split('-').all(|word| {
            !word.is_empty() && word.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit())
        })
}

/// What a grade is, apart from its id.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GradeDetails {
    pub family: String,
    pub name: String,
    pub summary: String,
    #[serde(flatten)]
    pub notes: GradeNotes,
    pub bulk_density: BulkDensity,
    pub bulk_density_source: String,
    #[serde(default)]
    pub sold_by: SoldBy,
}

impl GradeDetails {
    /// Whether what is of the grade needs the care of batteries, on the shelf and on the way.
    pub fn is_of_batteries(&self) -> bool {
        self.family == "batteries"
    }
}

/// How to tell a grade, kept as one JSON text: it is read and written as a whole and never searched by SQL.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct GradeNotes {
    #[serde(default)]
    pub recognise: Vec<Tell>,
    #[serde(default)]
    pub confused_with: Vec<Confusion>,
    #[serde(default)]
    pub spoils: Vec<String>,
    /// The trade circular's specification, where it has one.
    #[serde(default)]
    pub spec: Option<Specification>,
    #[serde(default)]
    pub caution: Option<String>,
    /// Wire: nominal share of conductor by mass.
    #[serde(default)]
    pub recovery: Option<Decimal>,
    /// Whether it is small and precious: kept back in a vial or a small bag until there is enough of it to mail.
    #[serde(default)]
    pub kept_back: Option<KeptBack>,
    /// What has to be looked for and kept back before a lot of this grade is sold.
    #[serde(default)]
    pub keep_back_first: Vec<Confusion>,
}

/// What is known of a grade that is kept back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptBack {
    /// What one usual piece weighs, in grams; what is weighed and counted in the shop comes before it.
    #[serde(default)]
    pub piece_grams: Option<Decimal>,
}

/// A test and what it finds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tell {
    pub test: String,
    pub finding: String,
}

/// Another grade, and how to tell it or where to find it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Confusion {
    pub grade: GradeId,
    pub tell: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Specification {
    pub code: String,
    pub nominal: String,
    pub source: String,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SoldBy {
    #[default]
    Mass,
    Each,
}

impl SoldBy {
    pub const fn code(self) -> &'static str {
        match self {
            SoldBy::Mass => "mass",
            SoldBy::Each => "each",
        }
    }

    pub fn from_code(code: &str) -> Option<SoldBy> {
        [SoldBy::Mass, SoldBy::Each].into_iter().find(|by| by.code() == code)
    }
}

/// A grade of the shop.
#[derive(Debug, Clone)]
pub struct Grade {
    pub id: GradeId,
    pub details: GradeDetails,
    pub retired: bool,
    pub version: i64,
}

#[derive(FromRow)]
struct GradeRow {
    id: String,
    family: String,
    name: String,
    summary: String,
    recognise: String,
    bulk_density: String,
    bulk_density_source: String,
    sold_by: String,
    retired_at: Option<String>,
    version: i64,
}

impl TryFrom<GradeRow> for Grade {
    type Error = RowError;

    fn try_from(row: GradeRow) -> Result<Grade, RowError> {
        let notes =
            RowError::read("grades", "recognise", &row.recognise, |json| serde_json::from_str(json).ok())?;
        let bulk_density = RowError::read("grades", "bulk_density", &row.bulk_density, |density| {
            density.parse().ok().and_then(BulkDensity::new)
        })?;
        Ok(Grade {
            id: GradeId::new(row.id),
            details: GradeDetails {
                family: row.family,
                name: row.name,
                summary: row.summary,
                notes,
                bulk_density,
                bulk_density_source: row.bulk_density_source,
                sold_by: RowError::read("grades", "sold_by", &row.sold_by, SoldBy::from_code)?,
            },
            retired: row.retired_at.is_some(),
            version: row.version,
        })
    }
}

impl Store {
    /// All grades, retired ones too, in the catalogue's order.
    pub async fn grades(&self, shop_id: &str) -> Result<Vec<Grade>, StoreError> {
        let sql = "SELECT id, family, name, summary, recognise, bulk_density, bulk_density_source, sold_by, \
                   retired_at, version FROM grades WHERE shop_id = $1 ORDER BY position, name";
        let rows: Vec<GradeRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(Grade::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn grade(&self, shop_id: &str, id: &str) -> Result<Grade, StoreError> {
        let sql = "SELECT id, family, name, summary, recognise, bulk_density, bulk_density_source, sold_by, \
                   retired_at, version FROM grades WHERE shop_id = $1 AND id = $2";
        let row: GradeRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Adds a grade at the end of its family; [`StoreError::Duplicate`] if another one has the slug or the name.
    pub async fn create_grade(
        &self,
        by: &By,
        id: &GradeId,
        details: &GradeDetails,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let nth = next_in_family(&mut tx, shop_id, &details.family).await?;
        add_grade(&mut tx, shop_id, id, details, nth).await?;
        tx.note(by, Noun::Grade, id.as_str(), "added", "").await?;
        tx.commit().await
    }

    /// Adds grades, each at the end of its family. One whose slug or name the shop has already stays as it is there.
    pub async fn add_grades(&self, by: &By, grades: &[(&GradeId, &GradeDetails)]) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        for (id, details) in grades {
            let taken = "SELECT COUNT(*) FROM grades WHERE shop_id = $1 AND (id = $2 OR name = $3)";
            let (taken,): (i64,) = sqlx::query_as(taken)
                .bind(shop_id)
                .bind(id.as_str())
                .bind(&details.name)
                .fetch_one(&mut *tx)
                .await?;
            if taken > 0 {
                continue;
            }
            let nth = next_in_family(&mut tx, shop_id, &details.family).await?;
            add_grade(&mut tx, shop_id, id, details, nth).await?;
            tx.note(by, Noun::Grade, id.as_str(), "added", "from the catalogue").await?;
        }
        tx.commit().await
    }

    /// Changes a grade; [`StoreError::Stale`] if it changed since `version`, [`StoreError::Duplicate`] if another one
    /// has the name. One that moves to another family goes to the end of it.
    pub async fn save_grade(
        &self,
        by: &By,
        id: &GradeId,
        version: i64,
        details: &GradeDetails,
    ) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let mut tx = self.begin().await?;
        let nth = next_in_family(&mut tx, shop_id, &details.family).await?;
        let sql = "SELECT family FROM grades WHERE shop_id = $1 AND id = $2";
        let (family,): (String,) =
            sqlx::query_as(sql).bind(shop_id).bind(id.as_str()).fetch_one(&mut *tx).await?;
        let sql = "UPDATE grades SET position = CASE WHEN family = $4 THEN position ELSE $11 END, family = $4, \
                   name = $5, summary = $6, recognise = $7, bulk_density = $8, bulk_density_source = $9, \
                   sold_by = $10, version = version + 1 WHERE shop_id = $1 AND id = $2 AND version = $3";
        let query = sqlx::query(sql).bind(shop_id).bind(id.as_str()).bind(version);
        let done = bind_details(query, details, nth)?.execute(&mut *tx).await?;
        changed_one(done.rows_affected())?;
        if family != details.family {
            tx.moved().count_anew(shop_id);
        }
        tx.note(by, Noun::Grade, id.as_str(), "changed", "").await?;
        tx.commit().await
    }

    /// Takes a grade out of use. Lots that have it keep it; a grade that is retired already stays as it is.
    pub async fn retire_grade(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let By { shop_id, at, .. } = by;
        let sql = "UPDATE grades SET retired_at = $3, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND retired_at IS NULL";
        let mut tx = self.begin().await?;
        let done = sqlx::query(sql).bind(shop_id).bind(id).bind(stamp(*at)).execute(&mut *tx).await?;
        if done.rows_affected() == 1 {
            tx.note(by, Noun::Grade, id, "retired", "").await?;
        }
        tx.commit().await
    }

    /// Brings a retired grade back into use.
    pub async fn return_grade(&self, by: &By, id: &str) -> Result<(), StoreError> {
        let By { shop_id, .. } = by;
        let sql = "UPDATE grades SET retired_at = NULL, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND retired_at IS NOT NULL";
        let mut tx = self.begin().await?;
        let done = sqlx::query(sql).bind(shop_id).bind(id).execute(&mut *tx).await?;
        if done.rows_affected() == 1 {
            tx.note(by, Noun::Grade, id, "brought back", "").await?;
        }
        tx.commit().await
    }

    /// Grades in use as (id, name), in the catalogue's order.
    pub async fn grade_names(&self, shop_id: &str) -> Result<Vec<(String, String)>, StoreError> {
        let sql =
            "SELECT id, name FROM grades WHERE shop_id = $1 AND retired_at IS NULL ORDER BY position, name";
        Ok(sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?)
    }
}

/// Where a family's grades start in the order, so that a grade added later stands with its family.
fn position_of(family: &str) -> i64 {
    let index = FAMILIES.iter().position(|known| *known == family).unwrap_or(FAMILIES.len());
    1000 * (1 + i64::try_from(index).unwrap_or(0))
}

/// The place after the last grade of a family.
async fn next_in_family(tx: &mut Tx, shop_id: &str, family: &str) -> Result<i64, StoreError> {
    let sql = "SELECT CAST(COALESCE(MAX(position) + 1, $3) AS BIGINT) FROM grades WHERE shop_id = $1 AND family = $2";
    let (position,): (i64,) =
        sqlx::query_as(sql).bind(shop_id).bind(family).bind(position_of(family)).fetch_one(&mut **tx).await?;
    Ok(position - position_of(family))
}

/// Adds a grade inside `tx`, `nth` in its family.
pub async fn add_grade(
    tx: &mut Tx,
    shop_id: &str,
    id: &GradeId,
    details: &GradeDetails,
    nth: i64,
) -> Result<(), StoreError> {
    let sql = "INSERT INTO grades (shop_id, id, family, name, summary, recognise, bulk_density, \
               bulk_density_source, sold_by, position, version) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 1)";
    let query = sqlx::query(sql).bind(shop_id).bind(id.as_str());
    bind_details(query, details, nth)?.execute(&mut **tx).await?;
    Ok(())
}

/// Binds the columns from `family` to `position`, in the schema's order.
fn bind_details<'q>(query: Query<'q>, details: &'q GradeDetails, nth: i64) -> Result<Query<'q>, StoreError> {
    Ok(query
        .bind(&details.family)
        .bind(&details.name)
        .bind(&details.summary)
        .bind(notes_json(&details.notes)?)
        .bind(details.bulk_density.get().to_string())
        .bind(&details.bulk_density_source)
        .bind(details.sold_by.code())
        .bind(position_of(&details.family) + nth))
}

fn notes_json(notes: &GradeNotes) -> Result<String, StoreError> {
    serde_json::to_string(notes).map_err(|cause| StoreError::Encode(cause.to_string()))
}
