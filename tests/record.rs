//! The record itself: locked, from a newer version, damaged or out of reach. The message says which, and what to do.

use std::path::Path;
use std::process::Command;

use axum::http::StatusCode;
use pennyweight::store::{Place, Store, StoreError};

use crate::common::{TestShop, mass, on_both};

on_both![
    while_another_program_holds_it_the_form_is_kept,
    one_from_a_newer_version_is_not_opened,
    two_starts_at_once_both_open_it,
];

async fn while_another_program_holds_it_the_form_is_kept(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let note = shop.get(&format!("/lots/{lot}")).await.form(&format!("form[action='/lots/{lot}']"));
    let note = note.set("note", "two lines\nof \"note\" & more").set("source", "the school");
    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = shop.submit(page.form("form.ticket").set("reading", "2 lb 5 oz")).await.ok();

    let mut other = shop.connect().await;
    let hold =
        if shop.is_on_postgres() { "BEGIN; LOCK TABLE lots IN EXCLUSIVE MODE" } else { "BEGIN IMMEDIATE" };
    sqlx::raw_sql(hold).execute(&mut other).await.expect("the other program takes the lock");
    let before = shop.everything().await;
    let (kept_weighing, kept_note) =
        tokio::join!(shop.submit(echo.form("form[action$='/weighings']")), shop.submit(note));
    for page in [&kept_weighing, &kept_note] {
        assert_eq!(page.status, StatusCode::SERVICE_UNAVAILABLE, "{page} {}", page.body);
        assert_eq!(page.text("h1"), "The shop's record is busy");
        assert!(page.says("Everything you typed is kept on this page"));
    }
    assert_eq!(kept_note.form("main form").value("note"), "two lines\nof \"note\" & more");
    assert_eq!(shop.everything().await, before);
    shop.get(&format!("/lots/{lot}")).await.ok();
    sqlx::raw_sql("ROLLBACK").execute(&mut other).await.expect("the other program lets go");

    // The button on the page sends the same form, once-only number and all.
    let receipt = shop.submit(kept_weighing.form("main form")).await.ok();
    assert_eq!(receipt.text(".figure.huge"), "2 lb 5.0 oz");
    shop.submit(kept_weighing.form("main form")).await.ok();
    shop.submit(kept_note.form("main form")).await.ok();
    let lot = shop.lot(&lot).await;
    assert_eq!((lot.net, lot.note.as_str()), (mass("2 lb 5 oz"), "two lines\nof \"note\" & more"));
}

async fn one_from_a_newer_version_is_not_opened(shop: &TestShop) {
    let mut other = shop.connect().await;
    let newer = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
                 SELECT 9000, 'from next year', success, checksum, execution_time FROM _sqlx_migrations WHERE version = 1";
    sqlx::query(newer).execute(&mut other).await.expect("a newer version was here");
    let refused = Store::open(&shop.place).await.expect_err("a newer record is not for this program");
    assert!(matches!(refused, StoreError::Newer), "{refused:?}");
    assert!(
        refused.to_string().contains("newer version") && refused.to_string().contains("restore a backup")
    );
    let older = "DELETE FROM _sqlx_migrations WHERE version = 9000";
    sqlx::query(older).execute(&mut other).await.expect("it is undone");
}

async fn two_starts_at_once_both_open_it(shop: &TestShop) {
    for round in 0..5 {
        let place = match &shop.place {
            Place::File(path) => Place::File(path.with_file_name(format!("new-{round}.db"))),
            postgres => postgres.clone(),
        };
        if shop.is_on_postgres() {
            let empty = "DROP SCHEMA public CASCADE; CREATE SCHEMA public";
            sqlx::raw_sql(empty)
                .execute(&mut shop.connect().await)
                .await
                .expect("the database is empty again");
        }
        let starts = (0..3).map(|_| tokio::spawn(opened(place.clone())));
        for start in starts.collect::<Vec<_>>() {
            let store = start.await.expect("no start panics").expect("it opens");
            assert!(store.shops().await.expect("it can be read").is_empty());
            store.close().await;
        }
    }
}

