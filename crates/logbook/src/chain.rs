//! The chain: appending, and finding the first line that is not as it was written.
//!
//! A chain by itself cannot know of whole lines cut off at its very end, nor of a chain rewritten from the start; for both,
//! compare the eight characters printed on a paper that left the shop ([`verify_against_tail`]).

use std::collections::BTreeMap;
use std::fmt;

use anatomy::{EntryId, JobId};
use jiff::Timestamp;
use serde::Serialize;
use thiserror::Error;

use crate::entry::{Entry, FIRST_PREV, LineError, SealError, Unsealed, tail8};
use crate::kinds::EntryBody;

/// The end of the chain of one job, to which entries are appended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    job: JobId,
    last: String,
    entries: usize,
}

impl Chain {
    /// Starts the chain of a job.
    #[must_use]
    pub fn new(job: JobId) -> Chain {
        Chain { job, last: FIRST_PREV.to_owned(), entries: 0 }
    }

    /// Goes on after an entry that is already kept; `entries` is how many there are with it.
    #[must_use]
    pub fn after(entry: &Entry, entries: usize) -> Chain {
        Chain { job: entry.job(), last: entry.hash().to_owned(), entries }
    }

    /// Gives the job.
    #[must_use]
    pub fn job(&self) -> JobId {
        self.job
    }

    /// Gives the hash the next entry will name as the one before.
    #[must_use]
    pub fn last_hash(&self) -> &str {
        &self.last
    }

    /// Gives how many entries there are.
    #[must_use]
    pub fn entries(&self) -> usize {
        self.entries
    }

    /// Gives the last eight characters of the chain, as printed on papers.
    #[must_use]
    pub fn tail8(&self) -> String {
        tail8(&self.last)
    }

    /// Makes, seals and appends an entry.
    ///
    /// # Errors
    /// [`SealError`]; the chain is then as before.
    pub fn append(
        &mut self,
        at: Timestamp,
        by: &str,
        device: &str,
        id: EntryId,
        body: &EntryBody,
    ) -> Result<Entry, SealError> {
        self.append_unsealed(Unsealed::new(self.job, at, by, device, id, body)?)
    }

    /// Seals and appends an entry that a device made; the job of the entry is left as it is.
    ///
    /// # Errors
    /// [`SealError`]; the chain is then as before.
    pub fn append_unsealed(&mut self, unsealed: Unsealed) -> Result<Entry, SealError> {
        let entry = unsealed.seal(&self.last)?;
        entry.hash().clone_into(&mut self.last);
        self.entries += 1;
        Ok(entry)
    }
}

/// What a chain that holds together consists of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChainReport {
    /// How many lines were read.
    pub lines: usize,
    /// One chain for each job, in job order.
    pub jobs: BTreeMap<JobId, JobChain>,
}

/// The end of one job's chain.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct JobChain {
    /// How many entries.
    pub entries: usize,
    /// The hash of the last one.
    pub last_hash: String,
}

impl JobChain {
    /// Gives the last eight characters of the chain, as printed on papers.
    #[must_use]
    pub fn tail8(&self) -> String {
        tail8(&self.last_hash)
    }
}

impl ChainReport {
    /// Gives the last eight characters of a job's chain; of the only job when none is named.
    #[must_use]
    pub fn tail8(&self, job: Option<JobId>) -> Option<String> {
        match job {
            Some(job) => self.jobs.get(&job).map(JobChain::tail8),
            None if self.jobs.len() == 1 => self.jobs.values().next().map(JobChain::tail8),
            None => None,
        }
    }
}

/// What is wrong with the first bad line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum BadLine {
    /// At least one byte is not as written.
    Changed,
    /// The file ends in the middle of the line.
    Cut,
    /// Only the line end is missing; the entry itself is whole.
    LineEndMissing,
    /// At least one line before this one is gone.
    LineDroppedBefore,
    /// The line stands before a line it was written after.
    Swapped,
    /// The line was not there.
    Inserted,
}

impl fmt::Display for BadLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            BadLine::Changed => "at least one byte was changed; take this line from another copy of the logbook",
            BadLine::Cut => {
                "the line is cut in the middle; take this line from another copy, or cut the file before it"
            }
            BadLine::LineEndMissing => "the line end is missing, the entry itself is whole; add a line end",
            BadLine::LineDroppedBefore => {
                "at least one line before it is missing; take the missing lines from another copy of the logbook"
            }
            BadLine::Swapped => "the line stands in the wrong place; put the lines back in the order of another copy",
            BadLine::Inserted => "the line was put in; take it out into a file of its own and find out who wrote it",
        })
    }
}

