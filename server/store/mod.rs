//! Everything that is kept. SQL lives in this folder and nowhere else, one file per noun.
//!
//! One text of SQL serves SQLite and Postgres through sqlx's `any` driver. Reads go to a pool of readers; writes go
//! through [`Store::begin`], which on SQLite takes the write lock at once: a transaction that first reads and then
//! writes would otherwise fail under two phones at the same moment.

pub mod activity;
pub mod api_keys;
pub mod cartons;
pub mod cash;
pub mod check;
pub mod codes;
pub mod containers;
pub mod diverted;
pub mod drafts;
pub mod error;
pub mod files;
pub mod grades;
pub mod hours;
mod insert;
pub mod jobs;
pub mod lots;
pub mod news;
pub mod outlets;
pub mod partners;
pub mod photos;
pub mod pickups;
pub mod plan;
pub mod quotes;
pub mod rates;
pub mod reservations;
pub mod roads;
pub mod rows;
pub mod runs;
pub mod scale_readings;
pub mod services;
pub mod sessions;
pub mod settlement_drafts;
pub mod settlements;
pub mod sheets;
pub mod shipments;
pub mod shops;
pub mod splits;
pub mod teardowns;
pub mod tries;
mod tx;
mod watch;
pub mod weighings;
pub mod wordings;

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use rust_decimal::dec;
use sqlx::any::{AnyPoolOptions, install_default_drivers};
use sqlx::migrate::Migrator;
use sqlx::{Any, AnyConnection, AnyPool, Connection};
use trade::mass::{Mass, MassUnit};

pub use activity::By;
use activity::Noun;
pub use error::{RowError, StoreError};
pub use news::{Change, News};
pub use tx::Tx;
use watch::Watch;

static SQLITE: Migrator = sqlx::migrate!("migrations/sqlite");
static POSTGRES: Migrator = sqlx::migrate!("migrations/postgres");

/// How long anything waits for its turn at the record.
const LONGEST_WAIT: Duration = Duration::from_secs(10);

/// Where the shop's record is kept.
#[derive(Debug, Clone)]
pub enum Place {
    /// A SQLite file, made if it is not there.
    File(PathBuf),
    /// A `postgres://` address.
    Postgres(String),
}

/// An open store.
#[derive(Debug, Clone)]
pub struct Store {
    readers: AnyPool,
    writer: AnyPool,
    watch: Watch,
    begin: &'static str,
    begin_alone: &'static str,
    begin_to_read: &'static str,
    news: News,
}

impl Store {
    /// Opens the store and brings its schema up to date.
    pub async fn open(place: &Place) -> Result<Store, StoreError> {
        install_default_drivers();
        let store = match place {
            Place::File(path) => open_file(path).await?,
            Place::Postgres(address) => open_postgres(address).await?,
        };
        store.count_diverted().await?;
        Ok(store)
    }

    /// Starts a transaction that may write.
    pub async fn begin(&self) -> Result<Tx, StoreError> {
        Ok(Tx::new(self.writer.begin_with(self.begin).await?, self.news.clone()))
    }

    /// Starts a transaction that runs as if no other ran at the same time, for a decision on what is *not* there yet. One
    /// that comes too late ends as [`StoreError::Busy`].
    pub async fn begin_alone(&self) -> Result<Tx, StoreError> {
        Ok(Tx::new(self.writer.begin_with(self.begin_alone).await?, self.news.clone()))
    }

    /// Whether the database answers.
    pub async fn answers(&self) -> Result<(), StoreError> {
        sqlx::query("SELECT 1").execute(&self.readers).await?;
        Ok(())
    }

    /// Everything that is saved from now on.
    pub fn news(&self) -> &News {
        &self.news
    }

    pub async fn close(&self) {
        self.news.close();
        self.watch.close().await;
        self.readers.close().await;
        self.writer.close().await;
    }

    pub(crate) fn readers(&self) -> &AnyPool {
        &self.readers
    }

    /// Takes a thing out of use, or into use again, if it still has that version.
    async fn set_out_of_use(
        &self,
        how: &OutOfUse,
        by: &By,
        id: &str,
        version: i64,
        is_out: bool,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let since = is_out.then(|| stamp(by.at));
        let query = sqlx::query(how.sql).bind(&by.shop_id).bind(id).bind(version).bind(since);
        changed_one(query.execute(&mut *tx).await?.rows_affected())?;
        let [out, back] = how.deeds;
        tx.note(by, how.noun, id, if is_out { out } else { back }, "").await?;
        tx.commit().await
    }
}

