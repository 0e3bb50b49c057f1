//! HTTPS: the real program with a certificate made for the shop, asked by clients that trust the shop's root and by
//! clients that do not. What is in the certificates is read by OpenSSL.

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;

use jiff::Timestamp;
use pennyweight::secret::Code;
use pennyweight::store::codes::Purpose;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{CertificateError, ClientConfig, ClientConnection, RootCertStore, StreamOwned};

use crate::common::TestShop;

/// The program while it serves; asked to stop when it goes, and then it has to end well.
struct Served {
    child: Child,
    /// What stood in the terminal.
    said: String,
}

impl Served {
    fn start(data: &Path, options: &[&str]) -> Served {
        let mut child = program(data, options)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program runs");
        let mut said = String::new();
        let mut output = BufReader::new(child.stdout.take().expect("its output"));
        while !said.contains("Ctrl-C") {
            assert!(output.read_line(&mut said).expect("text") > 0, "it ended: {said}");
        }
        Served { child, said }
    }

    /// On the loopback interface, by a certificate of the shop's own.
    fn with_own(data: &Path, more: &[&str]) -> Served {
        let mut options =
            vec!["--listen", "127.0.0.1:0", "--https", "--https-listen", "127.0.0.1:0", "--no-mdns"];
        options.extend(more);
        Served::start(data, &options)
    }

    /// The first address of this scheme in the terminal, on the loopback interface.
    fn at(&self, scheme: &str) -> SocketAddr {
        let (_, address) = self.said.split_once(&format!("{scheme}://")).expect("an address");
        let port = address.split(['/', '\n', ',']).next().and_then(|address| address.rsplit(':').next());
        format!("127.0.0.1:{}", port.expect("a port")).parse().expect("an address")
    }

    /// Asks by HTTPS, trusting these roots and nothing else.
    fn ask(&self, roots: &RootCertStore, name: &str, request: &str) -> Result<Answer, rustls::Error> {
        asked(self.at("https"), roots, name, request)
    }

    fn get(&self, roots: &RootCertStore, name: &str, path: &str) -> Answer {
        let request = format!("GET {path} HTTP/1.1\r\nHost: {name}\r\nConnection: close\r\n\r\n");
        self.ask(roots, name, &request).expect("it is trusted")
    }

    /// Asks the plain port.
    fn get_plain(&self, host: &str, path: &str) -> Answer {
        plain(self.at("http"), host, path)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let stop = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        let ended = self.child.wait();
        if !std::thread::panicking() {
            assert!(stop.expect("kill runs").success() && ended.expect("it ends").success());
        }
    }
}

fn program(data: &Path, options: &[&str]) -> Command {
    let mut program = Command::new(env!("CARGO_BIN_EXE_pennyweight"));
    program.arg("serve").args(options).arg("--data").arg(data).env_remove("DATABASE_URL");
    program
}

/// An answer of HTTP/1.1.
#[derive(Debug)]
struct Answer {
    status: u16,
    headers: Vec<(String, String)>,
    body: Vec<u8>,
}

impl Answer {
    fn read(mut stream: impl Read) -> Answer {
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).expect("an answer to its end");
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").expect("the end of the head");
        let head = String::from_utf8(bytes[..end].to_vec()).expect("text");
        let mut lines = head.lines();
        let status = lines.next().and_then(|line| line.split(' ').nth(1)?.parse().ok()).expect("a status");
        let headers = lines.filter_map(|line| line.split_once(": "));
        let headers = headers.map(|(name, value)| (name.to_ascii_lowercase(), value.to_string())).collect();
        Answer { status, headers, body: bytes[end + 4..].to_vec() }
    }

    fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.headers.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    fn header(&self, name: &str) -> &str {
        self.headers.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value)
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
}

fn plain(at: SocketAddr, host: &str, path: &str) -> Answer {
    let mut stream = TcpStream::connect(at).expect("it listens");
    let request = format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).expect("it is asked");
    Answer::read(stream)
}

