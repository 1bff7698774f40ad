//! The bench: the store, the knowledge, each job as it stands, and the last work-up of each job.
//!
//! A work-up takes up to seconds of processor time, so no page waits for one: a page shows the last one known, says so
//! when it is not of the present chain, and is told when the new one is there: first with findings, beliefs and advice, then
//! with what weighs for and against each belief. The same chain is never worked twice, and of one job never two at a time.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::Duration;

use anatomy::{EntryId, JobId};
use knowledge::Knowledge;
use logbook::{Entry, EntryBody, JobState, Unsealed, fold};
use store::{AppendError, Changes, Judged, Kept, KeptBy, Rank, Record, Store};
use tokio::sync::{Semaphore, broadcast};
use workup::{Case, Remembered, Wanted};

use crate::around::Around;
use crate::lan::{self, Lan};
use crate::log::{Event, Hearer};
use crate::pages::{self, Asking};
use crate::small::AtHand;
use crate::surroundings;
use crate::trouble::Trouble;
use axum::http::StatusCode;

/// How many work-ups of a job stay at hand \[ours\]: the present one, and those before it for *what moved*.
const CASES_KEPT: usize = 6;
/// How many rows of news a slow page may lag behind \[ours\]; what it misses it reads anew.
const NEWS_HELD: usize = 256;
/// How many work-ups run beside each other \[ours\]: each one uses several processors by itself.
const AT_ONCE: usize = 1;

/// How often an entry is judged anew because another shop was faster \[ours\]: each turn is lost only to somebody who kept
/// something in that very job, so losing this many in a row means that something else is wrong.
const TURNS: u32 = 100;

/// How long no work-up has ended before memory is given back \[ours\].
const QUIET: Duration = Duration::from_secs(8);
/// How often the allocator is stirred so that it gives back, and how long it is left alone in between \[ours\].
const STIRS: usize = 20;
const BETWEEN_STIRS: Duration = Duration::from_millis(500);
/// Bytes taken and freed for one stir: more than small sizes, so that whole pages come and go \[ours\].
const STIRRED: usize = 4 << 20;

/// A job with its entries.
#[derive(Debug)]
pub(crate) struct Job {
    pub(crate) id: JobId,
    pub(crate) entries: Vec<Entry>,
    /// The rank of each entry in the record.
    pub(crate) ranks: Vec<Rank>,
    pub(crate) state: JobState,
}

impl Job {
    /// The entry of an id, where the job has it.
    pub(crate) fn has(&self, entry: EntryId) -> Option<&Entry> {
        self.entries.iter().find(|e| e.id() == entry)
    }

    /// The job as it stood when an entry was kept, where it was kept before; else the job as it stands. A form that is sent
    /// again is read by what it was read by the first time, so that it says the same.
    pub(crate) fn stood(self: &Arc<Self>, entry: EntryId) -> Arc<Self> {
        let Some(place) = self.entries.iter().position(|e| e.id() == entry) else { return Arc::clone(self) };
        let entries: Vec<Entry> = self.entries.iter().take(place).cloned().collect();
        let ranks = self.ranks.iter().take(place).copied().collect();
        let state = fold(&entries);
        Arc::new(Self { id: self.id, entries, ranks, state })
    }

    /// How many of its entries a backup of so many entries of the record holds.
    pub(crate) fn in_backup(&self, entries: u64) -> usize {
        self.ranks.iter().filter(|rank| **rank <= entries).count()
    }

    /// The hash that its chain ends with.
    pub(crate) fn hash(&self) -> &str {
        self.entries.last().map_or("", Entry::hash)
    }

    /// The last eight characters of it, as printed on papers.
    pub(crate) fn tail(&self) -> &str {
        let hash = self.hash();
        hash.get(hash.len().saturating_sub(8)..).unwrap_or(hash)
    }

    /// Its title.
    pub(crate) fn title(&self) -> &str {
        self.state.title.as_deref().unwrap_or("job without a title")
    }

    /// The hash that stood before an entry.
    pub(crate) fn hash_before(&self, entry: EntryId) -> Option<&str> {
        self.entries.iter().find(|e| e.id() == entry).map(Entry::prev)
    }
}

/// A work-up, or why there is none.
pub(crate) type Worked = Result<Arc<Case>, String>;

/// What pages that are open want to hear of.
#[derive(Debug, Clone)]
pub(crate) struct News {
    pub(crate) job: JobId,
    pub(crate) what: Happened,
}

