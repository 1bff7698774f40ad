//! `export` and `import`: logbooks as JSON Lines, byte for byte.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use anatomy::JobId;
use clap::Args;
use logbook::{Entry, EntryBody, JobState};
use serde_json::json;
use store::{KeptBy, Record, Store};

use crate::desk::{Desk, entry, read_bytes, write_file};
use crate::progress::Bar;
use crate::show::count;
use crate::trouble::{Done, Exit, Trouble};

/// How many entries are kept in one go, at most \[ours\]: enough for speed, and the bar still moves.
const BATCH: usize = 500;

/// Writes logbooks as JSON Lines, byte for byte.
#[derive(Debug, Args)]
pub(crate) struct Export {
    /// The job.
    #[arg(required_unless_present = "all", conflicts_with = "all")]
    job: Option<String>,
    /// Every job, in the sequence the entries were kept.
    #[arg(long)]
    all: bool,
    /// The file; standard output when left out.
    #[arg(long, short)]
    out: Option<PathBuf>,
    /// Writes over a file that is there.
    #[arg(long)]
    force: bool,
}

/// Takes in a logbook from JSON Lines.
#[derive(Debug, Args)]
pub(crate) struct Import {
    /// The file; `-` is standard input.
    file: PathBuf,
    /// The logbook alone: nothing of what the jobs say of one another's gauges is told on, so that more of it can come later.
    #[arg(long)]
    alone: bool,
}

impl Export {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let store = desk.look().await?;
        let kept = match &self.job {
            Some(text) => {
                let id = desk.job_id(&store, text).await?;
                store.entries_of(id).await?
            }
            None => store.all().await?,
        };
        store.close().await;
        let mut bytes = Vec::new();
        for entry in &kept {
            bytes.extend_from_slice(entry.line.as_bytes());
            bytes.push(b'\n');
        }
        match self.out.filter(|path| path.as_os_str() != "-") {
            None => desk.talk.bytes(&bytes)?,
            Some(path) => {
                write_file(&path, &bytes, self.force)?;
                desk.talk.say(&format!("{} written to {}", count(kept.len(), "entry", "entries"), path.display()));
            }
        }
        Ok(Exit::Fine)
    }
}

impl Import {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let doing = format!("import {}", self.file.display());
        let bytes = read_bytes(&self.file)?;
        if bytes.is_empty() {
            return Err(Trouble::new(Exit::Problem, doing, "the file is empty; export it again"));
        }
        logbook::verify(&bytes)
            .map_err(|error| Trouble::new(Exit::Problem, &doing, format!("{error}; nothing was taken in")))?;
        let entries = logbook::import(&bytes).entries();
        let store = desk.begin().await?;
        let bar = Bar::new("importing", &desk.talk);
        let of = u64::try_from(entries.len()).unwrap_or(u64::MAX);
        let (mut new, mut done) = (0_usize, 0_u64);
        for batch in entries.chunks(BATCH) {
            let kept = store.append(batch).await;
            let kept = kept.map_err(|error| {
                bar.away();
                let already = if done > 0 {
                    format!("; the first {done} entries are kept")
                } else {
                    "; nothing was taken in".to_owned()
                };
                let exit = Trouble::from_append(&error);
                Trouble::new(exit, &doing, format!("{error}{already}"))
            })?;
            new += kept.iter().filter(|k| k.by == KeptBy::ThisCall).count();
            done += u64::try_from(kept.len()).unwrap_or(0);
            bar.at(done, of);
        }
        bar.away();
        let told = if self.alone || new == 0 {
            0
        } else {
            let jobs: BTreeSet<JobId> = entries.iter().map(Entry::job).collect();
            tell_on(desk, &store, &jobs).await?
        };
        store.close().await;
        let there = entries.len() - new;
        if desk.talk.json() {
            desk.talk.answer(&json!({"kept": new, "there_before": there, "told_of_gauges": told}))?;
        } else {
            desk.talk.line(&format!("kept: {}; {there} were there before", count(new, "entry", "entries")), 2)?;
        }
        Ok(Exit::Fine)
    }
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
