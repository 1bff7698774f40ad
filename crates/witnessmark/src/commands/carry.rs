//! `export` and `import`: the whole record with its photos as plain files, or logbooks alone as JSON Lines, byte for byte.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{BufWriter, Read, Write};
use std::path::{Path, PathBuf};

use anatomy::JobId;
use clap::Args;
use logbook::{EntryBody, JobState};
use serde_json::json;
use store::carried::{self, Beside, Checked, LeftOut, Source, TakenIn};
use store::folder::{NamedBytes, knowledge_files};
use store::{KeptEntry, Record, Store};

use crate::commands::backup::{made_by, many};
use crate::desk::{Desk, entry, write_file};
use crate::progress::Bar;
use crate::show::count;
use crate::surroundings;
use crate::talk::complain;
use crate::trouble::{Done, Exit, Trouble};

/// How many entries are fetched together \[ours\].
const PAGE: u32 = 1000;

/// Writes the whole record with its photos into a folder, or logbooks alone as JSON Lines, byte for byte.
#[derive(Debug, Args)]
pub(crate) struct Export {
    /// The job.
    #[arg(required_unless_present = "all", conflicts_with = "all")]
    job: Option<String>,
    /// Every job, in the sequence the entries were kept.
    #[arg(long)]
    all: bool,
    /// With --all a new folder: entries, photos and a list of both. A name that ends in .jsonl, or one job: the entries
    /// alone, in one file. Left out: the entries alone, on standard output.
    #[arg(long, short, value_name = "DIR-or-FILE")]
    out: Option<PathBuf>,
    /// Writes over a file that is there; never over a folder.
    #[arg(long)]
    force: bool,
}

/// Takes in an exported record with its photos, or a logbook from JSON Lines.
#[derive(Debug, Args)]
pub(crate) struct Import {
    /// The folder that `export --all` wrote, or a file of entries; `-` is standard input.
    file: PathBuf,
    /// The logbook alone: nothing of what the jobs say of one another's gauges is told on, so that more of it can come later.
    #[arg(long)]
    alone: bool,
}

impl Export {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let store = desk.look().await?;
        let done = match (&self.job, self.out.as_deref().filter(|path| path.as_os_str() != "-")) {
            (None, Some(folder)) if is_folder_name(folder) => whole(desk, &store, folder).await,
            (None, out) => lines_of_all(desk, &store, out, self.force).await,
            (Some(text), out) => {
                let id = desk.job_id(&store, text).await?;
                let kept = store.entries_of(id).await?;
                let bytes = lines(&kept);
                match out {
                    None => desk.talk.bytes(&bytes)?,
                    Some(path) => {
                        write_file(path, &bytes, self.force)?;
                        let photos = "without its photos, which `export --all` takes along";
                        let entries = count(kept.len(), "entry", "entries");
                        desk.talk.say(&format!("{entries} written to {}, {photos}", path.display()));
                    }
                }
                Ok(Exit::Fine)
            }
        };
        store.close().await;
        done
    }
}

/// Whether a name is to be a folder: not that of a file of lines, and not of anything that is there and is none.
fn is_folder_name(path: &Path) -> bool {
    let lines = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("jsonl"));
    path.is_dir() || !(lines || path.exists())
}

fn lines(kept: &[KeptEntry]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for entry in kept {
        bytes.extend_from_slice(entry.line.as_bytes());
        bytes.push(b'\n');
    }
    bytes
}

/// Writes everything into a folder.
async fn whole(desk: &Desk, store: &Record, folder: &Path) -> Done {
    let doing = format!("export into {}", folder.display());
    let beside = Beside { made_by: made_by(), made_at: None, knowledge: knowledge_beside(desk)? };
    let bar = Bar::new("exporting", &desk.talk);
    let made = carried::export(store, folder, beside, &mut |p| bar.at(p.done, p.of)).await;
    bar.away();
    let made = made.map_err(|error| Trouble::carried(&doing, &error))?;
    if desk.talk.json() {
        desk.talk
            .answer(&json!({"folder": folder.display().to_string(), "jobs": made.jobs, "entries": made.entries,
            "photos": made.attachments, "state": made.state, "left_out": made.left_out}))?;
    } else {
        let holds = everything_in(made.jobs, made.entries, made.attachments);
        desk.talk.line(&format!("exported: {holds} in {}; state hash {}", folder.display(), made.state), 2)?;
    }
    named_out(&made.left_out, &doing, "is exported; `witnessmark verify` says more")
}

