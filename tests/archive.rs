//! The shop in one file: out of one database and into another with nothing changed; backups that can be restored.

use std::io::{Cursor, Read, Write};

use axum::http::header::CONTENT_DISPOSITION;
use jiff::Timestamp;
use pennyweight::archive::{self, Archive, ArchiveError, Manifest};
use pennyweight::backup::Backups;
use pennyweight::store::rows::{LEFT_OUT, TABLES};
use pennyweight::store::{Place, Store};
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use crate::common::postgres::fresh_database;
use crate::common::{TestShop, on_both};

on_both![
    every_table_is_in_the_archive_or_left_out_on_purpose,
    a_shop_moves_between_the_databases_with_nothing_changed,
    an_archive_holds_one_shop_and_nothing_of_another,
    what_lets_somebody_in_is_left_out,
    a_shop_that_is_there_is_not_restored_over,
    a_damaged_archive_is_refused_and_nothing_of_it_is_kept,
    the_newer_is_refused,
    a_backup_is_made_while_the_shop_is_used,
    a_partner_downloads_the_shop,
];

/// A shop with something in every corner.
async fn furnished(shop: &TestShop) {
    pennyweight::demo::load_into(&shop.store, Timestamp::now())
        .await
        .expect("the demo loads beside the shop");
}

async fn archived(store: &Store, shops: &[String]) -> (Vec<u8>, Manifest) {
    let mut bytes = Cursor::new(Vec::new());
    let manifest = archive::write(store, shops, Timestamp::now(), &mut bytes).await.expect("an archive");
    (bytes.into_inner(), manifest)
}

async fn all_shops(store: &Store) -> Vec<String> {
    store.shops().await.expect("shops").into_iter().map(|shop| shop.id).collect()
}

async fn every_table_is_in_the_archive_or_left_out_on_purpose(shop: &TestShop) {
    let mut known: Vec<&str> = TABLES.iter().map(|table| table.name).chain(LEFT_OUT).collect();
    known.sort_unstable();
    assert_eq!(shop.tables().await, known);
}

async fn a_shop_moves_between_the_databases_with_nothing_changed(shop: &TestShop) {
    furnished(shop).await;
    let shops = all_shops(&shop.store).await;
    let (bytes, first) = archived(&shop.store, &shops).await;
    assert!(first.entries.len() > 60, "two shops with their tables and files: {}", first.entries.len());

    // Into the other kind of database, then back into this one.
    let folder = tempfile::tempdir().expect("a folder");
    let (database, file) = (fresh_database().await, Place::File(folder.path().join("moved.db")));
    let postgres = Place::Postgres(database.address.clone());
    let way = if shop.is_on_postgres() { [file, postgres] } else { [postgres, file] };
    let mut bytes = bytes;
    for place in way {
        let store = Store::open(&place).await.expect("a new record");
        Archive::open(Cursor::new(bytes)).expect("an archive").restore(&store).await.expect("it is restored");
        assert_eq!(store.check().await.expect("checked"), Vec::<String>::new());
        let (again, manifest) = archived(&store, &shops).await;
        assert_eq!(manifest.entries, first.entries, "in {place:?}");
        assert_eq!(manifest.shops, first.shops);
        store.close().await;
        bytes = again;
    }
    database.drop().await;
}

async fn an_archive_holds_one_shop_and_nothing_of_another(shop: &TestShop) {
    let other = shop.open_another().await;
    shop.bag("Bag of ours", "copper-2").await;
    let (bytes, manifest) = archived(&shop.store, std::slice::from_ref(&other.shop_id)).await;
    assert_eq!(manifest.shops.len(), 1);
    assert!(manifest.entries.keys().all(|name| name.starts_with(&other.shop_id)));
    let mut zip = ZipArchive::new(Cursor::new(bytes)).expect("a zip");
    for index in 0..zip.len() {
        let mut text = String::new();
        zip.by_index(index).expect("an entry").read_to_string(&mut text).expect("text");
        assert!(!text.contains(&shop.id) && !text.contains("Bag of ours"));
    }
}

async fn what_lets_somebody_in_is_left_out(shop: &TestShop) {
    let (bytes, _) = archived(&shop.store, std::slice::from_ref(&shop.id)).await;
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(&Place::File(folder.path().join("new.db"))).await.expect("a new record");
    Archive::open(Cursor::new(bytes)).expect("an archive").restore(&store).await.expect("it is restored");
    assert!(store.sessions(&shop.id, Timestamp::now()).await.expect("sessions").is_empty());
    assert_eq!(store.people(&shop.id).await.expect("people").len(), 2);
    store.close().await;
}

async fn a_shop_that_is_there_is_not_restored_over(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let (bytes, _) = archived(&shop.store, std::slice::from_ref(&shop.id)).await;
    shop.put(&lot, "2 lb").await;
    let before = shop.everything().await;
    let refused = Archive::open(Cursor::new(bytes)).expect("an archive").restore(&shop.store).await;
    assert!(matches!(refused, Err(ArchiveError::ShopIsThere)), "{refused:?}");
    assert_eq!(shop.everything().await, before);
}

/// The archive with one of its entries changed.
fn changed(bytes: &[u8], ending: &str, change: impl Fn(Vec<u8>) -> Option<Vec<u8>>) -> Vec<u8> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).expect("a zip");
    let mut new = ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..zip.len() {
        let mut entry = zip.by_index(index).expect("an entry");
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).expect("its bytes");
        let name = entry.name().expect("a name").into_owned();
        let bytes = if name.ends_with(ending) { change(bytes) } else { Some(bytes) };
        if let Some(bytes) = bytes {
            new.start_file(name, SimpleFileOptions::default()).expect("an entry");
            new.write_all(&bytes).expect("written");
        }
    }
    new.finish().expect("a zip").into_inner()
}