fn asked(at: SocketAddr, roots: &RootCertStore, name: &str, request: &str) -> Result<Answer, rustls::Error> {
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let client = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_root_certificates(roots.clone())
        .with_no_client_auth();
    let name = ServerName::try_from(name.to_string()).expect("a name");
    let tcp = TcpStream::connect(at).expect("it listens");
    let mut stream = StreamOwned::new(ClientConnection::new(Arc::new(client), name)?, tcp);
    match stream.write_all(request.as_bytes()) {
        Ok(()) => Ok(Answer::read(stream)),
        Err(error) if error.kind() == ErrorKind::InvalidData => {
            let refused = error.into_inner().and_then(|inner| inner.downcast::<rustls::Error>().ok());
            Err(*refused.expect("what TLS refused"))
        }
        Err(error) => panic!("{error}"),
    }
}

fn trusting(path: &Path) -> RootCertStore {
    let mut roots = RootCertStore::empty();
    roots.add(CertificateDer::from_pem_file(path).expect("a certificate")).expect("a root");
    roots
}

fn openssl(args: &[&str], folder: &Path) -> Output {
    Command::new("openssl")
        .args(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("openssl runs")
}

fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

fn mode(path: &Path) -> u32 {
    std::fs::metadata(path).expect("it is there").permissions().mode() & 0o777
}

#[test]
fn who_trusts_the_shops_root_is_served_and_who_does_not_refuses() {
    let (data, other) = (folder(), folder());
    let shop = Served::with_own(data.path(), &["--host", "shopbox.local"]);
    let tls = data.path().join("tls");
    let roots = trusting(&tls.join("root.pem"));
    for name in ["127.0.0.1", "localhost", "shopbox.local"] {
        let answer = shop.get(&roots, name, "/healthz");
        assert_eq!((answer.status, answer.text().as_str()), (200, "ok\n"), "{name}");
        let answer = shop.get(&roots, name, "/sign-in");
        assert_eq!((answer.status, answer.header("location")), (303, "/shop/new"), "{name}");
        // RFC 6797 would keep phones away from the page on how to trust the certificate.
        assert_eq!(answer.header("strict-transport-security"), "");
    }
    let request = "GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
    let refused = |roots: &RootCertStore, name: &str| shop.ask(roots, name, request).expect_err("no trust");
    let stranger = Served::with_own(other.path(), &[]);
    for roots in [RootCertStore::empty(), trusting(&other.path().join("tls/root.pem"))] {
        let why = refused(&roots, "127.0.0.1");
        assert_eq!(why, rustls::Error::InvalidCertificate(CertificateError::UnknownIssuer));
    }
    drop(stranger);
    let why = refused(&roots, "another.local");
    assert!(
        matches!(
            why,
            rustls::Error::InvalidCertificate(
                CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. }
            )
        ),
        "{why:?}"
    );

    // The same by a client that shares no code with the server.
    let at = shop.at("https").to_string();
    let connect = ["s_client", "-verify_return_error", "-verify_ip", "127.0.0.1", "-connect", &at];
    let trusted = openssl(&[&connect[..], &["-CAfile", "root.pem"]].concat(), &tls);
    assert!(trusted.status.success() && said(&trusted).contains("Verification: OK"), "{}", said(&trusted));
    let doubted = openssl(&[&connect[..], &["-no-CAfile", "-no-CApath", "-no-CAstore"]].concat(), &tls);
    assert!(!doubted.status.success(), "{}", said(&doubted));
}

