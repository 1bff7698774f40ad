//! The store that several shops share: one PostgreSQL database, attachments in it.
//!
//! Modules in reading order, in `postgres/`: `opening` (is the server fit, is the schema ours), `writing`
//! (one transaction, and what becomes of it when the connection breaks), `changes` (what other shops kept), `trouble`
//! (what the server's complaints mean).

mod changes;
mod opening;
mod trouble;
mod writing;

use std::collections::BTreeSet;
use std::str::FromStr;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use anatomy::{EntryId, JobId};
use logbook::{Entry, Unsealed};
use sqlx::postgres::{PgPool, PgRow};
use sqlx::{PgConnection, Row as _};

pub use changes::Changes;
pub use opening::PgOpening;

use writing::Asked;

use crate::attachment::{Attachment, ContentId};
use crate::entry::{Kept, KeptEntry, Rank};
use crate::failure::{AppendError, AttachmentError, ReadError};
use crate::keeping::{JobKept, Judged, Standing, Store};
use crate::place::{Address, Place};
use crate::verify::Row;

/// The lock that whoever writes holds to the end of the transaction ("wtmk" as four bytes): ranks are then given in the
/// sequence of the commits, without a gap.
pub const WRITING_LOCK: i64 = 2_004_118_891;
/// The channel on which a shop that listens hears that something was kept.
const CHANNEL: &str = "witnessmark_kept";
/// How long one looks whether a server that went away is back \[ours\].
const BETWEEN_LOOKS: Duration = Duration::from_secs(1);

const LOOK_WHETHER_IT_RUNS: &str =
    "look whether the server runs; what was kept is safe with it, and this goes on by itself when it answers";
const VERIFY: &str = "ask whoever looks after the server, and run `witnessmark verify`";
const TRY_AGAIN: &str = "nothing that was kept before is lost; try again";

/// The store on a server. Copies of it are handles to the same store.
///
/// # Invariants  of all who write to one database, one transaction at a time is written
#[derive(Debug, Clone)]
pub struct PgStore {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    address: Address,
    /// Connections that read, and those that keep attachments.
    pool: PgPool,
    /// The one connection of this process that appends; missing until it is wanted, and after it broke.
    writing: tokio::sync::Mutex<Option<PgConnection>>,
    /// Why nothing is ever kept through this handle.
    closed: Option<String>,
    /// Why nothing can be kept at present; goes by itself.
    away: Mutex<Option<String>>,
    /// Whether somebody looks already whether the server is back.
    looking: AtomicBool,
    /// How long a call goes on trying.
    patience: Duration,
}

impl PgStore {
    /// Closes the connections.
    pub async fn close(self) {
        let writing = self.inner.writing.lock().await.take();
        if let Some(connection) = writing {
            // What was kept is kept; a connection that does not say goodbye changes nothing.
            let _closed = sqlx::Connection::close(connection).await;
        }
        self.inner.pool.close().await;
    }

    /// Gives the address.
    #[must_use]
    pub fn address(&self) -> &Address {
        &self.inner.address
    }

    /// Gives how the server secures a commit: `fsync`, `full_page_writes` and `synchronous_commit` of a connection that writes.
    ///
    /// # Errors  [`ReadError`] when the server does not answer
    pub async fn durability(&self) -> Result<(String, String, String), ReadError> {
        let row = sqlx::query(
            "SELECT current_setting('fsync') AS fsync, current_setting('full_page_writes') AS pages, \
             current_setting('synchronous_commit') AS commit",
        )
        .fetch_one(&self.inner.pool)
        .await
        .map_err(|error| self.unread(&error))?;
        let read = || Ok((row.try_get("fsync")?, row.try_get("pages")?, row.try_get("commit")?));
        read().map_err(|error: sqlx::Error| self.unread(&error))
    }

    /// Follows what is kept from now on, by whomever.
    #[must_use]
    pub fn changes(&self) -> Changes {
        Changes::of(self.clone())
    }

    fn place(&self) -> Place {
        Place::Server(self.inner.address.clone())
    }

    /// Asks, and once more on another connection where the one it was asked on broke meanwhile.
    async fn asked<T, F>(&self, ask: impl Fn() -> F) -> Result<T, ReadError>
    where
        F: Future<Output = Result<T, sqlx::Error>>,
    {
        let mut done = ask().await;
        if done.as_ref().is_err_and(trouble::is_broken) {
            done = ask().await;
        }
        done.map_err(|error| self.unread(&error))
    }

    fn unread(&self, error: &sqlx::Error) -> ReadError {
        let why = trouble::said(error);
        if trouble::is_away(error) {
            self.went_away(&why);
            return ReadError::Storage { place: self.place(), why, next: LOOK_WHETHER_IT_RUNS };
        }
        ReadError::Storage { place: self.place(), why, next: VERIFY }
    }

