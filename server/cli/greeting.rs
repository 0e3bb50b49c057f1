//! What stands in the terminal when the shop opens.

use std::io::Write;

use qrcode::QrCode;
use qrcode::render::unicode;

use super::{StartError, made_code};
use crate::demo;
use crate::store::Store;
use crate::store::codes::Purpose;

/// Says where the shop is open, and how to come in: with a code, where nobody can sign in yet or it is the demo.
pub(super) async fn greet(
    store: &Store,
    here: &str,
    outside: Option<&str>,
    with_demo: bool,
) -> Result<(), StartError> {
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
    words += &format!("Pennyweight is open.\n\n  on this machine   {here}{near}\n");
    match outside {
        Some(address) => {
            let address = format!("{address}{far}");
            words += &format!("  on the shop wifi  {address}\n\n");
            if let Ok(code) = QrCode::new(&address) {
                words += &format!("{}\n", code.render::<unicode::Dense1x2>().quiet_zone(true).build());
            }
            words += "Point a phone's camera at the code. Ctrl-C closes the shop.\n";
        }
        None => {
            words += "\nNo wifi address was found: phones cannot reach it yet. Ctrl-C closes the shop.\n";
        }
    }
    // The shop is open also where nobody reads this.
    let _ = std::io::stdout().write_all(words.as_bytes());
    Ok(())
}
