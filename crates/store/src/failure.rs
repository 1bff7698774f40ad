//! What can go wrong, one enum an operation, and which exit class each failure has.

use anatomy::{EntryId, JobId};
use thiserror::Error;

use crate::attachment::ContentId;
use crate::entry::LONGEST_LINE;
use crate::place::Place;

/// The exit class of a failure, for the doors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FailureClass {
    /// What was asked for is not there (exit code 3).
    NotFound,
    /// A rule forbids it (exit code 4).
    Refused,
    /// Somebody else was first, or two things disagree (exit code 5).
    Conflict,
    /// The disk or the record on it failed (exit code 6).
    Storage,
}

/// Why a record cannot be opened.
#[derive(Debug, Error)]
pub enum OpenError {
    /// Another process has the folder open.
    #[error("cannot open {place}: {holder} has it open; close that one, or give this one a folder of its own")]
    InUse {
        /// Where it lies.
        place: Place,
        /// Who holds it, as far as the lock file tells.
        holder: String,
    },
    /// The folder holds other things.
    #[error(
        "cannot open {place}: it is not empty and holds no witnessmark record; choose an empty folder, or one that witnessmark made"
    )]
    NotOurs {
        /// Where it lies.
        place: Place,
    },
    /// There is no record to look at.
    #[error("cannot read {place}: there is no record in it; check the path, or open it for writing to begin one")]
    NothingThere {
        /// Where it lies.
        place: Place,
    },
    /// A newer build wrote here.
    #[error(
        "cannot write to {place}: its {what} is {found} and this build knows {known}; update witnessmark, or open it to read and export only"
    )]
    Newer {
        /// Where it lies.
        place: Place,
        /// What is newer: `format` or `schema`.
        what: &'static str,
        /// The number found.
        found: i64,
        /// The newest number this build knows.
        known: i64,
    },
    /// The format file is not readable.
    #[error(
        "cannot open {place}: its file `format` reads `{found}`, expected `witnessmark-folder` and a number; restore it from the backup"
    )]
    FormatSpoiled {
        /// Where it lies.
        place: Place,
        /// The first line found.
        found: String,
    },
    /// The folder had a record and has none now.
    #[error(
        "cannot open {place}: attachments are there and the file `{file}` is not; put it back, or restore the folder from the backup"
    )]
    RecordMissing {
        /// Where it lies.
        place: Place,
        /// The missing file.
        file: &'static str,
    },
    /// The schema of the file is not what its number says.
    #[error(
        "cannot open {place}: its schema does not match the one this build made ({why}); restore it from the backup"
    )]
    SchemaAltered {
        /// Where it lies.
        place: Place,
        /// What was found.
        why: String,
    },
    /// The schema is older than this build's, or missing, and this role may not make it.
    #[error(
        "cannot open {place}: its schema is {found} and this build needs {known}, which only the record's owner can bring about; let the owner open it once for writing with this version, after every shop has closed"
    )]
    Behind {
        /// Where it lies.
        place: Place,
        /// The number found; 0 when there is none.
        found: i64,
        /// The number this build needs.
        known: i64,
    },
    /// The server is set so that what it calls committed can be lost.
    #[error(
        "cannot open {place}: the server runs with {setting} = {found}, so what it calls kept may be gone after a power cut; set {setting} = {wanted} in its configuration and start it again"
    )]
    NotDurable {
        /// Where it lies.
        place: Place,
        /// The setting.
        setting: &'static str,
        /// What it is set to.
        found: String,
        /// What it must be set to.
        wanted: &'static str,
    },
    /// The server does not answer.
    #[error("cannot open {place}: the server does not answer ({why}); look whether it runs, and check the address")]
    NoAnswer {
        /// Where it lies.
        place: Place,
        /// What the system said.
        why: String,
    },
    /// The server does not let this role in.
    #[error(
        "cannot open {place}: the server does not let you in ({why}); check the name, the password in .pgpass or PGPASSWORD, and the rights that the owner gave"
    )]
    NotAllowed {
        /// Where it lies.
        place: Place,
        /// What the server said.
        why: String,
    },
    /// The disk failed, or refused.
    #[error("cannot open {place}: {why}; check that the disk is there, has room, and that you may write to it")]
    Storage {
        /// Where it lies.
        place: Place,
        /// What the system or the engine said.
        why: String,
    },
}

