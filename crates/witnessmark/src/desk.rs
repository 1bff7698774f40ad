//! What every command stands on: the store, the job that is meant, the knowledge, and a new entry.

use std::io::Read;
use std::path::{Path, PathBuf};

use anatomy::{EntryId, JobId};
use knowledge::{FileSet, Knowledge};
use logbook::{Entry, EntryBody, JobState, Unsealed, fold};
use serde_json::Value;
use server::lan::Lan;
use store::{AppendError, Judged, Kept, Place, Record, Store};
use workup::Case;

use crate::surroundings;
use crate::talk::Talk;
use crate::trouble::{Exit, Trouble};

/// The folders and the manner of one call.
#[derive(Debug)]
pub(crate) struct Desk {
    /// Paper and voice.
    pub(crate) talk: Talk,
    /// Where the record lies.
    pub(crate) store: Place,
    /// The shop's own knowledge, where it was named.
    pub(crate) knowledge: Option<PathBuf>,
}

/// A job with its entries.
#[derive(Debug)]
pub(crate) struct Job {
    /// Its entries, in the sequence they were kept.
    pub(crate) entries: Vec<Entry>,
    /// What they fold to.
    pub(crate) state: JobState,
}

impl Job {
    /// A job from its entries.
    pub(crate) fn of(entries: Vec<Entry>) -> Self {
        let state = fold(&entries);
        Self { entries, state }
    }

    /// The last eight characters of its chain, as printed on papers.
    pub(crate) fn tail(&self) -> String {
        self.entries.last().map_or_else(String::new, |e| tail(e.hash()))
    }
}

/// The last eight characters of a hash.
pub(crate) fn tail(hash: &str) -> String {
    hash.get(hash.len().saturating_sub(8)..).unwrap_or(hash).to_owned()
}

/// The largest file taken in \[ours\]: a shop's logbooks of many years, and no device that never ends.
const MOST_BYTES: u64 = 1 << 29;

/// Reads a file, or standard input for `-`.
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, Trouble> {
    if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        std::io::stdin().lock().read_to_end(&mut bytes).map_err(|e| Trouble::file("read standard input", &e))?;
        return Ok(bytes);
    }
    let doing = format!("read {}", path.display());
    let mut bytes = Vec::new();
    let read = std::fs::File::open(path).and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes));
    match read {
        Ok(_) if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > MOST_BYTES => Err(Trouble::new(
            Exit::Refused,
            doing,
            format!("it is larger than {MOST_BYTES} bytes; that is no file of ours, check the path"),
        )),
        Ok(_) => Ok(bytes),
        Err(error) => Err(Trouble::file(doing, &error)),
    }
}

/// Reads a file as text.
pub(crate) fn read_text(path: &Path) -> Result<String, Trouble> {
    let bytes = read_bytes(path)?;
    String::from_utf8(bytes).map_err(|_| {
        Trouble::new(Exit::Usage, format!("read {}", path.display()), "it is not UTF-8 text; save it as such")
    })
}

/// Writes a file whole or not at all, and never over other content unless told to.
pub(crate) fn write_file(path: &Path, bytes: &[u8], force: bool) -> Result<(), Trouble> {
    let doing = format!("write {}", path.display());
    if path.exists() && !path.is_file() {
        // A device or a pipe: there is nothing to keep from being overwritten.
        return std::fs::write(path, bytes).map_err(|error| Trouble::file(doing, &error));
    }
    if !force && path.exists() {
        return match std::fs::read(path) {
            Ok(there) if there == bytes => Ok(()),
            Ok(_) => Err(Trouble::new(
                Exit::Conflict,
                doing,
                "it is there with other content; choose another name, or say --force",
            )),
            Err(error) => Err(Trouble::file(doing, &error)),
        };
    }
    let mut name = path.file_name().map(std::ffi::OsStr::to_os_string).unwrap_or_default();
    name.push(".part");
    let part = path.with_file_name(name);
    let written = std::fs::write(&part, bytes).and_then(|()| std::fs::rename(&part, path));
    written.map_err(|error| {
        // What was half written is of no use to anybody; that it may not go away either is not worth a second line.
        let _gone = std::fs::remove_file(&part);
        Trouble::file(doing, &error)
    })
}

/// Whether a text names a file rather than a job.
pub(crate) fn is_path(text: &str) -> bool {
    text == "-" || text.contains(['/', '\\']) || text.ends_with(".jsonl") || Path::new(text).is_file()
}

/// A job taken up to be written into.
#[derive(Debug)]
pub(crate) struct TakenUp {
    /// The store it lies in.
    pub(crate) store: Record,
    /// Its id.
    pub(crate) id: JobId,
    /// The job as it stands.
    pub(crate) job: Job,
}

impl Desk {
    /// Takes a job up to write into it; refused for one that a newer build wrote.
    pub(crate) async fn take_up(&self, text: &str) -> Result<TakenUp, Trouble> {
        let store = self.open().await?;
        let id = self.job_id(&store, text).await?;
        let job = self.load(&store, id).await?;
        Self::ensure_writable(&job)?;
        Ok(TakenUp { store, id, job })
    }