#[test]
fn the_certificate_holds_the_names_and_its_keys_are_only_the_programs() {
    let data = folder();
    let shop = Served::with_own(data.path(), &["--host", "ShopBox.local", "--host", "10.1.2.3"]);
    let tls = data.path().join("tls");
    assert_eq!(mode(&tls), 0o700);
    for key in ["root-key.pem", "leaf-key.pem"] {
        assert_eq!(mode(&tls.join(key)), 0o600, "{key}");
    }
    let leaf = said(&openssl(&["x509", "-in", "leaf.pem", "-noout", "-text"], &tls));
    for part in [
        "DNS:localhost",
        "DNS:shopbox.local",
        "IP Address:127.0.0.1",
        "IP Address:10.1.2.3",
        "IP Address:0:0:0:0:0:0:0:1",
        "CA:FALSE",
        "TLS Web Server Authentication",
        "ecdsa-with-SHA256",
    ] {
        assert!(leaf.contains(part), "{part}: {leaf}");
    }
    for name in
        [["-verify_hostname", "shopbox.local"], ["-verify_hostname", "localhost"], ["-verify_ip", "::1"]]
    {
        let args = [
            &["verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", "root.pem"],
            &name[..],
            &["leaf.pem"],
        ];
        let verified = openssl(&args.concat(), &tls);
        assert!(verified.status.success(), "{}", said(&verified));
    }
    let root = said(&openssl(&["x509", "-in", "root.pem", "-noout", "-text"], &tls));
    assert!(root.contains("CA:TRUE, pathlen:0") && root.contains("Certificate Sign"), "{root}");

    // "-checkend": whether it will have ended within so many seconds. 397 days and ten years at the most.
    let ends_within = |file: &str, days: u64| {
        let seconds = (days * 86_400).to_string();
        !openssl(&["x509", "-in", file, "-noout", "-checkend", &seconds], &tls).status.success()
    };
    assert!(ends_within("leaf.pem", 397) && !ends_within("leaf.pem", 390));
    assert!(ends_within("root.pem", 3653) && !ends_within("root.pem", 3640));

    // The same fingerprint in the terminal, on the page, and as OpenSSL counts it.
    let fingerprint = said(&openssl(&["x509", "-in", "root.pem", "-noout", "-fingerprint", "-sha256"], &tls));
    let fingerprint = fingerprint.trim().split_once('=').expect("a fingerprint").1.to_string();
    let terminal: String = shop.said.split_whitespace().collect();
    assert!(terminal.contains(&fingerprint), "{fingerprint}: {}", shop.said);
    let roots = trusting(&tls.join("root.pem"));
    for page in [shop.get_plain("127.0.0.1", "/certificate"), shop.get(&roots, "127.0.0.1", "/certificate")] {
        assert_eq!(page.status, 200);
        assert!(page.text().contains(&fingerprint), "{}", page.text());
    }
}

