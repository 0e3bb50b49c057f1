//! A throw-away Postgres for one run of the tests: a server of its own in a temporary folder, reached by its unix
//! socket only, so that two runs at once cannot collide. It goes when this process goes, even by `kill -9`, because it
//! watches a pipe that this process holds open.

use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;

use pennyweight::store::{Place, Store};
use sqlx::{AnyConnection, Connection};
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{Mutex, OnceCell};

use super::set_up;

/// The databases that others are copied from: the schema and nothing in it, and one with the shop set up.
const SCHEMA_ONLY: &str = "schema_only";
const WITH_A_SHOP: &str = "with_a_shop";

/// Run as the user `postgres` where the tests run as root, whom Postgres refuses. `$1` is the folder of the binaries.
const SERVE: &str = r#"
set -eu
folder=$(mktemp -d "${TMPDIR:-/tmp}/pennyweight-postgres.XXXXXX")
trap 'rm -rf "$folder"' EXIT
cd "$folder"
"$1/initdb" --pgdata data --username postgres --auth trust --encoding UTF8 --locale C --no-sync >log 2>&1 || { cat log >&2; exit 1; }
"$1/postgres" -D data -k "$folder" -c listen_addresses= -c fsync=off -c synchronous_commit=off -c full_page_writes=off \
    -c max_connections=200 -c max_wal_size=256MB >log 2>&1 </dev/null &
server=$!
until "$1/pg_isready" --quiet --host "$folder"; do
    kill -0 "$server" 2>/dev/null || { cat log >&2; exit 1; }
    sleep 0.05
done
echo "$folder"
cat >/dev/null
kill -INT "$server"
wait "$server" || true
"#;

struct Server {
    socket_folder: PathBuf,
    /// One connection for all stories, and what serves it: each of them has a runtime of its own that ends with it.
    admin: Arc<Mutex<AnyConnection>>,
    runtime: Runtime,
    /// The shell around the server. Its standard input closes with this process, and that is what stops the server.
    _shell: Child,
}

static SERVER: OnceCell<Server> = OnceCell::const_new();

/// A fresh database with the schema in it and nothing else.
pub async fn fresh_database() -> TestDatabase {
    copy_of(SCHEMA_ONLY).await
}

/// A fresh database with the shop in it that every story begins with.
pub async fn database_with_a_shop() -> TestDatabase {
    copy_of(WITH_A_SHOP).await
}

async fn copy_of(template: &str) -> TestDatabase {
    let server = SERVER.get_or_init(start).await;
    let name = format!("story_{}", uuid::Uuid::now_v7().simple());
    // To copy the files takes half as long as to write every page to the log.
    server.administer(&format!("CREATE DATABASE {name} TEMPLATE {template} STRATEGY FILE_COPY")).await;
    TestDatabase { address: server.address(&name), name }
}

pub struct TestDatabase {
    pub address: String,
    name: String,
}

impl TestDatabase {
    /// Removes it, and the connections it still has.
    pub async fn drop(self) {
        let server = SERVER.get_or_init(start).await;
        server.administer(&format!("DROP DATABASE {} WITH (FORCE)", self.name)).await;
    }
}

impl Server {
    fn address(&self, database: &str) -> String {
        address(&self.socket_folder, database)
    }

    async fn administer(&self, sql: &str) {
        let (admin, sql) = (self.admin.clone(), sql.to_string());
        let done = self.runtime.spawn(async move {
            // The statements are made above out of names of our own.
            let statement = sqlx::raw_sql(sqlx::AssertSqlSafe(sql.as_str()));
            statement.execute(&mut *admin.lock().await).await.expect(&sql);
        });
        done.await.expect("it is done");
    }
}

fn address(socket_folder: &Path, database: &str) -> String {
    format!("postgres:///{database}?host={}&user=postgres", socket_folder.display())
}

async fn start() -> Server {
    let server = tokio::task::spawn_blocking(serve).await.expect("the throw-away Postgres starts");
    server.administer(&format!("CREATE DATABASE {SCHEMA_ONLY}")).await;
    let store = Store::open(&Place::Postgres(server.address(SCHEMA_ONLY))).await.expect("the schema is made");
    store.close().await;
    server.administer(&format!("CREATE DATABASE {WITH_A_SHOP} TEMPLATE {SCHEMA_ONLY}")).await;
    set_up::at(&Place::Postgres(server.address(WITH_A_SHOP))).await;
    server
}

fn serve() -> Server {
    let mut command = as_nobody_special();
    let mut shell = command
        .args(["sh", "-c", SERVE, "sh"])
        .arg(binaries())
        // A group of its own: Ctrl-C stops the tests, and their end stops the server and removes its folder.
        .process_group(0)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("a shell starts");
    let mut folder = String::new();
    BufReader::new(shell.stdout.take().expect("stdout is a pipe"))
        .read_line(&mut folder)
        .expect("the shell's answer is readable");
    let folder = folder.trim();
    assert!(!folder.is_empty(), "the throw-away Postgres did not start; its log stands above");
    sqlx::any::install_default_drivers();
    let runtime = Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime");
    let place = address(Path::new(folder), "postgres");
    let admin = runtime.block_on(AnyConnection::connect(&place)).expect("the throw-away Postgres answers");
    let admin = Arc::new(Mutex::new(admin));
    Server { socket_folder: folder.into(), admin, runtime, _shell: shell }
}

/// A command that runs the rest of its arguments as a user that Postgres does not refuse.
fn as_nobody_special() -> Command {
    if Path::new("/proc/self").metadata().is_ok_and(|me| std::os::unix::fs::MetadataExt::uid(&me) != 0) {
        return Command::new("env");
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid", "postgres", "--regid", "postgres", "--init-groups"]);
    command
}

/// The folder of `initdb` and `postgres`: in PATH, or where Debian puts them, newest first.
fn binaries() -> PathBuf {
    let in_path = std::env::var_os("PATH").unwrap_or_default();
    let mut folders: Vec<PathBuf> = std::env::split_paths(&in_path).collect();
    let mut debian: Vec<PathBuf> = std::fs::read_dir("/usr/lib/postgresql")
        .map(|versions| versions.flatten().map(|version| version.path().join("bin")).collect())
        .unwrap_or_default();
    debian.sort_by_key(|folder| {
        let version = folder.parent().and_then(|folder| folder.file_name()?.to_str()?.parse::<u32>().ok());
        std::cmp::Reverse(version)
    });
    folders.extend(debian);
    folders
        .into_iter()
        .find(|folder| ["initdb", "postgres", "pg_isready"].iter().all(|name| folder.join(name).is_file()))
        .expect(
            "these tests need Postgres, and initdb was found neither in PATH nor in /usr/lib/postgresql/*/bin. On \
             Debian: apt-get install postgresql",
        )
}