/// How one kind of thing is taken out of use.
struct OutOfUse {
    /// Sets `$4`, the moment or nothing, on the row of shop `$1` and id `$2` that still has the version `$3`.
    sql: &'static str,
    noun: Noun,
    /// What was done, in the record of activity: out of use, and back.
    deeds: [&'static str; 2],
}

/// A query with some of its values bound.
type Query<'q> = sqlx::query::Query<'q, Any, sqlx::any::AnyArguments>;

/// An update that named a version and found no row was about a row that has moved on.
fn changed_one(rows: u64) -> Result<(), StoreError> {
    if rows == 1 { Ok(()) } else { Err(StoreError::Stale) }
}

/// Adds a row that has an id and a name of its own, by an insert that ends with `ON CONFLICT DO NOTHING`. False if it is
/// there already, as `there` finds by shop `$1` and id `$2`: of one form sent twice at once, the second.
///
/// # Errors
/// [`StoreError::Duplicate`] where another row has the name.
async fn add_once(
    tx: &mut Tx,
    insert: Query<'_>,
    there: &'static str,
    shop_id: &str,
    id: &str,
) -> Result<bool, StoreError> {
    // Not `ON CONFLICT (id)`: of two inserts at once, Postgres lets the second wait at the other index, and refuses it.
    if insert.execute(&mut **tx).await?.rows_affected() == 1 {
        return Ok(true);
    }
    let found = sqlx::query(there).bind(shop_id).bind(id).fetch_optional(&mut **tx).await?;
    if found.is_some() { Ok(false) } else { Err(StoreError::Duplicate) }
}

async fn open_file(path: &Path) -> Result<Store, StoreError> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(|cause| StoreError::Folder { path: folder.into(), cause })?;
    }
    let address = format!("sqlite:{}?mode=rwc", path.display());
    // SQLite has no lock of its own around migrations, and none that waits around the first change to WAL: of two
    // processes started at once, the second waits here.
    let lock = locked(path.with_extension("lock")).await?;
    // A pool tries again and again until it gives up, and then only says that it did; one connection says why.
    let mut first = AnyConnection::connect(&address).await?;
    prepare_sqlite(&mut first).await?;
    first.close().await?;
    let writer = sqlite_pool(1)
        .after_connect(|connection, _| {
            Box::pin(async move {
                prepare_sqlite(connection).await?;
                // A long sheet is one transaction: what it changes is written once, rather than pushed out half-way and
                // read again; and what each of its statements might have to undo is not written to a file of its own.
                sqlx::query("PRAGMA cache_size = -16384").execute(&mut *connection).await?;
                sqlx::query("PRAGMA temp_store = MEMORY").execute(connection).await?;
                Ok(())
            })
        })
        .connect(&address)
        .await?;
    SQLITE.run(&writer).await?;
    drop(lock);
    let readers = sqlite_pool(4).connect(&address).await?;
    let mut watcher = AnyConnection::connect(&address).await?;
    prepare_sqlite(&mut watcher).await?;
    let news = News::of_one_process();
    Ok(Store {
        readers,
        writer,
        watch: Watch::by(watcher),
        begin: "BEGIN IMMEDIATE",
        begin_alone: "BEGIN IMMEDIATE",
        begin_to_read: "BEGIN",
        news,
    })
}

/// A file with the lock on it, which goes with the file. A start that waits longer than this for another one says so
/// instead of hanging without a word.
async fn locked(path: PathBuf) -> Result<File, StoreError> {
    let file = File::create(&path).map_err(|cause| StoreError::Folder { path: path.clone(), cause })?;
    let last = Instant::now() + LONGEST_WAIT;
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) if Instant::now() < last => {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            Err(TryLockError::WouldBlock) => return Err(StoreError::Busy),
            Err(TryLockError::Error(cause)) => return Err(StoreError::Folder { path, cause }),
        }
    }
}

