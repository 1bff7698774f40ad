//! The trait that every store meets, and what it promises.

use std::collections::{BTreeMap, BTreeSet, btree_map};
use std::future::Future;
use std::ops::ControlFlow;

use anatomy::{EntryId, JobId};
use logbook::{Chain, Entry, FIRST_PREV, Unsealed};

use crate::attachment::{Attachment, ContentId};
use crate::entry::{Kept, KeptBy, KeptEntry, Rank};
use crate::failure::{AppendError, AttachmentError, ReadError};
use crate::verify::{self, Progress, Report};

/// How many entries [`Store::all`] and [`Store::verify`] fetch at a time \[ours\]: a few hundred kilobytes.
pub(crate) const PAGE: u32 = 1000;

/// How often [`Store::seal_and_append`] looks at the end of a job again before it gives up \[ours\]: each turn is lost
/// only when another door was faster, so losing this many in a row means that something else is wrong.
const TURNS: u32 = 100;

/// A place that keeps entries and attachments.
///
/// Written for more than one implementation: every one of them is put through the same story in `tests/common`.
///
/// # Invariants
///
/// 1. *Kept* is answered after the commit has reached the disk, and not before.
/// 2. Entries of one append are kept together or not at all.
/// 3. An id is kept once. The same bytes offered again are answered with the rank they already have; other bytes under
///    the same id are refused.
/// 4. The entries of a job form one chain, in rank: the `prev` of each line is the `hash` of the line before it. A line
///    that does not continue the chain is refused, so that the door reads the end again and seals anew. Only a repair,
///    and what is carried on from a repaired record, may leave a gap, where each entry behind a gap is named.
/// 5. Lines come back byte for byte.
/// 6. After a commit or a file sync has failed in a way that leaves it open what is on the disk, nothing more is kept
///    until the program is started again; reading goes on.
///
/// The futures may be dropped at any time: an append then happened fully or not at all.
pub trait Store: Send + Sync {
    /// Keeps the entries, all or none, and says where each one stands.
    ///
    /// # Shapes  answers in the sequence of the entries; no entries give no answers
    /// # Errors  [`AppendError`]; on every one of them none of the entries has been acknowledged
    fn append(&self, entries: &[Entry]) -> impl Future<Output = Result<Vec<Kept>, AppendError>> + Send;

    /// Keeps the entries as [`append`](Self::append) does; those named in `past` may stand without the one before them,
    /// because that one was lost before they came here.
    ///
    /// A store that does not know of gaps refuses such an entry as out of chain.
    ///
    /// # Errors  [`AppendError`]
    fn append_past_gaps(
        &self,
        entries: &[Entry],
        past: &BTreeSet<EntryId>,
    ) -> impl Future<Output = Result<Vec<Kept>, AppendError>> + Send {
        let _unknown_here = past;
        self.append(entries)
    }

    /// Gives each entry its place at the end of its job, seals it and keeps it; all or none.
    ///
    /// This is what a door calls with what its devices send. A device that heard no answer sends the same once more: an
    /// entry that is kept with the same content, seal aside, is answered with the rank it has.
    ///
    /// # Shapes
    ///
    /// answers in the sequence of the entries; entries of several jobs may be mixed
    ///
    /// # Errors
    ///
    /// [`AppendError`]; `NotSealed` when an entry's body does not fit its kind.
    fn seal_and_append(&self, entries: &[Unsealed]) -> impl Future<Output = Result<Vec<Kept>, AppendError>> + Send {
        async move {
            let mut turn = 0;
            loop {
                turn += 1;
                match seal_once(self, entries, None).await {
                    // Another door appended to the job between the look at its end and the append: look again.
                    Err(AppendError::OutOfChain { .. }) if turn < TURNS => {}
                    done => return done,
                }
            }
        }
    }