/// What happened to a job.
#[derive(Debug, Clone)]
pub(crate) enum Happened {
    /// An entry was kept.
    Kept { entry: EntryId, kind: String },
    /// A work-up is there.
    Worked,
}

#[derive(Debug, Default)]
struct Slot {
    /// The job as it is to be worked next.
    wanted: Option<Arc<Job>>,
    working: bool,
    /// How many entries the longest chain seen has: a page that still holds an older one asks for nothing.
    longest: usize,
    /// Work-ups by the hash of the chain they are of, the latest last.
    done: VecDeque<(String, Worked)>,
    /// What the next work-up need not work again.
    remembered: Arc<Remembered>,
}

/// The last work-up of a job, as far as it is known now.
#[derive(Debug, Clone)]
pub(crate) struct Standing {
    /// The case, of the present chain or of an earlier one.
    pub(crate) case: Option<Arc<Case>>,
    /// Whether it is of the present chain.
    pub(crate) current: bool,
    /// Why there is none, where there cannot be one.
    pub(crate) trouble: Option<String>,
}

/// What an entry is judged by.
struct Seen {
    /// The job as it stands; none where it has no entry yet.
    job: Option<Arc<Job>>,
    /// The work-up of it, where an answer to a customer page hangs on it and there is one.
    case: Option<Arc<Case>>,
}

/// What is to be kept, and what it was judged by.
struct Allowed {
    together: Vec<Unsealed>,
    by: By,
}

/// What an entry was judged by.
enum By {
    /// The job, while its chain ends with this hash; none for a job without an entry.
    Chain(Option<String>),
    /// Nothing: it was kept before.
    Nothing,
}

/// Everything a page stands on. Copies of it are handles to the same bench.
#[derive(Debug, Clone)]
pub struct Bench {
    inner: Arc<Inner>,
    around: Around,
}

