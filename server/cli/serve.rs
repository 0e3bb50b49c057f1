//! Serving a shop until somebody asks it to stop.

use std::net::SocketAddr;
use std::sync::Arc;

use tokio::net::TcpListener;
use tracing::info;

use super::addresses::{addresses, host_of};
use super::greeting::greet;
use super::{ServeArgs, StartError};
use crate::demo;
use crate::shelf::Shelf;
use crate::store::{Place, Store, StoreError};
use crate::web::{App, Config, router};

pub(super) async fn serve(args: &ServeArgs, place: &Place, with_demo: bool) -> Result<(), StartError> {
    let store = Store::open(place).await?;
    if with_demo {
        demo::load(&store, jiff::Timestamp::now()).await?;
    }
    let listen_error = |cause| StartError::Listen { at: args.listen, cause };
    let listener = TcpListener::bind(args.listen).await.map_err(listen_error)?;
    let port = listener.local_addr().map_err(listen_error)?.port();
    let (here, wifi) = addresses(args.listen.ip(), port);
    let outside = args.url.as_ref().map(|url| url.trim_end_matches('/').to_string()).or(wifi);
    let base_url = outside.clone().unwrap_or_else(|| here.clone());
    let mut hosts = args.hosts.clone();
    hosts.extend(args.url.as_deref().and_then(host_of));
    greet(&store, &here, outside.as_deref(), with_demo).await?;

    // The demo is loaded anew whenever it is gone.
    let backups = (!args.no_backups && !with_demo).then(|| args.backup.folder());
    if let Some(backups) = backups.clone() {
        tokio::spawn(backups.every_night(store.clone()));
    }
    let config = Config { hosts, base_url, behind_proxy: args.behind_proxy, backups, ..Config::default() };
    let app = App::new(store.clone(), config);
    look_ahead(&app).await?;
    let closing = app.closing.clone();
    let service = router(app).into_make_service_with_connect_info::<SocketAddr>();
    axum::serve(listener, service)
        .with_graceful_shutdown(async move {
            asked_to_stop().await;
            closing.send_replace(true);
        })
        .await
        .map_err(StartError::Serve)?;
    store.close().await;
    info!("stopped");
    Ok(())
}

/// Works out what the shelf is worth while nobody has asked yet, so that the first page need not wait for it.
async fn look_ahead(app: &App) -> Result<(), StoreError> {
    for shop in app.store.shops().await? {
        app.answers.prepare(Arc::new(Shelf::load(&app.store, &shop, jiff::Timestamp::now()).await?));
    }
    Ok(())
}

async fn asked_to_stop() {
    let interrupt = tokio::signal::ctrl_c();
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            // Without the handler the system ends the program on its own.
            Err(_) => std::future::pending().await,
        }
    };
    tokio::select! {
        _ = interrupt => {},
        () = terminate => {},
    }
    info!("closing: requests under way are finished first");
}