async fn opened(place: Place) -> Result<Store, StoreError> {
    Store::open(&place).await
}

async fn refusal(path: &Path) -> StoreError {
    Store::open(&Place::File(path.into())).await.expect_err("it cannot be opened")
}

#[tokio::test]
async fn a_file_that_is_no_database_is_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("pennyweight.db");
    let letter = "Dear Imke,\nthe prices of last week are on the fridge.\n".repeat(40);
    std::fs::write(&path, &letter).expect("a file");
    let refused = refusal(&path).await;
    assert!(matches!(refused, StoreError::Damaged), "{refused:?}");
    assert!(refused.to_string().contains("is not a database"));
    assert_eq!(std::fs::read_to_string(&path).expect("the file"), letter);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn half_a_database_is_told_from_a_whole_one() {
    let shop = TestShop::on_sqlite().await;
    let folder = tempfile::tempdir().expect("a folder");
    let half = folder.path().join("pennyweight.db");
    sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)")
        .execute(&mut shop.connect().await)
        .await
        .expect("a checkpoint");
    let Place::File(whole) = &shop.place else { panic!("SQLite is a file") };
    let bytes = std::fs::read(whole).expect("the file");
    assert!(bytes.len() > 100_000, "the checkpoint wrote {} bytes", bytes.len());
    std::fs::write(&half, &bytes[..bytes.len() / 2]).expect("half of it");
    let refused = refusal(&half).await;
    assert!(matches!(refused, StoreError::Damaged), "{refused:?}");
    shop.close().await;
}

#[tokio::test]
async fn a_folder_that_cannot_be_made_is_named() {
    let refused = refusal(Path::new("/proc/no/such/folder/pennyweight.db")).await;
    assert!(refused.to_string().contains("/proc/no/such/folder cannot be used"), "{refused}");
}

#[tokio::test]
async fn a_database_server_that_does_not_answer_is_named() {
    let nowhere = Place::Postgres("postgres:///shop?host=/no/such/folder&user=postgres".into());
    let refused = Store::open(&nowhere).await.expect_err("nobody is there");
    assert!(refused.to_string().contains("check that it runs and that DATABASE_URL is right"), "{refused}");
}

/// What a person at the terminal sees of all this.
#[test]
fn the_program_says_why_it_does_not_start() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("pennyweight.db"), "no database ".repeat(100)).expect("a file");
    for (data, reason) in [
        (folder.path(), "the database file is damaged or is not a database"),
        (Path::new("/proc/no/such/folder"), "cannot be used"),
    ] {
        let program = Command::new(env!("CARGO_BIN_EXE_pennyweight"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .env_remove("DATABASE_URL")
            .output()
            .expect("the program runs");
        assert!(!program.status.success());
        let said = String::from_utf8_lossy(&program.stderr);
        assert!(said.contains("the shop's record cannot be opened") && said.contains(reason), "{said}");
        assert!(!said.contains("panicked") && said.lines().count() == 1, "{said}");
        assert!(program.stdout.is_empty(), "{}", String::from_utf8_lossy(&program.stdout));
    }
}

/// What only looks at a record says that there is none, and makes none.
#[test]
fn a_record_that_is_not_there_is_not_made_by_looking_at_it() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let missing = folder.path().join("no-such-folder");
    let out = folder.path().join("out.zip");
    let out = out.to_str().expect("a name");
    for arguments in [vec!["check"], vec!["backup"], vec!["export", out], vec!["reset", "Imke"]] {
        let output = Command::new(env!("CARGO_BIN_EXE_pennyweight"))
            .args(&arguments)
            .arg("--data")
            .arg(&missing)
            .env_remove("DATABASE_URL")
            .output()
            .expect("the program starts");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!output.status.success(), "{arguments:?}");
        assert!(told.contains("there is no record at") && told.contains("no-such-folder"), "{told}");
        assert!(
            std::fs::read_dir(folder.path()).expect("the folder").next().is_none(),
            "{arguments:?} made one"
        );
    }
}
