//! The disk under the record: full, read-only, out of reach, or with something else written over the file; and the
//! program that cannot get what it needs to start.
//!
//! A small disk of its own is mounted in memory, which only root may do. Where that is refused, the test says on standard
//! error that it was skipped and why.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use axum::http::StatusCode;
use pennyweight::store::{Place, Store, StoreError};
use tempfile::TempDir;

use crate::common::{TestShop, mass};
use crate::sheets::{lakeside, upload};

/// A disk of four megabytes; unmounted when it goes.
struct SmallDisk(TempDir);

impl SmallDisk {
    /// `None` where this machine lets nobody mount one, which has been said then.
    fn mounted(test: &str) -> Option<SmallDisk> {
        let folder = tempfile::tempdir().expect("a folder");
        let mount =
            Command::new("mount").args(["-t", "tmpfs", "-o", "size=4m", "tmpfs"]).arg(folder.path()).output();
        let why = match mount {
            Ok(done) if done.status.success() => return Some(SmallDisk(folder)),
            Ok(refused) => String::from_utf8_lossy(&refused.stderr).trim().to_string(),
            Err(error) => error.to_string(),
        };
        // Not `eprintln!`, whose words are swallowed where a test passes.
        let _ = writeln!(std::io::stderr(), "SKIPPED {test}: no disk can be mounted here: {why}");
        None
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn remount(&self, how: &str) {
        let done = Command::new("mount").args(["-o", &format!("remount,{how}")]).arg(self.path()).status();
        assert!(done.expect("mount runs").success(), "it can be mounted {how}");
    }

    /// Writes a file that leaves room for nothing.
    fn fill(&self) -> PathBuf {
        let filler = self.path().join("filler");
        let mut file = std::fs::File::create(&filler).expect("a file");
        while file.write_all(&[b'x'; 4096]).is_ok() {}
        while file.write_all(b"x").is_ok() {}
        filler
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("--lazy").arg(self.path()).status();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_full_disk_the_form_is_kept_and_nothing_is_half_saved() {
    let Some(disk) = SmallDisk::mounted("on_a_full_disk") else { return };
    let shop = TestShop::in_folder(disk.path()).await;
    let lot = shop.bag("Bag 1", "copper-2").await;
    let outlet = lakeside(&shop).await;
    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = shop.submit(page.form("form.ticket").set("reading", "2 lb 5 oz")).await.ok();
    let note = shop.get(&format!("/lots/{lot}")).await.form(&format!("form[action='/lots/{lot}']"));
    let note = note.set("note", "word ".repeat(300).trim());
    let before = shop.everything().await;
    let filler = disk.fill();

    // What fits into pages that are there already may still go in; sooner or later nothing does.
    let mut refused = None;
    for _ in 0..200 {
        let answer = shop.submit(note.clone()).await;
        if answer.status != StatusCode::OK && answer.status != StatusCode::CONFLICT {
            refused = Some(answer);
            break;
        }
    }
    let kept = shop.submit(echo.form("form[action$='/weighings']")).await;
    for page in [&refused.expect("the disk is full"), &kept] {
        assert_eq!(page.status, StatusCode::INSUFFICIENT_STORAGE, "{page} {}", page.text("body"));
        assert_eq!(page.text("h1"), "The disk is full");
        assert!(page.says("Everything you typed is kept on this page"), "{}", page.text("main"));
    }
    let sheet = "Item,Price per lb\nNo. 2 copper,3.60\n".repeat(300);
    let page = upload(&shop, &outlet, "may.csv", sheet).await;
    assert_eq!(page.text("h1"), "The disk is full", "{page} {}", page.text("main"));
    // What is there can be looked at, and is as it was.
    shop.get("/lots").await.ok();
    assert_eq!(shop.everything().await, before);
    assert!(shop.store.check().await.expect("it can be checked").is_empty());

    std::fs::remove_file(filler).expect("room is made");
    let receipt = shop.submit(kept.form("main form")).await.ok();
    assert_eq!(receipt.text(".figure.huge"), "2 lb 5.0 oz");
    assert_eq!(shop.lot(&lot).await.net, mass("2 lb 5 oz"));
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_or_one_that_cannot_be_written_to_is_told_at_the_start() {
    let Some(disk) = SmallDisk::mounted("a_full_disk_at_the_start") else { return };
    let path = disk.path().join("pennyweight.db");
    let filler = disk.fill();
    let refused = Store::open(&Place::File(path.clone())).await.expect_err("there is no room");
    let said = refused.to_string();
    assert!(said.contains("disk is full") || said.contains("No space left"), "{said}");
    let program = start(disk.path(), "127.0.0.1:0");
    assert_refused(&program, &["the disk is full", "No space left on device"]);
    std::fs::remove_file(filler).expect("room is made");

    // The same disk, with the record on it, can only be read from now on.
    let shop = TestShop::in_folder(disk.path()).await;
    shop.filled("Bag 1", "copper-2", "1 lb").await;
    shop.close().await;
    disk.remount("ro");
    let refused = Store::open(&Place::File(path)).await.expect_err("it can only be read");
    assert!(refused.to_string().contains("Read-only file system"), "{refused}");
    assert_refused(&start(disk.path(), "127.0.0.1:0"), &["Read-only file system"]);
    disk.remount("rw");
    TestShop::in_folder(&disk.path().join("another")).await.close().await;
}

/// Whatever is written over the file, it is a start that is refused or a page that says so, and never a panic.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_record_is_a_message_or_a_page() {
    let shop = TestShop::on_sqlite().await;
    let lot = shop.filled("Bag 1", "copper-2", "1 lb").await;
    let Place::File(whole) = shop.place.clone() else { panic!("SQLite is a file") };
    let checkpoint = "PRAGMA wal_checkpoint(TRUNCATE)";
    sqlx::query(checkpoint).execute(&mut shop.connect().await).await.expect("a checkpoint");
    let bytes = std::fs::read(&whole).expect("the file");
    // "The 2-byte page size at offset 16" of the header: SQLite's file format, 1.3.2.
    let page_size = usize::from(u16::from_be_bytes([bytes[16], bytes[17]]));
    let (mut refused, mut told) = (0, 0);
    for nth in 0..bytes.len() / page_size {
        let folder = tempfile::tempdir().expect("a folder");
        let mut damaged = bytes.clone();
        damaged[nth * page_size..(nth + 1) * page_size].fill(0x5a);
        std::fs::write(folder.path().join("pennyweight.db"), &damaged).expect("a file");
        let store = match Store::open(&Place::File(folder.path().join("pennyweight.db"))).await {
            Ok(store) => store,
            Err(StoreError::Damaged) => {
                refused += 1;
                continue;
            }
            Err(other) => panic!("page {nth}: {other:?}"),
        };
        let phone = shop.phone_on(&store);
        for address in
            ["/", "/lots", "/grades", "/plan", &format!("/lots/{lot}"), "/outlets", "/sheets", "/rates"]
        {
            let page = phone.get(address).await;
            if page.status.is_server_error() {
                told += 1;
                assert!(
                    page.text("h1").contains("record cannot be read"),
                    "page {nth}: {page} {}",
                    page.text("main")
                );
            }
        }
        store.close().await;
    }
    assert!(refused > 0 && told > 10, "{refused} starts refused, {told} pages that say so");
    shop.close().await;
}

fn program(data: &Path, listen: &str) -> Command {
    let mut program = Command::new(env!("CARGO_BIN_EXE_pennyweight"));
    program.args(["serve", "--listen", listen, "--data"]).arg(data).env_remove("DATABASE_URL");
    program
}

fn start(data: &Path, listen: &str) -> Output {
    program(data, listen).output().expect("the program runs")
}

/// It ended with one of these reasons, in one line.
#[track_caller]
fn assert_refused(program: &Output, reasons: &[&str]) {
    let said = String::from_utf8_lossy(&program.stderr);
    assert!(!program.status.success(), "{said}");
    let errors: Vec<&str> = said.lines().filter(|line| line.starts_with("pennyweight: ")).collect();
    assert_eq!(errors.len(), 1, "{said}");
    assert!(reasons.iter().any(|reason| errors[0].contains(reason)), "{said}");
    assert!(!said.contains("panicked"), "{said}");
}

#[test]
fn a_port_that_is_taken_is_named_with_the_way_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let other = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = other.local_addr().expect("its address").to_string();
    let program = start(folder.path(), &address);
    let reason = format!("cannot listen at {address}");
    assert_refused(&program, &[&reason]);
    let said = String::from_utf8_lossy(&program.stderr);
    assert!(said.contains("Is it running already?") && said.contains("--listen"), "{said}");
    assert!(program.stdout.is_empty(), "it does not say that it is open");
}

/// As a user whom the folder's rights hold back, which root is not.
#[test]
fn a_folder_that_may_not_be_written_to_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let rights = |mode| std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(mode));
    rights(0o555).expect("its rights");
    // A copy that everybody may start: the folder that programs are built in may be root's own.
    let shared = tempfile::tempdir().expect("a folder");
    std::fs::set_permissions(shared.path(), std::fs::Permissions::from_mode(0o755)).expect("its rights");
    let copy = shared.path().join("pennyweight");
    std::fs::copy(env!("CARGO_BIN_EXE_pennyweight"), &copy).expect("a copy");
    let mut command = if is_root() {
        let mut command = Command::new("setpriv");
        command.args(["--reuid", "65534", "--regid", "65534", "--clear-groups"]).arg(&copy);
        command
    } else {
        Command::new(&copy)
    };
    let command = command.args(["serve", "--listen", "127.0.0.1:0", "--data"]).arg(folder.path());
    let program = command.env_remove("DATABASE_URL").output().expect("it runs");
    let reason = format!("{}/pennyweight.lock cannot be used: Permission denied", folder.path().display());
    assert_refused(&program, &[&reason]);
    rights(0o755).expect("its rights");
}

