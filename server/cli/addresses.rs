//! The addresses and names that this machine is reached by.

use std::net::{IpAddr, SocketAddr};

/// The addresses of this machine for itself and, where it listens there, for phones on the wifi.
pub(super) fn addresses(listen: IpAddr, port: u16) -> (String, Option<String>) {
    if listen.is_loopback() {
        return (format!("http://{}", SocketAddr::new(listen, port)), None);
    }
    let here = format!("http://localhost:{port}");
    if !listen.is_unspecified() {
        return (here, Some(format!("http://{}", SocketAddr::new(listen, port))));
    }
    let wifi = if_addrs::get_if_addrs()
        .unwrap_or_default()
        .into_iter()
        .map(|interface| interface.ip())
        .find(|ip| matches!(ip, IpAddr::V4(v4) if v4.is_private()));
    (here, wifi.map(|ip| format!("http://{}", SocketAddr::new(ip, port))))
}

/// The name in an address: `shop.example` of `https://shop.example:8443`.
pub(super) fn host_of(url: &str) -> Option<String> {
    let authority = url.split("://").nth(1)?.split('/').next()?;
    authority.parse::<axum::http::uri::Authority>().ok().map(|authority| authority.host().to_string())
}