#[derive(Debug)]
struct Inner {
    store: Record,
    knowledge: Arc<Knowledge>,
    by: String,
    jobs: Mutex<BTreeMap<JobId, (Rank, Arc<Job>)>>,
    slots: Mutex<BTreeMap<JobId, Slot>>,
    news: broadcast::Sender<News>,
    turns: Semaphore,
    /// The threads that work-ups are done by, while they are needed.
    hands: Mutex<Option<Arc<rayon::ThreadPool>>>,
    /// How many work-ups have ended.
    worked: AtomicU64,
    /// Between looking whether an entry is allowed and keeping it, nobody else of this process keeps one. Another shop may:
    /// then the job has grown when it comes to keeping, and it is looked at again.
    keeping: tokio::sync::Mutex<()>,
    /// Entries that this bench keeps and tells its pages of by itself, as long as the news from elsewhere may bring them too.
    told: Mutex<BTreeSet<EntryId>>,
    /// Photos as small as lists show them.
    small: AtHand,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What is in these is a cache: after a panic elsewhere it is still worth reading.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Bench {
    /// A bench on a record; `by` is who works when nobody has said so.
    ///
    /// A record that other shops write to as well is followed from now on, by a task of the runtime this is called in.
    #[must_use]
    pub fn new(record: impl Into<Record>, knowledge: Arc<Knowledge>, by: impl Into<String>) -> Self {
        let (news, _) = broadcast::channel(NEWS_HELD);
        let store = record.into();
        let changes = store.changes();
        let inner = Inner {
            store,
            knowledge,
            by: by.into(),
            jobs: Mutex::default(),
            slots: Mutex::default(),
            news,
            turns: Semaphore::new(AT_ONCE),
            hands: Mutex::default(),
            worked: AtomicU64::new(0),
            keeping: tokio::sync::Mutex::default(),
            told: Mutex::default(),
            small: AtHand::default(),
        };
        let bench = Self { inner: Arc::new(inner), around: Around::default() };
        if let Some(changes) = changes {
            tokio::spawn(follow(Arc::downgrade(&bench.inner), changes));
        }
        bench
    }

    /// The small photos at hand.
    pub(crate) fn small(&self) -> &AtHand {
        &self.inner.small
    }

    /// Shows on the wall when the record in this folder was last backed up, with a warning after so many days; after 0 days
    /// means never.
    #[must_use]
    pub fn minding_backups(mut self, folder: impl Into<PathBuf>, days: u32) -> Self {
        self.around.backups = Some((folder.into(), days));
        self
    }

    /// Tells somebody of every request and of closing.
    #[must_use]
    pub fn heard_by(mut self, hearer: impl Fn(&Event) + Send + Sync + 'static) -> Self {
        self.around.hearer = Hearer(Some(Arc::new(hearer)));
        if let Some(lan) = &self.around.lan {
            lan.heard_by(self.around.hearer.clone());
        }
        self
    }

    /// Knows the devices of the shop's network, which the owner may have turned on or not.
    #[must_use]
    pub fn knowing_devices(mut self, lan: Lan) -> Self {
        lan.heard_by(self.around.hearer.clone());
        self.around.lan = Some(lan);
        self
    }

    pub(crate) fn around(&self) -> &Around {
        &self.around
    }

    pub(crate) fn store(&self) -> &Record {
        &self.inner.store
    }

    pub(crate) fn knowledge(&self) -> &Arc<Knowledge> {
        &self.inner.knowledge
    }

    /// Who works when nobody has said so.
    pub(crate) fn by(&self) -> &str {
        &self.inner.by
    }

    pub(crate) fn listen(&self) -> broadcast::Receiver<News> {
        self.inner.news.subscribe()
    }

    fn tell(&self, job: JobId, what: Happened) {
        // That nobody has a page open is no trouble.
        let _nobody = self.inner.news.send(News { job, what });
    }

    /// Every job, the latest opened first.
    pub(crate) async fn jobs(&self) -> Result<Vec<Arc<Job>>, Trouble> {
        let mut out = Vec::new();
        for kept in self.store().jobs().await? {
            out.push(self.load(kept.job, kept.last).await?);
        }
        out.reverse();
        Ok(out)
    }

    /// A job as it stands.
    pub(crate) async fn job(&self, id: JobId) -> Result<Arc<Job>, Trouble> {
        let Some(last) = self.store().last_of(id).await? else {
            return Err(Trouble::not_found(
                "there is no such job",
                format!("no job {id} is in this record; look it up in the list of all jobs"),
            ));
        };
        self.load(id, last.rank).await
    }

    async fn load(&self, id: JobId, last: Rank) -> Result<Arc<Job>, Trouble> {
        if let Some((rank, job)) = locked(&self.inner.jobs).get(&id)
            && *rank == last
        {
            return Ok(Arc::clone(job));
        }
        let (mut entries, mut ranks) = (Vec::new(), Vec::new());
        let mut rank = last;
        for kept in self.store().entries_of(id).await? {
            rank = kept.rank;
            ranks.push(rank);
            entries.push(kept.entry().map_err(|error| {
                Trouble::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "the job cannot be read",
                    format!("job {id} at rank {}: {error}; run `witnessmark verify`", kept.rank),
                )
            })?);
        }
        let state = fold(&entries);
        let job = Arc::new(Job { id, entries, ranks, state });
        locked(&self.inner.jobs).insert(id, (rank, Arc::clone(&job)));
        Ok(job)
    }

