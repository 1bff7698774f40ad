//! Repairs into a copy: everything that is still as it was sealed goes into a new record, and what does not is named.
//!
//! Lines are copied byte for byte and never sealed anew, so every hash that a paper shows is still found in the copy. Where
//! an entry was lost the chain has a gap there for good, and a check of the copy goes on saying so.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::attachment::ContentId;
use crate::carried::manifest::{Gap, LeftOut};
use crate::carried::sound::{OnSpoiledFile, SoundRows};
use crate::carried::{CarriedError, count, sniffed};
use crate::failure::AppendError;
use crate::folder::attachment_names;
use crate::keeping::Store;
use crate::verify::Progress;

/// What a repair copied, and what it could not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Repaired {
    /// Entries copied.
    pub entries: u64,
    /// Photos copied.
    pub attachments: u64,
    /// What was left out, each with its reason.
    pub left_out: Vec<LeftOut>,
    /// Where a chain has a gap in the copy.
    pub gaps: Vec<Gap>,
    /// Entries that were copied, and whose bytes are not those that were kept.
    pub doubted: Vec<LeftOut>,
}

/// Copies every sound entry and photo of a store in `folder` into another, empty one.
///
/// # Errors
///
/// [`CarriedError`] when nothing can be read at all, or the copy cannot be written
pub async fn repair_into<S: Store, T: Store>(
    store: &S,
    folder: &Path,
    copy: &T,
    watch: &mut (dyn FnMut(Progress) + Send),
) -> Result<Repaired, CarriedError> {
    let mut repaired = Repaired::default();
    // A record whose list of jobs cannot be read is repaired all the same; only the bar then knows no end.
    let of = store.jobs().await.map_or(0, |jobs| jobs.iter().map(|job| job.entries).sum::<u64>());
    let mut rows = SoundRows::new(store, u64::MAX, OnSpoiledFile::GoOn);
    while let Some(page) = rows.next().await? {
        let mut past: BTreeSet<_> = BTreeSet::new();
        for gap in &page.gaps {
            past.extend(gap.before.parse::<anatomy::EntryId>());
        }
        match copy.append_past_gaps(&page.entries, &past).await {
            Ok(kept) => repaired.entries += count(kept.len()),
            // One that does not go in must not hold up the others.
            Err(AppendError::Conflict { .. } | AppendError::OutOfChain { .. }) => {
                for entry in &page.entries {
                    match copy.append_past_gaps(std::slice::from_ref(entry), &BTreeSet::from([entry.id()])).await {
                        Ok(_) => repaired.entries += 1,
                        Err(error @ AppendError::Conflict { .. }) => repaired
                            .left_out
                            .push(LeftOut { what: format!("entry {}", entry.id()), why: error.to_string() }),
                        Err(error) => return Err(CarriedError::Append { error, already: String::new() }),
                    }
                }
            }
            Err(error) => return Err(CarriedError::Append { error, already: String::new() }),
        }
        repaired.left_out.extend(page.left_out);
        repaired.gaps.extend(page.gaps);
        repaired.doubted.extend(page.doubted);
        watch(Progress { done: repaired.entries, of });
    }
    let mut media: BTreeMap<ContentId, String> = BTreeMap::new();
    match store.attachments().await {
        Ok(listed) => media.extend(listed.into_iter().map(|one| (one.id, one.media_type))),
        Err(error) => repaired
            .left_out
            .push(LeftOut { what: "the list of photos".to_owned(), why: format!("{error}; every file was looked at") }),
    }
    let lying = attachment_names(folder).unwrap_or_default();
    let all: BTreeSet<ContentId> = media.keys().copied().chain(lying).collect();
    for id in all {
        let read = crate::attachment::read(folder, id);
        match read {
            Ok(bytes) => {
                let kind = media.get(&id).map_or_else(|| sniffed(&bytes), String::as_str).to_owned();
                copy.keep_attachment(bytes, &kind).await?;
                repaired.attachments += 1;
            }
            Err(error) => {
                repaired.left_out.push(LeftOut { what: format!("photo {id}"), why: error.to_string() });
            }
        }
        watch(Progress { done: repaired.entries + repaired.attachments, of: of + repaired.attachments });
    }
    Ok(repaired)
}
