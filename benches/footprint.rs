//! What the program takes of a box, and how much of bare SQLite is left of its pages and its weighings.
//!
//! `cargo bench --bench footprint` starts the program on a shop of 200 lots and prints: the size of the binary, the time
//! from start to the first page, memory at rest, the weight of pages, and two rates, each beside that of the bare thing in
//! the same run: pages of lots against a handler of axum that reads the same rows with rusqlite and writes the same bytes,
//! and weighings through the API against inserts by rusqlite, each in a transaction of its own (WAL, synchronous FULL).

#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]

mod common;

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use axum::Router;
use axum::http::header::CONTENT_TYPE;
use axum::response::Html;
use axum::routing::get;
use common::{Program, Shop};
use jiff::Timestamp;
use pennyweight::secret::Token;
use pennyweight::store::new_id;
use rusqlite::Connection;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::runtime::Runtime;

const LOTS: usize = 200;
/// Phones at once.
const CONNECTIONS: usize = 16;
const LONG: Duration = Duration::from_secs(5);
const ROUNDS: usize = 3;
const GRADES: [&str; 8] = [
    "copper-2",
    "copper-bright",
    "brass-yellow",
    "stainless",
    "board-server",
    "board-desktop",
    "hard-drive-whole",
    "wire-60",
];

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let runtime = Runtime::new().unwrap();
    let (cookie, key, lots) = runtime.block_on(prepared(folder.path()));
    let binary = env!("CARGO_BIN_EXE_pennyweight");
    println!("binary: {:.1} MB", std::fs::metadata(binary).unwrap().len() as f64 / 1e6);
    let started = Instant::now();
    let program = Program::serve(folder.path());
    let port = program.port;
    runtime.block_on(async {
        let first = first_page(port).await;
        println!("from start to the first page: {:.0} ms ({} bytes)", ms(started), first.len());
        tokio::time::sleep(Duration::from_secs(10)).await;
        println!("memory at rest: {:.1} MB", program.memory("VmRSS"));
        weigh_pages(port, &cookie).await;
        let page = get_until_worth(port, &cookie).await;
        compare_pages(port, &cookie, page, folder.path()).await;
        println!("memory after the pages: {:.1} MB", program.memory("VmRSS"));
        compare_weighings(port, &key, &lots, folder.path()).await;
        println!("memory after the weighings: {:.1} MB", program.memory("VmRSS"));
    });
}

/// A shop with its lots, as `serve` finds it; gives a phone's cookie, a device's key and the lots' ids.
async fn prepared(folder: &Path) -> (String, String, Vec<String>) {
    let shop = Shop::in_folder(folder).await;
    shop.pays(&GRADES).await;
    let mut lots = Vec::new();
    for at in 0..LOTS {
        lots.push(shop.lot(&format!("Bag {at}"), GRADES[at % GRADES.len()]).await);
    }
    let key = Token::random();
    shop.store.make_key(&shop.by, &new_id(), "scale", &key.hash()).await.unwrap();
    shop.store.close().await;
    (shop.cookie, key.text().to_string(), lots)
}

fn ms(since: Instant) -> f64 {
    since.elapsed().as_secs_f64() * 1e3
}

/// One connection that is kept open.
struct Phone {
    stream: TcpStream,
    received: Vec<u8>,
}

impl Phone {
    async fn to(port: u16) -> Option<Phone> {
        let stream = TcpStream::connect(("127.0.0.1", port)).await.ok()?;
        stream.set_nodelay(true).ok()?;
        Some(Phone { stream, received: Vec::new() })
    }

    /// Sends a request and gives the answer's head and body.
    async fn ask(&mut self, request: &str) -> Option<(String, Vec<u8>)> {
        self.stream.write_all(request.as_bytes()).await.ok()?;
        self.received.clear();
        let mut chunk = [0; 64 * 1024];
        let (head, length) = loop {
            let count = self.stream.read(&mut chunk).await.ok().filter(|count| *count > 0)?;
            self.received.extend_from_slice(&chunk[..count]);
            let Some(end) = self.received.windows(4).position(|four| four == b"\r\n\r\n") else { continue };
            let head = String::from_utf8_lossy(&self.received[..end]).to_lowercase();
            let length = head.lines().find_map(|line| line.strip_prefix("content-length: ")?.parse().ok());
            // Compressed answers come in chunks of unknown length, the last of them empty.
            break (head, length.map(|length: usize| end + 4 + length));
        };
        let done = |received: &[u8]| match length {
            Some(length) => received.len() >= length,
            None => received.ends_with(b"0\r\n\r\n"),
        };
        while !done(&self.received) {
            let count = self.stream.read(&mut chunk).await.ok().filter(|count| *count > 0)?;
            self.received.extend_from_slice(&chunk[..count]);
        }
        let body = self.received.windows(4).position(|four| four == b"\r\n\r\n")? + 4;
        Some((head, self.received[body..].to_vec()))
    }
}

