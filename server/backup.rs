//! Backups: an archive of the whole record in a folder, every night and when somebody asks for one, proved by restoring
//! it, and the old ones thinned out.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};
use tracing::{error, info};

use crate::archive::{self, ArchiveError};
use crate::store::Store;

/// Backups of the last days are all kept.
const DAYS: usize = 14;
/// Of the months before, the last one of each.
const MONTHS: usize = 12;
/// The nightly one is made from this hour on, on the shop's clock: nobody is in the shop.
const NIGHT_HOUR: i8 = 3;
/// How often it is looked whether it is night.
const LOOK: Duration = Duration::from_secs(300);
const JOB: &str = "backup";

const PREFIX: &str = "pennyweight-";
const ENDING: &str = ".zip";

/// The folder that backups lie in.
#[derive(Debug, Clone)]
pub struct Backups {
    folder: PathBuf,
}

/// A backup that lies in the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backup {
    pub name: String,
    pub made_at: Timestamp,
    pub bytes: u64,
}

impl Backups {
    pub fn new(folder: impl Into<PathBuf>) -> Backups {
        Backups { folder: folder.into() }
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// All backups, the newest first.
    pub fn list(&self) -> io::Result<Vec<Backup>> {
        let entries = match fs::read_dir(&self.folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            entries => entries?,
        };
        let mut backups = Vec::new();
        for entry in entries {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if let Some(made_at) = made_at(&name) {
                backups.push(Backup { name, made_at, bytes: entry.metadata()?.len() });
            }
        }
        backups.sort_by_key(|backup| std::cmp::Reverse(backup.made_at));
        Ok(backups)
    }

    /// Makes a backup of the whole record, proves that it can be restored, and thins out the old ones. The file gets its
    /// name only then: what has one is whole.
    pub async fn make(&self, store: &Store, now: Timestamp) -> Result<Backup, ArchiveError> {
        let (backups, store) = (self.clone(), store.clone());
        // Files are read and written, and a whole record is packed: that is no work for a thread that serves.
        let handle = tokio::runtime::Handle::current();
        let work = tokio::task::spawn_blocking(move || handle.block_on(backups.make_here(&store, now)));
        match work.await {
            Ok(made) => made,
            Err(stopped) => Err(ArchiveError::Write(stopped.into())),
        }
    }

    async fn make_here(&self, store: &Store, now: Timestamp) -> Result<Backup, ArchiveError> {
        let at = |path: &Path| {
            let path = path.to_path_buf();
            move |cause| ArchiveError::File { path, cause }
        };
        fs::create_dir_all(&self.folder).map_err(at(&self.folder))?;
        let name = format!("{PREFIX}{}{ENDING}", now.strftime("%Y%m%dT%H%M%SZ"));
        let (path, growing) = (self.folder.join(&name), self.folder.join(format!("{name}.part")));
        let made = async {
            let mut file = File::create(&growing).map_err(at(&growing))?;
            let shops: Vec<String> = store.shops().await?.into_iter().map(|shop| shop.id).collect();
            archive::write(store, &shops, now, BufWriter::new(&mut file)).await?;
            file.sync_all().map_err(at(&growing))?;
            archive::verify(&growing).await?;
            fs::rename(&growing, &path).map_err(at(&path))?;
            // The name is on the disk, too.
            File::open(&self.folder).and_then(|folder| folder.sync_all()).map_err(at(&self.folder))
        };
        if let Err(error) = made.await {
            let _ = fs::remove_file(&growing);
            return Err(error);
        }
        let bytes = fs::metadata(&path).map_err(at(&path))?.len();
        for old in superfluous(&self.list().map_err(at(&self.folder))?) {
            fs::remove_file(self.folder.join(&old.name)).map_err(at(&self.folder))?;
        }
        // To the second, as its name says.
        Ok(Backup { made_at: made_at(&name).unwrap_or(now), name, bytes })
    }

    /// Makes one every night, for as long as the program runs. Of several servers with one database, one makes it.
    pub async fn every_night(self, store: Store) {
        loop {
            if let Err(error) = self.if_it_is_night(&store, Timestamp::now()).await {
                error!(%error, folder = %self.folder.display(), "the nightly backup could not be made");
            }
            tokio::time::sleep(LOOK).await;
        }
    }

    async fn if_it_is_night(&self, store: &Store, now: Timestamp) -> Result<(), ArchiveError> {
        let Some(shop) = store.shops().await?.into_iter().next() else { return Ok(()) };
        let Some(day) = night_of(&now.to_zoned_datetime(shop.zone)) else { return Ok(()) };
        if !store.take_job(JOB, &day.to_string()).await? {
            return Ok(());
        }
        match self.make(store, now).await {
            Ok(backup) => {
                info!(name = backup.name, bytes = backup.bytes, "nightly backup made and proved");
                Ok(())
            }
            Err(error) => {
                // Tried again at the next look.
                store.give_back_job(JOB, &day.to_string()).await?;
                Err(error)
            }
        }
    }
}

/// The day whose night it is: the box that was switched off at three makes up for it in the morning.
fn night_of(now: &ZonedDateTime) -> Option<Date> {
    (now.hour() >= NIGHT_HOUR).then(|| now.date())
}

/// When a backup was made, by its name; `None` for a file that is none.
fn made_at(name: &str) -> Option<Timestamp> {
    let stamp = name.strip_prefix(PREFIX)?.strip_suffix(ENDING)?;
    let civil = jiff::civil::DateTime::strptime("%Y%m%dT%H%M%SZ", stamp).ok()?;
    civil.to_zoned_datetime(TimeZone::UTC).ok().map(|zoned| zoned.timestamp())
}

/// Those that need not be kept, of a list with the newest first: all but those of the last days that have one, and the
/// last one of each month before.
fn superfluous(backups: &[Backup]) -> Vec<&Backup> {
    let day = |backup: &Backup| backup.made_at.to_zoned_datetime(TimeZone::UTC).date();
    let (mut days, mut months) = (BTreeSet::new(), BTreeSet::new());
    backups
        .iter()
        .filter(|backup| {
            let day = day(backup);
            if days.contains(&day) || days.len() < DAYS {
                days.insert(day);
                months.insert((day.year(), day.month()));
                return false;
            }
            let is_first_of_its_month = months.insert((day.year(), day.month()));
            !is_first_of_its_month || months.len() > MONTHS
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan;
    use jiff::civil::date;

    use super::*;

    fn made(day: Date) -> Backup {
        let made_at = day.at(3, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).unwrap().timestamp();
        Backup { name: day.to_string(), made_at, bytes: 1 }
    }

    #[test]
    fn two_weeks_are_kept_and_one_of_each_month_before() {
        let newest = date(2026, 11, 25);
        let backups: Vec<Backup> = (0..800_i32).map(|ago| made(newest.saturating_sub(ago.days()))).collect();
        let gone: BTreeSet<&str> = superfluous(&backups).iter().map(|backup| backup.name.as_str()).collect();
        let kept: Vec<&str> =
            backups.iter().map(|b| b.name.as_str()).filter(|name| !gone.contains(name)).collect();
        assert_eq!(kept.len(), 14 + 11);
        assert_eq!(kept[13], "2026-11-12");
        assert_eq!(kept[14..17], ["2026-10-31", "2026-09-30", "2026-08-31"]);
    }

    #[test]
    fn many_of_one_day_do_not_push_out_the_days_before() {
        let mut backups = vec![made(date(2026, 11, 25)); 40];
        backups.push(made(date(2026, 11, 24)));
        assert_eq!(superfluous(&backups), Vec::<&Backup>::new());
    }

    #[test]
    fn a_backup_is_known_by_its_name() {
        let at = made_at("pennyweight-20261125T030000Z.zip").expect("a backup");
        assert_eq!(at.to_string(), "2026-11-25T03:00:00Z");
        for other in ["pennyweight-20261125T030000Z.zip.part", "pennyweight-2026.zip", "notes.txt", ""] {
            assert_eq!(made_at(other), None, "{other}");
        }
    }

    #[test]
    fn night_is_from_three_on_the_shops_clock() {
        let at = |hour| date(2026, 11, 25).at(hour, 30, 0, 0).in_tz("America/Detroit").unwrap();
        assert_eq!(night_of(&at(2)), None);
        assert_eq!(night_of(&at(3)), Some(date(2026, 11, 25)));
        assert_eq!(night_of(&at(23)), Some(date(2026, 11, 25)));
    }
}
