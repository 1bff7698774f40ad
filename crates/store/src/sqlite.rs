//! The embedded store: one SQLite file in a folder, attachments beside it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use anatomy::{EntryId, JobId};
use logbook::{Entry, FIRST_PREV};
use sqlx::migrate::MigrateError;
use sqlx::pool::PoolConnection;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{Connection as _, Row as _, Sqlite, Transaction};

use crate::attachment::{self, Attachment, ContentId};
use crate::entry::{Kept, KeptBy, KeptEntry, LONGEST_LINE, Rank, sha256_of};
use crate::failure::{AppendError, AttachmentError, OpenError, ReadError};
use crate::folder::{self, FolderLock, RECORD_FILE};
use crate::keeping::{JobKept, Standing, Store};
use crate::schema::{SQLITE_SCHEMA, sqlite_migrations};
use crate::verify::Row;

/// How many readers work at once \[ours\]: readers do not wait for the writer, and the disk is shared anyway.
const READERS: u32 = 4;
/// How long a connection waits for a file lock before it gives up \[ours\]; only a tool from outside can hold one.
const PATIENCE: Duration = Duration::from_secs(5);
/// Size of a page of the file in bytes; SQLite's own default, named because the size limit is counted in pages.
const PAGE_BYTES: u64 = 4096;
/// SQLite's primary result codes [published: SQLite, Result and Error Codes].
const CODE_IO: i64 = 10;
const CODE_CORRUPT: i64 = 11;
const CODE_FULL: i64 = 13;
const CODE_NOT_A_DATABASE: i64 = 26;

const LOOK_AND_START_AGAIN: &str = "whether it reached the disk is not known, so nothing more is kept until witnessmark is started again; then look \
     whether the entry is there and, if not, keep it again";
const LOOK_AND_VERIFY: &str = "check the disk and run `witnessmark verify`";
const TRY_AGAIN: &str = "nothing that was kept before is lost; try again";

/// How a folder is opened.
#[derive(Debug, Clone)]
pub struct Opening {
    folder: PathBuf,
    largest_bytes: Option<u64>,
}

impl Opening {
    /// Opens this folder, without a limit of its own on the record's size.
    #[must_use]
    pub fn of(folder: impl Into<PathBuf>) -> Self {
        Self { folder: folder.into(), largest_bytes: None }
    }

    /// Refuses to let the record's file grow beyond this size; reaching it is met like a full disk.
    ///
    /// # Units  bytes, rounded down to whole pages of 4096
    #[must_use]
    pub fn no_larger_than(mut self, bytes: u64) -> Self {
        self.largest_bytes = Some(bytes);
        self
    }
}

/// The embedded store. Copies of it are handles to the same store.
///
/// # Invariants  one process at a time writes to a folder; one transaction at a time is written
#[derive(Debug, Clone)]
pub struct SqliteStore {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    folder: PathBuf,
    /// The one connection that writes; missing when the folder was opened to look only.
    writer: Option<SqlitePool>,
    readers: SqlitePool,
    /// Why nothing more is kept; set once, until the program is started again.
    stopped: OnceLock<String>,
    /// Declared last, so that it is let go after the connections.
    _lock: Option<FolderLock>,
}

impl SqliteStore {
    /// Opens a folder for reading and writing, and makes it if it is not there.
    ///
    /// # Errors  [`OpenError`]: in use by another process, not ours, written by a newer build, or the disk failed
    pub async fn open(opening: Opening) -> Result<Self, OpenError> {
        let folder = opening.folder.clone();
        let lock = in_background({
            let folder = folder.clone();
            move || folder::take(&folder)
        })
        .await
        .map_err(|why| OpenError::Storage { place: folder.clone().into(), why })??;
        let file = folder.join(RECORD_FILE);
        let storage = |error: sqlx::Error| OpenError::Storage { place: folder.clone().into(), why: error.to_string() };
        if file.exists() {
            refuse_newer(&folder, &file).await?;
        }
        let mut connect = SqliteConnectOptions::new()
            .filename(&file)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(PATIENCE)
            // Lets the triggers against removal fire also when a row would be replaced.
            .pragma("recursive_triggers", "ON");
        if let Some(bytes) = opening.largest_bytes {
            connect = connect.pragma("max_page_count", (bytes / PAGE_BYTES).max(1).to_string());
        }
        let writer = pool(1).connect_with(connect).await.map_err(storage)?;
        sqlite_migrations().run(&writer).await.map_err(|error| {
            let (place, why) = (folder.clone().into(), error.to_string());
            if matches!(error, MigrateError::VersionMismatch(_) | MigrateError::Dirty(_)) {
                OpenError::SchemaAltered { place, why }
            } else {
                OpenError::Storage { place, why }
            }
        })?;
        folder::sync_folder(&folder)
            .map_err(|error| OpenError::Storage { place: folder.clone().into(), why: error.to_string() })?;
        let readers = pool(READERS).connect_with(reading(&file)).await.map_err(storage)?;
        Ok(Self {
            inner: Arc::new(Inner {
                folder,
                writer: Some(writer),
                readers,
                stopped: OnceLock::new(),
                _lock: Some(lock),
            }),
        })
    }

