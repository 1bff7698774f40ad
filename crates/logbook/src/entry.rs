//! The sealed line: one entry as it is stored, exchanged and hashed.
//!
//! A line is one JSON object. Its last member is `hash`, written as `,"hash":"<64 small hexadecimal digits>"}`. The
//! canonical bytes of an entry are the bytes of its line with that member cut out (the closing brace stays); the hash is
//! the SHA-256 of these bytes. Since `prev`, the hash of the entry before, is among them, the lines of a job form a chain.
//! Nothing is ever printed anew: a line that came from elsewhere keeps every byte, also when this build cannot read it.

use std::sync::Arc;

use anatomy::{EntryId, JobId};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::kinds::{EntryBody, Kind};

/// What stands in `prev` of the first entry of a job.
pub const FIRST_PREV: &str = "0000000000000000000000000000000000000000000000000000000000000000";

const HASH_DIGITS: usize = 64;
const BEFORE_HASH: &str = ",\"hash\":\"";
const AFTER_HASH: &str = "\"}";

/// What an entry says, as far as this build can read it.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "almost every entry is a known one")]
pub enum Content {
    /// A kind and version this build knows.
    Known(EntryBody),
    /// A kind this build does not know; carried as it is.
    UnknownKind,
    /// A known kind in a version newer than this build; carried as it is.
    NewerVersion(Kind),
    /// A known kind whose body does not fit it; carried as it is.
    Unreadable {
        /// The kind.
        kind: Kind,
        /// What does not fit.
        why: String,
    },
}

/// Why a line is no entry.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LineError {
    /// The end of the line is not a hash.
    #[error(
        "the line does not end with its hash: expected {BEFORE_HASH}64 digits{AFTER_HASH} at its end; it was cut or changed, take it from a copy"
    )]
    NoHash,
    /// The line is not the JSON of an entry.
    #[error("the line is no entry: {0}; it was changed or is not from a logbook, take it from a copy")]
    NotAnEntry(String),
    /// The bytes are not what was hashed.
    #[error("entry {id}: the bytes do not give its hash; at least one byte was changed, take the line from a copy")]
    WrongHash {
        /// The id the line claims.
        id: EntryId,
    },
}

/// Why an entry cannot be sealed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SealError {
    /// The hash before is no hash.
    #[error(
        "entry {id}, prev = `{prev}`: expected 64 small hexadecimal digits; pass the hash of the last entry or FIRST_PREV"
    )]
    Prev {
        /// The entry.
        id: EntryId,
        /// What was given.
        prev: String,
    },
    /// The body does not fit its kind.
    #[error("entry {id}, kind {kind}: {why}")]
    Body {
        /// The entry.
        id: EntryId,
        /// The kind.
        kind: String,
        /// What does not fit.
        why: String,
    },
}

/// An entry as a device makes it, before the logbook gives it its place in the chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unsealed {
    /// Made by the device.
    pub id: EntryId,
    /// The job.
    pub job: JobId,
    /// When, by the device's clock.
    pub at: Timestamp,
    /// Who.
    pub by: String,
    /// On which device.
    pub device: String,
    /// The word of the kind.
    pub kind: String,
    /// The version of the kind.
    pub v: u32,
    /// The body.
    pub body: Value,
}

/// One entry with its place in the chain, and every byte of its line.
///
/// # Invariants
/// the line gives the hash; `Entry::from_line(entry.line())` gives the entry again
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    line: Arc<str>,
    envelope: Envelope,
    content: Content,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Envelope {
    id: EntryId,
    job: JobId,
    at: Timestamp,
    by: String,
    device: String,
    kind: String,
    v: u32,
    body: Value,
    prev: String,
    hash: String,
}

/// The envelope as written, without the hash.
#[derive(Serialize)]
struct Canonical<'a> {
    id: EntryId,
    job: JobId,
    at: Timestamp,
    by: &'a str,
    device: &'a str,
    kind: &'a str,
    v: u32,
    body: &'a Value,
    prev: &'a str,
}

impl Unsealed {
    /// Makes an entry of a known kind.
    ///
    /// # Errors
    /// [`SealError::Body`] when fields of the body do not agree.
    pub fn new(
        job: JobId,
        at: Timestamp,
        by: &str,
        device: &str,
        id: EntryId,
        body: &EntryBody,
    ) -> Result<Unsealed, SealError> {
        let kind = body.kind();
        let wrong = |why: String| SealError::Body { id, kind: kind.word().to_owned(), why };
        body.ensure().map_err(wrong)?;
        let value = serde_json::to_value(body).map_err(|error| wrong(error.to_string()))?;
        Ok(Unsealed {
            id,
            job,
            at,
            by: by.to_owned(),
            device: device.to_owned(),
            kind: kind.word().to_owned(),
            v: body.version(),
            body: value,
        })
    }

    /// Gives the entry its place after `prev` and seals it; a kind or version this build does not know is sealed as it is.
    ///
    /// # Errors
    /// [`SealError::Prev`] when `prev` is no hash; [`SealError::Body`] when a known kind has a body that does not fit.
    pub fn seal(self, prev: &str) -> Result<Entry, SealError> {
        let Unsealed { id, job, at, by, device, kind, v, body } = self;
        if !is_hash(prev) {
            return Err(SealError::Prev { id, prev: prev.to_owned() });
        }
        let wrong = |why: String| SealError::Body { id, kind: kind.clone(), why };
        let content = read(&kind, v, &body);
        if let Content::Unreadable { why, .. } = &content {
            return Err(wrong(why.clone()));
        }
        let canonical = Canonical { id, job, at, by: &by, device: &device, kind: &kind, v, body: &body, prev };
        let canonical = serde_json::to_string(&canonical).map_err(|error| wrong(error.to_string()))?;
        let hash = digest(canonical.as_bytes());
        let open = canonical.strip_suffix('}').unwrap_or(&canonical);
        let line = format!("{open}{BEFORE_HASH}{hash}{AFTER_HASH}");
        let envelope = Envelope { id, job, at, by, device, kind, v, body, prev: prev.to_owned(), hash };
        Ok(Entry { line: line.into(), envelope, content })
    }
}