/// Why entries were not kept. None of the entries of the call has been acknowledged.
#[derive(Debug, Error)]
pub enum AppendError {
    /// The id is taken by other bytes.
    #[error(
        "entry {id} is kept already with other content, at rank {rank}: nothing was changed; give the new entry an id of its own, or write a correcting entry"
    )]
    Conflict {
        /// The id.
        id: EntryId,
        /// Where the kept one stands.
        rank: u64,
    },
    /// The line does not continue its job's chain.
    #[error(
        "entry {id} does not continue job {job}: it names {named} as the hash before it and the job ends with {end}; read the job again and seal the entry anew"
    )]
    OutOfChain {
        /// The entry.
        id: EntryId,
        /// The job.
        job: JobId,
        /// What the line names.
        named: String,
        /// What the job ends with, or `nothing`.
        end: String,
    },
    /// The entry cannot be sealed.
    #[error("entry {id} cannot be sealed: {why}")]
    NotSealed {
        /// The entry.
        id: EntryId,
        /// What is wrong with it, with what to do.
        why: String,
    },
    /// The line is not one line.
    #[error(
        "entry {id} has a line end at byte {at}: an entry is one line; write it without line ends between its fields"
    )]
    NotOneLine {
        /// The entry.
        id: EntryId,
        /// Position of the first line end, counted from 0.
        at: usize,
    },
    /// The line is longer than is taken.
    #[error("entry {id} has {bytes} bytes, and at most {LONGEST_LINE} are taken: keep large things as attachments")]
    TooLong {
        /// The entry.
        id: EntryId,
        /// How long it is.
        bytes: usize,
    },
    /// What is kept already cannot be read, so nothing can be put after it.
    #[error("nothing was kept, because what is there cannot be read: {why}")]
    Unreadable {
        /// What cannot be read, with what to do.
        why: String,
    },
    /// Nothing is kept at present.
    #[error("nothing can be kept: {because}")]
    ReadOnly {
        /// Why, with what to do.
        because: String,
    },
    /// The disk is full.
    #[error(
        "nothing was kept: the disk that holds {place} is full, and {need} bytes or more are needed; free some room and keep it again, nothing that was kept before is lost"
    )]
    Full {
        /// Where it lies.
        place: Place,
        /// How many bytes at least are needed.
        need: u64,
    },
    /// The connection broke while the server was asked to commit, and nobody could be asked since.
    #[error("it is not known whether {place} kept it: {why}; send it again when the server answers, it is kept once")]
    InDoubt {
        /// Where it lies.
        place: Place,
        /// What the system said.
        why: String,
    },
    /// The disk or the record failed.
    #[error("nothing was kept in {place}: {why}; {next}")]
    Storage {
        /// Where it lies.
        place: Place,
        /// What the system or the engine said.
        why: String,
        /// What to do.
        next: &'static str,
    },
}

/// Why the record cannot be read.
#[derive(Debug, Error)]
pub enum ReadError {
    /// A row is not what was written.
    #[error(
        "the entry at rank {rank} cannot be read: {why}; run `witnessmark verify`, and restore from the backup if it agrees"
    )]
    Spoiled {
        /// Where it stands.
        rank: u64,
        /// What is wrong with it.
        why: String,
    },
    /// The disk or the record failed.
    #[error("cannot read {place}: {why}; {next}")]
    Storage {
        /// Where it lies.
        place: Place,
        /// What the system or the engine said.
        why: String,
        /// What to do.
        next: &'static str,
    },
}

