//! Photos of lots, pickups and tickets, as they are kept: shrunk, and without what the camera wrote into them.

use jiff::Timestamp;
use sqlx::FromRow;

use super::activity::Noun;
use super::files::{add_file, drop_unread_file, sha256};
use super::{By, RowError, Store, StoreError, stamp};

/// What a photo is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    Lot,
    Pickup,
    /// What a yard gave at its gate.
    Ticket,
}

impl Subject {
    pub const ALL: [Subject; 3] = [Subject::Lot, Subject::Pickup, Subject::Ticket];

    pub const fn code(self) -> &'static str {
        match self {
            Subject::Lot => "lot",
            Subject::Pickup => "pickup",
            Subject::Ticket => "ticket",
        }
    }

    /// What the activity tells a photo of it under.
    const fn noun(self) -> Noun {
        match self {
            Subject::Lot => Noun::Lot,
            Subject::Pickup => Noun::Pickup,
            Subject::Ticket => Noun::Run,
        }
    }

    /// Finds the thing `$2` of shop `$1`, and gives what stands for it in the activity.
    const fn find(self) -> &'static str {
        match self {
            Subject::Lot => "SELECT id FROM lots WHERE shop_id = $1 AND id = $2",
            Subject::Pickup => "SELECT id FROM pickups WHERE shop_id = $1 AND id = $2",
            Subject::Ticket => "SELECT run_id FROM run_stops WHERE shop_id = $1 AND id = $2",
        }
    }
}

#[derive(Debug, Clone)]
pub struct Photo {
    pub id: String,
    pub subject: Subject,
    pub subject_id: String,
    pub sha256: String,
    pub small_sha256: String,
    pub width: i64,
    pub height: i64,
    pub partner_name: String,
    pub at: Timestamp,
}

/// A photo that was made ready to be kept.
#[derive(Debug)]
pub struct NewPhoto<'a> {
    pub id: &'a str,
    pub subject: Subject,
    pub subject_id: &'a str,
    /// JPEG.
    pub bytes: &'a [u8],
    /// The same, small.
    pub small: &'a [u8],
    pub width: u32,
    pub height: u32,
}

#[derive(FromRow)]
struct PhotoRow {
    id: String,
    subject: String,
    subject_id: String,
    sha256: String,
    small_sha256: String,
    width: i64,
    height: i64,
    partner_name: String,
    at: String,
}

impl TryFrom<PhotoRow> for Photo {
    type Error = RowError;

    fn try_from(row: PhotoRow) -> Result<Photo, RowError> {
        Ok(Photo {
            subject: RowError::read("photos", "subject", &row.subject, |code| {
                Subject::ALL.into_iter().find(|subject| subject.code() == code)
            })?,
            at: RowError::read("photos", "at", &row.at, |at| at.parse().ok())?,
            id: row.id,
            subject_id: row.subject_id,
            sha256: row.sha256,
            small_sha256: row.small_sha256,
            width: row.width,
            height: row.height,
            partner_name: row.partner_name,
        })
    }
}

macro_rules! select_photos {
    ($condition:literal) => {
        concat!(
            "SELECT f.id, f.subject, f.subject_id, f.sha256, f.small_sha256, f.width, f.height, ",
            "p.name AS partner_name, f.at FROM photos f JOIN partners p ON p.id = f.partner_id ",
            $condition
        )
    };
}

impl Store {
    /// The photos of a thing, oldest first.
    pub async fn photos(
        &self,
        shop_id: &str,
        subject: Subject,
        subject_id: &str,
    ) -> Result<Vec<Photo>, StoreError> {
        let sql = select_photos!(
            "WHERE f.shop_id = $1 AND f.subject = $2 AND f.subject_id = $3 ORDER BY f.at, f.id"
        );
        let rows: Vec<PhotoRow> = sqlx::query_as(sql)
            .bind(shop_id)
            .bind(subject.code())
            .bind(subject_id)
            .fetch_all(self.readers())
            .await?;
        Ok(rows.into_iter().map(Photo::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn photo(&self, shop_id: &str, id: &str) -> Result<Photo, StoreError> {
        let sql = select_photos!("WHERE f.shop_id = $1 AND f.id = $2");
        let row: PhotoRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Whether there is the thing that a photo is to be of.
    pub async fn can_be_photographed(
        &self,
        shop_id: &str,
        subject: Subject,
        subject_id: &str,
    ) -> Result<bool, StoreError> {
        let found: Option<(String,)> = sqlx::query_as(subject.find())
            .bind(shop_id)
            .bind(subject_id)
            .fetch_optional(self.readers())
            .await?;
        Ok(found.is_some())
    }

    /// Keeps a photo of a thing that the shop has. The same photo of the same thing a second time changes nothing.
    pub async fn add_photo(&self, by: &By, photo: &NewPhoto<'_>) -> Result<(), StoreError> {
        let By { shop_id, partner_id, at } = by;
        let mut tx = self.begin().await?;
        let (noted,): (String,) = sqlx::query_as(photo.subject.find())
            .bind(shop_id)
            .bind(photo.subject_id)
            .fetch_one(&mut *tx)
            .await?;
        let (whole, small) = (sha256(photo.bytes), sha256(photo.small));
        add_file(&mut tx, by, &whole, "photo.jpg", photo.bytes).await?;
        add_file(&mut tx, by, &small, "photo-small.jpg", photo.small).await?;
        let sql = "INSERT INTO photos (id, shop_id, subject, subject_id, sha256, small_sha256, width, height, \
                   partner_id, at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT DO NOTHING";
        let done = sqlx::query(sql)
            .bind(photo.id)
            .bind(shop_id)
            .bind(photo.subject.code())
            .bind(photo.subject_id)
            .bind(&whole)
            .bind(&small)
            .bind(i64::from(photo.width))
            .bind(i64::from(photo.height))
            .bind(partner_id)
            .bind(stamp(*at))
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 0 {
            // Nothing of it is kept twice, nor a file that no photo names.
            return Ok(());
        }
        tx.note(by, photo.subject.noun(), &noted, "photographed", "").await?;
        tx.commit().await
    }

    /// Takes a photo away for good, with its bytes unless something else was made of the same.
    pub async fn remove_photo(&self, by: &By, id: &str) -> Result<Photo, StoreError> {
        let mut tx = self.begin().await?;
        let sql = select_photos!("WHERE f.shop_id = $1 AND f.id = $2");
        let row: PhotoRow = sqlx::query_as(sql).bind(&by.shop_id).bind(id).fetch_one(&mut *tx).await?;
        let photo = Photo::try_from(row)?;
        let done = sqlx::query("DELETE FROM photos WHERE shop_id = $1 AND id = $2")
            .bind(&by.shop_id)
            .bind(id)
            .execute(&mut *tx)
            .await?;
        if done.rows_affected() == 0 {
            return Err(StoreError::Missing);
        }
        for file in [&photo.sha256, &photo.small_sha256] {
            drop_unread_file(&mut tx, &by.shop_id, file).await?;
        }
        let (noted,): (String,) = sqlx::query_as(photo.subject.find())
            .bind(&by.shop_id)
            .bind(&photo.subject_id)
            .fetch_one(&mut *tx)
            .await?;
        tx.note(by, photo.subject.noun(), &noted, "took a photo away", "").await?;
        tx.commit().await?;
        Ok(photo)
    }
}