fn sqlite_pool(connections: u32) -> AnyPoolOptions {
    AnyPoolOptions::new()
        .max_connections(connections)
        .acquire_timeout(LONGEST_WAIT)
        .after_connect(|connection, _| Box::pin(prepare_sqlite(connection)))
        // Where the disk is full, SQLite rolls back by itself. sqlx does not learn of it, counts the transaction as open
        // for good and refuses every later one on that connection: it is given up for a new one.
        .before_acquire(|connection, _| Box::pin(async move { Ok(!connection.is_in_transaction()) }))
}

async fn prepare_sqlite(connection: &mut AnyConnection) -> Result<(), sqlx::Error> {
    // The busy timeout comes first, so that the others wait for a lock instead of failing.
    for pragma in [
        "PRAGMA busy_timeout = 5000",
        "PRAGMA journal_mode = WAL",
        "PRAGMA synchronous = FULL",
        "PRAGMA foreign_keys = ON",
    ] {
        sqlx::query(pragma).execute(&mut *connection).await?;
    }
    Ok(())
}

async fn open_postgres(address: &str) -> Result<Store, StoreError> {
    let first = AnyConnection::connect(address).await.map_err(StoreError::Unreachable)?;
    first.close().await?;
    let options = AnyPoolOptions::new().max_connections(8).acquire_timeout(LONGEST_WAIT).after_connect(
        |connection, _| {
            Box::pin(async move {
                // As long as SQLite waits for a lock.
                sqlx::query("SET lock_timeout = '5s'").execute(connection).await?;
                Ok(())
            })
        },
    );
    let pool = options.connect(address).await?;
    POSTGRES.run(&pool).await?;
    let news = News::through_postgres(address).await.map_err(StoreError::Unreachable)?;
    Ok(Store {
        readers: pool.clone(),
        writer: pool,
        watch: Watch::default(),
        begin: "BEGIN",
        begin_alone: "BEGIN ISOLATION LEVEL SERIALIZABLE",
        begin_to_read: "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
        news,
    })
}

/// A new id: made by the application, ordered by time, so that a form can carry it before anything is stored.
pub fn new_id() -> String {
    uuid::Uuid::now_v7().to_string()
}

/// Whether `id` can be an id that this program or a phone made. Anything else never reaches a query.
pub fn is_id(id: &str) -> bool {
    uuid::Uuid::try_parse(id).is_ok_and(|parsed| parsed.hyphenated().to_string() == id)
}

/// A moment as it is stored: UTC, milliseconds always, so that text order is time order.
pub fn stamp(at: Timestamp) -> String {
    format!("{at:.3}")
}

/// A weight that somebody typed for a table, a limit or a minimum, as it was meant.
///
/// The columns hold whole micrograms, and an ounce is not a whole number of them. A table's `1 oz` that came back an
/// eighth of a microgram short would bill a parcel of exactly an ounce as two; so what is not a whole number of
/// milligrams is taken for the thousandth of an ounce that it was rounded from.
pub(crate) fn typed_mass(micrograms: i64) -> Mass {
    let stored = Mass::from_micrograms(micrograms);
    if micrograms % 1000 == 0 {
        return stored;
    }
    let step = Mass::of(dec!(0.001), MassUnit::Ounce);
    let meant = step.times((stored.grams() / step.grams()).round());
    if meant.micrograms() == micrograms { meant } else { stored }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Factors of NIST Handbook 44 Appendix C: 1 oz is 28.349523125 g, which is not a whole number of micrograms.
    #[test]
    fn a_typed_weight_comes_back_exactly() {
        for (number, unit) in [
            (dec!(1), MassUnit::Ounce),
            (dec!(0.5), MassUnit::Ounce),
            (dec!(15.999), MassUnit::Ounce),
            (dec!(37), MassUnit::Ounce),
            (dec!(70), MassUnit::Pound),
            (dec!(0.1), MassUnit::Pound),
            (dec!(2.5), MassUnit::Kilogram),
            (dec!(1), MassUnit::Gram),
            (dec!(0.001), MassUnit::Gram),
            (dec!(1000), MassUnit::Tonne),
        ] {
            let mass = Mass::of(number, unit);
            assert_eq!(typed_mass(mass.micrograms()), mass, "{number} {unit}");
        }
        // What no ounce comes near stays as it is stored.
        assert_eq!(typed_mass(1), Mass::from_micrograms(1));
    }
}