/// Why an attachment was not kept or cannot be given.
#[derive(Debug, Error)]
pub enum AttachmentError {
    /// It was never kept.
    #[error("attachment {id} is not in the record: check the name, or import the job it belongs to")]
    Unknown {
        /// Its name.
        id: ContentId,
    },
    /// The record has it, the folder has not.
    #[error(
        "attachment {id} is in the record and its file is gone: put it back from the backup, or keep the same picture again"
    )]
    Missing {
        /// Its name.
        id: ContentId,
    },
    /// The file is not what its name says.
    #[error("the file of attachment {id} has changed: put it back from the backup, or keep the same picture again")]
    Spoiled {
        /// Its name.
        id: ContentId,
    },
    /// Nothing is kept at present.
    #[error("no attachment can be kept: {because}")]
    ReadOnly {
        /// Why, with what to do.
        because: String,
    },
    /// The disk is full.
    #[error(
        "the attachment was not kept: the disk that holds {place} is full, and {need} bytes or more are needed; free some room and keep it again"
    )]
    Full {
        /// Where it lies.
        place: Place,
        /// How many bytes at least are needed.
        need: u64,
    },
    /// The disk or the record failed.
    #[error("the attachment was not kept or not read in {place}: {why}; {next}")]
    Storage {
        /// Where it lies.
        place: Place,
        /// What the system or the engine said.
        why: String,
        /// What to do.
        next: &'static str,
    },
}

impl OpenError {
    /// Gives the exit class.
    #[must_use]
    pub fn class(&self) -> FailureClass {
        match self {
            Self::InUse { .. } => FailureClass::Conflict,
            Self::NotOurs { .. }
            | Self::Newer { .. }
            | Self::Behind { .. }
            | Self::NotDurable { .. }
            | Self::NotAllowed { .. } => FailureClass::Refused,
            Self::NothingThere { .. } => FailureClass::NotFound,
            Self::FormatSpoiled { .. }
            | Self::RecordMissing { .. }
            | Self::SchemaAltered { .. }
            | Self::NoAnswer { .. }
            | Self::Storage { .. } => FailureClass::Storage,
        }
    }

    /// Gives the place that could not be opened.
    #[must_use]
    pub fn place(&self) -> &Place {
        match self {
            Self::InUse { place, .. }
            | Self::NotOurs { place }
            | Self::NothingThere { place }
            | Self::Newer { place, .. }
            | Self::FormatSpoiled { place, .. }
            | Self::RecordMissing { place, .. }
            | Self::SchemaAltered { place, .. }
            | Self::Behind { place, .. }
            | Self::NotDurable { place, .. }
            | Self::NoAnswer { place, .. }
            | Self::NotAllowed { place, .. }
            | Self::Storage { place, .. } => place,
        }
    }
}

impl AppendError {
    /// Gives the exit class.
    #[must_use]
    pub fn class(&self) -> FailureClass {
        match self {
            Self::Conflict { .. } | Self::OutOfChain { .. } => FailureClass::Conflict,
            Self::NotSealed { .. } | Self::NotOneLine { .. } | Self::TooLong { .. } => FailureClass::Refused,
            Self::Unreadable { .. }
            | Self::ReadOnly { .. }
            | Self::Full { .. }
            | Self::InDoubt { .. }
            | Self::Storage { .. } => FailureClass::Storage,
        }
    }
}

impl ReadError {
    /// Gives the exit class.
    #[must_use]
    pub fn class(&self) -> FailureClass {
        match self {
            Self::Spoiled { .. } | Self::Storage { .. } => FailureClass::Storage,
        }
    }
}

impl AttachmentError {
    /// Gives the exit class.
    #[must_use]
    pub fn class(&self) -> FailureClass {
        match self {
            Self::Unknown { .. } => FailureClass::NotFound,
            Self::Missing { .. }
            | Self::Spoiled { .. }
            | Self::ReadOnly { .. }
            | Self::Full { .. }
            | Self::Storage { .. } => FailureClass::Storage,
        }
    }
}
