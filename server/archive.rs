//! A shop, or all shops of a record, in one file that any program can read: the backup, and the way from one database to
//! another.
//!
//! The file is a zip. `manifest.json` says what it is and lists every other entry with its SHA-256. For each shop there
//! is a folder, named by the shop's id, with a file of JSON lines for each table (one row a line, by column) and
//! `files/`, where uploads lie under the SHA-256 of their bytes. `DEVELOPERS.md` describes it for other programs.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};
use zip::result::ZipError;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use crate::store::files::sha256;
use crate::store::rows::{Cells, Snapshot, TABLES, Table};
use crate::store::{Place, Store, StoreError, Tx};

/// What the manifest calls the format, and the version of it that is written.
const FORMAT: &str = "shop archive";
const VERSION: u32 = 1;
const MANIFEST: &str = "manifest.json";
/// No entry of an archive is larger: a table of a shop is far smaller, and an upload is at most 10 MB.
const LARGEST_ENTRY: u64 = 1 << 30;
/// Nor is a table that is read line by line.
const LARGEST_COUNTED: u64 = 1 << 36;

#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    #[error("{}: {cause}", path.display())]
    File { path: PathBuf, cause: io::Error },
    #[error("writing it: {0}")]
    Write(#[from] io::Error),
    #[error("it is not a zip file, or a damaged one: {0}")]
    Zip(#[from] ZipError),
    #[error("it is no archive of a shop: {0}")]
    Format(String),
    #[error("it is from a newer version of this program (schema {0}); restore it with that version")]
    Newer(i64),
    #[error("{0} is damaged: it is not what was written")]
    Damaged(String),
    #[error("{entry}, line {line}: {problem}")]
    Line { entry: String, line: usize, problem: String },
    #[error("a shop of this archive is on record here already; restore it into a new record")]
    ShopIsThere,
    #[error("read back, it is not what the record holds: {0}")]
    Differs(String),
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What an archive is and holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    pub format: String,
    pub version: u32,
    /// The number of the last change of the schema that the rows are of.
    pub schema: i64,
    pub made_at: Timestamp,
    /// Their ids and names.
    pub shops: BTreeMap<String, String>,
    /// Every other entry with the SHA-256 of its bytes.
    pub entries: BTreeMap<String, String>,
}

/// Writes an archive of some shops to `to`, as they are at one moment, and gives its manifest.
pub async fn write(
    store: &Store,
    shop_ids: &[String],
    now: Timestamp,
    to: impl Write + Seek,
) -> Result<Manifest, ArchiveError> {
    let mut manifest = Manifest {
        format: FORMAT.into(),
        version: VERSION,
        schema: store.schema().await?,
        made_at: now,
        shops: BTreeMap::new(),
        entries: BTreeMap::new(),
    };
    let mut zip = ZipWriter::new(to);
    let mut snapshot = store.snapshot().await?;
    for shop_id in shop_ids {
        write_shop(&mut snapshot, shop_id, &mut zip, &mut manifest).await?;
    }
    let json = serde_json::to_vec_pretty(&manifest).map_err(io::Error::from)?;
    zip.start_file(MANIFEST, SimpleFileOptions::default())?;
    zip.write_all(&json)?;
    zip.finish()?.flush()?;
    Ok(manifest)
}

async fn write_shop(
    snapshot: &mut Snapshot,
    shop_id: &str,
    zip: &mut ZipWriter<impl Write + Seek>,
    manifest: &mut Manifest,
) -> Result<(), ArchiveError> {
    for table in TABLES {
        if table.is_counted() {
            write_counted(snapshot, table, shop_id, zip, manifest).await?;
            continue;
        }
        let rows = snapshot.rows(table, shop_id).await?;
        if table.name == "shops" {
            let name = rows.first().and_then(|shop| shop.get("name")).and_then(Value::as_str);
            let name = name.ok_or(StoreError::Missing)?;
            manifest.shops.insert(shop_id.to_string(), name.to_string());
        }
        let mut lines = Vec::new();
        for cells in &rows {
            serde_json::to_writer(&mut lines, cells).map_err(io::Error::from)?;
            lines.push(b'\n');
        }
        add(zip, manifest, format!("{shop_id}/{}.jsonl", table.name), &lines)?;
        if table.name == "files" {
            for cells in &rows {
                let name = text(cells, "sha256");
                let bytes = snapshot.file(shop_id, name).await?;
                add(zip, manifest, file_entry(shop_id, name), &bytes)?;
            }
        }
    }
    Ok(())
}

/// Writes a table piece by piece, because one of ten years has no room in a box's memory.
async fn write_counted(
    snapshot: &mut Snapshot,
    table: Table,
    shop_id: &str,
    zip: &mut ZipWriter<impl Write + Seek>,
    manifest: &mut Manifest,
) -> Result<(), ArchiveError> {
    let name = format!("{shop_id}/{}.jsonl", table.name);
    zip.start_file(&name, SimpleFileOptions::default().large_file(true))?;
    let (mut hash, mut last) = (Sha256::new(), 0);
    loop {
        let rows = snapshot.piece(table, shop_id, last).await?;
        let Some(number) = rows.last().map(|cells| cells.get("n").and_then(Value::as_i64)) else { break };
        last = number.ok_or(StoreError::Missing)?;
        let mut lines = Vec::new();
        for cells in &rows {
            serde_json::to_writer(&mut lines, cells).map_err(io::Error::from)?;
            lines.push(b'\n');
        }
        hash.update(&lines);
        zip.write_all(&lines)?;
    }
    manifest.entries.insert(name, in_hex(&hash.finalize()));
    Ok(())
}

fn in_hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn add(
    zip: &mut ZipWriter<impl Write + Seek>,
    manifest: &mut Manifest,
    name: String,
    bytes: &[u8],
) -> Result<(), ArchiveError> {
    zip.start_file(&name, SimpleFileOptions::default())?;
    zip.write_all(bytes)?;
    manifest.entries.insert(name, sha256(bytes));
    Ok(())
}

fn file_entry(shop_id: &str, sha256: &str) -> String {
    format!("{shop_id}/files/{sha256}")
}

fn text<'a>(cells: &'a Cells, column: &str) -> &'a str {
    cells.get(column).and_then(Value::as_str).unwrap_or_default()
}