    /// Keeps an entry of a known kind that the job allows; it is on the disk when this comes back.
    ///
    /// The time of the entry is the time inside its id, so the same id and body sent again is the same entry.
    pub(crate) async fn keep(
        &self,
        job: JobId,
        id: EntryId,
        by: &str,
        device: &str,
        body: &EntryBody,
    ) -> Result<(Kept, Arc<Job>), Trouble> {
        let asking = pages::asking();
        let device = match &asking {
            Asking::Device(asker) => asker.device.as_str(),
            Asking::Here | Asking::Stranger => device,
        };
        let mut unsealed = Unsealed::new(job, surroundings::time_of(id), by, device, id, body)
            .map_err(|e| Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, "the entry does not fit", e))?;
        // What is sent again under another name or from another device is the same entry, as long as it says the same.
        if self.store().last_of(job).await?.is_some()
            && let Some(there) = self.job(job).await?.has(id)
        {
            there.by().clone_into(&mut unsealed.by);
            there.device().clone_into(&mut unsealed.device);
        }
        let mut turn = 0;
        // Held to the end, so that the pages hear of entries in the sequence they were kept.
        let (_alone, together, kept) = loop {
            turn += 1;
            let (alone, seen) = self.alone(job, id, body).await?;
            let Allowed { together, by } = self.allowed(&unsealed, device, body, &seen).await?;
            self.tell_by_itself(&together);
            let kept = match &by {
                By::Chain(end) => self.store().seal_after(Judged { job, end: end.as_deref() }, &together).await,
                By::Nothing => self.store().seal_and_append(&together).await,
            };
            match kept {
                Ok(kept) => {
                    if kept.iter().all(|kept| kept.by == KeptBy::AnEarlierCall) {
                        self.tell_no_more(&together);
                    }
                    break (alone, together, kept);
                }
                // Another shop wrote into the job after it was looked at: what it wrote may forbid this one, and may have
                // changed what a customer page shows.
                Err(AppendError::OutOfChain { .. }) if turn < TURNS => {}
                Err(error) => {
                    self.tell_no_more(&together);
                    return Err(error.into());
                }
            }
            self.tell_no_more(&together);
        };
        for one in together.iter().rev() {
            let changed = self.job(one.job).await?;
            self.want(&changed);
            self.tell(one.job, Happened::Kept { entry: one.id, kind: one.kind.clone() });
        }
        let now = self.job(job).await?;
        let kept = kept.first().copied().ok_or_else(|| {
            Trouble::new(StatusCode::SERVICE_UNAVAILABLE, "nothing was kept", "the store gave no answer; send it again")
        })?;
        Ok((kept, now))
    }

    /// What is to be kept together with an entry that its job, as it was seen, allows.
    async fn allowed(
        &self,
        unsealed: &Unsealed,
        device: &str,
        body: &EntryBody,
        seen: &Seen,
    ) -> Result<Allowed, Trouble> {
        let mut together = vec![unsealed.clone()];
        lan::roles::ensure_may_enter(body, seen.job.as_ref().map_or(&[][..], |job| &job.entries))?;
        let Some(now) = &seen.job else {
            if let (EntryBody::JobOpened(_), Some(rates)) = (body, workup::shop::rates(self.knowledge())) {
                let id = surroundings::new_entry();
                let told = Unsealed::new(
                    unsealed.job,
                    surroundings::time_of(id),
                    &unsealed.by,
                    device,
                    id,
                    &EntryBody::MoneyTold(rates),
                )
                .map_err(|e| Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, "the shop's rates do not fit", e))?;
                together.push(told);
            }
            return Ok(Allowed { together, by: By::Chain(None) });
        };
        logbook::ensure_writable(&now.entries)
            .map_err(|error| Trouble::new(StatusCode::CONFLICT, "a newer build wrote into this job", error))?;
        // What was kept once is not judged by what came after it; the store says whether it is the same.
        if now.entries.iter().any(|e| e.id() == unsealed.id) {
            return Ok(Allowed { together, by: By::Nothing });
        }
        let after = logbook::fold_with(&now.entries, unsealed.clone())
            .map_err(|e| Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, "the entry does not fit", e))?;
        workup::entering::ensure(&now.state, &after, self.knowledge(), body)?;
        workup::asking::ensure_answer(&now.state, self.knowledge(), seen.case.as_deref(), body)?;
        together.extend(self.carried(&after, &unsealed.by, device, body).await?);
        Ok(Allowed { together, by: By::Chain(Some(now.hash().to_owned())) })
    }

    /// Marks entries that the pages are told of here, so that the news from elsewhere does not tell them once more.
    fn tell_by_itself(&self, entries: &[Unsealed]) {
        if matches!(self.store(), Record::Postgres(_)) {
            locked(&self.inner.told).extend(entries.iter().map(|entry| entry.id));
        }
    }

    fn tell_no_more(&self, entries: &[Unsealed]) {
        let mut told = locked(&self.inner.told);
        for entry in entries {
            told.remove(&entry.id);
        }
    }

    /// The right to keep, alone, with the job as it stands; for a yes to a customer page with the work-up of that very chain,
    /// which says whether the page still holds.
    async fn alone(
        &self,
        job: JobId,
        id: EntryId,
        body: &EntryBody,
    ) -> Result<(tokio::sync::MutexGuard<'_, ()>, Seen), Trouble> {
        let mut worked: Option<(Arc<Job>, Worked)> = None;
        loop {
            let alone = self.inner.keeping.lock().await;
            if self.store().last_of(job).await?.is_none() {
                return Ok((alone, Seen { job: None, case: None }));
            }
            let now = self.job(job).await?;
            // What was kept once is not judged again.
            let hangs =
                workup::asking::hangs_on_page(&now.state, body) && now.entries.iter().all(|entry| entry.id() != id);
            if !hangs {
                return Ok((alone, Seen { job: Some(now), case: None }));
            }
            if let Some((judged, done)) = worked.take()
                && judged.hash() == now.hash()
            {
                return Ok((alone, Seen { job: Some(now), case: done.ok() }));
            }
            // A work-up takes seconds, and nobody else waits for it: whether it is of the last chain is looked at afterwards.
            drop(alone);
            worked = Some(self.case(job).await?);
        }
    }

    /// What is said here of a gauge, for the other open jobs that lean on it; a job that a newer build wrote is left alone.
    async fn carried(
        &self,
        after: &JobState,
        by: &str,
        device: &str,
        body: &EntryBody,
    ) -> Result<Vec<Unsealed>, Trouble> {
        if !workup::gauges::concerns_others(body) {
            return Ok(Vec::new());
        }
        let jobs = self.jobs().await?;
        let others: Vec<&JobState> = jobs.iter().map(|j| &j.state).filter(|s| s.job != after.job).collect();
        let mut out = Vec::new();
        for (job, body) in workup::gauges::carried(after, body, &others) {
            if jobs.iter().any(|j| j.id == job && logbook::ensure_writable(&j.entries).is_err()) {
                continue;
            }
            let id = surroundings::new_entry();
            let unsealed = Unsealed::new(job, surroundings::time_of(id), by, device, id, &body)
                .map_err(|e| Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, "the entry does not fit", e))?;
            out.push(unsealed);
        }
        Ok(out)
    }

    /// The last work-up of a job; asks for the present one where it is missing, and does not wait for it.
    pub(crate) fn standing(&self, job: &Arc<Job>) -> Standing {
        self.want(job);
        let slots = locked(&self.inner.slots);
        let done = slots.get(&job.id).map(|s| &s.done);
        let present = done.and_then(|d| d.iter().rev().find(|(hash, _)| hash == job.hash()));
        match present {
            Some((_, Ok(case))) => Standing { case: Some(Arc::clone(case)), current: true, trouble: None },
            Some((_, Err(why))) => Standing { case: None, current: true, trouble: Some(why.clone()) },
            None => {
                let last = done.and_then(|d| d.iter().rev().find_map(|(_, worked)| worked.as_ref().ok()));
                Standing { case: last.map(Arc::clone), current: false, trouble: None }
            }
        }
    }

    /// The work-up of the chain that ended with a hash, where it is still at hand.
    pub(crate) fn case_at(&self, job: JobId, hash: &str) -> Option<Arc<Case>> {
        let slots = locked(&self.inner.slots);
        let done = &slots.get(&job)?.done;
        done.iter().rev().find(|(h, _)| h == hash).and_then(|(_, worked)| worked.as_ref().ok()).map(Arc::clone)
    }

    /// The whole work-up of the present chain, waited for, with the job it is of.
    pub(crate) async fn case(&self, id: JobId) -> Result<(Arc<Job>, Worked), Trouble> {
        loop {
            let mut news = self.listen();
            let job = self.job(id).await?;
            let now = self.standing(&job);
            if now.current && now.case.as_ref().is_none_or(|case| !case.weighing) {
                return Ok((job, now.case.ok_or_else(|| now.trouble.unwrap_or_default())));
            }
            // Lagging behind or a closed channel only mean that we look again.
            let _woken = tokio::time::timeout(Duration::from_secs(2), news.recv()).await;
        }
    }

    /// Asks for the work-up of a job as it stands, unless it is there or under way.
    fn want(&self, job: &Arc<Job>) {
        let mut slots = locked(&self.inner.slots);
        let slot = slots.entry(job.id).or_default();
        if job.entries.len() < slot.longest || slot.done.iter().any(|(hash, _)| hash == job.hash()) {
            return;
        }
        slot.longest = job.entries.len();
        slot.wanted = Some(Arc::clone(job));
        if !slot.working {
            slot.working = true;
            let bench = self.clone();
            let id = job.id;
            tokio::spawn(async move { bench.work(id).await });
        }
    }

    /// Works what is wanted of a job until nothing is.
    async fn work(&self, id: JobId) {
        loop {
            let next = {
                let mut slots = locked(&self.inner.slots);
                let slot = slots.entry(id).or_default();
                let next = slot.wanted.take().filter(|job| slot.done.iter().all(|(hash, _)| hash != job.hash()));
                slot.working = next.is_some();
                next.map(|job| (job, Arc::clone(&slot.remembered)))
            };
            let Some((job, remembered)) = next else {
                return;
            };
            let _turn = self.inner.turns.acquire().await;
            let knowledge = Arc::clone(&self.inner.knowledge);
            let hash = job.hash().to_owned();
            let first = {
                let (bench, hash) = (self.clone(), hash.clone());
                move |case: &Case| bench.first(id, &hash, case)
            };
            let hands = self.hands();
            let worked = tokio::task::spawn_blocking(move || {
                let work = || workup::work_up_in_two(&job.state, &knowledge, &remembered, first).map(Arc::new);
                match hands {
                    Some(hands) => hands.install(work),
                    None => work(),
                }
            })
            .await;
            let worked = match worked {
                Ok(Ok(case)) => Ok(case),
                Ok(Err(error)) => Err(error.to_string()),
                Err(_) => {
                    Err("the work-up broke off; this is a fault of the program, and every entry is kept".to_owned())
                }
            };
            // A case that was broken off for a newer one says nothing that was not said.
            if worked.as_ref().is_ok_and(|case| case.weighing) {
                continue;
            }
            self.done(id, hash, worked);
            self.rest();
        }
    }

    /// Shows the pages a case whose reasons are still to come; nobody wants them where something newer was kept.
    fn first(&self, id: JobId, hash: &str, case: &Case) -> Wanted {
        self.done(id, hash.to_owned(), Ok(Arc::new(case.clone())));
        // A page that asked for this very chain while it was worked wants it whole.
        let slots = locked(&self.inner.slots);
        let newer = slots.get(&id).and_then(|slot| slot.wanted.as_ref()).is_some_and(|job| job.hash() != hash);
        if newer { Wanted::NoMore } else { Wanted::Whole }
    }

    /// Puts a work-up where pages find it, in the place of an earlier one of the same chain, and tells them.
    fn done(&self, id: JobId, hash: String, worked: Worked) {
        {
            let mut slots = locked(&self.inner.slots);
            let done = &mut slots.entry(id).or_default().done;
            done.retain(|(of, _)| *of != hash);
            done.push_back((hash, worked));
            if done.len() > CASES_KEPT {
                done.pop_front();
            }
        }
        self.tell(id, Happened::Worked);
    }

    /// The threads that work-ups are done by: those of the last one, or new ones where they have been sent home. None
    /// where the machine gives no more: then everybody's threads do.
    fn hands(&self) -> Option<Arc<rayon::ThreadPool>> {
        let mut hands = locked(&self.inner.hands);
        if hands.is_none() {
            *hands = rayon::ThreadPoolBuilder::new().build().ok().map(Arc::new);
        }
        hands.clone()
    }

    /// Gives memory back when nobody has had anything worked for a while.
    ///
    /// A work-up takes hundreds of megabytes for a moment. What a thread has freed it keeps for what it may need next, so
    /// the threads are sent home; what they leave is given back by the allocator when it is used. While readings
    /// come in they stay: memory that stays is memory that need not be fetched again.
    fn rest(&self) {
        let turn = self.inner.worked.fetch_add(1, Ordering::Relaxed) + 1;
        let bench = self.clone();
        tokio::spawn(async move {
            tokio::time::sleep(QUIET).await;
            for _ in 0..STIRS {
                if bench.inner.worked.load(Ordering::Relaxed) != turn {
                    return;
                }
                let sent_home = locked(&bench.inner.hands).take();
                let _stirred = tokio::task::spawn_blocking(|| {
                    drop(sent_home);
                    drop(std::hint::black_box(vec![0_u8; STIRRED]));
                })
                .await;
                tokio::time::sleep(BETWEEN_STIRS).await;
            }
        });
    }
}

/// Tells the pages of a bench what other shops keep, as long as there is a bench.
async fn follow(bench: Weak<Inner>, mut changes: Changes) {
    while let Some(kept) = changes.next().await {
        let Some(inner) = bench.upgrade() else { return };
        let bench = Bench { inner, around: Around::default() };
        for one in kept {
            if locked(&bench.inner.told).remove(&one.id) {
                continue;
            }
            // A line that cannot be read is named where the job is opened.
            let Ok(entry) = one.entry() else { continue };
            let Ok(job) = bench.job(one.job).await else { continue };
            bench.want(&job);
            bench.tell(one.job, Happened::Kept { entry: one.id, kind: entry.kind().to_owned() });
        }
    }
}
