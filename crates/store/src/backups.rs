//! What is known of backups: when the last one was made, and when one was last proved.
//!
//! It lies in the folder beside the record, in a file of its own, so that a backup can be noted while another process writes
//! to the record. It is a convenience: when it is lost nothing else is.

use std::fs;
use std::io;
use std::path::Path;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::folder::write_safely;

/// The file in the folder of the record.
const FILE: &str = "backups.json";

/// What is known of the backups of a record.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Backups {
    /// The last one made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<Noted>,
    /// The last one proved by a drill.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub proved: Option<Noted>,
}

/// A backup that was made or proved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Noted {
    /// When.
    pub at: Timestamp,
    /// How many entries it holds.
    pub entries: u64,
    /// The state hash of what it holds.
    pub state: String,
}

impl Backups {
    /// Gives what is known of the backups of the record in a folder; nothing where nothing is noted or it cannot be read.
    #[must_use]
    pub fn of(folder: &Path) -> Self {
        fs::read(folder.join(FILE)).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default()
    }

    /// Writes it down.
    ///
    /// # Errors
    ///
    /// What the system says
    pub fn note(&self, folder: &Path) -> io::Result<()> {
        let bytes = serde_json::to_vec_pretty(self)?;
        write_safely(&folder.join("backups.new"), &folder.join(FILE), &bytes)
    }
}