/// The first thing wrong with a logbook, and how much before it is good.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ChainError {
    /// A line is not as written.
    #[error("line {line}{}: {why}; the {readable_before} lines before it are good", entry_words(*entry))]
    Line {
        /// Its number in the file, from 1.
        line: usize,
        /// The id of its entry, when it can still be read.
        entry: Option<EntryId>,
        /// What is wrong.
        why: BadLine,
        /// How many lines before it hold together.
        readable_before: usize,
    },
    /// The chain holds together but does not end as the paper says.
    #[error(
        "the chain ends with {found}, the paper says {expected}: entries at the end are missing or newer, or the whole chain was written anew; compare with another copy of the logbook"
    )]
    Tail {
        /// The eight characters on the paper.
        expected: String,
        /// The eight characters found.
        found: String,
    },
}

impl ChainError {
    /// Gives how many lines at the start hold together and can be read.
    #[must_use]
    pub fn readable_before(&self, total: usize) -> usize {
        match self {
            ChainError::Line { readable_before, .. } => *readable_before,
            ChainError::Tail { .. } => total,
        }
    }
}

fn entry_words(entry: Option<EntryId>) -> String {
    entry.map(|id| format!(", entry {id}")).unwrap_or_default()
}

/// One line of the file, looked at by itself.
enum Seen {
    Good(Entry),
    WrongHash(Entry),
    NoEntry,
}

/// Says whether a logbook is as it was written, or names the first bad line.
///
/// # Shapes
/// `logbook` is a whole JSON Lines file, one entry a line, each line with its line end; several jobs may take turns
/// # Errors
/// [`ChainError::Line`] with number, entry, reason and next move. Everything before that line can be read.
pub fn verify(logbook: &[u8]) -> Result<ChainReport, ChainError> {
    let (whole, rest) = match logbook.iter().rposition(|byte| *byte == b'\n') {
        Some(end) => logbook.split_at(end + 1),
        None => (&[][..], logbook),
    };
    let mut jobs: BTreeMap<JobId, JobChain> = BTreeMap::new();
    let mut lines = 0;
    for line in whole.split_inclusive(|byte| *byte == b'\n') {
        match look(line) {
            Seen::Good(entry) if entry.prev() == last_hash(&jobs, entry.job()) => {
                let chain = jobs.entry(entry.job()).or_default();
                chain.entries += 1;
                entry.hash().clone_into(&mut chain.last_hash);
                lines += 1;
            }
            Seen::Good(_) | Seen::WrongHash(_) | Seen::NoEntry => {
                return Err(diagnose(whole, lines, &jobs));
            }
        }
    }
    if rest.is_empty() {
        return Ok(ChainReport { lines, jobs });
    }
    Err(match look(rest) {
        Seen::Good(entry) => bad(lines, Some(entry.id()), BadLine::LineEndMissing),
        Seen::WrongHash(entry) => bad(lines, Some(entry.id()), BadLine::Changed),
        Seen::NoEntry => bad(lines, None, BadLine::Cut),
    })
}

