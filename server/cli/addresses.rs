//! The addresses and names that this machine is reached by.

use std::collections::BTreeSet;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// Where the shop is listened for, by which scheme: `http` or `https`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Door {
    pub scheme: &'static str,
    pub at: SocketAddr,
}

impl Door {
    /// The address of a host that is reached through this door.
    pub fn url(self, host: &str) -> String {
        format!("{}://{host}:{}", self.scheme, self.at.port())
    }

    fn url_of(self, ip: IpAddr) -> String {
        format!("{}://{}", self.scheme, SocketAddr::new(ip, self.at.port()))
    }

    /// The addresses of this machine for itself and, where it listens there, for phones on the wifi.
    pub fn urls(self) -> (String, Option<String>) {
        let listen = self.at.ip();
        if listen.is_loopback() {
            return (self.url_of(listen), None);
        }
        let here = self.url("localhost");
        if !listen.is_unspecified() {
            return (here, Some(self.url_of(listen)));
        }
        let wifi = own().into_iter().find(|ip| matches!(ip, IpAddr::V4(v4) if v4.is_private()));
        (here, wifi.map(|ip| self.url_of(ip)))
    }

    /// Everything that somebody may call this machine by who comes through this door, for its certificate: names in
    /// lower case, and addresses.
    pub fn names(self, hosts: &[String]) -> BTreeSet<String> {
        let listen = self.at.ip();
        let mut names: BTreeSet<String> = hosts
            .iter()
            .map(|host| host.trim_end_matches('.').trim_matches(['[', ']']).to_ascii_lowercase())
            // As an address of a certificate is spelled.
            .map(|host| host.parse::<IpAddr>().map_or(host, |ip| ip.to_string()))
            .collect();
        names.insert("localhost".into());
        let loopback = [IpAddr::V4(Ipv4Addr::LOCALHOST), IpAddr::V6(Ipv6Addr::LOCALHOST)];
        names.extend(loopback.map(|ip| ip.to_string()));
        if listen.is_unspecified() {
            // Who listens at 0.0.0.0 is not reached by IPv6; who listens at [::] is reached by both.
            let reached = own().into_iter().filter(|ip| ip.is_ipv4() || listen.is_ipv6());
            names.extend(reached.map(|ip| ip.to_string()));
        } else {
            names.insert(listen.to_string());
        }
        names
    }
}

/// The addresses of this machine on its networks.
fn own() -> Vec<IpAddr> {
    let interfaces = if_addrs::get_if_addrs().unwrap_or_default();
    // An address of one cable only is never typed, since it needs the cable's name too.
    let one_link = |ip: &IpAddr| matches!(ip, IpAddr::V6(v6) if v6.is_unicast_link_local());
    interfaces.into_iter().map(|interface| interface.ip()).filter(|ip| !one_link(ip)).collect()
}

/// The name in an address: `shop.example` of `https://shop.example:8443`.
pub(super) fn host_of(url: &str) -> Option<String> {
    let authority = url.split("://").nth(1)?.split('/').next()?;
    authority.parse::<axum::http::uri::Authority>().ok().map(|authority| authority.host().to_string())
}