impl Entry {
    /// Makes and seals an entry of a known kind.
    ///
    /// # Shapes
    /// `prev_hash` is the hash of the entry appended before, [`FIRST_PREV`] for the first one of a job
    /// # Errors
    /// [`SealError`] when `prev_hash` is no hash or fields of the body do not agree.
    pub fn seal(
        job: JobId,
        at: Timestamp,
        by: &str,
        device: &str,
        id: EntryId,
        body: &EntryBody,
        prev_hash: &str,
    ) -> Result<Entry, SealError> {
        Unsealed::new(job, at, by, device, id, body)?.seal(prev_hash)
    }

    /// Reads a line (without its line end) and checks its hash; its place in the chain is checked by
    /// [`crate::verify`].
    ///
    /// # Errors
    /// [`LineError`] says whether the line is cut, is no entry, or was changed.
    pub fn from_line(line: &str) -> Result<Entry, LineError> {
        let (entry, good) = Entry::claimed(line)?;
        if good { Ok(entry) } else { Err(LineError::WrongHash { id: entry.envelope.id }) }
    }

    /// Reads a line and says beside it whether the bytes give the hash.
    pub(crate) fn claimed(line: &str) -> Result<(Entry, bool), LineError> {
        let (open, claimed) = split_hash(line).ok_or(LineError::NoHash)?;
        let envelope: Envelope =
            serde_json::from_str(line).map_err(|error| LineError::NotAnEntry(error.to_string()))?;
        let good = digest(format!("{open}}}").as_bytes()) == claimed && envelope.hash == claimed;
        let content = read(&envelope.kind, envelope.v, &envelope.body);
        Ok((Entry { line: line.into(), envelope, content }, good))
    }

    /// Gives the id.
    #[must_use]
    pub fn id(&self) -> EntryId {
        self.envelope.id
    }

    /// Gives the job.
    #[must_use]
    pub fn job(&self) -> JobId {
        self.envelope.job
    }

    /// Gives the time by the device's clock.
    #[must_use]
    pub fn at(&self) -> Timestamp {
        self.envelope.at
    }

    /// Gives who made the entry.
    #[must_use]
    pub fn by(&self) -> &str {
        &self.envelope.by
    }

    /// Gives the device.
    #[must_use]
    pub fn device(&self) -> &str {
        &self.envelope.device
    }

    /// Gives the word of the kind.
    #[must_use]
    pub fn kind(&self) -> &str {
        &self.envelope.kind
    }

    /// Gives the version of the kind.
    #[must_use]
    pub fn version(&self) -> u32 {
        self.envelope.v
    }

    /// Gives the body as stored.
    #[must_use]
    pub fn body(&self) -> &Value {
        &self.envelope.body
    }

    /// Gives what the entry says, as far as this build can read it.
    #[must_use]
    pub fn content(&self) -> &Content {
        &self.content
    }

    /// Gives the hash of the entry before.
    #[must_use]
    pub fn prev(&self) -> &str {
        &self.envelope.prev
    }

    /// Gives the hash.
    #[must_use]
    pub fn hash(&self) -> &str {
        &self.envelope.hash
    }

    /// Gives the line, byte for byte, without its line end.
    #[must_use]
    pub fn line(&self) -> &str {
        &self.line
    }

    /// Gives the entry as its device made it, without its place in the chain.
    #[must_use]
    pub fn unsealed(&self) -> Unsealed {
        let e = self.envelope.clone();
        Unsealed { id: e.id, job: e.job, at: e.at, by: e.by, device: e.device, kind: e.kind, v: e.v, body: e.body }
    }
}

/// Gives the last eight characters of a hash.
#[must_use]
pub(crate) fn tail8(hash: &str) -> String {
    hash.get(hash.len().saturating_sub(8)..).unwrap_or(hash).to_owned()
}

/// Gives the SHA-256 of some bytes as 64 small hexadecimal digits.
pub(crate) fn digest(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    Sha256::digest(bytes).iter().fold(String::with_capacity(HASH_DIGITS), |mut text, byte| {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn is_hash(text: &str) -> bool {
    text.len() == HASH_DIGITS && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
}

/// Cuts a line into what stands before its hash member and the hash.
fn split_hash(line: &str) -> Option<(&str, &str)> {
    let rest = line.strip_suffix(AFTER_HASH)?;
    let (open, hash) = rest.split_at_checked(rest.len().checked_sub(HASH_DIGITS)?)?;
    if !is_hash(hash) {
        return None;
    }
    Some((open.strip_suffix(BEFORE_HASH)?, hash))
}

/// Reads a body as far as this build can.
pub(crate) fn read(kind: &str, version: u32, body: &Value) -> Content {
    let Some(kind) = Kind::from_word(kind) else {
        return Content::UnknownKind;
    };
    match EntryBody::read(kind, version, body) {
        Ok(Some(read)) => Content::Known(read),
        Ok(None) => Content::NewerVersion(kind),
        Err(error) => Content::Unreadable { kind, why: error.to_string() },
    }
}