    fn kept(&self, row: &PgRow) -> Result<KeptEntry, ReadError> {
        let rank = rank_of(row, "rank").map_err(|error| self.unread(&error))?;
        let line: Vec<u8> = row.try_get("line").map_err(|error| self.unread(&error))?;
        Ok(KeptEntry {
            rank,
            id: self.id_of(row, "id", rank)?,
            job: self.id_of(row, "job", rank)?,
            line: String::from_utf8(line)
                .map_err(|_| ReadError::Spoiled { rank, why: "its line is not text".to_owned() })?,
        })
    }

    fn id_of<Id: FromStr<Err = anatomy::IdError>>(
        &self,
        row: &PgRow,
        column: &str,
        rank: Rank,
    ) -> Result<Id, ReadError> {
        let text: String = row.try_get(column).map_err(|error| self.unread(&error))?;
        text.parse().map_err(|error: anatomy::IdError| ReadError::Spoiled { rank, why: error.to_string() })
    }
}

impl Store for PgStore {
    async fn append(&self, entries: &[Entry]) -> Result<Vec<Kept>, AppendError> {
        self.append_past_gaps(entries, &BTreeSet::new()).await
    }

    async fn append_past_gaps(&self, entries: &[Entry], past: &BTreeSet<EntryId>) -> Result<Vec<Kept>, AppendError> {
        self.keep(Asked::Sealed(entries, past)).await
    }

    async fn seal_and_append(&self, entries: &[Unsealed]) -> Result<Vec<Kept>, AppendError> {
        // Sealed with the lock in hand: whoever waits for it finds the end of the job as it is then.
        self.keep(Asked::Unsealed(entries, None)).await
    }

    async fn seal_after(&self, judged: Judged<'_>, entries: &[Unsealed]) -> Result<Vec<Kept>, AppendError> {
        self.keep(Asked::Unsealed(entries, Some(judged))).await
    }

    async fn jobs(&self) -> Result<Vec<JobKept>, ReadError> {
        let rows = self
            .asked(|| {
                sqlx::query(
                    "SELECT job, count(*) AS entries, min(rank) AS first, max(rank) AS last FROM witnessmark.entries \
             GROUP BY job ORDER BY first",
                )
                .fetch_all(&self.inner.pool)
            })
            .await?;
        rows.iter()
            .map(|row| {
                let first = rank_of(row, "first").map_err(|error| self.unread(&error))?;
                Ok(JobKept {
                    job: self.id_of(row, "job", first)?,
                    entries: rank_of(row, "entries").map_err(|error| self.unread(&error))?,
                    first,
                    last: rank_of(row, "last").map_err(|error| self.unread(&error))?,
                })
            })
            .collect()
    }

    async fn entries_of(&self, job: JobId) -> Result<Vec<KeptEntry>, ReadError> {
        let rows = self
            .asked(|| {
                sqlx::query("SELECT rank, id, job, line FROM witnessmark.entries WHERE job = $1 ORDER BY rank")
                    .bind(job.to_string())
                    .fetch_all(&self.inner.pool)
            })
            .await?;
        rows.iter().map(|row| self.kept(row)).collect()
    }

    async fn entry(&self, id: EntryId) -> Result<Option<KeptEntry>, ReadError> {
        let row = self
            .asked(|| {
                sqlx::query("SELECT rank, id, job, line FROM witnessmark.entries WHERE id = $1")
                    .bind(id.to_string())
                    .fetch_optional(&self.inner.pool)
            })
            .await?;
        row.as_ref().map(|row| self.kept(row)).transpose()
    }

    async fn last_of(&self, job: JobId) -> Result<Option<KeptEntry>, ReadError> {
        let row = self
            .asked(|| {
                sqlx::query(
                    "SELECT rank, id, job, line FROM witnessmark.entries WHERE job = $1 ORDER BY rank DESC LIMIT 1",
                )
                .bind(job.to_string())
                .fetch_optional(&self.inner.pool)
            })
            .await?;
        row.as_ref().map(|row| self.kept(row)).transpose()
    }

    async fn entries_after(&self, rank: Rank, limit: u32) -> Result<Vec<KeptEntry>, ReadError> {
        let rows = self
            .asked(|| {
                sqlx::query(
                    "SELECT rank, id, job, line FROM witnessmark.entries WHERE rank > $1 ORDER BY rank LIMIT $2",
                )
                .bind(i64::try_from(rank).unwrap_or(i64::MAX))
                .bind(i64::from(limit))
                .fetch_all(&self.inner.pool)
            })
            .await?;
        rows.iter().map(|row| self.kept(row)).collect()
    }

