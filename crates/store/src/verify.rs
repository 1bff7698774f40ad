//! Does the record still agree with itself: ranks, bytes, ids, chains and attachments.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use anatomy::JobId;
use logbook::{Entry, FIRST_PREV};

use crate::attachment::ContentId;
use crate::entry::{Rank, sha256_of};
use crate::failure::{AttachmentError, ReadError};
use crate::keeping::{PAGE, Store};
use crate::state_hash::StateSum;

/// A row of the record as it lies, read by nobody yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Where it stands.
    pub rank: Rank,
    /// The id beside the line.
    pub id: String,
    /// The job beside the line.
    pub job: String,
    /// The bytes of the line.
    pub line: Vec<u8>,
    /// The SHA-256 that was written with them.
    pub sha256: Vec<u8>,
}

/// How far the walk is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Entries and attachments looked at.
    pub done: u64,
    /// Entries and attachments there are, as far as is known.
    pub of: u64,
}

/// What a walk over the record found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Report {
    /// How many entries were looked at.
    pub entries: u64,
    /// How many attachments were looked at.
    pub attachments: u64,
    /// The state hash of everything looked at; empty when the walk was stopped.
    pub state: String,
    /// The hash each job ends with; its last 8 characters are those printed on paper.
    pub ends: BTreeMap<JobId, String>,
    /// What does not agree, in the sequence it was met; the first one of a job is where its trouble begins.
    pub complaints: Vec<Complaint>,
    /// Whether the walk was stopped before its end.
    pub walked: Walked,
}

/// Whether a walk went to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Walked {
    /// Everything was looked at.
    #[default]
    ToTheEnd,
    /// The watcher stopped it.
    Stopped,
}

/// One thing that does not agree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Complaint {
    /// Rows are missing between two ranks.
    Gap {
        /// The first rank that is missing.
        from: Rank,
        /// The last rank that is missing.
        to: Rank,
    },
    /// A row is not what was written.
    Entry {
        /// Where it stands.
        rank: Rank,
        /// The id beside the line.
        id: String,
        /// What is wrong.
        what: String,
    },
    /// A chain is broken.
    Chain {
        /// Where the first line stands that does not continue it.
        rank: Rank,
        /// The job.
        job: JobId,
        /// What is wrong.
        what: String,
    },
    /// An attachment is missing or spoiled.
    Attachment {
        /// Its name.
        id: ContentId,
        /// What is wrong.
        what: String,
    },
    /// The engine beneath finds its own files damaged.
    Engine {
        /// What it said.
        what: String,
    },
}

impl Report {
    /// Says whether everything was looked at and agrees.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.complaints.is_empty() && self.walked == Walked::ToTheEnd
    }
}

impl std::fmt::Display for Complaint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Gap { from, to } if from == to => write!(f, "the entry at rank {from} is gone"),
            Self::Gap { from, to } => write!(f, "the entries at rank {from} to {to} are gone"),
            Self::Entry { rank, id, what } => write!(f, "entry {id} at rank {rank}: {what}"),
            Self::Chain { rank, job, what } => write!(f, "job {job}, from rank {rank} on: {what}"),
            Self::Attachment { id, what } => write!(f, "attachment {id}: {what}"),
            Self::Engine { what } => write!(f, "the record's file: {what}"),
        }
    }
}

