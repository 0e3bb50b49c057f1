//! Reading an uploaded file in a process of its own: a price sheet, or a photo that is made ready to be kept.
//!
//! A file of a few kilobytes can make the readers of its format take gigabytes, spin or abort, and an abort cannot be
//! caught. So this program starts itself once more for each file, as `pennyweight read-sheet`: the child bounds its
//! memory and time by the operating system, reads, and answers in JSON. If it dies, that is one more answer.

use std::io::{self, BufRead, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{ExitCode, Stdio};
use std::sync::LazyLock;
use std::time::Duration;

use intake::photo::{NoPhoto, Shrunk};
use intake::{Format, Hints, Sheet, Unreadable};
use jiff::civil::Date;
use rlimit::{Resource, setrlimit};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::process::Command;
use tokio::sync::Semaphore;
use tokio::time::timeout;
use tracing::warn;

/// The subcommand that the child is started with.
pub const SUBCOMMAND: &str = "read-sheet";

/// What a child may take.
struct Bounds {
    /// The most memory it may map, in bytes.
    memory: u64,
    /// The most processor time it may use, in seconds; the recogniser, which it starts, may use as much again.
    cpu: u64,
    /// How long the parent waits for it, with the wait for its turn.
    wait: Duration,
    /// Children of this sort at work at the same time, so that several uploads stay within the memory of a small box.
    turns: &'static Semaphore,
}

static SHEET: Bounds =
    Bounds { memory: 256 * 1024 * 1024, cpu: 10, wait: Duration::from_secs(15), turns: &SHEETS_AT_ONCE };
/// The recogniser reads a page three times over, for some seconds each on a small box that has other things to do.
static PICTURE_OF_SHEET: Bounds = Bounds { cpu: 20, wait: Duration::from_secs(60), ..SHEET };
/// Pixels take more memory. Several phones send their photos at once, and one is made ready at a time.
static PHOTO: Bounds =
    Bounds { memory: 448 * 1024 * 1024, cpu: 10, wait: Duration::from_secs(40), turns: &ONE_PHOTO_AT_ONCE };

static SHEETS_AT_ONCE: Semaphore = Semaphore::const_new(2);
static ONE_PHOTO_AT_ONCE: Semaphore = Semaphore::const_new(1);

/// The longest answer it may give, in bytes: some 20,000 rows of ordinary length.
const LONGEST_ANSWER: u64 = 8 * 1024 * 1024;
/// The longest task, in bytes: a few settings.
const LONGEST_TASK: u64 = 64 * 1024;

/// The program that recognises text in pictures, where it is installed; looked for once.
pub static RECOGNISER: LazyLock<Option<PathBuf>> = LazyLock::new(|| {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).map(|folder| folder.join("tesseract")).find(|program| program.is_file())
});

/// The layouts that each cleaned picture is recognised with (`--psm`): a block of lines, and a column of any sizes.
const LAYOUTS: [&str; 3] = ["6", "6", "4"];

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

/// Why a photo is not kept. The text says what to do; nothing has been saved.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    #[error(transparent)]
    NoPhoto(#[from] NoPhoto),
    #[error(
        "The photo could not be made smaller within the limits of memory and time that a photo gets, so nothing was \
         saved. Take it at a smaller size, or send a screenshot of it."
    )]
    BeyondLimits,
    #[error(
        "The part of the program that reads photos could not be started ({0}), so nothing was saved. Look at the log \
         on the shop's box, then try again."
    )]
    NotStarted(io::Error),
}

/// What the child is asked, as the first line of its input; the bytes of the file follow.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Task {
    Sheet(SheetTask),
    Photo,
}

impl Task {
    fn bounds(&self) -> &'static Bounds {
        match self {
            Task::Sheet(SheetTask { recogniser: None, .. }) => &SHEET,
            Task::Sheet(SheetTask { recogniser: Some(_), .. }) => &PICTURE_OF_SHEET,
            Task::Photo => &PHOTO,
        }
    }
}

