//! JSON Lines in and out, byte for byte.

use anatomy::EntryId;
use thiserror::Error;

use crate::entry::{Content, Entry, LineError};

/// One line of an imported file.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "almost every line is an entry")]
pub enum ImportedLine {
    /// An entry whose bytes give its hash.
    Entry(Entry),
    /// Bytes that are no entry; kept as they are.
    Unreadable {
        /// The bytes, without line end.
        bytes: Vec<u8>,
        /// What is wrong; a line that is no text is told as no entry.
        why: LineError,
    },
}

/// A file as it was read; exporting it gives the same bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The lines in file order.
    pub lines: Vec<ImportedLine>,
    /// Whether the last line had its line end.
    pub last_line_ended: bool,
}

impl Imported {
    /// Gives the entries that could be read, in file order.
    #[must_use]
    pub fn entries(&self) -> Vec<Entry> {
        self.lines
            .iter()
            .filter_map(|line| match line {
                ImportedLine::Entry(entry) => Some(entry.clone()),
                ImportedLine::Unreadable { .. } => None,
            })
            .collect()
    }

    /// Gives number and reason of each line that could not be read.
    #[must_use]
    pub fn unreadable(&self) -> Vec<(usize, LineError)> {
        self.lines
            .iter()
            .enumerate()
            .filter_map(|(place, line)| match line {
                ImportedLine::Entry(_) => None,
                ImportedLine::Unreadable { why, .. } => Some((place + 1, why.clone())),
            })
            .collect()
    }

    /// Gives the bytes of the file again.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        for line in &self.lines {
            match line {
                ImportedLine::Entry(entry) => bytes.extend_from_slice(entry.line().as_bytes()),
                ImportedLine::Unreadable { bytes: kept, .. } => bytes.extend_from_slice(kept),
            }
            bytes.push(b'\n');
        }
        if !self.last_line_ended {
            bytes.pop();
        }
        bytes
    }
}

/// Gives entries as JSON Lines, each with its line end.
#[must_use]
pub fn export(entries: &[Entry]) -> String {
    let mut text = String::new();
    for entry in entries {
        text.push_str(entry.line());
        text.push('\n');
    }
    text
}

/// Reads JSON Lines and keeps every byte, also of lines that cannot be read.
#[must_use]
pub fn import(bytes: &[u8]) -> Imported {
    if bytes.is_empty() {
        return Imported { lines: Vec::new(), last_line_ended: true };
    }
    let last_line_ended = bytes.last() == Some(&b'\n');
    let body = if last_line_ended { bytes.strip_suffix(b"\n").unwrap_or(bytes) } else { bytes };
    let lines = body
        .split(|byte| *byte == b'\n')
        .map(|line| {
            let read = std::str::from_utf8(line)
                .map_err(|error| LineError::NotAnEntry(error.to_string()))
                .and_then(Entry::from_line);
            match read {
                Ok(entry) => ImportedLine::Entry(entry),
                Err(why) => ImportedLine::Unreadable { bytes: line.to_vec(), why },
            }
        })
        .collect();
    Imported { lines, last_line_ended }
}

/// Why this build must not append to a logbook.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "entry {entry}, kind {kind} version {version}: written by a newer build; it can be read and carried, to write here use that build or a newer one"
)]
pub struct WriteRefused {
    /// The newer entry.
    pub entry: EntryId,
    /// Its kind.
    pub kind: String,
    /// Its version.
    pub version: u32,
}

/// Passes a logbook this build may append to.
///
/// # Errors
/// [`WriteRefused`] names the first entry of a kind or version this build does not know.
pub fn ensure_writable(entries: &[Entry]) -> Result<(), WriteRefused> {
    let newer = entries.iter().find(|entry| match entry.content() {
        Content::UnknownKind | Content::NewerVersion(_) => true,
        Content::Known(_) | Content::Unreadable { .. } => false,
    });
    match newer {
        None => Ok(()),
        Some(entry) => Err(WriteRefused { entry: entry.id(), kind: entry.kind().to_owned(), version: entry.version() }),
    }
}