/// Writes the lines of all jobs, page by page.
async fn lines_of_all(desk: &Desk, store: &Record, out: Option<&Path>, force: bool) -> Done {
    let of: u64 = store.jobs().await?.iter().map(|job| job.entries).sum();
    let Some(path) = out else {
        let mut after = 0;
        loop {
            let page = store.entries_after(after, PAGE).await?;
            let Some(last) = page.last() else { return Ok(Exit::Fine) };
            after = last.rank;
            desk.talk.bytes(&lines(&page))?;
        }
    };
    let doing = format!("write {}", path.display());
    let failed = |error: std::io::Error| Trouble::file(&doing, &error);
    let device = path.exists() && !path.is_file();
    let mut name = path.file_name().map(std::ffi::OsStr::to_os_string).unwrap_or_default();
    name.push(".part");
    let part = if device { path.to_owned() } else { path.with_file_name(name) };
    let bar = Bar::new("exporting", &desk.talk);
    let written = async {
        let mut file =
            BufWriter::new(File::options().write(true).create(!device).truncate(!device).open(&part).map_err(failed)?);
        let (mut after, mut done) = (0, 0_u64);
        loop {
            let page = store.entries_after(after, PAGE).await?;
            let Some(last) = page.last() else { break };
            after = last.rank;
            file.write_all(&lines(&page)).map_err(failed)?;
            done += u64::try_from(page.len()).unwrap_or(0);
            bar.at(done, of);
        }
        file.flush().map_err(failed)?;
        if device {
            return Ok(done);
        }
        file.get_ref().sync_all().map_err(failed)?;
        if !force && path.exists() && !same_bytes(path, &part).map_err(failed)? {
            let why = "it is there with other content; choose another name, or say --force";
            return Err(Trouble::new(Exit::Conflict, &doing, why));
        }
        std::fs::rename(&part, path).map_err(failed)?;
        Ok(done)
    }
    .await;
    bar.away();
    if written.is_err() && !device {
        // What was half written is of no use to anybody; that it may not go away either is not worth a second line.
        let _gone = std::fs::remove_file(&part);
    }
    let done = written?;
    let photos = "without photos; name a folder and they come along";
    desk.talk.say(&format!("{} written to {}, {photos}", many(done, "entry", "entries"), path.display()));
    Ok(Exit::Fine)
}

/// Whether two files hold the same, without holding either in memory.
fn same_bytes(one: &Path, other: &Path) -> std::io::Result<bool> {
    let (one, other) = (File::open(one)?, File::open(other)?);
    if one.metadata()?.len() != other.metadata()?.len() {
        return Ok(false);
    }
    let mut pairs = std::io::BufReader::new(one).bytes().zip(std::io::BufReader::new(other).bytes());
    pairs.try_fold(true, |same, (a, b)| Ok(same && a? == b?))
}

/// How much there is, in words.
pub(crate) fn everything_in(jobs: u64, entries: u64, photos: u64) -> String {
    format!(
        "{}, {} and {}",
        many(jobs, "job", "jobs"),
        many(entries, "entry", "entries"),
        many(photos, "photo", "photos")
    )
}

/// The shop's own knowledge, which goes along with a record.
pub(crate) fn knowledge_beside(desk: &Desk) -> Result<Vec<NamedBytes>, Trouble> {
    let Some(folder) = desk.knowledge_folder() else { return Ok(Vec::new()) };
    knowledge_files(&folder)
        .map_err(|(path, error)| Trouble::file(format!("read the knowledge file {}", path.display()), &error))
}

/// Names what is missing, and ends with the exit code that says so.
pub(crate) fn named_out(left_out: &[LeftOut], doing: &str, rest: &str) -> Done {
    if left_out.is_empty() {
        return Ok(Exit::Fine);
    }
    for one in left_out {
        complain(&format!("witnessmark: left out: {one}"));
    }
    let many = count(left_out.len(), "thing is", "things are");
    Err(Trouble::new(Exit::Problem, doing, format!("{many} missing, as named above; everything else {rest}")))
}