    /// Opens the store to look.
    pub(crate) async fn look(&self) -> Result<Record, Trouble> {
        Ok(Record::open_to_read(&self.store).await?)
    }

    /// Opens the store to keep something in it; one that is not there yet is not made by the way.
    pub(crate) async fn open(&self) -> Result<Record, Trouble> {
        Ok(Record::open_existing(&self.store).await?)
    }

    /// Opens the store to keep something in it, and begins one if there is none.
    pub(crate) async fn begin(&self) -> Result<Record, Trouble> {
        Ok(Record::open(&self.store).await?)
    }

    /// The network of the shop: a folder beside the record, or, for a record on a server, in the data folder of the person;
    /// devices are paired with a computer, and several shops may share one record.
    pub(crate) fn lan(&self) -> Lan {
        lan_of(&self.store)
    }

    /// The knowledge files: the folder named, or the one in the store, or what is compiled in.
    pub(crate) fn files(&self) -> Result<FileSet, Trouble> {
        match self.knowledge_folder() {
            Some(folder) => FileSet::from_folder(&folder).map_err(|error| {
                Trouble::new(knowledge_exit(&error), format!("read the knowledge in {}", folder.display()), error)
            }),
            None => Ok(FileSet::builtin()),
        }
    }

    /// The shop's own knowledge folder, where there is one.
    pub(crate) fn knowledge_folder(&self) -> Option<PathBuf> {
        let beside = || self.store.folder().map(|folder| folder.join("knowledge")).filter(|folder| folder.is_dir());
        self.knowledge.clone().or_else(beside)
    }

    /// The knowledge, read.
    pub(crate) fn knowledge(&self) -> Result<Knowledge, Trouble> {
        Knowledge::from_files(&self.files()?).map_err(|error| {
            let many = error.complaints().len();
            let why = match error.complaints().first() {
                Some(first) if many > 1 => format!("{first}; and {} more, see `witnessmark knowledge check`", many - 1),
                Some(first) => first.to_string(),
                None => error.to_string(),
            };
            Trouble::new(Exit::Problem, "read the knowledge", why)
        })
    }

    /// Finds the job that a text means: an id, its start, or a word of its title.
    pub(crate) async fn job_id(&self, store: &Record, text: &str) -> Result<JobId, Trouble> {
        let doing = format!("find the job `{text}`");
        let jobs = store.jobs().await?;
        let wanted = text.trim().to_lowercase();
        let mut found: Vec<JobId> =
            jobs.iter().map(|j| j.job).filter(|j| !wanted.is_empty() && j.to_string().starts_with(&wanted)).collect();
        if found.is_empty() && !wanted.is_empty() {
            for job in &jobs {
                let title = self.load(store, job.job).await?.state.title.unwrap_or_default();
                if title.to_lowercase().contains(&wanted) {
                    found.push(job.job);
                }
            }
        }
        match found.as_slice() {
            [one] => Ok(*one),
            [] => Err(Trouble::new(
                Exit::NotFound,
                doing,
                format!("no job in {} has such an id or title; `witnessmark jobs` lists them", self.store.name()),
            )),
            many => {
                let ids: Vec<String> = many.iter().map(ToString::to_string).collect();
                Err(Trouble::new(
                    Exit::Usage,
                    doing,
                    format!("{} jobs fit ({}); type more of it", ids.len(), ids.join(", ")),
                ))
            }
        }
    }

    /// Loads a job from the store.
    pub(crate) async fn load(&self, store: &Record, job: JobId) -> Result<Job, Trouble> {
        let mut entries = Vec::new();
        for kept in store.entries_of(job).await? {
            entries.push(kept.entry().map_err(|error| {
                let why = format!("at rank {}: {error}; run `witnessmark verify`", kept.rank);
                Trouble::new(Exit::Storage, format!("read job {job}"), why)
            })?);
        }
        Ok(Job::of(entries))
    }

    /// The job of an argument, from a file or from the store.
    pub(crate) async fn job(&self, text: &str) -> Result<Job, Trouble> {
        if is_path(text) {
            return self.job_from_file(Path::new(text));
        }
        let store = self.look().await?;
        let id = self.job_id(&store, text).await?;
        self.load(&store, id).await
    }

    fn job_from_file(&self, path: &Path) -> Result<Job, Trouble> {
        let doing = format!("read the logbook {}", path.display());
        let bytes = read_bytes(path)?;
        let imported = logbook::import(&bytes);
        let entries = imported.entries();
        if let Err(error) = logbook::verify(&bytes) {
            if entries.is_empty() {
                return Err(Trouble::new(Exit::Problem, doing, error));
            }
            let left = "going on with the lines that can be read";
            self.talk.say(&format!("witnessmark: {}: {error}; {left}", path.display()));
        }
        if entries.is_empty() {
            return Err(Trouble::new(Exit::NotFound, doing, "there is no entry in it; export the job again"));
        }
        Ok(Job::of(entries))
    }