fn is_root() -> bool {
    std::os::unix::fs::MetadataExt::uid(&Path::new("/proc/self").metadata().expect("this process")) == 0
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_record_that_another_process_keeps_locked_is_told_and_not_waited_for_without_end() {
    let shop = TestShop::on_sqlite().await;
    let Place::File(path) = shop.place.clone() else { panic!("SQLite is a file") };
    // Another start that hangs while it brings the record up to date.
    let lock = std::fs::File::create(path.with_extension("lock")).expect("the lock's file");
    lock.lock().expect("the lock");
    let waited = tokio::time::timeout(Duration::from_secs(30), Store::open(&shop.place)).await;
    let refused = waited.expect("it gives up").expect_err("it is locked");
    assert!(matches!(refused, StoreError::Busy), "{refused:?}");
    assert!(refused.to_string().contains("in use by another program"));
    drop(lock);
    Store::open(&shop.place).await.expect("it opens again").close().await;

    // Another program that has the database to itself.
    shop.store.close().await;
    let mut other = shop.connect().await;
    for hold in ["PRAGMA locking_mode = EXCLUSIVE", "BEGIN EXCLUSIVE"] {
        sqlx::query(hold).execute(&mut other).await.expect("the other program takes it");
    }
    let (file, folder) = (path.file_name().expect("its name"), path.parent().expect("its folder"));
    std::os::unix::fs::symlink(file, folder.join("pennyweight.db"))
        .expect("the name that the program looks for");
    let started = tokio::task::spawn_blocking({
        let folder = folder.to_path_buf();
        move || start(&folder, "127.0.0.1:0")
    });
    let program =
        tokio::time::timeout(Duration::from_secs(60), started).await.expect("it gives up").expect("it runs");
    assert_refused(&program, &["in use by another program; try again in a moment"]);
    sqlx::query("ROLLBACK").execute(&mut other).await.expect("the other program lets go");
    drop(other);
    shop.close().await;
}

/// Stopped by its supervisor, it ends well, also where nobody reads on what it printed.
#[test]
fn asked_to_stop_it_stops_and_can_be_started_again() {
    let folder = tempfile::tempdir().expect("a folder");
    for _ in 0..2 {
        let mut child = program(folder.path(), "127.0.0.1:0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it runs");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let mut line = || lines.next().expect("a line").expect("text");
        let address = loop {
            if let Some((_, address)) = line().split_once("http://") {
                break address.split('/').next().unwrap_or_default().to_string();
            }
        };
        drop(lines);
        let mut page = TcpStream::connect(&address).expect("it listens");
        page.write_all(
            format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").as_bytes(),
        )
        .expect("it is asked");
        let mut answer = String::new();
        page.read_to_string(&mut answer).expect("it answers");
        assert!(answer.ends_with("ok\n"), "{answer}");
        let stop = Command::new("kill").args(["-TERM", &child.id().to_string()]).status();
        assert!(stop.expect("kill runs").success());
        assert!(child.wait().expect("it ends").success());
    }
}
