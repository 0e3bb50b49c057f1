//! Connections to the shop's doors: how many there may be, and how long each may take over what it sends and reads.
//!
//! A box in a garage has few threads and little memory. Whoever opens connections and says nothing, says it a byte at a
//! time or never reads the answer is let go, so that the phones of the shop find a place.

use std::collections::HashMap;
use std::future::{Ready, ready};
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum_server::Server;
use axum_server::accept::Accept;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio_io_timeout::TimeoutStream;
use tracing::debug;

/// Connections that are open at once, through all doors.
const MOST: usize = 1024;
/// Those among them from one address. A browser opens six, and one more that listens for news.
const MOST_FROM_ONE: usize = 128;
/// How long the head of a request may take, and how long a connection may be open between two requests.
const HEAD: Duration = Duration::from_secs(30);
/// How long an answer may lie there without the other side taking any of it.
const STALLED: Duration = Duration::from_secs(30);
/// How often an HTTP/2 connection is asked whether anybody is still there.
const ASKED: Duration = Duration::from_secs(30);
/// Requests that one HTTP/2 connection has open at once.
const MOST_STREAMS: u32 = 64;
/// Files and sockets that the process asks the system for: all connections, and the record's files.
const MOST_FILES: u64 = 4096;

/// Lets connections in while there is room.
#[derive(Debug, Clone)]
pub(super) struct Doorkeeper {
    inside: Arc<Mutex<Inside>>,
    most: usize,
    most_from_one: usize,
}

#[derive(Debug, Default)]
struct Inside {
    all: usize,
    by_address: HashMap<IpAddr, usize>,
}

impl Doorkeeper {
    /// Behind a proxy, all connections are the proxy's.
    pub fn new(behind_proxy: bool) -> Doorkeeper {
        if let Err(error) = rlimit::increase_nofile_limit(MOST_FILES) {
            debug!(%error, "the system's limit on open files stays as it is");
        }
        let most_from_one = if behind_proxy { MOST } else { MOST_FROM_ONE };
        Doorkeeper { inside: Arc::default(), most: MOST, most_from_one }
    }

    /// A place for a connection from `address`, if there is one.
    fn place(&self, address: IpAddr) -> Option<Place> {
        let address = address.to_canonical();
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        let from_there = inside.by_address.get(&address).copied().unwrap_or(0);
        if inside.all >= self.most || from_there >= self.most_from_one {
            return None;
        }
        inside.all += 1;
        inside.by_address.insert(address, from_there + 1);
        Some(Place { inside: Arc::clone(&self.inside), address })
    }
}

/// A connection's place, which it gives back when it goes.
#[derive(Debug)]
struct Place {
    inside: Arc<Mutex<Inside>>,
    address: IpAddr,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        inside.all -= 1;
        let left = inside.by_address.get(&self.address).map_or(0, |count| count - 1);
        if left == 0 {
            inside.by_address.remove(&self.address);
        } else {
            inside.by_address.insert(self.address, left);
        }
    }
}

/// A connection that was let in.
#[derive(Debug)]
pub(super) struct Admitted {
    stream: Pin<Box<TimeoutStream<TcpStream>>>,
    _place: Place,
}

impl<S> Accept<TcpStream, S> for Doorkeeper {
    type Stream = Admitted;
    type Service = S;
    type Future = Ready<io::Result<(Admitted, S)>>;

    fn accept(&self, stream: TcpStream, service: S) -> Self::Future {
        let admitted = || {
            let address = stream.peer_addr()?.ip();
            let place = self.place(address).ok_or_else(|| {
                debug!(%address, "a connection was refused: too many are open");
                io::Error::from(io::ErrorKind::QuotaExceeded)
            })?;
            // Small answers go out at once.
            stream.set_nodelay(true)?;
            let mut stream = TimeoutStream::new(stream);
            stream.set_write_timeout(Some(STALLED));
            Ok((Admitted { stream: Box::pin(stream), _place: place }, service))
        };
        ready(admitted())
    }
}

impl AsyncRead for Admitted {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.stream.as_mut().poll_read(context, buffer)
    }
}

impl AsyncWrite for Admitted {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        self.stream.as_mut().poll_write(context, bytes)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        self.stream.as_mut().poll_write_vectored(context, slices)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.stream.as_mut().poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.stream.as_mut().poll_shutdown(context)
    }
}

/// The same server, that waits for nobody without end.
pub(super) fn impatient<A>(mut server: Server<SocketAddr, A>) -> Server<SocketAddr, A> {
    let builder = server.http_builder();
    builder.http1().header_read_timeout(HEAD);
    builder.http2().max_concurrent_streams(MOST_STREAMS).keep_alive_interval(ASKED).keep_alive_timeout(ASKED);
    server.first_request_timeout(HEAD)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keeper(most: usize, most_from_one: usize) -> Doorkeeper {
        Doorkeeper { inside: Arc::default(), most, most_from_one }
    }

    #[test]
    fn a_place_is_given_back_when_its_connection_goes() {
        let keeper = keeper(3, 2);
        let [one, other, third]: [IpAddr; 3] =
            ["192.168.1.2", "192.168.1.3", "192.168.1.4"].map(|address| address.parse().expect("an address"));
        let first = keeper.place(one).expect("there is room");
        let second = keeper.place(one).expect("there is room");
        assert!(keeper.place(one).is_none(), "two are the most from one address");
        // The same address, as a socket for both kinds of addresses tells it.
        assert!(keeper.place("::ffff:192.168.1.2".parse().expect("an address")).is_none());
        let _elsewhere = keeper.place(other).expect("another address has room");
        assert!(keeper.place(third).is_none(), "three are the most in all");
        drop(first);
        let _again = keeper.place(third).expect("there is room again");
        drop(second);
        let _back = keeper.place(one).expect("there is room again");
        assert_eq!(keeper.inside.lock().expect("unbroken").by_address.len(), 3);
    }

    #[test]
    fn nothing_is_kept_of_addresses_that_are_gone() {
        let keeper = keeper(3, 3);
        for last in 0..=255_u8 {
            drop(keeper.place(IpAddr::from([10, 0, 0, last])).expect("there is room"));
        }
        let inside = keeper.inside.lock().expect("unbroken");
        assert_eq!((inside.all, inside.by_address.len()), (0, 0));
    }
}
