//! One hash for everything a record holds, so that two records can be compared by eye.
//!
//! It says nothing of where entries stand in the whole record: two shops that took the same jobs in, one after the other
//! or mixed, hold the same.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use sha2::{Digest, Sha256};

use crate::attachment::{ContentId, hex};
use crate::failure::ReadError;
use crate::keeping::{PAGE, Store};

/// What the sum begins with, so that another way of summing up can never give the same hash by accident.
const FORM: &str = "witnessmark-state 1\n";

/// The hash of everything that a record holds, 64 small hexadecimal digits.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct StateHash(String);

/// Sums a record up, line by line and name by name.
///
/// # Shapes
///
/// SHA-256 over a first line that names the form; then for each job, by its id, one line with the id, how many entries it
/// has, and the SHA-256 of its lines in the sequence they were kept, each with a line end; then for each attachment, by
/// name, one line with the name.
#[derive(Debug, Clone, Default)]
pub struct StateSum {
    jobs: BTreeMap<String, (u64, Sha256)>,
    attachments: BTreeSet<ContentId>,
}

impl StateSum {
    /// Takes the next line of a job.
    pub fn line(&mut self, job: &str, line: &[u8]) {
        let (entries, sum) = self.jobs.entry(job.to_owned()).or_default();
        *entries += 1;
        sum.update(line);
        sum.update(b"\n");
    }

    /// Takes the name of an attachment; a name given twice is one attachment.
    pub fn attachment(&mut self, id: ContentId) {
        self.attachments.insert(id);
    }

    /// Gives how many jobs there are so far.
    #[must_use]
    pub fn jobs(&self) -> u64 {
        u64::try_from(self.jobs.len()).unwrap_or(u64::MAX)
    }

    /// Gives the hash.
    #[must_use]
    pub fn finish(self) -> StateHash {
        let mut whole = Sha256::new_with_prefix(FORM);
        for (job, (entries, sum)) in self.jobs {
            whole.update(format!("job {job} {entries} {}\n", hex(&sum.finalize())));
        }
        for id in self.attachments {
            whole.update(format!("attachment {id}\n"));
        }
        StateHash(hex(&whole.finalize()))
    }
}

impl fmt::Display for StateHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Gives the hash of everything that a store holds now.
///
/// # Errors  [`ReadError`]
pub async fn state_hash<S: Store>(store: &S) -> Result<StateHash, ReadError> {
    let mut sum = StateSum::default();
    let mut after = 0;
    loop {
        let page = store.rows_after(after, PAGE).await?;
        let Some(last) = page.last() else { break };
        after = last.rank;
        for row in &page {
            sum.line(&row.job, &row.line);
        }
    }
    for attachment in store.attachments().await? {
        sum.attachment(attachment.id);
    }
    Ok(sum.finish())
}

#[cfg(test)]
mod tests {
    use super::StateSum;
    use crate::attachment::ContentId;

    // Worked by hand with another tool, for a record of two jobs and one attachment:
    //   printf 'one\ntwo\n' | sha256sum   -> the first job's hash, and so on for the second;
    //   then sha256sum over the four lines that `StateSum` documents.
    #[test]
    fn the_hash_is_that_of_the_documented_lines_and_does_not_hang_on_the_sequence_of_jobs() {
        let mut mixed = StateSum::default();
        mixed.line("b", b"three");
        mixed.line("a", b"one");
        mixed.attachment(ContentId::of(b"picture"));
        mixed.line("a", b"two");
        let mut sorted = StateSum::default();
        sorted.line("a", b"one");
        sorted.line("a", b"two");
        sorted.line("b", b"three");
        sorted.attachment(ContentId::of(b"picture"));
        let hash = mixed.finish();
        assert_eq!(hash, sorted.clone().finish());
        assert_eq!(hash.to_string(), "48a4a0b86fa4f493339dc31ab7b0fc3ab2434c0dca2fd856e6b6e921c12adaf3");
        let mut swapped = StateSum::default();
        swapped.line("a", b"two");
        swapped.line("a", b"one");
        swapped.line("b", b"three");
        swapped.attachment(ContentId::of(b"picture"));
        assert_ne!(swapped.finish(), sorted.finish(), "the sequence within a job counts");
    }
}
