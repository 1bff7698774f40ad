//! What can go wrong at the door, and which exit code says so.

use store::carried::{CarriedClass, CarriedError};
use store::{AppendError, AttachmentError, FailureClass, OpenError, ReadError};
use workup::entering::{NotTaken, Rule};

/// The exit codes, one list for code, help and tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// It worked.
    Fine = 0,
    /// A check found a problem.
    Problem = 1,
    /// The command cannot be understood.
    Usage = 2,
    /// What was asked for is not there.
    NotFound = 3,
    /// A rule forbids it.
    Refused = 4,
    /// Somebody else was first, or two things disagree.
    Conflict = 5,
    /// The disk or the record on it failed.
    Storage = 6,
    /// The system does not allow it.
    NotAllowed = 7,
}

/// The list of exit codes as `--help` shows it.
pub(crate) const EXIT_HELP: &str = "\
Exit codes: 0 ok, 1 a check found a problem, 2 usage, 3 not found, 4 refused by a rule,
5 conflict, 6 storage, 7 not allowed, 130 interrupted.

JOB is the id of a job, a unique start of it, a word of its title that no other job has,
or (for workup, network and verify) the path of a logbook file; `-` reads standard input.";

/// Why a command did not do what was asked.
#[derive(Debug)]
pub(crate) enum Trouble {
    /// One line for standard error, with place and next move.
    Said {
        /// The exit code.
        exit: Exit,
        /// What could not be done, without `cannot`.
        doing: String,
        /// Why, with the next move.
        why: String,
    },
    /// Everything is said already; only the exit code is left.
    Silent(Exit),
    /// The reader of standard output went away; nobody wants to hear of it.
    NobodyReads,
}

/// What a command gives back.
pub(crate) type Done = Result<Exit, Trouble>;

impl Trouble {
    /// A trouble with its exit code, what could not be done, and why.
    pub(crate) fn new(exit: Exit, doing: impl Into<String>, why: impl ToString) -> Self {
        Self::Said { exit, doing: doing.into(), why: why.to_string() }
    }