async fn a_damaged_archive_is_refused_and_nothing_of_it_is_kept(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.put(&lot, "2 lb").await;
    let (whole, _) = archived(&shop.store, std::slice::from_ref(&shop.id)).await;
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(&Place::File(folder.path().join("new.db"))).await.expect("a new record");
    let more = |mut bytes: Vec<u8>| {
        bytes.extend_from_slice(b"{\"id\": 1}\n");
        Some(bytes)
    };
    let mut cases = vec![
        changed(&whole, "/weighings.jsonl", more),
        changed(&whole, "/weighings.jsonl", |_| None),
        changed(&whole, "/activity.jsonl", |_| Some(b"not json\n".to_vec())),
        changed(&whole, "manifest.json", |_| None),
        changed(&whole, "manifest.json", |_| Some(b"{}".to_vec())),
        Vec::new(),
        b"PK".to_vec(),
    ];
    cases.extend((1..20).map(|part| whole[..whole.len() * part / 20].to_vec()));
    for (nth, bytes) in cases.into_iter().enumerate() {
        let refused = match Archive::open(Cursor::new(bytes)) {
            Ok(mut archive) => archive.restore(&store).await.err(),
            Err(error) => Some(error),
        };
        let refused = refused.unwrap_or_else(|| panic!("case {nth} was taken")).to_string();
        assert!(refused.len() > 10, "{refused}");
        assert!(store.shops().await.expect("readable").is_empty(), "case {nth} left something behind");
    }
    // A line that is no row of ours, with a manifest that vouches for it: an archive made to do harm.
    for line in [
        "{\"name\": true}",
        "{\"id, name) VALUES ('x', 'y'); --\": \"z\"}",
        "{\"nothing\": \"x\"}",
        "[]",
        "{}",
    ] {
        let mut manifest: Manifest = Archive::open(Cursor::new(&whole)).expect("an archive").manifest;
        let bytes = format!("{line}\n").into_bytes();
        let name = format!("{}/partners.jsonl", shop.id);
        manifest.entries.insert(name, pennyweight::store::files::sha256(&bytes));
        let harmful = changed(&whole, "/partners.jsonl", |_| Some(bytes.clone()));
        let json = serde_json::to_vec(&manifest).expect("json");
        let harmful = changed(&harmful, "manifest.json", |_| Some(json.clone()));
        let refused = Archive::open(Cursor::new(harmful)).expect("an archive").restore(&store).await;
        assert!(refused.is_err(), "{line}");
        assert!(store.shops().await.expect("readable").is_empty(), "{line}");
    }
    store.close().await;
}

async fn the_newer_is_refused(shop: &TestShop) {
    let (bytes, mut manifest) = archived(&shop.store, std::slice::from_ref(&shop.id)).await;
    manifest.schema += 1;
    let json = serde_json::to_vec(&manifest).expect("json");
    let newer = changed(&bytes, "manifest.json", |_| Some(json.clone()));
    let refused = Archive::open(Cursor::new(newer)).expect("an archive").restore(&shop.store).await;
    assert!(matches!(refused, Err(ArchiveError::Newer(_))), "{refused:?}");
}

async fn a_backup_is_made_while_the_shop_is_used(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let folder = tempfile::tempdir().expect("a folder");
    let backups = Backups::new(folder.path().join("kept"));
    let writing = async {
        for _ in 0..40 {
            shop.put(&lot, "1 oz").await;
        }
    };
    let making =
        async { backups.make(&shop.store, Timestamp::now()).await.expect("a backup that is proved") };
    let ((), made) = tokio::join!(writing, making);
    assert_eq!(backups.list().expect("the folder"), std::slice::from_ref(&made));
    assert_eq!(
        std::fs::read_dir(folder.path().join("kept")).expect("the folder").count(),
        1,
        "nothing lies about"
    );

    let store = Store::open(&Place::File(folder.path().join("new.db"))).await.expect("a new record");
    let mut archive = Archive::open_file(&backups.folder().join(&made.name)).expect("an archive");
    archive.restore(&store).await.expect("it is restored");
    let there = store.ledger(&shop.id, &lot).await.expect("the ledger").len();
    assert!(there <= 40, "as it was at one moment: {there}");
    store.close().await;
}

async fn a_partner_downloads_the_shop(shop: &TestShop) {
    shop.bag("Bag 1", "copper-2").await;
    let page = shop.get("/backup").await.ok();
    assert!(page.says("keeps no backups of its own") && page.has("a[href='/backup/shop']"));
    let request =
        shop.phone().request("GET", "/backup/shop").body(axum::body::Body::empty()).expect("a request");
    let answer = shop.phone().answer(request).await;
    let name = answer.headers()[CONTENT_DISPOSITION].to_str().expect("text");
    assert!(name.starts_with("attachment; filename=\"shop-20"), "{name}");
    let bytes = http_body_util::BodyExt::collect(answer.into_body()).await.expect("the file").to_bytes();
    let archive = Archive::open(Cursor::new(bytes.to_vec())).expect("an archive");
    assert_eq!(archive.manifest.shops.keys().collect::<Vec<_>>(), [&shop.id]);
}