/// Says what is wrong with the line at `place` (from 0), the first that does not go on from the chains so far.
fn diagnose(whole: &[u8], place: usize, jobs: &BTreeMap<JobId, JobChain>) -> ChainError {
    let seen: Vec<Seen> = whole.split_inclusive(|byte| *byte == b'\n').map(look).collect();
    let here = |id: Option<EntryId>, why: BadLine| bad(place, id, why);
    let entry = match seen.get(place) {
        Some(Seen::Good(entry)) => entry,
        not_good @ (Some(Seen::WrongHash(_) | Seen::NoEntry) | None) => {
            let id = match not_good {
                Some(Seen::WrongHash(entry) | Seen::Good(entry)) => Some(entry.id()),
                Some(Seen::NoEntry) | None => None,
            };
            let why = if goes_on_without(&seen, place, jobs) { BadLine::Inserted } else { BadLine::Changed };
            return here(id, why);
        }
    };
    // The bytes are whole, so the line stands where it does not belong, or something before it does.
    let (id, job, last) = (Some(entry.id()), entry.job(), last_hash(jobs, entry.job()));
    let place_of = |hash: &str| {
        seen.iter().position(|line| matches!(line, Seen::Good(other) if other.job() == job && other.hash() == hash))
    };
    let repeated = place_of(entry.hash()).is_some_and(|first| first < place);
    let before = place_of(entry.prev());
    let next_is_later = seen.iter().skip(place + 1).any(|later| follows(later, job, last));
    let forked_from_start = entry.prev() == FIRST_PREV && jobs.contains_key(&job);
    if repeated {
        return here(id, BadLine::Inserted);
    }
    if before.is_some_and(|before| before > place) {
        return here(id, BadLine::Swapped);
    }
    if before.is_none() && !forked_from_start {
        return here(id, if next_is_later { BadLine::Inserted } else { BadLine::LineDroppedBefore });
    }
    if next_is_later {
        return here(id, BadLine::Inserted);
    }
    // This line goes on from an earlier one: what stands between them in this job was put in.
    let between = seen.iter().enumerate().find_map(|(between, line)| match line {
        Seen::Good(other) if other.job() == job && before.is_none_or(|before| between > before) => {
            Some((between, other.id()))
        }
        Seen::Good(_) | Seen::WrongHash(_) | Seen::NoEntry => None,
    });
    match between {
        Some((between, other)) => bad(between, Some(other), BadLine::Inserted),
        None => here(id, BadLine::Inserted),
    }
}

fn bad(place: usize, entry: Option<EntryId>, why: BadLine) -> ChainError {
    ChainError::Line { line: place + 1, entry, why, readable_before: place }
}

fn last_hash(jobs: &BTreeMap<JobId, JobChain>, job: JobId) -> &str {
    jobs.get(&job).map_or(FIRST_PREV, |chain| chain.last_hash.as_str())
}

/// Says whether a logbook is as it was written and ends as a paper says.
///
/// # Shapes
/// `tail` is the eight characters of one job's chain; a paper printed earlier matches a chain that has grown since when
/// any entry of the job ends with these characters
/// # Errors
/// As [`verify`]; [`ChainError::Tail`] when no entry's hash ends as the paper says.
pub fn verify_against_tail(logbook: &[u8], tail: &str) -> Result<ChainReport, ChainError> {
    let report = verify(logbook)?;
    let on_paper = tail.trim().to_ascii_lowercase();
    let found = logbook
        .split(|byte| *byte == b'\n')
        .filter_map(|line| std::str::from_utf8(line).ok())
        .filter_map(|line| Entry::from_line(line).ok())
        .any(|entry| on_paper.len() == 8 && tail8(entry.hash()) == on_paper);
    if found {
        return Ok(report);
    }
    let ends: Vec<String> = report.jobs.values().map(JobChain::tail8).collect();
    let found = if ends.is_empty() { "nothing".to_owned() } else { ends.join(", ") };
    Err(ChainError::Tail { expected: on_paper, found })
}

/// Looks at a line with or without its line end.
fn look(line: &[u8]) -> Seen {
    let line = line.strip_suffix(b"\n").unwrap_or(line);
    let Ok(text) = std::str::from_utf8(line) else {
        return Seen::NoEntry;
    };
    match Entry::claimed(text) {
        Ok((entry, true)) => Seen::Good(entry),
        Ok((entry, false)) => Seen::WrongHash(entry),
        Err(LineError::NoHash | LineError::NotAnEntry(_) | LineError::WrongHash { .. }) => Seen::NoEntry,
    }
}

/// Says whether a later line is a whole entry of the job that follows a hash.
fn follows(later: &Seen, job: JobId, hash: &str) -> bool {
    matches!(later, Seen::Good(entry) if entry.job() == job && entry.prev() == hash)
}

/// Says whether the line right after goes on from where the chain was before this line.
fn goes_on_without(seen: &[Seen], place: usize, jobs: &BTreeMap<JobId, JobChain>) -> bool {
    match seen.get(place + 1) {
        Some(Seen::Good(next)) => {
            let last = last_hash(jobs, next.job());
            next.prev() == last && job_of(seen.get(place)).is_none_or(|job| job == next.job())
        }
        Some(Seen::WrongHash(_) | Seen::NoEntry) | None => false,
    }
}

fn job_of(line: Option<&Seen>) -> Option<JobId> {
    match line {
        Some(Seen::Good(entry) | Seen::WrongHash(entry)) => Some(entry.job()),
        Some(Seen::NoEntry) | None => None,
    }
}
