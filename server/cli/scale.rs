//! The bridge of a USB scale: hears it at its device node and shows its readings to the phones of the shop.
//!
//! It needs nothing of the shop but its address and a key, so it may run on another box than the shop does.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

use clap::Args;
use serde_json::{Value, json};
use tracing::{info, warn};
use trade::scale::{self, Said, Shown, Unfit, Watch};
use ureq::Agent;
use ureq::tls::{Certificate, RootCerts, TlsConfig};

use super::StartError;
use crate::secret::Token;
use crate::store::new_id;

/// A report is shorter; what a USB 1.1 device sends at once is.
const LONGEST_REPORT: usize = 64;
/// How long the shop may take to answer.
const ANSWERED: Duration = Duration::from_secs(10);
/// How long it is waited after a failure: of the shop, and of the scale.
const AGAIN: Duration = Duration::from_secs(1);

#[derive(Debug, Args)]
pub(super) struct ScaleArgs {
    /// The scale's device node. Its rights have to let this program read it.
    #[arg(long, env = "PENNYWEIGHT_SCALE_DEVICE", default_value = "/dev/hidraw0")]
    device: PathBuf,
    /// The address of the shop.
    #[arg(long, env = "PENNYWEIGHT_URL", default_value = "http://127.0.0.1:8080")]
    server: String,
    /// A file that holds the key, made under People and phones. The scale is called what the key is called.
    #[arg(long, env = "PENNYWEIGHT_SCALE_KEY_FILE")]
    key_file: PathBuf,
    /// The certificate that the shop's own is signed by, where the address begins with https://.
    #[arg(long, env = "PENNYWEIGHT_SCALE_ROOT", value_name = "FILE")]
    root: Option<PathBuf>,
}

/// Runs until the device is a file that ends, or the shop lets the key in no more.
pub(super) fn run(args: &ScaleArgs) -> Result<(), StartError> {
    let file = |path: &Path| {
        std::fs::read(path).map_err(|cause| StartError::File { path: path.to_path_buf(), cause })
    };
    let key = String::from_utf8_lossy(&file(&args.key_file)?).trim().to_string();
    let key = Token::brought(&key).ok_or_else(|| StartError::NoKey(args.key_file.clone()))?;
    let mut roots = RootCerts::new_with_certs(&[]);
    if let Some(path) = &args.root {
        let root =
            Certificate::from_pem(&file(path)?).map_err(|error| StartError::Scale(error.to_string()))?;
        roots = RootCerts::new_with_certs(&[root]);
    }
    let provider = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    let tls = TlsConfig::builder().root_certs(roots).unversioned_rustls_crypto_provider(provider).build();
    let config = Agent::config_builder()
        .tls_config(tls)
        .http_status_as_error(false)
        .max_redirects(0)
        .proxy(None)
        .timeout_global(Some(ANSWERED))
        .build();
    let shop = Shop {
        agent: config.into(),
        address: format!("{}/api/v1/readings", args.server.trim_end_matches('/')),
        key,
    };
    // Fails here where it would fail for good.
    drop(File::open(&args.device).map_err(|cause| StartError::File { path: args.device.clone(), cause })?);

    let (sender, reports) = mpsc::sync_channel(64);
    let device = args.device.clone();
    std::thread::spawn(move || listen(&device, &sender));
    let mut bridge = Bridge::default();
    loop {
        match reports.recv_timeout(AGAIN) {
            Ok(report) => bridge.hear(&report),
            Err(RecvTimeoutError::Timeout) => {}
            // The end of a file.
            Err(RecvTimeoutError::Disconnected) if bridge.waiting.is_none() => return Ok(()),
            Err(RecvTimeoutError::Disconnected) => std::thread::sleep(AGAIN),
        }
        bridge.send(&shop)?;
    }
}

