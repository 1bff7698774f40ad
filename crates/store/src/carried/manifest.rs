//! The manifest: what a carried record holds, and what it lacks.

use serde::{Deserialize, Serialize};

use super::CarriedError;

/// The form this build writes.
pub(super) const FORM: u64 = 1;

/// What a carried record holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Which form of carried record this is.
    pub form: u64,
    /// The program that wrote it, with its version.
    pub made_by: String,
    /// When it was made; backups alone say so, since an export of the same record is to be the same files.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_at: Option<String>,
    /// How many jobs.
    pub jobs: u64,
    /// How many entries.
    pub entries: u64,
    /// The earliest time that an entry names.
    pub oldest: Option<String>,
    /// The latest one.
    pub newest: Option<String>,
    /// The file of entries.
    pub logbook: Part,
    /// How many photos.
    pub attachments: u64,
    /// How many bytes they have together.
    pub attachment_bytes: u64,
    /// The file that lists them.
    pub attachments_list: Part,
    /// The shop's own knowledge files.
    pub knowledge: Vec<Named>,
    /// Places where a chain does not go on from the entry before, because that one was lost before this was made.
    pub gaps: Vec<Gap>,
    /// What could not be carried.
    pub left_out: Vec<LeftOut>,
    /// The state hash of what is carried.
    pub state: String,
}

/// A file by its size and hash.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 of them.
    pub sha256: String,
}

/// A file with its name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Named {
    /// The name within the record, with `/` between folders.
    pub path: String,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 of them.
    pub sha256: String,
}

/// An entry that does not go on from the one before it in its job.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gap {
    /// The job.
    pub job: String,
    /// The first entry after the gap.
    pub before: String,
}

/// Something that was not carried.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeftOut {
    /// What it is.
    pub what: String,
    /// Why.
    pub why: String,
}

impl std::fmt::Display for LeftOut {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.what, self.why)
    }
}

/// One photo in the list.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Listed {
    pub(super) sha256: String,
    pub(super) bytes: u64,
    pub(super) media_type: String,
}

impl Manifest {
    /// Gives the bytes of the file.
    pub(super) fn to_bytes(&self) -> std::io::Result<Vec<u8>> {
        let mut bytes = serde_json::to_vec_pretty(self)?;
        bytes.push(b'\n');
        Ok(bytes)
    }

    /// Reads the file.
    pub(super) fn from_bytes(bytes: &[u8]) -> Result<Self, CarriedError> {
        let wrong = |error: serde_json::Error| CarriedError::Part {
            file: super::MANIFEST.to_owned(),
            why: format!("it cannot be read ({error}); take it from another copy"),
        };
        let value: serde_json::Value = serde_json::from_slice(bytes).map_err(wrong)?;
        if let Some(found) = value.get("form").and_then(serde_json::Value::as_u64)
            && found > FORM
        {
            return Err(CarriedError::Newer { found, known: FORM });
        }
        serde_json::from_value(value).map_err(wrong)
    }
}
