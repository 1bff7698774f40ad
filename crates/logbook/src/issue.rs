//! From what a paper is made when it is asked for again.
//!
//! That a paper left the shop is an entry, and so moves the chain that the next paper would print. A paper asked for twice
//! with nothing written in between is the same paper, so it is made from the job as it stood before those entries.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::entry::{Content, Entry};
use crate::kinds::EntryBody;
use crate::words::Paper;

/// From what a paper is made.
#[derive(Debug, Clone, Copy)]
pub struct IssueBasis<'a> {
    /// The entries of the job before the papers that were issued last.
    pub entries: &'a [Entry],
    /// When this paper was issued last from the same entries, where it was.
    pub issued_at: Option<Timestamp>,
}

impl IssueBasis<'_> {
    /// The last eight characters of the chain, as printed on the paper.
    #[must_use]
    pub fn tail(&self) -> &str {
        let hash = self.entries.last().map_or("", Entry::hash);
        hash.get(hash.len().saturating_sub(8)..).unwrap_or(hash)
    }

    /// The day that the paper is dated: when the same one was issued, else today, and never before what it tells.
    ///
    /// # Shapes
    /// `today` and the day of a moment as the clock of the shop shows them
    #[must_use]
    pub fn day(&self, today: Date, day_of: impl Fn(Timestamp) -> Date) -> Date {
        match (self.issued_at, self.last_at()) {
            (Some(issued), _) => day_of(issued),
            (None, Some(last)) => today.max(day_of(last)),
            (None, None) => today,
        }
    }

    /// The latest time that an entry of it is stamped with: no paper is dated before what it tells.
    #[must_use]
    pub fn last_at(&self) -> Option<Timestamp> {
        self.entries.iter().map(Entry::at).max()
    }
}

/// Gives what a paper of a job is made from now.
///
/// # Shapes
/// entries of one job, in the sequence of its chain
#[must_use]
pub fn issue_basis(entries: &[Entry], paper: Paper) -> IssueBasis<'_> {
    let issued = |entry: &Entry| match entry.content() {
        Content::Known(EntryBody::PaperIssued(issued)) => Some(issued.paper),
        Content::Known(_) | Content::UnknownKind | Content::NewerVersion(_) | Content::Unreadable { .. } => None,
    };
    let last = entries.iter().rposition(|e| issued(e).is_none()).map_or(0, |at| at + 1);
    let (entries, papers) = entries.split_at_checked(last).unwrap_or((entries, &[]));
    IssueBasis { entries, issued_at: papers.iter().rfind(|e| issued(e) == Some(paper)).map(Entry::at) }
}