/// Passes on what the device says, and waits for it to come back when it goes. Ends with a file.
fn listen(device: &Path, reports: &mpsc::SyncSender<Vec<u8>>) {
    let mut buffer = [0; LONGEST_REPORT];
    loop {
        let opened = File::open(device).and_then(|file| Ok((file.metadata()?.is_file(), file)));
        let (is_file, mut file) = match opened {
            Ok(opened) => opened,
            Err(error) => {
                warn!("the scale is away ({error}); waiting for it");
                std::thread::sleep(AGAIN);
                continue;
            }
        };
        loop {
            // A device gives one report at a time; a file gives what is in it, cut into reports.
            let wanted = if is_file { scale::LENGTH } else { LONGEST_REPORT };
            match file.read(&mut buffer[..wanted]) {
                Ok(0) if is_file => return,
                Ok(0) => break,
                Ok(length) => {
                    if reports.send(buffer[..length].to_vec()).is_err() {
                        return;
                    }
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => {
                    warn!("the scale is away ({error}); waiting for it");
                    break;
                }
            }
        }
        std::thread::sleep(AGAIN);
    }
}

/// The shop as the bridge sees it.
struct Shop {
    agent: Agent,
    address: String,
    key: Token,
}

/// A reading that the shop has not answered yet.
#[derive(Debug)]
struct Waiting {
    id: String,
    shown: Shown,
    since: Instant,
    not_before: Instant,
}

#[derive(Debug, Default)]
struct Bridge {
    watch: Watch,
    waiting: Option<Waiting>,
    /// What was last said of the scale, so that it is not said ten times a second.
    unfit: Option<Unfit>,
    unreadable: Option<scale::ReportError>,
}

impl Bridge {
    fn hear(&mut self, report: &[u8]) {
        let said = match scale::read(report) {
            Ok(said) => said,
            // A scale has reports about other things, too.
            Err(scale::ReportError::NotAWeight(_)) => return,
            Err(error) => {
                if self.unreadable.replace(error) != Some(error) {
                    warn!("{error}");
                }
                return;
            }
        };
        let unfit = if let Said::Unfit(unfit) = said { Some(unfit) } else { None };
        if let Some(unfit) = unfit.filter(|unfit| self.unfit != Some(*unfit)) {
            warn!("{unfit}");
        }
        self.unfit = unfit;
        if let Some(shown) = self.watch.new_reading(said) {
            // Only the newest counts: what lay on the scale before it is not there any more.
            let now = Instant::now();
            self.waiting = Some(Waiting { id: new_id(), shown, since: now, not_before: now });
        } else if said == Said::Empty {
            self.waiting = None;
        }
    }

    /// Sends what waits; what gets no answer is sent again, under the same id.
    fn send(&mut self, shop: &Shop) -> Result<(), StartError> {
        let Some(waiting) = self.waiting.as_mut().filter(|waiting| waiting.not_before <= Instant::now())
        else {
            return Ok(());
        };
        let reading = waiting.shown.spelled();
        let body = json!({ "id": waiting.id, "reading": reading }).to_string();
        let sent = shop
            .agent
            .post(&shop.address)
            .header("authorization", format!("Bearer {}", shop.key.text()))
            .content_type("application/json")
            .send(body);
        let why = match sent {
            Ok(mut answer) => match answer.status().as_u16() {
                200 => {
                    info!("{reading}");
                    self.waiting = None;
                    return Ok(());
                }
                status @ (401 | 403 | 404) => {
                    return Err(StartError::Scale(format!(
                        "the shop refuses this key or address ({status})"
                    )));
                }
                status if status >= 500 => format!("the shop answers {status}"),
                status => {
                    let text = answer.body_mut().read_to_string().unwrap_or_default();
                    let said: Value = serde_json::from_str(&text).unwrap_or_default();
                    warn!("{reading} is refused ({status}): {}", said["detail"].as_str().unwrap_or_default());
                    self.waiting = None;
                    return Ok(());
                }
            },
            Err(error) => error.to_string(),
        };
        warn!("{reading} waits since {} s: {why}", waiting.since.elapsed().as_secs());
        waiting.not_before = Instant::now() + AGAIN;
        Ok(())
    }
}
