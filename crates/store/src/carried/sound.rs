//! Reads a record row by row and tells lines that are as they were sealed from those that are not.

use std::collections::BTreeMap;

use anatomy::JobId;
use logbook::{Entry, FIRST_PREV};

use super::manifest::{Gap, LeftOut};
use crate::entry::{LONGEST_LINE, Rank, sha256_of};
use crate::failure::ReadError;
use crate::keeping::{PAGE, Store};
use crate::verify::Row;

/// How many rows in a run may be unreadable before the reader gives up looking for a readable one \[ours\]: more than one
/// spoiled page of the file can hold.
const MOST_UNREADABLE: u64 = 20_000;

/// What to do where the file beneath cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum OnSpoiledFile {
    /// End with the error.
    Stop,
    /// Look for the next row that can be read.
    GoOn,
}

/// The rows of one page.
#[derive(Debug, Default)]
pub(crate) struct Page {
    /// Entries as they were sealed, in rank.
    pub(crate) entries: Vec<Entry>,
    /// Where a chain does not go on.
    pub(crate) gaps: Vec<Gap>,
    /// Rows that are no entries any more.
    pub(crate) left_out: Vec<LeftOut>,
    /// Entries whose seal holds, and whose bytes are not those that were kept.
    pub(crate) doubted: Vec<LeftOut>,
}

/// A walk over the rows of a store.
#[derive(Debug)]
pub(crate) struct SoundRows<'s, S> {
    store: &'s S,
    after: Rank,
    up_to: Rank,
    ends: BTreeMap<JobId, Option<String>>,
    on_spoiled: OnSpoiledFile,
}

impl<'s, S: Store> SoundRows<'s, S> {
    /// Begins before the first row and ends with the row of this rank.
    pub(crate) fn new(store: &'s S, up_to: Rank, on_spoiled: OnSpoiledFile) -> Self {
        Self { store, after: 0, up_to, ends: BTreeMap::new(), on_spoiled }
    }

    /// Gives the rank of the last row read.
    pub(crate) fn after(&self) -> Rank {
        self.after
    }

    /// Gives the next page; nothing after the last one.
    pub(crate) async fn next(&mut self) -> Result<Option<Page>, ReadError> {
        if self.after >= self.up_to {
            return Ok(None);
        }
        let mut page = Page::default();
        let rows = match self.store.rows_after(self.after, PAGE).await {
            Ok(rows) => rows,
            Err(error) if self.on_spoiled == OnSpoiledFile::Stop => return Err(error),
            Err(_) => self.one_by_one(&mut page).await?,
        };
        let mut any = !page.left_out.is_empty();
        let up_to = self.up_to;
        for row in rows.into_iter().filter(|row| row.rank <= up_to) {
            any = true;
            if row.rank > self.after + 1 {
                page.left_out.push(gone(self.after + 1, row.rank - 1, "is gone from the record"));
            }
            self.after = row.rank;
            self.look_at(&row, &mut page);
        }
        Ok(any.then_some(page))
    }

    /// Reads on one row at a time, past rows that cannot be read.
    async fn one_by_one(&mut self, page: &mut Page) -> Result<Vec<Row>, ReadError> {
        let from = self.after + 1;
        let mut first_error = None;
        for skipped in 0..MOST_UNREADABLE {
            match self.store.rows_after(self.after + skipped, 1).await {
                Ok(rows) => {
                    let found = rows.first().map(|row| row.rank);
                    if skipped > 0 && found.is_some() {
                        let to = found.map_or(from, |rank| rank.saturating_sub(1));
                        page.left_out.push(gone(from, to, "cannot be read, the file beneath is spoiled there"));
                        self.after = to;
                    }
                    return Ok(rows);
                }
                Err(error) => first_error = first_error.or(Some(error)),
            }
        }
        let why = first_error.map_or_else(String::new, |error| error.to_string());
        if from == 1 {
            return Err(ReadError::Spoiled { rank: 1, why });
        }
        // Nothing further can be read: say so once, and end the walk.
        page.left_out.push(LeftOut { what: format!("everything from rank {from} on"), why });
        self.up_to = 0;
        Ok(Vec::new())
    }

    fn look_at(&mut self, row: &Row, page: &mut Page) {
        let filed_under: Option<JobId> = row.job.parse().ok();
        let what = || format!("entry {} at rank {}, job {}", row.id, row.rank, row.job);
        let read = std::str::from_utf8(&row.line)
            .map_err(|_| "it is not text".to_owned())
            .and_then(|line| Entry::from_line(line).map_err(|error| error.to_string()))
            .and_then(|entry| match entry.line() {
                line if line.contains(['\n', '\r']) => Err("it is more than one line".to_owned()),
                line if line.len() > LONGEST_LINE => Err("it is longer than an entry can be".to_owned()),
                _ => Ok(entry),
            });
        let entry = match read {
            Ok(entry) => entry,
            Err(why) => {
                page.left_out.push(LeftOut { what: what(), why });
                if let Some(job) = filed_under {
                    self.ends.insert(job, None);
                }
                return;
            }
        };
        if row.sha256 != sha256_of(&row.line) {
            let why = "its seal holds, and its bytes are not those that were kept; it is copied as it lies".to_owned();
            page.doubted.push(LeftOut { what: what(), why });
        }
        let job = entry.job();
        let goes_on = match self.ends.get(&job) {
            Some(end) => end.as_deref() == Some(entry.prev()),
            None => entry.prev() == FIRST_PREV,
        };
        if !goes_on {
            page.gaps.push(Gap { job: job.to_string(), before: entry.id().to_string() });
        }
        self.ends.insert(job, Some(entry.hash().to_owned()));
        page.entries.push(entry);
    }
}

fn gone(from: Rank, to: Rank, why: &str) -> LeftOut {
    let what =
        if from == to { format!("the entry at rank {from}") } else { format!("the entries at rank {from} to {to}") };
    LeftOut { what, why: why.to_owned() }
}
