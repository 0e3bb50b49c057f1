//! Serving a shop until somebody asks it to stop.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum_server::Handle;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::watch;
use tracing::{info, warn};

use super::addresses::{Door, host_of};
use super::connections::{Doorkeeper, impatient};
use super::greeting::{Open, Trust, greet};
use super::https::Https;
use super::{ServeArgs, StartError};
use crate::demo;
use crate::mdns::{self, Announced};
use crate::shelf::{Depth, Shelf};
use crate::store::{Place, Store, StoreError};
use crate::web::{App, Config, HttpsAddress, plain_router, router};

/// Longer than any request takes.
const LAST_REQUESTS: Duration = Duration::from_secs(65);

pub(super) async fn serve(args: &ServeArgs, place: &Place, with_demo: bool) -> Result<(), StartError> {
    if args.https.is_wanted() && args.url.as_deref().is_some_and(|url| !url.starts_with("https://")) {
        return Err(StartError::PlainUrl);
    }
    let store = Store::open(place).await?;
    if with_demo {
        demo::load(&store, jiff::Timestamp::now()).await?;
    }
    let listen_error = |cause| StartError::Listen { at: args.listen, option: "--listen", cause };
    let listener = TcpListener::bind(args.listen).await.map_err(listen_error)?;
    let plain = Door { scheme: "http", at: listener.local_addr().map_err(listen_error)? };
    let mut hosts = args.hosts.clone();
    hosts.extend(args.url.as_deref().and_then(host_of));
    let listen = if args.https.is_wanted() { args.https.https_listen.ip() } else { args.listen.ip() };
    let name = (!args.no_mdns && !listen.is_loopback()).then(|| args.name.clone());
    let local = name.as_ref().map(|name| format!("{name}.local"));
    hosts.extend(local.clone());
    let https = Https::ready(&args.https, &args.backup.store.data, &hosts).await?;

    let door = https.as_ref().map_or(plain, |https| https.door);
    let (here, wifi) = door.urls();
    // A certificate from elsewhere is for a name, and not for the address that the wifi happened to give.
    let named = args.hosts.first().filter(|_| args.https.cert.is_some()).map(|host| door.url(host));
    let outside = args.url.as_ref().map(|url| url.trim_end_matches('/').to_string()).or(named).or(wifi);
    let base_url = outside.clone().unwrap_or_else(|| here.clone());
    let root = https.as_ref().and_then(Https::root);
    let trust = root.as_ref().map(|root| {
        let (here, wifi) = plain.urls();
        Trust { page: wifi.unwrap_or(here) + "/certificate", fingerprint: root.fingerprint() }
    });
    // From the moment on that it says it is open.
    let stop = asked_to_stop();
    let open = Open { here, outside, local: local.map(|name| door.url(&name)), trust };
    greet(&store, &open, with_demo).await?;

    // The demo is loaded anew whenever it is gone.
    let backups = (!args.no_backups && !with_demo).then(|| args.backup.folder());
    if let Some(backups) = backups.clone() {
        tokio::spawn(backups.every_night(store.clone()));
    }
    // Where only the record's folder may be written to, it is the one place for large files; with Postgres there may be none.
    let data = &args.backup.store.data;
    let scratch = if data.is_dir() { data.clone() } else { std::env::temp_dir() };
    let behind_proxy = args.behind_proxy;
    let config = Config { hosts, base_url, behind_proxy, backups, root, scratch, ..Config::default() };
    let app = App::new(store.clone(), config);
    look_ahead(&app).await?;
    let announcement = name.and_then(|name| {
        let https = https.as_ref().map(|https| https.door.at.port());
        let announced = Announced { name, listen, http: plain.at.port(), https };
        mdns::announce(&announced)
            .inspect_err(|error| warn!("the wifi cannot be told of the shop's name: {error}"))
            .ok()
    });
    let closing = app.closing.clone();
    tokio::spawn(async move {
        stop.await;
        closing.send_replace(true);
    });
    let closing = app.closing.subscribe();
    let doorkeeper = Doorkeeper::new(args.behind_proxy);
    let served = match https {
        None => serve_plain(listener, router(app), doorkeeper, closing).await,
        Some(https) => {
            let target = match &args.url {
                Some(url) => HttpsAddress::At(url.trim_end_matches('/').to_string()),
                None => HttpsAddress::SameHost { port: https.door.at.port() },
            };
            let plain = plain_router(app.clone(), target);
            let redirects = serve_plain(listener, plain, doorkeeper.clone(), closing.clone());
            tokio::try_join!(redirects, https.serve(router(app), doorkeeper, closing)).map(|_| ())
        }
    };
    served.map_err(StartError::Serve)?;
    if let Some(announcement) = announcement {
        announcement.end().await;
    }
    store.close().await;
    info!("stopped");
    Ok(())
}

async fn serve_plain(
    listener: TcpListener,
    app: axum::Router,
    doorkeeper: Doorkeeper,
    closing: watch::Receiver<bool>,
) -> std::io::Result<()> {
    let service = app.into_make_service_with_connect_info::<SocketAddr>();
    let server = impatient(axum_server::from_tcp(listener.into_std()?)?).acceptor(doorkeeper);
    server.handle(closing_handle(closing)).serve(service).await
}

/// What closes a door when the program is to stop, after the requests under way.
pub(super) fn closing_handle(closing: watch::Receiver<bool>) -> Handle<SocketAddr> {
    let handle = Handle::<SocketAddr>::new();
    let stop = handle.clone();
    tokio::spawn(async move {
        closed(closing).await;
        stop.graceful_shutdown(Some(LAST_REQUESTS));
    });
    handle
}

/// Waits until the program is to stop.
async fn closed(mut closing: watch::Receiver<bool>) {
    // Without anybody left to say so, it is the end too.
    let _ = closing.wait_for(|closing| *closing).await;
}

/// Works out what the shelf is worth while nobody has asked yet, so that the first page need not wait for it.
async fn look_ahead(app: &App) -> Result<(), StoreError> {
    for shop in app.store.shops().await? {
        let shelf = Arc::new(Shelf::load(&app.store, &shop, jiff::Timestamp::now()).await?);
        app.answers.prepare(&shop.id, &shelf, Depth::Margins).await;
    }
    Ok(())
}

/// Listens from now on for being asked to stop, and waits for it.
fn asked_to_stop() -> impl Future<Output = ()> + Send + 'static {
    // Without a handler the system ends the program on its own.
    let mut signals = [SignalKind::interrupt(), SignalKind::terminate()].map(|kind| signal(kind).ok());
    async move {
        let [interrupt, terminate] = signals.each_mut().map(|signal| async move {
            match signal {
                Some(signal) => signal.recv().await,
                None => std::future::pending().await,
            }
        });
        tokio::select! {
            _ = interrupt => {},
            _ = terminate => {},
        }
        info!("closing: requests under way are finished first");
    }
}
