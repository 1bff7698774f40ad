//! The record of a shop, wherever it lies: what the doors hold.
//!
//! The trait cannot be behind a pointer, and a door that is written once for each store is compiled twice for nothing. So
//! there is one type, and a match.

use std::collections::BTreeSet;

use anatomy::{EntryId, JobId};
use logbook::{Entry, Unsealed};

use crate::attachment::{Attachment, ContentId};
use crate::entry::{Kept, KeptEntry, Rank};
use crate::failure::{AppendError, AttachmentError, OpenError, ReadError};
use crate::folder::RECORD_FILE;
use crate::keeping::{JobKept, Judged, Standing, Store};
use crate::place::Place;
use crate::postgres::{Changes, PgOpening, PgStore};
use crate::sqlite::{Opening, SqliteStore};
use crate::verify::Row;

/// A record in a folder or with a server. Copies of it are handles to the same record.
#[derive(Debug, Clone)]
pub enum Record {
    /// In a folder of this machine, for one shop.
    Sqlite(SqliteStore),
    /// With a PostgreSQL server, for one shop or several.
    Postgres(PgStore),
}

impl Record {
    /// Opens the record at a place for reading and writing, and begins one if there is none.
    ///
    /// # Errors  [`OpenError`]
    pub async fn open(place: &Place) -> Result<Self, OpenError> {
        match place {
            Place::Folder(folder) => Ok(Self::Sqlite(SqliteStore::open(Opening::of(folder)).await?)),
            Place::Server(address) => Ok(Self::Postgres(PgStore::open(PgOpening::of(address.clone())).await?)),
        }
    }

    /// Opens the record at a place for reading and writing; one that is not there is not begun by the way.
    ///
    /// # Errors  [`OpenError`]; `NothingThere` where there is none
    pub async fn open_existing(place: &Place) -> Result<Self, OpenError> {
        match place {
            Place::Folder(folder) if !folder.join(RECORD_FILE).exists() => Self::open_to_read(place).await,
            Place::Folder(_) => Self::open(place).await,
            Place::Server(address) => {
                Ok(Self::Postgres(PgStore::open(PgOpening::of(address.clone()).that_exists()).await?))
            }
        }
    }

    /// Opens the record at a place to look only.
    ///
    /// # Errors  [`OpenError`]; `NothingThere` where there is none
    pub async fn open_to_read(place: &Place) -> Result<Self, OpenError> {
        match place {
            Place::Folder(folder) => Ok(Self::Sqlite(SqliteStore::open_to_read(folder).await?)),
            Place::Server(address) => {
                Ok(Self::Postgres(PgStore::open(PgOpening::of(address.clone()).to_look()).await?))
            }
        }
    }

    /// Lets the record go.
    pub async fn close(self) {
        match self {
            Self::Sqlite(store) => store.close().await,
            Self::Postgres(store) => store.close().await,
        }
    }

    /// Follows what others keep, where others can: a folder has one writer at a time.
    #[must_use]
    pub fn changes(&self) -> Option<Changes> {
        match self {
            Self::Sqlite(_) => None,
            Self::Postgres(store) => Some(store.changes()),
        }
    }
}

impl From<SqliteStore> for Record {
    fn from(store: SqliteStore) -> Self {
        Self::Sqlite(store)
    }
}

impl From<PgStore> for Record {
    fn from(store: PgStore) -> Self {
        Self::Postgres(store)
    }
}

impl Store for Record {
    async fn append(&self, entries: &[Entry]) -> Result<Vec<Kept>, AppendError> {
        match self {
            Self::Sqlite(store) => store.append(entries).await,
            Self::Postgres(store) => store.append(entries).await,
        }
    }

    async fn append_past_gaps(&self, entries: &[Entry], past: &BTreeSet<EntryId>) -> Result<Vec<Kept>, AppendError> {
        match self {
            Self::Sqlite(store) => store.append_past_gaps(entries, past).await,
            Self::Postgres(store) => store.append_past_gaps(entries, past).await,
        }
    }

    async fn seal_and_append(&self, entries: &[Unsealed]) -> Result<Vec<Kept>, AppendError> {
        match self {
            Self::Sqlite(store) => store.seal_and_append(entries).await,
            Self::Postgres(store) => store.seal_and_append(entries).await,
        }
    }

    async fn seal_after(&self, judged: Judged<'_>, entries: &[Unsealed]) -> Result<Vec<Kept>, AppendError> {
        match self {
            Self::Sqlite(store) => store.seal_after(judged, entries).await,
            Self::Postgres(store) => store.seal_after(judged, entries).await,
        }
    }

    async fn jobs(&self) -> Result<Vec<JobKept>, ReadError> {
        match self {
            Self::Sqlite(store) => store.jobs().await,
            Self::Postgres(store) => store.jobs().await,
        }
    }

    async fn entries_of(&self, job: JobId) -> Result<Vec<KeptEntry>, ReadError> {
        match self {
            Self::Sqlite(store) => store.entries_of(job).await,
            Self::Postgres(store) => store.entries_of(job).await,
        }
    }

    async fn entry(&self, id: EntryId) -> Result<Option<KeptEntry>, ReadError> {
        match self {
            Self::Sqlite(store) => store.entry(id).await,
            Self::Postgres(store) => store.entry(id).await,
        }
    }

    async fn last_of(&self, job: JobId) -> Result<Option<KeptEntry>, ReadError> {
        match self {
            Self::Sqlite(store) => store.last_of(job).await,
            Self::Postgres(store) => store.last_of(job).await,
        }
    }

    async fn entries_after(&self, rank: Rank, limit: u32) -> Result<Vec<KeptEntry>, ReadError> {
        match self {
            Self::Sqlite(store) => store.entries_after(rank, limit).await,
            Self::Postgres(store) => store.entries_after(rank, limit).await,
        }
    }

    async fn keep_attachment(&self, bytes: Vec<u8>, media_type: &str) -> Result<Attachment, AttachmentError> {
        match self {
            Self::Sqlite(store) => store.keep_attachment(bytes, media_type).await,
            Self::Postgres(store) => store.keep_attachment(bytes, media_type).await,
        }
    }

    async fn attachment(&self, id: ContentId) -> Result<Vec<u8>, AttachmentError> {
        match self {
            Self::Sqlite(store) => store.attachment(id).await,
            Self::Postgres(store) => store.attachment(id).await,
        }
    }

    async fn attachments(&self) -> Result<Vec<Attachment>, ReadError> {
        match self {
            Self::Sqlite(store) => store.attachments().await,
            Self::Postgres(store) => store.attachments().await,
        }
    }

    async fn rows_after(&self, rank: Rank, limit: u32) -> Result<Vec<Row>, ReadError> {
        match self {
            Self::Sqlite(store) => store.rows_after(rank, limit).await,
            Self::Postgres(store) => store.rows_after(rank, limit).await,
        }
    }

    async fn engine_complaints(&self) -> Result<Vec<String>, ReadError> {
        match self {
            Self::Sqlite(store) => store.engine_complaints().await,
            Self::Postgres(store) => store.engine_complaints().await,
        }
    }

    fn standing(&self) -> Standing {
        match self {
            Self::Sqlite(store) => store.standing(),
            Self::Postgres(store) => store.standing(),
        }
    }
}
