//! The shop's name on the wifi: answers to `pennyweight.local` (Multicast DNS, RFC 6762) and to who looks for web pages
//! (DNS-Based Service Discovery, RFC 6763).

use std::net::IpAddr;
use std::time::Duration;

use mdns_sd::{DaemonEvent, IfKind, Receiver, ServiceDaemon, ServiceInfo};
use tracing::{info, warn};

/// The port of RFC 6762, 3.
const PORT: u16 = 5353;

/// What is told about the shop.
#[derive(Debug, Clone)]
pub struct Announced {
    /// The name without `.local`.
    pub name: String,
    /// The address that is listened at; an unspecified one is every address of this machine.
    pub listen: IpAddr,
    pub http: u16,
    pub https: Option<u16>,
}

/// A name that is being answered to.
pub struct Announcement {
    daemon: ServiceDaemon,
}

impl std::fmt::Debug for Announcement {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Announcement").finish_non_exhaustive()
    }
}

/// A name of one label: letters, digits and hyphens (RFC 1123, 2.1), so that it fits into addresses and certificates.
pub fn label(name: &str) -> Result<String, String> {
    let is_label = (1..=63).contains(&name.len())
        && name.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
        && !name.starts_with('-')
        && !name.ends_with('-');
    if is_label {
        Ok(name.to_ascii_lowercase())
    } else {
        Err("a name is letters, digits and hyphens, without .local: shopbox".into())
    }
}

/// Answers to the name from now on, on all networks of this machine that the shop listens on.
pub fn announce(announced: &Announced) -> Result<Announcement, mdns_sd::Error> {
    announce_at(PORT, announced)
}

fn announce_at(port: u16, announced: &Announced) -> Result<Announcement, mdns_sd::Error> {
    let Announced { name, listen, http, https } = announced;
    let daemon = ServiceDaemon::new_with_port(port)?;
    tokio::spawn(log(daemon.monitor()?));
    if listen.is_unspecified() {
        daemon.disable_interface(vec![IfKind::LoopbackV4, IfKind::LoopbackV6])?;
        // A phone would try an address at which nobody listens first.
        if listen.is_ipv4() {
            daemon.disable_interface(IfKind::IPv6)?;
        }
    } else {
        daemon.disable_interface(IfKind::All)?;
        daemon.enable_interface(IfKind::Addr(*listen))?;
    }
    let host = format!("{name}.local.");
    let doors = [("_http._tcp.local.", Some(*http)), ("_https._tcp.local.", *https)];
    for (kind, port) in doors.into_iter().filter_map(|(kind, port)| Some((kind, port?))) {
        let service = ServiceInfo::new(kind, name, &host, (), port, None)?;
        daemon.register(service.enable_addr_auto())?;
    }
    Ok(Announcement { daemon })
}

impl Announcement {
    /// Says goodbye, so that phones forget the name at once.
    pub async fn end(self) {
        if let Ok(ended) = self.daemon.shutdown() {
            let _ = tokio::time::timeout(Duration::from_secs(2), ended.recv_async()).await;
        }
    }
}

/// What becomes of the name goes to the log; the shop is open without it too.
async fn log(events: Receiver<DaemonEvent>) {
    let mut last = String::new();
    while let Ok(event) = events.recv_async().await {
        let line = match &event {
            DaemonEvent::Announce(name, at) => format!("the wifi is told of {name} on {at}"),
            DaemonEvent::Error(cause) => format!("the wifi cannot be told of the shop's name: {cause}"),
            DaemonEvent::NameChange(change) => format!(
                "another device on the wifi goes by {}: this one is {} there. Choose another name with --name",
                change.original, change.new_name
            ),
            _ => continue,
        };
        // The same trouble comes up again at every try.
        if line == last {
            continue;
        }
        if matches!(event, DaemonEvent::Announce(..)) {
            info!("{line}");
        } else {
            warn!("{line}");
        }
        last = line;
    }
}

#[cfg(test)]
mod tests {
    use std::net::Ipv4Addr;

    use mdns_sd::{HostnameResolutionEvent, ServiceEvent};

    use super::*;

    #[test]
    fn a_name_is_one_label() {
        assert_eq!(label("ShopBox-2"), Ok("shopbox-2".to_string()));
        for bad in ["", "shop.local", "-shop", "shop-", "shop box", "größe", &"x".repeat(64)] {
            assert!(label(bad).is_err(), "{bad}");
        }
    }

    /// On the loopback interface, at a port of its own: another program asks, and is told name, address and ports.
    #[tokio::test]
    async fn who_asks_for_the_name_is_told_the_address_and_the_ports() {
        const PORT: u16 = 4120;
        let listen = IpAddr::V4(Ipv4Addr::LOCALHOST);
        let name = "pennyweight-test".to_string();
        let announced = Announced { name, listen, http: 8080, https: Some(8443) };
        let announcement = announce_at(PORT, &announced).expect("it is announced");
        let asker = ServiceDaemon::new_with_port(PORT).expect("another program");
        let answers = asker.resolve_hostname("pennyweight-test.local.", Some(10_000)).expect("a question");
        let mut found = None;
        while let Ok(event) = answers.recv_async().await {
            match event {
                HostnameResolutionEvent::AddressesFound(host, addresses) => {
                    found = Some((host, addresses));
                    break;
                }
                HostnameResolutionEvent::SearchTimeout(_) => break,
                _ => {}
            }
        }
        let (host, addresses) = found.expect("an answer");
        assert_eq!(host, "pennyweight-test.local.");
        assert_eq!(addresses.iter().map(|address| address.to_ip_addr()).collect::<Vec<_>>(), [listen]);
        for (kind, port) in [("_http._tcp.local.", 8080), ("_https._tcp.local.", 8443)] {
            let answers = asker.browse(kind).expect("a question");
            let service = tokio::time::timeout(Duration::from_secs(10), async {
                loop {
                    if let ServiceEvent::ServiceResolved(service) =
                        answers.recv_async().await.expect("an answer")
                    {
                        break service;
                    }
                }
            });
            let service = service.await.expect("in time");
            assert_eq!((service.get_port(), service.get_hostname()), (port, "pennyweight-test.local."));
        }
        announcement.end().await;
        asker.shutdown().expect("it ends");
    }
}
