//! Serving by HTTPS: with a certificate made for the shop, or with one from elsewhere.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::Router;
use axum_server::tls_rustls::{RustlsAcceptor, RustlsConfig};
use jiff::Timestamp;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tracing::{info, warn};

use super::addresses::Door;
use super::connections::{Doorkeeper, impatient};
use super::serve::closing_handle;
use super::{HttpsArgs, StartError};
use crate::certificate::{Authority, CertificateError, Identity, Root};

/// How often it is looked whether the box's addresses or the files of the certificate have changed.
const LOOKED_AFTER: Duration = Duration::from_secs(60);

/// Where the certificate comes from.
#[derive(Debug)]
enum Source {
    Own { authority: Box<Authority>, door: Door, hosts: Vec<String> },
    Files { certificate: PathBuf, key: PathBuf },
}

impl Source {
    fn identity(&self) -> Result<Identity, CertificateError> {
        match self {
            Source::Own { authority, door, hosts } => authority.leaf(&door.names(hosts), Timestamp::now()),
            Source::Files { certificate, key } => Identity::read(certificate, key),
        }
    }

    /// The certificate to serve by from now on, where it is not `served` any more.
    fn instead_of(&self, served: &Identity) -> Result<Option<Identity>, CertificateError> {
        let is_good = match self {
            Source::Own { authority, door, hosts } => {
                served.is_good_for(&authority.root, &door.names(hosts), Timestamp::now())
            }
            Source::Files { .. } => false,
        };
        if is_good {
            return Ok(None);
        }
        Ok(Some(self.identity()?).filter(|identity| identity.chain != served.chain))
    }
}

/// The door for HTTPS, with what it takes to open it.
#[derive(Debug)]
pub(super) struct Https {
    pub door: Door,
    listener: TcpListener,
    source: Source,
    identity: Identity,
    config: RustlsConfig,
}

impl Https {
    /// With the certificate that the command line asks for; `None` where it asks for none.
    pub async fn ready(args: &HttpsArgs, data: &Path, hosts: &[String]) -> Result<Option<Https>, StartError> {
        let files = args.cert.clone().zip(args.key.clone());
        if files.is_none() && !args.https {
            return Ok(None);
        }
        let refused = |cause| StartError::Listen { at: args.https_listen, option: "--https-listen", cause };
        let listener = TcpListener::bind(args.https_listen).await.map_err(refused)?;
        let door = Door { scheme: "https", at: listener.local_addr().map_err(refused)? };
        let source = match files {
            Some((certificate, key)) => Source::Files { certificate, key },
            None => {
                let authority = Box::new(Authority::open(&data.join("tls"), Timestamp::now())?);
                Source::Own { authority, door, hosts: hosts.to_vec() }
            }
        };
        let identity = source.identity()?;
        let config = RustlsConfig::from_config(identity.server()?);
        Ok(Some(Https { door, listener, source, identity, config }))
    }

    /// The shop's own root, where the certificate is signed by it.
    pub fn root(&self) -> Option<Root> {
        match &self.source {
            Source::Own { authority, .. } => Some(authority.root.clone()),
            Source::Files { .. } => None,
        }
    }

    /// Serves until the program is to stop.
    pub async fn serve(
        self,
        app: Router,
        doorkeeper: Doorkeeper,
        closing: watch::Receiver<bool>,
    ) -> std::io::Result<()> {
        let Https { listener, source, identity, config, .. } = self;
        let looking_after = tokio::spawn(look_after(source, identity, config.clone()));
        let service = app.into_make_service_with_connect_info::<SocketAddr>();
        let acceptor = RustlsAcceptor::new(config).acceptor(doorkeeper);
        let server = impatient(axum_server::from_tcp(listener.into_std()?)?).acceptor(acceptor);
        let served = server.handle(closing_handle(closing)).serve(service).await;
        looking_after.abort();
        served
    }
}

/// Keeps the certificate that is served good: the wifi gives the box another address, a leaf nears its end, or somebody
/// renews the files.
async fn look_after(source: Source, mut served: Identity, config: RustlsConfig) {
    loop {
        tokio::time::sleep(LOOKED_AFTER).await;
        let renewed = source.instead_of(&served).and_then(|identity| match identity {
            Some(identity) => Ok(Some((identity.server()?, identity))),
            None => Ok(None),
        });
        match renewed {
            Ok(Some((server, identity))) => {
                config.reload_from_config(server);
                served = identity;
                info!(
                    "another certificate is served from now on: the names or the files of the old one changed"
                );
            }
            Ok(None) => {}
            Err(error) => warn!(%error, "the certificate is kept as it was"),
        }
    }
}