    /// Opens a folder to look only: also one that another process is writing to, or that a newer build made.
    ///
    /// # Errors  [`OpenError`]: there is no record, or it cannot be read
    pub async fn open_to_read(folder: impl Into<PathBuf>) -> Result<Self, OpenError> {
        let folder = folder.into();
        let file = folder.join(RECORD_FILE);
        if !file.exists() {
            return Err(OpenError::NothingThere { place: folder.into() });
        }
        // Only to complain about a spoiled one: a newer format may be read.
        let _format = folder::format_of(&folder)?;
        let readers = pool(READERS)
            .connect_with(reading(&file))
            .await
            .map_err(|error| OpenError::Storage { place: folder.clone().into(), why: error.to_string() })?;
        let stopped = OnceLock::new();
        let _first =
            stopped.set("the folder was opened to look only; open it for writing to keep something".to_owned());
        Ok(Self { inner: Arc::new(Inner { folder, writer: None, readers, stopped, _lock: None }) })
    }

    /// Closes the files and lets the folder go, once every other handle is gone or idle.
    pub async fn close(self) {
        self.inner.readers.close().await;
        if let Some(writer) = &self.inner.writer {
            writer.close().await;
        }
    }

    /// Gives the folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.inner.folder
    }

    /// Gives how the writing connection secures a commit: log mode, sync level and whether foreign keys are looked at.
    ///
    /// # Shapes  (`wal`, 2 for full, 1 for on) is what this room stands for
    /// # Errors  [`ReadError`] when the folder was opened to look only, or cannot be read
    pub async fn durability(&self) -> Result<(String, i64, i64), ReadError> {
        let writer = self.writer().map_err(|why| ReadError::Storage {
            place: self.inner.folder.clone().into(),
            why,
            next: LOOK_AND_VERIFY,
        })?;
        let ask = async || -> Result<(String, i64, i64), sqlx::Error> {
            let mut connection = writer.acquire().await?;
            let log = sqlx::query("PRAGMA journal_mode").fetch_one(&mut *connection).await?;
            let sync = sqlx::query("PRAGMA synchronous").fetch_one(&mut *connection).await?;
            let keys = sqlx::query("PRAGMA foreign_keys").fetch_one(&mut *connection).await?;
            Ok((log.try_get(0)?, sync.try_get(0)?, keys.try_get(0)?))
        };
        ask().await.map_err(|error| self.unread(&error))
    }

    /// Gives the connection that writes, or why there is none.
    fn writer(&self) -> Result<&SqlitePool, String> {
        if let Some(because) = self.inner.stopped.get() {
            return Err(because.clone());
        }
        self.inner.writer.as_ref().ok_or_else(|| "the folder was opened to look only".to_owned())
    }

    /// Says what a failed write means, and stops all further keeping when it leaves the disk in doubt.
    ///
    /// A full disk is not in doubt: the write was refused before anything was synced, so the store goes on as soon as
    /// there is room. A failed sync is: the system may have dropped the very pages it could not write, and a second
    /// sync that succeeds proves nothing.
    fn write_failed(&self, error: &sqlx::Error, at: Moment) -> Failed {
        let code = primary_code(error);
        let why = error.to_string();
        if code == Some(CODE_FULL) {
            return Failed::Full;
        }
        let in_doubt = match at {
            Moment::Commit => true,
            Moment::Before => matches!(code, Some(CODE_IO | CODE_CORRUPT | CODE_NOT_A_DATABASE)),
        };
        if in_doubt {
            self.stop(&why);
            return Failed::Storage { why, next: LOOK_AND_START_AGAIN };
        }
        Failed::Storage { why, next: TRY_AGAIN }
    }

    fn stop(&self, why: &str) {
        // The first reason is the one that matters.
        let _first = self.inner.stopped.set(format!(
            "an earlier write failed ({why}), and what reached the disk since then is not certain; reading works; check \
             the disk, then start witnessmark again"
        ));
    }

    fn append_failed(&self, failed: Failed, need: u64) -> AppendError {
        let place = self.inner.folder.clone().into();
        match failed {
            Failed::Full => AppendError::Full { place, need },
            Failed::Storage { why, next } => AppendError::Storage { place, why, next },
        }
    }

    fn attachment_failed(&self, failed: Failed, need: u64) -> AttachmentError {
        let place = self.inner.folder.clone().into();
        match failed {
            Failed::Full => AttachmentError::Full { place, need },
            Failed::Storage { why, next } => AttachmentError::Storage { place, why, next },
        }
    }

    fn unread(&self, error: &sqlx::Error) -> ReadError {
        ReadError::Storage { place: self.inner.folder.clone().into(), why: error.to_string(), next: LOOK_AND_VERIFY }
    }

    /// Keeps one entry inside a transaction.
    async fn append_one(
        &self,
        transaction: &mut Transaction<'_, Sqlite>,
        entry: &Entry,
        past: &BTreeSet<EntryId>,
    ) -> Result<Kept, AppendError> {
        let need = count(entry.line().len());
        let failed = |error: sqlx::Error| self.append_failed(self.write_failed(&error, Moment::Before), need);
        let (id, job) = (entry.id().to_string(), entry.job().to_string());
        let there = sqlx::query("SELECT rank, line FROM entries WHERE id = ?")
            .bind(&id)
            .fetch_optional(&mut **transaction)
            .await
            .map_err(failed)?;
        if let Some(row) = there {
            let rank = rank_of(&row, "rank").map_err(failed)?;
            let line: Vec<u8> = row.try_get("line").map_err(failed)?;
            if line != entry.line().as_bytes() {
                return Err(AppendError::Conflict { id: entry.id(), rank });
            }
            return Ok(Kept { id: entry.id(), rank, by: KeptBy::AnEarlierCall });
        }
        let end = sqlx::query("SELECT rank, line FROM entries WHERE job = ? ORDER BY rank DESC LIMIT 1")
            .bind(&job)
            .fetch_optional(&mut **transaction)
            .await
            .map_err(failed)?;
        let end = match end {
            None => FIRST_PREV.to_owned(),
            Some(row) => {
                let rank = rank_of(&row, "rank").map_err(failed)?;
                let line: Vec<u8> = row.try_get("line").map_err(failed)?;
                let last = Entry::from_line(&String::from_utf8_lossy(&line)).map_err(|error| {
                    AppendError::Unreadable { why: format!("the last entry of job {job}, at rank {rank}: {error}") }
                })?;
                last.hash().to_owned()
            }
        };
        if entry.prev() != end && !past.contains(&entry.id()) {
            let named = entry.prev().to_owned();
            return Err(AppendError::OutOfChain { id: entry.id(), job: entry.job(), named, end });
        }
        sqlx::query("INSERT INTO jobs (id) VALUES (?) ON CONFLICT (id) DO NOTHING")
            .bind(&job)
            .execute(&mut **transaction)
            .await
            .map_err(failed)?;
        let row = sqlx::query("INSERT INTO entries (id, job, line, sha256) VALUES (?, ?, ?, ?) RETURNING rank")
            .bind(&id)
            .bind(&job)
            .bind(entry.line().as_bytes())
            .bind(sha256_of(entry.line().as_bytes()).as_slice())
            .fetch_one(&mut **transaction)
            .await
            .map_err(failed)?;
        let rank = rank_of(&row, "rank").map_err(failed)?;
        Ok(Kept { id: entry.id(), rank, by: KeptBy::ThisCall })
    }
}

