//! What comes back: the line of an entry, byte for byte, and where it stands.

use anatomy::{EntryId, JobId};
use logbook::Entry;
use sha2::{Digest, Sha256};

/// The longest line taken, in bytes \[ours\]: an entry is words and figures, and photos are attachments.
pub const LONGEST_LINE: usize = 1 << 20;

/// Where an entry stands in the record: 1 for the first entry ever kept, then on without a gap.
pub type Rank = u64;

/// An entry as it is kept.
///
/// It holds the line and not what the line says: a line that this build cannot read, or that was spoiled on the disk,
/// must not keep the lines beside it from being read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptEntry {
    /// Where it stands in the record.
    pub rank: Rank,
    /// The entry's id.
    pub id: EntryId,
    /// The job it belongs to.
    pub job: JobId,
    /// The line, byte for byte as it was sealed.
    pub line: String,
}

/// The answer for one entry of an append: it is on the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kept {
    /// The entry's id.
    pub id: EntryId,
    /// Where it stands in the record.
    pub rank: Rank,
    /// Whether this call kept it, or an earlier one had.
    pub by: KeptBy,
}

/// Which call kept an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeptBy {
    /// The call that is answered here.
    ThisCall,
    /// An earlier call, with the same content.
    AnEarlierCall,
}

impl KeptEntry {
    /// Gives the entry that the line holds.
    ///
    /// # Errors
    ///
    /// [`logbook::LineError`] when the line is no longer what was sealed.
    pub fn entry(&self) -> Result<Entry, logbook::LineError> {
        Entry::from_line(&self.line)
    }
}

/// Gives the SHA-256 of some bytes.
pub(crate) fn sha256_of(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}