    /// An entry that a rule refused, with the command that comes next.
    pub(crate) fn not_taken(doing: impl Into<String>, job: &str, why: &NotTaken) -> Self {
        let tell = |kind: &str, body: &str| format!("`witnessmark tell {job} {kind} '{body}'`");
        let next = match &why.rule {
            Rule::NoEngine => format!("; do that first, `witnessmark tell {job} engine-described …`"),
            Rule::Unknown if why.field == "check" => "; `witnessmark knowledge list check` has them all".to_owned(),
            Rule::Unknown if why.field == "gauge" => "; `witnessmark knowledge list gauge` has them all".to_owned(),
            Rule::OtherEngine => "; correct the engine if that is wrong".to_owned(),
            Rule::Stage => format!(
                "; a stage is told with {}, and what was done all the same is written down with `witnessmark note`",
                tell("stage-reached", r#"{"stage": "..."}"#)
            ),
            Rule::Withheld => "; if it was done all the same, write it down with `witnessmark note`".to_owned(),
            Rule::Asks(_) => "; type it so that one reading is left".to_owned(),
            Rule::Caution(id) => {
                format!(", with {}", tell("caution-ticked", &format!(r#"{{"caution": "{id}"}}"#)))
            }
            Rule::Ceiling => format!(
                "; ask for it and write it down, `witnessmark tell {job} approval-asked …` and `approval-given`"
            ),
            Rule::Asked if why.expected.contains("ask again") => format!(
                ": `witnessmark page {job} --ceiling AMOUNT --out FILE` makes a new page to send, `witnessmark answer` takes its answer"
            ),
            Rule::Asked => String::new(),
            Rule::Closed => format!(
                ": `witnessmark withdraw {job} ENTRY` takes the `job-closed` back,                  `witnessmark tell {job} comeback-opened …` says that the engine came back"
            ),
            Rule::Unknown
            | Rule::Place
            | Rule::Word
            | Rule::Value
            | Rule::Impossible
            | Rule::Body
            | Rule::NoEntry
            | Rule::Withdrawn
            | Rule::OwnWay => String::new(),
            Rule::Hold => format!(
                "; {} passes one open, {} leaves a stage out",
                tell("hold-point-passed-open", r#"{"stage": "...", "hold": "...", "by": "NAME", "reason": "..."}"#),
                tell("stage-left-out", r#"{"stage": "...", "by": "NAME", "reason": "..."}"#)
            ),
        };
        let exit = match &why.rule {
            Rule::Value | Rule::Asks(_) | Rule::Body => Exit::Usage,
            Rule::Word if why.field == "phase" => Exit::Usage,
            Rule::NoEntry => Exit::NotFound,
            Rule::NoEngine
            | Rule::Unknown
            | Rule::Place
            | Rule::Word
            | Rule::OtherEngine
            | Rule::Stage
            | Rule::Withheld
            | Rule::Impossible
            | Rule::Withdrawn
            | Rule::Caution(_)
            | Rule::Hold
            | Rule::Ceiling
            | Rule::Asked
            | Rule::Closed
            | Rule::OwnWay => Exit::Refused,
        };
        Self::new(exit, doing, format!("{why}{next}"))
    }

    /// A trouble of reading or writing a file.
    pub(crate) fn file(doing: impl Into<String>, error: &std::io::Error) -> Self {
        let (exit, next) = of_io(error);
        Self::new(exit, doing, format!("{error}; {next}"))
    }

    /// A record that was not carried out or in.
    pub(crate) fn carried(doing: impl Into<String>, error: &CarriedError) -> Self {
        if let CarriedError::System { path, why } = error {
            let (exit, next) = of_io(why);
            return Self::new(exit, doing, format!("{}: {why}; {next}", path.display()));
        }
        let exit = match error.class() {
            CarriedClass::NotAsWritten => Exit::Problem,
            CarriedClass::Store(of) => class(of),
        };
        Self::new(exit, doing, bare(&error.to_string()))
    }

    /// The exit code.
    pub(crate) fn exit(&self) -> Exit {
        match self {
            Self::Said { exit, .. } | Self::Silent(exit) => *exit,
            Self::NobodyReads => Exit::Fine,
        }
    }

    /// The one line for standard error.
    pub(crate) fn line(&self) -> Option<String> {
        match self {
            Self::Said { doing, why, .. } => {
                let why = why
                    .strip_prefix("cannot ")
                    .map_or_else(|| why.clone(), |rest| format!("it is not possible to {rest}"));
                let one_line: Vec<&str> = why.lines().map(str::trim).filter(|l| !l.is_empty()).collect();
                Some(format!("witnessmark: cannot {doing}: {}", one_line.join("; ")))
            }
            Self::Silent(_) | Self::NobodyReads => None,
        }
    }
}

/// The exit code and the next move of a failure of the system.
pub(crate) fn of_io(error: &std::io::Error) -> (Exit, &'static str) {
    use std::io::ErrorKind as Kind;
    let among = |kinds: &[Kind]| kinds.contains(&error.kind());
    if among(&[Kind::NotFound]) {
        (Exit::NotFound, "check the path")
    } else if among(&[Kind::PermissionDenied, Kind::ReadOnlyFilesystem]) {
        (Exit::NotAllowed, "look who may read and write there")
    } else if among(&[Kind::StorageFull, Kind::QuotaExceeded, Kind::FileTooLarge]) {
        (Exit::Storage, "free some room, or choose another place")
    } else if among(&[Kind::IsADirectory]) {
        (Exit::Usage, "name a file, not a folder")
    } else {
        (Exit::Storage, "check the disk and the path")
    }
}

fn class(class: FailureClass) -> Exit {
    match class {
        FailureClass::NotFound => Exit::NotFound,
        FailureClass::Refused => Exit::Refused,
        FailureClass::Conflict => Exit::Conflict,
        FailureClass::Storage => Exit::Storage,
    }
}

/// Takes the words `cannot …: ` off a message that brings its own.
fn bare(message: &str) -> String {
    match message.strip_prefix("cannot ").and_then(|rest| rest.split_once(": ")) {
        Some((_, why)) => why.to_owned(),
        None => message.to_owned(),
    }
}

impl From<OpenError> for Trouble {
    fn from(error: OpenError) -> Self {
        let message = error.to_string();
        let place = error.place().name();
        let not_allowed =
            matches!(&error, OpenError::Storage { why, .. } if why.to_lowercase().contains("permission denied"));
        let not_allowed = not_allowed || matches!(error, OpenError::NotAllowed { .. });
        let exit = if not_allowed { Exit::NotAllowed } else { class(error.class()) };
        let why = if matches!(error, OpenError::NothingThere { .. }) {
            "there is no record in it; open a job with `witnessmark new`, load the invented ones with `witnessmark demo`, \
             or name another place with --store"
                .to_owned()
        } else {
            bare(&message)
        };
        Self::new(exit, format!("open the store {place}"), why)
    }
}

impl From<AppendError> for Trouble {
    fn from(error: AppendError) -> Self {
        Self::new(class(error.class()), "keep it", error)
    }
}

impl From<ReadError> for Trouble {
    fn from(error: ReadError) -> Self {
        Self::new(class(error.class()), "read the record", bare(&error.to_string()))
    }
}

impl From<AttachmentError> for Trouble {
    fn from(error: AttachmentError) -> Self {
        Self::new(class(error.class()), "keep the picture", error)
    }
}

impl From<std::io::Error> for Trouble {
    /// Only writing to standard output comes this way; files use [`Trouble::file`].
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            Self::NobodyReads
        } else {
            Self::file("write the result", &error)
        }
    }
}

impl Trouble {
    /// The exit code of a refused append, for callers that say more themselves.
    pub(crate) fn from_append(error: &AppendError) -> Exit {
        class(error.class())
    }
}
