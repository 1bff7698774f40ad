//! Writing: one transaction, and what becomes of it when the connection breaks.
//!
//! Before the commit is asked for nothing was kept, so the call is made again on a new connection. When the connection
//! breaks after that, nobody here knows. Then a new connection takes the same lock: it has it only when the old transaction
//! has ended, one way or the other, and so what it finds under the ids is the answer.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::Ordering;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use anatomy::{EntryId, JobId};
use logbook::{Entry, FIRST_PREV, Unsealed};
use sqlx::{Connection as _, Executor as _, PgConnection, Postgres, Row as _, Transaction};

use super::{BETWEEN_LOOKS, CHANNEL, LOOK_WHETHER_IT_RUNS, PgStore, TRY_AGAIN, WRITING_LOCK};
use super::{attachment_of, rank_of, trouble};
use crate::attachment::{Attachment, ContentId};
use crate::entry::{Kept, KeptBy, LONGEST_LINE, Rank, sha256_of};
use crate::failure::{AppendError, AttachmentError};
use crate::keeping::Judged;

/// How long a call waits before it tries a server that was away once more \[ours\].
const BREATH: Duration = Duration::from_millis(50);

/// How far a call has come, kept where a call that is cut off leaves it.
#[derive(Debug, Default)]
struct Trace {
    /// Whether a commit was asked for and not answered; what it would have kept.
    unanswered: Option<Vec<Kept>>,
    /// What went wrong last.
    why: String,
}

/// Why a turn gave no answer.
enum Stop {
    /// The entries are refused; nothing was kept, and another turn would not help.
    Refused(AppendError),
    /// The server or the line to it failed.
    Failed(sqlx::Error),
}

impl From<sqlx::Error> for Stop {
    fn from(error: sqlx::Error) -> Self {
        Self::Failed(error)
    }
}

/// What a call wants kept.
#[derive(Debug, Clone, Copy)]
pub(super) enum Asked<'a> {
    /// Lines that somebody sealed, and those of them that may stand behind a gap.
    Sealed(&'a [Entry], &'a BTreeSet<EntryId>),
    /// What devices sent, to be sealed where its job ends when the lock is held; the judged job must end as it was judged.
    Unsealed(&'a [Unsealed], Option<Judged<'a>>),
}

impl Asked<'_> {
    fn is_empty(self) -> bool {
        match self {
            Self::Sealed(entries, _) => entries.is_empty(),
            Self::Unsealed(entries, _) => entries.is_empty(),
        }
    }

    fn ids(self) -> Vec<String> {
        match self {
            Self::Sealed(entries, _) => entries.iter().map(|entry| entry.id().to_string()).collect(),
            Self::Unsealed(entries, _) => entries.iter().map(|entry| entry.id.to_string()).collect(),
        }
    }

    /// The jobs, each once.
    fn jobs(self) -> Vec<String> {
        let jobs: BTreeSet<JobId> = match self {
            Self::Sealed(entries, _) => entries.iter().map(Entry::job).collect(),
            Self::Unsealed(entries, _) => entries.iter().map(|entry| entry.job).collect(),
        };
        jobs.iter().map(ToString::to_string).collect()
    }

    /// How many bytes at least it takes on the disk.
    fn need(self) -> u64 {
        match self {
            Self::Sealed(entries, _) => entries.iter().map(|entry| count(entry.line().len())).sum(),
            Self::Unsealed(entries, _) => entries.iter().map(|entry| count(entry.body.to_string().len())).sum(),
        }
    }
}

impl PgStore {
    /// Keeps the entries, all or none.
    pub(super) async fn keep(&self, asked: Asked<'_>) -> Result<Vec<Kept>, AppendError> {
        if let Some(because) = self.inner.closed.clone() {
            return Err(AppendError::ReadOnly { because });
        }
        if asked.is_empty() {
            return Ok(Vec::new());
        }
        if let Asked::Sealed(entries, _) = asked {
            entries.iter().try_for_each(ensure_fits)?;
        }
        let mut trace = Trace::default();
        let done = tokio::time::timeout(self.inner.patience, self.turns(asked, &mut trace)).await;
        match done {
            Ok(done) => done,
            Err(_) => Err(self.gave_up(trace)),
        }
    }