    /// Works a job up.
    pub(crate) fn case(&self, state: &JobState, knowledge: &Knowledge) -> Result<Case, Trouble> {
        workup::work_up(state, knowledge).map_err(|error| {
            let exit = match error {
                workup::WorkUpError::NoEngine => Exit::NotFound,
                workup::WorkUpError::Lanes(_) => Exit::Problem,
            };
            Trouble::new(exit, format!("work up {}", state.title.as_deref().unwrap_or("the job")), error)
        })
    }

    /// Refuses to write into a job that a newer build wrote.
    pub(crate) fn ensure_writable(job: &Job) -> Result<(), Trouble> {
        logbook::ensure_writable(&job.entries)
            .map_err(|error| Trouble::new(Exit::Refused, "write into this job", error))
    }

    /// Seals and keeps entries; comes back only after they are on the disk.
    pub(crate) async fn keep(&self, store: &Record, entries: &[Unsealed]) -> Result<Vec<Kept>, Trouble> {
        Ok(store.seal_and_append(entries).await?)
    }

    /// Seals and keeps entries that were judged by a job as it stands here; `false` when another shop wrote into it since, and
    /// it is to be read and judged again.
    pub(crate) async fn keep_after(&self, taken: &TakenUp, entries: &[Unsealed]) -> Result<bool, Trouble> {
        let end = taken.job.entries.last().map(Entry::hash);
        match taken.store.seal_after(Judged { job: taken.id, end }, entries).await {
            Ok(_) => Ok(true),
            Err(AppendError::OutOfChain { .. }) => Ok(false),
            Err(error) => Err(error.into()),
        }
    }
}

/// The network of a shop whose record lies at a place.
pub(crate) fn lan_of(record: &Place) -> Lan {
    let folder = match record.folder() {
        Some(folder) => folder.join("network"),
        None => surroundings::default_store().with_file_name("witnessmark-network"),
    };
    Lan::of(&folder)
}

/// The id of a new entry and the time in it.
pub(crate) fn fresh() -> Result<(EntryId, jiff::Timestamp), Trouble> {
    surroundings::new_entry().map_err(|e| Trouble::new(Exit::Storage, "make an entry", e))
}

/// A new entry of a known kind.
pub(crate) fn entry(job: JobId, by: Option<&str>, body: &EntryBody) -> Result<Unsealed, Trouble> {
    entry_under(fresh()?, job, by, body)
}

/// An entry of a known kind under an id made before.
pub(crate) fn entry_under(
    (id, at): (EntryId, jiff::Timestamp),
    job: JobId,
    by: Option<&str>,
    body: &EntryBody,
) -> Result<Unsealed, Trouble> {
    let by = by.map_or_else(surroundings::person, ToOwned::to_owned);
    Unsealed::new(job, at, &by, &surroundings::device(), id, body)
        .map_err(|e| Trouble::new(Exit::Refused, "make an entry", e))
}

/// Finds the entry of a job that a text means: its id, a unique start or end of it, or `last`.
pub(crate) fn entry_meant(job: &Job, text: &str) -> Result<EntryId, Trouble> {
    let doing = format!("find the entry `{text}`");
    if text == "last" {
        let last = job.entries.last().map(Entry::id);
        return last.ok_or_else(|| Trouble::new(Exit::NotFound, doing, "the job has no entries"));
    }
    let wanted = text.trim().to_lowercase();
    let fits = |id: &EntryId| {
        let id = id.to_string();
        wanted.len() >= 4 && (id.starts_with(&wanted) || id.ends_with(&wanted))
    };
    let ids: Vec<EntryId> = job.entries.iter().map(Entry::id).filter(fits).collect();
    match ids.as_slice() {
        [one] => Ok(*one),
        [] => Err(Trouble::new(
            Exit::NotFound,
            doing,
            "the job has no such entry; give four or more characters of its id, or `last`",
        )),
        many => Err(Trouble::new(Exit::Usage, doing, format!("{} entries fit; type more of the id", many.len()))),
    }
}

/// Reads JSON from an argument, from a file (`@file`) or from standard input (`-`).
pub(crate) fn json_argument(text: &str, what: &str) -> Result<Value, Trouble> {
    let read = match text.strip_prefix('@') {
        Some(path) => read_text(Path::new(path))?,
        None if text == "-" => read_text(Path::new("-"))?,
        None => text.to_owned(),
    };
    serde_json::from_str(&read).map_err(|error| {
        Trouble::new(Exit::Usage, format!("read the JSON of {what}"), format!("{error}; correct it at that place"))
    })
}

/// The exit code of knowledge that cannot be loaded.
pub(crate) fn knowledge_exit(error: &knowledge::LoadError) -> Exit {
    match error {
        knowledge::LoadError::Unreadable { reason, .. } => crate::trouble::of_io(reason).0,
        knowledge::LoadError::UnknownFolder { .. } | knowledge::LoadError::Files(_) => Exit::Problem,
    }
}
