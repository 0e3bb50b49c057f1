//! What is done to a record from the terminal: codes, backups, files of it, and the proof that it is sound.

use std::fs::File;
use std::io::BufWriter;

use super::{BackupArgs, ExportArgs, ResetArgs, RestoreArgs, StartError, StoreArgs, made_code};
use crate::archive::{self, Archive};
use crate::store::Store;
use crate::store::codes::Purpose;
use crate::store::shops::Shop;

/// Prints a code with which somebody who forgot their passphrase chooses another one.
pub(super) async fn reset(args: &ResetArgs) -> Result<(), StartError> {
    let store = Store::open(&args.store.record()?).await?;
    let shop = the_shop(&store, args.shop.as_deref()).await?;
    let account = store.account(&shop.id, &args.name).await?;
    let account = account.ok_or_else(|| StartError::Nobody(args.name.clone()))?;
    let whose = Some((shop.id.as_str(), account.partner.id.as_str()));
    let code = made_code(&store, Purpose::Reset, whose, Purpose::Reset.lasts()).await?;
    println!("{} chooses a new passphrase with this code, within an hour: {code}", account.partner.name);
    println!(
        "It goes on the shop's page to sign in, under “I have a code”. Their phones are signed out by it."
    );
    store.close().await;
    Ok(())
}

/// The shop of this name, or the only one.
async fn the_shop(store: &Store, name: Option<&str>) -> Result<Shop, StartError> {
    let shops = store.shops().await?;
    let names: Vec<String> = shops.iter().map(|shop| shop.name.clone()).collect();
    let mut named = shops.into_iter().filter(|shop| name.is_none_or(|name| shop.name == name));
    match (named.next(), named.next()) {
        (Some(shop), None) => Ok(shop),
        _ => Err(StartError::WhichShop(names.join(", "))),
    }
}

pub(super) async fn backup(args: &BackupArgs) -> Result<(), StartError> {
    let store = Store::open(&args.store.record()?).await?;
    let backups = args.folder();
    let made = backups.make(&store, jiff::Timestamp::now()).await.map_err(StartError::Backup)?;
    println!(
        "{}, {} bytes: restored for a try, and the same",
        backups.folder().join(made.name).display(),
        made.bytes
    );
    store.close().await;
    Ok(())
}

pub(super) async fn export(args: &ExportArgs) -> Result<(), StartError> {
    let store = Store::open(&args.store.record()?).await?;
    let shop = the_shop(&store, args.shop.as_deref()).await?;
    let file =
        File::create_new(&args.file).map_err(|cause| StartError::File { path: args.file.clone(), cause })?;
    let now = jiff::Timestamp::now();
    let written = archive::write(&store, &[shop.id], now, BufWriter::new(file)).await;
    written.map_err(StartError::Export)?;
    println!("{} is in {}", shop.name, args.file.display());
    store.close().await;
    Ok(())
}

pub(super) async fn restore(args: &RestoreArgs) -> Result<(), StartError> {
    let mut archive = Archive::open_file(&args.file).map_err(StartError::Restore)?;
    let store = Store::open(&args.store.place("pennyweight.db")).await?;
    archive.restore(&store).await.map_err(StartError::Restore)?;
    let names: Vec<&str> = archive.manifest.shops.values().map(String::as_str).collect();
    println!(
        "{} as of {}. Everybody signs in again with the passphrase they had.",
        names.join(", "),
        archive.manifest.made_at
    );
    store.close().await;
    Ok(())
}

/// Prints a code to set up one more shop in the same record.
pub(super) async fn set_up(args: &StoreArgs) -> Result<(), StartError> {
    let store = Store::open(&args.place("pennyweight.db")).await?;
    let code = made_code(&store, Purpose::SetUp, None, Purpose::SetUp.lasts()).await?;
    println!("A shop is set up with this code, within a day: {code}");
    println!("Open the program's address with /shop/new?code={code} behind it.");
    store.close().await;
    Ok(())
}

pub(super) async fn check(args: &StoreArgs) -> Result<(), StartError> {
    let store = Store::open(&args.record()?).await?;
    let findings = store.check().await?;
    for finding in &findings {
        println!("{finding}");
    }
    println!(
        "{} found",
        if findings.is_empty() { "nothing wrong".to_string() } else { findings.len().to_string() }
    );
    store.close().await;
    Ok(())
}
