//! Reading an uploaded file in a process of its own.
//!
//! A file of a few kilobytes can make the readers of its format take gigabytes, spin or abort, and an abort cannot be
//! caught. So this program starts itself once more for each file, as `pennyweight read-sheet`: the child bounds its
//! memory and time by the operating system, reads, and answers in JSON. If it dies, that is one more answer.

use std::io::{self, Read, Write};
use std::path::Path;
use std::process::{ExitCode, ExitStatus, Stdio};
use std::time::Duration;

use intake::{Format, Hints, Sheet, Unreadable};
use jiff::civil::Date;
use rlimit::{Resource, setrlimit};
use serde::{Deserialize, Serialize};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::process::Command;
use tokio::sync::Semaphore;
use tokio::time::timeout;
use tracing::warn;

/// The subcommand that the child is started with.
pub const SUBCOMMAND: &str = "read-sheet";

/// The most memory the child may map, in bytes.
const MOST_MEMORY: u64 = 400 * 1024 * 1024;
/// The most processor time it may use, in seconds.
const MOST_CPU_SECONDS: u64 = 10;
/// How long the parent waits for it, with the wait for its turn.
const LONGEST_WAIT: Duration = Duration::from_secs(15);
/// The longest answer it may give, in bytes: some 20,000 rows of ordinary length.
const LONGEST_ANSWER: u64 = 8 * 1024 * 1024;

/// Children at work at the same time, so that several uploads together stay within the memory of a small box.
static TURNS: Semaphore = Semaphore::const_new(2);

/// Why there is no sheet. The text says what to do; nothing has been saved.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    #[error(transparent)]
    Unreadable(#[from] Unreadable),
    #[error(
        "The file could not be read within the limits of memory and time that a price sheet gets, so reading was \
         stopped and nothing was saved. Save it as CSV and upload that, or copy its lines and paste them."
    )]
    BeyondLimits,
    #[error(
        "The part of the program that reads files could not be started ({0}), so nothing was saved. Look at the log \
         on the shop's box, then try again."
    )]
    NotStarted(io::Error),
}

/// What the child is asked, as the first line of its input; the bytes of the file follow.
#[derive(Debug, Serialize, Deserialize)]
struct Task {
    format: Format,
    outlet: Known,
}

/// What is known of the outlet whose sheet it is.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Known {
    Hints(Hints),
    /// Nothing but the day on which it is read.
    Today(Date),
}

type Answer = Result<Sheet, Unreadable>;

/// Reads `bytes` in a child process of `program`, which is this same binary.
pub async fn read(program: &Path, format: Format, bytes: &[u8], hints: &Hints) -> Result<Sheet, ReadError> {
    in_child(program, Task { format, outlet: Known::Hints(hints.clone()) }, bytes).await
}

/// Reads the sheet of an outlet that is not known.
pub async fn read_alone(program: &Path, format: Format, bytes: &[u8], today: Date) -> Result<Sheet, ReadError> {
    in_child(program, Task { format, outlet: Known::Today(today) }, bytes).await
}

async fn in_child(program: &Path, task: Task, bytes: &[u8]) -> Result<Sheet, ReadError> {
    match timeout(LONGEST_WAIT, ask(program, &task, bytes)).await {
        Ok(answer) => answer,
        // The child is killed when its handle is dropped.
        Err(_) => {
            warn!(format = ?task.format, size = bytes.len(), "the reader took too long and was stopped");
            Err(ReadError::BeyondLimits)
        }
    }
}

async fn ask(program: &Path, task: &Task, bytes: &[u8]) -> Result<Sheet, ReadError> {
    let _turn = TURNS.acquire().await.map_err(|closed| ReadError::NotStarted(io::Error::other(closed)))?;
    let mut child = Command::new(program)
        .arg(SUBCOMMAND)
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .kill_on_drop(true)
        .spawn()
        .map_err(ReadError::NotStarted)?;
    let missing = || ReadError::NotStarted(io::Error::other("it has no pipes"));
    let mut stdin = child.stdin.take().ok_or_else(missing)?;
    let stdout = child.stdout.take().ok_or_else(missing)?;

    let mut first_line = serde_json::to_vec(task).map_err(|e| ReadError::NotStarted(e.into()))?;
    first_line.push(b'\n');
    let send = async {
        // A child that died has closed its end of the pipe; what its status says counts, not the broken pipe.
        let _ = stdin.write_all(&first_line).await;
        let _ = stdin.write_all(bytes).await;
        drop(stdin);
    };
    let mut answer = Vec::new();
    let receive = async { stdout.take(LONGEST_ANSWER + 1).read_to_end(&mut answer).await };
    let ((), received) = tokio::join!(send, receive);
    if answer.len() as u64 > LONGEST_ANSWER {
        warn!(format = ?task.format, size = bytes.len(), "the reader's answer was too long");
        return Err(ReadError::BeyondLimits);
    }
    let status = child.wait().await.map_err(ReadError::NotStarted)?;
    understand(status, received.map(|_| answer), task, bytes.len())
}

fn understand(
    status: ExitStatus,
    answer: io::Result<Vec<u8>>,
    task: &Task,
    size: usize,
) -> Result<Sheet, ReadError> {
    let answer = answer.ok().filter(|_| status.success());
    match answer.and_then(|json| serde_json::from_slice::<Answer>(&json).ok()) {
        Some(answer) => Ok(answer?),
        None => {
            warn!(%status, format = ?task.format, size, "the reader died on a file");
            Err(ReadError::BeyondLimits)
        }
    }
}

/// What the child does: bounds itself, reads its task and the file from stdin, and answers on stdout.
pub fn run_child() -> ExitCode {
    match answer_stdin() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("pennyweight: this command is the program's own, for reading uploads: {error}");
            ExitCode::FAILURE
        }
    }
}

fn answer_stdin() -> io::Result<()> {
    for (resource, most) in
        [(Resource::AS, MOST_MEMORY), (Resource::CPU, MOST_CPU_SECONDS), (Resource::CORE, 0)]
    {
        setrlimit(resource, most, most)?;
    }
    let mut input = Vec::new();
    io::stdin().lock().read_to_end(&mut input)?;
    let end = input.iter().position(|byte| *byte == b'\n').ok_or(io::ErrorKind::UnexpectedEof)?;
    let task: Task = serde_json::from_slice(&input[..end])?;
    let file = &input[end + 1..];
    let answer: Answer = match &task.outlet {
        Known::Hints(hints) => intake::read(task.format, file, hints),
        Known::Today(today) => intake::read_alone(task.format, file, *today),
    };
    let mut out = io::stdout().lock();
    serde_json::to_writer(&mut out, &answer)?;
    out.flush()
}