/// An archive that is open to be read.
#[derive(Debug)]
pub struct Archive<R> {
    zip: ZipArchive<R>,
    pub manifest: Manifest,
}

impl Archive<BufReader<File>> {
    pub fn open_file(path: &Path) -> Result<Self, ArchiveError> {
        let file = File::open(path).map_err(|cause| ArchiveError::File { path: path.into(), cause })?;
        Archive::open(BufReader::new(file))
    }
}

impl<R: Read + Seek> Archive<R> {
    pub fn open(from: R) -> Result<Self, ArchiveError> {
        let mut zip = ZipArchive::new(from)?;
        let bytes = match entry(&mut zip, MANIFEST) {
            Err(ArchiveError::Zip(ZipError::FileNotFound)) => {
                return Err(ArchiveError::Format(format!("it has no {MANIFEST}")));
            }
            read => read?,
        };
        let manifest: Manifest =
            serde_json::from_slice(&bytes).map_err(|error| ArchiveError::Format(error.to_string()))?;
        if manifest.format != FORMAT || manifest.version != VERSION {
            let what = format!("its manifest says {} {}", manifest.format, manifest.version);
            return Err(ArchiveError::Format(what));
        }
        Ok(Archive { zip, manifest })
    }

    /// Puts the shops of the archive into a record, all or nothing.
    pub async fn restore(&mut self, store: &Store) -> Result<(), ArchiveError> {
        if self.manifest.schema > store.schema().await? {
            return Err(ArchiveError::Newer(self.manifest.schema));
        }
        let there: BTreeSet<String> = store.shops().await?.into_iter().map(|shop| shop.id).collect();
        if self.manifest.shops.keys().any(|id| there.contains(id)) {
            return Err(ArchiveError::ShopIsThere);
        }
        let mut tx = store.begin().await?;
        for shop_id in self.manifest.shops.clone().into_keys() {
            for table in TABLES {
                let name = format!("{shop_id}/{}.jsonl", table.name);
                // A table that is newer than the archive has nothing in it.
                if !self.manifest.entries.contains_key(&name) {
                    continue;
                }
                if table.is_counted() {
                    self.restore_counted(&mut tx, table, &name).await?;
                    continue;
                }
                let lines = self.checked(&name)?;
                for (index, line) in lines.split(|byte| *byte == b'\n').enumerate() {
                    if line.is_empty() {
                        continue;
                    }
                    let at = |problem: String| ArchiveError::Line {
                        entry: name.clone(),
                        line: index + 1,
                        problem,
                    };
                    let cells: Cells = serde_json::from_slice(line).map_err(|error| at(error.to_string()))?;
                    let bytes = if table.name == "files" {
                        Some(self.checked(&file_entry(&shop_id, text(&cells, "sha256")))?)
                    } else {
                        None
                    };
                    let put = tx.put_back(table, &cells, bytes.as_deref()).await;
                    put.map_err(|error| at(error.to_string()))?;
                }
            }
            tx.derive_anew(&shop_id).await?;
        }
        tx.commit().await?;
        Ok(())
    }

