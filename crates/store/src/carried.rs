//! The carried form: everything a record holds as plain files, in a folder or inside a locked backup.
//!
//! ```text
//! attachments/ab/ab…     one file a photo, named after its SHA-256
//! attachments.jsonl      one line a photo: name, size, what it is
//! logbook.jsonl          every entry, byte for byte, in the sequence they were kept
//! knowledge/…            the shop's own knowledge, where it has any
//! manifest.json          counts, sizes, hashes, what was left out; written last, so a folder without it is unfinished
//! ```
//!
//! A backup is the same files as a tar archive, locked by [`crate::locked`]: leaving the shop, coming back and proving a
//! backup walk one and the same way.
//!
//! Modules in reading order: `manifest` (what there is and what came of it), `sound` (lines that are as they were
//! sealed), `sinks` (where files go), `writing`, `reading` (checking, without keeping anything), `taking`.

pub(crate) mod manifest;
mod reading;
pub(crate) mod sinks;
pub(crate) mod sound;
mod taking;
mod writing;

use std::path::PathBuf;

use thiserror::Error;

use crate::failure::{AppendError, AttachmentError, FailureClass, ReadError};
use crate::locked::{LockedError, Passphrase};

pub use manifest::{Gap, LeftOut, Manifest, Part};
pub use reading::{Checked, check};
pub(crate) use taking::sniffed;
pub use taking::{TakenIn, take_in};
pub use writing::{Beside, Watch, back_up, export};

/// The name of the file that lists what is there.
pub const MANIFEST: &str = "manifest.json";
/// The name of the file with the entries.
pub const LOGBOOK: &str = "logbook.jsonl";
/// The name of the file that lists the photos.
const PHOTOS: &str = "attachments.jsonl";
/// What the names of the shop's own knowledge files begin with.
const OWN: &str = "knowledge/";

/// Where a carried record lies.
#[derive(Debug, Clone)]
pub enum Source {
    /// In a folder that [`export`] wrote.
    Folder(PathBuf),
    /// Lines alone, in one file.
    Lines(PathBuf),
    /// In a backup that [`back_up`] wrote.
    Locked {
        /// The file.
        file: PathBuf,
        /// What opens it.
        passphrase: Passphrase,
    },
}

impl Source {
    /// Gives the path.
    #[must_use]
    pub fn path(&self) -> &PathBuf {
        match self {
            Self::Folder(path) | Self::Lines(path) | Self::Locked { file: path, .. } => path,
        }
    }
}

/// Why a record is not carried.
#[derive(Debug, Error)]
pub enum CarriedError {
    /// The backup does not open.
    #[error("{0}")]
    Locked(#[from] LockedError),
    /// The folder has no manifest.
    #[error(
        "there is no `{MANIFEST}` in it, so it is no exported record or the export was cut short; export it again, or take in its `{LOGBOOK}` alone"
    )]
    Unfinished,
    /// A newer build wrote it.
    #[error("its form is {found} and this build knows {known}; update witnessmark")]
    Newer {
        /// The form found.
        found: u64,
        /// The newest one known.
        known: u64,
    },
    /// A line of the logbook is not as it was sealed.
    #[error("{file}, {why}; nothing was taken in")]
    Line {
        /// The file.
        file: String,
        /// Which line, what is wrong with it, and the next move.
        why: String,
    },
    /// A file is not the one that the manifest names.
    #[error("{file}: {why}; nothing was taken in")]
    Part {
        /// The file, by its name within the record.
        file: String,
        /// What is wrong with it, and the next move.
        why: String,
    },
    /// Something is at the target already.
    #[error("{target} is there already{what}; choose a name that is free")]
    Taken {
        /// The target.
        target: PathBuf,
        /// What it holds.
        what: &'static str,
    },
    /// The record cannot be read.
    #[error("{0}")]
    Read(#[from] ReadError),
    /// An entry was not kept.
    #[error("{error}{already}")]
    Append {
        /// Why.
        error: AppendError,
        /// What is kept all the same.
        already: String,
    },
    /// A photo was not kept.
    #[error("{0}; what was taken in before it is kept, take it in again and the rest follows")]
    Attachment(#[from] AttachmentError),
    /// What came back is not what went out.
    #[error("what was kept has the state hash {found} and what was carried has {carried}; run `witnessmark verify`")]
    NotTheSame {
        /// The hash of the record.
        found: String,
        /// The hash in the manifest.
        carried: String,
    },
    /// The system failed.
    #[error("{}: {why}; check the disk, its room and the path", path.display())]
    System {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
}

/// What kind of failure it is, for the doors: what is carried is not as it was written, or one of the store's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CarriedClass {
    /// A check found a problem in what is carried.
    NotAsWritten,
    /// The store's own classes.
    Store(FailureClass),
}

impl CarriedError {
    /// Gives the class.
    #[must_use]
    pub fn class(&self) -> CarriedClass {
        match self {
            Self::Locked(LockedError::Passphrase | LockedError::NotOurs | LockedError::Newer { .. })
            | Self::Newer { .. } => CarriedClass::Store(FailureClass::Refused),
            Self::Locked(LockedError::Head | LockedError::Cut { .. } | LockedError::Changed { .. })
            | Self::Unfinished
            | Self::Line { .. }
            | Self::Part { .. }
            | Self::NotTheSame { .. } => CarriedClass::NotAsWritten,
            Self::Taken { .. } => CarriedClass::Store(FailureClass::Conflict),
            Self::Read(error) => CarriedClass::Store(error.class()),
            Self::Append { error, .. } => CarriedClass::Store(error.class()),
            Self::Attachment(error) => CarriedClass::Store(error.class()),
            Self::System { why, .. } if why.kind() == std::io::ErrorKind::NotFound => {
                CarriedClass::Store(FailureClass::NotFound)
            }
            Self::System { .. } => CarriedClass::Store(FailureClass::Storage),
        }
    }
}

/// Counts in the width that manifests use.
pub(crate) fn count(len: usize) -> u64 {
    u64::try_from(len).unwrap_or(u64::MAX)
}

/// Runs file work where it holds up nobody.
pub(crate) async fn in_background<T: Send + 'static>(
    path: &std::path::Path,
    work: impl FnOnce() -> std::io::Result<T> + Send + 'static,
) -> Result<T, CarriedError> {
    let system = |why| CarriedError::System { path: path.to_owned(), why };
    tokio::task::spawn_blocking(work).await.map_err(|error| system(std::io::Error::other(error)))?.map_err(system)
}
