//! Everything the program asks of its surroundings: environment, clock, chance, and the size of the terminal.

#![expect(clippy::disallowed_methods, reason = "this is the one module that asks environment and clock")]

use std::env;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use anatomy::{EntryId, IdError, JobId};
use jiff::Timestamp;

/// Width where nobody says how wide the paper is [common practice: the punched card and every terminal since].
const WIDTH_UNKNOWN: usize = 80;
/// Lines longer than this are hard to read, however wide the screen is \[ours\].
const WIDEST: usize = 110;
/// Narrower than this nothing can be laid out \[ours\].
const NARROWEST: usize = 40;

/// A variable that is set to something.
fn told(name: &str) -> Option<String> {
    env::var(name).ok().filter(|text| !text.is_empty())
}

/// The folder of the record when nobody names one.
pub(crate) fn default_store() -> PathBuf {
    let base = told("XDG_DATA_HOME").map(PathBuf::from).filter(|path| path.is_absolute());
    let base = base.or_else(|| env::home_dir().map(|home| home.join(".local").join("share")));
    base.unwrap_or_else(|| PathBuf::from(".")).join("witnessmark")
}

/// Whether colour is switched off by what surrounds us.
pub(crate) fn colour_off() -> bool {
    told("NO_COLOR").is_some() || env::var("TERM").is_ok_and(|term| term == "dumb")
}

/// Whether standard output is a terminal.
pub(crate) fn on_terminal() -> bool {
    console::Term::stdout().is_term()
}

/// How many characters fit in a line.
pub(crate) fn width() -> usize {
    let seen = console::Term::stdout().size_checked().map(|(_, columns)| usize::from(columns));
    let said = || told("COLUMNS").and_then(|text| text.parse::<usize>().ok());
    seen.or_else(said).unwrap_or(WIDTH_UNKNOWN).clamp(NARROWEST, WIDEST)
}

/// Who is working, when nobody says so.
pub(crate) fn person() -> String {
    told("WITNESSMARK_BY")
        .or_else(|| told("USER"))
        .or_else(|| told("USERNAME"))
        .unwrap_or_else(|| "technician".to_owned())
}

/// The day here.
pub(crate) fn today() -> jiff::civil::Date {
    jiff::ZonedDateTime::now().date()
}

/// The day that a paper is dated: when the same one was issued, else today, and never before what it tells.
pub(crate) fn day_of_issue(basis: &logbook::IssueBasis<'_>) -> jiff::civil::Date {
    basis.day(today(), day_of)
}

/// The day here at a moment.
pub(crate) fn day_of(at: Timestamp) -> jiff::civil::Date {
    at.to_zoned_datetime(jiff::tz::TimeZone::system()).date()
}

/// On which device.
pub(crate) fn device() -> String {
    told("WITNESSMARK_DEVICE").unwrap_or_else(|| "command line".to_owned())
}

/// A new entry id with its time.
pub(crate) fn new_entry() -> Result<(EntryId, Timestamp), IdError> {
    let id: EntryId = uuid::Uuid::now_v7().to_string().parse()?;
    let ms = i64::try_from(id.unix_ms()).unwrap_or(i64::MAX);
    Ok((id, Timestamp::from_millisecond(ms).unwrap_or(Timestamp::MAX)))
}

/// A new job id.
pub(crate) fn new_job() -> Result<JobId, IdError> {
    uuid::Uuid::now_v7().to_string().parse()
}

/// The moment now.
pub(crate) fn now() -> Timestamp {
    Timestamp::now()
}

/// Day and minute here at a moment.
pub(crate) fn minute_of(at: Timestamp) -> String {
    at.to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%Y-%m-%d %H:%M").to_string()
}

/// The passphrase of backups, where the surroundings tell it.
pub(crate) fn passphrase() -> Option<String> {
    told("WITNESSMARK_PASSPHRASE")
}

/// Whether somebody else on this machine may read a file.
#[cfg(unix)]
pub(crate) fn is_open_to_others(file: &std::path::Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    std::fs::metadata(file).is_ok_and(|there| there.is_file() && there.permissions().mode() & 0o077 != 0)
}

/// Says no: this system keeps its permissions elsewhere.
#[cfg(not(unix))]
pub(crate) fn is_open_to_others(_file: &std::path::Path) -> bool {
    false
}

/// A name that nobody has used before.
pub(crate) fn fresh_name() -> String {
    uuid::Uuid::now_v7().to_string()
}

/// Comes back when somebody presses Ctrl-C, or the system tells the program to end.
///
/// Listening begins with the call, not with the first look at what it gives. Where a signal cannot be listened for, the
/// system ends the program as it always did.
#[cfg(unix)]
pub(crate) fn told_to_stop() -> impl Future<Output = ()> + Send + 'static {
    use tokio::signal::unix::{SignalKind, signal};
    let heard = |kind: SignalKind| {
        let listening = signal(kind);
        async move {
            match listening {
                Ok(mut listening) => {
                    let _once = listening.recv().await;
                }
                Err(_) => std::future::pending::<()>().await,
            }
        }
    };
    let (interrupted, ended) = (heard(SignalKind::interrupt()), heard(SignalKind::terminate()));
    async move {
        tokio::select! {
            () = interrupted => {}
            () = ended => {}
        }
    }
}

/// Comes back when somebody presses Ctrl-C.
#[cfg(not(unix))]
pub(crate) fn told_to_stop() -> impl Future<Output = ()> + Send + 'static {
    async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}

/// A stopwatch, started now.
#[derive(Debug)]
pub(crate) struct Stopwatch(Instant);

impl Stopwatch {
    /// Starts one.
    pub(crate) fn start() -> Self {
        Self(Instant::now())
    }

    /// How long it has run.
    pub(crate) fn elapsed(&self) -> Duration {
        self.0.elapsed()
    }
}