#[derive(Debug, Serialize, Deserialize)]
struct SheetTask {
    format: Format,
    outlet: Known,
    /// What pictures are recognised with: the child has no search path.
    recogniser: Option<PathBuf>,
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

/// How a photo's answer begins, as one line; the JPEG follows, and then the small one.
type PhotoAnswer = Result<PhotoHead, NoPhoto>;

#[derive(Debug, Serialize, Deserialize)]
struct PhotoHead {
    width: u32,
    height: u32,
    length: usize,
}

/// What became of a child that gave no answer.
enum Lost {
    BeyondLimits,
    NotStarted(io::Error),
}

impl From<Lost> for ReadError {
    fn from(lost: Lost) -> ReadError {
        match lost {
            Lost::BeyondLimits => ReadError::BeyondLimits,
            Lost::NotStarted(cause) => ReadError::NotStarted(cause),
        }
    }
}

impl From<Lost> for PhotoError {
    fn from(lost: Lost) -> PhotoError {
        match lost {
            Lost::BeyondLimits => PhotoError::BeyondLimits,
            Lost::NotStarted(cause) => PhotoError::NotStarted(cause),
        }
    }
}

/// Reads `bytes` in a child process of `program`, which is this same binary.
pub async fn read(program: &Path, format: Format, bytes: &[u8], hints: &Hints) -> Result<Sheet, ReadError> {
    sheet(program, format, Known::Hints(hints.clone()), bytes).await
}

/// Reads the sheet of an outlet that is not known.
pub async fn read_alone(
    program: &Path,
    format: Format,
    bytes: &[u8],
    today: Date,
) -> Result<Sheet, ReadError> {
    sheet(program, format, Known::Today(today), bytes).await
}

async fn sheet(program: &Path, format: Format, outlet: Known, bytes: &[u8]) -> Result<Sheet, ReadError> {
    let recogniser = RECOGNISER.clone().filter(|_| format == Format::Photo);
    let task = Task::Sheet(SheetTask { format, outlet, recogniser });
    let answer = in_child(program, &task, bytes).await?;
    Ok(understood::<Answer>(&answer, &task, bytes.len())??)
}

/// Makes a photo ready to be kept, in a child process of `program`.
pub async fn shrink(program: &Path, bytes: &[u8]) -> Result<Shrunk, PhotoError> {
    let task = Task::Photo;
    let mut answer = in_child(program, &task, bytes).await?;
    let end = answer.iter().position(|byte| *byte == b'\n').unwrap_or(answer.len());
    let PhotoHead { width, height, length } = understood::<PhotoAnswer>(&answer[..end], &task, bytes.len())??;
    let mut pictures = answer.split_off((end + 1).min(answer.len()));
    if length > pictures.len() {
        return Err(PhotoError::BeyondLimits);
    }
    let small = pictures.split_off(length);
    Ok(Shrunk { bytes: pictures, width, height, small })
}

fn understood<T: DeserializeOwned>(answer: &[u8], task: &Task, size: usize) -> Result<T, Lost> {
    serde_json::from_slice(answer).map_err(|error| {
        warn!(%error, ?task, size, "the reader's answer makes no sense");
        Lost::BeyondLimits
    })
}

/// What a child answers to a task about a file, if it comes to an answer within its bounds.
async fn in_child(program: &Path, task: &Task, bytes: &[u8]) -> Result<Vec<u8>, Lost> {
    let Bounds { wait, turns, .. } = task.bounds();
    let asked = async {
        let _turn = turns.acquire().await.map_err(|closed| Lost::NotStarted(io::Error::other(closed)))?;
        ask(program, task, bytes).await
    };
    match timeout(*wait, asked).await {
        Ok(answer) => answer,
        // The child is killed when its handle is dropped.
        Err(_) => {
            warn!(?task, size = bytes.len(), "the reader took too long and was stopped");
            Err(Lost::BeyondLimits)
        }
    }
}

async fn ask(program: &Path, task: &Task, bytes: &[u8]) -> Result<Vec<u8>, Lost> {
    let mut child = Command::new(program)
        .arg(SUBCOMMAND)
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .kill_on_drop(true)
        .spawn()
        .map_err(Lost::NotStarted)?;
    let missing = || Lost::NotStarted(io::Error::other("it has no pipes"));
    let mut stdin = child.stdin.take().ok_or_else(missing)?;
    let stdout = child.stdout.take().ok_or_else(missing)?;

    let mut first_line = serde_json::to_vec(task).map_err(|e| Lost::NotStarted(e.into()))?;
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
        warn!(?task, size = bytes.len(), "the reader's answer was too long");
        return Err(Lost::BeyondLimits);
    }
    let status = child.wait().await.map_err(Lost::NotStarted)?;
    if received.is_err() || !status.success() {
        warn!(%status, ?task, size = bytes.len(), "the reader died on a file");
        return Err(Lost::BeyondLimits);
    }
    Ok(answer)
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
    // The task comes before the file, which is only taken in once it is known what that may take.
    let mut input = io::stdin().lock();
    let mut first_line = Vec::new();
    input.by_ref().take(LONGEST_TASK).read_until(b'\n', &mut first_line)?;
    let task: Task = serde_json::from_slice(&first_line)?;
    let Bounds { memory, cpu, .. } = task.bounds();
    for (resource, most) in [(Resource::AS, *memory), (Resource::CPU, *cpu), (Resource::CORE, 0)] {
        setrlimit(resource, most, most)?;
    }
    let mut file = Vec::new();
    input.read_to_end(&mut file)?;
    let mut out = io::stdout().lock();
    match task {
        Task::Sheet(task) => {
            let answer: Answer = match (&task.recogniser, &task.outlet) {
                (Some(recogniser), outlet) => read_picture(recogniser, &file, outlet)?,
                (None, Known::Hints(hints)) => intake::read(task.format, &file, hints),
                (None, Known::Today(today)) => intake::read_alone(task.format, &file, *today),
            };
            serde_json::to_writer(&mut out, &answer)?;
        }
        Task::Photo => {
            let shrunk = intake::photo::shrink(&file);
            let head: PhotoAnswer = match &shrunk {
                Ok(Shrunk { bytes, width, height, .. }) => {
                    Ok(PhotoHead { width: *width, height: *height, length: bytes.len() })
                }
                Err(problem) => Err(problem.clone()),
            };
            serde_json::to_writer(&mut out, &head)?;
            out.write_all(b"\n")?;
            if let Ok(Shrunk { bytes, small, .. }) = shrunk {
                out.write_all(&bytes)?;
                out.write_all(&small)?;
            }
        }
    }
    out.flush()
}