#[test]
fn the_plain_port_gives_the_root_and_leads_to_https() {
    let data = folder();
    let shop = Served::with_own(data.path(), &["--host", "shopbox.local"]);
    let secure = shop.at("https").port();
    for (host, path) in
        [("127.0.0.1", "/"), ("shopbox.local:8080", "/lots?find=%22&x=1"), ("[::1]:80", "/sign-in")]
    {
        let answer = shop.get_plain(host, path);
        let name = host.rsplit_once(':').filter(|_| host != "[::1]").map_or(host, |(name, _)| name);
        // Only for now: a browser keeps 301 and 308 for good (RFC 9110, 15.4).
        assert_eq!(
            (answer.status, answer.header("location")),
            (307, &*format!("https://{name}:{secure}{path}"))
        );
        assert_eq!(answer.header("strict-transport-security"), "");
        assert_eq!(answer.header("set-cookie"), "");
    }
    let elsewhere = shop.get_plain("evil.example", "/");
    assert_eq!((elsewhere.status, elsewhere.header("location")), (421, ""));
    assert_eq!(shop.get_plain("127.0.0.1", "/healthz").text(), "ok\n");

    let page = shop.get_plain("127.0.0.1", "/certificate").text();
    let stylesheet = page.split('"').find(|part| part.ends_with(".css")).expect("a stylesheet").to_string();
    assert_eq!(shop.get_plain("127.0.0.1", &stylesheet).header("content-type"), "text/css; charset=utf-8");
    assert!(page.contains("href=\"/certificate.crt\""), "{page}");
    let root = shop.get_plain("127.0.0.1", "/certificate.crt");
    assert_eq!(root.header("content-type"), "application/x-x509-ca-cert");
    assert!(root.header("content-disposition").starts_with("attachment;"));
    let kept = CertificateDer::from_pem_file(data.path().join("tls/root.pem")).expect("the root");
    assert_eq!(root.body, kept.as_ref());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_cookie_goes_no_way_but_https() {
    let data = folder();
    let record = TestShop::in_folder(data.path()).await;
    let code = Code::random();
    let whose = Some((record.id.as_str(), record.partners[0].id.as_str()));
    let (now, lasts) = (Timestamp::now(), Purpose::Join.lasts());
    record.store.make_code(&code.hash(), Purpose::Join, whose, now, lasts).await.expect("a code");
    record.close().await;

    let shop = Served::with_own(data.path(), &[]);
    let roots = trusting(&data.path().join("tls/root.pem"));
    let at = shop.at("https");
    let passphrase = "seven+copper+kettles+humming";
    let body = format!("code={code}&passphrase={passphrase}&passphrase_again={passphrase}");
    let request = format!(
        "POST /join HTTP/1.1\r\nHost: {at}\r\nOrigin: https://{at}\r\nSec-Fetch-Site: same-origin\r\nConnection: close\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let answer = shop.ask(&roots, "127.0.0.1", &request).expect("it is trusted");
    assert_eq!((answer.status, answer.header("location")), (303, "/"), "{}", answer.text());
    let cookies: Vec<&str> = answer.all("set-cookie").collect();
    assert!(cookies.iter().all(|cookie| cookie.split("; ").any(|part| part == "Secure")), "{cookies:?}");
    // "__Host-": Secure, Path=/ and no Domain (RFC 6265bis, 4.1.3.2), or browsers take none of it.
    let session = cookies.iter().find(|cookie| cookie.starts_with("__Host-session=")).expect("the session");
    let parts: Vec<&str> = session.split("; ").collect();
    assert!(
        parts.contains(&"Path=/") && parts.contains(&"HttpOnly") && !session.contains("Domain"),
        "{session}"
    );
    assert!(cookies.iter().any(|cookie| cookie.starts_with("session=; Max-Age=0;")), "{cookies:?}");

    let today = |cookie: &str| {
        let head = format!("GET / HTTP/1.1\r\nHost: {at}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n");
        shop.ask(&roots, "127.0.0.1", &head).expect("it is trusted")
    };
    assert_eq!(today(parts[0]).status, 200);
    let in_the_clear = parts[0].replace("__Host-session=", "session=");
    assert_eq!(today(&in_the_clear).header("location"), "/sign-in");
}

#[test]
fn a_restart_keeps_the_root_and_another_name_makes_another_leaf() {
    let data = folder();
    let tls = data.path().join("tls");
    let files = || {
        ["root.pem", "root-key.pem", "leaf.pem", "leaf-key.pem"]
            .map(|file| std::fs::read(tls.join(file)).expect("a file"))
    };
    drop(Served::with_own(data.path(), &[]));
    let first = files();
    drop(Served::with_own(data.path(), &[]));
    assert_eq!(files(), first, "nothing changed, so phones see the same");
    let shop = Served::with_own(data.path(), &["--host", "backroom.local"]);
    let second = files();
    assert_eq!(second[..2], first[..2], "the root stays");
    assert!(second[2] != first[2] && second[3] != first[3], "the leaf is another one");
    assert_eq!(shop.get(&trusting(&tls.join("root.pem")), "backroom.local", "/healthz").text(), "ok\n");
}

/// A certificate with its key that OpenSSL made, for `localhost` and 127.0.0.1.
fn made_elsewhere(folder: &Path, name: &str) -> [PathBuf; 2] {
    let [certificate, key] = [format!("{name}.pem"), format!("{name}-key.pem")];
    let made = openssl(
        &[
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
            "-nodes",
            "-days",
            "30",
            "-subj",
            "/CN=localhost",
            "-addext",
            "subjectAltName=DNS:localhost,IP:127.0.0.1",
            "-addext",
            "basicConstraints=critical,CA:FALSE",
            "-out",
            &certificate,
            "-keyout",
            &key,
        ],
        folder,
    );
    assert!(made.status.success(), "{}", said(&made));
    [folder.join(certificate), folder.join(key)]
}

fn path(path: &Path) -> &str {
    path.to_str().expect("a path in letters")
}

#[test]
fn a_certificate_from_elsewhere_is_served() {
    let (data, elsewhere) = (folder(), folder());
    let [certificate, key] = made_elsewhere(elsewhere.path(), "shop");
    // Nothing that names the plain port stands in the terminal.
    let free = TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a port");
    let listen = free.to_string();
    let options = ["--listen", &listen, "--https-listen", "127.0.0.1:0", "--no-mdns"];
    let options = [&options[..], &["--cert", path(&certificate), "--key", path(&key)]].concat();
    let shop = Served::start(data.path(), &options);
    let roots = trusting(&certificate);
    assert_eq!(shop.get(&roots, "localhost", "/healthz").text(), "ok\n");
    assert_eq!(shop.get(&roots, "localhost", "/certificate").status, 404);
    assert_eq!(plain(free, "localhost", "/certificate").status, 307);
    assert!(!data.path().join("tls").exists(), "none is made where one is given");
}

#[test]
fn files_that_are_no_certificate_are_named() {
    let (data, elsewhere) = (folder(), folder());
    let [certificate, key] = made_elsewhere(elsewhere.path(), "shop");
    let [_, other_key] = made_elsewhere(elsewhere.path(), "other");
    let written = |name: &str, text: &str| {
        let path = elsewhere.path().join(name);
        std::fs::write(&path, text).expect("a file");
        path
    };
    let garbled = "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n";
    let garbled = written("garbled.pem", garbled);
    let words = written("words.pem", "this is not it\n");
    let missing = elsewhere.path().join("missing.pem");
    for (certificate, key, reason) in [
        (&missing, &key, "missing.pem: No such file or directory"),
        (&certificate, &missing, "missing.pem: No such file or directory"),
        (&words, &key, "words.pem holds no certificate in PEM form"),
        (&key, &key, "shop-key.pem holds no certificate in PEM form"),
        (&certificate, &words, "words.pem holds no key in PEM form"),
        (&certificate, &certificate, "shop.pem holds no key in PEM form"),
        (&certificate, &other_key, "other-key.pem is not that of the certificate in"),
        (&garbled, &key, "garbled.pem cannot be served with"),
    ] {
        let options = ["--listen", "127.0.0.1:0", "--https-listen", "127.0.0.1:0", "--no-mdns"];
        let options = [&options[..], &["--cert", path(certificate), "--key", path(key)]].concat();
        let ended = program(data.path(), &options).output().expect("it runs");
        assert!(!ended.status.success());
        let words = said(&ended);
        let errors: Vec<&str> = words.lines().filter(|line| line.starts_with("pennyweight: ")).collect();
        assert!(
            errors.len() == 1 && errors[0].contains("no HTTPS: ") && errors[0].contains(reason),
            "{reason}: {words}"
        );
        assert!(!words.contains("panicked") && ended.stdout.is_empty(), "{words}");
    }
    let alone = program(data.path(), &["--cert", path(&certificate)]).output().expect("it runs");
    assert!(!alone.status.success() && said(&alone).contains("--key"), "{}", said(&alone));
    let plain = ["--listen", "127.0.0.1:0", "--https", "--url", "http://shop.example"];
    let plain = program(data.path(), &plain).output().expect("it runs");
    assert!(
        !plain.status.success() && said(&plain).contains("--url has to begin with https://"),
        "{}",
        said(&plain)
    );
}

/// Whether anybody on the wifi hears it depends on the network; the shop opens in any case.
#[test]
fn the_name_that_the_wifi_is_told_is_known_and_certified() {
    let data = folder();
    let options = ["--https", "--listen", "0.0.0.0:0", "--https-listen", "0.0.0.0:0", "--name", "Test-Shelf"];
    let shop = Served::start(data.path(), &options);
    let roots = trusting(&data.path().join("tls/root.pem"));
    let answer = shop.get(&roots, "test-shelf.local", "/sign-in");
    assert_eq!((answer.status, answer.header("location")), (303, "/shop/new"));
    drop(shop);

    let shop = Served::start(data.path(), &[&options[..], &["--no-mdns"]].concat());
    let leaf = said(&openssl(&["x509", "-in", "tls/leaf.pem", "-noout", "-text"], data.path()));
    assert!(!leaf.contains("test-shelf.local"), "{leaf}");
    assert_eq!(shop.get_plain("test-shelf.local", "/").status, 421);
    drop(shop);
    for bad in ["shop.local", "a b", ""] {
        let ended = program(data.path(), &["--name", bad]).output().expect("it runs");
        assert!(
            !ended.status.success() && said(&ended).contains("letters, digits and hyphens"),
            "{bad}: {}",
            said(&ended)
        );
    }
}
