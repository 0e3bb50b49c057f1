//! What stands in the terminal when the shop opens.

use std::io::Write;

use qrcode::QrCode;
use qrcode::render::unicode;

use super::{StartError, made_code};
use crate::demo;
use crate::store::Store;
use crate::store::codes::Purpose;

/// Where the shop is open.
#[derive(Debug)]
pub(super) struct Open {
    pub here: String,
    /// The address for phones.
    pub outside: Option<String>,
    /// The address by the name that the wifi is told.
    pub local: Option<String>,
    pub trust: Option<Trust>,
}

/// How phones come to trust the shop's own certificate.
#[derive(Debug)]
pub(super) struct Trust {
    pub page: String,
    pub fingerprint: String,
}

/// Says where the shop is open, and how to come in: with a code, where nobody can sign in yet or it is the demo.
pub(super) async fn greet(store: &Store, open: &Open, with_demo: bool) -> Result<(), StartError> {
    let shops = store.shops().await?;
    let mut words = String::new();
    let (near, far) = match &shops[..] {
        [] => {
            let code = made_code(store, Purpose::SetUp, None, Purpose::SetUp.lasts()).await?;
            words += &format!(
                "The record is new. To set the shop up, this code is needed, within a day: {code}\n\n"
            );
            let page = format!("/shop/new?code={code}");
            (page.clone(), page)
        }
        [shop, ..] if with_demo => {
            let (names, passphrase) = demo::accounts()?;
            let Some(name) = names.first() else { return Ok(()) };
            let Some(account) = store.account(&shop.id, name).await? else { return Ok(()) };
            let whose = Some((shop.id.as_str(), account.partner.id.as_str()));
            let lasts = Purpose::SetUp.lasts();
            let codes = [
                made_code(store, Purpose::Join, whose, lasts).await?,
                made_code(store, Purpose::Join, whose, lasts).await?,
            ];
            words += &format!("Sign in to the demo as {} with “{passphrase}”,\n", names.join(" or "));
            words += &format!("or come in as {name} by the addresses below, each of them once.\n\n");
            let [near, far] = codes.map(|code| format!("/join?code={code}"));
            (near, far)
        }
        _ => (String::new(), String::new()),
    };
    words += &format!("Pennyweight is open.\n\n  on this machine   {}{near}\n", open.here);
    if let Some(address) = &open.outside {
        words += &format!("  on the shop wifi  {address}{far}\n");
        if let Some(local) = open.local.as_ref().filter(|local| *local != address) {
            words += &format!("           or by    {local}, where a phone finds names on the wifi\n");
        }
    }
    words += "\n";
    if let Some(Trust { page, fingerprint }) = &open.trust {
        words += "Each phone first has to trust this box, once, as this page says:\n\n";
        words += &format!("  {page}\n\n{}", code(page));
        words += &format!("The certificate's SHA-256 fingerprint, to compare:\n\n{}\n\n", lines(fingerprint));
    }
    match &open.outside {
        Some(address) => {
            let address = format!("{address}{far}");
            if open.trust.is_some() {
                words += "Then it opens the shop:\n\n";
            }
            words += &code(&address);
            words += "Point a phone's camera at the code. Ctrl-C closes the shop.\n";
        }
        None => {
            words += "No wifi address was found: phones cannot reach it yet. Ctrl-C closes the shop.\n";
        }
    }
    // The shop is open also where nobody reads this.
    let _ = std::io::stdout().write_all(words.as_bytes());
    Ok(())
}

fn code(address: &str) -> String {
    match QrCode::new(address) {
        Ok(code) => format!("{}\n", code.render::<unicode::Dense1x2>().quiet_zone(true).build()),
        Err(_) => String::new(),
    }
}

/// A fingerprint in two lines, as it stands on a phone.
fn lines(fingerprint: &str) -> String {
    let (first, second) = fingerprint.split_at(fingerprint.len() / 2 + 1);
    format!("  {first}\n  {second}")
}