/// Has each cleaned picture recognised, within this process's own limits, and puts the readings together.
fn read_picture(recogniser: &Path, file: &[u8], outlet: &Known) -> io::Result<Answer> {
    let pictures = match intake::photo::clean(file) {
        Ok(pictures) => pictures,
        Err(unreadable) => return Ok(Err(unreadable)),
    };
    let mut readings = intake::photo::Readings::default();
    for (picture, layout) in pictures.iter().zip(LAYOUTS) {
        readings.add(&recognise(recogniser, picture, layout)?);
    }
    Ok(Ok(match outlet {
        Known::Hints(hints) => readings.read(hints),
        Known::Today(today) => readings.read_alone(*today),
    }))
}

/// The table of words that the recogniser reads in one picture.
fn recognise(recogniser: &Path, picture: &[u8], layout: &str) -> io::Result<String> {
    let mut child = std::process::Command::new(recogniser)
        .args(["-", "-", "--psm", layout, "tsv"])
        // One thread: the child's bounds are for one, and several are slower on a small box.
        .env("OMP_THREAD_LIMIT", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()?;
    let mut stdin = child.stdin.take().ok_or(io::ErrorKind::BrokenPipe)?;
    // It reads the whole picture before it writes anything, so neither pipe can fill up against the other.
    stdin.write_all(picture)?;
    drop(stdin);
    let mut table = Vec::new();
    let mut stdout = child.stdout.take().ok_or(io::ErrorKind::BrokenPipe)?;
    stdout.by_ref().take(LONGEST_ANSWER).read_to_end(&mut table)?;
    drop(stdout);
    let status = child.wait()?;
    if !status.success() {
        return Err(io::Error::other(format!("the recogniser ended with {status}")));
    }
    Ok(String::from_utf8_lossy(&table).into_owned())
}