impl Store for SqliteStore {
    async fn append(&self, entries: &[Entry]) -> Result<Vec<Kept>, AppendError> {
        self.append_past_gaps(entries, &BTreeSet::new()).await
    }

    async fn append_past_gaps(&self, entries: &[Entry], past: &BTreeSet<EntryId>) -> Result<Vec<Kept>, AppendError> {
        let writer = self.writer().map_err(|because| AppendError::ReadOnly { because })?;
        if entries.is_empty() {
            return Ok(Vec::new());
        }
        for entry in entries {
            let (id, line) = (entry.id(), entry.line());
            if line.len() > LONGEST_LINE {
                return Err(AppendError::TooLong { id, bytes: line.len() });
            }
            if let Some(at) = line.find(['\n', '\r']) {
                return Err(AppendError::NotOneLine { id, at });
            }
        }
        let need = count(entries.iter().map(|entry| entry.line().len()).sum());
        let failed = |error: sqlx::Error, at: Moment| self.append_failed(self.write_failed(&error, at), need);
        let mut connection = writer.acquire().await.map_err(|error| failed(error, Moment::Before))?;
        let done = async {
            let mut transaction =
                connection.begin_with("BEGIN IMMEDIATE").await.map_err(|error| failed(error, Moment::Before))?;
            // Somebody who waited for the connection while another call failed must not write after all.
            self.writer().map_err(|because| AppendError::ReadOnly { because })?;
            let mut kept = Vec::with_capacity(entries.len());
            for entry in entries {
                kept.push(self.append_one(&mut transaction, entry, past).await?);
            }
            transaction.commit().await.map_err(|error| failed(error, Moment::Commit))?;
            Ok(kept)
        }
        .await;
        if matches!(done, Err(AppendError::Full { .. } | AppendError::Storage { .. })) {
            replace(connection).await;
        }
        done
    }