/// Walks the record of any store.
pub(crate) async fn walk<S: Store>(
    store: &S,
    watch: &mut (dyn FnMut(Progress) -> ControlFlow<()> + Send),
) -> Result<Report, ReadError> {
    let mut report = Report::default();
    for what in store.engine_complaints().await? {
        report.complaints.push(Complaint::Engine { what });
    }
    let attachments = store.attachments().await?;
    let of_attachments = count(attachments.len());
    let of_entries = store.jobs().await?.iter().map(|job| job.entries).sum::<u64>();
    let of = of_entries + of_attachments;
    let mut ends: BTreeMap<JobId, End> = BTreeMap::new();
    let mut state = StateSum::default();
    let mut after = 0;
    loop {
        let page = store.rows_after(after, PAGE).await?;
        let Some(last) = page.last() else { break };
        let last_rank = last.rank;
        for row in &page {
            if row.rank != after + 1 {
                report.complaints.push(Complaint::Gap { from: after + 1, to: row.rank.saturating_sub(1) });
            }
            after = row.rank;
            state.line(&row.job, &row.line);
            look_at(row, &mut ends, &mut report.complaints);
            report.entries += 1;
        }
        after = last_rank;
        if watch(Progress { done: report.entries, of }).is_break() {
            report.walked = Walked::Stopped;
            break;
        }
    }
    if report.walked == Walked::ToTheEnd {
        for attachment in attachments {
            state.attachment(attachment.id);
            let what = match store.attachment(attachment.id).await {
                Ok(bytes) if count(bytes.len()) == attachment.size => None,
                Ok(bytes) => Some(format!("it has {} bytes and the record says {}", bytes.len(), attachment.size)),
                Err(AttachmentError::Missing { .. }) => Some("its file is gone".to_owned()),
                Err(AttachmentError::Spoiled { .. }) => Some("its file has changed".to_owned()),
                Err(other) => Some(other.to_string()),
            };
            if let Some(what) = what {
                report.complaints.push(Complaint::Attachment { id: attachment.id, what });
            }
            report.attachments += 1;
            if watch(Progress { done: report.entries + report.attachments, of }).is_break() {
                report.walked = Walked::Stopped;
                break;
            }
        }
    }
    if report.walked == Walked::ToTheEnd {
        report.state = state.finish().to_string();
    }
    report.ends = ends
        .into_iter()
        .filter_map(|(job, end)| match end {
            End::Hash(hash) => Some((job, hash)),
            End::Unknown => None,
        })
        .collect();
    Ok(report)
}

/// Where the chain of a job stands.
enum End {
    /// At the line with this hash.
    Hash(String),
    /// At a line that cannot be read; the next one is taken as it comes.
    Unknown,
}

/// Looks at one row and remembers where its job's chain ends.
///
/// After a line that is not as it was written the walk takes the next one as it comes, so that one broken place gives
/// one complaint and not one for every line after it.
fn look_at(row: &Row, ends: &mut BTreeMap<JobId, End>, complaints: &mut Vec<Complaint>) {
    let complain = |what: String| Complaint::Entry { rank: row.rank, id: row.id.clone(), what };
    if row.sha256 != sha256_of(&row.line) {
        complaints.push(complain("its bytes have changed since they were kept".to_owned()));
    }
    let filed_under: Option<JobId> = row.job.parse().ok();
    let read = std::str::from_utf8(&row.line)
        .map_err(|_| "it is not text".to_owned())
        .and_then(|line| Entry::from_line(line).map_err(|error| error.to_string()));
    let entry = match read {
        Ok(entry) => entry,
        Err(what) => {
            complaints.push(match filed_under {
                Some(job) => Complaint::Chain { rank: row.rank, job, what },
                None => complain(what),
            });
            if let Some(job) = filed_under {
                ends.insert(job, End::Unknown);
            }
            return;
        }
    };
    let job = entry.job();
    if row.id != entry.id().to_string() || filed_under != Some(job) {
        complaints
            .push(complain(format!("the line names entry {} of job {job}, and it is filed elsewhere", entry.id())));
    }
    let end = match ends.get(&job) {
        Some(End::Hash(hash)) => Some(hash.as_str()),
        Some(End::Unknown) => None,
        None => Some(FIRST_PREV),
    };
    if let Some(end) = end
        && entry.prev() != end
    {
        let what = format!("the line names {} as the hash before it, and the line before has {end}", entry.prev());
        complaints.push(Complaint::Chain { rank: row.rank, job, what });
    }
    ends.insert(job, End::Hash(entry.hash().to_owned()));
}

/// Counts in the width that the report uses.
fn count(len: usize) -> u64 {
    u64::try_from(len).unwrap_or(u64::MAX)
}