    /// Makes the call again until it is answered.
    async fn turns(&self, asked: Asked<'_>, trace: &mut Trace) -> Result<Vec<Kept>, AppendError> {
        // One call of this process at a time; those of other processes wait at the server's lock.
        let mut held = self.inner.writing.lock().await;
        loop {
            // Taken out, so that a call that is cut off leaves no half transaction behind: the connection goes with it.
            let turn = async {
                let mut connection = match held.take() {
                    Some(connection) => connection,
                    None => self.connect_to_write().await?,
                };
                let done = self.turn(&mut connection, asked, trace).await;
                if !matches!(done, Err(Stop::Failed(_))) {
                    *held = Some(connection);
                }
                done
            };
            let longest = self.inner.patience * 2 / 5;
            let done = tokio::time::timeout(longest, turn).await;
            let error = match done.unwrap_or_else(|_| Err(Stop::Failed(trouble::no_answer()))) {
                Ok(kept) => {
                    self.is_back();
                    return Ok(kept);
                }
                Err(Stop::Refused(error)) => return Err(error),
                Err(Stop::Failed(error)) => error,
            };
            trace.why = trouble::said(&error);
            if trouble::is_away(&error) {
                self.went_away(&trace.why);
            }
            let open = trace.unanswered.is_some();
            if !open && !trouble::is_worth_another_turn(&error) {
                return Err(self.append_failed(&error, asked));
            }
            if trouble::is_busy(&error) && !open {
                trace.why = "another shop has been writing for longer than a write takes".to_owned();
            }
            tokio::time::sleep(BREATH).await;
        }
    }

    /// One transaction, from the lock to the commit.
    async fn turn(
        &self,
        connection: &mut PgConnection,
        asked: Asked<'_>,
        trace: &mut Trace,
    ) -> Result<Vec<Kept>, Stop> {
        let mut transaction = connection.begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE").await?;
        let patience = (self.inner.patience / 4).as_millis().to_string();
        sqlx::query("SELECT set_config('lock_timeout', $1, true)").bind(patience).execute(&mut *transaction).await?;
        sqlx::query("SELECT pg_advisory_xact_lock($1)").bind(WRITING_LOCK).execute(&mut *transaction).await?;
        let before = Before::look(&mut transaction, asked).await?;
        // What an earlier turn asked for has been decided: it is among what was found, or it never was kept.
        let ours = trace.unanswered.take().unwrap_or_default();
        let placed = match before.place(asked) {
            Ok(placed) => placed,
            Err(refused) => {
                // The lock is let go at once, and not when the connection is next used.
                transaction.rollback().await?;
                return Err(Stop::Refused(refused));
            }
        };
        let answers = answered(placed.kept, &ours);
        if placed.new.is_empty() {
            transaction.rollback().await?;
            return Ok(answers);
        }
        insert(&mut transaction, &placed.new).await?;
        trace.unanswered = Some(answers.clone());
        transaction.commit().await?;
        trace.unanswered = None;
        Ok(answers)
    }

    /// Keeps the bytes of an attachment. The same bytes are the same attachment, so a call that broke is made again.
    pub(super) async fn put_attachment(&self, bytes: &[u8], media_type: &str) -> Result<Attachment, AttachmentError> {
        if let Some(because) = self.inner.closed.clone() {
            return Err(AttachmentError::ReadOnly { because });
        }
        let id = ContentId::of(bytes);
        let mut why = String::new();
        let work = async {
            loop {
                match self.put_once(id, bytes, media_type).await {
                    Ok(done) => {
                        self.is_back();
                        return done;
                    }
                    Err(error) if trouble::is_worth_another_turn(&error) => {
                        why = trouble::said(&error);
                        if trouble::is_away(&error) {
                            self.went_away(&why);
                        }
                        tokio::time::sleep(BREATH).await;
                    }
                    Err(error) => return Err(self.attachment_failed(&error, bytes.len())),
                }
            }
        };
        match tokio::time::timeout(self.inner.patience, work).await {
            Ok(done) => done,
            Err(_) => Err(AttachmentError::Storage {
                place: self.place(),
                why,
                next: "send it again when the server answers; the same picture is kept once",
            }),
        }
    }