    /// Keeps entries that were judged by a job as it stood: as [`seal_and_append`](Self::seal_and_append), but only if the
    /// chain of that job still ends with the hash it had then.
    ///
    /// Whoever asks whether a job allows an entry reads the job first; another shop may write in between, and what it wrote
    /// may be what forbids it. So on `OutOfChain` the door reads the job again, judges again, and comes back.
    ///
    /// # Shapes
    ///
    /// answers in the sequence of the entries; those of other jobs find their place as they do elsewhere, in one turn only
    ///
    /// # Errors
    ///
    /// [`AppendError`]; `OutOfChain` when the job, or another one of the call, has grown since.
    fn seal_after(
        &self,
        judged: Judged<'_>,
        entries: &[Unsealed],
    ) -> impl Future<Output = Result<Vec<Kept>, AppendError>> + Send {
        seal_once(self, entries, Some(judged))
    }

    /// Lists the jobs, in the order of their first entries.
    ///
    /// # Errors  [`ReadError`]
    fn jobs(&self) -> impl Future<Output = Result<Vec<JobKept>, ReadError>> + Send;

    /// Lists the entries of one job, in rank; an unknown job has none.
    ///
    /// # Errors  [`ReadError`]
    fn entries_of(&self, job: JobId) -> impl Future<Output = Result<Vec<KeptEntry>, ReadError>> + Send;

    /// Gives one entry, if it is kept.
    ///
    /// # Errors  [`ReadError`]
    fn entry(&self, id: EntryId) -> impl Future<Output = Result<Option<KeptEntry>, ReadError>> + Send;

    /// Gives the last entry of a job, whose hash the next line continues.
    ///
    /// # Errors  [`ReadError`]
    fn last_of(&self, job: JobId) -> impl Future<Output = Result<Option<KeptEntry>, ReadError>> + Send;

    /// Lists at most `limit` entries that stand after `rank`, in rank; start with rank 0.
    ///
    /// # Errors  [`ReadError`]
    fn entries_after(&self, rank: Rank, limit: u32) -> impl Future<Output = Result<Vec<KeptEntry>, ReadError>> + Send;

    /// Lists every entry, in rank.
    ///
    /// # Errors  [`ReadError`]
    fn all(&self) -> impl Future<Output = Result<Vec<KeptEntry>, ReadError>> + Send {
        async {
            let mut all = Vec::new();
            let mut after = 0;
            loop {
                let page = self.entries_after(after, PAGE).await?;
                match page.last() {
                    Some(last) => after = last.rank,
                    None => return Ok(all),
                }
                all.extend(page);
            }
        }
    }

    /// Keeps the bytes of an attachment and says under which name; the same bytes again are the same attachment.
    ///
    /// # Errors  [`AttachmentError`]
    fn keep_attachment(
        &self,
        bytes: Vec<u8>,
        media_type: &str,
    ) -> impl Future<Output = Result<Attachment, AttachmentError>> + Send;

    /// Gives the bytes of an attachment, after comparing them with their name.
    ///
    /// # Errors  [`AttachmentError`]; `Unknown` when it was never kept, `Missing` and `Spoiled` when it was
    fn attachment(&self, id: ContentId) -> impl Future<Output = Result<Vec<u8>, AttachmentError>> + Send;

    /// Lists the attachments, by name.
    ///
    /// # Errors  [`ReadError`]
    fn attachments(&self) -> impl Future<Output = Result<Vec<Attachment>, ReadError>> + Send;

    /// Walks the whole record and reports what no longer agrees; changes nothing.
    ///
    /// # Shapes  `watch` is asked after every page and may stop the walk; the report then says so
    /// # Errors  [`ReadError`] when the store cannot be read at all; what is spoiled inside it is in the report
    fn verify(
        &self,
        watch: &mut (dyn FnMut(Progress) -> ControlFlow<()> + Send),
    ) -> impl Future<Output = Result<Report, ReadError>> + Send
    where
        Self: Sized,
    {
        verify::walk(self, watch)
    }

    /// Lists at most `limit` rows after `rank` as they lie, without reading them: for [`verify`](Self::verify) only.
    ///
    /// # Errors  [`ReadError`]
    fn rows_after(&self, rank: Rank, limit: u32) -> impl Future<Output = Result<Vec<verify::Row>, ReadError>> + Send;