fn page_request(port: u16, url: &str, more: &str) -> String {
    format!("GET {url} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{more}\r\n")
}

async fn first_page(port: u16) -> Vec<u8> {
    loop {
        if let Some(mut phone) = Phone::to(port).await
            && let Some((_, body)) = phone.ask(&page_request(port, "/sign-in", "")).await
        {
            return body;
        }
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
}

/// What a phone has to fetch for a page, compressed as a browser asks for it.
async fn weigh_pages(port: u16, cookie: &str) {
    let mut phone = Phone::to(port).await.unwrap();
    let headers = format!("Cookie: {cookie}\r\nAccept-Encoding: gzip\r\n");
    let (_, plain) = phone.ask(&page_request(port, "/lots", &format!("Cookie: {cookie}\r\n"))).await.unwrap();
    let text = String::from_utf8_lossy(&plain).into_owned();
    let parts: BTreeSet<&str> = text
        .split(['"', '\''])
        .filter(|word| word.starts_with("/static/") && (word.contains(".css") || word.contains(".js")))
        .collect();
    let mut shared = 0;
    for part in &parts {
        shared += phone.ask(&page_request(port, part, &headers)).await.unwrap().1.len();
    }
    for url in ["/", "/lots", "/weigh"] {
        let (_, packed) = phone.ask(&page_request(port, url, &headers)).await.unwrap();
        println!("weight of {url}: {:.1} kB", packed.len() as f64 / 1e3);
    }
    println!(
        "weight of style and scripts, fetched once: {:.1} kB in {} files",
        shared as f64 / 1e3,
        parts.len()
    );
}

/// The page of lots once the sell plan has been worked out.
async fn get_until_worth(port: u16, cookie: &str) -> Vec<u8> {
    let mut phone = Phone::to(port).await.unwrap();
    let request = page_request(port, "/lots", &format!("Cookie: {cookie}\r\n"));
    let mut before = Vec::new();
    loop {
        let (head, page) = phone.ask(&request).await.unwrap();
        assert!(head.starts_with("http/1.1 200"), "{head}");
        if page == before {
            return page;
        }
        before = page;
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
}

/// Requests a second that `CONNECTIONS` phones get answered; `request` makes the next one.
async fn rate(port: u16, request: impl Fn(u64) -> String + Send + Sync + 'static) -> f64 {
    let request = Arc::new(request);
    let count = Arc::new(AtomicU64::new(0));
    let next = Arc::new(AtomicU64::new(0));
    let started = Instant::now();
    let phones: Vec<_> = (0..CONNECTIONS)
        .map(|_| {
            let (request, count, next) = (request.clone(), count.clone(), next.clone());
            tokio::spawn(async move {
                let mut phone = Phone::to(port).await.unwrap();
                while started.elapsed() < LONG {
                    let request = request(next.fetch_add(1, Ordering::Relaxed));
                    let (head, _) = phone.ask(&request).await.unwrap();
                    assert!(head.starts_with("http/1.1 200"), "{head}");
                    count.fetch_add(1, Ordering::Relaxed);
                }
            })
        })
        .collect();
    for phone in phones {
        phone.await.unwrap();
    }
    count.load(Ordering::Relaxed) as f64 / started.elapsed().as_secs_f64()
}

fn middle(mut rates: Vec<f64>) -> f64 {
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

/// The rows that a list of lots is made of.
const ROWS: &str = "SELECT l.id, c.label, c.kind, g.name, g.family, \
    (SELECT SUM(w.net_ug) FROM weighings w WHERE w.lot_id = l.id), \
    (SELECT SUM(w.pieces) FROM weighings w WHERE w.lot_id = l.id), l.opened_at, l.version \
    FROM lots l JOIN containers c ON c.id = l.container_id \
    JOIN grades g ON g.shop_id = l.shop_id AND g.id = l.grade_id \
    WHERE l.closed_at IS NULL ORDER BY g.position, g.name, c.label";

fn rows(database: &Connection) -> usize {
    let mut statement = database.prepare_cached(ROWS).unwrap();
    let rows = statement.query_map([], |row| {
        Ok((
            row.get::<_, String>(0)?,
            row.get::<_, String>(1)?,
            row.get::<_, String>(3)?,
            row.get::<_, i64>(5)?,
            row.get::<_, String>(7)?,
        ))
    });
    rows.unwrap().map(Result::unwrap).count()
}

async fn compare_pages(port: u16, cookie: &str, page: Vec<u8>, folder: &Path) {
    let bare = bare_server(page.clone(), folder).await;
    let url = page_request(port, "/lots", &format!("Cookie: {cookie}\r\n"));
    let bare_url = page_request(bare, "/lots", "");
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let (url, bare_url) = (url.clone(), bare_url.clone());
        ours.push(rate(port, move |_| url.clone()).await);
        theirs.push(rate(bare, move |_| bare_url.clone()).await);
    }
    let (ours, theirs) = (middle(ours), middle(theirs));
    println!(
        "/lots with {LOTS} lots ({:.1} kB): {ours:.0} a second; bare axum and rusqlite {theirs:.0}; ratio {:.2}",
        page.len() as f64 / 1e3,
        ours / theirs
    );
}

/// A server that reads the rows and writes the page, on a thread of its own with two workers.
async fn bare_server(page: Vec<u8>, folder: &Path) -> u16 {
    let path = folder.join("pennyweight.db");
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let listener = listener.into_std().unwrap();
    let page: &'static str = String::from_utf8(page).unwrap().leak();
    std::thread::spawn(move || {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        runtime.block_on(async move {
            let answer = move || {
                let path = path.clone();
                async move {
                    thread_local! {
                        static DATABASE: std::cell::OnceCell<Connection> = const { std::cell::OnceCell::new() };
                    }
                    let count = DATABASE.with(|one| rows(one.get_or_init(|| Connection::open(&path).unwrap())));
                    assert_eq!(count, LOTS);
                    Html(page)
                }
            };
            let router = Router::new().route("/lots", get(answer));
            axum::serve(TcpListener::from_std(listener).unwrap(), router).await.unwrap();
        });
    });
    port
}

async fn compare_weighings(port: u16, key: &str, lots: &[String], folder: &Path) {
    let mut database = Connection::open(folder.join("bare.db")).unwrap();
    let table = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
        CREATE TABLE weighings (id TEXT PRIMARY KEY, shop_id TEXT NOT NULL, lot_id TEXT NOT NULL, kind TEXT NOT NULL, \
        net_ug BIGINT NOT NULL, gross_ug BIGINT NOT NULL, tare_ug BIGINT NOT NULL, pieces BIGINT NOT NULL, \
        typed TEXT NOT NULL, partner_id TEXT NOT NULL, at TEXT NOT NULL, reverses_id TEXT UNIQUE, other_lot_id TEXT); \
        CREATE INDEX weighings_lot ON weighings (lot_id, at);";
    database.execute_batch(table).unwrap();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let (key, lots) = (key.to_string(), lots.to_vec());
        let request = move |at: u64| {
            let lot = &lots[at as usize % lots.len()];
            let body = format!(r#"{{"id":"{}","lot":"{lot}","reading":"7 oz","confirmed":true}}"#, new_id());
            let type_of = CONTENT_TYPE.as_str();
            format!(
                "POST /api/v1/weighings HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {key}\r\n\
                 {type_of}: application/json\r\nContent-Length: {}\r\n\r\n{body}",
                body.len()
            )
        };
        ours.push(rate(port, request).await);
        theirs.push(bare_inserts(&mut database));
    }
    let (ours, theirs) = (middle(ours), middle(theirs));
    println!(
        "weighings, each durable: {ours:.0} a second; bare rusqlite {theirs:.0}; ratio {:.2}",
        ours / theirs
    );
}

/// Inserts a second, each in a transaction of its own.
fn bare_inserts(database: &mut Connection) -> f64 {
    let sql = "INSERT INTO weighings VALUES (?1, ?2, ?3, 'weigh-in', 198446662, 198446662, 0, 0, '7 oz', ?4, ?5, NULL, NULL)";
    let (shop, partner, lot) = (new_id(), new_id(), new_id());
    let started = Instant::now();
    let mut count = 0;
    while started.elapsed() < LONG {
        let at = Timestamp::now().to_string();
        let mut statement = database.prepare_cached(sql).unwrap();
        statement.execute(rusqlite::params![new_id(), shop, lot, partner, at]).unwrap();
        count += 1;
    }
    f64::from(count) / started.elapsed().as_secs_f64()
}