    async fn put_once(
        &self,
        id: ContentId,
        bytes: &[u8],
        media_type: &str,
    ) -> Result<Result<Attachment, AttachmentError>, sqlx::Error> {
        let size = i64::try_from(bytes.len()).unwrap_or(i64::MAX);
        // One statement is a transaction of its own: when it is answered, the commit is on the disk.
        sqlx::query(
            "INSERT INTO witnessmark.attachments (sha256, size, media_type, bytes) \
             SELECT $1, $2, $3, $4 WHERE NOT EXISTS (SELECT 1 FROM witnessmark.attachments WHERE sha256 = $1) \
             ON CONFLICT (sha256) DO NOTHING",
        )
        .bind(id.to_string())
        .bind(size)
        .bind(media_type)
        .bind(bytes)
        .execute(&self.inner.pool)
        .await?;
        // What the bytes are was said when they were first kept; the same bytes do not become something else.
        let row = sqlx::query(
            "SELECT sha256, size, media_type, encode(sha256(bytes), 'hex') = sha256 AS whole \
             FROM witnessmark.attachments WHERE sha256 = $1",
        )
        .bind(id.to_string())
        .fetch_one(&self.inner.pool)
        .await?;
        if row.try_get("whole")? { attachment_of(&row).map(Ok) } else { Ok(Err(AttachmentError::Spoiled { id })) }
    }

    /// What is said when nobody answered in time.
    fn gave_up(&self, trace: Trace) -> AppendError {
        let (place, why) = (self.place(), trace.why);
        if trace.unanswered.is_some() {
            let why = if why.is_empty() { "the server did not answer the commit".to_owned() } else { why };
            return AppendError::InDoubt { place, why };
        }
        let why = if why.is_empty() { "no answer in time".to_owned() } else { why };
        AppendError::Storage { place, why, next: LOOK_WHETHER_IT_RUNS }
    }

    fn append_failed(&self, error: &sqlx::Error, asked: Asked<'_>) -> AppendError {
        let (place, why) = (self.place(), trouble::said(error));
        if trouble::is_full(error) {
            return AppendError::Full { place, need: asked.need() };
        }
        if trouble::may_not_write(error) {
            return AppendError::ReadOnly { because: format!("the server does not let this role write ({why})") };
        }
        AppendError::Storage { place, why, next: TRY_AGAIN }
    }

    fn attachment_failed(&self, error: &sqlx::Error, bytes: usize) -> AttachmentError {
        let (place, why) = (self.place(), trouble::said(error));
        if trouble::is_full(error) {
            return AttachmentError::Full { place, need: count(bytes) };
        }
        if trouble::may_not_write(error) {
            return AttachmentError::ReadOnly { because: format!("the server does not let this role write ({why})") };
        }
        AttachmentError::Storage { place, why, next: TRY_AGAIN }
    }

    /// Remembers that the server is away, and looks until it is back.
    pub(super) fn went_away(&self, why: &str) {
        *self.inner.away.lock().unwrap_or_else(PoisonError::into_inner) = Some(format!(
            "the server does not answer ({why}); what was kept is safe with it, and keeping goes on by itself when it is back"
        ));
        if self.inner.looking.swap(true, Ordering::AcqRel) {
            return;
        }
        let weak = Arc::downgrade(&self.inner);
        tokio::spawn(async move {
            loop {
                tokio::time::sleep(BETWEEN_LOOKS).await;
                let Some(inner) = weak.upgrade() else { return };
                let store = PgStore { inner };
                if store.inner.pool.is_closed() {
                    return;
                }
                if sqlx::query("SELECT 1").execute(&store.inner.pool).await.is_ok() {
                    store.is_back();
                    store.inner.looking.store(false, Ordering::Release);
                    return;
                }
            }
        });
    }