    /// Puts a table back line by line, once it is known to be what was written.
    async fn restore_counted(&mut self, tx: &mut Tx, table: Table, name: &str) -> Result<(), ArchiveError> {
        let mut hash = Sha256::new();
        let mut lines = BufReader::new(self.zip.by_name(name)?.take(LARGEST_COUNTED + 1));
        let mut length = 0;
        loop {
            let bytes = lines.fill_buf()?;
            let read = bytes.len();
            if read == 0 {
                break;
            }
            hash.update(bytes);
            lines.consume(read);
            length += read as u64;
        }
        drop(lines);
        let is_whole = self.manifest.entries.get(name).is_some_and(|was| *was == in_hex(&hash.finalize()));
        if length > LARGEST_COUNTED || !is_whole {
            return Err(ArchiveError::Damaged(name.into()));
        }
        let lines = BufReader::new(self.zip.by_name(name)?);
        for (index, line) in lines.split(b'\n').enumerate() {
            let at =
                |problem: String| ArchiveError::Line { entry: name.to_string(), line: index + 1, problem };
            let cells: Cells = serde_json::from_slice(&line?).map_err(|error| at(error.to_string()))?;
            tx.put_back(table, &cells, None).await.map_err(|error| at(error.to_string()))?;
        }
        Ok(())
    }

    /// An entry's bytes, if they are what was written.
    fn checked(&mut self, name: &str) -> Result<Vec<u8>, ArchiveError> {
        let bytes = match entry(&mut self.zip, name) {
            Err(ArchiveError::Zip(ZipError::FileNotFound)) => return Err(ArchiveError::Damaged(name.into())),
            read => read?,
        };
        if self.manifest.entries.get(name).is_some_and(|written| *written == sha256(&bytes)) {
            Ok(bytes)
        } else {
            Err(ArchiveError::Damaged(name.into()))
        }
    }
}

fn entry(zip: &mut ZipArchive<impl Read + Seek>, name: &str) -> Result<Vec<u8>, ArchiveError> {
    let mut bytes = Vec::new();
    // What it says of its own size is not relied on.
    let read = zip.by_name(name)?.take(LARGEST_ENTRY + 1).read_to_end(&mut bytes)?;
    if read as u64 > LARGEST_ENTRY { Err(ArchiveError::Damaged(name.into())) } else { Ok(bytes) }
}

/// Proves that an archive can be restored: puts it into a record of its own, checks that, and compares what that holds
/// with what the manifest says was written.
pub async fn verify(path: &Path) -> Result<Manifest, ArchiveError> {
    let folder = path.with_extension("verify");
    let place = Place::File(folder.join("restored.db"));
    let verified = verify_in(path, &place, &folder.join("again.zip")).await;
    // Whatever came of it, nothing is left lying about.
    std::fs::remove_dir_all(&folder).map_err(|cause| ArchiveError::File { path: folder, cause })?;
    verified
}

async fn verify_in(path: &Path, place: &Place, again: &Path) -> Result<Manifest, ArchiveError> {
    let mut archive = Archive::open_file(path)?;
    let store = Store::open(place).await?;
    let compared = async {
        archive.restore(&store).await?;
        if let Some(finding) = store.check().await?.into_iter().next() {
            return Err(ArchiveError::Differs(finding));
        }
        let shops: Vec<String> = archive.manifest.shops.keys().cloned().collect();
        let file = File::create(again).map_err(|cause| ArchiveError::File { path: again.into(), cause })?;
        let again = write(&store, &shops, archive.manifest.made_at, BufWriter::new(file)).await?;
        let mut differing =
            archive.manifest.entries.iter().filter(|(name, hash)| again.entries.get(*name) != Some(hash));
        match differing.next() {
            Some((name, _)) => Err(ArchiveError::Differs(name.clone())),
            None => Ok(()),
        }
    };
    let compared = compared.await;
    store.close().await;
    compared.map(|()| archive.manifest)
}