impl Import {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let doing = format!("import {}", self.file.display());
        let (source, spooled) = if self.file.as_os_str() == "-" {
            let spooled = spool()?;
            (Source::Lines(spooled.clone()), Some(spooled))
        } else if self.file.is_dir() {
            (Source::Folder(self.file.clone()), None)
        } else {
            (Source::Lines(self.file.clone()), None)
        };
        let done = self.take(desk, &doing, &source).await;
        if let Some(spooled) = spooled {
            // A file in the system's own folder for such; the system sweeps it.
            let _gone = std::fs::remove_file(spooled);
        }
        done
    }

    async fn take(&self, desk: &Desk, doing: &str, source: &Source) -> Done {
        if store::locked::is_locked(source.path()) {
            let why = "it is a backup; `witnessmark restore` brings it back into a new folder, and what is exported there can be \
                       imported";
            return Err(Trouble::new(Exit::Usage, doing, why));
        }
        let bar = Bar::bytes("checking", &desk.talk);
        let checked = carried::check(source, &mut |p| bar.at(p.done, p.of));
        bar.away();
        let checked = checked.map_err(|error| Trouble::carried(doing, &error))?;
        if checked.manifest.is_none() && checked.entries == 0 {
            return Err(Trouble::new(Exit::Problem, doing, "the file is empty; export it again"));
        }
        let store = desk.begin().await?;
        let was_empty = store.jobs().await?.is_empty();
        let bar = Bar::new("importing", &desk.talk);
        let knowledge = desk.store.folder().map(|folder| folder.join("knowledge"));
        let taken =
            carried::take_in(&store, source, &checked, knowledge.as_deref(), &mut |p| bar.at(p.done, p.of)).await;
        bar.away();
        let taken = taken.map_err(|error| Trouble::carried(doing, &error))?;
        // A whole record brought into an empty one is that record, and nothing is added to it.
        let moved = was_empty && checked.manifest.is_some();
        let told = if self.alone || moved || taken.new_entries == 0 {
            0
        } else {
            tell_on(desk, &store, &checked.jobs).await?
        };
        let state = store::state_hash(&store).await?.to_string();
        store.close().await;
        let carried = checked.manifest.as_ref().map(|manifest| manifest.state.as_str());
        if moved && taken.wrong.is_empty() && carried != Some(state.as_str()) {
            let why = format!(
                "the record has now the state hash {state}, which is not that of the export; run `witnessmark verify`"
            );
            return Err(Trouble::new(Exit::Storage, doing, why));
        }
        self.said(desk, &checked, &taken, told, &state)?;
        named_out(&taken.wrong, doing, "is taken in")
    }

    fn said(&self, desk: &Desk, checked: &Checked, taken: &TakenIn, told: usize, state: &str) -> Result<(), Trouble> {
        if desk.talk.json() {
            desk.talk.answer(&json!({"kept": taken.new_entries, "there_before": taken.there_before,
                "told_of_gauges": told, "photos_kept": taken.new_photos, "photos_there_before": taken.photos_before,
                "photos_mended": taken.mended_photos, "missing": taken.wrong, "state": state}))?;
            return Ok(());
        }
        let entries = many(taken.new_entries, "entry", "entries");
        let mut said = format!("kept: {entries}; {} were there before", taken.there_before);
        if checked.manifest.is_some() {
            let photos = many(taken.new_photos, "photo", "photos");
            said = format!("{said}; {photos} new, {} there before", taken.photos_before);
            if taken.mended_photos > 0 {
                said = format!("{said}, {} put back", taken.mended_photos);
            }
            said = format!("{said}; state hash {state}");
        }
        desk.talk.line(&said, 2)?;
        for path in &taken.other_knowledge {
            desk.talk.say(&format!(
                "witnessmark: the knowledge file {path} is here with other content and was left alone; compare the two"
            ));
        }
        if !taken.left_knowledge.is_empty() {
            desk.talk.say(&format!(
                "witnessmark: {} of the shop's own knowledge left where they are, because a record on a server has no folder \
                 for them; copy `knowledge` of the export to each shop and name it there with --knowledge",
                count(taken.left_knowledge.len(), "file is", "files are")
            ));
        }
        Ok(())
    }
}

/// Writes standard input into a file, since it is read twice: once to check it, once to take it in.
fn spool() -> Result<PathBuf, Trouble> {
    let path = std::env::temp_dir().join(format!("witnessmark-{}.jsonl", surroundings::fresh_name()));
    let copied = File::create_new(&path).and_then(|mut file| std::io::copy(&mut std::io::stdin().lock(), &mut file));
    copied.map_err(|error| Trouble::file("read standard input", &error))?;
    Ok(path)
}

/// Tells the jobs that came in what is said here of their gauges, and the jobs here what those say of theirs; says how much.
async fn tell_on(desk: &Desk, store: &Record, came_in: &BTreeSet<JobId>) -> Result<usize, Trouble> {
    let mut jobs = Vec::new();
    for kept in store.jobs().await? {
        jobs.push(desk.load(store, kept.job).await?);
    }
    jobs.retain(|job| Desk::ensure_writable(job).is_ok());
    let mut told: BTreeMap<JobId, Vec<EntryBody>> = BTreeMap::new();
    for now in jobs.iter().map(|job| &job.state).filter(|s| s.job.is_some_and(|id| came_in.contains(&id))) {
        let others: Vec<&JobState> = jobs.iter().map(|job| &job.state).filter(|s| s.job != now.job).collect();
        for (job, body) in workup::gauges::carried_by_copy(now, &others) {
            let there = told.entry(job).or_default();
            // Two jobs of one file may ask for the same.
            if there.iter().all(|other| gauge_of(other) != gauge_of(&body)) {
                there.push(body);
            }
        }
    }
    let mut together = Vec::new();
    for (job, bodies) in &told {
        for body in bodies {
            together.push(entry(*job, None, body)?);
        }
        let title = jobs.iter().find(|j| j.state.job == Some(*job)).and_then(|j| j.state.title.clone());
        let title = title.unwrap_or_else(|| job.to_string());
        desk.talk.say(&format!("witnessmark: {title} is told what another job says of its gauges"));
    }
    if !together.is_empty() {
        desk.keep(store, &together).await?;
    }
    Ok(together.len())
}

/// The mark of the gauge that an entry is about.
#[expect(clippy::wildcard_enum_match_arm, reason = "entries of every other kind say nothing of a gauge")]
fn gauge_of(body: &EntryBody) -> Option<&str> {
    match body {
        EntryBody::GaugeDoubted(doubt) => Some(&doubt.label),
        EntryBody::GaugeCleared(good) => Some(&good.label),
        _ => None,
    }
}