    fn is_back(&self) {
        *self.inner.away.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

/// What was there before a call.
struct Before {
    /// The highest rank.
    highest: Rank,
    /// Those entries of the call that are kept already, with their lines.
    kept: BTreeMap<EntryId, (Rank, Vec<u8>)>,
    /// The hash that each job of the call ends with, or why it cannot be read.
    ends: BTreeMap<JobId, Result<String, String>>,
}

/// An entry with the rank it gets.
struct New {
    rank: Rank,
    entry: Entry,
}

/// The answers, and what is to be written for them.
#[derive(Default)]
struct Placed {
    kept: Vec<Kept>,
    new: Vec<New>,
}

impl Before {
    /// Looks with the lock in hand, so that nothing changes until the transaction ends.
    async fn look(transaction: &mut Transaction<'_, Postgres>, asked: Asked<'_>) -> Result<Self, sqlx::Error> {
        let highest: i64 = sqlx::query_scalar("SELECT coalesce(max(rank), 0) FROM witnessmark.entries")
            .fetch_one(&mut **transaction)
            .await?;
        let mut kept = BTreeMap::new();
        for row in sqlx::query("SELECT id, rank, line FROM witnessmark.entries WHERE id = ANY($1)")
            .bind(asked.ids())
            .fetch_all(&mut **transaction)
            .await?
        {
            let id: String = row.try_get("id")?;
            let id = id.parse().map_err(|error| sqlx::Error::Decode(Box::new(error)))?;
            kept.insert(id, (rank_of(&row, "rank")?, row.try_get("line")?));
        }
        let mut ends = BTreeMap::new();
        for row in sqlx::query(
            "SELECT asked.job, last.rank, last.line FROM unnest($1::text[]) AS asked (job) CROSS JOIN LATERAL \
             (SELECT rank, line FROM witnessmark.entries e WHERE e.job = asked.job COLLATE \"C\" \
             ORDER BY rank DESC LIMIT 1) AS last",
        )
        .bind(asked.jobs())
        .fetch_all(&mut **transaction)
        .await?
        {
            let job: String = row.try_get("job")?;
            let rank = rank_of(&row, "rank")?;
            let line: Vec<u8> = row.try_get("line")?;
            let end = Entry::from_line(&String::from_utf8_lossy(&line))
                .map(|entry| entry.hash().to_owned())
                .map_err(|error| format!("the last entry of job {job}, at rank {rank}: {error}"));
            ends.insert(job.parse().map_err(|error| sqlx::Error::Decode(Box::new(error)))?, end);
        }
        let highest = u64::try_from(highest).map_err(|error| sqlx::Error::Decode(Box::new(error)))?;
        Ok(Self { highest, kept, ends })
    }

    /// Gives each entry its rank, and its seal where it has none, or says why one of them is not taken.
    fn place(mut self, asked: Asked<'_>) -> Result<Placed, AppendError> {
        let mut placed = Placed::default();
        match asked {
            Asked::Sealed(entries, past) => {
                for entry in entries {
                    let same = |line: &[u8]| line == entry.line().as_bytes();
                    if let Some(kept) = self.earlier(entry.id(), same)? {
                        placed.kept.push(kept);
                        continue;
                    }
                    let end = self.end(entry.job())?;
                    if entry.prev() != end && !past.contains(&entry.id()) {
                        return Err(out_of_chain(entry.id(), entry.job(), entry.prev(), end));
                    }
                    self.put(entry.clone(), &mut placed);
                }
            }
            Asked::Unsealed(entries, mut judged) => {
                for unsealed in entries {
                    let same = |line: &[u8]| {
                        std::str::from_utf8(line)
                            .ok()
                            .and_then(|line| Entry::from_line(line).ok())
                            .is_some_and(|entry| entry.unsealed() == *unsealed)
                    };
                    if let Some(kept) = self.earlier(unsealed.id, same)? {
                        placed.kept.push(kept);
                        continue;
                    }
                    let end = self.end(unsealed.job)?;
                    // Looked at once: the second entry of the job continues the first one.
                    if let Some(judged) = judged.take_if(|judged| judged.job == unsealed.job)
                        && judged.end.unwrap_or(FIRST_PREV) != end
                    {
                        let named = judged.end.unwrap_or(FIRST_PREV);
                        return Err(out_of_chain(unsealed.id, unsealed.job, named, end));
                    }
                    let entry = unsealed
                        .clone()
                        .seal(end)
                        .map_err(|error| AppendError::NotSealed { id: unsealed.id, why: error.to_string() })?;
                    ensure_fits(&entry)?;
                    self.put(entry, &mut placed);
                }
            }
        }
        Ok(placed)
    }

    /// The answer for an entry that is kept already; refused when it is kept with other content.
    fn earlier(&self, id: EntryId, same: impl Fn(&[u8]) -> bool) -> Result<Option<Kept>, AppendError> {
        match self.kept.get(&id) {
            None => Ok(None),
            Some((rank, line)) if same(line) => Ok(Some(Kept { id, rank: *rank, by: KeptBy::AnEarlierCall })),
            Some((rank, _)) => Err(AppendError::Conflict { id, rank: *rank }),
        }
    }

    /// The hash that a job ends with now.
    fn end(&self, job: JobId) -> Result<&str, AppendError> {
        match self.ends.get(&job) {
            None => Ok(FIRST_PREV),
            Some(Ok(end)) => Ok(end),
            Some(Err(why)) => Err(AppendError::Unreadable { why: why.clone() }),
        }
    }

    /// Puts an entry at the end of the record and of its job.
    fn put(&mut self, entry: Entry, placed: &mut Placed) {
        self.highest += 1;
        self.ends.insert(entry.job(), Ok(entry.hash().to_owned()));
        self.kept.insert(entry.id(), (self.highest, entry.line().as_bytes().to_vec()));
        placed.kept.push(Kept { id: entry.id(), rank: self.highest, by: KeptBy::ThisCall });
        placed.new.push(New { rank: self.highest, entry });
    }
}

fn out_of_chain(id: EntryId, job: JobId, named: &str, end: &str) -> AppendError {
    AppendError::OutOfChain { id, job, named: named.to_owned(), end: end.to_owned() }
}

/// Refuses what is not one line of a length that is taken.
fn ensure_fits(entry: &Entry) -> Result<(), AppendError> {
    let (id, line) = (entry.id(), entry.line());
    if line.len() > LONGEST_LINE {
        return Err(AppendError::TooLong { id, bytes: line.len() });
    }
    match line.find(['\n', '\r']) {
        Some(at) => Err(AppendError::NotOneLine { id, at }),
        None => Ok(()),
    }
}

/// Writes the rows and tells whoever listens, in the same transaction: nobody hears of what is not kept.
async fn insert(transaction: &mut Transaction<'_, Postgres>, new: &[New]) -> Result<(), sqlx::Error> {
    let ranks: Vec<i64> = new.iter().map(|new| i64::try_from(new.rank).unwrap_or(i64::MAX)).collect();
    let ids: Vec<String> = new.iter().map(|new| new.entry.id().to_string()).collect();
    let jobs: Vec<String> = new.iter().map(|new| new.entry.job().to_string()).collect();
    let lines: Vec<&[u8]> = new.iter().map(|new| new.entry.line().as_bytes()).collect();
    let sums: Vec<Vec<u8>> = new.iter().map(|new| sha256_of(new.entry.line().as_bytes()).to_vec()).collect();
    sqlx::query("INSERT INTO witnessmark.jobs (id) SELECT DISTINCT unnest($1::text[]) ON CONFLICT (id) DO NOTHING")
        .bind(&jobs)
        .execute(&mut **transaction)
        .await?;
    sqlx::query(
        "INSERT INTO witnessmark.entries (rank, id, job, line, sha256) \
         SELECT * FROM unnest($1::bigint[], $2::text[], $3::text[], $4::bytea[], $5::bytea[])",
    )
    .bind(&ranks)
    .bind(&ids)
    .bind(&jobs)
    .bind(&lines)
    .bind(&sums)
    .execute(&mut **transaction)
    .await?;
    transaction.execute(sqlx::query("SELECT pg_notify($1, '')").bind(CHANNEL)).await?;
    Ok(())
}

/// The answers, with those entries called kept by this call that a turn of it kept whose answer was lost.
fn answered(mut kept: Vec<Kept>, ours: &[Kept]) -> Vec<Kept> {
    for (now, asked) in kept.iter_mut().zip(ours) {
        // The same entry at the same rank: nobody else could have put it there in between.
        if now.id == asked.id && now.rank == asked.rank {
            now.by = asked.by;
        }
    }
    kept
}

fn count(len: usize) -> u64 {
    u64::try_from(len).unwrap_or(u64::MAX)
}