    async fn jobs(&self) -> Result<Vec<JobKept>, ReadError> {
        let rows = sqlx::query(
            "SELECT job, count(*) AS entries, min(rank) AS first, max(rank) AS last FROM entries GROUP BY job ORDER BY first",
        )
        .fetch_all(&self.inner.readers)
        .await
        .map_err(|error| self.unread(&error))?;
        rows.iter()
            .map(|row| {
                let first = rank_of(row, "first").map_err(|error| self.unread(&error))?;
                Ok(JobKept {
                    job: id_of(row, "job", first).map_err(|error| error.or_unread(self))?,
                    entries: rank_of(row, "entries").map_err(|error| self.unread(&error))?,
                    first,
                    last: rank_of(row, "last").map_err(|error| self.unread(&error))?,
                })
            })
            .collect()
    }

    async fn entries_of(&self, job: JobId) -> Result<Vec<KeptEntry>, ReadError> {
        let rows = sqlx::query("SELECT rank, id, job, line FROM entries WHERE job = ? ORDER BY rank")
            .bind(job.to_string())
            .fetch_all(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        rows.iter().map(|row| self.kept(row)).collect()
    }

    async fn entry(&self, id: EntryId) -> Result<Option<KeptEntry>, ReadError> {
        let row = sqlx::query("SELECT rank, id, job, line FROM entries WHERE id = ?")
            .bind(id.to_string())
            .fetch_optional(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        row.as_ref().map(|row| self.kept(row)).transpose()
    }

    async fn last_of(&self, job: JobId) -> Result<Option<KeptEntry>, ReadError> {
        let row = sqlx::query("SELECT rank, id, job, line FROM entries WHERE job = ? ORDER BY rank DESC LIMIT 1")
            .bind(job.to_string())
            .fetch_optional(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        row.as_ref().map(|row| self.kept(row)).transpose()
    }

    async fn entries_after(&self, rank: Rank, limit: u32) -> Result<Vec<KeptEntry>, ReadError> {
        let rows = sqlx::query("SELECT rank, id, job, line FROM entries WHERE rank > ? ORDER BY rank LIMIT ?")
            .bind(i64::try_from(rank).unwrap_or(i64::MAX))
            .bind(limit)
            .fetch_all(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        rows.iter().map(|row| self.kept(row)).collect()
    }

    async fn keep_attachment(&self, bytes: Vec<u8>, media_type: &str) -> Result<Attachment, AttachmentError> {
        let writer = self.writer().map_err(|because| AttachmentError::ReadOnly { because })?;
        let id = ContentId::of(&bytes);
        let size = count(bytes.len());
        // The file first and the row after: a row then always means that the file was there.
        let written = in_background({
            let folder = self.inner.folder.clone();
            move || attachment::write(&folder, id, &bytes)
        })
        .await;
        let failed = match written {
            Ok(Ok(())) => None,
            Ok(Err(error)) if error.kind() == std::io::ErrorKind::StorageFull => Some(Failed::Full),
            Ok(Err(error)) => {
                let why = error.to_string();
                self.stop(&why);
                Some(Failed::Storage { why, next: LOOK_AND_START_AGAIN })
            }
            Err(why) => Some(Failed::Storage { why, next: TRY_AGAIN }),
        };
        if let Some(failed) = failed {
            return Err(self.attachment_failed(failed, size));
        }
        let failed = |error: sqlx::Error, at: Moment| self.attachment_failed(self.write_failed(&error, at), size);
        let mut connection = writer.acquire().await.map_err(|error| failed(error, Moment::Before))?;
        let done = async {
            let mut transaction =
                connection.begin_with("BEGIN IMMEDIATE").await.map_err(|error| failed(error, Moment::Before))?;
            self.writer().map_err(|because| AttachmentError::ReadOnly { because })?;
            let there = sqlx::query("SELECT sha256, size, media_type FROM attachments WHERE sha256 = ?")
                .bind(id.to_string())
                .fetch_optional(&mut *transaction)
                .await
                .map_err(|error| failed(error, Moment::Before))?;
            if let Some(row) = there {
                // What the bytes are was said when they were first kept; the same bytes do not become something else.
                return attachment_of(&row).map_err(|error| failed(error, Moment::Before));
            }
            sqlx::query("INSERT INTO attachments (sha256, size, media_type) VALUES (?, ?, ?)")
                .bind(id.to_string())
                .bind(i64::try_from(size).unwrap_or(i64::MAX))
                .bind(media_type)
                .execute(&mut *transaction)
                .await
                .map_err(|error| failed(error, Moment::Before))?;
            transaction.commit().await.map_err(|error| failed(error, Moment::Commit))?;
            Ok(Attachment { id, size, media_type: media_type.to_owned() })
        }
        .await;
        if matches!(done, Err(AttachmentError::Full { .. } | AttachmentError::Storage { .. })) {
            replace(connection).await;
        }
        done
    }

    async fn attachment(&self, id: ContentId) -> Result<Vec<u8>, AttachmentError> {
        let storage = |why: String| AttachmentError::Storage {
            place: self.inner.folder.clone().into(),
            why,
            next: LOOK_AND_VERIFY,
        };
        let known = sqlx::query("SELECT 1 FROM attachments WHERE sha256 = ?")
            .bind(id.to_string())
            .fetch_optional(&self.inner.readers)
            .await
            .map_err(|error| storage(error.to_string()))?;
        if known.is_none() {
            return Err(AttachmentError::Unknown { id });
        }
        in_background({
            let folder = self.inner.folder.clone();
            move || attachment::read(&folder, id)
        })
        .await
        .map_err(storage)?
    }

    async fn attachments(&self) -> Result<Vec<Attachment>, ReadError> {
        let rows = sqlx::query("SELECT sha256, size, media_type FROM attachments ORDER BY sha256")
            .fetch_all(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        rows.iter().map(|row| attachment_of(row).map_err(|error| self.unread(&error))).collect()
    }

    async fn rows_after(&self, rank: Rank, limit: u32) -> Result<Vec<Row>, ReadError> {
        // The casts let a row be looked at whatever somebody wrote into it.
        let rows = sqlx::query(
            "SELECT rank, CAST(id AS TEXT) AS id, CAST(job AS TEXT) AS job, CAST(line AS BLOB) AS line, \
             CAST(sha256 AS BLOB) AS sha256 FROM entries WHERE rank > ? ORDER BY rank LIMIT ?",
        )
        .bind(i64::try_from(rank).unwrap_or(i64::MAX))
        .bind(limit)
        .fetch_all(&self.inner.readers)
        .await
        .map_err(|error| self.unread(&error))?;
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
        let rows = sqlx::query("PRAGMA integrity_check(20)")
            .fetch_all(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        for row in rows {
            let said: String = row.try_get(0).map_err(|error| self.unread(&error))?;
            if said != "ok" {
                complaints.push(said);
            }
        }
        let homeless = sqlx::query("PRAGMA foreign_key_check")
            .fetch_all(&self.inner.readers)
            .await
            .map_err(|error| self.unread(&error))?;
        if !homeless.is_empty() {
            complaints.push(format!("{} entries belong to a job that is not in the list of jobs", homeless.len()));
        }
        Ok(complaints)
    }

    fn standing(&self) -> Standing {
        match self.writer() {
            Ok(_) => Standing::Writable,
            Err(because) => Standing::ReadOnly { because },
        }
    }
}

impl SqliteStore {
    fn kept(&self, row: &SqliteRow) -> Result<KeptEntry, ReadError> {
        let rank = rank_of(row, "rank").map_err(|error| self.unread(&error))?;
        let line: Vec<u8> = row.try_get("line").map_err(|error| self.unread(&error))?;
        Ok(KeptEntry {
            rank,
            id: id_of(row, "id", rank).map_err(|error| error.or_unread(self))?,
            job: id_of(row, "job", rank).map_err(|error| error.or_unread(self))?,
            line: String::from_utf8(line)
                .map_err(|_| ReadError::Spoiled { rank, why: "its line is not text".to_owned() })?,
        })
    }
}

/// Where in a write a failure came.
#[derive(Debug, Clone, Copy)]
enum Moment {
    /// Before the commit: the engine takes everything back.
    Before,
    /// At the commit: what is on the disk is not known.
    Commit,
}

/// A failed write, before it becomes the error of an operation.
enum Failed {
    Full,
    Storage { why: String, next: &'static str },
}

/// A column that could not be read, or was read and is not an id.
enum NoId {
    Unread(sqlx::Error),
    Spoiled(ReadError),
}

impl NoId {
    fn or_unread(self, store: &SqliteStore) -> ReadError {
        match self {
            Self::Unread(error) => store.unread(&error),
            Self::Spoiled(error) => error,
        }
    }
}

fn id_of<Id: FromStr<Err = anatomy::IdError>>(row: &SqliteRow, column: &str, rank: Rank) -> Result<Id, NoId> {
    let text: String = row.try_get(column).map_err(NoId::Unread)?;
    text.parse().map_err(|error: anatomy::IdError| NoId::Spoiled(ReadError::Spoiled { rank, why: error.to_string() }))
}

fn rank_of(row: &SqliteRow, column: &str) -> Result<u64, sqlx::Error> {
    let number: i64 = row.try_get(column)?;
    u64::try_from(number).map_err(|error| sqlx::Error::Decode(Box::new(error)))
}

fn attachment_of(row: &SqliteRow) -> Result<Attachment, sqlx::Error> {
    let name: String = row.try_get("sha256")?;
    Ok(Attachment {
        id: name.parse().map_err(|error| sqlx::Error::Decode(Box::new(error)))?,
        size: rank_of(row, "size")?,
        media_type: row.try_get("media_type")?,
    })
}

fn primary_code(error: &sqlx::Error) -> Option<i64> {
    let code: i64 = error.as_database_error()?.code()?.parse().ok()?;
    // The extended codes carry the primary one in their lowest eight bits.
    Some(code & 0xff)
}

/// Closes the writing connection after a failed write; the pool opens a fresh one when it is next wanted.
///
/// When a commit fails on a full disk, SQLite has taken the transaction back by itself, and the library beneath still
/// counts it as open and would refuse the next one.
async fn replace(connection: PoolConnection<Sqlite>) {
    // Nothing more can be done about a connection that does not close.
    let _closed = connection.close().await;
}

fn pool(connections: u32) -> SqlitePoolOptions {
    SqlitePoolOptions::new().max_connections(connections).idle_timeout(None).max_lifetime(None)
}

fn reading(file: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new().filename(file).read_only(true).foreign_keys(true).busy_timeout(PATIENCE)
}

/// Refuses a record whose schema is newer than this build, before anything is written to it.
async fn refuse_newer(folder: &Path, file: &Path) -> Result<(), OpenError> {
    let storage = |error: sqlx::Error| OpenError::Storage { place: folder.to_owned().into(), why: error.to_string() };
    let look = pool(1).connect_with(reading(file)).await.map_err(storage)?;
    let there = sqlx::query("SELECT 1 FROM sqlite_schema WHERE name = '_sqlx_migrations'")
        .fetch_optional(&look)
        .await
        .map_err(storage)?;
    let mut found = 0_i64;
    if there.is_some() {
        let row = sqlx::query("SELECT coalesce(max(version), 0) AS version FROM _sqlx_migrations")
            .fetch_one(&look)
            .await
            .map_err(storage)?;
        found = row.try_get("version").map_err(storage)?;
    }
    look.close().await;
    if found > SQLITE_SCHEMA {
        return Err(OpenError::Newer { place: folder.to_owned().into(), what: "schema", found, known: SQLITE_SCHEMA });
    }
    Ok(())
}

/// Runs file work where it holds up nobody.
async fn in_background<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, String> {
    tokio::task::spawn_blocking(work).await.map_err(|error| format!("the work was cut short: {error}"))
}

fn count(len: usize) -> u64 {
    u64::try_from(len).unwrap_or(u64::MAX)
}
