//! Stories written by hand: lines without ids and hashes become a proper logbook.
//!
//! A line may carry a label (`"label": "r12"`). A body names it as `"@r12"` wherever an entry id is wanted, before or after
//! the labelled line. Ids are made from the time of the line, its place in the story and the seed, so the same story gives
//! the same bytes everywhere.

use std::collections::BTreeMap;

use anatomy::{EntryId, JobId};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::chain::Chain;
use crate::entry::{Entry, SealError, Unsealed};
use crate::kinds::Kind;

/// One line of a story.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoryLine {
    /// A name other lines may use for this one: small letters, digits, `-`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
    /// When.
    pub at: Timestamp,
    /// Who.
    pub by: String,
    /// On which device.
    pub device: String,
    /// The word of the kind.
    pub kind: String,
    /// The body.
    pub body: Value,
}

/// Why a story is no logbook.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum StoryError {
    /// A line of the file cannot be read.
    #[error("story line {line}: {why}; expected at, by, device, kind, body and perhaps label")]
    Unreadable {
        /// Its number, from 1.
        line: usize,
        /// What is wrong.
        why: String,
    },
    /// A kind nobody knows.
    #[error("story line {line}: kind `{kind}` is not known; use one of the kinds of the logbook")]
    UnknownKind {
        /// Its number, from 1.
        line: usize,
        /// The kind.
        kind: String,
    },
    /// A label used twice.
    #[error("story line {line}: label `{label}` is already used; give each line its own label")]
    LabelTwice {
        /// Its number, from 1.
        line: usize,
        /// The label.
        label: String,
    },
    /// A label of the wrong form, which nobody could refer to.
    #[error("story line {line}: `{label}` is no label; expected small letters, digits and `-`")]
    NotALabel {
        /// Its number, from 1.
        line: usize,
        /// The label.
        label: String,
    },
    /// A reference to a label that no line has.
    #[error("story line {line}: no line has the label `{label}`; label the line that is meant")]
    UnknownLabel {
        /// Its number, from 1.
        line: usize,
        /// The label.
        label: String,
    },
    /// The body does not fit.
    #[error("story line {line}: {why}")]
    Body {
        /// Its number, from 1.
        line: usize,
        /// What does not fit.
        why: SealError,
    },
    /// The time lies before 1970 or so far off that an id cannot hold it.
    #[error("story line {line}: {at} cannot be kept in an id; expected a time from 1970 on")]
    Time {
        /// Its number, from 1.
        line: usize,
        /// The time.
        at: Timestamp,
    },
}

/// Reads a story from JSON Lines; empty lines are passed over.
///
/// # Errors
/// [`StoryError::Unreadable`] names the line.
pub fn story_from_lines(text: &str) -> Result<Vec<StoryLine>, StoryError> {
    text.lines()
        .enumerate()
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(place, line)| {
            serde_json::from_str(line)
                .map_err(|error| StoryError::Unreadable { line: place + 1, why: error.to_string() })
        })
        .collect()
}

/// Gives the sealed entries of a story, in the order of its lines.
///
/// # Shapes
/// `job_seed` tells two stories with the same times apart; lines in the order they were written down
/// # Errors
/// [`StoryError`] names the line and what is wrong in it.
pub fn seal_story(job_seed: &str, lines: &[StoryLine]) -> Result<Vec<Entry>, StoryError> {
    let mut ids = Vec::with_capacity(lines.len());
    let mut labels: BTreeMap<&str, EntryId> = BTreeMap::new();
    for (place, line) in lines.iter().enumerate() {
        let number = place + 1;
        let id = EntryId::from_time_and_chance(unix_ms(line.at, number)?, chance(job_seed, "entry", place));
        ids.push(id);
        if let Some(label) = &line.label {
            if !is_label(label) {
                return Err(StoryError::NotALabel { line: number, label: label.clone() });
            }
            if labels.insert(label, id).is_some() {
                return Err(StoryError::LabelTwice { line: number, label: label.clone() });
            }
        }
    }
    let Some(first) = lines.first() else {
        return Ok(Vec::new());
    };
    let job = JobId::from_time_and_chance(unix_ms(first.at, 1)?, chance(job_seed, "job", 0));
    let mut chain = Chain::new(job);
    let mut entries = Vec::with_capacity(lines.len());
    for (place, (line, id)) in lines.iter().zip(ids).enumerate() {
        let number = place + 1;
        let Some(kind) = Kind::from_word(&line.kind) else {
            return Err(StoryError::UnknownKind { line: number, kind: line.kind.clone() });
        };
        let mut body = line.body.clone();
        resolve(&mut body, &labels).map_err(|label| StoryError::UnknownLabel { line: number, label })?;
        let unsealed = Unsealed {
            id,
            job,
            at: line.at,
            by: line.by.clone(),
            device: line.device.clone(),
            kind: line.kind.clone(),
            v: kind.version_for(&body),
            body,
        };
        entries.push(chain.append_unsealed(unsealed).map_err(|why| StoryError::Body { line: number, why })?);
    }
    Ok(entries)
}

fn unix_ms(at: Timestamp, line: usize) -> Result<u64, StoryError> {
    u64::try_from(at.as_millisecond()).ok().filter(|ms| *ms < 1 << 48).ok_or(StoryError::Time { line, at })
}

/// Gives ten bytes: the place of the line first, so that lines of one moment keep their order, then digest of the seed.
fn chance(seed: &str, what: &str, place: usize) -> [u8; 10] {
    let digest = Sha256::digest(format!("{what}/{place}/{seed}").as_bytes());
    let mut bytes = [0_u8; 10];
    for (to, from) in bytes.iter_mut().zip(digest.iter()) {
        *to = *from;
    }
    // The id keeps twelve bits here (the upper four are its version): enough to order 4096 lines.
    let [high, low] = u16::try_from(place % 4096).unwrap_or(0).to_be_bytes();
    let [first, second, ..] = &mut bytes;
    *first = high;
    *second = low;
    bytes
}

fn is_label(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

/// Puts ids in place of references; gives the label that no line has.
fn resolve(value: &mut Value, labels: &BTreeMap<&str, EntryId>) -> Result<(), String> {
    match value {
        Value::String(text) => {
            if let Some(label) = text.strip_prefix('@').filter(|label| is_label(label)) {
                let id = labels.get(label).ok_or_else(|| label.to_owned())?;
                *text = id.to_string();
            }
            Ok(())
        }
        Value::Array(items) => items.iter_mut().try_for_each(|item| resolve(item, labels)),
        Value::Object(members) => members.values_mut().try_for_each(|member| resolve(member, labels)),
        Value::Null | Value::Bool(_) | Value::Number(_) => Ok(()),
    }
}