    /// Lists what the engine beneath finds wrong with its own files: for [`verify`](Self::verify) only.
    ///
    /// # Errors  [`ReadError`]
    fn engine_complaints(&self) -> impl Future<Output = Result<Vec<String>, ReadError>> + Send;

    /// Says whether anything can be kept now.
    fn standing(&self) -> Standing;
}

/// Whether a store keeps anything now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// Entries and attachments are kept.
    Writable,
    /// Reading works, nothing is kept.
    ReadOnly {
        /// Why, in words for the technician.
        because: String,
    },
}

/// A job as the record knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobKept {
    /// The job's id.
    pub job: JobId,
    /// How many entries it has.
    pub entries: u64,
    /// Rank of its first entry.
    pub first: Rank,
    /// Rank of its last entry.
    pub last: Rank,
}

/// A job as it stood when an entry was judged by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged<'a> {
    /// The job.
    pub job: JobId,
    /// The hash of its last entry then; none for a job that had no entry.
    pub end: Option<&'a str>,
}

/// Seals the entries against the ends of their jobs as they are now, and appends them; the end of the judged job must
/// still be the one it was judged by.
async fn seal_once<S: Store + ?Sized>(
    store: &S,
    entries: &[Unsealed],
    judged: Option<Judged<'_>>,
) -> Result<Vec<Kept>, AppendError> {
    let unreadable = |error: ReadError| AppendError::Unreadable { why: error.to_string() };
    let mut chains: BTreeMap<JobId, Chain> = BTreeMap::new();
    let mut sealed: Vec<Entry> = Vec::new();
    // For each entry asked for: the answer, or its place among those that are sealed now.
    let mut answers: Vec<Result<Kept, usize>> = Vec::new();
    for unsealed in entries {
        let conflict = |rank| AppendError::Conflict { id: unsealed.id, rank };
        if let Some(place) = sealed.iter().position(|entry| entry.id() == unsealed.id) {
            // Sent twice in one call: one entry, if it is the same one.
            let same = sealed.get(place).is_some_and(|entry| entry.unsealed() == *unsealed);
            answers.push(if same {
                Err(place)
            } else {
                return Err(conflict(0));
            });
            continue;
        }
        if let Some(there) = store.entry(unsealed.id).await.map_err(unreadable)? {
            let same = there.entry().is_ok_and(|entry| entry.unsealed() == *unsealed);
            if !same {
                return Err(conflict(there.rank));
            }
            answers.push(Ok(Kept { id: unsealed.id, rank: there.rank, by: KeptBy::AnEarlierCall }));
            continue;
        }
        let chain = match chains.entry(unsealed.job) {
            btree_map::Entry::Occupied(there) => there.into_mut(),
            btree_map::Entry::Vacant(free) => {
                let last = match store.last_of(unsealed.job).await.map_err(unreadable)? {
                    None => None,
                    Some(last) => Some(last.entry().map_err(|error| AppendError::Unreadable {
                        why: format!("the last entry of job {}, at rank {}: {error}", last.job, last.rank),
                    })?),
                };
                if let Some(judged) = judged.filter(|judged| judged.job == unsealed.job) {
                    let end = last.as_ref().map(Entry::hash);
                    if judged.end != end {
                        return Err(AppendError::OutOfChain {
                            id: unsealed.id,
                            job: unsealed.job,
                            named: judged.end.unwrap_or(FIRST_PREV).to_owned(),
                            end: end.unwrap_or(FIRST_PREV).to_owned(),
                        });
                    }
                }
                // How many there are is of no use here; only the end of the chain is.
                free.insert(last.map_or_else(|| Chain::new(unsealed.job), |entry| Chain::after(&entry, 0)))
            }
        };
        let entry = chain
            .append_unsealed(unsealed.clone())
            .map_err(|error| AppendError::NotSealed { id: unsealed.id, why: error.to_string() })?;
        answers.push(Err(sealed.len()));
        sealed.push(entry);
    }
    let kept = store.append(&sealed).await?;
    Ok(answers
        .into_iter()
        .filter_map(|answer| match answer {
            Ok(kept) => Some(kept),
            Err(place) => kept.get(place).copied(),
        })
        .collect())
}