    async fn keep_attachment(&self, bytes: Vec<u8>, media_type: &str) -> Result<Attachment, AttachmentError> {
        self.put_attachment(&bytes, media_type).await
    }

    async fn attachment(&self, id: ContentId) -> Result<Vec<u8>, AttachmentError> {
        let ask = || {
            sqlx::query_scalar("SELECT bytes FROM witnessmark.attachments WHERE sha256 = $1")
                .bind(id.to_string())
                .fetch_optional(&self.inner.pool)
        };
        let bytes: Result<Option<Vec<u8>>, ReadError> = self.asked(ask).await;
        match bytes {
            Ok(Some(bytes)) if ContentId::of(&bytes) == id => Ok(bytes),
            Ok(Some(_)) => Err(AttachmentError::Spoiled { id }),
            Ok(None) => Err(AttachmentError::Unknown { id }),
            Err(ReadError::Storage { place, why, next }) => Err(AttachmentError::Storage { place, why, next }),
            Err(ReadError::Spoiled { .. }) => Err(AttachmentError::Spoiled { id }),
        }
    }

    async fn attachments(&self) -> Result<Vec<Attachment>, ReadError> {
        let rows = self
            .asked(|| {
                sqlx::query("SELECT sha256, size, media_type FROM witnessmark.attachments ORDER BY sha256")
                    .fetch_all(&self.inner.pool)
            })
            .await?;
        rows.iter().map(attachment_of).collect::<Result<_, sqlx::Error>>().map_err(|error| self.unread(&error))
    }

    async fn rows_after(&self, rank: Rank, limit: u32) -> Result<Vec<Row>, ReadError> {
        let rows = self
            .asked(|| {
                sqlx::query(
            "SELECT rank, id, job, line, sha256 FROM witnessmark.entries WHERE rank > $1 ORDER BY rank LIMIT $2",
        )
        .bind(i64::try_from(rank).unwrap_or(i64::MAX))
        .bind(i64::from(limit))
        .fetch_all(&self.inner.pool)
            })
            .await?;
        rows.iter()
            .map(|row| {
                Ok(Row {
                    rank: rank_of(row, "rank")?,
                    id: row.try_get("id")?,
                    job: row.try_get("job")?,
                    line: row.try_get("line")?,
                    sha256: row.try_get("sha256")?,
                })
            })
            .collect::<Result<_, sqlx::Error>>()
            .map_err(|error| self.unread(&error))
    }

    async fn engine_complaints(&self) -> Result<Vec<String>, ReadError> {
        let mut complaints = Vec::new();
        let homeless: i64 = self
            .asked(|| {
                sqlx::query_scalar(
                    "SELECT count(*) FROM witnessmark.entries e \
             WHERE NOT EXISTS (SELECT 1 FROM witnessmark.jobs j WHERE j.id = e.job)",
                )
                .fetch_one(&self.inner.pool)
            })
            .await?;
        if homeless > 0 {
            complaints.push(format!("{homeless} entries belong to a job that is not in the list of jobs"));
        }
        let guards: i64 = self
            .asked(|| {
                sqlx::query_scalar(
                    "SELECT count(*) FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid \
             JOIN pg_namespace n ON n.oid = c.relnamespace \
             WHERE n.nspname = 'witnessmark' AND NOT t.tgisinternal AND t.tgenabled IN ('O', 'A')",
                )
                .fetch_one(&self.inner.pool)
            })
            .await?;
        if guards < GUARDS {
            complaints.push(format!(
                "{} of the {GUARDS} guards against change and removal are off or gone",
                GUARDS.saturating_sub(guards)
            ));
        }
        Ok(complaints)
    }

    fn standing(&self) -> Standing {
        let away = self.inner.away.lock().unwrap_or_else(PoisonError::into_inner).clone();
        match self.inner.closed.clone().or(away) {
            None => Standing::Writable,
            Some(because) => Standing::ReadOnly { because },
        }
    }
}

/// How many triggers the schema has against change and removal.
const GUARDS: i64 = 6;

fn rank_of(row: &PgRow, column: &str) -> Result<u64, sqlx::Error> {
    let number: i64 = row.try_get(column)?;
    u64::try_from(number).map_err(|error| sqlx::Error::Decode(Box::new(error)))
}

fn attachment_of(row: &PgRow) -> Result<Attachment, sqlx::Error> {
    let name: String = row.try_get("sha256")?;
    Ok(Attachment {
        id: name.parse().map_err(|error| sqlx::Error::Decode(Box::new(error)))?,
        size: rank_of(row, "size")?,
        media_type: row.try_get("media_type")?,
    })
}
